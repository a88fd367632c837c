"""The punching list: row by row what to punch into a bought blank, in the shortest words, with a count to check.

Knows a card; nothing of paper. The words of a row, by example:
    punch none · punch all · punch 1 3 5-9 · punch all but 4 12-14 · punch every 2nd from 1 to 23 ·
    punch all but every 6th from 3 to 21
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import Final

from stitchc.card import notes
from stitchc.card.plan import Card, Strip
from stitchc.document import Document, Part, Table, Terms
from stitchc.english import number, ordinal, runs_of

_BOX: Final = "[\N{NO-BREAK SPACE}]"
BOXES_TOGETHER: Final = 5
"""Boxes to tick without a space, so that they can be counted and broken into lines."""

_OF_THE_TEMPLATE: Final = ("Marks", "Numbers", "Feeding the card", "Edges")
"""Heads of notes about what only the template shows."""

_COUNTING: Final = (
    "Lay the card with the side up that you see while it is in the reader, and with the end that goes in first toward "
    "you. Count rows from that end, and columns from the left."
)


def punching_list(card: Card) -> Document:
    facts = [(head, text) for head, text in notes.notes(card) if head not in _OF_THE_TEMPLATE]
    cutting = notes.CUTTING.removeprefix("Cutting: ")
    joining = f", and {card.joining_hole_count} in the joining rows" if card.joining_hole_count else ""
    parts = [Part(_heading(blank), (_table(card, blank),)) for blank in card.blanks]
    parts.append(Part("In all", (f"{card.hole_count} holes in {card.rows} rows{joining}.",)))
    if same := tuple(_alike([columns_in_words(row) for row in card.holes.tolist()])):
        parts.append(Part("Rows that are the same", (Terms(same),)))
    return Document(
        title=card.stitch,
        subtitle=card.title,
        kind="punching list",
        facts=(
            ("For", card.machine.in_full),
            ("Card", f"{notes.counts(card)}."),
            *(("Note", remark) for remark in card.remarks),
            *((head, text.replace(", between the thick lines,", "").replace(notes.TICK, "")) for head, text in facts),
            ("Counting", _COUNTING),
            ("Cutting", cutting[0].upper() + cutting[1:]),
        ),
        parts=tuple(parts),
    )


def columns_in_words(punched: Sequence[bool]) -> str:
    """The columns to punch, from 1, in the shortest of the forms above."""
    wanted = [column for column, hole in enumerate(punched, start=1) if hole]
    left = [column for column, hole in enumerate(punched, start=1) if not hole]
    if not wanted:
        return "punch none"
    if not left:
        return "punch all"
    return "punch " + min(_columns(wanted), f"all but {_columns(left)}", key=len)


def _columns(columns: Sequence[int]) -> str:
    listed = " ".join(str(first) if first == last else f"{first}-{last}" for first, last in runs_of(columns))
    steps = {later - earlier for earlier, later in itertools.pairwise(columns)}
    if len(columns) > 3 and len(steps) == 1 and (step := steps.pop()) > 1:
        return min(listed, f"every {ordinal(step)} from {columns[0]} to {columns[-1]}", key=len)
    return listed


def _heading(blank: Strip) -> str:
    if blank.of == 1:
        return "Row by row"
    return f"Blank {blank.number} of {blank.of}: rows {blank.first} to {blank.last}"


def _table(card: Card, blank: Strip) -> Table:
    """One line for each row, or for rows that follow each other and are the same: number, boxes, count, words, and
    where something changes on the way, what to set for that row when it is knitted."""
    changes = {row: ", ".join(notes.change_words(change)) for row, change in card.changes_by_row.items()}
    if len(changes) == 1:  # for the whole card, and said above the list
        changes = {}
    groups: list[tuple[int, int]] = []
    for row in range(blank.first, blank.last + 1):
        if groups and row not in changes and bool((card.holes[row - 1] == card.holes[groups[-1][0] - 1]).all()):
            groups[-1] = (groups[-1][0], row)
        else:
            groups.append((row, row))
    joining = card.shape.joining_rows
    full = [("joining", _boxes(joining), _each(card.columns, joining), "punch all", "")] if joining else []
    rows = []
    for first, last in groups:
        words = columns_in_words(card.holes[first - 1].tolist())
        name = str(first) if first == last else f"{first}-{last}"
        count = last - first + 1
        holes = _each(int(card.holes[first - 1].sum()), count)
        rows.append((name, _boxes(count), holes, words, changes.get(first, "")))
    columns = 5 if changes else 4
    head = ("row", "done", "holes", "what to punch", "to knit it, set")[:columns]
    return Table(head, tuple(row[:columns] for row in (*full, *rows, *full)))


def _boxes(rows: int) -> str:
    whole, rest = divmod(rows, BOXES_TOGETHER)
    return " ".join([_BOX * BOXES_TOGETHER] * whole + [_BOX * rest] * bool(rest))


def _each(holes: int, rows: int) -> str:
    return f"{holes} each" if rows > 1 else str(holes)


def _alike(rows: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Which rows are the same, for those who punch one kind after the other; nothing where no two are."""
    kinds: dict[str, list[int]] = {}
    for row, words in enumerate(rows, start=1):
        kinds.setdefault(words, []).append(row)
    for words, same in kinds.items():
        if len(same) > 1:
            yield _columns(same), f"{words} ({number(len(same), 'row')})"

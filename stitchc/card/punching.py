"""The punching list: row by row what to punch into a bought blank, in the shortest words, with a count to check.

Knows a card; nothing of paper. The words of a row, by example:
    punch none · punch all · punch 1 3 5-9 · punch all but 4 12-14 · punch every 2nd from 1 to 23 ·
    punch all but every 6th from 3 to 21
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final

from stitchc.card import notes
from stitchc.english import ordinal
from stitchc.messages import visible

if TYPE_CHECKING:
    from stitchc.card.plan import Card, Strip

WIDTH: Final = 80
MOST_BOXES: Final = 4
"""Boxes to tick on one line."""


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
    runs: list[list[int]] = []
    for column in columns:
        if runs and column == runs[-1][-1] + 1:
            runs[-1].append(column)
        else:
            runs.append([column])
    listed = " ".join(str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)
    steps = {later - earlier for earlier, later in itertools.pairwise(columns)}
    if len(columns) > 3 and len(steps) == 1 and (step := steps.pop()) > 1:
        even = f"every {ordinal(step)} from {columns[0]} to {columns[-1]}"
        return min(listed, even, key=len)
    return listed


def punching_list(card: Card) -> str:
    """The whole list as text, at most WIDTH columns wide where words allow."""
    return "\n".join(line.rstrip() for line in _lines(card)) + "\n"


def _lines(card: Card) -> Iterator[str]:
    yield f"Punching list: {visible(notes.heading(card))}"
    yield from _wrapped(f"Made by stitchc for {card.machine.name}: {card.machine.title}.")
    yield from _wrapped(f"{notes.counts(card)}.")
    for remark in card.remarks:
        yield from _wrapped(remark)
    yield ""
    for head, text in notes.notes(card):
        if head not in _OF_THE_TEMPLATE:
            yield from _wrapped(text.replace(", between the thick lines,", ""), f"{head + ':':<11} ")
    counting = (
        "Lay the card with the side up that you see while it is in the reader, and with the end that goes in first "
        "toward you. Count rows from that end, and columns from the left."
    )
    yield from _wrapped(counting, f"{'Counting:':<11} ")
    yield from _wrapped("C" + notes.CUTTING.removeprefix("Cutting: c"), f"{'Cutting:':<11} ")
    for blank in card.blanks:
        yield ""
        if blank.of > 1:
            yield f"Blank {blank.number} of {blank.of}: rows {blank.first} to {blank.last}"
        yield from _table(card, blank)
    yield ""
    joining = f", and {card.joining_hole_count} in the joining rows" if card.joining_hole_count else ""
    yield f"{card.hole_count} holes in {card.rows} rows{joining}."
    yield from _alike([columns_in_words(row) for row in card.holes.tolist()])


_OF_THE_TEMPLATE: Final = ("Marks", "Numbers", "Feeding the card", "Edges")
"""Heads of notes about what only the template shows."""


def _table(card: Card, blank: Strip) -> Iterator[str]:
    """One line for each row, or for rows that follow each other and are the same: number, boxes, count, words."""
    changes = {row: notes.change_words(change) for row, change in card.changes_by_row.items()}
    groups: list[tuple[int, int]] = []
    for row in range(blank.first, blank.last + 1):
        if groups and row not in changes and bool((card.holes[row - 1] == card.holes[groups[-1][0] - 1]).all()):
            groups[-1] = (groups[-1][0], row)
        else:
            groups.append((row, row))
    joining = card.shape.joining_rows
    boxes = min(MOST_BOXES, max([last - first + 1 for first, last in groups] + [joining]))
    yield f"{'row':>9}  {'':<{3 * boxes}}  holes"
    full = list(_row("joining", "punch all", card.columns, joining, boxes)) if joining else []
    yield from full
    for first, last in groups:
        name = str(first) if first == last else f"{first}-{last}"
        words = columns_in_words(card.holes[first - 1].tolist())
        if first in changes:
            words += f"   <- {', '.join(changes[first])}"
        yield from _row(name, words, int(card.holes[first - 1].sum()), last - first + 1, boxes)
    yield from full


def _row(name: str, words: str, count: int, rows: int, boxes: int) -> Iterator[str]:
    ticks = "[ ]" * rows if rows <= boxes else "[ ]" * (boxes - 1) + "..."
    each = " each" if rows > 1 else ""
    yield from _wrapped(words, f"{name:>9}  {ticks:<{3 * boxes}}  {count:>3}{each:<5}  ")


def _alike(rows: Sequence[str]) -> Iterator[str]:
    """Which rows are the same, for those who punch one kind after the other."""
    kinds: dict[str, list[int]] = {}
    for row, words in enumerate(rows, start=1):
        kinds.setdefault(words, []).append(row)
    several = [(words, same) for words, same in kinds.items() if len(same) > 1]
    if not several or len(kinds) == len(rows):
        return
    yield ""
    yield "Rows that are the same:"
    for words, same in several:
        yield from _wrapped(f"{_columns(same)}  ({len(same)} rows): {words}", "  ")


def _wrapped(text: str, head: str = "") -> Iterator[str]:
    import textwrap

    lines = textwrap.wrap(visible(text), max(30, WIDTH - len(head)), break_long_words=False) or [""]
    yield head + lines[0]
    for line in lines[1:]:
        yield " " * len(head) + line

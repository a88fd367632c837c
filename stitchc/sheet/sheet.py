"""The sheet of one stitch: its passes and the document that tells them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stitchc.document import ByHand, Document, Listing, Part, Rows
from stitchc.english import count_of, number
from stitchc.passes import Pass, cost, lower, moved_by_hand
from stitchc.sheet.instructions import Item, Stretch, Yarns, instruct, selection_table, yarn_colours
from stitchc.sheet.preparation import (
    STILL_ON,
    bed_facts,
    before_row_one,
    cautions,
    ending,
    most_held_words,
    needles_part,
    working_the_rows,
)
from stitchc.sheet.repeat import draw_repeat

if TYPE_CHECKING:
    from stitchc.bed import Needles
    from stitchc.machines.profile import Machine
    from stitchc.messages import Message
    from stitchc.pattern import Pattern, Side, Stitch


@dataclass(frozen=True)
class Sheet:
    """The passes of a stitch on these needles, and the document: its rows are the passes in words."""

    stitch: str
    machine: Machine
    needles: Needles
    passes: tuple[Pass, ...]
    document: Document


def stitch_sheet(
    pattern: Pattern,
    stitch: Stitch,
    machine: Machine,
    needles: Needles,
    rows: int,
    carriage: Side = "right",
    edge: int = 1,
    messages: Sequence[Message] = (),
    after: Mapping[int, str] | None = None,
) -> Sheet:
    """The sheet that knits `rows` rows of the stitch on these needles; `messages` are those that stand on it.

    after: what is done by hand after a row, by its number; where something is done after the last, the sheet does not
    say that the stitches are still on the needles.
    """
    after = after or {}
    chart = stitch.chart
    passes = lower(chart, machine, needles, rows, carriage, edge)
    yarns = Yarns.of(pattern)
    items: list[Item] = []
    for each in passes:
        items += [each, *(ending([passes], machine, yarns) if each.row == rows else [])]
        items += [ByHand(after[each.row])] if each.row in after else [STILL_ON] if each.row == rows else []
    if not moved_by_hand(machine):
        table = selection_table([(each,) for each in passes[: chart.height]], machine, stitch.name)
        items = [table, *items] if table is not None else items
    releases = (1,) if machine.reader == "card" and passes and passes[0].patterned else ()
    stretches = [Stretch(1, rows, chart.height)]
    entries = instruct(items, machine, needles, yarns, releases=releases, stretches=stretches)
    parts = (
        *warning_part(warning_lines(messages)),
        Part("The repeat", (draw_repeat(stitch.name, chart, carriage),)),
        cautions(),
        *needles_part([needles], [("All the time", (each,)) for each in passes[:1]]),
        *working_the_rows([passes], machine, [needles], edge, "--carriage {}"),
    )
    document = Document(
        stitch.name,
        "needle sheet",
        tuple(_facts(pattern, stitch, machine, needles, passes, edge, carriage)),
        parts,
        Rows(
            entries,
            needles,
            carriage,
            before_row_one(machine, needles, carriage, edge, passes, yarns),
            moved_by_hand(machine),
            total_words([passes], machine),
            colours=yarn_colours(pattern.yarns),
        ),
        pattern.title or "",
    )
    return Sheet(stitch.name, machine, needles, tuple(passes), document)


def warning_lines(messages: Sequence[Message], with_codes: bool = True) -> list[str]:
    """The messages that a knitter should know of. with_codes: for `stitchc explain`."""
    told = [message for message in messages if message.severity != "info"]
    return [f"{message.text} ({message.code})" if with_codes else message.text for message in told]


def warning_part(lines: Sequence[str]) -> list[Part]:
    """Warnings in their box, where there are any."""
    return [Part("Warnings", (Listing(tuple(lines)),), boxed=True)] if lines else []


def total_words(sizes: Sequence[Sequence[Pass]], machine: Machine) -> str:
    """Rows in all, and moves where hands move needles; of each size."""
    words = f"In all {number(len(sizes[0]), 'row')}"
    if moved_by_hand(machine):
        words += f", {count_of([sum(each.moves for each in passes) for passes in sizes], 'needle')} moved by hand"
    return f"{words}."


def _facts(
    pattern: Pattern,
    stitch: Stitch,
    machine: Machine,
    needles: Needles,
    passes: Sequence[Pass],
    edge: int,
    carriage: Side,
) -> list[tuple[str, str]]:
    chart = stitch.chart
    facts = bed_facts(machine, [needles], edge, [passes])
    facts.append(("Carriage", f"at the {carriage} before row 1"))
    facts.append(("Rows", _rows_words(len(passes), chart.height)))
    if moved_by_hand(machine):
        repeats, over = divmod(needles.count - 2 * edge, chart.width)
        if repeats and over:
            repeat = f"the repeat of {number(chart.width, 'needle')}"
            facts.append(("Across", f"{repeat} {_times(repeats)} and {number(over, 'needle')} more"))
        moves = number(cost(passes, machine).moves, "needle move")
        facts.append(("Work", "; ".join(filter(None, [f"{moves} by hand", most_held_words([passes])]))))
    return facts + [("Note", note) for note in pattern.notes]


def _rows_words(rows: int, height: int) -> str:
    times, rest = divmod(rows, height)
    repeat = f"the repeat of {number(height, 'row')}"
    if not times:
        return f"{rows} of {repeat}"
    words = f"{rows:,}: {repeat} {_times(times)}"
    return f"{words} and {number(rest, 'row')} more" if rest else words


def _times(times: int) -> str:
    return "once" if times == 1 else f"{times:,} times"

"""The sheet of one stitch: its passes put into instructions, with the head that belongs to them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from stitchc.english import number
from stitchc.passes import cost, lower, moved_by_hand
from stitchc.sheet.instructions import CAUTIONS, before_row_one, habits, instruct
from stitchc.sheet.model import Sheet

if TYPE_CHECKING:
    from stitchc.bed import Needles
    from stitchc.machines.profile import Machine
    from stitchc.messages import Message
    from stitchc.pattern import Pattern, Side, Stitch


def stitch_sheet(
    pattern: Pattern,
    stitch: Stitch,
    machine: Machine,
    needles: Needles,
    rows: int,
    carriage: Side = "right",
    edge: int = 1,
    messages: Sequence[Message] = (),
) -> Sheet:
    """The sheet that knits `rows` rows of the stitch on these needles; `messages` are those that stand on it."""
    passes = lower(stitch.chart, machine, needles, rows, carriage, edge)
    spent = cost(passes, machine)
    main = pattern.main_yarn.name if pattern.main_yarn is not None else None
    facts = [("Rows", _rows_words(rows, stitch.chart.height))]
    if moved_by_hand(machine):
        repeats, over = divmod(needles.count - 2 * edge, stitch.chart.width)
        if repeats and over:
            repeat = f"the repeat of {number(stitch.chart.width, 'needle')}"
            facts.append(("Across", f"{repeat} {_times(repeats)} and {number(over, 'needle')} more"))
        most = max((len(each.held) for each in passes), default=0)
        facts.append(
            ("Work", f"{number(spent.moves, 'needle move')} by hand; at most {number(most, 'needle')} held at a time")
        )
    return Sheet(
        title=stitch.name,
        subtitle=pattern.title or "",
        machine=machine,
        needles=needles,
        edge=edge,
        carriage=carriage,
        entries=instruct(passes, machine, needles, pattern.yarns, main=main),
        charts={stitch.name: stitch.chart},
        yarns={name: yarn for name, yarn in pattern.yarns.items() if name in stitch.chart.yarns},
        facts=tuple(facts),
        before=before_row_one(machine, needles, carriage, edge),
        habits=habits(passes, machine, needles, edge),
        cautions=CAUTIONS,
        notes=pattern.notes,
        warnings=tuple(f"{message.text} ({message.code})" for message in messages),
    )


def _rows_words(rows: int, height: int) -> str:
    times, rest = divmod(rows, height)
    repeat = f"the repeat of {number(height, 'row')}"
    if not times:
        return f"{rows} of {repeat}"
    words = f"{rows:,}: {repeat} {_times(times)}"
    return f"{words} and {number(rest, 'row')} more" if rest else words


def _times(times: int) -> str:
    return "once" if times == 1 else f"{times:,} times"

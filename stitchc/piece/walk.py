"""Row by row through a piece: where the carriage stands, what is held, and at which side of the bed each yarn hangs.

A yarn hangs where its last row ended, however long ago: a plain row brings the carriage there, unless the file asks for
a side. Every `knit` line begins at row 1 of its stitch. Knows the steps of a piece with their rows, and passes; nothing
of sizes or gauges.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

from stitchc.bed import Needles
from stitchc.chart import Chart
from stitchc.english import number
from stitchc.gauge.values import PLAIN
from stitchc.messages import Message, Severity, Span
from stitchc.passes import Pass, lower, moved_by_hand
from stitchc.pattern import CarriageAt, Do, Knit, Pattern, Piece, Side
from stitchc.piece.plan import Section, chart_of
from stitchc.piece.size import Rounding
from stitchc.piece.size_words import in_yarn_words
from stitchc.sheet.terms import MAIN_YARN, WHICH_IS_MAIN

if TYPE_CHECKING:
    from stitchc.machines.profile import Machine


def on_needles(chart: Chart, machine: Machine, needles: Needles, edge: int) -> Chart:
    """The chart as it lies on the needles: centred where the hand places it, so that both sides are cut alike."""
    if not moved_by_hand(machine):
        return chart
    over = (needles.count - 2 * edge) % chart.width
    return chart.shifted(over // 2) if over else chart


MOST_CARRIED: Final = 10
"""Rows that a yarn is carried along unused; after more it is cut and joined rather than paid for with a plain row in
the wrong colour (common practice)."""


class Walk:
    """One way through a piece on these needles. messages: the planner's, to which what is met on the way is added."""

    def __init__(
        self, pattern: Pattern, piece: Piece, machine: Machine, needles: Needles, messages: list[Message]
    ) -> None:
        self.pattern, self.piece, self.machine, self.needles, self.messages = pattern, piece, machine, needles, messages
        self.knits = {at: step for at, step in enumerate(piece.steps) if isinstance(step, Knit)}

    def say(self, code: str, severity: Severity, text: str, span: Span, cure: str) -> None:
        self.messages.append(Message(code, severity, text, span, cure))

    def items(self, rows: Mapping[int, tuple[int, Rounding | None]]) -> Iterator[Section | Do | Pass]:
        """Everything in the order in which it is done. Adds P407, P408, P409 and P412 to the messages.

        rows: of each `knit` step, by its place among the steps, and what became of a length.
        """
        bench = _Bench(self.piece.carriage)
        waiting: list[Do] = []  # what is done after the last row, before the next
        side_asked = False
        for at, step in enumerate(self.piece.steps):
            if isinstance(step, Do):
                waiting.append(step)
            elif isinstance(step, CarriageAt):
                side_asked = True
                if bench.carriage == step.side:
                    continue
                yield from waiting
                waiting = []
                yarn = bench.threaded if bench.row else self.first_yarn(at)
                why = f"so that the carriage stands at the {step.side}"
                self.say(
                    "P407",
                    "info",
                    f"The carriage stands at the {bench.carriage} here, so one plain row is added (row "
                    f"{bench.row + 1}) to bring it to the {step.side}.",
                    step.span,
                    cure="Make the rows before it one more or one fewer, or leave the line out.",
                )
                yield from self.added_row(bench, yarn, why)
            else:
                count, rounding = rows[at]
                chart = self.yarned(step)
                yarn = chart.yarns[0]
                hangs = bench.yarns.get(yarn)
                if hangs is not None and hangs != bench.carriage:
                    named = _named(yarn)
                    unused = bench.row - bench.last_used[yarn]
                    if side_asked:
                        self.say(
                            "P409",
                            "warning",
                            f"The carriage is asked to stand at the {bench.carriage}, but {named} hangs at the {hangs} "
                            "since it was last used, so it is cut and joined.",
                            step.span,
                            cure="Leave out the `carriage` line, or cut the yarn and join it at this side.",
                        )
                    elif unused > MOST_CARRIED:
                        self.say(
                            "P408",
                            "info",
                            f"{named[0].upper()}{named[1:]} was last used {number(unused, 'row')} ago and hangs at the "
                            f"{hangs}, so it is cut and joined at the {bench.carriage}.",
                            step.span,
                            cure="Make the rows since then an even number, if you want to carry it along.",
                        )
                    else:
                        self.say(
                            "P408",
                            "info",
                            f"{named[0].upper()}{named[1:]} hangs at the {hangs} since it was last used, so one plain "
                            f"row is added (row {bench.row + 1}) to bring the carriage there.",
                            step.span,
                            cure="Make the rows since then an even number."
                            + (self.name_the_yarn if None in bench.yarns else ""),
                        )
                        why = f"to bring the carriage to the {hangs}, where {yarn or MAIN_YARN} hangs"
                        yield from self.added_row(bench, bench.threaded, why)
                yield from waiting
                waiting = []
                yield from self.knitted(bench, at, step, chart, count, rounding)
                side_asked = False
        yield from waiting

    def knitted(
        self,
        bench: _Bench,
        at: int,
        step: Knit,
        chart: Chart,
        count: int,
        rounding: Rounding | None,
    ) -> Iterator[Section | Do | Pass]:
        """One section: its passes, and a word where a yarn hangs at the wrong side within it."""
        laid = on_needles(chart, self.machine, self.needles, self.piece.edge)
        yield Section(
            step.stitch, laid, count, bench.row + 1, bench.carriage, step.yarn, step.at, at, "", rounding, step
        )
        warned = any(message.code == "K208" for message in self.messages)
        for each in self.lowered(bench, laid, count):
            hangs = bench.yarns.get(each.yarn)
            # The first row has been seen to where the section begins.
            if hangs is not None and hangs != each.start_side and each.row != bench.row - count + 1 and not warned:
                warned = True
                self.say(
                    "P409",
                    "warning",
                    f"In row {each.row} {_named(each.yarn)} is taken up at the {each.start_side}, but it hangs at the "
                    f"{hangs}.",
                    step.span,
                    cure="Knit an even number of rows with each yarn before changing."
                    + (self.name_the_yarn if None in bench.yarns else ""),
                )
            bench.use(each)
            yield each

    def lowered(self, bench: _Bench, chart: Chart, count: int) -> list[Pass]:
        """So many passes from where the bench stands, and the bench as they leave it; yarns are the caller's."""
        passes = lower(
            chart,
            self.machine,
            self.needles,
            count,
            bench.carriage,
            self.piece.edge,
            held=bench.held,
            first_row=bench.row + 1,
        )
        bench.row += count
        bench.held = passes[-1].held
        bench.carriage = passes[-1].end_side
        return passes

    def added_row(self, bench: _Bench, yarn: str | None, why: str) -> Iterator[Section | Pass]:
        """One plain row in the yarn that is threaded."""
        chart = replace(Chart.plain(1, 1), yarns=(yarn,))
        yield Section(PLAIN, chart, 1, bench.row + 1, bench.carriage, yarn, why=why)
        for each in self.lowered(bench, chart, 1):
            bench.use(each)
            yield each

    def first_yarn(self, after: int) -> str | None:
        """The yarn of the first row knitted after a step."""
        return next((self.yarned(knit).yarns[0] for at, knit in self.knits.items() if at > after), None)

    def yarned(self, knit: Knit) -> Chart:
        """The stitch's chart with `in YARN` on the rows that name no yarn of their own, or else the main yarn, where
        the piece has others beside it and the pattern says which it is."""
        chart = chart_of(self.pattern, knit.stitch)
        if knit.yarn is None:
            main = self.pattern.main_yarn
            if main is None or not self.yarns_are_named:
                return chart
            return replace(chart, yarns=tuple(yarn or main.name for yarn in chart.yarns))
        own = sorted({yarn for yarn in chart.yarns if yarn is not None} - {knit.yarn})
        if own:
            all_own = all(yarn is not None for yarn in chart.yarns)
            names = ", ".join(f"`{name}`" for name in own)
            message = Message(
                "P412",
                "warning",
                f"The rows of `{knit.stitch}` name {names}, which `in {knit.yarn}` does not change"
                + ("." if all_own else "; only the rows that name none are knitted in it."),
                knit.span,
                cure=f"knit {knit.stitch} for …   without `in {knit.yarn}`, or a stitch that names no yarn",
            )
            if message not in self.messages:
                self.messages.append(message)
        return replace(chart, yarns=tuple(yarn or knit.yarn for yarn in chart.yarns))

    @cached_property
    def yarns_are_named(self) -> bool:
        """Whether any row of the piece names a yarn."""
        return any(knit.yarn or any(chart_of(self.pattern, knit.stitch).yarns) for knit in self.knits.values())

    @cached_property
    def name_the_yarn(self) -> str:
        """The further cure where a row that names no yarn is meant to be knitted in one of those declared."""
        return f" If rows without a yarn are knitted in one of those declared: {in_yarn_words(self.pattern)}."


@dataclass
class _Bench:
    """Where everything stands: the carriage, the rows done, the needles held, and each yarn's side."""

    carriage: Side
    row: int = 0
    held: tuple[int, ...] = ()
    threaded: str | None = None
    yarns: dict[str | None, Side] = field(default_factory=dict)
    last_used: dict[str | None, int] = field(default_factory=dict)

    def use(self, passed: Pass) -> None:
        """Leave the yarn of a pass where it ends."""
        self.threaded = passed.yarn
        self.yarns[passed.yarn], self.last_used[passed.yarn] = passed.end_side, passed.row


def _named(yarn: str | None) -> str:
    return f"yarn `{yarn}`" if yarn is not None else f"{MAIN_YARN} ({WHICH_IS_MAIN})"

"""Row by row through a piece: where the carriage stands, what is held, and at which side of the bed each yarn hangs.

A yarn hangs where its last row ended, however long ago. Where that is the other side, the profile says how yarn and
carriage come together; a plain row is added only where the file asks for a side. Every `knit` line begins at row 1 of
its stitch. Knows the steps of a piece with their rows, and passes; nothing of sizes or gauges.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

from stitchc.bed import Needles
from stitchc.chart import Chart
from stitchc.english import number
from stitchc.gauge.gauges import PLAIN
from stitchc.messages import Message, Severity, Span
from stitchc.passes import Crossing, Pass, Standing, lower, moved_by_hand, other_side
from stitchc.pattern import CarriageAt, Do, Knit, Pattern, Piece
from stitchc.piece.plan import Section, chart_of, yarn_of_other_rows
from stitchc.piece.size import Rounding
from stitchc.sheet.terms import MAIN_YARN, WHICH_IS_MAIN

if TYPE_CHECKING:
    from stitchc.machines.profile import Machine


def on_needles(chart: Chart, machine: Machine, needles: Needles, edge: int) -> Chart:
    """The chart as it lies on the needles: centred where the hand places it, so that both sides are cut alike."""
    if not moved_by_hand(machine):
        return chart
    over = (needles.count - 2 * edge) % chart.width
    return chart.shifted(over // 2) if over else chart


_CROSSINGS: Final[dict[Crossing, str]] = {
    "cut": "it is cut and joined",
    "free pass": "a free pass with all needles held brings the carriage there",
    "carry": "the carriage is lifted off and put on there",
}


class Walk:
    """One way through a piece on these needles. messages: the planner's, to which what is met on the way is added."""

    def __init__(
        self, pattern: Pattern, piece: Piece, machine: Machine, needles: Needles, messages: list[Message]
    ) -> None:
        self.pattern, self.piece, self.machine, self.needles, self.messages = pattern, piece, machine, needles, messages
        self.knits = {place: step for place, step in enumerate(piece.steps) if isinstance(step, Knit)}

    def say(self, code: str, severity: Severity, text: str, span: Span, advice: str) -> None:
        self.messages.append(Message(code, severity, text, span, advice))

    def items(self, rows: Mapping[int, tuple[int, Rounding | None]]) -> Iterator[Section | Do | Pass]:
        """Everything in the order in which it is done. Adds P407, P408, P409 and P412 to the messages.

        rows: of each `knit` step, by its place among the steps, and what became of a length.
        """
        bench = Standing(self.piece.carriage)
        waiting: list[Do] = []  # what is done after the last row, before the next
        side_asked = False
        for place, step in enumerate(self.piece.steps):
            if isinstance(step, Do):
                waiting.append(step)
            elif isinstance(step, CarriageAt):
                nothing_between = side_asked or not bench.row
                side_asked = True
                if bench.carriage == step.side:
                    continue
                yield from waiting
                waiting = []
                yarn = bench.threaded if bench.row else self.first_yarn(place)
                why = f"so that the carriage stands at the {step.side}"
                added = f"so one plain row is added (row {bench.row + 1}) to bring it to the {step.side}."
                if nothing_between:
                    text = f"The `carriage` line before asks for the {bench.carriage}, and this one for the {step.side}"
                    self.say("P407", "warning", f"{text}, {added}", step.span, advice="Keep one of the two lines.")
                else:
                    text = f"The carriage stands at the {bench.carriage} here, {added}"
                    advice = "Make the rows before it one more or one fewer, or leave the line out."
                    self.say("P407", "info", text, step.span, advice=advice)
                yield from self.added_row(bench, yarn, why)
            else:
                count, rounding = rows[place]
                chart = self.yarned(step)
                yarn = chart.yarns[0]
                bench.stays = side_asked
                crossing = bench.crossing(yarn, self.machine)
                if crossing:
                    self.say_crossing(bench, crossing, step, yarn)
                yield from waiting
                waiting = []
                yield from self.knitted(bench, place, step, chart, count, rounding)
                side_asked = False
        yield from waiting

    def knitted(
        self,
        bench: Standing,
        place: int,
        step: Knit,
        chart: Chart,
        count: int,
        rounding: Rounding | None,
    ) -> Iterator[Section | Do | Pass]:
        """One section: its passes, and a word where a yarn hangs at the wrong side within it."""
        laid = on_needles(chart, self.machine, self.needles, self.piece.edge)
        yield Section(
            step.stitch, laid, count, bench.row + 1, bench.carriage, step.yarn, step.tension, place, "", rounding, step
        )
        warned = any(message.code == "K208" for message in self.messages)
        for each in self.lowered(bench, laid, count):
            # The first row has been seen to where the section begins.
            if each.crossing and each.row != bench.row - count + 1 and not warned:
                warned = True
                how = f" {_CROSSINGS[each.crossing].capitalize()}." if each.crossing != "cut" else ""
                self.say(
                    "P409",
                    "warning" if each.crossing == "cut" else "info",
                    f"In row {each.row} {_named(each.yarn)} is taken up at the {each.comes_from}, but it hangs at the "
                    f"{other_side(each.comes_from)}.{how}",
                    step.span,
                    advice="Knit an even number of rows with each yarn before changing."
                    + (self.name_the_yarn if None in bench.used else ""),
                )
            yield each

    def say_crossing(self, bench: Standing, crossing: Crossing, step: Knit, yarn: str | None) -> None:
        """P408 or P409 where the first yarn of a section hangs at the other side."""
        hangs, ago = other_side(bench.carriage), number(bench.row - bench.used[yarn].row, "row")
        text = f"{_named(yarn)} hangs at the {hangs}, where it was last used {ago} ago"
        even = "Make the rows since then an even number"
        if bench.stays:
            self.say(
                "P409",
                "warning",
                f"The carriage is asked to stand at the {bench.carriage}, but {text}. It is cut and joined.",
                step.span,
                advice=f"{even}, or write `carriage {hangs}`, which adds one plain row.",
            )
        else:
            self.say(
                "P408",
                "info",
                f"{text[0].upper()}{text[1:]}. {_CROSSINGS[crossing].capitalize()}.",
                step.span,
                advice=f"{even}, or write `carriage {hangs}` before this line, which adds one plain row."
                + (self.name_the_yarn if None in bench.used else ""),
            )

    def lowered(self, bench: Standing, chart: Chart, count: int) -> list[Pass]:
        """So many passes from where the bench stands, and the bench as they leave it."""
        return lower(chart, self.machine, self.needles, count, edge=self.piece.edge, standing=bench)

    def added_row(self, bench: Standing, yarn: str | None, why: str) -> Iterator[Section | Pass]:
        """One plain row in the yarn that is threaded."""
        chart = replace(Chart.plain(1, 1), yarns=(yarn,))
        yield Section(PLAIN, chart, 1, bench.row + 1, bench.carriage, yarn, why=why)
        yield from self.lowered(bench, chart, 1)

    def first_yarn(self, after: int) -> str | None:
        """The yarn of the first row knitted after a step."""
        return next((self.yarned(knit).yarns[0] for place, knit in self.knits.items() if place > after), None)

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
                advice=f"knit {knit.stitch} for …   without `in {knit.yarn}`, or a stitch that names no yarn"
                if all_own
                else f"{yarn_of_other_rows(self.pattern, knit.stitch, knit.yarn)} Leave out `in {knit.yarn}` here.",
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
        """The further advice where a row that names no yarn is meant to be knitted in one of those declared."""
        from stitchc.piece.yarn_words import in_yarn_words

        return f" If rows without a yarn are knitted in one of those declared: {in_yarn_words(self.pattern)}."


def _named(yarn: str | None) -> str:
    return f"yarn `{yarn}`" if yarn is not None else f"{MAIN_YARN} ({WHICH_IS_MAIN})"

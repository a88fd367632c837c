"""All stitches of a pattern to their charts, each after those it is built from.

Sizes are known before anything is allocated. A stitch with a mistake in it is left out, and so are those built from
it, without further messages.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Final

from stitchc.chart import LETTERS, MAX_CELLS, Chart, NeedlesOutDiffer, SizesDiffer, TooLarge, YarnsDiffer
from stitchc.english import number, numbered
from stitchc.messages import Span
from stitchc.notation.gather import Gathered, StitchLines
from stitchc.notation.rows import stitch_by_rows
from stitchc.notation.tree import (
    Expression,
    Form,
    Formed,
    Joined,
    Named,
    PlainPart,
    StitchBuilt,
    Word,
    shortened,
)
from stitchc.notation.vocabulary import DEEPEST
from stitchc.pattern import Stitch

MOST_CIRCLES: Final = 50
"""Circles told apart; after so many, all that is being followed counts as one."""
MOST_CELLS_WORKED: Final = 50 * MAX_CELLS
"""The most cells that all forms and joints of a pattern make on the way. No pattern comes near; it keeps a file of a
few lines from taking an hour."""
MOST_CELLS_TOGETHER: Final = 10 * MAX_CELLS
"""The most cells that all stitches of a pattern have together. The notation limits each chart alone; this keeps a
file with thousands of the largest from taking the memory."""
MOST_ROWS_TOGETHER: Final = 2 * MAX_CELLS
"""The same for their rows, each of which has a yarn and a place."""


def stitches(gathered: Gathered) -> dict[str, Stitch]:
    """Every stitch that could be made, in the order of definition; what is wrong is added to `gathered.faults`."""
    return _Builder(gathered).stitches()


class _Builder:
    """One run over all definitions, which counts the cells made on the way."""

    def __init__(self, gathered: Gathered) -> None:
        self.gathered, self.faults = gathered, gathered.faults
        self.definitions = gathered.definitions
        self.cells_worked = 0

    def stitches(self) -> dict[str, Stitch]:
        order = self.in_dependency_order()
        made: dict[str, Stitch] = {}
        in_order = set(order)
        for key in self.definitions:
            if key not in in_order:  # what is in a circle may name what is not there as well
                self.unknown(key)
        cells = rows = 0
        for key in order:
            definition = self.definitions[key]
            stitch = (
                stitch_by_rows(key, definition, self.gathered)
                if isinstance(definition, StitchLines)
                else self.built(key, definition, made)
            )
            if stitch is None:
                continue
            cells += stitch.chart.width * stitch.chart.height
            rows += stitch.chart.height
            if cells > MOST_CELLS_TOGETHER or rows > MOST_ROWS_TOGETHER:
                most = (
                    f"{MOST_CELLS_TOGETHER:,} cells" if cells > MOST_CELLS_TOGETHER else f"{MOST_ROWS_TOGETHER:,} rows"
                )
                text = f"The stitches of this file have more than {most} together."
                self.faults.error("N110", text, definition.name.span, advice="Split the file.")
                break
            made[key] = stitch
        parts = {name for stitch in made.values() for name in stitch.built_from}
        return {
            key: Stitch(s.name, s.chart, s.span, s.row_spans, s.built_from, key in parts, key in self.gathered.included)
            for key in self.definitions
            if (s := made.get(key)) is not None
        }

    def in_dependency_order(self) -> list[str]:
        """Names so that each comes after those it is built from; circles are reported and left out."""
        order: list[str] = []
        state: dict[str, int] = {}  # 1: on the way, 2: done, 3: in or behind a circle
        uses = {
            key: [] if isinstance(definition, StitchLines) else [word.key for word in _names(definition.expression)]
            for key, definition in self.definitions.items()
        }
        circles = 0
        for root in self.definitions:
            stack = [(root, iter(uses[root]))] if root not in state else []
            if stack:
                state[root] = 1
            while stack:
                key, rest = stack[-1]
                for used in rest:
                    if used not in self.definitions:
                        continue
                    if state.get(used) == 1:
                        circle = [key]
                        while circle[-1] != used:
                            circle.append(stack[-1 - len(circle)][0])
                        self.circle(circle[::-1])
                        circles += 1
                        whole = circle if circles < MOST_CIRCLES else [name for name, _ in stack]
                        state.update(dict.fromkeys(whole, 3))
                    elif used not in state:
                        state[used] = 1
                        stack.append((used, iter(uses[used])))
                        break
                else:
                    stack.pop()
                    if state[key] == 1:
                        state[key] = 2
                        order.append(key)
        return order

    def circle(self, names: Sequence[str]) -> None:
        shown = [*names, names[0]] if len(names) <= 12 else [*names[:12], "…", names[0]]
        first = self.definitions[names[0]].name
        places = tuple((self.definitions[name].name.span, "and here") for name in names[1:6])
        self.faults.error(
            "N105",
            "These stitches are built from each other in a circle: "
            + " → ".join(f"`{shortened(n)}`" for n in shown)
            + ".",
            first.span,
            advice="Write at least one of them row by row.",
            also=places,
        )

    def built(self, key: str, definition: StitchBuilt, made: Mapping[str, Stitch]) -> Stitch | None:
        if definition.too_deep:
            self.faults.error(
                "N110",
                f"Brackets nest more than {DEEPEST} deep in `{definition.name.shown}`.",
                definition.name.span,
                advice="Define a part as a separate stitch.",
            )
            return None
        words = list(_names(definition.expression))
        if self.unknown(key) or any(word.key not in made for word in words):
            self.evaluate_ranges(definition.expression)
            return None
        chart = self.evaluate(definition.expression, made)
        if chart is None:
            return None
        return Stitch(key, chart, definition.name.span, None, tuple(dict.fromkeys(word.key for word in words)))

    def unknown(self, key: str) -> bool:
        """Whether a stitch is built from some that are not there, each of which is reported once."""
        definition = self.definitions[key]
        if isinstance(definition, StitchLines):
            return False
        unknown = [word for word in _names(definition.expression) if word.key not in self.definitions]
        for word in {word.key: word for word in reversed(unknown)}.values():
            self.gathered.unknown_stitch(word, (name for name in self.definitions if name != key))
        return bool(unknown)

    def evaluate_ranges(self, expression: Expression) -> None:
        """Report counts out of range in an expression that cannot be evaluated because a part of it is missing."""
        if isinstance(expression, PlainPart):
            for number in (expression.width, expression.height):
                self.faults.counted(number)
        elif isinstance(expression, Joined):
            for part in expression.parts:
                self.evaluate_ranges(part)
        elif isinstance(expression, Formed):
            self.evaluate_ranges(expression.part)
            for form in expression.forms:
                if form.number is not None:
                    self.form_count(form)

    def evaluate(self, expression: Expression, made: Mapping[str, Stitch]) -> Chart | None:
        """The chart of an expression, or None once what is wrong has been reported."""
        if self.cells_worked > MOST_CELLS_WORKED:
            return None
        if isinstance(expression, Named):
            return made[expression.name.key].chart
        if isinstance(expression, PlainPart):
            width, height = self.faults.counted(expression.width), self.faults.counted(expression.height)
            if width is None or height is None:
                return None
            return self.worked(self.sized(lambda: Chart.plain(width, height), expression.span), expression.span)
        if isinstance(expression, Formed):
            chart = self.evaluate(expression.part, made)
            for form in expression.forms:
                chart = self.worked(self.form(chart, form), form.span) if chart is not None else None
            return chart
        charts = [self.evaluate(part, made) for part in expression.parts]
        whole = [chart for chart in charts if chart is not None]
        if len(whole) < len(charts):
            return None
        if len(whole) == 1:  # brackets around one part
            return whole[0]
        return self.worked(self.joined(expression, whole), expression.joints[0])

    def worked(self, chart: Chart | None, span: Span) -> Chart | None:
        """The chart, unless too many cells have been made by now; that is reported once."""
        if chart is None:
            return None
        self.cells_worked += chart.width * chart.height
        if self.cells_worked <= MOST_CELLS_WORKED:
            return chart
        self.faults.error(
            "N110",
            f"Building the stitches up to here has taken more than {MOST_CELLS_WORKED:,} cells.",
            span,
            advice="Split the file, and build only from one repeat.",
        )
        return None

    def form(self, chart: Chart, form: Form) -> Chart | None:
        if form.kind == "mirrored":
            return chart.mirrored()
        if form.kind == "reversed":
            return chart.reversed()
        if form.kind == "replaced":
            return self.replaced(chart, form)
        count = self.form_count(form)
        if count is None:
            return None
        if form.kind == "shifted":
            return chart.shifted(-count if form.leftward else count)
        return self.sized(lambda: chart.across(count) if form.kind == "across" else chart.up(count), form.span)

    def form_count(self, form: Form) -> int | None:
        number = form.number
        assert number is not None
        if form.kind == "shifted" and number.value <= 0:
            many, side = -int(number.value), "right" if form.leftward else "left"
            if many:
                text = f"A shift to the {side} is written with `{side}`."
                advice = self.line_with(form, f"shifted {many} {side}")
            else:
                text, advice = "A shift by no needles changes nothing.", self.line_with(form, "")
            self.faults.error("N115", text, number.span, advice=advice)
            return None
        return self.faults.counted(number)

    def line_with(self, form: Form, put: str) -> str:
        """The line that a shift stands in, with something else in its place."""
        span = form.span
        line = self.gathered.sources[span.file][span.line - 1]
        shift = re.compile(r"\w+\s*-?[0-9]+(?:\s*\b(?:left|right)\b)?", re.IGNORECASE).match(line, span.column - 1)
        if shift is None or len(line) > 200:
            return put or "Leave it out."
        around = f"{line[: shift.start()].rstrip()} {put} {line[shift.end() :].split('#')[0]}"
        return " ".join(around.split()).replace(" )", ")")

    def replaced(self, chart: Chart, form: Form) -> Chart | None:
        becomes: dict[int, int] = {}
        for new, old in form.swaps:
            code = LETTERS.index(old.text.upper())
            if code in becomes:
                self.faults.error("N101", f"`{old.shown}` is replaced twice.", old.span, advice="Keep one of them.")
                return None
            becomes[code] = LETTERS.index(new.text.upper())
        return chart.replaced(becomes)

    def joined(self, expression: Joined, charts: list[Chart]) -> Chart | None:
        joints = expression.joints
        try:
            return Chart.stacked(charts) if expression.kind == "then" else Chart.side_by_side(charts)
        except SizesDiffer as differ:
            unit = "needles wide" if differ.axis == "width" else "rows high"
            word = "across" if differ.axis == "width" else "up"
            common, sizes = differ.smallest_that_would_do, (differ.before, differ.after)
            around = expression.parts[differ.joint : differ.joint + 2]
            if len(expression.parts) == 2 and all(isinstance(part, Named) for part in around):
                names = [part.name.shown for part in around if isinstance(part, Named)]
                advice = f" {expression.kind} ".join(
                    f"{name} {word} {common // size}" for name, size in zip(names, sizes, strict=True)
                )
            else:
                advice = " and ".join(
                    f"the part {side} it {word} {common // size}"
                    for side, size in zip(("before", "after"), sizes, strict=True)
                )
            self.faults.error(
                "N109",
                f"The parts do not fit: one is {sizes[0]} {unit}, the other {sizes[1]}; "
                f"the smallest size that fits both is {common}.",
                joints[differ.joint],
                label=f"{min(sizes)} does not fit evenly into {max(sizes)}",
                advice=advice,
            )
        except YarnsDiffer as differ:
            left, right = shortened(differ.left), shortened(differ.right)
            self.faults.error(
                "N117",
                f"Row {differ.row} would be in `{left}` on the left and in `{right}` on the right.",
                joints[differ.joint],
                advice="Knit both parts of a row in the same yarn.",
            )
        except NeedlesOutDiffer as differ:
            sides = (differ.before, "before", "after"), (differ.after, "after", "before")
            parts = [
                f"{numbered('Needle', needles)} {'is' if len(needles) == 1 else 'are'} out of work in the part {here} "
                f"`then` and in work in the part {there} it."
                for needles, here, there in sides
                if needles
            ]
            self.faults.error(
                "N119",
                " ".join(parts),
                joints[differ.joint],
                advice="Put the same needles out of work in both parts; instead of `plain`, use a stitch with the row "
                "K and the same `out` line.",
            )
        except TooLarge as large:
            self.too_large(large, joints[0])
        return None

    def sized(self, make: Callable[[], Chart], span: Span) -> Chart | None:
        try:
            return make()
        except TooLarge as large:
            self.too_large(large, span)
            return None

    def too_large(self, large: TooLarge, span: Span) -> None:
        size = f"{number(large.width, 'needle')} by {number(large.height, 'row')}"
        self.faults.error(
            "N110",
            f"This would be {size}; a chart has at most {MAX_CELLS:,} cells.",
            span,
            advice="Write one repeat; it is repeated for you.",
        )


def _names(expression: Expression) -> Iterable[Word]:
    """The stitch names an expression uses, left to right."""
    stack = [expression]
    while stack:
        node = stack.pop()
        if isinstance(node, Named):
            yield node.name
        elif isinstance(node, Formed):
            stack.append(node.part)
        elif isinstance(node, Joined):
            stack.extend(reversed(node.parts))

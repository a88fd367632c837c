"""Half way: what is knitted of the piece so far, measured, is a swatch of this very piece, and the rest is replanned.

Knows plans and gauges as values; nothing of words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from stitchc.gauge.estimate import GaugeReport
from stitchc.gauge.gauges import Direction, Range
from stitchc.messages import Message, Span
from stitchc.piece.measured import LEAST_COUNTED, Measured
from stitchc.piece.plan import Plan, chart_of
from stitchc.piece.planner import work_out
from stitchc.piece.size import size_cm

MOST_OFF: Final = 3.0
"""How many times as long or as short as expected a measured length may be, and as many rows as planned; no range of any
stitch is nearly as wide."""


@dataclass(frozen=True)
class Line:
    """One section in the comparison. done: rows of it knitted so far; open: whether it can still be changed.

    as_planned_cm: how long the planned rows are by what is known now. nearest_rows: what comes nearest to the length
    asked, whatever is knitted already; None where rows were asked.
    """

    stitch: str
    done: int
    planned_rows: int
    new_rows: int
    planned_cm: Range | None
    as_planned_cm: Range | None
    new_cm: Range | None
    asked_cm: float | None
    nearest_rows: int | None
    nearest_cm: float | None
    open: bool


@dataclass(frozen=True)
class Replan:
    """The plan as it was and as it is now. done: rows knitted so far. measured: what was taken in."""

    planned: Plan
    new: Plan
    measured: tuple[Measured, ...]
    done: int
    lines: tuple[Line, ...]

    @property
    def still_to_knit(self) -> int:
        """Rows left by the new plan."""
        return len(self.new.passes) - self.done


class NotKnitted(ValueError):
    """A measurement that cannot be of this piece."""


def replan(planned: Plan, measured: Sequence[Measured], anyway: bool = False) -> tuple[Replan | None, list[Message]]:
    """Plan the rest anew. Rows counted are taken as the first of that stitch in the piece, all before them as done.

    Raises NotKnitted for a stitch that the piece does not have, more rows or stitches than it has, or a length that is
    a slip.
    """
    done = _done_by_step(planned, measured)
    for each in measured:
        _hold_to_what_can_be(planned, each)
    new_report = informed(planned.report, measured, planned.piece.span)
    fixed, least = {}, {}
    reached = max((place for place, rows in done.items() if rows), default=-1)
    finished = {each.stitch for each in measured if each.in_all}
    for section in planned.sections:
        if section.step is None:
            continue
        counted = done.get(section.step)
        if section.step < reached:
            # Fewer rows than planned may be those of it that were measured; more than planned have been knitted.
            ended = counted is not None and (section.stitch in finished or counted > section.rows)
            fixed[section.step] = counted if ended and counted is not None else section.rows
        elif section.step == reached and section.stitch in finished:
            fixed[section.step] = done[reached]
        elif section.step == reached:
            least[section.step] = done[reached]
    new, messages = work_out(
        planned.pattern,
        planned.piece,
        planned.machine,
        new_report,
        needles=planned.needles,
        fixed_rows=fixed,
        least_rows=least,
        anyway=anyway,
    )
    if new is None:
        return None, messages
    rows_done = 0
    for section in new.sections:
        if section.step is None or section.step < reached:
            if section.from_row == rows_done + 1:
                rows_done = section.to_row
        elif section.step == reached:
            rows_done = section.from_row - 1 + done[reached]
            break
    lines = tuple(_lines(planned, new, done | fixed, reached))
    return Replan(planned, new, tuple(measured), rows_done, lines), messages


def _hold_to_what_can_be(planned: Plan, measured: Measured) -> None:
    """Raises NotKnitted where more was counted than there are needles, or where the length is so far from what was
    expected that it was typed wrongly."""
    across = chart_of(planned.pattern, measured.stitch).counted
    if measured.stitches is not None and measured.stitches > planned.needles.count:
        needles = planned.needles
        raise NotKnitted(
            f"{measured.stitches:g} {across} of `{measured.stitch}` are given, but the work is on {needles.count} "
            f"needles, {needles.left} to {needles.right}: check the count"
        )
    counts: tuple[tuple[Direction, float | None], ...] = (("rows", measured.rows), ("stitches", measured.stitches))
    for direction, count in counts:
        if count is None or count < LEAST_COUNTED or not planned.law.known(measured.stitch, direction):
            continue
        expected_mm = 100 * count / planned.law.range(measured.stitch, direction).value
        if not 1 / MOST_OFF < measured.mm / expected_mm < MOST_OFF:
            counted = direction if direction == "rows" else across
            raise NotKnitted(
                f"{count:g} {counted} of `{measured.stitch}` were expected to be about {expected_mm / 10:.1f} cm and "
                f"are given as {measured.mm / 10:g} cm: check the length and its unit"
            )


def informed(report: GaugeReport, measured: Sequence[Measured], span: Span) -> GaugeReport:
    """The gauge with the measurements taken in as swatches of this very piece, those that are too small left out."""
    return report.adding([each.swatch(span) for each in measured if each.tells_a_gauge], of_this_piece=True)


def _done_by_step(planned: Plan, measured: Sequence[Measured]) -> dict[int, int]:
    """Rows knitted of each step, by its place: the counted rows fill the sections of their stitch in order."""
    done: dict[int, int] = {}
    for each in measured:
        sections = [
            (section.step, section)
            for section in planned.sections
            if section.stitch == each.stitch and section.step is not None
        ]
        if not sections:
            names = ", ".join(f"`{name}`" for name in planned.charts)
            raise NotKnitted(f"`{planned.piece.name}` has no section of `{each.stitch}`; it has {names}")
        if each.rows is None:
            continue
        left = round(each.rows)
        total = sum(section.rows for _, section in sections)
        if left > total:
            # More of it was knitted than planned: all of that goes to the last section.
            for step, section in sections[:-1]:
                done[step] = section.rows
                left -= section.rows
            step, last = sections[-1]
            if last.asked is not None and last.asked.rows is not None:
                raise NotKnitted(f"`{planned.piece.name}` has only {total} rows of `{each.stitch}`")
            if each.rows > MOST_OFF * total:
                raise NotKnitted(
                    f"{total} rows of `{each.stitch}` are planned and {each.rows:g} are given as knitted: check the "
                    "count. If it is right, ask for a longer piece in the pattern first"
                )
            done[step] = left
            continue
        for step, section in sections:
            if left <= 0:
                break
            done[step] = max(done.get(step, 0), min(left, section.rows))
            left -= section.rows
    return done


def _lines(planned: Plan, new: Plan, done: dict[int, int], reached: int) -> Iterator[Line]:
    by_step = {section.step: section for section in new.sections if section.step is not None}
    for section in planned.sections:
        if section.step is None:
            continue
        now = by_step[section.step]
        asked = section.asked
        knitted = done.get(section.step, 0)
        yield Line(
            stitch=section.stitch,
            done=knitted,
            planned_rows=section.rows,
            new_rows=now.rows,
            planned_cm=planned.length_of(section),
            as_planned_cm=size_cm(new.law, {new.fabric(section): section.rows}, "rows"),
            new_cm=new.length_of(now),
            asked_cm=asked.mm / 10 if asked is not None and asked.mm is not None else None,
            nearest_rows=now.rounding.chosen.count if now.rounding is not None else None,
            nearest_cm=now.rounding.chosen.mm / 10 if now.rounding is not None else None,
            open=section.step >= reached,
        )

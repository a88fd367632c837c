"""Half way: what is knitted of the piece so far, measured, is a swatch of this very piece, and the rest is replanned.

Knows plans and gauges as values; nothing of words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, NoReturn

from stitchc.english import listed, number
from stitchc.gauge.estimate import GaugeReport
from stitchc.gauge.gauges import Range
from stitchc.messages import Message, Span
from stitchc.piece.measured import Measured, NotKnitted
from stitchc.piece.plan import Plan, Section
from stitchc.piece.planner import work_out
from stitchc.piece.plausible import doubts
from stitchc.piece.size import size_cm

MOST_OFF: Final = 3.0
"""How many times as many rows as planned may be knitted; no range of any stitch is nearly as wide."""


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


def replan(planned: Plan, measured: Sequence[Measured], anyway: bool = False) -> tuple[Replan | None, list[Message]]:
    """Plan the rest anew. Rows counted are taken as the first of that part, or of that stitch over all its parts, and
    all before them as done.

    Raises NotKnitted for a stitch or part that the piece does not have, where it has to be said which part is meant,
    for more rows or stitches than it has, or a length that is a slip.
    """
    measured = [_with_its_stitch(planned, each) for each in measured]
    done = _done_by_step(planned, measured)
    doubted = doubts(planned, measured)
    new_report = informed(planned.report, measured, planned.piece.span)
    fixed, least = {}, {}
    reached = max((place for place, rows in done.items() if rows), default=-1)
    finished = {counted_in(planned, each)[0].step for each in measured if each.in_all}
    for section in planned.sections:
        if section.step is None:
            continue
        counted = done.get(section.step)
        if section.step < reached:
            # Fewer rows than planned may be those of it that were measured; more than planned have been knitted.
            ended = counted is not None and (section.step in finished or counted > section.rows)
            fixed[section.step] = counted if ended and counted is not None else section.rows
        elif section.step == reached and section.step in finished:
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
    return Replan(planned, new, tuple(measured), rows_done, lines), [*doubted, *messages]


def informed(report: GaugeReport, measured: Sequence[Measured], span: Span) -> GaugeReport:
    """The gauge with the measurements taken in as swatches of this very piece, those that are too small left out."""
    return report.adding([each.swatch(span) for each in measured if each.tells_a_gauge], of_this_piece=True)


def counted_in(plan: Plan, measured: Measured) -> tuple[Section, ...]:
    """The parts over which its rows are counted: the one that it names, or all those of its stitch."""
    if measured.part is not None:
        return plan.parts[measured.part - 1 : measured.part]
    return tuple(part for part in plan.parts if part.stitch == measured.stitch)


def _with_its_stitch(planned: Plan, measured: Measured) -> Measured:
    """With the stitch of the part that it names."""
    parts = counted_in(planned, measured)
    piece = planned.piece.name
    if not parts and measured.part is not None:
        raise NotKnitted(f"`{piece}` has no part {measured.part}; it has parts 1 to {len(planned.parts)}")
    if not parts:
        names = ", ".join(f"`{name}`" for name in planned.charts)
        raise NotKnitted(f"`{piece}` has no section of `{measured.stitch}`; it has {names}")
    if measured.in_all and len(parts) > 1:
        raise NotKnitted(
            f"`{measured.words}`: {_several(planned, parts)}. Say which of them ended, and how many rows that part "
            f"alone has, as in `{_of_part(planned, measured, parts[0])}`"
        )
    return replace(measured, stitch=parts[0].stitch)


def _number_of(plan: Plan, part: Section) -> int:
    return plan.parts.index(part) + 1


def _of_part(plan: Plan, measured: Measured, part: Section) -> str:
    """How to say that the rows measured are those of one part: as it can be typed, or without the figures where they
    would be refused as too many for that part."""
    of_part = replace(measured, part=_number_of(plan, part))
    can_be = measured.rows is None or measured.rows <= MOST_OFF * part.rows
    return of_part.words if can_be else f"part {of_part.part}: … rows … cm"


def _several(plan: Plan, parts: Sequence[Section]) -> str:
    numbers = listed([str(_number_of(plan, part)) for part in parts])
    return f"`{parts[0].stitch}` is knitted in parts {numbers} of `{plan.piece.name}`"


def _done_by_step(planned: Plan, measured: Sequence[Measured]) -> dict[int, int]:
    """Rows knitted of each step, by its place. Rows of a stitch fill its parts in the order of knitting, but are never
    taken for proof that other parts between them are knitted."""
    counted = [(each, counted_in(planned, each)) for each in measured if each.rows is not None]
    left = [round(each.rows or 0) for each, _ in counted]
    done: dict[int, int] = {}
    begun = max((planned.parts.index(parts[0]) for _, parts in counted), default=0)
    for place, part in enumerate(planned.parts):
        for index, (each, parts) in enumerate(counted):
            if part not in parts or not left[index]:
                continue
            assert part.step is not None
            if part != parts[0] and begun < place - 1 and planned.parts[place - 1] not in parts:
                before = max(parts.index(part) - 1, 0)
                _ask_which(planned, each, parts[before], part)
            begun = max(begun, place)
            rows = left[index] if part == parts[-1] else min(left[index], part.rows)
            if rows > part.rows:
                _hold_to_the_rows(planned, each, parts)
            done[part.step] = max(done.get(part.step, 0), rows)
            left[index] -= rows
    return done


def _ask_which(planned: Plan, measured: Measured, first: Section, second: Section) -> NoReturn:
    """Raises NotKnitted: the rows are more than those of a part, and nothing says that the next was begun."""
    one, other = (_number_of(planned, part) for part in (first, second))
    ended = first.asked is not None and first.asked.rows is not None  # with other rows than were asked for
    raise NotKnitted(
        f"`{measured.words}` is more than part {one} has ({number(first.rows, 'row')}), and nothing says that what "
        f"comes between it and part {other}, the next of `{first.stitch}`, is knitted. Count the rows of one part, as "
        f"in `{_of_part(planned, replace(measured, in_all=ended), first)}` or `part {other}: …`, "
        f"or give the rows of part {other - 1} as well"
    )


def _hold_to_the_rows(planned: Plan, measured: Measured, parts: Sequence[Section]) -> None:
    """Raises NotKnitted where more rows are given than were asked for or, of a length, than can be."""
    total, last = sum(part.rows for part in parts), parts[-1]
    where = f"part {measured.part}" if measured.part is not None else f"`{planned.piece.name}`"
    if last.asked is not None and last.asked.rows is not None and not measured.in_all:
        ended = (
            "" if len(parts) > 1 else f". If that part ended with more, write `{replace(measured, in_all=True).words}`"
        )
        raise NotKnitted(f"{where} has only {number(total, 'row')} of `{measured.stitch}`{ended}")
    if measured.rows is not None and measured.rows > MOST_OFF * total:
        raise NotKnitted(
            f"{number(total, 'row')} of `{measured.stitch}` are planned and {measured.rows:g} are given as knitted: "
            "check the count. If it is right, ask for a longer piece in the pattern first"
        )


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

"""Half way: what is knitted of the piece so far, measured, is a swatch of this very piece, and the rest is replanned.

Knows plans and gauges as values; the words for it stand here too, since the table is the answer.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from stitchc.chart import Setting
from stitchc.english import listed, number
from stitchc.gauge.estimate import GaugeReport
from stitchc.gauge.values import PLAIN, Direction, Range
from stitchc.messages import Message, Span
from stitchc.passes import lever_changes, moved_by_hand
from stitchc.pattern import Swatch
from stitchc.piece.plan import plan_piece
from stitchc.piece.size import size_cm
from stitchc.piece.values import Plan
from stitchc.piece.words import CM_PER_INCH, Units, in_both, size_words
from stitchc.sheet import Sheet
from stitchc.sheet.instructions import setting_words
from stitchc.sheet.words import name_needles

ON_THE_MACHINE_LOG: Final = (0.05, 0.05)
"""How much longer a fabric hangs on the machine under its weights than it lies at rest, as mean and standard deviation
of the logarithm. Assumed: it is common practice to let work rest before measuring, and nobody gives a figure."""

LEAST_MM: Final = 10.0
LEAST_COUNTED: Final = 4
"""What is measured half way says where the work is, and nothing of its gauge, below these (chosen, no source)."""

MOST_OFF: Final = 3.0
"""How many times as long or as short as expected a measured length may be; no range of any stitch is nearly as wide."""

_MEASURED = re.compile(
    r"\s*(?P<stitch>[^\W\d_][\w-]*)\s+(?P<count>[0-9]{1,6}(?:[.,][0-9]{1,3})?)\s*(?P<what>rows?|stitch(?:es)?|sts|needles?)"
    r"\s*[,:=]?\s*(?P<length>[0-9]{1,5}(?:[.,][0-9]{1,4})?)\s*(?P<unit>mm|cm|in)\b\s*"
    r"(?P<all>in all\b)?\s*(?P<place>(?:on|off) the machine\b)?\s*(?P<all_behind>in all)?\s*",
    re.IGNORECASE,
)
_MM_PER: Final = {"mm": 1.0, "cm": 10.0, "in": 25.4}


@dataclass(frozen=True)
class Measured:
    """`drift 30 rows 7.1 cm`: what was counted over a length. on_machine: measured while it hung there. in_all: these
    are all the rows of that stitch, and the piece has gone on to the next part."""

    stitch: str
    mm: float
    rows: float | None = None
    stitches: float | None = None
    on_machine: bool = False
    in_all: bool = False

    @property
    def tells_a_gauge(self) -> bool:
        """Whether it is large enough to learn from: half a row or a millimetre more would change a smaller one by more
        than any plan is out."""
        return self.mm >= LEAST_MM and (self.rows or self.stitches or 0) >= LEAST_COUNTED

    def swatch(self, span: Span) -> Swatch:
        """As a swatch; a length on the machine is taken back to rest, and doubted the more for it."""
        if not self.on_machine or self.rows is None:
            return Swatch(self.stitch, self.mm, span, self.stitches, self.rows)
        mean, sd = ON_THE_MACHINE_LOG
        return Swatch(self.stitch, self.mm / (1 + mean), span, self.stitches, self.rows, doubt=sd)


def parse_measured(text: str) -> Measured:
    """From "drift 30 rows 7.1 cm", "drift 40 stitches 21 cm", "… on the machine".

    Raises ValueError saying what may be.
    """
    match = _MEASURED.fullmatch(text)
    if match is None:
        raise ValueError(
            f"`{text}` is not a measurement: write the stitch, what you counted and how long it was, "
            'as in "drift 30 rows 7.1 cm" (and `on the machine` if it hung there) or "drift 40 stitches 21 cm"'
        )
    count, length = (float(match[name].replace(",", ".")) for name in ("count", "length"))
    mm = length * _MM_PER[match["unit"].lower()]
    if not 1 <= count <= 100_000 or not 1 <= mm <= 100_000:
        raise ValueError(f"`{text}`: at least one row or stitch, and a length from 1 mm to 100 m")
    if match["what"].lower()[0] != "r" and (match["place"] or "").lower().startswith("on"):
        raise ValueError(f"`{text}`: on the machine the needles hold the work wide, so measure its width at rest")
    stitch = PLAIN if match["stitch"].lower() == PLAIN else match["stitch"]
    is_rows = match["what"].lower().startswith("row")
    if is_rows and not count.is_integer():
        raise ValueError(f"`{text}`: rows are whole, {math.floor(count)} or {math.ceil(count)} of them")
    on_machine = (match["place"] or "").lower().startswith("on")
    in_all = match["all"] is not None or match["all_behind"] is not None
    if in_all and not is_rows:
        raise ValueError(f"`{text}`: `in all` is about rows; leave it out of a width")
    return Measured(stitch, mm, count if is_rows else None, None if is_rows else count, on_machine, in_all)


@dataclass(frozen=True)
class Line:
    """One section in the comparison. done: rows of it knitted so far; open: whether it can still be changed.

    as_planned_cm: what the planned rows come to by what is known now. nearest_rows: what comes nearest to the length
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

    Raises NotKnitted for a stitch that the piece does not have, more rows than it has, or a length that is a slip.
    """
    done = _done_by_step(planned, measured)
    for one in measured:
        _hold_to_what_can_be(planned, one)
    new_report = taught(planned.report, measured, planned.piece.span)
    fixed, least = {}, {}
    reached = max((at for at, rows in done.items() if rows), default=-1)
    finished = {one.stitch for one in measured if one.in_all}
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
    new, messages = plan_piece(
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


def _hold_to_what_can_be(planned: Plan, one: Measured) -> None:
    """Raises NotKnitted where the length is so far from what was expected that it was typed wrongly."""
    counts: tuple[tuple[Direction, float | None], ...] = (("rows", one.rows), ("stitches", one.stitches))
    for direction, count in counts:
        if count is None or not one.tells_a_gauge or not planned.law.known(one.stitch, direction):
            continue
        expected_mm = 100 * count / planned.law.range(one.stitch, direction).value
        if not 1 / MOST_OFF < one.mm / expected_mm < MOST_OFF:
            raise NotKnitted(
                f"{count:g} {direction} of `{one.stitch}` were expected to be about {expected_mm / 10:.1f} cm and are "
                f"given as {one.mm / 10:g} cm: check the length and its unit"
            )


def taught(report: GaugeReport, measured: Sequence[Measured], span: Span) -> GaugeReport:
    """The gauge with the measurements taken in as swatches of this very piece, those that are too small left out."""
    return report.adding([one.swatch(span) for one in measured if one.tells_a_gauge], of_this_piece=True)


def _done_by_step(planned: Plan, measured: Sequence[Measured]) -> dict[int, int]:
    """Rows knitted of each step, by its place: the counted rows fill the sections of their stitch in order."""
    done: dict[int, int] = {}
    for one in measured:
        sections = [
            (section.step, section)
            for section in planned.sections
            if section.stitch == one.stitch and section.step is not None
        ]
        if not sections:
            names = ", ".join(f"`{name}`" for name in planned.charts)
            raise NotKnitted(f"`{planned.piece.name}` has no section of `{one.stitch}`; it has {names}")
        if one.rows is None:
            continue
        left = round(one.rows)
        total = sum(section.rows for _, section in sections)
        if left > total:
            # More of it was knitted than planned: all of that goes to the last section.
            for step, section in sections[:-1]:
                done[step] = section.rows
                left -= section.rows
            step, last = sections[-1]
            if last.asked is not None and last.asked.rows is not None:
                raise NotKnitted(f"`{planned.piece.name}` has only {total} rows of `{one.stitch}`")
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
            as_planned_cm=size_cm(new.law, {section.stitch: section.rows}, "rows"),
            new_cm=new.length_of(now),
            asked_cm=asked.mm / 10 if asked is not None and asked.mm is not None else None,
            nearest_rows=now.rounding.chosen.count if now.rounding is not None else None,
            nearest_cm=now.rounding.chosen.mm / 10 if now.rounding is not None else None,
            open=section.step >= reached,
        )


_ROWS_UNSAID: Final = (
    "How many rows are knitted is not said, so all rows are told from row 1; add them with their length, as in "
    '--so-far "drift 30 rows 7.1 cm", for what is still to knit.'
)

# -- in words -------------------------------------------------------------------------------------------------------


def replan_lines(found: Replan, units: Units) -> Iterator[str]:
    """The planned and the new numbers side by side, what is still to knit, and what else could be done."""
    per = 1.0 if units == "cm" else 1 / CM_PER_INCH
    for one in found.measured:
        counted = number(round(one.rows), "row") if one.rows is not None else f"{one.stitches:g} stitches"
        place = ", on the machine (taken as 5 % longer than at rest, give or take 8 %)" if one.on_machine else ""
        yield f"Measured: {counted} of {one.stitch} in {in_both(one.mm / 10, units)}{place}.{_taken_as(found, one)}"
    needles = f"on needles {found.new.needles.left} to {found.new.needles.right}"
    if found.done:
        yield f"Taken as knitted so far: {number(found.done, 'row')}, {needles}."
    else:
        yield f"{_ROWS_UNSAID} The work is {needles}."
    yield ""
    table = [("section", "asked", "planned", "as planned, now", "new plan")]
    for line in found.lines:
        asked = f"{line.asked_cm * per:.1f} {units}" if line.asked_cm is not None else number(line.planned_rows, "row")
        table.append(
            (
                line.stitch,
                asked,
                _cell(line.planned_rows, line.planned_cm, per, units),
                _cell(line.planned_rows, line.as_planned_cm, per, units),
                _cell(line.new_rows, line.new_cm, per, units),
            )
        )
    table.append(
        (
            "the whole",
            "",
            _cell(len(found.planned.passes), found.planned.length_cm, per, units),
            _cell(len(found.planned.passes), _whole(found), per, units),
            _cell(len(found.new.passes), found.new.length_cm, per, units),
        )
    )
    widths = [max(len(row[at]) for row in table) for at in range(5)]
    for row in table:
        yield "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
    yield ""
    if found.planned.width_cm is not None and found.new.width_cm is not None:
        yield f"Width as planned: {size_words(found.planned.width_cm, units)}."
        yield f"Width by now: {size_words(found.new.width_cm, units)}."
        yield "The needles are in work, so only blocking, or beginning again on others, can change the width."
    if found.done:
        yield f"Still to knit: {number(found.still_to_knit, 'row')}."
    yield from _what_else(found, units)


def _taken_as(found: Replan, one: Measured) -> str:
    """Which rows of the piece the counted ones are taken for, where that is not plain to see; else nothing."""
    small = "" if one.tells_a_gauge else " That is too little to learn a gauge from, and only counted."
    if one.rows is None:
        return small
    left = round(one.rows)
    sections = [each for each in found.new.sections if each.stitch == one.stitch and each.step is not None]
    places, rows = [], 0
    for section in sections:
        if left <= 0:
            break
        last = section.from_row + min(left, section.rows) - 1
        places.append(f"{section.from_row} to {last}" if last > section.from_row else f"{last}")
        left -= section.rows
        rows += section.rows
    said = small + (f" They are taken for rows {listed(places)}." if len(places) > 1 else "")
    if left < 0 and places and not one.in_all and sections[len(places) - 1].to_row < found.done:
        said += (
            f" All {number(rows, 'row')} planned are taken as knitted; if these are all there are, add `in all`: "
            f'--so-far "{one.stitch} {round(one.rows)} rows {one.mm / 10:g} cm in all".'
        )
    return said


def _whole(found: Replan) -> Range | None:
    counts: dict[str, int] = {}
    for section in found.planned.sections:
        counts[section.stitch] = counts.get(section.stitch, 0) + section.rows
    return size_cm(found.new.law, counts, "rows")


def _cell(rows: int, length: Range | None, per: float, units: str) -> str:
    if length is None:
        return number(rows, "row")
    return (
        f"{number(rows, 'row')}, {length.value * per:.1f} {units} ({length.low * per:.1f} to {length.high * per:.1f})"
    )


def _what_else(found: Replan, units: Units) -> Iterator[str]:
    for line in found.lines:
        if not line.open or line.asked_cm is None or line.as_planned_cm is None:
            continue
        nearest, planned = line.nearest_rows or line.new_rows, line.planned_rows
        if line.done > nearest and line.nearest_cm is not None and line.new_cm is not None:
            yield (
                f"{line.stitch}: it is longer than asked already. Unravel to {number(nearest, 'row')} of it, about "
                f"{in_both(line.nearest_cm, units)}, or go on to {number(line.new_rows, 'row')}, about "
                f"{in_both(line.new_cm.value, units)}, as the new plan does."
            )
            continue
        change = line.new_rows - planned
        if line.done >= line.new_rows:
            yield f"{line.stitch}: its {number(line.done, 'row')} are knitted; none is still to do."
            continue
        if change == 0:
            yield f"{line.stitch}: the {number(planned, 'row')} planned are still the nearest."
            continue
        yield (
            f"{line.stitch}: knit {number(line.new_rows, 'row')} instead of {planned}, "
            f"{abs(change)} {'more' if change > 0 else 'fewer'}; {line.new_rows - line.done} are still to do."
        )
        if line.done >= planned:
            continue  # it is past what else could have been done
        short = line.asked_cm - line.as_planned_cm.value
        if short > 0:
            yield from _plain_instead(found, line, short, units)
            yield f"Or leave it at {planned}: it comes out about {in_both(short, units)} shorter than asked."
        else:
            yield f"Or knit all {planned}: it comes out about {in_both(-short, units)} longer than asked."


def _plain_instead(found: Replan, line: Line, short_cm: float, units: Units) -> Iterator[str]:
    """A further plain section that makes up what is missing, after the planned rows."""
    law = found.new.law
    if line.stitch == PLAIN or not law.known(PLAIN, "rows"):
        return
    rows = round(short_cm / 10 * law.range(PLAIN, "rows").value)
    if rows < 1:
        return
    length = size_cm(law, {PLAIN: rows}, "rows")
    if length is not None:
        yield (
            f"Or knit the {line.planned_rows} planned and {number(rows, 'row')} of plain after them, about "
            f"{in_both(length.value, units)}."
        )


def with_comparison(sheet: Sheet, found: Replan, units: Units) -> Sheet:
    """The new plan's sheet of the rows that are left, or of all where none are said to be knitted, with the comparison
    in its head."""
    side = found.new.passes[found.done - 1].end_side if found.done else found.new.piece.carriage
    before = f"The row counter stands at {found.done:03d} and the carriage at the {side}."
    held = found.new.passes[found.done - 1].held if found.done else ()
    if held and moved_by_hand(found.new.machine):
        before += f" {number(len(held), 'needle')} {'is' if len(held) == 1 else 'are'} held: {name_needles(held).text}."
    if found.done and not moved_by_hand(found.new.machine):
        changes = lever_changes(found.new.passes[: found.done], found.new.machine)
        setting: Setting = next((change.to for change in reversed(changes) if change is not None), "plain")
        before += f" The carriage is set to {setting_words(setting)}."
    if found.still_to_knit:
        before += f" Go on with row {found.done + 1}."
    so_far = tuple(_sentences(found, units))
    if not found.done:
        return replace(sheet, more=(("So far", (*so_far, _ROWS_UNSAID)), *sheet.more))
    return replace(
        sheet,
        kind=f"what is still to knit after row {found.done}",
        before=(before,),
        more=(("So far", so_far), *sheet.more),
        total=f"Still to knit: {number(found.still_to_knit, 'row')}.",
    )


def _sentences(found: Replan, units: Units) -> Iterator[str]:
    """The comparison for a page, where a table of spaces would fall apart."""
    for one in found.measured:
        counted = number(round(one.rows), "row") if one.rows is not None else f"{one.stitches:g} stitches"
        yield f"Measured: {counted} of {one.stitch} in {in_both(one.mm / 10, units)}.{_taken_as(found, one)}"
    for line in found.lines:
        if line.planned_cm is None or line.as_planned_cm is None or line.new_cm is None:
            continue
        if line.new_rows == line.planned_rows and abs(line.new_cm.value - line.planned_cm.value) < 0.05:
            continue
        yield (
            f"{line.stitch}: {number(line.planned_rows, 'row')} were planned for "
            f"{in_both(line.planned_cm.value, units)}; by now they would come to "
            f"{in_both(line.as_planned_cm.value, units)}. New plan: {number(line.new_rows, 'row')}, "
            f"{in_both(line.new_cm.value, units)}."
        )
    yield from _what_else(found, units)

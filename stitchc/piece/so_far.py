"""Half way in words: the planned and the new numbers side by side, what is still to knit, what else could be done."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from stitchc.document import Listing, Part, Table
from stitchc.english import listed, number
from stitchc.gauge.gauges import PLAIN, Range
from stitchc.piece.measured import Measured
from stitchc.piece.plan import chart_of
from stitchc.piece.replan import Line, Replan, counted_in
from stitchc.piece.size import size_cm
from stitchc.piece.size_words import CM_PER_INCH, Units, in_both, size_words

_ROWS_UNKNOWN: Final = (
    "You did not say how many rows are knitted, so all rows are shown from row 1. To see only the rows still to knit, "
    'give rows with their length, as in --so-far "drift 30 rows 7.1 cm".'
)


def so_far_parts(replanned: Replan, units: Units) -> list[Part]:
    """What stands in the head of a document whose rows go on from here."""
    return [
        Part(
            "So far",
            (
                Listing(tuple(_measured(replanned, units))),
                _table(replanned, units),
                Listing(tuple(_after(replanned, units))),
            ),
        )
    ]


def _measured(replanned: Replan, units: Units) -> Iterator[str]:
    for each in replanned.measured:
        across = chart_of(replanned.planned.pattern, each.stitch).counted
        counted = number(round(each.rows), "row") if each.rows is not None else f"{each.stitches:g} {across}"
        place = ", on the machine (taken as 5 % longer than at rest, give or take 8 %)" if each.on_machine else ""
        length = in_both(each.mm / 10, units)
        part = f", part {each.part}," if each.part is not None else ""
        yield f"Measured: {counted} of {each.stitch}{part} in {length}{place}.{_taken_as(replanned, each)}"
    needles = f"on needles {replanned.new.needles.left} to {replanned.new.needles.right}"
    if replanned.done:
        yield f"Knitted so far: {number(replanned.done, 'row')}, {needles}."
    else:
        yield f"{_ROWS_UNKNOWN} The work is {needles}."


def _table(replanned: Replan, units: Units) -> Table:
    per = 1.0 if units == "cm" else 1 / CM_PER_INCH
    rows = []
    for line in replanned.lines:
        asked = f"{line.asked_cm * per:.1f} {units}" if line.asked_cm is not None else number(line.planned_rows, "row")
        lengths = (line.planned_cm, line.as_planned_cm, line.new_cm)
        counts = (line.planned_rows, line.planned_rows, line.new_rows)
        rows.append(
            (line.stitch, asked, *(_cell(n, size, per, units) for n, size in zip(counts, lengths, strict=True)))
        )
    planned, new = len(replanned.planned.passes), len(replanned.new.passes)
    whole = ((planned, replanned.planned.length_cm), (planned, _whole(replanned)), (new, replanned.new.length_cm))
    rows.append(("the whole", "", *(_cell(count, size, per, units) for count, size in whole)))
    return Table(("section", "asked for", "first plan", "first plan at the new gauge", "new plan"), tuple(rows))


def _after(replanned: Replan, units: Units) -> Iterator[str]:
    if replanned.planned.width_cm is not None and replanned.new.width_cm is not None:
        yield f"Width as planned: {size_words([replanned.planned.width_cm], units)}."
        yield f"Width by now: {size_words([replanned.new.width_cm], units)}."
        yield "The needles are in work, so only blocking, or a new start on other needles, can change the width."
    if replanned.done:
        yield f"Still to knit: {number(replanned.still_to_knit, 'row')}."
    yield from _what_else(replanned, units)


def _taken_as(replanned: Replan, measured: Measured) -> str:
    """Which rows of the piece the counted ones are taken for, where that is not plain to see; else nothing."""
    small = "" if measured.tells_a_gauge else " This is too little to learn a gauge from; it only counts the rows."
    if measured.rows is None:
        return small
    left, parts = round(measured.rows), counted_in(replanned.new, measured)
    places, rows = [], 0
    for part in parts:
        if left <= 0:
            break
        last = part.from_row + min(left, part.rows) - 1
        places.append(f"{part.from_row} to {last}" if last > part.from_row else f"{last}")
        left -= part.rows
        rows += part.rows
    sentence = small + (f" They are counted as rows {listed(places)}." if len(parts) > 1 else "")
    first, again = parts[len(places) - 1], measured
    if len(parts) > 1:
        again = replace(measured, part=replanned.new.parts.index(parts[0]) + 1)
        # Over several parts, these figures are those of none of them.
        words = again.words if len(places) == 1 else f"part {again.part}: … rows … cm"
        sentence += f' To count one part alone, give its number, as in --so-far "{words}".'
    if left < 0 and len(places) == 1 and not measured.in_all and first.to_row < replanned.done:
        sentence += (
            f" All {number(rows, 'row')} planned are counted as knitted. If these are all there are, add `in all`: "
            f'--so-far "{replace(again, in_all=True).words}".'
        )
    return sentence


def _whole(replanned: Replan) -> Range | None:
    counts: dict[str, int] = {}
    for section in replanned.planned.sections:
        fabric = replanned.new.fabric(section)
        counts[fabric] = counts.get(fabric, 0) + section.rows
    return size_cm(replanned.new.law, counts, "rows")


def _cell(rows: int, length: Range | None, per: float, units: str) -> str:
    if length is None:
        return number(rows, "row")
    return (
        f"{number(rows, 'row')}: {length.value * per:.1f} ({length.low * per:.1f} to {length.high * per:.1f}) {units}"
    )


def _what_else(replanned: Replan, units: Units) -> Iterator[str]:
    for line in replanned.lines:
        if not line.open or line.asked_cm is None or line.as_planned_cm is None:
            continue
        nearest, planned = line.nearest_rows or line.new_rows, line.planned_rows
        if line.done > nearest and line.nearest_cm is not None and line.new_cm is not None:
            go_on = "go on to" if line.new_rows > line.done else "keep its"
            yield (
                f"{line.stitch}: it is already longer than you asked for. Unravel to {number(nearest, 'row')} of it, "
                f"about {in_both(line.nearest_cm, units)}, or {go_on} {number(line.new_rows, 'row')}, about "
                f"{in_both(line.new_cm.value, units)}, as the new plan does."
            )
            continue
        change = line.new_rows - planned
        if line.done >= line.new_rows:
            yield f"{line.stitch}: {number(line.done, 'row')} knitted, none to do."
            continue
        if change == 0:
            as_planned = f"{line.stitch}: knit the {number(planned, 'row')} as planned."
            yield f"{as_planned} They are still nearest to the length you asked for."
            continue
        yield (
            f"{line.stitch}: knit {number(line.new_rows, 'row')} instead of {planned}, "
            f"{abs(change)} {'more' if change > 0 else 'fewer'}; {line.new_rows - line.done} are still to do."
        )
        if line.done >= planned:
            continue  # it is past what else could have been done
        short = line.asked_cm - line.as_planned_cm.value
        if short > 0:
            yield from _plain_instead(replanned, line, short, units)
            yield f"Or leave it at {planned}: it comes out about {in_both(short, units)} shorter than you asked for."
        else:
            yield f"Or knit all {planned}: it comes out about {in_both(-short, units)} longer than you asked for."


def _plain_instead(replanned: Replan, line: Line, short_cm: float, units: Units) -> Iterator[str]:
    """A further plain section that makes up what is missing, after the planned rows."""
    law = replanned.new.law
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

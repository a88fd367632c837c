"""Needles and rows of a piece for knitters whose swatch differs by a few per cent, as tables.

Knows plans as values; rounds as the planner does.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from stitchc.document import Table
from stitchc.english import several
from stitchc.gauge.gauges import Direction
from stitchc.option_values import MM_PER
from stitchc.pattern import CarriageAt, Knit
from stitchc.piece.plan import Plan, Section, chart_of
from stitchc.piece.size import Choice, Rounding, nearest
from stitchc.piece.size_words import Units, rows_words

OFF: Final = (-6, -4, -2, 0, 2, 4, 6)
"""Per cent more or fewer stitches or rows than the pattern has. Two swatches of one knitter differ by 3 to 5 %, those
of two knitters by more (common practice, no source); further off, another tension is the better answer."""

KEEPS_SIDES: Final = "they change by even numbers where other rows follow"
"""Then the carriage runs in the printed direction in every later row."""


_Asked = list[tuple[Rounding, int, float, int]]
"""What was asked of a width or length in each size, with the needles and mm that are there besides, and the rows by
which it may change (0: by any whole repeats)."""


def other_gauges(
    plans: Sequence[Plan], units: Units, swatches: Mapping[str, tuple[int, int]] | None = None
) -> Iterator[Table]:
    """A table of needles, and one of rows for each stitch of a length that was asked for; none where counts were. The
    last column is the size that they come to.

    swatches: stitches and rows that are measured in a swatch, by the stitch; the tables then have their length.
    """
    for (fabric, direction), columns in _sizes_asked(plans).items():
        between = (swatches or {}).get(stitch_of(plans[0], fabric), (0, 0))
        yield _table(plans[0], fabric, direction, columns, units, between[0 if direction == "stitches" else 1])


def fabrics_asked(plans: Sequence[Plan]) -> list[str]:
    """The fabrics that `other_gauges` has tables of."""
    return list(dict.fromkeys(fabric for fabric, _ in _sizes_asked(plans)))


def stitch_of(plan: Plan, fabric: str) -> str:
    """The stitch of a fabric of the piece."""
    return plan.width_stitch if fabric == plan.width_fabric else plan.fabrics[fabric]


def _sizes_asked(plans: Sequence[Plan]) -> dict[tuple[str, Direction], dict[str, _Asked]]:
    plan = plans[0]
    asked: dict[tuple[str, Direction], dict[str, _Asked]] = {}
    widths = [each.width_rounding for each in plans if each.width_rounding is not None]
    if len(widths) == len(plans) and plan.law.known(plan.width_fabric, "stitches"):
        besides = [(2 * each.edge, each.plus_mm, 0) for each in plans]
        needles = [(rounding, *fixed) for rounding, fixed in zip(widths, besides, strict=True)]
        asked[plan.width_fabric, "stitches"] = {"Needles": needles}
    for place, section in enumerate(plan.sections):
        lengths = [each.sections[place].rounding for each in plans]
        fabric = plan.fabric(section)
        if all(lengths) and plan.law.known(fabric, "rows"):
            follows = _something_follows(plan, section)
            rows = [
                (rounding, 0, 0.0, math.lcm(2, rounding.unit) if follows else 0)
                for rounding in lengths
                if rounding is not None
            ]
            asked.setdefault((fabric, "rows"), {})[rows_words(section).capitalize()] = rows
    return asked


def _something_follows(plan: Plan, section: Section) -> bool:
    """Whether later rows, or where the carriage must stand, depend on the side at which the part ends."""
    assert section.step is not None
    return any(isinstance(step, Knit | CarriageAt) for step in plan.piece.steps[section.step + 1 :])


def _table(
    plan: Plan, fabric: str, direction: Direction, columns: dict[str, _Asked], units: Units, between: int
) -> Table:
    """between: stitches or rows between the marks of a swatch, 0 where nobody measures one."""
    per_10cm = plan.law.range(fabric, direction).value
    over, shown = ("10 cm", 1.0) if units == "cm" else ("4 in", 1.016)
    lines = []
    for off in OFF:
        gauge = per_10cm * (1 + off / 100)
        choices = [[_choice(size, gauge / 100) for size in sizes] for sizes in columns.values()]
        counts = [several(["none" if each is None else str(each.count) for each in sizes]) for sizes in choices]
        sums = [sum(each.mm for each in sizes if each is not None) for sizes in zip(*choices, strict=True)]
        against = f"{off:+d}\N{NO-BREAK SPACE}%".replace("-", "\N{MINUS SIGN}") if off else "as here"
        measured = (_length(between / gauge * 100, units),) if between else ()
        size = several([f"{mm / MM_PER[units]:.1f}" for mm in sums])
        lines.append((against, f"{gauge * shown:.1f}", *measured, *counts, size))
    counted = chart_of(plan.pattern, stitch_of(plan, fabric)).counted if direction == "stitches" else "rows"
    measure = (f"{between} {counted} measure",) if between else ()
    rows = "these rows" if len(columns) > 1 else next(iter(columns)).lower()
    size = "Width" if direction == "stitches" else f"Length of {rows}"
    head = ("Your swatch", f"{counted.capitalize()} to {over}", *measure, *columns, f"{size}, {units}")
    empty = ", the empty ones counted too" if counted == "needles" else ""
    later = f"; {KEEPS_SIDES}" if any(step for sizes in columns.values() for *_, step in sizes) else ""
    return Table(head, tuple(lines), f"{fabric}, {counted}{empty}{later}:", tuple(range(1, len(head))))


def _length(mm: float, units: Units) -> str:
    return f"{mm:.0f}\N{NO-BREAK SPACE}mm" if units == "cm" else f"{mm / 25.4:.2f} in"


def _choice(asked: tuple[Rounding, int, float, int], per_mm: float) -> Choice | None:
    rounding, fixed, less_mm, step = asked
    if step:
        fewest = rounding.chosen.count % step or step
        count = fewest + max(0, math.floor((rounding.asked_mm * per_mm - fewest) / step + 0.5)) * step
        return Choice(count, count // rounding.unit, count / per_mm)
    rounded = nearest(rounding.asked_mm, per_mm, rounding.unit, fixed, less_mm)
    return None if rounded is None else rounded.chosen

"""Needles and rows of a piece for knitters whose swatch differs by a few per cent, as tables.

Knows plans as values; rounds as the planner does.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from stitchc.document import Table
from stitchc.english import several
from stitchc.gauge.values import Direction
from stitchc.piece.plan import Plan
from stitchc.piece.size import Rounding, nearest
from stitchc.piece.size_words import Units, rows_words

OFF: Final = (-6, -4, -2, 0, 2, 4, 6)
"""Per cent more or fewer stitches or rows than the pattern has. Two swatches of one knitter differ by 3 to 5 %, those
of two knitters by more (common practice, no source); further off, another tension is the better answer."""


def other_gauges(
    plans: Sequence[Plan], units: Units, swatches: Mapping[str, tuple[int, int]] | None = None
) -> Iterator[Table]:
    """A table of needles, and one of rows for each stitch of a length that was asked for; none where counts were.

    swatches: stitches and rows that are measured in a swatch, by the stitch; the tables then have their length.
    """
    counted = swatches or {}
    plan = plans[0]
    widths = [each.width_rounding for each in plans]
    if all(widths) and plan.law.known(plan.width_fabric, "stitches"):
        edges = [(2 * each.edge, each.plus_mm) for each in plans]
        columns = {
            "Needles": [(rounding, *edge) for rounding, edge in zip(widths, edges, strict=True) if rounding is not None]
        }
        between = counted.get(plan.width_stitch, (0, 0))[0]
        yield _table(plan, plan.width_fabric, "stitches", columns, units, between)
    by_fabric: dict[str, dict[str, list[tuple[Rounding, int, float]]]] = {}
    for place, section in enumerate(plan.sections):
        lengths = [each.sections[place].rounding for each in plans]
        fabric = plan.fabric(section)
        if all(lengths) and plan.law.known(fabric, "rows"):
            head = rows_words(section).capitalize()
            by_fabric.setdefault(fabric, {})[head] = [
                (rounding, 0, 0.0) for rounding in lengths if rounding is not None
            ]
    for fabric, sections in by_fabric.items():
        between = counted.get(plan.fabrics[fabric], (0, 0))[1]
        yield _table(plan, fabric, "rows", sections, units, between)


def _table(
    plan: Plan,
    fabric: str,
    direction: Direction,
    columns: dict[str, list[tuple[Rounding, int, float]]],
    units: Units,
    between: int,
) -> Table:
    """columns: by their head, what was asked in each size, with the needles and mm that are there besides. between:
    stitches or rows between the marks of a swatch, 0 where nobody measures one."""
    per_10cm = plan.law.range(fabric, direction).value
    over, shown = ("10 cm", 1.0) if units == "cm" else ("4 in", 1.016)
    rows = []
    for off in OFF:
        gauge = per_10cm * (1 + off / 100)
        counts = [several([_count(asked, gauge / 100) for asked in sizes]) for sizes in columns.values()]
        against = f"{off:+d}\N{NO-BREAK SPACE}%".replace("-", "\N{MINUS SIGN}") if off else "as here"
        measured = (_length(between / gauge * 100, units),) if between else ()
        rows.append((against, f"{gauge * shown:.1f}", *measured, *counts))
    measure = (f"{between} {direction} measure",) if between else ()
    head = ("Your swatch", f"{direction.capitalize()} to {over}", *measure, *columns)
    return Table(head, tuple(rows), f"{fabric}, {direction}:", tuple(range(1, len(head))))


def _length(mm: float, units: Units) -> str:
    return f"{mm:.0f} mm" if units == "cm" else f"{mm / 25.4:.2f} in"


def _count(asked: tuple[Rounding, int, float], per_mm: float) -> str:
    rounding, fixed, less_mm = asked
    rounded = nearest(rounding.asked_mm, per_mm, rounding.unit, fixed, less_mm)
    return "none" if rounded is None else str(rounded.chosen.count)

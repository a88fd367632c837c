"""Needles and rows of a piece for knitters whose swatch differs by a few per cent, as tables.

Knows plans as values; rounds as the planner does.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
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


def other_gauges(plans: Sequence[Plan], units: Units) -> Iterator[Table]:
    """A table of needles, and one of rows for each stitch of a length that was asked for; none where counts were."""
    plan = plans[0]
    widths = [each.width_rounding for each in plans]
    if all(widths) and plan.law.known(plan.width_stitch, "stitches"):
        edges = [(2 * each.edge, each.plus_mm) for each in plans]
        columns = {"Needles": [(found, *edge) for found, edge in zip(widths, edges, strict=True) if found is not None]}
        yield _table(plan, plan.width_stitch, "stitches", columns, units)
    by_stitch: dict[str, dict[str, list[tuple[Rounding, int, float]]]] = {}
    for at, section in enumerate(plan.sections):
        lengths = [each.sections[at].rounding for each in plans]
        if all(lengths) and plan.law.known(section.stitch, "rows"):
            head = rows_words(section).capitalize()
            by_stitch.setdefault(section.stitch, {})[head] = [(found, 0, 0.0) for found in lengths if found is not None]
    for stitch, sections in by_stitch.items():
        yield _table(plan, stitch, "rows", sections, units)


def _table(
    plan: Plan,
    stitch: str,
    direction: Direction,
    columns: dict[str, list[tuple[Rounding, int, float]]],
    units: Units,
) -> Table:
    """columns: by their head, what was asked in each size, with the needles and mm that are there besides."""
    per_10cm = plan.law.range(stitch, direction).value
    over, shown = ("10 cm", 1.0) if units == "cm" else ("4 in", 1.016)
    rows = []
    for off in OFF:
        gauge = per_10cm * (1 + off / 100)
        counts = [several([_count(asked, gauge / 100) for asked in sizes]) for sizes in columns.values()]
        against = f"{abs(off)} % {'more' if off > 0 else 'fewer'}" if off else "as here"
        rows.append((against, f"{gauge * shown:.1f}", *counts))
    head = ("Your swatch", f"{direction.capitalize()} to {over}", *columns)
    return Table(head, tuple(rows), f"{stitch}, {direction}:", tuple(range(1, len(head))))


def _count(asked: tuple[Rounding, int, float], per_mm: float) -> str:
    rounding, fixed, less_mm = asked
    found = nearest(rounding.asked_mm, per_mm, rounding.unit, fixed, less_mm)
    return "none" if found is None else str(found.chosen.count)

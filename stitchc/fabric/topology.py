"""The proof that a start shape is looped as its chart says: which strand lies over which, crossing by crossing.

Knows layouts and positions; nothing of forces. Later steps keep the looping because strands never come near enough to
pass through each other (see `relax.CLOSEST`).
"""

from __future__ import annotations

import numpy as np

from stitchc.fabric.start import NODES, START_COURSE, Cell, Floats, Layout


class NotLooped(AssertionError):
    """A start shape that is not looped as its chart says: a fault of the program, never of a pattern."""


def prove(layout: Layout, start: Floats) -> None:
    """Raise NotLooped unless the start shape (3, nodes; wale spacings) is looped as its chart says.

    Seen from the knit side, each K or T crosses the K that takes it off exactly four times, lower two in front of it
    and upper two behind; of the loops on one needle, wherever two cross, the later lies behind; and a float lies
    behind every loop that its needle holds.
    """
    for cell in layout.cells:
        if not cell.looped:
            continue
        taker = layout.cell_at(cell.row + cell.span, cell.column)
        crossings = _crossings(layout, start, cell, taker, cell.row + cell.span)
        in_front = [over for _, over in sorted(crossings)]
        if in_front != [True, True, False, False]:
            raise NotLooped(f"row {cell.row + 1}, needle {cell.column + 1}: {in_front} against the K that takes it off")
        for row in range(cell.row + 1, cell.row + cell.span):
            later = layout.cell_at(row, cell.column)
            if not all(over for _, over in _crossings(layout, start, cell, later, row)):
                raise NotLooped(f"row {cell.row + 1}, needle {cell.column + 1}: in front of it runs row {row + 1}")


def _crossings(layout: Layout, start: Floats, older: Cell, later: Cell, row: int) -> list[tuple[float, bool]]:
    """Height of each crossing of two cells' strands in the view, and whether the older is in front (nearer knit side).

    row: of the later cell, counted on upward past the repeat's height.
    """
    strand = _strand(layout, start, older, older.row)
    other_strand = _strand(layout, start, later, row)
    a, b = strand[:2, :-1, None], strand[:2, 1:, None]
    c, d = other_strand[:2, None, :-1], other_strand[:2, None, 1:]
    along, other, between = b - a, d - c, c - a
    area = along[0] * other[1] - along[1] * other[0]
    # Straight legs that lie one over the other are parallel: they run along each other and do not cross there.
    area = np.where(np.abs(area) < 1e-9, np.nan, area)
    s = (between[0] * other[1] - between[1] * other[0]) / area
    t = (between[0] * along[1] - between[1] * along[0]) / area
    first, second = np.nonzero((s >= 0) & (s < 1) & (t >= 0) & (t < 1))
    part, share = s[first, second], t[first, second]
    height = strand[1, first] + part * (strand[1, first + 1] - strand[1, first])
    depth = strand[2, first] + part * (strand[2, first + 1] - strand[2, first])
    behind = other_strand[2, second] + share * (other_strand[2, second + 1] - other_strand[2, second])
    return list(zip(height.tolist(), (depth > behind).tolist(), strict=True))


def _strand(layout: Layout, start: Floats, cell: Cell, row: int) -> Floats:
    """The cell's nodes and the next cell's first, lifted to the course it stands for."""
    following = layout.cell_at(cell.row, cell.column + 1).first
    strand = start[:, [*range(cell.first, cell.first + NODES), following]]
    if following < cell.first:
        strand[0, -1] += layout.width
    strand[1] += (row - cell.row) * START_COURSE
    return strand

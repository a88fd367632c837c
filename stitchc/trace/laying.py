"""Cells of which it is known where each lies in a picture, and the picture laid out so that they lie evenly."""

from __future__ import annotations

from typing import Final

import numpy as np

from stitchc.trace.grid import Axis, Lattice, Rows
from stitchc.trace.picture import Pixels
from stitchc.trace.straight import Straight, warped

_EVEN: Final = 0.06
"""How far cells may lie off an even and upright lattice, of a cell, for the picture to be taken as it is."""


def laid_out(pixels: Pixels, rows: Rows, paper: tuple[int, int, int]) -> tuple[Straight, Lattice]:
    """The picture with the cells upright and even, with half a cell and more around them, and their lattice there.
    paper: the colour of what lies beyond the picture."""
    columns, height = rows.size
    corners = np.array([(x, y) for y in (-0.5, height - 0.5) for x in (-0.5, columns - 0.5)])
    u, v, w = rows.to_given @ np.column_stack([corners, np.ones(4)]).T
    (left, right), (top, bottom) = (
        ((values[at[0]] + values[at[1]]) / 2, (values[at[2]] + values[at[3]]) / 2)
        for values, at in ((u / w, (0, 2, 1, 3)), (v / w, (0, 1, 2, 3)))
    )
    wide, high = float(right - left) / columns, float(bottom - top) / height
    even = np.stack([left + (corners[:, 0] + 0.5) * wide, top + (corners[:, 1] + 0.5) * high])
    off = np.abs(np.stack([u / w, v / w]) - even).max()
    if off <= _EVEN * min(wide, high):
        straight = Straight(pixels, None, 0.0, False)
        across, down = Axis.evenly(float(left), wide, columns), Axis.evenly(float(top), high, height)
        return straight, Lattice(across, down, False, signs=True, room=rows.room)
    to_cells = np.array([[1 / wide, 0, -1.5], [0, 1 / high, -1.5], [0, 0, 1.0]])  # with a cell around them
    to_given = rows.to_given @ to_cells
    size = round((columns + 2) * wide), round((height + 2) * high)
    slope = np.arctan2(v[1] / w[1] - v[0] / w[0], u[1] / w[1] - u[0] / w[0])
    straight = Straight(warped(pixels, to_given, size, paper), to_given, float(np.degrees(slope)), True)
    across, down = Axis.evenly(wide, wide, columns), Axis.evenly(high, high, height)
    return straight, Lattice(across, down, False, signs=True, room=rows.room)

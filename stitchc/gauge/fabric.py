"""When two charts are the same endless fabric: wherever the repeat is begun, and seen from left or from right."""

from __future__ import annotations

import numpy as np

from stitchc.chart import Cells, Chart

_MOST_CELLS_TURNED = 1024
"""Cells up to which every start is tried; larger repeats are the same only if they are written alike."""


def same_fabric_key(chart: Chart) -> bytes:
    """Equal for charts that are the same fabric up to where they start and mirroring; yarns are left out.

    Over 1,024 cells in the smallest repeat the start counts.
    """
    cells = _smallest(_smallest(chart.cells).T).T
    height, width = cells.shape
    head = f"{width}x{height}:".encode()
    if height * width > _MOST_CELLS_TURNED:
        return head + cells.tobytes()
    doubled = [np.tile(face, (2, 2)) for face in (cells, cells[:, ::-1])]
    turned = (
        face[row : row + height, column : column + width].tobytes()
        for face in doubled
        for row in range(height)
        for column in range(width)
    )
    return head + min(turned)


def _smallest(cells: Cells) -> Cells:
    """Cut to the shortest run of rows that repeats a whole number of times."""
    height = cells.shape[0]
    for rows in range(1, height // 2 + 1):
        if height % rows == 0 and np.array_equal(cells[rows:], cells[:-rows]):
            return cells[:rows]
    return cells

"""Fabrics that a single bed cannot knit, for comparison with what is published: tuck on garter and on 1 x 1 rib.

The mechanics are the program's own; only the start differs. A loop is drawn to the knit side or to the purl side: its
lower half lies as it was drawn itself, its upper half as the loop is that takes it off.
"""

from __future__ import annotations

import dataclasses
import functools
from typing import Final, Literal

import numpy as np

from stitchc.chart import Chart
from stitchc.fabric.relaxation import _WAYS, Fabric, _Relaxation, relaxed_repeat
from stitchc.fabric.start import _COURSE, _OVERLAP, NODES, Floats, Layout, lay_out, start_shape
from stitchc.fabric.symmetry import Symmetries, symmetries
from stitchc.fabric.topology import _crossings

Kind = Literal["plain", "garter", "rib"]
_TURN: Final = 0.2


@functools.cache
def relax_on(ground: Kind, rows: str) -> Fabric:
    """The repeat ("KT/KK") at rest in the cell that its yarns choose, on a ground of stocking stitch, garter stitch or
    1 x 1 rib."""
    chart = relaxed_repeat(Chart.from_rows(rows.split("/")))
    if ground == "garter" and chart.height % 2:
        chart = chart.tiled(chart.width, 2 * chart.height)
    faces = np.ones((chart.height, chart.width))
    if ground == "garter":
        faces[1::2] = -1
    elif ground == "rib":
        faces[:, 1::2] = -1
    layout = lay_out(chart)
    start = _turned(layout, faces)
    _prove(layout, start, faces)
    for way in _WAYS:
        relaxation = _Relaxation(chart, layout, _alike(chart, layout, faces), start, None, 1.0)
        *_, done = relaxation.stages(way)
        if relaxation.at_rest:
            return relaxation.fabric(done)
    raise AssertionError(f"{rows} on {ground} finds no rest")


def _alike(chart: Chart, layout: Layout, faces: Floats) -> Symmetries:
    """Those symmetries of the chart that keep each loop's face."""
    every = symmetries(chart, layout)
    face, middles = faces.ravel(), np.arange(faces.size) * NODES + NODES // 2
    kept = [number for number, image in enumerate(every.images) if np.array_equal(face[image[middles] // NODES], face)]
    return dataclasses.replace(every, images=every.images[kept], turned=every.turned[kept])


def _turned(layout: Layout, faces: Floats) -> Floats:
    """The start with the depth of each half of a loop turned to its face."""
    shape = start_shape(layout).reshape(3, len(layout.cells), -1)
    middle = (_COURSE + _OVERLAP) / 2
    for number, cell in enumerate(layout.cells):
        taker = faces[(cell.row + cell.span) % layout.height, cell.column]
        own = faces[cell.row, cell.column] if cell.layer == 0 else taker
        part = np.clip((shape[1, number] - cell.row * _COURSE - (1 - _TURN) * middle) / (2 * _TURN * middle), 0, 1)
        shape[2, number] *= own + (taker - own) * (1 - np.cos(np.pi * part)) / 2
    return shape.reshape(3, -1)


def _prove(layout: Layout, start: Floats, faces: Floats) -> None:
    """Each loop crosses the one that takes it off four times, twice in front and twice behind, as its face is."""
    for cell in layout.cells:
        if cell.looped:
            row = cell.row + cell.span
            in_front = [
                over for _, over in sorted(_crossings(layout, start, cell, layout.cell_at(row, cell.column), row))
            ]
            forward = bool(faces[row % layout.height, cell.column] > 0)
            assert in_front == [forward, forward, not forward, not forward], (cell, in_front)

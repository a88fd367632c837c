"""How well a picture is drawn again from a lattice and a few looks of its cells: by it a reading is doubted.

A chart is a few signs, each many times. Only the lattice it was drawn on cuts it into cells of few looks: one that is
shifted or too wide needs many, and one that is too fine needs many cells. Knows ink and places, and no lines.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from stitchc.trace.grid.evidence import Profile
from stitchc.trace.grid.judging import View
from stitchc.trace.grid.lattice import Axis

Edges = tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]
"""Where samples begin and end, in px."""

_SAMPLE_PX: Final = 2.0
_MOST_SAMPLES: Final = 260
"""Samples along the shorter side of a chart."""
_MOST_LOOKED_AT: Final = 60_000
_LOOKS: Final = 4
"""Looks that cells are drawn from: three stitches and one to spare."""
_STRANGER: Final = 0.15
"""The most that one cell counts, as a square of ink: a blot is no reason against a lattice."""
_GRAIN: Final = 0.004
_TOGETHER_PX: Final = 8.0
"""Pixels that tell as much as one would alone, their neighbours being like them."""
_EACH_CELL: Final = 0.3
_EACH_PIXEL: Final = 2.0
_EACH_LOOK: Final = 1.5


class Redrawing(NamedTuple):
    """worth: what is saved, in nats, by drawing cells from a few looks instead of pixel by pixel; share: how much of
    the differences within the picture is drawn again, 0 to 1."""

    worth: float
    share: float


def redrawn(view: View, across: Axis, down: Axis) -> Redrawing:
    """The cells of this lattice drawn from a few looks."""
    xs, ys = across.lines, down.lines
    sample_px = max(_SAMPLE_PX, min(across.end_px - across.start_px, down.end_px - down.start_px) / _MOST_SAMPLES)
    cells = _samples(view, across, down, sample_px)
    count = (len(xs) - 1) * (len(ys) - 1)
    # the lines' too, as each lattice draws lines between its cells
    spread = float(_means(view, *(_steps(lines, sample_px) for lines in (xs, ys))).var())
    looks = cells[[int(cells.mean(axis=1).argmin())]]
    nearest = _squares(cells, looks)[:, 0]
    for _ in range(_LOOKS - 1):
        strange = int(np.argsort(nearest)[int(0.98 * len(nearest))])  # the strangest may be blots
        looks = np.concatenate([looks, cells[[strange]]])
        nearest = np.minimum(nearest, _squares(cells, looks[-1:])[:, 0])
    for _ in range(5):
        own = _squares(cells, looks).argmin(axis=1)
        looks = np.stack(
            [cells[own == at].mean(axis=0) if (own == at).any() else look for at, look in enumerate(looks)]
        )
    gaps = _squares(cells, looks)
    left = float(np.minimum(gaps.min(axis=1), _STRANGER).mean())
    shares = np.bincount(gaps.argmin(axis=1), minlength=_LOOKS) / len(cells)
    each = -float(sum(share * np.log(share) for share in shares if share > 0))
    area = float((xs[-1] - xs[0]) * (ys[-1] - ys[0]))
    looks_area = float((shares > 0).sum()) * area / count
    saved = 0.5 * float(np.log((spread + _GRAIN) / (left + _GRAIN))) * area / _TOGETHER_PX
    spent = count * (_EACH_LOOK * each + _EACH_CELL) + _EACH_PIXEL * looks_area / _TOGETHER_PX
    return Redrawing(saved - spent, 1 - left / max(spread, 1e-9))


def _samples(view: View, across: Axis, down: Axis, sample_px: float) -> Profile:
    """The ink inside some cells in samples of about the same size whatever the cells': (cells, samples)."""
    edges_x, edges_y = _edges(across, sample_px), _edges(down, sample_px)
    side_x, side_y = len(edges_x[0]) // across.cells, len(edges_y[0]) // down.cells
    means = _means(view, edges_x, edges_y).reshape(down.cells, side_y, across.cells, side_x)
    cells = means.swapaxes(1, 2).reshape(down.cells * across.cells, side_y * side_x)
    return cells[:: max(1, cells.size // _MOST_LOOKED_AT)]


def _edges(axis: Axis, sample_px: float) -> Edges:
    middles, inside = axis.free()
    parts = np.linspace(-0.5, 0.5, max(2, round(inside / sample_px)) + 1)
    places = np.round(middles[:, None] + inside * parts).astype(np.intp)
    return places[:, :-1].ravel(), places[:, 1:].ravel()


def _steps(lines: Profile, sample_px: float) -> Edges:
    places = np.arange(lines[0], lines[-1], sample_px).round().astype(np.intp)
    return places[:-1], places[1:]


def _means(view: View, across: Edges, down: Edges) -> Profile:
    """The mean ink between edges."""
    height, width = view.plane.shape
    left, top = np.clip(across[0], 0, width - 1), np.clip(down[0], 0, height - 1)
    right, bottom = np.clip(np.maximum(across[1], left + 1), 1, width), np.clip(np.maximum(down[1], top + 1), 1, height)
    total = view.total
    sums = total[np.ix_(bottom, right)] - total[np.ix_(top, right)] - total[np.ix_(bottom, left)]
    return np.asarray((sums + total[np.ix_(top, left)]) / np.outer(bottom - top, right - left))


def _squares(cells: Profile, looks: Profile) -> Profile:
    """The mean square of the difference of each cell from each look."""
    cross = cells @ looks.T
    both = np.square(cells).sum(axis=1)[:, None] + np.square(looks).sum(axis=1)[None, :]
    return np.asarray(np.maximum(both - 2 * cross, 0) / cells.shape[1])

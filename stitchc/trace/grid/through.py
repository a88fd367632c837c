"""Grids whose lines run right through the picture, as where it was cut out inside the frame: read by those lines alone.

Works on ink (0 paper, 1 black) and knows nothing of what the cells mean.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.trace.grid.edges import Plane
from stitchc.trace.grid.lattice import Axis, Lattice, Side

_LEAST_LINES: Final = 3
_LEAST_PITCH_PX: Final = 6.0
_THICKEST: Final = 0.3
"""The part of the pitch that a line takes up at most."""
_FAINTEST: Final = (0.12, 0.2)
"""The ink that a line has all along; the second where grain or a lossy format left some between the lines."""
_UNSEEN: Final = 3
"""Percent of a line that may lack ink."""
_WHOLE: Final = 0.8, 1.12
"""The part of a cell's inside that is taken for all of it, where the picture ends before its outer line."""
_SHUT: Final = 0.1
_AS_INSIDE: Final = 0.05
"""How far the ink of lines beside the outermost line across them may be from theirs inside, for them to run on."""
_HALF: Final = 0.5
"""The part of the picture along which something that is ruled runs without a break."""


@dataclass(frozen=True)
class _Comb:
    """Even lines in one direction: the first one's middle, the pitch, how many, how thick they are, and how much of a
    cell's inside lies before the first and behind the last."""

    first_px: float
    pitch_px: float
    lines: int
    thick_px: float
    before: float
    behind: float

    @property
    def last_px(self) -> float:
        """The last line's middle."""
        return self.first_px + self.pitch_px * (self.lines - 1)

    def places(self, size: int) -> npt.NDArray[np.intp]:
        """The pixel that each line's middle lies on, of so many."""
        # a line on the picture's very edge may be fitted half a pixel outside
        middles = np.round(self.first_px + self.pitch_px * np.arange(self.lines)).astype(np.intp)
        return np.asarray(np.clip(middles, 0, size - 1))


@dataclass(frozen=True)
class Through:
    """A grid that the picture's edges cut. lattice: with every strip at the edge that is as good as a whole cell.

    open: sides where such a strip was counted without a line that closes it; cut: sides where less than a cell is
    left, which was not counted.
    """

    lattice: Lattice
    open: tuple[Side, ...]
    cut: tuple[Side, ...]


def through_lines(plane: Plane, cells: tuple[int, int] | None = None) -> Through | None:
    """The grid whose lines all run from edge to edge of a straight picture, or None where they are not such.

    cells: how many columns and rows the user says there are; strips at the edge are counted as these need it.
    """
    if min(plane.shape) < 3 * _LEAST_PITCH_PX:
        return None
    across, down = _comb(plane), _comb(plane.T)
    if across is None or down is None or not 0.4 < across.pitch_px / down.pitch_px < 2.5:
        return None
    if _margins(plane, across, down):
        return None
    opened: list[Side] = []
    cut: list[Side] = []
    axes = []
    sides: tuple[tuple[_Comb, Side, Side], ...] = ((across, "left", "right"), (down, "top", "bottom"))
    for number, (comb, low, high) in enumerate(sides):
        least = _WHOLE[0]
        if cells is not None and cells[number] == comb.lines + 1:
            least = 0.5  # the user says so
        counted = []
        for side, share in ((low, comb.before), (high, comb.behind)):
            counted.append(share >= least)
            if share >= least:
                opened.append(side)
            elif share > _SHUT:
                cut.append(side)
        start = comb.first_px - comb.pitch_px * counted[0]
        axes.append(Axis(start, comb.pitch_px, comb.lines - 1 + sum(counted)))
    lattice = Lattice(axes[0], axes[1])
    if cells is not None and lattice.size != cells:
        return None
    return Through(lattice, tuple(opened), tuple(cut))


def _comb(plane: Plane) -> _Comb | None:
    """The upright lines that run from the top to the bottom of the picture, where they are even."""
    along = np.percentile(plane, _UNSEEN, axis=0)
    for faintest in _FAINTEST:
        comb = _even(along >= faintest)
        if comb is not None:
            return comb
    return None


def _even(inked: npt.NDArray[np.bool_]) -> _Comb | None:
    """inked: the columns of pixels that are ink all along."""
    size = len(inked)
    starts, ends = _runs(inked)
    if not len(starts):
        return None
    lengths = ends - starts
    thick = float(np.median(lengths[lengths <= 2 * lengths.min()]))
    edges: list[float] = []  # the middles of lines; of columns of filled cells, the lines at both their sides
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        if end - start <= 2.5 * thick:
            edges.append((start + end - 1) / 2)
            continue
        edges += [start + (thick - 1) / 2] if start > 0 else []
        edges += [end - 1 - (thick - 1) / 2] if end < size else []
    places = np.array(edges)
    if len(places) < _LEAST_LINES:
        return None
    pitch = float(np.median(np.diff(places)))
    if pitch < _LEAST_PITCH_PX or thick > _THICKEST * pitch:
        return None
    numbers = np.round((places - places[0]) / pitch)
    if len(np.unique(numbers)) < len(numbers):
        return None
    pitch, first = (float(value) for value in np.polyfit(numbers, places, 1))
    if float(np.abs(places - first - pitch * numbers).max()) > max(1.0, 0.03 * pitch):
        return None
    count = int(numbers[-1]) + 1
    inside = pitch - thick
    before = (first + 0.5 - thick / 2) / inside
    behind = (size - 0.5 - (first + pitch * (count - 1)) - thick / 2) / inside
    comb = _Comb(first, pitch, count, thick, before, behind)
    return comb if inked[comb.places(size)].all() and max(before, behind) <= _WHOLE[1] else None


def _margins(plane: Plane, across: _Comb, down: _Comb) -> bool:
    """Whether a margin lies beside the grid, which its lines do not run through: it is as good as a line to them where
    lines are dark on a dark page, or lighter than filled cells on white paper.

    A strip that is all of the lines' colour may be one of filled cells, but not at two sides.
    """
    solid = 0
    for turned, comb, other in ((plane.T, across, down), (plane, down, across)):
        size, width = turned.shape
        first, last = comb.first_px - comb.thick_px / 2, comb.last_px + comb.thick_px / 2
        lines = other.places(width)
        middles = ((lines[1:] + lines[:-1]) / 2).astype(int)
        within = turned[max(0, round(first)) : round(last) + 1]
        inside = np.median(within[:, lines], axis=0)
        strips = (turned[: max(0, int(first))], comb.before), (turned[min(size, int(last + 2)) :], comb.behind)
        for strip, share in strips:
            if share <= _SHUT or not len(strip):
                continue
            there = np.median(strip[:, lines], axis=0)
            if float(np.median(np.abs(there - inside))) > _AS_INSIDE:
                return True
            between = np.median(strip[:, middles], axis=0)
            solid += bool(np.abs(between - float(np.median(there))).max() <= _AS_INSIDE)
    return solid > 1


def looks_ruled(plane: Plane) -> bool:
    """Whether thin straight lines at an even distance run both ways through half the picture or more."""
    return _thin_lines(plane) and _thin_lines(plane.T)


def _thin_lines(plane: Plane) -> bool:
    dark = plane >= _FAINTEST[0]
    longest = np.zeros(plane.shape[1], dtype=np.int64)
    run = np.zeros_like(longest)
    for line in dark:
        run = (run + 1) * line
        np.maximum(longest, run, out=longest)
    starts, ends = _runs(longest >= _HALF * plane.shape[0])
    if len(starts) <= _LEAST_LINES:
        return False
    gaps = np.diff((starts + ends - 1) / 2)
    pitch = float(np.median(gaps))
    even = np.abs(gaps / pitch - np.round(gaps / pitch)) <= max(1.0, 0.03 * pitch) / pitch
    thick = float(np.median(ends - starts))
    return pitch >= _LEAST_PITCH_PX and thick <= _THICKEST * pitch and bool(even.all())


def _runs(marked: npt.NDArray[np.bool_]) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Where stretches begin, and the place after their last."""
    steps = np.diff(np.concatenate([[0], marked.astype(np.int8), [0]]))
    return np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)

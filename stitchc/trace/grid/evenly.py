"""Cells of one size in rows and columns, without lines between them, and the ink of marks that stand in them."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from stitchc.trace.grid.chains import LEAST_CELLS, LEAST_PITCH_PX
from stitchc.trace.grid.lattice import Axis, Lattice
from stitchc.trace.picture import Pixels, median_colour, rim_of

_LOOKED_AT: Final = 2_000_000
"""Pixels; of larger pictures only some are looked at."""
_INK: Final = 40
"""Colours, of 255, by which a pixel differs from the page."""
_OFF: Final = 0.3
"""How far a mark may stand off its place, of the pitch: signs of one font do not stand at one height."""
ROOM: Final = 0.97
"""The most of a cell that its marks take together."""
OBLONG: Final = 3.6
"""How many times longer than wide a cell may be: lines of a text may lie far apart."""
FEWEST: Final = 24
"""Cells of a chart, at least."""

Ink = npt.NDArray[np.bool_]


class Line(NamedTuple):
    """Cells of one direction, all of one size."""

    start: float
    pitch: float
    cells: int

    def part(self, first: int, last: int) -> Line:
        return Line(self.start + first * self.pitch, self.pitch, last - first)

    def axis(self) -> Axis:
        return Axis.evenly(self.start, self.pitch, self.cells)


Pair = tuple[Line, Line]
"""Across and down."""


def size_of(pair: Pair) -> tuple[int, int]:
    return pair[0].cells, pair[1].cells


def found_on_page(pixels: Pixels, cells_in: Callable[[Pixels, Ink], Pair | None]) -> Lattice | None:
    """What is found of cells in a picture and its ink. The page may be what is at the picture's rim or most of it."""
    step = math.ceil(math.sqrt(pixels.shape[0] * pixels.shape[1] / _LOOKED_AT))
    if step > 1:
        found = found_on_page(pixels[::step, ::step], cells_in)
        return None if found is None else found.grown(step)
    for page in median_colour(rim_of(pixels)), median_colour(pixels):
        ink = off_page(pixels, page)
        lines = cells_in(pixels, ink) if ink.any() else None
        if (
            lines is not None
            and min(line.pitch for line in lines) >= LEAST_PITCH_PX
            and 1 / OBLONG < lines[0].pitch / lines[1].pitch < OBLONG
        ):
            return Lattice(lines[0].axis(), lines[1].axis(), False)
    return None


def off_page(pixels: Pixels, page: npt.NDArray[np.float64]) -> Ink:
    """Where a colour of a pixel is farther from the page's than _INK."""
    ink = np.zeros(pixels.shape[:2], dtype=np.bool_)
    for channel, value in enumerate(page.tolist()):
        plane = pixels[..., channel]
        if value - _INK > 0:
            ink |= plane < math.ceil(value - _INK)
        if value + _INK < 255:
            ink |= plane > math.floor(value + _INK)
    return ink


def runs_of(ink: Ink, axis: int) -> npt.NDArray[np.intp]:
    """Where stretches with ink begin and end, looked at along an axis: (stretches, 2)."""
    inked = np.asarray(ink.any(axis=axis))
    steps = np.diff(np.concatenate([[False], inked, [False]]).astype(np.int8))
    return np.stack([np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)], axis=1)


def sequences_of(runs: npt.NDArray[np.intp]) -> list[Line]:
    """The sequences of stretches that follow each other evenly, the longest first."""
    if len(runs) < LEAST_CELLS:
        return []
    steps = np.diff(runs.mean(axis=1))
    found = []
    for usual in dict.fromkeys((float(np.median(steps)), float(np.median(steps[steps <= np.median(steps)])))):
        even = np.abs(steps - usual) <= _OFF * usual
        for first, last in runs_of(even[None], 0).tolist():
            some = runs[first : last + 1]
            line = fitted(some, np.arange(len(some), dtype=np.float64), len(some), 1 + _OFF / 2)
            if len(some) >= LEAST_CELLS and line is not None:
                found.append(line)
    return sorted(found, key=lambda line: -line.cells)


def fitted(runs: npt.NDArray[np.intp], number: npt.NDArray[np.float64], cells: int, room: float = ROOM) -> Line | None:
    """Cells of one size around marks of which the cell is known; None where marks are not in their cells. room: the
    most of a cell that the marks take together."""
    if number[-1] != cells - 1:
        return None
    middles = runs.mean(axis=1)
    pitch, start = np.polyfit(number, middles, 1)
    if pitch <= 0 or np.abs(middles - start - pitch * number).max() > _OFF * pitch:
        return None
    first, last = (runs[:, 0] - pitch * number).min(), (runs[:, 1] - pitch * number).max()
    return Line(float((first + last - pitch) / 2), float(pitch), cells) if last - first <= room * pitch else None

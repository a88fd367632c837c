"""Cells without lines whose marks stand free: every cell has one, or the user says how many cells there are.

Where edges make no lattice, the places of the marks do. A mark that would lie in two cells refutes it.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.grid.chains import LEAST_CELLS, LEAST_PITCH_PX
from stitchc.trace.grid.lattice import Axis, Lattice
from stitchc.trace.picture import Pixels

_LOOKED_AT: Final = 2_000_000
"""Pixels; of larger pictures only some are looked at."""
_INK: Final = 40
"""Colours, of 255, by which a pixel differs from the page."""
_FRAME: Final = 0.5
_THIN: Final = 0.25
_CLOSED: Final = 0.9
"""Of a frame: the least part of the picture that it goes round, the most of its own box that it covers, and the least
of each of its sides that is drawn."""
_OFF: Final = 0.3
"""How far a mark may stand off its place, of the pitch: signs of one font do not stand at one height."""
_ROOM: Final = 0.97
"""The most of a cell that its marks take together."""
_OBLONG: Final = 2.5
_NEAR_EDGE: Final = 0.2
_ON_EDGES: Final = 0.75
"""The part of all edges that lies within that part of a cell around its border where cells are filled to it."""

Ink = npt.NDArray[np.bool_]


class _Line(NamedTuple):
    """Cells of one direction, all of one size."""

    start: float
    pitch: float
    cells: int

    def axis(self) -> Axis:
        return Axis.evenly(self.start, self.pitch, self.cells)


def free_cells(pixels: Pixels, cells: tuple[int, int] | None) -> Lattice | None:
    """The lattice on which marks without lines stand. cells: how many there are across and down, if the user says so;
    otherwise every cell must hold a mark. None where that is not so."""
    step = math.ceil(math.sqrt(pixels.shape[0] * pixels.shape[1] / _LOOKED_AT))
    if step > 1:
        found = free_cells(pixels[::step, ::step], cells)
        return None if found is None else found.grown(step)
    rim = np.concatenate([pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]])
    for page in np.median(rim, axis=0), np.median(pixels, axis=(0, 1)):
        ink = np.abs(pixels - page).max(axis=2) > _INK
        if not ink.any():
            continue
        lines = _full(ink)
        if cells is not None and (lines is None or tuple(line.cells for line in lines) != cells):
            lines = _within(*_without_frame(ink), cells) or _filled(pixels, ink, cells)
        if (
            lines is not None
            and min(line.pitch for line in lines) >= LEAST_PITCH_PX
            and 1 / _OBLONG < lines[0].pitch / lines[1].pitch < _OBLONG
        ):
            return Lattice(lines[0].axis(), lines[1].axis(), False)
    return None


_Box = tuple[int, int, int, int]
_Pair = tuple[_Line, _Line]


def _full(ink: Ink) -> _Pair | None:
    """Rows of marks as of a text: in each row of the longest even sequence one mark in each column of another."""
    down = _sequence(_runs(ink, 1))
    if down is None:
        return None
    rows = ink[round(max(0.0, down.start)) : round(down.start + down.pitch * down.cells)]
    across = _sequence(_runs(rows, 0))
    if across is None:
        return None
    places = np.argwhere(ink)
    row, column = (
        np.floor((places[:, at] - line.start) / line.pitch).astype(np.intp) for at, line in ((0, down), (1, across))
    )
    inside = (row >= 0) & (row < down.cells) & (column >= 0) & (column < across.cells)
    marked = np.zeros((down.cells, across.cells), dtype=np.bool_)
    marked[row[inside], column[inside]] = True
    return (across, down) if marked.all() else None


def _within(ink: Ink, frame: _Box | None, cells: tuple[int, int]) -> _Pair | None:
    """So many cells, the first and last of which hold marks, or which fill a frame: each mark in one of them."""
    lines: list[_Line] = []
    for at, count in enumerate(cells):
        runs = _runs(ink, at)
        if min(len(runs), count) < LEAST_CELLS:
            return None
        middles = runs.mean(axis=1)
        line = _fitted(runs, np.round((middles - middles[0]) * (count - 1) / (middles[-1] - middles[0])), count)
        if line is None and frame is not None:
            first, last = frame[2 * at], frame[2 * at + 1]
            line = _Line(first, (last - first) / count, count)
            places = (runs - line.start) / line.pitch
            if (np.floor(places[:, 0] + 0.5 - _ROOM / 2) != np.floor(places[:, 1] - 0.5 + _ROOM / 2)).any():
                return None
        if line is None:
            return None
        lines.append(line)
    return lines[0], lines[1]


def _filled(pixels: Pixels, ink: Ink, cells: tuple[int, int]) -> _Pair | None:
    """The largest patch of the picture that is not page, if the borders of so many cells are where its edges are."""
    patches, count = ndimage.label(ink)
    largest = int(np.argmax(np.bincount(patches.ravel(), minlength=count + 1)[1:])) + 1
    down, across = ndimage.find_objects(patches)[largest - 1]
    patch = pixels[down, across].astype(np.int16)
    lines = []
    for at, (part, size) in enumerate(((across, patch.shape[1]), (down, patch.shape[0]))):
        steps = np.abs(np.diff(patch, axis=1 - at)).sum(axis=(at, 2), dtype=np.float64)
        pitch = size / cells[at]
        off = np.abs((np.arange(1, size) / pitch + 0.5) % 1 - 0.5)
        if steps.sum() == 0 or steps[off <= _NEAR_EDGE].sum() < _ON_EDGES * steps.sum():
            return None
        lines.append(_Line(part.start, pitch, cells[at]))
    return lines[0], lines[1]


def _without_frame(ink: Ink) -> tuple[Ink, _Box | None]:
    """The ink without a thin frame around it, and the frame's inside: left, right, top, bottom."""
    patches, _ = ndimage.label(ink, np.ones((3, 3)))
    height, width = ink.shape
    for number, (down, across) in enumerate(ndimage.find_objects(patches), 1):
        high, wide = down.stop - down.start, across.stop - across.start
        if high < _FRAME * height or wide < _FRAME * width:
            continue
        frame = patches[down, across] == number
        if (
            frame.mean() > _THIN
            or min(side.mean() for side in (frame[0], frame[-1], frame[:, 0], frame[:, -1])) < _CLOSED
        ):
            continue
        thick = min(int(np.argmin(np.append(line, False))) for line in (frame[high // 2], frame[:, wide // 2]))
        inside = np.zeros_like(ink)
        left, right = across.start + thick, across.stop - thick
        top, bottom = down.start + thick, down.stop - thick
        inside[top:bottom, left:right] = ink[top:bottom, left:right]
        return inside, (left, right, top, bottom)
    return ink, None


def _runs(ink: Ink, axis: int) -> npt.NDArray[np.intp]:
    """Where stretches with ink begin and end, looked at along an axis: (stretches, 2)."""
    inked = np.asarray(ink.any(axis=axis))
    steps = np.diff(np.concatenate([[False], inked, [False]]).astype(np.int8))
    return np.stack([np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)], axis=1)


def _sequence(runs: npt.NDArray[np.intp]) -> _Line | None:
    """The longest sequence of stretches that follow each other evenly."""
    if len(runs) < LEAST_CELLS:
        return None
    steps = np.diff(runs.mean(axis=1))
    even = np.abs(steps - np.median(steps)) <= _OFF * np.median(steps)
    first, last = max(_runs(even[None], 0).tolist(), key=lambda run: run[1] - run[0], default=(0, 0))
    some = runs[first : last + 1]
    return _fitted(some, np.arange(len(some), dtype=np.float64), len(some)) if len(some) >= LEAST_CELLS else None


def _fitted(runs: npt.NDArray[np.intp], number: npt.NDArray[np.float64], cells: int) -> _Line | None:
    """Cells of one size around marks of which the cell is known; None where marks are not in their cells."""
    if number[-1] != cells - 1:
        return None
    middles = runs.mean(axis=1)
    pitch, start = np.polyfit(number, middles, 1)
    if pitch <= 0 or np.abs(middles - start - pitch * number).max() > _OFF * pitch:
        return None
    first, last = (runs[:, 0] - pitch * number).min(), (runs[:, 1] - pitch * number).max()
    return _Line(float((first + last - pitch) / 2), float(pitch), cells) if last - first <= _ROOM * pitch else None

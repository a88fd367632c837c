"""Cells without lines whose marks stand free: every cell has one, or the user says how many cells there are.

Where edges make no lattice, the places of the marks do. A mark that would lie in two cells refutes it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
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


_Box = tuple[int, int, int, int]
_Pair = tuple[_Line, _Line]


def free_cells(pixels: Pixels) -> Lattice | None:
    """The lattice on which marks without lines stand, one in each cell, as the letters of a text do; None where they
    do not."""
    return _on(pixels, lambda _, ink: _full(ink))


def counted_cells(pixels: Pixels, cells: tuple[int, int]) -> Lattice | None:
    """The lattice of so many cells across and down of which marks without lines show enough; None where they do not."""
    return _on(pixels, lambda page, ink: _within(*_without_frame(ink), cells) or _filled(page, ink, cells))


def _on(pixels: Pixels, cells_in: Callable[[Pixels, Ink], _Pair | None]) -> Lattice | None:
    """What is found of cells in a picture and its ink. The page may be what is at the picture's rim or most of it."""
    step = math.ceil(math.sqrt(pixels.shape[0] * pixels.shape[1] / _LOOKED_AT))
    if step > 1:
        found = _on(pixels[::step, ::step], cells_in)
        return None if found is None else found.grown(step)
    rim = np.concatenate([pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]])
    for page in np.median(rim, axis=0), np.median(pixels, axis=(0, 1)):
        ink = np.abs(pixels - page).max(axis=2) > _INK
        lines = cells_in(pixels, ink) if ink.any() else None
        if (
            lines is not None
            and min(line.pitch for line in lines) >= LEAST_PITCH_PX
            and 1 / _OBLONG < lines[0].pitch / lines[1].pitch < _OBLONG
        ):
            return Lattice(lines[0].axis(), lines[1].axis(), False)
    return None


def _full(ink: Ink) -> _Pair | None:
    """Rows of marks as of a text: one in each column of an even sequence, however close they stand, in each row."""
    for down in _sequences(ink):
        rows = ink[max(0, math.floor(down.start)) : math.ceil(down.start + down.pitch * down.cells)]
        for across in _sequences(rows.T):
            if _marked(ink, across, down).all():
                return across, down
    return None


def _marked(ink: Ink, across: _Line, down: _Line) -> npt.NDArray[np.bool_]:
    """Which cells hold ink: (rows, columns)."""
    places = np.argwhere(ink)
    row, column = (
        np.floor((places[:, at] - line.start) / line.pitch).astype(np.intp) for at, line in ((0, down), (1, across))
    )
    inside = (row >= 0) & (row < down.cells) & (column >= 0) & (column < across.cells)
    marked = np.zeros((down.cells, across.cells), dtype=np.bool_)
    marked[row[inside], column[inside]] = True
    return marked


def _sequences(ink: Ink) -> list[_Line]:
    """Even sequences of rows of marks: the one with blanks between them, and those at whose distance the picture is
    like itself, the finest first."""
    apart = _sequence(_runs(ink, 1))
    return [*([] if apart is None else [apart]), *_rhythms(ink)]


_LIKE_ITSELF: Final = 0.2
"""How much the picture must be like itself so many pixels on, of 1."""
_THROUGH: Final = 0.4
"""The most ink along the borders of cells, of what there is on average."""
_BORDER: Final = 0.07
"""The part of a cell at each side that is its border."""
_PHASES: Final = 40
_LINES: Final = 300
"""Lines of pixels by which a rhythm is found."""


def _rhythms(ink: Ink) -> list[_Line]:
    """Sequences of rows of marks at a distance at which the picture is like itself, with hardly any ink on borders."""
    inked = np.flatnonzero(ink.any(axis=1))
    if len(inked) < LEAST_CELLS * LEAST_PITCH_PX:
        return []
    first, last = int(inked[0]), int(inked[-1]) + 1
    rows = ink[first:last, :: math.ceil(ink.shape[1] / _LINES)].astype(np.float32)
    size, profile = last - first, rows.mean(axis=1, dtype=np.float64)
    rows -= rows.mean(axis=0)
    spectrum = np.square(np.abs(np.fft.rfft(rows, 2 * size, axis=0))).sum(axis=1)
    alike = np.fft.irfft(spectrum)[:size] / np.arange(size, 0, -1)
    alike /= max(float(alike[0]), 1e-9)
    inner = alike[1:-1]
    peaks = np.flatnonzero((inner > alike[:-2]) & (inner >= alike[2:]) & (inner > _LIKE_ITSELF)) + 1
    peaks = peaks[(peaks >= LEAST_PITCH_PX) & (peaks <= size / LEAST_CELLS)]
    whole = np.concatenate([[0.0], profile.cumsum()])
    found = []
    for lag in peaks.tolist():
        tried = lag + np.linspace(-0.7, 0.7, 57)
        again = np.arange(1, max(2, int(0.6 * size / lag)))
        pitch = float(tried[np.interp(np.outer(tried, again), np.arange(size), alike).sum(axis=1).argmax()])
        starts = pitch * (np.arange(_PHASES) / _PHASES - 1)
        borders = starts[:, None] + pitch * np.arange(1, round(size / pitch))
        through = np.interp(borders + _BORDER * pitch, np.arange(size + 1), whole)
        through -= np.interp(borders - _BORDER * pitch, np.arange(size + 1), whole)
        through = through.mean(axis=1) / (2 * _BORDER * pitch * profile.mean())
        if through.min() <= _THROUGH:
            start = float(starts[_middle_of(through <= through.min() + _THROUGH / 10)])
            line = _Line(first + start, pitch, math.ceil((size - start) / pitch - 0.5 * _BORDER))
            found.append((float(through.min()), line))
    clearest = min((through for through, _ in found), default=0.0)
    return [line for through, line in found if through <= clearest + _THROUGH / 4]


def _middle_of(chosen: npt.NDArray[np.bool_]) -> int:
    """The middle of the longest stretch of those that are chosen, going round."""
    count = len(chosen)
    runs = _runs(np.concatenate([chosen, chosen])[None], 0)
    begin, end = runs[int(np.argmax(runs[:, 1] - runs[:, 0]))].tolist()
    return int((begin + min(end, begin + count) - 1) // 2 % count)


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

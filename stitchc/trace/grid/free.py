"""Cells without lines whose marks stand free: every cell has one, or the user says how many cells there are.

Where edges make no lattice, the places of the marks do. A mark that would lie in two cells refutes it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.grid.chains import LEAST_CELLS, LEAST_PITCH_PX
from stitchc.trace.grid.edges import Profile
from stitchc.trace.grid.judging import richest
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
_UNMARKED: Final = 1000.0
_FEWEST: Final = 24
"""What a cell without a mark speaks against a chart, where one with a mark speaks for it by 1; and how many it has."""
_LEAST_INK: Final = 0.25
"""The part of the picture's ink that such cells hold, at least."""
_NEARLY_ALL: Final = 0.98
_AS_MUCH: Final = 0.9
"""The part of the most ink in such cells from which finer ones are preferred."""
_ROOM: Final = 0.97
"""The most of a cell that its marks take together."""
_OBLONG: Final = 3.6
"""How many times longer than wide a cell may be: lines of a text may lie far apart."""
_NEAR_EDGE: Final = 0.2
_NEAR_PX: Final = 1.6
_LEAST_FILLED_PX: Final = 6.0
_ALL_EDGES: Final = 0.9
"""The part of all edges that lies within so many px of the borders of cells, which are so wide at least, where nobody
says how many there are."""
_ON_EDGES: Final = 0.75
"""The part of all edges that lies within that part of a cell around its border where cells are filled to it."""

Ink = npt.NDArray[np.bool_]


class _Line(NamedTuple):
    """Cells of one direction, all of one size."""

    start: float
    pitch: float
    cells: int

    def part(self, first: int, last: int) -> _Line:
        return _Line(self.start + first * self.pitch, self.pitch, last - first)

    def axis(self) -> Axis:
        return Axis.evenly(self.start, self.pitch, self.cells)


_Box = tuple[int, int, int, int]
_Pair = tuple[_Line, _Line]


def free_cells(pixels: Pixels) -> tuple[Lattice, bool] | None:
    """The lattice on which marks without lines stand, one in each cell, as the letters of a text do, and whether there
    is anything else in the picture; None where they do not stand so."""
    shares = [0.0]

    def cells_in(_: Pixels, ink: Ink) -> _Pair | None:
        share, pair = _full(ink)
        shares.append(share)
        return pair

    found = _on(pixels, cells_in)
    return None if found is None else (replace(found, signs=True), shares[-1] < _NEARLY_ALL)


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


def _full(ink: Ink) -> tuple[float, _Pair | None]:
    """Cells with a mark in each, as of a text, and the part of the ink that they hold: there are blanks between the
    rows or between the columns, and in the other direction marks may touch. What stands around is passed over."""
    found: list[tuple[float, _Pair]] = []
    for turned in (False, True):
        seen = ink.T if turned else ink
        for apart in _sequences(_runs(seen, 1)):
            lines = seen[max(0, math.floor(apart.start)) : math.ceil(apart.start + apart.pitch * apart.cells)]
            for along in (*_sequences(_runs(lines, 0)), *_rhythms(lines.T, apart.cells)):
                across, down = (apart, along) if turned else (along, apart)
                inked = _inked(ink, across, down)
                _, (left, right, top, bottom) = richest(np.where(inked > 0, 1.0, -_UNMARKED), None)
                pair = across.part(left, right), down.part(top, bottom)
                if min(_size(pair)) >= LEAST_CELLS and math.prod(_size(pair)) >= _FEWEST and _are_whole(ink, pair):
                    found.append((float(inked[top:bottom, left:right].sum() / ink.sum()), pair))
    most = max((share for share, _ in found), default=0.0)
    if most < _LEAST_INK:
        return most, None
    return max((one for one in found if one[0] > _AS_MUCH * most), key=lambda one: math.prod(_size(one[1])))


_SAMPLES: Final = 5
_OTHER: Final = 0.2
"""How far the ink of a cell's parts is from another's, of 1, if it is another sign."""
_OFTEN: Final = 0.05


def _are_whole(ink: Ink, pair: _Pair) -> bool:
    """Whether cells hold whole signs: halves of signs take turns, so that no half is found in every second column as
    well as in the others."""
    places = [
        np.clip(np.round(line.start + line.pitch * np.arange(line.cells * _SAMPLES + 1) / _SAMPLES), 0, size)
        for line, size in zip(pair, ink.shape[::-1], strict=True)
    ]
    xs, ys = (place.astype(np.intp) for place in places)
    total = np.zeros((ink.shape[0] + 1, ink.shape[1] + 1))
    total[1:, 1:] = ink.cumsum(axis=0).cumsum(axis=1)
    corners = total[np.ix_(ys, xs)]
    parts = np.diff(np.diff(corners, axis=0), axis=1) / np.maximum(np.outer(np.diff(ys), np.diff(xs)), 1)
    columns, rows = _size(pair)
    cells = parts.reshape(rows, _SAMPLES, columns, _SAMPLES).swapaxes(1, 2).reshape(rows * columns, -1)
    looks, nearest = [0], np.sqrt(np.square(cells - cells[0]).mean(axis=1))
    of: npt.NDArray[np.intp] = np.zeros(len(cells), dtype=np.intp)
    while float(nearest.max()) > _OTHER and len(looks) < 2 * _SAMPLES:
        looks.append(int(nearest.argmax()))
        away = np.sqrt(np.square(cells - cells[looks[-1]]).mean(axis=1))
        of[away < nearest] = len(looks) - 1
        nearest = np.minimum(nearest, away)
    placed = of.reshape(rows, columns)
    for plane in (placed, placed.T):
        often = [
            set(np.flatnonzero(np.bincount(part.ravel(), minlength=len(looks)) >= _OFTEN * part.size).tolist())
            for part in (plane[:, ::2], plane[:, 1::2])
        ]
        if not often[0] & often[1]:
            return False
    return True


def _size(pair: _Pair) -> tuple[int, int]:
    return pair[0].cells, pair[1].cells


def _inked(ink: Ink, across: _Line, down: _Line) -> npt.NDArray[np.intp]:
    """How many pixels of each cell are inked: (rows, columns)."""
    places = np.argwhere(ink)
    row, column = (
        np.floor((places[:, at] - line.start) / line.pitch).astype(np.intp) for at, line in ((0, down), (1, across))
    )
    inside = (row >= 0) & (row < down.cells) & (column >= 0) & (column < across.cells)
    number = row[inside] * across.cells + column[inside]
    counts = np.bincount(number, minlength=down.cells * across.cells)
    return np.asarray(counts.reshape(down.cells, across.cells), dtype=np.intp)


_LIKE_ITSELF: Final = 0.2
"""How much the picture must be like itself so many pixels on, of 1."""
_THROUGH: Final = 0.4
"""The most ink along the borders of cells, of what there is on average."""
_BORDER: Final = 0.07
"""The part of a cell at each side that is its border."""
_PHASES: Final = 40
_LIKELIEST: Final = 8


def _rhythms(ink: Ink, lines: int) -> list[_Line]:
    """Sequences of rows of marks at a distance at which the picture is like itself, with hardly any ink on borders.
    lines: in how many columns the marks stand, in each of which large and small ones count the same."""
    inked = np.flatnonzero(ink.any(axis=1))
    if len(inked) < LEAST_CELLS * LEAST_PITCH_PX:
        return []
    first, last = int(inked[0]), int(inked[-1]) + 1
    size, profile = last - first, ink[first:last].mean(axis=1, dtype=np.float64)
    begins = np.arange(lines) * ink.shape[1] // lines
    rows = np.logical_or.reduceat(ink[first:last], begins, axis=1).astype(np.float32)
    rows -= rows.mean(axis=0)
    spectrum = np.square(np.abs(np.fft.rfft(rows, 2 * size, axis=0))).sum(axis=1)
    alike = np.fft.irfft(spectrum)[:size] / np.arange(size, 0, -1)
    alike /= max(float(alike[0]), 1e-9)
    inner = alike[1:-1]
    peaks = np.flatnonzero((inner > alike[:-2]) & (inner >= alike[2:]) & (inner > _LIKE_ITSELF)) + 1
    peaks = peaks[(peaks >= LEAST_PITCH_PX) & (peaks <= size / LEAST_CELLS)]
    whole = np.concatenate([[0.0], profile.cumsum()])
    found: list[tuple[float, _Line]] = []
    for lag in peaks[np.argsort(-alike[peaks])][:_LIKELIEST].tolist():
        tried = lag + np.linspace(-0.7, 0.7, 57)
        again = np.arange(1, max(2, int(0.6 * size / lag)))
        repeat = float(tried[np.interp(np.outer(tried, again), np.arange(size), alike).sum(axis=1).argmax()])
        for pitch in repeat / np.arange(1, repeat / LEAST_PITCH_PX):  # of unlike signs only the whole repeat is alike
            if any(abs(pitch - line.pitch) < 0.01 * pitch for _, line in found):
                continue
            starts = pitch * (np.arange(_PHASES) / _PHASES - 1)
            borders = starts[:, None] + pitch * np.arange(1, round(size / pitch))
            through = np.interp(borders + _BORDER * pitch, np.arange(size + 1), whole)
            through -= np.interp(borders - _BORDER * pitch, np.arange(size + 1), whole)
            through = through.mean(axis=1) / (2 * _BORDER * pitch * profile.mean())
            if through.min() <= _THROUGH:
                start = float(starts[_middle_of(through <= through.min() + _THROUGH / 10)])
                line = _Line(first + start, float(pitch), math.ceil((size - start) / pitch - 0.5 * _BORDER))
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
    steps = _steps(pixels[down, across])
    lines = []
    for part, changes, number in zip((across, down), steps, cells, strict=True):
        pitch = len(changes) / number
        if _share_near(changes, pitch, _NEAR_EDGE * pitch) < _ON_EDGES:
            return None
        lines.append(_Line(part.start, pitch, number))
    return lines[0], lines[1]


def filling_cells(pixels: Pixels) -> Lattice | None:
    """The lattice of cells that fill the picture from end to end, each in one colour: the widest at whose borders all
    edges lie. None where they do not, or where edges are anywhere."""
    lines = []
    for changes in _steps(pixels):
        size = len(changes)
        likely = (
            number
            for number in range(LEAST_CELLS, int(size / _LEAST_FILLED_PX) + 1)
            if _share_near(changes, size / number, _NEAR_PX) >= _ALL_EDGES
        )
        number = next(likely, None)
        if number is None:
            return None
        lines.append(_Line(-0.5, size / number, number))
    across, down = lines
    if math.prod(_size((across, down))) < _FEWEST or not 1 / _OBLONG < across.pitch / down.pitch < _OBLONG:
        return None
    return Lattice(across.axis(), down.axis(), False)


def _steps(pixels: Pixels) -> tuple[Profile, Profile]:
    """How much more than usual colours change from each column of pixels to the next, and from each row."""
    across, down = (
        np.concatenate([[0.0], np.abs(np.diff(plane.astype(np.int16), axis=1)).sum(axis=(0, 2), dtype=np.float64)])
        for plane in (pixels, pixels.swapaxes(0, 1))
    )
    return np.maximum(across - np.median(across), 0), np.maximum(down - np.median(down), 0)


def _share_near(changes: Profile, pitch: float, near_px: float) -> float:
    """The part of the changes, by the square of how strong they are, that lies so near to the borders of cells; of no
    changes, 0."""
    places = np.arange(len(changes))
    off = np.abs((places / pitch + 0.5) % 1 - 0.5) * pitch
    strength = np.square(changes)
    return float(strength[off <= near_px].sum() / max(float(strength.sum()), 1e-9))


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


def _sequences(runs: npt.NDArray[np.intp]) -> list[_Line]:
    """The sequences of stretches that follow each other evenly, the longest first."""
    if len(runs) < LEAST_CELLS:
        return []
    steps = np.diff(runs.mean(axis=1))
    found = []
    for usual in dict.fromkeys((float(np.median(steps)), float(np.median(steps[steps <= np.median(steps)])))):
        even = np.abs(steps - usual) <= _OFF * usual
        for first, last in _runs(even[None], 0).tolist():
            some = runs[first : last + 1]
            line = _fitted(some, np.arange(len(some), dtype=np.float64), len(some), 1 + _OFF / 2)
            if len(some) >= LEAST_CELLS and line is not None:
                found.append(line)
    return sorted(found, key=lambda line: -line.cells)


def _fitted(
    runs: npt.NDArray[np.intp], number: npt.NDArray[np.float64], cells: int, room: float = _ROOM
) -> _Line | None:
    """Cells of one size around marks of which the cell is known; None where marks are not in their cells. room: the
    most of a cell that the marks take together."""
    if number[-1] != cells - 1:
        return None
    middles = runs.mean(axis=1)
    pitch, start = np.polyfit(number, middles, 1)
    if pitch <= 0 or np.abs(middles - start - pitch * number).max() > _OFF * pitch:
        return None
    first, last = (runs[:, 0] - pitch * number).min(), (runs[:, 1] - pitch * number).max()
    return _Line(float((first + last - pitch) / 2), float(pitch), cells) if last - first <= room * pitch else None

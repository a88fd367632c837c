"""Signs without lines, one in each cell, as the letters of a text.

There are blanks between the rows or between the columns, and in the other direction the signs may touch.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.trace.grid.chains import LEAST_CELLS, LEAST_PITCH_PX
from stitchc.trace.grid.evenly import FEWEST, Ink, Line, Pair, found_on_page, runs_of, sequences_of, size_of
from stitchc.trace.grid.judging import richest
from stitchc.trace.grid.lattice import Lattice
from stitchc.trace.picture import Pixels

_UNMARKED: Final = 1000.0
"""What a cell without a mark speaks against a chart, where one with a mark speaks for it by 1."""
_LEAST_INK: Final = 0.25
_NEARLY_ALL: Final = 0.98
"""The part of the picture's ink that such cells hold, at least, and where there must be hardly anything else."""
_AS_MUCH: Final = 0.6
"""The part of the most ink in such cells from which finer ones are preferred."""


def free_cells(pixels: Pixels, alone: bool) -> Lattice | None:
    """The lattice on which marks without lines stand, one in each cell, as the letters of a text do; None where they do
    not stand so. alone: whether there must be hardly anything else in the picture."""
    found = found_on_page(pixels, lambda _, ink: _full(ink, _NEARLY_ALL if alone else _LEAST_INK))
    return None if found is None else replace(found, signs=True)


def _full(ink: Ink, least: float) -> Pair | None:
    """Cells with a mark in each that together hold at least that part of the ink."""
    found: list[tuple[float, Pair]] = []
    for turned in (False, True):
        seen = ink.T if turned else ink
        for apart in sequences_of(runs_of(seen, 1)):
            lines = seen[max(0, math.floor(apart.start)) : math.ceil(apart.start + apart.pitch * apart.cells)]
            for along in (*sequences_of(runs_of(lines, 0)), *_rhythms(lines.T, apart.cells)):
                across, down = (apart, along) if turned else (along, apart)
                inked = _inked(ink, across, down)
                _, (left, right, top, bottom) = richest(np.where(inked > 0, 1.0, -_UNMARKED), None)
                pair = across.part(left, right), down.part(top, bottom)
                if min(size_of(pair)) >= LEAST_CELLS and math.prod(size_of(pair)) >= FEWEST and _are_whole(ink, pair):
                    found.append((float(inked[top:bottom, left:right].sum() / ink.sum()), pair))
    most = max((share for share, _ in found), default=0.0)
    if most < _LEAST_INK:
        return None
    likely = (one for one in found if one[0] > _AS_MUCH * most)
    share, pair = max(likely, key=lambda one: math.prod(size_of(one[1])))
    return pair if share >= least else None


_SAMPLES: Final = 5
_OTHER: Final = 0.2
"""How far the ink of a cell's parts is from another's, of 1, if it is another sign."""
_OFTEN: Final = 0.05


def _are_whole(ink: Ink, pair: Pair) -> bool:
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
    columns, rows = size_of(pair)
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


def _inked(ink: Ink, across: Line, down: Line) -> npt.NDArray[np.intp]:
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


def _rhythms(ink: Ink, lines: int) -> list[Line]:
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
    found: list[tuple[float, Line]] = []
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
                line = Line(first + start, float(pitch), math.ceil((size - start) / pitch - 0.5 * _BORDER))
                found.append((float(through.min()), line))
    clearest = min((through for through, _ in found), default=0.0)
    return [line for through, line in found if through <= clearest + _THROUGH / 4]


def _middle_of(chosen: npt.NDArray[np.bool_]) -> int:
    """The middle of the longest stretch of those that are chosen, going round."""
    count = len(chosen)
    runs = runs_of(np.concatenate([chosen, chosen])[None], 0)
    begin, end = runs[int(np.argmax(runs[:, 1] - runs[:, 0]))].tolist()
    return int((begin + min(end, begin + count) - 1) // 2 % count)

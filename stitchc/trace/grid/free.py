"""Marks without lines of which the user says in how many cells they stand; one that would lie in two refutes it."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy import ndimage

from stitchc.trace.grid.chains import LEAST_CELLS
from stitchc.trace.grid.evenly import ROOM, Ink, Line, Pair, fitted, found_on_page, runs_of
from stitchc.trace.grid.filling import filled_cells
from stitchc.trace.grid.lattice import Lattice
from stitchc.trace.picture import Pixels

_FRAME: Final = 0.5
_THIN: Final = 0.25
_CLOSED: Final = 0.9
"""Of a frame: the least part of the picture that it goes round, the most of its own box that it covers, and the least
of each of its sides that is drawn."""

_Box = tuple[int, int, int, int]
"""Left, right, top and bottom, in px."""


def counted_cells(pixels: Pixels, cells: tuple[int, int]) -> Lattice | None:
    """The lattice of so many cells across and down of which marks without lines show enough; None where they do not."""
    return found_on_page(
        pixels, lambda page, ink: _within(*_without_frame(ink), cells) or filled_cells(page, ink, cells)
    )


def _within(ink: Ink, frame: _Box | None, cells: tuple[int, int]) -> Pair | None:
    """So many cells, the first and last of which hold marks, or which fill a frame: each mark in one of them."""
    lines: list[Line] = []
    for at, count in enumerate(cells):
        runs = runs_of(ink, at)
        if min(len(runs), count) < LEAST_CELLS:
            return None
        middles = runs.mean(axis=1)
        line = fitted(runs, np.round((middles - middles[0]) * (count - 1) / (middles[-1] - middles[0])), count)
        if line is None and frame is not None:
            first, last = frame[2 * at], frame[2 * at + 1]
            line = Line(first, (last - first) / count, count)
            places = (runs - line.start) / line.pitch
            if (np.floor(places[:, 0] + 0.5 - ROOM / 2) != np.floor(places[:, 1] - 0.5 + ROOM / 2)).any():
                return None
        if line is None:
            return None
        lines.append(line)
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

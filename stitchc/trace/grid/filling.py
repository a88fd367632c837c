"""Cells that fill a picture, or a patch of it, each in one colour: their borders are where its edges are."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from scipy import ndimage

from stitchc.trace.grid.chains import LEAST_CELLS
from stitchc.trace.grid.edges import Profile
from stitchc.trace.grid.evenly import FEWEST, OBLONG, Ink, Line, Pair, size_of
from stitchc.trace.grid.lattice import Lattice
from stitchc.trace.picture import Pixels

_NEAR_EDGE: Final = 0.2
_ON_EDGES: Final = 0.75
"""The part of all edges that lies within that part of a cell around its border where cells are filled to it."""
_NEAR_PX: Final = 1.6
_LEAST_FILLED_PX: Final = 6.0
_ALL_EDGES: Final = 0.9
"""The part of all edges that lies within so many px of the borders of cells, which are so wide at least, where nobody
says how many there are."""


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
        lines.append(Line(-0.5, size / number, number))
    across, down = lines
    if math.prod(size_of((across, down))) < FEWEST or not 1 / OBLONG < across.pitch / down.pitch < OBLONG:
        return None
    return Lattice(across.axis(), down.axis(), False)


def filled_cells(pixels: Pixels, ink: Ink, cells: tuple[int, int]) -> Pair | None:
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
        lines.append(Line(part.start, pitch, number))
    return lines[0], lines[1]


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

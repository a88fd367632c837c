"""Our own chart files, which say where their grid lies: read there, drawn again, and compared pixel by pixel.

The file names the grid and the signs, never the cells: what stands in each is seen. Where a line is not where it
should be, or a cell does not look as it is drawn here, the file was changed since, and what it says counts for nothing.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.drawn import MOST_CELLS, grid_again
from stitchc.drawn.place import Place, place_told
from stitchc.page import MM_PER_INCH
from stitchc.page.png import smoothed
from stitchc.trace.cells import Codes, sampled
from stitchc.trace.grid import Axis, Lattice
from stitchc.trace.picture import Picture, Plane, ink
from stitchc.trace.signs import Signs, signs_of

_LEAST_PX: Final = 4.5
"""Cells narrower than this are not read: 2 mm at 72 dots per inch are 5.7."""
_LINE_SEEN: Final = 0.1
"""The ink that each stretch of line has at least; the thinnest, at 72 dots per inch, has 0.2."""
_SAME: Final = 0.03
"""How far a cell may be from how it is drawn here: root mean square, of 1 from white to black."""
_EDGE: Final = 0.08
"""The part of a cell at each side that is left out: a running thread is 0.045 thick there."""


def on_named_grid(picture: Picture) -> tuple[Lattice, Signs] | None:
    """The grid that the file names and the signs on it, or None where it names none or the picture is another."""
    place, dpi = place_told(picture.words), round(picture.dpi)
    if place is None or dpi < 1 or place.shown[0] * place.shown[1] > MOST_CELLS:
        return None
    scale = dpi / MM_PER_INCH / picture.smaller
    pitch = place.cell_mm * scale
    across = Axis(place.left_mm * scale - 0.5, pitch, place.columns)  # pixels are numbered at their middles here
    down = Axis(place.top_mm * scale - 0.5, pitch, place.rows)
    height, width = picture.pixels.shape[:2]
    if pitch < _LEAST_PX or across.end_px >= width or down.end_px >= height:
        return None
    plane = ink(picture.pixels)
    if not (_ruled(plane, across, down) and _ruled(plane.T, down, across)):
        return None
    lattice = Lattice(across, down)
    signs = signs_of(sampled(picture.pixels, lattice), place.notation, place.face)
    if signs is None:
        return None
    likely = np.argsort(signs.distances, axis=2, kind="stable").astype(np.uint8)
    codes = likely[..., 0].copy()
    for choice in (1, 2, 3):
        other = _away(picture, place, dpi, lattice, codes) > _SAME
        if not other.any():
            exact = (1 - np.eye(3, dtype=np.float32))[codes]
            return lattice, Signs(signs.notation, signs.face, codes, exact, 0.0)
        if choice == 3:
            return None
        codes[other] = likely[..., choice][other]
    return None


def _ruled(plane: Plane, across: Axis, down: Axis) -> bool:
    """Whether every line across has ink along each of its cells."""
    lines = np.round(across.start_px + across.pitch_px * np.arange(across.cells + 1)).astype(int)
    cells = down.start_px + down.pitch_px * np.arange(down.cells)
    firsts = np.round(cells + 0.2 * down.pitch_px).astype(int)
    lasts = np.maximum(firsts + 1, np.round(cells + 0.8 * down.pitch_px).astype(int))
    beside = [plane[:, np.clip(lines + off, 0, plane.shape[1] - 1)] for off in (-1, 0, 1)]
    total = np.cumsum(np.vstack([np.zeros((1, len(lines))), np.maximum.reduce(beside)]), axis=0)
    return bool(((total[lasts] - total[firsts]) / (lasts - firsts)[:, None] >= _LINE_SEEN).all())


def _away(picture: Picture, place: Place, dpi: int, lattice: Lattice, codes: Codes) -> npt.NDArray[np.float64]:
    """How far each cell's inside is from these signs drawn at its very place."""
    width_mm, height_mm = (px * MM_PER_INCH / dpi for px in picture.size_px)
    image = smoothed(grid_again(place, codes, width_mm, height_mm), dpi, "L")
    again = np.asarray(image if picture.smaller == 1 else image.reduce(picture.smaller))
    lefts, rights = _insides(lattice.across)
    away = np.empty(codes.shape)
    for row, (top, bottom) in enumerate(zip(*_insides(lattice.down), strict=True)):
        seen = picture.pixels[top:bottom].astype(np.float64) - again[top:bottom, :, None]
        total = np.append(0.0, np.cumsum(np.square(seen / 255).mean(axis=(0, 2))))
        away[row] = np.sqrt(np.maximum(total[rights] - total[lefts], 0) / (rights - lefts))
    return away


def _insides(axis: Axis) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """The first pixel of each cell, without the part at its edge that its neighbour's signs reach, and the one after
    the last."""
    starts = axis.start_px + 0.5 + axis.pitch_px * np.arange(axis.cells)
    firsts = np.ceil(starts + _EDGE * axis.pitch_px).astype(np.intp)
    return firsts, np.floor(starts + (1 - _EDGE) * axis.pitch_px).astype(np.intp)

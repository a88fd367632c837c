"""Charts that are light on dark: where marks stand on dark cells the picture is turned into its negative, and a page
that is dark is told. Knows pixels and where cells lie; what marks mean is the user's to say.
"""

from __future__ import annotations

from typing import Final, Literal

import numpy as np

from stitchc.trace.cells import sampled
from stitchc.trace.field import Field
from stitchc.trace.grid import Lattice
from stitchc.trace.picture import Pixels, paper_colour

DARK: Final = 115.0
"""The mean of red, green and blue, of 255, under which the ground of cells is dark."""
_ALIKE: Final = 0.2
"""How far the ground of one cell may be from the others': filled cells have another."""
_ENOUGH_CELLS: Final = 12
"""Cells from which such a ground is none by chance, as it may be in a landscape."""
_LEAST_PITCH_PX: Final = 6.0
"""Smaller cells are hardly more than their lines."""
_MARKED: Final = 0.04
"""The part of some cell that is lighter than the ground where marks stand on it."""


def negative_of(pixels: Pixels, lattice: Lattice) -> Pixels | None:
    """The picture with light and dark exchanged where light marks stand on dark cells; None for any other.

    A chart of filled squares is no negative: the grounds of its cells differ, and which are the marks is not seen.
    """
    pitch_px = min(lattice.across.pitch_px, lattice.down.pitch_px)
    if lattice.across.cells * lattice.down.cells < _ENOUGH_CELLS or pitch_px < _LEAST_PITCH_PX:
        return None
    left, right = max(0, round(lattice.across.start_px)), round(lattice.across.end_px) + 1
    top, bottom = max(0, round(lattice.down.start_px)), round(lattice.down.end_px) + 1
    if float(np.median(pixels[top:bottom:2, left:right:2])) > 1.5 * DARK:  # no need to look closer
        return None
    turned = 255 - pixels
    if 255 - float(np.mean(paper_colour(turned))) > DARK:
        return None
    patches = sampled(turned, lattice)
    rim = np.ones(patches.shape[2:4], dtype=np.bool_)
    rim[1:-1, 1:-1] = False
    grounds = np.percentile(patches[:, :, rim], 75, axis=2)  # a mark may run to the cell's edge
    if float(np.percentile(np.abs(grounds - np.median(grounds, axis=(0, 1))).max(axis=2), 99.5)) > _ALIKE:
        return None
    lighter = (grounds[:, :, None, None] - patches).max(axis=4) > _ALIKE
    return turned if float(lighter.mean(axis=(2, 3)).max()) >= _MARKED else None


_BESIDE_PX: Final = 3
_LEAST_MARGIN: Final = 0.02
"""The part of the picture from which what lies beside the chart is its page."""


def page_of(field: Field) -> Literal["dark", "light"] | None:
    """What lies around the chart; None where it has no margin."""
    if field.lattice is None:
        return None
    across, down = field.lattice.across, field.lattice.down
    margin = np.ones(field.pixels.shape[:2], dtype=np.bool_)
    left, top = max(0, round(across.start_px) - _BESIDE_PX), max(0, round(down.start_px) - _BESIDE_PX)
    margin[top : round(down.end_px) + _BESIDE_PX + 1, left : round(across.end_px) + _BESIDE_PX + 1] = False
    if float(margin.mean()) < _LEAST_MARGIN:
        return None
    return "dark" if float(np.median(field.pixels[margin].mean(axis=1))) <= DARK else "light"

"""The tint of the paper under the marks, where every second row, every second cell or a part of a chart has one.

A tint is pale and the same in many cells; filled cells are darker, and those of a pencil are none like another. Knows
samples of cells.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from stitchc.trace.cells import Patches

_GROUND: Final = 95
"""The percentile of a cell's samples that is its paper, where it has some: marks on it are darker."""
_PALE: Final = 0.25
"""How dark a tint may be, of the darkest there is."""
_SAME: Final = 0.025
"""How far two cells of one tint are apart, of 1; others are twice as far."""
_FEWEST: Final = 0.03
_MOST: Final = 3
"""The part of all cells that has a tint, at least, and the number of tints: more are no paper."""


class Tint(NamedTuple):
    """One tint of the paper, beside the usual one. colour: of 1; cells: (rows, columns), which have it."""

    colour: npt.NDArray[np.float32]
    cells: npt.NDArray[np.bool_]


def without_tints(patches: Patches) -> tuple[Patches, tuple[Tint, ...]] | None:
    """The cells as they would be on the lightest paper that there is, and its other tints; None where it has one tint,
    or none for sure. patches: (rows, columns, s, s, 3)."""
    grounds = np.percentile(patches, _GROUND, axis=(2, 3)).astype(np.float32)
    darkest = 1 - float(np.percentile(patches.min(axis=4), 1))
    pale = grounds.min(axis=2) >= 1 - _PALE * darkest
    tints: list[Tint] = []
    left = pale.copy()
    while left.any():
        lightest = np.argwhere(left)[grounds[left].min(axis=1).argmax()]
        cells = left & (np.abs(grounds - grounds[tuple(lightest)]).max(axis=2) <= _SAME)
        off = np.abs(grounds - np.median(grounds[cells], axis=0)).max(axis=2)
        cells = left & (off <= _SAME)
        if cells.mean() < _FEWEST or len(tints) > _MOST or (left & (off <= 2 * _SAME) & ~cells).any():
            return None
        tints.append(Tint(np.median(grounds[cells], axis=0), cells))
        left &= ~cells
    if len(tints) < 2:
        return None
    even = patches.copy()
    for tint in tints[1:]:
        even[tint.cells] *= tints[0].colour / tint.colour
    return even, tuple(tints[1:])

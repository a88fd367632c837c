"""Whether marks that were taken for one are of two forms. Knows samples of cells; nothing of what marks mean."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.cells import Patches, Shares
from stitchc.trace.marked import between

_SEEN: Final = 0.15
"""How much of the light a mark takes somewhere."""
_SOFT: Final = 0.11
"""How soft marks are looked at, of a cell."""
_MAIN: Final = 3
"""The ways in which marks differ most that are looked at."""
_LEAST: Final = 0.15
_MOVED: Final = 0.2
"""How far one mark is moved to lie on another, of a cell."""
_ALIKE: Final = 0.75
"""How much two marks are alike, of 1, when one lies on the other as well as it can: the same ones drawn or photographed
0.87 and more; letters, rings, dots and crosses among each other up to 0.66."""
_COMPARED: Final = 600


def of_another_form(cells: Patches, ground: Shares) -> npt.NDArray[np.bool_] | None:
    """Which of the cells, by number, hold a mark of another form than the rest; None where all are alike.

    cells: (cells, s, s, 3), finely sampled; ground: what blank cells are. Cells without a mark are with the rest.
    """
    rim = (cells.shape[1] - 1) // 6  # which wide lines may bleed into
    ink = np.abs(cells - ground).max(axis=3)[:, rim:-rim, rim:-rim]
    strength = ink.max(axis=(1, 2))
    marked = np.flatnonzero(strength >= _SEEN)
    if len(marked) < 4:
        return None
    ink = ink[marked] / strength[marked][:, None, None]
    soft = _SOFT * ink.shape[1]
    looks = ndimage.gaussian_filter(ink, (0, soft, soft)).reshape(len(ink), -1)
    looks /= np.linalg.norm(looks, axis=1, keepdims=True)
    looks -= looks.mean(axis=0)
    some = looks[:: max(1, len(looks) // _COMPARED)].astype(np.float64)
    # a mark has far fewer samples than there are marks, so that this is the short way to their main differences
    for way in np.linalg.eigh(some.T @ some)[1].T[::-1][:_MAIN]:
        values = looks @ way
        border = between(values, _LEAST)
        if border is None:
            continue
        other = values >= border
        if _alike(np.median(ink[~other], axis=0), np.median(ink[other], axis=0)) < _ALIKE:
            chosen = np.zeros(len(cells), dtype=np.bool_)
            chosen[marked[other]] = True
            return chosen
    return None


def _alike(one: Shares, other: Shares) -> float:
    """How much one mark is like the other where it covers it best, when it is moved about: 1 for the same."""
    reach = round(_MOVED * len(one))
    room, side = np.pad(one, reach), len(one)
    best = 0.0
    for down in range(2 * reach + 1):
        for across in range(2 * reach + 1):
            moved = room[down : down + side, across : across + side]
            size = np.sqrt(np.square(moved).sum() * np.square(other).sum())
            best = max(best, float((moved * other).sum() / max(float(size), 1e-9)))
    return best

"""The light on cells told from the marks in them, where a shadow with a hard edge lies over the chart.

Marks end at the borders of cells and light hardly ever does: what differs between the two sides of a border is what is
drawn, and the rest of the difference between two cells is light. Knows samples of cells.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.trace.cells import Patches

_Values = npt.NDArray[np.float64]

_DARKEST: Final = 0.03
_DRAWN: Final = 0.3
"""How much darker one side of a border is than the other, at least, where a mark ends there; a natural logarithm."""
_EVEN: Final = 0.2
"""How much darker than elsewhere, so that a shadow is spoken of at all; the same."""
_ROUNDS: Final = 4000


def in_even_light(patches: Patches) -> Patches | None:
    """The cells as they would look in even light; None where it is even as it is. patches: (rows, columns, s, s, 3)."""
    if min(patches.shape[:2]) < 2:
        return None
    level = np.log(np.maximum(patches.mean(axis=4, dtype=np.float64), _DARKEST))
    left, right, top, bottom = (
        np.median(side, axis=2) for side in (level[..., 0], level[..., -1], level[..., 0, :], level[..., -1, :])
    )
    across, down = right[:, :-1] - left[:, 1:], bottom[:-1] - top[1:]
    drawn = _summed(*(np.where(np.abs(steps) >= _DRAWN, steps, 0) for steps in (across, down)))
    sides = np.stack([left, right, top, bottom]) - drawn
    darkest, lightest = (end[..., None, None] for end in (sides.min(axis=0), sides.max(axis=0)))
    if np.percentile(lightest, 98) - np.percentile(darkest, 2) < _EVEN:
        return None
    # the edge of a shadow leaves any light in between, and a mark within a cell takes more than that
    light = np.clip(level - drawn[..., None, None], darkest, lightest)
    return np.asarray(patches / np.exp(light - lightest.max())[..., None], dtype=np.float32)


def _summed(right: _Values, below: _Values) -> _Values:
    """The values of cells of which the differences from those at their right and below are given, as nearly as can
    be."""
    # which few pictures need, and which take a while to load
    from scipy.sparse import coo_array
    from scipy.sparse.linalg import lsqr

    rows, columns = len(right), below.shape[1]
    number = np.arange(rows * columns).reshape(rows, columns)
    first = np.concatenate([number[:, :-1].ravel(), number[:-1].ravel()])
    second = np.concatenate([number[:, 1:].ravel(), number[1:].ravel()])
    pair = np.arange(len(first))
    signs = np.concatenate([np.ones(len(pair)), -np.ones(len(pair))])
    matrix = coo_array((signs, (np.tile(pair, 2), np.concatenate([first, second]))), (len(pair), number.size)).tocsr()
    found = lsqr(matrix, np.concatenate([right.ravel(), below.ravel()]), iter_lim=_ROUNDS)[0]
    return np.asarray(found.reshape(rows, columns))

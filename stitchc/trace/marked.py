"""Cells told apart into marked and blank ones where the user says that there are no others, in uneven light and with
marks of changing strength.

Ink is measured against the light of the blank cells around, and as a ratio, so that neither shadow nor pressure
changes anything; whether one mark is meant is told by its form and hue, wherever it stands in its cell. Knows
samples of cells, and no meanings.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.cells import Patches, Shares

_Values = npt.NDArray[np.float32]


class Marked(NamedTuple):
    """Which cells are marked, and how far each is from a blank and from a marked one: (rows, columns, 2)."""

    cells: npt.NDArray[np.bool_]
    distances: Shares


_LEAST_LIGHT: Final = 0.7
"""The least light on the page, of the most, that is left when its slow fall was divided out."""
_AROUND: Final = 1.2
"""Cells from which the light on one of them is told; a standard deviation."""
_FAINT: Final = 0.02
"""Ink that may as well be grain."""
_FAINT_PART: Final = 0.1
"""The same of what is usual in a marked cell."""
_APART: Final = 4.5
"""How far two groups are from each other, of what each of them is spread, where they are two: halves of values that
are spread evenly are at 3.5."""
_CLEAR: Final = 0.9
"""The logarithm of how many times more ink marked cells have than blank ones, at least."""
_FEWEST: Final = 3
"""Cells that make a kind of their own; fewer must be three times as far from the others."""
_OTHER_STRENGTH: Final = 0.25
_OTHER_FORM: Final = 0.05
_OTHER_HUE: Final = 0.12
_DOUBT: Final = 0.3
"""How far a cell in the middle between blank and marked is from either is half of this."""


def marked_in(patches: Patches, among: npt.NDArray[np.bool_]) -> Marked | None:
    """The cells marked, of those among which there are two kinds; None where there are none, or more than one mark.

    among: (rows, columns); the others may be anything.
    """
    rim = (patches.shape[2] - 1) // 6  # which wide lines may bleed into
    patches = patches[:, :, rim:-rim, rim:-rim] if rim else patches
    seen = np.percentile(patches.max(axis=4), 90, axis=(2, 3)).astype(np.float32)
    light = np.clip(ndimage.maximum_filter(np.where(among, seen, 0), 5), _LEAST_LIGHT, None)
    for _ in range(3):
        dark = np.clip(1 - patches.min(axis=4) / light[:, :, None, None], 0, 1)
        inked = dark.mean(axis=(2, 3))
        strength = np.log(inked + max(_FAINT, _FAINT_PART * float(np.percentile(inked[among], 98))))
        halved = _halved(strength[among])
        if halved is None:
            return None
        border = halved
        blank = among & (strength < border)
        weight = ndimage.gaussian_filter(blank.astype(np.float32), _AROUND) + 1e-6
        ground = patches.min(axis=4).mean(axis=(2, 3))
        usual = np.float32(np.median(ground[blank]))
        light = ndimage.gaussian_filter(np.where(blank, ground, 0), _AROUND) + 1e-6 * usual
        light = np.clip(light / weight, _LEAST_LIGHT * usual, None)
    marked = among & ~blank
    low, high = float(np.median(strength[blank])), float(np.median(strength[marked]))
    spread = max(_spread(strength[blank]), _spread(strength[marked]))
    if high - low < max(_CLEAR, _APART * spread):
        return None
    faint = max(_FAINT, _FAINT_PART * float(np.median(inked[marked])))
    if _two(inked[blank], faint) or _two(strength[marked], _OTHER_STRENGTH):
        return None
    colour = 1 - patches[marked] / light[marked][:, None, None, None]
    if any(_two(values, least) for values, least in _traits(colour)):
        return None
    share = np.interp(strength, [low, border, high], [0, 0.5, 1])
    return Marked(marked, (_DOUBT * np.stack([share, 1 - share], axis=2)).astype(np.float32))


def _traits(colour: _Values) -> list[tuple[_Values, float]]:
    """What tells one mark from another, however strong and wherever in its cell: how wide and high it is, how it
    leans, how much of it is ink, and its hue; each with what makes a difference."""
    ink = np.clip(colour.max(axis=3), 0, 1)
    ink = np.where(ink > 0.25 * ink.max(axis=(1, 2), keepdims=True), ink, 0)
    whole = ink.sum(axis=(1, 2)) + 1e-6
    side = ink.shape[1]
    at = (np.arange(side, dtype=np.float32) + 0.5) / side
    x = (ink.sum(axis=1) @ at) / whole
    y = (ink.sum(axis=2) @ at) / whole
    off_x, off_y = at - x[:, None], at - y[:, None]
    wide = np.sqrt((ink.sum(axis=1) * off_x**2).sum(axis=1) / whole)
    high = np.sqrt((ink.sum(axis=2) * off_y**2).sum(axis=1) / whole)
    leaning = np.einsum("nyx,nx,ny->n", ink, off_x, off_y) / whole
    full = whole**2 / (np.square(ink).sum(axis=(1, 2)) + 1e-6) / side**2
    hue = (colour * ink[..., None]).sum(axis=(1, 2))
    hue /= np.linalg.norm(hue, axis=1, keepdims=True) + 1e-6
    return [
        (wide, _OTHER_FORM),
        (high, _OTHER_FORM),
        (leaning / (wide * high + 1e-6), 10 * _OTHER_FORM),
        (full, 3 * _OTHER_FORM),
        *((hue[:, channel], _OTHER_HUE) for channel in range(3)),
    ]


def _halved(values: _Values) -> float | None:
    """The border that parts the values best into two groups; None where all are the same."""
    ordered = np.sort(values.ravel().astype(np.float64))
    if len(ordered) < 2 or ordered[-1] - ordered[0] < 1e-6:
        return None
    count = np.arange(1, len(ordered))
    below = np.cumsum(ordered)[:-1]
    gap = below / count - (ordered.sum() - below) / (len(ordered) - count)
    at = int(np.argmax(count * (len(ordered) - count) * gap**2))
    return float(ordered[at] + ordered[at + 1]) / 2


def _spread(values: _Values) -> float:
    return float(values.std())


def _two(values: _Values, least: float) -> bool:
    """Whether the values are of two kinds, rather than of one that is spread."""
    border = _halved(values)
    if border is None:
        return False
    low, high = values[values < border], values[values >= border]
    gap = float(np.median(high) - np.median(low))
    within = np.sqrt((low.var() * len(low) + high.var() * len(high)) / len(values))
    few = 3 if min(len(low), len(high)) < _FEWEST else 1
    return gap > few * max(least, _APART * float(within))

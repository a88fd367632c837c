"""The rectangle that stands out of a page: a plot between its axes, a picture of pixels, a panel with a text.

What lies around it, as numbers, titles and legends do, is no part of a chart. Knows pixels alone.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.picture import Pixels, rim_of

Box = tuple[int, int, int, int]
"""Left, top, right and bottom, in px; the last two are not counted."""

_LOOKED_AT: Final = 500_000
"""Pixels; of larger pictures only some are looked at."""
_UNLIKE: Final = 24
"""How far, of 255, its colours are from the page's."""
_LEAST_SIDE: Final = 0.15
_LEAST_PX: Final = 24
_MOST: Final = 0.97
"""The least part of the picture's width and height that it takes, and the most of its area."""
_CLOSED: Final = 0.93
"""The part of each of its sides that is not page."""
_NEARLY_CLOSED: Final = 0.85
"""The same of all that stands out."""
_THICKEST: Final = 6
"""How many pixels wide a frame around it may be."""
_OF_ONE_COLOUR: Final = 0.95


def patch_in(pixels: Pixels) -> Box | None:
    """Where the largest rectangle of the picture lies that is closed at all sides, without its frame; None where there
    is none, or nothing around it."""
    step = math.ceil(math.sqrt(pixels.shape[0] * pixels.shape[1] / _LOOKED_AT))
    exact = _unlike_page(pixels)
    unlike = exact
    for axis in (0, 1) if step > 1 else ():  # a hairline must not fall between those that are looked at
        unlike = np.logical_or.reduceat(unlike, np.arange(0, unlike.shape[axis], step), axis=axis)
    patches, _ = ndimage.label(unlike, np.ones((3, 3)))
    height, width = unlike.shape
    best: tuple[int, Box] | None = None
    for number, (down, across) in enumerate(ndimage.find_objects(patches), 1):
        high, wide = down.stop - down.start, across.stop - across.start
        least = high < _LEAST_SIDE * height or wide < _LEAST_SIDE * width or min(high, wide) * step < _LEAST_PX
        if least or high * wide > _MOST * height * width or (best is not None and high * wide <= best[0]):
            continue
        patch = patches[down, across] == number
        # the marks of a scale stand out of its sides
        closed = [np.flatnonzero(patch.mean(axis=axis) >= _NEARLY_CLOSED) for axis in (0, 1)]
        if min(map(len, closed)) < 2:
            continue
        (left, right), (top, bottom) = ((int(lines[0]), int(lines[-1])) for lines in closed)
        sides = patch[top, left : right + 1], patch[bottom, left : right + 1], patch[top : bottom + 1, [left, right]]
        if min(side.mean() for side in sides) >= _CLOSED:
            left, right, top, bottom = left + across.start, right + across.start, top + down.start, bottom + down.start
            best = high * wide, (left, top, right + 1, bottom + 1)
    if best is None:
        return None
    left, top, right, bottom = (step * place for place in best[1])
    if step > 1:
        box = exact[top:bottom, left:right]
        rows, columns = (np.flatnonzero(box.mean(axis=axis) >= _NEARLY_CLOSED) for axis in (1, 0))
        if len(rows) and len(columns):
            top, bottom = top + int(rows[0]), top + int(rows[-1]) + 1
            left, right = left + int(columns[0]), left + int(columns[-1]) + 1
    thick = _frame_px(pixels[top:bottom, left:right])
    return left + thick, top + thick, right - thick, bottom - thick


def _unlike_page(pixels: Pixels) -> npt.NDArray[np.bool_]:
    """Which pixels have another colour than the page, which is what is at the picture's ends."""
    page = np.median(rim_of(pixels), axis=0)
    low, high = np.clip(page - _UNLIKE, 0, 255), np.clip(page + _UNLIKE, 0, 255)
    unlike = np.zeros(pixels.shape[:2], dtype=np.bool_)
    for channel in range(3):
        unlike |= (pixels[:, :, channel] < low[channel]) | (pixels[:, :, channel] > high[channel])
    return unlike


def _frame_px(patch: Pixels) -> int:
    """How wide the frame around a patch is: rings of pixels of one colour; 0 where they do not end soon, as the ground
    of a patch without a frame does."""
    colour = np.median(_ring(patch, 0), axis=0)
    for thick in range(min(_THICKEST + 1, min(patch.shape[:2]) // 4)):
        if (np.abs(_ring(patch, thick) - colour).max(axis=1) <= _UNLIKE).mean() < _OF_ONE_COLOUR:
            return thick
    return 0


def _ring(patch: Pixels, thick: int) -> npt.NDArray[np.uint8]:
    """The pixels that lie so many from the nearest side."""
    return rim_of(patch[thick : patch.shape[0] - thick, thick : patch.shape[1] - thick])

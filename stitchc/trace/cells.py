"""Cells sampled from a picture, and how certain it is what stands in each. Knows a lattice and pixels, and no marks."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.grid import Lattice
from stitchc.trace.picture import Pixels, full_light

Patches = npt.NDArray[np.float32]
"""Each cell's inside in s x s samples of three colours, 1 being full light: (rows, columns, s, s, 3), top row first."""
Codes = npt.NDArray[np.uint8]
Shares = npt.NDArray[np.float32]
_FEW: Final = 10_000
_MANY: Final = 60_000


def sampled(pixels: Pixels, lattice: Lattice, pushed: bool = False, finely: bool = False) -> Patches:
    """The cells' insides, each sample the mean of its surroundings. pushed: whether wide lines push marks aside.

    finely: whether to take more samples, unless there are many cells.
    """
    columns, rows = lattice.size
    sides = ((_FEW, 15), (_MANY, 7), (4 * _MANY, 5))[0 if finely else 1 :]
    side = next((side for most, side in sides if columns * rows <= most), 3)
    (middles_x, across), (middles_y, down) = lattice.across.free(pushed), lattice.down.free(pushed)
    if lattice.signs:
        across, down = lattice.room[0] * lattice.across.pitch_px, lattice.room[1] * lattice.down.pitch_px
    places = (np.arange(side) + 0.5) / side - 0.5
    xs = (middles_x[:, None] + across * places).ravel()
    ys = (middles_y[:, None] + down * places).ravel()
    blur = max(1, round(down / side)), max(1, round(across / side))
    light = full_light(pixels)
    out = np.empty((rows, columns, side, side, 3), dtype=np.float32)
    x0 = np.clip(np.floor(xs).astype(int), 0, pixels.shape[1] - 2)
    y0 = np.clip(np.floor(ys).astype(int), 0, pixels.shape[0] - 2)
    fx = np.clip(xs - x0, 0, 1).astype(np.float32)[None, :]
    fy = np.clip(ys - y0, 0, 1).astype(np.float32)[:, None]
    for channel in range(3):
        plane = pixels[:, :, channel].astype(np.float32) / light[channel]
        if max(blur) > 1:
            plane = ndimage.uniform_filter(plane, blur)
        upper = plane[np.ix_(y0, x0)] * (1 - fx) + plane[np.ix_(y0, x0 + 1)] * fx
        lower = plane[np.ix_(y0 + 1, x0)] * (1 - fx) + plane[np.ix_(y0 + 1, x0 + 1)] * fx
        values = upper * (1 - fy) + lower * fy
        out[..., channel] = values.reshape(rows, side, columns, side).swapaxes(1, 2)
    beyond = np.logical_or.outer((ys < -0.5) | (ys > pixels.shape[0] - 0.5), (xs < -0.5) | (xs > pixels.shape[1] - 0.5))
    if beyond.any():
        _completed(out, beyond.reshape(rows, side, columns, side).swapaxes(1, 2))
    return np.minimum(out, 1.1)


_LIKE_WHOLE: Final = 0.12
_COMPARED: Final = 500


def _completed(patches: Patches, beyond: npt.NDArray[np.bool_]) -> None:
    """Cells that the picture's edge cuts taken, in place, for the whole cell that what is left of them looks like; for
    themselves turned half round where there is none, as nearly all marks look the same then."""
    part = beyond.any(axis=(2, 3))
    whole = patches[~part]
    whole = whole[:: max(1, len(whole) // _COMPARED)]
    for row, column in np.argwhere(part).tolist():
        cell, missing = patches[row, column].copy(), beyond[row, column]
        if len(whole) and not missing.all():
            away = np.sqrt(np.square(whole - cell)[:, ~missing].mean(axis=(1, 2)))
            best = int(np.argmin(away))
            if away[best] < _LIKE_WHOLE:
                patches[row, column] = whole[best]
                continue
        patches[row, column][missing] = cell[::-1, ::-1][missing]


_CLEAN: Final = 0.015
"""The least spread of distances, where cells of a kind hardly differ."""


def certainty(distances: Shares, spread: float = 0.06, stranger: float = 0.45) -> Shares:
    """How likely each choice is, given how far the cell is from each: shares that sum to less than 1 by as much as
    the cell is like none of them.

    Distances are taken as normal with a spread that the cells themselves show, at least `spread`; something that is
    none of the choices lies `stranger` away, or nearer where all cells are clean.
    """
    nearest = distances.min(axis=-1)
    own = float(np.sqrt(np.square(nearest).mean()))
    width = min(0.14, max(own, min(spread, max(_CLEAN, 3 * own))))
    stranger *= min(1.0, width / spread)
    exponent = -np.square(distances) / (2 * width * width)
    other = -(stranger**2) / (2 * width * width)
    top = np.maximum(exponent.max(axis=-1, keepdims=True), other)
    weights = np.exp(exponent - top)
    return np.asarray(weights / (weights.sum(axis=-1, keepdims=True) + np.exp(other - top)), dtype=np.float32)

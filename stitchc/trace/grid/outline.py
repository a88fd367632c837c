"""A heavier line around all marked cells: squared paper goes on beyond the chart that is drawn on it.

Only where both cells beside a piece of a line are blank does it show how heavy it is.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.trace.grid.lattice import Axis, Lattice
from stitchc.trace.picture import Pixels

_BLANK: Final = 0.12
"""How far the middle of a blank cell may be from the usual blank one, of 1."""
_HEAVIER: Final = 1.8
"""How many times as much ink as usual a heavier line has."""
_FAINT: Final = 0.01
_DRAWN, _ELSEWHERE = 0.85, 0.04
"""The least part of the outline that is heavy, and the most of all other lines."""
_EMPTY: Final = 0.97
"""The least part of the cells outside it that is blank."""
_SEEN: Final = 0.25
"""The least part of each side of an outline that blank cells let see."""

Shares = npt.NDArray[np.float64]


def outline_in(pixels: Pixels, lattice: Lattice) -> tuple[int, int, int, int] | None:
    """The first and, not counted, last column and row of the cells that a heavier line encloses, where those outside it
    are blank; None if there is no such line."""
    columns, rows = lattice.size
    middles = _means(pixels, _insets(lattice.down, 0.3), _insets(lattice.across, 0.3))
    usual = np.median(middles[middles.mean(axis=2) >= np.median(middles.mean(axis=2))], axis=0)
    blank = np.abs(middles - usual).max(axis=2) <= _BLANK
    found: list[tuple[int, int]] = []
    heavy: list[tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]] = []
    for turned in (False, True):
        axis, other = (lattice.down, lattice.across) if turned else (lattice.across, lattice.down)
        plane, clear = (pixels.swapaxes(0, 1), blank.T) if turned else (pixels, blank)
        ink = _ink_along(plane, axis, other, usual)
        edge = np.zeros((len(clear), 1), dtype=np.bool_)
        known = np.hstack([edge, clear[:, :-1] & clear[:, 1:], edge])
        known[:, 0], known[:, -1] = clear[:, 0], clear[:, -1]
        if known.sum() < 8:
            return None
        strong = known & (ink > _HEAVIER * max(float(np.median(ink[known])), _FAINT))
        share = strong.sum(axis=0) / np.maximum(known.sum(axis=0), 1)
        lines = np.flatnonzero(share > _SEEN)
        if len(lines) != 2:
            return None
        found.append((int(lines[0]), int(lines[1])))
        heavy.append((strong, known))
    (left, right), (top, bottom) = found
    if (left, right, top, bottom) == (0, columns, 0, rows) or right - left < 2 or bottom - top < 2:
        return None
    for (strong, known), pair, (first, last) in zip(heavy, found, found[::-1], strict=True):
        on = np.zeros_like(known)
        on[first:last, list(pair)] = True
        for line in pair:
            side = known[first:last, line]
            if side.mean() < _SEEN or strong[first:last, line].sum() < _DRAWN * side.sum():
                return None
        if strong[~on].sum() > _ELSEWHERE * known[~on].sum():
            return None
    outside = np.ones_like(blank)
    outside[top:bottom, left:right] = False
    if blank[outside].mean() < _EMPTY:  # the outline is of a repeat, and the chart goes on
        return None
    return left, right, top, bottom


def _ink_along(plane: Pixels, axis: Axis, other: Axis, usual: Shares) -> Shares:
    """How much each piece of each line lacks of the usual blank colour, over its width: (cells along, lines)."""
    reach = max(2, round(float(axis.widths.max()) / 2) + 1)
    lines = []
    for line in axis.lines:
        middle = round(float(line))
        first, last = max(0, middle - reach), min(plane.shape[1], middle + reach + 1)
        lines.append(np.abs(plane[:, first:last] / 255.0 - usual).max(axis=2).sum(axis=1))
    ink = np.stack(lines, axis=1)
    return np.stack([ink[begin:end].mean(axis=0) for begin, end in _insets(other, 0.2)])


def _insets(axis: Axis, share: float) -> list[tuple[int, int]]:
    """The middle part of each cell, without so much of it at both ends."""
    off = share * np.diff(axis.lines)
    begin, end = axis.lines[:-1] + off, axis.lines[1:] - off
    return [(max(0, round(a)), max(round(b), round(a) + 1)) for a, b in zip(begin.tolist(), end.tolist(), strict=True)]


def _means(pixels: Pixels, rows: list[tuple[int, int]], columns: list[tuple[int, int]]) -> Shares:
    strips = np.stack([pixels[top:bottom].mean(axis=0) for top, bottom in rows])
    return np.stack([strips[:, left:right].mean(axis=1) for left, right in columns], axis=1) / 255

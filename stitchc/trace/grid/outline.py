"""A heavier line around all marked cells: squared paper goes on beyond the chart that is drawn on it.

Only where both cells beside a piece of a line are blank does it show how heavy it is.
"""

from __future__ import annotations

from itertools import combinations
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from stitchc.trace.grid.lattice import Axis, Lattice
from stitchc.trace.picture import Pixels

_BLANK: Final = 0.12
"""How far the middle of a blank cell may be from the usual blank one, of 1."""
_HEAVIER: Final = 1.8
_HEAVIER_THAN_BEYOND: Final = 1.4
"""How many times as much ink as usual a heavier line has, and as beyond the outline, where it may lie on a bold one."""
_FAINT: Final = 0.01
_DRAWN, _BEYOND = 0.7, 0.25
"""The least part of each side of the outline that is heavy, and the most of its line beyond it that is as heavy."""
_EMPTY: Final = 0.9
"""The least part of the cells outside it that is blank: numbers may stand there."""
_DEEPEST, _PARTLY = 2, 0.5
"""Rows or columns of headings at each end at most, and the part of one from which it is blank."""
_WANDERS: Final = 0.2
"""How far a line that was drawn by hand may lie beside the grid, of a cell."""
_BESIDE: Final = 25
_SEEN: Final = 0.2
_LEAST_SEEN, _FEWEST = 0.1, 2
"""The least part of an outline that blank cells let see, the least part of each of its sides, and so many pieces."""
_LIKELY: Final = 0.15
"""The part of what is seen of a line that is heavy, from which a side may lie on it."""
_MOST_LINES: Final = 8

Shares = npt.NDArray[np.float64]


def outline_in(pixels: Pixels, lattice: Lattice) -> tuple[int, int, int, int] | None:
    """The first and, not counted, last column and row of the cells that a heavier line encloses, where those outside it
    are blank; None if there is no such line."""
    columns, rows = lattice.size
    middles = _means(pixels, _insets(lattice.down, 0.3), _insets(lattice.across, 0.3))
    usual = np.median(middles[middles.mean(axis=2) >= np.median(middles.mean(axis=2))], axis=0)
    blank = np.abs(middles - usual).max(axis=2) <= _BLANK
    heavy: list[_Heavy] = []
    for turned in (False, True):
        axis, other = (lattice.down, lattice.across) if turned else (lattice.across, lattice.down)
        plane, clear = (pixels.swapaxes(0, 1), blank.T) if turned else (pixels, blank)
        ink = _ink_along(plane, axis, other, usual)
        edge = np.zeros((len(clear), 1), dtype=np.bool_)
        known = np.hstack([edge, clear[:, :-1] & clear[:, 1:], edge])
        known[:, 0], known[:, -1] = clear[:, 0], clear[:, -1]
        if known.sum() < 8:
            return None
        heavy.append(_Heavy(known & (ink > _HEAVIER * max(float(np.median(ink[known])), _FAINT)), known, ink))
    upright, level = heavy
    boxes = (
        (left, right, top, bottom)
        for left, right in combinations(upright.likely(), 2)
        for top, bottom in combinations(level.likely(), 2)
        if right - left >= 2 and bottom - top >= 2 and (left, right, top, bottom) != (0, columns, 0, rows)
    )
    drawn = []
    for left, right, top, bottom in boxes:
        sides = [(upright, line, top, bottom) for line in (left, right)]
        sides += [(level, line, left, right) for line in (top, bottom)]
        seen = sum(lines.known[first:last, line].sum() for lines, line, first, last in sides)
        if seen >= _SEEN * 2 * (right - left + bottom - top) and all(lines.ends(*side) for lines, *side in sides):
            heavy_part = sum(lines.strong[first:last, line].sum() for lines, line, first, last in sides) / seen
            drawn.append((round(float(heavy_part), 1), (right - left) * (bottom - top), (left, right, top, bottom)))
    if not drawn:
        return None
    left, right, top, bottom = max(drawn)[2]
    outside = _within_headings(blank)
    outside[top:bottom, left:right] = False
    if not outside.any() or blank[outside].mean() < _EMPTY:  # the outline is of a repeat, and the chart goes on
        return None
    outside[max(0, top - 1) : bottom + 1, max(0, left - 1) : right + 1] = False
    off = np.abs(pixels - np.float32(255) * usual.astype(np.float32))
    whole = _means(off, _insets(lattice.down, 0.15), _insets(lattice.across, 0.15))
    if outside.any() and (whole.max(axis=2)[outside] <= _BLANK).mean() < _EMPTY:  # as rings have blank middles
        return None
    return left, right, top, bottom


def _within_headings(blank: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Which cells do not lie in rows or columns at the ends that hold numbers or letters: (rows, columns)."""
    inside = np.ones_like(blank)
    for plane, seen in ((inside, blank), (inside.T, blank.T)):
        for way in (1, -1):
            headed = seen[::way][:_DEEPEST].mean(axis=1) < _PARTLY
            plane[::way][: int(np.argmin(np.append(headed, False)))] = False
    return inside


class _Heavy(NamedTuple):
    """Which pieces of the lines of one direction are heavy, of which that is known, and how much ink they have: (cells
    along, lines)."""

    strong: npt.NDArray[np.bool_]
    known: npt.NDArray[np.bool_]
    ink: Shares

    def likely(self) -> list[int]:
        """The lines that are heavy along a part."""
        shares = self.strong.sum(axis=0) / np.maximum(self.known.sum(axis=0), 1)
        lines: list[int] = np.flatnonzero(shares > _LIKELY).tolist()
        return sorted(sorted(lines, key=lambda line: -float(shares[line]))[:_MOST_LINES])

    def ends(self, line: int, first: int, last: int) -> bool:
        """Whether a line is heavy between two places and no longer beyond them, as bold lines and a page's edge are."""
        strong, known = self.strong[:, line], self.known[:, line]
        within = known[first:last].sum()
        if within < max(_FEWEST, _LEAST_SEEN * (last - first)) or strong[first:last].sum() < _DRAWN * within:
            return False
        beyond = np.ones(len(strong), dtype=np.bool_)
        beyond[max(0, first - 1) : last + 1] = False  # hands draw a little too far
        ink = self.ink[:, line]
        if not (known & beyond).any():
            return True
        most = float(np.percentile(ink[known & beyond], 100 * (1 - _BEYOND)))
        return most * _HEAVIER_THAN_BEYOND <= float(np.median(ink[first:last][known[first:last]]))


def _ink_along(plane: Pixels, axis: Axis, other: Axis, usual: Shares) -> Shares:
    """How much each piece of each line lacks of the usual blank colour, over its width and more than what is beside it:
    (cells along, lines)."""
    reach = max(2, round(float(axis.widths.max()) / 2) + 1, round(_WANDERS * axis.pitch_px))
    lines = []
    for line in axis.lines:
        middle = min(max(round(float(line)), 0), plane.shape[1] - 1)  # the last one may lie beyond the picture
        first, last = max(0, middle - reach), min(plane.shape[1], middle + reach + 1)
        strip = np.abs(plane[:, first:last] / 255.0 - usual).max(axis=2)
        pieces = np.stack([strip[min(begin, len(strip) - 1) : end].mean(axis=0) for begin, end in _insets(other, 0.2)])
        lines.append(np.clip(pieces - np.percentile(pieces, _BESIDE, axis=1)[:, None], 0, None).sum(axis=1))
    return np.stack(lines, axis=1)


def _insets(axis: Axis, share: float) -> list[tuple[int, int]]:
    """The middle part of each cell, without so much of it at both ends."""
    off = share * np.diff(axis.lines)
    begin, end = axis.lines[:-1] + off, axis.lines[1:] - off
    return [(max(0, round(a)), max(round(b), round(a) + 1)) for a, b in zip(begin.tolist(), end.tolist(), strict=True)]


def _means(
    pixels: Pixels | npt.NDArray[np.float32], rows: list[tuple[int, int]], columns: list[tuple[int, int]]
) -> Shares:
    strips = np.stack([pixels[top:bottom].mean(axis=0) for top, bottom in rows])
    return np.stack([strips[:, left:right].mean(axis=1) for left, right in columns], axis=1) / 255

"""From which line to which a grid goes: its outermost cells have lines around them. Knows how much is seen of each line
and cell, and no pixels.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np

from stitchc.trace.grid.combs import MOST_MISSED
from stitchc.trace.grid.edges import Profile

_OUTERMOST: Final = 0.64
"""How well the outermost cells of a ruled grid must be seen to have lines around them."""


def extent_of(
    seen_x: Profile, seen_y: Profile, core: tuple[int, int, int, int], inks: Profile | None
) -> tuple[int, int, int, int] | None:
    """Left, right, top and bottom line of the grid, by turns: the columns that its level lines cross, and so on.

    A column of numbers beside a grid may look like a line, but no level lines run through it.
    inks: of a ruled grid, the mean ink inside each cell, (cells down, cells across).
    """
    left, right, top, bottom = core
    for _ in range(6):
        before = left, right, top, bottom
        if right <= left or bottom <= top:
            return None
        if inks is not None:
            crossed, lines = seen_y[top : bottom + 1].mean(axis=0), seen_x[:, top:bottom].mean(axis=1)
            left, right = _cells_run(crossed, lines, inks[top:bottom].mean(axis=0), left, right)
            if right > left:
                crossed, lines = seen_x[left : right + 1].mean(axis=0), seen_y[:, left:right].mean(axis=1)
                top, bottom = _cells_run(crossed, lines, inks[:, left:right].mean(axis=1), top, bottom)
        else:
            left, right = _run(seen_x[:, top:bottom].mean(axis=1), left, right, 0.05, MOST_MISSED)
            if right > left:
                top, bottom = _run(seen_y[:, left:right].mean(axis=1), top, bottom, 0.05, MOST_MISSED)
        if (left, right, top, bottom) == before:
            break
    return (left, right, top, bottom) if right > left and bottom > top else None


def _run(shares: Profile, first: int, last: int, least: float, most_missed: int) -> tuple[int, int]:
    """The stretch about the one from first to last whose outermost members are seen well enough.

    Members inside may be unseen for a while: between equally dark cells there may be nothing to see.
    """
    good = np.flatnonzero(shares >= max(least, 0.02))
    if len(good) < 1:
        return 0, -1
    middle = (first + last) / 2
    stretches = np.split(good, np.flatnonzero(np.diff(good) > most_missed) + 1)
    holding = [part for part in stretches if part[0] <= middle <= part[-1]] or stretches
    longest = max(holding, key=lambda part: float(shares[part].sum()))
    return int(longest[0]), int(longest[-1])


_BARE: Final = 0.3
"""How much of the lines through light cells is seen where there are none: the grid ends there."""


def _cells_run(crossed: Profile, lines: Profile, inks: Profile, first: int, last: int) -> tuple[int, int]:
    """First and last line of the cells that have lines around them.

    crossed: for each cell, how well the lines that run through its ends are seen; lines: how well each line across is;
    inks: how dark each cell is inside.
    """
    typical = float(np.median(crossed[first:last]))
    bare = np.flatnonzero((crossed < _BARE * typical) & (inks < 0.35))
    if len(bare):  # a strip that stands a few cells away from the grid is none of it
        ends = np.concatenate([[-1], bare, [len(crossed)]])
        widest = int(np.argmax([min(end, last) - max(start + 1, first) for start, end in pairwise(ends.tolist())]))
        low, high = int(ends[widest]) + 1, int(ends[widest + 1])
        if high <= low:
            return 0, 0
        inner = max(first, low) - low, min(last, high) - low
        if inner[1] <= inner[0]:
            return 0, 0
        left, right = _shut_run(crossed[low:high], lines[low : high + 1], *inner)
        return left + low, right + low
    return _shut_run(crossed, lines, first, last)


_THROUGH: Final = 0.85


def _shut_run(crossed: Profile, lines: Profile, first: int, last: int) -> tuple[int, int]:
    left_shut = 0.35 * crossed + 0.65 * lines[:-1]
    right_shut = 0.35 * crossed + 0.65 * lines[1:]
    shut = np.maximum(left_shut, right_shut)
    least = min(_OUTERMOST, 0.75 * float(np.median(shut[first:last])))
    begin, end = _run(shut, first, last - 1, least, 2)
    # lines that run all through an outermost cell show that it is one, where its own outer line is faint or cut off
    through = crossed >= _THROUGH * float(np.median(crossed[first:last]))
    begins = np.flatnonzero((through | (left_shut >= least))[begin : end + 1])
    ends = np.flatnonzero((through | (right_shut >= least))[begin : end + 1])
    if not len(begins) or not len(ends):
        return 0, 0
    return begin + int(begins[0]), begin + int(ends[-1]) + 1

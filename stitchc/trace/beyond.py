"""What lies just beyond the grid that was found, which may be cells of the chart that it does not count.

Knows pixels and where cells lie.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.trace.field import Field
from stitchc.trace.grid import Axis, Side
from stitchc.trace.grid.lattice import Places

Looks = npt.NDArray[np.float32]
"""Cells as the colours of some of their pixels, 0 to 1: (cells, samples, 3)."""

_ROOM: Final = 0.8
"""The part of a cell that must lie in the picture for it to be looked at."""
_AWAY: Final = (0.5, 0.35, 0.65, 0.8)
"""How many cells beyond the outermost line the middle of a cell may lie: a line found at the wrong edge of a wide one
shifts it."""
_SAMPLES: Final = 0.6 * ((np.arange(9) + 0.5) / 9 - 0.5)
_UNLIKE_PAGE: Final = 0.2
_LIKE_CELL: Final = 0.1
_MUCH_MORE: Final = 0.4
"""A mark beyond the grid is so much nearer to one in the grid than to the page; numbers and letters are not."""
_MOST_COMPARED: Final = 400
_MOST_LOOKED_AT: Final = 4000
_ENOUGH: Final = 2


def sides_with_marks_beyond(field: Field) -> tuple[Side, ...]:
    """The sides of ruled lines just beyond which two marks or more look like those inside."""
    if field.lattice is None or not field.lattice.ruled:
        return ()
    across, down = field.lattice.across, field.lattice.down
    (xs, _), (ys, _) = across.insides(), down.insides()
    strips: dict[Side, list[Looks]] = {}
    for axis, size, names in ((across, field.pixels.shape[1], _LEVEL), (down, field.pixels.shape[0], _UPRIGHT)):
        for side, room, places in (
            (names[0], axis.start_px, [axis.start_px - away * axis.pitch_px for away in _AWAY]),
            (names[1], size - axis.end_px, [axis.end_px + away * axis.pitch_px for away in _AWAY]),
        ):
            if room >= _ROOM * axis.pitch_px:
                at = [np.array([place]) for place in places]
                strips[side] = [_looks(field, one, ys) if axis is across else _looks(field, xs, one) for one in at]
    inside = _looks(field, xs, ys[:: max(1, len(xs) * len(ys) // _MOST_LOOKED_AT)])
    if not strips:
        return ()
    page = np.median(np.concatenate([looks[0] for looks in strips.values()]).reshape(-1, 3), axis=0)
    marks = inside[_away(inside, page) > _UNLIKE_PAGE]
    marks = marks[:: max(1, len(marks) // _MOST_COMPARED)]
    if not len(marks):
        return ()
    return tuple(
        side for side, looks in strips.items() if max(_alike(strip, marks, page) for strip in looks) >= _ENOUGH
    )


_LEVEL: Final[tuple[Side, Side]] = ("left", "right")
_UPRIGHT: Final[tuple[Side, Side]] = ("top", "bottom")


def _looks(field: Field, xs: Places, ys: Places) -> Looks:
    """Cells with these middles."""
    assert field.lattice is not None
    across, down = (
        _pixels_at(axis, at, size)
        for axis, at, size in (
            (field.lattice.across, xs, field.pixels.shape[1]),
            (field.lattice.down, ys, field.pixels.shape[0]),
        )
    )
    seen = np.divide(field.pixels[np.ix_(down, across)], 255, dtype=np.float32)
    side = len(_SAMPLES)
    return seen.reshape(len(ys), side, len(xs), side, 3).swapaxes(1, 2).reshape(len(ys) * len(xs), side * side, 3)


def _pixels_at(axis: Axis, middles: Places, size: int) -> npt.NDArray[np.intp]:
    return np.clip(np.round(middles[:, None] + axis.pitch_px * _SAMPLES).ravel(), 0, size - 1).astype(np.intp)


def _away(looks: Looks, other: Looks) -> npt.NDArray[np.float32]:
    """Root-mean-square difference of each look from another one."""
    return np.asarray(np.sqrt(np.square(looks - other).mean(axis=(1, 2))))


def _alike(strip: Looks, marks: Looks, page: Looks) -> int:
    """How many cells of the strip are like a mark and unlike the page."""
    from_page = _away(strip, page)
    some = np.flatnonzero(from_page > _UNLIKE_PAGE)
    nearest = np.array([_away(marks, strip[at]).min() for at in some])
    return int((nearest < np.minimum(_LIKE_CELL, _MUCH_MORE * from_page[some])).sum())

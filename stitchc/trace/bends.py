"""How the lines of a page bend that does not lie flat, found by where the points on them gather. Knows no pixels."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

Places = npt.NDArray[np.float64]
Points = tuple[Places, Places, Places]
"""Where points on edges lie, each way from the middle, and a weight of each."""

_DEGREES: Final = (2, 3, 4, 5)
_CHANGING: Final = 2
"""The curves of which lines are made, as Legendre polynomials; how many of them change from line to line."""
_MOST: Final = 0.05
"""How far lines bend at most, of the picture's other side."""
_MORE_GATHERED: Final = 1.05
_PERHAPS_MORE: Final = 1.03
_FEWEST: Final = 30
_COARSE: Final = 3_000
_STEP_PX: Final = 4.0


class Bend(NamedTuple):
    """How the lines of one direction bend: one at p runs at p + offset + p * change, both sums of curves along it that
    neither shift nor turn it. offset: in px, of each curve; change: of the first of them."""

    offset: tuple[float, ...]
    change: tuple[float, ...]

    def place(self, p: Places, t: Places) -> Places:
        """Where the lines at p run, so far along them; t from -1 to 1."""
        curves = _curves(t)
        moved = np.tensordot(self.offset, curves, 1) + p * np.tensordot(self.change, curves[:_CHANGING], 1)
        return np.asarray(p + moved)

    def grown(self, times: float) -> Bend:
        """The same in a picture with so many times the pixels each way."""
        return Bend(tuple(times * part for part in self.offset), self.change)


class Bends(NamedTuple):
    """Bends of upright and of level lines. reach: from the middle of the picture to its ends, across and down."""

    upright: Bend | None
    level: Bend | None
    reach: tuple[float, float]

    def bent(self, p: Places, q: Places) -> tuple[Places, Places]:
        """Where places from the middle of the picture without bends lay, across and down."""
        x, y = p, q
        for _ in range(2):  # how far along a line a place lies changes as it is bent itself
            x, y = (
                p if self.upright is None else self.upright.place(p, y / self.reach[1]),
                q if self.level is None else self.level.place(q, x / self.reach[0]),
            )
        return x, y


def bend_of(points: Points, far: float) -> Bend | None:
    """How lines bend, if that gathers the points on them far better than straight lines do. points: where they lie
    across the lines, along them from -1 to 1, and their weights; far: half the picture's size across the lines."""
    if len(points[0]) < _FEWEST:
        return None

    def gathered(every: int, bin_px: float) -> Callable[[tuple[float, ...]], float]:
        place, along, weight = (part[::every] for part in points)
        curves = _curves(along)

        def score(key: tuple[float, ...]) -> float:
            lines = place - np.tensordot(key[: len(curves)], curves, 1)
            return heaped(lines / (1 + np.tensordot(key[len(curves) :], curves[:_CHANGING], 1)) / bin_px, weight)

        return score

    coarse = gathered(max(1, len(points[0]) // _COARSE), 3.0)
    medium = gathered(max(1, len(points[0]) // (3 * _COARSE)), 2.0)
    exact = gathered(1, 1.0)
    straight = (0.0,) * (len(_DEGREES) + _CHANGING)
    most = round(2 * far * _MOST / _STEP_PX)
    offsets = [_STEP_PX * count for count in range(-most, most + 1)]
    best = max(((first, second, *straight[2:]) for first in offsets for second in offsets), key=coarse)
    for scored, offset, change in ((coarse, 6.0, 0.02), (medium, 2.0, 6e-3), (exact, 0.7, 2e-3), (exact, 0.25, 7e-4)):
        if scored is exact and medium(best) < _PERHAPS_MORE * medium(straight):
            return None
        widths = (*(offset for _ in _DEGREES), *(change for _ in range(_CHANGING)))
        for _ in range(3):
            for at, width in enumerate(widths):
                ways = [(*best[:at], best[at] + width * count, *best[at + 1 :]) for count in (0, -1, 1, -2, 2)]
                best = max(ways, key=scored)
    if exact(best) < _MORE_GATHERED * exact(straight):
        return None
    return Bend(best[: len(_DEGREES)], best[len(_DEGREES) :])


def _curves(t: Places) -> Places:
    """The curves so far along a line: (curves, places)."""
    return np.stack([np.polynomial.Legendre.basis(degree)(t) for degree in _DEGREES])


def heaped(places: Places, weight: Places) -> float:
    """How much points gather in few places."""
    places = places - places.min()
    low = places.astype(np.intp)
    part = places - low
    size = int(low.max()) + 2
    heap = np.bincount(low, weight * (1 - part), size) + np.bincount(low + 1, weight * part, size)
    return float((heap * heap).sum())

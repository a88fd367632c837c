"""How a picture is turned and how far it leans, found by its edges, and the picture set straight.

All upright lines of a chart that was photographed from one side meet in a point, and all level ones in another. A
projection that moves both points to infinity makes the lines parallel, at right angles and even. Knows nothing of
cells.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.picture import Pixels, Plane
from stitchc.trace.slopes import Coarse

_Places = npt.NDArray[np.float64]
_Points = tuple[_Places, _Places, _Places]
"""x and y from the picture's middle, and a weight, of points on edges."""

MOST_LEANING: Final = 0.2
"""The slope of lines, anywhere in the picture, up to which it is set straight: 11 degrees."""
_FEWEST: Final = 60
_COARSE: Final = 3_000
_FINE: Final = 50_000
_LEAST_PX: Final = 0.45
"""How far a point must move for it to be worth the softness that comes with it."""


@dataclass(frozen=True, eq=False)
class Straight:
    """A picture set straight. to_given: the projection from it to the picture as given, 3 by 3; None for the same.

    turned_deg: clockwise, at the middle; leaning: whether lines were not parallel.
    """

    pixels: Pixels
    to_given: npt.NDArray[np.float64] | None
    turned_deg: float
    leaning: bool

    def given(self, x: float, y: float) -> tuple[float, float]:
        """Where a place of the straight picture lies in the picture as given."""
        if self.to_given is None:
            return x, y
        u, v, w = self.to_given @ (x, y, 1.0)
        return float(u / w), float(v / w)


def straightened(pixels: Pixels, plane: Plane, paper: tuple[int, int, int]) -> Straight:
    """The picture with its lines upright and level. plane: its ink; paper: what fills the corners."""
    height, width = plane.shape
    smaller = max(1, round(max(height, width) / 1400))
    upright, level = _edges(plane, smaller)
    if len(upright[0]) + len(level[0]) < _FEWEST:
        return Straight(pixels, None, 0.0, False)
    reach_y, reach_x = height / smaller / 2, width / smaller / 2
    a, b = _family(upright, reach_x, reach_y)
    c, d = _family((level[1], level[0], level[2]), reach_y, reach_x)
    b, d = b / smaller, d / smaller
    reach_x, reach_y = width / 2, height / 2
    moved = max((abs(a) + abs(b) * reach_x) * reach_y, (abs(c) + abs(d) * reach_y) * reach_x)
    if moved < _LEAST_PX:
        return Straight(pixels, None, 0.0, False)
    scale = 1 - a * c
    to_straight = np.array([[1, -a, 0], [-c, 1, 0], [(d - b * c) / scale, (b - a * d) / scale, 1]])
    leaning = max(abs(b), abs(d)) * reach_x * reach_y > 2.0
    degrees = float(np.degrees(np.arctan((c - a) / 2)))
    return _projected(pixels, to_straight, paper, degrees, leaning)


def _edges(plane: Plane, smaller: int) -> tuple[_Points, _Points]:
    """Points on upright and on level edges."""
    if smaller > 1:
        plane = plane[: plane.shape[0] // smaller * smaller, : plane.shape[1] // smaller * smaller]
        plane = plane.reshape(plane.shape[0] // smaller, smaller, -1, smaller).mean(axis=(1, 3))
    soft = ndimage.gaussian_filter(plane, 1.0)
    rise_x, rise_y = ndimage.sobel(soft, axis=1), ndimage.sobel(soft, axis=0)
    steep = np.hypot(rise_x, rise_y)
    floor = max(0.05, float(np.percentile(steep, 70)))
    random = np.random.default_rng(0)

    def points(strength: Plane, chosen: npt.NDArray[np.bool_]) -> _Points:
        y, x = np.nonzero(chosen)
        if len(x) > _FINE:
            some = random.choice(len(x), _FINE, replace=False)
            y, x = y[some], x[some]
        middle_y, middle_x = (plane.shape[0] - 1) / 2, (plane.shape[1] - 1) / 2
        # clipped low, since lines run through the whole chart and the edges of marks do not
        return x - middle_x, y - middle_y, np.minimum(strength[y, x], 0.4).astype(np.float64)

    return (
        points(np.abs(rise_x), (steep > floor) & (np.abs(rise_x) > 3 * np.abs(rise_y))),
        points(np.abs(rise_y), (steep > floor) & (np.abs(rise_y) > 3 * np.abs(rise_x))),
    )


_LEAST_SPREAD: Final = 0.2


def _family(points: _Points, reach: float, far: float) -> tuple[float, float]:
    """Slope at the middle, and change of slope a pixel, of lines x = p + (slope + change p) y through the points.

    Where the lines' places p gather into the fewest, the lines are found. reach, far: half the picture's size along
    and across.
    """
    if len(points[0]) < _FEWEST // 2:
        return 0.0, 0.0

    def gathered(some: tuple[_Places, ...], bin_px: float) -> Callable[[float, float], float]:
        x, y, weight = some
        top, bottom = float(y.min()), float(y.max())

        @cache
        def score(slope: float, change: float) -> float:
            if min(1 + change * top, 1 + change * bottom) < _LEAST_SPREAD:  # lines do not meet within the picture
                return 0.0
            place = x - slope * y
            if change:
                place /= 1 + change * y
            place /= bin_px
            place -= place.min()
            low = place.astype(np.intp)
            part = place - low
            size = int(low.max()) + 2
            heap = np.bincount(low, weight * (1 - part), size) + np.bincount(low + 1, weight * part, size)
            return float((heap * heap).sum())

        return score

    x, y, weight = (part[:: max(1, len(part) // _COARSE)] for part in points)
    coarse = Coarse(x, y, weight, 4.0)
    fine = max(0.004, 5.0 / far)
    slopes = np.arange(-MOST_LEANING, MOST_LEANING + fine / 2, fine).tolist()
    changes = (np.arange(-0.16, 0.161, 1.4 * fine) / reach).tolist()
    top, slope = max(zip(coarse.scores([0.0, *slopes], 0.0), [0.0, *slopes], strict=True), key=lambda pair: pair[0])
    best = slope, 0.0
    for change in changes:
        if min(1 + change * float(end) for end in (y.min(), y.max())) < _LEAST_SPREAD:
            continue
        for slope, score in zip(slopes, coarse.scores(slopes, change), strict=True):
            if score > 1.03 * top:
                best, top = (slope, change), score
    exact = gathered(points, 1.0)
    medium = gathered(tuple(part[:: max(1, len(part) // (3 * _COARSE))] for part in points), 2.0)
    step_slope, step_change = fine / 2, 0.7 * fine / reach
    for scored in (medium, medium, exact, exact):
        around = [
            (best[0] + i * step_slope, best[1] + j * step_change) for i in (-2, -1, 0, 1, 2) for j in (-2, -1, 0, 1, 2)
        ]
        best = max(around, key=lambda key: scored(*key) * (1 - 1e-9 * abs(key[1])))
        step_slope, step_change = step_slope / 2.5, step_change / 2.5
    # what is as good straight is straight
    if exact(0.0, 0.0) >= 0.995 * exact(*best):
        return 0.0, 0.0
    return best if exact(*best) > 1.01 * exact(best[0], 0.0) else (best[0], 0.0)


def _projected(
    pixels: Pixels, to_straight: npt.NDArray[np.float64], paper: tuple[int, int, int], degrees: float, leaning: bool
) -> Straight:
    """The picture projected, on a sheet large enough, the corners filled with paper."""
    from PIL import Image

    height, width = pixels.shape[:2]
    centred = np.array([[1, 0, -(width - 1) / 2], [0, 1, -(height - 1) / 2], [0, 0, 1.0]])
    corners = np.array([(0, 0, 1), (width - 1, 0, 1), (0, height - 1, 1), (width - 1, height - 1, 1.0)]).T
    there = to_straight @ centred @ corners
    if (there[2] < 0.3).any():
        return Straight(pixels, None, 0.0, False)
    xs, ys = there[0] / there[2], there[1] / there[2]
    new_width = min(2 * width, int(np.ceil(xs.max() - xs.min())) + 1)
    new_height = min(2 * height, int(np.ceil(ys.max() - ys.min())) + 1)
    placed = np.array([[1, 0, -xs.min()], [0, 1, -ys.min()], [0, 0, 1.0]]) @ to_straight @ centred
    back = np.linalg.inv(placed)
    back /= back[2, 2]
    # Pillow counts from pixels' corners, we from their middles
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
    way = half @ back @ np.linalg.inv(half)
    way /= way[2, 2]
    image = Image.fromarray(pixels).transform(
        (new_width, new_height),
        Image.Transform.PERSPECTIVE,
        way.ravel()[:8].tolist(),
        Image.Resampling.BICUBIC,
        fillcolor=paper,
    )
    return Straight(np.asarray(image), back, degrees, leaning)

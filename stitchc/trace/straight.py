"""How a picture is turned, how far it leans and how its page bends, found by its edges, and the picture set straight.

All upright lines of a chart that was photographed from one side meet in a point, and all level ones in another. A
projection that moves both points to infinity makes the lines parallel, at right angles and even. The lines of a page
that does not lie flat are curves after that, each a little unlike the next. Knows nothing of cells.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.bends import Bends, Places, Points, bend_of, heaped
from stitchc.trace.picture import Pixels, Plane, page_in
from stitchc.trace.slopes import Coarse

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

    turned_deg: clockwise, at the middle; leaning: whether lines were not parallel; bends: how lines that were curves
    ran about the middle before they were set straight, if any were.
    """

    pixels: Pixels
    to_given: npt.NDArray[np.float64] | None
    turned_deg: float
    leaning: bool
    bends: Bends | None = None
    middle: tuple[float, float] = (0.0, 0.0)

    def given(self, x: float, y: float) -> tuple[float, float]:
        """Where a place of the straight picture lies in the picture as given."""
        xs, ys = self.all_given(np.array([x]), np.array([y]))
        return float(xs[0]), float(ys[0])

    def all_given(self, xs: Places, ys: Places) -> tuple[Places, Places]:
        """The same of many places."""
        if self.bends is not None:
            x, y = self.bends.bent(xs - self.middle[0], ys - self.middle[1])
            xs, ys = x + self.middle[0], y + self.middle[1]
        if self.to_given is None:
            return xs, ys
        u, v, w = self.to_given @ np.stack([xs, ys, np.ones_like(xs)])
        return u / w, v / w


def straightened(pixels: Pixels, plane: Plane, paper: tuple[int, int, int], drawing: bool) -> Straight:
    """The picture with its lines upright and level. plane: its ink; paper: what fills the corners; drawing: whether it
    was drawn by a machine, and is neither a page that may not lie flat nor has a table around that."""
    height, width = plane.shape
    smaller = max(1, round(max(height, width) / 1400))
    upright, level = _edges(plane, smaller, not drawing)
    if len(upright[0]) + len(level[0]) < _FEWEST:
        return Straight(pixels, None, 0.0, False)
    reach_y, reach_x = height / smaller / 2, width / smaller / 2
    a, b = _family(upright, reach_x, reach_y, drawing)
    c, d = _family((level[1], level[0], level[2]), reach_y, reach_x, drawing)
    b, d = b / smaller, d / smaller
    reach_x, reach_y = width / 2, height / 2
    moved = max((abs(a) + abs(b) * reach_x) * reach_y, (abs(c) + abs(d) * reach_y) * reach_x)
    scale = 1 - a * c
    to_straight = np.array([[1, -a, 0], [-c, 1, 0], [(d - b * c) / scale, (b - a * d) / scale, 1]])
    bends = None if drawing else _bends(upright, level, to_straight, smaller, (reach_x, reach_y))
    if moved < _LEAST_PX and bends is None:
        return Straight(pixels, None, 0.0, False)
    leaning = max(abs(b), abs(d)) * reach_x * reach_y > 2.0
    degrees = float(np.degrees(np.arctan((c - a) / 2)))
    return _projected(pixels, to_straight, paper, degrees, leaning, bends)


def _bends(
    upright: Points, level: Points, to_straight: npt.NDArray[np.float64], smaller: int, reach: tuple[float, float]
) -> Bends | None:
    """How lines bend in the projected picture; None where they don't. upright, level: points on them in the picture
    made so many times smaller; reach: half the picture's size across and down."""
    found = []
    for points, along in ((upright, 1), (level, 0)):
        there = to_straight @ np.stack([points[0] * smaller, points[1] * smaller, np.ones(len(points[0]))])
        across, way = there[1 - along] / there[2], there[along] / there[2]
        bend = bend_of((across / smaller, way / reach[along], points[2]), reach[1 - along] / smaller)
        found.append(bend and bend.grown(smaller))
    return None if found == [None, None] else Bends(found[0], found[1], reach)


def _edges(plane: Plane, smaller: int, on_page: bool) -> tuple[Points, Points]:
    """Points on upright and on level edges. on_page: whether only those on the page count."""
    if smaller > 1:
        plane = plane[: plane.shape[0] // smaller * smaller, : plane.shape[1] // smaller * smaller]
        plane = plane.reshape(plane.shape[0] // smaller, smaller, -1, smaller).mean(axis=(1, 3))
    soft = ndimage.gaussian_filter(plane, 1.0)
    rise_x, rise_y = ndimage.sobel(soft, axis=1), ndimage.sobel(soft, axis=0)
    steep = np.hypot(rise_x, rise_y)
    floor = max(0.05, float(np.percentile(steep, 70)))
    page = page_in(soft) if on_page else None
    if page is not None:
        steep *= page
    random = np.random.default_rng(0)

    def points(strength: Plane, chosen: npt.NDArray[np.bool_]) -> Points:
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


_SHARP: Final = 4.0
"""How many times as much lines of a drawing gather where they are upright as where they lean a little, if they are."""


def _family(points: Points, reach: float, far: float, drawing: bool) -> tuple[float, float]:
    """Slope at the middle, and change of slope a pixel, of lines x = p + (slope + change p) y through the points.

    Where the lines' places p gather into the fewest, the lines are found. reach, far: half the picture's size along
    and across; drawing: whether lines may be as upright as they were drawn.
    """
    if len(points[0]) < _FEWEST // 2:
        return 0.0, 0.0

    def gathered(some: tuple[Places, ...], bin_px: float) -> Callable[[float, float], float]:
        x, y, weight = some
        top, bottom = float(y.min()), float(y.max())

        @cache
        def score(slope: float, change: float) -> float:
            if min(1 + change * top, 1 + change * bottom) < _LEAST_SPREAD:  # lines do not meet within the picture
                return 0.0
            place = x - slope * y
            if change:
                place /= 1 + change * y
            return heaped(place / bin_px, weight)

        return score

    exact, fine = gathered(points, 1.0), max(0.004, 5.0 / far)
    if drawing and exact(0.0, 0.0) > _SHARP * max(exact(-fine, 0.0), exact(fine, 0.0)):
        return 0.0, 0.0
    x, y, weight = (part[:: max(1, len(part) // _COARSE)] for part in points)
    coarse = Coarse(x, y, weight, 4.0)
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


_TILE_PX: Final = 24


def _projected(
    pixels: Pixels,
    to_straight: npt.NDArray[np.float64],
    paper: tuple[int, int, int],
    degrees: float,
    leaning: bool,
    bends: Bends | None,
) -> Straight:
    """The picture projected, on a sheet large enough, the corners filled with paper."""
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
    if bends is not None:
        straight = Straight(pixels, back, degrees, leaning, bends, (-float(xs.min()), -float(ys.min())))
        return replace(straight, pixels=_tiled(straight, (new_width, new_height), paper))
    return Straight(warped(pixels, back, (new_width, new_height), paper), back, degrees, leaning)


def warped(
    pixels: Pixels, to_given: npt.NDArray[np.float64], size: tuple[int, int], paper: tuple[int, int, int]
) -> Pixels:
    """A picture of that size whose every place shows what lies where the projection leads to; paper where nothing
    does."""
    from PIL import Image

    # Pillow counts from pixels' corners, we from their middles
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
    way = half @ to_given @ np.linalg.inv(half)
    way /= way[2, 2]
    image = Image.fromarray(pixels).transform(
        size, Image.Transform.PERSPECTIVE, way.ravel()[:8].tolist(), Image.Resampling.BICUBIC, fillcolor=paper
    )
    return np.asarray(image)


def _tiled(straight: Straight, size: tuple[int, int], paper: tuple[int, int, int]) -> Pixels:
    """The given picture, which the value still holds, set straight tile by tile."""
    from PIL import Image

    xs, ys = (np.unique(np.append(np.arange(0, end, _TILE_PX), end)) for end in size)
    across, down = (part - 0.5 for part in np.meshgrid(xs, ys))
    left, top = (part.reshape(across.shape) + 0.5 for part in straight.all_given(across.ravel(), down.ravel()))
    places = np.stack([left, top], axis=2)
    quads = np.concatenate([places[:-1, :-1], places[1:, :-1], places[1:, 1:], places[:-1, 1:]], axis=2)
    boxes = np.stack(np.broadcast_arrays(xs[None, :-1], ys[:-1, None], xs[None, 1:], ys[1:, None]), axis=2)
    mesh = [
        (tuple(box), tuple(quad))
        for box, quad in zip(boxes.reshape(-1, 4).tolist(), quads.reshape(-1, 8).tolist(), strict=True)
    ]
    image = Image.fromarray(straight.pixels)
    return np.asarray(image.transform(size, Image.Transform.MESH, mesh, Image.Resampling.BICUBIC, fillcolor=paper))

"""How far a picture is turned, found by its edges, and the picture set straight. Knows nothing of cells or lattices."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.picture import Pixels, Plane

_Places = npt.NDArray[np.float64]

MOST_TURNED_DEG: Final = 5.0
"""A picture turned farther than this is not set straight."""


def turned_by(plane: Plane) -> float:
    """By how many degrees the picture's lines are turned clockwise, from -5 to 5; 0 where none are found.

    Edges are thrown onto a line at each angle; where they fall into the fewest places, the picture is straight.
    """
    height, width = plane.shape
    smaller = max(1, round(max(height, width) / 1400))
    if smaller > 1:
        plane = plane[: height // smaller * smaller, : width // smaller * smaller]
        plane = plane.reshape(plane.shape[0] // smaller, smaller, -1, smaller).mean(axis=(1, 3))
    soft = ndimage.gaussian_filter(plane, 1.0)
    rise_x, rise_y = ndimage.sobel(soft, axis=1), ndimage.sobel(soft, axis=0)
    steep = np.hypot(rise_x, rise_y)
    floor = max(0.05, float(np.percentile(steep, 70)))
    upright = _points(np.abs(rise_x), (steep > floor) & (np.abs(rise_x) > 3 * np.abs(rise_y)))
    level = _points(np.abs(rise_y), (steep > floor) & (np.abs(rise_y) > 3 * np.abs(rise_x)))
    if len(upright[0]) + len(level[0]) < 60:
        return 0.0

    def gathered(degrees: float) -> float:
        sine, cosine = np.sin(np.radians(degrees)), np.cos(np.radians(degrees))
        total = 0.0
        for (x, y, weight), (a, b) in ((upright, (cosine, sine)), (level, (-sine, cosine))):
            if len(x):
                place = a * x + b * y
                low = np.floor(place - place.min()).astype(np.int64)
                part = (place - place.min()) - low
                heap = np.bincount(low, weight * (1 - part), low.max() + 2) + np.bincount(
                    low + 1, weight * part, low.max() + 2
                )
                total += float((heap * heap).sum())
        return total

    best, step = 0.0, 0.25
    angles = np.arange(-MOST_TURNED_DEG, MOST_TURNED_DEG + step / 2, step)
    while step > 0.004:
        scores = [gathered(float(angle)) for angle in angles]
        best = float(angles[int(np.argmax(scores))])
        step /= 5
        angles = best + np.arange(-6, 7) * step
    return best if abs(best) <= MOST_TURNED_DEG else 0.0


def _points(strength: Plane, chosen: npt.NDArray[np.bool_]) -> tuple[_Places, _Places, _Places]:
    y, x = np.nonzero(chosen)
    if len(x) > 60_000:
        some = np.random.default_rng(0).choice(len(x), 60_000, replace=False)
        x, y = x[some], y[some]
    return x.astype(np.float64), y.astype(np.float64), np.minimum(strength[y, x], 1.0).astype(np.float64)


def straightened(pixels: Pixels, degrees: float, paper: tuple[int, int, int]) -> Pixels:
    """The picture turned back by so many degrees, on a sheet large enough, the corners filled with paper."""
    from PIL import Image

    image = Image.fromarray(pixels)
    turned = image.rotate(degrees, resample=Image.Resampling.BICUBIC, expand=True, fillcolor=paper)
    return np.asarray(turned)


def in_the_original(
    x: float, y: float, degrees: float, turned_shape: tuple[int, ...], original_shape: tuple[int, ...]
) -> tuple[float, float]:
    """Where a point of the straightened picture lies in the picture as it was given."""
    sine, cosine = np.sin(np.radians(degrees)), np.cos(np.radians(degrees))
    dx, dy = x - turned_shape[1] / 2, y - turned_shape[0] / 2
    return (
        float(cosine * dx - sine * dy + original_shape[1] / 2),
        float(sine * dx + cosine * dy + original_shape[0] / 2),
    )

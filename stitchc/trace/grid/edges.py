"""What of a straight picture looks like lines: the height of its grain, its edges, and how much of them runs where a
line would. Knows ink and places; which lines belong to a grid is for others to say.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage

Plane = npt.NDArray[np.float32]
"""One value a pixel, shape (height, width): ink, from 0 for paper to 1 for black, or the strength of edges."""
Profile = npt.NDArray[np.float64]
"""How much of an edge runs along each column (or row) of pixels."""


def noise_of(plane: Plane) -> float:
    """The height of the grain: a robust standard deviation of each pixel against its neighbours' mean."""
    some = plane[: min(plane.shape[0], 1500), : min(plane.shape[1], 1500)]
    difference = some[1:, 1:] - some[:-1, :-1]
    return float(np.median(np.abs(difference))) / 0.6745 / 1.414


def edges_of(plane: Plane, axis: int, noise: float) -> tuple[Plane, float]:
    """Lines and edges across `axis`: steps from pixel to pixel, and pixels unlike those at both sides.

    Softened along the line, so that grain counts for little. Second, the strength from which an edge is surely none
    of the grain's.
    """
    along = 1 - axis
    size = 1 if noise < 0.002 else min(7, max(3, plane.shape[along] // 16))
    soft = ndimage.uniform_filter1d(plane, size, axis=along)
    padded = np.pad(soft, [(4, 4) if way == axis else (0, 0) for way in (0, 1)], mode="edge")

    def beside(offset: int) -> Plane:
        window = [slice(None), slice(None)]
        window[axis] = slice(4 + offset, padded.shape[axis] - 4 + offset)
        return np.asarray(padded[tuple(window)])

    found = np.abs(beside(0) - beside(-1))
    np.maximum(found, 0.7 * np.abs(beside(1) - beside(-1)), out=found)
    ridge = np.abs(soft - 0.5 * (beside(-2) + beside(2)))
    opposed = (soft - beside(-2)) * (soft - beside(2)) > 0
    np.maximum(found, np.where(opposed, ridge, 0), out=found)
    # a blurred line is as wide as this; only darker ones, since the middle of a small cell lies between its lines
    wide = soft - np.maximum(beside(-4), beside(4))
    np.maximum(found, 0.7 * wide, out=found)
    grain = noise / np.sqrt(size) * 1.4
    return found.astype(np.float32), max(0.03, 4.5 * grain)


def seen_along(edges: Plane, lines: npt.NDArray[np.floating]) -> npt.NDArray[np.floating]:
    """The edges along each line, (lines, pixels): the strongest within a small reach, lines being a little crooked.

    edges: the first axis is the one that the lines are numbered along.
    """
    reach = max(1, math.ceil(0.06 * float(lines[1] - lines[0]))) if len(lines) > 1 else 1
    size = len(edges)
    return np.stack(
        [
            edges[max(0, min(size - 1, round(place)) - reach) : max(1, round(place) + reach + 1)].max(axis=0)
            for place in lines.tolist()
        ]
    )


_PARTS: Final = (0.05, 0.20, 0.50, 0.80, 0.95)
ALL_OF_IT: Final = (0.05, 0.95)


def stretches(
    along: npt.NDArray[np.floating], crossings: npt.NDArray[np.floating], parts_of: tuple[float, ...] = _PARTS
) -> Profile:
    """What is seen along each stretch between two crossings, (lines, stretches): the least of its parts, since a line
    runs from end to end, and a mark stands in the middle."""
    total = np.concatenate([np.zeros((len(along), 1)), np.cumsum(along, axis=1, dtype=np.float64)], axis=1)
    step = float(crossings[1] - crossings[0])
    size = along.shape[1]
    cuts = [np.clip(np.round(crossings[:-1] + part * step).astype(int), 0, size) for part in parts_of]
    parts = []
    for first, last in pairwise(cuts):
        start = np.minimum(first, size - 1)
        end = np.maximum(last, start + 1)
        parts.append((total[:, end] - total[:, start]) / (end - start))
    return np.asarray(np.minimum.reduce(parts))

"""What of a picture looks like upright lines: ridges of every width up to half a cell, and steps between cells.

Knows ink and places; which lines belong to a grid is for others to say. Level lines are the upright ones of the
picture laid on its side.
"""

from __future__ import annotations

from functools import reduce
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage

Plane = npt.NDArray[np.float32]
"""Ink, from 0 for paper to 1 for black: shape (height, width)."""
Seen = npt.NDArray[np.uint8]
"""How clearly a line's middle lies at each pixel, of 255."""
Profile = npt.NDArray[np.float64]

WIDTHS_PX: Final = (1, 2, 3, 5, 8, 12, 18, 26)
"""Widths of lines that are looked for."""


def noise_of(plane: Plane) -> float:
    """The height of the grain: a robust standard deviation of each pixel against its neighbours."""
    some = plane[: min(plane.shape[0], 1500), : min(plane.shape[1], 1500)]
    difference = some[1:, 1:] - some[:-1, :-1]
    return float(np.median(np.abs(difference))) / 0.6745 / 1.414


class Evidence:
    """The upright lines of a plane. least: the strength, 0 to 1, from which a line is surely none of the grain's."""

    def __init__(self, plane: Plane, noise: float) -> None:
        self.plane = plane
        smooth = 1 if noise < 0.002 else 3
        self.least = max(0.03, 4.5 * noise / smooth**0.5)
        soft = ndimage.uniform_filter1d(plane, smooth, axis=0, mode="nearest") if smooth > 1 else plane
        self._total = np.zeros((plane.shape[0], plane.shape[1] + 1), dtype=np.float32)
        np.cumsum(soft, axis=1, out=self._total[:, 1:])
        self._ridged: list[Seen] = []
        self._seen: dict[int, Seen] = {}

    def _mean(self, low: int, high: int) -> Plane:
        """The mean ink from `low` to `high` (exclusive) pixels beside each pixel."""
        size = self.plane.shape[1]
        places = np.arange(size)
        first, last = np.clip(places + low, 0, size - 1), np.clip(places + high, 1, size)
        return np.asarray((self._total[:, last] - self._total[:, first]) / (last - first).astype(np.float32))

    @staticmethod
    def _as_seen(values: Plane, share: float = 1.0) -> Seen:
        return np.asarray(np.minimum(255, values * (255 * share)), dtype=np.uint8)

    def lines(self, pitch_px: float) -> Seen:
        """Ridges up to half as wide as the pitch, and half as strongly steps from cell to cell."""
        count = max(1, sum(width <= 0.52 * pitch_px for width in WIDTHS_PX))
        while len(self._ridged) < count:
            found = self._as_seen(self._ridges(WIDTHS_PX[len(self._ridged)]))
            self._ridged.append(np.maximum(self._ridged[-1], found) if self._ridged else found)
        if count not in self._seen:
            steps = self._as_seen(self._rises(WIDTHS_PX[count - 1]), 0.5)
            self._seen[count] = np.maximum(self._ridged[count - 1], steps)
        return self._seen[count]

    def _rises(self, width: int) -> Plane:
        """Where all of what lies at one side, to the middle of a cell, is darker than all of the other: beside a line
        it is light again."""
        far = max(4, round(1.5 * width) + 1)
        parts = sorted({1, 2, max(3, round(0.6 * far)), far})
        before = [self._mean(1 - last, 1 - first) for first, last in pairwise(parts)]
        after = [self._mean(first, last) for first, last in pairwise(parts)]
        up = reduce(np.minimum, after) - reduce(np.maximum, before)
        down = reduce(np.minimum, before) - reduce(np.maximum, after)
        return np.asarray(np.maximum(0, np.maximum(up, down)))

    def _ridges(self, width: int) -> Plane:
        """Middles all of which are darker, or lighter, than all of what lies beside them: a light cell between two dark
        lines is none, since behind the lines it is light again; nor is a wide strip with a thin line in it."""
        low = -(width // 2)
        high, half = low + width, max(1, round(0.35 * width))
        parts = [low, high] if width < 5 else [low, low + width // 3, high - width // 3, high]
        inside = [self._mean(first, last) for first, last in pairwise(parts)]
        # the pixel beside a line holds part of it
        beside = [self._mean(at, at + half) for at in (low - 1 - 2 * half, low - 1 - half, high + 1, high + 1 + half)]
        darker = reduce(np.minimum, inside) - reduce(np.maximum, beside)
        lighter = reduce(np.minimum, beside) - reduce(np.maximum, inside)
        return np.asarray(np.maximum(0, np.maximum(darker, lighter)))

    def profile(self, pitch_px: float, rows: slice) -> Profile:
        """How much of a line runs down each column of pixels within some rows; a faint line that runs through counts
        for more than a black spot."""
        most = self.least * 255
        return np.asarray(np.minimum(self.lines(pitch_px)[rows], most).mean(axis=0, dtype=np.float64) / most)


_PARTS: Final = (0.06, 0.28, 0.5, 0.72, 0.94)


def stretches(seen: Seen, lines: Profile, crossings: Profile, reach_px: float) -> npt.NDArray[np.float32]:
    """What is seen along each line between two crossings, (lines, stretches), 0 to 1: the least of its parts, since a
    line runs from end to end and a mark stands in the middle. Gaps of dots and dashes are closed before."""
    pitch = float(np.mean(np.diff(crossings)))
    size = seen.shape[0]
    gap = max(1, int(0.22 * pitch))
    strips = []
    for place in lines.tolist():
        low = min(max(0, round(place - reach_px)), seen.shape[1] - 1)
        strips.append(seen[:, low : max(low + 1, round(place + reach_px) + 1)].max(axis=1))
    along = np.stack(strips)
    along = ndimage.minimum_filter1d(ndimage.maximum_filter1d(along, gap, axis=1), gap, axis=1, origin=-1 + gap % 2)
    total = np.zeros((len(lines), size + 1))
    np.cumsum(along, axis=1, out=total[:, 1:])
    cuts = [np.clip(np.round(crossings[:-1] + part * np.diff(crossings)).astype(int), 0, size - 1) for part in _PARTS]
    parts = []
    for first, last in pairwise(cuts):
        last = np.maximum(last, first + 1)
        parts.append((total[:, last] - total[:, first]) / (last - first))
    return np.asarray(np.minimum.reduce(parts) / 255, dtype=np.float32)

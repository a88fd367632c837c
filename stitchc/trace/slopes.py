"""How well points on lines gather if the lines have one of many slopes, worked out for several slopes at a time."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

_AT_ONCE: Final = 40_000
"""Places that are worked on at a time: more do not stay in the processor's own memory."""

_Places = npt.NDArray[np.float64]


class Coarse(NamedTuple):
    """Some points on lines: x, y and a weight of each, and how wide the bins are in which they gather."""

    x: _Places
    y: _Places
    weight: _Places
    bin_px: float

    def scores(self, slopes: list[float], change: float) -> list[float]:
        """For each slope the sum of squares of what gathers in bins along y = 0. change: of the slope, a pixel."""
        spread = (1 + change * self.y) * self.bin_px
        x, y = self.x / spread, self.y / spread
        together = max(1, _AT_ONCE // len(x))
        found: list[float] = []
        for first in range(0, len(slopes), together):
            some = np.array(slopes[first : first + together])[:, None]
            place = x - some * y
            place -= place.min(axis=1, keepdims=True)
            low = place.astype(np.intp)
            upper = (place - low) * self.weight
            size = int(low.max()) + 2
            low += size * np.arange(len(some))[:, None]
            heap = np.bincount(low.ravel(), (self.weight - upper).ravel(), size * len(some))
            heap[1:] += np.bincount(low.ravel(), upper.ravel(), size * len(some))[:-1]
            heap = heap.reshape(len(some), size)
            found += np.einsum("ij,ij->i", heap, heap).tolist()
        return found

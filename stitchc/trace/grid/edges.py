"""What of a picture may be an edge of a cell: where its colour changes, upright and level, clear or soft.

Edges lie between pixels, so that there is one more of them along a row than there are pixels. Dark and light are the
same to them. Level edges are the upright ones of the picture laid on its side.
"""

from __future__ import annotations

from functools import cached_property, reduce
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.picture import Pixels, rim_of

Edges = npt.NDArray[np.uint8]
"""How clearly the colour changes between each pixel and the one before, of 255; the picture's ends are 0."""
Profile = npt.NDArray[np.float64]
Shares = npt.NDArray[np.float64]
Spans = npt.NDArray[np.intp]
"""The first pixel of each cell and the one after its last: (cells, 2)."""

_FAINTEST: Final = 5
_CLEAR: Final = 24
"""Steps of colour, of 255: up to the first there is none, from the sum of both on it is clear."""
_GRAINS: Final = 3.0
"""How many times the grain's spread a step of the grain hardly ever is."""
_ALONG: Final = 3
"""How many times as far as usual edges are smoothed along themselves so that faint ones are seen in grain."""


def grain_of(pixels: Pixels) -> float:
    """The spread of the grain, of 255: how much pixels differ from those beside them, at the median."""
    some = pixels[:1500, :1500, 1].astype(np.int16)
    return float(np.median(np.abs(some[1:, 1:] - some[:-1, :-1]))) / 0.6745 / 1.414


class Direction:
    """The edges of one direction. profile: their mean along each line of pixels, 0 to 1; steps: the same of how much
    the colour changes, so that faint seams count little."""

    def __init__(self, edges: Edges, steps: Profile) -> None:
        self.edges, self.steps = edges, steps
        self.profile: Profile = edges.mean(axis=0, dtype=np.float64) / 255

    @property
    def size(self) -> int:
        """Pixels across the lines."""
        return int(self.edges.shape[1]) - 1

    @cached_property
    def _by_place(self) -> Edges:
        """The edges with those of a line in one stretch of memory."""
        return np.ascontiguousarray(self.edges.T)

    def along(self, lines: list[tuple[int, int]], gap_px: int) -> Profile:
        """Of each line the clearest of its places (the last exclusive) at each pixel along it, without gaps up to so
        wide, summed from its beginning: (lines, pixels along them and one more)."""
        strips = np.stack([self._by_place[max(0, first) : last].max(axis=0) for first, last in lines])
        strips = ndimage.minimum_filter1d(ndimage.maximum_filter1d(strips, gap_px + 1), gap_px + 1)
        return np.pad(strips.cumsum(axis=1, dtype=np.float64) / 255, ((0, 0), (1, 0)))


class Sight:
    """A picture with its edges both ways and its colours summed from the upper left corner.

    reach: how many pixels an edge is wide: 1 in a picture that is as it was drawn, 2 where it is blurred or has grain,
    more where cells are filled with dots or hatching. faint: whether to look for lines that hardly stand out of grain.
    """

    def __init__(self, pixels: Pixels, reach: int, faint: bool = False) -> None:
        self.pixels, self.soft = pixels, reach > 1
        self.upright, self.level = (
            Direction(*(_soft_edges(plane, reach, faint) if self.soft else _clear_edges(plane)))
            for plane in (pixels, pixels.swapaxes(0, 1))
        )

    @cached_property
    def _total(self) -> npt.NDArray[np.uint32]:
        height, width = self.pixels.shape[:2]
        total = np.zeros((height + 1, width + 1, 3), dtype=np.uint32)
        np.cumsum(self.pixels, axis=0, dtype=np.uint32, out=total[1:, 1:])
        np.cumsum(total, axis=1, out=total)
        return total

    @cached_property
    def rim(self) -> tuple[Shares, Shares]:
        """The usual colour along the picture's own edges, and how far each pixel there is from it."""
        rim = rim_of(self.pixels).astype(np.float64)
        page = np.median(rim, axis=0)
        return page, np.abs(rim - page).max(axis=1)

    def means(self, across: tuple[Spans, Spans], down: tuple[Spans, Spans]) -> npt.NDArray[np.float32]:
        """The mean colours from first to last pixels (exclusive): (down, across, 3)."""
        (left, right), (top, bottom), total = across, down, self._total
        strips = total.take(bottom, axis=0) - total.take(top, axis=0)
        sums = strips.take(right, axis=1) - strips.take(left, axis=1)
        return np.divide(sums, np.outer(bottom - top, right - left)[..., None], dtype=np.float32)


def _clear_edges(pixels: Pixels) -> tuple[Edges, Profile]:
    """Edges between each pixel and the one to its left; of one that is smoothed over two pixels, the clearer half."""
    steps = np.diff(pixels.astype(np.int16), axis=1)
    red, green, blue = (steps[..., channel] for channel in range(3))
    clear, way = reduce(np.maximum, (np.abs(red), np.abs(green), np.abs(blue))), np.sign(red + green + blue)
    going_on = way[:, 1:] == way[:, :-1]
    first = clear[:, :-1] >= clear[:, 1:]
    kept = np.ones(clear.shape, dtype=np.bool_)
    kept[:, 1:] &= ~(going_on & first)
    kept[:, :-1] &= ~(going_on & ~first)
    return _as_edges((clear * kept).astype(np.float32), _FAINTEST, _CLEAR)


def _soft_edges(pixels: Pixels, reach: int, faint: bool) -> tuple[Edges, Profile]:
    """The same of steps over so many pixels, smoothed along the edge; only those that grain does not make."""
    height, width = pixels.shape[:2]
    smoothed = (reach + 1) * (_ALONG if faint else 1)
    steps = np.zeros((height, width - 1), dtype=np.float32)
    total = np.zeros((height, width + 1), dtype=np.float32)
    for channel in range(3):
        along = ndimage.uniform_filter1d(pixels[..., channel].astype(np.float32), smoothed, axis=0, mode="nearest")
        np.cumsum(along, axis=1, out=total[:, 1:])
        means = (total[:, reach:] - total[:, :-reach]) / reach
        found = steps[:, reach - 1 : width - reach]
        np.maximum(found, np.abs(means[:, reach:] - means[:, :-reach]), out=found)
    grain = float(np.median(steps[::3, ::3]))
    highest = ndimage.maximum_filter1d(steps, reach // 2 * 2 + 1, axis=1)
    faintest = max(_FAINTEST, _GRAINS * grain)
    return _as_edges(np.where(steps >= highest, steps, 0), faintest, max(12.0, faintest))


def _as_edges(steps: npt.NDArray[np.floating], faintest: float, clear: float) -> tuple[Edges, Profile]:
    found = np.zeros((steps.shape[0], steps.shape[1] + 2), dtype=np.uint8)
    found[:, 1:-1] = np.clip((steps - np.float32(faintest)) * np.float32(255 / clear), 0, 255)
    profile = np.zeros(steps.shape[1] + 2)
    profile[1:-1] = steps.mean(axis=0, dtype=np.float64)
    return found, profile

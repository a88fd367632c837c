"""Pictures that are exact: one pixel a cell, or one block of equal pixels a cell, without lines or smoothing."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import gcd
from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.trace.picture import Pixels, Plane, darkest

MOST_COLOURS: Final = 8
"""More colours than a chart has kinds of cells: then the picture is not an exact one."""
SMALL_PX: Final = 48
"""Up to this size, in pixels, a picture of few colours is taken for one without lines or margins."""
_CLEARLY_BLOCKS_PX: Final = 6
_LEAST_OBLONG_PX: Final = 4
"""Blocks narrower than this are squares: nobody draws oblong cells so small."""
_WIDEST: Final = 400
_HIGHEST: Final = 4000
"""Beds have up to 250 needles: a larger picture of single pixels is a drawing, unless the user says it is a chart."""


@dataclass(frozen=True)
class Blocks:
    """cells: one colour a cell, (rows, columns, 3), top row first. block_px: width and height of a cell.

    cut: whether the outermost marks had to be taken for the chart's edges, there being no lines around it.
    blank: whether blank cells all around were counted that may as well be a margin.
    """

    cells: Pixels
    block_px: tuple[float, float]
    left_px: int
    top_px: int
    cut: bool
    blank: bool = False


def colours_of(pixels: Pixels) -> npt.NDArray[np.uint32]:
    """Each pixel's colour as one number."""
    wide = pixels.astype(np.uint32)
    return np.asarray(wide[..., 0] << 16 | wide[..., 1] << 8 | wide[..., 2])


def blocks_of(pixels: Pixels, single: bool = False) -> Blocks | None:
    """The cells of an exact picture, or None for any other.

    single: take every pixel for a cell, whatever the size.
    """
    numbers = colours_of(pixels)
    if single:
        return Blocks(pixels, (1, 1), 0, 0, False)
    if len(np.unique(numbers[:: max(1, len(numbers) // 64)])) > MOST_COLOURS or len(np.unique(numbers)) > MOST_COLOURS:
        return None
    xs = np.flatnonzero((numbers[:, 1:] != numbers[:, :-1]).any(axis=0)) + 1
    ys = np.flatnonzero((numbers[1:] != numbers[:-1]).any(axis=1)) + 1
    if not len(xs) and not len(ys):
        return None
    height, width = numbers.shape
    across, down = _blocks(xs, width), _blocks(ys, height)
    # a direction without any change of colour has cells as wide as the other direction's, where those fit
    if not len(xs):
        across = (0, down[1], width) if width % down[1] == 0 else (0, width, width)
    if not len(ys):
        down = (0, across[1], height) if height % across[1] == 0 else (0, height, height)
    (left, step_x, right), (top, step_y, bottom) = across, down
    # Rows of a chart often come in equal pairs: small blocks that are no squares are cells that look alike.
    if not 0.3 < step_x / step_y < 3.4 or (step_x != step_y and min(step_x, step_y) < _LEAST_OBLONG_PX):
        step_x = step_y = gcd(step_x, step_y)
    columns, rows = (right - left) // step_x, (bottom - top) // step_y
    if min(step_x, step_y) < 3 and (columns > _WIDEST or rows > _HIGHEST):
        return None
    cells = pixels[top + step_y // 2 : bottom : step_y, left + step_x // 2 : right : step_x]
    cut = (left, top, right, bottom) != (0, 0, width, height)
    return Blocks(cells, (step_x, step_y), left, top, cut, min(step_x, step_y) >= 3 and _blank_around(cells))


def _blank_around(cells: Pixels) -> bool:
    """Whether the outermost cells on all sides are alike, and others are not."""
    rim = np.concatenate([cells[0], cells[-1], cells[:, 0], cells[:, -1]])
    return min(cells.shape[:2]) > 2 and bool((rim == rim[0]).all()) and not bool((cells == rim[0]).all())


def _blocks(changes: npt.NDArray[np.intp], size: int) -> tuple[int, int, int]:
    """Start, step and end of the cells, from the places where colours change."""
    if not len(changes):
        return 0, size, size
    step = 0
    for change in changes.tolist():
        step = gcd(step, change)
    step = gcd(step, size)
    # blocks in the middle of a page: their size divides the distances between changes, but not the margins
    inner = 0
    for change in np.diff(changes).tolist():
        inner = gcd(inner, change)
    if inner >= _CLEARLY_BLOCKS_PX and inner > step and size > SMALL_PX:
        return int(changes[0]), inner, int(changes[-1])
    if step >= 3 or len(changes) < 2:
        return 0, step, size
    if inner >= 4 and inner > 2 * step:
        return int(changes[0]), inner, int(changes[-1])
    return 0, step, size


_SAME: Final = 0.045
"""How far the picture may be from its cells enlarged again: root mean square, of the whole range of its colours."""
_SMOOTHLY: Final = 0.2
"""How much of the steps must lie at one phase where each is spread over a cell."""
_AS_WELL: Final = 2.0
"""How many times as far off wider cells may be as those that fit best."""
_LEAST_ENLARGED_PX: Final = 3.5


def enlarged(pixels: Pixels, cells: tuple[int, int] | None = None) -> Blocks | None:
    """The cells of a picture of one pixel a cell that was made larger smoothly, or None for any other: the cells'
    middles, made as large again in the same way, must give the picture. Finer cells do so as well, so the widest win.

    cells: how many the user says there are across and down.
    """
    from stitchc.trace.grid import even_pitches

    height, width = pixels.shape[:2]
    span = float(np.ptp(pixels.astype(np.int16), axis=(0, 1)).max())
    if span < 40:
        return None
    counts = []
    for at, across in enumerate((pixels, pixels.swapaxes(0, 1))):
        plane = np.ascontiguousarray(across[:: max(1, len(across) // 100)])
        size = across.shape[1]
        shade = darkest(plane).astype(np.float32) / 255
        changes = (np.square(np.diff(shade, order, axis=1)).sum(axis=0, dtype=np.float64) for order in (1, 2))
        likely = (pitch for change in changes for pitch, _ in even_pitches(change, _SMOOTHLY)[:12])
        tried = [cells[at]] if cells else list(dict.fromkeys(round(size / pitch) for pitch in likely))
        off = {
            count: _off(plane, (count, len(plane)), 2 * _SAME * span)
            for count in tried
            if size / count >= _LEAST_ENLARGED_PX and count > 1
        }
        most = min(2 * _SAME * span, _AS_WELL * min(off.values(), default=0.0) + 1)
        counts.append(sorted(count for count, gap in off.items() if gap < most))
    for columns in counts[0]:
        for rows in counts[1]:
            shapely = 0.3 < width / columns * rows / height < 3.4
            if shapely and _off(pixels, (columns, rows), _SAME * span) < _SAME * span:
                return Blocks(_middles(pixels, columns, rows), (width / columns, height / rows), 0, 0, False)
    return None


def _middles(pixels: Pixels, columns: int, rows: int) -> Pixels:
    height, width = pixels.shape[:2]
    xs = ((np.arange(columns) + 0.5) * width / columns).astype(int)
    return pixels[np.ix_(((np.arange(rows) + 0.5) * height / rows).astype(int), xs)]


_STRIPS: Final = 12


def _off(pixels: Pixels, cells: tuple[int, int], most: float) -> float:
    """How far the picture is from the middles of so many cells enlarged in the way that fits best: of 255; inf where
    it is as far as `most` or farther. Of lines that are enlarged each by itself some tell that, from the middle on."""
    from PIL import Image

    (height, width), (columns, rows) = pixels.shape[:2], cells
    small = Image.fromarray(_middles(pixels, *cells))
    ends = np.linspace(0, height, (min(_STRIPS, height) if rows == height else 1) + 1).astype(int).tolist()
    strips = sorted(pairwise(ends), key=lambda strip: abs(strip[0] + strip[1] - height))
    bound = most * most * pixels.size
    least = np.inf
    for way in (Image.Resampling.BICUBIC, Image.Resampling.BILINEAR, Image.Resampling.LANCZOS):
        total = 0.0
        for first, last in strips:
            box = 0, first * rows // height, columns, last * rows // height
            again = np.asarray(small.resize((width, last - first), way, box))
            gap = np.subtract(again, pixels[first:last], dtype=np.float32).ravel()
            total += float(np.einsum("i,i->", gap, gap))
            if total >= min(least, bound):
                break
        else:
            least = total
    return float(np.sqrt(least / pixels.size))


_THICKEST: Final = 0.3
_HALF: Final = 0.5
"""The part of the picture along which something that is ruled runs without a break."""


def looks_ruled(plane: Plane) -> bool:
    """Whether thin straight lines at an even distance run both ways through half the picture or more."""
    return _thin_lines(plane) and _thin_lines(plane.T)


def _thin_lines(plane: Plane) -> bool:
    dark = plane >= 0.12
    longest = np.zeros(plane.shape[1], dtype=np.int64)
    run = np.zeros_like(longest)
    for line in dark:
        run = (run + 1) * line
        np.maximum(longest, run, out=longest)
    steps = np.diff(np.concatenate([[0], (longest >= _HALF * plane.shape[0]).astype(np.int8), [0]]))
    starts, ends = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)
    if len(starts) < 3:
        return False
    gaps = np.diff((starts + ends - 1) / 2)
    pitch = float(np.median(gaps))
    even = np.abs(gaps / pitch - np.round(gaps / pitch)) <= max(1.0, 0.03 * pitch) / pitch
    return pitch >= 6 and float(np.median(ends - starts)) <= _THICKEST * pitch and bool(even.all())

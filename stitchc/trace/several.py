"""Other charts in a picture: parts of a lattice between which no lines run, and lattices beside the one that was found.

Knows straight pixels and where cells lie; what to do about it is decided elsewhere.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.cells import sampled
from stitchc.trace.grid import Axis, Lattice, find_cells, grain_of
from stitchc.trace.kinds import kinds_of
from stitchc.trace.picture import Pixels, rim_of

Box = tuple[float, float, float, float]
"""Left, top, right and bottom, in px."""

_LIKE_PAGE: Final = 12
_GRAINS: Final = 4.0
"""How far the page may be from its own colour, of 255, and how much more in terms of its grain."""
_SAME_PAGE: Final = 3
_LEAST_OF_LINES: Final = 0.5
"""The part of how far lines are from the page at which they are seen."""
_CROSSED: Final = 0.25
"""The part of the lines that are seen in a row of cells through which they run, at least."""
_DOTTED: Final = 0.15
"""The part of a dotted line that is drawn, at least."""
_LEAST_CELLS: Final = 3
_ROOM_PX: Final = 24
"""The least size of what may hold another chart, and of the edges that run through it."""
_DASH_PX: Final = 5
_AROUND_PX: Final = 6
_MOST_KINDS: Final = 8
"""Kinds of cells that a chart may have."""


def charts_in(pixels: Pixels, lattice: Lattice, cells: tuple[int, int] | None, grainy: bool) -> tuple[Box, ...]:
    """Where the charts of the picture lie, if there are two or more; from the upper left on.

    cells: how many the user says there are across and down; others beside the lattice are then passed over.
    """
    page = np.median(rim_of(pixels), axis=0).astype(np.int16)
    most = _LIKE_PAGE + _GRAINS * grain_of(pixels)
    height, width = pixels.shape[:2]
    margins = (
        lattice.across.start_px,
        lattice.down.start_px,
        width - lattice.across.end_px,
        height - lattice.down.end_px,
    )
    if max(margins) < lattice.pitch_px / 2:
        return ()  # nobody knows what colour the page has
    most = min(most, _LEAST_OF_LINES * _contrast(pixels, lattice, page))
    wide = _parts(pixels, lattice.across, lattice.down, page, most)
    high = _parts(pixels.swapaxes(0, 1), lattice.down, lattice.across, page, most)
    if len(wide) > 1:
        regions = [(left, 0, right, height) for left, right in _between(wide, width)]
        return tuple(_box_in(pixels, region, cells, grainy) or region for region in regions)
    if len(high) > 1:
        regions = [(0, top, width, bottom) for top, bottom in _between(high, height)]
        return tuple(_box_in(pixels, region, cells, grainy) or region for region in regions)
    (left, right), (top, bottom) = wide[0], high[0]
    beside = [(round(right) + 3, 0, width, height), (0, round(bottom) + 3, width, height)]
    boxes = []
    for region in (*beside, (0, 0, round(left) - 2, height), (0, 0, width, round(top) - 2)):
        x0, y0, x1, y1 = region
        if min(x1 - x0, y1 - y0) < _ROOM_PX:
            continue
        part = pixels[y0:y1, x0:x1, 1].astype(np.int16)
        boxes += [_box_in(pixels, region, cells, grainy) if _lined(part, most) and _lined(part.T, most) else None]
    found: list[Box] = [(left, top, right, bottom)]
    for box in sorted((box for box in boxes if box is not None), key=_area, reverse=True):
        if not any(_overlap(box, other) for other in found):  # else it is a part of that one
            found.append(box)
    return tuple(sorted(found, key=lambda box: box[0] + box[1])) if len(found) > 1 else ()


def _contrast(pixels: Pixels, lattice: Lattice, page: npt.NDArray[np.int16]) -> float:
    """How far the colours where lines cross are from the page's, of 255; between two charts they do not cross."""
    height, width = pixels.shape[:2]
    rows = np.clip(np.round(lattice.down.lines).astype(np.intp), 0, height - 1)
    columns = np.clip(np.round(lattice.across.lines).astype(np.intp), 0, width - 1)
    away = np.abs(pixels[np.ix_(rows, columns)] - page).max(axis=2)
    return float(np.percentile(away[away > _SAME_PAGE], 40)) if (away > _SAME_PAGE).any() else 255.0


def _area(box: Box) -> float:
    return (box[2] - box[0]) * (box[3] - box[1])


def _between(parts: list[tuple[float, float]], size: int) -> list[tuple[int, int]]:
    """The parts with half of what lies between them, and to the picture's ends."""
    middles = [round((one[1] + other[0]) / 2) for one, other in pairwise(parts)]
    return list(pairwise([0, *middles, size]))


def _box_in(
    pixels: Pixels, region: tuple[int, int, int, int], cells: tuple[int, int] | None, grainy: bool
) -> Box | None:
    """Where the lattice lies that is ruled in a region of the picture; None where there is none."""
    left, top, right, bottom = region
    found = find_cells(pixels[top:bottom, left:right], cells, grainy, unlined=False)
    if found is None or not found.ruled:
        return None
    across, down = found.across, found.down
    box = left + across.start_px, top + down.start_px, left + across.end_px, top + down.end_px
    # lines of a text may look like a chart as long as others are seen around them
    x0, y0 = (max(0, round(place) - _AROUND_PX) for place in box[:2])
    alone = pixels[y0 : round(box[3]) + _AROUND_PX, x0 : round(box[2]) + _AROUND_PX]
    again = find_cells(alone, cells, grainy, unlined=False)
    if again is None or again.size != found.size or len(kinds_of(sampled(alone, again)).kinds) > _MOST_KINDS:
        return None
    return box


def _lined(plane: npt.NDArray[np.int16], most: float) -> bool:
    """Whether upright edges longer than letters are in so many places as the lines of a few cells."""
    edges = (np.abs(np.diff(plane, axis=1)) > most / 2).astype(np.uint8)
    whole = ndimage.minimum_filter1d(ndimage.maximum_filter1d(edges, _DASH_PX, axis=0), _ROOM_PX, axis=0)
    return int(whole.any(axis=0).sum()) > _LEAST_CELLS


def _overlap(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _parts(
    pixels: Pixels, along: Axis, crossing: Axis, page: npt.NDArray[np.int16], most: float
) -> list[tuple[float, float]]:
    """Begin and end of each stretch of cells along one direction between which only the page is seen, without even the
    lines that cross it; all of it where there are no two."""
    whole = [(along.start_px, along.end_px)]
    top, bottom = max(0, round(crossing.start_px) - 2), round(crossing.end_px) + 3
    places = np.clip(np.round(crossing.lines).astype(np.intp) - top, 2, max(2, bottom - top - 3))
    drawn, crossed = [], []
    for first, last in pairwise(along.lines.tolist()):
        begin = round(first + 0.3 * (last - first))
        strip = pixels[top:bottom, begin : max(begin + 1, round(last - 0.3 * (last - first)))]
        if not strip.size:
            return whole
        away = (np.abs(strip - page).max(axis=2) > most).mean(axis=1) > _DOTTED
        near = np.stack([away[np.clip(places + step, 0, len(away) - 1)] for step in (-2, -1, 0, 1, 2)]).any(axis=0)
        drawn.append(float(away.mean()))
        crossed.append(float(near.mean()))
    empty = (np.array(crossed) < _CROSSED) & (np.array(drawn) < _CROSSED / 2)
    steps = np.flatnonzero(np.diff(np.concatenate([[1], empty, [1]]).astype(np.int8)))
    parts = [(first, last) for first, last in steps.reshape(-1, 2).tolist() if last - first >= _LEAST_CELLS]
    if len(parts) < 2 or empty.mean() > 0.5:
        return whole
    return [(float(along.lines[first]), float(along.lines[last])) for first, last in parts]

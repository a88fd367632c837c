"""Marks without lines, one in each cell, found one by one: each stands beside the next as the others do.

Whatever else is on the page, as titles and numbers, does not; and the page may be turned or seen from one side.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.grid.chains import LEAST_CELLS, LEAST_PITCH_PX
from stitchc.trace.grid.evenly import FEWEST, OBLONG, Ink, off_page
from stitchc.trace.grid.judging import richest
from stitchc.trace.picture import Pixels, median_colour, rim_of

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

Places = npt.NDArray[np.float64]
"""x and y of each mark, or its column and row."""
Projection = npt.NDArray[np.float64]

_MOST_MARKS: Final = 12_000
_LARGEST: Final = 0.12
"""How long a mark is at most, of the picture: frames and lines are longer."""
_CLOSED_PX: Final = (1, 3, 5)
"""Gaps within marks that are closed, one after the other."""
_ASIDE: Final = 0.3
"""How far the next mark stands aside at most, of how far it is away."""
_SAME: Final = 0.08
_NEAR: Final = 0.25
"""How unlike two distances are that are the same, and how far a mark is from where it should be, of them."""
_LIKELIEST: Final = 3
_SPARSE: Final = 40
"""Cells for each mark on the page from which they are none of a chart."""
_UNMARKED: Final = 1000.0
"""What a cell without a mark speaks against a chart, where one with a mark speaks for it by 1."""


class Rows(NamedTuple):
    """Cells in which marks stand. to_given: from column and row, whose middles are whole numbers, to the picture, 3 by
    3; size: columns and rows, from 0; room: the part of a cell's width and height that its mark takes."""

    to_given: Projection
    size: tuple[int, int]
    room: tuple[float, float]


def marks_in_rows(pixels: Pixels, grainy: bool, cells: tuple[int, int] | None) -> Rows | None:
    """The largest rectangle of cells in each of which a mark stands, or that of so many; None where there is none."""
    seen = pixels if not grainy else np.asarray(ndimage.gaussian_filter(pixels, (0.8, 0.8, 0)))
    best: Rows | None = None
    for page in median_colour(rim_of(seen)), median_colour(seen):
        ink = off_page(seen, page)
        for closed_px in _CLOSED_PX:
            around = np.ones((closed_px, closed_px), dtype=np.bool_)
            marks = _marks(ink if closed_px == 1 else ndimage.binary_closing(ink, around))
            for right in _steps(marks, 0):
                for down in _steps(marks, 1):
                    found = _rows(marks, ink, (right, down), cells)
                    if found is not None and (best is None or math.prod(found.size) > math.prod(best.size)):
                        best = found
    return best


class _Marks(NamedTuple):
    """What may be marks: where their middles are, how wide and high they are, and which are near a place."""

    places: Places
    sizes: Places
    tree: cKDTree


def _marks(ink: Ink) -> _Marks:
    """All that may be marks in the picture."""
    from scipy.spatial import cKDTree  # which takes a while to load, and most charts have lines

    labels, _ = ndimage.label(ink, np.ones((3, 3)))
    parts = ndimage.find_objects(labels)
    boxes = np.array([(a.start, a.stop, b.start, b.stop) for a, b in parts], dtype=np.float64).reshape(-1, 4)
    small = np.maximum(boxes[:, 1] - boxes[:, 0], boxes[:, 3] - boxes[:, 2]) <= _LARGEST * max(ink.shape)
    boxes = boxes[small]
    boxes = boxes[: len(boxes) if len(boxes) <= _MOST_MARKS else 0]
    places = np.stack([(boxes[:, 2] + boxes[:, 3] - 1) / 2, (boxes[:, 0] + boxes[:, 1] - 1) / 2], axis=1)
    sizes = np.stack([boxes[:, 3] - boxes[:, 2], boxes[:, 1] - boxes[:, 0]], axis=1)
    return _Marks(places, sizes, cKDTree(places))


def _steps(marks: _Marks, along: int) -> list[Places]:
    """The likeliest ways from a mark to the next in one direction, of those that are frequent."""
    places = marks.places
    if len(places) < FEWEST:
        return []
    off, near = marks.tree.query(places, min(12, len(places)))
    ways = places[near] - places[:, None]
    ahead = (ways[..., along] >= LEAST_PITCH_PX) & (np.abs(ways[..., 1 - along]) <= _ASIDE * ways[..., along])
    nearest = np.where(ahead, off, np.inf).argmin(axis=1)
    some = ways[np.arange(len(ways)), nearest][ahead.any(axis=1)]
    steps: list[Places] = []
    while len(some) >= FEWEST / 2 and len(steps) < _LIKELIEST:
        lengths = np.sort(some[:, along])
        alike = np.asarray(np.searchsorted(lengths, lengths * (1 + 2 * _SAME))) - np.arange(len(lengths))
        length = lengths[int(alike.argmax())] * (1 + _SAME)
        same = np.abs(some[:, along] - length) <= 1.5 * _SAME * length
        steps.append(np.median(some[same], axis=0))
        some = some[~same]
    return steps


def _rows(marks: _Marks, ink: Ink, steps: tuple[Places, Places], given: tuple[int, int] | None) -> Rows | None:
    """The largest rectangle of cells with a mark in each, that lie one step across and one down from each other, or
    that of so many."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import breadth_first_order, connected_components

    (places, sizes, tree), (right, down) = marks, steps
    if not 1 / OBLONG < right[0] / down[1] < OBLONG:
        return None
    pairs, ways = [], []
    for number, step in enumerate(steps):
        off, near = tree.query(places + step, distance_upper_bound=_NEAR * float(np.hypot(*step)))
        one = np.flatnonzero(np.isfinite(off))
        pairs.append(np.stack([one, np.asarray(near)[one]], axis=1))
        ways.append(np.full(len(one), number))
    linked, way = np.concatenate(pairs), np.concatenate(ways)
    if len(linked) < FEWEST:
        return None
    both = np.concatenate([linked, linked[:, ::-1]])
    signs = np.concatenate([np.where(way == 0, 1, 2), np.where(way == 0, -1, -2)])
    graph = coo_array((signs, (both[:, 0], both[:, 1])), (len(places), len(places))).tocsr()
    _, group = connected_components(graph, directed=False)
    largest = np.flatnonzero(group == np.bincount(group).argmax())
    if len(largest) < FEWEST:
        return None
    numbers = np.zeros((len(places), 2))
    order, before = breadth_first_order(graph, int(largest[0]), directed=True)
    step_to = graph[before[order[1:]], order[1:]]
    for mark, sign in zip(order[1:].tolist(), np.asarray(step_to).ravel().tolist(), strict=True):
        numbers[mark] = numbers[before[mark]]
        numbers[mark, 0 if abs(sign) == 1 else 1] += math.copysign(1, sign)
    projection = _fitted(numbers[order], places[order])
    if projection is None:
        return None
    there = _through(np.asarray(np.linalg.inv(projection), dtype=np.float64), places)
    cells = np.round(there)
    aside = np.abs(there - cells).max(axis=1)
    inside = (aside <= _most_aside(aside[order])) & (np.abs(cells) < len(places)).all(axis=1)
    if not inside.any():
        return None
    first = cells[inside].min(axis=0)
    columns, rows = (cells[inside].max(axis=0) - first + 1).astype(int).tolist()
    if columns * rows > _SPARSE * len(places):
        return None
    marked = np.zeros((rows, columns), dtype=np.bool_)
    column, row = (cells[inside] - first).astype(np.intp).T
    marked[row, column] = True
    worth = np.where(marked, 1.0, np.where(_inked(ink, projection, first, (columns, rows)), -1.0, -_UNMARKED))
    total, (left, right_end, top, bottom) = richest(worth, given)
    size = right_end - left, bottom - top
    if total < FEWEST or min(size) < LEAST_CELLS or total < _NEARLY_ALL * math.prod(size):
        return None
    corner = first + np.array([left, top])
    ours = inside & (cells >= corner).all(axis=1) & (cells < corner + size).all(axis=1)
    pitch = np.array([np.hypot(*right), np.hypot(*down)])
    taken = np.percentile(sizes[ours] / pitch + 2 * np.abs(there - cells)[ours], _MOST_TAKE, axis=0)
    room_x, room_y = np.clip(_AROUND + taken, _LEAST_ROOM, _MOST_ROOM).tolist()
    moved = np.array([[1, 0, corner[0]], [0, 1, corner[1]], [0, 0, 1.0]])
    return Rows(projection @ moved, size, (room_x, room_y))


_MOST_TAKE: Final = 95
_AROUND: Final = 0.08
_LEAST_ROOM, _MOST_ROOM = 0.5, 0.96
"""How much of a cell nearly all marks take, and how much around them is looked at."""
_NEARLY_ALL: Final = 0.9
"""The least part of the cells in which a mark was seen that stands for itself."""


def _most_aside(aside: Places) -> float:
    """How far a mark may stand off its place, of a cell, where the others stand so far off theirs."""
    return min(_NEAR, max(_LEAST_ASIDE, _TIMES_ASIDE * float(np.median(aside))))


_LEAST_ASIDE, _TIMES_ASIDE = 0.18, 3.0


def _fitted(cells: Places, places: Places) -> Projection | None:
    """The projection from cells to places that fits most of these; None where they do not fit."""
    kept = np.ones(len(cells), dtype=np.bool_)
    for _ in range(3):
        if kept.sum() < FEWEST:
            return None
        projection = _projection(cells[kept], places[kept])
        if projection is None:
            return None
        pitch = float(
            np.hypot(*(_through(projection, cells[kept] + [1, 0]) - _through(projection, cells[kept])).T).min()
        )
        kept = np.hypot(*(_through(projection, cells) - places).T) <= _NEAR * pitch
    return projection if kept.mean() >= _FITTING else None


_FITTING: Final = 0.7


def _projection(cells: Places, places: Places) -> Projection | None:
    """The projection that leads from one to the other, by the direct linear transformation."""
    ways = []
    for points in (cells, places):
        middle, spread = points.mean(axis=0), max(float(points.std()), 1e-6)
        ways.append(np.array([[1 / spread, 0, -middle[0] / spread], [0, 1 / spread, -middle[1] / spread], [0, 0, 1]]))
    (x, y), (u, v) = (_through(way, points).T for way, points in zip(ways, (cells, places), strict=True))
    one, none = np.ones_like(x), np.zeros_like(x)
    rows = np.concatenate(
        [
            np.stack([x, y, one, none, none, none, -u * x, -u * y], axis=1),
            np.stack([none, none, none, x, y, one, -v * x, -v * y], axis=1),
        ]
    )
    found = np.linalg.lstsq(rows, np.concatenate([u, v]), rcond=None)[0]
    projection = np.linalg.inv(ways[1]) @ np.append(found, 1.0).reshape(3, 3) @ ways[0]
    if abs(np.linalg.det(projection)) < 1e-9 or abs(projection[2, 2]) < 1e-9:
        return None
    return np.asarray(projection / projection[2, 2])


def _through(projection: Projection, points: Places) -> Places:
    u, v, w = projection @ np.column_stack([points, np.ones(len(points))]).T
    w = np.where(np.abs(w) < 1e-9, 1e-9, w)
    return np.stack([u / w, v / w], axis=1)


def _inked(ink: Ink, projection: Projection, first: Places, size: tuple[int, int]) -> Ink:
    """Whether there is ink about the middle of each cell: marks that touch are one. (rows, columns)."""
    columns, rows = size
    shifts = (np.arange(5) - 2) * _NEAR / 2
    inked = np.zeros((rows, columns), dtype=np.bool_)
    cells = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=2).reshape(-1, 2) + first
    for shift in np.stack(np.meshgrid(shifts, shifts), axis=2).reshape(-1, 2):
        x, y = np.round(_through(projection, cells + shift)).astype(np.intp).T
        within = (x >= 0) & (x < ink.shape[1]) & (y >= 0) & (y < ink.shape[0])
        inked.reshape(-1)[within] |= ink[y[within], x[within]]
    return inked

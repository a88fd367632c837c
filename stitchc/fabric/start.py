"""The start of a relaxation: every course of one repeat laid as a wavy line that is already looped as it must be.

Knows the chart and nothing of forces. Lengths are in units of the plain loop's yarn length; x runs to the right and y
up as the knitter faces the bed, z away from the knitter: the knit side is at large z and the purl side at small z.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt

from stitchc.chart import KNIT, TUCK, Chart

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Number = TypeVar("Number", np.float64, np.intp)

DIAMETER: Final = 1 / 16
"""Yarn diameter in plain loop lengths: loop length over diameter is about 16 in a normal plain knit."""

NODES: Final = 16
"""Nodes along the yarn of each cell, a multiple of four, so that its middle and quarters are nodes. The free cell of
plain and of six repeats of tuck and slip, of firm yarn, comes out within 3 % of what 36 nodes give; 12 nodes are off by
up to 8 %."""

TUCK_FED: Final = (0.9, 0.72, 0.58, 0.48)
"""Yarn fed to a tuck cell, in plain loop lengths; to the first tuck loop on a needle, the second, and so on: each
further one needs less than the one before (Spencer, Knitting Technology, 3rd ed., p. 96; the figures are ours)."""

SLIP_FED: Final = 0.23
"""Yarn laid across a needle that slips, in plain loop lengths: the needles' pitch, 4.5 mm, over the yarn of a stitch at
20 stitches and 28 rows to 10 cm."""

# The start's proportions, in wale spacings.
_COURSE: Final = 0.8
_OVERLAP: Final = 0.6
_SWING: Final = 0.22
_TUCK_FOOT: Final = 0.05
_KNOTS: Final = (0.0, 0.05, 0.12, 0.19, 0.5)
_DEPTH: Final = 0.8
_LAYER: Final = 0.3


@dataclass(frozen=True)
class Cell:
    """One cell's part of its course: nodes first … first + NODES - 1; node first is on the wale gap at its left.

    row, column: its place in the repeat. kind: KNIT, TUCK, SLIP or OUT. span: courses up to the next K on its needle (a
    loop with span 1 is taken off by the very next course). layer: how many loops the needle held when this one came.
    takes: tuck loops that a K knits off together with the held loop.
    """

    row: int
    column: int
    kind: int
    first: int
    span: int
    layer: int
    takes: int

    @property
    def looped(self) -> bool:
        """Whether its yarn goes round the needle: a K or a T."""
        return self.kind in (KNIT, TUCK)

    @property
    def behind(self) -> int:
        """Loops, further than the first, behind which its yarn has to pass where it comes to its needle."""
        return self.takes if self.kind == KNIT else self.layer - 1


@dataclass(frozen=True)
class Layout:
    """The cells of a repeat, row by row and left to right; nodes are numbered in that order, NODES to a cell.

    width, height: the repeat in cells. fed: yarn fed to each cell, in plain loop lengths.
    """

    width: int
    height: int
    cells: tuple[Cell, ...]
    fed: Floats

    @property
    def nodes(self) -> int:
        """Nodes in the repeat."""
        return len(self.cells) * NODES

    @property
    def course_nodes(self) -> int:
        """Nodes in a course."""
        return self.width * NODES

    def cell_at(self, row: int, column: int) -> Cell:
        """The cell at a row and column, counted round the repeat."""
        return self.cells[(row % self.height) * self.width + column % self.width]

    def edges(self, nodes: Floats, width: float) -> Floats:
        """From each node to the next along its yarn, shape (3, nodes). width: of the repeat, in the units of `at`."""
        courses = nodes.reshape(3, self.height, self.course_nodes)
        edges = np.empty_like(courses)
        np.subtract(courses[:, :, 1:], courses[:, :, :-1], out=edges[:, :, :-1])
        np.subtract(courses[:, :, 0], courses[:, :, -1], out=edges[:, :, -1])
        edges[0, :, -1] += width
        return edges.reshape(3, -1)

    def ahead(self, values: npt.NDArray[Number]) -> npt.NDArray[Number]:
        """Of each node the value (…, nodes) at the next node of its course."""
        courses = values.reshape(-1, self.height, self.course_nodes)
        return np.concatenate([courses[:, :, 1:], courses[:, :, :1]], axis=2).reshape(values.shape)

    def behind(self, values: npt.NDArray[Number]) -> npt.NDArray[Number]:
        """Of each node the value (…, nodes) at the node before it in its course."""
        courses = values.reshape(-1, self.height, self.course_nodes)
        return np.concatenate([courses[:, :, -1:], courses[:, :, :-1]], axis=2).reshape(values.shape)


def lay_out(chart: Chart, slip_fed: float = SLIP_FED) -> Layout:
    """Number the nodes of a repeat. Every column must have a K (`relax` refuses others with V701).

    slip_fed: yarn laid across a needle that slips, in plain loop lengths.
    """
    kinds = chart.cells
    height, width = kinds.shape
    span = np.ones((height, width), dtype=int)
    layer = np.zeros((height, width), dtype=int)
    takes = np.zeros((height, width), dtype=int)
    for column in np.flatnonzero((kinds == KNIT).any(axis=0)).tolist():
        for row in range(height):
            while kinds[(row + span[row, column]) % height, column] != KNIT:
                span[row, column] += 1
            if kinds[row, column] != KNIT:
                layer[row, column] = 1
            back = 1
            while kinds[(row - back) % height, column] != KNIT:
                if kinds[(row - back) % height, column] == TUCK:
                    if kinds[row, column] == KNIT:
                        takes[row, column] += 1
                    else:
                        layer[row, column] += 1
                back += 1
    cells = tuple(
        Cell(row, column, int(kinds[row, column]), (row * width + column) * NODES, *numbers)
        for (row, column), *numbers in zip(
            np.ndindex(height, width),
            span.ravel().tolist(),
            layer.ravel().tolist(),
            takes.ravel().tolist(),
            strict=True,
        )
    )
    fed = {KNIT: (1.0,), TUCK: TUCK_FED}
    lengths = [
        steps[min(max(cell.layer, 1), len(steps)) - 1] for cell in cells for steps in [fed.get(cell.kind, (slip_fed,))]
    ]
    return Layout(width, height, cells, np.array(lengths))


def start_shape(layout: Layout) -> Floats:
    """Positions of all nodes, shape (3, nodes), in wale spacings; the repeat is width by height * START_COURSE of them.

    A K or T is a wave from the sinker level (z 0, purl side) over the leg (knit side) to the head and back; a loop
    held over m courses gets straight legs m - 1 courses long. Each further loop on a needle lies nearer the purl side.
    """
    shape = np.empty((3, layout.nodes))
    drawn: dict[tuple[int, ...], Floats] = {}
    for cell in layout.cells:
        left, right = layout.cell_at(cell.row, cell.column - 1), layout.cell_at(cell.row, cell.column + 1)
        # Between two needles whose loops both lie deep, the sinker lies deep as well.
        gaps = min(cell.behind, left.behind), min(cell.behind, right.behind)
        key = cell.kind, cell.span, cell.layer, cell.behind, *gaps
        if key not in drawn:
            draw = _loop if cell.looped else _bar
            drawn[key] = _nodes(*draw(cell, gaps[0] * _LAYER, gaps[1] * _LAYER))
        nodes = slice(cell.first, cell.first + NODES)
        shape[:, nodes] = drawn[key] + np.array([[cell.column], [cell.row * _COURSE], [0.0]])
    return shape


START_COURSE: Final = _COURSE
"""Course height of the start shape in wale spacings."""


def _loop(cell: Cell, left_gap: float, right_gap: float) -> tuple[Floats, Floats]:
    """A dense polyline of half a wale either side of its needle, feet at y 0, and how far each point is along it, where
    long legs, being straight, count for one course. gaps: how deep its ends lie."""
    t = np.linspace(0, 1, 401)
    foot_part = np.abs(t - 0.5) > 0.25
    swing = np.where(foot_part & (cell.kind == TUCK), _TUCK_FOOT, _SWING)
    x = t - 0.5 + swing * np.sin(4 * np.pi * t)
    y = (_COURSE + _OVERLAP) * (1 - np.cos(2 * np.pi * t)) / 2
    # Depth: the sinker at 0, the legs in front; a foot lies behind all that it is drawn through, and each further
    # loop on the needle has its leg and head behind the one before.
    behind, own = cell.behind * _LAYER, cell.layer * _LAYER
    z = _DEPTH * (1 - np.cos(4 * np.pi * t)) / 2
    z[:200] -= _steps(t[:200], _KNOTS, (left_gap, behind, behind, own, own))
    z[200:] -= _steps(1 - t[200:], _KNOTS, (right_gap, behind, behind, own, own))
    curve = np.array([x, y, z])
    left, right = np.searchsorted(t, 0.25), np.searchsorted(t, 0.75)
    lift = min(1, cell.span - 1) * _COURSE
    parts = [curve[:, : left + 1], curve[:, left : right + 1] + [[0], [lift], [0]], curve[:, right:]]
    # … and so do the ways behind many loops, or heads and feet would have too few nodes.
    along = _along(np.concatenate(parts, axis=1) / [[1], [1], [max(1, cell.behind)]])
    parts[1] = parts[1] + [[0], [(cell.span - 1) * _COURSE - lift], [0]]
    return np.concatenate(parts, axis=1), along


def _bar(cell: Cell, left_gap: float, right_gap: float) -> tuple[Floats, Floats]:
    t = np.linspace(0, 1, 101)
    behind = cell.behind * _LAYER
    z = np.empty_like(t)
    z[:50] = -_steps(t[:50], (0.0, 0.5), (left_gap, behind))
    z[50:] = -_steps(1 - t[50:], (0.0, 0.5), (right_gap, behind))
    curve = np.array([t - 0.5, np.zeros_like(t), z])
    return curve, _along(curve)


def _steps(places: Floats, knots_at: tuple[float, ...], values_at: tuple[float, ...]) -> Floats:
    """Cosine steps from knot to knot."""
    knots, values = np.array(knots_at), np.array(values_at)
    k = np.clip(np.searchsorted(knots, places, side="right") - 1, 0, len(knots) - 2)
    part = np.clip((places - knots[k]) / (knots[k + 1] - knots[k]), 0, 1)
    result: Floats = values[k] + (values[k + 1] - values[k]) * (1 - np.cos(np.pi * part)) / 2
    return result


def _along(curve: Floats) -> Floats:
    """How far each point of a polyline (3, n) is along it."""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(curve, axis=1), axis=0))])


def _nodes(curve: Floats, along: Floats) -> Floats:
    """NODES points at equal distances along the curve, the first at its start; its end is the next cell's first."""
    places = np.arange(NODES) * (along[-1] / NODES)
    return np.array([np.interp(places, along, axis) for axis in curve])

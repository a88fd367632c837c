"""The start of a relaxation: every course of one repeat laid as a wavy line that is already looped as it must be.

Knows the chart and nothing of forces. Lengths are in units of the plain loop's yarn length; x runs to the right and y
up as the knitter faces the bed, z away from the knitter: the knit side is at large z and the purl side at small z.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.chart import KNIT, SLIP, TUCK, Chart

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

DIAMETER: Final = 1 / 16
"""Yarn diameter in plain loop lengths: loop length over diameter is about 16 in a normal plain knit."""

NODES: Final = {KNIT: 36, TUCK: 32, SLIP: 16}
"""Nodes along the yarn of a cell; multiples of four, so that its middle and quarters are nodes."""

FED: Final = {KNIT: (1.0,), TUCK: (0.9, 0.72, 0.58, 0.48), SLIP: (0.43,)}
"""Yarn fed to a cell, in plain loop lengths; to the first tuck loop on a needle, the second, and so on: each further
one needs less than the one before (Spencer, Knitting Technology, 3rd ed., p. 96; the figures are ours)."""

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
    """One cell's part of its course: nodes first … first + count - 1; node first is on the wale gap at its left.

    row, column: its place in the repeat. kind: KNIT, TUCK or SLIP. span: courses up to the next K on its needle (a
    loop with span 1 is taken off by the very next course). layer: how many loops the needle held when this one came.
    takes: tuck loops that a K casts off together with the held loop.
    """

    row: int
    column: int
    kind: int
    first: int
    count: int
    span: int
    layer: int
    takes: int

    @property
    def behind(self) -> int:
        """Loops, further than the first, behind which its yarn has to pass where it comes to its needle."""
        return self.takes if self.kind == KNIT else self.layer - 1


@dataclass(frozen=True)
class Layout:
    """The cells of a repeat and which node follows which. Nodes of a course are consecutive, left to right.

    width, height: the repeat in cells. next_node, previous_node: along the yarn, round the repeat.
    wraps: 1 where the edge from a node to the next crosses the repeat's right end, else 0. course: of each node.
    cell: index of each node's cell in `cells`, which are row by row, left to right.
    """

    width: int
    height: int
    cells: tuple[Cell, ...]
    next_node: Ints
    previous_node: Ints
    wraps: Floats
    course: Ints
    cell: Ints

    @property
    def fed(self) -> Floats:
        """Yarn fed to each cell, in plain loop lengths."""
        lengths = []
        for cell in self.cells:
            by_turn = FED[cell.kind]
            lengths.append(by_turn[min(max(cell.layer, 1), len(by_turn)) - 1])
        return np.array(lengths)

    @property
    def nodes(self) -> int:
        """Nodes in the repeat."""
        return int(self.course.size)

    def at(self, row: int, column: int) -> Cell:
        """The cell at a row and column, counted round the repeat."""
        return self.cells[(row % self.height) * self.width + column % self.width]


def lay_out(chart: Chart) -> Layout:
    """Number the nodes of a repeat. Every column must have a K (`relax` refuses others with V701)."""
    kinds = chart.cells
    height, width = kinds.shape
    span = np.ones((height, width), dtype=int)
    layer = np.zeros((height, width), dtype=int)
    takes = np.zeros((height, width), dtype=int)
    for column in range(width):
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
    cells: list[Cell] = []
    following: list[Ints] = []
    wraps: list[Floats] = []
    first = 0
    for row in range(height):
        begin = first
        for column in range(width):
            kind = int(kinds[row, column])
            numbers = (int(span[row, column]), int(layer[row, column]), int(takes[row, column]))
            cells.append(Cell(row, column, kind, first, NODES[kind], *numbers))
            first += NODES[kind]
        ahead = np.arange(begin + 1, first + 1)
        ahead[-1] = begin
        following.append(ahead)
        wraps.append((ahead == begin).astype(float))
    next_node = np.concatenate(following)
    previous_node = np.empty_like(next_node)
    previous_node[next_node] = np.arange(first)
    counts = [cell.count for cell in cells]
    return Layout(
        width=width,
        height=height,
        cells=tuple(cells),
        next_node=next_node,
        previous_node=previous_node,
        wraps=np.concatenate(wraps),
        course=np.repeat([cell.row for cell in cells], counts),
        cell=np.repeat(np.arange(len(cells)), counts),
    )


def start_shape(layout: Layout) -> Floats:
    """Positions of all nodes, shape (3, nodes), in wale spacings; the repeat is width by height * START_COURSE of them.

    A K or T is a wave from the sinker level (z 0, purl side) over the leg (knit side) to the head and back; a loop
    held over m courses gets straight legs m - 1 courses long. Each further loop on a needle lies nearer the purl side.
    """
    shape = np.empty((3, layout.nodes))
    for cell in layout.cells:
        left, right = layout.at(cell.row, cell.column - 1), layout.at(cell.row, cell.column + 1)
        # Between two needles whose loops both lie deep, the sinker lies deep as well.
        gaps = min(cell.behind, left.behind) * _LAYER, min(cell.behind, right.behind) * _LAYER
        curve = _slip(cell, *gaps) if cell.kind == SLIP else _loop(cell, *gaps)
        shape[:, cell.first : cell.first + cell.count] = _evenly(curve, cell.count)
        shape[0, cell.first : cell.first + cell.count] += cell.column
        shape[1, cell.first : cell.first + cell.count] += cell.row * _COURSE
    return shape


START_COURSE: Final = _COURSE
"""Course height of the start shape in wale spacings."""


def _loop(cell: Cell, left_gap: float, right_gap: float) -> Floats:
    """A dense polyline of half a wale either side of its needle, feet at y 0; gaps: how deep its ends lie."""
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
    if cell.span == 1:
        return curve
    lift = (cell.span - 1) * _COURSE
    left, right = np.searchsorted(t, 0.25), np.searchsorted(t, 0.75)
    parts = [curve[:, : left + 1], curve[:, left : right + 1] + [[0], [lift], [0]], curve[:, right:]]
    return np.concatenate(parts, axis=1)


def _slip(cell: Cell, left_gap: float, right_gap: float) -> Floats:
    t = np.linspace(0, 1, 101)
    behind = cell.behind * _LAYER
    z = np.empty_like(t)
    z[:50] = -_steps(t[:50], (0.0, 0.5), (left_gap, behind))
    z[50:] = -_steps(1 - t[50:], (0.0, 0.5), (right_gap, behind))
    return np.array([t - 0.5, np.zeros_like(t), z])


def _steps(at: Floats, knots_at: tuple[float, ...], values_at: tuple[float, ...]) -> Floats:
    """Cosine steps from knot to knot."""
    knots, values = np.array(knots_at), np.array(values_at)
    k = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, len(knots) - 2)
    part = np.clip((at - knots[k]) / (knots[k + 1] - knots[k]), 0, 1)
    result: Floats = values[k] + (values[k + 1] - values[k]) * (1 - np.cos(np.pi * part)) / 2
    return result


def _evenly(curve: Floats, count: int) -> Floats:
    """`count` points at equal distances along the curve, the first at its start; its end is the next cell's first."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(curve, axis=1), axis=0))])
    at = np.arange(count) * (along[-1] / count)
    return np.array([np.interp(at, along, axis) for axis in curve])

"""The symmetries of a repeat, and vectors over its nodes made to have them.

Knows layouts only. A relaxation keeps the symmetry of its start but for rounding, which an unstable shape would blow
up into a lean to one side or the other; steps are therefore made symmetric one by one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stitchc.chart import Chart
from stitchc.fabric.start import NODES, Floats, Ints, Layout


@dataclass(frozen=True)
class Symmetries:
    """Every way in which the repeat lies on itself. images: for each, the node that each node comes to lie on,
    shape (ways, nodes); turned: (ways,), -1 where left and right are exchanged, else 1. The first is to stay."""

    images: Ints
    turned: Floats

    def applied(self, vectors: Floats) -> Floats:
        """Displacements or forces (3, nodes) averaged over all images."""
        if len(self.turned) == 1:
            return vectors
        result = np.zeros_like(vectors)
        for image, turned in zip(self.images, self.turned.tolist(), strict=True):
            moved = vectors[:, image]
            moved[0] *= turned
            result += moved
        result /= len(self.turned)
        return result


def symmetries(chart: Chart, layout: Layout) -> Symmetries:
    """The shifts of `chart` onto itself, and those with left and right exchanged."""
    cells = chart.cells
    height, width = cells.shape
    images: list[Ints] = []
    turned: list[int] = []
    for sign in (1, -1):
        for column in range(width):
            columns = (sign * np.arange(width) + column) % width
            for row in range(height):
                if np.array_equal(np.roll(cells, -row, axis=0)[:, columns], cells):
                    images.append(_images(layout, sign, row, column))
                    turned.append(sign)
    return Symmetries(np.array(images), np.array(turned, dtype=float))


def _images(layout: Layout, sign: int, row: int, column: int) -> Ints:
    nodes = np.arange(layout.nodes).reshape(layout.height, layout.width, NODES)
    rows = (np.arange(layout.height) + row) % layout.height
    columns = (sign * np.arange(layout.width) + column) % layout.width
    image = nodes[rows[:, None], columns]
    if sign < 0:  # what began at the left gap begins at the right one, which is the next cell's first node
        following = nodes[rows[:, None], (columns + 1) % layout.width]
        image = np.concatenate([following[:, :, :1], image[:, :, :0:-1]], axis=2)
    return image.ravel()

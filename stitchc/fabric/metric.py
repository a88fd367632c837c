"""The metric of the steps down the energy: a stand-in for its second derivatives that is quickly inverted.

Springs of the same kinds stand in every cell of a fabric. What they are like on the average over all cells is the same
in each cell, and the inverse of such a matrix is a multiplication in Fourier space. Of a small repeat all cells are
taken together for one, and nothing is averaged. For 24 x 24 cells it is as good as a sparse factorisation and some
eight times cheaper. Knows energies; nothing of steps.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Final

import numpy as np

from stitchc.fabric.energy import Energy, Ties
from stitchc.fabric.start import Floats, Ints

_WHOLE: Final = 12
"""Nothing is averaged in repeats of at most so many cells."""
_BLOCK: Final = 48
"""Unknowns; there are as many in a cell."""
_PAIRS: Final = tuple(itertools.combinations_with_replacement(range(3), 2))
_SOFT: Final = 0.1
_FIRM: Final = 0.05


class Metric:
    """The inverse of the second derivatives of an energy at one shape, without the parts that can be negative.

    free: whether the logarithms of the repeat's width and height are unknown as well.
    """

    def __init__(self, energy: Energy, nodes: Floats, width: float, height: float, free: bool) -> None:
        layout = energy.layout
        self._units = (1, 1) if len(layout.cells) <= _WHOLE else (layout.height, layout.width)
        self._slots = layout.nodes // (self._units[0] * self._units[1])
        self._sums = {pair: np.zeros(layout.nodes * self._slots) for pair in _PAIRS}
        border, corner = np.zeros((2, 3, layout.nodes)), np.zeros((2, 2))
        every = np.arange(layout.nodes)

        def add_springs(
            terms: Sequence[tuple[Ints, Floats | float]], along: dict[int, Floats], grows: dict[int, Floats]
        ) -> None:
            """Springs whose length is the sum of factor * coordinate along over their terms' nodes; grows: how much
            they lengthen with the logarithms of width and height."""
            pairs = list(itertools.product(terms, terms))
            place = np.concatenate([self._place(left, right) for (left, _), (right, _) in pairs])
            for a, b in itertools.combinations_with_replacement(along, 2):
                both = along[a] * along[b]
                self._add(a, b, place, np.concatenate([first * second * both for (_, first), (_, second) in pairs]))
            if free:
                for a, b in itertools.product(grows, grows):
                    corner[a, b] += float((grows[a] * grows[b]).sum())
                for (node, factor), a, g in itertools.product(terms, along, grows):
                    border[g, a] += np.bincount(node, factor * along[a] * grows[g], layout.nodes)

        h, following, before = energy.length, layout.ahead(every), layout.behind(every)
        edges = layout.edges(nodes, width)
        length = np.sqrt((edges * edges).sum(axis=0))
        stiff = np.sqrt(energy.stretch / h) * edges / length
        add_springs([(following, 1.0), (every, -1.0)], dict(enumerate(stiff)), dict(enumerate(stiff[:2] * edges[:2])))
        taut = np.sqrt(energy.stretch / h * np.maximum(length / h - 1, 0))
        slope = edges / h
        bend = slope - layout.behind(slope)
        root = np.sqrt(energy.resistance(bend))
        bend = root * bend
        for a in range(3):
            grows = {a: taut * edges[a]} if a < 2 else {}
            add_springs([(following, 1.0), (every, -1.0)], {a: taut}, grows)
            lower, upper = root / layout.behind(h), root / h
            grows = {a: bend[a]} if a < 2 else {}
            add_springs([(before, lower), (every, -lower - upper), (following, upper)], {a: np.ones_like(h)}, grows)
        terms, apart, normal = energy.contacts(nodes, width, height)
        add_springs(terms, dict(enumerate(normal)), dict(enumerate(normal[:2] * apart[:2])))
        for ties in energy.along_x:
            self._add_ties(0, ties)
        self._add_ties(2, energy.along_z)
        soft = (_SOFT + energy.leading) * energy.share
        even = np.bincount(energy.even_x.node, minlength=layout.nodes) * energy.even_x.stiffness
        for a, more in enumerate((even, 0 * even, energy.flat * energy.share)):
            self._add(a, a, self._place(every, every), soft + more)

        self._inverse = self._inverted()
        self._border = border if free else None
        if free:
            self._through = np.array([self._solved(side) for side in border])
            inner = corner - np.tensordot(border, self._through, axes=([1, 2], [1, 2]))
            values, vectors = np.linalg.eigh((inner + inner.T) / 2)
            values = np.maximum(values, _FIRM * np.linalg.eigvalsh(corner).min())
            self._inner: Floats = vectors @ np.diag(1 / values) @ vectors.T

    def __call__(self, gradient: Floats) -> Floats:
        """The inverse times a gradient: nodes' (3, nodes) in one row, and the two of the cell where that is free."""
        result = np.empty_like(gradient)
        count = 3 * self._slots * self._units[0] * self._units[1]
        inner = self._solved(gradient[:count].reshape(3, -1))
        if self._border is not None:
            outer = self._inner @ (gradient[count:] - np.tensordot(self._border, inner, axes=([1, 2], [0, 1])))
            result[count:] = outer
            inner = inner - np.tensordot(outer, self._through, axes=1)
        result[:count] = inner.ravel()
        return result

    def _place(self, row: Ints, column: Ints) -> Ints:
        """Where entries at row nodes and column nodes are summed."""
        (high, wide), slots = self._units, self._slots
        unit, slot = np.divmod(row, slots)
        other, other_slot = np.divmod(column, slots)
        up, right = (other // wide - unit // wide) % high, (other - unit) % wide
        place: Ints = ((up * wide + right) * slots + slot) * slots + other_slot
        return place

    def _add(self, a: int, b: int, place: Ints, values: Floats) -> None:
        """Add entries at coordinate a of the row nodes and b of the column nodes."""
        self._sums[a, b] += np.bincount(place, values, self._sums[a, b].size)

    def _add_ties(self, axis: int, ties: Ties) -> None:
        """Each group's springs to its mean, which tie every two of its members."""
        node, stiffness = ties.node, np.full(ties.node.size, ties.stiffness)
        self._add(axis, axis, self._place(node, node), stiffness)
        begins = np.cumsum(ties.counts) - ties.counts
        many = ties.counts[ties.group].astype(np.intp)
        first = np.repeat(node, many)
        second = node[
            np.arange(first.size) + np.repeat((begins[ties.group] - np.cumsum(many) + many).astype(np.intp), many)
        ]
        self._add(axis, axis, self._place(first, second), -ties.stiffness / np.repeat(many, many))

    def _inverted(self) -> Floats | np.ndarray[tuple[int, ...], np.dtype[np.complexfloating]]:
        (high, wide), slots = self._units, self._slots
        blocks = np.zeros((high, wide // 2 + 1, 3, slots, 3, slots), dtype=complex)
        for (a, b), sums in self._sums.items():
            block = np.conj(np.fft.rfft2(sums.reshape(high, wide, slots, slots) / (high * wide), axes=(0, 1)))
            blocks[:, :, a, :, b] = block
            if a != b:
                blocks[:, :, b, :, a] = np.conj(block.swapaxes(2, 3))
        self._sums.clear()
        whole = blocks.reshape(-1, 3 * slots, 3 * slots)
        return np.linalg.inv(whole) if len(whole) > 1 else _inverse(whole[0].real)

    def _solved(self, vectors: Floats) -> Floats:
        (high, wide), slots = self._units, self._slots
        waves = np.fft.rfft2(vectors.reshape(3, high, wide, slots), axes=(1, 2))
        waves = waves.transpose(1, 2, 0, 3).reshape(-1, 3 * slots)
        if len(waves) == 1:
            single: Floats = np.einsum("ij,j->i", self._inverse, waves[0].real).reshape(3, -1)
            return single
        waves = (self._inverse @ waves[:, :, None]).reshape(high, wide // 2 + 1, 3, slots).transpose(2, 0, 1, 3)
        result: Floats = np.fft.irfft2(waves, s=(high, wide), axes=(1, 2)).reshape(3, -1)
        return result


def _inverse(matrix: Floats) -> Floats:
    """The inverse of a symmetric, positive definite matrix, block by block (Gauss and Jordan's way).

    Threads that linear algebra starts for all of it at once wait for each other longer than they work, and on a busy
    machine ten times as long; for blocks of this size it starts none.
    """
    size = _BLOCK
    count = len(matrix) // size
    blocks = matrix.reshape(count, size, count, size).swapaxes(1, 2).copy()
    for block in range(count):
        pivot = np.linalg.inv(blocks[block, block])
        column, row = blocks[:, block].copy(), pivot @ blocks[block]
        blocks -= column[:, None] @ row
        blocks[block], blocks[:, block], blocks[block, block] = row, -column @ pivot, pivot
    inverse: Floats = blocks.swapaxes(1, 2).reshape(matrix.shape)
    return inverse

"""Steps down the energy of one layout, none of them so long that a strand could pass through another.

A limited-memory quasi-Newton method (Nocedal and Wright, Numerical Optimization, 2nd ed., 7.2, from memory) in the
metric of all springs. It needs numpy alone: scipy takes longer to import than a small repeat to relax. Knows energies;
nothing of stages or charts.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np

from stitchc.fabric.energy import Energy
from stitchc.fabric.metric import Metric
from stitchc.fabric.start import Floats
from stitchc.fabric.symmetry import Symmetries

CLOSEST: Final = 0.45
"""Strands are kept at least this many diameters apart, measured between contact points. Two strands that cross have
points within 1 / sqrt 2 times the way from a contact point to the next of each other, and a step moves two points at
most 0.12 diameters toward each other; strands are kept farther apart by as much, so that none can pass through another
unseen."""

_STEP: Final = 0.06
_MEMORY: Final = 10
_FRESH: Final = 60
_SPELL: Final = 12


class Shape(NamedTuple):
    """Node positions (3, nodes), wale spacing and course height, in plain loop lengths."""

    nodes: Floats
    w: float
    c: float


class Descent(NamedTuple):
    """Where steps led. energies: after each. apart: whether strands are as far apart as they must be. at_rest: whether
    the shape came to rest."""

    shape: Shape
    energies: tuple[float, ...]
    apart: bool
    at_rest: bool


def descend(
    energy: Energy, alike: Symmetries, shape: Shape, free: bool, steps: int, tolerance: float, enough: float = 0.0
) -> Descent:
    """Step down from a shape until the energy falls by less than tolerance (a share) a step, or steps are used up.

    free: whether the cell is unknown as well. enough: a fall (a share) over twelve steps that is too little to see.
    """
    way = _Way(energy, shape, free)
    cap = _STEP * energy.diameter
    x = way.start
    value, gradient, clear = way.value(x)
    values = [value]
    metric = way.metric(x)
    memory: list[tuple[Floats, Floats, float]] = []
    since, longest = 0, math.inf
    for _ in range(steps):
        direction = -_quasi_newton(metric, gradient, memory)
        longest = way.make_alike(direction, alike)
        slope = _dot(direction, gradient)
        part = min(1.0, cap / max(longest, 1e-300))
        for _ in range(10):
            x_new = x + part * direction
            value_new, gradient_new, clear_new = way.value(x_new)
            if value_new <= value + 1e-4 * part * slope and clear_new >= min(0.0, clear):
                break
            part *= 0.4
        else:
            if since == 0:
                break
            metric, memory, since = way.metric(x), [], 0
            continue
        step, change = x_new - x, gradient_new - gradient
        curved = _dot(step, change)
        if curved > 1e-10 * math.sqrt(_dot(step, step) * _dot(change, change)):
            memory = [*memory, (step, change, 1 / curved)][-_MEMORY:]
        fall = value - value_new
        x, value, gradient, clear = x_new, value_new, gradient_new, clear_new
        values.append(value)
        since += 1
        if longest < 0.1 * cap and fall < tolerance * value:
            break
        if len(values) > _SPELL and values[-_SPELL] - value < enough * value:
            break
        if since >= _FRESH:
            metric, memory, since = way.metric(x), [], 0
    resting = len(values) > _SPELL and values[-_SPELL] - value < max(enough, 1e-5) * value
    way.value(x)
    return Descent(way.shape(x), tuple(values), clear >= 0, longest < 0.5 * cap or resting)


class _Way:
    """What is unknown, in one row: the nodes' positions, and how far the cell has grown where it is free."""

    def __init__(self, energy: Energy, shape: Shape, free: bool) -> None:
        self._energy, self._first, self._free = energy, shape, free
        self.start: Floats = np.concatenate([shape.nodes.ravel(), np.zeros(2 if free else 0)])

    def shape(self, x: Floats) -> Shape:
        nodes, w, c = self._first
        place = x[: nodes.size].reshape(nodes.shape)
        if not self._free:
            return Shape(place, w, c)
        grow_w, grow_c = np.exp(x[nodes.size :]).tolist()
        return Shape(place * np.array([[grow_w], [grow_c], [1.0]]), w * grow_w, c * grow_c)

    def _box(self, shape: Shape) -> tuple[Floats, float, float]:
        layout = self._energy.layout
        return shape.nodes, shape.w * layout.width, shape.c * layout.height

    def value(self, x: Floats) -> tuple[float, Floats, float]:
        """Energy, gradient, and how much farther strands are apart than they must be."""
        value, gradient, growth = self._energy(*self._box(self.shape(x)))
        diameter = self._energy.diameter
        least = max(CLOSEST * diameter, self._energy.coarsest / math.sqrt(2) + 2 * _STEP * diameter)
        clear = self._energy.closest - least
        if self._free:
            gradient[:2] *= np.exp(x[gradient.size :])[:, None]
            return value, np.concatenate([gradient.ravel(), growth]), clear
        return value, gradient.ravel(), clear

    def metric(self, x: Floats) -> Metric:
        return Metric(self._energy, *self._box(self.shape(x)), self._free)

    def make_alike(self, direction: Floats, alike: Symmetries) -> float:
        """Give a direction the repeat's symmetries; returns the longest move of a node in it."""
        size = self._first.nodes.size
        moves = direction[:size].reshape(3, -1)
        moves[:] = alike.applied(moves)
        longest = math.sqrt(float((moves * moves).sum(axis=0).max()))
        if self._free:  # growth carries all along with it; a quarter is the most that neighbours part by it
            longest = max(longest, 0.25 * float(np.abs(direction[size:]).max()))
        return longest


def _quasi_newton(metric: Metric, gradient: Floats, memory: list[tuple[Floats, Floats, float]]) -> Floats:
    """The direction uphill."""
    vector = gradient.copy()
    shares = []
    for step, change, over in reversed(memory):
        share = over * _dot(step, vector)
        shares.append(share)
        vector -= share * change
    vector = metric(vector)
    if memory:  # the metric knows nothing of how contacts stiffen and yarns turn in a step of this length
        _, change, over = memory[-1]
        vector *= min(1.0, 1 / (over * _dot(change, metric(change))))
    for (step, change, over), share in zip(memory, reversed(shares), strict=True):
        vector += step * (share - over * _dot(change, vector))
    return vector


def _dot(first: Floats, second: Floats) -> float:
    """The inner product without BLAS, whose threads wait for each other on a busy machine at every one of these."""
    return float(np.einsum("i,i->", first, second))

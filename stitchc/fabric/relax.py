"""One repeat of fabric relaxed to rest: its yarns' shape at a given cell, or the cell they choose themselves.

Knows the chart, the start and the energy; nothing of pictures or of gauges measured. The solver is a limited-memory
quasi-Newton method on numpy arrays, with scipy's k-d tree for the pairs of points near each other and its sparse
factorisation of the energy's springs as the metric of each step.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from stitchc.chart import Chart
from stitchc.fabric.energy import STRETCH, Energy
from stitchc.fabric.start import DIAMETER, FED, START_COURSE, Floats, Layout, lay_out, start_shape

PLAIN_CELL: Final = (1 / 4.1, 1 / 5.27)
"""Wale spacing and course height of plain in loop lengths (Munden's constants, wet relaxed: 4.1 and 5.3)."""

CLOSEST: Final = 0.45
"""Strands whose points come nearer than this many diameters could pass through each other unseen."""

_START_WALE: Final = 0.34
_STEP: Final = 0.06
SOFT = 1000
LOG = 0
_MEMORY: Final = 8


@dataclass(frozen=True, eq=False)
class Fabric:
    """One relaxed repeat. Lengths in plain loop lengths; axes as in `start`.

    courses: one read-only array (nodes, 3) a row of the chart, from the repeat's left end to where it goes on, one
    repeat to the right. cells: the chart's cells. cell_w, cell_c: wale spacing and course height.
    diameter: of the yarn. energies: a tuple for each stage, of the energy after each step. closest: the closest
    approach of two strands, over the diameter. stretched: the largest strain in any cell's yarn.
    """

    chart: Chart
    courses: tuple[Floats, ...]
    cell_w: float
    cell_c: float
    diameter: float = DIAMETER
    energies: tuple[tuple[float, ...], ...] = field(default=(), repr=False)
    closest: float = math.inf


class Unsettled(Exception):
    """Strands came so close that they might have crossed: the relaxation was stopped and there is no fabric."""


Progress = Callable[[float], None]


class _Solver:
    def __init__(self, energy: Energy, layout: Layout, free: bool) -> None:
        self.energy, self.layout, self.free = energy, layout, free
        self.evaluations = 0

    def _metric(self, at: Floats, w: float, c: float) -> None:
        from scipy.sparse.linalg import splu

        matrix, border, corner = self.energy.curvature(at, w * self.layout.width, c * self.layout.height)
        self._lu = splu(
            matrix,
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )
        if self.free:
            self._border = border
            self._through = self._lu.solve(border)
            schur = corner - border.T @ self._through
            self._schur = schur + np.eye(2) * 1e-3 * np.trace(corner)

    def _solve(self, vector: Floats) -> Floats:
        n = self.layout.nodes
        inner = self._lu.solve(vector[: 3 * n].reshape(3, n).T.ravel())
        result = np.empty_like(vector)
        if self.free:
            outer = np.linalg.solve(self._schur, vector[3 * n :] - self._border.T @ inner)
            inner = inner - self._through @ outer
            result[3 * n :] = outer
        result[: 3 * n] = inner.reshape(n, 3).T.ravel()
        return result

    def minimise(
        self, at: Floats, w: float, c: float, steps: int, tolerance: float, fresh: int
    ) -> tuple[Floats, float, float, list[float]]:
        """Quasi-Newton steps from `at`; energies never rise. Returns positions, cell and the energies."""
        width, height, n = self.layout.width, self.layout.height, self.layout.nodes

        def unpack(x: Floats) -> tuple[Floats, float, float]:
            place = x[: 3 * n].reshape(3, n)
            if not self.free:
                return place, w, c
            grow = np.exp(x[3 * n :])
            return place * np.array([[grow[0]], [grow[1]], [1.0]]), w * float(grow[0]), c * float(grow[1])

        def evaluate(x: Floats) -> tuple[float, Floats, float]:
            self.evaluations += 1
            place, now_w, now_c = unpack(x)
            value, gradient, growth = self.energy(place, now_w * width, now_c * height)
            if not self.free:
                return value, gradient.ravel(), self.energy.closest
            gradient[:2] *= np.exp(x[3 * n :])[:, None]
            return value, np.concatenate([gradient.ravel(), growth]), self.energy.closest

        x = np.concatenate([at.ravel(), np.zeros(2 if self.free else 0)])
        value, gradient, closest = evaluate(x)
        values = [value]
        self._metric(*unpack(x))
        memory: list[tuple[Floats, Floats, float]] = []
        since = 0
        cap = _STEP * self.energy.diameter
        for _ in range(steps):
            direction = -self._two_loop(gradient, memory)
            slope = float(direction @ gradient)
            longest = self._longest(direction, at, n)
            part = min(1.0, cap / longest)
            for _try in range(10):
                x_new = x + part * direction
                value_new, gradient_new, closest_new = evaluate(x_new)
                if value_new <= value + 1e-4 * part * slope and (
                    closest_new >= CLOSEST * self.energy.diameter or closest_new >= closest
                ):
                    break
                part *= 0.4
            else:
                if since == 0:
                    break
                self._metric(*unpack(x))
                memory, since = [], 0
                continue
            step, change = x_new - x, gradient_new - gradient
            curved = float(step @ change)
            if curved > 1e-10 * float(np.sqrt((step @ step) * (change @ change))):
                memory = [*memory, (step, change, 1 / curved)][-_MEMORY:]
            fall = value - value_new
            x, value, gradient, closest = x_new, value_new, gradient_new, closest_new
            values.append(value)
            since += 1
            if longest < 0.1 * cap and fall < tolerance * abs(value):
                break
            if since >= fresh:
                self._metric(*unpack(x))
                memory, since = [], 0
        self.closest = closest
        place, w, c = unpack(x)
        return place, w, c, values

    def _two_loop(self, gradient: Floats, memory: list[tuple[Floats, Floats, float]]) -> Floats:
        vector = gradient.copy()
        shares = []
        for step, change, over in reversed(memory):
            share = over * float(step @ vector)
            shares.append(share)
            vector -= share * change
        vector = self._solve(vector)
        for (step, change, over), share in zip(memory, reversed(shares), strict=True):
            vector += step * (share - over * float(change @ vector))
        return vector

    def _longest(self, direction: Floats, at: Floats, n: int) -> float:
        moves = direction[: 3 * n].reshape(3, n)
        if self.free:
            # Growth moves everything along with the cell; what counts is how neighbours move against each other.
            return max(
                float(np.sqrt((moves * moves).sum(axis=0).max())),
                float(np.abs(direction[3 * n :]).max()) * 0.25,
                1e-300,
            )
        return max(float(np.sqrt((moves * moves).sum(axis=0).max())), 1e-300)


def relax(
    chart: Chart,
    cell_w: float | None = None,
    cell_c: float | None = None,
    *,
    progress: Progress | None = None,
    tolerance: float = 1e-6,
) -> Fabric:
    """Relax one repeat at a given cell (plain loop lengths), or, with neither given, at the cell it chooses itself."""
    free = cell_w is None or cell_c is None
    tiled = chart.tiled(max(2, chart.width), max(2, chart.height))
    layout = lay_out(tiled)
    energy = Energy(layout)
    solver = _Solver(energy, layout, free=False)
    goal_w, goal_c = PLAIN_CELL if cell_w is None or cell_c is None else (cell_w, cell_c)
    w, c = _START_WALE, _START_WALE * START_COURSE
    at = start_shape(layout) * w
    edges = at[:, layout.next_node] - at
    edges[0] += layout.wraps * layout.width * w
    length = np.sqrt((edges * edges).sum(axis=0))
    counts = np.array([cell.count for cell in layout.cells])
    first = (np.bincount(layout.cell, length) / counts)[layout.cell]
    fed = np.array([FED[cell.kind] / cell.count for cell in layout.cells])[layout.cell]
    far = max(abs(math.log(w / goal_w)), abs(math.log(c / goal_c)), float(np.abs(np.log(first / fed)).max()) / 1.5)
    stages = max(8, math.ceil(far / 0.1))
    start_w, start_c = w, c
    energies = []
    for stage in range(1, stages + 1):
        part = stage / stages
        q = min(1.0, stage / (stages - 3))
        part = q
        solver.free = free and stage > 2
        if solver.free:
            new_w, new_c = w, c
        else:
            new_w = start_w ** (1 - part) * goal_w**part
            new_c = start_c ** (1 - part) * goal_c**part
        at = at * np.array([[new_w / w], [new_c / c], [math.sqrt(new_w * new_c / (w * c))]])
        w, c = new_w, new_c
        last = stage == stages
        firm = stages - 3
        soft = SOFT if stage < firm else SOFT * (STRETCH / SOFT) ** ((stage - firm) / 3)
        energy.rest(first ** (1 - q) * fed**q, DIAMETER, soft)
        at, w, c, values = solver.minimise(
            at, w, c, 400 if last else 25, tolerance if last else 1e-3, 30 if last else 25
        )
        energies.append(tuple(values))
        if solver.closest < CLOSEST * DIAMETER:
            raise Unsettled(f"{solver.closest / DIAMETER:.3f} diameters at stage {stage} of {stages}")
        if progress:
            progress(part)

    ends = [layout.at(row, 0).first for row in range(layout.height)] + [layout.nodes]
    courses = tuple(at[:, ends[row] : ends[row + 1]].T.copy() for row in range(layout.height))
    for course in courses:
        course.setflags(write=False)
    fabric = Fabric(tiled, courses, w, c, DIAMETER, tuple(energies), solver.closest / DIAMETER)
    object.__setattr__(fabric, "evaluations", solver.evaluations)
    return fabric

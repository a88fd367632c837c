"""One repeat of fabric relaxed to rest: its yarns' shape at a given cell, or at the cell they choose themselves.

Knows the chart, the start and the energy; nothing of pictures or of measured gauges.

The solver is a limited-memory quasi-Newton method on numpy arrays; scipy's k-d tree finds the points near each other
and its sparse factorisation of all springs is the metric of each step. Measured: with that metric some 200 evaluations
settle a common repeat of up to 16 cells in 0.15 to 0.3 s of processor time, half of it spent in evaluations; without it
700 evaluations did not settle four cells. A compiled kernel (numba) was measured and left out: it could save no more
than that half, while importing it and compiling two kernels takes 1.3 s on first use and its packages add 208 MB.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from stitchc.chart import KNIT, SLIP, Chart
from stitchc.fabric.energy import EVEN, STRETCH, Energy
from stitchc.fabric.start import DIAMETER, START_COURSE, Floats, Layout, lay_out, start_shape
from stitchc.fabric.symmetry import Symmetries, symmetries
from stitchc.fabric.topology import prove
from stitchc.messages import Message, Refused

PLAIN_CELL: Final = (1 / 4.1, 1 / 5.3)
"""Wale spacing and course height of plain in plain loop lengths: Munden's constants, wet relaxed (Munden 1959, J. Text.
Inst. 50 T448, as quoted in Spencer, Knitting Technology, 3rd ed., 22.5)."""

MOST_CELLS: Final = 1600
"""The largest repeat that is relaxed, in cells."""

MOST_TUCKS: Final = 10
"""The most tuck loops that a needle may cast off at once."""

CLOSEST: Final = 0.45
"""Strands are kept at least this many diameters apart, measured between contact points, which lie 0.45 diameters from
each other along the yarn. Two strands that cross have points within 0.45 / sqrt 2 = 0.32 of each other, and a step
moves two points at most 0.12 toward each other, so none can pass through another unseen. Where the yarn is stretched
and its points lie farther apart, strands are kept farther apart by as much."""

HELD: Final = 0.95
"""Yarn that a held loop takes, if it can get it, over the shortest way round its legs at the given cell."""

ROBBED: Final = 0.06
"""The most that the other loops of a course lose to its held loops, as a share of their yarn."""

MOST_RISEN: Final = 3
"""Courses that a held loop rises over at the most: the tuck loops that it holds further pull it down."""

_START_WALE: Final = 0.34
_START_CLEAR: Final = 0.7
_STEP: Final = 0.06
_MEMORY: Final = 8
_LARGE: Final = 3000
_SPELL: Final = 12

_FIRM_STAGES: Final = 3

Progress = Callable[[float], None]


@dataclass(frozen=True)
class _Way:
    """How to go from the start to the shape at rest, over stages in which rest lengths and cell reach their goals.

    ease: most that the logarithm of a length changes in a stage. softness: of the yarn meanwhile, since soft yarn
    can't cut through contacts. leading: how firmly loops are kept to the start's textbook form until the end.
    """

    ease: float
    softness: float
    leading: float


_WAYS: Final = (_Way(0.10, 1000.0, 3e3), _Way(0.04, 300.0, 3e3))
"""Tried one after the other until strands stay apart and come to rest."""

_LONGER: Final = (1.0, 1.15, 1.35)
"""How much longer than fed the yarn is, tried one after the other where a given cell is too large for what is fed."""

_FIRMNESS: Final = (STRETCH, STRETCH / 10, STRETCH / 30)
"""Of the yarn at rest, tried one after the other: yarn that gives way stands for loops that were knitted longer."""


@dataclass(frozen=True, eq=False)
class Fabric:
    """One relaxed repeat. Lengths in plain loop lengths; axes as in `start`.

    chart: what was relaxed, the smallest repeat or a few of it. courses: a read-only array (nodes, 3) for each of its
    rows, from the repeat's left end to where it goes on, one repeat to the right. cell_w, cell_c: wale spacing and
    course height. diameter: of the yarn. energies: for each stage, the energy after each step; they never rise.
    closest: closest approach of two strands, over the diameter. longer: yarn in the cell that had to be given most,
    over what plain's tension feeds it (1 where the yarn fed fills the repeat).
    """

    chart: Chart
    courses: tuple[Floats, ...]
    cell_w: float
    cell_c: float
    diameter: float
    energies: tuple[tuple[float, ...], ...] = field(repr=False)
    closest: float
    longer: float


def smallest_repeat(chart: Chart) -> Chart:
    """The smallest repeat of the same cells, yarns left out."""
    cells = chart.cells
    height, width = cells.shape
    rows = next(n for n in range(1, height + 1) if height % n == 0 and _repeats(cells, n, 0))
    columns = next(n for n in range(1, width + 1) if width % n == 0 and _repeats(cells, n, 1))
    return Chart(cells[:rows, :columns].copy(), (None,) * rows)


def _repeats(cells: np.ndarray[tuple[int, ...], np.dtype[np.uint8]], period: int, axis: int) -> bool:
    return np.array_equal(np.roll(cells, period, axis=axis), cells)


def relax(chart: Chart, cell_w: float, cell_c: float, progress: Progress | None = None) -> Fabric:
    """Relax the smallest repeat of `chart` at a wale spacing and course height in plain loop lengths.

    progress: called with the share done, 0 to 1. Raises Refused with V701 (a needle never knits, so that its yarns
    hang in no loop), V702 (too large) or V703 (no settled shape was found).
    """
    return _relaxed(chart, (cell_w, cell_c), progress)


def relax_free(chart: Chart, progress: Progress | None = None) -> Fabric:
    """Relax the smallest repeat of `chart` and its cell with it. Raises as `relax` does."""
    return _relaxed(chart, None, progress)


def second_opinion(chart: Chart, relaxing: Callable[[Chart], Fabric] = relax_free) -> tuple[float, float]:
    """(F_w, F_c): stitches and rows per length over those of plain, both relaxed in a free cell.

    A second opinion and no more: elastic yarn alone does not choose the shape, friction and pressing do. With those
    fixed as here, F_w is uncertain to 10 to 25 % and F_c to 5 to 15 %. relaxing: where free fabrics come from. Raises
    as `relax` does.
    """
    fabric, plain = relaxing(chart), relaxing(Chart.plain(1, 1))
    return plain.cell_w / fabric.cell_w, plain.cell_c / fabric.cell_c


def _relaxed(chart: Chart, cell: tuple[float, float] | None, progress: Progress | None) -> Fabric:
    repeat = smallest_repeat(chart)
    _refuse(repeat)
    # Two wales and courses at least, so that a point is never near two copies of another.
    repeat = repeat.tiled(max(2, repeat.width), max(2, repeat.height))
    layout = lay_out(repeat)
    _refuse_deep(layout)
    start = start_shape(layout)
    prove(layout, start)
    alike = symmetries(repeat, layout)
    least = _least_longer(layout, cell) if cell else 1.0
    for longer in _LONGER if cell else (1.0,):
        for way in _WAYS:
            relaxation = _Relaxation(layout, alike, start, cell, longer * least, progress)
            if relaxation.shape(way) and relaxation.come_to_rest(way):
                return relaxation.fabric(repeat)
    raise Refused(
        Message(
            "V703",
            "error",
            f"The yarns of this repeat of {repeat.width} needles by {repeat.height} rows found no settled shape at its "
            "gauge, so there is no picture of it.",
            cure=f"Count its gauge again if it was measured; fewer holds in succession would help. {_OTHERWISE}",
        )
    )


_OTHERWISE: Final = "The drawn chart can be shown: `stitchc chart FILE --format png`."


def _refuse_deep(layout: Layout) -> None:
    deepest = max(layout.cells, key=lambda cell: cell.takes)
    if deepest.takes > MOST_TUCKS:
        raise Refused(
            Message(
                "V703",
                "error",
                f"Needle {deepest.column + 1} of the repeat takes {deepest.takes} tucks before it knits; with more "
                f"than {MOST_TUCKS} the yarns find no settled shape, so there is no picture of it.",
                cure=f"A hook holds about four (K202): let the needle knit more often. {_OTHERWISE}",
            )
        )


def _refuse(repeat: Chart) -> None:
    if repeat.width * repeat.height > MOST_CELLS:
        raise Refused(
            Message(
                "V702",
                "error",
                f"The repeat is {repeat.width} needles by {repeat.height} rows, {repeat.width * repeat.height:,} "
                f"cells; yarn by yarn at most {MOST_CELLS:,} can be drawn.",
                cure=f"Show a part of it as a stitch of its own. {_OTHERWISE}",
            )
        )
    never = np.flatnonzero(~repeat.knits.any(axis=0)) + 1
    if never.size:
        first = ", ".join(str(column) for column in never[:6].tolist()) + (", …" if never.size > 6 else "")
        which = f"needle {first} of the repeat never knits" if never.size == 1 else f"needles {first} never knit"
        raise Refused(
            Message(
                "V701",
                "error",
                f"The fabric can't be drawn: {which}, so the yarn there hangs in no loop.",
                cure="Let every needle knit in at least one row.",
            )
        )


class _Relaxation:
    """One layout on its way from the start to rest. at, w, c: node positions (3, nodes) and cell so far."""

    def __init__(
        self,
        layout: Layout,
        alike: Symmetries,
        start: Floats,
        cell: tuple[float, float] | None,
        longer: float,
        progress: Progress | None,
    ) -> None:
        self._longer = longer
        self._layout, self._start, self._progress = layout, start, progress
        self._energy = Energy(layout, 0.0 if cell is None else EVEN)
        self._solver = _Solver(self._energy, layout, alike)
        self._free = cell is None
        self._goal = cell or PLAIN_CELL
        self.w = _start_wale(self._energy, layout, start)
        self.c = self.w * START_COURSE
        self.at = start * self.w
        self._first, fed = _rest_lengths(layout, self.at, self.w, self._goal, self._free)
        self._fed = fed * longer
        self._energies: list[tuple[float, ...]] = []

    def shape(self, way: _Way) -> bool:
        """Bring rest lengths and cell to their goals with soft yarn; whether strands stayed apart."""
        (goal_w, goal_c), first_w, first_c = self._goal, self.w, self.c
        shrink = float(np.abs(np.log(self._first / self._fed)).max())
        far = max(abs(math.log(first_w / goal_w)), abs(math.log(first_c / goal_c)), shrink / 1.5)
        stages = max(6, math.ceil(far / way.ease))
        for stage in range(1, stages + 1):
            part = stage / stages
            self._solver.free = self._free and stage > 2
            if not self._solver.free:
                self._set_cell(first_w ** (1 - part) * goal_w**part, first_c ** (1 - part) * goal_c**part)
            rest = self._first ** (1 - part) * self._fed**part
            if not self._stage(
                rest, way.softness, way.leading * (1 - 0.9 * part), 0.7 * (stage - 1) / stages, 0.7 * part
            ):
                return False
        return True

    def come_to_rest(self, way: _Way) -> bool:
        """Let the yarn become firm and the textbook form go; whether the fabric came to rest with strands apart."""
        for stage in range(1, _FIRM_STAGES):
            part = stage / _FIRM_STAGES
            stretch = way.softness ** (1 - part) * _FIRMNESS[0] ** part
            begun, done = 0.7 + 0.1 * (stage - 1), 0.7 + 0.1 * stage
            if not self._stage(self._fed, stretch, 0.1 * way.leading * (1 - part), begun, done):
                return False
        for firmness in _FIRMNESS:
            if not self._stage(self._fed, firmness, 0.0, 0.9, 1.0, last=True):
                return False
            if self._solver.settled:
                return True
        return False

    def fabric(self, repeat: Chart) -> Fabric:
        """What it came to."""
        layout, energy = self._layout, self._energy
        ends = [layout.at(row, 0).first for row in range(layout.height)] + [layout.nodes]
        courses = tuple(self.at[:, ends[row] : ends[row + 1]].T.copy() for row in range(layout.height))
        for course in courses:
            course.setflags(write=False)
        strains = energy.strains(self.at, self.w * layout.width)
        return Fabric(
            chart=repeat,
            courses=courses,
            cell_w=self.w,
            cell_c=self.c,
            diameter=DIAMETER,
            energies=tuple(self._energies),
            closest=energy.closest / DIAMETER,
            longer=self._longer * (1 + max(0.0, float(strains.max()))),
        )

    def _set_cell(self, w: float, c: float) -> None:
        grow_w, grow_c = w / self.w, c / self.c
        self.at = self.at * np.array([[grow_w], [grow_c], [math.sqrt(grow_w * grow_c)]])
        self.w, self.c = w, c

    def _stage(
        self, rest: Floats, stretch: float, leading: float, begun: float, done: float, last: bool = False
    ) -> bool:
        depth = math.sqrt(self.w * self.c / START_COURSE)
        self._energy.lead(self._start * np.array([[1.0], [1 / START_COURSE], [depth]]), leading)
        self._energy.rest(rest, DIAMETER, self.at, self.w * self._layout.width, stretch)

        def tell(share: float) -> None:
            if self._progress is not None:
                self._progress(begun + (done - begun) * share)

        self.at, self.w, self.c, values = self._solver.minimise(self.at, self.w, self.c, last, tell)
        self._energies.append(tuple(values))
        return self._solver.kept_apart and 0.02 < self.w < 2 and 0.01 < self.c < 2


def _least_longer(layout: Layout, cell: tuple[float, float]) -> float:
    """How much longer than fed all yarn must be to reach round the legs and across the cells, at the very least."""
    w, c = cell
    needed = [w if each.kind == SLIP else w + 2 * c * each.span + 1.6 * DIAMETER for each in layout.cells]
    return max(1.0, sum(needed) / float(layout.fed.sum()))


def _start_wale(energy: Energy, layout: Layout, start: Floats) -> float:
    """The wale spacing to begin at, in loop lengths: larger where loops are stacked so deep that strands lie close."""
    w = _START_WALE
    width, height = w * layout.width, w * START_COURSE * layout.height
    edges = start[:, layout.next_node] - start
    edges[0] += layout.wraps * layout.width
    energy.rest(np.sqrt((edges * edges).sum(axis=0)) * w, DIAMETER, start * w, width)
    energy(start * w, width, height)
    return w * max(1.0, _START_CLEAR * DIAMETER / energy.closest)


def _rob(layout: Layout, fed: Floats, cell: tuple[float, float]) -> None:
    """Let held loops take the yarn that they lack from the other knitted loops of their course.

    Tuck and held loops, being under more tension, rob their neighbours of yarn and leave them smaller (Spencer,
    Knitting Technology, 3rd ed., 9.4, from memory). Without it a held loop spreads and the cloth opens in ladders.
    """
    w, c = cell
    for row in range(layout.height):
        knitted = [index for index, each in enumerate(layout.cells) if each.row == row and each.kind == KNIT]
        robbed = [index for index in knitted if layout.cells[index].span == 1]
        reach = np.array([w + 2 * c * min(layout.cells[index].span, MOST_RISEN) + 1.6 * DIAMETER for index in knitted])
        lack = np.maximum(0.0, HELD * reach - fed[knitted]) * [layout.cells[index].span > 1 for index in knitted]
        if not robbed or not lack.any():
            continue
        taken = min(float(lack.sum()), ROBBED * float(fed[robbed].sum()))
        fed[robbed] *= 1 - taken / float(fed[robbed].sum())
        fed[knitted] += lack * (taken / float(lack.sum()))


def _rest_lengths(layout: Layout, at: Floats, w: float, goal: tuple[float, float], free: bool) -> tuple[Floats, Floats]:
    """Rest length of each node's edge at the start (all equal in a cell) and of the yarn as fed."""
    edges = at[:, layout.next_node] - at
    edges[0] += layout.wraps * layout.width * w
    length = np.sqrt((edges * edges).sum(axis=0))
    counts = np.array([cell.count for cell in layout.cells])
    at_first = np.bincount(layout.cell, length) / counts
    # A course that only slips is laid in straight: it has no loop to give its slack to.
    fed = layout.fed
    for row in range(layout.height):
        cells = slice(row * layout.width, (row + 1) * layout.width)
        if all(cell.kind == SLIP for cell in layout.cells[cells]):
            fed[cells] = 1.02 * goal[0]
    if not free:
        _rob(layout, fed, goal)
    return at_first[layout.cell], (fed / counts)[layout.cell]


class _Solver:
    """Quasi-Newton steps down the energy of one layout. free: whether the cell is unknown as well.

    After `minimise`: kept_apart says whether strands are as far apart as they must be, settled whether it came to rest.
    """

    free = False
    kept_apart = True
    settled = False

    def __init__(self, energy: Energy, layout: Layout, alike: Symmetries) -> None:
        self._energy, self._layout, self._alike = energy, layout, alike

    def minimise(
        self, at: Floats, w: float, c: float, last: bool, tell: Progress
    ) -> tuple[Floats, float, float, list[float]]:
        """Step down from positions `at`, to rest if it is the last stage; returns positions, cell and the energies."""
        diameter, n = self._energy.diameter, self._layout.nodes
        cap = _STEP * diameter
        steps, tolerance, fresh = (160 if n > _LARGE else 400, 1e-6, 30) if last else (25, 1e-3, 25)
        self._first_cell = w, c
        x = np.concatenate([at.ravel(), np.zeros(2 if self.free else 0)])
        value, gradient, clear = self._evaluate(x)
        values = [value]
        self._measure(x)
        memory: list[tuple[Floats, Floats, float]] = []
        since, longest = 0, math.inf
        for step_number in range(steps):
            direction = -self._two_loop(gradient, memory)
            moves = direction[: 3 * n].reshape(3, n)
            moves[:] = self._alike.applied(moves)
            slope = _dot(direction, gradient)
            longest = math.sqrt(float((moves * moves).sum(axis=0).max()))
            if self.free:  # growth carries all along with it; a quarter is the most that neighbours part by it
                longest = max(longest, 0.25 * float(np.abs(direction[3 * n :]).max()))
            part = min(1.0, cap / max(longest, 1e-300))
            for _ in range(10):
                x_new = x + part * direction
                value_new, gradient_new, clear_new = self._evaluate(x_new)
                if value_new <= value + 1e-4 * part * slope and clear_new >= min(0.0, clear):
                    break
                part *= 0.4
            else:
                if since == 0:
                    break
                self._measure(x)
                memory, since = [], 0
                continue
            step, change = x_new - x, gradient_new - gradient
            curved = _dot(step, change)
            if curved > 1e-10 * math.sqrt(_dot(step, step) * _dot(change, change)):
                memory = [*memory, (step, change, 1 / curved)][-_MEMORY:]
            fall = value - value_new
            x, value, gradient, clear = x_new, value_new, gradient_new, clear_new
            values.append(value)
            since += 1
            tell((step_number + 1) / steps)
            if longest < 0.1 * cap and fall < tolerance * value:
                break
            # In a large repeat some strand always still creeps a little; what can be seen is at rest long before.
            if last and n > _LARGE and len(values) > _SPELL and values[-_SPELL] - value < 1e-4 * value:
                break
            if since >= fresh:
                self._measure(x)
                memory, since = [], 0
        self.kept_apart = clear >= 0
        self.settled = longest < 0.5 * cap or (
            len(values) > _SPELL and values[-_SPELL] - value < (1e-4 if n > _LARGE else 1e-5) * value
        )
        place, w, c = self._unpacked(x)
        self._energy(place, w * self._layout.width, c * self._layout.height)
        return place, w, c, values

    def _unpacked(self, x: Floats) -> tuple[Floats, float, float]:
        n, (w, c) = self._layout.nodes, self._first_cell
        place = x[: 3 * n].reshape(3, n)
        if not self.free:
            return place, w, c
        grow_w, grow_c = np.exp(x[3 * n :]).tolist()
        return place * np.array([[grow_w], [grow_c], [1.0]]), w * grow_w, c * grow_c

    def _evaluate(self, x: Floats) -> tuple[float, Floats, float]:
        """Energy, gradient, and how much farther strands are apart than they must be."""
        place, w, c = self._unpacked(x)
        value, gradient, growth = self._energy(place, w * self._layout.width, c * self._layout.height)
        diameter = self._energy.diameter
        least = max(CLOSEST * diameter, self._energy.coarsest / math.sqrt(2) + 2 * _STEP * diameter)
        clear = self._energy.closest - least
        if self.free:
            gradient[:2] *= np.exp(x[3 * self._layout.nodes :])[:, None]
            return value, np.concatenate([gradient.ravel(), growth]), clear
        return value, gradient.ravel(), clear

    def _measure(self, x: Floats) -> None:
        """Make the metric of the steps: the curvature here, factorised."""
        from scipy.sparse.linalg import splu

        place, w, c = self._unpacked(x)
        curvature = self._energy.curvature(place, w * self._layout.width, c * self._layout.height)
        matrix, self._border, corner = curvature
        # relax=1: with the default, small dense blocks are handed to a threaded BLAS, which is 30 times slower here.
        self._factors = splu(
            matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, relax=1, options={"SymmetricMode": True}
        )
        if self.free:
            self._through = self._factors.solve(self._border)
            self._corner = corner - self._border.T @ self._through + np.eye(2) * 1e-3 * np.trace(corner)

    def _two_loop(self, gradient: Floats, memory: list[tuple[Floats, Floats, float]]) -> Floats:
        """The quasi-Newton direction, uphill."""
        vector = gradient.copy()
        shares = []
        for step, change, over in reversed(memory):
            share = over * _dot(step, vector)
            shares.append(share)
            vector -= share * change
        vector = self._solved(vector)
        for (step, change, over), share in zip(memory, reversed(shares), strict=True):
            vector += step * (share - over * _dot(change, vector))
        return vector

    def _solved(self, vector: Floats) -> Floats:
        n = self._layout.nodes
        inner = self._factors.solve(vector[: 3 * n].reshape(3, n).T.ravel())
        result = np.empty_like(vector)
        if self.free:
            outer = np.linalg.solve(self._corner, vector[3 * n :] - self._border.T @ inner)
            inner = inner - self._through @ outer
            result[3 * n :] = outer
        result[: 3 * n] = inner.reshape(n, 3).T.ravel()
        return result


def _dot(one: Floats, two: Floats) -> float:
    """The inner product without BLAS, whose threads wait for each other on a busy machine at every one of these."""
    return float(np.einsum("i,i->", one, two))

"""One repeat of fabric relaxed to rest: its yarns' shape at a given cell, or at the cell they choose themselves.

Knows the chart, the start and the energy; nothing of pictures or of measured gauges.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from stitchc.chart import Chart
from stitchc.fabric.descent import Descent, Shape, descend
from stitchc.fabric.energy import MEASURED, SEEN, STRETCH, Energy
from stitchc.fabric.start import DIAMETER, NODES, SLIP_FED, START_COURSE, Floats, Layout, lay_out, start_shape
from stitchc.fabric.symmetry import Symmetries, symmetries
from stitchc.fabric.topology import prove
from stitchc.messages import Message, Refused

PLAIN_CELL: Final = (1 / 4.1, 1 / 5.3)
"""Wale spacing and course height of plain in plain loop lengths: Munden's constants, wet relaxed (Munden 1959, J. Text.
Inst. 50 T448, as quoted in Spencer, Knitting Technology, 3rd ed., 22.5)."""

PITCH_MM: Final = 4.5
"""From needle to needle of the bed, where no machine says otherwise."""

MOST_CELLS: Final = 1600
"""The largest repeat that is relaxed, in cells."""

MOST_TUCKS: Final = 10
"""The most tuck loops that a needle may knit off at once."""

_START_WALE: Final = 0.34
_START_CLEAR: Final = 0.7
_LARGE: Final = 85
"""Larger repeats, in cells, take fewer steps a stage and count as resting when what still creeps can't be seen."""

_LENGTHENED: Final = 1.25
"""How much longer and narrower than at rest the free fabric is pulled and let go again: under its weights on the bed it
hung longer still. Of two shapes of rest it keeps the longer one; from 1.2 to 1.4 it is the same one."""
_PULLS: Final = 4

_LEAST_STAGES: Final = 6
_FIRM_STAGES: Final = 2


@dataclass(frozen=True)
class _Way:
    """How to go from the start to the shape at rest, over stages in which rest lengths and cell reach their goals.

    ease: most that the logarithm of a length changes in a stage. softness: of the yarn meanwhile, since soft yarn
    can't cut through contacts. leading: how firmly loops are kept to the start's textbook form until the end.
    """

    ease: float
    softness: float
    leading: float


_WAYS: Final = (_Way(0.10, 1000.0, 1e3), _Way(0.04, 300.0, 3e3))
"""Tried one after the other until strands stay apart and come to rest."""

_LONGER: Final = (1.0, 1.15, 1.35)
"""How much longer than fed the yarn is, tried one after the other where a given cell is too large for what is fed."""

_FIRMNESS: Final = (STRETCH, STRETCH / 10, STRETCH / 30)
"""Of the yarn at rest, tried one after the other: yarn that gives way stands for loops that were knitted longer."""


@dataclass(frozen=True, eq=False)
class Fabric:
    """One repeat, relaxed or on its way. Lengths in plain loop lengths; axes as in `start`.

    chart: what was relaxed, the smallest repeat or a few of it. courses: a read-only array (nodes, 3) for each of its
    rows, from the repeat's left end to where it goes on, one repeat to the right. cell_w, cell_c: wale spacing and
    course height. diameter: of the yarn. energies: for each stage, the energy after each step; they never rise.
    closest: closest approach of two strands, over the diameter. longer: yarn in the cell that had to be given most,
    over what plain's tension feeds it (1 where the yarn fed fills the repeat). done: share of the way to rest.
    """

    chart: Chart
    courses: tuple[Floats, ...]
    cell_w: float
    cell_c: float
    diameter: float
    energies: tuple[tuple[float, ...], ...] = field(repr=False)
    closest: float
    longer: float
    done: float = 1.0


def smallest_repeat(chart: Chart) -> Chart:
    """The smallest repeat of the same cells, yarns left out."""
    return replace(chart, yarns=(None,) * chart.height).smallest_repeat()


def relaxed_repeat(chart: Chart) -> Chart:
    """What is relaxed for a chart: its smallest repeat, of two wales and courses at least, so that a point is never
    near two copies of another."""
    repeat = smallest_repeat(chart)
    return repeat.tiled(max(2, repeat.width), max(2, repeat.height))


def relaxing(chart: Chart, cell: tuple[float, float] | None, slip_fed: float = SLIP_FED) -> Iterator[Fabric]:
    """Relax the smallest repeat of `chart`: first its textbook form, then shapes nearer and nearer to rest; the last
    one is at rest and has `done` 1.

    cell: wale spacing and course height in plain loop lengths, or None for those that the yarns choose. slip_fed: yarn
    laid across a needle that slips, in plain loop lengths. Raises Refused with V701 (a needle never knits, so that its
    yarns hang in no loop), V702 (too large) or V703 (no settled shape was found).
    """
    repeat = relaxed_repeat(chart)
    _refuse(repeat)
    layout = lay_out(repeat, slip_fed)
    _refuse_deep(layout)
    start = start_shape(layout)
    prove(layout, start)
    alike = symmetries(repeat, layout)
    least = _least_longer(layout, cell) if cell else 1.0
    for longer in _LONGER if cell else (1.0,):
        for way in _WAYS:
            relaxation = _Relaxation(repeat, layout, alike, start, cell, longer * least)
            if way is _WAYS[0] and longer == 1.0:
                yield relaxation.fabric(0.0)
            for done in relaxation.stages(way):
                yield relaxation.fabric(done)
            if relaxation.at_rest:
                return
    raise Refused(
        Message(
            "V703",
            "error",
            f"The yarns of this repeat of {repeat.width} needles by {repeat.height} rows find no shape of rest at its "
            f"gauge, so there is no picture of it.",
            advice=f"If its gauge was measured, count it again; fewer holds in succession help too. {_OTHERWISE}",
        )
    )


def relax(chart: Chart, cell_w: float, cell_c: float, slip_fed: float = SLIP_FED) -> Fabric:
    """The smallest repeat of `chart` at rest at a wale spacing and course height. Raises as `relaxing` does."""
    *_, fabric = relaxing(chart, (cell_w, cell_c), slip_fed)
    return fabric


def relax_free(chart: Chart, slip_fed: float = SLIP_FED) -> Fabric:
    """The smallest repeat of `chart` at rest in the cell that its yarns choose. Raises as `relaxing` does."""
    *_, fabric = relaxing(chart, None, slip_fed)
    return fabric


def loop_yarn_mm(stitches_per_10cm: float, rows_per_10cm: float) -> float:
    """Yarn in a plain loop, in mm, by plain's gauge (the mean of what stitches and rows say)."""
    return 100 / math.sqrt(stitches_per_10cm * PLAIN_CELL[0] * rows_per_10cm * PLAIN_CELL[1])


def slip_yarn(stitches_per_10cm: float, rows_per_10cm: float, pitch_mm: float = PITCH_MM) -> float:
    """Yarn that the carriage lays straight across a needle that slips, in plain loop lengths, by plain's gauge."""
    return pitch_mm / loop_yarn_mm(stitches_per_10cm, rows_per_10cm)


_OTHERWISE: Final = "You can still have the drawn chart: `stitchc chart FILE --format png`."


def _refuse_deep(layout: Layout) -> None:
    deepest = max(layout.cells, key=lambda cell: cell.takes)
    if deepest.takes > MOST_TUCKS:
        raise Refused(
            Message(
                "V703",
                "error",
                f"Needle {deepest.column + 1} of the repeat takes {deepest.takes} tucks before it knits; with more "
                f"than {MOST_TUCKS} the yarns find no shape of rest, so there is no picture of it.",
                advice=f"A hook holds about four (K202): let the needle knit more often. {_OTHERWISE}",
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
                advice=f"Show a part of it as a separate stitch. {_OTHERWISE}",
            )
        )
    never = np.flatnonzero(repeat.in_work & ~repeat.knits.any(axis=0)) + 1
    if never.size:
        first = ", ".join(str(column) for column in never[:6].tolist()) + (", …" if never.size > 6 else "")
        which = f"needle {first} of the repeat never knits" if never.size == 1 else f"needles {first} never knit"
        raise Refused(
            Message(
                "V701",
                "error",
                f"The fabric can't be drawn: {which}, so the yarn there hangs in no loop.",
                advice="Let every needle in work knit in at least one row.",
            )
        )


class _Relaxation:
    """One layout on its way from the start to rest. at_rest: whether it came there with strands apart."""

    at_rest = False

    def __init__(
        self,
        chart: Chart,
        layout: Layout,
        alike: Symmetries,
        start: Floats,
        cell: tuple[float, float] | None,
        longer: float,
    ) -> None:
        self._chart, self._layout, self._alike, self._start = chart, layout, alike, start
        self._free, self._goal, self._longer = cell is None, cell or PLAIN_CELL, longer
        ground = MEASURED if cell is None else SEEN
        self._energy, self._diameter = Energy(layout, ground), ground.yarn.diameter
        w = self._start_wale()
        self._shape = Shape(start * w, w, w * START_COURSE)
        self._first, fed = _rest_lengths(layout, self._shape, self._goal, self._free)
        self._fed = fed * longer
        self._energies: list[tuple[float, ...]] = []

    def stages(self, way: _Way) -> Iterator[float]:
        """Bring rest lengths and cell to their goals with soft yarn, then let the yarn become firm and the textbook
        form go; the share done after each stage. Ends early where strands did not stay apart."""
        (goal_w, goal_c), (_, first_w, first_c) = self._goal, self._shape
        shrink = float(np.abs(np.log(self._first / self._fed)).max())
        far = max(abs(math.log(first_w / goal_w)), abs(math.log(first_c / goal_c)), shrink / 1.5)
        stages = max(_LEAST_STAGES, math.ceil(far / way.ease))
        whole = stages + _FIRM_STAGES + 1
        for stage in range(1, stages + 1):
            part = stage / stages
            free = self._free and stage > 2
            if not free:
                self._set_cell(first_w ** (1 - part) * goal_w**part, first_c ** (1 - part) * goal_c**part)
            rest = self._first ** (1 - part) * self._fed**part
            if not self._stage(rest, way.softness, way.leading * (1 - 0.9 * part), free).apart:
                return
            yield stage / whole
        for stage in range(1, _FIRM_STAGES + 1):
            part = stage / (_FIRM_STAGES + 1)
            stretch = way.softness ** (1 - part) * _FIRMNESS[0] ** part
            if not self._stage(self._fed, stretch, 0.1 * way.leading * (1 - part), self._free).apart:
                return
            yield (stages + stage) / whole
        if self._free and not self._pulled():
            return
        for firmness in _FIRMNESS:
            last = self._stage(self._fed, firmness, 0.0, self._free, last=True)
            if not last.apart:
                return
            if last.at_rest:
                self.at_rest = True
                yield 1.0
                return

    def _pulled(self) -> bool:
        """Pull the fabric lengthwise; whether strands stayed apart."""
        for _ in range(_PULLS):
            grown = _LENGTHENED ** (1 / _PULLS)
            self._set_cell(self._shape.w / grown, self._shape.c * grown)
            if not self._stage(self._fed, _FIRMNESS[0], 0.0, False).apart:
                return False
        return True

    def fabric(self, done: float) -> Fabric:
        """Its shape now, in the cell that it is to have."""
        layout, (nodes, w, c) = self._layout, self._shape
        if not self._free:
            goal_w, goal_c = self._goal
            nodes = nodes * np.array([[goal_w / w], [goal_c / c], [math.sqrt(goal_w * goal_c / w / c)]])
            w, c = self._goal
        courses = nodes.reshape(3, layout.height, -1).transpose(1, 2, 0).copy()
        courses.setflags(write=False)
        strains = self._energy.strains(nodes, w * layout.width) if done else np.zeros(1)
        return Fabric(
            chart=self._chart,
            courses=tuple(courses),
            cell_w=w,
            cell_c=c,
            diameter=self._diameter,
            energies=tuple(self._energies),
            closest=self._energy.closest / self._diameter,
            longer=self._longer * (1 + max(0.0, float(strains.max()))),
            done=done,
        )

    def _start_wale(self) -> float:
        """The wale spacing to begin at: larger where loops are stacked so deep that strands lie close."""
        layout, w = self._layout, _START_WALE
        nodes, width, height = self._start * w, w * layout.width, w * START_COURSE * layout.height
        self._energy.rest(_lengths(layout.edges(nodes, width)), self._diameter, nodes, width)
        self._energy(nodes, width, height)
        return w * max(1.0, _START_CLEAR * self._diameter / self._energy.closest)

    def _set_cell(self, w: float, c: float) -> None:
        grow_w, grow_c = w / self._shape.w, c / self._shape.c
        grow = np.array([[grow_w], [grow_c], [math.sqrt(grow_w * grow_c)]])
        self._shape = Shape(self._shape.nodes * grow, w, c)

    def _stage(self, rest: Floats, stretch: float, leading: float, free: bool, last: bool = False) -> Descent:
        nodes, w, c = self._shape
        depth = math.sqrt(w * c / START_COURSE)
        self._energy.lead(self._start * np.array([[1.0], [1 / START_COURSE], [depth]]), leading)
        self._energy.rest(rest, self._diameter, nodes, w * self._layout.width, stretch)
        large = len(self._layout.cells) > _LARGE
        if last:
            steps, tolerance, enough = (160, 1e-6, 2e-3) if large else (400, 1e-6, 0.0)
        else:
            steps, tolerance, enough = 12 if large else 25, 1e-3, 0.0
        descent = descend(self._energy, self._alike, self._shape, free, steps, tolerance, enough)
        self._shape = descent.shape
        self._energies.append(descent.energies)
        sane = 0.02 < self._shape.w < 2 and 0.01 < self._shape.c < 2
        return descent._replace(apart=descent.apart and sane)


def _rest_lengths(layout: Layout, shape: Shape, goal: tuple[float, float], free: bool) -> tuple[Floats, Floats]:
    """Rest length of each node's edge at the start and of the yarn as fed (all equal in a cell)."""
    # A course that only slips is laid in straight: it has no loop to give its slack to.
    fed = layout.fed.copy()
    for row in range(layout.height):
        cells = slice(row * layout.width, (row + 1) * layout.width)
        if not any(cell.looped for cell in layout.cells[cells]):
            fed[cells] = 1.02 * goal[0]
    if not free:
        _rob(layout, fed, goal)
    return _lengths(layout.edges(shape.nodes, layout.width * shape.w)), np.repeat(fed / NODES, NODES)


def _lengths(edges: Floats) -> Floats:
    lengths: Floats = np.sqrt((edges * edges).sum(axis=0))
    return lengths


def _least_longer(layout: Layout, cell: tuple[float, float]) -> float:
    """How much longer than fed all yarn must be to reach round the legs and across the cells, at the very least."""
    w, c = cell
    needed = [w if not each.looped else w + 2 * c * each.span + 1.6 * DIAMETER for each in layout.cells]
    return max(1.0, sum(needed) / float(layout.fed.sum()))


def _rob(layout: Layout, fed: Floats, cell: tuple[float, float]) -> None:
    """Let each three loops beside each other share their yarn by how far each has to reach at the given cell.

    Tuck and held loops, being under more tension, rob their neighbours of yarn and leave them smaller (Spencer,
    Knitting Technology, 3rd ed., 9.4, from memory); friction keeps yarn from coming from farther off (common practice,
    no source). Without it held loops are as short as the others and gape instead of being drawn together.
    """
    w, c = cell
    for row in range(layout.height):
        looped = [index for index, each in enumerate(layout.cells) if each.row == row and each.looped]
        reach = np.array([w + 2 * c * layout.cells[index].span + 1.6 * DIAMETER for index in looped])
        rate = _with_neighbours(fed[looped]) / _with_neighbours(reach) / 3
        fed[looped] = reach * _with_neighbours(rate)


def _with_neighbours(values: Floats) -> Floats:
    """Of each value along a course its sum with the two beside it."""
    sums: Floats = values + np.roll(values, 1) + np.roll(values, -1)
    return sums

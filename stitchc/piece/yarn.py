"""What yarn a piece takes: every cell that its passes knit, by yarn, in metres and grams with a range.

Counts the passes as they lie on the needles, edges and added rows with them; knows nothing of words.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import islice, pairwise
from typing import Final, NamedTuple, TypeAlias

import numpy as np
import numpy.typing as npt

from stitchc.bed import Needles
from stitchc.gauge.gauges import Range
from stitchc.gauge.weights import tex_of
from stitchc.gauge.yarn import Cells, grams, metres_of, total
from stitchc.passes import Pass
from stitchc.pattern import Ball, Pattern
from stitchc.piece.plan import Plan

_OnNeedles: TypeAlias = "npt.NDArray[np.bool_]"

ALLOWANCE: Final = 0.10
"""What to have over: cast-on, ends and a row gone wrong. A tenth is common practice, no source."""


class ToHave(NamedTuple):
    """What to have at hand: three ways to say one amount. grams: None where the yarn's tex is not known; balls: None
    where its balls are not known."""

    metres: float
    grams: float | None
    balls: int | None


@dataclass(frozen=True)
class YarnNeeded:
    """One yarn of a piece. name: None for rows whose yarn is not named. rows: in which it is knitted.

    metres is None where the gauge of stocking stitch is not known, grams where the yarn's tex is not known either.
    Both are what the fabric holds. swatch_metres: what swatches take, where they are counted with it.
    """

    name: str | None
    description: str
    rows: int
    cells: Cells
    tex: Range | None
    metres: Range | None
    grams: Range | None
    ball: Ball | None = None

    swatch_metres: float = 0.0

    def to_have(self, whole_range: bool = True) -> ToHave | None:
        """What to have at hand, so that nine knitters in ten and more have enough, or else half of them; rounded up.

        Grams and balls follow from the metres: each rounded up by itself, they would not be the same amount.
        """
        if self.metres is None:
            return None
        fabric = self.metres.high if whole_range else self.metres.value
        metres = _up(fabric * (1 + ALLOWANCE) + self.swatch_metres)
        if self.grams is None or self.tex is None:
            return ToHave(metres, None, None)
        if self.ball is None:
            return ToHave(metres, _up(metres * self.grams.high / self.metres.high), None)
        tex = self.tex.value
        if tex == self.ball.tex:  # which is rounded
            tex = 1000 * self.ball.grams / self.ball.metres
        grams = metres * tex / 1000
        balls = math.ceil(grams / self.ball.grams - 1e-9)
        return ToHave(metres, min(_up(grams), balls * self.ball.grams), balls)


def _up(value: float) -> float:
    """Rounded up to what can be bought or weighed out: fives, or tens over a hundred."""
    step = 5 if value < 100 else 10
    return math.ceil(value / step - 1e-9) * step


def yarn_needed(plan: Plan, after_row: int = 0) -> tuple[YarnNeeded, ...]:
    """Each yarn of the piece, in the order of the file; of the rows after `after_row` alone."""
    main = plan.pattern.main_yarn
    rows: dict[str | None, Counter[Cells]] = {}
    for yarn, counted in islice(cells_of_passes(plan.passes, plan.needles), after_row, None):
        name = main.name if yarn is None and main is not None else yarn
        rows.setdefault(name, Counter())[counted] += 1
    cells = {
        name: sum((counted.times(count) for counted, count in of_yarn.items()), Cells())
        for name, of_yarn in rows.items()
    }
    needed = []
    for name, counted in plan.pattern.by_yarn(cells).items():
        yarn_line = plan.pattern.yarns.get(name) if name is not None else None
        tex = tex_of(yarn_line) if yarn_line is not None else None
        metres = metres_of(plan.report.in_yarn(name), counted, plan.machine.pitch_mm)
        weight = grams(metres, tex) if metres is not None and tex is not None else None
        description = yarn_line.description if yarn_line is not None else ""
        ball = yarn_line.ball if yarn_line is not None else None
        needed.append(YarnNeeded(name, description, rows[name].total(), counted, tex, metres, weight, ball))
    return tuple(needed)


@dataclass(frozen=True)
class AllYarn:
    """The yarn of all pieces of a pattern together.

    pieces: their names and how many of each are knitted. sizes: for each size, which `labels` name, the yarns.
    in_one_size: pieces whose sizes do not go along with these, and the one that is counted. left_out: pieces that could
    not be planned.
    """

    pieces: tuple[tuple[str, int], ...]
    sizes: tuple[tuple[YarnNeeded, ...], ...]
    labels: tuple[str, ...] = ()
    in_one_size: tuple[tuple[str, str], ...] = ()
    left_out: tuple[str, ...] = ()

    @property
    def is_one_piece(self) -> bool:
        """Whether it is the yarn of one piece, knitted once."""
        return [count for _, count in self.pieces] == [1]

    def with_swatches(self, metres: Mapping[str | None, float]) -> AllYarn:
        """The same with what swatches take of each yarn."""
        sizes = (tuple(replace(yarn, swatch_metres=metres.get(yarn.name, 0.0)) for yarn in size) for size in self.sizes)
        return replace(self, sizes=tuple(sizes))


def yarn_together(pattern: Pattern, needed: Iterable[tuple[int, Iterable[YarnNeeded]]]) -> tuple[YarnNeeded, ...]:
    """The yarns of several pieces, of each so many, in the order of the file; the amounts of one yarn vary together."""
    parts_by_name: dict[str | None, list[tuple[int, YarnNeeded]]] = {}
    for count, yarns in needed:
        for yarn in yarns:
            parts_by_name.setdefault(yarn.name, []).append((count, yarn))
    return tuple(
        replace(
            parts[0][1],
            rows=sum(count * yarn.rows for count, yarn in parts),
            cells=sum((yarn.cells.times(count) for count, yarn in parts), Cells()),
            metres=total(None if yarn.metres is None else yarn.metres.times(count) for count, yarn in parts),
            grams=total(None if yarn.grams is None else yarn.grams.times(count) for count, yarn in parts),
        )
        for parts in pattern.by_yarn(parts_by_name).values()
    )


def cells_of_passes(passes: Iterable[Pass], needles: Needles) -> Iterator[tuple[str | None, Cells]]:
    """For each pass its yarn and its cells; a tuck over a tuck that has not been knitted off is a further tuck."""
    none = np.zeros(needles.count, dtype=bool)
    tucked = none
    # By identity, which all that is kept here holds on to: the rows of a repeat share their needles.
    known: dict[tuple[int, ...], tuple[Pass, _OnNeedles, Cells, _OnNeedles]] = {}
    for each in passes:
        key = (id(each.held), id(each.slipped), id(each.empty), id(tucked))
        if key not in known:
            known[key] = (each, tucked, *_cells_of(each, needles, tucked, none))
        *_, cells, tucked = known[key]
        yield each.yarn, cells


def _cells_of(each: Pass, needles: Needles, tucked: _OnNeedles, none: _OnNeedles) -> tuple[Cells, _OnNeedles]:
    """The cells of one pass, and which needles hold a tuck after it. tucked: those that do before it; none: no needle
    does."""
    out = len(each.empty)
    bars = sum(needle - 1 != before for before, needle in pairwise((needles.first - 1, *sorted(each.empty))))
    if not each.held:
        return Cells(knits=float(needles.count - out), slips=float(out), bars=float(bars)), none
    held = np.zeros(needles.count, dtype=bool)
    held[np.array(each.held) - needles.first] = True
    tucks = held.copy()
    tucks[np.array(each.slipped, dtype=np.int64) - needles.first] = False
    further = int((tucks & tucked).sum())
    cells = Cells(
        knits=float(needles.count - held.sum() - out),
        tucks=float(tucks.sum() - further),
        further_tucks=float(further),
        slips=float(held.sum() - tucks.sum() + out),
        bars=float(bars),
    )
    return cells, (tucked & held) | tucks

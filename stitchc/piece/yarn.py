"""What yarn a piece takes: every cell that its passes knit, by yarn, in metres and grams with a range.

Counts the passes as they lie on the needles, edges and added rows with them; knows nothing of words.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import islice, pairwise
from typing import Final

import numpy as np

from stitchc.bed import Needles
from stitchc.gauge.values import Range
from stitchc.gauge.weights import tex_of
from stitchc.gauge.yarn import Cells, grams, metres_of, total
from stitchc.passes import Pass
from stitchc.pattern import Ball, Pattern
from stitchc.piece.plan import Plan

ALLOWANCE: Final = 0.10
"""What to have over: swatch, cast-on, ends and a row gone wrong. A tenth is common practice, no source."""


@dataclass(frozen=True)
class YarnNeeded:
    """One yarn of a piece. name: None for rows whose yarn is not named. rows: in which it is knitted.

    metres is None where the gauge of stocking stitch is not known, grams where the yarn's tex is not known either.
    Both are what the fabric holds; `to_have` adds the allowance to the upper bound.
    """

    name: str | None
    description: str
    rows: int
    cells: Cells
    tex: Range | None
    metres: Range | None
    grams: Range | None
    ball: Ball | None = None

    def to_have(self) -> tuple[float | None, float | None]:
        """Metres and grams to have at hand, so that nine knitters in ten and more have enough."""
        metres, weight = (
            None if amount is None else amount.high * (1 + ALLOWANCE) for amount in (self.metres, self.grams)
        )
        return metres, weight


def yarn_needed(plan: Plan, after_row: int = 0) -> tuple[YarnNeeded, ...]:
    """Each yarn of the piece, in the order of the file; of the rows after `after_row` alone."""
    main = plan.pattern.main_yarn
    cells: dict[str | None, Cells] = {}
    rows: dict[str | None, int] = {}
    for yarn, counted in islice(cells_of_passes(plan.passes, plan.needles), after_row, None):
        name = main.name if yarn is None and main is not None else yarn
        cells[name] = cells.get(name, Cells()) + counted
        rows[name] = rows.get(name, 0) + 1
    needed = []
    for name, counted in plan.pattern.by_yarn(cells).items():
        yarn_line = plan.pattern.yarns.get(name) if name is not None else None
        tex = tex_of(yarn_line) if yarn_line is not None else None
        metres = metres_of(plan.report.in_yarn(name), counted, plan.machine.pitch_mm)
        weight = grams(metres, tex) if metres is not None and tex is not None else None
        description = yarn_line.description if yarn_line is not None else ""
        ball = yarn_line.ball if yarn_line is not None else None
        needed.append(YarnNeeded(name, description, rows[name], counted, tex, metres, weight, ball))
    return tuple(needed)


@dataclass(frozen=True)
class BallsNeeded:
    """Whole balls to buy. count: for the middle of the range; spare: more, with which the upper end is enough too; both
    with the allowance."""

    ball: Ball
    count: int
    spare: int


def balls_of(yarn: YarnNeeded) -> BallsNeeded | None:
    """The balls of a yarn, by weight where that is known; None where its balls or its amount are not known."""
    amount, size = (yarn.metres, "metres") if yarn.grams is None else (yarn.grams, "grams")
    if yarn.ball is None or amount is None:
        return None
    middle, upper = (
        math.ceil(bound * (1 + ALLOWANCE) / getattr(yarn.ball, size)) for bound in (amount.value, amount.high)
    )
    return BallsNeeded(yarn.ball, middle, upper - middle)


@dataclass(frozen=True)
class AllYarn:
    """The yarn of all pieces of a pattern together.

    pieces: their names and how many of each are knitted. sizes: for each size that is planned, the yarns. in_one_size:
    pieces whose sizes do not go along with these, and the one that is counted. left_out: pieces that could not be
    planned.
    """

    pieces: tuple[tuple[str, int], ...]
    sizes: tuple[tuple[YarnNeeded, ...], ...]
    in_one_size: tuple[tuple[str, str], ...] = ()
    left_out: tuple[str, ...] = ()


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


def cells_of_passes(passes: Iterable[Pass], needles: Needles) -> Iterable[tuple[str | None, Cells]]:
    """For each pass its yarn and its cells; a tuck over a tuck that has not been knitted off is a further tuck."""
    tucked = np.zeros(needles.count, dtype=bool)
    for each in passes:
        out = len(each.empty)
        bars = sum(needle - 1 != before for before, needle in pairwise((needles.first - 1, *sorted(each.empty))))
        if not each.held:
            tucked[:] = False
            yield each.yarn, Cells(knits=float(needles.count - out), slips=float(out), bars=float(bars))
            continue
        held = np.zeros(needles.count, dtype=bool)
        held[np.array(each.held) - needles.first] = True
        tucks = held.copy()
        tucks[np.array(each.slipped, dtype=np.int64) - needles.first] = False
        further = int((tucks & tucked).sum())
        yield (
            each.yarn,
            Cells(
                knits=float(needles.count - held.sum() - out),
                tucks=float(tucks.sum() - further),
                further_tucks=float(further),
                slips=float(held.sum() - tucks.sum() + out),
                bars=float(bars),
            ),
        )
        tucked = (tucked & held) | tucks

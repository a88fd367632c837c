"""Sizes into counts and back: needles for a width, rows for a length, and what the rounding did.

Plain arithmetic on gauges with their ranges; knows no pattern, machine or pass.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from stitchc.gauge.gauges import Direction, Joint, Range

ALL_WHOLE_WITHIN: Final = 0.03
"""How far from the size asked a width may be so that every stitch of a piece comes out in whole repeats, not only the
one that sets the width. A choice of ours: 3 % of a cowl is less than its gauge is known by."""


@dataclass(frozen=True)
class Choice:
    """A count that could be knitted: needles or rows, the whole repeats in it, and the size in mm it would give."""

    count: int
    repeats: int
    mm: float


@dataclass(frozen=True)
class Rounding:
    """What became of a size asked for: `chosen` is the nearest; `smaller` is None where nothing smaller goes.

    asked_mm and the choices' mm are all measured alike (a finished width: the seam allowance is taken off).
    unit: needles or rows that one step is made of.
    """

    asked_mm: float
    unit: int
    chosen: Choice
    smaller: Choice | None
    larger: Choice

    @property
    def off_mm(self) -> float:
        """How much larger than asked it comes out."""
        return self.chosen.mm - self.asked_mm


def nearest(asked_mm: float, per_mm: float, unit: int, fixed: int = 0, less_mm: float = 0.0) -> Rounding | None:
    """The count of whole units that comes nearest to a size; None where not even half a unit goes into it.

    per_mm: needles or rows to the mm. unit: needles or rows in one step. fixed: needles that are there besides (the
    edges). less_mm: what is lost of the size (seam allowance). Halfway goes to the larger: too wide can be taken in.
    """
    ideal = (asked_mm + less_mm) * per_mm
    steps = math.floor((ideal - fixed) / unit + 0.5)
    if steps < 1:
        return None

    def choice(n: int) -> Choice:
        count = n * unit + fixed
        return Choice(count, n, count / per_mm - less_mm)

    return Rounding(asked_mm, unit, choice(steps), choice(steps - 1) if steps > 1 else None, choice(steps + 1))


def common_unit(asked_mm: float, per_mm: float, own: int, others: Sequence[int], fixed: int, less_mm: float) -> int:
    """The repeat that the needles are counted in: one in which every stitch of the piece is whole, where a width in it
    lies within ALL_WHOLE_WITHIN of the one asked for; else that of the stitch which sets the width (`own`)."""
    together = math.lcm(own, *others)
    rounding = nearest(asked_mm, per_mm, together, fixed, less_mm)
    if rounding is not None and abs(rounding.off_mm) <= ALL_WHOLE_WITHIN * (asked_mm + less_mm):
        return together
    return own


def size_cm(law: Joint, counts: Mapping[str, int], direction: Direction) -> Range | None:
    """The size in cm of so many needles or rows of each stitch, one after another; None where a gauge is not known.

    Sections of one stitch are one count, so they vary together; different stitches vary as the joint law says. The sum
    of such log-normal lengths is taken as log-normal itself, its spread by first-order propagation (exact for one
    stitch; the tests hold the rest against simulated knitters).
    """
    counted = {name: count for name, count in counts.items() if count > 0}
    if not counted or not all(law.known(name, direction) for name in counted):
        return None
    places = [law.place_of(name, direction) for name in counted]
    sizes = np.array([10 * count for count in counted.values()]) * np.exp(-law.mean[places])
    total = float(sizes.sum())
    shares = sizes / total
    variance = float(shares @ law.covariance[np.ix_(places, places)] @ shares)
    return Range.of_log(math.log(total), math.sqrt(variance))


def less(size: Range, cm: float) -> Range:
    """The range with a fixed length taken off (a seam allowance), never below nothing."""
    return Range(max(size.value - cm, 0.0), max(size.low - cm, 0.0), max(size.high - cm, 0.0))

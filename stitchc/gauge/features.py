"""The predictors of gauge that can be read off a chart, all counted round the repeat in both directions.

They are those of the needles in work, as if there were no others; how many are out of work stands beside them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.chart import KNIT, SLIP, TUCK, Chart
from stitchc.gauge.fabric import once_for_small_charts

LONG_HOLD: Final = 3
"""Spans over this (holds of three rows and more) count as long: there held loops draw yarn from their neighbours."""

TUCK_SATURATION: Final = 0.08
"""Share of tucking cells at which the widening has reached 63 % of its final value. Set from six samplers of one-row
tucks, 1 needle in 2 to 1 in 8, that came out about equal in width (one teaching page, reported second-hand)."""

LONG_RUN: Final = 3
"""Adjacent tucks that widen like a group of their own: so a run that grows to the whole row never narrows (assumed;
from three the loops between are held by no neighbour)."""

_CELLS_AT_ONCE: Final = 1 << 18


@dataclass(frozen=True)
class Features:
    """What the model sees of a stitch. A span is the number of rows a knit loop fills: 1 + the T and S over it. Cells
    and needles are those in work.

    tuck_share, slip_share: shares of the cells. mean_span: mean over loops; weighted_span (K): mean over cells of
    the span of the loop that fills the cell, sum k^2 / sum k. longest_hold: T or S in a row on one needle.
    never_knitting: needles without a single K; they are taken as held over the whole repeat (at least eight rows), and
    mean_span and longest_hold are None where they make them meaningless.
    log_span_tuck, log_span_slip: ln K, divided by what tucks and slips add to it. log_long_tuck, log_long_slip: the
    part of it that holds of more than two rows add. in_columns: 0 where all needles hold alike, near 1 where few
    needles do all the holding. tuck_runs: groups of adjacent tucks, over cells; a group of more than LONG_RUN counts
    once for each LONG_RUN. ladders: groups of adjacent needles out of work, for each needle in work; wider: the
    needles in such groups beyond the first of each, for each needle in work.
    """

    tuck_share: float
    slip_share: float
    mean_span: float | None
    weighted_span: float
    longest_hold: int | None
    never_knitting: int
    log_span_tuck: float
    log_span_slip: float
    log_long_tuck: float
    log_long_slip: float
    in_columns: float
    tuck_runs: float
    ladders: float
    wider: float

    @property
    def is_plain(self) -> bool:
        """Whether every needle is in work and every cell knits."""
        return not (self.tuck_share or self.slip_share or self.ladders)

    @property
    def needles(self) -> float:
        """Needles, those out of work counted, for each needle in work."""
        return 1 + self.ladders + self.wider

    @property
    def tuck_widening(self) -> float:
        """How far the widening by tuck has gone, 0 to 1: it saturates early."""
        return 1 - math.exp(-self.tuck_runs / TUCK_SATURATION)


@once_for_small_charts
def features_of(chart: Chart) -> Features:
    """Read the predictors off a chart. Time is linear in its cells; beside them memory is that of one needle's."""
    working = chart.in_work
    cells = np.ascontiguousarray(chart.cells.T[working])  # (needle, row), so that a needle's rows lie together
    needles, rows = cells.shape
    tucks, knits = cells == TUCK, cells == KNIT
    tuck_share, slip_share = float(tucks.mean()), float((cells == SLIP).mean())
    alive = knits.any(axis=1)
    dead = needles - int(alive.sum())
    dead_span = max(rows, 8) if dead else 0
    loops, spans, square, capped, over_tucks, over_slips, longest = _sums(cells)
    mean_span = spans / loops if loops else None
    weighted = (square + dead * rows * dead_span) / (needles * rows)
    capped_span = (capped + dead * rows * min(dead_span, LONG_HOLD)) / (needles * rows)
    weight_tuck = over_tucks + dead_span * float(tucks[~alive].sum())
    weight_slip = over_slips + dead_span * float((cells[~alive] == SLIP).sum())
    part_tuck = weight_tuck / (weight_tuck + weight_slip) if weight_tuck + weight_slip else 0.0
    log_span, log_long = math.log(weighted), math.log(weighted / capped_span)
    held = 1 - knits.mean(axis=1)
    mean_held = float(held.mean())
    columns = float(np.abs(held - mean_held).mean()) / (2 * mean_held) if mean_held else 0.0
    return Features(
        tuck_share=tuck_share,
        slip_share=slip_share,
        mean_span=mean_span,
        weighted_span=weighted,
        longest_hold=None if dead else longest - 1,
        never_knitting=dead,
        log_span_tuck=log_span * part_tuck,
        log_span_slip=log_span * (1 - part_tuck),
        log_long_tuck=log_long * part_tuck,
        log_long_slip=log_long * (1 - part_tuck),
        in_columns=columns,
        tuck_runs=_runs(tucks) / tucks.size,
        ladders=(gaps := int((working & ~np.roll(working, -1)).sum())) / needles,
        wider=(len(working) - needles - gaps) / needles,
    )


def _runs(tucks: npt.NDArray[np.bool_]) -> float:
    """Groups of adjacent tucks of (needle, row), round the repeat; of n > LONG_RUN neighbours, n / LONG_RUN."""
    starts = tucks & ~np.roll(tucks, 1, axis=0)
    short = np.zeros(LONG_RUN, dtype=np.int64)  # groups of 0, 1, 2, … neighbours
    reaching = starts
    for length in range(1, LONG_RUN):
        following = reaching & np.roll(tucks, -length, axis=0)
        short[length] = int(reaching.sum()) - int(following.sum())
        reaching = following
    in_short = int(short @ np.arange(LONG_RUN))
    return float(short.sum() + (int(tucks.sum()) - in_short) / LONG_RUN)


def _sums(cells: npt.NDArray[np.uint8]) -> list[int]:
    """What the knit loops of a chart add up to: how many, their spans k, k^2, k min(k, LONG_HOLD), k times the tucks
    and k times the slips over each; and the longest span.

    Of cells (needle, row), some needles at a time: a span takes eight times the memory of a cell.
    """
    needles, rows = cells.shape
    at_once = max(1, _CELLS_AT_ONCE // rows)
    sums, longest = np.zeros(6, dtype=np.int64), 0
    for first in range(0, needles, at_once):
        some = cells[first : first + at_once]
        k, tucked, slipped = _spans(some, some == TUCK)
        if k.size:
            sums += [
                k.size,
                *(each.sum() for each in (k, k * k, k * np.minimum(k, LONG_HOLD), k * tucked, k * slipped)),
            ]
            longest = max(longest, int(k.max()))
    return [*sums.tolist(), longest]


def _spans(
    cells: npt.NDArray[np.uint8], tucks: npt.NDArray[np.bool_]
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """For each knit loop: the rows it spans, and how many of the cells over it are T and S."""
    rows = cells.shape[1]
    needle, row = np.nonzero(cells == KNIT)
    if not needle.size:
        empty = np.zeros(0, dtype=np.int64)
        return empty, empty, empty
    first = np.ones(needle.size, dtype=bool)
    first[1:] = needle[1:] != needle[:-1]
    last = np.roll(first, -1)
    first_at = np.flatnonzero(first)
    own_first = np.repeat(first_at, np.diff(np.append(first_at, needle.size)))
    following = np.where(last, own_first, np.arange(needle.size) + 1)
    spans = row[following] - row + np.where(last, rows, 0)

    before = np.cumsum(tucks, axis=1, dtype=np.int64)
    over = before[needle[following], row[following]] - before[needle, row]
    tucked = np.asarray(over + np.where(last, before[needle, -1], 0), dtype=np.int64)
    return np.asarray(spans, dtype=np.int64), tucked, np.asarray(spans - 1 - tucked, dtype=np.int64)

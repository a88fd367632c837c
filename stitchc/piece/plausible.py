"""Whether what was measured half way can be of this piece, and the slip that would explain it if not.

The same idea as for swatches (`stitchc.gauge.doubt`): a count far from what was expected is asked about.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations

from stitchc.gauge.doubt import SURPRISING, Expected, FarOut, far_out, in_inches, length_of
from stitchc.gauge.gauges import DIRECTIONS, Direction
from stitchc.messages import Message
from stitchc.pattern import Swatch
from stitchc.piece.measured import LEAST_COUNTED, ON_THE_MACHINE_LOG, Measured, NotKnitted
from stitchc.piece.plan import Plan, chart_of


def doubts(planned: Plan, measured: Sequence[Measured]) -> list[Message]:
    """G604 for what is surprising and taken in all the same. Raises NotKnitted for what is beyond belief or contradicts
    another measurement, unless the knitter is sure of it."""
    for one, other in combinations(measured, 2):
        _hold_together(planned, one, other)
    return [message for each in measured for message in _doubts(planned, each)]


def _hold_together(planned: Plan, one: Measured, other: Measured) -> None:
    """Raises NotKnitted where two measurements of the same fabric differ by more than reading and knitting explain."""
    if (one.stitch, one.part) != (other.stitch, other.part) or (one.rows is None) != (other.rows is None):
        return
    if {one.in_all, other.in_all} == {True, False} and one.rows and other.rows:
        least, most = sorted((one, other), key=lambda each: each.rows or 0)
        if least.in_all and least.rows != most.rows:
            _contradict(one, other)
    if not (one.tells_a_gauge and other.tells_a_gauge) or (one.sure and other.sure):
        return
    logs, variance = [], planned.report.spread**2
    for each in (one, other):
        swatch = each.swatch(planned.piece.span)
        count = each.rows or each.stitches or 1
        logs.append(math.log(count / swatch.per_mm))
        variance += planned.report.reading_variance(count, swatch.per_mm) + swatch.doubt**2
    if abs(logs[0] - logs[1]) > SURPRISING * math.sqrt(variance):
        _contradict(one, other)


def _contradict(one: Measured, other: Measured) -> None:
    raise NotKnitted(f"`{one.words}` and `{other.words}` contradict each other. Leave out the one that is wrong")


def _doubts(planned: Plan, measured: Measured) -> Iterator[Message]:
    across = chart_of(planned.pattern, measured.stitch).counted
    needles = planned.needles
    if measured.stitches is not None and measured.stitches > needles.count:
        raise NotKnitted(
            f"{measured.stitches:g} {across} of `{measured.stitch}` are given, but the work is on {needles.count} "
            f"needles, {needles.left} to {needles.right}: check the count"
        )
    direction: Direction = "stitches" if measured.rows is None else "rows"
    count = measured.stitches or measured.rows or 0
    place = DIRECTIONS.index(direction)
    if count < LEAST_COUNTED or not planned.law.known(measured.stitch, direction):
        return
    usual = planned.law.range(measured.stitch, direction)
    mean, sd = ON_THE_MACHINE_LOG if measured.on_machine else (0.0, 0.0)
    reading = math.sqrt(planned.report.reading_variance(count, 100 * count / usual.value))
    sd = math.hypot(usual.log_sd, sd, reading)
    log = math.log(usual.value) - mean
    expected = Expected(*((log, sd) if index == place else (0.0, 1.0) for index in range(2)))  # type: ignore[arg-type]
    swatch = Swatch(measured.stitch, measured.mm, planned.piece.span, measured.stitches, measured.rows)
    for each in far_out(swatch, expected, measured.sure):
        if measured.sure:
            continue
        words = _words(measured, each, count, "rows" if direction == "rows" else across)
        if not each.used:
            raise NotKnitted(f"{words}: check the length and its unit. {_to_try(measured, each)[:-1]}")
        text = f"{words}. It is taken into the plan, but check it."
        yield Message("G604", "warning", text, None, _to_try(measured, each))


def _words(measured: Measured, far: FarOut, count: float, counted: str) -> str:
    mm = 100 * count / far.expected_per_10cm
    expected = f"{mm / 25.4:.1f} in" if in_inches(measured.mm) else f"{mm / 10:.1f} cm"
    of = f"{count:g} {counted} of `{measured.stitch}`"
    return f"{of} were expected to be about {expected} and are given as {length_of(measured.mm)}"


def _to_try(measured: Measured, far: FarOut) -> str:
    sure = f"`{replace(measured, sure=True).words}` if it is right."
    if far.slip is None:
        return f"Write {sure}"
    why, swatch = far.slip
    meant = replace(measured, mm=swatch.per_mm, rows=swatch.rows, stitches=swatch.stitches)
    return f"Write `{meant.words}` if {why}, or {sure}"

"""Counts that cannot quite be believed, and the slip that would explain them.

One idea for stocking stitch and for every other stitch: a count far from what was expected is asked about, and where it
would be ordinary with rows and stitches exchanged, in the other unit, or with its digits turned round, that is offered.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Final, NamedTuple

from stitchc.pattern import Swatch

SURPRISING: Final = 2.5
"""Standard deviations from what was expected beyond which a count is remarked upon."""
BEYOND_BELIEF: Final = 5.0
"""Beyond this it is not used until the line ends with `sure`."""
ORDINARY: Final = 2.0

LONGER: Final = 1.08
"""Rows of stocking stitch over those of a stitch that holds loops, beyond which the stitch is longer than it can be:
tuck and slip always shorten (certain in direction); two swatches alike may differ by less."""


class Expected(NamedTuple):
    """What was expected of a swatch: mean and standard deviation of ln(stitches) and ln(rows) per 10 cm.

    plain_rows: ln of stocking stitch's rows. knits: the share of cells that knit, which is what counting the V's
    that can be seen would give. needles: for each needle in work, those out of work counted.
    """

    stitches: tuple[float, float]
    rows: tuple[float, float]
    plain_rows: float = -math.inf
    knits: float = 1.0
    needles: float = 1.0

    def distances(self, swatch: Swatch) -> tuple[float | None, float | None]:
        """How many standard deviations each count lies from what was expected; None where there is no count."""
        counts = ((swatch.stitches_per_10cm, self.stitches), (swatch.rows_per_10cm, self.rows))
        return tuple(None if not count else (math.log(count) - mean) / sd for count, (mean, sd) in counts)  # type: ignore[return-value]

    def longer(self, swatch: Swatch) -> bool:
        """Whether the swatch is longer than stocking stitch, and so than it can be."""
        rows = swatch.rows_per_10cm
        return rows is not None and rows * LONGER < math.exp(self.plain_rows)

    def distance(self, swatch: Swatch) -> float:
        return max((abs(each) for each in self.distances(swatch) if each is not None), default=0.0)


class FarOut(NamedTuple):
    """A swatch with a count far from what was expected.

    direction: 0 stitches, 1 rows: the count that is further off. expected_per_10cm: of that count. off_by: 0.2 is 20 %
    over. used: False where it is beyond belief and not confirmed. slip: what would explain it, in words, and the swatch
    as it should then be. longer: it is longer than stocking stitch. visible: counting V's would explain it. other: what
    was expected of the other count and by how much it is off, where that is far out as well. counted: what its count
    across is a count of, "needles" where some are out of work.
    """

    swatch: Swatch
    direction: int
    expected_per_10cm: float
    off_by: float
    used: bool
    slip: tuple[str, Swatch] | None
    longer: bool
    visible: bool
    other: tuple[float, float] | None = None
    counted: str = "stitches"


def far_out(swatch: Swatch, expected: Expected | None, sure: bool) -> Iterator[FarOut]:
    """At most one remark on a swatch; none where nothing was expected."""
    if expected is None:
        return
    distances = expected.distances(swatch)
    longer, distance = expected.longer(swatch), expected.distance(swatch)
    if distance <= SURPRISING and not longer:
        return
    direction = 1 if longer and distance <= SURPRISING else max((0, 1), key=lambda at: abs(distances[at] or 0.0))
    means, counts = (expected.stitches[0], expected.rows[0]), (swatch.stitches_per_10cm, swatch.rows_per_10cm)
    mean, count, second = means[direction], counts[direction], counts[1 - direction]
    assert count is not None
    off = math.log(count) - mean
    other = None
    if second is not None and abs(distances[1 - direction] or 0.0) > SURPRISING:
        other = math.exp(means[1 - direction]), math.expm1(math.log(second) - means[1 - direction])
    visible = direction == 1 and expected.knits > 0 and abs(off - math.log(expected.knits)) < 0.15
    slip = explained(swatch, lambda s: math.inf if expected.longer(s) else expected.distance(s), expected.needles)
    used = sure or distance <= BEYOND_BELIEF
    counted = "needles" if expected.needles > 1 else "stitches"
    yield FarOut(swatch, direction, math.exp(mean), math.expm1(off), used, slip, longer, visible, other, counted)


def explained(swatch: Swatch, distance: Callable[[Swatch], float], needles: float = 1.0) -> tuple[str, Swatch] | None:
    """The first slip after which the swatch would be ordinary: in words, and the swatch as it should then be."""
    for words, other in _as_meant(swatch, needles):
        if distance(other) < ORDINARY:
            return words, other
    return None


def _as_meant(swatch: Swatch, needles: float) -> Iterator[tuple[str, Swatch]]:
    stitches, rows = swatch.stitches, swatch.rows
    if stitches and needles > 1:
        yield "you counted without the needles out of work", swatch._replace(stitches=stitches * needles)
    if stitches and rows:
        yield "rows and stitches were exchanged", swatch._replace(stitches=rows, rows=stitches)
    inches = in_inches(swatch.per_mm)
    other = swatch._replace(per_mm=swatch.per_mm / 2.54 if inches else swatch.per_mm * 2.54)
    yield ("you measured in cm, not in inches" if inches else "you measured in inches, not in cm"), other
    for counted, count in (("stitches", stitches), ("rows", rows)):
        if count and count == int(count) and 10 <= count < 100:
            turned = 10.0 * (count % 10) + count // 10
            other = swatch._replace(stitches=turned) if counted == "stitches" else swatch._replace(rows=turned)
            yield f"you counted {turned:g} {counted}, not {count:g}", other


def in_inches(mm: float) -> bool:
    """Whether a length was written in inches: a whole number of quarters of one, and no whole half of a cm; or of
    tenths of one, and no whole tenth of a mm."""

    def is_whole(number: float) -> bool:
        return abs(number - round(number)) < 1e-6

    return (is_whole(mm / 6.35) and not is_whole(mm / 5)) or (is_whole(mm / 2.54) and not is_whole(10 * mm))


def line_of(swatch: Swatch) -> str:
    """The `gauge` line of a swatch."""
    counts = [f"{n:.6g} {noun}" for n, noun in ((swatch.stitches, "stitches"), (swatch.rows, "rows")) if n]
    yarn = f" in {swatch.yarn}" if swatch.yarn else ""
    return f"gauge {swatch.stitch} {' '.join(counts)} per {length_of(swatch.per_mm)}{yarn}"


def length_of(mm: float) -> str:
    """A length in the unit in which it was written."""
    return f"{mm / 25.4:.6g} in" if in_inches(mm) else f"{mm / 10:.6g} cm"

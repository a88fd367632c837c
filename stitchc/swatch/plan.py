"""The smallest useful swatch: how many needles and rows, where to mark them, and what to expect between the marks.

Counts between two marks are known exactly, so only the tape can be wrong; the distance is chosen so that its error
stays under a stated share. Knows gauges and a machine's bed; writes no sheet and no file.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from stitchc.bed import Needles, needle_name
from stitchc.chart import Chart
from stitchc.gauge.estimate import GaugeReport
from stitchc.gauge.gauges import PlainGauge, Range
from stitchc.gauge.yarn import cells_by_yarn, metres_of, total
from stitchc.machines.profile import Machine
from stitchc.messages import Message, Refused
from stitchc.options import Units
from stitchc.passes import columns_on, out_of_work
from stitchc.wording import OPTION

TAPE_MM: Final = 2.0
"""Nine readings of a tape in ten are off by less: 1 mm at either end (common practice, no source)."""

MARGIN_MM: Final = 25.0
"""Left unmeasured on every side, where edges curl and the cast-on pulls (common practice, no source)."""

PLAIN_CHART: Final = Chart.plain(1, 1)
"""Stocking stitch, to be planned under the name "plain"."""

EDGE: Final = 1
"""Needles at each end that always knit."""

STITCH_OVER_PITCH: Final = 0.75
"""Width of a plain stitch over the pitch of the bed at a middling tension, where no gauge is known (from memory)."""


@dataclass(frozen=True)
class SwatchPlan:
    """One swatch. stitches and rows: counted between the marks, in whole repeats; marked rows are counter readings.

    left_mark and right_mark: positions of the needles to mark (see stitchc.bed); `stitches` lie between them.
    expected_width_mm and expected_length_mm: between the marks. within: the largest share by which the tape may be off.
    gauge_is_guessed: nothing but the bed's pitch (or, where a needle never knits, stocking stitch) says how large a
    stitch is. empty: positions of the needles out of work. metres_of: each yarn (None: of rows that name none), or
    nothing where not known. yarn: what its `gauge` lines have to name, a blank to fill in where that is not known.
    """

    name: str
    needles: Needles
    total_rows: int
    left_mark: int
    right_mark: int
    first_mark_row: int
    last_mark_row: int
    expected_width_mm: Range
    expected_length_mm: Range
    gauge_is_guessed: bool
    empty: tuple[int, ...]
    metres_of: Mapping[str | None, Range]
    yarn: str | None = None

    @property
    def metres(self) -> Range | None:
        """Yarn in all; None where not known."""
        return total(self.metres_of.values())

    @property
    def stitches(self) -> int:
        """Needles from mark to mark, those out of work among them."""
        return self.right_mark - self.left_mark

    @property
    def counted(self) -> str:
        """The same in words: "28 needles (7 out of work)"."""
        out = sum(self.left_mark < needle < self.right_mark for needle in self.empty)
        return f"{self.stitches} needles ({out} out of work)" if out else f"{self.stitches} stitches"

    @property
    def rows(self) -> int:
        """Rows from mark to mark."""
        return self.last_mark_row - self.first_mark_row

    @property
    def within(self) -> float:
        """The share by which the tape may be off, on the shorter distance, if the fabric comes out small."""
        return TAPE_MM / min(self.expected_width_mm.low, self.expected_length_mm.low)

    @property
    def marks(self) -> tuple[str, str]:
        """The names of the two marked needles."""
        return needle_name(self.left_mark), needle_name(self.right_mark)

    def gauge_lines(self, units: Units = "cm") -> tuple[str, str]:
        """The lines for the pattern, with blanks for what was measured."""
        rest = ("per ____ mm" if units == "cm" else "per ____ inches") + (f" in {self.yarn}" if self.yarn else "")
        return (
            f"gauge {self.name} {self.stitches} stitches {rest}",
            f"gauge {self.name} {self.rows} rows {rest}",
        )


def plan_one(name: str, chart: Chart, report: GaugeReport, machine: Machine, within: float = 0.02) -> SwatchPlan:
    """The smallest swatch of a stitch (or of "plain") on which a tape is off by no more than the share `within`.

    report: has a gauge of the stitch. Raises Refused (M303) where the bed is too narrow for it, saying what would do.
    """
    asked = report.for_charts({name: chart})
    known = asked.of(name)
    guessed = asked.baseline is None and (known.stitches_per_10cm is None or known.rows_per_10cm is None)
    if guessed:
        density = 100 / (STITCH_OVER_PITCH * machine.pitch_mm)
        row_density = density * math.exp(report.priors.log_plain_ratio[0])
        # a guess by the pitch may be off by a fifth: allow for it in the range, not in the middle
        asked = GaugeReport({name: chart}, {}, plain=PlainGauge(density, row_density), priors=report.priors)
    wide, long = asked.of(name).stitches_per_10cm, asked.of(name).rows_per_10cm
    if wide is None or long is None:  # a needle never knits: nothing but stocking stitch says how large it is
        guessed = True
        assert asked.baseline is not None
        wide, long = asked.baseline.stitches_per_10cm, asked.baseline.rows_per_10cm
    if guessed:
        wide, long = _wider(wide), _wider(long)
    distance_mm = TAPE_MM / within
    stitches_between = _whole(distance_mm * wide.high / 100, chart.width)
    rows_between = _whole(distance_mm * long.high / 100, chart.height)
    margin = math.ceil(MARGIN_MM * wide.value / 100)
    count = _whole(stitches_between + 2 * margin, chart.width) + 2 * EDGE
    if count > machine.needles:
        raise Refused(_too_wide(name, count, machine, wide, chart.width, margin))
    needles = Needles.centred(count)
    columns = columns_on(chart, machine, needles, EDGE)
    empty = out_of_work(chart, columns, needles)
    middle = needles.first + (count - stitches_between) // 2
    # a needle out of work has no stitch to mark; the right mark lies whole repeats further on
    marked = {*range(middle - chart.width, middle + chart.width)}.difference(empty)
    left = min(marked, key=lambda at: (abs(at - middle), at))
    margin_rows = _whole(MARGIN_MM * long.value / 100, chart.height)
    rows = rows_between + 2 * margin_rows
    repeats = count * rows / (chart.width * chart.height)
    cells_of = cells_by_yarn(chart)
    metres = {yarn: metres_of(asked.in_yarn(yarn), cells.times(repeats)) for yarn, cells in cells_of.items()}
    return SwatchPlan(
        name=name,
        needles=needles,
        total_rows=rows,
        left_mark=left,
        right_mark=left + stitches_between,
        first_mark_row=margin_rows,
        last_mark_row=margin_rows + rows_between,
        expected_width_mm=wide.under(100 * stitches_between),
        expected_length_mm=long.under(100 * rows_between),
        gauge_is_guessed=guessed,
        empty=empty,
        metres_of={} if guessed else {yarn: each for yarn, each in metres.items() if each is not None},
    )


def plans_for_plain(report: GaugeReport) -> bool:
    """Whether stocking stitch is worth a swatch of its own: it was not measured, in both directions."""
    known = [report.in_yarn(yarn).baseline for yarn in report.own_yarns] or [report.baseline]
    return any(baseline is None or baseline.source != "measured" for baseline in known)


def _whole(least: float, repeat: int) -> int:
    return max(1, math.ceil(least / repeat - 1e-9)) * repeat


def _wider(estimate: Range) -> Range:
    return Range(estimate.value, estimate.low / 1.2, estimate.high * 1.2)


def _too_wide(name: str, count: int, machine: Machine, wide: Range, width: int, margin: int) -> Message:
    room = (machine.needles - 2 * EDGE) // width * width - 2 * margin
    between = room // width * width
    text = f"A swatch of `{name}` that exact takes {count} needles, but `{machine.name}` has {machine.needles}."
    if between <= 0:
        return Message("M303", "error", text, advice="Measure a whole piece of it instead, or use a narrower repeat.")
    share = 100 * TAPE_MM / (100 * between / wide.high)
    return Message("M303", "error", text, advice=f"{OPTION.within:{math.ceil(share * 10) / 10:g}}")

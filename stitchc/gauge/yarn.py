"""Yarn: the length in one stitch from the gauge of stocking stitch, and what a fabric takes and weighs.

Plain: Munden's constants. Tuck and slip: shares of a knit stitch's yarn, which no published measurement gives.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from stitchc.chart import KNIT, OUT, SLIP, TUCK, Chart
from stitchc.gauge.estimate import GaugeReport
from stitchc.gauge.gauges import NINE_IN_TEN, PLAIN, Range
from stitchc.gauge.weights import BALL_BAND, tex_of
from stitchc.messages import Message
from stitchc.pattern import Pattern, Stitch

MUNDEN: Final[Mapping[str, tuple[float, float]]] = {
    "dry relaxed": (3.8, 5.0),
    "wet relaxed": (4.1, 5.3),
    "fully relaxed": (4.2, 5.5),
}
"""(Kw, Kc) of wales/cm = Kw / l and courses/cm = Kc / l, l in cm. Dry and wet: Munden 1959, J. Text. Inst. 50 T448, as
quoted in Spencer, Knitting Technology, 3rd ed., 22.5; fully relaxed: Knapton, quoted by Spencer."""

LOOP_LOG_SD: Final = 0.06
"""How far a loop length found from a gauge may be off: the three states differ by 5 %, and a gauge's two halves give
lengths that agree to some 10 %."""

TUCK_YARN: Final = Range(0.85, 0.62, 1.08)
FURTHER_TUCK_YARN: Final = Range(0.72, 0.50, 0.94)
"""Yarn of a tuck, and of each further tuck on the same needle before it knits, over that of a knit stitch. Assumed:
between a loop drawn by the carriage as deep as a knit one (1) and yarn laid over a needle held out (not much more than
a slip's). That each further tuck needs less is Spencer, p. 96; how much less is assumed."""

SLIP_YARN: Final = Range(0.28, 0.20, 0.40)
"""Yarn of a slip over that of a knit stitch where no machine is named: at a pitch of 4.5 mm it is 0.23 to 0.32."""
SLIP_OVER_PITCH: Final = Range(1.0, 0.88, 1.14)
"""Yarn of a slip over the pitch of the bed: the carriage lays it straight across; its slack is assumed. A needle out of
work takes as much."""

BAR_LEGS: Final = Range(0.2, 0.0, 0.4)
"""Yarn of the two sinker legs by which a ladder's bar hangs on the stitches beside it, over that of a knit stitch.
Assumed, no figure is known: a tenth each, between none (they are part of those stitches) and twice as much."""

TIGHTNESS: Final = (0.86, 1.55)
"""sqrt(tex) / (mm of yarn in a stitch) of usual plain knitting: 1.4 to 1.5 for worsted (Spencer), 1.1 comes out of the
standard yarn weight system's gauges; chosen so that a yarn given at half or at double its weight lies outside."""


@dataclass(frozen=True)
class Cells:
    """How many cells of each kind: further_tucks are second and later tucks of a hold, tucks the first ones; slips are
    those of needles out of work too. bars: how often the yarn crosses a ladder; they are no cells of their own."""

    knits: float = 0.0
    tucks: float = 0.0
    further_tucks: float = 0.0
    slips: float = 0.0
    bars: float = 0.0

    def __add__(self, other: Cells) -> Cells:
        return Cells(*(mine + yours for mine, yours in zip(self._counts, other._counts, strict=True)))

    def times(self, factor: float, over: float = 1.0) -> Cells:
        """As many times as many, over a number: so that two repeats over two are exactly one."""
        return Cells(*(count * factor / over for count in self._counts))

    @property
    def _counts(self) -> tuple[float, ...]:
        return self.knits, self.tucks, self.further_tucks, self.slips, self.bars

    @property
    def total(self) -> float:
        """All of them: needles by rows."""
        return self.knits + self.tucks + self.further_tucks + self.slips


def cells_by_yarn(chart: Chart) -> dict[str | None, Cells]:
    """The cells of one repeat, by the yarn that their rows are knitted with (None: none named), as first met."""
    names = dict.fromkeys(chart.yarns)
    numbers = {name: number for number, name in enumerate(names)}
    of_row = np.fromiter((numbers[name] for name in chart.yarns), dtype=np.int64, count=chart.height)

    def counted(cells: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> list[float]:
        counts: list[float] = np.bincount(of_row, cells.sum(axis=1), len(names)).tolist()
        return counts

    tucks, further = counted(chart.cells == TUCK), counted(_further_tucks(chart))
    out = chart.cells == OUT
    bars = counted(out & ~np.roll(out, 1, axis=1))
    columns = (counted(chart.cells == KNIT), tucks, further, counted((chart.cells == SLIP) | out), bars)
    return {
        name: Cells(knits, first - more, more, slips, crossed)
        for name, knits, first, more, slips, crossed in zip(names, *columns, strict=True)
    }


def _further_tucks(chart: Chart) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Where a tuck has another tuck under it since the needle last knitted, counted round the repeat."""
    rows = np.arange(1, chart.height + 1, dtype=np.int32)
    further = np.zeros(chart.cells.shape, dtype=bool)
    for needle, cells in enumerate(chart.cells.T):
        tucks = cells == TUCK
        if not tucks.any():
            continue
        knitted = np.maximum.accumulate(np.where(cells == KNIT, rows, 0))
        tucked = np.maximum.accumulate(np.where(tucks, rows, 0))
        # what is not met from row 1 on was met last in the repeat below, a height lower
        last = np.where(knitted > 0, knitted, knitted[-1] - chart.height if knitted[-1] else -2 * chart.height)
        before = np.where(np.roll(tucked, 1) > 0, np.roll(tucked, 1), tucked[-1] - chart.height)
        before[0] = tucked[-1] - chart.height
        further[:, needle] = tucks & (before > last)
    return further


def loop_length_mm(report: GaugeReport) -> Range | None:
    """Yarn in one plain stitch, in mm, from the gauge of stocking stitch; None where that is not known."""
    law = report.joint([])
    if not (law.known(PLAIN, "stitches") and law.known(PLAIN, "rows")) or report.baseline is None:
        return None
    kw, kc = MUNDEN["wet relaxed"]
    middle = (math.log(100 * kw) + math.log(100 * kc) - float(law.mean.sum())) / 2
    return Range.of_log(middle, math.sqrt(LOOP_LOG_SD**2 + float(law.covariance.sum()) / 4))


def share_of_a_stitch(cells: Cells, slip: Range = SLIP_YARN) -> Range:
    """Yarn of these cells over that of as many knit stitches; the uncertainties of one kind go together.

    slip: the share of a slip.
    """
    value, *doubts = share_doubts(cells, slip)
    doubt = math.hypot(*doubts)
    return Range(value, max(value - doubt, 0.0), value + doubt)


def share_doubts(cells: Cells, slip: Range = SLIP_YARN) -> tuple[float, float, float, float]:
    """Yarn of these cells over that of as many knit stitches, and half the ranges that tucks, slips and the legs of
    bars give it."""
    value = cells.knits + cells.tucks * TUCK_YARN.value + cells.further_tucks * FURTHER_TUCK_YARN.value
    value += cells.slips * slip.value + cells.bars * BAR_LEGS.value
    of_tucks = cells.tucks * _half(TUCK_YARN) + cells.further_tucks * _half(FURTHER_TUCK_YARN)
    total = max(cells.total, 1e-12)
    return value / total, of_tucks / total, cells.slips * _half(slip) / total, cells.bars * _half(BAR_LEGS) / total


def _half(yarn: Range) -> float:
    return (yarn.high - yarn.low) / 2


def metres_of(report: GaugeReport, cells: Cells, pitch_mm: float | None = None) -> Range | None:
    """Yarn in that many cells, in m; None where stocking stitch is not known. No allowance for waste.

    pitch_mm: the bed's, over which a slip is laid; default: that of a bed which suits the gauge.
    """
    loop = loop_length_mm(report)
    if loop is None or not cells.total:
        return None
    slip = SLIP_YARN if pitch_mm is None else SLIP_OVER_PITCH.times(pitch_mm / loop.value)
    share = share_of_a_stitch(cells, slip)
    sd = math.hypot(loop.log_sd, (share.high - share.low) / (2 * NINE_IN_TEN * share.value))
    return Range.of_log(math.log(loop.value * share.value * cells.total / 1000), sd)


def metres_per_square_metre(
    report: GaugeReport, name: str, cells: Cells, of_cells: float, yarn: str | None = None
) -> Range | None:
    """Yarn in a square metre of a stitch, in m. cells: those of one repeat in the yarn asked for; of_cells: all."""
    metres = metres_of(report.in_yarn(yarn), cells.times(1, over=of_cells))
    if metres is None:
        return None
    law = report.joint([name])
    if not (law.known(name, "stitches") and law.known(name, "rows")):
        return None
    places = [law.place_of(name, "stitches"), law.place_of(name, "rows")]
    log_cells = float(law.mean[places].sum()) + math.log(100)  # (per 10 cm)^2 to per m^2
    sd = math.hypot(metres.log_sd, math.sqrt(float(law.covariance[np.ix_(places, places)].sum())))
    return Range.of_log(math.log(metres.value) + log_cells, sd)


def grams(metres: Range, tex: Range) -> Range:
    """What that length weighs, in g."""
    return Range.of_log(math.log(metres.value * tex.value / 1000), math.hypot(metres.log_sd, tex.log_sd))


@dataclass(frozen=True)
class YarnUse:
    """One yarn in one stitch. name: None where the rows name none. grams are None where its tex is not known."""

    name: str | None
    cells: Cells
    tex: Range | None
    metres_per_square_metre: Range
    grams_per_square_metre: Range | None
    grams_of_100_by_100: Range | None


def yarns_of(report: GaugeReport, pattern: Pattern, stitch: Stitch) -> tuple[YarnUse, ...]:
    """How much of each yarn a stitch takes; empty where its size is not known.

    Rows that name no yarn are knitted with the pattern's main yarn, where it says which that is.
    """
    of_cells = float(stitch.chart.width * stitch.chart.height)
    of_yarn: dict[str | None, Cells] = {}
    for name, cells in cells_by_yarn(stitch.chart).items():
        key = pattern.main_yarn.name if name is None and pattern.main_yarn is not None else name
        of_yarn[key] = of_yarn.get(key, Cells()) + cells
    uses: list[YarnUse] = []
    for name, cells in pattern.by_yarn(of_yarn).items():
        area = metres_per_square_metre(report, stitch.name, cells, of_cells, name)
        square = metres_of(report.in_yarn(name), cells.times(100 * 100, over=of_cells))
        if area is None or square is None:
            return ()
        yarn = pattern.yarns.get(name) if name is not None else None
        tex = tex_of(yarn) if yarn is not None else None
        weights = (grams(area, tex), grams(square, tex)) if tex is not None else (None, None)
        uses.append(YarnUse(name, cells, tex, area, *weights))
    return tuple(uses)


def ill_matched(report: GaugeReport, pattern: Pattern) -> list[Message]:
    """G606: declared yarns too thick or too thin for the gauge of stocking stitch."""
    messages: list[Message] = []
    for yarn in pattern.yarns.values():
        tex, loop = tex_of(yarn), loop_length_mm(report.in_yarn(yarn.name))
        if tex is None or loop is None or yarn.weight == "lace":
            continue
        thinnest, thickest = (math.sqrt(bound) / loop.value for bound in (tex.low, tex.high))
        if thickest >= TIGHTNESS[0] and thinnest <= TIGHTNESS[1]:
            continue
        declared = f"tex {tex.value:g}" if yarn.tex is not None else f"weight {yarn.weight}"
        usual = [(bound * loop.value) ** 2 for bound in TIGHTNESS]
        text = (
            f"Yarn `{yarn.name}` of {declared} is {'thick' if thinnest > TIGHTNESS[1] else 'thin'} for this gauge: a "
            f"plain stitch takes about {loop.value:.0f} mm of yarn, which usually means tex {usual[0]:.0f} to "
            f"{usual[1]:.0f}."
        )
        advice = f"Check the tex: {BALL_BAND} Two strands together have twice the tex of one. If you knit very "
        advice += "loosely or very tightly on purpose, nothing is wrong."
        messages.append(Message("G606", "warning", text, yarn.span, advice, "weights follow from this"))
    return messages


def total(ranges: Iterable[Range | None]) -> Range | None:
    """The sum of several ranges that vary together (same stitch length); None if any is unknown or there are none."""
    listed = list(ranges)
    if not listed or any(amount is None for amount in listed):
        return None
    known = [amount for amount in listed if amount is not None]
    return Range(sum(r.value for r in known), sum(r.low for r in known), sum(r.high for r in known))

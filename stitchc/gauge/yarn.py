"""Yarn: the length in one stitch from the gauge of stocking stitch, and what a fabric takes and weighs.

Plain: Munden's constants. Tuck and slip: shares of a knit stitch's yarn, which no published measurement gives; they
come from a relaxation of the yarn in single repeats, and their ranges are wide for it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from stitchc.chart import KNIT, SLIP, TUCK, Chart
from stitchc.gauge.estimate import GaugeReport
from stitchc.gauge.values import NINE_IN_TEN, PLAIN, Range
from stitchc.messages import Message
from stitchc.pattern import Pattern, Stitch, Yarn

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

TUCK_YARN: Final = Range(0.90, 0.70, 1.10)
FURTHER_TUCK_YARN: Final = Range(0.80, 0.55, 1.05)
SLIP_YARN: Final = Range(0.43, 0.27, 0.59)
"""Yarn of a tuck, of each further tuck on the same needle before it knits, and of a slip, over that of a knit stitch.
0.9 and 0.43 are what a yarn relaxation was fed with (a straight float would be 1 / 4.1 = 0.24); that each further tuck
needs less is Spencer, p. 96, its size assumed."""

_M_PER_KG: Final[Mapping[str, tuple[float, float]]] = {
    "lace": (40_000, 4_840),
    "super-fine": (4_838, 3_832),
    "fine": (3_830, 2_421),
    "light": (2_419, 1_816),
    "medium": (1_814, 1_212),
    "bulky": (1_210, 808),
    "super-bulky": (806, 400),
    "jumbo": (400, 140),
}
"""Metres per kilogram by category of the standard yarn weight system (Craft Yarn Council), from the yards per pound of
a Yarn Standards sheet; the finest lace, the coarsest super bulky and jumbo are not in it and are assumed."""


TIGHTNESS: Final = (0.5, 2.2)
"""sqrt(tex) / (mm of yarn in a stitch) that can be believed: 1.4 to 1.5 is usual for plain worsted (Spencer), about 1.1
comes out of the standard yarn weight system's gauges; half and one and a half times as much is let pass."""


@dataclass(frozen=True)
class Cells:
    """How many cells of each kind: further_tucks are second and later tucks of a hold, tucks the first ones."""

    knits: float = 0.0
    tucks: float = 0.0
    further_tucks: float = 0.0
    slips: float = 0.0

    def __add__(self, other: Cells) -> Cells:
        return Cells(
            self.knits + other.knits,
            self.tucks + other.tucks,
            self.further_tucks + other.further_tucks,
            self.slips + other.slips,
        )

    def times(self, factor: float) -> Cells:
        """As many times as many."""
        return Cells(self.knits * factor, self.tucks * factor, self.further_tucks * factor, self.slips * factor)

    @property
    def total(self) -> float:
        """All of them."""
        return self.knits + self.tucks + self.further_tucks + self.slips


def cells_by_yarn(chart: Chart) -> dict[str | None, Cells]:
    """The cells of one repeat, by the yarn that their rows are knitted with (None: none named), as first met."""
    further = _further_tucks(chart)
    found: dict[str | None, Cells] = {}
    for at, yarn in enumerate(chart.yarns):
        row = chart.cells[at]
        tucks, more = int((row == TUCK).sum()), int(further[at].sum())
        cells = Cells(float((row == KNIT).sum()), float(tucks - more), float(more), float((row == SLIP).sum()))
        found[yarn] = found.get(yarn, Cells()) + cells
    return found


def _further_tucks(chart: Chart) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Where a tuck has another tuck under it since the needle last knitted, counted round the repeat."""
    tucked = np.zeros(chart.width, dtype=bool)
    further = np.zeros(chart.cells.shape, dtype=bool)
    for _ in range(2):  # the second round knows what the repeat below left on the needles
        for at in range(chart.height):
            row = chart.cells[at]
            further[at] = (row == TUCK) & tucked
            tucked = (tucked | (row == TUCK)) & (row != KNIT)
    return further


def loop_length_mm(report: GaugeReport) -> Range | None:
    """Yarn in one plain stitch, in mm, from the gauge of stocking stitch; None where that is not known."""
    law = report.joint([])
    if not (law.known(PLAIN, "stitches") and law.known(PLAIN, "rows")) or report.baseline is None:
        return None
    kw, kc = MUNDEN["wet relaxed"]
    middle = (math.log(100 * kw) + math.log(100 * kc) - float(law.mean.sum())) / 2
    return Range.of_log(middle, math.sqrt(LOOP_LOG_SD**2 + float(law.covariance.sum()) / 4))


def share_of_a_stitch(cells: Cells) -> Range:
    """Yarn of these cells over that of as many knit stitches; the uncertainties of one kind go together."""
    kinds = ((cells.tucks, TUCK_YARN), (cells.further_tucks, FURTHER_TUCK_YARN), (cells.slips, SLIP_YARN))
    value = cells.knits + sum(count * yarn.value for count, yarn in kinds)
    tuck_doubt = cells.tucks * _half(TUCK_YARN) + cells.further_tucks * _half(FURTHER_TUCK_YARN)
    doubt = math.hypot(tuck_doubt, cells.slips * _half(SLIP_YARN))
    total = max(cells.total, 1e-12)
    return Range(value / total, max(value - doubt, 0.0) / total, (value + doubt) / total)


def _half(yarn: Range) -> float:
    return (yarn.high - yarn.low) / 2


def metres_of(report: GaugeReport, cells: Cells) -> Range | None:
    """Yarn in that many cells, in m; None where stocking stitch is not known. No allowance for waste."""
    loop = loop_length_mm(report)
    if loop is None or not cells.total:
        return None
    share = share_of_a_stitch(cells)
    sd = math.hypot(loop.log_sd, (share.high - share.low) / (2 * NINE_IN_TEN * share.value))
    return Range.of_log(math.log(loop.value * share.value * cells.total / 1000), sd)


def metres_per_square_metre(report: GaugeReport, name: str, cells: Cells, of_cells: float) -> Range | None:
    """Yarn in a square metre of a stitch, in m. cells: those of one repeat in the yarn asked for; of_cells: all."""
    metres = metres_of(report, cells.times(1 / of_cells))
    if metres is None:
        return None
    law = report.joint([name])
    places = [law.at(name, "stitches"), law.at(name, "rows")]
    log_cells = float(law.mean[places].sum()) + math.log(100)  # (per 10 cm)^2 to per m^2
    sd = math.hypot(metres.log_sd, math.sqrt(float(law.covariance[np.ix_(places, places)].sum())))
    return Range.of_log(math.log(metres.value) + log_cells, sd)


def tex_of(yarn: Yarn) -> Range | None:
    """The yarn's tex (g per km): as declared, else the range of its category; None where neither is said."""
    if yarn.tex is not None:
        return Range(yarn.tex, yarn.tex * 0.97, yarn.tex * 1.03)
    if yarn.weight is None:
        return None
    low, high = (1e6 / m_per_kg for m_per_kg in _M_PER_KG[yarn.weight])
    return Range(math.sqrt(low * high), low, high)


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
    """What each yarn of a stitch comes to; empty where stocking stitch is not known.

    Rows that name no yarn are knitted with the pattern's main yarn, where it says which that is.
    """
    of_cells = float(stitch.chart.width * stitch.chart.height)
    found: dict[str | None, Cells] = {}
    for name, cells in cells_by_yarn(stitch.chart).items():
        key = pattern.main_yarn.name if name is None and pattern.main_yarn is not None else name
        found[key] = found.get(key, Cells()) + cells
    uses: list[YarnUse] = []
    for name, cells in found.items():
        area = metres_per_square_metre(report, stitch.name, cells, of_cells)
        square = metres_of(report, cells.times(100 * 100 / of_cells))
        if area is None or square is None:
            return ()
        yarn = pattern.yarns.get(name) if name is not None else None
        tex = tex_of(yarn) if yarn is not None else None
        weights = (grams(area, tex), grams(square, tex)) if tex is not None else (None, None)
        uses.append(YarnUse(name, cells, tex, area, *weights))
    return tuple(uses)


def ill_matched(report: GaugeReport, pattern: Pattern) -> list[Message]:
    """G606: declared yarns far too thick or too thin for the gauge of stocking stitch."""
    loop = loop_length_mm(report)
    found: list[Message] = []
    for yarn in pattern.yarns.values():
        tex = tex_of(yarn)
        if loop is None or tex is None or yarn.weight == "lace":
            continue
        tightness = math.sqrt(tex.value) / loop.value
        if TIGHTNESS[0] <= tightness <= TIGHTNESS[1]:
            continue
        thick = tightness > TIGHTNESS[1]
        said = f"tex {tex.value:g}" if yarn.tex is not None else f"weight {yarn.weight}"
        found.append(
            Message(
                "G606",
                "warning",
                f"Yarn `{yarn.name}` of {said} is very {'thick' if thick else 'thin'} for this gauge: about "
                f"{loop.value:.0f} mm of it go into a plain stitch.",
                yarn.span,
                cure="Check the tex (grams of 1,000 m) and the gauge. Two strands together have twice the tex.",
                label="weights and lengths follow from this",
            )
        )
    return found


def total(ranges: Iterable[Range | None]) -> Range | None:
    """The sum of several ranges that vary together (same stitch length); None if any is unknown or there are none."""
    listed = list(ranges)
    if not listed or any(one is None for one in listed):
        return None
    known = [one for one in listed if one is not None]
    return Range(sum(r.value for r in known), sum(r.low for r in known), sum(r.high for r in known))

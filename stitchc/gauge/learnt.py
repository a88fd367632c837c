"""What each swatch taught: what would be known without it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final, NamedTuple

from stitchc.gauge.doubt import line_of
from stitchc.gauge.estimate import GaugeReport
from stitchc.gauge.gauges import PLAIN, StitchGauge

_MOST_SWATCHES: Final = 24
_MOST_CELLS: Final = 100_000
"""Past these nothing is said: each swatch costs one estimate of everything."""


class Lesson(NamedTuple):
    """What one `gauge` line taught of the other stitches asked for. narrower: by what share their ranges shrank on
    average; rows: by what share their rows per 10 cm grew (negative: shrank). Both None where there is no other. yarn:
    what it was knitted in. counts: for any of the stitches asked for, by the yarns of their rows."""

    line: str
    stitch: str
    narrower: float | None
    rows: float | None
    yarn: str | None = None
    counts: bool = True

    def words(self) -> str:
        """In a sentence."""
        if not self.counts and self.yarn is not None:
            return f"not used, because none of these stitches is knitted in {self.yarn}"
        if not self.counts:
            return "not used: it names no yarn, and the yarns here have gauge lines of their own. Add `in` and its yarn"
        if self.stitch == PLAIN:
            return "every size" + (f" in {self.yarn}" if self.yarn is not None else "") + " depends on it"
        if self.narrower is None or self.rows is None:
            return f"stands for {self.stitch}"
        narrower, moved = round(100 * self.narrower), round(100 * self.rows)
        changes = [f"ranges {abs(narrower)} % {'narrower' if narrower > 0 else 'wider'}"] if narrower else []
        changes += [f"{abs(moved)} % {'more' if moved > 0 else 'fewer'} rows to 10 cm"] if moved else []
        if not changes:
            return f"sets {self.stitch} and changes the other stitches by less than 1 % on average"
        return f"sets {self.stitch} and changes the other stitches: {', '.join(changes)}"


def lessons(report: GaugeReport) -> list[Lesson]:
    """What each swatch taught that is used, in order; none of many or of very large charts."""
    cells = sum(chart.width * chart.height for chart in (*report.charts.values(), *report.measured.values()))
    if len(report.swatches) > _MOST_SWATCHES or cells > _MOST_CELLS:
        return []
    learnt = []
    for index, swatch in enumerate(report.swatches):
        if swatch in report.unused:
            continue
        without = replace(report, swatches=report.swatches[:index] + report.swatches[index + 1 :])
        pairs = [
            (without.of(gauge.name), gauge)
            for gauge in report.stitches
            if swatch.stitch != PLAIN and report.features[gauge.name] != report.features.get(swatch.stitch)
        ]
        sized = [pair for pair in pairs if pair[0].row_factor is not None and not pair[0].features.is_plain]
        shifts = [_shift(*pair) for pair in sized]
        narrower = 1 - sum(n for n, _ in shifts) / len(shifts) if shifts else None
        rows = math.expm1(sum(r for _, r in shifts) / len(shifts)) if shifts else None
        learnt.append(Lesson(line_of(swatch), swatch.stitch, narrower, rows, swatch.yarn, report.counts(swatch)))
    return learnt


def _shift(before: StitchGauge, after: StitchGauge) -> tuple[float, float]:
    """Width of the ranges after over before, and how far ln of the row factor moved."""
    assert before.row_factor is not None and after.row_factor is not None
    assert before.stitch_factor is not None and after.stitch_factor is not None
    width = (
        after.row_factor.log_sd * after.stitch_factor.log_sd / before.row_factor.log_sd / before.stitch_factor.log_sd
    )
    return math.sqrt(width), math.log(after.row_factor.value / before.row_factor.value)

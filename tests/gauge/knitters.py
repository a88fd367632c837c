"""Simulated knitters, and how often the ranges hold: `python -m tests.gauge.knitters` writes coverage.txt again."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.chart import Chart
from stitchc.gauge import GaugeReport, Range, estimate
from stitchc.gauge.features import features_of
from stitchc.gauge.model import design, deviation, offset, shipped
from stitchc.messages import Span
from stitchc.pattern import Swatch

HERE: Final = Span("cowl.stitch", 1)
TABLE: Final = Path(__file__).parent / "coverage.txt"


def chart(text: str) -> Chart:
    """From "KT/KK", first knitted row first."""
    return Chart.from_rows(text.split("/"))


CHARTS: Final[Mapping[str, Chart]] = {
    "ripple": chart("KT/KK"),
    "honeycomb": chart("KT/KT/TK/TK"),
    "columns": chart("KT/KT/KK"),
    "linen": chart("KS/SK"),
    "mixed": chart("KTKS/KKKK"),
    "ladder": chart("KKK-"),
    "lace": chart("KKTK--/KKKK--"),
}
Pair = npt.NDArray[np.float64]


class Knitter:
    """A knitter drawn from the prior, who knits alike to `spread`: fabrics, and swatches read with every error."""

    def __init__(self, seed: int, spread: float | None = None) -> None:
        self.random = np.random.default_rng(seed)
        self.priors = shipped()
        self.spread = self.random.uniform(0.02, 0.06) if spread is None else spread
        theta = self.random.multivariate_normal(self.priors.mean, self.priors.covariance)
        stitches = self.random.uniform(12, 34)
        ratio = math.exp(self.random.normal(*self.priors.log_plain_ratio))
        self.logs = {"plain": np.log([stitches, stitches * ratio])}
        for name, each in CHARTS.items():
            features = features_of(each)
            sd = deviation(features, self.priors.width_deviation, self.priors.row_deviation)
            own = self.random.normal(0, sd)
            wide, long = design(features)
            self.logs[name] = self.logs["plain"] + [offset(features) + wide @ theta, long @ theta] + own

    def fabric(self, name: str) -> Pair:
        """ln per 10 cm of one fabric knitted: the knitter's own, and a little of the day."""
        return np.asarray(self.logs[name] + self.random.normal(0, self.spread, 2))

    def measure(self, name: str, per_mm: float = 100) -> Swatch:
        """One swatch, read with a tape and counted to the half stitch."""
        covered = per_mm + self.random.normal(0, self.priors.tape_mm, 2)
        counts = [max(0.5, round(2 * count) / 2) for count in np.exp(self.fabric(name)) * covered / 100]
        return Swatch(name, per_mm, HERE, counts[0], counts[1])


def held(report: GaugeReport, name: str, later: Swatch) -> list[bool]:
    """Whether the ranges of stitches and of rows hold a later swatch."""
    gauge = report.of(name)
    pairs = ((gauge.stitches_per_10cm, later.stitches_per_10cm), (gauge.rows_per_10cm, later.rows_per_10cm))
    found: list[bool] = []
    for known, value in pairs:
        assert isinstance(known, Range) and value is not None
        found.append(known.low <= value <= known.high)
    return found


ASKED: Final = {  # what is asked, after swatches of which stitch
    "itself": ("ripple", "ripple"),
    "a relative": ("honeycomb", "ripple"),
    "tuck": ("columns", "honeycomb"),
    "slip": ("linen", "honeycomb"),
    "mixed": ("mixed", "ripple"),
    "ladder": ("lace", "ladder"),
    "untaught": ("honeycomb", None),
}


def coverage(
    asked: str, swatches: int, knitters: int, true: float | None = None, told: float | None = None, seed: int = 1
) -> tuple[float, float]:
    """Share of knitters whose next swatch is in the range, for stitches and for rows. swatches: of stocking stitch and
    of the stitch that teaches, each. true: the knitters' spread; default: from 2 to 6 %. told: what they say of it."""
    name, taught_by = ASKED[asked]
    found = []
    for at in range(knitters):
        knitter = Knitter(100_000 * seed + at, true)
        known = [knitter.measure(each) for each in ("plain", taught_by) if each for _ in range(swatches)]
        report = estimate({name: CHARTS[name]}, known, measured=CHARTS, spread=told)
        found.append(held(report, name, knitter.measure(name)))
    shares = np.mean(found, axis=0)
    return float(shares[0]), float(shares[1])


def table(knitters: int) -> str:
    """Coverage of the ranges of nine in ten, as plain text."""

    def line(head: str, cells: Sequence[tuple[float, float]]) -> str:
        return f"{head:<22}" + "".join(f"{wide:>9.3f} {long:.3f}" for wide, long in cells)

    lines = [
        f"How many of {knitters:,} simulated knitters find their next swatch in the range of nine in ten, after one,",
        "two and five swatches of stocking stitch and of the stitch that teaches: stitches, rows.",
        "",
        "Spread from swatch to swatch not known to the program, anywhere from 2 to 6 %:",
        f"{'':<22}{'one':>15}{'two':>15}{'five':>15}",
    ]
    lines += [line(asked, [coverage(asked, n, knitters) for n in (1, 2, 5)]) for asked in ASKED]
    for told in (False, True):
        lines += ["", f"The stitch itself, spread {'stated by the knitter' if told else 'not known'}:"]
        lines += [
            line(
                f"true spread {100 * true:.0f} %",
                [coverage("itself", n, knitters, true, true if told else None) for n in (1, 2, 5)],
            )
            for true in (0.02, 0.04, 0.06)
        ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    TABLE.write_text(table(800), encoding="utf-8")

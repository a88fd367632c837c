"""One stitch against another: ratios of size, weight, yarn and work, by the joint law of both.

What is not known of stocking stitch, of the model and of the yarn is common to both, so that the ratio of two is known
better than either. Same needles and rows throughout.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from stitchc.compare.table import Compared, Key
from stitchc.gauge import GaugeReport, Range
from stitchc.gauge.gauges import DIRECTIONS, NINE_IN_TEN, Joint
from stitchc.gauge.yarn import Cells, share_doubts
from stitchc.messages import Span
from stitchc.pattern import Swatch

TOLD_APART: Final = 90
"""In how many of 100 one must be wider, or longer, for the two to be told apart."""
_MOST_CANDIDATES: Final = 24


@dataclass(frozen=True)
class Against:
    """A stitch over the stitch `name`. weight: of a square metre; yarn: of the same needles and rows. work: of needles
    moved by hand; None where either cannot be knitted so, or takes none."""

    name: str
    width: Range
    length: Range
    weight: Range
    yarn: Range
    work: float | None
    wider_in_100: int
    longer_in_100: int

    @property
    def is_told_apart(self) -> bool:
        """Whether it is wider or narrower, longer or shorter, in at least nine of ten."""
        return any(max(n, 100 - n) >= TOLD_APART for n in (self.wider_in_100, self.longer_in_100))

    def words(self) -> str:
        """ "wider in 57 of 100, shorter in 88 of 100"."""
        wide = f"{'wider' if self.wider_in_100 >= 50 else 'narrower'} in {_larger(self.wider_in_100)} of 100"
        long = f"{'longer' if self.longer_in_100 >= 50 else 'shorter'} in {_larger(self.longer_in_100)} of 100"
        return f"{wide}, {long}" + ("" if self.is_told_apart else ": no clear difference")

    def as_json(self) -> dict[str, Any]:
        """The contract's `against`, and some more."""
        return {
            "name": self.name,
            "width_ratio": self.width.as_json(),
            "length_ratio": self.length.as_json(),
            "weight_ratio": self.weight.as_json(),
            "yarn_ratio": self.yarn.as_json(),
            "moves_ratio": None if self.work is None else round(self.work, 3),
            "wider_in_100": self.wider_in_100,
            "longer_in_100": self.longer_in_100,
            "words": self.words(),
        }


def _larger(share: int) -> int:
    return max(share, 100 - share)


def compare_with(lines: Sequence[Compared], reference: Compared, report: GaugeReport) -> dict[Key, Against]:
    """Each other stitch of the same file over `reference`, by key. Stitches without a size are left out."""
    others = [line for line in lines if line.file == reference.file and line.stitch.name != reference.stitch.name]
    sized = [line for line in others if line.gauge.stitch_factor is not None]
    if reference.gauge.stitch_factor is None or not sized:
        return {}
    law = report.joint([reference.stitch.name, *(line.stitch.name for line in sized)])
    return {line.key: _against(line, reference, law) for line in sized}


def _against(line: Compared, reference: Compared, law: Joint) -> Against:
    widths, lengths = (_difference(law, line.stitch.name, reference.stitch.name, (direction,)) for direction in (0, 1))
    area, area_sd = _difference(law, line.stitch.name, reference.stitch.name, (0, 1))
    yarn, yarn_sd = _yarn(line.cells, reference.cells)
    moves = line.moves / reference.moves if line.moves and reference.moves else None
    return Against(
        name=reference.stitch.name,
        width=Range.of_log(-widths[0], widths[1]),
        length=Range.of_log(-lengths[0], lengths[1]),
        weight=Range.of_log(area + yarn, math.hypot(area_sd, yarn_sd)),
        yarn=Range.of_log(yarn, yarn_sd),
        work=moves,
        wider_in_100=_in_100(-widths[0], widths[1]),
        longer_in_100=_in_100(-lengths[0], lengths[1]),
    )


def _difference(law: Joint, name: str, other: str, directions: tuple[int, ...]) -> tuple[float, float]:
    """Mean and standard deviation of ln of the density of one over that of the other, in these directions together."""
    signs = np.zeros(len(law.mean))
    for direction in directions:
        signs[law.place_of(name, DIRECTIONS[direction])] += 1
        signs[law.place_of(other, DIRECTIONS[direction])] -= 1
    return float(signs @ law.mean), math.sqrt(max(float(signs @ law.covariance @ signs), 0.0))


def _yarn(first: Cells, second: Cells) -> tuple[float, float]:
    """ln of the yarn in a cell of one over that of the other; what a tuck or a slip takes is the same in both."""
    mine, yours = share_doubts(first), share_doubts(second)
    doubts = [a / mine[0] - b / yours[0] for a, b in zip(mine[1:], yours[1:], strict=True)]
    return math.log(mine[0] / yours[0]), math.hypot(*doubts) / NINE_IN_TEN


def _in_100(mean: float, sd: float) -> int:
    """How often of 100 a normal value is over 0; 50 where it is always 0."""
    if sd < 1e-9:
        return 50 if abs(mean) < 1e-9 else 100 * (mean > 0)
    return round(50 * math.erfc(-mean / sd / math.sqrt(2)))


@dataclass(frozen=True)
class BestSwatch:
    """The one swatch that would tell the stitches apart best. narrower: by what share the ranges of the ratios would
    shrink on average."""

    name: str
    narrower: float


def best_swatch(reference: str, names: Sequence[str], report: GaugeReport) -> BestSwatch | None:
    """Which of these stitches (or "plain") to measure, once over 10 cm; None where no swatch would help, or there are
    too many to try."""
    if not names or len(names) > _MOST_CANDIDATES:
        return None

    def spread(knowing: GaugeReport) -> float:
        law = knowing.joint([reference, *names])
        return sum(_difference(law, name, reference, (axis,))[1] for name in names for axis in (0, 1))

    law = report.joint([reference, *names])
    before = spread(report)
    best: BestSwatch | None = None
    for name in ("plain", reference, *names):
        if not all(law.known(name, direction) for direction in DIRECTIONS) or before < 1e-9:
            continue
        counts = [law.range(name, direction).value for direction in DIRECTIONS]
        swatch = Swatch(name, 100, Span("", 0), counts[0], counts[1], sure=True)
        measured: Mapping[str, Any] = {**report.measured, **report.charts}
        after = spread(report.measuring(measured).adding([swatch]))
        if best is None or 1 - after / before > best.narrower:
            best = BestSwatch(name, 1 - after / before)
    return best if best is not None and best.narrower > 0.01 else None

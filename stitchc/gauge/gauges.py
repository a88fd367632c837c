"""What the gauge model hands out, as frozen values. Knows nothing of how they were found."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from stitchc.gauge.features import Features
from stitchc.gauge.model import Matrix, Vector

Basis = Literal["estimate", "calibrated", "measured"]

BASES: Final[tuple[Basis, ...]] = ("estimate", "calibrated", "measured")
"""The worst founded first."""

Direction = Literal["stitches", "rows"]
DIRECTIONS: Final[tuple[Direction, Direction]] = ("stitches", "rows")

PLAIN: Final = "plain"
KNOWN_SD: Final = 0.4
"""A gauge with a wider ln than this is no estimate: nothing says what size the yarn is."""


def in_yarn_name(stitch: str, yarn: str) -> str:
    """How people, and gauges, call a stitch in a yarn; no stitch has a name with a space."""
    return f"{stitch} in {yarn}"


NINE_IN_TEN: Final = 1.6448536269514722
"""Standard deviations from the middle of a normal distribution to the bounds that hold nine in ten."""


@dataclass(frozen=True)
class Range:
    """A value and the bounds that hold nine swatches in ten (one in twenty lies under, one in twenty over)."""

    value: float
    low: float
    high: float

    @classmethod
    def of_log(cls, mean: float, sd: float) -> Range:
        """From the mean and standard deviation of the natural logarithm; the value is the median."""
        return cls(math.exp(mean), math.exp(mean - NINE_IN_TEN * sd), math.exp(mean + NINE_IN_TEN * sd))

    def times(self, factor: float) -> Range:
        """The same range in another unit; `factor` is positive."""
        return Range(self.value * factor, self.low * factor, self.high * factor)

    def under(self, numerator: float) -> Range:
        """`numerator` over the range: a length from a density. Low and high change places."""
        return Range(numerator / self.value, numerator / self.high, numerator / self.low)

    @property
    def log_sd(self) -> float:
        """The standard deviation of the logarithm that these bounds came from."""
        return math.log(self.high / self.low) / (2 * NINE_IN_TEN)

    def as_json(self, digits: int = 4) -> dict[str, float]:
        """`{"value", "low", "high"}`, each to `digits` significant figures (the bounds never inside the value)."""
        return {"value": _round(self.value, digits), "low": _round(self.low, digits), "high": _round(self.high, digits)}


def _round(value: float, digits: int) -> float:
    return float(f"{value:.{digits}g}")


@dataclass(frozen=True)
class Baseline:
    """The gauge of stocking stitch: per 10 cm, with how far it can be trusted. source: in words, where it is from."""

    stitches_per_10cm: Range
    rows_per_10cm: Range
    source: str


@dataclass(frozen=True)
class StitchGauge:
    """One stitch's gauge. The `…_per_10cm` are None where no gauge of stocking stitch is known.

    stitch_factor, row_factor: stitches and rows per 10 cm over those of stocking stitch (F_w and F_c).
    Both are None, and so is every size, where a needle never knits and nothing was measured.
    own_stitches_per_10cm, own_rows_per_10cm: what its own swatches say, even without stocking stitch; else None.
    stitch_basis and row_basis: each direction's own basis; `basis` is "measured" if either direction is.
    """

    name: str
    features: Features
    stitch_factor: Range | None
    row_factor: Range | None
    stitches_per_10cm: Range | None
    rows_per_10cm: Range | None
    own_stitches_per_10cm: Range | None
    own_rows_per_10cm: Range | None
    stitch_basis: Basis
    row_basis: Basis

    @property
    def basis_words(self) -> str:
        """The basis in words, of both directions where they differ."""
        if self.stitch_basis == self.row_basis:
            return self.stitch_basis
        return f"{self.counted} {self.stitch_basis}, rows {self.row_basis}"

    @property
    def basis(self) -> Basis:
        return max(self.stitch_basis, self.row_basis, key=BASES.index)

    @property
    def counted(self) -> str:
        """What a count across is a count of, as `Chart.counted` says it."""
        return "needles" if self.features.ladders else "stitches"

    @property
    def counted_how(self) -> str:
        """The same with what else is to be counted: "needles, counting the empty ones"."""
        return f"{self.counted}, counting the empty ones" if self.features.ladders else self.counted

    @property
    def width_change_percent(self) -> float | None:
        """How much wider (narrower if negative) the same needles come out than in stocking stitch."""
        return None if self.stitch_factor is None else 100 * (1 / self.stitch_factor.value - 1)

    @property
    def length_change_percent(self) -> float | None:
        """How much longer (shorter if negative) the same rows come out than in stocking stitch."""
        return None if self.row_factor is None else 100 * (1 / self.row_factor.value - 1)


@dataclass(frozen=True)
class PlainGauge:
    """Stocking stitch as given on the command line: counts per 10 cm."""

    stitches: float
    rows: float


@dataclass(frozen=True)
class Joint:
    """The natural logs of stitches and rows per 10 cm of several stitches (and "plain") at once, as one normal law.

    It is the law of the gauges of one piece to be knitted: the same stitch twice is the same number, different stitches
    share what is not known of stocking stitch, of the model and of this piece. mean (n,), covariance (n, n), places in
    the order of `names`, stitches before rows. ln F of a stitch is its place less the place of "plain".
    """

    names: tuple[str, ...]
    mean: Vector
    covariance: Matrix

    def place_of(self, name: str, direction: Direction) -> int:
        """The place of a stitch's stitches or rows in `mean` and `covariance`."""
        return 2 * self.names.index(name) + DIRECTIONS.index(direction)

    def known(self, name: str, direction: Direction) -> bool:
        """Whether anything says how large this gauge is (a plain gauge, or measurements that lead to it)."""
        place = self.place_of(name, direction)
        return bool(self.covariance[place, place] < KNOWN_SD**2)

    def range(self, name: str, direction: Direction) -> Range:
        """The gauge per 10 cm of that stitch in this piece."""
        place = self.place_of(name, direction)
        return Range.of_log(float(self.mean[place]), math.sqrt(self.covariance[place, place]))


def mean_of(gauges: Sequence[StitchGauge]) -> StitchGauge:
    """One stitch in several yarns: the mean of its gauges, with a range that holds all of theirs."""
    if len(gauges) == 1:
        return gauges[0]
    ranges: dict[str, Range | None] = {}
    for name in ("stitch_factor", "row_factor", *(f"{o}{n}_per_10cm" for o in ("", "own_") for n in DIRECTIONS)):
        known = [value for gauge in gauges if (value := getattr(gauge, name)) is not None]
        middle = math.exp(sum(math.log(each.value) for each in known) / len(known)) if known else 0.0
        bounds = min((each.low for each in known), default=0.0), max((each.high for each in known), default=0.0)
        ranges[name] = Range(middle, *bounds) if len(known) == len(gauges) else None
    least = min(gauges, key=lambda gauge: BASES.index(gauge.basis))
    return replace(gauges[0], **ranges, stitch_basis=least.stitch_basis, row_basis=least.row_basis)  # type: ignore[arg-type]

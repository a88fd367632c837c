"""From charts and measured swatches to gauges with ranges: one linear Gaussian update, numpy alone.

The unknowns are ln of the stocking-stitch gauge, the model's parameters, each stitch's own deviation, how this piece
differs from the knitter's other fabrics, and the errors of reading. What is measured stands as measured: it is not
drawn toward the model; the model learns from it for the stitches that were not.
Knows charts and swatches as values; it reads no file and prints nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Final, Literal

import numpy as np

from stitchc.chart import Chart
from stitchc.gauge.fabric import same_fabric_key
from stitchc.gauge.features import Features, features_of
from stitchc.gauge.model import PARAMETERS, Matrix, Priors, Vector, design, deviation, shipped
from stitchc.gauge.values import Baseline, Basis, Range, StitchGauge
from stitchc.messages import Message, Refused
from stitchc.pattern import Pattern, Swatch

Direction = Literal["stitches", "rows"]
DIRECTIONS: Final[tuple[Direction, Direction]] = ("stitches", "rows")

PLAIN: Final = "plain"

_FLAT_SD: Final = 100.0
"""Standard deviation, in ln, of what is not known at all."""
_KNOWN_SD: Final = 0.4
"""A gauge with a wider ln than this is no estimate: nothing says what size the yarn is."""
_MIDDLE_GAUGE: Final = 22.0
_FIRST_PARAMETER: Final = 4
_SURPRISE: Final = 2.5
"""Standard deviations from its estimate beyond which a swatch is remarked upon, and teaches the others less."""
_TAUGHT: Final = 0.01
"""Share of the variance of ln F that other stitches' swatches must have taken away for a gauge to be calibrated."""
_USUAL_LENGTH_MM: Final = 100.0
_MOST_READINGS: Final = 1000
"""Fabrics and directions measured that are learnt from at once; the work grows with the cube."""


@dataclass(frozen=True)
class PlainGauge:
    """Stocking stitch as told on the command line: counts per 10 cm."""

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

    def at(self, name: str, direction: Direction) -> int:
        """The place of a stitch's stitches or rows in `mean` and `covariance`."""
        return 2 * self.names.index(name) + DIRECTIONS.index(direction)

    def known(self, name: str, direction: Direction) -> bool:
        """Whether anything says how large this gauge is (a plain gauge, or measurements that lead to it)."""
        at = self.at(name, direction)
        return bool(self.covariance[at, at] < _KNOWN_SD**2)

    def range(self, name: str, direction: Direction) -> Range:
        """The gauge per 10 cm of that stitch in this piece."""
        at = self.at(name, direction)
        return Range.of_log(float(self.mean[at]), math.sqrt(self.covariance[at, at]))


@dataclass(frozen=True)
class _Reading:
    """What was counted of a fabric in one direction: y = ln(count per 10 cm). Repeated measurements are one reading,
    their mean weighted by how well each was read; `swatch` is the first of them, None for what was told."""

    key: bytes
    direction: int
    y: float
    tape_var: float
    of_this_piece: bool
    swatch: Swatch | None


@dataclass(frozen=True)
class GaugeReport:
    """What is known of the gauge of the stitches asked for. Made by `estimate`; see `adding` for later swatches.

    charts: the stitches asked for. measured: charts of every stitch a swatch may speak of. swatches: all of them, and
    piece_swatches those taken from the very piece. plain: stocking stitch as told where the file gives none.
    """

    charts: Mapping[str, Chart]
    measured: Mapping[str, Chart]
    swatches: tuple[Swatch, ...] = ()
    piece_swatches: tuple[Swatch, ...] = ()
    plain: PlainGauge | None = None
    priors: Priors = field(default_factory=shipped)

    def adding(self, swatches: Sequence[Swatch], of_this_piece: bool = False) -> GaugeReport:
        """The report with further swatches. of_this_piece: measured on the piece itself, so that they also tell how it
        differs from the knitter's other fabrics."""
        if of_this_piece:
            return replace(self, piece_swatches=self.piece_swatches + tuple(swatches))
        return replace(self, swatches=self.swatches + tuple(swatches))

    def for_charts(self, charts: Mapping[str, Chart]) -> GaugeReport:
        """The same knowledge asked of other stitches."""
        return replace(self, charts=charts)

    @cached_property
    def baseline(self) -> Baseline | None:
        """Stocking stitch, or None where neither half of its gauge is known."""
        sources = self._solution.plain_sources
        if sources == (None, None):
            return None
        stitches, rows = (self._swatch_range(PLAIN, direction) for direction in (0, 1))
        return Baseline(stitches, rows, _source(*sources))

    @cached_property
    def stitches(self) -> tuple[StitchGauge, ...]:
        """The gauge of each stitch asked for, in order."""
        return tuple(self._gauge_of(name) for name in self.charts)

    def of(self, name: str) -> StitchGauge:
        """The gauge of one stitch asked for. Raises KeyError for another."""
        found = [gauge for gauge in self.stitches if gauge.name == name]
        if not found:
            raise KeyError(name)
        return found[0]

    def joint(self, names: Sequence[str] | None = None) -> Joint:
        """The joint law of the gauges per 10 cm of "plain" and the stitches named (all asked for, if unsaid)."""
        chosen = tuple(dict.fromkeys((PLAIN, *(self.charts if names is None else names))))
        targets = [self._solution.absolute(self._key(name), direction) for name in chosen for direction in (0, 1)]
        return Joint(chosen, *self._solution.moments(targets))

    @cached_property
    def messages(self) -> tuple[Message, ...]:
        """Remarks on swatches that lie far from what the model expected: believed, but worth another count."""
        from stitchc.gauge.remarks import surprises

        return tuple(surprises(self))

    def far_out(self) -> list[tuple[Swatch, int, float, float, float | None]]:
        """Surprising readings: the swatch, 0 for stitches or 1 for rows, the count per 10 cm that was expected, how far
        off (0.2 is 20 % over), and the share of cells that knit (what counting visible V's would give)."""
        found: list[tuple[Swatch, int, float, float, float | None]] = []
        for reading, (z, expected) in zip(self._solution.readings, self._solution.surprises, strict=True):
            if abs(z) <= _SURPRISE or reading.swatch is None:
                continue
            features = self.features[reading.swatch.stitch]
            share = 1 - features.tuck_share - features.slip_share
            found.append(
                (reading.swatch, reading.direction, math.exp(expected), math.expm1(reading.y - expected), share)
            )
        return found

    # -- inside -----------------------------------------------------------------------------------------------------

    def _key(self, name: str) -> bytes:
        if name == PLAIN:
            return _PLAIN_KEY
        return self._keys[name]

    @cached_property
    def _keys(self) -> dict[str, bytes]:
        return {name: same_fabric_key(chart) for name, chart in {**self.measured, **self.charts}.items()}

    @cached_property
    def features(self) -> dict[str, Features]:
        """The predictors of every stitch there is a chart of."""
        return {name: features_of(chart) for name, chart in {**self.measured, **self.charts}.items()}

    @cached_property
    def _solution(self) -> _Solution:
        readings = self._readings()
        features = {self._keys[name]: self.features[name] for name in self._keys}
        features[_PLAIN_KEY] = features_of(Chart.plain(1, 1))
        given = self._plain_readings(readings)
        return _Solution(self.priors, features, tuple(readings + given), bool(given))

    def _readings(self) -> list[_Reading]:
        gathered: dict[tuple[bytes, int, bool], list[tuple[float, float, Swatch]]] = {}
        for swatch, own in [(s, False) for s in self.swatches] + [(s, True) for s in self.piece_swatches]:
            if swatch.stitch != PLAIN and swatch.stitch not in self._keys:
                continue
            for direction, count in enumerate((swatch.stitches, swatch.rows)):
                if count is not None and count > 0:
                    place = (self._key(swatch.stitch), direction, own)
                    y = math.log(count * 100 / swatch.per_mm)
                    variance = self.reading_variance(count, swatch.per_mm) + swatch.doubt**2
                    gathered.setdefault(place, []).append((y, variance, swatch))
        if len(gathered) > _MOST_READINGS:
            raise Refused(_too_many_measured())
        readings = []
        for (key, direction, own), counts in gathered.items():
            weights = [1 / variance for _, variance, _ in counts]
            mean = sum(y * weight for (y, _, _), weight in zip(counts, weights, strict=True)) / sum(weights)
            readings.append(_Reading(key, direction, mean, 1 / sum(weights), own, counts[0][2]))
        return readings

    def _plain_readings(self, readings: Sequence[_Reading]) -> list[_Reading]:
        """The halves of `plain` that the swatches leave open."""
        if self.plain is None:
            return []
        known = {reading.direction for reading in readings if reading.key == _PLAIN_KEY}
        counts = (self.plain.stitches, self.plain.rows)
        return [
            _Reading(_PLAIN_KEY, at, math.log(count), self.reading_variance(count, _USUAL_LENGTH_MM), False, None)
            for at, count in enumerate(counts)
            if at not in known
        ]

    def reading_variance(self, count: float, per_mm: float) -> float:
        """Variance of ln(count / length) from reading the tape and from counting to half a stitch."""
        tape = self.priors.tape_mm / per_mm
        counting = self.priors.count_step / count / math.sqrt(12)
        return tape * tape + counting * counting

    @cached_property
    def usual_length_mm(self) -> float:
        """The length that this knitter measures on (the middle of the swatches'; 100 mm without any)."""
        lengths = [swatch.per_mm for swatch in (*self.swatches, *self.piece_swatches)]
        return float(np.median(lengths)) if lengths else _USUAL_LENGTH_MM

    def _swatch_variance(self, log_count: float) -> float:
        """What the reading of one more swatch adds."""
        length = self.usual_length_mm
        return self.reading_variance(max(1.0, math.exp(log_count) * length / 100), length)

    def _swatch_range(self, name: str, direction: int) -> Range:
        mean, variance = self._solution.one(self._solution.absolute(self._key(name), direction))
        return Range.of_log(mean, math.sqrt(variance + self._swatch_variance(mean)))

    def _gauge_of(self, name: str) -> StitchGauge:
        solution, key = self._solution, self._key(name)
        factors, per_10cm, own = [], [], []
        for direction in (0, 1):
            mean, variance = solution.one(solution.factor(key, direction))
            absolute = solution.one(solution.absolute(key, direction))
            reading = self._swatch_variance(absolute[0] if absolute[1] < _KNOWN_SD**2 else math.log(_MIDDLE_GAUGE))
            spread = math.sqrt(variance + self.priors.fabric_sd**2 + reading)
            factors.append(Range.of_log(mean, spread))
            swatch_range = self._swatch_range(name, direction)
            per_10cm.append(swatch_range if self.baseline else None)
            own.append(swatch_range if (key, direction) in solution.measured else None)
        return StitchGauge(
            name=name,
            features=self.features[name],
            stitch_factor=factors[0],
            row_factor=factors[1],
            stitches_per_10cm=per_10cm[0],
            rows_per_10cm=per_10cm[1],
            own_stitches_per_10cm=own[0],
            own_rows_per_10cm=own[1],
            stitch_basis=self._basis(key, 0),
            row_basis=self._basis(key, 1),
        )

    def _basis(self, key: bytes, direction: int) -> Basis:
        solution = self._solution
        if (key, direction) in solution.measured and solution.plain_sources[direction] is not None:
            return "measured"
        return "calibrated" if solution.learnt_share(key, direction) > _TAUGHT else "estimate"


def estimate(
    charts: Mapping[str, Chart],
    swatches: Sequence[Swatch] = (),
    plain: PlainGauge | None = None,
    measured: Mapping[str, Chart] | None = None,
    priors: Priors | None = None,
) -> GaugeReport:
    """The gauge of each chart, by name. swatches speak of "plain", of `charts` or of `measured`; others are left out.

    plain: stocking stitch where the swatches give none (each half that they leave open). Asking the report anything
    raises Refused (N110) where more than 1,000 fabrics and directions are measured.
    """
    return GaugeReport(dict(charts), dict(measured or {}), tuple(swatches), (), plain, priors or shipped())


def estimate_pattern(
    pattern: Pattern, names: Sequence[str] | None = None, plain: PlainGauge | None = None, priors: Priors | None = None
) -> GaugeReport:
    """The gauge of a pattern's stitches (those that nothing else is built from, if names are unsaid)."""
    stitches = pattern.wanted() if names is None else tuple(pattern.stitches[name] for name in names)
    spoken_of = {swatch.stitch for swatch in pattern.swatches}
    measured = {name: stitch.chart for name, stitch in pattern.stitches.items() if name in spoken_of}
    return estimate({stitch.name: stitch.chart for stitch in stitches}, pattern.swatches, plain, measured, priors)


_PLAIN_KEY: Final = same_fabric_key(Chart.plain(1, 1))


def _too_many_measured() -> Message:
    return Message(
        "N110",
        "error",
        f"More than {_MOST_READINGS:,} different stitches and directions are measured in this file.",
        cure="Keep the `gauge` lines of the stitches that matter, or split the file.",
    )


def _source(stitches: str | None, rows: str | None) -> str:
    if stitches == rows and stitches is not None:
        return stitches
    halves = [("stitches", stitches), ("rows", rows)]
    return ", ".join(
        f"{what} {source}" if source else f"{what} estimated from the other half" for what, source in halves
    )


# -- the linear algebra ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Target:
    """A number wanted: its row over the unknowns, in two halves, each found by the solution that suits it.

    as_measured: found with what was measured standing as measured; learnt: found with the model learning from it.
    untold: the fabric and direction whose own deviation belongs to it but has no place among the unknowns, since no
    swatch speaks of it.
    """

    as_measured: Vector
    learnt: Vector
    untold: tuple[bytes, int] | None = None


class _Solution:
    """The update for one set of readings. Unknowns: ln S0, ln R0, this piece's two differences, the parameters, then
    for every fabric and direction measured its own deviation and how that fabric differs from the next."""

    def __init__(
        self, priors: Priors, features: Mapping[bytes, Features], readings: Sequence[_Reading], plain_given: bool
    ) -> None:
        self.priors, self._features, self.readings = priors, features, readings
        self.measured = frozenset((reading.key, reading.direction) for reading in readings)
        self.plain_sources = (self._plain_source(0, plain_given), self._plain_source(1, plain_given))
        self._slots = {
            place: _FIRST_PARAMETER + len(PARAMETERS) + 2 * at for at, place in enumerate(sorted(self.measured))
        }
        self._size = _FIRST_PARAMETER + len(PARAMETERS) + 2 * len(self._slots)
        self._prior_mean = np.zeros(self._size)
        self._prior_mean[0] = math.log(_MIDDLE_GAUGE)
        self._prior_mean[1] = math.log(_MIDDLE_GAUGE) + priors.log_plain_ratio[0]
        self._prior_mean[_FIRST_PARAMETER : _FIRST_PARAMETER + len(PARAMETERS)] = priors.mean
        self._h = np.array([self._row_of(reading) for reading in readings]).reshape(len(readings), self._size)
        self._y = np.array([reading.y for reading in readings])
        self._noise = np.array([reading.tape_var for reading in readings])
        self._covariance = self._prior_covariance()
        self.surprises = self._surprises()
        learning, flat = self._covariance.copy(), self._covariance.copy()
        for reading, (z, _) in zip(readings, self.surprises, strict=True):
            slot = self._slots[(reading.key, reading.direction)]
            if abs(z) > _SURPRISE:  # far out: it speaks for itself, and has less say over the others
                learning[slot, slot] = max(learning[slot, slot], self._covariance[slot, slot] * z * z)
            if reading.key != _PLAIN_KEY:
                flat[slot, slot] = _FLAT_SD**2
        self._learnt_gain = self._gain(learning)
        self._measured_gain = self._gain(flat)

    def absolute(self, key: bytes, direction: int) -> _Target:
        """ln of the count per 10 cm of that fabric in this piece."""
        base, zero = np.zeros(self._size), np.zeros(self._size)
        base[direction] = base[2 + direction] = 1
        own = self._factor_row(key, direction)
        if (key, direction) in self.measured:
            return _Target(base + own, zero)
        if any(self.plain_sources):
            return _Target(base, own, (key, direction))
        return _Target(zero, base + own, (key, direction))

    def factor(self, key: bytes, direction: int) -> _Target:
        """ln F of that fabric: its gauge over that of stocking stitch."""
        untold = None if (key, direction) in self.measured else (key, direction)
        if not any(self.plain_sources):
            return _Target(np.zeros(self._size), self._factor_row(key, direction), untold)
        plain, fabric = self.absolute(_PLAIN_KEY, direction), self.absolute(key, direction)
        return _Target(fabric.as_measured - plain.as_measured, fabric.learnt - plain.learnt, untold)

    def one(self, target: _Target) -> tuple[float, float]:
        """Mean and variance of one target."""
        mean, covariance = self.moments([target])
        return float(mean[0]), float(covariance[0, 0])

    def moments(self, targets: Sequence[_Target]) -> tuple[Vector, Matrix]:
        """Means of several targets, and the covariance of their errors under the prior as it is (not as flattened)."""
        as_measured = np.array([target.as_measured for target in targets])
        learnt = np.array([target.learnt for target in targets])
        gain = as_measured @ self._measured_gain + learnt @ self._learnt_gain
        mean = (as_measured + learnt) @ self._prior_mean + gain @ (self._y - self._h @ self._prior_mean)
        left = gain @ self._h - as_measured - learnt
        covariance = left @ self._covariance @ left.T + (gain * self._noise) @ gain.T
        sharing: dict[tuple[bytes, int], list[int]] = {}
        for at, target in enumerate(targets):
            if target.untold is not None:
                sharing.setdefault(target.untold, []).append(at)
        for fabric, places in sharing.items():
            covariance[np.ix_(places, places)] += self._deviation(*fabric) ** 2
        return mean, covariance

    def learnt_share(self, key: bytes, direction: int) -> float:
        """How much of the variance of ln F the swatches took away, 0 to 1."""
        row = self._factor_row(key, direction)
        before = float(row @ self._covariance @ row)
        left = row @ self._learnt_gain @ self._h - row
        after = float(left @ self._covariance @ left) + float((row @ self._learnt_gain) ** 2 @ self._noise)
        return 1 - after / before if before > 0 else 0.0

    # -- inside -----------------------------------------------------------------------------------------------------

    def _plain_source(self, direction: int, given: bool) -> str | None:
        of_plain = [r for r in self.readings if r.key == _PLAIN_KEY and r.direction == direction]
        if not of_plain:
            return None
        return "measured" if any(reading.swatch is not None for reading in of_plain) else "given" if given else None

    def _deviation(self, key: bytes, direction: int) -> float:
        return deviation(self._features[key], self.priors)[direction]

    def _factor_row(self, key: bytes, direction: int) -> Vector:
        row = np.zeros(self._size)
        row[_FIRST_PARAMETER : _FIRST_PARAMETER + len(PARAMETERS)] = design(self._features[key])[direction]
        slot = self._slots.get((key, direction))
        if slot is not None:
            row[slot] = 1
        return row

    def _row_of(self, reading: _Reading) -> Vector:
        row = self._factor_row(reading.key, reading.direction)
        row[reading.direction] = 1
        if reading.of_this_piece:
            row[2 + reading.direction] = 1
        else:
            row[self._slots[(reading.key, reading.direction)] + 1] = 1
        return row

    def _prior_covariance(self) -> Matrix:
        covariance = np.zeros((self._size, self._size))
        both = all(source is not None for source in self.plain_sources)
        ratio_var = self.priors.log_plain_ratio[1] ** 2
        covariance[:2, :2] = np.eye(2) * _FLAT_SD**2 if both else np.full((2, 2), _FLAT_SD**2)
        covariance[1, 1] += 0 if both else ratio_var
        covariance[2, 2] = covariance[3, 3] = self.priors.fabric_sd**2
        low, high = _FIRST_PARAMETER, _FIRST_PARAMETER + len(PARAMETERS)
        covariance[low:high, low:high] = self.priors.covariance
        for (key, direction), slot in self._slots.items():
            covariance[slot, slot] = self._deviation(key, direction) ** 2
            covariance[slot + 1, slot + 1] = self.priors.fabric_sd**2
        return covariance

    def _gain(self, covariance: Matrix) -> Matrix:
        """How the unknowns move with the readings, (unknowns, readings)."""
        if not len(self._y):
            return np.zeros((self._size, 0))
        spread = self._h @ covariance
        gain: Matrix = np.linalg.solve(spread @ self._h.T + np.diag(self._noise), spread).T
        return gain

    def _surprises(self) -> list[tuple[float, float]]:
        """For each reading, given stocking stitch alone: its distance from the estimate in sds, and ln of the estimate.

        Zero where stocking stitch is not known, since then nothing was expected.
        """
        plain = [at for at, reading in enumerate(self.readings) if reading.key == _PLAIN_KEY]
        if not plain:
            return [(0.0, 0.0)] * len(self.readings)
        h = self._h[plain]
        gain = np.linalg.solve(h @ self._covariance @ h.T + np.diag(self._noise[plain]), h @ self._covariance).T
        mean = self._prior_mean + gain @ (self._y[plain] - h @ self._prior_mean)
        covariance = self._covariance - gain @ h @ self._covariance
        found = []
        for at, reading in enumerate(self.readings):
            row = self._h[at]
            expected = float(row @ mean)
            variance = float(row @ covariance @ row) + reading.tape_var
            found.append((0.0 if at in plain else (reading.y - expected) / math.sqrt(variance), expected))
        return found

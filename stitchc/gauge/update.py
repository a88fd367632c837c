"""What swatches teach: one linear Gaussian update of the unknowns, numpy alone.

The unknowns are ln of the stocking-stitch gauge, the model's parameters, each stitch's own deviation, and how this
piece differs from the knitter's other fabrics; every swatch is a fabric of its own and read with an error.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from stitchc.chart import Chart
from stitchc.gauge.fabric import same_fabric_key
from stitchc.gauge.features import Features
from stitchc.gauge.model import PARAMETERS, Matrix, Priors, Vector, design, deviation, offset

_FLAT_SD: Final = 100.0
"""Standard deviation, in ln, of what is not known at all."""
MIDDLE_GAUGE: Final = 22.0
"""Stitches and rows per 10 cm that the unknown gauge is reckoned from; its spread is so wide that any would do."""
_ONE: Final = 4
"""The place of 1 among the unknowns: what the model adds whatever its parameters are is a multiple of it."""
_PARAMETERS: Final = slice(5, 5 + len(PARAMETERS))
"""The places of the model's parameters; what was measured of each fabric follows."""
SURPRISE: Final = 2.5
"""Standard deviations from its estimate beyond which a swatch is remarked upon, and teaches the others less."""

PLAIN_KEY: Final = same_fabric_key(Chart.plain(1, 1))
"""Stocking stitch among the fabrics."""

SPREAD_LOG_SD: Final = 0.35
"""How far a knitter's spread may lie from the usual one, in ln: 2 to 7 % hold nine knitters in ten (assumed)."""
_SPREADS: Final = np.exp(np.linspace(-1.4, 1.4, 57))


def learnt_spread(usual: float, groups: Iterable[Sequence[tuple[float, float]]]) -> float:
    """The knitter's spread from swatch to swatch, in ln, after repeated swatches.

    usual: before any. groups: for each stitch and direction the (ln count per 10 cm, variance of its reading) of its
    swatches. Root of the mean square, so that a range by it holds what it should while the spread is hardly known.
    """
    spreads = usual * _SPREADS
    log_weight = -0.5 * (np.log(_SPREADS) / SPREAD_LOG_SD + SPREAD_LOG_SD) ** 2  # its mean square is about usual^2
    for group in groups:
        if len(group) < 2:
            continue
        y, reading = np.array(group).T
        precision = 1 / (spreads[:, None] ** 2 + reading)
        total = precision.sum(axis=1)
        middle = (precision @ y) / total
        squares = (precision * (y - middle[:, None]) ** 2).sum(axis=1)
        log_weight = log_weight + 0.5 * (np.log(precision).sum(axis=1) - np.log(total) - squares)
    weight = np.exp(log_weight - log_weight.max())
    return math.sqrt(float(weight @ spreads**2 / weight.sum()))


@dataclass(frozen=True)
class Reading:
    """What was counted of a fabric in one direction: y = ln(count per 10 cm), the weighted mean of its swatches.

    variance: of y about the fabric's own gauge (of the piece's, where it is of_this_piece). on_file: False for what was
    given on the command line.
    """

    key: bytes
    direction: int
    y: float
    variance: float
    of_this_piece: bool = False
    on_file: bool = True


@dataclass(frozen=True)
class Target:
    """A number wanted: its row over the unknowns, in two halves, each found by the solution that suits it.

    as_measured: found with what was measured standing as measured; learnt: found with the model learning from it.
    untold: the fabric and direction whose own deviation belongs to it but has no place among the unknowns, since no
    swatch speaks of it.
    """

    as_measured: Vector
    learnt: Vector
    untold: tuple[bytes, int] | None = None


class Update:
    """The update for one set of readings. Unknowns: ln S0, ln R0, this piece's two differences, 1, the parameters, then
    for every fabric and direction measured its own deviation. spread: of ln gauge from fabric to fabric."""

    def __init__(
        self, priors: Priors, features: Mapping[bytes, Features], readings: Sequence[Reading], spread: float
    ) -> None:
        self.priors, self._features, self.readings, self.spread = priors, features, readings, spread
        self.measured = frozenset((reading.key, reading.direction) for reading in readings)
        self.plain_sources = (self._plain_source(0), self._plain_source(1))
        self._slots = {place: _PARAMETERS.stop + index for index, place in enumerate(sorted(self.measured))}
        self._size = _PARAMETERS.stop + len(self._slots)
        self._prior_mean = np.zeros(self._size)
        self._prior_mean[0] = math.log(MIDDLE_GAUGE)
        self._prior_mean[1] = math.log(MIDDLE_GAUGE) + priors.log_plain_ratio[0]
        self._prior_mean[_ONE] = 1
        self._prior_mean[_PARAMETERS] = priors.mean
        self._h = np.array([self._row_of(reading) for reading in readings]).reshape(len(readings), self._size)
        self._y = np.array([reading.y for reading in readings])
        self._noise = np.array([reading.variance for reading in readings])
        self._covariance = self._prior_covariance()
        self._plain_mean, self._plain_covariance = self._after_plain()
        learning, flat = self._covariance.copy(), self._covariance.copy()
        for reading in readings:
            if reading.key == PLAIN_KEY:
                continue
            slot = self._slots[(reading.key, reading.direction)]
            expected, variance = self.expected(reading.key, reading.direction)
            z_square = (reading.y - expected) ** 2 / (variance + reading.variance)
            if z_square > SURPRISE**2:  # far out: it speaks for itself, and has less say over the others
                learning[slot, slot] = max(learning[slot, slot], self._covariance[slot, slot] * z_square)
            flat[slot, slot] = _FLAT_SD**2
        self._learnt_gain = self._gain(learning)
        self._measured_gain = self._gain(flat)

    def absolute(self, key: bytes, direction: int) -> Target:
        """ln of the count per 10 cm of that fabric in this piece."""
        base, zero = np.zeros(self._size), np.zeros(self._size)
        base[direction] = base[2 + direction] = 1
        own = self._factor_row(key, direction)
        if (key, direction) in self.measured:
            return Target(base + own, zero)
        if any(self.plain_sources):
            return Target(base, own, (key, direction))
        return Target(zero, base + own, (key, direction))

    def factor(self, key: bytes, direction: int) -> Target:
        """ln F of that fabric: its gauge over that of stocking stitch."""
        untold = None if (key, direction) in self.measured else (key, direction)
        if not any(self.plain_sources):
            return Target(np.zeros(self._size), self._factor_row(key, direction), untold)
        plain, fabric = self.absolute(PLAIN_KEY, direction), self.absolute(key, direction)
        return Target(fabric.as_measured - plain.as_measured, fabric.learnt - plain.learnt, untold)

    def moments_of(self, target: Target) -> tuple[float, float]:
        """Mean and variance of one target."""
        mean, covariance = self.moments([target])
        return float(mean[0]), float(covariance[0, 0])

    def moments(self, targets: Sequence[Target]) -> tuple[Vector, Matrix]:
        """Means of several targets, and the covariance of their errors under the prior as it is (not as flattened)."""
        as_measured = np.array([target.as_measured for target in targets])
        learnt = np.array([target.learnt for target in targets])
        gain = as_measured @ self._measured_gain + learnt @ self._learnt_gain
        mean = (as_measured + learnt) @ self._prior_mean + gain @ (self._y - self._h @ self._prior_mean)
        left = gain @ self._h - as_measured - learnt
        covariance = left @ self._covariance @ left.T + (gain * self._noise) @ gain.T
        sharing: dict[tuple[bytes, int], list[int]] = {}
        for index, target in enumerate(targets):
            if target.untold is not None:
                sharing.setdefault(target.untold, []).append(index)
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

    def _plain_source(self, direction: int) -> str | None:
        of_plain = [r for r in self.readings if r.key == PLAIN_KEY and r.direction == direction]
        if not of_plain:
            return None
        return "measured" if any(reading.on_file for reading in of_plain) else "given"

    def _deviation(self, key: bytes, direction: int) -> float:
        priors, features = self.priors, self._features[key]
        if features.never_knitting:
            return _FLAT_SD
        return deviation(features, priors.width_deviation, priors.row_deviation)[direction]

    def _factor_row(self, key: bytes, direction: int) -> Vector:
        row = np.zeros(self._size)
        features = self._features[key]
        row[_PARAMETERS] = design(features)[direction]
        row[_ONE] = offset(features) if direction == 0 else 0
        slot = self._slots.get((key, direction))
        if slot is not None:
            row[slot] = 1
        return row

    def _row_of(self, reading: Reading) -> Vector:
        row = self._factor_row(reading.key, reading.direction)
        row[reading.direction] = 1
        if reading.of_this_piece:
            row[2 + reading.direction] = 1
        return row

    def _prior_covariance(self) -> Matrix:
        covariance = np.zeros((self._size, self._size))
        both = all(source is not None for source in self.plain_sources)
        ratio_var = self.priors.log_plain_ratio[1] ** 2
        covariance[:2, :2] = np.eye(2) * _FLAT_SD**2 if both else np.full((2, 2), _FLAT_SD**2)
        covariance[1, 1] += 0 if both else ratio_var
        covariance[2, 2] = covariance[3, 3] = self.spread**2
        covariance[_PARAMETERS, _PARAMETERS] = self.priors.covariance
        for (key, direction), slot in self._slots.items():
            covariance[slot, slot] = self._deviation(key, direction) ** 2
        return covariance

    def _gain(self, covariance: Matrix) -> Matrix:
        """How the unknowns move with the readings, (unknowns, readings)."""
        if not len(self._y):
            return np.zeros((self._size, 0))
        spread = self._h @ covariance
        gain: Matrix = np.linalg.solve(spread @ self._h.T + np.diag(self._noise), spread).T
        return gain

    def _after_plain(self) -> tuple[Vector, Matrix]:
        """The unknowns after stocking stitch alone."""
        plain = [index for index, reading in enumerate(self.readings) if reading.key == PLAIN_KEY]
        if not plain:
            return self._prior_mean, self._covariance
        h = self._h[plain]
        gain = np.linalg.solve(h @ self._covariance @ h.T + np.diag(self._noise[plain]), h @ self._covariance).T
        mean = self._prior_mean + gain @ (self._y[plain] - h @ self._prior_mean)
        return mean, self._covariance - gain @ h @ self._covariance

    def expected(self, key: bytes, direction: int) -> tuple[float, float]:
        """Mean and variance of ln of a measured fabric's gauge per 10 cm, given stocking stitch alone."""
        row = self._factor_row(key, direction)
        row[direction] = 1
        return float(row @ self._plain_mean), float(row @ self._plain_covariance @ row)

"""What swatches teach: one linear Gaussian update of the unknowns, numpy alone.

The unknowns are ln of the stocking-stitch gauge, the model's parameters, each stitch's own deviation, how this piece
differs from the knitter's other fabrics, and the errors of reading.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from stitchc.chart import Chart
from stitchc.gauge.fabric import same_fabric_key
from stitchc.gauge.features import Features
from stitchc.gauge.model import PARAMETERS, Matrix, Priors, Vector, design, deviation
from stitchc.pattern import Swatch

_FLAT_SD: Final = 100.0
"""Standard deviation, in ln, of what is not known at all."""
MIDDLE_GAUGE: Final = 22.0
"""Stitches and rows per 10 cm that the unknown gauge is reckoned from; its spread is so wide that any would do."""
_FIRST_PARAMETER: Final = 4
"""How many unknowns stand before the model's parameters."""
SURPRISE: Final = 2.5
"""Standard deviations from its estimate beyond which a swatch is remarked upon, and teaches the others less."""

PLAIN_KEY: Final = same_fabric_key(Chart.plain(1, 1))
"""Stocking stitch among the fabrics."""


@dataclass(frozen=True)
class Reading:
    """What was counted of a fabric in one direction: y = ln(count per 10 cm). Repeated measurements are one reading,
    their mean weighted by how well each was read; `swatch` is the first of them, None for what was told."""

    key: bytes
    direction: int
    y: float
    tape_var: float
    of_this_piece: bool
    swatch: Swatch | None


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
    """The update for one set of readings. Unknowns: ln S0, ln R0, this piece's two differences, the parameters, then
    for every fabric and direction measured its own deviation and how that fabric differs from the next."""

    def __init__(
        self, priors: Priors, features: Mapping[bytes, Features], readings: Sequence[Reading], plain_given: bool
    ) -> None:
        self.priors, self._features, self.readings = priors, features, readings
        self.measured = frozenset((reading.key, reading.direction) for reading in readings)
        self.plain_sources = (self._plain_source(0, plain_given), self._plain_source(1, plain_given))
        self._slots = {
            place: _FIRST_PARAMETER + len(PARAMETERS) + 2 * at for at, place in enumerate(sorted(self.measured))
        }
        self._size = _FIRST_PARAMETER + len(PARAMETERS) + 2 * len(self._slots)
        self._prior_mean = np.zeros(self._size)
        self._prior_mean[0] = math.log(MIDDLE_GAUGE)
        self._prior_mean[1] = math.log(MIDDLE_GAUGE) + priors.log_plain_ratio[0]
        self._prior_mean[_FIRST_PARAMETER : _FIRST_PARAMETER + len(PARAMETERS)] = priors.mean
        self._h = np.array([self._row_of(reading) for reading in readings]).reshape(len(readings), self._size)
        self._y = np.array([reading.y for reading in readings])
        self._noise = np.array([reading.tape_var for reading in readings])
        self._covariance = self._prior_covariance()
        self.surprises = self._surprises()
        learning, flat = self._covariance.copy(), self._covariance.copy()
        for reading, (z, _) in zip(readings, self.surprises, strict=True):
            slot = self._slots[(reading.key, reading.direction)]
            if abs(z) > SURPRISE:  # far out: it speaks for itself, and has less say over the others
                learning[slot, slot] = max(learning[slot, slot], self._covariance[slot, slot] * z * z)
            if reading.key != PLAIN_KEY:
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

    def one(self, target: Target) -> tuple[float, float]:
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
        of_plain = [r for r in self.readings if r.key == PLAIN_KEY and r.direction == direction]
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

    def _row_of(self, reading: Reading) -> Vector:
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
        plain = [at for at, reading in enumerate(self.readings) if reading.key == PLAIN_KEY]
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

"""From charts and measured swatches to gauges with ranges; `update` does the reckoning.

What is measured stands as measured: it is not drawn toward the model; the model learns from it for the stitches that
were not. Knows charts and swatches as values; it reads no file and prints nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Final

import numpy as np

from stitchc.chart import Chart
from stitchc.gauge.fabric import same_fabric_key
from stitchc.gauge.features import Features, features_of
from stitchc.gauge.model import Priors, shipped
from stitchc.gauge.remarks import surprises
from stitchc.gauge.update import MIDDLE_GAUGE, PLAIN_KEY, SURPRISE, Reading, Update
from stitchc.gauge.values import (
    DIRECTIONS,
    KNOWN_SD,
    PLAIN,
    Baseline,
    Basis,
    FarOut,
    Joint,
    PlainGauge,
    Range,
    StitchGauge,
)
from stitchc.messages import Message, Refused
from stitchc.pattern import Pattern, Swatch

_TAUGHT: Final = 0.01
"""Share of the variance of ln F that other stitches' swatches must have taken away for a gauge to be calibrated."""
_USUAL_LENGTH_MM: Final = 100.0
_MOST_READINGS: Final = 1000
"""Fabrics and directions measured that are learnt from at once; the work grows with the cube."""


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
        sources = self._update.plain_sources
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
        targets = [self._update.absolute(self._key(name), direction) for name in chosen for direction in (0, 1)]
        return Joint(chosen, *self._update.moments(targets))

    @cached_property
    def messages(self) -> tuple[Message, ...]:
        """Remarks on swatches that lie far from what the model expected: believed, but worth another count."""
        return tuple(surprises(self._far_out()))

    # -- inside -----------------------------------------------------------------------------------------------------

    def _far_out(self) -> Iterator[FarOut]:
        for reading, (z, expected) in zip(self._update.readings, self._update.surprises, strict=True):
            if abs(z) <= SURPRISE or reading.swatch is None:
                continue
            features = self.features[reading.swatch.stitch]
            yield FarOut(
                reading.swatch,
                DIRECTIONS[reading.direction],
                math.exp(expected),
                math.expm1(reading.y - expected),
                1 - features.tuck_share - features.slip_share,
            )

    def _key(self, name: str) -> bytes:
        if name == PLAIN:
            return PLAIN_KEY
        return self._keys[name]

    @cached_property
    def _keys(self) -> dict[str, bytes]:
        return {name: same_fabric_key(chart) for name, chart in {**self.measured, **self.charts}.items()}

    @cached_property
    def features(self) -> dict[str, Features]:
        """The predictors of every stitch there is a chart of."""
        return {name: features_of(chart) for name, chart in {**self.measured, **self.charts}.items()}

    @cached_property
    def _update(self) -> Update:
        readings = self._readings()
        features = {self._keys[name]: self.features[name] for name in self._keys}
        features[PLAIN_KEY] = features_of(Chart.plain(1, 1))
        given = self._plain_readings(readings)
        return Update(self.priors, features, tuple(readings + given), bool(given))

    def _readings(self) -> list[Reading]:
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
            readings.append(Reading(key, direction, mean, 1 / sum(weights), own, counts[0][2]))
        return readings

    def _plain_readings(self, readings: Sequence[Reading]) -> list[Reading]:
        """The halves of `plain` that the swatches leave open."""
        if self.plain is None:
            return []
        known = {reading.direction for reading in readings if reading.key == PLAIN_KEY}
        counts = (self.plain.stitches, self.plain.rows)
        return [
            Reading(PLAIN_KEY, at, math.log(count), self.reading_variance(count, _USUAL_LENGTH_MM), False, None)
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
        mean, variance = self._update.one(self._update.absolute(self._key(name), direction))
        return Range.of_log(mean, math.sqrt(variance + self._swatch_variance(mean)))

    def _gauge_of(self, name: str) -> StitchGauge:
        update, key = self._update, self._key(name)
        factors, per_10cm, own = [], [], []
        for direction in (0, 1):
            mean, variance = update.one(update.factor(key, direction))
            absolute = update.one(update.absolute(key, direction))
            reading = self._swatch_variance(absolute[0] if absolute[1] < KNOWN_SD**2 else math.log(MIDDLE_GAUGE))
            spread = math.sqrt(variance + self.priors.fabric_sd**2 + reading)
            factors.append(Range.of_log(mean, spread))
            swatch_range = self._swatch_range(name, direction)
            per_10cm.append(swatch_range if self.baseline else None)
            own.append(swatch_range if (key, direction) in update.measured else None)
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
        update = self._update
        if (key, direction) in update.measured and update.plain_sources[direction] is not None:
            return "measured"
        return "calibrated" if update.learnt_share(key, direction) > _TAUGHT else "estimate"


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

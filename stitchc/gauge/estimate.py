"""From charts and measured swatches to gauges with ranges; `update` does the reckoning.

What is measured stands as measured: it is not drawn toward the model; the model learns from it for the stitches that
were not. Knows charts and swatches as values; it reads no file and prints nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Final

import numpy as np

from stitchc.chart import Chart
from stitchc.gauge.doubt import BEYOND_BELIEF, Expected, FarOut, far_out
from stitchc.gauge.fabric import canonical, fabric_key
from stitchc.gauge.features import Features, features_of
from stitchc.gauge.gauges import (
    KNOWN_SD,
    PLAIN,
    Baseline,
    Basis,
    Joint,
    PlainGauge,
    Range,
    StitchGauge,
    in_yarn_name,
    mean_of,
)
from stitchc.gauge.model import Priors, shipped
from stitchc.gauge.remarks import USUAL_PLAIN, plain_distance, surprises
from stitchc.gauge.update import MIDDLE_GAUGE, PLAIN_KEY, Reading, Update, learnt_spread
from stitchc.gauge.yarn_lines import known_yarns, swatches_in, unused_lines
from stitchc.messages import Message, Refused
from stitchc.pattern import Pattern, Swatch

_LEARNT: Final = 0.01
"""Share of the variance of ln F that other stitches' swatches must have taken away for a gauge to be calibrated."""
_USUAL_LENGTH_MM: Final = 100.0
_MOST_READINGS: Final = 1000
"""Fabrics and directions measured that are learnt from at once; the work grows with the cube."""


@dataclass(frozen=True)
class GaugeReport:
    """What is known of the gauge of the stitches asked for. Made by `estimate`; see `adding` for later swatches.

    charts: the stitches asked for. measured: charts of every stitch a swatch may speak of. swatches: all of them, and
    piece_swatches those taken from the very piece. plain: stocking stitch as given where the file gives none.
    spread_given: of ln gauge from fabric to fabric, where the knitter knows it. main_yarn: of rows that name none.
    Where swatches name yarns, each stitch is estimated by the swatches that count for the yarns of its rows (see
    `in_yarn`); of_one_yarn: all the swatches here do. yarn_of: the yarn of the swatches of a stitch that name none,
    where it is known. of_no_yarn: swatches that name no yarn and count for none (see
    `unused_lines`).
    """

    charts: Mapping[str, Chart]
    measured: Mapping[str, Chart]
    swatches: tuple[Swatch, ...] = ()
    piece_swatches: tuple[Swatch, ...] = ()
    plain: PlainGauge | None = None
    spread_given: float | None = None
    main_yarn: str | None = None
    yarn_of: Mapping[str, str] = field(default_factory=dict)
    of_no_yarn: frozenset[Swatch] = frozenset()
    of_one_yarn: bool = False
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

    def asked_in_yarns(self, knitted: Iterable[tuple[str, str]]) -> GaugeReport:
        """The same knowledge, asked as well of stitches ("plain" or some asked for) in a yarn, each under the name that
        `in_yarn_name` gives it; of none where no yarn has swatches of its own."""
        in_yarns: dict[str, Chart] = {}
        for stitch, yarn in knitted if self.own_yarns else ():
            chart = Chart.plain(1, 1) if stitch == PLAIN else self.charts[stitch]
            in_yarns[in_yarn_name(stitch, yarn)] = replace(chart, yarns=tuple(own or yarn for own in chart.yarns))
        return self.for_charts({**self.charts, **in_yarns}) if in_yarns else self

    def measuring(self, charts: Mapping[str, Chart]) -> GaugeReport:
        """The same knowledge, for swatches that may speak of these stitches too."""
        return replace(self, measured={**self.measured, **charts})

    def in_yarn(self, yarn: str | None) -> GaugeReport:
        """What is known of one yarn: by its own swatches where it has any, else by those that name no yarn; see
        `swatches_in`."""
        if not self._names_yarns:
            return self
        wanted = yarn if yarn is not None else self.main_yarn
        return self._in_yarns.get(wanted) or self._in_yarns[None]

    def counts(self, swatch: Swatch) -> bool:
        """Whether a swatch says anything of the stitches asked for: it is of a yarn that they are knitted in."""
        return any(swatch in report.swatches for name in self.charts for report in self._reports_of(name))

    @property
    def own_yarns(self) -> tuple[str, ...]:
        """The yarns that have swatches of their own, as first met."""
        names = () if self.of_one_yarn else (swatch.yarn for swatch in self.swatches)
        return tuple(dict.fromkeys(name for name in names if name is not None))

    @cached_property
    def baseline(self) -> Baseline | None:
        """Stocking stitch in the main yarn, or None where neither half of its gauge is known."""
        if self._names_yarns:
            return self.in_yarn(None).baseline
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
        return {gauge.name: gauge for gauge in self.stitches}[name]

    def joint(self, names: Sequence[str] | None = None) -> Joint:
        """The joint law of the gauges per 10 cm of "plain" and the stitches named (default: all asked for). Stitches of
        different yarns vary on their own; one of several yarns takes their mean, and the spread between them."""
        chosen = tuple(dict.fromkeys((PLAIN, *(self.charts if names is None else names))))
        if self._names_yarns:
            return self._joint_of_yarns(chosen)
        keys = list(dict.fromkeys(self._key(name) for name in chosen))  # the same fabric is worked out once
        mean, covariance = self._update.moments([self._update.absolute(key, half) for key in keys for half in (0, 1)])
        places = [2 * keys.index(self._key(name)) + half for name in chosen for half in (0, 1)]
        return Joint(chosen, mean[places], covariance[np.ix_(places, places)])

    @cached_property
    def messages(self) -> tuple[Message, ...]:
        """Remarks on swatches that lie far from what was expected, and on those that are not used for it."""
        return tuple(surprises(self.far_out))

    @cached_property
    def far_out(self) -> tuple[FarOut, ...]:
        """Swatches that lie far from what stocking stitch and the model led to expect."""
        if self._names_yarns:
            reports = [
                *self._in_yarns.values(),
                *(report for several in self._of_stitch.values() for report in several),
            ]
            return tuple(dict.fromkeys(each for report in reports for each in report.far_out))
        return self._learnt[1]

    @cached_property
    def unused(self) -> frozenset[Swatch]:
        """Swatches that are beyond belief and not confirmed."""
        return frozenset(each.swatch for each in self.far_out if not each.used)

    @cached_property
    def mixed_yarns(self) -> tuple[str, ...]:
        """Stitches asked for whose rows are in several yarns with gauges of their own."""
        return tuple(name for name in self.charts if self._names_yarns and len(self._reports_of(name)) > 1)

    @cached_property
    def spread(self) -> float:
        """Standard deviation of ln gauge from one of the knitter's fabrics to the next (in the main yarn)."""
        return self.in_yarn(None)._update.spread

    @property
    def repeats(self) -> bool:
        """Whether any stitch was measured on more than one swatch, so that the spread was learnt (in the main yarn)."""
        if self._names_yarns:
            return self.in_yarn(None).repeats
        groups = self._groups([swatch for swatch in self.swatches if swatch not in self.unused], ())
        return any(len(group) > 1 for group in groups.values())

    # -- inside -----------------------------------------------------------------------------------------------------

    def _key(self, name: str) -> bytes:
        return PLAIN_KEY if name == PLAIN else self._keys[name]

    @cached_property
    def _forms(self) -> dict[str, Chart]:
        forms: dict[int, Chart] = {}
        known = {**self.measured, **self.charts}
        for chart in known.values():
            forms.setdefault(id(chart), canonical(chart))
        return {name: forms[id(chart)] for name, chart in known.items()}

    @cached_property
    def _keys(self) -> dict[str, bytes]:
        return {name: fabric_key(form) for name, form in self._forms.items()}

    @cached_property
    def features(self) -> dict[str, Features]:
        """The predictors of every stitch there is a chart of."""
        known = {self._keys[name]: form for name, form in self._forms.items()}
        seen = {key: features_of(form) for key, form in known.items()}
        return {name: seen[key] for name, key in self._keys.items()}

    @cached_property
    def _names_yarns(self) -> bool:
        return bool(self.own_yarns)

    @cached_property
    def _in_yarns(self) -> dict[str | None, GaugeReport]:
        """For each yarn with swatches of its own what they say, and under None what those that name no yarn say."""
        counting = [swatch for swatch in self.swatches if swatch not in self.of_no_yarn]
        return {
            yarn: replace(self, swatches=swatches_in(yarn, counting, self.yarn_of), of_one_yarn=True)
            for yarn in (None, *self.own_yarns)
        }

    def _reports_of(self, name: str) -> list[GaugeReport]:
        """The reports of a stitch's yarns, each once; of stocking stitch the main yarn's."""
        return self._of_stitch.get(name) or [self.in_yarn(None)]

    @cached_property
    def _of_stitch(self) -> dict[str, list[GaugeReport]]:
        return {name: self._in_yarns_of(name) for name in self.charts if name != PLAIN}

    def _in_yarns_of(self, name: str) -> list[GaugeReport]:
        """As `_reports_of`. A swatch of a stitch in several yarns can name none of them, so it counts in each."""
        reports = [self.in_yarn(yarn) for yarn in dict.fromkeys(self.charts[name].yarns)]
        several = list({id(report): report for report in reports}.values())
        if len(several) == 1:
            return several
        spoken_of = [swatch for swatch in self.swatches if swatch.yarn is None and swatch.stitch in self._keys]
        own = tuple(swatch for swatch in spoken_of if self._key(swatch.stitch) == self._key(name))
        return [report.adding([swatch for swatch in own if swatch not in report.swatches]) for report in several]

    def _joint_of_yarns(self, names: tuple[str, ...]) -> Joint:
        reports = {name: self._reports_of(name) for name in names}
        mean, covariance = np.zeros(2 * len(names)), np.zeros((2 * len(names), 2 * len(names)))
        kinds = list({id(each): each for several in reports.values() for each in several}.values())
        for kind in kinds:
            law = kind.joint([name for name in names if name != PLAIN])
            shares = np.repeat([sum(r is kind for r in reports[name]) / len(reports[name]) for name in names], 2)
            mean += shares * law.mean
            covariance += np.outer(shares, shares) * law.covariance
        for index, name in enumerate(names):
            laws = [each.joint([n for n in names if n != PLAIN]) for each in reports[name]]
            for place in (2 * index, 2 * index + 1):
                covariance[place, place] += float(np.var([law.mean[place] for law in laws]))
        return Joint(names, mean, covariance)

    @property
    def _update(self) -> Update:
        return self._learnt[0]

    @cached_property
    def _learnt(self) -> tuple[Update, tuple[FarOut, ...]]:
        """The update by all swatches that can be believed, and what is far out."""
        doubted: dict[Swatch, FarOut] = {}
        while True:
            used = [swatch for swatch in self.swatches if swatch not in doubted or doubted[swatch].used]
            update = self._update_by(used)
            # what is left is judged again: an absurd count widens the spread, and so hides others
            doubts = [each for s in used for each in far_out(s, self._expected(update, s), s.sure)]
            doubted = {s: each for s, each in doubted.items() if not each.used}
            doubted |= {each.swatch: each for each in doubts}
            if all(each.used for each in doubts):
                return update, tuple(doubted[swatch] for swatch in self.swatches if swatch in doubted)

    def _update_by(self, swatches: Sequence[Swatch]) -> Update:
        groups = self._groups(swatches, self.piece_swatches)
        repeated = [group for (_, _, of_this_piece), group in groups.items() if not of_this_piece]
        spread = learnt_spread(self.priors.spread, repeated) if self.spread_given is None else self.spread_given
        readings = []
        for (key, direction, of_this_piece), group in groups.items():
            weights = [1 / (variance + (0 if of_this_piece else spread**2)) for _, variance in group]
            mean = sum(y * weight for (y, _), weight in zip(group, weights, strict=True)) / sum(weights)
            readings.append(Reading(key, direction, mean, 1 / sum(weights), of_this_piece))
        known = {reading.direction for reading in readings if reading.key == PLAIN_KEY}
        for direction, count in enumerate((self.plain.stitches, self.plain.rows) if self.plain is not None else ()):
            if direction not in known:
                variance = self.reading_variance(count, _USUAL_LENGTH_MM) + spread**2
                readings.append(Reading(PLAIN_KEY, direction, math.log(count), variance, on_file=False))
        features = {self._keys[name]: self.features[name] for name in self._keys}
        features[PLAIN_KEY] = features_of(Chart.plain(1, 1))
        return Update(self.priors, features, readings, spread)

    def _groups(
        self, swatches: Sequence[Swatch], of_piece: Sequence[Swatch]
    ) -> dict[tuple[bytes, int, bool], list[tuple[float, float]]]:
        """By fabric, direction and piece or not: ln of each count per 10 cm, and the variance of reading it."""
        groups: dict[tuple[bytes, int, bool], list[tuple[float, float]]] = {}
        for swatch, own in [(s, False) for s in swatches] + [(s, True) for s in of_piece]:
            if swatch.stitch != PLAIN and swatch.stitch not in self._keys:
                continue
            for direction, count in enumerate((swatch.stitches, swatch.rows)):
                if count is not None and count > 0:
                    variance = self.reading_variance(count, swatch.per_mm) + swatch.doubt**2
                    y = math.log(count * 100 / swatch.per_mm)
                    groups.setdefault((self._key(swatch.stitch), direction, own), []).append((y, variance))
        if len(groups) > _MOST_READINGS:
            text = f"More than {_MOST_READINGS:,} different stitches and directions are measured in this file."
            advice = "Keep the `gauge` lines of the stitches that matter, or split the file."
            raise Refused(Message("N110", "error", text, advice=advice))
        return groups

    def _expected(self, update: Update, swatch: Swatch) -> Expected | None:
        """What stocking stitch alone leads to expect of one swatch."""
        if swatch.stitch == PLAIN:
            return self._expected_of_plain(swatch)
        if swatch.stitch not in self._keys or self._key(swatch.stitch) == PLAIN_KEY:
            return None
        features = self.features[swatch.stitch]
        if features.never_knitting or not any(update.plain_sources):
            return None
        key = self._key(swatch.stitch)
        halves = []
        for direction in (0, 1):
            mean, variance = update.expected(key, direction)
            variance += update.spread**2 + self.reading_variance(math.exp(mean), swatch.per_mm) + swatch.doubt**2
            halves.append((mean, math.sqrt(variance)))
        knits = 1 - features.tuck_share - features.slip_share
        shortens = knits < 1 and update.plain_sources[1]
        plain_rows = update.expected(PLAIN_KEY, 1)[0] if shortens else -math.inf
        return Expected(halves[0], halves[1], plain_rows, knits, features.needles)

    def _expected_of_plain(self, swatch: Swatch) -> Expected | None:
        """What the other swatches of stocking stitch lead to expect of one that is no usual stocking stitch; None of a
        usual one, and where there is no other."""
        of_plain = [each for each in self.swatches if each.stitch == PLAIN]
        others = [each for each in of_plain if each.sure or plain_distance(each) <= BEYOND_BELIEF]
        if swatch in others or not others:
            return None
        spread = self.spread_given or self.priors.spread  # one learnt from absurd counts would hide them
        sd = math.sqrt(2 * (spread**2 + self.reading_variance(USUAL_PLAIN[0][0], swatch.per_mm)))
        halves = []
        for usual, name in zip(USUAL_PLAIN, ("stitches_per_10cm", "rows_per_10cm"), strict=False):
            logs = [math.log(count) for each in others if (count := getattr(each, name))]
            halves.append((float(np.mean(logs)), sd) if logs else (math.log(usual[0]), usual[1]))
        return Expected(halves[0], halves[1])

    def reading_variance(self, count: float, per_mm: float) -> float:
        """Variance of ln(count / length) from reading the tape and from counting to half a stitch."""
        tape = self.priors.tape_mm / per_mm
        counting = self.priors.count_step / count / math.sqrt(12)
        return tape * tape + counting * counting

    @cached_property
    def _usual_length_mm(self) -> float:
        """The length that this knitter measures on (the middle of the swatches'; 100 mm without any)."""
        lengths = [each.per_mm for each in (*self.swatches, *self.piece_swatches) if each not in self.unused]
        return float(np.median(lengths)) if lengths else _USUAL_LENGTH_MM

    def _swatch_variance(self, log_count: float) -> float:
        """What the reading of one more swatch adds."""
        length = self._usual_length_mm
        return self.reading_variance(max(1.0, math.exp(log_count) * length / 100), length)

    def _swatch_range(self, name: str, direction: int) -> Range:
        mean, variance = self._update.moments_of(self._update.absolute(self._key(name), direction))
        return Range.of_log(mean, math.sqrt(variance + self._swatch_variance(mean)))

    def _gauge_of(self, name: str) -> StitchGauge:
        if self._names_yarns:
            return mean_of([report.of(name) for report in self._reports_of(name)])
        update, key, features = self._update, self._key(name), self.features[name]
        halves: list[tuple[Range | None, Range | None, Range | None]] = []
        for direction in (0, 1):
            is_measured = (key, direction) in update.measured
            if features.never_knitting and not is_measured:
                halves.append((None, None, None))
                continue
            mean, variance = update.moments_of(update.factor(key, direction))
            absolute = update.moments_of(update.absolute(key, direction))
            reading = self._swatch_variance(absolute[0] if absolute[1] < KNOWN_SD**2 else math.log(MIDDLE_GAUGE))
            factor = Range.of_log(mean, math.sqrt(variance + update.spread**2 + reading))
            swatch_range = self._swatch_range(name, direction)
            halves.append((factor, swatch_range if self.baseline else None, swatch_range if is_measured else None))
        (wide, stitches, own_stitches), (long, rows, own_rows) = halves
        bases = self._basis(key, 0), self._basis(key, 1)
        return StitchGauge(name, features, wide, long, stitches, rows, own_stitches, own_rows, *bases)

    def _basis(self, key: bytes, direction: int) -> Basis:
        update = self._update
        if (key, direction) in update.measured and update.plain_sources[direction] is not None:
            return "measured"
        return "calibrated" if update.learnt_share(key, direction) > _LEARNT else "estimate"


def estimate(
    charts: Mapping[str, Chart],
    swatches: Sequence[Swatch] = (),
    plain: PlainGauge | None = None,
    measured: Mapping[str, Chart] | None = None,
    priors: Priors | None = None,
    spread: float | None = None,
) -> GaugeReport:
    """The gauge of each chart, by name. swatches speak of "plain", of `charts` or of `measured`; others are left out.

    plain: stocking stitch where the swatches give none (each half that they leave open). spread: of ln gauge from one
    of the knitter's fabrics to the next; default: learnt from repeated swatches, beginning at 0.04. Asking the report
    anything raises Refused (N110) where more than 1,000 fabrics and directions are measured.
    """
    return GaugeReport(
        dict(charts),
        dict(measured or {}),
        tuple(swatches),
        plain=plain,
        spread_given=spread,
        priors=priors or shipped(),
    )


def estimate_pattern(
    pattern: Pattern,
    names: Sequence[str] | None = None,
    plain: PlainGauge | None = None,
    spread: float | None = None,
) -> GaugeReport:
    """The gauge of a pattern's stitches (default: those that nothing else is built from)."""
    stitches = pattern.wanted() if names is None else tuple(pattern.stitches[name] for name in names)
    spoken_of = {swatch.stitch for swatch in pattern.swatches}
    measured = {name: stitch.chart for name, stitch in pattern.stitches.items() if name in spoken_of}
    charts = {stitch.name: stitch.chart for stitch in stitches}
    report = estimate(charts, pattern.swatches, plain, measured, spread=spread)
    of_no_yarn = frozenset(swatch for swatch in unused_lines(pattern) if swatch.yarn is None)
    return replace(report, main_yarn=pattern.usual_yarn, yarn_of=known_yarns(pattern), of_no_yarn=of_no_yarn)


def _source(stitches: str | None, rows: str | None) -> str:
    if stitches == rows and stitches is not None:
        return stitches
    return ", ".join(
        f"{noun} {s or 'estimated from the other half'}" for noun, s in (("stitches", stitches), ("rows", rows))
    )

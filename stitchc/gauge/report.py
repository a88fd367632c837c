"""Gauges as a table to read and as the `stitchc-gauge/1` document."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from stitchc.english import number
from stitchc.gauge.doubt import line_of
from stitchc.gauge.estimate import GaugeReport
from stitchc.gauge.evidence import evidence_json, evidence_line
from stitchc.gauge.gauges import PLAIN, Baseline, Range, StitchGauge
from stitchc.gauge.learnt import lessons
from stitchc.gauge.yarn import YarnUse, yarns_of
from stitchc.gauge.yarn_lines import unused_lines
from stitchc.messages import visible
from stitchc.options import Units
from stitchc.pattern import Pattern, Stitch


class Opinion(NamedTuple):
    """A second opinion from the mechanics of yarn: stitches and rows over those of stocking stitch, or why there are
    none."""

    factors: tuple[float, float] | None
    reason: str = ""


Opinions = Mapping[str, Opinion]


def as_json(
    report: GaugeReport, pattern: Pattern, stitches: Sequence[Stitch], opinions: Opinions | None = None
) -> dict[str, Any]:
    """The `stitchc-gauge/1` document. opinions: added to each stitch as `mechanics`, where they were asked for."""
    each = [stitch_json(report.of(stitch.name), yarns_of(report, pattern, stitch)) for stitch in stitches]
    for stitch, entry in zip(stitches, each, strict=True):
        opinion = (opinions or {}).get(stitch.name)
        if opinion is not None:
            wide, long = opinion.factors or (None, None)
            entry["mechanics"] = {"stitch_factor": wide and round(wide, 3), "row_factor": long and round(long, 3)}
            if opinion.factors is None:
                entry["mechanics"]["reason"] = opinion.reason
    return {
        "format": "stitchc-gauge/1",
        "baseline": _baseline_json(report.baseline),
        "stitches": each,
        "spread_percent": round(100 * report.spread, 1),
        "swatches": [
            {"line": each.line, "narrower_percent": _percent(each.narrower), "rows_percent": _percent(each.rows)}
            for each in lessons(report)
        ],
        "not_used": [line_of(doubted.swatch) for doubted in report.far_out if not doubted.used]
        + [line_of(swatch) for swatch in unused_lines(pattern)],
    }


def _percent(share: float | None) -> float | None:
    return None if share is None else round(100 * share, 1)


def _baseline_json(baseline: Baseline | None) -> dict[str, Any] | None:
    if baseline is None:
        return None
    return {
        "stitches_per_10cm": float(f"{baseline.stitches_per_10cm.value:.6g}"),
        "rows_per_10cm": float(f"{baseline.rows_per_10cm.value:.6g}"),
        "source": baseline.source,
    }


def stitch_json(gauge: StitchGauge, yarns: Sequence[YarnUse]) -> dict[str, Any]:
    """One stitch of the `stitchc-gauge/1` document: the contract's fields, and some more."""
    features = gauge.features

    def json(value: Range | None, digits: int = 4) -> dict[str, float] | None:
        return None if value is None else value.as_json(digits)

    def percent(value: float | None) -> float | None:
        return None if value is None else round(value, 1)

    width, length = (per and per.under(1000) for per in (gauge.stitches_per_10cm, gauge.rows_per_10cm))
    return {
        "name": gauge.name,
        "tucks_per_100": round(100 * features.tuck_share, 3),
        "slips_per_100": round(100 * features.slip_share, 3),
        "mean_span": None if features.mean_span is None else round(features.mean_span, 3),
        "longest_hold": features.longest_hold,
        "stitch_factor": json(gauge.stitch_factor),
        "row_factor": json(gauge.row_factor),
        "stitches_per_10cm": json(gauge.stitches_per_10cm),
        "rows_per_10cm": json(gauge.rows_per_10cm),
        "width_change_percent": percent(gauge.width_change_percent),
        "length_change_percent": percent(gauge.length_change_percent),
        "basis": gauge.basis,
        "basis_of_stitches": gauge.stitch_basis,
        "basis_of_rows": gauge.row_basis,
        "evidence": evidence_json(gauge),
        "size_of_100_by_100_cm": width and length and {"width": json(width), "length": json(length)},
        "yarn": [
            {
                "name": use.name,
                "metres_per_square_metre": use.metres_per_square_metre.as_json(3),
                "grams_per_square_metre": json(use.grams_per_square_metre, 3),
            }
            for use in yarns
        ],
        "words": in_words(gauge),
    }


def as_text(
    report: GaugeReport, pattern: Pattern, stitches: Sequence[Stitch], units: Units, opinions: Opinions | None = None
) -> Iterator[str]:
    per, cm = ("10 cm", 10.0) if units == "cm" else ("4 in", 10.16)
    if pattern.title:
        yield visible(pattern.title)
    baseline = report.baseline
    if baseline is None and report.own_yarns:
        yield "Stocking stitch:"
    elif baseline is None:
        yield "Stocking stitch: not known, so only the sizes compared with it can be shown."
        yield "  Add a line such as `gauge plain 20 stitches 28 rows per 10 cm`, or use --plain 20x28."
    else:
        wide, long = (r.value * cm / 10 for r in (baseline.stitches_per_10cm, baseline.rows_per_10cm))
        yield f"Stocking stitch: {wide:.1f} stitches and {long:.1f} rows to {per} ({baseline.source})."
    for yarn in report.own_yarns:
        own = report.in_yarn(yarn).baseline
        if own is not None and own is not baseline:
            wide, long = (r.value * cm / 10 for r in (own.stitches_per_10cm, own.rows_per_10cm))
            yield f"  in {visible(yarn)}: {wide:.1f} stitches and {long:.1f} rows to {per}"
    yield f"Ranges in brackets hold nine swatches in ten, for swatches that differ by {100 * report.spread:.1f} %"
    yield f"from one to the next ({_of_spread(report)})."
    for doubted in report.far_out:
        if not doubted.used:
            yield f"Not used, since it is hardly possible: {visible(line_of(doubted.swatch))}"
    for stitch in stitches:
        yield ""
        yield from _stitch_text(report, pattern, stitch, units)
        if opinions is not None:
            yield from _opinion_text(opinions[stitch.name], report.of(stitch.name))
    learnt = lessons(report)
    if any(lesson.stitch != PLAIN for lesson in learnt):
        yield ""
        yield "What each swatch changed"
        for lesson in learnt:
            yield f"  {visible(lesson.line)}: {visible(lesson.words())}."


def _of_spread(report: GaugeReport) -> str:
    if report.spread_given is not None:
        return "as you gave it"
    return "common practice; repeated swatches show yours" if not report.repeats else "from your repeated swatches"


def _opinion_text(opinion: Opinion, gauge: StitchGauge) -> Iterator[str]:
    """The second opinion, apart from the estimate, with how far it can be trusted (trial relaxations)."""
    if opinion.factors is None:
        yield _line("second opinion", f"none. {opinion.reason}")
        return
    wide, long = opinion.factors
    yield _line(
        "second opinion", f"from the mechanics of yarn: {wide:.2f} times the {gauge.counted}, good to 10 to 25 %,"
    )
    yield _line("", f"and {long:.2f} times the rows of stocking stitch, good to 5 to 25 %.")
    if not (gauge.features.tuck_share or gauge.features.slip_share):
        return
    yield from _lines(
        "",
        "It is not independent of the estimate, which uses such calculations for the rows of tuck and slip, for "
        "columns and for dense tucks (--evidence).",
    )


def _stitch_text(report: GaugeReport, pattern: Pattern, stitch: Stitch, units: Units) -> Iterator[str]:
    gauge = report.of(stitch.name)
    features = gauge.features
    per, cm = ("10 cm", 10.0) if units == "cm" else ("4 in", 10.16)
    yield f"{visible(stitch.name)}"
    yield f"  {in_words(gauge)}"
    held = [f"{100 * features.tuck_share:.3g} tucks"] if features.tuck_share else []
    held += [f"{100 * features.slip_share:.3g} slips"] if features.slip_share else []
    if features.mean_span is not None and features.longest_hold:
        hold = f"longest hold {number(features.longest_hold, 'row')}"
        held += [hold, f"a loop spans {features.mean_span:.2f} rows on average"]
    if held:
        yield _line("in 100 cells", ", ".join(held))
    if stitch.chart.out:
        yield _line("out of work", f"{len(stitch.chart.out)} of {number(stitch.chart.width, 'needle')}")
    if gauge.stitch_factor is None or gauge.row_factor is None:
        return
    wide = gauge.stitches_per_10cm or gauge.own_stitches_per_10cm
    long = gauge.rows_per_10cm or gauge.own_rows_per_10cm
    for noun, swatch_range, factor, basis in (
        (gauge.counted, wide, gauge.stitch_factor, gauge.stitch_basis),
        ("rows", long, gauge.row_factor, gauge.row_basis),
    ):
        times = f"{brackets(factor, 2)} times stocking stitch, {basis}"
        if swatch_range is None:
            yield _line(noun, times)
        else:
            yield _line(f"{noun} to {per}", f"{brackets(swatch_range.times(cm / 10), 1):<22} {times}")
    if evidence_line(gauge):
        yield _line("rests on", evidence_line(gauge))
    if gauge.stitches_per_10cm is not None and gauge.rows_per_10cm is not None:
        of_100 = 1000 if units == "cm" else 1000 / 2.54
        yield _line("100 needles", f"{brackets(gauge.stitches_per_10cm.under(of_100), 1)} {units} wide")
        yield _line("100 rows", f"{brackets(gauge.rows_per_10cm.under(of_100), 1)} {units} long")
    for use in yarns_of(report, pattern, stitch):
        name = f"yarn {visible(use.name)}" if use.name else "yarn"
        weight = f", {brackets(use.grams_per_square_metre, 0)} g" if use.grams_per_square_metre else ""
        yield _line(name, f"{brackets(use.metres_per_square_metre, 0)} m{weight} in a square metre")


def _line(head: str, text: str) -> str:
    return f"  {head:<18} {text}".rstrip()


def _lines(head: str, text: str) -> Iterator[str]:
    for index, line in enumerate(textwrap.wrap(text, 88)):
        yield _line("" if index else head, line)


def brackets(value: Range, digits: int) -> str:
    """ "26.4 (24.9 to 28.0)"."""
    return f"{value.value:.{digits}f} ({value.low:.{digits}f} to {value.high:.{digits}f})"


# -- in a sentence --------------------------------------------------------------------------------------------------

_LITTLE = 2.0
"""Percent under which a change is called none: a tape could not tell it."""


def in_words(gauge: StitchGauge) -> str:
    """What happens to the size, against the same needles and rows of stocking stitch."""
    if gauge.stitch_factor is None or gauge.row_factor is None:
        return "Its size cannot be estimated: one of its needles never knits and so keeps every loop."
    if gauge.features.is_plain:
        return "The same as stocking stitch: every needle knits on every row."
    counted = " Its needles out of work are counted as needles." if gauge.features.ladders else ""
    return _against_plain(gauge, gauge.stitch_factor, gauge.row_factor) + counted


def _against_plain(gauge: StitchGauge, stitch_factor: Range, row_factor: Range) -> str:
    width = _change(gauge.width_change_percent, "wider", "narrower", stitch_factor)
    length = _change(gauge.length_change_percent, "longer", "shorter", row_factor)
    if width and length:
        return f"{width[0].upper()}{width[1:]} and {length} than stocking stitch."
    if width:
        return f"{width[0].upper()}{width[1:]} than stocking stitch. About as long."
    if length:
        return f"About as wide as stocking stitch. {length[0].upper()}{length[1:]}."
    return "About the size of stocking stitch."


def _change(percent: float | None, more: str, less: str, factor: Range) -> str | None:
    """ "about 13 % wider (+5 to +22 %)", or None where a tape could not tell."""
    if percent is None or abs(percent) < _LITTLE:
        return None
    sides = sorted(100 * (1 / bound - 1) for bound in (factor.low, factor.high))
    span = f"{_whole(sides[0])} to {_whole(sides[1])}"
    return f"about {abs(percent):.0f} % {more if percent > 0 else less} ({span} %)"


def _whole(percent: float) -> str:
    return f"{percent:+.0f}".replace("-", "−") if round(percent) else "0"

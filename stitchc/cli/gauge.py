"""`stitchc gauge`: the estimated gauge of each stitch, with its range and what it rests on."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from stitchc.cli import common
from stitchc.cli.plain_gauge import plain_option
from stitchc.english import number
from stitchc.messages import visible

if TYPE_CHECKING:
    from stitchc.gauge import GaugeReport, PlainGauge, Range, StitchGauge
    from stitchc.gauge.yarn import YarnUse
    from stitchc.pattern import Pattern, Stitch


@click.command(short_help="Estimate the gauge of each stitch, with an honest range.")
@common.file_argument
@common.every_stitch_option
@plain_option
@common.option(
    "--mechanics",
    is_flag=True,
    help="Add a second opinion from the mechanics of yarn: the repeat relaxed loop by loop in a free cell.",
)
@common.units_option
@common.format_option("text", "json")
@common.output_option("the table")
def command(
    file: str,
    stitch_names: tuple[str, ...],
    plain: PlainGauge | None,
    mechanics: bool,
    units: str,
    form: str,
    output: Path | None,
    force: bool,
) -> None:
    """Estimate the gauge of the stitches of FILE against stocking stitch.

    Every figure comes with the range that holds nine swatches in ten, and says whether it is an estimate, calibrated
    on other stitches of the same yarn, or measured. `gauge` lines in the file sharpen it; keep them in a file of their
    own and `include` it to use them in other patterns of that yarn.

    \b
        stitchc gauge cowl.stitch
        stitchc gauge cowl.stitch --plain 20x28 --units in
        stitchc gauge cowl.stitch --mechanics
    """
    from stitchc.gauge import check_gauge, estimate_pattern
    from stitchc.gauge.yarn import ill_matched

    pattern = common.read_pattern(file)
    stitches = common.chosen(pattern, stitch_names, parts=True)
    common.require(check_gauge(pattern, None, plain), pattern)
    report = estimate_pattern(pattern, [stitch.name for stitch in stitches], plain)
    common.show([*report.messages, *ill_matched(report, pattern)], pattern.sources)
    opinions = _second_opinions(stitches, report) if mechanics else None
    text = (
        as_json(report, pattern, stitches, opinions)
        if form == "json"
        else "\n".join(as_text(report, pattern, stitches, units, opinions))
    )
    common.put_text(text, output, force)


Opinions = Mapping[str, tuple[float, float] | str]
"""By stitch: factors over stocking stitch, of stitches and of rows, or why there are none."""


def _second_opinions(stitches: Sequence[Stitch], report: GaugeReport) -> Opinions:
    from functools import partial

    from stitchc.cli.fabric_cache import relaxed
    from stitchc.cli.progress import Bar
    from stitchc.fabric import SLIP_FED, second_opinion, slip_yarn
    from stitchc.messages import Refused

    plain = report.baseline
    slip_fed = slip_yarn(plain.stitches_per_10cm.value, plain.rows_per_10cm.value) if plain is not None else SLIP_FED
    found: dict[str, tuple[float, float] | str] = {}
    for stitch in stitches:
        with Bar(f"relaxing {visible(stitch.name)}") as bar:
            try:
                found[stitch.name] = second_opinion(
                    stitch.chart, partial(relaxed, cell=None, slip_fed=slip_fed, progress=bar.at)
                )
            except Refused as refused:
                found[stitch.name] = refused.messages[0].text
    return found


def as_json(report: GaugeReport, pattern: Pattern, stitches: Sequence[Stitch], opinions: Opinions | None = None) -> str:
    """The `stitchc-gauge/1` document. opinions: added to each stitch as `mechanics`, where they were asked for."""
    from stitchc.gauge.yarn import yarns_of

    each = [stitch_json(report.of(stitch.name), yarns_of(report, pattern, stitch)) for stitch in stitches]
    if opinions is not None:
        for stitch, entry in zip(stitches, each, strict=True):
            opinion = opinions[stitch.name]
            entry["mechanics"] = (
                {"stitch_factor": None, "row_factor": None, "reason": opinion}
                if isinstance(opinion, str)
                else {"stitch_factor": _figure(round(opinion[0], 3)), "row_factor": _figure(round(opinion[1], 3))}
            )
    baseline = report.baseline
    document = {
        "format": "stitchc-gauge/1",
        "baseline": None
        if baseline is None
        else {
            "stitches_per_10cm": _figure(baseline.stitches_per_10cm.value),
            "rows_per_10cm": _figure(baseline.rows_per_10cm.value),
            "source": baseline.source,
        },
        "stitches": each,
    }
    return json.dumps(document, ensure_ascii=False, indent=1)


def stitch_json(gauge: StitchGauge, yarns: Sequence[YarnUse]) -> dict[str, object]:
    """One stitch of the `stitchc-gauge/1` document: the contract's fields, and some more."""
    from stitchc.gauge.words import in_words

    features = gauge.features
    wide, long = gauge.stitches_per_10cm, gauge.rows_per_10cm
    return {
        "name": gauge.name,
        "tucks_per_100": round(100 * features.tuck_share, 3),
        "slips_per_100": round(100 * features.slip_share, 3),
        "mean_span": None if features.mean_span is None else round(features.mean_span, 3),
        "longest_hold": features.longest_hold,
        "stitch_factor": gauge.stitch_factor and gauge.stitch_factor.as_json(),
        "row_factor": gauge.row_factor and gauge.row_factor.as_json(),
        "stitches_per_10cm": None if wide is None else wide.as_json(),
        "rows_per_10cm": None if long is None else long.as_json(),
        "width_change_percent": _tenths(gauge.width_change_percent),
        "length_change_percent": _tenths(gauge.length_change_percent),
        "basis": gauge.basis,
        "basis_of_stitches": gauge.stitch_basis,
        "basis_of_rows": gauge.row_basis,
        "size_of_100_by_100_cm": None
        if wide is None or long is None
        else {"width": wide.under(1000).as_json(), "length": long.under(1000).as_json()},
        "yarn": [
            {
                "name": use.name,
                "metres_per_square_metre": use.metres_per_square_metre.as_json(3),
                "grams_per_square_metre": use.grams_per_square_metre.as_json(3) if use.grams_per_square_metre else None,
            }
            for use in yarns
        ],
        "words": in_words(gauge),
    }


def _tenths(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def _figure(value: float) -> float:
    return float(f"{value:.6g}")


# -- words and tables ---------------------------------------------------------------------------------------------


def as_text(
    report: GaugeReport,
    pattern: Pattern,
    stitches: Sequence[Stitch],
    units: str,
    opinions: Opinions | None = None,
) -> Iterator[str]:
    """The table for a person, in cm or inches."""
    per, cm = ("10 cm", 10.0) if units == "cm" else ("4 in", 10.16)
    if pattern.title:
        yield visible(pattern.title)
    baseline = report.baseline
    if baseline is None:
        yield "Stocking stitch: not known, so only the changes against it can be given."
        yield "  Add a line such as `gauge plain 20 stitches 28 rows per 10 cm`, or use --plain 20x28."
    else:
        stitches_per, rows_per = (r.value * cm / 10 for r in (baseline.stitches_per_10cm, baseline.rows_per_10cm))
        yield f"Stocking stitch: {stitches_per:.1f} stitches and {rows_per:.1f} rows to {per} ({baseline.source})."
    yield "Ranges in brackets hold nine swatches in ten."
    for stitch in stitches:
        yield ""
        yield from _stitch_text(report, pattern, stitch, units)
        if opinions is not None:
            yield from _opinion_text(opinions[stitch.name])


def _opinion_text(opinion: tuple[float, float] | str) -> Iterator[str]:
    """The second opinion, told apart from the estimate, with how far it can be trusted (trial relaxations)."""
    if isinstance(opinion, str):
        yield _line("second opinion", f"none. {opinion}")
        return
    yield _line(
        "second opinion", f"from the mechanics of yarn: {opinion[0]:.2f} times the stitches, good to 10 to 25 %,"
    )
    yield _line("", f"and {opinion[1]:.2f} times the rows of stocking stitch, good to 5 to 15 %")


def _stitch_text(report: GaugeReport, pattern: Pattern, stitch: Stitch, units: str) -> Iterator[str]:
    from stitchc.gauge.words import in_words
    from stitchc.gauge.yarn import yarns_of

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
    if gauge.stitch_factor is None:
        return
    for what, swatch_range, factor, basis in (
        ("stitches", gauge.stitches_per_10cm or gauge.own_stitches_per_10cm, gauge.stitch_factor, gauge.stitch_basis),
        ("rows", gauge.rows_per_10cm or gauge.own_rows_per_10cm, gauge.row_factor, gauge.row_basis),
    ):
        if factor is None:
            continue
        times = f"{_brackets(factor, 2)} times stocking stitch, {basis}"
        if swatch_range is None:
            yield _line(what, times)
        else:
            yield _line(f"{what} to {per}", f"{_brackets(swatch_range.times(cm / 10), 1):<22} {times}")
    yield from _size(gauge, units)
    for use in yarns_of(report, pattern, stitch):
        name = f"yarn {visible(use.name)}" if use.name else "yarn"
        weight = f", {_brackets(use.grams_per_square_metre, 0)} g" if use.grams_per_square_metre else ""
        yield _line(name, f"{_brackets(use.metres_per_square_metre, 0)} m{weight} in a square metre")


def _size(gauge: StitchGauge, units: str) -> Iterator[str]:
    if gauge.stitches_per_10cm is None or gauge.rows_per_10cm is None:
        return
    unit = 1.0 if units == "cm" else 1 / 2.54
    width, length = (r.under(1000 * unit) for r in (gauge.stitches_per_10cm, gauge.rows_per_10cm))
    yield _line("100 needles", f"{_brackets(width, 1)} {units} wide")
    yield _line("100 rows", f"{_brackets(length, 1)} {units} long")


def _line(head: str, text: str) -> str:
    return f"  {head:<18} {text}".rstrip()


def _brackets(value: Range, digits: int) -> str:
    return f"{value.value:.{digits}f} ({value.low:.{digits}f} to {value.high:.{digits}f})"

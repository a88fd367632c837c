"""`estimate_gauge`: the gauge of a pattern's stitches, as a table or as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Final

from stitchc.fabric import SLIP_FED, second_opinion, slip_yarn
from stitchc.gauge.estimate import GaugeReport, estimate_pattern
from stitchc.gauge.evidence import in_full
from stitchc.gauge.gauges import Baseline, PlainGauge, StitchGauge, in_yarn_name
from stitchc.gauge.remarks import check_gauge
from stitchc.gauge.report import Opinion, Opinions, as_json, as_text
from stitchc.gauge.yarn import ill_matched
from stitchc.messages import Message, Refused, in_order
from stitchc.options import GaugeOptions
from stitchc.pattern import Knit, Pattern, Stitch
from stitchc.product import File, Product, Progress, accept, choose_stitches, no_progress, part_of, whole_stem

if TYPE_CHECKING:
    from stitchc.fabric import Shelf

DEFAULTS: Final = GaugeOptions()


def known_of(
    pattern: Pattern,
    stitches: tuple[Stitch, ...],
    plain: PlainGauge | None = None,
    spread: float | None = None,
    in_yarns: Iterable[tuple[str, str]] = (),
) -> tuple[GaugeReport, list[Message]]:
    """The report on some stitches of a pattern, and what its swatches and yarns give rise to. Raises Refused G601.

    in_yarns: of these stitches in a yarn as well; see `GaugeReport.asked_in_yarns`.
    """
    accept(check_gauge(pattern, None, plain), pattern)
    share = None if spread is None else spread / 100
    report = estimate_pattern(pattern, [stitch.name for stitch in stitches], plain, spread=share)
    report = report.asked_in_yarns(in_yarns)
    messages = in_order(check_gauge(pattern, None, plain, report.unused))
    return report, [*messages, *report.messages, *ill_matched(report, pattern)]


def estimate_gauge(
    pattern: Pattern,
    options: GaugeOptions = DEFAULTS,
    progress: Progress = no_progress,
    kept: Shelf | None = None,
) -> Product[StitchGauge]:
    """The gauge of a pattern's stitches against stocking stitch, with ranges. Raises Refused N103, N110, G601.

    Where yarns have gauges of their own, a stitch that pieces knit in a yarn is there in that yarn as well ("drift in
    oat"), after the stitch itself; the text leaves the stitch itself out where no piece knits it without one.
    kept: where the relaxed fabrics of options.mechanics are looked for, and kept for the next call.
    """
    stitches = choose_stitches(pattern, options.stitches, parts=True)
    knits = _knits_of(pattern, stitches)
    in_yarns = {in_yarn_name(name, yarn): name for name, yarn in knits if yarn is not None}
    named = [(name, yarn) for name, yarn in knits if yarn is not None]
    report, messages = known_of(pattern, stitches, options.plain, options.spread, named)
    opinions = _opinions(stitches, report.baseline, progress, kept) if options.mechanics else None
    asked = [
        stitch._replace(name=name, chart=report.charts[name])
        for stitch in stitches
        for name in report.charts
        if in_yarns.get(name, name) == stitch.name
    ]
    if opinions is not None:
        opinions = {stitch.name: opinions[in_yarns.get(stitch.name, stitch.name)] for stitch in asked}
    if options.form == "json":
        text = json.dumps(as_json(report, pattern, asked, opinions), ensure_ascii=False, indent=1)
    else:
        in_one = {name for full, name in in_yarns.items() if full in report.charts}
        shown = [stitch for stitch in asked if stitch.name not in in_one or (stitch.name, None) in knits]
        text = "\n".join(as_text(report, pattern, shown, options.units, opinions))
        if options.evidence:
            text += "\n\n" + "\n".join(in_full())
    ending = "json" if options.form == "json" else "txt"
    file = File.of_text(f"{whole_stem(pattern, 'gauge', options.name)}.{ending}", text)
    gauges = tuple(report.of(stitch.name) for stitch in asked)
    return Product(gauges, (file,), tuple(messages), of_several_yarns(report))


def _knits_of(pattern: Pattern, stitches: Sequence[Stitch]) -> list[tuple[str, str | None]]:
    """What pieces knit of these stitches, and in which yarn, where the stitch leaves that open."""
    steps = [step for piece in pattern.pieces.values() for step in piece.steps if isinstance(step, Knit)]
    open_ones = {stitch.name for stitch in stitches if None in stitch.chart.yarns}
    return list(dict.fromkeys((step.stitch, step.yarn) for step in steps if step.stitch in open_ones))


def of_several_yarns(report: GaugeReport) -> tuple[str, ...]:
    """Remarks on stitches whose yarns have gauges of their own."""
    return tuple(
        f"`{name}` is knitted in yarns with gauges of their own: its figures are their mean, its ranges hold them all."
        for name in report.mixed_yarns
    )


def _opinions(stitches: tuple[Stitch, ...], plain: Baseline | None, progress: Progress, kept: Shelf | None) -> Opinions:
    slip_fed = slip_yarn(plain.stitches_per_10cm.value, plain.rows_per_10cm.value) if plain is not None else SLIP_FED
    opinions: dict[str, Opinion] = {}
    for number, stitch in enumerate(stitches):
        part = part_of(progress, number, len(stitches))
        try:
            opinions[stitch.name] = Opinion(second_opinion(stitch.chart, slip_fed, part, kept))
        except Refused as refused:
            opinions[stitch.name] = Opinion(None, refused.messages[0].text)
    return opinions

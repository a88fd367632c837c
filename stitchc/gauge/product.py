"""`estimate_gauge`: the gauge of a pattern's stitches, as a table or as JSON."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Final

from stitchc.fabric import SLIP_FED, second_opinion, slip_yarn
from stitchc.gauge.estimate import GaugeReport, estimate_pattern
from stitchc.gauge.evidence import in_full
from stitchc.gauge.gauges import Baseline, PlainGauge, StitchGauge
from stitchc.gauge.remarks import check_gauge
from stitchc.gauge.report import Opinion, Opinions, as_json, as_text
from stitchc.gauge.yarn import ill_matched
from stitchc.messages import Message, Refused, in_order
from stitchc.options import GaugeOptions
from stitchc.pattern import Pattern, Stitch
from stitchc.product import File, Product, Progress, accept, choose_stitches, no_progress, part_of, whole_stem

if TYPE_CHECKING:
    from stitchc.fabric import Shelf

DEFAULTS: Final = GaugeOptions()


def known_of(
    pattern: Pattern, stitches: tuple[Stitch, ...], plain: PlainGauge | None = None, spread: float | None = None
) -> tuple[GaugeReport, list[Message]]:
    """The report on some stitches of a pattern, and what its swatches and yarns give rise to. Raises Refused G601."""
    accept(check_gauge(pattern, None, plain), pattern)
    share = None if spread is None else spread / 100
    report = estimate_pattern(pattern, [stitch.name for stitch in stitches], plain, spread=share)
    messages = in_order(check_gauge(pattern, None, plain, report.unused))
    return report, [*messages, *report.messages, *ill_matched(report, pattern)]


def estimate_gauge(
    pattern: Pattern,
    options: GaugeOptions = DEFAULTS,
    progress: Progress = no_progress,
    kept: Shelf | None = None,
) -> Product[StitchGauge]:
    """The gauge of a pattern's stitches against stocking stitch, with ranges. Raises Refused N103, N110, G601.

    kept: where the relaxed fabrics of options.mechanics are looked for, and kept for the next call.
    """
    stitches = choose_stitches(pattern, options.stitches, parts=True)
    report, messages = known_of(pattern, stitches, options.plain, options.spread)
    opinions = _opinions(stitches, report.baseline, progress, kept) if options.mechanics else None
    if options.form == "json":
        text = json.dumps(as_json(report, pattern, stitches, opinions), ensure_ascii=False, indent=1)
    else:
        text = "\n".join(as_text(report, pattern, stitches, options.units, opinions))
        if options.evidence:
            text += "\n\n" + "\n".join(in_full())
    ending = "json" if options.form == "json" else "txt"
    file = File.of_text(f"{whole_stem(pattern, 'gauge', options.name)}.{ending}", text)
    return Product(report.stitches, (file,), tuple(messages), of_several_yarns(report))


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

"""`stitchc gauge`: the estimated gauge of each stitch, with its range and what it rests on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from stitchc.cli.common import file_argument, read_pattern
from stitchc.cli.options import options_of
from stitchc.cli.results import Target, put_product
from stitchc.options import GaugeOptions

if TYPE_CHECKING:
    from stitchc.chart import Chart
    from stitchc.fabric import Fabric
    from stitchc.product import Progress


@click.command(
    short_help="Estimate the gauge of each stitch, with an honest range.",
    epilog="\b\nExamples:\n  stitchc gauge cowl.stitch\n  stitchc gauge cowl.stitch --plain 20x28 --units in\n"
    "  stitchc gauge cowl.stitch --mechanics --evidence",
)
@file_argument
@options_of(GaugeOptions, output="the table")
def command(file: str, options: GaugeOptions, target: Target) -> None:
    """Estimate the gauge of the stitches of FILE against stocking stitch.

    Every figure comes with the range that holds nine swatches in ten. It is an estimate, or calibrated on other
    stitches of the same yarn, or measured. `gauge` lines in the file sharpen it. Keep them in a file of their own and
    `include` it, and they serve other patterns of that yarn too.
    """
    from stitchc.cli.progress import Bar
    from stitchc.gauge.product import estimate_gauge

    pattern = read_pattern(file)
    with Bar("relaxing") as bar:
        product = estimate_gauge(pattern, options, bar.at, _relaxed)
    put_product(product, target, pattern.sources)


def _relaxed(chart: Chart, slip_fed: float, progress: Progress) -> Fabric:
    """From the cache folder, if it was relaxed before."""
    from stitchc.cli.fabric_cache import relaxed

    return relaxed(chart, None, slip_fed, progress)

"""`stitchc gauge`: the estimated gauge of each stitch, with its range and what it rests on."""

from __future__ import annotations

import click

from stitchc.cli.common import file_argument, read_pattern
from stitchc.cli.options import options_of
from stitchc.cli.results import Target, put_product
from stitchc.options import GaugeOptions


@click.command(
    short_help="Estimate the gauge of each stitch, with an honest range.",
    epilog="\b\nExamples:\n  stitchc gauge cowl.stitch\n  stitchc gauge cowl.stitch --plain 20x28 --units in\n"
    "  stitchc gauge cowl.stitch --mechanics --evidence",
)
@file_argument
@options_of(GaugeOptions, output="the table")
def command(file: str, options: GaugeOptions, target: Target) -> None:
    """Estimate the gauge of the stitches of FILE against stocking stitch.

    Every figure has a range that holds nine swatches in ten. A figure is estimated, calibrated on other stitches of the
    same yarn, or measured. `gauge` lines in the file make the estimates better. If you keep these lines in a separate
    file and `include` it, other patterns of that yarn can use them too.
    """
    from stitchc.cli.fabric_cache import FabricCache
    from stitchc.cli.progress import Bar
    from stitchc.gauge.product import estimate_gauge

    pattern = read_pattern(file, options.book)
    with Bar("relaxing") as bar:
        product = estimate_gauge(pattern, options, bar.move_to, FabricCache())
    put_product(product, target, pattern.sources)

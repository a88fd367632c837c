"""`stitchc swatch`: the smallest useful swatch, with marks, and the lines to fill in afterwards."""

from __future__ import annotations

import click

from stitchc.cli.common import file_argument, load_machine, read_pattern
from stitchc.cli.options import options_of
from stitchc.cli.results import Target, put_product
from stitchc.options import SwatchOptions


@click.command(
    short_help="Plan the smallest useful swatch of a stitch.",
    epilog="\b\nExamples:\n  stitchc swatch cowl.stitch --machine hand-bulky\n"
    "  stitchc swatch cowl.stitch --stitch drift --within 1\n"
    "  stitchc swatch cowl.stitch --format sheet             row by row, with the marks\n"
    "  stitchc swatch cowl.stitch --format html              the same to print, or to follow on a tablet",
)
@file_argument
@options_of(SwatchOptions, machine="hand-standard", output="the plan; a folder for HTML of several swatches")
def command(file: str, machine_name: str, options: SwatchOptions, target: Target) -> None:
    """Plan a swatch for each stitch of FILE: needles, rows, where to mark, and what to expect between the marks.

    The counts between the marks are known, so only the tape errs; the swatch is as small as --within allows. If
    stocking stitch was not measured yet, it gets a swatch too, since every estimate stands on it.
    """
    from stitchc.swatch.product import plan_swatch

    machine, pattern = load_machine(machine_name), read_pattern(file)
    put_product(plan_swatch(pattern, machine, options), target, pattern.sources)

"""`stitchc chart`: the compiled stitches as letters, as JSON or drawn."""

from __future__ import annotations

import sys
from dataclasses import replace

import click

from stitchc.cli.common import file_argument, load_machine, read_pattern
from stitchc.cli.options import options_of
from stitchc.cli.results import Target, put_product
from stitchc.options import ChartOptions


@click.command(
    epilog="\b\nExamples:\n  stitchc chart cowl.stitch\n  stitchc chart cowl.stitch --format json\n"
    "  stitchc chart cowl.stitch --format svg --face knit\n"
    "  stitchc chart cowl.stitch --format pdf --paper letter -o cowl.pdf"
)
@file_argument
@options_of(ChartOptions, machine=None, output="the chart; a folder where there are several pictures")
def command(file: str, machine_name: str | None, options: ChartOptions, target: Target) -> None:
    """Show the compiled stitches of FILE, cell by cell: as letters, as JSON, or as a drawn chart.

    Row 1 is at the bottom, and left is left as you face the bed. A drawn chart uses the published notations of squared
    paper and of the running thread. A stitch that cannot be knitted is still shown, with a warning.
    """
    from stitchc.drawn.product import draw_chart

    pattern = read_pattern(file)
    machine = load_machine(machine_name) if machine_name else None
    if target.prints and sys.stdout.isatty():
        import shutil

        options = replace(options, columns=max(40, shutil.get_terminal_size((options.columns, 24)).columns))
    put_product(draw_chart(pattern, machine, options), target, pattern.sources)

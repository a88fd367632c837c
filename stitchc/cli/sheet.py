"""`stitchc sheet`: what to set and which needles to move, pass by pass: text, a page to print and follow, PDF, JSON."""

from __future__ import annotations

import click

from stitchc.cli.common import file_argument, load_machine, read_pattern
from stitchc.cli.options import options_of
from stitchc.cli.results import Target, put_product
from stitchc.options import SheetOptions


@click.command(
    short_help="Make the needle sheet: what to move and set, row by row.",
    epilog="\b\nExamples:\n  stitchc sheet cowl.stitch --needles 80 --rows 60\n"
    "  stitchc sheet cowl.stitch --rows 60 --format html     to follow on a phone or tablet, or to print\n"
    "  stitchc sheet cowl.stitch --rows 60 --format pdf      to print\n"
    "  stitchc sheet cowl.stitch --cheapest                  can it be done with less work?",
)
@file_argument
@options_of(SheetOptions, machine="hand-standard", output="the sheet; a folder for pages of several stitches")
def command(file: str, machine_name: str, options: SheetOptions, target: Target) -> None:
    """Make the needle sheet of each stitch in FILE: what to set and which needles to move, row by row.

    JSON is one document for one stitch and a list of documents for several. The repeat begins on the first needle
    after the left edge needles; on a machine with a card, the machine sets its place. A sheet has at most
    100,000 rows and 4,000,000 cells (needles by rows).
    """
    from stitchc.sheet.product import make_sheet

    pattern = read_pattern(file)
    put_product(make_sheet(pattern, load_machine(machine_name), options), target, pattern.sources)

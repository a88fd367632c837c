"""`stitchc bitmap`: the picture for electronic patterning, one pixel a stitch."""

from __future__ import annotations

import click

from stitchc.cli.common import file_argument, load_machine, read_pattern
from stitchc.cli.options import options_of
from stitchc.cli.results import Target, put_product
from stitchc.options import BitmapOptions


@click.command(
    epilog="\b\nExamples:\n  stitchc bitmap cowl.stitch\n"
    "  stitchc bitmap cowl.stitch --needles 80 --edge 1 --rows 120 --dark hold\n"
    "  stitchc bitmap cowl.stitch --first-row top --seen-from knit -o cowl.png"
)
@file_argument
@options_of(BitmapOptions, machine="bitmap-standard", output="the picture, or the folder for it")
def command(file: str, machine_name: str, options: BitmapOptions, target: Target) -> None:
    """Make the picture for electronic patterning: a 1-bit PNG, one pixel a stitch.

    The machine's profile sets what a dark pixel does, at which end the rows begin and which side is seen; options
    override it. The choice is shown on standard error and kept in the file. The picture is compared with the pattern
    before it is written.
    """
    from stitchc.bitmap import make_bitmap

    machine, pattern = load_machine(machine_name), read_pattern(file)
    put_product(make_bitmap(pattern, machine, options), target, pattern.sources)

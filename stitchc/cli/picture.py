"""`stitchc picture`: the fabric as it would look, yarn by yarn, as a PNG."""

from __future__ import annotations

import click

from stitchc.cli.common import file_argument, load_machine, read_pattern
from stitchc.cli.options import options_of
from stitchc.cli.results import Target, put_product
from stitchc.options import PictureOptions


@click.command(
    short_help="Draw the fabric as it would look, yarn by yarn.",
    epilog="\b\nExamples:\n  stitchc picture cowl.stitch\n  stitchc picture cowl.stitch --size '2x3 repeats'\n"
    "  stitchc picture cowl.stitch --stitch drift --face knit --size 10x10 --dpi 300 -o drift.png",
)
@file_argument
@options_of(PictureOptions, machine=None, output="the picture; a folder for several")
def command(file: str, machine_name: str | None, options: PictureOptions, target: Target) -> None:
    """Draw the stitches of FILE as fabric, with every yarn where it would lie.

    The yarns of one repeat are relaxed at the gauge that `stitchc gauge` gives (measured, or estimated) and drawn at
    true proportions in the colours of the file's yarns, with a scale bar. The machine's pitch says how much yarn a slip
    takes (default: 4.5 mm). Each calculated repeat is kept in your cache folder. The shape is a calculation: it
    shows how the yarns lie, not the character of your yarn.
    """
    from stitchc.cli.fabric_cache import FabricCache
    from stitchc.cli.progress import Bar
    from stitchc.messages import has_errors
    from stitchc.picture import draw_fabric

    pattern = read_pattern(file, options.book)
    machine = load_machine(machine_name) if machine_name else None
    with Bar("relaxing the fabric") as bar:
        product = draw_fabric(pattern, machine, options, bar.move_to, FabricCache())
    put_product(product, target, pattern.sources)
    if has_errors(product.messages):
        raise SystemExit(1)

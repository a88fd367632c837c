"""`stitchc leaflet`: the pattern as it is handed to other knitters, for every class of machine."""

from __future__ import annotations

import dataclasses

import click

from stitchc import files
from stitchc.cli.common import file_argument, load_machine, read_pattern
from stitchc.cli.options import options_of
from stitchc.cli.results import Target, put_product
from stitchc.options import LeafletOptions


def _refuse_piece(context: click.Context, _: click.Parameter, name: str | None) -> None:
    if name is not None:
        text = f"A leaflet holds all pieces of FILE. Leave `--piece {name}` out; `stitchc piece` makes one alone."
        raise click.UsageError(text, context)


@click.command(
    short_help="Make the leaflet to hand on: PDF and page, for every machine.",
    epilog="\b\nExamples:\n  stitchc leaflet cowl.stitch\n"
    "  stitchc leaflet mitts.stitch --page letter --units in\n"
    "  stitchc leaflet cowl.stitch --machine my.toml -o cowl.pdf",
)
@file_argument
@click.option("--piece", hidden=True, expose_value=False, callback=_refuse_piece)
@options_of(
    LeafletOptions,
    machine=None,
    machine_help="Only for this machine: a shipped profile (see `stitchc machines`) or your own. (default: every "
    "shipped one that can knit it)",
    output="the leaflet; a folder for both forms",
)
def command(file: str, machine_name: str | None, options: LeafletOptions, target: Target) -> None:
    """Make the leaflet of FILE, from which other people knit its pieces without asking.

    The PDF has all pieces of FILE and everything for all machines: sizes, yarn, gauge and how to swatch, the
    stitches, the instructions by hand, with a hole card and with electronic patterning, and the cards at true scale.
    The page is one file that works offline: the reader chooses machine, size and units once, and follows the rows.
    Both carry the same edition number, which changes with the pattern. Machines that cannot knit it are named with
    the reason.
    """
    from stitchc.cli.fabric_cache import FabricCache
    from stitchc.cli.progress import Bar
    from stitchc.leaflet.product import make_leaflet
    from stitchc.machines import SHIPPED

    pattern = read_pattern(file, options.book)
    machines = [load_machine(name) for name in ([machine_name] if machine_name else SHIPPED)]
    options = dataclasses.replace(options, date=options.date or files.today())
    with Bar("making the leaflet") as bar:
        product = make_leaflet(pattern, machines, options, bar.move_to, FabricCache())
    put_product(product, target, pattern.sources)

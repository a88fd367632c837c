"""`stitchc card`: the hole-card template of a stitch, proved before it is written."""

from __future__ import annotations

import click

from stitchc.cli.common import file_names, load_machine, read_pattern
from stitchc.cli.options import options_of
from stitchc.cli.results import Target, put_product
from stitchc.options import CardOptions


@click.command(
    epilog="\b\nExamples:\n  stitchc card cowl.stitch\n  stitchc card cowl.stitch --format pdf --paper letter\n"
    "  stitchc card cowl.stitch --machine my.toml --rows 48 -o cards\n  stitchc card cowl.stitch --format text\n"
    "  stitchc card --test-card --format pdf"
)
@click.argument("file", metavar="FILE", required=False, shell_complete=file_names)
@options_of(CardOptions, machine="card24-standard", output="the file, or the folder for it; its ending sets the form")
def command(file: str | None, machine_name: str, options: CardOptions, target: Target) -> None:
    """Make the hole-card template of each stitch at true scale.

    The repeat is tiled to the reader's width and to the rows a closed card needs. A card longer than the page
    is made as a whole and in pages to join (in a PDF: only the pages). NAME-card.json, next to each picture, has the
    same card as data. Each file is compared with the pattern, cell by cell, before it is written.

    Print at 100 % and measure the check rules: each is 100 mm.
    """
    from stitchc.card.product import make_card, make_test_card
    from stitchc.cli.progress import Bar

    if options.test_card:
        if file is not None:
            raise click.UsageError("--test-card takes no FILE: the test card is the same for every pattern.")
        put_product(make_test_card(load_machine(machine_name), options), target)
        return
    if file is None:
        context = click.get_current_context()
        raise click.MissingParameter(ctx=context, param=context.command.params[0])
    machine, pattern = load_machine(machine_name), read_pattern(file)
    with Bar("drawing pages") as bar:
        product = make_card(pattern, machine, options, bar.move_to)
    put_product(product, target, pattern.sources)

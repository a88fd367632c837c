"""The commands that make a product: what each takes, which function it calls, and the words of its help.

`_product_of` does what they share: it reads FILE, loads the machine, shows how far the work is, and puts the product
where it belongs.
"""

from __future__ import annotations

import dataclasses
import functools
import pkgutil
import shutil
import sys
from collections.abc import Callable
from typing import Any, Final

import click

from stitchc import files
from stitchc import options as product_options
from stitchc.cli.common import examples, file_argument, file_names, load_machine, read_pattern, read_patterns
from stitchc.cli.fabric_cache import FabricCache
from stitchc.cli.options import NO_MACHINE, options_of
from stitchc.cli.progress import Bar
from stitchc.cli.results import Target, put_product
from stitchc.product import call

_MOST_PICTURE_BYTES: Final = 64 * 1024 * 1024


def _product_of(
    maker: str,
    kind: type[Any],
    *lines: str,
    output: str,
    machine: str | None = NO_MACHINE,
    bar: str = "",
) -> Callable[[Callable[[], None]], click.Command]:
    """The command of a product function ("module:name"), with the help of the function below it.

    kind, output, machine: as for `options_of`. lines: examples. bar: what is done, on the progress bar.
    """

    def apply(helped: Callable[[], None]) -> click.Command:
        @click.command(epilog=examples(*lines))
        @file_argument
        @options_of(kind, machine=machine, output=output)
        @functools.wraps(helped)
        def command(file: str, options: Any, target: Target, machine_name: str | None = None) -> None:
            pattern = read_pattern(file, getattr(options, "book", None))
            chosen = None if machine_name is None else load_machine(machine_name)
            if target.prints and sys.stdout.isatty() and hasattr(options, "columns"):
                columns = shutil.get_terminal_size((options.columns, 24)).columns
                options = dataclasses.replace(options, columns=max(40, columns))
            make = pkgutil.resolve_name(maker)
            with Bar(bar) as shown:
                given = {"machine": chosen, "options": options, "progress": shown.move_to, "kept": FabricCache()}
                product = call(make, pattern=pattern, **given)
            put_product(product, target, pattern.sources)

        return command

    return apply


@click.command(
    epilog=examples(
        "card cowl.stitch",
        "card cowl.stitch --format pdf --paper letter",
        "card cowl.stitch --machine my.toml --rows 48 -o cards",
        "card cowl.stitch --format text",
        "card --test-card --format pdf",
    )
)
@click.argument("file", metavar="FILE", required=False, shell_complete=file_names)
@options_of(
    product_options.CardOptions,
    machine="card24-standard",
    output="the file, or the folder for it; its ending sets the form",
)
def card(file: str | None, machine_name: str, options: product_options.CardOptions, target: Target) -> None:
    """Make the hole-card template of each stitch at true scale.

    The repeat is tiled to the reader's width and to the rows a closed card needs. A card longer than the page
    is made as a whole and in pages to join (in a PDF: only the pages). NAME-card.json, next to each picture, has the
    same card as data. Each file is compared with the pattern, cell by cell, before it is written.

    Print at 100 % and measure the check rules: each is 100 mm.
    """
    from stitchc.card.product import make_card, make_test_card

    if options.test_card and file is not None:
        raise click.UsageError("--test-card takes no FILE: the test card is the same for every pattern.")
    if options.test_card:
        put_product(make_test_card(load_machine(machine_name), options), target)
        return
    if file is None:
        raise _no_file()
    machine, pattern = load_machine(machine_name), read_pattern(file)
    with Bar("drawing pages") as bar:
        product = make_card(pattern, machine, options, bar.move_to)
    put_product(product, target, pattern.sources)


def _no_file(words: str = "") -> click.UsageError:
    context = click.get_current_context()
    return click.MissingParameter(words, ctx=context, param=context.command.params[0])


@_product_of(
    "stitchc.sheet.product:make_sheet",
    product_options.SheetOptions,
    "sheet cowl.stitch --needles 80 --rows 60",
    "sheet cowl.stitch --rows 60 --format html     to follow on a phone or tablet, or to print",
    "sheet cowl.stitch --rows 60 --format pdf      to print",
    "sheet cowl.stitch --cheapest                  can it be done with less work?",
    machine="hand-standard",
    output="the sheet; a folder for pages of several stitches",
)
def sheet() -> None:
    """Make the needle sheet of each stitch in FILE: what to set and which needles to move, row by row.

    JSON is one document for one stitch and a list of documents for several. The repeat begins on the first needle
    after the left edge needles; on a machine with a card, the machine sets its place. A sheet has at most
    100,000 rows and 4,000,000 cells (needles by rows).
    """


@_product_of(
    "stitchc.piece.product:plan_piece",
    product_options.PieceOptions,
    "piece cowl.stitch",
    "piece cowl.stitch --machine card24-standard --format html   to follow, or to print",
    "piece cowl.stitch --format pdf                              to print",
    "piece hat.stitch --sizes 48,52,56",
    'piece cowl.stitch --so-far "drift 30 rows 7.1 cm"           half way, if the size differs',
    machine="hand-standard",
    output="the instructions",
)
def piece() -> None:
    """Plan a piece of FILE for a machine, from the finished size to the last pass, as instructions to knit from.

    The gauge of each stitch turns lengths into rows and the width into needles, in whole repeats; the instructions say
    how much the rounding changed. Every size has the range that nine knitters in ten get. With --so-far the
    instructions begin with the next row; JSON keeps all rows and says how many are done. With both --sizes and
    --so-far, give the one size that is on the needles.
    """


@_product_of(
    "stitchc.drawn.product:draw_chart",
    product_options.ChartOptions,
    "chart cowl.stitch",
    "chart cowl.stitch --format json",
    "chart cowl.stitch --format svg --face knit",
    "chart cowl.stitch --format pdf --paper letter -o cowl.pdf",
    machine=None,
    output="the chart; a folder where there are several pictures",
    bar="drawing charts",
)
def chart() -> None:
    """Show the compiled stitches of FILE, cell by cell: as letters, as JSON, or as a drawn chart.

    Row 1 is at the bottom, and left is left as you face the bed. A drawn chart uses the published notations of squared
    paper and of the running thread. A stitch that cannot be knitted is still shown, with a warning.
    """


@_product_of(
    "stitchc.bitmap:make_bitmap",
    product_options.BitmapOptions,
    "bitmap cowl.stitch",
    "bitmap cowl.stitch --needles 80 --edge 1 --rows 120 --dark hold",
    "bitmap cowl.stitch --first-row top --seen-from knit -o cowl.png",
    machine="bitmap-standard",
    output="the picture, or the folder for it",
    bar="drawing pictures",
)
def bitmap() -> None:
    """Make the picture for electronic patterning: a 1-bit PNG, one pixel a stitch.

    The machine's profile sets what a dark pixel does, at which end the rows begin and which side is seen; options
    override it. The choice is shown on standard error and kept in the file. The picture is compared with the pattern
    before it is written.
    """


@_product_of(
    "stitchc.gauge.product:estimate_gauge",
    product_options.GaugeOptions,
    "gauge cowl.stitch",
    "gauge cowl.stitch --plain 20x28 --units in",
    "gauge cowl.stitch --mechanics --evidence",
    output="the table",
    bar="relaxing",
)
def gauge() -> None:
    """Estimate the gauge of the stitches of FILE against stocking stitch.

    Every figure has a range that holds nine swatches in ten. A figure is estimated, calibrated on other stitches of the
    same yarn, or measured. `gauge` lines in the file make the estimates better. If you keep these lines in a separate
    file and `include` it, other patterns of that yarn can use them too.
    """


@_product_of(
    "stitchc.picture:draw_fabric",
    product_options.PictureOptions,
    "picture cowl.stitch",
    "picture cowl.stitch --size '2x3 repeats'",
    "picture cowl.stitch --stitch drift --face knit --size 10x10 --dpi 300 -o drift.png",
    machine=None,
    output="the picture; a folder for several",
    bar="relaxing the fabric",
)
def picture() -> None:
    """Draw the stitches of FILE as fabric, with every yarn where it would lie.

    The yarns of one repeat are relaxed at the gauge that `stitchc gauge` gives (measured, or estimated) and drawn at
    true proportions in the colours of the file's yarns, with a scale bar. The machine's pitch says how much yarn a slip
    takes (default: 4.5 mm). Each calculated repeat is kept in your cache folder. The shape is a calculation: it
    shows how the yarns lie, not the character of your yarn.
    """


def _refuse_piece(context: click.Context, _: click.Parameter, name: str | None) -> None:
    if name is not None:
        text = f"A leaflet holds all pieces of FILE. Leave `--piece {name}` out; `stitchc piece` makes one alone."
        raise click.UsageError(text, context)


@click.command(
    epilog=examples(
        "leaflet cowl.stitch",
        "leaflet mitts.stitch --page letter --units in",
        "leaflet cowl.stitch --machine my.toml -o cowl.pdf",
    )
)
@file_argument
@click.option("--piece", hidden=True, expose_value=False, callback=_refuse_piece)
@options_of(
    product_options.LeafletOptions,
    machine=None,
    machine_help="Only for this machine: a shipped profile (see `stitchc machines`) or your own. (default: every "
    "shipped one that can knit it)",
    output="the leaflet; a folder for both forms",
)
def leaflet(file: str, machine_name: str | None, options: product_options.LeafletOptions, target: Target) -> None:
    """Make the leaflet of FILE, from which other people knit its pieces without asking.

    The PDF has all pieces of FILE and everything for all machines: sizes, yarn, gauge and how to swatch, the
    stitches, the instructions by hand, with a hole card and with electronic patterning, and the cards at true scale.
    The page is one file that works offline: the reader chooses machine, size and units once, and follows the rows.
    Both carry the same edition number, which changes with the pattern. Machines that cannot knit it are named with
    the reason.
    """
    from stitchc.leaflet.product import make_leaflet
    from stitchc.machines import SHIPPED

    pattern = read_pattern(file, options.book)
    machines = [load_machine(name) for name in ([machine_name] if machine_name else SHIPPED)]
    options = dataclasses.replace(options, date=options.date or files.today())
    with Bar("making the leaflet") as bar:
        product = make_leaflet(pattern, machines, options, bar.move_to, FabricCache())
    put_product(product, target, pattern.sources)


@click.command(
    epilog=examples(
        "compare cowl.stitch cushion.stitch --sort moves",
        "compare grounds.stitch --against ripple",
        "compare --sweep --plain 20x28 --format png -o densities.png",
    )
)
@click.argument("files", metavar="FILE...", nargs=-1, shell_complete=file_names)
@options_of(
    product_options.CompareOptions,
    machine=None,
    machine_help="Count the needle moves or card holes for this machine; --sweep stays within its limits. (default: "
    "moves on hand-standard, holes for card24-standard)",
    output="the comparison",
)
def compare(
    files: tuple[str, ...], machine_name: str | None, options: product_options.CompareOptions, target: Target
) -> None:
    """Compare the stitches of any number of FILEs: size, yarn and work for 100 needles by 100 rows.

    --against shows the ratios to one stitch, and how often the others are wider and longer. --sweep takes one FILE or
    none: the first stitch (or the one of --stitch) sets whether the holds are staggered and how many plain rows lie
    between them, and the `gauge` lines make the figures better.
    """
    from stitchc.compare.product import compare_stitches

    if not files and not options.sweep:
        raise _no_file("Use --sweep for a family of densities.")
    if options.sweep and len(files) > 1:
        raise click.UsageError("--sweep makes its family from one FILE, not from several.")
    if files.count("-") > 1:
        raise click.UsageError("Standard input can be read only once.")
    machine = load_machine(machine_name) if machine_name else None
    patterns = read_patterns(files, options.book)
    sources = {name: lines for pattern in patterns for name, lines in pattern.sources.items()}
    put_product(compare_stitches(patterns, machine, options), target, sources)


@click.command(
    epilog=examples(
        "trace chart.png",
        "trace scan.jpg --dark tuck -o kelp.stitch",
        'trace screen.png --dark tuck --colour "#c03030=S"',
        "trace art.png --grid pixels --dark slip --name kelp",
    )
)
@click.argument("image", metavar="IMAGE", shell_complete=file_names)
@options_of(product_options.TraceOptions, output="the pattern", endings=[".stitch"])
def trace(image: str, options: product_options.TraceOptions, target: Target) -> None:
    """Read a picture of a chart back into the notation.

    IMAGE may be a chart that stitchc drew, a screenshot, a scan, a photograph or pixel art (PNG, JPEG, TIFF, BMP, GIF,
    WebP). Unchanged charts and bitmaps of stitchc come back exactly, without options. In other pictures the command
    finds the grid, reads each cell with a certainty, and writes the smallest repeat. Messages list the cells that are
    uncertain. Check the result before you knit it.
    """
    from stitchc.trace import trace_chart

    shown = files.STANDARD_INPUT if image == "-" else image
    put_product(trace_chart(files.read_bytes(image, _MOST_PICTURE_BYTES, picture=True), options, shown), target)

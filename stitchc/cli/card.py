"""`stitchc card`: the hole-card template of a stitch, proved before it is written."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from stitchc.cli.common import (
    anyway_option,
    chosen,
    file_argument,
    form_for,
    is_file,
    load_machine,
    machine_option,
    option,
    output_option,
    put_files,
    put_text,
    read_pattern,
    refuse_one_file_for_many,
    require,
    say,
    stitch_option,
)
from stitchc.naming import stems
from stitchc.product import errors_overridden

if TYPE_CHECKING:
    from stitchc.card import Card
    from stitchc.card.form import Scale
    from stitchc.card.paper import Tile
    from stitchc.page import Page

FORMS = ("png", "pdf", "svg", "json", "text")

MOST_DPI = 2400

MOST_PIXELS = 300_000_000
"""Of one picture; Pillow takes a byte for each while it draws."""

LEAST_GAP_PX = 2.0
"""Between holes, so that they stay apart in the picture."""


@click.command(
    epilog="\b\nExamples:\n  stitchc card cowl.stitch\n  stitchc card cowl.stitch --format pdf --paper letter\n"
    "  stitchc card cowl.stitch --machine my.toml --rows 48 -o cards\n  stitchc card cowl.stitch --format text"
)
@file_argument
@stitch_option
@machine_option("card24-standard")
@option(
    "--format", "form", type=click.Choice(FORMS), default=None, help="png if neither this nor the ending of -o says."
)
@option("--rows", metavar="N", type=click.IntRange(1, 100_000), default=None, help="Rows the card must at least have.")
@option(
    "--paper",
    type=click.Choice(["a4", "letter", "a3", "roll"]),
    default="a4",
    show_default=True,
    help="The page; roll: one sheet as long as it must be.",
)
@option("--dpi", type=click.IntRange(72, MOST_DPI), default=600, show_default=True, help="Resolution of the picture.")
@option(
    "--scale-x",
    metavar="F",
    type=click.FloatRange(0.95, 1.05),
    default=1.0,
    help="Correct a printer that is off across the page: 100 over what the check rule measures.",
)
@option(
    "--scale-y",
    metavar="F",
    type=click.FloatRange(0.95, 1.05),
    default=1.0,
    help="The same down the page.",
)
@option("--start-row", metavar="N", type=click.IntRange(1), default=1, help="The stitch's row to begin the card with.")
@option("--shift", metavar="N", type=int, default=0, help="Move the repeat N needles to the right (left if negative).")
@output_option("the file, or the folder for it; its ending says the form")
@anyway_option
def command(
    file: str,
    stitch_names: tuple[str, ...],
    machine_name: str,
    form: str | None,
    rows: int | None,
    paper: str,
    dpi: int,
    scale_x: float,
    scale_y: float,
    start_row: int,
    shift: int,
    output: Path | None,
    force: bool,
    anyway: bool,
) -> None:
    """Make the hole-card template of each stitch at true scale.

    The repeat is tiled to the reader's width and to the rows a closed card needs. A card that is longer than the page
    is made whole and in pages to be joined (a PDF has the pages alone). Beside each picture stands NAME-card.json with
    the same card as data. Everything written has been opened again and compared with the pattern, cell by cell.

    Print at 100 % and measure the check rules: each is 100 mm.
    """
    from stitchc.card import make_card, unfit
    from stitchc.checks import check_pattern

    form = form_for(form, output, FORMS)
    machine = load_machine(machine_name)
    pattern = read_pattern(file)
    stitches = chosen(pattern, stitch_names)
    refuse_one_file_for_many(stitches, output)
    found = [message for stitch in stitches for message in unfit(stitch, machine, rows)]
    found += check_pattern(pattern, machine, stitches)
    require(found, pattern, anyway)
    scale = (scale_x, scale_y)
    contents: list[tuple[Path, bytes]] = []
    named = stems(pattern, stitches)
    for stitch in stitches:
        if start_row > stitch.chart.height:
            raise click.UsageError(
                f"--start-row {start_row}: the stitch `{stitch.name}` has {stitch.chart.height} rows."
            )
        card = make_card(
            stitch,
            machine,
            rows,
            pattern.title,
            start_row=start_row,
            shift=shift,
            remarks=errors_overridden(stitch, found),
        )
        target = _named(output, named[stitch.name], "txt" if form == "text" else form)
        if form == "text":
            from stitchc.card.punching import punching_list

            contents.append((target, punching_list(card).encode("utf-8")))
        elif form == "json":
            contents.append((target, _data(card, paper, dpi, scale, target).encode("utf-8")))
        else:
            contents += _drawn(card, form, target, paper, dpi, scale)
        _say_more(card, rows, len(stitches) > 1)
    if output is None and form in ("text", "json"):
        _print(form, [content for _, content in contents])
    else:
        put_files(contents, force)


# -- what is asked for ----------------------------------------------------------------------------------------------


def _named(output: Path | None, stem: str, ending: str) -> Path:
    """Where a card goes: the file of -o, or PATTERN-STITCH-card in its folder, or in the current one."""
    if output is not None and is_file(output):
        return output
    return (output or Path()) / f"{stem}-card.{ending}"


# -- making it ------------------------------------------------------------------------------------------------------


def _drawn(card: Card, form: str, target: Path, paper: str, dpi: int, scale: Scale) -> list[tuple[Path, bytes]]:
    """The pictures of a card and its data, each proved; the first shows the whole card (a PDF: its pages)."""
    from stitchc.card.drawing import one_page, one_tile, pages, tiles_of
    from stitchc.card.paper import DoesNotFit
    from stitchc.cli.progress import Bar

    try:
        tiles = tiles_of(card, paper, scale)
    except DoesNotFit as error:
        raise click.UsageError(str(error)) from None
    several = len(tiles) > 1
    made: list[tuple[Path, bytes]] = []
    if form == "pdf":
        made.append((target, _pdf(card, tiles, paper, scale)))
    else:
        if form == "png":
            _guard_pixels(card, one_tile(card, paper, scale) if several else tiles[0], dpi)
        shown = [one_page(card, paper, scale)] if several else []
        shown += pages(card, paper, scale)
        names = [target, *_page_names(target, len(tiles))] if several else [target]
        with Bar("drawing pages") as bar:
            for number, ((tile, page), name) in enumerate(zip(shown, names, strict=True)):
                bar.at(number / len(shown))
                made.append((name, _picture(card, form, tile, page, dpi, scale)))
        if several:
            say(
                f"The card is longer than a page of {paper}: `{target.name}` shows the whole of it, and "
                f"`{names[1].name}` to `{names[-1].name}` are the pages to print and join (or --format pdf)."
            )
    data = target.with_name(f"{_stem(target)}.json")
    made.append((data, _data(card, paper, dpi, scale, target).encode("utf-8")))
    return made


def _pdf(card: Card, tiles: Sequence[Tile], paper: str, scale: Scale) -> bytes:
    from stitchc.card.drawing import pages
    from stitchc.card.proof import prove_pdf
    from stitchc.page.pdf import MOST_MM, pdf

    length = tiles[0].page_mm[1]
    if length > MOST_MM:
        raise click.UsageError(
            f"A page of {length:.0f} mm is longer than a PDF page may be ({MOST_MM:.0f} mm): --paper a4."
        )
    content = pdf([page for _, page in pages(card, paper, scale)])
    prove_pdf(content, card, tiles, scale)
    return content


def _guard_pixels(card: Card, tile: Tile, dpi: int) -> None:
    """Refuse a picture that is too large to draw, or too coarse to keep the holes apart."""
    from stitchc.page import MM_PER_INCH

    width, height = (round(side * dpi / MM_PER_INCH) for side in tile.page_mm)
    if width * height > MOST_PIXELS:
        raise click.UsageError(
            f"{tile.page_mm[0]:.0f} by {tile.page_mm[1]:.0f} mm at {dpi} dpi are {width} by {height} pixels, more than "
            f"the {MOST_PIXELS:,} that can be drawn: a smaller --dpi, or --format pdf."
        )
    gap = min(card.shape.column_pitch_mm, card.shape.row_pitch_mm) - card.shape.hole_mm
    if gap * dpi / MM_PER_INCH < LEAST_GAP_PX:
        enough = math.ceil(LEAST_GAP_PX * MM_PER_INCH / gap)
        cure = f"--dpi {enough} or more, or --format pdf" if enough <= MOST_DPI else "--format pdf"
        raise click.UsageError(f"At {dpi} dpi holes {gap:g} mm apart would run into each other: {cure}.")


def _picture(card: Card, form: str, tile: Tile, page: Page, dpi: int, scale: Scale) -> bytes:
    from stitchc.card import proof

    if form == "svg":
        from stitchc.page.svg import svg

        content = svg(page)
        proof.prove_svg(content, card, tile, scale)
    else:
        from stitchc.page.png import png

        content = png(page, dpi)
        proof.prove_png(content, card, tile, dpi, scale)
    return content


def _data(card: Card, paper: str, dpi: int, scale: Scale, target: Path) -> str:
    """The JSON: of the PNG pictures that these options make, whatever form is asked for, so that it is always the
    same beside all of them."""
    from stitchc.card.drawing import one_tile, tiles_of
    from stitchc.card.form import as_json
    from stitchc.card.paper import DoesNotFit

    try:
        tiles = tiles_of(card, paper, scale)
    except DoesNotFit as error:
        raise click.UsageError(str(error)) from None
    whole = tiles[0] if len(tiles) == 1 else one_tile(card, paper, scale)
    stem = _stem(target)
    named = [] if len(tiles) == 1 else [(f"{stem}-page-{tile.number}-of-{tile.of}", tile) for tile in tiles]
    return as_json(card, whole, named, paper, dpi, scale)


def _stem(target: Path) -> str:
    """NAME-card of a picture's name."""
    return target.stem if target.stem == "card" or target.stem.endswith("-card") else f"{target.stem}-card"


def _page_names(target: Path, count: int) -> list[Path]:
    return [target.with_name(f"{_stem(target)}-page-{n}-of-{count}{target.suffix}") for n in range(1, count + 1)]


# -- saying ---------------------------------------------------------------------------------------------------------


def _say_more(card: Card, rows: int | None, named: bool) -> None:
    from stitchc.card.work import least_work
    from stitchc.page.lettering import what_is_lacking

    before = f"{card.stitch}: " if named else ""
    lacking = what_is_lacking(
        f"{card.title}{card.stitch}{''.join(yarn or '' for yarn in card.chart.yarns)}", "template"
    )
    if lacking:
        say(before + lacking)
    for sentence in least_work(card, rows):
        say(before + sentence)


def _print(form: str, contents: Sequence[bytes]) -> None:
    """Text or JSON to standard output; of several cards the JSON stands one to a line."""
    if form == "json" and len(contents) > 1:
        import json

        contents = [json.dumps(json.loads(content), ensure_ascii=False).encode("utf-8") for content in contents]
    put_text("\n".join(content.decode("utf-8").rstrip("\n") for content in contents), None, False)

"""`make_card`: the hole cards of a pattern as pictures, pages, data or a punching list, each proved."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from stitchc.card import proof
from stitchc.card.data import as_json
from stitchc.card.drawing import one_tile, page_of, tiles_of
from stitchc.card.notes import blanks, unlike_instructions
from stitchc.card.paper import DoesNotFit, Scale, Tile
from stitchc.card.plan import Card, main_yarn_of, plan_card, unfit
from stitchc.card.proof import prove_pdf
from stitchc.card.testing import plan_test_card
from stitchc.card.work import least_work
from stitchc.checks import check_pattern
from stitchc.machines.profile import Machine
from stitchc.messages import Message, Refused
from stitchc.options import CardOptions
from stitchc.page import MM_PER_INCH, Page
from stitchc.page.lettering import what_is_lacking
from stitchc.page.pdf import MOST_MM, pdf
from stitchc.pattern import Pattern, Stitch
from stitchc.product import (
    File,
    Product,
    Progress,
    WrongOption,
    accept,
    choose_stitches,
    errors_overridden,
    file_stems,
    no_progress,
    part_of,
    skipped_parts,
)
from stitchc.wording import OPTION

DEFAULTS: Final = CardOptions()

MOST_DPI: Final = 2400

MOST_PIXELS: Final = 300_000_000
"""Of one picture; Pillow takes a byte for each while it draws."""

LEAST_LIGHT_DPI: Final = 150
LEAST_LIGHT_MM: Final = 2.0
"""Smaller holes are discs in light ink as well: a ring and a dot would run together."""

LEAST_GAP_PX: Final = 2.0
"""Between holes, so that they stay apart in the picture."""


def make_card(
    pattern: Pattern, machine: Machine, options: CardOptions = DEFAULTS, progress: Progress = no_progress
) -> Product[Card]:
    """The hole card of each stitch for this machine; everything drawn has been opened again and compared with it.

    The first file of a card shows the whole of it (a PDF has its pages alone); pictures have the card as JSON beside
    them. Raises Refused (K…, M301, M302, M305, M307, N110) and WrongOption.
    """
    stitches = choose_stitches(pattern, options.stitches)
    try:
        messages = checked_for_cards(pattern, stitches, machine, options)
        accepted = accept(messages, pattern, options.anyway)
        cards = tuple(
            plan_card(
                stitch,
                machine,
                options.rows,
                pattern.title,
                start_row=options.start_row,
                shift=options.shift,
                each_row_twice=options.each_row_twice,
                remarks=errors_overridden(stitch, messages),
                main_yarn=main_yarn_of(pattern),
            )
            for stitch in stitches
        )
    except Refused as refused:
        raise Refused(*refused.messages, sources=pattern.sources) from None
    stems = file_stems(pattern, stitches, "card", options.name)
    files = []
    remarks = list(skipped_parts(pattern, stitches, options.stitches))
    for number, card in enumerate(cards):
        made = files_of(card, stems[card.stitch], options, part_of(progress, number, len(cards)))
        files += made
        before = f"{card.stitch}: " if len(cards) > 1 else ""
        remarks += [before + remark for remark in _remarks(card, made, options)]
    if options.anyway:  # blanks are joined, which M302 need not offer again
        accepted = tuple(each._replace(advice=None, fix=None) if each.code == "M302" else each for each in accepted)
    return Product(cards, tuple(files), accepted, tuple(remarks))


def make_test_card(
    machine: Machine, options: CardOptions = DEFAULTS, progress: Progress = no_progress
) -> Product[Card]:
    """The card to knit once, by which a reader's own profile is worked out (see `stitchc.card.testing`). Of the options
    form, paper, dpi, scale, ink and name count. Raises Refused M305 and WrongOption."""
    card = plan_test_card(machine)
    files = files_of(card, options.name or "test-card", options, progress)
    return Product((card,), tuple(files), (), ("Knit it once as its page says, then run: stitchc machines --ask",))


def checked_for_cards(
    pattern: Pattern, stitches: Sequence[Stitch], machine: Machine, options: CardOptions = DEFAULTS
) -> list[Message]:
    """What is wrong with the stitches or keeps them from a card. Raises Refused M307 and WrongOption."""
    for stitch in stitches:
        if options.start_row > stitch.chart.height:
            rows = f"{stitch.chart.height} row{'s' * (stitch.chart.height > 1)}"
            raise WrongOption("", f"{OPTION.start_row} is {options.start_row}, but `{stitch.name}` has only {rows}.")
    messages = [
        message
        for stitch in stitches
        for message in unfit(stitch, machine, options.rows, options.start_row, options.each_row_twice)
    ]
    return messages + check_pattern(pattern, machine, stitches)


def files_of(card: Card, name: str, options: CardOptions, progress: Progress = no_progress) -> list[File]:
    """The files of one card, proved. name: of the main file, without its ending. Raises WrongOption."""
    if options.form == "text":
        from stitchc.card.punching import punching_list
        from stitchc.document import to_text

        return [File.of_text(f"{name}.txt", to_text(punching_list(card)))]
    if card.shape.hole_mm < LEAST_LIGHT_MM:
        options = replace(options, ink="full")
    scale = (options.scale_x, options.scale_y)
    try:
        tiles = tiles_of(card, options.paper, scale)
    except DoesNotFit as error:
        raise WrongOption("paper", str(error)) from None
    whole = tiles[0] if len(tiles) == 1 else one_tile(card, options.paper, scale)
    stem = name if name == "card" or name.endswith("-card") else f"{name}-card"
    pages = [] if len(tiles) == 1 else [(f"{stem}-page-{tile.number}-of-{tile.of}", tile) for tile in tiles]
    data = as_json(card, whole, pages, options.paper, options.dpi, scale)
    if options.form == "json":
        return [File.of_text(f"{name}.json", data)]
    if options.form == "pdf":
        drawn = [File(f"{name}.pdf", _pdf(card, tiles, options, scale, progress))]
    else:
        if options.form == "png":
            _refuse_wrong_resolution(card, whole, options.dpi, options.ink == "light")
        drawn = list(_pictures(card, [(name, whole), *pages], options, scale, progress))
    return [*drawn, File.of_text(f"{stem}.json", data)]


def _pages(
    card: Card, tiles: Sequence[Tile], options: CardOptions, scale: Scale, progress: Progress
) -> Iterator[tuple[Tile, Page]]:
    for number, tile in enumerate(tiles):
        progress(number / len(tiles))
        yield tile, page_of(card, tile, scale, options.ink)


def _pictures(
    card: Card, named_tiles: Sequence[tuple[str, Tile]], options: CardOptions, scale: Scale, progress: Progress
) -> Iterator[File]:
    drawn = _pages(card, [tile for _, tile in named_tiles], options, scale, progress)
    for (name, _), (tile, page) in zip(named_tiles, drawn, strict=True):
        if options.form == "svg":
            from stitchc.page.svg import svg

            content = svg(page)
            proof.prove_svg(content, card, tile, scale)
        else:
            from stitchc.page.png import png

            content = png(page, options.dpi)
            proof.prove_png(content, card, tile, options.dpi, scale, options.ink)
        yield File(f"{name}.{options.form}", content)


def _pdf(card: Card, tiles: Sequence[Tile], options: CardOptions, scale: Scale, progress: Progress) -> bytes:
    length = max(tile.page_mm[1] for tile in tiles)
    if length > MOST_MM:
        text = f"A page of {length:.0f} mm is longer than a PDF page may be ({MOST_MM:.0f} mm): use {OPTION.paper:a4}."
        raise WrongOption("paper", text)
    content = pdf([page for _, page in _pages(card, tiles, options, scale, lambda share: progress(share / 2))])
    prove_pdf(content, card, tiles, scale, options.ink)
    return content


def _refuse_wrong_resolution(card: Card, tile: Tile, dpi: int, light: bool) -> None:
    """Raise WrongOption for a picture that is too large to draw, or too coarse to keep the holes apart."""
    if light and dpi < LEAST_LIGHT_DPI:
        raise WrongOption(
            "dpi", f"{dpi} is too coarse for the thin rings of {OPTION.ink:light}: use {LEAST_LIGHT_DPI} or more."
        )

    width, height = (round(side * dpi / MM_PER_INCH) for side in tile.page_mm)
    if width * height > MOST_PIXELS:
        text = (
            f"{tile.page_mm[0]:.0f} by {tile.page_mm[1]:.0f} mm at {dpi} dpi are {width} by {height} pixels, more "
            f"than the {MOST_PIXELS:,} that can be drawn: use a smaller {OPTION.dpi}, or {OPTION.format:pdf}."
        )
        raise WrongOption("dpi", text)
    gap = min(card.shape.column_pitch_mm, card.shape.row_pitch_mm) - card.shape.hole_mm
    if gap * dpi / MM_PER_INCH < LEAST_GAP_PX:
        enough = math.ceil(LEAST_GAP_PX * MM_PER_INCH / gap)
        instead = (
            f"{OPTION.dpi:{enough}} or more, or {OPTION.format:pdf}" if enough <= MOST_DPI else f"{OPTION.format:pdf}"
        )
        raise WrongOption("dpi", f"At {dpi} dpi holes {gap:g} mm apart would run into each other: use {instead}.")


def _remarks(card: Card, files: Sequence[File], options: CardOptions) -> Iterator[str]:
    """Sentences for the person: pages, blanks, letters that the font lacks, how much there is to punch."""
    if options.form in ("png", "svg") and len(files) > 2:
        yield (
            f"The card takes several pages of {options.paper}: `{files[0].name}` shows the whole of it, and "
            f"`{files[1].name}` to `{files[-2].name}` are the pages to print and join (or use {OPTION.format:pdf})."
        )
    yield from filter(None, (blanks(card), unlike_instructions(card)))
    names = f"{card.title}{card.stitch}{''.join(yarn or '' for yarn in card.unit.yarns)}"
    if lacking := what_is_lacking(names, "template"):
        yield lacking
    yield from least_work(card, options.rows)

"""`make_leaflet`: a pattern as it is handed to other knitters, as a PDF, a page or a text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import stitchc
from stitchc.document import Block, Document, Listing, Part, Picture, to_text
from stitchc.document.files import letters_lacking
from stitchc.gauge.yarn_lines import unused_lines
from stitchc.leaflet.cards import Sheets, card_sheets, chart_sheets, prove_cards
from stitchc.leaflet.page import leaflet_page
from stitchc.leaflet.parts import as_jpegs, fabric_pictures, photographs, stitches_of
from stitchc.leaflet.ways import Way, find_ways
from stitchc.leaflet.whole import whole_leaflet
from stitchc.messages import Message, in_order
from stitchc.naming import name_of
from stitchc.options import LeafletOptions
from stitchc.piece.product import choose_piece
from stitchc.product import File, Product, Progress, no_progress, whole_stem
from stitchc.seal import digest
from stitchc.wording import OPTION

if TYPE_CHECKING:
    from stitchc.fabric import Shelf
    from stitchc.machines import Machine
    from stitchc.pattern import Pattern

DEFAULTS: Final = LeafletOptions()

MOST_OF_FABRICS: Final = 180_000
"""Bytes of all drawn fabrics in the page, which stays under a megabyte without photographs."""

_KIND: Final = "a pattern for single-bed knitting machines"
_DRAWING: Final = 0.6
"""Share of the time that drawing the fabric takes."""


def make_leaflet(
    pattern: Pattern,
    machines: Sequence[Machine],
    options: LeafletOptions = DEFAULTS,
    progress: Progress = no_progress,
    kept: Shelf | None = None,
) -> Product[Document]:
    """The leaflet of a pattern's pieces for those of the machines that can knit them; the value is the whole of it.

    kept: relaxed fabrics, as in `draw_fabric`. Every card in the PDF is opened again and proved hole by hole. Raises
    Refused P401 without a piece, and with the reasons where none of the machines can knit it. Machines are called by
    their titles: whoever reads it has no profiles.
    """
    if not pattern.pieces:
        choose_piece(pattern, None)
    ways, others = find_ways(pattern, [replace(machine, name=machine.title) for machine in machines], options)
    pictures, messages = fabric_pictures(pattern, options, lambda share: progress(_DRAWING * share), kept)
    edition = edition_of(pattern, options)
    fabrics = list(pictures.values())
    front = _front(pattern, as_jpegs(fabrics), options, edition)
    readers = [way.machine for way in ways if way.machine.reader == "card"]
    sheets = [*chart_sheets(pattern, options), *card_sheets(pattern, readers, options)]
    whole = whole_leaflet(pattern, front, ways, others, sheets, options)
    stem = whole_stem(pattern, "leaflet", options.name)
    files = []
    if options.form in ("both", "pdf"):
        files.append(File(f"{stem}.pdf", _pdf(whole, sheets, options)))
        progress(0.8)
    if options.form in ("both", "html"):
        lighter = _front(pattern, as_jpegs(fabrics, MOST_OF_FABRICS), options, edition)
        files.append(File.of_text(f"{stem}.html", leaflet_page(pattern, lighter, ways, others, options, edition)))
    if options.form == "text":
        files.append(File.of_text(f"{stem}.txt", to_text(whole)))
    told = [*messages, *_doubts(pattern, ways), *(message for way in ways for message in way.messages)]
    remarks = letters_lacking([whole], "pdf" if options.form == "both" else options.form)
    return Product((whole,), tuple(files), tuple(in_order(dict.fromkeys(told))), remarks)


def _pdf(whole: Document, sheets: Sequence[Sheets], options: LeafletOptions) -> bytes:
    from stitchc.document.pdf import to_pdf

    content = to_pdf(whole, page=options.page)
    prove_cards(content, sheets)
    return content


def edition_of(pattern: Pattern, options: LeafletOptions) -> str:
    """Figures that tell whether two leaflets say the same: of the pattern's texts and photographs, the gauge that was
    given, and the version of stitchc. The date and the form are not in it."""
    texts = ["\n".join(lines) for lines in pattern.sources.values()]
    given = repr((options.plain, options.spread, options.anyway, options.yarn_back, stitchc.__version__))
    pieces = [*(text.encode("utf-8", "replace") for text in texts), given.encode()]
    return digest([*pieces, *(photo.content for photo in pattern.photos)])


def _front(pattern: Pattern, fabrics: Sequence[Picture], options: LeafletOptions, edition: str) -> Document:
    facts = [("By", pattern.by)] if pattern.by else []
    facts += [("Difficulty", pattern.difficulty)] if pattern.difficulty else []
    dated = f", {options.date}" if options.date else ""
    facts.append(("Edition", f"{edition}{dated}, made with stitchc {stitchc.__version__}"))
    blocks: list[Block] = [
        *photographs(pattern),
        *fabrics,
        *([Listing(pattern.notes)] if pattern.notes else []),
    ]
    return Document(pattern.title or name_of(pattern), _KIND, tuple(facts), (Part("", tuple(blocks)),))


def _doubts(pattern: Pattern, ways: Sequence[Way]) -> list[Message]:
    """L901: what whoever knits from it would have to ask, because nobody measured it."""
    doubts = []
    not_counted = {swatch.stitch for swatch in unused_lines(pattern)}  # G610 says what to do about these
    for name, piece in pattern.pieces.items():
        plan = ways[0].pieces[name].plans[0]
        if plan.width_cm is None or plan.length_cm is None:
            text = f"No gauge is known, so the leaflet gives neither the size nor the yarn of `{name}`."
            advice = f"gauge plain 20 stitches 28 rows per 10 cm   (what you measured, or {OPTION.plain:20x28})"
            doubts.append(Message("L901", "warning", text, piece.span, advice=advice))
            continue
        rough = {stitch for fabric, stitch in plan.fabrics.items() if not plan.is_measured(fabric)}
        guessed = [stitch for stitch in stitches_of(pattern) if stitch.name in rough - not_counted]
        for stitch in guessed:
            text = f"The gauge of `{stitch.name}` is estimated, and others will knit by it. Measure a swatch first."
            doubts.append(
                Message("L901", "warning", text, stitch.span, advice=f"stitchc swatch … --stitch {stitch.name}")
            )
    return list(dict.fromkeys(doubts))

"""The leaflet for a screen: the reader chooses machine, size and units once, and has her own instructions to follow."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from stitchc.document import Document, Part
from stitchc.document.html import Choice, to_choosing_html
from stitchc.leaflet.cards import card_parts, chart_parts
from stitchc.leaflet.parts import (
    bitmap_part,
    machines_part,
    needs_part,
    reader_part,
    stitch_part,
    swatch_parts,
)
from stitchc.leaflet.ways import piece_options
from stitchc.leaflet.whole import briefly, in_order, with_yarn_to_buy
from stitchc.piece.product import write_instructions
from stitchc.piece.size_words import labelled, size_table

if TYPE_CHECKING:
    from stitchc.leaflet.ways import NoWay, Way
    from stitchc.options import LeafletOptions, Units
    from stitchc.pattern import Pattern, Piece

UNITS: tuple[Units, Units] = ("cm", "in")


def leaflet_page(
    pattern: Pattern,
    front: Document,
    ways: Sequence[Way],
    others: Sequence[NoWay],
    options: LeafletOptions,
    key: str,
) -> str:
    """The page, with every machine, size, unit and piece in it, and why there are no others."""
    units: tuple[Units, ...] = UNITS if options.units == "cm" else UNITS[::-1]
    sizes, in_others = (sizes_of(pattern, unit) for unit in units)
    in_both = {size: f"{size} ({other})" for size, other in zip(sizes, in_others, strict=True) if size != other}
    choices = [
        Choice("Machine", tuple(way.machine.title for way in ways)),
        Choice("Size", sizes, in_both),
        Choice("Units", units),
        Choice("Piece", tuple(pattern.pieces)),
    ]
    documents: dict[tuple[str, ...], Document] = {}
    of_stitches = [stitch_part(pattern), *chart_parts(pattern)]
    of_way = {way.machine.title: [*of_stitches, *_for_the_reader(pattern, way, options)] for way in ways}
    for way, unit, piece in itertools.product(ways, units, pattern.pieces.values()):
        shared = of_way[way.machine.title]
        own = [_chosen(pattern, way, piece, nth, unit, options, shared) for nth in range(max(len(piece.sizes), 1))]
        for nth, size in enumerate(sizes):
            documents[way.machine.title, size, unit, piece.name] = own[min(nth, len(own) - 1)]
    parts = [
        Part("Sizes" if len(pattern.pieces) == 1 else f"Sizes of {name}", (table,))
        for name, made in ways[0].pieces.items()
        for table in size_table(
            made.plans, [label for label, _ in labelled(pattern.pieces[name].sizes, options.units)], options.units
        )
    ]
    if others:
        parts.append(machines_part(ways, others))
    front = replace(front, parts=(*front.parts, *parts))
    return to_choosing_html(front, choices, documents, key)


def sizes_of(pattern: Pattern, units: Units) -> tuple[str, ...]:
    """What the sizes of the pattern are called: those of the piece that has most of them, or one without a name."""
    sizes = max((piece.sizes for piece in pattern.pieces.values()), key=len)
    return tuple(label for label, _ in labelled(sizes, units)) or ("one size",)


def _chosen(
    pattern: Pattern,
    way: Way,
    piece: Piece,
    size: int,
    units: Units,
    options: LeafletOptions,
    shared: Sequence[Part],
) -> Document:
    """The instructions of one piece, for one machine and one size, with what is read before them. shared: what is the
    same for every piece, size and unit."""
    asked = piece_options(options, piece, units, size)
    (plan,), document, yarn = write_instructions(pattern, way.machine, asked).values[0]
    document = briefly(with_yarn_to_buy(document, way, yarn, units))
    more = [
        *needs_part(pattern),
        *swatch_parts(pattern, [plan], way.machine, units, way.swatches),
        *shared,
    ]
    more += reader_part(way.machine, [plan])
    parts = in_order([*document.parts, *more])
    chosen = [("Size", labelled(piece.sizes, units)[size][0])] if len(piece.sizes) > 1 else []
    return replace(document, facts=(*chosen, *document.facts), parts=tuple(parts))


def _for_the_reader(pattern: Pattern, way: Way, options: LeafletOptions) -> Iterator[Part]:
    if way.machine.reader == "card":
        yield from card_parts(pattern, way.machine, options)
    elif way.machine.reader == "bitmap":
        yield from bitmap_part(pattern, way.machine, options, True)

"""The pages of a leaflet that are drawn by others: hole cards at true scale, charts that are too large for a text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from stitchc.card.drawing import page_of, tiles_of
from stitchc.card.product import make_card
from stitchc.card.proof import prove_pdf
from stitchc.card.punching import punching_list
from stitchc.document import Part, Sheet, Terms
from stitchc.drawn.drawing import Drawing, draw
from stitchc.english import listed
from stitchc.leaflet.parts import read_by_machine, stitches_of
from stitchc.options import CardOptions
from stitchc.sheet.repeat import MOST_DRAWN

if TYPE_CHECKING:
    from stitchc.card.paper import Tile
    from stitchc.card.plan import Card
    from stitchc.machines import Machine
    from stitchc.options import LeafletOptions
    from stitchc.page import Page
    from stitchc.pattern import Pattern, Stitch

_SCALE: Final = (1.0, 1.0)


@dataclass(frozen=True)
class Sheets:
    """Pages that belong together, with what is to be known before they are printed. cards: what they show, if cards."""

    advice: str
    sheets: tuple[Sheet, ...]
    cards: tuple[tuple[Card, tuple[Tile, ...]], ...] = ()


def cards_of(pattern: Pattern, machine: Machine, options: LeafletOptions) -> list[Card]:
    """A card of each stitch for this machine, planned and not drawn yet."""
    names = tuple(stitch.name for stitch in read_by_machine(pattern))
    if not names:
        return []
    cards = make_card(pattern, machine, CardOptions(names, form="text", anyway=options.anyway)).values
    return [replace(card, for_others=True) for card in cards]


def card_sheets(pattern: Pattern, machines: Sequence[Machine], options: LeafletOptions) -> list[Sheets]:
    """The cards of every stitch for these machines, as pages of the leaflet's own size."""
    sheets: list[Sheet] = []
    cards: list[tuple[Card, tuple[Tile, ...]]] = []
    for card, pitches in _told_once([card for machine in machines for card in cards_of(pattern, machine, options)]):
        tiles = tuple(tiles_of(card, options.page))
        cards.append((card, tiles))
        for tile in tiles:
            part = f", page {tile.number} of {tile.of}" if tile.of > 1 else ""
            name = f"Card of {card.stitch}: {card.columns} columns, {pitches}{part}"
            sheets.append(Sheet(page_of(card, tile), name))
    if not sheets:
        return []
    advice = "Hole cards. Each page says how to print it, what to measure before you punch, and where to begin."
    return [Sheets(advice, tuple(sheets), tuple(cards))]


def _told_once(cards: Sequence[Card]) -> list[tuple[Card, str]]:
    """The cards, one that several machines take alike once, under the titles of them all; with their pitches."""
    alike: list[list[Card]] = []
    for card in cards:
        for group in alike:
            first = group[0]
            if (first.stitch, first.shape) == (card.stitch, card.shape) and np.array_equal(first.holes, card.holes):
                group.append(card)
                break
        else:
            alike.append([card])
    told = []
    for first, *further in alike:
        title = " or ".join(card.machine.title for card in (first, *further))
        pitches = listed([f"{card.machine.pitch_mm:g} mm" for card in (first, *further)], "or")
        told.append((replace(first, machine=replace(first.machine, name=title, title=title)), pitches))
    return told


def chart_sheets(pattern: Pattern, options: LeafletOptions) -> list[Sheets]:
    """Charts that are too large to stand in the text, on pages of their own."""
    sheets = [
        Sheet(page, f"Chart of {stitch.name}, {page.label}" if page.label else f"Chart of {stitch.name}", False)
        for stitch in _large(pattern)
        for page in _drawn(pattern, stitch, options.page)
    ]
    return [Sheets("Charts: row 1 is at the bottom of the first page of each.", tuple(sheets))] if sheets else []


def chart_parts(pattern: Pattern) -> list[Part]:
    """The same charts for a screen, each in one."""
    return [
        Part(f"The chart of {stitch.name}", tuple(Sheet(page, stitch.name, False) for page in _drawn(pattern, stitch)))
        for stitch in _large(pattern)
    ]


def _large(pattern: Pattern) -> list[Stitch]:
    return [each for each in stitches_of(pattern) if max(each.chart.width, each.chart.height) > MOST_DRAWN]


def _drawn(pattern: Pattern, stitch: Stitch, paper: Literal["roll", "a4", "letter"] = "roll") -> list[Page]:
    return draw(stitch.name, stitch.chart, Drawing(paper=paper), title=pattern.title, yarns=pattern.yarns)


def prove_cards(pdf: bytes, sheets: Sequence[Sheets]) -> None:
    """Every hole of every card in the leaflet, whose pages are its last ones. Raises card.proof.ProofFailed."""
    import pypdfium2

    document = pypdfium2.PdfDocument(pdf)
    page = len(document) - sum(len(each.sheets) for each in sheets)
    document.close()
    for each in sheets:
        within = page
        for card, tiles in each.cards:
            prove_pdf(pdf, card, tiles, _SCALE, first=within)
            within += len(tiles)
        page += len(each.sheets)


def card_parts(pattern: Pattern, machine: Machine, options: LeafletOptions) -> list[Part]:
    """The cards of a machine for a screen: the list to punch from."""
    parts = []
    for card in cards_of(pattern, machine, options):
        told = punching_list(card)
        how = "Punch from this list, or print the card from the PDF of this leaflet, where it is at true scale."
        facts = Terms(tuple(fact for fact in told.facts if fact[0] != "For"))
        blocks = [block for part in told.parts for block in (part.heading + ":", *part.blocks)]
        parts.append(Part(f"The card of {card.stitch}", (how, facts, *blocks)))
    return parts

"""The leaflet for paper: what all machines share first, then a chapter for each class of machine, then the cards.

Puts documents together; what they say is said elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from stitchc.document import Block, Document, Listing, Part, Table, Terms
from stitchc.english import listed, several
from stitchc.leaflet.parts import (
    bitmap_part,
    buying_part,
    machines_part,
    needs_part,
    reader_part,
    stitch_part,
    swatch_parts,
)
from stitchc.sheet.terms import terms as terms_of

if TYPE_CHECKING:
    from stitchc.leaflet.cards import Sheets
    from stitchc.leaflet.ways import NoWay, Way
    from stitchc.machines.profile import Machine
    from stitchc.options import LeafletOptions, Units
    from stitchc.pattern import Pattern
    from stitchc.piece.yarn import AllYarn

CLASSES = {"none": "By hand", "card": "With a hole card of {} columns", "bitmap": "With electronic patterning"}
"""What a chapter is called, by what reads the pattern; the braces stand for how much it reads."""

_SIZES = "Sizes"
_SAID_IN_PARTS = ("Note", "Width", "Length")
"""Facts that stand in the leaflet's parts as well: notes at the front, sizes under Size."""


def whole_leaflet(
    pattern: Pattern,
    front: Document,
    ways: Sequence[Way],
    others: Sequence[NoWay],
    sheets: Sequence[Sheets],
    options: LeafletOptions,
) -> Document:
    """front: title, facts and the first part. sheets: the pages of cards and charts, which come last."""
    told = {name: [_with_yarn_to_buy(way, name, options) for way in ways] for name in pattern.pieces}
    terms = _all_terms([each for of_piece in told.values() for each in of_piece])
    documents = {name: [_without_terms(each) for each in of_piece] for name, of_piece in told.items()}
    by_pitch = {name: _by_pitch(ways, of_piece) for name, of_piece in documents.items()}
    documents = {name: [_without(each, by_pitch[name]) for each in of_piece] for name, of_piece in documents.items()}
    everywhere = _shared([each for of_piece in documents.values() for each in of_piece])
    first, *others_by_pitch = by_pitch.values()
    alike = [part for part in first if others_by_pitch and all(part in parts for parts in others_by_pitch)]
    alike_everywhere = [name for name in pattern.pieces if all(_is_plain(way, name) for way in ways)]
    opening: list[Part] = []
    facts = list(front.facts)
    chapters: list[Document] = []
    for name, of_piece in documents.items():
        plans = ways[0].pieces[name].plans
        shared = [part for part in _shared(of_piece) if part not in everywhere]
        mine = [part for part in by_pitch[name] if part not in alike]
        own = [
            *in_order([*shared, *mine]),
            *swatch_parts(pattern, plans, ways[0].machine, options.units, ways[0].swatches),
        ]
        piece_facts = [fact for fact in of_piece[0].facts if fact[0] == _SIZES]
        taken = [*everywhere, *shared]
        documents[name] = [_without(each, taken, piece_facts) for each in of_piece]
        if len(documents) == 1:
            opening += own
            facts += piece_facts
        else:
            chapters.append(Document(name, "", tuple(piece_facts), tuple(own)))
        if name in alike_everywhere:
            chapters.append(_on_every_machine(documents[name][-1], name if len(documents) > 1 else ""))
    opening += [*needs_part(pattern), stitch_part(pattern), machines_part(ways, others), Part(_TERMS, (terms,))]
    opening += in_order([*everywhere, *alike])
    documents = {name: of_piece for name, of_piece in documents.items() if name not in alike_everywhere}
    for together in _alike(ways, documents) if documents else ():
        chapters.append(_class_chapter(pattern, [ways[nth] for nth in together], _each(documents, together), options))
    titled = _distinct(chapters)
    if sheets:
        titled.append(_sheets_chapter(sheets))
    return replace(front, facts=tuple(facts), parts=(*front.parts, *in_order(opening)), chapters=tuple(titled))


def _is_plain(way: Way, name: str) -> bool:
    """Whether no row of a piece needs anything of the machine but to knit, so that it is told the same for all."""
    passes = [each for plan in way.pieces[name].plans for each in plan.passes]
    return not any(each.patterned or each.held or each.crossing or each.empty for each in passes)


def _on_every_machine(document: Document, name: str) -> Document:
    """The chapter of a plain piece, whose rows are ticked once for all machines. name: among several pieces."""
    title = f"{name} on every machine" if name else "On every machine"
    facts = tuple(fact for fact in document.facts if fact[0] != "Machine")
    return replace(document, title=title, kind="", subtitle="", facts=facts)


def _with_yarn_to_buy(way: Way, name: str, options: LeafletOptions) -> Document:
    _, document, yarn = way.pieces[name]
    return briefly(with_yarn_to_buy(document, way, yarn, options.units))


def with_yarn_to_buy(document: Document, way: Way, yarn: AllYarn | None, units: Units) -> Document:
    """The document with the yarn to buy. Of a pattern of one piece its amounts stand there alone: those of the piece
    without its swatches would only contradict them."""
    bought = tuple(buying_part(way, yarn, units)) if yarn else ()
    parts = document.parts
    if yarn and bought and yarn.is_one_piece:
        parts = tuple(_without_amounts(part) if part.heading == "Yarn" else part for part in parts)
    return replace(document, parts=(*parts, *bought))


def _without_amounts(part: Part) -> Part:
    return replace(part, blocks=tuple(block for block in part.blocks if isinstance(block, Terms)))


def briefly(document: Document) -> Document:
    """The document without what the leaflet says in another place."""
    return replace(document, facts=tuple(fact for fact in document.facts if fact[0] not in _SAID_IN_PARTS))


_USE = (
    "Warnings",
    "Size",
    "Machines",
    "Yarn",
    "What else you need",
    "Gauge",
    "Swatch",
    "If your swatch differs",
    "The repeat",
    "The rows of the repeat",
)
"""How the headings of parts begin."""


def in_order(parts: Iterable[Part]) -> list[Part]:
    """Parts in the order in which a knitter needs them: to choose, to buy, to try, to knit."""
    return sorted(parts, key=place_of)


def place_of(part: Part) -> int:
    """Where it comes among those that are read first; after all of them where it is none."""
    return next((place for place, use in enumerate(_USE) if part.heading.startswith(use)), len(_USE))


_TERMS = "Terms"


def _all_terms(documents: Sequence[Document]) -> Terms:
    """The terms of all documents, each once."""
    lists = [
        block
        for document in documents
        for part in document.parts
        for block in part.blocks
        if part.heading == _TERMS and isinstance(block, Terms)
    ]
    used = {name for block in lists for name, _ in block.pairs}
    return Terms(terms_of(*used))


def _without_terms(document: Document) -> Document:
    return replace(document, parts=tuple(part for part in document.parts if part.heading != _TERMS))


# -- what several documents share -------------------------------------------------------------------------------------


def _shared(documents: Sequence[Document]) -> list[Part]:
    """The parts that all of them have alike."""
    first, *rest = documents
    return [part for part in first.parts if all(part in other.parts for other in rest)]


def _by_pitch(ways: Sequence[Way], documents: Sequence[Document]) -> list[Part]:
    """What is read before a machine's chapter and is not the same for all of them, told of each distance of needles."""
    parts = []
    for first in documents[0].parts:
        each = _headed(documents, first.heading)
        if place_of(first) < len(_USE) and None not in each and len(set(each)) > 1:
            labelled = _labelled_beds([way.machine for way in ways], each)
            blocks = zip(*(part.blocks for part in labelled.values() if part is not None), strict=False)
            parts.append(replace(first, blocks=tuple(_merged_block(same, tuple(labelled)) for same in blocks)))
    return parts


def _labelled_beds(machines: Sequence[Machine], parts: Sequence[Part | None]) -> dict[str, Part | None]:
    """What is told of each bed, once for the machines of one pitch; of each kind of them where it is not the same."""
    of_pitch: dict[float, set[Part | None]] = {}
    for machine, part in zip(machines, parts, strict=True):
        of_pitch.setdefault(machine.pitch_mm, set()).add(part)
    return {
        f"{machine.pitch_mm:g} mm{_KINDS[machine.reader] if len(of_pitch[machine.pitch_mm]) > 1 else ''}": part
        for machine, part in zip(machines, parts, strict=True)
    }


_KINDS: Final = {"none": " by hand", "card": " hole card", "bitmap": " electronic"}


def _headed(documents: Sequence[Document], heading: str) -> list[Part | None]:
    return [next((part for part in each.parts if part.heading == heading), None) for each in documents]


def _without(document: Document, parts: Sequence[Part], facts: Sequence[tuple[str, str]] = ()) -> Document:
    headings = {part.heading for part in parts}
    return replace(
        document,
        facts=tuple(fact for fact in document.facts if fact not in facts),
        parts=tuple(part for part in document.parts if part.heading not in headings),
    )


def _alike(ways: Sequence[Way], documents: dict[str, list[Document]]) -> list[list[int]]:
    """The machines, by their places, whose rows are told in the very same words, together."""
    groups: list[list[int]] = []
    for index, way in enumerate(ways):
        rows = [of_piece[index].rows for of_piece in documents.values()]
        for group in groups:
            same = [of_piece[group[0]].rows for of_piece in documents.values()] == rows
            if same and ways[group[0]].machine.reader == way.machine.reader:
                group.append(index)
                break
        else:
            groups.append([index])
    return groups


def _each(documents: dict[str, list[Document]], places: Sequence[int]) -> dict[str, list[Document]]:
    return {name: [of_piece[place] for place in places] for name, of_piece in documents.items()}


# -- a chapter for each class of machine ------------------------------------------------------------------------------


def _class_chapter(
    pattern: Pattern, ways: Sequence[Way], documents: dict[str, list[Document]], options: LeafletOptions
) -> Document:
    """The instructions for machines whose rows are the same."""
    machines = [way.machine for way in ways]
    labels = [f"{machine.pitch_mm:g} mm" for machine in machines]
    pieces = [_merged(of_piece, labels) for of_piece in documents.values()]
    facts = (("Machine" if len(machines) == 1 else "Machines", "; ".join(machine.title for machine in machines)),)
    parts = [*(bitmap_part(pattern, machines[0], options, False) if machines[0].reader == "bitmap" else ())]
    parts += reader_part(machines[0], [piece.plans[0] for piece in ways[0].pieces.values()])
    widths = dict.fromkeys(str(machine.reader_width) for machine in machines)
    title = CLASSES[machines[0].reader].format(listed(tuple(widths), "or"))
    if len(pattern.pieces) > 1:
        return Document(title, "", facts, tuple(parts), chapters=tuple(pieces))
    (only,) = pieces
    return Document(title, "", (*facts, *only.facts), (*parts, *only.parts), only.rows)


def _merged(documents: Sequence[Document], labels: Sequence[str]) -> Document:
    """One document for machines that share the rows; what is not the same for all is told of each pitch."""
    first = documents[0]
    parts = []
    for index, part in enumerate(first.parts):
        same = [
            each.parts[index]
            for each in documents
            if len(each.parts) > index and each.parts[index].heading == part.heading
        ]
        blocks = [
            _merged_block([each.blocks[place] for each in same], labels) if len(same) == len(documents) else block
            for place, block in enumerate(part.blocks)
        ]
        parts.append(replace(part, blocks=tuple(blocks)))
    facts = tuple(fact for fact in first.facts if fact[0] != "Machine")
    return replace(first, title=first.title, kind="", subtitle="", facts=facts, parts=tuple(parts))


def _merged_block(blocks: Sequence[Block], labels: Sequence[str]) -> Block:
    first = blocks[0]
    tables = [block for block in blocks if isinstance(block, Table)]
    if len(tables) == len(blocks):
        return _merged_table(tables, labels)
    columns = [block.items for block in blocks if isinstance(block, Listing)]
    if not isinstance(first, Listing) or len({len(column) for column in columns}) != 1 or len(columns) < len(blocks):
        return first
    return Listing(tuple(_told_once(columns, labels)), first.numbered)


def _merged_table(tables: Sequence[Table], labels: Sequence[str]) -> Table:
    """The lines of all tables, those of each bed under its label."""
    first = tables[0]
    beds: dict[Table, dict[str, None]] = {}
    for table, label in zip(tables, labels, strict=True):
        beds.setdefault(table, {})[label] = None
    if len(beds) == 1 or len({table.head for table in beds}) > 1:
        return first
    rows = tuple((listed(tuple(same)), *row) for table, same in beds.items() for row in table.rows)
    return replace(first, head=("Bed", *first.head), rows=rows, figures=tuple(column + 1 for column in first.figures))


def _told_once(columns: Sequence[Sequence[str]], labels: Sequence[str]) -> Iterator[str]:
    """Lines of several lists in order: those that all share as they are, the others under their labels; where only
    figures differ, as one line with those of the others in brackets."""
    for lines in zip(*columns, strict=True):
        by_line: dict[str, dict[str, None]] = {}
        for line, label in zip(lines, labels, strict=True):
            by_line.setdefault(line, {})[label] = None
        names = [listed(tuple(of_it)) for of_it in by_line.values()]
        if len(by_line) == 1:
            yield lines[0]
        elif "[" not in "".join(by_line) and len({_FIGURE.sub("", line) for line in by_line}) == 1:
            figures = [several(same) for same in zip(*map(_FIGURE.findall, by_line), strict=True)]
            words = _FIGURE.split(lines[0])
            yield f"{several(names)}: " + "".join(a + b for a, b in zip(words, [*figures, ""], strict=True))
        else:
            yield from (f"{name}: {line}" for line, name in zip(by_line, names, strict=True))


_FIGURE = re.compile(r"\d[\d,.]*\d|\d")


def _distinct(chapters: Sequence[Document]) -> list[Document]:
    """The chapters, those of one title told apart by their machines."""
    titles = [chapter.title for chapter in chapters]
    return [
        replace(chapter, title=f"{chapter.title}: {chapter.facts[0][1]}")
        if titles.count(chapter.title) > 1
        else chapter
        for chapter in chapters
    ]


def _sheets_chapter(sheets: Sequence[Sheets]) -> Document:
    """The pages to print and cut, with what has to be known before."""
    parts = [Part("", (each.advice,)) for each in sheets]
    pages = tuple(sheet for each in sheets for sheet in each.sheets)
    return Document("Pages at true scale", "", (), (*parts, Part("", pages)))

"""A document as plain text of 80 columns, in sentences, so that a screen reader can read it from top to bottom."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import Final

from stitchc.code import unbroken
from stitchc.document.blocks import Block as Repeated
from stitchc.document.blocks import Line, fold, row_numbers, steps_of
from stitchc.document.document import (
    Block,
    ByHand,
    Document,
    Drawing,
    Heading,
    Lines,
    Listing,
    PassRow,
    Picture,
    Rows,
    Sheet,
    Table,
    Terms,
)
from stitchc.messages import columns_of, visible

WIDTH: Final = 80
_UNBROKEN: Final = 60
"""Columns of an option or command up to which it is not broken over two lines."""


def to_text(document: Document, every_row: bool = False) -> str:
    """The whole document; ends with a line end.

    every_row: a line for every row; by default each repeated stretch is written once, as a block.
    """
    lines: list[str] = []
    for line in _lines(document, every_row):
        if line or (lines and lines[-1]):
            lines.append(line.rstrip())
    return "\n".join(lines).rstrip("\n") + "\n"


def _lines(document: Document, every_row: bool) -> Iterator[str]:
    title = f"{document.title}: {document.kind}" if document.kind else document.title
    if document.subtitle and document.subtitle != document.title:
        title = f"{document.subtitle}, {title}"
    title = visible(title)
    yield from _wrap(title, WIDTH)
    yield "=" * min(WIDTH, columns_of(title))
    yield ""
    yield from _pairs(document.facts)
    for part in document.parts:
        yield ""
        yield from _wrap(visible(part.heading), WIDTH)  # nothing for one without
        for block in part.blocks:
            yield from _block(block)
    if document.rows is not None:
        yield from _rows(document.rows, every_row)
    for chapter in document.chapters:
        yield from ("", "")
        yield from _lines(chapter, every_row)


def _pairs(pairs: Sequence[tuple[str, str]]) -> Iterator[str]:
    """Words with their meanings, these under each other where the words are short."""
    widest = min(12, max((columns_of(visible(label)) for label, _ in pairs), default=0) + 1)
    for label, meaning in pairs:
        yield from _hanging(f"{label + ':':<{widest}} ", meaning)


def _block(block: Block) -> Iterator[str]:
    match block:
        case str():
            yield from _hanging("  ", block)
        case Listing():
            for number, item in enumerate(block.items, start=1):
                yield from _hanging(f"  {number}. " if block.numbered else "  - ", item)
        case Terms():
            for term, meaning in block.pairs:
                yield from _hanging("  - ", f"{term}: {meaning}")
        case Table():
            yield from _table(block)
        case Drawing():
            yield from map(visible, block.as_text)
        case Picture():
            yield from _hanging("  ", f"[{block.alt}] {block.caption}".strip())
        case Sheet():
            yield from _hanging("  ", f"[{block.name}] {block.page.description}")
        case Lines():
            yield ""
            yield from (f"    {visible(line)}" for line in block.lines)
            yield ""


_LEAST_ROOM: Final = 24
"""Signs that the widest column of a table has at least, or the table goes into lines."""


def _table(table: Table) -> Iterator[str]:
    """In columns where they go into the width, the widest in several lines if need be; else a line for each cell, under
    the first of its row."""
    if table.caption:
        yield from _hanging("  ", table.caption, indent=2)
    grid = [tuple(map(visible, row)) for row in (table.head, *table.rows)]
    widths = [max(columns_of(cell) for cell in column) for column in zip(*grid, strict=True)]
    wide = max(range(len(widths)), key=lambda at: (widths[at], at))
    room = WIDTH - 2 - sum(width + 2 for at, width in enumerate(widths) if at != wide)
    if widths[wide] > room and room >= _LEAST_ROOM:
        widths[wide] = room
    if sum(widths) + 2 * len(widths) > WIDTH:
        for row in grid[1:]:
            yield from _hanging("  ", row[0], indent=2)
            for head, cell in zip(grid[0][1:], row[1:], strict=True):
                if cell:
                    yield from _hanging("    ", f"{head}: {cell}", indent=6)
        return
    for row in grid:
        for number, part in enumerate(_wrap(row[wide], widths[wide]) or [""]):
            cells = [part if at == wide else "" if number else cell for at, cell in enumerate(row)]
            padding = [" " * (width - columns_of(cell)) for width, cell in zip(widths, cells, strict=True)]
            padded = (
                pad + cell if at in table.figures else cell + pad
                for at, (pad, cell) in enumerate(zip(padding, cells, strict=True))
            )
            yield f"  {'  '.join(padded)}".rstrip().replace("\N{NO-BREAK SPACE}", " ")


def _rows(rows: Rows, every_row: bool) -> Iterator[str]:
    yield ""
    if rows.before:
        yield f"Before row {rows.first_row}"
        yield from _block(Listing(rows.before, numbered=True))
        yield ""
    yield "Row by row"
    entries = rows.entries
    if every_row:
        folded: list[Line | Repeated] = [
            Line((range(place, place + 1),)) for place, entry in enumerate(entries) if not isinstance(entry, Table)
        ]
    else:
        folded = fold(entries)
    for item in folded:
        if isinstance(item, Line):
            yield from _line("", rows, item, every_row)
            continue
        first, last = (_row(rows, index) for index in item.ends)
        yield ""
        yield from _hanging("", item.words(first, last) + ".", indent=8)
        for line in item.lines:
            yield from _line("  ", rows, line, every_row)
        yield ""
    yield ""
    yield f"{rows.total} Made by stitchc."


def _line(margin: str, rows: Rows, line: Line, every_row: bool) -> Iterator[str]:
    entry = rows.entries[line.index]
    match entry:
        case Heading():
            yield ""
            yield from _wrap(visible(entry.text), WIDTH)
            for detail in entry.details:
                yield from _hanging("  ", detail)
        case ByHand():
            yield ""
            yield from _hanging("    Do: ", entry.text)
            yield ""
        case Table():
            yield ""
            yield from _table(entry)
            yield ""
        case PassRow():
            times = [[_row(rows, index) for index in once] for once in line.times]
            numbers = f"Row {entry.row:>3}" if times == [[entry.row]] else row_numbers(times)
            first = " first" if len(times[0]) > 1 else ""
            words = " ".join(step.text for step in steps_of(entry, every_row))
            yield from _hanging(f"{margin}{numbers}, {entry.direction}{first}. ", words, indent=8)


def _row(rows: Rows, index: int) -> int:
    entry = rows.entries[index]
    assert isinstance(entry, PassRow)
    return entry.row


def _hanging(lead: str, text: str, indent: int | None = None) -> Iterator[str]:
    """The text wrapped after its lead, the further lines indented under where it begins."""
    further = " " * (len(lead) if indent is None else indent)
    yield from _wrap(lead + visible(text), WIDTH, further) or [lead]


def _wrap(text: str, width: int, indent: str = "") -> list[str]:
    """Lines of at most `width` columns, none of which ends inside an option."""
    lines = textwrap.wrap(unbroken(text, _UNBROKEN), width, subsequent_indent=indent, break_on_hyphens=False)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]

"""The sheet as plain text of 80 columns, in sentences, so that a screen reader can read it from top to bottom."""

from __future__ import annotations

import itertools
import textwrap
from collections.abc import Iterator, Sequence
from typing import Final

from stitchc.english import number
from stitchc.messages import columns_of, visible
from stitchc.passes import moved_by_hand
from stitchc.sheet.blocks import Block, goes_on_idle, in_blocks, row_numbers
from stitchc.sheet.instructions import edge_words
from stitchc.sheet.model import DoEntry, Entry, PassEntry, SectionEntry, Sheet

WIDTH: Final = 80
_CHART_MOST_NEEDLES: Final = 66
_CHART_MOST_ROWS: Final = 60


def to_text(sheet: Sheet, every_row: bool = False) -> str:
    """The whole sheet; ends with a line end.

    every_row: a line for every row, where unsaid each stretch that comes over and over is told once, as a block.
    """
    return "\n".join(line.rstrip() for line in _lines(sheet, every_row)) + "\n"


def _lines(sheet: Sheet, every_row: bool) -> Iterator[str]:
    title = f"{sheet.title}: {sheet.kind}"
    if sheet.subtitle and sheet.subtitle != sheet.title:
        title = f"{sheet.subtitle}, {title}"
    title = visible(title)
    yield from textwrap.wrap(title, WIDTH)
    yield "=" * min(WIDTH, columns_of(title))
    yield ""
    for label, value in head(sheet):
        yield from _hanging(f"{label + ':':<10}", value)
    for note in sheet.notes:
        yield from _hanging(f"{'Note:':<10}", note)
    for warning in sheet.warnings:
        yield from _hanging(f"{'Warning:':<10}", warning)
    yield from _charts(sheet)
    first = sheet.first_row
    for heading, paragraphs in (
        *sheet.more,
        ("Cautions", sheet.cautions),
        ("How it goes", sheet.habits),
        (f"Before row {first}", sheet.before),
    ):
        if paragraphs:
            yield ""
            yield heading
            for paragraph in paragraphs:
                yield from _hanging("  - ", paragraph)
    yield ""
    yield "Row by row"
    told = itertools.chain.from_iterable(map(_told, sheet.entries)) if every_row else _entries(sheet.entries)
    blank = False
    for line in told:
        if line or not blank:
            yield line
        blank = not line
    if not blank:
        yield ""
    yield f"{total_words(sheet)} Made by stitchc."


def head(sheet: Sheet) -> list[tuple[str, str]]:
    """The lines of the head, label and value, shared by text and print."""
    if sheet.heading:
        return [*sheet.heading, *sheet.facts]
    needles, machine = sheet.needles, sheet.machine
    return [
        ("Machine", f"{machine.title} ({machine.name})"),
        (
            "Needles",
            f"{needles.left} to {needles.right}: {needles.count} in work, {edge_words(needles, sheet.edge)}",
        ),
        *([("Carriage", f"at the {sheet.first_side} before row {sheet.first_row}")] if sheet.rows else []),
        *sheet.facts,
    ]


def total_words(sheet: Sheet) -> str:
    """Rows in all, and moves where hands move needles."""
    if sheet.total:
        return sheet.total
    if not moved_by_hand(sheet.machine):
        return f"In all {number(sheet.rows, 'row')}."
    return f"In all {number(sheet.rows, 'row')}, {number(sheet.moves, 'needle')} moved by hand."


def _charts(sheet: Sheet) -> Iterator[str]:
    for name, chart in sheet.charts.items():
        yield ""
        size = f"{number(chart.width, 'needle')}, {number(chart.height, 'row')}"
        yield visible(f"The repeat of {name}: {size}; row 1 is knitted first.")
        if chart.width > _CHART_MOST_NEEDLES or chart.height > _CHART_MOST_ROWS:
            yield "It is too large to show here; `stitchc chart` draws it."
            continue
        legend = {"K": "K knits", "T": "T tucks", "S": "S slips"}
        rows = chart.rows()
        used = [words for letter, words in legend.items() if any(letter in row for row in rows)]
        yield f"Left to right as you face the bed; {', '.join(used)}."
        for row in range(chart.height, 0, -1):
            yarn = chart.yarns[row - 1]
            in_yarn = f"   in {yarn}" if yarn else ""
            yield visible(f"  {row:>4}  {rows[row - 1]}{in_yarn}")


def _entries(entries: tuple[Entry, ...]) -> Iterator[str]:
    """Each stretch of passes that comes over and over told once, as a block; else every entry in its turn."""
    idle: list[int] = []  # passes with nothing to do, gathered for one line
    for item in in_blocks(entries):
        lines = item.lines(lambda index: goes_on_idle(entries, index)) if isinstance(item, Block) else []
        if isinstance(item, Block) and len(lines) > 1:
            yield from _idle(entries, idle)
            idle = []
            yield ""
            yield from _hanging("", item.words(_row(entries[item.first]), _row(entries[item.last])) + ".", indent=8)
            for line in lines:
                times = [[_row(entries[index]) for index in once] for once in line.times]
                yield from _line("  ", entries[line.index], times)
            yield ""
            continue
        indexes = range(item.first, item.last + 1) if isinstance(item, Block) else (item.index,)
        for index in indexes:
            if not idle or not goes_on_idle(entries, index):
                yield from _idle(entries, idle)
                idle = []
            idle.append(index)
    yield from _idle(entries, idle)


def _idle(entries: tuple[Entry, ...], indexes: Sequence[int]) -> Iterator[str]:
    if len(indexes) == 1:
        yield from _told(entries[indexes[0]])
    elif indexes:
        yield from _line("", entries[indexes[0]], [[_row(entries[index]) for index in indexes]])


def _told(entry: Entry) -> Iterator[str]:
    if isinstance(entry, SectionEntry):
        yield ""
        yield from textwrap.wrap(visible(entry.title), WIDTH)
        for detail in entry.details:
            yield from _hanging("  ", detail)
    elif isinstance(entry, DoEntry):
        yield ""
        yield from _hanging("    Do: ", entry.text)
        yield ""
    else:
        yield from _line("", entry, [[entry.passed.row]])


def _line(margin: str, entry: Entry, times: Sequence[Sequence[int]]) -> Iterator[str]:
    """A pass with all rows in which it is made; those of one time through together."""
    assert isinstance(entry, PassEntry)
    numbers = f"Row {times[0][0]:>3}" if times == [[entry.passed.row]] else row_numbers(times)
    first = " first" if len(times[0]) > 1 else ""
    yield from _hanging(f"{margin}{numbers}, {entry.passed.direction}{first}. ", entry.words, indent=8)


def _row(entry: Entry) -> int:
    assert isinstance(entry, PassEntry)
    return entry.passed.row


def _hanging(lead: str, text: str, indent: int | None = None) -> Iterator[str]:
    """The text wrapped after its lead, the further lines indented under where it begins."""
    further = " " * (len(lead) if indent is None else indent)
    paragraphs = textwrap.wrap(
        lead + visible(text), WIDTH, subsequent_indent=further, break_long_words=True, drop_whitespace=True
    )
    yield from paragraphs or [lead]

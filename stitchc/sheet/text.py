"""The sheet as plain text of 80 columns, in sentences, so that a screen reader can read it from top to bottom."""

from __future__ import annotations

import textwrap
from collections.abc import Hashable, Iterator
from typing import Final

from stitchc.messages import columns_of, visible
from stitchc.sheet.folding import Folded, Told, fold
from stitchc.sheet.instructions import edge_words
from stitchc.sheet.model import DoEntry, Entry, PassEntry, SectionEntry, Sheet
from stitchc.sheet.words import number

WIDTH: Final = 80
_CHART_MOST_NEEDLES: Final = 66
_CHART_MOST_ROWS: Final = 60


def to_text(sheet: Sheet, every_row: bool = False) -> str:
    """The whole sheet; ends with a line end. every_row: every row in full, where unsaid some refer to earlier ones."""
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
    first = next((entry.passed.row for entry in sheet.pass_entries()), 1)
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
    if every_row:
        for entry in sheet.entries:
            yield from _told((entry,))
    else:
        yield from _entries(sheet.entries)
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
        ("Carriage", f"at the {sheet.carriage} before row 1"),
        *sheet.facts,
    ]


def total_words(sheet: Sheet) -> str:
    """Rows and moves in all."""
    if sheet.total:
        return sheet.total
    return f"In all {number(sheet.rows, 'row')}, {number(sheet.moves, 'needle')} moved by hand."


def _charts(sheet: Sheet) -> Iterator[str]:
    for name, chart in sheet.charts.items():
        yield ""
        yield visible(f"The repeat of {name}: {chart.width} needles, {chart.height} rows; row 1 is knitted first.")
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
    stretches = _stretches(entries)
    signs = [tuple(sign(entry) for entry in stretch if isinstance(entry, PassEntry)) or None for stretch in stretches]
    for item in fold(signs):
        if isinstance(item, Told):
            yield from _told(stretches[item.index])
        else:
            yield from _folded(stretches, item)


def _stretches(entries: tuple[Entry, ...]) -> list[tuple[Entry, ...]]:
    """The entries, passes one after another with nothing to do and the same words put together."""
    stretches: list[list[Entry]] = []
    for entry in entries:
        before = stretches[-1][-1] if stretches else None
        idle = isinstance(entry, PassEntry) and all(step.kind == "rest" for step in entry.steps)
        if idle and isinstance(before, PassEntry) and isinstance(entry, PassEntry) and before.steps == entry.steps:
            stretches[-1].append(entry)
        else:
            stretches.append([entry])
    return [tuple(stretch) for stretch in stretches]


def sign(entry: PassEntry) -> Hashable:
    """What makes two passes the same to do, however their needles are put into words."""
    passed = entry.passed
    worded = tuple(step.text for step in entry.steps if step.kind not in ("yarn", "push", "bring"))
    kinds = tuple(step.kind for step in entry.steps)
    return (passed.direction, kinds, passed.yarn, passed.push_back, passed.bring_out, passed.held, worded)


def _told(stretch: tuple[Entry, ...]) -> Iterator[str]:
    entry = stretch[0]
    if isinstance(entry, SectionEntry):
        yield ""
        yield from textwrap.wrap(visible(entry.title), WIDTH)
        for detail in entry.details:
            yield from _hanging("  ", detail)
    elif isinstance(entry, DoEntry):
        yield ""
        yield from _hanging("    Do: ", entry.text)
        yield ""
    elif len(stretch) == 1:
        yield from _hanging(f"Row {entry.passed.row:>3}, {entry.passed.direction}. ", entry.words, indent=8)
    else:
        rows = f"Rows {entry.passed.row} to {entry.passed.row + len(stretch) - 1}"
        yield from _hanging(f"{rows}, {entry.passed.direction} first. ", entry.words, indent=8)


def _folded(stretches: list[tuple[Entry, ...]], item: Folded) -> Iterator[str]:
    def row(entry: Entry) -> int:
        assert isinstance(entry, PassEntry)
        return entry.passed.row

    first, last = row(stretches[item.first][0]), row(stretches[item.last][-1])
    like, like_last = row(stretches[item.like][0]), row(stretches[item.like_last][-1])
    count, period = last - first + 1, like_last - like + 1
    model = f"row {like}" if like == like_last else f"rows {like} to {like_last}"
    words = f"Rows {first} to {last}: as {model}"
    times, rest = divmod(count, period)
    if period == 1:
        words += f", {count} times."
    elif count > period:
        words += f", {times} times" if times > 1 else ""
        words += f", then as row{'' if rest == 1 else 's'} {like}" if rest else ""
        words += f" to {like + rest - 1}." if rest > 1 else "."
    else:
        words += "."
    yield from _hanging("", words, indent=8)


def _hanging(lead: str, text: str, indent: int | None = None) -> Iterator[str]:
    """The text wrapped after its lead, the further lines indented under where it begins."""
    further = " " * (len(lead) if indent is None else indent)
    paragraphs = textwrap.wrap(
        lead + visible(text), WIDTH, subsequent_indent=further, break_long_words=True, drop_whitespace=True
    )
    yield from paragraphs or [lead]

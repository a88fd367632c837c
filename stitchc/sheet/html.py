"""The sheet as one HTML file: on paper a table to tick off, on a screen a follower. It calls nothing from anywhere."""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Hashable, Mapping
from typing import TYPE_CHECKING, Any, Final

from stitchc.chart import KNIT, TUCK
from stitchc.markup import template
from stitchc.messages import visible
from stitchc.sheet.blocks import Block, Once, goes_on_idle, in_blocks
from stitchc.sheet.instructions import MAIN_YARN
from stitchc.sheet.model import DoEntry, PassEntry, SectionEntry, Sheet
from stitchc.sheet.strip import draw, marks
from stitchc.sheet.text import head, total_words

if TYPE_CHECKING:
    from stitchc.chart import Chart

_BOXES_BESIDE: Final = 14
"""Boxes that stand in one line under the words of a block's line; more take the whole width of the page."""

_DRAWN_MOST: Final = 48
"""Needles and rows up to which the repeat is drawn in the head; a larger one is not legible there."""


def to_html(sheet: Sheet, every_row: bool = False) -> str:
    """The whole page. The same sheet gives the same bytes.

    every_row: print a line for every row until the reader asks for less, where unsaid paper has each repeated stretch
    once with a box to tick for every row of it. The screen always has every row.
    """
    rows, symbols = _rows(sheet)
    content = "\n".join(str(sorted(row.items())) for row in rows)
    return template(__package__, "sheet.html.j2", "page").render(
        title=visible(sheet.title),
        subtitle=visible(sheet.subtitle) if sheet.subtitle != sheet.title else "",
        key=hashlib.sha256(f"{sheet.title}\n{sheet.machine.name}\n{content}".encode("utf-8", "replace")).hexdigest()[
            :16
        ],
        kind=visible(sheet.kind),
        more=[(heading, [visible(paragraph) for paragraph in paragraphs]) for heading, paragraphs in sheet.more],
        drawing=sheet.drawing,
        several=bool(sheet.heading),
        facts=[(label, visible(value)) for label, value in head(sheet)],
        needles=sheet.needles,
        first_row=sheet.first_row,
        first_side=sheet.first_side,
        notes=[visible(note) for note in sheet.notes],
        warnings=[visible(warning) for warning in sheet.warnings],
        cautions=sheet.cautions,
        habits=sheet.habits,
        before=[visible(step) for step in sheet.before],
        charts=[_chart(name, chart, sheet.carriage) for name, chart in sheet.charts.items()],
        rows=rows,
        paper=_paper(sheet, rows),
        every_row=every_row,
        symbols=symbols,
        total=total_words(sheet),
        row_count=sheet.rows,
        move_count=sheet.moves,
        by_hand=sheet.machine.reader == "none",
        has_strip=bool(symbols),
    )


def _rows(sheet: Sheet) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """What each line of the table shows, and the distinct bed strips, each drawn once."""
    rows: list[dict[str, Any]] = []
    symbols: list[dict[str, Any]] = []
    number_of: dict[Hashable, int] = {}
    for entry in sheet.entries:
        if isinstance(entry, DoEntry):
            rows.append({"kind": "do", "text": visible(entry.text)})
        elif isinstance(entry, SectionEntry):
            rows.append(
                {"kind": "section", "text": visible(entry.title), "details": [visible(d) for d in entry.details]}
            )
        else:
            rows.append(_pass_row(entry, sheet, number_of, symbols))
    return rows, symbols


def _pass_row(
    entry: PassEntry, sheet: Sheet, number_of: dict[Hashable, int], symbols: list[dict[str, Any]]
) -> dict[str, Any]:
    passed = entry.passed
    moved = (passed.held, passed.bring_out, passed.push_back)
    strip, again = None, False
    if passed.held or passed.moves:
        again = moved in number_of
        if not again:
            drawn = draw(sheet.needles, marks(sheet.needles, *moved))
            number_of[moved] = len(symbols)
            symbols.append({"markup": drawn.markup, "width": drawn.width, "height": drawn.height})
        strip = number_of[moved]
    return {
        "kind": "pass",
        "row": passed.row,
        "way": "l" if passed.direction == "right to left" else "r",
        "steps": [(step.kind, visible(step.text)) for step in entry.steps],
        "strip": strip,
        "again": again,
        "moves": passed.moves,
        "out": len(passed.held),
    }


def _paper(sheet: Sheet, rows: list[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    """The table as it is printed, or nothing where it would be no shorter, in groups: a block of lines is one by
    itself, the rows before, between and after blocks are as in the table.

    `ticks` of a line of a block are its row numbers, those of one time through together.
    """
    items = in_blocks(sheet.entries)
    if all(isinstance(item, Once) for item in items):
        return []
    groups: list[list[dict[str, Any]]] = []
    for once, together in itertools.groupby(items, lambda item: isinstance(item, Once)):
        if once:
            groups.append([rows[item.index] for item in together if isinstance(item, Once)])
        else:
            groups += [[_block(item, sheet, rows)] for item in together if isinstance(item, Block)]
    return groups


def _block(block: Block, sheet: Sheet, rows: list[dict[str, Any]]) -> dict[str, Any]:
    lines: list[dict[str, Any]] = []
    for line in block.lines(lambda index: goes_on_idle(sheet.entries, index)):
        ticks = [[rows[index]["row"] for index in once] for once in line.times]
        way = {"way": ""} if line.several else {}
        few = sum(map(len, ticks)) <= _BOXES_BESIDE
        lines.append({**rows[line.index], **way, "ticks": ticks, "few": few})
    first, last = rows[block.first]["row"], rows[block.last]["row"]
    heading = block.words(first, last) if len(lines) > 1 else f"Rows {first} to {last}, all the same"
    return {"kind": "block", "heading": heading, "lines": lines}


def _chart(name: str, chart: Chart, carriage: str) -> Mapping[str, Any]:
    """The repeat in the signs of squared paper, from the purl side: a ring knits, a dot tucks, an empty square slips.

    Those signs: Spencer, Knitting Technology, 3rd ed., p. 96 (a ring is a reverse stitch). Row numbers stand at the
    side from which the carriage comes.
    """
    size = 16
    if chart.width > _DRAWN_MOST or chart.height > _DRAWN_MOST:
        return {"name": visible(name), "width": chart.width, "height": chart.height, "markup": None}
    left = 34
    width, height = chart.width * size, chart.height * size
    grid = "".join(f"M{left + x * size} 0v{height}" for x in range(chart.width + 1))
    grid += "".join(f"M{left} {y * size}h{width}" for y in range(chart.height + 1))
    rings, dots, texts = [], [], []
    for row in range(chart.height):
        top = (chart.height - 1 - row) * size
        for column in range(chart.width):
            cell = int(chart.cells[row, column])
            x = left + column * size
            if cell == KNIT:
                rings.append(f"M{x + 3.5} {top + 8}a4.5 4.5 0 1 0 9 0a4.5 4.5 0 1 0 -9 0")
            elif cell == TUCK:
                dots.append(f'<circle cx="{x + 8}" cy="{top + 8}" r="4.5"/>')
        from_right = (row % 2 == 0) == (carriage == "right")
        if from_right:
            texts.append(f'<text x="{left + width + 4}" y="{top + 12}">{row + 1}</text>')
        else:
            texts.append(f'<text x="{left - 4}" y="{top + 12}" class="from-left">{row + 1}</text>')
    used = {int(code) for code in set(chart.cells.flat)}
    return {
        "name": visible(name),
        "width": chart.width,
        "height": chart.height,
        "markup": f'<path d="{grid}" class="g"/><path d="{"".join(rings)}" class="x"/>' + "".join([*dots, *texts]),
        "box": (2 * left + width, height),
        "yarns": _yarn_rows(chart),
        "used": used,
    }


def _yarn_rows(chart: Chart) -> list[tuple[str, str]]:
    """Which rows of the repeat are knitted with which yarn, where any names one: [("sand", "1, 2, 5, 6")]."""
    if not any(chart.yarns):
        return []
    of: dict[str, list[int]] = {}
    for row, yarn in enumerate(chart.yarns, start=1):
        of.setdefault(visible(yarn) if yarn is not None else MAIN_YARN, []).append(row)
    return [(yarn, _ranges(rows)) for yarn, rows in of.items()]


def _ranges(rows: list[int]) -> str:
    parts: list[str] = []
    start = previous = rows[0]
    for row in [*rows[1:], None]:
        if row is not None and row == previous + 1:
            previous = row
            continue
        parts.append(str(start) if start == previous else f"{start}-{previous}")
        if row is not None:
            start = previous = row
    return ", ".join(parts)

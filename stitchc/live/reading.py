"""What follows from a text at once: its messages, its stitches, and the chart of the one in view.

Values and JSON-ready dictionaries; nothing here waits for anything slow.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np

from stitchc.chart import SIGNS
from stitchc.gauge.gauges import PLAIN
from stitchc.gauge.yarn_lines import yarns_to_name
from stitchc.live.row_text import cells_by_run
from stitchc.live.words import PAGE, message_json
from stitchc.machines import Machine
from stitchc.messages import MOST_SHOWN, Message, in_order, visible
from stitchc.notation.compile import compile_as_far_as_it_goes
from stitchc.pattern import Pattern, Stitch
from stitchc.whole_check import check_file
from stitchc.wording import worded

_MOST_CELLS_POINTED_AT: Final = 40_000
_MOST_RUNS: Final = 4_000
_SIGNS: Final = np.frombuffer(SIGNS.encode(), np.uint8)
_NAMED_IN_LINE: Final = re.compile(r"\s*(?:gauge|knit)\s+(\S+)", re.IGNORECASE)
_STITCH: Final = re.compile(r"\s*stitch\s+([^\s=:]+)", re.IGNORECASE)
_WORD: Final = re.compile(r"[^\W\d_]+[0-9]*")


class Read(NamedTuple):
    """A text that was read. pattern: with every stitch that has no mistake; whole: there is no mistake at all."""

    pattern: Pattern | None
    whole: bool
    messages: Sequence[Message]
    lines: Sequence[str]


@worded(PAGE)
def read(text: str, file: str, folder: Path | None, machine: Machine | None, spread: float | None = None) -> Read:
    """The pattern, and all that `stitchc check` says of it: what is wrong, cannot be knitted or was mismeasured.

    spread: as of `check_file`.
    """
    reading, made = compile_as_far_as_it_goes(text, file, folder)
    lines, pattern = reading.sources.get(file, ()), reading.pattern
    if pattern is None:
        return Read(made, False, reading.messages, lines)
    messages = [*reading.messages, *check_file(pattern, machine, spread=spread)]
    return Read(pattern, True, in_order(messages), lines)


def stitch_in_view(pattern: Pattern, line: int, wanted: str = "") -> Stitch | None:
    """The stitch that the line is about: named in it, or written in or last above it. `wanted` goes first.

    None where that one has a mistake in it, so that it has no chart.
    """
    if wanted in pattern.stitches:
        return pattern.stitches[wanted]
    lines = pattern.sources.get(pattern.file, ())
    text = lines[line - 1] if 0 < line <= len(lines) else ""
    statement = _NAMED_IN_LINE.match(text)
    if statement and statement[1] in pattern.stitches:
        return pattern.stitches[statement[1]]
    heads = (
        (number, head[1])
        for number in range(min(line, len(lines)), 0, -1)
        if (head := _STITCH.match(lines[number - 1]))
    )
    above = next(heads, None)
    if above is None:
        return next(iter(pattern.wanted() or pattern.stitches.values()), None)
    return next((each for each in pattern.own() if each.span.file == pattern.file and each.span.line == above[0]), None)


def as_json(result: Read, file: str, line: int, wanted: str = "", row: int = 1, column: int = 1) -> dict[str, Any]:
    """What the page shows of a reading. row, column: the part of a large chart that is in view.

    A mistake elsewhere in the text does not hide the chart: `whole` says whether there is any.
    """
    pattern = result.pattern
    stitch = stitch_in_view(pattern, line, wanted) if pattern is not None and pattern.stitches else None
    shown = result.messages[:MOST_SHOWN]
    document: dict[str, Any] = {
        "messages": [_message_json(message, file, result.lines) for message in shown],
        "more_messages": len(result.messages) - len(shown),
        "pattern": None,
    }
    if pattern is not None and stitch is not None:
        document["pattern"] = {
            "whole": result.whole,
            "title": pattern.title,
            "stitches": [
                {
                    "name": each.name,
                    "width": each.chart.width,
                    "height": each.chart.height,
                    "has_ladders": bool(each.chart.out),
                    "line": each.span.line if each.span.file == file else None,
                }
                for each in pattern.stitches.values()
            ],
            "swatch_yarns": yarns_to_name(pattern),
            "yarns": {name: yarn.colour for name, yarn in pattern.yarns.items()},
            "has_plain": any(swatch.stitch == PLAIN for swatch in pattern.swatches),
            "chart": chart_json(stitch, file, row, column),
        }
    return document


def _message_json(message: Message, file: str, lines: Sequence[str]) -> dict[str, Any]:
    document = message_json(message) | {"letter": None}
    span = message.span
    if span is not None and span.file != file:
        document |= {"line": None, "elsewhere": f"{visible(span.file)}, line {span.line}", "fix": None}
    elif span is not None and message.code == "N102" and message.fix is None and span.line <= len(lines):
        document["letter"] = _foreign_letter(lines[span.line - 1], span.column - 1)
    return document


def _foreign_letter(line: str, start: int) -> str | None:
    """The letter that stands where K, T or S should, if there is but one in the word at `start`."""
    word = _WORD.match(line, start)
    letters = set(re.sub(r"[KTS0-9]", "", word[0].upper())) if word else set()
    return letters.pop() if len(letters) == 1 and not letters & {"X"} else None


def chart_json(stitch: Stitch, file: str, row: int, column: int) -> dict[str, Any]:
    """A chart, or of a large one the part around the cell; first_row and first_column count from 1."""
    chart = stitch.chart
    rows, columns = _part(chart.height, chart.width, row, column)
    part = chart.cells[rows.start : rows.stop, columns.start : columns.stop]
    spans = stitch.row_spans or ()
    here = bool(spans) and stitch.span.file == file
    return {
        "name": stitch.name,
        "width": chart.width,
        "height": chart.height,
        "first_row": rows.start + 1,
        "first_column": columns.start + 1,
        "rows": [row.tobytes().decode() for row in _SIGNS[part]],
        "yarns": list(chart.yarns[rows.start : rows.stop]),
        "written_here": here,
        "built": not spans,
        "file": stitch.span.file,
    }


MOST_ROWS: Final = 120
MOST_COLUMNS: Final = 80


def _part(height: int, width: int, row: int, column: int) -> tuple[range, range]:
    def window(size: int, most: int, place: int) -> range:
        first = max(0, min(place - 1 - most // 2, size - most))
        return range(first, min(size, first + most))

    return window(height, MOST_ROWS, row), window(width, MOST_COLUMNS, column)


def runs_json(pattern: Pattern, stitch: Stitch, row: int) -> list[dict[str, Any]]:
    """Where each run of the rows in view stands in the text, with the rows and needles (from 1) that it gives.

    Nothing for a stitch that is built, in another file, or too large to be pointed at run by run.
    """
    chart, spans = stitch.chart, stitch.row_spans or ()
    if not spans or stitch.span.file != pattern.file or chart.width * chart.height > _MOST_CELLS_POINTED_AT:
        return []
    lines, letters = pattern.sources[pattern.file], chart.rows()
    places: dict[tuple[int, int, int], list[int]] = {}
    for number in _part(chart.height, chart.width, row, 1)[0]:
        span = spans[number]
        places.setdefault((span.line, span.column, span.length), []).append(number + 1)
    runs: list[dict[str, Any]] = []
    for (line, column, length), numbers in places.items():
        in_work = [place for place, letter in enumerate(letters[numbers[0] - 1], start=1) if letter != "-"]
        cells_of_runs = cells_by_run(lines[line - 1][column - 1 : column - 1 + length])
        width = sum(len(cells) for _, _, cells in cells_of_runs)
        for start, end, cells in cells_of_runs:
            each = _repeated(cells, width, in_work)
            runs.append({"line": line, "column": column + start, "length": end - start, "rows": numbers, "cells": each})
        if len(runs) > _MOST_RUNS:
            return []
    return runs


def _repeated(cells: Iterable[int], width: int, in_work: Sequence[int]) -> list[int]:
    """Needles (from 1) of the cells, the row repeated over the needles in work."""
    return [in_work[place] for cell in cells for place in range(cell, len(in_work), width)]

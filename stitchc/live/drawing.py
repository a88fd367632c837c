"""What is drawn on the chart, written back into the text: one cell of a stitch that is written row by row.

The text that comes out is compiled before it is handed back: it means what it meant but for that cell.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np

from stitchc.chart import LETTERS, Chart
from stitchc.live.row_text import with_cell
from stitchc.notation.compile import compile_as_far_as_it_goes
from stitchc.notation.writer import row_text
from stitchc.pattern import Pattern, Stitch

_HEAD: Final = re.compile(r"(\s*)([0-9][0-9\s,–-]*?)(\s+in\s+\S+?)?\s*:\s*$", re.IGNORECASE)
_RANGE: Final = re.compile(r"([0-9]+)\s*(?:[-–]\s*([0-9]+))?")


class CannotDraw(Exception):
    """The cell can't be changed in this text; the words say why and where it can."""


class Drawn(NamedTuple):
    """The new text, and the line that the changed row now stands in (from 1)."""

    text: str
    line: int


def draw_cell(text: str, file: str, folder: Path | None, name: str, row: int, column: int, letter: str) -> Drawn:
    """The text with one cell of the stitch changed. row, column: from 1. Raises CannotDraw."""
    pattern = compile_as_far_as_it_goes(text, file, folder)[1]
    stitch = pattern.stitches.get(name) if pattern else None
    if pattern is None or stitch is None:
        raise CannotDraw("This stitch has a mistake in it. Fix it first; then you can draw on its chart.")
    _refuse_what_is_written_elsewhere(stitch, file)
    assert stitch.row_spans is not None
    if not (1 <= row <= stitch.chart.height and 1 <= column <= stitch.chart.width):
        raise CannotDraw("The chart has no such cell any more.")
    wanted = _with(stitch.chart, row, column, letter)
    if wanted is None:
        raise CannotDraw(f"Needle {column} is out of work in this stitch. Change its `out` line in the text.")
    span = stitch.row_spans[row - 1]
    if wanted == stitch.chart:
        return Drawn(text, span.line)
    lines = text.split("\n")
    line = lines[span.line - 1]
    written = line[span.column - 1 : span.column - 1 + span.length]
    in_work = [number for number in range(stitch.chart.width) if stitch.chart.rows()[row - 1][number] in LETTERS]
    own = with_cell(written, len(in_work), in_work.index(column - 1), letter)
    canonical = row_text(wanted.cells[row - 1][in_work])
    lines_of_rows = {each.line: each.column for each in stitch.row_spans}
    aligned = len(lines_of_rows) > 1 and len(set(lines_of_rows.values())) == 1
    shorter = len(canonical) < len(own) and re.search(r"[0-9(]", written) is not None
    for cells in dict.fromkeys((canonical, own) if shorter else (own, canonical)):
        new, offset = _with_row(line, span.column - 1, len(written), row, cells, aligned)
        drawn = "\n".join([*lines[: span.line - 1], *new, *lines[span.line :]])
        again = compile_as_far_as_it_goes(drawn, file, folder)[1]
        if again is not None and _same_but_for(pattern, again, name, wanted):
            return Drawn(drawn, span.line + offset)
    raise CannotDraw("This row can't be changed from the chart. Change it in the text.")


def _refuse_what_is_written_elsewhere(stitch: Stitch, file: str) -> None:
    if stitch.span.file != file:
        raise CannotDraw(f"`{stitch.name}` is written in `{stitch.span.file}`. Open that file to change it.")
    if stitch.row_spans is None:
        raise CannotDraw(f"`{stitch.name}` is built from other stitches. Change the stitch that this cell comes from.")


def _with(chart: Chart, row: int, column: int, letter: str) -> Chart | None:
    cells = np.array(chart.cells)
    if cells[row - 1, column - 1] >= len(LETTERS):
        return None
    cells[row - 1, column - 1] = LETTERS.index(letter)
    return Chart(cells, chart.yarns)


def _same_but_for(before: Pattern, after: Pattern, name: str, wanted: Chart) -> bool:
    """Whether the stitch is as wanted and all others that are written row by row are as they were."""
    return after.stitches.keys() == before.stitches.keys() and all(
        stitch.chart == (wanted if key == name else before.stitches[key].chart)
        for key, stitch in after.stitches.items()
        if stitch.row_spans is not None
    )


def _with_row(line: str, start: int, length: int, row: int, cells: str, aligned: bool) -> tuple[list[str], int]:
    """The line's rows with one of them become `cells`: the lines that say so, and which of them is that row's.

    A line that gives several rows is split: a single range into what comes before and after, a list of rows into the
    others and this one. aligned: the colons of the stitch stand below each other.
    """
    head = _HEAD.match(line[:start])
    rest = line[start + length :]
    if head is None:
        raise CannotDraw("This row can't be changed from the chart. Change it in the text.")
    indent, numbers, yarn = head[1], head[2], head[3] or ""
    ranges = [(int(first), int(last or first)) for first, last in _RANGE.findall(numbers)]
    if ranges == [(row, row)]:
        return [line[:start] + cells + rest], 0
    before = [(first, min(last, row - 1)) for first, last in ranges if first < row]
    after = [(max(first, row + 1), last) for first, last in ranges if last > row]
    pieces = [before, [(row, row)], after] if len(ranges) == 1 else [before + after, [(row, row)]]
    if len(ranges) > 1 and not before:
        pieces.reverse()
    wide = len(indent) + len(numbers) + len(yarn)
    out: list[str] = []
    offset = 0
    written = line[start : start + length].rstrip()
    for piece in filter(None, pieces):
        mine = piece == [(row, row)]
        if mine:
            offset = len(out)
        label = f"{_ranges_written(piece)}{yarn}"
        out.append(
            f"{label.rjust(wide) if aligned else indent + label}: {cells if mine else written}{rest if not out else ''}"
        )
    return out, offset


def _ranges_written(ranges: Iterable[tuple[int, int]]) -> str:
    return ", ".join(f"{first}" if first == last else f"{first}-{last}" for first, last in ranges)

"""The repeat of a stitch drawn for the head of a document: squared paper for the eye, letters for text.

In the signs of squared paper, from the purl side: a ring (a reverse stitch) knits, a dot tucks, an empty square slips.
Those signs: Spencer, Knitting Technology, 3rd ed., p. 96, and the pages "Knitting notations" and "The float stitch".
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Final

from stitchc.chart import KNIT, OUT, SLIP, TUCK
from stitchc.document import Block, Dots, Drawing, Label, Path
from stitchc.english import number, ranges
from stitchc.sheet.terms import MAIN_YARN

if TYPE_CHECKING:
    from stitchc.chart import Chart

MOST_DRAWN: Final = 48
"""Needles and rows up to which the repeat is drawn; a larger one is not legible in a head."""

_SQUARE: Final = 16
_MARGIN: Final = 34


def draw_repeat(name: str, chart: Chart, carriage: str, otherwise: str = "Run `stitchc chart` to draw it.") -> Block:
    """The drawing, or a sentence where the repeat is too large, with where it is to be seen otherwise. Row numbers
    stand at the side from which the carriage comes."""
    size = f"{number(chart.width, 'needle')} by {number(chart.height, 'row')}"
    if chart.width > MOST_DRAWN or chart.height > MOST_DRAWN:
        return f"The repeat of {name}, {size}, is too large to show here. {otherwise}"
    width, height = chart.width * _SQUARE, chart.height * _SQUARE
    upright = [_MARGIN + x * _SQUARE for x in range(chart.width + 1)]
    grid: list[tuple[tuple[float, float], ...]] = [((x, 0), (x, height)) for x in upright]
    grid += [((_MARGIN, y * _SQUARE), (_MARGIN + width, y * _SQUARE)) for y in range(chart.height + 1)]
    centres: dict[int, list[tuple[float, float]]] = {KNIT: [], TUCK: [], SLIP: [], OUT: []}
    labels: list[Label] = []
    for row in range(chart.height):
        top = (chart.height - 1 - row) * _SQUARE
        for column in range(chart.width):
            centres[int(chart.cells[row, column])].append((_MARGIN + (column + 0.5) * _SQUARE, top + 0.5 * _SQUARE))
        if (row % 2 == 0) == (carriage == "right"):
            labels.append(Label(_MARGIN + width + 4, top + 12, str(row + 1), "start", 12))
        else:
            labels.append(Label(_MARGIN - 4, top + 12, str(row + 1), "end", 12))
    dashes = [((x - 3, y), (x + 3, y)) for x, y in centres[OUT]]
    signs = {KNIT: "○ knits.", TUCK: "● tucks.", SLIP: "An empty square slips.", OUT: "– out of work."}
    caption = [f"The repeat of {name}: {size}; row 1 is knitted first. As you face the bed."]
    caption += [words for cell, words in signs.items() if centres[cell]]
    caption += [f"{'Row' if rows.isdigit() else 'Rows'} {rows}: {yarn}." for yarn, rows in _yarn_rows(chart)]
    return Drawing(
        (
            Path((*grid, *dashes), "thin"),
            Dots(tuple(centres[KNIT]), 4.5, "soft"),
            Dots(tuple(centres[TUCK]), 4.5),
            *labels,
        ),
        2 * _MARGIN + width,
        height + 2,
        1 / 3.4,
        f"The repeat of {name}, {size}",
        " ".join(caption),
        tuple(_as_text(name, chart, size)),
    )


def letters_used(rows: Iterable[str]) -> str:
    """What the letters of rows mean: "K knits, S slips"."""
    legend = {"K": "K knits", "T": "T tucks", "S": "S slips", "-": "- is out of work"}
    used = set("".join(rows))
    return ", ".join(words for letter, words in legend.items() if letter in used)


def _as_text(name: str, chart: Chart, size: str) -> Iterator[str]:
    rows = chart.rows()
    yield f"The repeat of {name}: {size}; row 1 is knitted first."
    yield f"Left to right as you face the bed; {letters_used(rows)}."
    for row in range(chart.height, 0, -1):
        yarn = chart.yarns[row - 1]
        yield f"  {row:>4}  {rows[row - 1]}{f'   in {yarn}' if yarn else ''}"


def _yarn_rows(chart: Chart) -> list[tuple[str, str]]:
    """Which rows of the repeat are knitted with which yarn, where any names one: [("sand", "1, 2, 5, 6")]."""
    if not any(chart.yarns):
        return []
    rows_of: dict[str, list[int]] = {}
    for row, yarn in enumerate(chart.yarns, start=1):
        rows_of.setdefault(yarn if yarn is not None else MAIN_YARN, []).append(row)
    return [(yarn, ranges(rows)) for yarn, rows in rows_of.items()]

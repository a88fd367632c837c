"""Which columns and rows of a chart stand on which page, and where their cells and the lines between them lie.

Knows counts and millimetres; nothing of what is in the cells or of what stands around the grid.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from stitchc.page import Item, Line

_LEAST_CELL_MM: Final = 3.0
"""Signs are told apart at arm's length down to this side of a cell."""
_MOST_CELL_MM: Final = 6.0
_MOST_PAGED_CELL_MM: Final = 8.0

_CELL_LINE: Final = "#909090"
FIFTH_LINE: Final = "#6e6e6e"


@dataclass(frozen=True)
class Part:
    """The columns and rows of the shown chart that stand on one page, counted from 0, last not included.

    Columns count from the left of the page, whichever face is seen.
    """

    first_column: int
    last_column: int
    first_row: int
    last_row: int

    @property
    def columns(self) -> int:
        return self.last_column - self.first_column

    @property
    def rows(self) -> int:
        return self.last_row - self.first_row


@dataclass(frozen=True)
class Grid:
    """Where the cells of a page's part lie."""

    left_mm: float
    top_mm: float
    cell_mm: float
    part: Part

    def corner(self, column: int, row: int) -> tuple[float, float]:
        """The upper left corner of a cell; rows count upward."""
        return (
            self.left_mm + (column - self.part.first_column) * self.cell_mm,
            self.top_mm + (self.part.last_row - 1 - row) * self.cell_mm,
        )

    def lines(self) -> Iterator[Item]:
        """The lines between the cells, each fifth and the outermost darker, over the others."""
        part, cell = self.part, self.cell_mm
        right, bottom = self.left_mm + part.columns * cell, self.top_mm + part.rows * cell
        for fifth in (False, True):
            for column in range(part.first_column, part.last_column + 1):
                x = self.left_mm + (column - part.first_column) * cell
                if _is_fifth(column, part.first_column, part.last_column) == fifth:
                    yield Line(x, self.top_mm, x, bottom, *_grid_line(fifth))
            for row in range(part.first_row, part.last_row + 1):
                y = bottom - (row - part.first_row) * cell
                if _is_fifth(row, part.first_row, part.last_row) == fifth:
                    yield Line(self.left_mm, y, right, y, *_grid_line(fifth))


def _is_fifth(number: int, first: int, last: int) -> bool:
    return number % 5 == 0 or number in (first, last)


def _grid_line(fifth: bool) -> tuple[float, str]:
    return (0.25, FIFTH_LINE) if fifth else (0.18, _CELL_LINE)


def fitting_cell(room_mm: float, cells: int) -> float:
    """The largest legible side of a cell at which so many go into the room; the least legible where none does."""
    return min(_MOST_CELL_MM, max(_LEAST_CELL_MM, math.floor(room_mm / cells * 10) / 10))


def page_parts(columns: int, rows: int, most_columns: int, most_rows: int) -> Iterator[Part]:
    """The pages' shares of a chart: as even as can be, broken at whole fives, the lowest rows first."""
    xs, ys = _shares(columns, max(1, most_columns)), _shares(rows, max(1, most_rows))
    for low, high in ys:
        for first, last in xs:
            yield Part(first, last, low, high)


def _shares(size: int, most: int) -> list[tuple[int, int]]:
    """As few shares as can be, about equal, all but the last a whole number of fives where that costs no page."""
    count = math.ceil(size / most)
    step = math.ceil(size / count)
    fives = math.ceil(step / 5) * 5
    if fives <= most:
        step = fives
    return [(start, min(start + step, size)) for start in range(0, size, step)]


def paged_cell(columns: int, rows: int, room_x: float, room_y: float) -> float:
    """The largest cell, of those that are legible, that needs the fewest pages."""

    def pages(tenths: int) -> int:
        return math.ceil(columns / (room_x * 10 // tenths)) * math.ceil(rows / (room_y * 10 // tenths))

    sizes = range(round(_LEAST_CELL_MM * 10), round(_MOST_PAGED_CELL_MM * 10) + 1)
    return min(sizes, key=lambda tenths: (pages(tenths), -tenths)) / 10

"""Where a drawn chart's grid lies on its page, and how that is written into a picture file for tracing.

Says nothing of what the cells are: those are read from the picture. Knows no pixels.
"""

from __future__ import annotations

import re
from typing import Final, NamedTuple

from stitchc.drawn.symbols import NOTATIONS, Face, Notation


class Place(NamedTuple):
    """A grid of square cells on a page: its upper left corner and the side of a cell in mm, and what it is a part of.

    first: column and row, from 0 at the lower left, of its first cell in all that is shown; shown: columns and rows of
    that; repeat: columns and rows that are outlined.
    """

    left_mm: float
    top_mm: float
    cell_mm: float
    columns: int
    rows: int
    first: tuple[int, int]
    shown: tuple[int, int]
    repeat: tuple[int, int]
    notation: Notation
    face: Face

    def written(self) -> dict[str, str]:
        """The words of a PNG's text chunks, by keyword."""
        (column, row), (width, height), (repeat_width, repeat_height) = self.first, self.shown, self.repeat
        grid = (
            f"{self.columns}x{self.rows} cells of {self.cell_mm:.9f} mm at {self.left_mm:.9f},{self.top_mm:.9f} mm, "
            f"from {column},{row} of {width}x{height}, repeat {repeat_width}x{repeat_height}, {self.notation} signs"
        )
        return {"Face": self.face, "Grid": grid}


_SIZE: Final = r"([0-9]{1,6})x([0-9]{1,6})"
_MM: Final = r"([0-9]{1,6}\.[0-9]{9})"
_GRID: Final = re.compile(
    rf"{_SIZE} cells of {_MM} mm at {_MM},{_MM} mm, from ([0-9]{{1,6}}),([0-9]{{1,6}}) of {_SIZE}, repeat {_SIZE}, "
    rf"({'|'.join(NOTATIONS)}) signs"
)


def face_told(words: dict[str, str]) -> Face | None:
    """The side of the fabric that a picture file says it shows, or None."""
    match words.get("Face"):
        case "purl":
            return "purl"
        case "knit":
            return "knit"
    return None


def place_told(words: dict[str, str]) -> Place | None:
    """The grid that a picture file says it has, or None where it says none that could be."""
    match, face = _GRID.fullmatch(words.get("Grid", "")), face_told(words)
    if match is None or face is None:
        return None
    columns, rows, column, row, width, height, repeat_width, repeat_height = (
        int(match[at]) for at in (1, 2, 6, 7, 8, 9, 10, 11)
    )
    cell, left, top = (float(match[at]) for at in (3, 4, 5))
    whole = 0 < columns <= width - column and 0 < rows <= height - row
    if not whole or not 0 < repeat_width <= width or not 0 < repeat_height <= height or cell <= 0:
        return None
    notation = next(name for name in NOTATIONS if name == match[12])
    sizes = (column, row), (width, height), (repeat_width, repeat_height)
    return Place(left, top, cell, columns, rows, *sizes, notation, face)

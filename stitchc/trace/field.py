"""The field of cells that was found in a picture, and where each of them lies in the picture as it was given."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Final

from PIL import Image

from stitchc.messages import Message
from stitchc.trace.grid import Lattice
from stitchc.trace.picture import Pixels
from stitchc.trace.pixels import Blocks
from stitchc.trace.several import Box
from stitchc.trace.straight import Straight

_CUT_PX: Final = 48
_AROUND: Final = 0.1
"""How much of the cells beside it a cut shows, of a cell."""


@dataclass(frozen=True)
class Field:
    """Cells that were found: by a lattice in a straightened picture, or as blocks of equal pixels.

    charts: where the charts of the picture lie, if there are several; offset_px: where the left and top of the part
    lie that was looked at; outlined: whether a heavier line goes round the cells.
    """

    rows: int
    columns: int
    pixels: Pixels
    lattice: Lattice | None
    blocks: Blocks | None
    how: str
    messages: tuple[Message, ...] = ()
    straight: Straight | None = None
    charts: tuple[Box, ...] = ()
    offset_px: tuple[int, int] = (0, 0)
    outlined: bool = False

    @property
    def turned_deg(self) -> float:
        """Clockwise, how far the picture was turned."""
        return 0.0 if self.straight is None else self.straight.turned_deg

    def cut_out(self, row: int, column: int) -> bytes:
        """One cell, from 0 at the upper left, as a small PNG."""
        left, top, right, bottom = column, row, column + 1, row + 1
        if self.lattice is not None:
            across, down = self.lattice.across, self.lattice.down
            left, right = round(across.at(column - _AROUND)), round(across.at(column + 1 + _AROUND)) + 1
            top, bottom = round(down.at(row - _AROUND)), round(down.at(row + 1 + _AROUND)) + 1
        cell = Image.fromarray(self.pixels[max(top, 0) : bottom, max(left, 0) : right])
        scale = _CUT_PX / max(cell.size)
        smooth = Image.Resampling.LANCZOS if scale < 1 else Image.Resampling.NEAREST
        out = io.BytesIO()
        cell.resize((max(1, round(cell.width * scale)), max(1, round(cell.height * scale))), smooth).save(out, "PNG")
        return out.getvalue()


@dataclass(frozen=True)
class Places:
    """From a cell, in knitting order, to its place in the picture as it was given."""

    field: Field
    offset_px: tuple[int, int]
    smaller: int
    below: bool
    right: bool

    def picture(self, across: float, down: float) -> tuple[float, float]:
        """The place so many columns and rows from the grid's upper left corner."""
        lattice, blocks = self.field.lattice, self.field.blocks
        if lattice is not None:
            x, y = lattice.across.at(across), lattice.down.at(down)
            if self.field.straight is not None:
                x, y = self.field.straight.given(x, y)
        else:
            assert blocks is not None
            x, y = blocks.left_px + across * blocks.block_px[0], blocks.top_px + down * blocks.block_px[1]
        return self._given(x, y)

    def _given(self, x: float, y: float) -> tuple[float, float]:
        """A place of the part that was looked at in the picture as given."""
        left, top = (mine + its for mine, its in zip(self.offset_px, self.field.offset_px, strict=True))
        return (x + left) * self.smaller, (y + top) * self.smaller

    def box(self, box: Box, room_px: int) -> tuple[int, int, int, int]:
        """A part of the straight picture and so many pixels around it: left, top, right and bottom as given."""
        left, top, right, bottom = box
        corners = [(x, y) for x in (left - room_px, right + room_px) for y in (top - room_px, bottom + room_px)]
        if self.field.straight is not None:
            corners = [self.field.straight.given(x, y) for x, y in corners]
        xs, ys = zip(*corners, strict=True)
        begin, end = (min(xs), min(ys)), (max(xs), max(ys))
        (x0, y0), (x1, y1) = ((round(x), round(y)) for x, y in (self._given(*begin), self._given(*end)))
        return max(0, x0), max(0, y0), x1 + 1, y1 + 1

    def cell(self, row: int, column: int) -> tuple[float, float]:
        """The middle of a cell, counted from 0 in knitting order."""
        down = self.field.rows - 1 - row if self.below else row
        across = self.field.columns - 1 - column if self.right else column
        return self.picture(across + 0.5, down + 0.5)

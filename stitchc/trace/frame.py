"""Rows and columns around a chart that are its page, told by the colours that the user names for its cells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.trace import words
from stitchc.trace.field import Field
from stitchc.trace.grid import Side
from stitchc.trace.traced import Rgb, hex_of

_SAME: Final = 12
"""How much, of 255, the cells of one row or column of the page differ."""
_UNLIKE: Final = 20.0
"""How far, of 441, the page is from each colour that was named, at least; and twice as far as the chart's cells."""
_NEARLY_ALL: Final = 95


def without_frame(field: Field, colours: Sequence[Rgb]) -> Field:
    """The field without the rows and columns at its sides whose cells all have one colour that is none of the colours
    named; the field as it is where other cells have such colours as well."""
    seen = _middles(field).astype(np.int16)
    away = np.min([np.linalg.norm(seen - colour, axis=2) for colour in colours], axis=0)
    left, top, right, bottom = 0, 0, field.columns, field.rows
    page = seen[0, 0]
    is_page = (np.abs(seen - page).max(axis=2) <= _SAME) & (away > _UNLIKE)
    while top < bottom - 1 and is_page[top, left:right].all():
        top += 1
    while bottom - 1 > top and is_page[bottom - 1, left:right].all():
        bottom -= 1
    while left < right - 1 and is_page[top:bottom, left].all():
        left += 1
    while right - 1 > left and is_page[top:bottom, right - 1].all():
        right -= 1
    columns, rows = right - left, bottom - top
    inside = away[top:bottom, left:right]
    if (columns, rows) == (field.columns, field.rows) or np.percentile(inside, _NEARLY_ALL) > away[0, 0] / 2:
        return field
    gone: dict[Side, int] = {"left": left, "top": top, "right": field.columns - right, "bottom": field.rows - bottom}
    red, green, blue = page.tolist()
    message = words.page_around(hex_of((red, green, blue)), [side for side in gone if gone[side]], columns, rows)
    if field.lattice is not None:
        lattice = field.lattice
        across, down = lattice.across.part(left, right), lattice.down.part(top, bottom)
        open_sides = tuple(side for side in lattice.open if not gone[side])
        lattice = replace(lattice, across=across, down=down, open=open_sides, beyond=(), rival=None)
        kept = () if not open_sides else field.messages
        return replace(field, rows=rows, columns=columns, lattice=lattice, messages=(*kept, message))
    assert field.blocks is not None
    cells = field.pixels[top:bottom, left:right]
    width, height = field.blocks.block_px
    blocks = replace(
        field.blocks,
        cells=cells,
        left_px=round(field.blocks.left_px + left * width),
        top_px=round(field.blocks.top_px + top * height),
    )
    return replace(field, rows=rows, columns=columns, pixels=cells, blocks=blocks, messages=(message,))


def _middles(field: Field) -> npt.NDArray[np.uint8]:
    """The colour in the middle of each cell: (rows, columns, 3)."""
    if field.lattice is None:
        return field.pixels
    places = []
    for axis, size in ((field.lattice.down, field.pixels.shape[0]), (field.lattice.across, field.pixels.shape[1])):
        places.append(np.clip(np.round((axis.lines[:-1] + axis.lines[1:]) / 2).astype(int), 0, size - 1))
    return field.pixels[np.ix_(*places)]

"""Rows and columns around a chart that are none of its own: its page, told by the colours that the user names for its
cells, and the numbers and letters of a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.messages import Message
from stitchc.trace import words
from stitchc.trace.cells import Patches, sampled
from stitchc.trace.field import Field
from stitchc.trace.grid import Side
from stitchc.trace.kinds import unlikeness
from stitchc.trace.picture import full_light, median_colour, rim_of
from stitchc.trace.traced import Rgb, hex_of

Samples = Patches
"""Cells as the samples of their insides, flat."""
Box = tuple[int, int, int, int]
"""Left, top, right and bottom, in cells; the last two are not counted."""

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
    sides = _sides((left, top, right, bottom), field)
    return _part(field, (left, top, right, bottom), words.page_around(hex_of(_rgb(page)), sides, columns, rows))


_DEEPEST: Final = 2
"""Rows or columns of headings that a table may have at each side."""
_LEAST: Final = 3
"""Rows and columns of a chart, at least."""
_STRANGE: Final = 0.04
_STRANGER: Final = 3.0
"""How far, of 1, a heading is from the chart's cells at least, and how many times as far as these are from their own
kind."""
_ALL: Final = {False: 0.85, True: 0.75}
"""The part of the cells of a heading that are none of the chart's, of signs without lines (True) and others."""
_DIVERSE: Final = {1: 0.02, 2: 0.03}
"""How far headings so wide are from the usual one among them, at least: they are not the same twice."""


def without_headings(field: Field, framed: bool = False) -> Field:
    """The field without the rows and columns at its sides that hold numbers or letters, as those of a spreadsheet do:
    nearly none of their cells is like any of the chart's, and they are not alike. Nor with those that are page, where
    no line closes the chart. framed: nor with those whose cells are all alike, as in a frame of signs."""
    assert field.lattice is not None
    signs = field.lattice.signs
    cells = sampled(field.pixels, field.lattice)
    cells = cells.reshape(*cells.shape[:2], -1)
    page = np.tile(median_colour(rim_of(field.pixels)) / full_light(field.pixels), cells.shape[2] // 3).astype(
        np.float32
    )
    left, top, right, bottom = 0, 0, field.columns, field.rows
    widest = 1 if signs else _WIDEST
    for _ in range(_DEEPEST):
        inner = cells[top + 1 : bottom - 1, left + _WIDEST : right - _WIDEST]
        if min(inner.shape[:2]) < _LEAST:
            break
        kinds, limit = _kinds(inner)
        framed = framed and len(kinds) > 1
        strange = _away_from(cells[top:bottom, left:right], kinds) > limit
        here = cells[top:bottom, left:right]
        is_page = _away_from(cells[top:bottom, left:right], page[None]) < _STRANGE
        open_sides = field.lattice.open
        above, below, before, behind = (
            int(side in open_sides and bool((strange & is_page).swapaxes(0, axis)[::step][0].all()))
            or _headings(strange.swapaxes(0, axis)[::step], here.swapaxes(0, axis)[::step], widest, _ALL[signs], framed)
            for axis, step, side in ((0, 1, "top"), (0, -1, "bottom"), (1, 1, "left"), (1, -1, "right"))
        )
        if not (above or below or before or behind):
            break
        left, top, right, bottom = left + before, top + above, right - behind, bottom - below
    box = left, top, right, bottom
    sides = _sides(box, field)
    return _part(field, box, words.headings(sides, right - left, bottom - top)) if sides else field


def _kinds(cells: Samples) -> tuple[Samples, float]:
    """Looks of the cells, a few of each kind, and how far from them what is none of these is at least."""
    flat = cells.reshape(-1, cells.shape[2])
    flat = flat[:: max(1, len(flat) // _COMPARED)]
    chosen = [int(np.abs(flat - np.median(flat, axis=0)).mean(axis=1).argmin())]
    nearest = unlikeness(flat, flat[chosen])[:, 0]
    while len(chosen) < _MOST_KINDS and nearest.max() > _STRANGE:
        chosen.append(int(nearest.argmax()))
        nearest = np.minimum(nearest, unlikeness(flat, flat[chosen[-1:]])[:, 0])
    return flat[chosen], max(_STRANGE, _STRANGER * float(np.percentile(nearest, 90)))


_COMPARED: Final = 4000
_MOST_KINDS: Final = 12


_WIDEST: Final = 2
_HALF: Final = 0.5
_PARTLY: Final = 0.4
"""Cells that a heading may be wide, where the column of row numbers is wider than the others; then the part of the rows
in which a number is seen, since some stand between the cells, and the least part of each column."""


def _headings(strange: npt.NDArray[np.bool_], cells: Samples, widest: int, most: float, framed: bool) -> int:
    """How many of the first lines of cells hold headings together, at most the widest that there may be: 0 where none
    does. strange: which of the cells are none of the chart's kinds; most: the part of them in a heading that are;
    framed: whether they may be all alike."""
    for count in range(widest, 0, -1):
        odd = strange[:count].any(axis=0)
        least = most if count == 1 else _HALF
        if odd.mean() < least or strange[:count].mean(axis=1).min() < _PARTLY:
            continue
        looks = cells[:count, odd].swapaxes(0, 1).reshape(int(odd.sum()), count * cells.shape[2])
        if framed or np.median(unlikeness(looks, np.median(looks, axis=0)[None])) > _DIVERSE[count]:
            return count
    return 0


def _away_from(cells: Samples, kinds: Samples) -> npt.NDArray[np.float64]:
    """How far each cell is from the kind that it is most like: (rows, columns)."""
    flat = cells.reshape(-1, cells.shape[2])
    return np.asarray(unlikeness(flat, kinds).min(axis=1).reshape(cells.shape[:2]), dtype=np.float64)


def _sides(box: Box, field: Field) -> list[Side]:
    """The sides at which cells are left out of a box: left, top, right and bottom."""
    left, top, right, bottom = box
    gone: dict[Side, int] = {"left": left, "top": top, "right": field.columns - right, "bottom": field.rows - bottom}
    return [side for side in gone if gone[side]]


def _part(field: Field, box: Box, message: Message) -> Field:
    """The cells of a box and what is to be said of it."""
    left, top, right, bottom = box
    gone, columns, rows = _sides(box, field), right - left, bottom - top
    if field.lattice is not None:
        lattice = field.lattice
        across, down = lattice.across.part(left, right), lattice.down.part(top, bottom)
        open_sides = tuple(side for side in lattice.open if side not in gone)
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


def _rgb(colour: npt.NDArray[np.int16]) -> Rgb:
    red, green, blue = colour.tolist()
    return red, green, blue


def _middles(field: Field) -> npt.NDArray[np.uint8]:
    """The colour in the middle of each cell: (rows, columns, 3)."""
    if field.lattice is None:
        return field.pixels
    places = []
    for axis, size in ((field.lattice.down, field.pixels.shape[0]), (field.lattice.across, field.pixels.shape[1])):
        places.append(np.clip(np.round((axis.lines[:-1] + axis.lines[1:]) / 2).astype(int), 0, size - 1))
    return field.pixels[np.ix_(*places)]

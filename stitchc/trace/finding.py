"""The field of cells found in a picture: by lines, by blocks of equal pixels, or by even division as the user says.

Weighs which of them is believed; knows nothing of what stands in the cells but whether all look alike.
"""

from __future__ import annotations

import hashlib
import math
from contextlib import suppress
from dataclasses import replace
from functools import lru_cache
from typing import Final

import numpy as np

from stitchc.messages import Message, Refused
from stitchc.trace import words
from stitchc.trace.cells import sampled
from stitchc.trace.field import Field, Places
from stitchc.trace.grid import (
    Axis,
    Lattice,
    counted_cells,
    filling_cells,
    find_cells,
    free_cells,
    grain_of,
    marks_in_rows,
    outline_in,
)
from stitchc.trace.kinds import kinds_of, kinds_of_blocks
from stitchc.trace.laying import laid_out
from stitchc.trace.patch import Box as Patch
from stitchc.trace.patch import patch_in
from stitchc.trace.picture import (
    Picture,
    Pixels,
    even_light,
    ink,
    is_drawing,
    median_colour,
    page_in,
    paper_colour,
    well_lit,
)
from stitchc.trace.pixels import SMALL_PX, Blocks, blocks_of, enlarged, looks_ruled
from stitchc.trace.several import Box, charts_in
from stitchc.trace.straight import Straight, straightened
from stitchc.trace.traced import Ask

_MOST_OPEN: Final = 3
"""Sides that cut through cells from which the picture shows a part of something larger."""
_INK: Final = 40
_FINE_PX: Final = 3
"""Blocks of pixels up to this size may as well be dots of which lines and marks are drawn."""


def boxed(picture: Picture, ask: Ask, file: str) -> tuple[Pixels, tuple[int, int]]:
    """The pixels of the part to look at, and where its left and top lie; all of them if none was named.

    Raises Refused T809 for a box that does not lie within the picture.
    """
    pixels, smaller = picture.pixels, picture.smaller
    if ask.box_px is None:
        return pixels, (0, 0)
    left, top, right, bottom = (value // smaller for value in ask.box_px)
    height, width = pixels.shape[:2]
    if not (0 <= left < right <= width and 0 <= top < bottom <= height) or (right - left) * (bottom - top) < 2:
        raise Refused(words.box_outside(ask.box_px, file, width * smaller, height * smaller))
    return pixels[top:bottom, left:right], (left, top)


def field_in(pixels: Pixels, ask: Ask, file: str) -> Field:
    """The field of cells in the pixels or, where none with lines is found in all of them, in the largest patch of the
    page.

    Raises Refused: T803 where no grid is found that can be trusted, T809 where the size that was given does not fit.
    """
    try:
        field = _field_in_all(pixels, ask, file)
    except _NoGrid:
        patch = patch_in(pixels) if ask.grid == "auto" else None
        inside = (
            None if patch is None else _field_in_patch(pixels, patch, _filling_cells(pixels, patch, ask), ask, file)
        )
        if inside is None:
            raise
        return inside
    lattice, blocks = field.lattice, field.blocks
    if ask.grid == "auto" and lattice is not None and lattice.ruled and len(lattice.open) > 1:
        return _closed_inside(pixels, field, ask, file) or field
    if ask.grid != "auto" or (lattice is not None and (lattice.ruled or lattice.signs)):
        return field
    if blocks is not None and not blocks.cut:
        return field
    pitch_px = lattice.pitch_px if lattice is not None else min(blocks.block_px) if blocks is not None else 0.0
    patch = patch_in(pixels) or (_whole(pixels) if _reaches_ends(pixels) else None)
    if patch is None or not _within(patch, field):
        return field
    filling = _filling_cells(pixels, patch, ask)
    if filling is None or abs(pitch_px - filling.pitch_px) > _SAME_PITCH * filling.pitch_px:
        return field
    return _field_in_patch(pixels, patch, filling, ask, file) or field


def _closed_inside(pixels: Pixels, field: Field, ask: Ask, file: str) -> Field | None:
    """The same cells as far as a patch of the page reaches, where they end there: lines of a plot's cells may seem to
    go on to the picture's ends."""
    patch = patch_in(pixels)
    if patch is None or field.lattice is None:
        return None
    inside = _field_in_patch(pixels, patch, _filling_cells(pixels, patch, ask), ask, file)
    if inside is None or inside.lattice is None or len(inside.lattice.open) > 1:
        return None
    pitch_px = field.lattice.pitch_px
    return inside if abs(inside.lattice.pitch_px - pitch_px) <= _SAME_PITCH * pitch_px else None


_SAME_PITCH: Final = 0.03
_AT_END: Final = 0.01
"""The part of a side along which marks reach the picture's end, at least."""


def _within(patch: Patch, field: Field) -> bool:
    """Whether a field of cells lies in a patch of the same picture, give or take a part of a cell."""
    places = Places(field, (0, 0), 1, False, False)
    (left, top), (right, bottom) = places.picture(0.5, 0.5), places.picture(field.columns - 0.5, field.rows - 0.5)
    return patch[0] <= left and patch[1] <= top and right <= patch[2] and bottom <= patch[3]


def _whole(pixels: Pixels) -> Patch:
    return 0, 0, pixels.shape[1], pixels.shape[0]


def _reaches_ends(pixels: Pixels) -> bool:
    """Whether marks reach the picture's own ends across and down, so that there is no margin."""
    page = np.median(pixels, axis=(0, 1))
    left, right, top, bottom = (
        float((np.abs(side - page).max(axis=1) > _INK).mean())
        for side in (pixels[:, 0], pixels[:, -1], pixels[0], pixels[-1])
    )
    return max(left, right) > _AT_END and max(top, bottom) > _AT_END


def _filling_cells(pixels: Pixels, patch: Patch, ask: Ask) -> Lattice | None:
    left, top, right, bottom = patch
    found = filling_cells(pixels[top:bottom, left:right])
    return None if found is None or ask.cells not in (None, found.size) else found


def _field_in_patch(pixels: Pixels, patch: Patch, filling: Lattice | None, ask: Ask, file: str) -> Field | None:
    """The field of cells in a part of a picture at whose ends cells end; None where there is none. filling: those that
    fill it, which are believed unless others have lines."""
    left, top, right, bottom = patch
    part = pixels[top:bottom, left:right]
    field: Field | None = None
    if part.shape != pixels.shape:
        with suppress(Refused):
            field = field_in(part, ask, file)
    if filling is not None and (field is None or field.lattice is None or not field.lattice.ruled):
        field = _without_lines(Straight(part, None, 0.0, False), filling)
    return None if field is None else replace(field, offset_px=(left + field.offset_px[0], top + field.offset_px[1]))


def _field_in_all(pixels: Pixels, ask: Ask, file: str) -> Field:
    """The field of cells, where there is nothing around it but a margin with numbers and the like."""
    if ask.grid == "even":
        return _evenly(pixels, ask, file)
    if ask.grid == "pixels":
        blocks = blocks_of(pixels) or blocks_of(pixels, single=True)
        assert blocks is not None
        return _field_of(blocks, ask, file)
    exact = blocks_of(pixels) if ask.grid == "auto" else None
    if exact is not None and not _fits(exact, ask):
        exact = None
    # in a small picture of few colours each pixel or block is a cell: lines need room
    small = exact is not None and max(pixels.shape[:2]) <= SMALL_PX
    fine = exact is not None and min(exact.block_px) <= _FINE_PX
    if exact is not None and small:
        return _in_pixels(pixels, exact, None, small, fine, ask, file)
    straight, lattice, charts = _found(_Given(pixels), ask.cells, unlined=exact is None or fine)
    if ask.grid == "auto" and (exact is None or fine):
        blocks = enlarged(pixels, ask.cells) if exact is None else None
        if blocks is not None and not _drawn_in(blocks, lattice) and _are_of_few_kinds(blocks):
            return _field_of(blocks, ask, file)
        signs = _of_signs(straight, pixels, lattice, ask)
        if signs is not None:
            return signs
    if lattice is not None and not lattice.ruled and (exact is None or fine):
        return _without_lines(straight, lattice)  # cells that are not whole pixels wide make fine blocks
    lined = None if lattice is None or not lattice.ruled else _lined(straight, lattice, ask, file)
    if lined is not None and (exact is None or fine or not _all_alike(lined)):
        return replace(lined, charts=charts)
    if exact is not None:
        return _in_pixels(pixels, exact, lined, small, fine, ask, file)
    if ask.grid == "auto" and ask.cells is not None:
        for picture in _given_and(straight, pixels):
            if (free := counted_cells(picture.pixels, ask.cells)) is not None:
                return _without_lines(picture, free)
    raise _NoGrid(words.no_grid(file, ask))


class _NoGrid(Refused):
    """T803: nothing speaks for cells."""


def _given_and(straight: Straight, pixels: Pixels) -> list[Straight]:
    """The picture as it was given and set straight: marks without lines may seem to stand on slanting ones."""
    given = Straight(pixels, None, 0.0, False)
    return [given] if np.array_equal(straight.pixels, pixels) else [given, straight]


def _of_signs(straight: Straight, pixels: Pixels, lattice: Lattice | None, ask: Ask) -> Field | None:
    """The field of signs without lines, one in each cell. lattice: the one that edges make, which those of letters do
    as well; but of colours between lines it is known better what they are."""
    alone = lattice is not None and lattice.ruled
    field: Field | None = None
    for picture in _given_and(straight, pixels):
        signs = free_cells(picture.pixels, alone)
        if signs is not None and ask.cells in (None, signs.size):
            if lattice is not None and lattice.size == signs.size:
                return None
            if lattice is not None and not alone and math.prod(lattice.size) >= _FINER * math.prod(signs.size):
                return None  # motifs that do not touch stand like signs
            field = _without_lines(picture, signs)
            break
    if lattice is not None and alone and lattice.strange < _STRANGE and not lattice.open:
        return field
    placed = _of_marks(straight, pixels, ask)
    if placed is not None and lattice is not None and alone and math.prod(lattice.size) > _FEW_LINED:
        twice = zip(lattice.size, (placed.columns, placed.rows), strict=True)
        return placed if all(lines == 2 * marks - 1 for lines, marks in twice) else field
    if placed is None or (field is not None and placed.rows * placed.columns < _AS_MANY * field.rows * field.columns):
        return field
    if lattice is not None and placed.rows * placed.columns < (_MORE if alone else _NEARLY) * math.prod(lattice.size):
        return field
    return placed


_FINER: Final = 4
_FEW_LINED: Final = 200
_MORE: Final = 1.7
_STRANGE: Final = 0.1
_NEARLY: Final = 0.8
_AS_MANY: Final = 0.9
"""So few cells, so strange, between lines may be made of a frame and of strokes of marks, if there are so many times as
many marks in rows; more cells only of edges of marks, which are two for each. Borders between colours tell less than
marks of which none is missing."""


def _of_marks(straight: Straight, pixels: Pixels, ask: Ask) -> Field | None:
    """The field of marks that stand in rows and columns, whatever is around them and however they were seen."""
    even = straight.pixels if straight.to_given is None else well_lit(pixels)
    rows = marks_in_rows(even, grain_of(even) > _GRAIN, ask.cells)
    if rows is None:
        return None
    red, green, blue = (int(value) for value in median_colour(even))
    return _without_lines(*laid_out(even, rows, (red, green, blue)))


def _drawn_in(blocks: Blocks, lattice: Lattice | None) -> bool:
    """Whether a lattice is drawn in blocks so small that each of them is no cell: any soft picture is made of such."""
    return lattice is not None and lattice.ruled and lattice.pitch_px > _FINE_PX * min(blocks.block_px)


_MOST_KINDS: Final = 8


def _are_of_few_kinds(blocks: Blocks) -> bool:
    """Whether blocks may be the cells of a chart: those of a photograph, which is as soft, are of any colour."""
    return len(kinds_of_blocks(blocks.cells).kinds) <= _MOST_KINDS


def _in_pixels(
    pixels: Pixels, exact: Blocks, lined: Field | None, small: bool, fine: bool, ask: Ask, file: str
) -> Field:
    """Each block a cell; where the blocks are so fine that lines would be some wide, only if none are drawn."""
    found = _field_of(exact, ask, file)
    if lined is not None:
        return replace(found, messages=(*found.messages, words.may_be_a_grid(lined.columns, lined.rows)))
    if not fine or ask.cells is not None:
        return found
    plane = ink(pixels)
    ruled = looks_ruled(plane) or looks_ruled(1 - plane)
    if ruled and not small:
        raise Refused(words.ruled_after_all(file))
    if ruled or (not small and exact.block_px == (1, 1)):
        return replace(found, messages=(*found.messages, words.each_pixel(found.columns, found.rows)))
    return found


_GRAIN: Final = 0.5
"""The grain, of 255, up to which a picture is as it was drawn."""


class _Given:
    """Pixels that equal others if all of them do."""

    def __init__(self, pixels: Pixels) -> None:
        self.pixels = pixels
        self._key = pixels.shape, hashlib.blake2b(np.ascontiguousarray(pixels).data).digest()

    def __hash__(self) -> int:
        return hash(self._key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Given) and self._key == other._key


# People ask again about the same picture, to say more of its marks; this takes longer than all the rest.
@lru_cache(maxsize=2)  # the whole picture and the patch of it in which cells are
def _found(
    given: _Given, cells: tuple[int, int] | None, unlined: bool
) -> tuple[Straight, Lattice | None, tuple[Box, ...]]:
    """The picture set straight, the lattice of its cells, and where its charts lie if it has several. cells: how many
    the user says there are; unlined: whether cells without lines are looked for too."""
    even, drawing = well_lit(given.pixels), is_drawing(given.pixels)
    red, green, blue = (int(value) for value in paper_colour(even))
    straight = straightened(even, ink(even), (red, green, blue), drawing)
    grainy = straight.to_given is not None or grain_of(straight.pixels) > _GRAIN
    on_page = None if drawing else _on_page(straight.pixels, cells, grainy)
    if on_page is not None:
        return straight, *on_page
    lattice = find_cells(straight.pixels, cells, grainy, unlined)
    if lattice is None or not lattice.ruled:
        return straight, lattice, ()
    return straight, lattice, charts_in(straight.pixels, lattice, cells, grainy)


_MOST_PAGE: Final = 0.95
_RECTANGULAR: Final = 0.9
_MARGIN: Final = 0.5
"""The part of each side that a page takes at most, and of its box at least; the least margin on it, in cells."""


def _on_page(pixels: Pixels, cells: tuple[int, int] | None, grainy: bool) -> tuple[Lattice, tuple[Box, ...]] | None:
    """The lattice of lines on a page that lies on something else, whose own lines might be taken for a chart's, and
    where the charts on it lie if it has several; None where there is no such page, or where cells go on to its ends."""
    page = page_in(ink(pixels))
    if page is None:
        return None
    rows, columns = (np.flatnonzero(page.mean(axis=axis) > 0) for axis in (1, 0))
    top, bottom, left, right = int(rows[0]), int(rows[-1]) + 1, int(columns[0]), int(columns[-1]) + 1
    high, wide = bottom - top, right - left
    if min(high / page.shape[0], wide / page.shape[1]) > _MOST_PAGE or page.sum() < _RECTANGULAR * high * wide:
        return None
    part = pixels[top:bottom, left:right]
    found = find_cells(part, cells, grainy, False)
    if found is None or not found.ruled:
        return None
    room_px = (min(axis.start_px, size - axis.end_px) for axis, size in ((found.across, wide), (found.down, high)))
    if min(room_px) < _MARGIN * found.pitch_px and (cells is not None or outline_in(part, found) is None):
        return None  # the chart may go on where the page is dark, unless an outline ends it
    charts = charts_in(part, found, cells, grainy)
    return found.moved(left, top), tuple((a + left, b + top, c + left, d + top) for a, b, c, d in charts)


def _lined(straight: Straight, lattice: Lattice, ask: Ask, file: str) -> Field:
    """A grid of lines, or the part of it that a heavier line encloses."""
    columns, rows = lattice.size
    inside = outline_in(straight.pixels, lattice) if ask.cells is None else None
    if inside is not None:
        left, right, top, bottom = inside
        lattice = Lattice(lattice.across.part(left, right), lattice.down.part(top, bottom))
        message = words.outlined(lattice.size, (columns, rows))
        columns, rows = lattice.size
        how = words.turned(straight)
        return Field(rows, columns, straight.pixels, lattice, None, how, (message,), straight, outlined=True)
    if len(lattice.cut) >= _MOST_OPEN and ask.cells is None:
        raise Refused(words.cut_through(file, lattice))
    messages: tuple[Message, ...] = ()
    if len(lattice.open) > 1:
        messages = (words.not_closed(lattice.open),)
    elif ask.cells is None:
        messages = tuple(
            words.frayed(side, side in lattice.cut, "column" if side in ("left", "right") else "row")
            for side in dict.fromkeys((*lattice.open, *lattice.cut))
        )
    if lattice.rival is not None:
        messages = (words.other_lattice(lattice.size, lattice.rival), *messages)
    return Field(rows, columns, straight.pixels, lattice, None, words.turned(straight), messages, straight)


def _without_lines(straight: Straight, lattice: Lattice) -> Field:
    columns, rows = lattice.size
    how = f"{words.turned(straight)}, no lines between them"
    return Field(rows, columns, straight.pixels, lattice, None, how, (words.no_lines(columns, rows),), straight)


def _evenly(pixels: Pixels, ask: Ask, file: str) -> Field:
    """The picture divided into as many cells as the user says."""
    height, width = pixels.shape[:2]
    columns, rows = ask.cells or (1, 1)
    if width / columns < 2 or height / rows < 2:
        raise Refused(words.no_room(columns, rows, width, height))
    lattice = Lattice(Axis.evenly(0.0, width / columns, columns), Axis.evenly(0.0, height / rows, rows), False)
    return Field(rows, columns, even_light(pixels), lattice, None, " by even division")


def _field_of(blocks: Blocks, ask: Ask, file: str) -> Field:
    """Each block of pixels a cell."""
    rows, columns = blocks.cells.shape[:2]
    if ask.cells is not None and ask.cells != (columns, rows):
        raise Refused(words.other_size(file, columns, rows, ask.cells))
    width, height = blocks.block_px
    size = "one pixel each" if blocks.block_px == (1, 1) else f"{width:.4g} by {height:.4g} pixels each"
    messages = (words.no_lines(columns, rows),) if blocks.cut else (words.blank_rim(),) if blocks.blank else ()
    return Field(rows, columns, blocks.cells, None, blocks, f" of {size}", messages)


def _fits(blocks: Blocks, ask: Ask) -> bool:
    return ask.cells is None or ask.cells == (blocks.cells.shape[1], blocks.cells.shape[0])


def _all_alike(field: Field) -> bool:
    assert field.lattice is not None
    return len(kinds_of(sampled(field.pixels, field.lattice)).kinds) == 1

"""The field of cells found in a picture: by lines, by blocks of equal pixels, or by even division as the user says.

Weighs which of them is believed; knows nothing of what stands in the cells but whether all look alike.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from stitchc.messages import Message, Refused
from stitchc.trace import words
from stitchc.trace.cells import sampled
from stitchc.trace.field import Field
from stitchc.trace.grid import (
    LEAST_PITCH_PX,
    Axis,
    Lattice,
    carried_on,
    find_lattice,
    frayed,
    looks_ruled,
    through_lines,
)
from stitchc.trace.kinds import kinds_of
from stitchc.trace.picture import Picture, Pixels, Plane, even_light, ink, paper_colour
from stitchc.trace.pixels import SMALL_PX, Blocks, blocks_of
from stitchc.trace.skew import straightened, turned_by
from stitchc.trace.values import Ask

_LEAST_TURNED_DEG: Final = 0.03
"""What is turned less is left as it is: 0.03 degrees are half a pixel in a thousand."""
_MOST_OPEN: Final = 3
"""Sides without an outermost line from which what was found is no grid, but part of something larger."""
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


def field_in(pixels: Pixels, ask: Ask, file: str, block_px: int | None = None) -> Field:
    """The field of cells in the pixels. block_px: each block of so many pixels each way is a cell, for sure.

    Raises Refused: T803 where no grid is found that can be trusted, T809 where the size that was given does not fit.
    """
    if ask.grid == "even":
        return _evenly(pixels, ask, file)
    if block_px is not None:
        cells = pixels[block_px // 2 :: block_px, block_px // 2 :: block_px]
        return _field_of(Blocks(cells, (block_px, block_px), 0, 0, False), ask, file)
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
    if not small and (exact is None or fine):
        cut_out = _cut_out(pixels, ask, file)
        if cut_out is not None:
            return cut_out
    lined = None if small else _lined(pixels, ask)
    if lined is not None and lined.lattice is not None:
        if exact is None:
            return lined
        if lined.lattice.ruled and not lined.lattice.doubtful and _pitch(lined.lattice) >= 6:
            if fine or not _all_alike(lined):
                return lined
            found = _field_of(exact, ask, file)
            return replace(found, messages=(*found.messages, words.may_be_a_grid(lined.columns, lined.rows, "lines")))
    if exact is not None:
        return _in_pixels(pixels, exact, small, fine, ask, file)
    raise Refused(words.no_grid(file, ask))


def _cut_out(pixels: Pixels, ask: Ask, file: str) -> Field | None:
    """A grid whose lines run right through the picture, its outermost ones left out at three sides or all."""
    even = even_light(pixels)
    plane = ink(even)
    found = through_lines(plane, ask.cells) or through_lines(1 - plane, ask.cells)  # light lines on a dark page
    if found is None or len(found.open) + len(found.cut) < _MOST_OPEN:
        return None
    if found.cut and ask.cells is None:
        raise Refused(words.cut_through(file, found))
    columns, rows = found.lattice.size
    return Field(
        rows, columns, even, found.lattice, None, 0.0, "", (words.not_closed(found.open),) if found.open else ()
    )


def _in_pixels(pixels: Pixels, exact: Blocks, small: bool, fine: bool, ask: Ask, file: str) -> Field:
    """Each block a cell; where the blocks are so fine that lines would be some wide, only if none are drawn."""
    found = _field_of(exact, ask, file)
    if not fine or ask.cells is not None:
        return found
    plane = ink(pixels)
    if not small and (looks_ruled(plane) or looks_ruled(1 - plane)):
        raise Refused(words.ruled_after_all(file))
    if not small and exact.block_px == (1, 1):
        return replace(found, messages=(*found.messages, words.each_pixel(found.columns, found.rows)))
    grid = through_lines(plane) if small else None
    if grid is None:
        return found
    return replace(found, messages=(*found.messages, words.may_be_a_grid(*grid.lattice.size, "cells")))


def _lined(pixels: Pixels, ask: Ask) -> Field | None:
    """A grid of lines, set straight, or of the cells' own borders where no lines are drawn."""
    if min(pixels.shape[:2]) < 2 * LEAST_PITCH_PX:
        return None
    even = even_light(pixels)
    plane = _dark_lines(even)
    turned = turned_by(plane)
    if abs(turned) < _LEAST_TURNED_DEG:
        turned = 0.0
    else:
        red, green, blue = (int(value) for value in paper_colour(even))
        even = straightened(even, turned, (red, green, blue))
        plane = _dark_lines(even)
    lattice = find_lattice(plane, ask.cells)
    if lattice is not None and lattice.ruled and ask.cells is None:
        lattice = carried_on(plane, lattice)
    if lattice is None:
        return None
    columns, rows = lattice.size
    how = "" if turned == 0 else f", turned by {abs(turned):.1f}° {'clockwise' if turned > 0 else 'anticlockwise'}"
    messages: tuple[Message, ...] = ()
    if not lattice.ruled:
        how += ", no lines between them"
        messages = (words.no_lines(columns, rows),)
    else:
        sides = frayed(plane, lattice)
        if len(sides) >= _MOST_OPEN and ask.cells is None:
            return None
        messages = tuple(
            words.frayed(side, cut, "column" if side in ("left", "right") else "row") for side, cut in sides
        )
    return Field(rows, columns, even, lattice, None, turned, how, messages)


def _dark_lines(pixels: Pixels) -> Plane:
    """Ink, turned round where light lines stand on a dark page."""
    plane = ink(pixels)
    return 1 - plane if float(np.median(plane)) > 0.6 else plane


def _evenly(pixels: Pixels, ask: Ask, file: str) -> Field:
    """The picture divided into as many cells as the user says."""
    height, width = pixels.shape[:2]
    columns, rows = ask.cells or (1, 1)
    if width / columns < 2 or height / rows < 2:
        raise Refused(words.no_room(columns, rows, width, height))
    lattice = Lattice(Axis(0.0, width / columns, columns), Axis(0.0, height / rows, rows), False)
    return Field(rows, columns, even_light(pixels), lattice, None, 0.0, " by even division")


def _field_of(blocks: Blocks, ask: Ask, file: str) -> Field:
    """Each block of pixels a cell."""
    rows, columns = blocks.cells.shape[:2]
    if ask.cells is not None and ask.cells != (columns, rows):
        raise Refused(words.other_size(file, columns, rows, ask.cells))
    size = (
        "one pixel each" if blocks.block_px == (1, 1) else f"{blocks.block_px[0]} by {blocks.block_px[1]} pixels each"
    )
    messages = (words.no_lines(columns, rows),) if blocks.cut else (words.blank_rim(),) if blocks.blank else ()
    return Field(rows, columns, blocks.cells, None, blocks, 0.0, f" of {size}", messages)


def _fits(blocks: Blocks, ask: Ask) -> bool:
    return ask.cells is None or ask.cells == (blocks.cells.shape[1], blocks.cells.shape[0])


def _pitch(lattice: Lattice) -> float:
    return min(lattice.across.pitch_px, lattice.down.pitch_px)


def _all_alike(field: Field) -> bool:
    assert field.lattice is not None
    return len(kinds_of(sampled(field.pixels, field.lattice)).kinds) == 1

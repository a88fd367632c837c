"""What a file of ours says of itself, the grid and signs of a drawn chart or the pixels of a bitmap, and how far that
counts beside what the user says. Knows nothing of how other pictures are read.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from stitchc.bitmap import PixelsSaid, pixels_said
from stitchc.chart import KNIT, TUCK
from stitchc.messages import Message
from stitchc.trace import words
from stitchc.trace.field import Field
from stitchc.trace.meaning import named_by_colour
from stitchc.trace.named import on_named_grid
from stitchc.trace.picture import Picture
from stitchc.trace.reading import Read, signs_read
from stitchc.trace.values import Ask, Order, Shade


def on_its_own_grid(picture: Picture, ask: Ask) -> tuple[Field, Read] | None:
    """A chart of ours that was not changed since it was drawn, and about which nothing else was said."""
    said = ask.grid != "auto" or ask.cells is not None or ask.box_px is not None
    found = None if said else on_named_grid(picture)
    if found is None or ask.notation not in ("auto", found[1].notation):
        return None
    lattice, signs = found
    columns, rows = lattice.size
    read = signs_read(signs)
    if ask.key.said:
        read = read._replace(messages=(words.outweighed(ask.key, read.what),))
    return Field(rows, columns, picture.pixels, lattice, None, 0.0, " where the file says"), read


class Explained(NamedTuple):
    """What a bitmap of ours says of its pixels. block_px: how many of the picture's each of them is, one if it was not
    changed since; None if it was, and what became of them is to be found."""

    said: PixelsSaid
    block_px: int | None


def pixels_explained(picture: Picture, ask: Ask) -> Explained | None:
    """What a bitmap of ours says of its pixels, as long as they are black and white alone."""
    said = pixels_said(picture.words)
    if said is None or ask.grid not in ("auto", "pixels") or picture.smaller != 1:
        return None
    black_and_white = (picture.pixels == picture.pixels[..., :1]).all() and np.isin(picture.pixels, (0, 255)).all()
    if ask.notation not in ("auto", "marks") or not black_and_white:
        return None
    block_px = _block_px(picture, said)
    if block_px is not None and (ask.cells not in (None, (said.width, said.height)) or (block_px > 1 and ask.box_px)):
        block_px = None
    return Explained(said, block_px)


def _block_px(picture: Picture, said: PixelsSaid) -> int | None:
    """How many pixels each way every one that the file speaks of is now, where that is the same for all."""
    (width, height), block_px = picture.size_px, picture.size_px[0] // said.width
    if block_px < 1 or (width, height) != (said.width * block_px, said.height * block_px):
        return None
    cells = picture.pixels[::block_px, ::block_px]
    same = (np.repeat(np.repeat(cells, block_px, axis=0), block_px, axis=1) == picture.pixels).all()
    return block_px if same else None


def filled_up(
    ask: Ask, explained: Explained, field: Field, size_px: tuple[int, int]
) -> tuple[Ask, tuple[str, ...], tuple[Message, ...]]:
    """What is asked, filled up with what the file says; in words what was taken from it; what remains a guess.

    What the user says of dark or light pixels changes nothing of what the file says of the others. size_px: of the
    whole picture, width and height.
    """
    said = explained.said
    taken: list[str] = []
    doubts: list[Message] = []
    filled = replace(ask, face=ask.face or said.seen_from, first_row=ask.first_row or said.first_row)
    users = _said_by_user(filled, field)
    files: dict[Shade, int | None] = {"dark": said.dark, "light": said.light}
    means = {shade: next((code for code in (users[shade], files[shade]) if code is not None), TUCK) for shade in files}
    kept: list[Shade] = [shade for shade in files if users[shade] is None]
    if kept:
        taken.append(", ".join(f"{shade} {words.STITCHES[means[shade]]}" for shade in kept))
    doubts += [words.tuck_or_slip(shade) for shade in kept if files[shade] is None]
    both_there = bool((field.pixels != field.pixels[0, 0]).any())
    if len(kept) == 1 and both_there and (KNIT not in means.values() or means["dark"] == means["light"]):
        doubts.append(words.keeps_its_meaning(kept[0], means[kept[0]], means["dark"] == means["light"]))
    if ask.first_row is None:
        taken.append(f"row 1 at the {said.first_row}")
    if ask.face is None:
        taken.append(f"{said.seen_from} side")
    if size_px != (said.width, said.height) and taken:
        doubts.append(words.changed_since(said.width, said.height, size_px, taken, tuple(kept), means))
    key = replace(
        ask.key,
        dark=means["dark"] if ask.key.dark is None else ask.key.dark,
        light=means["light"] if ask.key.light is None else ask.key.light,
    )
    return replace(filled, key=key), tuple(taken), tuple(doubts)


def _said_by_user(ask: Ask, field: Field) -> dict[Shade, int | None]:
    """What the user says of black and of white pixels, be it by their look, their colour or one cell of them."""
    key, order = ask.key, Order(field.rows, field.columns, ask.first_row != "top", ask.face == "knit")
    found: dict[Shade, int | None] = {
        "dark": key.dark if (named := named_by_colour((0, 0, 0), key)) is None else named,
        "light": key.light if (named := named_by_colour((255, 255, 255), key)) is None else named,
    }
    for (row, column), code in reversed(key.alike):  # the first one counts
        if 1 <= row <= order.rows and 1 <= column <= order.columns:
            found["light" if field.pixels[order.in_picture(row, column)].max() else "dark"] = code
    return found

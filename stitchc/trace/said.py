"""What a file of ours says of itself, the grid and signs of a drawn chart or the pixels of a bitmap, and how far that
counts beside what the user says. Knows nothing of how other pictures are read.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from stitchc.bitmap import PixelsSaid, pixels_said
from stitchc.chart import TUCK
from stitchc.messages import Message
from stitchc.trace import words
from stitchc.trace.field import Field
from stitchc.trace.named import on_named_grid
from stitchc.trace.picture import Picture
from stitchc.trace.reading import Read, signs_read
from stitchc.trace.values import Ask, Key


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


def pixels_explained(picture: Picture, ask: Ask) -> PixelsSaid | None:
    """What a bitmap of ours says of its pixels, unless it was changed since: they are then of another number, or other
    than black and white."""
    said = pixels_said(picture.words)
    if said is None or ask.grid not in ("auto", "pixels") or ask.cells not in (None, (said.width, said.height)):
        return None
    if picture.smaller != 1 or picture.size_px != (said.width, said.height) or ask.notation not in ("auto", "marks"):
        return None
    black_and_white = (picture.pixels == picture.pixels[..., :1]).all() and np.isin(picture.pixels, (0, 255)).all()
    return said if black_and_white else None


def filled_up(ask: Ask, said: PixelsSaid) -> tuple[Ask, tuple[str, ...], tuple[Message, ...]]:
    """What is asked, filled up with what the file says; in words what was taken from it; what remains a guess."""
    taken: list[str] = []
    doubt: tuple[Message, ...] = ()
    key = ask.key
    if not key.said:
        dark, light = (TUCK if code is None else code for code in (said.dark, said.light))
        key = Key(dark, light)
        taken.append(f"dark {words.STITCHES[dark]}, light {words.STITCHES[light]}")
        if said.dark is None or said.light is None:
            doubt = (words.tuck_or_slip("light" if said.light is None else "dark"),)
    if ask.first_row is None:
        taken.append(f"row 1 at the {said.first_row}")
    if ask.face is None:
        taken.append(f"{said.seen_from} side")
    ask = replace(
        ask, key=key, face=ask.face or said.seen_from, first_row=ask.first_row or said.first_row, grid="pixels"
    )
    return ask, tuple(taken), doubt

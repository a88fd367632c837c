"""Marks without lines, and squared paper that goes on beyond the chart."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from stitchc.chart import KNIT, SLIP, TUCK
from stitchc.messages import Refused
from stitchc.page.lettering import font
from stitchc.trace import Ask, Key, trace

ROWS = ["TKKKTKKKTK", "KKTKKKTKKK", "KKKKKKKKKK", "KTKKKTKKKT", "KKKTKKKTKK", "TKKKKKKKKT"]
"""The first and the last row and column hold marks."""
BLANK_RIM = ["K" * 12, *(f"K{row}K" for row in ROWS), "K" * 12]


def png(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


def dots(rows: list[str], cell: float, framed: bool, heading: str = "") -> bytes:
    wide, high, margin = len(rows[0]) * cell, len(rows) * cell, 40
    image = Image.new("RGB", (round(wide) + 2 * margin, round(high) + 2 * margin), "white")
    pen = ImageDraw.Draw(image)
    if framed:
        pen.rectangle((margin, margin, margin + wide, margin + high), outline=(120, 120, 120))
    pen.text((margin, 12), heading, (0, 0, 0), font(14))
    for y, row in enumerate(reversed(rows)):
        for x, letter in enumerate(row):
            if letter != "K":
                middle = margin + (x + 0.5) * cell, margin + (y + 0.5) * cell
                pen.ellipse([(each - 0.3 * cell) for each in middle] + [each + 0.3 * cell for each in middle], fill=0)
    return png(image)


@pytest.mark.parametrize("cell", [13.0, 20.5])
@pytest.mark.parametrize(("rows", "framed"), [(ROWS, False), (ROWS, True), (BLANK_RIM, True)])
def test_dots_without_lines_are_read_if_their_cells_are_counted(cell: float, rows: list[str], framed: bool) -> None:
    ask = Ask(key=Key(dark=TUCK), cells=(len(rows[0]), len(rows)), repeat="whole")
    traced = trace(dots(rows, cell, framed), "dots.png", ask)
    assert traced.whole.rows() == rows
    assert "T811" in [message.code for message in traced.messages]


@pytest.mark.parametrize(
    ("rows", "cells", "heading"),
    [(BLANK_RIM, (12, 8), ""), (ROWS, (11, 6), ""), (ROWS, (9, 6), ""), (ROWS, (10, 6), "Dots")],
    ids=["blank rim without a frame", "one too many", "one too few", "a heading"],
)
def test_dots_of_which_nobody_can_know_the_cells_are_refused(
    rows: list[str], cells: tuple[int, int], heading: str
) -> None:
    with pytest.raises(Refused) as error:
        trace(dots(rows, 20.0, False, heading), "dots.png", Ask(key=Key(dark=TUCK), cells=cells))
    assert error.value.messages[0].code == "T803"


def typed(rows: list[str], signs: dict[str, str]) -> bytes:
    """A text in a font whose letters are all of one width."""
    letters = ImageFont.load_default(18) if not hasattr(font(18), "getbbox") else font(18)
    image = Image.new("RGB", (40 + 24 * len(rows[0]), 40 + 26 * len(rows)), "white")
    pen = ImageDraw.Draw(image)
    for y, row in enumerate(reversed(rows)):
        for x, letter in enumerate(row):
            pen.text((32 + 24 * x, 32 + 26 * y), signs[letter], (0, 0, 0), letters, anchor="ms")
    return png(image)


def test_signs_in_every_cell_are_their_own_lattice() -> None:
    rows = [row.replace("T", "S", 1) for row in ROWS]
    asked = Key(alike=(((1, 2), KNIT), ((1, 5), TUCK), ((1, 1), SLIP)))
    traced = trace(typed(rows, {"K": "o", "T": "X", "S": "+"}), "text.png", Ask(key=asked, repeat="whole"))
    assert traced.whole.rows() == rows


def test_a_text_with_gaps_is_no_lattice() -> None:
    with pytest.raises(Refused):
        trace(typed(ROWS, {"K": " ", "T": "X", "S": "+"}), "text.png", Ask(key=Key(dark=TUCK)))


def squared(rows: list[str], beyond: tuple[int, int], outline: int, cell: int = 18) -> bytes:
    """Squared paper with so many more cells before and behind the chart, which has an outline so many px wide."""
    before, behind = beyond
    wide, high = (size + before + behind for size in (len(rows[0]), len(rows)))
    image = Image.new("RGB", (wide * cell + 41, high * cell + 41), (250, 248, 240))
    pen = ImageDraw.Draw(image)
    for x in range(wide + 1):
        pen.line((20 + x * cell, 20, 20 + x * cell, 20 + high * cell), (150, 170, 200))
    for y in range(high + 1):
        pen.line((20, 20 + y * cell, 20 + wide * cell, 20 + y * cell), (150, 170, 200))
    for y, row in enumerate(reversed(rows)):
        for x, letter in enumerate(row):
            if letter != "K":
                left, top = 20 + (x + before) * cell, 20 + (y + before) * cell
                pen.ellipse((left + 4, top + 4, left + cell - 4, top + cell - 4), fill=(20, 20, 20))
    if outline:
        corner, far = 20 + before * cell, (20 + (before + len(rows[0])) * cell, 20 + (before + len(rows)) * cell)
        off = outline // 2
        pen.rectangle((corner - off, corner - off, far[0] + off, far[1] + off), outline=(190, 30, 30), width=outline)
    return png(image)


@pytest.mark.parametrize("beyond", [(2, 3), (0, 2), (3, 0)])
def test_of_squared_paper_the_cells_inside_the_outline_are_read(beyond: tuple[int, int]) -> None:
    data, key = squared(ROWS, beyond, 3), Key(dark=TUCK)
    traced = trace(data, "paper.png", Ask(key=key, repeat="whole"))
    assert traced.whole.rows() == ROWS
    (message,) = (message for message in traced.messages if message.code == "T813")
    across, down = 10 + sum(beyond), 6 + sum(beyond)
    assert f"encloses 10 by 6 of the {across} by {down} cells" in message.text
    asked = trace(data, "paper.png", Ask(key=key, cells=(across, down), repeat="whole"))
    assert (asked.whole.width, asked.whole.height) == (across, down), "as the advice says"


def test_an_outline_of_a_repeat_cuts_nothing_off() -> None:
    """Cells outside it hold marks."""
    rows = ["".join(row) for row in np.tile(np.array([list(row) for row in ROWS]), (2, 2)).tolist()]
    image = Image.open(io.BytesIO(squared(rows, (0, 0), 0)))
    ImageDraw.Draw(image).rectangle((20, 20, 20 + 10 * 18, 20 + 6 * 18), outline=(190, 30, 30), width=3)
    assert trace(png(image), "paper.png", Ask(key=Key(dark=TUCK), repeat="whole")).whole.rows() == rows

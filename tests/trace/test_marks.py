"""Marks without lines, one in each cell, among titles, numbers and frames, turned or seen from one side.

Sources: none; what is drawn here is what people post (common practice). The direct linear transformation is checked by
a projection that is known.
"""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from stitchc.chart import KNIT, SLIP, TUCK
from stitchc.trace import Ask, Key, trace
from stitchc.trace.grid.marks import marks_in_rows

COLUMNS, ROWS, PX = 15, 12, 24
LEFT, TOP = 90, 110


def texture() -> np.ndarray:
    """Diagonals that differ from their mirror image, top row first."""
    row, column = np.indices((ROWS, COLUMNS))
    return np.where((row + 2 * column) % 5 == 0, TUCK, KNIT)


def drawn(cells: np.ndarray, look: str) -> Image.Image:
    picture = Image.new("RGB", (LEFT + COLUMNS * PX + 190, TOP + ROWS * PX + 90), (250, 248, 240))
    pen = ImageDraw.Draw(picture)
    font = ImageFont.load_default(15)
    pen.text((30, 30), "Harbour steps, a texture for cushions", (20, 20, 20), ImageFont.load_default(24))
    pen.text((30, 70), "Begin at the lowest row. Hang the weights evenly.", (20, 20, 20), font)
    for row in range(ROWS):
        pen.text((LEFT - 14, TOP + row * PX + 12), str(ROWS - row), (60, 60, 60), font, anchor="rm")
        for column in range(COLUMNS):
            x, y = LEFT + column * PX + PX / 2, TOP + row * PX + PX / 2
            marked = cells[row, column] == TUCK
            if look == "dots":
                size = 8 if marked else 2
                pen.ellipse((x - size, y - size, x + size, y + size), (20, 20, 20) if marked else (150, 150, 150))
            elif look == "rings":
                pen.ellipse((x - 8, y - 8, x + 8, y + 8), (20, 20, 20) if marked else None, (20, 20, 20), 2)
            else:
                pen.text((x, y), "X" if marked else "o", (20, 20, 20), ImageFont.load_default(18), anchor="mm")
    for column in range(0, COLUMNS, 5):
        pen.text((LEFT + column * PX + 12, TOP + ROWS * PX + 12), str(column + 1), (60, 60, 60), font, anchor="mm")
    right = LEFT + COLUMNS * PX + 40
    pen.rectangle((right, TOP, right + 26, TOP + 26), outline=(20, 20, 20))
    pen.text((right + 40, TOP + 12), "knit, tuck", (20, 20, 20), font, anchor="lm")
    return picture


def seen_from_the_side(picture: Image.Image) -> Image.Image:
    wide, high = picture.size
    corners = (12, 30, 0, high - 1, wide - 8, high - 26, wide - 30, 4)
    table = Image.new("RGB", picture.size, (120, 100, 80))
    table.paste(picture.transform(picture.size, Image.Transform.QUAD, corners, Image.Resampling.BICUBIC))
    return table


def read(picture: Image.Image, key: Key) -> np.ndarray:
    out = io.BytesIO()
    picture.save(out, "PNG")
    return trace(out.getvalue(), "page.png", Ask(key=key, repeat="whole")).whole.cells[::-1]


def examples(cells: np.ndarray) -> Key:
    """A cell of each kind, as knitted from below."""
    alike = []
    for code in (KNIT, TUCK):
        row, column = np.argwhere(cells == code)[3].tolist()
        alike.append(((ROWS - row, column + 1), code))
    return Key(alike=tuple(alike))


@pytest.mark.parametrize("look", ["dots", "rings", "letters"])
def test_marks_are_read_among_titles_and_numbers(look: str) -> None:
    cells = texture()
    assert (read(drawn(cells, look), examples(cells)) == cells).all()


@pytest.mark.parametrize("look", ["dots", "rings"])
def test_a_page_of_marks_may_be_turned_or_lean(look: str) -> None:
    cells = texture()
    page = drawn(cells, look)
    turned = page.rotate(3, Image.Resampling.BICUBIC, expand=True, fillcolor=(250, 248, 240))
    assert (read(turned, examples(cells)) == cells).all()
    assert (read(seen_from_the_side(page), examples(cells)) == cells).all()


def test_edges_of_rings_and_discs_are_no_lines() -> None:
    """Each has two, at the same distances all over the chart."""
    cells = np.tile(texture(), (2, 2))
    rows, columns = cells.shape
    picture = Image.new("RGB", (columns * 16 + 60, rows * 16 + 70), "white")
    pen = ImageDraw.Draw(picture)
    pen.text((20, 10), "Harbour rib", "black", ImageFont.load_default(18))
    for (row, column), code in np.ndenumerate(cells):
        x, y = 30 + 16 * column, 50 + 16 * row
        pen.ellipse((x - 4, y - 4, x + 4, y + 4), "black" if code == TUCK else None, (60, 60, 60))
    small = picture.resize((picture.width * 5 // 6, picture.height * 5 // 6), Image.Resampling.LANCZOS)
    assert (read(small, Key(dark=TUCK)) == cells).all()


def in_a_terminal(frame: bool) -> tuple[np.ndarray, Image.Image]:
    """Letters and dots in a frame of signs, as programs print them, with what they mean."""
    cells = texture()
    picture = Image.new("RGB", (12 * (2 * COLUMNS + 4), 22 * (ROWS + 4)), (20, 24, 20))
    pen, font = ImageDraw.Draw(picture), ImageFont.load_default(18)
    for row in range(-1, ROWS + 1):
        for column in range(-1, COLUMNS + 1):
            ends = row in (-1, ROWS), column in (-1, COLUMNS)
            sign = "+" if all(ends) else "-" if ends[0] else "|" if ends[1] else ".X"[int(cells[row, column] == TUCK)]
            if frame or not any(ends):
                place = 24 * (column + 1.5) + 12, 22 * (row + 2.5)
                pen.text(place, sign, (90, 220, 110), font, anchor="mm")
    return cells, picture


def test_a_frame_of_signs_is_left_out() -> None:
    cells, picture = in_a_terminal(frame=True)
    assert (read(picture, examples(cells)) == cells).all()


def test_a_side_of_marks_that_are_nowhere_else_belongs_to_the_chart_if_the_user_names_one() -> None:
    cells, picture = in_a_terminal(frame=False)
    pen, font = ImageDraw.Draw(picture), ImageFont.load_default(18)
    for column in (-1, COLUMNS):
        for row in range(ROWS):
            pen.text((24 * (column + 1.5) + 12, 22 * (row + 2.5)), "O", (90, 220, 110), font, anchor="mm")
    whole = np.pad(cells, ((0, 0), (1, 1)), constant_values=SLIP)
    moved = tuple(((row, column + 1), code) for (row, column), code in examples(cells).alike)
    assert (read(picture, Key(alike=(*moved, ((1, 1), SLIP)))) == whole).all()


def test_where_the_marks_stand_is_known_to_a_part_of_a_pixel() -> None:
    """Middles of dots, projected, lie where the projection that was used puts them."""
    projection = np.array([[23.0, 1.5, 70.0], [-1.2, 24.0, 90.0], [1e-4, 2e-4, 1.0]])
    picture = Image.new("RGB", (520, 480), "white")
    pen = ImageDraw.Draw(picture)
    for row in range(ROWS):
        for column in range(COLUMNS):
            u, v, w = projection @ (column, row, 1)
            pen.ellipse((u / w - 5, v / w - 5, u / w + 5, v / w + 5), "black")
    rows = marks_in_rows(np.asarray(picture), False, None)
    assert rows is not None and rows.size == (COLUMNS, ROWS)
    for cell in ((0, 0), (COLUMNS - 1, 0), (0, ROWS - 1), (COLUMNS - 1, ROWS - 1)):
        here, there = (way @ (*cell, 1) for way in (rows.to_given, projection))
        assert here[:2] / here[2] == pytest.approx(there[:2] / there[2], abs=0.8)


def test_a_page_of_words_is_no_chart() -> None:
    picture = Image.new("RGB", (700, 400), "white")
    pen = ImageDraw.Draw(picture)
    words = "Knit two plain rows before the first row of the chart and hang the weights evenly. " * 3
    for line in range(9):
        pen.text((40, 40 + 30 * line), words[7 * line : 7 * line + 62], "black", ImageFont.load_default(18))
    assert marks_in_rows(np.asarray(picture), False, None) is None


def test_dashes_of_lines_are_no_marks() -> None:
    cells = texture()[:8, :13]
    picture = Image.new("RGB", (13 * 18 + 10, 8 * 14 + 8), "white")
    pen = ImageDraw.Draw(picture)
    for x in (5 + 18 * number for number in range(14)):
        for y in range(4, 4 + 8 * 14, 4):
            pen.line((x, y, x, y + 1), (150, 150, 200))
    for y in (4 + 14 * number for number in range(9)):
        for x in range(5, 5 + 13 * 18, 4):
            pen.line((x, y, x + 1, y), (150, 150, 200))
    for row, column in np.argwhere(cells == TUCK).tolist():
        x, y = 5 + 18 * column, 4 + 14 * row
        pen.line((x + 5, y + 11, x + 13, y + 3), (30, 30, 30), 2)
    assert (read(picture, Key(dark=TUCK)) == cells).all()

"""Charts with other things around them: lines of a text, headings of a table, the axes of a plot, more paper."""

from __future__ import annotations

import io

import numpy as np
import pytest
from matplotlib import get_data_path
from PIL import Image, ImageDraw, ImageFont

from stitchc.chart import KNIT, SLIP, TUCK
from stitchc.messages import Refused
from stitchc.page.lettering import font
from stitchc.trace import Ask, Key, trace
from stitchc.trace.grid import Axis, Lattice, outline_in
from stitchc.trace.patch import patch_in

ROWS = ["TKKKTKKKTK", "KKTKKKTKKK", "KKKKKKKKKK", "KTKKKTKKKT", "KKKTKKKTKK", "TKKKKKKKKT", "KKKKKTKKKK"]
TOLD = Key(alike=(((1, 2), KNIT), ((1, 1), TUCK)))


def png(image: Image.Image, form: str = "PNG") -> bytes:
    out = io.BytesIO()
    image.save(out, form, quality=85)
    return out.getvalue()


def letters_px(size: int) -> ImageFont.FreeTypeFont:
    """A font whose letters are all of one width."""
    return ImageFont.truetype(f"{get_data_path()}/fonts/ttf/DejaVuSansMono.ttf", size)


def text(
    rows: list[str],
    signs: str,
    size: int = 17,
    dark: bool = False,
    before: str = "",
    behind: str = "",
    numbers: bool = False,
) -> bytes:
    """A text in which the sign of K or T stands for each cell, without blanks between; and other lines. numbers:
    whether that of its row stands before each."""
    page, ink = ((24, 26, 34), (225, 225, 230)) if dark else ((255, 255, 255), (20, 20, 20))
    written = [row.translate(str.maketrans("KT", signs)) for row in reversed(rows)]
    if numbers:
        written = [f"{len(rows) - number:2}  {row}" for number, row in enumerate(written)]
    lines = [*([before] if before else []), *written]
    lines += [behind] if behind else []
    letters = letters_px(size)
    longest, step = max(map(len, lines)), round(1.25 * size)
    image = Image.new("RGB", (40 + round(letters.getlength("M") * longest), 40 + step * len(lines)), page)
    pen = ImageDraw.Draw(image)
    for number, line in enumerate(lines):
        pen.text((20, 20 + step * number), line, ink, letters)
    return png(image)


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("size", [17, 20, 24])
@pytest.mark.parametrize("signs", ["-X", "-#", ".o", "oT"])
def test_a_text_without_blanks_between_its_signs_is_read(signs: str, size: int, dark: bool) -> None:
    traced = trace(text(ROWS, signs, size, dark), "text.png", Ask(key=TOLD, repeat="whole"))
    assert traced.whole.rows() == ROWS and [message.code for message in traced.messages] == ["T811"]


def test_other_lines_around_a_text_are_passed_over_with_a_warning() -> None:
    data = text(ROWS, ".X", before="net for a cowl", behind="end")
    traced = trace(data, "text.png", Ask(key=TOLD, repeat="whole"))
    assert traced.whole.rows() == ROWS
    assert [message.code for message in traced.messages if message.severity == "warning"] == ["T811"]


def test_numbers_before_the_rows_of_a_text_are_passed_over() -> None:
    """Marks in every second column look like signs of twice the width, too."""
    rows = ["TKKKTKKKTKKKT", "TKKKTKKKTKKKT", "KKKKKKKKKKKKK", "KKTKKKTKKKTKK", "KKTKKKTKKKTKK", "KKKKKKKKKKKKK"] * 2
    key = Key(alike=(((1, 1), TUCK), ((1, 2), KNIT)))
    traced = trace(text(rows, ".V", numbers=True), "text.png", Ask(key=key, repeat="whole"))
    assert traced.whole.rows() == rows and [message.code for message in traced.messages] == ["T811"]


def test_prose_is_no_chart() -> None:
    words = "the harbour workshop knits cowls cushions and wrist warmers from oat and slate yarn in the evening"
    lines = [words[start : start + 44] for start in range(0, 48, 4)]
    image = Image.new("RGB", (560, 420), "white")
    for number, line in enumerate(lines):
        ImageDraw.Draw(image).text((20, 20 + 24 * number), line, (0, 0, 0), letters_px(15))
    with pytest.raises(Refused) as error:
        trace(png(image), "page.png", Ask(key=Key(dark=TUCK)))
    assert error.value.messages[0].code in ("T803", "T807")


def table(rows: list[str], headings: bool, first: str = "K") -> bytes:
    """A spreadsheet with letters above and numbers before its cells, and fills for T and S. first: what fills row 1."""
    cell, top, left = 24, 20, 34
    high, wide = len(rows) + headings, len(rows[0]) + headings
    image = Image.new("RGB", (left + cell * wide + 20, top + cell * high + 20), "white")
    pen = ImageDraw.Draw(image)
    fills = {"K": "white", "T": (200, 40, 60), "S": (40, 80, 190)}
    for y in range(high):
        for x in range(wide):
            box = left + cell * x, top + cell * y, left + cell * (x + 1), top + cell * (y + 1)
            row, column = len(rows) - 1 - (y - headings), x - headings
            heading = headings and (x == 0 or y == 0)
            pen.rectangle(box, (232, 232, 232) if heading else fills[rows[row][column]], (190, 190, 190))
            if heading and x + y:
                word = "ABCDEFGHIJKLMN"[x - 1] if y == 0 else str(y)
                pen.text((box[0] + cell / 2, box[1] + cell / 2), word, (60, 60, 60), font(12), anchor="mm")
    return png(image)


def test_headings_of_a_table_are_left_out_with_a_warning() -> None:
    ask = Ask(key=Key(dark=TUCK), repeat="whole")
    traced = trace(table(ROWS, headings=True), "table.png", ask)
    assert traced.whole.rows() == ROWS
    (message,) = (message for message in traced.messages if message.severity == "warning")
    assert message.code == "T811" and "left and top" in message.text and "10 by 7 cells" in message.text


def test_a_column_of_numbers_may_be_wider_than_the_cells() -> None:
    rows = [row for row in ROWS for _ in range(3)]
    cell, high, wide = 24, len(rows), len(rows[0])
    image = Image.new("RGB", (60 + cell * (wide + 2), 60 + cell * high), (255, 255, 255))
    pen = ImageDraw.Draw(image)
    for y in range(high):
        top = 30 + cell * y
        pen.rectangle((30, top, 30 + 2 * cell, top + cell), None, (90, 90, 90))
        pen.text((30 + cell, top + cell / 2), str(high - y), (20, 20, 20), font(13), anchor="mm")
        for x in range(wide):
            left = 30 + cell * (x + 2)
            fill = (50, 80, 150) if rows[high - 1 - y][x] == "T" else (255, 255, 255)
            pen.rectangle((left, top, left + cell, top + cell), fill, (90, 90, 90))
    traced = trace(png(image), "table.png", Ask(key=Key(dark=TUCK), repeat="whole"))
    assert traced.whole.rows() == rows and [message.code for message in traced.messages] == ["T811"]


def tiles(rows: list[str]) -> bytes:
    """Squares of a colour each with gaps of the page between them and no line around, and a word above."""
    fills = {"K": (228, 228, 228), "T": (70, 70, 70), "S": (60, 90, 180)}
    image = Image.new("RGB", (60 + 27 * (len(rows[0]) + 3), 90 + 27 * len(rows)), (255, 255, 255))
    pen = ImageDraw.Draw(image)
    pen.text((30, 20), "try this one:", (0, 0, 0), font(14))
    for y, row in enumerate(reversed(rows)):
        for x, letter in enumerate(row):
            left, top = 18 + 27 * x, 62 + 27 * y
            pen.rounded_rectangle((left, top, left + 23, top + 23), 4, fills[letter])
    return png(image)


@pytest.mark.parametrize("last", ["K", "S"])
def test_page_beside_tiles_is_no_column_and_a_column_of_another_stitch_is_one(last: str) -> None:
    rows = [row + last for row in ROWS]
    key = Key(colours=(((70, 70, 70), TUCK), ((60, 90, 180), SLIP))) if last == "S" else Key(dark=TUCK)
    traced = trace(tiles(rows), "tiles.png", Ask(key=key, repeat="whole"))
    assert traced.whole.rows() == rows


def test_a_row_of_another_stitch_is_no_heading() -> None:
    """Its cells are like none inside the chart, but like each other."""
    rows = [*ROWS, "S" * 10]
    key = Key(colours=(((200, 40, 60), TUCK), ((40, 80, 190), SLIP)))
    assert trace(table(rows, headings=False), "table.png", Ask(key=key, repeat="whole")).whole.rows() == rows


def plot(rows: list[str], width_px: int) -> bytes:
    """Cells without lines in a frame with ticks, numbers and a title around it; they are no whole pixels wide."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_px / 100, 3.4), dpi=100)
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    axes.imshow(np.array([["KT".index(letter) for letter in row] for row in reversed(rows)]), cmap="viridis")
    axes.set_title("Quay cowl")
    out = io.BytesIO()
    figure.savefig(out, format="png")
    return out.getvalue()


@pytest.mark.parametrize("width_px", [420, 507, 640])
def test_a_plot_is_read_within_its_frame(width_px: int) -> None:
    traced = trace(plot(ROWS, width_px), "plot.png", Ask(key=TOLD, repeat="whole"))
    assert traced.whole.rows() == ROWS


def test_lines_of_a_plot_do_not_go_on_beyond_its_frame() -> None:
    """White lines between the cells, and a white page around them."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    rows = [row * 3 for row in ROWS] * 2
    figure = Figure(figsize=(7, 6), dpi=110)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.02, 0.1, 0.92, 0.8))
    cells = np.array([["KT".index(letter) for letter in row] for row in rows])
    axes.pcolormesh(cells, cmap="Blues", vmin=-0.1, edgecolors="white", linewidth=1.8)
    axes.set_aspect("equal")
    out = io.BytesIO()
    figure.savefig(out, format="png")
    traced = trace(out.getvalue(), "plot.png", Ask(key=Key(dark=TUCK), repeat="whole"))
    assert traced.whole.rows() == rows


@pytest.mark.parametrize(("left", "top"), [(60, 60), (61, 60), (60, 61), (61, 61)])
def test_a_frame_of_hairlines_is_seen_in_a_large_picture(left: int, top: int) -> None:
    """Of large pictures not each pixel is looked at, but a line of one pixel must not be overlooked."""
    page = Image.new("RGB", (1100, 1100), (255, 255, 255))
    pen = ImageDraw.Draw(page)
    wide, high = 600, 720
    for x in range(0, wide + 1, 30):
        pen.line((left + x, top, left + x, top + high), (110, 110, 110))
    for y in range(0, high + 1, 30):
        pen.line((left, top + y, left + wide, top + y), (110, 110, 110))
    assert patch_in(np.asarray(page)) == (left + 1, top + 1, left + wide, top + high)


def test_where_marks_reach_the_ends_of_a_picture_its_blank_sides_are_cells() -> None:
    """Rows above the last mark, of blocks that chat programs have compressed."""
    rows = ["KKTKKKTKKK", *ROWS[1:6], "K" * 10]
    pixels = np.array([[255 if letter == "K" else 40 for letter in row] for row in reversed(rows)], dtype=np.uint8)
    image = Image.fromarray(np.kron(pixels, np.ones((30, 30), dtype=np.uint8))).convert("RGB")
    traced = trace(png(image, "JPEG"), "art.jpg", Ask(key=Key(dark=TUCK), repeat="whole"))
    assert traced.whole.rows() == rows


def paper(rows: list[str], around: int, numbers: bool, outline: bool, by_hand: bool = False) -> bytes:
    cell = 22
    high, wide = len(rows) + 2 * around, len(rows[0]) + 2 * around
    image = Image.new("RGB", (wide * cell + 41, high * cell + 41), (235, 232, 222))
    pen = ImageDraw.Draw(image)
    for x in range(wide + 1):
        pen.line((20 + x * cell, 20, 20 + x * cell, 20 + high * cell), (150, 170, 200), 3 if x % 5 == 0 else 1)
    for y in range(high + 1):
        pen.line((20, 20 + y * cell, 20 + wide * cell, 20 + y * cell), (150, 170, 200), 3 if y % 5 == 0 else 1)
    for y, row in enumerate(reversed(rows)):
        for x, letter in enumerate(row):
            if letter == "T":
                left, top = 20 + (x + around) * cell, 20 + (y + around) * cell
                pen.line((left + 5, top + 5, left + cell - 5, top + cell - 5), (40, 40, 60), 3)
                pen.line((left + 5, top + cell - 5, left + cell - 5, top + 5), (40, 40, 60), 3)
    for y in range(0, len(rows), 3) if numbers else ():
        place = 20 + (around + len(rows[0]) + 0.5) * cell, 20 + (around + y + 0.5) * cell
        pen.text(place, str(len(rows) - y), (40, 40, 60), font(13), anchor="mm")
    if outline:
        corner, far = 20 + around * cell, (20 + (around + len(rows[0])) * cell, 20 + (around + len(rows)) * cell)
        if by_hand:  # neither on the lines nor ending where the others do
            (left, top), (right, bottom), wide = (corner - 3, corner - 1), (far[0] + 2, far[1] - 2), 3
            for ends in (
                (left, top - 7, left + 2, bottom + 6),
                (right, top - 5, right - 3, bottom + 8),
                (left - 6, top, right + 7, top + 2),
                (left - 8, bottom, right + 5, bottom + 3),
            ):
                pen.line(ends, fill=(70, 70, 80), width=wide)
        else:
            pen.rectangle((corner - 1, corner - 1, far[0] + 1, far[1] + 1), outline=(40, 40, 60), width=4)
    return png(image)


@pytest.mark.parametrize("numbers", [False, True])
def test_an_outline_is_told_from_the_bold_lines_of_squared_paper(numbers: bool) -> None:
    """Bold lines run on beyond its corners; it lies on none of them."""
    ask = Ask(key=Key(dark=TUCK), repeat="whole")
    assert trace(paper(ROWS, 4, numbers, outline=True), "paper.png", ask).whole.rows() == ROWS


def test_an_outline_that_was_drawn_by_hand_lies_beside_the_lines_of_squared_paper() -> None:
    ask = Ask(key=Key(dark=TUCK), repeat="whole")
    data = paper(ROWS, 3, numbers=False, outline=True, by_hand=True)
    assert trace(data, "paper.png", ask).whole.rows() == ROWS


def test_an_outline_on_a_sheet_with_letters_and_numbers_at_its_sides() -> None:
    cell, margin, high, wide = 24, 3, len(ROWS) + 6, len(ROWS[0]) + 6
    image = Image.new("RGB", (wide * cell + 40, high * cell + 40), "white")
    pen = ImageDraw.Draw(image)
    for y in range(high):
        for x in range(wide):
            box = 10 + cell * x, 10 + cell * y, 10 + cell * (x + 1), 10 + cell * (y + 1)
            pen.rectangle(box, (230, 230, 230) if 0 in (x, y) else None, (190, 190, 190))
            if (x == 0) != (y == 0):
                word = str(y) if x == 0 else "ABCDEFGHIJKLMNOPQ"[x - 1]
                pen.text((box[0] + 12, box[1] + 12), word, (60, 60, 60), font(12), anchor="mm")
            column, row = x - margin, len(ROWS) - 1 - (y - margin)
            if 0 <= column < len(ROWS[0]) and 0 <= row < len(ROWS) and ROWS[row][column] == "T":
                pen.text((box[0] + 12, box[1] + 12), "x", (20, 20, 20), font(15), anchor="mm")
    corner = 10 + margin * cell
    pen.rectangle((corner, corner, corner + cell * len(ROWS[0]), corner + cell * len(ROWS)), None, (20, 20, 20), 2)
    traced = trace(png(image), "sheet.png", Ask(key=Key(dark=TUCK), repeat="whole"))
    assert traced.whole.rows() == ROWS


def test_lines_that_lie_beyond_the_picture_are_no_outline() -> None:
    lines = Axis(np.arange(-1, 12) * 20.0, np.full(13, 2.0))
    assert outline_in(np.full((212, 212, 3), 240, dtype=np.uint8), Lattice(lines, lines)) is None


def test_of_paper_without_an_outline_it_is_said_that_it_may_be_larger_than_the_chart() -> None:
    traced = trace(paper(ROWS, 3, numbers=False, outline=False), "paper.png", Ask(key=Key(dark=TUCK), repeat="whole"))
    assert (traced.whole.width, traced.whole.height) == (16, 13)
    (message,) = (message for message in traced.messages if message.severity == "warning")
    assert message.code == "T811" and "16 by 13 cells" in message.text and "10 by 7 of them" in message.text

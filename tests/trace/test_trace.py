"""Charts read back from pictures: our own, other people's, and pictures that are none."""

from __future__ import annotations

import io
import json
import re
import struct
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from matplotlib.figure import Figure
from PIL import Image, ImageDraw, ImageOps
from PIL.PngImagePlugin import PngInfo

sys.path.insert(0, str(Path(__file__).parent))

import accuracy
import round_trip
from pictures import Style, distorted, drawn, png

from stitchc.__main__ import run
from stitchc.chart import KNIT, SLIP, TUCK, Chart
from stitchc.cli.products import trace as command
from stitchc.drawn import Drawing, draw
from stitchc.messages import Refused
from stitchc.page.png import png as painted
from stitchc.trace import Ask, Key, trace
from stitchc.trace.grid import Axis, Lattice
from stitchc.trace.negative import negative_of
from stitchc.trace.product import trace_chart

SHOWN = Key(dark=TUCK, light=KNIT, colours=(((190, 40, 40), SLIP),))


def chart_of(cells: object) -> Chart:
    array = np.array(cells, dtype=np.uint8)
    return Chart(array, (None,) * len(array))


def drawn_here(chart: Chart, notation: str, face: str = "purl", cell_mm: float = 4.5) -> bytes:
    drawing = Drawing(notation=notation, face=face, cell_mm=cell_mm, repeats=(1, 1))  # type: ignore[arg-type]
    return painted(draw("kelp", chart, drawing)[0], 100, "RGB")


def letters(seed: int, width: int, height: int) -> list[str]:
    random = np.random.default_rng(seed)
    return ["".join(random.choice(list("KKKTS"), width)) for _ in range(height)]


def refused(data: bytes, ask: Ask | None = None) -> str:
    with pytest.raises(Refused) as error:
        trace(data, "chart.png", ask)
    assert error.value.messages[0].advice
    return error.value.messages[0].code


# -- our own charts, in the squared-paper and running-thread notations (Spencer, Knitting Technology, 3rd ed.) --------

ROW, COLUMN = np.mgrid[0:12, 0:10]
REGULAR = {
    "chequer of knit and slip": np.where((ROW + COLUMN) % 2, KNIT, SLIP),
    "chequer of knit and tuck": np.where((ROW + COLUMN) % 2, KNIT, TUCK),
    "columns of knit and slip": np.where(COLUMN % 2, KNIT, SLIP),
    "rows of knit and tuck": np.where(ROW % 2, KNIT, TUCK),
    "knit rows between": np.where((ROW % 4 == 0) & (COLUMN % 2 == 0), TUCK, KNIT),
    "chequer of tuck and slip": np.where((ROW + COLUMN) % 2, TUCK, SLIP),
    "plain": 0 * ROW,
    "all tuck": 0 * ROW + TUCK,
    "all slip": 0 * ROW + SLIP,
    "one row": np.array([[KNIT, TUCK, SLIP, KNIT, KNIT]]),
    "one column": np.array([[KNIT], [SLIP], [TUCK], [KNIT]]),
    "one cell": np.array([[TUCK]]),
}


@pytest.mark.parametrize("name", REGULAR)
@pytest.mark.parametrize("notation", ["squared", "thread", "plain"])
def test_regular_charts_of_ours_come_back_exactly(name: str, notation: str) -> None:
    chart = chart_of(REGULAR[name])
    assert trace(drawn_here(chart, notation), "kelp.png", Ask(repeat="whole")).whole.rows() == chart.rows()


@pytest.mark.parametrize("cell_mm", [6.0, 7.5])
def test_needles_that_a_running_thread_passes_come_back_from_a_bare_picture(cell_mm: float) -> None:
    chart = Chart.from_rows(["KTSK-K", "SKKS-K", "KKTK-S", "TKSK-K", "KKTT-K", "SKKK-T"])
    (page,) = draw("kelp", chart, Drawing(notation="thread", cell_mm=cell_mm, repeats=(2, 2)))
    bare = png(Image.open(io.BytesIO(painted(page, 100, "RGB"))).convert("RGB"))
    assert trace(bare, "kelp.png").chart.rows() == chart.rows()


@pytest.mark.parametrize("notation", ["squared", "plain"])
def test_needles_out_of_work_come_back_from_a_chart_of_ours_and_from_its_bare_picture(notation: str) -> None:
    chart = Chart.from_rows(["KTK-KTK-", "KKK-KKK-", "TKT-TKT-"] * 3)
    data = drawn_here(chart, notation, cell_mm=6.0)
    bare = png(Image.open(io.BytesIO(data)).convert("RGB"))
    for picture in (data, bare):
        assert trace(picture, "kelp.png", Ask(repeat="whole")).whole.rows() == chart.rows()
        for repeat in ("smallest", (4, 3)):
            traced = trace(picture, "kelp.png", Ask(repeat=repeat))  # type: ignore[arg-type]
            assert traced.chart.rows() == ["KTK-", "KKK-", "TKT-"]
    assert trace(data, "kelp.png", Ask(repeat=(3, 3))).chart.width == 3


def test_any_chart_of_ours_comes_back_exactly() -> None:
    """Without a word from the user and without a doubtful cell; `python tests/trace/round_trip.py` tries more."""
    tried = list(round_trip.attempts(seed=1, charts=6))
    assert len(tried) >= 6
    assert [told for told in tried if told.fault] == []


def kept(image: Image.Image, words: str) -> bytes:
    """A picture saved again by a program that keeps what our file says of itself."""
    info = PngInfo()
    info.add_text("stitchc-chart", words)
    return saved(image, "PNG", pnginfo=info)


def test_a_chart_of_ours_that_was_changed_is_read_as_it_is_now() -> None:
    """What the file says counts only while its pixels are those that it was written with."""
    chart = chart_of(np.random.default_rng(2).integers(0, 3, (9, 11)))
    first = Image.open(io.BytesIO(drawn_here(chart, "squared")))
    words = first.info["stitchc-chart"]
    same = trace(kept(first, words), "kelp.png")
    assert "as the file says" in same.how and same.whole.rows() == chart.rows() and same.messages == ()
    (left, top), (right, _), (_, bottom), _ = trace(kept(first, words), "kelp.png", Ask(grid="lines")).corners_px
    width, height = first.size
    cut = first.crop((round(left) - 4, 0, width, height))
    smaller = first.resize((width * 4 // 5, height * 4 // 5), Image.Resampling.LANCZOS)
    for changed in (cut, smaller):
        read = trace(kept(changed, words), "kelp.png", Ask(repeat="whole"))
        assert read.whole.rows() == chart.rows() and "as the file says" not in read.how
    blotted = first.copy()
    cell = (right - left) / 11
    row, column = next((y, x) for y in range(9) for x in range(11) if chart.cells[y, x] == TUCK)
    x, y = left + column * cell, bottom - (row + 1) * cell
    blotted.paste("white", (round(x) + 3, round(y) + 3, round(x + cell) - 2, round(y + cell) - 2))
    read = trace(kept(blotted, words), "kelp.png", Ask(repeat="whole"))
    assert read.whole.cells[row, column] == SLIP and (read.whole.cells != chart.cells).sum() == 1
    assert top < bottom


@pytest.mark.parametrize("words", ["", "x", "0" * 64 + ":2x2:KT/KK", "0" * 64 + ":999999x1:K", "0" * 64 + ":2x2:KT"])
def test_a_file_that_says_nonsense_of_itself_is_read_by_its_pixels(words: str) -> None:
    rows = letters(3, 8, 8)
    data = kept(drawn(rows, Style("fill", 20)), words)
    assert trace(data, "kelp.png", Ask(key=SHOWN, repeat="whole")).whole.rows() == rows


def test_the_signs_of_squared_paper_tell_the_face() -> None:
    chart = chart_of(np.random.default_rng(2).integers(0, 3, (9, 11)))
    bare = png(Image.open(io.BytesIO(drawn_here(chart, "squared", "knit"))).convert("RGB"))
    traced = trace(bare, "kelp.png", Ask(repeat="whole"))
    assert traced.whole.rows() == chart.rows()
    assert "seen from the knit side" in traced.how


@pytest.mark.parametrize("notation", ["squared", "thread", "plain"])
def test_a_chart_of_the_knit_side_that_the_command_drew_says_so_itself(notation: str, tmp_path: Path) -> None:
    """Thread and plain signs look the same on both sides."""
    from stitchc.__main__ import run

    (tmp_path / "a.stitch").write_text("stitch kelp\n 1: K4 T S K\n 2: K\n 3: T K2 S K3\n 4: K\n")
    drawn_to = tmp_path / "a.png"
    drawing = ["--face", "knit", "--notation", notation, "--repeats", "1x3"]
    assert run(["chart", str(tmp_path / "a.stitch"), *drawing, "-o", str(drawn_to)]) == 0
    assert trace(drawn_to.read_bytes(), "a.png").chart.rows() == ["KKKKTSK", "KKKKKKK", "TKKSKKK", "KKKKKKK"]


@pytest.mark.parametrize(("number", "spoil"), [(0, 10), (0, 11), (2, 0), (2, 10)])
def test_signs_that_reach_across_their_cells_are_not_taken_for_lines(number: int, spoil: int) -> None:
    """A ring or a thread shows at the middle of nearly every cell, as a line of a finer grid would."""
    tally = accuracy.Tally()
    accuracy.measure(accuracy.SOURCES[number], list(accuracy.SPOILT.values())[spoil], range(3, 4), tally)
    assert (tally.found, tally.wrong) == (1, 0)


@pytest.mark.parametrize("dark", [KNIT, TUCK, SLIP])
@pytest.mark.parametrize("notation", ["squared", "thread", "plain"])
def test_what_a_mark_is_said_to_be_never_turns_the_signs_of_our_charts_round(notation: str, dark: int) -> None:
    """Of squared paper, the ring for knit has more ink than the dot for tuck, which looks darker."""
    chart = chart_of(np.tile([[KNIT, TUCK], [KNIT, KNIT], [TUCK, KNIT], [KNIT, KNIT]], (3, 5)))
    data = drawn_here(chart, notation)
    traced = trace(data, "kelp.png", Ask(key=Key(dark=dark), repeat="whole"))
    assert traced.whole.rows() == chart.rows()
    assert [message.code for message in traced.messages][:1] == ["T814"]
    assert "--dark does not apply" in traced.messages[0].text
    several = trace(data, "kelp.png", Ask(key=Key(dark=dark, light=KNIT, alike=(((1, 1), TUCK),))))
    assert "--dark, --light and --like do not apply" in several.messages[0].text


@pytest.mark.parametrize("turned", [False, True], ids=["dark on light", "light on dark"])
@pytest.mark.parametrize("notation", ["squared", "thread"])
def test_where_marks_are_asked_about_that_are_signs_of_ours_their_notation_is_named(
    notation: str, turned: bool
) -> None:
    """What --dark says turns off the signs; a picture of a screen does not say which they are."""
    chart = chart_of(np.random.default_rng(2).integers(0, 3, (9, 11)))
    screen = Image.open(io.BytesIO(drawn_here(chart, notation))).convert("RGB")
    data = png(ImageOps.invert(screen) if turned else screen)
    with pytest.raises(Refused) as error:
        trace(data, "screen.png", Ask(key=Key(dark=SLIP)))
    assert error.value.messages[0].code == "T807"
    named = re.search(r"signs of stitchc chart, which --notation (\w+) reads", str(error.value.messages[0].advice))
    assert named is not None and named[1] == notation
    ask = Ask(notation=named[1], repeat="whole")  # type: ignore[arg-type]
    assert trace(data, "screen.png", ask).whole.rows() == chart.rows()


# -- other people's ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("mark", ["fill", "inset", "dot", "cross"])
def test_marks_are_read_by_colour(mark: str) -> None:
    rows = letters(3, 14, 12)
    traced = trace(png(drawn(rows, Style(mark, 20))), "scan.png", Ask(key=SHOWN, repeat="whole"))
    assert traced.whole.rows() == rows


def test_a_scan_is_read() -> None:
    rows = letters(4, 14, 12)
    scan = distorted(drawn(rows, Style("fill", 22)), 1, turned_deg=2.0, blur_px=0.7, noise=5, shade=0.2, jpeg=75)
    traced = trace(png(scan), "scan.png", Ask(key=SHOWN, repeat="whole"))
    assert traced.whole.rows() == rows
    assert abs(traced.turned_deg) == pytest.approx(2.0, abs=0.15)


@pytest.mark.parametrize(("dark", "letter"), [(KNIT, "K"), (TUCK, "T"), (SLIP, "S")])
def test_dark_cells_are_what_the_user_says(dark: int, letter: str) -> None:
    rows = ["".join("T" if (x + 2 * (y // 2)) % 4 == 0 else "K" for x in range(12)) for y in range(12)]
    read = trace(png(drawn(rows, Style("fill", 20))), "scan.png", Ask(key=Key(dark=dark), repeat="whole")).whole.rows()
    assert [[letter == cell for cell in row] for row in read] == [[cell == "T" for cell in row] for row in rows]


def test_unexplained_kinds_are_asked_about_with_a_cure_that_works() -> None:
    rows = letters(5, 12, 10)
    picture = png(drawn(rows, Style("fill", 20)))
    with pytest.raises(Refused) as error:
        trace(picture, "scan.png", Ask(key=Key(dark=TUCK)))
    assert error.value.messages[0].code == "T807"
    at = {letter: next((y, row.index(letter)) for y, row in enumerate(rows) if letter in row) for letter in "KTS"}
    cells = tuple((((y + 1), (x + 1)), "KTS".index(letter)) for letter, (y, x) in at.items())
    assert trace(picture, "scan.png", Ask(key=Key(alike=cells), repeat="whole")).whole.rows() == rows


@pytest.mark.parametrize("key", [Key(), Key(dark=SLIP), Key(colours=(((20, 20, 20), TUCK),))])
def test_only_kinds_that_nobody_named_are_asked_about_and_no_letter_is_put_in_their_place(key: Key) -> None:
    rows = letters(5, 12, 10)
    picture = png(drawn(rows, Style("fill", 20)))
    with pytest.raises(Refused) as error:
        trace(picture, "scan.png", Ask(key=key))
    places = re.findall(r"--like (\d+),(\d+)=\?", str(error.value.messages[0].advice))
    asked = [((int(row), int(column)), rows[int(row) - 1][int(column) - 1]) for row, column in places]
    assert "".join(sorted(letter for _, letter in asked)) == ("S" if key.colours else "ST")
    alike = tuple((cell, "KTS".index(letter)) for cell, letter in asked)
    answered = Key(dark=key.dark, colours=key.colours, alike=alike)
    assert trace(picture, "scan.png", Ask(key=answered, repeat="whole")).whole.rows() == rows


def test_where_no_such_signs_are_the_cure_leaves_what_was_said_of_the_marks() -> None:
    picture = png(drawn([row.replace("S", "T") for row in letters(5, 12, 10)], Style("fill", 20)))
    for key, advice in (
        (Key(), "--notation marks --dark tuck tells the cells apart by their look."),
        (Key(dark=SLIP), "--notation marks tells the cells apart by their look."),
    ):
        with pytest.raises(Refused) as error:
            trace(picture, "scan.png", Ask(notation="squared", key=key))
        assert error.value.messages[0].code == "T807" and error.value.messages[0].advice == advice


def test_pixel_art_is_read_pixel_by_pixel_and_reduced() -> None:
    art = Image.new("RGB", (16, 12), "white")
    for y in range(12):
        for x in range(16):
            if x % 4 == 0 and y % 2 == 1:
                art.putpixel((x, y), (0, 0, 0))
    traced = trace(png(art), "art.png")
    assert traced.chart.rows() == ["TKKK", "KKKK"]
    assert (traced.whole.width, traced.whole.height) == (16, 12)
    assert trace(png(art), "art.png", Ask(first_row="top")).chart.rows() == ["KKKK", "TKKK"]
    assert trace(png(art), "art.png", Ask(box_px=(0, 0, 8, 4))).whole.width == 8


CHARTS = {"tuck": ["KKT", "KKK", "TKK", "KTT"], "slip": ["KKS", "KKK", "SKK", "KSS"], "plain": ["KKK"] * 4}


def bitmap_of(rows: list[str], dark_means: str = "knit", seen_from: str = "purl", first_row: str = "bottom") -> bytes:
    from stitchc import BitmapOptions, bitmap
    from stitchc.machines import load
    from stitchc.messages import Span
    from stitchc.pattern import Stitch

    stitch = Stitch("kelp", Chart.from_rows(rows), Span("kelp.stitch", 1))
    options = BitmapOptions(dark=dark_means, seen_from=seen_from, first_row=first_row)  # type: ignore[arg-type]
    return bitmap.png(bitmap.make_picture(stitch, load("bitmap-standard"), options))


@pytest.mark.parametrize("first_row", ["bottom", "top"])
@pytest.mark.parametrize("seen_from", ["purl", "knit"])
@pytest.mark.parametrize("dark_means", ["knit", "hold"])
@pytest.mark.parametrize("name", CHARTS)
def test_a_bitmap_of_ours_comes_back_whatever_its_pixels_mean(
    name: str, dark_means: str, seen_from: str, first_row: str
) -> None:
    traced = trace(bitmap_of(CHARTS[name], dark_means, seen_from, first_row), "bm.png", Ask(repeat="whole"))
    assert traced.whole.rows() == CHARTS[name] and traced.messages == ()
    assert "as the file says" in traced.how


def test_a_bitmap_of_rows_that_tuck_and_rows_that_slip_comes_back_as_well() -> None:
    rows = ["KKT", "KKK", "SKK", "KKK"]
    assert trace(bitmap_of(rows), "bm.png", Ask(repeat="whole")).whole.rows() == rows


def test_a_bitmap_is_read_by_its_pixels_where_it_was_changed_or_that_is_asked_for() -> None:
    data = bitmap_of(CHARTS["tuck"], "hold")
    image = Image.open(io.BytesIO(data))
    larger = kept(
        image.resize((image.width * 4, image.height * 4), Image.Resampling.NEAREST), image.info["stitchc-chart"]
    )
    for read in (
        trace(larger, "bm.png", Ask(repeat="whole")),
        trace(data, "bm.png", Ask(grid="pixels", repeat="whole")),
    ):
        assert read.whole.rows() == CHARTS["tuck"] and "as the file says" not in read.how


# -- light on dark ----------------------------------------------------------------------------------------------------


def negative(image: Image.Image) -> bytes:
    return png(ImageOps.invert(image.convert("RGB")))


def typed_examples(advice: str | None) -> Key:
    """What the options in advice say, as whoever types them would have it."""
    found = re.findall(r"--like (\d+),(\d+)=([KTS])", str(advice))
    return Key(alike=tuple(((int(row), int(column)), "KTS".index(letter)) for row, column, letter in found))


@pytest.mark.parametrize("notation", ["squared", "thread", "plain"])
def test_signs_of_ours_are_read_from_a_screen_that_shows_them_light_on_dark(notation: str) -> None:
    chart = chart_of(np.random.default_rng(2).integers(0, 3, (9, 11)))
    screen = negative(Image.open(io.BytesIO(drawn_here(chart, notation))))
    for ask in (Ask(repeat="whole"), Ask(notation=notation, repeat="whole")):  # type: ignore[arg-type]
        traced = trace(screen, "screen.png", ask)
        assert traced.whole.rows() == chart.rows()
        assert "light marks on a dark ground" in traced.how


@pytest.mark.parametrize("dark", [TUCK, SLIP])
@pytest.mark.parametrize("mark", ["dot", "cross"])
@pytest.mark.parametrize("margin_px", [40, 0])
def test_of_light_marks_on_dark_cells_the_marked_ones_are_what_dark_says(mark: str, dark: int, margin_px: int) -> None:
    rows = [row.replace("S", "T") for row in letters(3, 14, 12)]
    style = Style(mark, 24, margin_px=margin_px, tuck=(0, 0, 0))
    screen = negative(drawn(rows, style))
    traced = trace(screen, "screen.png", Ask(key=Key(dark=dark), repeat="whole"))
    assert traced.whole.rows() == [row.replace("T", "KTS"[dark]) for row in rows]
    assert f"#000000 knit, #ffffff {('knit', 'tuck', 'slip')[dark]}" in traced.how
    (clash,) = traced.messages
    assert (clash.code, clash.severity) == ("T812", "info") and "marks are light" in clash.text
    other = trace(screen, "screen.png", Ask(key=typed_examples(clash.advice), repeat="whole"))
    assert other.whole.rows() == [row.translate(str.maketrans("KT", "KTS"[dark] + "K")) for row in rows]
    assert other.messages == ()
    if margin_px:
        photo = png(distorted(ImageOps.invert(drawn(rows, style)), 1, turned_deg=1.5, blur_px=0.7, noise=5, jpeg=75))
        again = trace(photo, "photo.png", Ask(key=Key(dark=dark), repeat="whole"))
        assert again.whole.rows() == traced.whole.rows() and [m.severity for m in again.messages] == ["info"]


def test_on_a_light_page_it_is_asked_whether_the_dark_cells_are_the_marked_ones() -> None:
    """Marks that touch each other leave light spots, which are what is blank."""
    rows = [row.replace("S", "T") for row in letters(3, 14, 12)]
    dark = ImageOps.invert(drawn(rows, Style("dot", 24, margin_px=0, tuck=(0, 0, 0))).convert("RGB"))
    page = Image.new("RGB", (dark.width + 80, dark.height + 80), "white")
    page.paste(dark, (40, 40))
    traced = trace(png(page), "page.png", Ask(key=Key(dark=TUCK), repeat="whole"))
    assert [(message.code, message.severity) for message in traced.messages] == [("T812", "warning")]


def test_light_marks_in_colours_are_told_by_them() -> None:
    rows = letters(3, 14, 12)
    screen = negative(drawn(rows, Style("cross", 24)))
    key = Key(dark=TUCK, light=KNIT, colours=(((65, 215, 215), SLIP),))  # the negative of the red that is drawn
    traced = trace(screen, "screen.png", Ask(key=key, repeat="whole"))
    assert traced.whole.rows() == rows and traced.messages == ()


@pytest.mark.parametrize("dark", [TUCK, SLIP])
@pytest.mark.parametrize("mark", ["fill", "inset"])
def test_of_light_squares_on_a_dark_page_dark_is_taken_at_its_word_with_a_warning(mark: str, dark: int) -> None:
    rows = [row.replace("S", "T") for row in letters(3, 14, 12)]
    screen = negative(drawn(rows, Style(mark, 24, tuck=(0, 0, 0))))
    traced = trace(screen, "screen.png", Ask(key=Key(dark=dark), repeat="whole"))
    assert traced.whole.rows() == [row.translate(str.maketrans("KT", "KTS"[dark] + "K")) for row in rows]
    (clash,) = traced.messages
    assert (clash.code, clash.severity) == ("T812", "warning") and "page is dark" in clash.text
    other = trace(screen, "screen.png", Ask(key=typed_examples(clash.advice), repeat="whole"))
    assert other.whole.rows() == [row.replace("T", "KTS"[dark]) for row in rows] and other.messages == ()


@pytest.mark.parametrize(("cell_px", "is_one"), [(4, False), (12, True)])
def test_cells_that_are_hardly_more_than_their_lines_make_no_negative(cell_px: int, is_one: bool) -> None:
    pixels = np.zeros((8 * cell_px, 8 * cell_px, 3), dtype=np.uint8)
    pixels[::cell_px] = 120
    pixels[cell_px // 2 :: 2 * cell_px, cell_px // 2 :: cell_px] = 255
    if cell_px > 6:
        pixels[cell_px // 2 + 1 :: 2 * cell_px, cell_px // 2 :: cell_px] = 255
    axis = Axis.evenly(0.0, float(cell_px), 8)
    assert (negative_of(pixels, Lattice(axis, axis)) is not None) == is_one


@pytest.mark.parametrize("margin_px", [30, 0])
def test_a_chart_that_is_nearly_all_dark_on_white_paper_is_no_negative(margin_px: int) -> None:
    rows = ["T" * 14] * 5 + ["TTTTKTTTTTTTTT"] + ["T" * 14] * 6
    for line in ((120, 120, 120), (255, 255, 255)):
        picture = png(drawn(rows, Style("fill", 20, line=line, line_px=2, margin_px=margin_px)))
        traced = trace(picture, "scan.png", Ask(key=Key(dark=TUCK), cells=(14, 12), repeat="whole"))
        assert traced.whole.rows() == rows and "light marks" not in traced.how
        assert all("dark" not in message.text for message in traced.messages)


# -- no pictures, or none of a chart ----------------------------------------------------------------------------------


def test_small_black_squares_on_grey_lines_are_read() -> None:
    """Squares of 8 px: the lines may as well be a pattern of pixels."""
    side, columns, rows = 8, 16, 12
    image = Image.new("RGB", (columns * side + 21, rows * side + 21), "white")
    pen = ImageDraw.Draw(image)
    for row in range(rows):
        for column in range(columns):
            left, top = 10 + column * side, 10 + row * side
            inside = "black" if (row + column) % 2 == 0 else "white"
            pen.rectangle((left, top, left + side, top + side), fill=inside, outline=(128, 128, 128))
    for cells in (None, (columns, rows)):
        read = trace(png(image), "small.png", Ask(key=Key(dark=TUCK, light=KNIT), cells=cells, repeat="whole"))
        assert (read.whole.width, read.whole.height) == (columns, rows) and read.chart.rows()[0][:2] in ("KT", "TK")


def test_a_pattern_that_check_would_refuse_as_too_large_is_not_written(monkeypatch: pytest.MonkeyPatch) -> None:
    from stitchc.notation import gather
    from stitchc.options import TraceOptions
    from stitchc.trace import trace_chart

    picture = png(drawn(letters(5, 12, 10), Style("fill", 20)))
    options = TraceOptions(dark="tuck", colours=SHOWN.colours, repeat="whole")
    (file,) = trace_chart(picture, options, "scan.png").files
    monkeypatch.setattr(gather, "MOST_BYTES", len(file.content) - 1)
    with pytest.raises(Refused) as error:
        trace_chart(picture, options, "scan.png")
    assert error.value.messages[0].code == "T805"


def test_examples_are_true_or_their_conflict_is_named() -> None:
    rows = [row.replace("S", "T") for row in letters(5, 12, 10)]
    picture = png(drawn(rows, Style("fill", 20)))
    marked = [(y + 1, x + 1) for y, row in enumerate(rows) for x, letter in enumerate(row) if letter == "T"][:2]
    read = trace(picture, "scan.png", Ask(key=Key(alike=((marked[0], SLIP),)), repeat="whole"))
    assert read.whole.rows() == [row.replace("T", "S") for row in rows]
    with pytest.raises(Refused) as error:
        trace(picture, "scan.png", Ask(key=Key(alike=((marked[0], SLIP), (marked[1], TUCK)))))
    (message,) = error.value.messages
    row, column = marked[1]
    assert message.code == "T807" and "look alike" in message.text and f"--like {row},{column}=T" in message.text


def test_an_example_that_another_option_contradicts_is_refused_with_both() -> None:
    rows = [row.replace("S", "T") for row in letters(5, 12, 10)]
    picture = png(drawn(rows, Style("fill", 20, tuck=(0, 0, 0))))
    row, column = next((y + 1, x + 1) for y, row in enumerate(rows) for x, letter in enumerate(row) if letter == "T")
    example = (((row, column), SLIP),)
    chart = chart_of(np.random.default_rng(2).integers(0, 3, (9, 11)))
    ours, other = drawn_here(chart, "squared"), (int(chart.cells[1, 1]) + 1) % 3
    for data, ask, said in (
        (picture, Ask(key=Key(dark=TUCK, alike=example)), "--dark tuck"),
        (picture, Ask(key=Key(colours=(((0, 0, 0), TUCK),), alike=example)), '--colour "#000000=T"'),
        (ours, Ask(grid="lines", notation="squared", key=Key(alike=(((2, 2), other),))), "--notation squared"),
    ):
        with pytest.raises(Refused) as error:
            trace(data, "scan.png", ask)
        (message,) = error.value.messages
        ((at, code),) = ask.key.alike
        assert message.code == "T807" and said in message.text
        assert f"--like {at[0]},{at[1]}={'KTS'[code]}" in message.text


@pytest.mark.parametrize("sort", ["pencil", "shadow"])
def test_marks_of_changing_strength_are_one_mark_where_dark_says_so(sort: str) -> None:
    """Strokes between half and full strength, or the edge of a shadow that takes 30 % of the light."""
    rows = [row.replace("S", "T") for row in letters(7, 16, 14)]
    values = np.asarray(drawn(rows, Style("fill", 24, tuck=(60, 60, 60)))).astype(float)
    random = np.random.default_rng(3)
    height, width = values.shape[:2]
    y, x = np.mgrid[0:height, 0:width]
    if sort == "pencil":
        strength = np.kron(random.uniform(0.45, 1, (height // 12 + 1, width // 12 + 1)), np.ones((12, 12)))
        values = 255 - (255 - values) * strength[:height, :width, None]
    else:
        values *= (1 - 0.3 / (1 + np.exp((x + 0.4 * y - 0.6 * width) / 6)))[..., None]
    values += random.normal(0, 4, values.shape)
    picture = png(Image.fromarray(values.clip(0, 255).astype(np.uint8)))
    read = trace(picture, "photo.png", Ask(key=Key(dark=TUCK), cells=(16, 14), repeat="whole"))
    assert read.whole.rows() == rows and all(message.severity == "info" for message in read.messages)


def test_a_mark_of_another_form_is_no_shade() -> None:
    rows = [row.replace("S", "T") for row in letters(7, 16, 14)]
    dots, crosses = (drawn(rows, Style(mark, 24, tuck=(60, 60, 60))) for mark in ("dot", "cross"))
    half = dots.width // 2
    dots.paste(crosses.crop((half, 0, *dots.size)), (half, 0))
    with pytest.raises(Refused) as error:
        trace(png(dots), "chart.png", Ask(key=Key(dark=TUCK)))
    assert error.value.messages[0].code == "T807"


def test_a_scatter_plot_is_no_chart() -> None:
    """Axes with a few lines of a grid, and points that lie anywhere."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    for seed in (1, 2):
        random = np.random.default_rng(seed)
        figure, axes = pyplot.subplots(figsize=(5, 4))
        axes.scatter(random.normal(size=60), random.normal(size=60))
        axes.grid(True)
        held = io.BytesIO()
        figure.savefig(held)
        pyplot.close(figure)
        assert refused(held.getvalue()) in ("T803", "T807", "T812")


BOLD = [(5, 2), (5, 5), (10, 6), (4, 3)]


@pytest.mark.parametrize(("every", "wide"), BOLD)
@pytest.mark.parametrize("colour", [(0, 0, 0), (200, 40, 40)])
def test_bold_lines_are_lines(every: int, wide: int, colour: tuple[int, int, int]) -> None:
    """20 by 20 cells of 16 px under lines that are wider at every n."""
    rows = [row.replace("S", "T") for row in letters(23, 20, 20)]
    image = drawn(rows, Style("fill", 16))
    pen = ImageDraw.Draw(image)
    for number in range(0, 21, every):
        place = 30 + 16 * number
        pen.rectangle((place - wide // 2, 30, place - wide // 2 + wide - 1, 30 + 320), fill=colour)
        pen.rectangle((30, place - wide // 2, 30 + 320, place - wide // 2 + wide - 1), fill=colour)
    for cells in (None, (20, 20)):
        read = trace(png(image), "bold.png", Ask(key=Key(dark=TUCK), cells=cells, repeat="whole"))
        assert read.whole.rows() == rows


def test_a_photograph_from_one_side_is_read() -> None:
    rows = [row.replace("S", "T") for row in letters(24, 14, 12)]
    image = drawn(rows, Style("fill", 30, margin_px=90))
    tilted = image.transform(
        image.size, Image.Transform.PERSPECTIVE, (0.98, 0.06, -20, 0.03, 1.0, -10, 0.00012, 0.0001),
        Image.Resampling.BICUBIC, fillcolor="white",
    )  # fmt: skip
    read = trace(png(tilted), "photo.png", Ask(key=Key(dark=TUCK), repeat="whole"))
    assert read.whole.rows() == rows and "leaning" in read.how


@pytest.mark.parametrize("margin", [40, 33, 30])
@pytest.mark.parametrize("cell", [24, 13, 7])
def test_blocks_without_lines_in_the_middle_of_a_page_are_read_block_by_block(cell: int, margin: int) -> None:
    rows = letters(11, 12, 12)
    picture = png(drawn(rows, Style("blocks", cell, margin_px=margin, line_px=0)))
    traced = trace(picture, "art.png", Ask(key=SHOWN, repeat="whole"))
    assert traced.whole.rows() == rows
    assert [message.code for message in traced.messages] == ["T811"]


def test_a_blank_rim_that_may_be_a_margin_is_counted_and_told() -> None:
    picture = png(drawn(letters(11, 12, 12), Style("blocks", 20, margin_px=40, line_px=0)))
    traced = trace(picture, "art.png", Ask(key=SHOWN, repeat="whole"))
    assert (traced.whole.width, traced.whole.height) == (16, 16)
    assert [message.code for message in traced.messages] == ["T811"]


@pytest.mark.parametrize(("mark", "side"), [("fill", "left"), ("dot", "top"), ("cross", "right"), ("fill", "bottom")])
def test_a_picture_cut_along_its_outermost_line_loses_no_cells_and_one_cut_through_them_says_so(
    mark: str, side: str
) -> None:
    rows = letters(12, 14, 12)
    style = Style(mark, 20)
    whole = drawn(rows, style)
    assert trace(png(whole), "scan.png", Ask(key=SHOWN, repeat="whole")).messages == ()
    for more in (0, 10):  # just the line; half a row of cells as well
        off = style.margin_px + style.line_px + more
        box = [0, 0, *whole.size]
        box[["left", "top", "right", "bottom"].index(side)] += off if side in ("left", "top") else -off
        traced = trace(png(whole.crop(tuple(box))), "scan.png", Ask(key=SHOWN, repeat="whole"))  # type: ignore[arg-type]
        assert [message.code for message in traced.messages] == ["T813"]
        assert side in traced.messages[0].text
        width, height = traced.whole.width, traced.whole.height
        assert (width, height) == (
            14 - (more > 0 and side in ("left", "right")),
            12 - (more > 0 and len(side) % 3 == 0),
        )
        assert more or traced.whole.rows() == rows


def cut_out(rows: list[str], mark: str, cell_px: int, more_px: int) -> Image.Image:
    """A chart with black lines of 2 px, cut so many pixels inside its outermost lines."""
    style = Style(mark, cell_px, line_px=2, line=(0, 0, 0), tuck=(0, 0, 0))
    whole = drawn(rows, style)
    off = style.margin_px + style.line_px + more_px
    return whole.crop((off, off, whole.width - off, whole.height - off))


@pytest.mark.parametrize("mark", ["fill", "dot", "cross"])
@pytest.mark.parametrize("cell_px", [20, 30, 48])
def test_a_chart_cut_out_inside_its_frame_is_read_cell_by_cell_with_a_warning(mark: str, cell_px: int) -> None:
    """No outermost line is left; the strips at the edges are whole cells, or, 3 px further in, nearly."""
    rows = [row.replace("S", "T") for row in letters(21, 8, 8)]
    for more_px in (0, 3) if cell_px > 20 or mark != "cross" else (0,):  # 3 px further in, small crosses are cut
        image = cut_out(rows, mark, cell_px, more_px)
        for ask in (Ask(key=Key(dark=TUCK), repeat="whole"), Ask(key=Key(dark=TUCK), cells=(8, 8), repeat="whole")):
            traced = trace(png(image), "crop.png", ask)
            assert traced.whole.rows() == rows
            assert [message.code for message in traced.messages] == ["T813"]
            assert "left, right, top and bottom" in traced.messages[0].text
        assert trace(png(image), "crop.png", Ask(grid="pixels", repeat="whole")).whole.width >= image.width // 2


def test_a_chart_cut_through_its_outermost_cells_is_refused_with_a_cure_that_works() -> None:
    rows = [row.replace("S", "T") for row in letters(22, 8, 8)]
    image = cut_out(rows, "fill", 30, 14)
    with pytest.raises(Refused) as error:
        trace(png(image), "crop.png", Ask(key=Key(dark=TUCK)))
    message = error.value.messages[0]
    assert message.code == "T803" and "cut through cells" in message.text and "--cells 6x6" in str(message.advice)
    read = trace(png(image), "crop.png", Ask(key=Key(dark=TUCK), cells=(6, 6), repeat="whole"))
    assert read.whole.rows() == [row[1:-1] for row in rows[1:-1]]


def closed_grid(cell_px: int, margins_px: tuple[int, int, int, int], seed: int, grey: int = 170) -> Image.Image:
    """12 by 12 cells ruled in grey, a third of them filled black; margins at the left, top, right and bottom."""
    left, top, right, bottom = margins_px
    side = 12 * cell_px
    image = Image.new("RGB", (left + side + 1 + right, top + side + 1 + bottom), "white")
    pen = ImageDraw.Draw(image)
    for line in range(0, side + 1, cell_px):
        pen.line((left, top + line, left + side, top + line), fill=(grey, grey, grey))
        pen.line((left + line, top, left + line, top + side), fill=(grey, grey, grey))
    filled = np.random.default_rng(seed).random((12, 12)) < 1 / 3
    for row, column in np.argwhere(filled).tolist():
        x, y = left + column * cell_px, top + row * cell_px
        pen.rectangle((x + 1, y + 1, x + cell_px - 1, y + cell_px - 1), fill="black")
    return image


@pytest.mark.parametrize("cell_px", [16, 24])
@pytest.mark.parametrize("inverted", [False, True])
def test_a_margin_of_any_width_is_never_taken_for_cells(cell_px: int, inverted: bool) -> None:
    """Through the margin run no lines, be it white or dark, and a grid closed all around is whole."""
    for margin_px in (4, cell_px - 6, cell_px - 2, cell_px, cell_px + 2, 3 * cell_px // 2):
        image = closed_grid(cell_px, (margin_px,) * 4, seed=margin_px)
        if inverted:
            image = ImageOps.invert(image)
        traced = trace(png(image), "chart.png", Ask(key=Key(dark=TUCK, light=KNIT), repeat="whole"))
        assert (traced.whole.width, traced.whole.height) == (12, 12), margin_px
        assert "T813" not in [message.code for message in traced.messages], margin_px


@pytest.mark.parametrize(
    "margins_px", [(24, 24, 24, 0), (22, 0, 26, 23), (0, 20, 0, 22), (8, 12, 22, 25), (21, 22, 23, 25)]
)
def test_a_margin_at_some_sides_is_never_taken_for_cells(margins_px: tuple[int, int, int, int]) -> None:
    traced = trace(
        png(closed_grid(24, margins_px, seed=3)), "chart.png", Ask(key=Key(dark=TUCK, light=KNIT), repeat="whole")
    )
    assert (traced.whole.width, traced.whole.height) == (12, 12)
    assert "T813" not in [message.code for message in traced.messages]


FULL = (
    "KTKKTTKKTTKTKKTKKTK TKKTKTKKKKTTTKTKKKK TTKKKTTTTTTTKKTTKTK "
    "KKKTKTKKTTTTKTKKKKK TTTKKTTKTTTTTTTTKKT KTKKTTTTTTTKKTKKTTT",
    "KTTKKKT TKTTTTK TTTKKTK TKTKTKT KTKTTTT TTKTKTK KKTTKTK TTTKTTT TTTTTTT KTTTTTT KTTKTKK TTTKTTK TKKTKKT",
)


@pytest.mark.parametrize("full", FULL)
def test_a_part_of_a_grid_is_never_taken_for_all_of_it(full: str) -> None:
    """Where cells are filled in the lines' own black, many edges in succession are not to be seen."""
    rows = full.split()
    image = drawn(rows, Style("fill", 20, line=(0, 0, 0), tuck=(0, 0, 0)))
    traced = trace(png(image), "chart.png", Ask(key=Key(dark=TUCK), repeat="whole"))
    assert traced.whole.rows() == rows and traced.messages == ()


def test_a_picture_with_ruled_lines_is_never_read_pixel_by_pixel() -> None:
    """Lines of a page on which no lattice is found: those across are three times as far apart as those down."""
    image = Image.new("RGB", (300, 300), "white")
    pen = ImageDraw.Draw(image)
    for place in range(20, 280, 12):
        pen.line((place, 20, place, 280), fill="black")
    for place in range(20, 281, 36):
        pen.line((20, place, 280, place), fill="black")
    pen.ellipse((54, 54, 70, 70), fill="black")
    with pytest.raises(Refused) as error:
        trace(png(image), "lines.png")
    assert error.value.messages[0].code == "T803" and "--grid pixels" in str(error.value.messages[0].advice)
    assert trace(png(image), "lines.png", Ask(grid="pixels")).whole.width == 300


def test_small_pixel_art_that_may_be_a_grid_is_called_a_guess() -> None:
    """A windowpane of single pixels, and a grid of cells of seven, are the same picture."""
    pane = np.full((31, 31), KNIT)
    pane[7::8], pane[:, 7::8] = TUCK, TUCK
    traced = trace(art(pane), "art.png", Ask(key=Key(dark=TUCK), repeat="whole"))
    assert (traced.whole.width, traced.whole.height) == (31, 31)
    assert [message.code for message in traced.messages] == ["T812"]
    assert "larger cells" in traced.messages[0].text


def test_a_strip_of_boxes_beside_the_grid_is_none_of_it() -> None:
    """A band of yarns may stand a whole number of cells away."""
    random = np.random.default_rng(3)
    cells = random.integers(0, 3, (10, 12)).astype(np.uint8)
    chart = Chart(cells, tuple(random.choice(["oat", "foam"], 10).tolist()))
    drawing = Drawing(cell_mm=5.0, repeats=(1, 1))
    image = Image.open(io.BytesIO(painted(draw("kelp", chart, drawing)[0], 100, "RGB"))).convert("RGB")
    assert trace(png(image), "kelp.png", Ask(repeat="whole")).whole.rows() == chart.rows()


@pytest.mark.parametrize("mark", ["slash", "dash", "bar", "cross", "dot"])
def test_marks_of_others_are_read_but_called_a_guess_until_they_are_explained(mark: str) -> None:
    """Whatever they are taken for, the cells that look alike are read alike."""
    rows = [row.replace("S", "T") for row in letters(13, 14, 12)]
    lines = {
        "slash": [((4, 19), (19, 4))],
        "dash": [((5, 12), (19, 12))],
        "bar": [((12, 5), (12, 19))],
        "cross": [((5, 5), (19, 19)), ((5, 19), (19, 5))],
        "dot": [],
    }[mark]
    image = drawn(["K" * 14] * 12, Style("fill", 24))
    pen = ImageDraw.Draw(image)
    for y, row in enumerate(reversed(rows)):
        for x, letter in enumerate(row):
            left, top = 30 + 24 * x, 30 + 24 * y
            if letter == "T" and mark == "dot":
                pen.ellipse((left + 8, top + 8, left + 16, top + 16), fill="black")
            for (x1, y1), (x2, y2) in lines if letter == "T" else []:
                pen.line((left + x1, top + y1, left + x2, top + y2), fill="black", width=2)
    traced = trace(png(image), "scan.png", Ask(repeat="whole"))
    guess = [message for message in traced.messages if message.code == "T812"]
    assert len(guess) == 1 and "guess" in guess[0].text and "--dark" in str(guess[0].advice)
    alike = {
        (a, b) for mine, read in zip(rows, traced.whole.rows(), strict=True) for a, b in zip(mine, read, strict=True)
    }
    assert len(alike) == 2
    said = trace(png(image), "scan.png", Ask(key=Key(dark=TUCK), repeat="whole"))
    assert said.whole.rows() == rows and said.messages == ()


def test_a_guess_that_can_not_be_knitted_is_called_so_and_a_better_one_named() -> None:
    """Small dots on blank squares look like squared paper, on which an empty square slips, so that no needle knits."""
    rows = ["KTKK" * 3, "K" * 12, "KKKT" * 3, "K" * 12] * 3
    image = drawn(["K" * 12] * 12, Style("dot", 24))
    pen = ImageDraw.Draw(image)
    for y, row in enumerate(reversed(rows)):
        for x, letter in enumerate(row):
            middle = 42 + 24 * x, 42 + 24 * y
            if letter == "T":
                pen.ellipse((middle[0] - 4, middle[1] - 4, middle[0] + 4, middle[1] + 4), fill="black")
    traced = trace(png(image), "scan.png", Ask(repeat="whole"))
    assert traced.whole.rows() == [row.replace("K", "S") for row in rows]
    (guess,) = traced.messages
    assert (guess.code, guess.severity) == ("T812", "warning")
    assert "can't be knitted (a needle never knits and in a row no needle knits)" in guess.text
    assert str(guess.advice).startswith("With --dark tuck or --dark slip it can be knitted.")
    for dark in (TUCK, SLIP):  # what is said is not judged, and the advice gives a stitch
        better = trace(png(image), "scan.png", Ask(key=Key(dark=dark), repeat="whole"))
        assert better.messages == () and better.whole.rows() == [row.replace("T", "KTS"[dark]) for row in rows]


def test_a_guess_at_filled_squares_in_which_a_needle_never_knits_names_the_other_polarity() -> None:
    """Dark cells tuck by default; here whole rows are dark, so that they knit."""
    picture = png(drawn(["KT" * 6, "TT" * 6] * 6, Style("fill", 24, tuck=(0, 0, 0))))
    (guess,) = trace(picture, "scan.png").messages
    assert "can't be knitted" in guess.text
    assert str(guess.advice).startswith("With --dark knit it can be knitted.")
    assert trace(picture, "scan.png", Ask(key=Key(dark=KNIT))).chart.rows() == ["TK", "KK"]


@pytest.mark.parametrize("line", [(120, 120, 120), (0, 0, 0)])
def test_a_grid_without_a_mark_is_read_as_blank_only_where_marks_are_explained(line: tuple[int, int, int]) -> None:
    empty = png(drawn(["K" * 14] * 12, Style("fill", 20, line_px=2, line=line)))
    for ask in (Ask(), Ask(grid="lines")):
        with pytest.raises(Refused, match="No cell is marked"):
            trace(empty, "scan.png", ask)
    for key in (Key(dark=TUCK), Key(light=KNIT)):
        ask = Ask(key=key, repeat="whole")
        traced = trace(empty, "scan.png", ask)
        assert [message.code for message in traced.messages] == ["T812"]
        assert "No cell is marked" in traced.messages[0].text and "tiny or faint" in traced.messages[0].text
        assert traced.whole.rows() == ["K" * 14] * 12


@pytest.mark.parametrize("of", ["line", "points"])
def test_a_plot_over_a_grid_is_no_chart(of: str) -> None:
    random = np.random.default_rng(1)
    figure = Figure(dpi=72)
    axes = figure.subplots()
    axes.grid(True)
    if of == "line":
        axes.plot(np.cumsum(random.normal(size=200)))
    else:
        axes.scatter(random.random(80), random.random(80))
    plot = io.BytesIO()
    figure.savefig(plot, format="png")
    with pytest.raises(Refused):
        trace(plot.getvalue(), "plot.png")


@pytest.mark.parametrize(("side_px", "grey"), [(2, 0), (16, 246)], ids=["tiny", "faint"])
def test_marks_however_small_or_faint_are_seen_where_they_are_explained_and_else_named(side_px: int, grey: int) -> None:
    image = drawn(["K" * 14] * 12, Style("fill", 24))
    pen = ImageDraw.Draw(image)
    marked = [(row, column) for row in range(1, 12, 2) for column in range(2, 14, 3)]  # from the top left
    truth = np.full((12, 14), "K")
    for row, column in marked:
        x, y = 30 + 24 * column + 12 - side_px // 2, 30 + 24 * row + 12 - side_px // 2
        pen.rectangle((x, y, x + side_px - 1, y + side_px - 1), fill=(grey, grey, grey))
        truth[11 - row, column] = "T"
    traced = trace(png(image), "scan.png", Ask(key=Key(dark=TUCK), repeat="whole"))
    assert traced.whole.rows() == ["".join(row) for row in truth] and traced.messages == ()
    with pytest.raises(Refused) as error:
        trace(png(image), "scan.png")
    (remark,) = error.value.messages
    assert remark.code == "T812" and "larger or with more contrast" in str(remark.advice)
    assert f"in {len(marked)} of them, as in row 11, column 3, something is too small or too faint" in remark.text


def test_filled_squares_are_never_taken_for_signs() -> None:
    """What is dark tucks, unless something else is said."""
    for fill in ("black", "#c03020"):
        image = Image.new("RGB", (12 * 24 + 81, 12 * 24 + 81), "white")
        pen = ImageDraw.Draw(image)
        for row in range(12):
            for column in range(12):
                left, top = 40 + column * 24, 40 + row * 24
                inside = fill if (row // 2 * 2 + column) % 4 == 0 else "white"
                pen.rectangle((left, top, left + 24, top + 24), fill=inside, outline=(150, 150, 150))
        assert trace(png(image), "a.png").chart.rows() == ["KKTK", "KKTK", "TKKK", "TKKK"]


def bomb() -> bytes:
    def part(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = part(b"IHDR", struct.pack(">IIBBBBB", 60_000, 60_000, 1, 0, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + part(b"IDAT", zlib.compress(b"\0" * 100)) + part(b"IEND", b"")


def photograph() -> bytes:
    """Soft blotches at several scales, as in a picture of something furry."""
    random = np.random.default_rng(9)
    values = np.zeros((240, 320, 3))
    for size in (4, 12, 40):
        blotches = random.uniform(0, 255, (size, size, 3)).astype(np.uint8)
        values += np.asarray(Image.fromarray(blotches).resize((320, 240), Image.Resampling.BICUBIC)) / 3
    return png(Image.fromarray(values.astype(np.uint8)))


WHOLE = png(drawn(letters(1, 12, 12), Style("fill")))
NONE = {
    "empty": (b"", "T801"),
    "text": (b"stitch kelp\nrow 1: K T\n", "T801"),
    "drawing": (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "T801"),
    "document": (b"%PDF-1.4\n", "T801"),
    "cut short": (WHOLE[: len(WHOLE) // 2], "T801"),
    "bomb": (bomb(), "T802"),
    "strip": (png(Image.new("1", (74, 30_001))), "T802"),
    "one pixel": (png(Image.new("RGB", (1, 1))), "T804"),
    "one colour": (png(Image.new("RGB", (200, 100), "white")), "T804"),
    "photograph": (photograph(), "T807"),
}


@pytest.mark.parametrize("name", NONE)
def test_what_shows_no_chart_is_refused_with_a_cure(name: str) -> None:
    data, code = NONE[name]
    assert refused(data) == code


def test_pictures_of_every_mode_are_read() -> None:
    rows = ["".join("T" if (x * y) % 3 == 1 else "K" for x in range(12)) for y in range(10)]
    image = drawn(rows, Style("fill", 20, tuck=(0, 0, 0)))
    deep = Image.fromarray(np.asarray(image.convert("L")).astype(np.uint16) * 257)
    clear = image.convert("RGBA")
    clear.putalpha(Image.fromarray(255 * (np.asarray(image.convert("L")) < 255).astype(np.uint8)))
    for form, held in (
        ("GIF", image.convert("P")),
        ("PNG", image.convert("P")),
        ("PNG", clear),
        ("PNG", deep),
        ("JPEG", image.convert("CMYK")),
        ("TIFF", image.convert("L")),
    ):
        out = io.BytesIO()
        held.save(out, form)
        traced = trace(out.getvalue(), "misnamed.txt", Ask(key=Key(dark=TUCK), repeat="whole"))
        assert traced.whole.rows() == rows, (form, held.mode)


def saved(image: Image.Image, form: str, **how: object) -> bytes:
    out = io.BytesIO()
    image.save(out, form, **how)  # type: ignore[arg-type]
    return out.getvalue()


@pytest.mark.parametrize("form", ["JPEG", "PNG", "GIF", "TIFF", "BMP", "WEBP"])
@pytest.mark.parametrize("share", [0.03, 0.5, 0.97])
def test_a_picture_that_was_cut_short_is_never_read_in_part(form: str, share: float) -> None:
    data = saved(drawn(letters(14, 10, 8), Style("fill", 16)), form)
    assert refused(data[: int(len(data) * share)]) == "T801"


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_photograph_is_turned_upright_as_its_camera_says(orientation: int) -> None:
    """The orientations are those of the Exif standard, tag 0x0112; Pillow's way of undoing each is turned round."""
    rows = letters(15, 10, 8)
    exif = Image.Exif()
    exif[0x0112] = orientation
    undone = {2: 0, 3: 3, 4: 1, 5: 5, 6: 2, 7: 6, 8: 4}  # Image.Transpose that the camera would have to be held for
    image = drawn(rows, Style("fill", 20))
    held = image if orientation == 1 else image.transpose(Image.Transpose(undone[orientation]))
    traced = trace(saved(held, "JPEG", quality=92, exif=exif), "photo.jpg", Ask(key=SHOWN, repeat="whole"))
    assert traced.whole.rows() == rows


def test_of_a_file_with_several_pictures_the_first_is_read_and_that_is_said() -> None:
    rows = letters(16, 10, 8)
    image, other = drawn(rows, Style("fill", 20)), drawn(letters(17, 10, 8), Style("fill", 20))
    for form in ("GIF", "TIFF"):
        data = saved(image, form, save_all=True, append_images=[other])
        traced = trace(data, "moving", Ask(key=SHOWN, repeat="whole"))
        assert traced.whole.rows() == rows
        assert "the first picture in the file" in traced.how
    assert "first picture" not in trace(saved(image, "GIF"), "still.gif", Ask(key=SHOWN)).how


def test_numbers_that_are_no_greys_are_read_or_refused() -> None:
    rows = [row.replace("S", "T") for row in letters(18, 12, 10)]
    grey = np.asarray(drawn(rows, Style("fill", 20, tuck=(0, 0, 0))).convert("L"))
    for values in (grey.astype(np.float32) / 255, grey.astype(np.float32) - 255, grey.astype(np.int32) * 200 - 9000):
        data = saved(Image.fromarray(values), "TIFF")
        assert trace(data, "deep.tiff", Ask(key=Key(dark=TUCK), repeat="whole")).whole.rows() == rows
    assert refused(saved(Image.fromarray(np.full((40, 40), np.nan, dtype=np.float32)), "TIFF")) == "T804"


def test_a_picture_is_divided_evenly_where_the_user_says_how() -> None:
    rows = letters(19, 9, 7)
    image = drawn(rows, Style("blocks", 18, margin_px=0, line_px=0))
    blurred = distorted(image, 2, blur_px=2.0, noise=6, jpeg=60)
    ask = Ask(key=SHOWN, grid="even", cells=(9, 7), repeat="whole")
    traced = trace(png(blurred), "soft.png", ask)
    assert traced.whole.rows() == rows and "by even division" in traced.how
    assert refused(png(blurred), Ask(key=SHOWN, grid="even", cells=(900, 7))) == "T809"
    assert refused(WHOLE, Ask(key=SHOWN, cells=(40, 40))) == "T803"


def art(cells: object) -> bytes:
    """One pixel a cell, row 1 at the bottom: blank knits, black tucks."""
    return png(Image.fromarray(np.where(np.array(cells)[::-1] == TUCK, 0, 255).astype(np.uint8)))


def test_a_repeat_that_all_but_a_few_cells_agree_with_is_told_and_may_be_voted_for() -> None:
    cells = np.tile(np.array([[TUCK, KNIT, KNIT], [KNIT, KNIT, TUCK]], dtype=np.uint8), (6, 5))
    cells[7, 4] = TUCK
    odd = trace(art(cells), "art.png")
    assert odd.chart.rows() == odd.whole.rows()
    assert [message.code for message in odd.messages] == ["T810"]
    assert "3 by 2" in odd.messages[0].text and "row 8 column 5" in odd.messages[0].text
    voted = trace(art(cells), "art.png", Ask(repeat=(3, 2)))
    assert voted.chart.rows() == ["TKK", "KKT"]
    assert [message.text.split(" looks")[0] for message in voted.messages] == ["Row 8, column 5"]
    cut = trace(art(cells[:6, :14]), "art.png")  # the last repeat has only two of its three columns
    assert [message.code for message in cut.messages] == ["T810"] and "only in part" in cut.messages[0].text


def natural(seed: int) -> bytes:
    """Light as it falls in landscapes: amplitudes fall with the frequency (Field, J. Opt. Soc. Am. A 4, 1987)."""
    random = np.random.default_rng(seed)
    way = np.fft.fftfreq(200)
    far = np.hypot(way[:, None], way[None])
    far[0, 0] = 1
    waves = (random.normal(size=far.shape) + 1j * random.normal(size=far.shape)) / far
    values = np.real(np.fft.ifft2(waves))
    values = 255 * (values - values.min()) / (values.max() - values.min())
    return saved(Image.fromarray(values.astype(np.uint8)), "JPEG", quality=85)


@pytest.mark.parametrize("seed", range(4))
def test_a_photograph_of_a_landscape_is_refused(seed: int) -> None:
    assert refused(natural(seed)) == "T803"


def test_a_page_of_text_is_refused() -> None:
    random = np.random.default_rng(20)
    page = Image.new("RGB", (500, 300), "white")
    pen = ImageDraw.Draw(page)
    for line in range(14):
        words = " ".join(random.choice(["harbour", "kelp", "tide", "of", "stitches", "carriage"], 7))
        pen.text((10, 10 + line * 20), words, fill="black")
    assert refused(png(page)) == "T803"


def test_a_box_and_a_repeat_that_do_not_fit_are_refused() -> None:
    assert refused(WHOLE, Ask(box_px=(0, 0, 5000, 10))) == "T809"
    assert refused(WHOLE, Ask(key=SHOWN, repeat=(40, 40))) == "T809"
    assert refused(WHOLE, Ask(key=Key(dark=TUCK, colours=(((0, 0, 255), SLIP),)))) == "T808"


# -- the command ------------------------------------------------------------------------------------------------------


def test_the_command_writes_notation_that_compiles_to_the_chart(tmp_path: Path) -> None:
    from stitchc.notation import compile_file

    rows = letters(6, 12, 10)
    (tmp_path / "scan.png").write_bytes(png(drawn(rows, Style("fill"))))
    target = tmp_path / "kelp.stitch"
    arguments = [str(tmp_path / "scan.png"), "--dark", "tuck", "--colour", "#be2828=S", "-o", str(target)]
    result = CliRunner().invoke(command, arguments, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    pattern, messages, _ = compile_file(str(target))
    assert pattern is not None, messages
    assert pattern.wanted()[0].chart.rows() == rows


def test_the_command_gives_json_with_the_certainty_of_each_cell(tmp_path: Path) -> None:
    rows = letters(7, 12, 10)
    (tmp_path / "scan.png").write_bytes(png(drawn(rows, Style("fill"))))
    arguments = [str(tmp_path / "scan.png"), "--dark", "tuck", "--colour", "#be2828=S", "--format", "json"]
    result = CliRunner().invoke(command, arguments, catch_exceptions=False)
    told = json.loads(result.stdout)
    assert told["format"] == "stitchc-trace/1"
    assert told["whole"] == rows
    assert np.array(told["certainty"]).shape == (10, 12)


def test_a_smudged_cell_is_named_as_unsure_and_where_it_stands() -> None:
    chart = chart_of(np.random.default_rng(8).integers(0, 3, (12, 12)))
    clean = trace(drawn_here(chart, "squared"), "kelp.png", Ask(grid="lines", repeat="whole"))
    assert [message.code for message in clean.messages] == ["T812"]
    (left, top), (right, _), (_, bottom), _ = clean.corners_px
    x, y = round(left + 4.5 * (right - left) / 12), round(top + 5.5 * (bottom - top) / 12)
    image = Image.open(io.BytesIO(drawn_here(chart, "squared"))).convert("RGB")
    image.paste((90, 90, 90), (x - 7, y - 7, x + 1, y + 8))
    named = [m for m in trace(png(image), "kelp.png", Ask(repeat="whole")).messages if m.code == "T806"]
    assert [message.text.split(" is read")[0] for message in named] == ["Row 7, column 5"]
    assert f"Look at {x}," in (named[0].advice or "")


def test_rows_in_equal_pairs_are_not_made_one() -> None:
    """A pixel a cell: that every row is there twice says nothing of the size of a cell."""
    rows = ["KT", "KT", "KK", "KK", "TK", "TK", "KK", "KK"]
    dark = np.array([[letter != "K" for letter in row] for row in rows[::-1]])
    found = trace(png(Image.fromarray(np.where(dark, 0, 255).astype(np.uint8))), "k.png", Ask(key=Key(dark=TUCK)))
    assert found.whole.rows() == rows and "one pixel each" in found.how and "guess" not in found.how


def test_what_dark_means_is_called_a_guess_where_nobody_said_it() -> None:
    found = trace(png(Image.fromarray(np.array([[0, 255], [255, 0]], dtype=np.uint8))), "k.png")
    assert "a guess, unless --dark says what a marked cell is" in found.how


def test_a_large_picture_read_by_its_pixels_is_called_a_guess() -> None:
    """Dots at a distance, no lines: not read as the 6 by 6 cells that a person sees, and not passed over either."""
    image = Image.new("L", (150, 150), 255)
    pen = ImageDraw.Draw(image)
    for row, column in ((0, 0), (1, 3), (2, 5), (4, 1), (5, 4)):
        pen.rectangle([24 * column + 9, 24 * row + 8, 24 * column + 20, 24 * row + 21], fill=0)
        pen.point((24 * column + 8, 24 * row + 14), fill=0)
    found = trace(png(image), "k.png", Ask(key=Key(dark=TUCK)))
    assert found.whole.width == 150 and [message.code for message in found.messages] == ["T812"]
    assert not trace(png(image), "k.png", Ask(key=Key(dark=TUCK), grid="pixels")).messages


def test_of_very_many_cells_the_kinds_are_those_of_all_also_where_one_is_rare() -> None:
    """A pixel a stitch, noisy as a lossy format leaves it; 40 of 160,000 cells are of a third kind."""
    rng = np.random.default_rng(7)
    codes = rng.integers(0, 2, (400, 400))
    codes[rng.integers(0, 400, 40), rng.integers(0, 400, 40)] = 2
    noise = rng.normal(0, 3, (400, 400, 3))
    pixels = np.array([[250, 250, 250], [30, 30, 30], [200, 40, 40]])[codes] + noise
    image = Image.fromarray(pixels.clip(0, 255).astype(np.uint8))
    with pytest.raises(Refused) as refused:
        trace(png(image), "many.png", Ask(grid="pixels"))
    (said,) = refused.value.messages
    assert said.code == "T807" and "3 kinds" in said.text
    key = Key(colours=(((250, 250, 250), KNIT), ((30, 30, 30), SLIP), ((200, 40, 40), TUCK)))
    found = trace(png(image), "many.png", Ask(key=key, grid="pixels", repeat="whole"))
    as_drawn = np.array([KNIT, SLIP, TUCK], dtype=np.uint8)[codes]
    assert (found.whole.cells[::-1] == as_drawn).all()


@pytest.mark.parametrize("command", ["chart", "bitmap"])
def test_the_yarns_of_an_unchanged_picture_of_ours_come_back(command: str, tmp_path: Path) -> None:
    rows = "    1-2 in tar: K S\n    3-4 in moos: K\n    5: K\n    6: K S\n"
    pattern = f"yarn tar\nyarn moos\n\nstitch brick\n{rows}".replace("moos", "m\u00f6we")
    source, target = tmp_path / "brick.stitch", tmp_path / "brick.png"
    source.write_text(pattern, "utf-8")
    assert run([command, str(source), *(("--format", "png") if command == "chart" else ()), "-o", str(target)]) == 0
    made = trace_chart(target.read_bytes(), name="brick.png").files[0].content.decode()
    assert made.partition("\n")[2] == pattern

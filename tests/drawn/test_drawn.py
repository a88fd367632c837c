"""Drawn charts: what is on the page is the chart, legible, on the right side, whichever file it is read back from."""

from __future__ import annotations

import io
import math
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from playwright.sync_api import Browser

from stitchc.chart import KNIT, SLIP, TUCK, Chart
from stitchc.drawn import Drawing, draw
from stitchc.drawn.carried import chart_carried
from stitchc.drawn.html import html
from stitchc.drawn.symbols import GROUND_INK, NOTATIONS, Stroke, symbol
from stitchc.messages import Refused, Span
from stitchc.page import PAPERS, Circle, Disc, Line, Page, Polygon, Rectangle, Text
from stitchc.page.lettering import width_mm
from stitchc.page.pdf import pdf
from stitchc.page.png import png
from stitchc.page.svg import svg
from stitchc.pattern import Pattern, Stitch, Yarn

QUAY = Chart.from_rows(
    ["KTKTKKKK", "KKKKKKKK", "KTKTKKKK", "KKKKKKKK", "SSKKSSKK", "KKKKKKKT"],
    ["foam", "foam", None, "sand", "sand", "foam"],
)
SPAN = Span("harbour.stitch", 1)
YARNS = {
    "foam": Yarn("foam", SPAN, "sea green, 4 ply", "#7fb8a4"),
    "sand": Yarn("sand", SPAN, "oat", "#d9c7a0"),
}


def random_chart(width: int, height: int, seed: int = 0) -> Chart:
    random = np.random.default_rng(seed)
    return Chart(random.choice([0, 0, 0, 1, 2], (height, width)).astype(np.uint8), (None,) * height)


def grid_of(page: Page) -> tuple[float, float, float, int, int]:
    """Left, top, side of a cell, columns and rows, from the grid's own lines."""
    lines = [item for item in page.items if isinstance(item, Line) and item.line_mm in (0.18, 0.25)]
    xs = sorted({line.x1_mm for line in lines if line.x1_mm == line.x2_mm})
    ys = sorted({line.y1_mm for line in lines if line.y1_mm == line.y2_mm})
    return xs[0], ys[0], xs[1] - xs[0], len(xs) - 1, len(ys) - 1


def centres(page: Page, column: int, row: int) -> tuple[float, float]:
    """The middle of a cell in mm; columns from the left, rows from below."""
    left, top, side, _, rows = grid_of(page)
    return left + (column + 0.5) * side, top + (rows - row - 0.5) * side


# -- the signs say what the chart says --------------------------------------------------------------------------------


def test_squared_paper_as_published() -> None:
    # Cross for a face stitch, ring for a reverse stitch (the page "Knitting notations"), dot in the square for a tuck
    # (Knitting Technology, 3rd ed., p. 96), empty square for a miss ("The float stitch", a page after that book)
    kinds = {
        (code, face): [type(shape).__name__ for shape in symbol(code, "squared", face)]
        for code in (KNIT, TUCK, SLIP)
        for face in ("purl", "knit")
    }
    assert kinds[KNIT, "knit"] == ["Stroke", "Stroke"]
    assert kinds[KNIT, "purl"] == ["Ring"]
    assert kinds[TUCK, "purl"] == kinds[TUCK, "knit"] == ["Spot"]
    assert kinds[SLIP, "purl"] == kinds[SLIP, "knit"] == []


@pytest.mark.parametrize("face", ["purl", "knit"])
def test_every_cell_of_the_svg_holds_its_sign(face: str) -> None:
    page = draw("quay", QUAY, Drawing(face=face, repeats=(1, 1)), yarns=YARNS)[0]  # type: ignore[arg-type]
    root = ET.fromstring(svg(page))
    assert root.get("width") == f"{page.width_mm:g}mm"
    space = "{http://www.w3.org/2000/svg}"
    left, top, side, columns, rows = grid_of(page)
    assert (columns, rows) == (8, 6)
    found = np.full((rows, columns), SLIP)

    def cell(x: float, y: float) -> tuple[int, int] | None:
        column, row = int((x - left) // side), rows - 1 - int((y - top) // side)
        return (row, column) if 0 <= column < columns and 0 <= row < rows else None

    for circle in root.iter(f"{space}circle"):
        place = cell(float(circle.get("cx", 0)), float(circle.get("cy", 0)))
        if place:
            found[place] = KNIT if circle.get("stroke") else TUCK
    for line in root.iter(f"{space}line"):
        x1, y1, x2, y2 = (float(line.get(key, 0)) for key in ("x1", "y1", "x2", "y2"))
        place = cell((x1 + x2) / 2, (y1 + y2) / 2)
        if place and x1 != x2 and y1 != y2:
            found[place] = KNIT
    wanted = QUAY.cells if face == "purl" else QUAY.cells[:, ::-1]
    assert np.array_equal(found, wanted)


@pytest.mark.parametrize("where", ["png", "pdf"])
def test_pixels_and_pdf_show_the_same_chart(where: str) -> None:
    chart = random_chart(24, 36, 3)
    page = draw("kelp", chart, Drawing(cell_mm=4))[0]
    if where == "png":
        dpi, image = 200, Image.open(io.BytesIO(png(page, 200, "RGB")))
    else:
        import pypdfium2

        document = pypdfium2.PdfDocument(pdf([page]))
        assert len(document) == 1
        assert document[0].get_size() == pytest.approx((page.width_mm * 72 / 25.4, page.height_mm * 72 / 25.4), abs=0.1)
        dpi, image = 200, document[0].render(scale=200 / 72).to_pil()
    grey = np.asarray(image.convert("L")).astype(float)
    for row in range(chart.height):
        for column in range(chart.width):
            x, y = centres(page, column, row)

            def dark(dx: float, dy: float, x: float = x, y: float = y) -> float:
                px, py = round((x + dx) * dpi / 25.4), round((y + dy) * dpi / 25.4)
                return float(255 - grey[py - 1 : py + 2, px - 1 : px + 2].mean())

            middle, ring = dark(0, 0), dark(0.27 * 4, 0)
            read = TUCK if middle > 200 else KNIT if ring > 60 else SLIP
            assert read == chart.cells[row, column], (row, column, middle, ring)


def test_a_running_thread_is_one_line_a_row_that_loops_where_it_knits() -> None:
    page = draw("quay", QUAY, Drawing(notation="thread", repeats=(1, 1)))[0]
    left, top, side, columns, rows = grid_of(page)
    threads = [
        item for item in page.items if isinstance(item, Polygon) and item.stroke and len(item.points_mm) > columns
    ]
    threads = [thread for thread in threads if thread.points_mm[-1][0] - thread.points_mm[0][0] > 1.5 * side]
    assert len(threads) == rows
    for row, thread in enumerate(threads):  # row 1 first
        xs = np.array([x for x, _ in thread.points_mm])
        ys = np.array([y for _, y in thread.points_mm])
        assert xs[0] == pytest.approx(left) and xs[-1] == pytest.approx(left + columns * side)
        base = top + (rows - row) * side
        for column in range(columns):
            inside = (xs > left + column * side) & (xs < left + (column + 1) * side)
            rises = bool(inside.any()) and float((base - ys[inside]).max()) > 0.5 * side
            turns_back = bool((np.diff(xs[inside]) < -1e-9).any()) if inside.any() else False
            wanted = {KNIT: (True, True), TUCK: (True, False), SLIP: (False, False)}[int(QUAY.cells[row, column])]
            assert (rises, turns_back) == wanted, (row, column)


def test_no_plain_sign_can_be_taken_for_purl() -> None:
    """In a published standard for hand knitting an upright bar is knit and a bar that lies is purl (from memory)."""
    for code in (KNIT, TUCK, SLIP):
        for shape in symbol(code, "plain", "purl"):
            if isinstance(shape, Stroke):
                ys = [y for _, y in shape.points]
                assert max(ys) - min(ys) > 0.35, "a bar that lies"


def test_the_png_carries_its_repeat_as_long_as_its_pixels_are_its_own() -> None:
    for face in ("purl", "knit"):
        content = png(draw("quay", QUAY, Drawing(face=face))[0], 72, "RGB")  # type: ignore[arg-type]
        with Image.open(io.BytesIO(content)) as image:
            words, pixels = dict(image.info), image.convert("RGB")
        assert chart_carried(words, pixels.tobytes()) == QUAY
        pixels.putpixel((5, 5), (1, 2, 3))
        assert chart_carried(words, pixels.tobytes()) is None
        shorter = words["stitchc-chart"].rpartition("/")[0]
        assert chart_carried({"stitchc-chart": shorter}, image.convert("RGB").tobytes()) is None


def test_the_words_for_those_who_cannot_see_it_say_what_it_shows() -> None:
    words = draw("quay", QUAY)[0].description
    assert "one repeat of 8 needles by 6 rows" in words and "knit with tuck and slip" in words
    assert "row 1 in foam: (K T)x2 K4; row 2 in foam: K8; row 3: " in words
    assert "row 1" not in draw("kelp", random_chart(60, 90))[0].description.replace("row 1 at the bottom", "")


@pytest.mark.parametrize("notation", NOTATIONS)
def test_signs_differ_in_shape_and_not_by_ink_alone(notation: str) -> None:
    from stitchc.trace.signs import _rasterised

    for face in ("purl", "knit"):
        looks = [_rasterised(code, notation, face, 7, 0, 0) > 0.2 for code in (KNIT, TUCK, SLIP)]  # type: ignore[arg-type]
        for one, two in ((0, 1), (0, 2), (1, 2)):
            assert (looks[one] != looks[two]).sum() >= 4


def test_contrast_is_enough() -> None:
    # WCAG 2.2, 1.4.11: graphics needed for understanding have 3:1 against their neighbours; 1.4.3: text 4.5:1
    def luminance(colour: str) -> float:
        values = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        red, green, blue = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in values)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    def ratio(one: str, two: str) -> float:
        bright, dark = sorted((luminance(one), luminance(two)), reverse=True)
        return (bright + 0.05) / (dark + 0.05)

    grey = round(255 * (1 - GROUND_INK))
    assert ratio(f"#{grey:02x}{grey:02x}{grey:02x}", "#ffffff") >= 4.5
    dark = {"navy": Yarn("navy", SPAN, "", "#10204a"), **YARNS}
    chart = Chart.from_rows(["KT", "KK", "TK"], ["navy", "foam", "sand"])
    page = draw("a", chart, yarns=dark)[0]
    fills = [(item, item.fill) for item in page.items if isinstance(item, Rectangle) and item.fill]
    for text in (item for item in page.items if isinstance(item, Text)):
        under = "#ffffff"
        for item, fill in fills:
            across = item.left_mm < text.x_mm < item.left_mm + item.width_mm
            if across and item.top_mm < text.y_mm < item.top_mm + item.height_mm:
                under = fill
        assert ratio(text.fill, under) >= 4.5, text


# -- numbers and sides ------------------------------------------------------------------------------------------------


def numbers_at(page: Page) -> dict[int, str]:
    """Row numbers by the side of the grid that they stand on."""
    left, top, side, columns, rows = grid_of(page)
    sides = {}
    for item in page.items:
        if isinstance(item, Text) and item.text.isdigit() and top < item.y_mm < top + rows * side:
            if item.x_mm > left + columns * side:
                sides[int(item.text)] = "right"
            elif item.x_mm < left:
                sides[int(item.text)] = "left"
    return sides


@pytest.mark.parametrize(
    ("carriage", "face", "first"),
    [("right", "purl", "right"), ("left", "purl", "left"), ("right", "knit", "left"), ("left", "knit", "right")],
)
def test_row_numbers_stand_where_the_carriage_starts(carriage: str, face: str, first: str) -> None:
    # from the knit side what is at the right of the bed is seen at the left
    page = draw("quay", QUAY, Drawing(carriage=carriage, face=face))[0]  # type: ignore[arg-type]
    other = {"left": "right", "right": "left"}[first]
    sides = numbers_at(page)
    assert sides == {row: first if row % 2 else other for row in range(1, 13)}


def test_numbers_go_on_over_an_odd_repeat() -> None:
    # three rows: the second time they are knitted from the other side
    page = draw("odd", Chart.from_rows(["KT", "KK", "TK"]), Drawing(repeats=(5, 2)))[0]
    assert numbers_at(page) == {1: "right", 2: "left", 3: "right", 4: "left", 5: "right", 6: "left"}


@pytest.mark.parametrize(("face", "order"), [("purl", [1, 5, 10, 12]), ("knit", [12, 10, 5, 1])])
def test_columns_are_numbered_from_the_left_of_the_bed(face: str, order: list[int]) -> None:
    page = draw("kelp", random_chart(12, 11), Drawing(face=face))[0]  # type: ignore[arg-type]
    left, top, side, columns, rows = grid_of(page)
    under = [
        (item.x_mm, int(item.text))
        for item in page.items
        if isinstance(item, Text) and item.text.isdigit() and top + rows * side < item.y_mm < top + rows * side + 6
    ]
    assert [number for _, number in sorted(under)] == order
    for x, number in under:
        column = number - 1 if face == "purl" else columns - number
        assert x == pytest.approx(left + (column + 0.5) * side)


@pytest.mark.parametrize("face", ["purl", "knit"])
def test_one_repeat_is_outlined(face: str) -> None:
    page = draw("quay", QUAY, Drawing(face=face, repeats=(2, 2)))[0]  # type: ignore[arg-type]
    left, top, side, _, _ = grid_of(page)
    heavy = [item for item in page.items if isinstance(item, Line) and item.line_mm > 0.5 and item.stroke == "#000000"]
    heavy = [line for line in heavy if line.x1_mm == line.x2_mm or line.y1_mm == line.y2_mm]
    xs = sorted({round(line.x1_mm, 6) for line in heavy if line.x1_mm == line.x2_mm})
    ys = sorted({round(line.y1_mm, 6) for line in heavy if line.y1_mm == line.y2_mm})
    start = 0 if face == "purl" else 8
    assert xs == pytest.approx([left + start * side, left + (start + 8) * side])
    assert ys == pytest.approx([top + 6 * side, top + 12 * side])


def test_the_yarn_band_names_each_rows_yarn() -> None:
    page = draw("quay", QUAY, Drawing(repeats=(1, 1)), yarns=YARNS)[0]
    left, top, side, _, rows = grid_of(page)
    bands = [
        (item, round((top + rows * side - item.top_mm - item.height_mm) / side), round(item.height_mm / side))
        for item in page.items
        if isinstance(item, Rectangle) and item.fill and item.left_mm + item.width_mm < left and item.width_mm < 8
        if top - 0.01 <= item.top_mm < top + rows * side
    ]
    bands.sort(key=lambda band: band[1])
    assert [(first, count) for _, first, count in bands] == [(0, 2), (2, 1), (3, 2), (5, 1)]
    assert [item.fill for item, _, _ in bands] == ["#7fb8a4", "#ffffff", "#d9c7a0", "#7fb8a4"]
    words = [item.text for item in page.items if isinstance(item, Text)]
    assert words.count("A") == 3 and words.count("B") == 2  # in the band, and once in the legend
    assert "foam, sea green, 4 ply" in words and "sand, oat" in words


def test_a_yarn_whose_colour_is_not_given_is_said_to_be_so() -> None:
    """It is drawn white, which nobody said; a yarn with a colour has no such words."""
    yarns = {"foam": YARNS["foam"], "sand": YARNS["sand"]._replace(colour=None)}
    words = [item.text for item in draw("quay", QUAY, yarns=yarns)[0].items if isinstance(item, Text)]
    assert "foam, sea green, 4 ply" in words and "sand, oat (colour not given)" in words


def test_the_legend_has_what_is_there_and_no_more() -> None:
    def legend(chart: Chart, **how: object) -> str:
        page = draw("a", chart, Drawing(**how))[0]  # type: ignore[arg-type]
        return " ".join(item.text for item in page.items if isinstance(item, Text))

    tuck = legend(Chart.from_rows(["KT", "KK"]))
    assert "reverse stitch" in tuck and "dot: the needle tucks" in tuck and "slips" not in tuck
    assert "face stitch" in legend(Chart.from_rows(["KS", "KK"]), face="knit")
    assert "knit side: what is at the left" in legend(Chart.from_rows(["KS", "KK"]), face="knit").replace("\n", " ")
    assert "loop round the needle" in legend(Chart.from_rows(["KS", "KK"]), notation="thread")
    assert "row 1 from the left" in legend(Chart.from_rows(["KS", "KK"]), carriage="left")


# -- pages ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", list(PAPERS))
@pytest.mark.parametrize(("width", "height"), [(2, 2), (24, 36), (90, 60), (200, 31), (7, 300)])
def test_pages_hold_every_cell_once_at_a_legible_size(paper: str, width: int, height: int) -> None:
    chart = random_chart(width, height, 5)
    pages = draw("kelp", chart, Drawing(paper=paper, repeats=(1, 1)))  # type: ignore[arg-type]
    covered = np.zeros((height, width), dtype=int)
    for page in pages:
        assert (page.width_mm, page.height_mm) == PAPERS[paper]
        _, top, side, columns, rows = grid_of(page)
        assert 3.0 <= side <= 8.0 + 1e-9
        first_column, first_row = 0, 0
        if len(pages) > 1:
            found = re.fullmatch(r"columns (\d+)–(\d+), rows (\d+)–(\d+)", page.label)
            assert found
            first_column, last_column, first_row, last_row = (int(part) for part in found.groups())
            first_column, first_row = first_column - 1, first_row - 1
            assert (columns, rows) == (last_column - first_column, last_row - first_row)
        covered[first_row : first_row + rows, first_column : first_column + columns] += 1
        dots = {
            (item.x_mm, item.y_mm) for item in page.items if isinstance(item, Disc) and item.y_mm < top + rows * side
        }
        wanted = np.argwhere(chart.cells[first_row : first_row + rows, first_column : first_column + columns] == TUCK)
        assert len(dots) == len(wanted)
    assert (covered == 1).all()


@given(
    st.integers(1, 130),
    st.integers(1, 90),
    st.sampled_from(NOTATIONS),
    st.sampled_from(["purl", "knit"]),
    st.sampled_from(["roll", "a4", "letter", "a3"]),
    st.text("abcMWÄж_-", min_size=1, max_size=60),
    st.booleans(),
)
@settings(max_examples=25, deadline=None)
def test_nothing_stands_outside_the_page_and_words_are_large_enough(
    width: int, height: int, notation: str, face: str, paper: str, name: str, yarned: bool
) -> None:
    yarns = tuple(["foam", "sand", None][row // 3 % 3] for row in range(height)) if yarned else (None,) * height
    chart = Chart(random_chart(width, height, width).cells, yarns)
    drawing = Drawing(notation=notation, face=face, paper=paper)  # type: ignore[arg-type]
    for page in draw(name, chart, drawing, title="Tide line " * 8, yarns=YARNS):
        for item in page.items:
            match item:
                case Text():
                    wide = width_mm(item.text, item.size_mm, item.bold)
                    left = item.x_mm - {"start": 0, "middle": wide / 2, "end": wide}[item.anchor]
                    assert left >= 3 and left + wide <= page.width_mm - 3, item
                    assert item.y_mm <= page.height_mm - 3 and item.y_mm - item.size_mm >= 3, item
                    assert item.size_mm >= 2.4, item
                case Disc() | Circle():
                    assert 5 < item.x_mm < page.width_mm - 5 and 5 < item.y_mm < page.height_mm - 5
                case Polygon():
                    assert all(3 < x < page.width_mm - 3 and 3 < y < page.height_mm - 3 for x, y in item.points_mm)
                case _:
                    pass


def test_more_cells_than_can_be_looked_at_are_refused() -> None:
    with pytest.raises(Refused, match="D701"):
        draw("large", Chart.plain(401, 400))
    with pytest.raises(Refused, match="D701"):
        draw("small", Chart.plain(2, 2), Drawing(repeats=(1000, 1000)))
    assert draw("just", Chart.plain(400, 400))


@pytest.mark.parametrize(
    ("size", "asked"),
    [((7, 7), (1000, 1000)), ((2, 2), (100_000, 3)), ((2, 2), (3, 100_000)), ((399, 400), (2, 1)), ((7, 3), (90, 90))],
)
def test_the_most_repeats_that_go_are_offered(size: tuple[int, int], asked: tuple[int, int]) -> None:
    """160,000 cells may be drawn: what is offered can be, and one more repeat of what was cut cannot."""
    with pytest.raises(Refused, match="D701") as caught:
        draw("small", Chart.plain(*size), Drawing(repeats=asked))
    found = re.fullmatch(r"--repeats (\d+)x(\d+)", str(caught.value.messages[0].advice))
    assert found
    across, up = int(found[1]), int(found[2])
    cells = math.prod(size)
    assert cells * across * up <= 160_000 and across <= asked[0] and up <= asked[1]
    more = (across + (across < asked[0])) * (up + (up < asked[1]))
    assert cells * more > 160_000
    if min(asked) == 1000:
        assert (across, up) == (57, 57)


# -- HTML -------------------------------------------------------------------------------------------------------------


def a_pattern() -> Pattern:
    hostile = '</title><script>alert("x")</script>'
    stitches = {
        name: Stitch(name, chart, SPAN)
        for name, chart in (("quay", QUAY), ("pier", Chart.from_rows(["KT", "KK", "TK", "KK"])))
    }
    return Pattern("harbour.stitch", stitches, YARNS, hostile, ("Worn <b>purl</b> side out.",))


def page_of(pattern: Pattern) -> str:
    stitches = tuple(pattern.stitches.values())
    return html(pattern, stitches, {each.name: draw(each.name, each.chart, yarns=pattern.yarns) for each in stitches})


def test_html_fetches_nothing_and_keeps_text_text() -> None:
    text = page_of(a_pattern())
    assert "<script" not in text
    assert not re.search(r"(src|href)=\"(?!#)", text)
    assert "Worn &lt;b&gt;purl" in text


@pytest.mark.browser
def test_html_in_a_browser_says_in_a_table_what_it_draws(tmp_path: Path, browser: Browser) -> None:
    path = tmp_path / "charts.html"
    path.write_text(page_of(a_pattern()), encoding="utf-8")
    page = browser.new_page(viewport={"width": 390, "height": 800})
    page.goto(path.as_uri())
    assert page.locator("svg").count() == 2
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.locator("summary").first.click()
    rows = page.locator("section").first.locator("tbody tr").all_inner_texts()
    duplicated = page.evaluate(
        "(all => all.length != new Set(all).size)([...document.querySelectorAll('[id]')].map(e => e.id))"
    )
    printed = page.pdf(format="A4")
    page.close()
    assert not duplicated
    assert rows[0].split("\t") == ["1", "tuck", "foam", "(K T)x2 K4"]
    assert rows[4].split("\t") == ["5", "slip", "sand", "(S2 K2)x2"]
    import pypdfium2

    assert 1 <= len(pypdfium2.PdfDocument(printed)) <= 3

"""The three writers put the same things in the same places, at true scale, and the same bytes every time."""

from __future__ import annotations

import io
from collections.abc import Callable
from ctypes import c_ushort, sizeof
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pypdfium2
import pytest
from PIL import Image

from stitchc.page import Circle, Disc, Line, Page, Polygon, Rectangle, Text
from stitchc.page.lettering import (
    fitted,
    font_path,
    lacking,
    printable,
    visual_order,
    what_is_lacking,
    width_mm,
    wrapped,
)
from stitchc.page.pdf import MOST_MM, pdf
from stitchc.page.png import Mode, png, size_px
from stitchc.page.svg import svg
from tests.page import reading

A4 = (210.0, 297.0)

# places that fall on no whole pixel at any of the resolutions
PLACES = [(20.13 + 17.77 * column, 30.41 + 23.19 * row) for column in range(9) for row in range(10)]


def discs_page() -> Page:
    return Page(*A4, tuple(Disc(x, y, 3.5) for x, y in PLACES), title="Discs", label="1")


@pytest.mark.parametrize(("dpi", "per_metre"), [(72, 2835), (96, 3780), (150, 5906), (300, 11811), (600, 23622)])
def test_png_carries_its_scale(dpi: int, per_metre: int) -> None:
    """dpi to pixels per metre, rounded: 100 dpi is 3937 in "png/metadata.rs" of the pltrs-codec sources; the others
    derived in the same way."""
    content = png(Page(*A4, ()), dpi)
    assert reading.pixels_per_metre(content) == (per_metre, per_metre)
    assert size_px(Page(*A4, ()), dpi) == (round(210 / 25.4 * dpi), round(297 / 25.4 * dpi))


@pytest.mark.parametrize("dpi", [150, 300, 600, 601])
def test_discs_in_png_are_alike_and_in_place(dpi: int) -> None:
    content = png(discs_page(), dpi)
    found = reading.blobs(reading.png_dark(content), dpi)
    assert len(found) == len(PLACES)
    assert len({(round(blob.width, 6), round(blob.height, 6), round(blob.fill, 9)) for blob in found}) == 1
    half_pixel = 25.4 / dpi / 2 + 1e-9
    for blob in found:
        assert min(max(abs(blob.x - x), abs(blob.y - y)) for x, y in PLACES) <= half_pixel


def test_discs_in_pdf_and_svg_are_in_place() -> None:
    page = discs_page()
    found = reading.discs(reading.blobs(reading.pdf_dark(pdf([page])), 300), 3.5, 0.2)
    assert len(found) == len(PLACES)
    for blob in found:
        assert min(max(abs(blob.x - x), abs(blob.y - y)) for x, y in PLACES) < 0.09  # a pixel of 300 dpi
    circles = reading.svg_circles(svg(page), "cut")
    assert sorted(circles) == [(pytest.approx(x), pytest.approx(y), 1.75) for x, y in sorted(PLACES)]


def lines_page() -> Page:
    return Page(
        *A4,
        (
            Line(30, 40, 130, 40, 0.25),
            Line(50, 60, 50, 160, 0.25),
            Rectangle(70, 60, 80, 50, line_mm=0.25),
            Rectangle(70, 130, 40, 20, fill="#000000", stroke=None),
            Circle(150, 200, 20, 0.5),
            Polygon(((30, 200), (40, 200), (35, 210))),
            Polygon(((60, 200), (70, 210), (80, 200)), fill=None, stroke="#000000", line_mm=0.5, closed=False),
            Line(30, 230, 90, 230, 0.5, dash_mm=(4, 2)),
            Line(100, 230, 130, 260, 0.5),
        ),
    )


@pytest.mark.parametrize("form", ["png", "pdf"])
def test_lines_are_as_long_as_they_say(form: str) -> None:
    dpi = 600 if form == "png" else 400
    dark = reading.png_dark(png(lines_page(), dpi)) if form == "png" else reading.pdf_dark(pdf([lines_page()]), dpi=dpi)
    found = reading.blobs(dark, dpi)
    pixel = 25.4 / dpi * (1.01 if form == "png" else 1.5)  # pdfium draws a fill up to a pixel wider

    def at(x: float, y: float) -> reading.Blob:
        return min(found, key=lambda blob: abs(blob.x - x) + abs(blob.y - y))

    assert at(80, 40).width == pytest.approx(100, abs=pixel)
    assert at(50, 110).height == pytest.approx(100, abs=pixel)
    frame = at(110, 85)
    assert (frame.width, frame.height) == (pytest.approx(80.25, abs=2 * pixel), pytest.approx(50.25, abs=2 * pixel))
    block = at(90, 140)
    assert (block.width, block.height, block.fill) == (pytest.approx(40, abs=pixel), pytest.approx(20, abs=pixel), 1.0)
    assert at(150, 200).width == pytest.approx(20.5, abs=2 * pixel)
    assert at(35, 205).fill == pytest.approx(0.5, abs=0.03)
    dashes = [blob for blob in found if abs(blob.y - 230) < 0.3 and blob.height < 1]
    assert len(dashes) == 10 and all(blob.width == pytest.approx(4, abs=pixel) for blob in dashes)


def test_pdf_page_sizes_title_labels_and_no_scaling() -> None:
    """A4, A3 and letter in points: 595.276 x 841.890, 841.890 x 1190.551, 612 x 792 (derived from mm and inches)."""
    sizes = [(210.0, 297.0), (297.0, 420.0), (215.9, 279.4)]
    points = [(595.276, 841.890), (841.890, 1190.551), (612.0, 792.0)]
    content = pdf([Page(*size, (), title="Tide — прилив", label=f"sheet {index}") for index, size in enumerate(sizes)])
    document = pypdfium2.PdfDocument(content)
    try:
        assert [document[index].get_size() for index in range(3)] == [
            (pytest.approx(w, abs=0.001), pytest.approx(h, abs=0.001)) for w, h in points
        ]
        about = document.get_metadata_dict()
        assert about["Title"] == "Tide — прилив" and about["Producer"] == "stitchc"
        assert not about["CreationDate"] and not about["ModDate"]
        assert [document.get_page_label(index) for index in range(3)] == ["sheet 0", "sheet 1", "sheet 2"]
    finally:
        document.close()
    assert b"/PrintScaling /None" in content
    assert b"stitchc" in content[:4096]


def test_what_a_pdf_reads_aloud_and_in_which_order() -> None:
    """The language, and the structure tree as pdfium reads it: words line by line, then the drawing's description."""
    raw = pypdfium2.raw
    words = [Text(20, y, text, 4) for y, text in ((20, "Tide line"), (30, "36 rows, 648 holes"))]
    page = Page(*A4, (*words, Disc(50, 50, 4), Text(60, 60, "7")), description="A card; hole means knit (— прилив).")
    content = pdf([page, page])
    assert b"/Lang (en)" in content

    def text(read: Callable[..., int], of: object) -> str:
        buffer = (c_ushort * 500)()
        size = read(of, buffer, sizeof(buffer))
        return bytes(buffer)[: max(0, size - 2)].decode("utf-16-le")

    document = pypdfium2.PdfDocument(content)
    try:
        for index in range(2):
            shown = document[index]
            tree = raw.FPDF_StructTree_GetForPage(shown.raw)
            whole = raw.FPDF_StructTree_GetChildAtIndex(tree, 0)
            parts = [
                raw.FPDF_StructElement_GetChildAtIndex(whole, at)
                for at in range(raw.FPDF_StructElement_CountChildren(whole))
            ]
            assert text(raw.FPDF_StructElement_GetType, whole) == "Document"
            kinds = [(text(raw.FPDF_StructElement_GetType, part), text(raw.FPDF_StructElement_GetAltText, part))
                     for part in parts if part]  # fmt: skip
            assert kinds == [("P", ""), ("P", ""), ("Figure", page.description)]
            assert shown.get_textpage().get_text_range().split("\r\n") == ["Tide line", "36 rows, 648 holes", "7"]
            raw.FPDF_StructTree_Close(tree)
    finally:
        document.close()


def test_the_same_bytes_every_time_and_no_date() -> None:
    page = lines_page()
    assert pdf([page, discs_page()]) == pdf([page, discs_page()])
    assert png(page, 150) == png(page, 150)
    assert svg(page) == svg(page)
    assert b"tIME" not in png(page, 150)


def test_a_pdf_page_past_what_the_form_allows_is_refused() -> None:
    """14,400 units, 200 inches, is the most without a user unit (documented limit of the form)."""
    assert pytest.approx(5080) == MOST_MM
    with pytest.raises(ValueError, match="5080 mm"):
        pdf([Page(210, 5081, ())])


def test_lettering_lies_where_it_should_in_png_and_pdf() -> None:
    page = Page(
        100,
        60,
        (Text(50, 20, "HHH", 5, "middle"), Text(90, 40, "HHH", 5, "end"), Text(10, 55, "HHH", 5, rotation_deg=90)),
    )
    wide = width_mm("HHH", 5)
    for dark in (reading.png_dark(png(page, 300)), reading.pdf_dark(pdf([page]), dpi=300)):
        found = reading.blobs(dark, 300)
        assert len(found) == 9
        middle = [blob for blob in found if abs(blob.y - 18) < 3]
        assert sum(blob.x for blob in middle) / 3 == pytest.approx(50, abs=0.15)
        assert max(blob.y + blob.height / 2 for blob in middle) == pytest.approx(20, abs=0.15)
        right = [blob for blob in found if abs(blob.y - 38) < 2 and blob.x > 60]
        assert max(blob.x + blob.width / 2 for blob in right) == pytest.approx(90, abs=0.7)
        turned = [blob for blob in found if blob.x < 20 and blob.y > 30]
        assert len(turned) == 3 and max(blob.x + blob.width / 2 for blob in turned) == pytest.approx(10, abs=0.15)
        assert min(blob.y - blob.height / 2 for blob in turned) == pytest.approx(55 - wide, abs=0.7)


def test_letters_that_the_font_lacks_are_said() -> None:
    assert font_path().is_file() and font_path(bold=True).is_file()
    assert printable("Прилив Ärmel λ") == "Прилив Ärmel λ"
    assert printable("波") == r"\u{6ce2}" and lacking("a波波b") == ["波"] and lacking("abc") == []
    assert what_is_lacking("tide", "chart") is None
    assert what_is_lacking("a波", "chart") == "The chart's font has no `波`; there the letters stand as \\u{…}."
    many = "".join(chr(0x4E00 + at) for at in range(11))
    assert " and 3 more; " in (what_is_lacking(many, "picture") or "")
    assert printable("a\u202eb") == r"a\u{202e}b"


def test_text_is_fitted_and_wrapped() -> None:
    assert fitted("short", 100, 3) == "short"
    cut = fitted("a long line of lettering", 20, 3)
    assert cut.endswith("…") and width_mm(cut, 3) <= 20
    lines = wrapped("a long line of lettering with averyveryverylongwordinit", 20, 3)
    assert all(width_mm(line, 3) <= 20 for line in lines)
    assert "".join(lines).replace(" ", "") == "alonglineofletteringwithaveryveryverylongwordinit"


def test_hostile_text_stays_text() -> None:
    page = Page(100, 50, (Text(5, 10, "</text><script>x</script>&\"'"), Text(5, 20, "nul\x00 \ud800")), title="<b>&")
    root = ElementTree.fromstring(svg(page))
    texts = [element.text for element in root.iter(f"{reading.SVG}text")]
    assert texts == ["</text><script>x</script>&\"'", r"nul\u{0} \u{d800}"]
    assert not list(root.iter(f"{reading.SVG}script"))
    pdf([page])
    png(page, 72)


def test_colours_and_greys() -> None:
    page = Page(40, 20, (Rectangle(0, 0, 20, 20, fill="#d9c7a0", stroke=None), Disc(30, 10, 10, "#1f3b57", "guide")))
    with Image.open(io.BytesIO(png(page, 100, "RGB"))) as image:
        assert image.mode == "RGB"
        assert image.getpixel((20, 40)) == (0xD9, 0xC7, 0xA0) and image.getpixel((118, 39)) == (0x1F, 0x3B, 0x57)
    with Image.open(io.BytesIO(png(page, 100, "L"))) as image:
        assert image.mode == "L" and 0 < np.asarray(image).min() < 128
    assert b'fill="#1f3b57"' in svg(page)


def test_on_the_cut_layer_everything_is_an_outline_and_holes_come_before_edges() -> None:
    """A sheet that is cut out first moves while its holes are cut."""
    items = (Rectangle(1, 1, 30, 18, layer="cut"), Disc(10, 10, 5), Line(5, 5, 6, 5, layer="cut"), Circle(20, 10, 5))
    root = ElementTree.fromstring(svg(Page(40, 20, (*items, Disc(30, 10, 5, layer="engrave")), "Card", "A card")))
    groups = {group.get("id"): group for group in root.iter(f"{reading.SVG}g")}
    assert list(groups) == ["engrave", "cut"]
    assert groups["cut"].get("fill") == "none" and all("fill" not in item.attrib for item in groups["cut"])
    assert [item.tag.removeprefix(reading.SVG) for item in groups["cut"]] == ["circle", "circle", "rect", "line"]
    assert groups["engrave"].find(f"{reading.SVG}circle").get("fill") == "#000000"  # type: ignore[union-attr]
    assert [title.text for title in root.iter(f"{reading.SVG}title")] == ["Card"], "a group's would show as a tooltip"


def test_stretching_moves_places_and_keeps_holes_round() -> None:
    page = Page(200, 100, (Disc(150, 50, 4), Line(50, 20, 150, 20), Text(100, 90, "x")))
    disc, line, text = page.stretched(1.01, 0.99).items
    assert isinstance(disc, Disc) and (disc.x_mm, disc.y_mm) == (pytest.approx(150.5), pytest.approx(50))
    assert disc.diameter_mm == pytest.approx(4, abs=0.001)
    assert isinstance(line, Line) and line.x2_mm - line.x1_mm == pytest.approx(101)
    assert isinstance(text, Text) and text.size_mm == 3.0
    assert page.stretched(1, 1) is page


def test_the_png_writer_does_not_wait_for_the_pdf_writer() -> None:
    """What a picture needs must not import what only a PDF needs."""
    import subprocess
    import sys

    code = "import sys, stitchc.page.png as p; p.png(p.Page(10, 10, ()), 72); print(*sys.modules)"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=Path.cwd())
    loaded = set(said.stdout.split())
    assert "PIL.Image" in loaded
    assert not {"reportlab", "matplotlib", "scipy", "lark"} & loaded


def test_right_to_left_words_are_set_in_order_for_a_writer_that_cannot_turn_them() -> None:
    assert visual_order("deep foam") == "deep foam"
    assert visual_order("שלום") == "םולש"
    assert visual_order("row 3 שלום עולם, foam") == "row 3 ,םלוע םולש foam"


@pytest.mark.parametrize("mode", ["1", "L", "RGB"])
def test_a_remembered_text_is_drawn_as_if_it_were_drawn_for_the_first_time(mode: Mode) -> None:
    """Pixel for pixel, in every anchor, also over the edge, where longer texts are drawn without being remembered."""
    places = [("start", -0.4, 4.0), ("middle", 20.3, 9.7), ("end", 41.0, 21.2), ("start", 5.0, 30.5)]
    texts = ["7", "240", "K T", "Wj", "גאות", "7"]
    items = [
        Text(x, y + n / 3, text, 2.4, anchor, bold=n % 2 == 0, fill="#0072b2")  # type: ignore[arg-type]
        for n, text in enumerate(texts)
        for anchor, x, y in places
    ]
    remembered = png(Page(40, 30, tuple(items), "a"), 150, mode)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("stitchc.page.png._REMEMBERED_LETTERS", 0)
        assert png(Page(40, 30, tuple(items), "a"), 150, mode) == remembered

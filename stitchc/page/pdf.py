"""Pages as one PDF by reportlab: vectors at true scale, exact page sizes, the font embedded, and no print scaling.

The bytes are the same every time. A page's words, the texts that stand before all else, are read first and in their
order; the rest is a figure that its description stands for. Knows pages only.
"""

from __future__ import annotations

import functools
import io
import math
import re
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Any, Final

from stitchc.page.items import MM_PER_INCH, Circle, Disc, Item, Line, Page, Polygon, Rectangle, Text
from stitchc.page.lettering import font_path, printable, visual_order
from stitchc.page.reading_order import ReadingOrder

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

POINTS_PER_MM: Final = 72 / MM_PER_INCH
MOST_MM: Final = 14_400 / POINTS_PER_MM
"""The longest side a PDF page may have without a user unit of its own: 14,400 points."""


def pdf(pages: Sequence[Page]) -> bytes:
    """The pages as one PDF file; its title is the first page's. Raises ValueError for a page over MOST_MM."""
    from reportlab.pdfgen.canvas import Canvas

    if any(max(page.width_mm, page.height_mm) > MOST_MM for page in pages):
        raise ValueError(f"a PDF page is at most {MOST_MM:.0f} mm long")
    out = io.BytesIO()
    font = fonts()[False]
    canvas = Canvas(out, invariant=1, pageCompression=1, pdfVersion=(1, 7), lang="en", initialFontName=font)
    canvas.setTitle(printable(pages[0].title))
    canvas.setSubject(printable(pages[0].description))
    canvas.setAuthor("")
    canvas.setCreator("stitchc")
    canvas.setProducer("stitchc")
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    order = ReadingOrder(canvas)
    for index, page in enumerate(pages):
        canvas.setPageSize((page.width_mm * POINTS_PER_MM, page.height_mm * POINTS_PER_MM))
        if page.label:
            canvas.addPageLabel(index, prefix=printable(page.label))
        draw_page(canvas, page, order.marked)
        order.show_page()
    order.close()
    canvas.save()
    return without_dates(out.getvalue())


def draw_page(canvas: Canvas, page: Page, marked: Callable[[str, str], AbstractContextManager[None]]) -> None:
    """Everything on a page, drawn on a canvas of its size. marked: begins an element of the order in which it is read
    ("P", or "Figure" with words in its place)."""
    names = fonts()
    canvas.saveState()
    canvas.translate(0, page.height_mm * POINTS_PER_MM)
    canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
    paper, words, drawing = _parts(page)
    for item in paper:
        _draw(canvas, item, names)
    for item in words:
        with marked("P", ""):
            _draw(canvas, item, names)
    if drawing:
        with marked("Figure", printable(page.description)):
            ink: str | None = None  # of the disc before: a card has hundreds of one colour
            for item in drawing:
                if not isinstance(item, Disc):
                    ink = None
                    _draw(canvas, item, names)
                    continue
                if item.fill != ink:
                    ink = item.fill
                    canvas.setFillColorRGB(*_rgb(ink))
                draw_circle(canvas, item.x_mm, -item.y_mm, item.diameter_mm / 2, stroke=0, fill=1)
    canvas.restoreState()


def draw_circle(canvas: Canvas, x: float, y: float, radius: float, stroke: int, fill: int) -> None:
    """A circle as reportlab draws it, in the same four curves and figures; it takes ten times as long, since it works
    out each figure of each curve anew."""
    from reportlab.pdfgen.canvas import PATH_OPS

    left, west, x_mid, east, right = _places(x, radius)
    low, south, y_mid, north, high = _places(y, radius)
    canvas._code.append(
        f"n {right} {y_mid} m {right} {north} {east} {high} {x_mid} {high} c "
        f"{west} {high} {left} {north} {left} {y_mid} c {left} {south} {west} {low} {x_mid} {low} c "
        f"{east} {low} {right} {south} {right} {y_mid} c {PATH_OPS[stroke, fill, canvas._fillMode]}"
    )


_BULGE: Final = 4 / 3 * (2**0.5 - 1)
"""How far the control points of a quarter of a circle lie from its ends, in radii."""


@functools.lru_cache(maxsize=4096)
def _places(centre: float, radius: float) -> tuple[str, ...]:
    """Where the ends and the control points of the quarters of a circle lie, along one axis; the holes of a card have
    them in common by columns and rows."""
    return tuple(_figure(centre + part * radius) for part in (-1, -_BULGE, 0, _BULGE, 1))


def _figure(value: float) -> str:
    """A figure in PDF, to seven digits or a millionth."""
    size = abs(value)
    decimals = 6 if size < 10 else max(0, 6 - int(math.log10(size)))
    return f"{value:.{decimals}f}".rstrip("0").rstrip(".") if decimals else f"{value:.0f}"


def _parts(page: Page) -> tuple[Sequence[Item], Sequence[Item], Sequence[Item]]:
    """The rectangle that colours the paper, if there is one, the words before the drawing, and the drawing."""
    first = int(bool(page.items) and isinstance(page.items[0], Rectangle) and page.items[0].width_mm == page.width_mm)
    rest = next(
        (index for index in range(first, len(page.items)) if not isinstance(page.items[index], Text)), len(page.items)
    )
    return page.items[:first], page.items[first:rest], page.items[rest:]


def without_dates(content: bytes) -> bytes:
    """The comments say what made the file and there is no date in it, all in as many bytes, so that nothing moves."""

    def blank(match: re.Match[bytes]) -> bytes:
        return b" " * len(match[0])

    def mark(match: re.Match[bytes]) -> bytes:
        return b"% stitchc".ljust(len(match[0]))

    first = content.index(b"\n") + 1
    end = content.index(b"\n", first)
    comment = content[first:end]
    if not comment.startswith(b"%") or len(comment) < 16:
        raise RuntimeError("a PDF with no comment at its head")
    binary = bytes(byte for byte in comment if byte > 127)[:4]  # tells transports that the file is not text
    tail = content.rindex(b"trailer")
    after = re.sub(rb"% ReportLab[^\n]*", mark, content[tail:])
    body = re.sub(rb"/(?:CreationDate|ModDate) \(D:[^)]*\)", blank, content[end:tail])
    return content[:first] + (b"%" + binary + b" stitchc").ljust(len(comment)) + body + after


@functools.cache
def fonts() -> dict[bool, str]:
    """Register both weights; their names, bold or not. Settles for the whole process, as reportlab does not let a file
    settle it for itself, that no stream is spelt out in letters."""
    from reportlab import rl_config
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    rl_config.useA85 = 0  # it makes a stream a quarter larger, and is slow
    names = {False: "lettering", True: "lettering-bold"}
    for bold, name in names.items():
        pdfmetrics.registerFont(TTFont(name, str(font_path(bold))))
    return names


def _draw(canvas: Canvas, item: Item, names: dict[bool, str]) -> None:
    """Draw one item; the canvas is in mm with y up from the page's top edge, so that y_mm is negative there."""
    match item:
        case Disc():
            canvas.setFillColorRGB(*_rgb(item.fill))
            draw_circle(canvas, item.x_mm, -item.y_mm, item.diameter_mm / 2, stroke=0, fill=1)
        case Circle():
            _inks(canvas, item.fill, item.stroke, item.line_mm)
            draw_circle(canvas, item.x_mm, -item.y_mm, item.diameter_mm / 2, 1, int(item.fill is not None))
        case Line():
            _inks(canvas, None, item.stroke, item.line_mm)
            canvas.setDash(list(item.dash_mm) if item.dash_mm else [])
            canvas.line(item.x1_mm, -item.y1_mm, item.x2_mm, -item.y2_mm)
            if item.dash_mm:
                canvas.setDash([])
        case Rectangle():
            _inks(canvas, item.fill, item.stroke, item.line_mm)
            corner = (item.left_mm, -item.top_mm - item.height_mm)
            canvas.rect(
                *corner, item.width_mm, item.height_mm, stroke=int(bool(item.stroke)), fill=int(bool(item.fill))
            )
        case Polygon():
            fill = item.fill if item.closed else None
            _inks(canvas, fill, item.stroke, item.line_mm)
            path: Any = canvas.beginPath()
            (x, y), *rest = item.points_mm
            path.moveTo(x, -y)
            for x, y in rest:
                path.lineTo(x, -y)
            if item.closed:
                path.close()
            canvas.drawPath(path, stroke=int(bool(item.stroke)), fill=int(bool(fill)))
        case Text():
            _text(canvas, item, names)


def _text(canvas: Canvas, item: Text, names: dict[bool, str]) -> None:
    words = visual_order(printable(item.text))
    if not words.strip():
        return
    canvas.setFillColorRGB(*_rgb(item.fill))
    canvas.setFont(names[item.bold], item.size_mm)
    draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}[item.anchor]
    if item.rotation_deg % 360 == 0:
        draw(item.x_mm, -item.y_mm, words)
        return
    canvas.saveState()
    canvas.translate(item.x_mm, -item.y_mm)
    canvas.rotate(item.rotation_deg)
    draw(0, 0, words)
    canvas.restoreState()


def _inks(canvas: Canvas, fill: str | None, stroke: str | None, line_mm: float) -> None:
    if fill:
        canvas.setFillColorRGB(*_rgb(fill))
    if stroke:
        canvas.setStrokeColorRGB(*_rgb(stroke))
        canvas.setLineWidth(line_mm)


def _rgb(colour: str) -> tuple[float, float, float]:
    return int(colour[1:3], 16) / 255, int(colour[3:5], 16) / 255, int(colour[5:7], 16) / 255

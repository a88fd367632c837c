"""A document as a PDF to print and tick off: headings that are bookmarks too, page numbers, tags in reading order.

Paragraphs and tables are set by reportlab with the font of every page embedded, and put on pages as `paging` divides
them. The same document gives the same bytes.
"""

from __future__ import annotations

import copy
import functools
import io
import itertools
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any, Final, Literal, TypeAlias, TypeVar
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor, black, white
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Paragraph, Spacer
from reportlab.platypus import Table as Grid

from stitchc.code import stretches
from stitchc.document.bed_strip import draw, legend
from stitchc.document.blocks import Block as Repeated
from stitchc.document.blocks import Line, fold, steps_of
from stitchc.document.document import (
    Block,
    ByHand,
    Document,
    Dots,
    Drawing,
    Heading,
    Label,
    Lines,
    Listing,
    PassRow,
    Path,
    Picture,
    Rows,
    Sheet,
    Table,
    Terms,
)
from stitchc.document.paging import NEVER, Page, paginate
from stitchc.page.items import PAPERS
from stitchc.page.lettering import fitted, font_path, printable, visual_order
from stitchc.page.pdf import draw_circle, draw_page, fonts, without_dates
from stitchc.page.reading_order import ReadingOrder, Within

_MARGIN: Final = 15 * mm
_TICKS: Final = (7 * mm, 6.2 * mm, 5.4 * mm)
"""Side of a box to tick, as in the page for a browser; a page has the largest that it holds."""
_UNBROKEN: Final = 60
"""Letters of code up to which it is not broken over two lines."""
_FEWEST_LINES: Final = 3
"""Lines of a table on a page where it goes on from one page to the next."""
_SHORT_TABLE: Final = 10
"""Lines of a table that is never divided."""
_FOOT: Final = 9 * mm
_FOOT_OF_SHEET: Final = 6.4 * mm
"""A quarter of an inch, which most printers can do (common practice): sheets are full down to 10 mm."""
_GREY: Final = HexColor("#666666")
_SHADE: Final = HexColor("#eeeeee")

PageSize = Literal["a4", "letter"]


def to_pdf(document: Document, every_row: bool = False, page: PageSize = "a4") -> bytes:
    """The whole document. every_row: a line for every row; by default each repeated stretch once, with a box to tick
    for every row of it."""
    width, height = (side * mm for side in PAPERS[page])
    inner = (width - 2 * _MARGIN, height - 2 * _MARGIN)
    story = list(_story(document, every_row, inner))
    pages: list[_Sheet | tuple[Sequence[_Item], Page]] = []
    for is_sheet, together in itertools.groupby(story, lambda item: isinstance(item, _Sheet)):
        if is_sheet:
            pages += (item for item in together if isinstance(item, _Sheet))
        else:
            items = [item for item in together if not isinstance(item, _Sheet)]
            pages += ((items, each) for each in paginate(items, inner[1], len(_TICKS)))
    for number, each in enumerate(pages, start=1):
        on_page = [each] if isinstance(each, _Sheet) else [each[0][part.item].flowable for part in each[1].stretches]
        for heading in on_page:
            if isinstance(heading, _Heading | _Sheet):
                heading.on_page = number
    out = io.BytesIO()
    canvas = _Canvas(out, document, any(isinstance(item, _Sheet) and item.sheet.true_scale for item in story))
    for each in pages:
        if isinstance(each, _Sheet):
            canvas.begin((each.sheet.page.width_mm * mm, each.sheet.page.height_mm * mm))
            each.draw_on(canvas)
            canvas.end(len(pages), _FOOT_OF_SHEET)
            continue
        canvas.begin((width, height))
        on_it, divided = each
        for part in divided.stretches:
            shown = on_it[part.item].part(part.first, part.last, divided.size)
            _, high = shown.wrapOn(canvas, inner[0], 1e6)
            shown.drawOn(canvas, _MARGIN, height - _MARGIN - part.y - high)
        canvas.end(len(pages), _FOOT)
    canvas.order.close()
    canvas.save()
    return without_dates(out.getvalue())


class _Canvas(Canvas):  # type: ignore[misc]
    """What is drawn is told of as it is marked; all else is there for the eye alone."""

    def __init__(self, out: io.BytesIO, document: Document, true_scale: bool) -> None:
        regular = fonts()[False]
        super().__init__(out, invariant=1, pageCompression=1, pdfVersion=(1, 7), lang="en", initialFontName=regular)
        self.setTitle(_clean(f"{document.title}: {document.kind}"))
        self.setCreator("stitchc")
        self.setProducer("stitchc")
        self.setAuthor("")
        self.setViewerPreference("DisplayDocTitle", "true")
        if true_scale:
            self.setViewerPreference("PrintScaling", "None")
        self.about = document.in_full
        self.order = ReadingOrder(self)

    def begin(self, size: tuple[float, float]) -> None:
        """A page of this size."""
        self.setPageSize(size)
        self._code.append("/Artifact BMC")

    @contextmanager
    def marked(self, kind: str, instead: str = "", within: Within = ()) -> Iterator[None]:
        """All that is drawn meanwhile is one element: "H1", "P", or "Figure" with words in its place."""
        self._code.append("EMC")
        with self.order.marked(kind, instead, within):
            yield
        self._code.append("/Artifact BMC")

    def end(self, pages: int, foot: float) -> None:
        """The page with its foot."""
        self.setFont(fonts()[False], 8.5)
        self.setFillColor(black)
        number, made_by = f"Page {self.getPageNumber()} of {pages}", " · made by stitchc"
        taken = sum(self.stringWidth(words) for words in (number, made_by))
        room = self._pagesize[0] - 2 * _MARGIN - taken - 5 * mm
        about = visual_order(fitted(self.about, room / mm, 8.5 / mm))
        self.drawString(_MARGIN, foot, f"{about}{made_by}")
        self.drawRightString(self._pagesize[0] - _MARGIN, foot, number)
        self._code.append("EMC")
        self.order.show_page()


# -- styles and texts -----------------------------------------------------------------------------------------------


@functools.cache
def _style(
    size: float, bold: bool = False, left: float = 0, after: float = 1, before: float = 0, right: bool = False
) -> ParagraphStyle:
    return ParagraphStyle(
        f"{size} {bold} {left} {after} {before} {right}",
        fontName=fonts()[bold],
        fontSize=size,
        leading=size * 1.32,
        leftIndent=left * mm,
        spaceAfter=after * mm,
        spaceBefore=before * mm,
        bulletFontName=fonts()[False],
        bulletFontSize=size,
        alignment=2 if right else 0,
    )


def _clean(text: str) -> str:
    return visual_order(printable(text))


@functools.cache
def _code_font() -> TTFont:
    font = TTFont("code", str(font_path(code=True)))
    pdfmetrics.registerFont(font)
    return font


def _words(text: str) -> str:
    """As markup for a paragraph: code in its font and, like every option, in one piece."""
    parts = []
    for stretch, is_code in stretches(_clean(text)):
        if is_code:
            glyphs = _code_font().face.charToGlyph
            face = ' face="code"' if all(ord(letter) in glyphs for letter in stretch) else ""
            stretch = stretch.replace(" ", "\N{NO-BREAK SPACE}") if len(stretch) <= _UNBROKEN else stretch
            parts.append(f"<font{face}>{escape(stretch)}</font>")
        else:
            parts.append(escape(stretch))
    return "".join(parts)


_MOST_BROKEN: Final = 4096
_BROKEN: Final[dict[tuple[object, ...], object]] = {}
"""Lines of paragraphs, by their text, style, bullet and widths."""


class _Text(Paragraph):  # type: ignore[misc]
    """A paragraph that is an element of what is read aloud. kind, within: as the canvas marks it."""

    kind = "P"
    within: Within = ()
    is_split = False

    def draw(self) -> None:
        with self.canv.marked(self.kind, "", self.within):
            super().draw()

    def breakLines(self, width: Sequence[float]) -> object:
        """The lines of these words at this width, of which many layouts are tried: broken once."""
        key = (self.text, self.style, self.bulletText, tuple(width))
        if self.is_split or not isinstance(self.text, str):
            return super().breakLines(width)
        if key not in _BROKEN:
            if len(_BROKEN) >= _MOST_BROKEN:
                _BROKEN.clear()
            _BROKEN[key] = super().breakLines(width)
        return _BROKEN[key]

    def split(self, width: float, height: float) -> list[Flowable]:
        if not self.is_split:  # which changes the lines: they are to be its own
            self.is_split = True
            if hasattr(self, "blPara"):
                self.wrap(self.width, height)
        parts: list[Flowable] = super().split(width, height)
        for part in parts:
            part.kind, part.within = self.kind, self.within
        return parts


def _paragraph(text: str, style: ParagraphStyle, bullet: str | None = None) -> _Text:
    return copy.copy(_parsed(text, style, bullet))


@functools.lru_cache(maxsize=_MOST_BROKEN)
def _parsed(text: str, style: ParagraphStyle, bullet: str | None) -> _Text:
    """What paragraphs of these words are copies of: the words of a row stand in many layouts, and are read as markup
    once."""
    return _Text(_words(text), style, bulletText=bullet)


class _Heading(_Text):
    """A heading for those who read and for those who listen. level: among the bookmarks, from 0. is_listed: it stands
    in the contents. key: of its bookmark. on_page: known once the pages are."""

    level: int
    title: str
    is_listed: bool
    key = ""
    on_page = 0

    def draw(self) -> None:
        self.canv.bookmarkPage(self.key)
        self.canv.addOutlineEntry(self.getPlainText(), self.key, self.level)
        super().draw()


# -- what stands on the pages ---------------------------------------------------------------------------------------


@dataclass
class _Set:
    """Something set, as `paging` takes it. heights: of its pieces; head: what stands over those that begin a page
    again; make: some of the pieces as one thing; costs: what a page's end before a piece costs."""

    flowable: Flowable
    heights: Sequence[float]
    before: float = 0
    after: float = 0
    keeps: bool = False
    head: float = 0
    costs: Sequence[float] = ()
    make: Callable[[int, int], Flowable] | None = None
    is_heading: bool = False

    @property
    def count(self) -> int:
        return len(self.heights)

    def height(self, first: int, last: int, size: int) -> float:
        return (self.head if first else 0) + sum(self.heights[first:last])

    def cost(self, place: int) -> float:
        return self.costs[place]

    def part(self, first: int, last: int, size: int) -> Flowable:
        return self.flowable if self.make is None or last - first == self.count else self.make(first, last)


def _set(flowable: Flowable, width: float, keeps: bool = False) -> _Set:
    """A paragraph in its lines, anything else in one piece."""
    high = float(flowable.wrap(width, 1e6)[1])
    before, after = float(flowable.getSpaceBefore()), float(flowable.getSpaceAfter())
    if not isinstance(flowable, Paragraph) or isinstance(flowable, _Heading):
        heading = isinstance(flowable, _Heading)
        return _Set(flowable, [high], before, after, keeps=keeps or heading, is_heading=heading)
    lines = max(1, round(high / flowable.style.leading))
    each = high / lines

    def make(first: int, last: int) -> Flowable:
        rest = flowable
        if last < lines:
            rest = rest.split(width, last * each + 0.1)[0]
        return rest.split(width, first * each + 0.1)[1] if first else rest

    costs = [0.06 if 2 <= line <= lines - 2 else NEVER for line in range(lines)]
    return _Set(flowable, [each] * lines, before, after, keeps, costs=costs, make=make)


def _in_cells(rows: Sequence[Sequence[Any]], widths: Sequence[float], style: Sequence[Any]) -> Grid:
    """No cell is without a font of ours, even one that has none of its own letters."""
    return Grid(rows, widths, style=[("FONTNAME", (0, 0), (-1, -1), fonts()[False]), *style])


_SPLIT_BOX: Final = 0.15
"""What it costs to go on with a box on the next page: it is read as one, but may be higher than a page."""


def _grid(
    rows: Sequence[Sequence[Any]],
    widths: Sequence[float],
    style: Sequence[Any],
    head: Sequence[Any] = (),
    after: float = 0,
    keeps: bool = False,
    fewest: int = 1,
    split: float = 0.05,
) -> _Set:
    """A table in its rows. head: of its columns, again on each page. fewest: rows of it on a page. split: what it costs
    to divide it."""

    def make(first: int, last: int) -> Grid:
        return _in_cells([*([head] if head else []), *rows[first:last]], widths, style)

    whole = make(0, len(rows))
    whole.wrap(sum(widths), 1e6)
    heights = list(map(float, whole._rowHeights))
    over = heights.pop(0) if head else 0.0
    heights[0] += over
    costs = [split if fewest <= row <= len(rows) - fewest else NEVER for row in range(len(rows))]
    return _Set(whole, heights, 0, after, keeps, over, costs, make)


class _Sheet:
    """A page that is drawn already, in its own size, with a bookmark."""

    level, is_listed, key, on_page = 2, True, "", 0

    def __init__(self, sheet: Sheet) -> None:
        self.sheet, self.title = sheet, sheet.name

    def draw_on(self, canvas: _Canvas) -> None:
        canvas.bookmarkPage(self.key)
        canvas.addOutlineEntry(_clean(self.title), self.key, self.level)
        draw_page(canvas, self.sheet.page, canvas.marked)


_Item: TypeAlias = "_Set | _Repeat"
_Story: TypeAlias = "Iterator[_Item | _Sheet]"


def _story(document: Document, every_row: bool, room: tuple[float, float]) -> Sequence[_Item | _Sheet]:
    """Everything in order; a document with chapters has its contents after its first part."""
    body = list(_chapter(document, every_row, room, 0))
    headings = list(_headings(body))
    if document.chapters:
        after = next((number for number, each in enumerate(body) if _level(each) == 1), len(body))
        title = _heading("Contents", 13, 1, room[0], is_listed=False)
        body.insert(after, title)
        headings = list(_headings(body))
    for number, heading in enumerate(headings, start=1):
        heading.key = f"heading-{number}"
    if document.chapters:
        body.insert(after + 1, _contents(headings, room[0]))
    return body


def _headings(body: Iterable[_Item | _Sheet]) -> Iterator[_Heading | _Sheet]:
    for each in body:
        shown = each if isinstance(each, _Sheet) else each.flowable
        if isinstance(shown, _Heading | _Sheet):
            yield shown


def _level(item: _Item | _Sheet) -> int:
    return int(getattr(item if isinstance(item, _Sheet) else item.flowable, "level", 0))


def _heading(text: str, size: float, level: int, width: float, before: float = 4, is_listed: bool = True) -> _Set:
    heading = _Heading(_words(text), _style(size, True, 0, 1, before))
    heading.level, heading.title, heading.is_listed = level, text, is_listed
    heading.kind = f"H{min(level + 1, 6)}"
    return _set(heading, width)


def _chapter(document: Document, every_row: bool, room: tuple[float, float], depth: int) -> _Story:
    """room: width and height inside the margins. depth: 0 for the whole, 1 for a chapter of it, and so on."""
    width = room[0]
    yield _heading(document.title, _TITLE_SIZES[min(depth, 2)], depth, width, 5 * min(depth, 1))
    kind = document.kind
    if document.subtitle and document.subtitle != document.title:
        kind = f"{document.subtitle} · {kind}"
    if kind:
        yield _set(_paragraph(kind, _style(11, after=3)), width, keeps=bool(document.facts))
    if document.facts:
        label, value = _style(10, True, 0.01), _style(10)
        rows = _tagged([[_paragraph(name, label), _paragraph(text, value)] for name, text in document.facts])
        yield _grid(rows, [24 * mm, width - 24 * mm], _PLAIN, after=2 * mm, keeps=True, fewest=2)
    has_legend = document.rows is not None and any(row.beds for row in document.rows.passes())
    for part in document.parts:
        if part.boxed:
            head = _paragraph(part.heading, _style(12, True, 0.01))
            inner = width - 6 * mm
            rows = [[each.flowable] for block in part.blocks for each in _block(block, inner) if isinstance(each, _Set)]
            yield replace(
                _grid(rows, [width], _BOX, [head], fewest=2, split=_SPLIT_BOX), before=3 * mm, is_heading=True
            )
            continue
        if part.heading:
            yield _heading(part.heading, 13, depth + 1, width)
        items = [each for block in part.blocks for each in _block(block, width)]
        if part is document.parts[-1] and has_legend and items and isinstance(items[-1], _Set):
            items[-1].keeps = True  # the legend of the rows belongs to what is said of working them
        yield from items
    if document.rows is not None:
        yield from _rows(document.rows, every_row, *room, depth + 1)
    for chapter in document.chapters:
        yield from _chapter(chapter, every_row, room, depth + 1)


_TITLE_SIZES: Final = (20, 17, 14)
_MOST_LISTED: Final = 36
"""Lines of the contents up to which headings of the third level are among them."""


def _contents(headings: Sequence[_Heading | _Sheet], width: float) -> _Set:
    """The headings with their pages, each a link to its place; the title and the head of the list itself left out."""
    listed = [heading for heading in headings if heading.level and heading.is_listed]
    most = next(level for level in (2, 1) if level == 1 or sum(h.level <= level for h in listed) <= _MOST_LISTED)
    rows = []
    for heading in listed:
        if heading.level <= most:
            words = f'<a href="#{heading.key}" color="black">{_words(heading.title)}</a>'
            rows.append([_Text(words, _style(10, left=6 * (heading.level - 1) + 0.01, after=0)), _PageOf(heading)])
    return _grid(_tagged(rows), [width - 20 * mm, 20 * mm], _PLAIN, fewest=len(rows))  # on one page


class _PageOf(Flowable):  # type: ignore[misc]
    """The number of the page that a heading is on."""

    kind = "P"
    within: Within = ()

    def __init__(self, heading: _Heading | _Sheet) -> None:
        super().__init__()
        self.heading = heading

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        self.width = width
        return width, 13.2

    def draw(self) -> None:
        self.canv.setFont(fonts()[False], 10)
        with self.canv.marked(self.kind, "", self.within):
            self.canv.drawRightString(self.width, 3.2, str(self.heading.on_page))


_PLAIN: Final = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0),
                 ("TOPPADDING", (0, 0), (-1, -1), 0.5), ("BOTTOMPADDING", (0, 0), (-1, -1), 0.5)]  # fmt: skip
_BOX: Final = [("BOX", (0, 0), (-1, -1), 1.2, black), ("LEFTPADDING", (0, 0), (-1, -1), 3 * mm),
               ("TOPPADDING", (0, 0), (-1, -1), 1), ("BOTTOMPADDING", (0, 0), (-1, -1), 1)]  # fmt: skip
_RULED: Final = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, -1), 0.4, _GREY),
                 ("LINEBELOW", (0, 0), (-1, 0), 1, black), ("LEFTPADDING", (0, 0), (-1, -1), 0),
                 ("TOPPADDING", (0, 0), (-1, -1), 2), ("BOTTOMPADDING", (0, 0), (-1, -1), 2)]  # fmt: skip
_OVER_ROW: Final = 3
_UNDER_ROW: Final = 2
_ROW: Final = [*_PLAIN, ("LINEABOVE", (0, 0), (-1, 0), 0.4, _GREY), ("TOPPADDING", (0, 0), (-1, -1), _OVER_ROW),
               ("RIGHTPADDING", (0, 0), (-1, -1), 0), ("BOTTOMPADDING", (0, 0), (-1, -1), _UNDER_ROW)]  # fmt: skip


def _tagged(rows: list[list[Any]], kind: str = "TD", table: object = None) -> list[list[Any]]:
    """The cells, which tell that they are a table's. table: what makes it the same table as another's rows."""
    table = rows if table is None else table
    for row in rows:
        for cell in row:
            cell.kind, cell.within = kind, (("Table", id(table)), ("TR", id(row)))
    return rows


def _block(block: Block, width: float) -> _Story:
    text, item = _style(10), _style(10, left=5)
    match block:
        case str():
            yield _set(_paragraph(block, text), width, keeps=block.endswith(":"))
        case Listing():
            for number, each in enumerate(block.items, start=1):
                shown = _paragraph(each, item, f"{number}." if block.numbered else "•")
                shown.kind, shown.within = "LBody", (("L", id(block)), ("LI", number))
                yield _set(shown, width)
        case Terms():
            for term, meaning in block.pairs:
                yield _set(_Text(f'<font name="{fonts()[True]}">{_words(term)}</font>: {_words(meaning)}', text), width)
        case Table():
            yield from _table(block, width)
        case Lines():
            for line in block.lines:
                yield _set(_paragraph(line, item), width)
        case Drawing() | Picture():
            figure = _Shapes(block, width) if isinstance(block, Drawing) else _Raster(block, width)
            yield replace(_set(figure, width, keeps=bool(block.caption)), before=2 * mm)
            if block.caption:
                yield _set(_paragraph(block.caption, _style(9)), width)
        case Sheet():
            yield _Sheet(block)


class _Raster(Flowable):  # type: ignore[misc]
    """A picture in pixels."""

    def __init__(self, picture: Picture, most: float) -> None:
        super().__init__()
        self.alt, self.image = picture.alt, ImageReader(io.BytesIO(picture.content))
        across, up = self.image.getSize()
        self.width = min(picture.width_mm * mm, most)
        self.height = self.width * up / across

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        with self.canv.marked("Figure", _clean(self.alt)):
            self.canv.drawImage(self.image, 0, 0, self.width, self.height)


def _table(table: Table, width: float) -> Iterator[_Set]:
    if table.caption:
        yield _set(_paragraph(table.caption, _style(10, before=2)), width, keeps=True)
    rows = _tagged([[_paragraph(cell, _style(9.5)) for cell in row] for row in table.rows])
    (head,) = _tagged([[_paragraph(cell, _style(9.5, True, 0.01)) for cell in table.head]], "TH", rows)
    longest = [max(len(cell) for cell in column) for column in zip(table.head, *table.rows, strict=True)]
    widest = [
        max(float(cell.minWidth()) + _CELL_PADDING for cell in column) for column in zip(head, *rows, strict=True)
    ]
    widths = _column_widths([min(max(letters, 6), 60) for letters in longest], widest, width)
    fewest = len(rows) if len(rows) <= _SHORT_TABLE else _FEWEST_LINES
    yield _grid(rows, widths, _RULED, head, 2 * mm, fewest=fewest)


_CELL_PADDING: Final = 6.5
"""To the right of the words of a cell, in points."""


def _column_widths(shares: Sequence[float], least: Sequence[float], width: float) -> list[float]:
    """The width shared out between columns, each as wide as its widest word (`least`) where there is room for all."""
    given: dict[int, float] = {}
    while len(given) < len(shares):
        part = (width - sum(given.values())) / sum(share for column, share in enumerate(shares) if column not in given)
        tight = {
            column: least[column]
            for column, share in enumerate(shares)
            if column not in given and part * share < least[column]
        }
        if not tight or sum(least) > width:
            return [given.get(column, part * share) for column, share in enumerate(shares)]
        given |= tight
    return list(least)


class _Shapes(Flowable):  # type: ignore[misc]
    """A drawing at its size on paper, or as large as the width allows."""

    def __init__(self, drawing: Drawing, most: float) -> None:
        super().__init__()
        self.drawing = drawing
        self.scale = min(drawing.mm_per_unit * mm, most / drawing.width)
        self.width, self.height = drawing.width * self.scale, drawing.height * self.scale

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        with self.canv.marked("Figure", _clean(self.drawing.alt)):
            self._draw()

    def _draw(self) -> None:
        canvas, scale = self.canv, self.scale
        canvas.translate(0, self.height)
        canvas.scale(scale, -scale)
        for shape in self.drawing.shapes:
            if isinstance(shape, Label):
                canvas.saveState()
                canvas.translate(shape.x, shape.y)
                canvas.scale(1, -1)
                canvas.setFillColor(black)
                canvas.setFont(fonts()[False], shape.size)
                write = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
                write[shape.anchor](0, 0, _clean(shape.text))
                canvas.restoreState()
                continue
            canvas.setStrokeColor(_GREY if shape.ink in ("thin", "soft") else black)
            canvas.setLineWidth(1 if shape.ink in ("thin", "soft") else 1.5)
            canvas.setFillColor({"solid": black, "shade": _SHADE}.get(shape.ink, white))
            fill = int(shape.ink in ("solid", "open", "shade"))
            if isinstance(shape, Dots):
                for x, y in shape.centres:
                    draw_circle(canvas, x, y, shape.radius, int(shape.ink != "solid"), fill)
            else:
                _trace(canvas, shape, fill)


def _trace(canvas: Canvas, shape: Path, fill: int) -> None:
    path = canvas.beginPath()
    for (x, y), *rest in shape.lines:
        path.moveTo(x, y)
        for to_x, to_y in rest:
            path.lineTo(to_x, to_y)
        if shape.closed:
            path.close()
    canvas.drawPath(path, stroke=int(shape.ink != "solid"), fill=fill)


# -- rows -----------------------------------------------------------------------------------------------------------


class _Ticks(Flowable):  # type: ignore[misc]
    """Boxes with row numbers, those of one time through together; 0 is a box without a number."""

    def __init__(self, times: Sequence[Sequence[int]], side: float = _TICKS[0]) -> None:
        super().__init__()
        self.times, self.side = times, side
        self.gap = 0.3 if any(len(once) > 1 for once in times) else 0.0

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        across = max(1.0, width / self.side + 0.01)
        runs = [once[start : start + int(across)] for once in self.times for start in range(0, len(once), int(across))]
        self.lines: list[list[Sequence[int]]] = [[]]
        for run in runs:
            taken = sum(map(len, self.lines[-1])) + len(run) + self.gap * len(self.lines[-1])
            if self.lines[-1] and taken > across:
                self.lines.append([])
            self.lines[-1].append(run)
        self.width, self.height = width, len(self.lines) * (self.side + 2)
        return self.width, self.height

    def draw(self) -> None:
        canvas = self.canv
        canvas.setLineWidth(0.7)
        canvas.setStrokeColor(black)
        canvas.setFillColor(black)
        canvas.setFont(fonts()[False], 8 if self.side > _TICKS[-1] else 7)
        with canvas.marked("P"):
            for line_number, line in enumerate(self.lines):
                x, y = 0.0, self.height - (line_number + 1) * (self.side + 2) + 2
                for run in line:
                    for number in run:
                        canvas.rect(x, y, self.side, self.side)
                        canvas.drawCentredString(x + self.side / 2, y + self.side / 2 - 2.8, str(number or ""))
                        x += self.side
                    x += self.gap * self.side


_NUMBER: Final = 18 * mm
_WAY: Final = 25 * mm
_WAY_LETTER: Final = 9.5
_BOX_COLUMN: Final = 9 * mm
_BESIDE: Final = (2, 3, 4, 6, 8)
"""Boxes that stand in one line beside the words of a row; under them there is room for more."""
_MOST_BESIDE: Final = 36
"""Times through a repeat up to which there may be a column of boxes beside its words."""
_MOST_PIECES: Final = 8
_WORTH: Final = 0.9
"""Height that it must save, as against boxes under the words."""


_LETTER: Final = 11.0
_SMALL: Final = 9.5
"""Points of the words of a row, and of those of a repeat that otherwise would take more than a page."""
_MOST_OF_A_PAGE: Final = 0.9
"""Share of a page that such a repeat leaves: the few lines after it have no page of their own."""
_AT_ONCE: Final = 100
"""Times through a repeat whose boxes stay together where it is higher than a page."""
_SPLIT: Final = 1.0
"""What it costs to go on with a repeat on the next page where no page holds all of it."""


@dataclass
class _Repeat:
    """A repeated stretch of rows, as `paging` takes it: on one page where it can be, because whoever ticks its rows
    goes through it again and again. Where it must go on on the next page, it does so after a whole repeat, with all
    its words again."""

    rows: Rows
    repeated: Repeated
    every_row: bool
    width: float
    before: float = 3 * mm
    after: float = 1 * mm
    keeps: bool = False
    is_heading: bool = False
    flowable: Flowable = field(default_factory=lambda: Spacer(0, 0))
    shown: dict[tuple[int, int, int], tuple[Flowable, float]] = field(default_factory=dict)
    split: float = _SPLIT
    letter: float = _LETTER

    def __post_init__(self) -> None:
        """step: times through the repeat that take a line of boxes in every row."""
        longest = max(len(once) for line in self.repeated.lines for once in line.times)
        gap = 0.3 if longest > 1 else 0
        self.step = max(2, int((self.width / _TICKS[0] + gap) / (longest + gap)))

    @property
    def count(self) -> int:
        pieces, over = divmod(self.repeated.times, self.step)
        return max(1, pieces + (over > 1))  # a repeat alone is none

    def fill(self, height: float) -> None:
        """For pages of this height: one that a page holds, in smaller print if need be, is not divided. Pieces of a
        page each where it takes many: no better way to divide it is worth looking for."""
        ways = [(_LETTER, self.count, _MOST_OF_A_PAGE), (_SMALL, self.count, 1.0), (_LETTER, 1, 1.0), (_SMALL, 1, 1.0)]
        takes_many = self.count > _MOST_PIECES
        for letter, pieces, share in ways[2 * takes_many :]:
            self.letter = letter
            self.shown.clear()
            if self.height(0, pieces, len(_TICKS) - 1) <= share * height:
                self.split = NEVER if pieces == self.count else _SPLIT
                break
        least = self.step
        if self.count > _MOST_PIECES:
            while self._part(0, 1, _TICKS[0]).wrap(self.width, 1e6)[1] <= height:
                self.step += least
            self.step = max(least, self.step - least)
            self.shown.clear()

    def cost(self, place: int) -> float:
        return self.split

    def height(self, first: int, last: int, size: int) -> float:
        return self._made(first, last, size)[1]

    def part(self, first: int, last: int, size: int) -> Flowable:
        return self._made(first, last, size)[0]

    def _made(self, first: int, last: int, size: int) -> tuple[Flowable, float]:
        """These pieces and their height, which is asked for many times."""
        key = (first, last, size)
        if key not in self.shown:
            part = self._part(first, last, _TICKS[size])
            self.shown[key] = part, float(part.wrap(self.width, 1e6)[1])
        return self.shown[key]

    def in_lines(self) -> _Set:
        """A repeat that is higher than a page: it goes on between its rows, under its head again."""
        some: list[Line] = []
        costs: list[float] = []
        for line in self.repeated.lines:
            for start in range(0, len(line.times), _AT_ONCE):
                some.append(Line(line.times[start : start + _AT_ONCE]))
                costs.append(0.3 if start else 0.06)

        def rows_with(beside: int) -> _Stacked:
            return _Stacked([_line(self.rows, each, self.every_row, self.width, beside) for each in some])

        parts = _lowest(rows_with, self.width).content  # the boxes at one place in all rows
        heads = [self._head(self.repeated, going_on) for going_on in (False, True)]
        over = [_Stacked([head]).wrap(self.width, 1e6)[1] for head in heads]
        heights = [float(part.wrap(self.width, 1e6)[1]) for part in parts]
        heights[0] += over[0]

        def make(first: int, last: int) -> Flowable:
            return _Stacked([heads[bool(first)], *parts[first:last]])

        whole = make(0, len(parts))
        return _Set(whole, heights, self.before, self.after, head=over[1], costs=costs, make=make)

    def _head(self, repeated: Repeated, going_on: bool) -> _Text:
        words = repeated.words(*(_row(self.rows, index) for index in repeated.ends))
        return _paragraph(f"{words}{', continued' if going_on else ''}. Tick each row.", _style(11, True))

    def _part(self, first: int, last: int, side: float) -> Flowable:
        ends = last == self.count
        start, stop = first * self.step, None if ends else last * self.step
        lines = tuple(Line(line.times[start:stop]) for line in self.repeated.lines)
        times = (self.repeated.times if stop is None else stop) - start
        here = replace(self.repeated, lines=lines, times=times, rest=self.repeated.rest if ends else 0)
        head = self._head(here, first > 0)

        def make(beside: int) -> Flowable:
            return _Stacked(
                [
                    head,
                    *(_line(self.rows, line, self.every_row, self.width, beside, side, self.letter) for line in lines),
                ]
            )

        if times > _MOST_BESIDE:
            return make(0)
        return _lowest(make, self.width, _WORTH if side > _TICKS[-1] else 1)


_Made = TypeVar("_Made", bound=Flowable)


def _lowest(make: Callable[[int], _Made], width: float, worth: float = _WORTH) -> _Made:
    """Rows with as many boxes beside their words as make them lowest, or with the boxes under them. worth: what is
    left of the height where boxes beside are better."""
    under = make(0)
    low, _, best = min((made.wrap(width, 1e6)[1], index, made) for index, made in enumerate(map(make, _BESIDE)))
    return best if low < worth * under.wrap(width, 1e6)[1] else under


class _Stacked(Flowable):  # type: ignore[misc]
    """Things one under the other."""

    def __init__(self, content: Sequence[Flowable]) -> None:
        super().__init__()
        self.content = content

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        self.width = width
        self.height = sum(each.wrap(width, 1e6)[1] + each.getSpaceAfter() for each in self.content)
        return width, self.height

    def draw(self) -> None:
        y = self.height
        for each in self.content:
            y -= each.wrapOn(self.canv, self.width, 1e6)[1]
            each.drawOn(self.canv, 0, y)
            y -= each.getSpaceAfter()


def _rows(rows: Rows, every_row: bool, width: float, height: float, level: int) -> _Story:
    entries = rows.entries
    folded: Sequence[Line | Repeated] = fold(entries)
    if every_row:
        folded = [
            Line((range(index, index + 1),)) for index, entry in enumerate(entries) if not isinstance(entry, Table)
        ]
    lines = [line for item in folded for line in (item.lines if isinstance(item, Repeated) else (item,))]
    shown = [entries[line.index] for line in lines if len(line.times[0]) == 1]  # knitted to and fro: without a strip
    if used := "".join({bed for entry in shown if isinstance(entry, PassRow) for bed in entry.beds}):
        yield from _block(legend(used, rows.by_hand), width)
    if rows.before:
        yield _heading(f"Before row {rows.first_row}", 13, level, width, is_listed=False)
        yield from _block(Listing(rows.before, numbered=True), width)
    yield _heading("Row by row", 13, level, width, is_listed=False)
    yield _set(_paragraph(rows.total, _style(10)), width, keeps=True)  # first, where it never takes a page of its own
    for item in folded:
        if isinstance(item, Repeated):
            repeat = _Repeat(rows, item, every_row, width)
            repeat.fill(height)
            fits = repeat.height(0, 1, len(_TICKS) - 1) <= height
            yield repeat if fits else repeat.in_lines()
            continue
        match entry := entries[item.index]:
            case Heading():
                yield _heading(entry.text, 12, level + 1, width, is_listed=False)
                if entry.details:
                    yield _set(_paragraph(" ".join(entry.details), _style(9.5, after=1.3)), width, keeps=True)
            case ByHand():
                cells = [[_Ticks([[0]]), _paragraph(entry.text, _style(11, True, 0.01))]]
                yield _set(_in_cells(cells, [_BOX_COLUMN, width - _BOX_COLUMN], _ROW), width)
            case Table():
                yield from _table(entry, width)
            case PassRow():
                made = functools.partial(_line, rows, item, every_row, width)
                alone = item.times == (range(item.index, item.index + 1),)
                yield _set(made() if alone else _lowest(made, width), width)


def _row(rows: Rows, index: int) -> int:
    entry = rows.entries[index]
    assert isinstance(entry, PassRow)
    return entry.row


def _line(
    rows: Rows,
    line: Line,
    every_row: bool,
    width: float,
    beside: int = 0,
    side: float = _TICKS[0],
    letter: float = _LETTER,
) -> Flowable:
    """A row with its box, or with one for every row that its words serve for. beside: boxes beside the words."""
    entry = rows.entries[line.index]
    assert isinstance(entry, PassRow)
    times = [[_row(rows, index) for index in once] for once in line.times]
    several = times != [[entry.row]]
    to_and_fro = len(times[0]) > 1
    way = f"{entry.direction} first" if to_and_fro else entry.direction
    arrow = "" if to_and_fro else {"right to left": "← "}.get(entry.direction, "→ ")
    number = f"{entry.row}\N{NO-BREAK SPACE}…" if several else str(entry.row)
    lead = 0.0 if several else _BOX_COLUMN
    last = beside * side + 1 if beside and several else 0.0
    room = width - lead - _NUMBER - _WAY - last - (3 * mm if last else 0)
    words: list[Flowable] = [
        _paragraph(" ".join(step.text for step in steps_of(entry, every_row)), _style(letter, after=0))
    ]
    for bed in () if to_and_fro else entry.beds:
        strip = draw(rows.needles, bed)
        strip = replace(strip, mm_per_unit=strip.mm_per_unit * (0.5 + 0.5 * side / _TICKS[0]) * letter / _LETTER)
        words += [Spacer(0, 1.5 * mm), _Shapes(strip, room - 4 * mm)]
    shown = _paragraph(number, _style(14 if len(number) <= 5 else 12, True, 0.01))
    cells: list[Any] = [shown, _paragraph(f"{arrow}{way}", _style(_WAY_LETTER)), words]
    widths = [_NUMBER, _WAY, room]
    ticks = _Ticks(times if several else [[0]], side)
    if not several:
        cells, widths = [ticks, *cells], [lead, *widths]
    elif beside:
        cells, widths = [*cells, "", ticks], [*widths, 3 * mm, last]
    told = _SideBySide(cells, widths)
    return _Stacked([told, ticks]) if several and not beside else told


class _SideBySide(Flowable):  # type: ignore[misc]
    """The cells of a row. A table of them is made where it is drawn: of the many that are measured nearly none is, and
    its height is that of the highest cell."""

    def __init__(self, cells: Sequence[Flowable | str | list[Flowable]], widths: Sequence[float]) -> None:
        super().__init__()
        self.cells, self.widths = cells, widths

    @functools.cached_property
    def size(self) -> tuple[float, float]:
        return sum(self.widths), max(map(_high, self.cells, self.widths)) + (_UNDER_ROW + _OVER_ROW)

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        self.width, self.height = self.size
        return self.size

    def drawOn(self, canvas: _Canvas, x: float, y: float, _sW: float = 0) -> None:
        row = _in_cells([self.cells], self.widths, _ROW)
        row.wrapOn(canvas, self.width, 1e6)
        row.drawOn(canvas, x, y, _sW)


def _high(cell: Flowable | str | list[Flowable], width: float) -> float:
    """How high a cell of this width is without the space around its words, as a table reckons it."""
    if isinstance(cell, str):
        return 0.0
    every = cell if isinstance(cell, list) else [cell]
    high = sum(each.wrap(width, 1e6)[1] + each.getSpaceAfter() + each.getSpaceBefore() for each in every)
    return float(high - every[0].getSpaceBefore() - every[-1].getSpaceAfter())

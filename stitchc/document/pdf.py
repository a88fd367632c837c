"""A document as a PDF to print and tick off: headings that are bookmarks too, page numbers, text in reading order.

Set by reportlab's layout engine with the font of every page embedded. The same document gives the same bytes.
"""

from __future__ import annotations

import functools
import io
import itertools
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Final, Literal
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor, black, white
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    NextPageTemplate,
    PageBreak,
    PageTemplate,
    Paragraph,
    Spacer,
)
from reportlab.platypus import Table as Grid

from stitchc.code import stretches
from stitchc.document.bed_strip import draw, legend
from stitchc.document.blocks import Block as Repeated
from stitchc.document.blocks import Line, fold, steps_of
from stitchc.document.values import (
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
from stitchc.page.lettering import font_path, printable, visual_order
from stitchc.page.pdf import POINTS_PER_MM, draw_page, fonts, without_dates
from stitchc.page.reading_order import ReadingOrder
from stitchc.page.values import PAPERS

_MARGIN: Final = 15 * mm
_TICKS: Final = (7 * mm, 6.2 * mm, 5.4 * mm)
"""Side of a box to tick, as in the page for a browser."""
_UNBROKEN: Final = 60
"""Letters of code up to which it is not broken over two lines."""
_LEAST_USED: Final = 0.67
"""Share of a page that is filled before a block that takes more than a page begins on the next."""
_UNDER_HEADING: Final = 0.16
"""Share of a page that a part takes at most to stay whole: a quarter would leave too many pages open at the foot."""
_FEWEST_LINES: Final = 3
"""Lines of a table on a page where it goes on from one page to the next."""
_GREY: Final = HexColor("#666666")
_SHADE: Final = HexColor("#eeeeee")

PageSize = Literal["a4", "letter"]


def to_pdf(document: Document, every_row: bool = False, page: PageSize = "a4") -> bytes:
    """The whole document. every_row: a line for every row; by default each repeated stretch once, with a box to tick
    for every row of it."""
    pages_of: dict[str, int] = {}
    if document.chapters:  # the page numbers of its contents are known once everything is set
        _set(document, every_row, page, pages_of, is_draft=True)
    return _set(document, every_row, page, pages_of)


def _set(
    document: Document, every_row: bool, page: PageSize, pages_of: dict[str, int], is_draft: bool = False
) -> bytes:
    """The document as bytes. pages_of: takes the page of each heading, by its key, and gives them to the contents.
    is_draft: without pictures and sheets, for their pages alone."""
    out = io.BytesIO()
    width, height = (side * mm for side in PAPERS[page])
    frame = Frame(_MARGIN, _MARGIN, width - 2 * _MARGIN, height - 2 * _MARGIN, 0, 0, 0, 0)
    sheets = list(_sheets(document))
    at_scale = any(sheet.true_scale for sheet in sheets)
    canvas = functools.partial(_Numbered, title=document.title, true_scale=at_scale, is_draft=is_draft)
    template = _Template(out, pagesize=(width, height), title=_clean(f"{document.title}: {document.kind}"))
    template.pages_of = pages_of
    template.addPageTemplates([PageTemplate(_TEXT, [frame], pagesize=(width, height)), *map(_sheet_template, sheets)])
    parts = list(_story(document, every_row, frame.width, pages_of))
    _leave_room_for_the_end(parts, frame.width)
    story = _with_page_breaks(parts, frame.width, frame.height)
    template.build(list(story), canvasmaker=canvas)
    return without_dates(out.getvalue())


class _Template(BaseDocTemplate):  # type: ignore[misc]
    """Headings become bookmarks as they are set."""

    pages_of: dict[str, int]

    def afterFlowable(self, flowable: Flowable) -> None:
        level = getattr(flowable, "level", None)
        if level is not None:
            key = f"heading-{self.seq.nextf('heading')}"
            self.canv.bookmarkPage(key)
            self.canv.addOutlineEntry(flowable.getPlainText(), key, level)
            self.pages_of[key] = self.page


class _Numbered(Canvas):  # type: ignore[misc]
    """Pages are finished at the end, when it is known how many there are."""

    def __init__(self, *arguments: Any, title: str, true_scale: bool, is_draft: bool, **settings: Any) -> None:
        names = fonts()
        settings |= {
            "initialFontName": names[False],
            "invariant": 1,
            "pageCompression": 1,
            "pdfVersion": (1, 7),
            "lang": "en",
        }
        super().__init__(*arguments, **settings)
        self.setCreator("stitchc")
        self.setProducer("stitchc")
        self.setAuthor("")
        self.setViewerPreference("DisplayDocTitle", "true")
        if true_scale:
            self.setViewerPreference("PrintScaling", "None")
        self.about, self.is_draft = _clean(title), is_draft
        self.pages: list[dict[str, Any]] = []
        self._begin_marks()

    def bookmarkPage(self, key: str, *arguments: Any, **settings: Any) -> None:
        """Reportlab takes the page that is being written for the bookmark's, so it is set when this one is."""
        self.keys.append(key)

    def _begin_marks(self) -> None:
        self.foot_mm = 9.0
        self.keys: list[str] = []
        self.marks: list[tuple[str, str]] = []
        """Kind of each marked part of this page, and the words in its place."""
        self._mark("P")

    def _mark(self, kind: str, instead: str = "") -> None:
        self._code.append(f"/{kind} <</MCID {len(self.marks)}>> BDC")
        self.marks.append((kind, instead))

    @contextmanager
    def marked(self, kind: str, instead: str = "") -> Iterator[None]:
        """All that is drawn meanwhile is one element: "H1", "P", or "Figure" with words in its place."""
        self._code.append("EMC")
        self._mark(kind, instead)
        yield
        self._code.append("EMC")
        self._mark("P")

    def showPage(self) -> None:
        self._code.append("EMC")
        self.pages.append(dict(self.__dict__))
        self._startPage()
        self._begin_marks()

    def save(self) -> None:
        order = ReadingOrder(self)
        for number, state in enumerate(self.pages, start=1):
            self.__dict__.update(state)
            for key in self.keys:
                super().bookmarkPage(key)
            for kind, instead in self.marks:
                order.add(kind, instead)
            self._code.append("/Artifact BMC")
            self.setFont(fonts()[False], 8.5)
            self.setFillColor(black)
            foot = self.foot_mm * mm
            self.drawString(_MARGIN, foot, f"{self.about} · made by stitchc")
            self.drawRightString(self._pagesize[0] - _MARGIN, foot, f"Page {number} of {len(self.pages)}")
            self._code.append("EMC")
            order.show_page(super().showPage)
        order.close()
        super().save()


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
        keepWithNext=int(bold and left == 0),
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


def _paragraph(text: str, style: ParagraphStyle, bullet: str | None = None) -> Paragraph:
    return Paragraph(_words(text), style, bulletText=bullet)


class _Heading(Paragraph):  # type: ignore[misc]
    """A heading for those who read and for those who listen. level: among the bookmarks, from 0. is_listed: it stands
    in the contents."""

    level: int
    title: str
    is_listed: bool

    def draw(self) -> None:
        with self.canv.marked(f"H{min(self.level + 1, 6)}"):
            super().draw()


def _heading(text: str, size: float, level: int, before: float = 4, is_listed: bool = True) -> _Heading:
    heading = _Heading(_words(text), _style(size, True, 0, 1, before))
    heading.level, heading.title, heading.is_listed = level, text, is_listed
    return heading


# -- pages ----------------------------------------------------------------------------------------------------------


class _Block(Flowable):  # type: ignore[misc]
    """A repeated stretch of rows: on one page, because whoever ticks its rows goes through it again and again. Its
    boxes are as large as the rest of the page allows, down to the smallest that a pencil ticks.

    after: points that the rest of the document takes, which is to end on the same page if smaller boxes make it.
    """

    after = 0.0

    def __init__(self, content: Sequence[Flowable]) -> None:
        super().__init__()
        self.content = content
        self.together = [each for each in content if not isinstance(each, _Continued)]

    def least_height(self, width: float) -> float:
        """With the smallest boxes."""
        self._resize(_TICKS[-1])
        return _height(self.together, width)

    def broken(self) -> Sequence[Flowable]:
        """Its parts, for a stretch that takes more than a page: it goes on between its lines, under its head again."""
        self._resize(_TICKS[0])
        return self.content

    def _resize(self, side: float) -> None:
        for each in self.together:
            if isinstance(each, _Ticks):
                each.side = side

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        self.width = width
        for side, room in [*((side, height - self.after) for side in _TICKS), *((side, height) for side in _TICKS)]:
            self._resize(side)
            self.height = _height(self.together, width)
            if self.height <= room:
                break
        return self.width, self.height

    def draw(self) -> None:
        y = self.height
        for each in self.together:
            _, high = each.wrapOn(self.canv, self.width, 1e6)
            y -= each.getSpaceBefore() + high
            each.drawOn(self.canv, 0, y)
            y -= each.getSpaceAfter()


class _Continued(Paragraph):  # type: ignore[misc]
    """The head of a block once more, at the top of a page alone."""

    keepWithNext = 1

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        size: tuple[float, float] = super().wrap(width, height)
        self.is_shown = getattr(getattr(self, "_frame", None), "_atTop", False)
        return size if self.is_shown else (size[0], 0)

    def draw(self) -> None:
        if self.is_shown:
            super().draw()

    def getSpaceBefore(self) -> float:
        return 0

    def getSpaceAfter(self) -> float:
        return float(super().getSpaceAfter()) if getattr(self, "is_shown", False) else 0


def _leave_room_for_the_end(story: Sequence[Flowable], width: float) -> None:
    """Tell the last repeat how much follows it, so that no line stands on a last page of its own."""
    after = 0.0
    for flowable in reversed(story):
        if isinstance(flowable, _Block):
            flowable.after = after
        if isinstance(flowable, _Block | NextPageTemplate | PageBreak | _Sheet):
            return
        after += _height([flowable], width)


def _with_page_breaks(story: Sequence[Flowable], width: float, height: float) -> Iterator[Flowable]:
    """The story with what is kept together led by a page break where it does not fit on the rest of the page.

    Reportlab's own keepWithNext leaves a heading behind where what follows is longer than the rest of the page. A short
    part stays whole under its heading; of a longer one as much as the longest short one follows it.
    """
    most = (1 - _LEAST_USED) * height
    run: list[Flowable] = []
    for at, flowable in enumerate(story):
        run.append(flowable)
        if isinstance(flowable, NextPageTemplate | PageBreak | _Sheet):
            yield from run
        elif isinstance(flowable, _Block):
            least = _height(run[:-1], width) + flowable.least_height(width)
            if least < height:
                yield CondPageBreak(least)
                for each in run:
                    each.keepWithNext = 0
                yield from run
            else:
                yield CondPageBreak(most)
                yield from _with_page_breaks([*run[:-1], *flowable.broken()], width, height)
        elif flowable.getKeepWithNext():
            continue
        else:
            last = _height([flowable], width)
            # Rounding must not ask for more than a page has.
            room = min(_height(run[:-1], width) + (min(last, most) if _can_be_split(flowable) else last), height - 1)
            if any(isinstance(each, _Heading) for each in run):
                room = max(
                    room, min(_room_for_beginning(run, story[at + 1 :], width, _UNDER_HEADING * height), height - 1)
                )
            if len(run) > 1 or not isinstance(flowable, Paragraph):
                yield CondPageBreak(room)
            for each in run:
                each.keepWithNext = 0
            yield from run
        run = []
    yield from run


def _room_for_beginning(run: Sequence[Flowable], after: Sequence[Flowable], width: float, least: float) -> float:
    """Height that a run takes down to `least` from its last heading, or to the end of what is kept together there."""
    last = max(at for at, flowable in enumerate(run) if isinstance(flowable, _Heading))
    least += _height(run[:last], width)
    total = _height(run, width)
    room, together = min(total, least), list[Flowable]()
    for flowable in _rest_of_part(after):
        together.append(flowable)
        if flowable.getKeepWithNext():
            continue
        if total >= least:
            break
        is_whole = len(together) > 1
        total += _height(together, width)
        room, together = (total if is_whole else min(total, least)), []
    return room


def _rest_of_part(story: Iterable[Flowable]) -> Iterator[Flowable]:
    """What follows up to the next heading, repeated stretch of rows or page of its own."""
    ends = (_Heading, _Block, NextPageTemplate, PageBreak, _Sheet)
    return itertools.takewhile(lambda flowable: not isinstance(flowable, ends), story)


def _height(flowables: Sequence[Flowable], width: float) -> float:
    return float(sum(each.getSpaceBefore() + each.wrap(width, 1e6)[1] + each.getSpaceAfter() for each in flowables))


def _can_be_split(flowable: Flowable) -> bool:
    return isinstance(flowable, _Ticks | Grid)


# -- blocks ---------------------------------------------------------------------------------------------------------


def _story(document: Document, every_row: bool, width: float, pages_of: dict[str, int]) -> Iterator[Flowable]:
    """Everything in order; a document with chapters has its contents after its first part."""
    body = list(_chapter(document, every_row, width, 0))
    if document.chapters:
        after = next((at for at, each in enumerate(body) if getattr(each, "level", 0) == 1), len(body))
        heading = _heading("Contents", 13, 1, is_listed=False)
        body[after:after] = [heading, *_contents([*body[:after], heading, *body[after:]], width, pages_of)]
    on_sheet = False
    for flowable in body:
        if on_sheet and not isinstance(flowable, NextPageTemplate | PageBreak | _Sheet):
            yield from (NextPageTemplate(_TEXT), PageBreak())
            on_sheet = False
        yield flowable
        on_sheet = on_sheet or isinstance(flowable, _Sheet)


def _chapter(document: Document, every_row: bool, width: float, depth: int) -> Iterator[Flowable]:
    """depth: 0 for the whole, 1 for a chapter of it, and so on."""
    yield _heading(document.title, _TITLE_SIZES[min(depth, 2)], depth, 5 * min(depth, 1))
    kind = document.kind
    if document.subtitle and document.subtitle != document.title:
        kind = f"{document.subtitle} · {kind}"
    if kind:
        yield _paragraph(kind, _style(11, after=3))
    if document.facts:
        label, value = _style(10, True, 0.01), _style(10)
        rows = [[_paragraph(name, label), _paragraph(text, value)] for name, text in document.facts]
        facts = Grid(rows, [24 * mm, width - 24 * mm], style=_PLAIN, spaceAfter=2 * mm)
        facts.keepWithNext = 1
        yield facts
    has_legend = document.rows is not None and any(row.bed for row in document.rows.passes())
    for part in document.parts:
        flowables = [each for block in part.blocks for each in _block(block, width - (6 * mm if part.boxed else 0))]
        if part is document.parts[-1] and has_legend and flowables:
            flowables[-1].keepWithNext = 1  # the legend of the rows belongs to what is said of working them
        if part.boxed:
            head = _paragraph(part.heading, _style(12, True, 0.01))
            yield Spacer(0, 3 * mm)
            yield Grid([[each] for each in (head, *flowables)], [width], style=_BOX)
        else:
            if part.heading:
                yield _heading(part.heading, 13, depth + 1)
            yield from flowables
    if document.rows is not None:
        yield from _rows(document.rows, every_row, width, depth + 1)
    for chapter in document.chapters:
        yield from _chapter(chapter, every_row, width, depth + 1)


_TITLE_SIZES: Final = (20, 17, 14)
_MOST_LISTED: Final = 36
"""Lines of the contents up to which headings of the third level are among them."""


def _contents(body: Sequence[Flowable], width: float, pages_of: dict[str, int]) -> Iterator[Flowable]:
    """The headings with their pages, each a link to its place; the title and the head of the list itself left out."""
    headings = [flowable for flowable in body if isinstance(flowable, _Heading | _Sheet)]
    keyed = [(heading, f"heading-{at}") for at, heading in enumerate(headings, start=1)]
    keyed = [(heading, key) for heading, key in keyed if heading.level and heading.is_listed]
    most = next(level for level in (2, 1) if level == 1 or sum(h.level <= level for h, _ in keyed) <= _MOST_LISTED)
    rows = []
    for heading, key in keyed:
        if heading.level <= most:
            style = _style(10, left=6 * (heading.level - 1) + 0.01, after=0)
            words = f'<a href="#{key}" color="black">{_words(heading.title)}</a>'
            rows.append(
                [Paragraph(words, style), Paragraph(str(pages_of.get(key, 0)), _style(10, after=0, right=True))]
            )
    yield Grid(rows, [width - 20 * mm, 20 * mm], style=_PLAIN)


_PLAIN: Final = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0),
                 ("TOPPADDING", (0, 0), (-1, -1), 0.5), ("BOTTOMPADDING", (0, 0), (-1, -1), 0.5)]  # fmt: skip
_BOX: Final = [("BOX", (0, 0), (-1, -1), 1.2, black), ("LEFTPADDING", (0, 0), (-1, -1), 3 * mm),
               ("TOPPADDING", (0, 0), (-1, -1), 1), ("BOTTOMPADDING", (0, 0), (-1, -1), 1)]  # fmt: skip
_RULED: Final = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, -1), 0.4, _GREY),
                 ("LINEBELOW", (0, 0), (-1, 0), 1, black), ("LEFTPADDING", (0, 0), (-1, -1), 0),
                 ("TOPPADDING", (0, 0), (-1, -1), 2), ("BOTTOMPADDING", (0, 0), (-1, -1), 2)]  # fmt: skip
_ROW: Final = [*_PLAIN, ("LINEABOVE", (0, 0), (-1, 0), 0.4, _GREY), ("TOPPADDING", (0, 0), (-1, -1), 3)]
_ROW_OF_FOUR: Final = [*_ROW, ("RIGHTPADDING", (1, 0), (1, 0), 0)]
"""With the number of the row in the second column, where room is narrow."""


def _block(block: Block, width: float) -> Iterator[Flowable]:
    text, item = _style(10), _style(10, left=5)
    match block:
        case str():
            shown = _paragraph(block, text)
            shown.keepWithNext = int(block.endswith(":"))
            yield shown
        case Listing():
            for at, each in enumerate(block.items, start=1):
                yield _paragraph(each, item, f"{at}." if block.numbered else "•")
        case Terms():
            for term, meaning in block.pairs:
                yield Paragraph(f'<font name="{fonts()[True]}">{_words(term)}</font>: {_words(meaning)}', text)
        case Table():
            yield from _table(block, width)
        case Drawing():
            shapes = _Shapes(block, width)
            shapes.keepWithNext = int(bool(block.caption))
            yield shapes
            if block.caption:
                yield _paragraph(block.caption, _style(9))
        case Lines():
            yield from (_paragraph(line, item) for line in block.lines)
        case Picture():
            raster = _Raster(block, width)
            raster.keepWithNext = int(bool(block.caption))
            yield raster
            if block.caption:
                yield _paragraph(block.caption, _style(9))
        case Sheet():
            yield from (NextPageTemplate(_name_of(block)), PageBreak(), _Sheet(block))


_TEXT: Final = "text"
"""The page of everything but sheets, which have pages of their own."""


def _sheets(document: Document) -> Iterator[Sheet]:
    for part in document.parts:
        yield from (block for block in part.blocks if isinstance(block, Sheet))
    for chapter in document.chapters:
        yield from _sheets(chapter)


def _name_of(sheet: Sheet) -> str:
    return f"sheet {id(sheet)}"


def _sheet_template(sheet: Sheet) -> PageTemplate:
    size = (sheet.page.width_mm * POINTS_PER_MM, sheet.page.height_mm * POINTS_PER_MM)
    return PageTemplate(_name_of(sheet), [Frame(0, 0, *size, 0, 0, 0, 0)], pagesize=size)


class _Sheet(Flowable):  # type: ignore[misc]
    """A page that is drawn already, in its own size, with a bookmark."""

    def __init__(self, sheet: Sheet) -> None:
        super().__init__()
        self.page, self.title, self.level, self.is_listed = sheet.page, sheet.name, 2, True

    def getPlainText(self) -> str:
        return _clean(self.title)

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        return self.page.width_mm * POINTS_PER_MM, self.page.height_mm * POINTS_PER_MM

    def draw(self) -> None:
        self.canv.foot_mm = _FOOT_OF_SHEET_MM
        if not self.canv.is_draft:
            draw_page(self.canv, self.page, self.canv.marked)


_FOOT_OF_SHEET_MM: Final = 6.4
"""A quarter of an inch, which most printers can do (common practice): sheets are full down to 10 mm."""


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
        if self.canv.is_draft:
            return
        with self.canv.marked("Figure", _clean(self.alt)):
            self.canv.drawImage(self.image, 0, 0, self.width, self.height)


def _table(table: Table, width: float) -> Iterator[Flowable]:
    if table.caption:
        caption = _paragraph(table.caption, _style(10, before=2))
        caption.keepWithNext = 1
        yield caption
    head = [_paragraph(cell, _style(9.5, True, 0.01)) for cell in table.head]
    rows = [[_paragraph(cell, _style(9.5)) for cell in row] for row in table.rows]
    longest = [max(len(cell) for cell in column) for column in zip(table.head, *table.rows, strict=True)]
    shares = [min(max(letters, 6), 60) for letters in longest]
    widths = [width * share / sum(shares) for share in shares]
    yield _Ruled([head, *rows], widths, repeatRows=1, style=_RULED, spaceAfter=2 * mm)


class _Ruled(Grid):  # type: ignore[misc]
    """A table that goes over to the next page, if it must, with no fewer than three lines on either."""

    def split(self, width: float, height: float) -> list[Flowable]:
        parts: list[Flowable] = super().split(width, height)
        if len(parts) == 2:
            before, after = (len(part._cellvalues) - 1 for part in parts)
            if after < _FEWEST_LINES:
                height = float(sum(self._rowHeights[: before + after - _FEWEST_LINES + 1])) + 0.1
                parts, before = super().split(width, height), before + after - _FEWEST_LINES
            if before < _FEWEST_LINES:
                return []
        return parts


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
                    canvas.circle(x, y, shape.radius, stroke=int(shape.ink != "solid"), fill=fill)
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

    def __init__(self, times: Sequence[Sequence[int]], indent: float = 0) -> None:
        super().__init__()
        self.times, self.indent = times, indent
        self.gap = 0.3 if any(len(once) > 1 for once in times) else 0.0
        self.side = _TICKS[0]
        self.lines: list[list[Sequence[int]]] = []

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        across = max(1, int((width - self.indent) / self.side) - 1)
        runs = [once[at : at + across] for once in self.times for at in range(0, len(once), across)]
        self.lines = [[]]
        for run in runs:
            taken = sum(map(len, self.lines[-1])) + len(run) + self.gap * len(self.lines[-1])
            if self.lines[-1] and taken > across:
                self.lines.append([])
            self.lines[-1].append(run)
        self.width, self.height = width, len(self.lines) * (self.side + 2) + 3
        return self.width, self.height

    def split(self, width: float, height: float) -> list[Flowable]:
        self.wrap(width, height)
        fit = int((height - 3) / (self.side + 2))
        if fit < 1 or fit >= len(self.lines):
            return [self] if fit >= len(self.lines) else []
        parts = (self.lines[:fit], self.lines[fit:])
        return [_Ticks([run for line in part for run in line], self.indent) for part in parts]

    def draw(self) -> None:
        canvas = self.canv
        canvas.setLineWidth(0.7)
        canvas.setStrokeColor(black)
        canvas.setFillColor(black)
        canvas.setFont(fonts()[False], 8 if self.side > _TICKS[-1] else 7)
        for at, line in enumerate(self.lines):
            x, y = self.indent, self.height - (at + 1) * (self.side + 2)
            for run in line:
                for number in run:
                    canvas.rect(x, y, self.side, self.side)
                    canvas.drawCentredString(x + self.side / 2, y + self.side / 2 - 2.8, str(number or ""))
                    x += self.side
                x += self.gap * self.side


def _rows(rows: Rows, every_row: bool, width: float, level: int) -> Iterator[Flowable]:
    if used := "".join({row.bed for row in rows.passes()}):
        yield from _block(legend(used, rows.by_hand), width)
    if rows.before:
        yield _heading(f"Before row {rows.first_row}", 13, level, is_listed=False)
        yield from _block(Listing(rows.before, numbered=True), width)
    yield _heading("Row by row", 13, level, is_listed=False)
    total = _paragraph(rows.total, _style(10))  # first, where it never takes a page of its own
    total.keepWithNext = 1
    yield total
    entries = rows.entries
    folded: Sequence[Line | Repeated] = fold(entries)
    if every_row:
        folded = [Line((range(at, at + 1),)) for at, entry in enumerate(entries) if not isinstance(entry, Table)]
    for item in folded:
        if isinstance(item, Line):
            yield from _line(rows, item, every_row, width, level + 1)
            continue
        first, last = (_row(rows, index) for index in item.ends)
        words, style = item.words(first, last), _style(11, True, 0, 1, 3)
        content: list[Flowable] = [_paragraph(f"{words}. Tick each row.", style)]
        for number, line in enumerate(item.lines):
            if number:
                content.append(_Continued(_words(f"{words}, continued. Tick each row."), style))
            content += _line(rows, line, every_row, width, level + 1)
        yield _Block(content)


def _row(rows: Rows, index: int) -> int:
    entry = rows.entries[index]
    assert isinstance(entry, PassRow)
    return entry.row


def _line(rows: Rows, line: Line, every_row: bool, width: float, level: int) -> Iterator[Flowable]:
    entry = rows.entries[line.index]
    match entry:
        case Heading():
            yield _heading(entry.text, 12, level, is_listed=False)
            for detail in entry.details:
                shown = _paragraph(detail, _style(9.5, after=0.3))
                shown.keepWithNext = 1
                yield shown
            space = Spacer(0, 1 * mm)
            space.keepWithNext = 1
            yield space
        case ByHand():
            cells = [[_Ticks([[0]]), _paragraph(entry.text, _style(11, True, 0.01))]]
            yield Grid(cells, [9 * mm, width - 9 * mm], style=_ROW)
        case Table():
            yield from _table(entry, width)
        case PassRow():
            times = [[_row(rows, index) for index in once] for once in line.times]
            several = times != [[entry.row]]
            way = f"{entry.direction} first" if len(times[0]) > 1 else entry.direction
            arrow = "" if len(times[0]) > 1 else {"right to left": "← "}.get(entry.direction, "→ ")
            words: list[Flowable] = [
                _paragraph(" ".join(step.text for step in steps_of(entry, every_row)), _style(11, after=0))
            ]
            if entry.bed and len(times[0]) == 1:
                words += [Spacer(0, 1.5 * mm), _Shapes(draw(rows.needles, entry.bed), width - 50 * mm)]
            number = f"{entry.row}\N{NO-BREAK SPACE}…" if several else str(entry.row)
            cells = [
                [
                    "" if several else _Ticks([[0]]),
                    _paragraph(number, _style(14 if len(number) <= 5 else 12, True, 0.01)),
                    _paragraph(f"{arrow}{way}", _style(8.5)),
                    words,
                ]
            ]
            shown = Grid(cells, [9 * mm, 18 * mm, 23 * mm, width - 50 * mm], style=_ROW_OF_FOUR)
            shown.keepWithNext = int(several)
            yield shown
            if several:
                yield _Ticks(times, 9 * mm)

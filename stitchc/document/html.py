"""A document as one HTML file: on paper a table to tick off, on a screen a follower. It calls nothing from anywhere.

Or many documents as one file, of which the reader chooses what is hers.
"""

from __future__ import annotations

import base64
import functools
import hashlib
import itertools
import json
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from markupsafe import Markup, escape

from stitchc.document.bed_strip import draw, legend
from stitchc.document.blocks import Block as Repeated
from stitchc.document.blocks import Line, fold, steps_of
from stitchc.document.document import (
    ByHand,
    Document,
    Drawing,
    Heading,
    Lines,
    Listing,
    PassRow,
    Picture,
    Rows,
    Sheet,
    Step,
    Table,
    Terms,
)
from stitchc.document.svg import markup
from stitchc.markup import template, words
from stitchc.messages import visible
from stitchc.page.png import png

if TYPE_CHECKING:
    from stitchc.page.items import Page

_BOXES_BESIDE: Final = 14
"""Boxes that stand in one line under the words of a block's line; more take the whole width of the page."""


def to_html(document: Document, every_row: bool = False) -> str:
    """The whole page. The same document gives the same bytes.

    every_row: print a line for every row until the reader asks for less; by default paper has each repeated stretch
    once with a box to tick for every row of it. The screen always has every row.
    """
    return template(__package__, "document.html.j2", "page").render(**_shown(document, every_row))


def _shown(
    document: Document,
    every_row: bool = False,
    place: str = "about",
    label: str = "About this sheet",
    to_rows: str = "Back to the rows",
    chosen: str = "",
    folded: bool = False,
) -> dict[str, Any]:
    """What the template of a document's body takes. place, label: of what is read before the rows. to_rows: the words
    that lead from there to the rows. chosen: what tells this document from others of its title. folded: each repeated
    stretch of rows once and nothing else of them."""
    table = _Table(document.rows) if document.rows is not None else None
    return {
        "document": document,
        "key": _key(document, chosen),
        "boxed": [part for part in document.parts if part.boxed],
        "parts": [part for part in document.parts if not part.boxed],
        "rows": document.rows,
        "table": table,
        "every_row": every_row,
        "legend": _legend(document.rows),
        "kind_of": _kind_of,
        "markup": markup,
        "address": _address,
        "drawn_page": _drawn_page,
        "screen_row": _screen_row,
        "told": _told,
        "way": _way,
        "boxes": _boxes,
        "place": place,
        "label": label,
        "to_rows": to_rows,
        "folded": folded,
    }


# -- several documents in one page ------------------------------------------------------------------------------------


class Choice(NamedTuple):
    """What a reader is asked once. options: what each is called, in the order of the documents' keys. shown: what a
    reader sees in place of some of them."""

    label: str
    options: tuple[str, ...]
    shown: Mapping[str, str] = MappingProxyType({})


def to_choosing_html(
    front: Document, choices: Sequence[Choice], documents: Mapping[tuple[str, ...], Document], key: str
) -> str:
    """A page of several documents, of which the reader chooses one. The same documents give the same bytes.

    front: what stands before them all. documents: by the option of each choice; those that are not there cannot be
    chosen. key: under which the page remembers the choice. What documents have in common is in the page once.
    """
    body = template(__package__, "body.html.j2", "page")
    store = _Store()
    rendered: dict[int, str] = {}
    for options, document in documents.items():
        if id(document) not in rendered:
            # The place in the rows is that of a size, whatever its units.
            chosen = f"{key}{dict(document.facts).get('Needles')}"
            shown = _shown(document, chosen=chosen, label="The pattern", to_rows="Knit it row by row")
            rendered[id(document)] = body.render(**shown)
        store.add("\n".join(options), rendered[id(document)])
    unscripted = _shown(next(iter(documents.values())), label="The pattern", to_rows="", folded=True)
    return template(__package__, "choosing.html.j2", "page").render(
        front=front,
        opening=body.render(**_shown(front, place="front", label=front.title)),
        choices=[choice for choice in choices if len(choice.options) > 1],
        fixed=[choice for choice in choices if len(choice.options) == 1],
        order=[choice.label for choice in choices],
        store=store.as_json(),
        key=key,
        first=body.render(**unscripted),
    )


class _Store:
    """Pages of HTML as numbers of the stretches that they are made of, each of which is kept once.

    A stretch is a run of lines from one heading to the next; its lines, those of rows cut between their cells, are kept
    once as well. So the rows of a machine take little more room for each further size, unit and repeat.
    """

    _STRETCH: Final = re.compile(r'<(?:tr class="part">|section|h2|symbol)')
    _LINE: Final = re.compile(r'(?= data-[ms]=)|(?<=">)(?=<td class="box-cell">)|(?=<td class="(?:do|way))|(?<=\n)')

    def __init__(self) -> None:
        self.lines: dict[str, int] = {}
        self.stretches: dict[tuple[int, ...], int] = {}
        self._numbers: dict[str, int] = {}
        self.pages: dict[str, list[int]] = {}

    def add(self, name: str, html: str) -> None:
        cuts = [0, *(match.start() for match in self._STRETCH.finditer(html)), len(html)]
        numbers = []
        for first, last in itertools.pairwise(cuts):
            stretch = html[first:last]
            if stretch not in self._numbers:
                lines = tuple(self.lines.setdefault(line, len(self.lines)) for line in self._LINE.split(stretch))
                self._numbers[stretch] = self.stretches.setdefault(lines, len(self.stretches))
            numbers.append(self._numbers[stretch])
        self.pages[name] = numbers

    def as_json(self) -> str:
        """Everything, as it may stand in a script element."""
        kept = {"lines": list(self.lines), "stretches": list(self.stretches), "pages": self.pages}
        text = json.dumps(kept, ensure_ascii=False, separators=(",", ":"))
        return text.replace("</", "<\\/").replace("<!--", "<\\u0021--")


def _address(content: bytes) -> str:
    kind = "jpeg" if content.startswith(b"\xff\xd8") else "png"
    return f"data:image/{kind};base64,{base64.b64encode(content).decode()}"


_SHEET_DPI: Final = 110
"""At which the smallest letters of a sheet can be read."""


@functools.lru_cache(maxsize=64)
def _drawn_page(page: Page) -> str:
    """The address of a sheet, which is shown as a picture: in a page its shapes would take the page's own style."""
    return _address(png(page, _SHEET_DPI))


def _kind_of(block: object) -> str:
    return _KINDS[type(block)]


_KINDS: Final = {
    str: "text",
    Listing: "list",
    Terms: "terms",
    Table: "table",
    Drawing: "drawing",
    Lines: "lines",
    Picture: "picture",
    Sheet: "sheet",
}


def _key(document: Document, chosen: str) -> str:
    """What a page remembers its place under: that of the same work made again, which compares the rows done."""
    content = f"{document.title}\n{document.subtitle}\n{dict(document.facts).get('Machine')}{chosen}"
    return hashlib.sha256(content.encode("utf-8", "replace")).hexdigest()[:16]


def _legend(rows: Rows | None) -> Drawing | None:
    used = "".join({bed for row in rows.passes() for bed in row.beds}) if rows is not None else ""
    return legend(used, rows.by_hand) if rows is not None and used else None


class _Table:
    """What each line of the table shows, on the screen and on paper; each distinct bed strip is drawn once."""

    def __init__(self, rows: Rows) -> None:
        self.rows = rows
        self.strips: list[Drawing] = []
        number_of: dict[str, int] = {}
        self.lines: list[dict[str, Any]] = []
        for entry in rows.entries:
            shown = []
            first = entry.bed_first if isinstance(entry, PassRow) else ""
            for bed in entry.beds if isinstance(entry, PassRow) else ():
                again = bed in number_of
                if not again:
                    number_of[bed] = len(self.strips)
                    self.strips.append(draw(rows.needles, bed))
                shown.append(_strip(number_of[bed], self.strips[number_of[bed]], bed == first, again))
            self.lines.append({"kind": _ENTRIES[type(entry)], "entry": entry, "strips": shown, **_ALONE})
        self.screen = [line for line in self.lines if line["kind"] != "table"]
        self.paper = self._paper()

    def _paper(self) -> list[list[dict[str, Any]]]:
        """The table as it is printed, or nothing where it would be no shorter, in groups: a block of lines is one by
        itself, the rows before, between and after blocks are as in the table."""
        folded = fold(self.rows.entries)
        if all(isinstance(item, Line) and len(item.times[0]) == 1 for item in folded):
            return []
        groups: list[list[dict[str, Any]]] = []
        for single, together in itertools.groupby(folded, lambda item: isinstance(item, Line)):
            if single:
                groups.append([self._line(item) for item in together if isinstance(item, Line)])
            else:
                groups += [[self._block(item)] for item in together if isinstance(item, Repeated)]
        return groups

    def _line(self, line: Line) -> dict[str, Any]:
        """`ticks` of a line that serves for several rows are their numbers, those of one time through together."""
        shown = dict(self.lines[line.index])
        entry = shown["entry"]
        if isinstance(entry, PassRow):
            shown["steps"] = steps_of(entry, False)
            if line.times != (range(line.index, line.index + 1),):
                ticks = [[self._row(index) for index in once] for once in line.times]
                shown |= {"ticks": ticks, "few": sum(map(len, ticks)) <= _BOXES_BESIDE}
            if len(line.times[0]) > 1:
                shown |= {"to_and_fro": True, "strips": []}
        return shown

    def _block(self, block: Repeated) -> dict[str, Any]:
        first, last = (self._row(index) for index in block.ends)
        lines = [self._line(line) for line in block.lines]
        together = sum(map(_printed_mm, lines)) <= _MOST_TOGETHER_MM
        return {"kind": "block", "heading": block.words(first, last), "lines": lines, "together": together}

    def _row(self, index: int) -> int:
        entry = self.rows.entries[index]
        assert isinstance(entry, PassRow)
        return entry.row


def _screen_row(line: Mapping[str, Any]) -> Markup:
    """A row on the screen. Like all below it there are thousands of it, which a template takes ten times as long
    for."""
    entry = line["entry"]
    state = f' data-s="{_things(entry.state)}"'
    state += f' data-t="{_things(entry.state_then)}"' if entry.state_then else ""
    number = f'<th scope="row"><a href="#row-{entry.row}">{entry.row}</a></th>'
    return Markup(
        f'<tr id="row-{entry.row}" data-m="{" ".join(map(str, entry.moves))}"{state}><td class="box-cell"><i></i></td>'
        f'{number}{_way(line)}<td class="do">{_told(line, entry.steps_alone)}</td></tr>'
    )


def _things(state: Sequence[str]) -> Markup:
    return escape(visible(" · ".join(state)))


def _told(line: Mapping[str, Any], steps: Iterable[Step]) -> Markup:
    """The steps of a line with its bed strips."""
    return Markup("".join([*(_step(each.kind, each.text) for each in steps), *line["strips"]]))


@functools.lru_cache(maxsize=4096)
def _step(kind: str, text: str) -> str:
    return f'<p class="{kind}">{words(text)}</p> '


def _strip(number: int, drawn: Drawing, first: bool, again: bool) -> str:
    """A bed strip in a line. number: of its drawing, which the page has once; first, again: what the style shows of
    it."""
    kind = f"bed{' first' if first else ''}{' again' if again else ''}"
    size = f'viewBox="0 0 {drawn.width} {drawn.height}" style="--w:{drawn.width}"'
    return f'<svg class="{kind}" aria-hidden="true" {size}><use href="#bed-{number}"/></svg>'


def _way(line: Mapping[str, Any]) -> Markup:
    """The cell that tells which way the carriage goes."""
    direction = line["entry"].direction
    if line["to_and_fro"]:
        return Markup(f'<td class="way">{direction} first</td>')
    return Markup(f'<td class="way {"l" if direction == "right to left" else "r"}">{direction}</td>')


def _boxes(line: Mapping[str, Any]) -> Markup:
    """The boxes to tick of a line, those of one time through together."""
    times = ("".join(f'<i data-r="{number}">{number}</i>' for number in once) for once in line["ticks"])
    return Markup(f'<div class="ticks">{"".join(f"<span>{once}</span>" for once in times)}</div>')


_MOST_TOGETHER_MM: Final = 200.0
"""Height up to which a repeat is printed on one page. A browser moves a higher one to the next page as well, where it
goes on over that page's end all the same, and leaves the page before it empty."""


def _printed_mm(line: Mapping[str, Any]) -> float:
    """About how high a line of a repeat is on paper: its words, and a line of boxes for each two dozen of ticks."""
    words = sum(len(step.text) for step in line.get("steps", ()))
    ticks = sum(map(len, line["ticks"] or ()))
    return 3 + 5.5 * math.ceil(words / 50) + 8 * math.ceil(ticks / 24)


_ALONE: Final[dict[str, Any]] = {"ticks": None, "few": True, "to_and_fro": False}
"""Of a line that serves for one row alone."""

_ENTRIES: Final = {PassRow: "pass", ByHand: "do", Heading: "part", Table: "table"}

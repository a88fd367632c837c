"""A document as one HTML file: on paper a table to tick off, on a screen a follower. It calls nothing from anywhere."""

from __future__ import annotations

import hashlib
import itertools
from typing import Any, Final

from stitchc.document.bed_strip import draw, legend
from stitchc.document.blocks import Block as Repeated
from stitchc.document.blocks import Line, fold, steps_of
from stitchc.document.svg import markup
from stitchc.document.values import ByHand, Document, Drawing, Heading, Lines, Listing, PassRow, Rows, Table, Terms
from stitchc.markup import template

_BOXES_BESIDE: Final = 14
"""Boxes that stand in one line under the words of a block's line; more take the whole width of the page."""


def to_html(document: Document, every_row: bool = False) -> str:
    """The whole page. The same document gives the same bytes.

    every_row: print a line for every row until the reader asks for less; by default paper has each repeated stretch
    once with a box to tick for every row of it. The screen always has every row.
    """
    table = _Table(document.rows) if document.rows is not None else None
    return template(__package__, "document.html.j2", "page").render(
        document=document,
        key=_key(document),
        boxed=[part for part in document.parts if part.boxed],
        parts=[part for part in document.parts if not part.boxed],
        rows=document.rows,
        table=table,
        every_row=every_row,
        legend=_legend(document.rows),
        kind_of=_kind_of,
        markup=markup,
    )


def _kind_of(block: object) -> str:
    kinds = {str: "text", Listing: "list", Terms: "terms", Table: "table", Drawing: "drawing", Lines: "lines"}
    return kinds[type(block)]


def _key(document: Document) -> str:
    """What a page remembers its place under: that of the same work made again, which compares the rows done."""
    content = f"{document.title}\n{document.subtitle}\n{dict(document.facts).get('Machine')}"
    return hashlib.sha256(content.encode("utf-8", "replace")).hexdigest()[:16]


def _legend(rows: Rows | None) -> Drawing | None:
    used = "".join({row.bed for row in rows.passes()}) if rows is not None else ""
    return legend(used, rows.by_hand) if rows is not None and used else None


class _Table:
    """What each line of the table shows, on the screen and on paper; each distinct bed strip is drawn once."""

    def __init__(self, rows: Rows) -> None:
        self.rows = rows
        self.strips: list[Drawing] = []
        number_of: dict[str, int] = {}
        self.lines: list[dict[str, Any]] = []
        for entry in rows.entries:
            strip, again = None, False
            if isinstance(entry, PassRow) and entry.bed:
                again = entry.bed in number_of
                if not again:
                    number_of[entry.bed] = len(self.strips)
                    self.strips.append(draw(rows.needles, entry.bed))
                strip = number_of[entry.bed]
            self.lines.append({"kind": _ENTRIES[type(entry)], "entry": entry, "strip": strip, "again": again, **_ALONE})
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
                shown |= {"to_and_fro": True, "strip": None}
        return shown

    def _block(self, block: Repeated) -> dict[str, Any]:
        first, last = (self._row(index) for index in block.ends)
        return {
            "kind": "block",
            "heading": block.words(first, last),
            "lines": [self._line(line) for line in block.lines],
        }

    def _row(self, index: int) -> int:
        entry = self.rows.entries[index]
        assert isinstance(entry, PassRow)
        return entry.row


_ALONE: Final[dict[str, Any]] = {"ticks": None, "few": True, "to_and_fro": False}
"""Of a line that serves for one row alone."""

_ENTRIES: Final = {PassRow: "pass", ByHand: "do", Heading: "part", Table: "table"}

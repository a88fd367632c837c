"""A stitch's repeat in published signs, with numbers, outline, yarns and legend, as pages in mm.

Makes `Page` values out of a chart; knows no file types and no machines.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from stitchc.chart import KNIT, OUT, SIGNS, SLIP, TUCK, Chart
from stitchc.drawn.carried import KEYWORD, carried_words
from stitchc.drawn.grid import FIFTH_LINE, Grid, Part, fitting_cell, page_parts, paged_cell
from stitchc.drawn.legend import LETTERING, Legend
from stitchc.drawn.symbols import Area, Face, Notation, Ring, Spot, Stroke, meaning, symbol
from stitchc.english import number as counted
from stitchc.english import numbered
from stitchc.messages import Message, Refused
from stitchc.notation.writer import row_text
from stitchc.page import PAPERS, Anchor, Circle, Disc, Item, Line, Page, Polygon, Rectangle, Text
from stitchc.page.lettering import fitted, width_mm, wrapped
from stitchc.pattern import Side, Yarn
from stitchc.wording import OPTION

Paper = Literal["roll", "a4", "letter", "a3"]

_ROLL_WIDTH_MM: Final = 240.0
"""Cells shrink to keep a chart on one sheet within about this width, as far as they stay legible."""
_LEAST_SHOWN: Final = 10
"""A repeat smaller than this is shown several times over, so that its look can be seen."""
MOST_CELLS: Final = 160_000
"""Cells that are drawn: a bed of 200 needles and 800 rows."""

_MARGIN_MM: Final = 8.0
_PAPER_MARGIN_MM: Final = 12.7
_GUTTER_MM: Final = 10.0
"""Room for row numbers on each side of the grid."""
_BAND_MM: Final = 6.0
_UNDER_MM: Final = 8.5
"""From the grid's lower edge to the legend: column numbers stand between."""

_MOST_READ: Final = 16
"""Rows of a repeat that its description names one by one."""

_BLACK: Final = "#000000"
_QUIET: Final = "#5c5c5c"
_EMPTY: Final = "#e4e4e4"
"""Behind the cells of needles out of work."""


@dataclass(frozen=True)
class Drawing:
    """How a chart is to be drawn.

    face: the side of the fabric that is seen; the knit side shows left and right exchanged. carriage: where the
    carriage stands before row 1. cell_mm: side of a cell; chosen to fit if None. repeats: how often the repeat is
    shown across and up; as often as makes 10 cells if None. paper: "roll" is one sheet as large as it must be.
    """

    notation: Notation = "squared"
    face: Face = "purl"
    carriage: Side = "right"
    cell_mm: float | None = None
    repeats: tuple[int, int] | None = None
    paper: Paper = "roll"


def draw(
    name: str,
    chart: Chart,
    drawing: Drawing | None = None,
    *,
    title: str | None = None,
    yarns: Mapping[str, Yarn] | None = None,
) -> list[Page]:
    """The stitch's chart on as many pages as the paper needs, row 1 at the bottom of the first.

    title: the pattern's, for the head line; yarns: the pattern's, for colours and descriptions.
    Raises Refused D701 where there are more cells than can be looked at.
    """
    drawing = drawing or Drawing()
    across, up = drawing.repeats or (
        math.ceil(_LEAST_SHOWN / chart.width) if chart.width < _LEAST_SHOWN else 1,
        math.ceil(_LEAST_SHOWN / chart.height) if chart.height < _LEAST_SHOWN else 1,
    )
    columns, rows = chart.width * across, chart.height * up
    if columns * rows > MOST_CELLS:
        shown = f"{across} by {up} repeats of it" if across * up > 1 else "it"
        text = f"`{name}` is too large to draw: {shown} would be {columns:,} by {rows:,} cells, and a drawn chart has "
        text += f"at most {MOST_CELLS:,}."
        most = _most_repeats(chart, across, up)
        advice = (
            f"{OPTION.repeats:{most[0]}x{most[1]}}"
            if most
            else f"{OPTION.stitch:{name}} {OPTION.format:text}   (letters, of any size)"
        )
        raise Refused(Message("D701", "error", text, advice=advice))
    sheet = _Sheet(name, chart, chart.tiled(columns, rows), drawing, title, yarns or {})
    return list(sheet.pages())


def _most_repeats(chart: Chart, across: int, up: int) -> tuple[int, int] | None:
    """Of the repeats asked for the most that can be drawn, both ways cut alike; None where not even one can."""
    most = MOST_CELLS // (chart.width * chart.height)
    if not most:
        return None
    side = math.isqrt(most)
    if min(across, up) > side:
        return side, side
    return (across, min(up, most // across)) if across <= up else (min(across, most // up), up)


# -- layout -------------------------------------------------------------------------------------------------------


@dataclass
class _Sheet:
    """One stitch being drawn. chart: its repeat; shown: all that is drawn, as it is seen from the face asked for."""

    name: str
    chart: Chart
    shown: Chart
    drawing: Drawing
    title: str | None
    yarns: Mapping[str, Yarn]
    letters: dict[str, str] = field(init=False)
    """The letter of each yarn that is used, by its name."""

    def __post_init__(self) -> None:
        used = dict.fromkeys(yarn for yarn in self.chart.yarns if yarn is not None)
        self.letters = {yarn: _yarn_letter(number) for number, yarn in enumerate(used)}
        if self.drawing.face == "knit":
            self.shown = self.shown.mirrored()

    # -- where things go

    @property
    def margin_mm(self) -> float:
        return _MARGIN_MM if self.drawing.paper == "roll" else _PAPER_MARGIN_MM

    @property
    def left_mm(self) -> float:
        return self.margin_mm + _GUTTER_MM + (_BAND_MM if self.letters else 0)

    @property
    def right_mm(self) -> float:
        return self.margin_mm + _GUTTER_MM

    def pages(self) -> Iterator[Page]:
        if self.drawing.paper == "roll":
            side = self.drawing.cell_mm or fitting_cell(_ROLL_WIDTH_MM, self.shown.width)
            width = max(self.left_mm + self.shown.width * side + self.right_mm, 2 * self.margin_mm + 112)
            legend = self._legend(width - 2 * self.margin_mm)
            head = self._head_height(width)
            height = head + self.shown.height * side + _UNDER_MM + legend.height_mm + self.margin_mm
            yield self._page(
                (width, height), head, side, Part(0, self.shown.width, 0, self.shown.height), legend, "", ""
            )
            return
        width, height = PAPERS[self.drawing.paper]
        legend, head = self._legend(width - 2 * self.margin_mm), self._head_height(width)
        room_x = width - self.left_mm - self.right_mm
        room_y = height - head - _UNDER_MM - legend.height_mm - self.margin_mm
        cell = self.drawing.cell_mm
        if cell is None:
            cell = paged_cell(self.shown.width, self.shown.height, room_x, room_y)
        parts = list(
            page_parts(self.shown.width, self.shown.height, int(room_x / cell + 1e-9), int(room_y / cell + 1e-9))
        )
        for number, part in enumerate(parts, start=1):
            where = self._where(part) if len(parts) > 1 else ""
            count = f"page {number} of {len(parts)}" if len(parts) > 1 else ""
            yield self._page((width, height), head, cell, part, legend, where, count)

    def _where(self, part: Part) -> str:
        columns = [self._column(column) for column in (part.first_column, part.last_column - 1)]
        return f"columns {min(columns) + 1}–{max(columns) + 1}, rows {part.first_row + 1}–{part.last_row}"

    def _column(self, column: int) -> int:
        """The column of the knitter's chart (0 is leftmost facing the bed) that stands at this place of the page."""
        return self.shown.width - 1 - column if self.drawing.face == "knit" else column

    def _head_height(self, width: float) -> float:
        return self.margin_mm + 5.5 + 4.2 * len(self._head_lines(width)) + 4.0

    def _head_lines(self, width: float) -> list[str]:
        needles, rows = counted(self.chart.width, "needle"), counted(self.chart.height, "row")
        side = "purl side toward you, as at the machine" if self.drawing.face == "purl" else "seen from the knit side"
        words = f"Repeat of {needles} by {rows}, {side}"
        if self.shown.width > self.chart.width or self.shown.height > self.chart.height:
            across, up = self.shown.width // self.chart.width, self.shown.height // self.chart.height
            words += f"; shown {across}×{up} times, one repeat outlined"
        return wrapped(f"{words}.", width - 2 * self.margin_mm, 3.0)

    # -- one page

    def _page(
        self, size: tuple[float, float], head: float, cell: float, part: Part, legend: Legend, where: str, count: str
    ) -> Page:
        width, height = size
        grid_width, grid_height = part.columns * cell, part.rows * cell
        left = self.left_mm
        if self.drawing.paper == "roll":  # a narrow chart stands in the middle of its sheet
            left += max(0.0, (width - self.left_mm - self.right_mm - grid_width) / 2)
        grid = Grid(left, head, cell, part)
        items: list[Item] = [Rectangle(0, 0, width, height, fill="#ffffff", stroke=None)]
        items += self._head(width, count, where)
        items += legend.words_at(self.margin_mm, head + grid_height + _UNDER_MM)
        items += legend.boxes_at(self.margin_mm, head + grid_height + _UNDER_MM)
        items += self.cells(grid)
        items += self._row_numbers(grid)
        items += self._column_numbers(grid)
        items += self._band(grid)
        heading = f"{self.title}: {self.name}" if self.title else self.name
        return Page(
            width,
            height,
            tuple(items),
            title=f"{heading} – chart",
            label=where or self.name,
            description=self._description(),
            sealed=(KEYWORD, carried_words(self.chart)),
        )

    def _description(self) -> str:
        """What the chart shows, row by row where it is short enough to be listened to."""
        chart = self.chart
        texts = [row_text(cells) for cells in chart.cells[:_MOST_READ]]
        yarns = [f" in {yarn}" if yarn else "" for yarn in chart.yarns]
        rows = [
            f"row {index + 1}{yarns[index]}: {text}" for index, text in enumerate(texts) if len(text) <= _MOST_READ * 3
        ]
        whole = len(rows) == chart.height
        holds = [word for code, word in ((TUCK, "tuck"), (SLIP, "slip")) if (chart.cells == code).any()]
        return (
            f"Chart of the stitch {self.name}, seen from the {self.drawing.face} side: one repeat of "
            f"{counted(chart.width, 'needle')} by {counted(chart.height, 'row')}, row 1 at the bottom, "
            f"{'knit with ' + ' and '.join(holds) if holds else 'all knit'}"
            + (f", {numbered('needle', chart.out)} out of work" if chart.out else "")
            + (f". Facing the bed: {'; '.join(rows)}." if whole else ".")
        )

    def _head(self, width: float, count: str, where: str) -> Iterator[Item]:
        margin = self.margin_mm
        room = width - 2 * margin
        note = " · ".join(text for text in (count, where) if text)
        note_width = width_mm(note, 2.8) + 4 if note else 0
        name = fitted(self.name, room - note_width, 5.0, bold=True)
        yield Text(margin, margin + 4.2, name, 5.0, bold=True, fill=_BLACK)
        if note:
            yield Text(width - margin, margin + 4.2, note, 2.8, anchor="end", fill=LETTERING)
        if self.title and (after := width_mm(name, 5.0, bold=True) + 3) < room - note_width - 12:
            rest = fitted(self.title, room - note_width - after, 3.2)
            yield Text(margin + after, margin + 4.2, rest, 3.2, fill=_QUIET)
        for number, line in enumerate(self._head_lines(width), start=1):
            yield Text(margin, margin + 5.0 + 4.2 * number, line, 3.0, fill=LETTERING)

    def cells(self, grid: Grid) -> Iterator[Item]:
        """The grid with its signs and the outline of the repeat; columns of needles out of work are shaded."""
        for column in range(grid.part.first_column, grid.part.last_column):
            if not self.shown.in_work[column]:
                left, top = grid.corner(column, grid.part.last_row - 1)
                height = grid.part.rows * grid.cell_mm
                yield Rectangle(left, top, grid.cell_mm, height, fill=_EMPTY, stroke=None)
        yield from grid.lines()
        yield from self._signs(grid)
        yield from self._outline(grid)

    def _signs(self, grid: Grid) -> Iterator[Item]:
        """The signs cell by cell; a running thread is one line along its row."""
        notation, face, part = self.drawing.notation, self.drawing.face, grid.part
        for row in range(part.first_row, part.last_row):
            thread: list[tuple[float, float]] = []
            thread_mm = 0.0
            for column in range(part.first_column, part.last_column):
                left, top = grid.corner(column, row)
                for shape in symbol(int(self.shown.cells[row, column]), notation, face):
                    if notation == "thread" and isinstance(shape, Stroke):
                        points = [(left + x * grid.cell_mm, top + y * grid.cell_mm) for x, y in shape.points]
                        thread += points if not thread else points[1:]
                        thread_mm = shape.width * grid.cell_mm
                    else:
                        yield from _laid(shape, left, top, grid.cell_mm)
            if thread:
                yield Polygon(tuple(thread), fill=None, stroke=_BLACK, line_mm=thread_mm, closed=False)

    def _outline(self, grid: Grid) -> Iterator[Item]:
        """A heavy line around the repeat that row 1 and column 1 begin, as much of it as stands on this page."""
        part = grid.part
        first = self.shown.width - self.chart.width if self.drawing.face == "knit" else 0
        last, top_row = first + self.chart.width, self.chart.height
        left, right = max(first, part.first_column), min(last, part.last_column)
        low, high = max(0, part.first_row), min(top_row, part.last_row)
        if left >= right or low >= high:
            return
        x1, y2 = grid.corner(left, low - 1)
        x2, y1 = grid.corner(right, high - 1)
        line = max(0.55, 0.12 * grid.cell_mm)
        half = line / 2
        for shown, y in ((low == 0, y2), (high == top_row, y1)):
            if shown:
                yield Line(x1 - half, y, x2 + half, y, line, _BLACK)
        for shown, x in ((left == first, x1), (right == last, x2)):
            if shown:
                yield Line(x, y1 - half, x, y2 + half, line, _BLACK)

    def _starts_at(self, row: int) -> Side:
        """The side of the page from which the carriage comes for a row (from 0)."""
        right = (self.drawing.carriage == "right") == (row % 2 == 0)
        if self.drawing.face == "knit":
            right = not right
        return "right" if right else "left"

    def _row_numbers(self, grid: Grid) -> Iterator[Item]:
        """Each row's number at the side where the carriage starts it, behind an arrowhead that points the way."""
        part, cell = grid.part, grid.cell_mm
        size = min(3.2, max(2.4, 0.7 * cell))
        tip = 0.32 * min(cell, 4.5)
        for row in range(part.first_row, part.last_row):
            middle = grid.corner(part.first_column, row)[1] + cell / 2
            ink = _BLACK if row < self.chart.height else _QUIET
            right = self._starts_at(row) == "right"
            x, out = (grid.left_mm + part.columns * cell, 1.0) if right else (grid.left_mm, -1.0)
            point, back = x + out, x + out * (1 + 1.3 * tip)
            yield Polygon(((point, middle), (back, middle - tip / 1.6), (back, middle + tip / 1.6)), ink)
            anchor: Anchor = "start" if right else "end"
            yield Text(back + 0.7 * out, middle + 0.36 * size, str(row + 1), size, anchor, fill=ink)

    def _column_numbers(self, grid: Grid) -> Iterator[Item]:
        """Numbers of the repeat's columns under the grid: the first, each fifth, and the last where there is room."""
        part, cell = grid.part, grid.cell_mm
        size = min(3.2, max(2.4, 0.7 * cell))
        y = grid.top_mm + part.rows * cell + 1.2 + 0.75 * size
        taken: list[tuple[float, float]] = []
        numbered: list[tuple[int, float]] = []
        for index in range(part.first_column, part.last_column):
            column = self._column(index)
            if column < self.chart.width:
                numbered.append((column + 1, grid.corner(index, part.first_row)[0] + cell / 2))
        wanted = [pair for pair in numbered if pair[0] == 1 or pair[0] % 5 == 0]
        wanted += [pair for pair in numbered if pair[0] == self.chart.width]
        for number, x in wanted:
            half = width_mm(str(number), size) / 2 + 0.5
            if all(x + half <= low or x - half >= high for low, high in taken):
                taken.append((x - half, x + half))
                yield Text(x, y, str(number), size, "middle", fill=_BLACK)
        sides = ("left", "right") if self.drawing.face == "purl" else ("right", "left")
        if part.first_column == 0:
            yield Text(grid.left_mm - 1.0, y, sides[0], 2.6, "end", fill=_QUIET)
        if part.last_column == self.shown.width:
            yield Text(grid.left_mm + part.columns * cell + 1.0, y, sides[1], 2.6, fill=_QUIET)

    def _band(self, grid: Grid) -> Iterator[Item]:
        """A strip at the left with each row's yarn: its colour and, for those who cannot tell colours, its letter."""
        if not self.letters:
            return
        part, cell = grid.part, grid.cell_mm
        left = grid.left_mm - _GUTTER_MM - _BAND_MM + 1.0
        width = _BAND_MM - 1.5
        row = part.first_row
        while row < part.last_row:
            end = row
            while end < part.last_row and self.shown.yarns[end] == self.shown.yarns[row]:
                end += 1
            yarn = self.shown.yarns[row]
            top = grid.corner(part.first_column, end - 1)[1]
            height = (end - row) * cell
            fill = self._colour(yarn)
            yield Rectangle(left, top, width, height, fill=fill, stroke=FIFTH_LINE, line_mm=0.2)
            size = min(3.2, 0.8 * height)
            letter = self.letters.get(yarn, "") if yarn is not None else "–"
            yield Text(left + width / 2, top + height / 2 + 0.36 * size, letter, size, "middle", fill=_on(fill))
            row = end

    def _colour(self, yarn: str | None) -> str:
        declared = self.yarns.get(yarn) if yarn is not None else None
        rgb = declared.rgb if declared is not None else None
        return "#ffffff" if rgb is None else "#{:02x}{:02x}{:02x}".format(*rgb)

    # -- legend

    def _legend(self, width: float) -> Legend:
        notation, face = self.drawing.notation, self.drawing.face
        entries: list[tuple[tuple[Item, ...], str]] = []
        codes = [code for code in (KNIT, TUCK, SLIP, OUT) if code in self.chart.cells]
        for code in codes:
            shade = _EMPTY if code == OUT else None
            box: list[Item] = [Rectangle(0, 0, 4.5, 4.5, fill=shade, stroke=FIFTH_LINE, line_mm=0.2)]
            for shape in symbol(code, notation, face):
                box += _laid(shape, 0, 0, 4.5)
            entries.append((tuple(box), f"{SIGNS[code]}  {meaning(code, notation, face)}"))
        for name, letter in self.letters.items():
            fill = self._colour(name)
            swatch = (
                Rectangle(0, 0, 4.5, 4.5, fill=fill, stroke=FIFTH_LINE, line_mm=0.2),
                Text(2.25, 3.4, letter, 3.0, "middle", fill=_on(fill)),
            )
            declared = self.yarns.get(name)
            described = (
                f"{name}, {declared.description}" if declared and declared.description not in ("", name) else name
            )
            if declared and declared.colour is None:  # its white is no yarn's
                described += " (colour not given)"
            entries.append((swatch, described))
        side = self.drawing.carriage
        words = (
            f"Row numbers are at the side where the carriage starts the row: row 1 from the {side}. Rows are knitted "
            "upward. Left and right are those of the bed."
        )
        if self.drawing.face == "knit":
            words += " This is the knit side: what is at the left of the bed is at the right here."
        if notation == "thread":
            words += " A dot is a needle seen from above."
        if any(yarn is None for yarn in self.chart.yarns) and self.letters:
            words += " –: no yarn is named."
        return Legend(tuple(entries), tuple(wrapped(words, width, 2.6)), width)


# -- small parts --------------------------------------------------------------------------------------------------


def _laid(shape: Stroke | Spot | Ring | Area, left: float, top: float, side: float) -> Iterator[Item]:
    """A shape of the unit square as items of a page, in a cell of `side` mm."""
    grey = round(255 * (1 - shape.ink))
    colour = f"#{grey:02x}{grey:02x}{grey:02x}"
    match shape:
        case Spot():
            x, y = left + shape.centre[0] * side, top + shape.centre[1] * side
            yield Disc(x, y, 2 * shape.radius * side, colour, "guide")
        case Ring():
            x, y = left + shape.centre[0] * side, top + shape.centre[1] * side
            yield Circle(x, y, 2 * shape.radius * side, shape.width * side, colour, None, "guide")
        case Area():
            yield Polygon(tuple((left + x * side, top + y * side) for x, y in shape.points), colour)
        case Stroke():
            points = tuple((left + x * side, top + y * side) for x, y in shape.points)
            if len(points) == 2:
                yield Line(*points[0], *points[1], shape.width * side, colour)
            else:
                yield Polygon(points, fill=None, stroke=colour, line_mm=shape.width * side, closed=False)


_YARN_LETTERS: Final = "ABCDEFGHJLMNPQRUVWXYZ"
"""Letters for yarns: without K, T and S, which are cells, and I and O, which look like numbers."""


def _yarn_letter(number: int) -> str:
    rounds, index = divmod(number, len(_YARN_LETTERS))
    return _YARN_LETTERS[index] + (str(rounds + 1) if rounds else "")


def _on(fill: str) -> str:
    """Black or white, whichever reads better on the colour (relative luminance of WCAG 2.2)."""
    channels = [int(fill[start : start + 2], 16) / 255 for start in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return "#000000" if luminance > 0.179 else "#ffffff"

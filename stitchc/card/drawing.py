"""Draws a card's tiles as pages: outline, holes, numbers, marks, notes, check rules.

Knows a card, its tiles and the page; nothing of file types. Lettering lies where no hole is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final

from stitchc.card import words
from stitchc.card.paper import (
    FOOT_MM,
    GAP_MM,
    NOTES_FOOT_MM,
    NOTES_MM,
    RULE_MM,
    STRIP_MM,
    Tile,
    along_mm,
    tiles,
    whole,
)
from stitchc.page.lettering import fitted, width_mm, wrapped
from stitchc.page.values import Circle, Disc, Item, Layer, Line, Page, Polygon, Rectangle, Text

if TYPE_CHECKING:
    from stitchc.card.plan import Card, Change

TEXT_MM: Final = 2.9
LINE_MM: Final = 3.7
ROW_NUMBER_MM: Final = 2.9
COLUMN_NUMBER_MM: Final = 2.3
MARK_MM: Final = 2.2
LEAST_LETTER_MM: Final = 1.5
LEAST_WORD_MM: Final = 1.9
CAPITAL: Final = 0.73
"""How high capitals and figures of the font are, as a share of its size."""

CLEAR_MM: Final = 0.45
"""Between lettering and the edge of a hole or of the sheet."""


def tiles_of(card: Card, paper: str, scale: tuple[float, float] = (1.0, 1.0)) -> list[Tile]:
    """What part of the card goes on which page of a paper. Raises paper.DoesNotFit."""
    return tiles(card, paper, scale, _notes_height(card))


def one_tile(card: Card, paper: str, scale: tuple[float, float] = (1.0, 1.0)) -> Tile:
    """The whole card on a single page, as long as it must be where it does not fit the paper."""
    return whole(card, paper, scale, _notes_height(card))


def pages(card: Card, paper: str, scale: tuple[float, float] = (1.0, 1.0)) -> list[tuple[Tile, Page]]:
    """The card on pages of a paper. Raises paper.DoesNotFit."""
    return [(tile, _page(card, tile, scale)) for tile in tiles_of(card, paper, scale)]


def one_page(card: Card, paper: str, scale: tuple[float, float] = (1.0, 1.0)) -> tuple[Tile, Page]:
    """The whole card on a single page."""
    tile = one_tile(card, paper, scale)
    return tile, _page(card, tile, scale)


def _page(card: Card, tile: Tile, scale: tuple[float, float]) -> Page:
    drawing = _Drawing(card, tile, scale)
    rows = f"rows {max(tile.first, 1)}-{min(tile.last, card.rows)}"
    return Page(
        width_mm=tile.page_mm[0],
        height_mm=tile.page_mm[1],
        items=tuple(drawing.items()),
        title=f"{words.heading(card)}, hole card",
        label=rows if tile.of == 1 else f"{tile.number} ({rows})",
        description=words.description(card),
    ).stretched(*scale)


def _notes_height(card: Card) -> float:
    """What the notes take beside the sheet at their full size."""
    return sum(down for _, _, down in _set(words.notes(card), NOTES_MM[0] - GAP_MM, TEXT_MM, beside=True)) + 2.0


class _Drawing:
    """One tile being drawn; lengths in mm on the page, y down."""

    def __init__(self, card: Card, tile: Tile, scale: tuple[float, float]) -> None:
        self.card, self.tile, self.shape, self.scale = card, tile, card.shape, scale
        self.left = tile.sheet_left_mm
        self.right = self.left + self.shape.sheet_width_mm
        self.top = tile.y_mm(tile.to_mm)
        self.bottom = tile.y_mm(tile.from_mm)
        self.column_1 = self.left + self.shape.first_column_mm(card.columns)
        self.field_left = self.column_1 - self.shape.hole_mm / 2
        self.field_right = self.right - (self.field_left - self.left)
        self.positions = range(tile.first, tile.last + 1)
        self.clips = self._clip_heights()
        self.labels = words.yarn_labels(card)

    def items(self) -> Iterator[Item]:
        """Everything, in the order in which it is drawn."""
        yield from self._head()
        yield from self._outline()
        yield from self._repeat()
        yield from self._holes()
        yield from self._row_marks()
        yield from self._column_numbers()
        yield from self._names()
        yield from self._joints()
        yield from self._rules()
        yield from self._notes()
        yield from self._foot()

    def x(self, column: float) -> float:
        """Of a column's centre; column 1 is the leftmost."""
        return self.column_1 + (column - 1) * self.shape.column_pitch_mm

    def y(self, position: float) -> float:
        """Of a row's centre."""
        return self.tile.y_mm(along_mm(self.card, position))

    # -- the sheet ---------------------------------------------------------------------------------------------

    def _outline(self) -> Iterator[Item]:
        """Edges of the sheet; at a joint the upper tile is cut, the lower one ends with the overlap."""
        if self.tile.joint_below is None and self.tile.joint_above is None:
            height = self.bottom - self.top
            yield Rectangle(self.left, self.top, self.shape.sheet_width_mm, height, line_mm=0.25, layer="cut")
            return
        for x in (self.left, self.right):
            yield Line(x, self.top, x, self.bottom, layer="cut")
        for y in (self.top, self.bottom):
            yield Line(self.left, y, self.right, y, layer="cut")

    def _holes(self) -> Iterator[Item]:
        for position in self.positions:
            y = self.y(position)
            for column, hole in enumerate(self.card.punched(position).tolist(), start=1):
                if hole:
                    yield Disc(self.x(column), y, self.shape.hole_mm)
        for x in (self.left + self.shape.guide_from_edge_mm, self.right - self.shape.guide_from_edge_mm):
            for y in self._guide_heights():
                yield Circle(x, y, self.shape.guide_hole_mm)
        for x in (self.left + self.shape.clip_from_edge_mm, self.right - self.shape.clip_from_edge_mm):
            for y in self.clips:
                yield Circle(x, y, self.shape.clip_hole_mm)

    def _on_tile(self, along: float, across: float) -> bool:
        return self.tile.from_mm <= along - across / 2 and along + across / 2 <= self.tile.to_mm

    def _guide_heights(self) -> Iterator[float]:
        """Guide holes down an edge: every guide pitch from the first, as far as the sheet goes, both ways."""
        shape, size = self.shape, self.shape.guide_hole_mm
        first = shape.end_margin_mm + shape.guide_offset_mm
        first -= int((first - size / 2) / shape.guide_pitch_mm) * shape.guide_pitch_mm if first > size / 2 else 0.0
        count = int((self.card.length_mm - first) / shape.guide_pitch_mm) + 1
        for index in range(count):
            along = first + index * shape.guide_pitch_mm
            if along - size / 2 > 0 and along + size / 2 < self.card.length_mm and self._on_tile(along, size):
                yield self.tile.y_mm(along)

    def _clip_heights(self) -> list[float]:
        ends = self.shape.clip_from_end_mm
        both = [*ends, *(self.card.length_mm - end for end in ends)]
        return [self.tile.y_mm(along) for along in both if self._on_tile(along, self.shape.clip_hole_mm)]

    # -- the repeat and the middle -------------------------------------------------------------------------------

    def _repeat(self) -> Iterator[Item]:
        """A frame round the first repeat, ticks where the others begin, a mark at needle 0."""
        card, shape = self.card, self.shape
        width, height = card.repeat
        line = min(0.3, 0.35 * (min(shape.column_pitch_mm, shape.row_pitch_mm) - shape.hole_mm))
        x1, x2 = self.x(0.5), self.x(width + 0.5)
        if card.machine.mirrored:
            x1, x2 = self.x(card.columns - width + 0.5), self.x(card.columns + 0.5)
        low, high = max(1, self.tile.first), min(height, self.tile.last)
        if low <= high:
            bottom, top = self.y(low - 0.5), self.y(high + 0.5)
            for x in (x1, x2):
                yield Line(x, top, x, bottom, line, layer="engrave")
            if low == 1:
                yield Line(x1, bottom, x2, bottom, line, layer="engrave")
            if high == height:
                yield Line(x1, top, x2, top, line, layer="engrave")
        tick = 1.2
        for position in range(1, card.rows + 2, height):
            if self.tile.first <= position and position - 1 <= self.tile.last and card.repeat[1] > 1:
                y = self.y(position - 0.5)
                for edge, way in ((self.x(0.5), -1), (self.x(card.columns + 0.5), 1)):
                    yield Line(edge, y, edge + way * tick, y, 0.2, layer="engrave")

    # -- numbers and words beside the rows ------------------------------------------------------------------------

    def _band(self, y: float, height: float, right: bool) -> tuple[float, float]:
        """Free room beside the field at a height, nearest to the field: between guide or clip holes and the holes."""
        shape = self.shape
        inner = shape.guide_from_edge_mm + shape.guide_hole_mm / 2
        clip_reach = (shape.clip_hole_mm + height) / 2 + CLEAR_MM
        if any(abs(y - clip) < clip_reach for clip in self.clips):
            inner = max(inner, shape.clip_from_edge_mm + shape.clip_hole_mm / 2)
        outer = self.x(0.5) - self.left - 0.3
        if right:
            return self.right - outer + CLEAR_MM, self.right - inner - CLEAR_MM
        return self.left + inner + CLEAR_MM, self.left + outer - CLEAR_MM

    def _row_marks(self) -> Iterator[Item]:
        """Left: the row's number, and beside it what changes. Right, boxed: the row read while this is at eye level."""
        changes = self.card.changes_by_row
        eye = self.shape.seen_above_read
        for position in self.positions:
            y = self.y(position)
            inside = 1 <= position <= self.card.rows
            name = str(position) if inside else f"({self.card.ring_row(position)})"
            change = changes.get(position) if inside else None
            yield from self._row_mark(y, name, change, right=False)
            if change:
                yield from self._change_outside(y, words.change_words(change, self.labels))
            if eye:
                read = self.card.read_at_eye_level(position)
                yield from self._row_mark(y, str(read), changes.get(read), right=True)

    def _row_mark(self, y: float, name: str, change: Change | None, right: bool) -> Iterator[Item]:
        room = self._band(y, ROW_NUMBER_MM * CAPITAL, right)
        bold = not right and not name.startswith("(")  # light, the brackets fit beside a clip hole
        size = _size_for(name, ROW_NUMBER_MM, room[1] - room[0] - 2 * CLEAR_MM * right, bold)
        if size == 0.0:
            return
        baseline = y + size * CAPITAL / 2
        wide = width_mm(name, size, bold)
        if right:
            box = (wide + 2 * CLEAR_MM, size * CAPITAL + 2 * CLEAR_MM)
            yield Rectangle(room[0], y - box[1] / 2, *box, line_mm=0.15, layer="engrave")
            yield Text(room[0] + CLEAR_MM, baseline, name, size, layer="engrave")
            rest = (room[0] + box[0] + CLEAR_MM, room[1])
        else:
            yield Text(room[1], baseline, name, size, "end", bold=bold, layer="engrave")
            rest = (room[0], room[1] - wide - CLEAR_MM)
        if change:
            yield from self._change(y, change, rest, right)

    def _change(self, y: float, change: Change, room: tuple[float, float], right: bool) -> Iterator[Item]:
        """A change beside a row's number on the sheet: in words where they can be read, else as marks."""
        said = words.change_words(change, self.labels)
        line = min(MARK_MM, (self.shape.row_pitch_mm - CLEAR_MM) / len(said) / 1.1)
        wide = room[1] - room[0]
        sizes = [_size_for(word, line, wide) for word in said]
        if min(sizes) < LEAST_WORD_MM:
            said = words.change_marks(change, self.labels)
            sizes = [_size_for(mark, line, wide) for mark in said]
        if not all(sizes):
            return  # half a change would mislead; it stands left of the sheet, and at eye level
        for index, (word, size) in enumerate(zip(said, sizes, strict=True)):
            down = (index - (len(said) - 1) / 2) * line * 1.1 + size * CAPITAL / 2
            yield Text(
                room[1] if right else room[0], y + down, word, size, "end" if right else "start", layer="engrave"
            )

    def _change_outside(self, y: float, said: Sequence[str]) -> Iterator[Item]:
        """The same words left of the sheet, large, with a line to the row."""
        if not self.tile.words_mm:
            return
        line = min(TEXT_MM, (self.shape.row_pitch_mm - 0.4) / len(said))
        wide = self.tile.words_mm - 1.6
        for index, word in enumerate(said):
            size = max(_size_for(word, line, wide), LEAST_LETTER_MM)
            down = (index - (len(said) - 1) / 2) * line + size * CAPITAL / 2
            yield Text(self.left - 1.4, y + down, fitted(word, wide, size), size, "end")
        yield Line(self.left - 1.1, y, self.left - 0.3, y, 0.2)

    def _column_numbers(self) -> Iterator[Item]:
        """At each end of the tile: on the sheet where its margin has room, else outside it; the middle marked."""
        free = self.shape.end_margin_mm - self.shape.hole_mm / 2
        on_sheet = free >= COLUMN_NUMBER_MM * CAPITAL + 2 * CLEAR_MM
        for joint, edge, way in (
            (self.tile.joint_above, self.top, 1),
            (self.tile.joint_below, self.bottom, -1),
        ):
            inside = joint is None and on_sheet
            centre = edge + way * free / 2 if inside else edge - way * STRIP_MM / 2
            layer: Layer = "engrave" if inside else "guide"
            yield from self._column_row(centre, layer)

    def _column_row(self, centre: float, layer: Layer) -> Iterator[Item]:
        size = min(
            _size_for("88", COLUMN_NUMBER_MM, self.shape.column_pitch_mm - 0.9) or LEAST_LETTER_MM, COLUMN_NUMBER_MM
        )
        baseline = centre + size * CAPITAL / 2
        for column in range(1, self.card.columns + 1):
            yield Text(self.x(column), baseline, str(column), size, "middle", layer=layer)
        middle = self.x((self.card.columns + 1) / 2)
        yield Line(middle, centre - size * 0.6, middle, centre + size * 0.6, 0.4, layer=layer)
        if layer == "engrave":
            yield from self._row_heads(centre, baseline, min(size, 2.0))

    def _row_heads(self, centre: float, baseline: float, size: float) -> Iterator[Item]:
        """What the numbers beside the rows are, in line with the column numbers."""
        yield Text(self.field_left - CLEAR_MM, baseline, "row", size, "end", layer="engrave")
        if not self.shape.seen_above_read:
            return
        across = max(self.shape.guide_hole_mm, self.shape.clip_hole_mm)
        reach = (across + size * CAPITAL) / 2 + CLEAR_MM
        beside_hole = any(abs(centre - y) < reach for y in (*self._guide_heights(), *self.clips))
        end = self._band(centre, size * CAPITAL, right=True)[1] if beside_hole else self.right - CLEAR_MM
        for name in ("at eye level", "eye level", "eye"):
            if width_mm(name, size) <= end - self.field_right - CLEAR_MM:
                yield Text(self.field_right + CLEAR_MM, baseline, name, size, layer="engrave")
                return

    def _names(self) -> Iterator[Item]:
        """Along the edges, outside the guide holes: which end goes in first; what this card is."""
        band = self.shape.guide_from_edge_mm - self.shape.guide_hole_mm / 2 - 2 * CLEAR_MM
        size = min(2.4, band / 1.0)
        if size < LEAST_LETTER_MM:
            return
        end = self.top if self.tile.joint_above is None else self.tile.y_mm(self.tile.joint_above)
        length = self.bottom - end - 8.0
        middle = band / 2 + CLEAR_MM
        down = size * CAPITAL / 2
        machine = self.card.machine
        if self.tile.joint_below is None:
            first = "◂ this end goes in first   ·   this side faces you"
            yield Text(
                self.left + middle + down,
                self.bottom - 4.0,
                fitted(first, length, size),
                size,
                rotation_deg=90,
                layer="engrave",
            )
        told = (self.card.stitch, machine.name, words.meaning(self.card), self.card.title)
        name = "   ·   ".join(part for part in told if part)
        yield Text(
            self.right - middle + down,
            self.bottom - 4.0,
            fitted(name, length, size),
            size,
            rotation_deg=90,
            layer="engrave",
        )

    # -- joints --------------------------------------------------------------------------------------------------

    def _joints(self) -> Iterator[Item]:
        """Half a diamond at each edge on both tiles: laid right, the halves make whole ones. Crosses outside, too."""
        size = 1.6
        for joint, way in ((self.tile.joint_below, -1), (self.tile.joint_above, 1)):
            if joint is None:
                continue
            y = self.tile.y_mm(joint)
            other = self.tile.number + way
            for x in (self.left + 2.2, self.right - 2.2):
                yield Polygon(((x - size, y), (x, y + way * size), (x + size, y)), layer="engrave")
            for x, out in ((self.left, -1), (self.right, 1)):
                yield Line(x + out * 0.5, y, x + out * 2.5, y, 0.25)
            if way == 1:
                yield Line(self.left, y, self.right, y, 0.15, dash_mm=(2.0, 1.5), layer="engrave")
                said = f"page {other} lies on this, its cut edge at the broken line: diamonds meet"
                at = self.top - STRIP_MM - 1.0
            else:
                said = f"cut here, lay this edge on the broken line of page {other}: diamonds meet"
                at = self.bottom + STRIP_MM + 2.4
            yield Text((self.left + self.right) / 2, at, said, 2.4, "middle")

    # -- around the sheet ------------------------------------------------------------------------------------------

    def _head(self) -> Iterator[Item]:
        card, tile = self.card, self.tile
        left, right, top = tile.left_mm, tile.page_mm[0] - tile.left_mm, tile.margin_mm
        name = f"page {tile.number} of {tile.of}" if tile.of > 1 else ""
        room = right - left - (width_mm(name, 3.6, True) + 4 if name else 0)
        stitch = fitted(card.stitch, room / 2, 5.2, True) if card.title else fitted(card.stitch, room, 5.2, True)
        title = fitted(card.title, room - width_mm(f": {stitch}", 5.2, True), 5.2, True)
        yield Text(left, top + 5.0, f"{title}: {stitch}" if title else stitch, 5.2, bold=True)
        if name:
            yield Text(right, top + 5.0, name, 3.6, "end", bold=True)
        lines = [
            f"Hole card for {card.machine.name}: {card.machine.title}"
            + ("" if card.machine.origin == "shipped" else f" ({card.machine.origin})"),
            words.counts(card),
        ]
        y = top + 9.6
        for line in lines:
            yield Text(left, y, fitted(line, right - left, TEXT_MM), TEXT_MM)
            y += LINE_MM
        if card.remarks:
            remark = "; ".join(card.remarks)
            yield Text(left, y, fitted(remark, right - left, TEXT_MM, bold=True), TEXT_MM, bold=True)

    def _notes(self) -> Iterator[Item]:
        """What the knitter has to know: in a column beside the sheet, else in the foot; smaller where it is much."""
        told = words.notes(self.card)
        remark = "; ".join(self.card.remarks)
        if width_mm(remark, TEXT_MM, True) > self.tile.page_mm[0] - 2 * self.tile.left_mm:  # cut short in the heading
            told.insert(0, ("Heed", remark))
        beside = bool(self.tile.notes_mm)
        if beside:
            x, y, width = self.right + GAP_MM, self.top, self.tile.notes_mm - GAP_MM
            bottom = self._foot_top() - 1.0
        else:
            x, y, width = self.tile.left_mm, self._foot_top() + FOOT_MM, self.tile.page_mm[0] - 2 * self.tile.left_mm
            bottom = self.tile.page_mm[1] - self.tile.margin_mm
        for size in (TEXT_MM, 2.6, 2.3, 2.0, 1.8):
            lines = list(_set(told, width, size, beside))
            if y + sum(down for _, _, down in lines) <= bottom:
                break
        for line, bold, down in lines:
            y += down
            yield Text(x, y, line, size, bold=bold)

    def _foot_top(self) -> float:
        extra = 0.0 if self.tile.notes_mm else NOTES_FOOT_MM
        return self.tile.page_mm[1] - self.tile.margin_mm - FOOT_MM - extra

    def _rules(self) -> Iterator[Item]:
        """Check rules of 100 mm on both axes, from outer edge to outer edge of their end marks."""
        yield from _rule(self.tile.left_mm, self._foot_top() + 6.5, across=True)
        x = self.tile.page_mm[0] - self.tile.left_mm
        yield from _rule(x, self.top, across=False)

    def _foot(self) -> Iterator[Item]:
        left, right = self.tile.left_mm, self.tile.page_mm[0] - self.tile.left_mm
        first, again = words.printing(self.scale)
        top = self._foot_top()
        beside = left + RULE_MM + 4.0
        for index, line in enumerate(wrapped(first, right - beside, TEXT_MM)):
            yield Text(beside, top + 5.4 + index * LINE_MM, line, TEXT_MM)
        for index, line in enumerate((again, words.measure(self.card), words.CUTTING)):
            size = _size_for(line, TEXT_MM, right - left)
            yield Text(left, top + 17.5 + index * LINE_MM, fitted(line, right - left, size), size)


def _set(told: Sequence[tuple[str, str]], width: float, size: float, beside: bool) -> Iterator[tuple[str, bool, float]]:
    """Notes as lines of lettering: each with whether it is bold and how far down it stands from the one before."""
    down = size * LINE_MM / TEXT_MM
    for index, (head, text) in enumerate(told):
        if beside:
            yield head, True, down + (size / 3 if index else 0.0)
            yield from ((line, False, down) for line in wrapped(text, width, size))
        else:
            yield from ((line, False, down) for line in wrapped(f"{head}: {text}", width, size))


def _rule(x: float, y: float, across: bool) -> Iterator[Item]:
    """A rule of RULE_MM from a place: to the right, or down. Marks lie inside it, so that its outer edges are true."""
    line = 0.25
    for index in range(11):
        at = index * RULE_MM / 10
        at = at + line / 2 if index == 0 else at - line / 2 if index == 10 else at
        long = 4.0 if index % 10 == 0 else 2.8 if index == 5 else 1.8
        if across:
            yield Line(x + at, y - long, x + at, y, line)
        else:
            yield Line(x - long, y + at, x, y + at, line)
        if index in (0, 5, 10):
            name = f"{index * 10}" + (" mm" if index == 10 else "")
            if across:
                anchor = "start" if index == 0 else "middle" if index == 5 else "end"
                yield Text(x + at, y + 3.2, name, TEXT_MM, anchor)  # type: ignore[arg-type]
            else:
                anchor = "end" if index == 0 else "middle" if index == 5 else "start"
                yield Text(x - 4.6, y + at, name, TEXT_MM, anchor, rotation_deg=90)  # type: ignore[arg-type]
    if across:
        yield Line(x, y, x + RULE_MM, y, line)
    else:
        yield Line(x, y, x, y + RULE_MM, line)


def _size_for(text: str, wanted: float, room: float, bold: bool = False) -> float:
    """The lettering size, at most `wanted`, at which the text fits the room; 0 where it would be too small to read."""
    wide = width_mm(text, wanted, bold)
    size = wanted if wide <= room else wanted * room / wide * 0.999
    return size if size >= LEAST_LETTER_MM else 0.0

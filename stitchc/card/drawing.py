"""Draws a card's tiles as pages: outline, holes, numbers, marks, notes, check rules.

Knows a card, its tiles and the page; nothing of file types. Lettering lies where no hole is. Words come before the
drawing, in the order in which they are read.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, Literal

from stitchc.card import notes
from stitchc.card.paper import (
    FOOT_MM,
    GAP_MM,
    NOTES_MM,
    RULE_MM,
    STRIP_MM,
    Scale,
    Tile,
    tiles,
    whole,
)
from stitchc.card.plan import Card
from stitchc.page.items import Anchor, Circle, Disc, Item, Layer, Line, Page, Polygon, Rectangle, Text
from stitchc.page.lettering import fitted, width_mm, wrapped

Ink = Literal["full", "light"]

TEXT_MM: Final = 2.9
LINE_MM: Final = 3.7
NOTE_SIZES: Final = (3.4, 2.9, 2.6, 2.3, 2.0, 1.8)
CAPITAL: Final = 0.73
"""How high capitals and figures of the font are, as a share of its size."""

ROW_NUMBER_MM: Final = 2.9
BOXED_MM: Final = (2.9, 2.6, 2.3, 1.9)
"""Boxed numbers: the largest that leaves room for a mark beside it; the last where a mark has to stand under it."""

MARK_MM: Final = 2.0 / CAPITAL
"""Marks of a change: their capitals are 2 mm high."""

BOX_MM: Final = 0.35
"""Between a boxed number and its box."""

TIGHT_BOX_MM: Final = 0.25
UNDER_BOX_MM: Final = 0.5
"""The same where a mark stands under the box, and between the two: less would touch in print."""

COLUMN_NUMBER_MM: Final = 2.3
LEAST_LETTER_MM: Final = 1.5
CLEAR_MM: Final = 0.45
"""Between lettering and the edge of a hole or of the sheet."""

RING_MM: Final = 0.08
DOT_MM: Final = 0.35
"""Light ink: the line of a ring and its centre dot take a tenth of the ink of a disc of 3.5 mm."""


def tiles_of(card: Card, paper: str, scale: Scale = (1.0, 1.0)) -> list[Tile]:
    """What part of the card goes on which page of a paper. Raises paper.DoesNotFit."""
    return tiles(card, paper, scale, _notes_height(card))


def one_tile(card: Card, paper: str, scale: Scale = (1.0, 1.0)) -> Tile:
    """The whole card on a single page, as long as it must be where it does not fit the paper."""
    return whole(card, paper, scale, _notes_height(card))


def page_of(card: Card, tile: Tile, scale: Scale = (1.0, 1.0), ink: Ink = "full") -> Page:
    rows = f"rows {max(tile.first, tile.strip.first)}-{min(tile.last, tile.strip.last)}"
    return Page(
        width_mm=tile.page_mm[0],
        height_mm=tile.page_mm[1],
        items=tuple(_Drawing(card, tile, scale, ink).items()),
        title=f"{notes.heading(card)}, hole card",
        label=rows if tile.of == 1 else f"{tile.number} ({rows})",
        description=notes.description(card) + (f" This page: {rows}." if tile.of > 1 else ""),
    ).stretched(*scale)


def _notes_height(card: Card) -> float:
    """What the notes take beside the sheet in the usual size."""
    return sum(down for _, _, down in _set(notes.notes(card), NOTES_MM[0] - GAP_MM, TEXT_MM, beside=True)) + 2.0


class _Drawing:
    """One tile being drawn; lengths in mm on the page, y down."""

    def __init__(self, card: Card, tile: Tile, scale: Scale, ink: Ink) -> None:
        self.card, self.tile, self.shape, self.scale, self.ink = card, tile, card.shape, scale, ink
        self.left = tile.sheet_left_mm
        self.right = self.left + self.shape.sheet_width_mm
        self.page_right = tile.page_mm[0] - self.left
        self.top = tile.y_mm(tile.to_mm)
        self.bottom = tile.y_mm(tile.from_mm)
        self.column_1 = self.left + self.shape.first_column_mm(card.columns)
        self.positions = range(tile.first, tile.last + 1)
        self.clips = self._clip_heights()

    def items(self) -> Iterator[Item]:
        """Everything, in the order in which it is read and drawn."""
        yield from self._head()
        yield from self._foot()
        if self.tile.tells_all:
            yield from self._notes()
        yield from self._outline()
        yield from self._repeat()
        yield from self._start()
        yield from self._holes()
        yield from self._row_numbers()
        yield from self._column_numbers()
        yield from self._names()
        yield from self._joints()
        yield from self._rules()

    def x(self, column: float) -> float:
        """Of a column's centre; column 1 is the leftmost."""
        return self.column_1 + (column - 1) * self.shape.column_pitch_mm

    def y(self, position: float) -> float:
        """Of a row's centre."""
        return self.tile.y_mm(self.card.along_mm(self.tile.strip, position))

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
        shape = self.shape
        xs = [self.x(column) for column in range(1, self.card.columns + 1)]
        for position in self.positions:
            y = self.y(position)
            for x, hole in zip(xs, self.card.punched(self.tile.strip, position).tolist(), strict=True):
                if hole and self.ink == "full":
                    yield Disc(x, y, shape.hole_mm)
                elif hole:
                    yield Circle(x, y, shape.hole_mm, RING_MM)
                    yield Disc(x, y, DOT_MM, layer="engrave")
        for x in (self.left + shape.guide_from_edge_mm, self.right - shape.guide_from_edge_mm):
            for y in self._guide_heights():
                yield Circle(x, y, shape.guide_hole_mm)
        for x in (self.left + shape.clip_from_edge_mm, self.right - shape.clip_from_edge_mm):
            for y in self.clips:
                yield Circle(x, y, shape.clip_hole_mm)

    def _on_tile(self, along: float, across: float) -> bool:
        return self.tile.from_mm <= along - across / 2 and along + across / 2 <= self.tile.to_mm

    def _guide_heights(self) -> Iterator[float]:
        """Guide holes down an edge: every guide pitch from the first, as far as the sheet goes, both ways."""
        shape, size = self.shape, self.shape.guide_hole_mm
        length = self.card.length_mm(self.tile.strip)
        first = shape.end_margin_mm + shape.guide_offset_mm
        first -= int((first - size / 2) / shape.guide_pitch_mm) * shape.guide_pitch_mm if first > size / 2 else 0.0
        for index in range(int((length - first) / shape.guide_pitch_mm) + 1):
            along = first + index * shape.guide_pitch_mm
            if along - size / 2 > 0 and along + size / 2 < length and self._on_tile(along, size):
                yield self.tile.y_mm(along)

    def _clip_heights(self) -> list[float]:
        """Clip holes meet where two of their distances from the ends add up to the overlap of the ends."""
        ends = self.shape.clip_from_end_mm
        both = [*ends, *(self.card.length_mm(self.tile.strip) - end for end in ends)]
        return [self.tile.y_mm(along) for along in both if self._on_tile(along, self.shape.clip_hole_mm)]

    # -- the repeat, and where to start ----------------------------------------------------------------------------

    def _repeat(self) -> Iterator[Item]:
        """A frame round the first repeat, ticks where the others begin, broken lines where blanks meet."""
        card, shape, strip = self.card, self.shape, self.tile.strip
        width, height = card.repeat
        line = min(0.3, 0.35 * (min(shape.column_pitch_mm, shape.row_pitch_mm) - shape.hole_mm))
        first = card.columns - width if card.machine.mirrored else 0
        x1, x2 = self.x(first + 0.5), self.x(first + width + 0.5)
        low, high = max(strip.first, self.tile.first), min(height, self.tile.last)
        if low <= high:
            bottom, top = self.y(low - 0.5), self.y(high + 0.5)
            for x in (x1, x2):
                yield Line(x, top, x, bottom, line, layer="engrave")
            if low == 1:
                yield Line(x1, bottom, x2, bottom, line, layer="engrave")
            if high == height:
                yield Line(x1, top, x2, top, line, layer="engrave")
        edges = ((self.x(0.5), -1.2), (self.x(card.columns + 0.5), 1.2))
        for row in range(self.positions[0], self.positions[-1] + 2):
            if height > 1 and (row - 1) % height == 0 and strip.first <= row <= strip.last + 1:
                y = self.y(row - 0.5)
                for x, tick in edges:
                    yield Line(x, y, x + tick, y, 0.2, layer="engrave")
        for blank in card.blanks[1:]:
            if strip.first < blank.first <= self.tile.last:
                y = self.y(blank.first - 0.5)
                yield Line(self.left, y, self.right, y, 0.4, dash_mm=(3.0, 2.0), layer="engrave")

    def _start(self) -> Iterator[Item]:
        """Thick lines under and over the row to lock the card at, as far as the words along the edges."""
        row, strip = self.card.start_row, self.tile.strip
        if not (strip.first <= row <= strip.last and row in self.positions):
            return
        thick = min(0.7, 0.45 * (self.shape.row_pitch_mm - self.shape.hole_mm))
        inside = self._edge_band() + CLEAR_MM
        for y in (self.y(row - 0.5), self.y(row + 0.5)):
            yield Line(self.left + inside, y, self.right - inside, y, thick, layer="engrave")

    # -- numbers and marks beside the rows --------------------------------------------------------------------------

    def _band(self, y: float, height: float, right: bool) -> tuple[float, float]:
        """Free room beside the field at a height: between guide or clip holes and the holes of the field."""
        shape = self.shape
        inner = shape.guide_from_edge_mm + shape.guide_hole_mm / 2
        clip_reach = (shape.clip_hole_mm + height) / 2 + CLEAR_MM
        if any(abs(y - clip) < clip_reach for clip in self.clips):
            inner = max(inner, shape.clip_from_edge_mm + shape.clip_hole_mm / 2)
        outer = self.x(0.5) - self.left - 0.3
        if right:
            return self.right - outer + CLEAR_MM, self.right - inner - CLEAR_MM
        return self.left + inner + CLEAR_MM, self.left + outer - CLEAR_MM

    def _row_numbers(self) -> Iterator[Item]:
        """Left: the row's number. Right, boxed: the row read while this is at eye level; and what is changed then."""
        card, strip = self.card, self.tile.strip
        changes, letters = card.changes_by_row, notes.yarn_letters(card)
        for position in self.positions:
            y = self.y(position)
            inside = strip.first <= position <= strip.last
            number = str(position) if inside else f"({card.ring_row(position)})"
            low, high = self._band(y, ROW_NUMBER_MM * CAPITAL, right=False)
            size = _size_for(number, ROW_NUMBER_MM, high - low, bold=inside)
            if size:  # light, the brackets fit beside a clip hole
                yield Text(high, y + size * CAPITAL / 2, number, size, "end", bold=inside, layer="engrave")
            change = changes.get(card.due_at_eye_level(position))
            mark = notes.change_mark(change, letters) if change else ""
            read = str(card.read_at_eye_level(position)) if self.shape.seen_above_read else ""
            yield from self._at_eye_level(y, read, mark, position == card.start_row and inside)

    def _at_eye_level(self, y: float, read: str, mark: str, is_start: bool) -> Iterator[Item]:
        """The number in its box with the mark beside it. Where a clip hole takes the room: the mark below, to the
        right; else the mark alone, its letters one under the other if need be. A mark is never left out or smaller."""
        slot = self.shape.row_pitch_mm - CLEAR_MM
        left, end = self._band(y, slot if mark else BOXED_MM[0] * CAPITAL + 2 * BOX_MM, right=True)
        wide, high = width_mm(mark, MARK_MM), MARK_MM * CAPITAL
        beside = end - left - 2 * BOX_MM - (wide + CLEAR_MM if mark else 0)
        largest = next((size for size in BOXED_MM[:-1] if width_mm(read, size) <= beside), BOXED_MM[-2])
        size = _size_for(read, largest, end - left - 2 * BOX_MM) if read else 0.0
        small = BOXED_MM[-1] * CAPITAL + 2 * TIGHT_BOX_MM
        x = left + width_mm(read, size) + 2 * BOX_MM + CLEAR_MM if size else left
        if not mark or x + wide <= end:
            marks, middle, pad = [(x, y, mark)], y, BOX_MM
        elif size and small + UNDER_BOX_MM + high <= slot and left + wide <= end:
            marks = [(max(left, end - wide - CLEAR_MM), y + (small + UNDER_BOX_MM) / 2, mark)]
            middle, pad = y - (high + UNDER_BOX_MM) / 2, TIGHT_BOX_MM
            size = min(size, BOXED_MM[-1])
        else:
            size, lines = 0.0, [mark] if left + wide <= end else list(mark)
            first = y - (len(lines) - 1) * (high + 0.4) / 2
            marks = [(left, first + index * (high + 0.4), line) for index, line in enumerate(lines)]
        if size:
            across, tall = width_mm(read, size) + 2 * BOX_MM, size * CAPITAL + 2 * pad
            fill, ink = ("#000000", "#ffffff") if is_start else (None, "#000000")
            yield Rectangle(left, middle - tall / 2, across, tall, fill, line_mm=0.15, layer="engrave")
            yield Text(left + BOX_MM, middle + size * CAPITAL / 2, read, size, fill=ink, layer="engrave")
        for x, centre, line in marks if mark else []:
            yield Text(x, centre + high / 2, line, MARK_MM, layer="engrave")

    def _column_numbers(self) -> Iterator[Item]:
        """At each end of the tile: on the sheet where its margin has room, else outside it; the bed's middle marked,
        and in boxes the columns whose needles are out of work."""
        free = self.shape.end_margin_mm - self.shape.hole_mm / 2
        on_sheet = free >= COLUMN_NUMBER_MM * CAPITAL + 2 * CLEAR_MM
        for joint, edge, way in ((self.tile.joint_above, self.top, 1), (self.tile.joint_below, self.bottom, -1)):
            inside = joint is None and on_sheet
            centre = edge + way * free / 2 if inside else edge - way * STRIP_MM / 2
            yield from self._column_row(centre, "engrave" if inside else "guide")

    def _column_row(self, centre: float, layer: Layer) -> Iterator[Item]:
        size = min(
            _size_for("88", COLUMN_NUMBER_MM, self.shape.column_pitch_mm - 0.9) or LEAST_LETTER_MM, COLUMN_NUMBER_MM
        )
        baseline = centre + size * CAPITAL / 2
        for column in range(1, self.card.columns + 1):
            yield Text(self.x(column), baseline, str(column), size, "middle", layer=layer)
        wide, high = width_mm("88", size) + 2 * TIGHT_BOX_MM, size * CAPITAL + 2 * BOX_MM
        for column in self.card.columns_out:
            left, top = self.x(column) - wide / 2, centre - high / 2
            yield Rectangle(left, top, wide, high, line_mm=0.2, layer=layer)
        if before := notes.columns_before_0(self.card):
            middle = self.x(before + 0.5)
            yield Line(middle, centre - size * 0.6, middle, centre + size * 0.6, 0.4, layer=layer)
        if layer == "engrave":
            yield from self._row_heads(centre, baseline, min(size, 2.0))

    def _row_heads(self, centre: float, baseline: float, size: float) -> Iterator[Item]:
        """What the numbers beside the rows are, in line with the column numbers."""
        field_left, field_right = self.x(1) - self.shape.hole_mm / 2, self.x(self.card.columns) + self.shape.hole_mm / 2
        yield Text(field_left - CLEAR_MM, baseline, "row", size, "end", layer="engrave")
        if not self.shape.seen_above_read:
            return
        across = max(self.shape.guide_hole_mm, self.shape.clip_hole_mm)
        reach = (across + size * CAPITAL) / 2 + CLEAR_MM
        beside_hole = any(abs(centre - y) < reach for y in (*self._guide_heights(), *self.clips))
        end = self._band(centre, size * CAPITAL, right=True)[1] if beside_hole else self.right - CLEAR_MM
        for name in ("at eye level", "eye level", "read"):
            if width_mm(name, size) <= end - field_right - CLEAR_MM:
                yield Text(field_right + CLEAR_MM, baseline, name, size, layer="engrave")
                return

    # -- words along the edges ---------------------------------------------------------------------------------------

    def _edge_band(self) -> float:
        """Room between the sheet's edge and the guide holes."""
        return self.shape.guide_from_edge_mm - self.shape.guide_hole_mm / 2 - CLEAR_MM

    def _names(self) -> Iterator[Item]:
        """Left: which end goes in first, and from the row to lock upward that it is that row. Right: what a hole means
        and what this is. Where there is little room words are shorter and the least important left out, never cut."""
        band = self._edge_band() - CLEAR_MM
        size = min(2.4, band)
        if size < LEAST_LETTER_MM:
            return
        tile, strip, card = self.tile, self.tile.strip, self.card
        end = self.top if tile.joint_above is None else tile.y_mm(tile.joint_above)
        begin = self.bottom - 4.0
        across = band / 2 + CLEAR_MM
        texts: list[tuple[float, float, float, Sequence[Sequence[str]], bool]] = []
        stop = end
        if strip.first <= card.start_row <= strip.last and card.start_row in self.positions:
            stop = self.y(card.start_row - 0.5)
            words = [f"◂ {words}" for words in notes.START]
            texts.append((self.left + across, self.y(card.start_row) + 1.2, end, [words], True))
        place = ""
        if tile.joint_below is None:
            place = f"◂ this end joins blank {strip.number - 1}" if strip.number > 1 else "◂ this end goes in first"
            if begin - stop >= width_mm(place, size) + 5.0:  # else the row to start at is too near
                texts.append((self.left + across, begin, stop, [[place]], False))
                place = ""
        blank = f"blank {strip.number} of {strip.of}" if strip.of > 1 else ""
        notices = [notes.meanings(card), ["this side faces you"], [place], [blank], [card.stitch], [card.machine.name]]
        texts.append((self.right - across, begin, end, [*notices, [card.title]], False))
        for x, low, high, parts, bold in texts:
            shown, used = fit_parts(parts, low - high - 4.0, size, bold)
            if shown:
                yield Text(x + used * CAPITAL / 2, low, shown, used, bold=bold, rotation_deg=90, layer="engrave")

    # -- joints of pages ---------------------------------------------------------------------------------------------

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
                yield Line(x + out * 0.5, y, x + out * 1.5, y, 0.25)
            if way == 1:
                yield Line(self.left, y, self.right, y, 0.15, dash_mm=(2.0, 1.5), layer="engrave")
                words = f"page {other} lies on this, its cut edge at the broken line: diamonds meet"
                baseline = self.top - STRIP_MM - 1.0
            else:
                words = f"cut here, lay this edge on the broken line of page {other}: diamonds meet"
                baseline = self.bottom + STRIP_MM + 2.4
            yield Text((self.left + self.right) / 2, baseline, words, 2.4, "middle")

    # -- around the sheet ------------------------------------------------------------------------------------------

    def _head(self) -> Iterator[Item]:
        card, tile = self.card, self.tile
        left, right, top = self.left, self.page_right, tile.margin_mm
        parts = [f"blank {tile.strip.number} of {tile.strip.of}"] if tile.strip.of > 1 else []
        parts += [f"page {tile.number} of {tile.of}"] if tile.of > 1 else []
        name = ", ".join(parts)
        room = right - left - (width_mm(name, 3.6, True) + 4 if name else 0)
        stitch = fitted(card.stitch, room / 2, 5.2, True) if card.title else fitted(card.stitch, room, 5.2, True)
        title = fitted(card.title, room - width_mm(f": {stitch}", 5.2, True), 5.2, True)
        yield Text(left, top + 5.0, f"{title}: {stitch}" if title else stitch, 5.2, bold=True)
        if name:
            yield Text(right, top + 5.0, name, 3.6, "end", bold=True)
        if not tile.tells_all:
            return
        origin = "" if card.machine.origin == "shipped" else f" ({card.machine.origin})"
        lines = [
            (f"Hole card for: {card.machine.in_full}{origin}", False),
            (f"{notes.counts(card)}, framed." + (" Punch where the dots are." if self.ink == "light" else ""), False),
        ]
        lines += [(self._remark(right - left), True)] if card.remarks else []
        for index, (line, bold) in enumerate(lines):
            y = top + 9.6 + index * LINE_MM
            yield Text(left, y, fitted(line, right - left, TEXT_MM, bold), TEXT_MM, bold=bold)

    def _remark(self, room: float) -> str:
        """The remarks for the heading; where they do not fit, their beginnings alone, and a note has them whole."""
        whole = "; ".join(self.card.remarks)
        if width_mm(whole, TEXT_MM, True) <= room:
            return whole
        return "; ".join(remark.partition(":")[0] for remark in self.card.remarks) + " (see Note)."

    def _notes(self) -> Iterator[Item]:
        """What the knitter has to know: in a column beside the sheet, else in the foot, as large as there is room."""
        entries = notes.notes(self.card)
        remark = "; ".join(self.card.remarks)
        if width_mm(remark, TEXT_MM, True) > self.page_right - self.left:  # cut short in the heading
            entries.insert(0, ("Note", remark))
        beside = bool(self.tile.notes_mm)
        if beside:
            x, y, width = self.right + GAP_MM, self.top, self.tile.notes_mm - GAP_MM
            bottom = self.tile.foot_top_mm - 1.0
        else:
            x, y, width = self.left, self.tile.foot_top_mm + FOOT_MM[0], self.page_right - self.left
            bottom = self.tile.page_mm[1] - self.tile.margin_mm
        for size in NOTE_SIZES:
            lines = list(_set(entries, width, size, beside))
            if y + sum(down for _, _, down in lines) <= bottom:
                break
        for line, bold, down in lines:
            y += down
            yield Text(x, y, line, size, bold=bold)

    def _foot(self) -> Iterator[Item]:
        first, again = notes.printing(self.scale, self.card.for_others)
        top = self.tile.foot_top_mm
        beside = self.left + RULE_MM + 4.0
        if not self.tile.tells_all:
            first = "Print at 100 %: both rules measure 100 mm."
        for index, line in enumerate(wrapped(first, self.page_right - beside, TEXT_MM)):
            yield Text(beside, top + 5.4 + index * LINE_MM, line, TEXT_MM)
        if self.tile.tells_all:
            for index, line in enumerate((again, notes.measure(self.card), notes.CUTTING)):
                size = _size_for(line, TEXT_MM, self.page_right - self.left)
                shown = fitted(line, self.page_right - self.left, size)
                yield Text(self.left, top + 17.5 + index * LINE_MM, shown, size)

    def _rules(self) -> Iterator[Item]:
        """Check rules of 100 mm on both axes, from outer edge to outer edge of their end marks."""
        yield from _rule(self.left, self.tile.foot_top_mm + 6.5, across=True)
        yield from _rule(self.page_right, self.top, across=False)


def fit_parts(parts: Sequence[Sequence[str]], room: float, size: float, bold: bool) -> tuple[str, float]:
    """A line of as many parts as there is room for, and its size. parts: the most important first, each in its wordings
    from long to short; the first is made smaller, to LEAST_LETTER_MM, before it is left out."""
    size = max(LEAST_LETTER_MM, min(size, _size_for(parts[0][-1], size, room, bold)))
    chosen: list[str] = []
    for wordings in parts:
        lines = (["   ·   ".join([*chosen, words]), words] for words in wordings if words)
        chosen += next(([words] for line, words in lines if width_mm(line, size, bold) <= room), [])
    return "   ·   ".join(chosen), size


def _set(
    entries: Sequence[tuple[str, str]], width: float, size: float, beside: bool
) -> Iterator[tuple[str, bool, float]]:
    """Notes as lines of lettering: each with whether it is bold and how far down it stands from the one before."""
    down = size * LINE_MM / TEXT_MM
    for index, (head, text) in enumerate(entries):
        bold = head == "START"
        if beside:
            for number, line in enumerate(wrapped(head, width, size, bold=True)):
                yield line, True, down + (size / 3 if index and not number else 0.0)
        else:
            text = f"{head}: {text}"
        yield from ((line, bold, down) for line in wrapped(text, width, size, bold=bold))


def _rule(x: float, y: float, across: bool) -> Iterator[Item]:
    """A rule of RULE_MM from a place: to the right, or down. Marks lie inside it, so that its outer edges are true."""
    line = 0.25
    for index in range(11):
        along = index * RULE_MM / 10
        along += line / 2 if index == 0 else -line / 2 if index == 10 else 0.0
        long = 4.0 if index % 10 == 0 else 2.8 if index == 5 else 1.8
        yield Line(x + along, y - long, x + along, y, line) if across else Line(x - long, y + along, x, y + along, line)
        if index in (0, 5, 10):
            name = f"{index * 10}" + (" mm" if index == 10 else "")
            anchors: dict[int, Anchor] = {0: "start", 5: "middle", 10: "end"}
            if across:
                yield Text(x + along, y + 3.2, name, TEXT_MM, anchors[index])
            else:
                yield Text(x - 4.6, y + along, name, TEXT_MM, anchors[10 - index], rotation_deg=90)
    yield Line(x, y, x + RULE_MM, y, line) if across else Line(x, y, x, y + RULE_MM, line)


def _size_for(text: str, wanted: float, room: float, bold: bool = False) -> float:
    """The lettering size, at most `wanted`, at which the text fits the room; 0 where it would be too small to read."""
    wide = width_mm(text, wanted, bold)
    size = wanted if wide <= room else wanted * room / wide * 0.999
    return size if size >= LEAST_LETTER_MM else 0.0

"""A page as PNG by Pillow, at true scale: every position is rounded once, from its absolute place in mm.

Discs and rings get boxes of whole pixels, so that all of one diameter are alike to the pixel. Knows pages only.
"""

from __future__ import annotations

import functools
import hashlib
import io
import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Final, Literal

from stitchc.messages import visible
from stitchc.page.items import MM_PER_INCH, Circle, Disc, Item, Line, Page, Polygon, Rectangle, Text
from stitchc.page.lettering import font, needs_shaping, printable

if TYPE_CHECKING:
    from PIL import Image, ImageDraw, PngImagePlugin

Mode = Literal["1", "L", "RGB"]
"""Pillow's names: "1" black and white for print, "L" greys, "RGB" colours."""

_QUARTERS: Final[dict[float, str]] = {90: "ROTATE_90", 180: "ROTATE_180", 270: "ROTATE_270"}
"""Quarter turns by Pillow's names."""

_REMEMBERED_LETTERS: Final = 40
"""Letters of a text up to which its picture is remembered: a page says the same numbers and signs again and again,
and the pages of a card the same short lines."""

Ink = int | tuple[int, int, int]


def size_px(page: Page, dpi: int) -> tuple[int, int]:
    return max(1, round(page.width_mm * dpi / MM_PER_INCH)), max(1, round(page.height_mm * dpi / MM_PER_INCH))


def png(page: Page, dpi: int = 600, mode: Mode = "1") -> bytes:
    """The page as a PNG file that carries its scale (pHYs) and, as text chunks, its title and description.

    In mode "1" a colour is black where it is darker than half grey. In "L" and "RGB" edges are smoothed by drawing
    at twice the size.
    """
    from PIL import Image

    if mode == "1":
        image = Image.new("1", size_px(page, dpi), 1)
        _Pen(image, dpi / MM_PER_INCH, mode).draw(page)
    else:
        image = smoothed(page, dpi, mode)
    words = {"Title": page.title, "Software": "stitchc", "Description": page.description}
    out = io.BytesIO()
    about = text_chunks(words, page.sealed, image)
    image.save(out, "PNG", dpi=(dpi, dpi), pnginfo=about, compress_level=1 if mode == "1" else 6)
    return out.getvalue()


def text_chunks(words: Mapping[str, str], sealed: tuple[str, str] | None, image: Image.Image) -> PngImagePlugin.PngInfo:
    """Text chunks for a PNG: words by keyword, and what is sealed after the SHA-256 of the picture's RGB pixels."""
    from PIL import PngImagePlugin

    about = PngImagePlugin.PngInfo()
    for key, value in words.items():
        if shown := visible(value):
            about.add_text(key, shown) if shown.isascii() else about.add_itxt(key, shown)
    if sealed:
        pixels = hashlib.sha256(image.convert("RGB").tobytes()).hexdigest()
        about.add_text(sealed[0], f"{pixels}:{sealed[1]}", zip=True)
    return about


def smoothed(page: Page, dpi: int, mode: Mode) -> Image.Image:
    """The page in greys ("L") or colours, drawn at twice the size and made smaller."""
    from PIL import Image

    width, height = size_px(page, dpi)
    image = Image.new(mode, (width * 2, height * 2), _ink("#ffffff", mode))
    _Pen(image, dpi * 2 / MM_PER_INCH, mode).draw(page)
    return image.resize((width, height), Image.Resampling.BOX)


class _Pen:
    """Draws items on a picture; px_per_mm is the scale."""

    def __init__(self, image: Image.Image, px_per_mm: float, mode: Mode) -> None:
        from PIL import ImageDraw

        self.image, self.scale, self.mode = image, px_per_mm, mode
        self.pen: ImageDraw.ImageDraw = ImageDraw.Draw(image)
        self.pen.fontmode = "1" if mode == "1" else "L"

    def draw(self, page: Page) -> None:
        for item in page.items:
            self._item(item)

    def _item(self, item: Item) -> None:
        match item:
            case Disc():
                self.pen.ellipse(self._box(item.x_mm, item.y_mm, item.diameter_mm), fill=self._ink(item.fill))
            case Circle():
                outer = item.diameter_mm + item.line_mm
                self.pen.ellipse(
                    self._box(item.x_mm, item.y_mm, outer),
                    fill=self._ink(item.fill) if item.fill else None,
                    outline=self._ink(item.stroke),
                    width=self._line(item.line_mm),
                )
            case Line():
                self._stroke(item)
            case Rectangle():
                self._rectangle(item)
            case Polygon():
                points = [(x * self.scale, y * self.scale) for x, y in item.points_mm]
                if item.fill and item.closed:
                    self.pen.polygon(points, fill=self._ink(item.fill))
                if item.stroke:
                    ends = [*points, points[0]] if item.closed else points
                    self.pen.line(ends, fill=self._ink(item.stroke), width=self._line(item.line_mm), joint="curve")
            case Text():
                self._text(item)

    def _ink(self, colour: str) -> Ink:
        return _ink(colour, self.mode)

    def _line(self, width_mm: float) -> int:
        return max(1, round(width_mm * self.scale))

    def _box(self, x_mm: float, y_mm: float, diameter_mm: float) -> tuple[int, int, int, int]:
        """The box of whole pixels, both corners included, about a centre."""
        across = max(1, round(diameter_mm * self.scale))
        left = math.floor(x_mm * self.scale - across / 2 + 0.5)
        top = math.floor(y_mm * self.scale - across / 2 + 0.5)
        return left, top, left + across - 1, top + across - 1

    def _stroke(self, line: Line) -> None:
        length = math.hypot(line.x2_mm - line.x1_mm, line.y2_mm - line.y1_mm)
        if line.dash_mm is None or length == 0:
            self._segment(line, 0.0, 1.0)
            return
        mark, gap = line.dash_mm
        distance = 0.0
        while distance < length:
            self._segment(line, distance / length, min(distance + mark, length) / length)
            distance += mark + gap

    def _segment(self, line: Line, first: float, last: float) -> None:
        x1, y1 = (line.x1_mm + (line.x2_mm - line.x1_mm) * first, line.y1_mm + (line.y2_mm - line.y1_mm) * first)
        x2, y2 = (line.x1_mm + (line.x2_mm - line.x1_mm) * last, line.y1_mm + (line.y2_mm - line.y1_mm) * last)
        ink, thick = self._ink(line.stroke), self._line(line.line_mm)
        left, right = sorted((x1 * self.scale, x2 * self.scale))
        top, bottom = sorted((y1 * self.scale, y2 * self.scale))
        if x1 == x2:  # a bar of whole pixels, with square ends exactly where they belong
            self._fill(left - thick / 2, top, left + thick / 2, bottom, ink)
        elif y1 == y2:
            self._fill(left, top - thick / 2, right, top + thick / 2, ink)
        else:
            ends = (x1 * self.scale, y1 * self.scale, x2 * self.scale, y2 * self.scale)
            self.pen.line(ends, fill=ink, width=thick)

    def _fill(self, left: float, top: float, right: float, bottom: float, ink: Ink) -> None:
        """Fill from edge to edge; at least one pixel each way."""
        x1, y1 = math.floor(left + 0.5), math.floor(top + 0.5)
        x2, y2 = max(x1, math.floor(right + 0.5) - 1), max(y1, math.floor(bottom + 0.5) - 1)
        self.pen.rectangle((x1, y1, x2, y2), fill=ink)

    def _rectangle(self, item: Rectangle) -> None:
        left, top = item.left_mm * self.scale, item.top_mm * self.scale
        right = (item.left_mm + item.width_mm) * self.scale
        bottom = (item.top_mm + item.height_mm) * self.scale
        if item.fill:
            self._fill(left, top, right, bottom, self._ink(item.fill))
        if item.stroke:
            ink, width = self._ink(item.stroke), self._line(item.line_mm)
            half = width / 2
            for y in (top, bottom):
                self._fill(left - half, y - half, right + half, y + half, ink)
            for x in (left, right):
                self._fill(x - half, top - half, x + half, bottom + half, ink)

    def _text(self, item: Text) -> None:
        words = printable(item.text)
        if not words.strip():
            return
        size_px = round(item.size_mm * self.scale, 2)
        face = font(size_px, item.bold, needs_shaping(words))
        anchor = {"start": "ls", "middle": "ms", "end": "rs"}[item.anchor]
        ink = self._ink(item.fill)
        place = (round(item.x_mm * self.scale), round(item.y_mm * self.scale))
        if item.rotation_deg % 360 == 0 and len(words) <= _REMEMBERED_LETTERS:
            left, top, mask = _lettered(words, size_px, item.bold, anchor, self.pen.fontmode)
            self.pen.bitmap((place[0] + left, place[1] + top), mask, fill=ink)
            return
        if item.rotation_deg % 360 == 0:
            self.pen.text(place, words, font=face, anchor=anchor, fill=ink)
            return
        self._turned(words, face, anchor, ink, place, item.rotation_deg)

    def _turned(self, words: str, face: object, anchor: str, ink: Ink, place: tuple[int, int], degrees: float) -> None:
        """Text turned by quarters about its anchor: drawn upright on a mask, the mask turned and laid on."""
        from PIL import Image, ImageDraw

        box = self.pen.textbbox((0, 0), words, font=face, anchor=anchor)  # type: ignore[arg-type]
        left, top = math.floor(box[0]) - 1, math.floor(box[1]) - 1
        right, bottom = math.ceil(box[2]) + 1, math.ceil(box[3]) + 1
        mask = Image.new("1" if self.mode == "1" else "L", (right - left + 1, bottom - top + 1), 0)
        ImageDraw.Draw(mask).text((-left, -top), words, font=face, anchor=anchor, fill=255)  # type: ignore[arg-type]
        mask = mask.transpose(Image.Transpose[_QUARTERS[degrees % 360]])
        dx, dy = {90: (top, -right), 180: (-right, -bottom), 270: (-bottom, left)}[round(degrees % 360)]
        self.image.paste(ink, (place[0] + dx, place[1] + dy), mask)


@functools.lru_cache(maxsize=512)  # some 25 kB each at 600 dpi
def _lettered(words: str, size_px: float, bold: bool, anchor: str, fontmode: str) -> tuple[int, int, Image.Image]:
    """A short text as a mask, and where its left and top lie from its anchor."""
    from PIL import Image, ImageDraw

    face = font(size_px, bold, needs_shaping(words))
    box = face.getbbox(words, mode=fontmode, anchor=anchor)
    left, top = math.floor(box[0]) - 1, math.floor(box[1]) - 1
    mask = Image.new("L", (math.ceil(box[2]) + 1 - left, math.ceil(box[3]) + 1 - top), 0)
    pen = ImageDraw.Draw(mask)
    pen.fontmode = fontmode
    pen.text((-left, -top), words, font=face, anchor=anchor, fill=255)
    return left, top, mask


def _ink(colour: str, mode: Mode) -> Ink:
    red, green, blue = (int(colour[start : start + 2], 16) for start in (1, 3, 5))
    if mode == "RGB":
        return red, green, blue
    grey = round(0.2126 * red + 0.7152 * green + 0.0722 * blue)
    return grey if mode == "L" else 255 * (grey >= 128)

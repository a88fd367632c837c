"""A page as PNG by Pillow, at true scale: every position is rounded once, from its absolute place in mm.

Discs and rings get boxes of whole pixels, so that all of one diameter are alike to the pixel. Knows pages only.
"""

from __future__ import annotations

import io
import math
import struct
import zlib
from typing import TYPE_CHECKING, Final, Literal

from stitchc.messages import visible
from stitchc.page.lettering import font, needs_shaping, printable
from stitchc.page.values import MM_PER_INCH, Circle, Disc, Item, Line, Page, Polygon, Rectangle, Text

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt
    from PIL import Image, ImageDraw

Mode = Literal["1", "L", "RGB"]
"""Pillow's names: "1" black and white for print, "L" greys, "RGB" colours."""

_QUARTERS: Final[dict[float, str]] = {90: "ROTATE_90", 180: "ROTATE_180", 270: "ROTATE_270"}
"""Quarter turns by Pillow's names; they need no square about the anchor."""

Ink = int | tuple[int, int, int]


def size_px(page: Page, dpi: int) -> tuple[int, int]:
    """Width and height of the picture in pixels."""
    return max(1, round(page.width_mm * dpi / MM_PER_INCH)), max(1, round(page.height_mm * dpi / MM_PER_INCH))


def png(page: Page, dpi: int = 600, mode: Mode = "1") -> bytes:
    """The page as a PNG file that carries its scale (pHYs) and, as text chunks, its title and what it is `about`.

    In mode "1" a colour is black where it is darker than half grey. In "L" and "RGB" edges are smoothed by drawing
    at twice the size.
    """
    said = {"Title": page.title, "Software": "stitchc", "Description": page.description, **dict(page.about)}
    said = {key: visible(value) for key, value in said.items() if value}
    if mode == "1":
        return _one_bit(_black_and_white(page, dpi), dpi, said)
    from PIL import PngImagePlugin

    about = PngImagePlugin.PngInfo()
    for key, value in said.items():
        about.add_text(key, value) if value.isascii() else about.add_itxt(key, value)
    out = io.BytesIO()
    smoothed(page, dpi, mode).save(out, "PNG", dpi=(dpi, dpi), pnginfo=about)
    return out.getvalue()


def smoothed(page: Page, dpi: int, mode: Mode) -> Image.Image:
    """The page in greys ("L") or colours, drawn at twice the size and made smaller."""
    from PIL import Image

    width, height = size_px(page, dpi)
    image = Image.new(mode, (width * 2, height * 2), _ink("#ffffff", mode))
    _Pen(image, dpi * 2 / MM_PER_INCH, mode).draw(page)
    return image.resize((width, height), Image.Resampling.BOX)


def _black_and_white(page: Page, dpi: int) -> npt.NDArray[np.uint8]:
    """The page as bytes, 0 for black and 255 for white: Pillow draws right into them, without a copy to make after."""
    import numpy as np
    from PIL import Image

    width, height = size_px(page, dpi)
    pixels = np.full((height, width), 255, dtype=np.uint8)
    image = Image.frombuffer("L", (width, height), pixels, "raw", "L", 0, 1)
    image.readonly = 0
    image.putpixel((0, 0), 0)
    shared = pixels[0, 0] == 0
    image.putpixel((0, 0), 255)
    _Pen(image, dpi / MM_PER_INCH, "1").draw(page)
    return pixels if shared else np.asarray(image)


def _one_bit(pixels: npt.NDArray[np.uint8], dpi: int, said: dict[str, str]) -> bytes:
    """A PNG of one bit a pixel (PNG specification, 3rd edition): most lines are like the one above, so that storing
    what changes (filter "up") and the fastest packing make it small and save most of the time that Pillow takes."""
    import numpy as np

    height, width = pixels.shape
    packed = np.packbits(pixels, axis=1)
    lines = np.full((height, packed.shape[1] + 1), 2, dtype=np.uint8)  # each line begins with its filter: 2 is "up"
    lines[0, 1:] = packed[0]
    np.subtract(packed[1:], packed[:-1], out=lines[1:, 1:])
    per_metre = round(dpi / MM_PER_INCH * 1000)
    parts = [
        b"\x89PNG\r\n\x1a\n",
        _chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)),
        _chunk(b"pHYs", struct.pack(">IIB", per_metre, per_metre, 1)),
        *(_text_chunk(key, value) for key, value in said.items()),
        _chunk(b"IDAT", zlib.compress(lines.data, 2)),
        _chunk(b"IEND", b""),
    ]
    return b"".join(parts)


def _text_chunk(key: str, value: str) -> bytes:
    if value.isascii():
        return _chunk(b"tEXt", key.encode("ascii") + b"\0" + value.encode("ascii"))
    return _chunk(b"iTXt", key.encode("ascii") + b"\0\0\0\0\0" + value.encode("utf-8"))


def _chunk(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(content, zlib.crc32(kind)))


class _Pen:
    """Draws items on a picture; px_per_mm is the scale. In mode "1" the picture is one of greys that gets no greys."""

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
        at = 0.0
        while at < length:
            self._segment(line, at / length, min(at + mark, length) / length)
            at += mark + gap

    def _segment(self, line: Line, first: float, last: float) -> None:
        x1, y1 = (line.x1_mm + (line.x2_mm - line.x1_mm) * first, line.y1_mm + (line.y2_mm - line.y1_mm) * first)
        x2, y2 = (line.x1_mm + (line.x2_mm - line.x1_mm) * last, line.y1_mm + (line.y2_mm - line.y1_mm) * last)
        ink, half = self._ink(line.stroke), self._line(line.line_mm)
        if x1 == x2 or y1 == y2:  # a bar of whole pixels, with square ends exactly where they belong
            left, top = min(x1, x2) * self.scale, min(y1, y2) * self.scale
            right, bottom = max(x1, x2) * self.scale, max(y1, y2) * self.scale
            if x1 == x2:
                left = left - half / 2
                right = left + half
            else:
                top = top - half / 2
                bottom = top + half
            self._fill(left, top, right, bottom, ink)
        else:
            ends = (x1 * self.scale, y1 * self.scale, x2 * self.scale, y2 * self.scale)
            self.pen.line(ends, fill=ink, width=half)

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
            self._fill(left - half, top - half, right + half, top + half, ink)
            self._fill(left - half, bottom - half, right + half, bottom + half, ink)
            self._fill(left - half, top - half, left + half, bottom + half, ink)
            self._fill(right - half, top - half, right + half, bottom + half, ink)

    def _text(self, item: Text) -> None:
        words = printable(item.text)
        if not words.strip():
            return
        face = font(round(item.size_mm * self.scale, 2), item.bold, needs_shaping(words))
        anchor = {"start": "ls", "middle": "ms", "end": "rs"}[item.anchor]
        ink = self._ink(item.fill)
        at = (round(item.x_mm * self.scale), round(item.y_mm * self.scale))
        if item.rotation_deg % 360 == 0:
            self.pen.text(at, words, font=face, anchor=anchor, fill=ink)
            return
        self._turned(words, face, anchor, ink, at, item.rotation_deg)

    def _turned(self, words: str, face: object, anchor: str, ink: Ink, at: tuple[int, int], degrees: float) -> None:
        """Text turned about its anchor: drawn upright on a mask, the mask turned and laid on."""
        from PIL import Image, ImageDraw

        box = self.pen.textbbox((0, 0), words, font=face, anchor=anchor)  # type: ignore[arg-type]
        left, top = math.floor(box[0]) - 1, math.floor(box[1]) - 1
        right, bottom = math.ceil(box[2]) + 1, math.ceil(box[3]) + 1
        turn = _QUARTERS.get(degrees % 360)
        if turn is None:  # a square about the anchor, which then stays where it is
            right = bottom = max(-left, -top, right, bottom)
            left = top = -right
        mask = Image.new("1" if self.mode == "1" else "L", (right - left + 1, bottom - top + 1), 0)
        ImageDraw.Draw(mask).text((-left, -top), words, font=face, anchor=anchor, fill=255)  # type: ignore[arg-type]
        if turn is None:
            mask = mask.rotate(degrees, Image.Resampling.NEAREST if self.mode == "1" else Image.Resampling.BICUBIC)
            dx, dy = left, top
        else:
            mask = mask.transpose(Image.Transpose[turn])
            dx, dy = {90: (top, -right), 180: (-right, -bottom), 270: (-bottom, left)}[round(degrees % 360)]
        self.image.paste(ink, (at[0] + dx, at[1] + dy), mask)


def _ink(colour: str, mode: Mode) -> Ink:
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    if mode == "RGB":
        return red, green, blue
    grey = round(0.2126 * red + 0.7152 * green + 0.0722 * blue)
    return grey if mode == "L" else 255 * (grey >= 128)

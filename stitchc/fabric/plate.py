"""Drawn sides of a fabric as one picture file: each over a strip with its side, the stitch's name and a scale bar.

Knows pictures and lettering; nothing of how a fabric is drawn.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final, Literal

from stitchc.fabric.draw import Face, Picture
from stitchc.messages import visible

if TYPE_CHECKING:
    from PIL.ImageDraw import ImageDraw as Pen

_MOST_TITLE: Final = 400
"""Letters of a title that are tried for room; no strip holds as many."""
_MUCH_WIDER: Final = 1.5
"""Pictures more than this many times as wide as high stand one over the other."""
_INK: Final = (30, 30, 30)


def plate(
    pictures: Sequence[Picture],
    faces: Sequence[Face],
    name: str,
    px_per_cm: float,
    units: Literal["cm", "in"],
) -> bytes:
    """A PNG that carries its scale: the pictures beside each other, or one over the other where they are much wider
    than high. The file's own words name the stitch and the scale; they never carry the chart.

    faces: the side that each shows. units: of the bar.
    """
    from PIL import Image, ImageDraw, PngImagePlugin

    high, wide = pictures[0].shape[:2]
    letter_px = max(11, round(min(wide, 1400) / 42))
    gap, strip = max(4, wide // 60), round(letter_px * 2.2)
    stacked = wide > _MUCH_WIDER * high
    columns, rows = (1, len(pictures)) if stacked else (len(pictures), 1)
    whole = Image.new("RGB", (columns * wide + (columns - 1) * gap, rows * (high + strip)), "white")
    pen = ImageDraw.Draw(whole)
    for index, (picture, face) in enumerate(zip(pictures, faces, strict=True)):
        left, top = (0, index * (high + strip)) if stacked else (index * (wide + gap), 0)
        whole.paste(Image.fromarray(picture), (left, top))
        title = f"{name}, {face} side" if index == 0 else f"{face} side"
        _strip(pen, title, (left, top + high + strip // 2), wide, letter_px, _bar(wide, px_per_cm, units))
    about = PngImagePlugin.PngInfo()
    about.add_text("Software", "stitchc")
    about.add_text("Description", f"{visible(name)}: {' and '.join(faces)} side, {px_per_cm:.3f} pixels per cm")
    stream = io.BytesIO()
    whole.save(stream, "PNG", pnginfo=about, dpi=(px_per_cm * 2.54, px_per_cm * 2.54), compress_level=1)
    return stream.getvalue()


def _strip(pen: Pen, title: str, left_end: tuple[int, int], wide: int, letter_px: int, bar: tuple[int, str]) -> None:
    """The words and the scale bar under one picture. left_end: the strip's left end, half way up."""
    from PIL import ImageFont

    from stitchc.page.lettering import font, needs_shaping, printable

    (left, middle), (bar_px, bar_said), margin = left_end, bar, letter_px // 2
    right, thick = left + wide - margin, max(1, letter_px // 7)
    pen.line([(right - bar_px, middle), (right, middle)], _INK, thick)
    for end in (right - bar_px, right):
        pen.line([(end, middle - margin), (end, middle + margin)], _INK, thick)
    pen.text((right - bar_px - margin, middle), bar_said, _INK, font(letter_px), anchor="rm")
    room = wide - bar_px - pen.textlength(bar_said, font(letter_px)) - 2.5 * letter_px
    title = printable(title)[:_MOST_TITLE]
    rightward = needs_shaping(title)
    shaped = font(letter_px, shaped=rightward)
    # The sentence runs from left to right, whatever the name in it does.
    way = "ltr" if rightward and shaped.layout_engine == ImageFont.Layout.RAQM else None
    while title and pen.textlength(title, shaped, direction=way) > room:
        title = title[:-2].rstrip("…") + "…" if len(title) > 2 else ""
    pen.text((left + margin, middle), title, _INK, shaped, anchor="lm", direction=way)


def _bar(wide_px: int, px_per_cm: float, units: Literal["cm", "in"]) -> tuple[int, str]:
    """The scale bar in pixels and words: the longest round length that takes at most a third of the width."""
    unit_px = px_per_cm if units == "cm" else px_per_cm * 2.54
    lengths = [mantissa * 10.0**power for power in (-2, -1, 0, 1, 2) for mantissa in (1, 2, 5)]
    length = max((each for each in lengths if each * unit_px <= wide_px / 3), default=lengths[0])
    return max(1, round(length * unit_px)), f"{length:g} {units}"

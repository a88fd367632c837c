"""The font of every page: where it is, what it can show, how wide a line of it is.

DejaVu Sans, as matplotlib ships it: its licence allows embedding, and it covers Latin, Greek, Cyrillic and more.
Knows nothing of pages.
"""

from __future__ import annotations

import bisect
import functools
import importlib.util
import itertools
import re
import unicodedata
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Final

from stitchc.messages import visible

if TYPE_CHECKING:
    from PIL import ImageFont

FAMILY: Final = "DejaVu Sans"
_MEASURED_PX: Final = 100
_REMEMBERED_LETTERS: Final = 200
"""Letters of a text up to which its width is remembered: a note may have millions."""


@functools.cache
def font_path(bold: bool = False, code: bool = False) -> Path:
    """The font's file. Found without importing matplotlib, which takes long."""
    spec = importlib.util.find_spec("matplotlib")
    if spec is None or spec.origin is None:
        raise RuntimeError("matplotlib, which brings the font, is not installed")
    name = f"DejaVuSans{'Mono' * code}{'-Bold' * bold}.ttf"
    return Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf" / name


@functools.lru_cache(maxsize=64)
def font(size_px: float, bold: bool = False, shaped: bool = False) -> ImageFont.FreeTypeFont:
    """The font for Pillow. shaped: letters joined and ordered as right-to-left scripts need, where that is possible."""
    from PIL import ImageFont, features

    layout = ImageFont.Layout.RAQM if shaped and features.check("raqm") else ImageFont.Layout.BASIC
    return ImageFont.truetype(str(font_path(bold)), size_px, layout_engine=layout)


def needs_shaping(text: str) -> bool:
    """Whether a script in the text runs from right to left."""
    return not text.isascii() and any(unicodedata.bidirectional(letter) in ("R", "AL") for letter in text)


def visual_order(text: str) -> str:
    """The text as it is set from left to right, for a writer that cannot turn right-to-left scripts: each stretch of
    such letters reversed. (Their letters are not joined; the PNG and a browser join them.)"""
    if not needs_shaping(text):
        return text
    parts = re.split(r"(\s+)", text)
    turned = [part[::-1] if needs_shaping(part) else part for part in parts]
    stretches: list[str] = []
    for rightward, group in itertools.groupby(
        enumerate(turned), key=lambda item: needs_shaping(item[1]) or _between(turned, item[0])
    ):
        words = [part for _, part in group]
        stretches += words[::-1] if rightward else words
    return "".join(stretches)


def _between(parts: list[str], index: int) -> bool:
    """Whether a space stands between two words that run from right to left."""
    return (
        parts[index].isspace()
        and 0 < index < len(parts) - 1
        and all(needs_shaping(parts[index + step]) for step in (-1, 1))
    )


@functools.cache
def _has(letter: str) -> bool:
    small = font(16)
    return letter.isspace() or bytes(small.getmask(letter)) != bytes(small.getmask("\U0010fffd"))


def printable(text: str) -> str:
    """The text with each letter that the font lacks, and each that must not be printed raw, as `\\u{…}`."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        letter if letter.isascii() or _has(letter) else f"\\u{{{ord(letter):x}}}" for letter in visible(text)
    )


def lacking(text: str) -> list[str]:
    """The letters of the text that the font cannot show, each once."""
    if text.isascii():
        return []
    return [letter for letter in dict.fromkeys(visible(text)) if not letter.isascii() and not _has(letter)]


def what_is_lacking(text: str, where: str) -> str | None:
    """A sentence on the letters of the text that stand as codes in `where` (`template`, …), if there are any."""
    missing = lacking(text)
    if not missing:
        return None
    shown = ", ".join(f"`{letter}`" for letter in missing[:8])
    more = f" and {len(missing) - 8} more" if len(missing) > 8 else ""
    return f"The {where}'s font has no {shown}{more}; there the letters stand as \\u{{…}}."


def width_mm(text: str, size_mm: float, bold: bool = False) -> float:
    measured_px = _measured_px if len(text) <= _REMEMBERED_LETTERS else _measured_px.__wrapped__
    return measured_px(text, bold) * size_mm / _MEASURED_PX


@functools.lru_cache(maxsize=4096)
def _measured_px(text: str, bold: bool) -> float:
    """Remembered, since a card's notes are measured for their height before they are drawn."""
    return float(font(_MEASURED_PX, bold).getlength(printable(text)))


def fitted(text: str, width: float, size_mm: float, bold: bool = False) -> str:
    """The text, ended with … where it is wider than `width` mm."""
    text = printable(text)
    if _most_letters(text, lambda part: width_mm(part, size_mm, bold) <= width) == len(text):
        return text
    keep = _most_letters(text, lambda part: width_mm(part.rstrip() + "…", size_mm, bold) <= width)
    return text[:keep].rstrip() + "…" if keep else ""


def _most_letters(text: str, fits: Callable[[str], bool], near: int = 0) -> int:
    """How many of the first letters fit; a text may have millions, of which only those near the answer are measured.

    near: a guess, from which it is sought."""
    low, step = min(near, len(text)), 1
    high = low + 1
    while low and not fits(text[:low]):
        high, low, step = low, max(0, low - step), 2 * step
    while step == 1 and high <= len(text) and fits(text[:high]):
        low, high = high, min(2 * high - low + high - low, len(text) + 1)
    return low + bisect.bisect_left(range(low + 1, high), True, key=lambda n: not fits(text[:n]))


def wrapped(text: str, width: float, size_mm: float, bold: bool = False) -> list[str]:
    """The text in lines no wider than `width` mm; a word that is wider by itself is broken."""
    lines: list[str] = []
    line = ""
    keep = 0

    def fits(part: str) -> bool:
        first = part[:_REMEMBERED_LETTERS]  # a long word is seldom to be measured whole
        return width_mm(first, size_mm, bold) <= width and (first == part or width_mm(part, size_mm, bold) <= width)

    for word in printable(text).split():
        if line and fits(f"{line} {word}"):
            line = f"{line} {word}"
            continue
        while (keep := max(1, _most_letters(word, fits, keep))) < len(word):
            if line:
                lines.append(line)
                line = ""
            lines.append(word[:keep])
            word = word[keep:]
        if line:
            lines.append(line)
        line = word
    return [*lines, line] if line else lines

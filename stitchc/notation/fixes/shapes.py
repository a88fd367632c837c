"""A wrong line in the signs that the notation has, and shapes of numbers that are no words, put into words."""

from __future__ import annotations

import re
import unicodedata
from typing import Final

from stitchc.notation.fixes.surroundings import Surroundings, times
from stitchc.notation.vocabulary import KEYWORDS

_SIGNS: Final = {
    **dict.fromkeys("〜～ー‐‑‒−", "-"),
    **dict.fromkeys("✕✖×", "x"),
    **dict(zip("。、・│", "., |", strict=True)),
}
_N: Final = r"(?<![\d.,])(\d+(?:[.,]\d+)?)"
_UNIT: Final = r"(?:cm|mm|in\b|inch)"
_SHAPES: Final = tuple(
    (re.compile(pattern, re.IGNORECASE), written)
    for pattern, written in (
        (r"^[-•*>]\s+(?=\w)", ""),
        (r"\s+(?://|--)\s*(?!(?:[KTS\d(]*(?:\W|$)|knit|tuck|slip))[a-z].*$|/\*.*?\*/", ""),
        (r"左\s*(\d+)\s*-\s*右\s*(\d+)", r"L\1-R\2"),
        (r"([目段左右])(?=\d)", r"\1 "),
        (r"\b(?:open\s+)?quote\s+(.*?)\s*\b(?:unquote|(?:close|end)\s+quote)\b", r'"\1"'),
        (r"\b(\d+) and a half\b|\band a half\b", r"\1 1/2"),
        (r"\b(\d+)\s+plain\s+(rows?|needles|stitches|sts)\b", r"\1 \2 plain"),
        # gauges
        (rf"^((?:gauge|tension)\b.*?){_N}\s*{_UNIT}?\s*x\s*\2\s*({_UNIT})", r"\1 \2 \3"),
        (
            rf"^((?:gauge|tension)\b.*?){_N}\s*(?:x|/|by)\s*{_N}(?![\d.,]|\s*(?:{_UNIT}|st|r|/))",
            r"\1 \2 stitches \3 rows",
        ),
        # needles and tensions
        (r"^(needles)\W+(\d+)\s*(?:on\s+)?each\s+side\W*$", r"\1 L\2-R\2"),
        (r"^(needles)\W+(\d+)\s*left\W+(\d+)\s*right\W*$", r"\1 L\2-R\3"),
        (r"^(needles)\W*-(\d+)\s*(?:to|[-–])\s*\+?(\d+)\W*$", r"\1 L\2-R\3"),
        (r"(\bat|@)\s*(\d+\.{2,})", r'\1 "\2"'),
        # yarns
        (r"^(yarn[^\"]*?)\s+(?:weight\s*[:=]?\s*)?(\d+)[\s-]?ply\b", r'\1 "\2 ply"'),
        (r"^(yarn[^\"]*?)\s+((?:nm\s*)?\d+/\d+)(?=\s|$)", r'\1 "\2"'),
        # stitches built from others
        (
            r"(=.*?)\b(?:with\s+)?(knit|tuck|slip|[kts])s?\s*(?:->|→|\bto\b|\breplaced\s+(?:by|with)|\bbecomes|\bturned\s+into)"
            r"\s*(knit|tuck|slip|[kts])",
            r"\1 with \3 for \2",
        ),
        (r"(=.*)\breplac(?:e|ing)\s+(\w+)\s+(?:with|by)\s+(\w+)\b", r"\1 with \3 for \2"),
        (r"(=.*)\bswap(?:ping|ped)?\s+(\w+)\s+(?:and|with)\s+(\w+)\b", r"\1 with \2 for \3, \3 for \2"),
        (r"(=.*)\bshifted\s+-\s*(\d+)(?!\s*(?:left|right)\b)", r"\1 shifted \2 left "),
        (r"(=.*)\bshifted\s+0\b", r"\1 "),
        (r"(=.*)\bacross\s+(\d+)\s*x\s*(\d+)\b", r"\1 across \2 up \3"),
        (r"(=\s*)(\S+)\s+above\s+(\S+)$", r"\1 \3 then \2"),
    )
)
"""Shapes, and what they say in words."""


def straight(text: str) -> str:
    """The text with double straight quotation marks, whatever stood for them; apostrophes stay."""
    text = re.sub(r"[“”„«»″‟‹›「」『』]|''|``|´´|(?<!\w),,(?=\w)|<<|>>|\\\"", '"', text)
    text = re.sub(r'""(?=\w)([^"]*)""', r'"\1"', text)
    return re.sub(r"(?<![\w'])['‘‚`´]([^\"]*)['’`´](?![\w'])", r'"\1"', text)


def in_plain_signs(code: str, around: Surroundings) -> str:
    """The line in straight quotation marks and narrow signs, with shapes put into words; fractions stay."""
    text = "".join(map(_sign, straight(code))).strip()
    for pattern, written in _SHAPES:
        text = pattern.sub(written, text)
    # A space that is missing after the first word, or too many in it.
    if (glued := re.match(r"(stitch|piece|yarn|knit|gauge)(?!es\b)(\w+)", text)) and times(glued[2], around.text):
        return f"{glued[1]} {text[glued.start(2) :]}"
    if (parted := re.match(r"(\w+) (\w+)", text)) and (parted[1] + parted[2]).lower() in KEYWORDS:
        return parted[1] + text[parted.start(2) :]
    return text


def _sign(character: str) -> str:
    if "\U0001f300" <= character < "\U00020000" or character == "\ufe0f":
        return ""  # a picture
    narrow = str(int(character)) if character.isdecimal() else unicodedata.normalize("NFKC", character)
    return _SIGNS.get(character) or (narrow if len(narrow) < 3 else character)  # ½ is 1, a stroke and 2

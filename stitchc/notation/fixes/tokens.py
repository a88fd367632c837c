"""The tokens of a wrong line, and the values that tokens next to each other may be together.

Before that the line is put into plain signs, and shapes that are no words into words. One tokeniser reads statements
and the cells of rows; in cells a letter with its count is two tokens.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from typing import Final, NamedTuple

from stitchc.notation.fixes.spellings import MEANINGS, PHRASES
from stitchc.notation.fixes.surroundings import Surroundings
from stitchc.notation.vocabulary import latin_of

_NARROW: Final = {
    **dict.fromkeys("〜～ー‐‑‒−", "-"),
    **dict.fromkeys("✕✖×", "x"),
    **dict(zip("。、・│", "., |", strict=True)),
}
_GAUGE, _N, _UNIT = r"^((?:gauge|tension)\b.*?)", r"(?<![\d.,])(\d+(?:[.,]\d+)?)", r"(?:cm|mm|in\b|inch)"
_LETTER: Final = "(knit|tuck|slip|[kts])"
_SHAPES: Final = tuple(
    (re.compile(pattern, re.IGNORECASE), written)
    for pattern, written in (
        (r"^[-•*>]\s+(?=\w)", ""),
        (r"\s+(?://|--)\s*(?!(?:[KTS\d(]*(?:\W|$)|knit|tuck|slip))[a-z].*$|/\*.*?\*/", ""),
        (r"\b(?:open\s+)?quote\s+(.*?)\s*\b(?:unquote|(?:close|end)\s+quote)\b", r'"\1"'),
        # 10 x 10 cm; 22 x 30
        (rf"{_GAUGE}{_N}\s*{_UNIT}?\s*x\s*\2\s*({_UNIT})", r"\1 \2 \3"),
        (rf"{_GAUGE}{_N}\s*(?:x|/|by)\s*{_N}(?![\d.,]|\s*(?:{_UNIT}|st|r|/))", r"\1 \2 stitches \3 rows"),
        (r"^(yarn[^\"]*?)\s+(?:weight\s*[:=]?\s*)?(\d+)[\s-]?ply\b", r'\1 "\2 ply"'),
        (rf"(=.*?)\b(?:with\s+)?{_LETTER}s?\s*(?:->|→|\bto\b|\breplaced\s+by)\s*{_LETTER}", r"\1 with \3 for \2"),
    )
)
"""Shapes, and what they say in words."""
_FRACTION: Final = r"1/2|1/4|3/4|1/3|2/3|[1357]/8|[½¼¾⅓⅔⅛⅜⅝⅞]"
_MOST_TOKENS: Final = 60
_AS_FIGURES: Final = str.maketrans("OolIBZ", "001182")
_UNITS: Final = ("mm", "cm", "inch", "m")
_NOUNS: Final = ("rows", "stitches", "times", "g", "more")


def _expression(parts: str) -> re.Pattern[str]:
    return re.compile(
        rf"""(?P<text>(?<![\d½¼¾⅓⅔⅛⅜⅝⅞])"[^"]*")
        | (?P<colour>\#(?:[0-9a-f]{{6}}|[0-9a-f]{{3}})(?!\w))
        | (?P<range>\b[LR]\s*\d+\s*(?:[-–—:~]|\.{{2,}}|…|to\b|\s)\s*[LR]\s*\d+\b
          | \b\d+\s*[LR]\s*(?:[-–—:]|to\b)\s*\d+\s*[LR]\b)
        | (?P<phrase>(?<![\w-])(?:{PHRASES})(?![\w-]))
        | {parts} | (?P<sign>[=-]>|:=|==|::|\.{{2,}}|…|\S)""",
        re.VERBOSE | re.IGNORECASE,
    )


_IN_CELLS: Final = _expression(
    r"(?P<number>\d+(?:o\d*(?![a-z]))?) | (?P<letters>(?!sts?\b)[kts]+)(?!(?!x\s*\d)[a-z])"
    r"| (?P<word>x(?=[kts](?![a-z]))|[^\W\d_]+)"
)
_IN_STATEMENTS: Final = _expression(
    rf"""(?P<mixed>(?:\d+(?:\s+and\s+|\s*-\s*|\s*))?(?:{_FRACTION})(?![\d/]))
    | (?P<thousands>\d{{1,3}}(?:,\d{{3}})+(?![\d.,]))
    | (?P<number>\d+\.\d+|\d+(?:st|nd|rd|th)\b|[0-9OolIBZ]*\d[0-9OolIBZ]*(?!\w)|\d+)
    | (?P<word>[^\W\d_](?:\w|-(?=\w))*)"""
)


def straight(text: str) -> str:
    """The text with double straight quotation marks, whatever stood for them; apostrophes stay."""
    text = re.sub(r"[“”„«»″‟‹›「」『』]|''|``|´´|(?<!\w),,(?=\w)|<<|>>|\\\"", '"', text)
    text = re.sub(r'""(?=\w)([^"]*)""', r'"\1"', text)
    return re.sub(r"(?<![\w'])['‘‚`´]([^\"]*)['’`´](?![\w'])", r'"\1"', text)


def in_plain_signs(code: str) -> str:
    """The line in straight quotation marks and narrow signs, with shapes put into words; fractions stay."""
    text = "".join(map(_sign, straight(code))).strip()
    for pattern, written in _SHAPES:
        text = pattern.sub(written, text)
    return text


def _sign(character: str) -> str:
    if "\U0001f300" <= character < "\U00020000" or character == "\ufe0f":
        return ""  # a picture
    narrow = str(int(character)) if character.isdecimal() else unicodedata.normalize("NFKC", character)
    return _NARROW.get(character) or (narrow if len(narrow) < 3 else character)  # ½ is 1, a stroke and 2


class Token(NamedTuple):
    """kind: text, colour, range, number, thousands, letters, stitch, yarn or word, which a sign is too.

    text: as it was typed, a number as the notation has it. meanings: what a word may stand for.
    """

    kind: str
    text: str
    start: int
    end: int
    meanings: tuple[str, ...] = ()

    def may_be(self, *words: str) -> str:
        """The first of these words that it may stand for, or ""."""
        return next((meaning for meaning in self.meanings if meaning in words), "")


NO_TOKEN: Final = Token("", "", -1, -1)


class Value(NamedTuple):
    """What tokens say together. kind: a token's, or length, rows, stitches, times, g or more; then text is the number.

    place, after: of its first token, and behind its last.
    """

    kind: str
    text: str
    place: int
    after: int
    token: Token


def tokens(text: str, around: Surroundings, cells: bool = False) -> list[Token]:
    """The tokens of a text; none of one that is too long."""
    line: list[Token] = []
    for match in (_IN_CELLS if cells else _IN_STATEMENTS).finditer(text):
        kind, typed = match.lastgroup or "", re.sub(r"\s+", " ", match.group())
        token = Token(kind, typed, match.start(), match.end())
        if kind in ("mixed", "thousands", "number"):
            line.append(token._replace(kind="number" if kind == "mixed" else kind, text=_number(typed)))
        elif kind == "range":
            line.append(token._replace(text=_bed_range(typed)))
        elif kind in ("word", "phrase", "sign"):
            line += _words(token._replace(kind="word"), around)
        else:
            line.append(token)
    return line if len(line) <= _MOST_TOKENS else []


def _words(token: Token, around: Surroundings) -> Iterator[Token]:
    """A word as a name, a number, in Latin letters, or as the word and the number that are glued."""
    low = token.text.lower()
    meanings = tuple(MEANINGS.get(low, ()))
    if around.names(token.text):
        kind = "stitch" if token.text in around.stitches else "yarn"
        yield token._replace(kind=kind, meanings=meanings)
    elif meanings[:1] and meanings[0].isdigit():
        yield token._replace(kind="number", text=meanings[0])
    elif meanings:
        yield token._replace(meanings=meanings)
    elif (glued := re.fullmatch(r"([^\W\d_]+)(\d+)", low)) and (glued[1] in MEANINGS or around.names(glued[1])):
        middle = token.start + len(glued[1])
        yield from _words(token._replace(text=token.text[: len(glued[1])], end=middle), around)
        yield Token("number", glued[2], middle, token.end)
    elif latin := latin_of(token.text):
        yield token._replace(text=latin, meanings=tuple(MEANINGS.get(latin.lower(), ())))
    else:
        yield token


def _number(text: str) -> str:
    if parts := re.fullmatch(rf"(?:(\d+)\D*?)?({_FRACTION})", text):
        upper, _, lower = parts[2].partition("/")
        amount = int(parts[1] or 0) + (int(upper) / int(lower) if lower else unicodedata.numeric(parts[2]))
        return f"{amount:.4f}".rstrip("0").rstrip(".")
    return re.sub(r"(?<=\d)(?:st|nd|rd|th)$|,", "", text, flags=re.IGNORECASE).translate(_AS_FIGURES)


def _bed_range(text: str) -> str:
    ends = re.findall(r"([LR])\s*(\d+)|(\d+)\s*([LR])", text.upper())
    needles = [(a or d) + (b or c) for a, b, c, d in ends]
    return "-".join(reversed(needles) if needles[0][0] == "R" and needles[1][0] == "L" else needles)


def values(line: list[Token]) -> list[list[Value]]:
    """At each token, what it and those behind it may say."""
    return [list(_values_at(line, place)) for place in range(len(line))]


def _values_at(line: list[Token], place: int) -> Iterator[Value]:
    here, *behind = line[place : place + 3]
    if here.kind in ("number", "thousands"):
        yield from _counted(line, Value("number", here.text, place, place + 1, here))
        glued = len(behind) == 2 and here.end == behind[0].start and behind[0].end == behind[1].start
        if glued and behind[0].text == "," and behind[1].kind == "number" and here.text.isdigit():
            yield from _counted(line, Value("number", f"{here.text}.{behind[1].text}", place, place + 3, here))
        return
    yield Value(here.kind, here.text, place, place + 1, here)
    noun = here.may_be("rows", "stitches", "times") or ("times" if here.text == "*" or here.may_be("again") else "")
    before, following = line[place - 1] if place else here, behind[1] if len(behind) == 2 else here
    between = before.kind == "number" and following.may_be("rows", "stitches")  # 22 stitches 30 rows
    if behind and behind[0].kind == "number" and (noun == "times" or (noun and place and not between)):
        yield from _counted(line, Value(noun, behind[0].text, place, place + 2, here))


def _counted(line: list[Token], number: Value) -> Iterator[Value]:
    """A number alone, and with the unit or noun behind it."""
    yield number
    behind, after = line[number.after] if number.after < len(line) else NO_TOKEN, number.after + 1
    unit = "inch" if behind.text == '"' else behind.may_be(*_UNITS)
    if unit and (number.token.kind != "thousands" or unit == "mm"):  # 1,125 in may be one inch and an eighth
        yield number._replace(kind="length", text=f"{number.text} {'in' if unit == 'inch' else unit}", after=after)
    for noun in _NOUNS:
        if noun in behind.meanings:
            yield number._replace(kind=noun, after=after)

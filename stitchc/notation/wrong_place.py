"""A line that the parser refused: where it gave up, what stands there and what it would have taken, in words.

Knows that line alone; what the writer may have meant is for others to say.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Final, NamedTuple

from lark.exceptions import UnexpectedCharacters, UnexpectedInput, UnexpectedToken

from stitchc.messages import Message, Span, visible

SAYS: Final = {
    "INT": "a whole number",
    "DECIMAL": "a number",
    "TEXT": 'text in quotes ("…")',
    "CELLS": "the cells of the row (K, T, S)",
    "LETTER": "K, T or S",
    "BED_RANGE": "needles such as L40-R39",
    "_NEWLINE": "the end of the line",
    "COLON": "`:`",
    "COMMA": "`,`",
    "EQUAL": "`=`",
    "LPAR": "`(`",
    "RPAR": "`)`",
    "_DASH": "`-`",
}
"""Terminals of the grammar as a person calls them."""
EXAMPLES: Final = {
    "pattern": 'pattern "Tide line"',
    "note": 'note "Worn purl side out."',
    "yarn": 'yarn sand "oat"',
    "include": 'include "grounds.stitch"',
    "stitch": "stitch ripple   (rows below it), or   stitch drift = ripple then ripple shifted 1",
    "gauge": "gauge plain 20 stitches 28 rows per 10 cm",
    "piece": "piece cowl",
    "width": "width 60 cm plus 1 cm",
    "needles": "needles 96, or needles L40-R39",
    "edge": "edge 1",
    "carriage": "carriage right",
    "do": 'do "Cast on."',
    "knit": "knit drift for 18 cm",
}
"""A line of each kind."""
_LONGEST: Final = 400
"""Of a longer line only the part around the place is looked at; nobody writes such a line by hand."""
_WORD: Final = re.compile(r"\"[^\"]*\"|[^\W\d_](?:[\w-]|[^\x00-\x7f\s])*|[0-9]+(?:\.[0-9]+)?|\S")
NAMED: Final = re.compile(r"\s*(stitch|piece|yarn)\s+", re.IGNORECASE)
"""A line that gives something its name."""
_COMMENT: Final = re.compile(r'"[^"]*"|#.*', re.DOTALL)


class Place(NamedTuple):
    """A refused line. code: the line without its comment. start: the offset at which the parser gave up.

    word: what stands there. allowed: the terminals it would have taken. first: the line's first word, in small letters.
    """

    line: str
    code: str
    start: int
    word: str
    allowed: frozenset[str]
    first: str
    file: str
    number: int
    cut: int = 0
    """Characters of a very long line that were cut off before this part of it."""

    def at(self, first: int, last: int) -> Span:
        """The span from one offset of this line to before another."""
        return Span(self.file, self.number, self.cut + first + 1, max(1, last - first))

    def found(self, text: str, first: int, last: int, cure: str, code: str = "N101", label: str = "") -> Message:
        """An error about the characters from one offset to before another."""
        return Message(code, "error", text, self.at(first, last), cure=cure, label=label)

    @property
    def end(self) -> int:
        return self.start + len(self.word)

    @property
    def before(self) -> str:
        return self.code[: self.start]


def place_of(error: UnexpectedInput, line: str, file: str, number: int) -> Place:
    """Where in the line the parser gave up, and what it would have taken."""
    ended = isinstance(error, UnexpectedToken) and error.token.type in ("_NEWLINE", "$END")
    start = len(line) if ended else min(max((getattr(error, "column", 1) or 1) - 1, 0), len(line))
    if len(line) > _LONGEST:
        start = len(without_comment(line)) if ended else start
        cut = max(0, start - _LONGEST // 2)
        line, start = line[cut : cut + _LONGEST], start - cut
    else:
        cut = 0
    code = without_comment(line)
    start = len(code) if ended else start
    found = _WORD.match(code, start)
    first = _WORD.match(code, len(code) - len(code.lstrip()))
    return Place(
        line,
        code,
        start,
        found.group() if found else "",
        frozenset(_allowed(error)),
        first.group().lower() if first and not cut else "",
        file,
        number,
        cut,
    )


def without_comment(line: str) -> str:
    """The line up to its comment, without spaces at its end."""
    return _COMMENT.sub(lambda match: match.group() if match.group()[0] == '"' else "", line).rstrip()


def _allowed(error: UnexpectedInput) -> list[str]:
    if isinstance(error, UnexpectedToken):
        try:
            names = list(error.accepts or error.expected)
        except Exception:
            names = list(error.expected)
    elif isinstance(error, UnexpectedCharacters):
        names = list(error.allowed or ())
    else:
        names = []
    return [name for name in names if name not in ("COMMENT", "SPACE", "$END")]


def called(character: str) -> str:
    """The character's Unicode name, in small letters."""
    return unicodedata.name(character, "a control character").lower()


def shortened(text: str) -> str:
    """Text on one line, cut where it is long, without characters that a terminal obeys."""
    text = " ".join(text.split())
    return visible(text if len(text) <= 70 else text[:70] + "…")

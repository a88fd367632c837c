"""A wrong line read along the grammar: where it stops, what stands there is read as the nearest thing that may stand.

The grammar says which words may come next, so a misspelt word is compared with those few alone. Each word or sign is
taken as it is, as the word it is a slip of, or, if it says nothing, dropped; each costs something, and the readings
that cost least are offered. Numbers, names and texts are never dropped.
"""

from __future__ import annotations

import heapq
import itertools
import re
from collections.abc import Iterator
from functools import cache
from typing import Any, Final, NamedTuple

import lark
from lark.exceptions import UnexpectedInput

from stitchc.notation.fixes.rows import cells_meant
from stitchc.notation.fixes.surroundings import Surroundings, letters_wrong, times
from stitchc.notation.fixes.values import FILLERS, KINDS, narrowed, with_figures
from stitchc.notation.gather import WEIGHTS
from stitchc.notation.grammar import load_parser
from stitchc.notation.vocabulary import KEYWORDS, NEW_WORDS

_TERMINALS: Final = {
    **{word: word.upper() for word in (*KEYWORDS, *NEW_WORDS)},
    **dict.fromkeys(("colour", "color"), "_COLOUR"),
    **dict.fromkeys(("row", "rows"), "_ROWS"),
    **dict.fromkeys(("st", "sts", "stitches"), "_STITCHES"),
    **dict.fromkeys(("inch", "inches"), "INCH"),
    **dict.fromkeys(("gr", "gram", "grams"), "G"),
    **dict.fromkeys(("metre", "metres", "meter", "meters"), "M"),
}
"""The notation's words, and what the grammar calls them."""
_SIGNS: Final[dict[str, dict[str, float]]] = {
    ":": {"CELLS": 0.0, "EQUAL": 0.5},
    "=": {"EQUAL": 0.0, "CELLS": 0.5},
    ",": {"COMMA": 0.0, "BY": 0.5},
    "&": {"COMMA": 0.5},
    "and": {"COMMA": 0.5},
    "to": {"_DASH": 0.5},
    "+": {"PLUS": 0.5},
    "/": {"PER": 0.5},
    "-": {"_DASH": 0.0},
    "(": {"LPAR": 0.0},
    ")": {"RPAR": 0.0},
    **{sign: {"COMMA": 0.5, "CELLS": 0.5} for sign in ";."},
    **{sign: {"LPAR": 0.5} for sign in "[{"},
    **{sign: {"RPAR": 0.5} for sign in "]}"},
    **{sign: {"BY": 0.5} for sign in "x×*"},
    **{sign: {"CELLS": 0.5} for sign in ("=>", "->")},
    **{sign: {"_DASH": 0.5} for sign in ("–", "—", "~", "…", "...", "..")},
}
"""What a sign may be, and what that costs."""
_WRITTEN: Final = {
    "CELLS": ":",
    "EQUAL": "=",
    "COMMA": ",",
    "LPAR": "(",
    "RPAR": ")",
    "_DASH": "-",
    "_COLOUR": "colour",
    "_STITCHES": "stitches",
    "G": "g",
    "M": "m",
}
_SILENT: Final = ",;:.|!>[](){}"
"""Signs that may say nothing; brackets of an expression always do."""
_BITS: Final = re.compile(
    r"\"[^\"]*\"|\b[LR]\s*\d+\s*(?:-|–|—|\.{2,}|…|:|to\b)\s*[LR]\s*\d+\b|\d+\.\d+|[0-9OolIBZ]*\d[0-9OolIBZ]*(?!\w)"
    r"|\d+|[^\W\d_](?:\w|-(?=\w))*|\.{2,}|[=-]>|\S",
    re.IGNORECASE,
)
_GLUED: Final = re.compile(rf"\b({'|'.join(sorted(_TERMINALS, key=len, reverse=True))})(\d)", re.IGNORECASE)
_AS_FIGURES: Final = str.maketrans("OolIBZ", "001182")
_MOST_READINGS: Final = 2000


class _Reading(NamedTuple):
    """A way to read the first `place` bits. words: terminals and texts taken. state: where the parser is."""

    place: int
    words: tuple[tuple[str, str], ...]
    state: Any


@cache
def parser() -> lark.Lark:
    return load_parser()


@cache
def _moves() -> dict[Any, Any]:
    return {}


def after(state: Any, terminal: str) -> Any:
    """The parser after one more terminal, or None where that cannot stand there."""
    key = (*state.parser_state.state_stack, terminal)
    if len(_moves()) > 20_000:
        _moves().clear()
    if key not in _moves():
        moved = state.copy()
        try:
            moved.feed_token(lark.Token(terminal, ""))
        except UnexpectedInput:
            moved = None
        _moves()[key] = moved
    return _moves()[key]


def guided(code: str, around: Surroundings) -> Iterator[str]:
    """The lines nearest to this one that the grammar takes."""
    text = _GLUED.sub(r"\1 \2", with_figures(narrowed(code), around))
    # A space that is missing after the first word, or too many in it.
    if (glued := re.match(r"(stitch|piece|yarn|knit|gauge)(?!es\b)(\w+)", text)) and times(glued[2], around.text):
        text = f"{glued[1]} {text[glued.start(2) :]}"
    elif (parted := re.match(r"(\w+) (\w+)", text)) and (parted[1] + parted[2]).lower() in KEYWORDS:
        text = parted[1] + text[parted.start(2) :]
    bits = [(match.group(), match.end()) for match in _BITS.finditer(text)]
    if not bits or len(bits) > 40:
        return
    order = itertools.count()
    heap: list[tuple[float, int, _Reading]] = [(0.0, 0, _Reading(0, (), parser().parse_interactive("")))]
    least: dict[Any, float] = {}
    best, lines = None, []
    while heap and (best is None or heap[0][0] <= best):
        cost, _, reading = heapq.heappop(heap)
        if next(order) > _MOST_READINGS:
            return  # where not all were looked at, nobody knows whether another is as near
        whole = reading.place == len(bits) and reading.words and reading.words[-1][0] != "CELLS"
        if whole and after(reading.state, "_NEWLINE"):
            best = cost
            lines.append(as_line(reading.words))
            continue
        key = (reading.place, reading.words)
        if least.setdefault(key, cost) < cost:
            continue
        for more, following in _next(bits, text, reading, around):
            heapq.heappush(heap, (round(cost + more, 3), next(order), following))
    yield from lines


def _next(
    bits: list[tuple[str, int]], text: str, reading: _Reading, around: Surroundings
) -> Iterator[tuple[float, _Reading]]:
    place, words, state = reading
    first, last = (words[0][0], words[-1][0]) if words else ("", "")
    if last == "CELLS":
        rest = text[bits[place - 1][1] :]
        for row in cells_meant(rest) if ":" not in rest and place < len(bits) else ():
            yield 0.0, _Reading(len(bits), (*words, ("", row)), state)
        return
    bit = bits[place][0] if place < len(bits) else ""
    built = any(terminal == "EQUAL" for terminal, _ in words)
    alone = len(words) > 1 and words[-2][0] == "LPAR"  # brackets around a single name say nothing
    if built and bit != ")" and not alone and (closed := after(state, "RPAR")) is not None:
        yield 1.0, _Reading(place, (*words, ("RPAR", ")")), closed)
    if not bit:
        return
    for terminal, written, cost in _meanings(bit, first, last, state, around):
        if (moved := after(state, terminal)) is not None:
            yield cost, _Reading(place + 1, (*words, (terminal, written)), moved)
    if not around.names(bit) and _says_nothing(bit, words):
        yield 0.6, _Reading(place + 1, words, state)


def _says_nothing(bit: str, words: tuple[tuple[str, str], ...]) -> bool:
    """Whether a sign or word can be dropped after `words`."""
    terminals = [terminal for terminal, _ in words]
    if bit in _SILENT:
        return "EQUAL" not in terminals or bit not in "[](){}"
    if terminals[-1:] == ["G"]:  # 50 g / 120 m
        return bit in ("/", "=", "-", "to")
    low = bit.lower()
    if low in ("stitches", "sts", "st", "needles"):
        counted = terminals[-1:] == ["INT"] and terminals[-2:-1] in (["OVER"], ["NEEDLES"], ["EDGE"], ["SHIFTED"])
        return counted or terminals[:1] == ["OUT"]
    if low in ("needle", "work"):
        return terminals[:1] == ["OUT"]
    if low == "a" and terminals[:1] in (["STITCH"], ["YARN"], ["PIECE"], ["INT"]):
        return False
    if low == "yarn" or (low == "for" and len(words) == 1):
        return bool(words) and words[0][0] != "YARN"
    if low in ("and", "to", "on") and "EQUAL" in terminals:
        return False
    return low in FILLERS or (low == "then" and not words)


def _meanings(bit: str, first: str, last: str, state: Any, around: Surroundings) -> Iterator[tuple[str, str, float]]:
    """What a word, number or sign may be in this place: the terminal, the text and the cost."""
    low = bit.lower()
    if bit[0] == '"':
        yield "TEXT", bit, 0.0
    elif span := re.fullmatch(r"([LR])\s*(\d+)\W*(?:to)?\W*([LR])\s*(\d+)", bit, re.IGNORECASE):
        yield "BED_RANGE", f"{span[1].upper()}{span[2]}-{span[3].upper()}{span[4]}", 0.0
    elif low in _SIGNS:
        for terminal, cost in _SIGNS[low].items():
            yield terminal, _WRITTEN.get(terminal, terminal.lower()), cost
        if bit == "/" and first == "SIZES":  # between rows or needles it may be a range, or a choice
            yield "COMMA", ",", 0.5
    elif re.fullmatch(r"\d+\.\d+", bit):
        yield "DECIMAL", bit, 0.0
    elif bit.isdigit():
        yield "INT", bit, 0.0
    elif low in _TERMINALS and not around.names(bit):
        yield _TERMINALS[low], _WRITTEN.get(_TERMINALS[low], low), 0.0
        if low == "stitch":
            yield "_STITCHES", "stitches", 0.0
        elif low in NEW_WORDS:
            yield from _word(bit, first, last, state, around)
    elif bit[0].isalpha() or bit[0].isdigit():
        yield from _word(bit, first, last, state, around)


def _word(bit: str, first: str, last: str, state: Any, around: Surroundings) -> Iterator[tuple[str, str, float]]:
    """What a word may be that is none of the notation's: a letter, misread figures, a name or the nearest word."""
    low = bit.lower()
    if low in ("k", "t", "s"):
        yield "LETTER", bit.upper(), 0.0
    if re.fullmatch(r"[0-9OolIBZ]+", bit) and (
        bit[-1].isdigit() or bit[0].isdigit() or first in ("", "INT") or last == "OVER"
    ):
        yield "INT", bit.translate(_AS_FIGURES), 1.0 if bit.isalpha() else 0.5
    if not bit[0].isalpha():
        return
    defined = last in ("STITCH", "YARN", "PIECE")
    if defined or last == "_COLOUR":
        if low == "a" or low not in FILLERS:
            yield "NAME", bit, 0.0
        return
    names = WEIGHTS if last == "WEIGHT" else around.yarns if last == "IN" and first != "WIDTH" else around.stitches
    if bit in names or (last == "WEIGHT" and low in names):
        yield "NAME", bit, 0.0
        return
    if low in FILLERS or low in KINDS or len(low) == 1:
        return
    most = 1 if len(low) < 4 + (not first) else 2
    near = [(cost, "NAME", name) for name in names if (cost := letters_wrong(low, name.lower())) <= most]
    if len(near) > 1:
        return
    for word, terminal in _TERMINALS.items():
        if (cost := letters_wrong(low, word)) <= most and after(state, terminal) is not None:
            near.append((cost, terminal, word))
    for cost, terminal, word in near:
        if cost == min(near)[0]:
            yield terminal, _WRITTEN.get(terminal, word), float(cost)


def as_line(words: tuple[tuple[str, str], ...]) -> str:
    """The line, with the spaces that the notation has."""
    line = ""
    for (terminal, word), (before, _) in zip(words, (("", ""), *words), strict=False):
        glued = terminal in ("CELLS", "COMMA", "RPAR", "_DASH") or before in ("", "LPAR", "_DASH")
        line += word if glued else f" {word}"
    return line

"""What a value of a wrong line may be in its place: the grammar's terminals, and what people write for them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

from stitchc.notation.fixes.surroundings import Surroundings, letters_wrong
from stitchc.notation.fixes.tokens import Value
from stitchc.notation.fixes.walk import State, Words, after
from stitchc.notation.gather import WEIGHTS
from stitchc.notation.vocabulary import KEYWORDS, NEW_WORDS

OTHER_WORD, MISSING, _OTHER_SIGN = 0.1, 0.5, 0.5
"""What it costs to take a word for another, to add a small word, and to take a sign for another."""
_SIGNS: Final = {
    **dict(zip(("CELLS", "EQUAL", "COMMA", "_DASH", "LPAR", "RPAR", "_NEWLINE"), ":=,-()\n", strict=True)),
    "BY": "by",
}
"""How terminals are written that signs stand for."""
_TERMINALS: Final = {
    **{word: word.upper() for word in (*KEYWORDS, *NEW_WORDS) if word not in ("mm", "cm")},
    **dict.fromkeys("KTS", "LETTER"),
    **{word: f"_{word.upper()}" for word in ("colour", "rows", "stitches")},
    **{sign: terminal for terminal, sign in _SIGNS.items()},
    "x": "BY",
    "*": "BY",
    "and": "COMMA",
    "to": "_DASH",
    ";": "_NEWLINE",
}
"""The notation's words and signs, and what the grammar calls them."""
LINKS: Final = {
    "FOR": "rows length number",
    "BY": "rows number stitches",
    "PER": "length mm cm inch",
    "IN": "yarn stitch plain",
    "AT": "text",
    "WITH": "K T S",
    "OVER": "stitches",
}
"""Small words that may be missing, and before what."""
_BARE: Final = {
    "stitches": ("OVER", "NEEDLES", "EDGE", "SHIFTED", "OUT"),
    "rows": ("BY",),
    "times": ("ACROSS", "UP", "MAKE"),
}
"""The words behind which a count stands without saying what it counts."""


def written(terminal: str, word: str = "") -> tuple[str, str]:
    """A terminal and its text."""
    return terminal, _SIGNS.get(terminal) or word or terminal.lower().lstrip("_")


def first_of(words: Words) -> str:
    return words[0][0] if words else ""


def last_of(words: Words) -> str:
    return words[-1][0] if words else ""


def is_built(words: Words) -> bool:
    """Whether a stitch is built from others in these."""
    return any(terminal == "EQUAL" for terminal, _ in words)


def meanings(
    value: Value, words: Words, state: State, around: Surroundings, joints: frozenset[str]
) -> Iterator[tuple[float, Words]]:
    """The terminals that a value may be behind these words, and what that costs.

    joints: `then` and `beside`, those of them that the line has.
    """
    text, kind, last = value.text, value.kind, last_of(words)
    number, _, unit = text.partition(" ")
    count = ("INT" if number.isdigit() else "DECIMAL", number)
    if kind in ("word", "stitch", "yarn"):
        yield from _word(value, words, state, around)
    elif kind == "text":
        inner = text[1:-1].strip()
        coloured = last == "_COLOUR" and re.fullmatch("[0-9a-fA-F]{6}|[0-9a-fA-F]{3}", inner)
        yield 0.0, (("TEXT", f'"#{inner}"' if coloured else f'"{inner}"'),)
        if re.fullmatch(r"[^\W\d_][\w-]*", inner):
            yield MISSING, (("NAME", inner),)
    elif kind == "colour" or (kind == "number" and last == "AT"):
        yield OTHER_WORD, (("TEXT", f'"{text}"'),)
    elif kind == "range":
        yield 0.0, (("BED_RANGE", text),)
    elif last == "PLAIN" and is_built(words) and kind in ("rows", "stitches"):
        # A size of `plain` that is not given, where it is filled up anyway.
        if joints == {"then" if kind == "rows" else "beside"}:
            size = (("INT", "1"), ("BY", "by"), count)
            yield MISSING, size if kind == "rows" else size[::-1]
        if kind == "stitches":
            yield 0.0, (count,)
    elif kind in ("number", "thousands") or last in _BARE.get(kind, ()):
        yield 0.0, (count,)
    elif kind in ("rows", "stitches", "g", "length"):
        noun = {"rows": "row" if number == "1" else "rows", "length": unit}.get(kind, kind)
        yield 0.0, (count, ({"rows": "_ROWS", "stitches": "_STITCHES"}.get(kind, noun.upper()), noun))


def _word(value: Value, words: Words, state: State, around: Surroundings) -> Iterator[tuple[float, Words]]:
    text, low, known = value.text, value.text.lower(), value.token.meanings
    first, last = first_of(words), last_of(words)
    if last in ("STITCH", "YARN", "PIECE", "_COLOUR"):
        if text[0].isalpha() and ("the" not in known or low == "a"):
            yield MISSING * bool(known and low != "a"), (("NAME", text),)
        return
    if value.kind != "word":
        yield 0.0, (("NAME", text),)
    for meaning in dict.fromkeys((*known, low)):
        if low == "/" and meaning == "," and first != "SIZES":
            continue  # between rows or needles it may be a range, or a choice
        cost = 0.0 if meaning == low else OTHER_WORD
        if meaning in _TERMINALS and (words or len(meaning) > 1):
            terminal, word = written(_TERMINALS[meaning], meaning)
            yield (0.0 if word == low else OTHER_WORD if meaning.isalpha() else _OTHER_SIGN), ((terminal, word),)
        elif meaning in WEIGHTS:
            yield cost, (("NAME", meaning),)
        if meaning in ("mm", "cm", "inch") and first == "GAUGE":
            unit = meaning.removesuffix("ch")
            yield OTHER_WORD, (("INT", "1"), (unit.upper(), unit))
    if value.kind == "word" and text[0].isalpha() and not (first and known):
        yield from _near(text, first, last, state, around)


def _near(text: str, first: str, last: str, state: State, around: Surroundings) -> Iterator[tuple[float, Words]]:
    """What a word may be a slip of: misread figures, one name, or words that may come next."""
    low = text.lower()
    if re.fullmatch("[OolIBZ]+", text):
        yield 1.0, (("INT", text.translate(str.maketrans("OolIBZ", "001182"))),)
    if len(low) < 3:
        return
    names = WEIGHTS if last == "WEIGHT" else around.yarns if last == "IN" else around.stitches
    most = 1 if len(low) < 4 + (not first) else 2
    near = [(wrong, "NAME", name) for name in list(names)[:500] if (wrong := letters_wrong(low, name.lower())) <= most]
    for word, terminal in (*_TERMINALS.items(), ("sts", "_STITCHES")):
        wrong = letters_wrong(low, word) if len(word) > 1 and after(state, terminal) is not None else len(word)
        if wrong <= min(most, len(word) - 2):
            near.append((wrong, terminal, word))
    for wrong, terminal, word in near:
        yield wrong, (written(terminal, word),)

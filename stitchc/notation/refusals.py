"""Why a line or a cell was refused: what stands there, and what the notation would have taken.

Loaded only when something is wrong. What the writer may have wanted is the business of stitchc/notation/fixes.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Final, NamedTuple

from lark.exceptions import UnexpectedInput, UnexpectedToken

from stitchc.english import listed, ranges
from stitchc.messages import Message, Span, visible
from stitchc.notation.tree import shortened
from stitchc.notation.vocabulary import FIGURES, KEYWORDS, LOOK_ALIKES, QUOTED, latin_of, short_number

_TERMINALS: Final = {
    "INT": "a whole number",
    "DECIMAL": "a number",
    "TEXT": 'text in quotes ("…")',
    "NAME": "a name",
    "CELLS": "`:`",
    "CELLS_ALONE": "the cells of the row (K, T, S)",
    "LETTER": "K, T or S",
    "BED_RANGE": "needles such as L40-R39",
    "_NEWLINE": "the end of the line",
    "COMMA": "`,`",
    "EQUAL": "`=`",
    "LPAR": "`(`",
    "RPAR": "`)`",
    "_DASH": "`-`",
}
"""Terminals of the grammar as a person calls them."""
_UNITS: Final = "MM CM IN LEFT RIGHT"
EXAMPLES: Final = {
    "pattern": 'pattern "Tide line"',
    "note": 'note "Worn purl side out."',
    "yarn": 'yarn sand "oat"',
    "ball": 'yarn oat "undyed" ball 50 g 120 m',
    "include": 'include "grounds.stitch"',
    "by": 'by "the net loft"',
    "difficulty": 'difficulty "easy"',
    "notion": 'notion "a tapestry needle"',
    "photo": 'photo "front.jpg" "the cowl, worn"',
    "stitch": "stitch drift = ripple then ripple shifted 1",
    "out": "out 4, 6-7",
    "gauge": "gauge plain 20 stitches 28 rows per 10 cm",
    "piece": "piece cowl",
    "make": "make 2",
    "width": "width 60 cm plus 1 cm",
    "sizes": "sizes 40, 46, 52 cm",
    "needles": "needles 96",
    "edge": "edge 1",
    "carriage": "carriage right",
    "do": 'do "Cast on."',
    "knit": "knit drift for 18 cm",
}
"""A line of each kind."""
_OF_A_PIECE: Final = ("make", "width", "sizes", "needles", "edge", "carriage", "do", "knit")
_UNKNOWN: Final = "No line of the notation begins with"
_LONGEST: Final = 400
"""Of a longer line only the part around the place is looked at; nobody writes such a line by hand."""
_WORD: Final = re.compile(r"\"[^\"]*\"|[^\W\d_](?:[\w-]|[^\x00-\x7f\s])*|[0-9]+(?:\.[0-9]+)?|\S")
_DECIMALS: Final = re.compile(r"(?<![0-9])-?[0-9]+[.,][0-9]+")
_COMMENT: Final = re.compile(rf"{QUOTED}|#.*", re.DOTALL)

_FACING: Final = "A row has no right or wrong side: every row is written as you face the bed, purl side toward you."
_ONE_WORD: Final = "A name is one word; a `-` or `_` can join several."
_REASONS: Final = tuple(
    (re.compile(pattern, re.IGNORECASE), sentence)
    for pattern, sentence in (
        (r"\W*\b(?:RS|WS)\b|[^:]*\((?:RS|WS)\)", _FACING),
        (r"(?:rows?|r|rnds?|rounds?|no)\b\.?\s*[0-9]|r[0-9]", "A row begins with its number alone."),
        (r"(?:all|every|each|even|odd|other|rest|remaining)\b", "Rows are given by their numbers."),
        (r"[0-9]+\s*[.,;|=)\]-]?\s*[KTS(*]", "A colon comes between a row's number and its cells."),
        (r"[0-9]+(?:\s*(?:to|\.\.+|…)\s*)[0-9]+", "A range of rows is written with a `-`."),
        (r"[KTSXO0-9\s()×,.·+|/\\■□●○-]+$", "A row begins with its number and a colon."),
        (
            r"stitch\b.*\bshifted\b.*\b(?:up|down|rows?)\b",
            "`shifted` moves columns left or right; rows cannot be moved.",
        ),
        (r"stitch\b.*\bin\s+\w+$", "A stitch has no yarn; its rows have."),
        (r"(?:stitch|piece)\s+[\w-]+\s*:", "Write no colon after the name; the lines below it belong to it anyway."),
        (r"(?:stitch|piece|yarn)\s+\"", "Write a name without quotation marks."),
        (r"(?:stitch|piece|yarn)\s+[0-9]", "A name begins with a letter."),
        (r"(?:stitch|piece)\s+[\w-]+\s+(?!over\s+[0-9])[^\W\d]", _ONE_WORD),
        (r"(?:rep(?:eat)?)\b", "A piece is knitted line by line; nothing in it repeats automatically."),
        (
            r"(?:change|switch|join|break)\b",
            "Write a change of yarn on the line that knits with it, as in knit plain for 12 rows in foam.",
        ),
        (r"end\b", "Leave this out: a stitch repeats automatically, and a piece ends with its last line."),
    )
)
"""What is wrong with a line that begins so."""


class _Place(NamedTuple):
    """Where the parser gave up. code: the line without its comment. start: the offset in it, `word` what stands there.

    allowed: the terminals it would have taken. cut: characters of a very long line left out before `code`.
    """

    code: str
    start: int
    word: str
    allowed: frozenset[str]
    cut: int


def without_comment(line: str) -> str:
    """The line up to its comment, without spaces at its end."""
    return _COMMENT.sub(lambda match: "" if match.group()[0] == "#" else match.group(), line).rstrip()


def refused(error: UnexpectedInput, line: str, file: str, number: int) -> Message:
    """One message for line `number` of a file, which the parser refused (N101, N102, N111)."""
    place = _place(error, line)
    if (broken := _broken_count(place)) is not None:
        sentence, advice, first, last = broken
        return Message("N101", "error", sentence, Span(file, number, place.cut + first + 1, last - first), advice)
    if (other := _other_unit(place)) is not None:
        span = Span(file, number, place.cut + place.start + 1, len(place.word))
        return Message("N101", "error", other[0], span, other[1])
    code, sentence, first, last = _reason(place)
    span = Span(file, number, place.cut + first + 1, max(1, last - first))
    label = "" if place.word else "more is needed here"
    advice = _beginnings() if sentence.startswith(_UNKNOWN) else f"as in {_example(place, sentence)}"
    return Message(code, "error", sentence, span, advice=advice, label=label)


def _place(error: UnexpectedInput, line: str) -> _Place:
    ended = isinstance(error, UnexpectedToken) and error.token.type in ("_NEWLINE", "$END")
    start = len(line) if ended else min(max((getattr(error, "column", 1) or 1) - 1, 0), len(line))
    cut = 0
    if len(line) > _LONGEST:
        start = len(without_comment(line)) if ended else start
        cut = max(0, start - _LONGEST // 2)
        line, start = line[cut : cut + _LONGEST], start - cut
    code = without_comment(line)
    start = len(code) if ended else min(start, len(code))
    word = _WORD.match(code, start)
    try:
        allowed = set(error.interactive_parser.accepts())  # type: ignore[no-untyped-call]
    except Exception:  # asking a parser that has stopped may fail in ways of its own
        allowed = set(getattr(error, "allowed", None) or getattr(error, "expected", None) or ())
    allowed -= {"COMMENT", "SPACE", "$END"}
    if "CELLS" in allowed and code[start:] == ":":
        start, word, allowed = len(code), None, {"CELLS_ALONE"}
    return _Place(code, start, word.group() if word else "", frozenset(allowed), cut)


def _broken_count(place: _Place) -> tuple[str, str, int, int] | None:
    """Of a number with decimals that is a count, or has a comma: the sentence, the advice and the offsets."""
    code, start, allowed = place.code, place.start, place.allowed
    number = next((match for match in _DECIMALS.finditer(code) if match.start() <= start <= match.end() + 1), None)
    if number is None:
        return None
    before, behind, text = code[: number.start()], code[number.end() :], number.group()
    rows = re.match(r"\s*rows?\b", behind, re.IGNORECASE) and "_STITCHES" not in allowed
    comma = code[start : start + 1] == ","
    measured = allowed & {"MM", "CM", "_STITCHES", "G", "M"} or re.search(r"\btex\s*$", before, re.IGNORECASE)
    if comma and measured and not rows:
        return "Decimals follow a point, not a comma.", text.replace(",", "."), *number.span()
    if not (comma or rows or (start == number.start() and "INT" in allowed and "DECIMAL" not in allowed)):
        return None
    low = int(re.split("[.,]", text.lstrip("-"))[0][:7])
    counted = "A count" if before.strip() else "A row's number"
    sentence = f"{counted} is a whole number, not `{short_number(text)}`."
    return sentence, f"{low} or {low + 1}" if low else "1", *number.span()


_OTHER_UNITS: Final = {"y": ("m", 0.9144), "o": ("g", 28.35)}
"""By the first letter of yards and ounces, the unit of a ball that the notation takes and how many of it are one."""
_YARDS_OR_OUNCES: Final = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*(yds?|yards?|oz|ounces?)\b", re.IGNORECASE)


def _other_unit(place: _Place) -> tuple[str, str] | None:
    """Of yards or ounces of a ball: the sentence, and the line in metres and grams."""
    if not _YARDS_OR_OUNCES.fullmatch(f"1 {place.word}") or not place.allowed & {"M", "G"}:
        return None

    def converted(match: re.Match[str]) -> str:
        unit, per = _OTHER_UNITS[match[2][0].lower()]
        return f"{float(match[1]) * per:.3g} {unit}"

    sentence = "A ball is given in grams and metres (1 oz is 28.35 g, 1 yd is 0.9144 m)."
    return sentence, _YARDS_OR_OUNCES.sub(converted, place.code.strip())


def _reason(place: _Place) -> tuple[str, str, int, int]:
    """The code, the sentence and the offsets from and to which it is about."""
    code, start, word = place.code, place.start, place.word
    end = start + len(word)
    sentence = None
    if word and not word[0].isprintable():
        return "N101", f"There is a hidden character here, {visible(word[0])} ({_called(word[0])}).", start, start + 1
    if word[:1] == '"' and not word.endswith('"', 1):
        return "N101", "This quotation mark is never closed; quoted text ends on its own line.", start, len(code)
    if (latin := latin_of(word)) is not None and latin.isascii() and word[0].isalpha():
        odd = next(c for c in word if not c.isascii())
        return "N111", f"`{odd}` in `{shortened(word)}` is not the Latin letter that it looks like.", start, end
    if not word[:1].isascii() and (narrow := unicodedata.normalize("NFKC", word[:1])) != word[:1] and narrow.isascii():
        return "N101", f"`{word[0]}` is a full-width sign; the notation uses the narrow ones.", start, start + 1
    if word.lower() in FIGURES and "INT" in place.allowed:
        return "N101", "Write numbers in figures.", start, end
    if "TEXT" in place.allowed and "NAME" not in place.allowed and word:
        return "N101", "Write text in quotation marks here.", start, len(code)
    if place.allowed == {"LETTER"} and word.isalpha():
        return "N102", f"`{visible(shortened(word))}` is not a cell; `with` exchanges K, T and S.", start, end
    begins = len(code) - len(code.lstrip())
    if not place.cut and (word or code[begins : begins + 1].isdigit()):
        sentence = next((sentence for pattern, sentence in _REASONS if pattern.match(code, begins)), None)
        if sentence is not None:
            return "N101", sentence, begins if start == begins else start, max(end, begins + 1)
    if not word:
        return "N101", f"The line ends too soon; {_could(place)} would come next.", start, start + 1
    if start == begins:
        return "N101", f"{_UNKNOWN} `{visible(word[:40])}`.", start, end
    return "N101", f"`{visible(word[:40])}` can't stand here; {_could(place)} could.", start, end


def _could(place: _Place) -> str:
    names = set(place.allowed)
    words: list[str] = []
    if {"THEN", "BESIDE"} <= names:
        names -= {"THEN", "BESIDE", "ACROSS", "UP", "SHIFTED", "MIRRORED", "REVERSED", "WITH"}
        words += ["`then`", "`beside`", "a form such as `up 2`"]
    if {"INT", "DECIMAL"} <= names:
        names.remove("INT")
    if "INCH" in names:
        names.remove("INCH")
    ordered = sorted(names, key=lambda name: (name == "_NEWLINE", _UNITS.find(name), name))
    words += [_TERMINALS.get(name, f"`{name.lower().lstrip('_')}`") for name in ordered]
    return listed(words, "or") if words else "nothing more"


def _beginnings() -> str:
    others = [word for word in EXAMPLES if word not in ("ball", "out", *_OF_A_PIECE)]
    return (
        f"Lines begin with {listed(others, 'or')}; those of a stitch with a row's number or out; those of a piece with "
        f"{listed(_OF_A_PIECE, 'or')}."
    )


def _example(place: _Place, sentence: str) -> str:
    first = _WORD.match(place.code, len(place.code) - len(place.code.lstrip()))
    word = first.group().lower() if first and not place.cut else ""
    if sentence == _ONE_WORD:
        words = re.match(r"\s*(\w+)\s+((?:(?!over\b)[^\W\d][\w-]*\s*)+)", place.code)
        if words is None:
            return EXAMPLES[word]
        return f"{word} {'-'.join(words[2].split())[:40]} {place.code[words.end() :][:60].strip()}".rstrip()
    if word == "stitch" and "=" not in place.code:
        return "stitch ripple over 8"
    if word == "yarn" and re.search(r"\bball\b", place.code, re.IGNORECASE):
        word = "ball"
    of_a_row = word[:1].isdigit() or ":" in place.code or sentence.startswith("A row begins")
    usual = EXAMPLES["knit"] if sentence.startswith("A piece is") else "stitch ripple"
    return EXAMPLES.get(word, "1: K T" if of_a_row else usual)


# -- names ------------------------------------------------------------------------------------------------------------


def odd_name(name: str, line: str, start: int, file: str, number: int) -> Message:
    """A word used as a name that cannot be one: a keyword, or one with a character that no name has."""
    if name.lower() in KEYWORDS:
        defines = re.match(r"\s*(stitch|piece|yarn)\s+", line, re.IGNORECASE)
        advice = (
            f"{name}-1, or any other name" if defines and defines.end() == start else "the name of a stitch or yarn"
        )
        text = f"`{name}` is a word of the notation and cannot be a name."
        return Message("N101", "error", text, Span(file, number, start + 1, len(name)), advice=advice)
    offset = odd_character(name)
    assert offset is not None
    bad = name[offset]
    kept = re.sub("-+", "-", "".join(c if odd_character(f"a{c}") is None else "-" for c in name[:60])).strip("-")
    span = Span(file, number, start + offset + 1, 1)
    if not bad.isprintable():
        text = f"There is a hidden character in this name, {visible(bad)} ({_called(bad)})."
        return Message("N101", "error", text, span, advice="Type the name again.")
    text = f"`{visible(bad)}` cannot be part of a name; letters, figures, `_` and `-` can."
    return Message("N101", "error", text, span, advice=f"as in {kept if kept[:1].isalpha() else 'ripple'}")


def odd_character(name: str) -> int | None:
    """The offset of the first character that a name cannot have there, or None."""
    if name.isascii():
        return None  # the grammar lets in no others
    for offset, character in enumerate(name):
        kind = unicodedata.category(character)[0]
        if not (kind == "L" or (offset and (kind in "MN" or character in "_-"))):
            return offset
    return None


def _called(character: str) -> str:
    return unicodedata.name(character, "a control character").lower()


# -- cells ------------------------------------------------------------------------------------------------------------

_KINDS: Final = "K (knit), T (tuck) or S (slip)"
_A_ROW: Final = "as in 1: K3 T (K S)x4"
_PURL: Final = "a single bed has no purl cell; every needle knits, tucks or slips."
_OUT_LINE: Final = "out 4   (on a line of its own, for the needles that are out of work)"
_WRONG_CELLS: Final = tuple(
    (re.compile(pattern, re.IGNORECASE), code, sentence, advice)
    for pattern, code, sentence, advice in (
        (r"[0-9]+\s*:", "N101", "A row has a line of its own.", "Write the row on the next line."),
        (r"\*", "N101", "A repeat is a group in brackets with its count, not between asterisks.", _A_ROW),
        (r"[\[\]{}]", "N101", "A group is in round brackets.", _A_ROW),
        (r'"[^"]*"?', "N101", "A row has no quoted text.", "Put it in a comment: # …"),
        (r"p(?:url)?[0-9]*(?![\w])", "N102", "`{0}`: " + _PURL, "K (turn the fabric over to see it as purl)"),
        (r"[-−–][0-9]+", "N115", "A count is at least 1, not `{0}`.", "1"),
        (r"-", "N119", "`-` is a needle out of work where a chart is shown; rows are written without it.", _OUT_LINE),
        (r"[0-9]*[.,][0-9]+", "N101", "A count is a whole number.", _A_ROW),
        (r"[0-9]+", "N101", "A count comes right after its letter.", _A_ROW),
        (r"[x×]\s*[0-9]+", "N101", "Only a group in brackets takes `x` and a count.", _A_ROW),
        (r"(?:in|with)\b", "N101", "A row's yarn is named before the colon.", "as in 1 in foam: K T"),
        (r"[,;/|+&]", "N101", "Cells follow each other without `{0}`.", _A_ROW),
        (r"[^\W\d_]+", "N102", "`{0}` is not a cell; a row is made of K, T and S.", _KINDS),
    )
)
"""What stands where no cell can be: the pattern of it, code, sentence ({0}: the text) and advice."""


class WrongCell(NamedTuple):
    """A mistake in a row: `end` is the offset where reading goes on."""

    code: str
    sentence: str
    advice: str
    end: int


def _other_letters(text: str) -> list[str]:
    """The letters but K, T and S of a row that is drawn with single letters."""
    if not re.fullmatch(r"(?:[A-Z][\s.,|]*)+", text[:400]):
        return []
    return sorted(set(re.findall("[A-JL-RU-Z]", text)))[:6]


def wrong_cell(text: str, start: int) -> WrongCell:
    """What is wrong at `start` of a row's cells, where no cell can be."""
    character = text[start]
    shown = visible(character)
    latin = LOOK_ALIKES.get(character) or latin_of(character)
    if latin is not None and not character.isascii() and unicodedata.normalize("NFKC", character) == character:
        sentence = f"`{character}` looks like {latin} but is another letter ({_called(character)})."
        return WrongCell("N111", sentence, f"{latin} (the Latin letter)", start + 1)
    if character.isdecimal() and not character.isascii():
        sentence = f"`{character}` ({_called(character)}) is another script's figure; a count is written with 0 to 9."
        return WrongCell("N111", sentence, str(unicodedata.decimal(character)), start + 1)
    if not character.isprintable() or unicodedata.category(character) == "Cf":
        sentence = f"There is a hidden character here, {shown} ({_called(character)})."
        return WrongCell("N101", sentence, "Delete it, or type the row again.", start + 1)
    if not character.isascii() and unicodedata.normalize("NFKC", character).isascii():
        return WrongCell("N111", "Write a row in narrow signs, not in full-width ones.", _A_ROW, start + 1)
    ahead = text[start : start + 60]
    for pattern, code, sentence, advice in _WRONG_CELLS:
        if match := pattern.match(ahead):
            word = match.group()
            if code == "N119" and re.fullmatch(r"[KTS\s-]+", text[:400], re.IGNORECASE):
                needles = [place for place, sign in enumerate("".join(text.split()), start=1) if sign == "-"]
                advice = advice.replace("4", ranges(needles), 1)
            if code == "N102" and word.isalpha() and len(others := _other_letters(text)) > 1:
                shown = listed([f"`{visible(letter)}`" for letter in others])
                return WrongCell(code, f"{shown} are not cells; a row is made of K, T and S.", advice, start + 1)
            if word.isalpha() and (before := re.search(r"[^\W\d_][0-9]*$", text[max(0, start - 20) : start])):
                word = before.group() + word  # `tog` of k2tog
            return WrongCell(code, sentence.format(visible(word)), advice, start + len(match.group()))
    return WrongCell("N101", f"`{shown}` ({_called(character)}) has no meaning in a row.", _KINDS, start + 1)

"""The values in a wrong line: lengths, counts, names, texts, sides, and the words that say what they are for."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from typing import Final, NamedTuple

from stitchc.notation.fixes.surroundings import Surroundings, only_near
from stitchc.notation.vocabulary import FIGURES, KEYWORDS, PLAIN_WORDS

_UNITS: Final = {
    "mm": "mm millimetre millimetres millimeter millimeters",
    "cm": "cm cms centimetre centimetres centimeter centimeters centimtre",
    "m": "m metre metres meter meters",
    "in": 'in inch inches ins " ″',
    "ft": "ft foot feet",
}
_NOUNS: Final = {
    "rows": "row rows r rs rnd rnds round rounds",
    "stitches": "stitch stitches sts st needle needles ndl ndls",
}
KINDS: Final = {
    word: (kind, name)
    for kind, table in (("unit", _UNITS), ("noun", _NOUNS))
    for name, words in table.items()
    for word in words.split()
}
_SIDES: Final = {"left": "left", "l": "left", "col": "left", "right": "right", "cor": "right"}
_FILLERS: Final = "the a an of about approx approximately circa ca around is to and on please called long"
FILLERS: Final = frozenset(_FILLERS.split())
"""Words that say nothing where a value stands beside them."""
_SMALLER: Final = {("m", "cm"): 100, ("ft", "in"): 12, ("cm", "mm"): 10}

FRACTION: Final = r"1/2|1/4|3/4|1/3|2/3|[1357]/8|[½¼¾⅓⅔⅛⅜⅝⅞]"
_TOKEN: Final = re.compile(
    rf"""(?P<text>(?<![\d½¼¾⅓⅔⅛⅜⅝⅞])"[^"]*"|(?<![\w])'[^']*'(?!\w))
    | (?P<range>\b[LRlr]\s*\d+\s*(?:[-–—:]|to\b|\s)\s*[LRlr]\s*\d+\b
      | \b\d+\s*[LRlr]\s*(?:[-–—:]|to\b)\s*\d+\s*[LRlr]\b)
    | (?P<mixed>(?:(?P<whole>\d+)(?:\s+and\s+|\s*-\s*|\s*))?(?P<part>{FRACTION})(?![\d/]))
    | (?P<thousands>\d{{1,3}}(?:,\d{{3}})+(?![\d.,]))
    | (?P<number>\d+(?:[.,]\d+)?)
    | (?P<word>[^\W\d_](?:[\w]|-(?=\w))*)
    | (?P<sign>\S)""",
    re.VERBOSE,
)


class Value(NamedTuple):
    """kind: text, range, number, length, rows, stitches, stitch, yarn, side, unit, noun, word or sign.

    text: as the notation has it. amount: of a number or length (then in mm).
    """

    kind: str
    text: str
    amount: float = 0.0


def straight(text: str) -> str:
    """The text with double straight quotation marks, whatever stood for them; apostrophes stay."""
    text = re.sub(r"[“”„«»″‟‹›「」『』]|''|``|´´|(?<!\w),,(?=\w)|<<|>>|\\\"", '"', text)
    return re.sub(r"(?<![\w'])['‘‚`´]([^\"]*)['’`´](?![\w'])", r'"\1"', text)


def narrowed(text: str) -> str:
    """The text with straight quotation marks and narrow signs; fractions stay."""
    text = re.sub("[‘’‚`´]", "'", straight(text))
    text = re.sub(r"(\d)'\s*(\d+)\"", r"\1 ft \2 in", text)
    text = "".join(c if c in "½¼¾⅓⅔⅛⅜⅝⅞" else unicodedata.normalize("NFKC", c) for c in text)
    return text.replace("−", "-").replace("\xa0", " ")


_IN_WORDS: Final = re.compile(
    r"(?<![\w\"-])(" + "|".join(sorted(map(re.escape, FIGURES), key=len, reverse=True)) + r")(?![\w-])", re.IGNORECASE
)


def with_figures(text: str, around: Surroundings) -> str:
    """Numbers in words outside quotation marks made figures, except where the word is a name."""

    def figure(match: re.Match[str]) -> str:
        word = match[1]
        return word if around.names(word) else FIGURES[word.lower()]

    parts = re.split(r'("[^"]*")', text)
    parts[::2] = [re.sub(r"\band a half\b", " 1/2", _IN_WORDS.sub(figure, part)) for part in parts[::2]]
    return "".join(parts)


def values(text: str, around: Surroundings) -> Iterator[list[Value]]:
    """The values of a line, in the readings there are: a count before what it counts, or behind it."""
    raw = list(_tokens(text, around))
    seen = []
    for behind in (False, True):
        reading = _lengths(_counted(raw, behind))
        if reading not in seen:
            seen.append(reading)
            yield reading


def _tokens(text: str, around: Surroundings) -> Iterator[Value]:
    for match in _TOKEN.finditer(text):
        kind = match.lastgroup or ""
        if match["text"]:
            yield Value("text", match["text"][1:-1])
        elif match["range"]:
            yield Value("range", _bed_range(match["range"]))
        elif match["mixed"]:
            part = match["part"]
            upper, _, lower = part.partition("/")
            fraction = int(upper) / int(lower) if lower else unicodedata.numeric(part)
            yield _number(int(match["whole"] or 0) + fraction)
        elif match["thousands"]:
            yield _number(int(re.sub(r"\D", "", match["thousands"])))._replace(kind="thousands")
        elif match["number"]:
            text = match["number"].replace(",", ".")
            yield Value("number", text, float(text))
        elif match["word"]:
            yield from _words(match["word"], around)
        else:
            mark = match[kind]
            yield Value("unit", "in") if mark in '"″' else Value("sign", mark)


def _number(amount: float) -> Value:
    return Value("number", f"{amount:.4f}".rstrip("0").rstrip("."), amount)


def _words(word: str, around: Surroundings) -> Iterator[Value]:
    if word in around.stitches:
        yield Value("stitch", word)
    elif word in around.yarns:
        yield Value("yarn", word)
    elif (low := word.lower()) in KINDS:
        yield Value(*KINDS[low])
    elif low in _SIDES and low not in "lr":
        yield Value("side", _SIDES[low])
    elif low in KEYWORDS or low in FILLERS:
        yield Value("word", low)
    elif glued := re.fullmatch(r"([^\W\d_]+)(\d+)", word):
        yield from _words(glued[1], around)
        yield _number(int(glued[2]))
    elif re.fullmatch(PLAIN_WORDS, low):
        yield Value("word", "plain")
    elif low in ("l", "r"):
        yield Value("side", "left" if low == "l" else "right")
    elif len(low) > 3 and (near := only_near(low, {*KEYWORDS, *(w for w in KINDS if len(w) > 3)})) is not None:
        yield Value(*KINDS[near]) if near in KINDS else Value("word", near)
    else:
        yield Value("word", low)


def _bed_range(text: str) -> str:
    ends = re.findall(r"([LRlr])\s*(\d+)|(\d+)\s*([LRlr])", text)
    needles = [(a or d).upper() + (b or c) for a, b, c, d in ends]
    return "-".join(reversed(needles) if needles[0][0] == "R" and needles[1][0] == "L" else needles)


def _counted(raw: list[Value], behind: bool) -> list[Value]:
    """Numbers joined with the unit or noun next to them."""
    out: list[Value] = []
    left: list[Value] = []
    for value, unit in zip(raw, [*raw[1:], Value("", "")], strict=False):
        # 1,125 in may be one inch and an eighth
        kind = "number" if value.kind == "thousands" and (unit.kind != "unit" or unit.text == "mm") else value.kind
        left.append(value._replace(kind=kind))
    while left:
        here = left.pop(0)
        after = left[0] if left else None
        if behind and here.kind == "noun" and after is not None and after.kind == "number":
            out.append(Value(here.text, after.text, after.amount))
            left.pop(0)
        elif here.kind == "number" and after is not None and after.kind in ("noun", "unit"):
            if after.kind == "noun" and behind:
                out.append(here)
                continue
            if after.kind == "unit":
                out.append(Value("length", f"{here.text} {after.text}", here.amount))
            else:
                out.append(Value(after.text, here.text, here.amount))
            left.pop(0)
        elif (
            here.kind == "number"
            and len(left) > 1
            and left[0].text != "of"
            and left[1].kind == "noun"
            and (left[0].kind == "stitch" or left[0].text == "plain")
        ):
            out.append(Value(left[1].text, here.text, here.amount))
            left.pop(1)
        elif here.kind == "unit":
            out.append(Value("word", here.text))
        elif here.kind == "noun":
            out.append(Value("word", "stitch" if here.text == "stitches" else here.text))
        else:
            out.append(here)
    return out


_MM: Final = {"mm": 1.0, "cm": 10.0, "in": 25.4, "m": 1000.0, "ft": 304.8}


def _lengths(in_line: list[Value]) -> list[Value]:
    """Lengths in units of the notation: metres and feet turned, two that follow each other (1 m 20 cm) added up."""
    out: list[Value] = []
    for here in in_line:
        if here.kind != "length":
            out.append(here)
            continue
        number, unit = here.text.split()
        last = out[-1] if out and out[-1].kind == "length" else None
        factor = _SMALLER.get((last.text.split()[1], unit)) if last is not None else None
        if last is not None and factor is not None and float(number) < factor:
            out[-1] = Value("length", f"{_number(float(last.text.split()[0]) * factor + float(number)).text} {unit}")
        else:
            out.append(here)
    for index, length in enumerate(out):
        if length.kind == "length":
            number, unit = length.text.split()
            if unit in ("m", "ft"):
                small, factor = ("cm", 100) if unit == "m" else ("in", 12)
                number, unit = _number(float(number) * factor).text, small
            out[index] = Value("length", f"{number} {unit}", float(number) * _MM[unit])
    return out

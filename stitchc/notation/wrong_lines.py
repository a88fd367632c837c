"""What to say of a line that the parser refused: the slips people make in lines first, then what was allowed there.

Loaded only when there is such a line; knows that line and the parser's complaint, nothing else of the pattern.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Sequence
from typing import Final

from lark.exceptions import UnexpectedInput

from stitchc.english import listed
from stitchc.messages import Message, visible
from stitchc.notation.around import Around
from stitchc.notation.meant_lines import changed_yarn, lines_meant
from stitchc.notation.slips import KEYWORDS
from stitchc.notation.wrong_place import EXAMPLES, NAMED, SAYS, Place, called, place_of, shortened
from stitchc.notation.wrong_slips import SLIPS

_ORDER: Final = " MM CM IN LEFT RIGHT "


def explain(
    error: UnexpectedInput, lines: Sequence[str], file: str, number: int, reads: Callable[[str], bool]
) -> Message:
    """One message for line `number` of a file, which the parser refused (N101, N102, N110, N111).

    lines: all lines of the file. reads: whether the parser can read a line.
    """
    place = place_of(error, lines[number - 1], file, number)
    message = next((found for slip in SLIPS if (found := slip(place)) is not None), None) or _what_could(place)
    if message.code not in ("N101", "N102") or place.cut:
        return message
    around = Around(lines, number)
    meant = lines_meant(place.line, place.code, around, reads)
    if not meant:
        return message if around.block != "piece" else _changed_yarn(place, around) or _knitted_again(place) or message
    message = message._replace(cure=", or ".join(meant))
    begins_with = _first_word(meant[0])
    if begins_with not in ("", _first_word(place.code)):  # another line altogether stands for the whole of this one
        said = message.text if not place.first[:1].isdigit() else f"This line begins with `{begins_with}`."
        begins = len(place.code) - len(place.code.lstrip())
        message = message._replace(text=said, span=place.at(begins, len(place.code)), label="")
    return message


def _changed_yarn(place: Place, around: Around) -> Message | None:
    """`change to red`, as something done by hand: the rows behind it would stay in the yarn they had."""
    code = place.code.strip()
    yarn = changed_yarn(code, around.yarns) if place.first not in KEYWORDS else None
    if yarn is None:
        return None
    said = "Rows are knitted in the yarn that their own line names, not in one changed to by hand."
    cure = f"Name it on each line that knits with it, as in knit plain for 12 rows in {yarn or 'foam'}"
    begins = len(place.code) - len(place.code.lstrip())
    return place.found(said, begins, len(place.code), cure)


def _knitted_again(place: Place) -> Message | None:
    """`repeat the last 12 rows` in a piece, which is knitted line by line."""
    again = re.match(
        r"\s*(?:rep(?:eat)?\b|(?:do|knit|work)\s+(?:(?:it|this|that|the\s+(?:last|above))\b.*\b)?again\b)",
        place.code,
        re.IGNORECASE,
    )
    if again is None or place.first in KEYWORDS:
        return None
    said = "A piece is knitted line by line; nothing in it is knitted again by itself."
    cure = "Write the lines once more, as often as they are knitted."
    begins = len(place.code) - len(place.code.lstrip())
    return place.found(said, begins, len(place.code), cure)


def _first_word(text: str) -> str:
    word = re.match(r"\s*([^\W\d_]+)(?![\w-])", text)
    return word[1].lower() if word is not None else ""


def odd_name(name: str, line: str, start: int, file: str, number: int) -> Message:
    """A word used as a name that cannot be one: a keyword, or one with a character that no name has."""
    place = Place("", "", start, name, frozenset({"NAME"}), "", file, number)
    if name.lower() in KEYWORDS:
        said = f"`{name}` is a word of the notation and cannot be a name."
        given = (match := NAMED.match(line)) is not None and match.end() == start
        cure = f"{name}-1, or any other name" if given else "the name of a stitch or yarn of this file"
        return place.found(said, start, start + len(name), cure)
    at = odd_character(name)
    assert at is not None
    bad = name[at]
    kept = "".join(c if odd_character(f"a{c}") is None else "-" for c in name[:60])
    kept = re.sub(r"-+", "-", kept).strip("-")
    kept = kept if odd_character(kept) is None else kept[1:]
    if not bad.isprintable():
        said = f"A hidden character, {visible(bad)} ({called(bad)}), stands in this name."
        return place.found(said, start + at, start + at + 1, kept.replace("-", "") or "Type the name again.")
    said = f"`{visible(bad)}` cannot be part of a name; letters, figures, `_` and `-` can."
    return place.found(said, start + at, start + at + 1, kept or "ripple")


def odd_character(name: str) -> int | None:
    """The offset of the first character that a name cannot have there, or None."""
    if name.isascii():
        return None  # the grammar lets in no others
    for offset, character in enumerate(name):
        kind = unicodedata.category(character)[0]
        if not (kind == "L" or (offset and (kind in "MN" or character in "_-"))):
            return offset
    return None


# -- what could stand there -------------------------------------------------------------------------------------


_TAILS: Final = (
    ("width", "CM", " cm"),
    ("knit", "ROWS", " rows"),
    ("knit", "FOR", " for 12 rows"),
    ("gauge", "PER", " per 10 cm"),
    ("gauge", "CM", " cm"),
)
"""What ends a line that ends too soon: its first word, what the parser would take, and what may follow."""


def _what_could(place: Place) -> Message:
    expects, example = _listed(place), _example(place)
    if not place.word:
        tail = next((tail for first, name, tail in _TAILS if first == place.first and name in place.allowed), None)
        invented = tail is not None and re.search("[0-9]", tail) and place.first == "knit"
        example = f"as in {example}" if tail is None else f"{'as in ' * bool(invented)}{shortened(place.code + tail)}"
        said = f"The line ends too soon; {expects} would come next."
        return place.found(said, place.start, place.start + 1, example, label="more is needed here")
    quoted = re.fullmatch(r'"\s*([0-9]+(?:\.[0-9]+)?)\s*"', place.word)
    if quoted and "INT" in place.allowed:
        return place.found("A number stands without quotation marks.", place.start, place.end, quoted[1])
    said = f"`{visible(place.word[:40])}` can't stand here; {expects} could."
    return place.found(said, place.start, place.end, f"as in {example}")


def _listed(place: Place) -> str:
    names = set(place.allowed)
    words: list[str] = []
    if {"THEN", "BESIDE"} <= names:
        names -= {"THEN", "BESIDE", "ACROSS", "UP", "SHIFTED", "MIRRORED", "REVERSED", "WITH"}
        words += ["`then`", "`beside`", "a form such as `up 2`"]
    if {"INT", "DECIMAL"} <= names:
        names.remove("INT")
    says = {**SAYS, "NAME": _name_of_what(place)}
    ordered = sorted(names, key=lambda name: (name == "_NEWLINE", _ORDER.find(f" {name} "), name))
    words += [says.get(name, f"`{name.lower()}`") for name in ordered]
    if not words:
        return "nothing more"
    return listed(words, "or")


def _name_of_what(place: Place) -> str:
    if place.first.isdigit() or re.search(r"\bin\s*$", place.before, re.IGNORECASE):
        return "a yarn's name"
    if place.first in ("stitch", "gauge", "knit"):
        return "a stitch's name" if "=" in place.before or place.first != "stitch" else "a name"
    return "a name"


def _example(place: Place) -> str:
    if place.first.isdigit():
        return "1 in foam: K T" if re.search(r"\bin\b", place.before, re.IGNORECASE) else "1: K T"
    if place.first == "stitch":
        if "=" not in place.before:
            return "stitch ripple over 8" if re.search(r"\bover\b", place.before, re.IGNORECASE) else "stitch ripple"
        last = re.findall(r"\b(plain|with|shifted|across|up)\b", place.before.lower())
        examples = {
            "plain": "plain 4 by 12",
            "with": "with S for T",
            "shifted": "shifted 1 left",
            "across": "across 2",
            "up": "up 2",
        }
        if last and not {"THEN", "BESIDE"} <= place.allowed:
            return examples[last[-1]]
        return "stitch drift = ripple then ripple shifted 1"
    return EXAMPLES.get(place.first, "stitch ripple")

"""The slips people make in the notation, and the words and cures for each.

Everything here turns a piece of text that is not allowed into one message; nothing here reads a whole pattern.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Callable, Iterable
from typing import Final

from stitchc.messages import Message, Span, visible

MOST_COUNT: Final = 1_000_000
"""The largest count the notation allows."""

_KEYWORDS: Final = """
pattern note yarn colour tex weight include stitch over in then beside across up shifted left right mirrored reversed
with for plain by gauge stitches rows per mm cm piece width plus needles edge carriage do knit at exactly
"""
KEYWORDS: Final = frozenset(_KEYWORDS.split())
"""The notation's words, which can't be names."""

LOOK_ALIKES: Final = {
    # Cyrillic, Greek, Cherokee, Lisu and full-width letters that print like K, T and S.
    **dict.fromkeys("КкΚκКᏦꓗＫｋ𐊋K", "K"),
    **dict.fromkeys("ТтΤτᎢꓔＴｔ𐊗", "T"),
    **dict.fromkeys("ЅѕᏚꓢＳｓՏ𐊖", "S"),
}

_ALSO_ALIKE: Final = dict(
    zip("аеорсухіјԁһԛѡѵАВЕМНОРСУХІЈΑΒΕΖΗΙΜΝΟΡΥΧονρυіѕкт", "aeopcyxijdhqwvABEMHOPCYXIJABEZHIMNOPYXovpuiskt", strict=True)
)

_HAND_WORDS: Final = re.compile(
    r"[kp][0-9]*tog|[kp]fb|psso|skp|yo|yfwd|m1[lr]?|inc|dec|tbl|sl(?:\s*st)?[0-9]*|[kp]w(?:ise)?|w(?:yi[bf])|rep(?:eat)?|rs|ws|k1b",
    re.IGNORECASE,
)
_PURL: Final = re.compile(r"p(?:url)?[0-9]*", re.IGNORECASE)


def nearest(name: str, among: Iterable[str]) -> str | None:
    """The name most like this one, or None if nothing comes near."""
    found = difflib.get_close_matches(name, list(among)[:5000], n=1, cutoff=0.55)
    return found[0] if found else None


def count_message(
    text: str, span: Span, least: int = 1, most: int = MOST_COUNT, what: str = "A count"
) -> Message | None:
    """What is wrong with a whole number as written, or None: N115 below `least`, N110 above `most`."""
    digits = text.lstrip("-").lstrip("0")
    value = int(text) if len(digits) <= 9 else None
    negative = text.startswith("-") and digits
    if negative or (value is not None and value < least):
        return Message("N115", "error", f"{what} is {least:,} at least, not `{_short(text)}`.", span, cure=str(least))
    if value is None or value > most:
        return Message(
            "N110", "error", f"{what} is {most:,} at most, not `{_short(text)}`.", span, cure=f"{most} or less"
        )
    return None


def letter_message(text: str, start: int, at: Callable[[int, int], Span]) -> tuple[Message, int]:
    """The message for a character in a row that no cell can be, and how many characters it speaks of.

    `at` turns offsets in the row's text into a span.
    """
    character = text[start]
    if character in LOOK_ALIKES:
        latin = LOOK_ALIKES[character]
        return (
            Message(
                "N111",
                "error",
                f"`{character}` looks like {latin} but is a {_script(character)} letter.",
                at(start, start + 1),
                label=f"U+{ord(character):04X}",
                cure=f"{latin} (the Latin letter)",
            ),
            1,
        )
    near = max(0, start - 8)
    for match in _HAND_WORDS.finditer(text, near, start + 12):
        if match.start() <= start < match.end():
            word = match.group()
            return (
                Message(
                    "N102",
                    "error",
                    f"`{word}` is a hand-knitting word; a row here is made of K, T and S.",
                    at(match.start(), match.end()),
                    cure="K where the needle knits, T where it tucks, S where it slips",
                ),
                match.end() - start,
            )
    if character in "pP":
        purl = _PURL.match(text, start)
        assert purl is not None
        figures = "".join(c for c in purl.group() if c.isdigit())
        return (
            Message(
                "N102",
                "error",
                f"`{purl.group()}`: a single bed has no purl cell; every needle knits, tucks or slips.",
                at(start, purl.end()),
                label="the side facing you at the machine is purl already",
                cure=f"K{figures} (turn the fabric over to see it as purl)",
            ),
            purl.end() - start,
        )
    if character in "oO" and start and (text[start - 1].isdigit() or text[start - 1] in "KTSkts"):
        return (
            Message(
                "N102",
                "error",
                f"`{character}` is the letter O where a count has the figure 0.",
                at(start, start + 1),
                cure=f"{_run_before(text, start)}0",
            ),
            1,
        )
    if character in "xX×" and re.match(r"\s*[0-9]", text[start + 1 :]):
        times = re.match(r".\s*([0-9]+)", text[start : start + 40])
        assert times is not None
        return (
            Message(
                "N101",
                "error",
                "Only a group in brackets takes `x` and a count.",
                at(start, start + times.end()),
                cure=f"K{times[1]} for a run, (K T)x{times[1]} for a group",
            ),
            times.end(),
        )
    if character.isascii() and character.isdigit():
        count = re.match(r"([0-9]+)\s*([KTSkts]?)", text[start : start + 40])
        assert count is not None
        return (
            Message(
                "N101",
                "error",
                "A count stands after its letter.",
                at(start, start + len(count[1])),
                cure=f"{(count[2] or 'K').upper()}{count[1][:7]}",
            ),
            len(count[1]),
        )
    punctuation = {
        "*": ("A repeat is a group in brackets here, not between asterisks.", "(K3 T)x4"),
        ",": ("Cells follow each other without commas.", "K3 T"),
        ";": ("Cells follow each other without semicolons.", "K3 T"),
        "[": ("A group is in round brackets.", "(K3 T)x4"),
        "]": ("A group is in round brackets.", "(K3 T)x4"),
        "{": ("A group is in round brackets.", "(K3 T)x4"),
        "}": ("A group is in round brackets.", "(K3 T)x4"),
        ":": ("A row has one colon, after its numbers.", "write each row on a line of its own"),
        '"': ("A row has no quoted text.", "put it in a comment: # …"),
        ".": ("A plain needle is written K, not as a dot.", "K"),
        "-": ("A cell is K, T or S, not a dash.", "K"),
    }
    if character in punctuation:
        says, cure = punctuation[character]
        return Message("N101", "error", says, at(start, start + 1), cure=cure), 1
    if character.isalpha():
        unknown = re.match(r"[^\W\dKTSkts]{1,20}", text[start : start + 20])
        length = unknown.end() if unknown else 1
        return (
            Message(
                "N102",
                "error",
                f"`{text[start : start + length]}` is not a cell; a row is made of K, T and S.",
                at(start, start + length),
                cure="K (knit), T (tuck) or S (slip)",
            ),
            length,
        )
    name = unicodedata.name(character, "a character without a name").lower()
    return (
        Message(
            "N101",
            "error",
            f"`{visible(character)}` ({name}) has no meaning in a row.",
            at(start, start + 1),
            cure="K (knit), T (tuck) or S (slip)",
        ),
        1,
    )


def latin_of(word: str) -> str | None:
    """The word with look-alike letters of other scripts made Latin, or None if it has none."""
    table = {**_ALSO_ALIKE, **LOOK_ALIKES}
    turned = "".join(table.get(character, character) for character in word)
    return turned if turned != word else None


def _run_before(text: str, start: int) -> str:
    match = re.search(r"[KTSkts][0-9]*$", text[:start])
    return match.group() if match else "K1"


def _script(character: str) -> str:
    """The script of a letter, from its Unicode name: "Cyrillic", "Greek", …"""
    words = unicodedata.name(character, "foreign").split()
    return "full-width" if words[0] == "FULLWIDTH" else words[0].capitalize()


def _short(text: str) -> str:
    return text if len(text) <= 12 else text[:12] + "…"

"""The notation's words and limits, letters that only look like its own, and what to say of a wrong count or name."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from typing import Final

from stitchc.messages import Message, Span

MOST_COUNT: Final = 1_000_000
"""The largest count the notation allows."""

DEEPEST: Final = 64
"""How deep brackets nest at most."""

_KEYWORDS: Final = """
pattern note yarn colour tex weight include stitch over in then beside across up shifted left right mirrored reversed
with for plain by gauge stitches rows per mm cm piece width plus needles edge carriage do knit at exactly
"""
KEYWORDS: Final = frozenset(_KEYWORDS.split())
"""The notation's words, which can't be names."""

TEXT_WORDS: Final = frozenset({"pattern", "note", "include", "do", "by", "difficulty", "notion", "photo"})
"""Words that begin a line of which the rest is quoted text."""

NEW_WORDS: Final = frozenset({"sure", "out", "ball", "g", "m", "make", "sizes", "difficulty", "notion", "photo"})
"""Words that came later: files from before may have them as names, so they still can be."""

QUOTED: Final = r'"[^"\n]*"|“[^”"\n]*”|„[^“”"\n]*[“”]|«[^»"\n]*»'
"""Text in quotation marks, as grammar/stitch.lark has it."""

_NUMBERS: Final = """
zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen
eighteen nineteen
"""
_TENS: Final = "twenty thirty forty fifty sixty seventy eighty ninety"
FIGURES: Final = {
    **{
        f"{ten}{joint}{word}": str(20 + 10 * tens + ones)
        for tens, ten in enumerate(_TENS.split())
        for ones, word in enumerate(_NUMBERS.split()[:10])
        for joint in "- "
        if ones
    },
    **{word: str(n) for n, word in enumerate(_NUMBERS.split())},
    **{word: str(20 + 10 * n) for n, word in enumerate(_TENS.split())},
    "once": "1",
    "twice": "2",
    "thrice": "3",
    "a dozen": "12",
    "half a dozen": "6",
}
"""Numbers in words, and their figures."""

PLAIN_WORDS: Final = (
    r"(?:stocking|stockinet(?:te)?|jersey)(?:[\s-]*(?:stitch|st\.?))?|st[\s-]?st|plain[\s-]+(?:knit(?:ting)?|stitch)"
)
"""What other crafts call `plain`."""

LOOK_ALIKES: Final = {
    # Cyrillic, Greek, Cherokee, Lisu and full-width letters that print like K, T and S.
    **dict.fromkeys("КкΚκКᏦꓗＫｋ𐊋K", "K"),
    **dict.fromkeys("ТтΤτᎢꓔＴｔ𐊗", "T"),
    **dict.fromkeys("ЅѕᏚꓢＳｓՏ𐊖", "S"),
}

_ALSO_ALIKE: Final = dict(
    zip("аеорсухіјԁһԛѡѵАВЕМНОРСУХІЈΑΒΕΖΗΙΜΝΟΡΥΧονρυіѕкт", "aeopcyxijdhqwvABEMHOPCYXIJABEZHIMNOPYXovpuiskt", strict=True)
)


def unquoted(text: str) -> str:
    """The text between quotation marks; those that point outward stand apart from it in some languages."""
    return text[1:-1].strip(" \u00a0\u202f") if text[0] == "«" else text[1:-1]


def nearest(name: str, among: Iterable[str]) -> str | None:
    """The name most like this one, capitals or not, or None if nothing comes near."""
    return next(iter(nearest_names(name, among, 1)), None)


def nearest_names(name: str, among: Iterable[str], most: int) -> list[str]:
    """The names most like this one, capitals or not, the nearest first; as few as come near."""
    if len(name) > 60:
        return []
    import difflib

    folded = {other.casefold(): other for other in itertools.islice(among, 5000)}
    return [folded[near] for near in difflib.get_close_matches(name.casefold(), folded, n=most, cutoff=0.7)]


def count_message(
    text: str, span: Span, least: int = 1, most: int = MOST_COUNT, subject: str = "A count"
) -> Message | None:
    """What is wrong with a whole number as written, or None: N115 below `least`, N110 above `most`."""
    digits = text.lstrip("-").lstrip("0")
    value = int(text) if len(digits) <= 9 else None
    negative = text.startswith("-") and digits
    if negative or (value is not None and value < least):
        return Message(
            "N115", "error", f"{subject} is at least {least:,}, not `{short_number(text)}`.", span, advice=str(least)
        )
    if value is None or value > most:
        return Message(
            "N110",
            "error",
            f"{subject} is at most {most:,}, not `{short_number(text)}`.",
            span,
            advice=f"{most} or less",
        )
    return None


def latin_of(word: str) -> str | None:
    """The word with look-alike letters of other scripts made Latin, or None if it has none."""
    table = {**_ALSO_ALIKE, **LOOK_ALIKES}
    turned = "".join(table.get(character, character) for character in word)
    return turned if turned != word else None


def short_number(text: str) -> str:
    """A number as it is quoted: of a very long one the beginning."""
    return text if len(text) <= 12 else text[:12] + "…"

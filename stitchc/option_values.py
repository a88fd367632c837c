"""Values out of the texts that people write: "2x3", "3,7=T", "#c03030=S". Each raises ValueError with a sentence.

Pure text, so that the options of every product can share it.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator, Sequence
from typing import Final, Literal, NamedTuple

MM_PER: Final = {"mm": 1.0, "cm": 10.0, "in": 25.4}
"""The units of length; the inch is the international one, exactly."""

_CODES = {"K": 0, "KNIT": 0, "T": 1, "TUCK": 1, "S": 2, "SLIP": 2}


def pair(text: str, wanted: str) -> tuple[int, int]:
    """Two whole numbers from 1 out of "2x3". wanted: what they are, with an example, for the error."""
    match = re.fullmatch(r"\s*([0-9]{1,7})\s*[x×]\s*([0-9]{1,7})\s*", text)
    if not match or int(match[1]) < 1 or int(match[2]) < 1:
        raise ValueError(f"`{text}` is not {wanted}")
    return int(match[1]), int(match[2])


def repeats(text: str) -> tuple[int, int]:
    """From "2x3": across and up."""
    return pair(text, "a number of repeats across and up, such as 2x3")


def size(text: str) -> tuple[int, int]:
    """From "24x36": columns and rows."""
    return pair(text, "a number of columns and rows, such as 24x36")


def repeat_wanted(text: str) -> tuple[int, int] | Literal["smallest", "whole"]:
    """From "smallest", "whole" or "24x36"."""
    word = text.strip().lower()
    if word == "smallest":
        return "smallest"
    return "whole" if word == "whole" else size(text)


def date(text: str) -> str:
    """From "2026-05-01": the same, if there is such a day."""
    import datetime

    try:
        return datetime.date.fromisoformat(text.strip()).isoformat()
    except ValueError:
        raise ValueError(f"`{text}` is not a date: write year, month and day as in 2026-05-01") from None


def box(text: str) -> tuple[int, int, int, int]:
    """From "40,40,640,880": left, top, right and bottom in pixels."""
    numbers = [part.strip() for part in text.split(",")]
    if len(numbers) != 4 or not all(re.fullmatch(r"[0-9]{1,7}", number) for number in numbers):
        raise ValueError(f"`{text}` is not left, top, right and bottom in pixels, such as 40,40,640,880")
    left, top, right, bottom = map(int, numbers)
    return left, top, right, bottom


def colour_meaning(text: str) -> tuple[tuple[int, int, int], int]:
    """From "#c03030=S" or "#c33=slip": red, green, blue and the letter's code."""
    colour, _, letter = text.partition("=")
    match = re.fullmatch(r"\s*#?([0-9A-Fa-f]{3}|[0-9A-Fa-f]{6})\s*", colour)
    if not match:
        raise ValueError(f'`{text}` is not a colour and a letter, such as "#c03030=S"')
    digits = match[1] if len(match[1]) == 6 else "".join(2 * digit for digit in match[1])
    red, green, blue = (int(digits[start : start + 2], 16) for start in (0, 2, 4))
    return (red, green, blue), _code(letter, text)


def cell_meaning(text: str) -> tuple[tuple[int, int], int]:
    """From "3,7=T": row, column and the letter's code."""
    match = re.fullmatch(r"\s*([0-9]{1,7})\s*,\s*([0-9]{1,7})\s*=(.*)", text)
    if not match:
        raise ValueError(f"`{text}` is not a row, a column and a letter, such as 3,7=T")
    return (int(match[1]), int(match[2])), _code(match[3], text)


def _code(letter: str, text: str) -> int:
    code = _CODES.get(letter.strip().upper())
    if code is None:
        raise ValueError(f"`{text}` does not end in =K, =T or =S")
    return code


# -- sizes that can be read in two ways ------------------------------------------------------------------------------

MOST_IN_DOUBT: Final = 24
"""Numbers of a list in which decimals are looked for."""

_MOST_DIGITS: Final = 6
"""Of a number: more are no width, in mm either."""

_QUARTERS: Final = ("25", "75")
_FRACTION = re.compile(r"(?<![0-9/])(?:([0-9]{1,6}) +)?([0-9]{1,2})/(2|3|4|8|16)(?![0-9/])")


class Doubt(NamedTuple):
    """A list of sizes that may have decimals: "17,5" and "17 1/2". decimals: that reading, "17.5"; apart: the numbers
    as sizes of their own, "17, 5", or None where one would be given twice or be 0."""

    decimals: str
    apart: str | None


def doubt_about(sizes: str) -> Doubt | None:
    """How else a list of sizes may be meant, where a comma (or a slash) stands between two digits; None where it can
    only separate them. sizes: numbers and what is between them, without a unit.

    "48,52,56" rises as sizes do. In doubt are "17,5" and "46,5, 50": by what stands after the comma, or since sizes
    neither fall nor more than double.
    """
    decimals = _with_fractions(sizes) or _with_decimal_commas(sizes)
    if decimals is None:
        return None
    apart = _numbers(sizes)
    can_be = len({float(number) for number in apart} - {0.0}) == len(apart)
    return Doubt(", ".join(decimals), ", ".join(apart) if can_be else None)


def _numbers(sizes: str) -> list[str]:
    return [part for part in re.split(r"[,;/\s]+", sizes) if part]


def _with_fractions(sizes: str) -> list[str] | None:
    def decimal(match: re.Match[str]) -> str:
        over, under = int(match[2]), int(match[3])
        is_fraction = over < under and math.gcd(over, under) == 1
        return f"{int(match[1] or 0) + over / under:.4g}" if is_fraction else match[0]

    read = _FRACTION.sub(decimal, sizes)
    return _numbers(read) if read != sizes else None


def _with_decimal_commas(sizes: str) -> list[str] | None:
    words = [word.split(",") for word in re.split(r"[;/\s]+|,(?![0-9])|(?<![0-9]),", sizes) if word]
    apart = [number for word in words for number in word]
    is_short = len(apart) <= MOST_IN_DOUBT and max(map(len, apart), default=0) <= _MOST_DIGITS
    if "." in sizes or len(apart) == len(words) or not is_short:
        return None
    likely = all(0 < a < b <= 2 * a for a, b in itertools.pairwise(map(int, apart)))  # as sizes of their own
    if max(map(len, words)) == 2:
        if likely and not any(_is_fraction(word[1]) for word in words if len(word) == 2):
            return None
        return [".".join(word) for word in words]
    return None if likely else next(_rising(words), None)


def _is_fraction(digits: str) -> bool:
    """Whether widths are measured to that: one decimal, or quarters of an inch."""
    return len(digits) == 1 or digits in _QUARTERS


def _rising(words: Sequence[Sequence[str]], least: float = 0.0) -> Iterator[list[str]]:
    """The readings of numbers between commas, with decimals or without, in which each is larger than the one before:
    those with most decimals first."""
    if not words:
        yield []
        return
    word, *others = words
    for count in (2, 1) if len(word) > 1 and _is_fraction(word[1]) else (1,):
        number, rest = ".".join(word[:count]), word[count:]
        if float(number) > least:
            yield from ([number, *more] for more in _rising([rest, *others] if rest else others, float(number)))

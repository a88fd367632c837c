"""Values out of the texts that people write: "2x3", "3,7=T", "#c03030=S". Each raises ValueError with a sentence.

Pure text, so that the options of every product can share it.
"""

from __future__ import annotations

import re
from typing import Final, Literal

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

"""Counts, ordinals and lists in English. Knows words and figures, and nothing of what they are about."""

from __future__ import annotations

from collections.abc import Sequence


def number(count: int, word: str) -> str:
    """ "1 row", "1,200 rows"."""
    return f"{count:,} {word}{'' if count == 1 else 's'}"


def ordinal(number: int) -> str:
    """1st, 2nd, 3rd, 4th, 11th, 22nd."""
    ending = "th" if 10 <= number % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def listed(words: Sequence[str], last: str = "and") -> str:
    """ "text", "text and JSON", "text, HTML and JSON"; last: the word before the last of them."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"

"""Counts, ordinals and lists in English. Knows words and figures, and nothing of what they are about."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from typing import Final

M_PER_YARD: Final = 0.9144
_MOST_RUNS: Final = 6


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


def several(values: Sequence[object]) -> str:
    """What differs between sizes, those after the first in brackets: "108 [116, 124]"; "108" where they are alike."""
    first, *others = (f"{value:,}" if isinstance(value, int) else str(value) for value in values)
    return first if all(other == first for other in others) else f"{first} [{', '.join(others)}]"


def metres(sizes: Sequence[float], in_yards: bool) -> str:
    """ "290 [310] m", with the yards behind it if they are asked for, rounded up: "290 m (318 yd)"."""
    words = f"{several([f'{each:,.0f}' for each in sizes])} m"
    yards = [f"{math.ceil(each / M_PER_YARD):,}" for each in sizes]
    return f"{words} ({several(yards)} yd)" if in_yards else words


def count_of(counts: Sequence[int], word: str) -> str:
    """ "40 needles", "1 needle"; of several sizes "40 [44] needles"."""
    return f"{several(counts)} {word}{'' if set(counts) == {1} else 's'}"


def ranges(numbers: Sequence[int]) -> str:
    """ "1, 2, 5-8" for ascending numbers; two neighbours are named one by one."""
    return ", ".join(word for first, last in runs_of(numbers) for word in _run(first, last))


def numbered(word: str, numbers: Sequence[int]) -> str:
    """ "row 2", "rows 2, 4 and 6-9", "rows 2, 3, 5, 6, 8, 9 and 11 more" for ascending numbers."""
    if len(numbers) == 1:
        return f"{word} {numbers[0]}"
    runs = list(itertools.islice(runs_of(numbers), _MOST_RUNS))
    left = len(numbers) - sum(last - first + 1 for first, last in runs)
    words = [part for run in runs for part in _run(*run)]
    return f"{word}s {', '.join(words)} and {left} more" if left else f"{word}s {listed(words)}"


def runs_of(numbers: Sequence[int]) -> Iterator[tuple[int, int]]:
    """First and last of each stretch of neighbours."""
    first = last = numbers[0] if numbers else 0
    for each in numbers[1:]:
        if each != last + 1:
            yield first, last
            first = each
        last = each
    if numbers:
        yield first, last


def _run(first: int, last: int) -> list[str]:
    return [f"{first}-{last}"] if last > first + 1 else [str(each) for each in range(first, last + 1)]

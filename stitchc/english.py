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


def several(values: Sequence[object]) -> str:
    """What differs between sizes, those after the first in brackets: "108 [116, 124]"; "108" where they are alike."""
    first, *others = (f"{value:,}" if isinstance(value, int) else str(value) for value in values)
    return first if all(other == first for other in others) else f"{first} [{', '.join(others)}]"


def count_of(counts: Sequence[int], word: str) -> str:
    """ "40 needles", "1 needle"; of several sizes "40 [44] needles"."""
    return f"{several(counts)} {word}{'' if set(counts) == {1} else 's'}"


def ranges(numbers: Sequence[int]) -> str:
    """ "1, 2, 5-8" for ascending numbers; two neighbours are named one by one."""
    runs: list[list[int]] = []
    for one in numbers:
        if runs and one == runs[-1][-1] + 1:
            runs[-1].append(one)
        else:
            runs.append([one])
    return ", ".join(f"{run[0]}-{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)

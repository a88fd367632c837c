"""Rows that are given as even or odd, in steps, or as all of them, with their numbers instead."""

from __future__ import annotations

import itertools
import re
from typing import Final

from stitchc.notation.fixes.surroundings import Surroundings

_MOST: Final = 400
_ROWS: Final = r"(?:(?:rows?|rounds?|rnds?)\b)?\s*"
_STEPS: Final = re.compile(rf"\s*{_ROWS}((?:\d+\s*,\s*)*\d+)\s*,?\s*(?:\.{{2,}}|…)\s*,?\s*(\d+)(?=\D)", re.IGNORECASE)
_RANGE: Final = re.compile(
    rf"\s*(?:(even|odd)\s+)?{_ROWS}(\d+)\s*(?:-|–|to\b)\s*(\d+)\s*(?:[(]?\s*(even|odd)\b[)]?)?", re.IGNORECASE
)
_ALL: Final = re.compile(
    r"""\s*(?:(?:all|every|each)\s+)?(even|2nd|second|odd|all|every|each)
    (?:\s+rows?|\s+rounds?)?\s*(?:[:.-]|(?<=rows)|(?<=row))\s+(?!\d)""",
    re.VERBOSE | re.IGNORECASE,
)


def with_numbers(text: str, around: Surroundings) -> str | None:
    """The row line with the numbers of its rows; None where it cannot be said which they are."""
    if (steps := _STEPS.match(text)) and "," in steps[1]:
        numbers = _stepped([int(n) for n in re.findall(r"\d+", steps[1])], int(steps[2]))
        return f"{numbers} {text[steps.end() :]}" if numbers else None
    if (span := _RANGE.match(text)) and (parity := span[1] or span[4]):
        rest = range(int(span[2]), min(int(span[3]), _MOST) + 1)
        numbers = _listed([n for n in rest if n % 2 == (parity.lower() == "odd")])
        return f"{numbers} {text[span.end() :]}"
    if group := _ALL.match(text):
        numbers = _grouped(group[1].lower(), around)
        return f"{numbers}: {text[group.end() :]}" if numbers else None
    return text


def _stepped(given: list[int], last: int) -> str | None:
    """`1, 3, … 9`: the rows up to the last, where they go there in equal steps."""
    step = given[1] - given[0]
    if step < 1 or any(b - a != step for a, b in itertools.pairwise(given)) or last > _MOST:
        return None
    numbers = list(range(given[0], last + 1, step))
    return _listed(numbers) if numbers[-1] == last else None


def _grouped(kind: str, around: Surroundings) -> str | None:
    """The even or odd rows, or all that are not given, as far as the rows beside them reach."""
    given = around.above | around.below
    if kind in ("all", "every", "each"):
        return None if given else "1"
    if not given:
        return None
    top = max(given)
    odd = kind == "odd"
    rest = [n for n in range(1, top + (1 if odd else 2)) if n % 2 == odd]
    return None if any(n in given for n in rest) else _listed(rest)


def _listed(numbers: list[int]) -> str | None:
    return ", ".join(map(str, numbers)) or None

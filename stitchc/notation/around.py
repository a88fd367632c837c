"""What stands around a line that could not be read: names that are defined, the block it is in, its stitch's rows.

Read from the lines' text alone, since nothing is resolved yet; only for wording cures.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cached_property
from typing import Final

_FAR: Final = 1000
"""Lines looked at on each side; a mistake further off than that is helped less well."""
_MOST_ROWS: Final = 400
"""The highest row up to which single rows are reckoned with."""

_BEGINS: Final = re.compile(r"\s*(stitch|piece|pattern|note|yarn|include|gauge)\b", re.IGNORECASE)
_NAMED: Final = re.compile(r"\s*(stitch|yarn)\s+([^\W\d_][\w-]*)", re.IGNORECASE)
_ROW_HEAD: Final = re.compile(
    r"\s*(?:(?:rows?|rounds?|rnds?|r)\b\.?\s*|r(?=[0-9]))?((?:[0-9]{1,6}\s*[-–,]?\s*)+)"
    r"(?:[^:\"#]{0,40}:|[.)](?=\s)|(?<=\s)(?=[KTS(*]))",
    re.IGNORECASE,
)
"""Also of rows that are written in some other way, and cannot be read."""
_RANGE: Final = re.compile(r"([0-9]+)(?:\s*[-–]\s*([0-9]+))?")
CELLS_ALONE: Final = re.compile(r"\s*(?:[-•·>]\s+)?(?=[KTSkts(\[*])[KTSkts0-9\s()\[\]xX×,;*]+(?:#.*)?")


class Around:
    """The lines around line `number` (counted from 1) of a file."""

    def __init__(self, lines: Sequence[str], number: int) -> None:
        self._above = [line[:400] for line in lines[max(0, number - 1 - _FAR) : max(0, number - 1)]]
        self._below = [line[:400] for line in lines[number : number + _FAR]]

    @cached_property
    def _names(self) -> dict[str, list[str]]:
        names: dict[str, list[str]] = {"stitch": [], "yarn": []}
        for line in (*self._above, *self._below):
            if found := _NAMED.match(line):
                names[found[1].lower()].append(found[2])
        return names

    @property
    def stitches(self) -> list[str]:
        return self._names["stitch"]

    @property
    def yarns(self) -> list[str]:
        return self._names["yarn"]

    @cached_property
    def block(self) -> str:
        """`stitch`, `piece` or the like: what the last line above that begins something begins; "" if none does."""
        for line in reversed(self._above):
            if begins := _BEGINS.match(line):
                return begins[1].lower()
        return ""

    @cached_property
    def rows_follow(self) -> bool:
        """Whether the next line that is not blank is a row."""
        following = next((line for line in self._below if line.split("#")[0].strip()), "")
        return _ROW_HEAD.match(following) is not None

    def letters_of(self, name: str) -> set[str]:
        """The cells that a stitch written row by row has."""
        letters: set[str] = set()
        inside = False
        for line in (*self._above, *self._below):
            if _BEGINS.match(line):
                named = _NAMED.match(line)
                inside = named is not None and named[1].lower() == "stitch" and named[2] == name
            elif inside and (head := _ROW_HEAD.match(line)):
                letters |= set(re.findall("[KTS]", line[head.end() :].split("#")[0].upper()))
        return letters

    @cached_property
    def _rows_above(self) -> list[str]:
        rows: list[str] = []
        for line in reversed(self._above):
            if _BEGINS.match(line):
                break
            rows.append(line)
        return rows[::-1]

    @cached_property
    def next_row(self) -> int:
        """The number that a row without one would have here."""
        reached = 0
        for line in self._rows_above:
            if numbers := _numbers(line):
                reached = max(reached, *(last for _, last in numbers))
            elif CELLS_ALONE.fullmatch(line):
                reached += 1
        return reached + 1

    @cached_property
    def given(self) -> list[int]:
        """The numbers of this stitch's other rows, in order; none if there are very many."""
        given: set[int] = set()
        for line in self._rows_above:
            given |= _single(line)
        for line in self._below:
            if _BEGINS.match(line):
                break
            given |= _single(line)
        return sorted(given)


def _numbers(line: str) -> list[tuple[int, int]]:
    head = _ROW_HEAD.match(line)
    return [(int(part[1]), int(part[2] or part[1])) for part in _RANGE.finditer(head[1])] if head else []


def _single(line: str) -> set[int]:
    return {n for first, last in _numbers(line) if last <= _MOST_ROWS for n in range(first, last + 1)}

"""What stands around a wrong line: the names there are, the block it is in and the rows given beside it."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from functools import lru_cache
from typing import Final, NamedTuple

_FAR: Final = 1000
"""Lines looked at on each side."""
_MOST_ROWS: Final = 400
_BEGINS: Final = re.compile(r"\s*(stitch|piece|pattern|note|yarn|include|gauge)\b", re.IGNORECASE)
_ROW: Final = re.compile(r"\s*(?:rows?\b\.?\s*)?((?:[0-9]{1,4}\s*[-–,]?\s*)+)[^:\"#0-9]{0,40}:", re.IGNORECASE)
_RANGE: Final = re.compile(r"([0-9]+)(?:\s*[-–]\s*([0-9]+))?")
_CELLS_ALONE: Final = re.compile(r"\s*(?:[-•*>]\s+)?[KTSkts(][KTSkts0-9\s()xX×,]*")


class Surroundings(NamedTuple):
    """block: `stitch` or `piece`, or "" at the head. above, below: row numbers of the same stitch before and after.

    unnumbered: lines of cells without a number directly above. rows_follow: the next line is a row.
    """

    stitches: Collection[str]
    yarns: Collection[str]
    block: str
    above: frozenset[int]
    below: frozenset[int]
    unnumbered: int
    rows_follow: bool
    text: str

    @property
    def following(self) -> int | None:
        """The number after that of the last row above, or None where another row has it."""
        number = max(self.above, default=0) + self.unnumbered + 1
        return None if number in self.below else number

    @property
    def next_row(self) -> int | None:
        """The number of a row written without one, where it cannot go on with the row above."""
        number = self.following
        return number if number and (not self.above or number + 1 in self.below) else None

    def names(self, word: str) -> bool:
        """Whether a stitch or yarn is called so."""
        return word in self.stitches or word in self.yarns


def times(word: str, text: str) -> int:
    return len(re.findall(rf"(?<![\w-]){re.escape(word)}(?![\w-])", text))


@lru_cache(10_000)
def letters_wrong(word: str, other: str) -> int:
    """How many letters are wrong, where scanning may have read `m` for `rn`; 9 for words quite different."""
    return min(_edits(word, other), _edits(word.replace("rn", "m"), other.replace("rn", "m")))


def _edits(word: str, other: str) -> int:
    """How many letters are wrong, missing, too many or exchanged with their neighbour; 9 for words quite different."""
    if abs(len(word) - len(other)) > 2:
        return 9
    before: list[int] = []
    last = list(range(len(other) + 1))
    for i, a in enumerate(word, start=1):
        now = [i]
        for j, b in enumerate(other, start=1):
            cost = min(now[-1] + 1, last[j] + 1, last[j - 1] + (a != b))
            if i > 1 and j > 1 and a == other[j - 2] and b == word[i - 2]:
                cost = min(cost, before[j - 2] + 1)
            now.append(cost)
        before, last = last, now
    return last[-1]


def surroundings(lines: Sequence[str], number: int, stitches: Collection[str], yarns: Collection[str]) -> Surroundings:
    """Around line `number`, counted from 1."""
    above: set[int] = set()
    below: set[int] = set()
    unnumbered, block = 0, ""
    for line in reversed(lines[max(0, number - 1 - _FAR) : number - 1]):
        if begins := _BEGINS.match(line):
            block = begins[1].lower()
            break
        if numbers := _row_numbers(line):
            above |= numbers
        elif not above and _CELLS_ALONE.fullmatch(line.split("#")[0]) and line.strip():
            unnumbered += 1
    following = [line for line in lines[number : number + _FAR] if line.split("#")[0].strip()]
    for line in following:
        if _BEGINS.match(line):
            break
        below |= _row_numbers(line)
    follow = bool(following) and _ROW.match(following[0]) is not None
    text = "\n".join(line for index, line in enumerate(lines[: 2 * _FAR], start=1) if index != number)
    return Surroundings(stitches, yarns, block, frozenset(above), frozenset(below), unnumbered, follow, text)


def _row_numbers(line: str) -> set[int]:
    head = _ROW.match(line)
    if head is None:
        return set()
    ranges = [(int(part[1]), int(part[2] or part[1])) for part in _RANGE.finditer(head[1])]
    return {n for first, last in ranges if last <= _MOST_ROWS for n in range(first, last + 1)}

"""What stands around a wrong line: the names there are, the block it is in and the rows given beside it."""

from __future__ import annotations

import itertools
import re
from collections.abc import Collection, Sequence
from functools import lru_cache
from typing import Final, NamedTuple

_FAR: Final = 1000
"""Lines looked at on each side."""
_BEGINS: Final = re.compile(r"\s*(stitch|piece|pattern|note|yarn|include|gauge)\b", re.IGNORECASE)
_ROW: Final = re.compile(r"\s*(?:rows?\b\.?\s*)?[0-9][0-9\s,–-]*[^:\"#0-9]{0,40}:", re.IGNORECASE)
_FIRST_ROW: Final = re.compile(r"\s*(?:rows?\b\.?\s*)?1\b", re.IGNORECASE)


class Surroundings(NamedTuple):
    """block: `stitch` or `piece`, or "" at the head. first_row: no line of the stitch stands above, and no row 1 below.

    rows_follow: the next line is a row. text: the other lines.
    """

    stitches: Collection[str]
    yarns: Collection[str]
    block: str
    first_row: bool
    rows_follow: bool
    text: str

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
    cost = {(i, j): i + j for i in range(len(word) + 1) for j in range(len(other) + 1) if not (i and j)}
    for i, j in itertools.product(range(1, len(word) + 1), range(1, len(other) + 1)):
        cost[i, j] = min(cost[i - 1, j] + 1, cost[i, j - 1] + 1, cost[i - 1, j - 1] + (word[i - 1] != other[j - 1]))
        if i > 1 and j > 1 and word[i - 2 : i] == other[j - 1] + other[j - 2]:
            cost[i, j] = min(cost[i, j], cost[i - 2, j - 2] + 1)
    return cost[len(word), len(other)]


def surroundings(lines: Sequence[str], number: int, stitches: Collection[str], yarns: Collection[str]) -> Surroundings:
    """Around line `number`, counted from 1."""
    above, below = lines[max(0, number - 1 - _FAR) : number - 1], lines[number : number + _FAR]
    block, first_row = "", True
    for line in reversed(above):
        if begins := _BEGINS.match(line):
            block = begins[1].lower()
            break
        first_row = first_row and not line.split("#")[0].strip()
    following = [line for line in below if line.split("#")[0].strip()]
    for line in itertools.takewhile(lambda line: not _BEGINS.match(line), following):
        first_row = first_row and not (_ROW.match(line) and _FIRST_ROW.match(line))
    follow = bool(following) and _ROW.match(following[0]) is not None
    text = "\n".join(line for index, line in enumerate(lines[: 2 * _FAR], start=1) if index != number)
    return Surroundings(stitches, yarns, block, first_row, follow, text)

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
_FIRST_ROW: Final = re.compile(r"\s*(?:rows?\b\.?\s*)?1\b[0-9\s,–-]*[^:\"#0-9]{0,40}:", re.IGNORECASE)


class Surroundings(NamedTuple):
    """block: `stitch` or `piece`, or "" at the head. first_row: no row of the stitch is above, no row 1 below."""

    stitches: Collection[str]
    yarns: Collection[str]
    block: str
    first_row: bool

    def names(self, word: str) -> bool:
        """Whether a stitch or yarn is called so."""
        return word in self.stitches or word in self.yarns


@lru_cache(10_000)
def letters_wrong(word: str, other: str) -> int:
    """How many letters are wrong, where scanning may have read `m` for `rn`."""
    return min(_apart(word, other), _apart(word.replace("rn", "m"), other.replace("rn", "m")))


def _apart(word: str, other: str) -> int:
    """How many letters lie between what two words have alike at both ends; two that changed places are one."""
    for _ in "begin", "end":
        alike = sum(1 for _ in itertools.takewhile(lambda pair: pair[0] == pair[1], zip(word, other, strict=False)))
        word, other = word[alike:][::-1], other[alike:][::-1]
    return max(len(word), len(other)) - (len(word) == 2 and word == other[::-1])


def opens_a_block(line: str) -> bool:
    """Whether the lines below one belong to it: to its stitch or piece."""
    begins = _BEGINS.match(line)
    return begins is not None and begins[1].lower() in ("stitch", "piece")


def lines_below(lines: Sequence[str], number: int) -> range:
    """The lines, counted from 1, that belong to line `number` if it opens a block: up to where another begins."""
    own = sum(1 for _ in itertools.takewhile(lambda line: not _BEGINS.match(line), lines[number : number + _FAR]))
    return range(number + 1, number + own + 1)


def surroundings(lines: Sequence[str], number: int, stitches: Collection[str], yarns: Collection[str]) -> Surroundings:
    """Around line `number`, counted from 1."""
    above, below = lines[max(0, number - 1 - _FAR) : number - 1], lines[number : number + _FAR]
    block, first_row = "", True
    for line in reversed(above):
        if begins := _BEGINS.match(line):
            block = begins[1].lower()
            break
        first_row = first_row and not line.split("#")[0].strip()
    same_stitch = itertools.takewhile(lambda line: not _BEGINS.match(line), below)
    return Surroundings(stitches, yarns, block, first_row and not any(map(_FIRST_ROW.match, same_stitch)))

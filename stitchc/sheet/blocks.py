"""Stretches of passes that are the same over and over, for paper: their rows printed once, with a box for each row.

Unlike `folding`, which refers a text's reader back to any earlier row, a block holds all that it needs: nobody turns
pages at the machine.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Final

LONGEST_PERIOD: Final = 128
"""Rows of a repeat beyond which it is printed in full: it fills pages of its own."""

LEAST_SPARED: Final = 2
"""Rows spared from which a block is worth its heading."""


@dataclass(frozen=True)
class Once:
    """An entry printed by itself, by its index."""

    index: int


@dataclass(frozen=True)
class Block:
    """Entries from `first` up to `last`, counted from 0: the first `period` of them over and over, the last time
    perhaps not to the end."""

    first: int
    last: int
    period: int

    @property
    def times(self) -> int:
        """How often the whole period is there."""
        return (self.last - self.first + 1) // self.period

    @property
    def rest(self) -> int:
        """Entries after the last whole period."""
        return (self.last - self.first + 1) % self.period

    def same(self, place: int) -> range:
        """The indexes of all entries that are as the one at `place` of the period."""
        return range(self.first + place, self.last + 1, self.period)


def blocks(signs: Sequence[Hashable]) -> list[Once | Block]:
    """The list in order, every entry in one item: at each place the stretch of whole periods that spares the most.

    signs: what makes two entries the same; None is never the same as anything.
    """
    number: dict[Hashable, int] = {}
    codes = [-1 - at if sign is None else number.setdefault(sign, len(number)) for at, sign in enumerate(signs)]
    out: list[Once | Block] = []
    index, count = 0, len(codes)
    while index < count:
        best: Block | None = None
        spared = LEAST_SPARED - 1
        for period in range(1, min(LONGEST_PERIOD, (count - index) // 2) + 1):
            if codes[index] != codes[index + period]:
                continue
            if codes[index : index + period] != codes[index + period : index + 2 * period]:
                continue
            end = index + 2 * period
            while end < count and codes[end] == codes[end - period]:
                end += 1
            if end - index - period > spared:
                best, spared = Block(index, end - 1, period), end - index - period
                if end == count:
                    break
        out.append(best or Once(index))
        index = best.last + 1 if best else index + 1
    return out

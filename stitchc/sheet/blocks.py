"""Stretches of passes that are the same over and over: their rows told once, under a line that says how often.

A block holds all that it needs and refers to nothing before it: at the machine nobody turns pages or searches a text.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Final

from stitchc.sheet.model import Entry, PassEntry

LONGEST_PERIOD: Final = 128
"""Rows of a repeat beyond which it is told in full: it fills pages of its own."""

LEAST_SPARED: Final = 2
"""Rows spared from which a block is worth its heading."""


@dataclass(frozen=True)
class Once:
    """An entry told by itself, by its index."""

    index: int


@dataclass(frozen=True)
class Line:
    """One line of a block: an entry, or several passes one after another with nothing to do.

    index: of the entry whose words the line has. times: the indexes it stands for, those of one time through together.
    """

    index: int
    times: tuple[tuple[int, ...], ...]

    @property
    def several(self) -> bool:
        """Whether it stands for more than one pass each time."""
        return len(self.times[0]) > 1


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

    def lines(self, joins: Callable[[int], bool]) -> list[Line]:
        """What is told of it. joins: whether the entry at an index goes into one line with the entry before it."""
        lines: list[Line] = []
        for place in range(self.period):
            times = tuple((index,) for index in self.same(place))
            if lines and joins(self.first + place):
                before = lines[-1]
                joined = zip_longest(before.times, times, fillvalue=())
                lines[-1] = Line(before.index, tuple((*one, *two) for one, two in joined))
            else:
                lines.append(Line(self.first + place, times))
        return lines

    def words(self, first_row: int, last_row: int) -> str:
        """ "Rows 5 to 18: these 4 rows 3 times, then the first 2 of them once more"."""
        times = "twice" if self.times == 2 else f"{self.times:,} times"
        words = f"Rows {first_row} to {last_row}: these {self.period} rows {times}"
        if self.rest == 1:
            words += ", then the first of them once more"
        elif self.rest:
            words += f", then the first {self.rest} of them once more"
        return words


def blocks(signs: Sequence[Hashable]) -> list[Once | Block]:
    """The list in order, every entry in one item: at each place the stretch of whole periods that spares the most.

    signs: what makes two entries the same; None is never the same as anything.
    """
    code_of: dict[Hashable, int] = {}
    codes = [-1 - at if sign is None else code_of.setdefault(sign, len(code_of)) for at, sign in enumerate(signs)]
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


def in_blocks(entries: Sequence[Entry]) -> list[Once | Block]:
    """The entries of a sheet in blocks; what is done by hand and the heads of parts are never in one."""
    return blocks([_sign(entry) if isinstance(entry, PassEntry) else None for entry in entries])


def _sign(entry: PassEntry) -> Hashable:
    """What makes two passes the same to do, however their needles are put into words."""
    passed = entry.passed
    worded = tuple(step.text for step in entry.steps if step.kind not in ("yarn", "push", "bring"))
    kinds = tuple(step.kind for step in entry.steps)
    return (passed.direction, kinds, passed.yarn, passed.push_back, passed.bring_out, passed.held, worded)


def goes_on_idle(entries: Sequence[Entry], index: int) -> bool:
    """Whether nothing is to do at this pass and the one before it, in the same words, so that one line serves both."""
    entry, before = entries[index], entries[index - 1] if index else None
    return (
        isinstance(entry, PassEntry)
        and isinstance(before, PassEntry)
        and entry.steps == before.steps
        and all(step.kind == "rest" for step in entry.steps)
    )


def row_numbers(rows: Sequence[Sequence[int]]) -> str:
    """The rows of a line: "Row 5", "Rows 6 to 7", "Rows 5, 9 and 13", "Rows 5, 9, 13 and so on, last 245".

    rows: those of one time through together.
    """
    told = [str(once[0]) if len(once) == 1 else f"{once[0]} to {once[-1]}" for once in rows]
    word = "Row" if len(told) == len(rows[0]) == 1 else "Rows"
    if len(told) > MOST_LISTED:
        return f"{word} {', '.join(told[:3])} and so on, last {told[-1]}"
    return f"{word} {', '.join(told[:-1])}{' and ' if told[1:] else ''}{told[-1]}"


MOST_LISTED: Final = 6
"""Times through up to which all rows of a line are listed."""

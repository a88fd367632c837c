"""Rows told once where they come over and over: a line for each row of the repeat, under a line that says how often.

A block holds all that it needs and refers to nothing before it: at the machine nobody turns pages or searches a text.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Final

from stitchc.document.document import Entry, PassRow, Step
from stitchc.english import number

LONGEST_PERIOD: Final = 128
"""Lines of a repeat beyond which it is written in full: it fills pages of its own."""

LEAST_SPARED: Final = 2
"""Lines spared from which a block is worth its heading."""

MOST_LISTED: Final = 6
"""Times through up to which all rows of a line are listed."""


@dataclass(frozen=True)
class Line:
    """One line: the words of the entry at `times[0].start`, which serve for all entries named.

    times: their indexes, those of one time through together; more than one at a time where nothing is to be done
    between them.
    """

    times: tuple[range, ...]

    @property
    def index(self) -> int:
        """Of the entry whose words the line has."""
        return self.times[0].start


@dataclass(frozen=True)
class Block:
    """Lines over and over. period, rest: rows of one whole time, and rows of a last time that is not whole."""

    lines: tuple[Line, ...]
    times: int
    period: int
    rest: int

    @property
    def ends(self) -> tuple[int, int]:
        """The indexes of the first and the last entry."""
        return self.lines[0].index, max(line.times[-1].stop for line in self.lines) - 1

    def words(self, first_row: int, last_row: int) -> str:
        """ "Rows 5 to 18: these 4 rows 3 times, then the first 2 of them once more"."""
        times = "twice" if self.times == 2 else f"{self.times:,} times"
        if self.period == 1:
            return f"Rows {first_row} to {last_row}: all the same"
        words = f"Rows {first_row} to {last_row}: these {number(self.period, 'row')} {times}"
        if self.rest == 1:
            words += ", then the first of them once more"
        elif self.rest:
            words += f", then the first {self.rest} of them once more"
        return words


def fold(entries: Sequence[Entry]) -> list[Line | Block]:
    """All entries in order, each in one line; what is done by hand and the heads of rows are never in a block."""
    units = _units(entries)
    folded: list[Line | Block] = []
    for first, last, period in stretches([_sign(entries, unit) for unit in units]):
        if not period:
            folded.append(Line((units[first],)))
            continue
        times, rest = divmod(last - first + 1, period)
        lines = tuple(Line(tuple(units[first + place : last + 1 : period])) for place in range(period))
        in_rows = [sum(map(len, units[first : first + count])) for count in (period, rest)]
        folded.append(Block(lines, times, *in_rows))
    return folded


def _units(entries: Sequence[Entry]) -> list[range]:
    """Entries that share a line: a row, and those after it in which nothing is to be done but to knit on."""
    units: list[range] = []
    for index, entry in enumerate(entries):
        before = entries[index - 1] if index else None
        goes_on = (
            isinstance(entry, PassRow)
            and isinstance(before, PassRow)
            and entry.is_idle
            and (entry.steps == before.steps or all(step.kind == "selected" for step in entry.steps))
        )
        if goes_on:
            units[-1] = range(units[-1].start, index + 1)
        else:
            units.append(range(index, index + 1))
    return units


def _sign(entries: Sequence[Entry], unit: range) -> Hashable:
    entry = entries[unit.start]
    return (entry.sign, len(unit)) if isinstance(entry, PassRow) else None


def stretches(signs: Sequence[Hashable]) -> list[tuple[int, int, int]]:
    """(first, last, period) of each stretch in order, every sign in one: at each place the stretch of whole periods
    that spares the most. A period of 0: one sign by itself.

    signs: what makes two the same; None is never the same as anything.
    """
    code_of: dict[Hashable, int] = {}
    codes = [-1 - place if sign is None else code_of.setdefault(sign, len(code_of)) for place, sign in enumerate(signs)]
    chosen: list[tuple[int, int, int]] = []
    index, count = 0, len(codes)
    while index < count:
        best, spared = (index, index, 0), LEAST_SPARED - 1
        for period in range(1, min(LONGEST_PERIOD, (count - index) // 2) + 1):
            if codes[index] != codes[index + period]:
                continue
            if codes[index : index + period] != codes[index + period : index + 2 * period]:
                continue
            end = index + 2 * period
            while end < count and codes[end] == codes[end - period]:
                end += 1
            if end - index - period > spared:
                best, spared = (index, end - 1, period), end - index - period
                if end == count:
                    break
        chosen.append(best)
        index = best[1] + 1
    return chosen


def row_numbers(times: Sequence[Sequence[int]]) -> str:
    """The rows of a line: "Row 5", "Rows 6 to 7", "Rows 5, 9 and 13", "Rows 5, 9, 13 and so on, last 245".

    times: those of one time through together.
    """
    runs = [str(rows[0]) if len(rows) == 1 else f"{rows[0]} to {rows[-1]}" for rows in times]
    word = "Row" if len(runs) == len(times[0]) == 1 else "Rows"
    if len(runs) > MOST_LISTED:
        return f"{word} {', '.join(runs[:3])} and so on, last {runs[-1]}"
    return f"{word} {', '.join(runs[:-1])}{' and ' if runs[1:] else ''}{runs[-1]}"


def steps_of(entry: PassRow, every_row: bool) -> tuple[Step, ...]:
    """What a line says. Where it serves for all rows that a reader knits, what is selected stands in a table."""
    if every_row or all(step.kind != "go" for step in entry.steps):
        return entry.steps_alone
    return tuple(step for step in entry.steps if step.kind != "selected")

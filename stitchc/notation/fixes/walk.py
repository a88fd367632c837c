"""A wrong line read along the grammar's own states: the cheapest ways to take all that it says.

A token is taken as it is, as a word it is a slip of or another word for, or, if it says nothing, dropped; a value may
be held until the grammar has a place for it, and a small word that the grammar wants may be added. Each of these costs
something. No value is dropped and none is invented.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Iterator
from functools import cache, lru_cache
from typing import Any, Final, NamedTuple

from lark.parsers.lalr_analysis import Shift

from stitchc.notation.fixes.tokens import Value
from stitchc.notation.grammar import load_parser

_MOST_READINGS: Final = 1500
_MOST_COST: Final = 3.2

Words = tuple[tuple[str, str], ...]
"""Terminals of the grammar, and their texts."""
State = tuple[Any, ...]
"""A parser's stack."""


class TooMany(Exception):
    """Not all readings were looked at, so nobody knows whether another is as near."""


class Reading(NamedTuple):
    """A way to read the first `place` tokens. held: values that wait for their place, None where a bracket opened."""

    place: int
    held: tuple[Value | None, ...]
    state: State
    words: Words

    def waiting(self) -> list[Value]:
        """What is held since the last bracket opened, in its order."""
        waiting = itertools.takewhile(lambda value: value is not None, reversed(self.held))
        return [value for value in waiting if value][::-1]


Moves = Callable[[Reading], Iterator[tuple[float, Reading]]]


def cheapest(start: Reading, moves: Moves, whole: Callable[[Reading], bool]) -> Iterator[tuple[float, Reading | None]]:
    """The readings of a whole line and what they cost, the cheapest first. Raises TooMany.

    None says that whatever follows costs at least so much.
    """
    order = itertools.count()
    heap = [(0.0, next(order), start)]
    seen: set[Reading] = set()
    passed = 0.0
    while heap:
        cost, _, reading = heapq.heappop(heap)
        if reading in seen:
            continue
        seen.add(reading)
        if cost > _MOST_COST:
            return
        if len(seen) > _MOST_READINGS:
            raise TooMany
        if cost > passed:
            passed = cost
            yield cost, None
        if whole(reading):
            yield cost, reading
            continue
        for more, following in moves(reading):
            heapq.heappush(heap, (round(cost + more, 2), next(order), following))


@cache
def _table() -> Any:
    return load_parser().parser.parser._parse_table


def at_start() -> State:
    return (_table().start_states["start"],)


@lru_cache(20_000)
def _moved(state: State, terminal: str) -> State | None:
    table = _table()
    while (action := table.states[state[-1]].get(terminal)) is not None:
        if action[0] is Shift:
            return (*state, action[1])
        rule = action[1]
        state = state[: len(state) - len(rule.expansion)]
        state = (*state, table.states[state[-1]][rule.origin.name][1])
    return None


def after(state: State | None, *terminals: str) -> State | None:
    """The parser's stack after more terminals, or None where they cannot stand there."""
    for terminal in terminals:
        state = _moved(state, terminal) if state is not None else None
    return state


_GLUED: Final = {"CELLS", "COMMA", "RPAR", "_DASH", "_NEWLINE", "BEFORE", "BEHIND", "SIGNED", "TIMES"}


def as_line(words: Words) -> str:
    """The line, with the spaces that the notation has."""
    line = ""
    for (terminal, word), (before, _) in zip(words, (("", ""), *words), strict=False):
        glued = terminal in _GLUED or before in ("", "LPAR", "_DASH", "_NEWLINE")
        line += word if glued else f" {word}"
    return line

"""The states of the grammar's own parser, and how far a wrong line has been read along them."""

from __future__ import annotations

import itertools
from functools import cache, lru_cache
from typing import Any, Final, NamedTuple

from lark.parsers.lalr_analysis import Shift

from stitchc.notation.fixes.tokens import Value
from stitchc.notation.grammar import load_parser

Words = tuple[tuple[str, str], ...]
"""Terminals of the grammar, and their texts."""
State = tuple[Any, ...]
"""A parser's stack."""


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


_GLUED: Final = {"CELLS", "COMMA", "RPAR", "_DASH", "_NEWLINE"}


def as_line(words: Words) -> str:
    """The line, with the spaces that the notation has."""
    line = ""
    for (terminal, word), (before, _) in zip(words, (("", ""), *words), strict=False):
        glued = terminal in _GLUED or before in ("", "LPAR", "_DASH", "_NEWLINE")
        line += word if glued else f" {word}"
    return line

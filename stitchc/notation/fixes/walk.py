"""The states of the grammar's own parser, and how far a wrong line has been read along them."""

from __future__ import annotations

from functools import cache, lru_cache
from typing import Any

from lark.parsers.lalr_analysis import Shift

from stitchc.notation.grammar import load_parser
from stitchc.notation.layout import lay_out_line

Words = tuple[tuple[str, str], ...]
"""Terminals of the grammar, and their texts."""
State = tuple[Any, ...]
"""A parser's stack."""


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


def as_line(words: Words) -> str:
    """The line, or lines, in the standard layout."""
    lines = " ".join(text for _, text in words).split("\n")
    return "\n".join(lay_out_line(line.strip()).strip() for line in lines)

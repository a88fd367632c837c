"""The Lark parser of grammar/stitch.lark.

It is made anew at every start: that takes some 40 ms, a third of a short `check`, and a remembered one would have to
be kept from damage.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, Final

import lark
from lark.lexer import PatternRE, TerminalDef

_WORD_ENDS: Final = {"PLAIN": r"\b(?![^\x00-,.-\x7f\s])"}
_A_WORD_ENDS: Final = r"\b(?!-)"
"""No character of a name follows: no letter, figure or _ (\\b), no - and, where a name might stand instead of the
keyword, no mark over a letter. Every start compiles this for each keyword, so it is as short as it can be."""
_SPELLINGS: Final = frozenset({"_COLOUR", "_ROWS", "_STITCHES", "INCH"})
"""Keywords that the grammar gives as an expression."""


def grammar_path() -> Path:
    """Where the grammar lies: inside an installed package, or beside it in a checkout."""
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "grammar", package.parent / "grammar"):
        if (folder / "stitch.lark").is_file():
            return folder / "stitch.lark"
    raise FileNotFoundError("grammar/stitch.lark is missing from this installation of stitchc")


def load_parser(transformer: lark.Transformer[Any, Any], start: str = "start") -> lark.Lark:
    """The parser of a whole text, or of what `start` names in the grammar.

    transformer: applied while it reads, so that no tree of the whole text is ever held.
    """
    return lark.Lark(
        grammar_path().read_text("utf-8"),
        parser="lalr",
        lexer="contextual",
        start=start,
        maybe_placeholders=True,
        edit_terminals=_end_with_the_word,
        transformer=transformer,
    )


def _end_with_the_word(terminal: TerminalDef) -> None:
    """Make a keyword match whole words alone, before names, in place."""
    pattern = terminal.pattern
    word = pattern.type == "str" and pattern.value.isalpha()
    if word or terminal.name in _SPELLINGS:
        value = re.escape(pattern.value) if word else f"(?:{pattern.value})"
        terminal.pattern = PatternRE(value + _WORD_ENDS.get(terminal.name, _A_WORD_ENDS), pattern.flags)
        terminal.priority = 1

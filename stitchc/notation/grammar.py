"""The Lark parser of grammar/stitch.lark.

Making it takes some 40 ms, a third of a short `check`, so it lies ready in parser.ready. That is a part of the
program, as trusted as the module beside it: nothing is written where stitchc runs, and an installation may be
read-only. In a folder of the user's it would be a pickle that others may be able to change. Where it is damaged, or
made by another Lark or from another grammar, the parser is made from the grammar; what Lark saves is the same for every
Python. A test says when it is due to be made anew, and does so with --bless.
"""

from __future__ import annotations

import hashlib
import io
import pickle
import re
from pathlib import Path
from typing import Any, Final

import lark
from lark.lexer import PatternRE, TerminalDef

READY: Final = Path(__file__).with_name("parser.ready")

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


def load_parser(transformer: lark.Transformer[Any, Any] | None = None) -> lark.Lark:
    """The parser of a whole text.

    transformer: applied while it reads, so that no tree of the whole text is ever held.
    """
    grammar = grammar_path().read_text("utf-8")
    digest, _, saved = READY.read_bytes().partition(b"\n") if READY.is_file() else (b"", b"", b"")
    if digest != _digest(grammar, saved):
        return make_parser(grammar, transformer)
    ready = pickle.loads(saved)
    ready["data"]["options"]["transformer"] = transformer
    return lark.Lark.load(ready)


def make_parser(grammar: str, transformer: lark.Transformer[Any, Any] | None = None) -> lark.Lark:
    """The parser, made from the grammar."""
    return lark.Lark(
        grammar,
        parser="lalr",
        lexer="contextual",
        maybe_placeholders=True,
        edit_terminals=_end_with_the_word,
        transformer=transformer,
    )


def saved_parser() -> bytes:
    """What belongs into READY."""
    saved = io.BytesIO()
    grammar = grammar_path().read_text("utf-8")
    make_parser(grammar).save(saved, ("edit_terminals", "transformer"))
    return _digest(grammar, saved.getvalue()) + b"\n" + saved.getvalue()


def _digest(grammar: str, saved: bytes) -> bytes:
    """Of a saved parser, and of all that it was made from."""
    made_from = (grammar, _WORD_ENDS, _A_WORD_ENDS, sorted(_SPELLINGS), saved)
    return f"{lark.__version__} {hashlib.sha256(repr(made_from).encode()).hexdigest()}".encode()


def _end_with_the_word(terminal: TerminalDef) -> None:
    """Make a keyword match whole words alone, before names, in place."""
    pattern = terminal.pattern
    word = pattern.type == "str" and pattern.value.isalpha()
    if word or terminal.name in _SPELLINGS:
        value = re.escape(pattern.value) if word else f"(?:{pattern.value})"
        terminal.pattern = PatternRE(value + _WORD_ENDS.get(terminal.name, _A_WORD_ENDS), pattern.flags)
        terminal.priority = 1

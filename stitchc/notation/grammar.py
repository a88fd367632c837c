"""The Lark parser of grammar/stitch.lark, made once and remembered between runs in the user's cache folder.

The memory is JSON with a digest, never a pickle; one that is missing, foreign or damaged is made anew.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import re
import sys
from pathlib import Path
from typing import Any

import lark
from lark.grammar import Rule
from lark.lexer import PatternRE, TerminalDef

from stitchc import files

_MOST_REMEMBERED = 4 * 1024 * 1024

_WORD_ENDS = {"PLAIN": r"\b(?![^\x00-,.-\x7f\s])"}
_A_WORD_ENDS = r"\b(?!-)"
"""No character of a name follows: no letter, figure or _ (\\b), no - and, where a name might stand instead of the
keyword, no mark over a letter. Every start compiles this for each keyword, so it is as short as it can be."""


def grammar_path() -> Path:
    """Where the grammar lies: inside an installed package, or beside it in a checkout."""
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "grammar", package.parent / "grammar"):
        if (folder / "stitch.lark").is_file():
            return folder / "stitch.lark"
    raise FileNotFoundError("grammar/stitch.lark is missing from this installation of stitchc")


def load_parser(transformer: lark.Transformer[Any, Any], anew: bool = False) -> lark.Lark:
    """The parser with `transformer` applied as it reads, so that no tree of the whole text is ever held.

    anew: made from the grammar, whatever is remembered.
    """
    text = grammar_path().read_text("utf-8")
    key = hashlib.sha256(
        f"{lark.__version__} {sys.version_info[:2]} {_WORD_ENDS} {_A_WORD_ENDS} {text}".encode()
    ).hexdigest()
    remembered = None if anew else _remembered(key)
    if remembered is not None:
        with contextlib.suppress(Exception):  # a table that no longer fits this Lark is simply made anew
            table: Any = {"data": remembered[0], "memo": remembered[1]}
            parser = lark.Lark.__new__(lark.Lark)
            return parser._load(table, transformer=transformer)
    options: dict[str, Any] = {
        "parser": "lalr",
        "lexer": "contextual",
        "edit_terminals": _end_with_the_word,
    }
    bare = lark.Lark(text, maybe_placeholders=True, **options)
    _remember(key, *bare.memo_serialize([TerminalDef, Rule]))
    return lark.Lark(text, maybe_placeholders=True, transformer=transformer, **options)


def _end_with_the_word(terminal: TerminalDef) -> None:
    """Make a keyword match whole words alone, before names, in place."""
    pattern = terminal.pattern
    if pattern.type == "str" and pattern.value.isalpha():
        terminal.pattern = PatternRE(
            re.escape(pattern.value) + _WORD_ENDS.get(terminal.name, _A_WORD_ENDS), pattern.flags
        )
        terminal.priority = 1


def _cache_file(key: str) -> Path | None:
    """The file in the user's cache folder, or None where there is no home for one."""
    folder = files.cache_folder()
    return folder / f"grammar-{key[:24]}.json" if folder is not None else None


def _remembered(key: str) -> tuple[Any, Any] | None:
    path = _cache_file(key)
    if path is None:
        return None
    try:
        if not path.is_file() or path.stat().st_size > _MOST_REMEMBERED:
            return None
        digest, _, body = path.read_text("utf-8").partition("\n")
        if digest != hashlib.sha256((key + body).encode()).hexdigest():
            return None
        data, memo = json.loads(body)
        table = data["parser"]["parser"]
        table["tokens"] = {int(number): name for number, name in table["tokens"].items()}
        table["states"] = {
            int(state): {int(token): tuple(action) for token, action in actions.items()}
            for state, actions in table["states"].items()
        }
        return data, {int(number): value for number, value in memo.items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def _remember(key: str, data: Any, memo: Any) -> None:
    path = _cache_file(key)
    if path is None:
        return
    with contextlib.suppress(OSError, ValueError, TypeError, files.FileTrouble):
        data["options"]["edit_terminals"] = None  # done already, and a function can't be kept as JSON
        body = json.dumps([data, memo])
        text = hashlib.sha256((key + body).encode()).hexdigest() + "\n" + body
        files.write_files([(path, text.encode())], force=True)

"""The standard layout of a pattern: spaces, capitals, indentation and blank lines, and nothing else.

Works on the text line by line, so that comments and the writer's order stay; `same_meaning` proves afterwards that
the text still says what it said.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from typing import Any, Final

from stitchc.messages import Span
from stitchc.notation.vocabulary import KEYWORDS, QUOTED, unquoted
from stitchc.pattern import Pattern

_INDENT: Final = "    "
_INDENTED: Final = frozenset({"out", "make", "width", "sizes", "needles", "edge", "carriage", "do", "knit"})
"""The words that begin a line inside a stitch or a piece; a row begins with a figure."""
_WIDEST_HEAD: Final = 24
"""Row heads are aligned up to this width; a longer one stands out by itself."""

_TOKEN: Final = re.compile(
    rf'{QUOTED}|[LRlr][0-9]+\s*[-–]\s*[LRlr][0-9]+(?![\w-])|-?[0-9]+\.[0-9]+|[^\W\d_][^\s"“”„«»#(),:=]*|(?:(?<![0-9])-)?[0-9]+|[-–(),=:]|\S'
)
_CELL: Final = re.compile(r"([KTSkts]+)(?![0-9])|([KTSkts][0-9]+)|(\()|\)\s*[xX×]\s*([0-9]+)")
"""Letters that stand together and have no count, a letter with its count, the brackets of a group."""


def lay_out(text: str) -> str:
    """The text in the standard layout. The text must be one that compiles; "\\n" line ends, one at the end."""
    lines = [_split_comment(line) for line in text.split("\n")]
    heads = _row_heads([code for code, _ in lines])
    indents = _comment_indents([code for code, _ in lines])
    out: list[str] = []
    for index, (code, comment) in enumerate(lines):
        body = lay_out_line(code, heads.get(index, 0))
        if not body and not comment:
            if out and out[-1]:
                out.append("")
            continue
        if not body:
            out.append(indents[index] + comment)
            continue
        leaves_block = bool(out) and out[-1].startswith(_INDENT) and not body.startswith(_INDENT)
        if out and out[-1] and (leaves_block or (_opens_block(code) and not out[-1].startswith("#"))):
            out.append("")
        out.append(f"{body}  {comment}" if comment else body)
    while out and not out[-1]:
        out.pop()
    return "\n".join(out) + "\n"


def same_meaning(first: Pattern, second: Pattern) -> bool:
    """Whether two patterns say the same: everything but places in the text and the text itself."""
    return bool(_meaning(first) == _meaning(second))


def _meaning(value: Any) -> Any:
    """The value without the places in it."""
    if isinstance(value, Span):
        return None
    if isinstance(value, Pattern):
        fields = {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}
        return {name: _meaning(item) for name, item in fields.items() if name not in ("file", "sources")}
    if isinstance(value, Mapping):
        return [(key, _meaning(item)) for key, item in value.items()]
    if isinstance(value, tuple):
        return [type(value).__name__, *map(_meaning, value)]
    return value


# -- one line ---------------------------------------------------------------------------------------------------


def _split_comment(line: str) -> tuple[str, str]:
    """The code of a line, stripped, and its comment from the # on."""
    if "#" not in line:
        return line.strip(), ""
    if (alone := line.strip()).startswith("#"):
        return "", alone
    comment = next((match for match in _QUOTED_OR_COMMENT.finditer(line) if match.group()[0] == "#"), None)
    if comment is None:
        return line.strip(), ""
    return line[: comment.start()].strip(), comment.group().rstrip()


_QUOTED_OR_COMMENT: Final = re.compile(rf"{QUOTED}|#.*")


def _is_row(code: str) -> bool:
    return code[:1].isdigit()


def _row_head(code: str) -> str:
    numbers, *yarn = re.split(r"\s*\bin\b\s*", code.split(":", 1)[0].strip(), maxsplit=1, flags=re.IGNORECASE)
    numbers = re.sub(r"\s*,\s*", ", ", re.sub(r"\s*[-–]\s*", "-", numbers))
    return f"{numbers} in {yarn[0]}" if yarn else numbers


def _row_heads(codes: list[str]) -> dict[int, int]:
    """The width that each row's head is padded to, so that the cells of one stitch stand below each other."""
    widths: dict[int, int] = {}
    block: list[int] = []
    for index, code in enumerate([*codes, "end"]):
        if _is_row(code):
            block.append(index)
        elif code and block:
            widest = max((len(head) for i in block if len(head := _row_head(codes[i])) <= _WIDEST_HEAD), default=0)
            widths.update(dict.fromkeys(block, widest))
            block = []
    return widths


def lay_out_line(code: str, head_width: int = 0) -> str:
    """A line without its comment; a row's head as wide as this."""
    if not code:
        return ""
    if _is_row(code):
        _, cells = code.split(":", 1)
        return f"{_INDENT}{_row_head(code):>{head_width}}: {_cells(cells)}"
    tokens = ["-" if token == "–" else token for token in _TOKEN.findall(code)]
    first = tokens[0].lower()
    indent = _INDENT if first in _INDENTED else ""
    tokens[0] = first
    return indent + _tokens_joined(tokens)


def _tokens_joined(tokens: list[str]) -> str:
    out = ""
    swapping = False
    for index, token in enumerate(tokens):
        word = token.lower()
        if re.fullmatch(QUOTED, token):
            token = f'"{unquoted(token)}"'
        elif not index or word in KEYWORDS or (index > 1 and tokens[0].lower() == "yarn"):
            token = word
            swapping = word == "with" or (swapping and word == "for")
        elif swapping and word in ("k", "t", "s"):
            token = token.upper()
        elif token != ",":
            swapping = False
        if re.fullmatch(r"[lr][0-9]+\s*[-–]\s*[lr][0-9]+", word):
            token = re.sub(r"\s*[-–]\s*", "-", token.upper())
        before = tokens[index - 1] if index else ""
        tight = not out or before in ("(", "-") or token in (")", ",", "-", ":")
        out += token if tight else " " + token
    return out


def _cells(text: str) -> str:
    """A row's cells: single spaces, capitals, a counted letter alone, letters that stand together kept so."""
    parts = [
        (letters or run).upper() or opening or f")x{count}" for letters, run, opening, count in _CELL.findall(text)
    ]
    return " ".join(parts).replace("( ", "(").replace(" )x", ")x")


def _opens_block(code: str) -> bool:
    tokens = _TOKEN.findall(code)
    return bool(tokens) and (tokens[0].lower() == "piece" or (tokens[0].lower() == "stitch" and "=" not in tokens))


def _comment_indents(codes: list[str]) -> list[str]:
    """Before a comment on its own line, by the line's number: it stands as the line of code below it does."""
    indents: list[str] = []
    below = ""
    for code in reversed(codes):
        indents.append(below)
        if code:
            inside = _is_row(code) or _TOKEN.findall(code)[0].lower() in _INDENTED
            below = _INDENT if inside else ""
    return indents[::-1]

"""Text to lines: the parser run over a pattern in chunks of whole lines, going on after a line it cannot read.

A chunk with a mistake in it is read again line by line, so that every bad line gets a message of its own and the
good lines around it still count. Memory stays bounded by the chunk, whatever the size of the file.
"""

from __future__ import annotations

import heapq
import re
from collections.abc import Callable
from functools import cache
from itertools import chain
from operator import itemgetter
from typing import Any, Final

import lark
from lark.exceptions import UnexpectedCharacters, UnexpectedInput, UnexpectedToken

from stitchc.messages import Message, Span, visible
from stitchc.notation.grammar import START, load_parser
from stitchc.notation.slips import KEYWORDS, LOOK_ALIKES, latin_of, letter_message, nearest
from stitchc.notation.tree import (
    CarriageLine,
    DoLine,
    EdgeLine,
    Expression,
    Form,
    Formed,
    GaugeLine,
    Joined,
    KnitLine,
    Length,
    Line,
    Named,
    NeedlesLine,
    Number,
    PieceLine,
    Placed,
    PlainPart,
    Row,
    StitchBuilt,
    StitchByRows,
    Text,
    WidthLine,
    Word,
    YarnLine,
)

_CHUNK_LINES: Final = 400
DEEPEST: Final = 64
"""How deep brackets nest at most."""
MOST_MISTAKES: Final = 200
"""Lines that cannot be read before the reader gives up on the rest of the file."""

_MM_PER: Final = {"MM": 1.0, "CM": 10.0, "IN": 25.4}


def read_lines(text: str, file: str) -> tuple[list[Placed], list[Message]]:
    """The lines of a pattern and the messages about those that could not be read (N101, N110, N111).

    text: with line ends already made "\\n". Never raises for any text.
    """
    parser, builder = _parser()
    placed: list[Placed] = []
    messages: list[Message] = []
    lines = text.split("\n")
    for first in range(0, len(lines), _CHUNK_LINES):
        chunk = lines[first : first + _CHUNK_LINES]
        rows = _take_rows(chunk, file, first)
        if not any(chunk):
            placed += rows
            continue
        messages += _too_deep(chunk, file, first)
        builder.begin(file, first)
        try:
            others = _parse(parser, "\n".join(chunk) + "\n", START)
            placed += heapq.merge(rows, others, key=itemgetter(1))
            messages += builder.messages
            continue
        except UnexpectedInput:
            others = []
        for offset, line in enumerate(chunk):
            if not line or line.isspace():
                continue
            builder.begin(file, first + offset)
            try:
                others += _parse(parser, line + "\n", START)
                messages += builder.messages
            except UnexpectedInput as error:
                messages.append(_explain(error, line, file, first + offset + 1))
            if len(messages) >= MOST_MISTAKES:
                rest = Span(file, first + offset + 2)
                messages.append(
                    Message(
                        "N101",
                        "error",
                        f"After {MOST_MISTAKES} mistakes the rest of the file was not read.",
                        rest,
                        cure="Mend these first, then check again.",
                    )
                )
                return [*placed, *heapq.merge(rows, others, key=itemgetter(1))], messages
        placed += heapq.merge(rows, others, key=itemgetter(1))
    return placed, messages


# Most lines of a file are rows, and this one expression reads them twenty times faster than the parser does. What it
# takes, the grammar takes too and as the same; whatever else there is, it leaves to the parser.
_ROW: Final = re.compile(
    r"""\s*([0-9]{1,9}(?:\s*[-–]\s*[0-9]{1,9})?(?:\s*,\s*[0-9]{1,9}(?:\s*[-–]\s*[0-9]{1,9})?)*)
        (?:\s*[iI][nN]\s+([A-Za-z][A-Za-z0-9_-]*))?\s*:\s*([^\s#][^#]*)(?:\#.*)?""",
    re.VERBOSE,
)
_RANGE: Final = re.compile(r"([0-9]+)(?:\s*[-–]\s*([0-9]+))?")


def _take_rows(chunk: list[str], file: str, lines_before: int) -> list[Placed]:
    """The rows among the lines, which are made blank in `chunk`."""
    rows: list[Placed] = []
    for offset, line in enumerate(chunk):
        match = _ROW.fullmatch(line)
        if match is None:
            continue
        number, yarn = lines_before + offset + 1, None
        head, name, cells = match.groups()
        first_column = match.start(1) + 1
        if head.isdigit():
            row = int(head)
            numbers: tuple[int, ...] = (row, row, first_column, len(head))
        else:
            flat: list[int] = []
            for part in _RANGE.finditer(head):
                flat += int(part[1]), int(part[2] or part[1]), first_column + part.start(), len(part[0])
            numbers = tuple(flat)
        if name is not None:
            yarn = Word(name, Span(file, number, match.start(2) + 1, len(name)))
        rows.append(Placed(Row(file, number, numbers, yarn, cells.rstrip(), match.start(3) + 1), number))
        chunk[offset] = ""
    return rows


def _too_deep(chunk: list[str], file: str, lines_before: int) -> list[Message]:
    """Report lines of an expression whose brackets nest too deep, and blank them: no such line is worth parsing."""
    messages = []
    for offset, line in enumerate(chunk):
        if line.count("(") <= DEEPEST or line.lstrip()[:1].isdigit():
            continue
        depth = 0
        for column, character in enumerate(_QUOTED.sub(_blanked, line), start=1):
            depth += (character == "(") - (character == ")")
            if depth > DEEPEST:
                span = Span(file, lines_before + offset + 1, column)
                text = f"Brackets nest more than {DEEPEST} deep here."
                messages.append(Message("N110", "error", text, span, cure="Give a part of it a name of its own."))
                chunk[offset] = ""
                break
    return messages


_QUOTED: Final = re.compile(r'"[^"]*"|#.*')


def _blanked(match: re.Match[str]) -> str:
    return " " * len(match.group())


def _parse(parser: lark.Lark, text: str, start: str) -> list[Placed]:
    placed: Any = parser.parse(text, start=start)
    return list(placed)


@cache
def _parser() -> tuple[lark.Lark, _Builder]:
    builder = _Builder()
    return load_parser(builder), builder


# -- from tokens to lines ---------------------------------------------------------------------------------------


class _Builder(lark.Transformer[Any, Any]):
    """Makes the lines' values as the parser reads. Children are tokens, which carry their places."""

    def __init__(self) -> None:
        super().__init__()
        self.begin("", 0)

    def begin(self, file: str, lines_before: int) -> None:
        """Start on a chunk that `lines_before` lines of the file precede."""
        self.file, self.lines_before = file, lines_before
        self.messages: list[Message] = []

    # parts

    def span(self, token: lark.Token) -> Span:
        return Span(self.file, (token.line or 1) + self.lines_before, token.column or 1, len(token))

    def word(self, token: lark.Token) -> Word:
        return Word(str(token), self.span(token))

    def name(self, token: lark.Token) -> Word:
        """A name that is being given: it can't be a keyword."""
        if token.lower() in KEYWORDS:
            self.messages.append(
                Message(
                    "N101",
                    "error",
                    f"`{token}` is a word of the notation and cannot be a name.",
                    self.span(token),
                    cure=f"{token}-1, or any other name",
                )
            )
        return self.word(token)

    def quoted(self, token: lark.Token) -> Word:
        return Word(str(token)[1:-1], self.span(token))

    def number(self, token: lark.Token) -> Number:
        text = str(token)
        if token.type == "INT":
            value: float = int(text) if len(text) <= 12 else (-(10**12) if text[0] == "-" else 10**12)
        else:
            value = float(text) if len(text) <= 40 else float(text[:40])
        return Number(value, self.span(token))

    # head

    def start(self, children: list[Any]) -> list[Placed]:
        return [child for child in children if child is not None]

    one_line = start

    def _placed(self, line: Line, span: Span) -> Placed:
        return Placed(line, span.line)

    def pattern(self, children: list[Any]) -> Placed:
        text = self.quoted(children[0])
        return self._placed(Text("pattern", text), text.span)

    def note(self, children: list[Any]) -> Placed:
        text = self.quoted(children[0])
        return self._placed(Text("note", text), text.span)

    def include(self, children: list[Any]) -> Placed:
        text = self.quoted(children[0])
        return self._placed(Text("include", text), text.span)

    def yarn_colour(self, children: list[Any]) -> tuple[str, Any]:
        return "colour", self.quoted(children[0])

    def yarn_tex(self, children: list[Any]) -> tuple[str, Any]:
        return "tex", self.number(children[0])

    def yarn_weight(self, children: list[Any]) -> tuple[str, Any]:
        token = children[0]
        return "weight", self.quoted(token) if token.type == "TEXT" else self.word(token)

    def yarn(self, children: list[Any]) -> Placed:
        name, description, *facts = children
        given: dict[str, Any] = {}
        for key, value in facts:
            if key in given:
                self.messages.append(
                    Message(
                        "N101",
                        "error",
                        f"`{key}` is given twice for yarn `{name}`.",
                        value.span,
                        cure="Keep one of them.",
                    )
                )
            given[key] = value
        word = self.name(name)
        text = self.quoted(description).text if description is not None else ""
        line = YarnLine(word, text, given.get("colour"), given.get("tex"), given.get("weight"))
        return self._placed(line, word.span)

    # stitches

    def stitch_by_rows(self, children: list[Any]) -> Placed:
        name = self.name(children[0])
        over = self.number(children[1]) if children[1] is not None else None
        return self._placed(StitchByRows(name, over), name.span)

    def row_range(self, children: list[Any]) -> tuple[int, int, int, int]:
        first, last = children
        column, end = first.column or 1, last if last is not None else first
        length = (end.column or 1) + len(end) - column
        return int(self.number(first).value), int(self.number(end).value), column, length

    def row_numbers(self, children: list[Any]) -> tuple[int, ...]:
        return tuple(chain.from_iterable(children))

    def row(self, children: list[Any]) -> Placed:
        numbers, yarn, cells = children
        span = self.span(cells)
        word = self.word(yarn) if yarn is not None else None
        return Placed(Row(self.file, span.line, numbers, word, str(cells).rstrip(), span.column), span.line)

    def named(self, children: list[Any]) -> Named:
        return Named(self.word(children[0]))

    def plain(self, children: list[Any]) -> PlainPart:
        word, width, height = children
        return PlainPart(self.number(width), self.number(height), self.span(word))

    def group(self, children: list[Any]) -> Expression:
        inner = children[0]
        if isinstance(inner, Joined):
            return Joined(inner.kind, inner.parts, inner.joints, inner.depth + 1)
        return Joined("then", (inner,), (), _depth(inner) + 1)

    def formed(self, children: list[Any]) -> Expression:
        part, *forms = children
        return Formed(part, tuple(forms)) if forms else part

    def _joined(self, kind: str, children: list[Any]) -> Expression:
        if len(children) == 1:
            one: Expression = children[0]
            return one
        parts = tuple(children[::2])
        return Joined(kind, parts, tuple(self.span(token) for token in children[1::2]), max(map(_depth, parts)))

    def beside(self, children: list[Any]) -> Expression:
        return self._joined("beside", children)

    def then(self, children: list[Any]) -> Expression:
        return self._joined("then", children)

    def across(self, children: list[Any]) -> Form:
        return Form("across", self.span(children[0]), self.number(children[1]))

    def up(self, children: list[Any]) -> Form:
        return Form("up", self.span(children[0]), self.number(children[1]))

    def shifted(self, children: list[Any]) -> Form:
        word, count, side = children
        leftward = side is not None and side.type == "LEFT"
        return Form("shifted", self.span(word), self.number(count), leftward)

    def mirrored(self, children: list[Any]) -> Form:
        return Form("mirrored", Span(self.file, 0))

    def reversed(self, children: list[Any]) -> Form:
        return Form("reversed", Span(self.file, 0))

    def swap(self, children: list[Any]) -> tuple[Word, Word]:
        return self.word(children[0]), self.word(children[1])

    def replaced(self, children: list[Any]) -> Form:
        return Form("replaced", children[0][0].span, swaps=tuple(children))

    def stitch_built(self, children: list[Any]) -> Placed:
        name = self.name(children[0])
        expression = children[1]
        return self._placed(StitchBuilt(name, expression, _depth(expression) > DEEPEST), name.span)

    # gauges and pieces

    def stitches_counted(self, children: list[Any]) -> tuple[str, Number]:
        return "stitches", self.number(children[0])

    def rows_counted(self, children: list[Any]) -> tuple[str, Number]:
        return "rows", self.number(children[0])

    def length(self, children: list[Any]) -> Length:
        number = self.number(children[0])
        return Length(number.value * _MM_PER[children[1].type], number.span)

    def gauge(self, children: list[Any]) -> Placed:
        stitch, *counts, per = children
        given: dict[str, Number] = {}
        again = None
        for key, number in counts:
            if key in given:
                again = number.span
            given[key] = number
        word = self.word(stitch)
        return self._placed(GaugeLine(word, given.get("stitches"), given.get("rows"), per, again), word.span)

    def piece(self, children: list[Any]) -> Placed:
        name = self.name(children[0])
        return self._placed(PieceLine(name), name.span)

    def width(self, children: list[Any]) -> Placed:
        length, plus, stitch = children
        line = WidthLine(length, plus, self.word(stitch) if stitch is not None else None)
        return self._placed(line, length.span)

    def needles(self, children: list[Any]) -> Placed:
        word = self.word(children[0])
        return self._placed(NeedlesLine(word), word.span)

    def edge(self, children: list[Any]) -> Placed:
        number = self.number(children[0])
        return self._placed(EdgeLine(number), number.span)

    def carriage(self, children: list[Any]) -> Placed:
        word = self.word(children[0])
        return self._placed(CarriageLine(word), word.span)

    def do(self, children: list[Any]) -> Placed:
        word = self.quoted(children[0])
        return self._placed(DoLine(word), word.span)

    def rows(self, children: list[Any]) -> Number:
        return self.number(children[0])

    def exactly(self, children: list[Any]) -> tuple[str, Any]:
        return "exactly", None

    def knit_in(self, children: list[Any]) -> tuple[str, Any]:
        return "in", self.word(children[0])

    def knit_at(self, children: list[Any]) -> tuple[str, Any]:
        return "at", self.quoted(children[0])

    def knit(self, children: list[Any]) -> Placed:
        stitch, amount, *facts = children
        given: dict[str, Any] = {}
        again = None
        for key, value in facts:
            if key in given:
                again = value.span if value is not None else self.span(stitch)
            given[key] = value
        word = self.word(stitch)
        rows, length = (None, amount) if isinstance(amount, Length) else (amount, None)
        line = KnitLine(word, rows, length, "exactly" in given, given.get("in"), given.get("at"), again)
        return self._placed(line, word.span)


def _depth(expression: Expression) -> int:
    if isinstance(expression, Joined):
        return expression.depth
    return _depth(expression.part) if isinstance(expression, Formed) else 0


# -- lines that can't be read -----------------------------------------------------------------------------------

_SAYS: Final = {
    "NAME": "a name",
    "INT": "a whole number",
    "DECIMAL": "a number",
    "TEXT": 'text in quotes ("…")',
    "CELLS": "the cells of the row (K, T, S)",
    "LETTER": "K, T or S",
    "BED_RANGE": "needles such as L40-R39",
    "_NEWLINE": "the end of the line",
    "COLON": "`:`",
    "COMMA": "`,`",
    "EQUAL": "`=`",
    "LPAR": "`(`",
    "RPAR": "`)`",
    "_DASH": "`-`",
    "MM": "`mm`",
    "CM": "`cm`",
    "IN": "`in`",
}

_EXAMPLES: Final = {
    "pattern": 'pattern "Tide line"',
    "note": 'note "Worn purl side out."',
    "yarn": 'yarn sand "oat"',
    "include": 'include "grounds.stitch"',
    "stitch": "stitch ripple   (rows below it), or   stitch drift = ripple then ripple shifted 1",
    "gauge": "gauge plain 20 stitches 28 rows per 10 cm",
    "piece": "piece cowl",
    "width": "width 60 cm plus 1 cm",
    "needles": "needles 96, or needles L40-R39",
    "edge": "edge 1",
    "carriage": "carriage right",
    "do": 'do "Cast on."',
    "knit": "knit drift for 18 cm",
}

_WORD: Final = re.compile(r"[^\W\d_][\w-]*|[0-9]+(?:\.[0-9]+)?|\S")


def _explain(error: UnexpectedInput, line: str, file: str, number: int) -> Message:
    """One message for a line the parser refused: special slips first, then what was allowed at that place."""
    column = getattr(error, "column", 1) or 1
    ended = isinstance(error, UnexpectedToken) and error.token.type in ("_NEWLINE", "$END")
    start = min(max(column - 1, 0), len(line))
    if ended:
        start = len(line.split("#")[0].rstrip()) if '"' not in line else len(line.rstrip())

    def at(first: int, last: int) -> Span:
        return Span(file, number, first + 1, max(1, last - first))

    for slip in _SLIPS:
        message = slip(line, start, at)
        if message is not None:
            return message
    allowed = _allowed(error)
    found = _WORD.match(line, start)
    word = found.group() if found else ""
    first_word = _WORD.match(line.lstrip())
    keyword = first_word.group().lower() if first_word else ""
    example = _EXAMPLES.get(keyword, "1: K T" if keyword.isdigit() else None)
    if start == len(line) - len(line.lstrip()) and word:
        near = nearest(word.lower(), [*_EXAMPLES])
        cure = f"{near} …" if near else "a line begins with a row number or one of: " + ", ".join(_EXAMPLES)
        return Message(
            "N101",
            "error",
            f"No line of the notation begins with `{visible(word[:40])}`.",
            at(start, start + len(word)),
            cure=cure,
        )
    expects = _listed(allowed)
    if not word:
        return Message(
            "N101",
            "error",
            f"The line ends too soon; {expects} would come next.",
            at(start, start + 1),
            label="more is needed here",
            cure=example,
        )
    return Message(
        "N101",
        "error",
        f"`{visible(word[:40])}` can't stand here; {expects} could.",
        at(start, start + len(word)),
        cure=example,
    )


def _allowed(error: UnexpectedInput) -> list[str]:
    if isinstance(error, UnexpectedToken):
        try:
            names = sorted(error.accepts or error.expected)
        except Exception:
            names = sorted(error.expected)
    elif isinstance(error, UnexpectedCharacters):
        names = sorted(error.allowed or ())
    else:
        names = []
    names = [name for name in names if name not in ("COMMENT", "SPACE", "$END")]
    if len(names) > 1 and "INT" in names and "DECIMAL" in names:
        names.remove("INT")
    return [_SAYS.get(name, f"`{name.lower()}`") for name in names]


def _listed(words: list[str]) -> str:
    if not words:
        return "nothing more"
    if len(words) > 7:
        words = [*words[:6], "one of some others"]
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " or " + words[-1]


_At = Callable[[int, int], Span]


def _typographic_quotes(line: str, start: int, at: _At) -> Message | None:
    match = re.search("[“”„‟«»″]", line)
    if match is None or match.start() > start + 1:
        return None
    return Message(
        "N101",
        "error",
        f"`{match.group()}` is a printer's quotation mark; the notation uses straight ones.",
        at(match.start(), match.end()),
        cure='"…"',
    )


def _open_quote(line: str, start: int, at: _At) -> Message | None:
    if line[start : start + 1] == '"' and line.find('"', start + 1) < 0:
        return Message(
            "N101",
            "error",
            "This quotation mark is never closed; quoted text ends on its own line.",
            at(start, start + 1),
            label="opened here",
            cure='"…"',
        )
    return None


def _alike_keyword(line: str, start: int, at: _At) -> Message | None:
    for match in re.finditer(r"[^\W\d_]+", line.split("#")[0]):
        latin = latin_of(match.group())
        if latin is not None and latin.lower() in KEYWORDS and '"' not in line[: match.start()]:
            odd = next(i for i, c in enumerate(match.group()) if c != latin[i])
            return Message(
                "N111",
                "error",
                f"`{match.group()}` is written with a letter that only looks like {latin[odd]}.",
                at(match.start() + odd, match.start() + odd + 1),
                cure=latin,
            )
    return None


def _wrong_letter(line: str, start: int, at: _At) -> Message | None:
    before = line[:start].rstrip().lower()
    if re.search(r"\bwith\b", before) and re.search(r"(\bwith|\bfor|,)$", before) and start < len(line):
        character = line[start]
        if character in LOOK_ALIKES:
            return letter_message(line, start, at)[0]
        word = _WORD.match(line, start)
        if word and word.group()[0].isalpha() and word.group().upper() not in ("K", "T", "S"):
            return Message(
                "N102",
                "error",
                f"`{word.group()}` is not a cell; `with` exchanges K, T and S.",
                at(start, word.end()),
                cure="with S for T",
            )
    return None


def _decimal_comma(line: str, start: int, at: _At) -> Message | None:
    match = re.search(r"[0-9]+,[0-9]+", line)
    if match and match.start() <= start <= match.end() and ":" not in line and not line.lstrip()[:1].isdigit():
        return Message(
            "N101",
            "error",
            f"`{match.group()}`: decimals are written with a point.",
            at(match.start(), match.end()),
            cure=match.group().replace(",", "."),
        )
    return None


def _colon_after_name(line: str, start: int, at: _At) -> Message | None:
    if line[start : start + 1] == ":" and re.match(r"\s*(stitch|piece)\b", line, re.IGNORECASE):
        return Message(
            "N101",
            "error",
            "No colon follows the name; the lines below belong to it by themselves.",
            at(start, start + 1),
            cure=line[:start].strip(),
        )
    return None


def _row_without_colon(line: str, start: int, at: _At) -> Message | None:
    match = re.match(r"\s*(?:row|r|rows|rnd)\.?\s*([0-9][0-9, -]*)\s*:?", line, re.IGNORECASE)
    if match and start <= match.start(1):
        return Message(
            "N101",
            "error",
            "A row begins with its number alone.",
            at(match.start(), match.start(1)),
            cure=f"{match[1].strip()}: …",
        )
    match = re.match(r"\s*([0-9]+)([.)=;]|\s+(?=[KTSkts(]))", line)
    if match and start <= match.end():
        return Message(
            "N101",
            "error",
            "A colon stands between a row's number and its cells.",
            at(match.end(1), match.end(1) + 1),
            cure=f"{match[1]}: {line[match.end() :].strip()[:30]}",
        )
    return None


def _american_colour(line: str, start: int, at: _At) -> Message | None:
    if line[start : start + 5].lower() == "color" and re.match(r"\s*yarn\b", line, re.IGNORECASE):
        return Message("N101", "error", "The notation spells it `colour`.", at(start, start + 5), cure="colour")
    return None


def _unit(line: str, start: int, at: _At) -> Message | None:
    match = re.match(r'(centimet\w*|millimet\w*|inch\w*|ins?\.|"|″|m\b|yd\w*|ft\b)', line[start:], re.IGNORECASE)
    if match and re.search(r"[0-9]\s*$", line[:start]) and not line.lstrip()[:1].isdigit():
        return Message(
            "N101",
            "error",
            f"`{match.group()}` is not a unit here.",
            at(start, start + match.end()),
            cure="mm, cm or in",
        )
    return None


def _hidden(line: str, start: int, at: _At) -> Message | None:
    character = line[start : start + 1]
    if character and not character.isprintable():
        return Message(
            "N101",
            "error",
            f"A hidden character, {visible(character)}, stands here.",
            at(start, start + 1),
            cure="Delete it and type the line again.",
        )
    return None


_SLIPS: Final[tuple[Callable[[str, int, _At], Message | None], ...]] = (
    _hidden,
    _typographic_quotes,
    _unit,
    _open_quote,
    _alike_keyword,
    _wrong_letter,
    _american_colour,
    _decimal_comma,
    _colon_after_name,
    _row_without_colon,
)

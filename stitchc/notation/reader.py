"""Text to lines: the parser run over a pattern in chunks of whole lines, going on after a line it cannot read.

A chunk with a mistake in it is read again line by line, so that every bad line gets a message of its own and the good
lines around it still count. Memory stays bounded by the chunk, whatever the size of the file. The grammar is a flat
list of lines, so chunks mean the same as the whole. There is no second, faster reader of rows: it would save little
time, and two readers of one notation drift apart.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable
from functools import cache
from itertools import chain
from types import ModuleType
from typing import Any, Final

import lark
from lark.exceptions import UnexpectedInput

from stitchc.messages import Message, Span
from stitchc.notation.grammar import load_parser
from stitchc.notation.tree import (
    Expression,
    Form,
    Formed,
    GaugeLine,
    Joined,
    KnitLine,
    Length,
    Named,
    Number,
    NumberLine,
    OutLine,
    PhotoLine,
    Placed,
    PlainPart,
    Range,
    Row,
    StitchBuilt,
    StitchByRows,
    WidthLine,
    Word,
    WordLine,
    YarnLine,
)
from stitchc.notation.vocabulary import DEEPEST, KEYWORDS, QUOTED, unquoted

_CHUNK_LINES: Final = 400
MOST_MISTAKES: Final = 200
"""Lines that cannot be read before the reader gives up on the rest of the file."""

_MM_PER: Final = {"MM": 1.0, "CM": 10.0, "IN": 25.4, "INCH": 25.4}


_MOST_KEPT: Final = 4096
_LONGEST_KEPT: Final = 200
_KEPT: Final[dict[tuple[str, int, str], tuple[Placed, ...]]] = {}
"""What lines without a mistake say, by their text, number and file. A page reads a pattern again after every letter,
and the search for fixes reads it with one line in other words; nearly all lines stay as they are."""


def read_lines(text: str, file: str) -> tuple[list[Placed], list[Message]]:
    """The lines of a pattern and the messages about those that could not be read (N101, N102, N110, N111).

    text: with line ends already made "\n". Never raises for any text.
    """
    placed: list[Placed] = []
    messages: list[Message] = []
    lines = text.split("\n")
    for first in range(0, len(lines), _CHUNK_LINES):
        chunk = lines[first : first + _CHUNK_LINES]
        messages += _too_deep(chunk, file, first)
        known = [(line, _KEPT.get((line, number, file))) for number, line in enumerate(chunk, first + 1)]
        before = first
        for is_new, together in itertools.groupby(known, lambda each: each[1] is None):
            run = list(together)
            if not is_new:
                placed += chain.from_iterable(each or () for _, each in run)
            elif not _read_new([line for line, _ in run], file, before, placed, messages):
                return placed, messages
            before += len(run)
    return placed, messages


def _read_new(chunk: list[str], file: str, first: int, placed: list[Placed], messages: list[Message]) -> bool:
    """Add what lines say, and messages; whether to go on. first: lines of the file before them."""
    builder = _builder()
    builder.begin(file, first)
    try:
        found = _parse("\n".join(chunk) + "\n")
        placed += found
        messages += builder.messages
        if not builder.messages:
            _keep(chunk, file, first, found)
        return True
    except UnexpectedInput:
        pass
    for offset, line in enumerate(chunk):
        if not line or line.isspace():
            continue
        builder.begin(file, first + offset)
        try:
            found = _parse(line + "\n")
            placed += found
            messages += builder.messages
            if not builder.messages:
                _keep([line], file, first + offset, found)
        except _OddName as odd:
            messages.append(_refusals().odd_name(odd.name, line, odd.column - 1, file, first + offset + 1))
        except UnexpectedInput as error:
            messages.append(_refusals().refused(error, line, file, first + offset + 1))
        if len(messages) >= MOST_MISTAKES:
            sentence = f"The rest of the file, after {MOST_MISTAKES} mistakes, was not read."
            rest = Span(file, first + offset + 2)
            messages.append(Message("N101", "error", sentence, rest, advice="Fix these first, then check again."))
            return False
    return True


def _keep(chunk: list[str], file: str, first: int, found: list[Placed]) -> None:
    of_line: dict[int, list[Placed]] = {}
    for each in found:
        of_line.setdefault(each.number, []).append(each)
    if len(_KEPT) + len(chunk) > _MOST_KEPT:
        _KEPT.clear()
    for number, line in enumerate(chunk, first + 1):
        if len(line) <= _LONGEST_KEPT:
            _KEPT[line, number, file] = tuple(of_line.get(number, ()))


def _too_deep(chunk: list[str], file: str, lines_before: int) -> list[Message]:
    """Report lines of an expression whose brackets nest too deep, and blank them: no such line is worth parsing."""
    messages = []
    for offset, line in enumerate(chunk):
        if line.count("(") <= DEEPEST or line.lstrip()[:1].isdigit():
            continue
        depth = 0
        for column, character in enumerate(
            re.sub(f"{QUOTED}|#.*", lambda match: " " * len(match.group()), line), start=1
        ):
            depth += (character == "(") - (character == ")")
            if depth > DEEPEST:
                span = Span(file, lines_before + offset + 1, column)
                text = f"Brackets nest more than {DEEPEST} deep here."
                messages.append(
                    Message("N110", "error", text, span, advice="Define a part of it as a separate stitch.")
                )
                chunk[offset] = ""
                break
    return messages


def _parse(text: str) -> list[Placed]:
    """The lines of a text. Raises UnexpectedInput where one of them cannot be read."""
    placed: Any = _parser().parse(text)
    return list(placed)


class _OddName(UnexpectedInput):
    """A name that the grammar lets in and the notation does not."""

    def __init__(self, name: str, column: int) -> None:
        self.name, self.column = name, column


def _refuse_odd_name(name: str, column: int) -> None:
    if name.lower() in KEYWORDS or _refusals().odd_character(name) is not None:
        raise _OddName(name, column)


def _refusals() -> ModuleType:
    """What words mistakes; most patterns have none, and are not kept waiting for it."""
    from stitchc.notation import refusals

    return refusals


@cache
def _builder() -> _Builder:
    return _Builder()


@cache
def _parser() -> lark.Lark:
    return load_parser(_builder())


# -- from tokens to lines ---------------------------------------------------------------------------------------


def _word_line(keyword: str) -> Callable[[_Builder, list[Any]], Placed]:
    """The method for a line that is a keyword and one word or text."""

    def word_line(builder: _Builder, children: list[Any]) -> Placed:
        word = builder.word(children[0])
        return Placed(WordLine(keyword, word), word.span.line)

    return word_line


def _number_line(keyword: str) -> Callable[[_Builder, list[Any]], Placed]:
    """The method for a line that is a keyword and a number."""

    def number_line(builder: _Builder, children: list[Any]) -> Placed:
        number = builder.number(children[0])
        return Placed(NumberLine(keyword, number), number.span.line)

    return number_line


def _word_of(key: str) -> Callable[[_Builder, list[Any]], tuple[str, Any]]:
    """The method for what a line says besides in a word or text."""
    return lambda builder, children: (key, builder.word(children[0]))


def _number_of(key: str) -> Callable[[_Builder, list[Any]], tuple[str, Any]]:
    """The method for what a line says besides in a number."""
    return lambda builder, children: (key, builder.number(children[0]))


def _form(kind: str) -> Callable[[_Builder, list[Any]], Form]:
    """The method for a form that has a count, or nothing."""

    def form(builder: _Builder, children: list[Any]) -> Form:
        if not children:
            return Form(kind, Span(builder.file, 0))
        return Form(kind, builder.span(children[0]), builder.number(children[1]))

    return form


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
        """A word, or a text without its quotation marks."""
        if token.type == "TEXT":
            return Word(unquoted(token), self.span(token))
        text = str(token)
        if token.type == "NAME" and (text.lower() in KEYWORDS or not text.isascii()):
            _refuse_odd_name(text, token.column or 1)
        return Word(text, self.span(token))

    def number(self, token: lark.Token) -> Number:
        text = str(token).lstrip("0") or "0"
        value = _whole(token) if token.type == "INT" else float(token[:40])
        return Number(value, self.span(token), f"0{text}"[:_QUOTED] if text[0] == "." else text[:_QUOTED])

    # head

    def start(self, children: list[Any]) -> list[Placed]:
        return [child for child in children if child is not None]

    pattern, note, include, by, difficulty, notion = map(
        _word_line, ("pattern", "note", "include", "by", "difficulty", "notion")
    )
    piece, needles, carriage, do = map(_word_line, ("piece", "needles", "carriage", "do"))
    make, edge = map(_number_line, ("make", "edge"))
    yarn_colour, yarn_weight, knit_in, knit_at = map(_word_of, ("colour", "weight", "in", "at"))
    yarn_tex, stitches_counted, rows_counted = map(_number_of, ("tex", "stitches", "rows"))
    across, up, mirrored, reversed = map(_form, ("across", "up", "mirrored", "reversed"))

    def photo(self, children: list[Any]) -> Placed:
        file, shows = map(self.word, children)
        return Placed(PhotoLine(file, shows), file.span.line)

    def yarn_ball(self, children: list[Any]) -> tuple[str, Any]:
        return "ball", tuple(map(self.number, children))

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
                        (value[0] if key == "ball" else value).span,
                        advice="Keep one of them.",
                    )
                )
            given[key] = value
        word = self.word(name)
        text = self.word(description).text if description is not None else ""
        facts_in_order = (given.get(key) for key in ("colour", "tex", "weight", "ball"))
        return Placed(YarnLine(word, text, *facts_in_order), word.span.line)

    # stitches

    def stitch_by_rows(self, children: list[Any]) -> Placed:
        name = self.word(children[0])
        over = self.number(children[1]) if children[1] is not None else None
        return Placed(StitchByRows(name, over), name.span.line)

    def numbers_to(self, children: list[Any]) -> tuple[int, int, int, int]:
        first, last = children
        end = first if last is None else last
        return _whole(first), _whole(end), first.column, end.column + len(end) - first.column

    def numbers(self, children: list[Any]) -> tuple[int, ...]:
        return tuple(chain.from_iterable(children))

    def out(self, children: list[Any]) -> Placed:
        word, flat = self.span(children[0]), iter(children[1])
        four = zip(flat, flat, flat, flat, strict=True)
        line = OutLine(tuple(Range(first, last, Span(word.file, word.line, *place)) for first, last, *place in four))
        return Placed(line, word.line)

    def row(self, children: list[Any]) -> Placed:
        numbers, yarn, cells = children
        line, text = cells.line + self.lines_before, cells[1:].lstrip()
        word = self.word(yarn) if yarn is not None else None
        column = cells.column + len(cells) - len(text)
        return Placed(Row(self.file, line, numbers, word, text.rstrip(), column), line)

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
            alone: Expression = children[0]
            return alone
        parts = tuple(children[::2])
        return Joined(kind, parts, tuple(self.span(token) for token in children[1::2]), max(map(_depth, parts)))

    def beside(self, children: list[Any]) -> Expression:
        return self._joined("beside", children)

    def then(self, children: list[Any]) -> Expression:
        return self._joined("then", children)

    def shifted(self, children: list[Any]) -> Form:
        word, count, side = children
        leftward = side is not None and side.type == "LEFT"
        return Form("shifted", self.span(word), self.number(count), leftward)

    def swap(self, children: list[Any]) -> tuple[Word, Word]:
        return self.word(children[0]), self.word(children[1])

    def replaced(self, children: list[Any]) -> Form:
        return Form("replaced", children[0][0].span, swaps=tuple(children))

    def stitch_built(self, children: list[Any]) -> Placed:
        name = self.word(children[0])
        expression = children[1]
        return Placed(StitchBuilt(name, expression, _depth(expression) > DEEPEST), name.span.line)

    # gauges and pieces

    def length(self, children: list[Any]) -> Length:
        return self._length(*children)

    def _length(self, token: lark.Token, unit: lark.Token) -> Length:
        number = self.number(token)
        return Length(number.value * _MM_PER[unit.type], number.span)

    def gauge(self, children: list[Any]) -> Placed:
        stitch, *counts, per, yarn, sure = children
        given: dict[str, Number] = {}
        again = None
        for key, number in counts:
            if key in given:
                again = number.span
            given[key] = number
        word = self.word(stitch)
        line = GaugeLine(word, given.get("stitches"), given.get("rows"), per, again)
        of_yarn = self.word(yarn) if yarn is not None else None
        return Placed(line._replace(yarn=of_yarn, sure=sure is not None), word.span.line)

    def width(self, children: list[Any]) -> Placed:
        length, plus, stitch = children
        return self._widths((length,), plus, stitch, "width", "")

    def sizes(self, children: list[Any]) -> Placed:
        *numbers, unit, plus, stitch = children
        lengths = tuple(self._length(number, unit) for number in numbers)
        return self._widths(lengths, plus, stitch, "sizes", "in" if unit.type == "INCH" else str(unit).lower())

    def _widths(self, lengths: tuple[Length, ...], plus: Any, stitch: Any, keyword: str, unit: str) -> Placed:
        line = WidthLine(lengths, plus, self.word(stitch) if stitch is not None else None, keyword, unit)
        return Placed(line, lengths[0].span.line)

    def rows(self, children: list[Any]) -> Number:
        return self.number(children[0])

    def exactly(self, children: list[Any]) -> tuple[str, Any]:
        return "exactly", None

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
        return Placed(line, word.span.line)


_MOST_FIGURES: Final = 15
_QUOTED: Final = 13
"""Signs that a quoted number needs: `short_number` shows twelve and whether there are more."""


def _whole(token: lark.Token) -> int:
    """The number; of a very long one its first figures, which are out of every range."""
    return int(token if len(token) <= _MOST_FIGURES else (token.lstrip("0") or "0")[:_MOST_FIGURES])


def _depth(expression: Expression) -> int:
    if isinstance(expression, Joined):
        return expression.depth
    return _depth(expression.part) if isinstance(expression, Formed) else 0

"""Messages as values, and their two renderings: for a terminal and as JSON.

Knows no stage of the compiler; every stage makes these, and only the command layer prints them.
"""

from __future__ import annotations

import functools
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from typing import Final, Literal, NamedTuple

from stitchc.english import runs_of

Severity = Literal["error", "warning", "info"]

STANDARD_INPUT: Final = "standard input"
"""What is read from there is called so, in messages and as a pattern's file."""

MOST_SHOWN = 100
"""Messages printed for one run; a file with thousands of slips gets these and a count of the rest."""


class Span(NamedTuple):
    """A place in a source: the file as the user named it, line and column from 1, length in characters."""

    file: str
    line: int
    column: int = 1
    length: int = 1


class Fix(NamedTuple):
    """An edit in the file of the message: `length` characters from `column` of `line` become `text`."""

    line: int
    column: int
    length: int
    text: str


class Message(NamedTuple):
    """One thing to tell the user.

    code: as in `stitchc explain CODE`. text: one sentence that stands by itself, in the knitter's words, with the
    user's own text in back-ticks. label: the few words at the caret that say why. advice: something to type or do.
    also: further places that belong to it, each with its label. fix: the edit that the advice describes, where an
    editor can make it.
    """

    code: str
    severity: Severity
    text: str
    span: Span | None = None
    advice: str | None = None
    label: str = ""
    also: tuple[tuple[Span, str], ...] = ()
    fix: Fix | None = None

    def as_warning(self) -> Message:
        """The same message as a warning (what `--anyway` does to an error)."""
        return self._replace(severity="warning") if self.severity == "error" else self

    def as_json(self) -> dict[str, object]:
        """The fields the contract promises, in its order; a message without a place has nulls there."""
        span = self.span
        return {
            "code": self.code,
            "severity": self.severity,
            "file": span.file if span else None,
            "line": span.line if span else None,
            "column": span.column if span else None,
            "length": span.length if span else None,
            "text": self.text,
            "cure": self.advice,
            "fix": self.fix._asdict() if self.fix else None,
        }


class Refused(Exception):
    """Raised by a stage that cannot go on: carries the messages that say why (at least one error).

    sources: the lines of the files their spans are in, where the stage has read any.
    """

    def __init__(self, *messages: Message, sources: Mapping[str, Sequence[str]] | None = None) -> None:
        self.messages = messages
        self.sources: Mapping[str, Sequence[str]] = sources or {}
        super().__init__("; ".join(f"{message.code}: {message.text}" for message in messages))


def has_errors(messages: Iterable[Message]) -> bool:
    return any(message.severity == "error" for message in messages)


def in_order(messages: Iterable[Message]) -> list[Message]:
    """Sorted by place (messages without a place first), each kept once."""
    nowhere = Span("", 0, 0, 0)
    return sorted(dict.fromkeys(messages), key=lambda m: (m.span or nowhere, m.code, m.text))


_FEW_ALIKE = 2
"""Messages alike that are each shown; of more, the first is shown with a count and the lines of the others."""
_MOST_RANGES = 8


def grouped(messages: Iterable[Message]) -> list[Message]:
    """The messages as people read them: a mistake that repeats is one message, with its other places."""
    alike: dict[object, list[Message]] = {}
    for nth, message in enumerate(messages):
        span = message.span
        key = (message.code, message.severity, message.text, span.file) if span and not message.also else nth
        alike.setdefault(key, []).append(message)
    out: list[Message] = []
    for first, *others in alike.values():
        lines = sorted({other.span.line for other in others if other.span})
        if len(lines) < _FEW_ALIKE:
            out += [first, *others]
        else:
            where = f"The same on {len(lines)} more lines: {_ranges(lines)}."
            out.append(first._replace(text=f"{first.text} {where}"))
    return out


def _ranges(lines: Sequence[int]) -> str:
    """Line numbers as "3, 5 to 38"."""
    ranges = [str(first) if first == last else f"{first} to {last}" for first, last in runs_of(lines)]
    return ", ".join([*ranges[:_MOST_RANGES], *["…"] * (len(ranges) > _MOST_RANGES)])


def to_json(messages: Sequence[Message]) -> str:
    """The `stitchc-messages/1` document."""
    import json

    document = {"format": "stitchc-messages/1", "messages": [message.as_json() for message in messages]}
    return json.dumps(document, ensure_ascii=False, indent=2)


def render(message: Message, sources: Mapping[str, Sequence[str]] | None = None, colour: bool = False) -> str:
    """The message for a terminal: a head line, the source line with its place marked, and what to try.

    The head line has the form of the GNU Coding Standards ("Formatting Error Messages"), which editors follow.
    sources: the lines of each file by the name its spans use. colour: ANSI codes, which only repeat what the
    words already say.
    """
    paint = _PAINT[message.severity] if colour else ""
    bold, off = ("\x1b[1m", "\x1b[0m") if colour else ("", "")
    where = f"{_place(message.span)}: " if message.span else ""
    lines = [f"{bold}{where}{paint}{message.severity}{off}{bold}: {visible(message.text)} [{message.code}]{off}"]
    if message.span:
        lines += _marked(message.span, message.label, sources, paint, off)
    for span, label in message.also:
        lines += [f"{_place(span)}: {visible(label)}", *_marked(span, "", sources, paint, off)]
    if message.advice:
        first, *rest = message.advice.splitlines()
        lines.append(f"Try: {visible(first)}")
        lines += [f"     {visible(line)}" for line in rest]
    return "\n".join(lines)


def _place(span: Span) -> str:
    return f"{visible(span.file)}:{span.line}:{span.column}"


def _marked(
    span: Span, label: str, sources: Mapping[str, Sequence[str]] | None, paint: str, off: str
) -> tuple[str, ...]:
    """The source line and the line below it that marks the place; the label alone where the line is not known."""
    text = _line_of(sources, span)
    if text is None:
        return (f"  {visible(label)}",) if label else ()
    shown, left, width = _excerpt(text, span.column, span.length)
    mark = f"  {' ' * left}{paint}{'^' * max(1, width)}{' ' + visible(label) if label else ''}{off}"
    return f"  {shown}".rstrip(), mark


_PAINT = {"error": "\x1b[31m", "warning": "\x1b[33m", "info": "\x1b[36m"}


def visible(text: str) -> str:
    """Text made safe to print: control, bidirectional and lone-surrogate characters become `\\u{…}`."""
    if text.isprintable():  # so are no characters of those kinds
        return text
    return "".join(_shown(character) for character in text)


def escaped(json_text: str) -> str:
    """JSON with every character that `visible` would change written `\\uXXXX`: the same document, safe to print."""
    if json_text.isascii():
        return json_text
    return "".join(
        f"\\u{ord(c):04x}" if "\x7f" <= c <= "\uffff" and _shown(c) != c and not c.isspace() else c for c in json_text
    )


@functools.lru_cache(maxsize=1024)
def _shown(character: str) -> str:
    if character == "\t":
        return " "
    if unicodedata.category(character) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"):
        return f"\\u{{{ord(character):x}}}"
    return character


def columns_of(text: str) -> int:
    """How many terminal columns the text takes (Unicode Standard Annex 11).

    Wide and full-width characters take two; marks that are written over or under a letter take none.
    """
    if text.isascii():
        return len(text)
    return sum(
        0 if unicodedata.category(c) in ("Mn", "Me") else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in text
    )


def _line_of(sources: Mapping[str, Sequence[str]] | None, span: Span) -> str | None:
    lines = (sources or {}).get(span.file)
    return lines[span.line - 1] if lines and 0 < span.line <= len(lines) else None


_EXCERPT = 90


def _excerpt(line: str, column: int, length: int) -> tuple[str, int, int]:
    """The part of a long line around the place, with the caret's offset and width in terminal columns."""
    start = min(max(column - 1, 0), len(line))
    end = min(start + max(length, 1), len(line))
    first = 0 if len(line) <= _EXCERPT else max(0, min(start - 30, len(line) - _EXCERPT))
    last = min(len(line), first + _EXCERPT)
    end = min(max(end, start), last)
    head = ("… " if first else "") + visible(line[first:start])
    marked = visible(line[start:end])
    tail = visible(line[end:last]) + (" …" if last < len(line) else "")
    return head + marked + tail, columns_of(head), columns_of(marked)

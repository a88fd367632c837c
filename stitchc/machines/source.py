"""A profile's text: read as UTF-8 TOML within bounds, with the place of every key and value in it.

The library's TOML reader gives no places, so they are looked for in the text. Knows nothing of what a profile says.
"""

from __future__ import annotations

import ast
import contextlib
import re
from collections.abc import Mapping, Sequence
from typing import Any, Final, NoReturn

from stitchc.messages import Message, Refused, Span

MOST_BYTES: Final = 64 * 1024
MOST_IN_A_LINE: Final = 400
"""A longer line is refused before it is parsed: the time a TOML reader takes grows steeply with a key's dots."""


def _decoded(text: str | bytes, file: str) -> str:
    content = text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass")
    if len(content) > MOST_BYTES:
        text = f"`{file}` is too large for a machine profile: a profile has at most {MOST_BYTES // 1024} KiB."
        _refuse(text, "Begin a new one: stitchc machines --write hand-standard > my.toml")
    try:
        return content.decode("utf-8").removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        column = error.start - content.rfind(b"\n", 0, error.start)
        label = f"byte 0x{content[error.start]:02x}"
        text = f"The machine profile `{file}` is not UTF-8 text: {label} cannot be read."
        _refuse(text, "Save the file as UTF-8 in your editor.", Span(file, line, column))


def _refuse(
    text: str, advice: str, span: Span | None = None, sources: Mapping[str, Sequence[str]] | None = None
) -> NoReturn:
    raise Refused(Message("M304", "error", text, span, advice), sources=sources)


_A_LINE: Final = 'A line is a [table], or a key = value with text in quotes: tuck = "holding".'
_TWICE: Final = {
    "Cannot overwrite a value": "key",
    "Duplicate inline table key": "key",
    "Cannot declare": "table",
    "Cannot mutate immutable namespace": "table",
    "Cannot redefine namespace": "table",
}
"""How the library's TOML reader begins to say that something was given before, and what that is."""


class Source:
    """A profile's text, with the place of every key and value in it."""

    def __init__(self, text: str | bytes, file: str) -> None:
        """Raises Refused where the text is too large or not UTF-8. file: what messages call it."""
        self.file = file
        self.text = text = _decoded(text, file)
        self.lines = text.replace("\r\n", "\n").split("\n")
        self.sources = {file: self.lines}
        self._keys: dict[tuple[str, ...], Span] = {}
        self._values: dict[tuple[str, ...], Span] = {}

    def parsed(self) -> dict[str, Any]:
        """The text as nested dictionaries; raises Refused where it is not TOML."""
        import tomllib

        for number, line in enumerate(self.lines, start=1):
            if len(line) > MOST_IN_A_LINE:
                self._stop(f"A line of a machine profile has at most {MOST_IN_A_LINE} characters.", number, 1, 1)
        try:
            document = tomllib.loads(self.text)
        except RecursionError:
            self._stop("The brackets of this profile are nested too deep.", 1, 1, 1)
        except ValueError as error:  # TOMLDecodeError, and what a number of thousands of digits raises
            at_line, at_column = self._place(str(error))
            reason = re.sub(r"\s*\(at .*?\)\s*$", "", str(error)) or "it cannot be read"
            for beginning, kind in _TWICE.items():
                if reason.startswith(beginning):
                    self._given_twice(kind, _name_in(reason), at_line, at_column)
            reason = reason.replace("Illegal", "Invalid")
            self._stop(f"This is not valid TOML: {reason[:1].lower()}{short(reason[1:], 120)}.", at_line, at_column, 1)
        self._find_places()
        return document

    def _given_twice(self, kind: str, name: str, number: int, column: int) -> NoReturn:
        """Stops where something is given again: at its name if the line shows it, and else at the line's own text.

        name: what the TOML reader called it, or nothing where it gave no name.
        """
        line = self.lines[number - 1]
        entry = self._HEADER.match(line) or self._ENTRY.match(line)
        shows_it = entry and ("{" not in line[:column] if not name else _dotted(entry[1])[-1:] == (name,))
        if entry and shows_it:
            text, start = entry[1], entry.start(1)
            kind = "table" if self._HEADER.match(line) else kind
        else:
            text, start = line.strip(), len(line) - len(line.lstrip())
        called = f" in `{short(text)}`" if not shows_it and not name else f" `{short(text if shows_it else name)}`"
        self._stop(
            f"This is not valid TOML: the {kind}{called} is given twice.",
            number,
            start + 1,
            max(1, len(text)),
            advice="Leave out one of the two" + (", or put all its keys under the first." if kind == "table" else "."),
        )

    def _place(self, reason: str) -> tuple[int, int]:
        where = re.search(r"\(at line (\d+), column (\d+)\)", reason)
        if where:
            return int(where[1]), int(where[2])
        last = max((n for n, line in enumerate(self.lines, start=1) if line.strip()), default=1)
        if "end of document" in reason:
            return last, len(self.lines[last - 1].rstrip()) + 1
        longest = max(range(len(self.lines)), key=lambda n: len(self.lines[n]), default=0)
        return longest + 1, 1

    def _stop(self, text: str, line: int, column: int, length: int, advice: str = _A_LINE) -> NoReturn:
        _refuse(text, advice, Span(self.file, line, column, length), self.sources)

    _HEADER: Final = re.compile(r"\s*\[\[?\s*([^\]#]+?)\s*\]")
    _ENTRY: Final = re.compile(r"""\s*((?:"[^"]*"|'[^']*'|[\w-]+)(?:\s*\.\s*(?:"[^"]*"|'[^']*'|[\w-]+))*)\s*=\s*""")

    def _find_places(self) -> None:
        """Where keys and values stand. The text is valid TOML by now; what is written oddly just has no place."""
        blanked = re.sub(
            r'"""[\s\S]*?"""|' + r"'''[\s\S]*?'''", lambda m: re.sub(r"[^\n]", " ", m[0]), "\n".join(self.lines)
        )
        table: tuple[str, ...] = ()
        for number, line in enumerate(blanked.split("\n"), start=1):
            header = self._HEADER.match(line)
            if header:
                table = _dotted(header[1])
                self._keys.setdefault(table, Span(self.file, number, header.start(1) + 1, len(header[1])))
                continue
            entry = self._ENTRY.match(line)
            if entry:
                self._note(table, line, number, entry)

    def _note(self, table: tuple[str, ...], line: str, number: int, entry: re.Match[str]) -> None:
        path = table + _dotted(entry[1])
        value = _value_end(line, entry.end())
        self._keys[path] = Span(self.file, number, entry.start(1) + 1, len(entry[1]))
        self._values[path] = Span(self.file, number, entry.end() + 1, max(1, len(value)))
        if value.startswith("{"):
            for inner in re.finditer(r"[{,]\s*([\w-]+)\s*=\s*", value):
                here = (*path, inner[1])
                rest = re.match(r"\"[^\"]*\"|'[^']*'|[^,}]*", value[inner.end() :])
                length = len(rest[0].rstrip()) if rest else 1
                self._keys[here] = Span(self.file, number, entry.end() + inner.start(1) + 1, len(inner[1]))
                self._values[here] = Span(self.file, number, entry.end() + inner.end() + 1, max(1, length))

    def key(self, path: tuple[str, ...]) -> Span | None:
        """Where the key (or its table, or the file) stands."""
        while path:
            if path in self._keys:
                return self._keys[path]
            path = path[:-1]
        return Span(self.file, 1, 1, 1)

    def value(self, path: tuple[str, ...]) -> Span | None:
        """Where the value stands, or else its key."""
        return self._values.get(path) or self.key(path)

    def comment(self, path: tuple[str, ...]) -> str:
        """What stands after the value on its line."""
        place = self._values[path]
        rest = self.lines[place.line - 1][place.column - 1 + place.length :]
        return rest.partition("#")[2].strip()


def _dotted(text: str) -> tuple[str, ...]:
    parts = re.findall(r"\"([^\"]*)\"|'([^']*)'|([\w-]+)", text)
    return tuple("".join(part) for part in parts)


def _name_in(reason: str) -> str:
    """The key's own name (the last part of a dotted one) in what the TOML reader says, or nothing."""
    written = re.search(r"""\(["'].*\)|'.*'|".*\"""", reason)
    if written is None:
        return ""
    with contextlib.suppress(ValueError, SyntaxError):
        name = ast.literal_eval(written[0])
        return str(name[-1]) if isinstance(name, tuple) else str(name)
    return ""


def _value_end(line: str, start: int) -> str:
    """The value that starts there, without the comment after it."""
    quote = ""
    for place in range(start, len(line)):
        letter = line[place]
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'":
            quote = letter
        elif letter == "#":
            return line[start:place].rstrip()
    return line[start:].rstrip()


def short(text: str, most: int = 40) -> str:
    """The text for a message: at most so many characters of it."""
    return text if len(text) <= most else text[: most - 1] + "…"

"""The cells of a row, read along the grammar of runs and groups: with counts before or behind, in brackets or stars."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import islice
from typing import Final

from stitchc.messages import Span
from stitchc.notation.cells import read_cells
from stitchc.notation.fixes.surroundings import Surroundings
from stitchc.notation.fixes.tokens import Token, Value, tokens, values
from stitchc.notation.fixes.walk import NO_TOKEN, Reading, State, as_line, cheapest
from stitchc.notation.tree import Word

_MOST_READINGS: Final = 12
_A_BRACKET: Final = 2.0
_OPENS: Final = ("(", "[", "{")
_CLOSES: Final = (")", "]", "}")
_SEPARATORS: Final = (",", ";", ":", "|", "!")
_JOINTS: Final = ("/", "+", "&", ".", "-", "–", "—", "_")
_COUNT_SIGNS: Final = ("x", "*", "=", ":", "^")
_LETTERS: Final = ("K", "T", "S")
_REST: Final = ("to end", "again", "from *")
_CLEANED: Final = tuple(
    (re.compile(pattern, re.IGNORECASE), written)
    for pattern, written in (
        (r"\s*(?://|--)\s*(?![kts\d(]*(?:\W|$)|knit|tuck|slip)[a-z].*$|/\*.*?\*/", ""),
        (r"\((?:plain|RS|WS|purl side|[a-z ]*remark)\)", ""),
        (r"·(?=\s*\d)", "x"),
        (r"\b([KTS])[(\[](\d+)[)\]](?!\s*x)", r"\1\2"),
        (r"(\([^()]*?)\s+[x*]\s*(\d+)\s*\)(?!\s*[x*\d])", r"\1)x\2"),
        (r"^[\s:=]+|(?<!\.)\.$|[\s,;!]+$", ""),
    )
)
"""Remarks and signs around the cells, and brackets that are none of groups."""
_WIDTH: Final = re.compile(r"\s*[(\[]\s*(\d+)\s*(sts?|stitches|needles)?\s*[)\]]$", re.IGNORECASE)


def cells_meant(text: str, around: Surroundings) -> Iterator[tuple[float, str]]:
    """The cells that a text may mean, and what each way of reading it costs."""
    text = "".join(str(int(c)) if c.isdecimal() else c for c in text)
    for pattern, written in _CLEANED:
        text = pattern.sub(written, text)
    if text.count('"') % 2:
        return
    text, width = text.replace('"', " "), None
    if stated := _WIDTH.search(text):
        without = text[: stated.start()].strip()
        if stated[2] or without[-1:].lower() not in ("k", "t", "s"):
            text, width = without, int(stated[1])
    for row, times in _parts(_Row(tokens(text, around, cells=True))):
        readings = cheapest(Reading(0, (), ("",), ()), row.moves, row.is_whole)
        for cost, cells in dict.fromkeys((cost, as_line(r.words)) for cost, r in islice(readings, _MOST_READINGS) if r):
            if times != 1:
                cells = f"({cells})x{times}" if len(re.findall("[KTS]", cells)) > 1 else ""
            if cells and (width is None or _width(cells) == width):
                yield cost, cells


def _width(cells: str) -> int:
    widths, _ = read_cells(Word(cells, Span("", 1)))
    return widths.width if widths else 0


def _parts(row: _Row) -> Iterator[tuple[_Row, int]]:
    """What may be the cells, without words that say something of all of them, and how often they are knitted."""
    line, first, last = row.tokens, 0, len(row.tokens)
    while first < last and (line[first].may_be("again") or line[first].text.lower() == "all"):
        first += 1
    while last > first and (line[last - 1].text in tuple(",;.!*") or line[last - 1].may_be(*_REST)):
        last -= 1
    body, left = line[first:last], [*line[:first], *line[last:]]
    stars = sum(t.text == "*" for t in line)
    stars -= stars == 1 and any(t.kind == "number" and line[i].text == "*" for i, t in enumerate(line[1:]))
    if not body or (not stars and any(t.may_be("from *") for t in line)):
        return
    inner = (
        body[1:] if body[0].text == "*" else body[1:-1] if body[0].text in _OPENS and body[-1].text in _CLOSES else []
    )
    if inner and not any(t.text in ("*", *_OPENS, *_CLOSES) or t.may_be("from *") for t in inner):
        yield _Row(inner), 1
        if not left:
            yield _Row(inner), 2  # a group without its count, which matters where the row sets the width
        return
    ended = any(t.may_be("to end") for t in left)
    if not ended or len(body) == 1:
        yield _Row(line if stars else body), 1
    if not ended and not stars and not any(t.text in _OPENS for t in line):
        yield from _repeated(row, first, last, first > 0)


def _repeated(row: _Row, first: int, last: int, again: bool) -> Iterator[tuple[_Row, int]]:
    """Cells with a count at one end that may be that of all of them. again: first once, and then so often."""
    line = row.tokens
    alone = sum(t.kind == "number" for t in line) == 1
    for value in (value for at in row.values for value in at):
        spaced = value.kind == "number" and alone and not row.glued(value.place) and not row.glued(value.after)
        cells = line[first : value.place] if value.after >= last else []
        if value.place == first and not row.glued(value.after):
            cells = line[value.after : last]
        signed = value.kind == "times" and not (cells == line[first : value.place] and row.glued(value.place))
        if cells and (spaced or signed) and not row.all_signed:  # one that touches a letter is of that letter
            part = _Row(cells)
            yield part, int(value.text)
            if again:
                yield part, int(value.text) + 1


def _after(state: State, terminal: str) -> State | None:
    """The state after one more terminal: for each open bracket a "(", and what stood last."""
    last, outer = state[-1], state[:-1]
    if terminal in ("LETTERS", "LPAR") and last != "RPAR":
        return (*outer, "LETTERS") if terminal == "LETTERS" else (*outer, "(", "LPAR")
    if last == ("RPAR" if terminal == "TIMES" else "LETTERS") and terminal in ("BEFORE", "BEHIND", "SIGNED", "TIMES"):
        return (*outer, "COUNT")
    if terminal == "RPAR" and outer and last in ("LETTERS", "COUNT"):
        return (*outer[:-1], "RPAR")
    return None


class _Row:
    """The tokens of a row's cells. A count behind a letter is the terminal BEHIND, one that stood before it BEFORE."""

    def __init__(self, line: list[Token]) -> None:
        self.tokens, self.values = line, values(line)
        letters = sum(t.kind == "letters" or bool(t.may_be(*_LETTERS)) for t in line)
        joints = [t.text for t in line if t.text in _JOINTS]
        self.joint: str | None = joints[0] if len({*joints}) == 1 and len(joints) == letters - 1 else None
        signed = [t.kind == "number" and line[place].text in _COUNT_SIGNS for place, t in enumerate(line[1:])]
        self.all_signed = sum(signed) == sum(
            len(t.text) if t.kind == "letters" else t.may_be(*_LETTERS) != "" for t in line
        )
        self.open = sum(t.text in _OPENS for t in line) - sum(t.text in _CLOSES for t in line)

    def is_whole(self, reading: Reading) -> bool:
        return reading.place == len(self.tokens) and reading.state in (("LETTERS",), ("COUNT",)) and not reading.held

    def token(self, place: int) -> Token:
        return self.tokens[place] if 0 <= place < len(self.tokens) else NO_TOKEN

    def glued(self, place: int) -> bool:
        """Whether a token touches the one before it."""
        return place > 0 and self.token(place - 1).end == self.token(place).start

    def moves(self, reading: Reading) -> Iterator[tuple[float, Reading]]:
        waiting, last, here = reading.held[-1] if reading.held else None, reading.state[-1], self.token(reading.place)
        if waiting is not None and last in ("LETTERS", "RPAR"):
            rest = reading._replace(held=reading.held[:-1])
            if last == "RPAR":
                yield from self.fed(rest, "TIMES", f"x{waiting.text}")
            elif len(reading.words[-1][1]) == 1 and (waiting.kind == "number" or self.glued(reading.place - 1)):
                yield from self.fed(rest, "BEFORE", waiting.text)
            return
        for value in self.values[reading.place] if reading.place < len(self.tokens) else ():
            on = reading._replace(place=value.after)
            yield from self.taken(value, on)
            if waiting is None and self.may_wait(value, reading):
                yield 0.0, on._replace(held=(*reading.held, value), state=(*reading.state[:-1], "HELD"))
            if self.says_nothing(value, reading):
                yield 0.1, on
        counted = self.glued(reading.place) and self.token(reading.place - 1).text.isalnum() and here.text.isalnum()
        if abs(self.open) == 1 and not counted:
            for _, on in self.fed(reading, *(("RPAR", ")") if self.open == 1 else ("LPAR", "("))):
                yield _A_BRACKET, on

    def fed(self, reading: Reading, terminal: str, text: str) -> Iterator[tuple[float, Reading]]:
        state, held = _after(reading.state, terminal), reading.held
        other = {"BEFORE": "BEHIND", "BEHIND": "BEFORE"}.get(terminal)  # counts stand on one side in a row
        if state is None or (terminal == "RPAR" and held[-1]) or any(before == other for before, _ in reading.words):
            return
        held = (*held, None) if terminal == "LPAR" else held[:-1] if terminal == "RPAR" else held
        yield 0.0, reading._replace(held=held, state=state, words=(*reading.words, (terminal, text)))

    def taken(self, value: Value, on: Reading) -> Iterator[tuple[float, Reading]]:
        letter, before = value.token.may_be(*_LETTERS), self.token(value.place - 1)
        if value.kind == "letters" or letter:
            yield from self.fed(on, "LETTERS", letter or value.text.upper())
        elif value.kind in ("number", "stitches", "times", "more"):
            apart = before.may_be("and", "then") or (before.text in _SEPARATORS and before.text not in _COUNT_SIGNS)
            if not apart and not (self.touches_a_letter(value.after) and not self.glued(value.place)):
                yield from self.counted(value, before, on)
        elif value.text in _OPENS:
            yield from self.fed(on, "LPAR", "(")
        elif value.text in ("*", *_CLOSES) or value.token.may_be("from *"):
            yield from self.fed(on, "RPAR", ")")
            if value.text == "*" and not (on.held and on.held[-1] and on.held[-1].kind == "number"):
                yield from self.fed(on, "LPAR", "(")

    def counted(self, value: Value, before: Token, on: Reading) -> Iterator[tuple[float, Reading]]:
        """A count behind a letter or a group."""
        if on.state[-1] == "RPAR":
            if value.kind == "more":
                yield from self.fed(on, "TIMES", f"x{int(value.text) + 1}")
            elif not before.may_be("from *") or self.token(value.after).may_be("in all"):
                yield from self.fed(on, "TIMES", f"x{value.text}")
        elif value.token.kind == "number" and value.kind in ("number", "stitches"):
            yield from self.fed(on, "BEHIND", value.text)
        elif value.token.text in _COUNT_SIGNS and value.kind == "times" and self.is_of_one(value.place):
            yield from self.fed(on, "SIGNED", value.text)

    def is_of_one(self, place: int) -> bool:
        """Whether a sign and a count are of one letter alone: `K T x 4 K` may be four of both."""
        return self.glued(place) or self.all_signed or place + 2 == len(self.tokens)

    def touches_a_letter(self, place: int) -> bool:
        """Whether a token is a letter right behind the one before it."""
        return self.glued(place) and self.token(place).text[0].isalpha()

    def may_wait(self, value: Value, reading: Reading) -> bool:
        """Whether a count may stand before what it counts."""
        before = self.token(value.place - 1)
        if value.kind not in ("number", "times") or reading.state[-1] == "RPAR":
            return False
        if value.kind == "number" and before.text in _COUNT_SIGNS:
            return False
        behind_a_letter = self.glued(value.place) and before.text[0].isalpha()
        return not behind_a_letter or (self.glued(value.after) and any(t == "BEFORE" for t, _ in reading.words))

    def says_nothing(self, value: Value, reading: Reading) -> bool:
        text, place, last = value.text, value.place, reading.state[-1]
        before, behind = self.token(place - 1), self.token(place + 1)
        if value.kind != "word":
            return False
        glued = self.glued(place) and self.glued(place + 1)
        if last == "HELD":
            return text in ("x", "*") and before.kind == "number" and (glued or behind.text in _OPENS)
        if self.open and text == behind.text and text in (_OPENS if self.open > 0 else _CLOSES):
            return True
        if text in _COUNT_SIGNS and last == "LETTERS" and behind.kind == "number":
            return self.is_of_one(place)
        if text in _SEPARATORS:
            return not (glued and before.kind == behind.kind == "number") and (before.text != text or text == "|")
        if value.token.may_be("again", "from *"):
            return bool(last == "RPAR")
        if not behind.text or before.text in _JOINTS or last not in ("LETTERS", "COUNT"):
            return bool(value.token.may_be("in all"))
        if text in ("-", "–", "—", ".") and text == self.joint:  # else a range, a decimal, or a needle out of work
            return not (self.glued(place + 1) and behind.kind == "number") and not (
                glued and text != "." and before.kind == "letters"
            )
        joins = value.token.may_be("and", "then", "in all") and behind.text not in _COUNT_SIGNS
        return text == self.joint or bool(joins)

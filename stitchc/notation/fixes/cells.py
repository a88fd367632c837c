"""The cells of a row, read in each of the ways in which rows are written.

Counts stand before letters or behind them, and asterisks are brackets or signs of a count: in one row always the same.
Where that leaves two readings that differ, both are offered, so that neither is taken.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from typing import Final

from stitchc.notation.fixes.surroundings import Surroundings
from stitchc.notation.fixes.tokens import NO_TOKEN, Token, Value, tokens, values

_MOST_FIGURES: Final = 6
"""Of a count; no row is longer."""
_A_BRACKET: Final = 2.0
"""What it costs to add one."""
_OPENS: Final = ("(", "[", "{")
_CLOSES: Final = (")", "]", "}")
_SEPARATORS: Final = (",", ";", ":", "|")
_JOINTS: Final = ("/", "+", "&", ".", "-", "–", "—", "_")
_COUNT_SIGNS: Final = ("x", "*", "=", ":", "^")
_CLEANED: Final = (
    (re.compile(r"\b([KTS])[(\[](\d+)[)\]](?!\s*x)", re.IGNORECASE), r"\1\2"),
    (re.compile(r"(\([^()]*?)\s+[x*]\s*(\d+)\s*\)(?!\s*[x*\d])", re.IGNORECASE), r"\1)x\2"),
    (re.compile(r"^[\s:=]*[,|]?|(?<!\.)\.$|[\s,;!]+$|\""), " "),
)
"""Brackets around a count, a count that belongs behind its bracket, and signs around the cells."""


def cells_meant(text: str, around: Surroundings) -> Iterator[tuple[float, str]]:
    """The cells that a text may mean, and what each way of reading it costs."""
    for pattern, written in _CLEANED:
        text = pattern.sub(written, text)
    costs: dict[str, float] = {}
    for cost, line in _bracketed(tokens(text, around, cells=True)):
        for before, starred in itertools.product((False, True), repeat=2):
            for cells in _readings(line, before, starred):
                costs.setdefault(cells, cost)
    for cells, cost in costs.items():
        yield cost, cells


def _bracketed(line: list[Token]) -> Iterator[tuple[float, list[Token]]]:
    """The tokens, or where one bracket is too many or missing, without it or with it wherever it may be."""
    missing = sum(t.text in _OPENS for t in line) - sum(t.text in _CLOSES for t in line)
    if abs(missing) != 1:
        yield 0.0, line
        return
    for place, (before, behind) in enumerate(itertools.pairwise([NO_TOKEN, *line, NO_TOKEN])):
        if before.text == behind.text and before.text in (_OPENS if missing == 1 else _CLOSES):
            yield _A_BRACKET, [*line[:place], *line[place + 1 :]]
        elif before.end != behind.start:
            start = before.end if missing == 1 else behind.start
            bracket = Token("word", ")" if missing == 1 else "(", start, start)
            yield _A_BRACKET, [*line[:place], bracket, *line[place:]]


def _readings(line: list[Token], before: bool, starred: bool) -> Iterator[str]:
    """The cells, without words that say something of all of them."""
    first, last = 0, len(line)
    while first < last and (line[first].may_be("again") or line[first].text.lower() == "all"):
        first += 1
    while first < last and line[last - 1].may_be("to end", "again"):
        last -= 1
    ended = any(t.may_be("to end") for t in (*line[:first], *line[last:]))
    cells = _Row(line[first:last], before, starred).whole()
    if alone := re.fullmatch(r"\(([^()]*)\)", cells):
        if any(t.start == t.end for t in line):
            return  # a bracket was added, and a count is missing as well
        yield alone[1]
        if first == 0 and last == len(line) and line[-1].text != "*" and not line[-1].may_be("from *"):
            yield f"{cells}x2"  # without its count, which matters where the row sets the width
    elif cells and (not ended or last - first == 1):
        yield cells
    if ended or any(t.text in _OPENS or (starred and t.text == "*") for t in line):
        return
    # A count at one end may be of all of them.
    for value in (value for same_place in values(line) for value in same_place if value.kind in ("number", "times")):
        apart = line[value.place - 1].end != line[value.place].start if value.after >= last else value.place == first
        if apart and (value.kind == "times" or sum(t.kind == "number" for t in line) == 1):
            part = line[first : value.place] if value.after >= last else line[value.after : last]
            cells = _Row(part, before, starred).whole()
            if len(re.findall("[KTS]", cells)) > 1 and line[value.after - 1].end != part[0].start:
                yield f"({cells})x{value.text}"


class _Unread(Exception):
    """The cells cannot be read in this way."""


class _Row:
    """A row read in one way. before: letters have their counts before them. starred: asterisks are brackets."""

    def __init__(self, line: list[Token], before: bool, starred: bool) -> None:
        self.before, self.starred = before, starred
        self.tokens, self.values, self.place = [*line, NO_TOKEN, NO_TOKEN], [*values(line), [], []], 0
        letters, joints = sum(bool(_letters(t)) for t in line), [t.text for t in line if t.text in _JOINTS]
        self.joint = joints[0] if len({*joints}) == 1 and len(joints) == letters - 1 else None

    def whole(self) -> str:
        """The runs and groups, or "" where a count is missing (except of all of them), is not whole, or more is odd."""
        try:
            cells = " ".join(self.until_closed(""))
        except _Unread:
            return ""
        inner = re.sub(r"^\((.*)\)$", r"\1", cells)
        return "" if re.search(r"\)(?!x)|\.", inner) else cells

    @property
    def here(self) -> Token:
        return self.tokens[self.place]

    def glued(self, place: int) -> bool:
        """Whether a token touches the one before it."""
        return self.tokens[place - 1].end == self.tokens[place].start

    def until_closed(self, opened: str) -> list[str]:
        items: list[str] = []
        while True:
            while items and self.separates():
                self.place += 1
            closes = self.here.text == "*" or self.here.may_be("from *") if opened == "*" else self.here.text in _CLOSES
            if not self.here.text or (opened and closes):
                if self.tokens[self.place - 1].text == self.joint or self.tokens[self.place - 1].may_be("and", "then"):
                    raise _Unread
                return items
            items.append(self.item())

    def separates(self) -> bool:
        text = self.here.text
        if text in _SEPARATORS:
            return self.tokens[self.place - 1].text != text
        if text == self.joint:  # `K-T` has a needle out of work
            return text not in ("-", "–", "—") or not self.glued(self.place)
        return bool(self.here.may_be("and", "then", "in all"))

    def item(self) -> str:
        """A run or a group."""
        ahead, start = self.count_ahead(), self.here
        self.place += 1
        if letters := _letters(start):
            if ahead is None:
                return letters if self.before else letters + self.count_behind()
            if not self.before or len(letters) > 1 or (ahead.kind == "times" and not self.glued(self.place - 1)):
                raise _Unread
            return letters + ahead.text
        if start.text not in _OPENS and not (self.starred and start.text == "*"):
            raise _Unread
        inner = " ".join(self.until_closed(start.text))
        if not inner or not (self.here.text or start.text == "*"):
            raise _Unread
        self.place += bool(self.here.text)
        times = ahead.text if ahead else self.count_of_group()
        return f"({inner})x{times}" if times else f"({inner})"

    def value(self, *kinds: str) -> Value | None:
        """The longest value here, if it is one of these and no count of the letter behind it."""
        longest = max(self.values[self.place], key=lambda value: value.after, default=None)
        if longest is None or longest.kind not in kinds:
            return None
        behind = self.glued(longest.after) and self.tokens[longest.after].text[:1].isalpha()
        return None if behind and not self.glued(self.place) else longest

    def count_ahead(self) -> Value | None:
        value = next((v for v in self.values[self.place][::-1] if v.kind in ("number", "times")), None)
        if value is None or self.here.text == "*":
            return None
        if self.glued(self.place) and _letters(self.tokens[self.place - 1]) and not self.glued(value.after):
            raise _Unread  # it is of the letter before it
        self.place = value.after
        self.place += value.kind == "number" and self.here.text == "*"
        return value

    def count_behind(self) -> str:
        place, sign = self.place, self.here.text if self.here.text != "*" or not self.starred else ""
        signed = sign in _COUNT_SIGNS and self.tokens[place + 1].kind == "number"
        self.place += signed and (self.glued(place) or not self.tokens[place + 2].text)
        value = self.value("number", "stitches")
        self.place = value.after if value else place
        return value.text if value else ""

    def count_of_group(self) -> str:
        closing = self.tokens[self.place - 1]
        self.place += bool(self.here.may_be("again") and not self.value("times", "more"))
        value = self.value("number", "times", "more")
        if value is None:
            return ""
        if not value.text.isdecimal() or len(value.text) > _MOST_FIGURES:
            raise _Unread
        if closing.may_be("from *") and value.kind != "more" and not self.tokens[value.after].may_be("in all"):
            raise _Unread
        self.place = value.after
        return str(int(value.text) + (value.kind == "more"))


def _letters(token: Token) -> str:
    return token.text.upper() if token.kind == "letters" else token.may_be("K", "T", "S")

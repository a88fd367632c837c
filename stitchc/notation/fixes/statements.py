"""A wrong line read along the grammar's own states: the cheapest ways to take all that it says.

A token is taken as it is, as a word it is a slip of or another word for, or, if it says nothing, dropped; a value may
be held until the grammar has a place for it, and a small word that the grammar wants may be added. Each of these costs
something. No value is dropped and none is invented.
"""

from __future__ import annotations

import heapq
import itertools
import re
from collections.abc import Iterator
from typing import Final

from stitchc.notation.fixes.cells import cells_meant
from stitchc.notation.fixes.meanings import LINKS, MISSING, first_of, is_built, last_of, meanings, written
from stitchc.notation.fixes.spellings import FOREIGN
from stitchc.notation.fixes.surroundings import Surroundings, letters_wrong, times
from stitchc.notation.fixes.tokens import NO_TOKEN, Token, Value, tokens, values
from stitchc.notation.fixes.walk import Reading, Words, after, as_line, at_start
from stitchc.notation.gather import WEIGHTS
from stitchc.notation.vocabulary import KEYWORDS, TEXT_WORDS

_HOLDING, _DROPPING, _NO_KEYWORD = 0.5, 0.2, 1.0
_MOVED: Final = frozenset(
    {"left", "right", "exactly", "plus", "plain", "sure", "mirrored", "reversed", "across", "up", "shifted", *WEIGHTS}
)
_MOST_READINGS: Final = 1500
_MOST_COST: Final = 3.2
_BARRIERS: Final = ("OUT", "EQUAL", "THEN", "BESIDE")
"""What nothing is held across."""
_SILENT: Final = {
    "": "the then ( [ * > • # .",
    "INT": "rows then RS WS yarn",
    "STITCH": "name pattern called with -",
    "YARN": "| -",
    "OUT": "needles stitches work of",
    "GAUGE": "for over per in by gauge stitch measure with times = x /",
    "WIDTH": "width finished in for with",
    "NEEDLES": "needles stitches from width",
    "EDGE": "edge each end side at both stitches",
    "CARRIAGE": "at in starts start side stands from begins begin",
    "KNIT": "work for in with until stitch yarn at",
    "G": "= - / to of",
}
"""Words and signs that say nothing in a statement, or behind the last word; "": at the start of any."""
_PREPOSITIONS: Final = {"for", "in", "at", "per", "by", "over", "to", "and", "with"}
_NOUNS: Final = {"mm", "cm", "inch", "rows", "stitches"}
_SILENT_SIGNS: Final = tuple(",;:.|!>[](){}=•")
_DEFINES: Final = ("=", ":", ":=", "==", "is")
_ACTIONS: Final = re.compile(
    r"(?!.*\d\s*(?:st|needle))\"?(?:bind|cast(?!\s+(?:on\b.*)?\d)|hang|hook|take|remove|transfer|pick|sew|graft|unravel|steam"
    r"|block|press|weave)\b",
    re.IGNORECASE,
)
"""What a person does by hand: a line of a piece that begins so is a `do`; `cast on 40` may be its needles."""


class TooMany(Exception):
    """Not all readings were looked at, so nobody knows whether another is as near."""


class Line:
    """A wrong line. text: without its comment, in straight quotation marks and narrow signs."""

    def __init__(self, text: str, around: Surroundings) -> None:
        self.text, self.around = text, around
        self.tokens = tokens(text, around)
        self.values = values(self.tokens)
        self.joints = frozenset(joint for t in self.tokens if (joint := t.may_be("then", "beside")))

    def readings(self) -> Iterator[tuple[float, str]]:
        """Lines of the notation that take all that this one says, and what they cost, the cheapest first.

        An empty line says that whatever follows costs at least so much. Raises TooMany.
        """
        order = itertools.count()
        heap = [(0.0, next(order), Reading(0, (), at_start(), ()))]
        seen: set[Reading] = set()
        passed = 0.0
        while heap and heap[0][0] <= _MOST_COST:
            cost, _, reading = heapq.heappop(heap)
            if reading in seen:
                continue
            seen.add(reading)
            if len(seen) > _MOST_READINGS:
                raise TooMany
            if cost > passed:
                passed = cost
                yield cost, ""
            if self.is_whole(reading):
                yield cost, as_line(reading.words)
                continue
            for more, following in self.moves(reading):
                heapq.heappush(heap, (round(cost + more, 2), next(order), following))

    def is_whole(self, reading: Reading) -> bool:
        ended = reading.place == len(self.tokens) and not reading.held and bool(reading.words)
        return ended and last_of(reading.words) != "CELLS" and after(reading.state, "_NEWLINE") is not None

    def token(self, place: int) -> Token:
        return self.tokens[place] if 0 <= place < len(self.tokens) else NO_TOKEN

    def moves(self, reading: Reading) -> Iterator[tuple[float, Reading]]:
        if last_of(reading.words) == "CELLS":
            yield from self.cells(reading)
            return
        held, waiting = reading.held, reading.waiting()
        for value in self.values[reading.place] if reading.place < len(self.tokens) else ():
            on = reading._replace(place=value.after)
            taken = list(self.taken(value, on)) if _order(value) not in map(_order, waiting) else []
            yield from taken
            if self.may_wait(value, reading.words) and not (reading.words and any(cost == 0 for cost, _ in taken)):
                yield _HOLDING, on._replace(held=(*held, value))
            if self.says_nothing(value, reading):
                yield _DROPPING, on
        for index, value in enumerate(waiting):
            if _order(value) not in map(_order, waiting[:index]):
                place = len(held) - len(waiting) + index
                yield from self.taken(value, reading._replace(held=held[:place] + held[place + 1 :]))
        yield from self.added(reading)
        if reading.place < len(self.tokens):
            yield from self.bare_text(reading)

    # -- in its place, later, or not at all ----------------------------------------------------------------------------

    def taken(self, value: Value, rest: Reading) -> Iterator[tuple[float, Reading]]:
        """A value in its place, with a small word before it where that is missing."""
        kind = value.kind if value.kind != "word" else next(iter(value.token.meanings), "")
        links = [written(link) for link, kinds in LINKS.items() if kind in kinds.split()]
        for link in ((), *((link,) for link in links if (link[0] != "WITH" or "WITH" not in dict(rest.words)))):
            before = (*rest.words, *link)
            state = after(rest.state, *(terminal for terminal, _ in link))
            for cost, more in meanings(value, before, state, self.around, self.joints) if state is not None else ():
                if not self.is_odd(value, more):
                    yield from self.fed(rest, (*link, *more), cost + MISSING * len(link))

    def fed(self, reading: Reading, more: Words, cost: float) -> Iterator[tuple[float, Reading]]:
        state, held, first = after(reading.state, *(terminal for terminal, _ in more)), reading.held, more[0][0]
        if state is None or not self.fits(reading.words, more) or (first in _BARRIERS and held and held[-1]):
            return
        held = (*held, None) if first == "LPAR" else held[:-1] if first == "RPAR" else held
        yield cost, reading._replace(held=held, state=state, words=(*reading.words, *more))

    def fits(self, words: Words, more: Words) -> bool:
        """Whether a name stands where names of its kind do."""
        first, (terminal, text) = first_of(words), more[-1]
        before = more[-2][0] if len(more) > 1 else last_of(words)
        if more[0][0] == "IN" and last_of(words) in ("INT", "DECIMAL"):
            return first == "INT"  # elsewhere it is a unit
        if before == "IN" and terminal in ("NAME", "PLAIN"):
            return (text in self.around.yarns) == (first not in ("WIDTH", "SIZES"))
        free = terminal != "NAME" or before in ("STITCH", "YARN", "PIECE", "_COLOUR", "WEIGHT")
        return free or text in self.around.stitches

    def is_odd(self, value: Value, more: Words) -> bool:
        """Whether a sign cannot stand for the colon of a row: it parts two numbers, or is not what parts the cells."""
        if more[-1][0] != "CELLS" or value.text == ":":
            return False
        before, behind, rest = self.token(value.place - 1), self.token(value.after), self.text[value.token.end :]
        glued = before.end == value.token.start and value.token.end == behind.start and behind.kind == "number"
        return (glued and value.text in "-–—.") or ":" in rest or (value.text == "," and "," not in rest)

    def may_wait(self, value: Value, words: Words) -> bool:
        """Whether a value may stand before its place: of words only some."""
        if value.kind == "number" and first_of(words) in ("INT", "OUT", "SIZES"):
            return False
        return value.kind != "word" or not _MOVED.isdisjoint((*value.token.meanings, value.text.lower()))

    def says_nothing(self, value: Value, reading: Reading) -> bool:
        """Whether a word or sign can be left out here."""
        words, low, known = reading.words, value.text.lower(), {value.text.lower(), *value.token.meanings}
        first, last = first_of(words), last_of(words)
        before, behind = self.token(value.place - 1), self.token(value.after)
        if value.kind != "word":
            return False
        if not first:
            in_yarn = "in" in known and behind.kind == "yarn"
            of_a_row = "rows" in known and (behind.kind == "number" or behind.text in ("[", "."))
            return in_yarn or of_a_row or bool(known & {*_SILENT[""].split()})
        if low in _SILENT_SIGNS:
            return low in ",;:.|!" if is_built(words) else first != "INT" or low not in ":="
        says = before.kind == "number" and first not in ("INT", "OUT") and known & _NOUNS  # `12 in rows`
        ends = not behind.kind and known & _PREPOSITIONS  # and what it says is missing
        if says or ends or ("yarn" in known and behind.kind != "yarn"):
            return False
        if "the" in known:
            return low != "a" or first not in ("STITCH", "YARN", "PIECE")
        if is_built(words):
            return bool({"by", "for"} & known)
        if {"and", "to"} & known:
            return first not in ("INT", "OUT", "SIZES")
        return bool(known & {*_SILENT.get(first, "").split(), *(_SILENT["G"].split() if last == "G" else ())})

    # -- what is missing -----------------------------------------------------------------------------------------------

    def added(self, reading: Reading) -> Iterator[tuple[float, Reading]]:
        """Words that may be missing here."""
        words, here = reading.words, self.token(reading.place)
        first, last = first_of(words), last_of(words)
        if not first:
            for keyword in self.missing_keywords(reading.place):
                yield from self.fed(reading, (written(keyword.upper()),), _NO_KEYWORD)
            if self.around.first_row and re.match(r"\d*[KTS(\[*\"][^:]*$", self.text[here.start :], re.IGNORECASE):
                yield from self.fed(reading, (("INT", "1"), written("CELLS")), _NO_KEYWORD)
        elif first == "STITCH" and last == "NAME" and not is_built(words):
            defined = any(t.text in _DEFINES for t in self.tokens)
            yield from () if defined else self.fed(reading, (written("EQUAL"),), 2 * MISSING)
        elif first == "INT" and here.text[:1].lower() in tuple("kts([*") and ":" not in self.text[here.start :]:
            yield from self.fed(reading, (written("CELLS"),), MISSING)
        if any(terminal == "LPAR" for terminal, _ in words):
            yield from self.fed(reading, (written("RPAR"),), 2.2 if here.kind else 1.0)

    def missing_keywords(self, place: int) -> Iterator[str]:
        rest = self.tokens[place:]
        if rest and after(at_start(), rest[0].text.upper()) and rest[0].text.lower() != "width":
            return
        kinds = {v.kind for at in self.values[place:] for v in at}
        kinds |= {meaning for t in rest for meaning in t.meanings}
        if self.around.block == "piece":
            if kinds & {"stitch", "plain"}:
                yield "knit"
            if kinds & {"stitches", "range"} and not rest[0].may_be("stitches"):
                yield "needles"
            if kinds & {"left", "right"}:
                yield "carriage"
        elif rest and rest[0].kind in ("word", "text", "stitch"):
            slip = len(rest[0].text) > 3 and any(letters_wrong(rest[0].text.lower(), word) < 2 for word in KEYWORDS)
            alone = self.around.rows_follow and not slip and all(t.text in tuple(":=;.") for t in rest[1:])
            if alone or self.token(place + 1).text in _DEFINES:
                yield "stitch"

    # -- texts and cells -----------------------------------------------------------------------------------------------

    def bare_text(self, reading: Reading) -> Iterator[tuple[float, Reading]]:
        """A text without quotation marks."""
        words, place, before = reading.words, reading.place, self.token(reading.place - 1)
        start, end = self.tokens[place].start, len(self.tokens)
        keyword: Words = ()
        text = ""
        if not first_of(words):
            if self.around.block == "piece" and _ACTIONS.match(self.text, start):
                text, keyword = _bare(self.text[start:]), (written("DO"),)
        elif len(words) == 1 and words[0][1] in TEXT_WORDS and before.text.lower() not in FOREIGN:
            sure = before.text[:1].isalpha() and (before.meanings or len(before.text) > 3)  # not `buy wool`, `not yet`
            if sure and "the" not in before.meanings:
                text = _bare(re.sub(r"^[\s:=,]*(?:[-–]\s+)?", "", self.text[before.end :]))
        elif [terminal for terminal, _ in words[-2:]] == ["YARN", "NAME"]:
            end = place
            while self.token(end).text[:1].isalpha():
                end += 1
            listed = before.text == "," and (end == place + 1 or "," in self.text[start:])
            told = before.text in tuple(",:=(-") or times(words[-1][1], self.around.text)
            text = self.text[start : self.token(end - 1).end] if end > place and told and not listed else ""
        if text:
            yield from self.fed(reading._replace(place=end), (*keyword, ("TEXT", f'"{text}"')), MISSING)

    def cells(self, reading: Reading) -> Iterator[tuple[float, Reading]]:
        """The rest of the line as the cells of a row, up to the next row on the same line."""
        place, end, words = reading.place, reading.place + 1, reading.words
        if place >= len(self.tokens):
            return
        while end < len(self.tokens) and not (self.token(end).kind == "number" and self.token(end + 1).text == ":"):
            end += 1
        yarn, text = _yarn_in(self.text[self.tokens[place].start : self.tokens[end - 1].end], self.around)
        if yarn:
            words = (*words[:-1], ("IN", "in"), ("NAME", yarn), words[-1])
        for cost, row in cells_meant(text, self.around):
            on = reading._replace(place=end, words=(*words, ("", row)))
            yield from self.fed(on, (written("_NEWLINE"),), cost) if end < len(self.tokens) else [(cost, on)]


def _order(value: Value) -> str:
    """What values are alike, which stay in their order."""
    return value.kind if value.kind != "word" else f"the word {value.text}"


def _yarn_in(text: str, around: Surroundings) -> tuple[str, str]:
    """The one yarn named among the cells of a row, or "", and the text without it."""
    names = {name.lower(): name for name in around.yarns if name.lower() not in ("k", "t", "s")}
    any_of = "|".join(re.escape(name) for name in sorted(names, key=len, reverse=True)[:200]) or r"(?!)"
    named = rf"(?:\b(?:in|with|using)\s+)?(?:\b(?:yarn|colou?r)\s+)?\"?(?<![\w-])({any_of})(?![\w-])"
    pattern = re.compile(rf"[,(]?\s*{named}\"?\s*\)?,?", re.IGNORECASE)
    found = {match[1].lower() for match in pattern.finditer(text)}
    if len(found) != 1:
        return "", text
    return names[found.pop()], pattern.sub(" ", text).strip()


def _bare(text: str) -> str:
    """A text without the quotation marks around it and without the sign behind it."""
    text = text.strip().rstrip(";").strip()
    if quoted := re.fullmatch(r"[(\[{<*_|]+([^]()\[{}<>*|]*)[])}>*_|]+|[,.:;]?\s*\"([^\"]*)\"?[,.]?", text):
        text = next(group for group in quoted.groups() if group is not None)
    return text.strip() if re.search(r"[^\W\d_]{2}", text) else ""

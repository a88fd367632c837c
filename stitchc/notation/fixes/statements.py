"""A wrong line poured into the one statement that takes it: its values, in any order that the statement has.

The grammar's own states say what may come next; whatever of the line fits there is put there, the cheapest first. A
value that fits only later waits, a word that says nothing is left out, and a small word that the grammar wants is
added: each costs something. What is left over at the end, a number, a name or a word that says something, means that
the line is not read: no value is dropped and none is invented.
"""

from __future__ import annotations

import heapq
import itertools
import re
from collections.abc import Iterator
from typing import Final, NamedTuple

from stitchc.notation.fixes.cells import cells_meant
from stitchc.notation.fixes.meanings import LINKS, MISSING, first_of, is_built, last_of, meanings, written
from stitchc.notation.fixes.spellings import FOREIGN
from stitchc.notation.fixes.surroundings import Surroundings
from stitchc.notation.fixes.tokens import NO_TOKEN, Token, Value, tokens, values
from stitchc.notation.fixes.walk import State, Words, after, as_line, at_start
from stitchc.notation.gather import WEIGHTS
from stitchc.notation.vocabulary import TEXT_WORDS

_WAITING, _DROPPING, _NO_KEYWORD = 0.5, 0.2, 1.0
_MOVED: Final = frozenset(
    {"left", "right", "exactly", "plus", "plain", "sure", "mirrored", "reversed", "across", "up", "shifted", *WEIGHTS}
)
"""Words that may stand before their place."""
_MOST_READINGS: Final = 1500
_MOST_COST: Final = 3.2
_BARRIERS: Final = ("OUT", "EQUAL", "THEN", "BESIDE")
"""What nothing waits across."""
_ALWAYS_SILENT: Final = frozenset({*",;:.|!>[](){}=•", "the"})
_SILENT: Final = {
    terminal: frozenset(words.split()) | (_ALWAYS_SILENT if terminal not in ("", "EQUAL", "INT") else set())
    for terminal, words in {
        "": "the then in rows ( [ * > • # .",
        "INT": ", ; . | ! [ ] ( ) the then RS WS yarn rows",
        "EQUAL": ", ; : . | ! the by for",
        "STITCH": "and to name pattern called with -",
        "YARN": "and to | - / of",
        "OUT": "needles stitches work of",
        "GAUGE": "and to for over per in by gauge stitch measure with times x /",
        "WIDTH": "and to width finished in for with",
        "NEEDLES": "and to needles stitches from width",
        "EDGE": "and to edge each end side at both stitches",
        "CARRIAGE": "and to at in starts start side stands from begins begin",
        "KNIT": "and to work for in with until stitch yarn at",
    }.items()
}
"""Words and signs that say nothing in any statement, in those that begin so, before their keyword, and behind `=`."""
_PREPOSITIONS: Final = {"for", "in", "at", "per", "by", "over", "to", "and", "with"}
_NOUNS: Final = {"mm", "cm", "inch", "rows", "stitches"}
_DEFINES: Final = ("=", ":", ":=", "==", "is")
_ACTIONS: Final = re.compile(
    r"(?!.*\d\s*(?:st|needle))\"?(?:bind|cast(?!\s+(?:on\b.*)?\d)|hang|hook|take|remove|transfer|pick|sew|graft|unravel|steam"
    r"|block|press|weave)\b",
    re.IGNORECASE,
)
"""What a person does by hand: a line of a piece that begins so is a `do`; `cast on 40` may be its needles."""


class TooMany(Exception):
    """Not all readings were looked at, so nobody knows whether another is as near."""


class Reading(NamedTuple):
    """left: the places of the tokens that are in no word yet."""

    left: tuple[int, ...]
    state: State
    words: Words


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
        heap = [(0.0, next(order), Reading(tuple(range(len(self.tokens))), at_start(), ()))]
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
            whole = bool(reading.words) and after(reading.state, "_NEWLINE") is not None
            if not reading.left and whole and last_of(reading.words) != "CELLS":
                yield cost, as_line(reading.words)
                continue
            for more, following in self.moves(reading):
                heapq.heappush(heap, (round(cost + more, 2), next(order), following))

    def token(self, place: int) -> Token:
        return self.tokens[place] if 0 <= place < len(self.tokens) else NO_TOKEN

    def moves(self, reading: Reading) -> Iterator[tuple[float, Reading]]:
        """What may come next: any value left, if what stands before it may wait or be left out."""
        if last_of(reading.words) == "CELLS":
            yield from self.cells(reading)
            return
        yield from self.added(reading)
        yield from self.bare_text(reading)
        cost, left, behind, waiting = 0.0, reading.left, 0, set[str]()
        for place in reading.left:
            if place < behind:
                continue
            longest, fits = max(self.values[place], key=lambda value: value.after), False
            for value in self.values[place]:
                rest = tuple(other for other in left if not place <= other < value.after)
                if _order(value) in waiting or len(left) - len(rest) < value.after - place:
                    continue
                for more, following in self.taken(value, reading._replace(left=rest)):
                    if not waiting or following.words[len(reading.words)][0] not in _BARRIERS:
                        fits = fits or (value == longest and more == 0)
                        yield cost + more, following
            if self.says_nothing(place, reading.words):
                cost, left = cost + _DROPPING, tuple(other for other in left if other != place)
                if not left:
                    yield cost, reading._replace(left=left)
            elif self.may_wait(longest, reading.words) and not (fits and reading.words):
                cost, behind = cost + _WAITING, longest.after
                waiting.add(_order(longest))
            else:
                return

    # -- in its place, later, or not at all ----------------------------------------------------------------------------

    def taken(self, value: Value, rest: Reading) -> Iterator[tuple[float, Reading]]:
        """A value in its place, with a small word before it where that is missing."""
        kind = value.kind if value.kind != "word" else next(iter(value.token.meanings), "")
        for link in ("", *(link for link, kinds in LINKS.items() if kind in kinds.split())):
            if link == "WITH" and "WITH" in dict(rest.words):
                continue
            small: Words = (written(link),) if link else ()
            state = after(rest.state, link) if link else rest.state
            words = (*rest.words, *small)
            for cost, more in meanings(value, words, state, self.around, self.joints) if state is not None else ():
                if not self.is_odd(value, more):
                    yield from self.fed(rest, (*small, *more), cost + MISSING * len(small))

    def fed(self, reading: Reading, more: Words, cost: float) -> Iterator[tuple[float, Reading]]:
        state, words = after(reading.state, *(terminal for terminal, _ in more)), reading.words
        unit = more[0][0] == "IN" and last_of(words) in ("INT", "DECIMAL") and first_of(words) != "INT"  # no `in` there
        if state is not None and not unit:
            yield cost, reading._replace(state=state, words=(*reading.words, *more))

    def is_odd(self, value: Value, more: Words) -> bool:
        """Whether a sign cannot stand for the colon of a row: it is not what parts the cells."""
        rest = self.text[value.token.end :]
        colon = more[-1][0] == "CELLS" and value.text != ":"
        return colon and (":" in rest or (value.text == "," and "," not in rest))

    def may_wait(self, value: Value, words: Words) -> bool:
        """Whether a value may stand before its place: of words only some."""
        if value.kind == "number" and first_of(words) in ("INT", "OUT", "SIZES"):
            return False
        return value.kind != "word" or not _MOVED.isdisjoint((*value.token.meanings, value.text.lower()))

    def says_nothing(self, place: int, words: Words) -> bool:
        """Whether a word or sign can be left out."""
        before, behind = self.token(place - 1), self.token(place + 1)
        token, first = self.tokens[place], "EQUAL" if is_built(words) else first_of(words)
        known = {token.text.lower(), *filter(str.isalpha, token.meanings)}
        says = before.kind == "number" and first not in ("INT", "OUT") and known & _NOUNS  # `12 in rows`
        ends = not behind.kind and known & _PREPOSITIONS  # and what it says is missing
        yarn = bool(known & {"yarn", *_PREPOSITIONS} if not first else "yarn" in known) and behind.kind != "yarn"
        name = token.text.lower() == "a" and first in ("STITCH", "YARN", "PIECE")
        silent = _SILENT.get(first, _ALWAYS_SILENT)
        return token.kind == "word" and not (says or ends or yarn or name) and not known.isdisjoint(silent)

    # -- what is missing -----------------------------------------------------------------------------------------------

    def added(self, reading: Reading) -> Iterator[tuple[float, Reading]]:
        """Words that may be missing here."""
        words, rest = reading.words, [self.tokens[place] for place in reading.left]
        first, here = first_of(words), rest[0] if rest else NO_TOKEN
        if not first:
            kinds = {value.kind for place in reading.left for value in self.values[place]}
            for keyword in self.missing_keywords(rest, kinds.union(*(token.meanings for token in rest))):
                yield from self.fed(reading, (written(keyword),), _NO_KEYWORD)
            if self.around.first_row and re.match(r"\d*[KTS(\[*\"][^:]*$", self.text[here.start :], re.IGNORECASE):
                yield from self.fed(reading, (("INT", "1"), written("CELLS")), _NO_KEYWORD)
        elif first == "STITCH" and not is_built(words):
            yield from self.fed(reading, (written("EQUAL"),), 2 * MISSING)
        elif first == "INT" and here.text[:1].lower() in tuple("kts([*") and ":" not in self.text[here.start :]:
            yield from self.fed(reading, (written("CELLS"),), MISSING)
        if any(terminal == "LPAR" for terminal, _ in words):
            yield from self.fed(reading, (written("RPAR"),), 2.2 if rest else 1.0)

    def missing_keywords(self, rest: list[Token], kinds: set[str]) -> Iterator[str]:
        if rest and after(at_start(), rest[0].text.upper()) and rest[0].text.lower() != "width":
            return
        if self.around.block == "piece":
            if kinds & {"stitch", "plain"}:
                yield "KNIT"
            if kinds & {"stitches", "range"} and not rest[0].may_be("stitches"):
                yield "NEEDLES"
            if kinds & {"left", "right"}:
                yield "CARRIAGE"
        elif rest[1:2] and rest[1].text in _DEFINES:
            yield "STITCH"

    # -- texts and cells -----------------------------------------------------------------------------------------------

    def bare_text(self, reading: Reading) -> Iterator[tuple[float, Reading]]:
        """A text without quotation marks."""
        if not reading.left:
            return
        words, start, before = reading.words, self.tokens[reading.left[0]].start, self.token(reading.left[0] - 1)
        keyword: Words = ()
        known = before.meanings or (len(before.text) > 3 and before.text.isalpha())  # not `buy wool`, `not yet`
        if not words and self.around.block == "piece" and _ACTIONS.match(self.text, start):
            keyword = (written("DO"),)
        elif len(words) != 1 or words[0][1] not in TEXT_WORDS or not known or before.text.lower() in FOREIGN:
            return
        if text := _bare(re.sub(r"^[\s:=,]*(?:[-–]\s+)?", "", self.text[start if keyword else before.end :])):
            yield from self.fed(reading._replace(left=()), (*keyword, ("TEXT", f'"{text}"')), MISSING)

    def cells(self, reading: Reading) -> Iterator[tuple[float, Reading]]:
        """The rest of the line as the cells of a row, up to the next row on the same line."""
        if not reading.left:
            return
        place, end, words = reading.left[0], reading.left[0] + 1, reading.words
        while end < len(self.tokens) and not (self.token(end).kind == "number" and self.token(end + 1).text == ":"):
            end += 1
        yarn, text = _yarn_in(self.text[self.tokens[place].start : self.tokens[end - 1].end], self.around)
        if yarn:
            words = (*words[:-1], ("IN", "in"), ("NAME", yarn), words[-1])
        for cost, row in cells_meant(text, self.around):
            on = reading._replace(left=tuple(range(end, len(self.tokens))), words=(*words, ("", row)))
            yield from self.fed(on, (written("_NEWLINE"),), cost) if end < len(self.tokens) else [(cost, on)]


def _order(value: Value) -> str:
    """What values are alike, which stay in their order."""
    return value.kind if value.kind != "word" else f"the word {value.text}"


def _yarn_in(text: str, around: Surroundings) -> tuple[str, str]:
    """The one yarn named among the cells of a row, or "", and the text without it."""
    names = {name.lower(): name for name in around.yarns if name.lower() not in ("k", "t", "s")}
    any_of = "|".join(re.escape(name) for name in sorted(names, key=len, reverse=True)[:200]) or r"(?!)"
    mention = rf"(?:\b(?:in|with|using)\s+)?(?:\b(?:yarn|colou?r)\s+)?\"?(?<![\w-])({any_of})(?![\w-])"
    pattern = re.compile(rf"[,(]?\s*{mention}\"?\s*\)?,?", re.IGNORECASE)
    mentioned = {match[1].lower() for match in pattern.finditer(text)}
    if len(mentioned) != 1:
        return "", text
    return names[mentioned.pop()], pattern.sub(" ", text).strip()


def _bare(text: str) -> str:
    """A text without the quotation marks around it and without the sign behind it."""
    text = text.strip().rstrip(";").strip()
    if quoted := re.fullmatch(r"[(\[{<*_|]+([^]()\[{}<>*|]*)[])}>*_|]+|[,.:;]?\s*\"([^\"]*)\"?[,.]?", text):
        text = next(group for group in quoted.groups() if group is not None)
    return text.strip()

"""The cells that a row with mistakes in it most likely meant, for a cure that keeps the writer's own cells.

Reads what a hand knitter, a spreadsheet or a word processor makes of a row, and gives up (None) wherever more than one
meaning is likely. Loaded only when a row has a mistake in it; knows the row's text and nothing else of the pattern.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Container
from typing import Final, NamedTuple

from stitchc.messages import Span, visible
from stitchc.notation.cells import read_cells
from stitchc.notation.slips import DEEPEST, FIGURES
from stitchc.notation.tree import Word, composed

LONGEST: Final = 300
"""A longer row is left as it is; nobody writes such a row by hand."""


class Meant(NamedTuple):
    """Cells that can be read.

    said: what the mistake is, where the whole row is it. comment: what was none of a row. code: what `said` is.
    place: the offsets in the text that it is about; None is all of it.
    """

    cells: str
    said: str = ""
    comment: str = ""
    code: str = "N101"
    place: tuple[int, int] | None = None


class _Cell(NamedTuple):
    letter: str
    many: int | None
    glued: bool
    """Whether it is written against the cell before it."""


class _Number(NamedTuple):
    value: int
    before: bool
    """Whether it is written against what stands before it."""
    after: bool


class _Times(NamedTuple):
    """`x4`, `4x`, `4 times`. first: the number stands first. against: written against what is before it."""

    value: int
    first: bool
    against: bool


class _Group(NamedTuple):
    parts: list[_Part]
    many: int | None
    glued: bool = False


_Part = _Cell | _Group
_Token = _Cell | _Number | _Times | str


class _Unclear(Exception):
    """More than one meaning is likely, or none."""


_NAME: Final = r"[^\W\d_](?:[\w-])*"
_YARNS: Final = (
    rf"(?P<cells>.*?)[\s,;(]+(?P<in>[iI][nN]\s+)?(?:[yY][aA][rR][nN]\s+)?(?P<yarn>{_NAME})\)?\s*",
    rf"\s*\(?(?P<in>[iI][nN]\s+)?(?:[yY][aA][rR][nN]\s+)?(?P<yarn>{_NAME})\)?[\s:,;]+(?P<cells>.*?)",
)
_REMARK: Final = "A remark behind a row's cells begins with `#`."
_ENDS: Final = "A row ends with its last cell."
_BY_ITSELF: Final = "A row repeats by itself; only its cells are written."
_NOTHING: Final = "A count is at least 1, not `0`."
_REPEATED: Final = "A group's count stands after it, with an `x` between them."
_INSIDE: Final = "A group's count stands behind its bracket."
_WORDS: Final = (
    (r"\bknit(?:s|ted)?\b", "K"),
    (r"\btuck(?:s|ed)?\b", "T"),
    (r"\b(?:slip|miss|float|skip)(?:s|ped|ed)?\b", "S"),
    (r"\bsl\b\.?", "S"),
    (r"\bsl(?=[0-9])", "S"),
    (r"\bonce\b(?=\s+more\b)", "1 times"),
    (r"\btwice\b", "2 times"),
    (r"\bthrice\b", "3 times"),
    (r"(?<=[0-9])\s*(?:sts?|stitch(?:es)?|needles?|ndls?)\b\.?", " "),
)
_TIMES_IN_WORDS: Final = re.compile(rf"\b({'|'.join(FIGURES)})\s+(?=(?:more\s+)?times\b)", re.IGNORECASE)
_TAIL: Final = re.compile(
    r"[\s,;.]*(?:\b(?:rep(?:eat)?|(?:all\s+)?to\s+(?:the\s+)?end|across|along|throughout)\b[^()\[\]{}*0-9]*|\ball)\s*$",
    re.IGNORECASE,
)
_STARRED: Final = re.compile(
    r"\*\s*(?P<inside>[^*()]*?)[;,.\s]*(?:\*|(?=\brep))[\s,;]*(?P<again>(?:rep(?:eat)?(?:\s+from)?\b|from\b)\s*\*?)?\s*"
    r"(?:(?P<end>(?:to\s+(?:the\s+)?end|across|throughout)\b(?:\s+(?:of\s+)?(?:the\s+)?row\b)?)"
    r"|x\s*(?P<times>[0-9]{1,7})\b|(?P<first>[0-9]{1,7})(?![0-9])\s*(?:times\b|x\b|(?=more\b)"
    r"|(?=\s*(?:[,;.]|$|[KTS][0-9]))))?(?P<more>\s*more\b(?:\s*times\b)?)?(?P<all>\s*(?:in\s+(?:all|total)|altogether)\b)?",
    re.IGNORECASE,
)  # fmt: skip
_PRODUCT: Final = re.compile(
    r"(?P<open>\))\s*\*\s*(?P<groups>[0-9]{1,7})(?![0-9])"
    r"|(?<![^\W\d_])(?P<letter>[KTSkts])(?:\*\s*| \* )(?P<after>[0-9]{1,7})(?![0-9])"
    r"|(?<![\w*])(?P<before>[0-9]{1,7})(?:[*xX×·]| \* )(?P<counted>[KTSkts])(?![KTSkts0-9])",
)
_EVERY: Final = re.compile(
    r"\b(?:plain|(?:on\s+)?(?:every|each|all)(?:\s+the)?\s+(?:needles?|stitch(?:es)?|sts?))\s*$", re.IGNORECASE
)
_TOKEN: Final = re.compile(
    r"(?P<times>(?:[xX×*·]|\brep(?:eat)?\b)\s*(?P<after>[0-9]{1,7})(?:\s*times\b)?)"
    r"|(?P<number_first>(?P<first>[0-9]{1,7})\s*(?:[xX×*](?!\s*[0-9])|times\b(?:\s+of\b)?))"
    r"|(?P<letter>[KTSkts])(?:(?P<count>[0-9][0-9oOlI]{0,6})|\((?P<boxed>[0-9]{1,7})\))?(?![^\W\d_KTSktsxX])"
    r"|(?P<number>[0-9]{1,7})"
    r"|(?P<open>\()|(?P<close>\)(?:\s*[xX×](?!\s*[0-9]))?)"
    r"|(?P<between>[,;/|\\&+]|\band\b|\bthen\b|[-–](?=\s*[KTSkts(])|(?<=[0-9])_(?=[KTSkts(]))"
)


def cells_meant(text: str) -> Meant | None:
    """What a row's text most likely meant, or None where that cannot be known. Never raises."""
    if len(text) > LONGEST:
        return None
    try:
        whole = unicodedata.normalize("NFKC", text).replace("…", "...").strip()
        bare, comment = _without_remark(whole)
        plain = re.sub(r"(?:[\s;,.]|\betc)+$", "", bare, flags=re.IGNORECASE)
        ended = (_BY_ITSELF if re.search(r"etc|\.\.", bare[len(plain) :]) else _ENDS) if plain != bare else ""
        plain = re.sub(r"^(?:\s*[=:])*\s*(?:rep(?:eat)?\s+(?=[KTSkts(]))?", "", plain)
        plain = _EVERY.sub("", plain) or "K"
        if quoted := re.fullmatch(r"[\"“„'‘]([^\"“”„'‘’]*)[\"”'’]", plain):
            plain = quoted[1]
        if colon := re.fullmatch(r"((?:[KTSkts][0-9]*\s*)+):((?:\s*[KTSkts][0-9]*)+)", plain):
            plain = f"{colon[1]} {colon[2]}"
        plain = _TIMES_IN_WORDS.sub(lambda times: f"{FIGURES[times[1].lower()]} ", plain)
        for expression, letter in _WORDS:
            plain = re.sub(expression, letter, plain, flags=re.IGNORECASE)
        plain = re.sub(r"^\s*all\s+(?=[KTS]\s*$)", "", plain, flags=re.IGNORECASE)
        plain = plain.translate(str.maketrans("[]{}", "()()"))
        if re.fullmatch(r"(?:\s*[0-9]+\s*[KTSkts])+", plain):  # 3K2T
            plain = re.sub(r"([0-9]+)\s*([KTSkts])", r" \2\1", plain)
        if signed := re.fullmatch(r"(?:\s*[KTSkts]\s*([=:.^_])\s*[0-9]+\b[\s,;]*)+", plain):  # `K=12 T=10`
            plain = plain.replace(signed[1], " ") if len(set(re.findall("[=:.^_]", plain))) == 1 else plain
        if re.search(r"[KTSkts]\*[KTSkts]\*[0-9]", plain):
            raise _Unclear  # `K*T*12`
        if re.match(r"\s*[0-9]+[*xX×][KTSkts][0-9]*\s+\S", plain := _multiplied(plain)):
            raise _Unclear  # `3*K3 T`: what is three times is not said
        plain = _starred(plain)
        bare = _TAIL.sub("", plain)
        if re.search(r"\bto\s+(?:the\s+)?end\b", plain[len(bare) :], re.IGNORECASE) and (
            not re.search(r"\brep", plain[len(bare) :], re.IGNORECASE)
            and re.search(r"[0-9,;]|\bthen\b", bare)
            and re.search(r"[KTSkts][\s\S]*[KTSkts]\s*$", bare)
        ):
            raise _Unclear  # `K2, T to end`: the row once more, or tucks as far as it goes
        parts, said = _Reader(bare, endless=bare != plain).read()
    except _Unclear:
        return None
    cells = _written(parts)
    found, messages = read_cells(Word(cells, Span("", 1, 1, len(cells))))
    if found is None or messages:
        return None
    if all(part.many == 0 for part in parts):
        return Meant(cells, _NOTHING, comment, "N115")
    ended = _REMARK if comment else _BY_ITSELF if bare != plain else ended
    return Meant(cells, said or ended, comment)


def row_meant(head: str, text: str, has_yarn: bool, yarns: Container[str]) -> Meant | None:
    """The line or lines that a row most likely meant: its yarn before the colon, a second row on a line of its own.

    head: the row's numbers as they are written in a cure. yarns: the names of the yarns that are declared.
    """
    if len(text) > LONGEST:
        return None
    first, *others = re.split(r"[\s;,.]+(?=[0-9]+(?:\s*[-–,]\s*[0-9]+)*\s*:)", text)
    meant = None
    if not has_yarn:
        for expression in _YARNS:
            match = re.fullmatch(expression, first)
            if match is None or not (match["in"] or _is_yarn(match["yarn"], yarns)):
                continue
            meant = cells_meant(match["cells"])
            if meant is not None:
                said = "The yarn of a row stands before the colon."
                begin = match.start("in" if match["in"] else "yarn")
                meant = meant._replace(said=said, place=(begin, match.end("yarn")))
                head = f"{head} in {match['yarn']}"
                break
    meant = meant or cells_meant(first)
    if meant is None:
        return None
    lines = f"{head}: {meant.cells}" + (f"  # {visible(meant.comment)}" if meant.comment else "")
    for other in others:
        numbers, _, cells = other.partition(":")
        further = row_meant(numbers, cells, has_yarn, yarns)
        if further is None:
            return None
        lines += f"\n{further.cells}"
    return meant._replace(cells=lines)


def _is_yarn(name: str, yarns: Container[str]) -> bool:
    return composed(name) in yarns and re.fullmatch("[KTSkts]+", name) is None


def _without_remark(text: str) -> tuple[str, str]:
    """The text without a remark behind its cells that other notations mark otherwise, and the remark."""
    remark = re.search(r"\s*(?://|--+\s|/\*|%)\s*(.*?)\s*(?:\*/)?$", text)
    remark = remark or re.search(r"\s+[(\[]\s*([0-9]+\s*(?:sts?|stitches|needles?))\s*[)\]]$|\s+\[([0-9]+)\]$", text)
    remark = remark or re.search(r"\s*\((?!\s*[KTSkts0-9(])([^()0-9]+)\)$", text)
    remark = remark or re.search(r"\s*\(((?=[^()]*[^KTSktsxX×()\s,;.*])[^()0-9]{4,})\)$", text)
    if remark is None or not remark.start():
        return text, ""
    return text[: remark.start()], next(filter(None, remark.groups()), "")


def _multiplied(text: str) -> str:
    """`K*2 T*3` and `2*K 3*T` as counts, if every asterisk is such a sign and none begins or ends a repeat."""
    products = list(_PRODUCT.finditer(text))
    spaced = sum(product[0][1:2] == " " for product in products)
    if spaced and len(products) < len(re.findall("[KTSkts]", text)):
        raise _Unclear  # `K T * 4`: the last cell, or all of them
    if not products or sum("*" in product[0] for product in products) != text.count("*"):
        return text

    def counted(product: re.Match[str]) -> str:
        if product["open"]:
            return f")x{product['groups']} "
        return f" {product['letter'] or product['counted']}{product['after'] or product['before']} "

    return _PRODUCT.sub(counted, text)


def _starred(text: str) -> str:
    """`*K T* 4 times` as a group; one that goes on to the end is the row itself, if it is the whole row."""
    match = _STARRED.search(text)
    if match is None or not re.search(r"[KTSkts]", match["inside"]) or re.match(r"\*\s*[0-9]+\s*$", match.group()):
        return text
    count = match["times"] or match["first"]
    before, after = text[: match.start()], text[match.end() :]
    if count is not None and (match["again"] is None or match["more"] or match["all"]):
        return f"{before} ({match['inside']})x{int(count) + bool(match['more'])} {after}"
    if count is not None or before.strip() or after.strip(" .,;"):
        raise _Unclear  # how often it is knitted is not said
    return match["inside"]


class _Reader:
    """Tokens to parts: counts to their letters and groups, whichever side they stand on."""

    def __init__(self, text: str, endless: bool) -> None:
        self.endless = endless
        self.said = ""
        self.at = 0
        self.tokens = self.split(text)

    def split(self, text: str) -> list[_Token]:
        tokens: list[_Token] = []
        position = 0
        while position < len(text):
            if text[position].isspace():
                position += 1
                continue
            match = _TOKEN.match(text, position)
            if match is None:
                raise _Unclear
            against = position > 0 and not text[position - 1].isspace()
            if match["times"]:
                tokens.append(_Times(int(match["after"]), False, against))
            elif match["number_first"]:
                tokens.append(_Times(int(match["first"]), True, against))
            elif match["letter"]:
                figures = match["count"] or match["boxed"]
                count = int(figures.translate(str.maketrans("oOlI", "0011"))) if figures else None
                glued = against and isinstance(tokens[-1] if tokens else None, _Cell)
                tokens.append(_Cell(match["letter"].upper(), count, glued))
            elif match["number"]:
                after = text[match.end() : match.end() + 1]
                tokens.append(_Number(int(match["number"]), against, after in (*"KTSkts(",)))
            elif match["open"]:
                tokens.append("(")
            elif match["close"]:
                tokens.append(")")
            else:
                if match["between"] in "-–" and not (against or re.search(r"[0-9]", text)):
                    raise _Unclear  # a dash may stand for a needle
                tokens.append(",")
            position = match.end()
        return tokens

    def read(self) -> tuple[list[_Part], str]:
        parts = self.sequence(0)
        if self.at < len(self.tokens) or not parts:
            raise _Unclear
        if len(parts) == 1 and isinstance(parts[0], _Group) and parts[0].many is None:
            parts = parts[0].parts
        return parts, self.said

    def peek(self, ahead: int = 0) -> _Token | None:
        return self.tokens[self.at + ahead] if self.at + ahead < len(self.tokens) else None

    def sequence(self, depth: int) -> list[_Part]:
        if depth > DEEPEST:
            raise _Unclear
        parts: list[_Part] = []
        number: int | None = None  # one that waits for the letter or group behind it
        every: int | None = None  # how often the whole sequence is knitted
        counts_first = isinstance(self.peek(), _Number)
        while (token := self.peek()) is not None and token != ")":
            self.at += 1
            last = parts[-1] if parts else None
            if isinstance(token, _Cell):
                if number is not None:
                    if token.many is not None:
                        raise _Unclear
                    token = token._replace(many=number)
                    number = None
                parts.append(token)
            elif isinstance(token, _Number):
                number = self.number(token, parts, number, counts_first)
            elif isinstance(token, _Times):
                following = self.peek()
                if isinstance(last, _Group) and last.many is None:
                    parts[-1] = last._replace(many=token.value)
                elif following == "(" and (last is None or token.first) and number is None:
                    number, self.said = token.value, _REPEATED
                elif last is None and number is None:
                    every, self.said = token.value, _REPEATED
                else:
                    every = self.times(token, parts, following)
            elif token == "(":
                inside = self.sequence(depth + 1)
                if self.peek() != ")" or not inside:
                    raise _Unclear
                self.at += 1
                if (  # `(K T x2)`
                    len(inside) == 1
                    and isinstance(only := inside[0], _Group)
                    and only.many is not None
                    and number is None
                    and not isinstance(self.peek(), _Times | _Number)
                ):
                    parts.append(only)
                    continue
                if number is not None and (
                    isinstance(self.peek(), _Times) or (isinstance(n := self.peek(), _Number) and n.before)
                ):
                    raise _Unclear
                if number is not None:
                    self.said = self.said or _REPEATED
                parts.append(_Group(inside, number))
                number = None
            elif number is not None:
                raise _Unclear
        if number is not None or (every is not None and self.peek() is not None and depth == 0):
            raise _Unclear
        if every is not None:
            parts = [_Group(parts, every)]
        elif any(isinstance(part, _Group) and part.many is None for part in parts) and len(parts) > 1:
            raise _Unclear
        return parts

    def number(self, token: _Number, parts: list[_Part], waiting: int | None, counts_first: bool) -> int | None:
        """Give a lone number to what is before it (None), or keep it for what comes."""
        last, following = parts[-1] if parts else None, self.peek()
        if waiting is not None:
            raise _Unclear
        if isinstance(last, _Group) and last.many is None:
            if not token.before and following not in (None, ")", ","):
                raise _Unclear
            parts[-1] = last._replace(many=token.value)
            return None
        if counts_first or token.after or following == "(":
            return token.value
        if isinstance(last, _Cell) and last.many is None:
            parts[-1] = last._replace(many=token.value)
            return None
        raise _Unclear

    def times(self, token: _Times, parts: list[_Part], following: _Token | None) -> int | None:
        """Give `x4` behind cells to the cell, the word or all of them; the latter is returned."""
        last = parts[-1] if parts else None
        if not isinstance(last, _Cell):
            raise _Unclear
        word = 1
        while isinstance(cell := parts[-word], _Cell) and cell.glued and word < len(parts):
            word += 1
        at_end = following is None or following == ")"
        if following == ")" and not token.first and not token.against and len(parts) > 1:  # `(K T x2)`
            self.said = _INSIDE
            return token.value
        if token.first:  # `KKKT 4x`: everything before it
            if not at_end or any(isinstance(part, _Group) for part in parts):
                raise _Unclear
            self.said = _REPEATED
            return token.value
        if word == 1 and last.many is None and (len(parts) == 1 or token.against or not at_end):
            parts[-1] = last._replace(many=token.value)
            return None
        if word > 1 and (at_end or token.against):
            parts[-word:] = [_Group([parts[-word], *parts[len(parts) - word + 1 :]], token.value)]
            return None
        raise _Unclear


def _written(parts: list[_Part]) -> str:
    kept = [part for part in parts if part.many != 0]  # no needles at all
    kept = kept or [part._replace(many=None) for part in parts[:1]]
    text = ""
    for part in kept:
        if isinstance(part, _Cell):
            text += f"{'' if part.glued or not text else ' '}{part.letter}{'' if part.many is None else part.many}"
        else:
            text += f"{' ' if text else ''}({_written(part.parts)})x{part.many}"
    return text

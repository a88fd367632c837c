"""Rows of a stitch, from lines in other crafts' words, a spreadsheet's signs or another order.

A row is its numbers, perhaps a yarn, and its cells. Counts stand behind what they count, or before it; a line is read
both ways, and as often as it can be read differently it gives different rows.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from typing import Final

from stitchc.messages import Span
from stitchc.notation.cells import read_cells
from stitchc.notation.fixes.surroundings import Surroundings
from stitchc.notation.fixes.values import narrowed, with_figures
from stitchc.notation.tree import Word
from stitchc.notation.vocabulary import LOOK_ALIKES, latin_of

_ROW_WORD: Final = r"(?:rows?|rnds?|rounds?|r|no|line|course)(?:\b|(?=\d))\.?"
_TO: Final = r"(?:to|through|thru|-|–|—|\.\.+|…)"
_LIST: Final = rf"\d+(?:st|nd|rd|th)?(?:\s*(?:,\s*and|,|&|\+|and|{_TO})\s*\d+(?:st|nd|rd|th)?)*"
_STEPS: Final = re.compile(r"\s*(\d+)((?:\s*,\s*\d+)*)\s*,?\s*(?:\.{2,}|…)\s*,?\s*(\d+)(?=\D)")
_HEAD: Final = re.compile(
    rf"""\s*(?:[-•*>]\s+)?[("\[]?(?:(?P<parity>even|odd)\s+)?(?:{_ROW_WORD})?\s*[:.\#]?\s*[("\[]?
    (?P<list>{_LIST})[)"\]]?\s*(?:{_ROW_WORD})?\s*(?:[(]?(?P<parity2>even|odd)\b(?:\s*rows)?[)]?)?\s*
    (?:[(\[]\s*(?:RS|WS|(?P<sum>\d+)\s*(?:sts?|stitches|needles)?)\s*[)\]])?\s*
    (?P<sign>\.\)|:+|[.)\]=;|,]:?|[–—-](?=\s)|(?=\s|[KTSkts(\[*"]))\s*""",
    re.VERBOSE | re.IGNORECASE,
)
_NEXT: Final = re.compile(
    rf"\s*(?:[-•*>]\s+)?(?:next\s+(?:{_ROW_WORD})\s*:?)?\s*(?=(?:\d+\s?)?[KTS(\[*][^:]*$)", re.IGNORECASE
)
_GROUPS: Final = re.compile(
    r"""\s*(?:(?:all|every|each)\s+)?(even|2nd|second|WS|odd|(?<!every\s)other|others|rest|remaining|all|every|each)
    (?:\s+rows?|\s+rounds?)?\s*(?:[:.-]|(?<=rows?)|(?<=row))\s+""".replace("(?<=rows?)", "(?<=rows)"),
    re.VERBOSE | re.IGNORECASE,
)
_ORDINALS: Final = {"first": "1", "second": "2", "third": "3", "fourth": "4", "fifth": "5", "sixth": "6"}


def rows(code: str, around: Surroundings) -> Iterator[str]:
    """Row lines that take all that `code` says."""
    text = narrowed(code)
    if around.block not in ("stitch", "") and not re.match(rf"\s*(?:{_ROW_WORD})?\s*\d+\s*[:.)]", text):
        return
    if around.block != "stitch" and not re.match(r"\s*(?:row|r|rnd)?\s*\d", text, re.IGNORECASE):
        return
    parts = re.split(r"[;,.]?\s+(?=\d+\s*:)", text)
    if len(parts) > 1 and all(re.match(r"\s*\d+\s*:", part) for part in parts):
        lines = [next(_row(part, around), None) for part in parts]
        if None not in lines:
            yield "\n".join(line for line in lines if line)
        return
    yield from _row(text, around)


def _row(text: str, around: Surroundings) -> Iterator[str]:
    reversed_rows = re.search(r"\bWS\b", text) is not None  # the other side: left and right may be exchanged
    ordinal = rf"^\s*({'|'.join(_ORDINALS)})(?=\s+row)"
    text = re.sub(ordinal, lambda m: _ORDINALS[m[1].lower()], text, flags=re.IGNORECASE)
    text = re.sub(r"(?<=\d)[oO]|\b[lI](?=\d+\s*:)", lambda m: "0" if m[0] in "oO" else "1", text)
    yarn, text = _yarn(text, around)
    if yarn == "":
        return
    tail = f" in {yarn}" if yarn else ""
    for numbers, rest, total in _heads(with_figures(text, around), around):
        for cells in cells_meant(rest):
            one_kind = len(set(re.findall("[KTS]", cells))) == 1
            if (total is None or _width(cells) == total) and (one_kind or not reversed_rows):
                yield f"{numbers}{tail}: {cells}"


def _width(cells: str) -> int:
    widths, _ = read_cells(Word(cells, Span("", 1)))
    return widths.width if widths else 0


def _yarn(text: str, around: Surroundings) -> tuple[str | None, str]:
    """The row's yarn, and the text without it; "" where there are two."""
    names = sorted((name for name in around.yarns if name.lower() not in ("k", "t", "s")), key=len, reverse=True)
    if not names:
        return None, text
    any_of = "|".join(map(re.escape, names[:200]))
    pattern = r"[,(]?\s*(?:\b(?:in|with|using)\s+)?(?:\b(?:yarn|colou?r)\s+)?"
    pattern += rf"\"?(?<![\w-])({any_of})(?![\w-])\"?\s*\)?,?"
    yarns = {match[1] for match in re.finditer(pattern, text, re.IGNORECASE)}
    if len(yarns) != 1:
        return ("" if yarns else None), text
    exact = {name.lower(): name for name in names}
    return exact[yarns.pop().lower()], re.sub(pattern, " ", text, flags=re.IGNORECASE).strip()


def _heads(text: str, around: Surroundings) -> Iterator[tuple[str, str, int | None]]:
    """The row numbers as the notation has them, what follows them, and the width that is said of the row, if any."""
    if steps := re.match(rf"\s*(?:{_ROW_WORD})?{_STEPS.pattern}\s*(?:rows)?\s*:?", text, re.IGNORECASE):
        if (numbers := _stepped(steps[1], steps[2], steps[3])) is not None:
            yield numbers, text[steps.end() :], None
        return
    if group := _GROUPS.match(text):
        numbers = _grouped(group[1].lower(), around)
        if numbers and not re.match(r"\s*\d", text[group.end() :]):
            yield numbers, text[group.end() :], None
            return
    if head := _HEAD.match(text):
        parity = (head["parity"] or head["parity2"] or "").lower()
        total = int(head["sum"]) if head["sum"] else None
        numbers = _listed(head["list"], parity)
        rest = text[head.end() :]
        if numbers and not (head.group().rstrip()[-1:].isdigit() and rest[:1].isdigit()):
            yield numbers, rest, total
        first = re.match(r"\d+", head["list"])
        if first and len(first.group()) < len(head["list"]) and "," in text[head.end() :]:
            yield first.group(), text[head.start("list") + first.end() :].lstrip(",; "), None
    elif start := _NEXT.match(text):
        number = around.following if "next" in start.group().lower() else around.next_row
        if number is None:
            return
        yield f"{number}", text[start.end() :], None


def _listed(text: str, parity: str) -> str | None:
    text = re.sub(r"(?<=\d)(?:st|nd|rd|th)\b", "", text, flags=re.IGNORECASE)
    text = re.sub(rf"\s*{_TO}\s*", "-", text, flags=re.IGNORECASE)
    text = ", ".join(re.split(r"\s*(?:,\s*and|,|&|\+|and)\s*", text, flags=re.IGNORECASE))
    if not parity:
        return text
    span = re.fullmatch(r"(\d+)-(\d+)", text)
    if span is None or int(span[2]) > 400:
        return None
    return ", ".join(f"{n}" for n in range(int(span[1]), int(span[2]) + 1) if n % 2 == (parity == "odd"))


def _stepped(first: str, more: str, last: str) -> str | None:
    """`1, 3, … 9`: the rows up to the last, where they go there in equal steps; `1...4` is a range."""
    given = [int(first), *map(int, re.findall(r"\d+", more))]
    if len(given) == 1:
        return f"{first}-{last}"
    step = given[1] - given[0]
    if step < 1 or any(b - a != step for a, b in itertools.pairwise(given)) or int(last) > 400:
        return None
    numbers = range(given[0], int(last) + 1, step)
    return ", ".join(map(str, numbers)) if numbers[-1] == int(last) else None


def _grouped(kind: str, around: Surroundings) -> str | None:
    """The even or odd rows, or all that are not given, as far as the rows beside them reach."""
    given = around.above | around.below
    if kind in ("all", "every", "each"):
        return None if given else "1"
    if not given:
        return None
    top = max(given)
    if kind in ("other", "others", "rest", "remaining"):
        rest = [n for n in range(1, top) if n not in given]
        if top % 2 and not any(n % 2 for n in rest):
            return None  # one more may be meant, above the last
    else:
        odd = kind == "odd"
        rest = [n for n in range(1, top + (1 if odd else 2)) if n % 2 == odd]
        if any(n in given for n in rest):
            return None
    return ", ".join(map(str, rest)) or None


# -- cells ------------------------------------------------------------------------------------------------------------

_WORDS: Final = {
    **dict.fromkeys(("knits", "knit", "k"), "K"),
    **dict.fromkeys(("tucks", "tuck", "t"), "T"),
    **dict.fromkeys(("slips", "slip", "sl", "s"), "S"),
}
_WHOLE: Final = (
    r"(?:to\s+(?:the\s+)?end(?:\s+of\s+(?:the\s+)?row)?|across(?:\s+(?:the\s+)?row)?"
    r"|all(?:\s+across)?|every\s+needle|plain|along)"
)
_AGAIN: Final = r"(?:rep(?:eat)?(?:ed)?(?:\s+(?:from\s*\*|across|to\s+end))?|etc\.?|\.{2,}|…)"
_TIMES: Final = r"(?:(?:x|\*)\s*(\d+)|(\d+)\s*(?:x|times\b)|x\s*(\d+)\s*times|rep(?:eat)?\s+(\d+)(?:\s*times)?)"
_STAR: Final = re.compile(
    r"""(?<![\w)])\*\s*(\d*[kts(][^*]*?)\s*(?:
      [;,.]?\s*\*?\s*[;,]?\s*(?:rep(?:eat)?\s*)?(?:from\s*\*\s*)?(?:(\d+)\s*(?:more\s+times|times\s+more)|(once|twice)\s+more|(1|2)\s+more)
    | [;,.]?\s*\*?\s*[;,]?\s*rep(?:eat)?\s*(?:from\s*\*\s*)(\d+)\s*times\s+(?:in\s+all|altogether|in\s+total)
    | \s*\*\s*(?:x\s*)?(\d+)\s*(?:x|times\b)?)(?=[\s,;.]|$)""",
    re.VERBOSE | re.IGNORECASE,
)
_ALL_STARRED: Final = re.compile(
    rf"\s*\*\s*([^*]+?)\s*[;,.]?\s*(?:\*\s*)?[;,]?\s*(?:{_AGAIN})?\s*(?:from\s*\*)?\s*(?:{_WHOLE})?[\s.]*",
    re.IGNORECASE,
)
_ALL_SIGNED: Final = re.compile(r"(?:\s*+[kts]\s*+(?:[x*=:^]\s*+\d++|\(\d++\))(?:\s*+,)?+){2,}+")
_CELL_TOKEN: Final = re.compile(r"(\d+)|([kts]+)(?!(?!x\s*\d)[a-z])|([a-z]+)|([()])|(\S)")


def cells_meant(text: str) -> Iterator[str]:
    """The cells that a text means, in each way that it can be read."""
    text = "".join(LOOK_ALIKES.get(c) or latin_of(c) or (str(int(c)) if c.isdecimal() else c) for c in text)
    remark = r"\s*(?://|--)\s*(?![kts\d(]*(?:\W|$)|knit|tuck|slip)[a-z].*$|/\*.*?\*/"
    text = re.sub(remark, "", text, flags=re.IGNORECASE)
    text = re.sub(r"\((?:plain|RS|WS|purl side|[a-z ]*remark)\)", "", text, flags=re.IGNORECASE)
    text = text.replace('"', " ").lower().strip()
    text = re.sub(r"\b(\d+)[x*](?=[kts](?![a-z]))", r"\1", text)
    text = text.translate(str.maketrans("[]{}", "()()")).replace("×", "x")
    text = re.sub(r"(?<=[\w)*])(?:[;,]\s*)?(?:[;,]|(?<!\.)\.)?\s*$", "", re.sub(r"^[\s:=]+", "", text))
    if not text or len(text) > 300 or (text.count("*") == 1 and "from *" in text):
        return
    text = re.sub(r"·(?=\s*\d)", "x", re.sub(r"\b([kts])[(](\d+)[)](?!\s*x)", r"\1\2", text))
    total = None
    if stated := re.search(r"\(\s*(\d+)\s*(sts?|stitches|needles)?\s*\)$", text):
        without = text[: stated.start()].strip()
        if stated[2] or not without.endswith(("k", "t", "s")):
            text, total = without, int(stated[1])
    for cells in dict.fromkeys(cells for whole in _balanced(text) for cells in _read_whole(whole)):
        if total is None or _width(cells) == total:
            yield cells


def _balanced(text: str) -> list[str]:
    """The text, or, where a bracket is missing or there is one too many, every way to put that right."""
    more = text.count("(") - text.count(")")
    if abs(more) != 1:
        return [text]
    here, missing = ("(", ")") if more > 0 else (")", "(")
    if here * 2 in text:
        return [text.replace(here * 2, here, 1)]
    return [text[:i] + missing + text[i:] for i in range(len(text) + 1)]


def _read_whole(text: str) -> Iterator[str]:
    """A whole row: repeats of all of it first, then cell by cell."""
    if starred := _ALL_STARRED.fullmatch(text):
        yield from _read(starred[1])
        return
    text = _STAR.sub(_bracketed, text)
    text = re.sub(r"(\([^()]*?)\s+[x*]\s*(\d+)\s*\)(?!\s*[x*\d])", r"\1)x\2", text)
    if "rep from" in text:
        return
    whole = re.fullmatch(rf"(?:{_AGAIN}\s+)?(.*?)[\s,;]*(?:{_AGAIN})?", text)
    inner = whole[1] if whole else text
    again = inner != text.strip(" ,;")
    single = re.fullmatch(rf"(?:all\s+)?(\(.*\)|[a-z]+?)\s*(?:{_WHOLE})?", inner)
    if single and (single[1] != inner or single[1].startswith("(")) and "(" not in single[1][1:]:
        for cells in _read(single[1].strip("()")):
            yield cells
            if text.endswith(")"):  # a group without its count, which matters where the row sets the width
                yield f"({cells})x2"
        return
    if again:
        if not re.search(r"\d\s*times|\bx\b", text):
            yield from _read(inner)
        if number := re.fullmatch(r"rep(?:eat)?\s+(.*?)\s*(\d+)\s*times", text):
            for cells in _read(number[1].strip("() ")):
                yield f"({cells})x{number[2]}"
                yield f"({cells})x{int(number[2]) + 1}"  # once, and then repeated so often
        return
    yield from _repeated_whole(text)
    yield from _read(text)


def _bracketed(match: re.Match[str]) -> str:
    inner, more, word, once_more, in_all, times = match.groups()
    if more or word or once_more:
        count = int(more or once_more or {"once": "1", "twice": "2"}[word.lower()]) + 1
    else:
        count = int(in_all or times)
    return f" ({inner})x{count} "


def _repeated_whole(text: str) -> Iterator[str]:
    """A count at the end or at the start of a row without brackets may be that of the whole row."""
    if "(" in text or _ALL_SIGNED.fullmatch(text) or re.search(r"(?:^|[^a-z])[kts][x*]\d+$", text):
        return
    end = re.fullmatch(rf"(.*?[kts\d])\s*,?\s*{_TIMES}|(\D*[kts])\s+(\d+)", text)
    if end is not None:
        *_, count = (group for group in end.groups() if group)
        for cells in _read(end[1] or end[6]):
            if len(re.findall("[KTS]", cells)) > 1:
                yield f"({cells})x{count}"
    start = re.fullmatch(r"(?:(\d+)\s*[x*]|x\s*(\d+))\s+(.*)|(\d+)\s+([kts](?:[\s,]*[kts])+)", text)
    if start is not None:
        for cells in _read(start[3] or start[5]):
            if len(re.findall("[KTS]", cells)) > 1:
                yield f"({cells})x{start[1] or start[2] or start[4]}"


def _read(text: str) -> Iterator[str]:
    """Runs and groups, with counts behind or before; none where a count or a word is left over."""
    for before in (False, True):
        cells = _Cells(text, before).read()
        if cells is not None:
            yield cells


class _Left(Exception):
    """Something is left over."""


class _Cells:
    """One way to read the cells of a row. before: counts stand before what they count."""

    def __init__(self, text: str, before: bool) -> None:
        self.tokens = [(match.group(), match.lastindex or 0, match.start()) for match in _CELL_TOKEN.finditer(text)]
        self.text, self.before = text, before

    def read(self) -> str | None:
        try:
            cells = self.sequence()
        except _Left:
            return None
        return cells if not self.tokens and cells else None

    def peek(self, ahead: int = 0) -> str:
        return self.tokens[ahead][0] if len(self.tokens) > ahead else ""

    def take(self) -> str:
        return self.tokens.pop(0)[0]

    def sequence(self) -> str:
        parts: list[str] = []
        signs: list[str] = []
        separated, bars = True, False
        while self.tokens and self.peek() != ")":
            here = self.peek()
            if (
                self.tokens[0][2]
                and re.match(r"\d\W\d|\w\.\d", self.text[self.tokens[0][2] - 1 :])
                and here not in "x*^=:("
            ):
                raise _Left  # a fraction, a range or a choice
            elif here in ("|", ",", ";", ":", "!") and (not separated or (here == "|" and not bars)):
                self.take()
                bars = here == "|"
                separated = True
            elif here in ("/", "+", "&", ".", "-", "–", "—", "_", "and", "then") and not separated:
                if here in "-–—" and self.glued() and not parts[-1][-1].isdigit():
                    raise _Left  # a dash may be a needle out of work
                signs.append(self.take())
                separated = True
                if self.peek() in ("", ")") or (here in "-–—" and self.peek().isdigit() and self.glued(-1)):
                    raise _Left
            else:
                parts.append(self.item())
                separated = bars = False
        if signs and set(signs) & set("/+&.-–—_") and (len(signs) != len(parts) - 1 or len(set(signs)) > 1):
            raise _Left  # a sign that stands between some of the cells alone may be a cell itself
        return " ".join(part for part in parts if part)

    def glued(self, before: int = 0) -> bool:
        """Whether the next token, or the one before it (-1), touches the one that follows."""
        start = self.tokens[0][2] + (len(self.tokens[0][0]) if before == 0 else 0)
        return not self.text[start : start + 1].isspace() if before == 0 else not self.text[start - 1].isspace()

    def item(self) -> str:
        count, signed = "", False
        if self.peek() == "x" and self.peek(1).isdigit() and self.peek(2) == "(":
            self.take()
            count, signed = self.take(), True
        elif self.peek().isdigit():
            glued = len(self.tokens) > 1 and self.tokens[1][2] == self.tokens[0][2] + len(self.peek())
            if self.before and not glued and self.tokens[0][2] and self.text[self.tokens[0][2] - 1].isalpha():
                raise _Left  # it counts the letter that it touches
            count = self.take()
            if self.peek() in ("x", "*") and (glued or self.peek(1) == "("):
                self.take()
                signed = True
            if not self.before and not signed and self.peek() != "(":
                raise _Left
        here = self.peek()
        if here == "(":
            return self.group(count)
        if self.tokens and self.tokens[0][1] == 2:
            letters = self.take().upper()
        elif here in _WORDS:
            letters = _WORDS[self.take()]
        else:
            raise _Left
        if signed and len(letters) > 1:
            raise _Left
        behind = self.count_of_run()
        if count and (behind or len(letters) > 1):
            raise _Left
        return letters + (count or behind)

    def count_of_run(self) -> str:
        """A count behind a letter, with or without a sign between."""
        if self.peek() in ("x", "*", "=", ":", "^") and self.peek(1).isdigit():
            if not self.glued(-1) and len(self.tokens) > 2 and not self.all_signed():
                raise _Left  # `K T x 4 K` may be four of both
            self.take()
            return self.take()
        if not self.before and self.peek().isdigit() and self.peek(1) not in ("x", "times", "*"):
            if not self.glued(-1) and self.touches_a_letter():
                raise _Left  # the count of what follows
            count = self.take()
            if self.peek() in ("sts", "st", "stitches", "needles"):
                self.take()
            return count
        return ""

    def touches_a_letter(self) -> bool:
        """Whether the number that comes next stands right before a letter."""
        return len(self.tokens) > 1 and self.tokens[1][1] in (2, 3) and self.peek(1) != "x" and self.glued()

    def all_signed(self) -> bool:
        """Whether every run of the row has its count behind a sign."""
        return _ALL_SIGNED.fullmatch(self.text) is not None

    def group(self, count: str) -> str:
        self.take()
        inner = self.sequence()
        if self.peek() != ")" or not inner:
            raise _Left
        self.take()
        if not count:
            count = self.count_of_group()
        if not count:
            raise _Left
        return f"({inner})x{count}"

    def count_of_group(self) -> str:
        if self.peek() in ("x", "*") and self.peek(1).isdigit():
            self.take()
            count = self.take()
            if self.peek() == "times":
                self.take()
            return count
        if self.peek() in ("rep", "repeat") and self.peek(1).isdigit():
            self.take()
        if self.peek().isdigit() and (self.peek(1) in ("x", "times") or not self.before):
            if not self.glued(-1) and self.touches_a_letter():
                raise _Left
            count = self.take()
            if self.peek() in ("x", "times"):
                self.take()
            return count
        return ""

"""Statements of one line each, from the values that a wrong line holds: heads, gauges and the lines of a piece."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Final

from stitchc.notation.fixes.rows import rows
from stitchc.notation.fixes.surroundings import Surroundings, only_near
from stitchc.notation.fixes.values import FILLERS, Value, narrowed, straight, values, with_figures
from stitchc.notation.vocabulary import KEYWORDS, NEW_WORDS, TEXT_WORDS

_BEGINS: Final = {
    "pattern": "pattern title name",
    "note": "note notes",
    "by": "by designer",
    "difficulty": "difficulty",
    "notion": "notion notions",
    "photo": "photo",
    "yarn": "yarn yarns",
    "include": "include import",
    "stitch": "stitch stitches def",
    "gauge": "gauge tension",
    "piece": "piece",
    "make": "make",
    "width": "width wide",
    "sizes": "sizes",
    "needles": "needles needle",
    "edge": "edge edges",
    "carriage": "carriage",
    "do": "do",
    "knit": "knit work",
}
_STATEMENT: Final = {word: statement for statement, words in _BEGINS.items() for word in words.split()}
_ACTIONS: Final = re.compile(
    "(?:bind|cast|hang|hook|take|remove|transfer|pick|sew|graft|unravel|steam|block|press|weave)$"
)
"""What a person does by hand: a line of a piece that begins so is a `do`."""
_MARKS: Final = ",;:.=()[]{}@|"
"""Signs that part values and mean nothing else."""


class _Left(Exception):
    """A value is missing, there twice, or left over."""


class _Values:
    """The values of one line, from which a statement takes what it knows."""

    def __init__(self, in_line: list[Value]) -> None:
        self.left = list(in_line)

    def all(self, kind: str) -> list[Value]:
        taken = [value for value in self.left if value.kind == kind]
        self.left = [value for value in self.left if value.kind != kind]
        return taken

    def one(self, kind: str) -> str:
        (value,) = self._at_most_one(kind) or (None,)
        if value is None:
            raise _Left
        return value.text

    def maybe(self, kind: str) -> str | None:
        taken = self._at_most_one(kind)
        return taken[0].text if taken else None

    def _at_most_one(self, kind: str) -> list[Value]:
        taken = self.all(kind)
        if len(taken) > 1:
            raise _Left
        return taken

    def word(self, *words: str) -> bool:
        """Whether one of these words or signs is there; it is taken."""
        before = len(self.left)
        self.left = [v for v in self.left if not (v.kind in ("word", "sign") and v.text in words)]
        return len(self.left) < before

    def stitch(self) -> str:
        """The one stitch, or `plain`."""
        plain = self.word("plain")
        stitch = self.maybe("stitch")
        if plain == (stitch is not None):
            raise _Left
        return stitch or "plain"

    def end(self, *also: str) -> None:
        """Refuse the line if anything that says something is left."""
        silent = {*also, *FILLERS}
        for index, value in enumerate(self.left):
            if value.kind == "sign" and value.text in "-/x×*&+~–":
                beside = {v.kind for v in self.left[max(0, index - 1) : index + 2]}
                if value.text == "+" or beside & {"number", "length", "rows", "stitches"}:
                    raise _Left
            elif not (value.kind == "sign" and value.text in _MARKS) and not (
                value.kind == "word" and value.text in silent
            ):
                raise _Left


def statements(code: str, around: Surroundings) -> Iterator[str]:
    """Lines that take all the values of `code`, a line without its comment."""
    code = re.sub(r"^[-•*>]\s+", "", code)
    text = re.sub(r"\s+(?://|--).*$|/\*.*?\*/", "", narrowed(code)).strip()
    first = re.match(r"\W*([^\W\d_]+)", text)
    if first is None and not text[:1].isdigit():
        return
    word = first[1].lower() if first and not text[:1].isdigit() else ""
    keyword = _STATEMENT.get(word) or (word not in KEYWORDS and _misspelt(word)) or ""
    if word in NEW_WORDS:
        pass
    elif around.stitch(word) or around.yarn(word) or (word == "name" and around.block):
        keyword = ""
    rest = text[first.end() :] if first and keyword else text
    if keyword in TEXT_WORDS - {"photo"}:
        assert first is not None
        yield from _text(keyword, code[first.end() :])
        return
    if keyword == "yarn" or word in ("colours", "colors"):
        assert first is not None
        rest = straight(code[first.end() :])
        if word.endswith("s"):
            each = [next(_yarn(part, around), None) for part in re.split(r",|&|\band\b", rest)]
            if None not in each:
                yield "\n".join(line for line in each if line)
        else:
            yield from _yarn(rest, around)
        return
    if not keyword and around.rows_follow and (alone := re.fullmatch(rf"\W?({_NAME})\W?\s*:?", text)):
        yield f"stitch {alone[1]}"
    parts = re.split(r"\s*;\s+", text)
    if len(parts) > 1 and around.block == "piece":
        each = [next(statements(part, around), None) or next(iter([part]), None) for part in parts]
        yield "\n".join(part for part in each if part)
        return
    if keyword in ("stitch", "piece"):
        yield from _named(keyword, rest, around)
        return
    if re.match(r"cast\s+on\s+\d", text, re.IGNORECASE):
        return  # the piece's needles, or something to do
    if not keyword and _ACTIONS.match(word) and around.block == "piece" and (sentence := _bare(code)):
        yield f'do "{sentence}"'
    if keyword in ("knit", "") and not re.search(r'\bat\s*"', text):
        rest = text = _TENSION.sub(lambda m: f' at "{m[1]}" ', rest)
    for read in _READERS.get(keyword, _READERS[""] if not keyword else ()):
        for in_line in values(with_figures(rest if keyword else text, around), around):
            try:
                yield read(_Values(in_line), rest if keyword else text)
            except (_Left, ValueError):
                continue


def _misspelt(word: str) -> str | None:
    """The statement that begins with nearly this word."""
    near = only_near(word, _BEGINS) if len(word) > 3 else None
    return near


# -- texts and names --------------------------------------------------------------------------------------------------


def _text(keyword: str, rest: str) -> Iterator[str]:
    """The text as it was typed, in straight quotation marks."""
    rest = straight(rest)
    label = r"^(?:\s*(?:(?i:name|title)(?=\s*[:=])|(?:name|title|called|named)(?=\s)))?[\s:=,-]+"
    bare = re.sub(label, "", rest) if keyword == "pattern" else rest
    text = _bare(re.sub(r"^[\s:=]*(?:[-–]\s+)?", "", bare))
    if text:
        yield f'{keyword} "{text}"'


def _bare(text: str) -> str:
    """A text without the quotation marks around it and without the sign behind it; those inside it made single."""
    text = text.strip().rstrip(";").strip()
    if quoted := re.fullmatch(r"[(\[{<*_|]+([^]()\[{}<>*|]*)[])}>*_|]+|[,.:;]?\s*\"([^\"]*)\"?[,.]?", text):
        text = next(group for group in quoted.groups() if group is not None)
    elif text[:1] == "'" or '"' in text:
        return ""  # more stands beside a text, and may belong to it or not
    return text.strip() if re.search(r"[^\W\d_]{2}", text) and "#" not in text else ""


_NUMBER: Final = r"\d{1,3}(?:[, ]\d{3})+(?!\d)|\d+(?:[.,]\d+)?"
_HEX: Final = "(?:[0-9a-f]{6}|[0-9a-f]{3})"
_NAME: Final = r"[^\W\d_][\w-]*"


def _named(keyword: str, rest: str, around: Surroundings) -> Iterator[str]:
    """`stitch NAME [over N]` or `piece NAME`."""
    if keyword == "stitch" and (row := re.search(r"\s(?:1\s*:.*)$", rest)):
        inside = around._replace(rows_follow=True, block="stitch", above=frozenset())
        for head in _named(keyword, rest[: row.start()], inside):
            for line in rows(row.group().strip(), inside):
                yield f"{head}\n    {line}"
        return
    ends = r"^[\s:=]*(?:(?:pattern|name)\b[\s:=]+)?|[\s:;={\[.-]+$"
    rest = re.sub(ends, "", with_figures(rest, around), flags=re.IGNORECASE)
    match = re.match(rf"\"({_NAME}(?:\s+{_NAME})*)\"|({_NAME})", rest)
    if match is None:
        return
    name, more = match[1] or match[2], rest[match.end() :].strip()
    if keyword == "stitch" and re.search(r"\d", more):
        for pattern in (
            r"\W*(?:over|width|wide|w|multiple of)(?=\W|\d)[\s:=(]*(\d[\d,]*)\W*(?:needles|stitches|sts|st)?\W*",
            r"\W*(?:(?:on|with|is|multiple of)\s+)?(\d[\d,]*)\s*(?:needles|stitches|sts|st)\W*(?:wide)?\W*",
            r"\W*(\d[\d,]*)\s*wide\W*",
        ):
            if width := re.fullmatch(pattern, more, re.IGNORECASE):
                yield f"stitch {name} over {width[1].replace(',', '')}"
                return
        return
    words = name.split() + re.findall(_NAME, more)
    if len(words) > 1 and re.fullmatch(rf"(?:{_NAME}\s*)*", more):
        # A name of several words is the one that another line has, joined in some way.
        for joined in {*re.findall(r"(?<![\w-])" + "[-_]?".join(map(re.escape, words)) + r"(?![\w-])", around.text)}:
            yield f"{keyword} {joined}"
    elif not more and (around.rows_follow or keyword == "piece"):
        yield f"{keyword} {name}"


def _yarn(rest: str, around: Surroundings) -> Iterator[str]:
    rest = rest.strip().strip(":=;").strip()
    if several := re.fullmatch(rf"({_NAME})((?:\s*(?:,|&|\band\b|\byarn\b)\s*{_NAME})+)", rest, re.IGNORECASE):
        names = [name for name in re.findall(_NAME, rest) if name.lower() not in ("and", "yarn")]
        used = [name for name in names if re.search(rf"\bin\s+{re.escape(name)}\b", around.text)]
        if "yarn" in several[2].lower() or len(used) == len(names):
            yield "\n".join(f"yarn {name}" for name in names)
        return
    match = re.match(rf"\"({_NAME})\"|({_NAME})", rest)
    if match is None or (match[1] or match[2]).lower() in KEYWORDS:
        return
    name, rest = match[1] or match[2], rest[match.end() :]
    listed = re.search(r"[^,\s][^\",]*,", rest) is not None
    facts: dict[str, str] = {}
    plain = r"\s*[:=]?\s*"
    for key, pattern in (
        ("colour", rf"(?:colou?r{plain}\"?(#?{_HEX})\"?(?![\w])|\"(#{_HEX})\")"),
        ("tex", rf"(?:tex{plain}({_NUMBER})(?![\d/x*]|\s*[x*/\d])|({_NUMBER})\s*tex\b)"),
        (
            "weight",
            rf"(?:weight{plain}\"?((?:super[ -])?(?:lace|fine|light|medium|bulky)|jumbo|[0-7](?!\w|\s*-?ply|,))\"?"
            r"|((?:super[ -])?(?:lace|fine|light|medium|bulky)|jumbo)\s+weight)",
        ),
    ):
        if fact := re.search(r"[,;]?\s*" + pattern, rest, re.IGNORECASE):
            value = (fact[1] or fact[2]).strip()
            facts[key] = value
            rest = rest[: fact.start()] + rest[fact.end() :]
    rest = re.sub(r"\bweight\s*[:=]?\s*(\d+)[\s-]?ply\b", r", \1 ply", rest, flags=re.IGNORECASE)
    text = re.sub(r"^[\s,:=-]+|[\s,;.]+$", "", rest)
    parts = re.findall(r"\"([^\"]*)\"", text)
    if re.search(r"\b(?:tex|weight|colou?r)\b", text, re.IGNORECASE) or len(parts) > 1 or text.count('"') % 2:
        return
    loose = re.sub(r"\"[^\"]*\"", "", text).strip(" ,;()")
    if re.search(r"\d", loose) and not re.fullmatch(r"(?:nm\s*)?\d+/\d+|\d+[\s-]?ply", loose, re.IGNORECASE):
        return
    parted = re.match(r"\s*[,:=(-]", rest) or re.search(r"\d", loose)
    if re.search(r"[^\w\s,.'’/-]|\s/\s|\b(?:or|and|oder|ou|und|et)\b", loose) or (loose and facts and listed):
        return  # two descriptions, or where one ends is not known
    if loose and (parts or not (parted or re.search(rf"\b{re.escape(name)}\b", around.text))):
        return  # `yarn sea foam` may be a name of two words
    text = "".join(parts) or loose
    line = f"yarn {name}" + (f' "{text}"' if text else "")
    if colour := facts.get("colour"):
        line += f' colour "#{colour.lstrip("#")}"'
    if tex := facts.get("tex"):
        line += f" tex {_plain_number(tex)}"
    if weight := facts.get("weight"):
        line += f" weight {weight.replace(' ', '-').lower()}"
    yield line


def _plain_number(text: str) -> str:
    text = text.replace(" ", "")
    return text.replace(",", "") if re.fullmatch(r"\d{1,3}(?:,\d{3})+", text) else text.replace(",", ".")


# -- values -----------------------------------------------------------------------------------------------------------


def _gauge(given: _Values, text: str) -> str:
    in_order = list(given.left)
    stitch = given.stitch()
    lengths = given.all("length")
    per_one = re.findall(r"(?:\bper|\bto|/|=)\s*(?:an?\s+|the\s+)?(cm|in)(?:ch)?\b", text, re.IGNORECASE)
    if not lengths and per_one:
        lengths = [Value("length", f"1 {unit.lower()}", 1.0) for unit in per_one]
        given.word("in", "cm", "/")
    numbers = given.all("number")
    square = re.search(r"(\d+(?:\.\d+)?)\s*(?:cm|in|mm)?\s*[x×]\s*(\d+(?:\.\d+)?)\s*(?:cm|in|mm)", text)
    if square and square[1] == square[2]:
        numbers = [number for number in numbers if number.text != square[1]]
        given.word("x", "×")
    per = {length.text for length in lengths}
    if len(lengths) == 2 and "(" in text and _about_equal(lengths):
        per = {lengths[0].text}
    counts = {kind: given.maybe(kind) for kind in ("stitches", "rows")}
    if len(numbers) == 2 and not any(counts.values()) and re.search(r"\d\s*(?:x|×|/|by)\s*\d", text):
        counts = {"stitches": numbers[0].text, "rows": numbers[1].text}
        given.word("x", "×", "/", "by")
        numbers = []
    elif "x" in text or "×" in text or "/" in text:
        given.word("x", "×", "/")
    if numbers or len(per) not in (1, 2) or not any(counts.values()):
        raise _Left
    given.end("for", "over", "per", "in", "by", "gauge", "tension", "stitch", "measure", "square", "with", "=")
    if len(per) == 2:
        return _measured_apart(stitch, in_order)
    written = " ".join(f"{count} {kind}" for kind, count in counts.items() if count)
    return f"gauge {stitch} {written} per {lengths[0].text}"


def _measured_apart(stitch: str, in_order: list[Value]) -> str:
    """A line for each length, with the counts that stand before it."""
    lines: list[str] = []
    counts: list[str] = []
    for value in in_order:
        if value.kind in ("stitches", "rows"):
            counts.append(f"{value.text} {value.kind}")
        elif value.kind == "length":
            if len(counts) != 1:
                raise _Left
            lines.append(f"gauge {stitch} {counts.pop()} per {value.text}")
    if counts:
        raise _Left
    return "\n".join(lines)


def _about_equal(lengths: list[Value]) -> bool:
    """Whether it is one length in two units."""
    first, second = lengths
    differ = first.text.split()[1] != second.text.split()[1]
    return differ and abs(first.amount - second.amount) < 0.02 * max(first.amount, second.amount)


def _width(given: _Values, text: str) -> str:
    if (count := given.maybe("stitches")) is not None:
        given.end("width", "wide")
        return f"needles {_whole(count)}"
    lengths = given.all("length")
    if not re.search(r"wid|\bin\b", text, re.IGNORECASE) and text[:1].isdigit():
        raise _Left
    stitch = given.maybe("stitch") or ("plain" if given.word("plain") else None)
    plus = given.word("plus", "+", "seam", "seams", "allowance")
    if len(lengths) == 2 and not plus and "(" in text and _about_equal(lengths):
        lengths = lengths[:1]
    if len(lengths) != (2 if plus else 1):
        raise _Left
    given.end("width", "wide", "finished", "in", "for", "with")
    line = f"width {lengths[0].text}" + (f" plus {lengths[1].text}" if plus else "")
    return line + (f" in {stitch}" if stitch else "")


def _needles(given: _Values, text: str) -> str:
    if sides := re.fullmatch(r"\D*(\d+)\s*(?:(?:on\s+)?each\s+side|left\W+(\d+)\s*right)\W*", text, re.IGNORECASE):
        return f"needles L{sides[1]}-R{sides[2] or sides[1]}"
    if signed := re.fullmatch(r"\W*-(\d+)\s*(?:to|[-–])\s*\+?(\d+)\W*", text):
        return f"needles L{signed[1]}-R{signed[2]}"
    span = given.maybe("range")
    if not span and text[:1].isdigit() and not re.search("needle|stitch|sts", text, re.IGNORECASE):
        raise _Left
    given.left = [Value("number", v.text) if v.kind == "stitches" else v for v in given.left if v.kind != "noun"]
    count = given.maybe("number")
    if (span is None) == (count is None):
        raise _Left
    given.end("needles", "from", "cast", "in", "use")
    return f"needles {span or _whole(count or '')}"


def _edge(given: _Values, text: str) -> str:
    given.left = [Value("number", v.text) if v.kind == "stitches" else v for v in given.left if v.kind != "noun"]
    count = given.one("number")
    if not given.word("edge") and "edge" not in text.lower() and text[:1].isdigit():
        raise _Left
    given.end("edge", "each", "end", "side", "at", "both")
    return f"edge {_whole(count)}"


def _carriage(given: _Values, text: str) -> str:
    side = given.one("side")
    given.end("carriage", "at", "in", "starts", "start", "side", "stands", "from", "begins", "begin")
    return f"carriage {side}"


_TENSION: Final = re.compile(
    r"""[\s,;]*[(]?\s*(?:\bat|@)\s*(\d[\d.]*)\s*[)]?(?=[\s,;)]|$)""", re.VERBOSE | re.IGNORECASE
)


def _knit(given: _Values, text: str) -> str:
    stitch = given.stitch()
    yarn = given.maybe("yarn")
    exactly = given.word("exactly")
    texts = given.maybe("text")
    rows, length = given.maybe("rows"), given.maybe("length")
    if (rows is None) == (length is None):
        raise _Left
    if texts is not None:
        given.word("at")
    given.end("knit", "work", "for", "in", "with", "until", "stitch")
    count = int(_whole(rows)) if rows is not None else 0
    amount = f"{count} row{'s' if count != 1 else ''}" if rows is not None else length
    return (
        f"knit {stitch} for {amount}"
        + (" exactly" if exactly else "")
        + (f" in {yarn}" if yarn else "")
        + (f' at "{texts}"' if texts is not None else "")
    )


def _whole(count: str) -> str:
    if not count.isdigit():
        raise _Left
    return count


_Reader = Callable[[_Values, str], str]
_READERS: Final[dict[str, tuple[_Reader, ...]]] = {
    "gauge": (_gauge,),
    "width": (_width,),
    "needles": (_needles,),
    "edge": (_edge,),
    "carriage": (_carriage,),
    "knit": (_knit,),
    "": (_gauge, _width, _needles, _edge, _carriage, _knit),
}

"""Statements of one line each, from the values that a wrong line holds: heads, gauges and the lines of a piece."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, Final, NamedTuple

from stitchc.notation.fixes.guided import after, as_line, parser
from stitchc.notation.fixes.rows import rows
from stitchc.notation.fixes.surroundings import Surroundings, only_near
from stitchc.notation.fixes.values import FILLERS, FRACTION, Value, narrowed, straight, values, with_figures
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
    r"(?:bind|cast(?!\s+(?:on\s+)?\d)|hang|hook|take|remove|transfer|pick|sew|graft|unravel|steam|block|press|weave)\b",
    re.IGNORECASE,
)
"""What a person does by hand: a line of a piece that begins so is a `do`; `cast on 40` may be its needles."""
_MARKS: Final = ",;:.=()[]{}@|"
"""Signs that part values and mean nothing else."""


_NUMBER: Final = r"\d{1,3}(?:[, ]\d{3})+(?!\d)|\d+(?:[.,]\d+)?"
_N: Final = r"(?<![\d.,])(\d+(?:[.,]\d+)?)"
_UNIT: Final = r"(?:cm|mm|in\b|inch)"


class _Statement(NamedTuple):
    """What a line may say that becomes one statement.

    tells: the kinds of values, and the words, that tell it where its own word does not come first. silent: words that
    say nothing in it.
    phrases: other words for something in it, and those that the values are read from.
    """

    tells: frozenset[str]
    silent: frozenset[str]
    phrases: tuple[tuple[re.Pattern[str], str], ...]


def _statement(tells: str, silent: str, *phrases: tuple[str, str]) -> _Statement:
    patterns = tuple((re.compile(pattern, re.IGNORECASE), written) for pattern, written in phrases)
    return _Statement(frozenset(tells.split()), frozenset(silent.split()) | FILLERS, patterns)


_STATEMENTS: Final = {
    "gauge": _statement(
        "stitches",
        "for over per in by gauge tension stitch measure square with",
        (rf"{_N}\s*{_UNIT}?\s*[x×]\s*\1\s*({_UNIT})", r"\1 \2"),
        (
            rf"(?!(?:{FRACTION})(?![\d/])){_N}\s*(?:x|×|/|by)\s*{_N}(?![\d.,]|\s*(?:{_UNIT}|st|r|/))",
            r"\1 stitches \2 rows",
        ),
        (rf"(?:\bper|\bto|/|=)\s*(?:an?\s+|the\s+)?({_UNIT})", r" per 1 \1"),
        (r"(?<!\d)(?:\bx\b|[×/])|[×/](?!\d)", " "),
    ),
    "width": _statement(
        "plus width wide finished",
        "width wide finished in for with",
        (r"\+|\bseams?\b(?:\s+allowance)?|\ballowance\b", " plus "),
    ),
    "needles": _statement(
        "stitches range",
        "needles from cast in use",
        (r"^\D*(\d+)\s*(?:on\s+)?each\s+side\W*$", r"L\1-R\1"),
        (r"^\D*(\d+)\s*left\W+(\d+)\s*right\W*$", r"L\1-R\2"),
        (r"^\W*-(\d+)\s*(?:to|[-–])\s*\+?(\d+)\W*$", r"L\1-R\2"),
    ),
    "edge": _statement("edge", "edge each end side at both"),
    "carriage": _statement("side", "carriage at in starts start side stands from begins begin"),
    "knit": _statement(
        "stitch plain",
        "knit work for in with until stitch",
        (r"[\s,;]*[(]?\s*(?:\bat|@)\s*(\d[\d.]*)\s*[)]?(?=[\s,;)]|$)", r' at "\1" '),
    ),
}
_POURED: Final = ("plain", "exactly", "plus", "sure")
"""Words that say something wherever they stand."""
_LINKS: Final = ((), ("FOR", "for"), ("PER", "per"), ("IN", "in"), ("AT", "at"))
"""Words that the grammar wants before a value, and that need not be there."""
_MOST_VALUES: Final = 8

_Words = tuple[tuple[str, str], ...]
"""Terminals of the grammar, and their texts."""


def statements(code: str, around: Surroundings) -> Iterator[str]:
    """Lines that take all the values of `code`, a line without its comment."""
    code = re.sub(r"^[-•*>]\s+", "", code)
    text = re.sub(r"\s+(?://|--).*$|/\*.*?\*/", "", narrowed(code)).strip()
    first = re.match(r"\W*([^\W\d_]+)", text)
    word = first[1].lower() if first and not text[:1].isdigit() else ""
    keyword = _STATEMENT.get(word) or (len(word) > 3 and word not in KEYWORDS and only_near(word, _BEGINS)) or ""
    a_name = around.names(word) or (word == "name" and around.block)
    if a_name and word not in NEW_WORDS:
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
        lines = [next(statements(part, around), part) for part in parts]
        yield "\n".join(lines)
        return
    if keyword in ("stitch", "piece"):
        yield from _named(keyword, rest, around)
        return
    if re.match(r"cast\s+on\s+\d", text, re.IGNORECASE):
        return  # the piece's needles, or something to do
    if not keyword and _ACTIONS.match(word) and around.block == "piece" and (sentence := _bare(code)):
        yield f'do "{sentence}"'
    if not keyword or keyword in _STATEMENTS:
        yield from _poured(rest, keyword, around)


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


_HEX: Final = "(?:[0-9a-f]{6}|[0-9a-f]{3})"
_NAME: Final = r"[^\W\d_][\w-]*"
_OVER: Final = re.compile(
    r"\W*(?:(over|width|wide|w|multiple of)(?=\W|\d)|on|with|is)?"
    r"\W*(\d[\d,]*)\W*(needles|stitches|sts|st)?\W*(wide)?\W*",
    re.IGNORECASE,
)


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
        if (width := _OVER.fullmatch(more)) and (width[1] or width[3] or width[4]):
            yield f"stitch {name} over {width[2].replace(',', '')}"
        return
    if not more and (around.rows_follow or keyword == "piece"):
        yield f"{keyword} {name}"


_WEIGHT: Final = r"(?:super[ -])?(?:lace|fine|light|medium|bulky)"
_FACTS: Final = tuple(
    (re.compile(rf"[,;]?\s*(?:{pattern})", re.IGNORECASE), written)
    for pattern, written in (
        (rf"colou?r[\s:=]*\"?(#?{_HEX})\"?(?!\w)|\"(#{_HEX})\"", 'colour "#{}"'),
        (rf"tex[\s:=]*({_NUMBER})(?![\d/x*]|\s*[x*/\d])|({_NUMBER})\s*tex\b", "tex {}"),
        (
            rf"weight[\s:=]*\"?({_WEIGHT}|jumbo|[0-7](?!\w|\s*-?ply|,))\"?|({_WEIGHT}|jumbo)\s+weight",
            "weight {}",
        ),
    )
)
"""What a yarn line says of its yarn besides a description, and the notation's form."""


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
    facts = ""
    for pattern, written in _FACTS:
        if fact := pattern.search(rest):
            value = next(group for group in fact.groups() if group).strip("# ")
            facts += f" {written.format(_plain_number(value) if 'tex' in written else value.replace(' ', '-').lower())}"
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
    yield f"yarn {name}" + (f' "{text}"' if text else "") + facts


def _plain_number(text: str) -> str:
    text = text.replace(" ", "")
    return text.replace(",", "") if re.fullmatch(r"\d{1,3}(?:,\d{3})+", text) else text.replace(",", ".")


# -- values -----------------------------------------------------------------------------------------------------------


def _poured(text: str, keyword: str, around: Surroundings) -> Iterator[str]:
    """The statements that take all the values of a text, in the order that the grammar has.

    keyword: the statement's, which is not in the text; "" where none stands there.
    """
    for name, statement in _STATEMENTS.items():
        written = with_figures(text, around)
        for pattern, words in statement.phrases:
            written = pattern.sub(words, written)
        for in_line in values(written, around):
            kinds = {v.text if v.kind == "word" else v.kind for v in in_line}
            in_needles = (keyword, name) == ("width", "needles") and "stitches" in kinds
            if keyword == name or in_needles or (not keyword and statement.tells & kinds):
                yield from _filled(name, statement, _once(in_line))


def _once(in_line: list[Value]) -> list[Value]:
    """The values, where a length that is given twice, or once more in brackets in another unit, stands once."""
    out: list[Value] = []
    for value in in_line:
        before = [v for v in out if v.kind == "length"] if value.kind == "length" else []
        bracketed = bool(out) and out[-1].text == "("
        if not any(v.text == value.text or (bracketed and _about_equal(v, value)) for v in before):
            out.append(value)
    return out


def _about_equal(first: Value, second: Value) -> bool:
    """Whether it is one length in two units."""
    differ = first.text.split()[1] != second.text.split()[1]
    return differ and abs(first.amount - second.amount) < 0.02 * max(first.amount, second.amount)


def _filled(name: str, statement: _Statement, in_line: list[Value]) -> Iterator[str]:
    poured = [v for v in in_line if v.kind not in ("word", "sign")]
    words = {v.text for v in in_line if v.kind == "word"}
    poured += [Value("word", word) for word in _POURED if word in words]
    if len(poured) > _MOST_VALUES or _joined(in_line):
        return
    readings = [_in_order(name, poured)]
    lengths = [index for index, v in enumerate(poured, start=1) if v.kind == "length"]
    if readings == [None] and name == "gauge" and len(lengths) == 2:
        # A line for each length, with the count that stands before it.
        of_both = [v for v in poured if v.kind in ("stitch", "word")]
        parts = [[v for v in part if v not in of_both] for part in (poured[: lengths[0]], poured[lengths[0] :])]
        readings = [_in_order(name, [*of_both, *part]) if len(part) == 2 else None for part in parts]
    lines = []
    for reading in readings:
        taken = {text for terminal, text in reading or () if (terminal, text) in _LINKS} | {*_POURED}
        if reading is None or words - statement.silent - taken:
            return
        lines.append(as_line(reading))
    if lines:
        yield "\n".join(lines)


def _in_order(name: str, poured: list[Value]) -> _Words | None:
    """The words of a statement in the grammar's order, from the values it takes; None where it does not take them."""
    start = after(parser().parse_interactive(""), name.upper())
    in_line = sorted(poured, key=lambda value: value.kind in ("rows", "text"))  # where the grammar leaves the order
    return next(_orders(((name.upper(), name),), start, in_line), None)


def _joined(in_line: list[Value]) -> bool:
    """Whether a sign stands there that may say how values belong together."""
    for index, value in enumerate(in_line):
        if value.kind == "sign" and value.text in "-/x×*&+~–":
            beside = {v.kind for v in in_line[max(0, index - 1) : index + 2]}
            if value.text == "+" or beside & {"number", "length", "rows", "stitches"}:
                return True
        elif value.kind == "sign" and value.text not in _MARKS:
            return True
    return False


def _orders(words: _Words, state: Any, left: list[Value]) -> Iterator[_Words]:
    """The orders in which the grammar takes what is left; values of one kind stay in theirs."""
    if not left and after(state, "_NEWLINE"):
        yield words
    for index, value in enumerate(left):
        if value.kind != "word" and any(v.kind == value.kind for v in left[:index]):
            continue
        for link in _LINKS:
            for terminals in _as_terminals(value):
                more = (*words, *((link,) if link else ()), *terminals)
                moved = state
                for terminal, _ in more[len(words) :]:
                    moved = moved and after(moved, terminal)
                if moved and _fits(value, link, words[0][0]):
                    yield from _orders(more, moved, left[:index] + left[index + 1 :])


def _fits(value: Value, link: tuple[str, ...], first: str) -> bool:
    """Whether a value may stand behind that link: after `in` a yarn, in a width a stitch, and never a number."""
    if value.kind in ("stitch", "yarn"):
        return (value.kind == "yarn") == ("IN" in link and first != "WIDTH")
    return "IN" not in link or value.text == "plain"


def _as_terminals(value: Value) -> Iterator[_Words]:
    number, _, unit = value.text.partition(" ")
    count = ("INT" if number.isdigit() else "DECIMAL", number)
    if value.kind == "length":
        yield count, (unit.upper(), unit)
    elif value.kind == "rows":
        yield count, ("_ROWS", "row" if number == "1" else "rows")
    elif value.kind in ("number", "stitches"):
        if value.kind == "stitches":
            yield count, ("_STITCHES", "stitches")
        yield (count,)
    elif value.kind in ("stitch", "yarn"):
        yield (("NAME", value.text),)
    elif value.kind == "text":
        yield (("TEXT", f'"{value.text}"'),)
    elif value.kind == "range":
        yield (("BED_RANGE", value.text),)
    elif value.kind in ("side", "word"):
        yield ((value.text.upper(), value.text),)

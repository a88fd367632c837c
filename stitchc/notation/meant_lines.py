"""The line that one which could not be read most likely meant, for a cure that keeps the writer's own words.

Every line that it offers is one that the parser reads; what is not clear it leaves to the general messages.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Collection, Iterator
from typing import Final

from stitchc.messages import visible
from stitchc.notation.around import Around
from stitchc.notation.meant_cells import row_meant
from stitchc.notation.meant_parts import expression_meant
from stitchc.notation.meant_rows import row_line_meant
from stitchc.notation.meant_sizes import size_line_meant
from stitchc.notation.slips import FIGURES, KEYWORDS, PLAIN_WORDS, nearest

_NAME: Final = r"[^\W\d_][\w-]*"
_LONGEST: Final = 300
_FORMS: Final = "then|beside|across|up|shifted|mirrored|reversed|with"
_OTHER_WORDS: Final = {
    "title": "pattern",
    "name": "pattern",
    "notes": "note",
    "remark": "note",
    "yarns": "yarn",
    "colours": "yarn",
    "colors": "yarn",
    "needle": "needles",
    "edges": "edge",
    "tension": "gauge",
    "swatch": "gauge",
    "work": "knit",
    "k": "knit",
    "import": "include",
    "start": "carriage",
    "starts": "carriage",
    "begin": "carriage",
    "stitches": "needles",
    "sts": "needles",
}
_TO_DO: Final = re.compile(
    r"(?:cast|bind|hang|take|remove|join|pick|transfer|change|cut|break|thread|block|weave|sew|graft|press|steam|set|turn"
    r"|put|insert|fasten|hook|drop|ravel|unravel|tie|wrap|weigh|wind|fold|wash|finish|switch|place|leave|push|pull|move"
    r"|attach|wait|stop)(?:\s+\S|\W*$)",
    re.IGNORECASE,
)
"""What a knitter does by hand in the course of a piece."""
PLIES: Final = r"[\"“]?(?P<plies>[0-9]{1,5}|one|two|three|four|five|six|eight|ten)[\s-]*pl(?:y|ies)\b"
"""How many plies a yarn has, which is no category of weight."""
_TEXTS: Final = ("pattern", "note", "include", "do")
_NOT_YARNS: Final = "the a an tension double single main waste needle needles carriage row rows stitch"
_SIZES: Final = ("width", "needles", "edge", "carriage", "knit", "gauge")
_BEGINNINGS: Final = (*_TEXTS, *_SIZES, "yarn", "stitch", "piece")


def lines_meant(line: str, code: str, around: Around, reads: Callable[[str], bool]) -> list[str]:
    """What the line most likely meant, the likeliest first; none where that is not clear.

    line: all of it; code: without its comment. reads: whether the parser can read a line. An answer may be two lines.
    """
    if len(line) > _LONGEST:
        return []
    found: list[str] = []
    for alternatives in _candidates(line, code, around):
        found = [
            one
            for one in dict.fromkeys(alternatives)
            if (one.split() != code.split() or "\n" in one) and all(reads(part) for part in one.split("\n"))
        ]
        if found:
            break
    return found


def _candidates(line: str, code: str, around: Around) -> Iterator[list[str]]:
    """What may be meant, the likeliest first; several together where any of them may be."""
    code = re.sub(r"^(?:[-•*>]\s+|(?:let|define|def|set)\s+(?=\w+\s*=))", "", code.strip())
    narrow = "".join(unicodedata.normalize("NFKC", c) if not c.isalnum() and c not in "…¨´" else c for c in code)
    if bare := re.match(r"([^\"]*?)\s*(?://|/\*)\s*(.*?)\s*(?:\*/)?$", narrow):
        yield [f"{bare[1]}  # {visible(bare[2])}" if bare[2] else bare[1]]
        narrow = bare[1]
    parts = [part.strip() for part in narrow.split(";")]
    if len(parts) > 1 and all(parts):
        yield ["\n".join(parts)]
    trimmed = narrow.rstrip(" ;,.{:-")
    if trimmed != code:
        yield [trimmed]
    word = re.match(r"([^\W\d_]+)", narrow)
    first = word[1].lower() if word is not None else ""
    rest = narrow[word.end() :] if word is not None else ""
    keyword = first if first in _BEGINNINGS else _OTHER_WORDS.get(first, "")
    if (
        not keyword
        and len(first) > 3
        and first not in KEYWORDS
        and not (around.block == "piece" and _TO_DO.match(narrow))
    ):
        keyword = nearest(first, _BEGINNINGS) or ""
    if (keyword == "carriage" and first != keyword and not re.search(r"\b(?:left|right)\b", rest, re.IGNORECASE)) or (
        keyword == "knit" and first == "k" and around.block != "piece"
    ):
        keyword = ""
    if first == "stitches" and not re.search("[0-9]", rest):
        keyword = "stitch"
    if keyword == "needles" and first != "needles" and not re.fullmatch(r"\W*[0-9]+\W*", rest):
        keyword = ""
    rest = re.sub(r"^\s*(?::=|[:=])?\s*", "", rest)
    if re.match(r"(?:rows?|rounds?|rnds?|r)[\s.]*[0-9]", narrow, re.IGNORECASE):
        yield from _some(row_line_meant(narrow, around))
    if keyword in _TEXTS:
        yield from _text(keyword, rest, around)
    elif keyword == "knit" and around.block == "stitch":
        yield from _some(row_line_meant(narrow, around))
    elif keyword in _SIZES:
        yield from _some(size_line_meant(keyword, rest, around))
    elif keyword == "yarn":
        several = re.fullmatch(rf"{_NAME}(?:\s*(?:,|&|\band\b)\s*{_NAME})+", rest)
        told = re.findall(rf"({_NAME})\s*\(([^()\"]*)\)", rest)
        if len(told) > 1 and not re.sub(rf"{_NAME}\s*\([^()\"]*\)|,|&|\band\b|\s", "", rest):  # `navy (MC), white (CC)`
            yield ["\n".join(f'yarn {name} "{visible(what.strip())}"' for name, what in told)]
        if re.fullmatch(rf"{_NAME}(?:\s*[,;]?\s*yarn\s+{_NAME})+", rest, re.IGNORECASE):
            yield ["\n".join(f"yarn {one}" for one in re.split(r"\s*[,;]?\s*\byarn\s+", rest, flags=re.IGNORECASE))]
        if several is not None:
            each = re.split(r"\s*(?:,|&|\band\b)\s*", rest)
            lines = ["\n".join(f"yarn {one}" for one in each)]
            if first == "yarn" and len(each) == 2 and "," in rest:
                lines.append(f'yarn {each[0]} "{each[1]}"')
            yield lines
        yield from _yarn(rest, line)
    elif keyword == "piece":
        yield from _some(_named("piece", rest.split("(")[0]))
    elif keyword == "stitch":
        yield from _stitch(rest, around)
    elif (built := re.match(rf"({_NAME})\s*(?::?=+|:)\s*(?=\(*\s*({_NAME}))", narrow)) and (
        "=" in built[0] or built[2] in around.stitches
    ):
        yield from _built(built[1], narrow[built.end() :], around)
    elif around.rows_follow and (
        named := re.fullmatch(rf"(?:def|define)?\s*[\"\[(]?({_NAME})[\"\])]?\s*[:;{{]?", narrow)
    ):
        yield from _some(_named("stitch", named[1]))
    else:
        yield from _without_keyword(narrow, first, around)


def _some(line: str | None) -> Iterator[list[str]]:
    if line is not None:
        yield [line]


def _without_keyword(code: str, first: str, around: Around) -> Iterator[list[str]]:
    """A row, or a line of a piece whose keyword is left out or stands behind."""
    if re.match(r"[0-9]", code) and re.search(
        r"[0-9]\s*(?:st|stitch)(?:e?s)?\b.*[0-9]\s*r(?:ows?)?\b", code, re.IGNORECASE
    ):
        yield from _some(size_line_meant("gauge", code, around))
    if around.block != "piece":
        yield from _some(row_line_meant(code, around))
        return
    cast_on = re.fullmatch(r"cast[\s-]*on\s+([0-9]+)\s*(?:stitches|sts?|needles?)?\W*", code, re.IGNORECASE)
    if cast_on is not None:
        yield [f"needles {cast_on[1]}", f'do "{visible(code)}"']
    cast_over = re.fullmatch(
        r"cast[\s-]*on\s+(?:needles\s+|from\s+)?(?=[LR]?\s*[0-9])([LR0-9][\sLR0-9]*(?:-|–|to|and)?[\sLR0-9]*)\W*",
        code,
        re.IGNORECASE,
    )
    if cast_over is not None and cast_on is None:
        yield [
            *(one for found in _some(size_line_meant("needles", cast_over[1], around)) for one in found),
            f'do "{visible(code)}"',
        ]
    for keyword, sign in (("needles", r"needles?|stitches|sts"), ("width", r"width|wide"), ("edge", "edges?")):
        if re.match(r"[0-9LR]", code) and re.search(rf"\b(?:{sign})\b", code, re.IGNORECASE):
            yield from _some(size_line_meant(keyword, code, around))
    if re.fullmatch(r"(?:col|cor)\W*", code, re.IGNORECASE):
        yield from _some(size_line_meant("carriage", code, around))
    if re.match(_NAME, code) and (
        code.split()[0] in around.stitches
        or first == "plain"
        or re.match(rf"{PLAIN_WORDS}(?![\w-])", code, re.IGNORECASE)
    ):
        yield from _some(size_line_meant("knit", code, around))
    if re.match(rf"[0-9]+(?:\.[0-9]+)?\s*(?:rows?|cm|mm|in)\b\s*(?:of\s+|in\s+)?{_NAME}", code, re.IGNORECASE):
        yield from _some(size_line_meant("knit", code, around))
    if _TO_DO.match(code) and not re.search('[="“”]', code) and changed_yarn(code, around.yarns) is None:
        yield [f'do "{visible(code)}"']


def changed_yarn(code: str, yarns: Collection[str]) -> str | None:
    """The yarn that a line of a piece changes to by hand, or "" where it does not say; None where it changes none.

    What is only done by hand would leave the rows behind it in the yarn they had.
    """
    change = re.search(
        r"(?:^|\b(?:and|then)\s+|[,;]\s*)"
        r"(?:change|switch|swap|turn|go|use|using|with|in|join|attach|add|bring|introduce|pick)\b(?P<to>.*)",
        code,
        re.IGNORECASE,
    )
    if change is None:
        return None
    named = next((one for one in re.findall(_NAME, change["to"]) if one in yarns), None)
    if named is not None:
        return str(named)
    colour = re.match(
        rf"(?:change|switch|swap)\s+(?:(?:over|back)\s+)?(?:to\s+(?:yarn\s+|colou?r\s+)?(?P<name>{_NAME})"
        r"|(?:the\s+)?(?:yarns?|colou?rs?)\b(?:\s+to\s+(?P<other>[^\W\d_][\w-]*))?)",
        code,
        re.IGNORECASE,
    )
    if colour is None or (colour["name"] or "").lower() in _NOT_YARNS.split():
        return None
    return colour["name"] or colour["other"] or ""


def _text(keyword: str, rest: str, around: Around) -> Iterator[list[str]]:
    """Text in quotation marks."""
    if re.fullmatch(r'(?:"[^"]*"\s*){2,}', rest):
        rest = " ".join(re.findall(r'"([^"]*)"', rest))
    closed = re.fullmatch(r'"([^"]*)"\s*(\S.*)', rest)
    if closed is not None and '"' not in closed[2] and not closed[2].strip(" ;,.:"):
        yield [f'{keyword} "{visible(closed[1])}"']
        return
    if closed is not None and '"' not in closed[2]:
        yield [f'{keyword} "{visible(closed[1])} {visible(closed[2])}"']
        return
    if keyword == "pattern":
        rest = re.sub(r"^(?:name|title)\s*[:=]\s*", "", rest, flags=re.IGNORECASE)
    rest = re.sub(r"^[-–]\s+|^[(<](?=[^()<>]*[)>]$)|(?<=\S)[)>]$", "", rest) if rest[:1] in "(<-–" else rest
    inside = rest.strip(" \t;").strip("“”„‟«»″‘’‚'`´\" ")
    inside = re.sub('["“”]', "'", inside)
    if not inside:
        return
    if keyword == "include" and "." not in inside.rsplit("/", 1)[-1]:
        inside += ".stitch"
    line = f'{keyword} "{visible(inside)}"'
    if keyword == "pattern" and around.rows_follow and (name := _named("stitch", inside)):
        line += f"\n{name}"
    yield [line]


def _named(keyword: str, text: str) -> str | None:
    """A line that names something, the name made one."""
    text = text.strip(" \t\"“”„'‘’:=;,.{")
    if not text:
        return None
    return f"{keyword} {as_name(text)}"


def as_name(text: str) -> str:
    """A text as a name: its words joined, without what no name has, and no keyword."""
    name = re.sub(r"[^\w]+", "-", text.strip()).strip("-_")
    if figures := re.match(r"([0-9]+)[-_]*(.+)", name):
        name = f"{figures[2]}-{figures[1]}"
    name = re.sub(r"^[\d_-]+", "", name)
    figures = re.search("[0-9]+", text)
    return name if name and name.lower() not in KEYWORDS else f"{name or 'ripple'}-{figures[0] if figures else 1}"


def plied_tex(text: str) -> tuple[int, int] | None:
    """Where a tex is given with its ends, as `30*2` and `2/30`: which of them is one end's nobody can know."""
    numbers = r"[0-9]+(?:[.,][0-9]+)?\s*[xX×*/]\s*[0-9]+(?:[.,][0-9]+)?"
    found = re.search(rf"\btex\s*[:=]?\s*\"?({numbers})|(?<![\w.])({numbers})\s*tex\b", text, re.IGNORECASE)
    found = found or re.search(r"\btex\s*[:=]?\s*[0-9.]+\s*([xX×*/]\s*[0-9]+)", text, re.IGNORECASE)
    return None if found is None else found.span(found.lastindex or 0)


def _yarn(rest: str, line: str) -> Iterator[list[str]]:
    """A yarn with its description and facts."""
    facts: list[str] = []
    if plied_tex(rest) is not None:
        return
    if ply := re.search(rf"\bweight\b\s*[:=]?\s*{PLIES}[\"”]?", rest, re.IGNORECASE):  # no category: a description
        rest = f"{rest[: ply.start()]} {rest[ply.end() :]}"
        told = f"{ply['plies']} ply"
        if quotes := re.search(r"[\"“]([^\"“”]*)[\"”]", rest):
            rest = f'{rest[: quotes.start()]}"{quotes[1].strip()}, {told}"{rest[quotes.end() :]}'
        elif name := re.match(_NAME, rest):
            rest = f'{name[0]} "{told}" {rest[name.end() :]}'
    commented = re.search(r"\bcolou?r\s*[:=]?\s*(#(?:[0-9a-fA-F]{6}|[0-9a-fA-F]{3}))(?!\w)", line, re.IGNORECASE)
    if commented is not None:
        facts.append(f'colour "{commented[1]}"')
    if commented is not None and commented.start() < len(line):
        rest = re.sub(r"\bcolou?r\s*[:=]?\s*(?:#\w*)?", " ", rest, count=1, flags=re.IGNORECASE)
    for key, expression in (
        ("colour", r"\bcolou?r\s*[:=]?\s*[\"“']?(?P<value>#?(?:[0-9a-fA-F]{6}|[0-9a-fA-F]{3}))\b[\"”']?"),
        ("colour", r"[\"“'](?P<value>#(?:[0-9a-fA-F]{6}|[0-9a-fA-F]{3}))[\"”']"),
        ("tex", r"\btex\s*[:=]?\s*\"?(?P<value>[0-9]+(?:[, ][0-9]{3})+|[0-9]+(?:[.,][0-9]+)?)\b\"?"),
        ("tex", r"(?<![\w.,])(?P<value>[0-9]+(?:[, ][0-9]{3})+|[0-9]+(?:[.,][0-9]+)?)\s*tex\b"),
        ("weight", r"\bweight\s*[:=]?\s*(?P<value>super[\s-]*(?:fine|bulky))\b"),
        (
            "weight",
            r"\b(?P<value>super[\s-]*(?:fine|bulky)|lace|fine|light|medium|bulky|jumbo)\s+weight\b(?!\s*[\w\":=])",
        ),
        ("weight", r"\bweight\s*[:=]?\s*(?P<value>[\w-]+|\"[^\"]*\")"),
    ):
        found = re.search(expression, rest, re.IGNORECASE)
        if found is None or any(fact.startswith(key) for fact in facts):
            continue
        value = re.sub(r"^super[\s-]*", "super-", found["value"], flags=re.IGNORECASE)
        if key == "tex":
            thousands = re.fullmatch(r"[1-9][0-9]{0,2}(?:[, ][0-9]{3})+", value)
            value = re.sub("[, ]", "" if thousands else ".", value)
            if value.count(".") > 1:
                return
        facts.append(f'{key} "#{value.lstrip("#")}"' if key == "colour" else f"{key} {value}")
        rest = f"{rest[: found.start()]} {rest[found.end() :]}"
    rest = rest.strip(" \t;,.:=")
    quoted = re.fullmatch(r"[\"“„'‘]([^\"“”„]*)[\"”'’]", rest)
    tail = "".join(f" {fact}" for fact in facts)
    if quoted is not None:
        described = f' "{visible(quoted[1])}"' if " " in quoted[1].strip() else ""
        yield [f"yarn {as_name(quoted[1])}{described}{tail}"]
        return
    name = re.match(_NAME, rest)
    if name is None:
        return
    told = rest[name.end() :]
    said = told.strip(" \t\"“”„'‘’:=;,()")
    if not said:
        yield [f"yarn {name[0]}{tail}"]
        return
    if facts and not re.search(r"[^\W\d_]", said):
        return  # figures that are left over: `weight 4,5`
    whole = re.fullmatch(r"\s*[\"“]([^\"“”]*)[\"”]\s*", told)
    if whole is not None and whole[1].strip():
        yield [f'yarn {name[0]} "{visible(whole[1].strip())}"{tail}']
        return
    if re.search(r"[\"“”#]|\b(?:colou?r|tex|weight)\b", said, re.IGNORECASE):
        return
    if told[:1] not in ' \t:=,("“':
        return
    said = re.sub(r"^[-–]\s+", "", said)
    if facts or re.match(r"\s*(?:[\"“„'‘:=,(]|[-–]\s)", told):
        yield [f'yarn {name[0]} "{visible(said)}"{tail}']
        return
    described = f'yarn {name[0]} "{visible(said)}"'
    yield [described] if re.search(r"[0-9]", told) else [f"yarn {as_name(rest)}", described]


def _stitch(rest: str, around: Around) -> Iterator[list[str]]:
    """The first line of a stitch, its first row perhaps behind it."""
    rest = re.sub(rf"^(?:pattern|name)\b\s*[:=]?\s*(?={_NAME}\s*(?:$|[=:]|over\b))", "", rest, flags=re.IGNORECASE)
    formed = re.match(
        rf"({_NAME})\s+(?:(?:-|–|equals|is)\s+)?(?=({_NAME}|\()\s*.*\b(?:{_FORMS})\b)", rest, re.IGNORECASE
    )
    if formed is not None and formed[2] in (*around.stitches, "(", "plain"):
        yield from _built(formed[1], rest[formed.end() :], around)
        return
    name = re.match(
        rf"[\"“„'‘]?({_NAME}(?:[ \t]+(?!over\b|is\b|in\b|multiples?\b|(?:with|on|of|across)\s+[0-9]){_NAME})*)[\"”'’]?",
        rest,
    )
    if name is None:
        yield from _some(
            _named("stitch", rest) if re.match(r"[\"“]?[0-9]+[-_ ]?[^\W\d_]", rest) and ":" not in rest else None
        )
        return
    whole = as_name(name[1])
    after = re.sub(r"^[\s,(]*multiples?\s+of\b", " over", rest[name.end() :], flags=re.IGNORECASE)
    if re.match(r"(?:number|no|nr|chart|design|motif)\.?$", name[1], re.IGNORECASE) and re.fullmatch(
        r"\s*[0-9]+\W*", after
    ):
        yield [f"stitch {as_name(f'{name[1]} {after}')}"]
        return
    if row := re.match(r"(.*?[\s:,]|)\s*(?=[0-9]+(?:\s*[-–,]\s*[0-9]+)*\s*:)", after):
        if over := _over(whole, row[1].strip(" :,"), around):
            numbers, _, cells = after[row.end() :].partition(":")
            meant = row_meant(numbers.strip(), cells.strip(), False, around.yarns)
            yield [f"{over}\n    {meant.cells if meant is not None else after[row.end() :].strip()}"]
        return
    built = re.match(r"\s*(?::=|:|=+|is\b|equals\b)\s*(?=\S)(?!over\b)", after)
    if built is not None and re.search(rf"{_NAME}|[(0-9]", after[built.end() :]):
        yield from _built(whole, after[built.end() :], around)
        return
    if " " in name[1] and (glued := re.search(r"\s+(?:over|width|wide)[-\s]*([0-9]+)$", f" {rest.strip(' ;.')}")):
        yield [f"stitch {as_name(rest[: len(rest.strip(' ;.')) + 1 - len(glued[0])] or whole)} over {glued[1]}"]
        return
    yield from _some(_over(whole, after, around))


def _over(name: str, after: str, around: Around) -> str | None:
    """The line of a stitch with its width, if one follows."""
    text = re.sub(rf"\b({'|'.join(FIGURES)})\b", lambda m: FIGURES[m[1].lower()], after, flags=re.IGNORECASE)
    text = re.sub(r"(?<![\w.,])([1-9][0-9]{0,2}),([0-9]{3})(?![0-9,.])", r"\1\2", text)
    if not text.strip(" \t:=;,.{([") and ("=" not in text or around.rows_follow):
        return f"stitch {name}"
    over = re.fullmatch(
        r"[\s,(\[:=]*(?:over|width|wide|w|with|on|of|across)?[\s:=-]*([0-9]{1,7})\s*(?:needles?|stitches|stitch|sts?)?(?:\s*wide)?"
        r"(?:\s*(?:by|x|×|,)\s*[0-9]+\s*(?:rows?|high)?)?[\s)\].;,:{]*",
        text,
        re.IGNORECASE,
    )
    return f"stitch {name} over {over[1]}" if over is not None else None


def _built(name: str, expression: str, around: Around) -> Iterator[list[str]]:
    if not expression.strip("[({ ") and around.rows_follow:
        yield [f"stitch {as_name(name)}"]
        return
    row = re.fullmatch(r"(?:([0-9]+)\s*:)?\s*([KTSkts(][KTSkts0-9()xX×,\s]*)", expression)
    if row is not None and not set(re.findall(_NAME, expression)) & set(around.stitches):
        meant = row_meant(row[1] or "1", row[2], False, around.yarns)
        if meant is not None or row[1] or re.search("[KT]", row[2]):
            yield [f"stitch {as_name(name)}\n    {meant.cells if meant is not None else f'{row[1] or 1}: {row[2]}'}"]
    yield [f"stitch {as_name(name)} = {one}" for one in expression_meant(expression, around)]

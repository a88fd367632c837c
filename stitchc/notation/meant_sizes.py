"""The gauge, width, needles or knitting line that one which could not be read most likely meant.

Takes the numbers, units and names out of the line, however they are put, and writes them as the notation does; None
wherever something is left over that it does not understand.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from typing import Final

from stitchc.messages import visible
from stitchc.notation.around import Around
from stitchc.notation.slips import FIGURES, KEYWORDS, PLAIN_WORDS

_NAME: Final = r"[^\W\d_][\w-]*"
_VULGAR: Final = "½⅓⅔¼¾⅛⅜⅝⅞"
_FRACTION: Final = re.compile(
    r"(?<![\w./])(?:(?P<whole>[0-9]{1,5})[\s-]*)?"
    rf"(?:(?<![0-9])(?P<top>[0-9]{{1,2}})\s*[/⁄]\s*(?P<under>2|3|4|5|8|10|16)(?![\w./])|(?P<sign>[{_VULGAR}]))"
)
_N: Final = r"[0-9]+(?:\.[0-9]+)?"
_WRITTEN: Final = (
    (rf"(?<![\w.])({_N})\s*(?:inch(?:es)?\b|ins?\b\.?|″|”|''|\")\.?", r"\1 in "),
    (rf"(?<![\w.])({_N})\s*(?:centimet(?:er|re)s?\b|cms?\b)\.?", r"\1 cm "),
    (rf"(?<![\w.])({_N})\s*(?:millimet(?:er|re)s?\b|mms?\b)\.?", r"\1 mm "),
)
_LARGER: Final = (
    (rf"(?<![\w.])({_N})\s*(?:met(?:er|re)s?|m)\b", 100, "cm"),
    (rf"(?<![\w.])({_N})\s*(?:(?:feet|foot|ft)\b|′|'(?!'))", 12, "in"),
    (rf"(?<![\w.])({_N})\s*(?:yards?|yds?)\b", 36, "in"),
)
_FEET_AND_INCHES: Final = (
    rf"(?<![\w.])(?:(?P<m>{_N})\s*m(?:et(?:er|re)s?)?\s+(?P<cm>{_N})\s*(?:cm|centimet(?:er|re)s?)"
    rf"|(?P<ft>{_N})\s*(?:(?:feet|foot|ft)\.?|′|')\s*(?:and\s+)?(?P<in>{_N})\s*(?:inch(?:es)?|ins?|″|”|''|\"))(?![\w'])"
)
_LENGTH: Final = re.compile(rf"(?<![\w.])({_N} (?:mm|cm|in))(?![\w-])")
_ROWS: Final = r"(?:rows?|rws?|r|rounds?|rnds?|courses?)\b\.?"
_STITCHES: Final = r"(?:stitches|stitch|sts?|s|needles?|ndls?|wales?)\b\.?"
_MM: Final = {"mm": 1.0, "cm": 10.0, "in": 25.4}
_PLAIN: Final = re.compile(
    rf"(?<![\w-])(?:{PLAIN_WORDS}|st\.\s*st\.?)(?![\w-])",
    re.IGNORECASE,
)
_SIDES: Final = {"left": "left", "l": "left", "col": "left", "right": "right", "r": "right", "cor": "right"}


def size_line_meant(keyword: str, rest: str, around: Around) -> str | None:
    """The line that a keyword and what stands beside it meant."""
    return _READERS[keyword](rest, around) if len(rest) <= 300 else None


def _measured(text: str) -> str:
    """The text with its fractions as decimals, and its units as the notation has them."""
    text = re.sub(r"(?<=[0-9])\s+and\s+(?:a|one)\s+half\b", "½", text, flags=re.IGNORECASE)
    text = _FRACTION.sub(_decimal, text)
    text = re.sub(r"(?<![\w.,])([1-9][0-9]{0,2}),([0-9]{3})(?![0-9,.])", r"\1\2", text)
    text = re.sub(r"(?<![\w.,])([0-9]+),([0-9]{1,2})(?![0-9,.]|[^\W\d_]{3})", r"\1.\2", text)
    text = re.sub(
        rf"\b({'|'.join(word for word in FIGURES)})\b", lambda word: FIGURES[word[1].lower()], text, flags=re.IGNORECASE
    )
    text = re.sub(_FEET_AND_INCHES, _added, text, flags=re.IGNORECASE)
    for expression, factor, unit in _LARGER:
        parts = re.split(expression, text, flags=re.IGNORECASE)
        if unit == "in" and "'" in text and len(parts) > 1 and float(parts[1][:12]) >= 10:
            continue  # `24'` is hardly 24 feet
        for i in range(1, len(parts), 2):
            parts[i] = f"{_plain(float(parts[i][:12]) * factor)} {unit} "
        text = "".join(parts)
    for expression, put in _WRITTEN:
        text = re.sub(expression, put, text, flags=re.IGNORECASE)
    return text


def _called_plain(text: str, around: Around) -> str:
    """The text with what other crafts call stocking stitch as `plain`, but for a stitch of the file so named."""
    return _PLAIN.sub(lambda found: found[0] if found[0] in around.stitches else "plain ", text)


def _added(match: re.Match[str]) -> str:
    """`1 m 20 cm` and `5 ft 2 in` as one length."""
    if match["m"] is not None:
        return f"{_plain(float(match['m'][:12]) * 100 + float(match['cm'][:12]))} cm "
    return f"{_plain(float(match['ft'][:12]) * 12 + float(match['in'][:12]))} in "


def fraction_in(text: str, place: int) -> tuple[str, str] | None:
    """The fraction written around an offset of the text, if there is one, and what it is as a decimal."""
    found = (match for match in _FRACTION.finditer(text) if match.start() <= place <= match.end())
    return next(((match.group().strip(), _decimal(match).strip()) for match in found), None)


def _decimal(match: re.Match[str]) -> str:
    part = unicodedata.numeric(match["sign"]) if match["sign"] else int(match["top"]) / int(match["under"])
    return match.group() if part >= 1 else _plain(int(match["whole"] or 0) + part) + " "


def _plain(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")


def _left_over(text: str, fillers: str) -> list[str] | None:
    """The words left when the fillers and signs are taken out; None if a figure is left."""
    text = re.sub(rf"\b(?:{fillers})\b", " ", text, flags=re.IGNORECASE)
    words: list[str] = re.findall(r"[^\s,;:=.()/*×+-][^\s,;:=.()/*×+]*", text)
    return None if any(not word[0].isalpha() for word in words) else words


def _width(rest: str, around: Around) -> str | None:
    text = _measured(rest)
    if re.fullmatch(rf"\W*[0-9]+\s*{_STITCHES}\W*", text, re.IGNORECASE):
        return _needles(rest, around)
    inside = re.search(rf"(?<![0-9])\s+in\s+(?:stitch\s+)?({_NAME})\s*$", text)  # and not `20 in wide`
    stitch = ""
    if inside is not None and inside[1].lower() not in (*KEYWORDS - {"plain"},):
        stitch, text = f" in {inside[1]}", text[: inside.start()]
    lengths = _LENGTH.findall(text)
    if not lengths and (bare := re.fullmatch(rf"\D*?({_N})\s*", text)):
        lengths, text = [f"{bare[1]} cm"], text[: bare.start(1)]
    if len(lengths) == 2 and _alike(*lengths):  # `50 cm (20 in)`
        lengths = lengths[:1]
    elif len(lengths) == 2 and "(" in text:
        return None
    if len(lengths) == 2 and not re.search(r"[a-z]\s*,?\s*(?:\+|\b(?:plus|and|with)\b)", text, re.IGNORECASE):
        return None  # `60 cm - 2 cm`
    fillers = "of|about|approx|approximately|ca|is|finished|wide|width|plus|with|and|for|seams?|allowance"
    words = _left_over(_LENGTH.sub(" ", text), fillers)
    if words and len(words) == 1 and words[0] in around.stitches and not stitch:
        stitch, words = f" in {words[0]}", []
    if (
        not 1 <= len(lengths) <= 2
        or words != []
        or re.search(r"[0-9]\s*(?:-|–|x|×|to)\s*[0-9]|(?:x|×|by)\s*[0-9]", text)
    ):
        return None
    return f"width {' plus '.join(lengths)}{stitch}"


def _needles(rest: str, around: Around) -> str | None:
    text = _measured(rest)
    needle = r"(?:([LR])\s*([0-9]{1,3})|([0-9]{1,3})\s*([LR]))\b"
    if mirrored := re.fullmatch(r"\W*-\s*([0-9]{1,3})\s*(?:to|–|…|\.\.+)\s*\+?\s*([0-9]{1,3})\W*", text):
        return f"needles L{mirrored[1]}-R{mirrored[2]}"
    two = re.search(rf"{needle}\s*(?:-|–|—|:|,|\.\.+|to|through|until|and)?\s*{needle}", text, re.IGNORECASE)
    if two is not None:
        first, last = (two[1] or two[4], two[2] or two[3]), (two[5] or two[8], two[6] or two[7])
        if _left_over(text[: two.start()] + " " + text[two.end() :], "from|needles?|use") != []:
            return None
        return f"needles {first[0].upper()}{first[1]}-{last[0].upper()}{last[1]}"
    sides = re.fullmatch(
        rf"\W*([0-9]{{1,3}})\s*(?:{_STITCHES})?\s*(?:(?:on|to|at)\s+)?(?:each|either|both)\s+(?:sides?|ends?)(?:\s+of\s+(?:0|zero|the\s+cent(?:re|er)))?\W*"
        r"|\W*([0-9]{1,3})\s*(?:(?:on|to|at)\s+)?(?:the\s+)?left\W+(?:and\s+)?([0-9]{1,3})\s*(?:(?:on|to|at)\s+)?(?:the\s+)?right\W*",
        text,
        re.IGNORECASE,
    )  # fmt: skip
    if sides is not None:
        return f"needles L{sides[1] or sides[2]}-R{sides[1] or sides[3]}"
    one = re.search(r"(?<![\w.])[0-9]{1,6}(?![\w.])", text)
    fillers = "needles?|stitches|stitch|sts?|cast|on|over|in|all|use|about|of|width"
    if one is None or _left_over(text[: one.start()] + " " + text[one.end() :], fillers) != []:
        return None
    return f"needles {one[0]}"


def _edge(rest: str, around: Around) -> str | None:
    one = re.search(r"(?<![\w.])[0-9]{1,6}(?![\w.])", text := _measured(rest))
    if (
        one is None
        or _left_over(text[: one.start()] + " " + text[one.end() :], f"{_STITCHES}|edges?|of|each|side") != []
    ):
        return None
    return f"edge {one[0]}"


def _carriage(rest: str, around: Around) -> str | None:
    words = _left_over(rest, "on|at|the|is|to|in|side|hand|stands?|starts?|from|carriage")
    side = _SIDES.get(words[0].lower()) if words is not None and len(words) == 1 else None
    return f"carriage {side}" if side else None


def _knit(rest: str, around: Around) -> str | None:
    rest, at = _tension(rest)
    text = _called_plain(_measured(rest), around)
    exactly = re.search(r"\bexactly\b", text, re.IGNORECASE)
    text = re.sub(r"\bexactly\b", " ", text, flags=re.IGNORECASE)
    text = re.sub(rf"(?<![\w.])([0-9]+)\s+({_NAME})\s+rows?\b", r"\1 rows \2", text)
    yarn = ""
    for named in re.finditer(rf"\b(?:in|with|using)\s+(?:yarn\s+)?({_NAME})", text, re.IGNORECASE):
        if named[1] in around.yarns and not yarn:
            yarn, text = named[1], text[: named.start()] + " " + text[named.end() :]
            break
    if re.search(r"(?<![\w])[xX×]\s*[0-9]+\s*$", text):
        return None  # as many rows, or so often
    amount = re.search(rf"(?<![\w.])([0-9]+)\s*{_ROWS}", text, re.IGNORECASE)
    length = _LENGTH.search(text)
    bare = re.search(r"(?<![\w.])([0-9]+)(?![\w.]|\s*-)", text)
    if (found := amount or length or bare) is None or (amount and length):
        return None
    fillers = "for|of|x|in|the|until|to|it|is|measures|another|more|about|stitch|pattern|work|knit"
    words = _left_over(text[: found.start()] + " " + text[found.end() :], fillers)
    if words is None:
        return None
    if not yarn and (yarns := [word for word in words if word in around.yarns and word not in around.stitches]):
        yarn = yarns[0]
        words.remove(yarn)
    if len(words) > 1:
        return None
    stitch = words[0] if words else "plain"
    known = not words or not around.stitches or stitch in around.stitches or stitch.lower() == "plain"
    if not known or stitch.lower() in KEYWORDS - {"plain"}:
        return None
    much = length[1] if length and not amount else f"{found[1]} rows"
    return f"knit {stitch} for {much}{' exactly' if exactly else ''}{f' in {yarn}' if yarn else ''}{at}"


def _tension(rest: str) -> tuple[str, str]:
    """What a line says but its tension, and the tension as the notation has it; dots behind a figure are clicks."""
    rest = re.sub(r"\(\s*((?:at\b|on\b|@|tension\b|T ?[0-9])[^()]*)\)", r" \1", rest, flags=re.IGNORECASE)
    found = re.search(
        r"[\s,]*(?:\b(?:at|on)\b|@|(?=\btension\b)|(?=\bT ?[0-9]+(?:[.…]+|[./][0-9]+)?\s*$))"
        r"\s*[:=]?\s*(?:tension\s*(?=[\"“„]))?",
        rest,
        re.IGNORECASE,
    )
    if found is None:
        return rest, ""
    behind = rest[found.end() :]
    quoted = re.match(r"[\"“„]([^\"“”]*)[\"”]", behind)
    if quoted is not None:
        return f"{rest[: found.start()]} {behind[quoted.end() :]}", f' at "{visible(quoted[1])}"'
    bare = re.fullmatch(rf"[\"“']?(.*?)[\"”']?(?P<more>\s*,?\s+(?:exactly|in\s+{_NAME}|for\s.*))*", behind)
    assert bare is not None
    said = bare[1].strip(" ;,")
    said = said if re.search(r"[0-9][.…]+$", said) else said.rstrip(".")
    return f"{rest[: found.start()]} {behind[bare.end(1) :]}".rstrip("\"”'"), f' at "{visible(said)}"' if said else ""


def _gauge(rest: str, around: Around) -> str | None:
    rest = re.sub(r"(?<=[0-9])\s*([xX×*])\s*(?=[0-9])", r" \1 ", rest)  # `10x10 cm`
    text = _called_plain(_measured(rest), around)
    text = re.sub(
        r"\b(?:per|to|in|/)\s*(?:an?|the|each|every)?\s*(inch|in|cm|mm)\b\.?", _one_unit, text, flags=re.IGNORECASE
    )
    lengths = [" ".join(length.split()) for length in _LENGTH.findall(text)]
    text = _LENGTH.sub(" # ", text)
    first = re.search(rf"(?<![\w.])({_N})\s*(?:x|×|by|\*)\s*#", text, re.IGNORECASE)  # `13.5 x 15 cm`
    if first is not None and len(lengths) == 1:
        lengths.insert(0, f"{first[1]} {lengths[0].split()[1]}")
        text = f"{text[: first.start()]} # x # {text[first.end() :]}"
    across_and_up = re.search(r"#\s*(?:x|×|by|\*)\s*#", text, re.IGNORECASE) is not None
    text = re.sub(r"#\s*(?:x|×|by|\*)\s*#", " # ", text, flags=re.IGNORECASE)
    counts: dict[str, str] = {}
    places: dict[str, int] = {}
    for key, word in (("stitches", _STITCHES), ("rows", _ROWS)):
        found = re.search(rf"(?<![\w.])({_N})\s*{word}", text, re.IGNORECASE)
        found = found or re.search(rf"\b{word}\s*[:=]?\s*({_N})(?![\w.])", text, re.IGNORECASE)
        if found is not None:
            counts[key] = found[1]
            places[key] = found.start()
            text = text[: found.start()] + " ~".ljust(len(found[0])) + text[found.end() :]
    interleaved = re.fullmatch(r"[^#~]*~[^#~]*#[^#~]*~[^#~]*#[^#~]*", text) is not None
    both = re.search(rf"(?<![\w.])({_N})\s*(?:x|×|\*|/|,|by|and|&|:)\s*({_N})(?![\w.])", text, re.IGNORECASE)
    if not counts and both is not None:
        counts = {"stitches": both[1], "rows": both[2]}
        text = text[: both.start()] + " ~ " + text[both.end() :]
    if not lengths and (bare := re.search(rf"\b(?:per|in|over|to|=)\s*({_N})(?![\w.])", text)):
        lengths = [f"{bare[1]} cm"]
        text = text[: bare.start()] + " " + text[bare.end() :]
    words = _left_over(
        re.sub("[#~]", " ", text),
        "per|by|x|over|in|to|and|is|for|square|of|each|gauge|tension|stitch|pattern|measures?",
    )
    if not counts or words is None or len(words) > 1:
        return None
    stitch = words[0] if words else "plain"
    if stitch.lower() in KEYWORDS - {"plain"}:
        return None
    said = [f"{counts[key]} {key}" for key in ("stitches", "rows") if key in counts]
    if len(lengths) == 2 and "(" in rest and _alike(*lengths):
        lengths = lengths[:1]
    if len(set(lengths)) == 2 and len(lengths) == len(said) == 2 and (interleaved or across_and_up) and "(" not in rest:
        if interleaved and places["rows"] < places["stitches"]:
            said.reverse()
        return "\n".join(f"gauge {stitch} {one} per {length}" for one, length in zip(said, lengths, strict=True))
    if len(set(lengths)) > 1:
        return None
    return f"gauge {stitch} {' '.join(said)} per {lengths[0] if lengths else '10 cm'}"


def _alike(one: str, two: str) -> bool:
    """Whether two lengths in different units are one, given in both."""
    (first, unit), (second, other) = one.split(), two.split()
    ratio = float(first) * _MM[unit] / max(float(second) * _MM[other], 1e-9)
    return unit != other and 0.95 < ratio < 1.05


def _one_unit(match: re.Match[str]) -> str:
    unit = match[1].lower()
    return f" per 1 {'in' if unit == 'inch' else unit} "


_READERS: Final[dict[str, Callable[[str, Around], str | None]]] = {
    "width": _width,
    "needles": _needles,
    "edge": _edge,
    "carriage": _carriage,
    "knit": _knit,
    "gauge": _gauge,
}

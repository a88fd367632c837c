"""The slips people make in lines, each found by a function of its own, with words for it.

Each looks at where the parser gave up and gives a message, or None where it is another slip. The cures are for the part
that is marked; `meant_lines` has better ones for whole lines.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from typing import Final

from stitchc.messages import Message, visible
from stitchc.notation.meant_lines import PLIES, as_name, plied_tex
from stitchc.notation.meant_parts import shifted_upward
from stitchc.notation.meant_sizes import fraction_in
from stitchc.notation.slips import FIGURES, KEYWORDS, LOOK_ALIKES, latin_of, nearest
from stitchc.notation.wrong_cells import wrong_cell
from stitchc.notation.wrong_place import EXAMPLES, NAMED, SAYS, Place, called, shortened

_JOINTS: Final = {
    "and": "then, for above it; beside, for at its right",
    "+": "then, for above it; beside, for at its right",
    "&": "then, for above it; beside, for at its right",
    ",": "then, for above it; beside, for at its right",
    "above": "then",
    "on": "then",
    "over": "then",
    "after": "then",
    "followed": "then",
    "under": "then, the lower part first",
    "below": "then, the lower part first",
    "next": "beside",
    "by": "beside",
    "mirror": "mirrored",
    "flipped": "mirrored",
    "reverse": "reversed",
    "upside": "reversed",
    "upside-down": "reversed",
    "turned": "reversed, or mirrored",
    "inverted": "with K for T, T for K, or the letters that change places",
    "besides": "beside",
    "backwards": "reversed",
    "shift": "shifted 1",
    "moved": "shifted 1",
    "offset": "shifted 1",
    "high": "up",
    "wide": "across",
    "replacing": "with",
    "using": "with",
}
_ALIASES: Final = {
    "sts": "stitches",
    "st": "stitches",
    "stitch": "stitches",
    "s": "stitches",
    "row": "rows",
    "r": "rows",
    "rws": "rows",
    "x": "by",
    "×": "by",
    "color": "colour",
    "for": "per",
    "on": "at",
    "to": "for",
    "+": "plus",
    "=": "for",
    "is": "for",
}
_UNITS: Final = (
    (r"inch\w*|ins?\.|\"|″|”|''", "in"),
    (r"centimet\w*|cms\b", "cm"),
    (r"millimet\w*|mms\b", "mm"),
    (r"m\b|met(?:er|re)s?\b|yd\w*|yards?\b|ft\b|feet\b|foot\b", "mm, cm or in"),
)

_QUOTES: Final = "“”„‟«»″‘’‚'`´"


def _hidden(place: Place) -> Message | None:
    character = place.line[place.start : place.start + 1]
    if character and not character.isprintable():
        said = f"A hidden character, {visible(character)} ({called(character)}), stands here."
        return place.found(said, place.start, place.start + 1, "Delete it, or type the line again.")
    return None


def _quotation_marks(place: Place) -> Message | None:
    """Quotes of another kind, missing or left open."""
    character = place.word[:1]
    if character == '"' and place.code.find('"', place.start + 1) < 0:
        if place.allowed and "TEXT" not in place.allowed:
            return None
        said = "This quotation mark is never closed; quoted text ends on its own line."
        cure = f'"{shortened(place.line[place.start + 1 :].split("#")[0])}"'
        return place.found(said, place.start, place.start + 1, cure, label="opened here")
    if "TEXT" not in place.allowed or not place.word:
        return None
    if (
        character not in _QUOTES
        and place.first == "yarn"
        and not re.search(r"\bcolour\s*$", place.before, re.IGNORECASE)
    ):
        return None  # the description is optional there, so the word may be anything
    inside = place.code[place.start :].strip(_QUOTES + '" ').replace('"', "'")
    cure = f'"{shortened(inside)}"'
    if character in _QUOTES:
        said = f"`{character}` is not the quotation mark of the notation, which is straight and double."
        return place.found(said, place.start, place.start + 1, cure)
    return place.found("Text stands in quotation marks here.", place.start, len(place.code), cure)


def _unquoted_colour(place: Place) -> Message | None:
    match = re.search(r"\bcolour\s*(#[0-9a-fA-F]*)", place.line, re.IGNORECASE)
    bare = re.search(r"\bcolour\s+([^\s\"#]+)", place.code, re.IGNORECASE)
    if bare is not None and place.first == "yarn" and bare.start(1) <= place.start <= bare.end(1):
        said = "A colour is a # and six hexadecimal figures, in quotation marks."
        return place.found(said, *bare.span(1), 'as in "#d9c7a0"')
    if match is None or match.end(0) < place.start or place.first != "yarn":
        return None
    said = "A colour stands in quotation marks; without them the # begins a comment."
    return place.found(said, match.start(1), match.end(1), f'colour "{match[1]}"')


def _look_alike_keyword(place: Place) -> Message | None:
    for match in re.finditer(r"[^\W\d_]+", place.code):
        latin = latin_of(match.group())
        if latin is not None and latin.lower() in KEYWORDS and '"' not in place.code[: match.start()]:
            odd = next(i for i, c in enumerate(match.group()) if c != latin[i])
            said = f"`{match.group()}` is written with a letter that only looks like {latin[odd]}."
            return place.found(said, match.start() + odd, match.start() + odd + 1, latin, "N111")
    return None


def _exchanged_letter(place: Place) -> Message | None:
    if "LETTER" not in place.allowed or not place.word:
        return None
    if place.word[0] in LOOK_ALIKES:
        return wrong_cell(place.code, place.start, place.at).message
    meant = {"knit": "K", "tuck": "T", "slip": "S", "miss": "S"}.get(place.word.lower())
    if place.word[0].isalpha():
        said = f"`{place.word}` is not a cell; `with` exchanges K, T and S."
        return place.found(said, place.start, place.end, meant or "as in with S for T", "N102")
    return None


def _full_width(place: Place) -> Message | None:
    character = place.word[:1]
    plain = unicodedata.normalize("NFKC", character)
    if not character or character.isalpha() or plain == character or not plain.isascii():
        return None
    said = f"`{character}` is a full-width sign; the notation uses the narrow ones."
    return place.found(said, place.start, place.start + 1, shortened(unicodedata.normalize("NFKC", place.code)))


def _row_words(place: Place) -> Message | None:
    """`Row 1: …`, `R1 …`, `odd rows: …` and cells without a number."""
    indent = len(place.code) - len(place.code.lstrip())
    match = re.match(
        r"\s*((?:row|round|rnd|rows|r)s?\.?)\s*([0-9]+(?:\s*[,–-]\s*[0-9]+)*)\s*(?:\([^)]*\)|[RW]S)?\s*[:.]?\s*(?![0-9])",
        place.code,
        re.IGNORECASE,
    )
    if match and place.start <= match.end(1) and re.search(r"[:.]|\s[KTSkts(]", place.code[match.end(2) :]):
        rest = place.code[match.end() :] or "…"
        said = "A row begins with its number alone."
        cure = f"{match[2]}: {rest}" if re.match(r"[KTSPktsp(*\[{…]|[0-9]", rest) else "as in 1: K T"
        return place.found(said, match.start(1), match.end(1), shortened(cure))
    match = re.match(r"\s*((?:every|all|odd|even|other|each|next)\b[^:]*):?", place.code, re.IGNORECASE)
    if match and place.start == indent:
        said = "Rows are given by their numbers."
        cure = "as in 2, 4, 6: K T" if match[1].lower().startswith("even") else "as in 1, 3, 5: K T"
        return place.found(said, match.start(1), match.start(1) + len(match[1].rstrip()), cure)
    if place.start == indent and re.fullmatch(r"\s*[KTSPkts0-9\s()x×,*]+", place.code) and place.word[0] in "KTSPkts(*":
        said = "A row begins with its number and a colon."
        return place.found(said, indent, len(place.code), shortened(f"1: {place.code.strip()}"))
    return None


def _row_numbers(place: Place) -> Message | None:
    """`1 to 4:`, `1 & 3:`, `1 K T`, `1. K T`, `1 foam: K`."""
    if not place.first.isdigit():
        return None
    match = re.match(
        r"\s*([0-9]+)\s*(to|until|through|\.\.+|…|—|−|~|:(?=[0-9]+:))\s*([0-9]+)", place.code, re.IGNORECASE
    )
    if match and place.start < match.end():
        cure = shortened(f"{match[1]}-{match[3]}{place.code[match.end() :]}")
        return place.found("A range of rows is written with a `-`.", match.start(1), match.end(), cure)
    match = re.match(r"\s*([0-9][0-9,\s–-]*?)\s*(and|&|\+|;|/|und|et|y)\s*([0-9]+)", place.code, re.IGNORECASE)
    if match and place.start < match.end():
        cure = shortened(f"{match[1]}, {match[3]}{place.code[match.end() :]}")
        return place.found("Row numbers are listed with commas.", match.start(2), match.end(2), cure)
    match = re.match(r"\s*([0-9][0-9,\s–-]*?)\s+([^\W\d_][\w-]*)\s*:", place.code)
    if match and place.start == match.start(2) and match[2].lower() != "in":
        cure = shortened(f"{match[1]} in {match[2]}:{place.code[match.end() :]}")
        return place.found("A row's yarn is named after `in`.", match.start(2), match.end(2), cure)
    match = re.match(r"\s*([0-9]+)\s*(\(?(?:RS|WS)\)?)\s*:?", place.code, re.IGNORECASE)
    if match and place.start <= match.end():
        cure = shortened(f"{match[1]}: {place.code[match.end() :].strip()}")
        said = "A row has no right or wrong side: every row is written as you face the bed, purl side toward you."
        return place.found(said, match.start(2), match.end(2), cure)
    match = re.match(
        r"\s*([0-9][0-9,\s–-]*?(?:\s+in\s+[^\W\d_][\w-]*)?)\s*(\.(?!\.)|[)=;>|]|\s(?=\s*[KTSPktsp(*\[]))", place.code
    )
    cells = re.match(r"\W*([^\W\d_]*)", place.code[match.end() :]) if match else None
    if (
        cells is not None
        and cells[1].lower().strip("ktsp")
        and cells[1].lower() not in ("knit", "tuck", "slip", "purl")
    ):
        return None  # `22 stitches`, and no row
    if match and place.start <= match.end() and ":" not in place.before:
        number = match[1].rstrip(" \t,–-")  # of `1 - K T`
        cure = shortened(f"{number}: {place.code[match.end() :].lstrip(' :')}")
        said = "A colon stands between a row's number and its cells."
        dashes = match[1][len(number) :]
        after = match.end(1) - len(dashes.lstrip())
        return place.found(said, after, after + 1, cure)
    return None


def _name_of_words(place: Place) -> Message | None:
    """A name in quotes, of several words, beginning with a figure or ending in a colon."""
    match = NAMED.match(place.code)
    if match is None or "=" in place.before:
        return None
    name = place.code[match.end() :].split("=")[0]
    if match[1].lower() == "yarn":
        name = name.split('"')[0] if not name.startswith('"') else name
        if not name.startswith('"') and place.start >= match.end() + len(name):
            return None  # it is about what follows the description
    if place.word == ":":
        said = "No colon stands here."
        if match[1].lower() != "yarn" and place.end == len(place.code):
            said = "No colon follows the name; the lines below belong to it by themselves."
        return place.found(said, place.start, place.end, shortened(place.before))
    quoted = re.match(r'"([^"]*)"?', name)
    if quoted and place.start == match.end():
        said = "A name stands without quotation marks."
        cure = f"{match[1]} {as_name(quoted[1])}"
        if match[1].lower() == "yarn":
            said, cure = "A yarn has a name before its description.", f'yarn sand "{shortened(quoted[1])}"'
        return place.found(said, place.start, place.start + quoted.end(), cure)
    if place.start == match.end() and place.word[:1].isdigit():
        whole = re.match(r"[\w-]*", name)
        shown = whole.group() if whole else place.word
        cure = as_name(re.sub(r"^([0-9]+)[-_ ]*(.*)", r"\2-\1", name.strip())) or "ripple"
        said = "A name begins with a letter."
        return place.found(said, place.start, place.start + len(shown), f"{match[1]} {cure}")
    if place.start > match.end() and place.word[:1].isalpha() and not re.search(r"\bover\b", name, re.IGNORECASE):
        if match[1].lower() == "yarn" and (alias := _alias(place)):
            return alias
        if match[1].lower() == "yarn" and (described := _yarn_described(place, match.end())):
            return described
        if match[1].lower() == "yarn" and _OF_A_YARN.search(f" {name}"):
            return None
        words = re.match(r"[\w \t-]*", name)
        cure = f"{match[1]} {as_name(words.group() if words else name)}"
        if match[1].lower() == "stitch" and (yarn := re.search(r"\s+in\s+([^\W\d_][\w-]*)\s*$", name)):
            said = "A stitch has no yarn; its rows have."
            cure = f"Name it on the rows, as in 1 in {shortened(yarn[1])}: K T"
            return place.found(said, match.end() + yarn.start() + 1, match.end() + yarn.end(), cure)
        if match[1].lower() == "stitch" and re.search(r"\s[0-9]", name):
            cure = "as in stitch ripple over 8"  # what the figures say is no part of a name
        said = "A name is one word; a `-` or `_` can join several."
        return place.found(said, match.end(), match.end() + len((words.group() if words else name).rstrip()), cure)
    if place.word and re.fullmatch(r"\S+", place.code[match.end() : place.start]) and not place.word.isalnum():
        said = f"`{visible(place.word)}` cannot be part of a name; letters, figures, `_` and `-` can."
        return place.found(said, place.start, place.end, f"{match[1]} {as_name(name)}")
    return None


def _plies(place: Place) -> Message | None:
    """Plies among the facts of a yarn: `tex 30*2`, `weight 4 ply`."""
    if place.first != "yarn":
        return None
    if (ends := plied_tex(place.code)) is not None:
        said = "`tex` is followed by one number, the tex of the whole yarn with all its ends."
        return place.found(
            said, *ends, "Multiply the tex of one end by how many there are, as in tex 60 for two of 30."
        )
    ply = re.search(rf"\bweight\b\s*[:=]?\s*({PLIES})", place.code, re.IGNORECASE)
    if ply is not None and place.start >= ply.start():
        said = f"`{ply[1].strip()}` is no category of the standard yarn weights, which say nothing of plies."
        return place.found(said, *ply.span(), f'"{ply["plies"]} ply"   (a description, after the yarn\'s name)')
    return None


_OF_A_YARN: Final = re.compile(r"\s+(colou?r|tex|weight)\b", re.IGNORECASE)


def _yarn_described(place: Place, begins: int) -> Message | None:
    """A yarn's description without its quotation marks: `yarn sand oat colour "#d9c7a0"`."""
    name, _, rest = place.code[begins:].partition(" ")
    further = _OF_A_YARN.search(f" {rest}")
    if further is None or '"' in rest[: further.start()]:
        return None
    told = rest[: further.start()].strip()
    tail = re.sub(r"\bcolor\b", "colour", rest[max(0, further.start() - 1) :].strip(), flags=re.IGNORECASE)
    if not told:
        return _colour_in_quotes(place, name, begins + len(name) + 1, rest)
    start = begins + len(name) + 1
    said = "What a yarn is like stands in quotation marks after its name."
    return place.found(said, start, start + len(told), shortened(f'yarn {name} "{told}" {tail}'))


def _colour_in_quotes(place: Place, name: str, begins: int, rest: str) -> Message | None:
    bare = re.match(r"\s*colou?r\s+([^\s\"]+)", rest, re.IGNORECASE)
    if bare is None:
        return None
    said = "A colour is a # and six hexadecimal figures, in quotation marks."
    start = begins + bare.start(1)
    return place.found(said, start, start + len(bare[1]), f'as in yarn {shortened(name)} colour "#d9c7a0"')


def _number_words(place: Place) -> Message | None:
    two = re.match(r"[^\W\d_]+ [^\W\d_]+\b", place.code[place.start :])
    if two is not None and two[0].lower() in FIGURES and {"INT", "DECIMAL"} & place.allowed:
        return place.found(
            "Numbers are written in figures.", place.start, place.start + two.end(), FIGURES[two[0].lower()]
        )
    figure = FIGURES.get(place.word.lower())
    if figure is None or not {"INT", "DECIMAL"} & place.allowed:
        return None
    return place.found("Numbers are written in figures.", place.start, place.end, figure)


def _decimal_comma(place: Place) -> Message | None:
    if place.first.isdigit():
        return None
    if place.first in ("width", "knit", "gauge") and (fraction := fraction_in(place.code, place.start)):
        begins = place.code.index(fraction[0])
        said = f"`{fraction[0]}`: fractions are written as decimals, with a point."
        return place.found(said, begins, begins + len(fraction[0]), fraction[1])
    for match in re.finditer(r"[0-9]+,[0-9]+", place.code):
        if match.start() <= place.start <= match.end():
            if re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", match.group()):
                said = f"`{match.group()}`: a number has no comma between its figures."
                return place.found(said, match.start(), match.end(), match.group().replace(",", ""))
            said = f"`{match.group()}`: decimals are written with a point."
            return place.found(said, match.start(), match.end(), match.group().replace(",", "."))
    return None


def _decimal_count(place: Place) -> Message | None:
    if "INT" in place.allowed and "DECIMAL" not in place.allowed and re.match(r"[0-9]+\.[0-9]+", place.word):
        if not place.before.strip():
            said = f"`{place.word}` is no row's number; those are whole, and listed with commas."
            return place.found(said, place.start, place.end, "as in 1, 2: K T")
        whole = str(max(1, round(float(place.word[:12]))))
        return place.found(f"`{place.word}` is not a whole number.", place.start, place.end, whole)
    return None


def _unit(place: Place) -> Message | None:
    if "CM" not in place.allowed or not place.word:
        return None
    for expression, unit in _UNITS:
        match = re.match(expression, place.code[place.start :], re.IGNORECASE)
        if match:
            said = f"`{match.group()}` is not a unit here."
            return place.found(said, place.start, place.start + match.end(), unit)
    return None


def _brackets(place: Place) -> Message | None:
    """In an expression: left open, closed too often, of another kind, counted as in a row."""
    if place.first != "stitch" or "=" not in place.before:
        return None
    if place.word in ("[", "{"):
        return place.found("Parts are grouped in round brackets.", place.start, place.end, "(")
    if place.word == ")" and "RPAR" not in place.allowed and "_NEWLINE" in place.allowed:
        said = "This `)` closes a bracket that was never opened."
        return place.found(said, place.start, place.end, "Take it out, or open a group with `(` before it.")
    if not place.word and "RPAR" in place.allowed:
        opened = [place.code.index("=") + 1]
        for offset in range(opened[0], len(place.code)):
            if place.code[offset] == "(":
                opened.append(offset)
            elif place.code[offset] == ")" and len(opened) > 1:
                opened.pop()
        said = "This bracket is opened and never closed."
        return place.found(said, opened[-1], opened[-1] + 1, shortened(place.code + ")"), label="opened here")
    return None


def _shifted_upward(place: Place) -> Message | None:
    equals = place.code.find("=")
    if place.first != "stitch" or equals < 0 or (upward := shifted_upward(place.code[equals:])) is None:
        return None
    said = "`shifted` moves the columns, left or right; no form moves the rows up or down."
    cure = "Write the stitch's rows once more under another name, each numbered as much higher or lower."
    return place.found(said, equals + upward[0], equals + upward[1], cure)


def _joints(place: Place) -> Message | None:
    """Other words between and after the parts of an expression."""
    if place.first != "stitch" or "=" not in place.before or not place.word:
        return None
    word, after = place.word.lower(), place.code[place.start :]
    width = re.search(r"([0-9]+)\s*$", place.before)
    if "BY" in place.allowed and width and (match := re.match(r"[xX×]\s*([0-9]*)", after)):
        said = "The sizes of a plain part have `by` between them."
        cure = f"plain {width[1]} by {match[1] or 12}"
        return place.found(said, place.start, place.start + match.end(), cure)
    if "INT" in place.allowed and word in ("left", "right") and (match := re.match(r"\w+\s+([0-9]+)", after)):
        said = "The number of needles stands before the side."
        return place.found(said, place.start, place.start + match.end(), f"shifted {match[1]} {word}")
    if "NAME" in place.allowed and word.isdigit() and (match := re.match(r"[0-9]+\s*[x×]?\s*([^\W\d_][\w-]*)", after)):
        said = "How often a part is repeated stands after it."
        return place.found(said, place.start, place.end, f"{match[1]} across {word}, or {match[1]} up {word}")
    if word in KEYWORDS and "NAME" in place.allowed:
        said = f"A stitch's name stands before and after `{word}`."
        return place.found(said, place.start, place.end, "ripple then ripple shifted 1")
    if not {"THEN", "BESIDE"} <= place.allowed:
        return None
    leading = re.search(r"(?:=|\(|\bthen\b|\bbeside\b)\s*(then|beside|across|up|shifted|mirrored|reversed|with|by)\s*$",
                        place.before, re.IGNORECASE)  # fmt: skip
    if leading:
        said = f"A stitch's name stands before `{leading[1]}`."
        cure = f"ripple {leading[1].lower()} …"
        return place.found(said, leading.start(1), leading.end(1), cure)
    times = re.match(
        r"(?:x|×|\*|times|repeat(?:ed)?)\s*([0-9]+)(?:\s*times)?|([0-9]+)\s*(?:x\b|times)?", after, re.IGNORECASE
    )
    if times:
        count = times[1] or times[2]
        said = "A part is repeated with `across` in width and `up` in height."
        one = re.search(r"\b(across|up)\s+[0-9]+\s*$", place.before, re.IGNORECASE)  # `across 2 x 3`
        cure = f"across {count}, or up {count}"
        if not re.search(r"[^0-9\s]", times[0]) and re.search(
            r"\b(?:shifted|across|up)\s+[0-9]+\s*$", place.before, re.IGNORECASE
        ):
            cure = "as in shifted 1 up 2"  # `shifted 1 2`: what the second number is for is not said
        elif one is not None:
            cure = f"up {count}" if one[1].lower() == "across" else f"across {count}"
        return place.found(said, place.start, place.start + times.end(), cure)
    glued = re.match(r"(across|up|shifted|mirrored|reversed|then|beside|with)-?(\w.*)", place.word, re.IGNORECASE)
    if glued and glued[1].lower() != word and not word.startswith(("upside", "besides", "without")):
        cure = f"{glued[1]} {glued[2]}"
        return place.found(f"A space is missing in `{place.word}`.", place.start, place.end, cure)
    if word in _JOINTS:
        said = f"`{place.word}` does not join parts or change them."
        return place.found(said, place.start, place.end, _JOINTS[word])
    near = nearest(word, ("then", "beside", "across", "shifted", "mirrored", "reversed"))
    if near and word != near:
        said = f"`{place.word}` does not join parts or change them."
        return place.found(said, place.start, place.end, near)
    if word[0].isalpha() or word == "(":
        said = "Between two parts stands `then` or `beside`."
        return place.found(said, place.start, place.end, "as in ripple then ripple, or ripple beside ripple")
    return None


def _gauge_sizes(place: Place) -> Message | None:
    match = re.search(r"([0-9.]+)\s*[x×*/]\s*([0-9.]+)", place.code, re.IGNORECASE)
    if place.first != "gauge" or match is None or not match.start() <= place.start <= match.end():
        return None
    if re.search(r"(?:\b(?:per|to|over|in)|[=/])\s*$", place.code[: match.start()], re.IGNORECASE):
        said = "A gauge is measured over one length."
        return place.found(said, *match.span(), match[1]) if match[1] == match[2] else None
    said = "Stitches and rows are each named in a gauge."
    return place.found(said, match.start(), match.end(), f"{match[1]} stitches {match[2]} rows")


def _side_in_a_sentence(place: Place) -> Message | None:
    side = re.search(r"\b(left|right)\b", place.code, re.IGNORECASE)
    if place.first == "carriage" and side and {"LEFT", "RIGHT"} <= place.allowed:
        said = "The side follows `carriage` at once."
        return place.found(said, place.start, side.start(), f"carriage {side[1].lower()}")
    return None


def _alias(place: Place) -> Message | None:
    """A word like one that is allowed."""
    if not place.word or place.start == len(place.code) - len(place.code.lstrip()):
        return None
    keywords = [name.lower() for name in place.allowed if name.isalpha() and name not in SAYS and name != "NAME"]
    alias = _ALIASES.get(place.word.lower())
    meant = alias if alias in keywords else nearest(place.word.lower(), [k for k in keywords if len(k) > 2])
    if meant is None or meant == place.word.lower():
        return None
    return place.found(f"`{visible(place.word)}` is written `{meant}` here.", place.start, place.end, meant)


def _line_begins(place: Place) -> Message | None:
    if place.start != len(place.code) - len(place.code.lstrip()) or not place.word:
        return None
    if place.word.upper() in ("RS", "WS"):
        said = f"`{place.word}`: a row has no right or wrong side; write it as you face the bed, purl side toward you."
        rest = place.code[place.end :].lstrip(" .:0123456789")
        return place.found(said, place.start, place.end, shortened(f"1: {rest}") + "   (a row begins with its number)")
    if place.word.lower() in ("end", "rep", "repeat", "continue") or place.code.strip() in (*"}])",):
        said = "Nothing is written for this: a stitch repeats by itself, and a piece ends with its last line."
        return place.found(said, place.start, len(place.code), "Take the line out.")
    near = nearest(place.word.lower(), [*EXAMPLES])
    glued = re.match(r"(" + "|".join(EXAMPLES) + r")[-_]?(\w.*)", place.word, re.IGNORECASE)
    if glued and glued[1].lower() == "do" and not re.match("do[-_]", place.word, re.IGNORECASE):
        glued = None  # done, double, …
    if glued and near != glued[1].lower():
        near = f"{glued[1]} {glued[2]}"
    cure = f"{near} …" if near else "A line begins with a row number or one of: " + ", ".join(EXAMPLES) + "."
    said = f"No line of the notation begins with `{visible(place.word[:40])}`."
    return place.found(said, place.start, place.end, cure)


SLIPS: Final[tuple[Callable[[Place], Message | None], ...]] = (
    _hidden,
    _full_width,
    _look_alike_keyword,
    _exchanged_letter,
    _row_words,
    _row_numbers,
    _plies,
    _name_of_words,
    _unquoted_colour,
    _quotation_marks,
    _decimal_comma,
    _unit,
    _gauge_sizes,
    _decimal_count,
    _number_words,
    _brackets,
    _shifted_upward,
    _joints,
    _side_in_a_sentence,
    _alias,
    _line_begins,
)

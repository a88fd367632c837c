"""What to say of text in a row that is no cell: the slips people make there, each with its own words and cure.

Loaded only when a row has a mistake in it; knows the row's text and nothing else of the pattern.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from typing import Final, NamedTuple

from stitchc.messages import Message, Span, visible
from stitchc.notation.slips import LOOK_ALIKES, count_message

At = Callable[[int, int], Span]
"""Makes a span of two offsets in the row's text."""


class Found(NamedTuple):
    """A mistake in a row. end: the offset where reading goes on. kind: of several alike only the first is told."""

    message: Message
    end: int
    kind: str


_HAND_WORDS: Final = re.compile(
    r"(?:k|p|ss?)[0-9]*tog|[kp]f?fb|psso|skp|sk2p|yo[0-9]*|yfwd|yrn|m1[lr]?|inc[0-9]*|dec[0-9]*|tbl|sl(?:\s*st)?[0-9]*"
    r"|[kp]w(?:ise)?|w(?:yi[bf])|rep(?:eat)?|rs|ws|[kp][0-9]b|co|bo",
    re.IGNORECASE,
)
_PURL: Final = re.compile(r"p(?:url)?\s?[0-9]*", re.IGNORECASE)
_STARRED: Final = re.compile(
    r"\*\s*([^*]*?)[;,.\s]*"
    r"(?:\*|(?:rep(?:eat)?|to\s+end)\b[^*]*\*?)"
    r"\s*(?:,?\s*(?:rep(?:eat)?|to|until|across|x\s*[0-9]|[0-9]+\s*(?:x|times)|twice|[0-9]+)"
    r".*?(?=[\s,;]+\(?\s*[KTS][0-9]*(?![^\W_])|[\s,;]+[0-9]+[KTS]\b|\s*$))?",
    re.IGNORECASE | re.DOTALL,
)
"""A repeat between asterisks, to before the next cells."""
_BOXED: Final = re.compile(r"[\[{]\s*([^\[\]{}()]*?)\s*[\]}]\s*(?:[xX×*]?\s*([0-9]+))?(?:\s*times)?")
_WORD: Final = re.compile(r"[^\W\d_]+")
_COUNT_FIRST: Final = re.compile(r"([0-9]+)\s*([KTSkts]?)(?![^\W\d_])")
_MEANT: Final = {
    "knit": "K",
    "tuck": "T",
    "slip": "S",
    "miss": "S",
    "float": "S",
    "skip": "S",
}
_SEPARATORS: Final = {",": "commas", ";": "semicolons", "/": "strokes", "|": "bars", "\\": "strokes", "&": "`&`"}
_FULL_WIDTH: Final = "（）：，；＊　［］｜"

KINDS: Final = "K (knit), T (tuck) or S (slip)"


def wrong_cell(text: str, start: int, at: At) -> Found:
    """The mistake at `start`, where no cell can be."""
    for look in _LOOKS:
        found = look(text, start, at)
        if found is not None:
            return found
    character = text[start]
    name = unicodedata.name(character, "a character without a name").lower()
    return _found(f"`{visible(character)}` ({name}) has no meaning in a row.", at, start, start + 1, KINDS)


def uncounted_group(text: str, start: int, close: int, after: int, at: At) -> Found:
    """A group whose `)` at `close` has no count. after: the offset behind the `)`, or behind its `x`."""
    inside = re.sub(r"\s*[,;/|\\&]\s*", " ", text[start:close][:40]).strip()
    if not re.fullmatch(r"[KTSktsxX×0-9\s()]*", inside):
        inside = "(K3 T"  # a cure holds nothing that is wrong
    if after == close + 1:
        odd = re.match(r"\s*([хХΧχ✕✖⨯⨉])\s*([0-9]+)", text[after : after + 40])
        if odd is not None:
            what = "a letter of another script" if odd[1].isalpha() else "another sign"
            message = Message(
                "N111",
                "error",
                f"`{odd[1]}` looks like x but is {what}.",
                at(after + odd.start(1), after + odd.end(1)),
                label=f"U+{ord(odd[1]):04X}",
                cure=f"{inside})x{odd[2]}",
            )
            return Found(message, after + odd.end(), "x")
        times = re.match(
            r"\s*[*·.]\s*([0-9]+)|([0-9]+)(?:\s*(?:times|x)\b)?|\s+([0-9]+)\s*(?:times|x)\b|\s*(?:twice)\b",
            text[after : after + 40],
            re.IGNORECASE,
        )
        if times is not None:
            count = times[1] or times[2] or times[3] or "2"
            return _found(
                "A group's count stands after an `x`.", at, close, after + times.end(), f"{inside})x{count}", "N101"
            )
    label = "x and a count are missing" if after == close + 1 else "a count is missing"
    message = Message(
        "N101",
        "error",
        "A group says how many times it is knitted.",
        at(close, after),
        label=label,
        cure=f"{inside})x…, with its count for the …; or leave the brackets out",
    )
    return Found(message, after, f"group {close}")


# -- one slip each ----------------------------------------------------------------------------------------------


def _ahead(text: str, start: int) -> str:
    """The text from here on, as far as a slip reaches; a row may have millions of characters."""
    return text[start : start + 200]


def _behind(text: str, start: int) -> str:
    """The text just before."""
    return text[max(0, start - 40) : start]


def _found(text: str, at: At, start: int, end: int, cure: str, code: str = "N101", kind: str = "") -> Found:
    return Found(Message(code, "error", text, at(start, end), cure=cure), end, kind or text)


def _full_width(text: str, start: int, at: At) -> Found | None:
    """One message for the whole row: whoever types one such sign types them all."""
    if text[start] not in _FULL_WIDTH:
        return None
    plain = unicodedata.normalize("NFKC", text[start]).replace("*", "x").strip() or "a plain space"
    said = f"`{text[start]}` is a full-width sign; the notation uses the narrow ones."
    return Found(Message("N101", "error", said, at(start, start + 1), cure=plain), len(text), "full width")


def _look_alike(text: str, start: int, at: At) -> Found | None:
    character = text[start]
    if character in LOOK_ALIKES:
        latin = LOOK_ALIKES[character]
        count = re.match(r"\d*", _ahead(text, start + 1))
        message = Message(
            "N111",
            "error",
            f"`{character}` looks like {latin} but is a {_script(character)} letter.",
            at(start, start + 1),
            label=f"U+{ord(character):04X}",
            cure=f"{latin} (the Latin letter)",
        )
        return Found(message, start + 1 + (count.end() if count else 0), character)
    if character.isdecimal() and not character.isascii():
        figures = re.match(r"\d+", _ahead(text, start))
        shown = figures.group() if figures else character
        said = f"`{shown}` is written in {_script(character)} figures; a count is written with 0 to 9."
        return _found(said, at, start, start + len(shown), "".join(str(unicodedata.digit(c)) for c in shown), "N111")
    return None


def _hidden(text: str, start: int, at: At) -> Found | None:
    character = text[start]
    if character.isprintable():
        return None
    name = unicodedata.name(character, "a control character").lower()
    said = f"A hidden character, {visible(character)} ({name}), stands here."
    return _found(said, at, start, start + 1, "Delete it, or type the row again.")


def _starred(text: str, start: int, at: At) -> Found | None:
    if text[start] != "*":
        return None
    ahead, before = _ahead(text, start), _behind(text, start)
    counted = re.match(r"\*\s*([0-9]+)(?![0-9KTSkts]|[^*]*\*)", ahead)
    letter = re.search(r"([KTSkts])\s*$", before)
    if counted is not None and letter is not None and before.endswith(" ") and re.search(r"[KTSkts].*[KTSkts]", before):
        cure = f"{letter[1].upper()}{counted[1][:7]} for a run, (K T)x{counted[1][:7]} for a group"
        return _found("Only a group in brackets takes a sign and a count.", at, start, start + counted.end(), cure)
    if counted is not None and letter is not None:  # K*3: one mistake, one message
        said = "A count stands right after its letter, without a sign between them."
        begins = start - len(before) + letter.start(1)
        return _found(said, at, begins, start + counted.end(), f"{letter[1].upper()}{counted[1][:7]}")
    match = _STARRED.match(ahead)
    alone = match is not None and match.end() == len(ahead) and not before.strip()
    inside = match[1].strip() if match is not None else ""
    if re.fullmatch(r"[KTSkts0-9 ,]+", inside):
        group = f"({' '.join(inside.replace(',', ' ').split())})"
        times = re.search(r"(?<![KTSkts0-9])([0-9]+)", match.group()[match.end(1) - start :]) if match else None
        if match is not None and re.search(r"\blast\b", match.group(), re.IGNORECASE):
            times, alone = None, False  # `to last 2 sts` says where it ends, not how often it is knitted
        tail = match.group()[match.end(1) - start :] if match else ""
        if times and re.search(r"\bmore\b", tail, re.IGNORECASE):
            times = re.match("([0-9]+)", f"{int(times[1][:7]) + 1}")
        elif times and re.search(r"\brep|\bfrom\b", tail, re.IGNORECASE):
            times, alone = None, False  # `rep from * 4 times`: four in all to some, four more to others
        cure = f"{group}x{times[1]}" if times else f"{group}x…, with how often it is knitted in all for the …"
        if alone and not times:
            cure = f"{group[1:-1]}   (a row repeats by itself)"
    else:
        cure = "as in (K3 T)x4"
    end = start + (match.end() if match is not None else 1)
    shown = start + len(text[start:end].rstrip(" ,;"))
    end += len(text[end : end + 20]) - len(text[end : end + 20].lstrip(" ,;"))  # what parts it from the next cells
    said = "A repeat is a group in brackets here, not between asterisks."
    return Found(Message("N101", "error", said, at(start, shown), cure=cure), end, "asterisk")


def _boxed(text: str, start: int, at: At) -> Found | None:
    if text[start] not in "[]{}<>":
        return None
    match = _BOXED.match(_ahead(text, start))
    said = "A group is in round brackets."
    if match is None:
        return _found(said, at, start, start + 1, "as in (K3 T)x4")
    count = match[2] or "…, with its count for the …"
    return _found(said, at, start, len(match.group().rstrip()) + start, f"({match[1]})x{count}")


def _quoted(text: str, start: int, at: At) -> Found | None:
    match = re.match(r"[\"“„«'‘][^\"”»'’]*[\"”»'’]?", _ahead(text, start))
    if match is None:
        return None
    return _found("A row has no quoted text.", at, start, start + match.end(), "Put it in a comment: # …")


def _hand_word(text: str, start: int, at: At) -> Found | None:
    for match in _HAND_WORDS.finditer(text, max(0, start - 6), start + 12):
        first, end = match.span()
        if not first <= start < end or text[end : end + 1].isalpha() or text[max(0, first - 1) : first].isalpha():
            continue
        said = f"`{match.group()}` is a hand-knitting word; a row here is made of K, T and S."
        cure = "K where the needle knits, T where it tucks, S where it slips"
        along = re.match(r"(?:\s*[0-9]+(?![0-9KTSkts]|\s*:))?(?:\s*[,;])?", text[end : end + 40])
        onward = end + (along.end() if along is not None else 0)  # its count and comma are hand knitting too
        if match.group().lower().startswith("sl"):
            count = "".join(c for c in match.group() + text[end:onward] if c.isdigit()).lstrip("0")
            said = f"`{match.group()}`: a slip is written S; its yarn floats past on the purl side."
            cure = f"S{count}" if count not in ("", "1") else "S"
            end += len(text[end:onward].rstrip(" ,;"))
        return _found(said, at, first, end, cure, "N102", "hand words")._replace(end=onward)
    return None


def _purl(text: str, start: int, at: At) -> Found | None:
    match = _PURL.match(_ahead(text, start))
    if match is None:
        return None
    purl = match.group().rstrip()
    if text[start + len(purl) : start + len(purl) + 1].isalpha() and len(purl) == 1:
        following = text[start + 1]
        if following.islower() and following not in "kts":
            return None  # some other word with a p
    figures = "".join(c for c in purl if c.isdigit())
    message = Message(
        "N102",
        "error",
        f"`{purl}`: a single bed has no purl cell; every needle knits, tucks or slips.",
        at(start, start + len(purl)),
        label="the side facing you at the machine is purl already",
        cure=f"K{figures} (turn the fabric over to see it as purl)",
    )
    return Found(message, start + len(purl), purl.lower())


def _letter_for_figure(text: str, start: int, at: At) -> Found | None:
    """O for 0, l and I for 1, in a count."""
    if text[start] not in "oOlI":
        return None
    match = re.match(r"[0-9oOlI]+", _ahead(text, start))
    before = re.search(r"[KTSkts]([0-9]*)$", _behind(text, start))
    if match is None or before is None or text[start + match.end() : start + match.end() + 1].isalpha():
        return None
    alone = match.group() in ("l", "I")  # Kl is K1; KO is no count
    if not before[1] and not alone and not re.search(r"[0-9]", match.group()):
        return None
    figures = before[1] + match.group().translate(str.maketrans("oOlI", "0011"))
    figure, name = ("0", "O") if text[start] in "oO" else ("1", text[start])
    said = f"`{text[start]}` is the letter {name} where a count has the figure {figure}."
    return _found(said, at, start, start + 1, f"{before.group()[0]}{figures}", "N102")._replace(end=start + match.end())


def _times(text: str, start: int, at: At) -> Found | None:
    match = re.match(r"[xX×*]\s*([0-9]+)", _ahead(text, start))
    if match is None:
        return None
    cure = f"K{match[1]} for a run, (K T)x{match[1]} for a group"
    return _found("Only a group in brackets takes `x` and a count.", at, start, start + match.end(), cure)


def _figures(text: str, start: int, at: At) -> Found | None:
    if not (text[start].isascii() and text[start].isdigit()):
        return None
    row = re.match(r"[0-9][0-9,\s–-]*:", _ahead(text, start))
    if row is not None:
        said = "A row has a line of its own."
        return _found(said, at, start, start + row.end(), "Write the row on the next line.")
    match = _COUNT_FIRST.match(_ahead(text, start))
    figures = re.match(r"[0-9]+", _ahead(text, start))
    assert figures is not None
    end = start + figures.end()
    letter = match[2] if match is not None else ""
    before = re.search(r"(?<![^\W\d_])[KTSkts]*([KTSkts])(\s+)$", _behind(text, start))
    if before is not None and text[end : end + 1] not in (*"KTSkts",):  # `T 3`: the letter it belongs to is before it
        letter, start = before[1], start - 1 - len(before[2])
    elif letter and match is not None and text[start + match.end() : start + match.end() + 1].isdigit():
        return _found("A count stands after its letter.", at, start, end, "Leave one count, after the letter.")
    cure = f"{letter.upper()}{figures.group()[:7]}" if letter else "Put it after the letter that it counts."
    if match is not None and letter and before is None:
        end = start + match.end()
    return _found("A count stands after its letter.", at, start, end, cure)


def _decimal(text: str, start: int, at: At) -> Found | None:
    before, after = (
        re.search(r"([KTSkts]?)([0-9]+)$", _behind(text, start)),
        re.match(r".([0-9]+)", _ahead(text, start)),
    )
    if text[start] not in ".," or before is None or after is None:
        return None
    end = start + after.end()
    letter, whole = before[1] or "K", int(before[2])
    if text[start] == ",":
        first = start - len(before.group())
        if len(after[1]) == 3 and len(before[2]) <= 3 and whole:
            return _found("A count has no comma between its figures.", at, first, end, f"{letter}{whole}{after[1]}")
        said = "Cells follow each other without commas, and each begins with its letter."
        return _found(
            said, at, first, end, f"{letter}{whole} …{after[1]}, with the letter that {after[1]} counts for the …"
        )
    cure = f"{letter}{max(1, whole)}, or {letter}{whole + 1}"
    first = start - len(before.group())
    return _found("A count is a whole number.", at, first, end, cure)


def _minus(text: str, start: int, at: At) -> Found | None:
    match = re.match(r"[-–−]([0-9]+)", _ahead(text, start))
    if match is None or not re.search(r"[KTSkts]$", _behind(text, start)):
        return None
    problem = count_message("-" + match[1], at(start, start + match.end()))
    if problem is None:
        return None
    if match[1].strip("0"):
        problem = problem._replace(cure=match[1][:7])
    return Found(problem, start + match.end(), "minus")


def _separator(text: str, start: int, at: At) -> Found | None:
    character = text[start]
    if character not in _SEPARATORS:
        return None
    beyond = start + 1 + len(_ahead(text, start + 1)) - len(_ahead(text, start + 1).lstrip())
    if beyond < len(text) and (word := _hand_word(text, beyond, at)) is not None:
        return word  # one message for the hand knitting
    starred = "*" in text[max(0, start - 200) : start + 200]
    for hand in _HAND_WORDS.finditer(text, max(0, start - 200), start + 200):
        if starred and hand.group().lower().startswith("rep"):
            continue  # it is told with its asterisk
        if (word := _hand_word(text, hand.start(), at)) is not None:
            return word._replace(end=start + 1)  # the rest of the row is written that way too
    around = (
        re.search(r"([KTSkts][0-9]*)?\s*$", _behind(text, start)),
        re.match(r".\s*([KTSkts][0-9]*)?", _ahead(text, start)),
    )
    left, right = around
    said = f"Cells follow each other without {_SEPARATORS[character]}."
    if left is None or right is None or not left[1] or not right[1]:
        return _found(said, at, start, start + 1, "Take it out.")
    first = start - len(left.group())
    found = _found(said, at, first, start + right.end(), f"{left[1]} {right[1]}")
    return found._replace(end=start + 1)


_PUNCTUATION: Final = {
    ":": ("A row has one colon, after its numbers.", "Take it out."),
    ".": ("A plain needle is written K, not as a dot.", "K"),
    "·": ("A plain needle is written K, not as a dot.", "K"),
    "-": ("A cell is K, T or S, not a dash.", "K"),
    "–": ("A cell is K, T or S, not a dash.", "K"),
    "=": ("A row has a colon and its cells, no `=`.", "Take it out."),
    "_": ("A cell is K, T or S, not a line.", "K"),
}


def _range(text: str, start: int, at: At) -> Found | None:
    """`K12-14`, of which no count can be made."""
    before, after = (
        re.search(r"([KTSkts]?)[0-9]+\s*$", _behind(text, start)),
        re.match(r"[-–]\s*[0-9]+", _ahead(text, start)),
    )
    if before is None or after is None:
        return None
    cure = f"{before[1].upper() or 'K'}…, with how many needles it is for the …"
    return _found("A count is one number.", at, start - len(before.group()), start + after.end(), cure)


def _punctuation(text: str, start: int, at: At) -> Found | None:
    if text[start] not in _PUNCTUATION:
        return None
    said, cure = _PUNCTUATION[text[start]]
    return _found(said, at, start, start + 1, cure)


def _letters(text: str, start: int, at: At) -> Found | None:
    """Any other letters: a word in small letters as a whole, capitals one by one."""
    if not text[start].isalpha():
        return None
    first, end = start, start + 1
    while first > start - 30 and first and text[first - 1].isalpha() and text[first - 1].islower():
        first -= 1
    while end < len(text) and end - first < 30 and text[end].isalpha() and text[end].islower():
        end += 1
    if not text[start].islower() or (first == start and re.fullmatch(r"[ktsKTS]+", text[start + 1 : end] or "k")):
        first, end = start, start + 1
        while end < len(text) and end - first < 30 and text[end].isalpha() and text[end] not in "KTSkts":
            end += 1
    word = text[first:end]
    meant = _MEANT.get(re.sub(r"(?:s|ed|ted|ped)$", "", word.lower()), _MEANT.get(word.lower()))
    if meant:
        return _found(f"`{word}` is written {meant}.", at, first, end, meant, "N102")
    said = f"`{word}` is not a cell; a row is made of K, T and S."
    return _found(said, at, first, end, KINDS, "N102")


_LOOKS: Final[tuple[Callable[[str, int, At], Found | None], ...]] = (
    _full_width,
    _look_alike,
    _hidden,
    _starred,
    _boxed,
    _quoted,
    _hand_word,
    _purl,
    _letter_for_figure,
    _times,
    _figures,
    _decimal,
    _minus,
    _separator,
    _range,
    _punctuation,
    _letters,
)


def _script(character: str) -> str:
    """The script of a character, from its Unicode name: "Cyrillic", "Greek", …"""
    words = unicodedata.name(character, "foreign").split()
    return "full-width" if words[0] == "FULLWIDTH" else words[0].capitalize()

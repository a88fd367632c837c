"""Stitches built from others, from a line that says so in other words or in another order."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

from stitchc.notation.fixes.surroundings import Surroundings, only_near
from stitchc.notation.fixes.values import narrowed, with_figures
from stitchc.notation.slips import KEYWORDS, PLAIN_WORDS

_NAME: Final = r"[^\W\d_][\w-]*"
_HEAD: Final = re.compile(
    rf"(?:(?:stitch|let|def)\s+)?\"?({_NAME})\"?\s*(?:[:=]+|\bis\b|-(?=\s)|(?=\s))\s*", re.IGNORECASE
)
_PHRASES: Final = tuple(
    (re.compile(pattern, re.IGNORECASE), word)
    for pattern, word in (
        (r",\s*(?=(?:and\s+)?(?:then|beside)\b)", " "),
        (r"\bfollowed\s+by\b|\band\s+then\b|\bthen\s+then\b|->|→", " then "),
        (r"\bnext\s+to\b|\bbesides?\b", " beside "),
        (r"\bupside[\s-]*down\b", " reversed "),
        (r"\b(?:mirror|mirrors|mirroring)\b", " mirrored "),
        (r"\breverse\b", " reversed "),
        (r"\bshift\b|\b(?:offset|moved|move)\b(?=.*\b(?:left|right)\b)", " shifted "),
        (r"\bto\s+the\s+(left|right)\b", r" \1 "),
        (r"\brepeated\s+(\d+)\s+times\s+(across|up)\b", r" \2 \1 "),
        (r"\b(across|up|shifted)\s+(?:by\s+|x\s*)?(\d+)(?:\s+(?:times|needles|stitches|sts))?\b", r" \1 \2 "),
        (r"\bshifted\s+(left|right)\s+(?:by\s+)?(\d+)\b", r" shifted \2 \1 "),
        (r"\bshifted\s+-\s*(\d+)(?!\s*(?:left|right)\b)", r" shifted MINUS \1 "),
    )
)
"""Other words for a form, and the notation's."""
_LETTER: Final = {"k": "K", "knit": "K", "t": "T", "tuck": "T", "s": "S", "slip": "S"}
_L: Final = r"(knit|tuck|slip|[kts])s?"
_SWAPS: Final = tuple(
    (re.compile(pattern, re.IGNORECASE), new, old)
    for pattern, new, old in (
        (rf"\b{_L}\s+(?:instead\s+of|in\s+place\s+of|for|replacing)\s+{_L}\b", 1, 2),
        (rf"\b{_L}\s*(?:->|→|replaced\s+by|replaced\s+with|becomes|turned\s+into|to)\s*{_L}\b", 2, 1),
        (rf"\breplac(?:e|ing)\s+{_L}\s+(?:with|by)\s+{_L}\b", 2, 1),
    )
)
_TOKEN: Final = re.compile(rf"{_NAME}|\d+|[()\[\]{{}}]|\S")


_OF_PLAIN: Final = ["plain", "x", ",", "by", "of", "for", "rows", "row", "needles", "stitches", "sts", "wide", "high"]
_FORMS: Final = {"across", "up", "shifted", "mirrored", "reversed"}


class _Left(Exception):
    """Something is missing or left over."""


def built_stitches(code: str, around: Surroundings) -> Iterator[str]:
    """`stitch NAME = …` lines that take all that `code` says."""
    text = re.sub(r"\s+//.*$|[\s;.]+$", "", narrowed(code))
    if (first := re.match(r"[^\W\d_]+(?=\s+\w)", text)) and only_near(first.group(), ("stitch",)):
        text = "stitch" + text[first.end() :]
    head = _HEAD.match(text)
    if head is None or (around.block == "piece" and "=" not in text) or re.match(r"\W*\d", text):
        return
    name, rest = head[1], text[head.end() :]
    if name.lower() in KEYWORDS or not rest:
        return
    known = any(word in around.stitches for word in re.findall(_NAME, rest))
    if re.fullmatch(r"[KTSkts0-9\s()x×,]+", rest) and not known:
        yield f"stitch {name}\n    1: {rest}"
        return
    rest = with_figures(rest.replace('"', " "), around)
    rest, swaps = _swapped(re.sub(r"(?<=\d)\s*[x×*]\s*(?=\d)", " x ", rest))
    for pattern, word in _PHRASES:
        rest = pattern.sub(word, rest)
    # Above: the part that stands first is knitted last.
    for one in (rest, *_turned(rest)):
        try:
            reader = _Reader(_tokens(one, around), around, swaps)
            expression = reader.then()
            if reader.left:
                raise _Left
        except _Left:
            continue
        if re.search(r"[:=]|\bis\b|-\s", head.group()) or " " in expression:  # else it may be a name of two words
            yield f"stitch {name} = {expression}"
        return


def _swapped(text: str) -> tuple[str, list[str]]:
    """The text with each `with …` made one word, and what those stand for."""
    swaps: list[str] = []

    def pairs(match: re.Match[str]) -> str:
        found = []
        for pattern, new, old in _SWAPS:
            for pair in pattern.finditer(match.group()):
                found.append(f"{_LETTER[pair[new].lower()]} for {_LETTER[pair[old].lower()]}")
            if found:
                break
        swaps.append("with " + ", ".join(found))
        return f" SWAP{len(swaps) - 1} " if found else match.group()

    pair = "(?:" + "|".join(pattern.pattern for pattern, _, _ in _SWAPS) + ")"
    pair = re.sub(r"\((?!\?)", "(?:", pair)
    text = re.sub(rf"(?:\bwith\s+)?{pair}(?:\s*(?:,\s*and\b|,|and\b)\s*{pair})*", pairs, text, flags=re.IGNORECASE)
    if both := re.search(rf"\bswap(?:ping|ped)?\s+{_L}\s+(?:and|with)\s+{_L}\b", text, re.IGNORECASE):
        one, two = (_LETTER[letter.lower()] for letter in both.groups())
        swaps.append(f"with {one} for {two}, {two} for {one}")
        text = f"{text[: both.start()]} SWAP{len(swaps) - 1} {text[both.end() :]}"
    return text, swaps


def _turned(text: str) -> Iterator[str]:
    if match := re.fullmatch(r"\s*(\S+)\s+(above|below|under)\s+(\S+)\s*", text):
        one, two = match[1], match[3]
        yield f"{two} then {one}" if match[2] == "above" else f"{one} then {two}"


def _tokens(text: str, around: Surroundings) -> list[str]:
    """Names as they are, the notation's words in small letters, nearly those too, brackets round."""
    out: list[str] = []
    for match in _TOKEN.finditer(re.sub(rf"(?<![\w-])(?:{PLAIN_WORDS})(?![\w-])", "plain", text, flags=re.IGNORECASE)):
        word = match.group()
        low = word.lower()
        glued = re.fullmatch(r"(across|up|shifted|plain)(\d+)", low)
        if word in around.stitches or word.startswith("SWAP") or word == "MINUS":
            out.append(word)
        elif glued:
            out += glued.groups()
        elif low in KEYWORDS or low in ("rows", "needles", "stitches", "wide", "high", "of", "x", "for", "row", "sts"):
            out.append(low)
        elif word[0].isalpha():
            known = around.stitch(word)
            near = only_near(low, KEYWORDS) if known is None and len(low) > 3 else None
            if known is None and near is None:
                out.append(f"?{word}")  # which nothing takes
            else:
                out.append(known or near or word)
        else:
            out.append({"[": "(", "{": "(", "]": ")", "}": ")", "×": "x", "*": "x"}.get(word, word))
    opened = out.count("(") - out.count(")")
    inside = set(out[out.index("(") :]) if opened == 1 else set()
    if inside and len({"then", "beside"} & inside) < 2 and not inside & _FORMS and "SWAP" not in " ".join(inside):
        out.append(")")
    while opened < 0 and out and out[-1] == ")":
        out.pop()
        opened += 1
    return out


class _Reader:
    """Reads tokens as an expression; forms may also stand before what they change."""

    def __init__(self, tokens: list[str], around: Surroundings, swaps: list[str]) -> None:
        self.left, self.around, self.swaps = tokens, around, swaps
        self.only_rows: list[str] = []
        self.only_needles: list[str] = []

    def take(self, *tokens: str) -> str:
        if self.left and self.left[0] in tokens:
            return self.left.pop(0)
        return ""

    def need(self, *tokens: str) -> str:
        found = self.take(*tokens)
        if not found:
            raise _Left
        return found

    def number(self) -> str:
        if not self.left or not self.left[0].isdigit():
            raise _Left
        return self.left.pop(0)

    def then(self) -> str:
        parts = [self.beside()]
        while self.take("then"):
            parts.append(self.beside())
        return " then ".join(parts)

    def beside(self) -> str:
        parts = [self.formed()]
        while self.take("beside"):
            parts.append(self.formed())
        if any(part in (self.only_rows if len(parts) > 1 else self.only_needles) for part in parts):
            raise _Left
        return " beside ".join(parts)

    def formed(self) -> str:
        before = []
        while self.left and (self.left[0] in _FORMS or self._counted_form()):
            before.append(self.form())
        out = self.part()
        while self.left and (self.left[0] in _FORMS or self.left[0].startswith("SWAP") or self._counted_form()):
            before.append(self.form())
        return " ".join([out, *(form for form in before if form)])

    def _counted_form(self) -> bool:
        return len(self.left) > 1 and self.left[0].isdigit() and self.left[1] in ("across", "up")

    def form(self) -> str:
        if self._counted_form():
            count, word = self.left.pop(0), self.left.pop(0)
            return f"{word} {count}"
        word = self.left.pop(0)
        if word.startswith("SWAP"):
            return self.swaps[int(word[4:])]
        if word in ("mirrored", "reversed"):
            return word
        if word == "shifted":
            minus = bool(self.take("MINUS"))
            count = self.number()
            side = self.take("left", "right")
            if count == "0":
                return ""
            side = "left" if minus else side
            if self._counted_form() or (self.left[:1] == ["up"] and not self.left[1:2]):
                raise _Left  # no form moves the rows
            return f"shifted {count}" + (f" {side}" if side else "")
        count = self.number()
        if word == "across" and self.take("x", "by"):
            return f"across {count} up {self.number()}"
        return f"{word} {count}"

    def part(self) -> str:
        if self.take("("):
            inner = self.then()
            self.need(")")
            return f"({inner})" if " " in inner else inner
        if self.left and (self.left[0] == "plain" or self.left[0].isdigit()):
            return self.plain()
        if self.left and self.left[0] in self.around.stitches:
            return self.left.pop(0)
        raise _Left

    def plain(self) -> str:
        """`plain W by H`; a count of needles or of rows alone is enough where the other is filled up anyway."""
        words: list[str] = []
        while self.left and (self.left[0].isdigit() or self.left[0] in _OF_PLAIN):
            words.append(self.left.pop(0))
        if words.count("plain") != 1:
            raise _Left
        said = " ".join(word for word in words if word not in ("plain", "of", "for"))
        wide, high = r"(?:needles|stitches|sts|wide)", r"(?:rows|row|high)"
        for pattern, width, height in (
            (rf"(\d+)(?: {wide})?(?: by| x| ,)? (\d+)(?: {high})?", 1, 2),
            (rf"(\d+) {high}(?: by| x| ,)? (\d+) {wide}", 2, 1),
        ):
            if match := re.fullmatch(pattern, said):
                return f"plain {match[width]} by {match[height]}"
        if match := re.fullmatch(rf"(\d+) {high}", said):
            self.only_rows.append(f"plain 1 by {match[1]}")
            return self.only_rows[-1]
        if match := re.fullmatch(rf"(\d+) {wide}", said):
            self.only_needles.append(f"plain {match[1]} by 1")
            return self.only_needles[-1]
        raise _Left

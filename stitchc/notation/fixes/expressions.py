"""Stitches built from others, from a line that says so in other words or in another order."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

from stitchc.notation.fixes.guided import guided
from stitchc.notation.fixes.surroundings import Surroundings, only_near
from stitchc.notation.fixes.values import narrowed, with_figures
from stitchc.notation.vocabulary import KEYWORDS

_NAME: Final = r"[^\W\d_][\w-]*"
_HEAD: Final = re.compile(
    rf"(?:(?:stitch|let|def)\s+)?\"?({_NAME})\"?\s*(?:[:=]+|\bis\b|-(?=\s)|(?=\s))\s*", re.IGNORECASE
)
_PHRASES: Final = tuple(
    (re.compile(pattern, re.IGNORECASE), word)
    for pattern, word in (
        (r"\bfollowed\s+by\b|\band\s+then\b|\bthen\s+then\b|->|→", " then "),
        (r"\bnext\s+to\b|\bbesides?\b", " beside "),
        (r"\bupside[\s-]*down\b", " reversed "),
        (r"\b(?:mirror|mirrors|mirroring)\b", " mirrored "),
        (r"\bto\s+the\s+(left|right)\b", r" \1 "),
        (r"\b(across|up|shifted)\s+(?:by\s+|x\s*)?(\d+)(?:\s+(?:times|needles|stitches|sts))?\b", r" \1 \2 "),
        (r"\bshifted\s+(left|right)\s+(?:by\s+)?(\d+)\b", r" shifted \2 \1 "),
        (r"\bshifted\s+-\s*(\d+)(?!\s*(?:left|right)\b)", r" shifted \1 left "),
        (r"\bshifted\s+0\b", " "),
        (r"\bacross\s+(\d+)\s*x\s*(\d+)\b", r" across \1 up \2 "),
        (r"(?<!across )(?<!up )(?<!shifted )(?<!by )\b(\d+)\s+(across|up)\b(?!\s+\d)", r" \2 \1 "),
        (r"(\d+)\s+plain\s+(rows?|needles|stitches|sts)\b", r"\1 \2 plain"),
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
_WIDE: Final = r"(?:\s*(?:needles|stitches|sts|wide))"
_HIGH: Final = r"(?:\s*(?:rows?|high))"
_BY: Final = r"(?:\s*(?:by|x|,)\s*|\s+)"
_PLAIN_PARTS: Final = tuple(
    (re.compile(rf"\b{before}{counts}{behind}", re.IGNORECASE), rf" plain {new} ")
    for before, behind in ((r"plain\s*,?\s*(?:of|for)?\s*", r"(?![\w-])"), ("", r"(?:\s*of)?\s*plain\b"))
    for counts, new in (
        (rf"(\d+){_WIDE}?{_BY}(\d+)\b{_HIGH}?", r"\1 by \2"),
        (rf"(\d+){_HIGH}{_BY}(\d+){_WIDE}", r"\2 by \1"),
        (rf"(\d+){_HIGH}", r"1 by \1"),
        (rf"(\d+){_WIDE}", r"\1 by 1"),
    )
)
"""`plain W by H` in other words; a count of needles or of rows alone is enough where the other is filled up anyway."""
_FORM: Final = r"(mirrored|reversed|(?:across|up)\s+\d+|shifted\s+\d+(?:\s+(?:left|right))?)"
_FORM_BEFORE: Final = re.compile(
    rf"(^\s*|[(\[{{]\s*|\b(?:then|beside)\s+){_FORM}\s+(?:of\s+)?(?!then\b|beside\b)({_NAME}(?:\s+\d+\s+by\s+\d+)?|\([^()]*\))",
    re.IGNORECASE,
)


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
    rest = _swapped(re.sub(r"(?<=\d)\s*[x×*]\s*(?=\d)", " x ", rest))
    for pattern, word in _PHRASES:
        rest = pattern.sub(word, rest)
    while rest.count(")") > rest.count("(") and rest.rstrip().endswith(")"):
        rest = rest.rstrip()[:-1]
    # Above: the part that stands first is knitted last.
    for expression in (rest, *_turned(rest)):
        expression = _with_plain(expression)
        for _ in range(4):
            expression = _FORM_BEFORE.sub(r"\1\3 \2", expression)
        lines = list(guided(f"stitch {name} = {expression}", around))
        if re.search(r"[:=]|\bis\b|-\s", head.group()) or any(" " in line.split(" = ")[1] for line in lines):
            yield from lines  # else it may be a name of two words


def _with_plain(expression: str) -> str:
    """The expression with its parts in plain written `plain W by H`, where the size that is not given is filled up."""
    for pattern, written in _PLAIN_PARTS:
        made, count = pattern.subn(written, expression)
        beside = "beside" in expression
        if not (count and ((beside and "plain 1 by" in written) or (not beside and "by 1 " in written))):
            expression = made
    return expression


def _swapped(text: str) -> str:
    """The text with each exchange of letters as the notation has it."""

    def pairs(match: re.Match[str]) -> str:
        swaps = []
        for pattern, new, old in _SWAPS:
            for pair in pattern.finditer(match.group()):
                swaps.append(f"{_LETTER[pair[new].lower()]} for {_LETTER[pair[old].lower()]}")
            if swaps:
                break
        return f" with {', '.join(swaps)} " if swaps else match.group()

    pair = "(?:" + "|".join(pattern.pattern for pattern, _, _ in _SWAPS) + ")"
    pair = re.sub(r"\((?!\?)", "(?:", pair)
    text = re.sub(rf"(?:\bwith\s+)?{pair}(?:\s*(?:,\s*and\b|,|and\b)\s*{pair})*", pairs, text, flags=re.IGNORECASE)
    if both := re.search(rf"\bswap(?:ping|ped)?\s+{_L}\s+(?:and|with)\s+{_L}\b", text, re.IGNORECASE):
        first, second = (_LETTER[letter.lower()] for letter in both.groups())
        text = f"{text[: both.start()]} with {first} for {second}, {second} for {first} {text[both.end() :]}"
    return text


def _turned(text: str) -> Iterator[str]:
    if match := re.fullmatch(r"\s*(\S+)\s+(above|below|under)\s+(\S+)\s*", text):
        first, second = match[1], match[3]
        yield f"{second} then {first}" if match[2] == "above" else f"{first} then {second}"

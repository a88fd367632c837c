"""The expression that a stitch built from others most likely meant.

Turns other words for the forms and joints into the notation's own; whoever calls it sees whether the parser can read
what comes of it.
"""

from __future__ import annotations

import re
from typing import Final

from stitchc.notation.around import Around
from stitchc.notation.slips import FIGURES

_NAME: Final = r"[^\W\d_][\w-]*"
_SIZES: Final = (
    r"([0-9]+)(?![0-9])\s*(?:(?:needles?|stitches|sts|wide)\s*)?(?:by|[xX×*,/])?\s*([0-9]+)(?:\s*(?:rows?|high|tall))?(?![\w])"
)  # fmt: skip
_HIGH_AND_WIDE: Final = (
    r"([0-9]+)\s*(?:rows?|high|tall)\s*(?:by|[xX×*,/])?\s*([0-9]+)\s*(?:needles?|stitches|sts|wide)(?![\w])"
)
_LETTERS: Final = (("K", r"knits?"), ("T", r"tucks?"), ("S", r"slips?|miss(?:es)?|floats?|skips?"))
_WORDS: Final = (
    (r"\b(then|beside)\s+\1\b", r"\1"),
    (r"\b(?:mirror(?:ed|s)?|flip(?:ped)?|reflected)\s+(?:vertically|top\s+to\s+bottom|upside[\s-]*down)\b", "reversed"),
    (r"\b(across|up)\s+(?:x|×|by)\s*([0-9]+)", r"\1 \2"),
    (r"\b(?:turned\s+|flipped\s+)?upside[\s-]*down\b|\bbackwards?\b|\breversed?\b|\bfrom\s+the\s+top\b", "reversed"),
    (r"\b(?:mirror(?:ed|s)?|flip(?:ped)?|reflected)\b(?:\s+(?:left\s+to\s+right|sideways|horizontally))?", "mirrored"),
    (r"\b(across|up|shifted)[-:]?(?=[0-9])", r"\1 "),
    (r"\b([0-9]+)\s+(?:times\s+)?(across|up)\b(?!\s*[0-9]|\s+[^\W\d_])", r"\2 \1"),
    (r"\b([0-9]+)\s+(?:times\s+)?(?:wide)\b", r"across \1"),
    (r"\b([0-9]+)\s+(?:times\s+)?(?:high|tall)\b", r"up \1"),
    (r"\bwide\s+([0-9]+)", r"across \1"),
    (r"\bhigh\s+([0-9]+)", r"up \1"),
    (r"\b(across|up)\s+([0-9]+)\s*(?:x|×|times)\b", r"\1 \2"),
)
_JOINTS: Final = (
    (r"\b(?:and\s+then|followed\s+by|then|below|under|underneath|before)\b", "then", ""),
    (r"\b(?:beside|besides|next\s+to|alongside|by)\b", "beside", ""),
    (r"\s*(?:->|→|=>)\s*", "then", ""),
    (r"\s*,\s*|\s*[+&;|/]\s*|\band\b", "then", "beside"),
)
_ABOVE: Final = re.compile(r"\b(?:on\s+top\s+of|above|over|on|after)\b", re.IGNORECASE)
_SHIFT: Final = re.compile(
    r"\b(?:shift(?:ed)?|offset|moved?|staggered)\b\s*(?:by\s+|:\s*)?(?:to\s+(?:the\s+)?)?(?P<before>left|right)?\s*(?:by\s+)?"
    r"(?P<many>-?[0-9]+)?(?:\s*(?:needles?|stitches|stitch|sts?)\b)?\s*(?:to\s+(?:the\s+)?)?(?P<after>left|right)?\b",
    re.IGNORECASE,
)
_UPWARD: Final = re.compile(
    r"\b(?:shift(?:ed)?|offset|mov(?:ed?|ing)|staggered|drop(?:ped)?|rais(?:ed?|ing)|lowered)\b[\s:]*(?:by\s+)?(?:"
    r"-?[0-9]+\s*(?:rows?|courses?)\b"
    r"|(?:up|down|upwards?|downwards?|higher|lower|vertically)\b"
    r"|-?[0-9]+\s*(?:up|down|upwards?|downwards?|higher|lower|vertically)\b(?!\s*[0-9]))",
    re.IGNORECASE,
)
_TIMES: Final = re.compile(
    r"(?:\b(?:x|times)|[×*]|\brepeat(?:ed)?|(?<=\))x)\s*([0-9]+)(?:\s*(?:times|x)\b)?"
    r"|(?<!across )(?<!up )(?<!shifted )(?<!by )(?<![\w.])([0-9]+)\s*(?:x|times)\b",
    re.IGNORECASE,
)


def expression_meant(text: str, around: Around) -> list[str]:
    """Expressions that the text may have meant, the likeliest first; two where a joint or a direction is not said."""
    if len(text) > 300 or shifted_upward(text) is not None:
        return []
    text = text.strip(" \t;.,").translate(str.maketrans("[]{}", "()()"))
    kept = {name.lower() for name in around.stitches}
    text = re.sub(r"[\"“”]", "", text)
    while text.endswith(")") and text.count(")") > text.count("("):
        text = text[:-1].rstrip()
    text = re.sub(r"(?<!across )(?<!up )\b(once|twice|thrice)\b", r"\1 times", text, flags=re.IGNORECASE)
    for word, figure in FIGURES.items():
        text = _said(rf"\b{word}\b", figure, text, kept)
    text = re.sub(r"\bplain\s+for\s+(?=[0-9])", "plain ", text, flags=re.IGNORECASE)
    text = re.sub(rf"\bplain\s*\(?\s*{_HIGH_AND_WIDE}\s*\)?", r"plain \2 by \1", text, flags=re.IGNORECASE)
    text = re.sub(rf"(?<![\w.]){_HIGH_AND_WIDE}\s*(?:of\s+)?plain\b", r"plain \2 by \1", text, flags=re.IGNORECASE)
    text = re.sub(rf"\bplain\s*\(?\s*{_SIZES}\s*\)?", r"plain \1 by \2", text, flags=re.IGNORECASE)
    text = re.sub(rf"(?<![\w.]){_SIZES}\s*(?:of\s+)?plain\b", r"plain \1 by \2", text, flags=re.IGNORECASE)
    if re.search(r"\bbeside\b", text, re.IGNORECASE):  # where the lower part is repeated to the height
        needles = r"(?:needles?|stitches|sts|wide)"
        text = re.sub(
            rf"\bplain\s+([0-9]+)(?![0-9])(?:\s*{needles})?(?=\s*(?:\)|$|\bbeside\b))"
            rf"|(?<!by )(?<![\w.])([0-9]+)\s*(?:{needles}\s+(?:of\s+)?plain|plain(?:\s+{needles})?)"
            r"(?=\s*(?:\)|$|\bbeside\b))",
            lambda wide: f"plain {wide[1] or wide[2]} by 1",
            text,
            flags=re.IGNORECASE,
        )
    rows_of_plain = r"\b([0-9]+)\s*(?:plain\s+rows?|rows?\s+(?:of\s+)?plain)\b|\bplain\s+([0-9]+)\s*rows?\b"
    if re.search(rows_of_plain, text, re.IGNORECASE) and re.search(r"\b(?:beside|next|by|along)", text, re.IGNORECASE):
        return []  # how wide it is beside something is not said; above something it is repeated to the width
    text = re.sub(rows_of_plain, lambda rows: f"plain 1 by {rows[1] or rows[2]}", text, flags=re.IGNORECASE)
    for expression, put in _WORDS:
        text = _said(expression, put, text, kept)
    text = _swaps(text)
    text = _SHIFT.sub(_shifted, text)
    text = _prefixes(text)
    first, second = _inverted(text, around)
    if second is None:
        first, second = _put_together(first, kept)
    tidy = [re.sub(r"\(\s+", "(", re.sub(r"\s+\)", ")", " ".join(one.split()))) for one in (first, second) if one]
    return list(dict.fromkeys(tidy))


def shifted_upward(text: str) -> tuple[int, int] | None:
    """Where the text moves a stitch up or down by rows, which no form does; `shifted 3 up 2` does not."""
    found = _UPWARD.search(text)
    return found.span() if found is not None else None


def _put_together(text: str, known: set[str]) -> tuple[str, str | None]:
    """The text with counts and joints in the notation's words; a second way where a direction is not said."""
    many = _TIMES.sub(lambda found: f" across {found[1] or found[2]} ", text)
    if many != text:
        return many, re.sub(r"\bacross\b", "up", many) if many.count("across") == 1 else None
    above = _above(text)
    return (above, None) if above is not None else (_joined(text, False, known), _joined(text, True, known))


def _said(expression: str, put: str, text: str, kept: set[str]) -> str:
    """The text with what the expression finds put otherwise, but for the names of stitches."""

    def said(found: re.Match[str]) -> str:
        return found[0] if found[0].lower() in kept else found.expand(put)

    return re.sub(expression, said, text, flags=re.IGNORECASE)


def _swaps(text: str) -> str:
    """What follows `with`, as letters and `for`."""
    text = re.sub(
        r"\b(?:replac|chang|swapp?|turn)(?:e|es|ed|ing)?\s+(K|T|S)\s+(?:with|by|to|into|for)\s+(K|T|S)\b",
        r"with \2 for \1",
        text,
        flags=re.IGNORECASE,
    )
    swapped = r"\b(?:swap|exchang)(?:e|ped|ed|ing|ping)?\s+(K|T|S)\s+(?:and|&)\s+(K|T|S)\b"
    text = re.sub(swapped, r"with \1 for \2, \2 for \1", text, flags=re.IGNORECASE)
    match = re.search(r"\bwith\b", text, re.IGNORECASE)
    if match is None:
        return text
    before, after = text[: match.end()], text[match.end() :]
    for letter, words in _LETTERS:
        after = re.sub(rf"\b(?:{words})\b", letter, after, flags=re.IGNORECASE)
    after = re.sub(
        r"\b([KTS])\b\s*(?:instead\s+of|in\s+place\s+of|replacing|where\s+there\s+is)\s*\b([KTS])\b",
        r"\1 for \2",
        after,
        flags=re.IGNORECASE,
    )
    after = re.sub(
        r"\b([KTS])\s*(?:->|=>|→|=|(?:replaced\s+by|becomes|becoming|to|as|into)\b)\s*([KTS])\b",
        r"\2 for \1",
        after,
        flags=re.IGNORECASE,
    )
    after = re.sub(
        r"\b([KTS] for [KTS])\s*,?\s*(?:and|&|;|\+|then)?\s*(?=[KTS]\s+for\b)", r"\1, ", after, flags=re.IGNORECASE
    )
    return before + after


def _shifted(match: re.Match[str]) -> str:
    many = int((match["many"] or "1")[:8])
    side = (match["before"] or match["after"] or "").lower()
    if many < 0:
        side = "right" if side == "left" else "left"
    space = " " if match[0][-1:].isspace() else ""
    return f"shifted {abs(many)}{' ' + side if side else ''}{space}"


def _prefixes(text: str) -> str:
    """Forms and counts written before their part, put behind it."""
    begins = r"(^|\bthen\b|\bbeside\b|\(|,|\+|&|\band\b)\s*"
    form = re.compile(
        rf"{begins}(?:(mirrored|reversed|shifted [0-9]+(?: left\b| right\b)?)(?:\s+of\b)?"
        r"|([0-9]{1,7})\s*(?:[x×*]|times\b)?\s*(across|up)?(?:\s+of\b)?)"
        rf"\s*(?={_NAME}|\()(?!by\b|plain\b)",
        re.IGNORECASE,
    )
    for _ in range(20):
        match = form.search(text)
        if match is None:
            break
        end = _end_of_part(text, match.end())
        if end is None:
            break
        put = match[2].lower() if match[2] else f"{(match[4] or '×').lower()} {match[3]}"
        part = text[match.end() : end].strip()
        part = part[1:-1].strip() if re.fullmatch(rf"\(\s*{_NAME}\s*\)", part) else part
        text = f"{text[: match.start()]}{match[1]} {part} {put}{text[end:]}"
    return text


def _end_of_part(text: str, begin: int) -> int | None:
    """Where the name or the bracket that begins here ends."""
    if text[begin] != "(":
        name = re.compile(_NAME).match(text, begin)
        return name.end() if name is not None else None
    depth = 0
    for at in range(begin, len(text)):
        depth += (text[at] == "(") - (text[at] == ")")
        if depth == 0:
            return at + 1
    return None


def _inverted(text: str, around: Around) -> tuple[str, str | None]:
    """`inverted` as letters exchanged, of those that the stitch before it has; a second way where it has all three."""
    match = re.search(rf"\b({_NAME})\s*\)*\s*\b(?:inverted|inverse|negative|opposite|swapped)\b", text, re.IGNORECASE)
    has = around.letters_of(match[1]) if match is not None else set()
    if len(has) < 2:
        return text, None
    other = "S" if has == {"K", "S"} else "T"
    one = "S" if has == {"S", "T"} else "K"
    word = re.compile(r"\b(?:inverted|inverse|negative|opposite|swapped)\b", re.IGNORECASE)
    inverted = word.sub(f"with {one} for {other}, {other} for {one}", text, count=1)
    return inverted, word.sub("with K for S, S for K", text, count=1) if len(has) == 3 else None


def _above(text: str) -> str | None:
    """`a above b` the other way round, if there are just these two parts."""
    parts = _ABOVE.split(text)
    if len(parts) != 2 or re.search(r"\b(?:then|beside)\b", text) or "," in text:
        return None
    return f"{parts[1]} then {parts[0]}"


def _joined(text: str, sideways: bool, known: set[str]) -> str:
    """Joints in other words, and those left out between two parts; sideways: how a joint that can be both is read.

    known: the names of stitches, in small letters. Nothing where something else stands between the parts.
    """
    begin = re.search(r"\bwith\b.*", text, re.IGNORECASE)
    head, tail = (text[: begin.start()], begin.group()) if begin is not None else (text, "")
    head = re.sub(r"\bplain ([0-9]+) by ([0-9]+)", r"plain \1 ¦ \2", head)
    for expression, put, other in _JOINTS:
        head = re.sub(expression, f" {other if sideways and other else put} ", head, flags=re.IGNORECASE)
    joint = "beside" if sideways else "then"
    words = re.findall(r"[()]|[^\s()]+", head)
    out: list[str] = []
    for word in words:
        before = out[-1].lower() if out else "("
        begins_part = (
            word == "("
            or word.lower() == "plain"
            or (
                word[0].isalpha()
                and word.lower()
                not in (
                    "then",
                    "beside",
                    "across",
                    "up",
                    "shifted",
                    "left",
                    "right",
                    "mirrored",
                    "reversed",
                    "with",
                    "for",
                    "by",
                )
            )
        )
        ends_part = before not in ("(", "then", "beside", "across", "up", "plain", "¦")
        if begins_part and ends_part and out:
            if word.lower() not in (*known, "(", "plain"):
                return ""  # no part that is known, so not a joint that was left out
            out.append(joint)
        out.append(word)
    return " ".join(out).replace("¦", "by") + (f" {tail}" if tail else "")

"""The row that a line which could not be read most likely meant: its numbers, its yarn and its cells.

Knows the line's text and what stands around it; None wherever more than one meaning is likely.
"""

from __future__ import annotations

import itertools
import re
from typing import Final

from stitchc.messages import visible
from stitchc.notation.around import CELLS_ALONE, Around
from stitchc.notation.meant_cells import cells_meant, row_meant
from stitchc.notation.slips import FIGURES

_NAME: Final = r"[^\W\d_][\w-]*"
_NUMBER: Final = r"[0-9oOlI]{1,6}"
_ORDINALS: Final = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
_PREFIX: Final = re.compile(
    r"\s*(?:\()?(?:#|(?:rows?|rounds?|rnds?|r|no|nr|course|c)\b[.s]*|(?:rows?|rounds?|rnds?|r)(?=[0-9]))\s*[:.]?\s*",
    re.IGNORECASE,
)
_SIDE: Final = re.compile(r"[\s,]*(?:\(\s*(?:RS|WS)\s*\)|\b(?:RS|WS)\b)", re.IGNORECASE)
_ONE: Final = re.compile(rf"({_NUMBER})(?i:st|nd|rd|th)?(?![\w.]*[0-9])")
_TO: Final = re.compile(r"\s*(?:-|–|—|−|~|\.\.+|…|\b(?:to|until|through|thru)\b)\s*(?=[0-9])", re.IGNORECASE)
_AND: Final = re.compile(r"\s*(?:,\s*and\b|[,;&+/]|\b(?:and|und|et|y)\b)\s*(?=[0-9])", re.IGNORECASE)
_WHICH: Final = re.compile(
    r"\s*(?:(?:all|every|each|the|on)\b\s*)*(?:of\s+the\s+)?(?:(?P<which>even|odd|rs|ws|other|remaining|rest|next|following|alternate"
    r"|(?P<nth>[0-9]{1,3})(?:st|nd|rd|th)|second|third|fourth)\b)?[\s-]*(?:numbered\s+)?(?:rows?|rounds?)?\s*(?:\((?:RS|WS)\))?"
    r"\s*(?P<colon>[:.,=]|-\s)?\s*",
    re.IGNORECASE,
)  # fmt: skip
_HALF: Final = re.compile(
    r"[\s,(]*(?:the\s+)?(?P<which>even|odd)\b\s*(?:rows?|ones|only)?\s*\)?\s*(?=:)", re.IGNORECASE
)
_SAID_AT_MOST: Final = 60


def row_line_meant(code: str, around: Around) -> str | None:
    """The row or rows that the code of a line most likely meant, numbered."""
    text = re.sub(r"^(?:[•·>–]|[-*](?=\s+[0-9KTSkts]))\s*", "", code.strip())
    if text.startswith('"'):
        text = text.replace('"', "")  # a spreadsheet puts every field in them
    yarn = re.match(rf"(?:in\s+)?({_NAME})\s*[,:]?\s*(?=[0-9(]|rows?\b)", text, re.IGNORECASE)
    if yarn is not None and yarn[1] in around.yarns:
        text = re.sub(r"^([^:]*)", rf"\1 in {yarn[1]}", text[yarn.end() :], count=1)
    text = re.sub(
        r"^(?:all\s+|the\s+)?(even|odd)[\s-]+(?:numbered\s+)?rows?\s*,?\s*(?:from\s+|of\s+)?([0-9]+\s*(?:-|–|to)\s*[0-9]+)\s*:",
        r"\2 \1:",
        text,
        flags=re.IGNORECASE,
    )
    if re.match(
        r"(?:all|every|each|even|odd|other|rs|ws|remaining|rest|next|following|alternate)\b", text, re.IGNORECASE
    ):
        return _by_words(text, around)
    if ordinal := re.match(rf"({'|'.join(_ORDINALS)})\s+(?:row|round)\b", text, re.IGNORECASE):
        number = _ORDINALS.index(ordinal[1].lower()) + 1
        return _row(f"{number}", _SIDE.sub("", text[ordinal.end() :], count=1), around)
    prefix = _PREFIX.match(text)
    rest = text[prefix.end() :] if prefix else text
    alone = CELLS_ALONE.fullmatch(text) or (around.block == "stitch" and text[:1].isalpha() and cells_meant(text))
    if prefix is None and alone and not re.match(r"[(\[][0-9]", text):
        return _row(f"{around.next_row}", f": {text}", around)
    word = re.match(_NAME, rest)
    if prefix is not None and word is not None and word[0].lower() in FIGURES:
        rest = FIGURES[word[0].lower()] + rest[word.end() :]
    opened = rest[:1] in ("(", "[", "<")
    if opened:
        rest = rest[1:].lstrip()
    if (times := re.match(r"([0-9]{1,3})\s*[x×]\s*:", rest, re.IGNORECASE)) and times[1].strip("0"):
        first, last = around.next_row, around.next_row + int(times[1]) - 1
        return _row(_ranges([(first, last)]), rest[times.end() - 1 :], around)
    if fields := re.fullmatch(r"([0-9]+)\s*,((?:\s*[0-9]+[KTSkts]\s*(?:[,;]|$))+)\s*", rest):  # `1,3K,1T` of a table
        return _row(fields[1], f": {fields[2]}", around) if re.search("[,;].", fields[2]) else None
    if ":" not in rest and re.match(r"[0-9]+\s*,\s*[0-9]+[KTSkts]", rest):
        return None  # `1,3K T`: rows 1 and 3, or three cells
    if stepped := re.match(
        r"((?:[0-9]{1,6}\s*,\s*)+[0-9]{1,6})\s*,?\s*(?:\.\.+|…|\betc\.?)\s*,?\s*([0-9]{1,6})(?=\s*[:=]|\s+in\b|\s+[KTSkts(])",
        rest,
        re.IGNORECASE,
    ):
        every = _stepped([int(n) for n in re.findall("[0-9]+", stepped[1])], int(stepped[2]))
        return _row(_ranges(every), rest[stepped.end() :], around) if every else None
    numbers, rest = _numbers(rest)
    if not numbers:
        return None
    if more := re.match(r"[\s,]*(?:\.\.+|…|etc\.?)\s*(?=:)", rest, re.IGNORECASE):
        numbers, rest = _continued(numbers, around), rest[more.end() :]
    if opened:
        rest = rest.lstrip()
        if rest[:1] not in (")", "]", ">"):
            return None
        rest = rest[1:]
    if wide := re.match(r"\s*[(\[]\s*[0-9]+\s*(?:sts?|stitches|needles?)?\s*[)\]](?=\s*:)", rest, re.IGNORECASE):
        rest = rest[wide.end() :]  # `1 (24 sts): …`
    if (half := _HALF.match(rest)) and len(numbers) == 1:
        numbers, rest = _half(*numbers[0], half["which"].lower()), rest[half.end() :]
        if not numbers:
            return None
    if side := _SIDE.match(rest):
        rest = rest[side.end() :]
    if (again := re.match(r"\s*rows?\b", rest, re.IGNORECASE)) is not None:
        rest = rest[again.end() :]
    return _row(_ranges(numbers), rest, around)


def _row(head: str, rest: str, around: Around) -> str | None:
    """A row of a numbers' text and what follows them: a yarn, a colon or what stands for one, cells."""
    yarn = re.match(
        rf"\s*[,(]?\s*(?P<in>(?:in|with|using)\s+)?(?:yarn\s+)?[\"“]?(?P<yarn>{_NAME})[\"”]?\s*\)?\s*(?P<colon>:|\s|$)",
        rest,
        re.IGNORECASE,
    )
    in_yarn = ""
    if yarn is not None and (
        yarn["yarn"] in around.yarns or ((yarn["in"] or rest[:1].isspace()) and yarn["colon"] == ":")
    ):
        in_yarn, rest = f" in {yarn['yarn']}", rest[yarn.start("colon") :]
    joint = re.match(r"\s*[.)]*\s*(?:[:=;>|.,)]|[-–—](?=\s))?\s*", rest)
    cells = rest[joint.end() :] if joint is not None else rest
    if not cells:
        return None
    meant = row_meant(f"{head}{in_yarn}", cells, bool(in_yarn), around.yarns)
    if meant is not None:
        return meant.cells
    word = re.match(r"\W*([^\W\d_]*)", cells)
    if word is None or (word[1].lower().strip("ktsp") and word[1].lower() not in ("knit", "tuck", "slip", "purl")):
        return None
    if not re.match(r"[KTSPktsp(*\[\"]|[0-9]+\s*[KTSkts(x×]", cells):
        return None
    return f"{head}{in_yarn}: {visible(' '.join(cells.split()))}"


def _numbers(text: str) -> tuple[list[tuple[int, int]], str]:
    """The ranges of rows that a text begins with, and what follows them."""
    numbers: list[tuple[int, int]] = []
    while (one := _ONE.match(text)) is not None and re.search("[0-9]", one[1]):
        first = last = _figure(one[1])
        text = text[one.end() :]
        to = _TO.match(text)
        other = _ONE.match(text, to.end()) if to is not None else None
        if other is not None and text[other.end() : other.end() + 1] not in (*"KTSkts",):  # `1 - 2K`: a count
            last, text = _figure(other[1]), text[other.end() :]
        numbers.append((min(first, last), max(first, last)))
        following = _AND.match(text)
        if following is None or len(numbers) > _SAID_AT_MOST:
            break
        onward = text[following.end() :]
        if re.match(r"[0-9]+\s*[KTSkts(]", onward) and "," not in following.group():
            break
        text = onward
    return numbers, text


def _figure(text: str) -> int:
    return int(text.translate(str.maketrans("oOlI", "0011")))


def _ranges(numbers: list[tuple[int, int]]) -> str:
    return ", ".join(f"{first}" if first == last else f"{first}-{last}" for first, last in numbers)


def _half(first: int, last: int, which: str) -> list[tuple[int, int]]:
    """The even or odd rows of a range; nothing where there are too many or none."""
    first += first % 2 != (which == "odd")
    numbers = range(first, last + 1, 2)
    return [(n, n) for n in numbers] if len(numbers) <= _SAID_AT_MOST else []


def _stepped(first: list[int], last: int) -> list[tuple[int, int]]:
    """`1, 3, ... 7` as 1, 3, 5, 7; nothing where the last number is none of them."""
    steps = {b - a for a, b in itertools.pairwise(first)}
    step = steps.pop()
    if steps or step < 1 or last <= first[-1] or (last - first[0]) % step:
        return []
    if step == 1:
        return [(first[0], last)]
    numbers = range(first[0], last + 1, step)
    return [(n, n) for n in numbers] if len(numbers) <= _SAID_AT_MOST else []


def _continued(numbers: list[tuple[int, int]], around: Around) -> list[tuple[int, int]]:
    """`1, 3, 5 …` as far as the stitch's other rows go."""
    if len(numbers) < 2 or not around.given:
        return numbers
    step, last = numbers[-1][0] - numbers[-2][0], numbers[-1][0]
    further = range(last + step, around.given[-1] + 1, step) if step > 0 else ()
    return numbers + [(n, n) for n in further if n not in around.given]


def _by_words(text: str, around: Around) -> str | None:
    """`even rows: K`, `all other rows: K`, numbered as far as the stitch goes elsewhere."""
    match = _WHICH.match(text)
    if match is None or match.end() == len(text):
        return None
    cells = text[match.end() :]
    which, words = (match["which"] or "").lower(), match.group().lower()
    given = around.given
    top = given[-1] if given else 0
    numbers: list[int]
    if which in ("next", "following"):
        numbers = [around.next_row]
    elif which in ("even", "ws") or re.search(r"every\s+(other|second|2nd)|alternate", words):
        numbers = list(range(2, top + 2, 2)) or [2]
    elif which in ("odd", "rs"):
        numbers = list(range(1, top + 1, 2)) or [1]
    elif match["nth"] or which in ("third", "fourth"):
        step = int(match["nth"] or {"third": 3, "fourth": 4}[which])
        numbers = (list(range(step, top + 1, step)) or [step]) if step else []
    else:
        numbers = list(range(1, top + 1)) or [1]
    numbers = [n for n in numbers if n not in given]
    if not numbers or len(numbers) > _SAID_AT_MOST:
        return None
    runs: list[tuple[int, int]] = []
    for n in numbers:
        if runs and runs[-1][1] == n - 1:
            runs[-1] = runs[-1][0], n
        else:
            runs.append((n, n))
    if any(last == first + 1 for first, last in runs):
        runs = [
            pair
            for first, last in runs
            for pair in ([(first, first), (last, last)] if last == first + 1 else [(first, last)])
        ]
    meant = cells_meant(cells)
    if meant is None and not re.match(r"[KTSPktsp(*]", cells):
        return None
    return _row(_ranges(runs), f": {cells}", around)

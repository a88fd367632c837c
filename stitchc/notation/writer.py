"""A chart written back in the notation: the shortest tidy text, in runs, groups and row ranges.

Pure text out of a chart; knows the notation's words but not how they are read.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from typing import Final

import numpy as np

from stitchc.chart import LETTERS, OUT, Cells, Chart
from stitchc.notation.vocabulary import KEYWORDS, MOST_COUNT

_MOST_SEARCHED: Final = 256
"""Cells of a row that are searched for groups at one time; longer rows are taken in pieces."""
_MOST_GROUPED: Final = 200_000
"""Cells in rows that differ, above which a chart is written in runs alone: the search would take minutes."""
_LONGEST_PERIOD: Final = 64
"""The longest group that is followed across the pieces of a long row."""
_NESTING_COST: Final = 3
"""Characters that a group inside a group must save before it is worth its harder reading."""
_IN_NAMES: Final = frozenset({"Lu", "Ll", "Lt", "Lm", "Lo", "Nd"})
"""Unicode categories that `notation_name` keeps: letters and decimal figures."""
_INDENT: Final = "    "
_NAME: Final = re.compile(r"[^\W\d_][\w\-\u0300-\u036f]*")


def write_chart(name: str, chart: Chart, *, declare_yarns: bool = True) -> str:
    """The chart as the text of one `stitch` of the notation; compiled again it is the same chart.

    Rows that are the same in cells and yarn share a line ("1, 3-5: (K T)x4 K2"), and a row is written as the
    shortest part that fills the width by repeating. With declare_yarns, a `yarn` line comes first for each yarn
    that is named, so that the text stands by itself. Raises ValueError where `name` is not a name of the notation.
    """
    if not is_name(name):
        raise ValueError(f"`{name}` is not a name: a letter first, then letters, digits, _ or -, and no keyword")
    lines = _merged_rows(chart)
    working = int(chart.in_work.sum())
    words = [_smallest_part(chart.cells[numbers[0] - 1][chart.in_work]) for numbers, _ in lines]
    in_groups = sum(len(word) for word in words) <= _MOST_GROUPED
    texts = _row_texts(words, in_groups)
    head = f"stitch {name}"
    if max(len(word) for word in words) < working:
        head, texts = _with_width(head, chart, working, words, texts)
    yarns = dict.fromkeys(yarn for yarn in chart.yarns if yarn is not None) if declare_yarns else {}
    out = [f"yarn {yarn}" for yarn in yarns]
    out += [""] if out else []
    out.append(head)
    if chart.out:
        out.append(f"{_INDENT}out {_numbers_text(chart.out)}")
    for (numbers, yarn), text in zip(lines, texts, strict=True):
        out.append(f"{_INDENT}{_numbers_text(numbers)}{f' in {yarn}' if yarn is not None else ''}: {text}")
    return "\n".join(out) + "\n"


def row_text(row: Cells) -> str:
    """One row in full, as runs and groups: "(K T)x4 K2". Needles out of work are left out, as rows are written."""
    row = row[row != OUT]
    part = _smallest_part(row)
    times = len(row) // len(part)
    if len(part) == 1:
        return _times(LETTERS[int(part[0])], times)
    text = _row_text(part, len(part) <= _MOST_GROUPED, {})
    return _times(f"({text})x", times)


def is_name(text: str) -> bool:
    """Whether the notation takes the text as a name (a letter, then letters, digits, `_` or `-`; no keyword)."""
    return _NAME.fullmatch(text) is not None and text.lower() not in KEYWORDS


def notation_name(text: str) -> str:
    """A name of the notation made from any text, a file's stem for instance: "Chart 3 (new)" gives "Chart-3-new"."""
    kept = (c if c in "_-" or unicodedata.category(c) in _IN_NAMES else " " for c in unicodedata.normalize("NFC", text))
    name = "-".join("".join(kept).split()).strip("-_")[:60].rstrip("-_")
    if name and not is_name(name):
        name = f"traced-{name}"
    return name if name and is_name(name) else "traced"


# -- rows -------------------------------------------------------------------------------------------------------


def _merged_rows(chart: Chart) -> list[tuple[list[int], str | None]]:
    """Row numbers from 1 that are the same in cells and yarn, by first appearance, each with the yarn."""
    alike: dict[tuple[bytes, str | None], list[int]] = {}
    for number, (row, yarn) in enumerate(zip(chart.cells, chart.yarns, strict=True), start=1):
        alike.setdefault((row.tobytes(), yarn), []).append(number)
    return [(numbers, yarn) for (_, yarn), numbers in alike.items()]


def _numbers_text(numbers: Sequence[int]) -> str:
    """[1, 3, 4, 5] as "1, 3-5"."""
    parts: list[str] = []
    start = previous = numbers[0]
    for number in [*numbers[1:], 0]:
        if number != previous + 1:
            parts.append(str(start) if start == previous else f"{start}-{previous}")
            start = number
        previous = number
    return ", ".join(parts)


def _smallest_part(row: Cells) -> Cells:
    """The shortest beginning of the row that fills the whole row by repeating."""
    width = len(row)
    for period in range(1, width // 2 + 1):
        if width % period == 0 and row[0] == row[period] and np.array_equal(row[:-period], row[period:]):
            return row[:period]
    return row


def _with_width(head: str, chart: Chart, working: int, words: list[Cells], texts: list[str]) -> tuple[str, list[str]]:
    """Give the width where every row is written shorter: with `over N`, or one row in full if that is shorter.

    working: needles in work, for which rows are written.
    """
    full = []
    for word, text in zip(words, texts, strict=True):
        uniform = len(word) == 1
        full.append(_times(text if uniform else f"({text})x", working // len(word)))
    added = [len(long) - len(short) for long, short in zip(full, texts, strict=True)]
    over = f" over {chart.width}"
    best = added.index(min(added))
    if added[best] < len(over) or chart.width > MOST_COUNT:
        return head, [*texts[:best], full[best], *texts[best + 1 :]]
    return head + over, texts


def _row_texts(words: list[Cells], in_groups: bool) -> list[str]:
    known: dict[str, tuple[int, str]] = {}
    return [_row_text(word, in_groups, known) for word in words]


def _row_text(word: Cells, in_groups: bool, known: dict[str, tuple[int, str]]) -> str:
    if not in_groups:
        return " ".join(_runs(word))
    if len(word) <= _MOST_SEARCHED:
        return _shortest(_letters(word), known)[1]
    parts: list[str] = []
    place = 0
    while place < len(word):
        period, times = _longest_group(word, place)
        if period == 1:
            parts.append(_times(LETTERS[word[place]], times))
        elif times:
            parts.append(_times(f"({_shortest(_letters(word[place : place + period]), known)[1]})x", times))
        else:
            period, times = min(_MOST_SEARCHED, len(word) - place), 1
            parts.append(_shortest(_letters(word[place : place + period]), known)[1])
        place += period * times
    return " ".join(parts)


def _letters(word: Cells) -> str:
    return "".join(LETTERS[code] for code in word.tolist())


def _runs(word: Cells) -> list[str]:
    """Runs alone: "K3", "T", "K"."""
    starts = np.concatenate([[0], np.flatnonzero(word[1:] != word[:-1]) + 1])
    lengths = np.diff(np.append(starts, len(word)))
    return [_times(LETTERS[code], times) for code, times in zip(word[starts].tolist(), lengths.tolist(), strict=True)]


def _times(part: str, count: int) -> str:
    """A run or group with its count, in several parts where the count passes the notation's highest."""
    if count > MOST_COUNT:
        return f"{part}{MOST_COUNT} {_times(part, count - MOST_COUNT)}"
    if count == 1 and part.endswith("x"):
        return part[1:-2]
    return part if count == 1 else f"{part}{count}"


def _longest_group(word: Cells, start: int) -> tuple[int, int]:
    """The period and count that reach farthest from `at`, or (0, 0) where none reaches past one search."""
    best, farthest = (0, 0), _MOST_SEARCHED // 2
    for period in range(1, _LONGEST_PERIOD + 1):
        times = 1 + _matching(word, start, period) // period
        if period * times > farthest:
            best, farthest = (period, times), period * times
    return best


def _matching(word: Cells, start: int, period: int) -> int:
    """How many cells from `at` on are the same as the cell one period further."""
    step, reach, last = 512, 0, len(word) - period - start
    while reach < last:
        end = min(last, reach + step)
        same = word[start + reach : start + end] == word[start + reach + period : start + end + period]
        if not same.all():
            return reach + int(np.argmin(same))
        reach, step = end, step * 2
    return max(0, reach)


def _shortest(word: str, known: dict[str, tuple[int, str]]) -> tuple[int, str]:
    """The cheapest text for the letters of a row and its cost in characters (nesting counts a little extra).

    Left to right over the word: the cheapest way to write the first n letters is the cheapest way to write fewer
    of them and one run or group more.
    """
    if word in known:
        return known[word]
    length = len(word)
    groups = _repeats(word)
    costs: list[tuple[int, int]] = [(0, 0)] + [(1 << 30, 0)] * length
    came: list[tuple[int, str]] = [(0, "")] * (length + 1)

    def offer(start: int, end: int, cost: int, text: str) -> None:
        total = (costs[start][0] + cost + 1, costs[start][1] + 1)  # the space before it counts
        if total < costs[end]:
            costs[end], came[end] = total, (start, text)

    for start in range(length):
        end = start + 1
        while end <= length and word[end - 1] == word[start]:
            text = word[start] if end == start + 1 else f"{word[start]}{end - start}"
            offer(start, end, len(text), text)
            end += 1
        for period, most in groups.get(start, ()):
            cost, inner = _shortest(word[start : start + period], known)
            nested = _NESTING_COST if "(" in inner else 0
            for times in range(2, most + 1):
                text = f"({inner})x{times}"
                offer(start, start + period * times, cost + len(text) - len(inner) + nested, text)
    parts: list[str] = []
    place = length
    while place:
        place, text = came[place]
        parts.append(text)
    known[word] = costs[length][0] - 1, " ".join(reversed(parts))
    return known[word]


def _repeats(word: str) -> dict[int, list[tuple[int, int]]]:
    """Where something longer than a run stands twice or more in succession: start -> [(period, most times)]."""
    codes = np.frombuffer(word.encode("ascii"), dtype=np.uint8)
    length = len(codes)
    repeats: dict[int, list[tuple[int, int]]] = {}
    for period in range(2, length // 2 + 1):
        same = codes[:-period] == codes[period:]
        # the next place at or after each cell where the match ends
        ends = np.where(same, length, np.arange(len(same)))
        ends = np.minimum.accumulate(ends[::-1])[::-1]
        run = np.minimum(ends, len(same)) - np.arange(len(same))
        for start in np.flatnonzero(run >= period).tolist():
            root = word[start : start + period]
            if root in (root + root)[1:-1]:  # not the shortest part: K T K T
                continue
            repeats.setdefault(start, []).append((period, 1 + int(run[start]) // period))
    return repeats

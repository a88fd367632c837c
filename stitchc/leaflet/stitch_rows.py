"""The rows of a stitch for whoever reads rather than looks: in letters, and in words."""

from __future__ import annotations

import itertools
import re
from typing import TYPE_CHECKING, Final

from stitchc.document import Table
from stitchc.english import number, ranges
from stitchc.notation.writer import row_text
from stitchc.sheet.repeat import letters_used

if TYPE_CHECKING:
    from stitchc.chart import Chart

_VERBS: Final = {"K": "knit", "T": "tuck", "S": "slip"}
_TOKEN: Final = re.compile(r"([KTS])(\d*)|(\()|\)x(\d+)")


def stitch_rows(name: str, chart: Chart) -> Table:
    """A line for each row, or for rows that follow each other and are the same."""
    yarns = any(chart.yarns)
    settings = chart.settings()
    rows = zip(chart.cells, chart.yarns, settings, range(1, chart.height + 1), strict=True)
    lines = []
    for (_, yarn, setting), same in itertools.groupby(rows, lambda row: (row[0].tobytes(), row[1], row[2])):
        alike = list(same)
        text = row_text(alike[0][0])
        own = (yarn or "",) if yarns else ()
        lines.append((ranges([row[3] for row in alike]), text, row_words(text), setting, *own))
    head = ("Row", "Letters", "In words", "Carriage", *(("Yarn",) if yarns else ()))
    size = f"{number(chart.width, 'needle')} by {number(chart.height, 'row')}"
    letters = letters_used(line[1] for line in lines)
    caption = f"{name}, {size}: left to right as you face the bed; {letters}. Row 1 is knitted first."
    if any(setting != "plain" for setting in settings):
        caption += " By hand, set the carriage to hold where it says tuck or slip."
    if chart.out:
        plural = len(chart.out) > 1
        caption += f" Needle{'s' * plural} {ranges(chart.out)} of the repeat {'are' if plural else 'is'} out of work "
        caption += "and left out of these rows."
    return Table(head, tuple(lines), caption)


def row_words(text: str) -> str:
    """ "(K T)x4 K2" as "knit 1, tuck 1, these 2 needles 4 times; knit 2"; a row of one letter as "knit all"."""
    if re.fullmatch(r"[KTS]\d*", text):
        return f"{_VERBS[text[0]]} all"
    depth: list[list[str]] = [[]]
    widths: list[int] = [0]
    for letter, count, opening, times in _TOKEN.findall(text):
        if letter:
            depth[-1].append(f"{_VERBS[letter]} {count or 1}")
            widths[-1] += int(count or 1)
        elif opening:
            depth.append([])
            widths.append(0)
        else:
            inner, width = ", ".join(depth.pop()), widths.pop()
            again = "twice" if times == "2" else f"{times} times"
            depth[-1].append(f"{inner}, these {number(width, 'needle')} {again}")
            widths[-1] += width * int(times)
    return "; ".join(depth[0]) if "these" in " ".join(depth[0]) else ", ".join(depth[0])

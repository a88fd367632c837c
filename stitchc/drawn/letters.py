"""Charts as letters and as JSON: the compiled stitches, cell by cell.

Knows charts; nothing of pictures or files.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Final

from stitchc.chart import KNIT, SIGNS
from stitchc.english import number
from stitchc.messages import columns_of, visible
from stitchc.pattern import Pattern, Stitch

_GROUP: Final = 5
"""Cells between two spaces in a row of letters, so that the eye can count."""


def as_json(pattern: Pattern, stitches: Sequence[Stitch]) -> str:
    """The `stitchc-chart/1` document."""
    head = {"format": "stitchc-chart/1", "title": pattern.title, "notes": list(pattern.notes)}
    more = {
        "by": pattern.by,
        "difficulty": pattern.difficulty,
        "notions": list(pattern.notions),
        "photos": [{"file": photo.file, "shows": photo.shows} for photo in pattern.photos],
    }
    listed = ", ".join("{" + ", ".join(_members(stitch)) + "}" for stitch in stitches)
    first, last = (json.dumps(part, ensure_ascii=False) for part in (head, more))
    return f'{first[:-1]}, "stitches": [{listed}], {last[1:]}'


def _members(stitch: Stitch) -> Iterator[str]:
    """A stitch's keys and values as JSON. Rows alike share their text, so that a chart at the limit takes little
    memory beside the document."""
    chart = stitch.chart
    known: dict[bytes, tuple[str, str]] = {}
    rows, knits = [], []
    for cells in chart.cells:
        key = cells.tobytes()
        if key not in known:
            letters = "".join(SIGNS[code] for code in key)
            known[key] = f'"{letters}"', "[" + ", ".join(_TRUE[code == KNIT] for code in key) + "]"
        row, knit = known[key]
        rows.append(row)
        knits.append(knit)
    words: dict[str | None, str] = {name: json.dumps(name, ensure_ascii=False) for name in {None, *chart.yarns}}
    yield f'"name": {json.dumps(stitch.name, ensure_ascii=False)}, "width": {chart.width}, "height": {chart.height}'
    yield f'"rows": [{", ".join(rows)}]'
    yield f'"yarns": [{", ".join(words[yarn] for yarn in chart.yarns)}]'
    yield f'"settings": [{", ".join(_QUOTED[setting] for setting in chart.settings())}]'
    yield f'"knits": [{", ".join(knits)}]'
    yield f'"out": {list(chart.out)}'


_TRUE: Final = ("false", "true")
_QUOTED: Final = {setting: f'"{setting}"' for setting in ("plain", "tuck", "slip", "mixed")}


def as_text(pattern: Pattern, stitches: Sequence[Stitch], width: int = 120) -> Iterator[str]:
    """Lines of letters: each stitch as it would be charted, the last row on top, at most `width` columns wide."""
    if pattern.title:
        yield visible(pattern.title)
    for note in pattern.notes:
        yield f"  {visible(note)}"
    if pattern.title or pattern.notes:
        yield ""
    out = ", - is out of work" if any(stitch.chart.out for stitch in stitches) else ""
    yield f"K knits, T tucks, S slips{out}. Row 1, at the bottom, is knitted first; needles run from left to right"
    yield "as you face the bed, with the purl side of the fabric toward you."
    for stitch in stitches:
        yield ""
        yield from _stitch_lines(stitch, width)


def _stitch_lines(stitch: Stitch, width: int) -> Iterator[str]:
    chart = stitch.chart
    yield f"{visible(stitch.name)}: {number(chart.width, 'needle')} by {number(chart.height, 'row')}"
    numbers = len(str(chart.height))
    settings = chart.settings()
    yarns = ["" if yarn is None else visible(yarn) for yarn in chart.yarns]
    yarn_width = max(columns_of(yarn) for yarn in yarns)
    yarn_column = f"  {{:<{yarn_width}}}" if yarn_width else "{}"
    lead = 2 + numbers + 2 + 5 + (yarn_width + 2 if yarn_width else 0) + 2
    per_block = max(1, (max(width, lead + _GROUP) - lead + 1) // (_GROUP + 1)) * _GROUP
    rows = chart.rows()
    for first in range(0, chart.width, per_block):
        last = min(first + per_block, chart.width)
        if chart.width > per_block:
            yield ""
            yield f"  needles {first + 1} to {last} of {chart.width}"
        yield f"{' ' * lead}{_ruler(first, last)}".rstrip()
        for row in range(chart.height - 1, -1, -1):
            yarn = yarns[row] + " " * (yarn_width - columns_of(yarns[row]))
            head = f"  {row + 1:>{numbers}}  {settings[row]:<5}{yarn_column.format(yarn)}"
            yield f"{head}  {_grouped(rows[row][first:last])}"


def _grouped(text: str) -> str:
    return " ".join(text[start : start + _GROUP] for start in range(0, len(text), _GROUP))


def _ruler(first: int, last: int) -> str:
    """Column numbers over the first cell of each group, where there is room for them."""
    line = ""
    for start in range(first, last, _GROUP):
        place = (start - first) // _GROUP * (_GROUP + 1)
        number = str(start + 1)
        if place and len(line) >= place:  # the number before it runs over this place
            continue
        line = line.ljust(place) + number
    return line

"""What a drawn chart's PNG carries of its repeat: letters and yarns, beside a digest of its pixels.

Where the digest holds, the file is as it was written and the letters are its chart; else it is a picture like any
other.
"""

from __future__ import annotations

import hashlib
import re
from typing import Final
from urllib.parse import quote, unquote

from stitchc.chart import Chart

KEYWORD: Final = "stitchc-chart"
_FORM: Final = re.compile(r"([0-9a-f]{64}):([1-9][0-9]{0,6})x([1-9][0-9]{0,6}):([KTS-]+(?:/[KTS-]+)*)(?::([^:]*))?")


def carried_words(chart: Chart) -> str:
    """The repeat as it is carried, without the digest: `2x2:KT/KK`, the first knitted row first, facing the bed; where
    a row has a yarn, `2x2:KT/KK:oat/`, each percent-encoded."""
    words = f"{chart.width}x{chart.height}:{'/'.join(chart.rows())}"
    return f"{words}:{'/'.join(quote(yarn or '', safe='') for yarn in chart.yarns)}" if any(chart.yarns) else words


def digest(rgb: bytes) -> str:
    """Of a picture's pixels, three bytes each (red, green, blue), row by row from the top."""
    return hashlib.sha256(rgb).hexdigest()


def chart_carried(words: dict[str, str], rgb: bytes) -> Chart | None:
    """The chart that a PNG's text chunks (by keyword) carry; None where they carry none or the pixels are not those it
    was written with."""
    match = _FORM.fullmatch(words.get(KEYWORD, ""))
    if match is None or match[1] != digest(rgb):
        return None
    rows = match[4].split("/")
    try:
        chart = Chart.from_rows(rows)
        if match[5] is not None:
            chart = Chart(chart.cells, tuple(unquote(yarn) or None for yarn in match[5].split("/")))
    except ValueError:
        return None
    return chart if (chart.width, chart.height) == (int(match[2]), int(match[3])) else None

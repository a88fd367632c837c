"""A guess at the meaning of marks weighed by whether the chart can be knitted at all, and what would make it so.

Knows charts and checks; nothing of pixels.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from stitchc.chart import KNIT, SLIP, TUCK, Chart
from stitchc.messages import Message, Span
from stitchc.wording import OPTION

_NEVER: Final = {"K201": "a needle never knits", "K205": "in a row no needle knits"}
"""What no carriage, yarn or weight makes up for."""
_MEANINGS: Final = {(KNIT, TUCK): "tuck", (KNIT, SLIP): "slip", (TUCK, KNIT): "knit"}
"""Codes of blank and marked cells, and what an option calls the marked ones."""


def weighed(guess: Message, chart: Chart, blank: int | None) -> Message:
    """The message of a guess, with the reason against it where the chart as read can't be knitted.

    blank: the code that blank cells were given, or None where that is not known; of two kinds of cells, the plain
    meanings with which the chart can be knitted then go before the advice.
    """
    against = [_NEVER[code] for code in _errors(chart) if code in _NEVER]
    if not against:
        return guess
    text = f"{guess.text} As read it can't be knitted ({' and '.join(against)}), so another meaning is more likely."
    better = [] if blank is None else _better(chart, blank)
    advice = f"With {' or '.join(better)} it can be knitted. {guess.advice}" if better else guess.advice
    return guess._replace(severity="warning", text=text, advice=advice)


def _better(chart: Chart, blank: int) -> list[str]:
    marked = [code for code in np.unique(chart.cells).tolist() if code != blank]
    if len(marked) != 1:
        return []
    found = []
    for (light, dark), meaning in _MEANINGS.items():
        cells = np.where(chart.cells == blank, light, dark).astype(np.uint8)
        if not _errors(Chart(cells, chart.yarns)):
            found.append(f"{OPTION.dark:{meaning}}")
    return found


def _errors(chart: Chart) -> list[str]:
    from stitchc.checks import check
    from stitchc.pattern import Stitch

    messages = check(Stitch("traced", chart, Span("traced", 1)))
    return [message.code for message in messages if message.severity == "error"]

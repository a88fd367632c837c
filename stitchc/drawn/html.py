"""Drawn charts as one page of HTML: pictures inline, and beside each a table that says the same in words.

Knows pages and stitches, not how a chart is drawn.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from stitchc.markup import template
from stitchc.notation.writer import row_text
from stitchc.page import Page
from stitchc.page.svg import svg
from stitchc.pattern import Pattern, Stitch

_SMALL_MM = 160.0


def html(pattern: Pattern, stitches: Sequence[Stitch], drawn: Mapping[str, Sequence[Page]]) -> str:
    """The page: one file that fetches nothing. drawn: each stitch's pages by its name."""
    from markupsafe import Markup

    return template(__package__, "chart.html.j2").render(
        title=pattern.title or "Charts",
        notes=pattern.notes,
        stitches=[
            {
                "name": stitch.name,
                "pictures": [Markup(_inline(page)) for page in drawn[stitch.name]],
                "rows": _rows(stitch),
            }
            for stitch in stitches
        ],
    )


def _inline(page: Page) -> str:
    text = svg(page, within_html=True).decode("utf-8")
    # a small chart shrinks to the window, a large one is scrolled: its signs would be too small to tell apart
    return text.replace("<svg ", '<svg class="small" ', 1) if page.width_mm <= _SMALL_MM else text


def _rows(stitch: Stitch) -> list[dict[str, object]]:
    chart = stitch.chart
    known: dict[bytes, str] = {}
    rows: list[dict[str, object]] = []
    for number, (cells, setting, yarn) in enumerate(
        zip(chart.cells, chart.settings(), chart.yarns, strict=True), start=1
    ):
        key = cells.tobytes()
        if key not in known:
            known[key] = row_text(cells)
        rows.append({"number": number, "setting": setting, "yarn": yarn or "", "cells": known[key]})
    return rows

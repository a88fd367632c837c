"""The card as JSON (`stitchc-card/1`): which cells are holes, and where their centres lie in the picture.

Knows a card and its tiles; nothing of files.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, Final

from stitchc.card.paper import Scale, Tile
from stitchc.card.plan import Card
from stitchc.page import MM_PER_INCH

FORMAT: Final = "stitchc-card/1"


def as_json(card: Card, whole: Tile, pages: Sequence[tuple[str, Tile]], paper: str, dpi: int, scale: Scale) -> str:
    """The document. whole: the tile of the picture that shows the whole card. pages: the tiles it is printed in where
    it does not fit the paper, each with its picture's name without the ending.

    `centres_px`: the centre of column c, row r (both from 0 here) is column_1_row_1 + c * per_column + r * per_row.
    For a page that begins at a later row, column_1_row_1 lies off the page. `out`: columns, from 1 as they are punched,
    whose needles are out of work.
    """
    document: dict[str, Any] = {
        "format": FORMAT,
        "machine": card.machine.name,
        "columns": card.columns,
        "rows": card.rows,
        "repeat": {"width": card.repeat[0], "height": card.repeat[1]},
        "hole_means": card.machine.mark_means,
        "dpi": dpi,
        "size_mm": [round(card.shape.sheet_width_mm, 4), round(card.length_mm(card.whole), 4)],
        "hole_mm": card.shape.hole_mm,
        "holes": card.holes.tolist(),
        "centres_px": centres_px(card, whole, dpi, scale),
        "title": card.title,
        "stitch": card.stitch,
        "paper": paper,
        "scale": list(scale),
        "mirrored": card.machine.mirrored,
        "column_1_needle": card.machine.column_1_needle,
        "selects": card.machine.selects,
        "seen_above_read": card.shape.seen_above_read,
        "joining_rows": card.shape.joining_rows,
        "hole_count": card.hole_count,
        "out": list(card.columns_out),
        "settings": list(card.chart.settings()),
        "yarns": list(card.chart.yarns),
        "changes": [{"row": c.row, "setting": c.setting, "yarn": c.yarn} for c in card.changes],
        "remarks": list(card.remarks),
        "start_row": card.start_row,
        "each_row_twice": card.each_row_twice,
        "blanks": [{"blank": blank.number, "rows": [blank.first, blank.last]} for blank in card.blanks],
        "pages": [
            {
                "name": name,
                "page": tile.number,
                "of": tile.of,
                "blank": tile.strip.number,
                "rows": [max(tile.strip.first, tile.first), min(tile.strip.last, tile.last)],
                "centres_px": centres_px(card, tile, dpi, scale),
            }
            for name, tile in pages
        ],
    }
    return _compact_rows(document)


def centres_px(card: Card, tile: Tile, dpi: int, scale: Scale) -> dict[str, list[float]]:
    """Where the centres of holes lie in a picture of the tile, in pixels from its upper left corner, y down."""
    per_mm = dpi / MM_PER_INCH
    x, y = place_mm(card, tile, scale, 1, 1)
    return {
        "column_1_row_1": [_px(x * per_mm), _px(y * per_mm)],
        "per_column": [_px(card.shape.column_pitch_mm * scale[0] * per_mm), 0],
        "per_row": [0, _px(-card.shape.row_pitch_mm * scale[1] * per_mm)],
    }


def place_mm(card: Card, tile: Tile, scale: Scale, column: int, position: int) -> tuple[float, float]:
    """Where a hole's centre lies on the tile's page, in mm, the printer's correction included."""
    x = tile.sheet_left_mm + card.shape.first_column_mm(card.columns) + (column - 1) * card.shape.column_pitch_mm
    y = tile.y_mm(card.along_mm(tile.strip, position))
    middle_x, middle_y = tile.page_mm[0] / 2, tile.page_mm[1] / 2
    return middle_x + (x - middle_x) * scale[0], middle_y + (y - middle_y) * scale[1]


def _px(value: float) -> float:
    return round(value, 6)


def _compact_rows(document: dict[str, Any]) -> str:
    """JSON that people can read, too: a row of holes on one line."""
    holes = document["holes"]
    text = json.dumps({**document, "holes": "\0"}, ensure_ascii=False, indent=2)
    rows = ",\n    ".join(json.dumps(row) for row in holes)
    return text.replace(json.dumps("\0"), f"[\n    {rows}\n  ]", 1) + "\n"

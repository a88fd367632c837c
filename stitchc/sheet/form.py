"""The sheet as the `stitchc-sheet/1` JSON form, which scripts and outside checks rely on."""

from __future__ import annotations

import json
from collections.abc import Sequence

from stitchc.bed import Needles, needle_name
from stitchc.sheet.model import PassEntry, Sheet


def to_json(sheets: Sequence[Sheet]) -> str:
    """One document for one sheet, a list of documents for several."""
    if len(sheets) == 1:
        return _text(sheets[0]) + "\n"
    return "[\n" + ",\n".join(_indented(_text(sheet), " ") for sheet in sheets) + "\n]\n"


def _text(sheet: Sheet) -> str:
    """The document as JSON, its passes made one at a time: as values they take ten times the memory."""
    passes = ",\n".join(_indented(_dumped(pass_as_json(entry)), "  ") for entry in sheet.pass_entries())
    listed = f"[\n{passes}\n ]" if passes else "[]"
    before, after = _dumped(_head(sheet)).removesuffix("\n}"), _dumped({"totals": _totals(sheet)}).removeprefix("{")
    return f'{before},\n "passes": {listed},{after}'


def _dumped(document: dict[str, object]) -> str:
    return json.dumps(document, ensure_ascii=False, indent=1)


def _indented(text: str, by: str) -> str:
    return by + text.replace("\n", "\n" + by)


def as_document(sheet: Sheet) -> dict[str, object]:
    """The fields the contract promises, in its order."""
    return {
        **_head(sheet),
        "passes": [pass_as_json(entry) for entry in sheet.pass_entries()],
        "totals": _totals(sheet),
    }


def _head(sheet: Sheet) -> dict[str, object]:
    return {
        "format": "stitchc-sheet/1",
        "machine": sheet.machine.name,
        "stitch": sheet.title,
        "needles": needles_as_json(sheet.needles),
    }


def _totals(sheet: Sheet) -> dict[str, int]:
    return {"rows": sheet.rows, "moves": sheet.moves}


def needles_as_json(needles: Needles) -> dict[str, object]:
    """{"left": "L40", "right": "R40", "count": 80}."""
    return {"left": needles.left, "right": needles.right, "count": needles.count}


def pass_as_json(entry: PassEntry) -> dict[str, object]:
    """One pass. A pass that both tucks and slips has `slipped` as well: the held needles that take no yarn."""
    passed = entry.passed
    document: dict[str, object] = {
        "row": passed.row,
        "chart_row": passed.chart_row,
        "direction": passed.direction,
        "setting": passed.setting,
        "yarn": passed.yarn,
        "held": [needle_name(n) for n in passed.held],
        "bring_out": [needle_name(n) for n in passed.bring_out],
        "push_back": [needle_name(n) for n in passed.push_back],
        "moves": passed.moves,
        "words": entry.words,
    }
    if passed.setting == "mixed":
        document["slipped"] = [needle_name(n) for n in passed.slipped]
    return document

"""The sheet as the `stitchc-sheet/1` JSON form, which scripts and outside checks rely on.

It is written pass by pass, so that the largest sheets stay under 200 MB. A pass with tuck and slip together says in
`slipped` which needles take no yarn. Where hands push needles right back to slip, a pass says which stand there
(`right_back`) and which move there and from there; where its yarn hangs at the other side, `before` says what is done.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from functools import lru_cache

from stitchc.bed import Needles, needle_name
from stitchc.document import PassRow
from stitchc.passes import Pass
from stitchc.sheet.sheet import Sheet


def to_json(sheets: Sequence[Sheet]) -> str:
    """The fields the contract promises, in its order: one document for one sheet, a list of documents for several."""
    if len(sheets) == 1:
        return _text(sheets[0]) + "\n"
    return "[\n" + ",\n".join(_indented(_text(sheet), " ") for sheet in sheets) + "\n]\n"


def _text(sheet: Sheet) -> str:
    """The document as JSON, its passes made one at a time: as values they take ten times the memory."""
    assert sheet.document.rows is not None
    rows = zip(sheet.passes, sheet.document.rows.passes(), strict=True)
    passes = ",\n".join(_pass_text(pass_as_json(passed, row)) for passed, row in rows)
    listed = f"[\n{passes}\n ]" if passes else "[]"
    before = _dumped(_head(sheet)).removesuffix("\n}")
    after = _dumped({"out_of_work": empty_all_the_time(sheet.passes), "totals": _totals(sheet)}).removeprefix("{")
    return f'{before},\n "passes": {listed},{after}'


_encoded = json.JSONEncoder(ensure_ascii=False).encode


def _pass_text(document: dict[str, object]) -> str:
    """As json.dumps with an indent has it, which is slow at that: a list of needle names needs no quoting."""
    fields = []
    for key, value in document.items():
        if isinstance(value, list):
            shown = '[\n    "' + '",\n    "'.join(value) + '"\n   ]' if value else "[]"
        else:
            shown = _encoded(value)
        fields.append(f'   "{key}": {shown}')
    return "  {\n" + ",\n".join(fields) + "\n  }"


def _dumped(document: dict[str, object]) -> str:
    return json.dumps(document, ensure_ascii=False, indent=1)


def _indented(text: str, by: str) -> str:
    return by + text.replace("\n", "\n" + by)


def _head(sheet: Sheet) -> dict[str, object]:
    return {
        "format": "stitchc-sheet/1",
        "machine": sheet.machine.name,
        "stitch": sheet.stitch,
        "needles": needles_as_json(sheet.needles),
    }


def _totals(sheet: Sheet) -> dict[str, int]:
    return {"rows": len(sheet.passes), "moves": sum(each.moves for each in sheet.passes)}


def needles_as_json(needles: Needles) -> dict[str, object]:
    """{"left": "L40", "right": "R40", "count": 80}."""
    return {"left": needles.left, "right": needles.right, "count": needles.count}


def empty_all_the_time(passes: Sequence[Pass]) -> list[str]:
    """The needles out of work in every row."""
    empty = {needle for each in passes[:1] for needle in each.empty}
    for each in passes:
        if each.moved_left or each.moved_right or each.taken_back:
            empty &= set(each.empty)
    return _names(tuple(sorted(empty)))


def pass_as_json(passed: Pass, row: PassRow) -> dict[str, object]:
    """One pass with its words; fields that say nothing of it are left out."""
    document: dict[str, object] = {
        "row": passed.row,
        "chart_row": passed.chart_row,
        "direction": passed.direction,
        "setting": passed.setting,
        "yarn": passed.yarn,
        "held": _names(passed.held),
        "bring_out": _names(passed.bring_out),
        "push_back": _names(passed.push_back),
        "moves": passed.moves,
        "words": row.words,
    }
    if passed.setting == "mixed":
        document["slipped"] = _names(passed.slipped)
    if passed.rest or passed.bring_to_work:
        document["right_back"] = _names(passed.rest)
        document["push_right_back"] = _names(passed.push_right_back)
        document["bring_to_work"] = _names(passed.bring_to_work)
    if passed.crossing:
        document["before"] = passed.crossing
    if passed.moved_left or passed.moved_right or passed.taken_back:
        document["stitches_moved_left"] = _names(passed.moved_left)
        document["stitches_moved_right"] = _names(passed.moved_right)
        document["taken_back"] = _names(passed.taken_back)
    if passed.not_held:
        document["not_held"] = _names(passed.not_held)
    return document


def _names(needles: tuple[int, ...]) -> list[str]:
    return list(_named(needles))


@lru_cache(maxsize=256)
def _named(needles: tuple[int, ...]) -> tuple[str, ...]:
    return tuple(map(needle_name, needles))

"""The needle sheet: passes put into words, as a document and as the `stitchc-sheet/1` form."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stitchc.on_demand import import_on_demand

if TYPE_CHECKING:
    from stitchc.sheet.instructions import Item as Item
    from stitchc.sheet.instructions import Yarns as Yarns
    from stitchc.sheet.instructions import instruct as instruct
    from stitchc.sheet.json_form import empty_all_the_time as empty_all_the_time
    from stitchc.sheet.json_form import needles_as_json as needles_as_json
    from stitchc.sheet.json_form import pass_as_json as pass_as_json
    from stitchc.sheet.json_form import to_json as to_json
    from stitchc.sheet.sheet import Sheet as Sheet
    from stitchc.sheet.sheet import stitch_sheet as stitch_sheet

__getattr__ = import_on_demand(
    __name__,
    {
        "instructions": ("Item", "Yarns", "instruct"),
        "json_form": ("empty_all_the_time", "needles_as_json", "pass_as_json", "to_json"),
        "sheet": ("Sheet", "stitch_sheet"),
    },
)

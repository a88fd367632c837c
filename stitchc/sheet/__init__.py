"""The needle sheet: passes put into words, as a document and as the `stitchc-sheet/1` form."""

from stitchc.sheet.instructions import Item, Yarns, instruct
from stitchc.sheet.json_form import empty_all_the_time, needles_as_json, pass_as_json, to_json
from stitchc.sheet.sheet import Sheet, stitch_sheet

__all__ = [
    "Item",
    "Sheet",
    "Yarns",
    "empty_all_the_time",
    "instruct",
    "needles_as_json",
    "pass_as_json",
    "stitch_sheet",
    "to_json",
]

"""The needle sheet: passes put into words and drawn as the bed, for a screen reader, for paper and for a tablet."""

from stitchc.sheet.form import needles_as_json, pass_as_json, to_json
from stitchc.sheet.instructions import CAUTIONS, before_row_one, habits, instruct
from stitchc.sheet.model import DoEntry, Entry, PassEntry, SectionEntry, Sheet, Step
from stitchc.sheet.stitch import stitch_sheet
from stitchc.sheet.text import to_text

__all__ = [
    "CAUTIONS",
    "DoEntry",
    "Entry",
    "PassEntry",
    "SectionEntry",
    "Sheet",
    "Step",
    "before_row_one",
    "habits",
    "instruct",
    "needles_as_json",
    "pass_as_json",
    "stitch_sheet",
    "to_json",
    "to_text",
]

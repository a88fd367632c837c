"""The notation: text in, a Pattern and messages out, and a chart written back as text.

`compile_text` touches no file but those included; `compile_file` fetches the file too, through stitchc.files.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stitchc.on_demand import import_on_demand

if TYPE_CHECKING:
    from stitchc.notation.compile import Reading as Reading
    from stitchc.notation.compile import compile_file as compile_file
    from stitchc.notation.compile import compile_text as compile_text
    from stitchc.notation.writer import write_chart as write_chart

__getattr__ = import_on_demand(
    __name__, {"compile": ("Reading", "compile_file", "compile_text"), "writer": ("write_chart",)}
)

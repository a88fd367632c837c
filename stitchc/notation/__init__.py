"""The notation: text in, a Pattern and messages out, and a chart written back as text.

`compile_text` touches no file but those included; `compile_file` fetches the file too, through stitchc.files.
"""

from stitchc.notation.compile import Reading, compile_file, compile_text, read_file, read_text
from stitchc.notation.writer import write_chart

__all__ = ["Reading", "compile_file", "compile_text", "read_file", "read_text", "write_chart"]

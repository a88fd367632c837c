"""The notation: text in, a Pattern and messages out, and a chart written back as text.

`read_text` touches no file; `read_file` fetches the file and what it includes through stitchc.files.
"""

from stitchc.notation.compile import read_file, read_text
from stitchc.notation.writer import write_chart

__all__ = ["read_file", "read_text", "write_chart"]

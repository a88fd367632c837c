"""The notation: text in, a Pattern and messages out, and a chart written back as text.

`compile_text` touches no file but those included; `compile_file` fetches the file too, through stitchc.files.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stitchc.notation.compile import Reading, compile_file, compile_text
    from stitchc.notation.writer import write_chart

__all__ = [
    "Reading",
    "compile_file",
    "compile_text",
    "write_chart",
]

_HOME = {
    "Reading": "stitchc.notation.compile",
    "compile_file": "stitchc.notation.compile",
    "compile_text": "stitchc.notation.compile",
    "write_chart": "stitchc.notation.writer",
}


def __getattr__(name: str) -> object:
    """Import a part when it is first asked for: a command that needs one part does not pay for the others."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(_HOME[name]), name)

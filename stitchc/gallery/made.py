"""What `stitchc build` made of a pattern, as values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from stitchc.messages import Message

WHOLE: Final = ""
"""The subject of what shows the pattern as a whole."""


@dataclass(frozen=True)
class Made:
    """One kind of product. subject: the stitch or piece that it shows. machine: that it is for, if it is for one.

    files: the names of those that the page links. reasons: messages that say why some or all of it was not made.
    """

    kind: str
    subject: str
    files: tuple[str, ...] = ()
    reasons: tuple[Message, ...] = ()
    machine: str = ""
    of_piece: bool = False

"""What the comparison's drawings share: sizes, inks, and the mark and colour of each kind of stitch.

Shapes say tuck, slip, both or plain; colours only repeat it (a set that the colour-blind can tell apart: Okabe and Ito,
Color universal design, 2008).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from stitchc.compare.table import Compared

DPI: Final = 150
MM: Final = 1 / 25.4
INK: Final = "#222222"
GREY: Final = "#8a8a8a"
PALE: Final = "#d9d9d9"
KINDS: Final = {  # mark, colour, word
    "plain": ("s", "#222222", "stocking stitch"),
    "tuck": ("o", "#0072b2", "tuck"),
    "slip": ("^", "#d55e00", "slip"),
    "both": ("D", "#a3527f", "tuck and slip"),
}
SIZE_MM: Final = (420.0, 297.0)
"""A3, lying: the poster's own size at 150 dpi."""
LONGEST_TITLE: Final = 78
"""Characters of a title or a name that fit."""


def kind_of(line: Compared) -> str:
    """ "plain", "tuck", "slip" or "both": which of them the stitch has."""
    features = line.gauge.features
    if features.tuck_share and features.slip_share:
        return "both"
    return "tuck" if features.tuck_share else "slip" if features.slip_share else "plain"


def all_known(lines: Sequence[Compared]) -> bool:
    """Whether the size of every stitch is known; else all are drawn against stocking stitch."""
    return all(line.size_cm is not None for line in lines)

"""A card reader, simulated from what its profile says and from nothing of stitchc's own drawing: which needles knit.

A hole or a blank is felt for each column; the columns repeat outward over the bed from the needle of column 1; a
mirrored reader meets them from the other side.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt


def position(needle: str) -> int:
    """L1 is -1, R1 is 0: neighbours differ by 1 across the centre."""
    number = int(needle[1:])
    return -number if needle[0] == "L" else number - 1


def knits(document: dict[str, Any], needles: range, rows: int) -> npt.NDArray[np.bool_]:
    """Shape (rows, needles): which needle knits on which pass, by a `stitchc-card/1` document, the ring turning."""
    columns, first = document["columns"], position(document["column_1_needle"])
    passes = []
    for index in range(rows):
        felt = document["holes"][(index // 2 if document["each_row_twice"] else index) % document["rows"]]
        line = []
        for needle in needles:
            column = (needle - first) % columns
            hole = felt[columns - 1 - column if document["mirrored"] else column]
            line.append(hole if document["hole_means"] == "knit" else not hole)
        passes.append(line)
    return np.array(passes)

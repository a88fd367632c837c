"""The family of densities of one repeat: 1 needle in 2, 3, 4, 6, 8 held for 1, 2, 3, 4 rows, in tuck and in slip."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from stitchc.chart import KNIT, SLIP, TUCK, Chart
from stitchc.machines import Limits, Machine
from stitchc.messages import Span
from stitchc.pattern import Stitch

ONE_IN: Final = (2, 3, 4, 6, 8)
HOLDS: Final = (1, 2, 3, 4)


@dataclass(frozen=True)
class Arrangement:
    """How a repeat lays out its holds. staggered: the holding needles change from one hold to the next.

    plain_rows: rows between one hold and the next in which every needle knits.
    """

    staggered: bool = False
    plain_rows: int = 1


def arrangement_of(chart: Chart) -> Arrangement:
    """Read off a repeat: whether its holds move, and the fewest plain rows between two of them."""
    held = chart.held[:, chart.in_work]
    if not held.any():
        return Arrangement()
    start = int(np.flatnonzero(held.any(axis=1))[0])
    rows = np.roll(held, -start, axis=0)  # begins with a hold
    blocks: list[tuple[bytes, int]] = []  # each hold's needles, and the plain rows after it
    for index, row in enumerate(rows):
        if not row.any():
            needles, plain = blocks[-1]
            blocks[-1] = (needles, plain + 1)
        elif not index or blocks[-1][1] or blocks[-1][0] != row.tobytes():
            blocks.append((row.tobytes(), 0))
    staggered = len({needles for needles, _ in blocks}) > 1
    plain_rows = min(plain for _, plain in blocks)
    return Arrangement(staggered, plain_rows if staggered else max(1, plain_rows))


def density(letter: int, one_in: int, hold: int, arrangement: Arrangement) -> Chart:
    """One of the family: 1 needle in `one_in` held for `hold` rows, then the plain rows; staggered by half."""
    cells = np.full((hold + arrangement.plain_rows, one_in), KNIT, dtype=np.uint8)
    cells[:hold, one_in - 1] = letter
    chart = Chart(cells, (None,) * len(cells))
    return chart.then(chart.shifted(one_in // 2)) if arrangement.staggered else chart


def strands(names: Sequence[str]) -> dict[str, list[str]]:
    """The names of a family in runs of growing hold, by what they share: {"tuck, 1 in 2": ["tuck-1in2-x1", …]}."""
    groups: dict[str, list[str]] = {}
    for name in sorted(names):
        word, one_in, _ = name.split("-")
        groups.setdefault(f"{word}, {one_in.replace('in', ' in ')}", []).append(name)
    return groups


def family(arrangement: Arrangement, machine: Machine | None, limits: Limits, span: Span) -> list[Stitch]:
    """Every density that the machine and the limits allow without an error, tuck first, sparse after dense."""
    stitches: list[Stitch] = []
    for letter, word, way, limit in (
        (TUCK, "tuck", machine.tuck if machine else "carriage", limits.tucks_in_succession),
        (SLIP, "slip", machine.slip if machine else "carriage", limits.slips_in_succession),
    ):
        if way == "none":
            continue
        most = limit.error_from - 1 if limit.error_from is not None else max(HOLDS)
        for one_in in ONE_IN:
            for hold in HOLDS:
                if hold <= most:
                    name = f"{word}-1in{one_in}-x{hold}"
                    stitches.append(Stitch(name, density(letter, one_in, hold, arrangement), span))
    return stitches

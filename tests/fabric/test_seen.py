"""What somebody who knows fabric sees in the pictures, as numbers (whom to believe, and what was seen: seen.md)."""

from __future__ import annotations

import numpy as np
import pytest

from stitchc.chart import KNIT, SLIP
from stitchc.fabric import Fabric
from stitchc.fabric.draw import NOTHING, see
from stitchc.fabric.start import NODES, Cell, Floats, lay_out
from tests.fabric.conftest import at_gauge

# Repeats with stitches and rows over plain's, as the gauge model estimates them.
PLAIN = ("K", 1.0, 1.0)
LINEN = ("KS/SK", 1.21, 1.56)
BARS = ("/".join(["KKKS"] * 6 + ["KKKK"] * 2), 1.07, 1.66)
PIQUE = ("KT/KT/TK/TK", 0.87, 1.95)
COLUMN = ("/".join(["KKKT"] * 4 + ["KKKK"] * 2), 0.93, 1.46)
LADDER = ("KTK-/KTK-/KKK-", 1.0, 1.3)


def strands(fabric: Fabric) -> list[tuple[Cell, Floats]]:
    """Each cell with its nodes (3, NODES)."""
    at = np.concatenate(fabric.courses).T
    return [(cell, at[:, cell.first : cell.first + NODES]) for cell in lay_out(fabric.chart).cells]


def holes(fabric: Fabric) -> float:
    """Area of all holes of a repeat, in its stitches."""
    bare = float((see(fabric, "knit", 260).course == NOTHING).mean())
    return bare * fabric.chart.width * fabric.chart.height


@pytest.mark.parametrize("repeat, most", [(LINEN, 0.07), (BARS, 0.12)])
def test_floats_are_straight_bars_that_lie_one_above_the_other(repeat: tuple[str, float, float], most: float) -> None:
    """The float extends from the base of one knitted or tucked loop to the next, straight (Spencer, Knitting
    Technology, 3rd ed., the float stitch). Of firm yarn they sagged by 0.09 and up to 0.23 of their length."""
    bars = [(cell, at) for cell, at in strands(at_gauge(*repeat)) if cell.kind == SLIP]
    assert all(np.ptp(at[1]) < most * np.ptp(at[0]) for _, at in bars)
    heights = [float(at[1].mean()) for cell, at in bars if cell.column == bars[-1][0].column]
    assert heights == sorted(heights)


def test_two_tucks_in_turn_give_long_and_short_stitches_and_wales_that_swell_and_narrow() -> None:
    """The held loop of a tuck robs its neighbours and is longer (Spencer, 9.4, from memory). With yarn shared evenly a
    held stitch rose 1.01 times as high as the others, and wales swung by 0.05 of their width."""
    fabric = at_gauge(*PIQUE)
    short, held = (
        next(float(np.ptp(at[1])) for cell, at in strands(fabric) if cell.kind == KNIT and (cell.span > 1) == holds)
        for holds in (False, True)
    )
    assert held > 1.25 * short
    assert swing(fabric) > 0.08 and swing(at_gauge(*PLAIN)) < 0.02


def swing(fabric: Fabric) -> float:
    """How much farther a wale's legs reach on the knit side in one course than in another, in wale spacings."""
    widest = np.zeros(fabric.chart.height)
    place = np.linspace(2, NODES - 2, 400)
    middle = float(np.median(np.concatenate(fabric.courses)[:, 2]))
    for cell, at in strands(fabric):
        if cell.column == 0 and cell.kind == KNIT:
            x, y, z = (np.interp(place, np.arange(NODES), axis) for axis in at)
            course = np.floor(y / fabric.cell_c).astype(int) % fabric.chart.height
            np.maximum.at(widest, course[z > middle], np.abs(x - at[0, NODES // 2])[z > middle])
    return float(np.ptp(widest)) / fabric.cell_w


def test_a_column_of_four_tucks_is_drawn_together_with_little_hole() -> None:
    """Their loops are knitted off together in one bundle (Spencer, p. 96); the long stitch is drawn together (common
    practice, no source). With yarn shared evenly 0.8 stitches of each repeat
    were open, of firm yarn 1.7."""
    assert holes(at_gauge(*COLUMN)) < 0.4


def test_a_ladder_of_one_needle_stays_open() -> None:
    fabric = at_gauge(*LADDER)
    bare = see(fabric, "knit", 260).course == NOTHING
    half = bare.shape[1] // fabric.chart.width // 2
    ladder = bare[:, half : 3 * half]  # needle 4: the knit side begins half way through needle 1, and runs leftward
    assert ladder.any(axis=1).mean() > 0.3, "between the bars, which cover most of its height"
    assert ladder.sum() > 0.5 * bare.sum()

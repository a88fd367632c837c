"""What only the leaflet says: rows in words, and the tables for another gauge."""

from __future__ import annotations

import pytest

from stitchc import PieceOptions, compile_text, load_machine, plan_piece
from stitchc.leaflet.stitch_rows import row_words, stitch_rows
from stitchc.piece.other_gauges import OFF, other_gauges


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("K6", "knit all"),
        ("S", "slip all"),
        ("K T K4", "knit 1, tuck 1, knit 4"),
        ("(K T)x4 K2", "knit 1, tuck 1, these 2 needles 4 times; knit 2"),
        ("((K T)x2 S3)x2", "knit 1, tuck 1, these 2 needles twice, slip 3, these 7 needles twice"),
    ],
)
def test_a_row_in_words(text: str, words: str) -> None:
    assert row_words(text) == words


def test_rows_that_follow_each_other_and_are_the_same_share_a_line() -> None:
    text = "yarn kelp\nstitch net over 4\n    out 4\n    1-2: K T K\n    3 in kelp: K\n    4: K\n"
    pattern = compile_text(text).pattern
    assert pattern is not None
    table = stitch_rows("net", pattern.stitches["net"].chart)
    assert table.head == ("Row", "Letters", "In words", "Carriage", "Yarn")
    assert [(row[0], row[2], row[3], row[4]) for row in table.rows] == [
        ("1, 2", "knit 1, tuck 1, knit 1", "tuck", ""),
        ("3", "knit all", "plain", "kelp"),
        ("4", "knit all", "plain", ""),
    ]
    assert "Needle 4 of the repeat is out of work" in table.caption


PIECE = """\
stitch tide over 4
    1: K T K2
    2: K
gauge tide {stitches:.4f} stitches {rows:.4f} rows per 10 cm
piece cuff
    width 23 cm plus 1 cm
    knit tide for 31 cm
    knit tide for 5 cm exactly
"""


@pytest.mark.parametrize("off", OFF)
def test_the_table_for_another_gauge_is_what_that_gauge_gives(off: int) -> None:
    """The pattern planned anew with the gauge of that line."""

    def planned(percent: float) -> object:
        factor = 1 + percent / 100
        text = PIECE.format(stitches=21 * factor, rows=43 * factor)
        pattern = compile_text(text).pattern
        assert pattern is not None
        (plan,) = plan_piece(pattern, load_machine("hand-standard"), PieceOptions()).values
        return plan

    needles, rows = other_gauges([planned(0)], "cm")  # type: ignore[list-item]
    at = OFF.index(off)
    plan = planned(off)
    assert needles.rows[at][-1] == str(plan.needles.count)  # type: ignore[attr-defined]
    assert list(rows.rows[at][-2:]) == [str(section.rows) for section in plan.sections]  # type: ignore[attr-defined]

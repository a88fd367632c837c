"""Markers, terminals, letters and marks of nearly one colour, as other tools draw them: each was once read wrong."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import accuracy
import elsewhere
import further
from pictures import Style, drawn, png

from stitchc.chart import KNIT, SLIP, TUCK
from stitchc.messages import Refused
from stitchc.trace import Ask, Key, trace

READ = {
    ("terminals", 91011): "coloured grounds, cells no whole pixels wide, shown twice as large",
    ("terminals", 91021): "grounds in three colours up to the picture's edges",
    ("terminals", 91013): "full blocks, two a cell, between which seams show",
    ("terminals", 91004): "dots farther apart than most",
    ("tones", 91028): "two dark inks, of which one is meant",
    ("markers", 91000): "diamonds whose tips lie where lines of cells half as wide would be",
    ("letters", 91002): "nothing, x and o, of about as much ink",
    ("letters", 91004): "K, T and S, and no cell blank",
    ("letters", 91008): "v and ^, of which there is a single one",
}


@pytest.mark.browser
@pytest.mark.usefixtures("drawn_in")
@pytest.mark.parametrize(("kind", "number"), READ)
def test_what_other_tools_draw_is_read(kind: str, number: int) -> None:
    assert further.outcome(further.one_case(kind, number)) == ("right", ""), READ[kind, number]


def test_a_colour_alone_leaves_the_other_marks_to_what_dark_means_by_default() -> None:
    rows = ["KTKKSKKT", "KKTTKKSK", "TKSKKTKT", "KKKTTKSK", "STKKKKTK"]
    picture = png(drawn(rows, Style("dot", 20)))
    read = trace(picture, "chart.png", Ask(key=Key(colours=((Style().slip, SLIP),)), repeat="whole"))
    assert read.whole.rows() == rows


@pytest.mark.parametrize("beside", [True, False])
@pytest.mark.parametrize("gap_px", [17, 20])
@pytest.mark.parametrize("cell_px", [20, 14])
def test_of_two_charts_in_a_picture_each_is_named_and_read_where_it_is_said_to_be(
    beside: bool, gap_px: int, cell_px: int
) -> None:
    """The second with cells of the same size, a whole number of cells away, and of another."""
    random = np.random.default_rng(gap_px)
    charts = [random.choice([KNIT, TUCK], (12, 11), p=(0.7, 0.3)) for _ in range(2)]
    high, wide = charts[0].shape
    left, top = 30 + beside * (20 * wide + gap_px), 30 + (not beside) * (20 * high + gap_px)
    size = max(30 + 20 * wide, left + cell_px * wide) + 30, max(30 + 20 * high, top + cell_px * high) + 30
    picture = accuracy.Image.new("RGB", size, (255, 255, 255))
    further.ruled(picture, charts[0], 20, 30, 30, "fill")
    further.ruled(picture, charts[1], cell_px, left, top, "dot")
    with pytest.raises(Refused) as refused:
        trace(png(picture), "page.png", Ask(key=Key(dark=TUCK)))
    (message,) = refused.value.messages
    assert (message.code, message.text) == ("T803", "`page.png` shows 2 charts; they are read one at a time.")
    boxes = re.findall(r"--box (\d+),(\d+),(\d+),(\d+)", str(message.advice))
    read = []
    for left, top, right, bottom in boxes:
        box = int(left), int(top), int(right), int(bottom)
        read.append(trace(png(picture), "page.png", Ask(key=Key(dark=TUCK), box_px=box, repeat="whole")).whole.rows())
    assert read == [elsewhere.rows_of(cells) for cells in charts]


def test_with_the_size_of_one_of_two_charts_that_one_is_read() -> None:
    first, second = np.zeros((9, 11), dtype=np.uint8), np.eye(12, 8, dtype=np.uint8)
    picture = accuracy.Image.new("RGB", (560, 360), (255, 255, 255))
    further.ruled(picture, first, 20, 30, 30, "fill")
    further.ruled(picture, second, 20, 310, 30, "fill")
    read = trace(png(picture), "page.png", Ask(key=Key(dark=TUCK), cells=(8, 12), repeat="whole"))
    assert read.whole.rows() == elsewhere.rows_of(second)


def test_of_a_kind_with_one_cell_one_cell_is_spoken_of() -> None:
    rows = ["KTKKSKKT", "KKTTKKKK", "TKKKKTKT"]
    with pytest.raises(Refused) as refused:
        trace(png(drawn(rows, Style("fill", 20))), "chart.png", Ask(key=Key(dark=TUCK)))
    text = refused.value.messages[0].text
    assert "(1 cell, in row 1, column 5)" in text and "(7 cells, one in row " in text

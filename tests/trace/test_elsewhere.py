"""The pictures made by other tools: the same each time, and how a reading of one is counted; and a sample of ours,
spoilt."""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import accuracy
import elsewhere
from pictures import Style, drawn, png

from stitchc.chart import KNIT, TUCK
from stitchc.trace import Ask, Key, trace
from stitchc.trace.beyond import sides_with_marks_beyond
from stitchc.trace.finding import field_in
from stitchc.trace.grid import Axis, Lattice


def plain_case() -> elsewhere.Case:
    rows = ["KTKKTKKT", "KKTTKKKK", "TKKKKTKT", "KKKTTKKT", "TTKKKKTK", "KTKTKTTT", "TKKKKKKT"]
    picture = drawn(rows, Style("fill", 20, tuck=(0, 0, 0)))
    return elsewhere.Case("clean", "squares", png(picture), rows, Ask(key=Key(dark=TUCK), repeat="whole"))


def test_the_same_numbers_make_the_same_pictures() -> None:
    (first,), (again,), (other,) = (list(elsewhere.cases("tune", 1, number)) for number in (0, 0, 9))
    assert first.data == again.data and first.rows == again.rows and first.data != other.data
    assert first.rows != other.rows and {len(row) for row in first.rows} == {len(first.rows[0])}


def test_the_truth_is_where_the_picture_shows_it() -> None:
    look = elsewhere.a_look(np.random.default_rng(5), "tune")._replace(
        cells=np.eye(9, 7, dtype=np.uint8), marks={TUCK: ("fill", (0, 0, 0))}, paper=(255, 255, 255), margin=10,
        lettered=False, pitch=(20.0, 20.0), line=1.0, ink=(150, 150, 150), bold=0, bold_line=1.0, adds=False,
        dash=(0.0, 0.0),
    )  # fmt: skip
    pixels = np.asarray(elsewhere.painted(np.random.default_rng(5), look)[0])
    middles = pixels[20:200:20, 20:160:20, 0]
    assert (middles < 60).tolist() == look.cells.astype(bool).tolist()
    assert elsewhere.rows_of(look.cells)[-1] == "TKKKKKK"


def test_each_outcome_is_told() -> None:
    case = plain_case()
    assert elsewhere.outcome(case) == ("right", "")
    wrong = [*case.rows[:-1], case.rows[-1].replace("T", "K", 1)]
    assert elsewhere.outcome(case._replace(rows=wrong))[0] == "silent"
    assert elsewhere.outcome(case._replace(rows=case.rows[1:]))[0] == "silent"
    guessed = case._replace(rows=wrong, ask=replace(case.ask, key=Key()))
    assert elsewhere.outcome(guessed)[0] == "warned"
    blank = png(drawn(["K"], Style("fill", 20)).crop((0, 0, 4, 4)))
    assert elsewhere.outcome(case._replace(data=blank))[0] == "refused"
    lines = list(elsewhere.table("x", Counter({("clean", "right"): 3, ("clean", "silent"): 1}), Counter()))
    assert lines[1].split() == ["clean", "4", "3", "1", "0", "0", "75.0"]


SAMPLE = ((0, "as drawn"), (4, "turned 3 degrees"), (4, "grain, sigma 20 of 255"), (7, "light falling off 50 %"))


def test_a_sample_of_our_own_charts_is_read_however_it_is_spoilt() -> None:
    tally = accuracy.Tally()
    for source, spoil in SAMPLE:
        accuracy.measure(accuracy.SOURCES[source], accuracy.SPOILT[spoil], range(1, 2), tally)
    assert (tally.found, tally.astray, tally.wrong) == (len(SAMPLE), 0, 0)


@pytest.mark.parametrize(("side", "lost"), [("left", (1, 0, 0, 0)), ("right", (0, 1, 0, 0)), ("bottom", (0, 0, 0, 1))])
@pytest.mark.parametrize("mark", ["fill", "dot", "cross"])
def test_cells_that_the_grid_leaves_out_are_seen_and_numbers_beside_it_are_not(
    side: str, lost: tuple[int, ...], mark: str
) -> None:
    style = Style(mark, 20, tuck=(0, 0, 0), lettered=True)
    field = field_in(np.asarray(drawn(plain_case().rows, style)), Ask(), "scan.png")
    assert field.lattice is not None and sides_with_marks_beyond(field) == field.lattice.beyond == ()
    left, right, top, bottom = lost
    across, down = field.lattice.across, field.lattice.down

    def shorter(axis: Axis, first: int, last: int) -> Axis:
        kept = slice(first, len(axis.lines) - last)
        return Axis(axis.lines[kept], axis.widths[kept])

    less = Lattice(shorter(across, left, right), shorter(down, top, bottom))
    assert sides_with_marks_beyond(replace(field, lattice=less)) == (side,)


READ_OTHERWISE = {
    90114: "a scan in which the marks of half the cells look like lines of cells half as high",
    92004: "a scan of dashed lines and marks beside which wide gaps look like bold lines",
    92007: "crosses whose arms end at a third of their cells, as lines would",
    92038: "characters of a terminal, two a cell, between which a seam shows",
    97038: "dotted lines, some of them wide where dots beside bold lines blur",
    97050: "hatched characters of a terminal, each twice as high as half of it",
}


@pytest.mark.browser
@pytest.mark.usefixtures("drawn_in")
@pytest.mark.parametrize("number", READ_OTHERWISE)
def test_of_grids_that_explain_much_the_one_is_found_that_all_of_the_picture_bears_out(number: int) -> None:
    assert elsewhere.outcome(elsewhere.one_case("tune", number)) == ("right", ""), READ_OTHERWISE[number]


@pytest.mark.parametrize("mark", ["fill", "dot", "cross"])
@pytest.mark.parametrize("cell_px", [9, 12])
def test_a_chart_of_repeats_is_not_taken_for_one_of_larger_cells(mark: str, cell_px: int) -> None:
    rows = [row * 6 for row in ("KTKKT", "KKTTK", "TKKKK", "KTKTT")] * 6
    picture = drawn(rows, Style(mark, cell_px, tuck=(0, 0, 0)))
    traced = trace(png(picture), "chart.png", Ask(key=Key(dark=TUCK), repeat="whole"))
    assert traced.whole.rows() == rows and not any("looks more like" in message.text for message in traced.messages)


def test_that_dark_knits_is_doubted_where_light_marks_stand_on_dark_cells() -> None:
    case = plain_case()
    screen = png(accuracy.Image.eval(drawn(case.rows, Style("cross", 24, tuck=(0, 0, 0))), lambda value: 255 - value))
    for key, severity in ((Key(dark=KNIT, light=TUCK), "warning"), (Key(dark=TUCK), "info")):
        (doubt,) = trace(screen, "screen.png", Ask(key=key, repeat="whole")).messages
        assert (doubt.code, doubt.severity) == ("T812", severity) and "exchange them" in str(doubt.advice)

"""Least work: what is offered is true, and equal to what was asked for."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stitchc.card.notes import numbers, out_of_work, settings
from stitchc.card.plan import one_of_each_pair, plan_card
from stitchc.card.work import clear_shift, directions, holes_of, least_work
from stitchc.chart import SLIP, TUCK, Chart
from stitchc.machines import load, load_text
from stitchc.messages import Span
from stitchc.notation import compile_text
from stitchc.notation.writer import write_chart
from stitchc.pattern import Stitch
from tests.charts import charts


def told(rows: list[str], machine: str = "card24-standard", asked: int | None = None) -> str:
    stitch = Stitch("ripple", Chart.from_rows(rows), Span("x.stitch", 1))
    return " ".join(least_work(plan_card(stitch, load(machine), asked), asked))


REPEATED = st.builds(
    lambda chart, across, up: chart.across(across).up(up), charts((4, 4)), st.integers(1, 3), st.integers(1, 3)
)


@given(REPEATED)
def test_the_smallest_repeat_makes_the_same_fabric(chart: Chart) -> None:
    small = chart.smallest_repeat()
    assert small.tiled(chart.width, chart.height) == chart
    for width in range(1, small.width):
        if chart.width % width == 0 and chart.in_work[:width].any():
            assert chart.tiled(width, small.height).tiled(chart.width, chart.height) != chart
    for height in range(1, small.height):
        if chart.height % height == 0:
            assert chart.tiled(small.width, height).tiled(chart.width, chart.height) != chart


@given(REPEATED)
def test_each_row_twice_gives_the_chart_again(chart: Chart) -> None:
    half = one_of_each_pair(chart)
    if half is not None:
        whole = chart.tiled(chart.width, 2 * half.height)
        assert np.array_equal(np.repeat(half.cells, 2, axis=0), whole.cells)


@given(REPEATED, st.integers(0, 40))
def test_directions_by_walking_the_ring(chart: Chart, begin: int) -> None:
    """Knit twice round, the carriage changing sides each pass."""
    for code in (TUCK, SLIP):
        ways = {n % 2 for n in range(2 * chart.height) if (chart.cells[n % chart.height] == code).any()}
        assert directions(chart, code) == ways
    moved = chart.started_at(begin)
    assert len(directions(moved, TUCK)) == len(directions(chart, TUCK))  # a start row cannot part or join them


@given(REPEATED)
def test_a_clear_shift_frees_both_ends(chart: Chart) -> None:
    columns = chart.width * 2
    shift = clear_shift(chart, columns)

    def clear(by: int) -> bool:
        return not chart.shifted(by).tiled(columns, chart.height).held[:, [0, -1]].any()

    if shift is None:
        assert not any(clear(by) for by in range(chart.width))
    else:
        assert clear(shift)
        assert all(not clear(by) for by in range(-abs(shift) + 1, abs(shift)))


@given(charts((6, 4)), st.integers(-7, 7), st.data())
def test_the_start_row_and_the_shift_that_are_offered_do_what_is_said(
    chart: Chart, shift: int, data: st.DataObject
) -> None:
    """Whatever is set already, the values are to be typed as they stand."""
    start_row = data.draw(st.integers(1, chart.height))
    machine = load_text('based_on = "card24-standard"\n[reader]\nwidth = 60\n[card]\nsheet_width_mm = 400\n', "x.toml")
    stitch = Stitch("a", chart, Span("x", 1))
    if 60 % chart.width:
        return
    words = " ".join(least_work(plan_card(stitch, machine, start_row=start_row, shift=shift)))
    if offered := re.search(r"`(stitch a-moved = a shifted \d+(?: left)?)`.* \(--shift (-?\d+) moves", words):
        pattern = compile_text(f"{write_chart('a', chart)}\n{offered[1]}\n").pattern
        assert pattern is not None
        moved = plan_card(pattern.stitches["a-moved"], machine, start_row=start_row)
        card = plan_card(stitch, machine, start_row=start_row, shift=int(offered[2]))
        assert not card.chart.held[:, [0, -1]].any() and (card.holes == moved.holes).all()
    elif "Without --shift" in words:
        assert shift and not plan_card(stitch, machine).chart.held[:, [0, -1]].any()
    if offered := re.search(
        r"All (tuck|slip)(?: and slip)? passes [^.]*\(at the right with --start-row (\d+)\)", words
    ):
        card = plan_card(stitch, machine, start_row=int(offered[2]), shift=shift)
        assert directions(card.unit, TUCK if offered[1] == "tuck" else SLIP) == {0}


@pytest.mark.parametrize("polarity", ["knit", "hold"])
@given(chart=charts())
def test_the_holes_that_are_promised_are_those_of_the_card(polarity: str, chart: Chart) -> None:
    machine = load_text(f'based_on = "card24-standard"\n[reader]\nwidth = 72\nmark_means = "{polarity}"\n'
                        "[card]\nsheet_width_mm = 400\n", "x.toml")  # fmt: skip
    if 72 % chart.width:
        return
    card = plan_card(Stitch("a", chart, Span("x", 1)), machine)
    assert holes_of(chart, card.machine) == (card.rows, card.hole_count)


def test_what_is_offered() -> None:
    assert "648 holes to punch in 36 rows, and 96 in the joining rows." in told(["KT", "KK", "TK", "KK"])
    assert "All tuck passes go the same way" in told(["KT", "KK"])
    assert "right to left if the carriage stands at the right before row 1." in told(["KT", "KK"]), (
        "also where a pass before it selects"
    )
    assert "set to tuck all through; if your carriage has a setting for each direction, set only this one." in told(
        ["KT", "KK"]
    )
    assert settings(plan_card(Stitch("a", Chart.from_rows(["KT", "KK"]), Span("x", 1)), load("card24-standard"))) == (
        "Set to tuck, all through."
    ), "the card's own words agree"
    assert "all through" not in told(["KT", "KK", "KS", "KK"])
    assert "--start-row 2" in told(["KK", "KT"])
    assert "the same way" not in told(["KT", "KT", "KK", "KK"])
    assert "odd number" in told(["KT", "KT", "KK"])
    both = told(["KT", "KK", "KS", "KK"])
    assert "All tuck and slip passes go the same way" in both
    # a repeat that is written out needlessly: 40 rows where 36 would do
    assert "really 2 by 4: written like that, 36 rows are enough, with 648 holes (72 fewer)" in told(
        ["KT", "KK", "TK", "KK"] * 2
    )
    assert "Rows come in equal pairs" in told(["TK", "TK", "KK", "KK", "KT", "KT", "KK", "KK"])
    assert "--shift 1" in told(["TKKK", "KKKK"]) and "--shift" not in told(["KTKK"])
    assert "has a hold setting for each direction" not in told(["KT", "KK"])


def test_a_machine_that_holds_in_one_direction() -> None:
    machine = load_text('based_on = "card24-standard"\n[carriage]\nhold_directions = "one"\n', "one.toml")
    stitch = Stitch("ripple", Chart.from_rows(["KT", "KK"]), Span("x.stitch", 1))
    assert "has a hold setting for each direction" in " ".join(least_work(plan_card(stitch, machine)))


@pytest.mark.parametrize(
    ("rows", "mirrored", "columns", "words"),
    [
        (["KTK-", "KKK-"], False, (4, 8, 12, 16, 20, 24), "columns 4, 8, 12, 16, 20, 24 (L9, L5, L1, R4, R8, R12,"),
        (["KTK-", "KKK-"], True, (1, 5, 9, 13, 17, 21), "columns 1, 5, 9, 13, 17, 21 (R12, R8, R4, L1, L5, L9,"),
        (["-" + "K" * 23], False, (1,), "The needle of column 1 (L12, and so on outward) stands empty"),
        (["K-" * 12], False, tuple(range(2, 25, 2)), "(L11, L9, L7, …, R12, and so on outward)"),
    ],
)
def test_needles_out_of_work_on_a_card(rows: list[str], mirrored: bool, columns: tuple[int, ...], words: str) -> None:
    """They are punched like those that knit, and are named with their columns."""
    own = f'based_on = "card24-standard"\n[reader]\nmirrored = {str(mirrored).lower()}\n'
    card = plan_card(Stitch("ripple", Chart.from_rows(rows), Span("x.stitch", 1)), load_text(own, "own.toml"))
    assert card.columns_out == columns
    assert card.holes[:, np.array(columns) - 1].all()
    assert words in (out_of_work(card) or "")
    assert "in a box" in numbers(card)


def test_a_card_read_twice_that_saves_nothing_says_why() -> None:
    """A card has at least 36 rows: half of 60 does not close to a ring, and half of 120 does."""
    rows = ["KT", "KT", "KK", "KK", "TK", "TK"]
    for times, why in ((10, True), (20, False)):
        stitch = Stitch("ripple", Chart.from_rows(rows * times), Span("x.stitch", 1))
        words = " ".join(least_work(plan_card(stitch, load("card24-standard"), each_row_twice=True)))
        assert ("saves no punching here: a card has at least 36 rows" in words) == why

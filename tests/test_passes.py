"""Lowering against a simulated bed, hand arithmetic, and the handbooks' figures."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stitchc.bed import Needles, needle_position
from stitchc.chart import Chart
from stitchc.document import Document, Rows
from stitchc.machines import SHIPPED, Machine, load, load_text
from stitchc.messages import Message, Span
from stitchc.passes import (
    Standing,
    beyond_the_carriage,
    columns_on,
    cost,
    default_needles,
    less_than_a_repeat,
    lever_changes,
    lower,
    unfit,
    ways,
)
from stitchc.pattern import Side, Stitch
from stitchc.sheet import Sheet, instruct, to_json
from tests.bed_simulation import expected, knit
from tests.charts import ONE_PASS, charts

HAND = load("hand-standard")
ONE_WAY = replace(HAND, hold_directions="each")

# Structures as teaching pages give them, first knitted row first (common practice; names differ by country).
ONE_ROW_STAGGERED = ["TK", "KK", "KT", "KK"]
TWO_ROW_SWAPPED = ["TK", "TK", "KK", "KK", "KT", "KT", "KK", "KK"]
TWO_ROW_COLUMNS = ["KT", "KT", "KK"]
CROSS_TUCK = ["KT", "TK"]
CROSS_MISS = ["KS", "SK"]


def sheet_of(
    chart: Chart, needles: Needles, rows: int, carriage: Side, edge: int, machine: Machine = HAND
) -> dict[str, object]:
    passes = lower(chart, machine, needles, rows, carriage, edge)
    told = Rows(instruct(passes, machine, needles), needles, carriage)
    document: dict[str, object] = json.loads(
        to_json([Sheet("x", machine, needles, tuple(passes), Document("x", "", rows=told))])
    )
    return document


sides = st.sampled_from(["right", "left"])


@given(charts((9, 7), ONE_PASS), st.integers(1, 45), st.integers(0, 4), sides, st.integers(1, 25), st.integers(-5, 5))
@settings(max_examples=200, deadline=None)
def test_a_simulated_bed_knits_what_the_chart_says(
    chart: Chart, count: int, edge: int, carriage: Side, rows: int, off_centre: int
) -> None:
    count = max(count, 2 * edge + 1)
    centred = Needles.centred(count)
    needles = Needles(centred.first + off_centre, centred.last + off_centre)
    document = sheet_of(chart, needles, rows, carriage, edge)
    assert knit(document, carriage) == expected(chart.rows(), count, edge, rows)
    empty = set(document["out_of_work"])  # type: ignore[call-overload]
    steps: list[dict[str, object]] = document["passes"]  # type: ignore[assignment]
    assert [step["chart_row"] for step in steps] == [k % chart.height + 1 for k in range(rows)]
    lists = ("held", "bring_out", "push_back")
    assert not any(empty.intersection(step[name]) for step in steps for name in lists)  # type: ignore[call-overload]


@given(charts((9, 7), ONE_PASS), sides, st.integers(0, 12), st.integers(1, 12))
@settings(max_examples=100, deadline=None)
def test_going_on_where_a_section_ended_is_the_same_as_not_stopping(
    chart: Chart, carriage: Side, first: int, second: int
) -> None:
    needles = Needles.centred(13)
    whole = lower(chart, HAND, needles, first + second, carriage, 1)
    standing = Standing(carriage)
    start = lower(chart, HAND, needles, first, standing=standing)
    rest = lower(chart, HAND, needles, second, standing=standing, first_chart_row=first % chart.height + 1)
    assert start + rest == whole


@pytest.mark.parametrize(
    ("rows", "knitted", "moves"),
    [
        # 24 needles less 2 edge needles: 11 columns of each kind.
        (ONE_ROW_STAGGERED, 40, 20 * 11),  # every tuck row brings 11 out, every plain row lets them knit back
        (TWO_ROW_SWAPPED, 40, 10 * 11),  # a hold over two rows costs its moves once
        (TWO_ROW_COLUMNS, 30, 10 * 11),
        (CROSS_TUCK, 30, 11 + 29 * 22),  # never a plain row: 11 back and 11 out each time
        (CROSS_MISS, 30, 11 + 29 * 22),
        (["KK", "KK"], 30, 0),
    ],
)
def test_moves_by_hand_arithmetic(rows: list[str], knitted: int, moves: int) -> None:
    passes = lower(Chart.from_rows(rows), HAND, Needles.centred(24), knitted, "right", 1)
    assert cost(passes, HAND).moves == moves


def test_settings_follow_the_needles_in_work_not_the_chart() -> None:
    chart = Chart.from_rows(["KKKT", "KKKS"])
    narrow = lower(chart, HAND, Needles.centred(5), 2, "right", 1)  # columns 1 to 3 between the edges
    assert [each.setting for each in narrow] == ["plain", "plain"]
    wide = lower(chart, HAND, Needles.centred(6), 2, "right", 1)
    assert [each.setting for each in wide] == ["tuck", "slip"]


def test_a_row_of_both_names_the_needles_that_take_no_yarn() -> None:
    (only,) = lower(Chart.from_rows(["KTS"]), HAND, Needles(4, 6), 1, "right", 0)
    assert (only.setting, only.held, only.slipped) == ("mixed", (5, 6), (6,))


# -- the carriage's setting -----------------------------------------------------------------------------------------


def changes(rows: list[str], machine: Machine, carriage: Side = "right", count: int = 24) -> int:
    passes = lower(Chart.from_rows(rows), machine, Needles.centred(24), count, carriage, 1)
    return cost(passes, machine).lever_changes


def test_a_hold_in_one_direction_is_set_once_where_all_tucks_fall_that_way() -> None:
    # With hold set on one side only, needles are held going one way and knit back going the other: common practice.
    assert changes(ONE_ROW_STAGGERED, ONE_WAY) == 1
    assert changes(ONE_ROW_STAGGERED, HAND) == 24
    (first, *others) = lever_changes(
        lower(Chart.from_rows(ONE_ROW_STAGGERED), ONE_WAY, Needles.centred(24), 8, "left", 1), ONE_WAY
    )
    assert first is not None and (first.to, first.direction) == ("tuck", "left to right")
    assert others == [None] * 7


def test_a_setting_stays_as_long_as_it_serves() -> None:
    # hold, keep, cancel, (nothing held: nothing to set) for each four rows
    assert changes(TWO_ROW_SWAPPED, HAND) == 2 * (24 // 4)
    assert changes(CROSS_TUCK, HAND) == 1
    # a card selects all needles on a plain row, so that tuck may stay set
    assert changes(ONE_ROW_STAGGERED, load("card24-standard")) == 1
    assert changes(["KT", "KS"], load("card24-standard")) == 24


def test_a_reader_is_set_for_a_row_of_tuck_and_slip_too() -> None:
    passes = lower(Chart.from_rows(["KKT", "KTS", "KKK", "KKT"]), load("card24-standard"), Needles.centred(24), 4)
    changed = lever_changes(passes, load("card24-standard"))
    assert [change and change.to for change in changed] == ["tuck", "mixed", None, "tuck"]


@pytest.mark.parametrize("side", ["right", "left"])
def test_a_side_is_told_by_its_word_whoever_spelt_it(side: Side) -> None:
    spelt: Side = "".join(list(side))  # type: ignore[assignment]
    needles = Needles.centred(6)
    assert lower(Chart.plain(1, 1), HAND, needles, 3, spelt) == lower(Chart.plain(1, 1), HAND, needles, 3, side)


def test_a_profile_of_ones_own_holds_in_one_direction() -> None:
    own = load_text('based_on = "hand-standard"\n[carriage]\nhold_directions = "each"\n', "own.toml")
    assert changes(ONE_ROW_STAGGERED, own) == changes(ONE_ROW_STAGGERED, ONE_WAY) == 1


@given(charts((9, 7), ONE_PASS), sides, st.booleans())
@settings(max_examples=100, deadline=None)
def test_settings_knit_what_was_meant(chart: Chart, carriage: Side, one_way: bool) -> None:
    """Follow the changes alone: a held needle stays only if hold is set for this direction, else it knits back."""
    machine = ONE_WAY if one_way else HAND
    passes = lower(chart, machine, Needles.centred(12), 20, carriage, 1)
    set_for: set[object] = set()
    out: set[int] = set()
    for each, change in zip(passes, lever_changes(passes, machine), strict=True):
        way = each.direction if one_way else None
        if change is not None:
            assert change.direction == way
            set_for = set_for - {way} if change.to == "plain" else set_for | {way}
        out = (out | set(each.bring_out)) - set(each.push_back)
        if way not in set_for:
            out = set()
        assert tuple(sorted(out)) == each.held


# -- where the repeat lies ------------------------------------------------------------------------------------------


def test_the_card_column_of_a_needle() -> None:
    # A 24-wide repeat lies 12 needles each side of 0 (common practice): L12 is column 1, R12 24, R13 1, L13 24.
    machine = load("card24-standard")
    chart = Chart.plain(24, 1)
    needles = Needles(needle_position("L13"), needle_position("R13"))
    columns = columns_on(chart, machine, needles, 0) + 1
    of = {
        name: int(columns[needle_position(name) - needles.first]) for name in ("L12", "R12", "R13", "L13", "L1", "R1")
    }
    assert of == {"L12": 1, "R12": 24, "R13": 1, "L13": 24, "L1": 12, "R1": 13}


@pytest.mark.parametrize(
    ("edge", "columns"), [(0, [0, 1, 2, 0, 1, 2]), (1, [-1, 0, 1, 2, 0, -1]), (2, [-1, -1, 0, 1, -1, -1])]
)
def test_the_columns_of_a_hand_bed_begin_after_the_edge(edge: int, columns: list[int]) -> None:
    assert columns_on(Chart.plain(3, 1), HAND, Needles(-4, 1), edge).tolist() == columns


def test_a_card_moves_the_needles_itself() -> None:
    machine = load("card24-standard")
    passes = lower(Chart.from_rows(CROSS_TUCK), machine, Needles.centred(24), 10, "right", 1)
    assert all(each.held and not each.bring_out and not each.push_back for each in passes)
    assert cost(passes, machine).moves == 0


def test_needles_between_letters_and_numbers() -> None:
    # L98-R99 is 98 left and 99 right, 197 needles: the cast-on of the page "Tuck punchcard afghans"; the sum is ours.
    assert Needles.parse("L98-R99").count == 197


@pytest.mark.parametrize(("width", "count"), [(1, 24), (2, 24), (3, 26), (4, 26), (7, 30), (24, 26), (100, 102)])
def test_default_needles_are_whole_repeats_and_the_edges(width: int, count: int) -> None:
    assert default_needles(Chart.plain(width, 1), 1).count == count


@pytest.mark.parametrize(
    ("width", "edge", "count"), [(1, 0, 24), (5, 0, 25), (5, 2, 24), (7, 2, 25), (24, 3, 30), (3, 12, 27)]
)
def test_default_needles_with_other_edges(width: int, edge: int, count: int) -> None:
    """The edge needles count among the 24: whole repeats of 5 between two needles at each end are 20 and 4."""
    assert default_needles(Chart.plain(width, 1), edge).count == count


def test_ways_are_true_and_the_first_is_the_cheapest() -> None:
    chart = Chart.from_rows(["KTKKT", "KKKKK", "TKKKK"])
    found = ways(chart, HAND, Needles.centred(24), 12, "right", 1)
    assert len(found) == 10
    for way in found:
        # against the simulated bed: its moves for this way are those that were said
        document = sheet_of(chart.shifted(way.shift), Needles.centred(24), 12, way.carriage, 1)
        knit(document, way.carriage)
        assert document["totals"] == {"rows": 12, "moves": way.cost.moves}
    assert found[0].cost.moves == min(way.cost.moves for way in found)


# -- what cannot be done --------------------------------------------------------------------------------------------


def codes(rows: list[str], machine: Machine, needles: str) -> list[str]:
    stitch = Stitch("x", Chart.from_rows(rows), Span("x.stitch", 1))
    return [message.code for message in unfit(stitch, machine, Needles.parse(needles))]


def test_unfit() -> None:
    assert codes(["KT"], HAND, "200") == []
    assert codes(["KT"], HAND, "201") == ["M303"]
    assert codes(["KT"], HAND, "R90-R101") == ["M303"]
    assert codes(["KS"], replace(HAND, slip="none"), "24") == ["M305"]
    assert codes(["KT"], replace(HAND, tuck="none"), "24") == ["M305"]
    assert codes(["KTKKK"], load("card24-standard"), "24") == ["M301"]
    assert codes(["KTKK"], load("card24-standard"), "24") == []


def test_another_way_of_holding_is_offered_only_where_the_machine_has_it() -> None:
    stitch = Stitch("x", Chart.from_rows(["KS"]), Span("x.stitch", 1))
    (one,) = unfit(stitch, replace(HAND, slip="none"), Needles.parse("24"))
    (neither,) = unfit(stitch, replace(HAND, slip="none", tuck="none"), Needles.parse("24"))
    assert "x with T for S" in str(one.advice) and "T for S" not in str(neither.advice)


def test_more_needles_than_there_are_lead_to_no_part_of_a_repeat() -> None:
    """A repeat that is written wider than it is: not fewer needles than it has, but the repeat as it is."""
    wide = Stitch("x", Chart.from_rows(["KT" * 120]), Span("x.stitch", 1))
    (message,) = unfit(wide, HAND, Needles.parse("202"))
    assert message.code == "M303" and "really 2 needles wide" in str(message.advice)
    (part,) = less_than_a_repeat(wide, HAND, Needles.parse("200"), 1)
    assert part.code == "M306" and "really 2 needles wide" in str(part.advice)


@pytest.mark.parametrize("name", SHIPPED)
def test_every_shipped_machine_can_be_lowered_for(name: str) -> None:
    machine = load(name)
    document = sheet_of(Chart.from_rows(["KT", "KK", "KS"]), Needles.centred(20), 9, "left", 2, machine)
    assert len(document["passes"]) == 9  # type: ignore[arg-type]


habits = st.sampled_from([{}, {"slip_by": "rest"}, {"yarn_at_other_side": "free pass"}])


@given(charts((9, 7), ONE_PASS), st.integers(1, 30), sides, st.booleans(), habits)
@settings(max_examples=60, deadline=None)
def test_the_cost_of_every_way_is_that_of_its_passes(
    chart: Chart, rows: int, carriage: Side, one_way: bool, habits: dict[str, Any]
) -> None:
    machine = replace(ONE_WAY if one_way else HAND, **habits)
    chart = replace(chart, yarns=tuple("aab"[row % 3] for row in range(chart.height)))
    for way in ways(chart, machine, Needles.centred(11), rows, carriage, 1):
        passes = lower(chart.shifted(way.shift), machine, Needles.centred(11), rows, way.carriage, 1)
        assert way.cost == cost(passes, machine)


def test_a_pass_knows_where_the_carriage_stood_and_whether_the_chart_has_a_pattern() -> None:
    one, two = lower(Chart.from_rows(["KT", "KK"]), HAND, Needles.centred(6), 2, "right", 1)
    assert (one.start_side, one.end_side, two.start_side, two.end_side) == ("right", "left", "left", "right")
    assert one.patterned and two.patterned
    assert not lower(Chart.plain(2, 2), HAND, Needles.centred(6), 1, "right", 1)[0].patterned


def test_ways_that_hold_in_other_rows_are_set_otherwise() -> None:
    """One needle between the edges: the shift decides which of the two rows holds it, and it is the same needle."""
    chart, needles = Chart.from_rows(["TKKK", "KKTK"]), Needles.centred(3)
    for way in ways(chart, HAND, needles, 3, "right", 1):
        assert way.cost == cost(lower(chart.shifted(way.shift), HAND, needles, 3, way.carriage, 1), HAND)


def test_a_shift_that_moves_the_tucks_off_the_needles_costs_nothing() -> None:
    chart = Chart.from_rows(["KKKKKT", "KKKKKK"])  # 3 needles between the edges: half of the shifts have no tuck there
    found = {(w.carriage, w.shift): w.cost for w in ways(chart, HAND, Needles.centred(5), 4, "right", 1)}
    assert {shift: (cost_.moves, cost_.lever_changes) for (side, shift), cost_ in found.items() if side == "left"} == {
        0: (0, 0), 1: (2, 4), 2: (2, 4), 3: (2, 4), 4: (0, 0), 5: (0, 0)
    }  # fmt: skip


def test_of_equally_cheap_ways_the_nearest_to_what_was_asked_comes_first() -> None:
    found = ways(Chart.from_rows(["KKKKT", "KKKKK"]), HAND, Needles.centred(22), 4, "left", 1)
    assert len({way.cost for way in found}) == 1
    assert [(way.carriage, way.shift) for way in found[:5]] == [
        ("left", 0), ("left", 1), ("left", 4), ("left", 2), ("left", 3)
    ]  # fmt: skip
    found = ways(Chart.from_rows(["KKKKT", "KKKKK"]), HAND, Needles.centred(22), 4, "right", 1)
    assert [way.carriage for way in found] == ["right"] * 5 + ["left"] * 5


def test_a_shift_to_the_left_is_as_near_as_one_to_the_right() -> None:
    asked: Side = "".join(["le", "ft"])  # type: ignore[assignment]  # the word, not the object
    found = ways(Chart.from_rows(["KKKKKT", "KKKKKK"]), HAND, Needles.centred(26), 4, asked, 1)
    assert len({way.cost for way in found}) == 1
    assert [(way.carriage, way.shift) for way in found[:7]] == [
        ("left", 0), ("left", 1), ("left", 5), ("left", 2), ("left", 4), ("left", 3), ("right", 0)
    ]  # fmt: skip


def test_where_a_card_selects_only_the_side_is_to_be_chosen() -> None:
    found = ways(Chart.from_rows(["KKKT", "KKKK"]), load("card24-standard"), Needles.centred(24), 4, "left", 1)
    assert [(way.carriage, way.shift, way.cost.moves) for way in found] == [("left", 0, 0), ("right", 0, 0)]


def test_what_is_set_by_hand_is_named_for_the_row() -> None:
    def first(rows: list[str]) -> object:
        (change,) = lever_changes(lower(Chart.from_rows(rows), HAND, Needles.centred(8), 1, "right", 1), HAND)
        return change and change.to

    assert [first(["KT"]), first(["KS"]), first(["KTS"]), first(["KK"])] == ["tuck", "slip", "tuck", None]


def test_panels_for_work_wider_than_the_bed() -> None:
    stitch = Stitch("x", Chart.plain(1, 1), Span("x.stitch", 1))
    (message,) = unfit(stitch, HAND, Needles.centred(401))
    assert message.advice == "--needles 200, or knit it in 3 panels."


@pytest.mark.parametrize(
    ("needles", "text", "advice"),
    [
        ("200", None, None),
        ("L100-R1", None, None),
        ("L1-R100", None, None),
        ("201", "201 needles are more than the 200 of `hand-standard`.", "--needles 200, or knit it in 2 panels."),
        ("400", "400 needles are more than the 200 of `hand-standard`.", "--needles 200, or knit it in 2 panels."),
        ("R90-R101", "The needles `R90-R101` reach past the bed of `hand-standard` (L100 to R100).", "--needles 12"),
        ("L101-R1", "The needles `L101-R1` reach past the bed of `hand-standard` (L100 to R100).", "--needles 102"),
        ("R1-R200", "The needles `R1-R200` reach past the bed of `hand-standard` (L100 to R100).", "--needles 200"),
    ],
)
def test_needles_that_the_bed_has_not(needles: str, text: str | None, advice: str | None) -> None:
    stitch = Stitch("x", Chart.plain(1, 1), Span("x.stitch", 1))
    found = unfit(stitch, HAND, Needles.parse(needles))
    assert [(m.code, m.severity, m.text, m.advice) for m in found] == (
        [("M303", "error", text, advice)] if text else []
    )


@pytest.mark.parametrize(
    ("count", "edge", "width", "stand", "advice"),
    [
        (24, 1, 22, None, ""),
        (24, 0, 24, None, ""),
        (24, 1, 5, None, ""),
        (24, 0, 5, None, ""),
        (2, 1, 5, "only 0 needles stand between the edges", "--needles 7"),
        (24, 1, 23, "only 22 needles stand between the edges", "--needles 25"),
        (26, 2, 23, "only 22 needles stand between the edges", "--needles 27"),
        (3, 1, 2, "only 1 needle stands between the edges", "--needles 4"),
        (5, 0, 8, "only 5 are in work", "--needles 8"),
        (1, 0, 2, "only 1 is in work", "--needles 2"),
        (24, 1, 198, "only 22 needles stand between the edges", "--needles 200"),
        (24, 1, 199, "only 22 needles stand between the edges", "A narrower repeat, or a machine with at least 201 needles."),  # noqa: E501
    ],
)  # fmt: skip
def test_less_than_a_repeat_in_work(count: int, edge: int, width: int, stand: str | None, advice: str) -> None:
    stitch = Stitch("dune", Chart.from_rows(["T" + "K" * (width - 1)]), Span("x.stitch", 3))
    found = less_than_a_repeat(stitch, HAND, Needles.centred(count), edge)
    if stand is None:
        assert found == []
    else:
        text = f"`dune` is {width} needles wide, but {stand}: a part of the repeat is never knitted."
        assert found == [Message("M306", "warning", text, Span("x.stitch", 3), advice)]


def test_what_is_unsaid_of_the_edge_is_one_needle_at_each_end() -> None:
    chart, needles = Chart.from_rows(["TT"]), Needles(0, 5)
    assert lower(chart, HAND, needles, 1)[0].held == (1, 2, 3, 4)
    assert lower(chart, HAND, needles, rows=1, carriage="left", edge=2)[0].held == (2, 3)
    with pytest.raises(TypeError):
        lower(chart, HAND, needles, 1, "right", 1, (0,))  # type: ignore[call-arg]


def test_passes_costs_and_ways_are_values() -> None:
    chart, needles = Chart.from_rows(["KT"]), Needles.centred(8)
    passes = lower(chart, HAND, needles, 2)
    (first, _) = lever_changes(passes, HAND)
    way = ways(chart, HAND, needles, 2, "right", 1)[0]
    assert first is not None
    for value, name in ((passes[0], "row"), (first, "to"), (way, "shift"), (way.cost, "moves")):
        assert value == replace(value) and hash(value) == hash(replace(value))
        with pytest.raises(AttributeError):
            setattr(value, name, 7)


@pytest.mark.parametrize(
    ("rows", "yarns", "habits", "text", "advice"),
    [
        (["KT", "TK"], "", {"hold_directions": "one"}, "Row 1 and row 2 hold needles in different", "an even number"),
        (["KT", "KK"], "", {"hold_directions": "one"}, "", ""),
        (["KS", "SK"], "", {"hold_directions": "one", "slip_by": "rest"}, "", ""),
        (["KT", "KS", "KK"], "", {"slip_by": "rest"}, "Row 2 slips L1, which holds a tuck", "lifting"),
        (["KT", "KK", "KS"], "", {"slip_by": "rest"}, "", ""),
        (["KS", "KT", "KK"], "", {"slip_by": "rest"}, "", ""),
        (["KT", "KK", "KK", "KK"], "aabb", {"hold_directions": "one", "yarn_at_other_side": "free pass"}, "", ""),
        (
            ["KT", "KK", "KK"],
            "aba",
            {"hold_directions": "one", "yarn_at_other_side": "free pass"},
            "Row 1 and the free pass before row 5 hold needles",
            '"cut" or "carry"',
        ),
        (["KT", "KK", "KK"], "aba", {"hold_directions": "one", "yarn_at_other_side": "carry"}, "", ""),
    ],
)
def test_what_a_carriage_cannot_do_is_an_error(
    rows: list[str], yarns: str, habits: dict[str, str], text: str, advice: str
) -> None:
    """Counted out on paper, row by row, the carriage first at the right."""
    table = "".join(f'{key} = "{value}"\n' for key, value in habits.items())
    machine = load_text(f'based_on = "hand-standard"\n[carriage]\n{table}', "own.toml")
    passes = lower(Chart.from_rows(rows, list(yarns) or None), machine, Needles(-2, 1), 6, edge=0)
    found = beyond_the_carriage(passes, machine, None)
    assert [message.code for message in found] == (["M305"] if text else [])
    assert all(text in message.text and advice in str(message.advice) for message in found)

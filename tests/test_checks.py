"""The K checks: against cited structures and textbook limits, and against a machine followed pass by pass."""

from __future__ import annotations

import itertools
import re
import time
import tracemalloc
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stitchc.bed import Needles
from stitchc.chart import SLIP, TUCK, Chart
from stitchc.checks import check, check_pattern, edge_tucks
from stitchc.machines import Limit, Limits, Machine, load
from stitchc.messages import Message, Span, render
from stitchc.notation import compile_text
from stitchc.pattern import Pattern, Stitch

pytestmark = pytest.mark.filterwarnings("error")  # numpy would warn where a knitter reads
HERE = Span("shore.stitch", 3, 8, 5)


def stitch(*rows: str, yarns: list[str | None] | None = None, spans: bool = False) -> Stitch:
    chart = Chart.from_rows(list(rows), yarns)
    places = tuple(Span("shore.stitch", 4 + row, 8, len(text)) for row, text in enumerate(rows)) if spans else None
    return Stitch("shore", chart, HERE, places)


def machine(**limits: object) -> Machine:
    """The standard hand bed with other limits."""
    shipped = load("hand-standard")
    return replace(shipped, limits=replace(shipped.limits, **limits))  # type: ignore[arg-type]


def found(messages: list[Message]) -> dict[str, str]:
    """Code to severity; each code at most once."""
    assert len({message.code for message in messages}) == len(messages)
    return {message.code: message.severity for message in messages}


def text_of(code: str, messages: list[Message]) -> str:
    return next(message.text for message in messages if message.code == code)


NONE = Limit()
OPEN = Limits(NONE, NONE, NONE, NONE, None, "error")
"""No limit on anything that is counted."""


def longest(one: Stitch, limit: str) -> int:
    """The highest count of that kind in the stitch, found by lowering its limit until it is told."""
    told = check(one, machine(**{**vars(OPEN), limit: Limit(warn_from=1)}))
    figures = [re.search(r"(\d+) (?:times|needle)", m.text) for m in told if m.code in ("K202", "K203", "K204", "K209")]
    return max((int(figure[1]) for figure in figures if figure), default=0)


# -- cited structures -------------------------------------------------------------------------------------------

# Smallest repeats, first knitted row first, and what a hand count round the repeat gives: side by side, in succession,
# cells that do not knit, repeat cells.
CITED = {
    # double cross tuck: "What is Pique Fabric", needle by needle, all four courses
    "M1 double cross tuck": (["KT", "KT", "TK", "TK"], 1, 2, 4),
    # one-row tuck, staggered, and two-row tuck with two plain rows, both by hand: "Dishcloths manually tucked"
    "M2 one-row tuck": (["TK", "KK", "KT", "KK"], 1, 1, 2),
    "M3 two-row tuck": (["TK", "TK", "KK", "KK", "KT", "KT", "KK", "KK"], 1, 2, 4),
    # tuck columns: "My Favorite Dish Cloth Pattern", printed as x and o
    "M4 tuck columns": (["KT", "KT", "KK"], 1, 2, 2),
    # every other needle, alternated each row: "Lesson 3 Slip Stitch"
    "M7 alternating slip": (["KS", "SK"], 1, 1, 2),
}


@pytest.mark.parametrize("name", CITED)
def test_cited_structures_have_their_runs_and_no_message(name: str) -> None:
    rows, side_by_side, in_succession, not_knit = CITED[name]
    slip = "S" in "".join(rows)
    for start, shift in itertools.product(range(len(rows)), range(2)):
        chart = Chart.from_rows(rows).started_at(start).shifted(shift)
        one = Stitch("shore", chart, HERE)
        assert longest(one, "float_needles" if slip else "tucks_side_by_side") == side_by_side
        assert longest(one, "slips_in_succession" if slip else "tucks_in_succession") == in_succession
        assert int((chart.cells != 0).sum()) == not_knit
        assert check(one) == []


def test_a_count_that_does_not_join_the_ends_would_miss_one() -> None:
    """M1 begun one row later: two tucks of one needle, one in the last row and one in the first."""
    assert longest(stitch("KT", "TK", "TK", "KT"), "tucks_in_succession") == 2


@pytest.mark.parametrize(
    ("name", "rows", "blank_cells"),
    [("M1 double cross tuck", 36, 432), ("M2 one-row tuck", 36, 216), ("M4 tuck columns", 36, 288)],
)
def test_blank_cells_of_a_24_wide_card(name: str, rows: int, blank_cells: int) -> None:
    """Shares of 4/8, 2/8 and 2/6 of 24 x 36 cells: arithmetic."""
    card = Chart.from_rows(CITED[name][0]).tiled(24, rows)
    assert int((~card.knits).sum()) == blank_cells


def test_mosaic_rule() -> None:
    """Each selection is used for two rows and the yarn changes every two rows ("Slip Stitch Instructions")."""
    assert check(stitch("KS", "KS", "SK", "SK", yarns=["foam", "foam", "sand", "sand"])) == []


# -- limits of the textbooks ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("tucks", "severity"), [(3, None), (4, "warning"), (5, "error"), (9, "error")])
def test_a_hook_holds_up_to_four_tucks(tucks: int, severity: str | None) -> None:
    """Spencer, Knitting Technology, 3rd ed., p. 96: up to four in normal conditions."""
    messages = check(stitch(*["TK"] * tucks, "KK"))
    assert found(messages) == ({"K202": severity} if severity else {})
    if severity:
        assert f"tucks {tucks} times before it knits again (rows 1 to {tucks})" in text_of("K202", messages)


@pytest.mark.parametrize(("width", "severity"), [(1, None), (2, "warning"), (3, "error"), (6, "error")])
def test_no_more_than_two_tucks_side_by_side(width: int, severity: str | None) -> None:
    """Spencer, p. 96: no more than two is the general limit."""
    messages = check(stitch("K" + "T" * width, "K" * (width + 1)))
    assert found(messages) == ({"K203": severity} if severity else {})


@pytest.mark.parametrize(("slips", "severity"), [(4, None), (5, "warning"), (12, "warning")])
def test_a_needle_slips_up_to_four_times(slips: int, severity: str | None) -> None:
    """Up to four successive floats on one needle: "The float stitch", a teaching page after Spencer."""
    assert found(check(stitch(*["SK"] * slips, "KK"))) == ({"K209": severity} if severity else {})


@pytest.mark.parametrize(("width", "severity"), [(5, None), (6, "warning"), (7, "warning")])
def test_floats_over_five_needles(width: int, severity: str | None) -> None:
    """Common practice: not over five stitches."""
    assert found(check(stitch("K" + "S" * width, "K" * (width + 1)))) == ({"K204": severity} if severity else {})


def test_a_float_is_an_error_only_where_the_profile_says_so() -> None:
    """Six needles are usually the most: "The float stitch", a teaching page after Spencer."""
    seven, strict = stitch("KSSSSSSS", "K" * 8), machine(float_needles=Limit(6, 7))
    assert found(check(seven, strict)) == {"K204": "error"}
    assert found(check(stitch("KSSSSSS", "K" * 7), strict)) == {"K204": "warning"}


@pytest.mark.parametrize(("pitch_mm", "needles"), [(3.6, 6), (4.5, 5), (6.5, 3), (7, 3), (9, 2), (5, 5)])
def test_25_mm_in_needles(pitch_mm: float, needles: int) -> None:
    """25 mm are 6.9 needles of 3.6 mm, 5.6 of 4.5, 3.8 of 6.5, 3.6 of 7, 2.8 of 9: arithmetic; at 5 mm just five."""
    bed = replace(machine(float_needles=NONE, slips_in_succession=NONE), pitch_mm=pitch_mm)
    assert check(stitch("K" + "S" * needles, "K" * (needles + 1)), bed) == []
    too_long = check(stitch("KK" + "S" * (needles + 1), "K" * (needles + 3)), bed)
    assert found(too_long) == {"K204": "warning"}
    mm = f"{(needles + 1) * pitch_mm:.1f}".removesuffix(".0")
    assert f"past {needles + 1} needles, {mm} mm at {pitch_mm:g} mm between needles" in too_long[0].text
    assert f"(up to {needles} needles, " in str(too_long[0].advice)


def test_without_a_machine_the_pitch_is_the_standard_one_and_is_said_to_be() -> None:
    told = check(stitch("KSSSSSS", "KKKKKKK"))
    assert "6 needles, 27 mm at the standard 4.5 mm between needles (needles 2 to 7)" in told[0].text
    assert "standard" not in check(stitch("KSSSSSS", "KKKKKKK"), load("hand-fine"))[0].text


@pytest.mark.parametrize("severity", ["error", "warning"])
def test_how_grave_a_mixed_row_is_is_a_setting(severity: str) -> None:
    assert found(check(stitch("KTKS", "KKKK"), machine(mixed_rows=severity))) == {"K207": severity}


# -- each check -------------------------------------------------------------------------------------------------


def test_a_needle_that_never_knits_is_told_once() -> None:
    """K201, and neither K202 nor K209 of the same needle: one mistake, one message."""
    assert found(check(stitch("KT", "KT", "KT", "KT", "KT"))) == {"K201": "error"}
    assert found(check(stitch("KKS", *["KKS"] * 9))) == {"K201": "error"}


def test_needles_and_rows_are_told_as_runs() -> None:
    rows = ["SKKSSSKSKSS", "SKKSSSKSKSS"]
    assert "Needles 1, 4-6, 8, 10 and 11 of `shore` never knit" in text_of("K201", check(stitch(*rows)))
    many = check(stitch("SK" * 20, "SK" * 20))
    assert "Needles 1, 3, 5, 7, 9, 11 and 14 more of `shore`" in text_of("K201", many)


def test_a_slip_between_tucks_does_not_empty_the_hook() -> None:
    rows = stitch("TK", "SK", "TK", "SK", "TK", "TK", "KK")
    assert "tucks 4 times" in text_of("K202", check(rows))
    assert found(check(rows)) == {"K202": "warning"}


def test_a_row_without_knit_is_told_once() -> None:
    """K205, and neither K203 nor K204 of the same row."""
    assert found(check(stitch("TTT", "KKK"))) == {"K205": "error"}
    assert found(check(stitch("S" * 9, "K" * 9))) == {"K205": "error"}
    assert found(check(stitch("S" * 9, "K" * 9, "K" + "S" * 8))) == {"K204": "warning", "K205": "error"}


def test_runs_go_on_round_the_edge() -> None:
    tucks = check(stitch("TKKT", "KKKK"))
    assert found(tucks) == {"K203": "warning"}
    assert "(needles 4 to 1, on into the next repeat)" in tucks[0].text
    rows = check(stitch("TK", "TK", "KK", "TK", "TK"))
    assert "(rows 4 to 2, on into the next repeat)" in rows[0].text


def test_the_place_is_the_row_where_it_was_written() -> None:
    rows = ("KKK", "KTT", "KKK", "TTK")
    assert [message.span for message in check(stitch(*rows, spans=True))] == [Span("shore.stitch", 5, 8, 3)]
    assert [message.span for message in check(stitch(*rows))] == [HERE]


def test_many_places_are_one_message_about_the_worst() -> None:
    rows = [row for n in range(500) for row in ("KTTKKK" if n != 123 else "KTTTTK", "KKKKKK")]
    told = check(stitch(*rows))
    assert found(told) == {"K203": "error"}
    assert "In row 247 of `shore` 4 needles side by side tuck (needles 2 to 5)" in told[0].text
    assert told[0].text.endswith("There are 499 more rows like it.")


@pytest.mark.parametrize(
    ("count", "row"),
    [
        (6, "K S3 K S2"),
        (7, "K S3 K S3"),
        (11, "K S5 K S5"),
        (12, "K S4 K S3 K S3"),
        (18, "K S4 K S4 K S4 K S3"),
        (24, "(K S4)x5"),
        (40, "K (S5 K)x6 S4"),
    ],
)
def test_the_cure_of_a_float_can_be_typed(count: int, row: str) -> None:
    told = check(stitch("K" + "S" * count, "K" * (count + 1)))
    assert f"so that the row is {row}\n" in str(told[0].advice)
    mended = compile_text(f"stitch shore\n1: {row}\n2: K\n").pattern
    assert mended and mended.stitches["shore"].chart.width == count + 1
    assert check(mended.stitches["shore"]) == []


@pytest.mark.parametrize("rows", [["TKK", "TKK"], ["KTTTTK", "KKKKKK"]])
def test_the_cures_mend(rows: list[str]) -> None:
    """What the advice of K201 and of K203 says, done."""
    told = check(stitch(*rows))
    assert told
    advice = str(told[0].advice)
    if told[0].code == "K201":
        assert "(shore) then plain 1 by 1" in advice
        assert check(Stitch("shore", Chart.from_rows(rows).then(Chart.plain(1, 1)), HERE)) == []
    else:
        assert advice.endswith("so that the row is K T K T K2")
        assert check(stitch("KTKTKK", "KKKKKK")) == []


def test_a_hold_is_told_with_needle_rows_place_and_cure() -> None:
    one = stitch("KKK", "KKT", "KKT", "KKT", "KKT", "KKK", "KKT", "KKK", spans=True)
    (told,) = check(one)
    assert "Needle 3 of `shore` tucks 4 times before it knits again (rows 2 to 5)" in told.text
    assert told.span == Span("shore.stitch", 5, 8, 3)
    assert told.advice == "Let the needle knit after 3 of them."
    (told,) = check(one, machine(tucks_in_succession=Limit(2, 9)))
    assert told.advice == "Let the needle knit after 1 of them." and told.severity == "warning"
    (told,) = check(one, machine(tucks_in_succession=Limit(None, 1)))
    assert told.advice == "Choose a machine whose limits allow it; on this one no needle tucks."
    (round_the_end,) = check(stitch("TK", "TK", "KK", "KK", "TK", "TK", "TK", spans=True))
    assert "(rows 5 to 2, on into the next repeat)" in round_the_end.text
    assert round_the_end.span == Span("shore.stitch", 8, 8, 2)
    (at_the_start,) = check(stitch("TK", "TK", "TK", "TK", "TK", "KK", spans=True))
    assert at_the_start.span == Span("shore.stitch", 4, 8, 2)


def test_words_fit_one_and_many() -> None:
    assert text_of("K201", check(stitch("KS"))).startswith("Needle 2 of `shore` never knits: the loops it holds are")
    assert text_of("K201", check(stitch("SKS"))).startswith(
        "Needles 1 and 3 of `shore` never knit: the loops they hold"
    )
    assert text_of("K207", check(stitch("KTKS", "KKKK"))).startswith("Row 1 of `shore` has both")
    assert text_of("K207", check(stitch("KTKS", "KKKK", "KTKS"))).startswith("Rows 1 and 3 of `shore` have both")
    assert text_of("K205", check(stitch("KK", "TT"))) == (
        "No needle knits in row 2 of `shore`: all of them tuck, and nothing holds the yarn down."
    )
    assert "rows 2 and 3 of `shore`: all of them slip, and the yarn only" in text_of(
        "K205", check(stitch("K", "S", "S"))
    )
    both = check(stitch("KK", "TS"))
    assert text_of("K205", both).endswith("none of them knits off its loops.")
    assert "for instance as T K," in str(next(message.advice for message in both if message.code == "K205"))


@pytest.mark.parametrize(
    ("rows", "end"), [(1, "(needles 2 to 7)."), (2, "There is 1 more row like it."), (4, "3 more rows")]
)
def test_long_floats_in_several_rows_are_counted(rows: int, end: str) -> None:
    told = check(stitch(*["KSSSSSS", "KKKKKKK"] * rows))
    assert told[0].code == "K204" and end in told[0].text
    assert ("more" in told[0].text) == (rows > 1)
    assert (told[0].advice or "").endswith("\n(up to 5 needles, 22.5 mm, pass here)")  # 5 x 4.5 mm


def test_a_bed_so_coarse_that_no_float_will_do() -> None:
    coarse = replace(machine(), pitch_mm=30.0)
    told = check(stitch("KKS", "KKK"), coarse)
    assert "floats past 1 needle, 30 mm at 30 mm between needles (needle 3)." in told[0].text
    assert told[0].advice == "Choose a finer machine, or allow such a float in the limits of your profile."


# -- yarns ------------------------------------------------------------------------------------------------------


def banded(*runs: tuple[str | None, int]) -> Stitch:
    yarns = [yarn for yarn, rows in runs for _ in range(rows)]
    return stitch(*["KK"] * len(yarns), yarns=yarns)


@pytest.mark.parametrize(
    ("runs", "wrong"),
    [
        ([("foam", 2), ("sand", 2)], False),  # an even number of rows for each: common practice
        ([("foam", 3)], False),
        ([("foam", 2), ("sand", 1)], True),
        ([("foam", 1), ("sand", 1)], True),
        ([("foam", 4), ("sand", 3)], True),
        ([("foam", 2), ("sand", 2), ("foam", 2)], False),
        ([("foam", 1), ("sand", 2), ("foam", 1)], False),
        ([("foam", 2), ("sand", 1), ("kelp", 1)], True),  # foam waits two rows, but sand and kelp wait three
        ([("foam", 2), ("sand", 1), ("kelp", 2)], True),
        ([(None, 2), ("foam", 1)], True),
    ],
)
def test_a_yarn_waits_where_its_last_row_ended(runs: list[tuple[str | None, int]], wrong: bool) -> None:
    assert found(check(banded(*runs))) == ({"K208": "warning"} if wrong else {})


def test_the_wrong_side_is_told_with_row_yarn_and_reason() -> None:
    told = check(banded(("foam", 2), ("sand", 3)))
    assert told[0].text == (
        "From the second repeat on, row 1 of `shore` needs yarn `foam`, which then hangs at the other side of the bed: "
        "an odd number of rows (3) was knitted without it."
    )
    assert "even number of rows" in str(told[0].advice)
    last = check(banded(("foam", 3), ("sand", 2)))
    assert last[0].text.startswith("From the second repeat on, row 4 of `shore` needs yarn `sand`, which then hangs")
    assert "rows (3) was" in last[0].text


# -- against a machine followed pass by pass --------------------------------------------------------------------

cell_rows = st.tuples(st.sampled_from(["KKKTS", "KT", "KTTTT", "KSSSSS", "KTSS"]), st.integers(1, 10)).flatmap(
    lambda drawn: st.lists(
        st.text(drawn[0], min_size=drawn[1], max_size=drawn[1]) | st.just("K" * drawn[1]), min_size=1, max_size=10
    )
)
yarn_names = st.sampled_from(["foam", "sand", "kelp", None])


def holds(rows: list[str], letter: str) -> dict[int, int]:
    """Needle to the most of the letter that it does between two knits, by knitting three repeats; needles that never
    knit left out."""
    most: dict[int, int] = {}
    for needle in range(len(rows[0])):
        since: int | None = None  # unknown until it has knitted once
        for row in rows * 3:
            if row[needle] == "K":
                if since is not None:
                    most[needle] = max(most.get(needle, 0), since)
                since = 0
            elif row[needle] == letter and since is not None:
                since += 1
    return most


def runs(rows: list[str], letter: str) -> dict[int, int]:
    """Row to the longest run of the letter along three repeats; rows without a knit left out."""
    return {
        number: max((len(run) for run in re.findall(f"{letter}+", row * 3)), default=0)
        for number, row in enumerate(rows)
        if "K" in row
    }


def wrong_sides(yarns: list[str | None]) -> set[int]:
    """The rows that take up a yarn from the other side, by following carriage and yarns for twelve repeats."""
    side, before = 0, None
    hangs: dict[str | None, int] = {}
    rows: set[int] = set()
    for repeat, (row, yarn) in itertools.product(range(12), enumerate(yarns)):
        if (repeat or row) and yarn != before and hangs.get(yarn, side) != side:
            rows.add(row)
        side = 1 - side
        hangs[yarn], before = side, yarn
    return rows


def expected(rows: list[str], yarns: list[str | None]) -> dict[str, tuple[object, ...]]:
    """Code to (severity, worst count, how many needles or rows) at the default limits."""
    told: dict[str, tuple[object, ...]] = {}
    columns = ["".join(column) for column in zip(*rows, strict=True)]
    idle = [number for number, column in enumerate(columns) if "K" not in column]
    if idle:
        told["K201"] = ("error", None, len(idle))
    for code, counts, warn, error in (
        ("K202", holds(rows, "T"), 4, 5),
        ("K203", runs(rows, "T"), 2, 3),
        ("K204", runs(rows, "S"), 6, 10**9),
        ("K209", holds(rows, "S"), 5, 10**9),
    ):
        over = [count for count in counts.values() if count >= warn]
        if over:
            told[code] = ("error" if max(over) >= error else "warning", max(over), len(over))
    if bare := [row for row in rows if "K" not in row]:
        told["K205"] = ("error", None, len(bare))
    if mixed := [row for row in rows if "T" in row and "S" in row]:
        told["K207"] = ("error", None, len(mixed))
    if wrong := wrong_sides(yarns):
        told["K208"] = ("warning", None, len(wrong))
    return told


def in_words(message: Message) -> tuple[object, ...]:
    """(severity, worst count, how many needles or rows) out of a message's words."""
    text = message.text
    if message.code in ("K201", "K205", "K207"):
        listed = re.search(r"(?:[Nn]eedle|[Rr]ow)s? ([\d, and-]+?)(?: and (\d+) more)? of `", text)
        assert listed
        places = [part.split("-") for part in re.split(r", | and ", listed[1])]
        named = sum(int(part[-1]) - int(part[0]) + 1 for part in places)
        return message.severity, None, named + int(listed[2] or 0)
    more = re.search(r"There (?:is|are) (\d+) more", text)
    worst = re.search(r"(\d+) (?:times|needle)", text)
    return (
        message.severity,
        None if message.code == "K208" else int(worst[1]) if worst else None,
        1 + (int(more[1]) if more else 0),
    )


@settings(max_examples=400, deadline=None)
@given(cell_rows, st.data())
def test_every_check_agrees_with_a_machine_followed_pass_by_pass(rows: list[str], data: st.DataObject) -> None:
    yarns = data.draw(st.lists(yarn_names, min_size=len(rows), max_size=len(rows)))
    told = check(stitch(*rows, yarns=yarns))
    assert {message.code: in_words(message) for message in told} == expected(rows, yarns)


@given(cell_rows, st.data())
def test_where_the_repeat_begins_makes_no_difference(rows: list[str], data: st.DataObject) -> None:
    yarns = data.draw(st.lists(yarn_names, min_size=len(rows), max_size=len(rows)))
    chart = Chart.from_rows(rows, yarns)
    told = {message.code: in_words(message) for message in check(Stitch("shore", chart, HERE))}
    shifted = chart.shifted(data.draw(st.integers(0, 9))).started_at(data.draw(st.integers(0, 9)))
    for other in (shifted, chart.mirrored(), chart.across(2), chart.up(3)):
        there = {message.code: in_words(message) for message in check(Stitch("shore", other, HERE))}
        assert {code: word[:2] for code, word in there.items()} == {code: word[:2] for code, word in told.items()}


@given(cell_rows)
def test_counting_in_blocks_makes_no_difference(rows: list[str]) -> None:
    from stitchc import checks

    whole = check(stitch(*rows))
    kept, checks._AT_ONCE = checks._AT_ONCE, 3  # type: ignore[misc]
    try:
        assert check(stitch(*rows)) == whole
    finally:
        checks._AT_ONCE = kept  # type: ignore[misc]


# -- patterns, edges, size --------------------------------------------------------------------------------------


def test_parts_are_not_nagged_about() -> None:
    pattern = compile_text("stitch bare\n1: T\nstitch whole = bare then plain 1 by 1\n").pattern
    assert isinstance(pattern, Pattern)
    assert found(check_pattern(pattern)) == {"K205": "error"}
    assert "`whole`" in check_pattern(pattern)[0].text
    asked = check_pattern(pattern, stitches=[pattern.stitches["bare"]])
    assert found(asked) == {"K201": "error", "K205": "error"}


@pytest.mark.parametrize(
    ("rows", "named"),
    [
        (["KTK", "KKK"], None),
        (["TKK", "KKK"], "Needle L2,"),
        (["KKK", "KKT"], "Needle R1,"),
        (["TKT"], "Needles L2 and R1,"),
    ],
)
def test_tucks_at_the_ends_of_the_work(rows: list[str], named: str | None) -> None:
    """A tuck must not be on an edge needle: common practice ("A Good Tuck, Part 2"; "Egg on my face")."""
    one = stitch(*rows)
    told = edge_tucks(one.chart, np.arange(3), Needles.centred(3), one)
    if named is None:
        assert told == []
    else:
        assert found(told) == {"K206": "error"}
        assert told[0].text.startswith(named)
        assert "--edge 1" in str(told[0].advice)


def test_slips_at_the_ends_are_allowed() -> None:
    one = stitch("SKS", "KKK")
    assert edge_tucks(one.chart, np.arange(3), Needles.centred(3), one) == []


def large(height: int, width: int) -> Stitch:
    cells = np.random.default_rng(7).choice(
        np.array([0, TUCK, SLIP], dtype=np.uint8), size=(height, width), p=[0.7, 0.2, 0.1]
    )
    yarns = tuple("foam" if row // 2 % 2 else "sand" for row in range(height))
    return Stitch("shore", Chart(cells, yarns), HERE)


def test_the_largest_chart_is_counted_in_little_memory() -> None:
    """4,000,000 cells: at most 64 MiB beside the chart itself."""
    one = large(2000, 2000)
    tracemalloc.start()
    try:
        told = check(one)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(told) == len(found(told)) <= 8
    assert peak < 64 * 2**20


@pytest.mark.bench
def test_speed_of_2000_rows_by_200_needles() -> None:
    one = large(2000, 200)
    taken = []
    for _ in range(5):
        start = time.perf_counter()
        check(one)
        taken.append(time.perf_counter() - start)
    assert sorted(taken)[2] < 0.15


@given(st.lists(st.sampled_from("KKTS"), min_size=2, max_size=30).filter(lambda row: "K" in row))
def test_a_row_as_its_cure_says_it_has_no_run_that_is_too_long_and_nothing_else_is_changed(row: list[str]) -> None:
    before = "".join(row)
    for message in check(stitch(before, "K" * len(row))):
        if message.code not in ("K203", "K204"):
            continue
        kind, longest = {"K203": ("T", 1), "K204": ("S", 5)}[message.code]
        assert message.advice is not None
        said = re.match(
            r"Let (?:one of them|some of them|some of these needles) knit, so that the row is (.+)", message.advice
        )
        assert said, message.advice
        pattern = compile_text(f"stitch shore\n1: {said[1]}\n2: K\n").pattern
        assert pattern is not None
        after = "".join("KTS"[cell] for cell in pattern.stitches["shore"].chart.cells[0])
        assert {(a, b) for a, b in zip(before, after, strict=True) if a != b} == {(kind, "K")}
        runs = [run for run in re.findall(rf"{kind}+", after + after) if len(run) < 2 * len(after)]
        assert max(map(len, runs), default=0) <= longest


@pytest.mark.parametrize(
    ("row", "on", "advice"),
    [
        ("T", None, "for instance as K, "),
        ("TTTTT", None, "for instance as K T K T K, "),
        ("TTTTT", machine(tucks_side_by_side=Limit(3, None)), "for instance as K T2 K T, "),
        ("TTTTT", machine(tucks_side_by_side=Limit(None, None)), "for instance as K T4, "),
        ("TTTT", machine(tucks_side_by_side=Limit(None, 1)), "for instance as K T3, "),  # no number of tucks would do
        ("SSSSSSS", None, "for instance as K S3 K S2, "),
        ("SSTTTSST", None, "for instance as K2 T K T K2 T, "),
        ("T" * 20 + "S" * 200, None, "for instance as (T K)x10 K200, "),
        ("TSS" + "TSTSSTSTTSSTSTSSSTTSTSTSSTSTSTTSSTSTSSTSTSTTSTSSTST" * 2, None, ""),
    ],
)
def test_a_row_without_a_knit_is_shown_as_it_could_be_knitted(row: str, on: Machine | None, advice: str) -> None:
    told = {message.code: str(message.advice) for message in check(stitch(row, "K" * len(row)), on)}
    assert told["K205"] == f"Let at least one needle knit, {advice}or leave the row out."


@pytest.mark.parametrize(
    ("row", "code", "row_is"),
    [
        ("TTTKTT", "K203", "row is T K T K T K"),  # five side by side, round the edge
        ("KSSSSSSSSSSSS", "K204", "row is K S4 K S3 K S3"),
        ("KTS" * 20 + "SSSSSS" + "KKTSKTKSS" * 3 + "KTKKSSKTTKTKKKSKTKKS", "K204", "run is S3 K S3"),
    ],
)
def test_the_cure_of_a_run_shows_the_row_or_else_the_run(row: str, code: str, row_is: str) -> None:
    cures = {message.code: message.advice for message in check(stitch(row, "K" * len(row)))}
    assert re.search(rf"^Let some of .* knit, so that the {re.escape(row_is)}$", cures[code] or "", re.MULTILINE)


# -- word for word: counted and worded by hand from the rows, so that every figure and place in a message is held ----

WORDS: dict[str, tuple[Stitch, Machine | None]] = {
    "K201 of one needle": (stitch("KKT", "KKT", spans=True), None),
    "K201 in three rows": (stitch("KKT", "KKS", "KKT", spans=True), None),
    "K201 far to the right": (stitch("K" * 299 + "TT" + "K" * 4), machine(tucks_side_by_side=Limit())),
    "K201 of two needles": (stitch("TKTK", "TKTK"), None),
    "K202 of two needles": (stitch(*["KTKT"] * 5, "KKKT", "KKKK", spans=True), None),
    "K202 of three needles": (stitch(*["TKTKTK"] * 4, "KKKKKK"), None),
    "K203 in two rows": (stitch("KKTTK", "KKKKK", "TTKKK", spans=True), None),
    "K203 of a machine that allows two": (stitch("KKTTTTTK", "KKKKKKKK"), machine(tucks_side_by_side=Limit(3, None))),
    "K203 of a machine that allows none": (stitch("KKKT", "KKKK", "KKKK"), machine(tucks_side_by_side=Limit(None, 1))),
    "K204 in two rows": (stitch("KKSSSSSSS", "KKKKKKKKK", "KSSSSSSKK", "KKKKKKKKK", spans=True), None),
    "K204 of a late row": (stitch(*["KKKKKKKKK"] * 3, "SKKSSSSSS", spans=True), load("hand-standard")),
    "K204 of a coarse machine": (stitch("KSSK", "KKKK"), replace(machine(), pitch_mm=30.0)),
    "K203 of a late row": (stitch("KKKKK", "KKKKK", "KKKKK", "KTTKK", spans=True), None),
    "K202 of a late needle, round the end": (stitch("KKKT", "KKKT", "KKKK", "KKKT", "KKKT", spans=True), None),
    "K205 of two rows": (stitch("KK", "TT", "KK", "SS", spans=True), None),
    "K205 of a slipped row": (stitch("KK", "KK", "SS", "KK"), None),
    "K205 of a long slipped row": (stitch("SSSSSSSSSSSS", "KKKKKKKKKKKK"), None),
    "K207 of two rows": (stitch("KKKK", "KTKS", "KKKK", "KTKS", spans=True), None),
    "K208 of four changes": (
        stitch(*["KK"] * 6, yarns=["foam", "foam", "sand", "kelp", "sand", "kelp"], spans=True),
        None,
    ),
    "K208 of a yarn without a name": (stitch("KK", "KK", "KK", yarns=[None, None, "sand"]), None),
    "K209 of two needles": (stitch(*["SK"] * 5, "KK", *["KS"] * 5, "KK", spans=True), None),
}


def test_word_for_word(bless: bool) -> None:
    """`checks.txt` has what was counted and worded by hand; --bless writes it anew, for a person to read."""
    parts = []
    for name, (one, on) in WORDS.items():
        (told,) = check(one, on)
        assert told.span is not None and told.label == "" and told.also == ()
        parts.append(f"== {name} (marks {told.span.length})\n{render(told, None, colour=False)}\n")
    kept = Path(__file__).with_name("checks.txt")
    if bless:
        kept.write_text("\n".join(parts), "utf-8")
    assert kept.read_text("utf-8") == "\n".join(parts)


def test_the_ends_of_the_work_word_for_word() -> None:
    one = stitch("KKK", "TKK", "KKT", spans=True)
    (told,) = edge_tucks(one.chart, np.arange(3), Needles.centred(3), one)
    assert (told.severity, told.span) == ("error", Span("shore.stitch", 5, 8, 3))
    assert told.text == (
        "Needles L2 and R1, at the ends of the work, tuck in `shore` (first in row 2): an end loop with no neighbour "
        "to hold it drops off or hangs loose."
    )
    one = stitch("KKK", "KKK", "KKT", spans=True)
    (told,) = edge_tucks(one.chart, np.arange(3), Needles.centred(3), one)
    assert told.text.startswith("Needle R1, at the end of the work, tucks in `shore` (first in row 3): an end loop")
    assert told.span == Span("shore.stitch", 6, 8, 3)


def test_a_row_that_was_written_nowhere_is_told_at_its_stitch() -> None:
    first = Span("shore.stitch", 4, 8, 4)
    for rows in (["KKKK", "KTTK"], ["KKKK", "KKKK", "KTTK"]):
        (told,) = check(Stitch("shore", Chart.from_rows(rows), HERE, (first,)))
        assert told.code == "K203" and told.span == HERE


def test_the_first_of_several_tucks_at_an_edge_is_told() -> None:
    one = stitch("KKK", "TKK", "KKK", "TKK", spans=True)
    (told,) = edge_tucks(one.chart, np.arange(3), Needles.centred(3), one)
    assert "(first in row 2)" in told.text and told.span == Span("shore.stitch", 5, 8, 3)


def test_a_yarn_that_goes_on_into_the_next_repeat_waits_as_long_as_it_is_away() -> None:
    (told,) = check(stitch("KK", "KK", "KK", yarns=["foam", "sand", "foam"]))
    assert told.text.startswith("Row 3 of `shore` takes up yarn `foam` again") and "rows (1) was" in told.text


def test_a_float_that_is_just_as_long_as_it_may_be() -> None:
    """3 needles of 1.1 mm are 3.3 mm, though not in the machine's binary figures."""
    fine = replace(machine(float_needles=NONE, float_mm=3.3), pitch_mm=1.1)
    assert check(stitch("KSSSK", "KKKKK"), fine) == []
    assert found(check(stitch("KSSSSK", "KKKKKK"), fine)) == {"K204": "warning"}


# -- needles out of work ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "messages"),
    [
        (["KTK-", "KKK-"], {}),
        (["KT-K", "KK-K"], {}),
        (
            ["KT-TK", "KK-KK"],
            {"K203": "2 needles side by side tuck (needles 2 to 4, of which needle 3 is out of work)"},
        ),
        (["T-KKT", "K-KKK"], {"K203": "needles 5 to 1, on into the next repeat)"}),
        (["KT--TT-K", "KK--KK-K"], {"K203": "3 needles side by side tuck"}),
        (["T-T", "K-K"], {"K205": "all of them tuck"}),
        (["KSS--SK", "KKK--KK"], {}),
        (["KSSS--SK", "KKKK--KK"], {"K204": "6 needles, 27 mm"}),
        (["K--SSSS", "K--KKKK"], {"K204": "(needles 2 to 7, of which needles 2 and 3 are out of work)"}),
        (["SSK---SS", "KKK---KK"], {"K204": "7 needles, 31.5 mm"}),
        (["KK------", "KT------"], {}),  # the bar of a ladder alone is no float
        (["KS-K", "KS-K"], {"K201": "Needle 2 of `shore` never knits"}),
        (["-K"], {"K210": "Needle 2 of `shore` stands alone"}),
        (["KKK-K-", "KKK-K-"], {"K210": "Needle 5 of `shore` stands alone"}),
        (["K-K"], {}),
    ],
)
def test_runs_go_on_past_a_needle_out_of_work(rows: list[str], messages: dict[str, str]) -> None:
    told = {message.code: message.text for message in check(stitch(*rows))}
    assert told.keys() == messages.keys()
    assert all(part in told[code] for code, part in messages.items()), told


@pytest.mark.parametrize(("columns", "named"), [([0, 1, 2, 3], "L1"), ([-1, 1, 2, -1], ""), ([2, 3, 1, 0], "R1")])
def test_the_ends_of_the_work_are_needles_in_work(columns: list[int], named: str) -> None:
    one = stitch("-TKK", "-KKK")
    told = edge_tucks(one.chart, np.array(columns), Needles.centred(4), one)
    assert [message.text.split(",")[0] for message in told] == ([f"Needle {named}"] if named else [])

"""The chart itself: what it is, and the operations that make new ones."""

from __future__ import annotations

import math
import tracemalloc
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stitchc.chart import KNIT, MAX_CELLS, OUT, SLIP, TUCK, Chart, NeedlesOutDiffer, SizesDiffer, TooLarge, YarnsDiffer
from tests.charts import charts

YARNS = (None, "foam", "sand")


def cyclic(chart: Chart) -> set[tuple[str, ...]]:
    """All the ways in which the same endless fabric can be written with a repeat of this size."""
    rows = chart.rows()
    return {
        tuple(row[column:] + row[:column] for row in rows[first:] + rows[:first])
        for first in range(chart.height)
        for column in range(chart.width)
    }


# Structures as two sources give them.
DOUBLE_CROSS_TUCK = ["KT", "KT", "TK", "TK"]  # "What is Pique Fabric", needle by needle, four courses
STAGGERED = ["TK", "KK", "KT", "KK"]  # "Dishcloths manually tucked on midgauge", from its procedure
SINGLE_LACOSTE = ["KT", "KK", "TK", "KK"]  # "What is Pique Fabric"; its courses 3 and 4 from memory
TUCK_COLUMNS = ["KT", "KT", "KK"]  # "My Favorite Dish Cloth Pattern"
ALTERNATING_SLIP = ["KS", "SK"]  # "Lesson 3 Slip Stitch", from its procedure


def test_structures_described_differently_are_one_fabric() -> None:
    assert tuple(SINGLE_LACOSTE) in cyclic(Chart.from_rows(STAGGERED))
    later = Chart.from_rows(DOUBLE_CROSS_TUCK).started_at(1)
    assert later.rows() == ["KT", "TK", "TK", "KT"]
    assert tuple(later.rows()) in cyclic(Chart.from_rows(DOUBLE_CROSS_TUCK))
    assert tuple(DOUBLE_CROSS_TUCK) not in cyclic(Chart.from_rows(STAGGERED))


@pytest.mark.parametrize(
    ("rows", "others", "holes"),
    [  # counted by hand: cells of a 24 by 36 card that are not K, and the holes in one repeat's rows
        (DOUBLE_CROSS_TUCK, 432, 48),
        (STAGGERED, 216, 72),
        (TUCK_COLUMNS, 288, 48),
        (ALTERNATING_SLIP, 432, 24),
    ],
)
def test_counts_on_a_card(rows: list[str], others: int, holes: int) -> None:
    card = Chart.from_rows(rows).tiled(24, 36)
    assert int((~card.knits).sum()) == others
    assert int(Chart.from_rows(rows).tiled(24, len(rows)).knits.sum()) == holes


def test_what_each_operation_does() -> None:
    a = Chart.from_rows(["KTS", "KKT"], ["foam", None])
    assert a.across(2).rows() == ["KTSKTS", "KKTKKT"]
    assert a.up(2).rows() == ["KTS", "KKT", "KTS", "KKT"]
    assert a.up(2).yarns == ("foam", None, "foam", None)
    assert a.shifted(1).rows() == ["SKT", "TKK"]
    assert a.shifted(-1).rows() == ["TSK", "KTK"]
    assert a.mirrored().rows() == ["STK", "TKK"]
    assert (a.reversed().rows(), a.reversed().yarns) == (["KKT", "KTS"], (None, "foam"))
    assert (a.started_at(1).rows(), a.started_at(1).yarns) == (["KKT", "KTS"], (None, "foam"))
    assert a.replaced({TUCK: SLIP, SLIP: TUCK}).rows() == ["KST", "KKS"]
    assert a.tiled(4, 3).rows() == ["KTSK", "KKTK", "KTSK"]
    assert a.then(Chart.plain(1, 1)).rows() == ["KTS", "KKT", "KKK"]
    assert a.beside(Chart.plain(1, 1)).rows() == ["KTSK", "KKTK"]
    assert a.settings() == ("mixed", "tuck")
    assert Chart.from_rows(["KK", "KS"]).settings() == ("plain", "slip")
    assert a.knits.tolist() == [[True, False, False], [True, True, False]]


def test_a_chart_is_read_only_and_apart_from_what_it_was_made_of() -> None:
    cells = np.zeros((2, 2), dtype=np.uint8)
    chart = Chart(cells, (None, None))
    cells[0, 0] = TUCK
    assert chart.rows() == ["KK", "KK"]
    for made in (chart, chart.shifted(1), chart.mirrored(), chart.reversed(), chart.across(2), chart.then(chart)):
        with pytest.raises(ValueError, match="read-only"):
            made.cells[0, 0] = SLIP
    with pytest.raises(AttributeError):
        chart.yarns = ()  # type: ignore[misc]


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Chart(np.zeros((0, 2), dtype=np.uint8), ()), "at least one needle and one row"),
        (lambda: Chart(np.zeros((2, 0), dtype=np.uint8), (None, None)), "at least one needle and one row"),
        (lambda: Chart(np.zeros(4, dtype=np.uint8), (None,) * 4), "at least one needle and one row"),
        (lambda: Chart(np.zeros((2, 2, 2), dtype=np.uint8), (None,) * 2), "at least one needle and one row"),
        (lambda: Chart(np.zeros((2, 2), dtype=np.int64), (None, None)), "KNIT, TUCK, SLIP or OUT"),
        (lambda: Chart(np.zeros((2, 2), dtype=np.bool_), (None, None)), "KNIT, TUCK, SLIP or OUT"),
        (lambda: Chart(np.full((2, 2), 4, dtype=np.uint8), (None, None)), "KNIT, TUCK, SLIP or OUT"),
        (lambda: Chart.from_rows(["K-", "KK"]), "in every row or in none"),
        (lambda: Chart.from_rows(["KK", "K-"]), "in every row or in none"),
        (lambda: Chart.from_rows(["--"]), "at least one needle is in work"),
        (lambda: Chart(np.zeros((2, 2), dtype=np.uint8), (None,)), "one yarn entry for each row"),
        (lambda: Chart(np.zeros((2, 2), dtype=np.uint8), (None,) * 3), "one yarn entry for each row"),
        (lambda: Chart.from_rows([]), "equally long, and there is at least one"),
        (lambda: Chart.from_rows(["K", "KK"]), "equally long"),
        (lambda: Chart.from_rows(["KK", "K"]), "equally long"),
        (lambda: Chart.from_rows(["KX"]), "K, T, S or -, not 'X'"),
        (lambda: Chart.from_rows(["k"]), "K, T, S or -, not 'k'"),
        (lambda: Chart.from_rows([""]), "at least one needle and one row"),
    ],
)
def test_what_is_no_chart(make: Callable[[], Chart], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        make()


@pytest.mark.parametrize(
    "make",
    [
        lambda a: a.across(MAX_CELLS + 1),
        lambda a: a.up(10**12),
        lambda a: a.tiled(10**9, 10**9),
        lambda a: Chart.plain(10**9, 10**9),
        lambda a: a.across(2000).up(1000).then(a.across(2000).up(1001)),
        lambda a: a.across(1).up(1000).beside(a.across(4000).up(1000)),
        lambda a: Chart.stacked([a.across(2000)] + [a] * 2001),
    ],
)
def test_too_large_a_chart_takes_no_memory(make: Callable[[Chart], Chart]) -> None:
    a = Chart.from_rows(["K"])
    tracemalloc.start()
    with pytest.raises(TooLarge, match="4,000,000"):
        make(a)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 2 * MAX_CELLS + 10**6  # no more than the parts that are small enough


def test_a_high_chart_cut_low_and_wide() -> None:
    high = Chart.plain(1, 1_000_000)
    assert high.tiled(1_000_000, 1) == Chart.plain(1_000_000, 1)


def test_the_largest_chart_there_is() -> None:
    assert Chart.plain(2000, 2000).shifted(3).mirrored().cells.size == MAX_CELLS


def test_parts_that_do_not_fit_say_where_and_what_would() -> None:
    one, two, three = (Chart.plain(n, n) for n in (1, 2, 3))
    with pytest.raises(SizesDiffer) as differ:
        Chart.stacked([two, one, three])
    assert (differ.value.joint, differ.value.axis) == (1, "width")
    assert (differ.value.before, differ.value.after, differ.value.smallest_that_would_do) == (2, 3, 6)
    with pytest.raises(SizesDiffer) as differ:
        Chart.side_by_side([three, two])
    assert (differ.value.joint, differ.value.axis) == (0, "height")


def test_needles_out_of_work_that_differ_say_which() -> None:
    ladder, narrow = Chart.from_rows(["KTK-"]), Chart.from_rows(["K-"])
    assert (ladder.out, ladder.cells[0, 3]) == ((4,), OUT)
    assert ladder.beside(Chart.plain(2, 1)).out == (4,)
    assert ladder.mirrored().out == ladder.shifted(1).out == (1,)
    with pytest.raises(NeedlesOutDiffer) as differ:
        Chart.stacked([ladder, ladder, narrow])
    assert (differ.value.joint, differ.value.before, differ.value.after) == (1, (), (2,))
    with pytest.raises(NeedlesOutDiffer) as differ:
        ladder.then(ladder.shifted(1))
    assert (differ.value.joint, differ.value.before, differ.value.after) == (0, (4,), (1,))


def test_a_row_beside_another_in_a_yarn() -> None:
    plain, foam, sand = (Chart.from_rows(["K"], [yarn]) for yarn in (None, "foam", "sand"))
    assert plain.beside(foam).yarns == foam.beside(plain).yarns == ("foam",)
    with pytest.raises(YarnsDiffer) as differ:
        Chart.side_by_side([plain, foam, sand])
    assert (differ.value.joint, differ.value.row, differ.value.left, differ.value.right) == (1, 1, "foam", "sand")
    with pytest.raises(YarnsDiffer):
        sand.beside(foam)
    again = "".join(["fo", "am"])  # the same name, from elsewhere in the file
    left, right = Chart.from_rows(["K", "K"], [None, "foam"]), Chart.from_rows(["T", "T"], ["sand", again])
    assert left.beside(right).yarns == ("sand", "foam")


@given(charts(yarns=YARNS), st.integers(-30, 30), st.integers(1, 4))
@settings(max_examples=100, deadline=None)
def test_invariants(a: Chart, n: int, times: int) -> None:
    assert a.mirrored().mirrored() == a == a.reversed().reversed()
    assert a.shifted(n).shifted(-n) == a == a.shifted(a.width)
    assert a.started_at(n).started_at(-n) == a == a.started_at(a.height)
    assert a.shifted(n).mirrored() == a.mirrored().shifted(-n)
    assert a.across(times).up(times) == a.up(times).across(times) == a.tiled(a.width * times, a.height * times)
    assert Chart.stacked([a] * times) == a.up(times)
    assert Chart.side_by_side([a] * times) == a.across(times)
    assert Chart.from_rows(a.rows(), a.yarns) == a
    assert hash(Chart.from_rows(a.rows(), a.yarns)) == hash(a)
    assert cyclic(a.shifted(n)) == cyclic(a) == cyclic(a.started_at(n))
    assert int((a.cells == KNIT).sum()) == sum(row.count("K") for row in a.rows())
    assert not (a.knits & a.held).any()
    assert ((a.knits | a.held) == a.in_work).all()
    assert a.out == tuple(needle for needle, sign in enumerate(a.rows()[0], start=1) if sign == "-")
    assert a.replaced({KNIT: TUCK, TUCK: SLIP, SLIP: KNIT}).out == a.out == a.reversed().out


@given(charts(yarns=YARNS), st.integers(1, 20), st.integers(1, 20))
@settings(max_examples=100, deadline=None)
def test_tiling_is_the_endless_fabric_cut(a: Chart, width: int, height: int) -> None:
    rows = a.rows()
    if not a.in_work[:width].any():
        return  # nothing would be in work
    tiled = a.tiled(width, height)
    assert tiled.rows() == ["".join(rows[r % a.height][c % a.width] for c in range(width)) for r in range(height)]
    assert tiled.yarns == tuple(a.yarns[r % a.height] for r in range(height))


@given(charts(yarns=YARNS), charts(yarns=YARNS))
@settings(max_examples=100, deadline=None)
def test_sizes_of_joined_charts(a: Chart, b: Chart) -> None:
    width, height = math.lcm(a.width, b.width), math.lcm(a.height, b.height)
    if width == max(a.width, b.width) and a.tiled(width, 1).out != b.tiled(width, 1).out:
        with pytest.raises(NeedlesOutDiffer):
            a.then(b)
    elif width == max(a.width, b.width):
        joined = a.then(b)
        assert (joined.width, joined.height, joined.yarns) == (width, a.height + b.height, a.yarns + b.yarns)
    else:
        with pytest.raises(SizesDiffer):
            a.then(b)
    if height != max(a.height, b.height):
        with pytest.raises(SizesDiffer):
            a.beside(b)


def test_equality_and_how_it_is_shown() -> None:
    a = Chart.from_rows(["KT"])
    assert a != Chart.from_rows(["KT"], ["foam"])
    assert a != Chart.from_rows(["KT", "KT"])
    assert a != "KT"
    assert repr(a) == "<Chart KT>"
    assert repr(Chart.plain(40, 40)) == "<Chart 40 by 40>"
    assert repr(Chart.plain(20, 20)).startswith("<Chart KKKKK")  # 400 cells are shown
    assert repr(Chart.plain(401, 1)) == "<Chart 401 by 1>"


def test_rows_of_any_length_are_compared_by_their_length() -> None:
    assert Chart.from_rows(["K" * 300, "T" * 300]).width == 300


@pytest.mark.parametrize(("narrow", "wide"), [((1, 3000), (2, 3000)), ((3000, 1), (3000, 2)), ((1, 3000), (2, 3001))])
def test_tiling_takes_no_more_than_the_tiles_that_are_seen(narrow: tuple[int, int], wide: tuple[int, int]) -> None:
    """In both directions at most one tile is begun that does not lie whole within what was asked for."""
    chart = Chart.plain(*narrow)
    tracemalloc.start()
    tiled = chart.tiled(*wide)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert tiled == Chart.plain(*wide)
    assert peak < 200_000


def test_a_chart_of_that_size_already_is_not_copied() -> None:
    chart = Chart.from_rows(["KT", "TK"])
    assert chart.tiled(2, 2) is chart is chart.across(1) is chart.up(1)
    assert chart.tiled(2, 4) is not chart

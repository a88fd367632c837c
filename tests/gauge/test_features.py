"""The predictors read off a chart, against sums done by hand and against a slow count."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stitchc.chart import Chart
from stitchc.gauge import estimate
from stitchc.gauge.fabric import same_fabric_key
from stitchc.gauge.features import features_of
from tests.charts import charts
from tests.gauge.knitters import chart


@pytest.mark.parametrize(
    ("text", "tucks", "slips", "mean_span", "weighted", "longest"),
    [
        ("K", 0, 0, 1, 1, 0),
        ("KT/KK", 0.25, 0, 4 / 3, 1.5, 1),  # loops: 1, 1, 2; the span of 2 fills 2 of 4 cells: (1+1+2+2)/4
        ("KT/TK", 0.5, 0, 2, 2, 1),
        ("KT/KT/TK/TK", 0.5, 0, 2, 2.5, 2),  # each needle has spans 3 and 1: (9 + 1) / 4
        ("KT/KT/KK", 1 / 3, 0, 1.5, 2, 2),
        ("KS/SK", 0, 0.5, 2, 2, 1),
        ("KS/KS/KS/KK", 0, 0.375, 1.6, 2.5, 3),
        ("/".join(["KS"] * 8 + ["KK", "KK"]), 0, 0.4, 20 / 12, 4.6, 8),  # the hat: (81 + 1 + 10) / 20
        ("TS/KK", 0.25, 0.25, 2, 2, 1),
    ],
)
def test_sums_by_hand(text: str, tucks: float, slips: float, mean_span: float, weighted: float, longest: int) -> None:
    features = features_of(chart(text))
    assert features.tuck_share == pytest.approx(tucks)
    assert features.slip_share == pytest.approx(slips)
    assert features.mean_span == pytest.approx(mean_span)
    assert features.weighted_span == pytest.approx(weighted)
    assert features.longest_hold == longest
    assert features.log_span_tuck + features.log_span_slip == pytest.approx(math.log(weighted))


def test_a_needle_that_never_knits_is_held_throughout() -> None:
    features = features_of(chart("KT/KT"))
    assert features.never_knitting == 1
    assert features.longest_hold is None
    assert features.weighted_span == pytest.approx((1 + 8) / 2)
    nothing = features_of(chart("TT"))
    assert nothing.mean_span is None and nothing.never_knitting == 2


def test_columns_and_staggered_differ() -> None:
    assert features_of(chart("KT/KK")).in_columns == pytest.approx(0.5)
    assert features_of(chart("KKKT/KKKK")).in_columns == pytest.approx(0.75)
    assert features_of(chart("KT/KK/TK/KK")).in_columns == 0


def test_side_by_side_tucks_count_once() -> None:
    assert features_of(chart("KTT/KKK")).tuck_runs == pytest.approx(1 / 6)
    assert features_of(chart("TKT/KKK")).tuck_runs == pytest.approx(1 / 6)  # they meet round the repeat


def _slow_spans(rows: list[str]) -> list[tuple[int, int, int]]:
    height, found = len(rows), []
    for column in range(len(rows[0])):
        for row in range(height):
            if rows[row][column] != "K":
                continue
            span, tucks, slips = 1, 0, 0
            while (cell := rows[(row + span) % height][column]) != "K":
                span += 1
                tucks += cell == "T"
                slips += cell == "S"
            found.append((span, tucks, slips))
    return found


@given(charts((7, 7), ("KKTS",)))
@settings(max_examples=200, deadline=None)
def test_against_a_slow_count(any_chart: Chart) -> None:
    features = features_of(any_chart)
    rows = [row.replace("-", "") for row in any_chart.rows()]
    assert features == replace(features_of(Chart.from_rows(rows)), ladders=features.ladders, wider=features.wider)
    assert features.needles == pytest.approx(any_chart.width / len(rows[0]))
    loops = _slow_spans(rows)
    if features.never_knitting:
        return
    cells = len(rows) * len(rows[0])
    assert sum(span for span, _, _ in loops) == cells
    assert features.mean_span == pytest.approx(cells / len(loops))
    assert features.weighted_span == pytest.approx(sum(s * s for s, _, _ in loops) / cells)
    assert features.longest_hold == max(s for s, _, _ in loops) - 1
    if features.tuck_share and features.slip_share:
        by_tucks = sum(s * t for s, t, _ in loops)
        by_slips = sum(s * x for s, _, x in loops)
        assert features.log_span_tuck * by_slips == pytest.approx(features.log_span_slip * by_tucks)


@given(charts((7, 7), ("KKTS",)), st.integers(0, 6), st.integers(0, 6), st.booleans(), st.integers(1, 3))
@settings(max_examples=100, deadline=None)
def test_the_same_fabric_has_the_same_key_and_predictors(
    one: Chart, across: int, row: int, mirror: bool, times: int
) -> None:
    other = one.shifted(across).started_at(row).up(times).across(times)
    other = other.mirrored() if mirror else other
    assert same_fabric_key(one) == same_fabric_key(other)
    mine, yours = features_of(one), features_of(other)
    for name in (
        "tuck_share",
        "slip_share",
        "weighted_span",
        "log_span_tuck",
        "log_long_slip",
        "in_columns",
        "ladders",
        "wider",
    ):
        if not mine.never_knitting:
            assert getattr(mine, name) == pytest.approx(getattr(yours, name)), name


def test_upside_down_is_another_fabric() -> None:
    assert same_fabric_key(chart("KT/KT/KS/KK")) != same_fabric_key(chart("KS/KT/KT/KK"))


def test_four_million_cells_are_read_in_little_memory() -> None:
    import tracemalloc

    large = Chart.plain(2000, 2000)
    tracemalloc.start()
    features_of(large)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 400e6


@pytest.mark.parametrize("width", [6, 12, 24])
def test_a_whole_tucked_row_has_neighbours_too(width: int) -> None:
    """One tuck more never makes a fabric narrower: a row of 23 tucks and a K is no wider than one of 24."""
    factors = []
    for tucks in range(width - 4, width + 1):
        rows = ["K" * (width - tucks) + "T" * tucks, "K" * width]
        found = estimate({"it": Chart.from_rows(rows)}).of("it").stitch_factor
        assert found is not None
        factors.append(found.value)
    assert factors == sorted(factors, reverse=True)


def test_a_large_canonical_form_takes_no_longer_than_two_looks() -> None:
    """4,000,000 cells, each look and each form in processor seconds, the best of three."""
    cells = np.random.default_rng(1).integers(0, 3, (2000, 2000)).astype(np.uint8)
    large = Chart(cells, (None,) * 2000)

    def best(of: Callable[[Chart], object]) -> float:
        def once() -> float:
            start = time.process_time()
            of(large)
            return time.process_time() - start

        return min(once() for _ in range(3))

    assert best(same_fabric_key) < 2 * best(features_of)

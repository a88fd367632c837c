"""Charts at random, for what holds of every chart."""

from __future__ import annotations

import functools
from collections.abc import Sequence

from hypothesis import strategies as st

from stitchc.chart import Chart

ONE_PASS = ("K", "KT", "KS")
"""Letters of rows that have tuck or slip but not both, as one pass can knit them."""


@st.composite
def charts(
    draw: st.DrawFn,
    most: tuple[int, int] = (8, 8),
    letters: Sequence[str] = ("KTS",),
    yarns: Sequence[str | None] = (None,),
    all_in_work: bool = False,
) -> Chart:
    """Up to so many needles and rows, each row of one of the sets of letters; needles out of work in half of them."""
    width, height = draw(st.integers(1, most[0])), draw(st.integers(1, most[1]))
    out = frozenset[int]() if all_in_work else draw(out_of_work(width))
    rows = []
    for _ in range(height):
        row = draw(rows_of(draw(one_of(tuple(letters))), width))
        rows.append("".join("-" if column in out else letter for column, letter in enumerate(row)))
    return Chart.from_rows(rows, draw(lists_of(tuple(yarns), height)))


# Made once for all charts: to make one takes longer than to draw from it.


@functools.cache
def one_of(values: tuple[str, ...]) -> st.SearchStrategy[str]:
    return st.sampled_from(values)


@functools.cache
def rows_of(letters: str, width: int) -> st.SearchStrategy[str]:
    return st.text(letters, min_size=width, max_size=width)


@functools.cache
def lists_of(yarns: tuple[str | None, ...], height: int) -> st.SearchStrategy[list[str | None]]:
    return st.lists(st.sampled_from(yarns), min_size=height, max_size=height)


@functools.cache
def out_of_work(width: int) -> st.SearchStrategy[frozenset[int]]:
    return st.just(frozenset[int]()) | st.frozensets(st.integers(0, width - 1), max_size=width - 1)

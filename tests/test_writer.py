"""A chart written in the notation: short, tidy, and the same chart when it is compiled again."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stitchc.chart import Chart
from stitchc.notation import compile_text, write_chart
from stitchc.notation.writer import is_name, notation_name


def compiled(text: str, name: str = "a") -> Chart:
    pattern, messages, _ = compile_text(text, "written.stitch")
    assert pattern is not None, [message.text for message in messages]
    return pattern.stitches[name].chart


@pytest.mark.parametrize(
    ("rows", "text"),
    [
        (["KT", "KK"], "stitch a\n    1: K T\n    2: K\n"),
        # the rows of the notation's own example
        (["KTKTKKKK", "KKKKKKKK"] * 2, "stitch a\n    1, 3: (K T)x2 K4\n    2, 4: K\n"),
        (["KKKK"] * 3, "stitch a\n    1-3: K4\n"),
        (["KTKKTKKTK"], "stitch a over 9\n    1: K T K\n"),
        (["KTKTKT", "KKTKKT"], "stitch a over 6\n    1: K T\n    2: K2 T\n"),
        (["KKKKTKKKKTS"], "stitch a\n    1: (K4 T)x2 S\n"),
        (["KKTKTKTSKKTKTKTSTT"], "stitch a\n    1: (K (K T)x3 S)x2 T2\n"),
        (["K" * 30 + "T"], "stitch a\n    1: K30 T\n"),
        (["KTK-KTK-", "KKK-KKK-"], "stitch a over 8\n    out 4, 8\n    1: K T K\n    2: K\n"),
    ],
)
def test_the_shortest_tidy_text(rows: list[str], text: str) -> None:
    chart = Chart.from_rows(rows)
    written = write_chart("a", chart)
    assert len(written) <= len(text), written
    assert compiled(written) == chart


def test_rows_in_different_yarns_are_kept_apart_and_yarns_are_declared() -> None:
    chart = Chart.from_rows(["KT", "KT", "KT"], ["foam", None, "foam"])
    written = write_chart("a", chart)
    assert written == "yarn foam\n\nstitch a\n    1, 3 in foam: K T\n    2: K T\n"
    assert compiled(written) == chart
    assert write_chart("a", chart, declare_yarns=False).startswith("stitch a\n")


@st.composite
def charts(draw: st.DrawFn) -> Chart:
    """Charts as they come: random cells, and rows made of repeated parts with something odd between."""
    width, height = draw(st.integers(1, 24)), draw(st.integers(1, 12))
    letters = draw(st.sampled_from(["KT", "KTS", "K"]))
    part = st.text(letters, min_size=1, max_size=5)
    periodic = st.builds(lambda p, q: (p * 12 + q * 24)[:width], part, part)
    row = st.one_of(st.text(letters, min_size=width, max_size=width), periodic.map(lambda text: text.ljust(width, "K")))
    few = draw(st.lists(row, min_size=1, max_size=4))
    rows = draw(st.lists(st.sampled_from(few), min_size=height, max_size=height))
    if draw(st.booleans()):
        out = draw(st.frozensets(st.integers(0, width - 1), max_size=width - 1))
        rows = ["".join("-" if column in out else letter for column, letter in enumerate(row)) for row in rows]
    yarns = draw(st.lists(st.sampled_from([None, None, "foam", "sand"]), min_size=height, max_size=height))
    return Chart.from_rows(rows, yarns)


@given(charts())
@settings(max_examples=150, deadline=None)
def test_compiling_what_was_written_gives_the_chart(chart: Chart) -> None:
    assert compiled(write_chart("a", chart)) == chart


@pytest.mark.parametrize("shape", [(1, 3000), (3000, 1), (300, 700), (1, 1)])
def test_large_and_long_charts(shape: tuple[int, int]) -> None:
    cells = np.random.default_rng(7).integers(0, 3, shape, dtype=np.uint8)
    chart = Chart(cells, (None,) * shape[0])
    assert compiled(write_chart("a", chart)) == chart


def test_long_rows_with_a_period_stay_short() -> None:
    chart = Chart.from_rows(["KT" * 1500 + "K", "KKKT" * 750 + "T"])
    written = write_chart("a", chart)
    assert len(written) < 60
    assert compiled(written) == chart


def test_runs_past_the_highest_count_are_split() -> None:
    chart = Chart.plain(4_000_000, 1)
    written = write_chart("a", chart)
    assert written == "stitch a\n    1: K1000000 K1000000 K1000000 K1000000\n"
    assert compiled(written) == chart


@pytest.mark.parametrize("name", ["", "3", "over", "Stitch", "a b", "a\nb", "-a", '"'])
def test_what_is_no_name_is_refused(name: str) -> None:
    assert not is_name(name)
    with pytest.raises(ValueError, match="not a name"):
        write_chart(name, Chart.plain(1, 1))


@given(st.text(max_size=80))
@settings(max_examples=200, deadline=None)
def test_any_text_becomes_a_name_that_compiles(text: str) -> None:
    name = notation_name(text)
    assert compiled(write_chart(name, Chart.plain(2, 1)), name).width == 2


@pytest.mark.parametrize(
    ("stem", "name"), [("Chart 3 (new)", "Chart-3-new"), ("24x36", "traced-24x36"), ("stitch", "traced-stitch")]
)
def test_names_out_of_file_names(stem: str, name: str) -> None:
    assert notation_name(stem) == name

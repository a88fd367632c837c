"""The start of a relaxation is looped as its chart says, and the proof sees it when it is not."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stitchc.chart import KNIT, SLIP, TUCK, Chart
from stitchc.fabric.relaxation import MOST_TUCKS, smallest_repeat
from stitchc.fabric.start import NODES, lay_out, start_shape
from stitchc.fabric.topology import NotLooped, prove
from tests.fabric.conftest import chart_of


@st.composite
def charts(draw: st.DrawFn, most: int = 7) -> Chart:
    """Small charts in which every needle knits at least once."""
    width, height = draw(st.integers(2, most)), draw(st.integers(2, most))
    cells = np.array(
        draw(st.lists(st.integers(0, 2), min_size=width * height, max_size=width * height)), dtype=np.uint8
    )
    cells = cells.reshape(height, width)
    for column in range(width):
        if not (cells[:, column] == KNIT).any():
            cells[draw(st.integers(0, height - 1)), column] = KNIT
    return Chart(cells, (None,) * height)


@given(charts())
@settings(max_examples=60)
def test_every_chart_starts_looped_as_it_says(chart: Chart) -> None:
    layout = lay_out(chart)
    prove(layout, start_shape(layout))


@pytest.mark.parametrize("kind", ["T", "S"])
@pytest.mark.parametrize("rows", [2, 5, MOST_TUCKS])
@pytest.mark.parametrize("width", [2, 3])
def test_long_holds_start_looped(kind: str, rows: int, width: int) -> None:
    chart = Chart.from_rows([kind * (width - 1) + "K"] * rows + ["K" * width])
    layout = lay_out(chart)
    prove(layout, start_shape(layout))


def test_spans_layers_and_tucks_taken() -> None:
    # A held loop spans 1 + the T and S cells that follow it on its needle, round the repeat
    # (Spencer, Knitting Technology, 3rd ed., p. 96, and the page "The float stitch" after it).
    layout = lay_out(chart_of("KT/KS/TT/KK"))
    second = [layout.cell_at(row, 1) for row in range(4)]
    assert [cell.kind for cell in second] == [TUCK, SLIP, TUCK, KNIT]
    assert [cell.span for cell in second] == [3, 2, 1, 4]
    assert [cell.layer for cell in second] == [1, 2, 2, 0]
    assert second[3].takes == 2
    first = [layout.cell_at(row, 0) for row in range(4)]
    assert [cell.span for cell in first] == [1, 2, 1, 1]
    assert [cell.takes for cell in first] == [0, 0, 0, 1]


def test_nodes_of_a_course_follow_each_other_round_the_repeat() -> None:
    layout = lay_out(chart_of("KTS/KKK"))
    node = np.arange(layout.nodes)
    assert np.array_equal(layout.behind(layout.ahead(node)), node)
    assert np.array_equal(layout.ahead(node)[: layout.course_nodes], [*range(1, layout.course_nodes), 0])
    at = np.random.default_rng(1).normal(size=(3, layout.nodes))
    edges = layout.edges(at, 7.0).reshape(3, 2, -1)
    assert np.allclose(edges.sum(axis=2), [[7, 7], [0, 0], [0, 0]]), "each course goes on one repeat to the right"


@pytest.mark.parametrize("rows", ["KT/KK", "KK/KK", "KS/SK", "KT/KT/KK"])
def test_the_proof_sees_a_strand_on_the_wrong_side(rows: str) -> None:
    layout = lay_out(chart_of(rows))
    start = start_shape(layout)
    held = next(cell for cell in layout.cells if cell.kind == KNIT and cell.span == max(c.span for c in layout.cells))
    start[2, held.first : held.first + NODES] -= 3.0  # the loop hangs behind all that should be behind it
    with pytest.raises(NotLooped):
        prove(layout, start)


def test_the_proof_sees_a_loop_that_is_not_drawn_through() -> None:
    layout = lay_out(chart_of("KK/KK"))
    start = start_shape(layout)
    start[1, layout.course_nodes :] += 0.6  # the second course stands above the heads of the first
    with pytest.raises(NotLooped):
        prove(layout, start)


def test_the_proof_sees_a_float_in_front_of_the_held_loop() -> None:
    layout = lay_out(chart_of("KS/KK"))
    start = start_shape(layout)
    slip = layout.cell_at(0, 1)
    start[2, slip.first + 2 : slip.first + NODES - 2] += 2.0
    with pytest.raises(NotLooped):
        prove(layout, start)


def test_the_smallest_repeat_leaves_yarns_out() -> None:
    chart = Chart.from_rows(["KTKT", "KKKK"] * 3, ["sand", "foam", None] * 2)
    assert smallest_repeat(chart) == chart_of("KT/KK")
    assert smallest_repeat(Chart.plain(24, 24)) == chart_of("K")
    assert smallest_repeat(chart_of("KKT/KTK")) == chart_of("KKT/KTK")

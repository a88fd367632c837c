"""What relaxed fabrics must be: plain at its published proportions, symmetric, at rest, and looped as they began."""

from __future__ import annotations

import numpy as np
import pytest

from stitchc.chart import OUT, TUCK, Chart
from stitchc.fabric import Fabric, relax, relaxation, relaxing
from stitchc.fabric.descent import CLOSEST, Shape, _Way
from stitchc.fabric.metric import Metric
from stitchc.fabric.relaxation import MOST_CELLS, PLAIN_CELL, _rob
from stitchc.fabric.start import DIAMETER, NODES, START_COURSE, Floats, Layout, lay_out
from stitchc.fabric.symmetry import symmetries
from stitchc.fabric.topology import _crossings
from stitchc.messages import Refused
from tests.fabric.conftest import at_free_cell, at_gauge, chart_of, on_demand

SHOWN = (
    ("K", 1.0, 1.0),
    ("KT/KK", 0.91, 1.37),
    ("KT/KT/KK", 0.90, 1.71),
    ("KS/SK", 1.22, 1.56),
    ("KTS/KKK", 1.0, 1.3),
    ("KTK-/KKK-", 0.93, 1.2),
)
"""Repeats with stitches and rows over plain's, as the gauge model estimates them."""


def positions(fabric: Fabric) -> tuple[Layout, Floats]:
    return lay_out(fabric.chart), np.concatenate(fabric.courses).T


# -- against the outside ----------------------------------------------------------------------------------------------


def test_plain_comes_out_at_mundens_constants() -> None:
    # Wet relaxed plain: Kw 4.1, Kc 5.3, their ratio 1.3 (Munden 1959, J. Text. Inst. 50 T448, as quoted in Spencer,
    # Knitting Technology, 3rd ed., 22.5). Nothing in the model was fitted to them but the yarn's thickness.
    plain = at_free_cell("K")
    assert 1 / plain.cell_w == pytest.approx(4.1, rel=0.03)
    assert 1 / plain.cell_c == pytest.approx(5.3, rel=0.03)
    assert plain.cell_w / plain.cell_c == pytest.approx(1.3, abs=0.04)


# -- at rest ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rows, stitch_factor, row_factor", [*SHOWN, on_demand("KTSK/KKKK/SKKT", 1.0, 1.4)])
def test_at_rest(rows: str, stitch_factor: float, row_factor: float) -> None:
    fabric = at_gauge(rows, stitch_factor, row_factor)
    assert fabric.cell_w == pytest.approx(PLAIN_CELL[0] / stitch_factor)
    assert fabric.cell_c == pytest.approx(PLAIN_CELL[1] / row_factor)
    assert fabric.closest > CLOSEST
    for stage in fabric.energies:
        assert np.diff(stage).max(initial=0) <= 0, "the energy rose"
    layout, at = positions(fabric)
    width = fabric.chart.width * fabric.cell_w
    for row, course in enumerate(fabric.courses):
        assert not course.flags.writeable
        closed = np.concatenate([course, course[:1] + np.array([width, 0, 0])])
        length = float(np.linalg.norm(np.diff(closed, axis=0), axis=1).sum())
        fed = sum(float(layout.fed[row * layout.width + column]) for column in range(layout.width))
        assert length == pytest.approx(fed, rel=0.02), "a course is one yarn that does not stretch"
    assert at.shape == (3, layout.nodes)


@pytest.mark.parametrize("rows, stitch_factor, row_factor", [*SHOWN, ("KT/KT/TK/TK", 0.87, 2.08)])
def test_strands_still_lie_over_and_under_as_they_must(rows: str, stitch_factor: float, row_factor: float) -> None:
    """Seen in the view: heads behind the legs drawn through them, tucks and floats behind the loops held longer."""
    fabric = at_gauge(rows, stitch_factor, row_factor)
    layout, at = positions(fabric)
    in_wales = at / np.array([[fabric.cell_w], [fabric.cell_c / START_COURSE], [1.0]])
    for cell in layout.cells:
        if not cell.looped:
            continue
        taker = layout.cell_at(cell.row + cell.span, cell.column)
        in_front = [over for _, over in _crossings(layout, in_wales, cell, taker, cell.row + cell.span)]
        if len(symmetries(fabric.chart, layout).turned) > 1:  # (a leaning loop may cross another cell's part instead)
            behind = in_front.count(False)
            assert behind >= 2 and behind % 2 == 0, "the head lies behind the two legs drawn through it"
        for row in range(cell.row + 1, cell.row + cell.span):
            later = layout.cell_at(row, cell.column)
            behind = [over for _, over in _crossings(layout, in_wales, cell, later, row)].count(False)
            assert behind == 0 or (cell.kind == TUCK and behind % 2 == 0), "one tuck may hang over another, and back"


@pytest.mark.parametrize("rows, stitch_factor, row_factor", [*SHOWN[:4], ("KT/KT/TK/TK", 0.87, 2.08)])
def test_symmetric_repeats_come_out_symmetric(rows: str, stitch_factor: float, row_factor: float) -> None:
    fabric = at_gauge(rows, stitch_factor, row_factor)
    layout, at = positions(fabric)
    alike = symmetries(fabric.chart, layout)
    assert len(alike.turned) >= 2
    width, height = fabric.chart.width * fabric.cell_w, fabric.chart.height * fabric.cell_c
    for image, turned in zip(alike.images, alike.turned, strict=True):
        other = at[:, image]
        assert np.abs(other[2] - at[2]).max() < 1e-6
        for axis, period, sign in ((0, width, turned), (1, height, 1.0)):
            shift = (other[axis] - sign * at[axis]) / (fabric.cell_w if axis == 0 else fabric.cell_c)
            shift -= shift[0]
            cells = period / (fabric.cell_w if axis == 0 else fabric.cell_c)
            assert np.abs(shift - cells * np.round(shift / cells)).max() < 1e-6


def test_a_mirrored_chart_gives_the_mirrored_fabric() -> None:
    one = at_gauge("KTS/KKK", 1.0, 1.3)
    other = at_gauge("STK/KKK", 1.0, 1.3)
    assert one.energies[-1][-1] == pytest.approx(other.energies[-1][-1], rel=3e-3)


def test_it_is_the_same_fabric_however_often_it_is_written() -> None:
    one = at_gauge("KT/KK", 0.91, 1.37)
    other = relax(chart_of("KTKTKT/KKKKKK/KTKTKT/KKKKKK"), one.cell_w, one.cell_c)
    assert np.array_equal(np.concatenate(one.courses), np.concatenate(other.courses))


# -- looped as it began -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rows", ["KT/KK", "KT-/KK-", on_demand("KS/KS/KK")])
def test_no_strand_passes_through_another(rows: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """All along the way the strands themselves, not only their contact points, stay apart."""
    ways: list[Shape] = []
    metric = _Way.metric

    def watched(self: _Way, x: Floats) -> Metric:
        ways.append(self.shape(x.copy()))
        return metric(self, x)

    monkeypatch.setattr(_Way, "metric", watched)
    fabric = relax(chart_of(rows), PLAIN_CELL[0], PLAIN_CELL[1] / 1.4)
    assert len(ways) > 10
    layout = lay_out(fabric.chart)
    for shape in ways:
        # Points half a diameter apart that keep 0.45 diameters away leave the strands themselves this much at least.
        assert strands_apart(layout, *shape) > 0.25 * DIAMETER


def strands_apart(layout: Layout, at: Floats, w: float, c: float) -> float:
    """The exact least distance between edges of different strands, copies in neighbouring repeats counted."""
    width, height = w * layout.width, c * layout.height
    begin = at.T
    along = layout.edges(at, width).T
    lengths = np.linalg.norm(along, axis=1)
    arc = np.cumsum(lengths) - lengths
    course = np.arange(layout.nodes) // layout.course_nodes
    whole = np.bincount(course, lengths)
    nearest = np.inf
    for right in (-1, 0, 1):
        for up in (-1, 0, 1):
            other = begin + np.array([right * width, up * height, 0])
            far = np.linalg.norm((other + along / 2)[None] - (begin + along / 2)[:, None], axis=2)
            one, two = np.nonzero(far < 2.0 * DIAMETER + float(lengths.max()))
            on_arc = np.abs(arc[one] - arc[two])
            on_arc = np.minimum(on_arc, whole[course[one]] - on_arc)
            between = on_arc - np.maximum(lengths[one], lengths[two])
            own = (course[one] == course[two]) & (up == 0) & (between < 1.7 * DIAMETER)
            one, two = one[~own], two[~own]
            if one.size:
                nearest = min(nearest, _segments(begin[one], along[one], other[two], along[two]))
    return nearest


def _segments(p: Floats, u: Floats, q: Floats, v: Floats) -> float:
    """Least distance of pairs of segments p + s u, q + t v, by alternating projections (they converge at once here)."""
    s = np.full(len(p), 0.5)
    for _ in range(30):
        t = np.clip(((p + s[:, None] * u - q) * v).sum(axis=1) / (v * v).sum(axis=1), 0, 1)
        s = np.clip(((q + t[:, None] * v - p) * u).sum(axis=1) / (u * u).sum(axis=1), 0, 1)
    return float(np.linalg.norm(p + s[:, None] * u - q - t[:, None] * v, axis=1).min())


@pytest.mark.parametrize("rows", ["K-/K-", "KTK-/KTK-/KKK-", "KKT--/KKK--"])
def test_a_ladder_is_bars_from_stitch_to_stitch(rows: str) -> None:
    """A ladder is the yarn lying as floats across needles in non-working position (teaching notes on casting on,
    https://blogs.brighton.ac.uk/knitting/tag/machine-knitting): one bar a row, on the purl side, that hangs in no loop
    of another row."""
    fabric = at_gauge(rows, 1.0, 1.2)
    layout, at = positions(fabric)
    assert strands_apart(layout, at, fabric.cell_w, fabric.cell_c) > 0.25 * DIAMETER
    lengths = np.linalg.norm(layout.edges(at, layout.width * fabric.cell_w), axis=0).reshape(-1, NODES).sum(axis=1)
    between = at[1].reshape(-1, NODES)
    for cell, length in zip(layout.cells, lengths.tolist(), strict=True):
        if cell.kind == OUT:
            across = np.ptp(at[0, cell.first : cell.first + NODES])
            assert length < 1.25 * across * NODES / (NODES - 1), "a bar goes straight across"
            above = between[layout.cell_at(cell.row + 1, cell.column).first // NODES]
            lift = layout.height * fabric.cell_c if cell.row + 1 == layout.height else 0.0
            assert above.min() + lift > between[cell.first // NODES].max(), "bars lie one above the other"


# -- what is refused --------------------------------------------------------------------------------------------------


def refused(chart: Chart, cell_w: float = PLAIN_CELL[0], cell_c: float = PLAIN_CELL[1]) -> str:
    with pytest.raises(Refused) as error:
        relax(chart, cell_w, cell_c)
    (message,) = error.value.messages
    assert message.severity == "error" and message.advice
    return f"{message.code}: {message.text}"


@pytest.mark.parametrize("rows", ["KTKK/KTKK/KKKK", "KKT/KKK", on_demand("KKKT/KKKT/KKKT/KKKK")])
def test_held_columns_do_not_open_into_ladders(rows: str) -> None:
    """The needles were one pitch apart: no wale takes the room of its neighbours."""
    fabric = at_gauge(rows, 0.93, 1.35)
    layout = lay_out(fabric.chart)
    firsts = [layout.cell_at(0, column).first for column in range(layout.width)]
    at = fabric.courses[0][firsts, 0] / fabric.cell_w
    wales = np.diff([*at, at[0] + layout.width])
    assert wales.min() > 0.45 and wales.max() < 1.6


def test_held_loops_take_yarn_from_the_loops_beside_them_and_none_from_far_off() -> None:
    layout = lay_out(chart_of("KTKKKKKK/KKKKKKKK"))
    fed = layout.fed.copy()
    _rob(layout, fed, PLAIN_CELL)
    tucked, held = fed.reshape(2, 8)
    assert held.sum() == pytest.approx(8.0) and tucked.sum() == pytest.approx(layout.fed[:8].sum())
    assert held[1] > 1.2, "held over two courses"
    assert held[0] == pytest.approx(held[2]) and 0.75 < held[0] < held[3] < 1.0
    assert held[4:7] == pytest.approx(1.0)


def test_a_needle_that_never_knits() -> None:
    assert refused(chart_of("KSK/KTK")).startswith(
        "V701: The fabric can't be drawn: needle 2 of the repeat never knits"
    )
    assert "needles 2, 3 never knit" in refused(chart_of("KSTK/KSSK"))


def test_a_repeat_too_large() -> None:
    row = "K" * (MOST_CELLS // 2) + "T"
    assert refused(chart_of(f"{row}/{'K' * len(row)}")).startswith("V702")


def test_too_many_tucks_on_a_needle() -> None:
    assert refused(Chart.from_rows(["KT"] * 11 + ["KK"])).startswith("V703: Needle 2 of the repeat takes 11 tucks")


def test_no_room_for_the_yarn(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(relaxation, "_WAYS", relaxation._WAYS[:1])  # each further try takes as long
    monkeypatch.setattr(relaxation, "_LONGER", relaxation._LONGER[:1])
    assert refused(chart_of("K"), 0.06, 0.03).startswith("V703")


# -- odd sizes and rows -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rows", ["K/K/K", "SSS/KKK", "KKT/KKK", on_demand("KT/TK/SS"), on_demand("KT/KT/KT/KT/KT/KK")])
def test_odd_repeats(rows: str) -> None:
    fabric = at_gauge(rows, 1.0, 1.3)
    assert fabric.closest > CLOSEST
    assert fabric.chart.width >= 2 and fabric.chart.height >= 2


def test_shapes_get_better_from_the_textbooks_to_the_one_at_rest() -> None:
    fabrics = list(relaxing(chart_of("KK/KT"), PLAIN_CELL))
    done = [fabric.done for fabric in fabrics]
    assert done == sorted(done) and done[0] == 0 and done[-1] == 1 and len(done) > 5
    last = np.array(fabrics[-1].courses)
    far = [float(np.linalg.norm(np.array(fabric.courses) - last, axis=2).mean()) for fabric in fabrics]
    assert far[0] > far[len(far) // 2] > far[-2] > 0
    assert {(fabric.cell_w, fabric.cell_c) for fabric in fabrics} == {PLAIN_CELL}, "pictures of them do not jump"

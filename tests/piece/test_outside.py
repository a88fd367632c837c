"""Whole pieces against worked patterns, published sizes, yarn categories and the weight identity."""

from __future__ import annotations

from pathlib import Path

import pytest

from stitchc.gauge.yarn import MUNDEN
from stitchc.machines import load
from stitchc.notation import compile_text
from stitchc.piece import gauge_of, work_out
from stitchc.piece.yarn import yarn_needed
from tests.piece.conftest import plan_of

EXAMPLES = Path(__file__).parents[2] / "examples"
INCH_CM = 2.54

TUCK = "stitch cloth\n 1: K T\n 2: K\n"
AFGHAN_GAUGE = "gauge plain 5.5 stitches 16.4 rows per 1 in\ngauge cloth 5.5 stitches 16.4 rows per 1 in\n"


@pytest.mark.parametrize(("border", "middle", "total"), [(30, 530, 590), (20, 322, 362), (20, 258, 298)])
def test_the_tuck_afghan_in_three_sizes(border: int, middle: int, total: int) -> None:
    """Border, middle, border and the row counter at the end, as a free worked pattern gives them ("Tuck punchcard
    afghans", a hobbyist's page; its three sums agree with its own row counter)."""
    piece = (
        f"piece afghan\n needles L98-R99\n knit plain for {border} rows\n knit cloth for {middle} rows\n"
        f" knit plain for {border} rows\n"
    )
    for machine in ("hand-standard", "card24-standard"):
        plan = plan_of(TUCK + AFGHAN_GAUGE + piece, machine)
        assert plan.needles.count == 98 + 99 == 197
        assert (plan.needles.left, plan.needles.right) == ("L98", "R99")
        assert len(plan.passes) == plan.passes[-1].row == total
        assert [(s.from_row, s.to_row) for s in plan.sections] == [
            (1, border),
            (border + 1, border + middle),
            (border + middle + 1, total),
        ]


def test_the_first_afghan_is_the_square_it_is_said_to_be() -> None:
    """36 in square at the gauge that follows from it: 197 needles and 590 rows (the same page; derived, 5.5 and 16.4 to
    the inch: 197 / 5.5 = 35.8, 590 / 16.4 = 36.0)."""
    piece = "piece afghan\n needles 197\n knit plain for 30 rows\n knit cloth for 530 rows\n knit plain for 30 rows\n"
    plan = plan_of(TUCK + AFGHAN_GAUGE + piece)
    assert plan.width_cm is not None and plan.length_cm is not None
    assert plan.width_cm.value / INCH_CM == pytest.approx(36, rel=0.01)
    assert plan.length_cm.value / INCH_CM == pytest.approx(36, rel=0.01)


def test_the_afghan_asked_for_by_its_size() -> None:
    """36 in wide and 530 / 16.4 = 32.3 in of the tuck: 198 = 2 k + 2 needles (36 x 5.5 = 198) and 530 rows."""
    piece = "piece afghan\n width 36 in\n knit plain for 30 rows\n knit cloth for 32.3 in\n knit plain for 30 rows\n"
    plan = plan_of(TUCK + AFGHAN_GAUGE + piece)
    assert plan.needles.count == 198
    assert plan.sections[1].rows == 530


def test_the_nine_millimetre_cloth() -> None:
    """29 needles; 64 rows of two tuck rows and a plain one, then 1 plain: 65 on the counter (a hobbyist's page)."""
    text = "stitch cloth\n 1-2: K T\n 3: K\npiece cloth\n needles 29\n knit cloth for 64 rows\n knit plain for 1 rows\n"
    plan = plan_of(text, "hand-bulky")
    assert plan.passes[-1].row == 65
    assert plan.sections[0].repeats == (21, 1)


def test_the_cowl_goes_over_a_head() -> None:
    """Adults' heads are 53.5 to 58.5 cm round (a teaching page on hat sizing: 21 to 23 in)."""
    pattern = compile_text((EXAMPLES / "cowl.stitch").read_text(encoding="utf-8"), "cowl.stitch").pattern
    assert pattern is not None
    piece = pattern.pieces["cowl"]
    plan, _ = work_out(pattern, piece, load("hand-standard"), gauge_of(pattern, piece))
    assert plan is not None and plan.length_cm is not None
    assert plan.length_cm.value > 58.5


def test_the_wrist_warmers_in_three_sizes_follow_the_arithmetic() -> None:
    """Stitch gauge 19.5 to 10 cm, repeat 4, 2 edge needles, 1 cm of seam: 16 + 1 cm is 33.2 needles, so 34 = 4 x 8 + 2;
    18 + 1 is 37.1, so 38; 20 + 1 is 41.0, so 42."""
    pattern = compile_text((EXAMPLES / "wrist-warmers.stitch").read_text(encoding="utf-8"), "w.stitch").pattern
    assert pattern is not None
    piece = pattern.pieces["wrist-warmer"]
    report = gauge_of(pattern, piece)
    counts = []
    for cm in (16, 18, 20):
        plan, _ = work_out(pattern, piece, load("hand-standard"), report, width_mm=10 * cm)
        assert plan is not None
        counts.append(plan.needles.count)
    assert counts == [34, 38, 42]


def test_yarn_of_a_plain_square_is_what_mundens_constants_say() -> None:
    """l = Kw / wales and l = Kc / courses: Munden 1959, wet relaxed (Spencer, Knitting Technology, 3rd ed., 22.5).

    20 wales in 10 cm give 4.1 / 2 = 2.05 cm, 28 courses 5.3 / 2.8 = 1.893 cm; their geometric mean is 1.970 cm. 100
    needles by 100 rows are 10,000 stitches: 197 m; at 200 tex 39.4 g.
    """
    text = "stitch p\n 1: K\nyarn sand tex 200\ngauge plain 20 stitches 28 rows per 10 cm\n"
    plan = plan_of(text + "piece square\n needles 100\n knit plain for 100 rows in sand\n")
    (yarn,) = yarn_needed(plan)
    assert yarn.metres is not None and yarn.grams is not None
    kw, kc = MUNDEN["wet relaxed"]
    by_hand = (kw / 2.0 * kc / 2.8) ** 0.5 * 10_000 / 100
    assert by_hand == pytest.approx(197.0, abs=0.1)
    assert yarn.metres.value == pytest.approx(by_hand, rel=0.005)
    assert yarn.grams.value == pytest.approx(39.4, rel=0.01)
    # The weight identity (Spencer): g/m2 = loops per cm2 x mm of yarn in a loop x tex / 100.
    area_m2 = (100 / 200) * (100 / 280)
    assert yarn.grams.value / area_m2 == pytest.approx(2.0 * 2.8 * 19.70 * 200 / 100, rel=0.01)


def test_weight_by_category_lies_in_the_published_range() -> None:
    """Light is 901 to 1,200 yards per pound, 1,816 to 2,419 m/kg: a magazine's rough guide ("Yarn Standards" sheet)."""
    text = "stitch p\n 1: K\nyarn sand weight light\ngauge plain 21 stitches 29 rows per 10 cm\n"
    plan = plan_of(text + "piece square\n needles 100\n knit plain for 100 rows in sand\n")
    (yarn,) = yarn_needed(plan)
    assert yarn.metres is not None and yarn.grams is not None
    assert 1816 < yarn.metres.value / yarn.grams.value * 1000 < 2419


def test_yarn_is_counted_cell_by_cell() -> None:
    """Ripple on 6 needles, edges knit: row 1 K K T K T K, row 2 all knit. Two repeats in foam, then 3 plain rows in
    sand: foam 2 x (4 + 6) knits and 4 tucks; sand 18 knits. Posts hold twice: the second tuck is a further one."""
    head = "yarn sand tex 200\nyarn foam tex 200\ngauge plain 20 stitches 28 rows per 10 cm\n"
    ripple = "stitch ripple\n 1: K T\n 2: K\nstitch posts\n 1-2: K T\n 3: K\n"
    piece = "piece it\n needles 6\n knit ripple for 4 rows in foam\n knit plain for 3 rows in sand\n"
    sand, foam = yarn_needed(plan_of(head + ripple + piece))
    assert (foam.name, foam.rows, foam.cells.knits, foam.cells.tucks) == ("foam", 4, 20, 4)
    assert (sand.name, sand.rows, sand.cells.knits, sand.cells.total) == ("sand", 3, 18, 18)
    piece = "piece it\n needles 6\n knit posts for 3 rows in foam\n"
    (posts,) = yarn_needed(plan_of(head + ripple + piece))
    assert (posts.cells.knits, posts.cells.tucks, posts.cells.further_tucks) == (14, 2, 2)

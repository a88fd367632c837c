"""Comparing stitches: sums by hand, sorting, the family of densities, and a poster that can be read."""

from __future__ import annotations

import io
import json
import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text
from matplotlib.transforms import Bbox
from PIL import Image

from stitchc import CardOptions, SheetOptions, make_card, make_sheet
from stitchc.__main__ import run
from stitchc.chart import SLIP, TUCK, Chart
from stitchc.compare.against import best_swatch, compare_with
from stitchc.compare.plot import plot
from stitchc.compare.product import compare_stitches
from stitchc.compare.sweep import HOLDS, ONE_IN, Arrangement, arrangement_of, density, family, strands
from stitchc.compare.table import Compared, compare, hand_moves, holes_to_punch, in_order_of
from stitchc.gauge import GaugeReport, PlainGauge, estimate_pattern
from stitchc.machines import Limit, Limits, load
from stitchc.messages import Refused, Span
from stitchc.notation import compile_file
from stitchc.options import CompareOptions, Sort
from stitchc.pattern import Pattern, Stitch, Swatch, Yarn

HERE = Span("a.stitch", 1)


def chart(text: str) -> Chart:
    return Chart.from_rows(text.split("/"))


def stitch(rows: str) -> Stitch:
    return Stitch("a", chart(rows), HERE)


def pattern_of(stitches: dict[str, str], **more: Any) -> Pattern:
    return Pattern("a.stitch", {name: Stitch(name, chart(rows), HERE) for name, rows in stitches.items()}, **more)


STITCHES = {"ripple": "KT/KK", "honeycomb": "KT/KT/TK/TK", "linen": "KS/SK", "mixed": "KTKS/KKKK", "ground": "K"}


def lines_of(pattern: Pattern, plain: PlainGauge | None = None) -> list[Compared]:
    report = estimate_pattern(pattern, plain=plain)
    return compare(pattern, pattern.wanted(), report, load("hand-standard"), load("card24-standard"))


# -- counts against arithmetic --------------------------------------------------------------------------------------


def test_moves_of_100_rows_on_100_needles() -> None:
    """98 needles between the edges, 49 of them held. KT/KK: 49 brought out for each of 50 holds, the plain row brings
    them back by itself. KT/KT/KK: 33 holds and the last row begins a 34th. Linen: 49 out at first, then 98 a row."""
    hand = load("hand-standard")
    assert hand_moves(stitch("KT/KK"), hand) == 49 * 50
    assert hand_moves(stitch("KT/KT/KK"), hand) == 49 * 34
    assert hand_moves(stitch("KS/SK"), hand) == 49 + 98 * 99
    assert hand_moves(stitch("K"), hand) == 0
    assert hand_moves(stitch("KT/KK"), load("card24-standard")) is None


def test_holes_of_one_card() -> None:
    """Holes in one repeat height x 24 (cited matrices): 48 for KT/KT/TK/TK in 4 rows, 72 for TK/KK/KT/KK, 48 for
    KT/KT/KK in 3, 24 for KS/SK in 2; a closed card needs 36 rows (9, 9, 12 and 18 repeats)."""
    card = load("card24-standard")
    assert holes_to_punch(stitch("KT/KT/TK/TK"), card) == 48 * 9
    assert holes_to_punch(stitch("TK/KK/KT/KK"), card) == 72 * 9
    assert holes_to_punch(stitch("KT/KT/KK"), card) == 48 * 12
    assert holes_to_punch(stitch("KS/SK"), card) == 24 * 18
    assert holes_to_punch(stitch("KKKKT/KKKKK"), card) is None  # 5 does not go into 24
    assert holes_to_punch(stitch("KT/KK"), load("hand-standard")) is None


SUBJECTS = (
    "KT/KK",
    "KTKS/KKKK",
    "/".join(["KT"] * 8),
    "KTTT/KTTT",
    "KKKKT/KKKKK",
    "/".join(["KT/KK"] * 40),
    "KKKKKKKKKKKS/KKKKKKKKKKKK",
)


@pytest.mark.parametrize("rows", SUBJECTS)
def test_a_figure_is_given_where_the_product_is_made_without_objection(rows: str) -> None:
    """What `stitchc card` and `stitchc sheet` refuse has no holes and no moves, and nothing else is without them."""
    pattern = Pattern("a.stitch", {"a": stitch(rows)})
    products: tuple[tuple[object, Callable[[], object]], ...] = (
        (holes_to_punch(stitch(rows), CARD), lambda: make_card(pattern, CARD, CardOptions(form="json", dpi=100))),
        (hand_moves(stitch(rows), HAND), lambda: make_sheet(pattern, HAND, SheetOptions(form="json"))),
    )
    for figure, product in products:
        if figure is None:
            with pytest.raises(Refused):
                product()
        else:
            product()


HAND, CARD = load("hand-standard"), load("card24-standard")


def test_size_of_100_by_100() -> None:
    """Stocking stitch of 20 x 28 to 10 cm: 50 cm by 35.7 cm."""
    by_name = {line.stitch.name: line for line in lines_of(pattern_of(STITCHES), PlainGauge(20, 28))}
    size = by_name["ground"].size_cm
    assert size is not None
    assert size[0].value == pytest.approx(50, rel=1e-5) and size[1].value == pytest.approx(100 / 2.8, rel=1e-5)
    assert by_name["linen"].size_cm is not None and by_name["linen"].size_cm[0].value < 50
    assert lines_of(pattern_of(STITCHES))[0].size_cm is None


def test_weights_need_the_tex_of_every_yarn() -> None:
    known = {"foam": Yarn("foam", HERE, tex=400)}
    line = lines_of(pattern_of(STITCHES, yarns=known), PlainGauge(20, 28))[0]
    assert line.grams_per_square_metre is not None and line.metres_per_square_metre is not None
    ratio = line.grams_per_square_metre.value / line.metres_per_square_metre.value
    assert ratio == pytest.approx(0.4)  # 400 tex are 0.4 g to the metre
    unknown = lines_of(pattern_of(STITCHES), PlainGauge(20, 28))[0]
    assert unknown.grams_per_square_metre is None and unknown.metres_per_square_metre is not None


@pytest.mark.parametrize("sort", get_args(Sort))
def test_sorting(sort: Sort) -> None:
    lines = in_order_of(lines_of(pattern_of(STITCHES), PlainGauge(20, 28)), sort)

    def sizes(at: int) -> Sequence[float]:
        return [line.size_cm[at].value for line in lines if line.size_cm]

    if sort == "rows":
        assert sizes(1) == sorted(sizes(1), reverse=True)
    elif sort == "width":
        assert sizes(0) == sorted(sizes(0), reverse=True)
    elif sort == "moves":
        assert [line.moves for line in lines] == sorted(line.moves or 0 for line in lines)
    elif sort == "holes":
        *known, last = [line.holes for line in lines]
        assert known == sorted(holes or 0 for holes in known) and None not in known
        assert last is None, "a row with both tuck and slip is no card"
    elif sort == "name":
        assert [line.stitch.name for line in lines] == sorted(STITCHES)
    elif sort == "file":
        assert [line.stitch.name for line in lines] == list(STITCHES)
    else:
        weights = [line.metres_per_square_metre.value for line in lines if line.metres_per_square_metre]
        assert weights == sorted(weights)


# -- the family -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "staggered", "plain_rows"),
    [
        ("KT/KK", False, 1),
        ("KK/KT/KT/KK", False, 2),
        ("KT/KK/TK/KK", True, 1),
        ("KT/KT/TK/TK", True, 0),
        ("KS/SK", True, 0),
        ("K", False, 1),
        ("KT/KT", False, 1),
    ],
)
def test_arrangement_is_read_off_the_repeat(rows: str, staggered: bool, plain_rows: int) -> None:
    assert arrangement_of(chart(rows)) == Arrangement(staggered, plain_rows)


@pytest.mark.parametrize("staggered", [False, True])
def test_the_family_has_every_density_once(staggered: bool) -> None:
    found = family(Arrangement(staggered, 1), None, Limits(), HERE)
    assert len(found) == 2 * len(ONE_IN) * len(HOLDS) == len({stitch.name for stitch in found})
    assert len({stitch.chart.cells.tobytes() + bytes([stitch.chart.width]) for stitch in found}) == len(found)
    assert sum(len(names) for names in strands([stitch.name for stitch in found]).values()) == len(found)
    for stitch in found:
        word, one_in, hold = stitch.name.split("-")
        letter = TUCK if word == "tuck" else SLIP
        cells = stitch.chart.cells
        assert stitch.chart.width == int(one_in.removeprefix("1in"))
        assert (cells == letter).sum() == int(hold[1:]) * (2 if staggered else 1)
        assert (cells != 0).any(axis=1).sum() == int(hold[1:]) * (2 if staggered else 1)


def test_the_family_keeps_to_the_machine() -> None:
    by_hand = load("hand-standard")
    without = replace(by_hand, slip="none")
    assert any(stitch.name.startswith("slip") for stitch in family(Arrangement(), by_hand, Limits(), HERE))
    assert not any(stitch.name.startswith("slip") for stitch in family(Arrangement(), without, Limits(), HERE))
    few = Limits(tucks_in_succession=Limit(error_from=3))
    names = [stitch.name for stitch in family(Arrangement(), None, few, HERE) if stitch.name.startswith("tuck")]
    assert {name[-1] for name in names} == {"1", "2"}


def test_a_density_is_what_it_says() -> None:
    assert density(TUCK, 3, 2, Arrangement()).rows() == ["KKT", "KKT", "KKK"]
    assert density(SLIP, 2, 1, Arrangement(True, 0)).rows() == ["KS", "SK"]


# -- the poster -----------------------------------------------------------------------------------------------------


def _pixels(png: bytes) -> np.ndarray[tuple[int, ...], np.dtype[np.int16]]:
    with Image.open(io.BytesIO(png)) as image:
        return np.asarray(image.convert("RGB"), dtype=np.int16)


def test_the_poster_is_reproducible_and_marked() -> None:
    """A3 lying at 150 dpi."""
    lines = lines_of(pattern_of({"ground": "K"}), PlainGauge(20, 28))
    png = plot(lines, "Ground")
    assert png == plot(lines, "Ground")
    assert b"stitchc" in png[:4096]
    with Image.open(io.BytesIO(png)) as image:
        assert image.size == (2480, 1753)  # 420 x 297 mm
        assert image.info["dpi"][0] == pytest.approx(150, abs=0.1)
        assert "Date" not in str(image.info)


def test_shapes_and_not_colour_alone_tell_tuck_from_slip() -> None:
    lines = lines_of(pattern_of({"ripple": "KT/KK", "linen": "KS/SK"}), PlainGauge(20, 28))
    swapped = lines_of(pattern_of({"ripple": "KS/KK", "linen": "KT/TK"}), PlainGauge(20, 28))
    grey = [_pixels(plot(each, "x")).mean(axis=2) for each in (lines, swapped)]
    assert not np.array_equal(grey[0], grey[1])


@pytest.mark.parametrize(
    ("count", "plain"),
    [(1, None), (2, PlainGauge(20, 60)), (7, PlainGauge(20, 28)), (70, None), (70, PlainGauge(20, 28))],
)
def test_any_number_of_stitches_can_be_drawn(count: int, plain: PlainGauge | None) -> None:
    rows = ["KT/KK", "KS/KK", "KT/KT/KK", "KTKS/KKKK", "KKKT/KKKK", "KS/SK", "K"]
    pattern = pattern_of({f"a-stitch-with-a-long-name-{n}": rows[n % 7] for n in range(count)})
    assert _pixels(plot(lines_of(pattern, plain), "A $title$ \\frac{1}" * 9, "in")).shape == (1753, 2480, 3)


def drawn(monkeypatch: pytest.MonkeyPatch, lines: Sequence[Compared], **more: Any) -> Figure:
    """The figure of a poster, as it is laid out."""
    kept: list[Figure] = []
    monkeypatch.setattr(Figure, "savefig", lambda figure, *_, **__: kept.append(figure))
    plot(lines, "A family", **more)
    kept[0].draw_without_rendering()
    return kept[0]


def _box_of(sign: Line2D) -> Bbox:
    """The square that a sign is drawn in, in pixels."""
    ((x, y),) = sign.get_transform().transform(np.column_stack(sign.get_data()))
    half = sign.get_markersize() / 2 * sign.axes.get_figure().dpi / 72
    return Bbox([[x - half, y - half], [x + half, y + half]])


@pytest.mark.parametrize(
    ("plain", "staggered"), [(None, False), (PlainGauge(20, 28), True), (PlainGauge(30, 36), False)]
)
def test_words_of_a_whole_family_cover_no_other_words_and_the_legend_no_drawing(
    plain: PlainGauge | None, staggered: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = family(Arrangement(staggered), None, Limits(), HERE)
    lines = lines_of(Pattern("a.stitch", {stitch.name: stitch for stitch in found}), plain)
    figure = drawn(monkeypatch, lines, strands=strands([line.stitch.name for line in lines]))
    left, right = figure.subfigs
    (legend,) = left.legends
    named = {text.get_text() for text in legend.get_texts()}
    assert {f"1 in {n}" for n in ONE_IN} <= named
    titles = [text for text in right.axes[0].texts if text.get_weight() == "bold"]
    assert {line.stitch.name for line in lines} == {title.get_text().split()[1] for title in titles}
    numbers = {text.get_text(): Text.get_window_extent(text) for text in left.axes[0].texts}
    assert sorted(map(int, numbers)) == list(range(1, len(lines) + 1))
    signs = [line for line in left.axes[0].lines if line.get_marker() != "None"]
    beside = [*(box.padded(-1) for box in numbers.values()), *(_box_of(sign).padded(-4) for sign in signs)]
    assert len(signs) == len(lines) + 1
    assert not any(box.overlaps(other) for at, box in enumerate(beside[: len(lines)]) for other in beside[at + 1 :])
    heads = [figure._suptitle, left._suptitle, right._suptitle]
    assert figure.bbox.y1 - figure._suptitle.get_window_extent().y1 > 4 / 25.4 * figure.dpi  # 4 mm of margin
    boxes = [text.get_window_extent().padded(-1) for text in (*heads, *titles)]
    boxes += [legend.get_window_extent(), left.axes[0].get_window_extent().padded(-1)]
    assert not any(box.overlaps(other) for at, box in enumerate(boxes) for other in boxes[at + 1 :])
    assert all(figure.bbox.x0 <= box.x0 and box.x1 <= figure.bbox.x1 for box in boxes)


def test_every_kind_and_basis_together_leave_the_headings_free(monkeypatch: pytest.MonkeyPatch) -> None:
    swatches = (Swatch("plain", 100, HERE, 20, 28), Swatch("ripple", 100, HERE, 18, 38))
    pattern = pattern_of(STITCHES, swatches=swatches)
    lines = lines_of(pattern)
    reference = next(line for line in lines if line.stitch.name == "ripple")
    figure = drawn(monkeypatch, lines, against=compare_with(lines, reference, estimate_pattern(pattern)))
    left, right = figure.subfigs
    (legend,) = left.legends
    assert len(legend.get_texts()) >= 7
    for other in (left._suptitle, right._suptitle, left.axes[0].xaxis.label):
        assert not legend.get_window_extent().overlaps(other.get_window_extent())


def test_nothing_to_plot_is_said() -> None:
    with pytest.raises(ValueError, match="nothing"):
        plot([], "x")


# -- the command ------------------------------------------------------------------------------------------------------


@pytest.fixture
def files(tmp_path: Path) -> list[str]:
    one, two = tmp_path / "tide.stitch", tmp_path / "skim.stitch"
    one.write_text(
        'pattern "Tide line"\nyarn foam "sea green" tex 420\ngauge plain 20 stitches 28 rows per 10 cm\n'
        "stitch ripple\n 1: K T\n 2: K\nstitch bars\n 1-2: K T\n 3: K\n",
        encoding="utf-8",
    )
    two.write_text("gauge plain 22 stitches 30 rows per 10 cm\nstitch skim\n 1: K S\n 2: S K\n", encoding="utf-8")
    return [str(one), str(two)]


def test_json_over_several_files(files: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["compare", *files, "--sort", "moves", "--format", "json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["format"] == "stitchc-compare/1" and found["sorted_by"] == "moves"
    assert [line["name"] for line in found["stitches"]] == ["bars", "ripple", "skim"]
    assert found["stitches"][2]["file"] == files[1]
    assert found["stitches"][0]["moves_per_100_rows_on_100_needles"] == 49 * 34
    assert found["stitches"][0]["grams_per_square_metre"]["value"] > 0
    assert found["stitches"][2]["grams_per_square_metre"] is None


def test_table_names_the_files_and_stays_in_columns(files: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["compare", *files]) == 0
    out = capsys.readouterr().out
    assert "tide" in out and "skim" in out and "wide, cm" in out
    assert run(["compare", *files, "--units", "in"]) == 0
    assert "wide, in" in capsys.readouterr().out


def test_sweep_with_and_without_a_file(files: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["compare", "--sweep", "--format", "json"]) == 0
    bare = json.loads(capsys.readouterr().out)["stitches"]
    assert len(bare) == 40 and bare[0]["rows_per_10cm"] is None
    assert run(["compare", files[1], "--sweep", "--format", "json"]) == 0
    staggered = json.loads(capsys.readouterr().out)["stitches"]
    rows = {line["name"]: line["rows"] for line in staggered}
    assert rows["tuck-1in2-x2"] == ["KT", "KT", "TK", "TK"]
    assert staggered[0]["rows_per_10cm"]["value"] > 30


def test_png_is_written_named_and_guarded(files: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "wall.png"
    assert run(["compare", *files, "--format", "png", "-o", str(target)]) == 0
    assert capsys.readouterr().out.strip() == str(target)
    assert run(["compare", *files, "--format", "png", "-o", str(target)]) == 0  # ours: may be written again
    target.write_text("a list of mine", encoding="utf-8")
    assert run(["compare", *files, "--format", "png", "-o", str(target)]) == 3
    assert target.read_text(encoding="utf-8") == "a list of mine"


def test_letters_that_the_plot_lacks_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "names.stitch"
    path.write_text('pattern "Wave \u6ce2"\nstitch wave\n1: K T\n2: K\nstitch \u6ce2\n1: K T\n2: K\n', "utf-8")
    target = tmp_path / "names.png"
    assert run(["compare", str(path), "--plain", "20x28", "--format", "png", "-o", str(target)]) == 0
    assert "The plot's font has no `\u6ce2`" in capsys.readouterr().err
    assert run(["compare", str(path), "--plain", "20x28"]) == 0
    assert "font" not in capsys.readouterr().err
    figure = drawn(monkeypatch, lines_of(pattern_of({"\u6ce2": "KT/KK"}), PlainGauge(20, 28)))
    texts = " ".join(text.get_text() for text in figure.findobj(Text))  # type: ignore[attr-defined]
    assert "\\u{6ce2}" in texts and "\u6ce2" not in texts


def test_hebrew_is_set_from_right_to_left(monkeypatch: pytest.MonkeyPatch) -> None:
    """Yod, the first letter, is a small mark; shin, the second, is the widest: the ink lies at the left."""
    figure = drawn(monkeypatch, lines_of(pattern_of({"\u05d9\u05e9": "KT/KK"}), PlainGauge(20, 28)))
    label = next(each.get_text() for each in figure.findobj(Text) if "\u05d9" in each.get_text())  # type: ignore[attr-defined]
    monkeypatch.undo()
    alone, out = Figure(figsize=(4, 2), dpi=100), io.BytesIO()
    name = label.partition("\n")[0].lstrip("0123456789 ")
    alone.text(0.1, 0.3, name, size=60, family="DejaVu Sans")
    alone.savefig(out, format="png")
    ink = np.flatnonzero((_pixels(out.getvalue()).mean(axis=2) < 128).sum(axis=0))
    counts = (_pixels(out.getvalue()).mean(axis=2) < 128).sum(axis=0)[ink[0] : ink[-1] + 1]
    left, right = counts[: len(counts) // 2].sum(), counts[len(counts) // 2 :].sum()
    assert left > 1.2 * right


@pytest.mark.parametrize(
    "arguments", [["compare"], ["compare", "-", "-"], ["compare", "a.stitch", "b.stitch", "--sweep"]]
)
def test_wrong_usage(arguments: list[str]) -> None:
    assert run(arguments) == 2


def test_an_unknown_stitch_is_named(files: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["compare", *files, "--stitch", "ripple", "--stitch", "riple"]) == 1
    assert "`riple`" in capsys.readouterr().err
    assert run(["compare", files[0], "--stitch", "riple"]) == 1
    assert run(["compare", *files, "--stitch", "skim", "--format", "json"]) == 0
    assert [line["name"] for line in json.loads(capsys.readouterr().out)["stitches"]] == ["skim"]


def test_swatches_of_the_file_teach_the_family() -> None:
    swatches = (Swatch("plain", 100, HERE, 20, 28), Swatch("ripple", 100, HERE, 16, 50))
    taught = lines_of(pattern_of(STITCHES, swatches=swatches))
    untaught = lines_of(pattern_of(STITCHES), PlainGauge(20, 28))
    of = {line.stitch.name: line.gauge.row_factor for line in taught}
    before = {line.stitch.name: line.gauge.row_factor for line in untaught}
    assert of["honeycomb"].value > before["honeycomb"].value
    assert math.isclose(of["ripple"].value, 50 / 28, rel_tol=1e-5)


# -- one against another ----------------------------------------------------------------------------------------------


def test_against_json_has_what_the_contract_promises(files: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["compare", files[0], "--against", "ripple", "--format", "json"]) == 0
    found = {line["name"]: line for line in json.loads(capsys.readouterr().out)["stitches"]}
    assert "against" not in found["ripple"]
    against = found["bars"]["against"]
    assert against["name"] == "ripple"
    for ratio in ("width_ratio", "length_ratio", "weight_ratio", "yarn_ratio"):
        assert against[ratio]["low"] < against[ratio]["value"] < against[ratio]["high"]
    sizes = [found[name]["size_of_100_by_100_cm"]["length"]["value"] for name in ("bars", "ripple")]
    assert against["length_ratio"]["value"] == pytest.approx(sizes[0] / sizes[1], rel=1e-3)
    assert against["length_ratio"]["value"] < 1 and against["longer_in_100"] < 50
    assert against["moves_ratio"] == pytest.approx(49 * 34 / (49 * 50), abs=1e-3)


@pytest.mark.parametrize("plain", [None, PlainGauge(20, 28)])
def test_ratios_are_by_the_joint_law(plain: PlainGauge | None) -> None:
    """Against 4,000 knitters drawn from the same law; what the two share (stocking stitch among it) falls out."""
    pattern = pattern_of(STITCHES)
    report = estimate_pattern(pattern, plain=plain)
    lines = lines_of(pattern, plain)
    reference = next(line for line in lines if line.stitch.name == "ripple")
    found = compare_with(lines, reference, report)
    law = report.joint(list(STITCHES))
    shared = {name: [law.place_of(name, "stitches"), law.place_of(name, "rows")] for name in STITCHES}
    places = [*shared["honeycomb"], *shared["ripple"]]
    covariance = law.covariance[np.ix_(places, places)]
    contrast = np.array([[1, 0, -1, 0], [0, 1, 0, -1]])
    drawn_logs = np.random.default_rng(3).multivariate_normal(
        contrast @ law.mean[places], contrast @ covariance @ contrast.T, 4000
    )
    against = found["a.stitch", "honeycomb"]
    assert against.wider_in_100 == pytest.approx(100 * np.mean(drawn_logs[:, 0] < 0), abs=3)
    assert against.longer_in_100 == pytest.approx(100 * np.mean(drawn_logs[:, 1] < 0), abs=3)
    assert against.length.low == pytest.approx(np.exp(np.percentile(-drawn_logs[:, 1], 5)), rel=0.02)
    assert against.length.high == pytest.approx(np.exp(np.percentile(-drawn_logs[:, 1], 95)), rel=0.02)
    assert against.length.log_sd < math.sqrt(2) * report.of("honeycomb").row_factor.log_sd  # type: ignore[union-attr]


def test_a_stitch_over_the_same_fabric_is_one(files: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    path = Path(files[0])
    path.write_text(path.read_text(encoding="utf-8") + "stitch again = ripple shifted 1\n", encoding="utf-8")
    assert run(["compare", str(path), "--against", "again", "--stitch", "ripple", "--format", "json"]) == 0
    found = {line["name"]: line for line in json.loads(capsys.readouterr().out)["stitches"]}
    assert found["ripple"]["against"]["width_ratio"] == {"value": 1.0, "low": 1.0, "high": 1.0}
    assert found["ripple"]["against"]["wider_in_100"] == 50


def test_against_in_words_names_the_best_swatch(files: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["compare", *files, "--against", "ripple"]) == 0
    out = capsys.readouterr().out
    assert "of 100, shorter in" in out and "not in the same file" in out
    assert "would show the differences best: " in out and "% narrower" in out
    assert run(["compare", *files, "--against", "riple"]) == 1
    assert "`riple`" in capsys.readouterr().err


def test_the_best_swatch_is_better_than_the_others_by_what_it_says() -> None:
    pattern = pattern_of(STITCHES)
    report = estimate_pattern(pattern, plain=PlainGauge(20, 28))
    names = [name for name in STITCHES if name not in ("ripple", "ground")]
    best = best_swatch("ripple", names, report)
    assert best is not None and 0.01 < best.narrower < 1

    def spread(knowing: GaugeReport) -> float:
        law = knowing.joint(["ripple", *names])
        total = 0.0
        for name in names:
            for direction in ("stitches", "rows"):
                one, other = law.place_of(name, direction), law.place_of("ripple", direction)  # type: ignore[arg-type]
                pair = law.covariance[np.ix_([one, other], [one, other])]
                total += math.sqrt(pair[0, 0] + pair[1, 1] - 2 * pair[0, 1])
        return total

    expected = {name: report.of(name) for name in ("ripple", *names)}
    after = {
        name: spread(report.adding([Swatch(name, 100, HERE, g.stitches_per_10cm.value, g.rows_per_10cm.value)]))  # type: ignore[union-attr]
        for name, g in expected.items()
    }
    assert min(after, key=lambda name: after[name]) == best.name
    assert best.narrower == pytest.approx(1 - after[best.name] / spread(report), abs=0.01)


def test_a_part_of_another_stitch_may_be_the_reference(files: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    path = Path(files[0])
    path.write_text(path.read_text(encoding="utf-8") + "stitch drift = ripple then bars\n", encoding="utf-8")
    assert run(["compare", str(path), "--against", "ripple", "--format", "json"]) == 0
    found = {line["name"]: line for line in json.loads(capsys.readouterr().out)["stitches"]}
    assert set(found) == {"drift", "ripple"} and found["drift"]["against"]["name"] == "ripple"


def test_of_several_files_remarks_name_theirs_and_a_line_of_both_is_told_of_once(files: list[str]) -> None:
    """The second file includes the first, whose gauge is used in both."""
    one = Path(files[0])
    text = (
        one.read_text(encoding="utf-8") + "gauge plain 20 stitches 28 rows per 10 cm\nstitch drift = ripple then bars\n"
    )
    one.write_text(text, encoding="utf-8")
    Path(files[1]).write_text(f'include "{one.name}"\nstitch b = ripple across 2\n', encoding="utf-8")
    patterns = [pattern for file in files if (pattern := compile_file(file).pattern) is not None]
    made = compare_stitches(patterns, options=CompareOptions(plain=PlainGauge(22, 30)))
    assert [message.code for message in made.messages].count("G610") == 1
    assert any(words.startswith(f"Skipped in `{one}`, because they are parts") for words in made.remarks)


def test_stocking_stitch_may_be_the_reference(files: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Its ratios are the factors of the gauge turned round, and its own line is that of the file's gauge."""
    options = [*files, "--stitch", "ripple", "--plain", "20x28"]
    assert run(["compare", *options, "--against", "plain", "--format", "json"]) == 0
    lines = json.loads(capsys.readouterr().out)["stitches"]
    plain = next(line for line in lines if line["name"] == "plain")
    assert plain["stitches_per_10cm"]["value"] == 20 and "against" not in plain
    ripple = next(line for line in lines if line["name"] == "ripple")
    for ratio, factor, share in (
        ("width_ratio", "stitch_factor", "wider_in_100"),
        ("length_ratio", "row_factor", "longer_in_100"),
    ):
        against = ripple["against"]
        assert against[ratio]["value"] == pytest.approx(1 / ripple[factor]["value"], rel=1e-3)
        # what differs from swatch to swatch is in the factor's range, but not in the ratio of two means
        assert 1 / ripple[factor]["high"] < against[ratio]["low"] < against[ratio]["high"] < 1 / ripple[factor]["low"]
        assert (against[ratio]["value"] > 1) == (against[share] > 50)


def test_each_file_has_its_own_stocking_stitch(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "ground.stitch").write_text("stitch ripple\n1: K T\n2: K\n")
    for name, count in (("a", 20), ("b", 24)):
        gauge = f"gauge plain {count} stitches 28 rows per 10 cm\n"
        (tmp_path / f"{name}.stitch").write_text(f'include "ground.stitch"\n{gauge}')
    paths = [str(tmp_path / f"{name}.stitch") for name in "ab"]
    assert run(["compare", *paths, "--against", "plain", "--format", "json"]) == 0
    lines = json.loads(capsys.readouterr().out)["stitches"]
    assert sorted(line["stitches_per_10cm"]["value"] for line in lines if line["name"] == "plain") == [20, 24]
    assert [line["against"]["name"] for line in lines if line["name"] == "ripple"] == ["plain"] * 2

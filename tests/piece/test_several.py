"""Pieces made more than once, in several sizes, and the yarn of all pieces of a pattern."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from stitchc.document import ByHand, Part, PassRow, Table
from stitchc.gauge.gauges import Range
from stitchc.gauge.yarn import Cells
from stitchc.leaflet.product import make_leaflet
from stitchc.machines import load
from stitchc.options import LeafletOptions, PieceOptions
from stitchc.pattern import Ball
from stitchc.piece import Plan
from stitchc.piece.product import plan_piece, write_instructions
from stitchc.piece.size_words import labelled, size_table, summary_words
from stitchc.piece.yarn import ALLOWANCE, YarnNeeded, yarn_needed
from stitchc.product import WrongOption
from tests.leaflet.made import in_size
from tests.piece.conftest import pattern_of

HEAD = """
yarn oat "undyed" ball 50 g 120 m
yarn foam "sea green"
gauge plain 22 stitches 30 rows per 10 cm
stitch ripple over 4
    1: K3 T
    2: K
    3: K T K2
    4: K
"""
CUFF = "    knit plain for 6 rows in foam\n    knit ripple for 8 cm in oat\n"
MACHINE = load("hand-standard")


def planned(text: str, **options: object) -> tuple[Plan, ...]:
    return plan_piece(pattern_of(HEAD + text), MACHINE, PieceOptions(**options)).values  # type: ignore[arg-type]


def text_of(text: str, **options: object) -> str:
    (file,) = plan_piece(pattern_of(HEAD + text), MACHINE, PieceOptions(**options)).files  # type: ignore[arg-type]
    return " ".join(file.content.decode().split())


def json_of(text: str, **options: object) -> dict[str, object]:
    (file,) = plan_piece(pattern_of(HEAD + text), MACHINE, PieceOptions(form="json", **options)).files  # type: ignore[arg-type]
    document: dict[str, object] = json.loads(file.content)
    return document


# -- sizes --------------------------------------------------------------------------------------------------------


def test_every_figure_of_the_table_of_sizes_is_in_both_units() -> None:
    """A reader of the leaflet's page chooses the units after she has seen the table."""
    plans = planned("piece it\n    sizes 20, 30 cm\n" + CUFF)
    for units in ("cm", "in"):
        (table,) = size_table(plans, ["20 cm", "30 cm"], units)
        for name, *cells in table.rows:
            in_both = all(re.fullmatch(r"[\d.]+ (cm|in) \([\d.]+ (cm|in)\)", cell) for cell in cells)
            assert in_both == (name in ("Width", "Length"))
        bounds = {name: cells for name, *cells in table.rows if "may be" in name}
        assert {name[-2:] for name in bounds} == {"cm", "in"} and len(bounds) == 4
        cm, inches = (float(bounds[f"Width may be, {unit}"][0].split()[0]) for unit in ("cm", "in"))
        assert inches == pytest.approx(cm / 2.54, abs=0.1)


@pytest.mark.parametrize("unit", ["cm", "in", "mm"])
def test_each_size_is_as_it_would_be_planned_alone(unit: str) -> None:
    sizes = {"cm": ("16", "18", "20.5"), "in": ("6", "7", "8.5"), "mm": ("160", "180", "205")}[unit]
    piece = f"piece cuff\n    sizes {', '.join(sizes)} {unit} plus 1 cm\n{CUFF}"
    together = planned(piece)
    assert len(together) == 3
    for size, plan in zip(sizes, together, strict=True):
        (alone,) = planned(f"piece cuff\n    width {size} {unit} plus 1 cm\n{CUFF}")
        (chosen,) = planned(
            f"piece cuff\n    sizes {', '.join(sizes)} {unit} plus 1 cm\n{CUFF}", sizes=f"{size} {unit}"
        )
        for other in (alone, chosen):
            assert (plan.needles, plan.passes, plan.width_cm, plan.length_cm) == (
                other.needles,
                other.passes,
                other.width_cm,
                other.length_cm,
            )
            assert yarn_needed(plan) == yarn_needed(other)


def test_the_text_gives_the_first_size_and_the_others_in_brackets() -> None:
    piece = f"piece cuff\n    sizes 16, 18, 20 cm plus 1 cm\n{CUFF}"
    text, plans = text_of(piece), planned(piece)
    needles = [plan.needles.count for plan in plans]
    assert "Sizes: 16 cm [18 cm, 20 cm]." in text
    assert f"{needles[0]} [{needles[1]}, {needles[2]}] in work" in text
    widths = [f"{plan.width_cm.value:.1f}" for plan in plans if plan.width_cm]
    assert f"{widths[0]} [{widths[1]}, {widths[2]}] cm" in text
    oat = [next(yarn for yarn in yarn_needed(plan) if yarn.name == "oat") for plan in plans]
    for size, yarn in zip((16, 18, 20), oat, strict=True):
        assert yarn.metres and f"oat {size} cm {yarn.metres.value:.0f} ({yarn.metres.low:.0f} to " in text
    assert "- oat: undyed, 28 rows" in text
    assert "[" not in text_of(piece, sizes="18").split("Terms")[0]


def test_sizes_that_come_out_alike_are_told_in_every_form() -> None:
    piece = "piece cuff\n    sizes 8, 8.5, 12 cm plus 1 cm\n    knit ripple for 8 cm in oat\n"
    needles = [plan.needles.count for plan in planned(piece)]
    assert needles[0] == needles[1] < needles[2]
    product = plan_piece(pattern_of(HEAD + piece), MACHINE)
    (told,) = (message for message in product.messages if message.code == "P416")
    assert f"8 cm and 8.5 cm of `cuff` come out alike: each is knitted on {needles[0]} needles" in told.text
    assert told.span is not None and told.span.column == len("    sizes 8, ") + 1
    assert (
        told.advice is not None
        and told.advice.startswith("Sizes at least ")
        and "1 repeat of `ripple` is" in told.advice
    )
    assert "come out alike" in text_of(piece) and "come out alike" in json.dumps(json_of(piece))
    assert "come out alike" in text_of(piece, sizes="8,8.5") and "come out alike" not in text_of(piece, sizes="8,12")
    leaflet = make_leaflet(pattern_of(HEAD + piece), [MACHINE], LeafletOptions(form="text", pictures=False))
    assert [message.code for message in leaflet.messages].count("P416") == 1


def test_the_sizes_of_a_file_are_one_object_in_json() -> None:
    piece = f"piece cuff\n    sizes 16, 18, 20 cm\n{CUFF}"
    document = json_of(piece)
    others = document["other_sizes"]
    assert isinstance(others, list)
    assert [each["size_cm"] for each in (document, *others)] == [16, 18, 20]
    assert {**document, "other_sizes": None} == {**json_of(piece, sizes="16"), "other_sizes": None}
    assert others[1] == json_of(piece, sizes="20")


def test_half_way_it_has_to_be_said_which_size_is_on_the_needles() -> None:
    piece = f"piece cuff\n    sizes 16, 18 cm\n{CUFF}"
    with pytest.raises(WrongOption, match="--sizes"):
        planned(piece, so_far=("ripple 12 rows 3.5 cm",))
    assert planned(piece, sizes="18", so_far=("ripple 12 rows 3.5 cm",))[0].needles == planned(piece)[1].needles


LADDERS = """
stitch steps over 6
    out 6
    1, 2: K T K T K
    3, 4: K
stitch marks over 8
    1-2 in oat: K3 S K4
    3-4 in foam: S K7
piece cuff
    make 2
    sizes 18, 20, 24 cm plus 1 cm
    knit plain for 4 rows in oat
    knit steps for 8 rows in oat
    knit marks for 12 rows
    do "Cast off."
"""


@pytest.mark.parametrize("machine", ["hand-standard", "card24-standard"])
def test_everything_counted_is_that_of_each_size(machine: str) -> None:
    """Needles out of work, what is held before each row and after the last, needles moved: as it is made alone."""

    def told(**options: object) -> tuple[list[str], list[tuple[int, ...]]]:
        product = write_instructions(pattern_of(HEAD + LADDERS), load(machine), PieceOptions(**options))  # type: ignore[arg-type]
        document = product.values[0].document
        assert document.rows is not None
        words = [*document.rows.before, document.rows.total]
        for entry in document.rows.entries:
            words += [entry.text] if isinstance(entry, ByHand) else entry.state if isinstance(entry, PassRow) else ()
        parts = {part.heading: part.blocks for part in document.parts}
        strips = [block if isinstance(block, str) else block.alt for block in parts["Needles in work and out of work"]]  # type: ignore[union-attr]
        words += [strip for strip in strips if "out of work" in strip]
        return words, [entry.moves for entry in document.rows.passes()]

    words, moves = told()
    assert any("needles with held loops" in line and " one plain row with foam" in line for line in words)
    assert any("out of work, the others from" in line for line in words)
    for place, size in enumerate(("18", "20", "24")):
        own, own_moves = told(sizes=size)
        assert [in_size(line, place) for line in words] == own
        assert [each[place] for each in moves] == [count for (count,) in own_moves]


def test_the_page_counts_the_moves_of_every_size(browser: Browser, tmp_path: Path) -> None:
    (file,) = plan_piece(pattern_of(HEAD + LADDERS), MACHINE, PieceOptions(form="html")).files
    target = tmp_path / file.name
    target.write_bytes(file.content)
    totals = [sum(each.moves for each in plan.passes) for plan in planned(LADDERS)]
    page = browser.new_page()
    page.goto(target.as_uri())
    all_of_them = f"{totals[0]} [{totals[1]}, {totals[2]}] needles moved"
    assert page.inner_text("#done") == f"0 rows done, 24 left; 0 of {all_of_them}"
    beds = [plan.needles for plan in planned(LADDERS)]
    left, right = ([getattr(bed, side) for bed in beds] for side in ("left", "right"))
    where = f"{left[0]} [{left[1]}, {left[2]}] to {right[0]} [{right[1]}, {right[2]}]"
    assert where in page.locator("tr.running").first.text_content()  # type: ignore[operator]
    page.fill("#jump-row", "6")
    page.keyboard.press("Enter")
    done = [sum(each.moves for each in plan.passes[:5]) for plan in planned(LADDERS)]
    assert page.inner_text("#done").endswith(f"; {done[0]} [{done[1]}, {done[2]}] of {all_of_them}")
    page.close()


# -- balls --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("grams", "ball", "count", "spare"),
    [
        ((90, 80, 100), Ball(50, 120), 2, 1),  # 90 x 1.1 = 99 of 100 g; 100 x 1.1 = 110 g
        ((90, 89, 90.9), Ball(50, 120), 2, 0),  # 90.9 x 1.1 = 99.99 g
        ((91, 80, 92), Ball(50, 120), 3, 0),  # 91 x 1.1 = 100.1 g
        ((1, 1, 1), Ball(100, 300), 1, 0),
        ((90, 80, 240), Ball(50, 120), 2, 4),  # 240 x 1.1 = 264 g
    ],
)
def test_whole_balls_and_a_spare_where_the_range_says_so(
    grams: tuple[float, float, float], ball: Ball, count: int, spare: int
) -> None:
    assert ALLOWANCE == 0.1
    amounts = Range(*grams)
    tex = Range(417, 417, 417)
    yarn = YarnNeeded("oat", "", 10, Cells(), tex, amounts.times(1000 / 417), amounts, ball)
    found, least = yarn.to_have(), yarn.to_have(whole_range=False)
    assert found is not None and least is not None
    assert (least.balls, found.balls) == (count, count + spare)
    assert YarnNeeded("oat", "", 10, Cells(), None, None, None, ball).to_have() is None


@pytest.mark.parametrize("metres", [12.0, 99.0, 110.0, 218.0, 219.0, 400.0])
@pytest.mark.parametrize("ball", [Ball(50, 120), Ball(50, 115), Ball(42, 101), Ball(100, 217)])
@pytest.mark.parametrize("swatch", [0.0, 55.0])
def test_metres_grams_and_balls_to_have_are_one_amount(metres: float, ball: Ball, swatch: float) -> None:
    """The grams hold the metres, the balls both, and one ball fewer holds neither."""
    tex = Range(ball.tex, ball.tex * 0.97, ball.tex * 1.03)
    of_fabric = Range(metres * 0.9, metres * 0.8, metres)
    weight = Range(metres * 0.9 * ball.tex / 1000, 1, metres * 1.03 * ball.tex / 1000)
    have = YarnNeeded("oat", "", 10, Cells(), tex, of_fabric, weight, ball, swatch).to_have()
    assert have is not None and have.grams is not None and have.balls is not None
    assert metres * 1.1 + swatch - 1e-9 <= have.metres <= metres * 1.1 + swatch + 10
    assert have.metres * ball.grams / ball.metres <= have.grams + 1e-9
    assert (have.balls - 1) * ball.metres < have.metres <= have.balls * ball.metres
    assert (have.balls - 1) * ball.grams < have.grams <= have.balls * ball.grams


def test_yards_stand_beside_every_metre_where_units_are_inches() -> None:
    text = text_of("piece scarf\n    make 2\n    width 30 cm\n    knit ripple for 200 cm in oat\n", units="in")
    assert re.search(r"Metres: [\d,]+ \([\d,]+ to [\d,]+\) Yards: [\d,]+ \(", text)
    assert re.search(r"Have: [\d,]+ m, [\d,]+ yd, [\d,]+ g", text)
    assert "50 g with 120 m (132 yd)." in text


def test_balls_are_said_with_their_spare_and_a_word_on_dye_lots() -> None:
    piece = "piece scarf\n    width 30 cm\n    knit ripple for 200 cm in oat\n"
    (plan,) = planned(piece)
    (yarn,) = yarn_needed(plan)
    assert yarn.grams is not None
    assert yarn.metres is not None
    count = math.ceil(yarn.metres.value * 1.1 / 120)
    spare = math.ceil(yarn.metres.high * 1.1 / 120) - count
    assert spare
    text = text_of(piece)
    assert re.search(rf" Have Balls oat [\d,]+ \(.* g {count} or {count + spare} ", text)
    assert "A ball of oat has 50 g with 120 m. Where two numbers of balls are given, the smaller" in text.replace(
        " - ", " "
    )
    assert "one dye lot" in text
    entry = json_of(piece)["yarn"][0]  # type: ignore[index]
    assert entry["balls"] == {"grams": 50, "metres": 120, "count": count, "spare": spare}
    assert "dye lot" not in text_of("piece swatch\n    width 30 cm\n    knit plain for 20 cm in foam\n")


# -- all pieces ---------------------------------------------------------------------------------------------------


def test_the_yarn_of_all_pieces_is_added_up_as_often_as_each_is_made() -> None:
    cuff, back = (
        f"piece cuff\n    make 2\n    width 16 cm\n{CUFF}",
        "piece back\n    width 40 cm\n    knit ripple for 30 cm in oat\n",
    )
    document = json_of(cuff + back, piece="cuff")
    (one,), (other,) = planned(cuff), planned(back)
    everything = document["yarn_of_all_pieces"]
    assert isinstance(everything, dict)
    assert everything["pieces"] == [{"piece": "cuff", "make": 2}, {"piece": "back", "make": 1}]
    metres = {yarn["name"]: yarn["metres"]["value"] for yarn in everything["yarn"]}
    expected: dict[str | None, float] = {}
    for count, plan in ((2, one), (1, other)):
        for yarn in yarn_needed(plan):
            assert yarn.metres is not None
            expected[yarn.name] = expected.get(yarn.name, 0) + count * yarn.metres.value
    assert metres == pytest.approx(expected, rel=0.01)
    text = text_of(cuff + back, piece="back")
    assert "These amounts are for all that you knit: 2 × cuff and 1 × back." in text
    assert "Make: 2, one after the other" in text_of(cuff)


def test_sizes_of_several_pieces_go_along_with_each_other() -> None:
    sizes = "piece back\n    sizes 40, 44, 48 cm\n    knit ripple for 30 cm in oat\n"
    cuff = f"piece cuff\n    sizes 16, 17, 18 cm\n{CUFF}"

    def metres(text: str, **options: object) -> float:
        everything = json_of(text, piece="back", **options)["yarn_of_all_pieces"]
        return float(next(y["metres"]["value"] for y in everything["yarn"] if y["name"] == "oat"))  # type: ignore[index]

    alone = {
        size: sum(
            y.metres.value
            for plan in (planned(sizes, sizes=size)[0], planned(cuff, sizes=other)[0])
            for y in yarn_needed(plan)
            if y.name == "oat" and y.metres
        )
        for size, other in (("40", "16"), ("48", "18"))
    }
    assert metres(sizes + cuff, sizes="40") == pytest.approx(alone["40"], rel=0.01)
    assert metres(sizes + cuff, sizes="48") == pytest.approx(alone["48"], rel=0.01)
    unlike = cuff.replace("16, 17, 18", "16, 18")
    assert "cuff is counted in size 16 cm." in text_of(sizes + unlike, piece="back")


@pytest.mark.parametrize(("units", "labels"), [("cm", ["16 cm", "18 cm"]), ("in", ["6.3 in", "7.1 in"])])
def test_a_piece_of_one_size_has_the_total_of_every_size_of_the_others(units: str, labels: list[str]) -> None:
    back = "piece back\n    width 40 cm\n    knit ripple for 30 cm in oat\n"
    cuff = f"piece cuff\n    make 2\n    sizes 16, 18 cm\n{CUFF}"
    product = write_instructions(pattern_of(HEAD + back + cuff), MACHINE, PieceOptions(piece="back", units=units))  # type: ignore[arg-type]
    everything = product.values[0].yarn
    assert everything is not None and list(everything.labels) == labels and not everything.in_one_size
    part = yarn_to_buy(back + cuff, piece="back", units=units)
    (table,) = [block for block in part.blocks if isinstance(block, Table)]
    assert [row[:2] for row in table.rows] == [(name, label) for name in ("oat", "foam") for label in labels]
    for at, size in enumerate(("16", "18")):
        (other,), (one,) = planned(cuff, sizes=size), planned(back)
        expected = sum(
            count * yarn.metres.value
            for count, plan in ((2, other), (1, one))
            for yarn in yarn_needed(plan)
            if yarn.name == "oat" and yarn.metres
        )
        metres = next(yarn.metres for yarn in everything.sizes[at] if yarn.name == "oat")
        assert metres and metres.value == pytest.approx(expected, rel=0.01)


def test_the_summary_is_of_every_size_and_of_all_that_are_made() -> None:
    cuff = f"piece cuff\n    make 2\n    sizes 16, 20 cm\n{CUFF}"
    plans = planned(cuff)
    first, second = (plan.needles.count for plan in plans)
    words = summary_words(plans, "cm")
    assert words.startswith(
        f"2 of it in sizes 16 cm [20 cm], each {first} [{second}] needles and 34 rows; about 17 [20]"
    )
    (table,) = [block for block in yarn_to_buy(cuff).blocks if isinstance(block, Table)]
    metres = [row[table.head.index("Have")].split(", ")[0].removesuffix(" m") for row in table.rows if row[0] == "oat"]
    assert f"have {metres[0]} [{metres[1]}] m" in words and "of oat" in words
    (alone,) = planned(cuff, sizes="16")
    assert summary_words([alone], "in").startswith(f"2 of it, each {first} needles and 34 rows; about 6.")
    (scarf,) = planned("piece scarf\n    width 30 cm\n    knit ripple for 12 rows in oat\n")
    assert summary_words([scarf], "cm").startswith(f"{scarf.needles.count} needles and 12 rows; about ")


def yarn_to_buy(text: str, **options: object) -> Part:
    product = write_instructions(pattern_of(HEAD + text), MACHINE, PieceOptions(**options))  # type: ignore[arg-type]
    return next(part for part in product.values[0].document.parts if part.heading == "Yarn to buy")


def test_the_yarn_to_buy_of_several_sizes_is_a_line_a_size() -> None:
    front = "piece front\n    make 3\n    sizes 36, 41, 46.5 cm\n    knit plain for 60 cm in thrift\n"
    text = plan_piece(pattern_of(f"{HEAD}yarn thrift ball 50 g 125 m\n{front}"), MACHINE).files[0].content.decode()
    (lines,) = re.findall(r"\n(  Yarn +Size .*Balls\n(?:  thrift .*\n)+)", text.split("\nYarn to buy")[1])
    assert [re.search(r"(\d+ or \d+|\d+)$", line) is not None for line in lines.splitlines()[1:]] == [True] * 3


def test_sizes_are_called_in_the_units_asked_for() -> None:
    cuff = f"piece cuff\n    sizes 16, 18 cm\n{CUFF}"
    assert "Sizes: 6.3 in [7.1 in]." in text_of(cuff, units="in")
    assert "Sizes: 16 cm [18 cm]." in text_of(cuff)
    assert labelled((("6.5 in", 165.1), ("6.51 in", 165.354)), "cm") == [("16.51 cm", 165.1), ("16.54 cm", 165.354)]


def test_a_piece_that_cannot_be_planned_is_named() -> None:
    wide = "piece sail\n    width 900 cm\n    knit ripple for 30 cm in oat\n"
    assert "Not counted: `sail`" in text_of(f"piece cuff\n    make 2\n    width 16 cm\n{CUFF}{wide}", piece="cuff")

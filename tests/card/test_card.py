"""The card: which cells are holes, where they lie, and that every form shows the same."""

from __future__ import annotations

import itertools
import json
from dataclasses import replace
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stitchc.card import Card, notes, plan_card, unfit
from stitchc.card.data import as_json, place_mm
from stitchc.card.drawing import Ink, fit_parts, one_tile, page_of, tiles_of
from stitchc.card.paper import DoesNotFit, Tile
from stitchc.card.product import files_of, make_card
from stitchc.card.proof import ProofFailed, prove_pdf, prove_png, prove_svg
from stitchc.chart import Chart
from stitchc.machines import load, load_text
from stitchc.machines.profile import Machine
from stitchc.messages import Refused, Span
from stitchc.notation import compile_text
from stitchc.options import CardOptions
from stitchc.page import PAPERS, Circle, Disc, Line, Page, Rectangle, Text
from stitchc.page.lettering import width_mm
from stitchc.page.pdf import pdf
from stitchc.page.png import png
from stitchc.page.svg import svg
from stitchc.pattern import Stitch
from stitchc.piece.product import plan_piece
from stitchc.sheet.product import make_sheet
from tests.card.reader_simulation import knits
from tests.page import reading

# Matrices that can be cited, first knitted row first. M1: "What is Pique Fabric" (a trade page), needle by needle;
# M2, M3: derived from the procedure of "Dishcloths manually tucked"; M4: "My Favorite Dish Cloth Pattern", printed as
# text; M7: "Lesson 3 Slip Stitch". All hobby or trade pages.
M1 = ["KT", "KT", "TK", "TK"]
M2 = ["TK", "KK", "KT", "KK"]
M3 = ["TK", "TK", "KK", "KK", "KT", "KT", "KK", "KK"]
M4 = ["KT", "KT", "KK"]
M7 = ["KS", "SK"]

PROFILES = {
    "24": "",
    "hold": '[reader]\nmark_means = "hold"\n',
    "mirrored": "[reader]\nmirrored = true\n",
    "other needle": '[reader]\ncolumn_1_needle = "L5"\n',
    "all of it": '[reader]\nmark_means = "hold"\nmirrored = true\ncolumn_1_needle = "R3"\nselects = "one pass ahead"\n',
    "4 mm holes": "[card]\nhole_mm = 4.0\nseen_above_read = 5\n",
    "other blank": "[card]\nrows = 80\nleast_rows = 20\njoining_rows = 1\ncolumn_pitch_mm = 4.2\nrow_pitch_mm = 6.1\n"
    "sheet_width_mm = 131.5\nguide_pitch_mm = 9.0\nclip_from_end_mm = [4.0]\n",
}


def profile(name: str) -> Machine:
    if name == "12":
        return load("card12-bulky")
    return load_text(f'based_on = "card24-standard"\n{PROFILES[name]}', f"{name}.toml")


def stitch(rows: list[str], yarns: list[str | None] | None = None, name: str = "ripple") -> Stitch:
    return Stitch(name, Chart.from_rows(rows, yarns), Span("test.stitch", 1))


def card(rows: list[str], machine: str = "24", **more: Any) -> Card:
    return plan_card(stitch(rows, more.pop("yarns", None)), profile(machine), title="Tide line", **more)


def pages(of: Card, paper: str, scale: tuple[float, float] = (1.0, 1.0), ink: Ink = "full") -> list[tuple[Tile, Page]]:
    return [(tile, page_of(of, tile, scale, ink)) for tile in tiles_of(of, paper, scale)]


def one_page(of: Card, paper: str, scale: tuple[float, float] = (1.0, 1.0)) -> tuple[Tile, Page]:
    tile = one_tile(of, paper, scale)
    return tile, page_of(of, tile, scale)


def document(of: Card, paper: str = "a4", dpi: int = 600, scale: tuple[float, float] = (1.0, 1.0)) -> dict[str, Any]:
    tile, _ = one_page(of, paper, scale)
    found: dict[str, Any] = json.loads(as_json(of, tile, [], paper, dpi, scale))
    return found


# -- which cells are holes ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "wide_high", "not_knit", "holes_of_a_repeat"),
    [(M1, (2, 4), 432, 48), (M2, (2, 4), 216, 72), (M4, (2, 3), 288, 48), (M7, (2, 2), 432, 24)],
)
def test_hole_counts_of_cited_structures(
    rows: list[str], wide_high: tuple[int, int], not_knit: int, holes_of_a_repeat: int
) -> None:
    """Non-K cells in 24 x 36, and holes in one repeat's height x 24: derived from the cited matrices by counting."""
    made = card(rows)
    assert (made.columns, made.rows, made.repeat) == (24, 36, wide_high)
    assert made.hole_count == 24 * 36 - not_knit
    assert int(made.holes[: wide_high[1]].sum()) == holes_of_a_repeat
    assert int((~card(rows, "hold").holes).sum()) == made.hole_count


def test_rows_of_a_closed_card() -> None:
    """At least 36 punched rows for the card to turn, in whole repeats: M1 9 repeats, M4 12, M3 5 and so 40 rows; two
    joining rows at each end (teaching pages, common practice; the sums derived)."""
    assert [card(rows).rows for rows in (M1, M4, M3)] == [36, 36, 40]
    made = card(M3)
    assert int(made.holes[:8].sum()) == 144
    assert list(made.positions(made.whole)) == list(range(-1, 43)) and made.joining_hole_count == 96
    assert made.length_mm(made.whole) == pytest.approx(2 * 5 + 43 * 5)
    assert card(M3, least_rows=41).rows == 48
    assert card(M1, "other blank").rows == 20


@pytest.mark.parametrize("machine", ["24", "12", *list(PROFILES)[1:]])
@pytest.mark.parametrize("rows", [M1, M4, M7, ["KKTKKK", "KKKKKK", "TKKKSK"], ["KKKT", "KTKK"]])
def test_a_simulated_reader_knits_the_chart(machine: str, rows: list[str]) -> None:
    made = card(rows, machine)
    chart = Chart.from_rows(rows)
    needles = range(-30, 31)
    first = {"24": -12, "12": -6, "other needle": -5, "all of it": 2}.get(machine, -12)
    found = knits(document(made), needles, made.rows * 2 + 5)
    for row, line in enumerate(found.tolist()):
        assert line == [rows[row % chart.height][(needle - first) % chart.width] == "K" for needle in needles]


def test_which_column_a_needle_takes() -> None:
    """With 24 columns and the repeat spanning L12 to R12: R12 is column 24, L12 column 1, R13 1, L13 24 (derived)."""
    rows = ["T" + "K" * 22 + "S"]
    made = card(rows)
    found = knits(document(made), range(-13, 13), 1)[0]
    not_knitting = [needle for needle, knit in zip(range(-13, 13), found.tolist(), strict=True) if not knit]
    assert not_knitting == [-13, -12, 11, 12]  # L13 and R12 slip (column 24), L12 and R13 tuck (column 1)


def test_the_rows_at_eye_level() -> None:
    """Seven rows above the row read (one make's readers, a teaching page): rows before row 8 show the ring's last."""
    made = card(M1)
    assert [made.read_at_eye_level(position) for position in (8, 9, 7, 1, 36)] == [1, 2, 36, 30, 29]
    assert [made.ring_row(position) for position in (-1, 0, 37, 38)] == [35, 36, 1, 2]
    # a joining row shows the same whichever end lies in front
    assert made.read_at_eye_level(37) == made.read_at_eye_level(1)


def test_what_changes_at_which_row() -> None:
    rows = ["KT", "KK", "KS", "KT"]
    made = plan_card(stitch(rows, ["sand", "sand", "deep", None]), profile("24"))
    told = [(change.row, change.setting, change.yarn) for change in made.changes[:5]]
    assert told == [
        (1, "tuck", "sand"),
        (3, "slip", "deep"),
        (4, "tuck", "main yarn"),
        (5, None, "sand"),
        (7, "slip", "deep"),
    ]
    assert [change.row for change in card(["KK", "KT"]).changes] == [1]  # set before row 1, and left
    assert card(["KK"]).changes == ()
    assert [change.setting for change in card(["TS", "KK"]).changes] == ["mixed"]


def test_start_row_and_shift() -> None:
    made = card(["KKKT", "KKKK", "KTKK"], start_row=3, shift=1)
    assert made.unit.rows() == ["KKTK", "TKKK", "KKKK"]
    assert made.remarks == ("Card row 1 is row 3 of the stitch, and the repeat is moved 1 needle to the right",)
    assert card(["KKKT"], shift=-2).remarks == ("The repeat is moved 2 needles to the left",)


def test_a_card_that_is_not_as_written_says_for_which_instructions_it_is_not() -> None:
    """And sheets and pieces say for which card they are: nobody is left with two papers that contradict each other."""

    def instructions(**asked: Any) -> str | None:
        return dict(notes.notes(card(["KKKT", "KKKT"], **asked))).get("Instructions")

    assert instructions() is None
    for asked, way in (
        ({"shift": 1}, "shifted"),
        ({"start_row": 2}, "begun at another row"),
        ({"each_row_twice": True}, "punched with each row twice"),
    ):
        assert str(instructions(**asked)).startswith(f"This card is {way}. Needle sheets and pieces are for")
    pattern = compile_text("stitch a over 4\n1: T K3\n2: K\npiece p\nneedles 26\nknit a for 8 rows\n").pattern
    assert pattern is not None
    machine = load("card24-standard")
    for product in (make_sheet(pattern, machine), plan_piece(pattern, machine)):
        text = " ".join(product.files[0].content.decode().split())
        assert "made as the stitch is written: not shifted, begun at row 1, each row once." in text
    moved = make_card(pattern, machine, CardOptions(form="text", shift=1))
    assert any("This card is shifted." in remark for remark in moved.remarks)
    assert "This card is shifted." in " ".join(moved.files[0].content.decode().split())


def test_clip_holes_meet_when_the_ring_is_closed() -> None:
    """Joining rows over the other end's first and last pattern rows: the ends overlap by four rows and two margins."""
    assert notes.clips_meet(card(M1))
    assert not notes.clips_meet(card(M1, "other blank"))
    assert "tape" in notes.ring(card(M1, "other blank"))


# -- where they lie -------------------------------------------------------------------------------------------------


def centres(of: Card, tile: Tile, scale: tuple[float, float] = (1.0, 1.0)) -> set[tuple[float, float]]:
    """Where the profile says that holes are, in mm on the tile's page."""
    return {
        place_mm(of, tile, scale, column, at)
        for at in range(tile.first, tile.last + 1)
        for column, hole in enumerate(of.punched(tile.strip, at).tolist(), start=1)
        if hole
    }


def compare(found: list[tuple[float, float]], wanted: set[tuple[float, float]], tolerance: float) -> None:
    assert len(found) == len(wanted)
    grid = {(round(x / 3), round(y / 3)): (x, y) for x, y in wanted}
    for x, y in found:
        near = [
            grid[cell]
            for cell in ((round(x / 3) + dx, round(y / 3) + dy) for dx in (-1, 0, 1) for dy in (-1, 0, 1))
            if cell in grid
        ]
        assert any(abs(x - wx) <= tolerance and abs(y - wy) <= tolerance for wx, wy in near), (x, y)


FORMS: list[tuple[str, list[str], str]] = [
    ("24", M1, "a4"),
    ("12", M4, "a4"),
    ("hold", ["KKKTKS", "KKKKKK"], "a4"),
    ("all of it", ["KTKKSKKK", "KKKK" * 2, "TKKKKKKK"], "letter"),
    ("4 mm holes", M3, "roll"),
    ("other blank", M2, "a3"),
]


@pytest.mark.parametrize(("machine", "rows", "paper"), FORMS)
def test_every_hole_in_the_png(machine: str, rows: list[str], paper: str) -> None:
    made = card(rows, machine)
    for tile, page in pages(made, paper):
        found = reading.discs(reading.blobs(reading.png_dark(png(page, 300)), 300), made.shape.hole_mm, 0.09)
        compare([(blob.x, blob.y) for blob in found], centres(made, tile), 0.05)
        assert len({(blob.width, blob.height, blob.fill) for blob in found}) <= 1


@pytest.mark.parametrize(("machine", "rows", "paper"), FORMS)
def test_every_hole_in_the_pdf_and_the_svg(machine: str, rows: list[str], paper: str) -> None:
    made = card(rows, machine)
    laid = pages(made, paper)
    content = pdf([page for _, page in laid])
    for index, (tile, page) in enumerate(laid):
        found = reading.discs(reading.blobs(reading.pdf_dark(content, index, 200), 200), made.shape.hole_mm, 0.3)
        compare([(blob.x, blob.y) for blob in found], centres(made, tile), 0.13)
        circles = reading.svg_circles(svg(page), "cut")
        left, right = made.shape.clip_from_edge_mm + 2, made.shape.sheet_width_mm - made.shape.clip_from_edge_mm - 2
        field = [(x, y) for x, y, _ in circles if left < x - tile.sheet_left_mm < right]
        compare(field, centres(made, tile), 0.001)


def test_guide_and_clip_holes_are_where_the_profile_says() -> None:
    made = card(M1)
    ((tile, page),) = pages(made, "a4")
    rings = [item for item in page.items if isinstance(item, Circle)]
    along = sorted({round(tile.sheet_bottom_mm - ring.y_mm, 6) for ring in rings if ring.diameter_mm == 3.0})
    assert along == [5.0 + 5.0 * row for row in range(40)]  # one a row, level with it
    clips = {
        (round(ring.x_mm - tile.sheet_left_mm, 6), round(tile.sheet_bottom_mm - ring.y_mm, 6))
        for ring in rings
        if ring.diameter_mm == 3.5
    }
    # eight clip holes, two in each corner (a teaching page)
    assert clips == {(x, y) for x in (10.0, 132.0) for y in (10.0, 15.0, 190.0, 195.0)}


def test_centres_px_are_rounded_nowhere() -> None:
    """24 columns of 4.5 mm and 60 rows of 5 mm: the last is as true as the first."""
    made = card(["K" * 23 + "T"] * 59 + ["K" * 24])
    found = document(made)
    first, per_column, per_row = (found["centres_px"][key] for key in ("column_1_row_1", "per_column", "per_row"))
    assert per_column == [pytest.approx(4.5 * 600 / 25.4), 0] and per_row == [0, pytest.approx(-5 * 600 / 25.4)]
    tile, page = one_page(made, "a4")
    assert tile.page_mm[1] > 297  # it is longer than the paper, so the picture is as long as it must be
    picture = reading.png_dark(png(page, 600))
    for row in range(60):
        for column in range(24):
            x, y = first[0] + column * per_column[0], first[1] + row * per_row[1]
            assert picture[int(y), int(x)] == made.holes[row, column]


def svg_guide_lines(content: bytes) -> list[ElementTree.Element]:
    groups = ElementTree.fromstring(content).iter(f"{reading.SVG}g")
    return list(next(group for group in groups if group.get("id") == "guide").iter(f"{reading.SVG}line"))


@pytest.mark.parametrize("scale", [(1.0, 1.0), (1.0101, 0.99)])
@pytest.mark.parametrize("form", ["png", "pdf", "svg"])
def test_both_rules_measure_100_mm(form: str, scale: tuple[float, float]) -> None:
    made = card(M1)
    _, page = one_page(made, "a4", scale)
    wanted = 100 * scale[0], 100 * scale[1]
    if form == "svg":
        lines = [[float(line.attrib[key]) for key in ("x1", "y1", "x2", "y2")] for line in svg_guide_lines(svg(page))]
        across, down = max(abs(line[2] - line[0]) for line in lines), max(abs(line[3] - line[1]) for line in lines)
        assert (across, down) == (pytest.approx(wanted[0], abs=0.001), pytest.approx(wanted[1], abs=0.001))
        return
    dpi = 600 if form == "png" else 400
    dark = reading.png_dark(png(page, dpi)) if form == "png" else reading.pdf_dark(pdf([page]), dpi=dpi)
    found = reading.blobs(dark, dpi)
    across = min((blob for blob in found if blob.height < 8), key=lambda blob: abs(blob.width - wanted[0])).width
    down = min((blob for blob in found if blob.width < 8), key=lambda blob: abs(blob.height - wanted[1])).height
    assert across == pytest.approx(wanted[0], abs=0.1) and down == pytest.approx(wanted[1], abs=0.1)


def test_every_page_has_both_rules() -> None:
    made = card(["K" * 24] * 59 + ["KT" * 12])
    for paper in PAPERS:
        laid = pages(made, paper)
        assert len(laid) == (1 if paper == "a3" else 2)
        for _, page in laid:
            lines = [item for item in page.items if isinstance(item, Line)]
            assert any(abs(line.x2_mm - line.x1_mm) == pytest.approx(100) for line in lines)
            assert any(abs(line.y2_mm - line.y1_mm) == pytest.approx(100) for line in lines)


# -- tiles ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", list(PAPERS))
@pytest.mark.parametrize("rows", [60, 61, 97, 400])
def test_tiles_show_every_row_of_every_blank_and_join(paper: str, rows: int) -> None:
    made = card(["K" * 23 + "T"] * rows)
    laid = pages(made, paper)
    tiles = [tile for tile, _ in laid]
    assert [tile.number for tile in tiles] == list(range(1, len(tiles) + 1))
    assert len(made.blanks) == -(-rows // 60), "blanks are 24 x 60 (common practice)"
    for blank in made.blanks:
        of_blank = [tile for tile in tiles if tile.strip == blank]
        shown = {position for tile in of_blank for position in range(tile.first, tile.last + 1)}
        assert shown == set(made.positions(blank))
        assert of_blank[0].joint_below is None and of_blank[-1].joint_above is None, "pages break where blanks do"
        for lower, upper in itertools.pairwise(of_blank):
            assert lower.joint_above == upper.joint_below == upper.from_mm
            assert lower.to_mm - upper.from_mm == pytest.approx(2 * made.shape.row_pitch_mm)  # the overlap
            # the joint lies half way between two rows of holes
            along = made.along_mm(blank, upper.first)
            assert (upper.from_mm - along) / made.shape.row_pitch_mm == pytest.approx(-0.5)
    for tile, page in laid:
        assert tile.y_mm(tile.to_mm) > 18 and tile.sheet_bottom_mm < page.height_mm - 24
        assert all(
            6 <= item.x_mm <= page.width_mm - 6 and 6 <= item.y_mm <= page.height_mm - 6
            for item in page.items
            if isinstance(item, Text)
        )


@given(st.integers(1, 300), st.integers(1, 400))
def test_blanks_hold_every_row_once(height: int, least: int) -> None:
    made = card(["K" * 3 + "T"] * height, least_rows=least)
    rows = [row for blank in made.blanks for row in range(blank.first, blank.last + 1)]
    assert rows == list(range(1, made.rows + 1))
    assert len(made.blanks) == -(-made.rows // 60) and all(blank.last - blank.first < 60 for blank in made.blanks)


def test_joined_blanks_are_the_whole_card() -> None:
    """Each blank laid on the next as the ring is closed: full rows over pattern rows, so that a reader feels through
    both sheets exactly the pattern, row after row; distances and clip holes come out as on a single sheet."""
    made = card(["K" * 23 + "T", *["KT" * 12] * 60])
    assert [(blank.first, blank.last) for blank in made.blanks] == [(1, 30), (31, 61)]
    felt = np.ones((made.rows, 24), dtype=bool)
    for blank in made.blanks:
        for position in made.positions(blank):
            felt[made.ring_row(position) - 1] &= made.punched(blank, position)
    assert np.array_equal(felt, made.holes)
    first, second = made.blanks
    begins = made.along_mm(first, 31) - made.along_mm(second, 31)  # where the second sheet's end lies on the first
    clips = made.shape.clip_from_end_mm
    on_first = {made.length_mm(first) - clip for clip in clips}
    assert {begins + clip for clip in clips} == on_first, "clip holes meet"
    told = notes.blanks(made)
    assert told is not None and "blank 2 rows 31 to 61" in told and "start of the next by 4 rows: full rows" in told


def test_every_page_says_what_it_is_of_and_only_the_first_tells_all() -> None:
    laid = pages(card(["K" * 23 + "T"] * 170), "a4")
    assert len(laid) == 6
    for number, (tile, page) in enumerate(laid, start=1):
        texts = [item.text for item in page.items if isinstance(item, Text)]
        assert f"blank {tile.strip.number} of 3, page {number} of 6" in texts
        assert ("Ring" in texts) == tile.tells_all == (number == 1)
        assert any(text.startswith("Print at 100 %") for text in texts)


def test_a_sheet_wider_than_the_paper() -> None:
    wide = load_text('based_on = "card24-standard"\n[card]\nsheet_width_mm = 230\ncolumn_pitch_mm = 8\n', "wide.toml")
    made = plan_card(stitch(M1), wide)
    (tile, *_), *_ = pages(made, "a4")
    assert tile.page_mm == (297.0, 210.0)  # turned
    wider = load_text('based_on = "card24-standard"\n[card]\nsheet_width_mm = 500\n', "wider.toml")
    with pytest.raises(DoesNotFit, match="500 mm wide"):
        pages(plan_card(stitch(M1), wider), "a3")
    assert pages(plan_card(stitch(M1), wider), "roll")[0][0].page_mm[0] > 500


# -- lettering ------------------------------------------------------------------------------------------------------


def box(text: Text) -> tuple[float, float, float, float]:
    """Left, top, right, bottom of a line of lettering, generously."""
    wide, up, down = width_mm(text.text, text.size_mm, text.bold), 0.76 * text.size_mm, 0.2 * text.size_mm
    start = {"start": 0.0, "middle": -wide / 2, "end": -wide}[text.anchor]
    if text.rotation_deg == 90:
        return text.x_mm - up, text.y_mm - start - wide, text.x_mm + down, text.y_mm - start
    return text.x_mm + start, text.y_mm - up, text.x_mm + start + wide, text.y_mm + down


@pytest.mark.parametrize("machine", ["24", "12", "4 mm holes", "other blank", "all of it"])
@pytest.mark.parametrize("paper", ["a4", "letter", "roll"])
def test_lettering_lies_where_no_hole_is(machine: str, paper: str) -> None:
    rows = ["KKTKKK", "KKKKKK", "KKSKKK", "KKKKKK"] * 10
    yarns = (["sand", "sand", "deep sea", "foam"] * 10)[: len(rows)]
    made = plan_card(stitch(rows, yarns), profile(machine), title="A long title for a harbour-side workshop's card")
    for _, page in pages(made, paper):
        texts = [item for item in page.items if isinstance(item, Text)]
        holes = np.array(
            [(item.x_mm, item.y_mm, item.diameter_mm / 2) for item in page.items if isinstance(item, Disc | Circle)]
        )
        for text in texts:
            left, top, right, bottom = box(text)
            dx = np.maximum(np.maximum(left - holes[:, 0], holes[:, 0] - right), 0)
            dy = np.maximum(np.maximum(top - holes[:, 1], holes[:, 1] - bottom), 0)
            assert (np.hypot(dx, dy) >= holes[:, 2]).all(), text
        for text in texts:
            left, top, right, bottom = box(text)
            assert left > 5 and top > 5 and right < page.width_mm - 5 and bottom < page.height_mm - 5, text


def test_no_two_lines_of_lettering_lie_on_each_other() -> None:
    rows = ["KKTKKK", "KKKKKK", "KKSKKK", "KKKKKK"] * 10
    made = plan_card(stitch(rows, ["sand", "sand", "deep", "foam"] * 10), profile("24"), title="Tide line")
    for paper in ("a4", "letter", "roll"):
        for _, page in pages(made, paper):
            boxes = [(box(item), item.text) for item in page.items if isinstance(item, Text)]
            for index, ((l1, t1, r1, b1), one) in enumerate(boxes):
                for (l2, t2, r2, b2), two in boxes[index + 1 :]:
                    overlap_x, overlap_y = min(r1, r2) - max(l1, l2), min(b1, b2) - max(t1, t2)
                    assert not (overlap_x > 0.3 and overlap_y > 0.8), (one, two)


def beside(of: Card, paper: str = "a4") -> dict[int, list[str]]:
    """Letters at the right edge of the sheet, read off the drawing, by the row that they stand at; boxed numbers among
    them. Every mark is at least 2 mm high."""
    found: dict[int, list[str]] = {}
    for tile, page in pages(of, paper):
        field_right = tile.sheet_left_mm + of.shape.sheet_width_mm / 2 + 50
        for item in page.items:
            if not isinstance(item, Text) or item.layer != "engrave" or item.rotation_deg or item.x_mm < field_right:
                continue
            along = tile.from_mm + tile.sheet_bottom_mm - item.y_mm + item.size_mm * 0.36
            position = round((along - of.along_mm(tile.strip, 1)) / of.shape.row_pitch_mm) + 1
            if tile.first <= position <= tile.last and not item.text.endswith(("level", "read")):
                found.setdefault(position, []).append(item.text)
                if item.text.isalpha():
                    assert item.size_mm * 0.73 >= 1.999, item
    return found


@pytest.mark.parametrize("machine", ["24", "12", "other blank", "all of it", "4 mm holes"])
def test_marks_stand_where_they_are_due(machine: str) -> None:
    """A row's change is due before the pass that knits it: while the reader reads it, or the row after it where needles
    are selected one pass ahead. Seven rows higher is at eye level (five on other makes; a teaching page)."""
    rows = ["KT", "KK", "KS", "KK", "KT"]
    made = plan_card(stitch(rows, ["sand", "sand", "deep", "deep", "foam"]), profile(machine), title="Tide line")
    letters = {"sand": "A", "deep": "B", "foam": "C"}
    ahead = 1 if machine == "all of it" else 0
    found = beside(made)
    for position in made.positions(made.whole):
        read = (position - made.shape.seen_above_read - 1) % made.rows
        due = (read - ahead) % made.rows
        wanted = {0: "TA", 2: "SB", 4: "TC"}.get(due % 5, "")
        if due % 5 == 0 and due:
            wanted = "A"  # tuck is set already
        marks = [text for text in found.get(position, []) if text.isalpha()]
        assert "".join(marks) == wanted, position
        if not marks and machine != "other blank":  # whose clip holes leave 2 mm
            assert str(read + 1) in found[position], "the row being read, in a box"
    key = notes.marks(made)
    assert key is not None and all(f"{letter}: {yarn}" in key for yarn, letter in letters.items())
    assert "T: tuck, S: slip" in key
    assert notes.marks(card(["KK"])) is None


@pytest.mark.parametrize("seen", [0, 5, 7])
def test_the_row_to_lock_stands_between_thick_lines(seen: int) -> None:
    """Row 1 is read while the row `seen` above it is at eye level (7 on one make, 5 on others; teaching pages)."""
    own = load_text(f'based_on = "card24-standard"\n[card]\nseen_above_read = {seen}\n', "own.toml")
    made = plan_card(stitch(M1), own)
    ((tile, page),) = pages(made, "a4")
    lines = [item for item in page.items if isinstance(item, Line) and item.layer == "engrave" and item.line_mm > 0.6]
    heights = sorted(tile.sheet_bottom_mm - line.y1_mm for line in lines)
    row = made.along_mm(made.whole, 1 + seen)
    assert heights == [pytest.approx(row - 2.5), pytest.approx(row + 2.5)]
    assert all(line.x2_mm - line.x1_mm > 125 for line in lines)
    texts = [item for item in page.items if isinstance(item, Text)]
    (sentence,) = [item for item in texts if "START: lock the card when this row is at eye level" in item.text]
    assert sentence.rotation_deg == 90 and abs(sentence.y_mm - (tile.sheet_bottom_mm - row)) < 2
    assert any(item.fill == "#ffffff" and item.text == "1" for item in texts) == bool(seen)


@pytest.mark.parametrize("paper", ["letter", "a4", "a3", "roll"])
@pytest.mark.parametrize(("machine", "rows"), [("24", 36), ("24", 40), ("24", 44), ("12", 40), ("24", 100)])
def test_words_along_the_edges_are_whole(machine: str, rows: int, paper: str) -> None:
    """Shorter words, or none of the least important, where there is little room: never a sentence cut off."""
    made = plan_card(stitch(["KT", "KK", "KS", "KK"]), profile(machine), rows, "Tide line " * 12)
    starts = 0
    for _, page in pages(made, paper):
        along = [
            item for item in page.items if isinstance(item, Text) and item.rotation_deg and item.layer == "engrave"
        ]
        assert not any("…" in item.text for item in along)
        assert sum(item.text.startswith(notes.meanings(made)) for item in along) == 1
        starts += sum(item.text.removeprefix("◂ ") in notes.START[:3] for item in along)
    assert starts == 1


def test_words_along_an_edge_are_dropped_whole_from_the_least_important() -> None:
    parts = [("Hole: knits. No hole: tucks.",), ("this side faces you",), ("Tide line",)]
    rooms = range(25, 120)
    kept = [fit_parts(parts, room, 2.4, bold=False) for room in rooms]
    whole = "   ·   ".join
    fewer = ([], ["Tide line"], ["this side faces you"], ["this side faces you", "Tide line"])
    every = [whole([parts[0][0], *more]) for more in fewer]
    assert list(dict.fromkeys(text for text, _ in kept)) == every
    assert all(width_mm(text, size) <= room for (text, size), room in zip(kept, rooms, strict=True))


def test_a_mark_beside_a_clip_hole_stands_clear_of_the_boxed_number() -> None:
    """Rows 1, 36 and the joining rows beside them; 0.4 mm is what a line of 0.15 mm and the printer's spread leave."""
    made = plan_card(stitch(["KS", "KK"], ["sand", "deep"]), load("card24-standard"))
    _, page = one_page(made, "a4")
    boxes = [item for item in page.items if isinstance(item, Rectangle) and 1 < item.height_mm < 4]
    marks = [item for item in page.items if isinstance(item, Text) and item.text in ("A", "B", "SA")]
    assert len(boxes) == len(marks) == made.rows + 4, "each row has both"
    for mark, box in itertools.product(marks, boxes):
        beside = mark.x_mm - (box.left_mm + box.width_mm)
        under = mark.y_mm - mark.size_mm * 0.73 - (box.top_mm + box.height_mm)
        over = box.top_mm - mark.y_mm
        assert max(beside, under, over) > 0.4
    clips = [item for item in page.items if isinstance(item, Circle) and item.diameter_mm == made.shape.clip_hole_mm]
    for mark, clip in itertools.product(marks, clips):
        if abs(mark.y_mm - clip.y_mm) < 3 and clip.x_mm > mark.x_mm:
            assert clip.x_mm - clip.diameter_mm / 2 - mark.x_mm - width_mm(mark.text, mark.size_mm) > 0.4


@pytest.mark.parametrize(("origin", "asked"), [("card24-standard", True), ("own", False)])
def test_what_is_not_settled_is_asked(origin: str, asked: bool) -> None:
    machine = load(origin) if asked else profile("24")
    told = dict(notes.notes(plan_card(stitch(M1), machine)))
    assert ("Check once" in told) == asked and ("Selected" in told) != asked
    assert ("mirrored" in told["Needles"]) != asked
    if asked:
        assert "--test-card" in told["Check once"] and "7 rows below eye level" in told["Check once"]


def test_a_shipped_reader_that_reads_at_eye_level_is_asked_about_in_a_whole_sentence() -> None:
    shipped = load("card24-standard")
    assert shipped.card is not None
    machine = replace(shipped, card=replace(shipped.card, seen_above_read=0))
    told = dict(notes.notes(plan_card(stitch(M1), machine)))
    assert "It reads the row at eye level; the pattern" in told["Check once"]


def test_every_habit_is_on_the_template() -> None:
    made = plan_card(stitch(["KT", "KK", "KS", "KK"]), profile("all of it"), title="Tide line", remarks=("Made so",))
    _, page = one_page(made, "a4")
    told = " ".join(item.text for item in page.items if isinstance(item, Text))
    for words in (
        "Tide line: ripple",
        "all of it",
        "A hole: the needle tucks or slips. No hole: it knits.",
        "row 1 tuck, row 3 slip",
        "mirrored for this reader",
        "R3",
        "Lock the card when row 8",
        "it only selects",
        "This side faces you",
        "this end goes in first",
        "at eye level",
        "100 %",
        "--scale-x",
        "PVC",
        "Measure a card of your machine first",
        "Made so",
    ):
        assert words.replace(" ", "") in told.replace(" ", ""), words


# -- each row twice ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("machine", ["24", "12", "mirrored", "all of it"])
def test_a_reader_that_knits_each_row_twice_knits_the_chart(machine: str) -> None:
    """Many readers can ("double length": two rows for every row punched; teaching pages)."""
    rows = ["KKTK", "KKTK", "KKKK", "KKKK", "TKKS", "TKKS"]
    yarns: list[str | None] = ["sand", "sand", "deep", "deep", "sand", "sand"]
    made = card(rows, machine, yarns=yarns, each_row_twice=True)
    assert made.repeat == (4, 3) and made.rows == 36
    passes = knits(document(made), range(-30, 31), 100)
    first = {"24": -12, "mirrored": -12, "12": -6}.get(machine, 2)
    for row, line in enumerate(passes.tolist()):
        assert line == [rows[row % 6][(needle - first) % 4] == "K" for needle in range(-30, 31)]
    assert [(change.row, change.setting, change.yarn) for change in made.changes[:3]] == [
        (1, "tuck", "sand"),
        (2, None, "deep"),
        (3, "mixed", "sand"),
    ]
    assert "36 card rows are 72 knitted rows" in dict(notes.notes(made))["Reader"]


def test_pairs_that_are_not_equal_are_named() -> None:
    with pytest.raises(Refused, match=r"M307.*rows 1 and 2, 3 and 4 differ") as refused:
        unfit(stitch(["KT", "TK", "TK", "KT"]), profile("24"), each_row_twice=True)
    assert refused.value.messages[0].advice == "--start-row 2"
    assert unfit(stitch(["KT", "TK", "TK", "KT"]), profile("24"), None, 2, True) == []
    with pytest.raises(Refused, match="rows 2 and 3, 4 and 1 differ"):
        unfit(stitch(["KT", "KT", "KK", "KK"]), profile("24"), None, 2, True)
    with pytest.raises(Refused, match="rows 3 and 4 differ"):  # in yarn alone
        unfit(stitch(["KT"] * 4, ["a", "a", "a", "b"]), profile("24"), each_row_twice=True)
    assert unfit(stitch(["KT"] * 3), profile("24"), each_row_twice=True) == [], "pairs over two repeats"
    # 100 rows are 50 on the card
    assert unfit(stitch(["KT", "KT", "KK", "KK"] * 25), profile("24"), each_row_twice=True) == []


# -- the proof ------------------------------------------------------------------------------------------------------


def broken(page: Page, at: int, kind: str) -> Page:
    """The page with one hole gone, moved, or one too many."""
    holes = [index for index, item in enumerate(page.items) if isinstance(item, Disc | Circle) and item.layer == "cut"]
    index = holes[at]
    hole = page.items[index]
    assert isinstance(hole, Disc | Circle)
    dot = page.items[index + 1 : index + 2] if isinstance(hole, Circle) else ()
    other = {
        "gone": (),
        "moved": (hole._replace(x_mm=hole.x_mm + 1.2), *dot),
        "small": (hole._replace(diameter_mm=hole.diameter_mm / 2), *dot),
        "extra": (hole, *dot, hole._replace(x_mm=hole.x_mm + 4.5)),
    }[kind]
    return page._replace(items=page.items[:index] + other + page.items[index + 1 + len(dot) :])


@pytest.mark.parametrize("ink", ["full", "light"])
@pytest.mark.parametrize("kind", ["gone", "moved", "small", "extra"])
def test_the_proof_finds_every_wrong_hole(kind: str, ink: Ink) -> None:
    made = card(["KT", "TK"])
    ((tile, page),) = pages(made, "a4", ink=ink)
    prove_png(png(page, 200), made, tile, 200, (1.0, 1.0), ink)
    prove_svg(svg(page), made, tile, (1.0, 1.0))
    prove_pdf(pdf([page]), made, [tile], (1.0, 1.0), ink)
    # past the joining rows, whose neighbours are all holes
    for at in (60, 300):
        wrong = broken(page, at, kind)
        with pytest.raises(ProofFailed):
            prove_png(png(wrong, 200), made, tile, 200, (1.0, 1.0), ink)
        with pytest.raises(ProofFailed):
            prove_svg(svg(wrong), made, tile, (1.0, 1.0))
        with pytest.raises(ProofFailed):
            prove_pdf(pdf([wrong]), made, [tile], (1.0, 1.0), ink)


def test_light_ink_takes_a_tenth_of_the_ink() -> None:
    made = card(M1)
    field = np.zeros(2)
    for number, ink in enumerate(("full", "light")):
        ((tile, page),) = pages(made, "a4", ink=ink)
        x, y = place_mm(made, tile, (1.0, 1.0), 1, 36)
        dark = reading.png_dark(png(page, 600))
        left, top, right, bottom = (round(side * 600 / 25.4) for side in (x - 2, y - 2, x + 106, y + 177))
        field[number] = dark[top:bottom, left:right].sum()
    assert field[1] / field[0] < 0.14, field


def test_the_proof_finds_a_wrong_size_or_scale() -> None:
    made = card(M1)
    tile, page = one_page(made, "a4")
    with pytest.raises(ProofFailed, match="pixels"):
        prove_png(png(page, 150), made, tile, 200, (1.0, 1.0))
    with pytest.raises(ProofFailed, match="pages"):
        prove_pdf(pdf([page, page]), made, [tile], (1.0, 1.0))
    with pytest.raises(ProofFailed):
        prove_png(png(page, 200), made, tile, 200, (1.01, 1.0))


@settings(max_examples=10, deadline=None)
@given(st.data())
def test_any_chart_is_proved_in_every_form(data: st.DataObject) -> None:
    width = data.draw(st.sampled_from([1, 2, 3, 4, 6, 8, 12, 24]))
    height = data.draw(st.integers(1, 30))
    row = st.text("KTS", min_size=width, max_size=width)
    made = card(data.draw(st.lists(row, min_size=height, max_size=height)), data.draw(st.sampled_from(list(PROFILES))))
    scale = data.draw(st.sampled_from([(1.0, 1.0), (1.02, 0.985)]))
    ink: Ink = data.draw(st.sampled_from(["full", "light"]))
    laid = pages(made, data.draw(st.sampled_from(["a4", "letter", "roll"])), scale, ink)
    prove_pdf(pdf([page for _, page in laid]), made, [tile for tile, _ in laid], scale, ink)
    for tile, page in laid:
        prove_png(png(page, 150), made, tile, 150, scale, ink)
        prove_svg(svg(page), made, tile, scale)
    found = json.loads(as_json(made, laid[0][0], [], "a4", 150, scale))
    assert np.array_equal(np.array(found["holes"]), made.holes)


@pytest.mark.parametrize(
    "lines",
    [
        # notes beside the sheet with no room to spare: in the foot they would lie over its holes
        "hole_mm = 5.34\ncolumn_pitch_mm = 6.06\nrow_pitch_mm = 7.43\nsheet_width_mm = 211.9\njoining_rows = 1",
        # a clip hole within half a column of the field is none of the pattern's
        "hole_mm = 1.25\ncolumn_pitch_mm = 7.02\nsheet_width_mm = 190\nclip_hole_mm = 1.2\nclip_from_edge_mm = 11.18",
        # thin rings close to each other
        "hole_mm = 3.83\ncolumn_pitch_mm = 6.88\nrow_pitch_mm = 4.32\nsheet_width_mm = 200\nseen_above_read = 0",
    ],
)
@pytest.mark.parametrize("ink", ["full", "light"])
def test_unusual_cards_are_proved_too(lines: str, ink: Ink) -> None:
    made = plan_card(stitch(["KKT", "KSK"]), load_text(f'based_on = "card24-standard"\n[card]\n{lines}\n', "x.toml"))
    for form in ("pdf", "svg", "png"):
        files_of(made, "x", CardOptions(form=form, paper="roll", dpi=150, ink=ink))  # type: ignore[arg-type]


# -- what cannot be made --------------------------------------------------------------------------------------------


def test_a_width_that_does_not_go_into_the_card() -> None:
    (message,) = unfit(stitch(["KKKKT"], name="gulls"), profile("24"))
    assert message.code == "M301" and message.advice is not None
    assert "3, 4 and 6" in message.advice
    assert "stitch gulls-6 = gulls beside plain 1 by 1" in message.advice
    assert "stitch gulls-24 = gulls across 4 beside plain 4 by 1" in message.advice
    (message,) = unfit(stitch(["K" * 29 + "T"]), profile("24"))
    assert message.code == "M301" and "bitmap-standard" in str(message.advice)
    too_wide = unfit(stitch(["K" * 299 + "T"]), profile("24"))
    assert {each.code for each in too_wide} == {"M301", "M303"} and "--machine" not in str(too_wide)


def test_a_repeat_that_is_really_narrower_is_written_so() -> None:
    for message in unfit(stitch(["KT" * 2500, "K" * 5000], name="wide"), profile("24")):
        assert "really 2 needles wide" in str(message.advice)
        assert str(message.advice).endswith("    stitch wide\n        1: K T\n        2: K")


@pytest.mark.parametrize(
    ("repeat", "used", "ladder"),
    [("KTKK-", 20, 5), ("KT-KTK-", 21, 4), ("KTKTKKTKKK-", 22, 3), ("KT-KK", 20, 4), ("-TK--KK", 21, 4)],
)
def test_m301_offers_a_ladder_stitch_the_columns_that_it_fills(repeat: str, used: int, ladder: int) -> None:
    """A repeat of 7 on a card of 24 takes 21 columns, other needles out of work ("Tuck lace trims and fabrics 2")."""
    from stitchc.notation import compile_text

    (message,) = unfit(stitch([repeat, repeat.replace("T", "K")], name="spray"), profile("24"))
    advice = str(message.advice)
    assert f"changes the design: a ladder {ladder} needles wide in every 24:" in advice
    text = advice[advice.index("    stitch spray-24-out\n") :].partition(" Adding plain needles")[0]
    pattern, messages, _ = compile_text(text, "x.stitch")
    assert pattern is not None and not messages
    made = pattern.stitches["spray-24-out"]
    assert unfit(made, profile("24")) == []
    assert made.chart.rows()[0] == repeat * (used // len(repeat)) + "-" * (24 - used)


def test_m301_offers_no_gap_of_half_the_card_and_no_ladder_where_there_is_none() -> None:
    for repeat in ("KTKKKKKKKKKK-", "KKKKT"):
        (message,) = unfit(stitch([repeat], name="spray"), profile("24"))
        assert "out of work" not in str(message.advice)


def test_the_notation_that_m301_offers_makes_one_that_fits() -> None:
    from stitchc.notation import compile_text

    text = "stitch gulls\n 1: K4 T\n 2: K\n"
    for width in (5, 7, 9, 10, 11, 13, 16, 20):
        rows = f"stitch gulls\n 1: K{width - 1} T\n 2: K\n"
        pattern = compile_text(rows, "x.stitch").pattern
        assert pattern is not None
        (message,) = unfit(pattern.stitches["gulls"], profile("24"))
        offered = [line.strip() for line in str(message.advice).splitlines() if line.strip().startswith("stitch ")]
        assert offered, text
        pattern, messages, _ = compile_text(rows + "\n".join(offered) + "\n", "x.stitch")
        assert pattern is not None and not messages
        for name, one in pattern.stitches.items():
            if name != "gulls":
                assert unfit(one, profile("24")) == [] and f"-{one.chart.width}" in name


def test_more_rows_than_the_card_holds() -> None:
    assert unfit(stitch(["K"] * 60), profile("24")) == []
    for rows, asked in ((61, None), (35, None), (4, 61), (4, 5000)):
        (message,) = unfit(stitch(["K"] * rows), profile("24"), asked)
        assert message.code == "M302", (rows, asked)
    assert "70 rows" in unfit(stitch(["K"] * 35), profile("24"))[0].text


def test_no_card_reader_and_no_tuck() -> None:
    for name in ("hand-standard", "bitmap-standard"):
        assert [message.code for message in unfit(stitch(M1), load(name))] == ["M305"]
    no_slip = load_text('based_on = "card24-standard"\n[carriage]\nslip = "none"\n', "no-slip.toml")
    assert [message.code for message in unfit(stitch(M7), no_slip)] == ["M305"]


# -- names ----------------------------------------------------------------------------------------------------------


def test_changes_are_told_once_for_a_repeat() -> None:
    made = plan_card(stitch(["KT", "KK", "KS", "KK"], ["sand", "sand", "deep", "deep"]), profile("24"))
    assert notes.settings(made) == "In each repeat of 4 rows: row 1 tuck, row 3 slip."


def test_every_pair_of_rows_that_differs_is_named() -> None:
    """13 rows are an odd number, so that the pairs run on into the next repeat; of them 13 and 1 are equal."""
    with pytest.raises(Refused, match=r"rows 1 and 2, .*, 11 and 12, 2 and 3, .*, 12 and 13 differ\."):
        unfit(stitch(["TK", "KT"] * 6 + ["TK"]), profile("24"), each_row_twice=True)

"""Needles out of work in a piece: the set-up, where plain meets a ladder, and where a ladder ends."""

from __future__ import annotations

import json
import re

import pytest

from stitchc import PieceOptions, plan_piece
from stitchc.machines import load
from stitchc.piece.product import write_instructions
from tests.bed_simulation import position
from tests.piece.conftest import pattern_of

TEXT = """
stitch lace over 6
    out 4, 5
    1: K T K K
    2: K
stitch fine over 2
    1: K T
    2: K
gauge plain 20 stitches 28 rows per 10 cm
gauge lace 20 stitches 28 rows per 10 cm
piece scarf
    needles 14
    {}
"""


def told(steps: str, machine: str = "hand-standard", every_row: bool = True) -> tuple[str, dict[int, str]]:
    """The whole text in one line, and the words of each row."""
    pattern = pattern_of(TEXT.format(steps.replace("; ", "\n    ")))
    made = plan_piece(pattern, load(machine), PieceOptions(every_row=every_row))
    text = made.files[0].content.decode()
    rows = re.findall(r"\nRow +(\d+), \w+ to \w+\. (.*(?:\n {8}.*)*)", text)
    return " ".join(text.split()), {int(row): " ".join(words.split()) for row, words in rows}


def test_where_plain_meets_a_ladder_and_where_it_ends() -> None:
    """A stitch is moved to a neighbour and its needle put to non-working position; of needles side by side one comes
    back at a time, with a row between: teaching notes of a university on ladders. On paper: 12 needles hold the repeat
    twice from L6, so that columns 4 and 5 stand on L3, L2, R4 and R5."""
    text, rows = told("knit plain for 2 rows; knit lace for 4 rows; knit plain for 4 rows")
    assert "Needles: L7 to R7: 14, up to 4 of them out of work" in text
    assert "lace, rows 3 to 6: L3, L2, R4, R5 (4 needles) out of work" in text
    assert "L7 IIII--IIII--II" in text
    assert "Cast on needles L7 to R7 (14) in your usual way." in text
    assert rows[3].startswith(
        "Move the stitches of L3, R4 (2 needles) to the left neighbour. "
        "Move the stitches of L2, R5 (2 needles) to the right neighbour. "
        "Push the empty needles to non-working position. Set the carriage to hold."
    )
    assert rows[7].startswith("Bring back to working position: L3, R4 (2 needles). Pick up the bar")
    assert rows[8].startswith("Bring back to working position: L2, R5 (2 needles). Pick up the bar")
    assert "Bring back" not in rows[9]


@pytest.mark.parametrize(
    ("steps", "machine", "expected"),
    [
        ("knit lace for 4 rows", "hand-standard", "1. These needles stand empty from the cast-on, in non-working"),
        ('do "Cast on."; knit lace for 4 rows', "hand-standard", "position: L3, L2, R4, R5 (4 needles). Cast on the"),
        ("knit lace for 4 rows", "card24-standard", "L7 to R7: 10 in work and 4 out of work"),
        ("knit plain for 2 rows; knit lace for 4 rows", "card24-standard", "to non-working position. Set the carriage"),
    ],
)
def test_every_machine_is_set_up(steps: str, machine: str, expected: str) -> None:
    assert expected in told(steps, machine)[0]


def test_a_card_is_checked_against_what_it_selects_when_all_are_back() -> None:
    text, _ = told("knit lace for 4 rows; knit fine for 8 rows", "card24-standard", False)
    assert re.search(r"rows of fine\. .*? 1 every 2nd needle from L5 to R6 \(6 needles\) tuck", text)


def test_as_json_says_what_is_out_the_whole_time() -> None:
    for steps, out in (
        ("knit lace for 4 rows", ["L3", "L2", "R4", "R5"]),
        ("knit lace for 4 rows; knit plain for 2 rows", []),
    ):
        pattern = pattern_of(TEXT.format(steps.replace("; ", "\n    ")))
        made = plan_piece(pattern, load("hand-standard"), PieceOptions(form="json"))
        document = json.loads(made.files[0].content)
        assert document["out_of_work"] == out
        assert not {*document["out_of_work"]} & {name for each in document["passes"] for name in each["held"]}
    assert [each.get("taken_back") for each in document["passes"][4:]] == [["L3", "R4"], ["L2", "R5"]]


MEETING = """
stitch mesh over 6
    out 3
    1: K T K3
    2: K
stitch wide over 8
    out 1, 5-6
    1: K T K3
    2: K
piece scarf
    needles L30-R20
    knit mesh for 4 rows
    knit wide for 4 rows
"""


def test_stitches_are_shared_between_both_neighbours_and_a_needle_without_one_holds_nothing() -> None:
    """On paper: L15 and R10 come back beside L16 and R9 and take their stitches; L27 and L3, which row 1 of the chart
    tucks, have none. No hook gets more than one further stitch."""
    made = [
        plan_piece(pattern_of(MEETING), load("hand-standard"), PieceOptions(form=form)) for form in ("text", "json")
    ]
    words = " ".join(made[0].files[0].content.decode().split())
    assert (
        "Bring back to working position: L27, L15, L3, R10 (4 needles). Move the stitches of L29, L25, L17, L13, L5, "
        "L1, R8, R12 (8 needles) to the left neighbour. Move the stitches of every 8th needle from L24 to R17 "
        "(6 needles) to the right neighbour. Push the empty needles to non-working position. "
        "On L27, L3 (2 needles) pick up the bar of the row below, or leave it for a small hole. Either way "
        "they knit in this row: there is no stitch to hold yet. Set the carriage to hold. Bring out L19,"
    ) in words
    row = json.loads(made[1].files[0].content)["passes"][4]
    assert (row["taken_back"], row["not_held"]) == (["L27", "L15", "L3", "R10"], ["L27", "L3"])
    assert not {*row["not_held"]} & {*row["held"]}
    moved = [position(name) - 1 for name in row["stitches_moved_left"]]
    moved += [position(name) + 1 for name in row["stitches_moved_right"]]
    assert len(set(moved)) == len(moved)


@pytest.mark.parametrize("machine", ["card24-standard", "bitmap-standard"])
def test_a_reader_selects_a_needle_that_has_just_come_back(machine: str) -> None:
    made = plan_piece(pattern_of(MEETING), load(machine), PieceOptions(form="json", anyway=True))
    assert not any("not_held" in each for each in json.loads(made.files[0].content)["passes"])


SLIPPED = """
yarn slate
yarn chalk
stitch net over 4
    out 4
    1: K T K
    2: K
stitch marks over {width}
    1-2 in slate: {row}
    3-4 in chalk: K{width}
piece cowl
    needles 34
    knit net for 4 rows in slate
    knit marks for 8 rows
"""


@pytest.mark.parametrize(
    ("machine", "row", "words"),
    [
        (
            "hand-standard",
            "K3 S K3 S",
            "Bring back to working position: every 4th needle from L13 to R16 (8 needles; comb 1 out, 3 in). Pick up "
            "the bar of the row below, or leave it for a small hole. Either way they knit in this row: there is no "
            "stitch to hold yet.",
        ),
        (
            "hand-standard",
            "K3 S K4",
            "or leave it for a small hole. Either way L13, L5, R4, R12 (4 needles) knit in this row: ",
        ),
        (
            "card24-standard",
            "K3 S K3 S",
            "(8 needles; comb 1 out, 3 in). Pick up the bar of the row below. The card makes them slip first: left "
            "empty, they would take no yarn until they knit.",
        ),
        (
            "bitmap-standard",
            "K3 S K4",
            "(8 needles; comb 1 out, 3 in). Pick up the bar of the row below. The picture makes L13, L5, R4, R12 "
            "(4 needles) slip first: left empty,",
        ),
        ("card24-standard", "K3 T K3 T", "Pick up the bar of the row below, or leave it for a small hole. Release"),
    ],
)
def test_the_bars_below_needles_that_come_back_where_the_chart_holds_them(machine: str, row: str, words: str) -> None:
    """One instruction for each way of working: by hand they knit, with a reader only an empty needle goes without."""
    text = SLIPPED.format(row=row, width=8)
    document = write_instructions(pattern_of(text), load(machine), PieceOptions()).values[0].document
    assert document.rows is not None
    (told,) = [each.words for each in document.rows.passes() if each.row == 5]
    assert words in told


@pytest.mark.parametrize(("row", "side"), [("K T K2", "right"), ("K2 T K", "left"), ("K4", "left")])
def test_a_stitch_goes_to_the_neighbour_that_knits(row: str, side: str) -> None:
    """The third of five needles is emptied; in its first row the stitch tucks on one side of it, or on none."""
    own = f"stitch own over 5\n    out 3\n    1: {row}\n    2: K\n"
    steps = "knit plain for 2 rows; knit own for 4 rows"
    pattern = pattern_of(own + TEXT.format(steps.replace("; ", "\n    ")))
    text = plan_piece(pattern, load("hand-standard"), PieceOptions()).files[0].content.decode()
    assert f"to the {side} neighbour. Push the empty needles" in " ".join(text.split())


def test_needles_that_come_back_in_several_sizes_are_told_under_each_size_once() -> None:
    text = (
        "stitch lad over 6\nout 2, 5\n1: K T K2\n2: K\nstitch five over 5\n1: K S K3\n2: K\n"
        "gauge plain 20 stitches 28 rows per 10 cm\npiece bag\nsizes 12, 20, 28 cm in lad\nknit lad for 6 rows\n"
        "knit five for 4 rows\n"
    )
    instructions = " ".join(plan_piece(pattern_of(text), load("hand-standard")).files[0].content.decode().split())
    (step,) = re.findall(r"Size 12 cm: Bring back to working position.*?(?=Row\b)", instructions)[:1]
    assert "Size 20 cm: Bring back" in step and "Pick up the bar" in step.split("Size 20 cm")[0]
    assert step.count("Size 12 cm:") == step.count("Size 20 cm:") == step.count("Size 28 cm:") <= 2

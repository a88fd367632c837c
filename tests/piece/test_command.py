"""The command: its forms, sizes, units, what it refuses, and half way."""

from __future__ import annotations

import contextlib
import json
import re
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st

from stitchc.cli.products import piece as command
from stitchc.cli.products import sheet as sheet_command
from stitchc.option_values import doubt_about
from stitchc.piece.product import parse_sizes
from stitchc.product import WrongOption

EXAMPLES = Path(__file__).parents[2] / "examples"
COWL = """pattern "Harbour cowl"
note "Worn purl side out."
yarn sand "oat" tex 210
yarn foam "sea green" weight light
stitch ripple
    1: K T
    2: K
stitch drift = ripple then ripple shifted 1
gauge plain 20 stitches 28 rows per 10 cm
piece cowl
    width 60 cm plus 1 cm
    do "Cast on with an edge that can be picked up later."
    knit plain for 12 rows at "5"
    do "Hang the cast-on edge on the same needles."
    knit drift for 18 cm at "5 and 2 clicks"
    knit plain for 12 rows in foam
    carriage left
    do "Take the work off."
"""


@pytest.fixture
def cowl(tmp_path: Path) -> str:
    file = tmp_path / "cowl.stitch"
    file.write_text(COWL, encoding="utf-8")
    return str(file)


def run(*arguments: str) -> Result:
    return CliRunner().invoke(command, list(arguments))


def document(*arguments: str) -> Any:
    said = run(*arguments, "--format", "json")
    assert said.exit_code == 0, said.stderr
    return json.loads(said.stdout)


# -- JSON ---------------------------------------------------------------------------------------------------------


def test_the_document_is_as_promised(cowl: str) -> None:
    found = document(cowl)
    assert list(found)[:8] == ["format", "needles", "width_cm", "length_cm", "sections", "passes", "yarn", "notes"]
    assert found["format"] == "stitchc-piece/1"
    assert found["needles"] == {"left": "L55", "right": "R55", "count": 110}
    for size in (found["width_cm"], found["length_cm"]):
        assert list(size) == ["value", "low", "high"] and size["low"] < size["value"] < size["high"]
    drift = found["sections"][1]
    assert {"stitch", "rows", "length_cm", "at", "from_row", "to_row"} <= set(drift)
    assert (drift["stitch"], drift["at"], drift["from_row"]) == ("drift", "5 and 2 clicks", 13)
    assert drift["to_row"] - drift["from_row"] + 1 == drift["rows"]
    assert set(found["passes"][0]) == {
        "row", "chart_row", "direction", "setting", "yarn", "held", "bring_out", "push_back", "moves", "words",
    }  # fmt: skip
    assert [yarn["name"] for yarn in found["yarn"]] == ["sand", "foam"]
    assert all(set(yarn) >= {"name", "metres", "grams"} and yarn["grams"]["value"] > 0 for yarn in found["yarn"])
    assert found["notes"][0] == "Worn purl side out."
    assert [section["added"] for section in found["sections"]] == [None, None, None, found["sections"][3]["added"]]


def test_without_a_gauge_the_sizes_are_null(tmp_path: Path) -> None:
    file = tmp_path / "it.stitch"
    file.write_text("stitch a\n 1: K\npiece it\n needles 20\n knit plain for 4 rows\n", encoding="utf-8")
    found = document(str(file))
    assert found["width_cm"] is found["length_cm"] is found["sections"][0]["length_cm"] is None
    assert found["yarn"][0]["metres"] is found["yarn"][0]["grams"] is None
    said = run(str(file))
    assert said.exit_code == 0 and "no gauge" in said.stdout
    assert document(str(file), "--plain", "20x28")["width_cm"]["value"] == pytest.approx(10, rel=0.01)


def test_nothing_is_called_estimated_that_has_no_figure(tmp_path: Path) -> None:
    file = tmp_path / "it.stitch"
    file.write_text("stitch ripple\n 1: K T\n 2: K\npiece it\n needles 40\n knit ripple for 20 rows\n", "utf-8")
    for options, told in (((), "The gauge of ripple is not known."), (("--plain", "20x28"), "ripple is estimated")):
        text = " ".join(run(str(file), *options).stdout.split())
        assert told in text and ("estimated" in text) == bool(options)


# -- text ---------------------------------------------------------------------------------------------------------


def test_the_text_says_what_a_knitter_needs(cowl: str) -> None:
    text = run(cowl).stdout
    for words in (
        "Needles:  L55 to R55: 110 in work",
        "Width:    60.3 cm, 51.8 to 70.1 cm (23.7 in, 20.4 to 27.6 in)",
        "Do: Cast on with an edge",
        "Part 2 of 3: drift, rows 13 to 80",
        "Tension: 5 and 2 clicks.",
        "One plain row added: row 93",
        "Change to foam (sea green).",
        "set the row counter to 000",
        "Rounding",
        "estimated, not measured",
        "For a child, leave out",
    ):
        assert words in re.sub(r"\s*\n\s+", " ", text) or words in text, words
    assert all(len(line) <= 80 for line in text.splitlines())
    inches = run(cowl, "--units", "in").stdout
    assert "Width:    23.7 in, 20.4 to 27.6 in (60.3 cm, 51.8 to 70.1 cm)" in inches


def test_sections_that_lie_differently_wide_are_told_once(tmp_path: Path) -> None:
    """drift 26.3 cm and plain 22.7 cm wide on the same needles: 50 / 1.9 and 50 / 2.2 cm, 16 % apart."""
    flat = " ".join(run(str(EXAMPLES / "cowl.stitch")).stdout.split())
    assert flat.count("drift lies about 16 % wider than plain. Where they meet (before rows 5 and 249)") == 1
    even = tmp_path / "even.stitch"
    even.write_text((EXAMPLES / "cowl.stitch").read_text("utf-8").replace("gauge drift 38", "gauge drift 43"), "utf-8")
    assert "wider than plain" not in run(str(even)).stdout


STEPS = """\
stitch drift
    1: K T
    2: K
stitch ebb
    1: K3 T
    2: K
gauge plain {} stitches 30 rows per 10 cm
gauge ebb {} stitches 34 rows per 10 cm
gauge drift {} stitches 38 rows per 10 cm
piece scarf
    needles 80
    knit {}
"""


@pytest.mark.parametrize(
    ("gauges", "order", "told"),
    [
        ((22, 21.2, 20.4), "plain ebb drift", "From the first row to the last the width changes: drift lies about 8 %"),
        ((22, 21.2, 20.4), "ebb plain ebb drift ebb", "Over the whole piece drift lies about 8 % wider than plain"),
        ((22, 21.2, 21), "plain ebb drift", ""),  # 4.8 % in all
    ],
)
def test_small_steps_of_width_are_told_for_the_whole(
    tmp_path: Path, gauges: tuple[float, ...], order: str, told: str
) -> None:
    """80 / 2.2, 2.12, 2.04 cm: 36.4, 37.7 and 39.2 cm, 3.8 % from one to the next, 7.8 % in all; drawn as they lie."""
    path = tmp_path / "steps.stitch"
    steps = "\n    knit ".join(f"{name} for 20 rows" for name in order.split())
    path.write_text(STEPS.format(*gauges, steps), "utf-8")
    text = " ".join(run(str(path)).stdout.split())
    assert "Where they meet" not in text
    assert text.count("wider than") == bool(told) and told in text


def test_each_class_of_machine_has_its_own_instructions(cowl: str) -> None:
    card = run(cowl, "--machine", "card24-standard").stdout
    assert (
        "Do: Put in the card of drift and lock it with its START line at eye level." in " ".join(card.split())
        and "What the card selects in the rows of drift" in card
    )
    flat = " ".join(card.split())
    assert "Set the carriage to tuck. Release the card and knit until the row counter shows 80." in flat
    picture = run(cowl, "--machine", "bitmap-standard").stdout
    assert "Do: Choose the picture of drift and start at row 1." in picture
    assert "Bring out" not in card + picture
    assert "Bring out" in run(cowl).stdout


def test_things_for_children_carry_the_long_cautions(cowl: str) -> None:
    file = Path(cowl)
    file.write_text(COWL.replace("Worn purl side out.", "For a toddler."), encoding="utf-8")
    text = " ".join(run(cowl).stdout.split())
    assert "no cord, drawstring or tie" in text and "swallow" in text and "your local ones" in text


# -- sizes --------------------------------------------------------------------------------------------------------


def test_sizes_stand_in_brackets(cowl: str) -> None:
    text = " ".join(run(cowl, "--sizes", "48,52,56").stdout.split())
    assert "Sizes: 48 cm [52 cm, 56 cm]" in text
    documents = document(cowl, "--sizes", "48,52,56")
    counts = [found["needles"]["count"] for found in documents]
    assert [found["size_cm"] for found in documents] == [48, 52, 56]
    assert counts == sorted(set(counts))
    assert f"{counts[0]} [{counts[1]}, {counts[2]}] in work" in text
    rows = [[entry["row"] for entry in found["passes"]] for found in documents]
    assert rows[0] == rows[1] == rows[2]
    # The rows of the repeat are told apart, as for one size.
    row = r"Rows 15, 19, 23 and so on, last \d+, right to left\. Set the carriage to hold\. "
    assert re.search(row + r"Bring out every 2nd needle from L\d+ \[", text)


def test_one_size_is_the_piece_at_that_width(cowl: str) -> None:
    assert document(cowl, "--sizes", "60")["needles"] == document(cowl)["needles"]
    in_inches = document(cowl, "--sizes", "20", "--units", "in")
    assert in_inches["size_cm"] == pytest.approx(50.8)


@pytest.mark.parametrize(
    "sizes", ["", "a", "48,,x", "0", "-4", "48 feet", "1e3", "48,48", ",".join(map(str, range(20, 40)))]
)
def test_sizes_that_are_none(cowl: str, sizes: str) -> None:
    said = run(cowl, "--sizes", sizes)
    assert said.exit_code == 2 and "Traceback" not in said.stderr


# -- what is refused ----------------------------------------------------------------------------------------------


def test_which_piece_has_to_be_said(tmp_path: Path) -> None:
    file = tmp_path / "two.stitch"
    one = "\n needles 20\n knit plain for 4 rows\n"
    file.write_text(f"stitch a\n 1: K\npiece cowl{one}piece cuff{one}", encoding="utf-8")
    said = run(str(file))
    assert said.exit_code == 2 and "--piece cowl or --piece cuff" in said.stderr
    assert document(str(file), "--piece", "cuff")["piece"] == "cuff"
    said = run(str(file), "--piece", "cof")
    assert said.exit_code == 1 and "P401" in said.stderr
    whole = tmp_path / "whole.stitch"
    whole.write_text('include "two.stitch"\n', encoding="utf-8")
    said = run(str(whole))
    assert said.exit_code == 1 and "two.stitch` has one, but an include brings" in " ".join(said.stderr.split())


@pytest.mark.parametrize(
    ("measured", "words"),
    [
        ("drift 30 rows 0.1 cm", "30 rows of `drift` were expected to be about"),
        ("drift 900 rows 210 cm", "are planned and 900 are given as knitted: check the count"),
    ],
)
def test_so_far_a_slip_of_the_pen_is_refused(cowl: str, measured: str, words: str) -> None:
    said = run(cowl, "--so-far", measured)
    assert said.exit_code == 2 and said.stdout == "" and words in " ".join(said.stderr.split())


def test_so_far_it_is_told_what_was_measured_and_what_is_worked_out(cowl: str) -> None:
    """Rows of drift were measured in this piece; its stitches, and stocking stitch, are only adjusted."""
    flat = " ".join(run(cowl, "--so-far", "drift 40 rows 11 cm").stdout.split())
    gauge = flat[flat.index("Stocking stitch:") : flat.index("All these figures")]
    assert "(measured in this piece) to 10 cm" in gauge and "(measured)" not in gauge
    assert "then adjusted to what you measured so far" in gauge


def test_errors_end_with_1_and_cost_nothing(cowl: str, tmp_path: Path) -> None:
    target = tmp_path / "out.txt"
    target.write_text("made by stitchc", encoding="utf-8")
    Path(cowl).write_text(COWL.replace("60 cm", "120 cm"), encoding="utf-8")
    said = run(cowl, "-o", str(target))
    assert said.exit_code == 1 and "M303" in said.stderr and said.stdout == ""
    assert target.read_text(encoding="utf-8") == "made by stitchc"
    assert run(cowl, "--anyway").exit_code == 0


def test_anyway_says_so_on_what_is_written(tmp_path: Path) -> None:
    file = tmp_path / "it.stitch"
    file.write_text("stitch a\n 1-6: K T\n 7: K\npiece it\n needles 20\n knit a for 7 rows\n", encoding="utf-8")
    assert run(str(file)).exit_code == 1
    said = run(str(file), "--anyway")
    assert said.exit_code == 0 and "\nWarnings\n" in said.stdout and "(K202)" in said.stdout
    # A piece that says too little stays an error.
    file.write_text("stitch a\n 1: K\npiece it\n knit a for 7 rows\n", encoding="utf-8")
    assert run(str(file), "--anyway").exit_code == 1


# -- half way -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("measured", "told"),
    [
        ("drift 30 rows 7.1 cm in all", "you have knitted 30 rows; "),
        ("drift 79 rows 20 cm", "you have knitted 79 rows, and the repeat ends with 80; "),
    ],
)
def test_so_far_rows_that_are_knitted_are_not_told_to_be_knitted(cowl: str, measured: str, told: str) -> None:
    text = " ".join(run(cowl, "--so-far", measured).stdout.split())
    rounding = text.partition("Rounding")[2]
    assert re.search(rf"drift, rows \d+ to \d+: {told}\d+ would be nearest to the ", rounding), rounding[:300]


def test_so_far_takes_the_measurement_in(cowl: str) -> None:
    # 30 rows in 7.1 cm are 42.25 to 10 cm; 18 cm are then 76.06 rows: 76, a whole number of repeats of 4.
    found = document(cowl, "--so-far", "drift 30 rows 7.1 cm")
    told = found["so_far"]
    assert told["rows_done"] == 12 + 30
    drift = told["sections"][1]
    assert (drift["rows_done"], drift["planned_rows"], drift["rows"]) == (30, 68, 76)
    assert drift["as_planned_cm"]["value"] == pytest.approx(68 / 4.225, rel=0.005)  # 16.1 cm
    assert drift["cm"]["high"] - drift["cm"]["low"] < 1.1 < drift["planned_cm"]["high"] - drift["planned_cm"]["low"]
    assert told["rows_still_to_knit"] == len(found["passes"]) - 42
    text = run(cowl, "--so-far", "drift 30 rows 7.1 cm").stdout
    assert "include what you measured so far" in " ".join(text.split())
    assert "half way" not in run(cowl).stdout
    flat = " ".join(text.split())
    assert "76 rows instead of 68, 8 more; 46 are still to do" in flat
    assert "of plain after them" in flat and "shorter than you asked for" in flat
    assert re.search(r"Rows 43, [^.]*, right to left\.", flat) and not re.search(r"Rows? 42\b", flat)


def test_so_far_the_carriage_stays_set_as_it_is(cowl: str) -> None:
    """After 31 rows of drift needles are held and the hold is set, so the next row begins with cancelling it."""
    flat = " ".join(run(cowl, "--so-far", "drift 31 rows 7.3 cm").stdout.split())
    assert "54 needles are held" in flat
    assert re.search(r"Rows 44, [^.]*, left to right\. Cancel the hold", flat)


@pytest.mark.parametrize(
    ("machine", "goes_on"),
    [
        ("card24-standard", "Card: drift is in the reader. Its next row is card row 31, row 3 of the repeat."),
        ("bitmap-standard", "Picture: drift is in the machine. Its next row is row 3 of the repeat."),
    ],
)
def test_so_far_the_reader_goes_on_where_it_stands(cowl: str, machine: str, goes_on: str) -> None:
    """After 12 plain rows and 30 of drift, whose repeat has 4 and whose card 36, the next is 31 and 30 % 4 + 1."""
    flat = " ".join(run(cowl, "--machine", machine, "--so-far", "drift 30 rows 7.1 cm").stdout.split())
    assert goes_on in flat and "Go on with row 43." in flat
    assert "START" not in flat and "start at row 1" not in flat and "Release" not in flat
    assert "carriage at the right, set to tuck; sand threaded; tension 5 and 2 clicks. Go on with row 43." in flat
    row = document(cowl, "--machine", machine, "--so-far", "drift 30 rows 7.1 cm")["passes"][42]
    assert row["row"] == 43 and row["chart_row"] == 3


AHEAD = """
stitch ripple
    1: K T
    2: K
stitch drift
    1: K S
    2: K2
    3: S K
gauge plain 20 stitches 28 rows per 10 cm
piece band
    needles 26
    knit plain for 3 rows
    knit ripple for 4 rows
    carriage right
    knit ripple for 2 rows
    knit drift for 6 rows
    knit plain for 2 rows
"""


@pytest.mark.parametrize("kind", ["card24-standard", "bitmap-standard"])
def test_what_selects_one_pass_ahead_is_given_its_card_before_the_pass_that_reads_it(tmp_path: Path, kind: str) -> None:
    """Rows: 1-3 plain, 4-7 ripple, 8 plain (added), 9-10 ripple, 11-16 drift, 17-18 plain. So row 1 of a card is read
    in rows 3, 8 and 10 (the last of which knits ripple still)."""
    (tmp_path / "band.stitch").write_text(AHEAD)
    (tmp_path / "own.toml").write_text(f'based_on = "{kind}"\nname = "own"\n[reader]\nselects = "one pass ahead"\n')
    band, own = str(tmp_path / "band.stitch"), str(tmp_path / "own.toml")
    flat = " ".join(run(band, "--machine", own).stdout.split())
    rows = {int(row): words for row, words in re.findall(r"Do: Before row (\d+): (.*?) (?=Rows? +\d|Part )", flat)}
    assert set(rows) == {3, 8, 10}
    for row, words in rows.items():
        assert f"In row {row} it selects for row {row + 1}" in words
        assert f"It read its row 1 in row {row}." in flat
        assert flat.index(f"Before row {row}:") < flat.index(f"It read its row 1 in row {row}.")
    assert ("ripple" in rows[3], "ripple" in rows[8], "drift" in rows[10]) == (True, False, True)
    assert "What row 10 itself knits is selected already." in rows[10] and "itself" not in rows[3] + rows[8]
    assert "Put in the" not in flat
    assert re.search(r"Row 8, left to right\. Set the carriage to plain\. ", flat)  # it reads: it is not out of use
    assert re.search(r"Row(s)? 17[^.]*\. Set the carriage to plain and take the (card|picture) out of use\.", flat)
    (tmp_path / "begins.stitch").write_text(AHEAD.replace("    knit plain for 3 rows\n", ""))
    begins = " ".join(run(str(tmp_path / "begins.stitch"), "--machine", own).stdout.split())
    assert "Knit one plain row, left to right" in begins
    assert "Before row 0" not in begins
    half = " ".join(run(band, "--machine", own, "--so-far", "drift 2 rows 0.6 cm").stdout.split())
    assert "drift. Row 13 needs its row 3 selected. If row 12 read that row, go on. If not, " in half
    assert "knit one more, which selects the needles for row 13. Both rows stay in the fabric" in half
    assert ("In row 13 the card reads its row 4." in half) == kind.startswith("card")
    place = "lock it with its row 10 at eye level" if kind.startswith("card") else "start it at that row"
    assert place in half, "the reader reads 7 rows lower"


@pytest.mark.parametrize(
    ("measured", "needs"),
    [
        # rows 1-8 plain, 9-44 st, 45- su as the file plans; a new plan may end st earlier or later
        ("st 30 rows 10 cm", "Card: su. Row 39 needs its row 1 selected. If row 38 read that row, go on"),
        ("st 36 rows 9 cm", "Card: st. Row 45 needs its row 1 selected. If row 44 read that row, go on"),
        ("plain 8 rows 3 cm", "Card: st. Row 9 needs its row 1 selected. If row 8 read that row, go on"),
    ],
)
def test_what_was_selected_before_the_plan_changed_is_not_taken_for_granted(
    tmp_path: Path, measured: str, needs: str
) -> None:
    (tmp_path / "half.stitch").write_text(HALF)
    (tmp_path / "own.toml").write_text(
        'based_on = "card24-standard"\nname = "own"\n[reader]\nselects = "one pass ahead"\n'
    )
    said = run(str(tmp_path / "half.stitch"), "--machine", str(tmp_path / "own.toml"), "--so-far", measured).stdout
    flat = " ".join(said.split())
    assert needs in flat and "It read its row 1 in row" not in flat.split("Row by row")[1].split(needs)[0]


HALF = """
stitch st over 6
    1: K T K3 T
    2: K
    3: K3 T K2
stitch su over 4
    1: K T K2
    2: K
    3: K3 T
gauge plain 20 stitches 28 rows per 10 cm
gauge st 19 stitches 36 rows per 10 cm
gauge su 19 stitches 40 rows per 10 cm
piece half
    needles 26
    knit plain for 3 cm
    knit st for 10 cm
    knit su for 10 cm
    knit plain for 4 rows
"""


@pytest.mark.parametrize(
    ("measured", "rows", "side"),
    [
        # planned: 8 plain, 36 st, 39 su, 4 plain; the new plan after "st 36 rows 9 cm" asks for 39 of st
        (("st 39 rows 9.75 cm", "su 10 rows 2.5 cm"), 57, "left"),
        (("st 30 rows 8.4 cm", "su 10 rows 2.5 cm"), 54, "right"),
        (("st 30 rows 8.4 cm in all", "su 10 rows 2.5 cm"), 48, "right"),
        (("st 30 rows 8.4 cm on the machine in all", "su 10 rows 2.5 cm"), 48, "right"),
        (("st 30 rows 8.4 cm in all",), 38, "right"),
        (("plain 8 rows 3 cm", "st 39 rows 9.75 cm", "su 10 rows 2.5 cm"), 57, "left"),
    ],
)
def test_half_way_for_the_second_time_parts_have_the_rows_that_were_knitted(
    tmp_path: Path, measured: tuple[str, ...], rows: int, side: str
) -> None:
    (tmp_path / "half.stitch").write_text(HALF)
    words = [word for one in measured for word in ("--so-far", one)]
    flat = " ".join(run(str(tmp_path / "half.stitch"), *words).stdout.split())
    assert f"Knitted so far: {rows} rows" in flat
    assert f"The row counter stands at {rows:03d} and the carriage at the {side}." in flat
    assert ("All 36 rows planned are counted as knitted. If these are all there are, add `in all`" in flat) == (
        rows == 54
    )
    assert document(str(tmp_path / "half.stitch"), *words)["so_far"]["rows_done"] == rows


def test_half_way_what_is_not_plain_is_said(tmp_path: Path) -> None:
    file = tmp_path / "half.stitch"
    file.write_text(HALF)
    both = " ".join(run(str(file), "--so-far", "plain 12 rows 4 cm", "--so-far", "su 39 rows 10 cm").stdout.split())
    assert "They are counted as rows 1 to 8 and 84 to 87." in both
    past = " ".join(run(str(file), "--so-far", "st 64 rows 17 cm").stdout.split())
    assert "it is already longer than you asked for" in past and "0 are still to do" not in past
    assert run(str(file), "--so-far", "st 20 stitches 10 cm in all").exit_code == 2


IN_PARTS = """
stitch posts over 4
    1-2: K T K2
      3: K
stitch lap = posts with S for T
gauge plain 21 stitches 29 rows per 10 cm
gauge posts 19.5 stitches 38 rows per 10 cm
piece cuff
    needles 38
    knit plain for 5 rows
    knit posts for 9 cm
    do "Mark both edges."
    knit posts for 5 cm
    knit lap for 9 rows
    knit posts for 3 cm
    knit plain for 7 rows
"""


def in_parts(folder: Path, *measured: str) -> Result:
    """Half way in a piece whose parts are: 1 plain, 2 posts (33 rows), 3 posts (18), 4 lap, 5 posts (12), 6 plain."""
    file = folder / "cuff.stitch"
    file.write_text(IN_PARTS)
    return run(str(file), "--format", "json", *(word for each in measured for word in ("--so-far", each)))


@pytest.mark.parametrize(
    ("measured", "done", "planned"),
    [
        (["part 2: 35 rows 9.2 cm in all"], 40, [5, 35, 18, 9, 12, 7]),  # more than planned before the mark
        (["part 2, 30 rows 7.9 cm in all"], 35, [5, 30, 18, 9, 12, 7]),
        (["part 3 21 rows 5.5 cm"], 59, [5, 33, 21, 9, 12, 7]),
        (["posts 40 rows 10.5 cm"], 45, [5, 33, 18, 9, 12, 7]),  # a stitch fills its parts, here one after the other
        (["posts 60 rows 15.8 cm", "lap 9 rows 2.4 cm"], 74, [5, 33, 18, 9, 12, 7]),
        (["part 1: 6 rows 2.1 cm in all"], 6, [6, 33, 18, 9, 12, 7]),  # other rows than were asked for
        (["part 1: 3 rows 1 cm in all"], 3, [3, 33, 18, 9, 12, 7]),
        (["part 1: 3 rows 1 cm in all", "part 2: 10 rows 2.6 cm"], 13, [3, 33, 18, 9, 12, 7]),
        (
            ["lap 8 rows 2.2 cm in all", "part 5: 12 rows 3.2 cm in all", "part 6: 3 rows 1 cm"],
            79,
            [5, 33, 18, 8, 12, 7],
        ),
    ],
)
def test_so_far_rows_belong_to_the_parts_in_order(
    tmp_path: Path, measured: list[str], done: int, planned: list[int]
) -> None:
    told = json.loads(in_parts(tmp_path, *measured).stdout)
    assert told["so_far"]["rows_done"] == done
    assert [part["rows"] for part in told["so_far"]["sections"]] == planned
    assert [part["rows"] for part in told["sections"]] == planned


@pytest.mark.parametrize(
    ("measured", "question"),
    [
        (["posts 35 rows 9.2 cm in all"], "`posts` is knitted in parts 2, 3 and 5 of `cuff`. Say which of them ended"),
        (
            ["plain 6 rows 2.1 cm"],
            "nothing says that what comes between it and part 6, the next of `plain`, is knitted",
        ),
        (
            ["posts 55 rows 14.5 cm"],
            "as in `part 3: … rows … cm` or `part 5: …`, or give the rows of part 4 as well",
        ),
        (["posts 400 rows 104 cm"], "as in `part 3: … rows … cm` or `part 5: …`"),
        (["posts 350 rows 92 cm in all"], "as in `part 2: … rows … cm`"),
        (["plain 8 rows 2.8 cm", "part 3: 3 rows 0.8 cm"], "as in `part 1: 8 rows 2.8 cm in all` or `part 6: …`"),
        (["part 1: 6 rows 2.1 cm"], "If that part ended with more, write `part 1: 6 rows 2.1 cm in all`"),
        (["part 7: 6 rows 2.1 cm"], "`cuff` has no part 7; it has parts 1 to 6"),
        (["part 2: 200 rows 52 cm"], "33 rows of `posts` are planned and 200 are given as knitted"),
    ],
)
def test_so_far_nothing_unknitted_is_taken_as_done(tmp_path: Path, measured: list[str], question: str) -> None:
    refused = in_parts(tmp_path, *measured)
    words = " ".join(refused.stderr.split())
    assert refused.exit_code == 2 and question in words
    for example in re.findall(r"as in `([^`…]+)`", words):  # what is shown with figures can be typed as it stands
        assert in_parts(tmp_path, example).exit_code == 0


def test_so_far_figures_over_several_parts_are_not_offered_as_those_of_one(tmp_path: Path) -> None:
    in_parts(tmp_path)
    file = str(tmp_path / "cuff.stitch")
    both = " ".join(run(file, "--so-far", "posts 40 rows 10.5 cm").stdout.split())
    assert 'To count one part alone, give its number, as in --so-far "part 2: … rows … cm".' in both
    one = " ".join(run(file, "--so-far", "posts 20 rows 5.3 cm").stdout.split())
    assert 'as in --so-far "part 2: 20 rows 5.3 cm".' in one


@pytest.mark.parametrize(
    ("measured", "to_try"),
    [
        ("drift 30 rows 3.3 cm", "Write `drift 30 rows 3.3 in` if you measured in inches, not in cm"),
        ("drift 30 rows 8 in", "Write `drift 30 rows 8 cm` if you measured in cm, not in inches"),
        ("drift 40 stitches 8.2 cm", "Write `drift 40 stitches 8.2 in` if you measured in inches, not in cm"),
        ("drift 14 rows 11 cm", "Write `drift 41 rows 11 cm` if you counted 41 rows, not 14"),
        ("drift 30 rows 20 cm on the machine", "Write `drift 30 rows 20 cm on the machine sure` if it is right"),
    ],
)
def test_so_far_a_length_that_can_hardly_be_is_asked_about(cowl: str, measured: str, to_try: str) -> None:
    refused = " ".join(run(cowl, "--so-far", measured).stderr.split())
    assert "check the length and its unit" in refused and to_try in refused
    sure = run(cowl, "--so-far", f"{measured} sure")
    assert sure.exit_code == 0 and "were expected" not in sure.stderr


def test_so_far_a_surprising_length_is_taken_with_a_warning(cowl: str) -> None:
    told = run(cowl, "--so-far", "drift 30 rows 12 cm")
    assert told.exit_code == 0 and "30 rows of `drift` were expected to be about" in told.stderr
    assert "[G604]" in told.stderr and "Write `drift 30 rows 12 cm sure` if it is right." in told.stderr
    assert "G604" in " ".join(document(cowl, "--so-far", "drift 30 rows 12 cm")["notes"])
    for ordinary in ("drift 30 rows 7.1 cm", "drift 30 rows 7.5 cm on the machine"):
        assert "G604" not in run(cowl, "--so-far", ordinary).stderr


@pytest.mark.parametrize(
    ("one", "other", "contradict"),
    [
        ("drift 40 rows 9 cm", "drift 40 rows 10.8 cm", True),
        ("drift 40 rows 9 cm sure", "drift 40 rows 10.8 cm sure", False),  # each was measured twice
        ("drift 40 rows 9.6 cm", "drift 40 rows 9.9 cm", False),
        ("drift 30 rows 7.2 cm", "drift 60 rows 14.4 cm", False),  # further on
        ("drift 30 rows 7.2 cm in all", "drift 60 rows 14.4 cm", True),
        ("drift 40 stitches 18 cm", "drift 40 stitches 22 cm", True),
        ("drift 40 rows 9.6 cm", "drift 40 stitches 21 cm", False),
    ],
)
def test_so_far_two_that_contradict_each_other_are_refused(cowl: str, one: str, other: str, contradict: bool) -> None:
    told = run(cowl, "--so-far", one, "--so-far", other)
    assert (told.exit_code == 2) == contradict
    assert (f"`{one}` and `{other}` contradict each other" in " ".join(told.stderr.split())) == contradict


@pytest.mark.parametrize("measured", ["st 1 rows 0.3 cm", "st 3 rows 1 cm", "st 4 rows 0.9 cm", "st 1 row 4 cm"])
def test_half_way_what_is_too_little_to_learn_from_is_only_counted(tmp_path: Path, measured: str) -> None:
    file = tmp_path / "half.stitch"
    file.write_text(HALF)
    flat = " ".join(run(str(file), "--so-far", measured).stdout.split())
    rows = 8 + int(measured.split()[1])
    assert "This is too little to learn a gauge from; it only counts the rows." in flat
    assert f"Knitted so far: {rows} rows" in flat
    assert "st: knit the 36 rows as planned. They are still nearest to the length you asked for." in flat
    assert "include what you measured" not in flat


def test_what_a_shipped_profile_takes_for_granted_is_to_be_checked(cowl: str, tmp_path: Path) -> None:
    """As a card asks: once, of a card reader that a shipped profile describes."""

    def asks(*options: str) -> bool:
        text = " ".join(run(cowl, *options).stdout.split())
        return "Check once: Is this true of your reader? It reads 7 rows below eye level" in text

    assert asks("--machine", "card24-standard") and not asks() and not asks("--machine", "bitmap-standard")
    assert not asks("--machine", "card24-standard", "--so-far", "drift 30 rows 7.1 cm")
    (tmp_path / "own.toml").write_text('based_on = "card24-standard"\nname = "own"\n', encoding="utf-8")
    assert not asks("--machine", str(tmp_path / "own.toml"))
    page = tmp_path / "page.html"
    run(cowl, "--machine", "card24-bulky", "-o", str(page))
    assert "stitchc card --test-card --machine card24-bulky" in re.sub(r"<[^>]+>", "", page.read_text("utf-8"))
    sheet = CliRunner().invoke(sheet_command, [cowl, "--machine", "card24-standard"])
    assert "A test card shows it: stitchc card --test-card." in " ".join(sheet.stdout.split())


def test_so_far_a_part_not_yet_begun_is_told_from_its_first_row(cowl: str) -> None:
    flat = " ".join(run(cowl, "--machine", "card24-standard", "--so-far", "plain 12 rows 4 cm").stdout.split())
    assert "START" in flat and "set to plain; sand threaded; tension 5 and 2 clicks. Go on with row 13." in flat


def test_so_far_work_and_yarn_are_those_of_the_rows_left(cowl: str) -> None:
    """The form keeps all rows of the piece and their yarn, as promised; the instructions tell of what is left."""
    found = document(cowl, "--so-far", "drift 30 rows 7.1 cm")
    rows, done = len(found["passes"]), found["so_far"]["rows_done"]
    assert found["passes"][0]["row"] == 1 and sum(yarn["rows"] for yarn in found["yarn"]) == rows
    flat = " ".join(run(cowl, "--so-far", "drift 30 rows 7.1 cm").stdout.split())
    moves = sum(each["moves"] for each in found["passes"][done:])
    assert f"Work: {rows - done} rows still to knit, {moves:,} needle moves by hand" in flat
    assert "Carriage: at the right before row 43" in flat
    needed = flat.split("Yarn still needed")[1]
    assert "the cast-on" not in needed.split("Gauge")[0]
    assert sum(int(count) for count in re.findall(r"(\d+) rows", needed.split("Metres")[0])) == rows - done


def test_so_far_with_all_rows_knitted_nothing_is_left(tmp_path: Path) -> None:
    file = tmp_path / "band.stitch"
    file.write_text(
        "stitch rib\n    1: K\ngauge plain 20 stitches 28 rows per 10 cm\n"
        "piece band\n    needles 20\n    knit plain for 10 rows\n"
    )
    flat = " ".join(run(str(file), "--so-far", "plain 10 rows 3.6 cm").stdout.split())
    assert "Still to knit: 0 rows" in flat and "Go on with row" not in flat and "right to left" not in flat
    assert "The row counter stands at 010 and the carriage at the right." in flat and "before row 1" not in flat


def test_so_far_past_the_length(cowl: str) -> None:
    flat = " ".join(run(cowl, "--so-far", "drift 90 rows 22 cm").stdout.split())
    assert "it is already longer than you asked for. Unravel to" in flat


def test_so_far_by_stitches_and_on_the_machine(cowl: str) -> None:
    wide = document(cowl, "--so-far", "drift 40 stitches 21 cm")
    # 110 needles at 40 to 21 cm are 57.75 cm, less 1 cm of seams.
    assert wide["width_cm"]["value"] == pytest.approx(56.75, abs=0.1)
    hung = document(cowl, "--so-far", "drift 30 rows 7.1 cm on the machine")["so_far"]["sections"][1]
    rested = document(cowl, "--so-far", "drift 30 rows 7.1 cm")["so_far"]["sections"][1]
    assert hung["rows"] > rested["rows"]
    assert hung["cm"]["high"] / hung["cm"]["low"] > rested["cm"]["high"] / rested["cm"]["low"]


def test_so_far_more_stitches_than_needles_are_a_slip(cowl: str) -> None:
    needles = document(cowl)["needles"]["count"]
    assert run(cowl, "--so-far", f"drift {needles} stitches 60 cm").exit_code == 0
    refused = " ".join(run(cowl, "--so-far", f"drift {needles + 1} stitches 60 cm").stderr.split())
    assert f"{needles + 1} stitches of `drift` are given, but the work is on {needles} needles" in refused


@pytest.mark.parametrize("measured", [["drift 40 stitches 21 cm"], ["drift 40 rows 10 cm", "drift 40 stitches 21 cm"]])
def test_so_far_gauge_and_width_have_one_range(cowl: str, measured: list[str]) -> None:
    """Both are of this piece: the needles at the ends of the one give the ends of the other."""
    options = [word for each in measured for word in ("--so-far", each)]
    flat = " ".join(run(cowl, *options).stdout.split())
    low, high = (float(bound) for bound in re.findall(r"drift: [\d.]+ stitches, ([\d.]+) to ([\d.]+) \(", flat)[0])
    needles, width = (document(cowl, *options)[key] for key in ("needles", "width_cm"))
    assert 10 * needles["count"] / high - 1 == pytest.approx(width["low"], abs=0.2)
    assert 10 * needles["count"] / low - 1 == pytest.approx(width["high"], abs=0.2)


def test_so_far_by_stitches_alone_says_that_the_rows_are_not_known(cowl: str) -> None:
    flat = " ".join(run(cowl, "--so-far", "drift 40 stitches 21 cm").stdout.split())
    assert "Measured: 40 stitches of drift in 21.0 cm" in flat and "You did not say how many rows are knitted" in flat
    assert "so far: 0 rows" not in flat and "Still to knit" not in flat and "counter stands" not in flat
    assert "instructions for a whole piece" in flat and "set the row counter to 000" in flat


def test_both_forms_of_a_measurement_are_shown_as_they_are_typed(cowl: str) -> None:
    told = " ".join(run("--help").stdout.split())
    refused = " ".join(run(cowl, "--so-far", "40 stitches 21 cm").stderr.split())
    for form in ("drift 30 rows 7.1 cm", "drift 40 stitches 21 cm"):
        assert f'"{form}"' in told and f'"{form}"' in refused
        assert run(cowl, "--so-far", form).exit_code == 0


@pytest.mark.parametrize(
    "measured",
    ["", "drift", "drift 30", "drift 30 rows", "30 rows 7 cm", "drift 0 rows 7 cm", "drift 30 rows 7 km",
     "tide 30 rows 7 cm", "plain 300 rows 70 cm", "drift 30 rows 0 cm", "drift 30.5 rows 7 cm",
     "drift 30 rows 71 cm", "drift 40 stitches 21 mm", "drift 200 stitches 110 cm"],
)  # fmt: skip
def test_so_far_that_cannot_be(cowl: str, measured: str) -> None:
    said = run(cowl, "--so-far", measured)
    assert said.exit_code == 2 and "Traceback" not in said.stderr and "--so-far" in said.stderr


def test_so_far_with_sizes(cowl: str) -> None:
    several = run(cowl, "--so-far", "drift 30 rows 7.1 cm", "--sizes", "40,50")
    assert several.exit_code == 2 and "the one size that is on the needles" in several.stderr
    begun = document(cowl, "--sizes", "40")["needles"]
    assert begun != document(cowl)["needles"]
    half = document(cowl, "--sizes", "40", "--so-far", "drift 30 rows 7.1 cm")
    assert half["needles"] == begun and half["size_cm"] == 40 and half["so_far"]["rows_done"] == 42
    assert (
        f"on needles {begun['left']} to {begun['right']}."
        in run(cowl, "--sizes", "40", "--so-far", "drift 30 rows 7.1 cm").stdout
    )


def test_so_far_from_the_environment(cowl: str, monkeypatch: pytest.MonkeyPatch) -> None:
    said = run(cowl, "--so-far", "drift 30 rows 7.1 cm", "--so-far", "drift 40 stitches 21 cm").stdout
    monkeypatch.setenv("STITCHC_SO_FAR", "drift 30 rows 7.1 cm; drift 40 stitches 21 cm")
    assert run(cowl).stdout == said
    monkeypatch.setenv("STITCHC_SO_FAR", "drift 30 rows 7.1 cm")
    assert "Measured: 30 rows of drift in 7.1 cm" in run(cowl).stdout


# -- the page -----------------------------------------------------------------------------------------------------


def test_the_page_goes_where_it_is_told(cowl: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    said = run(cowl, "--format", "html")
    assert said.stdout.strip() == "cowl-cowl-piece.html"
    page = Path("cowl-cowl-piece.html").read_text(encoding="utf-8")
    assert "stitchc" in page[:4096]
    first = run(cowl, "--format", "html", "-o", "a.html")
    second = run(cowl, "--format", "html", "-o", "b.html")
    assert first.exit_code == second.exit_code == 0
    assert Path("a.html").read_bytes() == Path("b.html").read_bytes()


def test_hostile_words_stay_words(tmp_path: Path) -> None:
    file = tmp_path / "it.stitch"
    file.write_text(
        'pattern "<script>alert(1)</script>"\nstitch a\n 1: K\ngauge plain 20 stitches 28 rows per 10 cm\n'
        'piece it\n needles 20\n do "</table><img src=x onerror=alert(2)>"\n knit plain for 4 rows at "<b>5</b>"\n',
        encoding="utf-8",
    )
    target = tmp_path / "it.html"
    assert run(str(file), "--format", "html", "-o", str(target)).exit_code == 0
    page = target.read_text(encoding="utf-8")
    assert "<script>alert" not in page and "<img" not in page and "<b>5" not in page


def test_the_spread_a_knitter_states_sets_the_ranges(cowl: str) -> None:
    steady, uneven = (document(cowl, "--spread", percent)["width_cm"] for percent in ("1", "8"))
    assert steady["value"] == pytest.approx(uneven["value"], rel=0.02)
    assert steady["high"] - steady["low"] < uneven["high"] - uneven["low"]


def test_each_page_says_of_which_pattern_it_is(cowl: str, tmp_path: Path) -> None:
    target = tmp_path / "cowl.pdf"
    assert run(cowl, "--format", "pdf", "-o", str(target)).exit_code == 0
    with pypdfium2.PdfDocument(target) as pdf:
        for sheet in pdf:
            assert "Harbour cowl: cowl · made by stitchc" in sheet.get_textpage().get_text_range()


# -- sizes with decimal commas ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "readings"),
    [
        ("17,5", ["17.5", "17, 5"]),
        ("17,5cm", ["17.5", "17, 5"]),
        ("17,25", ["17.25", "17, 25"]),
        ("17,50", ["17.50", "17, 50"]),
        ("8,9", ["8.9", "8, 9"]),
        ("46,5, 50 cm", ["46.5, 50", "46, 5, 50"]),
        ("46,5;50", ["46.5, 50", "46, 5, 50"]),
        ("22, 24,5", ["22, 24.5", "22, 24, 5"]),
        ("17,2,18,6", ["17.2, 18.6", "17, 2, 18, 6"]),
        ("17,5,19,5,22", ["17.5, 19.5, 22"]),
        ("17,5, 19,5, 22", ["17.5, 19.5, 22"]),
        ("1/2", ["0.5", "1, 2"]),
        ("17 1/2, 19 3/4", ["17.5, 19.75", "17, 1, 2, 19, 3, 4"]),
    ],
)
def test_sizes_that_can_be_read_in_two_ways_are_asked_about(cowl: str, typed: str, readings: list[str]) -> None:
    """And each reading, typed as it is shown, is read in that way."""
    refused = run(cowl, "--sizes", typed)
    assert refused.exit_code == 2 and not refused.stdout
    words = " ".join(refused.stderr.split())
    assert re.search(rf"Write {' or, with spaces between sizes, '.join(map(re.escape, readings))}\.$", words), words
    for reading in readings:
        assert parse_sizes(reading, "cm") == [10 * float(number) for number in reading.split(", ")]


@pytest.mark.parametrize("typed", ["48,52,56", "48,52", "40,50", "8,9,10", "52,48,56", "48/52/56", "4/8", "17.5,5"])
def test_lists_that_can_be_read_in_one_way_are_read(typed: str) -> None:
    assert parse_sizes(typed, "cm") == [10 * float(number) for number in re.split("[,/]", typed)]


@given(st.text("0123456789,;/. ", max_size=60))
def test_sizes_are_read_or_refused(text: str) -> None:
    """Whatever is typed, however long; a reading that is offered is itself read."""
    with contextlib.suppress(WrongOption):
        parse_sizes(text, "cm")
    numbers = [part for part in re.split("[,;/ ]+", text) if part]
    doubt = doubt_about(text) if all(re.fullmatch(r"[0-9]+(\.[0-9]+)?", number) for number in numbers) else None
    for reading in () if doubt is None else filter(None, doubt):
        assert doubt_about(reading) is None

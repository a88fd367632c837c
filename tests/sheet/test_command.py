"""`stitchc sheet` as it is typed: every example on a simulated bed, the words read back, the forms, bad input."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from stitchc.__main__ import run
from stitchc.notation import compile_file
from tests.bed_simulation import expected, knit, position
from tests.proof.knitter import by_row, lines_of_text
from tests.sheet.words_reader import read

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.stitch"))
STITCHES = [
    (path, stitch.name)
    for path in EXAMPLES
    for stitch in (compile_file(str(path)).pattern or pytest.fail(str(path))).wanted()
]

RIPPLE = "stitch ripple\n    1: K T\n    2: K\n"


def written(tmp_path: Path, text: str) -> str:
    path = tmp_path / "x.stitch"
    path.write_text(text, encoding="utf-8")
    return str(path)


def sheet(capsys: pytest.CaptureFixture[str], *arguments: str, status: int = 0) -> str:
    assert run(["sheet", *arguments]) == status, capsys.readouterr().err
    return capsys.readouterr().out


@pytest.mark.parametrize(("path", "name"), STITCHES, ids=[name for _, name in STITCHES])
@pytest.mark.parametrize("carriage", ["right", "left"])
@pytest.mark.parametrize("needles", ["L20-R20", "L18-R19"])
def test_every_example_comes_out_of_a_simulated_bed_as_charted(
    capsys: pytest.CaptureFixture[str], path: Path, name: str, carriage: str, needles: str
) -> None:
    out = sheet(capsys, str(path), "--stitch", name, "--needles", needles, "--carriage", carriage, "--rows", "37",
                "--format", "json")  # fmt: skip
    document = json.loads(out)
    pattern = compile_file(str(path)).pattern
    assert pattern is not None
    chart = pattern.stitches[name].chart
    count = document["needles"]["count"]
    assert knit(document, carriage) == expected(chart.rows(), count, 1, 37)
    assert [step["yarn"] for step in document["passes"]] == [chart.yarns[k % chart.height] for k in range(37)]
    words_say_what_the_form_says(document)


def words_say_what_the_form_says(document: dict[str, Any]) -> None:
    """Read every `words` as a person would and compare with the needles listed beside it."""
    held: list[int] = []
    for step in document["passes"]:
        out, back = ([position(n) for n in step[key]] for key in ("bring_out", "push_back"))
        said_out: set[int] = set()
        said_back: set[int] = set()
        for sentence in step["words"].removesuffix(".").split(". "):
            if sentence.startswith("Bring out "):
                said_out = read(sentence.removeprefix("Bring out "))
            elif sentence.startswith("Push back "):
                said_back = read(
                    sentence.removeprefix("Push back ").removesuffix(": loops behind the open latch"), held
                )
        assert (sorted(said_out), sorted(said_back)) == (out, back)
        assert (not out and not back) or "Nothing to move" not in step["words"]
        if "Cancel the hold" in step["words"]:
            assert not step["held"]
        held = [position(n) for n in step["held"]]


def test_the_form_has_the_fields_and_the_order_that_were_promised(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    document = json.loads(sheet(capsys, written(tmp_path, RIPPLE), "--format", "json"))
    assert list(document) == ["format", "machine", "stitch", "needles", "passes", "out_of_work", "totals"]
    assert document["format"] == "stitchc-sheet/1"
    assert (document["machine"], document["stitch"]) == ("hand-standard", "ripple")
    assert document["needles"] == {"left": "L12", "right": "R12", "count": 24}
    assert document["passes"][0] == {
        "row": 1,
        "chart_row": 1,
        "direction": "right to left",
        "setting": "tuck",
        "yarn": None,
        "held": ["L10", "L8", "L6", "L4", "L2", "R1", "R3", "R5", "R7", "R9", "R11"],
        "bring_out": ["L10", "L8", "L6", "L4", "L2", "R1", "R3", "R5", "R7", "R9", "R11"],
        "push_back": [],
        "moves": 11,
        "words": "Set the carriage to hold. Bring out every 2nd needle from L10 to R11 (11 needles; comb 1 out, 1 in).",
    }
    assert document["totals"] == {"rows": 2, "moves": 11}


def test_several_stitches_are_a_list(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = written(tmp_path, RIPPLE + "stitch other\n    1: T K\n    2: K\n")
    documents = json.loads(sheet(capsys, path, "--format", "json"))
    assert [document["stitch"] for document in documents] == ["ripple", "other"]
    assert json.loads(sheet(capsys, path, "--format", "json", "--stitch", "other"))["stitch"] == "other"


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
@pytest.mark.parametrize("machine", ["hand-bulky", "card24-standard", "bitmap-standard"])
def test_text_has_80_columns_and_tells_every_row(capsys: pytest.CaptureFixture[str], path: Path, machine: str) -> None:
    out = sheet(capsys, str(path), "--machine", machine, "--rows", "50")
    assert max(map(len, out.splitlines())) <= 80
    sheets = out.split("\nIn all ")[:-1]
    assert sheets and all(sorted(by_row(lines_of_text(each + "\nIn all "))) == [*range(1, 51)] for each in sheets)
    assert "\t" not in out and not any(line != line.rstrip() for line in out.splitlines())


@pytest.mark.parametrize(
    ("machine", "last"),
    [
        ("hand-standard", "In all 4 rows, 22 needles moved by hand. Made by stitchc."),
        ("card24-standard", "In all 4 rows. Made by stitchc."),
        ("bitmap-standard", "In all 4 rows. Made by stitchc."),
    ],
)
def test_moves_are_counted_where_hands_make_them(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, machine: str, last: str
) -> None:
    path = written(tmp_path, "stitch tide\n    1: K T\n    2: K\n    3: T K\n    4: K\n")
    text = sheet(capsys, path, "--machine", machine)
    assert text.splitlines()[-1] == last


def test_text_of_a_two_row_hold(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = written(tmp_path, "stitch posts\n    1-2: K T\n      3: K\n")
    out = sheet(capsys, path, "--rows", "30")
    assert out.split("Row by row\n")[1] == (
        "\n"
        "Rows 1 to 30: these 6 rows 5 times.\n"
        "  Rows 1, 7, 13, 19 and 25, right to left. Set the carriage to hold. Bring out\n"
        "        every 2nd needle from L10 to R11 (11 needles; comb 1 out, 1 in).\n"
        "  Rows 2, 8, 14, 20 and 26, left to right. Nothing to move: leave the 11 held\n"
        "        needles out.\n"
        "  Rows 3, 9, 15, 21 and 27, right to left. Cancel the hold: the 11 held needles\n"
        "        knit back.\n"
        "  Rows 4, 10, 16, 22 and 28, left to right. Set the carriage to hold. Bring out\n"
        "        every 2nd needle from L10 to R11 (11 needles; comb 1 out, 1 in).\n"
        "  Rows 5, 11, 17, 23 and 29, right to left. Nothing to move: leave the 11 held\n"
        "        needles out.\n"
        "  Rows 6, 12, 18, 24 and 30, left to right. Cancel the hold: the 11 held needles\n"
        "        knit back.\n"
        "\n"
        "    Do: The stitches are still on the needles. Cast off, or knit on.\n"
        "\n"
        "In all 30 rows, 110 needles moved by hand. Made by stitchc.\n"
    )


def test_slip_by_hand_is_told_step_by_step_and_marked_slow(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    out = sheet(capsys, written(tmp_path, "stitch miss\n    1: K S\n    2: S K\n"))
    assert "Slip by hand: bring the needles out" in " ".join(out.split())
    assert "Slow: after the pass" in out


def test_one_direction_says_which_side_to_begin_at(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    profile = tmp_path / "one.toml"
    profile.write_text('based_on = "hand-standard"\nname = "one-way"\n[carriage]\nhold_directions = "one"\n')
    path = written(tmp_path, RIPPLE)
    out = sheet(capsys, path, "--machine", str(profile), "--rows", "40", "--carriage", "left")
    flat = " ".join(out.split())
    assert "Every row with held needles runs left to right, and the row after it knits them back." in flat
    assert "begin with the carriage at the right (--carriage right)" in flat
    assert "Row 1, left to right. Set the carriage to hold when it goes left to right. Bring out every 2nd" in flat
    assert flat.count("Set the carriage to hold when it goes left to right.") == 1
    flat = flat.split("Row by row")[1]
    assert "Cancel the hold:" not in flat and "Cancel the hold going" not in flat


def test_cheapest_says_what_it_saves_and_changes_nothing(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = written(tmp_path, "stitch five\n    1: K2 T K2\n    2: T K4\n")
    plain = sheet(capsys, path, "--needles", "24", "--rows", "20")
    assert run(["sheet", path, "--needles", "24", "--rows", "20", "--cheapest"]) == 0
    with_cheapest = capsys.readouterr()
    assert with_cheapest.out == plain
    assert "10 ways compared" in with_cheapest.err and "saves" in with_cheapest.err
    # 22 columns: a shift that leaves both tucks out of the two that do not fill a repeat has 4 + 4 tucks, not 4 + 5
    assert "five shifted" in with_cheapest.err


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (["--needles", "201"], 1, "M303"),
        (["--needles", "201", "--anyway"], 1, "M303"),
        (["--needles", "L5-R200"], 1, "M303"),
        (["--needles", "0"], 2, "at least one needle"),
        (["--needles", "R5-L5"], 2, "right to left"),
        (["--needles", "many"], 2, "not a number of needles"),
        (["--needles", "10", "--edge", "5"], 2, "no needle is left for the stitch"),
        (["--rows", "0"], 2, "--rows"),
        (["--rows", "900000"], 2, "from 1 to 100,000"),
        (["--rows", "90000", "--needles", "60"], 1, "N110"),
        (["--edge", "0"], 1, "K206"),
        (["--machine", "nowhere"], 1, "M304"),
        (["--stitch", "rippel"], 1, "N103"),
    ],
)
def test_bad_input(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, arguments: list[str], status: int, said: str
) -> None:
    assert run(["sheet", written(tmp_path, RIPPLE), *arguments]) == status
    captured = capsys.readouterr()
    assert said in captured.err
    assert not captured.out and "Traceback" not in captured.err


def test_an_edge_tuck_goes_on_with_anyway_and_the_sheet_says_what_to_do(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    out = sheet(capsys, written(tmp_path, RIPPLE), "--edge", "0", "--anyway")
    assert "(K206)" in out
    assert "Watch R12: a tuck on an edge needle" in " ".join(out.split())


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((), ""),
        (("--needles", "14"), ""),
        (("--needles", "12", "--edge", "0"), ""),
        (("--needles", "13"), "but only 11 needles stand between the edges"),
        (("--needles", "3"), "but only 1 needle stands between the edges"),
        (("--needles", "1", "--edge", "0", "--anyway"), "but only 1 is in work"),
    ],
)
def test_fewer_needles_than_one_repeat_are_warned_of(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, options: tuple[str, ...], said: str
) -> None:
    path = written(tmp_path, "stitch fern over 12\n    1: K3 T K4 T K3\n    2: K\n")
    assert run(["sheet", path, *options]) == 0
    captured = capsys.readouterr()
    assert ("M306" in captured.err) == ("(M306)" in captured.out) == bool(said)
    assert said in captured.err and ("Try: --needles 1" in captured.err) == bool(said)
    if said and "--edge" not in options:
        assert "Try: --needles 14" in captured.err
        assert run(["sheet", path, "--needles", "14"]) == 0 and "M306" not in capsys.readouterr().err


def test_a_head_says_where_repeats_are_not_whole_across(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = written(tmp_path, "stitch fern over 12\n    1: K3 T K4 T K3\n    2: K\n")
    assert "Across:   the repeat of 12 needles 3 times and 2 needles more" in sheet(capsys, path, "--needles", "40")
    assert "Across" not in sheet(capsys, path, "--needles", "38")


def test_html_goes_to_files_named_for_pattern_and_stitch(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(tmp_path, 'pattern "Quay"\n' + RIPPLE + "stitch other\n    1: T K\n    2: K\n")
    monkeypatch.chdir(tmp_path)
    out = sheet(capsys, path, "--format", "html")
    assert out.split() == ["x-ripple-sheet.html", "x-other-sheet.html"]
    assert sheet(capsys, path, "--format", "html", "-o", "in.html", "--stitch", "other").split() == ["in.html"]
    assert sheet(capsys, path, "--format", "html", "-o", "folder").split() == [
        "folder/x-ripple-sheet.html",
        "folder/x-other-sheet.html",
    ]
    assert run(["sheet", path, "--format", "html", "-o", "one.html"]) == 2
    assert "name a folder" in capsys.readouterr().err
    first = Path("x-ripple-sheet.html").read_bytes()
    sheet(capsys, path, "--format", "html")
    assert Path("x-ripple-sheet.html").read_bytes() == first, "the same input gives the same bytes"


@pytest.mark.parametrize(
    ("way", "words"),
    [("", "cut it, and join it here"), ("cut", "cut it, and join it here"), ("carry", "Carry the carriage: lift"),
     ("free-pass", "Free pass, left to right: take the yarn out")],
)  # fmt: skip
def test_how_a_yarn_at_the_other_side_is_brought_back_can_be_asked_for(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, way: str, words: str
) -> None:
    """In the sheet, the piece and the leaflet; a card machine is not asked."""
    text = "yarn foam\nyarn sand\nstitch odd\n    1, 2, 4 in foam: K T\n    3 in sand: K\n"
    text += "gauge plain 20 stitches 28 rows per 10 cm\npiece cuff\n    needles 30\n    knit odd for 12 rows\n"
    path = written(tmp_path, text)
    asked = ["--yarn-back", way] if way else []
    for command in (["sheet", path], ["piece", path], ["leaflet", path, "--no-pictures", "--machine", "hand-standard"]):
        assert run([*command, "--format", "text", "-o", str(tmp_path / "it.txt"), "--force", *asked]) == 0
        assert words in " ".join((tmp_path / "it.txt").read_text("utf-8").split()), command


def test_what_is_moved_stands_before_what_the_pass_does(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    profile = tmp_path / "own.toml"
    habits = 'hold_directions = "each"\nslip_by = "rest"\n'
    profile.write_text(f'based_on = "hand-standard"\nname = "own"\n[carriage]\n{habits}', encoding="utf-8")
    path = written(tmp_path, "stitch well over 4\n    1: K T K2\n    2: S K3\n    3: K\n")
    flat = " ".join(sheet(capsys, path, "--machine", str(profile), "--rows", "3").split())
    row = flat.split("Row 2, ")[1].split("Row 3")[0]
    assert row.index("Push right back") < row.index("held needles knit back. Leave the hold set.")


def test_needles_out_of_work_are_named_without_a_comb(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What a comb pushes "out" stands in holding position everywhere else."""
    file = tmp_path / "ladder.stitch"
    file.write_text("stitch ladder over 6\n    out 4\n    1: K T K3\n    2: K\n", encoding="utf-8")
    assert run(["sheet", str(file), "--needles", "38"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    named = re.search(r"Push back to non-working position and leave empty: ([^.]*)\.", text)
    assert named is not None and "every 6th needle" in named[1] and "comb" not in named[1]
    assert "comb 1 out, 5 in" in text  # those that are brought out to tuck

"""`stitchc gauge` and `stitchc swatch` from outside: forms, figures, messages and exit statuses."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from stitchc.__main__ import run
from stitchc.bed import needle_position
from stitchc.cli.common import read_pattern
from stitchc.gauge.learnt import Lesson
from stitchc.gauge.remarks import check_bed
from stitchc.machines import load
from stitchc.messages import Span
from stitchc.notation import compile_text
from stitchc.pattern import Pattern, Swatch
from stitchc.whole_check import check_file

ROOT = Path(__file__).parents[2]

PATTERN = """
pattern "Tide line"
yarn foam "sea green" tex 420
gauge plain 20 stitches 28 rows per 10 cm
stitch ripple
    1: K T
    2: K
stitch drift = ripple then ripple shifted 1
stitch skim = drift with S for T
"""


@pytest.fixture
def pattern(tmp_path: Path) -> Path:
    path = tmp_path / "tide.stitch"
    path.write_text(PATTERN, encoding="utf-8")
    return path


def document(capsys: pytest.CaptureFixture[str], *arguments: str) -> Any:
    assert run(arguments) == 0
    return json.loads(capsys.readouterr().out)


def test_json_has_every_field_of_the_contract(pattern: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = document(capsys, "gauge", str(pattern), "--stitch", "ripple", "--format", "json")
    assert found["format"] == "stitchc-gauge/1"
    assert found["baseline"] == {"stitches_per_10cm": 20.0, "rows_per_10cm": 28.0, "source": "measured"}
    (ripple,) = found["stitches"]
    assert ripple["name"] == "ripple"
    assert (ripple["tucks_per_100"], ripple["slips_per_100"]) == (25.0, 0.0)
    assert (ripple["mean_span"], ripple["longest_hold"]) == (1.333, 1)
    assert ripple["basis"] == "estimate"
    for field in ("stitch_factor", "row_factor", "stitches_per_10cm", "rows_per_10cm"):
        assert ripple[field]["low"] < ripple[field]["value"] < ripple[field]["high"]
    assert ripple["width_change_percent"] > 0 > ripple["length_change_percent"]
    factor = ripple["row_factor"]["value"]
    assert ripple["rows_per_10cm"]["value"] == pytest.approx(28 * factor, rel=1e-3)
    assert ripple["length_change_percent"] == pytest.approx(100 * (1 / factor - 1), abs=0.1)


def test_without_plain_the_contract_asks_for_nulls(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "bare.stitch"
    path.write_text("stitch ripple\n 1: K T\n 2: K\ngauge ripple 17 stitches 40 rows per 10 cm\n", encoding="utf-8")
    found = document(capsys, "gauge", str(path), "--format", "json")
    assert found["baseline"] is None
    assert found["stitches"][0]["stitches_per_10cm"] is None and found["stitches"][0]["rows_per_10cm"] is None
    assert found["stitches"][0]["row_factor"]["value"] > 1
    assert run(["gauge", str(path)]) == 0
    out = capsys.readouterr().out
    assert "17.0 (" in out and "--plain" in out  # its own measured gauge is told in words


@pytest.mark.parametrize("said", ["20x28", "20×28", "20 x 28", " 20 X 28.0 ", "20,0x28", "20 sts by 28 rows", "20*28"])
def test_plain_is_read_in_every_usual_writing(said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "bare.stitch"
    path.write_text("stitch ripple\n 1: K T\n 2: K\n", encoding="utf-8")
    found = document(capsys, "gauge", str(path), "--plain", said, "--format", "json")
    assert found["baseline"] == {"stitches_per_10cm": 20.0, "rows_per_10cm": 28.0, "source": "given"}


@pytest.mark.parametrize(
    "said", ["", "20", "20x", "x28", "0x28", "20x0", "-20x28", "500x28", "20x9999", "nan x 3", "1e3x2"]
)
def test_plain_that_cannot_be_is_wrong_usage(said: str, pattern: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["gauge", str(pattern), "--plain", said]) == 2
    assert "--plain" in capsys.readouterr().err


def test_plain_is_only_for_files_that_have_none(pattern: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = document(capsys, "gauge", str(pattern), "--plain", "30x40", "--format", "json")
    assert found["baseline"]["stitches_per_10cm"] == 20.0


def test_inches_show_four_inches(pattern: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["gauge", str(pattern), "--units", "in"]) == 0
    out = capsys.readouterr().out
    assert "20.3 stitches and 28.4 rows to 4 in" in out  # 4 in are 10.16 cm
    assert " in wide" in out


def test_text_tells_what_will_happen(pattern: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["gauge", str(pattern), "--stitch", "ripple"]) == 0
    out = capsys.readouterr().out
    assert "% wider" in out and "% shorter" in out and "estimate" in out
    assert "yarn foam" in out and " g in a square metre" in out


def test_swatches_kept_in_an_include_serve_another_pattern(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "foam.stitch").write_text(
        "stitch trial\n 1: K T\n 2: K\ngauge plain 20 stitches 28 rows per 10 cm\n"
        "gauge trial 17 stitches 44 rows per 10 cm\n",
        encoding="utf-8",
    )
    path = tmp_path / "cushion.stitch"
    path.write_text('include "foam.stitch"\nstitch bars\n 1-2: K T\n 3: K\n', encoding="utf-8")
    found = document(capsys, "gauge", str(path), "--format", "json")
    assert [stitch["name"] for stitch in found["stitches"]] == ["bars"]
    assert found["stitches"][0]["basis"] == "calibrated"


def test_what_cannot_be_knitted_is_shown_all_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "stuck.stitch"
    path.write_text("stitch stuck\n 1: K T\n 2: K T\n", encoding="utf-8")
    found = document(capsys, "gauge", str(path), "--plain", "20x28", "--format", "json")
    assert found["stitches"][0]["longest_hold"] is None
    assert run(["gauge", str(path)]) == 0
    assert "never knit" in capsys.readouterr().out


def _codes(capsys: pytest.CaptureFixture[str], tmp_path: Path, text: str) -> tuple[int, list[str]]:
    path = tmp_path / "it.stitch"
    path.write_text(text, encoding="utf-8")
    status = run(["gauge", str(path)])
    err = capsys.readouterr().err
    return status, [part.split("]")[0] for part in err.split("[")[1:] if part[:1] in "GNKM" and "]" in part[:6]]


@pytest.mark.parametrize("code", ["G601", "G602", "G603", "G604", "G605", "G606", "G607"])
def test_every_explained_example_does_what_its_page_says(
    code: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = tomllib.loads((ROOT / "stitchc" / "explain" / f"{code}.toml").read_text(encoding="utf-8"))
    status, codes = _codes(capsys, tmp_path, page["wrong"])
    assert set(codes) == {code} and status == (1 if code == "G601" else 0)
    assert _codes(capsys, tmp_path, page["fixed"]) == (0, [])


@pytest.mark.parametrize(
    ("line", "status", "code"),
    [
        ("gauge plain 0 stitches per 10 cm", 1, "N115"),
        ("gauge plain -4 stitches per 10 cm", 1, "N115"),
        ("gauge plain 500 stitches per 10 cm", 1, "G601"),
        ("gauge ripple 1000 rows per 10 cm", 1, "G601"),
        ("gauge ripple 2 rows per 7 mm", 0, "G602"),
        ("gauge rippel 20 stitches per 10 cm", 1, "N103"),
        ("gauge plain 24 stitches 28 rows per 10 cm", 0, "G603"),
    ],
)
def test_bad_gauges_are_told_at_their_line(
    line: str, status: int, code: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "it.stitch"
    path.write_text(PATTERN.lstrip() + line + "\n", encoding="utf-8")
    assert run(["gauge", str(path)]) == status
    err = capsys.readouterr().err
    assert f"[{code}]" in err
    assert f"it.stitch:{len(PATTERN.lstrip().splitlines()) + 1}:" in err


LADDERS = """
gauge plain 20 stitches 28 rows per 10 cm
yarn oat tex 400
stitch ladder over 4
    out 4
    1: K
stitch panel over 6
    out 3-4
    1: K T K2
    2: K
stitch comb over 12
    out 3-12
    1: K
piece scarf
    width 20 cm
    knit ladder for 30 cm
"""


def test_needles_out_of_work_are_counted_and_nothing_published_is_claimed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "summer.stitch"
    path.write_text(LADDERS, encoding="utf-8")
    found = document(capsys, "gauge", str(path), "--format", "json")["stitches"]
    assert [stitch["tucks_per_100"] for stitch in found] == [0, 12.5, 0]  # of the cells in work
    for stitch in found:
        assert stitch["evidence"]["published_with_needles_out_of_work"] == 0
        assert "ladder_first" in stitch["evidence"]["guessed"] and "needles out of work are counted" in stitch["words"]
    # 4 needles lie as wide as 3.6 stitches of stocking stitch (a ladder of 0.6 of a stitch: assumed)
    assert found[0]["stitches_per_10cm"]["value"] == pytest.approx(20 * 4 / 3.6, rel=1e-3)
    assert run(["gauge", str(path), "--evidence"]) == 0
    out = capsys.readouterr().out
    assert out.count("needles to 10 cm") == 3 and out.count("no published figure for ladders") == 3
    assert "No figure at all is" in out and "how wide a ladder's first needle is" in out
    piece = document(capsys, "piece", str(path), "--format", "json")
    # 11 repeats and 2 edges at 22.2 to 10 cm are 20.7 cm; 10 repeats would be 18.9 cm
    assert piece["needles"]["count"] == 46 and piece["width_cm"]["value"] == pytest.approx(20.7, abs=0.01)


@pytest.mark.parametrize("machine", ["hand-standard", "card24-standard"])
def test_the_marks_of_a_swatch_are_on_needles_in_work(
    machine: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "summer.stitch"
    path.write_text(LADDERS, encoding="utf-8")
    for plan in document(capsys, "swatch", str(path), "--machine", machine, "--format", "json")["swatches"]:
        sheet = ("sheet", str(path), "--stitch", plan["stitch"], "--machine", machine)
        out = document(capsys, *sheet, "--needles", str(plan["needles"]["count"]), "--format", "json")["out_of_work"]
        assert out and not {*plan["marks"]["needles"]} & {*out}
        left, right = (needle_position(name) for name in plan["marks"]["needles"])
        between = sum(left < needle_position(name) < right for name in out)
        assert run(["swatch", str(path), "--machine", machine, "--stitch", plan["stitch"]]) == 0
        shown = capsys.readouterr().out
        assert f"{right - left} needles ({between} out of work)" in shown
        bed = plan["needles"]
        whole = f"those in work of the {bed['count']} from {bed['left']} to {bed['right']}; "
        assert f"{bed['count'] - len(out)} needles, {whole}" in shown and "these stay empty, out of work: " in shown
        assert "the needles out of work count as stitches" in " ".join(shown.split())


# -- swatch ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("percent", ["1", "2", "5"])
def test_a_swatch_is_as_large_as_the_tape_asks(percent: str, pattern: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """2 mm of tape are `percent` of the distance even if the fabric comes out at the small end of its range."""
    arguments = ("swatch", str(pattern), "--within", percent, "--format", "json")
    for swatch in document(capsys, *arguments)["swatches"]:
        between = swatch["between_marks"]
        for side in ("width_mm", "length_mm"):
            assert 2 / between[side]["low"] <= float(percent) / 100 * 1.001
        assert 2 / between["width_mm"]["low"] > 0.5 * float(percent) / 100  # and not larger than it need be
        assert between["stitches"] % 2 == 0 and between["rows"] % 4 == 0  # whole repeats of drift and skim
        left, right = (needle_position(name) for name in swatch["marks"]["needles"])
        assert right - left == between["stitches"]
        assert needle_position(swatch["needles"]["left"]) < left < right < needle_position(swatch["needles"]["right"])
        first, last = swatch["marks"]["rows"]
        assert last - first == between["rows"] and 0 < first < last < swatch["rows"]


def test_swatch_lines_filled_in_make_the_gauge_measured(pattern: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = document(capsys, "swatch", str(pattern), "--stitch", "drift", "--format", "json")
    lines = [line.replace("____", "118") for line in found["swatches"][0]["gauge_lines"]]
    pattern.write_text(PATTERN + "\n".join(lines) + "\n", encoding="utf-8")
    after = document(capsys, "gauge", str(pattern), "--stitch", "drift", "--format", "json")
    assert after["stitches"][0]["basis"] == "measured"
    count = found["swatches"][0]["between_marks"]["stitches"]
    assert after["stitches"][0]["stitches_per_10cm"]["value"] == pytest.approx(count / 1.18, rel=1e-3)


def test_without_a_plain_gauge_stocking_stitch_comes_first(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "bare.stitch"
    path.write_text("stitch ripple\n 1: K T\n 2: K\n", encoding="utf-8")
    found = document(capsys, "swatch", str(path), "--format", "json")
    assert [swatch["stitch"] for swatch in found["swatches"]] == ["plain", "ripple"]
    assert all(swatch["gauge_is_guessed"] for swatch in found["swatches"])
    bulky = document(capsys, "swatch", str(path), "--machine", "hand-bulky", "--format", "json")
    assert bulky["swatches"][0]["needles"]["count"] < found["swatches"][0]["needles"]["count"]


def test_a_swatch_wider_than_the_bed_says_what_would_do(pattern: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["swatch", str(pattern), "--within", "0.2", "--machine", "hand-bulky"]) == 1
    err = capsys.readouterr().err
    assert "M303" in err
    offered = err.split("--within ")[1].split()[0]
    assert run(["swatch", str(pattern), "--within", offered, "--machine", "hand-bulky", "--stitch", "drift"]) in (0, 1)
    offers = [part.split()[0] for part in err.split("--within ")[1:]]
    assert run(["swatch", str(pattern), "--within", max(offers, key=float), "--machine", "hand-bulky"]) == 0


def test_a_swatch_text_names_marks_and_lines(pattern: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["swatch", str(pattern)]) == 0
    out = capsys.readouterr().out
    assert "mark needles" in out and "gauge skim" in out and "stitchc sheet" in out
    assert run(["swatch", str(pattern), "--within", "0"]) == 2


def test_the_sheet_of_a_swatch_has_every_row_and_the_marks(
    pattern: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = document(capsys, "swatch", str(pattern), "--format", "json")["swatches"][0]
    assert run(["swatch", str(pattern), "--format", "sheet"]) == 0
    out = capsys.readouterr().out
    for mark in plan["marks"]["needles"]:
        assert f" {mark}" in out
    assert f"Mark row {plan['marks']['rows'][0]}:" in out and f"In all {plan['rows']} rows" in out
    assert run(["swatch", str(pattern), "--format", "html", "-o", str(tmp_path / "pages")]) == 0
    (page,) = capsys.readouterr().out.split()
    html = Path(page).read_text(encoding="utf-8")
    assert "stitchc" in html[:4096] and f"Mark row {plan['marks']['rows'][1]}" in html


@pytest.mark.parametrize("form", ["text", "json", "sheet", "html"])
@pytest.mark.parametrize(("rows", "code"), [("1-9: T K3\n10: K", "K202"), ("1: T", "K205"), ("1: T K3", "K201")])
def test_a_swatch_of_what_cannot_be_knitted_is_refused(
    rows: str, code: str, form: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("tide.stitch").write_text(f"stitch tide\n{rows}\n", encoding="utf-8")
    asked = ["swatch", "tide.stitch", "--plain", "20x28", "--format", form]
    assert run(asked) == 1
    out, said = capsys.readouterr()
    assert out == "" and f"[{code}]" in said and not list(tmp_path.glob("*.html"))
    assert run([*asked, "--anyway"]) == 0
    out, said = capsys.readouterr()
    assert f"[{code}]" in said
    if form in ("sheet", "html"):
        pages = [out, *(path.read_text(encoding="utf-8") for path in tmp_path.glob("*.html"))]
        assert sum(f"({code})" in page for page in pages) == 1


@pytest.mark.parametrize(
    ("plain", "remarked"), [("2x2", 1), ("120x200", 1), ("24x200", 1), ("10x14", 0), ("50x80", 1), ("45x66", 0)]
)
def test_a_plain_gauge_that_no_machine_makes_is_remarked_upon_and_used(
    plain: str, remarked: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.stitch"
    path.write_text("stitch a\n    1: K T\n    2: K\n", encoding="utf-8")
    assert run(["gauge", str(path), "--plain", plain]) == 0
    out, said = capsys.readouterr()
    assert said.count("[G607]") == remarked
    assert "(given)" in out


BULKY = "gauge plain 16 stitches 22 rows per 10 cm\nstitch a\n    1: K T\n    2: K\n"
PIECE = "piece p\n    needles 20\n    knit plain for 4 rows\n"


@pytest.mark.parametrize(
    "asked",
    [
        ("check", "--machine", "hand-standard"),
        ("sheet",),
        ("piece",),
        ("swatch",),
        ("card", "--machine", "card24-standard"),
        ("bitmap",),
    ],
    ids=lambda asked: asked[0],
)
def test_a_gauge_too_wide_for_the_bed_is_told_by_every_product(
    asked: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """100 mm / 16 = 6.25 mm at a pitch of 4.5 mm; 0.56 to 1.06 of the pitch is in a guide (see below)."""
    monkeypatch.chdir(tmp_path)
    Path("a.stitch").write_text(BULKY + PIECE, encoding="utf-8")
    assert run((asked[0], "a.stitch", *asked[1:])) == 0
    captured = capsys.readouterr()
    assert (captured.out + captured.err).count("[G609]") == 1
    assert "6.25 mm" in captured.out + captured.err and "mid-gauge (6.5 mm)" in captured.out + captured.err


@pytest.mark.parametrize(
    ("stitches", "machine", "told"),
    [
        (20, "hand-standard", 0),
        (19, "hand-standard", 1),
        (50, "hand-standard", 1),
        (50, "hand-fine", 0),
        (16, "hand-mid", 0),
        (16, "hand-bulky", 0),
        (10, "hand-bulky", 0),
        (20, "hand-bulky", 0),
        (22, "hand-bulky", 1),  # double knitting: "too fine for 9 mm" ("Knitting machine gauge or size explained")
        (22, "hand-mid", 0),
        (28, "hand-mid", 1),
        (30, "hand-bulky", 1),
    ],
)
def test_beds_and_gauges(stitches: int, machine: str, told: int) -> None:
    """A guide has 21 to 40 stitches to 10 cm at 4.5 mm, 16 to 24 on the mid gauge and 12 to 20 at 9 mm ("What machine
    would you use for this hand knitting pattern", 2018)."""
    pattern = Pattern("a", {}, swatches=(Swatch("plain", 100, Span("a", 1), stitches),))
    messages = check_bed(pattern, load(machine))
    assert len(messages) == told
    for message in messages:  # 28 on the mid gauge are 0.549 of the pitch: not the 0.55 that is usual
        times = re.search(r", ([\d.]+) times", message.text)
        assert times is not None and not 0.55 <= float(times[1]) <= 1.12


@pytest.mark.parametrize(
    ("line", "code", "offered"),
    [
        ("gauge plain 20 stitches 28 rows per 4 cm", "G607", "gauge plain 20 stitches 28 rows per 4 in"),
        ("gauge plain 28 stitches 20 rows per 10 cm", "G605", "gauge plain 20 stitches 28 rows per 10 cm"),
        ("gauge plain 71 stitches 24 rows per 10 cm", "G607", "gauge plain 17 stitches 24 rows per 10 cm"),
        ("gauge plain 20 stitches 60 rows per 10 cm", "G605", "Count again"),
        ("gauge plain 20 stitches 28 rows per 4 in", None, ""),
        ("gauge plain 30 stitches 42 rows per 10 cm", None, ""),
        ("gauge plain 11 stitches 15 rows per 10 cm", None, ""),
    ],
)
def test_a_plain_gauge_that_another_writing_makes_ordinary_is_asked_about(
    line: str, code: str | None, offered: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.stitch"
    path.write_text(f"{line}\nstitch a\n    1: K T\n    2: K\n", encoding="utf-8")
    for command in ("gauge", "check"):
        assert run((command, str(path))) == 0
        captured = capsys.readouterr()
        text = captured.out + captured.err
        assert re.findall(r"\[(G\d+)\]", text) == ([code] if code else [])
        assert offered in text


G_ODD = "gauge t 22 stitches 41 rows per 10 cm\n"
G_T = "stitch t over 3\n    1: T K K\n    2: K\ngauge plain 24 stitches 34 rows per 10 cm\n"


@pytest.mark.parametrize(
    ("lines", "codes"),
    [
        ("gauge plain 48 stitches 70 rows per 10 cm\n" + G_ODD, ["G603", "G603", "G604"]),
        ("gauge plain 24 stitches 34 rows per 0.5 cm\n" + G_ODD, ["G601"]),
    ],
)
def test_no_line_is_corrected_to_itself_or_in_two_ways(lines: str, codes: list[str]) -> None:
    """22 with its digits turned round is 22; a count that cannot be is not confirmed with `sure`."""
    pattern, messages, _ = compile_text(G_T + lines, "it.stitch")
    assert pattern is not None and not messages
    told = check_file(pattern)
    assert [message.code for message in told] == codes
    assert not any(line in str(message.advice) for message in told for line in lines.splitlines())


YARNS = """yarn oat "oat" tex 417
yarn foam "foam" tex 250
stitch sure
    1 in oat: K T
    2 in oat: K
stitch both
    1 in oat: K T
    2 in oat: K
    3 in foam: K T
    4 in foam: K
gauge plain 22 stitches 30 rows per 4 in in oat
gauge plain 28 stitches 40 rows per 10 cm in foam
gauge sure 33 stitches 20 rows per 10 cm in oat
"""


def test_lines_may_name_a_yarn_and_be_sure(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "a.stitch"
    path.write_text(YARNS, encoding="utf-8")
    assert run(("gauge", str(path))) == 0
    out, err = capsys.readouterr()
    assert "in oat: 21.7 stitches" in out and "in foam: 28.0 stitches" in out
    assert "Not used, since it is hardly possible: gauge sure 33 stitches" in out and "is not used" in err
    assert "`both` is knitted in yarns with gauges of their own" in err
    path.write_text(YARNS.rstrip() + " sure\n", encoding="utf-8")
    found = document(capsys, "gauge", str(path), "--stitch", "sure", "--format", "json")
    assert found["not_used"] == [] and found["stitches"][0]["rows_per_10cm"]["value"] == pytest.approx(20)
    path.write_text(YARNS.replace("in foam\ngauge", "in foma\ngauge"), encoding="utf-8")
    assert run(("check", str(path))) == 1
    assert "[N116]" in capsys.readouterr().out


def test_a_line_that_counts_for_none_of_the_stitches_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.stitch"
    path.write_text(f"{YARNS}gauge sure 18 stitches 40 rows per 10 cm\n", encoding="utf-8")
    assert run(("gauge", str(path), "--stitch", "sure")) == 0
    out, _ = capsys.readouterr()
    assert "in foam: not used, because none of these stitches is knitted in foam." in out
    assert "gauge sure 18 stitches 40 rows per 10 cm: not used: it names no yarn" in out


def test_a_stitch_that_pieces_knit_in_measured_yarns_is_shown_in_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By the same figures as in the piece; the swatch of it in one yarn is used."""
    path = tmp_path / "a.stitch"
    path.write_text(
        "yarn aa tex 500\nyarn cc tex 300\nstitch rib over 4\n1: K T K2\n2: K\n"
        "gauge plain 20 stitches 28 rows per 10 cm in aa\ngauge plain 24 stitches 36 rows per 10 cm in cc\n"
        "gauge rib 18 stitches 36 rows per 10 cm in aa\npiece p\nneedles 50\n"
        "knit rib for 10 cm exactly in aa\nknit rib for 10 cm exactly in cc\n",
        encoding="utf-8",
    )
    assert run(("gauge", str(path))) == 0
    out = capsys.readouterr().out
    assert "not used" not in out and "\nrib\n" not in out
    assert re.search(r"\nrib in aa\n(?:  .*\n)*  rows to 10 cm +36\.0 \(32\.6 to 39\.7\) .*measured", out)
    assert re.search(r"\nrib in cc\n(?:  .*\n)*  rows to 10 cm +42\.0 \(36\.5 to 48\.2\) .*estimate", out)
    assert run(("piece", str(path))) == 0
    piece = " ".join(capsys.readouterr().out.split())
    assert "rib in aa: 18.0 stitches, 16.3 to 19.9 (measured); 36.0 rows, 32.6 to 39.7 (measured)" in piece
    assert "42.0 rows, 36.5 to 48.2 (estimate)" in piece
    found = document(capsys, "gauge", str(path), "--format", "json")
    assert [each["name"] for each in found["stitches"]] == ["rib", "rib in aa", "rib in cc"]
    assert found["not_used"] == []
    path.write_text(path.read_text("utf-8") + "knit rib for 4 rows\n", encoding="utf-8")
    assert run(("gauge", str(path), "--mechanics")) == 0
    out = capsys.readouterr().out
    assert "\nrib\n" in out and out.count("second opinion") == 3


def test_a_swatch_has_the_size_and_the_line_of_its_yarn(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "a.stitch"
    path.write_text(YARNS.replace("gauge sure 33 stitches 20", "gauge sure 18 stitches 40"), encoding="utf-8")
    found = document(capsys, "swatch", str(path), "--format", "json")["swatches"]
    assert [each["stitch"] for each in found] == ["sure", "both"]  # stocking stitch was measured in both yarns
    for each, end in zip(found, (" in oat", "mm"), strict=True):
        assert all(line.endswith(end) for line in each["gauge_lines"])
    between = found[0]["between_marks"]
    assert between["width_mm"]["value"] == pytest.approx(100 * between["stitches"] / 18, rel=0.002)


def test_two_files_whose_plain_gauges_differ_are_not_averaged_in_silence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "oat.stitch").write_text("gauge plain 20 stitches per 10 cm\nstitch o\n  1: K\n", encoding="utf-8")
    path = tmp_path / "a.stitch"
    path.write_text('include "oat.stitch"\ngauge plain 21.5 stitches per 10 cm\nstitch a\n  1: K\n', encoding="utf-8")
    assert run(("gauge", str(path))) == 0
    err = capsys.readouterr().err
    assert "[G603]" in err and "in two files" in err and "Their mean is used" in err


def test_a_line_that_is_sure_is_not_asked_about(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "a.stitch"
    path.write_text(
        "gauge plain 50 stitches 70 rows per 10 cm sure\nstitch a\n    1: K T\n    2: K\n", encoding="utf-8"
    )
    assert run(("check", str(path))) == 0
    assert "[G6" not in capsys.readouterr().out


# -- the swatch book --------------------------------------------------------------------------------------------------


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("oat.stitch").write_text(
        "stitch trial\n    1: K T\n    2: K\ngauge plain 22 stitches 30 rows per 10 cm\n", encoding="utf-8"
    )
    Path("p.stitch").write_text('include "oat.stitch"\nstitch bars\n    1-2: K T\n    3: K', encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize(
    ("measured", "place", "line"),
    [
        ("trial 19 x 41", "oat.stitch", "gauge trial 19 stitches 41 rows per 10 cm"),
        ("bars 18 × 47,5", "p.stitch", "gauge bars 18 stitches 47.5 rows per 10 cm"),
        ("bars 38 stitches per 20 cm", "p.stitch", "gauge bars 38 stitches per 20 cm"),
        ("plain 22 x 31 per 4 in sure", "oat.stitch", "gauge plain 22 stitches 31 rows per 4 in sure"),
        ("plain 22 x 30", "plain.stitch", "gauge plain 22 stitches 30 rows per 10 cm"),  # a file without a stitch
    ],
)
def test_a_measured_swatch_goes_to_its_file_once_and_nothing_is_lost(
    measured: str, place: str, line: str, book: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("plain.stitch").write_text("gauge plain 22 stitches 31 rows per 10 cm\n", encoding="utf-8")
    before = {name: Path(name).read_text(encoding="utf-8") for name in ("oat.stitch", "p.stitch", "plain.stitch")}
    with_book = ("--book", place) if place == "plain.stitch" else ()
    for _ in range(2):
        assert run(("swatch", "p.stitch", *with_book, "--measured", measured)) == 0
    assert "Nothing was added" in capsys.readouterr().err
    after = {name: Path(name).read_text(encoding="utf-8") for name in before}
    added = after.pop(place).removeprefix(before.pop(place)).strip()
    assert re.fullmatch(rf"{re.escape(line)}  # \d{{4}}-\d\d-\d\d", added) and after == before
    assert run(("gauge", "p.stitch", *with_book)) == 0
    out = capsys.readouterr().out
    assert line in out or "plain" in measured


@pytest.mark.parametrize(
    ("measured", "status", "code"),
    [
        ("nowhere 18 x 40", 1, "N103"),
        ("trial 18 x 0", 1, "N1"),
        ("trial 18 x 40 in", 1, "N101"),
        ("bars 190 x 34", 1, "G601"),
        ("bars 2.15 x 3.3", 1, "G604"),  # beyond belief by stocking stitch, which the other file has
        ("18 x 40", 2, ""),
        ("", 2, ""),
    ],
)
def test_a_swatch_that_would_be_of_no_use_is_not_added(
    measured: str, status: int, code: str, book: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = {path.name: path.read_bytes() for path in book.iterdir()}
    assert run(("swatch", "p.stitch", "--measured", measured)) == status
    assert {path.name: path.read_bytes() for path in book.iterdir()} == before
    err = capsys.readouterr().err
    assert f"[{code}" in err or not code
    if code:  # no file has the line, so its place is in the option
        assert err.startswith("--measured:1:") and f"\n  gauge {measured.split()[0]} " in err
        assert ".stitch:" not in err and "Nothing was added" in err


def test_a_swatch_beyond_belief_is_added_as_the_message_proposes(
    book: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(("swatch", "p.stitch", "--measured", "bars 2.15 x 3.3")) == 1
    proposed = re.search(r"Try: `(gauge [^`]+ sure)`", capsys.readouterr().err)
    assert proposed is not None
    assert run(("swatch", "p.stitch", "--measured", proposed[1])) == 0
    assert proposed[1] in Path("p.stitch").read_text(encoding="utf-8")


def test_of_a_swatch_that_is_not_used_one_message_speaks(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    swatches = "\ngauge bars 18 stitches 42 rows per 10 cm\ngauge bars 2.15 stitches 3.3 rows per 10 cm\n"
    Path("p.stitch").write_text(Path("p.stitch").read_text(encoding="utf-8") + swatches, encoding="utf-8")
    assert run(("gauge", "p.stitch")) == 0
    out, err = capsys.readouterr()
    assert re.findall(r"\[(G\d+)\]", err) == ["G604"] and "it is not used" in err and "mean is used" not in err
    assert "from your repeated swatches" not in out  # one swatch is left
    assert run(("check", "p.stitch")) == 0
    assert "mean is used" not in capsys.readouterr().out  # not estimated, so not known


def test_an_absurd_swatch_does_not_hide_another(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The spread that two such swatches teach made either of them look ordinary."""
    for line in ("bars 45 stitches 60 rows per 10 cm", "bars 2.15 stitches 3.3 rows per 10 cm"):
        with Path("p.stitch").open("a", encoding="utf-8") as file:
            file.write(f"\ngauge {line}")
    found = document(capsys, "gauge", "p.stitch", "--format", "json")
    assert len(found["not_used"]) == 2 and found["stitches"][0]["basis"] == "estimate"


def test_gauge_takes_the_swatches_of_a_book_and_says_what_each_taught(
    book: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("mine.stitch").write_text(
        "stitch bars\n    1: K T\n    2: K\ngauge plain 22 stitches 30 rows per 10 cm\n"
        "gauge bars 19 stitches 42 rows per 10 cm\n",
        encoding="utf-8",
    )
    Path("q.stitch").write_text("stitch bars\n    1-2: K T\n    3: K\n", encoding="utf-8")
    found = document(capsys, "gauge", "q.stitch", "--book", "mine.stitch", "--format", "json")
    assert found["baseline"]["stitches_per_10cm"] == 22 and found["stitches"][0]["basis"] == "calibrated"
    lesson = next(each for each in found["swatches"] if "bars" in each["line"])
    assert lesson["narrower_percent"] > 3
    assert run(("gauge", "q.stitch", "--book", "mine.stitch")) == 0
    assert "What each swatch changed" in capsys.readouterr().out


SWATCHES = """stitch bars
    1: K T
    2: K
gauge plain 22 stitches 30 rows per 10 cm
gauge bars 19 stitches 42 rows per 10 cm
"""


@pytest.mark.parametrize("again", ["mine.stitch", "link.stitch", "copy.stitch", "longer.stitch", "p.stitch"])
def test_a_swatch_that_is_reached_twice_counts_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, again: str
) -> None:
    """By an include and as a book, by a link, in a copy, in a copy with one swatch more, in the file itself."""
    monkeypatch.chdir(tmp_path)
    for name in ("mine", "copy"):
        Path(f"{name}.stitch").write_text(SWATCHES, encoding="utf-8")
    Path("link.stitch").symlink_to("mine.stitch")
    one_more = "gauge plain  22 stitches 30 rows per 10 cm  # 2026-12-01\n"
    Path("longer.stitch").write_text(SWATCHES + one_more, encoding="utf-8")
    Path("p.stitch").write_text('include "mine.stitch"\nstitch rib\n    1: K K T\n    2: K\n', encoding="utf-8")
    stitches = [swatch.stitch for swatch in read_pattern("p.stitch", again).swatches]
    assert stitches == ["plain", "bars", *(["plain"] if again == "longer.stitch" else [])]


def test_lines_that_one_file_repeats_are_repeated_swatches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In the file and in the book: as many as the one that has more; and an include that is a copy adds none."""
    monkeypatch.chdir(tmp_path)
    line = "gauge plain 22 stitches 30 rows per 10 cm\n"
    Path("twice.stitch").write_text(2 * line, encoding="utf-8")
    Path("copy.stitch").write_text(line, encoding="utf-8")
    stitch = "stitch bars\n    1: K T\n    2: K\n"
    for text, times in ((line, 1), (2 * line, 2), (f'{line}include "copy.stitch"\n', 1), (3 * line, 3)):
        Path("p.stitch").write_text(text + stitch, encoding="utf-8")
        assert len(read_pattern("p.stitch").swatches) == times
        assert len(read_pattern("p.stitch", "twice.stitch").swatches) == max(2, times)


def test_a_line_of_another_stitch_of_that_name_is_another_swatch(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("mine.stitch").write_text(SWATCHES, encoding="utf-8")
    Path("p.stitch").write_text(SWATCHES.replace("K T", "K K T"), encoding="utf-8")
    swatches = read_pattern("p.stitch", "mine.stitch").swatches
    assert [swatch.stitch for swatch in swatches] == ["plain", "bars", "bars (mine.stitch)"]


def test_every_command_takes_a_book_and_a_spread(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The book's stitch of the same name is another fabric, and its rows are in a yarn that the pattern lacks."""
    monkeypatch.chdir(tmp_path)
    Path("mine.stitch").write_text(
        "yarn oat\nstitch bars\n    1 in oat: K T\n    2 in oat: K\ngauge plain 22 stitches 30 rows per 10 cm\n"
        "gauge bars 19 stitches 42 rows per 10 cm\ngauge bars 19 stitches 52 rows per 10 cm\n",
        encoding="utf-8",
    )
    Path("q.stitch").write_text(
        "stitch bars\n    1-2: K T\n    3: K\npiece p\n    width 20 cm\n    knit bars for 10 cm\n", encoding="utf-8"
    )
    monkeypatch.setenv("STITCHC_BOOK", "mine.stitch")
    monkeypatch.setenv("STITCHC_SPREAD", "3")
    (bars,) = document(capsys, "gauge", "q.stitch", "--format", "json")["stitches"]
    assert bars["name"] == "bars" and bars["basis"] == "calibrated"
    (line,) = document(capsys, "compare", "q.stitch", "--format", "json")["stitches"]
    assert line["rows_per_10cm"] == bars["rows_per_10cm"]
    (plan,) = document(capsys, "swatch", "q.stitch", "--format", "json")["swatches"]
    assert plan["stitch"] == "bars" and not plan["gauge_is_guessed"]
    per_row = plan["between_marks"]["length_mm"]["value"] / plan["between_marks"]["rows"]
    assert per_row == pytest.approx(100 / bars["rows_per_10cm"]["value"], rel=1e-3)
    piece = document(capsys, "piece", "q.stitch", "--format", "json")
    rows = piece["sections"][0]["rows"]
    assert piece["length_cm"]["value"] == pytest.approx(10 * rows / bars["rows_per_10cm"]["value"], rel=1e-3)
    wider = document(capsys, "piece", "q.stitch", "--spread", "20", "--format", "json")
    assert wider["length_cm"]["high"] > piece["length_cm"]["high"]
    assert run(("check", "q.stitch")) == 0
    shown = capsys.readouterr().out
    assert "mine.stitch:7" in shown and "`bars` 2 x 3" in shown  # two swatches disagree
    assert run(("build", "q.stitch", "-o", "all", "--no-pictures", "--machine", "hand-standard")) == 0
    built = json.loads(Path("all/gauge.json").read_text(encoding="utf-8"))
    assert built["stitches"][0]["rows_per_10cm"] == bars["rows_per_10cm"] and built["spread_percent"] == 3


def test_what_an_estimate_rests_on_stands_beside_it(pattern: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The fit has seen five published gauges with tuck, none on one bed over plain, and five with slip."""
    found = document(capsys, "gauge", str(pattern), "--format", "json")["stitches"]
    evidence = {stitch["name"]: stitch["evidence"] for stitch in found}
    assert (evidence["ripple"]["published_tuck"], evidence["skim"]["published_slip"]) == (5, 5)
    assert "columns_rows" in evidence["ripple"]["guessed"] and "slip_rows" not in evidence["skim"]["guessed"]
    assert run(["gauge", str(pattern), "--stitch", "ripple", "--evidence"]) == 0
    out = capsys.readouterr().out
    assert "none on one bed over plain" in out and "how soon widening levels off" in out
    assert "predicted worst, off by -36 % and -13 %" in " ".join(out.split())
    assert "The figures have no unit" in out and not re.search(r"F_[wc]|[0-9] h\b", out), "no letter without a word"


def test_check_asks_about_a_count_that_another_unit_would_make_ordinary(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "drift.stitch"
    path.write_text(
        "stitch drift\n1: K T\n2: K\ngauge plain 20 stitches 28 rows per 10 cm\n"
        "gauge drift 18 stitches 33 rows per 4 cm\n",
        "utf-8",
    )
    assert run(["check", str(path)]) == 0
    shown = capsys.readouterr().out
    assert "[G604]" in shown and "Try: gauge drift 18 stitches 33 rows per 4 in" in shown


def test_what_was_measured_in_inches_is_answered_in_inches(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "cove.stitch"
    path.write_text(
        "yarn aa\nstitch rib over 6\n1: K2 T K3\n2: K\n3: K5 T\n4: K\nstitch slp = rib with S for T\n"
        "gauge plain 5 stitches 7 rows per 1 in in aa\ngauge rib 18 stitches 45 rows per 4 in in aa\n",
        "utf-8",
    )
    assert run(["check", str(path)]) == 0
    shown = capsys.readouterr().out
    expected = re.search(r"`rib` was expected at ([0-9.]+) rows to 4 in and measured (\d+) % over that", shown)
    assert expected and 45 / float(expected[1]) == pytest.approx(1 + int(expected[2]) / 100, abs=0.01)
    assert run(["swatch", str(path), "--units", "in"]) == 0
    assert "rows per ____ inches in aa" in capsys.readouterr().out
    line = "gauge slp 36 rows per 4 inches in aa"  # is read
    path.write_text(f"{path.read_text('utf-8')}{line}\n", "utf-8")
    assert run(["check", str(path)]) == 0


def test_a_comparison_says_on_what_each_direction_rests(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As the gauge does, not the better of the two alone."""
    path = tmp_path / "cove.stitch"
    path.write_text(
        "stitch rib over 4\n1: K T K2\n2: K\ngauge plain 20 stitches 28 rows per 10 cm\ngauge rib 34 rows per 10 cm\n",
        "utf-8",
    )
    assert run(["compare", str(path)]) == 0
    assert "stitches estimate, rows measured" in capsys.readouterr().out


def test_a_swatch_names_the_yarn_of_every_row_and_how_much_of_each(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of the plain rows before it and of the one after it too, which the sheet asks for in the same words."""
    path = tmp_path / "mosaic.stitch"
    path.write_text(
        "yarn dark tex 400\nyarn light tex 400\ngauge plain 20 stitches 28 rows per 10 cm\nstitch pebble over 6\n"
        "    1-2 in dark: K2 S K2 S\n    3-4 in light: K5 S\n    5-6 in dark: S K2 S K2\n    7-8 in light: K2 S K3\n"
    )
    assert run(["swatch", str(path)]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "; a few plain rows with dark " in told and " then one plain row with light, so that no needle " in told
    dark, light = map(int, re.search(r"yarn about (\d+) m of dark and (\d+) m of light at the most", told).groups())  # type: ignore[union-attr]
    whole = document(capsys, "swatch", str(path), "--format", "json")["swatches"][0]["metres"]["high"]
    assert dark + light == pytest.approx(whole, abs=1.01)
    assert run(["swatch", str(path), "--units", "in"]) == 0
    yards = re.search(r"yarn +about (\d+) m \((\d+) yd\) of dark", capsys.readouterr().out)
    assert yards and int(yards[1]) == dark and 0 <= int(yards[2]) - dark / 0.9144 < 2, "a yard is 0.9144 m"
    assert run(["swatch", str(path), "--format", "sheet"]) == 0
    sheet = " ".join(capsys.readouterr().out.split())
    assert "Knit a few plain rows with dark, and end" in sheet
    assert "cancel the hold and knit one plain row with light before you take the work off." in sheet


def test_both_counts_are_doubted_where_both_are_far_out(pattern: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = pattern.read_text()
    assert "gauge drift" not in text
    for line, words in (
        ("gauge drift 26 stitches 56 rows per 10 cm", "check both counts"),
        ("gauge drift 26 stitches per 10 cm", "check the count"),
    ):
        pattern.write_text(f"{text}\n{line}\n")
        run(["gauge", str(pattern)])
        (told,) = re.findall(r"warning: (.*?) \[G604\]", " ".join(capsys.readouterr().err.split()))
        both = words == "check both counts"
        assert words in told and "stitches" in told and (" rows " in told) == both
        assert len(re.findall(r"\d % over that", told)) == 1 + both


@pytest.mark.parametrize(
    ("narrower", "rows", "words"),
    [
        (0.031, 0.029, "and changes the other stitches: ranges 3 % narrower, 3 % more rows to 10 cm"),
        (0.12, -0.004, "and changes the other stitches: ranges 12 % narrower"),
        (-0.02, -0.04, "and changes the other stitches: ranges 2 % wider, 4 % fewer rows to 10 cm"),
        (0.004, 0.0, "and changes the other stitches by less than 1 % on average"),
    ],
)
def test_what_a_swatch_did_not_change_is_left_out(narrower: float, rows: float, words: str) -> None:
    assert Lesson("gauge drift 18 stitches per 10 cm", "drift", narrower, rows).words() == f"sets drift {words}"


def test_what_is_calibrated_is_not_told_to_be_unchanged(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One swatch of tuck teaches a slip a little, and nothing else does."""
    path = tmp_path / "quay.stitch"
    path.write_text(
        "stitch drift over 4\n    1: T K3\n    2, 4: K\n    3: K2 T K\n"
        "stitch band over 4\n    1-2: K S K K\n    3-4: K\n"
        "gauge plain 20 stitches 28 rows per 10 cm\ngauge drift 18.5 stitches 34 rows per 10 cm\n",
        encoding="utf-8",
    )
    assert run(("gauge", str(path), "--stitch", "band")) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "calibrated rests on your swatches" in told
    assert "sets drift and changes the other stitches by less than 1 % on average." in told


BAND = """yarn oat
stitch plush
    1: K T
    2: K
gauge plain 22 stitches 30 rows per 10 cm in oat
piece band
    width 30 cm
    knit plush for 10 cm
"""


def band(tmp_path: Path, *lines: str) -> str:
    path = tmp_path / "a.stitch"
    path.write_text(BAND + "".join(f"{line}\n" for line in lines), encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("end", ["", " in oat"])
def test_in_a_file_with_one_yarn_every_line_counts_for_it(
    end: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """15 stitches to 10 cm: 46 needles for 30 cm, in whole repeats with 2 edge needles."""
    assert run(("piece", band(tmp_path, f"gauge plush 15 stitches 55 rows per 10 cm{end} sure"))) == 0
    out, err = capsys.readouterr()
    assert "46 in work" in out and "54 rows" in out and not err


def test_a_swatch_is_added_with_its_yarn(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = band(tmp_path)
    assert run(("swatch", file)) == 0
    out = capsys.readouterr().out
    assert "rows per ____ mm in oat" in out and "also needs the `yarn` line" in out
    assert run(("swatch", file, "--measured", "plush 18 x 41 sure")) == 0
    assert run(("swatch", file, "--measured", "plush 18.2 x 41 per 4 in")) == 0
    capsys.readouterr()
    text = Path(file).read_text(encoding="utf-8")
    assert "gauge plush 18 stitches 41 rows per 10 cm in oat sure  #" in text
    assert "gauge plush 18.2 stitches 41 rows per 4 in in oat  #" in text


def test_a_second_swatch_stands_beside_one_that_names_no_yarn(tmp_path: Path) -> None:
    """With a yarn it would take the place of the first, which the repeated line belongs to."""
    file = band(tmp_path, "gauge plush 18 stitches 41 rows per 10 cm")
    assert run(("swatch", file, "--measured", "plush 18.2 x 41")) == 0
    assert "gauge plush 18.2 stitches 41 rows per 10 cm  #" in Path(file).read_text(encoding="utf-8")


TWO_YARNS = """yarn oat
yarn sea
stitch plush
    1: K T
    2: K
gauge plain 20 stitches 28 rows per 10 cm in oat
gauge plain 24 stitches 34 rows per 10 cm in sea
gauge plush 16 stitches 38 rows per 10 cm
gauge plush 19 stitches 38 rows per 10 cm
piece band
    width 30 cm
    knit plush for 10 cm in oat
"""


@pytest.mark.parametrize("command", ["check", "piece", "gauge", "swatch", "leaflet"])
def test_each_product_says_which_lines_count_for_no_yarn(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The lines are unused (so nothing takes their mean); one ending with a yarn in their place is used."""
    path = tmp_path / "a.stitch"
    path.write_text(TWO_YARNS + "    knit plush for 10 cm in sea\n", encoding="utf-8")
    output = ("-o", str(tmp_path / "leaflet"), "--no-pictures") if command == "leaflet" else ()
    assert run((command, str(path), *output)) == 0
    captured = capsys.readouterr()
    said = captured.out + captured.err
    assert "a.stitch:8:7: warning: This measurement is not used: it names no yarn, and `oat` and `sea`" in said
    assert "a.stitch:9:7: warning: This measurement" in said and "mean is used" not in said
    assert "Try: `gauge plush 16 stitches 38 rows per 10 cm in oat` or `gauge plush" in said
    assert "`plush` is estimated" not in said


def test_a_stitch_that_is_knitted_in_one_yarn_was_measured_in_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.stitch"
    path.write_text(TWO_YARNS.replace("gauge plush 19 stitches 38 rows per 10 cm\n", ""), encoding="utf-8")
    assert run(("piece", str(path))) == 0
    out, err = capsys.readouterr()
    assert "16.0 stitches" in out and "(measured)" in out and "G610" in err  # nothing is knitted in sea
    assert err.count("G610") == 1 and "nothing in this file is knitted in `sea`" in err


@pytest.mark.parametrize("command", ["gauge", "compare", "piece", "swatch"])
def test_a_plain_gauge_that_the_file_has_itself_is_said_to_be_unused(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.stitch"
    path.write_text(BAND.replace(" in oat", ""), encoding="utf-8")
    assert run((command, str(path), "--plain", "2x28")) == 0
    assert "`--plain 2x28` is not used: the file has its own gauge" in capsys.readouterr().err
    path.write_text(BAND.replace(" 30 rows per 10 cm in oat", " per 10 cm"), encoding="utf-8")
    assert run((command, str(path), "--plain", "20x31")) == 0  # the rows of it are used
    assert "is not used" not in capsys.readouterr().err


def test_a_weight_and_a_tex_that_contradict_each_other_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for line, told in (("tex 4000 weight lace", True), ("tex 480 weight light", False), ('"aran" tex 480', False),
                       ('"lace weight" tex 500 weight light', True)):  # fmt: skip
        Path("it.stitch").write_text(f"stitch a\n1: K\nyarn r {line}\n", encoding="utf-8")
        run(["check", "it.stitch"])
        assert ("called" in capsys.readouterr().out) == told, line


def test_a_mistyped_stitch_is_answered_with_those_there_are(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("it.stitch").write_text("stitch wave\n1: K T\n2: K\nstitch foam\n1: K3 T\n2: K\n", encoding="utf-8")
    assert run(["swatch", "it.stitch", "--measured", "zz 20 x 30"]) == 1
    assert "Try: The stitches there: wave, foam, plain." in capsys.readouterr().err
    assert run(["compare", "it.stitch", "--against", "zz"]) == 1
    assert "Try: The stitches compared: foam, wave." in capsys.readouterr().err
    Path("it.stitch").write_text("stitch my own stitch over 4\n1: K T\n", encoding="utf-8")
    run(["check", "it.stitch"])
    assert "as in stitch my-own-stitch" in capsys.readouterr().out

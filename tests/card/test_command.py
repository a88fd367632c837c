"""`stitchc card` as people and scripts meet it: files, names, standard output, exit status, bad input."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from stitchc.__main__ import run
from stitchc.files import MARK
from tests.page import reading

RIPPLE = 'pattern "Tide line"\nstitch tide\n 1: K T\n 2: K\n 3: T K\n 4: K\n'


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "tide.stitch"
    path.write_text(RIPPLE, encoding="utf-8")
    return path


def sampled(picture: bytes, found: dict[str, object], centres: dict[str, list[float]], rows: range) -> None:
    """Open the picture where the JSON says that cells are, and compare."""
    dark = reading.png_dark(picture)
    x0, y0 = centres["column_1_row_1"]
    for row in rows:
        for column in range(24):
            x, y = x0 + column * centres["per_column"][0], y0 + row * centres["per_row"][1]
            assert dark[int(y), int(x)] == found["holes"][row][column]  # type: ignore[index]


def test_unsaid_a_picture_and_its_data_in_the_current_folder(file: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert run(["card", "tide.stitch"]) == 0
    out, said = capfd.readouterr()
    assert out.splitlines() == ["tide-tide-card.png", "tide-tide-card.json"]
    assert "648 holes to punch in 36 rows" in said
    content = Path("tide-tide-card.png").read_bytes()
    assert reading.pixels_per_metre(content) == (23622, 23622)
    found = json.loads(Path("tide-tide-card.json").read_text("utf-8"))
    assert list(found)[:11] == [
        "format",
        "machine",
        "columns",
        "rows",
        "repeat",
        "hole_means",
        "dpi",
        "size_mm",
        "hole_mm",
        "holes",
        "centres_px",
    ]
    assert (found["columns"], found["rows"], found["repeat"]) == (24, 36, {"width": 2, "height": 4})
    assert found["size_mm"] == [142.0, 205.0] and found["dpi"] == 600 and found["hole_mm"] == 3.5
    sampled(content, found, found["centres_px"], range(36))
    assert all(MARK in path.read_bytes()[:4096] for path in Path().glob("tide-tide-*"))


def test_the_data_on_standard_output_is_the_same_and_the_same_for_every_form(
    file: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    assert run(["card", "tide.stitch", "--format", "json"]) == 0
    out = capfd.readouterr().out
    for form in ("png", "pdf", "svg"):
        assert run(["card", "tide.stitch", "-o", f"made/tide-card.{form}"]) == 0
        assert Path("made/tide-card.json").read_text("utf-8").rstrip() == out.rstrip()  # but for its seal
    assert {path.name for path in Path("made").iterdir()} == {f"tide-card.{e}" for e in ("png", "pdf", "svg", "json")}


def test_a_card_longer_than_a_page(file: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert run(["card", "tide.stitch", "--rows", "60", "--dpi", "200", "-o", "out"]) == 0
    out, said = capfd.readouterr()
    names = [Path(line).name for line in out.splitlines()]
    stem = "tide-tide-card"
    assert names == [f"{stem}.png", f"{stem}-page-1-of-2.png", f"{stem}-page-2-of-2.png", f"{stem}.json"]
    assert "takes several pages of a4" in said
    found = json.loads(Path(f"out/{stem}.json").read_text("utf-8"))
    assert found["rows"] == 60
    sampled(Path(f"out/{stem}.png").read_bytes(), found, found["centres_px"], range(60))
    rows: set[int] = set()
    for page in found["pages"]:
        first, last = page["rows"]
        rows |= set(range(first, last + 1))
        sampled(Path(f"out/{page['name']}.png").read_bytes(), found, page["centres_px"], range(first - 1, last))
    assert rows == set(range(1, 61))


def test_a_card_longer_than_a_blank_is_planned_as_several(file: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """140 rows take three blanks of 60. The picture of the whole shows the card joined; each page is of one blank."""
    asked = ["card", "tide.stitch", "--rows", "140", "--dpi", "150", "-o", "out"]
    assert run(asked) == 1
    assert "--anyway, for a card of 3 blanks joined" in capfd.readouterr().err
    assert run([*asked, "--anyway"]) == 0
    told = capfd.readouterr().err
    assert "M302" in told and "Try:" not in told and "blank 3 rows 93 to 140" in told.lower()
    how = "Overlap the end of each blank and the start of the next by 4 rows: full rows over pattern rows. In a "
    assert f"{how}picture of the whole card, a broken line shows where each begins." in told
    found = json.loads(Path("out/tide-tide-card.json").read_text("utf-8"))
    assert found["blanks"] == [{"blank": n, "rows": rows} for n, rows in enumerate(([1, 44], [45, 92], [93, 140]), 1)]
    sampled(Path("out/tide-tide-card.png").read_bytes(), found, found["centres_px"], range(140))
    of_blanks: dict[int, set[int]] = {}
    for page in found["pages"]:
        first, last = page["rows"]
        of_blanks.setdefault(page["blank"], set()).update(range(first, last + 1))
        sampled(Path(f"out/{page['name']}.png").read_bytes(), found, page["centres_px"], range(first - 1, last))
    assert {n: (min(rows), max(rows)) for n, rows in of_blanks.items()} == {1: (1, 44), 2: (45, 92), 3: (93, 140)}


def test_a_roll_is_one_sheet(file: Path) -> None:
    assert run(["card", "tide.stitch", "--rows", "60", "--dpi", "150", "--paper", "roll", "-o", "out"]) == 0
    found = json.loads(Path("out/tide-tide-card.json").read_text("utf-8"))
    assert found["pages"] == [] and len(list(Path("out").iterdir())) == 2
    sampled(Path("out/tide-tide-card.png").read_bytes(), found, found["centres_px"], range(60))


def test_scale_corrects_the_printer_alone(file: Path) -> None:
    assert run(["card", "tide.stitch", "--scale-x", "1.01", "--scale-y", "0.99", "-o", "out"]) == 0
    found = json.loads(Path("out/tide-tide-card.json").read_text("utf-8"))
    assert found["centres_px"]["per_column"][0] == pytest.approx(4.5 / 25.4 * 600 * 1.01)
    assert found["centres_px"]["per_row"][1] == pytest.approx(-5 / 25.4 * 600 * 0.99)
    assert found["size_mm"] == [142.0, 205.0]
    sampled(Path("out/tide-tide-card.png").read_bytes(), found, found["centres_px"], range(36))


def test_several_stitches(file: Path, capfd: pytest.CaptureFixture[str]) -> None:
    file.write_text(RIPPLE + "stitch other\n 1: K3 T\n 2: K\n", encoding="utf-8")
    assert run(["card", "tide.stitch", "--dpi", "100", "-o", "out"]) == 0
    names = {Path(line).name for line in capfd.readouterr().out.splitlines()}
    assert {"tide-tide-card.png", "tide-other-card.png"} <= names
    assert run(["card", "tide.stitch", "--format", "json"]) == 0
    lines = capfd.readouterr().out.splitlines()
    assert [json.loads(line)["stitch"] for line in lines] == ["tide", "other"]
    assert run(["card", "tide.stitch", "-o", "one.png"]) == 2
    assert run(["card", "tide.stitch", "--stitch", "other", "-o", "one.png"]) == 0
    assert Path("one.png").exists() and Path("one-card.json").exists()


def test_the_punching_list_read_back_gives_the_card(file: Path, capfd: pytest.CaptureFixture[str]) -> None:
    rows = ["K3 T", "K", "T4 K4", "K T K2", "K", "(K2 T)x8", "K23 T", "K2 T21 K"]
    text = "stitch mixed over 24\n" + "".join(f" {n}: {row}\n" for n, row in enumerate(rows, start=1))
    file.write_text(text, encoding="utf-8")
    for more in ([], ["--rows", "80"]):  # on one blank, and on two
        assert run(["card", "tide.stitch", "--format", "text", "--anyway", *more]) == 0
        listed = capfd.readouterr().out
        assert run(["card", "tide.stitch", "--format", "json", "--anyway", *more]) == 0
        holes = np.array(json.loads(capfd.readouterr().out)["holes"])
        assert np.array_equal(read_list(listed), holes)


@pytest.mark.parametrize("machine", ["card24-standard", "card24-bulky", "card12-bulky"])
def test_the_list_says_which_row_to_lock_and_how_the_card_lies(
    file: Path, capfd: pytest.CaptureFixture[str], machine: str
) -> None:
    from stitchc.machines import load

    shape = load(machine).card
    assert shape is not None and shape.seen_above_read, "the shipped profiles all show a later row than they read"
    assert run(["card", "tide.stitch", "--machine", machine, "--format", "text"]) == 0
    told = " ".join(capfd.readouterr().out.split())
    assert f"Lock the card when row {1 + shape.seen_above_read} is at eye level." in told
    assert f"The reader reads {shape.seen_above_read} rows lower, so it begins with row 1." in told
    assert "with the end that goes in first toward you" in told


def columns(words: str) -> set[int]:
    """A small reader of the list's words, written from its description alone."""
    every = re.fullmatch(r"every (\d+)(?:st|nd|rd|th) from (\d+) to (\d+)", words)
    if every:
        step, first, last = map(int, every.groups())
        return set(range(first, last + 1, step))
    found: set[int] = set()
    for word in words.split():
        first, _, last = word.partition("-")
        found |= set(range(int(first), int(last or first) + 1))
    return found


def read_list(text: str) -> list[list[bool]]:
    rows: dict[int, list[bool]] = {}
    for line in re.sub(r"\n {20,}", " ", text).splitlines():
        found = re.match(r" +(\d+)(?:-(\d+))?  +[\[\]. ]+?(\d+)(?: each)? +punch (.*)", line)
        if not found:
            continue
        first, last, count = int(found[1]), int(found[2] or found[1]), int(found[3])
        words = re.split(r"  +", found[4])[0].strip()
        everything = set(range(1, 25))
        if words in ("all", "none"):
            punched = everything if words == "all" else set()
        elif words.startswith("all but "):
            punched = everything - columns(words.removeprefix("all but "))
        else:
            punched = columns(words)
        assert len(punched) == count, line
        for row in range(first, last + 1):
            assert row not in rows
            rows[row] = [column in punched for column in range(1, 25)]
    return [rows[row] for row in range(1, len(rows) + 1)]


def test_a_card_with_tuck_rows_and_slip_rows_says_when_to_change(file: Path, capfd: pytest.CaptureFixture[str]) -> None:
    file.write_text("stitch both\n 1: K T\n 2: K\n 3: K S\n 4: K\n", encoding="utf-8")
    assert run(["card", "tide.stitch", "--format", "text"]) == 0
    listed = capfd.readouterr().out
    assert "to knit it, set" in listed
    assert re.search(r"^ +1 .*  tuck$", listed, re.MULTILINE) and re.search(r"^ +3 .*  slip$", listed, re.MULTILINE)
    assert run(["card", "tide.stitch", "--format", "json"]) == 0
    changes = json.loads(capfd.readouterr().out)["changes"]
    assert [(change["row"], change["setting"]) for change in changes[:3]] == [(1, "tuck"), (3, "slip"), (5, "tuck")]


@pytest.mark.parametrize(("yarns", "name"), [("yarn sand\nyarn foam\n", "sand"), ("yarn foam\n", "main yarn")])
def test_the_yarn_of_rows_that_name_none_is_called_by_its_name(
    file: Path, capfd: pytest.CaptureFixture[str], yarns: str, name: str
) -> None:
    """As on the sheet, where the pattern says which it is: on the card, in its list, with the picture to enter."""
    file.write_text(f"{yarns}stitch tide\n 1: K T\n 2: K\n 3-4 in foam: K\n", encoding="utf-8")
    for words in (["card", "--format", "text"], ["card", "--format", "json"], ["bitmap", "-o", "tide.png"]):
        assert run([words[0], "tide.stitch", *words[1:]]) == 0
        out, told = capfd.readouterr()
        everything = out + told
        assert name in everything and (name == "main yarn") == ("main yarn" in everything)
    assert run(["card", "tide.stitch", "--format", "svg", "-o", "tide.svg"]) == 0
    picture = Path("tide.svg").read_text("utf-8")
    assert f"A: {name}, B: foam" in " ".join(re.findall(r">([^<>]+)</text>", picture))


def test_a_row_of_tuck_and_slip_is_refused_and_said_on_the_card_anyway(
    file: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    file.write_text("stitch both\n 1: K T K S\n 2: K\n", encoding="utf-8")
    assert run(["card", "tide.stitch"]) == 1
    out, said = capfd.readouterr()
    assert out == "" and "[K207]" in said and not list(Path().glob("*.png"))
    assert run(["card", "tide.stitch", "--anyway", "--format", "json"]) == 0
    (remark,) = json.loads(capfd.readouterr().out)["remarks"]
    assert remark.startswith("Made despite K207") and "`" not in remark, "paper has no code type"


# -- bad input ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (["--dpi", "1"], 2, "from 72 to 2,400"),
        (["--dpi", "100000"], 2, "from 72 to 2,400"),
        (["--rows", "0"], 2, "from 1 to 5,000"),
        (["--rows", "5000"], 1, "M302"),
        (["--paper", "a5"], 2, "a4"),
        (["--scale-x", "2"], 2, "from 0.95 to 1.05"),
        (["--start-row", "9"], 2, "--start-row is 9, but `tide` has only 4 rows."),
        (["--machine", "hand-standard"], 1, "M305"),
        (["--machine", "nobody"], 1, "M304"),
        (["--format", "pdf", "-o", "x.png"], 2, "do not agree"),
        (["--stitch", "tied"], 1, "N103"),
        (["--rows", "5000", "--anyway"], 2, "--format pdf"),
        (["--rows", "5001", "--anyway"], 2, "from 1 to 5,000"),
        (["--each-row-twice"], 1, "M307"),
        (["--ink", "light", "--dpi", "100"], 2, "use 150 or more"),
    ],
)
def test_bad_input(file: Path, capfd: pytest.CaptureFixture[str], words: list[str], status: int, said: str) -> None:
    assert run(["card", "tide.stitch", *words]) == status
    out, told = capfd.readouterr()
    assert said in told and out == "" and "Traceback" not in told
    assert {path.name for path in Path().iterdir()} == {"tide.stitch"}


def test_a_refusal_shows_its_place(file: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert run(["card", "tide.stitch", "--each-row-twice"]) == 1
    assert "M307" in (told := capfd.readouterr().err) and "  stitch tide\n" in told
    file.write_text(RIPPLE + "stitch long = tide up 1251\n", encoding="utf-8")
    assert run(["card", "tide.stitch", "--anyway"]) == 1
    told = capfd.readouterr().err
    assert "5,004 rows; the most that can be drawn is 5,000. [N110]" in told and "  stitch long" in told


def test_holes_too_near_for_the_resolution(file: Path, capfd: pytest.CaptureFixture[str]) -> None:
    Path("my.toml").write_text('based_on = "card24-standard"\n[card]\nhole_mm = 4.4\n', encoding="utf-8")
    assert run(["card", "tide.stitch", "--machine", "my.toml", "--dpi", "150"]) == 2
    found = re.search(r"--dpi (\d+) or more", capfd.readouterr().err)
    assert found
    assert run(["card", "tide.stitch", "--machine", "my.toml", "--dpi", found[1]]) == 0


def test_a_wrong_picture_is_never_written(
    file: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fault in the drawing: one hole is left out. The proof finds it, says so, and no file stays."""
    from stitchc.card.drawing import _Drawing
    from stitchc.page import Disc, Item

    whole = _Drawing._holes

    def one_less(self: _Drawing) -> list[Item]:
        items = list(whole(self))
        del items[next(index for index, item in enumerate(items) if isinstance(item, Disc) and index > 100)]
        return items

    monkeypatch.setattr(_Drawing, "_holes", one_less)
    for form in ("png", "pdf", "svg"):
        assert run(["card", "tide.stitch", "--format", form]) == 1
        said = capfd.readouterr().err
        assert "ProofFailed" in said and "fault in the program" in said
    assert {path.name for path in Path().iterdir()} == {"tide.stitch"}


def test_names_in_other_scripts(file: Path, capfd: pytest.CaptureFixture[str]) -> None:
    file.write_text('pattern "Прилив"\nstitch 波\n 1: K T\n 2: K\n', encoding="utf-8")
    for form in ("png", "pdf", "svg", "text"):
        assert run(["card", "tide.stitch", "--format", form, "-o", "out"]) == 0
    assert "`波`" in capfd.readouterr().err
    assert Path("out/tide-波-card.png").exists()


def test_no_two_stitches_share_a_file(file: Path, capfd: pytest.CaptureFixture[str]) -> None:
    long = "a-very-long-name-for-a-stitch-that-goes-on-and-on-and-on"
    text = f'pattern "{"Harbour " * 20}"\nstitch Fern\n 1: K T\n 2: K\nstitch fern\n 1: K3 T\n 2: K\n'
    file.write_text(text + f"stitch {long}1\n 1: K T\n 2: K\nstitch {long}2\n 1: K3 T\n 2: K\n", encoding="utf-8")
    assert run(["card", "tide.stitch", "--dpi", "100"]) == 0
    out = capfd.readouterr().out.splitlines()
    assert len(set(out)) == 8 and all(Path(name).exists() for name in out)
    assert all("fern" in name or "a-very-long" in name for name in out)
    counts = {json.loads(Path(name).read_text("utf-8"))["stitch"] for name in out if name.endswith(".json")}
    assert counts == {"Fern", "fern", f"{long}1", f"{long}2"}


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("stitch tall\n 1: K T\n 2-61: K\n", "M302"),
        ("stitch tall\n 1: K T\n 2-35: K\n", "M302"),
        ("stitch gulls\n 1: K4 T\n 2: K\n", "M301"),
        ("stitch wide over 200\n 1: K199 T\n 2: K\n", "M301"),
        ("stitch wide over 200\n 1: K199 T\n 2: K\n", "M303"),
    ],
)
def test_check_says_what_card_refuses(file: Path, capfd: pytest.CaptureFixture[str], text: str, code: str) -> None:
    """One function decides for both, so that the messages are the same to the letter."""
    file.write_text(text, encoding="utf-8")
    assert run(["card", "tide.stitch"]) == 1
    refused = capfd.readouterr().err
    assert run(["check", "tide.stitch", "--machine", "card24-standard"]) == 1
    assert code in refused and capfd.readouterr().out == refused


def test_the_thick_tick_is_where_the_middle_of_the_bed_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Mirrored, column 1 on R5: columns 1 to 4 are for R4 to R1, so that 0 is between 4 and 5."""
    monkeypatch.chdir(tmp_path)
    Path("a.stitch").write_text("stitch a over 24\n    1: T K23\n    2: K\n", encoding="utf-8")
    for needle, mirrored, before in (("R5", "true", 4), ("R5", "false", 20), ("L12", "false", 12)):
        reader = f'[reader]\nmirrored = {mirrored}\ncolumn_1_needle = "{needle}"\n'
        Path("m.toml").write_text(f'based_on = "card24-standard"\nname = "own"\n{reader}', encoding="utf-8")
        assert run(["card", "a.stitch", "--machine", "m.toml", "-o", "a.svg", "--force"]) == 0
        drawn = Path("a.svg").read_text(encoding="utf-8")
        (tick,) = {*re.findall(r'<line x1="([0-9.]+)"[^>]* stroke-width="0.4"', drawn)}
        at = {n: {*re.findall(rf'<text x="([0-9.]+)"[^>]*text-anchor="middle"[^>]*>{n}</text>', drawn)} for n in (4, 5)}
        (four,), (five,) = at.values()
        assert float(tick) == pytest.approx(float(four) + (before - 3.5) * (float(five) - float(four)))


def test_the_punching_list_has_a_box_for_each_row_and_stays_a_table(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("a.stitch").write_text("stitch a\n    1: K\n", encoding="utf-8")
    assert run(["card", "a.stitch", "--format", "text"]) == 0
    out = capsys.readouterr().out
    assert out.count("[ ]") == 36 + 2 * 2 and "..." not in out
    rows = "    1: (K2 S2)x3\n    2: K\n    3: T K4 T K6\n    4: K\n"
    Path("b.stitch").write_text(f"stitch b over 12\n{rows}", encoding="utf-8")
    assert run(["card", "b.stitch", "--format", "text"]) == 0
    out = capsys.readouterr().out
    assert "what to punch:" not in out and re.search(r"\n  1 +\[ \] +12 +punch 1-2 5-6 9-10 .*slip\n +21-22\n", out)


def test_the_boxed_numbers_are_as_large_as_the_rows_numbers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """They are read while the machine is worked; only where a hole or a mark takes the room they are smaller."""
    monkeypatch.chdir(tmp_path)
    Path("a.stitch").write_text("stitch a over 2\n    1: K T\n    2: K\n", encoding="utf-8")
    assert run(["card", "a.stitch", "-o", "a.svg"]) == 0
    sizes = re.findall(r'font-size="([0-9.]+)"[^>]*>(\d+)</text>', Path("a.svg").read_text(encoding="utf-8"))
    assert sum(size == "2.9" and number == "20" for size, number in sizes) == 2

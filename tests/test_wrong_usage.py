"""What is said of a command line that is wrong: the place, the cause and the advice, once, with status 2."""

from __future__ import annotations

from pathlib import Path

import pytest

from stitchc.__main__ import run
from stitchc.cli import COMMANDS

TIDE = str(Path(__file__).resolve().parent.parent / "examples" / "tide-line.stitch")


@pytest.mark.parametrize(
    ("arguments", "place", "advice"),
    [
        (["sheet", TIDE, "--rows", "ten"], "'--rows': `ten`", "a whole number from 1 to 100,000"),
        (["trace", __file__, "--dark", "knit", "--light", "knit"], "--light knit would make all", "Give one."),
        (["sheet", TIDE, "--rows", "-3"], "'--rows': `-3`", "from 1 to 100,000"),
        (["sheet", TIDE, "--rows"], "`--rows` of `stitchc sheet` needs a value", "a whole number from 1"),
        (["sheet", TIDE, "--rwos", "3"], "`stitchc sheet` has no option `--rwos`", "`--rows`?"),
        (["sheet", TIDE, "--anyway=3"], "`--anyway` takes no value", "write `--anyway` alone"),
        (["sheet", TIDE, "--carriage", "rihgt"], "`rihgt`", "Did you mean `right`?"),
        (["sheet", TIDE, "--format", "doc"], "`doc`", "text, html, pdf or json"),
        (["sheet"], "`stitchc sheet` needs the name of a pattern", "as in `stitchc sheet tide.stitch`"),
        (["sheet", TIDE, "other.stitch"], "`other.stitch` is more than that", "once for each"),
        (["picture", TIDE, "--dpi", "1_000"], "'--dpi': `1_000`", "Write 1000."),
        (["picture", TIDE, "--dpi", "١٢٠"], "'--dpi': `١٢٠`", "Write 120."),
        (["sheet", TIDE, "--rows", "１２"], "'--rows': `１２`", "Write 12."),
        (["sheet", TIDE, "--rows", "²"], "'--rows': `²`", "from 1 to 100,000.\n"),
        (["card", TIDE, "--dpi", "1,200"], "'--dpi': `1,200`", "Write 1200."),
        (["card", TIDE, "--dpi", "9,900"], "'--dpi': `9,900`", "from 72 to 2,400.\n"),
        (["card", TIDE, "--shift", "1_0"], "'--shift': `1_0`", "Write 10."),
        (["card", TIDE, "--scale-x", "1_0e-1"], "'--scale-x': `1_0e-1`", "from 0.95 to 1.05"),
        (["card", TIDE, "--scale-x", "1,01"], "'--scale-x': `1,01`", "Write 1.01."),
        (["sheet", TIDE, "--needles", "8_0"], "`8_0`", "such as 80"),
        (["sheet", TIDE, "--needles", "L٤-R٤"], "`L٤`", "as in L12"),
        (["gauge", TIDE, "--plain", "٢٠x٢٨"], "`٢٠x٢٨`", "as in 20x28"),
        (["piece", TIDE, "--sizes", "４８,52"], "`４８,52`", "Write for example 17.5 or 48,52,56"),
        (["explain", "K999"], "no message code `K999`", "Those with K (knitting) are K201, K202"),
        (["explain", "n1O1"], "no message code `n1O1`", "Did you mean `N101`?"),
        (["explain", "204"], "no message code `204`", "Did you mean `K204`?"),
        (["explain", "X1"], "no message code `X1`", "F (files). `stitchc explain` lists them all."),
        (["card", TIDE, "--scale-x", "nan"], "'--scale-x': `nan`", "from 0.95 to 1.05"),
        (["build", TIDE], "`stitchc build` needs `-o/--output DIR`, the folder to fill.", ""),
        (["trace"], "`stitchc trace` needs the name of a picture", "as in `stitchc trace tide.png`"),
        (["new"], "`stitchc new` needs a name", "as in `stitchc new tide-line`"),
        (["compare"], "`stitchc compare tide.stitch`. ", "Use --sweep for a family of densities."),
        (["shete", TIDE], "no command `shete`", "`sheet`?"),
        (["--bogus"], "`stitchc` has no option `--bogus`", "`stitchc --help`"),
        (["format", TIDE, "-o", TIDE], "is the file itself", "`stitchc format --in-place"),
    ],
)
def test_place_cause_and_cure(
    arguments: list[str], place: str, advice: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(arguments) == 2
    out, said = capsys.readouterr()
    assert not out
    assert place in said
    assert advice in said
    assert "<=" not in said


@pytest.mark.parametrize("command", sorted(set(COMMANDS) - {"trace", "new", "explain", "machines", "live"}))
def test_every_command_that_reads_a_pattern_asks_for_it_in_the_same_words(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run([command, *(["-o", "folder"] if command == "build" else [])]) == 2
    assert (
        f"`stitchc {command}` needs the name of a pattern, or - for standard input, as in "
        f"`stitchc {command} tide.stitch`."
    ) in capsys.readouterr().err


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_every_command_names_the_nearest_option_and_its_help(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([command, TIDE, "--hepl"]) == 2
    said = capsys.readouterr().err
    assert f"`stitchc {command}` has no option `--hepl`" in said
    assert f"`stitchc {command} --help` lists them" in said


@pytest.mark.parametrize("command", ["check", "gauge", "sheet", "piece"])
def test_a_form_from_the_environment_that_a_command_lacks_is_named_with_its_place(
    command: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("STITCHC_FORMAT", "png")
    assert run([command, TIDE]) == 2
    said = capsys.readouterr().err
    assert "STITCHC_FORMAT in the environment: `png`" in said
    assert f"`stitchc {command}` knows text" in said
    assert "`--format` on the command line overrides it" in said


def test_what_the_command_line_says_goes_before_the_environment(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setenv("STITCHC_FORMAT", "png")
    assert run(["sheet", TIDE, "--format", "text"]) == 0
    monkeypatch.setenv("STITCHC_FORMAT", "html")
    target = tmp_path / "tide.json"
    assert run(["sheet", TIDE, "-o", str(target)]) == 0
    assert target.read_text("utf-8").startswith("{")
    capsys.readouterr()
    monkeypatch.setenv("STITCHC_FORCE", "perhaps")
    assert run(["sheet", TIDE]) == 2
    assert "STITCHC_FORCE in the environment is neither yes nor no" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("row", "advice"),
    [("K T*3", "1: K T3"), ("K t*3", "1: K T3"), ("3K 2T", "1: K3 T2")],
)
def test_a_slip_in_a_count_is_one_mistake_with_its_own_cure(
    row: str, advice: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.stitch"
    path.write_text(f"stitch a\n    1: {row}\n")
    assert run(["check", str(path)]) == 1
    said = capsys.readouterr().out
    assert said.count("error: ") == 1
    assert f"Try: {advice}\n" in said


def test_a_row_has_no_right_side(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "a.stitch"
    path.write_text("stitch a\n    1 (RS): K T\n")
    assert run(["check", str(path)]) == 1
    said = capsys.readouterr().out
    assert "no right or wrong side" in said
    assert "Try: 1: K T" in said


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("tide.stitch check", "The command comes first: stitchc check tide.stitch"),
        ("tide.stitch", "The command comes first: stitchc check tide.stitch"),
        ("tide.stitch card --rows 24", "The command comes first: stitchc card tide.stitch --rows 24"),
        ("chek tide.stitch", "There is no command `chek`. Did you mean `check`?"),
        ("sheet tide.stitch -o s.xyz", "`-o s.xyz` ends in .xyz, which says nothing of the form"),
        ("card tide.stitch -o s.xyz", "`-o s.xyz` ends in .xyz, which says nothing of the form"),
        ("piece tide.stitch --sizes 0,5", "decimals follow a point, not a comma. Write 0.5."),
    ],
)
def test_slips_that_can_be_told_are(
    typed: str, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tide.stitch").write_text(
        "stitch tide\n    1: K T\n    2: K\npiece band\n    width 30 cm\n    knit tide for 4 rows\n", encoding="utf-8"
    )
    assert run(typed.split()) == 2
    assert words in " ".join(capsys.readouterr().err.split())
    assert [path.name for path in tmp_path.iterdir()] == ["tide.stitch"]


def test_a_form_that_is_named_goes_into_a_file_of_any_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tide.stitch").write_text("stitch tide\n    1: K T\n    2: K\n", encoding="utf-8")
    assert run(["sheet", "tide.stitch", "--format", "text", "-o", "tide.md"]) == 0
    assert run(["card", "tide.stitch", "-o", "v1.2"]) == 0 and Path("v1.2").is_dir()


def test_a_folder_is_no_picture_and_a_missing_folder_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tide.stitch").write_text("stitch tide\n    1: K T\n    2: K\n", encoding="utf-8")
    (tmp_path / "scan.png").write_bytes(b"")
    assert run(["trace", "."]) == 3
    assert "Name a picture in it: scan.png." in capsys.readouterr().err
    assert run(["check", "."]) == 3
    assert "Name a pattern in it: tide.stitch." in capsys.readouterr().out

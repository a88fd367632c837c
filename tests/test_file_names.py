"""Names of files made out of titles and stitches: possible on every system, never too long, no two alike on any."""

from __future__ import annotations

import re
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stitchc.__main__ import run
from stitchc.naming import file_stem, numbered

LONGEST_ENDING = "-piece-card24-standard-page-10-of-12.html"
# Names that Windows keeps for devices, whatever ending follows ("Naming Files, Paths, and Namespaces", its manual).
DEVICES = ["CON", "PRN", "AUX", "NUL", *(f"{p}{n}" for p in ("COM", "LPT") for n in "0123456789¹²³")]

texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=120)


def fits_anywhere(stem: str) -> None:
    """What no common file system refuses: letters, figures, - and _, in at most 255 bytes and 255 UTF-16 units."""
    assert stem and re.fullmatch(r"[\w-]+", stem) and not stem.startswith("-") and not stem.endswith(("-", " ", "."))
    assert stem.upper() not in DEVICES
    assert len((stem + LONGEST_ENDING).encode()) <= 255
    assert len(unicodedata.normalize("NFD", stem + LONGEST_ENDING).encode("utf-16-le")) // 2 <= 255


@settings(max_examples=50)
@given(texts)
def test_any_title_makes_a_name_that_any_system_takes(title: str) -> None:
    fits_anywhere(file_stem(title))


@settings(max_examples=50)
@given(st.lists(texts.filter(str.strip), max_size=4), texts)
def test_names_beside_each_other_are_never_the_same_file(names: list[str], title: str) -> None:
    """Also where capitals, accents written otherwise, or letters that stand for each other make no difference."""
    found = numbered(names, title)
    for stem in found.values():
        fits_anywhere(stem)
    alike = {unicodedata.normalize("NFKC", stem).casefold() for stem in found.values()}
    assert len(alike) == len(set(names))


@pytest.mark.parametrize("title", [*DEVICES, "con.", " aux ", "nul...", "Com1", "lpt¹", "prn.stitch."])
def test_names_of_devices_are_not_used(title: str) -> None:
    assert file_stem(title).split("-")[0].upper() in DEVICES
    assert file_stem(title).lower().endswith(("-pattern", "-stitch"))


@pytest.mark.parametrize("title", ["", " ", "...", "💡", "/", "--", "\u202e", "\x1b[31m"[:1]])
def test_a_title_without_a_letter_still_makes_a_name(title: str) -> None:
    assert file_stem(title) == "pattern"


def test_names_that_differ_by_capitals_or_letters_that_are_alike_get_numbers() -> None:
    assert list(numbered(["Reef", "reef", "REEF"]).values()) == ["reef", "reef-2", "reef-3"]
    assert list(numbered(["strasse", "straße", "ﬁn", "fin"]).values()) == ["strasse", "straße-2", "ﬁn", "fin-2"]
    long = "x" * 500
    assert len(set(numbered([long + "a", long + "b", long], long).values())) == 3


@pytest.mark.parametrize(
    ("title", "stitches"),
    [
        ("CON", ["aux", "NUL", "Com1"]),
        ("Reef. ", ["Reef", "reef", "reef-2", "REEF"]),
        ("波" * 120, ["編" * 120, "編" * 119]),
        ("𐐷" * 300, ["𐐷" * 250, "𐐷" * 251]),
        ("tide " * 60, ["a" * 300, "a" * 301]),
        ("…", ["b"]),
    ],
    ids=["devices", "capitals", "three bytes", "four bytes", "long", "no letter"],
)
def test_what_the_commands_write(
    title: str, stitches: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each stitch has a file of its own, which is there, in a folder where capitals may or may not matter."""
    monkeypatch.chdir(tmp_path)
    rows = "".join(f"stitch {name}\n1: K{n} T\n2: K\n" for n, name in enumerate(stitches, start=2))
    Path("it.stitch").write_text(f'pattern "{title}"\n{rows}', "utf-8")
    for arguments in (
        ["chart", "--format", "svg"],
        ["sheet", "--format", "html"],
        ["bitmap"],
        ["card", "--format", "svg", "--anyway", "--paper", "roll", "-o", "cards"],
    ):
        if arguments[0] == "card" and any(24 % (n + 1) for n in range(2, len(stitches) + 2)):
            continue
        assert run([arguments[0], "it.stitch", *arguments[1:]]) == 0, capsys.readouterr()
        paths = [Path(line) for line in capsys.readouterr().out.splitlines()]
        assert len({path.name.casefold() for path in paths}) == len(paths) >= len(stitches)
        assert all(path.is_file() and path.stem.split(".")[0].upper() not in DEVICES for path in paths)


def test_a_path_that_ends_with_a_slash_is_a_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """For texts as for pictures, whatever its name looks like; and where one text alone is made, it says so."""
    monkeypatch.chdir(tmp_path)
    Path("it.stitch").write_text("stitch a\n1: K T\n2: K\nstitch b\n1: T K\n2: K\n", "utf-8")
    for arguments, written in (
        (["sheet", "it.stitch", "--stitch", "a", "-o", "new/"], ["new/it-sheet.txt"]),
        (["card", "it.stitch", "--format", "text", "-o", "both/"], ["both/it-a-card.txt", "both/it-b-card.txt"]),
        (["card", "it.stitch", "--stitch", "b", "--format", "json", "-o", "c.txt/"], ["c.txt/it-b-card.json"]),
    ):
        assert run(arguments) == 0, capsys.readouterr()
        assert [Path(line).as_posix() for line in capsys.readouterr().out.splitlines()] == written
        assert all(Path(name).is_file() for name in written)
    assert run(["explain", "K202", "-o", "page/"]) == 3 and not Path("page").exists()
    assert "is a folder, and this makes one file" in capsys.readouterr().err


@pytest.mark.parametrize(
    "name", ["CON", "gauge", "plain", "K", "in", "1st", "", "...", "tide pool", "é" * 300, "-x", "nul."]
)
def test_new_makes_a_pattern_that_compiles_whatever_its_name(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["new", "--", name]) == 0
    (path,) = capsys.readouterr().out.splitlines()
    fits_anywhere(Path(path).stem)
    assert run(["check", path]) == 0, capsys.readouterr()

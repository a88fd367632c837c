"""Includes: what they bring in, and everything they must not do."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from stitchc.notation import compile_file, compile_text
from tests.notation.mutations import sound

GROUND = "stitch ground\n    1: K T\n    2: K\n"


def codes(path: Path) -> list[str]:
    found = compile_file(str(path))
    sound(found)
    return [message.code for message in found.messages]


def file(folder: Path, name: str, text: str | bytes) -> Path:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_stitches_yarns_and_gauges_come_in_and_titles_notes_and_pieces_do_not(tmp_path: Path) -> None:
    file(
        tmp_path,
        "grounds.stitch",
        'pattern "Grounds"\nnote "n"\nyarn foam\n'
        f"{GROUND}gauge ground 20 stitches per 10 cm\npiece mat\n    needles 40\n",
    )
    top = file(tmp_path, "top.stitch", 'pattern "Top"\ninclude "grounds.stitch"\nstitch up2 = ground up 2\n')
    pattern = compile_file(str(top)).pattern
    assert pattern is not None
    assert (pattern.title, pattern.notes, list(pattern.yarns)) == ("Top", (), ["foam"])
    assert [swatch.stitch for swatch in pattern.swatches] == ["ground"]
    assert not pattern.pieces
    assert [stitch.name for stitch in pattern.wanted()] == ["up2"]
    assert pattern.stitches["ground"].from_include
    assert pattern.stitches["ground"].is_part
    assert set(pattern.sources) == {str(top), str(tmp_path / "grounds.stitch")}


def test_a_path_is_relative_to_the_file_that_names_it(tmp_path: Path) -> None:
    file(tmp_path, "parts/more/deep.stitch", "stitch deep\n1: K\n")
    file(tmp_path, "parts/ground.stitch", 'include "more/deep.stitch"\ninclude "../beside.stitch"\n' + GROUND)
    file(tmp_path, "beside.stitch", "stitch beside-it\n1: K\n")
    top = file(tmp_path, "top.stitch", 'include "parts/ground.stitch"\nstitch all = deep then beside-it then ground\n')
    assert codes(top) == []


def test_a_file_is_read_once_however_it_is_named(tmp_path: Path) -> None:
    file(tmp_path, "a/ground.stitch", GROUND)
    (tmp_path / "link.stitch").symlink_to(tmp_path / "a" / "ground.stitch")
    names = ["a/ground.stitch", "./a/../a/ground.stitch", "a//ground.stitch", "link.stitch", "a/ground.stitch"]
    top = file(tmp_path, "top.stitch", "".join(f'include "{name}"\n' for name in names))
    assert codes(top) == []


def test_circles_of_includes_are_told_with_the_files_on_them(tmp_path: Path) -> None:
    top = file(tmp_path, "top.stitch", 'include "one.stitch"\n' + GROUND)
    file(tmp_path, "one.stitch", 'include "two.stitch"\n')
    file(tmp_path, "two.stitch", 'include "one.stitch"\n')
    found = compile_file(str(top))
    assert [(m.code, m.span and Path(m.span.file).name) for m in found.messages] == [("N114", "two.stitch")]
    assert "`one.stitch` → `two.stitch` → `one.stitch`" in found.messages[0].text
    file(tmp_path, "two.stitch", 'include "top.stitch"\n')
    assert codes(top) == ["N114"]
    file(tmp_path, "one.stitch", 'include "./one.stitch"\n')
    assert codes(top) == ["N114"]
    assert codes(file(tmp_path, "self.stitch", 'include "self.stitch"\n' + GROUND)) == ["N114"]


@pytest.mark.parametrize(
    "path",
    [
        "../outside.stitch",
        "sub/../../outside.stitch",
        "link-out.stitch",
        "folder-out/outside.stitch",
        "/etc/passwd",
        "//etc/passwd",
        "C:/outside.stitch",
        "c:outside.stitch",
        "C:\\outside.stitch",
        "..\\outside.stitch",
        "\\\\server\\share\\outside.stitch",
        "~/outside.stitch",
        "$HOME/outside.stitch",
        "file:///etc/passwd",
        "missing.stitch",
        "sub",
        "sub/",
        ".",
        "..",
        "/",
        " ",
        "loop.stitch",
        "top.stitch/x.stitch",
        "a\0b.stitch",
        "x" * 300,
        "x/" * 3000,
        "\u202e.stitch",
        "latin.stitch",
        "wide.stitch",
        "*.stitch",
    ],
)
def test_paths_that_lead_nowhere_or_out(tmp_path: Path, path: str) -> None:
    file(tmp_path, "outside.stitch", GROUND)
    folder = tmp_path / "pattern"
    (folder / "sub").mkdir(parents=True)
    (folder / "link-out.stitch").symlink_to(tmp_path / "outside.stitch")
    (folder / "folder-out").symlink_to(tmp_path)
    (folder / "loop.stitch").symlink_to(folder / "loop.stitch")
    file(folder, "latin.stitch", b"# gr\xfcn\n")
    file(folder, "wide.stitch", GROUND.encode("utf-16"))
    top = file(folder, "top.stitch", f'include "{path}"\nstitch own\n1: K\n')
    expected = "N112" if path in ("latin.stitch", "wide.stitch") else "N114"
    assert codes(top) == [expected]


def test_lone_surrogates_in_a_path(tmp_path: Path) -> None:
    found = compile_text('include "\ud800.stitch"\nstitch own\n1: K\n', str(tmp_path / "top.stitch"), tmp_path)
    sound(found)
    assert [message.code for message in found.messages] == ["N114"]


@pytest.mark.skipif(sys.platform == "win32", reason="named pipes")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.stitch")
    assert codes(file(tmp_path, "top.stitch", 'include "pipe.stitch"\n' + GROUND)) == ["N114"]


@pytest.mark.parametrize(("deep", "expected"), [(16, []), (17, ["N110"])])
def test_includes_nest_sixteen_deep(tmp_path: Path, deep: int, expected: list[str]) -> None:
    for number in range(1, deep):
        file(tmp_path, f"{number}.stitch", f'include "{number + 1}.stitch"\n')
    file(tmp_path, f"{deep}.stitch", GROUND)
    assert codes(file(tmp_path, "top.stitch", 'include "1.stitch"\nstitch own\n1: K\n')) == expected


def test_what_is_wrong_in_an_included_file_is_told_there(tmp_path: Path) -> None:
    file(tmp_path, "grounds.stitch", "stitch ground\n    1: K P\n")
    found = compile_file(str(file(tmp_path, "top.stitch", 'include "grounds.stitch"\nstitch up2 = ground up 2\n')))
    assert [(m.code, m.span and m.span.file) for m in found.messages] == [("N102", str(tmp_path / "grounds.stitch"))]


def test_a_name_defined_here_and_in_an_included_file_is_defined_twice(tmp_path: Path) -> None:
    file(tmp_path, "grounds.stitch", GROUND)
    assert codes(file(tmp_path, "top.stitch", 'include "grounds.stitch"\n' + GROUND)) == ["N104"]


def test_together_the_files_are_no_larger_than_sixteen_mib(tmp_path: Path) -> None:
    text = "# " + "x" * (4 * 2**20 - 10) + "\n"
    for number in range(5):
        file(tmp_path, f"{number}.stitch", text)
    includes = "".join(f'include "{number}.stitch"\n' for number in range(5))
    found = compile_file(str(file(tmp_path, "top.stitch", includes + GROUND)))
    assert {message.code for message in found.messages} == {"N110"}


def test_without_a_folder_nothing_is_included() -> None:
    found = compile_text('include "grounds.stitch"\nstitch own\n1: K\n')
    assert [message.code for message in found.messages] == ["N114"]


def test_a_pattern_of_includes_alone_wants_what_they_define(tmp_path: Path) -> None:
    file(tmp_path, "grounds.stitch", GROUND)
    pattern = compile_file(str(file(tmp_path, "top.stitch", 'include "grounds.stitch"\n'))).pattern
    assert pattern is not None
    assert [stitch.name for stitch in pattern.wanted()] == ["ground"]

"""What a knitter wrote stays: files that were changed since stitchc made them, and whatever a command reads.

An outsider's view: each file is made by the command line, changed in the way a person or a program changes one, and
made again. What PNG, PDF, JSON and XML allow at their end is from their standards (PNG, 3rd ed., 5.6 and 11.3.3; ISO
32000-1, 7.5.5 and 7.5.6; RFC 8259, 2; XML 1.0, 2.8) and is held against other readers of those forms.
"""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from PIL import Image, PngImagePlugin

from stitchc import seal
from stitchc.files import FileTrouble, refuse_foreign, write_files
from tests.hostile.child import Result, stitchc

PIECE = """\
pattern "Tide line"
include "grounds.stitch"
stitch tide
    1: K T
    2: K
gauge plain 20 stitches 28 rows per 10 cm
piece cuff
    needles 24
    knit tide for 10 rows
"""

MAKES = {
    "check": ("check", "tide.stitch", "-o", "out.txt"),
    "check-json": ("check", "tide.stitch", "--format", "json", "-o", "out.json"),
    "chart": ("chart", "tide.stitch", "--format", "text", "-o", "out.txt"),
    "chart-json": ("chart", "tide.stitch", "-o", "out.json"),
    "chart-svg": ("chart", "tide.stitch", "--stitch", "tide", "-o", "out.svg"),
    "chart-png": ("chart", "tide.stitch", "--stitch", "tide", "-o", "out.png"),
    "chart-pdf": ("chart", "tide.stitch", "-o", "out.pdf"),
    "chart-html": ("chart", "tide.stitch", "-o", "out.html"),
    "card": ("card", "tide.stitch", "--dpi", "150", "-o", "out.png"),
    "card-pdf": ("card", "tide.stitch", "-o", "out.pdf"),
    "card-svg": ("card", "tide.stitch", "-o", "out.svg"),
    "card-json": ("card", "tide.stitch", "--format", "json", "-o", "out.json"),
    "punching": ("card", "tide.stitch", "--format", "text", "-o", "out.txt"),
    "bitmap": ("bitmap", "tide.stitch", "-o", "out.png"),
    "sheet": ("sheet", "tide.stitch", "-o", "out.txt"),
    "sheet-html": ("sheet", "tide.stitch", "-o", "out.html"),
    "sheet-json": ("sheet", "tide.stitch", "-o", "out.json"),
    "sheets-json": ("sheet", "tide.stitch", "--stitch", "tide", "--stitch", "shore", "-o", "out.json"),
    "gauge": ("gauge", "tide.stitch", "-o", "out.txt"),
    "gauge-json": ("gauge", "tide.stitch", "-o", "out.json"),
    "compare": ("compare", "tide.stitch", "-o", "out.txt"),
    "compare-png": ("compare", "tide.stitch", "-o", "out.png"),
    "swatch": ("swatch", "tide.stitch", "-o", "out.txt"),
    "swatch-sheet": ("swatch", "tide.stitch", "--format", "sheet", "-o", "out.txt"),
    "piece": ("piece", "tide.stitch", "-o", "out.txt"),
    "piece-html": ("piece", "tide.stitch", "-o", "out.html"),
    "picture": ("picture", "tide.stitch", "--size", "2x2", "--dpi", "72", "-o", "out.png"),
    "trace-json": ("trace", "chart.png", "--format", "json", "-o", "out.json"),
    "explain": ("explain", "K204", "-o", "out.txt"),
    "machines": ("machines", "-o", "out.txt"),
}

THE_USERS = {
    "new": ("new", "out"),
    "format": ("format", "tide.stitch", "-o", "out.stitch"),
    "trace": ("trace", "chart.png", "-o", "out.stitch"),
    "profile": ("machines", "--write", "hand-fine", "-o", "out.toml"),
}


@pytest.fixture(scope="module")
def chart_png(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    place = tmp_path_factory.mktemp("drawn")
    (place / "tide.stitch").write_text("stitch tide\n1: K T\n2: K\n")
    assert stitchc("chart", "tide.stitch", "-o", "chart.png", folder=place).status == 0
    return (place / "chart.png").read_bytes()


@pytest.fixture
def folder(tmp_path: Path, chart_png: bytes) -> Path:
    (tmp_path / "tide.stitch").write_text(PIECE, "utf-8")
    (tmp_path / "grounds.stitch").write_text("stitch shore\n1: K3 T\n2: K\n", "utf-8")
    (tmp_path / "mine.toml").write_text('based_on = "hand-fine"\n', "utf-8")
    (tmp_path / "chart.png").write_bytes(chart_png)
    return tmp_path


def made(folder: Path, name: str) -> Path:
    """The file that the command made."""
    arguments = {**MAKES, **THE_USERS}[name]
    result = stitchc(*arguments, folder=folder)
    assert result.status == 0, result
    return folder / ("out.stitch" if name == "new" else arguments[-1])


# -- a file that was changed ----------------------------------------------------------------------------------------


def filled_in(content: bytes) -> bytes:
    """A blank filled in, or a line written, somewhere within."""
    at = content.find(b"stitches __")
    at = at if at >= 0 else content.find(b"\n", len(content) // 2) + 1
    return content[:at] + b"17.5 and some words\n" + content[at:]


def appended(content: bytes) -> bytes:
    """A line at the end, as `echo … >> file` writes one; a PDF that a reader has put a note into grows so too."""
    return content + b"the second time: 17 stitches\n"


def one_figure(content: bytes) -> bytes:
    """One figure another, nothing longer or shorter."""
    found = seal.seal_of(content[-seal.LOOK :])
    assert found is not None
    unsealed = content[: max(0, len(content) - seal.LOOK) + found.start]
    figures = [match.start() for match in re.finditer(rb"[0-8]", unsealed)]
    at = figures[len(figures) // 2]
    return content[:at] + b"9" + content[at + 1 :]


def saved_for_another_system(content: bytes) -> bytes:
    return content.decode().encode("utf-16")


def without_its_last_line(content: bytes) -> bytes:
    return content[: content.rindex(b"\n(") + 1] + b"from stitchc\n"


def without_its_first_letters(content: bytes) -> bytes:
    return content[10:]


@pytest.mark.parametrize("name", MAKES)
def test_what_was_changed_since_is_left_as_it_is(folder: Path, name: str) -> None:
    """And what nobody changed is made again without a word; other programs read it as before."""
    target = made(folder, name)
    first = target.read_bytes()
    _other_readers_take_it(first, target.suffix)
    changes = [filled_in, appended, one_figure]
    if target.suffix == ".txt":
        changes += [saved_for_another_system, without_its_last_line, without_its_first_letters]
    for change in changes:
        mine = change(first)
        assert mine != first
        target.write_bytes(mine)
        with pytest.raises(FileTrouble, match="left as it is"):
            refuse_foreign(target)
    result = stitchc(*MAKES[name], folder=folder)
    assert result.status == 3 and result.out == "" and "left as it is" in result.err and "--force" in result.err, result
    assert target.read_bytes() == mine
    target.write_bytes(first)
    if target.suffix not in (".png", ".pdf"):  # a text that came by way of another system has other line ends
        target.write_bytes(first.replace(b"\n", b"\r\n"))
    made(folder, name)
    assert target.read_bytes() == first, "the same input gives the same bytes"


def test_force_writes_over_what_was_changed(folder: Path) -> None:
    target = made(folder, "swatch")
    target.write_bytes(filled_in(target.read_bytes()))
    result = stitchc(*MAKES["swatch"], folder=folder)
    assert "`out.txt` was changed since stitchc made it" in result.err, result
    assert stitchc(*MAKES["swatch"], "--force", folder=folder).status == 0
    assert b"17.5" not in target.read_bytes()


@pytest.mark.parametrize("name", THE_USERS)
def test_patterns_and_profiles_are_the_users_from_the_start(folder: Path, name: str) -> None:
    target = made(folder, name)
    assert seal.seal_of(target.read_bytes()[-seal.LOOK :]) is None
    before = target.read_bytes()
    target.write_bytes(before + b"# mine\n")
    assert stitchc(*THE_USERS[name], folder=folder).status == 3 and target.read_bytes() == before + b"# mine\n"


def test_a_build_finds_what_was_changed_before_it_begins(folder: Path) -> None:
    build = ("build", "tide.stitch", "-o", "made", "--machine", "hand-fine", "--no-pictures")
    assert stitchc(*build, folder=folder).status == 0
    sheet, gauge = folder / "made" / "tide-sheet.txt", folder / "made" / "gauge.txt"
    for each in (sheet, gauge):
        with each.open("a") as stream:
            stream.write("half a turn looser\n")
    (folder / "made" / "chart.json").unlink()
    result = stitchc(*build, folder=folder)
    assert result.status == 3 and "made/tide-sheet.txt" in result.err and "made/gauge.txt" in result.err, result
    assert "half a turn looser" in sheet.read_text() + gauge.read_text()
    assert result.out == "" and not (folder / "made" / "chart.json").exists(), "it began all the same"


# -- the seal is no part of what the form says ----------------------------------------------------------------------


def _other_readers_take_it(content: bytes, suffix: str) -> None:
    ending = suffix.removeprefix(".")
    found = seal.seal_of(content[-seal.LOOK :])
    assert found is not None and b"stitchc" in content[:4096] + content[-4096:]
    if ending == "json":
        assert json.loads(content)
        assert content.decode().rstrip().endswith(("}", "]"))
    elif ending == "svg":
        assert ET.fromstring(content).tag.endswith("svg")
    elif ending == "png":
        with Image.open(io.BytesIO(content)) as picture:
            picture.load()
            assert isinstance(picture, PngImagePlugin.PngImageFile)
            assert picture.text["Digest"] == f"stitchc {found.digest}{found.source}"
    elif ending == "pdf":
        import pypdfium2

        assert len(pypdfium2.PdfDocument(content)) >= 1
        assert content.rstrip().endswith(b"%%EOF")
        said = int(content.rsplit(b"startxref", 1)[1].split()[0])
        assert content[said:].startswith(b"xref") or b" obj" in content[said : said + 20], "startxref is off"
    elif ending == "html":
        assert content.rstrip().endswith(b"-->") and b"</html>" in content
    else:
        last = content.decode().splitlines()[-1]
        assert last.startswith("(stitchc ") and len(last) <= 80


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"stitchc",
        b"stitchc\n",
        b"\n" * 9000,
        b"(stitchc 0123456789ab: x)\n",
        b"%PDF-1.4 no more",
        b"{}",
        b"\xff\n",
    ],
)
def test_any_content_can_be_sealed_and_a_change_is_seen(content: bytes, tmp_path: Path) -> None:
    target = tmp_path / "out.txt"
    sealed = seal.sealed(content)
    target.write_bytes(sealed)
    if sealed == content:  # no PDF that could be changed
        return
    write_files([(target, b"new stitchc")])
    target.write_bytes(b"x" + sealed)
    with pytest.raises(FileTrouble, match="left as it is"):
        write_files([(target, b"new stitchc")])


def test_a_large_file_is_proved_a_piece_at_a_time(tmp_path: Path) -> None:
    target = tmp_path / "out.txt"
    content = bytearray(seal.sealed(b"stitchc\n" + b"0123456789abcdef\r\n" * 300_000))
    target.write_bytes(content)
    write_files([(target, bytes(content))])
    content[3_000_000] ^= 1
    target.write_bytes(content)
    with pytest.raises(FileTrouble, match="was changed since"):
        write_files([(target, b"new")])


FORMS = ("check", "chart-json", "chart-svg", "chart-png", "chart-pdf", "chart-html", "card-json", "compare")
"""A product of each form, and one made of several files."""


@pytest.mark.parametrize("name", FORMS)
def test_what_was_made_of_another_file_is_not_written_over(name: str, folder: Path) -> None:
    """A copy of a pattern has the same title and stitches; only the file's name tells the two apart."""
    command, file, *options = MAKES[name]
    shutil.copy(folder / file, folder / "copy.stitch")
    target = made(folder, name)
    before = target.read_bytes()
    other = stitchc(command, "copy.stitch", *options, folder=folder)
    assert other.status == 3 and "was made from another file" in other.err and target.read_bytes() == before, other
    assert stitchc(command, file, *options, folder=folder).status == 0
    assert stitchc(command, "copy.stitch", *options, "--force", folder=folder).status == 0


def test_two_patterns_of_one_name_in_two_folders_do_not_share_their_products(folder: Path) -> None:
    """Told apart by their way from the product; a folder that is moved with both stays as it is."""
    for name in ("one", "two"):
        (folder / name).mkdir()
        (folder / name / "quay.stitch").write_text("stitch tide\n1: K T\n2: K\n", "utf-8")
    assert stitchc("bitmap", "one/quay.stitch", folder=folder).status == 0
    before = (folder / "quay-tide-bitmap.png").read_bytes()
    other = stitchc("bitmap", "two/quay.stitch", folder=folder)
    assert other.status == 3 and "was made from another file" in other.err, other
    assert (folder / "quay-tide-bitmap.png").read_bytes() == before
    assert stitchc("bitmap", "./one/quay.stitch", folder=folder).status == 0
    assert stitchc("bitmap", "quay.stitch", "-o", "out", folder=folder / "one").status == 0
    (folder / "one").rename(folder / "three")
    assert stitchc("bitmap", "three/quay.stitch", "-o", "three/out", folder=folder).status == 0


def test_a_copy_of_a_pattern_has_files_of_its_own(folder: Path) -> None:
    shutil.copy(folder / "tide.stitch", folder / "copy.stitch")
    one, two = (stitchc("bitmap", name, folder=folder).out.split() for name in ("tide.stitch", "copy.stitch"))
    assert one and two and not set(one) & set(two)


# -- what is read is never written over -----------------------------------------------------------------------------

READERS = {
    "chart": ("chart", "tide.stitch", "--format", "text"),
    "chart-json": ("chart", "tide.stitch", "--format", "json"),
    "chart-pdf": ("chart", "tide.stitch", "--format", "pdf"),
    "check": ("check", "tide.stitch", "--format", "text"),
    "card": ("card", "tide.stitch", "--format", "text"),
    "bitmap": ("bitmap", "tide.stitch"),
    "sheet": ("sheet", "tide.stitch", "--format", "html"),
    "gauge": ("gauge", "tide.stitch", "--format", "text"),
    "compare": ("compare", "tide.stitch", "--format", "text"),
    "compare-png": ("compare", "tide.stitch", "--format", "png"),
    "swatch": ("swatch", "tide.stitch", "--format", "text"),
    "piece": ("piece", "tide.stitch", "--format", "html"),
    "format": ("format", "tide.stitch"),
}


def refused(folder: Path, arguments: tuple[str, ...], target: str, stdin: bytes = b"") -> Result:
    """The command writes to the target by force, and nothing is lost."""
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    result = stitchc(*arguments, "-o", target, "--force", folder=folder, stdin=stdin)
    assert result.status in (2, 3) and result.orderly and result.out == "", result
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before
    return result


@pytest.mark.parametrize("name", READERS)
def test_no_command_writes_over_what_it_reads(folder: Path, name: str) -> None:
    ending = {"bitmap": ".png", "compare-png": ".png", "card": ".txt"}.get(name, "")
    (folder / f"link{ending}").symlink_to("tide.stitch")
    (folder / f"hard{ending}").hardlink_to(folder / "grounds.stitch")
    for target in (f"link{ending}", f"hard{ending}", *([] if ending else ["tide.stitch", "./grounds.stitch"])):
        result = refused(folder, READERS[name], target)
        assert "what this is made from" in result.err or "is the file itself" in result.err, result


@pytest.mark.parametrize("name", READERS)
def test_nor_by_a_way_through_a_folder_that_is_not_there_yet(folder: Path, name: str) -> None:
    refused(folder, READERS[name], "new/../tide.stitch")
    assert not (folder / "new").exists()


def test_a_way_through_a_folder_that_is_not_there_yet_leads_to_what_stands_at_its_end(folder: Path) -> None:
    (folder / "notes.txt").write_text("Thursday: the sea was calm.")
    (folder / "link.txt").symlink_to("notes.txt")
    for target in ("new/../notes.txt", "new/../link.txt", "a/b/../../notes.txt", "new/./.././notes.txt"):
        result = stitchc("sheet", "tide.stitch", "-o", target, folder=folder)
        assert result.status == 3 and result.orderly and "so it was left as it is" in result.err, result
    assert (folder / "notes.txt").read_text() == "Thursday: the sea was calm." and (folder / "link.txt").is_symlink()
    made = stitchc("sheet", "tide.stitch", "-o", "new/../made.txt", folder=folder)
    assert made.status == 0 and (folder / "made.txt").is_file(), made
    assert not {"new", "a"} & {path.name for path in folder.iterdir()}
    assert stitchc("sheet", "tide.stitch", "-o", "new/..", folder=folder).status == 3


def test_a_profile_and_a_picture_are_read_too(folder: Path) -> None:
    refused(folder, ("sheet", "tide.stitch", "--machine", "mine.toml"), "mine.toml")
    refused(folder, ("machines", "mine.toml", "--format", "text"), "mine.toml")
    refused(folder, ("trace", "chart.png", "--format", "notation"), "chart.png")
    (folder / "scan").write_bytes((folder / "chart.png").read_bytes())
    result = refused(folder, ("trace", "scan"), "scan")
    assert "`scan` is what this is made from" in result.err


def test_standard_input_is_read_too(folder: Path) -> None:
    before = b"stitch tide\n1: K T\n2: K\n"
    (folder / "tide.stitch").write_bytes(before)

    def from_the_file() -> None:
        os.dup2(os.open(folder / "tide.stitch", os.O_RDONLY), 0)

    for called in ("-", "/dev/stdin"):
        result = stitchc(
            "chart", called, "--format", "text", "-o", "tide.stitch", "--force", folder=folder, before=from_the_file
        )
        assert result.status == 3 and "what this is made from" in result.err, result
        assert (folder / "tide.stitch").read_bytes() == before


def test_format_in_place_is_the_exception(folder: Path) -> None:
    (folder / "tide.stitch").write_text("stitch   tide\n1:K T\n2:K")
    result = stitchc("format", "--in-place", "tide.stitch", folder=folder)
    assert result.status == 0 and (folder / "tide.stitch").read_text() == "stitch tide\n    1: K T\n    2: K\n", result


def test_a_later_run_in_the_same_process_may_write_what_an_earlier_one_read(folder: Path) -> None:
    from stitchc.__main__ import run

    there = Path.cwd()
    os.chdir(folder)
    try:
        for _ in range(2):
            assert run(["chart", "tide.stitch", "--stitch", "tide", "-o", "chart.png"]) == 0
            assert run(["trace", "chart.png", "-o", "traced.json"]) == 0
    finally:
        os.chdir(there)

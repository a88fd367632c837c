"""A build into a folder that holds an earlier one: whatever happens on the way, what stands there is whole or says so.

The process is killed for good at each step at which it touches the folder, and each step is refused once; nothing of
what it does in between is mocked.
"""

from __future__ import annotations

import os
import shutil
import signal
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from stitchc import seal
from stitchc.cli.build import put_into_folder
from stitchc.files import FileTrouble
from stitchc.gallery import index_page
from stitchc.pattern import Pattern
from tests.hostile.child import Result, files_of, forked, stitchc

PATTERN = "stitch {one}\n1: K T\n2: K\nstitch {two}\n1: K3 T\n2: K\n"
BUILD = ("build", "quay.stitch", "-o", "made", "--machine", "hand-fine", "--no-pictures")
FIRST = {f"{name}-sheet.{form}": f"stitchc {name} first\n" for name in ("tide", "ebb") for form in ("txt", "html")}
SECOND = {f"{name}-sheet.{form}": f"stitchc {name} second\n" for name in ("tide", "flood") for form in ("txt", "html")}
STEPS = ("open", "fsync", "chmod", "link", "replace", "unlink")
"""What writing asks of the system."""


def at_step(number: int, do: Callable[[], None]) -> Callable[[], None]:
    """For a child: do something as it takes that step in the folder, counted from 0."""

    def install() -> None:
        count = 0

        def wrapped(real: Callable[..., object]) -> Callable[..., object]:
            def step(path: object, *arguments: object, **more: object) -> object:
                nonlocal count
                if not isinstance(path, int) and "made" not in os.fspath(path):  # type: ignore[call-overload]
                    return real(path, *arguments, **more)
                count += 1
                if count == number + 1:
                    do()
                return real(path, *arguments, **more)

            return step

        for name in STEPS:
            setattr(os, name, wrapped(getattr(os, name)))

    return install


def kill() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def refuse() -> None:
    raise OSError(5, "Input/output error")


QUAY = Pattern("quay.stitch", {}, title="Quay")


def put(texts: Mapping[str, str], folder: Path, before: Callable[[], None] | None = None) -> Result:
    """Put files into the folder as a build does that made these."""
    page = index_page(QUAY, [], [], [], {}, {}, list(texts)).encode()

    def job() -> int:
        try:
            put_into_folder(QUAY, Path("made"), {name: text.encode() for name, text in texts.items()}, page)
        except FileTrouble as trouble:
            print(trouble, file=sys.stderr)
            return 3
        return 0

    return forked(job, folder, before=before)


def whole(folder: Path) -> dict[str, bytes]:
    """What stands in the folder, without what a killed process was still writing beside it."""
    return {path.name: path.read_bytes() for path in folder.iterdir() if not path.name.startswith(".stitchc-")}


@pytest.fixture
def after(tmp_path: Path) -> dict[str, bytes]:
    """What the second build makes in a new folder."""
    (tmp_path / "new").mkdir()
    assert put(SECOND, tmp_path / "new").status == 0
    return whole(tmp_path / "new" / "made")


def test_a_killed_rebuild_is_never_taken_for_a_finished_one(tmp_path: Path, after: dict[str, bytes]) -> None:
    """Killed at every step: the folder is as it was, or its page says that it is not finished, or all is new."""
    made = tmp_path / "made"
    assert put(FIRST, tmp_path).status == 0
    before = whole(made)
    seen = {"before": 0, "unfinished": 0, "after": 0}
    for step in range(200):
        for path in made.iterdir():
            path.unlink()
        for name, content in before.items():
            (made / name).write_bytes(content)
        result = put(SECOND, tmp_path, at_step(step, kill))
        if result.status == 0:
            break
        assert result.status == -signal.SIGKILL, result
        now = whole(made)
        if b"not finished" in now["index.html"]:
            seen["unfinished"] += 1
            assert put(SECOND, tmp_path).status == 0 and whole(made) == after, "the next build puts it right"
        elif now == before:
            seen["before"] += 1
        else:
            assert now == after, (step, sorted(now))
            seen["after"] += 1
    else:
        pytest.fail("it has no end")
    assert step > 40 and seen["before"] > 15 and seen["unfinished"] > 5 and seen["after"] > 0, seen


def test_a_refused_step_takes_everything_back(tmp_path: Path, after: dict[str, bytes]) -> None:
    made = tmp_path / "made"
    assert put(FIRST, tmp_path).status == 0
    before = whole(made)
    refused = 0
    for step in range(64):
        result = put(SECOND, tmp_path, at_step(step, refuse))
        if result.status == 0:  # a second name was refused, and a copy taken instead; or the last step is past
            assert whole(made) == after
            for path in made.iterdir():
                path.unlink()
            for name, content in before.items():
                (made / name).write_bytes(content)
            continue
        assert result.status == 3 and "input/output error" in result.err and result.out == "", result
        assert whole(made) == before, step
        refused += 1
    assert refused > 15
    assert not [path for path in made.iterdir() if path.name.startswith(".stitchc-")]


@pytest.fixture(scope="module")
def first_build(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What a build leaves of the pattern as it was first."""
    folder = tmp_path_factory.mktemp("first")
    (folder / "quay.stitch").write_text(PATTERN.format(one="tide", two="ebb"), "utf-8")
    assert stitchc(*BUILD, folder=folder).status == 0
    return folder / "made"


@pytest.fixture
def quay(tmp_path: Path, first_build: Path) -> Path:
    """A folder with a build of a pattern, of which a stitch has another name now."""
    shutil.copytree(first_build, tmp_path / "made")
    (tmp_path / "quay.stitch").write_text(PATTERN.format(one="tide", two="flood"), "utf-8")
    return tmp_path


def test_what_an_earlier_build_left_is_taken_away_unless_it_was_changed(quay: Path) -> None:
    made = quay / "made"
    first = whole(made).keys()
    sheet, own = made / "ebb-sheet.txt", made / "notes.txt"
    sheet.write_text(sheet.read_text("utf-8") + "half a turn looser\n", "utf-8")
    own.write_text("my own\n", "utf-8")
    result = stitchc(*BUILD, folder=quay)
    assert result.status == 0 and "`ebb-sheet.txt` comes from an earlier build and was changed since" in result.err, (
        result
    )
    now = {name.replace("ebb", "flood") for name in first} | {"ebb-sheet.txt", "notes.txt"}
    assert whole(made).keys() == now
    assert "ebb" not in (made / "index.html").read_text("utf-8")


def test_where_one_file_was_changed_none_is_renewed_and_the_message_says_so(quay: Path) -> None:
    """Else a new card would lie beside the sheet of the pattern as it was."""
    sheet = quay / "made" / "tide-sheet.txt"
    sheet.write_text(sheet.read_text("utf-8") + "half a turn looser\n", "utf-8")
    before = whole(quay / "made")
    result = stitchc(*BUILD, folder=quay)
    assert result.status == 3 and whole(quay / "made") == before
    words = " ".join(result.err.split())
    assert (
        "was changed since stitchc made it, so it was left as it is. No other file was written either. [F503]" in words
    )
    assert "rename that file to keep it" in words
    sheet.rename(quay / "my-sheet.txt")
    assert stitchc(*BUILD, folder=quay).status == 0 and "flood-sheet.txt" in whole(quay / "made")


def test_the_folder_of_another_pattern_is_left_alone(quay: Path) -> None:
    before = whole(quay / "made")
    (quay / "copy.stitch").write_text(PATTERN.format(one="tide", two="ebb"), "utf-8")
    other = ("build", "copy.stitch", *BUILD[2:])
    result = stitchc(*other, folder=quay)
    assert result.status == 3 and "was made from another file" in result.err and whole(quay / "made") == before
    forced = stitchc(*other, "--force", folder=quay)
    assert forced.status == 0 and whole(quay / "made").keys() == before.keys(), forced


def test_a_full_disk_at_the_end_costs_nothing(quay: Path) -> None:
    before = whole(quay / "made")
    assert stitchc(*BUILD, folder=quay, before=files_of(5000)).status == 3
    assert whole(quay / "made") == before
    assert all(seal.seal_of(content[-seal.LOOK :]) for content in before.values())

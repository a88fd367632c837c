"""A build into a folder that holds an earlier one: whatever happens on the way, what stands there is whole or says so.

The process is killed for good at each step at which it touches the folder, and each step is refused once; nothing of
what it does in between is mocked.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from pathlib import Path

import pytest

from stitchc import seal
from tests.hostile.child import files_of, stitchc

PATTERN = """\
pattern "Quay"
stitch {one}
    1: K T
    2: K
stitch {two}
    1: K3 T
    2: K
gauge plain 20 stitches 28 rows per 10 cm
"""
BUILD = ("build", "quay.stitch", "-o", "made", "--machine", "hand-fine", "--no-pictures")
STEPS = ("open", "fsync", "chmod", "link", "replace", "unlink")
"""What writing asks of the system; a build here comes to some seventy of them."""


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


def written(pattern: Path, one: str, two: str) -> None:
    pattern.write_text(PATTERN.format(one=one, two=two), "utf-8")


def whole(folder: Path) -> dict[str, bytes]:
    """What stands in the folder, without what a killed process was still writing beside it."""
    return {path.name: path.read_bytes() for path in folder.iterdir() if not path.name.startswith(".stitchc-")}


@pytest.fixture
def quay(tmp_path: Path) -> Path:
    """A folder with a pattern, and a build of what the pattern was before: a stitch has another name now."""
    written(tmp_path / "quay.stitch", "tide", "ebb")
    assert stitchc(*BUILD, folder=tmp_path).status == 0
    written(tmp_path / "quay.stitch", "tide", "flood")
    return tmp_path


@pytest.fixture(scope="module")
def after(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """What a build of the changed pattern makes in a new folder."""
    folder = tmp_path_factory.mktemp("after")
    written(folder / "quay.stitch", "tide", "flood")
    assert stitchc(*BUILD, folder=folder).status == 0
    return whole(folder / "made")


def test_a_killed_rebuild_is_never_taken_for_a_finished_one(quay: Path, after: dict[str, bytes]) -> None:
    """Killed at every step: the folder is as it was, or its page says that it is not finished, or all is new."""
    made = quay / "made"
    before = whole(made)
    seen = {"before": 0, "unfinished": 0, "after": 0}
    for step in range(200):
        for path in made.iterdir():
            path.unlink()
        for name, content in before.items():
            (made / name).write_bytes(content)
        result = stitchc(*BUILD, folder=quay, before=at_step(step, kill))
        if result.status == 0:
            break
        assert result.status == -signal.SIGKILL, result
        now = whole(made)
        if b"not finished" in now["index.html"]:
            seen["unfinished"] += 1
            assert stitchc(*BUILD, folder=quay).status == 0 and whole(made) == after, "the next build puts it right"
        elif now == before:
            seen["before"] += 1
        else:
            assert now == after, (step, sorted(now))
            seen["after"] += 1
    else:
        pytest.fail("the build has no end")
    assert step > 40 and seen["before"] > 20 and seen["unfinished"] > 5 and seen["after"] > 0, seen


def test_a_refused_step_takes_everything_back(quay: Path, after: dict[str, bytes]) -> None:
    made = quay / "made"
    before = whole(made)
    refused = 0
    for step in range(200):
        result = stitchc(*BUILD, folder=quay, before=at_step(step, refuse))
        now = whole(made)
        if result.status == 0:
            assert now == after
            break
        assert result.status == 3 and "input/output error" in result.err and result.out == "", result
        assert now == before, step
        refused += 1
    assert refused > 30
    assert not [path for path in made.iterdir() if path.name.startswith(".stitchc-")]


def test_what_an_earlier_build_left_is_taken_away_unless_it_was_changed(quay: Path, after: dict[str, bytes]) -> None:
    made = quay / "made"
    sheet, own = made / "ebb-sheet.txt", made / "notes.txt"
    sheet.write_text(sheet.read_text("utf-8") + "half a turn looser\n", "utf-8")
    own.write_text("my own\n", "utf-8")
    result = stitchc(*BUILD, folder=quay)
    assert result.status == 0 and "`ebb-sheet.txt` is of an earlier build and was changed since" in result.err, result
    assert whole(made).keys() == after.keys() | {"ebb-sheet.txt", "notes.txt"}
    assert "ebb" not in (made / "index.html").read_text("utf-8")


def test_the_folder_of_another_pattern_is_left_alone(quay: Path) -> None:
    before = whole(quay / "made")
    written(quay / "copy.stitch", "tide", "ebb")
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

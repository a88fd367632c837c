"""Where files go and come from: whatever is in the way, nothing is half written, lost, or put anywhere else.

The limits are the system's own (a file size that may not be passed, a mounted file system of some pages, permissions
that hold for root too, signals); nothing is mocked but the moment at which a process is interrupted.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NoReturn

import pytest

from stitchc import seal
from stitchc.files import FileTrouble, write_files
from tests.hostile import child
from tests.hostile.child import Result, an_ordinary_user, environment, files_of, forked, left_behind, stitchc

ROOT = Path(__file__).resolve().parent.parent.parent
TIDE = 'pattern "Tide line"\nstitch tide\n1: K T\n2: K\n'
PIECE = TIDE + "gauge plain 20 stitches 28 rows per 10 cm\npiece cuff\nneedles 24\nknit tide for 10 rows\n"
OURS = seal.sealed(b"made by stitchc, before\n")
THEIRS = b"a shopping list\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "tide.stitch").write_text(PIECE, "utf-8")
    return tmp_path


def contents(folder: Path) -> dict[str, bytes]:
    """Everything in a folder that is not a folder, by its path there."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.is_symlink()
    }


WRITERS = {
    "chart-json": ("chart", "tide.stitch", "--format", "json", "-o", "made/out.json"),
    "chart-png": ("chart", "tide.stitch", "--format", "png", "-o", "made/out.png"),
    "chart-pdf": ("chart", "tide.stitch", "--format", "pdf", "-o", "made/out.pdf"),
    "card": ("card", "tide.stitch", "--dpi", "150", "-o", "made/out.png"),
    "bitmap": ("bitmap", "tide.stitch", "--rows", "4000", "-o", "made/out.png"),
    "sheet": ("sheet", "tide.stitch", "--format", "html", "-o", "made/out.html"),
    "gauge": ("gauge", "tide.stitch", "--format", "json", "-o", "made/out.json"),
    "compare": ("compare", "tide.stitch", "--format", "png", "-o", "made/out.png"),
    "swatch": ("swatch", "tide.stitch", "--format", "html", "-o", "made/out.html"),
    "picture": ("picture", "tide.stitch", "--size", "2x2", "--dpi", "72", "-o", "made/out.png"),
    "piece": ("piece", "tide.stitch", "--format", "html", "-o", "made/out.html"),
    "format": ("format", "tide.stitch", "-o", "made/out.stitch"),
    "machines": ("machines", "--write", "hand-fine", "-o", "made/out.toml"),
    "new": ("new", "made"),
    "build": ("build", "tide.stitch", "--no-pictures", "--machine", "hand-fine", "-o", "made"),
}


# -- a full disk ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", WRITERS)
def test_a_full_disk_costs_nothing(folder: Path, name: str) -> None:
    before = contents(folder)
    result = stitchc(*WRITERS[name], folder=folder, before=files_of(100))
    assert result.status == 3, result
    assert result.orderly and "can't be written" in result.err and "Try: " in result.err
    assert contents(folder) == before
    assert not (folder / "made").exists(), "a folder was made and left"
    assert result.out == "", "a path was printed of a file that is not there"


@pytest.mark.parametrize("name", ["chart-json", "sheet"])
def test_on_a_full_disk_the_file_of_before_stays(folder: Path, name: str) -> None:
    (folder / "made").mkdir()
    target = folder / WRITERS[name][-1]
    target.write_bytes(OURS)
    result = stitchc(*WRITERS[name], folder=folder, before=files_of(100))
    assert result.status == 3 and target.read_bytes() == OURS and not left_behind(folder)


def test_a_pattern_changed_in_place_outlives_a_full_disk(folder: Path) -> None:
    pattern = folder / "tide.stitch"
    result = stitchc("format", "--in-place", "tide.stitch", folder=folder, before=files_of(20))
    assert result.status == 3 and pattern.read_text() == PIECE and not left_behind(folder)


def test_a_real_file_system_of_sixteen_pages(folder: Path) -> None:
    """A mounted one where that is allowed; where it is not, the size of files is limited as above."""
    room = folder / "room"
    room.mkdir()
    mounted = (
        subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(room)], capture_output=True).returncode
        if shutil.which("mount")
        else 1
    ) == 0
    try:
        shutil.copy(folder / "tide.stitch", room)
        wrote = stitchc("chart", "tide.stitch", "--format", "json", "-o", "chart.json", folder=room)
        assert wrote.status == 0, wrote
        before = contents(room)
        limit = None if mounted else files_of(3000)
        result = stitchc("sheet", "tide.stitch", "--rows", "2000", "--format", "html", folder=room, before=limit)
        assert result.status == 3 and result.orderly, result
        assert ("no space left on device" if mounted else "file too large") in result.err
        assert contents(room) == before
    finally:
        if mounted:
            subprocess.run(["umount", str(room)], check=True)


# -- places that may not be written ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [name for name in WRITERS if name not in ("new", "build")])
def test_a_read_only_folder(folder: Path, name: str) -> None:
    (folder / "made").mkdir(mode=0o555)
    result = stitchc(*WRITERS[name], folder=folder, before=an_ordinary_user)
    assert result.status == 3 and result.orderly, result
    assert "you have no permission" in result.err and not list((folder / "made").iterdir())


def test_a_read_only_folder_and_new_and_build(folder: Path) -> None:
    folder.chmod(0o555)
    try:
        for name in ("new", "build"):
            result = stitchc(*WRITERS[name], folder=folder, before=an_ordinary_user)
            assert result.status == 3 and result.orderly and "you have no permission" in result.err, result
        assert list(contents(folder)) == ["tide.stitch"]
    finally:
        folder.chmod(0o755)


def test_a_file_that_may_not_be_read_is_not_proposed_in_its_own_place(folder: Path) -> None:
    unread = folder / "unread.stitch"
    unread.write_text(TIDE)
    unread.chmod(0)
    (folder / "unread2.stitch").write_text(TIDE)
    (folder / "top.stitch").write_text('include "unread.stitch"\n' + TIDE)
    for name, status in (("unread.stitch", 3), ("top.stitch", 1)):
        result = stitchc("check", name, folder=folder, before=an_ordinary_user)
        assert result.status == status and result.orderly
        assert "`unread.stitch` can't be read: you have no permission." in result.out
        assert "Try: Allow reading it" in result.out and "Try: unread" not in result.out


def test_what_is_changed_in_place_is_not_to_be_put_elsewhere(folder: Path) -> None:
    pattern = folder / "tide.stitch"
    measured = ("swatch", "tide.stitch", "--measured", "plain 20x28")
    pattern.chmod(0o444)
    result = stitchc(*measured, folder=folder, before=an_ordinary_user)
    assert result.status == 3 and "write-protected" in result.err
    assert "Try: Allow writing on that file and in its folder" in result.err and " -o" not in result.err
    pattern.chmod(0o644)
    result = stitchc("format", "--in-place", "tide.stitch", folder=folder, before=files_of(10))
    assert result.status == 3 and "can't be written" in result.err and " -o" not in result.err


def test_a_folder_in_place_of_a_pattern_is_looked_into(folder: Path) -> None:
    for name in ("empty", "full"):
        (folder / name).mkdir()
    (folder / "full" / "net.stitch").write_text(TIDE)
    empty, full = (stitchc("check", name, folder=folder).out for name in ("empty", "full"))
    assert "There is no pattern in that folder" in empty and "tide.stitch" not in empty
    assert "Try: Name a pattern in it: full/net.stitch." in full and "tide.stitch" not in full


def test_a_write_protected_file_is_not_replaced_even_with_force(folder: Path) -> None:
    target = folder / "chart.json"
    target.write_bytes(OURS)
    target.chmod(0o444)
    for force in ((), ("--force",)):
        result = stitchc("chart", "tide.stitch", "-o", "chart.json", *force, folder=folder, before=an_ordinary_user)
        assert result.status == 3 and "write-protected" in result.err and target.read_bytes() == OURS
    (folder / "tide.stitch").chmod(0o444)
    result = stitchc("format", "--in-place", "tide.stitch", folder=folder, before=an_ordinary_user)
    assert result.status == 3 and (folder / "tide.stitch").read_text() == PIECE


@pytest.mark.parametrize(
    "arguments",
    [
        ("check", "tide.stitch"),
        ("format", "tide.stitch"),
        ("machines", "own.toml"),
        ("check", "other.stitch", "--machine", "own.toml"),
        ("check", "including.stitch"),
    ],
    ids=" ".join,
)
def test_what_may_not_be_read(folder: Path, arguments: tuple[str, ...]) -> None:
    (folder / "own.toml").write_text('based_on = "hand-fine"\n')
    (folder / "other.stitch").write_text(TIDE)
    (folder / "including.stitch").write_text('include "tide.stitch"\n' + TIDE.replace("tide", "other"))
    for name in ("tide.stitch", "own.toml"):
        (folder / name).chmod(0)
    result = stitchc(*arguments, folder=folder, before=an_ordinary_user)
    assert result.status in (1, 3) and result.orderly and "you have no permission" in result.out + result.err, result


# -- what stands there already --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [name for name in WRITERS if name not in ("new", "build")])
def test_somebody_elses_file_is_left_alone_unless_forced(folder: Path, name: str) -> None:
    (folder / "made").mkdir()
    target = folder / WRITERS[name][-1]
    target.write_bytes(THEIRS)
    result = stitchc(*WRITERS[name], folder=folder)
    assert result.status == 3 and result.orderly and "left as it is" in result.err, result
    assert list(contents(folder / "made").values()) == [THEIRS] and not left_behind(folder)
    forced = stitchc(*WRITERS[name], "--force", folder=folder)
    assert forced.status == 0 and target.read_bytes() != THEIRS, forced


def test_one_foreign_file_among_several_keeps_all_of_them_away(folder: Path) -> None:
    foreign = folder / "tide-tide-card.json"
    foreign.write_bytes(THEIRS)
    before = contents(folder)
    result = stitchc("card", "tide.stitch", "--dpi", "150", folder=folder)
    assert result.status == 3 and contents(folder) == before


@pytest.mark.parametrize("force", [(), ("--force",)], ids=["", "forced"])
@pytest.mark.parametrize("name", ["chart-json", "card", "compare", "picture"])
def test_a_target_that_is_a_folder(folder: Path, name: str, force: tuple[str, ...]) -> None:
    target = folder / WRITERS[name][-1]
    target.mkdir(parents=True)
    (target / "theirs.txt").write_bytes(THEIRS)
    result = stitchc(*WRITERS[name], *force, folder=folder)
    assert result.orderly and (target / "theirs.txt").read_bytes() == THEIRS
    assert target.is_dir()
    if result.status == 0:  # then it was taken for the folder to put the file into, and said so
        assert all(Path(line).parent == Path(WRITERS[name][-1]) for line in result.out.splitlines())
    else:
        assert result.status == 3 and "is a folder" in result.err


def test_a_folder_that_is_a_file(folder: Path) -> None:
    (folder / "made").write_bytes(THEIRS)
    for name in ("chart-json", "card", "build"):
        result = stitchc(*WRITERS[name], "--force", folder=folder)
        assert result.status == 3 and result.orderly, result
    assert (folder / "made").read_bytes() == THEIRS


class TestLinks:
    """A link is somebody's arrangement: neither replaced nor written through, unless forced; then written through."""

    @pytest.fixture
    def places(self, folder: Path) -> Path:
        (folder / "elsewhere").mkdir()
        (folder / "elsewhere" / "theirs.json").write_bytes(THEIRS)
        (folder / "elsewhere" / "ours.json").write_bytes(OURS)
        return folder

    @pytest.mark.parametrize("to", ["elsewhere/theirs.json", "elsewhere/ours.json", "elsewhere/nothing.json"])
    def test_unforced_nothing_happens(self, places: Path, to: str) -> None:
        (places / "out.json").symlink_to(to)
        before = contents(places)
        result = stitchc("chart", "tide.stitch", "-o", "out.json", folder=places)
        assert result.status == 3 and f"is a link to `{to}`" in result.err, result
        assert contents(places) == before and (places / "out.json").readlink() == Path(to)

    @pytest.mark.parametrize("to", ["theirs.json", "ours.json", "nothing.json"])
    def test_forced_the_file_it_names_is_written_and_the_link_stays(self, places: Path, to: str) -> None:
        (places / "out.json").symlink_to(f"elsewhere/{to}")
        result = stitchc("chart", "tide.stitch", "--format", "json", "-o", "out.json", "--force", folder=places)
        assert result.status == 0, result
        assert (places / "out.json").readlink() == Path("elsewhere", to)
        assert b"stitchc-chart/1" in (places / "elsewhere" / to).read_bytes() and not left_behind(places)

    @pytest.mark.parametrize("force", [(), ("--force",)], ids=["", "forced"])
    def test_a_circle_of_links(self, places: Path, force: tuple[str, ...]) -> None:
        (places / "one.json").symlink_to("two.json")
        (places / "two.json").symlink_to("one.json")
        result = stitchc("chart", "tide.stitch", "-o", "one.json", *force, folder=places)
        assert result.status == 3 and result.orderly, result

    def test_a_link_to_a_folder(self, places: Path) -> None:
        (places / "out.json").symlink_to("elsewhere")
        for force in ((), ("--force",)):
            result = stitchc("chart", "tide.stitch", "-o", "out.json", *force, folder=places)
            assert result.status == 0 and (places / "elsewhere" / "tide-chart.txt").is_file(), result

    def test_a_pattern_behind_a_link_is_laid_out_where_it_lies(self, places: Path) -> None:
        (places / "linked.stitch").symlink_to("tide.stitch")
        result = stitchc("format", "--in-place", "linked.stitch", folder=places)
        assert result.status == 0 and (places / "linked.stitch").is_symlink()
        assert (places / "tide.stitch").read_text() != PIECE

    def test_a_device_stays_a_device(self, places: Path) -> None:
        (places / "out.json").symlink_to("/dev/null")
        for target in ("/dev/null", "out.json"):
            result = stitchc("chart", "tide.stitch", "-o", target, "--force", folder=places)
            assert result.status == 3 and "device or a pipe" in result.err, result
        assert Path("/dev/null").is_char_device()

    @pytest.mark.parametrize("force", [(), ("--force",)], ids=["", "forced"])
    def test_a_pipe_by_name_is_not_waited_for(self, places: Path, force: tuple[str, ...]) -> None:
        os.mkfifo(places / "out.json")
        result = stitchc("chart", "tide.stitch", "-o", "out.json", *force, folder=places, seconds=10)
        assert result.status == 3 and "device or a pipe" in result.err, result


def test_a_file_that_is_replaced_keeps_its_permissions(tmp_path: Path) -> None:
    target = tmp_path / "chart.json"
    for mode in (0o600, 0o664, 0o640):
        target.write_bytes(OURS)
        target.chmod(mode)
        write_files([(target, b"stitchc")])
        assert target.stat().st_mode & 0o777 == mode


def test_a_new_file_has_the_permissions_that_any_program_would_give_it(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        write_files([(tmp_path / "chart.json", b"stitchc")])
    finally:
        os.umask(before)
    assert (tmp_path / "chart.json").stat().st_mode & 0o777 == 0o640


def test_what_cannot_be_named(folder: Path) -> None:
    before = contents(folder)
    for target in ("x" * 300 + ".json", "👵" * 64 + ".json", "y" * 300 + "/out.json", "a/" * 3000 + "out.json"):
        for command in ("chart", "sheet", "gauge"):
            result = stitchc(command, "tide.stitch", "--format", "json", "-o", target, folder=folder)
            assert result.status == 3 and result.orderly, result
    result = stitchc("card", "tide.stitch", "-o", "x" * 300 + ".png", folder=folder)
    assert result.status == 3 and result.orderly, result
    assert contents(folder) == before


def test_odd_but_possible_names(folder: Path) -> None:
    for target in (
        "👵 knits.json",
        " .json",
        "-dash.json",
        "new\nline.json",
        "tab\t.json",
        "a'b\"c$d`e.json",
        os.fsdecode(b"\xff.json"),
    ):
        result = stitchc("chart", "tide.stitch", "--format", "json", "-o", target, folder=folder)
        assert result.status == 0 and (folder / target).is_file(), result
        assert not left_behind(folder)


def test_the_folder_one_stands_in_is_gone(tmp_path: Path) -> None:
    place = tmp_path / "gone"
    place.mkdir()
    for arguments in (
        ("new", "made"),
        ("check", "tide.stitch"),
        ("card", "../tide.stitch"),
        ("check", "-"),
        ("machines",),
    ):
        place.mkdir(exist_ok=True)
        result = stitchc(*arguments, folder=place, stdin=TIDE.encode(), before=place.rmdir)
        assert result.orderly, result


# -- interrupted ----------------------------------------------------------------------------------------------------


def _waiting_in(monkeypatched: Callable[[], None], folder: Path, arguments: tuple[str, ...]) -> int:
    """A child that has half written its file and waits; its process number."""
    pid = os.fork()
    if pid == 0:
        try:
            os.chdir(folder)
            signal.alarm(60)
            for number in (signal.SIGTERM, signal.SIGHUP):  # also where this very test is run in the background
                signal.signal(number, signal.SIG_DFL)
            signal.signal(signal.SIGINT, signal.default_int_handler)
            silent = os.open(os.devnull, os.O_RDWR)
            for number in (0, 1, 2):
                os.dup2(silent, number)
            monkeypatched()
            from stitchc.__main__ import main

            main(list(arguments))
        except SystemExit as error:
            os._exit(error.code if isinstance(error.code, int) else 70)
        finally:
            os._exit(71)
    return pid


def _wait_at_the_disk() -> None:
    """In the child: what is written goes half to the disk, and then time stands still."""

    def stand_still(_: int) -> NoReturn:
        while True:
            time.sleep(60)

    os.fsync = stand_still


@pytest.mark.parametrize("name", ["chart-json", "card", "build"])
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_stopped_while_writing(folder: Path, name: str, how: signal.Signals) -> None:
    (folder / "made").mkdir()
    target = folder / ("made/index.html" if name == "build" else WRITERS[name][-1])
    target.write_bytes(OURS)
    before = contents(folder)
    pid = _waiting_in(_wait_at_the_disk, folder, WRITERS[name])
    until = time.monotonic() + 30
    while not left_behind(folder) and time.monotonic() < until:
        time.sleep(0.01)
    assert left_behind(folder), "nothing was being written"
    os.kill(pid, how)
    _, status = os.waitpid(pid, 0)
    ended = os.waitstatus_to_exitcode(status)
    stale = left_behind(folder)
    if how is signal.SIGKILL:  # what nobody can tidy up can be told for what it is
        assert ended == -signal.SIGKILL
        assert len(stale) == 1 and stale[0].startswith(".stitchc-")
    else:
        assert ended == 128 + how and not stale
    after = contents(folder)
    assert {path: content for path, content in after.items() if not path.endswith(".part")} == before
    again = stitchc(*WRITERS[name], folder=folder)
    assert again.status == 0 and target.read_bytes() != OURS


def test_several_at_once_on_one_target(tmp_path: Path) -> None:
    """Whoever looks sees one of the files whole, at any moment; nothing else is left."""
    target = tmp_path / "card.png"
    letters = b"abcd"
    wholes = {letter: seal.sealed(b"stitchc" + bytes([letter]) * 300_000) for letter in letters}
    children = []
    for letter in letters:
        pid = os.fork()
        if pid == 0:
            status = 1
            try:
                for _ in range(25):
                    write_files([(target, wholes[letter])])
                status = 0
            finally:
                os._exit(status)
        children.append(pid)
    seen = set()
    running = set(children)
    while running:
        for pid in list(running):
            done, status = os.waitpid(pid, os.WNOHANG)
            if done:
                assert status == 0
                running.discard(pid)
        if target.exists():
            content = target.read_bytes()
            assert content in wholes.values()
            seen.add(content)
    assert [path.name for path in tmp_path.iterdir()] == ["card.png"] and len(seen) > 1


def test_two_builds_at_once_into_one_folder(folder: Path) -> None:
    arguments = WRITERS["build"]
    alone = folder / "alone"
    assert stitchc(*arguments[:-1], "alone", folder=folder).status == 0
    pids = [_waiting_in(lambda: None, folder, arguments) for _ in range(3)]
    for pid in pids:
        assert os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) == 0
    assert contents(folder / "made") == contents(alone) and not left_behind(folder)


@pytest.mark.parametrize("seed", range(40))
def test_whatever_the_file_system_refuses_at_any_step(
    tmp_path: Path, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each call of the system that writing makes fails once: then all files are as before, or all are new."""
    chance = random.Random(seed)
    names = ["a.png", "b.png", "sub/c.png"]
    (tmp_path / "a.png").write_bytes(OURS)
    before = contents(tmp_path)
    calls = [(os, "fsync"), (os, "mkdir"), (os, "chmod"), (os, "open"), (os, "fdopen")]
    holder, name = chance.choice(calls)
    real, at = getattr(holder, name), chance.randrange(3)
    count = 0

    def refuse(*arguments: object, **more: object) -> object:
        nonlocal count
        count += 1
        if count == at + 1:
            raise OSError(5, "Input/output error")
        return real(*arguments, **more)

    with monkeypatch.context() as patched:
        patched.setattr(holder, name, refuse)
        try:
            write_files([(tmp_path / each, b"stitchc, new") for each in names])
            refused = False
        except FileTrouble as trouble:
            refused = True
            assert "input/output error" in trouble.messages[0].text
    if refused:
        assert contents(tmp_path) == before and not (tmp_path / "sub").exists()
    else:
        assert contents(tmp_path) == dict.fromkeys(names, b"stitchc, new")


# -- streams --------------------------------------------------------------------------------------------------------


def shell(line: str, folder: Path, **environment: str) -> Result:
    """A line for the shell, `stitchc` in it being this Python's."""
    settings = {key: value for key, value in os.environ.items() if not key.startswith("STITCHC_")}
    settings |= {"PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1", **environment}
    line = f'stitchc() {{ "{sys.executable}" -m stitchc "$@"; }}\n{line}'
    ran = subprocess.run(["bash", "-c", line], cwd=folder, env=settings, capture_output=True, timeout=60)
    return Result(ran.returncode, ran.stdout.decode("utf-8", "replace"), ran.stderr.decode("utf-8", "replace"))


@pytest.mark.parametrize(
    ("line", "status", "said"),
    [
        ("stitchc chart tide.stitch > /dev/full", 3, "no space left on device"),
        ("stitchc chart tide.stitch >&-", 3, "standard output is closed"),
        ("stitchc check bad.stitch >&-", 3, "standard output is closed"),
        ("stitchc check bad.stitch > /dev/full", 3, "no space left on device"),
        ("stitchc card tide.stitch --format svg 2>&-", 0, ""),
        ("stitchc check bad.stitch 2> /dev/full", 1, ""),
        ("stitchc check bad.stitch 2>&-", 1, ""),
        ("stitchc check bad.stitch 2>&1 | true; exit ${PIPESTATUS[0]}", 1, ""),
        ("stitchc check - <&-", 3, "standard input is closed"),
        ("stitchc check .", 3, "it is a folder"),
        ("stitchc check /dev/null", 1, "N113"),
        ("stitchc check /dev/zero", 1, "N110"),
        ("stitchc check <(cat tide.stitch)", 0, ""),
        ("stitchc chart large.stitch | head -c 1; exit ${PIPESTATUS[0]}", 0, ""),
        ("stitchc sheet large.stitch --anyway --format json | true; exit ${PIPESTATUS[0]}", 0, ""),
        ("stitchc card tide.stitch --dpi 150 > /dev/full", 3, "no space left on device"),
        ("stitchc --help > /dev/full", 3, "no space left on device"),
        ("stitchc --help >&-", 3, "standard output is closed"),
    ],
)  # fmt: skip
def test_streams_that_are_closed_or_full(folder: Path, line: str, status: int, said: str) -> None:
    (folder / "bad.stitch").write_text("stitch tide\n1: K P\n")
    (folder / "large.stitch").write_text(
        "stitch large\n1: K60\n" + "".join(f"{row}: K29 T K30\n" for row in range(2, 4000))
    )
    result = shell(line, folder)
    assert result.status == status and result.orderly, result
    assert said in result.out + result.err and "Exception ignored" not in result.err, result


def test_a_build_is_finished_where_its_paths_cannot_be_told(folder: Path) -> None:
    (folder / "tide.stitch").write_text(TIDE, "utf-8")
    build = "stitchc build tide.stitch --no-pictures --machine hand-standard"
    built = shell(f"{build} -o whole", folder)
    assert built.status == 0 and "whole/index.html" in built.out, built
    for end, status, words in (
        ("| head -1; exit ${PIPESTATUS[0]}", 0, ""),
        (">&-", 3, "standard output is closed"),
        ("> /dev/full", 3, "no space left on device"),
    ):
        result = shell(f"rm -rf unheard; {build} -o unheard {end}", folder)
        assert result.status == status and result.orderly and words in result.err, result
        assert contents(folder / "unheard").keys() == contents(folder / "whole").keys()


def test_the_shells_pipes_are_waited_for_and_a_pipe_without_a_writer_is_not(folder: Path) -> None:
    """Two seconds are given to a pipe by name; what the shell opens for a program may take its time."""
    os.mkfifo(folder / "pipe.stitch")
    (folder / "around.stitch").write_text(f'include "pipe.stitch"\n{TIDE}')
    words = stitchc("check", "pipe.stitch", folder=folder, seconds=20).out
    assert "sent nothing within 2 seconds" in words, words
    for arguments in (("machines", "./pipe.stitch"), ("trace", "pipe.stitch"), ("format", "pipe.stitch")):
        result = stitchc(*arguments, folder=folder, seconds=20, before=_impatient)
        words = result.out + result.err
        assert result.status in (1, 3) and result.orderly and "sent nothing within 0.1 seconds" in words, result
    result = stitchc("check", "around.stitch", folder=folder, seconds=20)
    assert result.status == 1 and "`pipe.stitch` is not a file" in result.out, result
    slow, lines = "sleep 2.5; cat tide.stitch", (
        "stitchc check <({slow}) > 1.out",
        "({slow}) | stitchc check - > 2.out",
        "({slow}) | stitchc check /dev/stdin > 3.out",
        "cat tide.stitch > pipe.stitch & stitchc check pipe.stitch > 4.out",
        "mkfifo 5; (cat tide.stitch; sleep 1; echo '#') > 5 & stitchc check 5 > 5.out",
    )  # fmt: skip
    result = shell("\n".join(f"({line.format(slow=slow)}) &" for line in lines) + "\nwait", folder)
    for number in range(1, 6):
        assert "can be knitted" in (folder / f"{number}.out").read_text("utf-8"), (lines[number - 1], result)


def _impatient() -> None:
    from stitchc import files

    files._WAIT_S = 0.1  # type: ignore[misc]


@pytest.mark.parametrize("device", ["/dev/zero", "/dev/random", "/dev/urandom", "/dev/full"])
def test_a_device_without_an_end_is_read_up_to_the_limit(folder: Path, device: str) -> None:
    if not Path(device).exists():
        pytest.skip("there is no such device")
    for arguments in (("check", device), ("format", device), ("trace", device), ("machines", device)):
        result = stitchc(*arguments, folder=folder, seconds=20)
        assert result.status == 1 and result.orderly, result


def test_a_terminal_is_told_what_is_waited_for(folder: Path) -> None:
    """At a keyboard the program says that it reads; Ctrl-D ends the text."""
    import pty

    master, slave = pty.openpty()

    def at_the_keyboard() -> None:
        os.dup2(slave, 0)

    for called in ("-", "/dev/stdin"):
        os.write(master, TIDE.encode() + b"\x04")
        result = stitchc("check", called, folder=folder, before=at_the_keyboard, seconds=20)
        assert result.status == 0 and "Ctrl-D" in result.err and "can be knitted" in result.out, result
    os.close(master)
    os.close(slave)


# -- a home that is no home -----------------------------------------------------------------------------------------


def cached_in(cache: Path) -> Callable[[], None]:
    """In the child: keep things there."""
    return environment(XDG_CACHE_HOME=str(cache))


@pytest.mark.parametrize("kind", ["a file", "a link to nothing", "a file instead of its parent"])
def test_a_hostile_cache_changes_nothing(folder: Path, kind: str) -> None:
    cache = folder / "cache"
    cache.mkdir()
    if kind == "a file":
        (cache / "stitchc").write_bytes(THEIRS)
    elif kind == "a link to nothing":
        (cache / "stitchc").symlink_to(cache / "nothing" / "there")
    else:
        cache.rmdir()
        cache.write_bytes(THEIRS)
    draw = ("picture", "tide.stitch", "--size", "2x2", "--dpi", "72", "-o", "out.png")
    result = stitchc(*draw, folder=folder, before=cached_in(cache))
    assert result.status == 0 and "error" not in result.err and "warning" not in result.err, result
    if kind == "a file":
        assert (cache / "stitchc").read_bytes() == THEIRS


def test_fabrics_in_a_hostile_cache(folder: Path) -> None:
    """`picture` keeps what it worked out; a broken or strange keeping place costs time alone."""
    draw = ("picture", "tide.stitch", "--size", "2x2", "--dpi", "72", "-o", "out.png")
    cache = folder / "cache"

    at_home = cached_in(cache)
    assert stitchc(*draw, folder=folder, before=at_home).status == 0
    first = (folder / "out.png").read_bytes()
    (kept,) = (cache / "stitchc" / "fabrics").glob("*.fabric")
    whole = kept.read_bytes()
    spoilt = bytearray(whole)
    spoilt[len(whole) // 2] ^= 1
    for content in (b"", bytes(spoilt)):
        kept.write_bytes(content)
        result = stitchc(*draw, folder=folder, before=at_home)
        assert result.status == 0 and result.orderly and (folder / "out.png").read_bytes() == first, result
    kept.unlink()
    os.mkfifo(kept)
    result = stitchc(*draw, folder=folder, before=at_home, seconds=30)
    assert result.status == 0 and (folder / "out.png").read_bytes() == first, result
    shutil.rmtree(cache)
    cache.mkdir(mode=0o555)

    def without_rights() -> None:
        at_home()
        an_ordinary_user()

    result = stitchc(*draw, folder=folder, before=without_rights)
    assert result.status == 0 and result.err.count("cache") == 0 and not list(cache.iterdir()), result


@pytest.fixture
def nobody() -> Iterator[Callable[[], None]]:
    """In the child: a user whom the system does not know, with no home."""

    def forget() -> None:
        import pwd

        def unknown(number: int) -> NoReturn:
            raise KeyError(f"getpwuid(): uid not found: {number}")

        pwd.getpwuid = unknown
        for name in ("HOME", "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "USER", "LOGNAME", "USERPROFILE"):
            os.environ.pop(name, None)

    yield forget


@pytest.mark.parametrize("name", ["chart-json", "picture", "compare", "card"])
def test_no_home_folder(folder: Path, nobody: Callable[[], None], name: str) -> None:
    result = stitchc(*WRITERS[name], folder=folder, before=nobody)
    assert result.status == 0 and result.orderly, result
    assert {path.name for path in folder.iterdir()} == {"tide.stitch", "made"}, "something was put where one stands"


@pytest.mark.parametrize("variable", ["HOME", "XDG_CACHE_HOME"])
@pytest.mark.parametrize("home", ["", "relative", "/dev/null", "x" * 5000])
def test_a_home_folder_that_is_none(folder: Path, home: str, variable: str) -> None:
    draw = ("picture", "tide.stitch", "--size", "1x1", "--px", "100", "-o", "out.png")
    result = stitchc(*draw, folder=folder, before=environment(**{variable: home}))
    assert result.status == 0 and result.orderly, result
    assert {path.name for path in folder.iterdir()} == {"tide.stitch", "out.png"}


@pytest.mark.parametrize(
    "settings",
    [
        {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
        {"LC_ALL": "C", "PYTHONIOENCODING": "ascii:strict"},
        {"LANG": "de_DE.ISO-8859-1", "PYTHONUTF8": "0"},
        {"LC_ALL": "xx_XX.nonsense"},
    ],
)
def test_a_locale_without_utf_8(folder: Path, settings: dict[str, str]) -> None:
    (folder / "welle.stitch").write_text('pattern "Wéllë 波"\nstitch wéllë\n1: K Т\n2: K\n', "utf-8")
    result = shell("stitchc chart welle.stitch", folder, **settings)
    assert result.status == 1 and result.orderly and "N111" in result.err, result
    (folder / "welle.stitch").write_text('pattern "Wéllë 波"\nstitch wéllë\n1: K T\n2: K\n', "utf-8")
    line = "stitchc chart welle.stitch --format json"
    result = shell(line, folder, **settings)
    assert result.status == 0 and result.orderly and "wéllë" in result.out, result


def test_a_forked_child_reports_faults(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The harness itself: a fault is seen, a time limit holds, a refused write is a refused write."""

    def fault() -> int:
        raise AssertionError("a fault")

    broken = forked(fault, tmp_path)
    assert broken.status == 71 and not broken.orderly and "a fault" in broken.err
    with monkeypatch.context() as patched:
        patched.setattr(child, "PATIENCE", 1)
        assert forked(lambda: time.sleep(30) or 0, tmp_path, seconds=1).status == -signal.SIGALRM
    assert forked(lambda: sum(1 for _ in iter(int, 1)), tmp_path, seconds=1).status == -signal.SIGXCPU
    assert not forked(lambda: (tmp_path / "x").write_bytes(b"1234") * 0, tmp_path, before=files_of(2)).orderly
    (tmp_path / "closed").mkdir(mode=0o500)
    (tmp_path / "closed").chmod(0)
    assert not forked(lambda: len(list((tmp_path / "closed").iterdir())), tmp_path, before=an_ordinary_user).orderly

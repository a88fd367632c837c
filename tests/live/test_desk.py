"""Files of a live page: nothing is lost, nothing but the folder's patterns is opened."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest

from stitchc.live.desk import ChangedElsewhere, Desk, NoSuchPlace, digest_of, private_folder
from stitchc.messages import Refused


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("HOME", str(tmp_path))


def test_saving_over_a_version_that_was_not_seen_writes_nothing(tmp_path: Path) -> None:
    desk, path = Desk(tmp_path), tmp_path / "tide.stitch"
    path.write_text("one\n", "utf-8")
    opened = desk.open("tide.stitch")
    path.write_text("two\n", "utf-8")
    with pytest.raises(ChangedElsewhere) as refused:
        desk.save("tide.stitch", "three\n", opened.digest)
    assert refused.value.now.text == "two\n"
    assert path.read_text("utf-8") == "two\n"
    other = desk.save_beside("tide.stitch", "three\n")
    assert (tmp_path / other).read_text("utf-8") == "three\n"
    with pytest.raises(ChangedElsewhere):
        desk.save("tide.stitch", "three\n", "")  # a new file, where one stands
    assert desk.save("tide.stitch", "three\n", refused.value.now.digest).text == "three\n"


def test_line_ends_mark_and_permissions_stay(tmp_path: Path) -> None:
    desk, path = Desk(tmp_path), tmp_path / "old.stitch"
    path.write_bytes(b"\xef\xbb\xbfstitch a\r\n1: K\r\n")
    path.chmod(0o640)
    opened = desk.open("old.stitch")
    assert opened.text == "stitch a\n1: K\n"
    desk.save("old.stitch", "stitch a\n1: T\n", opened.digest)
    assert path.read_bytes() == b"\xef\xbb\xbfstitch a\r\n1: T\r\n"
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert not list(tmp_path.glob("*.part"))


def test_a_text_that_is_not_saved_is_kept_for_its_user_alone(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    desk = Desk(tmp_path / "a")
    assert desk.keep("tide.stitch", "stitch é\n", "")
    draft = Desk(tmp_path / "a").draft("tide.stitch")
    assert draft is not None and draft.text == "stitch é\n"
    assert [each.name for each in desk.drafts()] == ["tide.stitch"]
    assert Desk(tmp_path).draft("tide.stitch") is None and not list(Desk(tmp_path).drafts())
    folder = private_folder()
    assert folder is not None and stat.S_IMODE(folder.stat().st_mode) == 0o700
    desk.save("tide.stitch", "stitch é\n", "")
    assert desk.draft("tide.stitch") is None


@pytest.mark.parametrize(
    "name",
    ["../x.stitch", "a/b.stitch", "/etc/passwd", "x.toml", ".hidden.stitch", "", "..", "a\\b.stitch", "a\0.stitch"],
)
def test_only_patterns_of_the_folder_are_opened(tmp_path: Path, name: str) -> None:
    for act in (
        lambda: Desk(tmp_path).open(name),
        lambda: Desk(tmp_path).save(name, "", ""),
        lambda: Desk(tmp_path).path(name),
    ):
        with pytest.raises(NoSuchPlace):
            act()


def test_a_file_that_is_no_text_is_not_opened_to_be_spoilt(tmp_path: Path) -> None:
    (tmp_path / "bad.stitch").write_bytes(b"stitch a\xff\n")
    with pytest.raises(Refused, match="N112"):
        Desk(tmp_path).open("bad.stitch")


@pytest.mark.parametrize("name", ["con.stitch", "Aux.stitch", "com1.stitch", "nul.old.stitch"])
def test_a_device_s_name_is_no_name_of_a_new_file(tmp_path: Path, name: str) -> None:
    """Some systems would write to the device; a file that stands there already is saved as ever."""
    with pytest.raises(Refused, match="is the name of a device"):
        Desk(tmp_path).save(name, "stitch a\n1: K\n", "")
    assert not list(tmp_path.iterdir())
    (tmp_path / name).write_bytes(b"")
    Desk(tmp_path).save(name, "stitch a\n1: K\n", digest_of(b""))
    Desk(tmp_path).save("console.stitch", "stitch a\n1: K\n", "")

"""`stitchc new` writes a pattern that compiles; `--watch` runs again after a save and survives a mistake."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from stitchc.cli import group
from stitchc.cli.watch import run_once
from stitchc.files import FileTrouble
from stitchc.messages import Message
from stitchc.notation import compile_file


@pytest.mark.parametrize("name", ["tide-pool", "Über Wasser", "123", '"quoted"', "con", "tide.stitch"])
def test_a_new_pattern_compiles_in_the_standard_layout(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(group, ["new", name])
    assert result.exit_code == 0, result.output
    (made,) = tmp_path.glob("*.stitch")
    pattern, messages, _ = compile_file(str(made))
    assert pattern is not None and messages == []
    assert CliRunner().invoke(group, ["format", "--check", made.name]).exit_code == 0


def test_a_new_pattern_is_known_again_and_kept_once_it_is_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    made = Path("tuck-lace.stitch")
    assert CliRunner().invoke(group, ["new", "tuck-lace"]).exit_code == 0
    first = made.read_text("utf-8")
    assert len([line for line in first.splitlines() if line.startswith("stitch ")]) == 1
    again = CliRunner().invoke(group, ["new", "tuck-lace"])
    assert again.exit_code == 0 and "as `stitchc new` wrote it" in again.output
    own = first.replace("    1: K T\n    2: K\n", "    1: K3 T\n" + "".join(f"    {n}: K\n" for n in range(2, 37)))
    made.write_text(own, "utf-8")
    assert CliRunner().invoke(group, ["check", made.name]).exit_code == 0, "rows of one's own do not break the rest"
    for line in own.splitlines():
        if line.startswith(("# stitch ", "# gauge ")):
            made.write_text(f"{own}\n{line.removeprefix('# ')}\n", "utf-8")
            assert CliRunner().invoke(group, ["check", made.name]).exit_code == 0, line
    with pytest.raises(FileTrouble, match="may hold your own work"):
        CliRunner().invoke(group, ["new", "tuck-lace"], standalone_mode=False, catch_exceptions=False)


def test_watch_outlives_whatever_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    def refuse() -> None:
        raise FileTrouble(Message("F503", "error", "It is not ours."))

    run_once(refuse)
    assert "[F503]" in (err := capsys.readouterr().err) and err.endswith("Ctrl-C to stop\n")


def test_watch_runs_again_and_goes_on_after_a_mistake(tmp_path: Path) -> None:
    file = tmp_path / "tide.stitch"
    file.write_text("stitch tide\n1: K T\n2: K\n", "utf-8")
    process = subprocess.Popen(
        [sys.executable, "-u", "-m", "stitchc", "check", "--watch", str(file)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    seen: list[str] = []
    assert process.stdout is not None
    reader = threading.Thread(target=lambda: seen.extend(iter(process.stdout.readline, "")), daemon=True)  # type: ignore[union-attr]
    reader.start()

    def wait_for(words: str, times: int = 1) -> None:
        deadline = time.monotonic() + 60
        while "".join(seen).count(words) < times:
            assert time.monotonic() < deadline, "".join(seen)
            time.sleep(0.05)

    try:
        wait_for("watching")
        time.sleep(1)  # until the system has begun to tell of saves
        file.write_text("stitch tide\n1: K P\n2: K\n", "utf-8")
        wait_for("N102")
        wait_for("watching", 2)
        file.write_text("stitch tide\n1: K T\n2: K\n", "utf-8")
        wait_for("can be knitted", 2)
    finally:
        process.kill()
        process.wait()

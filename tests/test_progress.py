"""The progress bar at a real terminal: it stays within the width, it goes away, and it is seen nowhere else."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.terminal import ROOT, Terminal

pytestmark = pytest.mark.skipif(os.name == "nt", reason="needs POSIX terminals")

SLOW = """
import sys, time
from stitchc.cli.progress import Bar
print("before", file=sys.stderr)
with Bar({label!r}) as bar:
    for n in range({steps}):
        bar.move_to(n / {steps})
        time.sleep(0.11)
print("after", file=sys.stderr)
"""


def screen(written: str, columns: int) -> list[str]:
    """The lines that a plain terminal shows in the end: letters, returns and line ends, and a wrap at the edge."""
    lines = [[" "] * columns]
    at = 0
    for character in written:
        if character == "\n":
            lines.append([" "] * columns)
        elif character == "\r":
            at = 0
        else:
            if at == columns:
                lines.append([" "] * columns)
                at = 0
            lines[-1][at] = character
            at += 1
    return ["".join(line).rstrip() for line in lines]


@pytest.mark.parametrize(
    ("columns", "label"),
    [
        (20, "relaxing a-stitch-with-a-very-long-name-indeed"),
        (20, "relaxing 波の編み"),
        (40, "building"),
        (80, "relaxing 波の編み"),
        (132, "relaxing a-stitch-with-a-very-long-name-indeed"),
    ],
)
def test_a_bar_keeps_to_its_line_and_leaves_nothing(tmp_path: Path, columns: int, label: str) -> None:
    steps = 16
    terminal = Terminal([sys.executable, "-c", SLOW.format(label=label, steps=steps)], tmp_path, columns)
    assert terminal.end() == 0
    assert screen(terminal.seen, columns) == ["before", "after", ""]
    drawn = [part for part in terminal.seen.replace("\n", "\r").split("\r") if "%" in part]
    assert drawn, "no bar was drawn"
    assert all(len(line) + sum(ord(letter) > 0x2E80 for letter in line) < columns - 1 for line in drawn), drawn
    shares = [int(found[1]) for line in drawn if (found := re.search(r"([0-9]+) %", line))]
    assert shares == sorted(shares) and shares[0] > 0 and shares[-1] < 100
    assert "\x1b" not in terminal.seen, "no control codes"


@pytest.mark.parametrize("where", ["pipe", "file", "dumb", "short"])
def test_no_bar_elsewhere_or_for_short_work(tmp_path: Path, where: str) -> None:
    steps = 4 if where == "short" else 14
    words = [sys.executable, "-c", SLOW.format(label="building", steps=steps)]
    if where in ("dumb", "short"):
        terminal = Terminal(words, tmp_path, TERM="dumb" if where == "dumb" else "xterm")
        assert terminal.end() == 0
        seen = terminal.seen.replace("\r\n", "\n")
    else:
        target = tmp_path / "out.txt"
        with target.open("wb") as stream:
            done = subprocess.run(
                words,
                env={**os.environ, "PYTHONPATH": str(ROOT)},
                stderr=stream if where == "file" else subprocess.PIPE,
                check=True,
            )
        seen = target.read_text() if where == "file" else done.stderr.decode()
    assert seen == "before\nafter\n"


def pattern_that_takes_seconds(folder: Path) -> None:
    rows = "".join(f"{row}: " + " ".join("KTKK"[(row * k) % 4] for k in range(1, 49)) + "\n" for row in range(1, 73))
    rows += "73: K\n74: K\n"
    (folder / "slow.stitch").write_text("stitch slow\n" + rows, "utf-8")


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP], ids=lambda how: how.name)
def test_stopped_in_the_middle_the_terminal_is_clean_and_no_half_file_is_left(
    tmp_path: Path, how: signal.Signals
) -> None:
    """Ctrl-C is typed; the other signals are sent."""
    pattern_that_takes_seconds(tmp_path)
    terminal = Terminal([sys.executable, "-m", "stitchc", "picture", "slow.stitch", "-o", "made/slow.png"], tmp_path)
    assert terminal.until(r"relaxing the fabric \[=* *\] +[0-9]+ %"), terminal.seen
    if how is signal.SIGINT:
        terminal.type("\x03")
    else:
        os.kill(terminal.pid, how)
    assert terminal.end() == 128 + how
    shown = screen(terminal.seen, 80)
    assert shown[-2:] == ["stitchc: stopped", ""], shown
    assert not any("%" in line for line in shown), shown
    assert [path.name for path in tmp_path.iterdir() if path.name != "cache"] == ["slow.stitch"]


def test_a_build_prints_its_paths_beside_the_bar(tmp_path: Path) -> None:
    pattern_that_takes_seconds(tmp_path)
    words = ["build", "slow.stitch", "-o", "made", "--anyway", "--no-pictures"]
    terminal = Terminal([sys.executable, "-m", "stitchc", *words], tmp_path)
    assert terminal.end() == 0, terminal.seen
    shown = [line for line in screen(terminal.seen, 80) if line.startswith("made/")]
    assert "made/index.html" in shown and all((tmp_path / path).is_file() for path in shown)
    assert len(shown) == len(list((tmp_path / "made").iterdir()))
    assert "building [" in terminal.seen and not any("building" in line for line in screen(terminal.seen, 80))

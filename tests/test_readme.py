"""What README shows is true: its patterns compile, its commands exist, its links lead somewhere."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from stitchc.cli import COMMANDS
from stitchc.notation import compile_text

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
BLOCKS = re.findall(r"```\n(.*?)```", README, re.DOTALL)


def test_the_six_lines_are_the_example() -> None:
    six = next(block for block in BLOCKS if block.startswith('pattern "Tide line"\n\n'))
    assert six == (ROOT / "examples" / "tide-line.stitch").read_text("utf-8")
    assert len([line for line in six.splitlines() if line]) == 6


def test_the_notation_in_a_page_compiles() -> None:
    page = next(block for block in BLOCKS if "stitch fern over 8" in block)
    grounds = "stitch ripple\n1: K T\n2: K\n"
    page = re.sub(r"^(?:include|photo) .*", "", page, flags=re.MULTILINE)  # no files lie beside it
    pattern, messages, _ = compile_text(page + grounds)
    assert pattern is not None, messages
    assert "cowl" in pattern.pieces and len(pattern.swatches) == 2


def test_every_command_is_in_the_table() -> None:
    table = set(re.findall(r"\| `stitchc ([a-z]+)", README)) | set(re.findall(r"`stitchc (new)", README))
    assert table == set(COMMANDS)


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_links_lead_somewhere(text: str) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        assert (ROOT / target).exists(), target


def test_every_place_in_the_table_of_folders_is_there() -> None:
    for place in re.findall(r"^\| `([\w./]+)`", DEVELOPERS, re.MULTILINE):
        assert (ROOT / place).exists(), place


def test_the_top_level_is_what_the_design_fixes() -> None:
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if tracked.returncode:  # an unpacked source archive
        names = {path.name for path in ROOT.iterdir()} - {"build", "dist", "PKG-INFO"}
    else:
        names = {line.split("/")[0] for line in tracked.stdout.splitlines()}
    visible = {name for name in names if not name.startswith(".")}
    assert visible == {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "stitchc", "grammar", "tests", "examples", "charts",
    }  # fmt: skip


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_lines(shell: str, tmp_path: Path) -> None:
    """Each shell's line gives a script, and the script's question is answered with the commands."""
    environment = {**os.environ, "_STITCHC_COMPLETE": f"{shell}_source"}
    script = subprocess.run(
        [sys.executable, "-m", "stitchc"], env=environment, capture_output=True, text=True, check=True
    )
    assert f"_STITCHC_COMPLETE={shell}_complete" in script.stdout
    if found := shutil.which(shell):  # the shell itself must take it
        subprocess.run([found, "-n", "-c", script.stdout], check=True, capture_output=True)
    environment |= {"_STITCHC_COMPLETE": f"{shell}_complete", "COMP_WORDS": "stitchc ch", "COMP_CWORD": "1"}
    if shell == "fish":
        environment["COMP_CWORD"] = "ch"
    answer = subprocess.run(
        [sys.executable, "-m", "stitchc"], env=environment, capture_output=True, text=True, check=True
    )
    assert "check" in answer.stdout and "chart" in answer.stdout and "sheet" not in answer.stdout

"""The Tab key in real shells: each is started in a terminal of its own, and what a person would type is typed.

bash has to be there; zsh and fish are tried where they are.
"""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path

import pytest

from tests.terminal import Terminal

pytestmark = pytest.mark.skipif(os.name == "nt", reason="needs POSIX terminals")

START = {
    "bash": ("bash --norc --noprofile -i", 'eval "$(_STITCHC_COMPLETE=bash_source stitchc)"'),
    "zsh": (
        "zsh -f -i",
        'unsetopt prompt_sp; autoload -Uz compinit; compinit -u -D; eval "$(_STITCHC_COMPLETE=zsh_source stitchc)"',
    ),
    "fish": ("fish --no-config -i", "_STITCHC_COMPLETE=fish_source stitchc | source"),
}
TYPED = (
    ("stitchc she\t", r"she.*et "),
    ("tide-\t", r"(?:tide)?-?line\.stitch "),
    ("--mach\t", r"ine "),
    ("hand-b\t", r"ulky "),
    ("--carr\t", r"iage "),
    ("lef\t", r"t "),
    ("| head -n 1\n", r"tide: needle sheet"),
    ("stitchc explain K20\t\t", r"(?s)K201.*K208.*K209"),
)
"""Commands, options, the words of a choice, machines, codes and names of files, one after another; and what comes."""


@pytest.mark.parametrize("name", START)
def test_the_tab_key(name: str, tmp_path: Path) -> None:
    if shutil.which(name) is None:
        assert name != "bash", "bash is needed"
        pytest.skip(f"there is no {name}")
    (tmp_path / "tide-line.stitch").write_text("stitch tide\n1: K T\n2: K\n", "utf-8")
    program = tmp_path / "bin" / "stitchc"
    program.parent.mkdir()
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m stitchc "$@"\n', "utf-8")
    program.chmod(0o755)
    path = f"{program.parent}{os.pathsep}{os.environ['PATH']}"
    words, setup = START[name]
    own = {"PATH": path, "HOME": str(tmp_path), "XDG_CONFIG_HOME": str(tmp_path / "config"), "LC_ALL": "C.UTF-8"}
    shell = Terminal(words.split(), tmp_path, 100, **own, XDG_DATA_HOME=str(tmp_path / "data"), PS1="")
    try:
        for keys, comes in ((f"{setup}; echo rea''dy\n", "ready"), *TYPED):
            shell.type(keys)
            assert shell.until(comes), (comes, shell.seen)
            shell.seen = ""
    finally:
        shell.kill()

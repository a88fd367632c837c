"""The Tab key in real shells: each is started in a terminal of its own, and what a person would type is typed.

bash has to be there; zsh and fish are tried where they are.
"""

from __future__ import annotations

import os
import re
import select
import shutil
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

pytestmark = pytest.mark.skipif(os.name == "nt", reason="needs POSIX terminals")

ROOT = Path(__file__).resolve().parent.parent
START = {
    "bash": (["bash", "--norc", "--noprofile", "-i"], 'eval "$(_STITCHC_COMPLETE=bash_source stitchc)"'),
    "zsh": (
        ["zsh", "-f", "-i"],
        'unsetopt prompt_sp; autoload -Uz compinit; compinit -u -D; eval "$(_STITCHC_COMPLETE=zsh_source stitchc)"',
    ),
    "fish": (["fish", "--no-config", "-i"], "_STITCHC_COMPLETE=fish_source stitchc | source"),
}


class Shell:
    """A shell at a terminal of 100 columns."""

    def __init__(self, name: str, folder: Path) -> None:
        import fcntl
        import pty
        import struct
        import termios

        words, self.setup = START[name]
        program = folder / "bin" / "stitchc"
        program.parent.mkdir()
        program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m stitchc "$@"\n', "utf-8")
        program.chmod(0o755)
        environment = {key: value for key, value in os.environ.items() if not key.startswith(("STITCHC_", "COMP"))}
        environment |= {
            "PATH": f"{program.parent}{os.pathsep}{environment['PATH']}",
            "PYTHONPATH": str(ROOT),
            "HOME": str(folder),
            "XDG_CONFIG_HOME": str(folder / "config"),
            "XDG_DATA_HOME": str(folder / "data"),
            "TERM": "xterm",
            "LC_ALL": "C.UTF-8",
            "PS1": "",
        }
        self.pid, self.terminal = pty.fork()
        if self.pid == 0:
            os.chdir(folder)
            os.execvpe(words[0], words, environment)
        fcntl.ioctl(self.terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 100, 0, 0))
        self.seen = ""

    def type(self, keys: str) -> None:
        os.write(self.terminal, keys.encode())

    def until(self, pattern: str, seconds: float = 40) -> str:
        """What has come to stand on the terminal since the last time, once it matches; without colours and the like."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            plain = re.sub(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|\][^\x07]*\x07|[()][A-Z0-9]|[@-Z=>\\])", "", self.seen).replace(
                "\x08", ""
            )
            if re.search(pattern, plain):
                self.seen = ""
                return plain
            if select.select([self.terminal], [], [], 0.2)[0]:
                try:
                    self.seen += os.read(self.terminal, 65536).decode("utf-8", "replace")
                except OSError:
                    break
        raise AssertionError(f"`{pattern}` did not come; the terminal has {self.seen!r}")

    def close(self) -> None:
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.terminal)


@pytest.fixture(params=sorted(START))
def shell(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Shell]:
    name = request.param
    if shutil.which(name) is None:
        assert name != "bash", "bash is needed"
        pytest.skip(f"there is no {name}")
    (tmp_path / "tide-line.stitch").write_text("stitch tide\n1: K T\n2: K\n", "utf-8")
    started = Shell(name, tmp_path)
    try:
        started.type(started.setup + "; echo rea''dy\n")
        started.until(r"ready")
        yield started
    finally:
        started.close()


def test_the_tab_key(shell: Shell) -> None:
    """Commands, options, the words of a choice, machines, codes and names of files, one after another on one line."""
    shell.type("stitchc she\t")
    shell.until(r"she.*et ")
    shell.type("tide-\t")
    shell.until(r"(?:tide)?-?line\.stitch ")
    shell.type("--mach\t")
    shell.until(r"ine ")
    shell.type("hand-b\t")
    shell.until(r"ulky ")
    shell.type("--carr\t")
    shell.until(r"iage ")
    shell.type("lef\t")
    shell.until(r"t ")
    shell.type("| head -n 1\n")
    shell.until(r"tide: needle sheet")
    shell.type("stitchc explain K20\t\t")
    said = shell.until(r"K209")
    assert "K201" in said and "K208" in said

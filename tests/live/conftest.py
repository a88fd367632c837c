"""A live page as a user starts it: a process of its own, its address on the first line."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect

expect.set_options(timeout=20_000)  # a busy machine is slow, not wrong

Start = Callable[..., "Served"]


class Served:
    """A running `stitchc live`."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        environment = {**os.environ, "XDG_CACHE_HOME": str(folder / ".cache"), "HOME": str(folder)}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "stitchc", "live", "--no-open", *arguments],
            cwd=folder,
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().strip()

    @property
    def port(self) -> int:
        """Where it listens."""
        return int(self.address.split(":")[2].split("/")[0])

    @property
    def path(self) -> str:
        """The address without the host, up to the secret part's slash."""
        return "/" + self.address.split("/")[3] + "/"

    def end(self, number: int = 15) -> int:
        """The exit status after a signal."""
        if self.process.poll() is None:
            self.process.send_signal(number)
        return self.process.wait(10)


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    """Start live pages that end with the test."""
    running: list[Served] = []

    def begin(*arguments: str, folder: Path = tmp_path) -> Served:
        running.append(Served(folder, *arguments))
        return running[-1]

    yield begin
    for served in running:
        served.end()

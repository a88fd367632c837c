"""Two programs timed in turn, so that a busy machine slows both alike."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]


def seconds(words: list[str], folder: Path) -> float:
    """How long Python takes with these words, run in that folder on this checkout."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    start = time.perf_counter()
    subprocess.run([sys.executable, *words], cwd=folder, check=True, capture_output=True, env=environment)
    return time.perf_counter() - start


def ratio(one: list[str], two: list[str], folder: Path, rounds: int = 21) -> float:
    """The median of one's time over two's, taken in turn."""
    seconds(one, folder), seconds(two, folder)
    return statistics.median(seconds(one, folder) / seconds(two, folder) for _ in range(rounds))

"""How long a picture takes, the whole process counted. Run on demand: pytest --bench tests/fabric/test_speed.py."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

pytestmark = [pytest.mark.bench, pytest.mark.slow]

UP_TO_16_CELLS = {
    "plain": "1: K",
    "ripple": "1: K T\n 2: K",
    "pique": "1-2: K T\n 3-4: T K",
    "columns": "1-2: K T\n 3: K",
    "slip": "1: K S\n 2: S K",
    "bars": "1-4: K T\n 5: K",
    "long-slip": "1-6: K S\n 7-8: K",
    "honeycomb": "1: K3 T\n 2: K\n 3: K T K2\n 4: K",
    "uneven": "1: K T S K\n 2: K\n 3: S K2 T\n 4: T K3",
}


def seconds(text: str, folder: Path) -> float:
    """Processor time of `stitchc picture`, both sides, with an empty cache: on an idle machine, the time taken."""
    (folder / "t.stitch").write_text(text)
    environment = {**os.environ, "XDG_CACHE_HOME": str(folder / "cache"), "HOME": str(folder)}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, "-m", "stitchc", "picture", "t.stitch", "-o", "t.png"],
        cwd=folder,
        env=environment,
        check=True,
        capture_output=True,
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


@pytest.mark.parametrize("name", UP_TO_16_CELLS)
def test_up_to_16_cells_in_4_seconds(name: str, tmp_path: Path) -> None:
    assert seconds(f"stitch x\n {UP_TO_16_CELLS[name]}\n", tmp_path) < 4


@pytest.mark.parametrize("letter", ["T", "S"])
def test_24_by_24_in_60_seconds(letter: str, tmp_path: Path) -> None:
    random = np.random.default_rng(11)
    rows = []
    for row in range(24):
        held = (random.random(24) < 0.25) & (row % 2 == 0)
        held[1:] &= ~held[:-1]
        rows.append(f"{row + 1}: " + "".join(letter if each else "K" for each in held))
    assert seconds("stitch x\n " + "\n ".join(rows) + "\n", tmp_path) < 60

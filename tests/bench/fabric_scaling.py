"""How the time of `stitchc picture` grows with the cells of a repeat.

Each figure is the processor time and the peak memory of a whole process with an empty cache, both sides drawn. Given
the folder of another version's source, its figures are measured in turn with ours: `fabric_scaling.py [OTHER]`.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Final

import numpy as np

HERE: Final = Path(__file__).parent
ROOT: Final = HERE.parents[1]
SIZES: Final = ((2, 4), (4, 8), (8, 8), (12, 12), (24, 24), (24, 60))
_RUN: Final = (
    "import resource, sys\nfrom stitchc.__main__ import run\nstatus = run(sys.argv[1:])\n"
    "used = resource.getrusage(resource.RUSAGE_SELF)\n"
    "print('used', status, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)"
)


def pattern(needles: int, rows: int, letter: str) -> str:
    """Every other row holds a quarter of its needles, no two of them neighbours, in no order."""
    random = np.random.default_rng(11)
    lines = ["stitch x"]
    for row in range(rows):
        held = (random.random(needles) < 0.25) & (row % 2 == 0)
        held[1:] &= ~held[:-1]
        lines.append(f" {row + 1}: " + "".join(letter if each else "K" for each in held))
    return "\n".join(lines) + "\n"


def measured(source: Path, text: str) -> tuple[float, float]:
    """Seconds of processor time, and megabytes."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "t.stitch").write_text(text)
        environment = {**os.environ, "PYTHONPATH": str(source), "HOME": folder, "XDG_CACHE_HOME": f"{folder}/cache"}
        words = [sys.executable, "-P", "-c", _RUN, "picture", "t.stitch", "-o", "t.png"]
        done = subprocess.run(
            words, cwd=folder, env=environment | {"OMP_NUM_THREADS": "1"}, capture_output=True, text=True, check=True
        )
        _, status, seconds, megabytes = done.stdout.splitlines()[-1].split()
        assert status == "0", done.stderr
        return float(seconds), float(megabytes)


def main(others: list[str]) -> None:
    sources = {"this version": ROOT, **{Path(other).name: Path(other) for other in others}}
    for letter, kind in (("T", "tuck"), ("S", "slip")):
        for needles, rows in SIZES:
            for name, source in sources.items():
                seconds, megabytes = measured(source, pattern(needles, rows, letter))
                print(f"{kind} {needles:2} x {rows:2}  {name:14} {seconds:7.2f} s {megabytes:6.0f} MB", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])

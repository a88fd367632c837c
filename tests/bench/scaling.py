"""How time grows with the chart, from 1,000 to 1,000,000 cells: a table of figures.

Each figure is the processor time of a whole command in a process of its own, less what the same command takes for a
chart of two cells: what is left is the chart's. Run by hand, some minutes: `.venv/bin/python tests/bench/scaling.py`.
"""

from __future__ import annotations

import math
import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path
from random import Random
from typing import Final

HERE: Final = Path(__file__).parent
ROOT: Final = HERE.parents[1]

SIZES: Final = {1_000: (20, 50), 10_000: (100, 100), 100_000: (180, 556), 1_000_000: (180, 5556)}
"""Cells: (needles, rows). As wide as a bed where it goes."""

COMMANDS: Final = {
    "check": ("check",),
    "chart, text": ("chart", "-o", "out.txt", "--force"),
    "chart, JSON": ("chart", "-o", "out.json", "--force"),
    "gauge": ("gauge", "-o", "gauge.txt", "--force"),
    "bitmap": ("bitmap", "-o", "out.png", "--force", "--anyway"),
    "format": ("format", "-o", "out.stitch", "--force"),
    "sheet, text": ("sheet", "-o", "out.txt", "--force", "--anyway"),
    "sheet, JSON": ("sheet", "-o", "out.json", "--force", "--anyway"),
    "card, list": ("card", "-o", "out-card.txt", "--force", "--anyway"),
}


def built(needles: int, rows: int) -> str:
    """A chart from a small repeat by `across` and `up`."""
    across, up = math.ceil(needles / 4), math.ceil(rows / 4)
    return f"stitch seed\n 1: K3 T\n 2: K\n 3: K T K2\n 4: K\nstitch big = seed across {across} up {up}\n"


def written(needles: int, rows: int) -> str:
    """A chart written out row by row, no two tucks side by side, every other row plain."""
    chance = Random(7)
    lines = ["stitch big"]
    for number in range(1, rows + 1):
        row = "K"
        while len(row) < needles:
            row += "T" + "K" * chance.choice((2, 3, 5)) if number % 2 else "K"
        lines.append(f" {number}: {row[: needles - 1]}K")
    return "\n".join(lines) + "\n"


WRITINGS: Final = {"built by across and up": built, "written row by row": written}


def seconds(words: tuple[str, ...], folder: Path, most: float = 120.0) -> float:
    """Processor time of a stitchc command on big.stitch."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "XDG_CACHE_HOME": str(folder / "cache")}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, "-m", "stitchc", words[0], "big.stitch", *words[1:]],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        timeout=most,
    )
    if done.returncode:
        raise SystemExit(f"stitchc {' '.join(words)}: {done.stderr or done.stdout}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def measure(folder: Path) -> dict[str, dict[str, list[float]]]:
    """Seconds above those of a tiny chart, by writing and command, in the order of SIZES; the least of two runs."""
    found: dict[str, dict[str, list[float]]] = {writing: {} for writing in WRITINGS}
    file = folder / "big.stitch"
    for command, words in COMMANDS.items():
        file.write_text("stitch big\n 1: K T\n 2: K\n", encoding="utf-8")
        seconds(words, folder)
        start = min(seconds(words, folder) for _ in range(3))
        for writing, write in WRITINGS.items():
            row = found[writing].setdefault(command, [])
            for cells, (needles, rows) in SIZES.items():
                file.write_text(write(needles, rows), encoding="utf-8")
                row.append(min(seconds(words, folder) for _ in range(2 if cells < 1_000_000 else 1)) - start)
        print(command, *(f"{each[command][-1]:.2f}" for each in found.values()), flush=True)
    return found


def table(found: dict[str, dict[str, list[float]]]) -> str:
    """The figures in Markdown. Growth: the power of the cells with which time grows over the last factor of ten."""
    lines = []
    for writing, rows in found.items():
        head = " | ".join(f"{cells:,}" for cells in SIZES)
        lines += [f"Chart {writing}, seconds above start-up:", "", f"| command | {head} | growth |", "| --- " * 6 + "|"]
        for command, times in rows.items():
            power = f"{math.log10(times[-1] / times[-2]):.2f}" if times[-2] > FLOOR else "–"
            shown = " | ".join(f"{time:.2f}" if time >= FLOOR else "< 0.02" for time in times)
            lines.append(f"| {command} | {shown} | {power} |")
        lines.append("")
    return "\n".join(lines)


FLOOR: Final = 0.02
"""Seconds below which start-up's own scatter hides the rest."""


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        figures = measure(Path(place))
    (HERE / "scaling.md").write_text(
        "# How time grows\n\nMade by `scaling.py`, which says how.\n\n" + table(figures),
        encoding="utf-8",
    )

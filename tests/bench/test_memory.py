"""How much memory the largest chart takes: the peak of the whole process, for every command that can take one.

The peak is VmHWM of the process itself (Linux, proc(5)); ru_maxrss would begin with that of the one that started it.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = [pytest.mark.bench, pytest.mark.slow]

ROOT = Path(__file__).parents[2]
MOST_MIB = 200

SEED = "stitch seed\n 1: K T\n 2: K\n"
BUILT = SEED + "stitch big = seed across 100 up 10000\n"
LONG = SEED + "stitch big = seed across 2 up 500000\n"
FOR_A_CARD = SEED + "stitch big = seed across 2 up 2500\n"
FOR_A_BED = SEED + "stitch big = seed across 90 up 10980\n"  # with the edges 182 needles by 21,960 rows
WRITTEN = "stitch big\n" + "".join(f"{n}: {'KKTKKKT' * 27 if n % 2 else 'K' * 189}K\n" for n in range(1, 21001))

RUN = """
import sys
from stitchc.__main__ import run
try:
    code = run(sys.argv[1:])
except SystemExit as error:
    code = error.code
with open("/proc/self/status") as status:
    peak = next(line for line in status if line.startswith("VmHWM")).split()[1]
print("peak", peak, code or 0, file=sys.__stdout__)
"""


def peak_mib(words: str, folder: Path) -> float:
    done = subprocess.run(
        [sys.executable, "-c", RUN, *words.split()],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    _, peak, code = done.stdout.splitlines()[-1].split()
    assert code == "0", done.stderr
    return int(peak) / 1024


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="the system does not tell a process its peak")
@pytest.mark.parametrize(
    ("text", "words"),
    [
        *((BUILT, words) for words in ("check", "chart -o o.txt", "chart -o o.json", "bitmap -o o.png --anyway")),
        *((BUILT, words) for words in ("gauge -o g.txt", "format -o o.stitch")),
        (FOR_A_CARD, "card -o o-card.json --anyway"),
        (FOR_A_CARD, "card -o o-card.pdf --anyway"),
        (LONG, "chart -o o.json"),
        *((FOR_A_BED, words) for words in ("sheet -o s.txt", "sheet -o s.json", "sheet -o s.html")),
        *((WRITTEN, words) for words in ("check", "chart -o o.json", "gauge -o g.txt")),
    ],
    ids=lambda value: value if len(value) < 60 else "written" if value == WRITTEN else "built",
)
def test_four_million_cells_in_200_mib(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, words: str
) -> None:
    (tmp_path / "big.stitch").write_text(text, encoding="utf-8")
    command, *further = words.split()
    found = peak_mib(" ".join([command, "big.stitch", *further]), tmp_path)
    with capsys.disabled():
        print(f"\n{words}: {found:.0f} MiB")
    assert found < (300 if text == LONG else MOST_MIB), "a million rows have a million entries in each list"

"""How long it takes to start and to read, against processes that do next to nothing with the same imports.

Medians of ratios of processes taken in turn, so that a busy machine slows both alike.
"""

from __future__ import annotations

import compileall
from pathlib import Path
from random import Random

import pytest

from tests.bench.pairs import ROOT, ratio

pytestmark = pytest.mark.bench

SMALL = 'pattern "Tide line"\nstitch ripple\n    1: K T\n    2: K\nstitch drift = ripple then ripple shifted 1\n'

SCAN = """
import click, lark, numpy, re, sys
text = open(sys.argv[1], encoding="utf-8").read()
row = re.compile(r"([0-9]+)\\s*:\\s*([KTS0-9 ]+)")
print(sum(len(match[2]) for match in row.finditer(text)))
"""


@pytest.fixture(autouse=True, scope="module")
def _compiled() -> None:
    """As after an installation, whatever the environment says of bytecode."""
    compileall.compile_dir(ROOT / "stitchc", quiet=1)


def said(capsys: pytest.CaptureFixture[str], what: str, found: float) -> None:
    with capsys.disabled():
        print(f"\n{what}: {found:.2f}")


def letters(chance: Random) -> str:
    return "".join(chance.choice("KKKKT") for _ in range(200))


def runs(chance: Random) -> str:
    left, out = 200, []
    while left:
        count = min(left, chance.randrange(1, 9))
        left -= count
        out.append(chance.choice("KT") + (str(count) if count > 1 else ""))
    return " ".join(out)


@pytest.mark.parametrize("cells", [letters, runs])
def test_two_thousand_rows_under_two_and_a_half_scans(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], cells: object
) -> None:
    chance = Random(5)
    rows = [f"    {number}: {cells(chance)}\n" for number in range(1, 2001)]  # type: ignore[operator]
    (tmp_path / "big.stitch").write_text("stitch big\n" + "".join(rows), encoding="utf-8")
    (tmp_path / "scan.py").write_text(SCAN, encoding="utf-8")
    check = ["-c", "import sys; from stitchc.__main__ import run; run(['check', 'big.stitch'])"]
    found = ratio(check, ["scan.py", "big.stitch"], tmp_path)
    said(capsys, f"check of 2,000 rows by 200 needles ({cells.__name__}), of a scan", found)  # type: ignore[attr-defined]
    assert found < 2.5


def test_a_small_check_under_one_and_a_quarter_of_its_imports(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "small.stitch").write_text(SMALL, encoding="utf-8")
    found = ratio(["-m", "stitchc", "check", "small.stitch"], ["-c", "import click, lark, numpy"], tmp_path)
    said(capsys, "check of a small file, of import click, lark, numpy", found)
    assert found < 1.25


def test_help_under_one_and_a_third_of_click(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = ratio(["-m", "stitchc", "--help"], ["-c", "import click"], tmp_path)
    said(capsys, "--help, of import click", found)
    assert found < 1.35

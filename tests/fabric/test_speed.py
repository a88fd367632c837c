"""How long a picture takes, the whole process counted. Run on demand: pytest --bench tests/fabric/test_speed.py."""

from __future__ import annotations

import pytest

from tests.bench.fabric_scaling import ROOT, measured, pattern

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


@pytest.mark.parametrize("name", UP_TO_16_CELLS)
def test_up_to_16_cells_in_2_seconds(name: str) -> None:
    assert measured(ROOT, f"stitch x\n {UP_TO_16_CELLS[name]}\n")[0] < 2


@pytest.mark.parametrize("letter", ["T", "S"])
@pytest.mark.parametrize("needles, rows, most_s, most_mb", [(24, 24, 8, 400), (24, 60, 16, 600)])
def test_large_repeats(needles: int, rows: int, most_s: float, most_mb: float, letter: str) -> None:
    seconds, megabytes = measured(ROOT, pattern(needles, rows, letter))
    assert seconds < most_s and megabytes < most_mb

"""The figures of accuracy.txt are of what accuracy.py measures, and a sample of it measured anew agrees with them."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from accuracy import FIGURES, SOURCES, SPOILT, Source, Tally, measure


def kept() -> dict[str, list[float]]:
    """The columns of each line of the table, by its name."""
    names = [*SPOILT, *(source.name for source in SOURCES)]
    found = {}
    for line in FIGURES.read_text("utf-8").splitlines():
        for name in names:
            if line[:62].rstrip() == name:
                found[name] = [float(word.rstrip("%")) for word in line[62:].split()]
    assert list(found) == names
    return found


def test_no_chart_was_read_in_another_size_and_hardly_a_cell_wrong_without_a_warning() -> None:
    for name, (charts, found, astray, cells, _, unwarned, _, right) in kept().items():
        assert astray == 0 and unwarned <= cells / 10_000 and right >= 99.9, name
        assert found >= charts / 4, name


@pytest.mark.parametrize("source", SOURCES, ids=lambda source: source.name)
def test_a_sample_agrees_with_the_figures(source: Source) -> None:
    tally = Tally()
    by_turns = ("turned 3 degrees", "grain, sigma 20 of 255"), ("light falling off 50 %", "JPEG, quality 30")
    for name in by_turns[SOURCES.index(source) % 2]:
        measure(source, SPOILT[name], range(1), tally)
    assert (tally.found, tally.astray, tally.wrong) == (tally.charts, 0, 0)

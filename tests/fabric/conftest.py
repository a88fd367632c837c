"""The fabric tests: a cache folder of their own, and a few relaxed repeats shared by all."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path

import pytest

from stitchc.chart import Chart
from stitchc.fabric import PLAIN_CELL, Fabric, relax, relax_free
from stitchc.fabric.start import SLIP_FED

RelaxAt = Callable[[str, float, float], Fabric]


@pytest.fixture(autouse=True)
def cache_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty cache folder, whatever the system keeps it in."""
    folder = tmp_path / "cache"
    for name in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(folder))
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    return folder / "stitchc" / "fabrics"


def chart_of(rows: str) -> Chart:
    """From "KT/KK"."""
    return Chart.from_rows(rows.split("/"))


@functools.cache
def at_gauge(rows: str, stitch_factor: float, row_factor: float) -> Fabric:
    """Relaxed at a gauge given as factors over plain's."""
    return relax(chart_of(rows), PLAIN_CELL[0] / stitch_factor, PLAIN_CELL[1] / row_factor)


@functools.cache
def at_free_cell(rows: str, slip_fed: float = SLIP_FED) -> Fabric:
    """Relaxed with its cell."""
    return relax_free(chart_of(rows), slip_fed)

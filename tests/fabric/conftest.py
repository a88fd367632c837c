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


@pytest.fixture(scope="session")
def session_cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("cache")


@pytest.fixture
def one_cache(cache_folder: Path, session_cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One cache folder for all tests that ask for it, so that each repeat is relaxed once."""
    for name in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(session_cache))


def chart_of(rows: str) -> Chart:
    """From "KT/KK"."""
    return Chart.from_rows(rows.split("/"))


@functools.cache
def at_gauge(rows: str, stitch_factor: float, row_factor: float) -> Fabric:
    """Relaxed at a gauge given as factors over plain's."""
    return relax(chart_of(rows), PLAIN_CELL[0] / stitch_factor, PLAIN_CELL[1] / row_factor)


def at_free_cell(rows: str, slip_fed: float = SLIP_FED) -> Fabric:
    """Relaxed with its cell."""
    return _at_free_cell(rows, slip_fed if "S" in rows else SLIP_FED)


@functools.cache
def _at_free_cell(rows: str, slip_fed: float) -> Fabric:
    return relax_free(chart_of(rows), slip_fed)


def on_demand(*values: object) -> object:
    """A case that takes long: with --bench alone."""
    return pytest.param(*values, marks=pytest.mark.bench)

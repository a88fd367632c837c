"""Kept fabrics: what is read back is what was kept, and nothing else is ever taken for a fabric."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from stitchc.cli import fabric_cache
from stitchc.cli.fabric_cache import FabricCache
from stitchc.fabric import Fabric, store
from stitchc.fabric.store import fabrics, name_of, pack, unpack
from tests.fabric.conftest import at_gauge, chart_of


@pytest.fixture
def fabric() -> Fabric:
    return at_gauge("KT/KK", 0.91, 1.37)


def test_there_and_back(fabric: Fabric) -> None:
    again = unpack(pack(fabric, "some-name"), "some-name", fabric.chart)
    assert again is not None
    assert again.chart == fabric.chart
    for one, other in zip(again.courses, fabric.courses, strict=True):
        assert np.array_equal(one, other) and not one.flags.writeable
    for field in ("cell_w", "cell_c", "diameter", "closest", "longer"):
        assert getattr(again, field) == getattr(fabric, field)


def test_reproducible_bytes(fabric: Fabric) -> None:
    assert pack(fabric, "n") == pack(fabric, "n")


def test_names_tell_fabrics_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    ripple = chart_of("KT/KK")
    names = {
        name_of(ripple, (0.25, 0.2), 0.24),
        name_of(ripple, (0.25, 0.21), 0.24),
        name_of(ripple, (0.25, 0.2), 0.32),
        name_of(ripple, None, 0.24),
        name_of(chart_of("KT/KT"), (0.25, 0.2), 0.24),
        name_of(chart_of("KS/KK"), (0.25, 0.2), 0.24),
    }
    assert len(names) == 6
    assert name_of(ripple.across(3), (0.25, 0.2), 0.24) in names, "a repeat written three times is the same fabric"
    monkeypatch.setattr(store, "_rules", lambda: "other code")
    assert name_of(ripple, (0.25, 0.2), 0.24) not in names, "relaxed by other rules"


def test_nothing_else_is_a_fabric(fabric: Fabric) -> None:
    good = pack(fabric, "n")
    assert unpack(good, "another-name", fabric.chart) is None
    for content in (b"", b"stitchc", good[:-1], good[: len(good) // 2], good + b"\0" * 8):
        assert unpack(content, "n", fabric.chart) is None
    random = np.random.default_rng(5)
    for place in random.integers(0, len(good), size=60).tolist():
        broken = bytearray(good)
        broken[place] ^= 1 << int(random.integers(0, 8))
        assert unpack(bytes(broken), "n", fabric.chart) is None


# -- the cache folder -------------------------------------------------------------------------------------------------

CELL = (0.25, 0.19)


def relaxed(rows: str, cell: tuple[float, float] = CELL) -> Fabric:
    """The last of the fabrics, by way of the cache folder."""
    *_, fabric = fabrics(chart_of(rows), cell, 0.23, FabricCache())
    return fabric


def test_a_repeat_is_relaxed_once(cache_folder: Path) -> None:
    one = relaxed("K")
    (path,) = cache_folder.glob("*")
    (other,) = fabrics(chart_of("KK/KK"), CELL, 0.23, FabricCache())
    assert all(map(np.array_equal, one.courses, other.courses))
    assert path.suffix == ".fabric"


def test_a_broken_cache_is_ignored_and_written_anew(cache_folder: Path) -> None:
    relaxed("K")
    (path,) = cache_folder.glob("*.fabric")
    good = path.read_bytes()
    path.write_bytes(bytes(500))
    assert len(list(fabrics(chart_of("K"), CELL, 0.23, FabricCache()))) > 1
    assert path.read_bytes() == good


def test_no_place_for_a_cache_costs_only_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    in_the_way = tmp_path / "a-file"
    in_the_way.write_text("not a folder")
    monkeypatch.setenv("XDG_CACHE_HOME", str(in_the_way))
    monkeypatch.chdir(tmp_path)
    assert relaxed("K").closest > 0.45
    monkeypatch.setattr("platformdirs.user_cache_path", lambda *a, **k: Path("~/.cache"))  # no home was found
    assert relaxed("K").closest > 0.45
    assert sorted(path.name for path in tmp_path.iterdir() if path.name != "cache") == ["a-file"]
    assert in_the_way.read_text() == "not a folder"


def test_old_fabrics_go_when_there_are_many(cache_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fabric_cache, "_MOST_FILES", 2)
    for wale in (0.24, 0.25, 0.26):
        relaxed("K", (wale, 0.19))
    assert len(list(cache_folder.glob("*.fabric"))) == 2

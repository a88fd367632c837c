"""`stitchc gauge --mechanics`: the second opinion, told apart from the estimate."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from stitchc.__main__ import run
from stitchc.fabric import relax_free, relaxation
from stitchc.fabric.energy import Ground
from tests.fabric.conftest import at_free_cell, chart_of, on_demand
from tests.fabric.predict import Row, predicted, published

pytestmark = pytest.mark.usefixtures("one_cache")

PATTERN = "stitch plainish\n 1: K\nstitch ripple\n 1: K T\n 2: K\nstitch never\n 1: K S\n"


@pytest.fixture
def pattern(tmp_path: Path) -> str:
    path = tmp_path / "t.stitch"
    path.write_text(PATTERN)
    return str(path)


def test_as_text(pattern: str, capfd: pytest.CaptureFixture[str]) -> None:
    assert run(["gauge", pattern, "--mechanics"]) == 0
    out = capfd.readouterr().out
    assert out.count("second opinion") == 3
    assert "from the mechanics of yarn: 1.00 times the stitches" in out
    assert "none. The fabric can't be drawn: needle 2 of the repeat never knits" in out
    assert run(["gauge", pattern]) == 0
    assert "second opinion" not in capfd.readouterr().out


def test_as_json(pattern: str, capfd: pytest.CaptureFixture[str]) -> None:
    assert run(["gauge", pattern, "--mechanics", "--format", "json"]) == 0
    plain, ripple, never = json.loads(capfd.readouterr().out)["stitches"]
    assert plain["mechanics"] == {"stitch_factor": 1.0, "row_factor": 1.0}
    # Trial relaxations over many parameters gave 1.29 to 1.78 times the rows. Single tucks on every other needle were
    # knitted at 0.78 (A4), 0.93 (N1) and 0.94 (A3) times the stitches, on other grounds (tests/gauge/published.csv).
    # The trials' firm yarn gave 0.91 to 1.11, which is in part against the trade.
    assert 1.29 <= ripple["mechanics"]["row_factor"] <= 1.78
    assert 0.78 <= ripple["mechanics"]["stitch_factor"] <= 0.94
    assert never["mechanics"]["row_factor"] is None and "never knits" in never["mechanics"]["reason"]
    assert run(["gauge", pattern, "--format", "json"]) == 0
    assert "mechanics" not in json.loads(capfd.readouterr().out)["stitches"][0]


DIRECTIONS = ("KT/KK", "KT/TK", "KT/KK/TK/KK", "KT/KT/TK/TK", "KT/KT/KK", "KKT/KTK/TKK", "KKTT/KKTK/KKKK")


@pytest.mark.parametrize("rows", [each if each in ("KT/KK", "KT/KT/TK/TK") else on_demand(each) for each in DIRECTIONS])
def test_tuck_widens_and_slip_narrows_as_the_trade_has_it(rows: str) -> None:
    """Float fabrics are narrower than plain (Spencer, Knitting Technology, 3rd ed., the float stitch); tuck fabrics are
    wider and shorter (the same, chapter 13). Nothing in the model was fitted to either."""
    plain, tuck, slip = (at_free_cell(each) for each in ("K", rows, rows.replace("T", "S")))
    assert tuck.cell_w > plain.cell_w > slip.cell_w
    assert plain.cell_c > slip.cell_c > tuck.cell_c


# Rows: repeat, F_c and its range, F_w and its range. From trial relaxations of this model with some 40 sets of
# parameters, made before and apart from this program; not from any swatch. They are of firm yarn that springs back from
# every bend and is not pulled, so they prove the calculation, with that yarn; what the program says of gauge, with soft
# yarn, is held against what was knitted, below.
TRIALS: list[tuple[str, float | None, float, float, float | None, float, float]] = [
    ("KT/KK", 1.39, 1.29, 1.78, 0.94, 0.91, 1.11),
    ("KT/TK", 1.96, 1.66, 2.12, 0.72, 0.69, 1.08),
    ("KT/KT/TK/TK", 2.13, 2.00, 2.49, 0.75, 0.63, 0.83),
    ("KT/KK/TK/KK", 1.47, 1.41, 1.55, 0.84, 0.82, 0.88),
    ("KT/KT/KK", None, 2.2, 2.4, None, 0.83, 0.98),
    ("KKKT/KKKK", 1.16, 1.11, 1.35, 0.99, 0.97, 1.12),
    ("KS/SK", 1.59, 1.55, 1.63, 1.03, 1.00, 1.09),
    ("KS/KK", 1.24, 1.10, 1.27, 0.90, 0.88, 1.00),
    ("KS/KK/SK/KK", 1.27, 1.23, 1.28, 1.02, 1.00, 1.08),
    ("KS/KS/KS/KK", 1.43, 1.32, 1.51, 0.98, 0.89, 1.32),
    ("/".join(["KS"] * 8 + ["KK"] * 2), 2.21, 2.05, 2.25, 0.97, 0.95, 1.12),
]


QUICK_TRIALS = ("KT/KK", "KT/TK", "KT/KT/TK/TK", "KS/SK", "KS/KK")


@pytest.mark.parametrize("trial", [trial if trial[0] in QUICK_TRIALS else on_demand(trial) for trial in TRIALS])
def test_the_free_cell_agrees_with_trial_relaxations(
    trial: tuple[str, float | None, float, float, float | None, float, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(relaxation, "MEASURED", Ground(3000.0, 0.0))
    monkeypatch.setattr(relaxation, "_PULLS", 0)
    rows, f_c, least_c, most_c, f_w, least_w, most_w = trial
    plain, fabric = relax_free(chart_of("K")), relax_free(chart_of(rows), 0.43)  # what the trials fed to a slip
    got_w, got_c = plain.cell_w / fabric.cell_w, plain.cell_c / fabric.cell_c
    # Within the range that the parameters span (2 % for rounding and other node counts), and near the middle figure.
    assert least_c * 0.98 <= got_c <= most_c * 1.02 and least_w * 0.98 <= got_w <= most_w * 1.02
    if f_c is not None and f_w is not None:
        assert got_c == pytest.approx(f_c, rel=0.07) and got_w == pytest.approx(f_w, rel=0.05)


QUICK = ("KT/TK", "KS/SK", "KK/KS", "K")
FARTHER = {"B1": 0.28, "C6": 0.30}
"""Eight rows held stand far off the plane; C6 is the repeat of C5, knitted 22 % longer."""


@pytest.mark.parametrize("row", [row if row.repeat in QUICK else on_demand(row) for row in published()], ids=str)
def test_near_what_was_knitted(row: Row) -> None:
    """Published gauges (their sources: tests/gauge/published.csv), each on the ground that it was knitted on. Those of
    garter stitch alone chose the yarn, together with plain; no figure of tuck or slip did, but that fabric is pulled
    before it is let go was added after A3 had been seen to come out short (predicted.md)."""
    most = 0.22 if row.repeat == "K" else FARTHER.get(row.name, 0.17)
    assert abs(math.log(predicted(row) / row.knitted)) < most


@pytest.mark.bench
def test_near_what_was_knitted_in_the_mean() -> None:
    off = [abs(math.log(predicted(row) / row.knitted)) for row in published() if row.repeat != "K"]
    assert sum(off) / len(off) < 0.10

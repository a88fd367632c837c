"""The priors: made again from the published rows, right in direction, and honest about what they miss."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from stitchc.chart import Chart
from stitchc.gauge import PlainGauge, estimate, fit
from stitchc.gauge.features import features_of
from stitchc.gauge.model import PARAMETERS, design, from_toml, shipped

HERE = Path(__file__).parent
ROWS = fit.published_rows()


def chart(text: str) -> Chart:
    return Chart.from_rows(text.split("/"))


def factors(text: str) -> tuple[float, float]:
    gauge = estimate({"it": chart(text)}).of("it")
    return gauge.stitch_factor.value, gauge.row_factor.value


def test_the_shipped_priors_are_the_fit() -> None:
    again = from_toml(tomllib.loads(fit.as_toml(fit.fit(ROWS))))
    assert np.allclose(again.mean, shipped().mean, atol=2e-4)
    assert np.allclose(again.covariance, shipped().covariance, atol=2e-5)
    assert (again.tape_mm, again.fabric_sd) == (shipped().tape_mm, shipped().fabric_sd)


def test_the_kept_report_is_true() -> None:
    assert (HERE / "leave_one_out.txt").read_text(encoding="utf-8") == fit.as_report(ROWS)


def test_every_correlation_matrix_is_one() -> None:
    assert np.linalg.eigvalsh(shipped().covariance).min() > 0


def test_published_rows_left_out_are_missed_by_little_and_held_by_their_ranges() -> None:
    """Sources: published.csv, by title. Nine in ten of thirteen: at least ten (binomial, 1 in 30 would have fewer)."""
    misses = fit.leave_one_out(ROWS)
    assert {miss.row for miss in misses} == {"A1", "A3", "A4", "B1", "B2", "C1", "C2", "C4", "C5", "C6"}
    assert sum(miss.low <= miss.published <= miss.high for miss in misses) >= 10
    assert sum(abs(miss.off_by) for miss in misses) / len(misses) < 0.17


RATIOS = [row for row in ROWS if row.rows is not None and row.repeat and row.used]


@pytest.mark.parametrize("row", RATIOS, ids=lambda row: row.id)
def test_every_usable_row_is_in_the_range_of_its_ratio(row: fit.PublishedRow) -> None:
    """rows/stitches of each usable published row, by the figures shown, with the plain gauge of its source, or
    by hand the 1.37 of 31 published hand gauges, or 1.43 (1.2 to 1.7) on a machine."""
    plain_stitches = row.plain_stitches or 20.0
    plain_rows = row.plain_rows or plain_stitches * (1.37 if row.made == "hand" else 1.43)
    gauge = estimate({"it": Chart.from_rows(row.repeat)}, plain=PlainGauge(plain_stitches, plain_rows)).of("it")
    wide, long = gauge.stitches_per_10cm, gauge.rows_per_10cm
    assert wide is not None and long is not None and row.rows is not None
    low, high = long.low / wide.high, long.high / wide.low
    assert low <= row.rows / row.stitches <= high
    assert high / low < 2.6
    assert abs(long.value / wide.value / (row.rows / row.stitches) - 1) < (0.15 if row.ground == "plain" else 0.36) or (
        row.made == "machine"
    )


def test_rows_over_stitches_are_missed_by_under_fifteen_percent_on_average() -> None:
    misses = []
    for row in RATIOS:
        assert row.rows is not None
        width, rows = factors("/".join(row.repeat))
        plain = row.plain_rows / row.plain_stitches if row.plain_rows and row.plain_stitches else None
        ratio = rows / width * (plain or (1.37 if row.made == "hand" else 1.43))
        misses.append(abs(ratio / (row.rows / row.stitches) - 1))
    assert sum(misses) / len(misses) < 0.15


TUCKS = ["KT/KK", "KT/TK", "KT/KT/TK/TK", "KT/KK/TK/KK", "KT/KT/KK", "KKKT/KKKK", "KKKKKKKT/KKKKKKKK", "KTTK/KKKK"]
SLIPS = ["KS/SK", "KS/KK", "KS/KK/SK/KK", "KS/KS/KS/KK", "KKKKKKKS/KKKKKKKK", "KSSK/KKKK"]


@pytest.mark.parametrize("text", TUCKS)
def test_tuck_widens_and_shortens(text: str) -> None:
    width, rows = factors(text)
    assert width < 1 < rows


@pytest.mark.parametrize("text", SLIPS)
def test_slip_narrows_and_shortens(text: str) -> None:
    width, rows = factors(text)
    assert width > 1 and rows > 1


@pytest.mark.parametrize("text", TUCKS)
def test_tuck_and_slip_with_the_same_holds_differ_mostly_in_width(text: str) -> None:
    tucked, slipped = factors(text), factors(text.replace("T", "S"))
    assert math.log(slipped[0] / tucked[0]) > 0
    if text in ("KT/TK", "KT/KT/TK/TK"):
        assert math.log(slipped[0] / tucked[0]) > 0.25


def test_tuck_widening_saturates_early() -> None:
    """Samplers of one-row tucks, 1 needle in 2 to 1 in 8 of all cells, came out about equal in width (second-hand)."""
    widths = [factors(f"{'K' * (n - 1)}T/{'K' * n}")[0] for n in (2, 3, 4)]
    assert max(widths) / min(widths) < 1.05
    dense = factors("KT/TK")[0]
    assert 0.75 < dense < 0.97  # 95 % range of the textbook and garment figures


def test_long_holds_give_back() -> None:
    """(KS x8)/KK/KK has K = 4.6; taken as it is that would be 4.6, and 2.2 to 3.1 was knitted or relaxed."""
    rows = factors("/".join(["KS"] * 8 + ["KK", "KK"]))[1]
    assert 2.2 < rows < 3.1


def test_relaxation_gives_a_second_opinion_inside_the_ranges() -> None:
    """F_c of yarn relaxations of single repeats (not fitted to any swatch): inside the range of nine in ten."""
    relaxed = {"KT/KK": 1.39, "KT/TK": 1.96, "KT/KT/TK/TK": 2.13, "KT/KK/TK/KK": 1.47, "KKKT/KKKK": 1.16, "KS/SK": 1.59}
    relaxed |= {"KS/KK": 1.24, "KS/KK/SK/KK": 1.27, "KS/KS/KS/KK": 1.43}
    for text, value in relaxed.items():
        gauge = estimate({"it": chart(text)}).of("it").row_factor
        assert gauge.low < value < gauge.high, text


def test_design_is_nothing_for_plain() -> None:
    width, rows = design(features_of(Chart.plain(3, 5)))
    assert not width.any() and not rows.any()
    assert len(width) == len(PARAMETERS)


def test_no_person_shop_or_address_is_named_in_the_published_rows() -> None:
    text = (HERE.parents[1] / "stitchc" / "gauge" / "published.csv").read_text(encoding="utf-8")
    assert "http" not in text and "www" not in text

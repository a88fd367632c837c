"""Sizes into counts and back: against hand arithmetic, simulated knitters and a units library."""

from __future__ import annotations

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stitchc.chart import Chart
from stitchc.gauge.estimate import estimate
from stitchc.gauge.gauges import PlainGauge, Range
from stitchc.piece.size import common_unit, less, nearest, size_cm
from stitchc.piece.size_words import Units, in_both, size_words

UNITS = pint.get_application_registry()


@given(st.floats(5, 2000), st.floats(0.05, 3.0), st.integers(1, 40), st.integers(0, 6), st.floats(0, 50))
def test_no_count_of_whole_units_is_nearer(asked: float, per_mm: float, unit: int, fixed: int, seam: float) -> None:
    found = nearest(asked, per_mm, unit, fixed, seam)
    sizes = {n: (n * unit + fixed) / per_mm - seam for n in range(1, int((asked + seam) * per_mm / unit) + 3)}
    best = min(abs(size - asked) for size in sizes.values())
    if found is None:
        # Not even half a unit: the smallest that could be knitted is more than half a unit too large.
        assert sizes[1] - asked > unit / per_mm / 2 - 1e-6
        return
    assert abs(found.off_mm) == pytest.approx(best, abs=1e-6)
    assert (found.chosen.count - fixed) % unit == 0
    assert found.larger.count == found.chosen.count + unit
    assert found.smaller is None or found.smaller.count == found.chosen.count - unit


def test_the_common_repeat_is_taken_only_near_the_size() -> None:
    # 2 needles to the mm-tenth: 49 cm = 98 needles = 12 x 8 + 2; 46 cm = 92, the nearest 12 k + 2 is 6.5 % off.
    assert common_unit(490, 0.2, 4, [3], 2, 0) == 12
    assert common_unit(460, 0.2, 4, [3], 2, 0) == 4
    assert common_unit(490, 0.2, 24, [7, 5], 2, 0) == 24


def test_lengths_of_one_stitch_vary_together_and_of_several_as_simulated_knitters_do() -> None:
    """50,000 knitters drawn from the joint law: the range must hold nine in ten of their lengths."""
    charts = {"tuck": Chart.from_rows(["KT", "KK"]), "slip": Chart.from_rows(["KS", "SK"])}
    law = estimate(charts, plain=PlainGauge(20, 28)).joint()
    counts = {"plain": 60, "tuck": 200, "slip": 120}
    found = size_cm(law, counts, "rows")
    assert found is not None
    draws = np.random.default_rng(7).multivariate_normal(law.mean, law.covariance, 50_000)
    lengths = np.sum([10 * n * np.exp(-draws[:, law.place_of(name, "rows")]) for name, n in counts.items()], axis=0)
    inside = float(((lengths > found.low) & (lengths < found.high)).mean())
    assert inside == pytest.approx(0.9, abs=0.01)
    assert float(np.median(lengths)) == pytest.approx(found.value, rel=0.01)
    # One stitch: twice the rows are twice the length at either bound, since both halves are the same gauge.
    once, twice = (size_cm(law, {"tuck": n}, "rows") for n in (100, 200))
    assert once is not None and twice is not None
    for bound in ("low", "value", "high"):
        assert getattr(twice, bound) == pytest.approx(2 * getattr(once, bound))
    # Two stitches are never surer than full correlation would allow, nor less sure than none at all.
    parts = [size_cm(law, {name: n}, "rows") for name, n in counts.items()]
    summed_high = sum(part.high for part in parts if part is not None)
    summed_low = sum(part.low for part in parts if part is not None)
    assert summed_low <= found.low and found.high <= summed_high


def test_a_length_is_not_known_without_a_gauge() -> None:
    law = estimate({"tuck": Chart.from_rows(["KT", "KK"])}).joint()
    assert size_cm(law, {"tuck": 10}, "rows") is None
    assert size_cm(law, {}, "rows") is None


@pytest.mark.parametrize(
    ("cm", "units", "said"),
    [
        (59.5, "cm", "59.5 cm (23.4 in)"),
        (0.1, "cm", "0.1 cm (less than 0.1 in)"),
        (0.1, "in", "less than 0.1 in (0.1 cm)"),
        (0.14, "cm", "0.1 cm (0.1 in)"),
        (0.04, "cm", "less than 0.1 cm (less than 0.1 in)"),
        (0.0, "cm", "0.0 cm (0.0 in)"),
    ],
)
def test_what_rounds_to_nothing_is_said_to_be_small(cm: float, units: Units, said: str) -> None:
    assert in_both(cm, units) == said


def test_the_seam_is_a_fixed_length() -> None:
    assert less(Range(42, 40, 45), 2) == Range(40, 38, 43)
    assert less(Range(1, 0.5, 3), 2) == Range(0, 0, 1)


@pytest.mark.parametrize("cm", [1.0, 26.0, 59.46, 152.4])
def test_inches_are_those_of_a_units_library(cm: float) -> None:
    inches = (cm * UNITS.centimeter).to(UNITS.inch).magnitude
    assert in_both(cm, "cm") == f"{cm:.1f} cm ({inches:.1f} in)"
    assert in_both(cm, "in") == f"{inches:.1f} in ({cm:.1f} cm)"
    assert size_words([Range(cm, cm, cm)], "in").startswith(f"{inches:.1f} in, ")

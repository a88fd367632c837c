"""The energy: its gradient against differences, its metric, and what it forbids."""

from __future__ import annotations

import numpy as np
import pytest

from stitchc.fabric.energy import CONTACT, FRICTION, NO_SLIDING, POINT_SPACING, STRETCH, Energy, Ground, Yarn
from stitchc.fabric.metric import Metric
from stitchc.fabric.start import DIAMETER, NODES, START_COURSE, Floats, Layout, lay_out, start_shape
from tests.fabric.conftest import chart_of

SOFT = Yarn(contact=200.0, core=0.3, slips=5.0, fibres=0.2)


def crowded(rows: str, yarn: Yarn = SOFT) -> tuple[Energy, Layout, Floats, float, float]:
    """A start shape pressed together until strands touch, a little shaken, with every term at work."""
    layout = lay_out(chart_of(rows))
    start = start_shape(layout)
    w, c = 0.25, 0.15
    scale = np.array([[w], [c / START_COURSE], [0.12]])
    at = start * scale + np.random.default_rng(7).normal(0, 0.002, start.shape)
    energy = Energy(layout, Ground(3000.0, 800.0, yarn))
    fed = np.repeat(layout.fed / NODES, NODES)
    energy.rest(fed * 1.3, DIAMETER, at, w * layout.width)
    energy.lead(start * np.array([[1.0], [1 / START_COURSE], [0.2]]), 500.0)
    return energy, layout, at, w * layout.width, c * layout.height


@pytest.mark.parametrize("yarn", [Yarn(), SOFT])
@pytest.mark.parametrize("rows", ["KT/KK", "KTS/SKT/KKK", "KK/KK"])
def test_gradient_against_differences(rows: str, yarn: Yarn) -> None:
    energy, _, at, width, height = crowded(rows, yarn)
    _, gradient, growth = energy(at, width, height)
    random = np.random.default_rng(3)
    step = 1e-7
    for _ in range(12):
        direction = random.normal(size=at.shape)
        direction /= np.sqrt((direction**2).sum())
        ahead, behind = (energy(at + sign * step * direction, width, height)[0] for sign in (1, -1))
        assert (ahead - behind) / (2 * step) == pytest.approx(float((gradient * direction).sum()), rel=1e-5, abs=1e-3)
    for axis in (0, 1):
        grown = []
        for sign in (1, -1):
            factor = np.exp(sign * step)
            moved = at.copy()
            moved[axis] *= factor
            grown.append(energy(moved, width * factor if axis == 0 else width, height * factor if axis else height)[0])
        assert (grown[0] - grown[1]) / (2 * step) == pytest.approx(float(growth[axis]), rel=1e-5, abs=1e-3)


@pytest.mark.parametrize("yarn", [Yarn(), SOFT])
def test_every_single_coordinate_of_some_nodes(yarn: Yarn) -> None:
    energy, layout, at, width, height = crowded("KT/KK", yarn)
    _, gradient, _ = energy(at, width, height)
    step = 1e-7
    for node in range(0, layout.nodes, 7):
        for axis in range(3):
            values = []
            for sign in (1, -1):
                moved = at.copy()
                moved[axis, node] += sign * step
                values.append(energy(moved, width, height)[0])
            assert (values[0] - values[1]) / (2 * step) == pytest.approx(
                float(gradient[axis, node]), rel=1e-4, abs=0.05
            )


@pytest.mark.parametrize("rows", ["KK/KS", "KKTKK/KKKKK/KSKKT"])
@pytest.mark.parametrize("free", [False, True])
def test_the_metric_is_symmetric_and_positive_definite(rows: str, free: bool) -> None:
    energy, layout, at, width, height = crowded(rows)
    metric = Metric(energy, at, width, height, free)
    random = np.random.default_rng(2)
    vectors = random.normal(size=(8, 3 * layout.nodes + 2 * free))
    inner = vectors @ np.array([metric(vector) for vector in vectors]).T
    assert np.abs(inner - inner.T).max() < 1e-6 * np.abs(inner).max()
    assert np.linalg.eigvalsh(inner).min() > 0


def test_where_nothing_is_averaged_the_metric_is_the_inverse_of_the_second_derivatives() -> None:
    """At the straight yarns of a stretched float there is no curvature that the metric leaves out."""
    layout = lay_out(chart_of("KK/KK"))
    energy = Energy(layout, Ground(3000.0, 0.0))
    at = np.zeros((3, layout.nodes))
    at[0] = np.tile(np.arange(layout.course_nodes) / layout.course_nodes * 2.0 - 0.5, 2)
    at[1] = np.repeat(np.arange(2), layout.course_nodes) * 5.0
    energy.rest(np.full(layout.nodes, 2.0 / layout.course_nodes / 1.01), DIAMETER, at, 2.0)
    metric = Metric(energy, at, 2.0, 10.0, False)
    random = np.random.default_rng(4)
    move = random.normal(size=at.shape) * 1e-7
    move -= move.reshape(3, 2, -1).mean(axis=2).repeat(layout.course_nodes, axis=1)  # nothing holds a course's place
    change = energy(at + move, 2.0, 10.0)[1] - energy(at - move, 2.0, 10.0)[1]
    again = metric(change.ravel()).reshape(at.shape) / 2
    assert np.abs(again - move)[1:].max() < 0.03 * np.abs(move).max()


def test_a_straight_taut_yarn_by_hand() -> None:
    # Two courses of floats far apart: nothing but stretch, EA / 2 * length * strain^2 for each.
    layout = lay_out(chart_of("KK/KK"))
    energy = Energy(layout, Ground(3000.0, 0.0))
    n = layout.course_nodes
    at = np.zeros((3, layout.nodes))
    at[0] = np.tile(np.arange(n) / n * 2.0 - 0.5, 2)
    at[1] = np.repeat(np.arange(2), n) * 5.0
    length = np.full(layout.nodes, 2.0 / n / 1.01)
    energy.rest(length, DIAMETER, at, 2.0)
    value, gradient, _ = energy(at, 2.0, 10.0)
    assert value == pytest.approx(2 * STRETCH / 2 * (2.0 / 1.01) * 0.01**2, rel=1e-9)
    assert np.abs(gradient).max() < 1e-6


def test_two_crossing_yarns_by_hand() -> None:
    # k w w ((d/r)^2 + (r/d)^2 - 2) for one pair of points at half a diameter.
    layout = lay_out(chart_of("KK/KK"))
    energy = Energy(layout, Ground(3000.0, 0.0))
    n = layout.course_nodes
    at = np.zeros((3, layout.nodes))
    spacing = 1.0
    at[0] = np.tile((np.arange(n)) * spacing, 2)
    at[1] = np.repeat(np.arange(2), n) * (DIAMETER / 2)
    width, height = n * spacing, 50.0
    energy.rest(np.full(layout.nodes, spacing), DIAMETER, at, width)
    value, _, _ = energy(at, width, height)
    points_a_course = n * int(np.ceil(spacing / (POINT_SPACING * DIAMETER) - 1e-6))
    weight = width / points_a_course
    pairs_at = [0.0, weight, -weight]
    expected = 0.0
    for along in pairs_at:
        r = np.hypot(along, DIAMETER / 2)
        if r < DIAMETER:
            expected += points_a_course * CONTACT * weight**2 * ((DIAMETER / r) ** 2 + (r / DIAMETER) ** 2 - 2)
    assert value == pytest.approx(expected, rel=1e-6)
    assert energy.closest == pytest.approx(DIAMETER / 2)


def test_friction_gives_way() -> None:
    # Sliding is resisted like a spring at first and by no more than the friction in the end.
    layout = lay_out(chart_of("KK/KK"))
    energy = Energy(layout, Ground(3000.0, 0.0))
    at = np.zeros((3, layout.nodes))
    pulls = []
    for shift in (1e-5, 0.2):
        moved = at.copy()
        moved[0, layout.cell_at(1, 0).first] = shift
        gradient = np.zeros(layout.nodes)
        energy.along_x[0].pull(moved[0], gradient)
        pulls.append(float(gradient[layout.cell_at(1, 0).first]))
    assert pulls[0] == pytest.approx(NO_SLIDING * 1e-5 / 2, rel=1e-3)
    assert FRICTION * 0.9 < pulls[1] <= FRICTION


def test_a_strand_touches_its_own_copy_but_not_its_own_arc() -> None:
    # Two straight courses in a repeat so low that each lies as near to the other's copy above as to the other.
    layout = lay_out(chart_of("KK/KK"))
    energy = Energy(layout, Ground(3000.0, 0.0))
    n = layout.course_nodes
    at = np.zeros((3, layout.nodes))
    at[0] = np.tile(np.arange(n) * 0.02, 2)
    at[1] = np.repeat(np.arange(2), n) * 1.0
    width = n * 0.02
    energy.rest(np.full(layout.nodes, 0.02), DIAMETER, at, width)
    assert energy(at, width, 2.0)[0] == pytest.approx(0, abs=1e-9)  # neighbours along the arc, nearer than a diameter
    assert energy(at, width, 1.0 + DIAMETER / 2)[0] > 1  # only its copy in the next repeat is near
    assert energy.closest == pytest.approx(DIAMETER / 2)

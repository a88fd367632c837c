"""The drawing: who lies in front on which side, where colours and repeats fall, and that edges close."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from stitchc.chart import Chart
from stitchc.fabric import DISTINCT, NATURAL, Fabric, draw
from stitchc.fabric.draw import FULL, GROUNDS, NOTHING, Colour, Face, ground, paint, see
from stitchc.fabric.start import DIAMETER, Floats
from tests.fabric.conftest import at_gauge

RED, GREEN, BLUE = (200, 30, 30), (30, 160, 40), (40, 60, 200)


def laid(*courses: Floats, cell_w: float = 0.25, cell_c: float = 0.25) -> Fabric:
    """A fabric of hand-made courses (nodes, 3) in a repeat of two needles."""
    chart = Chart.plain(2, len(courses))
    return Fabric(chart, tuple(courses), cell_w, cell_c, DIAMETER, (), 1.0, 1.0)


def straight(height: float, depth: float = 0.0, width: float = 0.5, nodes: int = 20) -> Floats:
    return np.array([[at * width / nodes, height, depth] for at in range(nodes)])


def nearest(colour: Colour, *choices: Colour) -> Colour:
    """The choice of nearest hue (what shade leaves of a colour)."""

    def direction(rgb: Colour) -> Floats:
        vector = np.array(rgb, dtype=float) - min(rgb)
        return vector / max(float(np.linalg.norm(vector)), 1e-9)

    return max(choices, key=lambda choice: float(direction(colour) @ direction(choice)))


def test_straight_courses_stand_at_their_height_with_holes_between() -> None:
    seen = see(laid(straight(0.05), straight(0.30)), "purl", 400)
    assert seen.course.shape == (200, 200)
    for row, middle in ((0, 0.05), (1, 0.30)):
        pixels = np.nonzero(seen.course[:, 100] == row)[0]
        assert 200 - np.mean(pixels) - 0.5 == pytest.approx(middle * 400, abs=1)
        assert len(pixels) == pytest.approx(FULL * DIAMETER * 400, abs=2), "a yarn is as thick as it is"
    assert (seen.course == NOTHING).mean() == pytest.approx(1 - 2 * FULL * DIAMETER / 0.5, abs=0.02)


def test_the_nearer_yarn_is_seen_and_from_the_other_side_the_other() -> None:
    fabric = laid(straight(0.2, depth=0.0), straight(0.2, depth=0.2))
    fronts: tuple[tuple[Face, int], ...] = (("purl", 0), ("knit", 1))
    for face, front in fronts:
        seen = see(fabric, face, 300)
        assert set(np.unique(seen.course)) == {NOTHING, front}


def test_what_stands_proud_throws_its_shadow_down() -> None:
    """The light comes from the upper left, as in drawings and photographs of relief by convention."""
    low, proud = straight(0.12, depth=0.0, nodes=40), straight(0.25, depth=-0.12, nodes=40)
    fabric = laid(low, proud, straight(0.38, depth=0.0, nodes=40))
    seen = see(fabric, "purl", 300)
    below, above = (float(seen.shade[seen.course == row].mean()) for row in (0, 2))
    assert below < 0.9 * above


def test_a_tube_is_whole_round_sharp_bends_and_where_short_edges_follow_long_ones() -> None:
    place = np.concatenate([np.linspace(0, 0.2, 20, endpoint=False), np.linspace(0.2, 0.5, 6, endpoint=False)])
    line = np.array([[x, 0.1 + 0.8 * max(0.0, 0.1 - abs(x - 0.1)), 0.0] for x in place])
    holes = np.pad(see(laid(line, straight(0.4)), "purl", 1500).course == NOTHING, 1, mode="wrap")
    alone = holes[1:-1, 1:-1] & ~(holes[:-2, 1:-1] & holes[2:, 1:-1]) & ~(holes[1:-1, :-2] | holes[1:-1, 2:])
    assert not alone.any()


def test_left_and_right_are_exchanged_on_the_knit_side() -> None:
    line = straight(0.1, nodes=60)
    line[(line[:, 0] > 0.10) & (line[:, 0] < 0.15), 1] += 0.1  # a bump left of the middle, seen from the purl side
    columns: dict[str, float] = {}
    faces: tuple[Face, ...] = ("purl", "knit")
    for face in faces:
        seen = see(laid(line, straight(0.4)), face, 400)
        columns[face] = float(np.nonzero((seen.course[100:130] == 0).any(axis=0))[0].mean()) / 200
    assert columns["purl"] == pytest.approx(0.25, abs=0.02)
    assert columns["knit"] == pytest.approx(0.75, abs=0.02)


def test_what_stands_out_of_the_repeat_comes_in_from_the_next() -> None:
    fabric = laid(straight(0.25), straight(0.49), cell_c=0.25)  # the upper course reaches over the top by a little
    seen = see(fabric, "purl", 400)
    assert (seen.course[-1] == -1).all(), "at the bottom stands the upper course of the repeat below"
    assert (seen.course[0] == 1).all()


def test_edges_close_round_the_repeat() -> None:
    for rows, stitch_factor, row_factor in (("K", 1.0, 1.0), ("KT/KK", 0.91, 1.37)):
        seen = see(at_gauge(rows, stitch_factor, row_factor), "purl", 260)
        for axis in (0, 1):
            steps = np.abs(np.diff(seen.shade, axis=axis)).mean(axis=1 - axis)
            edge = np.abs(np.take(seen.shade, 0, axis) - np.take(seen.shade, -1, axis)).mean()
            assert edge < 1.2 * steps.max(), "no more of a step than where strands meet"


def test_rows_take_their_yarns_colours_even_when_those_repeat_later_than_the_stitch() -> None:
    seen = see(laid(straight(0.125), straight(0.375)), "purl", 320)
    colours = [RED, RED, GREEN, BLUE, GREEN, GREEN]  # six rows of yarn over a stitch of two
    picture = paint(seen, colours, 100, 9 * 80)
    for row in range(9):
        middle = 9 * 80 - round((row + 0.5) * 80)
        red, green, blue = (int(value) for value in picture[middle, 50])
        assert nearest((red, green, blue), RED, GREEN, BLUE) == colours[row % 6], f"row {row + 1}"
    assert np.abs(picture[9 * 80 - 80, 50].astype(int) - ground(colours)).max() < 60, "a hole shows the ground"


@pytest.mark.parametrize("scale", [1.0, 1.7, 2.0])
def test_size_and_proportion(scale: float) -> None:
    fabric = laid(straight(0.125), straight(0.375))
    picture = paint(see(fabric, "purl", 200 * scale), [RED, BLUE], 333, 257, scale)
    assert picture.shape == (257, 333, 3) and picture.dtype == np.uint8
    reds = picture[:, 100, 0].astype(int) - picture[:, 100, 2] > 40
    rises = np.nonzero(reds[:-1] & ~reds[1:])[0]
    assert np.diff(rises) == pytest.approx(100, abs=1.1), "a repeat of half a loop length at 200 pixels to the length"


def test_wales_and_courses_are_as_far_apart_as_the_gauge_says() -> None:
    fabric = at_gauge("K", 1.0, 1.0)
    picture = draw(fabric, "purl", [NATURAL], 800, 800, 150.0).astype(float).mean(axis=2)
    for axis, cell in ((0, fabric.cell_w), (1, fabric.cell_c)):
        profile = picture.mean(axis=axis)
        power = np.abs(np.fft.rfft(profile - profile.mean(), 1 << 16)) ** 2
        frequency = int(power.argmax()) / (1 << 16)
        expected = 1 / (cell * 150.0)
        assert min(abs(frequency - expected * n) / (expected * n) for n in (1, 2)) < 0.02


def test_edges_are_smooth() -> None:
    picture = draw(laid(straight(0.1), straight(0.3)), "purl", [(255, 255, 255)], 200, 200, 400.0)
    column = picture[:, 100].astype(int).sum(axis=1)
    assert np.abs(np.diff(column)).max() < 500, "no edge goes from full to ground in one pixel"


def test_distinct_colours_differ_in_lightness_too() -> None:
    # Relative luminance and its contrast as WCAG 2.2 defines them; neighbours differ for any colour vision.
    def luminance(colour: Colour) -> float:
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255 for v in colour)]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    for one, other in itertools.pairwise(DISTINCT):
        light, dark = sorted((luminance(one), luminance(other)), reverse=True)
        assert (light + 0.05) / (dark + 0.05) > 1.5


def test_holes_stand_out_from_light_yarns_and_from_dark_ones() -> None:
    dark, light = GROUNDS
    black, navy, white = (15, 15, 18), (38, 84, 140), (250, 250, 248)
    assert ground([NATURAL]) == ground([white]) == ground([NATURAL, navy]) == dark
    assert ground([navy]) == ground([black]) == light
    fabric = laid(straight(0.125), straight(0.375))
    for yarn in (NATURAL, navy, black, white):
        picture = draw(fabric, "purl", [yarn], 100, 100, 200.0).astype(float).mean(axis=2)
        assert np.ptp(np.median(picture, axis=1)) > 60, yarn

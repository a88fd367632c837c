"""The bed strip read back from its drawing: every sign at its own needle, and what is left out only repeats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stitchc.bed import Needles
from stitchc.chart import Chart
from stitchc.document import Drawing, Label, Path
from stitchc.document.bed_strip import LINE_HEIGHT, SLOT, draw, ladder_marks, marks
from stitchc.machines import Machine, load
from stitchc.passes import lower
from tests.sheet.words_reader import place


def read_back(drawn: Drawing) -> dict[int, str]:
    """Needle by needle, from the shapes alone; where a needle stands is told by the names drawn over the bed."""
    labels = [shape for shape in drawn.shapes if isinstance(shape, Label)]
    paths = [(shape.ink, line) for shape in drawn.shapes if isinstance(shape, Path) for line in shape.lines]
    found: dict[int, str] = {}
    for line in range(int(drawn.height) // LINE_HEIGHT):
        edge = line * LINE_HEIGHT + 17
        known = [(label.x, place(label.text)) for label in labels if label.y == edge - 5 and label.text != "0"]
        shapes: dict[float, str] = {}
        for ink, points in paths:
            if not edge <= points[0][1] <= edge + 33:
                continue
            if ink == "line" and points[0][0] == points[1][0] and points[0][1] == edge:
                shapes[points[0][0]] = "." if points[1][1] == edge + 9 else "long"
            elif ink != "line":
                middle = (min(x for x, _ in points) + max(x for x, _ in points)) / 2
                shapes[middle] = sign_of(points, ink, shapes.get(middle))
        assert "long" not in shapes.values()
        for x, shape in shapes.items():
            assert 0 < x < drawn.width
            near_x, near = min(known, key=lambda name: abs(name[0] - x))
            found[near + round((x - near_x) / SLOT)] = shape
    return found


def sign_of(points: Sequence[tuple[float, float]], ink: str, line: str | None) -> str:
    """A sign told from its corners, its filling and the needle's line that it stands at."""
    levels = sorted({y for _, y in points})
    if len(points) == 2:
        assert line is None
        return "-"
    if len(points) == 3 and points[2][1] not in (points[0][1], points[1][1]) and len(levels) == 3:
        assert line == "."
        return "<" if points[2][0] < points[0][0] else ">"
    if len(points) == 3:
        down = points[2][1] > points[0][1]
        return {"long": "o", ".": "w" if down else "p", None: "b"}[line]
    if line is None:
        return "r"
    assert line == "long"
    return "h" if ink == "solid" else "z" if len(levels) == 3 else "s"


@st.composite
def beds(draw_from: st.DrawFn) -> tuple[Needles, str]:
    count = draw_from(st.integers(1, 120))
    first = draw_from(st.integers(-80, 20))
    period = draw_from(st.integers(1, 20))
    signs = draw_from(st.lists(st.sampled_from(".ohpszwbr-<>"), min_size=period, max_size=period))
    bed = "".join(signs[k % period] for k in range(count))
    if draw_from(st.booleans()):
        at = draw_from(st.integers(0, count - 1))
        bed = f"{bed[:at]}h{bed[at + 1 :]}"
    return Needles(first, first + count - 1), bed


@given(beds())
@settings(max_examples=200, deadline=None)
def test_every_sign_stands_at_its_needle(case: tuple[Needles, str]) -> None:
    needles, bed = case
    if set(bed) == {"."}:
        return  # nothing to show
    found = read_back(draw(needles, bed))
    wanted = {needles.first + k: sign for k, sign in enumerate(bed)}
    assert all(wanted[needle] == sign for needle, sign in found.items())
    left_out = sorted(set(wanted) - set(found))
    if not left_out:
        return
    if left_out[-1] - left_out[0] + 1 == len(left_out) and needles.first in found and needles.last in found:
        # the middle of a wide bed: it goes on as the ends do, with a period that each end shows
        inner = bed[1:-1].strip(".")
        if any(inner[p:] == inner[:-p] for p in range(1, 13)):
            return
    assert all(wanted[needle] in ".-" for needle in left_out)


def test_a_narrow_bed_is_drawn_whole_and_a_wide_one_stays_legible() -> None:
    every_other = lambda n: "".join(".h"[k % 2] for k in range(n))  # noqa: E731
    assert len(read_back(draw(Needles.centred(40), every_other(40)))) == 40
    wide = draw(Needles.centred(200), every_other(200))
    assert (wide.height, len(read_back(wide))) == (LINE_HEIGHT, 32)
    motif = "." * 90 + "hoph" + "." * 106
    assert read_back(draw(Needles.centred(200), motif))[-9] == "o"
    # 180 mm of printed width and at most 45 slots in one line: 4 mm a needle is legible at arm's length
    assert wide.width <= 45 * SLOT


@pytest.mark.parametrize("needles", [Needles(-3, 2), Needles(5, 9), Needles(-9, -4)])
def test_marks(needles: Needles) -> None:
    width = needles.count
    lift, rest = load("hand-standard"), replace(load("hand-standard"), slip_by="rest")

    def signs(machine: Machine, *rows: str) -> str:
        return marks(needles, lower(Chart.from_rows([row.ljust(width, "K") for row in rows]), machine, needles,
                                    len(rows), edge=0)[-1])  # fmt: skip

    assert signs(lift, "TKTK", "TTKK")[:4] == "hop."
    assert signs(lift, "SKTK", "SSKT")[:4] == "zspo"
    assert signs(rest, "SKSK", "SSKT")[:4] == "rbwo"


def test_marks_while_stitches_are_moved() -> None:
    needles, machine = Needles(-2, 3), load("hand-standard")
    passed = lower(Chart.from_rows(["KKKKKK"]), machine, needles, 1, edge=0)[0]
    moved = replace(passed, taken_back=(-2,), empty=(-1, 1, 2), moved_left=(1,), moved_right=(2,))
    assert ladder_marks(needles, moved, out=(0,), rest=(3,)) == "w-h<>r"
    assert marks(needles, moved) == ".-.--."

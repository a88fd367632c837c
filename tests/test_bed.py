"""Needles by name and number."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stitchc.bed import Needles, needle_name, needle_position


@pytest.mark.parametrize(
    ("text", "count", "left", "right"),
    [
        # the page "Tuck punchcard afghans" casts on L98-R99: 98 + 99 needles
        ("L98-R99", 197, "L98", "R99"),
        ("L40-R39", 79, "L40", "R39"),
        ("L1-R1", 2, "L1", "R1"),
        ("R3-R9", 7, "R3", "R9"),
        ("L9-L3", 7, "L9", "L3"),
        ("l4 – r12", 16, "L4", "R12"),
        # N needles unsaid otherwise are centred; an odd one goes to the left
        ("80", 80, "L40", "R40"),
        ("81", 81, "L41", "R40"),
        ("2", 2, "L1", "R1"),
        ("1", 1, "L1", "L1"),
        (" 3 ", 3, "L2", "R1"),
    ],
)
def test_ranges(text: str, count: int, left: str, right: str) -> None:
    needles = Needles.parse(text)
    assert (needles.count, needles.left, needles.right) == (count, left, right)
    assert str(needles) == f"{left}-{right}"
    assert Needles.parse(str(needles)) == needles


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("0", "at least one"),
        ("R9-R3", "right to left"),
        ("R1-L1", "right to left"),
        ("L0-R1", "`L0` is not a needle"),
        ("L1-R0", "`R0` is not a needle"),
        ("X1-R1", "`X1` is not a needle"),
        ("L-R", "is not a needle"),
        ("L1", "such as 80 or a range"),
        ("", "such as 80 or a range"),
        ("L1-R1-R2", "such as 80 or a range"),
        ("-5", "such as 80 or a range"),
        ("L3-", "such as 80 or a range"),
        ("1.5", "such as 80"),
        ("L99999999-R1", "is not a needle"),
        ("٣", "such as 80"),
        ("L٣-R1", "is not a needle"),
    ],
)
def test_what_is_no_range_says_why(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        Needles.parse(text)


def test_there_is_no_needle_between_l1_and_r1() -> None:
    assert needle_position("R1") - needle_position("L1") == 1
    assert [needle_name(position) for position in range(-2, 2)] == ["L2", "L1", "R1", "R2"]
    with pytest.raises(ValueError, match="left needle comes first"):
        Needles(1, 0)
    with pytest.raises(ValueError, match="at least one"):
        Needles.centred(0)


@given(st.integers(-10_000, 10_000))
def test_names_there_and_back(position: int) -> None:
    assert needle_position(needle_name(position)) == position
    assert needle_position(needle_name(position).lower()) == position


@given(st.integers(1, 5000))
def test_centred_needles_are_as_near_the_centre_as_can_be(count: int) -> None:
    needles = Needles.centred(count)
    assert needles.count == count
    left, right = -needles.first, needles.last + 1
    assert left - right == count % 2

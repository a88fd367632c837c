"""A few of the pictures of `spoil.py`, which goes on looking for minutes or hours."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import spoil


@pytest.mark.parametrize("first", range(0, 24, 6))
def test_whatever_is_shown_is_read_or_refused(first: int) -> None:
    for seed in range(first, first + 6):
        spoil.attempt(*spoil.case(seed))


def test_a_seed_is_one_picture_and_one_question() -> None:
    assert spoil.case(3) == spoil.case(3) != spoil.case(4)

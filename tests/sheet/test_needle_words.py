"""Needle sets in words: what they say read back, and the words a person would choose."""

from __future__ import annotations

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stitchc.bed import needle_name
from stitchc.english import ordinal
from stitchc.sheet.needle_words import as_runs, name_needles, shortest
from tests.sheet.words_reader import read


def needles(text: str) -> tuple[int, ...]:
    return tuple(sorted(read(text)))


@st.composite
def near_patterns(draw: st.DrawFn) -> tuple[int, ...]:
    """What charts ask for: a pattern repeated over a stretch of the bed, with some needles changed."""
    period = draw(st.integers(1, 26))
    teeth = draw(st.lists(st.booleans(), min_size=period, max_size=period))
    first = draw(st.integers(-100, 50))
    count = draw(st.integers(1, 150))
    chosen = {first + k for k in range(count) if teeth[k % period]}
    for other in draw(st.lists(st.integers(first, first + count), max_size=5)):
        chosen ^= {other}
    return tuple(sorted(chosen)) or (first,)


any_needles = st.sets(st.integers(-40, 40), min_size=1, max_size=50).map(sorted).map(tuple)


@given(st.one_of(near_patterns(), any_needles))
@example(tuple(range(-100, 100)))
@settings(max_examples=400, deadline=None)
def test_words_read_back_are_exactly_the_needles(chosen: tuple[int, ...]) -> None:
    assert read(str(name_needles(chosen))) == set(chosen)
    assert shortest(chosen).needles() == chosen


@given(near_patterns(), near_patterns())
@settings(max_examples=300, deadline=None)
def test_words_that_lean_on_what_is_out_read_back_too(held: tuple[int, ...], chosen: tuple[int, ...]) -> None:
    for now in (held, chosen):
        assert read(str(name_needles(now, held=[held])), held) == set(now)


@given(st.one_of(near_patterns(), any_needles))
@settings(max_examples=200, deadline=None)
def test_never_longer_than_the_plain_list(chosen: tuple[int, ...]) -> None:
    listed = ", ".join(run.text() for run in as_runs(chosen))
    assert shortest(chosen).cost() <= len(listed)


@given(st.integers(2, 8), st.integers(-60, 0), st.integers(5, 30))
def test_a_comb_is_preferred_and_said(period: int, first: int, count: int) -> None:
    chosen = tuple(range(first, first + period * count, period))
    said = name_needles(chosen)
    assert said.comb == f"1 out, {period - 1} in"
    assert said.text == f"every {ordinal(period)} needle from {needle_name(first)} to {needle_name(chosen[-1])}"


@pytest.mark.parametrize(
    ("chosen", "said"),
    [
        ("L12, L6, R1, R7", "L12, L6, R1, R7 (4 needles)"),
        ("R4", "R4 (1 needle)"),
        ("L2, L1, R1", "L2 to R1 (3 needles)"),
        ("every 2nd needle from L39 to R38", "every 2nd needle from L39 to R38 (39 needles; comb 1 out, 1 in)"),
        (
            "2 needles, skip 3, repeat from L40 to R37",
            "2 needles, skip 3, repeat from L40 to R37 (32 needles; comb 2 out, 3 in)",
        ),
        (
            "1 needle, skip 1, 1 needle, skip 5, repeat from L39 to R36",
            "1 needle, skip 1, 1 needle, skip 5, repeat from L39 to R36 (20 needles; comb 1 out, 1 in, 1 out, 5 in)",
        ),
        (
            "L30, L27, L20, L19, L11, L6, L2, R3, R4, R9",
            "L30, L27, L20, L19, L11, L6, L2, R3, R4, R9 (10 needles: 7 L, 3 R)",
        ),
        (
            "L30, L27, L25, L20, L19; the same again from L6, R19; also R43",
            "L30, L27, L25, L20, L19; the same again from L6, R19; also R43 (16 needles)",
        ),
        ("all from L39 to R39 but R3, R9", "all from L39 to R39 but R3, R9 (76 needles)"),
        (
            "every 2nd needle from L39 to R38 but L9, R2, R10",
            "every 2nd needle from L39 to R38 but L9, R2, R10 (36 needles)",
        ),
        (
            "every 2nd needle from L39 to L1; also R6, R10, R13",
            "every 2nd needle from L39 to L1; also R6, R10, R13 (23 needles)",
        ),
        (
            "every 2nd needle from L30 to L6; also every 3rd needle from R6 to R30",
            "every 2nd needle from L30 to L6; also every 3rd needle from R6 to R30 (22 needles)",
        ),
    ],
)
def test_the_words_a_person_would_choose(chosen: str, said: str) -> None:
    assert str(name_needles(needles(chosen))) == said


def test_what_is_out_can_be_seen_and_need_not_be_counted_out() -> None:
    odd = needles("every 2nd needle from L11 to R10")
    assert str(name_needles(odd, held=[odd])) == "all the held needles (11 needles)"
    assert name_needles(odd[1:], held=[odd]).text == "every 2nd needle from L9 to R10"
    assert name_needles((3,), held=[(3,)]).text == "R4"


@pytest.mark.parametrize(
    ("number", "said"), [(1, "1st"), (2, "2nd"), (3, "3rd"), (4, "4th"), (11, "11th"), (12, "12th"), (13, "13th"),
                         (21, "21st"), (22, "22nd"), (101, "101st"), (111, "111th")]
)  # fmt: skip
def test_ordinals(number: int, said: str) -> None:
    assert ordinal(number) == said


def test_no_needle_cannot_be_named() -> None:
    with pytest.raises(ValueError, match="no needle"):
        name_needles(())

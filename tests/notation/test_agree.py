"""The compiler and the slow interpreter say the same of every pattern."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stitchc.notation import compile_text
from tests.notation.agree import agreed, run
from tests.notation.interpreter import Wrong, interpret
from tests.notation.patterns import Scribe

# The notation's own examples, as its description gives them with what it says of them.
EXAMPLES = [
    ("stitch a\n1: K T\n2: K", "a", ["KT", "KK"]),
    ("stitch a\n1: K3T", "a", ["KKKT"]),
    ("stitch a\n1: (K3 T)x4", "a", ["KKKT" * 4]),
    ("stitch fern over 8\n1, 3: (K T)x2 K4\n2, 4-6: K\n7: S2 K2\n8: K", "fern",
     ["KTKTKKKK", "KKKKKKKK", "KTKTKKKK", "KKKKKKKK", "KKKKKKKK", "KKKKKKKK", "SSKKSSKK", "KKKKKKKK"]),
    ("stitch drift = ripple then ripple shifted 1\nstitch ripple\n1: K T\n2: K", "drift", ["KT", "KK", "TK", "KK"]),
    ("stitch b = a shifted 1\nstitch a\n1: T K K", "b", ["KTK"]),
    ("stitch b = a shifted 1 left\nstitch a\n1: K T K", "b", ["TKK"]),
    ("stitch b = a mirrored\nstitch a\n1: T K S", "b", ["SKT"]),
    ("stitch b = a reversed\nstitch a\n1: T K\n2: S K", "b", ["SK", "TK"]),
    ("stitch b = a with T for K, K for T\nstitch a\n1: T K S", "b", ["KTS"]),
    ("stitch b = a with S for T\nstitch a\n1: T K S", "b", ["SKS"]),
    ("stitch b = plain 3 by 2", "b", ["KKK", "KKK"]),
    ("stitch b = a beside plain 1 by 1\nstitch a\n1: T\n2: S", "b", ["TK", "SK"]),
    ("stitch b = a then a beside a mirrored\nstitch a\n1: T K", "b", ["TKTK", "TKKT"]),
    ("stitch b = a across 2 up 2\nstitch a\n1: T K", "b", ["TKTK", "TKTK"]),
]  # fmt: skip


@pytest.mark.parametrize(("text", "name", "rows"), EXAMPLES)
def test_both_read_the_examples_as_described(text: str, name: str, rows: list[str]) -> None:
    assert ["".join(row) for row in interpret(text).fabrics[name].rows] == rows
    pattern = compile_text(text).pattern
    assert pattern is not None
    assert pattern.stitches[name].chart.rows() == rows


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("stitch a\n1: K T\n1: K", "N106"),
        ("stitch a\n2: K T", "N107"),
        ("stitch a\n1: K4\n2: K3", "N108"),
        ("stitch a = b\nstitch b = a", "N105"),
        ("stitch a = b", "N103"),
        ("stitch a\n1: K\nstitch a\n1: K", "N104"),
        ("stitch a = plain 2 by 1 then plain 3 by 1", "N109"),
        ("stitch a = plain 2000 by 2001", "N110"),
        ("stitch a\n1: K0", "N115"),
        ("stitch a\n1: K1000001", "N110"),
        ("stitch a\n1 in foam: K", "N116"),
        ("yarn x\nyarn y\nstitch a\n1 in x: K\nstitch b\n1 in y: K\nstitch c = a beside b", "N117"),
        ("pattern \"x\"", "N113"),
        ("stitch a\n1: P", "N102"),
        ("stitch a\n1: (K", "N101"),
    ],
)  # fmt: skip
def test_both_refuse_with_the_same_code(text: str, code: str) -> None:
    with pytest.raises(Wrong) as wrong:
        interpret(text)
    assert wrong.value.code == code
    assert [message.code for message in compile_text(text).messages] == [code]


@given(st.randoms(use_true_random=False))
@settings(max_examples=120, deadline=None, suppress_health_check=list(HealthCheck))
def test_random_patterns(tmp_path_factory: pytest.TempPathFactory, chance: Random) -> None:
    agreed(Scribe(chance).pattern(), tmp_path_factory.getbasetemp())


def test_some_hundred_random_patterns() -> None:
    outcomes = run(400, seed=2026)
    assert outcomes["valid"] > 300


@pytest.mark.bench
def test_a_hundred_thousand_random_patterns() -> None:
    outcomes = run(100_000)
    assert outcomes["valid"] > 85_000

"""Hostile patterns cost little memory and time, and end in messages."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from stitchc.notation import compile_text
from tests.notation.mutations import sound


def measured(size: int, timeout: int) -> list[dict[str, Any]]:
    """What each hostile pattern of about `size` bytes costs, in a process that has 1 GiB of address space."""
    found = subprocess.run(
        [sys.executable, "-m", "tests.notation.hostile", str(size)],
        cwd=Path(__file__).parents[2],
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        timeout=timeout,
        check=False,
    )
    assert found.returncode == 0, found.stdout[-300:] + found.stderr[-3000:]
    return [json.loads(line) for line in found.stdout.splitlines()]


@pytest.mark.parametrize("size", [4_000, pytest.param(12_000, marks=pytest.mark.bench)])
def test_small_ones(size: int) -> None:
    records = measured(size, timeout=300)
    assert len(records) > 200
    for record in records:
        assert record["seconds"] < 6, record
        assert record["messages"] <= 1000, record
        assert record["peak_mib"] < 500, record


@pytest.mark.bench
def test_the_largest_that_may_be() -> None:
    for record in measured(4_000_000, timeout=3000):
        assert record["seconds"] < 40, record
        assert record["peak_mib"] < 700, record


def test_a_file_over_four_mib_is_refused_unread() -> None:
    just = "stitch a\n1: K\n#" + "x" * (4 * 2**20 - 15)
    assert len(just) == 4 * 2**20
    assert compile_text(just).pattern is not None
    for over in (just + "x", (just + "x").encode(), "stitch a\n1: K\n#" + "é" * (2 * 2**20)):
        found = compile_text(over)
        assert [message.code for message in found.messages] == ["N110"]


@pytest.mark.parametrize(("deep", "codes"), [(64, []), (65, ["N110"])])
def test_brackets_nest_sixty_four_deep(deep: int, codes: list[str]) -> None:
    row = "stitch a\n1: " + "(" * deep + "K" + ")x1" * deep
    built = "stitch a\n1: K\nstitch b = " + "(" * deep + "a" + ")" * deep
    for text in (row, built):
        assert [message.code for message in compile_text(text).messages] == codes


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("stitch a\n1: (K1000000)x4", []),
        ("stitch a\n1: (K1000000)x4 T", ["N110"]),
        ("stitch a\n1: K1000000", []),
        ("stitch a\n1: K1000001", ["N110"]),
        ("stitch a\n1-4000000: K", []),
        ("stitch a\n1-4000001: K", ["N110"]),
        ("stitch a\n1-2000000: K T", []),
        ("stitch a over 4000000\n1: K", []),
        ("stitch a over 4000001\n1: K", ["N110"]),
        ("stitch a over 2000\n1-2001: K", ["N110"]),
        ("stitch a = plain 2000 by 2000", []),
        ("stitch a = plain 2000 by 2001", ["N110"]),
        ("stitch a = plain 1000000 by 4", []),
        ("stitch a = plain 1000001 by 1", ["N110"]),
        ("stitch a = plain 2000 by 1000 up 2", []),
        ("stitch a = plain 2000 by 1000 up 3", ["N110"]),
        ("stitch a = plain 2000 by 1000 then plain 2000 by 1001", ["N110"]),
        ("stitch a = plain 1 by 1000000 beside plain 3 by 1000000", []),
        ("stitch a = plain 1 by 1000000 beside plain 4 by 1000000", ["N110"]),
    ],
)
def test_the_limits_to_the_last_cell(text: str, codes: list[str]) -> None:
    assert [message.code for message in compile_text(text).messages] == codes


@pytest.mark.parametrize(
    "text",
    [
        "",
        "\n",
        "\ufeff",
        "\ufeff\ufeffstitch a",
        "\r",
        "\0",
        "stitch a\r1: K\r\n2: T\n3: S",
        "stitch a\n1: K\ud800",
        "stitch \ud800\n1: K",
        'pattern "\ud800"\nstitch a\n1: K',
        "stitch a\u20282: K",
        "stitch a\x0b1: K",
        "stitch a\n1: K\x85T",
        "stitch a\n١: K",
        "stitch a\n1: K²",
        "stitch a\n1: Kſ",
        "stitch a\n1: \u212a",
        "ſtitch a\n1: K",
        "stitch a\n1: K\nstitch b = a with \u212a for T",
        "-1: K",
        "stitch a\n-1: K",
        "stitch a\n1-: K",
        "stitch a\n1,: K",
        "stitch a\n1.5: K",
        "stitch a over -3\n1: K",
        "stitch a over 1.5\n1: K",
        'yarn a tex -1\nyarn b tex 99999999999999999999999\nyarn c tex 1.' + "9" * 400,
        "gauge plain 1." + "0" * 400 + "1 rows per 1 cm",
        "piece a\nneedles L0000000001-R1\nedge -1\nwidth -1 cm\nknit plain for -1 rows",
        "piece a\nneedles L99999999-R1",
        "with with with with",
        "stitch stitch stitch",
        "stitch a = (((((((((",
        "stitch a = )))))",
        "stitch a = plain 1 by 1 with",
        '"' * 1001,
        "'" * 1001,
        "#" * 1001,
        "(" * 1001,
        "stitch a\n" + "1: (" * 300,
    ],
)  # fmt: skip
def test_odd_texts_are_read_soundly(text: str) -> None:
    sound(compile_text(text))
    sound(compile_text(text.encode("utf-8", "surrogatepass")))


def test_line_ends_of_all_computers_and_a_mark_are_accepted() -> None:
    plain = compile_text("stitch a\n1: K T\n2: K\n").pattern
    assert plain is not None
    for text in (
        "stitch a\r\n1: K T\r\n2: K\r\n",
        "stitch a\r1: K T\r2: K",
        "\ufeffstitch a\n1: K T\r\n2: K\r",
        "\n\r\n\rstitch a\n\n1: K T\r\r2: K",
    ):
        for given in (text, text.encode()):
            pattern = compile_text(given).pattern
            assert pattern is not None
            assert pattern.stitches["a"].chart == plain.stitches["a"].chart


_SIGNS = "0 1, 1- K T ( ) x2 \" ' - : * [ . / K3 – ½ 1/2 1/0 ² ① ٣ ＊ 9999999 1.1 twice"
_WORDS = "in row and then beside plain over out width 10cm plus gauge per sts rows knit for yarn repeat even times"
JUMBLE = [*_SIGNS.split(), *_WORDS.split(), "stitch a = ", 'colour "#fff" ', "to end "]


def test_any_jumble_of_words_and_signs_is_answered_with_messages() -> None:
    """What mends wrong lines parses them in ways of its own, which none of this may break or hold up."""
    draw = random.Random(5)
    for _ in range(250):
        parts = (draw.choice(JUMBLE) * draw.choice((1, 1, 2, 9)) for _ in range(draw.randint(1, 30)))
        text = draw.choice(("", " ")).join(parts) + draw.choice(("", "!", "\n1: K", "\n:"))
        assert compile_text(text).messages, text
    assert compile_text(f"stitch a\n    1: (K T) {'1' * 5000} times\n    2: (K) 1.5 times\n").messages

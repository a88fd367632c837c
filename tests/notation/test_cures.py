"""Cures followed to the letter: each slip, mended as its message says, gives the pattern that was meant.

The slips are a hand knitter's, a spreadsheet's, a word processor's and those of other crafts; from common practice and
from memory, no source.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stitchc.messages import Message
from stitchc.notation import Reading, compile_text
from stitchc.notation.layout import same_meaning
from stitchc.pattern import Pattern
from tests.notation.slips import FRAMES, SLIPS, UNCLEAR


def followed(line: str, message: Message) -> str:
    """The line with the cure in place of it, or of the marked part where the cure does not begin as the line does."""
    assert message.cure is not None
    assert message.span is not None
    cure = re.sub(r"   \([^\n]*\)$", "", message.cure).split(", or ")[0]  # without the remark behind it
    if _first(cure) == _first(line) or re.match(r"[0-9][^:]*:", cure):
        return cure
    start = message.span.column - 1
    return line[:start] + cure + line[start + message.span.length :]


def _first(text: str) -> str:
    word = re.match(r"\s*([^\W\d_]+)(?![\w-])", text)
    return word[1].lower() if word else text


def read(frame: str, line: str) -> Reading:
    return compile_text(FRAMES[frame].replace("@", line))


def line_of(frame: str) -> int:
    return FRAMES[frame].split("@")[0].count("\n") + 1


@pytest.mark.parametrize(("frame", "wrong", "meant"), SLIPS, ids=[f"{frame}: {wrong}" for frame, wrong, _ in SLIPS])
def test_a_cure_followed(frame: str, wrong: str, meant: str) -> None:
    expected = read(frame, meant)
    assert expected.pattern is not None, expected.messages
    found = read(frame, wrong)
    assert [message.span.line for message in found.messages if message.span] == [line_of(frame)], found.messages
    written = FRAMES[frame].replace("@", wrong).split("\n")[line_of(frame) - 1]
    mended = followed(written, found.messages[0])
    result = compile_text(FRAMES[frame].split("@")[0].rpartition("\n")[0] + "\n" + mended + FRAMES[frame].split("@")[1])
    assert result.pattern is not None, (mended, result.messages)
    assert same_meaning(result.pattern, expected.pattern), mended


@pytest.mark.parametrize(("frame", "wrong"), UNCLEAR, ids=[f"{frame}: {wrong}" for frame, wrong in UNCLEAR])
def test_no_cure_that_means_something_else(frame: str, wrong: str) -> None:
    """Where what was meant cannot be known, following the cure's words gives no pattern."""
    found = read(frame, wrong)
    assert found.pattern is None
    assert {message.span.line for message in found.messages if message.span} == {line_of(frame)}, found.messages
    written = FRAMES[frame].replace("@", wrong).split("\n")[line_of(frame) - 1]
    before, after = FRAMES[frame].split("@")
    for message in found.messages:
        mended = followed(written, message)
        assert compile_text(f"{before.rpartition(chr(10))[0]}\n{mended}{after}").pattern is None, mended


# -- any row, length and gauge, disguised -----------------------------------------------------------------------------

_WORDS = {"K": "knit", "T": "tuck", "S": "slip"}
RUNS = st.lists(st.tuples(st.sampled_from("KTS"), st.integers(2, 12)), min_size=2, max_size=6)


def _joined(runs: list[tuple[str, int]], sign: str) -> str:
    return sign.join(f"{letter}{count}" for letter, count in runs)


CELLS: dict[str, Callable[[list[tuple[str, int]]], str]] = {
    "commas": lambda runs: _joined(runs, ", "),
    "semicolons": lambda runs: _joined(runs, ";") + ";",
    "strokes": lambda runs: _joined(runs, "/"),
    "bars": lambda runs: f"| {_joined(runs, ' | ')} |",
    "and": lambda runs: _joined(runs, " and "),
    "counts first": lambda runs: " ".join(f"{count}{letter}" for letter, count in runs),
    "counts apart": lambda runs: " ".join(f"{letter} {count}" for letter, count in runs),
    "times": lambda runs: " ".join(f"{letter}x{count}" for letter, count in runs),
    "a printer's times": lambda runs: " ".join(f"{letter}×{count}" for letter, count in runs),
    "words": lambda runs: ", ".join(f"{_WORDS[letter]} {count}" for letter, count in runs),
    "asterisks": lambda runs: f"*{_joined(runs, ', ').lower()}; rep from * to end",
    "a remark": lambda runs: f"{_joined(runs, ' ')} // the middle",
    "a full stop": lambda runs: f"{_joined(runs, ' ')}.",
}
HEADS = ["{}: {}", "Row {}: {}", "row {} (RS): {}", "R{}: {}", "{}) {}", "{}. {}", "{} - {}", "{} {}", "Rnd {} - {}"]


@given(RUNS, st.sampled_from(sorted(CELLS)), st.sampled_from(HEADS))
@settings(max_examples=300, deadline=None)
def test_a_row_disguised(runs: list[tuple[str, int]], cells: str, head: str) -> None:
    wanted = read("row 1 of any width", f"1: {_joined(runs, ' ')}")
    line = head.format(1, CELLS[cells](runs))
    result = _read_cured("row 1 of any width", line)
    assert result is not None, line
    assert wanted.pattern is not None
    assert same_meaning(result, wanted.pattern), line


@given(
    st.integers(1, 60),
    st.sampled_from([("1/2", 0.5), ("1/4", 0.25), ("3/4", 0.75), ("½", 0.5), ("⅝", 0.625), ("", 0.0)]),
    st.sampled_from(["in", "inches", '"', "cm", "centimetres", "mm", " in."]),
    st.sampled_from(["width {}", "width: {}", "{} wide", "width = {};", "width about {}"]),
)
@settings(max_examples=200, deadline=None)
def test_a_width_disguised(whole: int, fraction: tuple[str, float], unit: str, line: str) -> None:
    written = line.format(f"{whole} {fraction[0]}{' ' if fraction[0] and unit.isalpha() else ''}{unit}")
    plain = {"inches": "in", '"': "in", " in.": "in", "centimetres": "cm"}.get(unit, unit)
    wanted = read("piece", f"width {whole + fraction[1]} {plain}")
    result = _read_cured("piece", written)
    assert wanted.pattern is not None
    assert result is not None, written
    assert same_meaning(result, wanted.pattern), written


@given(
    st.integers(40, 400).map(lambda tenths: tenths / 10),
    st.integers(4, 60),
    st.sampled_from(["{} stitches and {} rows", "{} sts, {} rows", "{} stitches x {} rows", "{}st/{}r", "{} x {}"]),
    st.sampled_from([("per 10 cm", "10 cm"), ("= 4 in", "4 in"), ("to the inch", "1 in"), ("per 10 x 10 cm", "10 cm")]),
    st.sampled_from([("gauge a", "a"), ("gauge a:", "a"), ("Gauge:", "plain"), ("tension plain", "plain")]),
)
@settings(max_examples=200, deadline=None)
def test_a_gauge_disguised(
    stitches: float, rows: int, counts: str, per: tuple[str, str], begins: tuple[str, str]
) -> None:
    written = f"{begins[0]} {counts.format(stitches, rows)} {per[0]}"
    wanted = read("gauge", f"gauge {begins[1]} {stitches} stitches {rows} rows per {per[1]}")
    result = _read_cured("gauge", written)
    assert wanted.pattern is not None
    assert result is not None, written
    assert same_meaning(result, wanted.pattern), written


def _read_cured(frame: str, line: str) -> Pattern | None:
    """The pattern after following cures until there are none, three at most."""
    before, after = FRAMES[frame].split("@")
    for _ in range(3):
        found = compile_text(f"{before}{line}{after}")
        if found.pattern is not None:
            return found.pattern
        (message,) = found.messages
        written = f"{before.rpartition(chr(10))[2]}{line}"
        line = followed(written, message)
    return None

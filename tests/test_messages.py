"""Messages as a terminal and as a script see them."""

from __future__ import annotations

import json
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stitchc.messages import (
    Fix,
    Message,
    Refused,
    Span,
    columns_of,
    grouped,
    has_errors,
    in_order,
    render,
    to_json,
    visible,
)

AT = Span("tide.stitch", 2, 8, 2)
SOURCES = {"tide.stitch": ["stitch tide", "    1: P2 K", "    2: K"], "grounds.stitch": ["stitch tide"]}


def test_a_message_in_full() -> None:
    message = Message(
        "N102",
        "error",
        "`P2`: a single bed has no purl cell.",
        AT,
        advice="K2",
        label="the side facing you is purl",
        also=((Span("grounds.stitch", 1, 8, 4), "the stitch"),),
    )
    assert render(message, SOURCES) == (
        "tide.stitch:2:8: error: `P2`: a single bed has no purl cell. [N102]\n"
        "      1: P2 K\n"
        "         ^^ the side facing you is purl\n"
        "grounds.stitch:1:8: the stitch\n"
        "  stitch tide\n"
        "         ^^^^\n"
        "Try: K2"
    )


def test_without_a_place_without_sources_and_with_a_cure_of_several_lines() -> None:
    assert render(Message("N113", "error", "There is no stitch.")) == "error: There is no stitch. [N113]"
    message = Message(
        "K201", "warning", "Never knits.", AT, "stitch a\n    1: K", "here", ((AT._replace(line=3), "and"),)
    )
    assert render(message) == (
        "tide.stitch:2:8: warning: Never knits. [K201]\n  here\ntide.stitch:3:8: and\nTry: stitch a\n         1: K"
    )


def caret(line: str, column: int, length: int) -> tuple[str, str]:
    """The source line as shown and the line with the caret."""
    shown = render(Message("N101", "error", "X.", Span("f", 1, column, length)), {"f": [line]}).split("\n")
    return shown[1], shown[2]


@pytest.mark.parametrize(
    ("line", "column", "length", "marked"),
    [
        ("K T", 3, 1, "T"),
        ("\tK\tT", 4, 1, "T"),
        ("波 K", 3, 1, "K"),
        ("ＫＫ T", 4, 1, "T"),
        ("e\u0301 T", 4, 1, "T"),
        ("คลื่น T", 7, 1, "T"),
        ("K\u200bT", 2, 1, "\\u{200b}"),
        ("K\x1b[31mT", 2, 1, "\\u{1b}"),
        ("K\u202eT", 3, 1, "T"),
        ("\ud800 T", 3, 1, "T"),
        ("K" * 500 + "P" + "K" * 500, 501, 1, "P"),
        ("K" * 500 + "P", 501, 1, "P"),
        ("P" + "K" * 500, 1, 1, "P"),
    ],
)
def test_the_caret_stands_under_what_it_marks(line: str, column: int, length: int, marked: str) -> None:
    source, mark = caret(line, column, length)
    start = mark.index("^")
    width = mark.count("^")
    assert columns_of(marked) == width
    before, taken = 0, ""
    for character in source:  # walk the terminal's columns
        if before >= start and before < start + width and (columns_of(character) or before > start):
            taken += character
        before += columns_of(character)
    assert taken == marked
    assert columns_of(source) < 110


def test_a_place_at_or_past_the_end_of_its_line() -> None:
    assert caret("K T", 4, 1)[1] == "     ^"
    assert caret("K T", 90, 5)[1] == "     ^"
    assert caret("", 1, 1) == ("", "  ^")
    assert caret("K T", 1, 900)[1] == "  ^^^"
    assert caret("K" * 4_000_000, 5, 4_000_000)[1].count("^") < 100


def test_a_line_that_is_not_there_is_left_out() -> None:
    message = Message("N101", "error", "X.", Span("f", 9))
    assert render(message, {"f": ["K"]}) == "f:9:1: error: X. [N101]"


@pytest.mark.parametrize("severity", ["error", "warning", "info"])
def test_colour_only_repeats_what_the_words_say(severity: str) -> None:
    message = Message("N101", severity, "`K\x1b[0m`.", AT, "K2", "why", ((AT, "there"),))  # type: ignore[arg-type]
    plain, coloured = render(message, SOURCES), render(message, SOURCES, colour=True)
    assert "\x1b" not in plain
    assert coloured != plain
    assert re.sub("\x1b\\[[0-9]+m", "", coloured) == plain
    assert severity in plain
    for line in coloured.split("\n"):  # nothing stays coloured past its line
        assert line.count("\x1b[") == 0 or line.rindex("\x1b[0m") > max(line.rfind("\x1b[1m"), line.rfind("\x1b[3"))


@given(st.text(st.characters()))
def test_whatever_is_shown_can_be_printed(text: str) -> None:
    shown = visible(text)
    assert all(c.isprintable() or c in "\u00a0\u1680\u202f\u205f\u3000" or "\u2000" <= c <= "\u200a" for c in shown)
    shown.encode("utf-8")
    assert visible(shown) == shown
    message = Message("N101", "error", text, Span(text, 1, 3, 4), text or None, text, ((Span(text, 1), text),))
    assert "\x1b" not in render(message, {text: [text]})


def test_json_has_the_fields_that_are_promised() -> None:
    messages = [
        Message(
            "N102",
            "error",
            "`П`.",
            Span("é.stitch", 2, 8, 1),
            advice="K",
            label="not there",
            also=((AT, "nor this"),),
            fix=Fix(2, 8, 1, "K"),
        ),
        Message("K204", "warning", "Long."),
    ]
    assert json.loads(to_json(messages)) == {
        "format": "stitchc-messages/1",
        "messages": [
            {
                "code": "N102",
                "severity": "error",
                "file": "é.stitch",
                "line": 2,
                "column": 8,
                "length": 1,
                "text": "`П`.",
                "cure": "K",
                "fix": {"line": 2, "column": 8, "length": 1, "text": "K"},
            },
            {
                "code": "K204",
                "severity": "warning",
                "file": None,
                "line": None,
                "column": None,
                "length": None,
                "text": "Long.",
                "cure": None,
                "fix": None,
            },
        ],
    }
    assert "П" in to_json(messages)
    assert json.loads(to_json([])) == {"format": "stitchc-messages/1", "messages": []}


def test_order_and_severity() -> None:
    late, early = Message("N101", "error", "b.", AT), Message("N102", "warning", "a.", AT._replace(line=1))
    nowhere = Message("N113", "info", "c.")
    assert in_order([late, early, nowhere, late]) == [nowhere, early, late]
    assert has_errors([early, late])
    assert not has_errors([early, nowhere])
    assert late.as_warning() == late._replace(severity="warning")
    assert nowhere.as_warning() is nowhere
    assert str(Refused(late, early)) == "N101: b.; N102: a."


def test_a_mistake_that_repeats_is_one_message_with_its_lines() -> None:
    wrong = [Message("N102", "error", "`X` is no cell.", Span("f", line), advice="K") for line in (2, 3, 5, 7, 8, 9)]
    other = Message("N102", "error", "`O` is no cell.", Span("f", 4))
    nowhere = Message("N113", "error", "There is no stitch.")
    first, second, third, fourth = grouped([wrong[0], other, *wrong[1:], nowhere, nowhere])
    assert first == wrong[0]._replace(text="`X` is no cell. The same on 5 more lines: 3, 5, 7 to 9.")
    assert (second, third, fourth) == (other, nowhere, nowhere)
    assert grouped(wrong[:2]) == wrong[:2]

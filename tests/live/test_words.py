"""What stitchc says, in the words of the page: nothing of a command line that the page has itself."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from stitchc import explain
from stitchc.gauge import estimate_pattern
from stitchc.live.reading import as_json, read
from stitchc.live.words import advice_parts, in_page_words
from stitchc.machines import SHIPPED, load
from stitchc.notation import compile_text


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        ("assumed at 20 x 26, see --plain", "assumed at 20 x 26, see “Stocking stitch”"),
        ("run: stitchc machines --ask", "run: stitchc machines --ask"),
        ("stitchc machines --write hand-fine > my.toml", "stitchc machines --write hand-fine > my.toml"),
        ("`stitchc swatch` plans a swatch", "“Plan a swatch” plans a swatch"),
        ("does not suit `hand-fine`: each", "does not suit “Hand bed, fine gauge, 3.6 mm, no patterning”: each"),
        ("a hand-fine-tuned yarn", "a hand-fine-tuned yarn"),
        (
            "check it with --machine hand-fine.",
            "check it with the machine “Hand bed, fine gauge, 3.6 mm, no patterning”.",
        ),
    ],
)
def test_sentences_speak_of_what_the_page_has(typed: str, shown: str) -> None:
    assert in_page_words(typed) == shown


@pytest.mark.parametrize(
    ("advice", "parts"),
    [
        ("as in 5, which no line defines yet", [("as in 5, which no line defines yet", False)]),
        ("needles 3, or more, or a smaller edge", [("needles 3, or more, or a smaller edge", False)]),
        ("Keep one of them.", [("Keep one of them.", False)]),
        ("K3 T", [("K3 T", True)]),
        ("4-6", [("4-6", True)]),
        ("stitch a\n    1: K T\n    2: K", [("stitch a\n    1: K T\n    2: K", True)]),
        ("out 4   (all needles on one line)", [("out 4", True), ("   (all needles on one line)", False)]),
        ("as in 1: K\n      2: K", [("as in ", False), ("1: K\n      2: K", True)]),
        (
            "gauge a 21 stitches per 10 cm\nif you counted 21, see --plain.",
            [("gauge a 21 stitches per 10 cm", True), ("\nif you counted 21, see “Stocking stitch”.", False)],
        ),
    ],
)
def test_code_is_what_the_notation_reads(advice: str, parts: list[tuple[str, bool]]) -> None:
    assert advice_parts(advice) == parts


def test_no_message_names_a_machine_or_an_option_as_they_are_typed() -> None:
    """Every wrong example of `stitchc explain`, as the page says what is wrong with it."""
    names = re.compile(rf"--[a-z]|\b({'|'.join(SHIPPED)})\b")
    told = set()
    for code in explain.codes():
        page = explain.page(code)
        if page is None or not page.wrong:
            continue
        for machine in (None, load("card24-standard")):
            for message in as_json(read(page.wrong, "a.stitch", None, machine), "a.stitch", 1)["messages"]:
                told.add(message["code"])
                words = message["text"] + "".join(text for text, typed in message["cure"] if not typed)
                assert not names.search(words), message
    assert {"K207", "N106", "G601", "M302"} <= told


SURPRISING = """stitch steps over 4
    out 3
    1: K T K
    2: K
gauge plain 20 stitches 28 rows per 10 cm
gauge steps 13 stitches 30 rows per 10 cm
"""


def test_a_count_far_from_the_estimate_is_told_as_the_command_tells_it(tmp_path: Path) -> None:
    """Someone counted the stitches alone, and not the empty needles of the ladders."""
    pattern = compile_text(SURPRISING, "a.stitch").pattern
    assert pattern is not None
    (by_command,) = estimate_pattern(pattern).messages
    messages = as_json(read(SURPRISING, "a.stitch", tmp_path, None), "a.stitch", 1)["messages"]
    assert [(each["code"], each["text"], each["line"]) for each in messages] == [("G604", by_command.text, 6)]

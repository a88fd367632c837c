"""What is typed as it stands is set as code, without back-ticks, and never broken over two lines."""

from __future__ import annotations

import pytest

from stitchc.code import stretches
from stitchc.document import Document, Part, Table
from stitchc.document.html import to_html
from stitchc.document.text import to_text

OPTION = '--so-far "drift 40 stitches 23 cm"'


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Plain words - no code", [("Plain words - no code", False)]),
        ("(`stitchc swatch` plans it)", [("(", False), ("stitchc swatch", True), (" plans it)", False)]),
        (f"Or {OPTION}.", [("Or ", False), (OPTION, True), (".", False)]),
        ("one back-tick ` alone", [("one back-tick ` alone", False)]),
    ],
)
def test_code_is_told_from_words(text: str, expected: list[tuple[str, bool]]) -> None:
    assert list(stretches(text)) == expected


@pytest.mark.parametrize("before", range(0, 80, 3))
def test_no_line_of_text_ends_inside_an_option(before: int) -> None:
    text = to_text(Document("t", "k", parts=(Part("P", (f"{'x ' * (before // 2)}use {OPTION} here.",)),)))
    assert OPTION in text and max(map(len, text.splitlines())) <= 80


def test_a_page_shows_code_as_code_and_nothing_raw() -> None:
    page = to_html(Document("t", "k", parts=(Part("P", ("Use `a <b>` now.",)),)))
    assert 'Use <code class="whole">a &lt;b&gt;</code> now.' in page


def test_a_table_too_wide_for_text_leaves_empty_cells_out() -> None:
    table = Table(("section", "asked for", "planned"), (("x" * 60, "4 rows", "12"), ("the whole", "", "y" * 60)))
    text = to_text(Document("t", "k", parts=(Part("P", (table,)),)))
    assert text.count("asked for:") == 1 and "the whole" in text

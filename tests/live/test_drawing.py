"""What is drawn on the chart, written back: held against what the notation's own compiler makes of the new text."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stitchc.live.drawing import CannotDraw, draw_cell
from stitchc.live.first import added
from stitchc.live.row_text import cells_by_run, with_cell
from stitchc.live.sources import Source, source_of
from stitchc.messages import Span
from stitchc.notation import compile_text
from stitchc.notation.cells import read_cells
from stitchc.notation.tree import Word

RUNS = st.builds(
    lambda letter, count: f"{letter}{count}" if count else letter, st.sampled_from("KTSkts"), st.integers(0, 4)
)
ROWS = st.recursive(
    st.lists(RUNS, min_size=1, max_size=4).map(" ".join),
    lambda inner: st.builds(
        lambda a, b, n: f"{a} ({b})x{n}".strip(), st.sampled_from(["", "K", "T2 S"]), inner, st.integers(1, 3)
    ),
    max_leaves=4,
) | st.text("KTSkts", min_size=1, max_size=9)


def letters(text: str) -> str:
    cells, messages = read_cells(Word(text, Span("x", 1)))
    assert cells is not None, messages
    return "".join("KTS"[code] for code in cells.expand().tolist())


@given(ROWS, st.integers(1, 3), st.data())
def test_a_row_with_one_cell_changed_means_the_row_with_that_cell_changed(
    text: str, times: int, data: st.DataObject
) -> None:
    before = letters(text) * times
    index = data.draw(st.integers(0, len(before) - 1))
    letter = data.draw(st.sampled_from("KTS"))
    after = letters(with_cell(text, len(before), index, letter))
    assert after == before[:index] + letter + before[index + 1 :]


@given(ROWS)
def test_every_cell_belongs_to_the_run_it_is_written_in(text: str) -> None:
    row = letters(text)
    found: dict[int, str] = {}
    for start, end, cells in cells_by_run(text):
        assert text[start].upper() in "KTS" and text[start + 1 : end].isdigit() | (end == start + 1)
        for cell in cells:
            assert cell not in found
            found[cell] = text[start].upper()
    assert "".join(found[cell] for cell in range(len(row))) == row


@st.composite
def patterns(draw: st.DrawFn) -> str:
    """A stitch by rows, each line with one row or several, its neighbour built from it."""
    height = draw(st.integers(1, 6))
    left = list(range(1, height + 1))
    lines = []
    width = draw(st.sampled_from([1, 2, 4, 6]))
    while left:
        mine = draw(st.lists(st.sampled_from(left), min_size=1, max_size=len(left), unique=True).map(sorted))
        left = [row for row in left if row not in mine]
        numbers = f"{mine[0]}-{mine[-1]}" if mine == list(range(mine[0], mine[-1] + 1)) else ", ".join(map(str, mine))
        unit = draw(st.sampled_from([each for each in (1, 2, 3, 6) if width % each == 0]))
        cells = draw(st.text("KTS", min_size=unit, max_size=unit))
        gap = draw(st.sampled_from(["", " "]))
        comment = draw(st.sampled_from(["", "  # as it was"]))
        lines.append(f"    {numbers}{draw(st.sampled_from(['', ' in foam']))}: {gap.join(cells)}{comment}")
    return f"yarn foam\nstitch wave over {width}\n" + "\n".join(lines) + "\nstitch two = wave then wave shifted 1\n"


@given(patterns(), st.data())
@settings(max_examples=150)
def test_one_cell_drawn_changes_that_cell_alone(text: str, data: st.DataObject) -> None:
    before = compile_text(text).pattern
    assert before is not None
    chart = before.stitches["wave"].chart
    row, column = data.draw(st.integers(1, chart.height)), data.draw(st.integers(1, chart.width))
    letter = data.draw(st.sampled_from("KTS"))
    drawn = draw_cell(text, "pattern.stitch", None, "wave", row, column, letter)
    after = compile_text(drawn.text).pattern
    assert after is not None
    rows = [list(each) for each in chart.rows()]
    rows[row - 1][column - 1] = letter
    assert after.stitches["wave"].chart.rows() == ["".join(each) for each in rows]
    assert after.stitches["wave"].chart.yarns == chart.yarns
    assert drawn.text.count("# as it was") == text.count("# as it was")
    span = (after.stitches["wave"].row_spans or ())[row - 1]
    assert span.line == drawn.line


@pytest.mark.parametrize(
    ("line", "row", "column", "letter", "lines"),
    [
        ("1-3: K", 2, 2, "T", ["1: K", "2: K T K2", "3: K"]),
        ("1, 3: (K T)x2", 3, 1, "T", ["1: (K T)x2", "3: T2 K T"]),
        ("1, 3: (K T)x2", 1, 1, "S", ["1: S T K T", "3: (K T)x2"]),
        ("1: KTKK", 1, 4, "T", ["1: KTKT"]),
        ("1: k4", 1, 1, "S", ["1: s k3"]),
        ("1: K T K2", 1, 2, "K", ["1: K4"]),
    ],
)
def test_the_writers_form_is_kept_as_far_as_it_goes(
    line: str, row: int, column: int, letter: str, lines: list[str]
) -> None:
    rest = "".join(f"    {number}: K\n" for number in (1, 2, 3) if not re.match(rf"1-|[\d, ]*{number}", line))
    drawn = draw_cell(f"stitch a over 4\n    {line}\n{rest}", "pattern.stitch", None, "a", row, column, letter)
    assert [each.strip() for each in drawn.text.split("\n")[1 : 1 + len(lines)]] == lines


def test_what_is_written_elsewhere_is_not_drawn_on() -> None:
    text = "stitch a\n    1: K T\nstitch b = a then a shifted 1\n"
    with pytest.raises(CannotDraw, match="built from"):
        draw_cell(text, "pattern.stitch", None, "b", 1, 1, "T")
    with pytest.raises(CannotDraw, match="mistake"):
        draw_cell("stitch", "pattern.stitch", None, "b", 1, 1, "T")


FORMS = [
    "a across 2",
    "a up 2",
    "a shifted 1",
    "a shifted 1 left",
    "a mirrored",
    "a reversed",
    "a then b",
    "b beside a up 2",
    "(a then b shifted 2) across 2 mirrored",
    "plain 2 by 3 beside a",
    "(a beside plain 2 by 1) then b across 2",
]


@pytest.mark.parametrize("form", FORMS)
def test_every_cell_of_a_built_stitch_is_the_cell_it_comes_from(form: str) -> None:
    """By the definition of each form: the source's letter is the cell's own."""
    by_rows = "stitch a\n    1: K T\n    2: S K\n    3: K\nstitch b over 4\n    1-3: K T S K\n"
    text = f"{by_rows}stitch c = {form}\nstitch d = c with S for T\n"
    pattern = compile_text(text).pattern
    assert pattern is not None, compile_text(text).messages
    for name in ("c", "d"):
        rows = pattern.stitches[name].chart.rows()
        for row, letters_of_row in enumerate(rows, start=1):
            for column, letter in enumerate(letters_of_row, start=1):
                source = source_of(pattern, text, "pattern.stitch", None, name, row, column)
                if source is None:
                    assert letter == "K" and "plain" in form
                    continue
                own = pattern.stitches[source.stitch].chart.rows()[source.row - 1][source.column - 1]
                assert letter == (own if name == "c" else own.replace("T", "S"))


def test_a_source_is_where_it_was_moved_from() -> None:
    text = "stitch a\n    1: K T\nstitch b = a then a shifted 1\n"
    pattern = compile_text(text).pattern
    assert pattern is not None
    assert source_of(pattern, text, "pattern.stitch", None, "b", 2, 1) == Source("a", 1, 2)


def test_a_traced_stitch_brings_only_the_yarns_that_the_text_does_not_have() -> None:
    text = "yarn tar  # a rope\n\nstitch brick\n    1 in tar: K\n"
    traced = "# traced\nyarn tar\nyarn foam\n\nstitch brick\n    1 in tar: K\n    2 in foam: K\n"
    new = added(text, {"kind": "traced", "traced": traced})["text"]
    assert new.count("yarn tar") == 1 and new.count("yarn foam") == 1 and "stitch brick-2" in new
    assert compile_text(new).pattern is not None

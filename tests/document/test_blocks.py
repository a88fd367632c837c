"""Blocks: every row is in one line, and the rows of a block are as its first ones."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from stitchc.bed import Needles
from stitchc.document import ByHand, Document, Entry, PassRow, Rows, Step
from stitchc.document.blocks import Block, Line, fold, row_numbers, stretches
from stitchc.document.html import to_html


def rows(letters: str) -> list[Entry]:
    """A row for each letter; "-" is done by hand, "." has nothing to do."""
    return [
        ByHand("measure") if letter == "-" else PassRow(at, "", (Step("rest" if letter == "." else "set", letter),))
        for at, letter in enumerate(letters, start=1)
    ]


@given(st.text("ab.-", max_size=80))
def test_every_entry_is_in_one_line_and_as_the_words_it_stands_under(letters: str) -> None:
    entries = rows(letters)
    found: list[int] = []
    for item in fold(entries):
        lines = item.lines if isinstance(item, Block) else (item,)
        if isinstance(item, Block):
            assert item.times >= 2 and "-" not in {letters[line.index] for line in lines}
            count = sum(len(once) for line in lines for once in line.times)
            assert count == item.times * item.period + item.rest
            assert item.ends == (len(found), len(found) + count - 1)
        for line in lines:
            for once in line.times:
                assert len(once) == len(line.times[0]) and all(letters[k] == letters[line.index] for k in once)
                assert len(once) == 1 or letters[line.index] == "."
        found += sorted(index for line in lines for once in line.times for index in once)
    assert found == list(range(len(letters)))


def test_the_longest_stretch_of_whole_repeats_is_one_block() -> None:
    assert stretches("abcd" * 7 + "ab") == [(0, 29, 4)]
    assert stretches("xabcbc" + "y") == [(0, 0, 0), (1, 1, 0), (2, 5, 2), (6, 6, 0)]
    assert stretches("aaaa") == [(0, 3, 1)]
    assert stretches("ababcc" * 10) == [(0, 59, 6)]
    assert stretches("aa") == [(0, 0, 0), (1, 1, 0)]
    assert stretches([None] * 4) == [(0, 0, 0), (1, 1, 0), (2, 2, 0), (3, 3, 0)]
    assert stretches([]) == []


def test_rows_with_nothing_to_do_share_a_line() -> None:
    first, second = (Line((range(1), range(4, 5))), Line((range(1, 2), range(5, 6))))
    (block, *rest) = fold(rows("ab..ab.."))
    assert block == Block((first, second, Line((range(2, 4), range(6, 8)))), 2, 4, 0) and not rest
    assert block.words(5, 12) == "Rows 5 to 12: these 4 rows twice"
    assert (
        Block((first,), 3, 4, 3).words(5, 19)
        == "Rows 5 to 19: these 4 rows 3 times, then the first 3 of them once more"
    )
    assert (
        Block((first,), 3, 4, 1).words(5, 17) == "Rows 5 to 17: these 4 rows 3 times, then the first of them once more"
    )


def test_a_line_names_its_rows() -> None:
    assert row_numbers([[5]]) == "Row 5"
    assert row_numbers([[6, 7, 8]]) == "Rows 6 to 8"
    assert row_numbers([[5], [9]]) == "Rows 5 and 9"
    assert row_numbers([[6, 7], [10, 11], [14]]) == "Rows 6 to 7, 10 to 11 and 14"
    assert row_numbers([[row] for row in range(5, 246, 4)]) == "Rows 5, 9, 13 and so on, last 245"


def test_only_a_repeat_that_a_page_holds_is_kept_together_in_print() -> None:
    """A browser moves a higher one to the next page, and breaks it there all the same."""
    for words, together in (("move 3", True), ("bring out every second needle " * 8, False)):
        entries = [PassRow(at, "", (Step("set", f"{words} {'abcdefgh'[at % 8]}"),)) for at in range(1, 81)]
        page = to_html(Document("cuff", "piece", rows=Rows(tuple(entries), Needles.centred(12), "right")))
        assert '<tr class="block">' in page and ('<tbody class="one">' in page) == together

"""Blocks: every row is in one block or by itself, and the rows of a block are as its first ones."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from stitchc.sheet.blocks import Block, Line, Once, blocks, row_numbers


@given(st.lists(st.sampled_from(["a", "b", None]), max_size=80))
def test_every_entry_is_there_once_and_as_its_model(signs: list[str | None]) -> None:
    expected = 0
    for item in blocks(signs):
        if isinstance(item, Once):
            assert item.index == expected
            expected += 1
            continue
        assert item.first == expected and item.times >= 2
        places = sorted((index, place) for place in range(item.period) for index in item.same(place))
        assert [index for index, _ in places] == list(range(item.first, item.last + 1))
        for index, place in places:
            assert signs[index] is not None and signs[index] == signs[item.first + place]
        assert len(places) == item.times * item.period + item.rest
        expected = item.last + 1
    assert expected == len(signs)


def test_the_longest_stretch_of_whole_repeats_is_one_block() -> None:
    assert blocks(list("abcd" * 7 + "ab")) == [Block(0, 29, 4)]
    assert blocks(list("xabcbc" + "y")) == [Once(0), Once(1), Block(2, 5, 2), Once(6)]
    assert blocks(list("aaaa")) == [Block(0, 3, 1)]
    assert blocks(list("ababcc" * 10)) == [Block(0, 59, 6)]
    assert blocks(list("aa")) == [Once(0), Once(1)]
    assert blocks([None, None, None, None]) == [Once(0), Once(1), Once(2), Once(3)]
    assert blocks([]) == []


@given(st.integers(2, 9), st.integers(2, 5), st.integers(0, 8), st.sets(st.integers(0, 60)))
def test_the_lines_of_a_block_have_all_its_entries_once(period: int, times: int, rest: int, idle: set[int]) -> None:
    block = Block(3, 3 + period * times + min(rest, period - 1) - 1, period)
    lines = block.lines(lambda index: index in idle)
    found = sorted(index for line in lines for once in line.times for index in once)
    assert found == list(range(block.first, block.last + 1))
    for line in lines:
        assert line.index == line.times[0][0] and all(
            list(once) == list(range(once[0], once[-1] + 1)) for once in line.times
        )


def test_passes_with_nothing_to_do_share_a_line_also_where_the_last_time_is_cut_short() -> None:
    assert Block(0, 6, 4).lines(lambda index: index == 3) == [
        Line(0, ((0,), (4,))),
        Line(1, ((1,), (5,))),
        Line(2, ((2, 3), (6,))),
    ]
    assert Block(0, 10, 4).words(5, 15) == "Rows 5 to 15: these 4 rows twice, then the first 3 of them once more"
    assert Block(0, 12, 4).words(5, 17) == "Rows 5 to 17: these 4 rows 3 times, then the first of them once more"


def test_a_line_names_its_rows() -> None:
    assert row_numbers([[5]]) == "Row 5"
    assert row_numbers([[6, 7, 8]]) == "Rows 6 to 8"
    assert row_numbers([[5], [9]]) == "Rows 5 and 9"
    assert row_numbers([[6, 7], [10, 11], [14]]) == "Rows 6 to 7, 10 to 11 and 14"
    assert row_numbers([[row] for row in range(5, 246, 4)]) == "Rows 5, 9, 13 and so on, last 245"

"""Blocks: every row is in one block or by itself, and the rows of a block are as its first ones."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from stitchc.sheet.blocks import Block, Once, blocks


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

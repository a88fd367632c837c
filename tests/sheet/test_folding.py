"""Folding: what is said once and referred to afterwards is what it was."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from stitchc.sheet.folding import Folded, Told, fold


def unfold(items: list[Told | Folded], signs: list[str | None]) -> list[str | None]:
    out: list[str | None] = []
    for item in items:
        if isinstance(item, Told):
            assert item.index == len(out)
            out.append(signs[item.index])
        else:
            assert item.first == len(out) and item.like <= item.like_last < item.first
            model = out[item.like : item.like_last + 1]
            out += [model[k % len(model)] for k in range(item.last - item.first + 1)]
    return out


@given(st.lists(st.sampled_from(["a", "b", "c", None]), max_size=60))
def test_unfolded_it_is_the_same(signs: list[str | None]) -> None:
    assert unfold(fold(signs), signs) == signs


def test_a_repeat_is_told_once() -> None:
    assert fold(list("abcd" * 7 + "ab")) == [Told(0), Told(1), Told(2), Told(3), Folded(4, 29, 0, 3)]
    assert fold(list("aaaa")) == [Told(0), Folded(1, 3, 0, 0)]
    assert fold([]) == []


def test_what_is_done_by_hand_is_never_folded_away() -> None:
    assert [item for item in fold([None, "a", "b", None, "a", "b"]) if isinstance(item, Told)] == [
        Told(0),
        Told(1),
        Told(2),
        Told(3),
    ]

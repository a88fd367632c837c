"""Folding: stretches of a list that repeat an earlier stretch, so that a text says them once."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Final

LEAST_FOLDED: Final = 2
"""Rows that are worth folding; one row alone is told in full."""

MOST_TRIED: Final = 64
"""Earlier places tried for each stretch; the nearest are the ones a person finds."""


@dataclass(frozen=True)
class Told:
    """An entry told in full, by its index."""

    index: int


@dataclass(frozen=True)
class Folded:
    """Entries `first` up to `last` are as those from `like` on, over and over if the stretch is longer than its model.

    Indexes count from 0. The model is the entries from `like` to `like_last`, all before `first`.
    """

    first: int
    last: int
    like: int
    like_last: int


def fold(signs: Sequence[Hashable]) -> list[Told | Folded]:
    """The list told in full once, and afterwards by reference: at each place the longest stretch told before.

    signs: what makes two entries the same; None is never the same as anything.
    """
    places: dict[Hashable, list[int]] = {}
    out: list[Told | Folded] = []
    index, count = 0, len(signs)
    while index < count:
        best_length, best_place = 0, 0
        sign = signs[index]
        for place in reversed(places.get(sign, [])[-MOST_TRIED:]) if sign is not None else ():
            length = 0
            while index + length < count and signs[index + length] == signs[place + length]:
                if signs[index + length] is None:
                    break
                length += 1
            if length > best_length:
                best_length, best_place = length, place
        if best_length >= LEAST_FOLDED:
            last = index + best_length - 1
            out.append(Folded(index, last, best_place, min(index - 1, best_place + best_length - 1)))
            taken = range(index, last + 1)
        else:
            out.append(Told(index))
            taken = range(index, index + 1)
        for each in taken[: MOST_TRIED * 2]:
            if signs[each] is not None:
                places.setdefault(signs[each], []).append(each)
        index = taken[-1] + 1
    return out

"""Where pages end: of all ways to divide what is to be printed, the one with the fewest pages and the least left empty.

Knows heights and how much is lost where a page ends; nothing of what is printed, nor how.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple, Protocol

NEVER: Final = 1000.0
"""What it costs to end a page where none may end: it is done only where nothing else fits on a page."""
_BETWEEN: Final = 0.03
_UNDER_HEADING: Final = 0.12
"""Share of the page that follows a heading, or ends a part on the next page, for nothing to look lost."""
_LOST: Final = 0.4
_FEW_UNDER: Final = 0.085
"""Share under which there are fewer than three lines under a heading."""
_ALONE: Final = 3.0
_SMALLER: Final = 0.02
_LAST: Final = 0.25
"""How much the rest of a last page counts, as against that of another."""
_FEW_LINES: Final = 0.2
"""Share of the page under which a last page looks forgotten."""


class Item(Protocol):
    """Something to be printed, in one or more pieces between which a page may end. before, after: the space around it,
    of which the larger counts between two. keeps: it stays with what follows. is_heading: a part begins with it."""

    before: float
    after: float
    keeps: bool
    is_heading: bool

    @property
    def count(self) -> int:
        """Its pieces."""

    def height(self, first: int, last: int, size: int) -> float:
        """Of the pieces from `first` up to and without `last`, at a size (0: the most comfortable)."""

    def cost(self, place: int) -> float:
        """What is lost where a page ends before this piece, which is not the first."""


class Stretch(NamedTuple):
    """Pieces of one item on a page, from `first` up to and without `last`, its top at `y` from the top of the page."""

    item: int
    first: int
    last: int
    y: float


class Page(NamedTuple):
    """What is on a page. size: at which its items are set."""

    stretches: tuple[Stretch, ...]
    size: int


_Place = tuple[int, int]
"""An item and its piece."""


def paginate(items: Sequence[Item], height: float, sizes: int) -> list[Page]:
    """All items on pages of this height. sizes: at how many they can be set; the largest at which a page holds what is
    on it is taken."""
    return _pages(items, height, sizes, NEVER) or _pages(items, height, sizes, math.inf)


def _pages(items: Sequence[Item], height: float, sizes: int, most: float) -> list[Page]:
    """The best pages of those that cost less than `most`; none where there are no such pages."""
    end = (len(items), 0)
    best: dict[_Place, tuple[float, _Place, int]] = {(0, 0): (0.0, (0, 0), 0)}
    ahead: list[_Place] = [(0, 0)]
    while ahead:
        start = heapq.heappop(ahead)
        so_far = best[start][0]
        if start == end:
            break
        for place, cost, size in _endings(items, start, height, sizes):
            if so_far + cost >= most:
                continue
            if place not in best:
                heapq.heappush(ahead, place)
            if place not in best or so_far + cost < best[place][0]:
                best[place] = (so_far + cost, start, size)
    if end not in best:
        return []
    pages: list[Page] = []
    place = end
    while place != (0, 0):
        _, start, size = best[place]
        pages.append(Page(tuple(_stretches(items, start, place, size)), size))
        place = start
    return pages[::-1]


def _endings(items: Sequence[Item], start: _Place, height: float, sizes: int) -> Iterator[tuple[_Place, float, int]]:
    """Where a page that begins at a place may end, what that costs, and the largest size at which it can."""
    index, first = start
    y, after = [0.0] * sizes, 0.0
    headed: float | None = None
    lost = 0.0
    while index < len(items):
        item = items[index]
        gap = 0.0 if (index, first) == start else max(after, item.before)
        if item.is_heading:
            lost += (
                _LOST if (index, first) != start and headed is None and 0 < y[0] < _UNDER_HEADING / 2 * height else 0
            )
            headed = y[0] + gap
        least = 0
        for last in range(first + 1, item.count + 1):
            for size in range(least, sizes):
                below = y[size] + gap + item.height(first, last, size)
                if below <= height:
                    least = size  # what more pieces need is no less
                    break
            else:
                if (index, last) != (start[0], start[1] + 1):
                    return
                # this piece alone is higher than a page: nothing is left out, at the last size
            whole = last == item.count
            place = (index + 1, 0) if whole else (index, last)
            cost = lost + _SMALLER * size
            if place == (len(items), 0):
                share = below / height
                yield place, cost + 1 + 4 * _LAST * max(0.0, 1 - share) ** 2 + (share < _FEW_LINES), size
                return
            cost += (
                (NEVER if item.keeps else 0.0 if items[index + 1].is_heading else _BETWEEN)
                if whole
                else item.cost(last)
            )
            if headed is not None and not (whole and items[index + 1].is_heading):
                under = (below - headed) / height
                cost += _ALONE if under < _FEW_UNDER else _LOST if under < _UNDER_HEADING else 0
            yield place, cost + 1 + 4 * max(0.0, 1 - below / height) ** 2, size
        y = [y[size] + gap + item.height(first, item.count, size) for size in range(sizes)]
        after = item.after
        index, first = index + 1, 0


def _stretches(items: Sequence[Item], start: _Place, end: _Place, size: int) -> Iterator[Stretch]:
    index, first = start
    y = after = 0.0
    while (index, first) < end:
        item = items[index]
        last = item.count if index < end[0] else end[1]
        y += 0.0 if (index, first) == start else max(after, item.before)
        yield Stretch(index, first, last, y)
        y += item.height(first, last, size)
        after = item.after
        index, first = index + 1, 0

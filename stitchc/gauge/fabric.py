"""One form for all charts of the same endless fabric: wherever the repeat begins, seen from left or from right.

The smallest repeat is turned to a start that its contents choose: first by what its rows and its columns hold, and
where that leaves several starts, by the hash of the whole repeat begun at each. The hashes of all turns come at once:
that of a turn follows from the prefix sums of the first. Two charts have the same form if, and only if, they are the
same fabric.
"""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Callable
from typing import Any, Final, TypeVar

import numpy as np
import numpy.typing as npt

from stitchc.chart import SLIP, TUCK, Cells, Chart

_PRIME: Final = 2**31 - 1
_BASES: Final = ((1_103_515_245, 12_345_701), (1_812_433_253, 69_069_137))
"""Pairs of multipliers, for rows and columns: two hashes of 31 bits each, so that no two turns are alike by chance."""

_CELLS_AT_ONCE: Final = 1 << 18

_SMALL_CELLS: Final = 1 << 12

Hashes = npt.NDArray[np.int64]
Answer = TypeVar("Answer")


def once_for_small_charts(ask: Callable[[Chart], Answer]) -> Callable[[Chart], Answer]:
    """What is worked out of a chart alone: kept for those of few cells, which are asked about at every swatch and size.
    Large ones would fill the memory."""
    kept = functools.lru_cache(maxsize=512)(ask)

    @functools.wraps(ask)
    def answer(chart: Chart) -> Answer:
        return (kept if chart.cells.size <= _SMALL_CELLS else ask)(chart)

    return answer


@once_for_small_charts
def canonical(chart: Chart) -> Chart:
    """The smallest repeat, turned to a start of its own and mirrored if need be; yarns are left out.

    Equal for charts that are the same fabric up to where they start and mirroring, at any size.
    """
    cells = _smallest(_smallest(chart.cells).T).T
    rows = _starts(_contents(cells, axis=1))
    ways = [(face, _starts(_contents(face, axis=0))) for face in (cells, cells[:, ::-1])]
    names = [(least, len(columns)) for _, (least, columns) in ways]
    ways = [way for way, name in zip(ways, names, strict=True) if name == min(names)]
    if len(ways) == len(rows[1]) == len(ways[0][1][1]) == 1:
        face, row, column = ways[0][0], rows[1][0], ways[0][1][1][0]
    else:
        _, face, row, column = min((_least_turn(way[0]) for way in ways), key=lambda turn: turn[0])
    turned = np.ascontiguousarray(np.roll(face, (-row, -column), axis=(0, 1)))
    turned.setflags(write=False)
    return Chart(turned, (None,) * len(turned))


def _contents(cells: Cells, axis: int) -> Hashes:
    """A number for each row (axis 1) or column (axis 0): how many T and S it holds, wherever they stand in it."""
    counts = [(cells == letter).sum(axis=axis, dtype=np.int64) for letter in (TUCK, SLIP)]
    return np.asarray((counts[0] * cells.shape[axis] * 2 + counts[1]) % (_PRIME - 1) + 1, dtype=np.int64)


def _starts(numbers: Hashes) -> tuple[int, list[int]]:
    """The least hash of all turns of a ring of numbers, and where the turns with it start."""
    if len(numbers) == 1:
        return 0, [0]
    first, second = (_turned(numbers[None], base)[0].astype(np.int64) for base, _ in _BASES)
    hashes = (first << 31) | second
    return int(hashes.min()), np.flatnonzero(hashes == hashes.min()).tolist()


def _least_turn(cells: Cells) -> tuple[int, Cells, int, int]:
    """The least hash of all turns of a repeat, the repeat, and the row and column where a turn with it starts."""
    hashes = np.zeros(cells.shape, dtype=np.int64)
    for down, across in _BASES:
        hashes <<= 31
        hashes |= _turned(_turned(cells, across).T, down).T
    row, column = np.unravel_index(int(hashes.argmin()), hashes.shape)
    return int(hashes.min()), cells, int(row), int(column)


def fabric_key(form: Chart) -> bytes:
    """A short name of a canonical form: equal for equal forms alone."""
    return hashlib.sha256(f"{form.width}x{form.height}:".encode() + form.cells.tobytes()).digest()


def same_fabric_key(chart: Chart) -> bytes:
    """Equal for charts that are the same fabric up to where they start and mirroring; yarns are left out."""
    return fabric_key(canonical(chart))


def _smallest(cells: Cells) -> Cells:
    """Cut to the shortest run of rows that repeats a whole number of times."""
    height = rest = len(cells)
    divisor = 2
    while rest > 1:
        if rest % divisor:
            divisor = divisor + 1 if divisor * divisor <= rest else rest
            continue
        rest //= divisor
        shorter = height // divisor
        if np.array_equal(cells[shorter:height], cells[: height - shorter]):
            height = shorter
    return cells[:height]


def _turned(values: npt.NDArray[Any], base: int) -> npt.NDArray[np.uint32]:
    """sum of (values[i + start] + 1) x base^i, over i round the last axis, for every start; modulo the prime."""
    many, length = values.shape
    powers, inverses = _powers(base, length), _powers(pow(base, -1, _PRIME), length)
    hashes = np.empty((many, length), dtype=np.uint32)
    at_once = max(1, _CELLS_AT_ONCE // length)
    for first in range(0, many, at_once):
        some = slice(first, first + at_once)
        terms = (values[some].astype(np.int64) + 1) * powers % _PRIME
        after = np.cumsum(terms, axis=-1)
        whole = after[:, -1:] % _PRIME
        # what stands before a start comes last: whole - before + before x base^length
        after -= terms
        after %= _PRIME
        after *= pow(base, length, _PRIME) - 1
        after += whole
        after %= _PRIME
        after *= inverses
        after %= _PRIME
        hashes[some] = after
    return hashes


def _powers(base: int, count: int) -> Hashes:
    """base^0, base^1, … modulo the prime, by doubling."""
    powers = np.ones(count, dtype=np.int64)
    done = 1
    while done < count:
        more = min(done, count - done)
        powers[done : done + more] = powers[:more] * pow(base, done, _PRIME) % _PRIME
        done += more
    return powers

"""The smallest repeat in a field of cells, and repeats that all but a few cells agree with. Knows letters and how
sure each of them is, and nothing of pictures.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.chart import KNIT, OUT, SLIP, TUCK, Cells, Chart
from stitchc.messages import Message, Refused
from stitchc.trace import words
from stitchc.trace.traced import Ask

_MOST_COMPARED: Final = 4_000_000
"""Cells times repeats that are compared in the search for repeats with a few wrong cells."""
_MOST_WRONG: Final = 0.02
"""The share of cells that may disagree with a repeat for it to be worth a word."""


@dataclass(frozen=True)
class Near:
    """A repeat that most cells agree with. odd: the (row, column) of each cell that does not."""

    width: int
    height: int
    odd: tuple[tuple[int, int], ...]


def reduced(whole: Chart, sure: npt.NDArray[np.float32], ask: Ask, file: str) -> tuple[Chart, list[Message]]:
    """The repeat that was asked for, and what is to be said of it: cells that were outvoted, other repeats that nearly
    fit. sure: how sure each cell is, 0 to 1. Raises Refused T809 for a repeat larger than the picture shows.
    """
    width, height = _size_asked(whole.cells, ask, file)
    if isinstance(ask.repeat, tuple):
        cells, odd = folded(whole.cells, sure, width, height)
        chart = Chart(cells, (None,) * height)
        return chart, [words.outvoted(whole, chart, row, column) for row, column in odd]
    chart = Chart(whole.cells[:height, :width].copy(), (None,) * height)
    if ask.repeat == "whole":
        return chart, []
    messages = []
    near = nearly(whole.cells, sure)
    if near is not None:
        messages.append(words.nearly_repeated(near.width, near.height, near.odd))
    elif (part := cut_off(whole.cells)) is not None:
        messages.append(words.repeat_cut_off(*part))
    return chart, messages


def _size_asked(cells: Cells, ask: Ask, file: str) -> tuple[int, int]:
    rows, columns = cells.shape
    if ask.repeat == "whole":
        return columns, rows
    if ask.repeat == "smallest":
        return smallest(cells)
    width, height = ask.repeat
    if width > columns or height > rows:
        raise Refused(words.repeat_too_large(width, height, file, columns, rows))
    return width, height


def smallest(cells: Cells) -> tuple[int, int]:
    """Width and height of the smallest repeat that fills the field a whole number of times."""
    return _period(cells.T), _period(cells)


def _period(rows: Cells) -> int:
    count = len(rows)
    for period in range(1, count // 2 + 1):
        if count % period == 0 and np.array_equal(rows[:-period], rows[period:]):
            return period
    return count


def cut_off(cells: Cells) -> tuple[int, int] | None:
    """Width and height of a repeat that the field shows at least twice each way it is smaller, the last time only in
    part; None where there is no such."""
    sizes = []
    for rows in (cells.T, cells):
        whole = _period(rows)
        found = whole
        for period in range(1, len(rows) // 2 + 1):
            if np.array_equal(rows[:-period], rows[period:]):
                found = min(whole, period)
                break
        sizes.append(found)
    width, height = sizes
    return (width, height) if (width, height) != smallest(cells) else None


def folded(
    cells: Cells, sure: npt.NDArray[np.floating], width: int, height: int
) -> tuple[Cells, tuple[tuple[int, int], ...]]:
    """The repeat of this size that the cells agree on best, each counting as much as it is sure, and the (row, column)
    of every cell that was outvoted."""
    won, place = _voted(cells, sure, width, height)
    odd = np.argwhere(cells != won[place])
    return won.reshape(height, width), tuple((int(row), int(column)) for row, column in odd)


def _voted(cells: Cells, sure: npt.NDArray[np.floating], width: int, height: int) -> tuple[Cells, npt.NDArray[np.intp]]:
    """The code that won at each place of the repeat, and each cell's place."""
    rows, columns = cells.shape
    place = (np.arange(rows) % height)[:, None] * width + (np.arange(columns) % width)[None, :]
    votes = np.zeros((4, width * height))
    for code in (KNIT, TUCK, SLIP, OUT):
        votes[code] = np.bincount(
            place.ravel(), np.where(cells == code, sure, 0).ravel().astype(np.float64), width * height
        )
    won = votes.argmax(axis=0).reshape(height, width)
    partly = (won == OUT).any(axis=0) & ~(won == OUT).all(axis=0)  # a needle is out of work in every row or in none
    votes[OUT].reshape(height, width)[:, partly] = -1
    return votes.argmax(axis=0).astype(np.uint8), place


def nearly(cells: Cells, sure: npt.NDArray[np.floating]) -> Near | None:
    """The smallest repeat, shown at least three times, that all but a few cells agree with; None where every cell
    agrees with one that is as small, or where too many cells disagree."""
    rows, columns = cells.shape
    exact = smallest(cells)
    sizes = sorted(
        (
            (width, height)
            for width in _divisors(columns)
            for height in _divisors(rows)
            if width * height < exact[0] * exact[1] and (columns // width) * (rows // height) >= 3
        ),
        key=lambda size: size[0] * size[1],
    )
    spent = 0
    for width, height in sizes:
        spent += cells.size
        if spent > _MOST_COMPARED:
            return None
        won, place = _voted(cells, sure, width, height)
        if 0 < int((cells != won[place]).sum()) <= max(1, _MOST_WRONG * cells.size):
            return Near(width, height, folded(cells, sure, width, height)[1])
    return None


def _divisors(number: int) -> list[int]:
    return [value for value in range(1, number + 1) if number % value == 0]

"""A stitch written row by row to its chart: rows read, repeated to the width and put where their numbers say."""

from __future__ import annotations

import itertools
import math
from collections.abc import Container, Iterable, Mapping, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.chart import MAX_CELLS, Chart
from stitchc.messages import Message, Span
from stitchc.notation.cells import RowCells, read_cells
from stitchc.notation.faults import MOST_MESSAGES, Faults
from stitchc.notation.gather import Gathered, StitchLines
from stitchc.notation.tree import Row, RowRange, Word
from stitchc.pattern import Stitch

_WIDEST_OFFERED: Final = 1000
"""The widest repeat that a cure proposes."""
_MANY_ALIKE: Final = 16
"""From so many rows alike on they are put into the chart all at once."""


def stitch_by_rows(key: str, definition: StitchLines, gathered: Gathered) -> Stitch | None:
    """The stitch named `key`, or None once what is wrong with its rows has been reported."""
    name, faults = definition.name, gathered.faults
    before = faults.count
    over = None
    if definition.over is not None:
        over = faults.counted(definition.over, "A stitch's width", most=MAX_CELLS)
    alike = _rows_by_text(definition.rows, gathered)
    yarns = [gathered.known_yarn(row.yarn) if row.yarn is not None else None for row in definition.rows]
    height = _row_numbers(definition, faults)
    if over is not None:  # which rows do not go into it can be told whatever else is wrong
        _hold_to(over, alike, definition, faults)
    if faults.count > before or height is None or definition.spoilt:
        return None
    if any(row.yarn and not yarn for row, yarn in zip(definition.rows, yarns, strict=True)):
        return None  # the yarn's own line could not be read
    width = over if over is not None else max(cells.width for cells, _ in alike.values())
    if over is None:
        _hold_to(width, alike, definition, faults)
        if faults.count > before:
            return None
    if width * height > MAX_CELLS:
        faults.error(
            "N110",
            f"`{name.shown}` is {width:,} needles by {height:,} rows; a chart has at most {MAX_CELLS:,} cells.",
            name.span,
            cure="Write one repeat; it goes on for ever by itself.",
        )
        return None
    matrix = np.empty((height, width), dtype=np.uint8)
    for cells, rows in alike.values():
        whole = cells.expand() if cells.width == width else np.tile(cells.expand(), width // cells.width)
        if len(rows) < _MANY_ALIKE:
            for row in rows:
                for first, last in zip(row.numbers[::4], row.numbers[1::4], strict=True):
                    matrix[first - 1 : last] = whole
        else:
            matrix[_indices(rows)] = whole
    matrix.setflags(write=False)
    row_yarns: list[str | None] = [None] * height
    spans: list[Span] = [name.span] * height
    for row, yarn in zip(definition.rows, yarns, strict=True):
        span = row.span
        for first, last in zip(row.numbers[::4], row.numbers[1::4], strict=True):
            spans[first - 1 : last] = [span] * (last - first + 1)
            if yarn is not None:
                row_yarns[first - 1 : last] = [yarn] * (last - first + 1)
    return Stitch(key, Chart(matrix, tuple(row_yarns)), name.span, tuple(spans))


def _rows_by_text(rows: Sequence[Row], gathered: Gathered) -> dict[str, tuple[RowCells, list[Row]]]:
    """The rows that can be read by how their cells are written, so that each writing is read once."""
    alike: dict[str, tuple[RowCells, list[Row]]] = {}
    wrong: set[str] = set()
    faults = gathered.faults
    for row in rows:
        if row.text in alike:
            alike[row.text][1].append(row)
            continue
        if row.text in wrong and faults.count > MOST_MESSAGES:
            continue
        cells, messages = read_cells(Word(row.text, row.span))
        for message in _mended(row, messages, gathered.yarns) if messages else ():
            faults.add(message)
        if cells is not None:
            alike[row.text] = cells, [row]
        else:
            wrong.add(row.text)
    return alike


def _mended(row: Row, messages: Sequence[Message], yarns: Container[str]) -> Sequence[Message]:
    """The messages about a row's cells; one with the whole row as its cure, where it is clear what was meant."""
    if any(message.code not in ("N101", "N102", "N115") for message in messages):
        return messages
    from stitchc.notation.meant_cells import row_meant

    ranges = zip(row.numbers[:32:4], row.numbers[1:32:4], strict=True)
    head = ", ".join(f"{first}" if first == last else f"{first}-{last}" for first, last in ranges)
    head += ", …" * (len(row.numbers) > 32) + (f" in {row.yarn.shown}" if row.yarn is not None else "")
    meant = row_meant(head, row.text, row.yarn is not None, yarns)
    if meant is None:
        return messages
    message = messages[0]._replace(cure=meant.cells)
    if meant.said:
        first, last = meant.place or (0, len(row.text))
        span = row.span._replace(column=row.column + first, length=last - first)
        message = message._replace(code=meant.code, text=meant.said, span=span, label="")
    return [message]


def _row_numbers(definition: StitchLines, faults: Faults) -> int | None:
    """The highest row number, if rows 1 to it are each given exactly once (N106, N107, N110, N115)."""
    if (reached := _reached(definition.rows)) is not None:
        return reached
    before, name, rows = faults.count, definition.name, definition.rows
    if not rows and not definition.spoilt:
        faults.error(
            "N107",
            f"`{name.shown}` has no rows.",
            name.span,
            label="row 1 is missing",
            cure="1: K T   (on the line below)",
        )
    if not rows:
        return None
    given = _numbers(rows)
    # which row line each range stands in, and which range of that line it is
    line = np.repeat(np.arange(len(rows)), [len(row.numbers) // 4 for row in rows])
    nth = np.arange(len(given)) - np.searchsorted(line, line)

    def at(index: int) -> RowRange:
        return rows[int(line[index])].range(int(nth[index]))

    firsts, lasts = given[:, 0], given[:, 1]
    for index in np.flatnonzero((firsts < 1) | (lasts < firsts) | (lasts > MAX_CELLS))[:MOST_MESSAGES].tolist():
        _out_of_range(at(index), faults)
    if faults.count > before or definition.spoilt:
        return None
    order = np.argsort(firsts, kind="stable")
    firsts, lasts = firsts[order], lasts[order]
    highest = np.maximum.accumulate(lasts)
    below = np.concatenate(([0], highest[:-1]))  # the highest row given before each range
    owner = np.maximum.accumulate(np.where(lasts > below, np.arange(len(lasts)), 0))
    top = int(highest[-1])
    for place in np.flatnonzero(firsts != below + 1)[:MOST_MESSAGES].tolist():
        numbers, so_far = at(int(order[place])), int(below[place])
        if numbers.first <= so_far:
            _given_twice(at(int(order[owner[place - 1]])), numbers, so_far, top, name, faults)
        else:
            _missing(numbers, so_far, name, _from_the_top(rows), faults)
    return top if faults.count == before else None


def _out_of_range(numbers: RowRange, faults: Faults) -> None:
    if numbers.first < 1 or numbers.last < 1:
        faults.error("N115", "Rows count from 1.", numbers.span, cure="1")
    elif numbers.last < numbers.first:
        text = "A range of rows runs from the lower number to the higher."
        faults.error("N115", text, numbers.span, cure=f"{numbers.last}-{numbers.first}")
    else:
        text = f"A chart has at most {MAX_CELLS:,} rows."
        cure = "Number the rows from 1."
        if numbers.first <= MAX_CELLS:
            cure = f"{numbers.first}   (a stitch is one repeat, and goes on for ever by itself)"
        faults.error("N110", text, numbers.span, cure=cure)


def _given_twice(one: RowRange, two: RowRange, reached: int, top: int, name: Word, faults: Faults) -> None:
    """`two` begins at or below `reached`, where `one` ends; whichever is written later is the mistake."""
    last = min(two.last, reached)
    many = f"Rows {two.first} to {last}" if last > two.first else f"Row {two.first}"
    later, earlier = (two, one) if two.span > one.span else (one, two)
    length = later.last - later.first
    if later is two and two.last > reached:
        cure = _rows_said(reached + 1, two.last)
    elif later is one and one.first < two.first:
        cure = _rows_said(one.first, two.first - 1)
    else:
        cure = f"{_rows_said(top + 1, top + 1 + length)}, or {'other rows' if length else 'another row'}"
    faults.error(
        "N106",
        f"{many} of `{name.shown}` {'are' if last > two.first else 'is'} given twice.",
        later.span,
        label="given again here",
        cure=cure,
        also=((earlier.span, "first given here"),),
    )


def _missing(numbers: RowRange, reached: int, name: Word, from_the_top: bool, faults: Faults) -> None:
    first, last = reached + 1, numbers.first - 1
    many = f"Rows {first} to {last}" if last > first else f"Row {first}"
    hint = "   (the first row knitted, the lowest of a chart, is row 1)" if from_the_top and not reached else ""
    faults.error(
        "N107",
        f"{many} of `{name.shown}` {'are' if last > first else 'is'} missing.",
        numbers.span,
        label="rows go on here",
        cure=f"{_rows_said(first, last)}: K{hint}",
    )


def _hold_to(
    width: int, alike: Mapping[str, tuple[RowCells, list[Row]]], definition: StitchLines, faults: Faults
) -> None:
    """N108 for every row that does not go a whole number of times into the stitch's width."""
    common = _common_width(cells.width for cells, _ in alike.values())
    for cells, rows in alike.values():
        if width % cells.width:
            for row in rows:
                _does_not_go(row, cells.width, width, definition, common, faults)


def _does_not_go(row: Row, small: int, width: int, definition: StitchLines, common: int | None, faults: Faults) -> None:
    offered = f"over {common}   (after the stitch's name)" if definition.over is None and common else ""
    faults.error(
        "N108",
        f"This row is {small} needles wide, which does not go into the stitch's {width}.",
        row.span,
        label=f"over {width}" if definition.over is not None else f"its widest row is {width}",
        cure=offered or f"a row of {_divisors(width)} needles",
    )


def _common_width(widths: Iterable[int]) -> int | None:
    """The least width that all go into, if it is one that somebody might want."""
    common = 1
    for width in widths:
        common = math.lcm(common, width)
        if common > _WIDEST_OFFERED:
            return None
    return common


def _rows_said(first: int, last: int) -> str:
    return f"{first}-{last}" if last > first else f"{first}"


def _from_the_top(rows: Sequence[Row]) -> bool:
    """Whether the rows are written last one first."""
    firsts = [row.numbers[0] for row in rows]
    return len(firsts) > 1 and all(here > there for here, there in itertools.pairwise(firsts))


def _numbers(rows: Sequence[Row]) -> npt.NDArray[np.int64]:
    """The row numbers, shape (ranges, 4), as Row has them."""
    return np.fromiter(itertools.chain.from_iterable(row.numbers for row in rows), dtype=np.int64).reshape(-1, 4)


def _indices(rows: Sequence[Row]) -> npt.NDArray[np.int64]:
    """Where the rows stand in the chart, counted from 0."""
    flat = _numbers(rows)
    heights = flat[:, 1] - flat[:, 0] + 1
    starts = flat[:, 0] - 1 - (heights.cumsum() - heights)
    at: npt.NDArray[np.int64] = np.arange(heights.sum()) + np.repeat(starts, heights)
    return at


def _reached(rows: Sequence[Row]) -> int | None:
    """The highest row number where all is well: rows 1 to it given exactly once, and not too many for a chart."""
    if not rows:
        return None
    flat = _numbers(rows)
    flat = flat[np.argsort(flat[:, 0], kind="stable")]
    firsts, lasts = flat[:, 0], flat[:, 1]
    if firsts[0] != 1 or (firsts[1:] != lasts[:-1] + 1).any() or (lasts < firsts).any() or lasts[-1] > MAX_CELLS:
        return None
    return int(lasts[-1])


def _divisors(width: int) -> str:
    found = [n for n in range(1, min(width, 200) + 1) if width % n == 0]
    return ", ".join(map(str, found[:8])) + (" …" if len(found) > 8 else "")

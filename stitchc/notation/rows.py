"""A stitch written row by row to its chart: rows read, repeated to the width and put where their numbers say."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.chart import MAX_CELLS, OUT, Chart
from stitchc.english import listed, number, numbered
from stitchc.messages import Message, Span
from stitchc.notation.cells import RowCells, read_cells
from stitchc.notation.faults import MOST_MESSAGES, Faults
from stitchc.notation.gather import Gathered, StitchLines
from stitchc.notation.tree import Range, Row, Word, shortened
from stitchc.notation.vocabulary import short_number
from stitchc.notation.writer import row_text
from stitchc.pattern import Stitch

_WIDEST_OFFERED: Final = 48
"""The widest repeat that is proposed where rows do not fit: two widths of the widest card."""
_MISCOUNTED: Final = 2
"""Needles by which a row is taken for miscounted."""
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
    widest = max((cells.width for cells, _ in alike.values()), default=0)
    out = _needles_out(definition, over, widest, faults)
    if over is not None and out is not None and not definition.out_lost:  # whatever else is wrong, these do not go
        _hold_to(over - len(out), alike, definition, out, faults)
    if faults.count > before or height is None or out is None or definition.spoilt:
        return None
    if any(row.yarn and not yarn for row, yarn in zip(definition.rows, yarns, strict=True)):
        return None  # the yarn's own line could not be read
    working = over - len(out) if over is not None else widest
    width = working + len(out)
    if over is None:
        _hold_to(working, alike, definition, out, faults)
        if faults.count > before:
            return None
    if width * height > MAX_CELLS:
        size = f"{number(width, 'needle')} by {number(height, 'row')}"
        faults.error(
            "N110",
            f"`{name.shown}` is {size}; a chart has at most {MAX_CELLS:,} cells.",
            name.span,
            advice="Write one repeat; it is repeated for you.",
        )
        return None
    matrix = np.empty((height, working), dtype=np.uint8)
    for cells, rows in alike.values():
        whole = cells.expand() if cells.width == working else np.tile(cells.expand(), working // cells.width)
        if len(rows) < _MANY_ALIKE:
            for row in rows:
                for first, last in zip(row.numbers[::4], row.numbers[1::4], strict=True):
                    matrix[first - 1 : last] = whole
        else:
            matrix[_indices(rows)] = whole
    if out:
        in_work = matrix
        matrix = np.full((height, width), OUT, dtype=np.uint8)
        matrix[:, np.delete(np.arange(width), np.array(out) - 1)] = in_work
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


def _needles_out(definition: StitchLines, over: int | None, widest: int, faults: Faults) -> list[int] | None:
    """The needles out of work, from 1, or None once what is wrong with the `out` line has been reported (N119).

    over: the stitch's width where it is given. widest: needles in work of the widest row, 0 where no row can be read.
    """
    if definition.out is None:
        return []
    name, ranges = definition.name.shown, definition.out.ranges
    for each in ranges:
        if each.first < 1 or each.last < 1:
            faults.error("N119", "Needles of a stitch count from 1.", each.span, advice="1")
            return None
        if each.last < each.first:
            text = "Write a range of needles from the lower number to the higher."
            faults.error("N119", text, each.span, advice=f"{each.last}-{each.first}")
            return None
    for nth, each in enumerate(ranges):
        if any(each.first <= other.last and other.first <= each.last for other in ranges[:nth]):
            faults.error("N119", f"`{each.text}` puts a needle out of work again.", each.span, advice="Leave it out.")
            return None
    count = sum(each.last - each.first + 1 for each in ranges)
    width = over if over is not None else widest + count
    beyond = next((each for each in ranges if each.last > width), None)
    if beyond is not None and (over is not None or widest):
        text = f"`{name}` is {number(width, 'needle')} wide and has no needle {short_number(str(beyond.last))}."
        wider = over is None and beyond.last <= MAX_CELLS
        advice = f"over {beyond.last}   (after the stitch's name)" if wider else f"A needle from 1 to {width:,}."
        faults.error("N119", text, beyond.span, advice=advice)
        return None
    if over is not None and count >= over:
        text = f"All {number(over, 'needle')} of `{name}` would be out of work; at least one stays in work."
        faults.error("N119", text, definition.out.span, advice="Name fewer needles.")
        return None
    return sorted(itertools.chain.from_iterable(range(each.first, each.last + 1) for each in ranges)) if width else None


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
        for message in _worded(row, messages, gathered.yarns) if messages else ():
            faults.add(message)
        if cells is not None:
            alike[row.text] = cells, [row]
        else:
            wrong.add(row.text)
    return alike


def _worded(row: Row, messages: list[Message], yarns: Collection[str]) -> list[Message]:
    """The messages about a row's cells, or one about two yarns where the row is written in the names of yarns."""
    words = row.text.split()
    if len(names := list(dict.fromkeys(words))) < 2 or len(words) > 200 or not all(word in yarns for word in words):
        return messages
    lines = [
        f"{nth} in {name}: {' '.join('K' if word == name else 'S' for word in words)}"
        for nth, name in enumerate(names, start=1)
    ]
    text = f"A row is knitted in one yarn, so `{shortened(names[0])}` and `{shortened(names[1])}` can't share this row."
    each = "   (a row for each yarn, which knits its own needles and slips the others)"
    advice = "as in " + "\n      ".join(lines) + each
    return [Message("N102", "error", text, row.span, advice=advice)]


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
            advice="1: K T   (on the line below)",
        )
    if not rows:
        return None
    given = _numbers(rows)
    # which row line each range stands in, and which range of that line it is
    line = np.repeat(np.arange(len(rows)), [len(row.numbers) // 4 for row in rows])
    nth = np.arange(len(given)) - np.searchsorted(line, line)

    def range_of(index: int) -> Range:
        return rows[int(line[index])].range(int(nth[index]))

    firsts, lasts = given[:, 0], given[:, 1]
    for index in np.flatnonzero((firsts < 1) | (lasts < firsts) | (lasts > MAX_CELLS))[:MOST_MESSAGES].tolist():
        _out_of_range(range_of(index), faults)
    if faults.count > before or definition.spoilt:
        return None
    order = np.argsort(firsts, kind="stable")
    firsts, lasts = firsts[order], lasts[order]
    highest = np.maximum.accumulate(lasts)
    below = np.concatenate(([0], highest[:-1]))  # the highest row given before each range
    owner = np.maximum.accumulate(np.where(lasts > below, np.arange(len(lasts)), 0))
    top = int(highest[-1])
    blamed: set[int] = set()
    for place in np.flatnonzero(firsts != below + 1)[:MOST_MESSAGES].tolist():
        index, so_far = int(order[place]), int(below[place])
        if range_of(index).first > so_far:
            _missing(range_of(index), so_far, name, _from_the_top(rows), faults)
            continue
        other = int(order[owner[place - 1]])
        later, earlier = (index, other) if range_of(index).span > range_of(other).span else (other, index)
        if later not in blamed:
            blamed.add(later)
            left = _left(given, later)
            _given_twice(range_of(earlier), range_of(later), min(range_of(index).last, so_far), left, top, name, faults)
    return top if faults.count == before else None


def _left(given: npt.NDArray[np.int64], index: int) -> str:
    """The rows of one range that no other range gives, as the notation has them."""
    first, last = given[index, :2].tolist()
    others = np.delete(given, index, axis=0)
    others = others[(others[:, 0] <= last) & (others[:, 1] >= first)]
    parts: list[str] = []
    for other in others[np.argsort(others[:, 0], kind="stable")].tolist():
        if other[0] > first:
            parts.append(_range_text(first, other[0] - 1))
        first = max(first, other[1] + 1)
    if first <= last:
        parts.append(_range_text(first, last))
    return ", ".join(parts)


def _out_of_range(numbers: Range, faults: Faults) -> None:
    if numbers.first < 1 or numbers.last < 1:
        faults.error("N115", "Rows count from 1.", numbers.span, advice="1")
    elif numbers.last < numbers.first:
        text = "Write a range of rows from the lower number to the higher."
        faults.error("N115", text, numbers.span, advice=f"{numbers.last}-{numbers.first}")
    else:
        text = f"A chart has at most {MAX_CELLS:,} rows."
        advice = "Number the rows from 1."
        if numbers.first <= MAX_CELLS:
            advice = f"{numbers.first}   (a stitch is one repeat, which is repeated for you)"
        faults.error("N110", text, numbers.span, advice=advice)


def _given_twice(earlier: Range, later: Range, reached: int, left: str, top: int, name: Word, faults: Faults) -> None:
    """N106 about the range that is written later. reached: the last row that both give; left: rows it alone gives."""
    first = max(earlier.first, later.first)
    many = f"Rows {first} to {reached}" if reached > first else f"Row {first}"
    free = _range_text(top + 1, top + 1 + later.last - later.first)
    advice = left or f"Number {'these rows' if later.last > later.first else 'this row'} {free}."
    faults.error(
        "N106",
        f"{many} of `{name.shown}` {'are' if reached > first else 'is'} given twice.",
        later.span,
        label="given again here",
        advice=advice,
        also=((earlier.span, "first given here"),),
    )


def _missing(numbers: Range, reached: int, name: Word, from_the_top: bool, faults: Faults) -> None:
    first, last = reached + 1, numbers.first - 1
    many = f"Rows {first} to {last}" if last > first else f"Row {first}"
    hint = "   (the first row knitted, the lowest of a chart, is row 1)" if from_the_top and not reached else ""
    faults.error(
        "N107",
        f"{many} of `{name.shown}` {'are' if last > first else 'is'} missing.",
        numbers.span,
        label="rows go on here",
        advice=f"{_range_text(first, last)}: K{hint}",
    )


def _hold_to(
    width: int,
    alike: Mapping[str, tuple[RowCells, list[Row]]],
    definition: StitchLines,
    out: Sequence[int],
    faults: Faults,
) -> None:
    """N108 for every row that does not go a whole number of times into the `width` needles of the stitch that are in
    work; N119 where it is written for those `out` of work as well."""
    common = _common_width(cells.width for cells, _ in alike.values())
    if definition.over is None and any(width % cells.width for cells, _ in alike.values()):
        sizes: Counter[int] = Counter()
        for cells, rows in alike.values():
            sizes[cells.width] += len(rows)
        most = max(sizes, key=lambda size: (sizes[size], size))
        if width - most <= _MISCOUNTED and width % most:
            width = most  # the widest row is the one that is miscounted
    for cells, rows in alike.values():
        if width % cells.width == 0:
            continue
        for row in rows:
            if out and cells.width == width + len(out):
                _written_for_all(row, cells, out, faults)
            else:
                _does_not_go(row, cells.width, width, definition, len(out), common, faults)


def _written_for_all(row: Row, cells: RowCells, out: Sequence[int], faults: Faults) -> None:
    text = (
        f"This row is written for all {cells.width} needles, but {numbered('needle', out)} "
        f"{'is' if len(out) == 1 else 'are'} out of work: write it for the other {cells.width - len(out)}."
    )
    kept = np.delete(cells.expand(), np.array(out) - 1)
    faults.error("N119", text, row.span, advice=row_text(kept) if len(kept) <= _WIDEST_OFFERED else None)


def _does_not_go(
    row: Row, small: int, width: int, definition: StitchLines, out: int, common: int | None, faults: Faults
) -> None:
    """N108. small: the row's needles. width: needles in work; out: those out of work beside them."""
    whole = f"the {number(width, 'needle')} in work" if out else f"the stitch's {width}"
    goes = [size for size in range(1, width + 1) if width % size == 0] if width <= MAX_CELLS // 100 else [width]
    close = [size for size in goes if abs(size - small) <= _MISCOUNTED and size > 4]
    near = min(close, key=lambda size: abs(size - small), default=0)
    text = f"This row is {small} needles wide, which does not fit evenly into {whole}."
    if near:
        apart = near - small
        wrong = f"{number(abs(apart), 'needle')} {'short' if apart > 0 else 'too long'}"
        text = f"This row is {wrong}: it has {small}, and {near} would fit evenly into {whole}."
        if near == width:
            wide = f"has {width} in work" if out else f"is {width} wide"
            text = f"This row is {wrong}: it has {small}, and the stitch {wide}."
    advice = f"a row of {_divisors(width)} needle{'' if width == 1 else 's'}"
    if definition.over is None and common is not None:
        advice = (f"{advice}; or else " if near else "") + f"over {common + out} after the stitch's name"
    faults.error(
        "N108",
        text,
        row.span,
        label=f"over {width + out}" if definition.over is not None else f"the stitch is {width + out} wide",
        advice=advice,
    )


def _common_width(widths: Iterable[int]) -> int | None:
    """The least width that all go into, where it is a repeat that somebody might want."""
    common = 1
    for width in widths:
        common = math.lcm(common, width)
        if common > _WIDEST_OFFERED:
            return None
    return common


def _range_text(first: int, last: int) -> str:
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
    indices: npt.NDArray[np.int64] = np.arange(heights.sum()) + np.repeat(starts, heights)
    return indices


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
    divisors = [str(n) for n in range(1, min(width, 200) + 1) if width % n == 0]
    return listed(divisors, "or") if len(divisors) <= 8 else ", ".join(divisors[:8]) + " …"

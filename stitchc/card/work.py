"""Least work: equal cards that are cheaper to punch or to knit with. Offers only; nothing is changed unasked.

Knows a chart and a card as values; nothing of pages.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from stitchc.card.plan import Card, one_of_each_pair
from stitchc.chart import SLIP, TUCK, Chart
from stitchc.english import number
from stitchc.machines.fit import fitted_rows
from stitchc.machines.profile import Machine
from stitchc.wording import OPTION


def holes_of(chart: Chart, machine: Machine, least_rows: int | None = None) -> tuple[int, int]:
    """Rows and holes (joining rows aside) of the card that a chart makes for a machine that reads cards."""
    assert machine.card is not None and machine.reader_width is not None
    rows, columns = fitted_rows(chart, machine.card, least_rows), machine.reader_width
    held = int(chart.held.sum()) * (columns // chart.width) * (rows // chart.height)
    return rows, rows * columns - held if machine.mark_means == "knit" else held


def directions(chart: Chart, code: int) -> set[int]:
    """In which of two alternating directions passes with such cells fall, counted from the first row (0 and 1): both
    where the repeat has an odd number of rows, since it then begins the other way next time."""
    rows = np.flatnonzero((chart.cells == code).any(axis=1))
    if not rows.size:
        return set()
    return {0, 1} if chart.height % 2 else set((rows % 2).tolist())


def clear_shift(chart: Chart, columns: int) -> int | None:
    """The smallest shift (needles to the right; negative to the left) after which the first and the last column of
    the card knit in every row; 0 where they do now, None where no shift does it."""
    busy = chart.tiled(columns, chart.height).held.any(axis=0)
    for shift in sorted(range(-(chart.width // 2), chart.width // 2 + 1), key=lambda by: (abs(by), by < 0)):
        moved = np.roll(busy, shift)
        if not moved[0] and not moved[-1]:
            return shift
    return None


def least_work(card: Card, asked_rows: int | None = None) -> list[str]:
    """Sentences: how much there is to punch, and what would be equal but cheaper."""
    return [
        f"{card.hole_count} holes to punch in {card.rows} rows"
        + (f", and {card.joining_hole_count} in the joining rows." if card.joining_hole_count else "."),
        *_fewer_holes(card.unit, card, asked_rows),
        *(_nothing_halved(card, asked_rows) if card.each_row_twice else ()),
        *([] if card.each_row_twice else _one_direction(card.unit, card)),
        *_clear_ends(card),
    ]


def _fewer_holes(chart: Chart, card: Card, asked_rows: int | None) -> Iterator[str]:
    small = chart.smallest_repeat()
    rows, holes = holes_of(small, card.machine, asked_rows)
    if holes < card.hole_count:
        yield (
            f"The repeat is really {small.width} by {small.height}: written like that, {rows} rows are enough, with "
            f"{holes} holes ({card.hole_count - holes} fewer)."
        )
    half = None if card.each_row_twice else one_of_each_pair(chart)
    if half is not None:
        rows, holes = holes_of(half, card.machine, -(-asked_rows // 2) if asked_rows else None)
        if holes < card.hole_count:
            yield (
                f"Rows come in equal pairs: if your reader can knit each card row twice, {OPTION.each_row_twice} "
                f"makes a card of {rows} rows with {holes} holes ({card.hole_count - holes} fewer)."
            )


def _nothing_halved(card: Card, asked_rows: int | None) -> Iterator[str]:
    """Why a card that is read twice in each row has as much to punch as one that is not."""
    unit = card.unit
    both = Chart(np.repeat(unit.cells, 2, axis=0), tuple(yarn for yarn in unit.yarns for _ in range(2)))
    rows, holes = holes_of(both, card.machine, asked_rows)
    if holes <= card.hole_count:
        least = max(card.shape.least_rows, asked_rows or 1)
        yield (
            f"{OPTION.each_row_twice} saves no punching here: a card has at least {least} rows, so the "
            f"{number(unit.height, 'row')} of the repeat are punched {card.rows // unit.height} times. Without it the "
            f"card has {rows} rows and {holes} holes."
        )


def _one_direction(chart: Chart, card: Card) -> Iterator[str]:
    """Whether all passes of a kind go one way, so that what is set for that direction stays set."""
    ways = {name: directions(chart, code) for name, code in (("tuck", TUCK), ("slip", SLIP))}
    one_way = {name: next(iter(sides)) for name, sides in ways.items() if len(sides) == 1}
    if not one_way:
        if chart.height % 2 and any(ways.values()):
            yield (
                f"The repeat has {chart.height} rows, an odd number, so in the next repeat the carriage knits each row "
                "in the other direction. To knit a row in the same direction every time, add one plain row to the "
                "repeat."
            )
        return
    kinds = [name for name, sides in ways.items() if sides]
    for way in sorted(set(one_way.values())):
        names = " and ".join(name for name, side in one_way.items() if side == way)
        # Every other row that the card may begin with turns all passes round, counted from row 1 of the stitch.
        begin = "" if way == 0 else f" (at the right with {OPTION.start_row:{2 if card.begun % 2 else 1}})"
        yield (
            f"All {names} passes go the same way, right to left if the carriage stands at the "
            f"{'left' if way else 'right'} before row 1{begin}. "
            + (f"The carriage may stay set to {names} all through; if" if len(kinds) == 1 else "If")
            + " your carriage has a setting for each direction, set only this one."
        )
    if card.machine.hold_directions != "both" and set(one_way) == set(kinds):
        yield (
            "This machine has a hold setting for each direction: set it for the direction of those passes and leave it."
        )


def _clear_ends(card: Card) -> Iterator[str]:
    """The shift that is offered is that of the stitch, not a further one of the card as it is: first as a line of the
    pattern, which every other product follows."""
    if not clear_shift(card.unit, card.columns):
        return
    if shift := clear_shift(card.unit.shifted(-card.moved), card.columns):
        moved = f"stitch {card.stitch}-moved = {card.stitch} shifted {abs(shift)}{' left' if shift < 0 else ''}"
        yield (
            f"A needle that tucks or slips stands at an end of the {card.columns} columns. Add `{moved}` to the "
            f"pattern and knit {card.stitch}-moved: both end needles of every whole card width then knit in every row. "
            f"({OPTION.shift:{shift}} moves this card alone, and sheets and pieces then do not fit it.)"
        )
    else:
        yield (
            f"A needle that tucks or slips stands at an end of the {card.columns} columns. Without {OPTION.shift} both "
            "end needles of every whole card width knit in every row."
        )

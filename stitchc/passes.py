"""Lowering: a chart on a machine's bed becomes carriage passes: who must not knit, what to set, what to move by hand.

Knows the chart, the bed and the machine's profile; nothing of words, sheets or files. A model of a hand bed: needles
in holding position stay there from pass to pass until they are pushed back by hand or the hold is cancelled, when all
of them knit back into work. So a plain row costs no move, and a hold over two rows costs its moves once.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt

from stitchc.bed import Needles, needle_position
from stitchc.chart import KNIT, SLIP, TUCK, Cells, Chart, Setting
from stitchc.english import number
from stitchc.machines.fit import unfit as unfit
from stitchc.messages import Message, Span
from stitchc.product import WrongOption

if TYPE_CHECKING:
    from stitchc.machines.profile import Machine
    from stitchc.pattern import Side, Stitch

Direction = Literal["right to left", "left to right"]

LEAST_NEEDLES = 24
"""Needles in work where none are asked for: whole repeats between the edge needles, at least this many in all."""


@dataclass(frozen=True, slots=True)
class Pass:
    """One passage of the carriage. Needles are positions (see stitchc.bed), in order from left to right.

    row: what the row counter shows when the pass is done, from 1. chart_row: the chart's row that it knits, from 1.
    setting: what the carriage does with the held needles: "plain" where there are none, "tuck" (the yarn is laid over
        them), "slip" (it is led past them), "mixed" (both: only `slipped` go without yarn).
    held: every needle that must not knit. slipped: those of them that take no yarn.
    bring_out: needles to move by hand into holding position before the pass. push_back: needles to move by hand out
        of it. Both empty where a card or a picture selects the needles, and where a plain pass cancels the hold.
    patterned: whether any row of the chart tucks or slips, so that a card or a picture is in the reader.
    """

    row: int
    chart_row: int
    direction: Direction
    setting: Setting
    yarn: str | None
    held: tuple[int, ...]
    slipped: tuple[int, ...]
    bring_out: tuple[int, ...]
    push_back: tuple[int, ...]
    patterned: bool

    @property
    def moves(self) -> int:
        """Needles moved by hand before this pass."""
        return len(self.bring_out) + len(self.push_back)

    @property
    def start_side(self) -> Side:
        """Where the carriage stands before the pass."""
        return "right" if self.direction == "right to left" else "left"

    @property
    def end_side(self) -> Side:
        """Where the carriage stands after the pass."""
        return "left" if self.direction == "right to left" else "right"


def lower(
    chart: Chart,
    machine: Machine,
    needles: Needles,
    rows: int,
    carriage: Side = "right",
    edge: int = 1,
    *,
    held: Iterable[int] = (),
    first_row: int = 1,
    first_chart_row: int = 1,
) -> list[Pass]:
    """The passes that knit `rows` rows of the chart on these needles, the carriage first standing at `carriage`.

    edge: needles at each end that always knit. held: positions already in holding position before the first pass;
    first_row: what the row counter will show after the first pass; first_chart_row: the chart's row to begin with
    (both from 1), for going on where another section ended.
    Which chart column stands on which needle: see `columns_on`. The caller has asked `unfit` first.
    """
    columns = columns_on(chart, machine, needles, edge)
    by_hand = moved_by_hand(machine)
    on_bed = _held_by_chart_row(chart, columns, needles)
    patterned = bool(chart.held.any())
    passes: list[Pass] = []
    at_first: tuple[int, ...] = tuple(sorted(held)) if by_hand else ()
    before = at_first
    # By identity (both are kept, here and in `on_bed`): rows alike share their tuples, and hashing two hundred needles
    # for every row would take longest of all.
    between: dict[tuple[int, int], tuple[tuple[int, ...], tuple[int, ...]]] = {}
    nothing: tuple[tuple[int, ...], tuple[int, ...]] = ((), ())
    from_right = carriage == "right"
    for index in range(rows):
        chart_index = (first_chart_row - 1 + index) % chart.height
        now, slipped, setting = on_bed[chart_index]
        moved = nothing
        if by_hand:
            if now:
                key = (id(before), id(now))
                if key not in between:
                    stay, were = set(now), set(before)
                    between[key] = (
                        tuple(needle for needle in now if needle not in were),
                        tuple(needle for needle in before if needle not in stay),
                    )
                moved = between[key]
            before = now
        passes.append(
            Pass(
                row=first_row + index,
                chart_row=chart_index + 1,
                direction="right to left" if from_right else "left to right",
                setting=setting,
                yarn=chart.yarns[chart_index],
                held=now,
                slipped=slipped,
                bring_out=moved[0],
                push_back=moved[1],
                patterned=patterned,
            )
        )
        from_right = not from_right
    return passes


def columns_on(chart: Chart, machine: Machine, needles: Needles, edge: int) -> npt.NDArray[np.int64]:
    """The chart column (from 0) that stands on each needle in work, left to right; -1 on the edge needles.

    The columns repeat both ways from where column 1 stands (`column_1_position`): on a hand bed on the first needle
    after the left edge, so that whole repeats lie between the edges.
    """
    positions = np.arange(needles.first, needles.last + 1)
    columns = (positions - column_1_position(machine, needles, edge)) % chart.width
    if edge > 0:
        columns[:edge] = -1
        columns[-edge:] = -1
    return columns.astype(np.int64)


def column_1_position(machine: Machine, needles: Needles, edge: int) -> int:
    """The bed position on which the repeat begins: the leftmost needle that is not an edge needle, so that whole
    repeats lie between the edges; or, where the machine's reader has a fixed place on the bed, the profile's needle."""
    fixed = machine.column_1_needle
    return needles.first + edge if fixed is None or moved_by_hand(machine) else needle_position(fixed)


def cells_on(chart: Chart, columns: npt.NDArray[np.int64]) -> Cells:
    """The chart as it lies on the needles, shape (chart rows, needles); edge needles (column -1) knit."""
    within = columns >= 0
    return np.where(within, chart.cells[:, np.where(within, columns, 0)], KNIT).astype(np.uint8)


def out_of_work(chart: Chart, columns: npt.NDArray[np.int64], needles: Needles) -> tuple[int, ...]:
    """The positions that stand empty the whole time, left to right; edge needles are always in work."""
    empty = (columns >= 0) & ~chart.in_work[columns]
    return tuple((np.flatnonzero(empty) + needles.first).tolist())


def moved_by_hand(machine: Machine) -> bool:
    """Whether the knitter's hand moves the needles (no card and no picture selects them)."""
    return machine.reader == "none"


def _held_by_chart_row(
    chart: Chart, columns: npt.NDArray[np.int64], needles: Needles
) -> list[tuple[tuple[int, ...], tuple[int, ...], Setting]]:
    """For each chart row: held positions, slipped positions, and what the carriage does with the needles in work."""
    by_row: list[tuple[tuple[int, ...], tuple[int, ...], Setting]] = []
    same: dict[bytes, tuple[tuple[int, ...], tuple[int, ...], Setting]] = {}
    for row in cells_on(chart, columns):
        key = row.tobytes()
        if key not in same:
            held = tuple((np.flatnonzero((row == TUCK) | (row == SLIP)) + needles.first).tolist())
            slipped = tuple((np.flatnonzero(row == SLIP) + needles.first).tolist())
            has_tuck = bool((row == TUCK).any())
            setting: Setting = "plain"
            if held:
                setting = "mixed" if has_tuck and slipped else "tuck" if has_tuck else "slip"
            same[key] = (held, slipped, setting)
        by_row.append(same[key])
    return by_row


# -- how many needles, and whether it can be done ------------------------------------------------------------------


def default_needles(chart: Chart, edge: int) -> Needles:
    """Whole repeats between the edge needles, the fewest that make at least LEAST_NEEDLES in work, centred."""
    repeats = max(1, -(-(LEAST_NEEDLES - 2 * edge) // chart.width))
    return Needles.centred(repeats * chart.width + 2 * edge)


def held_both_ways(passes: Sequence[Pass], machine: Machine, span: Span | None) -> list[Message]:
    """M305 where hands hold needles in both directions, and the carriage can do so in one alone."""
    if machine.hold_directions != "one" or not moved_by_hand(machine):
        return []
    held = [each for each in passes if each.held]
    other = next((each for each in held if each.direction != held[0].direction), None)
    if other is None:
        return []
    text = (
        f"Rows {held[0].row} and {other.row} hold needles in different directions, and the carriage of "
        f"`{machine.name}` holds in one direction only."
    )
    cure = (
        "Write the rows with T or S an even number of rows apart, or, if your carriage has a setting for each "
        'direction, put hold_directions = "each" under [carriage] of its profile.'
    )
    return [Message("M305", "error", text, span, cure)]


def less_than_a_repeat(stitch: Stitch, machine: Machine, needles: Needles, edge: int) -> list[Message]:
    """M306 where the needles between the edges do not hold one repeat, so that a part of it is never knitted."""
    width = stitch.chart.width
    between = needles.count - 2 * edge
    if between >= width:
        return []
    if edge:
        stand = f"{between} {'needle stands' if between == 1 else 'needles stand'} between the edges"
    else:
        stand = f"{between} {'is' if between == 1 else 'are'} in work"
    text = f"`{stitch.name}` is {width} needles wide, but only {stand}: a part of the repeat is never knitted."
    whole = width + 2 * edge
    fits = whole <= machine.needles
    cure = f"--needles {whole}" if fits else f"A narrower repeat, or a machine with at least {whole} needles."
    return [Message("M306", "warning", text, stitch.span, cure=cure)]


# -- what it costs --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class LeverChange:
    """A change of the carriage's setting before a pass: what to set, and for which direction where only one is set."""

    to: Setting
    direction: Direction | None = None


def lever_changes(passes: Sequence[Pass], machine: Machine, held: Iterable[int] = ()) -> list[LeverChange | None]:
    """For each pass the change of setting that it needs, or None; the carriage begins set to plain.

    held: needles already in holding position. The setting is left as it is for as long as it serves:
    by hand, a plain pass with nothing held knits plain whatever is set; where holding is set for each direction by
    itself (`hold_directions` not "both"), what is set for one knits everything back going the other way; and a card or
    a picture with a plain row in it selects all needles, so that tuck or slip may stay set.
    """
    if not moved_by_hand(machine):
        return _reader_changes(passes)
    one_way = machine.hold_directions != "both"
    changes: list[LeverChange | None] = []
    holding: set[Direction | None] = set()
    any_held = bool(tuple(held))
    for each in passes:
        way = each.direction if one_way else None
        if each.held and way not in holding:
            holding.add(way)
            changes.append(LeverChange("tuck" if each.setting == "mixed" else each.setting, way))
        elif not each.held and any_held and way in holding:
            holding.discard(way)
            changes.append(LeverChange("plain", way))
        else:
            changes.append(None)
        any_held = bool(each.held)
    return changes


def _reader_changes(passes: Sequence[Pass]) -> list[LeverChange | None]:
    changes: list[LeverChange | None] = []
    state: Setting = "plain"
    for each in passes:
        serves = each.setting == state or (each.setting == "plain" and each.patterned)
        changes.append(None if serves else LeverChange(each.setting))
        if not serves:
            state = each.setting
    return changes


@dataclass(frozen=True)
class Cost:
    """What a way of knitting costs the hands: needles moved, changes of the carriage's setting."""

    moves: int
    lever_changes: int


def cost(passes: Sequence[Pass], machine: Machine) -> Cost:
    """Moves and changes of setting over all the passes."""
    return Cost(
        sum(each.moves for each in passes), sum(change is not None for change in lever_changes(passes, machine))
    )


@dataclass(frozen=True)
class Way:
    """One way to begin: the carriage's side and the needles by which the repeat is shifted to the right."""

    carriage: Side
    shift: int
    cost: Cost


def ways(chart: Chart, machine: Machine, needles: Needles, rows: int, carriage: Side, edge: int) -> list[Way]:
    """Every start side and shift of the repeat with its cost, cheapest first: fewest moves, then fewest changes.

    Of equally cheap ways the one nearest to what was asked comes first: the side asked for, the smallest shift.
    A shift makes no difference where a card or a picture selects the needles.
    """
    sides: tuple[Side, Side] = ("right", "left")
    by_hand = moved_by_hand(machine)
    changes: dict[tuple[bytes, Side], int] = {}
    every = []
    for shift in range(chart.width if by_hand else 1):
        moved = chart.shifted(shift)
        cells = cells_on(moved, columns_on(moved, machine, needles, edge))
        held = (cells == TUCK) | (cells == SLIP)
        moves = _moves(held, rows) if by_hand else 0
        for side in sides:
            key = (held.any(axis=1).tobytes() if by_hand else b"", side)
            if key not in changes:
                changes[key] = cost(lower(moved, machine, needles, rows, side, edge), machine).lever_changes
            every.append(Way(side, shift, Cost(moves, changes[key])))
    return sorted(
        every,
        key=lambda w: (w.cost.moves, w.cost.lever_changes, w.carriage != carriage, min(w.shift, chart.width - w.shift)),
    )


def _moves(held: npt.NDArray[np.bool_], rows: int) -> int:
    """Needles moved by hand over so many rows, from which needles each chart row holds; `lower` counts the same."""
    moved = np.count_nonzero(held ^ np.roll(held, 1, axis=0), axis=1)
    moved[~held.any(axis=1)] = 0  # the hold is cancelled
    times, rest = divmod(rows, int(held.shape[0]))
    before_first = int(moved[0]) - int(np.count_nonzero(held[0]))  # nothing is held before the first row
    return int(moved.sum()) * times + int(moved[:rest].sum()) - before_first


def refuse_no_room(needles: Needles, edge: int, stitch: Stitch) -> None:
    """Raise WrongOption where the edge needles, which always knit, are all that is in work."""
    if needles.count > 2 * edge:
        return
    raise WrongOption(
        "edge",
        f"with {number(edge, 'edge needle')} at each end of {needles.count} in work, no needle is left for the "
        f"stitch. "
        f"Try --needles {2 * edge + stitch.chart.width} or a smaller --edge.",
    )

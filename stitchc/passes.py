"""Lowering: a chart on a machine's bed becomes carriage passes: who must not knit, what to set, what to move by hand.

Knows the chart, the bed and the machine's profile; nothing of words, sheets or files. A model of a hand bed: needles
in holding position stay there from pass to pass until they are pushed back by hand or the hold is cancelled, when all
of them knit back into work. So a plain row costs no move, and a hold over two rows costs its moves once.
"""

from __future__ import annotations

import bisect
import itertools
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from stitchc.bed import Needles, needle_name, needle_position
from stitchc.chart import KNIT, SLIP, TUCK, Cells, Chart, Setting
from stitchc.english import number
from stitchc.machines.fit import narrower
from stitchc.machines.fit import unfit as unfit
from stitchc.machines.profile import Machine
from stitchc.messages import Message, Span
from stitchc.pattern import Side, Stitch
from stitchc.product import WrongOption
from stitchc.wording import OPTION

Direction = Literal["right to left", "left to right"]

LEAST_NEEDLES = 24
"""Needles in work where none are asked for: whole repeats between the edge needles, at least this many in all."""


Crossing = Literal["", "cut", "free pass", "carry"]
"""What is done before a pass whose yarn hangs at the other side: the yarn cut and joined here, or the carriage brought
there without knitting, by a free pass or by hand. Empty where it hangs at this side."""

MOST_CARRIED = 10
"""Rows that a yarn is carried along unused; after more it is cut and joined rather than fetched (common practice)."""


@dataclass(frozen=True, slots=True)
class Pass:
    """One passage of the carriage. Needles are positions (see stitchc.bed), in order from left to right.

    row: what the row counter shows when the pass is done, from 1. chart_row: the chart's row that it knits, from 1.
    setting: what becomes of the held needles: "plain" where there are none, "tuck" (the yarn is laid over them), "slip"
        (it is led past them), "mixed" (both: only `slipped` go without yarn).
    held: every needle that must not knit. slipped: those of them that take no yarn. out: those that stand in holding
        position. rest: those that stand pushed right back, where hands slip so.
    bring_out: needles to move by hand into holding position before the pass. push_back: needles to move by hand from
        there into work. push_right_back, bring_to_work: the same with the needles that stand right back. All empty
        where a card or a picture selects the needles; none is pushed back where a plain pass cancels the hold.
    patterned: whether any row of the chart tucks or slips, so that a card or a picture is in the reader.
    crossing: how yarn and carriage come to one side before it; free: needles that a free pass moves out and back.
    empty: needles out of work. moved_left, moved_right: those of them whose stitches are moved before it to the next
        needle in work on that side. taken_back: needles that come back into work before any stitch is moved, so that
        they can take one; bare: those of them that take none. not_held: bare needles that the chart would have held,
        which knit, since on a bed worked by hand they have no stitch to hold.
    """

    row: int
    chart_row: int
    direction: Direction
    setting: Setting
    yarn: str | None
    held: tuple[int, ...]
    slipped: tuple[int, ...]
    out: tuple[int, ...]
    rest: tuple[int, ...]
    bring_out: tuple[int, ...]
    push_back: tuple[int, ...]
    push_right_back: tuple[int, ...]
    bring_to_work: tuple[int, ...]
    patterned: bool
    crossing: Crossing = ""
    free: int = 0
    empty: tuple[int, ...] = ()
    moved_left: tuple[int, ...] = ()
    moved_right: tuple[int, ...] = ()
    taken_back: tuple[int, ...] = ()
    bare: tuple[int, ...] = ()
    not_held: tuple[int, ...] = ()

    @property
    def moves(self) -> int:
        """Needles moved by hand before this pass."""
        own = len(self.bring_out) + len(self.push_back) + len(self.push_right_back) + len(self.bring_to_work)
        return own + 2 * self.free + len(self.moved_left) + len(self.moved_right) + len(self.taken_back)

    @property
    def what_is_held(self) -> str:
        """In words: a needle that stands right back has its stitch, and no loop laid over it."""
        return "stitches that have not been knitted" if {*self.held} <= {*self.rest} else "held loops"

    @property
    def start_side(self) -> Side:
        return "right" if self.direction == "right to left" else "left"

    @property
    def end_side(self) -> Side:
        return "left" if self.direction == "right to left" else "right"

    @property
    def comes_from(self) -> Side:
        """Where the carriage stands after the pass before this one."""
        return self.end_side if self.crossing in ("free pass", "carry") else self.start_side


@dataclass
class Standing:
    """How everything stands between two passes.

    carriage: its side. row: what the row counter shows. out, rest: the needles in holding position and right back.
    empty: those out of work; None before the cast-on, which leaves those of the first row empty. used: the last pass of
    each yarn. stays: whether the carriage is asked to stand here, so that a yarn at the other side is cut.
    """

    carriage: Side = "right"
    row: int = 0
    out: tuple[int, ...] = ()
    rest: tuple[int, ...] = ()
    empty: tuple[int, ...] | None = None
    used: dict[str | None, Pass] = field(default_factory=dict)
    stays: bool = False

    def crossing(self, yarn: str | None, machine: Machine) -> Crossing:
        """What is to be done for the next row to be knitted in this yarn."""
        last = self.used.get(yarn)
        if last is None or last.end_side == self.carriage:
            return ""
        if self.stays or not moved_by_hand(machine) or self.row - last.row > MOST_CARRIED:
            return "cut"
        return machine.yarn_at_other_side

    @property
    def threaded(self) -> str | None:
        """The yarn of the last pass."""
        return max(self.used.values(), key=lambda each: each.row).yarn

    def make(self, passed: Pass) -> None:
        """Leave everything as the pass leaves it."""
        self.carriage, self.row = passed.end_side, passed.row
        self.out, self.rest, self.empty = passed.out, passed.rest, passed.empty
        self.used[passed.yarn] = passed
        self.stays = False


def lower(
    chart: Chart,
    machine: Machine,
    needles: Needles,
    rows: int,
    carriage: Side = "right",
    edge: int = 1,
    *,
    standing: Standing | None = None,
    first_chart_row: int = 1,
) -> list[Pass]:
    """The passes that knit `rows` rows of the chart on these needles, the carriage first standing at `carriage`.

    edge: needles at each end that always knit. standing: how the passes before have left everything, in place of
    `carriage`; it is left as these passes leave it. first_chart_row: the chart's row to begin with, from 1.
    Which chart column stands on which needle: see `columns_on`. The caller has asked `unfit` first.
    """
    columns = columns_on(chart, machine, needles, edge)
    by_hand = moved_by_hand(machine)
    on_bed = _held_by_chart_row(chart, columns, needles, machine)
    patterned = bool(chart.held.any())
    standing = standing or Standing(carriage)
    passes: list[Pass] = []
    # By identity (all are kept, here and in `on_bed`): rows alike share their tuples, and hashing two hundred needles
    # for every row would take longest of all.
    between: dict[tuple[int, ...], _Moves] = {}
    out, rest = (standing.out, standing.rest) if by_hand else ((), ())
    ladders = out_of_work(chart, columns, needles)
    for index in range(rows):
        chart_index = (first_chart_row - 1 + index) % chart.height
        now = on_bed[chart_index]
        change = _NO_CHANGE
        empty = ladders if standing.empty is None else standing.empty
        not_held: tuple[int, ...] = ()
        if empty != ladders:
            change = _toward(empty, ladders, needles, now.held)
            gone = {*change.moved_left, *change.moved_right}
            out, rest = (tuple(needle for needle in these if needle not in gone) for these in (out, rest))
            if by_hand:  # a reader selects as before
                not_held = tuple(needle for needle in change.bare if needle in now.held)
            now = now.without({*change.empty, *not_held})
            empty = change.empty
        moves = _NO_MOVES
        if by_hand:
            key = (id(out), id(rest), id(now.out), id(now.rest))
            if key not in between:
                between[key] = _moves_between(out, rest, now)
            moves = between[key]
        yarn = chart.yarns[chart_index]
        crossing = standing.crossing(yarn, machine)
        goes_there = crossing in ("free pass", "carry")
        from_right = (standing.carriage == "right") != goes_there
        passed = Pass(
            standing.row + 1,
            chart_index + 1,
            "right to left" if from_right else "left to right",
            now.setting,
            yarn,
            now.held,
            now.slipped,
            now.out,
            now.rest,
            *moves,
            patterned,
            crossing,
            needles.count - len(out) - len(rest) - len(empty) if crossing == "free pass" else 0,
            empty,
            *change[1:],
            not_held,
        )
        standing.make(passed)
        passes.append(passed)
        out, rest = now.out, now.rest
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
    for end in (0, -1):  # the outermost needles are in work whatever the chart says
        if not chart.in_work[columns[end]]:
            columns[end] = -1
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


def selects_ahead(machine: Machine) -> bool:
    """Whether a card or picture is read in the pass before the one that it selects for."""
    return not moved_by_hand(machine) and machine.selects == "one pass ahead"


class _OnBed(NamedTuple):
    """A chart's row as it lies on the needles in work, and what the carriage does with them."""

    held: tuple[int, ...]
    slipped: tuple[int, ...]
    out: tuple[int, ...]
    rest: tuple[int, ...]
    setting: Setting

    def without(self, needles: Collection[int]) -> _OnBed:
        """The same row where these needles knit, or hold nothing."""
        held, slipped, out, rest = (tuple(n for n in these if n not in needles) for these in self[:4])
        return _OnBed(held, slipped, out, rest, _setting_of(len(held) - len(slipped), len(slipped)))


def _setting_of(tucked: int, slipped: int) -> Setting:
    return "mixed" if tucked and slipped else "tuck" if tucked else "slip" if slipped else "plain"


class _Change(NamedTuple):
    """What becomes of the needles out of work before a pass; see `Pass`."""

    empty: tuple[int, ...] = ()
    moved_left: tuple[int, ...] = ()
    moved_right: tuple[int, ...] = ()
    taken_back: tuple[int, ...] = ()
    bare: tuple[int, ...] = ()


_NO_CHANGE: Final = _Change()


def _toward(empty: tuple[int, ...], wanted: tuple[int, ...], needles: Needles, held: Collection[int]) -> _Change:
    """One row's step from the needles that stand empty to those that are to.

    Needles are put out of work all at once, and their stitches shared between the needles on both sides so that no hook
    holds more than it must, and none goes farther than that asks for. Of neighbours that stand empty one comes back,
    and a row is knitted before the next (teaching notes of a university on casting on and ladders).
    """
    taken: set[int] = set()
    for _, group in itertools.groupby(enumerate(empty), lambda each: each[1] - each[0]):
        run = [needle for _, needle in group]
        back = [needle for needle in run if needle not in wanted]
        if back:
            ends = [needle for needle in (run[0], run[-1]) if needle in back]
            taken.add((ends or back)[0])
    now = tuple(sorted({*empty, *wanted} - taken))
    stand = sorted(set(range(needles.first, needles.last + 1)) - set(now))
    left: list[int] = []
    right: list[int] = []
    bare = set(taken)
    gone = (needle for needle in wanted if needle not in empty)
    for place, between in itertools.groupby(gone, lambda needle: bisect.bisect(stand, needle)):
        emptied, sides = list(between), (stand[place - 1], stand[place])
        share = _share(emptied, sides, taken, held)
        left += emptied[:share]
        right += emptied[share:]
        bare -= {sides[0]} if share else set()
        bare -= {sides[1]} if share < len(emptied) else set()
    return _Change(now, tuple(left), tuple(right), tuple(sorted(taken)), tuple(sorted(bare)))


def _share(emptied: Sequence[int], sides: tuple[int, int], bare: Collection[int], held: Collection[int]) -> int:
    """How many of the needles emptied between two that stay, from the left, give their stitches to the left one. bare:
    needles without a stitch; held: needles that do not knit in this row, and so take a stitch only to spare a hook.
    What one of the two takes from its other side does not count: every repeat is done alike."""

    def burden(share: int) -> tuple[int, int, int, int]:
        way = sum(n - sides[0] for n in emptied[:share]) + sum(sides[1] - n for n in emptied[share:])
        given = tuple(zip(sides, (share, len(emptied) - share), strict=True))
        most = max(gain + (side not in bare) for side, gain in given)
        return most, sum(gain for side, gain in given if side in held), way, -share

    return min(range(len(emptied) + 1), key=burden)


class _Moves(NamedTuple):
    bring_out: tuple[int, ...] = ()
    push_back: tuple[int, ...] = ()
    push_right_back: tuple[int, ...] = ()
    bring_to_work: tuple[int, ...] = ()


_NO_MOVES: Final = _Moves()


def _moves_between(out: tuple[int, ...], rest: tuple[int, ...], now: _OnBed) -> _Moves:
    """What hands move between two rows. Where no needle is to be held, the hold is cancelled, and no move is due."""

    def less(these: tuple[int, ...], *others: tuple[int, ...]) -> tuple[int, ...]:
        gone = set().union(*others)
        return tuple(needle for needle in these if needle not in gone)

    return _Moves(
        less(now.out, out),
        less(out, now.out, now.rest) if now.out else (),
        less(now.rest, rest),
        less(rest, now.rest, now.out),
    )


def _held_by_chart_row(
    chart: Chart, columns: npt.NDArray[np.int64], needles: Needles, machine: Machine
) -> list[_OnBed]:
    rests = slips_at_rest(machine)
    by_row: list[_OnBed] = []
    same: dict[bytes, _OnBed] = {}
    for row in cells_on(chart, columns):
        key = row.tobytes()
        if key not in same:
            held, slipped, tucked = (
                tuple((np.flatnonzero(where) + needles.first).tolist())
                for where in ((row == TUCK) | (row == SLIP), row == SLIP, row == TUCK)
            )
            out, rest = (tucked, slipped) if rests else (held, ())
            same[key] = _OnBed(held, slipped, out, rest, _setting_of(len(tucked), len(slipped)))
        by_row.append(same[key])
    return by_row


def slips_at_rest(machine: Machine) -> bool:
    """Whether hands make a needle slip by pushing it right back."""
    return moved_by_hand(machine) and machine.slip == "by-hand" and machine.slip_by == "rest"


# -- how many needles, and whether it can be done ------------------------------------------------------------------


def default_needles(chart: Chart, edge: int) -> Needles:
    """Whole repeats between the edge needles, the fewest that make at least LEAST_NEEDLES in work, centred."""
    repeats = max(1, -(-(LEAST_NEEDLES - 2 * edge) // chart.width))
    return Needles.centred(repeats * chart.width + 2 * edge)


def beyond_the_carriage(passes: Sequence[Pass], machine: Machine, span: Span | None) -> list[Message]:
    """M305 where hands would have to do with this carriage and these needles what they cannot."""
    if not moved_by_hand(machine):
        return []
    return [*_held_both_ways(passes, machine, span), *_tucks_lost(passes, machine, span)]


_LOOKED_AT = 4_000
"""Rows of a stitch that are gone through for what its carriage cannot do; what they do not show, its sheet does."""


def carriage_refuses(stitch: Stitch, machine: Machine, rows: int | None = None, **bed: Any) -> list[Message]:
    """`beyond_the_carriage` of so many rows of a stitch, of two repeats where nothing is said.

    bed: needles, carriage and edge as `lower` takes them; by default as a sheet has them.
    """
    if machine.hold_directions != "one" and not slips_at_rest(machine):
        return []
    chart = stitch.chart
    needles = bed.pop("needles", None) or default_needles(chart, 1)
    count = min(2 * chart.height + 1, _LOOKED_AT) if rows is None else rows
    return beyond_the_carriage(lower(chart, machine, needles, count, **bed), machine, stitch.span)


def _held_both_ways(passes: Sequence[Pass], machine: Machine, span: Span | None) -> list[Message]:
    """Where needles are held in both directions, a free pass among them, and the carriage can do so in one alone."""
    if machine.hold_directions != "one":
        return []
    held: list[tuple[Direction, str]] = []
    for each in passes:
        if each.crossing == "free pass":
            held.append((other_way(each.direction), f"the free pass before row {each.row}"))
        if each.out:
            held.append((each.direction, f"row {each.row}"))
    other = next((each for each in held if each[0] != held[0][0]), None)
    if other is None:
        return []
    first, second = held[0][1], other[1]
    text = (
        f"{first[0].upper()}{first[1:]} and {second} hold needles in different directions, and the carriage of "
        f"`{machine.name}` holds in one direction only."
    )
    if "free pass" in first + second:
        advice = 'Write yarn_at_other_side = "cut" or "carry" under [carriage] of its profile'
    else:
        advice = "Write the rows with T or S an even number of rows apart"
    advice += ', or, if your carriage has a setting for each direction, put hold_directions = "each" under [carriage].'
    return [Message("M305", "error", text, span, advice)]


def _tucks_lost(passes: Sequence[Pass], machine: Machine, span: Span | None) -> list[Message]:
    """Where a needle that holds a tuck is to be pushed right back: its old stitch closes the latch over the loop."""
    if not slips_at_rest(machine):
        return []
    for before, after in itertools.pairwise(passes):
        lost = set(before.out).intersection(after.push_right_back)
        if lost:
            text = (
                f"Row {after.row} slips {needle_name(min(lost))}, which holds a tuck: pushed right back, its stitch "
                "would close the latch over the loop, and the tuck would be lost."
            )
            advice = 'Knit once between the two, or put slip_by = "lifting" in the profile.'
            return [Message("M305", "error", text, span, advice)]
    return []


def other_side(side: Side) -> Side:
    """Where the carriage stands after one more row."""
    return "left" if side == "right" else "right"


def other_way(direction: Direction) -> Direction:
    return "left to right" if direction == "right to left" else "right to left"


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
    advice = f"{OPTION.needles:{whole}}" if fits else f"A narrower repeat, or a machine with at least {whole} needles."
    return [Message("M306", "warning", text, stitch.span, advice=narrower(stitch) or advice)]


# -- what it costs --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class LeverChange:
    """A change of the carriage's setting before a pass: what to set, and for which direction where only one is set."""

    to: Setting
    direction: Direction | None = None


def lever_changes(passes: Sequence[Pass], machine: Machine) -> list[LeverChange | None]:
    """For each pass the change of setting that it needs, or None; the carriage begins set to plain.

    The setting is left as it is for as long as it serves: by hand, a plain pass with nothing held knits plain whatever
    is set; where holding is set for each direction by itself (`hold_directions` not "both"), what is set for one knits
    everything back going the other way; and a card or a picture with a plain row in it selects all needles, so that
    tuck or slip may stay set.
    """
    if not moved_by_hand(machine):
        return _reader_changes(passes)
    one_way = machine.hold_directions != "both"
    changes: list[LeverChange | None] = []
    holding: set[Direction | None] = set()
    by_free_pass: set[Direction | None] = set()
    any_held = False
    for each in passes:
        way = each.direction if one_way else None
        if each.crossing == "free pass":  # its own words set the carriage to hold
            freed = other_way(each.direction) if one_way else None
            by_free_pass |= {freed} - holding
            holding.add(freed)
        if each.out and (way not in holding or way in by_free_pass):  # a free pass may be many rows ago
            holding.add(way)
            by_free_pass.discard(way)
            changes.append(LeverChange("tuck" if each.setting == "mixed" else each.setting, way))
        elif not each.out and any_held and way in holding:
            holding.discard(way)
            by_free_pass.discard(way)
            changes.append(LeverChange("plain", way))
        else:
            changes.append(None)
        any_held = bool(each.out)
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
    held_alone = not slips_at_rest(machine) and machine.yarn_at_other_side != "free pass"
    costs: dict[tuple[bytes, Side], Cost] = {}
    every = []
    for shift in range(chart.width if by_hand else 1):
        moved = chart.shifted(shift)
        cells = cells_on(moved, columns_on(moved, machine, needles, edge))
        held = (cells == TUCK) | (cells == SLIP)
        for side in sides:
            rows_that_hold = held.any(axis=1).tobytes() if by_hand else b""
            key = (rows_that_hold if held_alone else str(shift).encode(), side)
            if key not in costs:
                costs[key] = cost(lower(moved, machine, needles, rows, side, edge), machine)
            moves = _moves(held, rows) if by_hand and held_alone else costs[key].moves
            every.append(Way(side, shift, Cost(moves, costs[key].lever_changes)))
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
        f"stitch. Try {OPTION.needles:{2 * edge + stitch.chart.width}} or a smaller {OPTION.edge}.",
    )

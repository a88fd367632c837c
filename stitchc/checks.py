"""Knittability: what a needle, a row or a yarn of a stitch would do wrong on a machine, counted round the repeat.

Each K check is a function of its own over one stitch, kept in CHECKS. Knows charts and a machine's limits; nothing of
notation, cards or files. A stitch goes on for ever in all four directions, so every run is counted past the edges.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from stitchc.bed import Needles, needle_name
from stitchc.chart import KNIT, LETTERS, SLIP, TUCK, Cells, Chart
from stitchc.english import listed, number, numbered
from stitchc.machines.profile import Limit, Limits, Machine
from stitchc.messages import Message, Severity, Span
from stitchc.pattern import Pattern, Stitch
from stitchc.wording import OPTION, machine_choice

STANDARD_PITCH_MM: Final = 4.5
"""The needle pitch by which floats are shown in mm where no machine is named (standard gauge; common practice)."""

Mask = npt.NDArray[np.bool_]
Indices = npt.NDArray[np.int64]

_AT_ONCE: Final = 500_000
"""Cells counted at once, so that the largest chart needs no more than some tens of MB beside itself."""


class Subject:
    """One stitch on one machine, with what several checks ask of it worked out once."""

    def __init__(self, stitch: Stitch, machine: Machine | None = None) -> None:
        self.stitch = stitch
        self.machine = machine
        self.limits = machine.limits if machine else Limits()
        self.pitch_mm = machine.pitch_mm if machine else STANDARD_PITCH_MM

    @cached_property
    def tucks(self) -> Mask:
        """Shape (rows, needles): where the chart tucks."""
        return np.equal(self.stitch.chart.cells, TUCK)

    @cached_property
    def slips(self) -> Mask:
        """Shape (rows, needles): where the chart slips."""
        return np.equal(self.stitch.chart.cells, SLIP)

    @cached_property
    def knits(self) -> Mask:
        """Shape (rows, needles): where the chart knits."""
        return self.stitch.chart.knits

    @cached_property
    def has_tucks(self) -> bool:
        return bool(self.tucks.any())

    @cached_property
    def has_slips(self) -> bool:
        return bool(self.slips.any())

    @cached_property
    def rows_that_knit(self) -> Mask:
        return np.asarray(self.knits.any(axis=1), dtype=np.bool_)

    @cached_property
    def least_float(self) -> int | None:
        """The fewest needles of a float that gets a message."""
        limits = self.limits
        by_length = None if limits.float_mm is None else int(limits.float_mm / self.pitch_mm + 1e-9) + 1
        known = [count for count in (_least(limits.float_needles), by_length) if count is not None]
        return min(known, default=None)

    def span(self, row: int | None = None) -> Span:
        """Where the row (from 0) was written, or else where the stitch was."""
        spans = self.stitch.row_spans
        return spans[row] if spans and row is not None and row < len(spans) else self.stitch.span

    def message(self, code: str, severity: Severity, text: str, advice: str, row: int | None = None) -> list[Message]:
        """The one message of a check. row: from 0, None if it is about no row."""
        return [Message(code, severity, text, self.span(row), advice)]


# -- checking ------------------------------------------------------------------------------------------------


def check(stitch: Stitch, machine: Machine | None = None) -> list[Message]:
    """Every K message about one repeat of the stitch, by code. Without a machine the default limits apply alone.

    At most one message of each code: it tells the worst place and how many more there are.
    """
    subject = Subject(stitch, machine)
    return [message for find in CHECKS for message in find(subject)]


def check_pattern(
    pattern: Pattern, machine: Machine | None = None, stitches: Iterable[Stitch] | None = None
) -> list[Message]:
    """`check` for each of the stitches (default: those that nothing else in the file is built from), and whether the
    gauge suits the machine's bed."""
    chosen = pattern.wanted() if stitches is None else stitches
    messages = [message for stitch in chosen for message in check(stitch, machine)]
    if machine is not None and pattern.swatches:
        from stitchc.gauge.remarks import check_bed

        messages += check_bed(pattern, machine)
    return messages


def edge_tucks(chart: Chart, columns: Indices, needles: Needles, stitch: Stitch) -> list[Message]:
    """K206 where the first or last needle in work tucks: its loop has no neighbour to hold it and drops off.

    columns: the chart's column on each of the needles, -1 on the edge needles, as `passes.columns_on` has them. Common
    practice: tucks on end needles are cancelled. This is about the ends of the work, so the endless repeat itself never
    has it.
    """
    working = np.flatnonzero((columns < 0) | chart.in_work[columns])
    ends = {
        needle_name(needles.first + place): chart.cells[:, columns[place]]
        for place in working[[0, -1]].tolist()
        if columns[place] >= 0
    }
    tucking = {name: np.flatnonzero(column == TUCK) for name, column in ends.items()}
    tucking_ends = [name for name, rows in tucking.items() if rows.size]
    if not tucking_ends:
        return []
    row = min(int(tucking[name][0]) for name in tucking_ends)
    both = len(tucking_ends) == 2
    subject = Subject(stitch)
    return subject.message(
        "K206",
        "error",
        f"{'Needles' if both else 'Needle'} {listed(tucking_ends)}, at the {'ends' if both else 'end'} of the work, "
        f"{'tuck' if both else 'tucks'} in `{stitch.name}` (first in row {row + 1}): an end loop with no neighbour to "
        "hold it drops off or hangs loose.",
        advice=f"{OPTION.edge:1}   (the end needles always knit)",
        row=row % stitch.chart.height,
    )


# -- the checks -------------------------------------------------------------------------------------------------


def never_knits(subject: Subject) -> list[Message]:
    """K201: a needle that never knits."""
    idle = np.flatnonzero(~subject.knits.any(axis=0) & subject.stitch.chart.in_work)
    if not idle.size:
        return []
    stitch = subject.stitch
    is_one = idle.size == 1
    return subject.message(
        "K201",
        "error",
        f"{_numbers('Needle', idle)} of `{stitch.name}` never {'knits' if is_one else 'knit'}: "
        f"the loops {'it holds' if is_one else 'they hold'} are never knitted off.",
        advice=_plain_row_advice(stitch),
    )


def tucks_in_succession(subject: Subject) -> list[Message]:
    """K202: tucks on one needle before it knits again."""
    if not subject.has_tucks:
        return []
    return _held_too_long(subject, "K202", subject.tucks, subject.limits.tucks_in_succession, "tucks", _HOOK)


def slips_in_succession(subject: Subject) -> list[Message]:
    """K209: slips on one needle before it knits again."""
    if not subject.has_slips:
        return []
    return _held_too_long(subject, "K209", subject.slips, subject.limits.slips_in_succession, "slips", _STRETCH)


def tucks_side_by_side(subject: Subject) -> list[Message]:
    """K203: neighbours that tuck in one row."""
    limit = subject.limits.tucks_side_by_side
    least = _least(limit)
    if least is None or not subject.has_tucks:
        return []
    stitch = subject.stitch
    columns = np.flatnonzero(stitch.chart.in_work)  # the yarn has nothing to knit on at a needle out of work
    everywhere = columns.size == stitch.chart.width
    worst = _worst(_runs(subject, subject.tucks if everywhere else subject.tucks[:, columns], least))
    if worst is None:
        return []
    count, row = worst.most, worst.line
    first, last = columns[(worst.before + np.array([1, count])) % columns.size].tolist()
    where = _needles(subject, first, last)
    if count > 1:
        problem = f"{count} needles side by side tuck ({where}). None of them knits, so nothing holds their loops down."
    else:
        problem = f"1 needle tucks ({where}), which this machine's limits do not allow."
    advice = "Choose a machine whose limits allow it; on this one no needle tucks."
    if least > 1:
        eased = _in_words(stitch.chart.cells[row, columns], TUCK, least - 1)
        advice = f"Let {'one' if count == 2 else 'some'} of them knit, so that the {eased}"
    text = f"In row {row + 1} of `{stitch.name}` {problem}{_more(worst.others, 'row')}"
    return subject.message("K203", limit.severity(count) or "warning", text, advice, row)


def long_floats(subject: Subject) -> list[Message]:
    """K204: a float that is too long, in needles or in mm (needles x pitch), those out of work among them."""
    pitch, least = subject.pitch_mm, subject.least_float
    if least is None or not subject.has_slips:
        return []
    stitch = subject.stitch
    floats = _runs(subject, subject.slips | ~stitch.chart.in_work if stitch.chart.out else subject.slips, least)
    if stitch.chart.out:  # the bar of a ladder alone is no float
        slips = np.cumsum(subject.slips, axis=1, dtype=np.int32)
        passed = slips[floats.lines, floats.after] - slips[floats.lines, floats.before]
        round_the_end = (floats.after <= floats.before) * slips[floats.lines, -1]
        floats = _Stretches(*(column[passed + round_the_end > 0] for column in floats))
    worst = _worst(floats)
    if worst is None:
        return []
    count, row, most = worst.most, worst.line, max(least - 1, 0)
    by = f"at {'' if subject.machine else 'the standard '}{_figure(pitch)} mm between needles"
    where = _needles(subject, worst.before + 1, worst.before + count)
    advice = "Choose a finer machine, or allow such a float in the limits of your profile."
    if most:
        eased = "" if stitch.chart.out else f", so that the {_in_words(stitch.chart.cells[row], SLIP, most)}"
        advice = f"Let {'a needle in work among' if stitch.chart.out else 'some of'} these needles knit{eased}"
        advice += f"\n(up to {most} needles, {_figure(most * pitch)} mm, pass here)"
    return subject.message(
        "K204",
        subject.limits.float_needles.severity(count) or "warning",
        f"In row {row + 1} of `{stitch.name}` the yarn floats past {number(count, 'needle')}, "
        f"{_figure(count * pitch)} mm {by} ({where}).{_more(worst.others, 'row')}",
        advice,
        row,
    )


def rows_without_knit(subject: Subject) -> list[Message]:
    """K205: a row in which no needle knits."""
    rows = np.flatnonzero(~subject.rows_that_knit)
    if not rows.size:
        return []
    first = int(rows[0])
    stitch = subject.stitch
    whole = stitch.chart.cells[first, stitch.chart.in_work]
    reason = (
        "all of them tuck, and nothing holds the yarn down"
        if bool((whole == TUCK).all())
        else "all of them slip, and the yarn only lies across the bed"
        if bool((whole == SLIP).all())
        else "none of them knits off its loops"
    )
    return subject.message(
        "K205",
        "error",
        f"No needle knits in {_numbers('row', rows)} of `{stitch.name}`: {reason}.",
        advice=f"Let at least one needle knit, {_with_a_knit(subject, whole)}or leave the row out.",
        row=first,
    )


def mixed_rows(subject: Subject) -> list[Message]:
    """K207: a row that has both tuck and slip."""
    if not (subject.has_tucks and subject.has_slips):
        return []
    rows = np.flatnonzero(subject.tucks.any(axis=1) & subject.slips.any(axis=1))
    if not rows.size:
        return []
    name = subject.stitch.name
    has = "has" if rows.size == 1 else "have"
    machine = subject.machine
    by_hand = "; hands can do both, slowly" if machine is not None and machine.slip == "by-hand" else ""
    anywhere = f" To knit it by hand, check it with {machine_choice('hand-standard')}." if machine is None else ""
    return subject.message(
        "K207",
        subject.limits.mixed_rows,
        f"{_numbers('Row', rows)} of `{name}` {has} both tuck and slip, but one pass of a carriage does "
        f"one or the other{by_hand}.",
        advice=f"Write the row with T alone or with S alone, as `{name} with S for T` does throughout.{anywhere}",
        row=int(rows[0]),
    )


def yarn_on_the_wrong_side(subject: Subject) -> list[Message]:
    """K208: a yarn that is taken up again where the carriage does not stand.

    A yarn hangs at the side where its last row ended. Every row takes the carriage across once, so the carriage is back
    at that side only after an even number of rows in other yarns; this holds whichever side it all began on, and also
    where the repeat has an odd number of rows and begins on the other side each time.
    """
    chart = subject.stitch.chart
    height, yarns = chart.height, chart.yarns
    starts = [row for row in range(height) if yarns[row] != yarns[row - 1]]  # rows that begin another yarn
    left_at: dict[str | None, int] = {}
    waits: list[tuple[int, int]] = []
    first_uses: set[int] = set()  # of the repeat: the yarn hangs anywhere until the second time round
    for round_ in (0, height):  # the second time round it is known where each yarn was left
        for row, end in zip(starts, [*starts[1:], *(start + height for start in starts[:1])], strict=True):
            if round_:
                waits.append((row, round_ + row - left_at[yarns[row]]))
                first_uses |= {row} if left_at[yarns[row]] <= height else set()
            left_at[yarns[row]] = round_ + end
    wrong = [(row, wait) for row, wait in waits if wait % 2]
    if not wrong:
        return []
    row, rows_between = wrong[0]
    names = dict.fromkeys(yarns)
    yarn = chart.yarns[row]
    yarn_words = f"yarn `{yarn}`" if yarn is not None else "the main yarn (that of the rows that name none)"
    advice = "Knit an even number of rows with each yarn before changing."
    if None in names:  # rows thought to be in one of the yarns declared are the likeliest cause
        other = next(name for name in names if name is not None)
        advice += f" Rows that name no yarn are the main yarn's: write `in {other}` after their numbers "
        advice += f"if they are in {other}."
    machine = subject.machine
    fetches = machine is not None and machine.reader == "none" and machine.yarn_at_other_side != "cut"
    name = f"`{subject.stitch.name}`"
    takes = f"Row {row + 1} of {name} takes up {yarn_words} again, which hangs"
    if row in first_uses:
        takes = f"From the second repeat on, row {row + 1} of {name} needs {yarn_words}, which then hangs"
    return subject.message(
        "K208",
        "info" if fetches else "warning",
        f"{takes} at the other side of the bed: an odd number of rows ({rows_between}) was knitted without it."
        + _more(len(wrong) - 1, "change"),
        advice=advice,
        row=row,
    )


def alone_between_ladders(subject: Subject) -> list[Message]:
    """K210: a needle in work whose neighbours on both sides are out of work (common practice, no source)."""
    working = subject.stitch.chart.in_work
    alone = np.flatnonzero(working & ~np.roll(working, 1) & ~np.roll(working, -1))
    if not alone.size:
        return []
    return subject.message(
        "K210",
        "warning",
        f"{_numbers('Needle', alone)} of `{subject.stitch.name}` {'stands' if alone.size == 1 else 'stand'} alone "
        "between two needles out of work: a stitch with none beside it draws yarn from both ladders and "
        "becomes long and uneven.",
        advice="Keep at least two needles side by side in work between two ladders.",
    )


CHECKS: Final[tuple[Callable[[Subject], list[Message]], ...]] = (
    never_knits,
    tucks_in_succession,
    tucks_side_by_side,
    long_floats,
    rows_without_knit,
    mixed_rows,
    yarn_on_the_wrong_side,
    slips_in_succession,
    alone_between_ladders,
)
"""Every check on the endless repeat, in the order of their codes."""

_HOOK: Final = "a hook holds about four loops beside its stitch"
_STRETCH: Final = "the held loop is pulled up over so many rows"


def _held_too_long(subject: Subject, code: str, counted: Mask, limit: Limit, verb: str, because: str) -> list[Message]:
    """K202 and K209: loops on one needle between two knits.

    What is counted ends at a knit and at nothing else: only a knit takes the loops off. A slip between two tucks does
    not empty the hook, nor does a tuck between two slips let the held loop go.
    """
    least = _least(limit)
    if least is None:
        return []
    stops = np.ascontiguousarray(subject.knits.T)
    worst = _worst(_between(stops, np.ascontiguousarray(counted.T), least))
    if worst is None:
        return []
    stitch, count, before = subject.stitch, worst.most, worst.before
    height = stitch.chart.height
    length = (worst.after - before - 1) % height or height
    advice = f"Choose a machine whose limits allow it; on this one no needle {verb}."
    return subject.message(
        code,
        limit.severity(count) or "warning",
        f"Needle {worst.line + 1} of `{stitch.name}` {verb} {count} times before it knits again "
        f"({_stretch('row', before + 1, length, height)}): {because}.{_more(worst.others, 'needle')}",
        f"Let the needle knit after {least - 1} of them." if least > 1 else advice,
        (before + 1) % height,
    )


# -- counting ---------------------------------------------------------------------------------------------------


class _Stretches(NamedTuple):
    """What was counted between two stops of a line, one entry a stretch. Places are from 0; `after` may lie round the
    edge, at or before `before`."""

    lines: Indices
    before: Indices
    after: Indices
    counts: Indices


class _Worst(NamedTuple):
    """The stretch with the highest count, the first such; others: how many more lines have one."""

    line: int
    before: int
    after: int
    most: int
    others: int


def _worst(stretches: _Stretches) -> _Worst | None:
    if not stretches.counts.size:
        return None
    line, before, after, most = (int(column[np.argmax(stretches.counts)]) for column in stretches)
    return _Worst(line, before, after, most, np.unique(stretches.lines).size - 1)


def _runs(subject: Subject, of: Mask, least: int) -> _Stretches:
    """Runs of at least `least` columns side by side, in the rows where any needle knits (else the row is K205)."""
    alike = of
    for shift in range(1, min(least, of.shape[1])):  # what is left of a row now begins a run that is long enough
        alike = alike & np.roll(of, -shift, axis=1)
    rows = np.flatnonzero(alike.any(axis=1) & subject.rows_that_knit)
    runs = _between(~of[rows], of[rows], least)
    return runs._replace(lines=rows[runs.lines])


def _between(stops: Mask, counted: Mask, least: int) -> _Stretches:
    """How many cells are `counted` between each two stops of a line, round its end; stretches of at least `least`.

    Both of shape (lines, places). A line without a stop has no stretch.
    """
    lines = np.flatnonzero(stops.any(axis=1) & (np.count_nonzero(counted, axis=1) >= least))
    at_once = max(1, _AT_ONCE // max(1, stops.shape[1]))
    parts = [
        _between_in(stops, counted, lines[start : start + at_once], least) for start in range(0, lines.size, at_once)
    ]
    if not parts:
        nothing = np.zeros(0, dtype=np.int64)
        return _Stretches(nothing, nothing, nothing, nothing)
    return _Stretches(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _between_in(stops: Mask, counted: Mask, lines: Indices, least: int) -> _Stretches:
    places = stops.shape[1]
    so_far = np.cumsum(counted[lines], axis=1, dtype=np.int32)
    stop_mask = stops[lines]
    stop = np.flatnonzero(stop_mask).astype(np.int32)
    last = np.cumsum(np.count_nonzero(stop_mask, axis=1)) - 1  # every line has a stop, so one entry a line
    first = np.append(0, last[:-1] + 1)
    at_stop = so_far.reshape(-1)[stop]
    count = np.empty_like(at_stop)
    np.subtract(at_stop[1:], at_stop[:-1], out=count[:-1])
    count[last] = at_stop[first] + so_far[:, -1] - at_stop[last]
    hit = np.flatnonzero(count >= least)
    line = np.searchsorted(last, hit)
    next_stop = np.where(hit == last[line], first[line], hit + 1)
    return _Stretches(
        lines[line],
        stop[hit].astype(np.int64) % places,
        stop[next_stop].astype(np.int64) % places,
        count[hit].astype(np.int64),
    )


def _least(limit: Limit) -> int | None:
    """The lowest count that gets a message."""
    return min((count for count in (limit.warn_from, limit.error_from) if count is not None), default=None)


# -- words ------------------------------------------------------------------------------------------------------

_FEW_RUNS: Final = 20
"""Characters of a row written in runs that are read as easily as a group."""
_LONGEST_CURE: Final = 60
"""Characters of a row that are still taken in at a glance."""


def _stretch(noun: str, first: int, count: int, size: int) -> str:
    """ "needles 3 to 5", "rows 7 to 8 and on to row 2 of the next repeat"; first is from 0 and may be past the end."""
    first %= size
    last = first + count - 1
    if count == 1:
        return f"{noun} {first + 1}"
    if last < size:
        return f"{noun}s {first + 1} to {last + 1}"
    return f"{noun}s {first + 1} to {last % size + 1}, on into the next repeat"


def _needles(subject: Subject, first: int, last: int) -> str:
    """ "needles 3 to 5, of which needle 4 is out of work"; first and last are from 0, `last` perhaps round the edge."""
    working = subject.stitch.chart.in_work
    count = (last - first) % working.size + 1
    between = np.arange(first, first + count) % working.size
    out = np.sort(between[~working[between]])
    where = _stretch("needle", first, count, working.size)
    return (
        f"{where}, of which {_numbers('needle', out)} {'is' if out.size == 1 else 'are'} out of work"
        if out.size
        else where
    )


def _numbers(noun: str, places: Indices) -> str:
    """ "row 2", "rows 2, 4 and 6-9"; places are from 0, in order."""
    return numbered(noun, (places + 1).tolist())


def _more(count: int, noun: str) -> str:
    """The end of a sentence's paragraph for further places of the same kind."""
    return f" There {'is' if count == 1 else 'are'} {count} more {noun}{'s'[count == 1 :]} like it." if count else ""


def _eased(row: Cells, kind: int, most: int) -> tuple[Cells, Cells]:
    """The row with knits put in so that no more than `most` of the kind lie side by side, round the repeat; and the
    part of it that was the longest run. The row has a cell of another kind.
    """
    start = int(np.flatnonzero(row != kind)[0])
    turned = np.roll(row, -start)  # begins with another kind, so that no run goes on round its end
    bounds = np.flatnonzero(np.diff(np.concatenate([[False], turned == kind, [False]]).astype(np.int8)))
    runs = sorted(bounds.reshape(-1, 2).tolist(), key=lambda run: run[0] - run[1])
    for first, end in runs:
        count = end - first
        if count <= most:
            break
        parts = -(-(count + 1) // (most + 1))
        each, rest = divmod(count - (parts - 1), parts)
        turned[first + np.cumsum([each + (part < rest) + 1 for part in range(parts - 1)]) - 1] = KNIT
    longest = turned[slice(*runs[0])] if runs else turned[:0]
    return np.roll(turned, start), longest


def _in_words(row: Cells, kind: int, most: int) -> str:
    """The row eased: "row is (S4 K)x2", or where it is too long to be taken in, its longest run alone."""
    eased, longest = _eased(row, kind, most)
    whole = _row(eased)
    return f"row is {whole}" if len(whole) <= _LONGEST_CURE else f"run is {_row(longest)}"


def _with_a_knit(subject: Subject, row: Cells) -> str:
    """ "for instance as K T K T, ": a row without a knit as it could be knitted, if that can be taken in."""
    if SLIP in row and subject.stitch.chart.out:
        return ""  # how long its floats would be depends on the needles between
    eased = np.where((row == SLIP) & (TUCK in row), KNIT, row)  # a pass does one or the other
    if KNIT not in eased:
        eased[0] = KNIT
    for kind, least in ((TUCK, _least(subject.limits.tucks_side_by_side)), (SLIP, subject.least_float)):
        if least is not None and least > 1:
            eased, _ = _eased(eased, kind, least - 1)
    text = _row(eased)
    return f"for instance as {text}, " if len(text) <= _LONGEST_CURE else ""


def _row(cells: Cells) -> str:
    """A row or a part of one as it can be typed, in runs alone where these are few: a group is harder to read."""
    from stitchc.notation.writer import row_text

    ends = np.flatnonzero(np.append(np.diff(cells), 1)) + 1
    runs = zip(cells[ends - 1].tolist(), np.diff(ends, prepend=0).tolist(), strict=True)
    in_runs = " ".join(LETTERS[kind] + (str(count) if count > 1 else "") for kind, count in runs)
    return in_runs if len(in_runs) <= _FEW_RUNS else row_text(cells)


def _plain_row_advice(stitch: Stitch) -> str:
    if stitch.row_spans:
        return f"Make at least one of its cells K, or add a plain row: {stitch.chart.height + 1}: K"
    return f"Make at least one of its cells K, or add a plain row: ({stitch.name}) then plain 1 by 1"


def _figure(number: float) -> str:
    return f"{number:.1f}".rstrip("0").rstrip(".")

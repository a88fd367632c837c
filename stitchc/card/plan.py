"""The hole card as a value: which cells are holes, what changes at which row, and how it lies on blanks.

Knows the chart and the machine's profile; nothing of paper, pages or files.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.chart import Chart, Setting, TooLarge
from stitchc.machines import fit
from stitchc.machines.fit import fitted_rows, reads_nothing_of_the_kind
from stitchc.machines.profile import CardShape, Machine
from stitchc.messages import Message, Refused
from stitchc.pattern import Pattern, Stitch
from stitchc.wording import OPTION

Holes = npt.NDArray[np.bool_]

MAIN_YARN: Final = "main yarn"
"""What a row that names no yarn is knitted with, where other rows of the stitch name one and the pattern does not say
which it is."""

MOST_ROWS: Final = 5000
"""Of a card, on however many blanks; as many as a profile may say that one blank has."""


@dataclass(frozen=True)
class Change:
    """What the knitter changes before a row is knitted: the carriage's setting, the yarn, or both. row: from 1."""

    row: int
    setting: Setting | None = None
    yarn: str | None = None


@dataclass(frozen=True)
class Strip:
    """A piece of sheet: pattern rows `first` to `last`, with joining rows beyond both. number, of: which blank."""

    first: int
    last: int
    number: int = 1
    of: int = 1


@dataclass(frozen=True, eq=False)
class Card:
    """One card, ready to be drawn.

    unit: one repeat, begun where it was asked to: at the stitch's row `begun`, and `moved` needles to the right.
    chart: the same tiled to the card's columns and rows. holes: shape (rows, columns), row 1 and the leftmost column
    first, as the card is punched: with the machine's polarity and mirroring applied; a needle out of work is punched
    like one that knits, so that nothing is spoilt if it is in work after all. Joining rows are not in it.
    each_row_twice: the reader knits every row of the card twice, and unit and chart hold one row of each pair. remarks:
    sentences to write on it ("Made despite …"). own_notes: heads and sentences that stand on it in place of the usual
    ones. for_others: it goes to people who do not have stitchc. main_yarn: what the yarn of rows that name none is
    called.

    Rows of holes are called by positions: 1 to `rows` are the pattern's; those before and after are joining rows. They
    are full and lie over pattern rows of the other end, which are read through them, so the ring has only pattern rows.
    """

    machine: Machine
    shape: CardShape
    stitch: str
    title: str
    unit: Chart
    chart: Chart
    holes: Holes
    changes: tuple[Change, ...]
    each_row_twice: bool = False
    remarks: tuple[str, ...] = ()
    own_notes: tuple[tuple[str, str], ...] = ()
    for_others: bool = False
    begun: int = 1
    moved: int = 0
    main_yarn: str = MAIN_YARN

    @property
    def repeat(self) -> tuple[int, int]:
        """Needles and card rows of one repeat."""
        return self.unit.width, self.unit.height

    @property
    def columns(self) -> int:
        return int(self.holes.shape[1])

    @property
    def columns_out(self) -> tuple[int, ...]:
        """The columns as they are punched, from 1, whose needles are out of work."""
        working = self.chart.in_work[::-1] if self.machine.mirrored else self.chart.in_work
        return tuple((np.flatnonzero(~working) + 1).tolist())

    @property
    def rows(self) -> int:
        """Pattern rows; joining rows are on top of them."""
        return int(self.holes.shape[0])

    @property
    def whole(self) -> Strip:
        """The card on a single piece, however long."""
        return Strip(1, self.rows)

    @property
    def blanks(self) -> tuple[Strip, ...]:
        """The card on blanks of the machine's length: as few as can be, cut between repeats if that costs none."""
        most, height = self.shape.rows, self.repeat[1]
        of = -(-self.rows // most)
        step = height if -(-(self.rows // height) // of) * height <= most else 1
        ends = [self.rows // step * number // of * step for number in range(of + 1)]
        return tuple(Strip(ends[index] + 1, ends[index + 1], index + 1, of) for index in range(of))

    def positions(self, strip: Strip) -> range:
        """Every row of holes of a strip, from the end that goes in first."""
        return range(strip.first - self.shape.joining_rows, strip.last + self.shape.joining_rows + 1)

    def length_mm(self, strip: Strip) -> float:
        """Of the sheet, from end to end."""
        return 2 * self.shape.end_margin_mm + (len(self.positions(strip)) - 1) * self.shape.row_pitch_mm

    def along_mm(self, strip: Strip, position: float) -> float:
        """How far a row of holes is from the end of the strip that goes in first."""
        return self.shape.end_margin_mm + (position - self.positions(strip)[0]) * self.shape.row_pitch_mm

    def punched(self, strip: Strip, position: int) -> npt.NDArray[np.bool_]:
        """Which columns have a hole at a position; all of them in a joining row."""
        if strip.first <= position <= strip.last:
            return np.asarray(self.holes[position - 1])
        return np.ones(self.columns, dtype=np.bool_)

    def ring_row(self, position: int) -> int:
        """The pattern row that a position stands for once the card is closed: joining rows lie over those of the
        other end, or of the next blank."""
        return (position - 1) % self.rows + 1

    def read_at_eye_level(self, position: int) -> int:
        """The pattern row that is being read while the row at this position is at eye level."""
        return self.ring_row(position - self.shape.seen_above_read)

    @property
    def start_row(self) -> int:
        """The row at eye level when row 1 is read: the one to lock the card at."""
        return self.ring_row(1 + self.shape.seen_above_read)

    def due_at_eye_level(self, position: int) -> int:
        """The row that the next pass knits while the row at this position is at eye level: the row being read, or the
        one before it where needles are selected one pass ahead."""
        return self.ring_row(self.read_at_eye_level(position) - (self.machine.selects == "one pass ahead"))

    @property
    def changes_by_row(self) -> dict[int, Change]:
        return {change.row: change for change in self.changes}

    @property
    def settings(self) -> tuple[Setting, ...]:
        """The settings that the pattern needs, each once, in order; empty for plain knitting."""
        return tuple(dict.fromkeys(setting for setting in self.chart.settings() if setting != "plain"))

    @property
    def hole_count(self) -> int:
        """Holes of the pattern rows."""
        return int(self.holes.sum())

    @property
    def joining_hole_count(self) -> int:
        """Holes of the joining rows of all blanks."""
        return 2 * self.shape.joining_rows * self.columns * len(self.blanks)


def plan_card(
    stitch: Stitch,
    machine: Machine,
    least_rows: int | None = None,
    title: str | None = None,
    *,
    start_row: int = 1,
    shift: int = 0,
    each_row_twice: bool = False,
    remarks: tuple[str, ...] = (),
    main_yarn: str = MAIN_YARN,
) -> Card:
    """The card of a stitch: tiled to the reader's columns and, in whole repeats, to the rows of a closed card.

    least_rows: rows that it must at least have, on top of what the machine's card needs to turn. start_row: the
    stitch's row that is the card's row 1; shift: needles by which the repeat is moved to the right. The stitch's first
    column (before the shift) lies on column 1 of the card. The caller has asked `unfit` first.
    Raises Refused: M305 where no card is read, M307 for rows that do not come in pairs, N110 past MOST_ROWS.
    """
    if machine.card is None or machine.reader_width is None or machine.reader != "card":
        raise Refused(*reads_nothing_of_the_kind(machine, "card"))
    unit = rows_on_the_card(stitch, start_row, each_row_twice).shifted(shift)
    rows = fitted_rows(unit, machine.card, least_rows)
    if rows > MOST_ROWS:
        text = f"The card of `{stitch.name}` would have {rows:,} rows; the most that can be drawn is {MOST_ROWS:,}."
        raise Refused(Message("N110", "error", text, stitch.span, "Split the stitch into several cards."))
    try:
        chart = unit.tiled(machine.reader_width, rows)
    except TooLarge as error:
        raise Refused(Message("N110", "error", f"The card of `{stitch.name}` is too large: {error}.")) from None
    marks = ~chart.held if machine.mark_means == "knit" else chart.held
    if machine.mirrored:
        marks = marks[:, ::-1]
    holes = np.ascontiguousarray(marks)
    holes.setflags(write=False)
    moved = [f"card row 1 is row {start_row} of the stitch"] if start_row != 1 else []
    if shift:
        side = "right" if shift > 0 else "left"
        moved.append(f"the repeat is moved {abs(shift)} needle{'s' * (abs(shift) > 1)} to the {side}")
    if moved:
        sentence = ", and ".join(moved)
        remarks = (f"{sentence[0].upper()}{sentence[1:]}", *remarks)
    return Card(
        machine=machine,
        shape=machine.card,
        stitch=stitch.name,
        title=title or "",
        unit=unit,
        chart=chart,
        holes=holes,
        changes=tuple(changes_of(chart, main_yarn)),
        each_row_twice=each_row_twice,
        remarks=remarks,
        begun=start_row,
        moved=shift,
        main_yarn=main_yarn,
    )


def main_yarn_of(pattern: Pattern) -> str:
    """What cards and pictures call the yarn of the rows that name none."""
    return pattern.main_yarn.name if pattern.main_yarn is not None else MAIN_YARN


def changes_of(chart: Chart, main_yarn: str) -> Iterator[Change]:
    """What changes at each row, beginning with what is set before row 1. main_yarn: what the yarn of rows that name
    none is called.

    A plain row is all knit whatever is set, so that the setting stays until a row needs another one.
    """
    settings = chart.settings()
    set_to: Setting | None = next((setting for setting in settings if setting != "plain"), None)
    names_yarns = any(yarn is not None for yarn in chart.yarns)
    for index, (setting, yarn) in enumerate(zip(settings, chart.yarns, strict=True)):
        first = index == 0
        new_setting = set_to if first else None
        if setting not in ("plain", set_to):
            new_setting = set_to = setting
        new_yarn = (yarn or main_yarn) if names_yarns and (first or yarn != chart.yarns[index - 1]) else None
        if new_setting or new_yarn:
            yield Change(index + 1, new_setting, new_yarn)


# -- each row twice ---------------------------------------------------------------------------------------------------


_MOST_PAIRS: Final = 24
"""Pairs of rows that are named."""


def rows_on_the_card(stitch: Stitch, start_row: int = 1, each_row_twice: bool = False) -> Chart:
    """The rows that are punched: the repeat begun at `start_row`, or one row of each of its pairs.

    Raises Refused M307 naming the pairs that are not equal.
    """
    begun = stitch.chart.started_at(start_row - 1)
    if not each_row_twice:
        return begun
    half = one_of_each_pair(begun)
    if half is not None:
        return half
    whole = _even(begun)
    height = stitch.chart.height
    differing = [
        f"{(row + start_row - 1) % height + 1} and {(row + start_row) % height + 1}"
        for row in range(0, whole.height, 2)
        if not _alike(whole, row)
    ]
    more = f"; {len(differing) - _MOST_PAIRS} pairs after these" if len(differing) > _MOST_PAIRS else ""
    other = start_row % height + 1
    works = one_of_each_pair(stitch.chart.started_at(other - 1)) is not None
    pairs = ", ".join(differing[:_MOST_PAIRS]) + more
    text = f"`{stitch.name}` does not come in pairs of equal rows: rows {pairs} differ."
    advice = (
        f"{OPTION.start_row:{other}}" if works else f"Leave out {OPTION.each_row_twice}: the card then has every row."
    )
    raise Refused(Message("M307", "error", text, stitch.span, advice))


def one_of_each_pair(chart: Chart) -> Chart | None:
    """Every second row, where rows come in pairs that are equal in cells and yarn; None where they do not."""
    whole = _even(chart)
    if not all(_alike(whole, row) for row in range(0, whole.height, 2)):
        return None
    return Chart(whole.cells[::2].copy(), whole.yarns[::2])


def _even(chart: Chart) -> Chart:
    return chart.tiled(chart.width, chart.height * 2) if chart.height % 2 else chart


def _alike(chart: Chart, row: int) -> bool:
    return bool((chart.cells[row] == chart.cells[row + 1]).all()) and chart.yarns[row] == chart.yarns[row + 1]


def unfit(
    stitch: Stitch,
    machine: Machine,
    least_rows: int | None = None,
    start_row: int = 1,
    each_row_twice: bool = False,
) -> list[Message]:
    """What keeps the stitch from a card of this machine: M305 where it reads none, else `machines.fit.unfit`.

    Raises Refused M307.
    """
    chart = rows_on_the_card(stitch, start_row, each_row_twice)
    return reads_nothing_of_the_kind(machine, "card") or fit.unfit(
        stitch, machine, card_rows=least_rows, card_chart=chart
    )

"""The hole card as a value: which cells are holes, and what changes at which row.

Knows the chart and the machine's profile; nothing of paper, pages or files.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from stitchc.chart import Chart, Setting, TooLarge
from stitchc.machines import fit
from stitchc.machines.fit import fitted_rows, reads_nothing_of_the_kind
from stitchc.messages import Message, Refused

if TYPE_CHECKING:
    from stitchc.machines.profile import CardShape, Machine
    from stitchc.pattern import Stitch

Holes = npt.NDArray[np.bool_]

MAIN_YARN = "main yarn"
"""What a row that names no yarn is knitted with, where other rows of the stitch name one."""


@dataclass(frozen=True)
class Change:
    """What the knitter changes before a row is knitted: the carriage's setting, the yarn, or both. row: from 1."""

    row: int
    setting: Setting | None = None
    yarn: str | None = None


@dataclass(frozen=True, eq=False)
class Card:
    """One card, ready to be drawn.

    unit: one repeat, begun where it was asked to. chart: the same tiled to the card's columns and rows, as it is
    knitted. holes: shape (rows, columns), row 1 and the leftmost column first, as the card is punched: with the
    machine's polarity and mirroring applied. Joining rows are not in it. remarks: what has to be said on it ("made in
    spite of …").
    """

    machine: Machine
    shape: CardShape
    stitch: str
    title: str
    unit: Chart
    chart: Chart
    holes: Holes
    changes: tuple[Change, ...]
    remarks: tuple[str, ...] = ()

    @property
    def repeat(self) -> tuple[int, int]:
        """Needles and rows of one repeat."""
        return self.unit.width, self.unit.height

    @property
    def columns(self) -> int:
        """Columns of the reader."""
        return int(self.holes.shape[1])

    @property
    def rows(self) -> int:
        """Pattern rows; joining rows are on top of them."""
        return int(self.holes.shape[0])

    @property
    def positions(self) -> range:
        """Every row of holes from the end that goes in first, as numbers that go on from row 1 both ways: 0 and below
        are the joining rows before it, over `rows` those after the last."""
        return range(1 - self.shape.joining_rows, self.rows + self.shape.joining_rows + 1)

    @property
    def length_mm(self) -> float:
        """Of the sheet, from end to end."""
        return 2 * self.shape.end_margin_mm + (len(self.positions) - 1) * self.shape.row_pitch_mm

    def punched(self, position: int) -> npt.NDArray[np.bool_]:
        """Which columns have a hole at a position; all of them in a joining row."""
        if 1 <= position <= self.rows:
            return np.asarray(self.holes[position - 1])
        return np.ones(self.columns, dtype=np.bool_)

    def ring_row(self, position: int) -> int:
        """The pattern row that a position stands for once the card is closed: joining rows lie over those of the
        other end."""
        return (position - 1) % self.rows + 1

    def read_at_eye_level(self, position: int) -> int:
        """The pattern row that is being read while the row at this position is at eye level."""
        return self.ring_row(position - self.shape.seen_above_read)

    @property
    def changes_by_row(self) -> dict[int, Change]:
        """The changes by their row."""
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
        """Holes of the joining rows."""
        return 2 * self.shape.joining_rows * self.columns


def make_card(
    stitch: Stitch,
    machine: Machine,
    least_rows: int | None = None,
    title: str | None = None,
    *,
    start_row: int = 1,
    shift: int = 0,
    remarks: tuple[str, ...] = (),
) -> Card:
    """The card of a stitch: tiled to the reader's columns and, in whole repeats, to the rows of a closed card.

    least_rows: rows that it must at least have, on top of what the machine's card needs to turn. start_row: the
    stitch's row that is the card's row 1; shift: needles by which the repeat is moved to the right. The stitch's first
    column (before the shift) lies on column 1 of the card. The caller has asked `unfit` first.
    Raises Refused: M305 where no card is read, N110 for a card over the limit of cells.
    """
    if machine.card is None or machine.reader_width is None or machine.reader != "card":
        raise Refused(*reads_nothing_of_the_kind(machine, "card"))
    unit = stitch.chart.started_at(start_row - 1).shifted(shift)
    rows = fitted_rows(unit, machine.card, least_rows)
    try:
        chart = unit.tiled(machine.reader_width, rows)
    except TooLarge as error:
        raise Refused(Message("N110", "error", f"The card of `{stitch.name}` is too large: {error}.")) from None
    marks = chart.knits if machine.mark_means == "knit" else ~chart.knits
    if machine.mirrored:
        marks = marks[:, ::-1]
    holes = np.ascontiguousarray(marks)
    holes.setflags(write=False)
    if start_row != 1 or shift:
        begun = f"Begun at row {start_row} of the stitch" if start_row != 1 else "The repeat is "
        moved = f"moved {abs(shift)} needle{'s' * (abs(shift) > 1)} to the {'right' if shift > 0 else 'left'}"
        remarks = (f"{begun}{', ' * (start_row != 1 and bool(shift))}{moved if shift else ''}", *remarks)
    return Card(
        machine=machine,
        shape=machine.card,
        stitch=stitch.name,
        title=title or "",
        unit=unit,
        chart=chart,
        holes=holes,
        changes=tuple(changes_of(chart)),
        remarks=remarks,
    )


def changes_of(chart: Chart) -> Iterator[Change]:
    """What changes at each row, beginning with what is set before row 1.

    A plain row is all knit whatever is set, so that the setting stays until a row needs another one.
    """
    settings = chart.settings()
    set_to: Setting | None = next((setting for setting in settings if setting != "plain"), None)
    named = any(yarn is not None for yarn in chart.yarns)
    for index, (setting, yarn) in enumerate(zip(settings, chart.yarns, strict=True)):
        first = index == 0
        new_setting = set_to if first else None
        if setting not in ("plain", set_to):
            new_setting = set_to = setting
        new_yarn = (yarn or MAIN_YARN) if named and (first or yarn != chart.yarns[index - 1]) else None
        if new_setting or new_yarn:
            yield Change(index + 1, new_setting, new_yarn)


def unfit(stitch: Stitch, machine: Machine, least_rows: int | None = None) -> list[Message]:
    """What keeps the stitch from a card of this machine: M305 where it reads none, else `machines.fit.unfit`."""
    return reads_nothing_of_the_kind(machine, "card") or fit.unfit(stitch, machine, card_rows=least_rows)

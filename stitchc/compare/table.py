"""One line a stitch: what the same needles and rows come out at, take and cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from stitchc.bed import Needles
from stitchc.card.plan import unfit
from stitchc.card.work import holes_of
from stitchc.checks import check
from stitchc.gauge import Baseline, GaugeReport, Range, StitchGauge
from stitchc.gauge.yarn import Cells, YarnUse, cells_by_yarn, total, yarns_of
from stitchc.machines import Machine, fit
from stitchc.messages import Message
from stitchc.options import Sort
from stitchc.passes import lower, moved_by_hand
from stitchc.pattern import Pattern, Stitch

Key = tuple[str, str]
"""File and name of a stitch."""

NEEDLES: Final = 100
ROWS: Final = 100


@dataclass(frozen=True)
class Compared:
    """A stitch with its size, yarn and work. file: the pattern's as the user named it.

    size_cm: width and length of 100 needles by 100 rows; None without a gauge of stocking stitch. moves: needles moved
    by hand for them, or None where the hand machine cannot knit it. holes: to punch on one card (the repeat tiled to
    the reader's width and to the rows a closed card needs), or None where the repeat does not go into the width.
    """

    file: str
    stitch: Stitch
    gauge: StitchGauge
    baseline: Baseline | None
    yarns: tuple[YarnUse, ...]
    moves: int | None
    holes: int | None

    @property
    def key(self) -> Key:
        """What tells it from the others."""
        return self.file, self.stitch.name

    @property
    def cells(self) -> Cells:
        return sum(cells_by_yarn(self.stitch.chart).values(), Cells())

    @property
    def size_cm(self) -> tuple[Range, Range] | None:
        """Width and length of 100 needles by 100 rows; None without a gauge of stocking stitch."""
        wide, long = self.gauge.stitches_per_10cm, self.gauge.rows_per_10cm
        return None if wide is None or long is None else (wide.under(NEEDLES * 10), long.under(ROWS * 10))

    @property
    def metres_per_square_metre(self) -> Range | None:
        """All yarns together."""
        return total(use.metres_per_square_metre for use in self.yarns)

    @property
    def grams_per_square_metre(self) -> Range | None:
        """All yarns together; None where the tex of one is not known."""
        return total(use.grams_per_square_metre for use in self.yarns)

    @property
    def grams_of_100_by_100(self) -> Range | None:
        """All yarns together; None where the tex of one is not known."""
        return total(use.grams_of_100_by_100 for use in self.yarns)


def compare(
    pattern: Pattern, stitches: Sequence[Stitch], report: GaugeReport, hand: Machine, card: Machine
) -> list[Compared]:
    """A line for each stitch. report: has a gauge of every one. hand: whose moves are counted; card: whose holes."""
    return [
        Compared(
            file=pattern.file,
            stitch=stitch,
            gauge=report.of(stitch.name),
            baseline=report.baseline,
            yarns=yarns_of(report, pattern, stitch),
            moves=hand_moves(stitch, hand),
            holes=holes_to_punch(stitch, card),
        )
        for stitch in stitches
    ]


def hand_moves(stitch: Stitch, machine: Machine) -> int | None:
    """Needles moved by hand for 100 rows on 100 needles, carriage beginning on the right, one edge needle each side.
    None where a sheet for them is refused."""
    needles = Needles.centred(NEEDLES)
    if not moved_by_hand(machine) or _is_refused(stitch, machine, fit.unfit(stitch, machine, needles)):
        return None
    passes = lower(stitch.chart, machine, needles, ROWS, "right", 1)
    return sum(each.moves for each in passes)


def holes_to_punch(stitch: Stitch, machine: Machine) -> int | None:
    """Pattern holes in one closed card: the repeat tiled to the reader's width and the rows the card needs to turn.
    None where the card is refused."""
    if _is_refused(stitch, machine, unfit(stitch, machine)):
        return None
    return holes_of(stitch.chart, machine)[1]


def _is_refused(stitch: Stitch, machine: Machine, unfit: Sequence[Message]) -> bool:
    """Whether the machine's product of this stitch has an error, so that it is made on demand alone."""
    return any(message.severity == "error" for message in (*unfit, *check(stitch, machine)))


def in_order_of(lines: Sequence[Compared], sort: Sort) -> list[Compared]:
    """Sorted: rows and width by the finished size (longest and widest first), weight, moves and holes by least first.

    What is not known comes last; equals keep the order given.
    """

    known = all(line.size_cm is not None for line in lines)

    def value_of(line: Compared) -> float | None:
        gauge = line.gauge
        ranges = {
            "rows": (known and gauge.rows_per_10cm) or gauge.row_factor,
            "width": (known and gauge.stitches_per_10cm) or gauge.stitch_factor,
            "weight": line.grams_per_square_metre or line.metres_per_square_metre,
        }
        if sort in ranges:
            return None if (each := ranges[sort]) is None else each.value
        return {"moves": line.moves, "holes": line.holes}.get(sort, 0.0)

    def key(line: Compared) -> tuple[bool, float, str]:
        value = value_of(line)
        return value is None, value or 0.0, line.stitch.name if sort == "name" else ""

    return sorted(lines, key=key)

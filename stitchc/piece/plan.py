"""A planned piece as values: its sections, its plan, and the sizes that follow. Knows nothing of how it was planned."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from stitchc.bed import Needles
from stitchc.chart import Chart
from stitchc.english import ranges
from stitchc.gauge.estimate import GaugeReport
from stitchc.gauge.gauges import PLAIN, Joint, Range, in_yarn_name
from stitchc.passes import Pass
from stitchc.pattern import Do, Knit, Pattern, Piece, Side
from stitchc.piece.size import Rounding, less, size_cm

if TYPE_CHECKING:
    from stitchc.machines.profile import Machine


@dataclass(frozen=True)
class Section:
    """One `knit` line, or a plain row that had to be added. Rows count from 1 through the whole piece.

    chart: the repeat as it lies on the needles, its rows' yarns filled in. carriage: where it stands before the first
    row; ends: after the last. step: its place among the piece's steps, None for an added row. why: the reason for an
    added row. rounding: what became of a length; None where rows were asked for. asked: the line itself.
    """

    stitch: str
    chart: Chart
    rows: int
    from_row: int
    carriage: Side
    yarn: str | None = None
    tension: str | None = None
    step: int | None = None
    why: str = ""
    rounding: Rounding | None = None
    asked: Knit | None = None

    @property
    def to_row(self) -> int:
        """What the row counter shows after its last row."""
        return self.from_row + self.rows - 1

    @property
    def repeats(self) -> tuple[int, int]:
        """Whole repeats in its rows, and the rows over."""
        return divmod(self.rows, self.chart.height)

    @property
    def is_plain(self) -> bool:
        """Whether all its needles knit on all rows."""
        return not self.chart.held.any()


@dataclass(frozen=True)
class Plan:
    """A piece worked out for one machine.

    items: everything in the order in which it is done. width_stitch: whose gauge the width rests on. width_fabric: the
    same in the yarn of most of its rows, where that has a gauge of its own. width_rounding:
    what became of the width asked for; None where needles were. plus_mm: seam allowance, which the needles hold and the
    finished width does not. law: the joint gauge of the piece's stitches.
    """

    pattern: Pattern
    piece: Piece
    machine: Machine
    report: GaugeReport
    needles: Needles
    items: tuple[Section | Do | Pass, ...]
    width_stitch: str
    width_fabric: str
    width_rounding: Rounding | None
    plus_mm: float

    @property
    def edge(self) -> int:
        """Needles at each end that always knit."""
        return self.piece.edge

    @cached_property
    def sections(self) -> tuple[Section, ...]:
        """The sections, added rows among them."""
        return tuple(item for item in self.items if isinstance(item, Section))

    @cached_property
    def parts(self) -> tuple[Section, ...]:
        """The sections that the piece itself has: part 1 is the first."""
        return tuple(section for section in self.sections if section.step is not None)

    @cached_property
    def passes(self) -> tuple[Pass, ...]:
        """Every row of the piece."""
        return tuple(item for item in self.items if isinstance(item, Pass))

    @cached_property
    def law(self) -> Joint:
        """The joint gauge of plain and every stitch of the piece."""
        return self.report.joint()

    @cached_property
    def charts(self) -> dict[str, Chart]:
        """The repeats as written, by name, in the order in which they are knitted."""
        return {
            section.stitch: chart_of(self.pattern, section.stitch)
            for section in self.sections
            if section.step is not None
        }

    @cached_property
    def width_cm(self) -> Range | None:
        """The finished width, seam allowance taken off."""
        knitted = self.knitted_width_cm
        return None if knitted is None else less(knitted, self.plus_mm / 10)

    @cached_property
    def knitted_width_cm(self) -> Range | None:
        """The width of the whole fabric."""
        return self.width_in(self.width_fabric)

    def width_of(self, section: Section) -> Range | None:
        """How wide all the needles come out in one section."""
        return self.width_in(self.fabric(section))

    def width_in(self, fabric: str) -> Range | None:
        """How wide all the needles come out in one fabric of the piece."""
        return size_cm(self.law, {fabric: self.needles.count}, "stitches")

    def fabric(self, section: Section) -> str:
        """The name under which the section's gauge is known: its stitch, or that in its yarn ("plain in oat")."""
        return fabric_of(section.stitch, section.yarn, self.law)

    def carriage_after(self, section: Section) -> Side:
        """Where the carriage stands after the section: an even number of rows brings it back only where it is not
        brought to the other side within them."""
        return self.passes[section.to_row - 1].end_side

    @cached_property
    def fabrics(self) -> dict[str, str]:
        """The stitch of each fabric, in the order in which they are knitted; plain rows that had to be added left
        out."""
        return {self.fabric(section): section.stitch for section in self.sections if section.step is not None}

    def is_measured(self, fabric: str) -> bool:
        """Whether both halves of its gauge were measured on a swatch."""
        return fabric != PLAIN and self.report.of(fabric).basis == "measured"

    @cached_property
    def length_cm(self) -> Range | None:
        """The length of all rows."""
        counts: dict[str, int] = {}
        for section in self.sections:
            counts[self.fabric(section)] = counts.get(self.fabric(section), 0) + section.rows
        return size_cm(self.law, counts, "rows")

    def length_of(self, section: Section) -> Range | None:
        """The length of one section."""
        return size_cm(self.law, {self.fabric(section): section.rows}, "rows")


def fabric_of(stitch: str, yarn: str | None, law: Joint) -> str:
    """The name by which `law` knows a stitch knitted in a yarn: of both where yarns have gauges of their own."""
    both = in_yarn_name(stitch, yarn) if yarn is not None else stitch
    return both if both in law.names else stitch


def chart_of(pattern: Pattern, name: str) -> Chart:
    """The repeat of a stitch that a piece names, stocking stitch among them."""
    return Chart.plain(1, 1) if name == PLAIN else pattern.stitches[name].chart


def yarn_of_other_rows(pattern: Pattern, name: str, yarn: str) -> str:
    """How to name the yarn of those rows of a stitch that name none; empty where none of its rows names one."""
    rows = [number for number, own in enumerate(chart_of(pattern, name).yarns, 1) if own is None]
    stitch = pattern.stitches.get(name)
    if stitch is None or len(rows) == stitch.chart.height:
        return ""
    if stitch.row_spans is None:
        return f"Write `in {yarn}` after the row numbers that name no yarn, in the stitches that `{name}` is made of."
    return f"Name the yarn of the other rows in `{name}` itself: `{ranges(rows)} in {yarn}: …`."

"""The needle sheet as a value: its head, and its entries in the order in which they are done.

A sheet for one stitch and one for a whole piece are the same kind of value; text, JSON and HTML are made from it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from stitchc.bed import Needles
    from stitchc.chart import Chart
    from stitchc.machines.profile import Machine
    from stitchc.passes import Pass
    from stitchc.pattern import Side, Yarn

StepKind = Literal["yarn", "push", "bring", "set", "lead", "see", "rest"]


@dataclass(frozen=True)
class Step:
    """One thing to do or to know for a pass.

    kind: "yarn" (change it), "push" (needles back into work), "bring" (needles out), "set" (the carriage), "lead" (the
    yarn led past by hand), "see" (something to check), "rest" (nothing moves). text: whole sentences.
    """

    kind: StepKind
    text: str


@dataclass(frozen=True)
class PassEntry:
    """A pass of the carriage with what is done before it, in order."""

    passed: Pass
    steps: tuple[Step, ...]

    @property
    def words(self) -> str:
        """All steps in one string, as the JSON form has them."""
        return " ".join(step.text for step in self.steps)


@dataclass(frozen=True)
class DoEntry:
    """Something done by hand between passes, in the pattern's own words."""

    text: str


@dataclass(frozen=True)
class SectionEntry:
    """The head of a part of a piece. details: short lines under it (rows, tension, yarn)."""

    title: str
    details: tuple[str, ...] = ()


Entry = PassEntry | DoEntry | SectionEntry


@dataclass(frozen=True)
class Sheet:
    """Everything that a sheet shows.

    title: what is knitted; subtitle: of which pattern. machine, needles, edge and carriage as the passes were lowered.
    charts: the repeats to draw, by the stitch's name. facts: further lines of the head (label, value).
    before: what is done before row 1, in order. habits: what this machine and this stitch ask for.
    cautions: what could hurt. notes: the pattern's own. warnings: messages that the knitter should know of.
    kind: what it calls itself. more: further parts of the head, each a heading with its paragraphs (a piece's sizes and
    yarns). drawing: an SVG element of the piece with its measures, or nothing. heading and total: the first lines of
    the head and the last line of all, where they are not to be made from the rest (several sizes in one).
    after_row: the last row that is knitted already and left out.
    """

    title: str
    machine: Machine
    needles: Needles
    edge: int
    carriage: Side
    entries: tuple[Entry, ...]
    subtitle: str = ""
    charts: Mapping[str, Chart] = field(default_factory=dict)
    yarns: Mapping[str, Yarn] = field(default_factory=dict)
    facts: tuple[tuple[str, str], ...] = ()
    before: tuple[str, ...] = ()
    habits: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    kind: str = "needle sheet"
    more: tuple[tuple[str, tuple[str, ...]], ...] = ()
    drawing: str = ""
    heading: tuple[tuple[str, str], ...] = ()
    total: str = ""
    after_row: int = 0

    def pass_entries(self) -> Iterator[PassEntry]:
        """The passes alone."""
        return (entry for entry in self.entries if isinstance(entry, PassEntry))

    @cached_property
    def rows(self) -> int:
        """Passes in all."""
        return sum(1 for _ in self.pass_entries())

    @property
    def first_row(self) -> int:
        """The row it begins with: later than 1 where earlier rows are knitted already."""
        return self.after_row + 1

    @property
    def first_side(self) -> Side:
        """Where the carriage stands before that row."""
        return next((entry.passed.start_side for entry in self.pass_entries()), self.carriage)

    @cached_property
    def moves(self) -> int:
        """Needles moved by hand in all."""
        return sum(entry.passed.moves for entry in self.pass_entries())

"""What a document is made of: parts with their blocks, and rows to be knitted one after another.

    Document(title="Tide", kind="swatch", facts=(("Needles", "L20 to R20"),), parts=(Part("Size", ("About 8 cm.",)),))

Nothing here knows what a document is about, nor how it is written.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    from stitchc.bed import Needles
    from stitchc.page.items import Page

# -- drawings -------------------------------------------------------------------------------------------------------

Ink = Literal["line", "thin", "solid", "open", "shade", "soft"]
"""line: a firm line. thin: a line of a grid. solid: filled. open: outlined over an empty ground. shade: outlined over a
tinted ground. soft: a line that stands back. Each writer chooses the colours (a screen may be dark)."""


class Path(NamedTuple):
    """Straight lines from point to point, several in one."""

    lines: tuple[tuple[tuple[float, float], ...], ...]
    ink: Ink = "line"
    closed: bool = False


class Dots(NamedTuple):
    """Discs (solid) or rings (any other ink) of one size."""

    centres: tuple[tuple[float, float], ...]
    radius: float
    ink: Ink = "solid"


class Label(NamedTuple):
    """A line of lettering; x, y: on its baseline."""

    x: float
    y: float
    text: str
    anchor: Literal["start", "middle", "end"] = "middle"
    size: float = 14


@dataclass(frozen=True)
class Drawing:
    """Shapes in units of their own, x to the right and y down; mm_per_unit: their size on paper.

    alt: what it shows, for those who cannot see it. caption: the line under it. as_text: the same in lines of at most
    80 columns, where text can show it.
    """

    shapes: tuple[Path | Dots | Label, ...]
    width: float
    height: float
    mm_per_unit: float
    alt: str
    caption: str = ""
    as_text: tuple[str, ...] = ()


# -- blocks ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Listing:
    """Items one under the other. numbered: they are done in this order."""

    items: tuple[str, ...]
    numbered: bool = False


@dataclass(frozen=True)
class Terms:
    """Words with what each means or amounts to."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Table:
    """Cells in columns. caption: the line over it. figures: columns (from 0) that are set flush right."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""
    figures: tuple[int, ...] = ()


@dataclass(frozen=True)
class Lines:
    """Text to be copied as it stands, line by line."""

    lines: tuple[str, ...]


@dataclass(frozen=True)
class Picture:
    """A picture in pixels, as JPEG or PNG. width_mm: on paper, or as wide as the page allows. alt: what it shows, for
    those who cannot see it. caption: the line under it. file: under which name a reader can take it from a page, "" if
    it is only to be looked at."""

    content: bytes
    width_mm: float
    alt: str
    caption: str = ""
    file: str = ""


@dataclass(frozen=True)
class Sheet:
    """A drawn page that is a page of its own on paper. name: what it is called in the contents. true_scale: it must be
    printed as large as it is, which a browser does not do for certain, so that HTML shows it on a screen alone."""

    page: Page
    name: str
    true_scale: bool = True


Block = str | Listing | Terms | Table | Drawing | Lines | Picture | Sheet
"""A plain string is a paragraph."""


@dataclass(frozen=True)
class Part:
    """A heading with its blocks. boxed: set apart, for cautions and warnings."""

    heading: str
    blocks: tuple[Block, ...]
    boxed: bool = False


# -- rows -----------------------------------------------------------------------------------------------------------

StepKind = Literal[
    "ladder", "cross", "yarn", "cut", "push", "bring", "back", "set", "go", "lead", "see", "selected", "rest"
]


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do or to know for a row, in whole sentences.

    kind: "ladder" (needles out of work, or back), "cross" (the carriage to the other side without knitting), "yarn"
    (change it), "cut" (cut and join it), "push" (needles into work), "bring" (needles out), "back" (needles right
    back), "set" (the carriage), "go" (knit on by the reader, as far as the text says), "lead" (the yarn led past by
    hand, after the pass), "see" (something to check), "selected" (what the reader selects), "rest" (nothing to do).
    alone: of a step that serves for several rows, its words where every row is told by itself; "" for none.
    """

    kind: StepKind
    text: str
    alone: str = ""


@dataclass(frozen=True, slots=True)
class PassRow:
    """One pass of the carriage with what is done before it, in order.

    row: what the row counter shows after it. direction: "right to left" or "left to right". bed: a letter for each
    needle in work, left to right (see `bed_strip`), empty where there is nothing to show; bed_first: the same for its
    "ladder" steps, which are done before the others. yarn: by name. moves: needles moved by hand, in each size. state:
    how everything stands before this row, each thing in a few words; state_then: once its "ladder" and "cross" steps
    are done, empty where it has none.
    """

    row: int
    direction: str
    steps: tuple[Step, ...]
    bed: str = ""
    bed_first: str = ""
    yarn: str | None = None
    moves: tuple[int, ...] = (0,)
    state: tuple[str, ...] = ()
    state_then: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """All steps in one string, of this row by itself."""
        return " ".join(step.text for step in self.steps_alone)

    @property
    def steps_alone(self) -> tuple[Step, ...]:
        """The steps where every row is told by itself."""
        own = (step if step.kind != "go" else Step("go", step.alone) for step in self.steps)
        return tuple(step for step in own if step.text)

    @property
    def beds(self) -> tuple[str, ...]:
        """The beds that have anything to show, in the order of the steps."""
        return tuple(bed for bed in (self.bed_first, self.bed) if bed)

    @property
    def sign(self) -> Hashable:
        """What makes two rows the same to do; a yarn is described the first time alone."""
        steps = tuple(step.kind if step.kind == "yarn" else step.text for step in self.steps)
        return (self.direction, self.beds, self.yarn, steps)

    @property
    def is_idle(self) -> bool:
        """Whether nothing is to be done: every step is only information."""
        return all(step.kind in ("rest", "selected") for step in self.steps)


@dataclass(frozen=True)
class ByHand:
    """Something done by hand between rows."""

    text: str


@dataclass(frozen=True)
class Heading:
    """The head of some rows. details: short lines under it."""

    text: str
    details: tuple[str, ...] = ()


Entry = PassRow | ByHand | Heading | Table


@dataclass(frozen=True)
class Rows:
    """Rows to be knitted, with what is done between them.

    needles: in work, as the bed strips show them. before: what is done before the first row, in order. side: where the
    carriage stands then. by_hand: whether hands move the needles. total: the last line of all. after_row: rows up to
    this one are knitted already and left out. colours: of yarns, by name, as "#rrggbb". make: how many are knitted,
    one after the other. ends: from which needle to which, of several sizes.
    """

    entries: tuple[Entry, ...]
    needles: Needles
    side: str
    before: tuple[str, ...] = ()
    by_hand: bool = True
    total: str = ""
    after_row: int = 0
    colours: tuple[tuple[str, str], ...] = ()
    make: int = 1
    ends: str = ""

    @property
    def where(self) -> str:
        """From which needle to which they are knitted."""
        return self.ends or f"{self.needles.left} to {self.needles.right}"

    def passes(self) -> Iterator[PassRow]:
        return (entry for entry in self.entries if isinstance(entry, PassRow))

    @cached_property
    def count(self) -> int:
        return sum(1 for _ in self.passes())

    @cached_property
    def moves(self) -> tuple[int, ...]:
        """Needles moved by hand in all, in each size."""
        return tuple(map(sum, zip(*(entry.moves for entry in self.passes()), strict=True)))

    @property
    def first_row(self) -> int:
        """The row it begins with."""
        return self.after_row + 1


@dataclass(frozen=True)
class Document:
    """title: what it is about; subtitle: of which pattern; kind: what it calls itself ("needle sheet").

    facts: the lines of its head (label, value). parts: everything that is read before the rows, or all there is.
    chapters: documents within this one, after its own rows; one that has any begins with a list of its contents.
    """

    title: str
    kind: str
    facts: tuple[tuple[str, str], ...] = ()
    parts: tuple[Part, ...] = ()
    rows: Rows | None = None
    subtitle: str = ""
    chapters: tuple[Document, ...] = ()

    @property
    def in_full(self) -> str:
        """Its title with that of its pattern, for the head and foot of each page: "Harbour cowl: cowl"."""
        return f"{self.subtitle}: {self.title}" if self.subtitle not in ("", self.title) else self.title

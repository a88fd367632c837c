"""The lines of a pattern as they were written, with the place of every part; nothing is resolved or reckoned here.

Named tuples, not dataclasses: they are made by the thousand, and to define twenty dataclasses takes 10 ms at every
start. Annotations are evaluated here: for a named tuple each one that is a text is compiled at every start.
"""

import unicodedata
from typing import NamedTuple

from stitchc.messages import Span


def shortened(text: str) -> str:
    """At most 60 characters of the text."""
    return text if len(text) <= 60 else text[:59] + "…"


def composed(name: str) -> str:
    """A name as names are compared: with composed letters (NFC), so that one typed in two ways is one."""
    return name if name.isascii() else unicodedata.normalize("NFC", name)


class Word(NamedTuple):
    """A piece of the user's text with its place."""

    text: str
    span: Span

    @property
    def shown(self) -> str:
        """The text for a message: cut where nobody would read on."""
        return shortened(self.text)

    @property
    def key(self) -> str:
        """The text as the name of something."""
        return composed(self.text)


class Number(NamedTuple):
    """A number as written; `value` is an int or a float and has not been checked against any range. text: its first
    signs, enough to quote it by."""

    value: float
    span: Span
    text: str


class Length(NamedTuple):
    """A length in mm with the place of its number."""

    mm: float
    span: Span


class Range(NamedTuple):
    """Numbers of rows or needles, `first` to `last`, both included, as written."""

    first: int
    last: int
    span: Span

    @property
    def text(self) -> str:
        """As the notation has it."""
        return f"{self.first}-{self.last}" if self.last > self.first else f"{self.first}"


class WordLine(NamedTuple):
    """A keyword and one word or text: `pattern "…"`, `note "…"`, `piece NAME`, `carriage left`, `needles L40-R39`, …"""

    keyword: str
    word: Word


class NumberLine(NamedTuple):
    """`make N` or `edge N`."""

    keyword: str
    number: Number


class YarnLine(NamedTuple):
    """`yarn NAME "…" colour "…" tex N weight W ball N g N m`; all but the name may be left out."""

    name: Word
    description: str
    colour: Word | None
    tex: Number | None
    weight: Word | None
    ball: tuple[Number, Number] | None = None


class PhotoLine(NamedTuple):
    """`photo "FILE" "what it shows"`."""

    file: Word
    shows: Word


class StitchByRows(NamedTuple):
    """`stitch NAME [over N]`, whose rows follow."""

    name: Word
    over: Number | None


class OutLine(NamedTuple):
    """`out 4, 6-7`: needles of the repeat that are out of work, as written."""

    ranges: tuple[Range, ...]

    @property
    def span(self) -> Span:
        """The place of the numbers."""
        first, last = self.ranges[0].span, self.ranges[-1].span
        return first._replace(length=last.column + last.length - first.column)


class Row(NamedTuple):
    """A row line, kept small because a file may have hundreds of thousands of them.

    numbers: for each range its first and last row and the column and length at which it is written, one after
    another. text: the cells as written, from `column` on.
    """

    file: str
    line: int
    numbers: tuple[int, ...]
    yarn: Word | None
    text: str
    column: int

    def range(self, nth: int) -> Range:
        """The row numbers between the commas, counted from 0, with their place."""
        first, last, column, length = self.numbers[4 * nth : 4 * nth + 4]
        return Range(first, last, Span(self.file, self.line, column, length))

    @property
    def span(self) -> Span:
        """The place of the cells."""
        return Span(self.file, self.line, self.column, len(self.text))


# -- expressions ------------------------------------------------------------------------------------------------


class Named(NamedTuple):
    """A stitch by its name."""

    name: Word


class PlainPart(NamedTuple):
    """`plain W by H`."""

    width: Number
    height: Number
    span: Span


class Form(NamedTuple):
    """A form after a name. kind: across, up, shifted, mirrored, reversed or replaced.

    number: the count of across, up and shifted (negative for left). swaps: the letter pairs of `with`.
    """

    kind: str
    span: Span
    number: Number | None = None
    leftward: bool = False
    swaps: tuple[tuple[Word, Word], ...] = ()


class Formed(NamedTuple):
    """A part with forms after it, in the order in which they are applied."""

    part: "Named | PlainPart | Joined"
    forms: tuple[Form, ...]


class Joined(NamedTuple):
    """Parts joined by `then` or `beside`. joints: the places of those words, one fewer than the parts.

    depth: how deep brackets nest inside.
    """

    kind: str
    parts: "tuple[Expression, ...]"
    joints: tuple[Span, ...]
    depth: int = 0


Expression = Named | PlainPart | Formed | Joined


class StitchBuilt(NamedTuple):
    """`stitch NAME = …`."""

    name: Word
    expression: Expression
    too_deep: bool
    """Brackets nest deeper than the notation allows; such an expression is never evaluated."""


# -- gauges and pieces -------------------------------------------------------------------------------------------


class GaugeLine(NamedTuple):
    """`gauge STITCH N stitches N rows per LENGTH [in YARN] [sure]`; either count may be left out."""

    stitch: Word
    stitches: Number | None
    rows: Number | None
    per: Length
    again: Span | None
    """Where a count is given a second time, if one is."""
    yarn: Word | None = None
    sure: bool = False


class WidthLine(NamedTuple):
    """`width LENGTH [plus LENGTH] [in STITCH]`, or `sizes` with several lengths; unit: as they are written."""

    widths: tuple[Length, ...]
    plus: Length | None
    stitch: Word | None
    keyword: str
    unit: str


class KnitLine(NamedTuple):
    """`knit STITCH for N rows` or `for LENGTH [exactly]`, with `in YARN` and `at "…"`."""

    stitch: Word
    rows: Number | None
    length: Length | None
    exactly: bool
    yarn: Word | None
    tension: Word | None
    again: Span | None
    """Where `exactly`, `in` or `at` stands a second time, if one does."""


Line = (
    WordLine
    | NumberLine
    | YarnLine
    | StitchByRows
    | Row
    | OutLine
    | StitchBuilt
    | GaugeLine
    | PhotoLine
    | WidthLine
    | KnitLine
)


class Placed(NamedTuple):
    """A line and the number it stands at."""

    line: Line
    number: int

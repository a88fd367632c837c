"""The lines of a pattern as they were written, with the place of every part; nothing is resolved or reckoned here."""

from __future__ import annotations

from dataclasses import dataclass

from stitchc.messages import Span


@dataclass(frozen=True, slots=True)
class Word:
    """A piece of the user's text with its place."""

    text: str
    span: Span


@dataclass(frozen=True, slots=True)
class Number:
    """A number as written; `value` is an int or a float and has not been checked against any range."""

    value: float
    span: Span


@dataclass(frozen=True, slots=True)
class Length:
    """A length in mm with the place of its number."""

    mm: float
    span: Span


@dataclass(frozen=True, slots=True)
class RowRange:
    """Row numbers `first` to `last`, both included, as written."""

    first: int
    last: int
    span: Span


@dataclass(frozen=True, slots=True)
class Text:
    """`pattern`, `note` or `include` and its quoted text."""

    keyword: str
    text: Word


@dataclass(frozen=True, slots=True)
class YarnLine:
    name: Word
    description: str
    colour: Word | None
    tex: Number | None
    weight: Word | None


@dataclass(frozen=True, slots=True)
class StitchByRows:
    name: Word
    over: Number | None


@dataclass(frozen=True, slots=True)
class Row:
    ranges: tuple[RowRange, ...]
    yarn: Word | None
    cells: Word


# -- expressions ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Named:
    name: Word


@dataclass(frozen=True, slots=True)
class PlainPart:
    width: Number
    height: Number
    span: Span


@dataclass(frozen=True, slots=True)
class Form:
    """A form after a name. kind: across, up, shifted, mirrored, reversed or replaced.

    count: the number of across, up and shifted (negative for left). swaps: the letter pairs of `with`.
    """

    kind: str
    span: Span
    count: Number | None = None
    leftward: bool = False
    swaps: tuple[tuple[Word, Word], ...] = ()


@dataclass(frozen=True, slots=True)
class Formed:
    part: Named | PlainPart | Joined
    forms: tuple[Form, ...]


@dataclass(frozen=True, slots=True)
class Joined:
    """Parts joined by `then` or `beside`. joints: the places of those words, one fewer than the parts.

    depth: how deep brackets nest inside.
    """

    kind: str
    parts: tuple[Expression, ...]
    joints: tuple[Span, ...]
    depth: int = 0


Expression = Named | PlainPart | Formed | Joined


@dataclass(frozen=True, slots=True)
class StitchBuilt:
    name: Word
    expression: Expression
    too_deep: bool
    """Brackets nest deeper than the notation allows; such an expression is never evaluated."""


# -- gauges and pieces -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class GaugeLine:
    stitch: Word
    stitches: Number | None
    rows: Number | None
    per: Length
    again: Span | None
    """Where a count is given a second time, if one is."""


@dataclass(frozen=True, slots=True)
class PieceLine:
    name: Word


@dataclass(frozen=True, slots=True)
class WidthLine:
    width: Length
    plus: Length | None
    stitch: Word | None


@dataclass(frozen=True, slots=True)
class NeedlesLine:
    text: Word


@dataclass(frozen=True, slots=True)
class EdgeLine:
    count: Number


@dataclass(frozen=True, slots=True)
class CarriageLine:
    side: Word


@dataclass(frozen=True, slots=True)
class DoLine:
    text: Word


@dataclass(frozen=True, slots=True)
class KnitLine:
    stitch: Word
    rows: Number | None
    length: Length | None
    exactly: bool
    yarn: Word | None
    at: Word | None
    again: Span | None
    """Where `exactly`, `in` or `at` stands a second time, if one does."""


Line = (
    Text
    | YarnLine
    | StitchByRows
    | Row
    | StitchBuilt
    | GaugeLine
    | PieceLine
    | WidthLine
    | NeedlesLine
    | EdgeLine
    | CarriageLine
    | DoLine
    | KnitLine
)


@dataclass(frozen=True, slots=True)
class Placed:
    """A line and the number it stands at."""

    line: Line
    number: int

"""What is asked of a picture and what is read from it, as values. Knows nothing of how either comes about."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final, Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from stitchc.chart import KNIT, SLIP, TUCK, Chart
from stitchc.drawn.symbols import Face
from stitchc.messages import Message, Refused
from stitchc.options import TraceOptions

Notation = Literal["auto", "squared", "thread", "plain", "marks"]
GridKind = Literal["auto", "lines", "pixels", "even"]
Shade = Literal["dark", "light"]
Rgb = tuple[int, int, int]
SURE: Final = 0.9
"""The certainty under which a cell is doubted, unless the user says another."""


def hex_of(colour: Rgb) -> str:
    """As "#rrggbb"."""
    return "#{:02x}{:02x}{:02x}".format(*colour)


@dataclass(frozen=True)
class Key:
    """What the user says about the marks: codes of KNIT, TUCK and SLIP.

    colours: a colour and what it means; alike: a cell as (row, column), from 1 as knitted, and what its kind means.
    """

    dark: int | None = None
    light: int | None = None
    colours: tuple[tuple[Rgb, int], ...] = ()
    alike: tuple[tuple[tuple[int, int], int], ...] = ()

    @property
    def names_any(self) -> bool:
        """Whether it says of any cells what they mean."""
        return self.dark is not None or self.light is not None or bool(self.colours or self.alike)

    @property
    def dark_code(self) -> int:
        """What a dark cell means; default: tuck."""
        return TUCK if self.dark is None else self.dark

    @property
    def light_code(self) -> int:
        """What a blank cell means; default: knit, or tuck where the dark ones knit."""
        if self.light is not None:
            return self.light
        return TUCK if self.dark == KNIT else KNIT


class KindToName(NamedTuple):
    """A kind of cells of which nobody has said what it means.

    cell: an example as (row, column) from 0 at the upper left; place: the same from 1 as knitted; cells: how many there
    are; letter: K, T or S, the likeliest; cut: the example cut out of the picture, as a PNG, once that is known.
    """

    cell: tuple[int, int]
    place: tuple[int, int]
    cells: int
    letter: str
    cut: bytes = b""


class UnknownKinds(Refused):
    """T807, with the kinds to be named. size: columns and rows of the cells."""

    def __init__(self, message: Message, kinds: Iterable[KindToName], size: tuple[int, int]) -> None:
        self.kinds = tuple(kinds)
        self.size = size
        super().__init__(message)


class Order(NamedTuple):
    """How the user counts cells, from 1 as knitted, beside the picture's rows and columns, from 0 at the upper left."""

    rows: int
    columns: int
    from_below: bool
    from_right: bool

    def as_knitted(self, row: int, column: int) -> tuple[int, int]:
        """The row and column, from 1, of a cell of the picture."""
        return (
            self.rows - row if self.from_below else row + 1,
            self.columns - column if self.from_right else column + 1,
        )

    def in_picture(self, row: int, column: int) -> tuple[int, int]:
        """The row and column, from 0, of a cell as knitted."""
        return (
            self.rows - row if self.from_below else row - 1,
            self.columns - column if self.from_right else column - 1,
        )


@dataclass(frozen=True)
class Ask:
    """What the user says about the picture; everything may be left to be found.

    notation: the signs in the cells; "marks" sorts cells by their look. key: what looks mean. face: the side of the
    fabric that the picture shows. first_row: where row 1 stands; at the bottom if neither this nor the file says.
    grid: "lines" looks for a lattice, "pixels" takes each pixel or block of equal pixels for a cell, "even" divides
    the picture into `cells`. cells: columns and rows. box_px: left, top, right and bottom of the part to look at.
    repeat: the size to take, "smallest" or "whole". sure: the certainty under which a cell is named as unsure.
    """

    notation: Notation = "auto"
    key: Key = field(default_factory=Key)
    face: Face | None = None
    first_row: Literal["bottom", "top"] | None = None
    grid: GridKind = "auto"
    cells: tuple[int, int] | None = None
    box_px: tuple[int, int, int, int] | None = None
    repeat: tuple[int, int] | Literal["smallest", "whole"] = "smallest"
    sure: float = SURE

    @property
    def options_given(self) -> list[str]:
        """The options that say what marks and sides mean."""
        values = {
            "--dark": self.key.dark,
            "--light": self.key.light,
            "--colour": self.key.colours or None,
            "--like": self.key.alike or None,
            "--notation": None if self.notation == "auto" else self.notation,
            "--face": self.face,
            "--first-row": self.first_row,
        }
        return [option for option, value in values.items() if value is not None]

    @classmethod
    def of(cls, options: TraceOptions) -> Ask:
        """The options of a command or a call as one value."""
        key = Key(
            None if options.dark is None else _CODES[options.dark],
            None if options.light is None else _CODES[options.light],
            options.colours,
            options.alike,
        )
        return cls(
            options.notation,
            key,
            options.face,
            options.first_row,
            options.grid,
            options.cells,
            options.box,
            options.repeat,
            options.sure,
        )


_CODES: Final = {"knit": KNIT, "tuck": TUCK, "slip": SLIP}


@dataclass(frozen=True)
class Traced:
    """What was read. chart: the repeat that was asked for; whole: every cell of the picture, in knitting order.

    certainty: of each cell of `whole`, 0 to 1. how: in words, how the picture was read. turned_deg: clockwise, how far
    it was turned. corners_px: the grid's upper left, upper right, lower left and lower right in the picture as given;
    none where the file itself says what the chart is.
    messages: cells that are unsure, repeats that nearly fit.
    """

    chart: Chart
    whole: Chart
    certainty: npt.NDArray[np.float32]
    how: str
    turned_deg: float
    corners_px: tuple[tuple[float, float], ...]
    messages: tuple[Message, ...]

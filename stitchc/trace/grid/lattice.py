"""A lattice of cells, as a value: where its lines lie in a straight picture. Knows nothing of how it was found."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

Places = npt.NDArray[np.float64]
BORDER: Final = 0.13
"""The part of a cell at each side that may belong to its lines."""
Side = Literal["left", "right", "top", "bottom"]


@dataclass(frozen=True, eq=False)
class Axis:
    """One direction of the lattice. lines: the middles of its lines in px, one more than there are cells; widths: how
    wide each of them is."""

    lines: Places
    widths: Places

    @classmethod
    def evenly(cls, start_px: float, pitch_px: float, cells: int) -> Axis:
        """So many cells of the same size, without lines between them."""
        return cls(start_px + pitch_px * np.arange(cells + 1.0), np.zeros(cells + 1))

    def moved(self, by_px: float) -> Axis:
        """The same cells so much further on."""
        return Axis(self.lines + by_px, self.widths)

    def part(self, first: int, last: int) -> Axis:
        """The cells from the first up to and without the last."""
        return Axis(self.lines[first : last + 1], self.widths[first : last + 1])

    @property
    def cells(self) -> int:
        """How many there are."""
        return len(self.lines) - 1

    @property
    def pitch_px(self) -> float:
        """The mean distance of the lines."""
        return float(self.lines[-1] - self.lines[0]) / self.cells

    @property
    def start_px(self) -> float:
        """The first line's middle."""
        return float(self.lines[0])

    @property
    def end_px(self) -> float:
        """The last line's middle."""
        return float(self.lines[-1])

    def at(self, cells: float) -> float:
        """The place so many cells from the first line."""
        return float(np.interp(cells, np.arange(len(self.lines)), self.lines))

    @cached_property
    def _uneven(self) -> bool:
        """Whether lines lie off even distances."""
        numbers = np.arange(len(self.lines))
        off = self.lines - np.polyval(np.polyfit(numbers, self.lines, 1), numbers) if self.cells > 1 else 0 * self.lines
        return bool(np.abs(off).max() > 0.04 * self.pitch_px)

    def insides(self, pushed: bool = False) -> tuple[Places, float]:
        """The middle of what is free of lines in each cell, and how wide the narrowest cell is.

        Where wide lines lie over even cells, a mark stands in the middle of its cell, or is pushed aside; where they
        push the cells apart, in the middle between the lines' edges.
        """
        left, right = self.lines[:-1] + self.widths[:-1] / 2, self.lines[1:] - self.widths[1:] / 2
        middles = (self.lines[:-1] + self.lines[1:]) / 2
        if pushed or self._uneven:
            middles = (left + right) / 2
        return middles, 2 * max(0.05 * self.pitch_px, float(np.minimum(middles - left, right - middles).min()))

    def free(self, pushed: bool = False) -> tuple[Places, float]:
        """The middles of the marks, and how much of each is free of lines, of their soft edges, and of what leans over
        them."""
        middles, inside = self.insides(pushed)
        usual = (1 - 2 * BORDER) * self.pitch_px
        if inside < 1.05 * usual:
            return middles, max(0.15 * self.pitch_px, inside - max(1.0, 0.08 * self.pitch_px))
        return middles, usual


@dataclass(frozen=True, eq=False)
class Lattice:
    """The cells' places in a straight picture. ruled: whether lines are drawn; else the cells' own borders showed
    where they lie, or a sign in each of them (signs), which takes that part of its width and height (room). open: sides
    where no line closes the grid; cut: sides at which it runs on into part of a cell; beyond: into a whole one. rival:
    the cells across and down of another lattice whose lines are seen more clearly. strange: how far its cells are from
    a few looks, on average, of 1."""

    across: Axis
    down: Axis
    ruled: bool = True
    open: tuple[Side, ...] = ()
    cut: tuple[Side, ...] = ()
    beyond: tuple[Side, ...] = ()
    rival: tuple[int, int] | None = None
    signs: bool = False
    room: tuple[float, float] = (0.96, 0.96)
    strange: float = 0.0

    @property
    def size(self) -> tuple[int, int]:
        """Cells across and down."""
        return self.across.cells, self.down.cells

    @property
    def bold(self) -> bool:
        """Whether some of its lines are so much wider than others that they may push marks aside."""
        return any(np.ptp(axis.widths) > 0.05 * axis.pitch_px for axis in (self.across, self.down))

    @property
    def pitch_px(self) -> float:
        """The smaller of both directions'."""
        return min(self.across.pitch_px, self.down.pitch_px)

    def moved(self, right_px: float, down_px: float) -> Lattice:
        """The same lattice at another place."""
        return replace(self, across=self.across.moved(right_px), down=self.down.moved(down_px))

    def grown(self, times: int) -> Lattice:
        """The same lattice in a picture with so many times the pixels each way."""
        across, down = (
            Axis(axis.lines * times + (times - 1) / 2, axis.widths * times) for axis in (self.across, self.down)
        )
        return replace(self, across=across, down=down)

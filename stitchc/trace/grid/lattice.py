"""A lattice of cells, as a value: where its lines lie in a straight picture. Knows nothing of how it was found."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

LEAST_PITCH_PX: Final = 4.0
"""Cells narrower than this are not told from their lines."""
Side = Literal["left", "right", "top", "bottom"]


@dataclass(frozen=True)
class Axis:
    """One direction of the lattice: its first line's place, the distance between lines, and how many cells.

    share: the part of the lattice's edges that are seen as lines or as borders of marks.
    """

    start_px: float
    pitch_px: float
    cells: int
    share: float = 1.0

    @property
    def end_px(self) -> float:
        """The last line's place."""
        return self.start_px + self.pitch_px * self.cells


@dataclass(frozen=True)
class Lattice:
    """The cells' places in the picture once it has been turned straight."""

    across: Axis
    down: Axis
    ruled: bool = True
    """Whether lines are drawn; else the cells' own borders showed where they lie."""
    doubtful: bool = False
    """Whether something runs along the middles of the cells, as the lines of a finer grid would, or as a thread does:
    then only signs that are recognised prove the lattice right."""

    def moved(self, right_px: float, down_px: float) -> Lattice:
        """The same lattice elsewhere."""
        return Lattice(
            replace(self.across, start_px=self.across.start_px + right_px),
            replace(self.down, start_px=self.down.start_px + down_px),
            self.ruled,
            self.doubtful,
        )

    def grown(self, times: int) -> Lattice:
        """The same lattice in a picture with so many times the pixels each way."""
        across, down = (
            replace(axis, start_px=axis.start_px * times + (times - 1) / 2, pitch_px=axis.pitch_px * times)
            for axis in (self.across, self.down)
        )
        return Lattice(across, down, self.ruled, self.doubtful)

    @property
    def size(self) -> tuple[int, int]:
        """Cells across and down."""
        return self.across.cells, self.down.cells

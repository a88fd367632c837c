"""The chart: one repeat of knit, tuck, slip and needles out of work as a read-only matrix, and what makes new ones.

Knows nothing of notation, machines or files. Every operation returns a new chart; sizes are worked out with
Python integers before anything is allocated, so a chart past the limit costs no memory.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

KNIT: Final = 0
TUCK: Final = 1
SLIP: Final = 2
OUT: Final = 3
LETTERS: Final = "KTS"
"""What a row is written in, by code; a needle out of work has no letter, because rows are written without it."""
SIGNS: Final = LETTERS + "-"
"""What a chart is shown in, by code."""

MAX_CELLS: Final = 4_000_000
"""The most cells a chart may have after expansion (the notation's limit)."""

Cells = npt.NDArray[np.uint8]
Setting = Literal["plain", "tuck", "slip", "mixed"]

_CODE_OF: Final = {sign: code for code, sign in enumerate(SIGNS)}
_SIGN_BYTES: Final = np.frombuffer(SIGNS.encode("ascii"), dtype=np.uint8)


class TooLarge(ValueError):
    """A chart would have more than MAX_CELLS cells; raised before anything is allocated."""

    def __init__(self, width: int, height: int) -> None:
        self.width, self.height = width, height
        super().__init__(f"{width} needles by {height} rows is more than {MAX_CELLS:,} cells")


class SizesDiffer(ValueError):
    """Two parts do not go into each other a whole number of times.

    joint: between which parts, from 0. axis: "width" or "height". before and after: the size of what stands before
    the joint and of the part after it. smallest_that_would_do: their least common multiple.
    """

    def __init__(self, joint: int, axis: Literal["width", "height"], before: int, after: int) -> None:
        self.joint, self.axis, self.before, self.after = joint, axis, before, after
        self.smallest_that_would_do = math.lcm(before, after)
        super().__init__(f"a {axis} of {min(before, after)} does not go into {max(before, after)}")


class YarnsDiffer(ValueError):
    """`beside` would put two yarns into one row. joint: between which parts, from 0. row counts from 1."""

    def __init__(self, joint: int, row: int, left: str, right: str) -> None:
        self.joint, self.row, self.left, self.right = joint, row, left, right
        super().__init__(f"row {row} would be knitted in {left} and in {right}")


class NeedlesOutDiffer(ValueError):
    """`then` would put a needle out of work in some rows and not in others.

    joint: between which parts, from 0. before, after: the needles (from 1, of the common width) that are out of work
    only in what stands before the joint, and only in the part after it.
    """

    def __init__(self, joint: int, before: tuple[int, ...], after: tuple[int, ...]) -> None:
        self.joint, self.before, self.after = joint, before, after
        super().__init__(f"needles {sorted(before + after)} are out of work in one part only")


def guard_size(width: int, height: int) -> None:
    """Raise TooLarge if a chart of this size would pass the limit."""
    if width * height > MAX_CELLS:
        raise TooLarge(width, height)


@dataclass(frozen=True, eq=False)
class Chart:
    """One repeat, understood to go on for ever to the left, right, up and down.

    cells: uint8 array of shape (height, width), read-only; KNIT, TUCK, SLIP or OUT. Row 0 is knitted first; column 0
        is leftmost as the knitter faces the bed, purl side of the fabric toward the knitter. A needle out of work
        is OUT in every row, and at least one needle is in work. Whoever asks what must not knit asks `held`, not
        what differs from KNIT; whoever counts stitches or places a loop counts `in_work`, not the width.
    yarns: the yarn's name of each row, or None where none is named; as long as the chart is high.
    """

    cells: Cells
    yarns: tuple[str | None, ...]

    def __post_init__(self) -> None:
        if self.cells.ndim != 2 or 0 in self.cells.shape:
            raise ValueError("a chart has at least one needle and one row")
        if len(self.yarns) != self.cells.shape[0]:
            raise ValueError("a chart has one yarn entry for each row")
        if self.cells.dtype != np.uint8 or int(self.cells.max()) > OUT:
            raise ValueError("a cell is KNIT, TUCK, SLIP or OUT")
        if OUT in self.cells and ((self.cells == OUT) != (self.cells[0] == OUT)).any():
            raise ValueError("a needle is out of work in every row or in none")
        if (self.cells[0] == OUT).all():
            raise ValueError("at least one needle is in work")
        guard_size(self.width, self.height)
        if self.cells.flags.writeable:
            own = self.cells.copy()
            own.setflags(write=False)
            object.__setattr__(self, "cells", own)

    # -- making one ---------------------------------------------------------------------------------------------

    @classmethod
    def from_rows(cls, rows: Sequence[str], yarns: Iterable[str | None] | None = None) -> Chart:
        """A chart from equally long strings of K, T, S and -, first knitted row first: ["KT-", "KK-"]."""
        if not rows or any(len(row) != len(rows[0]) for row in rows):
            raise ValueError("rows are equally long, and there is at least one")
        guard_size(len(rows[0]), len(rows))
        try:
            cells = np.array([[_CODE_OF[sign] for sign in row] for row in rows], dtype=np.uint8)
        except KeyError as error:
            raise ValueError(f"a cell is K, T, S or -, not {error.args[0]!r}") from None
        return cls(_frozen(cells), tuple(yarns) if yarns is not None else (None,) * len(rows))

    @classmethod
    def plain(cls, width: int, height: int) -> Chart:
        """Stocking stitch: width needles by height rows of K."""
        guard_size(width, height)
        return cls(_frozen(np.zeros((height, width), dtype=np.uint8)), (None,) * height)

    # -- reading it ---------------------------------------------------------------------------------------------

    @property
    def width(self) -> int:
        """Needles in one repeat, those out of work among them."""
        return int(self.cells.shape[1])

    @property
    def height(self) -> int:
        """Rows (carriage passes) in one repeat."""
        return int(self.cells.shape[0])

    @property
    def knits(self) -> npt.NDArray[np.bool_]:
        """The boolean needle-by-row matrix, shape (height, width): True where the needle knits."""
        knitting: npt.NDArray[np.bool_] = self.cells == KNIT
        return knitting

    @property
    def held(self) -> npt.NDArray[np.bool_]:
        """Shape (height, width): True where the needle tucks or slips, so that it must not knit off its loop."""
        holding: npt.NDArray[np.bool_] = (self.cells == TUCK) | (self.cells == SLIP)
        return holding

    @cached_property
    def in_work(self) -> npt.NDArray[np.bool_]:
        """Shape (width,): False where the needle stands empty in non-working position the whole time."""
        working: npt.NDArray[np.bool_] = self.cells[0] != OUT
        return working

    @property
    def out(self) -> tuple[int, ...]:
        """The needles of the repeat that are out of work, from 1, left to right."""
        return tuple((np.flatnonzero(~self.in_work) + 1).tolist())

    @property
    def counted(self) -> Literal["needles", "stitches"]:
        """What a count across it is a count of: needles, the empty ones too, where some are out of work."""
        return "stitches" if self.in_work.all() else "needles"

    def rows(self) -> list[str]:
        """The rows as letters (- out of work), first knitted first, left to right as the knitter faces the bed."""
        signs = _SIGN_BYTES[self.cells]
        return [row.tobytes().decode("ascii") for row in signs]

    def settings(self) -> tuple[Setting, ...]:
        """What the carriage does in each row: "plain", "tuck", "slip", or "mixed" where a row has both."""
        tucks = (self.cells == TUCK).any(axis=1)
        slips = (self.cells == SLIP).any(axis=1)
        names: tuple[Setting, ...] = ("plain", "tuck", "slip", "mixed")
        return tuple(names[code] for code in (tucks * 1 + slips * 2).tolist())

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Chart):
            return NotImplemented
        return self.yarns == other.yarns and np.array_equal(self.cells, other.cells)

    def __hash__(self) -> int:
        return hash((self.cells.shape, self.cells.tobytes(), self.yarns))

    def __repr__(self) -> str:
        if self.width * self.height > 400:
            return f"<Chart {self.width} by {self.height}>"
        return f"<Chart {'/'.join(self.rows())}>"

    # -- new charts from it ------------------------------------------------------------------------------------

    def across(self, times: int) -> Chart:
        """Repeated side by side, `times` in all."""
        return self.tiled(self.width * times, self.height)

    def up(self, times: int) -> Chart:
        """Repeated in height, `times` in all."""
        return self.tiled(self.width, self.height * times)

    def tiled(self, width: int, height: int) -> Chart:
        """The endless fabric cut to width needles and height rows, column 0 and row 0 in the lower left."""
        guard_size(width, height)
        if (width, height) == (self.width, self.height):
            return self
        part = self.cells[:height, :width]
        up, across = -(-height // part.shape[0]), -(-width // part.shape[1])
        cells = np.ascontiguousarray(np.tile(part, (up, across))[:height, :width])
        return Chart(_frozen(cells), (self.yarns[:height] * up)[:height])

    def smallest_repeat(self) -> Chart:
        """The smallest part that makes the same endless fabric, yarns included."""
        cells, (height, width) = self.cells, self.cells.shape
        columns = next(n for n in range(1, width + 1) if width % n == 0 and np.array_equal(np.roll(cells, n, 1), cells))
        rows = next(
            n
            for n in range(1, height + 1)
            if height % n == 0
            and np.array_equal(np.roll(cells, n, 0), cells)
            and self.yarns == self.yarns[n:] + self.yarns[:n]
        )
        return self.tiled(columns, rows)

    def shifted(self, columns: int) -> Chart:
        """The columns moved round the repeat, to the right for a positive count."""
        return Chart(_frozen(np.roll(self.cells, columns % self.width, axis=1)), self.yarns)

    def started_at(self, row: int) -> Chart:
        """The same fabric begun at another row (0 is the first); rows below it move to the end."""
        row %= self.height
        return Chart(_frozen(np.roll(self.cells, -row, axis=0)), self.yarns[row:] + self.yarns[:row])

    def mirrored(self) -> Chart:
        """Left and right exchanged."""
        return Chart(_frozen(self.cells[:, ::-1].copy()), self.yarns)

    def reversed(self) -> Chart:
        """The last row first."""
        return Chart(_frozen(self.cells[::-1].copy()), self.yarns[::-1])

    def replaced(self, becomes: Mapping[int, int]) -> Chart:
        """Cells exchanged, all at the same time: {SLIP: TUCK} turns slips into tucks. OUT stays as it is."""
        table = np.array([*(becomes.get(code, code) for code in (KNIT, TUCK, SLIP)), OUT], dtype=np.uint8)
        return Chart(_frozen(table[self.cells]), self.yarns)

    def then(self, above: Chart) -> Chart:
        """`above` knitted after this; see `stacked`."""
        return Chart.stacked([self, above])

    def beside(self, right: Chart) -> Chart:
        """`right` to the right of this; see `side_by_side`.

        If only one of the two names a yarn for a row, the whole row uses it; two different yarns raise YarnsDiffer.
        """
        return Chart.side_by_side([self, right])

    @classmethod
    def stacked(cls, parts: Sequence[Chart]) -> Chart:
        """The parts knitted one after another, the narrower repeated to the width of the wider.

        Taken two at a time from the first, as `a then b then c` is. Raises SizesDiffer where a part does not go a
        whole number of times into those below it, or they into it; TooLarge past the limit; NeedlesOutDiffer where a
        needle is out of work in one part and not in another.
        """
        width = _common_size("width", [part.width for part in parts])
        guard_size(width, sum(part.height for part in parts))
        tiled = [part.tiled(width, part.height) for part in parts]
        for joint, (below, above) in enumerate(itertools.pairwise(tiled)):
            if (below.in_work != above.in_work).any():
                before, after = set(below.out), set(above.out)
                raise NeedlesOutDiffer(joint, tuple(sorted(before - after)), tuple(sorted(after - before)))
        yarns = tuple(yarn for part in tiled for yarn in part.yarns)
        return cls(_frozen(np.vstack([part.cells for part in tiled])), yarns)

    @classmethod
    def side_by_side(cls, parts: Sequence[Chart]) -> Chart:
        """The parts from left to right, the lower repeated to the height of the higher.

        A row that names no yarn takes its neighbour's. Raises SizesDiffer, TooLarge and YarnsDiffer, each with the
        joint at which it happens.
        """
        height = _common_size("height", [part.height for part in parts])
        guard_size(sum(part.width for part in parts), height)
        tiled = [part.tiled(part.width, height) for part in parts]
        yarns = tiled[0].yarns
        for joint, part in enumerate(tiled[1:]):
            if part.yarns != yarns:
                for row, (here, there) in enumerate(zip(yarns, part.yarns, strict=True), start=1):
                    if here is not None and there is not None and here != there:
                        raise YarnsDiffer(joint, row, here, there)
                yarns = tuple(there if here is None else here for here, there in zip(yarns, part.yarns, strict=True))
        return cls(_frozen(np.hstack([part.cells for part in tiled])), yarns)


def _common_size(axis: Literal["width", "height"], sizes: Sequence[int]) -> int:
    """The size all parts are repeated to, each joined to what stands before it."""
    common = sizes[0]
    for joint, size in enumerate(sizes[1:]):
        if max(common, size) % min(common, size):
            raise SizesDiffer(joint, axis, common, size)
        common = max(common, size)
    return common


def _frozen(cells: Cells) -> Cells:
    cells.setflags(write=False)
    return cells

"""How much two rows of cells, across and down, explain of a picture, and which of their cells are the chart.

A line that is seen speaks for the cells beside it and one that is not seen against them; a cell that is like no other
speaks against them. Where no lines are drawn the same is asked of the borders between cells that look different.
"""

from __future__ import annotations

from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from stitchc.trace.grid.chains import USUAL, axis_of
from stitchc.trace.grid.edges import Direction, Profile, Shares, Sight, Spans
from stitchc.trace.grid.looks import OTHER, Looks, looks_of
from stitchc.trace.picture import Pixels

Mask = npt.NDArray[np.bool_]
Box = tuple[int, int, int, int]
"""The first column, the one after the last, the first row and the one after the last."""


_DASH_PX: Final = 4
_DASH: Final = 0.2
"""Gaps of dots and dashes that are closed along a line: so many pixels, or that part of a cell."""


class Chain:
    """A row of cells along one direction, with what is seen of its lines."""

    def __init__(self, direction: Direction, cells: Spans) -> None:
        self.direction, self.cells, self.axis = direction, cells, axis_of(cells)

    @cached_property
    def _ends(self) -> Spans:
        """Where each line begins and ends: (lines, 2)."""
        first, last = self.cells[:, 0], self.cells[:, 1]
        before, behind = np.concatenate([first[:1], last]), np.concatenate([first, last[-1:]])
        return np.stack([np.minimum(before, behind), np.maximum(before, behind)], axis=1)

    @cached_property
    def _in_picture(self) -> Mask:
        """Which lines do not lie at the picture's own edges."""
        return np.asarray((self._ends[:, 0] > 0) & (self._ends[:, 1] < self.direction.size))

    @cached_property
    def _lines(self) -> Profile:
        """Of each line within the picture, its clearest edge at each pixel along it, summed."""
        gap_px = max(_DASH_PX, int(_DASH * self.axis.pitch_px))
        # a thin line goes on in the middle of a bolder stretch
        within = [(first - 1, last + 2) for first, last in self._ends[self._in_picture].tolist()]
        return self.direction.along(within, gap_px) if within else np.zeros((0, len(self.direction.edges) + 1))

    @property
    def outer_in_picture(self) -> Mask:
        """Whether the first and the last line do not lie at the picture's own edges."""
        return self._in_picture[[0, -1]]

    def seen(self, crossing: Spans, at_edge: float = 1.0) -> Shares:
        """How much of an edge is seen along each line beside each crossing cell: (lines, crossing cells). at_edge: what
        is taken for seen at the picture's own edge, where a line may lie unseen."""
        inset = np.maximum((0.15 * (crossing[:, 1] - crossing[:, 0])).astype(np.intp), 1)
        size = len(self.direction.edges)
        low = np.minimum(crossing[:, 0] + inset, size - 1)
        high = np.minimum(np.maximum(crossing[:, 1] - inset, low + 1), size)
        seen = np.full((len(self._ends), len(crossing)), at_edge)
        seen[self._in_picture] = (self._lines.take(high, axis=1) - self._lines.take(low, axis=1)) / (high - low)
        return seen


class Judged(NamedTuple):
    """A pair of chains and which of their cells the chart is.

    worth: in px of line; seen: the share of what should be seen of lines; strange: of its cells, the mean.
    """

    worth: float
    box: Box
    ruled: bool
    across: Chain
    down: Chain
    seen: float
    strange: float
    looks: Looks

    @property
    def size(self) -> tuple[int, int]:
        """Cells across and down."""
        left, right, top, bottom = self.box
        return right - left, bottom - top

    @property
    def pitch_px(self) -> float:
        """The smaller of both directions'."""
        return min(self.across.axis.pitch_px, self.down.axis.pitch_px)

    @property
    def cells(self) -> tuple[Spans, Spans]:
        """The chart's, across and down."""
        left, right, top, bottom = self.box
        return self.across.cells[left:right], self.down.cells[top:bottom]


_AGAINST: Final = 4.0
"""How much a stretch without a line speaks against the cells, where one with a line speaks for them by 1."""
_STRANGERS: Final = {True: 1.0, False: 2.0}
"""What a cell like no other costs, of the lines around it; with lines drawn, a heavier one pushes marks aside."""
_WORN: Final = 0.4
"""The least that must be seen of a faint line, of a clear one's edge."""
_SAME_INK: Final = 15.0
_OF_ONE_INK: Final = 0.7
"""The part of the lines that have the usual ink; bold ones may have another."""
_SEAM: Final = 0.5
_BLANK: Final = 0.01


class Pair:
    """Two chains, and what is seen of the lines of both. worn: whether lines are so faint that no more is seen of a
    stretch than of most others."""

    def __init__(self, sight: Sight, across: Chain, down: Chain, worn: bool = False) -> None:
        self.sight, self.across, self.down = sight, across, down
        self.seen = across.seen(down.cells), down.seen(across.cells)
        if worn:
            across_seen, down_seen = (np.minimum(seen / max(_WORN, float(np.median(seen))), 1) for seen in self.seen)
            self.seen = across_seen, down_seen
        self._judged: dict[tuple[int, int] | None, Judged] = {}
        self.lengths = down.axis.pitch_px, across.axis.pitch_px

    @cached_property
    def most(self) -> float:
        """What the pair may be worth at most."""
        gains = (np.maximum((1 + _AGAINST) * seen - _AGAINST, 0).sum() for seen in self.seen)
        return float(sum(length * gain for length, gain in zip(self.lengths, gains, strict=True)))

    def judged(self, cells: tuple[int, int] | None) -> Judged:
        """What the pair explains, as ruled or as unruled cells. cells: how many the chart has, where that is known."""
        if cells not in self._judged:
            self._judged[cells] = self._judge(cells)
        return self._judged[cells]

    def _judge(self, cells: tuple[int, int] | None) -> Judged:
        across, down = self.across, self.down
        bold = any(np.ptp(chain.axis.widths) > 1 for chain in (across, down))
        looks = looks_of(self.sight, across.axis, down.axis, bold)
        rarity = -np.log(np.maximum(looks.share, 1e-9))[looks.of]
        return max((self._as(ruled, looks, rarity, cells) for ruled in (True, False)), key=lambda one: one.worth)

    def _as(self, ruled: bool, looks: Looks, rarity: Shares, cells: tuple[int, int] | None) -> Judged:
        gains, knowns = [], []
        for at, (seen, chain) in enumerate(zip(self.seen, (self.across, self.down), strict=True)):
            of = looks.of.T if at == 0 else looks.of
            parted = of[1:] != of[:-1]
            gain, known = (1 + _AGAINST) * seen - _AGAINST, np.ones(seen.shape, dtype=np.bool_)
            if ruled:
                known = ~self._hidden(looks, at)
                gain[~known] = 0
            else:
                gain[1:-1][~parted] = -_SEAM * _lined(seen[1:-1][~parted], of[1:][~parted]) - _BLANK
                # half of an outermost line is the outer side's
                gain[[0, -1]] = 2 * np.maximum(gain[[0, -1]], 0) * chain.outer_in_picture[:, None]
                known[[0, -1]], known[1:-1] = False, parted
            gains.append(gain)
            knowns.append(known)
        (length_x, length_y), (gain_x, gain_y) = self.lengths, gains
        worth = length_x * (gain_x[:-1] + gain_x[1:]).T / 2 + length_y * (gain_y[:-1] + gain_y[1:]) / 2
        total, box = richest(worth - _STRANGERS[ruled] * (length_x + length_y) * looks.strange - rarity, cells)
        if not ruled and cells is None:
            box = _marked_box(looks.of, box, _page(self.sight, looks))
        left, right, top, bottom = box
        here = (slice(left, right + 1), slice(top, bottom)), (slice(top, bottom + 1), slice(left, right))
        values = np.concatenate(
            [seen[one][known[one]] for seen, known, one in zip(self.seen, knowns, here, strict=True)]
        )
        strange = float(looks.strange[top:bottom, left:right].mean())
        seen_share = float(values.mean()) if len(values) else 0.0
        return Judged(total, box, ruled, self.across, self.down, seen_share, strange, looks)

    def seen_beside_blanks(self, found: Judged) -> tuple[float, float]:
        """The part of the lines within the cells that lies between two that are blank, and how much is seen of it."""
        left, right, top, bottom = found.box
        of, flat = found.looks.of[top:bottom, left:right], found.looks.flat
        upright, level = self.seen[0][left + 1 : right, top:bottom], self.seen[1][top + 1 : bottom, left:right]
        between = [(cells[1:] == cells[:-1]) & flat[cells[1:]] for cells in (of.T, of)]
        values = np.concatenate([seen[blank] for seen, blank in zip((upright, level), between, strict=True)])
        return len(values) / max(upright.size + level.size, 1), float(values.mean()) if len(values) else 0.0

    def _hidden(self, looks: Looks, at: int) -> Mask:
        """Stretches between cells that are filled in the lines' own colour, where no line can be seen. at: 0 for those
        of upright lines."""
        of = looks.of.T if at == 0 else looks.of
        hidden = np.zeros((len(of) + 1, of.shape[1]), dtype=np.bool_)
        pixels = self.sight.pixels if at == 0 else self.sight.pixels.swapaxes(0, 1)
        chain, crossing = (self.across, self.down) if at == 0 else (self.down, self.across)
        cells, seen, middles = chain.cells, self.seen[at][1:-1], crossing.cells.sum(axis=1) // 2
        clear = (seen >= 0.8) & (cells[1:, 0] > cells[:-1, 1])[:, None]
        lines = np.flatnonzero(clear.any(axis=1))
        if len(lines) < 2 or not looks.flat.any():
            return hidden
        places = (cells[lines, 1] + cells[lines + 1, 0]) // 2
        colours = _medians_of(pixels[np.ix_(middles, places)].swapaxes(0, 1), clear[lines])
        ink = np.median(colours, axis=0)
        if float((np.abs(colours - ink).max(axis=1) < _SAME_INK).mean()) < _OF_ONE_INK:
            return hidden  # edges of marks, between which cells are blank, are no lines in the ink of blank cells
        for look in np.flatnonzero(looks.flat & (np.abs(looks.mean - ink).max(axis=1) < _SAME_INK)).tolist():
            filled = np.concatenate([of[:1], of]) == look
            filled &= np.concatenate([of, of[-1:]]) == look
            if filled[1:-1].any() and float(np.median(seen[filled[1:-1]])) < USUAL:
                hidden |= filled & (self.seen[at] < USUAL)
        return hidden


def _medians_of(colours: Pixels, chosen: Mask) -> Shares:
    """The medians of the chosen colours of each row: (rows, 3). colours: (rows, columns, 3)."""
    last = chosen.sum(axis=1)
    ordered = np.sort(np.where(chosen[..., None], colours.astype(np.int16), 256), axis=1)
    middle = (ordered[np.arange(len(last)), place] for place in ((last - 1) // 2, last // 2))
    return np.asarray(sum(middle) / 2)


def _lined(seen: Shares, of: npt.NDArray[np.intp]) -> float:
    """How much is seen of lines between cells of the look in which least is seen of them. Between blocks that were
    printed one by one there are seams, but none between blanks. of: the look of each stretch."""
    count, whole = np.bincount(of), np.bincount(of, seen)
    often = count >= _FREQUENT * len(of)
    return float((whole[often] / count[often]).min()) if often.any() else 0.0


_FREQUENT: Final = 0.05


def richest(worth: Shares, cells: tuple[int, int] | None) -> tuple[float, Box]:
    """The rectangle of cells that is worth most, or that of so many cells."""
    rows, columns = worth.shape
    if cells is not None and (cells[0] > columns or cells[1] > rows):
        return -np.inf, (0, columns, 0, rows)
    total = np.concatenate([np.zeros((1, columns)), worth.cumsum(axis=0)])
    high, wide = (1, 1) if cells is None else cells[::-1]
    best, box = -np.inf, (0, columns, 0, rows)
    most = _most_from(worth)
    # rows that are worth less than nothing are never the first, unless nothing is worth anything
    tops = np.arange(rows - high + 1)
    if cells is None and most[0] > 0:
        tops = np.flatnonzero(worth.max(axis=1) > -_NOTHING)
    done, together = 0, 1
    while done < len(tops) and most[tops[done]] >= best + _NOTHING:
        begins = tops[done : done + together]
        done, together = done + together, min(2 * together, max(1, _AT_ONCE // worth.size))
        first = int(begins[0])
        ends = np.arange(first + 1, rows + 1)[None] if cells is None else begins[:, None] + high
        along = np.zeros((len(begins), ends.shape[1], columns + 1))
        np.cumsum(total[ends] - total[begins, None], axis=2, out=along[..., 1:])
        if cells is None:
            least = np.minimum.accumulate(along, axis=2)[..., :-1]
            sums = along[..., 1:] - least
            sums[ends <= begins[:, None]] = -np.inf
        else:
            sums = along[..., wide:] - along[..., :-wide]
        places = sums.reshape(len(begins), -1).argmax(axis=1)
        for number, (top, place) in enumerate(zip(begins.tolist(), places.tolist(), strict=True)):
            at, right = divmod(place, sums.shape[2])
            if sums[number, at, right] > best + _NOTHING:
                best = float(sums[number, at, right])
                left = right
                if cells is None:
                    left = int(np.flatnonzero(along[number, at, : right + 1] == least[number, at, right])[-1])
                box = left, right + wide, top, first + 1 + at if cells is None else top + high
    return best, box


def _most_from(worth: Shares) -> Shares:
    """What a rectangle that begins in each row, or after it, is worth at most: the best stretch of each of its rows."""
    along = np.pad(worth.cumsum(axis=1), ((0, 0), (1, 0)))
    stretches = (along - np.minimum.accumulate(along, axis=1)).max(axis=1)
    return np.asarray(stretches[::-1].cumsum()[::-1])


_NOTHING: Final = 1e-9
_AT_ONCE: Final = 60_000
"""Numbers that are looked at together."""
_OF_RIM: Final = 0.95


def _page(sight: Sight, looks: Looks) -> int | None:
    """The look of the page around the cells; None where marks reach the picture's edges."""
    page, off_page = sight.rim
    if (off_page < OTHER).mean() < _OF_RIM:
        return None
    away = np.abs(looks.mean - page).max(axis=1)
    return int(away.argmin()) if away.min() < _SAME_INK else None


def _marked_box(of: npt.NDArray[np.intp], box: Box, page: int | None) -> Box:
    """The box without blank cells around: unruled, the outermost marks are taken for the chart's edges."""
    left, right, top, bottom = box
    here = of[top:bottom, left:right]
    marked = here != (np.bincount(here.ravel()).argmax() if page is None else page)
    rows, columns = np.flatnonzero(marked.any(axis=1)), np.flatnonzero(marked.any(axis=0))
    if not len(rows):
        return box
    return left + int(columns[0]), left + int(columns[-1]) + 1, top + int(rows[0]), top + int(rows[-1]) + 1

"""How well two combs explain a picture, stretch of line by stretch of line, and how far the grid goes.

A line shows between two blank cells, as nothing else makes an edge there. Between two cells that are filled in the
lines' own colour it does not: such stretches speak neither for nor against.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from stitchc.trace.grid.comb import Comb
from stitchc.trace.grid.evidence import Evidence, Plane, Profile, noise_of, stretches

Mask = npt.NDArray[np.bool_]
Shares = npt.NDArray[np.float32]
Box = tuple[int, int, int, int]
"""Numbers of the left, right, top and bottom line."""


class View:
    """A picture with its lines both ways and its ink summed from the upper left corner."""

    def __init__(self, plane: Plane) -> None:
        self.plane = plane
        noise = noise_of(plane)
        self.upright = Evidence(plane, noise)
        self.level = Evidence(np.ascontiguousarray(plane.T), noise)
        self.total = np.zeros((plane.shape[0] + 1, plane.shape[1] + 1))
        np.cumsum(np.cumsum(plane, axis=0, dtype=np.float64), axis=1, out=self.total[1:, 1:])

    def inks(self, xs: Profile, ys: Profile, margin: float = 0.28) -> Profile:
        """The mean ink inside each cell, (cells down, cells across)."""
        height, width = self.plane.shape
        left, right = _inner(xs, margin, width)
        top, bottom = _inner(ys, margin, height)
        total = self.total
        sums = total[np.ix_(bottom, right)] - total[np.ix_(top, right)] - total[np.ix_(bottom, left)]
        return np.asarray((sums + total[np.ix_(top, left)]) / np.outer(bottom - top, right - left))


def _inner(lines: Profile, margin: float, size: int) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    steps = np.diff(lines)
    first = np.clip(np.round(lines[:-1] + margin * steps).astype(np.intp), 0, size - 1)
    return first, np.clip(np.round(lines[1:] - margin * steps + 1).astype(np.intp), first + 1, size)


class Sheet(NamedTuple):
    """What is seen of all lines of two combs, from one end of the picture to the other.

    upright: (lines across, cells down); level: (lines down, cells across); dark: (cells down, cells across).
    upright_marked, level_marked: the same where rings count as marks, by which lattices are compared.
    """

    xs: Profile
    ys: Profile
    upright: Shares
    level: Shares
    dark: Mask
    upright_marked: Shares
    level_marked: Shares


@dataclass(frozen=True)
class Judged:
    """Combs with their extent. score: the length of line seen, less the length that should be there and is not, in px.

    seen: the share of the stretches between alike cells at which a line is seen.
    """

    score: float
    box: Box
    sheet: Sheet
    seen: float
    alike: int

    @property
    def lines(self) -> tuple[Profile, Profile]:
        """The places of the lines across and down."""
        left, right, top, bottom = self.box
        return self.sheet.xs[left : right + 1], self.sheet.ys[top : bottom + 1]


def sheet_of(view: View, across: Comb, down: Comb) -> Sheet:
    """All that is seen of two combs."""
    inks = view.inks(across.lines, down.lines)
    low, high = np.percentile(inks, (3, 97))
    dark = inks > (low + high) / 2 if high - low > 0.12 else np.zeros(inks.shape, dtype=np.bool_)
    wider = view.inks(across.lines, down.lines, _TO_THE_RIM)  # a ring stands about the middle
    low, high = np.percentile(wider, (3, 97))
    marked = dark | (wider > (low + high) / 2) if high - low > 0.06 else dark
    upright, upright_marked = _clearly(view.upright, across, down.lines, dark.T, marked.T)
    level, level_marked = _clearly(view.level, down, across.lines, dark, marked)
    return Sheet(across.lines, down.lines, upright, level, dark, upright_marked, level_marked)


_TO_THE_RIM: Final = 0.14
_OF_TYPICAL: Final = 0.35
_THIN: Final = 0.5


def _clearly(evidence: Evidence, comb: Comb, crossings: Profile, dark: Mask, marked: Mask) -> tuple[Shares, Shares]:
    """How much is seen on each stretch, less what is seen along the middles of the cells beside it that hold no mark:
    lettering is as full of edges between its "lines" as on them. The second
    also passes over the middles of cells whose mark leaves their own middle blank, as rings do, but so do letters.

    dark, marked: (cells across the lines, stretches).
    """
    lines, reach = comb.lines, max(1.0, 0.07 * comb.pitch_px)
    seen = evidence.lines(comb.pitch_px)
    strengths = stretches(seen, lines, crossings, reach)
    surely = strengths[strengths > evidence.least]
    # lettering beside a grid is fainter than its lines in some part, and marks are stronger
    enough = max(evidence.least, _OF_TYPICAL * float(np.median(surely))) if len(surely) else evidence.least
    on = np.minimum(strengths / enough, 1)
    middles = np.concatenate(
        [lines[:1] - comb.pitch_px / 2, (lines[1:] + lines[:-1]) / 2, lines[-1:] + comb.pitch_px / 2]
    )
    thin = evidence.lines(_THIN * comb.pitch_px)  # a cell between wide lines looks like a wide line itself
    between = np.minimum(stretches(thin, middles, crossings, reach) / enough, 1)

    def less_between(passed_over: Mask) -> Shares:
        between[1:-1][passed_over] = 0
        seen_here = 1.15 * on - 0.3 * (between[:-1] + between[1:]) - 0.1
        return np.asarray(np.clip(seen_here, 0, 1), dtype=np.float32)

    return less_between(dark), less_between(marked)


_AGAINST: Final = 2.0
"""How much a stretch without a line speaks against the combs, where one with a line speaks for them by 1."""
_MUTE: Final = 0.12
_LOUD: Final = 0.75
_ENOUGH: Final = 0.5
_WELL: Final = 0.7


def _beside(dark: Mask) -> tuple[Mask, Mask]:
    """Whether both cells, and whether none, beside each upright line are dark: (lines, cells down)."""
    left = np.concatenate([dark[:, :1], dark], axis=1).T
    right = np.concatenate([dark, dark[:, -1:]], axis=1).T
    return left & right, ~(left | right)


def judged(sheet: Sheet, pitches: tuple[float, float]) -> Judged | None:
    """The extent of the grid, and how much of the lines in it is seen; None where there is none.

    pitches: across and down, px.
    """
    box = _core(sheet)
    both_x, none_x = _beside(sheet.dark)
    both_y, none_y = _beside(sheet.dark.T)
    known_x, known_y = np.ones_like(both_x), np.ones_like(both_y)
    seen, alike = 0.0, 0
    for _ in range(6):
        if box is None:
            return None
        left, right, top, bottom = box
        here_x, here_y = (slice(left + 1, right), slice(top, bottom)), (slice(top + 1, bottom), slice(left, right))
        shares, counts = [], []
        for mask_x, mask_y in ((both_x, both_y), (none_x, none_y)):
            values = np.concatenate([sheet.upright[here_x][mask_x[here_x]], sheet.level[here_y][mask_y[here_y]]])
            shares.append(float(values.mean()) if len(values) else 0.0)
            counts.append(len(values))
        mute = [share < _MUTE and shares[1 - at] >= _LOUD for at, share in enumerate(shares)]
        # beside a mark that reaches its cell's edge a line may hide
        known_x = (none_x | (sheet.upright >= _WELL)) & ~((both_x & mute[0]) | (none_x & mute[1]))
        known_y = (none_y | (sheet.level >= _WELL)) & ~((both_y & mute[0]) | (none_y & mute[1]))
        at = int(np.argmax([share if count >= 4 else 0.0 for share, count in zip(shares, counts, strict=True)]))
        seen, alike = shares[at], counts[at]
        wider = _extent(sheet, known_x, known_y, box)
        if wider == box:
            break
        box = wider
    if box is None:
        return None
    box = left, right, top, bottom = _closed(sheet, box)
    if right <= left or bottom <= top:
        return None
    inner_x, inner_y = (slice(left + 1, right), slice(top, bottom)), (slice(top + 1, bottom), slice(left, right))
    if _marks_for_lines(sheet.upright[inner_x], none_x[inner_x]) or _marks_for_lines(
        sheet.level[inner_y], none_y[inner_y]
    ):
        return None
    score = 0.0
    for values, known, lines, cells, length in (
        (sheet.upright_marked, known_x, slice(left, right + 1), slice(top, bottom), pitches[1]),
        (sheet.level_marked, known_y, slice(top, bottom + 1), slice(left, right), pitches[0]),
    ):
        score += length * float((values[lines, cells] * (1 + _AGAINST) - _AGAINST)[known[lines, cells]].sum())
    return Judged(score, box, sheet, seen, alike)


_NONE: Final = 0.25
_FEW: Final = 8


def _marks_for_lines(values: Shares, blank: Mask) -> bool:
    """Whether each second line is seen between blank cells, and the others hardly ever: those run through the middles
    of cells, and what is seen of them is the marks that stand there.

    values, blank: how clearly each stretch is seen, and whether both cells beside it are blank (lines, stretches).
    """
    shares = []
    for first in (0, 1):
        here = values[first::2][blank[first::2]]
        if len(here) < _FEW:
            return False
        shares.append(float(here.mean()))
    return min(shares) < _NONE and max(shares) >= _LOUD


def _core(sheet: Sheet) -> Box | None:
    """Where most of the lines are seen."""
    found: list[int] = []
    for values in (sheet.level, sheet.upright):
        crossed = np.sort(values, axis=0)[-max(2, len(values) // 3) :].mean(axis=0)
        run = _run(crossed >= 0.5 * float(np.percentile(crossed, 90)), crossed, 2)
        if run is None:
            return None
        found += run
    return found[0], found[1], found[2], found[3]


def _run(good: Mask, worth: npt.NDArray[np.floating], most_missed: int) -> tuple[int, int] | None:
    """The first and the one after the last of the stretch that is worth most, a few bad ones inside it allowed."""
    places = np.flatnonzero(good & (worth > 0.05))
    if not len(places):
        return None
    parts = np.split(places, np.flatnonzero(np.diff(places) > most_missed + 1) + 1)
    best = max(parts, key=lambda part: float(worth[part].sum()))
    return int(best[0]), int(best[-1]) + 1


_UNSEEN: Final = 0.4
_SURELY: Final = 0.6


def _closed(sheet: Sheet, box: Box) -> Box:
    """The box without what lies outside the line that closes the grid, such as numbers with a tick before each."""
    left, right, top, bottom = box
    across = sheet.upright[:, top:bottom].mean(axis=1)
    down = sheet.level[:, left:right].mean(axis=1)
    inside_x, inside_y = sheet.xs > 0.2 * (sheet.xs[1] - sheet.xs[0]), sheet.ys > 0.2 * (sheet.ys[1] - sheet.ys[0])
    if right - left > 2:
        left += bool(across[left] < _UNSEEN and across[left + 1] > _SURELY and inside_x[left])
        right -= bool(across[right] < _UNSEEN and across[right - 1] > _SURELY and right < len(sheet.xs) - 1)
    if bottom - top > 2:
        top += bool(down[top] < _UNSEEN and down[top + 1] > _SURELY and inside_y[top])
        bottom -= bool(down[bottom] < _UNSEEN and down[bottom - 1] > _SURELY and bottom < len(sheet.ys) - 1)
    return left, right, top, bottom


_MOST_HIDDEN: Final = 30
"""Columns in succession that may be filled in the lines' colour."""


def _extent(sheet: Sheet, known_x: Mask, known_y: Mask, box: Box) -> Box | None:
    """The columns and rows that the other direction's lines run through, outermost lines included."""
    left, right, top, bottom = box
    for _ in range(4):
        before = left, right, top, bottom
        across = _cells_crossed(sheet.level[top : bottom + 1], known_y[top : bottom + 1], sheet.upright[:, top:bottom])
        if across is None:
            return None
        left, right = across
        down = _cells_crossed(sheet.upright[left : right + 1], known_x[left : right + 1], sheet.level[:, left:right])
        if down is None:
            return None
        top, bottom = down
        if (left, right, top, bottom) == before:
            break
    return left, right, top, bottom


def _cells_crossed(lines: Shares, known: Mask, closing: Shares) -> tuple[int, int] | None:
    """First and last line of the cells that these lines run through. closing: what is seen of the lines across them."""
    counts = known.sum(axis=0)
    shares = np.where(known, lines, 0).sum(axis=0) / np.maximum(counts, 1)
    hidden = counts < 0.2 * len(lines)
    closed = closing.mean(axis=1)
    good = np.where(hidden, (closed[:-1] >= 0.5) | (closed[1:] >= 0.5), shares >= _ENOUGH)
    worth = np.where(hidden, 0.1, shares)
    places = np.flatnonzero(good)
    if not len(places):
        return None
    parts, start = [], 0
    for at in range(1, len(places) + 1):
        if (
            at == len(places)
            or not hidden[places[at - 1] + 1 : places[at]].all()
            or places[at] - places[at - 1] > _MOST_HIDDEN
        ):
            parts.append(places[start:at])
            start = at
    best = max(parts, key=lambda part: float(worth[part].sum()))
    first, last = int(best[0]), int(best[-1])
    # marks in a row beside the grid hide as much as filled cells do, but nothing closes them
    while first < last and hidden[first] and closed[first] < _SURELY:
        first += 1
    while first < last and hidden[last] and closed[last + 1] < _SURELY:
        last -= 1
    return first, last + 1

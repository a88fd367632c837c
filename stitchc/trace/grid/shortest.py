"""The lattice that explains a picture most shortly: cells of a few looks, lines and all, and nothing left beside them.

A chart is a few signs, each many times. Only the lattice it was drawn on cuts it into cells of few looks: one that is
shifted or too wide needs many, one that is too fine needs many cells, and one that is too small leaves ink unexplained.
Knows ink and places; which lattices are tried is for others to say.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.grid.evidence import Plane, Profile, noise_of

Samples = npt.NDArray[np.float32]
Box = tuple[int, int, int, int]
"""Numbers of the left, right, top and bottom line."""
Rims = tuple[Profile, Profile, Profile, Profile]

_TOGETHER_PX: Final = 8.0
"""Pixels that tell as much as one would alone, their neighbours being like them."""
_LOOKS: Final = 4
"""Looks that cells are drawn from: three stitches and one to spare."""
_EACH_CELL: Final = 0.4
"""What a cell costs beside saying which look it has, in nats."""
_MOST_CELLS: Final = 600
_MOST_COMPARED: Final = 31
"""Cells from which looks are found, and from which each one's middle is taken."""
_GRAIN: Final = 0.05
_MOST_HEAVY: Final = 0.4
"""The share of lines that may be heavier than the others."""


class Explained(NamedTuple):
    """A lattice and how much shorter it makes the picture, in nats. share: of all that the picture would be without it.

    xs, ys: the places of its lines; combs: those it was taken from; own: the number of each cell's look."""

    worth: float
    share: float
    xs: Profile
    ys: Profile
    combs: tuple[Profile, Profile]
    own: npt.NDArray[np.intp]

    @property
    def size(self) -> tuple[int, int]:
        """Cells across and down."""
        return len(self.xs) - 1, len(self.ys) - 1

    @property
    def pitches(self) -> tuple[float, float]:
        """The mean distance of its lines across and down."""
        columns, rows = self.size
        return float(self.xs[-1] - self.xs[0]) / columns, float(self.ys[-1] - self.ys[0]) / rows


class Ground:
    """A picture and what it would be without cells: its own surroundings everywhere."""

    def __init__(self, plane: Plane) -> None:
        self.plane = plane
        small = plane[: plane.shape[0] // 4 * 4, : plane.shape[1] // 4 * 4]
        small = small.reshape(small.shape[0] // 4, 4, -1, 4).mean(axis=(1, 3))
        around = ndimage.median_filter(small, 5, mode="nearest")
        around = np.repeat(np.repeat(around, 4, axis=0), 4, axis=1)
        around = np.pad(around, [(0, plane.shape[at] - around.shape[at]) for at in (0, 1)], mode="edge")
        self.paper = float(np.median(plane[plane <= np.median(plane)]))
        self.total = _summed(plane)
        self.beside = _summed(plane - around)
        self.grain = max(_GRAIN, 1.5 * noise_of(plane))


def _summed(plane: Plane) -> Profile:
    total = np.zeros((plane.shape[0] + 1, plane.shape[1] + 1))
    np.cumsum(np.cumsum(plane, axis=0, dtype=np.float64), axis=1, out=total[1:, 1:])
    return total


def _edges(lines: Profile, half: int) -> Profile:
    """Where samples begin and end: from each line to the middles of the cells beside it, (cells, 2, half + 1)."""
    steps = np.diff(lines)
    pitch = np.minimum(float(np.median(steps)), steps)
    parts = np.linspace(0, 0.5, half + 1)
    first = lines[:-1, None] + pitch[:, None] * parts
    second = lines[1:, None] - pitch[:, None] * parts[::-1]
    return np.stack([first, second], axis=1) + 0.5  # pixels' middles have whole numbers


def _at(total: Profile, places: Profile, axis: int) -> Profile:
    low = np.clip(np.floor(places).astype(np.intp), 0, total.shape[axis] - 2)
    part = np.clip(places - low, 0, 1)
    shape = [1, 1]
    shape[axis] = -1
    part = part.reshape(shape)
    return np.asarray(np.take(total, low, axis=axis) * (1 - part) + np.take(total, low + 1, axis=axis) * part)


def _sampled(total: Profile, xs: Profile, ys: Profile, halves: list[int]) -> Samples:
    """(cells down, cells across, halves down, samples down, halves across, samples across)"""
    ex = np.clip(_edges(xs, halves[0]), 0, total.shape[1] - 1)
    ey = np.clip(_edges(ys, halves[1]), 0, total.shape[0] - 1)
    sums = _at(_at(total, ey.ravel(), 0), ex.ravel(), 1)
    sums = sums.reshape(len(ys) - 1, 2, halves[1] + 1, len(xs) - 1, 2, halves[0] + 1)
    sums = np.diff(np.diff(sums, axis=2), axis=5)
    areas = np.maximum(np.diff(ey, axis=2)[:, :, :, None, None, None] * np.diff(ex, axis=2)[None, None, None], 1e-9)
    return np.ascontiguousarray((sums / areas).transpose(0, 3, 1, 2, 4, 5), dtype=np.float32)


def _cost(away: Samples, grain: float) -> Samples:
    """What samples cost that are so far from what is said of them: little for a small difference, and not much more
    for a blot than for a stroke."""
    return np.asarray(np.log1p(np.square(away / np.float32(grain))) * np.float32(0.5))


def _looks(cells: Samples) -> Samples:
    """Looks that cells are likest to."""
    step = max(1, len(cells) // _MOST_CELLS)
    cells = cells[::step]
    looks = _median(cells, axis=0)[None]
    nearest = _squares(cells, looks)[:, 0]
    for _ in range(_LOOKS - 1):
        strange = int(np.argsort(nearest)[int(0.98 * len(nearest))])  # the strangest may be blots
        looks = np.concatenate([looks, cells[[strange]]])
        nearest = np.minimum(nearest, _squares(cells, looks[-1:])[:, 0])
    for middle in (np.mean, np.mean, _median):
        own = _squares(cells, looks).argmin(axis=1)
        looks = np.stack(
            [middle(cells[own == at], axis=0) if (own == at).any() else look for at, look in enumerate(looks)]
        )
    return looks


def _median(cells: Samples, axis: int) -> Samples:
    some = np.sort(cells[:: max(1, len(cells) // _MOST_COMPARED)], axis=axis)
    return np.asarray(some[len(some) // 2])


def _squares(cells: Samples, looks: Samples) -> Samples:
    cross = cells @ looks.T
    both = np.square(cells).sum(axis=1)[:, None] + np.square(looks).sum(axis=1)[None, :]
    return np.asarray(np.maximum(both - 2 * cross, 0))


def explained(
    ground: Ground, xs: Profile, ys: Profile, sample_px: float, rounds: int, cells: tuple[int, int] | None = None
) -> Explained | None:
    """The part of a lattice that explains most. cells: how many it has across and down, where that is known."""
    if min(len(xs), len(ys)) < 3 or (cells is not None and (len(xs) <= cells[0] or len(ys) <= cells[1])):
        return None
    halves = [max(2, round(0.5 * float(np.median(np.diff(lines))) / sample_px)) for lines in (xs, ys)]
    means = _sampled(ground.total, xs, ys, halves) - np.float32(ground.paper)
    beside = _sampled(ground.beside, xs, ys, halves)
    areas = (np.outer(np.diff(ys), np.diff(xs)) / means[0, 0].size / _TOGETHER_PX).astype(np.float32)
    areas = areas[:, :, None, None, None, None]
    null = _cost(np.minimum(np.abs(beside), np.abs(means)), ground.grain) * areas
    box = 0, len(xs) - 1, 0, len(ys) - 1
    best: Explained | None = None
    for _ in range(rounds):
        inside = slice(box[2], box[3]), slice(box[0], box[1])
        heavy = (
            _heavy(means.transpose(1, 0, 4, 5, 2, 3), inside[::-1], ground.grain),
            _heavy(means, inside, ground.grain),
        )
        light = heavy[0]._replace(lines=0 * heavy[0].lines), heavy[1]._replace(lines=0 * heavy[1].lines)
        tried = [_fitted(means, null, areas, ground.grain, inside, light, cells)]
        if any(one.lines.any() for one in heavy):
            tried.append(_fitted(means, null, areas, ground.grain, inside, heavy, cells))
        worth, wider, own = max(tried, key=lambda one: one[0])
        left, right, top, bottom = wider
        if best is None or worth > best.worth:
            share = worth / max(float(null[top:bottom, left:right].sum()), 1e-9)
            places = xs[left : right + 1], ys[top : bottom + 1]
            best = Explained(worth, share, *places, (xs, ys), own[top:bottom, left:right])
        if wider == box or right - left < 2 or bottom - top < 2:
            break
        box = wider
    return best


def _fitted(
    means: Samples,
    null: Samples,
    areas: Samples,
    grain: float,
    inside: tuple[slice, slice],
    lines: tuple[Heavy, Heavy],
    cells: tuple[int, int] | None,
) -> tuple[float, Box, npt.NDArray[np.intp]]:
    """What is saved by looks found within a part, the box in which most is, and each cell's look."""
    rows, columns = means.shape[:2]
    flat = rows, columns, means[0, 0].size
    plain = _lightened(means, *lines).reshape(flat)
    looks = _looks(plain[inside].reshape(-1, flat[2]))
    own = _squares(plain.reshape(-1, flat[2]), looks).argmin(axis=1).reshape(rows, columns)
    drawn, stated = _drawn(means, looks, own, lines, inside)
    shares = np.bincount(own[inside].ravel(), minlength=len(looks))
    bits = _EACH_CELL - np.log(np.maximum(shares, 0.5) / shares.sum())[own]
    saved = null - _cost(means - drawn, grain) * areas
    box, worth = _widest(saved.sum(axis=(2, 3, 4, 5)) - bits, _rims(saved), (0, columns, 0, rows), inside, cells)
    once = float(sum(float(_cost(look, grain).sum()) for look in stated))
    return worth - once * float(np.median(areas)), box, own


class Heavy(NamedTuple):
    """lines: which of them are heavier than the others, by number; apart: how far from a line that is seen, in
    samples; usual: what is seen beside the others."""

    lines: npt.NDArray[np.intp]
    apart: npt.NDArray[np.bool_]
    usual: Samples


def _heavy(means: Samples, inside: tuple[slice, slice], grain: float) -> Heavy:
    """Level lines that differ from the others, in whatever way. means: (down, across, 2, half, 2, half)."""
    rows, _, _, half = means.shape[:4]
    some = means[:, inside[1]]
    some = some[:, :: max(1, some.shape[1] // 40)].mean(axis=(4, 5))
    seen = np.quantile(some, 0.3, axis=1)  # (down, 2, half): mostly of cells without a mark
    around = np.empty((rows + 1, 2, half), dtype=np.float32)
    around[:-1, 1], around[1:, 0] = seen[:, 0], seen[:, 1, ::-1]  # from the line away
    around[0, 0], around[-1, 1] = around[0, 1], around[-1, 0]
    kept = around[inside[0].start : inside[0].stop + 1]
    usual = np.median(kept, axis=0)
    off = np.abs(around - usual).mean(axis=(1, 2))
    lines = np.zeros(rows + 1, dtype=np.intp)
    here = off[inside[0].start : inside[0].stop + 1]
    high = float(np.sort(here)[-max(1, len(here) // 12)])
    heavy = off > high / 2
    apart = np.zeros(half, dtype=np.bool_)
    some_heavy = here > high / 2
    apart_enough = (
        some_heavy.any() and not some_heavy.all() and here[~some_heavy].mean() < 0.3 * here[some_heavy].mean()
    )
    if len(here) >= 5 and some_heavy.mean() <= _MOST_HEAVY and apart_enough:
        differ = np.abs(np.median(around[heavy], axis=0) - usual).max(axis=0) > grain
        if differ.any():
            lines[heavy] = 1
            apart[: int(np.flatnonzero(differ)[-1]) + 1] = True
    return Heavy(lines, apart, usual.mean(axis=0))


def _lightened(means: Samples, heavy_x: Heavy, heavy_y: Heavy) -> Samples:
    """The cells as if no line were heavier than the others."""
    out = means
    if heavy_x.lines.any():
        out = out.copy()
        for side, lines, apart, usual in (
            (0, heavy_x.lines[:-1], heavy_x.apart, heavy_x.usual),
            (1, heavy_x.lines[1:], heavy_x.apart[::-1], heavy_x.usual[::-1]),
        ):
            out[:, np.flatnonzero(lines)[:, None], :, :, side, np.flatnonzero(apart)[None]] = usual[apart][
                None, :, None, None, None
            ]
    if heavy_y.lines.any():
        out = out.copy() if out is means else out
        for side, lines, apart, usual in (
            (0, heavy_y.lines[:-1], heavy_y.apart, heavy_y.usual),
            (1, heavy_y.lines[1:], heavy_y.apart[::-1], heavy_y.usual[::-1]),
        ):
            out[np.flatnonzero(lines)[:, None], :, side, np.flatnonzero(apart)[None]] = usual[apart][
                None, :, None, None, None
            ]
    return out


def _drawn(
    means: Samples,
    looks: Samples,
    nearest: npt.NDArray[np.intp],
    heavy: tuple[Heavy, Heavy],
    inside: tuple[slice, slice],
) -> tuple[Samples, list[Samples]]:
    """The cells drawn from their looks, each quarter beside the lines that it has; and all that is
    drawn once."""
    heavy_x, heavy_y = heavy
    half_y, half_x = means.shape[3], means.shape[5]
    drawn = looks.reshape(len(looks), 2, half_y, 2, half_x)[nearest]
    stated = [looks[np.unique(nearest[inside])]]
    if not (heavy_x.lines.any() or heavy_y.lines.any()):
        return drawn, stated
    known = np.zeros(nearest.shape, dtype=np.bool_)
    known[inside] = True
    for side_y, lines_y in ((0, heavy_y.lines[:-1]), (1, heavy_y.lines[1:])):
        for side_x, lines_x in ((0, heavy_x.lines[:-1]), (1, heavy_x.lines[1:])):
            kinds = nearest * 4 + lines_y[:, None] * 2 + lines_x[None]
            for kind in np.unique(kinds[inside]).tolist():
                own = kinds == kind
                some = np.argwhere(own & known)
                some = some[:: max(1, len(some) // _MOST_COMPARED)]
                look = _median(means[some[:, 0], some[:, 1], side_y, :, side_x], axis=0)
                drawn[own, side_y, :, side_x] = look
                if kind % 4:
                    stated.append(look)
    return drawn, stated


def _rims(saved: Samples) -> Rims:
    """What is saved outside a box along each of its sides, where the half of a line lies that its cells leave out: for
    boxes that begin or end at each line across (by rows), and down (by columns)."""
    rows, columns, _, half_y, _, half_x = saved.shape
    near_x, near_y = (half_x + 1) // 2, (half_y + 1) // 2
    left, right = np.zeros((rows, columns + 1)), np.zeros((rows, columns + 1))
    left[:, 1:] = saved[..., 1, half_x - near_x :].sum(axis=(2, 3, 4))
    right[:, :-1] = saved[..., 0, :near_x].sum(axis=(2, 3, 4))
    top, bottom = np.zeros((columns, rows + 1)), np.zeros((columns, rows + 1))
    top[:, 1:] = saved[:, :, 1, half_y - near_y :].sum(axis=(2, 3, 4)).T
    bottom[:, :-1] = saved[:, :, 0, :near_y].sum(axis=(2, 3, 4)).T
    return left, right, top, bottom


def _run(values: Profile, before: Profile, after: Profile, count: int | None) -> tuple[int, int]:
    """The first and the one after the last of the stretch, of so many, with the greatest sum, its rims included."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    if count:
        first = int(((total + after)[count:] - (total - before)[:-count]).argmax())
        return first, first + count
    lowest = np.minimum.accumulate(total - before)
    end = int(((total + after)[1:] - lowest[:-1]).argmax()) + 1
    return int((total - before)[:end].argmin()), end


def _widest(
    gains: Samples, rims: Rims, whole: Box, inside: tuple[slice, slice], cells: tuple[int, int] | None
) -> tuple[Box, float]:
    """The box with the greatest sum, its rims included."""
    box, most = whole, -np.inf
    for left, right, top, bottom in {whole, (inside[1].start, inside[1].stop, inside[0].start, inside[0].stop)}:
        for _ in range(6):
            before = left, right, top, bottom
            rows = slice(top, bottom)
            first, last = (rim[rows].sum(axis=0) for rim in rims[:2])
            left, right = _run(gains[rows].sum(axis=0), first, last, cells and cells[0])
            columns = slice(left, right)
            first, last = (rim[columns].sum(axis=0) for rim in rims[2:])
            top, bottom = _run(gains[:, columns].sum(axis=1), first, last, cells and cells[1])
            if (left, right, top, bottom) == before:
                break
        worth = float(gains[top:bottom, left:right].sum())
        worth += float(rims[0][top:bottom, left].sum() + rims[1][top:bottom, right].sum())
        worth += float(rims[2][left:right, top].sum() + rims[3][left:right, bottom].sum())
        if worth > most:
            box, most = (left, right, top, bottom), worth
    return box, most

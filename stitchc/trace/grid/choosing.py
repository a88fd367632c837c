"""The lattice of a picture: that of its lines, unless another explains the picture clearly more shortly.

Combs of both directions are proposed, paired, and drawn again from. Works on ink (0 paper, 1 black) alone and knows
nothing of what the cells mean.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np
from scipy import ndimage

from stitchc.trace.grid.comb import LEAST_PITCH_PX, Comb, comb_of
from stitchc.trace.grid.evidence import Plane, Profile, stretches
from stitchc.trace.grid.judging import View
from stitchc.trace.grid.lattice import Axis, Lattice
from stitchc.trace.grid.search import alike, combs_in, lattice_of_lines, regions_of, widths_of
from stitchc.trace.grid.shortest import Explained, Ground, explained

_LOOKED_AT: Final = 1_800_000
"""Pixels in which a grid is looked for; larger pictures are made smaller for it, unless their cells are then small."""
_ROOMY_PX: Final = 9.0
_OBLONG: Final = 3.0
"""How many times longer than wide a cell may be."""
_FINER: Final = ((2, 2), (3, 3), (5, 5))
"""Parts of cells that are tried too, as heavy lines may have been found alone."""
_ROUGHLY: Final = 20_000
_EXACTLY: Final = 40_000
"""Samples of the picture by which lattices are compared, first all of them and then the best."""
_LEAST_SAMPLE_PX: Final = 1.2
_LOOKED_INTO: Final = 5
_LEAST_SHARE: Final = 0.5
"""How much of the ink a lattice must explain to be taken, or named, against what the lines alone say."""
_MOSTLY: Final = 0.55
"""How much of it a lattice whose lines are seen must explain for no other to be looked for."""
_CLEARLY: Final = 1.25
"""How many times as much a lattice must save as that of the lines alone."""
_AS_GOOD: Final = 0.9
_NEARLY: Final = 0.7
_HALF_AS_GOOD: Final = 0.5
"""Parts of what the best lattice saves."""
_WELL_DRAWN: Final = 0.7
_DRAWN: Final = 0.5
_HARDLY_DRAWN: Final = 0.3
_MORE_UNSEEN: Final = 0.1
"""How much of the lines is seen between cells that look alike, less what is seen within cells."""
_SAME: Final = 0.03
"""By what part pitches differ that are the same."""
_FEW: Final = 6


def find_lattice(plane: Plane, cells: tuple[int, int] | None = None) -> Lattice | None:
    """The ruled lattice of a straight picture, or None where there is none that can be trusted.

    cells: how many the user says there are across and down; lattices with other counts are then passed over.
    """
    smaller = math.ceil(math.sqrt(plane.size / _LOOKED_AT))
    if smaller > 1:
        found = _searched(_reduced(plane, smaller), cells)
        if found is not None and found.pitch_px >= _ROOMY_PX:
            return found.grown(smaller)
    return _searched(plane, cells)


def _reduced(plane: Plane, by: int) -> Plane:
    height, width = plane.shape[0] // by * by, plane.shape[1] // by * by
    return np.asarray(plane[:height, :width].reshape(height // by, by, width // by, by).mean(axis=(1, 3)))


def _searched(plane: Plane, cells: tuple[int, int] | None) -> Lattice | None:
    view, ground = View(plane), Ground(plane)
    by_lines = lattice_of_lines(view, cells)
    if by_lines is not None and cells is not None:
        return by_lines
    own = None if by_lines is None else _own(ground, by_lines)
    own_lined = 0.0 if own is None else lined(view, own)
    sound = own_lined >= _WELL_DRAWN
    if by_lines is not None and own is not None and own.size == by_lines.size and own.share >= _MOSTLY and sound:
        return by_lines
    found = shortest_of(view, ground, cells)
    if not found or found[0].worth <= 0 or found[0].share < _LEAST_SHARE:
        return by_lines
    best = found[0]
    clear = lined(view, best) >= _WELL_DRAWN
    if by_lines is None or own is None:
        return _lattice(view, best) if clear else by_lines
    if best.size == by_lines.size or best.worth < _CLEARLY * own.worth:
        return by_lines
    goes_on = all(
        abs(pitch - axis.pitch_px) < _SAME * pitch
        for pitch, axis in zip(best.pitches, (by_lines.across, by_lines.down), strict=True)
    ) and math.prod(best.size) > math.prod(by_lines.size)
    if clear and (goes_on or own_lined < _HARDLY_DRAWN):
        return replace(_lattice(view, best), rival=by_lines.size)
    if sound:  # a repeat of cells explains a picture as well as a cell does
        return by_lines
    nearly = [one.size for one in found if one.worth >= _AS_GOOD * best.worth]
    return replace(by_lines, rival=min(nearly, key=math.prod))


def _own(ground: Ground, lattice: Lattice) -> Explained | None:
    """What a lattice explains, and a cell more or less on each side."""
    sides = []
    for axis in (lattice.across, lattice.down):
        outer = axis.lines[[0, -1]] + np.array([-1, 1]) * axis.pitch_px
        sides.append(np.concatenate([outer[:1], axis.lines, outer[1:]]))
    return explained(ground, sides[0], sides[1], _sample_px(ground.plane, _EXACTLY), 3)


def _sample_px(plane: Plane, count: int) -> float:
    """How wide samples are of which so many cover the picture."""
    return max(_LEAST_SAMPLE_PX, math.sqrt(plane.size / count))


def shortest_of(view: View, ground: Ground, cells: tuple[int, int] | None = None) -> list[Explained]:
    """Lattices that explain the picture, the best of each size, the best first."""
    best: dict[tuple[int, int], Explained] = {}

    def consider(xs: Profile, ys: Profile, samples: int, into: dict[tuple[int, int], Explained]) -> None:
        ratio = float(np.median(np.diff(xs)) / np.median(np.diff(ys))) if min(len(xs), len(ys)) > 2 else 0
        if 1 / _OBLONG < ratio < _OBLONG:
            found = explained(ground, xs, ys, _sample_px(view.plane, samples), 2 if into is best else 3, cells)
            if found is not None and (found.size not in into or found.worth > into[found.size].worth):
                into[found.size] = found

    for across, down in _pairs(view):
        consider(across, down, _ROUGHLY, best)
    exact: dict[tuple[int, int], Explained] = {}
    roughly = sorted(best.values(), key=lambda one: -one.worth)
    finest = sorted(
        (one for one in roughly[_LOOKED_INTO:] if one.worth > _HALF_AS_GOOD * roughly[0].worth),
        key=lambda one: -math.prod(one.size),
    )
    for rough in [*roughly[:_LOOKED_INTO], *finest[:2]]:
        consider(*rough.combs, _EXACTLY, exact)
        for across, down in _measured(view, rough, 1, 1):
            consider(across, down, _EXACTLY, exact)
    for first in sorted(exact.values(), key=lambda one: -one.worth)[:1]:
        for finer in _FINER:
            if min(first.pitches[at] / finer[at] for at in (0, 1)) >= LEAST_PITCH_PX:
                for across, down in _measured(view, first, *finer):
                    consider(across, down, _EXACTLY, exact)
    return _ordered(view, list(exact.values()))


def _ordered(view: View, found: list[Explained]) -> list[Explained]:
    """The best first. Of a coarser and a finer lattice that explain nearly as much, the finer one is true if its own
    lines are seen: a repeat of cells explains a picture as well as a cell does, and so do the halves of cells."""
    found = sorted(found, key=lambda one: -one.worth)
    near = [one for one in found if one.worth >= _HALF_AS_GOOD * found[0].worth]
    if len(near) < 2:
        return found
    seen = {one.size: lined(view, one) for one in near}
    best = near[0]
    for one in near[1:]:
        times = [a / b for a, b in zip(one.pitches, best.pitches, strict=True)]
        better = seen[one.size] - seen[best.size]
        as_good = one.worth >= _NEARLY * best.worth
        coarser = min(times) > 0.97 and max(times) > 1.4 and as_good and better > _MORE_UNSEEN
        finer = max(times) < 1.03 and min(times) < 0.7 and better >= -_MORE_UNSEEN
        if seen[one.size] >= _DRAWN and (coarser or (finer and (as_good or seen[one.size] >= _WELL_DRAWN))):
            best = one
    return [best, *(one for one in found if one is not best)]


def lined(view: View, found: Explained) -> float:
    """How much more is seen of the lines between cells that look alike than within cells of the commonest look."""
    usual = found.own == np.bincount(found.own.ravel()).argmax()
    on, within = [], []
    for way, pitch, lines, crossings, own, inner in (
        (view.upright, found.pitches[0], found.xs, found.ys, found.own.T, usual.T),
        (view.level, found.pitches[1], found.ys, found.xs, found.own, usual),
    ):
        reach = max(1.0, 0.07 * pitch)
        seen = np.minimum(stretches(way.lines(pitch), lines, crossings, reach) / way.least, 1)
        middles = (lines[1:] + lines[:-1]) / 2
        between = np.minimum(stretches(way.lines(pitch / 2), middles, crossings, reach) / way.least, 1)
        alike = np.diff(own, axis=0) == 0
        on.append(seen[1:-1][alike] if alike.sum() >= _FEW else seen.ravel())
        within.append(between[inner])
    return float(np.concatenate(on).mean()) - float(np.concatenate(within).mean())


def _pairs(view: View) -> list[tuple[Profile, Profile]]:
    ways: tuple[list[Comb], list[Comb]] = [], []
    runs: tuple[list[Profile], list[Profile]] = [], []
    for rows, columns in regions_of(view.plane):
        for own, more in zip(ways, combs_in(view, rows, columns), strict=True):
            own += [comb for comb in more if not any(alike(comb, other) for other in own)]
        part = view.plane[rows, columns]
        for seen, plane, first in zip(runs, (part, part.T), (columns.start, rows.start), strict=True):
            seen += [lines + first for lines in _drawn_through(plane)]
    across, down = ([*(comb.lines for comb in own), *more] for own, more in zip(ways, runs, strict=True))
    return [(one, other) for one in across for other in down]


_DASH_PX: Final = 9
_SOME_ROWS: Final = 250
_UNEVEN: Final = 1.7


def _drawn_through(plane: Plane) -> list[Profile]:
    """The middles of what is dark, or light, from top to bottom: lines of any width, at about even distances."""
    found: list[Profile] = []
    for ink in (plane, ndimage.maximum_filter1d(plane, _DASH_PX, axis=0)):
        some = ink[:: max(1, len(ink) // _SOME_ROWS)]
        for profile in (*np.quantile(some, (0.2, 0.5), axis=0), 1 - np.quantile(some, 0.8, axis=0)):
            low, high = np.percentile(profile, (10, 99))
            high = profile > (low + high) / 2
            steps = np.diff(np.concatenate([[0], high.astype(np.int8), [0]]))
            middles = (np.flatnonzero(steps == 1) + np.flatnonzero(steps == -1) - 1) / 2
            gaps = np.diff(middles)
            if len(gaps) < 2 or gaps.max() > _UNEVEN * gaps.min() or gaps.min() < LEAST_PITCH_PX:
                continue
            pitch = float(np.median(gaps))
            lines = np.concatenate([[middles[0] - pitch], middles, [middles[-1] + pitch]])
            if not any(len(lines) == len(other) and np.abs(lines - other).max() < 0.5 for other in found):
                found.append(lines)
    return found


def _measured(view: View, found: Explained, finer_x: int, finer_y: int) -> list[tuple[Profile, Profile]]:
    """The combs once more, by what is seen within the grid alone, evenly and as it is seen. finer_x, finer_y: the parts
    of each cell."""
    (xs, ys), (px, py) = (found.xs, found.ys), found.pitches
    rows = slice(max(0, round(ys[0])), round(ys[-1]) + 1)
    columns = slice(max(0, round(xs[0])), round(xs[-1]) + 1)
    across = comb_of(view.upright.profile(px / finer_x, rows), px / finer_x)
    down = comb_of(view.level.profile(py / finer_y, columns), py / finer_y)
    if across is None or down is None:
        return []
    return [(across.lines, down.lines), (across.peaks, down.peaks)]


def _lattice(view: View, found: Explained) -> Lattice:
    xs, ys = found.xs, found.ys
    return Lattice(Axis(xs, widths_of(view.plane, xs, ys)), Axis(ys, widths_of(view.plane.T, ys, xs)))

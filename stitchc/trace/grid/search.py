"""The search for a lattice: combs of both directions proposed, paired and judged, the best measured again.

No grid is better than a wrong one: a lattice that skips lines, or leaves some between its own, is not taken.
Works on ink (0 paper, 1 black) alone and knows nothing of what the cells mean.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np
from scipy import ndimage

from stitchc.trace.grid.comb import LEAST_PITCH_PX, Comb, comb_of, pitches_of
from stitchc.trace.grid.evidence import Plane, Profile, noise_of, stretches
from stitchc.trace.grid.judging import Judged, View, judged, sheet_of
from stitchc.trace.grid.lattice import Axis, Lattice, Side
from stitchc.trace.grid.redrawing import redrawn

_LOOKED_AT: Final = 1_800_000
"""Pixels in which a grid is looked for; larger pictures are made smaller for it, unless their cells are then small."""
_ROOMY_PX: Final = 9.0
_MOST_COMBS: Final = 7
_SURELY: Final = 0.85
"""How much must be seen between blank cells for nothing better to be looked for elsewhere."""
_OBLONG: Final = 3.0
"""How many times longer than wide a cell may be."""
_FINER: Final = ((2, 2), (3, 3), (4, 4), (5, 5), (6, 6), (10, 10), (2, 1), (1, 2), (5, 1), (1, 5), (10, 1), (1, 10))


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
    view = View(plane)
    best: Judged | None = None
    tried: list[Judged] = []
    for rows, columns in _regions(plane):
        found = _best_pair(view, rows, columns, cells, tried)
        if found is not None and (best is None or found.score > best.score):
            best = found
        if best is not None and best.seen >= _SURELY and _is_ruled(best) and not _skips_lines(view, best):
            break
    if best is None:
        return None
    if not _is_ruled(best) or _skips_lines(view, best):
        return None
    if cells is not None and _size(best) != cells:
        return None
    lattice = _lattice(view, best)
    return lattice if cells is not None else replace(lattice, rival=_rival(view, best, lattice, tried))


def _size(found: Judged) -> tuple[int, int]:
    xs, ys = found.lines
    return len(xs) - 1, len(ys) - 1


def _regions(plane: Plane) -> list[tuple[slice, slice]]:
    """Rows and columns of the whole picture, and of the largest piece of ink that hangs together, as lines do."""
    height, width = plane.shape
    whole = slice(0, height), slice(0, width)
    labels, count = ndimage.label(plane > max(0.12, 4 * noise_of(plane)), structure=np.ones((3, 3), dtype=int))
    boxes = [box for box in ndimage.find_objects(labels) if box is not None] if count else []
    areas = [(box[0].stop - box[0].start) * (box[1].stop - box[1].start) for box in boxes]
    if not areas or not 0.01 * plane.size < max(areas) < 0.8 * plane.size:
        return [whole]
    rows, columns = boxes[int(np.argmax(areas))]
    if min(rows.stop - rows.start, columns.stop - columns.start) < 3 * LEAST_PITCH_PX:
        return [whole]
    return [(rows, columns), whole]


def _combs(view: View, rows: slice, columns: slice) -> tuple[list[Comb], list[Comb]]:
    """Combs across and down, the best first; each direction also tries the pitches of the other, as cells are about
    square and a single row of cells shows no period of its own."""
    profiles = []
    pitches: list[list[float]] = []
    for evidence, along in ((view.upright, rows), (view.level, columns)):
        found: list[float] = []
        for scale in (4.0, 12.0, 40.0):
            for pitch in pitches_of(evidence.profile(scale, along)):
                if pitch >= 0.4 * scale and not any(abs(pitch - other) < 0.015 * pitch for other in found):
                    found.append(pitch)
        pitches.append(found)
        profiles.append((evidence, along))
    combs: list[list[Comb]] = []
    for at, (evidence, along) in enumerate(profiles):
        own: list[Comb] = []
        for pitch in [*pitches[at], *pitches[1 - at][:4]]:
            comb = comb_of(evidence.profile(pitch, along), pitch)
            if comb is not None and not any(_alike(comb, other) for other in own):
                own.append(comb)
        own.sort(key=lambda comb: -comb.worth)
        combs.append(own[:_MOST_COMBS])
    return combs[0], combs[1]


def _alike(one: Comb, two: Comb) -> bool:
    return (
        abs(one.pitch_px - two.pitch_px) < 0.02 * one.pitch_px
        and abs(one.lines - two.lines[:, None]).min(axis=0).mean() < 0.1 * one.pitch_px
    )


def _best_pair(
    view: View, rows: slice, columns: slice, cells: tuple[int, int] | None, tried: list[Judged]
) -> Judged | None:
    """The pair that explains most; all that were judged are added to those tried."""
    best: Judged | None = None

    def consider(across: Comb | None, down: Comb | None) -> bool:
        nonlocal best
        if across is None or down is None or not 1 / _OBLONG < across.pitch_px / down.pitch_px < _OBLONG:
            return False
        found = judged(sheet_of(view, across, down), (across.pitch_px, down.pitch_px))
        if found is None or (cells is not None and _size(found) != cells):
            return False
        tried.append(found)
        if best is None or found.score > best.score:
            best = found
            return True
        return False

    all_across, all_down = _combs(view, rows, columns)
    for across in all_across:
        for down in all_down:
            consider(across, down)
    for _ in range(2):  # within the grid alone more is seen
        if best is None or not consider(*_measured(view, best, 1, 1)):
            break
    if best is not None:  # where each fifth line is heavier, those may have been found alone
        coarse = best
        for finer in _FINER:
            if min(_pitches(coarse)[at] / finer[at] for at in (0, 1)) >= LEAST_PITCH_PX:
                consider(*_measured(view, coarse, *finer))
    return best


def _pitches(found: Judged) -> tuple[float, float]:
    xs, ys = found.lines
    return float(xs[-1] - xs[0]) / (len(xs) - 1), float(ys[-1] - ys[0]) / (len(ys) - 1)


def _measured(view: View, found: Judged, finer_x: int, finer_y: int) -> tuple[Comb | None, Comb | None]:
    """The combs once more, by what is seen within the grid alone. finer_x, finer_y: the parts of each cell."""
    (xs, ys), (px, py) = found.lines, _pitches(found)
    rows = slice(max(0, round(ys[0])), round(ys[-1]) + 1)
    columns = slice(max(0, round(xs[0])), round(xs[-1]) + 1)
    across = comb_of(view.upright.profile(px / finer_x, rows), px / finer_x)
    return across, comb_of(view.level.profile(py / finer_y, columns), py / finer_y)


_RULED: Final = 0.6
_FEW: Final = 6
_UNEVEN: Final = 0.15
"""The most by which distances of a few lines may differ, of their mean: with more, lines of a plot were picked."""


def _is_ruled(found: Judged) -> bool:
    """Whether lines are drawn: then they show between cells that look alike."""
    left, right, top, bottom = found.box
    sheet = found.sheet
    upright, level = sheet.upright[left : right + 1, top:bottom], sheet.level[top : bottom + 1, left:right]
    everything = (float(upright.sum()) + float(level.sum())) / (upright.size + level.size)
    if found.score <= 0 or upright.size + level.size < 8:
        return False
    if any(len(lines) <= _FEW and np.ptp(np.diff(lines)) > _UNEVEN * np.diff(lines).mean() for lines in found.lines):
        return False
    outer = np.concatenate([upright[0], upright[-1], level[0], level[-1]])
    if found.alike < _FEW:
        return everything >= 0.9 and float(outer.mean()) >= 0.5
    return found.seen >= _RULED


_SKIPPED: Final = 0.65
_HARDLY: Final = 0.3
_EMPTY: Final = 0.25
"""How far from the palest to the darkest cells those go that are taken for empty."""
_FEW_EMPTY: Final = 8


def _skips_lines(view: View, found: Judged) -> bool:
    """Whether lines run between those of the lattice as those of a grid of half, a third or a fifth of the pitch would:
    then the lines that were found are only the stronger ones, and the cells are not those. What is seen in marked cells
    only, where the lattice's own lines are seen beside empty cells too, is the marks."""
    (xs, ys), pitches = found.lines, _pitches(found)
    left, right, top, bottom = found.box
    inks = view.inks(xs, ys)
    low, high = np.percentile(inks, (3, 97))
    empty = inks <= low + _EMPTY * (high - low)
    for evidence, lines, crossings, pitch, blank, own in (
        (view.upright, xs, ys, pitches[0], empty.T, found.sheet.upright[left:right, top:bottom]),
        (view.level, ys, xs, pitches[1], empty, found.sheet.level[top:bottom, left:right]),
    ):
        lined = int(blank.sum()) >= _FEW_EMPTY and float(own[blank].mean()) >= _SKIPPED
        for parts in (2, 3, 5):
            shares = []
            for part in range(1, parts):
                inside = lines[:-1] + part / parts * np.diff(lines)
                if pitch / parts >= 1.5 * LEAST_PITCH_PX:
                    seen = stretches(evidence.lines(pitch / parts), inside, crossings, max(1.0, 0.05 * pitch))
                    seen = np.minimum(seen, evidence.least) / evidence.least
                    marks = lined and float(seen[blank].mean()) < _HARDLY
                    shares.append(0.0 if marks else float(seen.mean()))
            if shares and len(lines) > 2 and min(shares) >= _SKIPPED:
                return True
    return False


# -- what was found, as a lattice -----------------------------------------------------------------------------------


def _lattice(view: View, found: Judged) -> Lattice:
    opened, cut, beyond = _sides(view, found)
    return Lattice(*_axes(view, found), True, opened, cut, beyond)


def _axes(view: View, found: Judged) -> tuple[Axis, Axis]:
    xs, ys = found.lines
    return Axis(xs, _widths(view.plane, xs, ys)), Axis(ys, _widths(view.plane.T, ys, xs))


_RIVALS: Final = 12
_CLEARLY: Final = 1.2
"""How many times as much a rival must save."""
_NEARLY: Final = 0.9
_WELL_DRAWN: Final = 0.85
_BETTER: Final = 0.03


def _rival(view: View, best: Judged, lattice: Lattice, tried: list[Judged]) -> tuple[int, int] | None:
    """The size of the lattice that was tried from which the picture is drawn again clearly better than from the best,
    which was chosen by its lines alone; of some that are nearly as good, that with the fewest cells. A whole repeat of
    small cells, taken for a single one, is drawn a little better too: but lines are seen in it as well as around it."""
    others = {_size(found): found for found in sorted(tried, key=lambda found: found.score)}
    others.pop(lattice.size, None)
    least = max(0.0, _CLEARLY * redrawn(view, lattice.across, lattice.down).worth)
    worths: dict[tuple[int, int], float] = {}
    for size, found in list(others.items())[-_RIVALS:]:
        if math.prod(size) > math.prod(lattice.size) or found.seen > best.seen + _BETTER:
            redrawing = redrawn(view, *_axes(view, found))
            if redrawing.worth > least and redrawing.share >= _WELL_DRAWN:
                worths[size] = redrawing.worth
    nearly = [size for size, worth in worths.items() if worth >= _NEARLY * max(worths.values())]
    return min(nearly, key=math.prod, default=None)


def _widths(plane: Plane, lines: Profile, crossings: Profile) -> Profile:
    """How wide each upright line is, in px: how far the ink at its middle goes on to both sides. Beside cells in the
    line's colour it goes on farther, so that a low share of all rows of pixels counts."""
    half = max(2, int(0.5 * float(np.mean(np.diff(lines)))))
    rows = np.arange(max(0, round(crossings[0])), round(crossings[-1]) + 1)
    rows = rows[(rows < len(plane))][:: max(1, len(rows) // 600)]
    widths = np.ones(len(lines))
    for number, place in enumerate(lines.tolist()):
        beside = np.round(place).astype(int) + np.arange(-half, half + 1)
        at = np.clip(beside, 0, plane.shape[1] - 1)
        strip = plane[np.ix_(rows, at)]
        ground = np.median(strip[:, beside == at], axis=1)
        centre = half - 1 + int(np.abs(strip[:, half - 1 : half + 2] - ground[:, None]).mean(axis=0).argmax())
        away = np.abs(strip - strip[:, centre : centre + 1])
        own = np.abs(strip[:, centre] - ground)
        if float((own > 0.04).mean()) < 0.05:
            continue
        contrast = float(np.median(own[own > 0.04]))
        unlike = (away > 0.4 * contrast) | (beside != at)
        after, before = unlike[:, centre:], unlike[:, centre::-1]
        right = np.where(after.any(axis=1), after.argmax(axis=1), half + 1)
        left = np.where(before.any(axis=1), before.argmax(axis=1), half + 1)
        inked = own > 0.4 * contrast
        if inked.any():
            widths[number] = min(float(np.percentile((left + right - 1)[inked], 25)), half)
    return np.maximum(widths, np.median(widths) if len(widths) > 2 else 1.0)


_CLOSED: Final = 0.25
_RUNS_ON: Final = 0.6


def _sides(view: View, found: Judged) -> tuple[tuple[Side, ...], tuple[Side, ...], tuple[Side, ...]]:
    """Sides where no line closes the grid, sides at which its lines run on through part of a cell, and sides at which
    they run on through a whole one that was not counted."""
    left, right, top, bottom = found.box
    (xs, ys), sheet = found.lines, found.sheet
    opened: list[Side] = []
    cut: list[Side] = []
    beyond: list[Side] = []
    height, width = view.plane.shape
    sides: tuple[tuple[Side, float, float, float], ...] = (
        ("left", float(sheet.upright[left, top:bottom].mean()), xs[0], xs[1] - xs[0]),
        ("right", float(sheet.upright[right, top:bottom].mean()), width - 1 - xs[-1], xs[-1] - xs[-2]),
        ("top", float(sheet.level[top, left:right].mean()), ys[0], ys[1] - ys[0]),
        ("bottom", float(sheet.level[bottom, left:right].mean()), height - 1 - ys[-1], ys[-1] - ys[-2]),
    )
    for side, closed, room, pitch in sides:
        if closed < _CLOSED:
            opened.append(side)
        if room > 0.15 * pitch and _runs_on(view, found, side, min(room, pitch)) >= _RUNS_ON:
            (cut if room < 0.97 * pitch else beyond).append(side)
    return tuple(opened), tuple(cut), tuple(beyond)


def _runs_on(view: View, found: Judged, side: Side, room: float) -> float:
    """The share of the lines across a side that are seen so far beyond it."""
    (xs, ys), pitches = found.lines, _pitches(found)
    evidence, lines, pitch = (
        (view.level, ys, pitches[1]) if side in ("left", "right") else (view.upright, xs, pitches[0])
    )
    seen = evidence.lines(pitch)
    edge = (xs if side in ("left", "right") else ys)[0 if side in ("left", "top") else -1]
    first = edge - room if side in ("left", "top") else edge
    crossings = np.array([first + 0.05 * room, first + 0.9 * room])
    return float((stretches(seen, lines, crossings, max(1.0, 0.07 * pitch)) >= 0.7 * evidence.least).mean())

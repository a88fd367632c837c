"""How well a pair of combs explains a picture, edge of cell by edge of cell, and whether lines are drawn at all.

Knows the picture's ink and edges; where combs come from is not its concern.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.trace.grid.edges import ALL_OF_IT, Plane, Profile, noise_of, seen_along, stretches
from stitchc.trace.grid.extent import extent_of
from stitchc.trace.grid.lattice import Axis, Lattice


@dataclass(frozen=True)
class View:
    """A part of the picture, with what is asked of it again and again.

    upright, level: lines and edges that run down, and that run across; the first lies on its side, (width, height), so
    that a line's pixels stand together in memory. inks, steps: ink and squared steps of ink, each summed
    from the upper left corner. sure: the strength from which an upright and a level edge is none of the grain's.
    """

    plane: Plane
    upright: Plane
    level: Plane
    inks: Profile
    steps: Profile
    sure: tuple[float, float]

    @classmethod
    def of(cls, plane: Plane, upright: Plane, level: Plane, sure: tuple[float, float]) -> View:
        steps = np.zeros_like(plane)
        for way, inner in ((0, (slice(1, None), slice(None))), (1, (slice(None), slice(1, None)))):
            rise = np.diff(plane, axis=way)
            steps[inner] += np.where(np.abs(rise) > 0.06, rise * rise, 0)
        return cls(plane, np.ascontiguousarray(upright.T), level, _summed(plane), _summed(steps), sure)


def _summed(plane: Plane) -> Profile:
    total = np.zeros((plane.shape[0] + 1, plane.shape[1] + 1))
    np.cumsum(np.cumsum(plane, axis=0, dtype=np.float64), axis=1, out=total[1:, 1:])
    return total


def judged(view: View, across: Axis, down: Axis) -> tuple[float, Lattice] | None:
    """The lattice of two combs with its extent set right, and how well it explains the picture."""
    height, width = view.plane.shape
    xs, ys = _all_lines(across, width), _all_lines(down, height)
    if len(xs) < 2 or len(ys) < 2:
        return None
    core = _near(xs, across.start_px), _near(xs, across.end_px), _near(ys, down.start_px), _near(ys, down.end_px)
    if core[1] <= core[0] or core[3] <= core[2]:
        return None
    inks = _looks(view, xs, ys)
    for ruled in (True, False):
        seen_x, clear_x = _seen(view.upright, xs, ys, core, ruled, view.sure[0])  # (lines across, cells down)
        seen_y, clear_y = _seen(
            view.level, ys, xs, (*core[2:], *core[:2]), ruled, view.sure[1]
        )  # (lines down, cells across)
        bounds = extent_of(clear_x, clear_y, core, inks if ruled else None)
        if bounds is None:
            continue
        left, right, top, bottom = bounds
        lines_x, lines_y = seen_x[left : right + 1, top:bottom], seen_y[top : bottom + 1, left:right]
        share = (float(lines_x.sum()) + float(lines_y.sum())) / (lines_x.size + lines_y.size)
        dx, dy = across.pitch_px, down.pitch_px
        lattice = Lattice(
            Axis(float(xs[left]), dx, right - left, share), Axis(float(ys[top]), dy, bottom - top, share), ruled
        )
        looks = _looks(view, xs[left : right + 1], ys[top : bottom + 1])
        if ruled and _is_ruled(lines_x, lines_y, looks, _held(view, lattice)):
            # the length of line that is explained, less the length of line that should be there and is not; between the
            # lines of a comb that is too fine there is as much to see as on them
            earned_x = _earned(clear_x[left : right + 1, top:bottom])
            return dy * earned_x + dx * _earned(clear_y[top : bottom + 1, left:right]), lattice
        if not ruled and min(dx, dy) >= 6:
            tidy = _explained(view.plane, lattice)
            if tidy >= 0.75:
                # without lines every finer comb explains as much, so the widest cells win, and behind any ruled grid
                return (tidy - 0.7) * min(dx, dy) * 1e-3, lattice
    return None


def _all_lines(axis: Axis, size: int) -> Profile:
    """Where the comb's lines are when it is carried on to both ends of the picture."""
    first = -int((axis.start_px + 0.3 * axis.pitch_px) // axis.pitch_px)
    last = int((size - 1 + 0.3 * axis.pitch_px - axis.start_px) // axis.pitch_px)
    return np.asarray(axis.start_px + axis.pitch_px * np.arange(first, last + 1), dtype=np.float64)


def _near(lines: Profile, place: float) -> int:
    return int(np.argmin(np.abs(lines - place)))


_WORTH: Final = 0.6
"""How much of an edge must be seen for it to speak for a lattice and not against it."""


def _earned(seen: Profile) -> float:
    return float(np.where(seen >= _WORTH, (seen - _WORTH) / (1 - _WORTH), (seen - _WORTH) / _WORTH).sum())


def _seen(
    edges: Plane, lines: Profile, crossings: Profile, core: tuple[int, int, int, int], ruled: bool, least: float
) -> tuple[Profile, Profile]:
    """For each line and each stretch between two crossings, how much of it an edge runs along, 0 to 1; and how
    clearly: that, less what is seen along the middles of the cells beside it.

    Lettering is as full of edges between its "lines" as on them; a ruled cell is not. core: the lines and crossings
    between which the grid surely lies; what is typical there is the measure of an edge: the weaker edges of a ruled
    grid are its lines, the stronger ones of another are the borders of its marks.
    """
    step = float(lines[1] - lines[0])
    on_lines = seen_along(edges, lines)
    typical = stretches(on_lines, crossings, ALL_OF_IT)[core[0] : core[1] + 1, core[2] : core[3]]
    sure = max(least, 0.75 * float(np.percentile(typical, 10)) if ruled else float(np.percentile(typical, 85)))
    middles = np.append(lines - 0.5 * step, lines[-1] + 0.5 * step)
    seen = stretches(np.minimum(on_lines, sure) / sure, crossings)
    between = stretches(np.minimum(seen_along(edges, middles), sure) / sure, crossings)
    return seen, np.clip(1.15 * seen - 0.3 * (between[:-1] + between[1:]) - 0.1, 0, 1)


def _looks(view: View, xs: Profile, ys: Profile) -> Profile:
    """The mean ink inside each cell, (cells down, cells across)."""
    plane, total = view.plane, view.inks
    dx, dy = float(xs[1] - xs[0]), float(ys[1] - ys[0])
    left = np.clip(np.round(xs[:-1] + 0.2 * dx).astype(int), 0, plane.shape[1] - 1)
    right = np.clip(np.round(xs[1:] - 0.2 * dx).astype(int), left + 1, plane.shape[1])
    top = np.clip(np.round(ys[:-1] + 0.2 * dy).astype(int), 0, plane.shape[0] - 1)
    bottom = np.clip(np.round(ys[1:] - 0.2 * dy).astype(int), top + 1, plane.shape[0])
    sums = (
        total[np.ix_(bottom, right)]
        - total[np.ix_(top, right)]
        - total[np.ix_(bottom, left)]
        + total[np.ix_(top, left)]
    )
    return np.asarray(sums / np.outer(bottom - top, right - left))


_RULED: Final = 0.5
"""The share of the edges between cells that look alike at which a line must be seen for a grid to count as ruled."""
_UNBROKEN: Final = 0.9
"""How much of all edges must be seen for lines to be believed where no two neighbours look alike."""
_FEW_CELLS: Final = 12


def _is_ruled(inside_x: Profile, inside_y: Profile, looks: Profile, held: float) -> bool:
    """Whether lines are drawn: then they show between light cells that look alike, where nothing else makes an edge.

    inside_x: (lines across, cells down); inside_y: (lines down, cells across); looks: ink of each cell.
    held: the part of the picture's edges that lies inside; where few lines could tell, either all lines are seen, or
    hardly any edges may lie outside.
    """
    shown: list[Profile] = []
    for seen, before, after in (
        (inside_x[1:-1].T, looks[:, :-1], looks[:, 1:]),
        (inside_y[1:-1].T, looks[:-1].T, looks[1:].T),
    ):
        light = np.maximum(before, after) < 0.55
        shown.append(seen[(np.abs(before - after) < 0.08) & light])
        if _alternate(seen, light):
            return False
    outside = np.concatenate([inside_x[0], inside_x[-1], inside_y[0], inside_y[-1]])
    between = np.concatenate(shown)
    if float(outside.mean()) < _RULED:
        return False
    everything = (float(inside_x.sum()) + float(inside_y.sum())) / (inside_x.size + inside_y.size)
    if len(between) < 6 and looks.size < _FEW_CELLS and held < 0.6:
        return False  # a few blocks of an unruled picture that touch
    if len(between) < 6:  # of a chequer, say
        return everything >= _UNBROKEN or (held >= 0.85 and everything >= _RULED)
    return everything >= 0.4 and float(between.mean()) >= _RULED


_FAINTER: Final = 0.7


def _alternate(seen: Profile, light: npt.NDArray[np.bool_]) -> bool:
    """Whether every second line is far less seen than those between, as in a comb of half the pitch.

    seen: (stretches, lines); light: the stretches between light cells, where a line would be seen if there were one.
    """
    means = []
    for first in (0, 1):
        some = seen[:, first::2][light[:, first::2]]
        if len(some) < 6:
            return False
        means.append(float(some.mean()))
    return min(means) < _FAINTER * max(means)


def _held(view: View, lattice: Lattice) -> float:
    """The part of the picture's edges that lies inside the lattice."""
    height, width = view.plane.shape
    top, bottom = max(0, int(lattice.down.start_px) - 2), min(height, int(lattice.down.end_px) + 4)
    left, right = max(0, int(lattice.across.start_px) - 2), min(width, int(lattice.across.end_px) + 4)
    steps = view.steps
    inside = steps[bottom, right] - steps[top, right] - steps[bottom, left] + steps[top, left]
    return float(inside / steps[-1, -1]) if steps[-1, -1] > 0 else 0.0


def _explained(plane: Plane, lattice: Lattice) -> float:
    """The part of the edges inside the grid that lies on its lines, beyond what chance would put there."""
    top, bottom = max(0, int(lattice.down.start_px) - 1), int(lattice.down.end_px) + 2
    left, right = max(0, int(lattice.across.start_px) - 1), int(lattice.across.end_px) + 2
    parts = []
    inside = plane[top:bottom, left:right]
    grain = 3 * noise_of(inside)
    for way, axis, low in ((1, lattice.across, left), (0, lattice.down, top)):
        steps = np.square(np.maximum(np.abs(np.diff(inside, axis=way)) - grain, 0)).sum(axis=1 - way)
        place = (np.arange(len(steps)) + 1 + low - axis.start_px) / axis.pitch_px
        off = np.abs(place - np.round(place)) * axis.pitch_px
        reach = max(1.6, 0.1 * axis.pitch_px)
        chance = min(0.9, (2 * reach + 1) / axis.pitch_px)
        total = float(steps.sum())
        if total <= 0:
            return 0.0
        parts.append((float(steps[off <= reach].sum()) / total - chance) / (1 - chance))
    return min(parts)


_SKIPPED: Final = 0.65
"""How much may be seen, at most, along the middles of the cells, or along all their thirds or fifths."""


def skips_lines(view: View, lattice: Lattice) -> bool:
    """Whether lines run between those of the lattice as those of a grid of half, a third or a fifth of the pitch would:
    then the lines that were found are only the stronger ones, and the cells are not those."""
    height, width = view.plane.shape
    top, bottom = max(0, round(lattice.down.start_px)), min(height, round(lattice.down.end_px) + 1)
    left, right = max(0, round(lattice.across.start_px)), min(width, round(lattice.across.end_px) + 1)
    for edges, axis, low, high, other, least in (
        (view.upright, lattice.across, top, bottom, lattice.down, view.sure[0]),
        (view.level, lattice.down, left, right, lattice.across, view.sure[1]),
    ):
        crossings = other.start_px - low + other.pitch_px * np.arange(other.cells + 1)
        lines = axis.start_px + axis.pitch_px * np.arange(axis.cells + 1)
        on_lines = seen_along(edges[:, low:high], lines)
        sure = max(least, 0.75 * float(np.percentile(stretches(on_lines, crossings, ALL_OF_IT), 25)))
        for parts in (2, 3, 5):
            seen = 1.0
            for part in range(1, parts):
                inside = lines[:-1] + part / parts * axis.pitch_px
                between = stretches(seen_along(edges[:, low:high], inside), crossings)
                seen = min(seen, float((np.minimum(between, sure) / sure).mean()))
            if axis.cells > 1 and seen >= _SKIPPED:
                return True
    return False

"""Where the cells of a charted picture lie: how far it is turned, and the lattice of its lines.

Works on ink (0 paper, 1 black) alone and knows nothing of what the cells mean.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.picture import Pixels, Plane

Profile = npt.NDArray[np.float64]
"""How much of an edge runs along each column (or row) of pixels."""

MOST_TURNED_DEG: Final = 5.0
"""A picture turned farther than this is not set straight."""
LEAST_PITCH_PX: Final = 4.0
"""Cells narrower than this are not told from their lines."""


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


# -- straightening ------------------------------------------------------------------------------------------------


def turned_by(plane: Plane) -> float:
    """By how many degrees the picture's lines are turned clockwise, from -5 to 5; 0 where none are found.

    Edges are thrown onto a line at each angle; where they fall into the fewest places, the picture is straight.
    """
    height, width = plane.shape
    smaller = max(1, round(max(height, width) / 1400))
    if smaller > 1:
        plane = plane[: height // smaller * smaller, : width // smaller * smaller]
        plane = plane.reshape(plane.shape[0] // smaller, smaller, -1, smaller).mean(axis=(1, 3))
    soft = ndimage.gaussian_filter(plane, 1.0)
    rise_x, rise_y = ndimage.sobel(soft, axis=1), ndimage.sobel(soft, axis=0)
    steep = np.hypot(rise_x, rise_y)
    floor = max(0.05, float(np.percentile(steep, 70)))
    upright = _points(np.abs(rise_x), (steep > floor) & (np.abs(rise_x) > 3 * np.abs(rise_y)))
    level = _points(np.abs(rise_y), (steep > floor) & (np.abs(rise_y) > 3 * np.abs(rise_x)))
    if len(upright[0]) + len(level[0]) < 60:
        return 0.0

    def gathered(degrees: float) -> float:
        sine, cosine = np.sin(np.radians(degrees)), np.cos(np.radians(degrees))
        total = 0.0
        for (x, y, weight), (a, b) in ((upright, (cosine, sine)), (level, (-sine, cosine))):
            if len(x):
                place = a * x + b * y
                low = np.floor(place - place.min()).astype(np.int64)
                part = (place - place.min()) - low
                heap = np.bincount(low, weight * (1 - part), low.max() + 2) + np.bincount(
                    low + 1, weight * part, low.max() + 2
                )
                total += float((heap * heap).sum())
        return total

    best, step = 0.0, 0.25
    angles = np.arange(-MOST_TURNED_DEG, MOST_TURNED_DEG + step / 2, step)
    while step > 0.004:
        scores = [gathered(float(angle)) for angle in angles]
        best = float(angles[int(np.argmax(scores))])
        step /= 5
        angles = best + np.arange(-6, 7) * step
    return best if abs(best) <= MOST_TURNED_DEG else 0.0


def _points(strength: Plane, chosen: npt.NDArray[np.bool_]) -> tuple[Profile, Profile, Profile]:
    y, x = np.nonzero(chosen)
    if len(x) > 60_000:
        some = np.random.default_rng(0).choice(len(x), 60_000, replace=False)
        x, y = x[some], y[some]
    return x.astype(np.float64), y.astype(np.float64), np.minimum(strength[y, x], 1.0).astype(np.float64)


def straightened(pixels: Pixels, degrees: float, paper: tuple[int, int, int]) -> Pixels:
    """The picture turned back by so many degrees, on a sheet large enough, the corners filled with paper."""
    from PIL import Image

    image = Image.fromarray(pixels)
    turned = image.rotate(degrees, resample=Image.Resampling.BICUBIC, expand=True, fillcolor=paper)
    return np.asarray(turned)


def in_the_original(
    x: float, y: float, degrees: float, turned_shape: tuple[int, ...], original_shape: tuple[int, ...]
) -> tuple[float, float]:
    """Where a point of the straightened picture lies in the picture as it was given."""
    sine, cosine = np.sin(np.radians(degrees)), np.cos(np.radians(degrees))
    dx, dy = x - turned_shape[1] / 2, y - turned_shape[0] / 2
    return (
        float(cosine * dx - sine * dy + original_shape[1] / 2),
        float(sine * dx + cosine * dy + original_shape[0] / 2),
    )


# -- the lattice --------------------------------------------------------------------------------------------------


def find_lattice(plane: Plane, cells: tuple[int, int] | None = None) -> Lattice | None:
    """The lattice of a straight picture, or None where there is none that can be trusted.

    Looked for first where ink hangs together, as the lines of a grid do and letters do not, then in the whole picture.
    Each direction proposes some combs of lines by itself; a pair of them is then judged edge of cell by edge of cell,
    so that lettering beside the grid, or marks inside the cells, are not taken for lines.
    cells: how many the user says there are across and down; lattices with other counts are then passed over.
    """
    smaller = math.ceil(math.sqrt(plane.size / _LOOKED_AT))
    if smaller > 1:
        found = _searched(_reduced(plane, smaller), cells)
        if found is not None and min(found.across.pitch_px, found.down.pitch_px) >= _ROOMY_PX:
            return _settled(plane, found.grown(smaller))
    found = _searched(plane, cells)
    return None if found is None else _settled(plane, found)


_LOOKED_AT: Final = 2_500_000
"""Pixels in which a grid is looked for; larger pictures are made smaller for it, unless their cells are then small."""
_ROOMY_PX: Final = 9.0


def _reduced(plane: Plane, by: int) -> Plane:
    height, width = plane.shape[0] // by * by, plane.shape[1] // by * by
    return np.asarray(plane[:height, :width].reshape(height // by, by, width // by, by).mean(axis=(1, 3)))


def _searched(plane: Plane, cells: tuple[int, int] | None) -> Lattice | None:
    noise = _noise(plane)
    (upright, sure_x), (level, sure_y) = _edges(plane, 1, noise), _edges(plane, 0, noise)
    sure = sure_x, sure_y
    whole = _View.of(plane, upright, level, sure)
    best: tuple[float, Lattice] | None = None
    for left, top, right, bottom in [*_regions(plane, noise), (0, 0, plane.shape[1], plane.shape[0])]:
        here = slice(top, bottom), slice(left, right)
        view = whole if upright[here].shape == plane.shape else _View.of(plane[here], upright[here], level[here], sure)
        found = _best_pair(view, cells)
        if found is not None and view is not whole:
            # lines that grain or blur has cut may go on beyond what hangs together
            lattice = _measured_again(upright, level, sure, found[1].moved(left, top))
            found = _judged(whole, lattice.across, lattice.down)
            if found is not None and cells is not None and found[1].size != cells:
                found = None
        if found is not None and (best is None or found[0] > best[0]):
            best = found
            if found[1].ruled and found[1].across.share >= _SURELY:
                break
    if best is None:
        return None
    lattice = best[1]
    for _ in range(8):  # lines measured over all that was found fall nearer to those farther out
        measured = _measured_again(upright, level, sure, lattice)
        wider = _judged(whole, measured.across, measured.down)
        if wider is None or (cells is not None and wider[1].size != cells):
            break
        settled = wider[1].size == lattice.size
        lattice = wider[1]
        if settled:
            break
    return replace(lattice, doubtful=lattice.ruled and _skips_lines(whole, lattice))


_SKIPPED: Final = 0.65
"""How much may be seen, at most, along the middles of the cells, or along all their thirds or fifths."""


def _skips_lines(view: _View, lattice: Lattice) -> bool:
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
        on_lines = _along(edges[:, low:high], lines)
        sure = max(least, 0.75 * float(np.percentile(_stretches(on_lines, crossings, _ALL), 25)))
        for parts in (2, 3, 5):
            seen = 1.0
            for part in range(1, parts):
                inside = lines[:-1] + part / parts * axis.pitch_px
                between = _stretches(_along(edges[:, low:high], inside), crossings)
                seen = min(seen, float((np.minimum(between, sure) / sure).mean()))
            if axis.cells > 1 and seen >= _SKIPPED:
                return True
    return False


_SURELY: Final = 0.85
"""The mean of what is seen of a ruled grid's edges from which nothing better is looked for elsewhere."""


def _best_pair(view: _View, cells: tuple[int, int] | None) -> tuple[float, Lattice] | None:
    # clipped low, so that a faint line that runs through counts for more than a black spot
    columns = np.minimum(view.upright, view.sure[0]).mean(axis=1) / view.sure[0]
    rows = np.minimum(view.level, view.sure[1]).mean(axis=1) / view.sure[1]
    combs_across = _combs(columns)
    combs_down = _combs(rows, combs_across)
    combs_across += [comb for comb in _combs(columns, combs_down) if comb not in combs_across]
    best: tuple[float, Lattice] | None = None

    def consider(across: Axis, down: Axis) -> bool:
        nonlocal best
        if not 0.4 < across.pitch_px / down.pitch_px < 2.5:
            return False
        found = _judged(view, across, down)
        if found is None or (cells is not None and found[1].size != cells):
            return False
        if best is None or found[0] > best[0]:
            best = found
            return True
        return False

    for across in combs_across:
        for down in combs_down:
            consider(across, down)
    for _ in range(3):  # a comb of few lines is bent by a heavy one at its end; within the grid more is seen
        if best is None or not best[1].ruled:
            break
        again = _measured_again(view.upright.T, view.level, view.sure, best[1])
        if not consider(again.across, again.down):
            break
    if best is not None and best[1].ruled:  # where each fifth line is heavier, those may have been found alone
        coarse = best[1]
        for finer_across, finer_down in ((2, 2), (5, 5), (2, 1), (1, 2), (5, 1), (1, 5)):
            across, down = _finer(coarse.across, finer_across), _finer(coarse.down, finer_down)
            if min(across.pitch_px, down.pitch_px) >= LEAST_PITCH_PX:
                consider(across, down)
    return best


def _finer(axis: Axis, times: int) -> Axis:
    return replace(axis, pitch_px=axis.pitch_px / times, cells=axis.cells * times)


def _regions(plane: Plane, noise: float) -> list[tuple[int, int, int, int]]:
    """Left, top, right and bottom of the two largest pieces of ink that hang together, with a little room around."""
    labels, count = ndimage.label(plane > max(0.12, 4 * noise), structure=np.ones((3, 3), dtype=int))
    if count == 0:
        return []
    boxes = [box for box in ndimage.find_objects(labels) if box is not None]
    sized = sorted(
        (((box[1].stop - box[1].start) * (box[0].stop - box[0].start), box) for box in boxes), key=lambda pair: -pair[0]
    )
    found = []
    for area, box in sized[:2]:
        height, width = box[0].stop - box[0].start, box[1].stop - box[1].start
        if min(height, width) < 2 * LEAST_PITCH_PX or not 0.01 * plane.size < area < 0.9 * plane.size:
            continue
        room = 6
        found.append(
            (
                max(0, box[1].start - room),
                max(0, box[0].start - room),
                min(plane.shape[1], box[1].stop + room),
                min(plane.shape[0], box[0].stop + room),
            )
        )
    return found


_RULED: Final = 0.5
"""The share of the edges between cells that look alike at which a line must be seen for a grid to count as ruled."""
_UNBROKEN: Final = 0.9
"""How much of all edges must be seen for lines to be believed where no two neighbours look alike."""
_OUTERMOST: Final = 0.64
"""How well the outermost cells of a ruled grid must be seen to have lines around them."""


def _judged(view: _View, across: Axis, down: Axis) -> tuple[float, Lattice] | None:
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
        bounds = _bounds(clear_x, clear_y, core, inks if ruled else None)
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


@dataclass(frozen=True)
class _View:
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
    def of(cls, plane: Plane, upright: Plane, level: Plane, sure: tuple[float, float]) -> _View:
        steps = np.zeros_like(plane)
        for way, inner in ((0, (slice(1, None), slice(None))), (1, (slice(None), slice(1, None)))):
            rise = np.diff(plane, axis=way)
            steps[inner] += np.where(np.abs(rise) > 0.06, rise * rise, 0)
        return cls(plane, np.ascontiguousarray(upright.T), level, _summed(plane), _summed(steps), sure)


def _summed(plane: Plane) -> Profile:
    total = np.zeros((plane.shape[0] + 1, plane.shape[1] + 1))
    np.cumsum(np.cumsum(plane, axis=0, dtype=np.float64), axis=1, out=total[1:, 1:])
    return total


def _held(view: _View, lattice: Lattice) -> float:
    """The part of the picture's edges that lies inside the lattice."""
    height, width = view.plane.shape
    top, bottom = max(0, int(lattice.down.start_px) - 2), min(height, int(lattice.down.end_px) + 4)
    left, right = max(0, int(lattice.across.start_px) - 2), min(width, int(lattice.across.end_px) + 4)
    steps = view.steps
    inside = steps[bottom, right] - steps[top, right] - steps[bottom, left] + steps[top, left]
    return float(inside / steps[-1, -1]) if steps[-1, -1] > 0 else 0.0


def _looks(view: _View, xs: Profile, ys: Profile) -> Profile:
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


_WORTH: Final = 0.6
"""How much of an edge must be seen for it to speak for a lattice and not against it."""


def _earned(seen: Profile) -> float:
    return float(np.where(seen >= _WORTH, (seen - _WORTH) / (1 - _WORTH), (seen - _WORTH) / _WORTH).sum())


def _bounds(
    seen_x: Profile, seen_y: Profile, core: tuple[int, int, int, int], inks: Profile | None
) -> tuple[int, int, int, int] | None:
    """Left, right, top and bottom line of the grid, by turns: the columns that its level lines cross, and so on.

    A column of numbers beside a grid may look like a line, but no level lines run through it.
    inks: of a ruled grid, the mean ink inside each cell, (cells down, cells across).
    """
    left, right, top, bottom = core
    for _ in range(6):
        before = left, right, top, bottom
        if right <= left or bottom <= top:
            return None
        if inks is not None:
            crossed, lines = seen_y[top : bottom + 1].mean(axis=0), seen_x[:, top:bottom].mean(axis=1)
            left, right = _cells_run(crossed, lines, inks[top:bottom].mean(axis=0), left, right)
            if right > left:
                crossed, lines = seen_x[left : right + 1].mean(axis=0), seen_y[:, left:right].mean(axis=1)
                top, bottom = _cells_run(crossed, lines, inks[:, left:right].mean(axis=1), top, bottom)
        else:
            left, right = _run(seen_x[:, top:bottom].mean(axis=1), left, right, 0.05, _MOST_MISSED)
            if right > left:
                top, bottom = _run(seen_y[:, left:right].mean(axis=1), top, bottom, 0.05, _MOST_MISSED)
        if (left, right, top, bottom) == before:
            break
    return (left, right, top, bottom) if right > left and bottom > top else None


def _all_lines(axis: Axis, size: int) -> Profile:
    """Where the comb's lines are when it is carried on to both ends of the picture."""
    first = -int((axis.start_px + 0.3 * axis.pitch_px) // axis.pitch_px)
    last = int((size - 1 + 0.3 * axis.pitch_px - axis.start_px) // axis.pitch_px)
    return np.asarray(axis.start_px + axis.pitch_px * np.arange(first, last + 1), dtype=np.float64)


def _near(lines: Profile, place: float) -> int:
    return int(np.argmin(np.abs(lines - place)))


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
    on_lines = _along(edges, lines)
    typical = _stretches(on_lines, crossings, _ALL)[core[0] : core[1] + 1, core[2] : core[3]]
    sure = max(least, 0.75 * float(np.percentile(typical, 10)) if ruled else float(np.percentile(typical, 85)))
    middles = np.append(lines - 0.5 * step, lines[-1] + 0.5 * step)
    seen = _stretches(np.minimum(on_lines, sure) / sure, crossings)
    between = _stretches(np.minimum(_along(edges, middles), sure) / sure, crossings)
    return seen, np.clip(1.15 * seen - 0.3 * (between[:-1] + between[1:]) - 0.1, 0, 1)


def _along(edges: Plane, lines: npt.NDArray[np.floating]) -> npt.NDArray[np.floating]:
    """The edges along each line, (lines, pixels): the strongest within a small reach, lines being a little crooked.

    edges: the first axis is the one that the lines are numbered along.
    """
    reach = max(1, math.ceil(0.06 * float(lines[1] - lines[0]))) if len(lines) > 1 else 1
    size = len(edges)
    return np.stack(
        [
            edges[max(0, min(size - 1, round(place)) - reach) : max(1, round(place) + reach + 1)].max(axis=0)
            for place in lines.tolist()
        ]
    )


_PARTS: Final = (0.05, 0.20, 0.50, 0.80, 0.95)
_ALL: Final = (0.05, 0.95)


def _stretches(
    along: npt.NDArray[np.floating], crossings: npt.NDArray[np.floating], parts_of: tuple[float, ...] = _PARTS
) -> Profile:
    """What is seen along each stretch between two crossings, (lines, stretches): the least of its parts, since a line
    runs from end to end, and a mark stands in the middle."""
    total = np.concatenate([np.zeros((len(along), 1)), np.cumsum(along, axis=1, dtype=np.float64)], axis=1)
    step = float(crossings[1] - crossings[0])
    size = along.shape[1]
    cuts = [np.clip(np.round(crossings[:-1] + part * step).astype(int), 0, size) for part in parts_of]
    parts = []
    for first, last in pairwise(cuts):
        start = np.minimum(first, size - 1)
        end = np.maximum(last, start + 1)
        parts.append((total[:, end] - total[:, start]) / (end - start))
    return np.asarray(np.minimum.reduce(parts))


def _run(shares: Profile, first: int, last: int, least: float, most_missed: int) -> tuple[int, int]:
    """The stretch about the one from first to last whose outermost members are seen well enough.

    Members inside may be unseen for a while: between equally dark cells there may be nothing to see.
    """
    good = np.flatnonzero(shares >= max(least, 0.02))
    if len(good) < 1:
        return 0, -1
    middle = (first + last) / 2
    stretches = np.split(good, np.flatnonzero(np.diff(good) > most_missed) + 1)
    holding = [part for part in stretches if part[0] <= middle <= part[-1]] or stretches
    longest = max(holding, key=lambda part: float(shares[part].sum()))
    return int(longest[0]), int(longest[-1])


_BARE: Final = 0.3
"""How much of the lines through light cells is seen where there are none: the grid ends there."""


def _cells_run(crossed: Profile, lines: Profile, inks: Profile, first: int, last: int) -> tuple[int, int]:
    """First and last line of the cells that have lines around them.

    crossed: for each cell, how well the lines that run through its ends are seen; lines: how well each line across is;
    inks: how dark each cell is inside.
    """
    typical = float(np.median(crossed[first:last]))
    bare = np.flatnonzero((crossed < _BARE * typical) & (inks < 0.35))
    if len(bare):  # a strip that stands a few cells away from the grid is none of it
        ends = np.concatenate([[-1], bare, [len(crossed)]])
        widest = int(np.argmax([min(end, last) - max(start + 1, first) for start, end in pairwise(ends.tolist())]))
        low, high = int(ends[widest]) + 1, int(ends[widest + 1])
        if high <= low:
            return 0, 0
        inner = max(first, low) - low, min(last, high) - low
        if inner[1] <= inner[0]:
            return 0, 0
        left, right = _shut_run(crossed[low:high], lines[low : high + 1], *inner)
        return left + low, right + low
    return _shut_run(crossed, lines, first, last)


_THROUGH: Final = 0.85


def _shut_run(crossed: Profile, lines: Profile, first: int, last: int) -> tuple[int, int]:
    left_shut = 0.35 * crossed + 0.65 * lines[:-1]
    right_shut = 0.35 * crossed + 0.65 * lines[1:]
    shut = np.maximum(left_shut, right_shut)
    least = min(_OUTERMOST, 0.75 * float(np.median(shut[first:last])))
    begin, end = _run(shut, first, last - 1, least, 2)
    # lines that run all through an outermost cell show that it is one, where its own outer line is faint or cut off
    through = crossed >= _THROUGH * float(np.median(crossed[first:last]))
    begins = np.flatnonzero((through | (left_shut >= least))[begin : end + 1])
    ends = np.flatnonzero((through | (right_shut >= least))[begin : end + 1])
    if not len(begins) or not len(ends):
        return 0, 0
    return begin + int(begins[0]), begin + int(ends[-1]) + 1


def _explained(plane: Plane, lattice: Lattice) -> float:
    """The part of the edges inside the grid that lies on its lines, beyond what chance would put there."""
    top, bottom = max(0, int(lattice.down.start_px) - 1), int(lattice.down.end_px) + 2
    left, right = max(0, int(lattice.across.start_px) - 1), int(lattice.across.end_px) + 2
    parts = []
    inside = plane[top:bottom, left:right]
    grain = 3 * _noise(inside)
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


def _settled(plane: Plane, lattice: Lattice) -> Lattice:
    """The lines' places measured once more in the whole picture."""
    noise = _noise(plane)
    (upright, sure_x), (level, sure_y) = _edges(plane, 1, noise), _edges(plane, 0, noise)
    return _measured_again(upright, level, (sure_x, sure_y), lattice)


def _measured_again(upright: Plane, level: Plane, sure: tuple[float, float], lattice: Lattice) -> Lattice:
    """The lines' places measured within the grid alone."""
    top, bottom = max(0, round(lattice.down.start_px)), round(lattice.down.end_px) + 1
    left, right = max(0, round(lattice.across.start_px)), round(lattice.across.end_px) + 1
    across = _measured(np.minimum(upright[top:bottom], sure[0]).mean(axis=0), lattice.across)
    down = _measured(np.minimum(level[:, left:right], sure[1]).mean(axis=1), lattice.down)
    return Lattice(across, down, lattice.ruled, lattice.doubtful)


def _measured(profile: npt.NDArray[np.floating], axis: Axis) -> Axis:
    soft = ndimage.gaussian_filter1d(np.asarray(profile, dtype=np.float64), max(0.8, min(2.0, 0.05 * axis.pitch_px)))
    reach = max(1.5, 0.12 * axis.pitch_px)
    numbers, places, weights = [], [], []
    for number in range(axis.cells + 1):
        expected = axis.start_px + axis.pitch_px * number
        low, top = max(0, round(expected - reach)), min(len(soft), round(expected + reach) + 1)
        if top - low < 1:
            continue
        window = soft[low:top]
        at = int(np.argmax(window))
        numbers.append(float(number))
        places.append(low + _summit(window, at))
        weights.append(float(window[at]) + 1e-9)
    if len(numbers) < 2:
        return axis
    slope, start = _fitted(np.array(numbers), np.array(places), np.sqrt(weights), axis.pitch_px)
    if abs(slope - axis.pitch_px) * axis.cells > 0.5 * axis.pitch_px:
        return axis
    return Axis(float(start), float(slope), axis.cells, axis.share)


Side = Literal["left", "right", "top", "bottom"]

_CLOSED: Final = 0.25
"""How much of the outermost line must be seen, of what is seen of the next ones, for it to be there."""
_RUNS_ON: Final = 0.6


def frayed(plane: Plane, lattice: Lattice) -> list[tuple[Side, bool]]:
    """The sides at which a ruled grid has no outermost line, or (True) at which its lines run on into less than a
    cell, to the picture's edge."""
    found: list[tuple[Side, bool]] = []
    across, down = lattice.across, lattice.down
    noise = _noise(plane)
    sides: tuple[tuple[Side, Plane, Axis, Axis], ...] = (
        ("top", plane, down, across),
        ("bottom", plane[::-1], _from_the_end(down, plane.shape[0]), across),
        ("left", plane.T, across, down),
        ("right", plane[:, ::-1].T, _from_the_end(across, plane.shape[1]), down),
    )
    for side, seen, axis, other in sides:
        first = round(other.start_px), round(other.end_px) + 1
        strip = seen[: max(0, round(axis.start_px + 3.4 * axis.pitch_px)), max(0, first[0]) : first[1]]
        crossings = other.start_px - max(0, first[0]) + other.pitch_px * np.arange(other.cells + 1)
        if axis.cells < 3 or other.cells < 2 or min(strip.shape) < 3 * LEAST_PITCH_PX:
            continue
        edges, least = _edges(strip, 0, noise)
        lines = _stretches(_along(edges, axis.start_px + axis.pitch_px * np.arange(4)), crossings, _ALL)
        sure = max(least, 0.75 * float(np.median(lines[1:])))
        if float((np.minimum(lines[0], sure) / sure).mean()) < _CLOSED:
            found.append((side, False))
        room = round(axis.start_px - 0.12 * axis.pitch_px)
        if 0.2 * axis.pitch_px <= axis.start_px <= 0.97 * axis.pitch_px and room > 2:
            edges, least = _edges(strip[:room], 1, noise)
            inside, _ = _edges(strip[round(axis.start_px) + 2 : round(axis.start_px + axis.pitch_px) - 1], 1, noise)
            beyond = _along(edges.T, crossings).mean(axis=1)
            within = max(least, 0.75 * float(np.median(_along(inside.T, crossings).mean(axis=1))))
            if float((np.minimum(beyond, within) / within).mean()) >= _RUNS_ON:
                found.append((side, True))
    return found


def _from_the_end(axis: Axis, size: int) -> Axis:
    return replace(axis, start_px=size - 1 - axis.end_px)


def _fitted(numbers: Profile, places: Profile, weights: Profile, pitch_px: float) -> tuple[float, float]:
    """Slope and start of the straight line through the places, those left out that lie off what most agree on: of a
    heavy line around the grid, the nearer or the farther edge may have been taken."""
    slope, start = np.polyfit(numbers, places, 1, w=weights)
    if len(numbers) >= _ENOUGH_LINES:
        step = max(1, len(numbers) // 100)
        some, there = numbers[::step], places[::step]
        i, j = np.triu_indices(len(some), 1)
        common = float(np.median((there[j] - there[i]) / (some[j] - some[i])))
        off = np.abs(places - common * numbers - np.median(places - common * numbers))
        near = off <= max(0.75, 0.03 * pitch_px)
        if near.sum() >= max(_ENOUGH_LINES - 1, 0.6 * len(numbers)):
            slope, start = np.polyfit(numbers[near], places[near], 1, w=weights[near])
    return float(slope), float(start)


_ENOUGH_LINES: Final = 5
"""Lines from which some can be told to lie off the others."""


def _noise(plane: Plane) -> float:
    """The height of the grain: a robust standard deviation of each pixel against its neighbours' mean."""
    some = plane[: min(plane.shape[0], 1500), : min(plane.shape[1], 1500)]
    difference = some[1:, 1:] - some[:-1, :-1]
    return float(np.median(np.abs(difference))) / 0.6745 / 1.414


def _edges(plane: Plane, axis: int, noise: float) -> tuple[Plane, float]:
    """Lines and edges across `axis`: steps from pixel to pixel, and pixels unlike those at both sides.

    Softened along the line, so that grain counts for little. Second, the strength from which an edge is surely none
    of the grain's.
    """
    along = 1 - axis
    size = 1 if noise < 0.002 else min(7, max(3, plane.shape[along] // 16))
    soft = ndimage.uniform_filter1d(plane, size, axis=along)
    padded = np.pad(soft, [(4, 4) if way == axis else (0, 0) for way in (0, 1)], mode="edge")

    def beside(offset: int) -> Plane:
        window = [slice(None), slice(None)]
        window[axis] = slice(4 + offset, padded.shape[axis] - 4 + offset)
        return np.asarray(padded[tuple(window)])

    found = np.abs(beside(0) - beside(-1))
    np.maximum(found, 0.7 * np.abs(beside(1) - beside(-1)), out=found)
    ridge = np.abs(soft - 0.5 * (beside(-2) + beside(2)))
    opposed = (soft - beside(-2)) * (soft - beside(2)) > 0
    np.maximum(found, np.where(opposed, ridge, 0), out=found)
    # a blurred line is as wide as this; only darker ones, since the middle of a small cell lies between its lines
    wide = soft - np.maximum(beside(-4), beside(4))
    np.maximum(found, 0.7 * wide, out=found)
    grain = noise / np.sqrt(size) * 1.4
    return found.astype(np.float32), max(0.03, 4.5 * grain)


_MOST_COMBS: Final = 6


def _combs(profile: npt.NDArray[np.floating], others: list[Axis] | None = None) -> list[Axis]:
    """Some combs of lines that may explain the profile, the best first.

    Distances between lines are proposed by the profile's correlation with itself at several softnesses; for each, the
    comb grows from a strong line to both sides, line by line, so that a small error in the distance does not add up.
    others: the other direction's combs; cells are about square, and a single row of cells shows no period of its own.
    """
    raw = np.asarray(profile, dtype=np.float64)
    if len(raw) < 2 * LEAST_PITCH_PX:
        return []
    scored: list[tuple[float, Axis]] = []
    for softness in (0.8, 2.0):
        soft = ndimage.gaussian_filter1d(raw, softness, mode="constant")
        soft = np.maximum(soft - np.percentile(soft, 15), 0)
        if soft.max() <= 1e-6:
            return []
        tried: list[float] = []
        for axis in others or []:
            if softness <= 0.2 * axis.pitch_px:
                scored += _grown(soft, axis.pitch_px, held=True)
        for pitch in _proposals(soft, max(LEAST_PITCH_PX, 3 * softness)):
            if softness > 0.2 * pitch or any(abs(other - pitch) < 0.01 * pitch for other in tried):
                continue
            tried.append(pitch)
            scored += _grown(soft, pitch)
    scored.sort(key=lambda pair: -pair[0])
    kept: list[Axis] = []
    for _, axis in scored:
        if not any(_alike(axis, other) for other in kept):
            kept.append(axis)
        if len(kept) == _MOST_COMBS:
            break
    return kept


def _alike(one: Axis, two: Axis) -> bool:
    """Whether two combs have the same lines, as far as they go."""
    if abs(one.pitch_px - two.pitch_px) * max(one.cells, two.cells) > 0.3 * one.pitch_px:
        return False
    apart = (one.start_px - two.start_px) / one.pitch_px
    return abs(apart - round(apart)) < 0.12


def _proposals(soft: Profile, least: float) -> list[float]:
    """Distances at which the profile is like itself, the likeliest first."""
    size = len(soft)
    even = soft - soft.mean()
    spectrum = np.fft.rfft(even, 2 * size)
    alike = np.fft.irfft(spectrum * np.conj(spectrum))[:size]
    if alike[0] <= 0:
        return []
    alike = alike / alike[0]
    inner = alike[1:-1]
    peaks = np.flatnonzero((inner > alike[:-2]) & (inner >= alike[2:]) & (inner > 0.08)) + 1
    peaks = peaks[peaks >= least - 0.5]
    order = peaks[np.argsort(-alike[peaks])][:8]
    found = []
    for lag in order.tolist():
        a, b, c = alike[lag - 1], alike[lag], alike[lag + 1]
        bend = a - 2 * b + c
        found.append(lag + (0.5 * (a - c) / bend if bend < 0 else 0.0))
    smallest = peaks[:3].tolist()
    return found + [float(lag) for lag in smallest if all(abs(lag - f) > 1 for f in found)]


def _grown(soft: Profile, pitch: float, held: bool = False) -> list[tuple[float, Axis]]:
    """Combs grown from the strongest lines, each with how much of the profile it explains before it.

    held: the pitch is known, and lines that would bend it (of lettering) are none of the comb's.
    """
    found = []
    peaks = _peaks(soft)
    if len(peaks) < 2:
        return []
    high = float(np.percentile(soft[peaks], 90))
    strongest = peaks[np.argsort(-soft[peaks])][:3]
    for start in strongest.tolist():
        grown = _grow(soft, float(start), pitch, held, high)
        if grown is not None:
            found.append(grown)
    return found


def _peaks(soft: Profile) -> npt.NDArray[np.int64]:
    padded = np.concatenate([[-1.0], soft, [-1.0]])
    return np.flatnonzero((padded[1:-1] > padded[:-2]) & (padded[1:-1] >= padded[2:]) & (soft > 0)).astype(np.int64)


_MOST_MISSED: Final = 6
"""Lines in succession that may be unseen (between equally dark cells, say) before a comb ends."""


def _grow(soft: Profile, start: float, pitch: float, held: bool, high: float) -> tuple[float, Axis] | None:
    size = len(soft)
    reach = max(1.0, (0.06 if held else 0.12) * pitch)
    enough = 0.3 * high
    line = _Line(pitch, held)
    line.add(0, start)
    heights: dict[int, float] = {0: float(soft[round(start)])}
    typical = heights[0]
    for direction in (1, -1):
        missed, number = 0, 0
        while missed <= _MOST_MISSED:
            number += direction
            expected = line.at(number)
            low, top = max(0, round(expected - reach)), min(size, round(expected + reach) + 1)
            if not -reach <= expected <= size - 1 + reach or top <= low:
                break
            window = soft[low:top]
            at = int(window.argmax())
            height = float(window[at])
            if height >= max(enough, 0.3 * typical):
                line.add(number, low + _summit(window, at))
                heights[number] = height
                typical += (height - typical) / min(len(heights), 12)
                missed = 0
            else:
                missed += 1
    first, last = min(heights), max(heights)
    count = last - first
    if count < 1:
        return None
    spacing = line.at(1) - line.at(0)
    # what lies between the lines, away from them
    between = []
    for number in range(first, last):
        left = line.at(number)
        window = soft[max(0, round(left + 0.25 * spacing)) : round(left + 0.75 * spacing) + 1]
        if len(window):
            between.append(float(window.max()))
    typical = float(np.median(list(heights.values())))
    noise = float(np.mean(between)) if between else 0.0
    seen = len(heights)
    missing = count + 1 - seen
    score = sum(min(height, high) for height in heights.values()) - 0.7 * missing * typical - 0.8 * noise * count
    return score, Axis(line.at(first), spacing, count, seen / (count + 1))


@dataclass
class _Line:
    """A straight line through the places of numbered lines; `held` keeps the pitch that it was given."""

    pitch: float
    held: bool
    count: int = 0
    numbers: float = 0.0
    places: float = 0.0
    squares: float = 0.0
    products: float = 0.0

    def add(self, number: int, place: float) -> None:
        if self.held and self.count:
            return
        self.count += 1
        self.numbers += number
        self.places += place
        self.squares += number * number
        self.products += number * place

    def at(self, number: int) -> float:
        """Where the line of this number should be."""
        mean, middle = self.places / self.count, self.numbers / self.count
        if self.count == 1:
            return mean + self.pitch * (number - middle)
        spread = self.squares - self.count * middle * middle
        along = self.products - self.count * middle * mean
        # the proposed pitch counts as a few lines do at first, so that two near ones can't bend it
        weight = 4.0 if self.count < 5 else 0.0
        return mean + (along + weight * self.pitch) / (spread + weight) * (number - middle)


def _summit(window: Profile, at: int) -> float:
    if 0 < at < len(window) - 1:
        a, b, c = window[at - 1], window[at], window[at + 1]
        bend = a - 2 * b + c
        if bend < 0:
            return at + float(0.5 * (a - c) / bend)
    return float(at)

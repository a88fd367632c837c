"""The lattice of a straight picture, found by its edges: rows of cells across and down, paired, judged and doubted."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np

from stitchc.trace.grid.chains import LEAST_CELLS, LEAST_PITCH_PX, chains, even_chains, pitches_of, settled
from stitchc.trace.grid.edges import Shares, Sight, Spans
from stitchc.trace.grid.judging import Chain, Judged, Pair
from stitchc.trace.grid.lattice import Axis, Lattice, Side
from stitchc.trace.picture import Pixels

_LOOKED_AT: Final = 1_000_000
"""Pixels in which cells are looked for; larger pictures are made smaller for it, unless their cells are then small."""
_ROOMY_PX: Final = 8.0
_OBLONG: Final = 2.5
"""How many times longer than wide a cell may be."""
_WELL_SEEN: Final = {False: 0.97, True: 0.9}
"""The least that is seen of lines, in clear and in soft pictures."""
_SEEN_BEYOND_DOUBT: Final = {False: 0.9, True: 0.8}
_ALL_ALIKE: Final = 0.02
"""The same where, in soft pictures, nothing else explains nearly as much and, in clear ones, all cells of a look are
alike: a line may have been left out."""
_MOST_STRANGE: Final = {False: 0.4, True: 0.6}
_MOST_STRANGE_UNRULED: Final = 0.05
"""The most that cells may be unlike a few looks, in clear and in soft pictures, and where no lines are drawn."""


class _Look(NamedTuple):
    """A way to look at a picture. reach: how wide edges may be, in px; even: whether cells of exactly one size are
    tried; faint: whether edges are smoothed far along themselves; worn: whether lines are seen in parts only."""

    reach: int
    even: bool = False
    faint: bool = False
    worn: bool = False


_CLEAR: Final = (_Look(1), _Look(2), _Look(1, even=True), _Look(4, even=True), _Look(8, even=True))
_GRAINY: Final = (_Look(2), _Look(2, faint=True), _Look(2, faint=True, worn=True), _Look(4, even=True))
"""One after the other. The widest are for cells that are filled with dots or hatching."""
_SECOND_LOOK: Final = 4
"""The width at which cells without lines are looked at again, where some were found: seams and dots are not seen."""
_REACHES: Final = 1.5
"""How many times as wide as the edges that are looked at cells without lines are, at least."""
_FEWEST: Final = 24
"""Cells of a chart, at least."""
_FEW_SOFT: Final = 48
_STRANGE_FEW: Final = 0.2
"""In soft pictures, so few cells must not be more unlike a few looks than that: anything may make up some."""
_WHOLE: Final = 0.97
"""The part of all edges that lies within a chart without lines, at least."""
_SOFT_PX: Final = 2
_NEARLY: Final = 0.7
"""The part of what the best pair explains from which another may be the chart, where the best is refuted."""
_TOLD: Final = 0.5
"""The same part of that, where the user says how many cells there are."""
_CLEARER: Final = 0.03
"""How much more of its lines is seen of a pair by which what was found is doubted."""
_AS_MUCH: Final = 0.93
"""The part of what the best pair without lines explains that is as much."""
_NEARLY_AS_MUCH: Final = 0.8
_BESIDE_BLANKS: Final = 0.2
"""The part of faint lines that lies between two blank cells, at least."""
_DOUBTFUL: Final = 0.1
_MUCH_MORE: Final = 2.0
"""How strange cells are in grain, from which finer ones are looked for, and how many times as much these explain."""
_UNEVEN: Final = 0.1
_LEFT_OUT: Final = 1.7
"""How much the distances of cells differ from the usual one at most, on average, and how far one is of it: a bold line
takes half a cell at most."""
_WIDER_PX: Final = 2
_WIDER: Final = 0.4
"""How much wider than usual a cell may be, in px, and in soft pictures as a part of it."""


def find_cells(
    pixels: Pixels, cells: tuple[int, int] | None = None, grainy: bool = False, unlined: bool = True
) -> Lattice | None:
    """The lattice of a straight picture, ruled or not; None where there is none that is beyond doubt.

    cells: how many the user says there are across and down; others are then passed over. grainy: whether the picture
    has grain or was turned, so that no edge is clear. unlined: whether cells without lines are looked for too.
    """
    height, width = pixels.shape[:2]
    smaller = math.ceil(math.sqrt(height * width / _LOOKED_AT))
    if smaller > 1:
        found = _found(_reduced(pixels, smaller), cells, grainy, unlined, reduced=True)
        if found is not None and found.pitch_px >= _ROOMY_PX:
            return found.grown(smaller)
    return _found(pixels, cells, grainy, unlined)


def _reduced(pixels: Pixels, by: int) -> Pixels:
    height, width = pixels.shape[0] // by, pixels.shape[1] // by
    parts = pixels[: height * by, : width * by].reshape(height, by, width, by, 3)
    return np.asarray((parts.sum(axis=(1, 3), dtype=np.uint32) // by**2), dtype=np.uint8)


def _found(
    pixels: Pixels, cells: tuple[int, int] | None, grainy: bool, unlined: bool, reduced: bool = False
) -> Lattice | None:
    """reduced: whether there are more pixels to look at, where lines that explain more may be seen better."""
    if min(pixels.shape[:2]) < 2 * LEAST_PITCH_PX:
        return None
    frayed: Lattice | None = None
    unruled: tuple[Judged, bool] | None = None
    rows_at: dict[tuple[int, bool], _Rows] = {}
    for reach, even, faint, worn in _GRAINY if grainy else _CLEAR:
        if even and (frayed is not None or not unlined):
            return frayed
        if unruled is not None and reach != _SECOND_LOOK:
            continue
        rows = rows_at.setdefault((reach, faint), _Rows(pixels, reach, faint))
        sight, likely = rows.sight, rows.likeliest(cells, even, worn)
        for found in likely:
            if even and (found.ruled or found.pitch_px < _REACHES * reach):  # lines are not seen apart from marks here
                continue
            alone = all(one.size == found.size for one in likely)
            sure = rows.is_worn(found) if worn else _is_sure(sight, found, cells, grainy, alone)
            doubted = reduced and found.ruled and found is likely[0] and min(found.size) >= LEAST_CELLS
            if not (sure or doubted) or _is_refuted(sight, found):
                continue
            if not sure:
                return None
            if unruled is not None and _explains_less(found, unruled[0]):
                break
            if not found.ruled:  # finer cells of it may be seams and dots, which a look at wider edges does not see
                unruled = found, sight.soft
                break
            if grainy and not worn and found.strange > _DOUBTFUL:
                worn_rows = rows_at.setdefault((reach, True), _Rows(pixels, reach, True))
                finer = worn_rows.finer(found, cells)
                if finer is not None:
                    sight, found, likely = worn_rows.sight, finer, [finer]
            rival = _rival(sight, found, likely)
            if rival is not None and not sight.soft and _is_sure(sight, rival, cells, grainy, alone):
                found, rival = rival, _rival(sight, rival, likely)
            lattice = _lattice(found, sight.soft)
            rival = rival or _every_second(found, likely) or _twice_as_many(found, likely)
            if lattice is not None and rival is not None:
                lattice = replace(lattice, rival=rival.size)
            if lattice is not None and not (lattice.open or lattice.beyond):
                return lattice
            frayed = frayed or lattice
    if unruled is None:
        return frayed
    lattice = _lattice(*unruled)
    return lattice if lattice is None or cells is not None else _of_whole_cells(lattice, unruled[0])


_HALVED: Final = 0.6
"""How much shorter than the other side that of halves of cells is, at most."""
_SAME_HALVES: Final = 0.97
_SAME_COLOUR: Final = 30
"""Of 255: of what is hatched, halves are a little unlike."""


def _of_whole_cells(lattice: Lattice, found: Judged) -> Lattice:
    """The lattice of cells that are no halves of square ones, as the lines and columns of a terminal may be: each half
    looks like the other."""
    left, right, top, bottom = found.box
    colours = found.looks.mean[found.looks.of[top:bottom, left:right]]
    shape = lattice.down.pitch_px / lattice.across.pitch_px
    halved, halves = ("down", colours) if shape < 1 else ("across", colours.swapaxes(0, 1))
    if min(shape, 1 / shape) > _HALVED or len(halves) % 2:
        return lattice
    if (np.abs(halves[::2] - halves[1::2]).max(axis=2) <= _SAME_COLOUR).mean() < _SAME_HALVES:
        return lattice
    axis: Axis = getattr(lattice, halved)
    whole = Axis(axis.lines[::2], axis.widths[::2])
    return replace(lattice, down=whole) if halved == "down" else replace(lattice, across=whole)


def _explains_less(found: Judged, unruled: Judged) -> bool:
    """Whether a pair that was found with wider edges explains less than one without lines; wider cells may, a little,
    as finer ones explain all that they do."""
    wider = not found.ruled and math.prod(found.size) < math.prod(unruled.size)
    return found.worth <= unruled.worth * (_AS_MUCH if wider else 1 / _AS_MUCH)


def _rival(sight: Sight, found: Judged, likely: list[Judged]) -> Judged | None:
    """Another pair whose lines are seen more clearly, and that nothing refutes."""
    clearer = (one for one in likely if one.ruled and one.size != found.size and one.seen > found.seen + _CLEARER)
    return next((one for one in clearer if not _is_refuted(sight, one)), None)


def _every_second(found: Judged, likely: list[Judged]) -> Judged | None:
    """The same pair without every second line one way, where that explains more and its lines are seen more clearly:
    the others may be marks, as of a dash in nearly every cell."""
    across, down = found.size
    halves = ((across, down // 2), (across // 2, down))
    clearer = (one for one in likely if one.ruled and one.size in halves and one.worth > found.worth)
    return next((one for one in clearer if one.seen > found.seen + _CLEARER), None)


def _twice_as_many(found: Judged, likely: list[Judged]) -> Judged | None:
    """A pair with twice as many cells one way, give or take one, that explains nearly as much: a line between two may
    have been left out."""
    for one in likely:
        off = sorted(abs(its - times * mine) for its, mine, times in zip(one.size, found.size, (1, 2), strict=True))
        other = sorted(abs(its - times * mine) for its, mine, times in zip(one.size, found.size, (2, 1), strict=True))
        if one.ruled and min(off[1], other[1]) <= 1 and one.worth > _NEARLY_AS_MUCH * found.worth:
            return one
    return None


class _Rows:
    """Rows of cells in a sight both ways, and pairs of them, each of which is judged once."""

    def __init__(self, pixels: Pixels, reach: int, faint: bool) -> None:
        self._pixels, self._reach, self._faint = pixels, reach, faint
        self._pairs: dict[tuple[Chain, Chain, bool], Pair] = {}

    @cached_property
    def sight(self) -> Sight:
        """The picture's edges."""
        return Sight(self._pixels, self._reach, self._faint)

    @cached_property
    def _chains(self) -> list[list[Chain]]:
        directions = self.sight.upright, self.sight.level
        own = [pitches_of(direction.profile) for direction in directions]
        rows = []
        for at, direction in enumerate(directions):
            others = [pitch for pitch in own[1 - at][:4] if pitch <= direction.size / LEAST_CELLS]
            pitches = own[at] + [pitch for pitch in others if not any(abs(pitch - one) < 0.02 * one for one in own[at])]
            rows.append([Chain(direction, one) for one in chains(direction.profile, pitches)])
        return rows

    def _pair(self, across: Chain, down: Chain, worn: bool) -> Pair:
        if (across, down, worn) not in self._pairs:
            self._pairs[across, down, worn] = Pair(self.sight, across, down, worn)
        return self._pairs[across, down, worn]

    def likeliest(self, cells: tuple[int, int] | None, even: bool = False, worn: bool = False) -> list[Judged]:
        """The pairs of chains that explain most, the best first. even: whether cells of exactly one size are tried
        too; worn: whether lines are seen in parts only."""
        rows = self._chains
        if even:
            directions = self.sight.upright, self.sight.level
            rows = [
                own + [Chain(direction, one) for one in even_chains(direction.steps)]
                for own, direction in zip(rows, directions, strict=True)
            ]
        pairs = [self._pair(across, down, worn) for across in rows[0] for down in rows[1] if _shapely(across, down)]
        found: list[Judged] = []
        best = 0.0
        for pair in sorted(pairs, key=lambda one: -one.most):
            if pair.most >= _NEARLY * best:
                found.append(pair.judged(cells))
                best = max(best, found[-1].worth if cells is None else _TOLD * pair.judged(None).worth)
        found = sorted((one for one in found if one.worth >= _NEARLY * best), key=lambda one: -one.worth)
        if found and not found[0].ruled:  # without lines, finer cells explain as much, so the widest win
            as_much = [one for one in found if not one.ruled and one.worth >= _AS_MUCH * found[0].worth]
            found.insert(0, min(as_much, key=lambda one: math.prod(one.size)))
        return found

    def finer(self, found: Judged, cells: tuple[int, int] | None) -> Judged | None:
        """A pair of more cells whose lines are seen in parts only, that explains so much more that it is the chart's:
        edges of marks may lie on every second or third of faint lines."""
        for one in self.likeliest(cells, worn=True):
            if one.worth < _MUCH_MORE * found.worth or math.prod(one.size) <= math.prod(found.size):
                return None
            if self.is_worn(one) and not _is_refuted(self.sight, one):
                return one
        return None

    def is_worn(self, found: Judged) -> bool:
        """Whether lines that are seen in parts are lines: marks have edges as well, but none between blank cells."""
        if math.prod(found.size) < _FEW_SOFT or not found.ruled or found.strange > _MOST_STRANGE[True]:
            return False
        share, seen = self._pair(found.across, found.down, True).seen_beside_blanks(found)
        return share >= _BESIDE_BLANKS and seen >= _WELL_SEEN[True]


def _shapely(across: Chain, down: Chain) -> bool:
    return 1 / _OBLONG < across.axis.pitch_px / down.axis.pitch_px < _OBLONG


def _is_sure(sight: Sight, found: Judged, cells: tuple[int, int] | None, grainy: bool, alone: bool) -> bool:
    if cells is None and (min(found.size) < LEAST_CELLS or found.size[0] * found.size[1] < _FEWEST):
        return False
    if cells is None and sight.soft and math.prod(found.size) < _FEW_SOFT and found.strange > _STRANGE_FEW:
        return False
    beyond_doubt = alone if grainy else found.strange <= _ALL_ALIKE
    seen = found.seen >= (_SEEN_BEYOND_DOUBT if beyond_doubt else _WELL_SEEN)[grainy]
    strange = _MOST_STRANGE[sight.soft] if found.ruled else _MOST_STRANGE_UNRULED
    return found.worth > 0 and seen and found.strange <= strange


def _is_refuted(sight: Sight, found: Judged) -> bool:
    """Whether what lies beyond the cells, or within them, shows that others are the chart's."""
    for axis in found.cells:  # lines only make cells narrower; one that was left out makes its cells wider
        if len(axis) < 2:
            continue
        width, gaps = axis[:, 1] - axis[:, 0], axis[1:, 0] - axis[:-1, 1]
        usual = float(np.median(width))
        if width.max() > usual + np.median(gaps) + max(_WIDER_PX, _WIDER * usual * sight.soft):
            return True
        if are_uneven(axis, sight.soft):
            return True
    if found.ruled:
        return _lined_inside(sight, found) or _gaps_are_no_lines(sight, found)
    return _share_inside(sight, *found.cells) < _WHOLE


def are_uneven(cells: Spans, soft: bool) -> bool:
    """Whether cells begin or end at uneven distances, as where strokes of letters are taken for lines, or so far from
    each other that one may have been left out."""
    steps = np.diff(cells, axis=0)
    if steps[:, 0].max() > _LEFT_OUT * np.median(steps):
        return True
    return bool(np.abs(steps - np.median(steps)).mean() > _UNEVEN * np.median(steps) + soft)


def _share_inside(sight: Sight, across: Spans, down: Spans) -> float:
    """How much of all edges of the picture lies within the cells: without lines, what is outside may be cells too."""
    (left, right), (top, bottom) = (
        (max(0, int(cells[0, 0]) - _SOFT_PX), int(cells[-1, 1]) + _SOFT_PX + 1) for cells in (across, down)
    )
    upright, level = sight.upright.edges, sight.level.edges
    inside = upright[top:bottom, left:right].sum(dtype=np.float64) + level[left:right, top:bottom].sum(dtype=np.float64)
    return float(inside / max(upright.sum(dtype=np.float64) + level.sum(dtype=np.float64), 1.0))


_INSIDE: Final = {False: 0.15, True: 0.6}
"""How clear others within the cells must be to be lines too, of the lines, in clear and in soft pictures."""
_FREQUENT: Final = 0.1
"""The part of the cells from which they are asked about."""
_END: Final = 0.25
"""The part of a cell at each of its ends through which a line runs, and a mark hardly ever."""


def _lined_inside(sight: Sight, found: Judged) -> bool:
    """Whether lines run through cells of every look as they do between them: then those are not the cells."""
    across, down = found.cells
    left, right, top, bottom = found.box
    looks = found.looks.of[top:bottom, left:right]
    frequent = [look for look, share in enumerate(found.looks.share) if share >= _FREQUENT]
    for direction, cells, other, of in ((sight.upright, across, down, looks), (sight.level, down, across, looks.T)):
        profile = direction.edges[other[0, 0] : other[-1, 1]].mean(axis=0)
        inset = max(2 + sight.soft, int(0.15 * np.median(cells[:, 1] - cells[:, 0])))
        beside = [float(profile[max(0, place - 1) : place + 2].max()) for place in cells.ravel().tolist()]
        inside: dict[int, list[float]] = {look: [] for look in frequent}
        part = np.maximum((_END * (other[:, 1] - other[:, 0])).astype(np.intp), 1)
        ends = (other[:, 0], other[:, 0] + part), (other[:, 1] - part, other[:, 1])
        for number, (first, last) in enumerate(cells.tolist()):
            strip = direction.edges[:, first + inset : last - inset + 1]
            total = np.concatenate([np.zeros((1, strip.shape[1])), strip.cumsum(axis=0, dtype=np.float64)])
            # a line runs from end to end, a mark stands in the middle
            seen = np.minimum(*((total[end] - total[begin]) / (end - begin)[:, None] for begin, end in ends))
            for look in frequent:
                if strip.size and (of[:, number] == look).any():
                    inside[look].append(float(seen[of[:, number] == look].mean(axis=0).max()))
        if all(
            float(np.median(values)) >= _INSIDE[sight.soft] * float(np.median(beside))
            for values in inside.values()
            if values
        ):
            return True
    return False


_BOLD_PX: Final = 3
_OF_ONE_COLOUR: Final = 0.9
_SAME_INK: Final = 40
_MISTAKEN: Final = {False: 1, True: 3}
"""Wide gaps from which the cells beside them are not the chart's, in clear and in soft pictures."""
_VERY_WIDE: Final = 0.25
_ONE_SIDED: Final = 0.1
"""How much must be seen of a bold line's fainter side, of the other."""


def _gaps_are_no_lines(sight: Sight, found: Judged) -> bool:
    """Whether the widest gaps between cells are parts of cells and not bold lines, which have one colour all along, an
    edge at both sides, and do not stand at both sides of one cell alone."""
    for pixels, direction, cells, other in (
        (sight.pixels, sight.upright, *found.cells),
        (sight.pixels.swapaxes(0, 1), sight.level, *found.cells[::-1]),
    ):
        gaps = cells[1:, 0] - cells[:-1, 1]
        bolder = gaps - np.median(gaps)
        wide = (gaps >= _BOLD_PX) & (bolder >= _VERY_WIDE * np.median(np.diff(cells[:, 0])))
        if (wide[1:] & wide[:-1]).any():
            return True
        bold = np.flatnonzero((gaps >= _BOLD_PX) & (bolder >= 2))
        edges = direction.edges[other[0, 0] : other[-1, 1]]
        for gap in np.flatnonzero(wide).tolist():
            sides = [
                float(edges[:, place - 1 : place + 2].max(axis=1).mean())
                for place in (int(cells[gap, 1]), int(cells[gap + 1, 0]))
            ]
            if min(sides) < _ONE_SIDED * max(sides):
                return True
        middles = (cells[1:, 0] + cells[:-1, 1]) // 2
        lines = pixels[other[0, 0] : other[-1, 1], middles].astype(np.int16)
        alike = (np.abs(lines - np.median(lines, axis=0)).max(axis=2) <= _SAME_INK).mean(axis=0)
        others = np.delete(alike, bold)  # which are not of one colour either where lines are dotted
        usual = float(np.median(others)) if len(others) else 1.0
        if (alike[bold] < min(_OF_ONE_COLOUR, usual)).sum() >= _MISTAKEN[sight.soft]:
            return True
    return False


# -- the sides --------------------------------------------------------------------------------------------------------

_CLOSED: Final = 0.25
_RUNS_ON: Final = 0.6
"""The part of a side along which a line closes it, and of the lines across it that are seen beyond it, at least."""
_NEAR: Final = (0.15, 0.5)
_FAR: Final = (0.5, 0.95)
"""The parts of a cell beyond a side in which lines may run on."""


def _lattice(found: Judged, soft: bool) -> Lattice | None:
    """What was found, with the sides that no line closes, and those beyond which lines run on through a part of a cell
    that the picture or the paper cuts, or through a whole one; None where they end within one in a clear picture, as
    those of a plot do."""
    left, right, top, bottom = _supported(found) if found.ruled else found.box
    across = Chain(found.across.direction, found.across.cells[left:right])
    down = Chain(found.down.direction, found.down.cells[top:bottom])
    opened: list[Side] = []
    cut: list[Side] = []
    beyond: list[Side] = []
    sides: tuple[tuple[Chain, Chain, tuple[Side, Side]], ...] = (
        (across, down, ("left", "right")),
        (down, across, ("top", "bottom")),
    )
    for chain, other, names in sides if found.ruled else ():
        closing = chain.seen(other.cells, at_edge=0.0).mean(axis=1)
        first, last = int(chain.cells[0, 0]), int(chain.cells[-1, 1])
        for side, closed, room in (
            (names[0], closing[0], first),
            (names[1], closing[-1], chain.direction.size - last),
        ):
            if closed < _CLOSED:
                opened.append(side)
            near, far = (_run_on(chain, other, side == names[0], part) for part in (_NEAR, _FAR))
            if near and far is False and not soft:
                return None
            if near:  # photographed squared paper may end within a cell
                (cut if far is False or room < 0.97 * chain.axis.pitch_px else beyond).append(side)
    axis_x, axis_y = (settled(chain.axis, _ERROR_PX[soft]) for chain in (across, down))
    ends = tuple(opened), tuple(cut), tuple(beyond)
    return Lattice(axis_x, axis_y, found.ruled, *ends, strange=found.strange)


_NOTHING: Final = 0.05


def _supported(found: Judged) -> tuple[int, int, int, int]:
    """The box without rows and columns at its sides around whose cells no line is seen: they are page, whose colour the
    lines may have."""
    left, right, top, bottom = found.box
    upright = found.across.seen(found.down.cells, at_edge=0.0)
    level = found.down.seen(found.across.cells, at_edge=0.0)

    def are_page(line: int, cells: int, along: Shares, across: Shares, first: int, last: int) -> bool:
        return bool(along[line, first:last].mean() < _CLOSED and across[first : last + 1, cells].mean() < _NOTHING)

    while bottom - top > LEAST_CELLS and are_page(top, top, level, upright, left, right):
        top += 1
    while bottom - top > LEAST_CELLS and are_page(bottom, bottom - 1, level, upright, left, right):
        bottom -= 1
    while right - left > LEAST_CELLS and are_page(left, left, upright, level, top, bottom):
        left += 1
    while right - left > LEAST_CELLS and are_page(right, right - 1, upright, level, top, bottom):
        right -= 1
    return left, right, top, bottom


def _run_on(chain: Chain, other: Chain, before: bool, part: tuple[float, float]) -> bool | None:
    """Whether the lines across a chain are seen in that part of a cell before it, or behind it; None where the picture
    ends."""
    line, pitch, size = chain.axis.widths.max() + 1, chain.axis.pitch_px, chain.direction.size
    first, last = (round(line + share * (pitch - line)) for share in part)
    begin, end = int(chain.cells[0, 0]), int(chain.cells[-1, 1])
    low, high = (begin - last, begin - first) if before else (end + first, end + last)
    low, high = max(0, low), min(size, high)
    if high - low < max(2, _LEAST_PART * pitch):
        return None
    return float((other.seen(np.array([[low, high]])) >= _RUNS_ON).mean()) >= _RUNS_ON


_LEAST_PART: Final = 0.1
_ERROR_PX: Final = {False: 0.8, True: 1.5}
"""How far off the place of a line may be, in clear and in soft pictures."""

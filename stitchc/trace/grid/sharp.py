"""Cells of a picture without grain, found from its edges: as wide as each other, whatever lies between them.

Along each direction a chart is a row of cells of one width, give or take a pixel, with hairlines, dotted lines, bold
lines or nothing between. Bold lines push the cells apart or cover a part of them. Candidates are the chains of such
cells that begin and end at most edges; a pair of them is worth the length of the lines that it explains, less what is
not there and what stands in the cells that no few looks explain. Knows colours and places; dark and light are the same
to it.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.grid.comb import LEAST_PITCH_PX, pitches_of
from stitchc.trace.grid.evidence import Profile
from stitchc.trace.grid.lattice import Axis, Lattice
from stitchc.trace.picture import Pixels

Cells = npt.NDArray[np.intp]
"""The first pixel of each cell and the one after its last: (cells, 2)."""
Edges = npt.NDArray[np.float32]
"""How clearly the colour changes between each pixel and the one before, 0 to 1; the picture's ends are 0."""
Shares = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

_FAINTEST: Final = 5
_CLEAR: Final = 24
"""Steps of colour, of 255: up to the first there is none, from the sum of both on it is clear."""
_DASH_PX: Final = 5
"""Gaps of dots and dashes that are closed along a line: one pixel less than this."""


# -- along one direction --------------------------------------------------------------------------------------------

_MOST: Final = 7
_USUAL: Final = 0.3
"""The part of a clear line's edge that speaks neither for a line nor against it."""
_ODD: Final = 0.2
"""What a cell or a line of another width than usual costs, of a line that is seen all along."""
_EACH_PX: Final = 0.02
_COVERED: Final = 0.65
"""The part of a pitch that bold lines leave of a cell, at least."""
_BOLDEST: Final = 0.5
"""How wide a line may be, of a cell."""
_LEAST_CELLS: Final = 3


def chains(edges: Profile, others: list[float]) -> list[Cells]:
    """Rows of cells from one end of the picture to the other, the likeliest first. others: pitches to try beside those
    that the edges show."""
    own = [pitch for pitch in pitches_of(edges, 6) if pitch <= len(edges) / _LEAST_CELLS]
    pitches = own + [pitch for pitch in others if not any(abs(pitch - one) < 0.02 * one for one in own)]
    found = []
    for pitch in pitches:
        tried = [_chain(edges, pitch, gap) for gap in _gaps(edges, pitch)]
        worth, cells = max(tried, key=lambda one: one[0])
        if len(cells) >= _LEAST_CELLS:
            cells = _snapped(_continued(cells, len(edges) - 1), edges)
            width = cells[:, 1] - cells[:, 0]
            if width.min() >= _COVERED * np.median(width):
                found.append((worth / len(cells) ** 0.5, cells))
    kept: list[Cells] = []
    for _, cells in sorted(found, key=lambda one: -one[0]):
        if not any(len(cells) == len(one) and np.abs(cells - one).mean() < 1 for one in kept):
            kept.append(cells)
    return kept[:_MOST]


def _gaps(edges: Profile, pitch: float) -> list[int]:
    """Likely widths of a line."""
    most = int(0.4 * pitch)
    alike = [float((edges[:-gap] * edges[gap:]).sum()) for gap in range(1, most + 1)]
    return [0, *(gap + 1 for gap in np.argsort(alike)[::-1][:3].tolist())]


def _chain(edges: Profile, pitch: float, gap: int) -> tuple[float, Cells]:
    """The chain of cells at about this pitch with usual lines of this width that begin and end at most edges, and what
    it is worth. A cell next to a bold line may be narrower, and a line wider, at a price."""
    size, inside = len(edges), pitch - gap
    widths = np.arange(max(2, int(min(_COVERED * pitch, inside - 1))), int(np.ceil(inside + 1)) + 1)
    off = np.abs(widths - inside)
    width_costs = np.where(off <= 1, _EACH_PX * off, _ODD + 0.5 * off / pitch)
    gaps = np.arange(int(min(_BOLDEST * inside + 1, 0.55 * pitch)) + 1)
    off = np.abs(gaps - gap)
    gap_costs = np.where((off <= 1) & ((gaps > 0) | (gap <= 1)), _EACH_PX * off, _ODD)
    high = np.percentile(edges[edges > 0.01], 97) if (edges > 0.01).any() else 1.0
    height = np.minimum(edges / high, 1) - _USUAL
    height[[0, -1]] = 0
    begun, ended = height.copy(), np.full(size, -np.inf)
    width_of, gap_of = np.zeros(size, dtype=np.intp), np.full(size, -1, dtype=np.intp)
    for place in range(int(widths[0]), size):
        count = int(np.searchsorted(widths, place, side="right"))
        worth = begun[place - widths[:count]] - width_costs[:count]
        best = int(worth.argmax())
        ended[place], width_of[place] = worth[best] + height[place], widths[best]
        worth = ended[place - gaps[: place + 1]] - gap_costs[: place + 1]
        best = int(worth.argmax())
        reached = worth[best] + (height[place] if best else 0.0)
        if reached > begun[place]:
            begun[place], gap_of[place] = reached, gaps[best]
    place = int(ended.argmax())
    top, cells = float(ended[place]), []
    while np.isfinite(top):
        begin = place - int(width_of[place])
        cells.append((begin, place))
        if gap_of[begin] < 0:
            break
        place = begin - int(gap_of[begin])
    return top, np.array(cells[::-1], dtype=np.intp).reshape(-1, 2)


def _continued(cells: Cells, size: int) -> Cells:
    """The cells and more of them to both ends of the picture."""
    steps = np.diff(cells[:, 0])
    gap = float(np.median(cells[1:, 0] - cells[:-1, 1]))
    usual = float(np.median(cells[:, 1] - cells[:, 0])) + gap
    pitch = float(steps[np.abs(steps - usual) <= 1.01].mean()) if (np.abs(steps - usual) <= 1.01).any() else usual
    width = pitch - gap
    before = np.arange(cells[0, 0] - gap, 0.75 * pitch, -pitch)[::-1]
    after = np.arange(cells[-1, 1] + gap, size - 0.75 * pitch + 0.01, pitch)
    first = np.stack([before - width, before], axis=1).round().clip(0, size).astype(np.intp)
    last = np.stack([after, after + width], axis=1).round().clip(0, size).astype(np.intp)
    return np.concatenate([first, cells, last])


def _snapped(cells: Cells, edges: Profile) -> Cells:
    """The cells between the outermost clear edges of each line, where there are lines."""
    if float(np.median(cells[1:, 0] - cells[:-1, 1])) <= 0:
        return cells
    reach = max(1, min(3, int(0.12 * np.median(cells[:, 1] - cells[:, 0]))))
    snapped, count = cells.copy(), len(cells)
    for number in range(count + 1):
        end = int(cells[number - 1, 1]) if number else int(cells[0, 0])
        begin = int(cells[number, 0]) if number < count else int(cells[-1, 1])
        low = max(0, end - reach)
        near = edges[low : begin + reach + 1]
        if float(near.max(initial=0)) <= 0.02:
            continue
        clear = np.flatnonzero(near >= 0.5 * near.max()) + low
        if number:
            snapped[number - 1, 1] = max(int(clear[0]), int(snapped[number - 1, 0]) + 2)
        if number < count:
            snapped[number, 0] = min(int(clear[-1]), int(snapped[number, 1]) - 2)
    return snapped


def _axis(cells: Cells) -> Axis:
    """Cells as lines and their widths."""
    gaps = (cells[1:, 0] - cells[:-1, 1]).astype(np.float64)
    usual = float(np.median(gaps)) if len(gaps) else 0.0
    middles = (cells[1:, 0] + cells[:-1, 1]) / 2
    lines = np.concatenate([[cells[0, 0] - usual / 2], middles, [cells[-1, 1] + usual / 2]]) - 0.5
    return Axis(lines, np.concatenate([[usual], gaps, [usual]]))


# -- both directions ------------------------------------------------------------------------------------------------


class Sight:
    """A picture with its edges both ways and its colours summed from the upper left corner."""

    def __init__(self, pixels: Pixels) -> None:
        self.pixels = pixels
        self.upright, self.level = _edges(pixels), _edges(pixels.swapaxes(0, 1))
        self.upright_closed, self.level_closed = _closed(self.upright), _closed(self.level)
        height, width = pixels.shape[:2]
        self._total = np.zeros((height + 1, width + 1, 3))
        self._total[1:, 1:] = pixels.cumsum(axis=0, dtype=np.float64).cumsum(axis=1)

    def means(self, across: tuple[Cells, Cells], down: tuple[Cells, Cells]) -> Shares:
        """The mean colours from first to last pixels (exclusive): (down, across, 3)."""
        (left, right), (top, bottom), total = across, down, self._total
        sums = total[np.ix_(bottom, right)] - total[np.ix_(top, right)] - total[np.ix_(bottom, left)]
        return np.asarray((sums + total[np.ix_(top, left)]) / np.outer(bottom - top, right - left)[..., None])


def _edges(pixels: Pixels) -> Edges:
    """Edges between each pixel and the one to its left; of one that is smoothed over two pixels, the clearer half."""
    found = np.zeros((pixels.shape[0], pixels.shape[1] + 1), dtype=np.float32)
    steps = np.diff(pixels.astype(np.int16), axis=1)
    clear, way = np.abs(steps).max(axis=2), np.sign(steps.sum(axis=2, dtype=np.int16))
    going_on = way[:, 1:] == way[:, :-1]
    first = clear[:, :-1] >= clear[:, 1:]
    kept = np.ones(clear.shape, dtype=np.bool_)
    kept[:, 1:] &= ~(going_on & first)
    kept[:, :-1] &= ~(going_on & ~first)
    found[:, 1:-1] = np.clip((clear * kept - np.float32(_FAINTEST)) / _CLEAR, 0, 1)
    return found


def _closed(edges: Edges) -> Edges:
    wide = ndimage.maximum_filter1d(edges, _DASH_PX, axis=0)
    return np.asarray(ndimage.minimum_filter1d(wide, _DASH_PX, axis=0))


def _along(edges: Edges, cells: Cells, crossing: Cells) -> Shares:
    """How much of an edge is seen along each line beside each crossing cell: (lines, crossing cells); 1 at the
    picture's own edge, where a line may lie unseen."""
    size = edges.shape[1]
    inset = np.maximum((0.15 * (crossing[:, 1] - crossing[:, 0])).astype(np.intp), 1)
    low = np.minimum(crossing[:, 0] + inset, len(edges) - 1)
    high = np.minimum(np.maximum(crossing[:, 1] - inset, low + 1), len(edges))
    found = np.ones((len(cells) + 1, len(crossing)))
    for number in range(len(cells) + 1):
        ends = [*cells[number - 1 : number, 1].tolist(), *cells[number : number + 1, 0].tolist()]
        if min(ends) > 0 and max(ends) < size - 1:
            places = np.arange(
                min(ends) - 1, min(max(ends) + 2, size)
            )  # a thin line goes on in the middle of a bolder stretch
            total = np.concatenate([[0.0], edges[:, places].max(axis=1).cumsum(dtype=np.float64)])
            found[number] = (total[high] - total[low]) / (high - low)
    return found


_SAMPLES: Final = 5
_RIM: Final = 0.08
_LOOKS: Final = 5
_OTHER: Final = 8.0
"""Colours, of 255, that are another look."""
_STRANGE: Final = 15.0
"""How far a cell may be from the nearest look, of 255, before it is none of them at all."""


class Looks(NamedTuple):
    """Cells sorted by look. of: (cells down, cells across); strange: how unlike its look each is, 0 to 1; mean and
    flat: of each look its colour, and whether it has but one."""

    of: npt.NDArray[np.intp]
    strange: Shares
    mean: Shares
    flat: Mask
    share: Shares


def _looks(sight: Sight, across: Axis, down: Axis, pushed: bool) -> Looks:
    height, width = sight.pixels.shape[:2]
    means = sight.means(_samples(across, pushed, width), _samples(down, pushed, height))
    cells = means.reshape(down.cells, _SAMPLES, across.cells, _SAMPLES, 3).swapaxes(1, 2)
    flat = cells.reshape(down.cells * across.cells, -1).astype(np.float32)
    looks = [flat[np.abs(flat - np.median(flat, axis=0)).mean(axis=1).argmin()]]
    nearest = np.abs(flat - looks[0]).mean(axis=1)
    for _ in range(_LOOKS - 1):
        strange = int(np.argsort(nearest)[int(0.98 * (len(nearest) - 1))])  # the strangest may be blots
        if nearest[strange] < _OTHER:
            break
        looks.append(flat[strange])
        nearest = np.minimum(nearest, np.abs(flat - looks[-1]).mean(axis=1))
    for _ in range(4):
        away = np.stack([np.abs(flat - look).mean(axis=1) for look in looks], axis=1)
        of = away.argmin(axis=1)
        looks = [np.median(flat[of == at], axis=0) if (of == at).any() else look for at, look in enumerate(looks)]
    parts = np.stack(looks).reshape(len(looks), -1, 3)
    return Looks(
        of.reshape(down.cells, across.cells),
        np.minimum(away.min(axis=1) / _STRANGE, 1).reshape(down.cells, across.cells),
        parts.mean(axis=1),
        np.asarray(parts.std(axis=1).max(axis=1) < _OTHER),
        np.bincount(of, minlength=len(looks)) / len(of),
    )


def _samples(axis: Axis, pushed: bool, size: int) -> tuple[Cells, Cells]:
    middles, inside = axis.insides(pushed)
    places = middles[:, None] + 0.5 + inside * np.linspace(_RIM - 0.5, 0.5 - _RIM, _SAMPLES + 1)
    first = places[:, :-1].round().clip(0, size - 1).astype(np.intp).ravel()
    return first, np.maximum(places[:, 1:].round().clip(1, size).astype(np.intp).ravel(), first + 1)


class Found(NamedTuple):
    """A pair of chains and which of their cells the chart is: left, right, top and bottom (exclusive).

    worth: in px of line; seen: the share of what should be seen of lines; strange: of its cells, the mean.
    """

    worth: float
    box: tuple[int, int, int, int]
    ruled: bool
    across: Cells
    down: Cells
    seen: float
    strange: float

    @property
    def size(self) -> tuple[int, int]:
        """Cells across and down."""
        left, right, top, bottom = self.box
        return right - left, bottom - top


_AGAINST: Final = 2.0
"""How much a stretch without a line speaks against the cells, where one with a line speaks for them by 1."""
_STRANGERS: Final = {True: 1.0, False: 2.0}
"""What a cell like no other costs, of the lines around it; with lines drawn, a heavier one pushes marks aside."""
_SAME_INK: Final = 15.0
_SEAM: Final = 0.5
_BLANK: Final = 0.01


def judged(sight: Sight, across: Cells, down: Cells, cells: tuple[int, int] | None = None) -> Found:
    """What a pair of chains explains, as ruled or as unruled cells, and which of their cells are the chart."""
    upright, level = (
        _along(sight.upright_closed, across, down),
        _along(sight.level_closed, down, across),
    )
    axes = _axis(across), _axis(down)
    bold = any(np.ptp(axis.widths) > 1 for axis in axes)
    tried = [_looks(sight, *axes, pushed) for pushed in ((False, True) if bold else (False,))]
    looks = min(tried, key=lambda one: float(one.strange.mean()))
    length = axes[1].pitch_px, axes[0].pitch_px
    parted = (looks.of[:, 1:] != looks.of[:, :-1]).T, looks.of[1:] != looks.of[:-1]
    rarity = -np.log(np.maximum(looks.share, 1e-9))[looks.of]
    best: Found | None = None
    for ruled in (True, False):
        gains, knowns = [], []
        for at, seen in enumerate((upright, level)):
            gain = (1 + _AGAINST) * seen - _AGAINST
            known = np.ones(seen.shape, dtype=np.bool_)
            if ruled:
                known[1:-1] = ~_hidden(sight, looks, seen, at, (across, down))
            else:
                alike = ~parted[at]
                gain[1:-1][alike] = (-_SEAM * seen[1:-1] - _BLANK)[alike]
                gain[[0, -1]] = 0
                known[[0, -1]] = False
                known[1:-1] = parted[at]
            gains.append(np.where(known | (not ruled), gain, 0))
            knowns.append(known)
        worth = length[0] * (gains[0][:-1] + gains[0][1:]).T / 2 + length[1] * (gains[1][:-1] + gains[1][1:]) / 2
        total, box = _richest(worth - _STRANGERS[ruled] * sum(length) * looks.strange - rarity, cells)
        if not ruled and cells is None:
            box = _marked_box(looks.of, box, _page(sight.pixels, looks))
        if best is None or total > best.worth:
            left, right, top, bottom = box
            here = (slice(left, right + 1), slice(top, bottom)), (slice(top, bottom + 1), slice(left, right))
            values = np.concatenate(
                [seen[one][known[one]] for seen, known, one in zip((upright, level), knowns, here, strict=True)]
            )
            best = Found(
                total, box, ruled, across, down,
                float(values.mean()) if len(values) else 0.0,
                float(looks.strange[top:bottom, left:right].mean()),
            )  # fmt: skip
    assert best is not None
    return best


def _hidden(sight: Sight, looks: Looks, seen: Shares, at: int, chains: tuple[Cells, Cells]) -> Mask:
    """Stretches between cells that are filled in the lines' own colour, where no line can be seen."""
    of = looks.of.T if at == 0 else looks.of
    alike = of[1:] == of[:-1]
    hidden = np.zeros(alike.shape, dtype=np.bool_)
    pixels = sight.pixels if at == 0 else sight.pixels.swapaxes(0, 1)
    cells, crossing = chains if at == 0 else chains[::-1]
    middles = crossing.sum(axis=1) // 2
    colours = [
        np.median(
            pixels[middles[seen[number] >= 0.8], (int(cells[number - 1, 1]) + int(cells[number, 0])) // 2], axis=0
        )
        for number in range(1, len(cells))
        if cells[number, 0] > cells[number - 1, 1] and (seen[number] >= 0.8).any()
    ]
    if len(colours) < 2:
        return hidden
    ink = np.median(colours, axis=0)
    for look in np.flatnonzero(looks.flat & (np.abs(looks.mean - ink).max(axis=1) < _SAME_INK)).tolist():
        between = alike & (of[1:] == look)
        if between.any() and float(np.median(seen[1:-1][between])) < _USUAL:
            hidden |= between
    return hidden


def _richest(worth: Shares, cells: tuple[int, int] | None) -> tuple[float, tuple[int, int, int, int]]:
    """The rectangle of cells that is worth most, or that of so many cells."""
    rows, columns = worth.shape
    total = np.concatenate([np.zeros((1, columns)), worth.cumsum(axis=0)])
    best, box = -np.inf, (0, columns, 0, rows)
    for top in range(rows):
        for bottom in range(top + 1, rows + 1):
            if cells is not None and bottom - top != cells[1]:
                continue
            along = np.concatenate([[0.0], (total[bottom] - total[top]).cumsum()])
            if cells is not None:
                if cells[0] > columns:
                    continue
                sums = along[cells[0] :] - along[: -cells[0]]
                left = int(sums.argmax())
                right, value = left + cells[0], float(sums[left])
            else:
                least = np.minimum.accumulate(along)
                right = int((along[1:] - least[:-1]).argmax()) + 1
                value = float(along[right] - least[right - 1])
                left = int(np.flatnonzero(along[:right] == least[right - 1])[-1])
            if value > best + 1e-9:
                best, box = value, (left, right, top, bottom)
    return best, box


_OF_RIM: Final = 0.95


def _page(pixels: Pixels, looks: Looks) -> int | None:
    """The look of the page around the cells; None where marks reach the picture's edges."""
    rim = np.concatenate([pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]]).astype(np.float64)
    page = np.median(rim, axis=0)
    if (np.abs(rim - page).max(axis=1) < _OTHER).mean() < _OF_RIM:
        return None
    away = np.abs(looks.mean - page).max(axis=1)
    return int(away.argmin()) if away.min() < _SAME_INK else None


def _marked_box(
    of: npt.NDArray[np.intp], box: tuple[int, int, int, int], page: int | None
) -> tuple[int, int, int, int]:
    """The box without blank cells around: unruled, the outermost marks are taken for the chart's edges."""
    left, right, top, bottom = box
    here = of[top:bottom, left:right]
    marked = here != (np.bincount(here.ravel()).argmax() if page is None else page)
    rows, columns = np.flatnonzero(marked.any(axis=1)), np.flatnonzero(marked.any(axis=0))
    if not len(rows):
        return box
    return left + int(columns[0]), left + int(columns[-1]) + 1, top + int(rows[0]), top + int(rows[-1]) + 1


_OBLONG: Final = 3.0
_WELL_SEEN: Final = 0.97
_MOST_STRANGE: Final = {True: 0.4, False: 0.1}
"""The most that cells may be unlike a few looks, where lines are drawn and where they are not."""
_FEWEST: Final = 24
_INSIDE: Final = 0.6
_WHOLE: Final = 0.97
_SOFT_PX: Final = 2
_CLOSED: Final = 0.25
_RUNS_ON: Final = 0.6


def find_sharp(pixels: Pixels, cells: tuple[int, int] | None = None) -> Lattice | None:
    """The lattice of a straight picture without grain, ruled or not; None where there is none that is beyond doubt.

    cells: how many the user says there are across and down; others are then passed over.
    """
    sight = Sight(pixels)
    for found in _likeliest(sight, cells):
        left, right, top, bottom = found.box
        across, down = found.across[left:right], found.down[top:bottom]
        if _is_sure(found, cells) and not _is_refuted(sight, found, across, down, cells):
            return Lattice(_axis(across), _axis(down), found.ruled)
    return None


def _is_sure(found: Found, cells: tuple[int, int] | None) -> bool:
    if cells is None and (min(found.size) < _LEAST_CELLS or found.size[0] * found.size[1] < _FEWEST):
        return False
    return found.worth > 0 and found.seen >= _WELL_SEEN and found.strange <= _MOST_STRANGE[found.ruled]


def _is_refuted(sight: Sight, found: Found, across: Cells, down: Cells, cells: tuple[int, int] | None) -> bool:
    """Whether what lies beyond the cells, or within them, shows that others are the chart's."""
    widths = [np.diff(axis, axis=1) for axis in (across, down)]
    if any(width.max() > np.median(width) + _WIDER_PX for width in widths):  # lines only make cells narrower
        return True
    if found.ruled:
        return _goes_on(sight, across, down) or _lined_inside(sight, across, down)
    return cells is None and _share_inside(sight, across, down) < _WHOLE


_WIDER_PX: Final = 2
_NEARLY: Final = 0.7
"""The part of what the best pair explains from which another may be the chart, where the best is refuted."""


def _likeliest(sight: Sight, cells: tuple[int, int] | None) -> list[Found]:
    """The pairs of chains that explain most, the best first."""
    profiles = sight.upright.mean(axis=0, dtype=np.float64), sight.level.mean(axis=0, dtype=np.float64)
    own = [pitches_of(profile)[:4] if len(profile) > 4 * LEAST_PITCH_PX else [] for profile in profiles]
    rows = [chains(profile, own[1 - at]) for at, profile in enumerate(profiles)]
    pairs = [(across, down) for across in rows[0] for down in rows[1] if _shapely(across, down)]
    found = sorted((judged(sight, *pair, cells) for pair in pairs), key=lambda one: -one.worth)
    return [one for one in found if one.worth >= _NEARLY * found[0].worth]


def _shapely(across: Cells, down: Cells) -> bool:
    return 1 / _OBLONG < _axis(across).pitch_px / _axis(down).pitch_px < _OBLONG


def _goes_on(sight: Sight, across: Cells, down: Cells) -> bool:
    """Whether a side is not closed by a line, or lines run on beyond it."""
    for edges, cells, other, crossed in (
        (sight.upright_closed, across, down, sight.level_closed),
        (sight.level_closed, down, across, sight.upright_closed),
    ):
        closing = _along(edges, cells, other).mean(axis=1)
        pitch, size = _axis(cells).pitch_px, edges.shape[1] - 1
        for closed, first, last in (
            (closing[0], max(0, int(cells[0, 0] - pitch)), int(cells[0, 0])),
            (closing[-1], int(cells[-1, 1]), min(size, int(cells[-1, 1] + pitch))),
        ):
            if closed < _CLOSED or first == last:
                return True
            line = int(_axis(cells).widths.max()) + 2
            strip = np.array([[first, last - line] if last == cells[0, 0] else [first + line, last]])
            if last - first > 0.3 * pitch + line:
                on = _along(crossed, other, strip)
                if float((on >= _RUNS_ON).mean()) >= _RUNS_ON:
                    return True
    return False


def _share_inside(sight: Sight, across: Cells, down: Cells) -> float:
    """How much of all edges of the picture lies within the cells: without lines, what is outside may be cells too."""
    (left, right), (top, bottom) = (
        (max(0, int(cells[0, 0]) - _SOFT_PX), int(cells[-1, 1]) + _SOFT_PX + 1) for cells in (across, down)
    )
    inside = sight.upright[top:bottom, left:right].sum() + sight.level[left:right, top:bottom].sum()
    return float(inside / max(sight.upright.sum() + sight.level.sum(), 1.0))


def _lined_inside(sight: Sight, across: Cells, down: Cells) -> bool:
    """Whether lines run through the cells as they do between them: then those are not the cells."""
    for edges, cells, other in ((sight.upright_closed, across, down), (sight.level_closed, down, across)):
        profile = edges[other[0, 0] : other[-1, 1]].mean(axis=0)
        inset = np.maximum(2, (0.15 * (cells[:, 1] - cells[:, 0])).astype(np.intp))
        inside = [
            float(profile[first + by : last - by + 1].max(initial=0))
            for (first, last), by in zip(cells.tolist(), inset.tolist(), strict=True)
        ]
        lines = float(np.median(np.maximum(profile[cells[:, 0]], profile[cells[:, 1]])))
        if float(np.median(inside)) >= _INSIDE * lines:
            return True
    return False

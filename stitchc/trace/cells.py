"""What stands in each cell: cells sampled, known signs recognised, other marks sorted into kinds by their look.

Knows a lattice and pixels; what a kind of mark means is the user's to say.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.chart import KNIT, SLIP, TUCK
from stitchc.drawn.symbols import NOTATIONS, Area, Face, Notation, Ring, Spot, Stroke, symbol
from stitchc.trace.grid import Lattice
from stitchc.trace.picture import Pixels, paper_colour

Patches = npt.NDArray[np.float32]
"""Each cell's inside in s x s samples of three colours, 1 being paper: (rows, columns, s, s, 3), top row first."""
Codes = npt.NDArray[np.uint8]
Shares = npt.NDArray[np.float32]

_BORDER: Final = 0.13
"""The part of a cell at each side that may belong to its lines."""
_MANY: Final = 60_000


def sampled(pixels: Pixels, lattice: Lattice) -> Patches:
    """The cells' insides, each sample the mean of its surroundings."""
    columns, rows = lattice.size
    across, down = lattice.across, lattice.down
    pitch = min(across.pitch_px, down.pitch_px)
    side = 7 if columns * rows <= _MANY else 5 if columns * rows <= 4 * _MANY else 3
    places = _BORDER + (1 - 2 * _BORDER) * (np.arange(side) + 0.5) / side
    xs = (across.start_px + across.pitch_px * (np.arange(columns)[:, None] + places)).ravel()
    ys = (down.start_px + down.pitch_px * (np.arange(rows)[:, None] + places)).ravel()
    blur = max(1, round((1 - 2 * _BORDER) * pitch / side))
    paper = np.maximum(paper_colour(pixels), 32)
    out = np.empty((rows, columns, side, side, 3), dtype=np.float32)
    x0 = np.clip(np.floor(xs).astype(int), 0, pixels.shape[1] - 2)
    y0 = np.clip(np.floor(ys).astype(int), 0, pixels.shape[0] - 2)
    fx = np.clip(xs - x0, 0, 1).astype(np.float32)[None, :]
    fy = np.clip(ys - y0, 0, 1).astype(np.float32)[:, None]
    for channel in range(3):
        plane = pixels[:, :, channel].astype(np.float32) / paper[channel]
        if blur > 1:
            plane = ndimage.uniform_filter(plane, blur)
        upper = plane[np.ix_(y0, x0)] * (1 - fx) + plane[np.ix_(y0, x0 + 1)] * fx
        lower = plane[np.ix_(y0 + 1, x0)] * (1 - fx) + plane[np.ix_(y0 + 1, x0 + 1)] * fx
        values = upper * (1 - fy) + lower * fy
        out[..., channel] = values.reshape(rows, side, columns, side).swapaxes(1, 2)
    beyond = np.logical_or.outer((ys < -0.5) | (ys > pixels.shape[0] - 0.5), (xs < -0.5) | (xs > pixels.shape[1] - 0.5))
    if beyond.any():
        _completed(out, beyond.reshape(rows, side, columns, side).swapaxes(1, 2))
    return np.minimum(out, 1.1)


_LIKE_WHOLE: Final = 0.12
_COMPARED: Final = 500


def _completed(patches: Patches, beyond: npt.NDArray[np.bool_]) -> None:
    """Cells that the picture's edge cuts taken, in place, for the whole cell that what is left of them looks like; for
    themselves turned half round where there is none, as nearly all marks look the same then."""
    part = beyond.any(axis=(2, 3))
    whole = patches[~part]
    whole = whole[:: max(1, len(whole) // _COMPARED)]
    for row, column in np.argwhere(part).tolist():
        cell, missing = patches[row, column].copy(), beyond[row, column]
        if len(whole) and not missing.all():
            away = np.sqrt(np.square(whole - cell)[:, ~missing].mean(axis=(1, 2)))
            best = int(np.argmin(away))
            if away[best] < _LIKE_WHOLE:
                patches[row, column] = whole[best]
                continue
        patches[row, column][missing] = cell[::-1, ::-1][missing]


DARK: Final = 115.0
"""The mean of red, green and blue, of 255, under which the ground of cells is dark."""
_ALIKE: Final = 0.2
"""How far the ground of one cell may be from the others': filled cells have another."""
_ENOUGH_CELLS: Final = 12
"""Cells from which such a ground is none by chance, as it may be in a landscape."""
_MARKED: Final = 0.04
"""The part of some cell that is lighter than the ground where marks stand on it."""


def negative_of(pixels: Pixels, lattice: Lattice) -> Pixels | None:
    """The picture with light and dark exchanged where light marks stand on dark cells; None for any other.

    A chart of filled squares is no negative: the grounds of its cells differ, and which are the marks is not seen.
    """
    if lattice.across.cells * lattice.down.cells < _ENOUGH_CELLS:
        return None
    left, right = max(0, round(lattice.across.start_px)), round(lattice.across.end_px) + 1
    top, bottom = max(0, round(lattice.down.start_px)), round(lattice.down.end_px) + 1
    if float(np.median(pixels[top:bottom:2, left:right:2])) > 1.5 * DARK:  # no need to look closer
        return None
    turned = 255 - pixels
    if 255 - float(np.mean(paper_colour(turned))) > DARK:
        return None
    patches = sampled(turned, lattice)
    rim = np.ones(patches.shape[2:4], dtype=np.bool_)
    rim[1:-1, 1:-1] = False
    grounds = np.percentile(patches[:, :, rim], 75, axis=2)  # a mark may run to the cell's edge
    if float(np.percentile(np.abs(grounds - np.median(grounds, axis=(0, 1))).max(axis=2), 99.5)) > _ALIKE:
        return None
    lighter = (grounds[:, :, None, None] - patches).max(axis=4) > _ALIKE
    return turned if float(lighter.mean(axis=(2, 3)).max()) >= _MARKED else None


# -- known signs ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Signs:
    """Cells read as the signs of a notation. away: the mean distance of cells from their sign, 0 for a perfect fit.

    apart: how many times farther the cells are from the signs of the next notation; 0 where no other was tried.
    """

    notation: Notation
    face: Face | None
    codes: Codes
    distances: Shares
    """(rows, columns, 3): how far each cell is from the signs for K, T and S."""
    away: float
    apart: float = 0.0

    @property
    def telling(self) -> bool:
        """Whether the cells hardly could be anything else: a thread that runs through all of them is no chance."""
        return self.notation == "thread" and self.apart >= _TELLING


_TELLING: Final = 1.6
_LIKE: Final = 0.14
"""The mean distance up to which cells are taken for a notation's signs."""
_LIKE_IF_TELLING: Final = 0.17
"""The same for signs so full that no others come near; in small cells they look a little unlike themselves."""
_STRENGTHS: Final = (1.0, 0.85, 0.7, 0.55, 0.42, 0.32)
_BLURS: Final = (0.0, 0.6, 1.1)
"""Standard deviations in samples, of which a cell has seven."""
_SLACK: Final = (-0.05, 0.0, 0.05)
_MOST_FULL: Final = 0.55
"""The share of a cell that a sign blackens at most; those of ours and of the published notations stay under 0.45."""


def known_signs(patches: Patches, only: Notation | None = None) -> Signs | None:
    """The published notation or the plain signs that the cells fit, or None where they fit none well."""
    rows, columns, side = patches.shape[:3]
    if side < 5 or rows * columns == 0:
        return None
    dark = np.clip(1 - patches.min(axis=4), 0, 1).reshape(rows * columns, side * side)
    black = float(np.percentile(dark.max(axis=1), 98))
    if black < 0.15:
        return None
    if only is None and float(np.percentile((dark > 0.5 * black).mean(axis=1), 98)) > _MOST_FULL:
        return None  # filled squares, of which only who drew them knows the meaning
    some = dark[:: max(1, len(dark) // 500)]
    found: list[Signs] = []
    seen: dict[float, tuple[Shares, list[list[Shares]]]] = {}
    for notation in NOTATIONS if only is None else (only,):
        faces: tuple[Face, ...] = ("purl", "knit") if notation == "squared" else ("purl",)
        for face in faces:
            # how black and how blurred the signs are is found by trying: no sign need be there that is all black
            tried = [
                (float(_distances(some / strength, models).min(axis=1).mean()) * strength**0.5, at, strength, models)
                for at, blur in enumerate(_BLURS)
                for models in [[_models(code, notation, face, side, blur) for code in (KNIT, TUCK, SLIP)]]
                for strength in _STRENGTHS
            ]
            _, _, strength, models = min(tried, key=lambda found: found[:3])
            distances = _distances(dark / strength, models)
            nearest = distances.argmin(axis=1)
            away = float(distances.min(axis=1).mean())
            found.append(
                Signs(
                    notation,
                    face if notation == "squared" and bool((nearest == KNIT).any()) else None,
                    nearest.astype(np.uint8).reshape(rows, columns),
                    distances.reshape(rows, columns, 3),
                    away,
                )
            )
            seen[away] = dark / strength, models
    best = min(found, key=lambda signs: signs.away)
    others = [signs.away for signs in found if signs.notation != best.notation]
    if others:
        best = replace(best, apart=min(others) / max(best.away, 1e-6))
    if best.away > (_LIKE_IF_TELLING if best.telling else _LIKE) or (
        only is None and not _tells_much(best, seen[best.away][1])
    ):
        return None
    return _learned(best, *seen[best.away])


def signs_of(patches: Patches, notation: Notation, face: Face) -> Signs | None:
    """The cells as signs of this notation, drawn cleanly in black on white; None where the cells are too small."""
    rows, columns, side = patches.shape[:3]
    if side < 5 or rows * columns == 0:
        return None
    dark = np.clip(1 - patches.min(axis=4), 0, 1).reshape(rows * columns, side * side)
    tried = []
    for blur in _BLURS:  # small cells are sampled softly
        distances = _distances(dark, [_models(code, notation, face, side, blur) for code in (KNIT, TUCK, SLIP)])
        tried.append((float(distances.min(axis=1).mean()), distances))
    away, distances = min(tried, key=lambda pair: pair[0])
    codes = distances.argmin(axis=1).astype(np.uint8).reshape(rows, columns)
    shown = face if notation == "squared" and bool((codes == KNIT).any()) else None
    return Signs(notation, shown, codes, distances.reshape(rows, columns, 3), away)


_ENOUGH: Final = 3
"""Cells of a sign from which its look in this very picture is learned."""


def _learned(signs: Signs, dark: Shares, models: list[list[Shares]]) -> Signs:
    """The same signs measured against how they look in this picture, blurred and thickened as it may be."""
    shape = signs.codes.shape
    codes = signs.codes.ravel()
    for code, moved in enumerate(models):
        members = dark[codes == code]
        if len(members) >= _ENOUGH:
            moved.append(np.median(members, axis=0).reshape(moved[0].shape))
    distances = _distances(dark, models)
    return replace(
        signs, codes=distances.argmin(axis=1).astype(np.uint8).reshape(shape), distances=distances.reshape(*shape, 3)
    )


_LIKE_EACH: Final = 0.2
_NEARER: Final = 0.8
_LIKE_FEW: Final = 0.15
"""How far the cells of each sign may be from it on average; the second where only two different signs were found."""


def _tells_much(signs: Signs, models: list[list[Shares]]) -> bool:
    """Whether something was recognised: a page of empty squares says nothing, and no stitch slips on every needle; nor
    does a sign prove much that is unlike its cells, or to which an empty square would be about as near."""
    if (signs.codes == SLIP).all():
        return False
    nearest = signs.distances.min(axis=2)
    present = np.unique(signs.codes)
    most = _LIKE_FEW if len(present) < 3 else _LIKE_EACH
    if signs.telling:
        return True
    for code in present.tolist():
        away = float(nearest[signs.codes == code].mean())
        empty = min(float(np.sqrt(np.square(model).mean())) for model in models[code])
        if away > most or (empty > 0 and away > _NEARER * empty):
            return False
    return True


def _distances(dark: Shares, models: list[list[Shares]]) -> Shares:
    """How far each cell is from each sign, the sign being moved a little about for the best fit: (cells, signs)."""
    own = np.square(dark).sum(axis=1)
    columns = []
    for moved in models:
        stack = np.stack([model.ravel() for model in moved])
        squares = own[:, None] - 2 * dark @ stack.T + np.square(stack).sum(axis=1)[None, :]
        columns.append(np.sqrt(np.maximum(squares.min(axis=1), 0) / dark.shape[1]))
    return np.stack(columns, axis=1).astype(np.float32)


def _models(code: int, notation: Notation, face: Face, side: int, blur: float) -> list[Shares]:
    looks = [_rasterised(code, notation, face, side, dx, dy) for dx in _SLACK for dy in _SLACK]
    return looks if blur == 0 else [ndimage.gaussian_filter(look, blur, mode="nearest") for look in looks]


def _rasterised(code: int, notation: Notation, face: Face, side: int, dx: float, dy: float) -> Shares:
    """The sign as it looks in the samples of a cell: ink from 0 to 1, (side, side)."""
    finer = 8
    places = _BORDER + (1 - 2 * _BORDER) * (np.arange(side * finer) + 0.5) / (side * finer)
    x, y = np.meshgrid(places - dx, places - dy)
    ink = np.zeros_like(x)
    for shape in symbol(code, notation, face):
        match shape:
            case Spot():
                inside = np.hypot(x - shape.centre[0], y - shape.centre[1]) <= shape.radius
            case Ring():
                off = np.hypot(x - shape.centre[0], y - shape.centre[1]) - shape.radius
                inside = np.abs(off) <= shape.width / 2
            case Stroke():
                inside = _off_line(x, y, shape.points) <= shape.width / 2
            case Area():
                inside = _within(x, y, shape.points)
        ink = np.maximum(ink, np.where(inside, shape.ink, 0))
    return np.asarray(ink.reshape(side, finer, side, finer).mean(axis=(1, 3)), dtype=np.float32)


def _off_line(
    x: npt.NDArray[np.float64], y: npt.NDArray[np.float64], points: tuple[tuple[float, float], ...]
) -> npt.NDArray[np.float64]:
    """The distance of each place from a line through points."""
    best = np.full(x.shape, np.inf)
    for (x1, y1), (x2, y2) in pairwise(points):
        length = max((x2 - x1) ** 2 + (y2 - y1) ** 2, 1e-12)
        along = np.clip(((x - x1) * (x2 - x1) + (y - y1) * (y2 - y1)) / length, 0, 1)
        best = np.minimum(best, np.hypot(x - x1 - along * (x2 - x1), y - y1 - along * (y2 - y1)))
    return best


def _within(
    x: npt.NDArray[np.float64], y: npt.NDArray[np.float64], points: tuple[tuple[float, float], ...]
) -> npt.NDArray[np.bool_]:
    inside = np.zeros(x.shape, dtype=np.bool_)
    for (x1, y1), (x2, y2) in zip(points, (*points[1:], points[0]), strict=True):
        if y1 != y2:
            crossing = x1 + (y - y1) * (x2 - x1) / (y2 - y1)
            inside ^= ((y1 > y) != (y2 > y)) & (x < crossing)
    return inside


# -- kinds of marks -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Kind:
    """One kind of cell. ink: how dark it is, 0 to 1; colour: of its ink, or of the cell where there is hardly any.

    full: the ink where there is most of it. example: row from the top and column from the left of its most typical
    cell. Of light marks on a dark ground, ink is what is light.
    """

    colour: tuple[int, int, int]
    ink: float
    full: float
    count: int
    example: tuple[int, int]


@dataclass(frozen=True)
class Kinds:
    """Cells sorted by look, the lightest kind first. distances: (rows, columns, kinds)."""

    kinds: tuple[Kind, ...]
    of: Codes
    distances: Shares


_APART: Final = 0.13
"""Kinds whose looks differ by less than this are one kind; where the picture is clean, down to a third of it
counts."""
_GRAINS: Final = 5.0
_MOST_KINDS: Final = 12
_MOST_LOOKS: Final = 100_000
"""Cells by which kinds are found; more take seconds and tell no more."""


def kinds_of(patches: Patches, pixels: Pixels | None = None, lattice: Lattice | None = None) -> Kinds:
    """The cells sorted into kinds: a look is the mean colours of a cell's nine parts, or its one colour.

    pixels, lattice: where the cells were sampled, so that the ink of thin marks is seen unmixed with paper.
    """
    if patches.strides[2] == patches.strides[3] == 0:
        patches = patches[:, :, :1, :1]  # cells of one colour each: a part tells as much as nine
    rows, columns, side = patches.shape[:3]
    looks = _looks(patches)
    some = _some_of(looks)
    centres = _merged(some, _centres(some, _APART), _APART)
    grain = _grain(looks)
    apart = min(_APART, max(_APART / 3, _GRAINS * grain))
    if apart < _APART:
        centres = _merged(some, _centres(some, apart), apart)
    for _ in range(6):
        nearest = _away(some, centres).argmin(axis=1)
        moved = np.stack([np.median(some[nearest == kind], axis=0) for kind in range(len(centres))])
        if np.allclose(moved, centres, atol=1e-4):
            break
        centres = _merged(some, moved, apart)
    distances = _away(looks, centres)
    order = np.argsort(1 - centres.mean(axis=1), kind="stable")
    centres, distances = centres[order], distances[:, order]
    nearest = distances.argmin(axis=1)
    flat = patches.reshape(rows * columns, side * side, 3)
    kinds = []
    for kind in range(len(centres)):
        members = np.flatnonzero(nearest == kind)
        best = int(members[np.argmin(distances[members, kind])]) if len(members) else 0
        kind_ = _described(flat[members[:2000]], len(members), (best // columns, best % columns))
        if pixels is not None and lattice is not None and kind_.ink >= _HARDLY:
            step = max(1, len(members) // 100)
            colour = _inked(pixels, lattice, members[::step], columns)
            kind_ = replace(kind_, colour=colour, full=_full(colour))
        kinds.append(kind_)
    return Kinds(
        tuple(kinds),
        nearest.astype(np.uint8).reshape(rows, columns),
        distances.astype(np.float32).reshape(rows, columns, len(centres)),
    )


def _some_of(looks: Shares) -> Shares:
    """Looks enough to find the kinds by: all of them, or of very many as many as do, and the strangest among them."""
    if len(looks) <= _MOST_LOOKS:
        return looks
    some = looks[np.random.default_rng(0).integers(0, len(looks), _MOST_LOOKS)]
    return np.concatenate([some, _centres(looks, _APART / 3)])


def _grain(looks: Shares) -> float:
    """How far cells that look most alike are from each other."""
    some = looks[:: max(1, len(looks) // 250)][:300]
    if len(some) < 2:
        return 0.0
    gaps = _away(some, some)
    np.fill_diagonal(gaps, np.inf)
    return float(np.percentile(gaps.min(axis=1), 75))


def _looks(patches: Patches) -> Shares:
    rows, columns, side = patches.shape[:3]
    if side == 1:
        return patches.reshape(rows * columns, 3)
    edges = np.round(np.linspace(0, side, 4)).astype(int)
    parts = [
        patches[:, :, edges[i] : edges[i + 1], edges[j] : edges[j + 1]].mean(axis=(2, 3))
        for i in range(3)
        for j in range(3)
    ]
    return np.stack(parts, axis=2).reshape(rows * columns, 27)


def _away(looks: Shares, centres: Shares) -> Shares:
    """Root-mean-square difference of each look from each centre, (cells, kinds)."""
    away = np.empty((len(looks), len(centres)), dtype=looks.dtype)
    for at, centre in enumerate(centres):
        gap = looks - centre
        np.sqrt(np.einsum("ij,ij->i", gap, gap) / gap.shape[1], out=away[:, at])
    return away


def _centres(looks: Shares, apart: float) -> Shares:
    """Looks far from each other, each a new kind as long as some cell is far from all kinds so far."""
    chosen = [int(np.argmax(looks.mean(axis=1)))]
    nearest = _away(looks, looks[chosen])[:, 0]
    while len(chosen) < _MOST_KINDS and float(nearest.max()) > apart:
        chosen.append(int(np.argmax(nearest)))
        np.minimum(nearest, _away(looks, looks[chosen[-1:]])[:, 0], out=nearest)
    return looks[chosen]


def _merged(looks: Shares, centres: Shares, apart: float) -> Shares:
    """Kinds that hardly differ made one, and kinds without cells dropped."""
    kept = list(centres)
    while len(kept) > 1:
        gaps = _away(np.stack(kept), np.stack(kept))
        np.fill_diagonal(gaps, np.inf)
        i, j = divmod(int(np.argmin(gaps)), len(kept))
        if gaps[i, j] >= apart:
            break
        members = np.bincount(_away(looks, np.stack(kept)).argmin(axis=1), minlength=len(kept))
        kept.pop(i if members[i] < members[j] else j)
    centres = np.stack(kept)
    members = np.bincount(_away(looks, centres).argmin(axis=1), minlength=len(centres))
    return centres[members > 0]


_HARDLY: Final = 0.03


def _inked(pixels: Pixels, lattice: Lattice, members: npt.NDArray[np.intp], columns: int) -> tuple[int, int, int]:
    """The colour of the ink in some cells: the median of their darkest pixels."""
    paper = np.maximum(paper_colour(pixels), 32)
    found = []
    for row, column in zip(*divmod(members, columns), strict=True):
        box = []
        for axis, number, size in ((lattice.down, row, pixels.shape[0]), (lattice.across, column, pixels.shape[1])):
            first = round(axis.start_px + axis.pitch_px * (number + 0.2))
            last = round(axis.start_px + axis.pitch_px * (number + 0.8))
            box.append(slice(max(0, min(first, size - 1)), max(1, min(size, max(last, first + 1)))))
        inside = pixels[box[0], box[1]].reshape(-1, 3) / paper
        if len(inside):
            dark = inside[np.argsort(inside.min(axis=1))]
            found.append(np.median(dark[: max(1, len(dark) // 12)], axis=0))
    red, green, blue = (round(255 * float(min(1.0, value))) for value in np.median(found, axis=0))
    return red, green, blue


def _described(flat: Shares, count: int, example: tuple[int, int]) -> Kind:
    if not len(flat):
        return Kind((255, 255, 255), 0.0, 0.0, 0, example)
    ink = np.clip(1 - flat.min(axis=2), 0, 1)
    weights = np.square(ink)
    if float(weights.mean()) < 0.01:
        colour = flat.mean(axis=(0, 1))
    else:
        strongest = ink >= np.percentile(ink, 75) * 0.9
        weights = weights * strongest
        colour = (flat * weights[..., None]).sum(axis=(0, 1)) / weights.sum()
    red, green, blue = (round(255 * float(min(1.0, max(0.0, channel)))) for channel in colour)
    return Kind((red, green, blue), float(ink.mean()), _full((red, green, blue)), count, example)


def _full(colour: tuple[int, int, int]) -> float:
    return 1 - min(colour) / 255


_SPECK: Final = 0.03
"""How much darker than the others something in a blank cell is, at least, for it to be seen at all."""
_ABOVE_GRAIN: Final = 7.0
"""The same in terms of how much the darkest parts of most cells differ."""


def specks(patches: Patches) -> npt.NDArray[np.bool_]:
    """The cells in which there is something too small or too faint to make a kind of its own: (rows, columns)."""
    dark = 1 - patches.min(axis=4)
    most = (dark - np.median(dark, axis=(0, 1))).max(axis=(2, 3))
    usual = np.median(most)
    grain = 1.4826 * float(np.median(np.abs(most - usual)))
    return np.asarray(most > usual + max(_SPECK, _ABOVE_GRAIN * grain))


def as_seen(kinds: Kinds, turned: Pixels) -> Kinds:
    """Kinds that were found in a negative, in the colours of the picture itself. turned: the negative's pixels."""
    ground = np.maximum(paper_colour(turned), 32) / 255
    there = [255 - np.round(np.array(kind.colour) * ground).astype(int) for kind in kinds.kinds]
    return replace(
        kinds,
        kinds=tuple(
            replace(kind, colour=(int(red), int(green), int(blue)))
            for kind, (red, green, blue) in zip(kinds.kinds, there, strict=True)
        ),
    )


# -- certainty ------------------------------------------------------------------------------------------------------


_CLEAN: Final = 0.015
"""The least spread of distances, where cells of a kind hardly differ."""


def certainty(distances: Shares, spread: float = 0.06, stranger: float = 0.45) -> Shares:
    """How likely each choice is, given how far the cell is from each: shares that sum to less than 1 by as much as
    the cell is like none of them.

    Distances are taken as normal with a spread that the cells themselves show, at least `spread`; something that is
    none of the choices lies `stranger` away, or nearer where all cells are clean.
    """
    nearest = distances.min(axis=-1)
    own = float(np.sqrt(np.square(nearest).mean()))
    width = min(0.14, max(own, min(spread, max(_CLEAN, 3 * own))))
    stranger *= min(1.0, width / spread)
    exponent = -np.square(distances) / (2 * width * width)
    other = -(stranger**2) / (2 * width * width)
    top = np.maximum(exponent.max(axis=-1, keepdims=True), other)
    weights = np.exp(exponent - top)
    return np.asarray(weights / (weights.sum(axis=-1, keepdims=True) + np.exp(other - top)), dtype=np.float32)

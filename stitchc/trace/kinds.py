"""Marks of any make sorted into kinds of cells by their look, with the colour, ink and an example of each.

Knows looks; what a kind means is the user's to say.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.trace.cells import Codes, Patches, Shares
from stitchc.trace.grid import Lattice
from stitchc.trace.marked import Marked
from stitchc.trace.picture import Pixels, paper_colour
from stitchc.trace.pixels import MOST_COLOURS, colours_of


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
    """Cells sorted by look, the lightest kind first. distances: (rows, columns, kinds).

    shades: the ink of each kind, the lightest first, of which the blank and the marked one were made.
    """

    kinds: tuple[Kind, ...]
    of: Codes
    distances: Shares
    shades: tuple[float, ...] = ()

    def with_two(self, rest: list[int], found: Marked, patches: Patches) -> Kinds:
        """The same with a blank and a marked kind in place of the rest. patches: of all cells."""
        among = np.isin(self.of, rest)
        two = []
        for cells in (among & ~found.cells, found.cells):
            counts = np.bincount(self.of[cells], minlength=len(self.kinds))
            usual = self.kinds[int(counts.argmax())]
            if not cells[usual.example]:
                usual = replace(usual, example=divmod(int(cells.argmax()), cells.shape[1]))
            if len(rest) == 1:
                usual = _described(patches[cells][:2000].reshape(-1, patches.shape[2] ** 2, 3), 0, usual.example)
            two.append(replace(usual, count=int(cells.sum())))
        named = [at for at in range(len(self.kinds)) if at not in rest]
        distances = np.where(among[..., None], found.distances, _FAR)
        return Kinds(
            (two[0], *(self.kinds[at] for at in named), two[1]),
            np.select([found.cells, among], [len(named) + 1, 0], np.searchsorted(named, self.of) + 1).astype(np.uint8),
            np.concatenate([distances[..., :1], self.distances[..., named], distances[..., 1:]], axis=2),
            tuple(self.kinds[at].ink for at in rest) if len(rest) > 2 else (),
        )


_FAR: Final = 1.0
_APART: Final = 0.13
"""Kinds whose looks differ by less than this are one kind; where the picture is clean, down to a third of it
counts."""
_GRAINS: Final = 5.0
_MOST_KINDS: Final = 12
_MOST_LOOKS: Final = 100_000
"""Cells by which kinds are found; more take seconds and tell no more."""


def kinds_of(
    patches: Patches, pixels: Pixels | None = None, lattice: Lattice | None = None, hued: bool = False
) -> Kinds:
    """The cells sorted into kinds: a look is the mean colours of a cell's nine parts, or its one colour.

    pixels, lattice: where the cells were sampled, so that the ink of thin marks is seen unmixed with paper. hued:
    whether the ink's hue counts, however little ink there is.
    """
    if patches.strides[2] == patches.strides[3] == 0:
        patches = patches[:, :, :1, :1]  # cells of one colour each: a part tells as much as nine
    rows, columns, side = patches.shape[:3]
    looks = _looks(patches, hued)
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
    order = np.argsort(1 - centres[:, :27].mean(axis=1), kind="stable")
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


_HUE: Final = 1.5
"""How much the hue of a cell's ink counts, beside the nine parts: thin marks of two colours hardly differ in these."""


def _looks(patches: Patches, hued: bool) -> Shares:
    """The mean colours of a cell's nine parts, and the hue of its ink however little there is; or its one colour."""
    rows, columns, side = patches.shape[:3]
    if side == 1:
        return patches.reshape(rows * columns, 3)
    edges = np.round(np.linspace(0, side, 4)).astype(int)
    parts = [
        patches[:, :, edges[i] : edges[i + 1], edges[j] : edges[j + 1]].mean(axis=(2, 3))
        for i in range(3)
        for j in range(3)
    ]
    looks = np.stack(parts, axis=2).reshape(rows * columns, 27)
    if not hued:
        return looks
    ink = 1 - patches.reshape(rows * columns, side * side, 3)
    hue = (ink * np.square(ink.max(axis=2, keepdims=True))).sum(axis=1)
    hue /= np.maximum(np.linalg.norm(hue, axis=1, keepdims=True), 1e-6)
    seen = np.clip((ink.max(axis=2).mean(axis=1) - _HARDLY) / _HARDLY, 0, 1)
    return np.concatenate([looks, _HUE * seen[:, None] * hue], axis=1)


def _away(looks: Shares, centres: Shares) -> Shares:
    """Root-mean-square difference of each look from each centre, (cells, kinds)."""
    away = np.empty((len(looks), len(centres)), dtype=looks.dtype)
    for at, centre in enumerate(centres):
        gap = looks - centre
        np.sqrt(np.einsum("ij,ij->i", gap, gap) / gap.shape[1], out=away[:, at])
    return away


def _centres(looks: Shares, apart: float) -> Shares:
    """Looks far from each other, each a new kind as long as some cell is far from all kinds so far."""
    chosen = [int(np.argmax(looks[:, :27].mean(axis=1)))]
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
            first, last = round(axis.at(number + 0.2)), round(axis.at(number + 0.8))
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


def kinds_of_blocks(cells: Pixels) -> Kinds:
    """Kinds of cells of one colour each."""
    numbers = colours_of(cells)
    values, first, of, counts = np.unique(numbers, return_index=True, return_inverse=True, return_counts=True)
    if len(values) > MOST_COLOURS:
        some = cells.astype(np.float32) / 255
        return kinds_of(np.broadcast_to(some[:, :, None, None, :], (*some.shape[:2], 3, 3, 3)))
    colours = [((value >> 16) & 255, (value >> 8) & 255, value & 255) for value in values.tolist()]
    lightness = np.array([sum(colour) for colour in colours])
    order = np.argsort(-lightness, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    kinds = tuple(
        Kind(colours[at], *2 * (1 - min(colours[at]) / 255,), int(counts[at]), divmod(int(first[at]), cells.shape[1]))
        for at in order.tolist()
    )
    index = rank[of.reshape(numbers.shape)].astype(np.uint8)
    distances = np.ones((*index.shape, len(kinds)), dtype=np.float32)
    np.put_along_axis(distances, index[..., None].astype(np.intp), 0, axis=-1)
    return Kinds(kinds, index, distances)


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

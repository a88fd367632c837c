"""Marks of any make sorted into kinds of cells by their look, with the colour, ink and an example of each.

Knows looks; what a kind means is the user's to say.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.trace.cells import Codes, Patches, Shares, certainty
from stitchc.trace.grid import Axis, Lattice
from stitchc.trace.marked import (
    all_marked,
    inked_in,
    may_be_blots,
    off_colour,
    parted,
    sorted_by_colour,
    sorted_by_examples,
)
from stitchc.trace.picture import Pixels, full_light
from stitchc.trace.pixels import MOST_COLOURS, colours_of
from stitchc.trace.tints import Tint
from stitchc.trace.traced import Key, Rgb


@dataclass(frozen=True)
class Kind:
    """One kind of cell. ink: how dark it is, 0 to 1; on_white: the colour of its ink, or of the cell where there is
    hardly any, as it would be if the picture's paper were white; colour: the same as it is in the picture.

    full: the ink where there is most of it. example: row from the top and column from the left of its most typical
    cell. Of light marks on a dark ground, ink is what is light.
    """

    on_white: Rgb
    ink: float
    full: float
    count: int
    example: tuple[int, int]
    colour: Rgb = (0, 0, 0)

    @property
    def filled(self) -> bool:
        """Whether its ink is all over the cell, and not drawn on what is paper."""
        return self.ink >= _FILLED * self.full


@dataclass(frozen=True)
class Kinds:
    """Cells sorted by look, the lightest kind first. shares: how likely each kind is, (rows, columns, kinds).

    codes: what each kind means, where the user's words for the kinds made it; tints: of the paper, that are no kinds.
    """

    kinds: tuple[Kind, ...]
    of: Codes
    shares: Shares
    codes: tuple[int | None, ...] = ()
    tints: tuple[Tint, ...] = ()


_FILLED: Final = 0.75
_APART: Final = 0.13
"""Kinds whose looks differ by less than this are one kind; where the picture is clean, down to a quarter of it
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
    apart = min(_APART, max(_APART / 4, _GRAINS * grain))
    if apart < _APART:
        centres = _merged(some, _centres(some, apart), apart)
    for _ in range(6):
        nearest = unlikeness(some, centres).argmin(axis=1)
        moved = np.stack([np.median(some[nearest == kind], axis=0) for kind in range(len(centres))])
        if np.allclose(moved, centres, atol=1e-4):
            break
        centres = _merged(some, moved, apart)
    distances = unlikeness(looks, centres)
    order = np.argsort(1 - centres.mean(axis=1), kind="stable")
    centres, distances = centres[order], distances[:, order]
    nearest = distances.argmin(axis=1)
    flat = patches.reshape(rows * columns, side * side, 3)
    kinds = []
    for kind in range(len(centres)):
        members = np.flatnonzero(nearest == kind)
        best = int(members[np.argmin(distances[members, kind])]) if len(members) else 0
        kind_ = _described(flat[members[:2000]], len(members), (best // columns, best % columns))
        if pixels is not None and lattice is not None:
            inked = _in_its_ink(kind_, pixels, lattice, members)
            kind_ = inked if kind_.ink >= _HARDLY or inked.full >= _DRAWN else kind_
        kinds.append(kind_)
    return Kinds(
        tuple(kinds),
        nearest.astype(np.uint8).reshape(rows, columns),
        certainty(distances.astype(np.float32).reshape(rows, columns, len(centres))),
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
    gaps = unlikeness(some, some)
    np.fill_diagonal(gaps, np.inf)
    return float(np.percentile(gaps.min(axis=1), 75))


def _looks(patches: Patches) -> Shares:
    """The mean colours of a cell's nine parts, or its one colour."""
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


def unlikeness(looks: Shares, centres: Shares) -> Shares:
    """Root-mean-square difference of each look from each centre, (cells, kinds)."""
    away = np.empty((len(looks), len(centres)), dtype=looks.dtype)
    for at, centre in enumerate(centres):
        gap = looks - centre
        np.sqrt(np.einsum("ij,ij->i", gap, gap) / gap.shape[1], out=away[:, at])
    return away


def _centres(looks: Shares, apart: float) -> Shares:
    """Looks far from each other, each a new kind as long as some cell is far from all kinds so far."""
    chosen = [int(np.argmax(looks.mean(axis=1)))]
    nearest = unlikeness(looks, looks[chosen])[:, 0]
    while len(chosen) < _MOST_KINDS and float(nearest.max()) > apart:
        chosen.append(int(np.argmax(nearest)))
        np.minimum(nearest, unlikeness(looks, looks[chosen[-1:]])[:, 0], out=nearest)
    return looks[chosen]


def _merged(looks: Shares, centres: Shares, apart: float) -> Shares:
    """Kinds that hardly differ made one, and kinds without cells dropped."""
    kept = list(centres)
    while len(kept) > 1:
        gaps = unlikeness(np.stack(kept), np.stack(kept))
        np.fill_diagonal(gaps, np.inf)
        i, j = divmod(int(np.argmin(gaps)), len(kept))
        if gaps[i, j] >= apart:
            break
        members = np.bincount(unlikeness(looks, np.stack(kept)).argmin(axis=1), minlength=len(kept))
        kept.pop(i if members[i] < members[j] else j)
    centres = np.stack(kept)
    members = np.bincount(unlikeness(looks, centres).argmin(axis=1), minlength=len(centres))
    return centres[members > 0]


_HARDLY: Final = 0.03
_DRAWN: Final = 0.3
"""The ink of a thin mark where there is most of it; grain has less."""


def kinds_named_by(
    patches: Patches, pixels: Pixels, lattice: Lattice, key: Key, anywhere: bool = False
) -> Kinds | None:
    """The cells sorted into the kinds that the user names; marks that are of more kinds have no meaning. None where
    blank and marked cells do not part clearly.

    pixels, lattice: where the cells were sampled; key: with its example cells as (row, column) of the picture, and its
    colours on white paper; anywhere: whether marks of one kind stand anywhere in their cells.
    """
    inked = inked_in(patches) or (all_marked(patches) if len(key.alike) > 1 else None)
    if inked is None or (key.alike and key.colours):
        return None
    clear = inked.marked | ~inked.odd
    plain = {code for cell, code in key.alike if clear[cell] and not inked.marked[cell]} or {key.light_code}
    if any(not clear[cell] and code not in plain for cell, code in key.alike):
        return None  # what the user names is no blot
    every = bool(inked.marked.all())
    paper = np.round(255 * np.clip(inked.ground, 0.1, 1))
    marks = inked.ink[inked.marked]
    number = np.full(inked.marked.shape, -1)
    number[inked.marked] = np.arange(len(marks))
    examples = [(int(number[cell]), code) for cell, code in key.alike]
    on_paper = [float(np.linalg.norm(paper - colour)) < _SAME_AS_PAPER for colour, _ in key.colours]
    blank = {code for at, code in examples if at < 0}
    blank |= {code for (_, code), same in zip(key.colours, on_paper, strict=True) if same}
    if len(blank) > 1:
        return None
    meanings: list[int | None]
    inks: list[Shares] = []
    if key.colours:
        colours = [given for given, same in zip(key.colours, on_paper, strict=True) if not same]
        others = key.dark is not None or key.dark_code not in {code for _, code in key.colours}
        meanings = [*(code for _, code in colours), *([key.dark_code] if others else [])]
        inks = [np.clip(1 - np.divide(colour, paper), 0, 1).astype(np.float32) for colour, _ in colours]
        groups, shares = sorted_by_colour(marks, inks, others)
        if not set(range(len(colours))) <= set(groups.tolist()):
            return None
    else:
        examples = [(at, code) for at, code in examples if at >= 0] or [(0, key.dark_code)]
        meanings = [*(code for _, code in examples)]
        groups, shares = sorted_by_examples(marks, [at for at, _ in examples], anywhere)
        if every and len({code for _, code in examples}) > len({meanings[group] for group in np.unique(groups)}):
            return None
    dark_group = len(meanings) - 1 if key.dark is not None and not key.alike else None
    unlike = inked.odd[inked.marked]
    for group in range(len(meanings)):
        members, odd = _parted(marks, np.flatnonzero((groups == group) & ~unlike), not key.colours, group != dark_group)
        if len(odd) and _may_be_blots(marks, members, odd, inked.odd.size):
            unlike[odd] = True
            members, odd = _parted(marks, members, not key.colours, group != dark_group)
        if len(odd):
            if group < len(inks):  # those that are nearer to the colour that was named are meant
                off = [float(np.median(off_colour(marks[part], inks[group]))) for part in (members, odd)]
                odd = odd if off[1] > off[0] else members
            else:  # nothing was said of these or of the others
                meanings[group] = None
            groups[odd] = len(meanings)
            meanings.append(None)
            shares = np.concatenate([shares, np.zeros((len(marks), 1), dtype=np.float32)], axis=1)
    of = np.zeros(inked.marked.shape, dtype=np.uint8)
    of[inked.marked] = groups + 1
    of_each = np.zeros((*of.shape, 1 + len(meanings)), dtype=np.float32)
    of_each[..., 0] = 1 - inked.shares
    of_each[inked.marked, 1:] = inked.shares[inked.marked][:, None] * shares
    of_each[~inked.marked, 1] = inked.shares[~inked.marked]
    inked.odd[inked.marked] = unlike
    of_each[inked.odd] = 0
    for row, column in np.argwhere(inked.odd).tolist():
        of_each[row, column, of[row, column]] = _SURE_OF_ODD
        of_each[row, column, 0 if of[row, column] else 1] = 1 - _SURE_OF_ODD
    flat = patches.reshape(*of.shape, -1, 3)
    kinds = []
    for kind in range(1 + len(meanings)):
        cells = np.argwhere(of == kind)
        row, column = cells[int(of_each[of == kind, kind].argmax())].tolist() if len(cells) else (0, 0)
        described = _described(flat[of == kind][:2000], len(cells), (row, column))
        if kind:
            kinds.append(_in_its_ink(described, pixels, lattice, np.flatnonzero(of == kind)))
        else:
            red, green, blue = (int(value) for value in paper)
            kinds.append(replace(described, on_white=(red, green, blue)))
    return Kinds(tuple(kinds), of, of_each, (blank.pop() if blank else key.light_code, *meanings))


def _parted(
    marks: Patches, members: npt.NDArray[np.intp], forms: bool, hues: bool
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Those of the members that look alike, and those that look otherwise; none of the latter where all are alike."""
    odd = parted(marks[members], forms, hues) if len(members) else None
    if odd is None:
        return members, members[:0]
    odd = odd if 2 * odd.sum() <= len(odd) else ~odd
    return members[~odd], members[odd]


def _may_be_blots(marks: Patches, members: npt.NDArray[np.intp], odd: npt.NDArray[np.intp], all_cells: int) -> bool:
    """Whether some marks may be blots beside those of a kind, or its marks with blots on them."""
    ink = marks[odd].max(axis=3)
    off = np.abs(ink - np.median(marks[members].max(axis=3), axis=0))
    return any(may_be_blots(seen, all_cells) for seen in (ink, off))


_SURE_OF_ODD: Final = 0.6
"""How sure it is what a cell is that may be a blot: the user is asked to look at it."""
_SAME_AS_PAPER: Final = 60.0
_DARK_PAGE: Final = 80


def _in_its_ink(kind: Kind, pixels: Pixels, lattice: Lattice, members: npt.NDArray[np.intp]) -> Kind:
    """The same with the colour of the ink in some of its cells: the median of their darkest pixels, or of the lightest
    where most of the picture is dark."""
    light = full_light(pixels)
    on_dark = float(np.median(pixels[::4, ::4])) < _DARK_PAGE
    darkest = []
    some = members[:: max(1, len(members) // 100)]
    axes = lattice.down, lattice.across
    spans = [
        _insides(axis, numbers, size)
        for axis, numbers, size in zip(axes, np.divmod(some, lattice.across.cells), pixels.shape, strict=False)
    ]
    for (top, bottom), (left, right) in zip(*spans, strict=True):
        inside = pixels[top:bottom, left:right].reshape(-1, 3) / light
        if len(inside):
            dark = inside[np.argsort(-inside.max(axis=1) if on_dark else inside.min(axis=1))]
            darkest.append(np.median(dark[: max(1, len(dark) // 12)], axis=0))
    if not darkest:
        return kind
    red, green, blue = (round(255 * float(min(1.0, value))) for value in np.median(darkest, axis=0))
    return replace(kind, on_white=(red, green, blue), full=_full((red, green, blue)))


def _insides(axis: Axis, numbers: npt.NDArray[np.intp], size: int) -> list[tuple[int, int]]:
    """The first and last pixels (exclusive) of what is well within each of these cells. size: of the picture."""
    lines = np.arange(len(axis.lines))
    first, last = (np.interp(numbers + off, lines, axis.lines).round().astype(int).tolist() for off in (0.2, 0.8))
    return [
        (max(0, min(begin, size - 1)), max(1, min(size, max(end, begin + 1))))
        for begin, end in zip(first, last, strict=True)
    ]


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
        found = kinds_of(np.broadcast_to(some[:, :, None, None, :], (*some.shape[:2], 3, 3, 3)))
        return replace(found, kinds=tuple(replace(kind, colour=kind.on_white) for kind in found.kinds))
    colours = [((value >> 16) & 255, (value >> 8) & 255, value & 255) for value in values.tolist()]
    lightness = np.array([sum(colour) for colour in colours])
    order = np.argsort(-lightness, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    kinds = tuple(
        Kind(
            colours[at],
            *2 * (1 - min(colours[at]) / 255,),
            int(counts[at]),
            divmod(int(first[at]), cells.shape[1]),
            colours[at],
        )
        for at in order.tolist()
    )
    index = rank[of.reshape(numbers.shape)].astype(np.uint8)
    return Kinds(kinds, index, np.eye(len(kinds), dtype=np.float32)[index])


def as_seen(kinds: Kinds, pixels: Pixels, negative: bool) -> Kinds:
    """The kinds with their colours in the picture. pixels: those that they were found in; negative: whether these are
    the picture's negative, where on white means on black."""
    light = full_light(pixels) / 255

    def seen(kind: Kind) -> Kind:
        both = np.array(kind.on_white), np.round(np.array(kind.on_white) * light).astype(int)
        on_white, colour = ((int(r), int(g), int(b)) for r, g, b in ([255 - of for of in both] if negative else both))
        return replace(kind, on_white=on_white, colour=colour)

    return replace(kinds, kinds=tuple(map(seen, kinds.kinds)))


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

"""Cells sorted into the kinds that the user names: blank and marked, and the marks by their colours or by examples.

Ink is measured against the light of the blank cells around it and as a ratio, so that neither shadow nor pressure
changes anything. Knows samples of cells; what is not sorted clearly is left to others.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.cells import Patches, Shares

_Values = npt.NDArray[np.float32]
_Groups = npt.NDArray[np.intp]


class Inked(NamedTuple):
    """Which cells are marked, how sure that is, and the ink in every cell. shares: (rows, columns), of being marked;
    odd: cells that may be blots, being unlike all others and few; ink: what each sample lacks of the light on blank
    cells, in three colours; ground: the blank cells' colour."""

    marked: npt.NDArray[np.bool_]
    shares: Shares
    odd: npt.NDArray[np.bool_]
    ink: Patches
    ground: _Values


class Sorted(NamedTuple):
    """The group of each mark, and how likely each group is: (marks, groups)."""

    groups: _Groups
    shares: Shares


_LEAST_LIGHT: Final = 0.7
"""The least light on the page, of the most, that is left when its slow fall was divided out."""
_AROUND: Final = 1.2
"""Cells from which the light on one of them is told; a standard deviation."""
_FAINT: Final = 0.02
"""Ink that may as well be grain."""
_APART: Final = 4.5
"""How far two groups are from each other, of what each of them is spread, where they are two: halves of values that
are spread evenly are at 3.5."""
_CLEAR: Final = 0.7
"""The logarithm of how many times more ink marked cells have than blank ones, at least."""
_LEAST_GAP: Final = 0.25
"""The same of the faintest mark and the darkest blank cell."""
_MOST_BLANK: Final = 0.4
"""The ink of blank cells, at most, of that of marked ones: else both hold marks."""
_COLOURED: Final = 0.5
"""The light of the ground's weakest colour, at least, for the hue of ink on it to be told."""
_FEWEST: Final = 3
"""Cells that make a kind of their own; fewer must be three times as far from the others."""
_BLOTS: Final = 2
_BLOTTED: Final = 0.05
"""Cells that may be blots: so many, or such a part of all."""
_FLAT: Final = 0.12
"""The most by which ink differs within a cell of one shade, of which there is more than that."""
_TRACE: Final = 0.45
"""The darkest of a trace in a blank cell, of the darkest of marks, at most."""
_TWINS: Final = 0.9
_MOST_TWINS: Final = 0.5
"""How much two marks are alike, of 1, that are of one kind, and the part of blots that are so at most."""
_BESIDE_BLOTS: Final = 0.15
"""How much less of a cell than the next mark blots cover, of what marks cover."""
_OTHER_STRENGTH: Final = 0.25
_OTHER_FORM: Final = 0.05
_OTHER_HUE: Final = 0.12
_OTHER_LOOK: Final = 0.12
_SEEN: Final = 0.25
"""The part of a mark's darkest ink from which it is counted."""
_SOFT: Final = 0.8
"""How soft marks are looked at, in samples."""
_SURER: Final = 12.0
"""How soon a cell is sure that lies off the border of two groups."""


def inked_in(patches: Patches) -> Inked | None:
    """The cells that are blank and those that are marked, parted where there is the widest gap in how much ink they
    hold; None where there is no such gap, or where the lighter ones are not blank."""
    rim = (patches.shape[2] - 1) // 6  # which wide lines may bleed into
    patches = patches[:, :, rim:-rim, rim:-rim] if rim else patches
    darkest = patches.min(axis=4)
    seen = np.percentile(patches.max(axis=4), 90, axis=(2, 3)).astype(np.float32)
    light = np.clip(ndimage.maximum_filter(seen, 5), _LEAST_LIGHT, None)
    middles = np.median(patches, axis=(2, 3))
    for _ in range(3):
        dark = np.clip(1 - darkest / light[:, :, None, None], 0, 1)
        strength = np.log(np.power(np.power(dark, 4).mean(axis=(2, 3)), 0.25) + _FAINT)  # which sees thin strokes
        border, gap = _widest_gap(strength)
        blank = strength < border
        if gap == 0:
            return None
        lit = _around(middles.min(axis=2), blank)
        light = np.clip(lit, _LEAST_LIGHT * float(np.median(middles[blank].min(axis=1))), None)
    low, high = float(np.median(strength[blank])), float(np.median(strength[~blank]))
    ground = np.median(middles[blank], axis=0)
    if (
        gap < _LEAST_GAP
        or high - low < _CLEAR
        or np.exp(low) - _FAINT > _MOST_BLANK * np.exp(high)
        or ground.min() < _COLOURED
    ):
        return None
    darker = between(np.exp(strength[blank]), max(_FAINT, 0.1 * float(np.exp(high))))
    odd = blank & (np.exp(strength) >= (np.inf if darker is None else darker))
    peaks = dark.max(axis=(2, 3))
    traces = odd & (peaks <= _TRACE * float(np.median(peaks[~blank])))  # a scanner's streak is alike in many cells
    if not may_be_blots(dark[odd & ~traces], odd.size) or odd.sum() > max(_BLOTS, _BLOTTED * odd.size):
        return None
    covered = dark.mean(axis=(2, 3))  # of which a fleck has little, however black it is
    empty, full = (float(np.median(covered[cells])) for cells in (blank, ~blank))
    blots = ~blank & (covered < (empty + full) / 2)
    if full > empty and blots.any() and may_be_blots(dark[blots], odd.size):
        gap = covered[~blank & ~blots].min() - covered[blots].max()
        if gap > _BESIDE_BLOTS * (full - empty):
            odd, blank = odd | blots, blank | blots
    lights = np.stack([_around(middles[:, :, channel], blank) for channel in range(3)], axis=2)
    ink = 1 - patches / np.maximum(lights, 0.3)[:, :, None, None]
    shares = 1 / (1 + np.exp(-_SURER * (strength - border)))
    return Inked(~blank, shares.astype(np.float32), odd, ink.astype(np.float32), ground.astype(np.float32))


def all_marked(patches: Patches) -> Inked:
    """Every cell taken for marked, as where letters stand in all of them."""
    marked = np.ones(patches.shape[:2], dtype=np.bool_)
    ink = np.asarray(1 - patches, dtype=np.float32)
    return Inked(marked, marked.astype(np.float32), ~marked, ink, np.ones(3, dtype=np.float32))


def may_be_blots(ink: _Values, all_cells: int) -> bool:
    """Whether what these of so many cells hold that others do not may be blots: they are few, none is of one shade all
    over, as a mark of another kind may be, and they are not like each other. ink: (cells, s, s)."""
    if not len(ink):
        return True
    spread = np.ptp(ink, axis=(1, 2))
    flat = (spread <= _FLAT) & (ink.mean(axis=(1, 2)) > spread)
    if len(ink) > max(_BLOTS, _BLOTTED * all_cells) or bool(flat.any()):
        return False
    soft = ndimage.gaussian_filter(ink, (0, _SOFT, _SOFT)).reshape(len(ink), -1)
    soft = soft / np.maximum(np.linalg.norm(soft, axis=1, keepdims=True), 1e-6)
    others = soft @ soft.T - 2 * np.eye(len(ink), dtype=soft.dtype)
    return float((others.max(axis=1) > _TWINS).mean()) < _MOST_TWINS


def _around(values: _Values, chosen: npt.NDArray[np.bool_]) -> _Values:
    """The values of the chosen cells, each as the mean of those around it, and what it would be in the others."""
    usual = np.float32(np.median(values[chosen]))
    weight = ndimage.gaussian_filter(chosen.astype(np.float32), _AROUND) + 1e-6
    near = ndimage.gaussian_filter(np.where(chosen, values, 0), _AROUND)
    return np.asarray((near + 1e-6 * usual) / weight, dtype=np.float32)


def _widest_gap(values: _Values) -> tuple[float, float]:
    """The middle of the widest gap between values that are next to each other, and how wide it is."""
    ordered = np.sort(values.ravel().astype(np.float64))
    if len(ordered) < 2:
        return float(ordered[0]), 0.0
    gaps = np.diff(ordered)
    at = int(np.argmax(gaps))
    return float(ordered[at] + ordered[at + 1]) / 2, float(gaps[at])


def sorted_by_colour(marks: Patches, colours: Sequence[_Values], others: bool) -> Sorted:
    """The marks by the colour of their ink; those of none of the colours are the last group. marks: the ink in their
    samples; colours: the ink of each; others: whether there may be any."""
    seen = _inks(marks)
    if not colours:
        return Sorted(np.zeros(len(marks), dtype=np.intp), np.ones((len(marks), 1), dtype=np.float32))
    off = np.stack([_off_colour(seen, colour) for colour in colours], axis=1)
    nearest = off.min(axis=1)
    groups = off.argmin(axis=1)
    if others:
        border, gap = _widest_gap(nearest)
        other = nearest > (border if gap > _OTHER_HUE and border < _UNLIKE else _UNLIKE)
        groups[other] = len(colours)
    return _settled(_with_strength(seen), groups, len(colours) + others)


_UNLIKE: Final = 0.5
_PALER: Final = np.geomspace(0.08, 1.15, 24)
_PALENESS: Final = 0.05


def off_colour(marks: Patches, colour: _Values) -> _Values:
    """How far the ink of each mark is from a colour. marks: the ink in their samples."""
    return _off_colour(_inks(marks), colour)


def _off_colour(seen: _Values, given: _Values) -> _Values:
    """How far inks are from one that was given, of how strong they are; thin marks look paler than their ink."""
    gaps = np.linalg.norm(seen[:, None] - _PALER[:, None] * given, axis=2)
    gaps /= np.linalg.norm(seen, axis=1, keepdims=True) + 1e-6
    return np.asarray((gaps - _PALENESS * np.minimum(np.log(_PALER), 0)).min(axis=1), dtype=np.float32)


def _inks(marks: Patches) -> _Values:
    """The ink of each mark, where there is most of it."""
    weights = np.power(np.clip(marks.max(axis=3, keepdims=True), 0, 1), 3)
    return np.asarray((weights * marks).sum(axis=(1, 2)) / (weights.sum(axis=(1, 2)) + 1e-6), dtype=np.float32)


def _with_strength(seen: _Values) -> _Values:
    size = np.linalg.norm(seen, axis=1, keepdims=True) + 1e-6
    return np.concatenate([seen / size, 0.3 * np.log(size)], axis=1)


def sorted_by_examples(marks: Patches, examples: Sequence[int], anywhere: bool) -> Sorted:
    """The marks by which of the examples each is most like: one group for each; groups that do not part are one.

    examples: which marks they are; anywhere: whether marks of one kind stand anywhere in their cells.
    """
    looks = _looks(_centred(marks) if anywhere else marks)
    groups = np.stack([np.linalg.norm(looks - looks[at], axis=1) for at in examples], axis=1).argmin(axis=1)
    groups[list(examples)] = range(len(examples))
    groups, shares = _settled(looks, groups, len(examples))
    for one, other in combinations(range(len(examples)), 2):
        pair = np.isin(groups, (one, other))
        ends = [looks[groups == group] for group in (one, other)]
        way = np.median(ends[1], axis=0) - np.median(ends[0], axis=0) if all(map(len, ends)) else looks[0] * 0
        apart = float(np.linalg.norm(way))
        if apart == 0 or between(looks[pair] @ way / apart, max(_OTHER_LOOK, apart / 2), named=True) is None:
            groups[groups == other] = one
            shares[:, one] += shares[:, other]
            shares[:, other] = 0
    return Sorted(groups, shares)


def _looks(marks: Patches) -> _Values:
    """Ink and form of each mark, the form soft, as hands place marks in their cells."""
    form = np.clip(marks.max(axis=3), 0, 1)
    form = ndimage.gaussian_filter(form, (0, _SOFT, _SOFT)).reshape(len(marks), -1)
    form /= np.linalg.norm(form, axis=1, keepdims=True) + 1e-6
    return np.concatenate([_with_strength(_inks(marks)), form], axis=1)


def _centred(marks: Patches) -> Patches:
    """The marks moved to the middles of their cells by where most of their ink is."""
    ink = np.clip(marks.max(axis=3), 0, 1)
    ink = np.where(ink > _SEEN * ink.max(axis=(1, 2), keepdims=True), ink, 0)
    places = np.arange(ink.shape[1]) - (ink.shape[1] - 1) / 2
    whole = ink.sum(axis=(1, 2)) + 1e-6
    off = np.stack([ink.sum(axis=2) @ places / whole, ink.sum(axis=1) @ places / whole], axis=1)
    moved = [ndimage.shift(mark, (-y, -x, 0), order=1) for mark, (y, x) in zip(marks, off.tolist(), strict=True)]
    return np.asarray(moved, dtype=np.float32).reshape(marks.shape)


def _settled(looks: _Values, groups: _Groups, count: int) -> Sorted:
    """Groups whose middles are where their members are."""
    for _ in range(6):
        middles = np.stack(
            [np.median(looks[groups == at], axis=0) if (groups == at).any() else looks[0] + 99 for at in range(count)]
        )
        off = np.linalg.norm(looks[:, None] - middles, axis=2)
        again = off.argmin(axis=1)
        if (again == groups).all():
            break
        groups = again
    weights = np.exp(-_SURER * (off - off.min(axis=1, keepdims=True)) / (off.min(axis=1, keepdims=True) + 0.1))
    return Sorted(groups, (weights / weights.sum(axis=1, keepdims=True)).astype(np.float32))


_OTHER_INK: Final = 0.4
"""How far two inks are from each other, of how far the paler one is from the ground, where they are not both dark."""


def parted(marks: Patches, forms: bool, hues: bool = True) -> npt.NDArray[np.bool_] | None:
    """The marks of another kind than the rest, by hue or, where it counts, by form and strength; None where all are of
    one kind, wherever in their cells. marks: the ink in their samples; hues: whether any other hue is another kind, or
    only one that is farther from the rest than two dark inks are."""
    inks = None if hues else _inks(marks)
    for values, least in _traits(marks, forms):
        border = between(values, least)
        if border is None:
            continue
        odd = np.asarray(values >= border)
        if inks is not None and least == _OTHER_HUE:
            one, other = np.median(inks[odd], axis=0), np.median(inks[~odd], axis=0)
            if np.linalg.norm(one - other) < _OTHER_INK * min(np.linalg.norm(one), np.linalg.norm(other)):
                continue
        return odd
    return None


def _traits(colour: _Values, forms: bool) -> list[tuple[_Values, float]]:
    """What tells one mark from another: how wide and high it is, how it leans, how strong it is, and its hue; each with
    what makes a difference."""
    ink = np.clip(colour.max(axis=3), 0, 1)
    ink = np.where(ink > _SEEN * ink.max(axis=(1, 2), keepdims=True), ink, 0)
    whole = ink.sum(axis=(1, 2)) + 1e-6
    hue = (colour * ink[..., None]).sum(axis=(1, 2))
    hue /= np.linalg.norm(hue, axis=1, keepdims=True) + 1e-6
    strength = np.log(np.power(np.power(ink, 4).mean(axis=(1, 2)), 0.25) + _FAINT)
    hues = [(hue[:, channel], _OTHER_HUE) for channel in range(3)]
    if not forms:
        return hues
    ink = ndimage.gaussian_filter(ink, (0, _SOFT, _SOFT))  # of a mark as small as a sample, form is chance
    whole, side = ink.sum(axis=(1, 2)) + 1e-6, ink.shape[1]
    places = (np.arange(side, dtype=np.float32) + 0.5) / side
    x = (ink.sum(axis=1) @ places) / whole
    y = (ink.sum(axis=2) @ places) / whole
    off_x, off_y = places - x[:, None], places - y[:, None]
    wide = np.sqrt((ink.sum(axis=1) * off_x**2).sum(axis=1) / whole)
    high = np.sqrt((ink.sum(axis=2) * off_y**2).sum(axis=1) / whole)
    leaning = np.einsum("nyx,nx,ny->n", ink, off_x, off_y) / whole
    return [
        (wide, _OTHER_FORM),
        (high, _OTHER_FORM),
        (leaning / (wide * high + 1e-6), 10 * _OTHER_FORM),
        (strength, _OTHER_STRENGTH),
        *hues,
    ]


def _halved(values: _Values) -> float | None:
    """The border that parts the values best into two groups; None where all are the same."""
    ordered = np.sort(values.ravel().astype(np.float64))
    if len(ordered) < 2 or ordered[-1] - ordered[0] < 1e-6:
        return None
    count = np.arange(1, len(ordered))
    below = np.cumsum(ordered)[:-1]
    gap = below / count - (ordered.sum() - below) / (len(ordered) - count)
    cut = int(np.argmax(count * (len(ordered) - count) * gap**2))
    return float(ordered[cut] + ordered[cut + 1]) / 2


def between(values: _Values, least: float, named: bool = False) -> float | None:
    """The border of two kinds of values; None where they are of one that is spread. named: whether somebody says that
    there are two, so that a single value may be one."""
    border = _halved(values)
    if border is None:
        return None
    low, high = values[values < border], values[values >= border]
    gap = float(np.median(high) - np.median(low))
    within = np.sqrt((low.var() * len(low) + high.var() * len(high)) / len(values))
    few = 3 if min(len(low), len(high)) < _FEWEST and not named else 1
    return border if gap > few * max(least, _APART * float(within)) else None

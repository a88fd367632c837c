"""Cells sorted by how they look: a chart is a few looks, each many times. Knows colours and where cells lie."""

from __future__ import annotations

from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from stitchc.trace.grid.edges import Shares, Sight, Spans
from stitchc.trace.grid.lattice import Axis

_SAMPLES: Final = 5
_RIM: Final = 0.08
_LOOKS: Final = 5
OTHER: Final = 8.0
"""Colours, of 255, that are another look."""
_OTHER_SOFT: Final = 0.12
"""The same where there is grain, of the range of colours."""
_STRANGE: Final = 15.0
"""How far a cell may be from the nearest look, of 255, before it is none of them at all."""
_OF_CONTRAST: Final = 0.25
"""The same where there is grain, of how far the looks are from each other: a pencil's strokes are none like another."""
_SORTED: Final = 3000
"""Cells by which looks are found."""

Samples = npt.NDArray[np.float32]


class Looks(NamedTuple):
    """Cells sorted by look. of: (cells down, cells across); strange: how unlike its look each is, 0 to 1; mean and
    flat: of each look its colour, and whether it has but one; share: its part of all cells."""

    of: npt.NDArray[np.intp]
    strange: Shares
    mean: Samples
    flat: npt.NDArray[np.bool_]
    share: Shares


def looks_of(sight: Sight, across: Axis, down: Axis, bold: bool) -> Looks:
    """The cells of these axes sorted by look. bold: whether lines are so wide that they may push marks aside; then the
    places are taken in which cells are more alike."""
    height, width = sight.pixels.shape[:2]
    ways = [
        (_samples(across, way, width), _samples(down, way, height)) for way in ((False, True) if bold else (False,))
    ]
    if bold and all(np.array_equal(*both) for both in zip(*ways, strict=True)):
        del ways[1]
    return min((_looks_at(sight, *way, (down.cells, across.cells)) for way in ways), key=lambda one: one.strange.mean())


def _looks_at(sight: Sight, xs: tuple[Spans, Spans], ys: tuple[Spans, Spans], size: tuple[int, int]) -> Looks:
    """The same of cells with these samples. size: rows and columns."""
    rows, columns = size
    means = sight.means(xs, ys)
    cells = means.reshape(rows, _SAMPLES, columns, _SAMPLES, 3).swapaxes(1, 2)
    flat = cells.reshape(rows * columns, -1)
    span = float(np.ptp(np.percentile(flat, (2, 98)))) if sight.soft else 0.0
    looks = _distinct_looks(flat[:: max(1, len(flat) // _SORTED)], max(OTHER, _OTHER_SOFT * span))
    away = np.stack([_away(flat, look) for look in looks], axis=1)
    of = away.argmin(axis=1)
    parts = looks.reshape(len(looks), -1, 3)
    strange = max(_STRANGE, _OF_CONTRAST * span)
    return Looks(
        of.reshape(rows, columns),
        np.minimum(away.min(axis=1) / strange, 1).reshape(rows, columns),
        parts.mean(axis=1),
        np.asarray(parts.std(axis=1).max(axis=1) < OTHER),
        np.bincount(of, minlength=len(looks)) / len(of),
    )


def _distinct_looks(flat: Samples, other: float) -> Samples:
    """The looks of these cells: the usual one, and up to so many more, each the one that is least like those before."""
    looks = [flat[_away(flat, _medians(flat)).argmin()]]
    aways = [_away(flat, looks[0])]
    nearest = aways[0]
    for _ in range(_LOOKS - 1):
        strange = int(np.argsort(nearest)[int(0.98 * (len(nearest) - 1))])  # the strangest may be blots
        if nearest[strange] < other:
            break
        looks.append(flat[strange])
        aways.append(_away(flat, looks[-1]))
        nearest = np.minimum(nearest, aways[-1])
    before = None
    for _ in range(3):
        of = np.stack(aways, axis=1).argmin(axis=1)
        if before is not None and (of == before).all():
            break
        before = of
        for number in range(len(looks)):
            chosen = of == number
            look = _medians(flat[chosen]) if chosen.any() else looks[number]
            if (look != looks[number]).any():
                looks[number], aways[number] = look, _away(flat, look)
    return np.stack(looks)


def _away(flat: Samples, look: Samples) -> Samples:
    """How far each cell is from a look, of 255."""
    off = flat - look
    return np.asarray(np.abs(off, out=off).mean(axis=1))


def _medians(flat: Samples) -> Samples:
    """`np.median(flat, axis=0)` without its search for what is no number."""
    first, last = (len(flat) - 1) // 2, len(flat) // 2
    ordered = np.partition(flat, (first, last), axis=0)
    return np.asarray((ordered[first] + ordered[last]) / 2)


@lru_cache(maxsize=64)  # each row of cells is paired with several
def _samples(axis: Axis, pushed: bool, size: int) -> tuple[Spans, Spans]:
    middles, inside = axis.insides(pushed)
    places = middles[:, None] + 0.5 + inside * np.linspace(_RIM - 0.5, 0.5 - _RIM, _SAMPLES + 1)
    first = places[:, :-1].round().clip(0, size - 1).astype(np.intp).ravel()
    return first, np.maximum(places[:, 1:].round().clip(1, size).astype(np.intp).ravel(), first + 1)

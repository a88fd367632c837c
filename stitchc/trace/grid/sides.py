"""The sides at which a grid has no outermost line, or at which the picture cuts it. Knows ink and a ruled lattice
that was found.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from stitchc.trace.grid.edges import ALL_OF_IT, Plane, edges_of, noise_of, seen_along, stretches
from stitchc.trace.grid.lattice import LEAST_PITCH_PX, Axis, Lattice, Side

_CLOSED: Final = 0.25
"""How much of the outermost line must be seen, of what is seen of the next ones, for it to be there."""
_RUNS_ON: Final = 0.6


def frayed(plane: Plane, lattice: Lattice) -> list[tuple[Side, bool]]:
    """The sides at which a ruled grid has no outermost line, or (True) at which its lines run on into less than a
    cell, to the picture's edge."""
    found: list[tuple[Side, bool]] = []
    noise = noise_of(plane)
    for side, seen, axis, other in _from_each_side(plane, lattice):
        first = round(other.start_px), round(other.end_px) + 1
        strip = seen[: max(0, round(axis.start_px + 3.4 * axis.pitch_px)), max(0, first[0]) : first[1]]
        crossings = other.start_px - max(0, first[0]) + other.pitch_px * np.arange(other.cells + 1)
        if axis.cells < 3 or other.cells < 2 or min(strip.shape) < 3 * LEAST_PITCH_PX:
            continue
        edges, least = edges_of(strip, 0, noise)
        lines = stretches(seen_along(edges, axis.start_px + axis.pitch_px * np.arange(4)), crossings, ALL_OF_IT)
        sure = max(least, 0.75 * float(np.median(lines[1:])))
        if float((np.minimum(lines[0], sure) / sure).mean()) < _CLOSED:
            found.append((side, False))
        room = round(axis.start_px - 0.12 * axis.pitch_px)
        if 0.2 * axis.pitch_px <= axis.start_px <= 0.97 * axis.pitch_px and room > 2:
            edges, least = edges_of(strip[:room], 1, noise)
            inside, _ = edges_of(strip[round(axis.start_px) + 2 : round(axis.start_px + axis.pitch_px) - 1], 1, noise)
            beyond = seen_along(edges.T, crossings).mean(axis=1)
            within = max(least, 0.75 * float(np.median(seen_along(inside.T, crossings).mean(axis=1))))
            if float((np.minimum(beyond, within) / within).mean()) >= _RUNS_ON:
                found.append((side, True))
    return found


_GOES_ON: Final = 0.8
"""How much ink the lines across an edge have beyond it, of what they have inside, where the grid goes on there."""
_FIRST_CELLS: Final = 8
"""Cells from an edge by which the ink of the lines across it is measured."""


def carried_on(plane: Plane, lattice: Lattice) -> Lattice | None:
    """The ruled lattice with the cells beside it through which all its lines run on: where cells are filled in the
    lines' colour, many edges in succession are not to be seen. None where no line closes it there."""
    whole = lattice
    sides: set[Side] = set()
    while (side := _goes_on(plane, whole)) is not None:
        sides.add(side)
        axis = whole.across if side in ("left", "right") else whole.down
        first = axis.start_px - axis.pitch_px * (side in ("left", "top"))
        longer = replace(axis, start_px=first, cells=axis.cells + 1)
        whole = replace(whole, across=longer) if axis is whole.across else replace(whole, down=longer)
    for side, seen, axis, other in _from_each_side(plane, whole):
        if side in sides:
            first, last = round(other.start_px), round(other.end_px)
            place = min(max(0, round(axis.start_px)), len(seen) - 1)
            closing = seen[max(0, place - 1) : place + 2, max(0, first) : last + 1].max(axis=0)
            if float((closing >= _GOES_ON * _inside(seen, axis, other)).mean()) < _GOES_ON:
                return None
    return whole


def _goes_on(plane: Plane, lattice: Lattice) -> Side | None:
    """A side at which all lines across the outermost one run on for a cell beyond it, unless all is dark there to the
    picture's edge."""
    for side, seen, axis, other in _from_each_side(plane, lattice):
        start, pitch = axis.start_px, axis.pitch_px
        if start < 0.95 * pitch or min(axis.cells, other.cells) < 2:
            continue
        inside = _inside(seen, axis, other)
        beyond = _crossed(seen[max(0, round(start - 0.9 * pitch)) : round(start - 0.1 * pitch)], other)
        if inside > 0 and float((beyond >= _GOES_ON * inside).mean(axis=0).min()) >= _GOES_ON:
            edge = seen[0, max(0, round(other.start_px)) : round(other.end_px) + 1]
            if float((edge >= _GOES_ON * inside).mean()) < _GOES_ON:
                return side
    return None


def _crossed(seen: Plane, other: Axis) -> Plane:
    """The ink along each line of the other direction, a pixel to either side included: (pixels, lines)."""
    lines = np.round(other.start_px + other.pitch_px * np.arange(other.cells + 1)).astype(int)
    beside = [seen[:, np.clip(lines + off, 0, seen.shape[1] - 1)] for off in (-1, 0, 1)]
    return np.asarray(np.maximum.reduce(beside))


def _inside(seen: Plane, axis: Axis, other: Axis) -> float:
    """The ink that the other direction's lines have within the lattice's first cells."""
    end_px = axis.start_px + axis.pitch_px * min(axis.cells, _FIRST_CELLS)
    return float(np.median(_crossed(seen[max(0, round(axis.start_px)) : round(end_px)], other)))


def _from_each_side(plane: Plane, lattice: Lattice) -> tuple[tuple[Side, Plane, Axis, Axis], ...]:
    """The ink turned so that the side comes first, the axis counted from there, and the other one."""
    across, down = lattice.across, lattice.down
    return (
        ("top", plane, down, across),
        ("bottom", plane[::-1], _from_the_end(down, plane.shape[0]), across),
        ("left", plane.T, across, down),
        ("right", plane[:, ::-1].T, _from_the_end(across, plane.shape[1]), down),
    )


def _from_the_end(axis: Axis, size: int) -> Axis:
    return replace(axis, start_px=size - 1 - axis.end_px)

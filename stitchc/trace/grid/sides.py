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
    across, down = lattice.across, lattice.down
    noise = noise_of(plane)
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


def _from_the_end(axis: Axis, size: int) -> Axis:
    return replace(axis, start_px=size - 1 - axis.end_px)

"""A lattice's lines measured: straight through the places where they are seen. Knows a lattice that was found; changes
neither its cells nor the verdict on it.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.grid.combs import summit
from stitchc.trace.grid.edges import Plane, Profile, edges_of, noise_of
from stitchc.trace.grid.lattice import Axis, Lattice


def settled(plane: Plane, lattice: Lattice) -> Lattice:
    """The lines' places measured once more in the whole picture."""
    noise = noise_of(plane)
    (upright, sure_x), (level, sure_y) = edges_of(plane, 1, noise), edges_of(plane, 0, noise)
    return measured_again(upright, level, (sure_x, sure_y), lattice)


def measured_again(upright: Plane, level: Plane, sure: tuple[float, float], lattice: Lattice) -> Lattice:
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
        places.append(low + summit(window, at))
        weights.append(float(window[at]) + 1e-9)
    if len(numbers) < 2:
        return axis
    slope, start = _fitted(np.array(numbers), np.array(places), np.sqrt(weights), axis.pitch_px)
    if abs(slope - axis.pitch_px) * axis.cells > 0.5 * axis.pitch_px:
        return axis
    return Axis(float(start), float(slope), axis.cells, axis.share)


_ENOUGH_LINES: Final = 5
"""Lines from which some can be told to lie off the others."""


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

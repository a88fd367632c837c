"""Cells without lines between them: their borders lie at whole numbers of cells from each other.

Knows the steps of ink alone.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy import ndimage

from stitchc.trace.grid.comb import LEAST_PITCH_PX
from stitchc.trace.grid.evidence import Plane, Profile, noise_of
from stitchc.trace.grid.lattice import Axis, Lattice

_TOGETHER: Final = 0.75
"""How much of the steps must lie at one phase of the pitch: 1 where all do, 0 where they lie anywhere."""
_SURELY_TOGETHER: Final = 0.9
_FINER: Final = 8
_OBLONG: Final = 3.0
_MARKED: Final = 0.3
_TEXTURES_PX: Final = (1, 3, 5)
_OUTERMOST: Final = 0.03
"""The part of the strongest border from which something is the outermost one."""


def steps_along(plane: Plane, grain: float | None = None) -> Profile:
    """The squared steps of ink from each column of pixels to the next, above the grain."""
    least = max(0.04, 4 * noise_of(plane)) if grain is None else grain
    steps = np.maximum(np.abs(np.diff(plane, axis=1)) - least, 0)
    return np.asarray(np.square(steps).sum(axis=0, dtype=np.float64))


def pitches_of_steps(steps: Profile, least: float = _TOGETHER) -> list[tuple[float, float]]:
    """Pitches at which nearly all steps lie at one phase, the widest first, each with the place of a border.

    A sum of waves, one a step: only where the steps are whole numbers of cells apart are they in phase.
    """
    total = float(steps.sum())
    if total <= 0 or len(steps) < 2 * LEAST_PITCH_PX:
        return []
    size = _FINER * len(steps)
    waves = np.fft.rfft(steps, size)
    together = np.abs(waves) / total
    numbers = np.arange(1, min(len(together) - 1, int(size / LEAST_PITCH_PX)))
    high = (together[numbers] >= together[numbers - 1]) & (together[numbers] >= together[numbers + 1])
    found = []
    for number in numbers[high & (together[numbers] > least) & (numbers >= 1.5 * _FINER)].tolist():
        pitch = size / number
        found.append((pitch, float(-np.angle(waves[number]) / (2 * np.pi) * pitch % pitch) + 0.5))
    return found


def _bounds(steps: Profile) -> tuple[float, float]:
    """The first and the last border."""
    strong = np.flatnonzero(steps > _OUTERMOST * steps.max())
    return float(strong[0]) + 0.5, float(strong[-1]) + 0.5


def find_unruled(plane: Plane, cells: tuple[int, int] | None = None) -> Lattice | None:
    """The lattice of a straight picture without lines, its outermost marks taken for its edges; None where there is
    none that can be trusted.

    Every finer lattice explains as much, so the widest cells win.
    """
    for texture_px in _TEXTURES_PX:  # cells may be filled with dots or hatching
        smooth = plane if texture_px == 1 else ndimage.uniform_filter(plane, texture_px, mode="nearest")
        across, down = _with_edges(steps_along(smooth), plane), _with_edges(steps_along(smooth.T), plane.T)
        least = _TOGETHER if texture_px == 1 else _SURELY_TOGETHER
        found = _of_steps(across, down, (4.0 * texture_px, least), cells)
        if found is not None:
            return found
    return None


def _with_edges(steps: Profile, plane: Plane) -> Profile:
    """The steps with one at each edge of the picture that marks reach, as it is a border of theirs."""
    edges = [steps.max(initial=0.0) if float(np.ptp(plane[:, at])) > _MARKED else 0.0 for at in (0, -1)]
    return np.concatenate([edges[:1], steps, edges[1:]])


def _of_steps(
    across: Profile, down: Profile, bounds: tuple[float, float], cells: tuple[int, int] | None
) -> Lattice | None:
    least_px, least = bounds
    if min(across.max(initial=0), down.max(initial=0)) <= 0:
        return None
    for pitch_x, start_x in pitches_of_steps(across, least)[:6]:
        for pitch_y, start_y in pitches_of_steps(down, least)[:6]:
            if not 1 / _OBLONG < pitch_x / pitch_y < _OBLONG or min(pitch_x, pitch_y) < least_px:
                continue
            lattice = Lattice(_axis(across, pitch_x, start_x), _axis(down, pitch_y, start_y), ruled=False)
            if cells is None or lattice.size == cells:
                return lattice
    return None


def _axis(steps: Profile, pitch: float, start: float) -> Axis:
    low, high = (place - 1 for place in _bounds(steps))  # the first step is that at the picture's edge
    start -= 1
    first = start + pitch * round((low - start) / pitch)
    return Axis.evenly(first, pitch, max(1, round((high - first) / pitch)))


_THICKEST: Final = 0.3
_HALF: Final = 0.5
"""The part of the picture along which something that is ruled runs without a break."""


def looks_ruled(plane: Plane) -> bool:
    """Whether thin straight lines at an even distance run both ways through half the picture or more."""
    return _thin_lines(plane) and _thin_lines(plane.T)


def _thin_lines(plane: Plane) -> bool:
    dark = plane >= 0.12
    longest = np.zeros(plane.shape[1], dtype=np.int64)
    run = np.zeros_like(longest)
    for line in dark:
        run = (run + 1) * line
        np.maximum(longest, run, out=longest)
    steps = np.diff(np.concatenate([[0], (longest >= _HALF * plane.shape[0]).astype(np.int8), [0]]))
    starts, ends = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)
    if len(starts) < 3:
        return False
    gaps = np.diff((starts + ends - 1) / 2)
    pitch = float(np.median(gaps))
    even = np.abs(gaps / pitch - np.round(gaps / pitch)) <= max(1.0, 0.03 * pitch) / pitch
    return pitch >= 6 and float(np.median(ends - starts)) <= _THICKEST * pitch and bool(even.all())

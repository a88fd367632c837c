"""Even lines in one direction, proposed by a profile alone: distances at which it is like itself, and combs of
lines grown from its peaks. Knows nothing of the other direction but its combs, and judges nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.grid.edges import Profile
from stitchc.trace.grid.lattice import LEAST_PITCH_PX, Axis

_MOST_COMBS: Final = 6


def combs_of(profile: npt.NDArray[np.floating], others: list[Axis] | None = None) -> list[Axis]:
    """Some combs of lines that may explain the profile, the best first.

    Distances between lines are proposed by the profile's correlation with itself at several softnesses; for each, the
    comb grows from a strong line to both sides, line by line, so that a small error in the distance does not add up.
    others: the other direction's combs; cells are about square, and a single row of cells shows no period of its own.
    """
    raw = np.asarray(profile, dtype=np.float64)
    if len(raw) < 2 * LEAST_PITCH_PX:
        return []
    scored: list[tuple[float, Axis]] = []
    for softness in (0.8, 2.0):
        soft = ndimage.gaussian_filter1d(raw, softness, mode="constant")
        soft = np.maximum(soft - np.percentile(soft, 15), 0)
        if soft.max() <= 1e-6:
            return []
        tried: list[float] = []
        for axis in others or []:
            if softness <= 0.2 * axis.pitch_px:
                scored += _grown(soft, axis.pitch_px, held=True)
        for pitch in _proposals(soft, max(LEAST_PITCH_PX, 3 * softness)):
            if softness > 0.2 * pitch or any(abs(other - pitch) < 0.01 * pitch for other in tried):
                continue
            tried.append(pitch)
            scored += _grown(soft, pitch)
    scored.sort(key=lambda pair: -pair[0])
    kept: list[Axis] = []
    for _, axis in scored:
        if not any(_alike(axis, other) for other in kept):
            kept.append(axis)
        if len(kept) == _MOST_COMBS:
            break
    return kept


def _alike(one: Axis, two: Axis) -> bool:
    """Whether two combs have the same lines, as far as they go."""
    if abs(one.pitch_px - two.pitch_px) * max(one.cells, two.cells) > 0.3 * one.pitch_px:
        return False
    apart = (one.start_px - two.start_px) / one.pitch_px
    return abs(apart - round(apart)) < 0.12


def _proposals(soft: Profile, least: float) -> list[float]:
    """Distances at which the profile is like itself, the likeliest first."""
    size = len(soft)
    even = soft - soft.mean()
    spectrum = np.fft.rfft(even, 2 * size)
    alike = np.fft.irfft(spectrum * np.conj(spectrum))[:size]
    if alike[0] <= 0:
        return []
    alike = alike / alike[0]
    inner = alike[1:-1]
    peaks = np.flatnonzero((inner > alike[:-2]) & (inner >= alike[2:]) & (inner > 0.08)) + 1
    peaks = peaks[peaks >= least - 0.5]
    order = peaks[np.argsort(-alike[peaks])][:8]
    found = []
    for lag in order.tolist():
        a, b, c = alike[lag - 1], alike[lag], alike[lag + 1]
        bend = a - 2 * b + c
        found.append(lag + (0.5 * (a - c) / bend if bend < 0 else 0.0))
    smallest = peaks[:3].tolist()
    return found + [float(lag) for lag in smallest if all(abs(lag - f) > 1 for f in found)]


def _grown(soft: Profile, pitch: float, held: bool = False) -> list[tuple[float, Axis]]:
    """Combs grown from the strongest lines, each with how much of the profile it explains before it.

    held: the pitch is known, and lines that would bend it (of lettering) are none of the comb's.
    """
    found = []
    peaks = _peaks(soft)
    if len(peaks) < 2:
        return []
    high = float(np.percentile(soft[peaks], 90))
    strongest = peaks[np.argsort(-soft[peaks])][:3]
    for start in strongest.tolist():
        grown = _grow(soft, float(start), pitch, held, high)
        if grown is not None:
            found.append(grown)
    return found


def _peaks(soft: Profile) -> npt.NDArray[np.int64]:
    padded = np.concatenate([[-1.0], soft, [-1.0]])
    return np.flatnonzero((padded[1:-1] > padded[:-2]) & (padded[1:-1] >= padded[2:]) & (soft > 0)).astype(np.int64)


MOST_MISSED: Final = 6
"""Lines in succession that may be unseen (between equally dark cells, say) before a comb ends."""


def _grow(soft: Profile, start: float, pitch: float, held: bool, high: float) -> tuple[float, Axis] | None:
    size = len(soft)
    reach = max(1.0, (0.06 if held else 0.12) * pitch)
    enough = 0.3 * high
    line = _Line(pitch, held)
    line.add(0, start)
    heights: dict[int, float] = {0: float(soft[round(start)])}
    typical = heights[0]
    for direction in (1, -1):
        missed, number = 0, 0
        while missed <= MOST_MISSED:
            number += direction
            expected = line.at(number)
            low, top = max(0, round(expected - reach)), min(size, round(expected + reach) + 1)
            if not -reach <= expected <= size - 1 + reach or top <= low:
                break
            window = soft[low:top]
            at = int(window.argmax())
            height = float(window[at])
            if height >= max(enough, 0.3 * typical):
                line.add(number, low + summit(window, at))
                heights[number] = height
                typical += (height - typical) / min(len(heights), 12)
                missed = 0
            else:
                missed += 1
    first, last = min(heights), max(heights)
    count = last - first
    if count < 1:
        return None
    spacing = line.at(1) - line.at(0)
    # what lies between the lines, away from them
    between = []
    for number in range(first, last):
        left = line.at(number)
        window = soft[max(0, round(left + 0.25 * spacing)) : round(left + 0.75 * spacing) + 1]
        if len(window):
            between.append(float(window.max()))
    typical = float(np.median(list(heights.values())))
    noise = float(np.mean(between)) if between else 0.0
    seen = len(heights)
    missing = count + 1 - seen
    score = sum(min(height, high) for height in heights.values()) - 0.7 * missing * typical - 0.8 * noise * count
    return score, Axis(line.at(first), spacing, count, seen / (count + 1))


@dataclass
class _Line:
    """A straight line through the places of numbered lines; `held` keeps the pitch that it was given."""

    pitch: float
    held: bool
    count: int = 0
    numbers: float = 0.0
    places: float = 0.0
    squares: float = 0.0
    products: float = 0.0

    def add(self, number: int, place: float) -> None:
        if self.held and self.count:
            return
        self.count += 1
        self.numbers += number
        self.places += place
        self.squares += number * number
        self.products += number * place

    def at(self, number: int) -> float:
        """Where the line of this number should be."""
        mean, middle = self.places / self.count, self.numbers / self.count
        if self.count == 1:
            return mean + self.pitch * (number - middle)
        spread = self.squares - self.count * middle * middle
        along = self.products - self.count * middle * mean
        # the proposed pitch counts as a few lines do at first, so that two near ones can't bend it
        weight = 4.0 if self.count < 5 else 0.0
        return mean + (along + weight * self.pitch) / (spread + weight) * (number - middle)


def summit(window: Profile, at: int) -> float:
    if 0 < at < len(window) - 1:
        a, b, c = window[at - 1], window[at], window[at + 1]
        bend = a - 2 * b + c
        if bend < 0:
            return at + float(0.5 * (a - c) / bend)
    return float(at)

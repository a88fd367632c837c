"""Lines at about even distances in one direction, proposed by a profile alone: a chain of its peaks."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from scipy import ndimage

from stitchc.trace.grid.evidence import Profile

LEAST_PITCH_PX: Final = 4.0
"""Cells narrower than this are not told from their lines."""
_STRETCH: Final = 0.2
"""How far one distance may be from the pitch, as a part of it: wide lines may push the cells apart."""
_STIFF: Final = 6.0
"""How much a distance that is off by the pitch would cost, of a line that is seen all along."""
_UNSEEN: Final = 0.35
"""What a line that is not seen costs, of one that is."""


class Comb(NamedTuple):
    """Lines from the picture's one end to the other, at about a pitch, and how well they stand out."""

    lines: Profile
    pitch_px: float
    worth: float


def pitches_of(profile: Profile, most: int = 8) -> list[float]:
    """Distances at which the profile is like itself, the likeliest first, and the smallest ones."""
    found: list[float] = []
    for softness in (0.7, 1.6):
        soft = ndimage.gaussian_filter1d(profile, softness, mode="constant")
        soft = soft - soft.mean()
        spectrum = np.fft.rfft(soft, 2 * len(soft))
        alike = np.fft.irfft(spectrum * np.conj(spectrum))[: len(soft)]
        if alike[0] <= 0:
            return []
        alike = alike / alike[0]
        inner = alike[1:-1]
        peaks = np.flatnonzero((inner > alike[:-2]) & (inner >= alike[2:]) & (inner > 0.06)) + 1
        peaks = peaks[peaks >= LEAST_PITCH_PX - 0.5]
        best = peaks[np.argsort(-alike[peaks])][:most].tolist()
        for lag in [*best, *peaks[:3].tolist()]:
            a, b, c = alike[lag - 1], alike[lag], alike[lag + 1]
            pitch = lag + (0.5 * (a - c) / (a - 2 * b + c) if a - 2 * b + c < 0 else 0.0)
            if not any(abs(pitch - other) < 0.015 * pitch for other in found):
                found.append(float(pitch))
    return found


def comb_of(profile: Profile, pitch: float) -> Comb | None:
    """The chain of lines at about this pitch that stands out best, carried on to both ends."""
    size = len(profile)
    soft = ndimage.gaussian_filter1d(profile, max(0.6, 0.03 * pitch), mode="constant")
    peaks = soft[1:-1][(soft[1:-1] > soft[:-2]) & (soft[1:-1] >= soft[2:])]
    if size < 2 * pitch or not len(peaks):
        return None
    high = float(np.percentile(peaks, 90)) if len(peaks) > 3 else float(peaks.max())
    if high <= 0.01:
        return None
    height = np.minimum(soft / high, 1.0) - _UNSEEN
    lags = np.arange(max(2, int(np.floor(pitch * (1 - _STRETCH)))), int(np.ceil(pitch * (1 + _STRETCH))) + 1)
    costs = _STIFF * ((lags - pitch) / pitch) ** 2
    best, back = height.copy(), np.zeros(size, dtype=np.intp)
    for place in range(int(lags[0]), size):
        reached = best[place - lags[: np.searchsorted(lags, place, side="right")]]
        reached = reached - costs[: len(reached)]
        at = int(reached.argmax())
        if reached[at] > 0:
            best[place] += reached[at]
            back[place] = lags[at]
    place = int(best.argmax())
    chain = [place]
    while back[place]:
        place -= int(back[place])
        chain.append(place)
    if len(chain) < 2:
        return None
    lines = np.array([_summit(soft, at) for at in reversed(chain)])
    pitch = float(lines[-1] - lines[0]) / (len(lines) - 1)
    lines = _settled(lines, soft, pitch)
    places = np.arange(size)
    between = np.interp((lines[1:] + lines[:-1]) / 2, places, height)
    worth = (float(np.interp(lines, places, height).mean()) - float(between.mean())) * len(lines) ** 0.5
    before = np.arange(lines[0] - pitch, -0.3 * pitch, -pitch)[::-1]
    behind = np.arange(lines[-1] + pitch, size - 1 + 0.3 * pitch, pitch)
    return Comb(np.concatenate([before, lines, behind]), pitch, worth)


def _summit(soft: Profile, at: int) -> float:
    if 0 < at < len(soft) - 1:
        a, b, c = soft[at - 1], soft[at], soft[at + 1]
        if a - 2 * b + c < 0:
            return at + float(np.clip(0.5 * (a - c) / (a - 2 * b + c), -0.5, 0.5))
    return float(at)


def _settled(lines: Profile, soft: Profile, pitch: float) -> Profile:
    """The lines on a straight line through their places, where they lie on one."""
    numbers = np.arange(len(lines))
    weights = np.sqrt(np.maximum(np.interp(lines, np.arange(len(soft)), soft), 1e-6))
    if len(lines) < 3:
        return lines
    fit = np.polyfit(numbers, lines, 1, w=weights)
    off = np.abs(lines - np.polyval(fit, numbers))
    near = off <= max(0.8, 0.05 * pitch)
    if near.mean() >= 0.7 and near.sum() >= 2:
        fit = np.polyfit(numbers[near], lines[near], 1, w=weights[near])
        off = np.abs(lines - np.polyval(fit, numbers))
        if float(np.percentile(off, 90)) <= max(0.8, 0.04 * pitch):
            return np.asarray(np.polyval(fit, numbers))
    return lines

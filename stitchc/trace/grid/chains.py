"""Rows of cells along one direction: as wide as each other, whatever lies between them.

Along each direction a chart is a row of cells of one width, give or take a pixel, with hairlines, dotted lines, bold
lines or nothing between. Bold lines push the cells apart or cover a part of them. Proposed are the chains of such cells
that begin and end at most edges, and, for pictures without lines, cells of exactly one size, which need not be whole
pixels.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.trace.grid.edges import Profile, Spans
from stitchc.trace.grid.lattice import Axis

LEAST_PITCH_PX: Final = 4.0
"""Cells narrower than this are not told from their lines."""
LEAST_CELLS: Final = 3
_MOST: Final = 7
USUAL: Final = 0.3
"""The part of a clear line's edge that speaks neither for a line nor against it."""
_ODD: Final = 0.2
"""What a cell or a line of another width than usual costs, of a line that is seen all along."""
_EACH_PX: Final = 0.02
_COVERED: Final = 0.65
"""The part of a pitch that bold lines leave of a cell, at least."""
_CUT: Final = 0.7
"""The part of a cell that the picture's edge may leave of it."""
_BOLDEST: Final = 0.5
"""How wide a line may be, of a cell."""


def chains(profile: Profile, pitches: list[float]) -> list[Spans]:
    """Rows of cells from one end of the picture to the other, the likeliest first. pitches: those to try."""
    tried = [(pitch, gap) for pitch in pitches for gap in _gaps(profile, pitch)]
    best: dict[float, tuple[float, Spans]] = {}
    for (pitch, _), (worth, cells) in zip(tried, _chains(profile, tried), strict=True):
        if len(cells) >= LEAST_CELLS and (pitch not in best or worth > best[pitch][0]):
            best[pitch] = worth, cells
    found = []
    for worth, cells in best.values():
        cells = _snapped(_continued(cells, len(profile) - 1), profile)
        width = cells[:, 1] - cells[:, 0]
        if width.min() >= _COVERED * np.median(width) and axis_of(cells).pitch_px >= LEAST_PITCH_PX:
            found.append((worth / len(cells) ** 0.5, cells))
    return _distinct([cells for _, cells in sorted(found, key=lambda one: -one[0])])[:_MOST]


def _distinct(rows: list[Spans]) -> list[Spans]:
    kept: list[Spans] = []
    for cells in rows:
        if not any(len(cells) == len(one) and np.abs(cells - one).mean() < 1 for one in kept):
            kept.append(cells)
    return kept


def pitches_of(profile: Profile, most: int = 6) -> list[float]:
    """Distances at which the profile is like itself, the likeliest first, and the smallest ones."""
    found: list[float] = []
    for softness in (0.7, 1.6):
        soft = ndimage.gaussian_filter1d(profile, softness, mode="constant")
        soft = soft - soft.mean()
        spectrum = np.fft.rfft(soft, 2 * len(soft))
        alike = np.fft.irfft(spectrum * np.conj(spectrum))[: len(soft)]
        if len(soft) < 4 * LEAST_PITCH_PX or alike[0] <= 0:
            return []
        alike = alike / alike[0]
        inner = alike[1:-1]
        peaks = np.flatnonzero((inner > alike[:-2]) & (inner >= alike[2:]) & (inner > 0.06)) + 1
        peaks = peaks[(peaks >= LEAST_PITCH_PX - 0.5) & (peaks <= len(profile) / LEAST_CELLS)]
        best = peaks[np.argsort(-alike[peaks])][:most].tolist()
        for lag in [*best, *peaks[:3].tolist()]:
            a, b, c = alike[lag - 1], alike[lag], alike[lag + 1]
            pitch = lag + (0.5 * (a - c) / (a - 2 * b + c) if a - 2 * b + c < 0 else 0.0)
            if not any(abs(pitch - other) < 0.015 * pitch for other in found):
                found.append(float(pitch))
    return found


def _gaps(profile: Profile, pitch: float) -> list[int]:
    """Likely widths of a line."""
    most = int(0.4 * pitch)
    alike = [float((profile[:-gap] * profile[gap:]).sum()) for gap in range(1, most + 1)]
    return [0, *(gap + 1 for gap in np.argsort(alike)[::-1][:3].tolist())]


def _chains(profile: Profile, tried: list[tuple[float, int]]) -> list[tuple[float, Spans]]:
    """For each pitch and usual width of a line, the chain of such cells that begin and end at most edges, and what it
    is worth. A cell next to a bold line may be narrower, and a line wider, at a price."""
    if not tried:
        return []
    size, count = len(profile), np.arange(len(tried))
    steps = [_steps(pitch, gap) for pitch, gap in tried]
    (widths, width_costs), (gaps, gap_costs) = (_table([one[at] for one in steps]) for at in (0, 1))
    high = np.percentile(profile[profile > 0.01], 97) if (profile > 0.01).any() else 1.0
    height = np.minimum(profile / high, 1) - USUAL
    height[[0, -1]] = 0
    before = int(max(widths.max(), gaps.max()))  # places before the picture, from which nothing comes
    begun = np.full((before + size, len(tried)), -np.inf)
    begun[before:] = height[:, None]
    ended = np.full_like(begun, -np.inf)
    width_of, gap_of = np.zeros(begun.shape, dtype=np.intp), np.full(begun.shape, -1, dtype=np.intp)
    begin_of, end_of = (count[:, None] - len(tried) * some for some in (widths, gaps))  # as places in all of them
    for place in range(before + int(widths[:, 0].min()), before + size):
        here = float(height[place - before])
        worth = begun.take(begin_of + len(tried) * place) - width_costs
        width_of[place] = best = worth.argmax(axis=1)
        ended[place] = worth[count, best] + here
        worth = ended.take(end_of + len(tried) * place) - gap_costs
        best = worth.argmax(axis=1)
        reached = worth[count, best] + np.where(best > 0, here, 0.0)
        gap_of[place] = np.where(reached > begun[place], best, -1)
        begun[place] = np.maximum(reached, begun[place])
    found = []
    for row in count.tolist():
        place = int(ended[:, row].argmax())
        top, cells = float(ended[place, row]), []
        while np.isfinite(top):
            begin = place - int(widths[row, width_of[place, row]])
            cells.append((begin - before, place - before))
            if gap_of[begin, row] < 0:
                break
            place = begin - int(gaps[row, gap_of[begin, row]])
        found.append((top, np.array(cells[::-1], dtype=np.intp).reshape(-1, 2)))
    return found


_Costs = tuple[npt.NDArray[np.intp], Profile]
"""Widths in px, and what each costs."""


def _steps(pitch: float, gap: int) -> tuple[_Costs, _Costs]:
    """The widths that cells and lines may have."""
    inside = pitch - gap
    widths = np.arange(max(2, int(min(_COVERED * pitch, inside - 1))), int(np.ceil(inside + 1)) + 1)
    off = np.abs(widths - inside)
    width_costs = np.where(off <= 1, _EACH_PX * off, _ODD + 0.5 * off / pitch)
    gaps = np.arange(int(min(_BOLDEST * inside + 1, 0.55 * pitch)) + 1)
    off = np.abs(gaps - gap)
    gap_costs = np.where((off <= 1) & ((gaps > 0) | (gap <= 1)), _EACH_PX * off, _ODD)
    return (widths, width_costs), (gaps, gap_costs)


def _table(steps: list[_Costs]) -> _Costs:
    """Rows made equally long by widths that cost too much."""
    longest = max(len(widths) for widths, _ in steps)
    table = np.zeros((len(steps), longest), dtype=np.intp), np.full((len(steps), longest), np.inf)
    for row, (widths, costs) in enumerate(steps):
        table[0][row, : len(widths)], table[1][row, : len(widths)] = widths, costs
        table[0][row, len(widths) :] = widths[0]
    return table


def _continued(cells: Spans, size: int) -> Spans:
    """The cells and more of them to both ends of the picture."""
    steps = np.diff(cells[:, 0])
    gap = float(np.median(cells[1:, 0] - cells[:-1, 1]))
    usual = float(np.median(cells[:, 1] - cells[:, 0])) + gap
    pitch = float(steps[np.abs(steps - usual) <= 1.01].mean()) if (np.abs(steps - usual) <= 1.01).any() else usual
    width = pitch - gap
    before = np.arange(cells[0, 0] - gap, _CUT * pitch, -pitch)[::-1]
    after = np.arange(cells[-1, 1] + gap, size - _CUT * pitch + 0.01, pitch)
    first = np.stack([before - width, before], axis=1).round().clip(0, size).astype(np.intp)
    last = np.stack([after, after + width], axis=1).round().clip(0, size).astype(np.intp)
    return np.concatenate([first, cells, last])


def _snapped(cells: Spans, profile: Profile) -> Spans:
    """The cells between the outermost clear edges of each line, where there are lines."""
    if float(np.median(cells[1:, 0] - cells[:-1, 1])) <= 0:
        return cells
    reach = max(1, min(3, int(0.12 * np.median(cells[:, 1] - cells[:, 0]))))
    first, last = cells.T.tolist()
    steps = profile.tolist()
    for number in range(len(cells) + 1):
        end = last[number - 1] if number else first[0]
        begin = first[number] if number < len(cells) else last[-1]
        if begin <= 0 or end >= len(steps) - 1:  # at the picture's own edge no line is seen
            continue
        low = max(0, end - reach)
        near = steps[low : begin + reach + 1]
        if max(near, default=0.0) <= 0.02:
            continue
        clear = 0.5 * max(near)
        if number:
            left = next(place for place, step in enumerate(near, low) if step >= clear)
            last[number - 1] = max(left, first[number - 1] + 2)
        if number < len(cells):
            right = next(low + place for place in range(len(near) - 1, -1, -1) if near[place] >= clear)
            first[number] = min(right, last[number] - 2)
    return np.stack([first, last], axis=1).astype(np.intp)


def axis_of(cells: Spans) -> Axis:
    """Cells as lines and their widths."""
    gaps = (cells[1:, 0] - cells[:-1, 1]).astype(np.float64)
    usual = float(np.median(gaps)) if len(gaps) else 0.0
    middles = (cells[1:, 0] + cells[:-1, 1]) / 2
    lines = np.concatenate([[cells[0, 0] - usual / 2], middles, [cells[-1, 1] + usual / 2]]) - 0.5
    return Axis(lines, np.concatenate([[usual], gaps, [usual]]))


_NEAR: Final = 0.7
"""The part of the lines that must lie on a straight line for all to be put on it."""


def settled(axis: Axis, error_px: float) -> Axis:
    """The axis with its lines at even distances, where they are so but for errors of about so many px."""
    numbers, lines = np.arange(len(axis.lines)), axis.lines
    near = np.ones(len(lines), dtype=np.bool_)
    for _ in range(3):
        even = np.polyval(np.polyfit(numbers[near], lines[near], 1), numbers)
        near = np.abs(lines - even) <= max(error_px, 0.05 * axis.pitch_px)
        if near.sum() < 3 or near.mean() < _NEAR:
            return axis
    if float(np.percentile(np.abs(lines - even), 90)) > max(error_px, 0.04 * axis.pitch_px):
        return axis
    usual = float(np.median(axis.widths))
    return Axis(even.astype(np.float64), np.where(np.abs(axis.widths - usual) <= 2 * error_px, usual, axis.widths))


# -- cells of exactly one size --------------------------------------------------------------------------------------

_TOGETHER: Final = 0.75
"""How much of the steps must lie at one phase of the pitch: 1 where all do, 0 where they lie anywhere."""
_FINER: Final = 8


def even_pitches(steps: Profile, least: float = _TOGETHER) -> list[tuple[float, float]]:
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
        a, b, c = together[number - 1 : number + 2]
        exact = number + 0.5 * (a - c) / min(a - 2 * b + c, -1e-12)
        wave = np.exp(-2j * np.pi * exact / size * np.arange(len(steps))) @ steps
        pitch = size / exact
        found.append((pitch, float(-np.angle(wave) / (2 * np.pi) * pitch % pitch)))
    return found


def even_chains(profile: Profile, most: int = 4) -> list[Spans]:
    """Cells of one size without lines, from one end of the picture to the other, the widest first."""
    found = []
    for pitch, start in even_pitches(np.square(profile))[:most]:
        borders = np.arange(start, len(profile) - 1 + 0.25 * pitch, pitch)
        if start > _CUT * pitch:
            borders = np.concatenate([[start - pitch], borders])
        borders = borders.round().clip(0, len(profile) - 1).astype(np.intp)
        if len(borders) > LEAST_CELLS:
            found.append(np.stack([borders[:-1], borders[1:]], axis=1))
    return _distinct(found)

"""The search for a lattice: parts of the picture tried by turns, combs of both directions paired and judged, the best
measured again. Works on ink (0 paper, 1 black) alone and knows nothing of what the cells mean.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np
from scipy import ndimage

from stitchc.trace.grid.combs import combs_of
from stitchc.trace.grid.edges import Plane, edges_of, noise_of
from stitchc.trace.grid.fitting import measured_again, settled
from stitchc.trace.grid.judging import View, judged, skips_lines
from stitchc.trace.grid.lattice import LEAST_PITCH_PX, Axis, Lattice

_LOOKED_AT: Final = 2_500_000
"""Pixels in which a grid is looked for; larger pictures are made smaller for it, unless their cells are then small."""
_ROOMY_PX: Final = 9.0


def find_lattice(plane: Plane, cells: tuple[int, int] | None = None) -> Lattice | None:
    """The lattice of a straight picture, or None where there is none that can be trusted.

    Looked for first where ink hangs together, as the lines of a grid do and letters do not, then in the whole picture.
    Each direction proposes some combs of lines by itself; a pair of them is then judged edge of cell by edge of cell,
    so that lettering beside the grid, or marks inside the cells, are not taken for lines.
    cells: how many the user says there are across and down; lattices with other counts are then passed over.
    """
    smaller = math.ceil(math.sqrt(plane.size / _LOOKED_AT))
    if smaller > 1:
        found = _searched(_reduced(plane, smaller), cells)
        if found is not None and min(found.across.pitch_px, found.down.pitch_px) >= _ROOMY_PX:
            return settled(plane, found.grown(smaller))
    found = _searched(plane, cells)
    return None if found is None else settled(plane, found)


def _reduced(plane: Plane, by: int) -> Plane:
    height, width = plane.shape[0] // by * by, plane.shape[1] // by * by
    return np.asarray(plane[:height, :width].reshape(height // by, by, width // by, by).mean(axis=(1, 3)))


_SURELY: Final = 0.85
"""The mean of what is seen of a ruled grid's edges from which nothing better is looked for elsewhere."""


def _searched(plane: Plane, cells: tuple[int, int] | None) -> Lattice | None:
    noise = noise_of(plane)
    (upright, sure_x), (level, sure_y) = edges_of(plane, 1, noise), edges_of(plane, 0, noise)
    sure = sure_x, sure_y
    whole = View.of(plane, upright, level, sure)
    best: tuple[float, Lattice] | None = None
    for left, top, right, bottom in [*_regions(plane, noise), (0, 0, plane.shape[1], plane.shape[0])]:
        here = slice(top, bottom), slice(left, right)
        view = whole if upright[here].shape == plane.shape else View.of(plane[here], upright[here], level[here], sure)
        found = _best_pair(view, cells)
        if found is not None and view is not whole:
            # lines that grain or blur has cut may go on beyond what hangs together
            lattice = measured_again(upright, level, sure, found[1].moved(left, top))
            found = judged(whole, lattice.across, lattice.down)
            if found is not None and cells is not None and found[1].size != cells:
                found = None
        if found is not None and (best is None or found[0] > best[0]):
            best = found
            if found[1].ruled and found[1].across.share >= _SURELY:
                break
    if best is None:
        return None
    lattice = best[1]
    for _ in range(8):  # lines measured over all that was found fall nearer to those farther out
        measured = measured_again(upright, level, sure, lattice)
        wider = judged(whole, measured.across, measured.down)
        if wider is None or (cells is not None and wider[1].size != cells):
            break
        settled = wider[1].size == lattice.size
        lattice = wider[1]
        if settled:
            break
    return replace(lattice, doubtful=lattice.ruled and skips_lines(whole, lattice))


def _best_pair(view: View, cells: tuple[int, int] | None) -> tuple[float, Lattice] | None:
    # clipped low, so that a faint line that runs through counts for more than a black spot
    columns = np.minimum(view.upright, view.sure[0]).mean(axis=1) / view.sure[0]
    rows = np.minimum(view.level, view.sure[1]).mean(axis=1) / view.sure[1]
    combs_across = combs_of(columns)
    combs_down = combs_of(rows, combs_across)
    combs_across += [comb for comb in combs_of(columns, combs_down) if comb not in combs_across]
    best: tuple[float, Lattice] | None = None

    def consider(across: Axis, down: Axis) -> bool:
        nonlocal best
        if not 0.4 < across.pitch_px / down.pitch_px < 2.5:
            return False
        found = judged(view, across, down)
        if found is None or (cells is not None and found[1].size != cells):
            return False
        if best is None or found[0] > best[0]:
            best = found
            return True
        return False

    for across in combs_across:
        for down in combs_down:
            consider(across, down)
    for _ in range(3):  # a comb of few lines is bent by a heavy one at its end; within the grid more is seen
        if best is None or not best[1].ruled:
            break
        again = measured_again(view.upright.T, view.level, view.sure, best[1])
        if not consider(again.across, again.down):
            break
    if best is not None and best[1].ruled:  # where each fifth line is heavier, those may have been found alone
        coarse = best[1]
        for finer_across, finer_down in ((2, 2), (5, 5), (2, 1), (1, 2), (5, 1), (1, 5)):
            across, down = _finer(coarse.across, finer_across), _finer(coarse.down, finer_down)
            if min(across.pitch_px, down.pitch_px) >= LEAST_PITCH_PX:
                consider(across, down)
    return best


def _finer(axis: Axis, times: int) -> Axis:
    return replace(axis, pitch_px=axis.pitch_px / times, cells=axis.cells * times)


def _regions(plane: Plane, noise: float) -> list[tuple[int, int, int, int]]:
    """Left, top, right and bottom of the two largest pieces of ink that hang together, with a little room around."""
    labels, count = ndimage.label(plane > max(0.12, 4 * noise), structure=np.ones((3, 3), dtype=int))
    if count == 0:
        return []
    boxes = [box for box in ndimage.find_objects(labels) if box is not None]
    sized = sorted(
        (((box[1].stop - box[1].start) * (box[0].stop - box[0].start), box) for box in boxes), key=lambda pair: -pair[0]
    )
    found = []
    for area, box in sized[:2]:
        height, width = box[0].stop - box[0].start, box[1].stop - box[1].start
        if min(height, width) < 2 * LEAST_PITCH_PX or not 0.01 * plane.size < area < 0.9 * plane.size:
            continue
        room = 6
        found.append(
            (
                max(0, box[1].start - room),
                max(0, box[0].start - room),
                min(plane.shape[1], box[1].stop + room),
                min(plane.shape[0], box[0].stop + room),
            )
        )
    return found

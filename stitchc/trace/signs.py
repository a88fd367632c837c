"""The signs of the published notations and the plain ones, recognised in cells by how they would look there.

Knows samples of cells and how signs are drawn; nothing of grids.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.chart import KNIT, SLIP, TUCK
from stitchc.drawn.symbols import NOTATIONS, Area, Face, Notation, Ring, Spot, Stroke, symbol
from stitchc.trace.cells import Codes, Patches, Shares
from stitchc.trace.grid import BORDER


@dataclass(frozen=True)
class Signs:
    """Cells read as the signs of a notation. away: the mean distance of cells from their sign, 0 for a perfect fit.

    apart: how many times farther the cells are from the signs of the next notation; 0 where no other was tried.
    """

    notation: Notation
    face: Face | None
    codes: Codes
    distances: Shares
    """(rows, columns, 3): how far each cell is from the signs for K, T and S."""
    away: float
    apart: float = 0.0

    @property
    def telling(self) -> bool:
        """Whether the cells hardly could be anything else: a thread that runs through all of them is no chance."""
        return self.notation == "thread" and self.apart >= _TELLING


_TELLING: Final = 1.6
_LIKE: Final = 0.14
"""The mean distance up to which cells are taken for a notation's signs."""
_LIKE_IF_TELLING: Final = 0.17
"""The same for signs so full that no others come near; in small cells they look a little unlike themselves."""
_STRENGTHS: Final = (1.0, 0.85, 0.7, 0.55, 0.42, 0.32)
_BLURS: Final = (0.0, 0.6, 1.1)
"""Standard deviations in samples, of which a cell has seven."""
_SLACK: Final = (-0.05, 0.0, 0.05)
_MOST_FULL: Final = 0.55
"""The share of a cell that a sign blackens at most; those of ours and of the published notations stay under 0.45."""


def known_signs(patches: Patches, only: Notation | None = None) -> Signs | None:
    """The published notation or the plain signs that the cells fit, or None where they fit none well."""
    rows, columns, side = patches.shape[:3]
    if side < 5 or rows * columns == 0:
        return None
    dark = np.clip(1 - patches.min(axis=4), 0, 1).reshape(rows * columns, side * side)
    black = float(np.percentile(dark.max(axis=1), 98))
    if black < 0.15:
        return None
    if only is None and float(np.percentile((dark > 0.5 * black).mean(axis=1), 98)) > _MOST_FULL:
        return None  # filled squares, of which only who drew them knows the meaning
    some = dark[:: max(1, len(dark) // 500)]
    found: list[Signs] = []
    seen: dict[float, tuple[Shares, list[list[Shares]]]] = {}
    for notation in NOTATIONS if only is None else (only,):
        faces: tuple[Face, ...] = ("purl", "knit") if notation == "squared" else ("purl",)
        for face in faces:
            # how black and how blurred the signs are is found by trying: no sign need be there that is all black
            tried = [
                (float(_distances(some / strength, models).min(axis=1).mean()) * strength**0.5, at, strength, models)
                for at, blur in enumerate(_BLURS)
                for models in [[[*_models(code, notation, face, side, blur)] for code in (KNIT, TUCK, SLIP)]]
                for strength in _STRENGTHS
            ]
            _, _, strength, models = min(tried, key=lambda found: found[:3])
            distances = _distances(dark / strength, models)
            nearest = distances.argmin(axis=1)
            away = float(distances.min(axis=1).mean())
            found.append(
                Signs(
                    notation,
                    face if notation == "squared" and bool((nearest == KNIT).any()) else None,
                    nearest.astype(np.uint8).reshape(rows, columns),
                    distances.reshape(rows, columns, 3),
                    away,
                )
            )
            seen[away] = dark / strength, models
    best = min(found, key=lambda signs: signs.away)
    others = [signs.away for signs in found if signs.notation != best.notation]
    if others:
        best = replace(best, apart=min(others) / max(best.away, 1e-6))
    if best.away > (_LIKE_IF_TELLING if best.telling else _LIKE) or (
        only is None and not _tells_much(best, seen[best.away][1])
    ):
        return None
    return _learned(best, *seen[best.away])


_ENOUGH: Final = 3
"""Cells of a sign from which its look in this very picture is learned."""


def _learned(signs: Signs, dark: Shares, models: list[list[Shares]]) -> Signs:
    """The same signs measured against how they look in this picture, blurred and thickened as it may be."""
    shape = signs.codes.shape
    codes = signs.codes.ravel()
    for code, moved in enumerate(models):
        members = dark[codes == code]
        if len(members) >= _ENOUGH:
            moved.append(np.median(members, axis=0).reshape(moved[0].shape))
    distances = _distances(dark, models)
    return replace(
        signs, codes=distances.argmin(axis=1).astype(np.uint8).reshape(shape), distances=distances.reshape(*shape, 3)
    )


_LIKE_EACH: Final = 0.2
_NEARER: Final = 0.8
_LIKE_FEW: Final = 0.15
"""How far the cells of each sign may be from it on average; the second where only two different signs were found."""


def _tells_much(signs: Signs, models: list[list[Shares]]) -> bool:
    """Whether something was recognised: a page of empty squares says nothing, and no stitch slips on every needle; nor
    does a sign prove much that is unlike its cells, or to which an empty square would be about as near."""
    if (signs.codes == SLIP).all():
        return False
    nearest = signs.distances.min(axis=2)
    present = np.unique(signs.codes)
    most = _LIKE_FEW if len(present) < 3 else _LIKE_EACH
    if signs.telling:
        return True
    for code in present.tolist():
        away = float(nearest[signs.codes == code].mean())
        empty = min(float(np.sqrt(np.square(model).mean())) for model in models[code])
        if away > most or (empty > 0 and away > _NEARER * empty):
            return False
    return True


def _distances(dark: Shares, models: list[list[Shares]]) -> Shares:
    """How far each cell is from each sign, the sign being moved a little about for the best fit: (cells, signs)."""
    own = np.square(dark).sum(axis=1)
    columns = []
    for moved in models:
        stack = np.stack([model.ravel() for model in moved])
        squares = own[:, None] - 2 * dark @ stack.T + np.square(stack).sum(axis=1)[None, :]
        columns.append(np.sqrt(np.maximum(squares.min(axis=1), 0) / dark.shape[1]))
    return np.stack(columns, axis=1).astype(np.float32)


@functools.lru_cache(maxsize=256)
def _models(code: int, notation: Notation, face: Face, side: int, blur: float) -> tuple[Shares, ...]:
    if blur:
        sharp = _models(code, notation, face, side, 0.0)
        return tuple(ndimage.gaussian_filter(look, blur, mode="nearest") for look in sharp)
    return tuple(_rasterised(code, notation, face, side, dx, dy) for dx in _SLACK for dy in _SLACK)


def _rasterised(code: int, notation: Notation, face: Face, side: int, dx: float, dy: float) -> Shares:
    """The sign as it looks in the samples of a cell: ink from 0 to 1, (side, side)."""
    finer = 8
    places = BORDER + (1 - 2 * BORDER) * (np.arange(side * finer) + 0.5) / (side * finer)
    x, y = np.meshgrid(places - dx, places - dy)
    ink = np.zeros_like(x)
    for shape in symbol(code, notation, face):
        match shape:
            case Spot():
                inside = np.hypot(x - shape.centre[0], y - shape.centre[1]) <= shape.radius
            case Ring():
                off = np.hypot(x - shape.centre[0], y - shape.centre[1]) - shape.radius
                inside = np.abs(off) <= shape.width / 2
            case Stroke():
                inside = _off_line(x, y, shape.points) <= shape.width / 2
            case Area():
                inside = _within(x, y, shape.points)
        ink = np.maximum(ink, np.where(inside, shape.ink, 0))
    return np.asarray(ink.reshape(side, finer, side, finer).mean(axis=(1, 3)), dtype=np.float32)


def _off_line(
    x: npt.NDArray[np.float64], y: npt.NDArray[np.float64], points: tuple[tuple[float, float], ...]
) -> npt.NDArray[np.float64]:
    """The distance of each place from a line through points."""
    best = np.full(x.shape, np.inf)
    for (x1, y1), (x2, y2) in pairwise(points):
        length = max((x2 - x1) ** 2 + (y2 - y1) ** 2, 1e-12)
        along = np.clip(((x - x1) * (x2 - x1) + (y - y1) * (y2 - y1)) / length, 0, 1)
        best = np.minimum(best, np.hypot(x - x1 - along * (x2 - x1), y - y1 - along * (y2 - y1)))
    return best


def _within(
    x: npt.NDArray[np.float64], y: npt.NDArray[np.float64], points: tuple[tuple[float, float], ...]
) -> npt.NDArray[np.bool_]:
    inside = np.zeros(x.shape, dtype=np.bool_)
    for (x1, y1), (x2, y2) in zip(points, (*points[1:], points[0]), strict=True):
        if y1 != y2:
            crossing = x1 + (y - y1) * (x2 - x1) / (y2 - y1)
            inside ^= ((y1 > y) != (y2 > y)) & (x < crossing)
    return inside

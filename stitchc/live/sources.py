"""Where the cells of a built stitch come from: the stitch that is written row by row, its row and its needle.

Follows the same expression as `stitchc.notation.build`, with the place of each cell instead of the cell.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from stitchc.notation.gather import Gathered
from stitchc.notation.tree import Expression, Form, Formed, Joined, Named, PlainPart, StitchBuilt
from stitchc.pattern import Pattern

Places = npt.NDArray[np.int32]
"""Shape (rows, needles, 3): number of the stitch in the pattern (-1 for `plain`), row and needle, all from 0."""


class Source(NamedTuple):
    """A cell of a stitch that is written row by row; row and column from 1."""

    stitch: str
    row: int
    column: int


def source_of(
    pattern: Pattern, text: str, file: str, folder: Path | None, name: str, row: int, column: int
) -> Source | None:
    """Where the cell of a stitch comes from; None for a cell of `plain`. row, column: from 1."""
    gathered = Gathered(file, folder)
    gathered.read(text)
    places = _Places(pattern, gathered).of(name)
    stitch, source_row, source_column = places[row - 1, column - 1].tolist()
    if stitch < 0:
        return None
    return Source(list(pattern.stitches)[stitch], source_row + 1, source_column + 1)


class _Places:
    def __init__(self, pattern: Pattern, gathered: Gathered) -> None:
        self.pattern, self.gathered = pattern, gathered
        self.numbers: Mapping[str, int] = {name: number for number, name in enumerate(pattern.stitches)}

    def of(self, name: str) -> Places:
        definition = self.gathered.definitions[name]
        if isinstance(definition, StitchBuilt):
            return self.evaluate(definition.expression)
        return _grid(self.numbers[name], *self.pattern.stitches[name].chart.cells.shape)

    def evaluate(self, expression: Expression) -> Places:
        if isinstance(expression, Named):
            return self.of(expression.name.key)
        if isinstance(expression, PlainPart):
            return _grid(-1, int(expression.height.value), int(expression.width.value))
        if isinstance(expression, Formed):
            places = self.evaluate(expression.part)
            for form in expression.forms:
                places = _formed(places, form)
            return places
        return _joined([self.evaluate(part) for part in expression.parts], expression)


def _grid(number: int, height: int, width: int) -> Places:
    places = np.empty((height, width, 3), dtype=np.int32)
    places[..., 0] = number
    places[..., 1], places[..., 2] = np.indices((height, width))
    return places


def _formed(places: Places, form: Form) -> Places:
    count = int(form.number.value) if form.number is not None else 0
    if form.kind == "across":
        return np.tile(places, (1, count, 1))
    if form.kind == "up":
        return np.tile(places, (count, 1, 1))
    if form.kind == "shifted":
        return np.roll(places, -count if form.leftward else count, axis=1)
    if form.kind == "mirrored":
        return places[:, ::-1]
    return places[::-1] if form.kind == "reversed" else places


def _joined(parts: list[Places], expression: Joined) -> Places:
    """The smaller parts repeated to the size of the larger, then put together."""
    upward = expression.kind == "then"
    axis = 1 if upward else 0
    most = max(part.shape[axis] for part in parts)
    tiled = [
        np.tile(part, (1, most // part.shape[1], 1) if upward else (most // part.shape[0], 1, 1)) for part in parts
    ]
    return np.concatenate(tiled, axis=0 if upward else 1)

"""Relaxed fabrics as bytes and back, so that a repeat is relaxed once. Does not know where they are kept.

What does not fit the chart asked for is no fabric, and is relaxed anew.
"""

from __future__ import annotations

import functools
import hashlib
import inspect
from collections.abc import Iterator
from typing import Final, Protocol

import numpy as np

from stitchc.chart import Chart
from stitchc.fabric import descent, energy, metric, near, relaxation, start, symmetry
from stitchc.fabric.relaxation import Fabric, relaxed_repeat, relaxing
from stitchc.product import Progress, no_progress

_CODE: Final = (descent, energy, metric, near, relaxation, start, symmetry)
_DIGEST_BYTES: Final = 32
_NUMBERS: Final = 5


class Shelf(Protocol):
    """Where fabrics are kept, as bytes by name: a dict, or a folder."""

    def get(self, name: str, /) -> bytes | None: ...

    def __setitem__(self, name: str, content: bytes, /) -> None: ...


def fabrics(
    chart: Chart, cell: tuple[float, float] | None, slip_fed: float, kept: Shelf | None = None
) -> Iterator[Fabric]:
    """As `relaxation.relaxing`, rounded so that it can be found again: the fabric that was kept, or better and better
    ones, the last of which is kept."""
    if cell is not None:
        cell = float(f"{cell[0]:.4g}"), float(f"{cell[1]:.4g}")
    slip_fed = float(f"{slip_fed:.3g}")
    name = name_of(chart, cell, slip_fed)
    content = kept.get(name) if kept is not None else None
    fabric = unpack(content, name, relaxed_repeat(chart)) if content else None
    if fabric is not None:
        yield fabric
        return
    for fabric in relaxing(chart, cell, slip_fed):
        if fabric.done == 1 and kept is not None:
            kept[name] = pack(fabric, name)
        yield fabric


def second_opinion(
    chart: Chart, slip_fed: float = start.SLIP_FED, progress: Progress = no_progress, kept: Shelf | None = None
) -> tuple[float, float]:
    """(F_w, F_c): stitches and rows per length over those of plain, both relaxed in a free cell.

    A second opinion and no more: elastic yarn alone does not choose the shape, friction and pressing do. With those
    fixed as here, F_w is uncertain to 10 to 25 % and F_c to 5 to 25 %. Raises as `relaxing` does.
    """
    for fabric in fabrics(chart, None, slip_fed, kept):
        progress(fabric.done)
    *_, plain = fabrics(Chart.plain(1, 1), None, slip_fed, kept)
    return plain.cell_w / fabric.cell_w, plain.cell_c / fabric.cell_c


def name_of(chart: Chart, cell: tuple[float, float] | None, slip_fed: float) -> str:
    """A name that is the same for the same fabric relaxed by the same program: 32 hexadecimal figures.

    cell, slip_fed: as of `relax.relaxing`.
    """
    repeat = relaxed_repeat(chart)
    asked = repeat.cells.shape, cell and tuple(f"{size:.6g}" for size in cell), f"{slip_fed:.6g}"
    return hashlib.sha256(repr((_rules(), asked)).encode() + repeat.cells.tobytes()).hexdigest()[:32]


@functools.cache
def _rules() -> str:
    """A digest of the code that relaxes: what another version kept is no fabric of this one."""
    code = "".join(inspect.getsource(module) for module in _CODE)
    return hashlib.sha256(code.encode()).hexdigest()


def pack(fabric: Fabric, name: str) -> bytes:
    """The fabric under the name that `name_of` gave for it: a digest, the numbers and the nodes, as 64-bit floats."""
    numbers = np.array([fabric.cell_w, fabric.cell_c, fabric.diameter, fabric.closest, fabric.longer])
    body = numbers.astype("<f8").tobytes() + np.array(fabric.courses, dtype="<f8").tobytes()
    return _digest(name, body) + body


def unpack(content: bytes, name: str, chart: Chart) -> Fabric | None:
    """The fabric of that repeat, or None if the bytes are not whole or not what was packed under that name."""
    digest, body = content[:_DIGEST_BYTES], content[_DIGEST_BYTES:]
    if digest != _digest(name, body):
        return None
    numbers, nodes = np.split(np.frombuffer(body, dtype="<f8"), [_NUMBERS])
    courses = nodes.reshape(chart.height, chart.width * start.NODES, 3)
    w, c, diameter, closest, longer = numbers.tolist()
    return Fabric(chart, tuple(courses), w, c, diameter, (), closest, longer)


def _digest(name: str, body: bytes) -> bytes:
    return hashlib.sha256(name.encode() + body).digest()

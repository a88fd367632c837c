"""Relaxed fabrics as bytes and back, so that a repeat is relaxed once. Does not know where they are kept.

The bytes are those of numpy's own archive, without pickles; what does not fit the chart asked for is no fabric, and is
relaxed anew.
"""

from __future__ import annotations

import functools
import hashlib
import inspect
import io
import zipfile
import zlib
from collections.abc import Iterator
from typing import Final, Protocol

import numpy as np

from stitchc.chart import Chart
from stitchc.fabric import descent, energy, metric, near, relaxation, start, symmetry
from stitchc.fabric.relaxation import Fabric, relaxing, smallest_repeat
from stitchc.product import Progress, no_progress

_FORM: Final = "stitchc-fabric/2"
_CODE: Final = (descent, energy, metric, near, relaxation, start, symmetry)
_MOST_BYTES: Final = 256 * 1024 * 1024
_BROKEN: Final = (
    *(OSError, EOFError, MemoryError, NotImplementedError, RuntimeError),
    *(ValueError, KeyError, TypeError, zipfile.BadZipFile, zlib.error),
)


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
    fabric = unpack(content, name) if content else None
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
    fixed as here, F_w is uncertain to 10 to 25 % and F_c to 5 to 15 %. Raises as `relaxing` does.
    """
    for fabric in fabrics(chart, None, slip_fed, kept):
        progress(fabric.done)
    *_, plain = fabrics(Chart.plain(1, 1), None, slip_fed, kept)
    return plain.cell_w / fabric.cell_w, plain.cell_c / fabric.cell_c


def name_of(chart: Chart, cell: tuple[float, float] | None, slip_fed: float) -> str:
    """A name that is the same for the same fabric relaxed by the same program: 32 hexadecimal figures.

    cell, slip_fed: as of `relax.relaxing`.
    """
    repeat = smallest_repeat(chart)
    asked = repeat.cells.shape, cell and tuple(f"{size:.6g}" for size in cell), f"{slip_fed:.6g}"
    return hashlib.sha256(repr((_FORM, _rules(), asked)).encode() + repeat.cells.tobytes()).hexdigest()[:32]


@functools.cache
def _rules() -> str:
    """A digest of the code that relaxes: what another version kept is no fabric of this one."""
    code = "".join(inspect.getsource(module) for module in _CODE)
    return hashlib.sha256(code.encode()).hexdigest()


def pack(fabric: Fabric, name: str) -> bytes:
    """The fabric under the name that `name_of` gave for it."""
    arrays = {
        "form": np.array(f"{_FORM} {name}"),
        "cells": fabric.chart.cells,
        "nodes": np.array(fabric.courses),
        "numbers": np.array([fabric.cell_w, fabric.cell_c, fabric.diameter, fabric.closest, fabric.longer]),
    }
    stream = io.BytesIO()
    np.savez(stream, allow_pickle=False, check=np.array(_digest(arrays)), **arrays)
    return stream.getvalue()


def unpack(content: bytes, name: str) -> Fabric | None:
    """The fabric, or None if the bytes are not whole, not ours, or of another chart, cell or version."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as members:
            if sum(member.file_size for member in members.infolist()) > _MOST_BYTES:
                return None
        with np.load(io.BytesIO(content), allow_pickle=False) as archive:
            arrays = {key: archive[key] for key in ("form", "cells", "nodes", "numbers")}
            check = str(archive["check"])
        if str(arrays["form"]) != f"{_FORM} {name}" or check != _digest(arrays):
            return None
        cells, nodes = arrays["cells"], arrays["nodes"]
        chart = Chart(cells, (None,) * len(cells))
        if nodes.shape != (chart.height, chart.width * start.NODES, 3):
            return None
        w, c, diameter, closest, longer = arrays["numbers"].tolist()
        if not (np.isfinite(nodes).all() and min(w, c, diameter) > 0):
            return None
    except _BROKEN:
        return None
    nodes.setflags(write=False)
    return Fabric(chart, tuple(nodes), w, c, diameter, (), closest, longer)


def _digest(arrays: dict[str, np.ndarray[tuple[int, ...], np.dtype[np.generic]]]) -> str:
    whole = hashlib.sha256()
    for key in sorted(arrays):
        array = np.ascontiguousarray(arrays[key])
        whole.update(f"{key} {array.dtype.str} {array.shape} ".encode())
        whole.update(array.tobytes())
    return whole.hexdigest()

"""A relaxed fabric as bytes and back, so that it can be kept between runs. Does not know where they are kept.

The bytes are those of numpy's own archive, without pickles; what does not fit the chart asked for is no fabric.
"""

from __future__ import annotations

import functools
import hashlib
import inspect
import io
import zipfile
import zlib
from typing import Final

import numpy as np

from stitchc.chart import Chart
from stitchc.fabric import descent, energy, metric, near, relaxation, start, symmetry
from stitchc.fabric.relaxation import Fabric, smallest_repeat

_FORM: Final = "stitchc-fabric/2"
_CODE: Final = (descent, energy, metric, near, relaxation, start, symmetry)
_MOST_BYTES: Final = 256 * 1024 * 1024
_BROKEN: Final = (
    *(OSError, EOFError, MemoryError, NotImplementedError, RuntimeError),
    *(ValueError, KeyError, TypeError, zipfile.BadZipFile, zlib.error),
)


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

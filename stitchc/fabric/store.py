"""A relaxed fabric as bytes and back, so that it can be kept between runs. Does not know where they are kept.

The bytes are those of numpy's own archive, without pickles; what does not fit the chart asked for is no fabric.
"""

from __future__ import annotations

import hashlib
import io
import zipfile
import zlib
from typing import Final

import numpy as np

from stitchc.chart import Chart
from stitchc.fabric import energy, start
from stitchc.fabric.relax import CLOSEST, HELD, MOST_RISEN, ROBBED, Fabric, smallest_repeat

_FORM: Final = "stitchc-fabric/1"
_MOST_BYTES: Final = 256 * 1024 * 1024
_BROKEN: Final = (
    *(OSError, EOFError, MemoryError, NotImplementedError, RuntimeError),
    *(ValueError, KeyError, TypeError, zipfile.BadZipFile, zlib.error),
)


def name_of(chart: Chart, cell: tuple[float, float] | None) -> str:
    """A name that is the same for the same fabric relaxed by the same rules: 32 hexadecimal figures.

    cell: wale spacing and course height, or None for a free cell.
    """
    repeat = smallest_repeat(chart)
    rules = (
        _FORM,
        (start.DIAMETER, sorted(start.NODES.items()), sorted(start.FED.items()), CLOSEST, HELD, MOST_RISEN, ROBBED),
        (
            energy.STRETCH,
            energy.CONTACT,
            energy.FLAT,
            energy.NO_SLIDING,
            energy.FRICTION,
            energy.UPRIGHT_X,
            energy.UPRIGHT_Z,
            energy.EVEN,
        ),
        repeat.cells.shape,
        None if cell is None else tuple(f"{size:.6g}" for size in cell),
    )
    return hashlib.sha256(repr(rules).encode() + repeat.cells.tobytes()).hexdigest()[:32]


def pack(fabric: Fabric, name: str) -> bytes:
    """The fabric under the name that `name_of` gave for it."""
    arrays = {
        "form": np.array(f"{_FORM} {name}"),
        "cells": fabric.chart.cells,
        "nodes": np.concatenate(fabric.courses),
        "counts": np.array([len(course) for course in fabric.courses]),
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
            arrays = {key: archive[key] for key in ("form", "cells", "nodes", "counts", "numbers")}
            check = str(archive["check"])
        if str(arrays["form"]) != f"{_FORM} {name}" or check != _digest(arrays):
            return None
        cells, nodes, counts = arrays["cells"], arrays["nodes"], arrays["counts"]
        chart = Chart(cells, (None,) * len(cells))
        layout = start.lay_out(chart)
        if counts.tolist() != np.bincount(layout.course).tolist() or nodes.shape != (layout.nodes, 3):
            return None
        w, c, diameter, closest, longer = arrays["numbers"].tolist()
        if not (np.isfinite(nodes).all() and min(w, c, diameter) > 0):
            return None
    except _BROKEN:
        return None
    ends = np.cumsum(counts)
    courses = tuple(nodes[end - count : end] for end, count in zip(ends, counts, strict=True))
    for course in courses:
        course.setflags(write=False)
    return Fabric(chart, courses, w, c, diameter, (), closest, longer)


def _digest(arrays: dict[str, np.ndarray[tuple[int, ...], np.dtype[np.generic]]]) -> str:
    whole = hashlib.sha256()
    for key in sorted(arrays):
        array = np.ascontiguousarray(arrays[key])
        whole.update(f"{key} {array.dtype.str} {array.shape} ".encode())
        whole.update(array.tobytes())
    return whole.hexdigest()

"""Relaxed fabrics kept in the user's cache folder, so that a repeat is relaxed once.

A cache that is broken, foreign or can't be written costs nothing but time: the fabric is relaxed anew.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Final

from stitchc import files

if TYPE_CHECKING:
    from stitchc.chart import Chart
    from stitchc.fabric import Fabric

_MOST_FILES: Final = 400
_MOST_BYTES: Final = 64 * 1024 * 1024


def relaxed(
    chart: Chart,
    cell: tuple[float, float] | None,
    slip_fed: float,
    progress: Callable[[float], None] | None = None,
) -> Fabric:
    """The chart's fabric at that wale spacing and course height (plain loop lengths), or at a free cell.

    slip_fed: as of `fabric.relaxing`. progress: called with the share done, 0 to 1. Raises Refused as `relaxing` does.
    """
    from stitchc.fabric import relaxing
    from stitchc.fabric.store import name_of, pack, unpack

    if cell is not None:
        cell = float(f"{cell[0]:.4g}"), float(f"{cell[1]:.4g}")
    slip_fed = float(f"{slip_fed:.3g}")
    name = name_of(chart, cell, slip_fed)
    folder = files.cache_folder()
    path = folder / "fabrics" / f"{name}.npz" if folder is not None else None
    kept = _read(path) if path else None
    fabric = unpack(kept, name) if kept else None
    if fabric is None:
        for fabric in relaxing(chart, cell, slip_fed):
            if progress is not None:
                progress(fabric.done)
        assert fabric is not None
        if path:
            _keep(path, pack(fabric, name))
    return fabric


def _read(path: Path) -> bytes | None:
    try:
        if not path.is_file() or path.stat().st_size > _MOST_BYTES:
            return None
        return path.read_bytes()
    except OSError:
        return None


def _keep(path: Path, content: bytes) -> None:
    """Write the file if that is possible, and drop the oldest where there are many."""
    from stitchc.messages import Refused

    with contextlib.suppress(Refused, OSError):
        files.write_files([(path, content)], force=True)
        kept = sorted(path.parent.glob("*.npz"), key=lambda each: each.stat().st_mtime)
        for old in kept[:-_MOST_FILES]:
            old.unlink(missing_ok=True)

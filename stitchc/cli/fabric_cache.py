"""Relaxed fabrics kept in the user's cache folder, so that a repeat is relaxed once, with a bar while it takes long.

A cache that is broken, foreign or can't be written costs nothing but time: the fabric is relaxed anew.
"""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

if TYPE_CHECKING:
    from stitchc.chart import Chart
    from stitchc.fabric import Fabric

_MOST_FILES: Final = 400
_MOST_BYTES: Final = 64 * 1024 * 1024


def relaxed(chart: Chart, cell: tuple[float, float] | None, progress: Callable[[float], None] | None = None) -> Fabric:
    """The chart's fabric at that wale spacing and course height (plain loop lengths), or at a free cell.

    Raises Refused as `fabric.relax` does.
    """
    from stitchc.fabric import relax, relax_free
    from stitchc.fabric.store import name_of, pack, unpack

    if cell is not None:
        cell = float(f"{cell[0]:.4g}"), float(f"{cell[1]:.4g}")
    name = name_of(chart, cell)
    folder = _folder()
    path = folder / f"{name}.npz" if folder else None
    kept = _read(path) if path else None
    fabric = unpack(kept, name) if kept else None
    if fabric is None:
        fabric = relax_free(chart, progress) if cell is None else relax(chart, *cell, progress)
        if path:
            _keep(path, pack(fabric, name))
    return fabric


def _folder() -> Path | None:
    from platformdirs import user_cache_path

    try:
        folder = user_cache_path("stitchc", appauthor=False) / "fabrics"
    except (OSError, RuntimeError):
        return None
    return folder if folder.is_absolute() else None  # without a home folder there is no place of the user's own


def _read(path: Path) -> bytes | None:
    try:
        if not path.is_file() or path.stat().st_size > _MOST_BYTES:
            return None
        return path.read_bytes()
    except OSError:
        return None


def _keep(path: Path, content: bytes) -> None:
    """Write the file if that is possible, and drop the oldest where there are many."""
    from stitchc import files
    from stitchc.messages import Refused

    with contextlib.suppress(Refused, OSError):
        files.write_files([(path, content)], force=True)
        kept = sorted(path.parent.glob("*.npz"), key=lambda each: each.stat().st_mtime)
        for old in kept[:-_MOST_FILES]:
            old.unlink(missing_ok=True)


class Bar:
    """A progress bar that appears only on a terminal and only once the work has taken a second."""

    def __init__(self, label: str) -> None:
        self._label = label
        self._begun = time.monotonic()
        self._bar: Any = None

    def __enter__(self) -> Bar:
        return self

    def at(self, share: float) -> None:
        """The share of the work that is done, 0 to 1."""
        if self._bar is None:
            if not sys.stderr.isatty() or time.monotonic() - self._begun < 1:
                return
            self._bar = click.progressbar(length=1000, label=self._label, file=sys.stderr)
            self._bar.__enter__()
        self._bar.update(round(share * 1000) - self._bar.pos)

    def __exit__(self, *trouble: object) -> None:
        if self._bar is not None:
            self._bar.__exit__(*trouble)

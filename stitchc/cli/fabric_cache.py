"""Relaxed fabrics kept in the user's cache folder, so that a repeat is relaxed once.

A cache that is broken, foreign or can't be written costs nothing but time: the fabric is relaxed anew.
"""

from __future__ import annotations

import contextlib
from typing import Final

from stitchc import files
from stitchc.messages import Refused

_MOST_FILES: Final = 400
_MOST_BYTES: Final = 64 * 1024 * 1024


class FabricCache:
    """A folder of fabrics (a `fabric.store.Shelf`), the oldest of which go when there are many."""

    def __init__(self) -> None:
        folder = files.cache_folder()
        self._folder = folder / "fabrics" if folder is not None else None

    def get(self, name: str) -> bytes | None:
        """What was kept under that name; None where there is nothing, or nothing that can be read."""
        path = self._folder / f"{name}.fabric" if self._folder is not None else None
        with contextlib.suppress(OSError):
            if path is not None and path.is_file() and path.stat().st_size <= _MOST_BYTES:
                return path.read_bytes()
        return None

    def __setitem__(self, name: str, content: bytes) -> None:
        if self._folder is None:
            return
        with contextlib.suppress(Refused, OSError):
            files.write_files([(self._folder / f"{name}.fabric", content)], force=True)
            kept = sorted(self._folder.glob("*.fabric"), key=lambda each: each.stat().st_mtime)
            for old in kept[:-_MOST_FILES]:
                old.unlink(missing_ok=True)

"""A line on a terminal that says how far a long work is; it is gone when the work ends, however that is.

Knows nothing of the work. It needs no control codes but the carriage return, so that any terminal shows it.
"""

from __future__ import annotations

import os
import sys
import time
from typing import Final

from stitchc.messages import columns_of, visible

_AFTER_S: Final = 1.0
"""Work that takes less needs no bar."""
_EVERY_S: Final = 0.1
_LEAST_BAR: Final = 10
_MOST_BAR: Final = 40
_SPARE: Final = 4
"""Columns left free at the right: for the cursor, and the ^C that a terminal echoes there."""


class Bar:
    """A progress bar on standard error: only where that is a terminal, and only once the work has taken a second."""

    def __init__(self, label: str) -> None:
        self._label = label
        self._stream = sys.stderr
        self._begun = time.monotonic()
        self._drawn_at = 0.0
        self._width = 0

    def __enter__(self) -> Bar:
        return self

    def move_to(self, share: float) -> None:
        """Show the share of the work that is done, 0 to 1."""
        now = time.monotonic()
        if now - self._begun < _AFTER_S or now - self._drawn_at < _EVERY_S or not self._can_draw():
            return
        self._drawn_at = now
        text = self._text(min(max(share, 0.0), 1.0), self._columns() - _SPARE)
        width = columns_of(text)
        self._width = max(self._width, width)  # first, since Ctrl-C may come while it is written
        self._write("\r" + text + " " * (self._width - width))
        self._width = width

    def __exit__(self, *trouble: object) -> None:
        if self._width:
            self._write("\r" + " " * (self._width + 2) + "\r")

    def _text(self, share: float, room: int) -> str:
        """ "building [=====     ] 50 %", in so many columns; what does not fit is left out."""
        bar = min(_MOST_BAR, max(_LEAST_BAR, room // 3))
        done = round(bar * share)
        percent = f"{100 * share:3.0f} %"
        drawn = f"[{'=' * done}{' ' * (bar - done)}] {percent}"
        if len(drawn) > room:
            return percent if len(percent) <= room else ""
        label = _cut(visible(self._label), room - len(drawn) - 1)
        return f"{label} {drawn}" if label else drawn

    def _can_draw(self) -> bool:
        return self._stream is not None and self._stream.isatty() and os.environ.get("TERM") != "dumb"

    def _columns(self) -> int:
        try:
            return os.get_terminal_size(self._stream.fileno()).columns or 80
        except (OSError, ValueError):
            return 80

    def _write(self, text: str) -> None:
        self._stream.write(text)
        self._stream.flush()


def _cut(text: str, columns: int) -> str:
    """The text in at most so many columns, with an ellipsis where it is longer."""
    if columns_of(text) <= columns:
        return text
    while text and columns_of(text) >= columns:
        text = text[:-1]
    return f"{text}…" if text else ""

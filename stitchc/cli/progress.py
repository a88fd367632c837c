"""A line on a terminal that says how far a long work is; it is gone when the work ends, however that is.

Knows nothing of what is done. It needs no control codes but the carriage return, so that any terminal shows it.
"""

from __future__ import annotations

import os
import sys
import time
from typing import ClassVar, Final

from stitchc.messages import columns_of, visible

_AFTER_S: Final = 1.0
"""Work that takes less needs no bar."""
_EVERY_S: Final = 0.1
_LEAST_BAR: Final = 10
_MOST_BAR: Final = 40
_SPARE: Final = 4
"""Columns left free at the right: for the cursor, and the ^C that a terminal echoes there."""


class Bar:
    """A progress bar on standard error: only where that is a terminal, and only once the work has taken a second.

    A bar within the `with` of another draws nothing itself: its share moves the outer one within its present step.
    """

    _outermost: ClassVar[Bar | None] = None

    def __init__(self, label: str) -> None:
        self._label = label
        self._stream = sys.stderr
        self._begun = time.monotonic()
        self._drawn_at = 0.0
        self._width = 0
        self._outer: Bar | None = None
        self._share, self._step, self._what = 0.0, 0.0, ""

    def __enter__(self) -> Bar:
        self._outer = Bar._outermost
        if self._outer is None:
            Bar._outermost = self
        return self

    def at(self, share: float, what: str = "", step: float = 0.0) -> None:
        """The share of the work that is done, 0 to 1. what: done now. step: the share that it will add."""
        self._share, self._step, self._what = share, step, what
        if self._outer is not None:
            self._outer._draw(self._outer._share + self._outer._step * share)
        else:
            self._draw(share)

    def clear(self) -> None:
        """Take the line away, so that something else can be printed; the next share draws it again."""
        if self._outer is not None:
            self._outer.clear()
        elif self._width:
            self._write("\r" + " " * (self._width + 2) + "\r")
            self._width, self._drawn_at = 0, 0.0

    def __exit__(self, *trouble: object) -> None:
        if self._outer is None:
            self.clear()
            Bar._outermost = None

    def _draw(self, share: float) -> None:
        now = time.monotonic()
        if now - self._begun < _AFTER_S or now - self._drawn_at < _EVERY_S or not self._can_draw():
            return
        self._drawn_at = now
        text = self._text(min(max(share, 0.0), 1.0), self._columns() - _SPARE)
        width = columns_of(text)
        self._width = max(self._width, width)  # first, since Ctrl-C may come while it is written
        self._write("\r" + text + " " * (self._width - width))
        self._width = width

    def _text(self, share: float, room: int) -> str:
        """ "building [=====     ] 50 % hole card", in so many columns; what does not fit is left out from the right."""
        percent = f"{100 * share:3.0f} %"
        bar = min(_MOST_BAR, max(_LEAST_BAR, room // 3))
        done = round(bar * share)
        drawn = f"[{'=' * done}{' ' * (bar - done)}] {percent}"
        label = _cut(visible(self._label), room - len(drawn) - 1)
        text = f"{label} {drawn}" if label else drawn
        if len(drawn) > room:
            return percent if len(percent) <= room else ""
        what = _cut(visible(self._what), room - columns_of(text) - 1)
        return f"{text} {what}" if what else text

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

"""Where a word goes so that it hides nothing. All lengths in pixels of the figure."""

from __future__ import annotations

import math
from collections.abc import Sequence

Circle = tuple[float, float, float]
"""Middle and radius, in pixels of the figure."""
Box = tuple[float, float, float, float]
"""Middle, width and height, in pixels of the figure."""


def room_beside(
    end: tuple[float, float],
    size: tuple[float, float],
    taken: Sequence[Circle],
    placed: Sequence[Box],
    frame: Sequence[float],
) -> tuple[float, float]:
    """Where the middle of a word goes: left or right of `end`, as near as it hides nothing. All in pixels.

    frame: left, bottom, right, top of the room there is.
    """
    best: tuple[float, float, float] | None = None
    for away in range(14, 200, 6):
        for rise in (6, 14, -4, 24, -14, 36, -26, 50, -40, 66, -56):
            for side in (-1, 1):
                x, y = end[0] + side * (away + size[0] / 2), end[1] + rise
                far = away + abs(rise) + (4 if side > 0 else 0)
                if best is not None and 200 - far <= best[0]:
                    continue
                if not (frame[0] + 4 <= x - size[0] / 2 and x + size[0] / 2 <= frame[2] - 4):
                    continue
                if not (frame[1] + 4 <= y - size[1] / 2 and y + size[1] / 2 <= frame[3] - 4):
                    continue
                gap = min([gap_between((x, y, *size), other) for other in taken], default=9.0)
                for other_x, other_y, wide, high in placed:
                    apart = abs(x - other_x) - (size[0] + wide) / 2, abs(y - other_y) - (size[1] + high) / 2
                    gap = min(gap, max(apart))
                score = min(gap, 5.0) * 40 - far
                if best is None or score > best[0]:
                    best = (score, x, y)
    return (end[0], end[1]) if best is None else best[1:]


def gap_between(box: Box, circle: Circle) -> float:
    """Pixels between a box and a circle; below 0 where they meet."""
    dx = max(abs(box[0] - circle[0]) - box[2] / 2, 0.0)
    dy = max(abs(box[1] - circle[1]) - box[3] / 2, 0.0)
    return math.hypot(dx, dy) - circle[2]

"""Marks read where the grid is known: charts as other people draw them, set straight and ruled by their own truth.

`python tests/trace/marks.py tune 90 [FIRST]` prints by kind what the reading of marks alone makes of them, and how far
the pictures set straight by trace itself are from straight. `--sure` adds how often cells of each certainty are right.
"""

from __future__ import annotations

import io
import sys
from collections import Counter
from unittest.mock import patch

import elsewhere
import numpy as np
from PIL import Image

from stitchc.chart import LETTERS
from stitchc.trace import trace
from stitchc.trace.field import Field
from stitchc.trace.grid import Axis, Lattice
from stitchc.trace.picture import even_light, paper_colour
from stitchc.trace.straight import Straight

UNLINED = ("terminal blocks", "coloured terminal", "smoothly enlarged pixels")
SHARES = (0, 0.5, 0.9, 0.99, 0.999, 1.001)


def true_field(case: elsewhere.Case) -> Field:
    """The cells of a case where they are, at about the picture's own size."""
    assert case.lines is not None
    pixels = np.asarray(Image.open(io.BytesIO(case.data)).convert("RGB"))
    lines, straight = case.lines, None
    if not np.array_equal(case.way, np.eye(3)):
        middle = case.way @ (*(np.mean(along) for along in lines), 1)
        around = case.way @ (np.mean(lines.across) + 1, np.mean(lines.down), 1)
        times = float(np.hypot(*(around[:2] / around[2] - middle[:2] / middle[2])))
        room = 0.5 * times * (lines.across[1, 0] - lines.across[0, 0])
        begin = np.array([along[0, 0] for along in lines]) * times - room
        lines = lines.moved(times, *-begin)
        back = case.way @ np.array([[1 / times, 0, begin[0] / times], [0, 1 / times, begin[1] / times], [0, 0, 1]])
        back /= back[2, 2]
        even = even_light(pixels)
        fill = tuple(int(value) for value in paper_colour(even))
        size = tuple(round(along[-1, 1] + room) for along in lines)
        warped = Image.fromarray(even).transform(
            size, Image.Transform.PERSPECTIVE, back.ravel()[:8].tolist(), Image.Resampling.BICUBIC, fillcolor=fill
        )
        pixels = np.asarray(warped)
        straight = Straight(pixels, back, 0.0, False)
    else:
        pixels = even_light(pixels)
    across, down = (Axis(along.mean(axis=1) - 0.5, along[:, 1] - along[:, 0]) for along in lines)
    return Field(down.cells, across.cells, pixels, Lattice(across, down), None, "", (), straight)


def main(half: str, count: int, first: int, sure: bool) -> None:
    seen: Counter[tuple[str, str]] = Counter()
    cells = np.zeros((len(SHARES) - 1, 2))
    for number, case in enumerate(elsewhere.cases(half, count, first), first):
        if case.style in UNLINED:
            continue
        field = true_field(case)
        with patch("stitchc.trace.pipeline.field_in", lambda *_, field=field: field):
            result, why = elsewhere.outcome(case)
            seen[case.kind, result] += 1
            seen["together", result] += 1
            if result != "right":
                print(f"{number} {case.kind}, {case.style}: {result}: {why}", flush=True)
            if sure and result != "refused":
                traced = trace(case.data, "chart", case.ask)
                good = traced.whole.cells == np.array([[LETTERS.index(one) for one in row] for row in case.rows])
                at = np.digitize(traced.certainty, SHARES) - 1
                cells += np.stack([np.bincount(at.ravel(), one.ravel(), len(cells)) for one in (good, ~good)], axis=1)
    print("\n".join(elsewhere.table(half, seen, Counter())))
    if sure:
        for low, high, (right, wrong) in zip(SHARES[:-1], SHARES[1:], cells.tolist(), strict=True):
            print(f"certainty {low} to {min(high, 1)}: {right + wrong:.0f} cells, {wrong:.0f} wrong")


if __name__ == "__main__":
    words = [word for word in sys.argv[1:] if not word.startswith("--")]
    main(words[0], int(words[1]), int(words[2]) if len(words) > 2 else 0, "--sure" in sys.argv)

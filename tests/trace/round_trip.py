"""Our own charts drawn in every way and traced again: each must come back exactly, and without a doubtful cell.

Run `python tests/trace/round_trip.py [CHARTS [SEED]]` for as many charts as are wanted (300 if unsaid, some minutes);
`--bare` takes from the files what they say of themselves, as a screenshot does, and tells the face instead.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from PIL import Image

from stitchc.chart import Chart
from stitchc.drawn import Drawing, draw
from stitchc.messages import Refused
from stitchc.page.png import png, size_px
from stitchc.trace import Ask, trace


class Attempt(NamedTuple):
    """One picture. fault: what went wrong, or nothing; astray: whether something wrong was read."""

    what: str
    fault: str
    astray: bool = False


def attempts(seed: int, charts: int, bare: bool = False) -> Iterator[Attempt]:
    """Charts of 1 to 25 needles and rows, some of a single row, column or stitch and some of 60 by 200, in all
    notations, from both sides, with and without yarns, on a roll and on pages."""
    random = np.random.default_rng(seed)
    for number in range(charts):
        width, height = int(random.integers(1, 26)), int(random.integers(1, 26))
        shares = random.dirichlet([1, 1, 1])
        match int(random.integers(0, 8)):
            case 0:
                height = 1
            case 1:
                width = 1
            case 2:
                shares = np.eye(3)[random.integers(0, 3)]
            case 3 if number % 40 == 39:
                width, height = 60, 200
        cells = random.choice(3, (height, width), p=shares).astype(np.uint8)
        yarns = tuple(random.choice(["oat", "foam"], height).tolist()) if random.random() < 0.3 else (None,) * height
        repeats = None if random.random() < 0.3 else (int(random.integers(1, 4)), int(random.integers(1, 3)))
        if width * height > 1000:
            repeats = (1, 1)
        drawing = Drawing(
            notation=random.choice(["squared", "thread", "plain"]),
            face=random.choice(["purl", "knit"]),
            cell_mm=float(random.choice([3, 4, 5] if bare else [2, 3, 3.3, 4, 5])),
            repeats=repeats,
            paper="a4" if random.random() < 0.2 else "roll",
        )
        dpi = int(random.choice([100, 150, 300] if bare else [72, 96, 100, 150, 200, 300]))
        for page in draw("kelp", Chart(cells, yarns), drawing, title="Harbour"):
            pixels = size_px(page, dpi)
            if pixels[0] * pixels[1] > 12_000_000:
                continue
            # a file says what the repeat is; a picture shows the part of the repeats that stands on it
            expected = cells
            if bare:
                across, up = repeats or (1, 1)
                expected = np.tile(cells, (up, across))
            what = f"seed {seed}, chart {number}: {width} by {height}, {drawing}, {dpi} dpi"
            yield _attempted(what, png(page, dpi, "RGB"), drawing, expected, bare)


def _attempted(what: str, data: bytes, drawing: Drawing, expected: np.ndarray, bare: bool) -> Attempt:
    ask = Ask(repeat="whole")
    if bare:
        out = io.BytesIO()
        Image.open(io.BytesIO(data)).convert("RGB").save(out, "PNG", pnginfo=None)
        data, ask = out.getvalue(), Ask(repeat="whole", face=drawing.face)
    try:
        traced = trace(data, "kelp.png", ask)
    except Refused as refused:
        return Attempt(what, f"{refused.messages[0].code}: {refused.messages[0].text}")
    if not np.array_equal(traced.whole.cells, expected):
        sure = "" if traced.messages else " without a warning"
        return Attempt(what, f"read otherwise{sure}: {traced.how}", True)
    if traced.messages and not bare:
        return Attempt(what, f"{len(traced.messages)} doubts: {traced.messages[0].text}")
    return Attempt(what, "")


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    pictures = faults = astray = 0
    for told in attempts(numbers[1] if len(numbers) > 1 else 1, numbers[0] if numbers else 300, "--bare" in sys.argv):
        pictures, faults, astray = pictures + 1, faults + bool(told.fault), astray + told.astray
        if told.fault:
            print(f"{told.what}: {told.fault}", flush=True)
    print(f"{pictures} pictures, {faults} did not come back, {astray} of them read otherwise")

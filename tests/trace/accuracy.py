"""How well charts are read from pictures that a scanner or camera has spoilt: the figures in accuracy.txt.

Run `python tests/trace/accuracy.py` to measure again (some minutes); the seeds are fixed, so the figures are the same
every time. The test beside this measures a smaller sample. `python tests/trace/accuracy.py SEEDS [FIRST]` prints the
figures of other seeds.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).parent))

from pictures import Style, distorted, drawn, png

from stitchc.chart import Chart
from stitchc.drawn import Drawing, draw
from stitchc.messages import Refused
from stitchc.page.png import png as painted
from stitchc.trace import Ask, Key, trace

FIGURES = Path(__file__).with_name("accuracy.txt")

Spoil = Callable[[Image.Image, int], Image.Image]

SPOILT: dict[str, Spoil] = {
    "as drawn": lambda image, seed: image,
    "turned 1 degree": lambda image, seed: distorted(image, seed, turned_deg=1.0),
    "turned 3 degrees": lambda image, seed: distorted(image, seed, turned_deg=-3.0 if seed % 2 else 3.0),
    "blurred, sigma 1 px": lambda image, seed: distorted(image, seed, blur_px=1.0),
    "blurred, sigma 2 px": lambda image, seed: distorted(image, seed, blur_px=2.0),
    "grain, sigma 8 of 255": lambda image, seed: distorted(image, seed, noise=8),
    "grain, sigma 20 of 255": lambda image, seed: distorted(image, seed, noise=20),
    "light falling off 30 %": lambda image, seed: distorted(image, seed, shade=0.3),
    "light falling off 50 %": lambda image, seed: distorted(image, seed, shade=0.5),
    "JPEG, quality 70": lambda image, seed: distorted(image, seed, jpeg=70),
    "JPEG, quality 30": lambda image, seed: distorted(image, seed, jpeg=30),
    "a scan: 2 degrees, blur 0.7, grain 5, light 20 %, JPEG 75": lambda image, seed: distorted(
        image, seed, turned_deg=2.0 if seed % 2 else -2.0, blur_px=0.7, noise=5, shade=0.2, jpeg=75
    ),
    "a bad scan: 3 degrees, blur 1, grain 10, light 35 %, JPEG 50": lambda image, seed: distorted(
        image, seed, turned_deg=3.0 if seed % 2 else -3.0, blur_px=1.0, noise=10, shade=0.35, jpeg=50
    ),
}

SHOWN = Key(dark=1, light=0, colours=(((190, 40, 40), 2),))


@dataclass(frozen=True)
class Source:
    """A way of drawing a chart, and what a user would say of it."""

    name: str
    picture: Callable[[Chart], Image.Image]
    ask: Ask


def _ours(notation: str, face: str, cell_mm: float, dpi: int) -> Callable[[Chart], Image.Image]:
    def picture(chart: Chart) -> Image.Image:
        drawing = Drawing(notation=notation, face=face, cell_mm=cell_mm, repeats=(1, 1))  # type: ignore[arg-type]
        return Image.open(io.BytesIO(painted(draw("kelp", chart, drawing)[0], dpi, "RGB"))).convert("RGB")

    return picture


def _others(style: Style) -> Callable[[Chart], Image.Image]:
    return lambda chart: drawn(chart.rows(), style)


SOURCES = (
    Source("our squared paper, 4 mm, 150 dpi", _ours("squared", "purl", 4, 150), Ask(repeat="whole")),
    Source("our squared paper, knit side, 3 mm, 150 dpi", _ours("squared", "knit", 3, 150), Ask(repeat="whole")),
    Source("our running thread, 4 mm, 150 dpi", _ours("thread", "purl", 4, 150), Ask(repeat="whole")),
    Source("our plain signs, 4 mm, 150 dpi", _ours("plain", "purl", 4, 150), Ask(repeat="whole")),
    Source("filled squares, 20 px", _others(Style("fill", lettered=True)), Ask(key=SHOWN, repeat="whole")),
    Source(
        "smaller squares, 16 px, pale lines",
        _others(Style("inset", 16, line=(185, 185, 185))),
        Ask(key=SHOWN, repeat="whole"),
    ),
    Source("dots, 24 px", _others(Style("dot", 24, lettered=True)), Ask(key=SHOWN, repeat="whole")),
    Source("crosses, 24 px, lines of 2 px", _others(Style("cross", 24, line_px=2)), Ask(key=SHOWN, repeat="whole")),
)


@dataclass
class Tally:
    """charts: how many; found: those whose size was right; cells: of those; wrong, and of these without a warning;
    unsure: named as unsure; astray: charts read in another size without an error."""

    charts: int = 0
    found: int = 0
    astray: int = 0
    cells: int = 0
    wrong: int = 0
    unwarned: int = 0
    unsure: int = 0


def chart_of(seed: int) -> Chart:
    """A chart of 12 to 30 needles by 12 to 36 rows in which two cells of five are not knit."""
    random = np.random.default_rng(seed)
    width, height = int(random.integers(12, 31)), int(random.integers(12, 37))
    cells = random.choice([0, 0, 0, 1, 2], (height, width)).astype(np.uint8)
    return Chart(cells, (None,) * height)


def measure(source: Source, spoil: Spoil, seeds: range, tally: Tally) -> None:
    """Read charts of these seeds drawn so and spoilt so, and count."""
    for seed in seeds:
        chart = chart_of(seed)
        picture = png(spoil(source.picture(chart), seed))
        tally.charts += 1
        try:
            traced = trace(picture, "scan.png", source.ask)
        except Refused:
            continue
        if traced.whole.cells.shape != chart.cells.shape:
            tally.astray += 1
            continue
        tally.found += 1
        wrong = traced.whole.cells != chart.cells
        unsure = traced.certainty < source.ask.sure
        tally.cells += chart.cells.size
        tally.wrong += int(wrong.sum())
        tally.unwarned += int((wrong & ~unsure).sum())
        tally.unsure += int(unsure.sum())


def measured(seeds: range) -> Iterator[str]:
    """The table after each of the seeds."""
    by_spoil = {name: Tally() for name in SPOILT}
    by_source = {source.name: Tally() for source in SOURCES}
    for seed in seeds:
        for source in SOURCES:
            for name, spoil in SPOILT.items():
                tally = Tally()
                measure(source, spoil, range(seed, seed + 1), tally)
                for total in (by_spoil[name], by_source[source.name]):
                    for key, value in vars(tally).items():
                        setattr(total, key, getattr(total, key) + value)
        yield "".join(f"{line}\n" for line in lines(range(seeds.start, seed + 1), by_spoil, by_source))


def lines(seeds: range, by_spoil: dict[str, Tally], by_source: dict[str, Tally]) -> Iterator[str]:
    """The table, a line for each way of spoiling, then one for each way of drawing."""
    heads = ("charts", 7), ("found", 7), ("astray", 8), ("cells", 8), ("wrong", 7), ("unwarned", 10), ("unsure", 8)
    head = " " * 62 + "".join(f"{word:>{wide}}" for word, wide in heads) + f"{'right':>9}"
    ways = f"{len(SOURCES)} ways of drawing, {len(SPOILT)} ways of spoiling"
    yield f"Charts read from pictures: {ways}, seeds {seeds.start} to {seeds.stop - 1}."
    yield "found: the size is right; astray: another size was read without an error; wrong: cells of the charts found;"
    yield "unwarned: wrong cells that were not named as unsure; right: cells read rightly."
    for title, tallies in (("How it was spoilt", by_spoil), ("How it was drawn (spoilt in all these ways)", by_source)):
        yield ""
        yield title + head[len(title) :]
        for name, tally in tallies.items():
            right = 100 * (1 - tally.wrong / tally.cells) if tally.cells else 0.0
            yield (
                f"{name:62}{tally.charts:>7}{tally.found:>7}{tally.astray:>8}{tally.cells:>8}{tally.wrong:>7}"
                f"{tally.unwarned:>10}{tally.unsure:>8}{right:>8.2f}%"
            )


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    begin = numbers[1] if len(numbers) > 1 else 0
    for table in measured(range(begin, begin + (numbers[0] if numbers else 4))):
        print(table, flush=True)
        if len(sys.argv) == 1:
            FIGURES.write_text(table, encoding="utf-8")

"""The parts of a run one by one, each in a group with a bare way to the same bytes or numbers, so that the ratio
stands in the table of pytest-benchmark (in brackets, behind the least of each column).

Both are in this process and warm; what starting and importing cost is measured in whole processes beside this
(`pairs.py`), taken in turn, since it would not show here.
"""

from __future__ import annotations

import io
import itertools
import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from random import Random
from typing import Any, Final

import numpy as np
import pytest
from PIL import Image, ImageDraw
from pytest_benchmark.fixture import BenchmarkFixture

from stitchc import bitmap
from stitchc.bed import Needles
from stitchc.card.drawing import page_of, tiles_of
from stitchc.card.plan import plan_card
from stitchc.chart import KNIT, TUCK, Chart
from stitchc.checks import check
from stitchc.document import to_text
from stitchc.document.html import to_html
from stitchc.drawn import draw
from stitchc.machines import load
from stitchc.messages import Span
from stitchc.notation import compile_text
from stitchc.notation.layout import lay_out
from stitchc.notation.reader import read_lines
from stitchc.page.items import Disc, Page
from stitchc.page.png import png
from stitchc.passes import lower
from stitchc.pattern import Pattern, Stitch
from stitchc.sheet import stitch_sheet, to_json

pytestmark = pytest.mark.bench

SMALL: Final = 'pattern "Tide line"\nstitch ripple\n    1: K T\n    2: K\nstitch drift = ripple then ripple shifted 1\n'


@cache
def large() -> str:
    """2,000 rows of 200 needles in letters."""
    chance = Random(5)
    rows = ("".join(chance.choice("KKKKT") for _ in range(200)) for _ in range(2000))
    return "stitch big\n" + "".join(f"    {number}: {row}\n" for number, row in enumerate(rows, start=1))


@cache
def chart(width: int = 200, height: int = 2000) -> Chart:
    """Tucks apart from each other on every other row."""
    cells = np.zeros((height, width), dtype=np.uint8)
    cells[::4, ::3] = TUCK
    cells[2::4, 1::3] = TUCK
    return Chart(cells, (None,) * height)


def stitch(of: Chart) -> Stitch:
    return Stitch("big", of, Span("big.stitch", 1))


@cache
def letters() -> list[str]:
    return chart().rows()


HAND: Final = load("hand-standard")
CARD: Final = load("card24-standard")
BED: Final = Needles.centred(200)


@cache
def tide_card() -> Any:
    return plan_card(stitch(Chart.from_rows(["KT", "KK", "TK", "KK"])), CARD)


@cache
def tide_page() -> Page:
    return page_of(tide_card(), tiles_of(tide_card(), "a4")[0])


@cache
def sheet() -> Any:
    return stitch_sheet(Pattern("big.stitch", {}), stitch(chart()), HAND, BED, 1000)


# -- the bare ways ---------------------------------------------------------------------------------------------------

ROW: Final = re.compile(r"([0-9]+)\s*:\s*([KTSkts0-9 ]+)")


NUMBERS: Final = itertools.count()


def new_name() -> str:
    """A file's name that was not read before: lines of a known one are kept."""
    return f"{next(NUMBERS)}.stitch"


def scanned(text: str) -> int:
    return sum(len(match[2]) for match in ROW.finditer(text))


CODES: Final = bytes.maketrans(b"KT", bytes([KNIT, TUCK]))


def stacked() -> Any:
    """The cells of the large text, by translated bytes."""
    rows = [np.frombuffer(match[2].encode().translate(CODES), np.uint8) for match in ROW.finditer(large())]
    return np.vstack(rows)


def repeated() -> Any:
    seed = np.tile(np.array([[0, 1], [0, 0]], dtype=np.uint8), (2, 1))
    return np.tile(np.vstack([seed, np.roll(seed, 1, axis=1)]), (500, 100))


def neighbours() -> int:
    """One look along the rows and one along the columns for each of the eight checks, and nothing found."""
    cells = chart().cells
    found = 0
    for _ in range(4):
        found += int(np.count_nonzero(cells != np.roll(cells, 1, axis=0)))
        found += int(np.count_nonzero(cells != np.roll(cells, 1, axis=1)))
    return found


def held() -> list[list[int]]:
    return [np.flatnonzero(row != KNIT).tolist() for row in chart().cells]


def discs(columns: int, rows: int, pitch: float, across: float, size: tuple[int, int], mode: str) -> Image.Image:
    image = Image.new(mode, size, 255 if mode == "L" else 1)
    pen = ImageDraw.Draw(image)
    for row in range(rows):
        for column in range(columns):
            x, y = 200 + pitch * column, 200 + pitch * row
            pen.ellipse((x, y, x + across, y + across), fill=0)
    return image


def saved(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "PNG", dpi=(600, 600))
    return out.getvalue()


A4_PX: Final = (4961, 7016)
BLANK: Final = Page(210.0, 297.0, ())


def listed(joined: str) -> str:
    return joined.join(
        f"Row {row}, right to left. {', '.join(map(str, needles))}" for row, needles in enumerate(held())
    )


# -- the groups ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Part:
    """What is measured, the bare way to the same, and the most that the first may take of the second.

    most: about twice what an idle machine showed, so that it fails when something is done twice over, not when a
    neighbour is at work.
    """

    name: str
    ours: Callable[[], object]
    bare: Callable[[], object]
    most: float


PARTS: Final = (
    Part(
        "read: five lines, of a scan by one expression",
        lambda: read_lines(SMALL, new_name()),
        lambda: scanned(SMALL),
        90,
    ),
    Part("read: 2,000 rows by 200, of a scan", lambda: read_lines(large(), new_name()), lambda: scanned(large()), 12),
    Part("compile: 2,000 rows by 200, of translated bytes", lambda: compile_text(large()), stacked, 40),
    Part(
        "compile: 200 by 2,000 built from 2 by 2, of numpy's tiles",
        lambda: compile_text("stitch s\n1: K T\n2: K\nstitch b = (s up 2 then (s shifted 1) up 2) across 100 up 250\n"),
        repeated,
        20,
    ),
    Part("tile: 2,000 by 2,000, of numpy's", lambda: chart(40, 40).tiled(2000, 2000),
         lambda: np.tile(chart(40, 40).cells, (50, 50)), 3),
    Part("check: 2,000 rows by 200, of eight bare looks", lambda: check(stitch(chart())), neighbours, 8),
    Part("passes: 2,000 rows by 200, of listing what is held",
         lambda: lower(chart(), HAND, BED, 2000, "right", 1), held, 4),
    Part("sheet: text of 1,000 rows, of joined lists",
         lambda: to_text(sheet().document, every_row=True), lambda: listed("\n"), 9),
    Part("sheet: JSON of 1,000 rows, of lists as JSON",
         lambda: to_json([sheet()]), lambda: json.dumps([held()] * 2, indent=1), 1),
    Part("sheet: HTML of 1,000 rows, of joined lists", lambda: to_html(sheet().document), lambda: listed("<p>"), 11),
    Part("card: drawn as a page in mm, of as many discs", lambda: page_of(tide_card(), tiles_of(tide_card(), "a4")[0]),
         lambda: [Disc(x * 4.5, y * 5.0, 3.5) for y in range(40) for x in range(24)], 15),
    Part("card: A4 PNG at 600 dpi, of bare discs saved", lambda: png(tide_page()),
         lambda: saved(discs(24, 40, 106, 83, A4_PX, "1")), 2),
    Part("save: an empty A4 at 600 dpi, of Pillow's saving", lambda: png(BLANK),
         lambda: saved(Image.new("1", A4_PX, 1)), 1),
    Part("bitmap: 200 by 2,000, of Pillow's saving",
         lambda: bitmap.png(bitmap.make_picture(stitch(chart()), load("bitmap-standard"))),
         lambda: saved(Image.fromarray(chart().cells == KNIT)), 4),
    Part("drawn chart: 48 by 40 as PNG, of as many bare discs saved",
         lambda: [png(page, 150, "L") for page in draw("big", chart(48, 40))],
         lambda: saved(discs(48, 40, 25, 20, (1630, 1472), "L")), 10),
    Part("format: 2,000 rows by 200, of stripping lines", lambda: lay_out(large()),
         lambda: "\n".join(line.strip() for line in large().split("\n")), 300),
)  # fmt: skip

MEASURED: Final[dict[str, dict[str, float]]] = {}


@pytest.mark.parametrize("way", ["bare", "stitchc"])
@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.name.split(", of")[0])
@pytest.mark.benchmark(max_time=0.7, min_rounds=5, warmup=False)
def test_part(benchmark: BenchmarkFixture, part: Part, way: str) -> None:
    benchmark.group = part.name
    benchmark.name = way
    made = part.ours if way == "stitchc" else part.bare
    made()  # what is worked out once and kept is not what is measured
    benchmark(made)
    if benchmark.stats is not None:  # None where benchmarks are switched off
        MEASURED.setdefault(part.name, {})[way] = benchmark.stats.stats.min


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.name.split(", of")[0])
def test_the_ratio(part: Part, capsys: pytest.CaptureFixture[str]) -> None:
    """By the least time of each: what else the machine does only ever adds."""
    times = MEASURED.get(part.name, {})
    if len(times) < 2:
        pytest.skip("not measured in this run")
    ratio = times["stitchc"] / times["bare"]
    with capsys.disabled():
        print(f"\n{part.name}: {ratio:.2f} ({1000 * times['stitchc']:.2f} ms)")
    assert ratio < part.most

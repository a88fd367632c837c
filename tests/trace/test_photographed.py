"""Photographs of charts: a shadow with a hard edge, a page that bends, dim light, a table with lines of its own.

Sources: none; light multiplies what lies under it, and a bent page is drawn by moving its pixels (from memory).
"""

from __future__ import annotations

import functools
import io

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image, ImageDraw
from scipy import ndimage

from stitchc.chart import KNIT, SLIP, TUCK
from stitchc.trace import Ask, Key, Traced, trace
from stitchc.trace.bends import bend_of
from stitchc.trace.light import in_even_light

PX, EDGE = 22, 60
Cells = npt.NDArray[np.uint8]
Page = npt.NDArray[np.float64]
"""Brightness, 0 to 1."""


def texture(rows: int = 14, columns: int = 18) -> Cells:
    """Steps of tuck, top row first, that differ from their mirror image, and a large block of it."""
    row, column = np.indices((rows, columns))
    cells = np.where((row + 2 * column) % 7 < 2, TUCK, KNIT)
    cells[2:8, 4:10] = TUCK
    return cells.astype(np.uint8)


def page_of(cells: Cells) -> Page:
    rows, columns = cells.shape
    picture = Image.new("L", (columns * PX + 2 * EDGE, rows * PX + 2 * EDGE), 245)
    draw = ImageDraw.Draw(picture)
    for row, column in np.argwhere(cells != KNIT).tolist():
        left, top = EDGE + column * PX, EDGE + row * PX
        if cells[row, column] == TUCK:
            draw.rectangle((left, top, left + PX, top + PX), fill=40)
        else:
            draw.ellipse((left + 6, top + 6, left + 16, top + 16), fill=40)
    for number in range(columns + 1):
        draw.line((EDGE + number * PX, EDGE, EDGE + number * PX, EDGE + rows * PX), fill=110)
    for number in range(rows + 1):
        draw.line((EDGE, EDGE + number * PX, EDGE + columns * PX, EDGE + number * PX), fill=110)
    return np.asarray(picture) / 255


def photographed(page: Page, grain: float = 0.01) -> bytes:
    seen = ndimage.gaussian_filter(page, 0.7) + np.random.default_rng(3).normal(0, grain, page.shape)
    out = io.BytesIO()
    Image.fromarray((np.clip(seen, 0, 1) * 255).astype(np.uint8)).convert("RGB").save(out, "JPEG", quality=90)
    return out.getvalue()


@functools.cache
def read(data: bytes, key: Key) -> Traced:
    return trace(data, "photo.jpg", Ask(key=key, repeat="whole"))


def in_shadow(page: Page, share: float, slope: float, soft_px: float) -> Page:
    """The page with a shadow over its left part that leaves that share of the light."""
    down, across = np.indices(page.shape)
    lit = 1 / (1 + np.exp(-(across + slope * down - 0.55 * page.shape[1]) / soft_px))
    return page * (share + (1 - share) * lit)


@pytest.mark.parametrize(("share", "slope", "soft_px"), [(0.55, 0.2, 4.0), (0.4, -0.35, 12.0), (0.5, 0.0, 2.0)])
def test_a_shadow_is_no_mark(share: float, slope: float, soft_px: float) -> None:
    cells = texture(18, 24)
    traced = read(photographed(in_shadow(page_of(cells), share, slope, soft_px)), Key(dark=TUCK))
    assert (traced.whole.cells[::-1] == cells).all()


def test_dots_and_filled_cells_are_told_apart_in_a_shadow() -> None:
    cells = texture()
    cells[1::4, 1::5] = SLIP
    key = Key(alike=(((14 - 3, 6), TUCK), ((14 - 1, 2), SLIP), ((1, 1), KNIT)))
    assert [int(cells[14 - row, column - 1]) for (row, column), _ in key.alike] == [TUCK, SLIP, KNIT]
    traced = read(photographed(in_shadow(page_of(cells), 0.5, 0.3, 3.0)), key)
    assert (traced.whole.cells[::-1] == cells).all()


@pytest.mark.parametrize("along", [0, 1])
def test_a_page_that_bends_is_laid_flat(along: int) -> None:
    """along: the direction, down or across, in which its lines bend by half a cell and more."""
    cells = texture()
    page = page_of(cells)
    places = list(np.indices(page.shape).astype(np.float64))
    way = places[1 - along] / page.shape[1 - along]
    places[along] += 26 * np.sin(2.6 * way) * way
    bent = ndimage.map_coordinates(page, places, order=1, mode="nearest")
    traced = read(photographed(bent), Key(dark=TUCK))
    assert (traced.whole.cells[::-1] == cells).all() and ", bent" in traced.how
    assert ", bent" not in read(photographed(page), Key(dark=TUCK)).how


def test_light_is_not_told_of_a_single_row_of_cells() -> None:
    assert in_even_light(np.full((1, 9, 7, 7, 3), 0.5, dtype=np.float32)) is None


def test_lines_that_are_straight_do_not_bend() -> None:
    random = np.random.default_rng(5)
    lines = random.integers(-15, 16, 4000) * 20.0 + random.normal(0, 0.3, 4000)
    along, weight = random.uniform(-1, 1, 4000), np.ones(4000)
    assert bend_of((lines, along, weight), 320) is None
    curved = lines + 9 * (1.5 * along**2 - 0.5)  # the Legendre polynomial of degree 2
    bend = bend_of((curved, along, weight), 320)
    assert bend is not None
    assert bend.offset == pytest.approx((9, 0, 0, 0), abs=0.6)
    straight = curved - (bend.place(lines, along) - lines)
    assert np.abs(straight - lines).max() < 3


def test_a_dim_photograph_with_heavy_grain_is_read() -> None:
    cells = texture()
    traced = read(photographed(0.4 * page_of(cells), grain=0.022), Key(dark=TUCK))
    assert (traced.whole.cells[::-1] == cells).all()


def test_lines_of_the_table_are_none_of_the_chart() -> None:
    cells = texture()
    page = page_of(cells)
    table = np.full((page.shape[0] + 160, page.shape[1] + 160), 0.4)
    table[::30] = 0.2
    table[:, ::45] = 0.25
    table[80:-80, 80:-80] = page
    traced = read(photographed(table), Key(dark=TUCK))
    assert (traced.whole.cells[::-1] == cells).all()
    (left, top), *_ = traced.corners_px
    assert (left, top) == pytest.approx((80 + EDGE, 80 + EDGE), abs=2)


def squared_paper(ink: tuple[int, int, int], missing: float, grain: float) -> tuple[Cells, bytes]:
    """A scan, turned a little, of crosses by hand in an outline on squared paper whose lines are hardly seen."""
    random = np.random.default_rng(3)
    columns, rows, around, paper = 16, 12, 3, (236, 236, 230)
    row, column = np.indices((rows, columns))
    cells = np.where((row + 2 * column) % 5 == 0, TUCK, KNIT).astype(np.uint8)
    wide, high = (columns + 2 * around) * PX, (rows + 2 * around) * PX
    picture = Image.new("RGB", (wide + 60, high + 60), paper)
    draw = ImageDraw.Draw(picture)
    for number in range(columns + 2 * around + 1):
        for y in range(30, 30 + high, 5):
            if random.random() > missing:
                draw.line((30 + number * PX, y, 30 + number * PX, y + 4), ink)
    for number in range(rows + 2 * around + 1):
        for x in range(30, 30 + wide, 5):
            if random.random() > missing:
                draw.line((x, 30 + number * PX, x + 4, 30 + number * PX), ink)
    for row, column in np.argwhere(cells == TUCK).tolist():
        left, top = 30 + (column + around) * PX, 30 + (row + around) * PX
        a, b, c, d = random.integers(-1, 2, 4).tolist()
        draw.line((left + 5 + a, top + 5, left + 17, top + 17 + b), (70, 70, 90), 2)
        draw.line((left + 5, top + 17 + c, left + 17 + d, top + 5), (70, 70, 90), 2)
    corner = 30 + around * PX
    draw.rectangle((corner, corner, corner + columns * PX, corner + rows * PX), None, (60, 60, 80), 3)
    turned = np.asarray(picture.rotate(1.2, Image.Resampling.BICUBIC, fillcolor=paper)).astype(np.float64)
    turned += random.normal(0, grain, (*turned.shape[:2], 1))
    out = io.BytesIO()
    Image.fromarray(turned.clip(0, 255).astype(np.uint8)).save(out, "PNG")
    return cells, out.getvalue()


@pytest.mark.parametrize(("ink", "missing", "grain"), [((214, 219, 224), 0.05, 4), ((200, 206, 214), 0.2, 6)])
def test_lines_that_are_seen_in_parts_are_lines_if_they_lie_between_blank_cells(
    ink: tuple[int, int, int], missing: float, grain: float
) -> None:
    cells, data = squared_paper(ink, missing, grain)
    assert (read(data, Key(dark=TUCK)).whole.cells[::-1] == cells).all()


def test_squared_paper_may_end_within_a_cell() -> None:
    """A table shows at two sides of it."""
    cells, data = squared_paper((150, 165, 190), 0, 3)
    page = Image.open(io.BytesIO(data))
    table = Image.new("RGB", (page.width + 60, page.height + 60), (90, 70, 60))
    table.paste(page.crop((41, 41, page.width, page.height)), (60, 60))
    out = io.BytesIO()
    table.save(out, "PNG")
    assert (read(out.getvalue(), Key(dark=TUCK)).whole.cells[::-1] == cells).all()

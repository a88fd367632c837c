"""Cells found from their edges, in pictures that are as they were drawn and in spoilt ones."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageFilter

from stitchc.drawn import draw
from stitchc.page.png import png as painted
from stitchc.trace import Ask, trace
from stitchc.trace.grid import Lattice, find_cells
from stitchc.trace.grid.finder import are_uneven
from stitchc.trace.pixels import _off

CHARTS = Path(__file__).resolve().parents[2] / "charts"

PIXELS = np.ndarray


def a_chart(
    columns: int, rows: int, inside: int, thin: int, bold: int, every: int, dash: int = 0, margin: int = 15
) -> tuple[PIXELS, np.ndarray]:
    """Cells of one width with marked ones in no order, each so many lines bold, dotted ones broken every so many px;
    and the first pixel of each column."""
    gaps = [[bold if every and at % every == 0 else thin for at in range(count + 1)] for count in (columns, rows)]
    firsts = [margin + np.cumsum(gap)[:-1] + inside * np.arange(len(gap) - 1) for gap in gaps]
    size = [margin * 2 + sum(gap) + inside * (len(gap) - 1) for gap in gaps]
    pixels = np.full((size[1], size[0], 3), 255, dtype=np.uint8)
    for axis, (starts, gap) in enumerate(zip(firsts, gaps, strict=True)):
        plane = pixels.swapaxes(0, 1) if axis == 0 else pixels
        across = slice(margin, size[1 - axis] - margin)
        for start, wide in zip([*starts, size[axis] - margin], [*gap], strict=False):
            line = plane[start - wide : start, across]
            line[:] = (150, 150, 150)
            if dash and wide == thin:
                line[:, np.arange(line.shape[1]) // dash % 2 == 1] = 255
        last = plane[size[axis] - margin - gap[-1] : size[axis] - margin, across]
        last[:] = (150, 150, 150)
    marked = np.random.default_rng(4).random((rows, columns)) < 0.3
    for row, column in np.argwhere(marked).tolist():
        y, x = firsts[1][row], firsts[0][column]
        pixels[y : y + inside, x : x + inside] = (20, 30, 90)
    return pixels, firsts[0]


@pytest.mark.parametrize(
    ("inside", "thin", "bold", "every", "dash"),
    [(8, 1, 1, 0, 0), (16, 1, 6, 5, 0), (11, 2, 4, 10, 0), (14, 1, 3, 4, 2), (20, 5, 5, 0, 0), (9, 1, 4, 3, 1)],
)
def test_cells_of_one_width_are_found_whatever_lies_between_them(
    inside: int, thin: int, bold: int, every: int, dash: int
) -> None:
    pixels, firsts = a_chart(17, 13, inside, thin, bold, every, dash)
    found = find_cells(pixels)
    assert found is not None and found.ruled and found.size == (17, 13)
    middles = (found.across.lines[1:] + found.across.lines[:-1]) / 2
    assert np.abs(middles - (firsts + (inside - 1) / 2)).max() <= 0.3 * inside
    assert not every or float(np.ptp(found.across.widths)) >= bold - thin - 1


def test_dark_pages_with_pale_lines_are_the_same_to_it() -> None:
    pixels, _ = a_chart(12, 9, 14, 1, 5, 4)
    found = find_cells(255 - pixels)
    assert found is not None and found.size == (12, 9)


def test_blocks_without_lines_are_bounded_by_their_outermost_marks() -> None:
    random = np.random.default_rng(2)
    marked = random.random((12, 15)) < 0.35
    marked[0, 3] = marked[-1, 5] = marked[4, 0] = marked[7, -1] = True
    edges_x, edges_y = (np.arange(16) * 11.4 + 30).round().astype(int), (np.arange(13) * 12.7 + 21).round().astype(int)
    pixels = np.full((220, 240, 3), 250, dtype=np.uint8)
    for row, column in np.argwhere(marked).tolist():
        pixels[edges_y[row] : edges_y[row + 1], edges_x[column] : edges_x[column + 1]] = (30, 30, 30)
    found = find_cells(pixels)
    assert isinstance(found, Lattice) and not found.ruled and found.size == (15, 12)
    assert abs(found.across.start_px - 29.5) <= 2 and abs(found.down.start_px - 20.5) <= 2


def test_what_is_said_of_their_number_is_true_or_nothing_is_found() -> None:
    pixels, _ = a_chart(17, 13, 12, 1, 4, 5)
    found = find_cells(pixels, (17, 13))
    assert found is not None and found.size == (17, 13)
    assert find_cells(pixels, (34, 26)) is None


def test_a_side_at_which_the_picture_cuts_the_grid_is_named() -> None:
    pixels, _ = a_chart(17, 13, 16, 1, 1, 0)
    found = find_cells(pixels[:, : 15 + 17 * 10 + 9])
    assert found is not None and found.size == (10, 13) and found.cut == ("right",)


@pytest.mark.parametrize(("inside", "thin", "bold", "every", "dash"), [(16, 1, 1, 0, 0), (20, 2, 5, 5, 0)])
@pytest.mark.parametrize("grain", [2, 6])
def test_cells_of_blurred_and_grainy_pictures_are_found(
    inside: int, thin: int, bold: int, every: int, dash: int, grain: int
) -> None:
    pixels, firsts = a_chart(17, 13, inside, thin, bold, every, dash)
    soft = np.asarray(Image.fromarray(pixels).filter(ImageFilter.GaussianBlur(1.0)), dtype=float)
    spoilt = soft + np.random.default_rng(5).normal(0, grain, soft.shape)
    found = find_cells(spoilt.clip(0, 255).astype(np.uint8), grainy=True)
    assert found is not None and found.ruled and found.size == (17, 13)
    middles = (found.across.lines[1:] + found.across.lines[:-1]) / 2
    assert np.abs(middles - (firsts + (inside - 1) / 2)).max() <= 2


def test_cells_of_a_large_picture_are_found_in_a_smaller_one_and_lie_where_it_shows_them() -> None:
    pixels, _ = a_chart(17, 13, 24, 2, 2, 0)
    found, grown = find_cells(pixels), find_cells(pixels.repeat(5, axis=0).repeat(5, axis=1))
    assert found is not None and grown is not None and grown.size == found.size == (17, 13)
    assert np.abs(grown.across.lines - (5 * found.across.lines + 2)).max() <= 6  # of 130


def test_a_line_that_was_left_out_is_counted() -> None:
    """Some tools drop a line that falls between two pixels."""
    pixels, firsts = a_chart(17, 13, 16, 1, 1, 0)
    pixels[:, firsts[5] - 1] = pixels[:, firsts[5]]
    found = find_cells(pixels)
    assert found is not None and found.size == (17, 13)


def test_noise_is_no_chart() -> None:
    random = np.random.default_rng(7)
    assert find_cells(random.integers(0, 255, (90, 120, 3)).astype(np.uint8)) is None


@pytest.mark.parametrize(
    ("example", "dpi"),
    [("tide-line/tide", 200), ("grounds/seed", 100), ("low-water/ebb", 100), ("sampler-piece/slipped", 100)],
)
def test_a_picture_of_a_chart_of_ours_that_says_nothing_of_itself_is_read(example: str, dpi: int) -> None:
    """As saved from a screen: rings in each cell of whole rows, one repeat in a heavy frame, a heavier line every
    fifth, words and a key around."""
    repeat = trace((CHARTS / f"{example}-chart.png").read_bytes(), "own.png", Ask(repeat="whole")).whole
    (page,) = draw(Path(example).name, repeat, title="Harbour")
    bare = io.BytesIO()
    Image.open(io.BytesIO(painted(page, dpi, "RGB"))).convert("RGB").save(bare, "PNG")
    read = trace(bare.getvalue(), "screen.png", Ask(repeat="whole")).whole
    assert read.width >= 2 * repeat.width and read.height >= 2 * repeat.height
    assert read.rows() == repeat.tiled(read.width, read.height).rows()


def test_cells_that_end_at_strokes_of_letters_are_uneven() -> None:
    """As of a chart with a K in nearly every cell, whose uprights are as clear as lines; bold lines may push cells
    apart, and those of a photograph are a little off."""
    lines = np.cumsum([25, 50, 36, 31, 43, 30, 44, 36, 31, 43, 30, 44])
    strokes = np.stack([lines[:-1] + 1, lines[1:]], axis=1)
    assert are_uneven(strokes, soft=False) and are_uneven(strokes, soft=True)
    first = 20 * np.arange(20) + 4 * (np.arange(20) // 5)
    assert not are_uneven(np.stack([first, first + 19], axis=1), soft=False)
    off = first + np.random.default_rng(1).integers(-1, 2, 20)
    assert not are_uneven(np.stack([off, off + 19], axis=1), soft=True)


def test_a_cell_may_be_left_out_where_two_lines_are_nearly_two_cells_apart() -> None:
    """As beside a streak that lies on a line."""
    steps = np.full(22, 23)
    steps[6] = 45
    first = 86 + np.concatenate([[0], steps.cumsum()])
    assert are_uneven(np.stack([first, first + 20], axis=1), soft=True)


def test_a_picture_that_is_farther_off_than_asked_is_never_taken_for_an_enlarged_one() -> None:
    """Whatever the bound is, down to how its square and root are rounded."""
    noise = np.random.default_rng(4).integers(0, 256, (40, 44, 3)).astype(np.uint8)
    assert all(_off(noise, (4, 5), most) == np.inf for most in np.linspace(1, 30, 400).tolist())
    assert _off(noise, (4, 5), 200.0) < 200

"""Paper of several tints under the marks: stripes, a checker, a band.

Sources: none; listings on striped paper and tables with tinted rows are common practice.
"""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
from PIL import Image, ImageDraw

from stitchc.chart import KNIT, SLIP, TUCK
from stitchc.trace import Ask, Key, Traced, trace
from stitchc.trace.tints import without_tints
from stitchc.trace.traced import UnknownKinds

COLUMNS, ROWS, PX, EDGE = 20, 14, 20, 16
PALE = {"rows": (226, 240, 226), "checker": (235, 235, 246), "band": (255, 238, 214)}


def texture() -> np.ndarray:
    """Top row first; differs from its mirror image."""
    row, column = np.indices((ROWS, COLUMNS))
    return np.where((row + 2 * column) % 5 == 0, TUCK, np.where((row - column) % 7 == 2, SLIP, KNIT))


def is_tinted(row: int, column: int, tint: str) -> bool:
    return {"rows": row % 2 == 1, "checker": (row + column) % 2 == 1, "band": 4 <= row < 9}[tint]


def drawn(cells: np.ndarray, tint: str, filled: bool) -> bytes:
    picture = Image.new("RGB", (COLUMNS * PX + 2 * EDGE, ROWS * PX + 2 * EDGE), "white")
    pen = ImageDraw.Draw(picture)
    for (row, column), code in np.ndenumerate(cells):
        left, top = EDGE + PX * column, EDGE + PX * row
        paper = PALE[tint] if is_tinted(row, column, tint) else (255, 255, 255)
        ink = {KNIT: None, TUCK: (30, 30, 40), SLIP: (190, 60, 50)}[int(code)]
        pen.rectangle((left, top, left + PX, top + PX), ink if filled and ink else paper, (150, 150, 150))
        if ink and not filled:
            pen.ellipse((left + 5, top + 5, left + 15, top + 15), ink)
    out = io.BytesIO()
    picture.save(out, "PNG")
    return out.getvalue()


def read(data: bytes, key: Key) -> Traced:
    return trace(data, "tinted.png", Ask(key=key, repeat="whole"))


def named(cells: np.ndarray) -> Key:
    first = {code: np.argwhere(cells == code)[0].tolist() for code in (KNIT, TUCK, SLIP)}
    return Key(alike=tuple(((ROWS - row, column + 1), code) for code, (row, column) in first.items()))


@pytest.mark.parametrize("filled", [False, True])
@pytest.mark.parametrize("tint", PALE)
def test_a_tint_of_the_paper_is_no_mark(tint: str, filled: bool) -> None:
    cells = texture()
    traced = read(drawn(cells, tint, filled), named(cells))
    assert (traced.whole.cells[::-1] == cells).all()
    two = np.where(cells == SLIP, KNIT, cells)
    traced = read(drawn(two, tint, filled), Key(dark=TUCK))
    assert (traced.whole.cells[::-1] == two).all()
    if tint == "band":
        (message,) = (message for message in traced.messages if message.code == "T812")
        assert "tint" in message.text


def test_a_pale_mark_that_the_user_names_is_no_tint() -> None:
    cells = texture()
    picture = Image.open(io.BytesIO(drawn(np.full_like(cells, KNIT), "band", filled=False)))
    pen = ImageDraw.Draw(picture)
    for row, column in np.argwhere(cells == TUCK).tolist():
        left, top = EDGE + PX * column, EDGE + PX * row
        pen.rectangle((left + 1, top + 1, left + PX - 1, top + PX - 1), (20, 20, 20))
    out = io.BytesIO()
    picture.save(out, "PNG")
    on_white = next(cell for cell in np.argwhere(cells == KNIT).tolist() if not is_tinted(*cell, "band"))
    chosen = ((on_white, KNIT), (np.argwhere(cells == TUCK)[0].tolist(), TUCK), ([5, 1], SLIP))
    traced = read(out.getvalue(), Key(alike=tuple(((ROWS - row, column + 1), code) for (row, column), code in chosen)))
    tinted = np.array([[is_tinted(row, column, "band") for column in range(COLUMNS)] for row in range(ROWS)])
    assert (traced.whole.cells[::-1] == np.where(cells == TUCK, TUCK, np.where(tinted, SLIP, KNIT))).all()


def test_a_tint_that_the_message_says_how_to_name_is_a_stitch() -> None:
    """And named without a blank cell, it does not make all blank cells what it is."""
    cells = np.where(texture() == SLIP, KNIT, texture())
    data = drawn(cells, "band", filled=True)
    (message,) = (message for message in read(data, Key(dark=TUCK)).messages if message.code == "T812")
    given = re.findall(r"--like (\d+),(\d+)=(.)", str(message.advice))
    assert [letter for _, _, letter in given] == ["K", "T", "?"]
    codes = (KNIT, TUCK, SLIP)
    alike = tuple(((int(row), int(column)), code) for (row, column, _), code in zip(given, codes, strict=True))
    traced = read(data, Key(dark=TUCK, alike=alike))
    tinted = np.array([[is_tinted(row, column, "band") for column in range(COLUMNS)] for row in range(ROWS)])
    assert (traced.whole.cells[::-1] == np.where(cells == TUCK, TUCK, np.where(tinted, SLIP, KNIT))).all()
    with pytest.raises(UnknownKinds):
        read(data, Key(dark=TUCK, alike=alike[2:]))


def test_marks_of_a_pencil_are_no_tints() -> None:
    """Filled cells of many strengths."""
    strength = np.random.default_rng(1).uniform(0.7, 1, (ROWS, COLUMNS))
    patches = np.broadcast_to(strength[:, :, None, None, None], (ROWS, COLUMNS, 7, 7, 3)).astype(np.float32)
    assert without_tints(patches) is None


def test_a_kind_that_nobody_named_is_asked_about_where_dark_cells_are_named() -> None:
    """Blocks of three colours, of which two are named: the third does not become one of them."""
    picture = Image.new("RGB", (COLUMNS, ROWS), (255, 255, 255))
    for row, column in np.argwhere(texture() == TUCK).tolist():
        picture.putpixel((column, row), (20, 20, 20))
    for row, column in np.argwhere(texture() == SLIP).tolist():
        picture.putpixel((column, row), (150, 160, 90))
    out = io.BytesIO()
    picture.resize((COLUMNS * 12, ROWS * 12), Image.Resampling.NEAREST).save(out, "PNG")
    key = Key(alike=tuple(example for example in named(texture()).alike if example[1] != SLIP))
    with pytest.raises(UnknownKinds):
        read(out.getvalue(), key)

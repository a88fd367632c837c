"""What lies in a few cells and is none of the chart's marks: blots are read as what they lie on, and named one by one.

Sources: none; dust, a copier's flecks and a third mark are drawn here as scans and charts show them (common practice).
"""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from stitchc.chart import KNIT, SLIP, TUCK, Chart
from stitchc.drawn import Drawing, draw
from stitchc.messages import Refused
from stitchc.page.png import png
from stitchc.trace import Ask, Key, Traced, trace
from stitchc.trace.marked import inked_in
from stitchc.trace.traced import UnknownKinds

PX, EDGE = 20, 15
Cells = np.ndarray


def texture(rows: int = 16, columns: int = 20) -> Cells:
    """A lattice of marks, top row first."""
    row, column = np.indices((rows, columns))
    return ((row + column) % 5 == 0) | ((row - column) % 7 == 0)


def drawn(cells: Cells) -> Image.Image:
    rows, columns = cells.shape
    picture = Image.new("L", (columns * PX + 2 * EDGE, rows * PX + 2 * EDGE), 250)
    draw = ImageDraw.Draw(picture)
    for row, column in np.argwhere(cells).tolist():
        draw.rectangle((*corner(row, column), *corner(row + 1, column + 1)), fill=30)
    for number in range(columns + 1):
        draw.line((*corner(0, number), *corner(rows, number)), fill=90)
    for number in range(rows + 1):
        draw.line((*corner(number, 0), *corner(number, columns)), fill=90)
    return picture


def corner(row: int, column: int) -> tuple[int, int]:
    return EDGE + column * PX, EDGE + row * PX


def read(picture: Image.Image, key: Key) -> Traced:
    out = io.BytesIO()
    picture.save(out, "PNG")
    return trace(out.getvalue(), "scan.png", Ask(key=key, repeat="whole"))


def codes_of(traced: Traced) -> Cells:
    return traced.whole.cells[::-1]


def warnings(traced: Traced) -> list[str]:
    return [message.code for message in traced.messages if message.severity == "warning"]


def test_flecks_are_blank_and_named() -> None:
    cells = texture()
    picture = drawn(cells)
    draw = ImageDraw.Draw(picture)
    flecks = [tuple(cell) for cell in np.argwhere(~cells)[[5, 60, 150]].tolist()]
    for (row, column), (x, y, wide, high) in zip(flecks, ((4, 5, 6, 3), (11, 6, 4, 5), (6, 12, 5, 5)), strict=True):
        left, top = corner(row, column)
        draw.ellipse((left + x, top + y, left + x + wide, top + y + high), fill=60)
    traced = read(picture, Key(dark=TUCK))
    assert (codes_of(traced) == np.where(cells, TUCK, KNIT)).all()
    assert warnings(traced) == ["T806"] * 3
    unsure = np.argwhere(traced.certainty[::-1] < 0.9).tolist()
    assert sorted(map(tuple, unsure)) == sorted(flecks)


def with_strokes() -> tuple[Cells, Image.Image]:
    """A chart of few dots, and of fewer thin strokes that are all alike, with what its cells are."""
    cells = np.full((12, 16), KNIT, dtype=np.uint8)
    cells[1::6, 5::8], cells[5::6, 1::8], cells[3::6, 4::8] = TUCK, TUCK, SLIP
    picture = drawn(cells == 9)
    draw = ImageDraw.Draw(picture)
    for row, column in np.argwhere(cells != KNIT).tolist():
        left, top = corner(row, column)
        if cells[row, column] == TUCK:
            draw.ellipse((left + 5, top + 5, left + 15, top + 15), fill=0)
        else:
            draw.line((left + 5, top + 5, left + 15, top + 15), fill=0, width=2)
    return cells, picture


def test_a_few_marks_that_are_all_alike_are_no_flecks() -> None:
    _, picture = with_strokes()
    with pytest.raises(UnknownKinds) as refused:
        read(picture, Key(dark=TUCK))
    assert sorted(kind.cells for kind in refused.value.kinds) == [4, 8, 180]


def test_thin_dashes_are_no_empty_cells_of_signs() -> None:
    """Dots and dashes are asked about, though dots in empty cells would be signs."""
    cells = np.full((8, 12), KNIT, dtype=np.uint8)
    places = np.random.default_rng(2).permutation(cells.size)
    cells.flat[places[:11]], cells.flat[places[11:26]] = TUCK, SLIP
    picture = drawn(np.zeros(cells.shape, dtype=np.bool_))
    draw = ImageDraw.Draw(picture)
    for (row, column), code in np.ndenumerate(cells):
        left, top = corner(row, column)
        if code == TUCK:
            draw.ellipse((left + 7, top + 7, left + 13, top + 13), fill=0)
        elif code == SLIP:
            draw.line((left + 6, top + 10, left + 14, top + 10), fill=0)
    with pytest.raises(UnknownKinds) as refused:
        read(picture, Key())
    assert sorted(kind.cells for kind in refused.value.kinds) == [11, 15, 70]


def test_a_mark_that_the_user_names_is_no_fleck() -> None:
    """Nothing is said of the blank cells."""
    cells, picture = with_strokes()
    ends = [(12 - row, column + 1) for row, column in (np.argwhere(cells == code)[0].tolist() for code in (TUCK, SLIP))]
    traced = read(picture, Key(alike=((ends[0], TUCK), (ends[1], SLIP))))
    assert (codes_of(traced) == cells).all()


@pytest.mark.parametrize("share", [0.08, 0.2])
def test_a_third_kind_is_no_fleck(share: float) -> None:
    cells = texture()
    picture = drawn(cells)
    draw = ImageDraw.Draw(picture)
    blank = np.argwhere(~cells)
    for row, column in blank[:: round(1 / share)].tolist():
        left, top = corner(row, column)
        draw.rectangle((left + 2, top + 2, left + 18, top + 18), fill=170)
    with pytest.raises(Refused) as refused:
        read(picture, Key(dark=TUCK))
    assert refused.value.messages[0].code == "T807"


FONT = ImageFont.load_default(14)


def written(letters: Cells) -> Image.Image:
    """One letter in each cell between lines, top row first."""
    picture = drawn(np.zeros(letters.shape, dtype=np.bool_))
    draw = ImageDraw.Draw(picture)
    for (row, column), letter in np.ndenumerate(letters):
        left, top = corner(row, column)
        draw.text((left + PX / 2, top + PX / 2), letter, fill=10, font=FONT, anchor="mm")
    return picture


def letters_of(signs: str) -> tuple[Cells, Cells]:
    codes = np.random.default_rng(3).integers(0, len(signs), (12, 14))
    return codes, np.array(list(signs))[codes]


@pytest.mark.parametrize("signs", ["XOV", "KTS"])
def test_a_letter_of_which_nothing_was_said_is_named(signs: str) -> None:
    codes, letters = letters_of(signs)
    examples = []
    for code in (KNIT, TUCK):
        row, column = np.argwhere(codes == code)[0].tolist()
        examples.append(((len(codes) - row, column + 1), code))
    traced = read(written(letters), Key(alike=tuple(examples)))
    assert "T812" in warnings(traced)
    row, column = np.argwhere(codes == SLIP)[0].tolist()
    named = read(written(letters), Key(alike=(*examples, ((len(codes) - row, column + 1), SLIP))))
    assert (codes_of(named) == codes).all()
    assert not warnings(named)


def test_dashes_in_nearly_all_cells_are_not_taken_for_lines_without_a_word() -> None:
    codes = np.zeros((8, 24), dtype=np.uint8)
    row, column = np.indices(codes.shape)
    codes[(row + column) % 9 == 0] = TUCK
    codes[(row - column) % 11 == 0] = TUCK
    picture = drawn(np.zeros(codes.shape, dtype=np.bool_))
    draw = ImageDraw.Draw(picture)
    for (y, x), code in np.ndenumerate(codes):
        left, top = corner(y, x)
        if code == TUCK:
            draw.ellipse((left + 3, top + 3, left + 17, top + 17), fill=0)
        else:
            draw.line((left + 4, top + 10, left + 16, top + 10), fill=0, width=2)
    traced = read(picture, Key(dark=TUCK))
    right = traced.whole.cells.shape == codes.shape and (codes_of(traced) == codes).all()
    assert right or "T813" in warnings(traced)


@pytest.mark.parametrize("signs", ["IV", "kt", "1v"])
def test_letters_are_not_taken_for_signs(signs: str) -> None:
    """An upright stroke is the plain sign of knit; a letter that is merely a little like it is none."""
    with pytest.raises(Refused) as refused:
        read(written(letters_of(signs)[1]), Key())
    assert refused.value.messages[0].code == "T807"


@pytest.mark.parametrize(
    ("rows", "severity"), [(["TKKK", "KTKK", "KKSK"], "warning"), (["TKKTK", "KTTKS", "KKKKT"], "info")]
)
def test_where_nothing_tells_the_side_a_chart_that_its_mirror_image_is_not_is_doubted(
    rows: list[str], severity: str
) -> None:
    """Signs that are the same on both sides, as those called plain are, do not say from which they are seen."""
    cells = np.array([["KTS".index(letter) for letter in row] for row in rows], dtype=np.uint8)
    (page,) = draw("quay", Chart(cells, (None,) * len(rows)), Drawing(notation="plain", repeats=(2, 2)), title="Quay")
    whole = Image.open(io.BytesIO(png(page, 100, "RGB")))
    traced = read(whole.convert("RGB"), Key())
    assert traced.whole.rows() == [row * 2 for row in rows] * 2
    (doubt,) = (message for message in traced.messages if message.code == "T812")
    assert doubt.severity == severity and "--face knit" in doubt.text


def test_thin_strokes_beside_hatched_blank_cells_are_marks() -> None:
    """They cover less of a cell than the hatching does, and are few."""
    patches = np.ones((10, 10, 7, 7, 3), dtype=np.float32)
    patches[:, :, ::2] = 0.9
    strokes = np.zeros((10, 10), dtype=np.bool_)
    strokes[[2, 5, 8], [3, 6, 1]] = True
    patches[strokes] = 1
    patches[strokes, 3, 3] = 0
    inked = inked_in(patches)
    assert inked is not None and (inked.marked == strokes).all()


def test_a_streak_of_a_scanner_is_no_kind() -> None:
    """A faint line down a few cells of one column, the same in each of them."""
    cells = texture()
    cells[2:9, 6] = False
    picture = drawn(cells)
    left, top = corner(2, 6)
    ImageDraw.Draw(picture).line((left + 9, top, left + 9, top + 7 * PX), fill=190)
    traced = read(picture, Key(dark=TUCK))
    assert (codes_of(traced) == np.where(cells, TUCK, KNIT)).all()


def test_rings_and_crosses_of_a_hand_are_told_apart_from_close_by() -> None:
    """Of one pencil, anywhere in their cells; from afar 5 of them look like the others."""
    random = np.random.default_rng(5)
    kinds = np.full((14, 14), KNIT, dtype=np.uint8)
    row, column = np.indices(kinds.shape)
    kinds[(row + 2 * column) % 7 == 0], kinds[(row - column) % 9 == 4] = TUCK, SLIP
    picture = drawn(np.zeros(kinds.shape, dtype=np.bool_))
    draw = ImageDraw.Draw(picture)
    for (row, column), code in np.ndenumerate(kinds):
        left, top = corner(row, column)
        x, y, size = left + 10 + random.uniform(-2, 2), top + 10 + random.uniform(-2, 2), random.uniform(4.5, 5.5)
        if code == TUCK:
            draw.ellipse((x - size, y - size, x + size, y + size), outline=120, width=2)
        elif code == SLIP:
            draw.line((x - size, y - size, x + size, y + size), fill=120, width=2)
            draw.line((x - size, y + size, x + size, y - size), fill=120, width=2)
    first = {code: np.argwhere(kinds == code)[2].tolist() for code in (KNIT, TUCK, SLIP)}
    key = Key(alike=tuple(((14 - row, column + 1), code) for code, (row, column) in first.items()))
    assert (codes_of(read(picture, key)) != kinds).sum() <= 1

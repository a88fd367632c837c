"""What is said of marks and their colours is taken at its word, and what is told of them is what the picture shows."""

from __future__ import annotations

import io
import re
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

sys.path.insert(0, str(Path(__file__).parent))

from pictures import png

from stitchc.chart import KNIT, SLIP, TUCK
from stitchc.messages import Refused
from stitchc.trace import Ask, Key, trace
from stitchc.trace.picture import even_light
from stitchc.trace.traced import hex_of

PALETTES = {  # colours of K, T and S
    "blues": ((46, 140, 212), (14, 242, 10), (42, 62, 203)),
    "dark": ((32, 48, 96), (192, 64, 64), (224, 192, 64)),
    "pastel": ((244, 194, 194), (194, 224, 244), (194, 244, 201)),
    "greens": ((58, 125, 68), (157, 192, 139), (37, 77, 50)),
}
FILLED = ["-T---TT--S", "---S--T--T", "TS-T--S---", "-S---T-T-S", "--T-S---ST", "T--S-T--S-"]


def filled(rows: list[str], colours: tuple[tuple[int, int, int], ...], margin_px: int) -> bytes:
    """Cells of 16 px in the colours of K (or any sign but T and S), T and S, with lines, on white; first row lowest."""
    height, width = len(rows), len(rows[0])
    inside = np.array(colours, dtype=np.uint8)[[["-TS".index(letter) for letter in row] for row in reversed(rows)]]
    image = Image.new("RGB", (16 * width + 1 + 2 * margin_px, 16 * height + 1 + 2 * margin_px), "white")
    image.paste(Image.fromarray(np.kron(inside, np.ones((16, 16, 1), dtype=np.uint8))), (margin_px, margin_px))
    draw = ImageDraw.Draw(image)
    for row in range(height):
        for column in range(width):
            left, top = margin_px + 16 * column, margin_px + 16 * row
            draw.rectangle((left, top, left + 16, top + 16), outline=(119, 119, 119))
    return png(image)


@pytest.mark.parametrize("margin_px", [0, 20])
@pytest.mark.parametrize("palette", PALETTES)
def test_colours_are_told_and_named_as_they_are_in_the_picture(palette: str, margin_px: int) -> None:
    colours = PALETTES[palette]
    picture, key = filled(FILLED, colours, margin_px), Key(colours=tuple(zip(colours, (KNIT, TUCK, SLIP), strict=True)))
    traced = trace(picture, "chart.png", Ask(key=key, repeat="whole"))
    assert traced.whole.rows() == [row.replace("-", "K") for row in FILLED] and traced.messages == ()
    for colour, stitch in zip(colours, ("knit", "tuck", "slip"), strict=True):
        assert f"{hex_of(colour)} {stitch}" in traced.how
    with pytest.raises(Refused) as error:
        trace(picture, "chart.png", Ask(key=Key(colours=(*key.colours, ((255, 0, 255), SLIP)))))
    (message,) = error.value.messages
    assert message.code == "T808" and all(hex_of(colour) in str(message.advice) for colour in colours)


def test_two_colours_that_name_the_same_cells_are_refused() -> None:
    picture = filled(FILLED, ((255, 255, 255), (34, 34, 34), (192, 48, 32)), 20)
    for red in ((192, 48, 32), (200, 50, 32)):
        colours = (((34, 34, 34), TUCK), ((192, 48, 32), SLIP), (red, TUCK))
        with pytest.raises(Refused) as error:
            trace(picture, "chart.png", Ask(key=Key(colours=colours)))
        (message,) = error.value.messages
        assert message.code == "T807" and "name the same cells" in message.text
        assert '"#c03020=S"' in message.text and f'"{hex_of(red)}=T"' in message.text


def test_a_page_is_evenly_bright_however_dark_the_cells_on_it() -> None:
    picture = Image.open(io.BytesIO(filled(FILLED, PALETTES["greens"], 20)))
    held = io.BytesIO()
    picture.save(held, "JPEG", quality=80)
    for pixels in (np.asarray(picture), np.asarray(Image.open(held))):
        assert np.array_equal(even_light(pixels), pixels)


def lettered(rows: list[str], inks: dict[str, str], page: str = "white") -> bytes:
    """The rows' own letters, first row lowest, in cells of 40 px with lines."""
    image = Image.new("RGB", (40 * len(rows[0]) + 41, 40 * len(rows) + 41), page)
    draw = ImageDraw.Draw(image)
    for row, letters in enumerate(reversed(rows)):
        for column, letter in enumerate(letters):
            left, top = 20 + 40 * column, 20 + 40 * row
            middle = (left + 20, top + 20)
            draw.text(middle, letter, font=ImageFont.load_default(24), fill=inks[letter], anchor="mm")
            draw.rectangle((left, top, left + 40, top + 40), outline=(119, 119, 119))
    return png(image)


@pytest.mark.parametrize("key", [Key(dark=TUCK), Key(colours=(((0, 0, 0), TUCK),))])
def test_marks_of_two_forms_that_are_read_as_one_stitch_are_named(key: Key) -> None:
    picture = lettered(FILLED, dict.fromkeys("-TS", "black"))
    traced = trace(picture, "chart.png", Ask(key=key, repeat="whole"))
    assert traced.whole.rows() == [row.translate(str.maketrans("-S", "KT")) for row in FILLED]
    (warning,) = [message for message in traced.messages if "forms" in message.text]
    assert (warning.code, warning.severity) == ("T812", "warning") and "read as tuck" in warning.text
    examples = re.findall(r"--like (\d+),(\d+)=T", str(warning.advice))
    assert sorted(FILLED[int(row) - 1][int(column) - 1] for row, column in examples) == ["S", "T"]
    corrected = tuple(
        ((int(row), int(column)), "KTS".index(FILLED[int(row) - 1][int(column) - 1])) for row, column in examples
    )
    again = trace(picture, "chart.png", Ask(key=Key(alike=corrected), repeat="whole"))
    assert again.whole.rows() == [row.replace("-", "K") for row in FILLED]


def test_a_kind_of_thin_marks_is_not_taken_for_blank() -> None:
    """Of light letters in most cells and dim red ones in the others, neither is clearly the marked one."""
    rows = [row.replace("-", "k").replace("T", "t").replace("S", "t") for row in FILLED]
    with pytest.raises(Refused) as error:
        trace(lettered(rows, {"k": "#d0d0d0", "t": "#903838"}, "#1e1e1e"), "chart.png", Ask(key=Key(dark=TUCK)))
    (message,) = error.value.messages
    assert message.code == "T807" and message.text.count("marked #") == 2


def test_cells_beside_bold_lines_make_no_kinds_of_their_own() -> None:
    colours = ((255, 255, 238), (48, 96, 160), (112, 160, 64))
    image = Image.open(io.BytesIO(filled(FILLED, colours, 20)))
    draw = ImageDraw.Draw(image)
    for line in (0, 5, 10):
        draw.line((20 + 16 * line, 20, 20 + 16 * line, 116), fill="black", width=4)
    for line in (0, 5):
        draw.line((20, 20 + 16 * line, 180, 20 + 16 * line), fill="black", width=4)
    with pytest.raises(Refused) as error:
        trace(png(image), "chart.png")
    (message,) = error.value.messages
    assert message.code == "T807" and "of 3 kinds" in message.text


@pytest.mark.parametrize(("page", "gap"), [("white", 2), ("#101010", 2), ("white", 0)])
def test_a_frame_of_another_colour_than_those_named_is_page(page: str, gap: int) -> None:
    """Tiles in a margin wider than they are, which is not told where there are gaps between them to tell it by."""
    rows, colours = FILLED + FILLED[:3], ((221, 221, 221), (192, 48, 32), (192, 96, 32))
    image = Image.new("RGB", (16 * 14, 16 * 13), page)
    draw = ImageDraw.Draw(image)
    for row, letters in enumerate(reversed(rows)):
        for column, letter in enumerate(letters):
            left, top = 32 + 16 * column, 32 + 16 * row
            draw.rectangle((left, top, left + 15 - gap, top + 15 - gap), fill=colours["-TS".index(letter)])
    key = Key(colours=tuple(zip(colours, (KNIT, TUCK, SLIP), strict=True)))
    traced = trace(png(image), "chart.png", Ask(key=key, repeat="whole"))
    assert traced.whole.rows() == [row.replace("-", "K") for row in rows]
    if gap:
        assert not traced.messages
        return
    (message,) = traced.messages
    assert (message.code, message.severity) == ("T811", "info") and "10 by 9 cells" in message.text


def test_letters_on_a_dark_page_are_kinds_of_their_own() -> None:
    with pytest.raises(Refused) as error:
        trace(lettered(FILLED, dict.fromkeys("-TS", "#d0d0d0"), "#1e1e1e"), "chart.png")
    (message,) = error.value.messages
    assert message.code == "T807" and "of 3 kinds" in message.text

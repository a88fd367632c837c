"""How long `card` takes against a bare script that draws and saves the same discs, each as a process of its own."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.bench.pairs import ratio

pytestmark = pytest.mark.bench

RIPPLE = "stitch tide\n 1: K T\n 2: K\n 3: T K\n 4: K\n"

BARE = """
import click, json, lark, numpy
from PIL import Image, ImageDraw, ImageFont, PngImagePlugin
image = Image.new("1", (4961, 7016), 1)
pen = ImageDraw.Draw(image)
across = round(3.5 * 600 / 25.4)
for row in range(40):
    for column in range(24):
        if row in (0, 1, 38, 39) or row % 2 or column % 2 == (row // 2) % 2:
            x = round((36.75 + 4.5 * column) * 600 / 25.4 - across / 2)
            y = round((37 + 5 * row) * 600 / 25.4 - across / 2)
            pen.ellipse((x, y, x + across - 1, y + across - 1), fill=0)
image.save("bare.png", dpi=(600, 600))
"""


def card(*words: str) -> list[str]:
    return ["-m", "stitchc", "card", "tide.stitch", "--force", *words]


def test_one_page_under_twice_a_bare_script(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "tide.stitch").write_text(RIPPLE, encoding="utf-8")
    (tmp_path / "bare.py").write_text(BARE, encoding="utf-8")
    found = ratio(card(), ["bare.py"], tmp_path, 11)
    with capsys.disabled():
        print(f"\ncard of 24 x 36 at 600 dpi: {found:.2f} x a bare script")
    assert found < 2.0


@pytest.mark.parametrize("form", ["pdf", "svg"])
def test_sixty_rows_as_vectors_are_faster_than_the_picture(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], form: str
) -> None:
    (tmp_path / "tide.stitch").write_text(RIPPLE, encoding="utf-8")
    found = ratio(card("--rows", "60", "--format", form), card("--rows", "60"), tmp_path, 7)
    with capsys.disabled():
        print(f"\n60 rows as {form}: {found:.2f} x the PNG")
    assert found < 1.0

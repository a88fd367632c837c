"""How long `build` takes against a bare script that draws the same pictures and pages and saves them.

Without the fabric: its relaxation would be the same on both sides, and so long that it would hide everything else.
The script knows nothing of patterns. It makes pictures of the sizes that `build` made with as many marks on them, and
copies the texts; nothing is checked, worded or proved.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = [pytest.mark.bench, pytest.mark.slow]

ROOT = Path(__file__).parents[2]

BARE = """
import pathlib, sys
import click, jinja2, lark, numpy
from PIL import Image, ImageDraw, ImageFont
from reportlab.pdfgen import canvas

rows = int(sys.argv[1])
for path in sorted(pathlib.Path("made").iterdir()):
    target = pathlib.Path("bare") / path.name
    target.parent.mkdir(exist_ok=True)
    if path.suffix == ".png" and path.name.startswith("compare"):
        import matplotlib
        matplotlib.use("Agg")
        import matplotlib.pyplot as pyplot
        figure, axes = pyplot.subplots(figsize=(9, 6), layout="constrained")
        for index in range(8):
            axes.errorbar([1, 2, 3], [index, 2, 3], yerr=1, label=str(index))
        axes.legend()
        figure.savefig(target, dpi=150)
    elif path.suffix == ".png":
        with Image.open(path) as made:
            size, mode, dpi = made.size, made.mode, made.info.get("dpi", (96, 96))
        image = Image.new(mode, size, "white" if mode != "P" else 0)
        pen = ImageDraw.Draw(image)
        if min(size) > 100:
            step = min(size[0] / 30, size[1] / (rows + 10))
            for row in range(rows):
                for column in range(24):
                    x, y = step * (column + 2), step * (row + 2)
                    pen.ellipse((x, y, x + step * 0.7, y + step * 0.7), fill=0)
        image.save(target, dpi=dpi)
    elif path.suffix == ".pdf":
        page = canvas.Canvas(str(target), pagesize=(595, 842))
        for row in range(rows):
            for column in range(24):
                page.circle(30 + 12 * column, 30 + 12 * row, 5, stroke=0, fill=1)
        page.showPage()
        page.save()
    elif path.suffix == ".svg":
        marks = "".join(f'<circle cx="{9 * n % 24}" cy="{n // 24}" r="1.75"/>' for n in range(24 * rows))
        target.write_text(f"<svg>{marks}</svg>")
    elif path.suffix == ".html":
        text = jinja2.Environment(autoescape=True).from_string("<p>{{ text }}</p>").render(text=path.read_text())
        target.write_text(text)
    else:
        target.write_bytes(path.read_bytes())
"""


def seconds(words: list[str], folder: Path) -> float:
    """Processor time, since both wait for nothing."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "XDG_CACHE_HOME": str(folder / "cache")}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *words], cwd=folder, check=True, capture_output=True, env=environment)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


@pytest.mark.parametrize("name", ["harbour-sampler", "sampler-piece"], ids=["largest-chart", "most-files"])
def test_build_under_three_times_bare_drawing(tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    (tmp_path / "bare.py").write_text(BARE, encoding="utf-8")
    example = str(ROOT / "examples" / f"{name}.stitch")
    build = ["-m", "stitchc", "build", example, "-o", "made", "--no-pictures", "--force"]
    bare = ["bare.py", "40"]
    seconds(build, tmp_path), seconds(bare, tmp_path)
    assert {path.name for path in (tmp_path / "made").iterdir()} == {p.name for p in (tmp_path / "bare").iterdir()}
    found = statistics.median(seconds(build, tmp_path) / seconds(bare, tmp_path) for _ in range(3))
    with capsys.disabled():
        print(f"\nbuild of {name}, of bare drawing: {found:.2f}")
    assert found < 3.0

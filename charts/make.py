"""Make this gallery anew: for every example the fabric, the drawn chart, the card, the sheet and the pieces.

Run from the project's folder: `.venv/bin/python charts/make.py`. What must be seen in each picture stands in
captions.toml; a stitch without its sentences stops the run.
"""

from __future__ import annotations

import contextlib
import io
import sys
import tomllib
from pathlib import Path
from typing import Any

from stitchc.__main__ import run
from stitchc.notation import compile_file
from stitchc.pattern import Pattern

HERE = Path(__file__).resolve().parent
EXAMPLES = HERE.parent / "examples"
PICTURES = ("fabric", "chart", "card")
MACHINES = ("hand-standard", "card24-standard")


def main(only: list[str]) -> None:
    """Make the pages of the examples named (all if none are) and the index of all."""
    captions = tomllib.loads((HERE / "captions.toml").read_text("utf-8"))
    sections = []
    for path in sorted(EXAMPLES.glob("*.stitch")):
        pattern, messages, _ = compile_file(str(path))
        assert pattern is not None, messages
        if not only or path.stem in only:
            make(path, pattern, HERE / path.stem)
        sections.append(section(path, pattern, captions))
    sections.append(f"## Densities side by side\n\n![A family of densities](sweep.png)\n\n{captions['sweep']}\n")
    if not only or "sweep" in only:
        arguments = ["compare", str(EXAMPLES / "tide-line.stitch"), "--sweep", "--plain", "20x28"]
        stitchc(*arguments, "--format", "png", "-o", str(HERE / "sweep.png"))
    head = (
        "# Gallery\n\nEvery example of the studio, made by `.venv/bin/python charts/make.py`. Under each picture "
        "stands what to see in it.\n\n![Contact sheet](contact.png)\n\n"
        "All fabrics, purl side left and knit side right.\n\n"
    )
    (HERE / "README.md").write_text(head + "\n".join(sections), "utf-8")
    contact_sheet(sorted(HERE.glob("*/*-fabric.png")))


def make(path: Path, pattern: Pattern, folder: Path) -> None:
    """Everything of one example."""
    folder.mkdir(exist_ok=True)
    gauge = () if any(swatch.stitch == "plain" for swatch in pattern.swatches) else ("--plain", "20x28")
    for stitch in pattern.wanted():
        one = (str(path), "--stitch", stitch.name)
        stem = str(folder / stitch.name)
        stitchc("picture", *one, *gauge, "--px", "460", "-o", f"{stem}-fabric.png")
        stitchc("chart", *one, "--format", "png", "-o", f"{stem}-chart.png")
        stitchc("card", *one, "--dpi", "300", "-o", f"{stem}-card.png")
        for form in ("txt", "html"):
            stitchc("sheet", *one, "--format", "text" if form == "txt" else form, "-o", f"{stem}-sheet.{form}")
    for name in pattern.pieces:
        for machine in MACHINES:
            target = folder / f"{name}-piece-{machine}"
            for form in ("txt", "html"):
                form_name = "text" if form == "txt" else form
                arguments = ("piece", str(path), "--piece", name, "--machine", machine, *gauge)
                stitchc(*arguments, "--format", form_name, "-o", f"{target}.{form}")


def stitchc(*arguments: str) -> None:
    """Run a command, and stop with what it said if it fails."""
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        status = run([*arguments, "--force"])
    if status:
        sys.exit(f"stitchc {' '.join(arguments)}\n{said.getvalue()}")


def section(path: Path, pattern: Pattern, captions: dict[str, Any]) -> str:
    """The part of the index about one example."""
    folder = path.stem
    lines = [f"## {pattern.title or folder}", "", f"[{path.name}](../examples/{path.name})", ""]
    lines += [f"{note}\n" for note in pattern.notes]
    for stitch in pattern.wanted():
        says = captions[folder][stitch.name]
        lines += [f"### {stitch.name}: {stitch.chart.width} needles by {stitch.chart.height} rows", ""]
        for picture in PICTURES:
            lines += [f"![{stitch.name}, {picture}]({folder}/{stitch.name}-{picture}.png)", "", says[picture], ""]
        sheet = f"{folder}/{stitch.name}-sheet"
        lines += [f"Needle sheet for a machine without patterning: [text]({sheet}.txt), [page]({sheet}.html).", ""]
    for name in pattern.pieces:
        links = [
            f"{machine}: [text]({folder}/{name}-piece-{machine}.txt), [page]({folder}/{name}-piece-{machine}.html)"
            for machine in MACHINES
        ]
        lines += [f"The whole piece, {name}: " + "; ".join(links) + ".", ""]
    return "\n".join(lines)


def contact_sheet(fabrics: list[Path]) -> None:
    """All fabrics small on one sheet."""
    from PIL import Image, PngImagePlugin

    width, columns, gap = 560, 3, 16
    pictures = [Image.open(fabric).convert("RGB") for fabric in fabrics]
    small = [picture.resize((width, round(picture.height * width / picture.width))) for picture in pictures]
    rows = [small[first : first + columns] for first in range(0, len(small), columns)]
    heights = [max(picture.height for picture in row) + gap for row in rows]
    sheet = Image.new("RGB", (columns * (width + gap) + gap, sum(heights) + gap), "white")
    top = gap
    for row, height in zip(rows, heights, strict=True):
        for column, picture in enumerate(row):
            sheet.paste(picture, (gap + column * (width + gap), top))
        top += height
    facts = PngImagePlugin.PngInfo()
    facts.add_text("Software", "stitchc")
    sheet.quantize(96, dither=Image.Dither.NONE).save(HERE / "contact.png", pnginfo=facts, optimize=True)


if __name__ == "__main__":
    main(sys.argv[1:])

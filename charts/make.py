"""Make this gallery anew: for every example the fabric, the drawn chart, the card, the sheet and the pieces.

Run from the project's folder: `.venv/bin/python charts/make.py`. What must be seen in each picture stands in
captions.toml; a stitch without its sentences stops the run.
"""

from __future__ import annotations

import contextlib
import io
import math
import sys
import tomllib
from pathlib import Path
from typing import Any

from stitchc.__main__ import run
from stitchc.notation import compile_file
from stitchc.pattern import Pattern, Stitch

HERE = Path(__file__).resolve().parent
EXAMPLES = HERE.parent / "examples"
PICTURES = ("fabric", "chart", "card")
COLOURS = 48
"""In the palette of a picture of fabric."""

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
        with_few_colours(HERE / "sweep.png")
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
        side_cm = shown_cm(stitch)
        size = ("--size", f"{side_cm}x{side_cm}", "--px", "460" if side_cm < 10 else "640")
        stitchc("picture", *one, *gauge, *size, "-o", f"{stem}-fabric.png")
        with_few_colours(folder / f"{stitch.name}-fabric.png")
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


def shown_cm(stitch: Stitch) -> int:
    """Side of the square of fabric shown: some two repeats of what 5 mm and 3 mm a cell make, loops still large."""
    return min(max(6, math.ceil(stitch.chart.width), math.ceil(0.6 * stitch.chart.height)), 14)


def with_few_colours(path: Path) -> None:
    """The same picture with a palette, at a third of the bytes; nobody sees the difference."""
    from PIL import Image, PngImagePlugin

    with Image.open(path) as picture:
        facts = PngImagePlugin.PngInfo()
        for key in ("Software", "Description", "Repeat"):
            if key in picture.info:
                facts.add_text(key, f"{picture.info[key]}")
        dpi = picture.info.get("dpi")
        few = picture.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    few.save(path, pnginfo=facts, optimize=True, **({"dpi": dpi} if dpi else {}))


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
    """All fabrics on one sheet, each under its name."""
    from PIL import Image, ImageDraw, PngImagePlugin

    from stitchc.page.lettering import font

    side, columns, gap, line = 250, 3, 18, 36
    width, height = 2 * side + 6 + gap, side + line + gap
    rows = math.ceil(len(fabrics) / columns)
    sheet = Image.new("RGB", (columns * width + gap, rows * height + gap), "white")
    pen = ImageDraw.Draw(sheet)
    for index, path in enumerate(fabrics):
        left, top = gap + index % columns * width, gap + index // columns * height
        with Image.open(path) as picture:
            plate = picture.convert("RGB")
        # The plate is two squares with a gap between them, over a strip of lettering.
        square = (plate.width - max(4, plate.width // 120)) // 2
        for place, face in enumerate(
            (plate.crop((0, 0, square, square)), plate.crop((plate.width - square, 0, plate.width, square)))
        ):
            sheet.paste(face.resize((side, side), Image.Resampling.LANCZOS), (left + place * (side + 6), top + line))
        name, example = path.name.removesuffix("-fabric.png"), path.parent.name
        title = name if name == example else f"{name} ({example})"
        pen.text((left, top + line // 2), title, (30, 30, 30), font(21), anchor="lm")
    facts = PngImagePlugin.PngInfo()
    facts.add_text("Software", "stitchc")
    few = sheet.quantize(COLOURS // 2, dither=Image.Dither.NONE)
    few.save(HERE / "contact.png", pnginfo=facts, optimize=True)


if __name__ == "__main__":
    main(sys.argv[1:])

"""Make this gallery anew: for every example the fabric, the drawn chart, the card, the sheet and the pieces.

Run from the project's folder: `.venv/bin/python charts/make.py`. What must be seen in each picture stands in
captions.toml; a stitch without its sentences stops the run.
"""

from __future__ import annotations

import contextlib
import io
import math
import sys
import tempfile
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stitchc.__main__ import run
from stitchc.notation import compile_file
from stitchc.pattern import Pattern, Stitch

if TYPE_CHECKING:
    from PIL import Image

HERE = Path(__file__).resolve().parent
EXAMPLES = HERE.parent / "examples"
PICTURES = ("fabric", "chart", "card")
COLOURS = 48
"""In the palette of a picture of fabric."""

MACHINES = ("hand-standard", "card24-standard")
LEAFLETS = {"cowl": "2026-11-30", "pilot-cap": "2026-11-30"}
"""The examples that have a leaflet, with the date that stands on it."""
FABRIC_PX = 460
"""Width of one side of a fabric; of one that is much wider than high, and stands over the other, twice as much."""

PLAIN = 'pattern "Plain"\nstitch stocking-stitch\n    1: K\n'
"""What the others are to be compared with on the contact sheet."""


def main(only: list[str], target: Path = HERE) -> None:
    """Make, in `target`, the pages of the examples named, or of all of them with the index and the contact sheet."""
    captions = tomllib.loads((HERE / "captions.toml").read_text("utf-8"))
    shown = []
    patterns = {path: compiled(path) for path in sorted(EXAMPLES.glob("*.stitch"))}
    for path, pattern in patterns.items():
        if not only or path.stem in only:
            make(path, pattern, target / path.stem)
            make_leaflet(path, target / path.stem)
        shown += [(path, stitch, captions[path.stem][stitch.name]["sign"]) for stitch in pattern.wanted()]
    if not only or "sweep" in only:
        arguments = ["compare", str(EXAMPLES / "tide-line.stitch"), "--sweep", "--plain", "20x28"]
        stitchc(*arguments, "--format", "png", "-o", str(target / "sweep.png"))
        with_few_colours(target / "sweep.png")
    if not only or "contact" in only:
        contact_sheet(shown, captions["plain"], target / "contact.png")
    (target / "README.md").write_text(index(patterns, captions), "utf-8")


def index(patterns: Mapping[Path, Pattern], captions: dict[str, Any]) -> str:
    """The gallery's page: the contact sheet with links to all examples, then the examples by group."""
    groups: dict[str, list[Path]] = {group["title"]: [] for group in captions["groups"]}
    titles = {name: group["title"] for group in captions["groups"] for name in group["examples"]}
    for path in patterns:
        groups[titles[path.stem]].append(path)
    lines = [
        "# Gallery",
        "",
        "Every example of the workshop, made by `.venv/bin/python charts/make.py`.",
        "",
        "![Contact sheet](contact.png)",
        "",
        captions["contact"],
        "",
    ]
    for title, paths in groups.items():
        lines.append(f"- {title}: " + ", ".join(f"[{name_of(path, patterns)}](#{path.stem})" for path in paths))
    lines += ["- [Densities side by side](#densities-side-by-side)", ""]
    for title, paths in groups.items():
        lines += [f"## {title}", "", *(section(path, patterns[path], captions) for path in paths)]
    lines += ["## Densities side by side", "", "![A family of densities](sweep.png)", "", captions["sweep"], ""]
    return "\n".join(lines)


def name_of(path: Path, patterns: Mapping[Path, Pattern]) -> str:
    """The pattern's title, or its file's name."""
    return patterns[path].title or path.stem


def compiled(path: Path) -> Pattern:
    """The pattern of an example, which has no mistake."""
    pattern, messages, _ = compile_file(str(path))
    assert pattern is not None, messages
    return pattern


def make(path: Path, pattern: Pattern, folder: Path, smaller: bool = True) -> None:
    """Everything of one example but its leaflet. smaller: pictures with a palette."""
    folder.mkdir(exist_ok=True)
    for stitch in pattern.wanted():
        one = (str(path), "--stitch", stitch.name)
        stem = str(folder / stitch.name)
        across, up = shown_cm(pattern, stitch)
        px = FABRIC_PX if across <= 1.5 * up else 2 * FABRIC_PX
        size = ("--size", f"{across:g}x{up:g}", "--px", str(px))
        stitchc("picture", *one, *gauge(pattern), *size, "-o", f"{stem}-fabric.png")
        if smaller:
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
                arguments = ("piece", str(path), "--piece", name, "--machine", machine, *gauge(pattern))
                stitchc(*arguments, "--format", form_name, "-o", f"{target}.{form}")


def make_leaflet(path: Path, folder: Path) -> None:
    """The leaflet of an example that has one."""
    if path.stem in LEAFLETS:
        stitchc("leaflet", str(path), "--date", LEAFLETS[path.stem], "-o", str(folder))


def plain_gauge(pattern: Pattern) -> tuple[float, float]:
    """Stitches and rows of stocking stitch to 10 cm: measured in the file, or what all others are drawn at."""
    for swatch in pattern.swatches:
        if swatch.stitch == "plain" and swatch.stitches_per_10cm and swatch.rows_per_10cm:
            return swatch.stitches_per_10cm, swatch.rows_per_10cm
    return 20.0, 28.0


def gauge(pattern: Pattern) -> tuple[str, ...]:
    """The option that says the gauge where the file does not."""
    return () if any(swatch.stitch == "plain" for swatch in pattern.swatches) else ("--plain", "20x28")


def shown_cm(pattern: Pattern, stitch: Stitch) -> tuple[float, float]:
    """Width and height of the fabric shown: two repeats where loops are still large in them, else one.

    A repeat that is much wider than high is shown once, in a picture of its own proportions.
    """
    stitches, rows = plain_gauge(pattern)
    chart = stitch.chart
    across = 10 / stitches * chart.width * (1 if chart.width > 12 else 2)
    up = 10 / rows * 0.75 * chart.height * (1.2 if chart.height > 12 else 2)
    least = 11 * 10 / stitches
    if across > 1.5 * max(up, least):
        return round(across + 0.3, 1), round(max(up, least), 1)
    side = max(across, up, least)
    return round(side, 1), round(side, 1)


def with_few_colours(path: Path, colours: int = COLOURS) -> None:
    """The same picture with a palette, at a third of the bytes; nobody sees the difference."""
    from PIL import Image, PngImagePlugin

    with Image.open(path) as picture:
        facts = PngImagePlugin.PngInfo()
        for key, value in picture.info.items():
            if isinstance(key, str) and isinstance(value, str):
                facts.add_text(key, value)
        dpi = picture.info.get("dpi")
        few = picture.convert("RGB").quantize(colours, kmeans=2, dither=Image.Dither.NONE)
    few.save(path, pnginfo=facts, optimize=True, **({"dpi": dpi} if dpi else {}))


def stitchc(*arguments: str) -> None:
    """Run a command, and stop with what it said if it fails."""
    output = io.StringIO()
    with contextlib.redirect_stdout(output), contextlib.redirect_stderr(output):
        status = run([*arguments, "--force"])
    if status:
        sys.exit(f"stitchc {' '.join(arguments)}\n{output.getvalue()}")


def section(path: Path, pattern: Pattern, captions: dict[str, Any]) -> str:
    """The part of the index about one example: its notation beside the fabric, then chart and card, both small."""
    folder = path.stem
    lines = [f'<a id="{folder}"></a>', "", f"### {pattern.title or folder}", ""]
    lines += [f"{note}\n" for note in pattern.notes]
    notation = ["```", path.read_text("utf-8").rstrip(), "```", f"[{path.name}](../examples/{path.name})"]
    for stitch in pattern.wanted():
        captioned = captions[folder][stitch.name]
        lines += [f"**{stitch.name}**: {stitch.chart.width} needles by {stitch.chart.height} rows", ""]
        lines += ["<table><tr><td>", "", thumbnail(folder, stitch.name, "fabric"), ""]
        lines += ["</td><td>", "", *notation, "", "</td></tr></table>", ""] if notation else ["</td></tr></table>", ""]
        notation = []
        lines += [captioned["fabric"], ""]
        lines += ["<table><tr><td>", "", thumbnail(folder, stitch.name, "chart"), "", captioned["chart"], ""]
        lines += ["</td><td>", "", thumbnail(folder, stitch.name, "card"), "", captioned["card"], ""]
        lines += ["</td></tr></table>", ""]
        sheet = f"{folder}/{stitch.name}-sheet"
        lines += [f"Needle sheet for a machine without patterning: [text]({sheet}.txt), [page]({sheet}.html).", ""]
    for name in pattern.pieces:
        links = [
            f"{machine}: [text]({folder}/{name}-piece-{machine}.txt), [page]({folder}/{name}-piece-{machine}.html)"
            for machine in MACHINES
        ]
        lines += [f"The whole piece, {name}: " + "; ".join(links) + ".", ""]
    if folder in LEAFLETS:
        stem = f"{folder}/{folder}-leaflet"
        lines += [f"The leaflet for other knitters, for every machine: [PDF]({stem}.pdf), [page]({stem}.html).", ""]
    return "\n".join(lines)


WIDTHS = {"fabric": 460, "chart": 240, "card": 240}
"""Of the pictures in the index, in pixels; each leads to the whole picture."""


def thumbnail(folder: str, stitch: str, picture: str) -> str:
    """A picture of the index, which leads to the file itself."""
    target = f"{folder}/{stitch}-{picture}.png"
    return f'[<img src="{target}" width="{WIDTHS[picture]}" alt="{stitch}, {picture}">]({target})'


# -- the contact sheet ------------------------------------------------------------------------------------------------

TILE_PX = 260


def contact_sheet(shown: list[tuple[Path, Stitch, str]], plain: dict[str, str], target: Path) -> None:
    """All fabrics on one sheet beside plain: each drawn for it, under its name and what it is known by."""
    from PIL import Image, ImageDraw, PngImagePlugin

    from stitchc.page.lettering import font

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "plain.stitch").write_text(PLAIN, "utf-8")
        (stocking,) = compiled(folder / "plain.stitch").wanted()
        every = [(folder / "plain.stitch", stocking, plain["sign"]), *shown]
        tiles = [(contact_tile(path, stitch, folder), path, stitch, sign) for path, stitch, sign in every]
    columns, gap, line = 3, 22, 62
    width, height = 2 * TILE_PX + 6 + gap, TILE_PX + line + gap
    rows = math.ceil(len(tiles) / columns)
    sheet = Image.new("RGB", (columns * width + gap, rows * height + gap), "white")
    pen = ImageDraw.Draw(sheet)
    names = [stitch.name for *_, stitch, _ in tiles]
    for index, (faces, path, stitch, sign) in enumerate(tiles):
        left, top = gap + index % columns * width, gap + index // columns * height
        for place, face in enumerate(faces):
            sheet.paste(face, (left + place * (TILE_PX + 6), top + line))
        title = f"{stitch.name} ({path.stem})" if names.count(stitch.name) > 1 else stitch.name
        pen.text((left, top + 20), title, (20, 20, 20), font(23, bold=True), anchor="lm")
        pen.text((left, top + 47), sign, (60, 60, 60), font(18), anchor="lm")
        assert pen.textlength(sign, font(18)) <= 2 * TILE_PX, sign
    facts = PngImagePlugin.PngInfo()
    facts.add_text("Software", "stitchc")
    facts.add_text("Description", "; ".join(f"{stitch.name}: {sign}" for *_, stitch, sign in tiles))
    few = sheet.quantize(2 * COLOURS, kmeans=2, dither=Image.Dither.NONE)
    few.save(target, pnginfo=facts, optimize=True)


def contact_tile(path: Path, stitch: Stitch, folder: Path) -> list[Image.Image]:
    """Both sides of a stitch, eleven wales wide at the gauge of its own stocking stitch, more where a repeat is.

    Of a wide repeat the purl side alone, twice as wide.
    """
    from PIL import Image

    pattern = compiled(path)
    stitches, rows = plain_gauge(pattern)
    wide = stitch.chart.width > 12
    side = max(110 / stitches, 10 / rows * 0.75 * stitch.chart.height)
    across, px = (10 / stitches * stitch.chart.width, 2 * TILE_PX + 6) if wide else (side, TILE_PX)
    shown = []
    for face in ("purl",) if wide else ("purl", "knit"):
        target = folder / f"{path.stem}-{stitch.name}-{face}.png"
        words = (str(path), "--stitch", stitch.name, *gauge(pattern), "--face", face)
        size = ("--size", f"{across:.2f}x{across * TILE_PX / px:.2f}", "--px", str(px))
        stitchc("picture", *words, *size, "-o", str(target))
        with Image.open(target) as picture:
            shown.append(picture.convert("RGB").crop((0, 0, px, TILE_PX)))
    return shown


if __name__ == "__main__":
    main(sys.argv[1:])

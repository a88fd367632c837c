# ruff: noqa: E501
"""Charts as other people draw them, with known truth: made by tools that this project does not draw with, in two halves.

`tune` is the half that the rules of trace may be fitted to. `held` has other seeds, other tools and other styles, and is
looked at for the score alone. `python tests/trace/elsewhere.py held 400` makes so many and prints the table of
`elsewhere.txt`; `--to DIR` keeps the pictures that did not come back. Each case holds what a careful user would say.
"""

from __future__ import annotations

import io
import shutil
import sys
import zlib
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from PIL import Image, ImageFilter

from stitchc.chart import KNIT, LETTERS, SLIP, TUCK
from stitchc.messages import Refused
from stitchc.trace import Ask, Key, trace

Random = np.random.Generator
Rgb = tuple[int, int, int]


class Lines(NamedTuple):
    """Where the lines of a drawing are, or the cells' borders: (lines, 2), where each begins and ends in px."""

    across: np.ndarray
    down: np.ndarray

    def moved(self, times: float, left: float = 0, top: float = 0) -> Lines:
        return Lines(self.across * times + left, self.down * times + top)

    @classmethod
    def evenly(cls, left: float, top: float, right: float, bottom: float, cells: np.ndarray, wide: float = 0) -> Lines:
        rows, columns = cells.shape
        places = np.linspace(left, right, columns + 1), np.linspace(top, bottom, rows + 1)
        return cls(*(np.stack([along - wide / 2, along + wide / 2], axis=1) for along in places))


Drawn = tuple[Image.Image, Lines]


class Case(NamedTuple):
    """kind: clean, scan, photo or pencil; style: the tool and its ways; rows: the truth, first knitted first.

    lines: where they are in the drawing; way: the projection from the drawing to the picture, 3 by 3.
    """

    kind: str
    style: str
    data: bytes
    rows: list[str]
    ask: Ask
    lines: Lines | None = None
    way: np.ndarray = np.eye(3)


class Look(NamedTuple):
    """A chart and how it is to look. cells: codes, top row first. bold: every how many lines, 0 for never, and width.

    adds: whether bold lines push the cells apart; dash: on and off in px; marks: a form and a colour for each code.
    """

    cells: np.ndarray
    pitch: tuple[float, float]
    line: float
    ink: Rgb
    bold: int
    bold_line: float
    bold_ink: Rgb
    adds: bool
    dash: tuple[float, float]
    paper: Rgb
    marks: dict[int, tuple[str, Rgb]]
    margin: int
    lettered: bool
    phase: int


FORMS = {
    "tune": ("fill", "fill", "fill", "dot", "cross", "ring", "inset"),
    "held": ("fill", "fill", "fill", "slash", "diamond", "triangle", "bar", "square", "star"),
}


def chosen_cells(
    random: Random, kinds: Sequence[int], weights: np.ndarray, size: tuple[int, int], repeat: tuple[int, int] | None
) -> np.ndarray:
    """Cells of these kinds, each of them at least once. size, repeat: rows and columns, without a repeat in no order."""
    rows, columns = size
    if repeat is None:
        cells = random.choice(kinds, size, p=weights)
    else:
        times = rows // repeat[0] + 1, columns // repeat[1] + 1
        cells = np.tile(random.choice(kinds, repeat, p=weights), times)[:rows, :columns].copy()
    for number, code in enumerate(kinds):
        cells.flat[int(random.integers(0, cells.size // 3)) * len(kinds) + number] = code
    return cells


def a_look(random: Random, half: str) -> Look:
    """Any chart in any of the ways of this half."""
    columns, rows = int(random.integers(7, 37)), int(random.integers(7, 37))
    kinds = [KNIT, TUCK] if random.random() < 0.7 else [KNIT, TUCK, SLIP]
    dense = random.random()
    shares = (0.12, 0.88) if dense > 0.88 else (0.5, 0.5) if dense > 0.7 else (0.75, 0.25)
    weights = np.array([shares[0], *[shares[1] / (len(kinds) - 1)] * (len(kinds) - 1)])
    repeat = (int(random.integers(2, 9)), int(random.integers(2, 9)))[::-1] if random.random() < 0.4 else None
    cells = chosen_cells(random, kinds, weights, (rows, columns), repeat)
    px = (
        float(random.integers(9, 30))
        if half == "tune"
        else float(random.choice([10, 11.5, 13.3, 17, 18, 19.2, 21, 25, 28.3]))
    )
    down = px * float(random.choice([1, 1, 1, 0.7, 1.4, 0.8] if half == "tune" else [1, 1, 1, 0.75, 1.3, 0.6]))
    line = float(random.choice([1, 1, 2, 0.6] if half == "tune" else [1, 1, 1.5, 0.75, 2]))
    bold = int(random.choice([0, 0, 5, 10, 4] if half == "tune" else [0, 5, 5, 10, 6, 3, 12]))
    wide = line + float(random.uniform(0.4, min(px, down) * 0.5 - line))
    grey = int(random.integers(0, 190))
    hues = [(grey, grey, grey), (grey, grey, grey), (90, 130, 200), (60, 160, 160)]
    if half == "held":
        hues = [(grey, grey, grey), (grey, grey, grey), (210, 120, 120), (120, 170, 110), (170, 170, 210)]
    ink = hues[int(random.integers(len(hues)))]
    bold_ink = [ink, (0, 0, 0), (70, 70, 70), (200, 60, 50)][int(random.integers(4))]
    dash = (0.0, 0.0) if random.random() < 0.85 else (float(random.integers(1, 5)), float(random.integers(1, 5)))
    paper = ((255, 255, 255), (255, 255, 255), (250, 246, 236), (238, 242, 245))[int(random.integers(4))]
    tones: list[Rgb] = [(0, 0, 0), (40, 40, 40), (30, 60, 150), (120, 40, 110)]
    if half == "held":
        tones = [(0, 0, 0), (25, 25, 25), (20, 100, 60), (150, 50, 20), (90, 90, 90)]
    form = str(random.choice(FORMS[half]))
    tone = tones[int(random.integers(len(tones)))]
    marks = {TUCK: (form, tone), SLIP: (form, (210, 140, 30) if half == "tune" else (60, 150, 220))}
    if random.random() < 0.12:  # a page that is dark
        paper, ink, bold_ink = (30, 32, 38), (90, 95, 105), (150, 150, 160)
        marks = {TUCK: (form, (235, 235, 225)), SLIP: (form, (230, 160, 60))}
    return Look(
        cells, (px, down), line, ink, bold, wide if bold else line, bold_ink, bool(random.random() < 0.4), dash, paper,
        marks, int(random.choice([0, 6, 25, 40])), bool(random.random() < 0.4), int(random.integers(0, 3)) if bold else 0,
    )  # fmt: skip


def places(look: Look, axis: int) -> tuple[np.ndarray, np.ndarray]:
    """Left edges and right edges of the lines, in px from the grid's corner."""
    count = look.cells.shape[1 - axis]
    numbers = np.arange(count + 1)
    heavy = (numbers - look.phase) % look.bold == 0 if look.bold else np.zeros(count + 1, dtype=bool)
    wide = np.where(heavy, look.bold_line, look.line)
    if look.adds:
        inside = look.pitch[axis] - look.line
        right = np.cumsum(wide) + inside * numbers
        return right - wide, right
    middles = look.pitch[axis] * numbers + wide[0] / 2
    return middles - wide / 2, middles + wide / 2


def said(look: Look, half: str) -> Key:
    """What a careful user would say of this look."""
    code = [code for code in (TUCK, SLIP) if (look.cells == code).any()]
    if sum(look.paper) < 300:
        return Key(colours=((look.paper, KNIT), *((look.marks[one][1], one) for one in code)))
    return Key(dark=TUCK, colours=() if len(code) < 2 else ((look.marks[SLIP][1], SLIP),))


def rows_of(cells: np.ndarray) -> list[str]:
    return ["".join(LETTERS[code] for code in row) for row in cells[::-1].tolist()]


def png(image: Image.Image) -> bytes:
    held = io.BytesIO()
    image.save(held, "PNG")
    return held.getvalue()


# -- tools --------------------------------------------------------------------------------------------------------


class Canvas:
    """A rasteriser by exact coverage of pixels, as vector libraries have it."""

    def __init__(self, width: float, height: float, paper: Rgb) -> None:
        self.pixels = np.full((int(np.ceil(height)), int(np.ceil(width)), 3), paper, dtype=np.float64)

    def rectangle(self, x0: float, y0: float, x1: float, y1: float, colour: Rgb) -> None:
        height, width = self.pixels.shape[:2]
        left, top = max(0, int(x0)), max(0, int(y0))
        right, bottom = min(width, int(np.ceil(x1))), min(height, int(np.ceil(y1)))
        x, y = np.arange(left, right), np.arange(top, bottom)
        part = np.outer(
            np.clip(np.minimum(y + 1, y1) - np.maximum(y, y0), 0, 1),
            np.clip(np.minimum(x + 1, x1) - np.maximum(x, x0), 0, 1),
        )
        self._lay(left, top, part, colour)

    def _lay(self, left: int, top: int, part: np.ndarray, colour: Rgb) -> None:
        box = self.pixels[top : top + part.shape[0], left : left + part.shape[1]]
        box += part[: box.shape[0], : box.shape[1], None] * (np.array(colour) - box)

    def form(self, name: str, x0: float, y0: float, x1: float, y1: float, colour: Rgb) -> None:
        if name == "fill":
            return self.rectangle(x0, y0, x1, y1, colour)
        left, top = int(x0), int(y0)
        x, y = np.meshgrid(np.arange(left, int(x1) + 1, 0.25) + 0.125, np.arange(top, int(y1) + 1, 0.25) + 0.125)
        side = min(x1 - x0, y1 - y0)
        u, v = (x - (x0 + x1) / 2) / side, (y - (y0 + y1) / 2) / side
        part = shape(name, u, v).astype(float)
        self._lay(left, top, part.reshape(part.shape[0] // 4, 4, -1, 4).mean(axis=(1, 3)), colour)

    def image(self) -> Image.Image:
        return Image.fromarray(self.pixels.round().clip(0, 255).astype(np.uint8))


def shape(name: str, u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Whether places of a unit square about 0,0 are ink."""
    far = np.hypot(u, v)
    within = np.maximum(np.abs(u), np.abs(v))
    return {
        "dot": far < 0.27,
        "ring": np.abs(far - 0.27) < 0.055,
        "cross": (np.minimum(np.abs(u - v), np.abs(u + v)) < 0.1) & (within < 0.33),
        "inset": within < 0.36,
        "slash": (np.abs(u + v) < 0.12) & (within < 0.36),
        "diamond": np.abs(u) + np.abs(v) < 0.38,
        "triangle": (v < 0.3) & (np.abs(u) < (v + 0.32) * 0.55),
        "bar": (np.abs(u) < 0.07) & (np.abs(v) < 0.36),
        "square": (within < 0.33) & (within > 0.23),
        "star": (np.minimum(np.minimum(np.abs(u), np.abs(v)), np.minimum(np.abs(u - v), np.abs(u + v)) / 1.4) < 0.05)
        & (far < 0.36),
    }[name]


def lines_of(look: Look) -> Iterator[tuple[float, float, float, float, Rgb]]:
    """Each stretch of line, thin ones first: left, top, right, bottom and colour."""
    (xa, xb), (ya, yb) = places(look, 0), places(look, 1)
    for heavy in (False, True):
        for first, last, across in ((xa, xb, True), (ya, yb, False)):
            start, end = (ya[0], yb[-1]) if across else (xa[0], xb[-1])
            for a, b in zip(first.tolist(), last.tolist(), strict=True):
                if (b - a > look.line + 0.01) != heavy:
                    continue
                colour = look.bold_ink if heavy else look.ink
                pieces = [(start, end)]
                if look.dash[0] and not heavy:
                    at = np.arange(start - 1.7, end, sum(look.dash)).tolist()
                    pieces = [
                        (max(start, one), min(end, one + look.dash[0])) for one in at if one + look.dash[0] > start
                    ]
                for low, high in pieces:
                    yield (a, low, b, high, colour) if across else (low, a, high, b, colour)


def size_of(look: Look) -> tuple[float, float, float, float]:
    """Left and top of the grid, width and height of the picture."""
    room = look.margin
    left = room + (22 if look.lettered else 0)
    return (
        left,
        room,
        left + places(look, 0)[1][-1] + room,
        room + places(look, 1)[1][-1] + room + (16 if look.lettered else 0),
    )


def painted(random: Random, look: Look) -> Drawn:
    left, top, width, height = size_of(look)
    canvas = Canvas(width, height, look.paper)
    (xa, xb), (ya, yb) = places(look, 0), places(look, 1)
    off = float(random.choice([0, 0, 0.3, 0.5]))
    left, top = left + off, top + off
    for (row, column), code in np.ndenumerate(look.cells):
        if code in look.marks:
            name, colour = look.marks[int(code)]
            mid_x = (xa + xb) / 2 if not look.adds else None
            x = (xb[column], xa[column + 1]) if mid_x is None or name == "fill" else (mid_x[column], mid_x[column + 1])
            mid_y = (ya + yb) / 2
            y = (yb[row], ya[row + 1]) if look.adds or name == "fill" else (mid_y[row], mid_y[row + 1])
            canvas.form(name, left + x[0], top + y[0], left + x[1], top + y[1], colour)
    for x0, y0, x1, y1, colour in lines_of(look):
        canvas.rectangle(left + x0, top + y0, left + x1, top + y1, colour)
    image = canvas.image()
    if look.lettered:
        lettered(image, look, left, top)
    return image, ruled(look, left, top)


def ruled(look: Look, left: float, top: float) -> Lines:
    across, down = (np.stack(places(look, axis), axis=1) for axis in (0, 1))
    return Lines(across + left, down + top)


def lettered(image: Image.Image, look: Look, left: float, top: float) -> None:
    """Numbers beside the rows and under the columns."""
    from PIL import ImageDraw, ImageFont

    pen = ImageDraw.Draw(image)
    font = ImageFont.truetype("DejaVuSans.ttf", max(6, min(11, int(min(look.pitch)) - 3)))
    fill = (200, 200, 200) if sum(look.paper) < 300 else (30, 30, 30)
    rows, columns = look.cells.shape
    across, down = places(look, 0)[0], places(look, 1)[0]
    for row in range(rows):
        pen.text((left - 20, top + float(down[row]) + 1), str(rows - row), fill=fill, font=font)
    for column in range(0, columns, 2 if min(look.pitch) < 18 else 1):
        pen.text((left + float(across[column]) + 2, top + float(down[-1]) + 4), str(column + 1), fill=fill, font=font)


def css(colour: Rgb) -> str:
    return "rgb({},{},{})".format(*colour)


@cache
def browser() -> Any:
    from playwright.sync_api import sync_playwright

    path = shutil.which("chromium") or shutil.which("chromium-browser")
    return sync_playwright().start().chromium.launch(executable_path=path, args=["--no-sandbox", "--disable-gpu"])


_PAGES: dict[float, Any] = {}


def shot(html: str, scale: float, paper: Rgb) -> tuple[Image.Image, list[list[float]]]:
    """A page as the browser shows it, and the left, top, right and bottom of its cells, or of all its text."""
    if scale not in _PAGES:
        _PAGES[scale] = browser().new_page(device_scale_factor=scale, viewport={"width": 900, "height": 600})
    page = _PAGES[scale]
    page.set_content(
        f"<body style='margin:0;background:{css(paper)}'><div id=a style='display:inline-block;background:{css(paper)}'>{html}</div>"
    )
    places = page.evaluate(
        "[...document.querySelectorAll('td, pre, svg, i')].map(e => e.getBoundingClientRect())"
        ".map(r => [r.left, r.top, r.right, r.bottom])"
    )
    boxes = [[scale * value for value in box] for box in places]
    return Image.open(io.BytesIO(page.locator("#a").screenshot())).convert("RGB"), boxes


def between(boxes: list[list[float]], cells: np.ndarray) -> Lines:
    """The lines between boxes, row by row."""
    seen = np.array(boxes).reshape(*cells.shape, 4)
    starts = np.stack([np.append(seen[0, :1, 0] - 1, seen[0, :, 2]), np.append(seen[0, :, 0], seen[0, -1:, 2] + 1)], 1)
    tops = np.stack([np.append(seen[:1, 0, 1] - 1, seen[:, 0, 3]), np.append(seen[:, 0, 1], seen[-1:, 0, 3] + 1)], 1)
    return Lines(starts, tops)


GLYPHS = {
    "dot": "●",
    "cross": "✕",
    "ring": "○",
    "inset": "■",
    "slash": "/",
    "diamond": "◆",
    "triangle": "▲",
    "bar": "|",
    "square": "□",
    "star": "*",
}


def browser_table(random: Random, look: Look) -> Drawn:
    """A table with collapsed borders and bold ones at every n."""

    def side(number: int, count: int) -> str:
        heavy = look.bold and (number - look.phase) % look.bold == 0
        wide, ink = (look.bold_line, look.bold_ink) if heavy else (look.line, look.ink)
        return f"{max(1, round(wide))}px {'dotted' if look.dash[0] and not heavy else 'solid'} {css(ink)}"

    rows, columns = look.cells.shape
    lines = []
    for row in range(rows):
        cells = []
        for column in range(columns):
            code = int(look.cells[row, column])
            style = f"border-left:{side(column, columns)};border-right:{side(column + 1, columns)};border-top:{side(row, rows)};border-bottom:{side(row + 1, rows)}"
            glyph = ""
            if code in look.marks:
                form, colour = look.marks[code]
                style += f";background:{css(colour)}" if form == "fill" else f";color:{css(colour)}"
                glyph = "" if form == "fill" else GLYPHS[form]
            cells.append(f"<td style='{style}'>{glyph}</td>")
        lines.append(f"<tr>{''.join(cells)}</tr>")
    width, height = look.pitch
    sheet = f"td{{width:{width}px;height:{height}px;min-width:{width}px;padding:0;text-align:center;line-height:0;font:{0.6 * min(width, height)}px DejaVu Sans}}"
    table = f"<style>{sheet}</style><table style='border-collapse:collapse;table-layout:fixed;margin:{look.margin}px'>{''.join(lines)}</table>"
    scale = float(random.choice([1, 1, 2, 1.25]))
    image, boxes = shot(table, scale, look.paper)
    lines = between(boxes, look.cells)
    middles = Lines(*(along.mean(axis=1, keepdims=True) for along in lines))
    half = [  # a collapsed border lies half in each of its cells
        np.array([scale * max(1, round(look.bold_line if look.bold and (n - look.phase) % look.bold == 0 else look.line)) / 2
        for n in range(len(along))])[:, None] for along in middles
    ]  # fmt: skip
    return image, Lines(*(np.hstack([along - by, along + by]) for along, by in zip(middles, half, strict=True)))


def matplotlib_mesh(random: Random, look: Look) -> Drawn:
    """A mesh with coloured edges, or an image with its minor grid; numbers at the axes."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot
    from matplotlib.colors import ListedColormap

    rows, columns = look.cells.shape
    px, py = look.pitch
    figure = pyplot.figure(
        figsize=((columns * px + 120) / 100, (rows * py + 120) / 100),
        dpi=100,
        facecolor=tuple(v / 255 for v in look.paper),
    )
    axes = figure.add_axes(
        (
            60 / (columns * px + 120),
            60 / (rows * py + 120),
            columns * px / (columns * px + 120),
            rows * py / (rows * py + 120),
        )
    )
    tones = [look.paper, look.marks[TUCK][1], look.marks[SLIP][1]]
    colours = ListedColormap([tuple(v / 255 for v in tone) for tone in tones])
    line = tuple(v / 255 for v in look.ink)
    if random.random() < 0.5:
        axes.pcolormesh(look.cells[::-1], cmap=colours, vmin=0, vmax=2, edgecolors=line, linewidth=look.line)
        axes.set_xticks(range(0, columns + 1, 5))
    else:
        axes.imshow(look.cells, cmap=colours, vmin=0, vmax=2, interpolation="nearest", aspect="auto")
        axes.set_xticks(np.arange(-0.5, columns), minor=True)
        axes.set_yticks(np.arange(-0.5, rows), minor=True)
        axes.grid(which="minor", color=line, linewidth=look.line)
        axes.tick_params(which="minor", length=0)
    held = io.BytesIO()
    figure.savefig(held, facecolor=figure.get_facecolor())
    pyplot.close(figure)
    lines = Lines.evenly(60, 60, 60 + columns * px, 60 + rows * py, look.cells, look.line / 0.72)
    return Image.open(held).convert("RGB"), lines


def blocks_in_a_terminal(random: Random, look: Look) -> Drawn:
    """Two characters a cell, full blocks and blanks or shades, in a monospaced font."""
    full = str(random.choice(["██", "▓▓", "██"]))
    text = "\n".join("".join("  " if code == KNIT else full for code in row) for row in look.cells.tolist())
    dark = random.random() < 0.5
    paper, ink = ((20, 20, 24), (220, 220, 210)) if dark else ((255, 255, 255), (20, 20, 20))
    size = int(random.integers(11, 20))
    image, (box,) = shot(
        f"<pre style='margin:{look.margin}px;color:{css(ink)};font:{size}px/1.164 DejaVu Sans Mono'>{text}</pre>",
        1,
        paper,
    )
    return image, Lines.evenly(*box, look.cells)


def smooth_pixel_art(random: Random, look: Look) -> Drawn:
    """A pixel a cell, made larger smoothly."""
    rows, columns = look.cells.shape
    tones = np.array([look.paper, look.marks[TUCK][1], look.marks[SLIP][1]], dtype=np.uint8)
    times = float(random.uniform(6, 18))
    way = [Image.Resampling.BILINEAR, Image.Resampling.BICUBIC, Image.Resampling.LANCZOS][int(random.integers(3))]
    size = round(columns * times), round(rows * times)
    return Image.fromarray(tones[look.cells]).resize(size, way), Lines.evenly(0, 0, *size, look.cells)


def pdf_drawing(random: Random, look: Look) -> Drawn:
    """Drawn with reportlab, rasterised with pdfium."""
    import pypdfium2
    from reportlab.pdfgen.canvas import Canvas as Page

    left, top, width, height = size_of(look)
    held = io.BytesIO()
    page = Page(held, pagesize=(width, height))

    def paint(colour: Rgb) -> None:
        page.setFillColorRGB(*(v / 255 for v in colour))

    paint(look.paper)
    page.rect(0, 0, width, height, stroke=0, fill=1)
    (xa, xb), (ya, yb) = places(look, 0), places(look, 1)
    for (row, column), code in np.ndenumerate(look.cells):
        if code not in look.marks:
            continue
        form, colour = look.marks[int(code)]
        paint(colour)
        page.setStrokeColorRGB(*(v / 255 for v in colour))
        x0, x1 = left + (xa[column] + xb[column]) / 2, left + (xa[column + 1] + xb[column + 1]) / 2
        y0, y1 = height - top - (ya[row] + yb[row]) / 2, height - top - (ya[row + 1] + yb[row + 1]) / 2
        mid_x, mid_y, side = (x0 + x1) / 2, (y0 + y1) / 2, min(x1 - x0, y0 - y1)
        if form == "fill":
            page.rect(x0, y1, x1 - x0, y0 - y1, stroke=0, fill=1)
        elif form in ("slash", "bar", "star"):
            page.setLineWidth(0.12 * side)
            r = 0.34 * side
            if form != "bar":
                page.line(mid_x - r, mid_y - r, mid_x + r, mid_y + r)
            if form != "slash":
                page.line(mid_x, mid_y - r, mid_x, mid_y + r)
        elif form == "square":
            page.setLineWidth(0.1 * side)
            page.rect(mid_x - 0.28 * side, mid_y - 0.28 * side, 0.56 * side, 0.56 * side)
        else:
            page.circle(mid_x, mid_y, 0.3 * side, stroke=0, fill=1)
    for x0, y0, x1, y1, colour in lines_of(look):
        paint(colour)
        page.rect(left + x0, height - top - y1, x1 - x0, y1 - y0, stroke=0, fill=1)
    page.showPage()
    page.save()
    scale = float(random.choice([1, 1.37, 2]))
    image: Image.Image = pypdfium2.PdfDocument(held.getvalue())[0].render(scale=scale).to_pil().convert("RGB")
    return image, ruled(look, left, top).moved(scale)


def svg_in_a_browser(random: Random, look: Look) -> Drawn:
    left, top, width, height = size_of(look)
    (xa, xb), (ya, yb) = places(look, 0), places(look, 1)
    parts = []
    for (row, column), code in np.ndenumerate(look.cells):
        if code not in look.marks:
            continue
        form, colour = look.marks[int(code)]
        x0, x1 = left + (xa[column] + xb[column]) / 2, left + (xa[column + 1] + xb[column + 1]) / 2
        y0, y1 = top + (ya[row] + yb[row]) / 2, top + (ya[row + 1] + yb[row + 1]) / 2
        x, y, side = (x0 + x1) / 2, (y0 + y1) / 2, min(x1 - x0, y1 - y0)
        if form == "fill":
            parts.append(f"<rect x='{x0}' y='{y0}' width='{x1 - x0}' height='{y1 - y0}' fill='{css(colour)}'/>")
        elif form == "slash":
            parts.append(
                f"<path d='M{x - side * 0.35} {y + side * 0.35}L{x + side * 0.35} {y - side * 0.35}' stroke-width='{side * 0.12}' stroke='{css(colour)}'/>"
            )
        elif form == "triangle":
            parts.append(
                f"<path d='M{x} {y - side * 0.35}l{side * 0.35} {side * 0.65}h{-side * 0.7}z' fill='{css(colour)}'/>"
            )
        elif form == "diamond":
            parts.append(
                f"<path d='M{x} {y - side * 0.38}l{side * 0.35} {side * 0.38}l{-side * 0.35} {side * 0.38}l{-side * 0.35} {-side * 0.38}z' fill='{css(colour)}'/>"
            )
        else:
            parts.append(
                f"<text x='{x}' y='{y + side * 0.28}' font-size='{side * 0.8}' text-anchor='middle' font-family='DejaVu Sans' fill='{css(colour)}'>{GLYPHS[form]}</text>"
            )
    for x0, y0, x1, y1, colour in lines_of(look):
        parts.append(
            f"<rect x='{left + x0}' y='{top + y0}' width='{x1 - x0}' height='{y1 - y0}' fill='{css(colour)}'/>"
        )
    svg = f"<svg width='{width}' height='{height}' style='display:block'>{''.join(parts)}</svg>"
    scale = float(random.choice([1, 1.5, 2]))
    return shot(svg, scale, look.paper)[0], ruled(look, left, top).moved(scale)


def css_grid(random: Random, look: Look) -> Drawn:
    """Boxes with gaps between them, the gaps showing what lies behind: the lines of a page built of boxes."""
    gap = max(1, round(look.line))
    width, height = (max(6, round(value)) for value in look.pitch)
    boxes = []
    for code in look.cells.ravel().tolist():
        form, colour = look.marks.get(code, ("fill", look.paper))
        glyph = "" if form == "fill" else GLYPHS[form]
        style = f"background:{css(colour)}" if form == "fill" else f"background:{css(look.paper)};color:{css(colour)}"
        boxes.append(f"<i style='{style}'>{glyph}</i>")
    sheet = f"i{{font:normal {0.6 * min(width, height)}px/{height}px DejaVu Sans;text-align:center;overflow:hidden}}"
    grid = f"<style>{sheet}</style><div style='margin:{look.margin}px'><div style='display:inline-grid;background:{css(look.ink)};padding:{gap}px;gap:{gap}px;grid:repeat({look.cells.shape[0]},{height}px)/repeat({look.cells.shape[1]},{width}px)'>{''.join(boxes)}</div></div>"
    image, boxes = shot(grid, float(random.choice([1, 2])), look.paper)
    return image, between(boxes, look.cells)


def matplotlib_scatter(random: Random, look: Look) -> Drawn:
    """Markers over lines of the plot's grid, bold ones at every n."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    rows, columns = look.cells.shape
    px, py = (max(12.0, value) for value in look.pitch)
    wide, high = columns * px + 100, rows * py + 100
    figure = pyplot.figure(figsize=(wide / 100, high / 100), dpi=100, facecolor=tuple(v / 255 for v in look.paper))
    axes = figure.add_axes((50 / wide, 50 / high, columns * px / wide, rows * py / high))
    axes.set_xlim(0, columns)
    axes.set_ylim(0, rows)
    axes.set_facecolor(figure.get_facecolor())
    for number in range(columns + 1):
        axes.axvline(
            number, color=tuple(v / 255 for v in look.ink), lw=1.6 if look.bold and number % look.bold == 0 else 0.7
        )
    for number in range(rows + 1):
        axes.axhline(
            number, color=tuple(v / 255 for v in look.ink), lw=1.6 if look.bold and number % look.bold == 0 else 0.7
        )
    for code, (_, colour) in look.marks.items():
        y, x = np.nonzero(look.cells[::-1] == code)
        axes.scatter(
            x + 0.5,
            y + 0.5,
            s=(0.5 * min(px, py) * 0.72) ** 2,
            marker=str(look.phase or "s") if look.phase else "s",
            color=tuple(v / 255 for v in colour),
            zorder=3,
        )
    if random.random() < 0.5:
        axes.set_xticks([])
        axes.set_yticks([])
    held = io.BytesIO()
    figure.savefig(held, facecolor=figure.get_facecolor())
    pyplot.close(figure)
    lines = Lines.evenly(50, 50, 50 + columns * px, 50 + rows * py, look.cells, 1.6 / 0.72)
    return Image.open(held).convert("RGB"), lines


def halftone_terminal(random: Random, look: Look) -> Drawn:
    """Block characters of other shades, two a cell, ink on a coloured page."""
    full = str(random.choice(["██", "▇▇", "██"]))
    text = "\n".join("".join("  " if code == KNIT else full for code in row) for row in look.cells.tolist())
    paper, ink = [((0, 43, 54), (238, 232, 213)), ((253, 246, 227), (40, 60, 70)), ((0, 0, 0), (0, 255, 80))][
        int(random.integers(3))
    ]
    size = int(random.integers(12, 22))
    image, (box,) = shot(
        f"<pre style='margin:{look.margin}px;color:{css(ink)};font:{size}px/1.2 DejaVu Sans Mono'>{text}</pre>",
        float(random.choice([1, 1.5])),
        paper,
    )
    return image, Lines.evenly(*box, look.cells)


# -- what happens to them afterwards --------------------------------------------------------------------------------


def light(random: Random, values: np.ndarray, depth: float, hard: bool) -> np.ndarray:
    """Uneven light: a slope, a lamp, and in the held-out half the edge of a shadow."""
    height, width = values.shape[:2]
    y, x = np.mgrid[0:height, 0:width]
    u, v = x / width - random.uniform(0.2, 0.8), y / height - random.uniform(0.2, 0.8)
    fall = depth * np.clip(u * u + v * v + 0.4 * u, 0, 1.2)
    if hard:
        edge = np.cos(random.uniform(0, 6.3)) * (u - 0.1) + np.sin(random.uniform(0, 6.3)) * v
        fall = fall + 0.3 * depth / (1 + np.exp(-edge * 25))
    return np.asarray(values * (1 - np.clip(fall, 0, 0.75))[..., None])


def jpeg(image: Image.Image, quality: int) -> bytes:
    held = io.BytesIO()
    image.save(held, "JPEG", quality=quality)
    return held.getvalue()


def scanned(random: Random, image: Image.Image, paper: Rgb, hard: bool) -> tuple[bytes, np.ndarray]:
    """The picture, and the projection from the drawing to it."""
    scale = 2 if min(image.size) < 500 else 1
    if scale == 2:
        image = image.resize((image.width * 2, image.height * 2), Image.Resampling.BICUBIC)
    around = Image.new("RGB", (image.width + 60, image.height + 60), paper)
    around.paste(image, (30, 30))
    degrees = float(random.uniform(-2.5, 2.5))
    turned = around.rotate(degrees, Image.Resampling.BICUBIC, expand=True, fillcolor=paper)
    soft = turned.filter(ImageFilter.GaussianBlur(float(random.uniform(0.3, 1.2))))
    values = light(random, np.asarray(soft).astype(float), float(random.uniform(0, 0.25)), False)
    values += random.normal(0, random.uniform(1, 9), values.shape[:2])[..., None]
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    about = shift(turned.width / 2, turned.height / 2) @ np.array([[cos, sin, 0], [-sin, cos, 0], [0, 0, 1]])
    way = about @ shift(30 - around.width / 2, 30 - around.height / 2, scale)
    return jpeg(Image.fromarray(values.clip(0, 255).astype(np.uint8)), int(random.integers(45, 92))), way


def shift(x: float, y: float, times: float = 1) -> np.ndarray:
    return np.array([[times, 0, x], [0, times, y], [0, 0, 1]])


def photographed(random: Random, image: Image.Image, paper: Rgb, hard: bool) -> tuple[bytes, np.ndarray]:
    """The picture, and the projection from the drawing to it."""
    scale = max(1.0, 700 / min(image.size))
    image = image.resize((round(image.width * scale), round(image.height * scale)), Image.Resampling.BICUBIC)
    width, height = image.size
    room = 90
    sheet = Image.new("RGB", (width + 2 * room, height + 2 * room), (140, 110, 85))
    sheet.paste(paper, (room // 2, room // 2, width + 3 * room // 2, height + 3 * room // 2))
    sheet.paste(image, (room, room))
    w, h = sheet.size
    lean = 0.07 if not hard else 0.08
    seen = np.array([(0, 0), (w, 0), (w, h), (0, h)]) + random.uniform(-lean, lean, (4, 2)) * (w, h)
    rows, wanted = [], []
    for (x, y), (u, v) in zip(seen.tolist(), ((0, 0), (w, 0), (w, h), (0, h)), strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        wanted += [u, v]
    back = np.linalg.solve(np.array(rows), np.array(wanted))
    photo = sheet.transform(
        (w, h), Image.Transform.PERSPECTIVE, back.tolist(), Image.Resampling.BICUBIC, fillcolor=(140, 110, 85)
    )
    photo = photo.filter(ImageFilter.GaussianBlur(float(random.uniform(0.4, 1.3))))
    values = light(random, np.asarray(photo).astype(float), float(random.uniform(0.1, 0.5)), hard)
    values *= np.array([1.0, random.uniform(0.9, 1), random.uniform(0.8, 1)])
    values += random.normal(0, random.uniform(1, 6), values.shape)
    way = np.linalg.inv(np.append(back, 1).reshape(3, 3)) @ shift(room, room, scale)
    return jpeg(Image.fromarray(values.clip(0, 255).astype(np.uint8)), int(random.integers(60, 92))), way


def pencilled(random: Random, look: Look, hard: bool) -> Drawn:
    """Printed graph paper, its cells filled by hand with strokes of changing strength, or crossed by hand."""
    px = max(16.0, look.pitch[0])
    pale: Rgb = ((150, 190, 215), (170, 200, 170), (185, 185, 185), (215, 165, 140))[int(random.integers(4))]
    look = look._replace(pitch=(px, px), ink=pale, bold_ink=tuple(max(0, v - 40) for v in pale), dash=(0.0, 0.0), line=1.0,
        bold=int(random.choice([0, 5, 10])), bold_line=float(random.choice([1.5, 2, 3])), adds=False, paper=(252, 250, 244), margin=30, lettered=False)  # fmt: skip
    image, lines = painted(random, look._replace(cells=look.cells * 0))
    scale = 3
    pixels = np.asarray(image.resize((image.width * scale, image.height * scale), Image.Resampling.NEAREST)).astype(
        float
    )
    left, top, _, _ = size_of(look)
    xs, ys = (np.mean(places(look, axis), axis=0) for axis in (0, 1))
    from PIL import ImageDraw

    layer = Image.new("L", (pixels.shape[1], pixels.shape[0]), 0)
    pen = ImageDraw.Draw(layer)
    crossed = random.random() < 0.4
    for row, column in np.argwhere(look.cells != KNIT).tolist():
        x0, x1 = scale * (left + xs[column]), scale * (left + xs[column + 1])
        y0, y1 = scale * (top + ys[row]), scale * (top + ys[row + 1])
        side = x1 - x0
        strength = int(random.uniform(110, 235))

        def jog(side: float = side) -> float:
            return float(random.normal(0, 0.05) * side)

        if crossed:
            wide = int(random.integers(3, 6))
            inset = 0.2 * side
            pen.line(
                (x0 + inset + jog(), y0 + inset + jog(), x1 - inset + jog(), y1 - inset + jog()),
                fill=strength,
                width=wide,
            )
            pen.line(
                (x0 + inset + jog(), y1 - inset + jog(), x1 - inset + jog(), y0 + inset + jog()),
                fill=strength,
                width=wide,
            )
            continue
        steps = int(random.integers(5, 8)) if not hard else int(random.integers(6, 10))
        for t in np.linspace(0.1, 0.9, steps).tolist():
            shift = t * side
            if hard:
                line = (x0 + 0.1 * side + jog(), y0 + shift + jog(), x1 - 0.1 * side + jog(), y0 + shift + jog())
            else:
                line = (x0 + shift + jog(), y0 + 0.1 * side + jog(), x0 + shift + jog(), y1 - 0.1 * side + jog())
            pen.line(line, fill=min(255, int(strength + random.normal(0, 25))), width=int(random.integers(4, 8)))
    grain = random.uniform(0.55, 1.0, pixels.shape[:2])
    part = np.asarray(layer.filter(ImageFilter.GaussianBlur(1.2))) / 255 * grain
    pixels += part[..., None] * (np.array([62, 62, 68]) - pixels)
    return Image.fromarray(pixels.clip(0, 255).astype(np.uint8)).resize(image.size, Image.Resampling.LANCZOS), lines


# -- the cases ------------------------------------------------------------------------------------------------------

Draw = Callable[[Random, Look], Drawn]
TOOLS: dict[str, dict[str, Draw]] = {
    "tune": {
        "coverage rasteriser": painted,
        "browser table": browser_table,
        "matplotlib mesh": matplotlib_mesh,
        "terminal blocks": blocks_in_a_terminal,
        "smoothly enlarged pixels": smooth_pixel_art,
    },
    "held": {
        "PDF drawing": pdf_drawing,
        "SVG in a browser": svg_in_a_browser,
        "boxes with gaps in a browser": css_grid,
        "matplotlib markers": matplotlib_scatter,
        "coloured terminal": halftone_terminal,
    },
}
_UNLINED = {"terminal blocks", "coloured terminal", "smoothly enlarged pixels"}
_TWO_KINDS = {"terminal blocks", "coloured terminal"}


def one_case(half: str, number: int) -> Case:
    """The case of that number."""
    (case,) = cases(half, 1, number)
    return case


def cases(half: str, count: int, first: int = 0) -> Iterator[Case]:
    """So many cases, the same for the same numbers: of nine three are clean, two of one tool each, two scans, a photo
    and a pencil."""
    names = list(TOOLS[half])
    for number in range(first, first + count):
        random = np.random.default_rng([zlib.crc32(half.encode()), number])
        look = a_look(random, half)
        turn = number % 9
        name = names[0] if turn in (0, 5) else names[1 + (number // 9 + turn) % (len(names) - 1)]
        if turn in (5, 6, 7, 8):
            name = names[number // 9 % 2]
        if name in _TWO_KINDS or turn == 8:
            look = look._replace(cells=np.where(look.cells == SLIP, TUCK, look.cells))
        if name in ("matplotlib mesh", "smoothly enlarged pixels"):
            look = look._replace(marks={code: ("fill", tone) for code, (_, tone) in look.marks.items()})
        if name in _UNLINED:  # without lines, the outermost marks are the chart's edges
            cells = look.cells.copy()
            cells[0, 1] = cells[-1, 2] = cells[1, 0] = cells[2, -1] = TUCK
            look = look._replace(cells=cells)
        kind = ("clean", "clean", "clean", "clean", "clean", "scan", "scan", "photo", "pencil")[turn]
        ask = Ask(key=said(look, half), repeat="whole")
        hard = half == "held"
        if kind == "clean":
            image, lines = TOOLS[half][name](random, look)
            if name in _TWO_KINDS:
                page = np.median(np.asarray(image.convert("RGB")).reshape(-1, 3), axis=0)
                dark = bool(page.sum() < 300)
                ask = Ask(key=Key(dark=KNIT, light=TUCK) if dark else Key(dark=TUCK), repeat="whole")
            yield Case(kind, name, png(image), rows_of(look.cells), ask, lines)
            continue
        if sum(look.paper) < 300:  # nobody prints dark pages
            tones = {"tune": ((0, 0, 0), (210, 140, 30)), "held": ((25, 25, 25), (60, 150, 220))}[half]
            look = look._replace(paper=(255, 255, 255), ink=(120, 120, 120), bold_ink=(40, 40, 40),
                marks={TUCK: (look.marks[TUCK][0], tones[0]), SLIP: (look.marks[SLIP][0], tones[1])})  # fmt: skip
        look = look._replace(pitch=tuple(max(13.0, value) for value in look.pitch))
        ask = Ask(key=said(look, half), repeat="whole")
        spoil = scanned if kind == "scan" or (kind == "pencil" and number // 9 % 2) else photographed
        if kind == "pencil":
            name, ask = "filled or crossed by hand", Ask(key=Key(dark=TUCK), repeat="whole")
            (image, lines), paper = pencilled(random, look, hard), (252, 250, 244)
        else:
            (image, lines), paper = TOOLS[half][name](random, look), look.paper
        data, way = spoil(random, image, paper, hard)
        yield Case(kind, name, data, rows_of(look.cells), ask, lines, way)


OUTCOMES = ("right", "silent", "warned", "refused")


def outcome(case: Case) -> tuple[str, str]:
    """How a case came back, and why not."""
    try:
        traced = trace(case.data, "chart", case.ask)
    except Refused as refused:
        return "refused", f"{refused.messages[0].code} {refused.messages[0].text}"
    if traced.whole.rows() == case.rows:
        return "right", ""
    truth = np.array([list(row) for row in case.rows])
    read = np.array([list(row) for row in traced.whole.rows()])
    warned = [message for message in traced.messages if message.severity == "warning"]
    if read.shape != truth.shape:
        return (
            "warned" if any(one.code != "T806" for one in warned) else "silent"
        ), f"size {read.shape[::-1]} for {truth.shape[::-1]}; {traced.how[:90]}"
    missed = (read != truth) & (traced.certainty >= case.ask.sure)
    told = not missed.any() or any(one.code not in ("T806",) for one in warned)
    return (
        "warned" if told else "silent"
    ), f"{int((read != truth).sum())} cells, {int(missed.sum())} silently; {traced.how[:90]}"


def table(half: str, seen: Counter[tuple[str, str]], styles: Counter[tuple[str, str]]) -> Iterator[str]:
    """Right, silently wrong, wrong with a warning and refused, by kind and by tool."""
    yield f"{half:40}{'pictures':>10}" + "".join(f"{name:>9}" for name in OUTCOMES) + f"{'right %':>9}"
    for counts in (seen, styles):
        for name in dict.fromkeys(name for name, _ in sorted(counts)):
            values = [counts[name, one] for one in OUTCOMES]
            yield (
                f"{name:40}{sum(values):>10}"
                + "".join(f"{value:>9}" for value in values)
                + f"{100 * values[0] / sum(values):>9.1f}"
            )


def main(half: str, count: int, first: int, keep: Path | None) -> None:
    seen: Counter[tuple[str, str]] = Counter()
    styles: Counter[tuple[str, str]] = Counter()
    for number, case in enumerate(cases(half, count, first), first):
        result, why = outcome(case)
        seen[case.kind, result] += 1
        seen["together", result] += 1
        styles[f"  {case.kind}, {case.style}", result] += 1
        if result != "right":
            print(f"{number} {case.kind}, {case.style}: {result}: {why}", flush=True)
            if keep:
                keep.mkdir(parents=True, exist_ok=True)
                (keep / f"{number}-{result}.img").write_bytes(case.data)
    print("\n".join(table(half, seen, styles)))


if __name__ == "__main__":
    words = [word for word in sys.argv[1:] if not word.startswith("--")]
    kept = Path(sys.argv[sys.argv.index("--to") + 1]) if "--to" in sys.argv else None
    main(words[0], int(words[1]), int(words[2]) if len(words) > 2 and words[2].isdigit() else 0, kept)

"""Further charts as other people draw them, to tune on: markers of plots, coloured terminals, letters in cells, marks
of nearly one colour, and two charts in one picture.

`python tests/trace/further.py markers 40 91000` makes so many of one kind and prints how they came back, as
`elsewhere.py` does; `all` makes them of each kind. `--to DIR` keeps the pictures that did not come back.
"""

from __future__ import annotations

import io
import sys
import zlib
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Final

import numpy as np
from elsewhere import Case, Random, Rgb, chosen_cells, css, outcome, png, rows_of, shot, table
from PIL import Image, ImageDraw, ImageFont

from stitchc.chart import KNIT, SLIP, TUCK
from stitchc.trace import Ask, Key

WHOLE: Final = "whole"


def a_chart(random: Random, kinds: tuple[int, ...], rim: bool) -> np.ndarray:
    """Codes, top row first, with each kind in them. rim: whether marks stand at all four sides."""
    columns, rows = int(random.integers(7, 34)), int(random.integers(7, 34))
    share = float(random.choice([0.15, 0.3, 0.5, 0.8]))
    weights = np.array([1 - share, *[share / (len(kinds) - 1)] * (len(kinds) - 1)])
    repeat = (int(random.integers(2, 9)), int(random.integers(2, 9))) if random.random() < 0.5 else None
    cells = chosen_cells(random, kinds, weights, (rows, columns), repeat)
    if rim:
        cells[0, 1] = cells[-1, 2] = cells[1, 0] = cells[2, -1] = TUCK
    return cells.astype(np.uint8)


def unit(colour: Rgb) -> tuple[float, ...]:
    return tuple(value / 255 for value in colour)


def markers(random: Random) -> Case:
    """Markers in the plot of a library: on its grid, within its frame alone, or with nothing around them."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    around = str(random.choice(["grid", "grid", "bold", "frame", "nothing"]))
    kinds = (KNIT, TUCK) if random.random() < 0.6 else (KNIT, TUCK, SLIP)
    cells = a_chart(random, kinds, around in ("frame", "nothing"))
    rows, columns = cells.shape
    px = float(random.uniform(11, 26))
    py = px * float(random.choice([1, 1, 0.7, 0.8, 1.3]))
    wide, high = columns * px + 90, rows * py + 90
    dark = random.random() < 0.2
    paper, line = ((28, 30, 36), (95, 100, 110)) if dark else ((255, 255, 255), (176, 176, 176))
    tones = {TUCK: (235, 235, 220), SLIP: (240, 150, 50)} if dark else {TUCK: (31, 60, 140), SLIP: (220, 110, 20)}
    figure = pyplot.figure(figsize=(wide / 100, high / 100), dpi=100, facecolor=unit(paper))
    axes = figure.add_axes((45 / wide, 45 / high, columns * px / wide, rows * py / high), facecolor=unit(paper))
    axes.set(xlim=(0, columns), ylim=(0, rows))
    axes.set_xticks(range(columns + 1), [])
    axes.set_yticks(range(rows + 1), [])
    axes.tick_params(length=0)
    axes.set_axisbelow(True)
    if around in ("grid", "bold"):
        axes.grid(True, color=unit(line), lw=float(random.choice([0.5, 0.8, 1.0])))
    if around == "bold":
        for number in range(0, columns + 1, 5):
            axes.axvline(number, color=unit(line), lw=1.8)
        for number in range(0, rows + 1, 5):
            axes.axhline(number, color=unit(line), lw=1.8)
    if around == "nothing":
        axes.axis("off")
    form = str(random.choice(["o", "s", "D", "^", "x", "P", "X", "h", "v", "d", "*"]))
    part = float(random.uniform(0.45, 0.8))
    for code, tone in tones.items():
        y, x = np.nonzero(cells[::-1] == code)
        size = part * min(px, py) * 0.72
        axes.plot(x + 0.5, y + 0.5, ls="", marker=form, ms=size, color=unit(tone), mew=max(0.6, size / 8))
    drawn = io.BytesIO()
    figure.savefig(drawn, facecolor=figure.get_facecolor())
    pyplot.close(figure)
    colours = ((paper, KNIT), *((tones[code], code) for code in kinds[1:]))
    key = Key(dark=TUCK) if len(kinds) == 2 and not dark else Key(colours=colours)
    return Case("markers", f"{around}, {form}", drawn.getvalue(), rows_of(cells), Ask(key=key, repeat=WHOLE))


THEMES: Final[tuple[tuple[Rgb, Rgb, Rgb], ...]] = (
    ((30, 30, 46), (205, 214, 244), (249, 150, 100)),
    ((255, 255, 255), (0, 0, 0), (200, 40, 40)),
    ((40, 44, 52), (120, 200, 120), (220, 120, 120)),
    ((250, 244, 230), (90, 110, 120), (200, 80, 20)),
    ((12, 12, 12), (204, 204, 204), (60, 120, 220)),
    ((48, 10, 36), (240, 240, 240), (140, 220, 60)),
)


def terminals(random: Random) -> Case:
    """Two characters a cell in a terminal of any theme: blocks, shades, or blanks on a coloured ground."""
    paper, ink, other = THEMES[int(random.integers(len(THEMES)))]
    way = str(random.choice(["blocks", "shades", "grounds", "three grounds", "two inks"]))
    kinds = (KNIT, TUCK, SLIP) if way in ("three grounds", "two inks") else (KNIT, TUCK)
    cells = a_chart(random, kinds, True)
    full = {"blocks": "██", "two inks": "██", "shades": str(random.choice(["▒▒", "░░", "▓▓"]))}.get(way, "  ")
    ground = way in ("grounds", "three grounds")

    def cell(code: int) -> str:
        if code == KNIT:
            return "  "
        tone = css(ink if code == TUCK else other)
        return f"<span style='{'background' if ground else 'color'}:{tone}'>{full}</span>"

    text = "\n".join("".join(cell(code) for code in row) for row in cells.tolist())
    size, high = int(random.integers(11, 22)), float(random.choice([1.164, 1.2, 1.2, 1.3]))
    if ground:  # a terminal leaves no gap between the grounds of two lines
        text, high = f"<style>span{{display:inline-block;height:{high}em}}</style>{text}", high
    margin = int(random.choice([0, 8, 20]))
    image, _ = shot(
        f"<pre style='margin:{margin}px;color:{css(ink)};font:{size}px/{high} DejaVu Sans Mono'>{text}</pre>",
        float(random.choice([1, 1, 1.5, 2])),
        paper,
    )
    colours = [(paper, KNIT), (ink, TUCK), (other, SLIP)][: len(kinds)]
    dark = sum(paper) < sum(ink)
    plain = Key(dark=KNIT, light=TUCK) if dark else Key(dark=TUCK)
    key = plain if len(kinds) == 2 and way != "shades" else Key(colours=tuple(colours))
    if way == "shades":
        key = plain
    return Case("terminals", f"{way} {full}", png(image), rows_of(cells), Ask(key=key, repeat=WHOLE))


LETTERS: Final = (
    ("K", "T", "S"),
    ("k", "t", "s"),
    (".", "T", "S"),
    ("", "T", "S"),
    ("-", "v", "/"),
    ("", "x", "o"),
    (".", "x", "o"),
    ("", "/", "\\"),
    ("|", "-", "o"),
    ("", "v", "^"),
    ("o", "x", "s"),
    ("", "t", "."),
)


def letters(random: Random) -> Case:
    """A letter or sign in each cell, written in a table; the user gives an example of each."""
    cells = a_chart(random, (KNIT, TUCK, SLIP), False)
    signs = LETTERS[int(random.integers(len(LETTERS)))]
    px = float(random.uniform(15, 30))
    line = css([(120, 120, 120), (190, 190, 190), (40, 40, 40)][int(random.integers(3))])
    face = str(random.choice(["DejaVu Sans", "DejaVu Sans Mono", "DejaVu Serif"]))
    body = "".join(
        f"<tr>{''.join(f'<td>{signs[code]}</td>' for code in row)}</tr>" for row in cells.tolist()
    )  # fmt: skip
    sheet = (
        f"td{{width:{px}px;height:{px}px;min-width:{px}px;padding:0;border:1px solid {line};text-align:center;"
        f"line-height:1;font:{float(random.uniform(0.55, 0.75)) * px}px {face};color:rgb(20,20,20)}}"
    )
    page = (
        f"<style>{sheet}</style><table style='border-collapse:collapse;table-layout:fixed;margin:20px'>{body}</table>"
    )
    image, _ = shot(page, float(random.choice([1, 1.5, 2])), (255, 255, 255))
    alike = []
    for code in (KNIT, TUCK, SLIP):
        row, column = np.argwhere(cells[::-1] == code)[0].tolist()
        alike.append(((row + 1, column + 1), code))
    name = " ".join(sign or "blank" for sign in signs)
    return Case("letters", name, png(image), rows_of(cells), Ask(key=Key(alike=tuple(alike)), repeat=WHOLE))


def tones(random: Random) -> Case:
    """Marks in two dark colours that are nearly one, of which the user says that dark is one kind."""
    cells = a_chart(random, (KNIT, TUCK), False)
    dark = np.array([(20, 30, 60), (60, 60, 60), (90, 40, 30), (20, 70, 40)][int(random.integers(4))])
    other = np.clip(dark + random.integers(25, 60, 3) * random.choice([1, 0, -1], 3), 0, 140)
    step, left = int(random.integers(14, 26)), 20
    rows, columns = cells.shape
    image = Image.new("RGB", (columns * step + 2 * left + 1, rows * step + 2 * left + 1), (255, 255, 255))
    pen = ImageDraw.Draw(image)
    dot = random.random() < 0.4
    for row, column in np.argwhere(cells == TUCK).tolist():
        tone = tuple(int(value) for value in (dark if random.random() < 0.6 else other))
        box = [left + column * step, left + row * step, left + (column + 1) * step, left + (row + 1) * step]
        if dot:
            pen.ellipse([box[0] + 4, box[1] + 4, box[2] - 4, box[3] - 4], fill=tone)
        else:
            pen.rectangle(box, fill=tone)
    for number in range(columns + 1):
        pen.line((left + number * step, left, left + number * step, left + rows * step), fill=(150, 150, 150))
    for number in range(rows + 1):
        pen.line((left, left + number * step, left + columns * step, left + number * step), fill=(150, 150, 150))
    return Case("tones", "dots" if dot else "fills", png(image), rows_of(cells), Ask(key=Key(dark=TUCK), repeat=WHOLE))


def ruled(image: Image.Image, cells: np.ndarray, step: int, left: int, top: int, mark: str) -> None:
    """A chart of filled or dotted squares drawn into a picture."""
    pen = ImageDraw.Draw(image)
    rows, columns = cells.shape
    for row, column in np.argwhere(cells == TUCK).tolist():
        x, y = left + column * step, top + row * step
        if mark == "fill":
            pen.rectangle((x, y, x + step, y + step), fill=(30, 30, 30))
        else:
            pen.ellipse((x + 4, y + 4, x + step - 4, y + step - 4), fill=(30, 30, 30))
    for number in range(columns + 1):
        pen.line((left + number * step, top, left + number * step, top + rows * step), fill=(130, 130, 130))
    for number in range(rows + 1):
        pen.line((left, top + number * step, left + columns * step, top + number * step), fill=(130, 130, 130))


def pairs(random: Random) -> Case:
    """Two charts in one picture, side by side or one over the other; to be refused."""
    first, second = a_chart(random, (KNIT, TUCK), False), a_chart(random, (KNIT, TUCK), False)
    step = int(random.integers(12, 22))
    other = step if random.random() < 0.6 else int(random.integers(12, 22))
    gap = int(random.choice([step, 2 * step, 3 * step, int(random.integers(8, 60))]))
    beside = random.random() < 0.5
    if random.random() < 0.5:  # as wide or as high as each other
        rows, columns = (min(sizes) for sizes in zip(first.shape, second.shape, strict=True))
        first, second = first[:rows, :columns], second[:rows, :columns]
    size = [20 + first.shape[1] * step, 20 + first.shape[0] * step]
    place = (size[0] + gap, 20) if beside else (20, size[1] + gap)
    wide = max(size[0], place[0] + second.shape[1] * other) + 21
    high = max(size[1], place[1] + second.shape[0] * other) + 21
    image = Image.new("RGB", (wide, high), (255, 255, 255))
    mark = str(random.choice(["fill", "dot"]))
    ruled(image, first, step, 20, 20, mark)
    ruled(image, second, other, *place, mark)
    if random.random() < 0.3:
        ImageDraw.Draw(image).text(place, "B", fill=(0, 0, 0), font=ImageFont.load_default())
    style = f"{'beside' if beside else 'below'}, {'same' if step == other else 'other'} cells"
    return Case("pairs", style, png(image), [], Ask(key=Key(dark=TUCK), repeat=WHOLE))


KINDS: Final[dict[str, Callable[[Random], Case]]] = {
    "markers": markers,
    "terminals": terminals,
    "letters": letters,
    "tones": tones,
    "pairs": pairs,
}


def one_case(kind: str, number: int) -> Case:
    """The case of that kind and number."""
    return KINDS[kind](np.random.default_rng([zlib.crc32(kind.encode()), number]))


def main(names: list[str], count: int, first: int, keep: Path | None) -> None:
    seen: Counter[tuple[str, str]] = Counter()
    styles: Counter[tuple[str, str]] = Counter()
    for kind in names:
        for number in range(first, first + count):
            case = one_case(kind, number)
            result, why = outcome(case)
            seen[kind, result] += 1
            styles[f"  {kind}, {case.style}", result] += 1
            if (result == "right") != bool(case.rows) or not case.rows:
                print(f"{number} {kind}, {case.style}: {result}: {why}", flush=True)
            if result != "right" and keep:
                keep.mkdir(parents=True, exist_ok=True)
                (keep / f"{kind}-{number}-{result}.png").write_bytes(case.data)
    print("\n".join(table("tune", seen, styles)))


if __name__ == "__main__":
    words = [word for word in sys.argv[1:] if not word.startswith("--")]
    kept = Path(sys.argv[sys.argv.index("--to") + 1]) if "--to" in sys.argv else None
    main(list(KINDS) if words[0] == "all" else [words[0]], int(words[1]), int(words[2]), kept)

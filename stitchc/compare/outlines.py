"""The right half of the comparison: the same needles and rows of each stitch in outline, to scale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from stitchc.compare.look import DPI, GREY, INK, KINDS, LONGEST_TITLE, MM, SIZE_MM, all_known, kind_of
from stitchc.compare.table import Compared
from stitchc.messages import visible

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SCALES: Final = (5, 6, 8, 10, 12, 15, 18, 20, 22, 25, 30, 40, 50, 75, 100, 150, 200)
_MOST_OUTLINES: Final = 60


def outlines(figure: Figure, lines: Sequence[Compared], units: str) -> None:
    """Draw them; more than there is room for are counted in the note."""
    left, bottom, width, height = 212.0, 20.0, 193.0, 232.0
    axes = figure.add_axes((left / SIZE_MM[0], bottom / SIZE_MM[1], width / SIZE_MM[0], height / SIZE_MM[1]))
    axes.set_xlim(0, width)
    axes.set_ylim(0, height)
    axes.set_axis_off()
    shown = list(lines[:_MOST_OUTLINES])
    known = all_known(lines)
    sizes = [_piece_mm(line, known) for line in shown]
    plain = [_plain_mm(line, known) for line in shown]
    widest = max([size[2] for size in sizes] + [wide for wide, _ in plain])
    longest = max([size[5] for size in sizes] + [long for _, long in plain])
    scale, columns, cell, row_height = _fit(len(shown), widest, longest, width, height - 16)
    unit = "cm" if units == "cm" else "in"
    head = f"100 needles by 100 rows of each, 1 : {scale} on A3" if known else "The same needles and rows of each"
    axes.text(0, height, head, size=12, weight="bold", va="top")
    note = "dashed: stocking stitch" + (
        f"; {len(lines) - len(shown)} more not drawn" if len(lines) > len(shown) else ""
    )
    axes.text(0, height - 6.5, note, size=10, va="top", color="#444444")
    small = cell < 42
    for at, (line, size) in enumerate(zip(shown, sizes, strict=True)):
        x, top = (at % columns) * cell, height - 14 - (at // columns) * row_height
        _outline(axes, at + 1, line, size, (x, top), scale, unit, known, cell, small)
    _scale_bar(axes, scale, width, known, units)


def _piece_mm(line: Compared, known: bool) -> tuple[float, float, float, float, float, float]:
    """Width and length of the piece in mm, each as value, low, high; without a gauge, 500 x 360 over the factors."""
    size = line.size_cm if known else None
    if size is None:
        assert line.gauge.stitch_factor is not None and line.gauge.row_factor is not None
        wide, long = line.gauge.stitch_factor.under(500), line.gauge.row_factor.under(360)
    else:
        wide, long = size[0].times(10), size[1].times(10)
    return wide.value, wide.low, wide.high, long.value, long.low, long.high


def _plain_mm(line: Compared, known: bool) -> tuple[float, float]:
    baseline = line.baseline
    if not known or baseline is None:
        return 500.0, 360.0
    return 10_000 / baseline.stitches_per_10cm.value, 10_000 / baseline.rows_per_10cm.value


def _fit(count: int, widest: float, longest: float, width: float, height: float) -> tuple[int, int, float, float]:
    """The largest scale at which all outlines with their names fit: scale, columns, width and height of a place."""
    for scale in _SCALES:
        for columns in range(1, 9):
            cell, row_height = width / columns, longest / scale + 11
            rows = math.ceil(count / columns)
            if widest / scale + 4 <= cell and rows * row_height <= height - 8 and cell >= 22:
                return scale, columns, cell, min(row_height + 6, (height - 8) / rows)
    return _SCALES[-1], 8, width / 8, (height - 8) / math.ceil(count / 8)


def _outline(
    axes: Axes,
    number: int,
    line: Compared,
    size: tuple[float, float, float, float, float, float],
    at: tuple[float, float],
    scale: int,
    unit: str,
    known: bool,
    cell: float,
    small: bool,
) -> None:
    from matplotlib.patches import Rectangle

    x, top = at
    _, colour, _ = KINDS[kind_of(line)]
    wide, wide_low, wide_high, long, long_low, long_high = (value / scale for value in size)
    y = top - 4.5
    name = visible(line.stitch.name)
    label = axes.text(x, top, f"{number}  {name}", size=8 if small else 10.5, weight="bold", va="top")
    room = (cell - 3) * DPI * MM
    if len(name) > LONGEST_TITLE:
        name = name[:LONGEST_TITLE]
        label.set_text(f"{number}  {name}…")
    while len(name) > 1 and label.get_window_extent().width > room:
        name = name[:-1]
        label.set_text(f"{number}  {name}…")
    axes.add_patch(Rectangle((x, y - long_high), wide_high, long_high, facecolor=colour, alpha=0.13, edgecolor="none"))
    axes.add_patch(Rectangle((x, y - long_low), wide_low, long_low, facecolor="white", edgecolor="none"))
    axes.add_patch(Rectangle((x, y - long_low), wide_low, long_low, facecolor=colour, alpha=0.3, edgecolor="none"))
    plain_wide, plain_long = (value / scale for value in _plain_mm(line, known))
    axes.add_patch(
        Rectangle(
            (x, y - plain_long),
            plain_wide,
            plain_long,
            facecolor="none",
            edgecolor=GREY,
            linewidth=0.9,
            linestyle="--",
        )
    )
    axes.add_patch(Rectangle((x, y - long), wide, long, facecolor="none", edgecolor=colour, linewidth=1.8))
    if known:
        per = 0.1 if unit == "cm" else 1 / 25.4
        said = f"{size[0] * per:.0f} x {size[3] * per:.0f} {unit}"
    else:
        said = f"{size[0] / 5:.0f} % x {size[3] / 3.6:.0f} %"
    axes.text(x + 1.2, y - min(long, long_low) + 1.0, said, size=8 if small else 10, va="bottom")


def _scale_bar(axes: Axes, scale: int, width: float, known: bool, units: str) -> None:
    if not known:
        return
    length_mm, said = (200.0, "20 cm") if units == "cm" else (203.2, "8 in")
    long = length_mm / scale
    axes.plot([width - long, width], [1, 1], color=INK, linewidth=2, solid_capstyle="butt")
    axes.text(width - long / 2, 2.5, said, size=10, ha="center", va="bottom")

"""The comparison as a poster: stitches against rows to 10 cm with ranges, and the same piece in outline to scale.

Shapes say tuck, slip, both or plain; filled marks are measured; colours only repeat it (a set that the colour-blind
can tell apart: Okabe and Ito, Color universal design, 2008).
"""

from __future__ import annotations

import io
import itertools
import math
import warnings
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from stitchc.compare.table import Compared
from stitchc.files import MARK
from stitchc.messages import visible

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DPI: Final = 150
_MM: Final = 1 / 25.4
_INK: Final = "#222222"
_GREY: Final = "#8a8a8a"
_PALE: Final = "#d9d9d9"
_KINDS: Final = {
    "plain": ("s", "#222222", "stocking stitch"),
    "tuck": ("o", "#0072b2", "tuck"),
    "slip": ("^", "#d55e00", "slip"),
    "both": ("D", "#a3527f", "tuck and slip"),
}
_SIZE_MM: Final = (420.0, 297.0)
"""A3, lying: the poster's own size at 150 dpi."""
_SCALES: Final = (5, 6, 8, 10, 12, 15, 18, 20, 22, 25, 30, 40, 50, 75, 100, 150, 200)
_MOST_OUTLINES: Final = 60
_LONGEST_TITLE: Final = 78
_Circle = tuple[float, float, float]
"""Middle and radius, in pixels of the figure."""
_Box = tuple[float, float, float, float]
"""Middle, width and height, in pixels of the figure."""


def plot(
    lines: Sequence[Compared], title: str, units: str = "cm", strands: Mapping[str, Sequence[str]] | None = None
) -> bytes:
    """A PNG, A3 lying at 150 dpi. Without a gauge of stocking stitch in every line, against stocking stitch instead.

    title: the patterns'. strands: names of stitches to be joined by a line, by what it is called. Reproducible bytes,
    no date. Raises ValueError without a line to plot.
    """
    if not lines:
        raise ValueError("there is nothing to plot")
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib.figure import Figure

    style: dict[Any, Any] = {
        "font.family": "DejaVu Sans",
        "font.size": 11,
        "text.color": _INK,
        "axes.edgecolor": _INK,
        "axes.labelcolor": _INK,
        "text.parse_math": False,
        "svg.hashsalt": "stitchc",
    }
    with matplotlib.rc_context(style), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # letters that the font lacks show as boxes
        figure = Figure(figsize=(_SIZE_MM[0] * _MM, _SIZE_MM[1] * _MM), dpi=DPI, facecolor="white")
        _head(figure, title, lines)
        _scatter(figure, lines, units, strands or {})
        _outlines(figure, lines, units)
        out = io.BytesIO()
        figure.savefig(out, format="png", dpi=DPI, metadata={"Software": MARK.decode(), "Title": title or "comparison"})
    return out.getvalue()


def _kind(line: Compared) -> str:
    features = line.gauge.features
    if features.tuck_share and features.slip_share:
        return "both"
    return "tuck" if features.tuck_share else "slip" if features.slip_share else "plain"


def _known(lines: Sequence[Compared]) -> bool:
    return all(line.size_cm is not None for line in lines)


def _head(figure: Figure, title: str, lines: Sequence[Compared]) -> None:
    top = 1 - 15 / _SIZE_MM[1]
    said = visible(title) or "Densities compared"
    said = said if len(said) <= _LONGEST_TITLE else said[: _LONGEST_TITLE - 1] + "…"
    figure.text(15 / _SIZE_MM[0], top, said, size=22, weight="bold", va="top")
    baselines = {
        (round(b.stitches_per_10cm.value, 1), round(b.rows_per_10cm.value, 1)) for line in lines if (b := line.baseline)
    }
    if not _known(lines):
        said = "Gauge of stocking stitch not known: everything is shown against it."
    elif len(baselines) == 1:
        stitches, rows = next(iter(baselines))
        said = f"Stocking stitch {stitches:g} stitches by {rows:g} rows to 10 cm."
    else:
        said = "Each stitch in the gauge of its own file."
    said += " Lines and shaded edges: nine swatches in ten lie within."
    figure.text(15 / _SIZE_MM[0], top - 12 / _SIZE_MM[1], said, size=12, va="top", color="#444444")


# -- stitches against rows ----------------------------------------------------------------------------------------


def _scatter(figure: Figure, lines: Sequence[Compared], units: str, strands: Mapping[str, Sequence[str]]) -> None:
    left, bottom, width, height = 24.0, 24.0, 172.0, 218.0
    axes = figure.add_axes((left / _SIZE_MM[0], bottom / _SIZE_MM[1], width / _SIZE_MM[0], height / _SIZE_MM[1]))
    known = _known(lines)
    per = 1.0 if units == "cm" or not known else 1.016
    points = [
        (line.gauge.stitches_per_10cm, line.gauge.rows_per_10cm)
        if known
        else (line.gauge.stitch_factor, line.gauge.row_factor)
        for line in lines
    ]
    drawn = [(x.times(per), y.times(per)) for x, y in points if x is not None and y is not None]
    many = len(drawn) > 16
    places = {
        (b.stitches_per_10cm.value * per, b.rows_per_10cm.value * per)
        for line in lines
        if known and (b := line.baseline)
    } or {(1.0, 1.0)}
    xs = [bound for x, _ in drawn for bound in (x.low, x.high)] + [place[0] for place in places]
    ys = [bound for _, y in drawn for bound in (y.low, y.high)] + [place[1] for place in places]
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_xlim(min(xs) / 1.06, max(xs) * 1.06)
    axes.set_ylim(min(ys) / 1.08, max(ys) * 1.08)
    _plain_ticks(axes)
    what = f"to {'10 cm' if units == 'cm' else '4 in'}" if known else "over those of stocking stitch"
    axes.set_xlabel(f"stitches {what}   (to the right: narrower)", size=12, labelpad=6)
    axes.set_ylabel(f"rows {what}   (upward: shorter)", size=12, labelpad=6)
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(True, which="major", color="#efefef", linewidth=0.8)
    axes.set_axisbelow(True)
    _squareness(axes, known)
    for place in sorted(places):
        axes.plot(*place, "s", color=_INK, markersize=7, zorder=4)
        axes.annotate("stocking stitch", place, (8, -5), textcoords="offset points", size=10, va="top", zorder=4)
    for line, (x, y) in zip(lines, drawn, strict=True):
        _, colour, _ = _KINDS[_kind(line)]
        faint: dict[str, Any] = {
            "color": colour,
            "alpha": 0.28 if many else 0.6,
            "linewidth": 0.8 if many else 1.6,
            "zorder": 2,
        }
        axes.plot([x.low, x.high], [y.value, y.value], **faint)
        axes.plot([x.value, x.value], [y.low, y.high], **faint)
    for line, (x, y) in zip(lines, drawn, strict=True):
        _mark(axes, line, x.value, y.value, 6.5 if many else 9.0)
    marks = {line.stitch.name: (x.value, y.value) for line, (x, y) in zip(lines, drawn, strict=True)}
    words = _strands(figure, axes, marks, sorted(places), strands)
    _numbers(figure, axes, [(x.value, y.value) for x, y in drawn], sorted(places), words, 8.5 if many else 11)
    _legend(axes, lines)


def _strands(
    figure: Figure,
    axes: Axes,
    marks: Mapping[str, tuple[float, float]],
    plain: Sequence[tuple[float, float]],
    strands: Mapping[str, Sequence[str]],
) -> list[_Box]:
    """Lines through stitches that belong together, each named beside its end, where the name hides nothing.

    plain: the places of stocking stitch. Returns the boxes of the names.
    """
    lines = {said: [marks[name] for name in names if name in marks] for said, names in strands.items()}
    lines = {said: points for said, points in lines.items() if len(points) > 1}
    taken: list[_Circle] = [(float(x), float(y), 9.0) for x, y in map(axes.transData.transform, marks.values())]
    for x, y in map(axes.transData.transform, plain):
        taken += [(float(x) + along, float(y) - (15.0 if along else 0.0), 13.0) for along in range(0, 240, 20)]
    for points in lines.values():
        axes.plot(*zip(*points, strict=True), color="#5a5a5a", linewidth=1.1, zorder=2.2)
        pixels = [axes.transData.transform(point) for point in points]
        for (x, y), (to_x, to_y) in itertools.pairwise(pixels):
            steps = max(1, math.ceil(math.hypot(to_x - x, to_y - y) / 6))
            taken += [(x + (to_x - x) * n / steps, y + (to_y - y) * n / steps, 2.0) for n in range(steps + 1)]
    frame = axes.get_window_extent()
    placed: list[_Box] = []
    for said, points in lines.items():
        text = figure.text(
            0,
            0,
            said.rpartition(", ")[2],  # the mark's shape says the rest
            ha="center",
            va="center",
            size=9.5,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.8},
        )
        size = text.get_window_extent()
        end = axes.transData.transform(points[-1])
        x, y = _room_beside((float(end[0]), float(end[1])), (size.width, size.height), taken, placed, frame.extents)
        text.set_position((x / figure.bbox.width, y / figure.bbox.height))
        box = (x, y, size.width, size.height)
        placed.append(box)
        edge = x + math.copysign(size.width / 2, end[0] - x)
        if math.hypot(edge - end[0], y - end[1]) > 40:
            axes.annotate(
                "",
                (float(end[0]), float(end[1])),
                (edge, y),
                xycoords="figure pixels",
                textcoords="figure pixels",
                arrowprops={"arrowstyle": "-", "color": _GREY, "linewidth": 0.7, "shrinkA": 0, "shrinkB": 6},
                zorder=2.5,
            )
    return placed


def _room_beside(
    end: tuple[float, float],
    size: tuple[float, float],
    taken: Sequence[_Circle],
    placed: Sequence[_Box],
    frame: Sequence[float],
) -> tuple[float, float]:
    """Where the middle of a word goes: left or right of `end`, as near as it hides nothing. All in pixels.

    frame: left, bottom, right, top of the room there is.
    """
    best: tuple[float, float, float] | None = None
    for away in range(14, 200, 6):
        for rise in (6, 14, -4, 24, -14, 36, -26, 50, -40, 66, -56):
            for side in (-1, 1):
                x, y = end[0] + side * (away + size[0] / 2), end[1] + rise
                far = away + abs(rise) + (4 if side > 0 else 0)
                if best is not None and 200 - far <= best[0]:
                    continue
                if not (frame[0] + 4 <= x - size[0] / 2 and x + size[0] / 2 <= frame[2] - 4):
                    continue
                if not (frame[1] + 4 <= y - size[1] / 2 and y + size[1] / 2 <= frame[3] - 4):
                    continue
                gap = min([_gap((x, y, *size), other) for other in taken], default=9.0)
                for other_x, other_y, wide, high in placed:
                    apart = abs(x - other_x) - (size[0] + wide) / 2, abs(y - other_y) - (size[1] + high) / 2
                    gap = min(gap, max(apart))
                score = min(gap, 5.0) * 40 - far
                if best is None or score > best[0]:
                    best = (score, x, y)
    return (end[0], end[1]) if best is None else best[1:]


def _gap(box: _Box, circle: _Circle) -> float:
    """Pixels between a box and a circle; below 0 where they meet."""
    dx = max(abs(box[0] - circle[0]) - box[2] / 2, 0.0)
    dy = max(abs(box[1] - circle[1]) - box[3] / 2, 0.0)
    return math.hypot(dx, dy) - circle[2]


def _mark(axes: Axes, line: Compared, x: float, y: float, size: float) -> None:
    shape, colour, _ = _KINDS[_kind(line)]
    inside = colour if line.gauge.basis == "measured" else "white"
    axes.plot(
        x, y, shape, markersize=size, markerfacecolor=inside, markeredgecolor=colour, markeredgewidth=1.8, zorder=3
    )


def _plain_ticks(axes: Axes) -> None:
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    for axis, (low, high) in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
        step = _round_step((high - low) / 7)
        first = math.ceil(low / step)
        axis.set_major_locator(FixedLocator([n * step for n in range(first, math.floor(high / step) + 1)]))
        axis.set_minor_locator(NullLocator())
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:.3g}"))


def _round_step(least: float) -> float:
    power = 10.0 ** math.floor(math.log10(least))
    return next(float(step * power) for step in (1, 2, 2.5, 5, 10) if step * power >= least)


def _squareness(axes: Axes, known: bool) -> None:
    """Lines of equal rows/stitches: along each, as many rows as stitches make a piece of the same proportion."""
    if not known:
        _lines_of(axes, (0.75, 1, 1.5, 2, 3), lambda k: "as plain" if k == 1 else f"{k:g} x")
        return
    _lines_of(axes, (1, 1.4, 2, 2.8, 4, 5.6), lambda k: "square" if k == 1 else f"{k:g} : 1")


def _lines_of(axes: Axes, ratios: Sequence[float], word: Any) -> None:
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    box = axes.get_window_extent()
    for ratio in ratios:
        start, end = max(left, low / ratio), min(right, high / ratio)
        if end <= start * 1.02:
            continue
        axes.plot([start, end], [start * ratio, end * ratio], color=_PALE, linewidth=1.2, zorder=1)
        slope = (box.height / math.log(high / low)) / (box.width / math.log(right / left))
        at_top = end * ratio >= high * 0.999
        axes.annotate(
            word(ratio),
            (end, end * ratio),
            (-6, -4) if at_top else (-4, -10),
            textcoords="offset points",
            rotation=math.degrees(math.atan(slope)),
            rotation_mode="anchor",
            ha="right",
            va="bottom" if at_top else "center",
            size=9.5,
            color="#6a6a6a",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.85},
            zorder=1.5,
        )


def _numbers(
    figure: Figure,
    axes: Axes,
    points: Sequence[tuple[float, float]],
    plain: Sequence[tuple[float, float]],
    words: Sequence[_Box],
    size: float,
) -> None:
    """A number beside each mark, where it hides no other mark, no other number and none of the words."""
    pixels = [axes.transData.transform(point) for point in points]
    taken = [(float(x), float(y), 9.0) for x, y in pixels]
    taken += [(float(x), float(y), 11.0) for x, y in (axes.transData.transform(point) for point in plain)]
    for x, y, wide, high in words:
        steps = max(1, math.ceil(wide / high))
        taken += [(x + wide * (n / steps - 0.5), y, high / 2) for n in range(steps + 1)]
    unit = DPI / 72 * size
    for at, (x, y) in enumerate(pixels):
        best: tuple[float, float, float] | None = None
        for reach in (1.15, 1.6, 2.2, 3.0):
            for turn in range(12):
                angle = math.radians(60 + 30 * turn)
                px, py = x + reach * unit * math.cos(angle), y + reach * unit * math.sin(angle)
                gap = (
                    min(
                        math.hypot((px - ox) / 1.3, py - oy) - radius
                        for index, (ox, oy, radius) in enumerate(taken)
                        if index != at
                    )
                    if len(taken) > 1
                    else unit
                )
                score = min(gap, 0.75 * unit) - 0.12 * reach * unit
                if best is None or score > best[0] + 1e-9:
                    best = (score, px, py)
        assert best is not None
        _, px, py = best
        if math.hypot(px - x, py - y) > 1.4 * unit:
            axes.annotate(
                "",
                (x, y),
                (px, py),
                xycoords="figure pixels",
                textcoords="figure pixels",
                arrowprops={"arrowstyle": "-", "color": _GREY, "linewidth": 0.7},
                zorder=2.5,
            )
        figure.text(
            px / figure.bbox.width,
            py / figure.bbox.height,
            str(at + 1),
            size=size,
            ha="center",
            va="center",
            weight="bold",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4, "alpha": 0.75},
        )
        taken.append((px, py, 0.55 * unit))


def _legend(axes: Axes, lines: Sequence[Compared]) -> None:
    from matplotlib.lines import Line2D

    kinds = [kind for kind in ("tuck", "slip", "both") if any(_kind(line) == kind for line in lines)]
    handles = [
        Line2D(
            [],
            [],
            linestyle="",
            marker=_KINDS[kind][0],
            markersize=9,
            markerfacecolor="white",
            markeredgewidth=1.8,
            markeredgecolor=_KINDS[kind][1],
            label=_KINDS[kind][2],
        )
        for kind in kinds
    ]
    for basis, face, said in (("measured", _GREY, "filled: measured"), (None, "white", "open: estimated")):
        if any((line.gauge.basis == "measured") == (basis is not None) for line in lines):
            handles.append(
                Line2D(
                    [],
                    [],
                    linestyle="",
                    marker="o",
                    markersize=9,
                    markerfacecolor=face,
                    markeredgecolor=_GREY,
                    markeredgewidth=1.8,
                    label=said,
                )
            )
    handles.append(Line2D([], [], color="#bdbdbd", linewidth=1.4, label="rows to stitches alike"))
    axes.legend(
        handles=handles,
        loc="lower left",
        bbox_to_anchor=(-0.02, 1.0),
        ncols=len(handles),
        frameon=False,
        fontsize=10,
        handletextpad=0.5,
        columnspacing=1.4,
    )


# -- the same piece in outline --------------------------------------------------------------------------------------


def _outlines(figure: Figure, lines: Sequence[Compared], units: str) -> None:
    left, bottom, width, height = 212.0, 20.0, 193.0, 232.0
    axes = figure.add_axes((left / _SIZE_MM[0], bottom / _SIZE_MM[1], width / _SIZE_MM[0], height / _SIZE_MM[1]))
    axes.set_xlim(0, width)
    axes.set_ylim(0, height)
    axes.set_axis_off()
    shown = list(lines[:_MOST_OUTLINES])
    known = _known(lines)
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
    _, colour, _ = _KINDS[_kind(line)]
    wide, wide_low, wide_high, long, long_low, long_high = (value / scale for value in size)
    y = top - 4.5
    name = visible(line.stitch.name)
    label = axes.text(x, top, f"{number}  {name}", size=8 if small else 10.5, weight="bold", va="top")
    room = (cell - 3) * DPI * _MM
    if len(name) > _LONGEST_TITLE:
        name = name[:_LONGEST_TITLE]
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
            edgecolor=_GREY,
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
    axes.plot([width - long, width], [1, 1], color=_INK, linewidth=2, solid_capstyle="butt")
    axes.text(width - long / 2, 2.5, said, size=10, ha="center", va="bottom")

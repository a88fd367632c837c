"""The left half of the comparison: stitches against rows to 10 cm, each with its range, a number beside each mark."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from stitchc.compare.look import DPI, GREY, INK, KINDS, PALE, SIZE_MM, all_known, kind_of
from stitchc.compare.room import Box, Circle, room_beside
from stitchc.compare.table import Compared

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def scatter(figure: Figure, lines: Sequence[Compared], units: str, strands: Mapping[str, Sequence[str]]) -> None:
    """Draw it. strands: names of stitches to be joined by a line, by what it is called."""
    left, bottom, width, height = 24.0, 24.0, 172.0, 218.0
    axes = figure.add_axes((left / SIZE_MM[0], bottom / SIZE_MM[1], width / SIZE_MM[0], height / SIZE_MM[1]))
    known = all_known(lines)
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
        axes.plot(*place, "s", color=INK, markersize=7, zorder=4)
        axes.annotate("stocking stitch", place, (8, -5), textcoords="offset points", size=10, va="top", zorder=4)
    for line, (x, y) in zip(lines, drawn, strict=True):
        _, colour, _ = KINDS[kind_of(line)]
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
) -> list[Box]:
    """Lines through stitches that belong together, each named beside its end, where the name hides nothing.

    plain: the places of stocking stitch. Returns the boxes of the names.
    """
    lines = {said: [marks[name] for name in names if name in marks] for said, names in strands.items()}
    lines = {said: points for said, points in lines.items() if len(points) > 1}
    taken: list[Circle] = [(float(x), float(y), 9.0) for x, y in map(axes.transData.transform, marks.values())]
    for x, y in map(axes.transData.transform, plain):
        taken += [(float(x) + along, float(y) - (15.0 if along else 0.0), 13.0) for along in range(0, 240, 20)]
    for points in lines.values():
        axes.plot(*zip(*points, strict=True), color="#5a5a5a", linewidth=1.1, zorder=2.2)
        pixels = [axes.transData.transform(point) for point in points]
        for (x, y), (to_x, to_y) in itertools.pairwise(pixels):
            steps = max(1, math.ceil(math.hypot(to_x - x, to_y - y) / 6))
            taken += [(x + (to_x - x) * n / steps, y + (to_y - y) * n / steps, 2.0) for n in range(steps + 1)]
    frame = axes.get_window_extent()
    placed: list[Box] = []
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
        x, y = room_beside((float(end[0]), float(end[1])), (size.width, size.height), taken, placed, frame.extents)
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
                arrowprops={"arrowstyle": "-", "color": GREY, "linewidth": 0.7, "shrinkA": 0, "shrinkB": 6},
                zorder=2.5,
            )
    return placed


def _mark(axes: Axes, line: Compared, x: float, y: float, size: float) -> None:
    shape, colour, _ = KINDS[kind_of(line)]
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
        axes.plot([start, end], [start * ratio, end * ratio], color=PALE, linewidth=1.2, zorder=1)
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
    words: Sequence[Box],
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
                arrowprops={"arrowstyle": "-", "color": GREY, "linewidth": 0.7},
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

    kinds = [kind for kind in ("tuck", "slip", "both") if any(kind_of(line) == kind for line in lines)]
    handles = [
        Line2D(
            [],
            [],
            linestyle="",
            marker=KINDS[kind][0],
            markersize=9,
            markerfacecolor="white",
            markeredgewidth=1.8,
            markeredgecolor=KINDS[kind][1],
            label=KINDS[kind][2],
        )
        for kind in kinds
    ]
    for basis, face, said in (("measured", GREY, "filled: measured"), (None, "white", "open: estimated")):
        if any((line.gauge.basis == "measured") == (basis is not None) for line in lines):
            handles.append(
                Line2D(
                    [],
                    [],
                    linestyle="",
                    marker="o",
                    markersize=9,
                    markerfacecolor=face,
                    markeredgecolor=GREY,
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

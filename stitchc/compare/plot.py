"""The comparison as a poster: stitches against rows to 10 cm with ranges, and the same piece in outline to one scale.

Shapes say tuck, slip, both or plain; colours only repeat it (a set that the colour-blind can tell apart: Okabe and Ito,
Color universal design, 2008). Where words and legends go is left to matplotlib's own layout.
"""

from __future__ import annotations

import io
import itertools
import math
import warnings
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from stitchc.compare.against import Against
from stitchc.compare.table import NEEDLES, ROWS, Compared, Key
from stitchc.gauge import Range
from stitchc.page.lettering import needs_shaping, printable, visual_order
from stitchc.product import WrongOption
from stitchc.wording import OPTION

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import SubFigure

DPI: Final = 150
SIZE_MM: Final = (420.0, 297.0)
"""A3, lying."""
INK: Final = "#222222"
GREY: Final = "#8a8a8a"
KINDS: Final = {  # mark, colour, word
    "plain": ("s", "#222222", "stocking stitch"),
    "ladder": ("P", "#00795a", "ladders alone"),
    "tuck": ("o", "#0072b2", "tuck"),
    "slip": ("^", "#d55e00", "slip"),
    "both": ("D", "#a3527f", "tuck and slip"),
}
_LONGEST_TITLE: Final = 78
_LONGEST_NAME: Final = 22
_MOST_OUTLINES: Final = 60
_INSIDE: Final = (0.01, 0.015, 0.98, 0.97)
"""The part of the sheet that is drawn on: left, bottom, width and height."""
_TURNS: Final = 16
_MOST_RINGS: Final = 24
"""Places tried for a number: in so many directions, at up to so many times the radius of a sign."""
_DASHES: Final[tuple[Any, ...]] = ("-", (0, (6, 2)), (0, (3, 2)), (0, (1, 1.5)), (0, (6, 2, 1, 2)))


def kind_of(line: Compared) -> str:
    """What the stitch has, as in KINDS; ladders only where it has neither tuck nor slip."""
    features = line.gauge.features
    if features.tuck_share and features.slip_share:
        return "both"
    without = "ladder" if features.ladders else "plain"
    return "tuck" if features.tuck_share else "slip" if features.slip_share else without


def plot(
    lines: Sequence[Compared],
    title: str,
    units: str = "cm",
    strands: Mapping[str, Sequence[str]] | None = None,
    against: Mapping[Key, Against] | None = None,
) -> bytes:
    """A PNG, A3 lying at 150 dpi. Without a gauge of stocking stitch in every line, against stocking stitch instead.

    title: the patterns'. strands: names of stitches to be joined by a line, by what it is called. against: how stitches
    compare with another; those that cannot be told from it are drawn pale. Stitches without a size are left out.
    Reproducible bytes, no date. Raises WrongOption where no stitch has a size.
    """
    numbered = [(number, line) for number, line in enumerate(lines, start=1) if line.gauge.stitch_factor is not None]
    if not numbered:
        text = f"There is nothing to plot: no stitch has a known size. Measure one, or ask for {OPTION.format:text}."
        raise WrongOption("form", text)
    import logging

    logging.getLogger("matplotlib").setLevel(logging.ERROR)  # a folder for its cache is no business of the knitter's
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib.figure import Figure

    style: dict[Any, Any] = {
        "font.family": "DejaVu Sans",
        "font.size": 11,
        "text.color": INK,
        "axes.edgecolor": INK,
        "axes.labelcolor": INK,
        "text.parse_math": False,
    }
    known = all(line.size_cm is not None for _, line in numbered)
    shown = [_shown(number, line, known, units) for number, line in numbered]
    with matplotlib.rc_context(style), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        figure = Figure(
            figsize=(SIZE_MM[0] / 25.4, SIZE_MM[1] / 25.4), dpi=DPI, facecolor="white", layout="constrained"
        )
        heading = _lettered(title or "Densities compared", _LONGEST_TITLE)
        title_text = figure.suptitle(heading, x=0.02, ha="left", size=20, weight="bold")
        left, right = figure.subfigures(1, 2, squeeze=False, width_ratios=(1.05, 1))[0]
        left.suptitle(_subtitle(lines, known), x=0.02, ha="left", size=11.5)
        _scatter(left, shown, known, units, strands or {}, against or {})
        _outlines(right, shown, known, units)
        layout = figure.get_layout_engine()
        layout.set(rect=_INSIDE)  # type: ignore[union-attr,call-arg]
        layout.execute(figure)  # type: ignore[union-attr]
        figure.set_layout_engine("none")  # all stays where it is now, but for the title, put at the very edge
        title_text.set_y(_INSIDE[1] + _INSIDE[3])
        _number(left.axes[0], shown)
        out = io.BytesIO()
        figure.savefig(out, format="png", dpi=DPI, metadata={"Software": "stitchc", "Title": title or "comparison"})
    return out.getvalue()


class _Shown(NamedTuple):
    """A stitch by its number, in the units shown: its place (stitches and rows), stocking stitch's, and the width and
    length of a piece of each."""

    number: int
    line: Compared
    place: tuple[Range, Range]
    plain: tuple[float, float]
    piece: tuple[Range, Range]
    plain_piece: tuple[float, float]


def _shown(number: int, line: Compared, known: bool, units: str) -> _Shown:
    """known: every stitch has a size; else all is shown over stocking stitch, pieces in % of it."""
    gauge, size, baseline = line.gauge, line.size_cm, line.baseline
    assert gauge.stitch_factor is not None and gauge.row_factor is not None
    place, piece = (
        (gauge.stitch_factor, gauge.row_factor),
        (gauge.stitch_factor.under(100), gauge.row_factor.under(100)),
    )
    plain, plain_piece = (1.0, 1.0), (100.0, 100.0)
    if known:
        assert gauge.stitches_per_10cm is not None and gauge.rows_per_10cm is not None and size is not None
        per, unit = (1.016, 1 / 2.54) if units == "in" else (1.0, 1.0)
        place = gauge.stitches_per_10cm.times(per), gauge.rows_per_10cm.times(per)
        piece = size[0].times(unit), size[1].times(unit)
        if baseline is not None:
            stitches, rows = baseline.stitches_per_10cm.value, baseline.rows_per_10cm.value
            plain = stitches * per, rows * per
            plain_piece = NEEDLES * 10 * unit / stitches, ROWS * 10 * unit / rows
    return _Shown(number, line, place, plain, piece, plain_piece)


def _lettered(text: str, most: int) -> str:
    """Of at most so many letters, in the order in which they are set; those that the font lacks as codes."""
    from matplotlib import ft2font

    text = printable(text)
    text = text if len(text) <= most else text[: most - 1] + "…"
    if not needs_shaping(text):
        return text
    # from 3.11 on matplotlib sets scripts from right to left itself; the mark keeps the line from left to right
    return f"\N{LEFT-TO-RIGHT MARK}{text}" if hasattr(ft2font, "__libraqm_version__") else visual_order(text)


def _subtitle(lines: Sequence[Compared], known: bool) -> str:
    baselines = {
        (round(b.stitches_per_10cm.value, 1), round(b.rows_per_10cm.value, 1)) for line in lines if (b := line.baseline)
    }
    if not known:
        words = "Gauge of stocking stitch not known: sizes are shown relative to it."
    elif len(baselines) == 1:
        stitches, rows = next(iter(baselines))
        words = f"Stocking stitch {stitches:g} stitches by {rows:g} rows to 10 cm."
    else:
        words = "Each stitch in the gauge of its own file."
    return f"{words}\nBars and shaded edges hold nine swatches in ten."


# -- the left half ------------------------------------------------------------------------------------------------


def _scatter(
    figure: SubFigure,
    shown: Sequence[_Shown],
    known: bool,
    units: str,
    strands: Mapping[str, Sequence[str]],
    against: Mapping[Key, Against],
) -> None:
    from matplotlib.ticker import FuncFormatter, MaxNLocator, NullLocator

    axes = figure.subplots()
    places = {each.line.stitch.name: each.place for each in shown}
    plain = {each.plain for each in shown}
    axes.set(xscale="log", yscale="log")
    xs = [bound for each in shown for bound in (each.place[0].low, each.place[0].high, each.plain[0])]
    ys = [bound for each in shown for bound in (each.place[1].low, each.place[1].high, each.plain[1])]
    axes.set(xlim=(min(xs) / 1.06, max(xs) * 1.06), ylim=(min(ys) / 1.06, max(ys) * 1.06))
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MaxNLocator(8))
        axis.set_minor_locator(NullLocator())
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:.3g}"))
    unit = f"to {'10 cm' if units == 'cm' else '4 in'}" if known else "over those of stocking stitch"
    needles = any(each.line.gauge.features.ladders for each in shown)
    axes.set_xlabel(f"{'needles' if needles else 'stitches'} {unit}   (to the right: narrower)", size=12)
    axes.set_ylabel(f"rows {unit}   (upward: shorter)", size=12)
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(True, color="#efefef", linewidth=0.8)
    axes.set_axisbelow(True)
    for ratio in (1, 1.4, 2, 2.8, 4, 5.6) if known else (0.75, 1, 1.5, 2, 3):
        axes.axline((1, ratio), (2, 2 * ratio), color="#d9d9d9", linewidth=1.2, zorder=1)
    for dash, group in zip(_DASHES * len(strands), _joined(strands, places), strict=False):
        for points in group:
            axes.plot(*zip(*points, strict=True), color="#5a5a5a", linewidth=1.1, linestyle=dash, zorder=2.2)
    for each in shown:
        _mark(axes, each, len(shown) > 16, against.get(each.line.key))
    for place in sorted(plain):
        axes.plot(*place, "s", color=INK, markersize=8, zorder=4)
    _legend(figure, [each.line for each in shown], strands, against)


def _joined(
    strands: Mapping[str, Sequence[str]], places: Mapping[str, tuple[Range, Range]]
) -> list[list[list[tuple[float, float]]]]:
    """The points of each strand, those of one density ("1 in 2") together."""
    groups: dict[str, list[list[tuple[float, float]]]] = {}
    for family, names in strands.items():
        points = [(places[name][0].value, places[name][1].value) for name in names if name in places]
        groups.setdefault(family.rpartition(", ")[2], []).append(points)
    return list(groups.values())


def _mark(axes: Axes, shown: _Shown, many: bool, against: Against | None) -> None:
    """Its range as a cross, and its sign (filled where it is measured)."""
    (x, y), line = shown.place, shown.line
    shape, colour, _ = KINDS[kind_of(line)]
    pale = 0.3 if against is not None and not against.is_told_apart else 1.0
    faint: dict[str, Any] = {"color": colour, "alpha": 0.25 if many else 0.5 * pale, "linewidth": 0.8 if many else 1.6}
    axes.plot([x.low, x.high], [y.value, y.value], zorder=2, **faint)
    axes.plot([x.value, x.value], [y.low, y.high], zorder=2, **faint)
    measured = line.gauge.basis == "measured"
    axes.plot(
        x.value,
        y.value,
        shape,
        markersize=8 if many else 12,
        markerfacecolor=colour if measured else "white",
        markeredgecolor=colour,
        markeredgewidth=1.6,
        alpha=pale,
        zorder=3 + shown.number / 1000,
    )


def _number(axes: Axes, shown: Sequence[_Shown]) -> None:
    """The number of each sign, in the nearest place beside it that covers no sign and no other number.

    The axes are laid out. A number that does not touch its sign is joined to it by a thin line.
    """
    from matplotlib.patheffects import Normal, Stroke

    many = len(shown) > 16
    size = 8.0 if many else 11.0
    scale = DPI / 72
    radius = (5.5 if many else 8.0) * scale
    signs = axes.transData.transform([[bound.value for bound in each.place] for each in shown])
    plain = axes.transData.transform(sorted({each.plain for each in shown}))
    taken = [(x, y, radius, radius) for x, y in (*signs, *plain)]
    for (number, line, *_), (x, y) in zip(shown, signs, strict=True):
        half = (0.36 * size * len(str(number)) * scale, 0.42 * size * scale)
        for ring, turn in itertools.product(range(_MOST_RINGS), range(_TURNS)):
            away = radius * (1 + ring)
            sine, cosine = math.sin(turn * math.tau / _TURNS), math.cos(turn * math.tau / _TURNS)
            box = (x + cosine * (away + half[0]), y + sine * (away + half[1]), *half)
            if axes.bbox.contains(*box[:2]) and not any(_overlap(box, other) for other in taken):
                break
        taken.append(box)
        colour = KINDS[kind_of(line)][1]
        label = axes.annotate(
            str(number), (x, y), box[:2], "figure pixels", "figure pixels", ha="center", va="center_baseline",
            size=size, weight="bold", color=colour, zorder=4.5,
            arrowprops={"arrowstyle": "-", "color": colour, "linewidth": 0.7, "shrinkA": 0, "shrinkB": radius / scale}
            if away > radius else None,
        )  # fmt: skip
        label.set_path_effects([Stroke(linewidth=3, foreground="white"), Normal()])


def _overlap(box: Sequence[float], other: Sequence[float]) -> bool:
    """Whether two boxes overlap, each its middle and half its width and height."""
    return all(abs(box[axis] - other[axis]) < box[axis + 2] + other[axis + 2] - 0.01 for axis in (0, 1))


def _legend(
    figure: SubFigure, lines: Sequence[Compared], strands: Mapping[str, Sequence[str]], against: Mapping[Key, Against]
) -> None:
    from matplotlib.lines import Line2D

    def sign(shape: str, label: str, face: str, edge: str, alpha: float = 1.0) -> Line2D:
        return Line2D(
            [], [], linestyle="", marker=shape, markersize=10, markerfacecolor=face, markeredgecolor=edge,
            markeredgewidth=1.6, label=label, alpha=alpha,
        )  # fmt: skip

    handles = [sign("s", "stocking stitch", INK, INK)]
    present = {kind_of(line) for line in lines}
    handles += [
        sign(KINDS[kind][0], KINDS[kind][2], "white", KINDS[kind][1]) for kind in KINDS if kind in present - {"plain"}
    ]
    if any(line.gauge.basis == "measured" for line in lines):
        handles.append(sign("o", "filled: measured", GREY, GREY))
    if any(line.gauge.basis != "measured" for line in lines):
        handles.append(sign("o", "open: estimated", "white", GREY))
    if any(not each.is_told_apart for each in against.values()):
        name = next(iter(against.values())).name
        handles.append(
            sign("o", f"pale: no clear difference from {_lettered(name, _LONGEST_NAME)}", "white", GREY, 0.3)
        )
    densities = dict.fromkeys(family.rpartition(", ")[2] for family in strands)
    handles += [
        Line2D([], [], color="#5a5a5a", linewidth=1.1, linestyle=dash, label=density)
        for density, dash in zip(densities, _DASHES, strict=False)
    ]
    handles.append(Line2D([], [], color="#bdbdbd", linewidth=1.4, label="stitches of one shape"))
    figure.legend(handles=handles, loc="outside lower left", ncols=4, frameon=False, fontsize=10)


# -- the right half -----------------------------------------------------------------------------------------------


def _outlines(figure: SubFigure, every: Sequence[_Shown], known: bool, units: str) -> None:
    """The same needles and rows of each stitch in outline, all to one scale; those past the room are counted."""
    shown = every[:_MOST_OUTLINES]
    more = f"; {len(every) - len(shown)} more not drawn" if len(every) > len(shown) else ""
    head = f"{NEEDLES} needles by {ROWS} rows of each" if known else "The same needles and rows of each, in %"
    figure.suptitle(f"{head}, all to one scale (dashed: stocking stitch{more})", size=11.5, x=0.02, ha="left")
    wide, long = (max(max(each.piece[axis].high, each.plain_piece[axis]) for each in shown) for axis in (0, 1))
    per_unit, columns = max(_scale(columns, len(shown), wide, long) for columns in range(1, 9))
    across, down = wide + _GAP_MM / per_unit, long + (_GAP_MM + _LABEL_MM) / per_unit
    rows = math.ceil(len(shown) / columns)
    axes = figure.subplots()
    axes.set_axis_off()
    size = 10 if columns < 4 else 8 if columns < 6 else 6.5
    for index, each in enumerate(shown):
        corner = index % columns * across, index // columns * down + _LABEL_MM / per_unit
        _outline(axes, each, corner)
        figures = f"{each.piece[0].value:.0f} x {each.piece[1].value:.0f} {units if known else '%'}"
        name = _lettered(each.line.stitch.name, min(_LONGEST_NAME, round(wide * per_unit / size / 0.26)))
        axes.text(
            corner[0],
            corner[1] - 1.2 / per_unit,
            f"{each.number}  {name}\n{figures}",
            size=size,
            weight="bold",
            va="bottom",
            linespacing=1.1,
        )
    bar, unit = (20.0, "20 cm") if units == "cm" else (8.0, "8 in")
    if known:
        axes.plot([0, bar], [rows * down, rows * down], color=INK, linewidth=2, solid_capstyle="butt")
        axes.text(bar, rows * down, f"  {unit}", size=10, va="center")
    axes.set(
        xlim=(-0.8 / per_unit, columns * across), ylim=(rows * down + 2 / per_unit, 0), aspect="equal", anchor="NW"
    )


_ROOM_MM: Final = (195.0, 232.0)
_LABEL_MM: Final = 9.0
_GAP_MM: Final = 4.0
"""Room for the outlines, height of two lines of lettering over each, and what is left between two, on paper."""


def _scale(columns: int, count: int, wide: float, long: float) -> tuple[float, int]:
    """mm on paper of a unit, where so many outlines stand in so many columns; and the columns."""
    rows = math.ceil(count / columns)
    by_width = (_ROOM_MM[0] / columns - _GAP_MM) / wide
    by_height = (_ROOM_MM[1] / rows - _LABEL_MM - _GAP_MM) / long
    return max(0.01, min(by_width, by_height)), columns


def _outline(axes: Axes, shown: _Shown, corner: tuple[float, float]) -> None:
    from matplotlib.patches import Rectangle

    wide, long = shown.piece
    _, colour, _ = KINDS[kind_of(shown.line)]
    for width, height, look in (
        (wide.high, long.high, {"facecolor": colour, "alpha": 0.13, "edgecolor": "none"}),
        (wide.low, long.low, {"facecolor": "white", "edgecolor": "none"}),
        (wide.low, long.low, {"facecolor": colour, "alpha": 0.3, "edgecolor": "none"}),
        (*shown.plain_piece, {"facecolor": "none", "edgecolor": GREY, "linewidth": 0.9, "linestyle": "--"}),
        (wide.value, long.value, {"facecolor": "none", "edgecolor": colour, "linewidth": 1.8}),
    ):
        axes.add_patch(Rectangle(corner, width, height, **look))

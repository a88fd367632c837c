"""The comparison as a poster: stitches against rows to 10 cm with ranges, and the same piece in outline to scale.

Each half is drawn by a file of its own; here are the page and its heading.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from stitchc.compare.look import DPI, INK, LONGEST_TITLE, MM, SIZE_MM, all_known
from stitchc.compare.outlines import outlines
from stitchc.compare.scatter import scatter
from stitchc.compare.table import Compared
from stitchc.messages import visible

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def plot(
    lines: Sequence[Compared], title: str, units: str = "cm", strands: Mapping[str, Sequence[str]] | None = None
) -> bytes:
    """A PNG, A3 lying at 150 dpi. Without a gauge of stocking stitch in every line, against stocking stitch instead.

    title: the patterns'. strands: names of stitches to be joined by a line, by what it is called. Reproducible bytes,
    no date. Raises ValueError without a line to plot.
    """
    if not lines:
        raise ValueError("there is nothing to plot")
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
    with matplotlib.rc_context(style), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # letters that the font lacks show as boxes
        figure = Figure(figsize=(SIZE_MM[0] * MM, SIZE_MM[1] * MM), dpi=DPI, facecolor="white")
        _head(figure, title, lines)
        scatter(figure, lines, units, strands or {})
        outlines(figure, lines, units)
        out = io.BytesIO()
        figure.savefig(out, format="png", dpi=DPI, metadata={"Software": "stitchc", "Title": title or "comparison"})
    return out.getvalue()


def _head(figure: Figure, title: str, lines: Sequence[Compared]) -> None:
    top = 1 - 15 / SIZE_MM[1]
    said = visible(title) or "Densities compared"
    said = said if len(said) <= LONGEST_TITLE else said[: LONGEST_TITLE - 1] + "…"
    figure.text(15 / SIZE_MM[0], top, said, size=22, weight="bold", va="top")
    baselines = {
        (round(b.stitches_per_10cm.value, 1), round(b.rows_per_10cm.value, 1)) for line in lines if (b := line.baseline)
    }
    if not all_known(lines):
        said = "Gauge of stocking stitch not known: everything is shown against it."
    elif len(baselines) == 1:
        stitches, rows = next(iter(baselines))
        said = f"Stocking stitch {stitches:g} stitches by {rows:g} rows to 10 cm."
    else:
        said = "Each stitch in the gauge of its own file."
    said += " Lines and shaded edges: nine swatches in ten lie within."
    figure.text(15 / SIZE_MM[0], top - 12 / SIZE_MM[1], said, size=12, va="top", color="#444444")

"""`trace_chart`: a picture of a chart as a product, written in the notation or as JSON."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Final

from stitchc.messages import Refused, visible
from stitchc.options import TraceOptions
from stitchc.product import File, Product, WrongOption
from stitchc.trace import words
from stitchc.trace.pipeline import trace
from stitchc.trace.traced import Ask, Traced
from stitchc.wording import OPTION

_DEFAULTS: Final = TraceOptions()


def trace_chart(image: bytes, options: TraceOptions = _DEFAULTS, name: str = "picture") -> Product[Traced]:
    """The chart that a picture shows, and its notation. image: the bytes of a PNG, JPEG, GIF, BMP, TIFF, WebP or PNM
    file; name: what messages call it, and what the stitch is named after.

    Raises WrongOption, and Refused: T801 no picture, T802 too large, T803 no grid, T804 no room for a chart, T805 too
    many cells, T807 kinds of cells that are not explained, T808 a colour that is not there, T809 sizes that do not fit.
    """
    from stitchc.notation.gather import MOST_BYTES
    from stitchc.notation.writer import is_name, notation_name

    if options.grid == "even" and options.cells is None:
        raise WrongOption("", f"{OPTION.grid:even} needs the number of columns and rows: {OPTION.cells:24x36}.")
    if options.dark is not None and options.dark == options.light and not (options.colours or options.alike):
        text = (
            f"{OPTION.dark:{options.dark}} and {OPTION.light:{options.light}} would make all cells the same. Give one."
        )
        raise WrongOption("", text)
    if options.stitch_name is not None and not is_name(options.stitch_name):
        text = f"`{visible(options.stitch_name)}` is not a name: a letter first, then letters, digits, _ or -, and no "
        raise WrongOption("stitch_name", text + "keyword.")
    traced = trace(image, name, Ask.of(options))
    stem = Path(name).stem
    stitch = options.stitch_name or notation_name("" if name.startswith("<") else stem)
    if options.form == "json":
        file = File.of_text(f"{options.name or stitch}.json", _as_json(traced, name))
    else:
        file = File.of_text(f"{options.name or stitch}.stitch", _as_notation(traced, name, stitch))
    if options.form != "json" and len(file.content) > MOST_BYTES:
        raise Refused(words.too_much_text(name, len(file.content), MOST_BYTES))
    return Product((traced,), (file,), traced.messages, (f"{visible(name)}: {traced.how}.",))


def _as_notation(traced: Traced, image: str, stitch: str) -> str:
    """A pattern with the stitch that was read, and a comment that says from what."""
    from stitchc.notation.writer import write_chart

    whole, chart = traced.whole, traced.chart
    size = f"{whole.width} by {whole.height} cells"
    repeat = "" if chart == whole else f", repeat {chart.width} by {chart.height}"
    unsure = sum(message.code == "T806" for message in traced.messages)
    note = f"; {unsure} cells to look at" if unsure else ""
    return f"# traced from {visible(Path(image).name)}: {size}{repeat}{note}\n{write_chart(stitch, chart)}"


def _as_json(traced: Traced, image: str) -> str:
    """The `stitchc-trace/1` document: what was read, cell by cell, and how surely.

    rows, whole: letters, first knitted row first, left to right facing the bed; certainty: of each cell of `whole`;
    corners_px: upper left, upper right, lower left and lower right of the grid in the picture as given.
    """
    document = {
        "format": "stitchc-trace/1",
        "image": image,
        "how": traced.how,
        "turned_deg": round(traced.turned_deg, 3),
        "corners_px": [[round(x, 1), round(y, 1)] for x, y in traced.corners_px],
        "width": traced.chart.width,
        "height": traced.chart.height,
        "rows": traced.chart.rows(),
        "whole": traced.whole.rows(),
        "certainty": [[round(float(value), 3) for value in row] for row in traced.certainty],
        "messages": [message.as_json() for message in traced.messages],
    }
    return json.dumps(document, ensure_ascii=False)

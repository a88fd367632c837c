"""stitchc compiles a written stitch repeat for single-bed knitting machines.

The same as the commands do, for a script or a notebook: read a pattern, choose a machine, ask for a product. Nothing
here prints, opens a browser, uses the network or writes a file.

Read a pattern. `compile_text` never raises; `compile_file` reads a file and what it includes:

    >>> import stitchc
    >>> reading = stitchc.compile_text('''
    ... pattern "Tide line"
    ... stitch tide
    ...     1: K T
    ...     2: K
    ... gauge plain 20 stitches 28 rows per 10 cm
    ... ''')
    >>> pattern = reading.pattern
    >>> pattern.title, list(pattern.stitches)
    ('Tide line', ['tide'])
    >>> pattern.stitches["tide"].chart.rows()
    ['KT', 'KK']
    >>> pattern.stitches["tide"].chart.knits.tolist()
    [[True, False], [True, True]]

A needle out of work is `-` in the rows of a chart, and stands in its `out`, counted from 1:

    >>> ladder = stitchc.Chart.from_rows(["KTK-", "KKK-"])
    >>> ladder.out, ladder.shifted(1).rows()
    ((4,), ['-KTK', '-KKK'])

What is wrong with a text is a list of messages, each with its place and mostly with something to try:

    >>> wrong = stitchc.compile_text("stitch tide" + chr(10) + "1: K P")
    >>> wrong.pattern is None
    True
    >>> [(message.code, message.span.line, message.span.column) for message in wrong.messages]
    [('N102', 2, 6)]

A product function takes the pattern, the machine, and options; it returns a `Product`: values, files as bytes, messages
and remarks. A card, with its holes as a matrix of row by column:

    >>> machine = stitchc.load_machine("card24-standard")
    >>> product = stitchc.make_card(pattern, machine, stitchc.CardOptions(form="svg"))
    >>> card = product.values[0]
    >>> card.holes.shape, bool(card.holes[0][1])
    ((36, 24), False)
    >>> [(file.name, len(file.content) > 1000) for file in product.files]
    [('pattern-tide-card.svg', True), ('pattern-tide-card.json', True)]

The gauge, with the range that holds nine swatches in ten:

    >>> gauge = stitchc.estimate_gauge(pattern).values[0]
    >>> gauge.name, gauge.basis, gauge.stitch_factor.low < gauge.stitch_factor.value < gauge.stitch_factor.high
    ('tide', 'estimate', True)

The needle sheet as text:

    >>> hand = stitchc.load_machine("hand-standard")
    >>> sheet = stitchc.make_sheet(pattern, hand, stitchc.SheetOptions(rows=4))
    >>> b"Row 1" in sheet.files[0].content or b"row 1" in sheet.files[0].content
    True

What keeps a product from being made is raised: `Refused` with messages, or `WrongOption`:

    >>> try:
    ...     stitchc.make_bitmap(pattern, hand)
    ... except stitchc.Refused as refused:
    ...     print(refused.messages[0].code)
    M305

The standard layout of a text:

    >>> print(stitchc.format_text("STITCH tide" + chr(10) + "1:k t" + chr(10) + "2:k"), end="")
    stitch tide
        1: K T
        2: K

Everything is imported when it is first asked for, so that `import stitchc` costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stitchc.bed import Needles
    from stitchc.bitmap import make_bitmap
    from stitchc.card.product import make_card
    from stitchc.chart import Chart
    from stitchc.compare.product import compare_stitches
    from stitchc.drawn.product import draw_chart
    from stitchc.gallery.build import build_pattern
    from stitchc.gauge.product import estimate_gauge
    from stitchc.leaflet.product import make_leaflet
    from stitchc.machines.loader import load as load_machine
    from stitchc.machines.profile import Machine
    from stitchc.messages import Message, Refused, Span
    from stitchc.notation.compile import Reading, compile_file, compile_text
    from stitchc.notation.formatting import format_text
    from stitchc.options import (
        BitmapOptions,
        BuildOptions,
        CardOptions,
        ChartOptions,
        CompareOptions,
        GaugeOptions,
        LeafletOptions,
        PictureOptions,
        PieceOptions,
        SheetOptions,
        SwatchOptions,
        TraceOptions,
    )
    from stitchc.pattern import Pattern, Stitch
    from stitchc.picture import draw_fabric
    from stitchc.piece.product import plan_piece
    from stitchc.product import File, Product, WrongOption
    from stitchc.sheet.product import make_sheet
    from stitchc.swatch.product import plan_swatch
    from stitchc.trace.product import trace_chart

__version__ = "0.1.0"

__all__ = [
    "BitmapOptions",
    "BuildOptions",
    "CardOptions",
    "Chart",
    "ChartOptions",
    "CompareOptions",
    "File",
    "GaugeOptions",
    "LeafletOptions",
    "Machine",
    "Message",
    "Needles",
    "Pattern",
    "PictureOptions",
    "PieceOptions",
    "Product",
    "Reading",
    "Refused",
    "SheetOptions",
    "Span",
    "Stitch",
    "SwatchOptions",
    "TraceOptions",
    "WrongOption",
    "build_pattern",
    "compare_stitches",
    "compile_file",
    "compile_text",
    "draw_chart",
    "draw_fabric",
    "estimate_gauge",
    "format_text",
    "load_machine",
    "make_bitmap",
    "make_card",
    "make_leaflet",
    "make_sheet",
    "plan_piece",
    "plan_swatch",
    "trace_chart",
]

_HOMES = {
    "stitchc.bed": ("Needles",),
    "stitchc.bitmap": ("make_bitmap",),
    "stitchc.card.product": ("make_card",),
    "stitchc.chart": ("Chart",),
    "stitchc.compare.product": ("compare_stitches",),
    "stitchc.drawn.product": ("draw_chart",),
    "stitchc.gallery.build": ("build_pattern",),
    "stitchc.gauge.product": ("estimate_gauge",),
    "stitchc.leaflet.product": ("make_leaflet",),
    "stitchc.machines.loader": ("load",),
    "stitchc.machines.profile": ("Machine",),
    "stitchc.messages": ("Message", "Refused", "Span"),
    "stitchc.notation.compile": ("Reading", "compile_file", "compile_text"),
    "stitchc.notation.formatting": ("format_text",),
    "stitchc.pattern": ("Pattern", "Stitch"),
    "stitchc.picture": ("draw_fabric",),
    "stitchc.piece.product": ("plan_piece",),
    "stitchc.product": ("File", "Product", "WrongOption"),
    "stitchc.sheet.product": ("make_sheet",),
    "stitchc.swatch.product": ("plan_swatch",),
    "stitchc.trace.product": ("trace_chart",),
}
_HOME = {name: home for home, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> object:
    """Import a part when it is first asked for."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    home = "stitchc.options" if name.endswith("Options") else _HOME["load" if name == "load_machine" else name]
    value = getattr(importlib.import_module(home), "load" if name == "load_machine" else name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])

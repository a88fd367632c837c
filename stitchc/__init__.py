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

What keeps a product from being made is raised: `Refused` with messages (`FileTrouble`, one of its kind, where a file
can't be read), or `WrongOption`, also for a value that an option can't have:

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

from typing import TYPE_CHECKING

from stitchc.on_demand import import_on_demand

if TYPE_CHECKING:
    from stitchc.bed import Needles as Needles
    from stitchc.bitmap import make_bitmap as make_bitmap
    from stitchc.card.product import make_card as make_card
    from stitchc.chart import Chart as Chart
    from stitchc.compare.product import compare_stitches as compare_stitches
    from stitchc.drawn.product import draw_chart as draw_chart
    from stitchc.files import FileTrouble as FileTrouble
    from stitchc.gallery.build import build_pattern as build_pattern
    from stitchc.gauge.product import estimate_gauge as estimate_gauge
    from stitchc.leaflet.product import make_leaflet as make_leaflet
    from stitchc.machines.loader import load_machine as load_machine
    from stitchc.machines.profile import Machine as Machine
    from stitchc.messages import Message as Message
    from stitchc.messages import Refused as Refused
    from stitchc.messages import Span as Span
    from stitchc.notation.compile import Reading as Reading
    from stitchc.notation.compile import compile_file as compile_file
    from stitchc.notation.compile import compile_text as compile_text
    from stitchc.notation.formatting import format_text as format_text
    from stitchc.options import BitmapOptions as BitmapOptions
    from stitchc.options import BuildOptions as BuildOptions
    from stitchc.options import CardOptions as CardOptions
    from stitchc.options import ChartOptions as ChartOptions
    from stitchc.options import CompareOptions as CompareOptions
    from stitchc.options import GaugeOptions as GaugeOptions
    from stitchc.options import LeafletOptions as LeafletOptions
    from stitchc.options import PictureOptions as PictureOptions
    from stitchc.options import PieceOptions as PieceOptions
    from stitchc.options import SheetOptions as SheetOptions
    from stitchc.options import SwatchOptions as SwatchOptions
    from stitchc.options import TraceOptions as TraceOptions
    from stitchc.pattern import Pattern as Pattern
    from stitchc.pattern import Stitch as Stitch
    from stitchc.picture import draw_fabric as draw_fabric
    from stitchc.piece.product import plan_piece as plan_piece
    from stitchc.product import File as File
    from stitchc.product import Product as Product
    from stitchc.product import WrongOption as WrongOption
    from stitchc.sheet.product import make_sheet as make_sheet
    from stitchc.swatch.product import plan_swatch as plan_swatch
    from stitchc.trace.product import trace_chart as trace_chart

__version__ = "0.1.0"

_HOMES = {
    "bed": ("Needles",),
    "bitmap": ("make_bitmap",),
    "card.product": ("make_card",),
    "chart": ("Chart",),
    "compare.product": ("compare_stitches",),
    "drawn.product": ("draw_chart",),
    "files": ("FileTrouble",),
    "gallery.build": ("build_pattern",),
    "gauge.product": ("estimate_gauge",),
    "leaflet.product": ("make_leaflet",),
    "machines.loader": ("load_machine",),
    "machines.profile": ("Machine",),
    "messages": ("Message", "Refused", "Span"),
    "notation.compile": ("Reading", "compile_file", "compile_text"),
    "notation.formatting": ("format_text",),
    "options": (
        *("BitmapOptions", "BuildOptions", "CardOptions", "ChartOptions", "CompareOptions", "GaugeOptions"),
        *("LeafletOptions", "PictureOptions", "PieceOptions", "SheetOptions", "SwatchOptions", "TraceOptions"),
    ),
    "pattern": ("Pattern", "Stitch"),
    "picture": ("draw_fabric",),
    "piece.product": ("plan_piece",),
    "product": ("File", "Product", "WrongOption"),
    "sheet.product": ("make_sheet",),
    "swatch.product": ("plan_swatch",),
    "trace.product": ("trace_chart",),
}
__all__ = sorted(name for names in _HOMES.values() for name in names)
__getattr__ = import_on_demand(__name__, _HOMES)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})

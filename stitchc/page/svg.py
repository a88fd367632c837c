"""A page as SVG in true millimetres: one user unit is 1 mm, one group for each layer, holes as circles.

On the cut layer everything is an outline, since a cutter follows outlines; elsewhere fills are as the page says.
Knows pages only.
"""

from __future__ import annotations

from typing import Final
from xml.sax.saxutils import escape, quoteattr

from stitchc.page.lettering import FAMILY, printable
from stitchc.page.values import LAYERS, Circle, Disc, Item, Layer, Line, Page, Polygon, Rectangle, Text

CUT_LINE_MM: Final = 0.1
CUT_COLOUR: Final = "#c00000"

_PURPOSE: Final[dict[Layer, str]] = {
    "cut": "cut: holes and edges",
    "engrave": "engrave: lettering on the sheet",
    "guide": "guide: rules, marks and words",
}


def svg(page: Page) -> bytes:
    """The page as an SVG file. Each layer is a group whose id is the layer's name; layers are drawn guide first."""
    width, height = _n(page.width_mm), _n(page.height_mm)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        "<!-- made by stitchc; one unit is 1 mm -->",
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}" role="img">',
    ]
    if page.title:
        lines.append(f"<title>{escape(printable(page.title))}</title>")
    if page.description:
        lines.append(f"<desc>{escape(printable(page.description))}</desc>")
    for layer in LAYERS:
        items = [_element(item) for item in page.on(layer)]
        if not items:
            continue
        style = (
            f'fill="none" stroke="{CUT_COLOUR}" stroke-width="{_n(CUT_LINE_MM)}"'
            if layer == "cut"
            else f"font-family=\"'{FAMILY}', Verdana, sans-serif\""
        )
        lines.append(f'<g id="{layer}" {style}>')
        lines.append(f"<title>{_PURPOSE[layer]}</title>")
        lines += items
        lines.append("</g>")
    lines.append("</svg>\n")
    return "\n".join(lines).encode("utf-8")


def _element(item: Item) -> str:
    cut = item.layer == "cut"
    match item:
        case Disc():
            paint = "" if cut else f' fill="{item.fill}"'
            return f'<circle cx="{_n(item.x_mm)}" cy="{_n(item.y_mm)}" r="{_n(item.diameter_mm / 2)}"{paint}/>'
        case Circle():
            paint = "" if cut else _paint(item.fill, item.stroke, item.line_mm)
            return f'<circle cx="{_n(item.x_mm)}" cy="{_n(item.y_mm)}" r="{_n(item.diameter_mm / 2)}"{paint}/>'
        case Line():
            paint = "" if cut else f' stroke="{item.stroke}" stroke-width="{_n(item.line_mm)}"'
            dash = f' stroke-dasharray="{" ".join(map(_n, item.dash_mm))}"' if item.dash_mm else ""
            ends = f'x1="{_n(item.x1_mm)}" y1="{_n(item.y1_mm)}" x2="{_n(item.x2_mm)}" y2="{_n(item.y2_mm)}"'
            return f"<line {ends}{paint}{dash}/>"
        case Rectangle():
            paint = "" if cut else _paint(item.fill, item.stroke, item.line_mm)
            corner = f'x="{_n(item.left_mm)}" y="{_n(item.top_mm)}"'
            return f'<rect {corner} width="{_n(item.width_mm)}" height="{_n(item.height_mm)}"{paint}/>'
        case Polygon():
            paint = "" if cut else _paint(item.fill if item.closed else None, item.stroke, item.line_mm)
            points = " ".join(f"{_n(x)},{_n(y)}" for x, y in item.points_mm)
            return f'<{"polygon" if item.closed else "polyline"} points="{points}"{paint}/>'
        case Text():
            return _text(item)


def _text(item: Text) -> str:
    x, y = _n(item.x_mm), _n(item.y_mm)
    more = "" if item.anchor == "start" else f' text-anchor="{item.anchor}"'
    more += ' font-weight="bold"' if item.bold else ""
    more += f' transform="rotate({_n(-item.rotation_deg)} {x} {y})"' if item.rotation_deg % 360 else ""
    more += f" fill={quoteattr(item.fill)}"
    words = escape(printable(item.text))
    return f'<text x="{x}" y="{y}" font-size="{_n(item.size_mm)}"{more} xml:space="preserve">{words}</text>'


def _paint(fill: str | None, stroke: str | None, line_mm: float) -> str:
    line = f' stroke="{stroke}" stroke-width="{_n(line_mm)}"' if stroke else ""
    return f' fill="{fill or "none"}"{line}'


def _n(number: float) -> str:
    """To a tenth of a micrometre, without trailing noughts."""
    text = f"{number:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text

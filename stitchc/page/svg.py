"""A page as SVG in true millimetres: one user unit is 1 mm, one group for each layer, holes as circles.

On the cut layer everything is an outline, since a cutter follows outlines, and holes come before edges, since a sheet
that is cut out moves. Elsewhere fills are as the page says. Knows pages only.
"""

from __future__ import annotations

from typing import Final

from stitchc.page.items import LAYERS, Circle, Disc, Item, Layer, Line, Page, Polygon, Rectangle, Text
from stitchc.page.lettering import FAMILY, printable

CUT_LINE_MM: Final = 0.1
CUT_COLOUR: Final = "#c00000"

_HEAD: Final = ('<?xml version="1.0" encoding="UTF-8"?>', "<!-- made by stitchc; one unit is 1 mm -->")
_PURPOSE: Final[dict[Layer, str]] = {
    "cut": "cut: holes, then edges",
    "engrave": "engrave: lettering on the sheet",
    "guide": "guide: rules, marks and words",
}


def svg(page: Page, within_html: bool = False) -> bytes:
    """The page as an SVG file. Each layer is a group whose id is the layer's name; layers are drawn guide first.

    within_html: without what only a file of its own has (the head, ids), and with its description as a label, since
    browsers show the title of a picture in a page as a tooltip.
    """
    width, height = _n(page.width_mm), _n(page.height_mm)
    title, words = (_escaped(printable(text)) for text in (page.title, page.description))
    label = _quoted(printable(f"{page.title}. {page.description}")) if within_html else ""
    lines = (
        [] if within_html else ['<?xml version="1.0" encoding="UTF-8"?>', "<!-- made by stitchc; one unit is 1 mm -->"]
    )
    lines.append(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}" role="img"{label and " aria-label="}{label}>'
    )
    if not within_html:
        lines += [f"<{name}>{text}</{name}>" for name, text in (("title", title), ("desc", words)) if text]
    for layer in LAYERS:
        items = sorted(page.on(layer), key=_is_edge) if layer == "cut" else list(page.on(layer))
        if not items:
            continue
        style = (
            f'fill="none" stroke="{CUT_COLOUR}" stroke-width="{_n(CUT_LINE_MM)}"'
            if layer == "cut"
            else f"font-family=\"'{FAMILY}', Verdana, sans-serif\""
        )
        name = "" if within_html else f'id="{layer}" '
        lines.append(f"<!-- {_PURPOSE[layer]} -->")
        lines.append(f"<g {name}{style}>")
        lines += map(_element, items)
        lines.append("</g>")
    lines.append("</svg>\n")
    return "\n".join(lines).encode("utf-8")


def _is_edge(item: Item) -> bool:
    return not isinstance(item, Disc | Circle)


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
    more += f" fill={_quoted(item.fill)}"
    words = _escaped(printable(item.text))
    return f'<text x="{x}" y="{y}" font-size="{_n(item.size_mm)}"{more} xml:space="preserve">{words}</text>'


def _paint(fill: str | None, stroke: str | None, line_mm: float) -> str:
    line = f' stroke="{stroke}" stroke-width="{_n(line_mm)}"' if stroke else ""
    return f' fill="{fill or "none"}"{line}'


def _n(number: float) -> str:
    """To a tenth of a micrometre, without trailing noughts."""
    text = f"{number:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


# As `xml.sax.saxutils` does it, which brings all that fetches pages of the web: a tenth of the time of a start.


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace(">", "&gt;").replace("<", "&lt;")


def _quoted(text: str) -> str:
    """As the value of an attribute, with its quotation marks."""
    inside = _escaped(text).replace("\n", "&#10;").replace("\r", "&#13;").replace("\t", "&#9;")
    if '"' not in inside:
        return f'"{inside}"'
    return f"'{inside}'" if "'" not in inside else f'"{inside.replace(chr(34), "&quot;")}"'

"""A drawing as an SVG element for a page: every text escaped, colours left to the page's style sheet."""

from __future__ import annotations

from html import escape

from stitchc.document.document import Dots, Drawing, Label, Path
from stitchc.messages import visible


def markup(drawing: Drawing) -> str:
    """What stands inside the <svg> element. The class of each shape is its ink."""
    return "".join(map(_shape, drawing.shapes))


def _shape(shape: Path | Dots | Label) -> str:
    match shape:
        case Path():
            data = "".join(_line(points, shape.closed) for points in shape.lines)
            return f'<path class="{shape.ink}" d="{data}"/>' if data else ""
        case Dots():
            r = _n(shape.radius)
            arcs = f"a{r} {r} 0 1 0 {_n(2 * shape.radius)} 0a{r} {r} 0 1 0 {_n(-2 * shape.radius)} 0"
            data = "".join(f"M{_n(x - shape.radius)} {_n(y)}{arcs}" for x, y in shape.centres)
            return f'<path class="{shape.ink}" d="{data}"/>' if data else ""
        case Label():
            style = "" if shape.anchor == "middle" else f' text-anchor="{shape.anchor}"'
            place = f'x="{_n(shape.x)}" y="{_n(shape.y)}" font-size="{_n(shape.size)}"{style}'
            return f"<text {place}>{escape(visible(shape.text))}</text>"


def _line(points: tuple[tuple[float, float], ...], closed: bool) -> str:
    """From point to point in steps, which are shorter than places."""
    (x, y), *rest = points
    data = f"M{_n(x)} {_n(y)}"
    for to_x, to_y in rest:
        if to_y == y:
            data += f"h{_n(to_x - x)}"
        elif to_x == x:
            data += f"v{_n(to_y - y)}"
        else:
            data += f"l{_n(to_x - x)} {_n(to_y - y)}"
        x, y = to_x, to_y
    return data + ("z" if closed else "")


def _n(value: float) -> str:
    text = f"{value:.1f}"
    return text.removesuffix(".0") if text != "-0.0" else "0"

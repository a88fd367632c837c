"""A page as a value: discs, circles, lines, rectangles, polygons and text, all in millimetres.

Named tuples, since a page has thousands of items. Knows nothing of what is drawn (cards, charts) and nothing of file
types; the writers beside this turn it into bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Final, Literal, NamedTuple

Layer = Literal["cut", "engrave", "guide"]
"""What an item is for. cut: a hole or an edge to be cut. engrave: lettering that stays on what is cut out.
guide: rules, crop marks and words around it, for the person who prints."""

LAYERS: Final[tuple[Layer, ...]] = ("guide", "engrave", "cut")

Anchor = Literal["start", "middle", "end"]
Colour = str
"""As "#rrggbb"."""

BLACK: Final = "#000000"

MM_PER_INCH: Final = 25.4
"""Exactly: the international inch."""

PAPERS: Final[dict[str, tuple[float, float]]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "a3": (297.0, 420.0)}
"""Width and height in mm, upright, of the sheets that are printed on (CSS Paged Media 3 names the same sizes)."""


class Disc(NamedTuple):
    """A filled disc about a centre: a hole to punch, or a mark in a chart."""

    x_mm: float
    y_mm: float
    diameter_mm: float
    fill: Colour = BLACK
    layer: Layer = "cut"


class Circle(NamedTuple):
    """A ring about a centre; line_mm is the width of its line, which lies half inside and half outside.

    fill: None leaves the inside as it is.
    """

    x_mm: float
    y_mm: float
    diameter_mm: float
    line_mm: float = 0.25
    stroke: Colour = BLACK
    fill: Colour | None = None
    layer: Layer = "cut"


class Line(NamedTuple):
    """A straight line. dash_mm: lengths of mark and gap in turn, from the first point; None for a solid line."""

    x1_mm: float
    y1_mm: float
    x2_mm: float
    y2_mm: float
    line_mm: float = 0.25
    stroke: Colour = BLACK
    dash_mm: tuple[float, float] | None = None
    layer: Layer = "guide"


class Rectangle(NamedTuple):
    """A rectangle with square corners. fill and stroke: either may be None; line_mm lies half inside, half outside."""

    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float
    fill: Colour | None = None
    stroke: Colour | None = BLACK
    line_mm: float = 0.25
    layer: Layer = "guide"


class Polygon(NamedTuple):
    """Straight lines from point to point. closed: the last joins the first; fill needs a closed one."""

    points_mm: tuple[tuple[float, float], ...]
    fill: Colour | None = BLACK
    stroke: Colour | None = None
    line_mm: float = 0.25
    closed: bool = True
    layer: Layer = "guide"


class Text(NamedTuple):
    """One line of lettering. x_mm, y_mm: the anchor point, on the baseline; size_mm: the font's size (its em).

    A capital is about 0.73 of the size high. rotation_deg, a multiple of 90, turns it counter-clockwise about the
    anchor point.
    """

    x_mm: float
    y_mm: float
    text: str
    size_mm: float = 3.0
    anchor: Anchor = "start"
    bold: bool = False
    rotation_deg: float = 0.0
    fill: Colour = BLACK
    layer: Layer = "guide"


Item = Disc | Circle | Line | Rectangle | Polygon | Text
Place = Callable[[float], float]


def placed(item: Item, x: Place, y: Place) -> Item:
    """The item with each of its places put elsewhere; sizes stay."""
    match item:
        case Disc() | Circle() | Text():
            return item._replace(x_mm=x(item.x_mm), y_mm=y(item.y_mm))
        case Line():
            return item._replace(x1_mm=x(item.x1_mm), y1_mm=y(item.y1_mm), x2_mm=x(item.x2_mm), y2_mm=y(item.y2_mm))
        case Rectangle():
            return item._replace(left_mm=x(item.left_mm), top_mm=y(item.top_mm))
        case Polygon():
            return item._replace(points_mm=tuple((x(px), y(py)) for px, py in item.points_mm))


def moved(item: Item, right: float, down: float) -> Item:
    """The item so many mm further."""
    return placed(item, lambda x: x + right, lambda y: y + down)


class Page(NamedTuple):
    """A page: x to the right and y down from the top left corner, in mm. Items are drawn in order.

    title: the document's title. label: what a viewer shows as the page's number ("rows 1-34"); description: a
    sentence for those who cannot see it. sealed: a keyword and words that a PNG carries after a digest of its pixels
    and a colon.
    """

    width_mm: float
    height_mm: float
    items: tuple[Item, ...]
    title: str = ""
    label: str = ""
    description: str = ""
    sealed: tuple[str, str] | None = None

    def on(self, layer: Layer) -> Iterator[Item]:
        return (item for item in self.items if item.layer == layer)

    def stretched(self, scale_x: float, scale_y: float) -> Page:
        """The drawing stretched about the page's centre, the page itself staying as it is.

        For a printer that is off: places and lengths grow; a disc or ring stays round (its diameter grows by the
        geometric mean) and lettering keeps its size.
        """
        if scale_x == scale_y == 1:
            return self
        centre_x, centre_y = self.width_mm / 2, self.height_mm / 2
        mean = (scale_x * scale_y) ** 0.5

        def stretched(item: Item) -> Item:
            if isinstance(item, Disc | Circle):
                item = item._replace(diameter_mm=item.diameter_mm * mean)
            elif isinstance(item, Rectangle):
                item = item._replace(width_mm=item.width_mm * scale_x, height_mm=item.height_mm * scale_y)
            return placed(
                item, lambda x: centre_x + (x - centre_x) * scale_x, lambda y: centre_y + (y - centre_y) * scale_y
            )

        return self._replace(items=tuple(map(stretched, self.items)))

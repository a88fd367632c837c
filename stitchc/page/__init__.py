"""Pages as values in mm, and a writer for each file type: `png`, `pdf` and `svg`, functions from pages to bytes."""

from stitchc.page.values import (
    BLACK,
    MM_PER_INCH,
    PAPERS,
    Anchor,
    Circle,
    Disc,
    Item,
    Layer,
    Line,
    Page,
    Polygon,
    Rectangle,
    Text,
)

__all__ = [
    "BLACK",
    "MM_PER_INCH",
    "PAPERS",
    "Anchor",
    "Circle",
    "Disc",
    "Item",
    "Layer",
    "Line",
    "Page",
    "Polygon",
    "Rectangle",
    "Text",
]

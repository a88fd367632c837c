"""The fabric itself, yarn by yarn: one repeat relaxed to rest, and drawn as shaded yarn from either side.

Start at `relax` (the shape at a given cell), `draw` (one side) and `plate` (a picture file). Nothing here reads a file
or prints.
"""

from stitchc.fabric.draw import DISTINCT, NATURAL, Colour, Face, Picture, draw
from stitchc.fabric.plate import plate
from stitchc.fabric.relax import PLAIN_CELL, Fabric, relax, relax_free, second_opinion, smallest_repeat

__all__ = [
    "DISTINCT",
    "NATURAL",
    "PLAIN_CELL",
    "Colour",
    "Fabric",
    "Face",
    "Picture",
    "draw",
    "plate",
    "relax",
    "relax_free",
    "second_opinion",
    "smallest_repeat",
]

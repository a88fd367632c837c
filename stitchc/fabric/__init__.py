"""The fabric itself, yarn by yarn: one repeat relaxed to rest, and drawn as shaded yarn from either side.

`relaxation` has the shape, `draw` one side of it, `plate` a picture file. Nothing here
reads a file or prints.
"""

from stitchc.fabric.draw import DISTINCT, NATURAL, Colour, Face, Picture, draw
from stitchc.fabric.plate import plate
from stitchc.fabric.relaxation import (
    PITCH_MM,
    PLAIN_CELL,
    Fabric,
    loop_yarn_mm,
    relax,
    relax_free,
    relaxing,
    slip_yarn,
    smallest_repeat,
)
from stitchc.fabric.start import SLIP_FED
from stitchc.fabric.store import Shelf, second_opinion

__all__ = [
    "DISTINCT",
    "NATURAL",
    "PITCH_MM",
    "PLAIN_CELL",
    "SLIP_FED",
    "Colour",
    "Fabric",
    "Face",
    "Picture",
    "Shelf",
    "draw",
    "loop_yarn_mm",
    "plate",
    "relax",
    "relax_free",
    "relaxing",
    "second_opinion",
    "slip_yarn",
    "smallest_repeat",
]

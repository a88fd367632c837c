"""Where the cells of a straight picture lie: the lattice of its lines, found by its ink alone.

Start at `find_lattice`; `through_lines` reads a grid that was cut out inside its frame. Knows nothing of what the
cells mean.
"""

from stitchc.trace.grid.lattice import LEAST_PITCH_PX, Axis, Lattice, Side
from stitchc.trace.grid.search import find_lattice
from stitchc.trace.grid.sides import carried_on, frayed
from stitchc.trace.grid.through import Through, looks_ruled, through_lines

__all__ = [
    "LEAST_PITCH_PX",
    "Axis",
    "Lattice",
    "Side",
    "Through",
    "carried_on",
    "find_lattice",
    "frayed",
    "looks_ruled",
    "through_lines",
]

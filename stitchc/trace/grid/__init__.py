"""Where the cells of a straight picture lie: the lattice of its lines, found by its ink alone.

Start at `find_sharp` for pictures without grain and at `find_lattice` for all others; `find_unruled` where no lines are
drawn. Knows nothing of what the cells mean.
"""

from stitchc.trace.grid.comb import LEAST_PITCH_PX
from stitchc.trace.grid.lattice import BORDER, Axis, Lattice, Side
from stitchc.trace.grid.search import find_lattice
from stitchc.trace.grid.sharp import find_sharp
from stitchc.trace.grid.unruled import find_unruled, looks_ruled, pitches_of_steps, steps_along

__all__ = [
    "BORDER",
    "LEAST_PITCH_PX",
    "Axis",
    "Lattice",
    "Side",
    "find_lattice",
    "find_sharp",
    "find_unruled",
    "looks_ruled",
    "pitches_of_steps",
    "steps_along",
]

"""Where the cells of a straight picture lie, found by its edges alone.

Start at `find_cells`. Knows nothing of what the cells mean.
"""

from stitchc.trace.grid.chains import even_pitches
from stitchc.trace.grid.edges import grain_of
from stitchc.trace.grid.finder import find_cells
from stitchc.trace.grid.lattice import BORDER, Axis, Lattice, Side

__all__ = ["BORDER", "Axis", "Lattice", "Side", "even_pitches", "find_cells", "grain_of"]

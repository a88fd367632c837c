"""Where the cells of a straight picture lie, found by its edges alone.

Start at `find_cells`. Knows nothing of what the cells mean.
"""

from stitchc.trace.grid.chains import even_pitches
from stitchc.trace.grid.edges import grain_of
from stitchc.trace.grid.filling import filling_cells
from stitchc.trace.grid.finder import find_cells
from stitchc.trace.grid.free import counted_cells
from stitchc.trace.grid.lattice import BORDER, Axis, Lattice, Side
from stitchc.trace.grid.letters import free_cells
from stitchc.trace.grid.marks import Rows, marks_in_rows
from stitchc.trace.grid.outline import outline_in

__all__ = [
    "BORDER",
    "Axis",
    "Lattice",
    "Rows",
    "Side",
    "counted_cells",
    "even_pitches",
    "filling_cells",
    "find_cells",
    "free_cells",
    "grain_of",
    "marks_in_rows",
    "outline_in",
]

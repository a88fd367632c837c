"""The drawn chart: start at `draw`, which makes pages in mm out of a chart; `stitchc.page` writes them to files."""

from stitchc.drawn.drawing import MOST_CELLS, Drawing, Paper, draw
from stitchc.drawn.symbols import Face, Notation

__all__ = ["MOST_CELLS", "Drawing", "Face", "Notation", "Paper", "draw"]

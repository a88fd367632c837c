"""A whole piece: from the finished size asked for to needles, rows, passes, yarn and written instructions.

Start at `plan_piece`. Knows patterns, machines, passes and gauges; it reads no file and prints nothing.
"""

from stitchc.piece.plan import gauge_of, plan_piece
from stitchc.piece.size import Choice, Rounding
from stitchc.piece.values import Plan, Section

__all__ = ["Choice", "Plan", "Rounding", "Section", "gauge_of", "plan_piece"]

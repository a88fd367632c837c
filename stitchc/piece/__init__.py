"""A whole piece: from the finished size asked for to needles, rows, passes, yarn and written instructions.

Start at `work_out`. Knows patterns, machines, passes and gauges; it reads no file and prints nothing.
"""

from stitchc.piece.plan import Plan, Section
from stitchc.piece.planner import gauge_of, work_out
from stitchc.piece.size import Choice, Rounding

__all__ = ["Choice", "Plan", "Rounding", "Section", "gauge_of", "work_out"]

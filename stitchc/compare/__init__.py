"""Stitches side by side: size, yarn and work of the same 100 needles by 100 rows, as values and as a plot.

Knows gauges, passes and profiles; reads and writes no file.
"""

from stitchc.compare.table import Compared, compare, in_order_of

__all__ = ["Compared", "compare", "in_order_of"]

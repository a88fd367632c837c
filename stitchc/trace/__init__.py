"""Charts read out of pictures: the picture opened safely, its grid found, its cells told apart, the repeat reduced.

Start at `trace_chart`: bytes in, a product out. Opens no files.
"""

from stitchc.trace.pipeline import trace
from stitchc.trace.product import trace_chart
from stitchc.trace.traced import Ask, GridKind, Key, Notation, Traced

__all__ = ["Ask", "GridKind", "Key", "Notation", "Traced", "trace", "trace_chart"]

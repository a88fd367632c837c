"""Charts read out of pictures: the picture opened safely, its grid found, its cells told apart, the repeat reduced.

Start at `trace`: bytes in, a chart with the certainty of each cell out. Knows nothing of files or of the notation.
"""

from stitchc.trace.pipeline import trace
from stitchc.trace.values import Ask, GridKind, Key, Notation, Traced

__all__ = ["Ask", "GridKind", "Key", "Notation", "Traced", "trace"]

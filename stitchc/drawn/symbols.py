"""The signs that stand for knit, tuck, slip and a needle out of work in a drawn chart, as shapes in a square of side 1.

Knows no page and no picture: the drawn chart lays these out, and tracing looks for them.

`squared` and `thread` are the two published notations for weft structures (Knitting Technology, 3rd ed., p. 96, and
its chapter on notations): on squared paper a face stitch is a cross, a reverse stitch a ring, a tuck a dot and a miss
an empty square; in the running-thread notation the thread loops round the needle's point for a knit stitch, lies over
it in a half circle for a tuck, and passes it by for a miss. `plain` is this program's own: a bar upright for a loop
drawn through, a filled half circle for a tuck, an open diamond for a slip. (A bar lying would be taken for a purl
stitch, which it is in a published standard for hand knitting; from memory.)

A needle out of work has no sign in any of them: its column is empty and shaded, and a running thread passes where no
needle is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from stitchc.chart import KNIT, OUT, SLIP, TUCK

Notation = Literal["squared", "thread", "plain"]
Face = Literal["purl", "knit"]
NOTATIONS: Final[tuple[Notation, ...]] = ("squared", "thread", "plain")

Point = tuple[float, float]
"""x from the left and y from the top, in sides of the square."""


@dataclass(frozen=True)
class Stroke:
    """A line through the points, as thick as `width`."""

    points: tuple[Point, ...]
    width: float
    ink: float = 1.0


@dataclass(frozen=True)
class Spot:
    centre: Point
    radius: float
    ink: float = 1.0


@dataclass(frozen=True)
class Ring:
    """A circle's line, as thick as `width`."""

    centre: Point
    radius: float
    width: float
    ink: float = 1.0


@dataclass(frozen=True)
class Area:
    """A filled shape within the points."""

    points: tuple[Point, ...]
    ink: float = 1.0


Shape = Stroke | Spot | Ring | Area


def symbol(code: int, notation: Notation, face: Face) -> tuple[Shape, ...]:
    """The shapes for KNIT, TUCK, SLIP or OUT. Only a stitch on squared paper looks different from the other face."""
    if notation == "squared" and code == KNIT:
        return _CROSS if face == "knit" else _RING
    return _SIGNS[notation][code]


def meaning(code: int, notation: Notation, face: Face) -> str:
    """What the sign is and says, for a legend."""
    if code == OUT:
        return "shaded column: the needle is out of work"
    words = {
        ("squared", KNIT): "face stitch: the needle knits" if face == "knit" else "reverse stitch: the needle knits",
        ("squared", TUCK): "dot: the needle tucks",
        ("squared", SLIP): "empty: the needle slips",
        ("thread", KNIT): "loop round the needle: it knits",
        ("thread", TUCK): "half circle over the needle: it tucks",
        ("thread", SLIP): "passes the needle by: it slips",
        ("plain", KNIT): "bar: the needle knits",
        ("plain", TUCK): "half disc: the needle tucks",
        ("plain", SLIP): "open diamond: the needle slips",
    }
    return words[notation, code]


def _arc(centre: Point, radius: float, start_deg: float, end_deg: float, steps: int = 24) -> tuple[Point, ...]:
    angles = np.radians(np.linspace(start_deg, end_deg, steps + 1)).tolist()
    return tuple((centre[0] + radius * float(np.cos(a)), centre[1] + radius * float(np.sin(a))) for a in angles)


def _curve(start: Point, *pieces: tuple[Point, Point, Point], steps: int = 12) -> tuple[Point, ...]:
    """A chain of cubic curves, each by its two controls and its end."""
    points = [start]
    for begin, middle, end in pieces:
        first = points[-1]
        for t in np.linspace(0, 1, steps + 1)[1:].tolist():
            a, b, c, d = (1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3
            points.append(
                (
                    a * first[0] + b * begin[0] + c * middle[0] + d * end[0],
                    a * first[1] + b * begin[1] + c * middle[1] + d * end[1],
                )
            )
    return tuple(points)


GROUND_INK: Final = 0.58
"""Knit cells are the ground of a chart: their signs are grey (5:1 against paper), and what is not knit stands out."""
_LINE: Final = 0.09
_RING: Final = (Ring((0.5, 0.5), 0.27, _LINE, GROUND_INK),)
_CROSS: Final = (
    Stroke(((0.22, 0.22), (0.78, 0.78)), _LINE, GROUND_INK),
    Stroke(((0.22, 0.78), (0.78, 0.22)), _LINE, GROUND_INK),
)

_THREAD: Final = 0.09
_BASE: Final = 1.0
"""The thread runs along the lower edge of the square, so that rows of squares are rows of thread."""
_NEEDLE: Final = Spot((0.5, 0.50), 0.05, 0.5)
_LOOP: Final = _curve(
    (0.0, _BASE),
    ((0.52, _BASE), (0.78, 0.72), (0.78, 0.44)),
    ((0.78, 0.26), (0.66, 0.16), (0.50, 0.16)),
    ((0.34, 0.16), (0.22, 0.26), (0.22, 0.44)),
    ((0.22, 0.72), (0.48, _BASE), (1.0, _BASE)),
)
_OVER: Final = (
    *_curve((0.0, _BASE), ((0.09, _BASE), (0.13, 0.86), (0.14, 0.70))),
    *_arc((0.5, 0.58), 0.36, 180, 360),
    *_curve((0.86, 0.70), ((0.87, 0.86), (0.91, _BASE), (1.0, _BASE))),
)

_PAST: Final = Stroke(((0.0, _BASE), (1.0, _BASE)), _THREAD)

_SIGNS: Final[dict[Notation, dict[int, tuple[Shape, ...]]]] = {
    "squared": {TUCK: (Spot((0.5, 0.5), 0.18),), SLIP: (), OUT: ()},
    "thread": {
        KNIT: (_NEEDLE, Stroke(_LOOP, _THREAD)),
        TUCK: (_NEEDLE, Stroke(_OVER, _THREAD)),
        SLIP: (_NEEDLE, _PAST),
        OUT: (_PAST,),
    },
    "plain": {
        KNIT: (Stroke(((0.5, 0.30), (0.5, 0.70)), 0.1, GROUND_INK),),
        TUCK: (Area(_arc((0.5, 0.66), 0.34, 180, 360)),),
        SLIP: (Stroke(((0.5, 0.16), (0.8, 0.5), (0.5, 0.84), (0.2, 0.5), (0.5, 0.16)), 0.1),),
        OUT: (),
    },
}

"""What is knitted of a piece so far, as the knitter measures it: `drift 30 rows 7.1 cm`."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

from stitchc.english import number
from stitchc.gauge.doubt import length_of
from stitchc.gauge.gauges import PLAIN
from stitchc.messages import Span
from stitchc.option_values import MM_PER
from stitchc.pattern import Swatch

ON_THE_MACHINE_LOG: Final = (0.05, 0.05)
"""How much longer a fabric hangs on the machine under its weights than it lies at rest, as mean and standard deviation
of the logarithm. Assumed: it is common practice to let work rest before measuring, and nobody gives a figure."""

LEAST_MM: Final = 10.0
LEAST_COUNTED: Final = 4
"""What is measured half way says where the work is, and nothing of its gauge, below these (chosen, no source)."""

_MEASURED = re.compile(
    r"\s*(?:part\s+(?P<part>[0-9]{1,4})(?:\s*[:,]\s*|\s+)|(?P<stitch>[^\W\d_][\w-]*)\s+)"
    r"(?P<count>[0-9]{1,6}(?:[.,][0-9]{1,3})?)\s*(?P<what>rows?|stitch(?:es)?|sts|needles?)"
    r"\s*[,:=]?\s*(?P<length>[0-9]{1,5}(?:[.,][0-9]{1,4})?)\s*(?P<unit>mm|cm|in)\b"
    r"(?P<ends>(?:\s+(?:in all|(?:on|off) the machine|sure))*)\s*",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Measured:
    """`drift 30 rows 7.1 cm`: what was counted over a length. on_machine: measured while it hung there. in_all: these
    are all the rows of that part, and the piece has gone on to the next. part: the one that it is about, counted from
    1; its stitch is not known before there is a plan. sure: the knitter has checked a surprising length."""

    stitch: str
    mm: float
    rows: float | None = None
    stitches: float | None = None
    on_machine: bool = False
    in_all: bool = False
    part: int | None = None
    sure: bool = False

    @property
    def words(self) -> str:
        """As it can be typed."""
        subject = self.stitch if self.part is None else f"part {self.part}:"
        counted = number(round(self.rows), "row") if self.rows is not None else f"{self.stitches:g} stitches"
        ends = (" on the machine", self.on_machine), (" in all", self.in_all), (" sure", self.sure)
        return f"{subject} {counted} {length_of(self.mm)}" + "".join(words for words, is_so in ends if is_so)

    @property
    def tells_a_gauge(self) -> bool:
        """Whether it is large enough to learn from: half a row or a millimetre more would change a smaller one by more
        than any plan is out."""
        return self.mm >= LEAST_MM and (self.rows or self.stitches or 0) >= LEAST_COUNTED

    def swatch(self, span: Span) -> Swatch:
        """As a swatch; a length on the machine is taken back to rest, and doubted the more for it."""
        if not self.on_machine or self.rows is None:
            return Swatch(self.stitch, self.mm, span, self.stitches, self.rows)
        mean, sd = ON_THE_MACHINE_LOG
        return Swatch(self.stitch, self.mm / (1 + mean), span, self.stitches, self.rows, doubt=sd)


class NotKnitted(ValueError):
    """A measurement that cannot be of this piece."""


def parse_measured(text: str) -> Measured:
    """From "drift 30 rows 7.1 cm", "part 2: 30 rows 7.1 cm", "drift 40 stitches 21 cm", "… on the machine".

    Raises ValueError saying what may be.
    """
    match = _MEASURED.fullmatch(text)
    if match is None:
        raise ValueError(
            f"`{text}` is not a measurement: write the stitch, what you counted and how long it was, "
            'as in "drift 30 rows 7.1 cm" (and `on the machine` if it hung there) or "drift 40 stitches 21 cm"'
        )
    count, length = (float(match[name].replace(",", ".")) for name in ("count", "length"))
    mm = length * MM_PER[match["unit"].lower()]
    if not 1 <= count <= 100_000 or not 1 <= mm <= 100_000:
        raise ValueError(f"`{text}`: at least one row or stitch, and a length from 1 mm to 100 m")
    ends = match["ends"].lower()
    on_machine, in_all, sure = "on the machine" in ends, "in all" in ends, "sure" in ends
    is_rows = match["what"].lower().startswith("row")
    if not is_rows and on_machine:
        raise ValueError(f"`{text}`: on the machine the needles hold the work wide, so measure its width at rest")
    if is_rows and not count.is_integer():
        raise ValueError(f"`{text}`: rows are whole, {math.floor(count)} or {math.ceil(count)} of them")
    if in_all and not is_rows:
        raise ValueError(f"`{text}`: `in all` is about rows; leave it out of a width")
    stitch, part = match["stitch"] or "", int(match["part"]) if match["part"] else None
    stitch = PLAIN if stitch.lower() == PLAIN else stitch
    return Measured(stitch, mm, count if is_rows else None, None if is_rows else count, on_machine, in_all, part, sure)

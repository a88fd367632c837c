"""`--plain 20x28`: the gauge of stocking stitch as it is written on the command line."""

from __future__ import annotations

import re

from stitchc.gauge.gauges import PlainGauge
from stitchc.gauge.remarks import FEWEST_PER_10CM, MOST_ROWS_PER_10CM, MOST_STITCHES_PER_10CM

_NUMBER = r"([0-9]{1,6}(?:[.,][0-9]{1,6})?)"
_PLAIN = re.compile(
    rf"\s*{_NUMBER}\s*(?:st(?:itches)?|sts)?\s*(?:x|×|\*|by)\s*{_NUMBER}\s*(?:rows?)?\s*(?:(?:per|/)\s*10\s*cm)?\s*",
    re.IGNORECASE,
)


def parse_plain(text: str) -> PlainGauge:
    """From "20x28", "20 × 28.5", "20,5 x 28". Raises ValueError that says what is allowed."""
    match = _PLAIN.fullmatch(text)
    if match is None:
        raise ValueError(f"`{text}` is not a gauge: write stitches x rows in 10 cm of stocking stitch, as in 20x28")
    stitches, rows = (float(number.replace(",", ".")) for number in match.groups())
    for noun, count, most in (("stitches", stitches, MOST_STITCHES_PER_10CM), ("rows", rows, MOST_ROWS_PER_10CM)):
        if not FEWEST_PER_10CM <= count <= most:
            raise ValueError(
                f"`{text}`: {count:g} {noun} in 10 cm can't be knitted; {FEWEST_PER_10CM:g} to {most:g} are possible"
            )
    return PlainGauge(stitches, rows)

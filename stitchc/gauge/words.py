"""What a gauge means, in a sentence."""

from __future__ import annotations

from stitchc.gauge.values import Range, StitchGauge

_LITTLE = 2.0
"""Percent under which a change is called none: a tape could not tell it."""


def in_words(gauge: StitchGauge) -> str:
    """What happens to the size, against the same needles and rows of stocking stitch."""
    if gauge.stitch_factor is None or gauge.row_factor is None:
        return "Its size cannot be estimated: one of its needles never knits and so keeps every loop."
    if gauge.features.is_plain:
        return "The same as stocking stitch: every needle knits on every row."
    counted = " Its needles out of work are counted as needles." if gauge.features.ladders else ""
    return _against_plain(gauge, gauge.stitch_factor, gauge.row_factor) + counted


def _against_plain(gauge: StitchGauge, stitch_factor: Range, row_factor: Range) -> str:
    width = _change(gauge.width_change_percent, "wider", "narrower", stitch_factor)
    length = _change(gauge.length_change_percent, "longer", "shorter", row_factor)
    if width and length:
        return f"{width[0].upper()}{width[1:]} and {length} than stocking stitch."
    if width:
        return f"{width[0].upper()}{width[1:]} than stocking stitch. About as long."
    if length:
        return f"About as wide as stocking stitch. {length[0].upper()}{length[1:]}."
    return "About the size of stocking stitch."


def _change(percent: float | None, more: str, less: str, factor: Range) -> str | None:
    """ "about 13 % wider (+5 to +22 %)", or None where a tape could not tell."""
    if percent is None or abs(percent) < _LITTLE:
        return None
    sides = sorted(100 * (1 / bound - 1) for bound in (factor.low, factor.high))
    span = f"{_whole(sides[0])} to {_whole(sides[1])}"
    return f"about {abs(percent):.0f} % {more if percent > 0 else less} ({span} %)"


def _whole(percent: float) -> str:
    return f"{percent:+.0f}".replace("-", "−") if round(percent) else "0"

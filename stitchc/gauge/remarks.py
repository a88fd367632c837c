"""Messages about `gauge` lines: counts that cannot be, swatches too small, lines that disagree, surprises."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Final

from stitchc.messages import Message, Span
from stitchc.pattern import Pattern, Swatch

if TYPE_CHECKING:
    from stitchc.gauge.values import FarOut

FEWEST_PER_10CM: Final = 1.0
MOST_STITCHES_PER_10CM: Final = 150.0
"""A fine hand bed (3.6 mm) gives about 50 stitches in 10 cm; three times that is beyond any domestic bed."""
MOST_ROWS_PER_10CM: Final = 600.0
"""A published slip pattern held for eight rows has 118 rows in 10 cm; five times that is beyond any."""
PLAIN_STITCHES_PER_10CM: Final = (8.0, 70.0)
PLAIN_ROWS_PER_10CM: Final = (10.0, 110.0)
"""Stocking stitch of knitting machines, from the loosest on a bulky bed to the tightest on a fine one, with room to
spare (common practice, no source)."""
SHORTEST_MM: Final = 30.0
"""Under this the tape alone is wrong by 7 % and more."""
FEWEST_COUNTED: Final = 6.0


def check_swatches(pattern: Pattern) -> list[Message]:
    """G601 to G603, G605 and G607 about every `gauge` line of a pattern; needs no model and no numpy."""
    found: list[Message] = []
    possible: list[Swatch] = []
    for swatch in pattern.swatches:
        impossible = list(_impossible(swatch))
        found += impossible or _small(swatch)
        if not impossible:
            possible.append(swatch)
    found += _disagreeing(possible)
    found += _odd_plain(possible)
    for swatch in possible:
        if swatch.stitch == "plain":
            counts = {what: per_10cm for what, _, per_10cm, _ in _halves(swatch)}
            found += unlikely_plain(counts.get("stitches"), counts.get("rows"), swatch.span)
    return found


def _impossible(swatch: Swatch) -> Iterator[Message]:
    for what, count, per_10cm, most in _halves(swatch):
        if count is None or per_10cm is None or FEWEST_PER_10CM <= per_10cm <= most:
            continue
        size = "more" if per_10cm > most else "fewer"
        counted = f"{_number(count)} {what} to {_number(swatch.per_mm)} mm"
        yield Message(
            "G601",
            "error",
            f"{_number(per_10cm)} {what} to 10 cm{'' if swatch.per_mm == 100 else f' ({counted})'} are {size} than any "
            "knitting has.",
            swatch.span,
            cure=f"Check the count and the unit: `gauge {swatch.stitch} … {what} per 10 cm` counts {what} in 10 cm.",
            label=f"{_number(FEWEST_PER_10CM)} to {_number(most)} in 10 cm can be",
        )


def _small(swatch: Swatch) -> list[Message]:
    few = [f"{_number(n)} {what}" for what, n, _, _ in _halves(swatch) if n is not None and n < FEWEST_COUNTED]
    if not few and swatch.per_mm >= SHORTEST_MM:
        return []
    size = " and ".join(few) or f"{_number(swatch.per_mm)} mm"
    wrong = 100 * max(
        [2.0 / swatch.per_mm] + [0.5 / n for _, n, _, _ in _halves(swatch) if n is not None and n < FEWEST_COUNTED]
    )
    return [
        Message(
            "G602",
            "warning",
            f"A swatch of {size} is too small to measure: it can be wrong by {wrong:.0f} % and more.",
            swatch.span,
            cure="Measure over 10 cm or more; `stitchc swatch` says how large a swatch is worth knitting.",
            label="counts little in the estimates",
        )
    ]


def _disagreeing(swatches: Iterable[Swatch]) -> Iterator[Message]:
    """Repeated measurements of one stitch that reading errors and two fabrics' difference do not explain."""
    extremes: dict[tuple[str, str], list[tuple[float, float, Swatch]]] = {}
    for swatch in swatches:
        for what, count, per_10cm, _ in _halves(swatch):
            if count is None or per_10cm is None:
                continue
            this = (per_10cm, 2.0 / swatch.per_mm + 0.25 / count + 0.03, swatch)
            seen = extremes.setdefault((swatch.stitch, what), [this, this])
            for other, doubt, earlier in seen:
                apart = abs(math.log(per_10cm / other))
                if apart > doubt + this[1]:
                    yield Message(
                        "G603",
                        "warning",
                        f"Two measurements of `{swatch.stitch}` disagree: {_number(other)} and {_number(per_10cm)} "
                        f"{what} to 10 cm, {100 * math.expm1(apart):.0f} % apart.",
                        swatch.span,
                        cure="Count both again, and keep only lines of the same yarn, tension and finish.",
                        label="the later one",
                        also=((earlier.span, "the earlier one"),),
                    )
                    break
            seen[:] = [min(*seen, this, key=lambda one: one[0]), max(*seen, this, key=lambda one: one[0])]


def unlikely_plain(stitches: float | None, rows: float | None, span: Span | None = None) -> list[Message]:
    """G607: stocking stitch far outside what knitting machines make, in 10 cm; `span` is where it was said."""
    outside = [
        (what, count, f"{fewest:g} to {most:g} {what}")
        for what, count, (fewest, most) in (
            ("stitches", stitches, PLAIN_STITCHES_PER_10CM),
            ("rows", rows, PLAIN_ROWS_PER_10CM),
        )
        if count is not None and not fewest <= count <= most
    ]
    if not outside:
        return []
    counted = " and ".join(f"{_number(count)} {what}" for what, count, _ in outside)
    usual = " and ".join(limits for *_, limits in outside)
    return [
        Message(
            "G607",
            "warning",
            f"Stocking stitch with {counted} in 10 cm is not what knitting machines make: {usual}.",
            span,
            cure="Count again over 10 cm (4 inches); a count over 1 cm or 1 inch is another figure.",
            label="check the count and the unit",
        )
    ]


def _odd_plain(swatches: Iterable[Swatch]) -> Iterator[Message]:
    """Stocking stitch whose rows and stitches do not fit each other: exchanged, or counted otherwise."""
    for swatch in swatches:
        if swatch.stitch != "plain" or not swatch.stitches or not swatch.rows:
            continue
        ratio = swatch.rows / swatch.stitches
        if 1.1 <= ratio <= 1.9:
            continue
        turned = 1.1 <= 1 / ratio <= 1.9
        yield Message(
            "G605",
            "warning",
            f"Stocking stitch with {ratio:.2f} rows to a stitch is unusual; 1.2 to 1.7 is what knitters measure.",
            swatch.span,
            cure=f"gauge plain {_number(swatch.rows)} stitches {_number(swatch.stitches)} rows "
            f"per {_number(swatch.per_mm)} mm, if the two were exchanged"
            if turned
            else "Count again: a row is one pass of the carriage.",
            label="rows and stitches exchanged?" if turned else "check the count",
        )


def surprises(far_out: Iterable[FarOut]) -> Iterator[Message]:
    """G604: swatches far from what stocking stitch and the model led to expect."""
    for swatch, what, expected, off_by, knits in far_out:
        visible = what == "rows" and knits > 0 and abs(math.log1p(off_by) - math.log(knits)) < 0.15
        yield Message(
            "G604",
            "warning",
            f"`{swatch.stitch}` was expected at {_number(expected)} {what} to 10 cm and measured "
            f"{abs(100 * off_by):.0f} % {'over' if off_by > 0 else 'under'} that; it is believed, but check the count.",
            swatch.span,
            cure="Were the V's counted that can be seen? A row is one pass of the carriage; held loops hide rows."
            if visible
            else "If the count is right, nothing need be done: this swatch then stands for this stitch.",
            label="check the count",
        )


def _halves(swatch: Swatch) -> tuple[tuple[str, float | None, float | None, float], ...]:
    return (
        ("stitches", swatch.stitches, swatch.stitches_per_10cm, MOST_STITCHES_PER_10CM),
        ("rows", swatch.rows, swatch.rows_per_10cm, MOST_ROWS_PER_10CM),
    )


def _number(value: float) -> str:
    return f"{value:.4g}" if value < 1e6 else f"{value:.3e}"

"""Messages about `gauge` lines: counts that cannot be, swatches too small, lines that disagree, slips, and a gauge that
does not suit the bed. Needs no model."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator
from typing import Final

from stitchc.gauge.doubt import SURPRISING, FarOut, explained, length_of, line_of
from stitchc.gauge.gauges import PLAIN, PlainGauge
from stitchc.gauge.weights import misnamed
from stitchc.gauge.yarn_lines import unused_lines
from stitchc.machines import Machine
from stitchc.messages import Message, Span
from stitchc.pattern import Pattern, Swatch
from stitchc.wording import OPTION, command_name, machine_name

FEWEST_PER_10CM: Final = 1.0
MOST_STITCHES_PER_10CM: Final = 150.0
"""A fine hand bed (3.6 mm) gives about 50 stitches in 10 cm; three times that is beyond any domestic bed."""
MOST_ROWS_PER_10CM: Final = 600.0
"""A published slip pattern held for eight rows has 118 rows in 10 cm; five times that is beyond any."""
PLAIN_STITCHES_PER_10CM: Final = (8.0, 70.0)
PLAIN_ROWS_PER_10CM: Final = (10.0, 110.0)
"""Stocking stitch of knitting machines, from the loosest on a bulky bed to the tightest on a fine one, with room to
spare (common practice, no source)."""
USUAL_PLAIN: Final = ((22.0, 0.32), (31.0, 0.35), (1.4, 0.12))
"""Middle, and standard deviation in ln, of stitches, of rows and of rows over stitches (from memory, but for the last:
31 hand gauges 1.37, domestic machines 1.2 to 1.7)."""
SHORTEST_MM: Final = 30.0
"""Under this the tape alone is wrong by 7 % and more."""
FEWEST_COUNTED: Final = 6.0
OVER_PITCH: Final = (0.55, 1.12)
"""Width of a plain stitch over the pitch of the bed. A hand-knitting guide ("What machine would you use for this hand
knitting pattern", 2018) has 21 to 40 stitches to 10 cm for 4.5 mm, 16 to 24 for 6.5 mm and 12 to 20 for 9 mm: 0.56 to
1.06 in all; 20 on 4.5 mm is 1.11 (common practice, from memory)."""
BEDS_MM: Final = {3.6: "fine", 4.5: "standard", 6.5: "mid-gauge", 9.0: "bulky"}


def check_gauge(
    pattern: Pattern,
    machine: Machine | None = None,
    plain: PlainGauge | None = None,
    unused: Collection[Swatch] | None = None,
) -> list[Message]:
    """All that can be said of a pattern's `gauge` lines and yarns without the model: G601 to G603, G605, G607 to G610.

    plain: stocking stitch as given on the command line, used for what the file leaves open. unused: as in
    check_swatches.
    """
    messages = check_swatches(pattern, unused) + misnamed(pattern)
    measured = [swatch for swatch in pattern.swatches if swatch.stitch == PLAIN]
    if plain is not None and not (any(s.stitches for s in measured) and any(s.rows for s in measured)):
        messages += check_plain(plain)
    elif plain is not None and all(swatch.yarn is None for swatch in measured):
        messages.append(_plain_not_used(plain, measured[-1]))
    return messages + (check_bed(pattern, machine, plain) if machine is not None else [])


def _plain_not_used(plain: PlainGauge, measured: Swatch) -> Message:
    given = f"{OPTION.plain:{_number(plain.stitches)}x{_number(plain.rows)}}"
    text = f"`{given}` is not used: the file has its own gauge of stocking stitch."
    advice = f"Leave `{OPTION.plain}` out, or delete the `gauge plain` lines if it is to replace them."
    return Message("G610", "warning", text, measured.span, advice, "this is used")


def check_swatches(pattern: Pattern, unused: Collection[Swatch] | None = None) -> list[Message]:
    """G601 to G603, G605, G607 and G610 about every `gauge` line of a pattern.

    unused: swatches that the estimate leaves out, of which G604 speaks and nothing else does; None before estimating.
    """
    messages: list[Message] = []
    possible: list[Swatch] = []
    of_no_yarn = unused_lines(pattern)
    for swatch in pattern.swatches:
        impossible = _impossible(swatch)
        if swatch not in (unused or ()):
            messages += impossible or _small(swatch)
            possible += [swatch] if not impossible else []
    messages += of_no_yarn.values()
    together = [swatch for swatch in possible if swatch not in of_no_yarn]
    messages += _disagreeing(together, "" if unused is None else " Their mean is used.")
    for swatch in possible:
        if swatch.stitch == PLAIN and not swatch.sure:
            messages += _odd_plain(swatch, swatch.span)
    return messages


def check_plain(plain: PlainGauge) -> list[Message]:
    """G605 and G607 about stocking stitch as given on the command line."""
    return _odd_plain(Swatch(PLAIN, 100, Span("", 1), plain.stitches, plain.rows), None)


def _impossible(swatch: Swatch) -> list[Message]:
    sentences, limits = [], []
    for noun, count, per_10cm, most in _halves(swatch):
        if count is None or per_10cm is None or FEWEST_PER_10CM <= per_10cm <= most:
            continue
        size = "more" if per_10cm > most else "fewer"
        measured = "" if swatch.per_mm == 100 else f" ({_number(count)} {noun} to {_number(swatch.per_mm)} mm)"
        sentences.append(f"{_number(per_10cm)} {noun} to 10 cm{measured} are {size} than any knitting has.")
        limits.append(f"{_number(FEWEST_PER_10CM)} to {_number(most)} {noun}")
    if not limits:
        return []
    advice = f"Check the count and the unit: `gauge {swatch.stitch} … per 10 cm` takes what you counted in 10 cm."
    label = f"{' and '.join(limits)} in 10 cm can be"
    return [Message("G601", "error", " ".join(sentences), swatch.span, advice, label)]


def _small(swatch: Swatch) -> list[Message]:
    few = [f"{_number(n)} {noun}" for noun, n, _, _ in _halves(swatch) if n is not None and n < FEWEST_COUNTED]
    if not few and swatch.per_mm >= SHORTEST_MM:
        return []
    size = " and ".join(few) or f"{_number(swatch.per_mm)} mm"
    wrong = 100 * max(
        [2.0 / swatch.per_mm] + [0.5 / n for _, n, _, _ in _halves(swatch) if n is not None and n < FEWEST_COUNTED]
    )
    text = f"A swatch of {size} is too small to measure: it can be wrong by {wrong:.0f} % and more."
    advice = f"Measure over 10 cm or more; {command_name('swatch')} plans a swatch that is large enough."
    return [Message("G602", "warning", text, swatch.span, advice, "changes the estimates little")]


def _disagreeing(swatches: Iterable[Swatch], then: str) -> Iterator[Message]:
    """G603: repeated measurements of one stitch in one yarn that reading errors and the spread between swatches do not
    explain; of two files, that differ by more than the spread. then: what is done about it."""
    extremes: dict[tuple[str, str | None, str], list[tuple[float, float, Swatch]]] = {}
    for swatch in swatches:
        for noun, count, per_10cm, _ in _halves(swatch):
            if count is None or per_10cm is None:
                continue
            this = (per_10cm, 2.0 / swatch.per_mm + 0.25 / count + 0.03, swatch)
            seen = extremes.setdefault((swatch.stitch, swatch.yarn, noun), [this, this])
            for other, doubt, earlier in seen:
                apart = abs(math.log(per_10cm / other))
                two_files = earlier.span.file != swatch.span.file
                if apart > (_SPREAD if two_files else doubt + this[1]):
                    text = (
                        f"Two measurements of `{swatch.stitch}`{' in two files' if two_files else ''} disagree: "
                        f"{_number(other)} and {_number(per_10cm)} {noun} to 10 cm, {100 * math.expm1(apart):.0f} % "
                        f"apart.{then}"
                    )
                    also = ((earlier.span, "the earlier one"),)
                    yield Message("G603", "warning", text, swatch.span, _COUNT_BOTH, "the later one", also)
                    break
            seen[:] = [min(*seen, this, key=lambda each: each[0]), max(*seen, this, key=lambda each: each[0])]


_COUNT_BOTH: Final = (
    "Count both again, and keep only lines for the same yarn, tension and finish. For two yarns, name the yarn at the "
    "end of each line: `in oat`."
)
_SPREAD: Final = 0.05
"""What two swatches of one knitter may differ by, in ln, reading included (common practice: 3 to 5 %)."""


def plain_distance(swatch: Swatch) -> float:
    """How far stocking stitch is from what is usual, in standard deviations."""
    stitches, rows = swatch.stitches_per_10cm, swatch.rows_per_10cm
    values = [stitches or rows, rows / stitches if stitches and rows else None]
    usual = [USUAL_PLAIN[0] if stitches else USUAL_PLAIN[1], USUAL_PLAIN[2]]
    known = [(value, *each) for value, each in zip(values, usual, strict=True) if value]
    return max((abs(math.log(value / middle)) / sd for value, middle, sd in known), default=0.0)


def _odd_plain(swatch: Swatch, span: Span | None) -> list[Message]:
    """G605 and G607: stocking stitch that is unusual, with the slip that would explain it."""
    stitches, rows = swatch.stitches_per_10cm, swatch.rows_per_10cm
    ratio = rows / stitches if stitches and rows else None
    odd_ratio = ratio is not None and abs(math.log(ratio / USUAL_PLAIN[2][0])) > SURPRISING * USUAL_PLAIN[2][1]
    outside = [
        (f"{_number(count)} {noun}", f"{fewest:g} to {most:g} {noun}")
        for noun, count, (fewest, most) in (
            ("stitches", stitches, PLAIN_STITCHES_PER_10CM),
            ("rows", rows, PLAIN_ROWS_PER_10CM),
        )
        if count is not None and not fewest <= count <= most
    ]
    slip = explained(swatch, plain_distance) if plain_distance(swatch) > SURPRISING else None
    if not (odd_ratio or outside or slip):
        return []
    counted = " and ".join(f"{_number(n)} {noun}" for n, noun in ((stitches, "stitches"), (rows, "rows")) if n)
    if outside:
        limits = " and ".join(limits for _, limits in outside)
        text = f"Stocking stitch with {counted} in 10 cm is not what knitting machines make: {limits}."
    elif odd_ratio:
        text = f"Stocking stitch with {counted} in 10 cm has {ratio:.2f} rows to a stitch; 1.2 to 1.7 is usual."
    else:
        text = f"Stocking stitch with {counted} in 10 cm is possible, but unusual."
    advice = "Count again over 10 cm (4 inches): a row is one pass of the carriage."
    if slip is not None:
        line = line_of(slip[1]) if span is not None else _as_option(slip[1])
        advice = f"{line}\nif {slip[0]}." + (" Otherwise end the line with `sure`." if span is not None else "")
    label = f"{slip[0]}?" if slip is not None else "check the count"
    return [Message("G605" if odd_ratio and not outside else "G607", "warning", text, span, advice, label)]


def _as_option(swatch: Swatch) -> str:
    """A swatch of stocking stitch as the option that says the same for 10 cm."""
    return f"{OPTION.plain:{swatch.stitches_per_10cm:.3g}x{swatch.rows_per_10cm:.3g}}"


def check_bed(pattern: Pattern, machine: Machine, plain: PlainGauge | None = None) -> list[Message]:
    """G609: stocking stitch whose stitches are too wide or too narrow for the needles of a machine."""
    messages: list[Message] = []
    counts = [(s.stitches_per_10cm, s.span) for s in pattern.swatches if s.stitch == PLAIN and s.stitches_per_10cm]
    if not counts and plain is not None:
        counts = [(plain.stitches, Span("", 0))]
    for count, span in counts:
        assert count is not None
        width = 100 / count
        if _takes(machine.pitch_mm, width):
            continue
        wide = width > machine.pitch_mm
        beds = [f"{name} ({pitch:g} mm)" for pitch, name in BEDS_MM.items() if _takes(pitch, width)]
        suited = f"Beds that suit it: {' or '.join(beds)}." if beds else "No bed suits it."
        most, fewest = (100 / (over * machine.pitch_mm) for over in OVER_PITCH)
        text = (
            f"Stocking stitch of {_number(count)} stitches in 10 cm does not suit {machine_name(machine.name)}: each "
            f"is {width:.3g} mm wide, {width / machine.pitch_mm:.3f} times the {machine.pitch_mm:g} mm from needle "
            f"to needle, and {'yarn for such stitches jams the hooks' if wide else 'such small ones knit off badly'}. "
            f"About {math.ceil(fewest)} to {math.floor(most)} stitches are usual on it."
        )
        advice = f"{suited} {OVER_PITCH[0]:g} to {OVER_PITCH[1]:g} of the pitch is usual (a guide of the trade)."
        label = f"too {'wide' if wide else 'narrow'} for this bed"
        messages.append(Message("G609", "warning", text, span if span.line else None, advice, label))
    return messages


def _takes(pitch_mm: float, width_mm: float) -> bool:
    return OVER_PITCH[0] <= width_mm / pitch_mm <= OVER_PITCH[1]


def surprises(doubted: Iterable[FarOut]) -> Iterator[Message]:
    """G604: swatches far from what stocking stitch and the model led to expect, but for those that are `sure`."""
    for each in doubted:
        if each.swatch.sure:
            continue
        swatch = each.swatch
        noun, other = (each.counted, "rows") if each.direction == 0 else ("rows", each.counted)
        over = swatch.per_mm / 100  # said over the length that the line has, so that the counts can be compared
        expected = f"{_number(each.expected_per_10cm * over)} {noun} to {length_of(swatch.per_mm)}"
        text = f"`{swatch.stitch}` was expected at {expected} and measured "
        text += _off(each.off_by)
        if each.other is not None:
            text += f", and at {_number(each.other[0] * over)} {other} and measured {_off(each.other[1])}"
        if each.longer:
            text += ", longer than stocking stitch, which tuck and slip always shorten"
        count = "the count" if each.other is None else "both counts"
        text += f"; it is used, but check {count}." if each.used else ". That is hardly possible, so it is not used."
        sure = (
            f"`{line_of(swatch)} sure`, if the count is right."
            if not each.used
            else "If the count is right, end the line with `sure`: this stitch has the gauge of this swatch."
        )
        if each.visible:
            advice, label = f"Did you count the V's you can see? A row is one pass of the carriage. {sure}", "V's?"
        elif each.slip is not None:
            advice, label = f"{line_of(each.slip[1])}\nif {each.slip[0]}. {sure}", f"{each.slip[0]}?"
        else:
            advice, label = sure, f"check {count}"
        yield Message("G604", "warning", text, swatch.span, advice, label)


def _off(share: float) -> str:
    return f"{abs(100 * share):.0f} % {'over' if share > 0 else 'under'} that"


def _halves(swatch: Swatch) -> tuple[tuple[str, float | None, float | None, float], ...]:
    return (
        ("stitches", swatch.stitches, swatch.stitches_per_10cm, MOST_STITCHES_PER_10CM),
        ("rows", swatch.rows, swatch.rows_per_10cm, MOST_ROWS_PER_10CM),
    )


def _number(value: float) -> str:
    return f"{value:.4g}" if value < 1e6 else f"{value:.3e}"

"""All that `stitchc check` and the live page say of a pattern that compiles. What it needs is imported when it is."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from stitchc.checks import check_pattern
from stitchc.messages import Message
from stitchc.pattern import Pattern, Stitch

if TYPE_CHECKING:
    from stitchc.machines.profile import Machine


def check_file(
    pattern: Pattern,
    machine: Machine | None = None,
    stitches: Iterable[Stitch] | None = None,
    spread: float | None = None,
) -> list[Message]:
    """Messages on a pattern's stitches (default: those that nothing else is built from), its gauge lines and yarns,
    and, where no stitches are chosen, its pieces.

    spread: how much two swatches knitted in the same way differ, in %.
    """
    chosen = pattern.wanted() if stitches is None else tuple(stitches)
    messages = check_pattern(pattern, machine, chosen)
    if pattern.swatches or pattern.yarns:
        from stitchc.gauge.remarks import check_gauge

        messages += check_gauge(pattern)
        if any(swatch.stitch in pattern.stitches for swatch in pattern.swatches):
            from stitchc.gauge.estimate import estimate_pattern

            report = estimate_pattern(pattern, spread=None if spread is None else spread / 100)
            # A count can only be surprising beside what was expected, and the model alone knows that.
            impossible = {message.span for message in messages if message.code == "G601"}
            messages += [m for m in report.messages if m.code == "G604" and m.span not in impossible]
    if machine is not None:
        from stitchc.passes import carriage_refuses, unfit

        for stitch in chosen:
            messages += [*unfit(stitch, machine), *carriage_refuses(stitch, machine)]
    if pattern.pieces and stitches is None and not any(m.code[0] == "G" and m.severity == "error" for m in messages):
        from stitchc.piece.checking import check_pieces

        told = {(message.code, message.span) for message in messages}
        messages += [m for m in check_pieces(pattern, machine, spread) if (m.code, m.span) not in told]
    return messages

"""Which machines can knit the pieces of a pattern, with the instructions of each, and why the others cannot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias

from stitchc.gauge.remarks import check_bed
from stitchc.messages import Message, Refused, Span
from stitchc.options import PieceOptions
from stitchc.piece.product import Instructions, write_instructions
from stitchc.wording import machine_name

if TYPE_CHECKING:
    from stitchc.machines import Machine
    from stitchc.options import LeafletOptions, Units
    from stitchc.pattern import Pattern, Piece
    from stitchc.swatch.plan import SwatchPlan


SwatchesKept: TypeAlias = "dict[tuple[str, ...], tuple[SwatchPlan, ...]]"
"""Swatches of one pattern for one machine, by the stitches that they are of."""


@dataclass(frozen=True)
class Way:
    """A machine with the instructions of each piece for it, by the piece's name, in all sizes. swatches: those that
    were planned for it, for whoever needs them again."""

    machine: Machine
    pieces: dict[str, Instructions]
    messages: tuple[Message, ...]
    swatches: SwatchesKept = field(default_factory=dict)


@dataclass(frozen=True)
class NoWay:
    """A machine that cannot knit the pattern, or not well."""

    machine: Machine
    reasons: tuple[Message, ...]

    def words(self, reason: Message) -> str:
        """A reason where the machine is named beside it."""
        return reason.text.replace(machine_name(self.machine.name), "such a machine")


def find_ways(pattern: Pattern, machines: Sequence[Machine], options: LeafletOptions) -> tuple[list[Way], list[NoWay]]:
    """The machines that can knit every piece of the pattern, and those that cannot. Raises Refused with the reasons
    where there is none that can."""
    ways: list[Way] = []
    others: list[NoWay] = []
    for machine in machines:
        unsuited = check_bed(pattern, machine, options.plain)
        if unsuited and len(machines) > 1:
            others.append(NoWay(machine, tuple(unsuited)))
            continue
        try:
            ways.append(_way(pattern, machine, options))
        except Refused as refused:
            errors = tuple(message for message in refused.messages if message.severity == "error")
            others.append(NoWay(machine, errors))
    if not ways:
        raise Refused(*_reasons_together(others), sources=pattern.sources)
    return ways, others


def _reasons_together(others: Sequence[NoWay]) -> list[Message]:
    """Why there is no machine at all: one error for each kind and place, which names the machines it is true of."""
    kinds: dict[tuple[str, Span | None], dict[str, tuple[Message, list[str]]]] = {}
    for each in others:
        for message in each.reasons:
            told = kinds.setdefault((message.code, message.span), {})
            told.setdefault(each.words(message), (message, []))[1].append(each.machine.title)
    errors = []
    for reasons in kinds.values():
        sentences = [
            message.text if words == message.text else f"{words.removesuffix('.')} ({'; '.join(titles)})."
            for words, (message, titles) in reasons.items()
        ]
        messages = [message for message, _ in reasons.values()]
        advice = "\n".join(dict.fromkeys(message.advice for message in messages if message.advice))
        errors.append(messages[0]._replace(severity="error", text=" ".join(sentences), advice=advice or None))
    return errors


def _way(pattern: Pattern, machine: Machine, options: LeafletOptions) -> Way:
    pieces: dict[str, Instructions] = {}
    messages: list[Message] = []
    for name in pattern.pieces:
        product = write_instructions(pattern, machine, piece_options(options, pattern.pieces[name], options.units))
        pieces[name] = product.values[0]
        messages += product.messages
    return Way(machine, pieces, tuple(dict.fromkeys(messages)))


def piece_options(options: LeafletOptions, piece: Piece, units: Units, size: int | None = None) -> PieceOptions:
    """What a leaflet asks of a piece. size: the place of the only one wanted, in place of all of them."""
    chosen = piece.sizes if size is None else piece.sizes[size : size + 1]
    return PieceOptions(
        piece=piece.name,
        plain=options.plain,
        spread=options.spread,
        yarn_back=options.yarn_back,
        sizes=f"{','.join(f'{mm:.3f}' for _, mm in chosen)} mm" if chosen else None,
        units=units,
        anyway=options.anyway,
        for_others=True,
    )

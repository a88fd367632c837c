"""Which machines can knit the pieces of a pattern, with the instructions of each, and why the others cannot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stitchc.gauge.remarks import check_bed
from stitchc.messages import Message, Refused
from stitchc.options import PieceOptions
from stitchc.piece.product import Instructions, write_instructions

if TYPE_CHECKING:
    from stitchc.machines import Machine
    from stitchc.options import LeafletOptions, Units
    from stitchc.pattern import Pattern, Piece


@dataclass(frozen=True)
class Way:
    """A machine with the instructions of each piece for it, by the piece's name, in all sizes."""

    machine: Machine
    pieces: dict[str, Instructions]
    messages: tuple[Message, ...]


@dataclass(frozen=True)
class NoWay:
    """A machine that cannot knit the pattern, or not well."""

    machine: Machine
    reasons: tuple[Message, ...]


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
        reasons = dict.fromkeys(message for each in others for message in each.reasons)
        raise Refused(*(message._replace(severity="error") for message in reasons), sources=pattern.sources)
    return ways, others


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

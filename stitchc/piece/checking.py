"""What keeps a pattern's pieces from being knitted as they are written: for `check`, which makes nothing of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from stitchc.gauge.estimate import GaugeReport
from stitchc.gauge.remarks import check_bed
from stitchc.gauge.yarn import ill_matched
from stitchc.machines import SHIPPED, Machine, load
from stitchc.messages import Message, Span
from stitchc.pattern import Pattern, Piece
from stitchc.piece.alike import sizes_alike
from stitchc.piece.planner import gauge_of, work_out

DEFAULT_MACHINE: Final = "hand-standard"
"""The one that `piece` plans for by default."""

_OF_THE_MACHINE: Final = ("K", "M", "P408", "P409")
"""Beginnings of the codes that may be of one machine and not of another."""

_Key = tuple[str, Span | None]


def check_pieces(pattern: Pattern, machine: Machine | None, spread: float | None = None) -> list[Message]:
    """Each piece planned, in each of its sizes: the errors and warnings. spread: in %.

    Without a machine only what holds for every shipped one. A gauge that is not known (P402) is a warning: an option
    of `piece` may give it.
    """
    reports = [gauge_of(pattern, piece, spread=spread) for piece in pattern.pieces.values()]
    messages = list({message.span: message for report in reports for message in ill_matched(report, pattern)}.values())
    for piece, report in zip(pattern.pieces.values(), reports, strict=True):
        messages += _of_piece(pattern, piece, machine, report)
    return messages


def _of_piece(pattern: Pattern, piece: Piece, machine: Machine | None, report: GaugeReport) -> Iterable[Message]:
    shown = _planned(pattern, piece, machine or load(DEFAULT_MACHINE), report)
    if machine is None and any(code.startswith(_OF_THE_MACHINE) for code, _ in shown):
        widest_first = sorted(map(load, SHIPPED), key=lambda each: -each.needles)
        everywhere = [_planned(pattern, piece, each, report) for each in widest_first]
        codes = set.intersection(*({code for code, _ in each} for each in everywhere))
        own = {key: message for key, message in shown.items() if not key[0].startswith(_OF_THE_MACHINE)}
        suited = [index for index, each in enumerate(widest_first) if not check_bed(pattern, each)] or [0]
        widest = everywhere[suited[0]]
        shown = {key: _of_any(message, suited[0]) for key, message in widest.items() if key[0] in codes} | own
    return shown.values()


def _of_any(message: Message, wider_beds: int) -> Message:
    """As the widest bed that suits the gauge says it; where that is too narrow, that none is wider.

    wider_beds: how many are, with needles that do not suit it.
    """
    none = "No shipped machine has more" + (" of needles that suit this gauge" if wider_beds else "")
    wider = f" {none}." if message.code == "M303" else ""
    return message._replace(text=message.text + wider)


def _planned(pattern: Pattern, piece: Piece, machine: Machine, report: GaugeReport) -> dict[_Key, Message]:
    """The errors and warnings of its plans, by code and place: of several sizes the first that has them."""
    sizes: Sequence[tuple[str, float | None]] = piece.sizes or [("", None)]
    worked_out = [(label, *work_out(pattern, piece, machine, report, width_mm=mm)) for label, mm in sizes]
    messages = [message for _, _, told in worked_out for message in told if message.severity != "info"]
    messages += sizes_alike([(label, plan) for label, plan, _ in worked_out if plan is not None])
    by_place: dict[_Key, Message] = {}
    for message in messages:
        told = message.as_warning() if message.code == "P402" else message
        by_place.setdefault((message.code, message.span), told)
    return by_place

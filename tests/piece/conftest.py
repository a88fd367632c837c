"""What the tests of pieces share: a text planned on a machine."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from stitchc.machines import Machine, load
from stitchc.messages import Message
from stitchc.notation import compile_text
from stitchc.pattern import Pattern
from stitchc.piece import Plan, gauge_of, work_out

Planned = tuple[Plan | None, list[Message]]


def pattern_of(text: str) -> Pattern:
    pattern, messages, _ = compile_text(text, "it.stitch")
    assert pattern is not None, messages
    return pattern


def planned(
    text: str, machine: str | Machine = "hand-standard", anyway: bool = False, width_mm: float | None = None
) -> Planned:
    pattern = pattern_of(text)
    piece = next(iter(pattern.pieces.values()))
    machine = load(machine) if isinstance(machine, str) else machine
    return work_out(pattern, piece, machine, gauge_of(pattern, piece), width_mm=width_mm, anyway=anyway)


def plan_of(text: str, machine: str = "hand-standard") -> Plan:
    plan, messages = planned(text, machine)
    assert plan is not None, messages
    return plan


@pytest.fixture
def codes() -> Callable[[list[Message]], list[tuple[str, str]]]:
    return lambda messages: [(message.code, message.severity) for message in messages]

"""What a shipped profile takes for granted about a card reader, and how to find out whether it is so."""

from __future__ import annotations

from typing import Final

from stitchc.english import number
from stitchc.machines.profile import Machine

TEST_CARD_OF: Final = "card24-standard"
"""The machine that `card` makes cards for by default."""


def reader_to_check(machine: Machine, if_not: str = "") -> str | None:
    """What to find out once about the reader of cards; None without one, or where the profile is the knitter's own.

    if_not: where to read on, for those who cannot make a test card.
    """
    if machine.reader != "card" or machine.card is None or machine.origin != "shipped":
        return None
    rows = machine.card.seen_above_read
    seen = f"reads {number(rows, 'row')} below eye level" if rows else "reads the row at eye level"
    mirror = "mirrored" if machine.mirrored else "not mirrored"
    same = "the pass that reads it" if machine.selects == "same pass" else "the pass after it is read"
    of = "" if machine.name == TEST_CARD_OF else f" --machine {machine.name}"
    how = if_not or f"A test card shows it: stitchc card --test-card{of}."
    return f"Is this true of your reader? It {seen}; the pattern comes out {mirror}; a row is knitted on {same}. {how}"

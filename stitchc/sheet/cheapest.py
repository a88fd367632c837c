"""What another start side or another place of the repeat on the bed would save, in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from stitchc.english import number
from stitchc.wording import OPTION

if TYPE_CHECKING:
    from stitchc.passes import Way
    from stitchc.pattern import Side


def cheapest_words(stitch: str, ways: Sequence[Way], carriage: Side) -> str:
    """The saving of the first of `ways` (cheapest first) over what was asked, with what to type for it."""
    asked = next(way for way in ways if way.carriage == carriage and way.shift == 0)
    best = ways[0]
    tried = f"{len(ways)} ways compared (start sides and shifts of the repeat)"
    spent = f"`{stitch}` as you asked for it: {_cost(asked)}."
    if best is asked:
        return f"{spent}\n{tried}: none needs less."
    changes = []
    if best.carriage != carriage:
        changes.append(f"start with {OPTION.carriage:{best.carriage}}")
    if best.shift:
        changes.append(f"shift the repeat: `stitch {stitch}-moved = {stitch} shifted {best.shift}`")
    moves = asked.cost.moves - best.cost.moves
    settings = asked.cost.lever_changes - best.cost.lever_changes
    return (
        f"{spent}\n{tried}: the cheapest has {_cost(best)}, which saves {number(moves, 'move')}"
        + (f" and {number(settings, 'change')} of setting" if settings > 0 else "")
        + (f" for {number(-settings, 'more change')} of setting" if settings < 0 else "")
        + f".\nTo use it, {', and '.join(changes)}."
    )


def _cost(way: Way) -> str:
    cost = way.cost
    return f"{number(cost.moves, 'needle move')} and {number(cost.lever_changes, 'change')} of the carriage's setting"

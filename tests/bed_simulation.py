"""A hand bed in slow motion, written from what `sheet --format json` promises and from nothing else of stitchc.

The rules: needles in holding position stay there until they are pushed back by hand; a plain pass cancels the hold and
knits every needle; on any other pass the needles in work knit and the held ones take the yarn (tuck) or not (slip).
A needle out of work does nothing (-) from when its stitch is moved away until it is taken back.
"""

from __future__ import annotations

from typing import Any


def position(name: str) -> int:
    """L2, L1, R1, R2 are -2, -1, 0, 1."""
    number = int(name[1:])
    assert number >= 1 and name[0] in "LR"
    return -number if name[0] == "L" else number - 1


def knit(document: dict[str, Any], carriage: str, by_hand: bool = True) -> list[str]:
    """Drive the bed through the passes and return the fabric, a string of K, T, S and - for each row, left to right.

    Fails an assertion where a pass asks for something that cannot be done on a bed in this state. by_hand: otherwise
    a card or a picture selects the needles of each row, and none is moved into holding position or out of it.
    """
    assert document["format"] == "stitchc-sheet/1"
    first, last = position(document["needles"]["left"]), position(document["needles"]["right"])
    in_work = range(first, last + 1)
    assert document["needles"]["count"] == len(in_work)
    holding: set[int] = set()
    empty = {position(n) for n in document["out_of_work"]}
    moved: set[int] = set()
    for step in document["passes"]:  # what is taken back before it was emptied has stood empty from the cast-on
        empty |= emptied(step)[1] - moved
        moved |= emptied(step)[0]
    side = carriage
    fabric = []
    moves = 0
    for number, step in enumerate(document["passes"], start=1):
        assert step["row"] == number
        other = "left" if side == "right" else "right"
        assert step["direction"] == f"{side} to {other}"
        side = other
        out, back = [position(n) for n in step["bring_out"]], [position(n) for n in step["push_back"]]
        assert len(set(out)) == len(out) and len(set(back)) == len(back)
        assert all(n in in_work and n not in holding for n in out), (
            "a needle is brought out that is out, or not in work"
        )
        assert all(n in holding for n in back), "a needle is pushed back that is not out"
        away, again = emptied(step)
        assert not away & empty and again <= empty
        empty = (empty | away) - again
        holding |= set(out)
        holding -= set(back) | away
        assert not holding & empty
        assert step["moves"] == len(out) + len(back) + len(away) + len(again)
        moves += step["moves"]
        if step["setting"] == "plain":
            holding = set()
        held = [position(n) for n in step["held"]]
        if not by_hand:
            assert not out and not back
            holding = set(held)
        assert held == sorted(held) == sorted(holding)
        assert {position(n) for n in step.get("not_held", ())} <= again - holding
        letter = {"plain": "?", "tuck": "T", "slip": "S"}[step["setting"]]
        fabric.append("".join("-" if n in empty else letter if n in holding else "K" for n in in_work))
    assert document["totals"] == {"rows": len(fabric), "moves": moves}
    return fabric


def emptied(step: dict[str, Any]) -> tuple[set[int], set[int]]:
    """The needles put out of work before a pass, their stitches moved to the next needle, and those taken back."""
    away = [*step.get("stitches_moved_left", ()), *step.get("stitches_moved_right", ())]
    return {position(n) for n in away}, {position(n) for n in step.get("taken_back", ())}


def expected(
    rows: list[str], needles: int, edge: int, count: int, first_column: int = 0, first_row: int = 0
) -> list[str]:
    """The fabric as the chart says: repeated across from the first needle that is not an edge needle, edges knit; the
    outermost needles are always in work."""
    fabric = []
    for number in range(count):
        row = rows[(first_row + number) % len(rows)]
        cells = [
            "K" if n < edge or n >= needles - edge else row[(n - edge + first_column) % len(row)]
            for n in range(needles)
        ]
        for end in (0, -1):
            cells[end] = cells[end].replace("-", "K")
        fabric.append("".join(cells))
    return fabric

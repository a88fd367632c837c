"""A hand bed in slow motion, written from what `sheet --format json` promises and from nothing else of stitchc.

The rules: needles in holding position stay there until they are pushed back by hand; a plain pass cancels the hold and
knits every needle; on any other pass the needles in work knit and the held ones take the yarn (tuck) or not (slip).
"""

from __future__ import annotations

from typing import Any


def position(name: str) -> int:
    """L2, L1, R1, R2 are -2, -1, 0, 1."""
    number = int(name[1:])
    assert number >= 1 and name[0] in "LR"
    return -number if name[0] == "L" else number - 1


def knit(document: dict[str, Any], carriage: str) -> list[str]:
    """Drive the bed through the passes and return the fabric, a string of K, T and S for each row, left to right.

    Fails an assertion where a pass asks for something that cannot be done on a bed in this state.
    """
    assert document["format"] == "stitchc-sheet/1"
    first, last = position(document["needles"]["left"]), position(document["needles"]["right"])
    in_work = range(first, last + 1)
    assert document["needles"]["count"] == len(in_work)
    holding: set[int] = set()
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
        holding |= set(out)
        holding -= set(back)
        assert step["moves"] == len(out) + len(back)
        moves += step["moves"]
        if step["setting"] == "plain":
            holding = set()
        held = [position(n) for n in step["held"]]
        assert held == sorted(held) == sorted(holding)
        letter = {"plain": "?", "tuck": "T", "slip": "S"}[step["setting"]]
        fabric.append("".join(letter if n in holding else "K" for n in in_work))
    assert document["totals"] == {"rows": len(fabric), "moves": moves}
    return fabric


def expected(
    rows: list[str], needles: int, edge: int, count: int, first_column: int = 0, first_row: int = 0
) -> list[str]:
    """The fabric as the chart says: repeated across from the first needle that is not an edge needle, edges knit."""
    fabric = []
    for number in range(count):
        row = rows[(first_row + number) % len(rows)]
        fabric.append(
            "".join(
                "K" if n < edge or n >= needles - edge else row[(n - edge + first_column) % len(row)]
                for n in range(needles)
            )
        )
    return fabric

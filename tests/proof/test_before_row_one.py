"""From the cast-on to row 1 by the words alone, on machines whose needles a reader selects: where the carriage comes to
stand, what the row counter shows, and what has selected the needles of row 1."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest

from stitchc.machines import Machine, load_text
from stitchc.notation import compile_text
from stitchc.options import PieceOptions, SheetOptions
from stitchc.piece.product import plan_piece
from stitchc.sheet.product import make_sheet

PATTERN = """
stitch drift over 4
    1: T K3
    2: K
    3: K2 T K
    4: K
gauge drift 19 stitches 40 rows per 10 cm
piece band
    needles 26
    carriage {}
    {}
    knit drift for 6 rows
"""
SIDE = "(left|right)"
WORDS = re.compile(
    "|".join(
        (
            rf"end with the carriage at the {SIDE}",
            rf"[Ww]ith the carriage at the {SIDE}, set the row counter to 000",
            rf"If it is not at the {SIDE}, knit one plain row to bring it there",
            rf"Knit one plain row, {SIDE} to {SIDE}",
            rf"[Mm]ake (?:the|a) (?:selecting )?pass.*?carriage at the {SIDE}",
            r"(Set the row counter to 000)",
            r"(Put (?:in )?the card|(?:Choose|Enter) the picture)",
        )
    )
)


@dataclass
class Place:
    """Where things stand. selected: whether a pass went by since the card or picture was put in."""

    side: str | None = None
    counter: int | None = None
    put_in: bool = False
    selected: bool = False

    def goes(self, start: str | None, end: str) -> None:
        assert start is None or self.side == start, "the carriage is at the other side"
        assert self.side != end, "one pass ends at the other side"
        self.side, self.selected = end, self.put_in
        self.counter = None if self.counter is None else self.counter + 1

    def follow(self, match: re.Match[str]) -> None:
        cast_on, counter_at, brought, start, end, only_selects, zero, put_in = match.groups()
        if cast_on or brought:
            assert not self.put_in or not brought, "the pass would move the picture on"
            self.side = cast_on or brought
        elif counter_at:
            assert self.side in (None, counter_at)
            self.side, self.counter = counter_at, 0
        elif start or only_selects:
            self.goes(start, end or only_selects)
        elif zero:
            self.counter = 0
        elif put_in:
            self.put_in, self.selected = True, False


def reads(kind: str, selects: str) -> Machine:
    return load_text(f'based_on = "{kind}"\nname = "own"\n[reader]\nselects = "{selects}"\n', "own.toml")


@pytest.mark.parametrize("selects", ["same pass", "one pass ahead"])
@pytest.mark.parametrize("kind", ["card24-standard", "bitmap-standard"])
@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("what", ["sheet", "piece", "piece with its own beginning"])
def test_row_one_begins_at_its_side_with_the_counter_at_zero(selects: str, kind: str, side: str, what: str) -> None:
    begins = 'do "Hang the hem."' if "own" in what else "knit drift for 6 rows"
    pattern = compile_text(PATTERN.format(side, begins)).pattern
    assert pattern is not None
    machine = reads(kind, selects)
    if what == "sheet":
        product = make_sheet(pattern, machine, SheetOptions(carriage=side, form="text"))
    else:
        product = plan_piece(pattern, machine, PieceOptions(form="text"))
    text = " ".join(product.files[0].content.decode().split())
    told, first, row_one = text.partition("Before row 1 ")[2].partition("Rows 1 to ")
    place = Place()
    for match in WORDS.finditer(told):
        place.follow(match)
    assert first and re.match(rf"\d+, {side} to ", row_one)
    assert (place.side, place.counter, place.put_in) == (side, 0, True)
    assert place.selected == (selects == "one pass ahead")
    released = "Release the card and knit" in row_one.partition("Do: ")[0]
    assert released == (kind == "card24-standard")

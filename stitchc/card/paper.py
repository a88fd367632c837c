"""Which part of a card goes on which sheet of paper, and where on it: sizes, margins, tiles and their joints.

A card longer than the page is drawn whole first (the JSON's `centres_px` are about that picture), then in pages.
Knows a card's dimensions and paper; what is drawn there is the drawing's business.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, replace
from typing import Final

from stitchc.card.plan import Card, Strip
from stitchc.page import PAPERS
from stitchc.wording import OPTION

ROLL: Final = "roll"

SIDE_MARGIN_MM: Final = 8.0
END_MARGIN_MM: Final = 10.0
UNPRINTABLE_MM: Final = 6.35
"""A quarter of an inch: nothing needed lies nearer to the paper's edge (what most printers can do: common practice)."""

HEAD_MM: Final = (22.0, 9.0)
FOOT_MM: Final = (28.0, 15.0)
"""Of the first page, which tells everything, and of the others."""

NOTES_FOOT_MM: Final = 42.0
"""What the first page's foot takes more where the notes stand in it, for want of room beside the sheet."""

GAP_MM: Final = 3.0
RULE_MM: Final = 100.0
RULE_ROOM_MM: Final = 9.0
NOTES_MM: Final = (27.0, 90.0)
"""The least and the most width of a column of notes beside the sheet."""

OVERLAP_ROWS: Final = 2
STRIP_MM: Final = 5.0
"""Room beyond a joint for the column numbers."""

Scale = tuple[float, float]


class DoesNotFit(ValueError):
    """The paper is too small for the card; the text says by how much and what would do."""


@dataclass(frozen=True)
class Tile:
    """A part of a strip on one page. Lengths along the strip are counted from the end that goes in first.

    first, last: the positions (see Card) whose holes are on it. from_mm, to_mm: the part of the sheet drawn.
    joint_below, joint_above: where along the sheet this tile meets its neighbours, None at the strip's own ends. The
    lower tile goes on past the joint by the overlap, so that the upper one, cut at the joint, is laid over it.
    page_mm: the page's width and height. sheet_left_mm, sheet_bottom_mm: where on the page the sheet's left edge and
    `from_mm` lie. notes_mm: width of the column of notes right of it, 0 where there is no room and they stand in the
    foot. margin_mm: blank paper above the head and below the foot. tells_all: it has the notes.
    """

    strip: Strip
    first: int
    last: int
    from_mm: float
    to_mm: float
    joint_below: float | None
    joint_above: float | None
    page_mm: tuple[float, float]
    sheet_left_mm: float
    sheet_bottom_mm: float
    notes_mm: float
    margin_mm: float
    tells_all: bool
    number: int = 1
    of: int = 1

    @property
    def foot_top_mm(self) -> float:
        notes = NOTES_FOOT_MM if self.tells_all and not self.notes_mm else 0.0
        return self.page_mm[1] - self.margin_mm - FOOT_MM[not self.tells_all] - notes

    def y_mm(self, along_mm: float) -> float:
        """Where on the page a place along the sheet lies (y down)."""
        return self.sheet_bottom_mm - (along_mm - self.from_mm)


def tiles(card: Card, paper: str, scale: Scale = (1.0, 1.0), notes_height_mm: float = 0.0) -> list[Tile]:
    """The card, blank after blank, on pages of `paper`, or each blank on a page as long as it must be ("roll").

    scale: by how much the drawing will be stretched for the printer; margins are kept after it. notes_height_mm:
    how high the notes will be at least. Raises DoesNotFit.
    """
    laid: list[Tile] = []
    for blank in card.blanks:
        if paper == ROLL:
            laid.append(_whole(card, blank, notes_height_mm, not laid))
        else:
            laid += _on_pages(card, blank, paper, scale, not laid)
    return [replace(tile, number=number, of=len(laid)) for number, tile in enumerate(laid, start=1)]


def whole(card: Card, paper: str, scale: Scale, notes_height_mm: float) -> Tile:
    """The card on a single page, blanks joined: on `paper` where it fits, else on a roll."""
    try:
        laid = tiles(card, paper, scale, notes_height_mm)
    except DoesNotFit:
        laid = []
    return laid[0] if len(laid) == 1 else _whole(card, card.whole, notes_height_mm, True)


def _whole(card: Card, strip: Strip, notes_height_mm: float, tells_all: bool) -> Tile:
    length = card.length_mm(strip)
    body = max(length, RULE_MM + 2, notes_height_mm)
    width = card.shape.sheet_width_mm + GAP_MM + NOTES_MM[0] + RULE_ROOM_MM + 2 * SIDE_MARGIN_MM
    head, foot = HEAD_MM[not tells_all], FOOT_MM[not tells_all]
    page = (max(width, PAPERS["a4"][0]), 2 * END_MARGIN_MM + head + body + foot)
    return _tile(card, strip, page, (SIDE_MARGIN_MM, END_MARGIN_MM), (0.0, length), (None, None), tells_all)


def _paper_margins(card: Card, paper: str, scale: Scale) -> tuple[tuple[float, float], tuple[float, float]]:
    """The page, upright or turned, and its margins at the sides and the ends."""
    upright = PAPERS[paper]
    needed = card.shape.sheet_width_mm + GAP_MM + RULE_ROOM_MM
    for page in (upright, (upright[1], upright[0])):
        for wanted in (SIDE_MARGIN_MM, UNPRINTABLE_MM):
            side = _margin(page[0], wanted, scale[0])
            if needed <= page[0] - 2 * side:
                return page, (side, _margin(page[1], END_MARGIN_MM, scale[1]))
    most = max(upright) - 2 * UNPRINTABLE_MM - GAP_MM - RULE_ROOM_MM
    wider = "" if paper == "a3" else f"{OPTION.paper:a3} or "
    raise DoesNotFit(
        f"The sheet is {card.shape.sheet_width_mm:g} mm wide, and {paper} has room for {most:.0f} mm beside the check "
        f"rule. Use {wider}{OPTION.paper:roll}."
    )


def _margin(side_mm: float, wanted_mm: float, scale: float) -> float:
    """The margin before stretching about the page's centre, so that what is stretched stays printable."""
    return max(wanted_mm, side_mm / 2 - (side_mm / 2 - UNPRINTABLE_MM) / scale)


def _on_pages(card: Card, strip: Strip, paper: str, scale: Scale, tells_all: bool) -> list[Tile]:
    page, margins = _paper_margins(card, paper, scale)
    notes = 0.0 if _notes_mm(card, page, margins[0]) else NOTES_FOOT_MM
    first, later = (page[1] - 2 * margins[1] - HEAD_MM[place] - FOOT_MM[place] for place in (0, 1))
    room = first - notes if tells_all else later
    length, pitch, rows = card.length_mm(strip), card.shape.row_pitch_mm, len(card.positions(strip))
    if length <= room:
        return [_tile(card, strip, page, margins, (0.0, length), (None, None), tells_all)]
    overlap = OVERLAP_ROWS * pitch
    # what a tile between two joints takes: its rows, the overlap above, a strip of column numbers at each end
    besides = overlap + 2 * STRIP_MM + 2 * card.shape.end_margin_mm
    most, most_later = (int((height - besides) / pitch) for height in (room, later))
    if min(most, most_later) < OVERLAP_ROWS + 1:
        wider = "" if paper == "a3" else f"{OPTION.paper:a3} or "
        raise DoesNotFit(
            f"Rows {pitch:g} mm apart leave no room for {OVERLAP_ROWS + 1} of them on a page of {paper}. Use "
            f"{wider}{OPTION.paper:roll}."
        )
    count = 1 + -(-(rows - most) // most_later)
    share = rows / (most + (count - 1) * most_later)  # pages are filled alike
    ends = [round(share * (most + place * most_later)) for place in range(count - 1)]
    joints = [card.along_mm(strip, card.positions(strip)[end]) - pitch / 2 for end in ends]
    return [
        _tile(
            card,
            strip,
            page,
            margins,
            (below or 0.0, length if above is None else above + overlap),
            (below, above),
            tells_all and below is None,
        )
        for below, above in zip([None, *joints], [*joints, None], strict=True)
    ]


def _notes_mm(card: Card, page: tuple[float, float], side: float) -> float:
    """Room for the notes right of the sheet; 0 where there is not enough."""
    room = page[0] - 2 * side - card.shape.sheet_width_mm - GAP_MM - RULE_ROOM_MM
    return min(room, NOTES_MM[1]) if room >= NOTES_MM[0] - 1e-6 else 0.0


def _tile(
    card: Card,
    strip: Strip,
    page: tuple[float, float],
    margins: tuple[float, float],
    part: tuple[float, float],
    joints: tuple[float | None, float | None],
    tells_all: bool,
) -> Tile:
    def along(position: int) -> float:
        return card.along_mm(strip, position)

    rows = card.positions(strip)
    on_it = rows[bisect_right(rows, part[0], key=along) : bisect_left(rows, part[1], key=along)]
    numbers = STRIP_MM if joints[1] is not None else 0.0
    return Tile(
        strip=strip,
        first=on_it[0],
        last=on_it[-1],
        from_mm=part[0],
        to_mm=part[1],
        joint_below=joints[0],
        joint_above=joints[1],
        page_mm=page,
        sheet_left_mm=margins[0],
        sheet_bottom_mm=margins[1] + HEAD_MM[not tells_all] + numbers + part[1] - part[0],
        notes_mm=_notes_mm(card, page, margins[0]),
        margin_mm=margins[1],
        tells_all=tells_all,
    )

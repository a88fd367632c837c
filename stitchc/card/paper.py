"""Which part of a card goes on which sheet of paper, and where on it: sizes, margins, tiles and their joints.

Knows a card's dimensions and paper; what is drawn there is the drawing's business.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from stitchc.page import PAPERS

if TYPE_CHECKING:
    from stitchc.card.plan import Card

ROLL: Final = "roll"

SIDE_MARGIN_MM: Final = 8.0
END_MARGIN_MM: Final = 10.0
UNPRINTABLE_MM: Final = 6.35
"""A quarter of an inch: nothing needed lies nearer to the paper's edge (what most printers can do: common practice)."""

HEAD_MM: Final = 22.0
FOOT_MM: Final = 28.0
NOTES_FOOT_MM: Final = 42.0
"""What the foot takes more where the notes stand in it, for want of room beside the sheet."""

GAP_MM: Final = 3.0
WORDS_MM: Final = 9.5
"""Room left of the sheet for the words beside its rows."""

RULE_MM: Final = 100.0
RULE_ROOM_MM: Final = 9.0
NOTES_MM: Final = (27.0, 62.0)
"""The least and the most width of a column of notes beside the sheet."""

OVERLAP_ROWS: Final = 2
STRIP_MM: Final = 5.0
"""Room beyond a joint for the column numbers."""


class DoesNotFit(ValueError):
    """The paper is too small for the card; the text says by how much and what would do."""


@dataclass(frozen=True)
class Tile:
    """A part of the card on one page. Lengths along the sheet are counted from the end that goes in first.

    first, last: the positions (see Card.positions) whose holes are on it. from_mm, to_mm: the part of the sheet drawn.
    joint_below, joint_above: where along the sheet this tile meets its neighbours, None at the sheet's own ends. The
    lower tile goes on past the joint by the overlap, so that the upper one, cut at the joint, is laid over it.
    page_mm: the page's width and height. sheet_left_mm, sheet_bottom_mm: where on the page the sheet's left edge and
    `from_mm` lie. words_mm: room left of the sheet, 0 where there is none. notes_mm: width of the column of notes
    right of it, 0 where there is no room and they stand in the foot. margin_mm: blank paper above the head and below
    the foot.
    """

    number: int
    of: int
    first: int
    last: int
    from_mm: float
    to_mm: float
    joint_below: float | None
    joint_above: float | None
    page_mm: tuple[float, float]
    sheet_left_mm: float
    sheet_bottom_mm: float
    words_mm: float
    notes_mm: float
    margin_mm: float

    @property
    def left_mm(self) -> float:
        """Where everything on the page begins; it ends as far from the right edge."""
        return self.sheet_left_mm - self.words_mm

    def y_mm(self, along_mm: float) -> float:
        """Where on the page a place along the sheet lies (y down)."""
        return self.sheet_bottom_mm - (along_mm - self.from_mm)


def along_mm(card: Card, position: float) -> float:
    """How far a row of holes is from the end that goes in first."""
    return card.shape.end_margin_mm + (position - card.positions[0]) * card.shape.row_pitch_mm


def tiles(card: Card, paper: str, scale: tuple[float, float] = (1.0, 1.0), notes_height_mm: float = 0.0) -> list[Tile]:
    """The card on pages of `paper`, or on one page as long as it must be ("roll").

    scale: by how much the drawing will be stretched for the printer; margins are kept after it. notes_height_mm:
    how high the notes will be at least. Raises DoesNotFit.
    """
    if paper == ROLL:
        return [_whole(card, notes_height_mm)]
    upright = PAPERS[paper]
    sheet = card.shape.sheet_width_mm
    for page in (upright, (upright[1], upright[0])):
        side = _margin(page[0], SIDE_MARGIN_MM, scale[0])
        if sheet + GAP_MM + RULE_ROOM_MM > page[0] - 2 * side:
            side = _margin(page[0], UNPRINTABLE_MM, scale[0])
        if sheet + GAP_MM + RULE_ROOM_MM <= page[0] - 2 * side:
            return _on_pages(card, paper, page, side, _margin(page[1], END_MARGIN_MM, scale[1]))
    most = max(upright) - 2 * UNPRINTABLE_MM - GAP_MM - RULE_ROOM_MM
    raise DoesNotFit(
        f"The sheet is {card.shape.sheet_width_mm:g} mm wide, and {paper} has room for {most:.0f} mm beside the check "
        f"rule. Use {'--paper a3 or ' if paper != 'a3' else ''}--paper roll."
    )


def whole(card: Card, paper: str, scale: tuple[float, float], notes_height_mm: float) -> Tile:
    """The card on a single page: on `paper` where it fits, else on a roll."""
    try:
        laid = tiles(card, paper, scale, notes_height_mm)
    except DoesNotFit:
        laid = []
    return laid[0] if len(laid) == 1 else _whole(card, notes_height_mm)


def _margin(side_mm: float, wanted_mm: float, scale: float) -> float:
    """The margin before stretching about the page's centre, so that what is stretched stays printable."""
    return max(wanted_mm, side_mm / 2 - (side_mm / 2 - UNPRINTABLE_MM) / scale)


def _whole(card: Card, notes_height_mm: float) -> Tile:
    body = max(card.length_mm, RULE_MM + 2, notes_height_mm)
    width = WORDS_MM + card.shape.sheet_width_mm + GAP_MM + NOTES_MM[0] + RULE_ROOM_MM + 2 * SIDE_MARGIN_MM
    width = max(width, PAPERS["a4"][0])
    height = 2 * END_MARGIN_MM + HEAD_MM + body + FOOT_MM
    bottom = END_MARGIN_MM + HEAD_MM + card.length_mm
    margins = (SIDE_MARGIN_MM, END_MARGIN_MM)
    return _tile(card, (width, height), margins, bottom, (1, 1), (0.0, card.length_mm), (None, None))


def _on_pages(card: Card, paper: str, page: tuple[float, float], side: float, end: float) -> list[Tile]:
    margins = (side, end)
    foot = FOOT_MM + (0.0 if _beside_mm(card, page, side)[1] else NOTES_FOOT_MM)
    room = page[1] - 2 * end - HEAD_MM - foot
    if card.length_mm <= room:
        bottom = end + HEAD_MM + card.length_mm
        return [_tile(card, page, margins, bottom, (1, 1), (0.0, card.length_mm), (None, None))]
    pitch, rows = card.shape.row_pitch_mm, len(card.positions)
    overlap = OVERLAP_ROWS * pitch
    # what a tile between two joints takes: its rows, the overlap above, a strip of column numbers at each end
    most = int((room - overlap - 2 * STRIP_MM - card.shape.end_margin_mm) / pitch)
    if most < OVERLAP_ROWS + 1:
        raise DoesNotFit(
            f"Rows {pitch:g} mm apart leave no room for {OVERLAP_ROWS + 1} of them on a page of {paper}. "
            f"Use {'--paper a3 or ' if paper != 'a3' else ''}--paper roll."
        )
    count = -(-rows // most)
    joints = [along_mm(card, card.positions[rows * index // count]) - pitch / 2 for index in range(1, count)]
    laid = []
    for index in range(count):
        below = joints[index - 1] if index else None
        above = joints[index] if index < count - 1 else None
        start = 0.0 if below is None else below
        stop = card.length_mm if above is None else above + overlap
        bottom = end + HEAD_MM + (STRIP_MM if above is not None else 0.0) + stop - start
        laid.append(_tile(card, page, margins, bottom, (index + 1, count), (start, stop), (below, above)))
    return laid


def _beside_mm(card: Card, page: tuple[float, float], side: float) -> tuple[float, float]:
    """Room for the words left of the sheet and for the notes right of it; 0 where there is not enough."""
    room = page[0] - 2 * side - card.shape.sheet_width_mm - GAP_MM - RULE_ROOM_MM
    words = WORDS_MM if room >= WORDS_MM else 0.0
    notes = min(room - words, NOTES_MM[1])
    return words, notes if notes >= NOTES_MM[0] else 0.0


def _tile(
    card: Card,
    page: tuple[float, float],
    margins: tuple[float, float],
    bottom: float,
    number: tuple[int, int],
    part: tuple[float, float],
    joints: tuple[float | None, float | None],
) -> Tile:
    def along(position: int) -> float:
        return along_mm(card, position)

    rows = card.positions
    on_it = rows[bisect_right(rows, part[0], key=along) : bisect_left(rows, part[1], key=along)]
    words, notes = _beside_mm(card, page, margins[0])
    return Tile(
        number=number[0],
        of=number[1],
        first=on_it[0],
        last=on_it[-1],
        from_mm=part[0],
        to_mm=part[1],
        joint_below=joints[0],
        joint_above=joints[1],
        page_mm=page,
        sheet_left_mm=margins[0] + words,
        sheet_bottom_mm=bottom,
        words_mm=words,
        notes_mm=notes,
        margin_mm=margins[1],
    )

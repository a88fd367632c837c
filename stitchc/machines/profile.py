"""The machine profile as values. The TOML files beside this say where each figure comes from."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

from stitchc.bed import Needles

if TYPE_CHECKING:
    from stitchc.options import YarnBack

Reader = Literal["none", "card", "bitmap"]
Meaning = Literal["knit", "hold"]


@dataclass(frozen=True)
class Limit:
    """Counts from which something is warned of and from which it is an error; None where it never is."""

    warn_from: int | None = None
    error_from: int | None = None

    def severity(self, count: int) -> Literal["error", "warning"] | None:
        """What is said of such a count, if anything."""
        if self.error_from is not None and count >= self.error_from:
            return "error"
        return "warning" if self.warn_from is not None and count >= self.warn_from else None


@dataclass(frozen=True)
class Limits:
    """What the machine can knit. Counts are of loops or needles; every one is a setting of the profile.

    tucks_in_succession: tucks on one needle between two knits (textbook: up to four, Spencer p. 96).
    tucks_side_by_side: adjacent needles that tuck in one row.
    slips_in_succession: slips on one needle between two knits.
    float_needles: adjacent needles that slip in one row. float_mm: warned of over this length (needles x pitch).
    mixed_rows: severity of a row that has both tuck and slip.
    """

    tucks_in_succession: Limit = Limit(warn_from=4, error_from=5)
    tucks_side_by_side: Limit = Limit(warn_from=2, error_from=3)
    slips_in_succession: Limit = Limit(warn_from=5)
    float_needles: Limit = Limit(warn_from=6)
    float_mm: float | None = 25.0
    mixed_rows: Literal["error", "warning"] = "error"


@dataclass(frozen=True)
class CardShape:
    """The hole card's dimensions in mm and rows. Every distance is to the centre of a hole, every hole a diameter.

    rows: pattern rows on a bought blank; least_rows: rows a closed card needs to turn; joining_rows: fully punched
    rows at each end that overlap when the card is closed, on top of the pattern rows. seen_above_read: how many rows
    the row at eye level lies above the row being read.
    The columns stand in the middle of the sheet, so the first is `first_column_mm` from its left edge.
    end_margin_mm: from the sheet's end to the first row of holes (the first joining row, where there are any).
    Guide holes (the transport) run down both edges, `guide_from_edge_mm` in, one every `guide_pitch_mm`, the first
    `guide_offset_mm` beyond the first row of holes (0: level with it). Clip holes sit in each corner,
    `clip_from_edge_mm` in from the side and at each of `clip_from_end_mm` from the end; an empty tuple: none.
    """

    rows: int
    least_rows: int
    joining_rows: int
    seen_above_read: int
    column_pitch_mm: float
    row_pitch_mm: float
    hole_mm: float
    sheet_width_mm: float
    guide_hole_mm: float
    guide_pitch_mm: float
    guide_from_edge_mm: float
    clip_hole_mm: float
    clip_from_edge_mm: float
    clip_from_end_mm: tuple[float, ...]
    end_margin_mm: float
    guide_offset_mm: float = 0.0

    def first_column_mm(self, columns: int) -> float:
        """From the sheet's left edge to the centre of column 1, the columns standing in the middle of the sheet."""
        return (self.sheet_width_mm - (columns - 1) * self.column_pitch_mm) / 2


@dataclass(frozen=True)
class Machine:
    """One machine. pitch_mm: distance between needles. needles: on the whole bed, half each side of 0.

    reader: what reads the pattern; reader_width: columns of the card (card), or the widest picture (bitmap).
    tuck and slip say how each is made: "holding" (needles put into holding position by hand), "carriage" (a lever
    setting over selected needles), "by-hand" (yarn led past by hand, slow), "none".
    slip_by: how hands slip: "lifting" the yarn over the hooks of held needles after the pass, or "rest", the needles
    pushed right back for the pass, each with its stitch in the hook. yarn_at_other_side: what is done where the next
    yarn hangs at the other side: "cut" and join it, a "free pass" with all needles held, or "carry" the carriage there.
    hold_directions: how the carriage is set to leave needles in holding position: "both" (one setting for both
    directions), "each" (each direction has a setting of its own) or "one" (in one direction alone, either of them; it
    knits them back in the other).
    mark_means: what a hole (card) or a dark pixel (bitmap) does: "knit" or "hold".
    mirrored: the card or picture is entered left to right exchanged.
    column_1_needle: the needle that column 1 of the pattern stands on (of a mirrored card its last column as it lies
    before you); the columns repeat outward from there, as `passes.columns_on` has them. None (hand beds and electronic
    readers, where the knitter sets the place): column 1 stands on the leftmost needle that is not an edge needle.
    selects: "same pass", or "one pass ahead" where the carriage selects needles for the next pass.
    first_row: whether the picture is entered bottom row first or top row first (bitmap).
    origin: "shipped", or the file of the knitter's own (two profiles that say the same are equal, whoever wrote them).
    """

    name: str
    title: str
    pitch_mm: float
    needles: int
    reader: Reader
    reader_width: int | None
    tuck: Literal["holding", "carriage", "none"]
    slip: Literal["carriage", "by-hand", "none"]
    hold_directions: Literal["both", "each", "one"] = "both"
    slip_by: Literal["lifting", "rest"] = "lifting"
    yarn_at_other_side: Literal["cut", "free pass", "carry"] = "cut"
    mark_means: Meaning = "knit"
    mirrored: bool = False
    column_1_needle: str | None = None
    selects: Literal["same pass", "one pass ahead"] = "same pass"
    first_row: Literal["bottom", "top"] = "bottom"
    card: CardShape | None = None
    limits: Limits = field(default_factory=Limits)
    origin: str = field(default="shipped", compare=False)

    def bringing_yarn(self, way: YarnBack | None) -> Machine:
        """The same machine with another way to come by a yarn at the other side; None: as its profile says."""
        return self if way is None else replace(self, yarn_at_other_side="free pass" if way == "free-pass" else way)

    @property
    def in_full(self) -> str:
        """ "Hand bed, mid gauge, 6.5 mm, no patterning (hand-mid)": what it is, and its profile's name, if any."""
        return f"{self.title} ({self.name})" if self.name != self.title else self.title

    @property
    def bed(self) -> Needles:
        """All the needles of the bed, half each side of 0."""
        return Needles.centred(self.needles)

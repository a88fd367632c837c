"""The terms of a sheet, each with its meaning, and the cautions: one list, from which a sheet takes what it uses.

One thing has one word everywhere: in the rows, on the page and in messages.
"""

from __future__ import annotations

from typing import Final

MAIN_YARN: Final = "the main yarn"
"""What rows without a yarn of their own are knitted with, where other rows name one."""

WHICH_IS_MAIN: Final = "the yarn of the rows that name none"
"""Added where it is first spoken of: no line of the file has its name."""

LOCK_IT: Final = "lock it with its START line at eye level"
"""A card, as it says itself: the row between those lines is not its row 1 where the reader reads below eye level."""


CARD_AS_WRITTEN: Final = (
    "The rows and needles given here are for a card made as the stitch is written: not shifted, begun at row 1, each "
    "row once."
)
"""Which card instructions are for. It names no options: the page has other words for them."""


TERMS: Final[dict[str, str]] = {
    "L1, R1, …": "the needles left and right of the middle of the bed, counted outward.",
    "Row": "one pass of the carriage. The row's number is what the row counter shows after the pass.",
    "Plain": "stocking stitch: every needle knits.",
    "Repeat": "the part of a stitch that is knitted again and again.",
    "K, knit": "the needle takes the yarn and knits off everything in its hook.",
    "T, tuck": "the needle takes the yarn and keeps everything it holds.",
    "S, slip": "the needle takes no yarn and keeps everything it holds.",
    "Edge needles": "the first and last needles in work; they always knit.",
    "Bring out": "pull the needle to holding position, as far out as it goes. It stays out, row after row, until you "
    "push it back or cancel the hold. Count what you moved against the number in brackets.",
    "Push back": "move the needle from holding position to upper working position, so that its loops lie behind the "
    "open latch. The next pass then knits them off together. Never push it right back: the old stitch would slide "
    "off over the latch. If your bed has no upper working position, move the needle back with care, "
    "only until the loops lie behind the open latch.",
    "Push right back": "move the needle to non-working position, as far back as it goes, with its stitch in the hook. "
    "The carriage passes it by, and it slips. Do so only with a needle that holds one stitch and no tuck. Keep the "
    "fabric drawn down so that the stitch stays in the hook. Try a few needles first: not every bed allows it.",
    "Bring forward": "move the needle from where it was pushed right back to working position. If you bring it out as "
    "far as holding position, see that its latch is open.",
    "Out of work": "the needle stands empty, pushed right back to non-working position, and the yarn lies past it as "
    "the bar of a ladder. Check now and then that none has come forward. With a transfer tool its stitch is moved to a "
    "neighbour, with all the loops that it holds.",
    "Back to work": "push the empty needle forward to working position. Of a gap of several needles one comes back at "
    "a time, with a row between. Hang the bar of the row below on it to close the gap, or leave it; where it takes the "
    "stitch of a neighbour, there is no gap.",
    "Free pass": "bring the carriage across without yarn, with all needles in work in holding position and the "
    "carriage set to hold. It takes no needle, so no stitch is made or dropped. Check that every needle is out first.",
    "Carry the carriage": "lift the carriage off the bed and put it on at the other side. Use both hands, keep the "
    "yarns clear, and see that it sits on both rails before you move it.",
    "Hold": "set the carriage so that it does not knit the needles in holding position. Your manual has its own name "
    "for this setting.",
    "Cancel the hold": "set the carriage so that it knits the needles in holding position.",
    "Comb 1 out, 1 in": "a comb or needle pusher with teeth in this order (or the order given) moves the needles all "
    "at once. Put its first out tooth on the first needle named.",
    "2 needles, skip 3": "take two needles, leave the next three, and so on (or the numbers given), from the first "
    "needle named to the last.",
    "The same again": "the needles just named, counted on from each further needle: find the first needle of the next "
    "group and move the same ones from there.",
    "Slip by hand": "bring the needles out and make the pass slowly, with a little slack in the yarn. The yarn now "
    "lies over the held needles. With a finger or a latch tool, lift it over the hook of each slip needle and let it "
    "down under the needle, on the side that faces you. The float must lie flat, as wide as the needles it passes, "
    "not "
    "pulled tight.",
    "Waste yarn": "smooth yarn for rows that are taken out again. It is not part of the piece.",
}
"""Push back, push right back, carry the carriage: from memory, common practice. Free pass: from notes on partial
knitting."""

CAUTIONS: Final = (
    "Hooks and latches are sharp, and the carriage pinches at the ends of its travel. Keep fingers, hair, cords and "
    "small children clear of the bed while it moves.",
    "If the carriage sticks, stop. Never force it. Ease it back, look for a needle out of line or yarn around a "
    "brush, "
    "and lift the carriage off if you have to.",
    "Weights fall when the work comes off. Keep feet and pets away, and check that the clamps are tight before you "
    "begin.",
    "Change your posture, rest your hands at least every half hour, and stop if a wrist or shoulder hurts.",
    "Follow your machine's manual and your local safety rules before this sheet.",
)
"""The usual cautions of the trade: common practice, no single source."""


def terms(*names: str) -> tuple[tuple[str, str], ...]:
    """These terms with their meanings, in the order of the list."""
    return tuple((name, meaning) for name, meaning in TERMS.items() if name in names)

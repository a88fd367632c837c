"""What is read before the rows: what to do before row 1, and what the machine and this stitch ask for."""

from __future__ import annotations

import itertools
import math
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from stitchc.bed import needle_name
from stitchc.document import Block, ByHand, Drawing, Listing, Part, Terms
from stitchc.document.bed_strip import WHOLE_BED, draw
from stitchc.english import count_of, listed, number, several
from stitchc.machines.habits import reader_to_check
from stitchc.passes import Pass, column_1_position, moved_by_hand, other_side, selects_ahead
from stitchc.sheet.instructions import Yarns, reader_name
from stitchc.sheet.needle_words import name_needles, shortest
from stitchc.sheet.terms import CARD_AS_WRITTEN, CAUTIONS, LOCK_IT, terms

if TYPE_CHECKING:
    from stitchc.bed import Needles
    from stitchc.machines.profile import Machine
    from stitchc.pattern import Side


def empty_words(sizes: Sequence[Sequence[Pass]], words: str) -> list[str]:
    """The needles that stand empty at the cast-on, of each size in `words` with {} for them; nothing where none do."""
    empties = [passes[0].empty if passes else () for passes in sizes]
    return [words.format(_named_in_sizes(empties))] if any(empties) else []


def _named_in_sizes(sizes: Sequence[tuple[int, ...]]) -> str:
    """Needles of each size in words, in one phrase where they go into one; no comb, whose "out" is holding position."""
    together = name_needles(*sizes) if all(sizes) else None
    if together is not None:
        return together.counted()
    named = [name_needles(each) if each else None for each in sizes]
    return several([each.counted() if each is not None else "none" for each in named])


def needles_part(beds: Sequence[Needles], rows: Iterable[tuple[str, Sequence[Pass]]]) -> list[Part]:
    """The needles in work and out of work; nothing where none is out. beds: of each size. rows: a row of each kind, in
    each size, with its label. A strip shows the bed of one size; of several there are the words alone."""
    blocks: list[Block] = []
    for label, sizes in rows:
        empties = [each.empty for each in sizes]
        if any(empties):
            empty_words, ends = _named_in_sizes(empties), bed_words(beds)
            words = f"{label}: {empty_words} out of work, the others from {ends} in work."
            blocks.append(words if len(beds) > 1 else _setup_strip(beds[0], words, empties[0]))
    return [Part("Needles in work and out of work", tuple(blocks))] if blocks else []


def _setup_strip(needles: Needles, words: str, empty: tuple[int, ...]) -> Drawing:
    away = set(empty)
    signs = "".join("-" if needle in away else "." for needle in range(needles.first, needles.last + 1))
    lines = [
        f"  {needle_name(needles.first + start):>5}  {signs[start : start + _SIGNS_A_LINE].replace('.', 'I')}"
        for start in range(0, needles.count, _SIGNS_A_LINE)
    ]
    text = textwrap.wrap(f"{words} I is in work, - is not:", 76)
    strip = replace(draw(needles, signs), height=_SETUP_HEIGHT) if needles.count <= WHOLE_BED else draw(needles, signs)
    return replace(strip, alt=words, caption=words, as_text=(*(f"  {line}" for line in text), *lines))


_SETUP_HEIGHT: Final = 30
"""Of a strip on which no needle is out."""

_SIGNS_A_LINE: Final = 70
"""Needles in a line of text that shows the bed."""


def before_row_one(
    machine: Machine, needles: Needles, carriage: Side, edge: int, passes: Sequence[Pass], yarns: Yarns
) -> tuple[str, ...]:
    """What is done before the first pass, in order."""
    ahead = selects_ahead(machine)
    in_work = needles.count - (len(passes[0].empty) if passes else 0)
    yarn = yarns.with_yarn_of(passes[0], passes) if passes else ""
    steps = [
        *empty_words([passes], "Push back to non-working position and leave empty: {}."),
        f"Cast on {needles.left} to {needles.right} ({number(in_work, 'needle')}) in your usual way. "
        f"Knit a few plain rows{yarn}, and end with the carriage at the {other_side(carriage) if ahead else carriage}.",
        "Set the carriage to plain." if ahead else f"{COUNTER_TO_ZERO} and the carriage to plain.",
    ]
    if machine.reader == "card":
        steps.append(f"Put the card in and {LOCK_IT}. Row 1 is then the row read for the first pass. {CARD_AS_WRITTEN}")
    elif machine.reader == "bitmap":
        first = needle_name(column_1_position(machine, needles, edge))
        whole = f"; one of all {needles.count} needles begins on {needles.left}" if first != needles.left else ""
        steps.append(f"Enter the picture and start at row 1, its first column on {first} (one repeat{whole}).")
    if ahead:
        steps += [f"This machine selects needles one pass ahead. {select_for_row_one(machine, carriage)}"]
        steps += [f"{COUNTER_TO_ZERO}."]
    return tuple(steps)


COUNTER_TO_ZERO: Final = "Set the row counter to 000"


def select_for_row_one(machine: Machine, carriage: Side) -> str:
    """The row before row 1 on a machine that selects one pass ahead. carriage: where it stands before row 1."""
    locked = ", while the card is locked" if machine.reader == "card" else ""
    row = f"Knit one plain row, {other_side(carriage)} to {carriage}{locked}."
    return f"{row} It selects the needles for row 1 and is not counted."


def cautions(*further: str) -> Part:
    """The cautions in their box."""
    return Part("Cautions", (Listing((*CAUTIONS, *further)),), boxed=True)


def working_the_rows(
    sizes: Sequence[Sequence[Pass]], machine: Machine, beds: Sequence[Needles], edge: int, begin_at: str
) -> list[Part]:
    """What the machine and this stitch ask for; only what applies. sizes, beds: passes and needles of each size.
    begin_at: how the other start side is asked for, with {} for the side."""
    passes = sizes[0]
    held = [each for each in passes if each.held]
    crosses = any(each.crossing in ("free pass", "carry") for each in passes)
    empty = [max((len(each.empty) for each in passes), default=0) for passes in sizes]
    if not held and not crosses and not any(empty):
        return []
    advice: list[str] = []
    names = ["Out of work"] if any(empty) else []
    names += ["Back to work"] if any(each.taken_back for each in passes) else []
    if moved_by_hand(machine):
        rows = itertools.chain(*sizes)
        moves = [moved for each in rows for moved in (each.bring_out, each.push_back, each.push_right_back) if moved]
        texts = [phrase.text() for phrase in map(shortest, moves)]
        told = {
            "Bring out": any(each.bring_out or each.crossing == "free pass" for each in passes),
            "Push back": any(each.push_back or each.crossing == "free pass" for each in passes),
            "Push right back": any(each.rest for each in passes),
            "Bring forward": any(each.rest for each in passes),
            "Free pass": any(each.crossing == "free pass" for each in passes),
            "Carry the carriage": any(each.crossing == "carry" for each in passes),
            "Hold": any(each.out or each.crossing == "free pass" for each in passes),
            "Cancel the hold": any(each.out for each in passes),
            "Comb 1 out, 1 in": any(shortest(moved).comb() for moved in moves),
            "2 needles, skip 3": any("skip" in text for text in texts),
            "The same again": any("the same again" in text for text in texts),
            "Slip by hand": any(each.slipped and not each.rest for each in passes),
        }
        names += [name for name, is_used in told.items() if is_used]
        advice += _direction_advice([each for each in passes if each.out], passes, machine, begin_at)
    elif edge and held:
        advice.append(
            f"The {reader_name(machine)} works on the edge needles as well. If your machine does not make them knit by "
            f"itself, bring {edge_needles(beds, edge)} forward by hand before each patterned pass."
        )
    if held:
        advice.append(_weights(sizes, machine, beds))
    if any(empty):
        advice.append(
            "Weights at the gaps: the stitches beside a needle out of work loosen and ride up. Hang a small weight "
            "near each wide gap, move it up often, and check that the stitches beside it knit off (from memory)."
        )
    blocks: list[Block] = [*([Terms(terms(*names))] if names else []), Listing(tuple(advice))]
    return [Part("Working the rows", tuple(blocks))]


STILL_ON: Final = ByHand("The stitches are still on the needles. Cast off, or knit on.")
"""The end where the pattern says nothing of it."""


def ending(sizes: Sequence[Sequence[Pass]], machine: Machine, yarns: Yarns) -> list[ByHand]:
    """What is done right after the last row, where it leaves loops that would come off unknitted. sizes: the passes of
    each."""
    held = [len(passes[-1].held) if passes else 0 for passes in sizes]
    if not any(held):
        return []
    by_hand, last = moved_by_hand(machine), sizes[0][-1]
    ways = ["cancel the hold"] if last.out and by_hand else [] if by_hand else ["set the carriage to plain"]
    ways += ["bring the needles at the back forward"] if last.rest else []
    ways += [f"knit one plain row{yarns.with_yarn_of(last, sizes[0])}"]
    text = f"The last row leaves {count_of(held, 'needle')} with {last.what_is_held}. To free them, "
    return [ByHand(f"{text}{listed(ways)} before you take the work off.")]


def most_held_words(sizes: Sequence[Sequence[Pass]]) -> str:
    """How many needles stand out at once: "at most 9 needles held at a time, in a free pass all of them". sizes: the
    passes of each; nothing where no needle is held."""
    most = [max((len(each.held) for each in passes), default=0) for passes in sizes]
    words = [f"at most {count_of(most, 'needle')} held at a time"] if any(most) else []
    words += ["all needles held in a free pass"] if any(each.crossing == "free pass" for each in sizes[0]) else []
    return listed(words) if words else ""


def edge_needles(beds: Sequence[Needles], edge: int) -> str:
    """ "L12 and R12", "L12 to L11 and R11 to R12"; of several sizes with the others in brackets."""
    left, right = (several([str(end) for end in ends]) for ends in zip(*((b.left, b.right) for b in beds), strict=True))
    if edge == 1:
        return f"{left} and {right}"
    inner_left = several([needle_name(bed.first + edge - 1) for bed in beds])
    inner_right = several([needle_name(bed.last - edge + 1) for bed in beds])
    return f"{left} to {inner_left} and {inner_right} to {right}"


def edge_words(beds: Sequence[Needles], edge: int) -> str:
    """Which needles always knit: "L12 and R12 always knit", or that there are none."""
    return f"{edge_needles(beds, edge)} always knit" if edge else "no edge needles"


def bed_words(beds: Sequence[Needles]) -> str:
    """ "L54 to R54", of several sizes "L54 [L58] to R54 [R58]"."""
    return f"{several([bed.left for bed in beds])} to {several([bed.right for bed in beds])}"


def bed_facts(
    machine: Machine, beds: Sequence[Needles], edge: int, sizes: Sequence[Sequence[Pass]], to_check: bool = True
) -> list[tuple[str, str]]:
    """The first lines of a head. sizes: the passes of each. to_check: what to find out about the reader as well."""
    empty = [max((len(each.empty) for each in passes), default=0) for passes in sizes]
    count = f"{several([bed.count for bed in beds])} in work"
    if any(empty):
        always = all(len(each.empty) == most for passes, most in zip(sizes, empty, strict=True) for each in passes)
        in_work = [bed.count - most for bed, most in zip(beds, empty, strict=True)]
        count = f"{several(in_work)} in work and {several(empty)} out of work"
        if not always:
            count = f"{several([bed.count for bed in beds])}, up to {several(empty)} of them out of work"
    check = reader_to_check(machine) if to_check else None
    return [
        ("Machine", machine.in_full),
        ("Needles", f"{bed_words(beds)}: {count}, {edge_words(beds, edge)}"),
        *([("Check once", check)] if check else []),
    ]


def _direction_advice(held: Sequence[Pass], passes: Sequence[Pass], machine: Machine, begin_at: str) -> list[str]:
    """Where every held row falls in one direction, a hold that is set for that direction alone need not be touched."""
    if not held:
        return []
    way = held[0].direction
    if all(each.direction == way for each in held) and len(passes) > len(held):
        other_way = "left to right" if way == "right to left" else "right to left"
        side = other_side(passes[0].start_side)
        once = f"Every row with held needles runs {way}, and the row after it knits them back."
        other = f"If it can hold only {other_way}, begin with the carriage at the {side} ({begin_at})."
        other = other.format(side)
        if machine.hold_directions != "both":
            return [f"{once} So set the carriage to hold going {way} once and leave it. {other}"]
        return [
            f"{once} If your carriage has a setting for each direction, set only {way} to hold, leave it, and skip the "
            f"steps that set and cancel the hold. {other}"
        ]
    if machine.hold_directions != "both":
        return ["Needles are held in both directions here. The rows say when to set the hold for each direction."]
    return []


def _weights(sizes: Sequence[Sequence[Pass]], machine: Machine, beds: Sequence[Needles]) -> str:
    """Counted from the sheet; the advice itself is common practice and has no single source."""
    held = [[each for each in passes if each.held] for passes in sizes]
    most = [max((len(each.held) for each in rows), default=0) for rows in held]
    pieces = [2 + math.floor(bed.count * machine.pitch_mm / 150) for bed in beds]
    long_holds = any(
        first.held == second.held and second.row == first.row + 1 for first, second in itertools.pairwise(held[0])
    )
    total = f"{several(pieces)} in all"
    empty = [max(len(each.empty) for each in passes) for passes in sizes]
    in_work = [bed.count - out for bed, out in zip(beds, empty, strict=True)]
    many = any(out > 0.4 * count for out, count in zip(most, in_work, strict=True))
    if many or long_holds:
        more = [math.ceil(count / 2) for count in pieces]
        total = f"plus {several(more)} because {'many needles are held' if many else 'needles hold for several rows'}: "
        total += f"{several([a + b for a, b in zip(pieces, more, strict=True)])} in all"
    but_free = " (all of them in a free pass)" if any(each.crossing == "free pass" for each in sizes[0]) else ""
    return (
        f"Weights: at most {several(most)} of {count_of(in_work, 'needle')} are held at a time{but_free}, "
        "and what they hold is not drawn down. Begin with a small weight at each edge and one about every 15 cm "
        f"between (common practice), {total}. Move them up about every 20 rows. Add some if loops ride up on the "
        "needles."
    )

"""Passes put into instructions: for each pass the least there is to do, in the order in which hands do it.

Knows passes, the machine's habits and the words for needles; nothing of how a sheet is set out.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Final

from stitchc.bed import needle_name
from stitchc.passes import LeverChange, Pass, column_1_position, lever_changes, moved_by_hand
from stitchc.sheet.model import DoEntry, Entry, PassEntry, SectionEntry, Step
from stitchc.sheet.words import count_of, name_needles, shortest

if TYPE_CHECKING:
    from stitchc.bed import Needles
    from stitchc.chart import Setting
    from stitchc.machines.profile import Machine
    from stitchc.pattern import Yarn

MAIN_YARN: Final = "the main yarn"
"""What rows without a yarn of their own are knitted with, where other rows name one."""

WHICH_IS_MAIN: Final = "that of the rows that name none"
"""Said where it is first spoken of: no line of the file has its name."""


def instruct(
    items: Sequence[Pass | DoEntry | SectionEntry],
    machine: Machine,
    needles: Needles,
    yarns: Mapping[str, Yarn] | None = None,
    held: Iterable[int] = (),
    main: str | None = None,
) -> tuple[Entry, ...]:
    """The entries of a sheet: each pass with its steps, everything else as it stands.

    held: positions in holding position before the first pass. yarns: for their descriptions. main: the yarn of rows
    that name none, where it is known.
    """
    passes = [item for item in items if isinstance(item, Pass)]
    held = tuple(held)
    changes = dict(zip(map(id, passes), lever_changes(passes, machine, held), strict=True))
    ahead = machine.selects == "one pass ahead"
    reading = {id(item) for item, after in itertools.pairwise(passes) if ahead and after.patterned}
    named_yarns = any(each.yarn is not None for each in passes)
    yarn: str | None = None
    started = False
    told: set[str] = set()
    entries: list[Entry] = []
    for item in items:
        if not isinstance(item, Pass):
            entries.append(item)
            continue
        steps: list[Step] = []
        if named_yarns and (not started or item.yarn != yarn):
            steps.append(Step("yarn", _yarn_words(item.yarn, main, yarns or {}, told, started)))
        if moved_by_hand(machine):
            steps += _by_hand(item, changes[id(item)], held)
        else:
            steps += _by_reader(item, changes[id(item)], machine, item.patterned or id(item) in reading)
        steps += _at_the_edge(item, needles)
        entries.append(PassEntry(item, tuple(steps)))
        held, yarn, started = item.held, item.yarn, True
    return tuple(entries)


def _yarn_words(name: str | None, main: str | None, yarns: Mapping[str, Yarn], told: set[str], started: bool) -> str:
    verb = "Change to" if started else "Knit with"
    is_main = f", {MAIN_YARN}" if name is None else ""
    name = main if name is None else name
    if name is None:
        told_before = MAIN_YARN in told
        told.add(MAIN_YARN)
        return f"{verb} {MAIN_YARN}." if told_before else f"{verb} {MAIN_YARN} ({WHICH_IS_MAIN})."
    described = yarns[name].description if name in yarns and name not in told else ""
    told.add(name)
    return f"{verb} {name} ({described}){is_main}." if described else f"{verb} {name}{is_main}."


def _by_hand(item: Pass, change: LeverChange | None, held: tuple[int, ...]) -> list[Step]:
    steps: list[Step] = []
    if item.push_back:
        steps.append(Step("push", f"Push back {name_needles(item.push_back, held=held)}."))
    if item.bring_out:
        steps.append(Step("bring", f"Bring out {name_needles(item.bring_out)}."))
    stay = len(item.held) - len(item.bring_out)
    if item.moves and stay:
        of = f", {stay} of them from before" if item.bring_out else ""
        steps.append(Step("see", f"Now {count_of(item.held)} {_is(item.held)} held{of}."))
    if change is not None:
        steps.append(Step("set", _set_words(change, held)))
    elif not item.held and held:
        steps.append(Step("see", f"The {_held(held)} {_knits(held)} back; the hold stays set as it is."))
    if not item.moves and change is None:
        if item.held:
            steps.append(Step("rest", f"Nothing to move: leave the {_held(item.held)} out."))
        elif not held:
            steps.append(Step("rest", "Nothing to move: all needles knit."))
    elif not item.moves and item.held:
        steps.append(Step("rest", f"Leave the {_held(item.held)} out."))
    if item.slipped:
        which = "each held needle" if item.setting == "slip" else f"each of {name_needles(item.slipped)}"
        steps.append(
            Step(
                "lead",
                f"Slow: after the pass, lift the new yarn over the hook of {which} and let it lie under the needle "
                f"({count_of(item.slipped)}).",
            )
        )
    return steps


def _set_words(change: LeverChange, held: tuple[int, ...]) -> str:
    if change.to == "plain":
        way = f" going {change.direction}" if change.direction else ""
        return f"Cancel the hold{way}: the {_held(held)} {_knits(held)} back."
    way = f" when it goes {change.direction}" if change.direction else ""
    return f"Set the carriage to hold{way}."


def _held(needles: Sequence[int]) -> str:
    return f"{len(needles)} held needle{'' if len(needles) == 1 else 's'}"


def _is(needles: Sequence[int]) -> str:
    return "is" if len(needles) == 1 else "are"


def _knits(needles: Sequence[int]) -> str:
    return "knits" if len(needles) == 1 else "knit"


def _by_reader(item: Pass, change: LeverChange | None, machine: Machine, read: bool) -> list[Step]:
    """read: whether the card or picture moves on in this pass, for it or for the next."""
    steps: list[Step] = []
    reader = "card" if machine.reader == "card" else "picture"
    if change is not None:
        without = "" if read else f", without the {reader}"
        steps.append(Step("set", f"Set the carriage to {setting_words(change.to)}{without}."))
    if not item.patterned:
        if change is None:
            steps.append(Step("rest", "Nothing to do: all needles knit."))
        return steps
    row = f"Row {item.chart_row} of the repeat"
    tucked = tuple(n for n in item.held if n not in set(item.slipped))
    whole = []
    if tucked:
        whole.append(f"{name_needles(tucked).counted()} {'tucks' if len(tucked) == 1 else 'tuck'}")
    if item.slipped:
        whole.append(f"{name_needles(item.slipped).counted()} {'slips' if len(item.slipped) == 1 else 'slip'}")
    steps.append(Step("see", f"{row}: {'; '.join(whole) if whole else 'all needles knit'}."))
    return steps


def setting_words(setting: Setting) -> str:
    """What a carriage whose needles a reader selects is set to."""
    return "tuck and slip by turns" if setting == "mixed" else setting


def _at_the_edge(item: Pass, needles: Needles) -> list[Step]:
    """An edge needle that tucks has nothing beside it to keep the loop in its hook."""
    tucked = set(item.held).difference(item.slipped)
    ends = [n for n in dict.fromkeys((needles.first, needles.last)) if n in tucked]
    if not ends:
        return []
    names = " and ".join(map(needle_name, ends))
    return [
        Step(
            "see",
            f"Watch {names}: a tuck on an edge needle falls out of the hook. Lay the yarn over the needle by hand, or "
            "push the needle back and let it knit.",
        )
    ]


# -- the head of the sheet ------------------------------------------------------------------------------------------


def before_row_one(machine: Machine, needles: Needles, carriage: str, edge: int) -> tuple[str, ...]:
    """What is done before the first pass, in order."""
    steps = [
        f"Cast on {needles.left} to {needles.right} ({needles.count} needles) in your usual way and knit a few plain "
        f"rows, so that the carriage ends at the {carriage}.",
        "Set the row counter to 000 and the carriage to plain.",
    ]
    if machine.reader == "card":
        steps.append("Put the card in and lock it at row 1, so that row 1 is the row read for the first pass.")
    elif machine.reader == "bitmap":
        first = needle_name(column_1_position(machine, needles, edge))
        whole = f"; one of all {needles.count} needles begins on {needles.left}" if first != needles.left else ""
        steps.append(f"Enter the picture and set it to row 1, its first column on {first} (one repeat{whole}).")
    if not moved_by_hand(machine) and machine.selects == "one pass ahead":
        steps.append(
            "This machine selects needles one pass ahead: make the selecting pass before row 1 and end it with the "
            f"carriage at the {carriage}."
        )
    return tuple(steps)


def habits(passes: Sequence[Pass], machine: Machine, needles: Needles, edge: int) -> tuple[str, ...]:
    """What the machine and this stitch ask for, as short paragraphs; only what applies."""
    held = [each for each in passes if each.held]
    if not held:
        return ()
    found = []
    reader = "card" if machine.reader == "card" else "picture"
    if moved_by_hand(machine):
        found.append(
            "Bring out means: to holding position, as far out as the needle goes. Push back means: into working "
            "position, the latch open. A needle that is out stays out, pass after pass, until you push it back or "
            "cancel the hold. Count what you moved against the number in brackets."
        )
        found.append(
            "Set to hold means: the setting with which the carriage leaves needles in holding position unknitted. "
            "Cancel the hold means: the setting with which it knits them. Your manual has its own names for both."
        )
        found += _ways_of_naming(held)
        found += _direction_advice(held, passes, machine)
        if any(each.slipped for each in passes):
            found.append(
                "Slip by hand, slow: bring the needles out and make the pass with a little slack in the yarn. The yarn "
                "now lies over the held needles. Take it with a finger or a latch tool, needle by needle, lift it over "
                "the hook and let it down under the needle, on the side that faces you. The float must lie flat, as "
                "wide as the needles it passes, not pulled. Only then go on."
            )
    elif edge:
        found.append(
            f"The {reader} works on the edge needles as well. If your machine does not see to it by itself, bring "
            f"{_edges(needles, edge)} forward by hand before each patterned pass, so that they knit."
        )
    found.append(_weights(held, machine, needles))
    return tuple(found)


def _ways_of_naming(held: Sequence[Pass]) -> list[str]:
    """What the words for needles mean, where they are not the plainest."""
    phrases = [shortest(moved) for each in held for moved in (each.bring_out, each.push_back) if moved]
    found = []
    if any(phrase.comb() for phrase in phrases):
        found.append(
            "Comb 1 out, 1 in (or other numbers) means: a comb or needle pusher with teeth in that order moves these "
            "needles all at once. Put its first out tooth to the first needle named."
        )
    if any("take" in phrase.text() for phrase in phrases):
        found.append(
            "Take 2, miss 3 (or other numbers) means: two needles, then leave three, over and over, from the first "
            "needle named to the last."
        )
    return found


def _edges(needles: Needles, edge: int) -> str:
    if edge == 1:
        return f"{needles.left} and {needles.right}"
    left = f"{needles.left} to {needle_name(needles.first + edge - 1)}"
    return f"{left} and {needle_name(needles.last - edge + 1)} to {needles.right}"


def edge_words(needles: Needles, edge: int) -> str:
    """Which needles always knit: "L12 and R12 always knit", or that there are none."""
    return f"{_edges(needles, edge)} always knit" if edge else "no edge needles"


def _direction_advice(held: Sequence[Pass], passes: Sequence[Pass], machine: Machine) -> list[str]:
    """Where every held row falls in one direction, a hold that is set for that direction alone need not be touched."""
    way = held[0].direction
    if all(each.direction == way for each in held) and len(passes) > len(held):
        other_side = "left" if passes[0].start_side == "right" else "right"
        other_way = "left to right" if way == "right to left" else "right to left"
        once = f"Every row with held needles runs {way}, and the row after it knits them back."
        other = (
            f"If it can hold only {other_way}, begin with the carriage at the {other_side} (--carriage {other_side})."
        )
        if machine.hold_directions == "one":
            return [f"{once} So set it to hold going {way} once and leave it. {other}"]
        return [
            f"{once} If your carriage can hold in one direction alone, set it to hold going {way} once, leave it, and "
            f"skip what this sheet says of setting and cancelling. {other}"
        ]
    if machine.hold_directions == "one":
        return [
            "Needles are held in both directions here: the hold is set for each direction by itself where the rows say "
            "so. A carriage that can hold in one direction only cannot knit this stitch."
        ]
    return []


def _weights(held: Sequence[Pass], machine: Machine, needles: Needles) -> str:
    """Counted from the sheet; the advice itself is common practice and has no single source."""
    most = max(len(each.held) for each in held)
    share = most / needles.count
    width_mm = needles.count * machine.pitch_mm
    pieces = 2 + math.floor(width_mm / 150)
    long_holds = any(one.held == two.held and two.row == one.row + 1 for one, two in itertools.pairwise(held))
    heavy = share > 0.4 or long_holds
    number = f"{pieces} in all"
    if heavy:
        number += f", and since much is held here {math.ceil(pieces / 2)} more, {math.ceil(pieces * 1.5)} together"
    return (
        f"Weights: at most {most} of {needles.count} needles are held at a time, and what they hold is not drawn down. "
        "To begin with (common practice) hang a small weight at each edge and one about every 15 cm between, "
        f"{number}. Move them up every 20 rows or so, and add some if loops ride up on the needles."
    )


CAUTIONS: Final = (
    "Hooks and latches are sharp and the carriage pinches at the ends of its way: keep fingers, hair, cords and small "
    "children clear of the bed while it moves.",
    "If the carriage sticks, stop. Never force it: ease it back, look for a needle out of line or yarn around a brush, "
    "and lift it off if need be.",
    "Weights fall when work comes off: keep feet and pets away. See that the clamps are tight before you begin.",
    "Change your posture, rest your hands at least every half hour, and stop if a wrist or shoulder hurts.",
    "Your machine's own manual, and the safety rules of your place, come before this sheet.",
)
"""The usual cautions of the trade: common practice, no single source."""

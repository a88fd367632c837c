"""What a card tells in words: where to start, what a hole means, what to set and when, how the card is closed.

Knows a card as a value; nothing of where the words stand.
"""

from __future__ import annotations

from typing import Final

from stitchc.bed import needle_name, needle_position
from stitchc.card.plan import Card, Change, changes_of
from stitchc.chart import Setting
from stitchc.english import listed, ranges
from stitchc.machines.habits import reader_to_check

MOST_CHANGES: Final = 6
"""Changes listed one by one; further ones are left to the marks beside the rows."""
OTHER_READERS: Final = "If your reader differs"
"""The part of a leaflet that a card refers to."""
MOST_NEEDLES: Final = 8
"""Needles out of work that are named one by one."""

SETTING_WORDS: Final[dict[Setting, str]] = {"plain": "plain", "tuck": "tuck", "slip": "slip", "mixed": "tuck + slip"}
SETTING_MARKS: Final[dict[Setting, str]] = {"plain": "K", "tuck": "T", "slip": "S", "mixed": "TS"}

CUTTING: Final = (
    "Cutting: cut away from your hand, on a mat. Laser: never PVC or vinyl (poisonous gas); know the plastic, ask the "
    "cutter's owner."
)
START: Final = (
    "START: lock the card when this row is at eye level",
    "START: lock this row at eye level",
    "START: lock at eye level",
    "START",
)
"""Beside the row to lock the card at: the first that there is room for."""


def heading(card: Card) -> str:
    return f"{card.title}: {card.stitch}" if card.title else card.stitch


def description(card: Card) -> str:
    """A sentence or two for those who cannot see the card."""
    width, height = card.repeat
    return (
        f"Hole card of the stitch {card.stitch} for {card.machine.name}: {card.columns} columns, {card.rows} rows, "
        f"{card.hole_count} holes; a repeat is {width} by {height}. {meanings(card)[0]}"
    )


def counts(card: Card) -> str:
    """How much there is to punch."""
    width, height = card.repeat
    joining = card.joining_hole_count
    full = f" + {joining} in the joining rows" if joining else ""
    blanks = f", {len(card.blanks)} blanks" if len(card.blanks) > 1 else ""
    return (
        f"{card.columns} columns, {card.rows} rows{blanks}, {card.hole_count} holes{full}. Repeat {width} by {height}"
    )


def meanings(card: Card) -> tuple[str, str]:
    """What a hole and a blank do, in full and for a margin with little room."""
    held = " or ".join(f"{word}s" for word in ("tuck", "slip") if word in card.settings or "mixed" in card.settings)
    short, held = held or "tucks or slips", held or "tucks or slips, as the carriage is set"
    if card.machine.mark_means == "knit":
        return f"A hole: the needle knits. No hole: it {held}.", f"Hole: knits. No hole: {short}."
    return f"A hole: the needle {held}. No hole: it knits.", f"Hole: {short}. No hole: knits."


def start(card: Card) -> str:
    """Which row to lock the card at."""
    seen = card.shape.seen_above_read
    lower = f"The reader reads {seen} rows lower, so it begins with row 1. Do not bring the bold 1 to eye level."
    also = lower if seen else "The reader then reads row 1."
    if card.machine.selects == "one pass ahead":
        also += " Knit one pass while it is locked: it only selects. Release the card; the next pass knits row 1."
    return f"Lock the card when row {card.start_row}, between the thick lines, is at eye level. {also}"


def settings(card: Card) -> str:
    """What to set the carriage to, and at which rows."""
    changes = [
        (change.row, SETTING_WORDS[change.setting])
        for change in changes_of(card.unit, card.main_yarn)
        if change.setting
    ]
    if not changes:
        return "Plain knitting all through: the card selects every needle."
    if len(changes) == 1:
        return f"Set to {changes[0][1]}, all through."
    return f"{_listed(changes, card)}."


def yarns(card: Card) -> str | None:
    """Which yarn from which row on; None where the pattern names none."""
    changes = [(change.row, change.yarn) for change in changes_of(card.unit, card.main_yarn) if change.yarn]
    if not changes:
        return None
    return f"{changes[0][1]}, all through." if len(changes) == 1 else f"{_listed(changes, card)}."


def _listed(changes: list[tuple[int, str]], card: Card) -> str:
    """The changes of one repeat, the first few by row."""
    words = ", ".join(f"row {row} {words}" for row, words in changes[:MOST_CHANGES])
    words += " … as marked beside the rows" if len(changes) > MOST_CHANGES else ""
    if card.unit.height < card.rows:
        return f"In each repeat of {card.unit.height} rows: {words}"
    return words[:1].upper() + words[1:]


TICK: Final = " (the thick tick)"
"""What the template has there."""


def needles(card: Card) -> str:
    """Which needles the outer columns are for, where the middle of the bed is, whether left and right change places."""
    left, right, before = _needle_of(card, 1), _needle_of(card, card.columns), columns_before_0(card)
    zero = f" The middle of the bed, 0, is between {before} and {before + 1}{TICK}." if before else ""
    turned = ""
    if card.machine.mirrored:
        turned = " The card is mirrored for this reader."
    elif not is_unsettled(card):
        turned = " The card is not mirrored."
    return f"Column 1 is for {left}, column {card.columns} for {right}, and so on outward.{zero}{turned}"


def columns_before_0(card: Card) -> int:
    """After which column the middle of the bed is, 0 where it is between the last and the first."""
    before = -_first_position(card) % card.columns  # on a card that is not mirrored
    return card.columns - before if card.machine.mirrored and before else before


def _first_position(card: Card) -> int:
    """Where the column that is leftmost on the bed stands, of those that are read beside 0."""
    needle = card.machine.column_1_needle
    return needle_position(needle) if needle else -(card.columns // 2)


def _needle_of(card: Card, column: int) -> str:
    return needle_name(_first_position(card) + (card.columns - column if card.machine.mirrored else column - 1))


def out_of_work(card: Card) -> str | None:
    """Which needles stand empty the whole time; None where all are in work."""
    columns = card.columns_out
    if not columns:
        return None
    names = [_needle_of(card, column) for column in columns]
    if len(names) > MOST_NEEDLES:
        names[3:-1] = ["…"]
    singular, plural = ("needle", "column", "stands", "Its"), ("needles", "columns", "stand", "Their")
    needle, column, stand, their = singular if len(columns) == 1 else plural
    return (
        f"The {needle} of {column} {ranges(columns)} ({', '.join(names)}, and so on outward) "
        f"{stand} empty in non-working position all through. {their} holes are punched too, in case such a "
        "needle is put in work by mistake."
    )


def is_unsettled(card: Card) -> bool:
    """Whether the profile is a shipped one, whose facts about the reader nobody has checked on this machine."""
    return card.machine.origin == "shipped"


def to_check(card: Card) -> str | None:
    """What to find out once about the reader; None where the profile is the knitter's own."""
    return reader_to_check(card.machine, f"If not, see “{OTHER_READERS}”." if card.for_others else "")


def numbers(card: Card) -> str:
    """What the numbers beside the rows are, and which columns' numbers are boxed."""
    empty = " A column's number in a box: its needle is out of work." if card.columns_out else ""
    if card.shape.seen_above_read == 0:
        return f"The card's rows.{empty}"
    under = " In brackets, beside a joining row: the row that lies under it in the ring."
    joining = under if card.shape.joining_rows else ""
    return (
        f"Left, bold: the card's rows. Right, boxed: the row being read when that row is at eye level.{joining}{empty}"
    )


def unlike_instructions(card: Card) -> str | None:
    """Which instructions are for another card than this; None for a card of the stitch as it is written."""
    changes = (
        ("shifted", card.moved),
        ("begun at another row", card.begun != 1),
        ("punched with each row twice", card.each_row_twice),
    )
    ways = [way for way, is_so in changes if is_so]
    if not ways:
        return None
    return (
        f"This card is {listed(ways)}. Needle sheets and pieces are for a card made as the stitch is written. The rows "
        "and needles that they give are not those of this card."
    )


def marks(card: Card) -> str | None:
    """What the letters at the right edge are; None where nothing changes."""
    if not card.changes:
        return None
    letters = yarn_letters(card)
    used = dict.fromkeys(change.setting for change in card.changes if change.setting)
    key = [f"{SETTING_MARKS[setting]}: {SETTING_WORDS[setting]}" for setting in used]
    key += [f"{letter}: {yarn}" for yarn, letter in letters.items()]
    return f"A letter at the right: with that row at eye level, change this before the next pass. {', '.join(key)}."


def ring(card: Card) -> str:
    """How the card is closed, and whether its clip holes meet then."""
    joining = card.shape.joining_rows
    if joining == 0:
        return "Butt the ends, keep the distance between rows, and tape them."
    hold = "clip" if clips_meet(card) else "tape (the clip holes do not meet)"
    ends = "the last blank and the first" if len(card.blanks) > 1 else "the two ends"
    return f"Overlap {ends} by {2 * joining} rows: full rows over pattern rows. Match the holes, and {hold}."


def blanks(card: Card) -> str | None:
    """Where each blank begins and ends and how they are joined; None for a card on one blank."""
    if len(card.blanks) == 1:
        return None
    rows = [f"blank {blank.number} rows {blank.first} to {blank.last}" for blank in card.blanks[:MOST_CHANGES]]
    more = f" … to blank {len(card.blanks)}" if len(card.blanks) > MOST_CHANGES else ""
    joining = card.shape.joining_rows
    ends = "the end of each blank and the start of the next"
    how = (
        f"Overlap {ends} by {2 * joining} rows: full rows over pattern rows."
        if joining
        else f"Butt {ends}, and tape them."
    )
    listed = ", ".join(rows).removeprefix("b")
    line = "In a picture of the whole card, a broken line shows where each begins."
    return f"B{listed}{more}. {how} {line}"


def clips_meet(card: Card) -> bool:
    """Whether each clip hole lies on one of the other end when the joining rows lie over the pattern's end rows.

    The ends then overlap by twice the joining rows; a hole d from one end meets one at overlap - d from the other.
    """
    shape = card.shape
    overlap = (2 * shape.joining_rows - 1) * shape.row_pitch_mm + 2 * shape.end_margin_mm
    ends = shape.clip_from_end_mm
    return bool(ends) and all(any(abs(overlap - near - far) < 0.05 for far in ends) for near in ends)


def measure(card: Card) -> str:
    """What to measure on one's own card before trusting the template."""
    shape = card.shape
    return (
        f"Measure a card of your machine first: 10 columns {10 * shape.column_pitch_mm:g} mm, 10 rows "
        f"{10 * shape.row_pitch_mm:g} mm, holes {shape.hole_mm:g} mm, sheet {shape.sheet_width_mm:g} mm wide?"
    )


def notes(card: Card) -> list[tuple[str, str]]:
    """Everything the knitter has to know, as heads and sentences, what is needed first before the rest."""
    if card.own_notes:
        return list(card.own_notes)
    twice = f"Set the reader to knit each card row twice: {card.rows} card rows are {2 * card.rows} knitted rows."
    selected = "" if is_unsettled(card) else "Each pass reads a row and knits it."
    if card.machine.selects == "one pass ahead":
        selected = "One pass ahead: a row is knitted on the pass after it is read. "
        selected += "Each mark stands at the row where you act on it."
    holes = "guide and clip holes" if card.shape.clip_from_end_mm else "guide holes"
    every = [
        ("START", start(card)),
        ("Hole", meanings(card)[0]),
        ("Reader", twice if card.each_row_twice else None),
        ("Instructions", unlike_instructions(card)),
        ("Out of work", out_of_work(card)),
        ("Carriage", settings(card)),
        ("Yarn", yarns(card)),
        ("Marks", marks(card)),
        ("Feeding the card", "This side faces you. The end with row 1 goes in first."),
        ("Needles", needles(card)),
        ("Numbers", numbers(card)),
        ("Selected", selected),
        ("Check once", to_check(card)),
        ("Blanks", blanks(card)),
        ("Ring", ring(card)),
        ("Edges", f"Open circles at the edges: {holes}. Punch them where your blank has none."),
    ]
    return [(head, text) for head, text in every if text]


# -- changes ----------------------------------------------------------------------------------------------------------


def yarn_letters(card: Card) -> dict[str, str]:
    """The letter of each yarn beside the rows, in order of use: no K, S or T (cells), no I or O (numbers)."""
    names = dict.fromkeys(change.yarn for change in card.changes if change.yarn)
    letters = "ABCDEFGHJLMNPQRUVWXYZ"
    return {name: letters[index] if index < len(letters) else "?" for index, name in enumerate(names)}


def change_words(change: Change) -> list[str]:
    """What to change before a row, in words: the setting, then the yarn."""
    words = [SETTING_WORDS[change.setting]] if change.setting else []
    return [*words, change.yarn] if change.yarn else words


def change_mark(change: Change, letters: dict[str, str]) -> str:
    """The same as letters: T, TA, A."""
    setting = SETTING_MARKS[change.setting] if change.setting else ""
    return setting + (letters[change.yarn] if change.yarn else "")


# -- printing ---------------------------------------------------------------------------------------------------------


def printing(scale: tuple[float, float], for_others: bool = False) -> list[str]:
    """How to print, and what to do where a check rule is off: first what stands beside the rule, then a line more.
    for_others: they do not have stitchc."""
    first = (
        "Print at 100 % (actual size), never fitted to the page. Then measure both check rules: 100 mm each, from "
        "outer edge to outer edge."
    )
    if for_others:
        again = "If a rule measures 99 mm, print again at 101 %: 100 / 99. Both rules must then measure 100 mm."
    elif scale == (1.0, 1.0):
        again = "If a rule measures 99 mm, make the card again with --scale-x 1.0101 (100 / 99), or --scale-y (down)."
    else:
        again = (
            f"Corrected for one printer: --scale-x {scale[0]:g} --scale-y {scale[1]:g}. If a rule still measures "
            "99 mm, multiply by 100 / 99."
        )
    return [first, again]

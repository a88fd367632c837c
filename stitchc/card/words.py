"""What a card says in words: what a hole means, what to set and when, which way in, how it is closed.

Knows a card as a value; nothing of where the words stand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

from stitchc.bed import needle_name, needle_position
from stitchc.card.plan import changes_of

if TYPE_CHECKING:
    from stitchc.card.plan import Card, Change
    from stitchc.chart import Setting

LONGEST_LABEL: Final = 10
"""Letters of a yarn's name that can stand beside a row."""

MOST_CHANGES: Final = 6
"""Changes listed one by one; further ones are left to the marks beside the rows."""

SETTING_WORDS: Final[dict[Setting, str]] = {"plain": "plain", "tuck": "tuck", "slip": "slip", "mixed": "tuck + slip"}

CUTTING: Final = (
    "Cutting: cut away from your hand, on a mat. Laser: never PVC or vinyl (poisonous gas); know the plastic, ask the "
    "cutter's owner."
)


def heading(card: Card) -> str:
    """The pattern's title and the stitch."""
    return f"{card.title}: {card.stitch}" if card.title else card.stitch


def description(card: Card) -> str:
    """One sentence for those who cannot see the card."""
    return (
        f"Hole card of the stitch {card.stitch} for {card.machine.name}: {card.columns} columns, {card.rows} rows, "
        f"{card.hole_count} holes; a hole means {card.machine.mark_means}."
    )


def meaning(card: Card) -> str:
    """What a hole and a blank do."""
    held = " or ".join(f"{word}s" for word in ("tuck", "slip") if word in card.settings or "mixed" in card.settings)
    held = held or "tucks or slips, as the carriage is set"
    if card.machine.mark_means == "knit":
        return f"A hole: the needle knits. No hole: it {held}."
    return f"A hole: the needle {held}. No hole: it knits."


def settings(card: Card) -> str:
    """What to set the carriage to, and at which rows."""
    told = [(change.row, SETTING_WORDS[change.setting]) for change in _of_a_repeat(card) if change.setting]
    if not told:
        return "Plain knitting all through: the card selects every needle."
    if len(told) == 1:
        return f"Set to {told[0][1]}, all through."
    return f"{_listed(told, card)}."


def yarns(card: Card) -> str | None:
    """Which yarn from which row on; None where the pattern names none."""
    labels = yarn_labels(card)
    told = [(change.row, change.yarn) for change in _of_a_repeat(card) if change.yarn]
    if not told:
        return None
    if len(told) == 1:
        return f"{told[0][1]} all through."
    key = "".join(f" {label} is {name}." for name, label in labels.items() if label != name)
    return f"{_listed([(row, labels[name]) for row, name in told], card)}.{key}"


def _of_a_repeat(card: Card) -> list[Change]:
    return list(changes_of(card.unit))


def _listed(told: list[tuple[int, str]], card: Card) -> str:
    """The changes of one repeat, the first few by row."""
    words = ", ".join(f"row {row} {what}" for row, what in told[:MOST_CHANGES])
    words += " … as marked beside the rows" if len(told) > MOST_CHANGES else ""
    if card.unit.height < card.rows:
        return f"In each repeat of {card.unit.height} rows: {words}"
    return words[:1].upper() + words[1:]


def yarn_labels(card: Card) -> dict[str, str]:
    """What stands for each yarn beside the rows: its name, or a letter where the name is too long to stand there."""
    names = list(dict.fromkeys(change.yarn for change in card.changes if change.yarn))
    letters = iter(letter for letter in "ABCDEFGHIJLMNOPQRUVWXYZ" if letter not in names)  # not K, S, T: cells
    return {name: name if len(name) <= LONGEST_LABEL else f"yarn {next(letters, '?')}" for name in names}


def place(card: Card) -> str:
    """Which needles the outer columns are for, where 0 of the bed lies, whether left and right change places."""
    needle = card.machine.column_1_needle or needle_name(-(card.columns // 2))
    first = needle_position(needle)
    last = needle_name(first + card.columns - 1)
    left, right = (last, needle) if card.machine.mirrored else (needle, last)
    mirrored = "Mirrored for this reader" if card.machine.mirrored else "Not mirrored"
    return (
        f"Column 1 is for {left}, column {card.columns} for {right}, and so on outward.{_zero(card, first)} {mirrored}."
    )


def _zero(card: Card, first: int) -> str:
    """Between which columns 0 of the bed lies, where it lies between two."""
    before = -first % card.columns  # columns left of it, on a card that is not mirrored
    if before == 0:
        return ""
    before = card.columns - before if card.machine.mirrored else before
    return f" 0 of the bed: between {before} and {before + 1}."


def way_in(card: Card) -> str:
    """Which side and which end."""
    return "This side faces you. The end with row 1 goes in first."


def numbers(card: Card) -> str:
    """What the numbers beside the rows are."""
    if card.shape.seen_above_read == 0:
        return "Left: the card's rows. The row read is the row at eye level."
    joining = " In brackets: the row a joining row lies over." if card.shape.joining_rows else ""
    return (
        f"Left: the card's rows. Right, boxed: the row being read when that row is at eye level "
        f"({card.shape.seen_above_read} higher).{joining}"
    )


def marks(card: Card) -> str | None:
    """What the words and letters between the numbers and the guide holes are; None where nothing changes."""
    labels = yarn_labels(card)
    meanings: dict[str, str] = {}
    for change in card.changes:
        for mark, word in zip(change_marks(change, labels), change_words(change, labels), strict=True):
            if mark != word:
                meanings[mark] = word
    if not card.changes:
        return None
    told = "Beside a number: change this before that row."
    short = ", ".join(f"{mark} {word}" for mark, word in meanings.items())
    return f"{told} Where room is short: {short}." if short else told


def selection(card: Card) -> str:
    """On which pass the needles are selected."""
    if card.machine.selects == "same pass":
        return "On the pass itself: each pass reads a row and knits it."
    return (
        "One pass ahead: lock the card at row 1 and knit one pass, which only selects; let it run, and the next pass "
        "knits row 1. Set and change yarn for a row when it is knitted, a pass after it is read."
    )


def ring(card: Card) -> str:
    """How the card is closed, and whether its clip holes meet then."""
    joining = card.shape.joining_rows
    if joining == 0:
        return "Butt the ends so that the distance between rows goes on, and tape them."
    rows = f"{joining} full rows" if joining > 1 else "full row"
    hold = "clip" if clips_meet(card) else "tape (the clip holes do not meet)"
    return f"Lay the {rows} of each end over pattern rows of the other, hole on hole, and {hold}."


def edges(card: Card) -> str:
    """What the holes beside the field are for, and when to punch them."""
    kinds = "guide and clip holes" if card.shape.clip_from_end_mm else "guide holes"
    return f"Open circles: {kinds}. Punch them where your blank has none."


def clips_meet(card: Card) -> bool:
    """Whether each clip hole lies on one of the other end when the joining rows lie over the pattern's end rows.

    The ends then overlap by twice the joining rows; a hole d from one end meets one at overlap - d from the other.
    """
    shape = card.shape
    overlap = (2 * shape.joining_rows - 1) * shape.row_pitch_mm + 2 * shape.end_margin_mm
    ends = shape.clip_from_end_mm
    return bool(ends) and all(any(abs(overlap - one - two) < 0.05 for two in ends) for one in ends)


def measure(card: Card) -> str:
    """What to measure on one's own card before trusting the template."""
    shape = card.shape
    return (
        f"Measure a card of your machine first: 10 columns {10 * shape.column_pitch_mm:g} mm, 10 rows "
        f"{10 * shape.row_pitch_mm:g} mm, holes {shape.hole_mm:g} mm, sheet {shape.sheet_width_mm:g} mm wide?"
    )


def counts(card: Card) -> str:
    """How much there is to punch."""
    width, height = card.repeat
    joining = card.joining_hole_count
    full = f" + {joining} in the joining rows" if joining else ""
    return (
        f"{card.columns} columns, {card.rows} rows, {card.hole_count} holes{full}. Repeat {width} by {height}, framed."
    )


def notes(card: Card) -> list[tuple[str, str]]:
    """Everything the knitter has to know, as heads and sentences."""
    told = [
        ("Hole", meaning(card)),
        ("Carriage", settings(card)),
        ("Yarn", yarns(card)),
        ("Way in", way_in(card)),
        ("Needles", place(card)),
        ("Numbers", numbers(card)),
        ("Marks", marks(card)),
        ("Selected", selection(card)),
        ("Ring", ring(card)),
        ("Edges", edges(card)),
    ]
    return [(head, text) for head, text in told if text]


def change_words(change: Change, labels: Mapping[str, str] | None = None) -> Sequence[str]:
    """What to change before a row, in words: the setting, then the yarn (by its label, where labels are given)."""
    words = [SETTING_WORDS[change.setting]] if change.setting else []
    return [*words, (labels or {}).get(change.yarn, change.yarn)] if change.yarn else words


def change_marks(change: Change, labels: Mapping[str, str]) -> Sequence[str]:
    """The same as short as can be told apart: the setting's letters, the shortest beginning of the yarn's label that
    no other yarn's has (a letter for a yarn that has one)."""
    letters = {"plain": "K", "tuck": "T", "slip": "S", "mixed": "T+S"}
    marks = [letters[change.setting]] if change.setting else []
    if change.yarn:
        label = labels[change.yarn]
        others = [other for other in labels.values() if other != label]
        lengths = range(2, len(label) + 1)
        unlike = (n for n in lengths if not any(other.startswith(label[:n]) for other in others))
        short = label[: next(unlike, len(label))]
        marks.append(label.removeprefix("yarn ") if label != change.yarn else short)
    return marks


def printing(scale: tuple[float, float]) -> list[str]:
    """How to print, and what to do where a check rule is off: first what stands beside the rule, then a line more."""
    first = (
        "Print at 100 % (actual size), never fitted to the page. Then measure both check rules: 100 mm each, from "
        "outer edge to outer edge."
    )
    if scale == (1.0, 1.0):
        again = (
            "If one measures 99 mm, make it again with --scale-x 1.0101 (100 / 99), or --scale-y for the rule down the "
            "page."
        )
    else:
        again = (
            f"Corrected for one printer: --scale-x {scale[0]:g} --scale-y {scale[1]:g}. If a rule still measures "
            "99 mm, multiply by 100 / 99."
        )
    return [first, again]

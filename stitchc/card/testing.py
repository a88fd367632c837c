"""The test card: a small card to knit once, and what its knitter's answers say of the reader.

Its row 1 holds every needle, so that it shows at a glance when it is knitted; above it stands a pole with a flag to the
right. Where these come out, and when, tells how the reader mirrors, which needle column 1 stands on, how far below eye
level it reads and whether it selects one pass ahead. Knows charts, cards and profiles; nothing of a screen.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, fields, replace
from typing import Final, Literal

import numpy as np

from stitchc.bed import Needles, needle_name, needle_position
from stitchc.card.plan import Card, plan_card
from stitchc.chart import KNIT, SLIP, TUCK, Chart
from stitchc.english import number
from stitchc.machines import load_text
from stitchc.machines.fit import reads_nothing_of_the_kind
from stitchc.machines.geometry import impossible
from stitchc.machines.profile import Machine
from stitchc.machines.schema import line
from stitchc.messages import Message, Refused, Span
from stitchc.pattern import Stitch

LEAST_COLUMNS: Final = 4
_POLE_ROWS: Final = (8, 9, 11, 12, 14, 15, 17, 18)
_FLAG_ROWS: Final = (17, 18)
_HEIGHT: Final = 36

USUAL_ROWS_BELOW: Final = 12
"""Rows from eye level down to the row read, at most, on usual readers: 5 and 7 are common practice, the rest margin."""

USUAL_DIFFERENCE: Final = 0.05
"""By how much of itself a pitch may differ from the profile's before it is asked again: over what measuring by ruler
and cards of different makes explain (from memory)."""


def pole_column(columns: int) -> int:
    """The column, from 1, of the pole on a card of so many columns."""
    return max(1, columns // 3)


def plan_test_card(machine: Machine) -> Card:
    """The test card for a machine's card: drawn as it lies, whatever the profile says of mirroring and eye level.

    Raises Refused M305 where the machine reads no card, or one too narrow for a figure.
    """
    if machine.card is None or machine.reader_width is None or machine.reader != "card":
        raise Refused(*reads_nothing_of_the_kind(machine, "card"))
    columns = machine.reader_width
    if columns < LEAST_COLUMNS:
        text = f"The test card needs at least {LEAST_COLUMNS} columns; the card of `{machine.name}` has {columns}."
        raise Refused(
            Message("M305", "error", text, advice="Fill in the profile by hand: stitchc machines --write NAME")
        )
    cells = np.full((max(_HEIGHT, machine.card.least_rows), columns), KNIT, dtype=np.uint8)
    held = SLIP if machine.slip == "carriage" else TUCK
    pole = pole_column(columns) - 1
    cells[0] = held
    for row in _POLE_ROWS:
        cells[row - 1, pole : pole + (min(5, columns - pole) if row in _FLAG_ROWS else 1)] = held
    as_it_lies = replace(machine, mirrored=False, selects="same pass", card=replace(machine.card, seen_above_read=0))
    stitch = Stitch("test card", Chart(cells, (None,) * len(cells)), Span("", 1))
    return replace(plan_card(stitch, as_it_lies), own_notes=tuple(_steps(machine, held)))


def _steps(machine: Machine, held: int) -> list[tuple[str, str]]:
    needles = Needles.centred(machine.reader_width or 0)
    setting, straight = ("slip", "lies straight across") if held == SLIP else ("tuck", "lies over")
    return [
        ("1. Cast on", f"{needles.left} to {needles.right}, every needle. Knit 10 plain rows."),
        (
            "2. Feed the card",
            "This side faces you; the end with row 1 goes in first. Close the ring. Turn it until row 1 is at eye "
            "level, and lock it.",
        ),
        (
            "3. Knit",
            f"Set the carriage to {setting} and release the card. Before each pass read the number of the row at eye "
            f"level. Go on until the yarn {straight} all needles on one pass.",
        ),
        (
            "4. Write down",
            "Which number was at eye level before that pass? Did the needles move into place one pass earlier?",
        ),
        (
            "5. Knit 20 rows more",
            "A pole with a flag appears. As you face the bed: which needle is the pole on? Is the flag left or right "
            "of it?",
        ),
        (
            "6. Measure your own card",
            "From the centre of a hole to the centre of the tenth beyond it: across, and along.",
        ),
        ("Then", "stitchc machines --ask   asks for these answers and writes your profile."),
    ]


# -- what the answers say -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Answers:
    """What the knitter saw. pole: the needle's name. flag: on which side of the pole. eye_level: the number at eye
    level before the pass that held every needle. moved_before: the needles moved into place one pass earlier.
    ten_columns_mm, ten_rows_mm: measured on a card of the machine's own."""

    pole: str
    flag: Literal["left", "right"]
    eye_level: int
    moved_before: bool
    ten_columns_mm: float
    ten_rows_mm: float


class WrongAnswer(ValueError):
    """An answer that cannot be true; the text tells why, in plain words, and what to look at again."""


def _quoted(text: str) -> str:
    return f"`{text.strip()}`" if text.strip() else "An empty answer"


def _one_of(text: str, first: str, second: str) -> bool:
    """Whether the answer is the first of two words, also as one letter. Raises WrongAnswer."""
    word = text.strip().lower()
    if word not in (first, first[0], second, second[0]):
        raise WrongAnswer(f"{_quoted(text)} is neither {first} nor {second}. Write {first} or {second}.")
    return word[0] == first[0]


def read_side(text: str) -> Literal["left", "right"]:
    """left or right. Raises WrongAnswer."""
    return "left" if _one_of(text, "left", "right") else "right"


def read_yes(text: str) -> bool:
    """yes or no. Raises WrongAnswer."""
    return _one_of(text, "yes", "no")


def read_pole(machine: Machine, text: str) -> str:
    """The needle of the pole, among those that were in work. Raises WrongAnswer."""
    in_work = Needles.centred(plan_test_card(machine).columns)
    try:
        position = needle_position(text)
    except ValueError:
        raise WrongAnswer(f"{_quoted(text)} is not a needle. Write it as in L5 or R3.") from None
    if not in_work.first <= position <= in_work.last:
        raise WrongAnswer(
            f"The pole cannot be on {needle_name(position)}: only {in_work.left} to {in_work.right} were in work. Name "
            "the needle that was held in most of the rows after the straight yarn."
        )
    return needle_name(position)


def read_eye_level(machine: Machine, text: str) -> int:
    """The number of a row of the test card. Raises WrongAnswer."""
    rows = plan_test_card(machine).rows
    if not re.fullmatch(r"\s*[0-9]{1,6}\s*", text, re.ASCII) or not 1 <= int(text) <= rows:
        raise WrongAnswer(
            f"{_quoted(text)} is not a row of the test card: they are numbered 1 to {rows}, at the left of the card."
        )
    return int(text)


def read_ten(machine: Machine, way: Literal["columns", "rows"], text: str) -> float:
    """What ten columns or ten rows measure, in mm, of a card that can be. Raises WrongAnswer."""
    match = re.fullmatch(r"\s*([0-9]{1,6}(?:[.,][0-9]*)?)\s*(?:mm)?\s*", text, re.ASCII)
    if match is None:
        raise WrongAnswer(f"{_quoted(text)} is not a length in mm. Write it in figures, as in 45.2.")
    measure = float(match[1].replace(",", "."))
    if _can_be(machine, way, measure):
        return measure
    sizes = [size for size in range(1, 1000) if _can_be(machine, way, size)]
    reasons = [f"you may have measured one {way[:-1]} instead of ten"] if _can_be(machine, way, measure * 10) else []
    reasons += ["you may have measured in inches"] if _can_be(machine, way, measure * 25.4) else []
    if not reasons and _can_be(machine, "rows" if way == "columns" else "columns", measure):
        reasons = ["you may have measured " + ("along the card" if way == "columns" else "across the card")]
    reason = f"; {' or '.join(reasons)}" if reasons else ""
    if measure and not reasons:
        reason = f" (if yours does, fill in a profile by hand: stitchc machines --write {machine.name})"
    raise WrongAnswer(
        f"Ten {way} of a card like that of {machine.name} measure {sizes[0]} to {sizes[-1]} mm, not {measure:g}"
        f"{reason}. Measure from the centre of a hole to the centre of the tenth after it."
    )


def _can_be(machine: Machine, way: Literal["columns", "rows"], ten_mm: float) -> bool:
    """Whether a card of such a pitch can be, all else being as the profile has it."""
    card = machine.card
    assert card is not None and machine.reader_width is not None
    values = {each.name: getattr(card, each.name) for each in fields(card)}
    lengths = {name: value for name, value in values.items() if isinstance(value, int | float)}
    lengths[f"{way[:-1]}_pitch_mm"] = round(ten_mm / 10, 3)
    return not impossible(machine.reader_width, lengths, card.clip_from_end_mm)


def eye_level_question(eye_level: int, moved_before: bool) -> str | None:
    """What to ask again where the two make an unusual reader; None where they make a usual one. Raises WrongAnswer
    where they cannot both be true."""
    seen = eye_level - 1 - moved_before
    if seen < 0:
        raise WrongAnswer(
            "Row 1 was at eye level before the pass that knitted it, so that it was read on that very pass; then the "
            "needles cannot have moved into place one pass earlier. Look at the number and at the needles again."
        )
    if seen <= USUAL_ROWS_BELOW:
        return None
    return (
        f"Your reader would read {seen} rows below eye level. That is unusual: most read 5 or 7 rows "
        f"below it. Was row {eye_level} at eye level (yes or no)?"
    )


def measure_question(machine: Machine, way: Literal["columns", "rows"], ten_mm: float) -> str | None:
    """What to ask again where ten columns or rows are not near those of the profile; None where they are."""
    assert machine.card is not None
    usual = 10 * (machine.card.column_pitch_mm if way == "columns" else machine.card.row_pitch_mm)
    if abs(ten_mm - usual) <= USUAL_DIFFERENCE * usual:
        return None
    return f"Ten {way} of a usual card measure about {usual:g} mm. Are yours {ten_mm:g} mm (yes or no)?"


def own_profile(machine: Machine, answers: Answers) -> tuple[str, list[str]]:
    """The profile of the knitter's own machine as TOML, based on a shipped one, and what was concluded, in sentences.

    Raises WrongAnswer.
    """
    assert machine.card is not None and machine.reader_width is not None
    columns = machine.reader_width
    in_work = Needles.centred(columns)
    pole = needle_position(read_pole(machine, answers.pole))
    eye_level = read_eye_level(machine, str(answers.eye_level))
    eye_level_question(eye_level, answers.moved_before)
    across = read_ten(machine, "columns", f"{answers.ten_columns_mm:f}")
    along = read_ten(machine, "rows", f"{answers.ten_rows_mm:f}")
    seen = eye_level - 1 - answers.moved_before
    mirrored = answers.flag == "left"
    column = pole_column(columns)
    first = pole - (columns - column if mirrored else column - 1)
    first = (first - in_work.first) % columns + in_work.first
    values: list[tuple[str, str, object, object]] = [
        ("reader", "mirrored", machine.mirrored, mirrored),
        ("reader", "column_1_needle", machine.column_1_needle, needle_name(first)),
        ("reader", "selects", machine.selects, "one pass ahead" if answers.moved_before else "same pass"),
        ("card", "seen_above_read", machine.card.seen_above_read, seen),
        ("card", "column_pitch_mm", machine.card.column_pitch_mm, round(across / 10, 3)),
        ("card", "row_pitch_mm", machine.card.row_pitch_mm, round(along / 10, 3)),
    ]
    lines = [f"# Found with the test card of {machine.name}.", f'based_on = "{machine.name}"']
    for table in ("reader", "card"):
        differing = [line((table, key), now) for where, key, was, now in values if where == table and was != now]
        lines += ["", f"[{table}]", *differing] if differing else []
    text = "\n".join(lines) + "\n"
    load_text(text, "own.toml")  # every answer was judged: what is refused here is a defect of this file
    return text, [
        f"Your reader {'mirrors the card' if mirrored else 'does not mirror the card'}; pattern column 1 stands on "
        f"{needle_name(first)}.",
        f"It reads {number(seen, 'row')} below eye level and knits a row "
        f"{'one pass after it is read' if answers.moved_before else 'on the pass that reads it'}.",
        f"Its columns are {across / 10:g} mm apart, its rows {along / 10:g} mm.",
    ]

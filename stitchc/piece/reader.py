"""What the reader of a machine is given in a piece, and when: cards and pictures put in, set back, under way."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stitchc.machines.fit import fitted_rows
from stitchc.passes import moved_by_hand, other_side, selects_ahead
from stitchc.piece.plan import Plan, Section
from stitchc.sheet.preparation import COUNTER_TO_ZERO, select_for_row_one
from stitchc.sheet.terms import LOCK_IT

if TYPE_CHECKING:
    from stitchc.machines.profile import Machine


def begins_with_selecting(plan: Plan) -> bool:
    """Whether a plain row before row 1 selects the needles for it."""
    return selects_ahead(plan.machine) and not plan.sections[0].is_plain


def put_in_ahead(plan: Plan) -> dict[int, str]:
    """On a machine that selects one pass ahead: by the row in which row 1 of a part in pattern is read, what is done
    before that row. A part that the piece begins with has none; its selecting row stands with the part."""
    if not selects_ahead(plan.machine):
        return {}
    steps: dict[int, str] = {}
    in_reader: str | None = None
    selected = False
    for section in plan.sections:
        row = section.from_row - 1
        if not section.is_plain and row:
            same = in_reader == section.stitch
            if plan.machine.reader == "card":
                reader = "set the card back" if same else f"put in the card of {section.stitch}"
                reader += f" and {LOCK_IT}"
                after = " Release it after that row."
            else:
                reader = f"choose the picture of {section.stitch} and start at row 1"
                reader, after = "start the picture at row 1 again" if same else reader, ""
            itself = f" What row {row} itself knits is selected already." if selected else ""
            steps[row] = f"Before row {row}: {reader}. In row {row} it selects for row {row + 1}.{after}{itself}"
        selected = not section.is_plain
        if selected:
            in_reader = section.stitch
    return steps


def reader_details(
    plan: Plan, section: Section, in_reader: str | None, after_row: int, knitted: int
) -> tuple[list[str], list[str]]:
    """What there is to know of the reader for a part in pattern, or after some rows of it; and what to do with it."""
    machine = plan.machine
    if moved_by_hand(machine) or section.is_plain:
        return [], []
    height = section.chart.height
    times = fitted_rows(section.chart, machine.card) // height if machine.card is not None else 1
    before = section.from_row - 1
    if selects_ahead(machine) and after_row and after_row == before + knitted:
        return [], [_selected_or_not(machine, section, times * height, knitted)]
    if knitted:
        return [_under_way(machine, section, times * height, knitted)], []
    known, steps = [], []
    is_card, again = machine.reader == "card", in_reader == section.stitch
    reader = "card" if is_card else "picture"
    if selects_ahead(machine) and before:
        known.append(f"{reader.capitalize()}: {section.stitch}. It read its row 1 in row {before}.")
    elif again:
        steps.append(f"Set the card back and {LOCK_IT}." if is_card else "Start the picture at row 1 again.")
    else:
        put_in = f"Put in the card of {section.stitch} and {LOCK_IT}." if is_card else ""
        steps.append(put_in or f"Choose the picture of {section.stitch} and start at row 1.")
    if selects_ahead(machine) and not before:
        side = other_side(section.carriage)
        bring = f"Set the carriage to plain. If it is not at the {side}, knit one plain row to bring it there."
        steps = [bring, *steps, select_for_row_one(machine, section.carriage), f"{COUNTER_TO_ZERO}."]
    if times > 1:
        known.append(
            f"The card holds the repeat {times} times ({times * height} rows). Rows below are rows of one repeat: card "
            f"row {height + 1} is row 1 again."
        )
    return known, steps


def _under_way(machine: Machine, section: Section, rows: int, knitted: int) -> str:
    """Half way through a part in pattern. rows: of the card or picture."""
    row = f"row {knitted % section.chart.height + 1} of the repeat"
    if machine.reader != "card":
        return f"Picture: {section.stitch} is in the machine. Its next row is {row}."
    return f"Card: {section.stitch} is in the reader. Its next row is card row {knitted % rows + 1}, {row}."


def _selected_or_not(machine: Machine, section: Section, rows: int, knitted: int) -> str:
    """Half way on a machine that selects one pass ahead: the last pass selected by the plan it was knitted by, which
    may have had another row next, or another card in."""
    row, last = section.from_row + knitted, section.from_row + knitted - 1
    needs = knitted % rows + 1
    reader, place, goes_on = "Picture", "start it at that row", ""
    if machine.reader == "card" and machine.card is not None:
        seen = (needs - 1 + machine.card.seen_above_read) % rows + 1
        reader, place = "Card", f"put it in, lock it with its row {seen} at eye level"
        goes_on = f" In row {row} the card reads its row {needs % rows + 1}."
    return (
        f"{reader}: {section.stitch}. Row {row} needs its row {needs} selected. If row {last} read that row, go on. If "
        f"not, set the carriage to plain and knit one row; then {place}, and knit one more, which selects the needles "
        f"for row {row}. Both rows stay in the fabric: turn the row counter back by 2, and set the carriage as it was."
        f"{goes_on}"
    )

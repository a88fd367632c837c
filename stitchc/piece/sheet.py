"""A plan as a sheet: the same value as for one stitch, with sections, things done between rows, sizes and yarns."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING

from stitchc.bed import needle_name
from stitchc.english import number
from stitchc.gauge.values import PLAIN
from stitchc.machines.fit import fitted_rows
from stitchc.messages import Message
from stitchc.passes import Pass, column_1_position, moved_by_hand
from stitchc.pattern import Do
from stitchc.piece.drawing import outline
from stitchc.piece.values import Plan, Section, other_side
from stitchc.piece.words import (
    Units,
    child_cautions,
    gauge_lines,
    in_both,
    rounding_lines,
    rows_words,
    size_lines,
    size_words,
    work_words,
    yarn_lines,
)
from stitchc.sheet import CAUTIONS, DoEntry, Entry, SectionEntry, Sheet, habits, instruct

if TYPE_CHECKING:
    from stitchc.machines.profile import Machine


def piece_sheet(plan: Plan, units: Units = "cm", messages: Sequence[Message] = (), after_row: int = 0) -> Sheet:
    """The whole instructions. messages: those that stand on it; what is only information is told in its place.

    after_row: leave out the rows up to this one, which are knitted already.
    """
    entries = _entries(plan, units, after_row)
    whole = ", of the whole" if after_row else ""
    facts = [("Work", work_words(plan, after_row))]
    if plan.width_cm is not None:
        facts.insert(0, ("Width", size_words(plan.width_cm, units)))
    if plan.length_cm is not None:
        facts.insert(len(facts) - 1, ("Length", size_words(plan.length_cm, units) + whole))
    return Sheet(
        title=plan.piece.name,
        subtitle=plan.pattern.title or "",
        kind="instructions for a whole piece",
        machine=plan.machine,
        needles=plan.needles,
        edge=plan.edge,
        carriage=plan.piece.carriage,
        entries=entries,
        charts={name: chart for name, chart in plan.charts.items() if name != PLAIN},
        yarns=dict(plan.pattern.yarns),
        facts=tuple(facts),
        before=tuple(_before(plan)),
        habits=tuple(_habits(plan)),
        cautions=(*CAUTIONS, *child_cautions(plan)),
        notes=plan.pattern.notes,
        warnings=tuple(f"{message.text} ({message.code})" for message in messages if message.severity != "info"),
        more=tuple(_more(plan, units, messages, after_row)),
        drawing=outline(plan, units),
        after_row=after_row,
    )


def _more(
    plan: Plan, units: Units, messages: Sequence[Message], after_row: int
) -> Iterator[tuple[str, tuple[str, ...]]]:
    yield "Size of the whole" if after_row else "Size", tuple(size_lines(plan, units))
    rounded = tuple(rounding_lines(plan, units))
    rounded += tuple(message.text for message in messages if message.severity == "info")
    if rounded:
        yield "What the rounding did", rounded
    yarns = tuple(yarn_lines(plan, units, after_row))
    if yarns:
        yield "Yarn still needed" if after_row else "Yarn", yarns
    gauges = tuple(gauge_lines(plan, units))
    if gauges:
        yield "Gauge", gauges
    yield "Words", tuple(_glossary(plan))


def _glossary(plan: Plan) -> Iterator[str]:
    yield "L1, L2, … and R1, R2, …: the needles left and right of the middle of the bed, counted outward."
    yield "Row: one pass of the carriage. A row's number is what the row counter shows when the row is done."
    letters = {
        "T": "T, tuck: takes the yarn and keeps what it holds",
        "S": "S, slip: takes no yarn and keeps what it holds",
    }
    used = {letter for chart in plan.charts.values() for row in chart.rows() for letter in set(row)}
    told = [words for letter, words in letters.items() if letter in used]
    if told:
        yield f"K, knit: takes the yarn and casts off what it holds. {'. '.join(told)}."
    yield "Plain: stocking stitch, every needle knits. Repeat: the part of a stitch that comes again and again."
    if plan.edge:
        yield f"Edge: {number(plan.edge, 'needle')} at each end of the work, always knitting."
    yield "Waste yarn: a smooth yarn for rows that are taken out again; it is not part of the piece."


def _habits(plan: Plan) -> Iterator[str]:
    """The machine's habits; where to begin is a line of the piece here, not an option of the command."""
    for habit in habits(plan.passes, plan.machine, plan.needles, plan.edge):
        yield re.sub(r"--carriage (left|right)", r"`carriage \1` in the piece", habit)


def _before(plan: Plan) -> Iterator[str]:
    needles, machine = plan.needles, plan.machine
    side = plan.piece.carriage
    first = next((item for item in plan.items if isinstance(item, Do | Pass)), None)
    bed = f"needles {needles.left} to {needles.right} ({needles.count})"
    if isinstance(first, Do):
        yield f"You will work on {bed}. What is done first stands at the top of the rows."
    else:
        yield f"Cast on {bed} in your usual way."
        yield _counter_words(side)
    patterned = list(dict.fromkeys(section.stitch for section in plan.sections if not section.is_plain))
    if not moved_by_hand(machine) and patterned:
        what = "card" if machine.reader == "card" else "picture"
        names = ", ".join(patterned)
        several = len(patterned) > 1
        made_by = f"`stitchc {'card' if what == 'card' else 'bitmap'}` makes {'them' if several else 'it'}"
        yield f"Have the {what}{'s' if several else ''} ready: {names} ({made_by})."
        if what == "picture":
            column_1 = needle_name(column_1_position(machine, needles, plan.edge))
            yield f"The first column of {'each' if several else 'the'} picture goes on {column_1}."
        if _ahead(machine):
            yield (
                f"This machine selects needles one pass ahead: the pass before a part in pattern is also the one that "
                f"reads row 1 of its {what}."
            )


def _counter_words(side: str) -> str:
    return f"With the carriage at the {side}, set the row counter to 000 and the carriage to plain."


def _entries(plan: Plan, units: Units, after_row: int) -> tuple[Entry, ...]:
    """Everything in order, from the row after `after_row` on; what is set and held by then is followed from row 1."""
    items: list[Pass | DoEntry | SectionEntry] = []
    part = 0
    parts = sum(section.step is not None for section in plan.sections)
    in_reader: str | None = None
    tension: str | None = None
    row = 0
    kept_from: int | None = None
    put_in = _put_in_ahead(plan)
    under_way: tuple[Section, Callable[[int], SectionEntry]] | None = None
    for item in plan.items:
        if row == after_row and kept_from is None:
            kept_from = len(items)
            if isinstance(item, Pass) and under_way is not None and row:
                section, tell = under_way
                items.append(tell(row - section.from_row + 1))  # told again
        if isinstance(item, Section):
            if items and not part and not row:  # after what is done first
                items.append(DoEntry(_counter_words(plan.piece.carriage)))
            part += item.step is not None
            tell = partial(_section_entry, plan, item, part, parts, in_reader, tension, units, after_row)
            under_way = (item, tell)
            items.append(tell(0))
            tension = item.at or tension
            if not item.is_plain:
                in_reader = item.stitch
        elif isinstance(item, Do):
            items.append(DoEntry(item.text))
        else:
            row = item.row
            if row in put_in:
                items.append(DoEntry(put_in[row]))
            items.append(item)
    entries = instruct(items, plan.machine, plan.needles, plan.pattern.yarns)
    if kept_from is None:  # nothing comes after the row
        kept_from = len(items)
    return entries[kept_from:]


def _ahead(machine: Machine) -> bool:
    """Whether a card or picture is read in the pass before the one that it selects for."""
    return not moved_by_hand(machine) and machine.selects == "one pass ahead"


def _put_in_ahead(plan: Plan) -> dict[int, str]:
    """On a machine that selects one pass ahead: by the row in which row 1 of a part in pattern is read, what is done
    before that row. A part that the piece begins with has none; its selecting pass stands with the part."""
    if not _ahead(plan.machine):
        return {}
    found: dict[int, str] = {}
    in_reader: str | None = None
    selected = False
    for section in plan.sections:
        row = section.from_row - 1
        if not section.is_plain and row:
            same = in_reader == section.stitch
            if plan.machine.reader == "card":
                what = (
                    "set the card back to row 1 and lock it there" if same else f"put in the card of {section.stitch}"
                )
                what += "" if same else ", locked at row 1"
                after = ", and you release it for the rows that follow"
            else:
                what = f"set the picture{'' if same else f' of {section.stitch}'} to row 1"
                after = ""
            itself = f" What row {row} itself knits is selected already." if selected else ""
            found[row] = f"Before row {row}: {what}. In row {row} it selects for row {row + 1}{after}.{itself}"
        selected = not section.is_plain
        if selected:
            in_reader = section.stitch
    return found


def _section_entry(
    plan: Plan,
    section: Section,
    part: int,
    parts: int,
    in_reader: str | None,
    tension: str | None,
    units: Units,
    after_row: int,
    knitted: int,
) -> SectionEntry:
    """after_row: of the piece, the last row that is done; knitted: rows of the section that are."""
    if section.step is None:
        return SectionEntry(f"One plain row added: {rows_words(section)}", (f"It is there {section.why}.",))
    title = f"Part {part} of {parts}: {section.stitch}, {rows_words(section)}"
    details = [_rows_detail(plan, section, units)]
    if section.at is not None:
        details.append(f"Tension: {section.at}.")
    elif tension is not None:
        details.append(f"Tension: as before ({tension}).")
    if section.yarn is not None:
        details.append(f"Yarn: {section.yarn}.")
    details += _reader_details(plan, section, in_reader, after_row, knitted)
    if knitted:
        details.append(f"It goes on with row {section.from_row + knitted}.")
    else:
        details.append(f"The carriage stands at the {section.carriage} before it and at the {section.ends} after it.")
    return SectionEntry(title, tuple(details))


def _rows_detail(plan: Plan, section: Section, units: Units) -> str:
    words = number(section.rows, "row")
    whole, over = section.repeats
    if section.chart.height > 1:
        repeat = f"the repeat of {section.chart.height} rows"
        if not whole:
            words += f", a part of {repeat}"
        else:
            words += f": {repeat} {'once' if whole == 1 else f'{whole} times'}"
            words += f" and {number(over, 'row')} of it more" if over else ""
    length = plan.length_of(section)
    if length is not None:
        words += f"; about {in_both(length.value, units)} when it has rested"
    return words + "."


def _reader_details(plan: Plan, section: Section, in_reader: str | None, after_row: int, knitted: int) -> Iterator[str]:
    """What the reader is given for a part in pattern, or where it stands after some rows of it."""
    machine = plan.machine
    if moved_by_hand(machine) or section.is_plain:
        return
    height = section.chart.height
    times = fitted_rows(section.chart, machine.card) // height if machine.card is not None else 1
    before = section.from_row - 1
    if _ahead(machine) and after_row and after_row == before + knitted:
        yield _selected_or_not(machine, section, times * height, knitted)
        return
    if knitted:
        yield _under_way(machine, section, times * height, knitted)
        return
    what = "Card" if machine.reader == "card" else "Picture"
    if _ahead(machine) and before:
        yield f"{what}: that of {section.stitch}; it has read its row 1 in row {before}."
    elif _ahead(machine):
        set_to, release = ("locked at row 1", ", and release it") if what == "Card" else ("set to row 1", "")
        yield (
            f"{what}: that of {section.stitch}, {set_to}; then the pass that only selects, which ends with the "
            f"carriage at the {section.carriage}{release}."
        )
    elif what == "Picture":
        again = "the same picture again" if in_reader == section.stitch else f"the picture of {section.stitch}"
        yield f"Picture: {again}, from row 1."
    else:
        again = "the same card, set back to row 1" if in_reader == section.stitch else f"that of {section.stitch}"
        yield f"Card: {again}; lock it at row 1 for the first of these rows, then release it."
    if times > 1:
        yield (
            f"The card holds the repeat {times} times over ({times * height} rows). Below, rows are counted within one "
            f"repeat: card row {height + 1} is its row 1 again."
        )


def _under_way(machine: Machine, section: Section, rows: int, knitted: int) -> str:
    """Half way through a part in pattern. rows: of the card or picture."""
    row = f"row {knitted % section.chart.height + 1} of the repeat"
    if machine.reader != "card":
        return f"Picture: that of {section.stitch} is under way, and goes on with {row}."
    return f"Card: that of {section.stitch} is in the reader, and goes on with its row {knitted % rows + 1}, {row}."


def _selected_or_not(machine: Machine, section: Section, rows: int, knitted: int) -> str:
    """Half way on a machine that selects one pass ahead: the last pass selected by the plan it was knitted by, which
    may have had another row next, or another card in."""
    row, last = section.from_row + knitted, section.from_row + knitted - 1
    needs = knitted % rows + 1
    side = section.carriage if knitted % 2 == 0 else other_side(section.carriage)
    if machine.reader == "card":
        what, place, goes_on = (
            "card",
            "put it in, locked there",
            f" In row {row} the card reads its row {needs % rows + 1}.",
        )
    else:
        what, place, goes_on = "picture", "set it there", ""
    return (
        f"{what.capitalize()}: that of {section.stitch}. Row {row} needs its row {needs} selected. If row {last} read "
        f"that, go on; if not, {place}, and make a pass that only selects and ends with the carriage at the {side}."
        f"{goes_on}"
    )

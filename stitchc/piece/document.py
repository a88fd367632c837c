"""A planned piece as a document: sizes, yarns and cautions, then every row with what is done between them.

With rows already knitted, the instructions and their counts of work and yarn begin with the next row; the JSON form
keeps all rows, as scripts rely on them, and says in `so_far.rows_done` how many are knitted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from itertools import accumulate

from stitchc.bed import needle_name
from stitchc.document import Block, ByHand, Document, Entry, Heading, Listing, Part, PassRow, Rows, Table, Terms
from stitchc.english import listed, number, several
from stitchc.gauge.gauges import PLAIN
from stitchc.messages import Message
from stitchc.passes import Pass, column_1_position, moved_by_hand, other_side, selects_ahead
from stitchc.pattern import Do
from stitchc.piece.outline import outline
from stitchc.piece.plan import Plan, Section
from stitchc.piece.reader import begins_with_selecting, put_in_ahead, reader_details
from stitchc.piece.size_words import (
    Units,
    by_size,
    child_cautions,
    gauge_lines,
    in_both,
    known,
    rounding_lines,
    rows_words,
    size_lines,
    size_table,
    size_words,
    work_words,
)
from stitchc.piece.yarn import AllYarn
from stitchc.piece.yarn_words import NOT_NAMED, purchase_part, yarn_part
from stitchc.sheet import Item, Yarns, instruct
from stitchc.sheet.instructions import Stretch, reader_name, selection_table, yarn_colours
from stitchc.sheet.needle_words import shortest
from stitchc.sheet.preparation import (
    COUNTER_TO_ZERO,
    STILL_ON,
    bed_facts,
    bed_words,
    cautions,
    empty_words,
    ending,
    needles_part,
    working_the_rows,
)
from stitchc.sheet.repeat import draw_repeat
from stitchc.sheet.sheet import total_words, warning_lines, warning_part
from stitchc.sheet.terms import CARD_AS_WRITTEN, WHICH_IS_MAIN, terms


def piece_document(
    plans: Sequence[Plan],
    labels: Sequence[str],
    units: Units,
    messages: Sequence[Sequence[Message]],
    after_row: int = 0,
    so_far: Sequence[Part] = (),
    for_others: bool = False,
    everything: AllYarn | None = None,
) -> Document:
    """The whole instructions, for one size or several.

    labels: what the sizes are called ("48 cm"). messages: of each size; those that are only information are told in
    their place. after_row: leave out the rows up to this one, which are knitted already; so_far: what they came to.
    for_others: whoever reads it has neither the pattern's file nor stitchc. everything: the yarn of all pieces of the
    pattern, in each size.
    """
    plan = plans[0]
    yarns = Yarns(plan.pattern.yarns, which_is_main=NOT_NAMED if for_others else WHICH_IS_MAIN)
    entries = _entries(plans, labels, units, after_row, yarns)
    if not isinstance(plan.items[-1], Do):
        entries = (*entries, STILL_ON)
    passes = [each.passes[after_row:] for each in plans]
    left = f"Still to knit: {number(len(passes[0]), 'row')}."
    return Document(
        plan.piece.name,
        f"what is still to knit after row {after_row}" if after_row else "instructions for a whole piece",
        tuple(_facts(plans, labels, units, after_row, for_others)),
        tuple(_parts(plans, labels, units, messages, after_row, so_far, for_others, everything)),
        Rows(
            entries,
            plan.needles,
            passes[0][0].start_side if passes[0] else plan.piece.carriage,
            (_where_it_stands(plan, after_row, entries),) if after_row else tuple(_before(plans, for_others)),
            moved_by_hand(plan.machine),
            left if after_row else total_words(passes, plan.machine),
            after_row,
            yarn_colours(plan.pattern.yarns),
            1 if after_row else plan.piece.make,
            bed_words([each.needles for each in plans]),
        ),
        plan.pattern.title or "",
    )


def _facts(
    plans: Sequence[Plan], labels: Sequence[str], units: Units, after_row: int, for_others: bool
) -> Iterator[tuple[str, str]]:
    plan = plans[0]
    if len(plans) > 1:
        yield (
            "Sizes",
            f"{several(labels)}. Where sizes differ, the first figure is for {labels[0]} and the others follow in "
            "brackets.",
        )
    if plan.piece.make > 1:
        yield "Make", f"{plan.piece.make}, one after the other"
    to_check = not for_others and not after_row and not all(section.is_plain for section in plan.sections)
    beds = [each.needles for each in plans]
    yield from bed_facts(plan.machine, beds, plan.edge, [each.passes for each in plans], to_check)
    if after_row < len(plan.passes):
        yield "Carriage", f"at the {plan.passes[after_row].start_side} before row {after_row + 1}"
    if widths := known([each.width_cm for each in plans]):
        yield "Width", size_words(widths, units)
    if lengths := known([each.length_cm for each in plans]):
        yield "Length", size_words(lengths, units) + (", of the whole" if after_row else "")
    yield "Work", work_words(plans, after_row)
    yield from (("Note", note) for note in plan.pattern.notes)


def _parts(
    plans: Sequence[Plan],
    labels: Sequence[str],
    units: Units,
    messages: Sequence[Sequence[Message]],
    after_row: int,
    so_far: Sequence[Part],
    for_others: bool,
    everything: AllYarn | None,
) -> Iterator[Part]:
    plan = plans[0]
    warned = [_for_readers(each) if for_others else each for each in messages]
    yield from warning_part(by_size([warning_lines(each, not for_others) for each in warned], labels))
    yield from so_far
    drawing = outline(plans, units)
    sizes: tuple[Block, ...] = (*size_table(plans, labels, units), Listing(tuple(size_lines(plans, units, for_others))))
    yield Part("Size of the whole" if after_row else "Size", sizes if drawing is None else (*sizes, drawing))
    infos = [[message.text for message in each if message.severity == "info"] for each in messages]
    rounded = [[*rounding_lines(each, units, after_row), *info] for each, info in zip(plans, infos, strict=True)]
    if any(rounded) and not for_others:
        yield Part("Rounding", (Listing(by_size(rounded, labels)),))
    alone = plan.piece.make == 1 and len(plan.pattern.pieces) == 1
    whose = "" if alone else f" for one {plan.piece.name}"
    heading = "Yarn still needed" if after_row else f"Yarn{whose}"
    to_buy = everything is not None and everything.is_one_piece
    yield yarn_part(heading, plans, labels, units == "in", after_row, for_others, to_buy)
    if everything is not None:
        yield from purchase_part(everything, units == "in")
    if gauges := tuple(gauge_lines(plan, units, for_others)):
        yield Part("Gauge", (Listing(gauges),))
    charts = [(name, chart) for name, chart in plan.charts.items() if name != PLAIN]
    if charts:
        where = ("See its chart.",) if for_others else ()
        repeats = tuple(draw_repeat(name, chart, plan.piece.carriage, *where) for name, chart in charts)
        yield Part("The repeats" if len(charts) > 1 else "The repeat", repeats)
    used = {letter for _, chart in charts for row in chart.rows() for letter in row}
    names = [name for name in ("K, knit", "T, tuck", "S, slip") if name[0] in used]
    names += ["Edge needles"] if plan.edge else []
    yield Part("Terms", (Terms(terms("L1, R1, …", "Row", "Plain", "Repeat", "Waste yarn", *names)),))
    yield cautions(*child_cautions(plan))
    passes = [each.passes for each in plans]
    beds = [each.needles for each in plans]
    begin_at = "then every direction below is the other way round" if for_others else "`carriage {}` in the piece"
    yield from needles_part(beds, _rows_with_ladders(plans))
    yield from working_the_rows(passes, plan.machine, beds, plan.edge, begin_at)


def _for_readers(messages: Sequence[Message]) -> list[Message]:
    """Those about the knitting itself: what is said of how the piece is written (P4..) is the designer's to mend, and
    the instructions tell what it comes to."""
    return [message for message in messages if not message.code.startswith("P")]


def _rows_with_ladders(plans: Sequence[Plan]) -> Iterator[tuple[str, tuple[Pass, ...]]]:
    """A row of each section, in each size, whose needles out of work are others than before, when all of them are
    out."""
    shown: set[tuple[tuple[int, ...], ...]] = set()
    for section in plans[0].sections:
        sizes = tuple(plan.passes[section.to_row - 1] for plan in plans)
        empties = tuple(each.empty for each in sizes)
        if empties not in shown:
            shown.add(empties)
            yield f"{section.stitch}, {rows_words(section)}", sizes


def _before(plans: Sequence[Plan], for_others: bool) -> Iterator[str]:
    plan = plans[0]
    machine, side = plan.machine, plan.piece.carriage
    first = next((item for item in plan.items if isinstance(item, Do | Pass)), None)
    beds = [each.needles for each in plans]
    in_work = [each.needles.count - len(each.passes[0].empty) for each in plans]
    bed = f"needles {bed_words(beds)} ({several(in_work)})"
    yield from empty_words(
        [each.passes for each in plans],
        "These needles stand empty from the cast-on, in non-working position: {}. Cast on the others alone.",
    )
    selecting = begins_with_selecting(plan)
    if isinstance(first, Do):
        yield f"You will work on {bed}. The rows begin with what to do first."
    elif selecting:
        yield f"Cast on {bed} in your usual way, and end with the carriage at the {other_side(side)}."
    else:
        yield f"Cast on {bed} in your usual way."
        yield _counter_words(side)
    patterned = list(dict.fromkeys(section.stitch for section in plan.sections if not section.is_plain))
    if moved_by_hand(machine) or not patterned:
        return
    reader = reader_name(machine)
    names, plural = ", ".join(patterned), "s" if len(patterned) > 1 else ""
    maker = "card" if reader == "card" else "bitmap"
    theirs = f"You find {'them' if plural else 'it'} in this leaflet."
    mine = f"`stitchc {maker}` makes {'them' if plural else 'it'}."
    mine += f" {CARD_AS_WRITTEN}" if reader == "card" else ""
    yield f"Have the {reader}{plural} ready: {names}. {theirs if for_others else mine}"
    if reader == "picture":
        column_1 = several([needle_name(column_1_position(machine, bed, plan.edge)) for bed in beds])
        yield f"The first column of {'each' if plural else 'the'} picture goes on {column_1}."
    if selects_ahead(machine):
        yield (
            "This machine selects needles one pass ahead: the pass before a part in pattern also reads row 1 of its "
            f"{reader}."
            + (f" So row 1 needs one plain row before it, {other_side(side)} to {side}." if selecting else "")
        )


def _where_it_stands(plan: Plan, done: int, entries: Sequence[Entry]) -> str:
    """How everything is left by the rows that are knitted."""
    last = plan.passes[done - 1]
    words = f"The row counter stands at {done:03d} and the carriage at the {last.end_side}."
    places = [(last.empty, "out of work")]
    if moved_by_hand(plan.machine):
        places += [(last.out, "held"), (last.rest, "pushed right back")]
    for needles, place in places:
        if needles:
            count = len(needles)
            words += f" {number(count, 'needle')} {'is' if count == 1 else 'are'} {place}: {shortest(needles).text()}."
    following = next((entry for entry in entries if isinstance(entry, PassRow)), None)
    if following is not None:
        words += f" Check: {'; '.join(following.state)}. Go on with row {following.row}."
    return words


def _counter_words(side: str) -> str:
    return f"With the carriage at the {side}, {COUNTER_TO_ZERO.lower()} and the carriage to plain."


def _entries(
    plans: Sequence[Plan], labels: Sequence[str], units: Units, after_row: int, yarns: Yarns
) -> tuple[Entry, ...]:
    """Everything in order, from the row after `after_row` on; what is set and held by then is followed from row 1."""
    plan = plans[0]
    sizes = list(zip(*(each.passes for each in plans), strict=True))
    items: list[Item] = []
    part = 0
    parts = sum(section.step is not None for section in plan.sections)
    in_reader: str | None = None
    tension: str | None = None
    row = 0
    kept_from: int | None = None
    put_in = put_in_ahead(plan)
    under_way: tuple[Section, Callable[[int], list[Item]]] | None = None
    shown: list[Table] = []

    def once(entries: Sequence[Item]) -> list[Item]:
        """Without the tables that stand further up."""
        new = [entry for entry in entries if entry not in shown]
        shown.extend(entry for entry in new if isinstance(entry, Table))
        return new

    for item in plan.items:
        if row == after_row and kept_from is None:
            kept_from = len(items)
            shown.clear()
            if isinstance(item, Pass) and under_way is not None and row:
                section, tell = under_way
                items += once(tell(row - section.from_row + 1))  # told again
        if isinstance(item, Section):
            if items and not part and not row and not begins_with_selecting(plan):  # after what is done first
                items.append(ByHand(_counter_words(plan.piece.carriage)))
            part += item.step is not None
            so_far = (in_reader, tension, units, after_row)
            tell = partial(_section_entries, plan, sizes, labels, item, part, parts, *so_far)
            under_way = (item, tell)
            items += once(tell(0))
            tension = item.tension or tension
            if not item.is_plain:
                in_reader = item.stitch
        elif isinstance(item, Do):
            items.append(ByHand(item.text))
        else:
            row = item.row
            if row in put_in:
                items.append(ByHand(put_in[row]))
            items.append(sizes[row - 1])
            if row == len(sizes):
                items += ending([each.passes for each in plans], plan.machine, yarns)
    releases = [section.from_row for section in plan.sections if not section.is_plain]
    if plan.machine.reader != "card":
        releases = []
    elif selects_ahead(plan.machine):
        releases = [row for row in releases if row == 1]  # the others in the row that selects for them
    beds = [each.needles for each in plans]
    told: list[str | None] = [section.tension for section in plan.sections]
    tensions: Iterator[str | None] = accumulate(told, lambda before, tension: tension or before)
    stretches = [
        Stretch(section.from_row, section.rows, section.chart.height, tension)
        for section, tension in zip(plan.sections, tensions, strict=True)
    ]
    entries = instruct(items, plan.machine, beds, yarns, labels, releases, stretches)
    return entries[len(items) if kept_from is None else kept_from :]


def _section_entries(
    plan: Plan,
    sizes: Sequence[tuple[Pass, ...]],
    labels: Sequence[str],
    section: Section,
    part: int,
    parts: int,
    in_reader: str | None,
    tension: str | None,
    units: Units,
    after_row: int,
    knitted: int,
) -> list[Item]:
    """The head of a section, and on a machine that selects needles the table of what it selects.

    sizes: all rows of the piece, each in every size. after_row: of the piece, the last row that is done; knitted: rows
    of the section that are.
    """
    if section.step is None:
        return [Heading(f"One plain row added: {rows_words(section)}", (f"It is there {section.why}.",))]
    title = f"Part {part} of {parts}: {section.stitch}, {rows_words(section)}"
    details = [_rows_detail(plan, section, units)]
    if section.tension is not None:
        details.append(f"Tension: {section.tension}.")
    elif tension is not None:
        details.append(f"Tension: as before ({tension}).")
    if section.yarn is not None:
        details.append(f"Yarn: {_yarn_words(plan, section, section.yarn)}.")
    known, steps = reader_details(plan, section, in_reader, after_row, knitted)
    details += known
    if knitted:
        details.append(f"Go on with row {section.from_row + knitted}.")
    else:
        details.append(
            f"The carriage stands at the {section.carriage} before it and at the "
            f"{plan.carriage_after(section)} after it."
        )
    heading = Heading(title, tuple(details))
    if moved_by_hand(plan.machine):
        return [heading]
    # The last repeat: in the first, needles that come back into work may still be on their way.
    rows = sizes[section.to_row - min(section.rows, section.chart.height) : section.to_row]
    table = selection_table(rows, plan.machine, section.stitch, labels)
    return [heading, *([] if table is None else [table]), *map(ByHand, steps)]


def _yarn_words(plan: Plan, section: Section, asked: str) -> str:
    """The yarns that the rows of a section are really in: rows that name one of their own keep it."""
    used = {each.yarn for each in plan.passes[section.from_row - 1 : section.to_row]}
    others = sorted(yarn for yarn in used if yarn is not None and yarn != asked)
    if others and asked not in used:
        return others[0] if len(others) == 1 else f"{listed(others)}, as the rows say"
    return f"{asked}, and {listed(others)} where the rows say so" if others else asked


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

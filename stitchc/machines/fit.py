"""Whether a stitch goes into what a machine can read and do: M301, M302, M303 and M305, each with a way out.

`unfit` alone decides, for `check` and for every product. Knows charts, beds and profiles, nothing of cards' geometry
or of passes.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from stitchc.bed import Needles
from stitchc.chart import OUT, SLIP, TUCK, Chart
from stitchc.english import listed, number
from stitchc.machines.loader import load
from stitchc.machines.profile import CardShape, Machine
from stitchc.messages import Message
from stitchc.pattern import Stitch
from stitchc.wording import OPTION, command_name, machine_choice, machine_name


def unfit(
    stitch: Stitch,
    machine: Machine,
    needles: Needles | None = None,
    card_rows: int | None = None,
    card_chart: Chart | None = None,
) -> list[Message]:
    """Everything that keeps this machine from knitting the stitch.

    needles: those in work, if they are known; otherwise one repeat, between edge needles where the knitter sets them.
    card_rows: rows that a card must at least have. card_chart: the rows that go on the card, if not the stitch's own.
    """
    chart = card_chart or stitch.chart
    return [
        *too_many_needles(stitch, machine, needles),
        *beyond_the_machine(stitch, machine),
        *off_the_card(stitch, machine),
        *more_rows_than_a_blank(stitch, machine, chart, card_rows),
    ]


def too_many_needles(stitch: Stitch, machine: Machine, needles: Needles | None) -> list[Message]:
    """M303 where the needles are not there on the bed, or are more than a reader takes."""
    bed = machine.bed
    most = machine.needles
    columns = machine.reader_width if machine.reader == "bitmap" else None
    if columns is not None and columns < most:
        most = columns
    whose = f"the {most} of" if most == machine.needles else f"the {most} columns for the reader of"
    if needles is None:
        edges = 0 if machine.reader == "bitmap" else 2
        width = stitch.chart.width
        if width + edges <= most:
            return []
        also = " and two edge needles" if edges else ""
        text = f"`{stitch.name}` is {width} needles wide{also}, more than {whose} {machine_name(machine.name)}."
        return [Message("M303", "error", text, stitch.span, advice=narrower(stitch) or "Make the repeat narrower.")]
    if needles.count > most:
        text = f"{needles.count} needles are more than {whose} {machine_name(machine.name)}."
        advice = f"{OPTION.needles:{most}}, or knit it in {-(-needles.count // most)} panels."
        if stitch.chart.width > most:
            advice = narrower(stitch) or "Make the repeat narrower."
        return [Message("M303", "error", text, advice=advice)]
    if needles.first < bed.first or needles.last > bed.last:
        name = machine_name(machine.name)
        text = f"The needles `{needles}` reach past the bed of {name} ({bed.left} to {bed.right})."
        return [Message("M303", "error", text, advice=f"{OPTION.needles:{needles.count}}")]
    return []


# -- the card's rows ------------------------------------------------------------------------------------------------


def fitted_rows(chart: Chart, shape: CardShape, least_rows: int | None = None) -> int:
    """The least number of whole repeats, as rows, that makes a closed card and the rows asked for."""
    least = max(shape.least_rows, least_rows or 1)
    return -(-least // chart.height) * chart.height


def more_rows_than_a_blank(
    stitch: Stitch, machine: Machine, chart: Chart, card_rows: int | None = None
) -> list[Message]:
    """M302 where the card needs more rows than a blank has.

    An error, although blanks can be joined: it doubles the punching, and whether a reader takes a longer ring is for
    the knitter to say. `--anyway` plans the blanks.
    """
    shape, height = machine.card, chart.height
    if machine.reader != "card" or shape is None:
        return []
    rows = fitted_rows(chart, shape, card_rows)
    if rows <= shape.rows:
        return []
    blank = f"the {shape.rows} rows of a blank for {machine_name(machine.name)}"
    most = shape.rows // height * height
    if height > shape.rows:
        text = f"`{stitch.name}` needs {height} rows on the card, more than {blank}."
    elif card_rows and card_rows > max(shape.least_rows, most):
        text = f"{OPTION.rows:{card_rows}} takes {rows} rows in whole repeats of `{stitch.name}`, more than {blank}."
    else:
        text = (
            f"A closed card has at least {shape.least_rows} rows. In whole repeats of `{stitch.name}`, {height} rows "
            f"high, that takes {rows} rows, more than {blank}."
        )
    ways = []
    if card_rows and most >= shape.least_rows:
        ways.append(f"{OPTION.rows:{most}}, or fewer")
    ways.append(f"{OPTION.anyway}, for a card of {-(-rows // shape.rows)} blanks joined")
    if machine.origin != "shipped":
        ways.append(f"`rows = {rows}` under [card] in `{machine.origin}`, for a longer blank")
    return [Message("M302", "error", text, stitch.span, advice=";\nor ".join(ways) + ".")]


# -- the card's columns ---------------------------------------------------------------------------------------------


def off_the_card(stitch: Stitch, machine: Machine) -> list[Message]:
    """M301 where the repeat's width does not go into the columns of the machine's card.

    A repeat fits a reader when its width divides the card's (common practice). The advice names the nearest widths that
    do, and stitches that have one: plain needles added to the repeat, or repeats side by side and plain needles to
    fill the card; each of these is another design, and the advice says so. A repeat that is really narrower is first
    to be written so.
    """
    columns, width = machine.reader_width, stitch.chart.width
    if machine.reader != "card" or not columns or columns % width == 0:
        return []
    text = (
        f"The stitch `{stitch.name}` is {width} needles wide, which does not fit evenly into the {columns} columns of "
        f"the card of {machine_name(machine.name)}."
    )
    return [Message("M301", "error", text, stitch.span, advice=narrower(stitch) or _fitting(stitch, columns))]


def narrower(stitch: Stitch) -> str:
    """The stitch as it is written in fewer needles without changing the fabric; empty where it cannot be."""
    small = stitch.chart.smallest_repeat()
    if small.width == stitch.chart.width:
        return ""
    return f"The repeat is really {number(small.width, 'needle')} wide. Write it so:\n{_as_lines(stitch.name, small)}"


def _fitting(stitch: Stitch, columns: int) -> str:
    """Widths, stitches and machines for a repeat that does not go into the columns."""
    width = stitch.chart.width
    fitting = [count for count in range(1, columns + 1) if columns % count == 0]
    near = sorted(sorted(fitting, key=lambda count: abs(count - width))[:3])
    advice = f"The nearest widths that fit: {listed([str(count) for count in near])}."
    if stitch.chart.out and 0 < columns % width <= columns // 4:
        chart = _with_more_out(stitch, columns)
        working = np.flatnonzero(chart.in_work)
        wide = number(int(columns - 1 - working[-1] + working[0]), "needle")
        advice += f" Putting more needles out of work changes the design: a ladder {wide} wide in every {columns}:\n"
        advice += _as_lines(f"{stitch.name}-{columns}-out", chart) + "\n"
    if width < columns:
        advice += " Adding plain needles changes the design:"
        advice += "".join(f"\n    {line}" for line in _made_to_fit(stitch.name, width, columns, fitting))
    elif others := [name for name in _READ_NO_CARD if not too_many_needles(stitch, load(name), None)]:
        advice += f"\nOr knit it where any width is possible: {' or '.join(map(machine_choice, others))}."
    return advice


_READ_NO_CARD: Final = ("hand-standard", "bitmap-standard")


def _made_to_fit(name: str, width: int, columns: int, fitting: list[int]) -> list[str]:
    """Definitions of stitches that do fit, made of this one and plain needles, each with what it leaves plain."""

    def line(times: int, whole: int) -> str:
        plain = whole - times * width
        repeated = f"{name} across {times}" if times > 1 else name
        left = f"leaves {plain} plain {'needle' if plain == 1 else 'needles'} in every {whole}"
        return f"stitch {name}-{whole} = {repeated} beside plain {plain} by 1   # {left}"

    next_up = min(count for count in fitting if count > width)
    times = columns // width
    return [line(1, next_up)] + ([line(times, columns)] if times > 1 else [])


def _with_more_out(stitch: Stitch, columns: int) -> Chart:
    """The stitch as often as it goes into the columns, and the rest out of work: a wider ladder (trade practice: a
    repeat of 7 on a card of 24 takes 21 columns, and the other needles are left out of work)."""
    cells = np.tile(stitch.chart.cells, (1, columns // stitch.chart.width))
    rest = np.full((len(cells), columns - cells.shape[1]), OUT, np.uint8)
    return Chart(np.hstack([cells, rest]), stitch.chart.yarns)


def _as_lines(name: str, chart: Chart) -> str:
    from stitchc.notation.writer import write_chart

    lines = write_chart(name, chart, declare_yarns=False).splitlines()
    return "\n".join(f"    {line}" for line in lines if line)


# -- what the carriage can do ---------------------------------------------------------------------------------------


def beyond_the_machine(stitch: Stitch, machine: Machine) -> list[Message]:
    """M305 where the stitch tucks or slips and the machine has no way to."""
    messages = []
    for code, name, way in ((TUCK, "tuck", machine.tuck), (SLIP, "slip", machine.slip)):
        if way == "none" and bool((stitch.chart.cells == code).any()):
            other, other_way = ("T for S", machine.tuck) if name == "slip" else ("S for T", machine.slip)
            text = f"{machine_name(machine.name)} cannot {name}, and the stitch `{stitch.name}` has {name} cells."
            without = f", or a stitch without:\n    stitch {stitch.name}-other = {stitch.name} with {other}"
            advice = f"Choose a machine that can ({command_name('machines')} lists them)"
            advice += "." if other_way == "none" else without
            messages.append(Message("M305", "error", text, stitch.span, advice))
    return messages


def reads_nothing_of_the_kind(machine: Machine, reader: str) -> list[Message]:
    """M305 where a card or a picture (`reader` "card" or "bitmap") is asked for and the machine reads none."""
    if machine.reader == reader:
        return []
    reads = {
        "none": "it reads nothing: needles are moved by hand",
        "card": "it reads a hole card",
        "bitmap": "it has electronic patterning",
    }[machine.reader]
    command = {"none": "sheet", "card": "card", "bitmap": "bitmap"}[machine.reader]
    lacks = "reads no hole card" if reader == "card" else "has no electronic patterning"
    other, made = ("card24-standard", "card") if reader == "card" else ("bitmap-standard", "picture")
    advice = f"{command_name(command)} with {machine_choice(machine.name)}, or {machine_choice(other)} for a {made}."
    return [Message("M305", "error", f"{machine_name(machine.name)} {lacks}; {reads}.", advice=advice)]

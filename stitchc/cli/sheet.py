"""`stitchc sheet`: what to set and which needles to move, pass by pass: text, a page to print and follow, JSON."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from stitchc.cli import common
from stitchc.cli.needles import leave_room, needles_option
from stitchc.messages import Message

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stitchc.bed import Needles
    from stitchc.machines import Machine
    from stitchc.pattern import Pattern, Side, Stitch
    from stitchc.sheet import Sheet


@click.command(short_help="Make the needle sheet: what to move and set, row by row.")
@common.file_argument
@common.stitch_option
@common.machine_option("hand-standard")
@needles_option("Whole repeats and the edge needles, at least 24")
@common.option("--rows", type=click.IntRange(1, 1_000_000), default=None, help="Rows to knit. One repeat if unsaid.")
@common.option(
    "--carriage",
    type=click.Choice(["right", "left"]),
    default="right",
    show_default=True,
    help="Where the carriage stands before row 1.",
)
@common.option(
    "--edge", type=click.IntRange(0, 1000), default=1, show_default=True, help="Needles at each end that always knit."
)
@common.option(
    "--cheapest",
    is_flag=True,
    help="Also say which start side and which shift of the repeat ask for the fewest moves. Changes nothing.",
)
@common.every_row_option
@common.format_option("text", "html", "json")
@common.output_option("the sheet; a folder for HTML of several stitches")
@common.anyway_option
def command(
    file: str,
    stitch_names: tuple[str, ...],
    machine_name: str,
    needles: Needles | None,
    rows: int | None,
    carriage: Side,
    edge: int,
    cheapest: bool,
    every_row: bool,
    form: str,
    output: Path | None,
    force: bool,
    anyway: bool,
) -> None:
    """Make the needle sheet of the stitches in FILE: row by row what to set and which needles to move.

    \b
        stitchc sheet cowl.stitch --needles 80 --rows 60
        stitchc sheet cowl.stitch --rows 60 --format html     to print, or to follow on a phone or tablet
        stitchc sheet cowl.stitch --cheapest                  is there less work to be had?

    JSON is one document for one stitch and a list of documents for several. The repeat begins on the first needle
    after the left edge needles; on a machine with a card it lies where the machine puts it.
    """
    from stitchc.checks import check, edge_tucks
    from stitchc.passes import cells_on, columns_on, less_than_a_repeat, unfit

    pattern = common.read_pattern(file)
    stitches = common.chosen(pattern, stitch_names)
    machine = common.load_machine(machine_name)
    plans = [(stitch, *_extent(stitch, needles, rows, edge)) for stitch in stitches]
    found: list[tuple[str, Message]] = []
    for stitch, in_work, count in plans:
        for message in [*check(stitch, machine), *unfit(stitch, machine, in_work), *_too_much(stitch, in_work, count)]:
            found.append((stitch.name, message))
        found += [(stitch.name, message) for message in less_than_a_repeat(stitch, machine, in_work, edge)]
        cells = cells_on(stitch.chart, columns_on(stitch.chart, machine, in_work, edge))
        found += [(stitch.name, message) for message in edge_tucks(cells, in_work, stitch)]
    never = {"M303", "N110"}  # there is no needle to move past the bed's end, and no room for more rows
    if any(message.code in never for _, message in found):
        common.leave([message for _, message in found], pattern.sources)
    from stitchc.gauge.remarks import check_bed

    shown = common.require([*(message for _, message in found), *check_bed(pattern, machine)], pattern, anyway)
    sheets = [
        _sheet(pattern, plan, machine, carriage, edge, [m for n, m in found if n == plan[0].name], shown)
        for plan in plans
    ]
    if cheapest:
        for stitch, in_work, count in plans:
            common.say(_cheapest(stitch, machine, in_work, count, carriage, edge))
    _write(pattern, sheets, every_row, form, output, force)


def _extent(stitch: Stitch, needles: Needles | None, rows: int | None, edge: int) -> tuple[Needles, int]:
    """Needles and rows asked for, or the defaults; leaves with wrong usage where they leave none for the stitch."""
    from stitchc.passes import default_needles

    count = stitch.chart.height if rows is None else rows
    if needles is None:
        return default_needles(stitch.chart, edge), count
    leave_room(needles, edge, stitch)
    return needles, count


def _too_much(stitch: Stitch, needles: Needles, rows: int) -> list[Message]:
    from stitchc.chart import MAX_CELLS

    if needles.count * rows <= MAX_CELLS:
        return []
    return [
        Message(
            "N110",
            "error",
            f"{rows:,} rows of {needles.count} needles are {needles.count * rows:,} cells; a sheet has at most "
            f"{MAX_CELLS:,}.",
            stitch.span,
            cure=f"--rows {MAX_CELLS // needles.count}",
        )
    ]


def _sheet(
    pattern: Pattern,
    plan: tuple[Stitch, Needles, int],
    machine: Machine,
    carriage: Side,
    edge: int,
    own: Sequence[Message],
    shown: Sequence[Message],
) -> Sheet:
    from stitchc.sheet import stitch_sheet

    stitch, needles, rows = plan
    mine = {(message.code, message.text) for message in own}
    return stitch_sheet(
        pattern, stitch, machine, needles, rows, carriage, edge, [m for m in shown if (m.code, m.text) in mine]
    )


def _cheapest(stitch: Stitch, machine: Machine, needles: Needles, rows: int, carriage: Side, edge: int) -> str:
    from stitchc.passes import ways
    from stitchc.sheet.cheapest import cheapest_words

    return cheapest_words(stitch.name, ways(stitch.chart, machine, needles, rows, carriage, edge), carriage)


def _write(
    pattern: Pattern, sheets: Sequence[Sheet], every_row: bool, form: str, output: Path | None, force: bool
) -> None:
    if form == "json":
        from stitchc.sheet import to_json

        common.put_text(to_json(sheets), output, force)
    elif form == "text":
        from stitchc.document import to_text

        common.put_text("\n\n".join(to_text(sheet.document, every_row) for sheet in sheets), output, force)
    else:
        from stitchc.document.html import to_html

        paths = common.page_paths(pattern, [sheet.stitch for sheet in sheets], "sheet", output)
        common.put_files(
            zip(paths, (to_html(sheet.document, every_row).encode() for sheet in sheets), strict=True), force
        )

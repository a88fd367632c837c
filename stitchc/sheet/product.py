"""`make_sheet`: the needle sheets of a pattern's stitches, as text, page, PDF or JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

from stitchc.chart import MAX_CELLS
from stitchc.checks import check, edge_tucks
from stitchc.document.files import document_files, letters_lacking
from stitchc.english import number
from stitchc.gauge.remarks import check_bed
from stitchc.messages import Message, Refused, in_order
from stitchc.options import SheetOptions
from stitchc.passes import (
    carriage_refuses,
    columns_on,
    default_needles,
    less_than_a_repeat,
    unfit,
)
from stitchc.product import File, Product, WrongOption, accept, choose_stitches, file_stems, skipped_parts, whole_stem
from stitchc.sheet.json_form import to_json
from stitchc.sheet.sheet import Sheet, stitch_sheet
from stitchc.wording import OPTION

if TYPE_CHECKING:
    from stitchc.bed import Needles
    from stitchc.machines import Machine
    from stitchc.pattern import Pattern, Stitch

DEFAULTS: Final = SheetOptions()

MOST_ROWS: Final = 100_000
"""Rows of one sheet, some 250 m of fabric: past it a sheet takes memory and time for nobody."""

_NEVER: Final = {"M303", "N110"}
"""Errors that stand whatever is asked: there is no needle past the bed's end, and no room for more rows."""


class _Extent(NamedTuple):
    stitch: Stitch
    needles: Needles
    rows: int


def make_sheet(pattern: Pattern, machine: Machine, options: SheetOptions = DEFAULTS) -> Product[Sheet]:
    """A needle sheet for each stitch chosen: row by row what to set and which needles to move.

    Raises Refused (N103, N110, K2.., M3..) and WrongOption where the edges leave no needle for the stitch.
    """
    machine = machine.bringing_yarn(options.yarn_back)
    stitches = choose_stitches(pattern, options.stitches)
    extents = [_extent(stitch, options) for stitch in stitches]
    own = {each.stitch.name: _check(each, machine, options) for each in extents}
    messages_of_all = [message for messages in own.values() for message in messages]
    if any(message.code in _NEVER for message in messages_of_all):
        raise Refused(*in_order(messages_of_all), sources=pattern.sources)
    shown = accept([*messages_of_all, *check_bed(pattern, machine)], pattern, options.anyway)
    sheets = []
    for each in extents:
        codes = {(message.code, message.text) for message in own[each.stitch.name]}
        mine = [message for message in shown if (message.code, message.text) in codes]
        stitch, needles, rows = each
        sheets.append(stitch_sheet(pattern, stitch, machine, needles, rows, options.carriage, options.edge, mine))
    remarks = [*skipped_parts(pattern, stitches, options.stitches)]
    remarks += [_cheapest(each, machine, options) for each in extents] if options.cheapest else []
    remarks += letters_lacking((sheet.document for sheet in sheets), options.form)
    return Product(tuple(sheets), tuple(_files(pattern, stitches, sheets, options)), shown, tuple(remarks))


def _extent(stitch: Stitch, options: SheetOptions) -> _Extent:
    """Needles and rows asked for, or the defaults."""
    rows = stitch.chart.height if options.rows is None else options.rows
    if options.needles is None:
        return _Extent(stitch, default_needles(stitch.chart, options.edge), rows)
    if options.needles.count <= 2 * options.edge:
        least = 2 * options.edge + stitch.chart.width
        raise WrongOption(
            "edge",
            f"{number(options.needles.count, 'needle')} in work, with {number(options.edge, 'edge needle')} at each "
            f"end: no needle is left for the stitch. Try {OPTION.needles:{least}} or a smaller {OPTION.edge}.",
        )
    return _Extent(stitch, options.needles, rows)


def _check(extent: _Extent, machine: Machine, options: SheetOptions) -> list[Message]:
    (stitch, needles, rows), edge = extent, options.edge
    most = min(MOST_ROWS, MAX_CELLS // needles.count)
    if rows > most:
        text = f"{rows:,} rows are more than a sheet of {number(needles.count, 'needle')} holds: {most:,}."
        return [
            Message("N110", "error", text, stitch.span, advice=f"{OPTION.rows:{most}}, and go on with another sheet")
        ]
    return [
        *check(stitch, machine),
        *unfit(stitch, machine, needles),
        *less_than_a_repeat(stitch, machine, needles, edge),
        *edge_tucks(stitch.chart, columns_on(stitch.chart, machine, needles, edge), needles, stitch),
        *carriage_refuses(stitch, machine, rows, needles=needles, carriage=options.carriage, edge=edge),
    ]


def _cheapest(extent: _Extent, machine: Machine, options: SheetOptions) -> str:
    from stitchc.passes import ways
    from stitchc.sheet.cheapest import cheapest_words

    stitch, needles, rows = extent
    all_ways = ways(stitch.chart, machine, needles, rows, options.carriage, options.edge)
    return cheapest_words(stitch.name, all_ways, options.carriage)


def _files(pattern: Pattern, stitches: tuple[Stitch, ...], sheets: list[Sheet], options: SheetOptions) -> list[File]:
    whole = "sheet"
    if options.form == "json":
        return [File.of_text(f"{whole_stem(pattern, whole, options.name)}.json", to_json(sheets))]
    if options.form == "text":
        stems = {stitch.name: stitch.name for stitch in stitches}
    else:
        stems = file_stems(pattern, stitches, "sheet", options.name)
    documents = {stems[sheet.stitch]: sheet.document for sheet in sheets}
    stem = whole_stem(pattern, whole, options.name)
    return document_files(documents, options.form, stem, options.every_row, options.page)

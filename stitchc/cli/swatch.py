"""`stitchc swatch`: the least swatch worth knitting, with marks, and the lines to fill in afterwards."""

from __future__ import annotations

import json
import shlex
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from stitchc import files
from stitchc.cli import common
from stitchc.cli.plain_gauge import plain_option
from stitchc.messages import Message, visible

if TYPE_CHECKING:
    from stitchc.document import Document, Entry
    from stitchc.gauge import PlainGauge, Range
    from stitchc.gauge.swatch import SwatchPlan
    from stitchc.machines import Machine
    from stitchc.pattern import Pattern


@click.command(short_help="Plan the least swatch worth knitting for a stitch.")
@common.file_argument
@common.stitch_option
@common.machine_option("hand-standard")
@common.option(
    "--within",
    type=click.FloatRange(0.2, 20.0),
    default=2.0,
    show_default=True,
    metavar="PERCENT",
    help="How far off the measured gauge may be through the tape.",
)
@plain_option
@common.units_option
@common.format_option("text", "sheet", "html", "json")
@common.output_option("the plan; a folder for HTML of several swatches")
@common.anyway_option
def command(
    file: str,
    stitch_names: tuple[str, ...],
    machine_name: str,
    within: float,
    plain: PlainGauge | None,
    units: str,
    form: str,
    output: Path | None,
    force: bool,
    anyway: bool,
) -> None:
    """Plan a swatch for each stitch of FILE: needles, rows, where to mark, and what to expect between the marks.

    The counts between the marks are known, so that only the tape errs; the swatch is as small as --within allows.
    Where stocking stitch was not measured yet it gets a swatch too, since every estimate stands on it.

    \b
        stitchc swatch cowl.stitch --machine hand-bulky
        stitchc swatch cowl.stitch --stitch drift --within 1
        stitchc swatch cowl.stitch --format sheet             row by row, with the marks
        stitchc swatch cowl.stitch --format html              the same to print, or to follow on a tablet
    """
    from stitchc.checks import check
    from stitchc.gauge import check_gauge, estimate_pattern
    from stitchc.gauge.swatch import PLAIN_CHART, plan, plans_for_plain
    from stitchc.gauge.values import PLAIN
    from stitchc.messages import Refused
    from stitchc.passes import unfit

    machine = common.load_machine(machine_name)
    pattern = common.read_pattern(file)
    stitches = common.chosen(pattern, stitch_names)
    common.require(check_gauge(pattern, machine, plain), pattern)
    report = estimate_pattern(pattern, [stitch.name for stitch in stitches], plain)
    common.show(report.messages, pattern.sources)
    plans: list[SwatchPlan] = []
    refused: list[Message] = []
    wanted = [(stitch.name, stitch.chart) for stitch in stitches if not stitch.chart.knits.all()]
    if plans_for_plain(report):
        wanted.insert(0, (PLAIN, PLAIN_CHART))
    for name, chart in wanted:
        if name != PLAIN:
            refused += check(pattern.stitches[name], machine)
        try:
            found = plan(name, chart, report, machine, within / 100)
        except Refused as refusal:
            refused += refusal.messages
            continue
        if name != PLAIN:
            refused += unfit(pattern.stitches[name], machine, found.needles)
        plans.append(found)
    shown = common.require(refused, pattern, anyway)
    if form == "html":
        from stitchc.document.html import to_html

        pages = [to_html(_sheet(found, pattern, machine, shown)).encode() for found in plans]
        paths = common.page_paths(pattern, [found.name for found in plans], "swatch", output)
        common.put_files(zip(paths, pages, strict=True), force)
        return
    if form == "sheet":
        from stitchc.document import to_text

        text = "\n\n".join(to_text(_sheet(found, pattern, machine, shown)) for found in plans)
    elif form == "json":
        text = as_json(plans, machine)
    else:
        text = "\n".join(as_text(plans, machine, pattern, machine_name, units))
    common.put_text(text, output, force)


def _sheet(plan: SwatchPlan, pattern: Pattern, machine: Machine, messages: Sequence[Message]) -> Document:
    """The needle sheet of a swatch, with the marks and what to do afterwards put in where they belong."""
    from dataclasses import replace

    from stitchc.document import ByHand, PassRow
    from stitchc.gauge.swatch import EDGE, PLAIN_CHART
    from stitchc.gauge.values import PLAIN
    from stitchc.messages import Span
    from stitchc.pattern import Stitch
    from stitchc.sheet import stitch_sheet

    stitch = Stitch(PLAIN, PLAIN_CHART, Span(pattern.file, 1)) if plan.name == PLAIN else pattern.stitches[plan.name]
    mine = [message for message in messages if message.span in (stitch.span, *(stitch.row_spans or ()))]
    sheet = stitch_sheet(pattern, stitch, machine, plan.needles, plan.total_rows, "right", EDGE, mine).document
    assert sheet.rows is not None
    left, right = plan.marks
    here = {
        plan.first_mark_row: f"Mark row {plan.first_mark_row}: thread a scrap of yarn through an edge stitch.",
        (plan.first_mark_row + plan.last_mark_row) // 2: f"Hang a scrap of yarn on {left} and one on {right}.",
        plan.last_mark_row: f"Mark row {plan.last_mark_row} as you marked row {plan.first_mark_row}.",
    }
    entries: list[Entry] = []
    for entry in sheet.rows.entries:
        entries.append(entry)
        if isinstance(entry, PassRow) and entry.row in here:
            entries.append(ByHand(here[entry.row]))
    lines = " and ".join(plan.gauge_lines)
    entries.append(ByHand(f"Take it off and finish it as the work will be. Then fill in: {lines}."))
    title = "stocking stitch" if plan.name == PLAIN else plan.name
    facts = (
        ("Marks", f"{plan.stitches} stitches and {plan.rows} rows from mark to mark"),
        (
            "Size",
            f"about {_length(plan.expected_width_mm, 'cm')} by {_length(plan.expected_length_mm, 'cm')} between them",
        ),
    )
    rows = replace(sheet.rows, entries=tuple(entries))
    return replace(sheet, title=f"swatch of {title}", rows=rows, facts=sheet.facts + facts)


def as_json(plans: Sequence[SwatchPlan], machine: Machine) -> str:
    """The `stitchc-swatch/1` document."""
    document = {
        "format": "stitchc-swatch/1",
        "machine": machine.name,
        "swatches": [
            {
                "stitch": plan.name,
                "needles": {"left": plan.needles.left, "right": plan.needles.right, "count": plan.needles.count},
                "rows": plan.total_rows,
                "marks": {"needles": list(plan.marks), "rows": [plan.first_mark_row, plan.last_mark_row]},
                "between_marks": {
                    "stitches": plan.stitches,
                    "rows": plan.rows,
                    "width_mm": plan.expected_width_mm.as_json(),
                    "length_mm": plan.expected_length_mm.as_json(),
                },
                "tape_error_percent": round(100 * plan.within, 2),
                "gauge_is_guessed": plan.gauge_is_guessed,
                "metres": plan.metres.as_json(3) if plan.metres else None,
                "gauge_lines": list(plan.gauge_lines),
            }
            for plan in plans
        ],
    }
    return json.dumps(document, ensure_ascii=False, indent=1)


def as_text(
    plans: Sequence[SwatchPlan], machine: Machine, pattern: Pattern, machine_name: str, units: str
) -> Iterator[str]:
    """The plan for a person."""
    if not plans:
        yield "Nothing to swatch: stocking stitch is measured, and there is no other stitch here."
        return
    yield f"Swatches for {machine.title or machine.name}, in the yarn, tension and finish of the work."
    if any(plan.gauge_is_guessed for plan in plans):
        yield "No gauge of stocking stitch is known yet: sizes are guessed from the needle pitch. Once it is measured,"
        yield "ask again, and the others may come out smaller."
    for plan in plans:
        yield ""
        yield from _plan_text(plan, pattern, machine_name, units)
    yield ""
    yield "Take each swatch off, finish it as the work will be (wash, dry, rest it overnight), lay it flat without"
    yield "pulling, and measure from mark to mark, each way in three places. Then put these lines into the pattern, or"
    yield "into a file of their own that patterns of this yarn can include; write a line for each time you measured:"
    yield ""
    for plan in plans:
        for line in plan.gauge_lines:
            yield f"    {visible(line)}"


def _plan_text(plan: SwatchPlan, pattern: Pattern, machine_name: str, units: str) -> Iterator[str]:
    left, right = plan.marks
    yield visible("stocking stitch" if plan.name == "plain" else plan.name)
    yield _line(
        "cast on", f"{plan.needles.count} needles, {plan.needles.left} to {plan.needles.right}; a few rows of it"
    )
    yield _line("knit", f"row counter to 0, then {plan.total_rows} rows" + _edge_words(plan))
    yield _line("mark rows", f"{plan.first_mark_row} and {plan.last_mark_row}: a scrap of yarn through an edge stitch")
    yield _line("mark needles", f"{left} and {right}: a scrap hung on each, half way up")
    yield _line("mark to mark", f"{plan.stitches} stitches, about {_length(plan.expected_width_mm, units)}")
    yield _line("", f"{plan.rows} rows, about {_length(plan.expected_length_mm, units)}")
    yield _line("tape error", f"{100 * plan.within:.1f} % at the most")
    if plan.metres:
        yield _line("yarn", f"about {plan.metres.high:.0f} m at the most")
    if plan.name != "plain":
        file = "-" if pattern.file == files.STANDARD_INPUT else shlex.quote(pattern.file)
        yield _line(
            "row by row",
            f"stitchc sheet {file} --stitch {shlex.quote(plan.name)} --machine {shlex.quote(machine_name)} "
            f"--needles {plan.needles.count} --rows {plan.total_rows}",
        )


def _edge_words(plan: SwatchPlan) -> str:
    return "" if plan.name == "plain" else " of the stitch; one needle at each end always knits"


def _line(head: str, text: str) -> str:
    return f"  {head:<13} {visible(text)}".rstrip()


def _length(mm: Range, units: str) -> str:
    per = 1.0 if units == "cm" else 1 / 25.4
    digits, unit = (0, "mm") if units == "cm" else (1, "in")
    return f"{mm.value * per:.{digits}f} {unit} ({mm.low * per:.{digits}f} to {mm.high * per:.{digits}f})"

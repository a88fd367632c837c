"""`plan_swatch`: the smallest useful swatch of each stitch, as a text, row by row, or as JSON."""

from __future__ import annotations

import json
import shlex
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, Final

from stitchc.checks import check
from stitchc.document import Document
from stitchc.english import listed, metres
from stitchc.gauge.gauges import PLAIN, Range
from stitchc.gauge.product import known_of
from stitchc.gauge.remarks import check_bed
from stitchc.gauge.yarn_lines import unused_lines, yarns_to_name
from stitchc.machines import Machine
from stitchc.machines.fit import unfit
from stitchc.messages import Message, Refused, Span, visible
from stitchc.options import SwatchOptions, Units
from stitchc.pattern import Pattern, Stitch
from stitchc.product import File, Product, accept, choose_stitches, skipped_parts, whole_stem
from stitchc.sheet import Yarns, stitch_sheet
from stitchc.sheet.needle_words import name_needles
from stitchc.swatch.plan import EDGE, PLAIN_CHART, SwatchPlan, plan_one, plans_for_plain

DEFAULTS: Final = SwatchOptions()


def plan_swatch(pattern: Pattern, machine: Machine, options: SwatchOptions = DEFAULTS) -> Product[SwatchPlan]:
    """A swatch for each stitch, and one of stocking stitch where it was asked for as `plain` or not measured yet.

    Raises Refused N103, G601, M303 (the bed is too narrow) and for errors of knitting or of the machine, unless
    options.anyway.
    """
    names = tuple(name for name in options.stitches if name != PLAIN)
    stitches = choose_stitches(pattern, names) if names or not options.stitches else ()
    report, messages = known_of(pattern, stitches, options.plain, options.spread)
    messages += check_bed(pattern, machine, options.plain)
    charts = {stitch.name: stitch.chart for stitch in stitches if not stitch.chart.knits.all()}
    if PLAIN in options.stitches or plans_for_plain(report):
        charts = {PLAIN: PLAIN_CHART, **charts}
    plans: list[SwatchPlan] = []
    for name, chart in charts.items():
        try:
            planned = plan_one(name, chart, report, machine, options.within / 100)
            plan: SwatchPlan | None = replace(planned, yarn=_yarn_to_name(pattern, name))
        except Refused as refusal:
            messages += refusal.messages
            plan = None
        if name != PLAIN:
            messages += check(pattern.stitches[name], machine)
            messages += unfit(pattern.stitches[name], machine, plan.needles) if plan is not None else []
        plans += [plan] if plan is not None else []
    shown = accept(messages, pattern, options.anyway)
    files = tuple(_files(plans, pattern, machine, shown, options))
    return Product(tuple(plans), files, shown, skipped_parts(pattern, stitches, options.stitches))


def _yarn_to_name(pattern: Pattern, name: str) -> str | None:
    """What the `gauge` lines of a swatch have to name: a blank where they have to and there is a choice."""
    of_several = name != PLAIN and len(set(pattern.stitches[name].chart.yarns)) > 1  # its line can name none of them
    has_to = any(swatch.yarn is not None for swatch in pattern.swatches) and not of_several
    counting = set(pattern.swatches).difference(unused_lines(pattern))
    unnamed = any(swatch.stitch == name and swatch.yarn is None for swatch in counting)
    return yarns_to_name(pattern).get(name) or ("____" if has_to and not unnamed else None)


def _files(
    plans: Sequence[SwatchPlan], pattern: Pattern, machine: Machine, messages: Sequence[Message], options: SwatchOptions
) -> Iterator[File]:
    stem = whole_stem(pattern, "swatch", options.name)
    if options.form == "html":
        from stitchc.document.html import to_html
        from stitchc.naming import name_of, numbered

        names = numbered([*pattern.stitches, PLAIN], name_of(pattern))
        for each in plans:
            name = options.name if options.name and len(plans) == 1 else f"{names[each.name]}-swatch"
            yield File.of_text(f"{name}.html", to_html(_document(each, pattern, machine, messages)))
    elif options.form == "sheet":
        from stitchc.document import to_text

        pages = [to_text(_document(each, pattern, machine, messages)) for each in plans]
        yield File.of_text(f"{stem}.txt", "\n\n".join(pages))
    elif options.form == "json":
        yield File.of_text(f"{stem}.json", json.dumps(as_json(plans, machine), ensure_ascii=False, indent=1))
    else:
        yield File.of_text(f"{stem}.txt", "\n".join(as_text(plans, machine, pattern, options.units)))


def _document(plan: SwatchPlan, pattern: Pattern, machine: Machine, messages: Sequence[Message]) -> Document:
    """The needle sheet of a swatch, with the marks and what to do afterwards put in where they belong."""
    stitch = Stitch(PLAIN, PLAIN_CHART, Span(pattern.file, 1)) if plan.name == PLAIN else pattern.stitches[plan.name]
    mine = [message for message in messages if message.span in (stitch.span, *(stitch.row_spans or ()))]
    left, right = plan.marks
    middle = (plan.first_mark_row + plan.last_mark_row) // 2
    after = {
        plan.first_mark_row: f"Mark row {plan.first_mark_row}: thread a scrap of yarn through an edge stitch.",
        middle: f"Hang a scrap of yarn on {left} and one on {right}.",
        plan.last_mark_row: f"Mark row {plan.last_mark_row} as you marked row {plan.first_mark_row}.",
    }
    lines = " and ".join(plan.gauge_lines())
    finish = f"Take it off and finish it as the work will be. Then fill in: {lines}."
    after[plan.total_rows] = f"{after[plan.total_rows]} {finish}" if plan.total_rows in after else finish
    sheet = stitch_sheet(pattern, stitch, machine, plan.needles, plan.total_rows, "right", EDGE, mine, after).document
    size = f"about {_length(plan.expected_width_mm, 'cm')} by {_length(plan.expected_length_mm, 'cm')} between them"
    facts = (("Marks", f"{plan.counted} and {plan.rows} rows from mark to mark"), ("Size", size))
    return replace(sheet, title=f"swatch of {_title(plan)}", facts=sheet.facts + facts)


def _title(plan: SwatchPlan) -> str:
    return "stocking stitch" if plan.name == PLAIN else plan.name


def as_json(plans: Sequence[SwatchPlan], machine: Machine) -> dict[str, Any]:
    """The `stitchc-swatch/1` document."""
    return {
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
                "gauge_lines": list(plan.gauge_lines()),
            }
            for plan in plans
        ],
    }


FINISHING: Final = (
    "Take each swatch off, finish it as the work will be (wash, dry, rest it overnight), lay it flat without pulling, "
    "and measure from mark to mark, each way in three places."
)
_COUNTED: Final = " In a `gauge` line the needles out of work count as stitches."

_OWN_FILE: Final = " A file of their own also needs the `yarn` line."


def as_text(plans: Sequence[SwatchPlan], machine: Machine, pattern: Pattern, units: Units) -> Iterator[str]:
    if not plans:
        yield "No swatch is needed: stocking stitch is measured, and the file has no other stitch."
        return
    yield f"Swatches for {machine.title or machine.name}, in the yarn, tension and finish of the work."
    if any(plan.gauge_is_guessed for plan in plans):
        yield "No gauge of stocking stitch is known yet: sizes are guessed from the needle pitch. Once it is measured,"
        yield "plan again: the other swatches may become smaller."
    for plan in plans:
        yield ""
        yield from _plan_text(plan, pattern, machine, units)
    yield ""
    yield from textwrap.wrap(
        f"{FINISHING} Then put these lines into the pattern, or into a file of their own that patterns of this yarn "
        "can include, with the middle figure of the three. Write a line for each swatch: two swatches of one stitch "
        "show how much your gauge differs from one to the next."
        f"{_COUNTED if any(plan.empty for plan in plans) else ''}"
        f"{_OWN_FILE if any(plan.yarn is not None for plan in plans) else ''}",
        104,
    )
    yield ""
    for plan in plans:
        for line in plan.gauge_lines(units):
            yield f"    {visible(line)}"


def _plan_text(plan: SwatchPlan, pattern: Pattern, machine: Machine, units: Units) -> Iterator[str]:
    yield visible(_title(plan))
    for head, text in swatch_steps(plan, pattern, units):
        yield _line(head, text)
    if plan.name != PLAIN:
        from stitchc.messages import STANDARD_INPUT

        file = "-" if pattern.file == STANDARD_INPUT else shlex.quote(pattern.file)
        name = machine.name if machine.origin == "shipped" else shlex.quote(machine.origin)
        yield _line(
            "row by row",
            f"stitchc sheet {file} --stitch {shlex.quote(plan.name)} --machine {name} "
            f"--needles {plan.needles.count} --rows {plan.total_rows}",
        )


def swatch_steps(plan: SwatchPlan, pattern: Pattern, units: Units) -> Iterator[tuple[str, str]]:
    """What is done for a swatch and what it comes to, each with its head; a head that is empty goes on with the one
    before."""
    left, right = plan.marks
    is_plain = plan.name == PLAIN
    chart = PLAIN_CHART if is_plain else pattern.stitches[plan.name].chart
    yarns = Yarns.of(pattern)
    first, last = (
        f" with {yarns.name(yarn)}" if any(chart.yarns) else "" for yarn in (chart.yarns[0], chart.yarns[-1])
    )
    bed = f"{plan.needles.left} to {plan.needles.right}"
    if plan.empty:
        bed = f"those in work of the {plan.needles.count} from {bed}"
    yield "cast on", f"{plan.needles.count - len(plan.empty)} needles, {bed}; a few plain rows{first}"
    if plan.empty:
        yield "", f"these stay empty, out of work: {name_needles(plan.empty)}"
    edges = "" if is_plain else " of the stitch; one needle at each end always knits"
    yield "knit", f"row counter to 0, then {plan.total_rows} rows{edges}"
    if chart.held[-1].any():
        yield "", f"then one plain row{last}, so that no needle holds more than one loop at the end"
    yield "mark rows", f"{plan.first_mark_row} and {plan.last_mark_row}: a scrap of yarn through an edge stitch"
    yield "mark needles", f"{left} and {right}: a scrap hung on each, half way up"
    yield "mark to mark", f"{plan.counted}, about {_length(plan.expected_width_mm, units)}"
    yield "", f"{plan.rows} rows, about {_length(plan.expected_length_mm, units)}"
    yield "tape error", f"{100 * plan.within:.1f} % at the most"
    if len(plan.metres_of) > 1:
        parts = [f"{metres([each.high], units == 'in')} of {yarns.name(yarn)}" for yarn, each in plan.metres_of.items()]
        yield "yarn", f"about {listed(parts)} at the most"
    elif plan.metres:
        yield "yarn", f"about {metres([plan.metres.high], units == 'in')} at the most"


def _line(head: str, text: str) -> str:
    return f"  {head:<13} {visible(text)}".rstrip()


def _length(mm: Range, units: Units) -> str:
    per = 1.0 if units == "cm" else 1 / 25.4
    digits, unit = (0, "mm") if units == "cm" else (1, "in")
    return f"{mm.value * per:.{digits}f} {unit} ({mm.low * per:.{digits}f} to {mm.high * per:.{digits}f})"

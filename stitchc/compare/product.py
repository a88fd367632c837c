"""`compare_stitches`: stitches of one pattern or several side by side, as a table, as JSON or as a poster."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

from stitchc.chart import Chart
from stitchc.compare.against import Against, BestSwatch, best_swatch, compare_with
from stitchc.compare.report import Comparison, as_json, as_text
from stitchc.compare.sweep import Arrangement, arrangement_of, family, strands
from stitchc.compare.table import Compared, Key, compare, in_order_of
from stitchc.gauge import GaugeReport
from stitchc.gauge.gauges import PLAIN
from stitchc.gauge.product import known_of, of_several_yarns
from stitchc.machines import Limits, Machine, load
from stitchc.messages import Message, Refused, Span
from stitchc.naming import file_stem, name_of
from stitchc.options import CompareOptions
from stitchc.page.lettering import what_is_lacking
from stitchc.pattern import Pattern, Stitch
from stitchc.product import File, Product, WrongOption, choose_stitches, skipped_parts, unknown_stitch
from stitchc.wording import OPTION

DEFAULTS: Final = CompareOptions()
_MOST_TITLES: Final = 4
"""Patterns named in the title of a comparison; more are counted."""


def compare_stitches(
    patterns: Sequence[Pattern], machine: Machine | None = None, options: CompareOptions = DEFAULTS
) -> Product[Compared]:
    """What 100 needles by 100 rows of each stitch come out at, take and cost.

    machine: whose hand moves or card holes are counted, and whose limits a family keeps to; default: moves on
    hand-standard, holes for card24-standard, no limits. Raises Refused N103, N113, G601 and WrongOption.
    """
    if options.sweep and len(patterns) > 1:
        raise WrongOption("sweep", f"{OPTION.sweep} makes its family from one FILE, not from several.")
    hand = machine if machine is not None and machine.reader == "none" else load("hand-standard")
    card = machine if machine is not None and machine.reader == "card" else load("card24-standard")
    lines: list[Compared] = []
    messages: list[Message] = []
    remarks: list[str] = []
    reports: dict[str, GaugeReport] = {}
    chosen = _chosen([_with_plain(each) for each in patterns] if options.against == PLAIN else patterns, options)
    for pattern, stitches in chosen:
        if options.sweep:
            pattern, stitches = _swept(pattern, stitches, machine)
            stitches = _with_reference(pattern, stitches, options.against)
        else:
            remarks += skipped_parts(pattern, stitches, options.stitches, len(patterns) > 1)
        report, told = known_of(pattern, stitches, options.plain, options.spread)
        messages += told
        remarks += of_several_yarns(report)
        reports[pattern.file] = report
        lines += compare(pattern, stitches, report, hand, card)
    if not lines:
        raise Refused(Message("N113", "error", "There is no stitch to compare.", advice="Give a file that has one."))
    lines = in_order_of(lines, options.sort)
    against, best = _compared_with(lines, options.against, reports)
    comparison = Comparison(tuple(lines), hand, card, options.sort, against, best, options.against)
    title = _title([pattern for pattern, _ in chosen], len(lines), options.sweep)
    if options.form == "png":
        lacking = what_is_lacking("".join([title, *(line.stitch.name for line in lines)]), "plot")
        remarks += [lacking] if lacking else []
    return Product(
        tuple(lines), (_file(comparison, title, patterns, options),), tuple(dict.fromkeys(messages)), tuple(remarks)
    )


def _chosen(patterns: Sequence[Pattern], options: CompareOptions) -> list[tuple[Pattern, tuple[Stitch, ...]]]:
    """The patterns that have stitches to compare, with them. A stitch asked for by name is in one at least."""
    names = options.stitches
    if options.against and names and options.against not in names:
        names = (*names, options.against)
    if len(patterns) > 1 and names:
        missing = [name for name in names if not any(name in pattern.stitches for pattern in patterns)]
        if missing:
            files = ", ".join(f"`{pattern.file}`" for pattern in patterns[:4])
            raise Refused(
                *(
                    Message("N103", "error", f"There is no stitch `{name}` in {files}.", advice="Check its spelling.")
                    for name in missing
                )
            )
        here = [(pattern, [name for name in names if name in pattern.stitches]) for pattern in patterns]
        return [(pattern, choose_stitches(pattern, its)) for pattern, its in here if its]
    chosen = [(pattern, choose_stitches(pattern, names) if pattern.stitches or names else ()) for pattern in patterns]
    return [(pattern, _with_reference(pattern, stitches, options.against)) for pattern, stitches in chosen] or [
        (Pattern("", {}), ())
    ]


def _with_plain(pattern: Pattern) -> Pattern:
    """The pattern with stocking stitch among its stitches, under the name that only it can have."""
    plain = Stitch(PLAIN, Chart.plain(1, 1), Span(pattern.file, 1), from_include=True)  # none of the file's own
    return replace(pattern, stitches={**pattern.stitches, PLAIN: plain}) if pattern.stitches else pattern


def _with_reference(pattern: Pattern, stitches: tuple[Stitch, ...], name: str | None) -> tuple[Stitch, ...]:
    """The stitches and the one that the others are compared with, which may be a part of another."""
    if name is None or name not in pattern.stitches or any(stitch.name == name for stitch in stitches):
        return stitches
    return (*stitches, pattern.stitches[name])


def _swept(pattern: Pattern, stitches: Sequence[Stitch], machine: Machine | None) -> tuple[Pattern, tuple[Stitch, ...]]:
    """The pattern with the family put in place of its stitches; swatches still speak of the stitches there were."""
    arrangement = arrangement_of(stitches[0].chart) if stitches else Arrangement()
    span = stitches[0].span if stitches else Span(pattern.file, 1)
    made = family(arrangement, machine, machine.limits if machine is not None else Limits(), span)
    taken = {stitch.name: stitch for stitch in made}
    return replace(pattern, stitches={**pattern.stitches, **taken}), tuple(made)


def _compared_with(
    lines: Sequence[Compared], name: str | None, reports: dict[str, GaugeReport]
) -> tuple[dict[Key, Against], BestSwatch | None]:
    """How the stitches of its file compare with the one of that name, and which swatch would tell them apart."""
    if name is None:
        return {}, None
    references = [line for line in lines if line.stitch.name == name]
    if not references:
        pattern = Pattern(lines[0].file, {line.stitch.name: line.stitch for line in lines})
        names = ", ".join(list(pattern.stitches)[:12])
        raise Refused(unknown_stitch(name, pattern)._replace(advice=f"The stitches compared: {names}."))
    if name != PLAIN:  # every file has its own stocking stitch; of another name the first file's is meant
        del references[1:]
    against: dict[Key, Against] = {}
    for reference in references:
        against |= compare_with(lines, reference, reports[reference.file])
    file = references[0].file
    return against, best_swatch(name, [stitch for other_file, stitch in against if other_file == file], reports[file])


def _title(patterns: Sequence[Pattern], stitches: int, sweep: bool) -> str:
    titles = [pattern.title or Path(pattern.file).stem for pattern in patterns]
    known = list(dict.fromkeys(filter(None, titles)))
    title = ", ".join(known) if len(known) <= _MOST_TITLES else f"{stitches} stitches from {len(known)} patterns"
    if sweep:
        title = f"{title}: a family of densities" if title else "A family of densities"
    return title


def _file(comparison: Comparison, title: str, patterns: Sequence[Pattern], options: CompareOptions) -> File:
    stem = options.name or (
        file_stem(name_of(patterns[0]), "compared") if len(patterns) == 1 else file_stem(title, "compared")
    )
    if options.form == "png":
        from stitchc.compare.plot import plot

        joined = strands([line.stitch.name for line in comparison.lines]) if options.sweep else None
        return File(f"{stem}.png", plot(comparison.lines, title, options.units, joined, comparison.against))
    if options.form == "json":
        return File.of_text(f"{stem}.json", json.dumps(as_json(comparison), ensure_ascii=False, indent=1))
    return File.of_text(f"{stem}.txt", "\n".join(as_text(comparison, options.units)))

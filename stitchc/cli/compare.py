"""`stitchc compare`: densities side by side, as a table, as JSON or as a plot."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from stitchc.cli import common
from stitchc.cli.gauge import stitch_json
from stitchc.cli.plain_gauge import plain_option
from stitchc.messages import Message, columns_of, visible
from stitchc.naming import file_stem

if TYPE_CHECKING:
    from stitchc.compare import Compared, Sort
    from stitchc.gauge import PlainGauge, Range
    from stitchc.machines import Machine
    from stitchc.pattern import Pattern, Stitch

_MOST_TITLES = 4
"""Patterns named in the title of a comparison; more are counted."""
SORTS: Final[tuple[Sort, ...]] = ("rows", "width", "weight", "moves", "holes", "name", "file")


@click.command(short_help="Set the densities of stitches side by side: size, yarn, work.")
@click.argument("files", metavar="FILE...", nargs=-1, shell_complete=common.file_names)
@common.stitch_option
@common.option(
    "--sort",
    type=click.Choice(SORTS),
    default="rows",
    show_default=True,
    help="Longest first (rows), widest first (width), least first (weight, moves, holes), by name, or as in the files.",
)
@common.option(
    "--sweep",
    is_flag=True,
    help="Compare a family made from one repeat: 1 needle in 2, 3, 4, 6, 8 held for 1 to 4 rows, in tuck and in slip.",
)
@common.option(
    "--machine",
    "machine_name",
    metavar="NAME|FILE.toml",
    default=None,
    shell_complete=common.machine_names,
    help="Whose hand moves or card holes to count, and whose limits --sweep keeps to: a shipped profile or your own. "
    "Moves on hand-standard and holes for card24-standard, if unsaid.",
)
@plain_option
@common.units_option
@common.format_option("text", "json", "png")
@common.output_option("the comparison")
def command(
    files: tuple[str, ...],
    stitch_names: tuple[str, ...],
    sort: Sort,
    sweep: bool,
    machine_name: str | None,
    plain: PlainGauge | None,
    units: str,
    form: str,
    output: Path | None,
    force: bool,
) -> None:
    """Compare the stitches of any number of FILEs: what 100 needles by 100 rows come out at, take and cost.

    With --sweep, one FILE is enough or none: its first stitch (or the one of --stitch) says whether the holds are
    staggered and how many plain rows lie between them, and its `gauge` lines sharpen the figures.

    \b
        stitchc compare cowl.stitch cushion.stitch --sort moves
        stitchc compare --sweep --plain 20x28 --format png -o densities.png
    """
    if not files and not sweep:
        raise click.UsageError("Name one FILE or more to compare, or use --sweep for a family of densities.")
    if sweep and len(files) > 1:
        raise click.UsageError("--sweep makes its family from one FILE, not from several.")
    if files.count("-") > 1:
        raise click.UsageError("Standard input can be read only once.")
    hand, card, named = _machines(machine_name)
    lines, title = _lines(files, stitch_names, sweep, plain, hand, card, named)
    from stitchc.compare import in_order_of

    lines = in_order_of(lines, sort)
    if form == "png":
        from stitchc.compare.plot import plot
        from stitchc.compare.sweep import strands

        target = output or Path(f"{file_stem(title)}-compared.png")
        joined = strands([line.stitch.name for line in lines]) if sweep else None
        common.put_files([(target, plot(lines, title, units, joined))], force)
    elif form == "json":
        common.put_text(as_json(lines, sort, hand, card), output, force)
    else:
        common.put_text("\n".join(as_text(lines, units, hand, card)), output, force)


def _machines(name: str | None) -> tuple[Machine, Machine, Machine | None]:
    """The machine whose hand moves are counted, the one whose holes are, and the one that was asked for."""
    named = common.load_machine(name) if name else None
    hand = named if named is not None and named.reader == "none" else common.load_machine("hand-standard")
    card = named if named is not None and named.reader == "card" else common.load_machine("card24-standard")
    return hand, card, named


def _lines(
    files: Sequence[str],
    names: Sequence[str],
    sweep: bool,
    plain: PlainGauge | None,
    hand: Machine,
    card: Machine,
    named: Machine | None,
) -> tuple[list[Compared], str]:
    from stitchc.compare import compare
    from stitchc.gauge import check_gauge, estimate_pattern
    from stitchc.gauge.yarn import ill_matched
    from stitchc.pattern import Pattern

    lines: list[Compared] = []
    titles: list[str] = []
    unfound = set(names)
    for file in files or [""]:
        pattern = common.read_pattern(file) if file else Pattern("", {})
        common.require(check_gauge(pattern, None, plain), pattern)
        here = [name for name in names if name in pattern.stitches]
        unfound -= set(here)
        if names and not here and len(files) > 1:
            continue
        stitches = common.chosen(pattern, here if len(files) > 1 else names, saying=not sweep) if file else ()
        if sweep:
            pattern, stitches = _swept(pattern, stitches, named)
        report = estimate_pattern(pattern, [stitch.name for stitch in stitches], plain)
        common.show([*report.messages, *ill_matched(report, pattern)], pattern.sources)
        lines += compare(pattern, stitches, report, hand, card)
        titles.append(pattern.title or Path(file).stem)
    if unfound and len(files) > 1:
        common.leave(_nowhere(name, files) for name in sorted(unfound))
    if not lines:
        common.leave([Message("N113", "error", "There is no stitch to compare.", cure="Name a file that has one.")])
    told = list(dict.fromkeys(filter(None, titles)))
    title = ", ".join(told) if len(told) <= _MOST_TITLES else f"{len(lines)} stitches from {len(told)} patterns"
    if sweep:
        title = f"{title}: a family of densities" if title else "A family of densities"
    return lines, title


def _nowhere(name: str, files: Sequence[str]) -> Message:
    listed = ", ".join(f"`{file}`" for file in files[:4])
    return Message("N103", "error", f"There is no stitch `{name}` in {listed}.", cure="Check its spelling.")


def _swept(pattern: Pattern, stitches: Sequence[Stitch], machine: Machine | None) -> tuple[Pattern, tuple[Stitch, ...]]:
    """The pattern with the family put in place of its stitches; swatches still speak of the stitches there were."""
    from dataclasses import replace

    from stitchc.compare.sweep import Arrangement, arrangement_of, family
    from stitchc.machines import Limits
    from stitchc.messages import Span

    arrangement = arrangement_of(stitches[0].chart) if stitches else Arrangement()
    span = stitches[0].span if stitches else Span(pattern.file, 1)
    made = family(arrangement, machine, machine.limits if machine is not None else Limits(), span)
    taken = {stitch.name: stitch for stitch in made}
    return replace(pattern, stitches={**pattern.stitches, **taken}), tuple(made)


def as_json(lines: Sequence[Compared], sort: str, hand: Machine, card: Machine) -> str:
    """The `stitchc-compare/1` document."""
    document = {
        "format": "stitchc-compare/1",
        "sorted_by": sort,
        "moves_on": hand.name,
        "holes_for": card.name,
        "stitches": [_line_json(line) for line in lines],
    }
    return json.dumps(document, ensure_ascii=False, indent=1)


def _line_json(line: Compared) -> dict[str, object]:
    weights = {
        "metres_per_square_metre": line.metres_per_square_metre,
        "grams_per_square_metre": line.grams_per_square_metre,
        "grams_of_100_by_100": line.grams_of_100_by_100,
    }
    return {
        "file": line.file or None,
        **stitch_json(line.gauge, line.yarns),
        "rows": line.stitch.chart.rows() if line.stitch.chart.width * line.stitch.chart.height <= 4096 else None,
        **{name: None if found is None else found.as_json(3) for name, found in weights.items()},
        "moves_per_100_rows_on_100_needles": line.moves,
        "holes_to_punch": line.holes,
    }


# -- the table ------------------------------------------------------------------------------------------------------


def as_text(lines: Sequence[Compared], units: str, hand: Machine, card: Machine) -> Iterator[str]:
    """A table for a person; sizes in cm or inches."""
    known = all(line.size_cm is not None for line in lines)
    many = len({line.file for line in lines}) > 1
    weighed = all(line.grams_per_square_metre is not None for line in lines)
    measured = all(line.metres_per_square_metre is not None for line in lines)
    unit = 1.0 if units == "cm" else 1 / 2.54
    heads = [("file", "<")] if many else []
    heads += [("stitch", "<"), ("T in 100", ">"), ("S in 100", ">"), ("hold", ">")]
    if known:
        heads += [(f"wide, {units}", ">"), ("range", "<"), (f"long, {units}", ">"), ("range", "<")]
    else:
        heads += [("wide, %", ">"), ("range", "<"), ("long, %", ">"), ("range", "<")]
    heads += [("g/m2" if weighed else "m/m2", ">")] if weighed or measured else []
    heads += [("moves", ">"), ("holes", ">"), ("basis", "<")]
    table = [[head for head, _ in heads]]
    for line in lines:
        features = line.gauge.features
        cells = [visible(Path(line.file).stem)] if many else []
        hold = "never" if features.longest_hold is None else str(features.longest_hold)
        cells += [
            visible(line.stitch.name),
            f"{100 * features.tuck_share:.3g}",
            f"{100 * features.slip_share:.3g}",
            hold,
        ]
        size = line.size_cm
        for at, factor in enumerate((line.gauge.stitch_factor, line.gauge.row_factor)):
            if known and size is not None:
                cells += _figures(size[at].times(unit), 1)
            elif factor is not None:
                cells += _figures(factor.under(100), 0)
            else:
                cells += ["-", ""]
        weight = line.grams_per_square_metre if weighed else line.metres_per_square_metre
        if weighed or measured:
            cells.append("" if weight is None else f"{weight.value:.0f}")
        cells += ["-" if number is None else f"{number}" for number in (line.moves, line.holes)]
        table.append([*cells, line.gauge.basis])
    widths = [max(columns_of(row[at]) for row in table) for at in range(len(heads))]
    if known:
        yield "100 needles by 100 rows of each stitch. Ranges hold nine swatches in ten."
    else:
        yield "Size of each stitch in % of stocking stitch, same needles and rows. Ranges hold nine swatches in ten."
        yield "Sizes in cm need the gauge of stocking stitch: a `gauge plain` line in each file, or --plain 20x28."
    yield ""
    for row in table:
        padded = [
            " " * (width - columns_of(cell)) + cell if side == ">" else cell + " " * (width - columns_of(cell))
            for cell, width, (_, side) in zip(row, widths, heads, strict=True)
        ]
        yield "  ".join(padded).rstrip()
    yield ""
    yield f"moves: needles moved by hand for 100 rows on 100 needles of {hand.name}."
    yield f"holes: to punch for one closed card of {card.name}; - where the stitch can't be made so."


def _figures(found: Range, digits: int) -> list[str]:
    return [f"{found.value:.{digits}f}", f"{found.low:.{digits}f} to {found.high:.{digits}f}"]

"""`stitchc compare`: densities side by side, as a table, as JSON or as a plot."""

from __future__ import annotations

import click

from stitchc.cli.common import file_names, load_machine, read_patterns
from stitchc.cli.options import options_of
from stitchc.cli.results import Target, put_product
from stitchc.options import CompareOptions


@click.command(
    short_help="Compare stitches: size, yarn and work, side by side.",
    epilog="\b\nExamples:\n  stitchc compare cowl.stitch cushion.stitch --sort moves\n"
    "  stitchc compare grounds.stitch --against ripple\n"
    "  stitchc compare --sweep --plain 20x28 --format png -o densities.png",
)
@click.argument("files", metavar="FILE...", nargs=-1, shell_complete=file_names)
@options_of(
    CompareOptions,
    machine=None,
    machine_help="Count the needle moves or card holes for this machine; --sweep stays within its limits. (default: "
    "moves on hand-standard, holes for card24-standard)",
    output="the comparison",
)
def command(files: tuple[str, ...], machine_name: str | None, options: CompareOptions, target: Target) -> None:
    """Compare the stitches of any number of FILEs: size, yarn and work for 100 needles by 100 rows.

    --against shows the ratios to one stitch, and how often the others are wider and longer. --sweep takes one FILE or
    none: the first stitch (or the one of --stitch) sets whether the holds are staggered and how many plain rows lie
    between them, and the `gauge` lines make the figures better.
    """
    from stitchc.compare.product import compare_stitches

    if not files and not options.sweep:
        context = click.get_current_context()
        raise click.MissingParameter(
            "Use --sweep for a family of densities.", ctx=context, param=context.command.params[0]
        )
    if options.sweep and len(files) > 1:
        raise click.UsageError("--sweep makes its family from one FILE, not from several.")
    if files.count("-") > 1:
        raise click.UsageError("Standard input can be read only once.")
    machine = load_machine(machine_name) if machine_name else None
    patterns = read_patterns(files, options.book)
    sources = {name: lines for pattern in patterns for name, lines in pattern.sources.items()}
    put_product(compare_stitches(patterns, machine, options), target, sources)

"""`stitchc compare`: densities side by side, as a table, as JSON or as a plot."""

from __future__ import annotations

import click

from stitchc.cli.common import file_names, load_machine, read_pattern
from stitchc.cli.options import options_of
from stitchc.cli.results import Target, put_product
from stitchc.options import CompareOptions


@click.command(
    short_help="Set the densities of stitches side by side: size, yarn, work.",
    epilog="\b\nExamples:\n  stitchc compare cowl.stitch cushion.stitch --sort moves\n"
    "  stitchc compare grounds.stitch --against ripple\n"
    "  stitchc compare --sweep --plain 20x28 --format png -o densities.png",
)
@click.argument("files", metavar="FILE...", nargs=-1, shell_complete=file_names)
@options_of(
    CompareOptions,
    machine=None,
    machine_help="Whose hand moves or card holes to count, and whose limits --sweep keeps to. (default: moves on "
    "hand-standard, holes for card24-standard)",
    output="the comparison",
)
def command(files: tuple[str, ...], machine_name: str | None, options: CompareOptions, target: Target) -> None:
    """Compare the stitches of any number of FILEs: size, yarn and work for 100 needles by 100 rows.

    With --against the ratios to one stitch are shown, and how often the other is wider and longer. With --sweep, one
    FILE is enough or none: its first stitch (or the one of --stitch) says whether the holds are staggered and how many
    plain rows lie between them, and its `gauge` lines sharpen the figures.
    """
    from stitchc.compare.product import compare_stitches

    if not files and not options.sweep:
        raise click.UsageError("Name one FILE or more to compare, or use --sweep for a family of densities.")
    if options.sweep and len(files) > 1:
        raise click.UsageError("--sweep makes its family from one FILE, not from several.")
    if files.count("-") > 1:
        raise click.UsageError("Standard input can be read only once.")
    machine = load_machine(machine_name) if machine_name else None
    patterns = [read_pattern(file) for file in files]
    sources = {name: lines for pattern in patterns for name, lines in pattern.sources.items()}
    put_product(compare_stitches(patterns, machine, options), target, sources)

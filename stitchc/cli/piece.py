"""`stitchc piece`: a whole piece for one machine: needles, rows, sizes, yarn, instructions."""

from __future__ import annotations

import click

from stitchc.cli.common import file_argument, load_machine, read_pattern
from stitchc.cli.options import options_of
from stitchc.cli.results import Target, put_product
from stitchc.options import PieceOptions


@click.command(
    short_help="Plan a whole piece: needles, rows, sizes, yarn, instructions.",
    epilog="\b\nExamples:\n  stitchc piece cowl.stitch\n"
    "  stitchc piece cowl.stitch --machine card24-standard --format html   to follow, or to print\n"
    "  stitchc piece cowl.stitch --format pdf                              to print\n"
    "  stitchc piece hat.stitch --sizes 48,52,56\n"
    '  stitchc piece cowl.stitch --so-far "drift 30 rows 7.1 cm"           half way, if the size differs',
)
@file_argument
@options_of(PieceOptions, machine="hand-standard", output="the instructions")
def command(file: str, machine_name: str, options: PieceOptions, target: Target) -> None:
    """Plan a piece of FILE for a machine, from the finished size to the last pass, as instructions to knit from.

    The gauge of each stitch turns lengths into rows and the width into needles, in whole repeats; the instructions say
    how much the rounding changed. Every size has the range that nine knitters in ten get. With --so-far the
    instructions begin with the next row; JSON keeps all rows and says how many are done. With both --sizes and
    --so-far, give the one size that is on the needles.
    """
    from stitchc.piece.product import plan_piece

    pattern = read_pattern(file, options.book)
    put_product(plan_piece(pattern, load_machine(machine_name), options), target, pattern.sources)

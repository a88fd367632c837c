"""`stitchc bitmap`: the picture for electronic patterning, one pixel a stitch."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from stitchc.cli.common import (
    anyway_option,
    chosen,
    file_argument,
    form_for,
    in_spite_of,
    is_file,
    load_machine,
    machine_option,
    option,
    output_option,
    put_files,
    read_pattern,
    refuse_one_file_for_many,
    require,
    say,
    show,
    stitch_option,
)
from stitchc.cli.naming import stems
from stitchc.cli.needles import leave_room, needles_option

if TYPE_CHECKING:
    from stitchc.bed import Needles
    from stitchc.pattern import Stitch


@click.command(
    epilog="\b\nExamples:\n  stitchc bitmap cowl.stitch\n"
    "  stitchc bitmap cowl.stitch --needles 80 --edge 1 --rows 120 --dark hold\n"
    "  stitchc bitmap cowl.stitch --first-row top --seen-from knit -o cowl.png"
)
@file_argument
@stitch_option
@machine_option("bitmap-standard")
@needles_option("One repeat")
@option("--rows", metavar="N", type=click.IntRange(1, 1_000_000), default=None, help="Rows. One repeat, if unsaid.")
@option(
    "--edge",
    metavar="N",
    type=click.IntRange(0, 100),
    default=0,
    show_default=True,
    help="Needles at each end that always knit, with --needles.",
)
@option("--first-row", type=click.Choice(["bottom", "top"]), default=None, help="Where row 1 is. As the profile says.")
@option(
    "--seen-from",
    type=click.Choice(["purl", "knit"]),
    default=None,
    help="The side shown: purl as you face the bed, knit with left and right exchanged. As the profile says.",
)
@option(
    "--dark", type=click.Choice(["knit", "hold"]), default=None, help="What a dark pixel does. As the profile says."
)
@output_option("the picture, or the folder for it")
@anyway_option
def command(
    file: str,
    stitch_names: tuple[str, ...],
    machine_name: str,
    needles: Needles | None,
    rows: int | None,
    edge: int,
    first_row: str | None,
    seen_from: str | None,
    dark: str | None,
    output: Path | None,
    force: bool,
    anyway: bool,
) -> None:
    """Make the picture for electronic patterning: a 1-bit PNG, one pixel a stitch.

    What is dark, which end comes first and which side is seen are as the machine's profile has them unless you say
    otherwise; the choice stands in the file and is told on standard error. The picture is opened again and compared
    with the pattern before it is written.
    """
    from stitchc.bitmap import make_picture, png, unfit
    from stitchc.checks import check_pattern, edge_tucks
    from stitchc.passes import less_than_a_repeat

    form_for(None, output, ("png",))
    if edge and needles is None:
        source = click.get_current_context().get_parameter_source("edge")
        if source is ParameterSource.COMMANDLINE:
            raise click.UsageError("--edge is about the needles in work, so say them: --needles 80.")
    machine = load_machine(machine_name)
    pattern = read_pattern(file)
    stitches = chosen(pattern, stitch_names)
    refuse_one_file_for_many(stitches, output)
    if needles is not None:
        for stitch in stitches:
            leave_room(needles, edge, stitch)
    found = [message for stitch in stitches for message in unfit(stitch, machine, needles)]
    if needles:
        found += [message for stitch in stitches for message in less_than_a_repeat(stitch, machine, needles, edge)]
    found += check_pattern(pattern, machine, stitches)
    require(found, pattern, anyway)
    contents = []
    named = stems(pattern, stitches)
    for stitch in stitches:
        picture = make_picture(
            stitch,
            machine,
            needles=needles,
            rows=rows,
            edge=edge,
            first_row=first_row,  # type: ignore[arg-type]
            seen_from=seen_from,  # type: ignore[arg-type]
            dark_means=dark,  # type: ignore[arg-type]
            title=pattern.title,
            remarks=in_spite_of(stitch, found),
        )
        name = f"{named[stitch.name]}-bitmap.png"
        target = output if output is not None and is_file(output) else (output or Path()) / name
        contents.append((target, png(picture)))
        say(picture.words)
        _say_changes(stitch)
        if needles:
            ends = edge_tucks(picture.chart.cells, needles, stitch)
            show([message.as_warning() for message in ends], pattern.sources)
    put_files(contents, force)


def _say_changes(stitch: Stitch) -> None:
    """A picture cannot say when to set the carriage or to change yarn: tell it, row by row of the repeat."""
    from stitchc.card.plan import changes_of
    from stitchc.card.words import change_words

    changes = list(changes_of(stitch.chart))
    if changes:
        told = [f"row {change.row} {', '.join(change_words(change))}" for change in changes]
        more = f"; and {len(told) - 20} more" if len(told) > 20 else ""
        say(f"Set before these rows of the repeat: {'; '.join(told[:20])}{more}.")

"""`stitchc swatch`: the smallest useful swatch, with marks, and the lines to fill in afterwards."""

from __future__ import annotations

from pathlib import Path

import click

from stitchc.cli.common import examples, file_argument, load_machine, read_pattern, say, show
from stitchc.cli.format import put_over
from stitchc.cli.options import options_of
from stitchc.cli.results import Target, put_product
from stitchc.options import SwatchOptions


@click.command(
    epilog=examples(
        "swatch cowl.stitch --machine hand-bulky",
        "swatch cowl.stitch --stitch drift --within 1",
        "swatch cowl.stitch --format sheet             row by row, with the marks",
        "swatch cowl.stitch --format html              the same to print, or to follow on a tablet",
        'swatch cowl.stitch --measured "drift 17.5 x 41"',
    ),
)
@file_argument
@options_of(SwatchOptions, machine="hand-standard", output="the plan; a folder for HTML of several swatches")
def command(file: str, machine_name: str, options: SwatchOptions, target: Target) -> None:
    """Plan a swatch for each stitch of FILE: needles, rows, where to mark, and what to expect between the marks.

    You count between two marks, so only the tape can be wrong; the swatch is as small as --within allows. If stocking
    stitch is not measured yet, it gets a swatch too, since every estimate depends on it.

    With --measured, the swatch that you knitted is added instead, as one more `gauge` line in the file that has the
    stitch or its other swatches.
    """
    from stitchc.swatch.product import plan_swatch

    if options.measured:
        _note(file, options)
        return
    machine, pattern = load_machine(machine_name), read_pattern(file, options.book)
    put_product(plan_swatch(pattern, machine, options), target, pattern.sources)


def _note(file: str, options: SwatchOptions) -> None:
    """Add each measured swatch to the file it belongs to, and print that file's path.

    The file is written beside the old one and renamed, and only if it is still of use.
    """
    import datetime

    from stitchc import files
    from stitchc.messages import Refused
    from stitchc.notation.gather import MOST_BYTES
    from stitchc.swatch.book import check_added, file_for, naming_its_yarn, noted, with_line

    if file == "-":
        raise click.UsageError("--measured needs a file to add the swatch to, not standard input.")
    today = datetime.date.today().isoformat()
    for measured in options.measured:
        pattern = read_pattern(file, options.book)
        swatch = noted(measured, options.units)
        place = file_for(swatch.stitch, pattern)
        swatch = naming_its_yarn(swatch, pattern, place)
        raw = files.read_bytes(place, MOST_BYTES)
        text = with_line(raw.decode("utf-8-sig"), swatch.line, today)
        if text is None:
            say(f"{place} already has this swatch of today: {swatch.line}. Nothing was added.")
            continue
        try:
            warnings = check_added(pattern, place, text, swatch.line)
        except Refused as refused:
            show(refused.messages, refused.sources)
            say(f"Nothing was added to {place}.")
            raise SystemExit(1) from None
        put_over(Path(place), text)
        show(warnings, {**pattern.sources, place: text.splitlines()})
        say(f"Added to {place}: {swatch.line}")

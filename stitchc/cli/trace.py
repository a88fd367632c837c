"""`stitchc trace`: a picture of a chart, drawn here or elsewhere, back into the notation."""

from __future__ import annotations

from typing import Final

import click

from stitchc import files
from stitchc.cli.common import file_names
from stitchc.cli.options import options_of
from stitchc.cli.results import Target, put_product
from stitchc.options import TraceOptions

_MOST_BYTES: Final = 64 * 1024 * 1024


@click.command(
    epilog="\b\nExamples:\n  stitchc trace chart.png\n  stitchc trace scan.jpg --dark tuck -o kelp.stitch\n"
    '  stitchc trace screen.png --dark tuck --colour "#c03030=S"\n'
    "  stitchc trace art.png --grid pixels --dark slip --name kelp"
)
@click.argument("image", metavar="IMAGE", shell_complete=file_names)
@options_of(TraceOptions, output="the pattern")
def command(image: str, options: TraceOptions, target: Target) -> None:
    """Read a picture of a chart back into the notation.

    IMAGE may be a chart that stitchc drew, a screenshot, a scan, a photograph or pixel art (PNG, JPEG, TIFF, BMP, GIF,
    WebP). Unchanged charts and bitmaps of stitchc come back exactly, without options. In other pictures the command
    finds the grid, reads each cell with a certainty, and writes the smallest repeat. Messages list the cells that are
    uncertain. Check the result before you knit it.
    """
    from stitchc.trace import trace_chart

    shown = files.STANDARD_INPUT if image == "-" else image
    put_product(trace_chart(files.read_bytes(image, _MOST_BYTES), options, shown), target)

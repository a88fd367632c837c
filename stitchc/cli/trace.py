"""`stitchc trace`: a picture of a chart, drawn here or elsewhere, back into the notation."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from stitchc import files
from stitchc.cli import common
from stitchc.messages import visible

if TYPE_CHECKING:
    from stitchc.drawn.symbols import Face
    from stitchc.trace import GridKind, Notation, Traced

_MEANINGS = {"knit": 0, "tuck": 1, "slip": 2}
_LETTERS = {"K": 0, "T": 1, "S": 2}
_MOST_BYTES = 64 * 1024 * 1024


def _letter(text: str, given: str) -> int:
    code = _LETTERS.get(text.strip().upper(), _MEANINGS.get(text.strip().lower()))
    if code is None:
        raise click.BadParameter(f"`{given}` does not end in =K, =T or =S.")
    return code


def _colours(
    ctx: click.Context, param: click.Parameter, values: tuple[str, ...]
) -> tuple[tuple[tuple[int, int, int], int], ...]:
    """Each "#rrggbb=T" or "#rgb=T"."""
    found = []
    for value in values:
        colour, _, letter = value.partition("=")
        match = re.fullmatch(r"\s*#?([0-9A-Fa-f]{3}|[0-9A-Fa-f]{6})\s*", colour)
        if not match:
            raise click.BadParameter(f'`{value}` is not a colour and a letter, such as "#c03030=S".')
        digits = match[1] if len(match[1]) == 6 else "".join(2 * digit for digit in match[1])
        red, green, blue = (int(digits[at : at + 2], 16) for at in (0, 2, 4))
        found.append(((red, green, blue), _letter(letter, value)))
    return tuple(found)


def _alike(
    ctx: click.Context, param: click.Parameter, values: tuple[str, ...]
) -> tuple[tuple[tuple[int, int], int], ...]:
    """Each "ROW,COLUMN=T"."""
    found = []
    for value in values:
        match = re.fullmatch(r"\s*([0-9]{1,7})\s*,\s*([0-9]{1,7})\s*=(.*)", value)
        if not match:
            raise click.BadParameter(f"`{value}` is not a row, a column and a letter, such as 3,7=T.")
        found.append(((int(match[1]), int(match[2])), _letter(match[3], value)))
    return tuple(found)


def _size(ctx: click.Context, param: click.Parameter, value: str | None) -> tuple[int, int] | None:
    return common.pair(value, "a number of columns and rows, such as 24x36")


def _repeat(ctx: click.Context, param: click.Parameter, value: str) -> tuple[int, int] | Literal["smallest", "whole"]:
    word = value.strip().lower()
    if word == "smallest":
        return "smallest"
    if word == "whole":
        return "whole"
    size = _size(ctx, param, value)
    assert size is not None
    return size


def _box(ctx: click.Context, param: click.Parameter, value: str | None) -> tuple[int, int, int, int] | None:
    """LEFT,TOP,RIGHT,BOTTOM in pixels."""
    if value is None:
        return None
    match = re.fullmatch(r"\s*([0-9]{1,7})\s*,\s*([0-9]{1,7})\s*,\s*([0-9]{1,7})\s*,\s*([0-9]{1,7})\s*", value)
    if not match:
        raise click.BadParameter(f"`{value}` is not left, top, right and bottom in pixels, such as 40,40,640,880.")
    return int(match[1]), int(match[2]), int(match[3]), int(match[4])


@click.command(
    epilog="\b\nExamples:\n  stitchc trace chart.png\n  stitchc trace scan.jpg --dark tuck -o kelp.stitch\n"
    '  stitchc trace screen.png --dark tuck --colour "#c03030=S"\n'
    "  stitchc trace art.png --grid pixels --dark slip --name kelp"
)
@click.argument("image", metavar="IMAGE", shell_complete=common.file_names)
@common.option(
    "--dark",
    type=click.Choice(tuple(_MEANINGS)),
    default=None,
    help="What a dark or marked cell is; tuck if unsaid. Said, marks are told by their look, not as signs.",
)
@common.option(
    "--light",
    type=click.Choice(tuple(_MEANINGS)),
    default=None,
    help="What a blank cell is; knit if unsaid (tuck where dark is knit).",
)
@common.option(
    "--colour",
    "colours",
    multiple=True,
    metavar="#RRGGBB=LETTER",
    callback=_colours,
    help="What a colour is, as in #c03030=S; repeat the option for several.",
)
@common.option(
    "--like",
    "alike",
    multiple=True,
    metavar="ROW,COLUMN=LETTER",
    callback=_alike,
    help="What all cells that look like this one are, as in 3,7=T; repeat the option for several.",
)
@common.option(
    "--notation",
    type=click.Choice(("auto", "squared", "thread", "plain", "marks")),
    default="auto",
    show_default=True,
    help="The signs in the cells, as `stitchc chart` draws them; marks: any others, told by their look.",
)
@common.option(
    "--face",
    type=click.Choice(("purl", "knit")),
    default=None,
    help="The side of the fabric that the picture shows; if unsaid, told by the file or the signs, else purl.",
)
@common.option(
    "--first-row",
    type=click.Choice(("bottom", "top")),
    default=None,
    help="Where row 1 stands; at the bottom if unsaid, or where a bitmap of ours says.",
)
@common.option(
    "--grid",
    type=click.Choice(("auto", "lines", "pixels", "even")),
    default="auto",
    show_default=True,
    help="lines: look for a grid; pixels: each pixel or block is a cell; even: divide the picture into --cells.",
)
@common.option("--cells", metavar="WxH", callback=_size, default=None, help="How many columns and rows there are.")
@common.option(
    "--box",
    metavar="L,T,R,B",
    callback=_box,
    default=None,
    help="The part of the picture to look at: left, top, right, bottom in pixels.",
)
@common.option(
    "--repeat",
    metavar="smallest|whole|WxH",
    callback=_repeat,
    default="smallest",
    show_default=True,
    help="What to write: the smallest repeat, every cell, or a repeat of this size by the vote of all.",
)
@common.option(
    "--sure",
    type=click.FloatRange(0.34, 1.0),
    default=0.9,
    show_default=True,
    metavar="SHARE",
    help="Cells less certain than this are named one by one.",
)
@common.option("--name", default=None, help="The stitch's name; made from the picture's name if unsaid.")
@common.format_option("notation", "json")
@common.output_option("the pattern")
def command(
    image: str,
    dark: str | None,
    light: str | None,
    colours: tuple[tuple[tuple[int, int, int], int], ...],
    alike: tuple[tuple[tuple[int, int], int], ...],
    notation: Notation,
    face: Face | None,
    first_row: Literal["bottom", "top"] | None,
    grid: GridKind,
    cells: tuple[int, int] | None,
    box: tuple[int, int, int, int] | None,
    repeat: tuple[int, int] | Literal["smallest", "whole"],
    sure: float,
    name: str | None,
    form: str,
    output: Path | None,
    force: bool,
) -> None:
    """Read a picture of a chart back into the notation.

    IMAGE may be a drawn chart of ours, a screenshot, a scan that is turned by up to 5 degrees or unevenly lit, or pixel
    art (PNG, JPEG, TIFF, BMP, GIF, WebP). Charts and bitmaps of ours say in the file how they are to be read, and are
    read so where no option says otherwise. The grid is found, each cell is read with a certainty, and the smallest
    repeat is written. Cells that are not sure are named one by one. Look the result over before you knit it.
    """
    if grid == "even" and cells is None:
        raise click.UsageError("--grid even needs the number of columns and rows: --cells 24x36.")
    if name is not None:
        from stitchc.notation.writer import is_name

        if not is_name(name):
            raise click.BadParameter(
                f"`{visible(name)}` is not a name: a letter first, then letters, digits, _ or -, and no keyword.",
                param_hint="--name",
            )
    from stitchc.trace import Ask, Key, trace

    key = Key(_MEANINGS[dark] if dark else None, _MEANINGS[light] if light else None, colours, alike)
    ask = Ask(notation, key, face, first_row, grid, cells, box, repeat, sure)
    shown = files.STANDARD_INPUT if image == "-" else image
    traced = trace(files.read_bytes(image, _MOST_BYTES), shown, ask)
    common.show(traced.messages)
    common.say(f"{visible(shown)}: {traced.how}.")
    text = as_json(traced, shown) if form == "json" else as_notation(traced, shown, name)
    common.put_text(text, output, force, signed=form == "json")


def as_notation(traced: Traced, image: str, name: str | None = None) -> str:
    """A pattern with the stitch that was read, and a comment that says from what."""
    from stitchc.notation.writer import notation_name, write_chart

    stitch = name or notation_name("" if image == files.STANDARD_INPUT else Path(image).stem)
    whole, chart = traced.whole, traced.chart
    size = f"{whole.width} by {whole.height} cells"
    repeat = "" if chart == whole else f", repeat {chart.width} by {chart.height}"
    unsure = sum(message.code == "T806" for message in traced.messages)
    note = f"; {unsure} cells to look at" if unsure else ""
    return f"# traced from {visible(Path(image).name)}: {size}{repeat}{note}\n{write_chart(stitch, chart)}"


def as_json(traced: Traced, image: str) -> str:
    """The `stitchc-trace/1` document: what was read, cell by cell, and how surely.

    rows, whole: letters, first knitted row first, left to right facing the bed; certainty: of each cell of `whole`;
    corners_px: upper left, upper right, lower left and lower right of the grid in the picture as given.
    """
    document = {
        "format": "stitchc-trace/1",
        "image": image,
        "how": traced.how,
        "turned_deg": round(traced.turned_deg, 3),
        "corners_px": [[round(x, 1), round(y, 1)] for x, y in traced.corners_px],
        "width": traced.chart.width,
        "height": traced.chart.height,
        "rows": traced.chart.rows(),
        "whole": traced.whole.rows(),
        "certainty": [[round(float(value), 3) for value in row] for row in traced.certainty],
        "messages": [message.as_json() for message in traced.messages],
    }
    return json.dumps(document, ensure_ascii=False)

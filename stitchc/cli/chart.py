"""`stitchc chart`: the compiled stitches as letters, as JSON or drawn."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from stitchc.cli import common
from stitchc.cli.naming import file_stem, numbered, stems, title_of
from stitchc.english import number
from stitchc.messages import columns_of, visible

if TYPE_CHECKING:
    from stitchc.drawn import Face, Notation, Paper
    from stitchc.page import Page
    from stitchc.pattern import Pattern, Side, Stitch

_GROUP = 5
"""Cells between two spaces in a row of letters, so that the eye can count."""
_WIDEST = 120
"""Terminal columns of a row of letters where standard output is not a terminal."""
_FOR_DRAWING = ("notation", "face", "carriage", "repeats", "cell_mm", "paper", "dpi")
"""Options of drawn charts alone."""
FORMS = ("text", "json", "svg", "png", "pdf", "html")
_MOST_PIXELS = 40_000_000
"""The largest picture that is drawn; `trace` opens as much."""


def _repeats(ctx: click.Context, param: click.Parameter, value: str | None) -> tuple[int, int] | None:
    return common.pair(value, "a number of repeats across and up, such as 2x3")


@click.command(
    epilog="\b\nExamples:\n  stitchc chart cowl.stitch\n  stitchc chart cowl.stitch --format json\n"
    "  stitchc chart cowl.stitch --format svg --face knit\n"
    "  stitchc chart cowl.stitch --format pdf --paper letter -o cowl.pdf"
)
@common.file_argument
@common.every_stitch_option
@common.machine_option(None)
@common.format_option(*FORMS)
@common.output_option("the chart; a folder where there are several pictures")
@common.option(
    "--notation",
    type=click.Choice(("squared", "thread", "plain")),
    default="squared",
    show_default=True,
    help="Signs of a drawn chart: squared paper (ring or cross, dot, empty), the running thread, or plain signs.",
)
@common.option(
    "--face",
    type=click.Choice(("purl", "knit")),
    default="purl",
    show_default=True,
    help="The side of the fabric that a drawn chart shows; the knit side has left and right exchanged.",
)
@common.option(
    "--carriage",
    type=click.Choice(("right", "left")),
    default="right",
    show_default=True,
    help="Where the carriage stands before row 1: row numbers stand where it starts.",
)
@common.option(
    "--repeats",
    callback=_repeats,
    metavar="AxB",
    default=None,
    help="How often to show the repeat, across and up; as often as makes 10 cells each way, if unsaid.",
)
@common.option(
    "--cell-mm",
    type=click.FloatRange(2.0, 20.0),
    default=None,
    metavar="MM",
    help="Side of a cell, from 2 to 20 mm; from 3 to 6, as fits, if unsaid.",
)
@common.option(
    "--paper",
    type=click.Choice(("roll", "a4", "letter", "a3")),
    default=None,
    help="Page of a drawn chart; roll: one sheet as large as it must be. a4 for PDF, else roll, if unsaid.",
)
@common.option(
    "--dpi",
    type=click.IntRange(72, 1200),
    default=200,
    show_default=True,
    metavar="N",
    help="Pixels an inch of a PNG, from 72 to 1200.",
)
def command(
    file: str,
    stitch_names: tuple[str, ...],
    machine_name: str | None,
    form: str,
    output: Path | None,
    force: bool,
    notation: Notation,
    face: Face,
    carriage: Side,
    repeats: tuple[int, int] | None,
    cell_mm: float | None,
    paper: Paper | None,
    dpi: int,
) -> None:
    """Show what the stitches of FILE come to, cell by cell: as letters, as JSON, or as a drawn chart.

    A chart stands as it is knitted: row 1 at the bottom, left to right as you face the bed. A drawn chart uses the
    published notations of squared paper and of the running thread. What could not be knitted is shown all the same,
    with a warning.
    """
    if form in ("text", "json"):
        _refuse_what_is_for_drawing(form)
    pattern = common.read_pattern(file)
    stitches = common.chosen(pattern, stitch_names, parts=True)
    _warn(pattern, stitches if stitch_names else pattern.wanted(), machine_name)
    if form == "json":
        common.put_text(as_json(pattern, stitches), output, force)
        return
    if form == "text":
        lines = as_text(pattern, stitches, _terminal_width() if output is None else _WIDEST)
        common.put_text("\n".join(lines), output, force)
        return
    from stitchc.drawn import Drawing, draw
    from stitchc.page.lettering import what_is_lacking

    names = (name or "" for stitch in stitches for name in (stitch.name, *stitch.chart.yarns))
    lacking = what_is_lacking("".join((pattern.title or "", *names)), "chart")
    if lacking:
        common.say(lacking)
    if form in ("png", "svg"):
        common.refuse_one_file_for_many(stitches, output)
    drawing = Drawing(notation, face, carriage, cell_mm, repeats, paper or ("a4" if form == "pdf" else "roll"))
    drawn = {
        stitch.name: draw(stitch.name, stitch.chart, drawing, title=pattern.title, yarns=pattern.yarns)
        for stitch in stitches
    }
    common.put_files(_written(pattern, stitches, drawn, form, output, dpi), force)


def _refuse_what_is_for_drawing(form: str) -> None:
    """Leave with wrong usage where an option would be passed over: letters and JSON stand as they are knitted."""
    context = click.get_current_context()
    for name in _FOR_DRAWING:
        if context.get_parameter_source(name) is ParameterSource.COMMANDLINE:
            raise click.UsageError(
                f"--{name.replace('_', '-')} is for a drawn chart, and this one is {form}: add --format png, svg, pdf "
                "or html."
            )


def _warn(pattern: Pattern, stitches: Sequence[Stitch], machine_name: str | None) -> None:
    """Say what could not be knitted; a chart is shown of it all the same."""
    from stitchc.checks import check_pattern

    machine = common.load_machine(machine_name) if machine_name else None
    found = check_pattern(pattern, machine, stitches)
    common.show([message.as_warning() for message in found], pattern.sources)


# -- drawn ----------------------------------------------------------------------------------------------------------


def _written(
    pattern: Pattern,
    stitches: Sequence[Stitch],
    drawn: dict[str, list[Page]],
    form: str,
    output: Path | None,
    dpi: int,
) -> list[tuple[Path, bytes]]:
    """Every file to write: one for each picture, or one PDF or HTML file for all stitches."""
    stem = file_stem(title_of(pattern))
    if form == "pdf":
        from stitchc.page.pdf import MOST_MM, pdf

        pages = [page for listed in drawn.values() for page in listed]
        _guard_length(max(max(page.width_mm, page.height_mm) for page in pages), MOST_MM)
        return [(output or Path(f"{file_stem(stem, 'chart')}.pdf"), pdf(pages))]
    if form == "html":
        from stitchc.drawn.html import html

        return [(output or Path(f"{file_stem(stem, 'chart')}.html"), html(pattern, stitches, drawn).encode())]
    pictures = [(name, at, page) for name, pages in drawn.items() for at, page in enumerate(pages, start=1)]
    titled, untitled = stems(pattern, stitches), numbered(pattern.stitches)
    paths = []
    for name, page_number, _ in pictures:
        part = f"{page_number}" if len(drawn[name]) > 1 else ""
        if output is None:
            paths.append(Path(f"{titled[name]}-chart{part and '-'}{part}.{form}"))
        elif len(drawn) > 1:
            paths.append(output / f"{untitled[name]}-chart{part and '-'}{part}.{form}")
        elif part:
            paths.append(output.with_name(f"{output.stem}-{part}{output.suffix}"))
        else:
            paths.append(output)
    if form == "svg":
        from stitchc.page.svg import svg

        return [(path, svg(page)) for path, (_, _, page) in zip(paths, pictures, strict=True)]
    from stitchc.page.png import png

    for _, _, page in pictures:
        _guard_pixels(page, dpi)
    return [(path, png(page, dpi, "RGB")) for path, (_, _, page) in zip(paths, pictures, strict=True)]


def _guard_pixels(page: Page, dpi: int) -> None:
    from stitchc.messages import Message, Refused
    from stitchc.page import MM_PER_INCH
    from stitchc.page.png import size_px

    width, height = size_px(page, dpi)
    if width * height <= _MOST_PIXELS:
        return
    most = int((_MOST_PIXELS / (page.width_mm * page.height_mm)) ** 0.5 * MM_PER_INCH) - 1
    cure = f"--dpi {most}" if most >= 72 else "--format pdf, or --paper a4 for several pictures"
    text = f"The chart would be a picture of {width:,} by {height:,} pixels, more than {_MOST_PIXELS:,} in all."
    raise Refused(Message("D702", "error", text, cure=cure))


def _guard_length(length_mm: float, most_mm: float) -> None:
    from stitchc.messages import Message, Refused

    if length_mm > most_mm:
        text = f"The chart would be {length_mm:,.0f} mm long on one sheet; a PDF page has at most {most_mm:,.0f} mm."
        raise Refused(Message("D702", "error", text, cure="--paper a4"))


# -- JSON -----------------------------------------------------------------------------------------------------------


def as_json(pattern: Pattern, stitches: Sequence[Stitch]) -> str:
    """The `stitchc-chart/1` document."""
    document = {
        "format": "stitchc-chart/1",
        "title": pattern.title,
        "notes": list(pattern.notes),
        "stitches": [
            {
                "name": stitch.name,
                "width": stitch.chart.width,
                "height": stitch.chart.height,
                "rows": stitch.chart.rows(),
                "yarns": list(stitch.chart.yarns),
                "settings": list(stitch.chart.settings()),
                "knits": stitch.chart.knits.tolist(),
            }
            for stitch in stitches
        ],
    }
    return json.dumps(document, ensure_ascii=False)


# -- letters ------------------------------------------------------------------------------------------------------


def as_text(pattern: Pattern, stitches: Sequence[Stitch], width: int = _WIDEST) -> Iterator[str]:
    """Lines of letters: each stitch as it would be charted, the last row on top, at most `width` columns wide."""
    if pattern.title:
        yield visible(pattern.title)
    for note in pattern.notes:
        yield f"  {visible(note)}"
    if pattern.title or pattern.notes:
        yield ""
    yield "K knits, T tucks, S slips. Row 1, at the bottom, is knitted first; needles run from left to right"
    yield "as you face the bed, with the purl side of the fabric toward you."
    for stitch in stitches:
        yield ""
        yield from _stitch_lines(stitch, width)


def _stitch_lines(stitch: Stitch, width: int) -> Iterator[str]:
    chart = stitch.chart
    yield f"{visible(stitch.name)}: {number(chart.width, 'needle')} by {number(chart.height, 'row')}"
    numbers = len(str(chart.height))
    settings = chart.settings()
    yarns = ["" if yarn is None else visible(yarn) for yarn in chart.yarns]
    yarn_width = max(columns_of(yarn) for yarn in yarns)
    yarn_column = f"  {{:<{yarn_width}}}" if yarn_width else "{}"
    lead = 2 + numbers + 2 + 5 + (yarn_width + 2 if yarn_width else 0) + 2
    per_block = max(1, (max(width, lead + _GROUP) - lead + 1) // (_GROUP + 1)) * _GROUP
    rows = chart.rows()
    for first in range(0, chart.width, per_block):
        last = min(first + per_block, chart.width)
        if chart.width > per_block:
            yield ""
            yield f"  needles {first + 1} to {last} of {chart.width}"
        yield f"{' ' * lead}{_ruler(first, last)}".rstrip()
        for row in range(chart.height - 1, -1, -1):
            yarn = yarns[row] + " " * (yarn_width - columns_of(yarns[row]))
            head = f"  {row + 1:>{numbers}}  {settings[row]:<5}{yarn_column.format(yarn)}"
            yield f"{head}  {_grouped(rows[row][first:last])}"


def _grouped(text: str) -> str:
    return " ".join(text[at : at + _GROUP] for at in range(0, len(text), _GROUP))


def _ruler(first: int, last: int) -> str:
    """Column numbers over the first cell of each group, where there is room for them."""
    line = ""
    for at in range(first, last, _GROUP):
        place = (at - first) // _GROUP * (_GROUP + 1)
        number = str(at + 1)
        if place and len(line) >= place:  # the number before it runs over this place
            continue
        line = line.ljust(place) + number
    return line


def _terminal_width() -> int:
    if not sys.stdout.isatty():
        return _WIDEST
    import shutil

    return max(40, shutil.get_terminal_size((_WIDEST, 24)).columns)

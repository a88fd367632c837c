"""`draw_chart`: the stitches of a pattern as letters, JSON, pictures or pages."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

from stitchc.checks import check_pattern
from stitchc.drawn.drawing import Drawing, Paper, draw
from stitchc.drawn.html import html
from stitchc.drawn.letters import as_json, as_text
from stitchc.machines import Machine
from stitchc.messages import Message, Refused
from stitchc.options import ChartOptions
from stitchc.page import Page
from stitchc.page.items import MM_PER_INCH
from stitchc.page.lettering import what_is_lacking
from stitchc.page.pdf import MOST_MM, pdf
from stitchc.page.png import png, size_px
from stitchc.page.svg import svg
from stitchc.pattern import Pattern, Stitch
from stitchc.product import File, Product, Progress, choose_stitches, file_stems, no_progress, whole_stem
from stitchc.wording import OPTION

DEFAULTS: Final = ChartOptions()

_MOST_PIXELS: Final = 40_000_000
"""The largest picture that is drawn; `trace` opens as much."""

_MANY_PIXELS: Final = 20_000_000
"""Where nobody asks for more: such a picture is drawn in 240 MB."""

USUAL_DPI: Final = 200
PARTS_DPI: Final = 150
LEAST_DPI: Final = 100
MOST_PARTS: Final = 40


def draw_chart(
    pattern: Pattern,
    machine: Machine | None = None,
    options: ChartOptions = DEFAULTS,
    progress: Progress = no_progress,
) -> Product[Stitch]:
    """The charts of a pattern's stitches. What could not be knitted is a warning, by the machine's limits or the
    default ones. Raises Refused N103, D701 and D702."""
    stitches = choose_stitches(pattern, options.stitches, parts=True)
    checked = stitches if options.stitches else pattern.wanted()
    messages = tuple(message.as_warning() for message in check_pattern(pattern, machine, checked))
    if options.form == "json":
        file = File.of_text(f"{whole_stem(pattern, 'chart', options.name)}.json", as_json(pattern, stitches))
        return Product(stitches, (file,), messages)
    if options.form == "text":
        text = "\n".join(as_text(pattern, stitches, options.columns))
        return Product(stitches, (File.of_text(f"{whole_stem(pattern, 'chart', options.name)}.txt", text),), messages)
    files, remarks = _drawn(pattern, stitches, options, progress)
    return Product(stitches, tuple(files), messages, (*_lacking_letters(pattern, stitches), *remarks))


def _lacking_letters(pattern: Pattern, stitches: Sequence[Stitch]) -> tuple[str, ...]:
    names = (name or "" for stitch in stitches for name in (stitch.name, *stitch.chart.yarns))
    lacking = what_is_lacking("".join((pattern.title or "", *names)), "chart")
    return (lacking,) if lacking else ()


def _drawn(
    pattern: Pattern, stitches: Sequence[Stitch], options: ChartOptions, progress: Progress
) -> tuple[list[File], list[str]]:
    """A file for each picture, or one PDF or HTML file for all stitches; and what was done to charts that are large."""
    one_file = options.form in ("pdf", "html")
    stems = {} if one_file else file_stems(pattern, stitches, "chart", options.name)
    sheets: dict[str, _Sheets] = {}
    for number, stitch in enumerate(stitches):
        progress(number / len(stitches))
        sheets[stitch.name] = _sheets(pattern, stitch, options)
    remarks = [each.remark for each in sheets.values() if each.remark]
    if one_file:
        name = f"{whole_stem(pattern, 'chart', options.name)}.{options.form}"
        pages = {name: each.pages for name, each in sheets.items()}
        return [File(name, _pdf(pages) if options.form == "pdf" else html(pattern, stitches, pages).encode())], remarks
    files = []
    for stitch in stitches:
        pages_of, dpi, _ = sheets[stitch.name]
        for number, page in enumerate(pages_of, start=1):
            part = f"-{number}" if len(pages_of) > 1 else ""
            name = f"{stems[stitch.name]}{part}.{options.form}"
            files.append(File(name, svg(page) if options.form == "svg" else png(page, dpi, "RGB")))
    return files, remarks


class _Sheets(NamedTuple):
    """A stitch's drawn pages, how fine they are, and a remark where that is not as it usually is."""

    pages: Sequence[Page]
    dpi: int
    remark: str = ""


def _sheets(pattern: Pattern, stitch: Stitch, options: ChartOptions) -> _Sheets:
    """The pages as they are asked for. A picture that would be too large is drawn less finely, down to LEAST_DPI, and
    beyond that in parts on A3, unless the options say how it is to be. Raises Refused D701 and D702."""

    def drawn(paper: Paper) -> list[Page]:
        drawing = Drawing(options.notation, options.face, options.carriage, options.cell_mm, options.repeats, paper)
        return draw(stitch.name, stitch.chart, drawing, title=pattern.title, yarns=pattern.yarns)

    paper = options.paper or ("a4" if options.form == "pdf" else "roll")
    pages, dpi = drawn(paper), options.dpi or USUAL_DPI
    most = min(_finest(page, _MANY_PIXELS if options.dpi is None else _MOST_PIXELS) for page in pages)
    if options.form != "png" or dpi <= most:
        return _Sheets(pages, dpi)
    if options.dpi is not None or (options.paper is not None and most < LEAST_DPI):
        width, height = max((size_px(page, dpi) for page in pages), key=math.prod)
        advice = (
            f"{OPTION.dpi:{most}}"
            if most >= LEAST_DPI
            else f"{OPTION.format:pdf}, or {OPTION.paper:a4} for several pictures"
        )
        text = f"The chart would be a picture of {width:,} by {height:,} pixels, more than {_MOST_PIXELS:,} in all."
        raise Refused(Message("D702", "error", text, stitch.span, advice))
    if most >= LEAST_DPI:
        return _Sheets(pages, most, f"The chart of {stitch.name} is large: it is drawn at {most} dpi.")
    pages = drawn("a3")
    if len(pages) > MOST_PARTS:
        text = f"The chart of `{stitch.name}` would take {len(pages)} pictures, more than {MOST_PARTS}."
        raise Refused(Message("D702", "error", text, stitch.span, f"{OPTION.format:svg}, or {OPTION.format:pdf}."))
    return _Sheets(pages, PARTS_DPI, f"The chart of {stitch.name} is large: it is drawn in {len(pages)} parts.")


def _finest(page: Page, most_pixels: int) -> int:
    """The most dots per inch at which a picture of the page has no more pixels."""
    return int((most_pixels / (page.width_mm * page.height_mm)) ** 0.5 * MM_PER_INCH)


def _pdf(pages: Mapping[str, Sequence[Page]]) -> bytes:
    every = [page for each in pages.values() for page in each]
    length = max(max(page.width_mm, page.height_mm) for page in every)
    if length > MOST_MM:
        text = f"The chart would be {length:,.0f} mm long on one sheet; a PDF page has at most {MOST_MM:,.0f} mm."
        raise Refused(Message("D702", "error", text, advice=f"{OPTION.paper:a4}"))
    return pdf(every)

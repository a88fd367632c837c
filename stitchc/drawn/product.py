"""`draw_chart`: the stitches of a pattern as letters, JSON, pictures or pages."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

from stitchc.messages import Message, Refused
from stitchc.options import ChartOptions
from stitchc.product import File, Product, Progress, choose_stitches, file_stems, no_progress, whole_stem

if TYPE_CHECKING:
    from stitchc.machines import Machine
    from stitchc.page import Page
    from stitchc.pattern import Pattern, Stitch

DEFAULTS: Final = ChartOptions()

_MOST_PIXELS: Final = 40_000_000
"""The largest picture that is drawn; `trace` opens as much."""


def draw_chart(
    pattern: Pattern,
    machine: Machine | None = None,
    options: ChartOptions = DEFAULTS,
    progress: Progress = no_progress,
) -> Product[Stitch]:
    """The charts of a pattern's stitches. What could not be knitted is a warning, by the machine's limits or the
    default ones. Raises Refused N103, D701 and D702."""
    from stitchc.checks import check_pattern

    stitches = choose_stitches(pattern, options.stitches, parts=True)
    checked = stitches if options.stitches else pattern.wanted()
    messages = tuple(message.as_warning() for message in check_pattern(pattern, machine, checked))
    if options.form == "json":
        from stitchc.drawn.letters import as_json

        file = File.of_text(f"{whole_stem(pattern, 'chart', options.name)}.json", as_json(pattern, stitches))
        return Product(stitches, (file,), messages)
    if options.form == "text":
        from stitchc.drawn.letters import as_text

        text = "\n".join(as_text(pattern, stitches, options.columns))
        return Product(stitches, (File.of_text(f"{whole_stem(pattern, 'chart', options.name)}.txt", text),), messages)
    files = _drawn(pattern, stitches, options, progress)
    return Product(stitches, tuple(files), messages, _lacking_letters(pattern, stitches))


def _lacking_letters(pattern: Pattern, stitches: Sequence[Stitch]) -> tuple[str, ...]:
    from stitchc.page.lettering import what_is_lacking

    names = (name or "" for stitch in stitches for name in (stitch.name, *stitch.chart.yarns))
    lacking = what_is_lacking("".join((pattern.title or "", *names)), "chart")
    return (lacking,) if lacking else ()


def _drawn(pattern: Pattern, stitches: Sequence[Stitch], options: ChartOptions, progress: Progress) -> list[File]:
    """A file for each picture, or one PDF or HTML file for all stitches."""
    from stitchc.drawn.drawing import Drawing, draw

    one_file = options.form in ("pdf", "html")
    stems = {} if one_file else file_stems(pattern, stitches, "chart", options.name)
    paper = options.paper or ("a4" if options.form == "pdf" else "roll")
    drawing = Drawing(options.notation, options.face, options.carriage, options.cell_mm, options.repeats, paper)
    pages: dict[str, list[Page]] = {}
    for number, stitch in enumerate(stitches):
        progress(number / len(stitches))
        pages[stitch.name] = draw(stitch.name, stitch.chart, drawing, title=pattern.title, yarns=pattern.yarns)
    if one_file:
        name = f"{whole_stem(pattern, 'chart', options.name)}.{options.form}"
        return [File(name, _pdf(pages) if options.form == "pdf" else _html(pattern, stitches, pages))]
    files = []
    for stitch in stitches:
        for number, page in enumerate(pages[stitch.name], start=1):
            part = f"-{number}" if len(pages[stitch.name]) > 1 else ""
            name = f"{stems[stitch.name]}{part}.{options.form}"
            files.append(File(name, _svg(page) if options.form == "svg" else _png(page, options.dpi)))
    return files


def _pdf(pages: Mapping[str, Sequence[Page]]) -> bytes:
    from stitchc.page.pdf import MOST_MM, pdf

    every = [page for each in pages.values() for page in each]
    length = max(max(page.width_mm, page.height_mm) for page in every)
    if length > MOST_MM:
        text = f"The chart would be {length:,.0f} mm long on one sheet; a PDF page has at most {MOST_MM:,.0f} mm."
        raise Refused(Message("D702", "error", text, cure="--paper a4"))
    return pdf(every)


def _html(pattern: Pattern, stitches: Sequence[Stitch], pages: Mapping[str, Sequence[Page]]) -> bytes:
    from stitchc.drawn.html import html

    return html(pattern, stitches, pages).encode()


def _svg(page: Page) -> bytes:
    from stitchc.page.svg import svg

    return svg(page)


def _png(page: Page, dpi: int) -> bytes:
    from stitchc.page import MM_PER_INCH
    from stitchc.page.png import png, size_px

    width, height = size_px(page, dpi)
    if width * height > _MOST_PIXELS:
        most = int((_MOST_PIXELS / (page.width_mm * page.height_mm)) ** 0.5 * MM_PER_INCH) - 1
        cure = f"--dpi {most}" if most >= 72 else "--format pdf, or --paper a4 for several pictures"
        text = f"The chart would be a picture of {width:,} by {height:,} pixels, more than {_MOST_PIXELS:,} in all."
        raise Refused(Message("D702", "error", text, cure=cure))
    return png(page, dpi, "RGB")

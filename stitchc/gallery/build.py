"""Everything that applies to a pattern: each product in turn, a reason for what could not be made, and the page of all.

Knows which products there are and what they are called in a folder; how one is made is its own package's business.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from stitchc.bitmap import make_bitmap
from stitchc.card.product import make_card
from stitchc.checks import check_pattern
from stitchc.compare.product import compare_stitches
from stitchc.drawn.product import draw_chart
from stitchc.english import listed
from stitchc.fabric import Shelf
from stitchc.gallery import WHOLE, Made, index_page
from stitchc.gauge.product import estimate_gauge
from stitchc.gauge.report import in_words
from stitchc.leaflet.product import make_leaflet
from stitchc.machines import Machine
from stitchc.messages import Message, Refused
from stitchc.naming import file_stem, numbered
from stitchc.options import (
    BitmapOptions,
    BuildOptions,
    CardOptions,
    ChartOptions,
    CompareOptions,
    GaugeOptions,
    LeafletOptions,
    PictureOptions,
    PieceOptions,
    SheetOptions,
)
from stitchc.page.lettering import what_is_lacking
from stitchc.pattern import Pattern, Stitch
from stitchc.picture import draw_fabric
from stitchc.piece.product import plan_piece
from stitchc.piece.size_words import summary_words
from stitchc.product import (
    File,
    Product,
    Progress,
    WrongOption,
    accept,
    call,
    choose_stitches,
    no_progress,
    part_of,
    skipped_parts,
)
from stitchc.sheet.product import make_sheet

INDEX: Final = "index.html"

CARD: Final = ("png", "pdf", "svg", "text")
"""The forms of a hole card that are built."""

TO_READ: Final = ("html", "text", "json")
"""The forms that are built of what one reads at the machine."""


@dataclass(frozen=True)
class Job:
    """One product in some forms. make: its function. options: with the names of its files, but for the form."""

    kind: str
    subject: str
    command: str
    make: Callable[..., Product[Any]]
    options: Any
    forms: tuple[str, ...] = ("png",)
    machine: Machine | None = None
    of_piece: bool = False


def build_pattern(
    pattern: Pattern,
    machines: Sequence[Machine],
    options: BuildOptions,
    progress: Progress = no_progress,
    kept: Shelf | None = None,
) -> Product[Made]:
    """Everything that applies to a pattern, for these machines, and a page that shows it (the last file).

    kept: relaxed fabrics are taken from it and put there, as in `draw_fabric`. Messages say what was left out and why;
    one product that cannot be made costs no other. Raises Refused where the pattern has an error that no machine can
    knit, unless options.anyway.
    """
    stitches = choose_stitches(pattern, options.stitches)
    warnings = accept(check_pattern(pattern, machines[0], stitches), pattern, options.anyway)
    jobs = list(jobs_of(pattern, stitches, machines, options))
    shared = {"pattern": pattern, "patterns": [pattern], "machines": machines, "kept": kept}
    made: list[Made] = []
    files: dict[str, File] = {}
    gauges: dict[str, str] = {}
    sizes: dict[str, str] = {}
    for number, job in enumerate(jobs):
        part = part_of(progress, number, len(jobs))
        entry, products = _done(job, shared | {"machine": job.machine, "progress": part})
        made.append(entry)
        files.update({file.name: file for product in products for file in product.files})
        for values in (product.values for product in products[:1]):
            if job.command == "gauge":
                gauges |= {value.name: in_words(value) for value in values}
            elif job.of_piece:
                sizes.setdefault(job.subject, summary_words(values, options.units))
    page = index_page(pattern, stitches, made, warnings, gauges, sizes, list(files))
    drawn = [name or "" for stitch in stitches for name in (stitch.name, *stitch.chart.yarns)]
    lacking = what_is_lacking("".join([pattern.title or "", *drawn]), "drawing")
    remarks = (*skipped_parts(pattern, stitches, options.stitches), *((lacking,) if lacking else ()))
    everything = (*files.values(), File(INDEX, page.encode()))
    return Product(tuple(made), everything, (*warnings, *why_not(made)), remarks)


def expected_names(pattern: Pattern, machines: Sequence[Machine], options: BuildOptions) -> list[str]:
    """The names of the main files that a build makes, if each of its products can be made, and of its page."""
    stitches = choose_stitches(pattern, options.stitches)
    jobs = jobs_of(pattern, stitches, machines, options)
    forms = [(job.options.name, "txt" if form == "text" else form) for job in jobs for form in job.forms]
    return [*(f"{name}.{ending}" for name, ending in forms), INDEX]


def jobs_of(
    pattern: Pattern,
    stitches: Sequence[Stitch],
    machines: Sequence[Machine],
    options: BuildOptions,
) -> Iterator[Job]:
    stems, piece_stems = numbered(pattern.stitches), numbered(pattern.pieces)
    names = tuple(stitch.name for stitch in stitches)
    plain, spread, units, anyway = options.plain, options.spread, options.units, options.anyway
    for stitch in stitches:
        stem, alone = stems[stitch.name], (stitch.name,)
        drawn = ChartOptions(alone, name=f"{stem}-chart")
        yield Job("drawn chart", stitch.name, "chart", draw_chart, drawn, ("svg", "png"))
        for face in ("purl", "knit") if options.pictures else ():
            seen = PictureOptions(alone, face=face, plain=plain, name=f"{stem}-fabric-{face}")
            yield Job(f"{face} side", stitch.name, "picture", draw_fabric, seen)
        for machine in machines:
            yield _for_the_reader(stitch, stem, machine, anyway)
    yield Job("letters", WHOLE, "chart", draw_chart, ChartOptions(names, name="chart"), ("json",))
    gauge = GaugeOptions(names, plain=plain, spread=spread, units=units, name="gauge")
    yield Job("gauge", WHOLE, "gauge", estimate_gauge, gauge, ("text", "json"))
    if len(stitches) > 1:
        beside = CompareOptions(names, plain=plain, spread=spread, name="compare")
        yield Job("comparison", WHOLE, "compare", compare_stitches, beside)
    for piece in pattern.pieces:
        for machine in machines:
            stem = f"{piece_stems[piece]}-piece-{file_stem(machine.name)}"
            planned = PieceOptions(piece, plain=plain, spread=spread, units=units, anyway=anyway, name=stem)
            kind = f"piece for {machine.name}"
            yield Job(kind, piece, "piece", plan_piece, planned, TO_READ, machine, of_piece=True)
    if pattern.pieces:
        handed_on = LeafletOptions(
            plain=plain,
            spread=spread,
            units=units,
            pictures=options.pictures,
            date=options.date,
            anyway=anyway,
            name="leaflet",
        )
        yield Job("leaflet to hand on", WHOLE, "leaflet", make_leaflet, handed_on, ("pdf", "html"))


def _for_the_reader(stitch: Stitch, stem: str, machine: Machine, anyway: bool) -> Job:
    """What the machine's way of selecting needles asks for: a card, a picture, or a sheet."""
    alone = (stitch.name,)
    if machine.reader == "card":
        card = CardOptions(alone, anyway=anyway, name=f"{stem}-card")
        return Job("hole card", stitch.name, "card", make_card, card, CARD, machine)
    if machine.reader == "bitmap":
        picture = BitmapOptions(alone, anyway=anyway, name=f"{stem}-bitmap")
        return Job("needle picture", stitch.name, "bitmap", make_bitmap, picture, ("png",), machine)
    sheet = SheetOptions(alone, anyway=anyway, name=f"{stem}-sheet")
    return Job("needle sheet", stitch.name, "sheet", make_sheet, sheet, TO_READ, machine)


def _done(job: Job, given: Mapping[str, Any]) -> tuple[Made, list[Product[Any]]]:
    """Make all forms of a product; the main file of each is linked. The same reason is given once."""
    products: list[Product[Any]] = []
    linked: list[str] = []
    reasons: dict[Message, None] = {}
    for form in job.forms:
        try:
            product = call(job.make, options=replace(job.options, form=form), **given)
        except Refused as refused:
            for message in refused.messages:
                if message.severity == "error":
                    reasons.setdefault(_with_its_command(message, job.command))
        except WrongOption as error:
            reasons.setdefault(Message("D702", "error", str(error)))
        else:
            products.append(product)
            linked += [file.name for file in product.files[:1]]
            if not product.files:
                reasons.update(dict.fromkeys(message for message in product.messages if message.severity == "error"))
    machine = job.machine.name if job.machine is not None else ""
    return Made(job.kind, job.subject, tuple(linked), tuple(reasons), machine, job.of_piece), products


def _with_its_command(message: Message, command: str) -> Message:
    """What to try, with the command whose option it is."""
    if not (message.advice or "").startswith("--"):
        return message
    return message._replace(advice=f"stitchc {command} … {message.advice}")


def why_not(made: Sequence[Made]) -> list[Message]:
    """Warnings that name what was left out and why, each with its place and what to try; one for each reason."""
    left_out: dict[Message, list[str]] = {}
    for entry in made:
        name = f"{entry.kind} of `{entry.subject}`" if entry.subject else entry.kind
        name = f"not every form of the {name}" if entry.files else f"no {name}"
        for message in entry.reasons:
            left_out.setdefault(message, []).append(name)
    return [
        message._replace(
            severity="warning", text=f"Left out: {listed(names)}. {message.text[:1].upper()}{message.text[1:]}"
        )
        for message, names in left_out.items()
    ]

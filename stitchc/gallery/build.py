"""Everything that applies to a pattern: each product asked for in turn, and a reason for what could not be made.

Knows which products there are and what they are called in a folder; how one is made is its own package's business.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from stitchc.gallery.made import WHOLE, Made
from stitchc.messages import Message, Refused
from stitchc.naming import file_stem, numbered
from stitchc.options import (
    BitmapOptions,
    BuildOptions,
    CardOptions,
    ChartOptions,
    CompareOptions,
    GaugeOptions,
    PictureOptions,
    PieceOptions,
    SheetOptions,
)
from stitchc.product import File, Product, Progress, WrongOption, no_progress

if TYPE_CHECKING:
    from stitchc.machines import Machine
    from stitchc.pattern import Pattern, Stitch

Make = Callable[[Any, Progress], "Product[Any]"]
"""Makes a product of its options."""

CARD: Final = ("png", "pdf", "svg", "text")
"""The forms of a hole card that are built."""

TO_READ: Final = ("html", "text", "json")
"""The forms that are built of what one reads at the machine."""


@dataclass(frozen=True)
class Job:
    """One product in some forms. options: with the names of its files, but for the form."""

    what: str
    subject: str
    command: str
    make: Make
    options: Any
    forms: tuple[str, ...] = ("png",)
    machine: str = ""
    of_piece: bool = False


def jobs_of(
    pattern: Pattern,
    stitches: Sequence[Stitch],
    machines: Sequence[Machine],
    options: BuildOptions,
    makers: Mapping[str, Callable[..., Make]],
) -> Iterator[Job]:
    """What there is to make, in order. makers: for each product's name a function of the machine (None: none)."""
    stems, piece_stems = numbered(pattern.stitches), numbered(pattern.pieces)
    names = tuple(stitch.name for stitch in stitches)
    plain, units, anyway = options.plain, options.units, options.anyway
    chart, picture = makers["chart"](None), makers["picture"](None)
    for stitch in stitches:
        stem, one = stems[stitch.name], (stitch.name,)
        drawn = ChartOptions(one, name=f"{stem}-chart")
        yield Job("drawn chart", stitch.name, "chart", chart, drawn, ("svg", "png"))
        for face in ("purl", "knit") if options.pictures else ():
            seen = PictureOptions(one, face=face, plain=plain, name=f"{stem}-fabric-{face}")
            yield Job(f"{face} side", stitch.name, "picture", picture, seen)
        for machine in machines:
            command = {"card": "card", "bitmap": "bitmap", "none": "sheet"}[machine.reader]
            make = makers[command](machine)
            if machine.reader == "card":
                asked: Any = CardOptions(one, anyway=anyway, name=f"{stem}-card")
                yield Job("hole card", stitch.name, command, make, asked, CARD, machine.name)
            elif machine.reader == "bitmap":
                asked = BitmapOptions(one, anyway=anyway, name=f"{stem}-bitmap")
                yield Job("needle picture", stitch.name, command, make, asked, ("png",), machine.name)
            else:
                asked = SheetOptions(one, anyway=anyway, name=f"{stem}-sheet")
                yield Job("needle sheet", stitch.name, command, make, asked, TO_READ, machine.name)
    yield Job("letters", WHOLE, "chart", chart, ChartOptions(names, name="chart"), ("json",))
    gauge = GaugeOptions(names, plain=plain, units=units, name="gauge")
    yield Job("gauge", WHOLE, "gauge", makers["gauge"](None), gauge, ("text", "json"))
    if len(stitches) > 1:
        beside = CompareOptions(names, plain=plain, name="compare")
        yield Job("comparison", WHOLE, "compare", makers["compare"](None), beside)
    for piece in pattern.pieces:
        for machine in machines:
            stem = f"{piece_stems[piece]}-piece-{file_stem(machine.name)}"
            planned = PieceOptions(piece, plain=plain, units=units, anyway=anyway, name=stem)
            what = f"piece for {machine.name}"
            yield Job(what, piece, "piece", makers["piece"](machine), planned, TO_READ, machine.name, of_piece=True)


def do_all(jobs: Sequence[Job], progress: Progress = no_progress) -> tuple[list[Made], list[File], list[Product[Any]]]:
    """What came of each job, and the files of all, each once. A product that could not be made costs no other."""
    made: list[Made] = []
    files: dict[str, File] = {}
    products: list[Product[Any]] = []
    for number, job in enumerate(jobs):

        def part(share: float, number: int = number) -> None:
            progress((number + share) / len(jobs))

        entry, own = _done(job, part)
        made.append(entry)
        products += own
        files.update({file.name: file for product in own for file in product.files})
    return made, list(files.values()), products


def _done(job: Job, progress: Progress) -> tuple[Made, list[Product[Any]]]:
    """Make all forms of a product; the main file of each is linked. The same reason is given once."""
    products: list[Product[Any]] = []
    linked: list[str] = []
    reasons: dict[Message, None] = {}
    for form in job.forms:
        try:
            product = job.make(replace(job.options, form=form), progress)
        except Refused as refused:
            for message in refused.messages:
                if message.severity == "error":
                    reasons.setdefault(_with_its_command(message, job.command))
        except WrongOption as error:
            reasons.setdefault(Message("D702", "error", str(error)))
        else:
            products.append(product)
            linked.append(product.files[0].name)
    return Made(job.what, job.subject, tuple(linked), tuple(reasons), job.machine, job.of_piece), products


def _with_its_command(message: Message, command: str) -> Message:
    """What to try, with the command whose option it is."""
    if not (message.cure or "").startswith("--"):
        return message
    return message._replace(cure=f"stitchc {command} … {message.cure}")


def why_not(made: Made) -> list[Message]:
    """Warnings that name what was left out and why, each with its place and what to try."""
    what = f"no {made.what} of `{made.subject}`" if made.subject else f"no {made.what}"
    if made.files:
        what = f"not every form of the {made.what}" + (f" of `{made.subject}`" if made.subject else "")
    return [
        message._replace(severity="warning", text=f"Left out: {what}. {message.text[:1].upper()}{message.text[1:]}")
        for message in made.reasons
    ]

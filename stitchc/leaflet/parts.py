"""What a leaflet says besides the instructions of its pieces: each part taken from the product that knows it."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from stitchc.bed import needle_name
from stitchc.bitmap import changes_in_words, draw, make_bitmap
from stitchc.card.notes import OTHER_READERS
from stitchc.card.punching import columns_in_words
from stitchc.document import Block, Listing, Part, Picture, Table, Terms
from stitchc.english import listed, number
from stitchc.gauge.gauges import PLAIN
from stitchc.leaflet.stitch_rows import stitch_rows
from stitchc.messages import Message, Refused
from stitchc.options import BitmapOptions, PictureOptions, SwatchOptions
from stitchc.picture import draw_fabric
from stitchc.piece.other_gauges import KEEPS_SIDES, fabrics_asked, other_gauges, stitch_of
from stitchc.piece.yarn_words import purchase_part
from stitchc.sheet.instructions import reader_name
from stitchc.sheet.terms import LOCK_IT
from stitchc.swatch.plan import EDGE
from stitchc.swatch.product import FINISHING, plan_swatch, swatch_steps

if TYPE_CHECKING:
    from stitchc.fabric import Shelf
    from stitchc.leaflet.ways import NoWay, SwatchesKept, Way
    from stitchc.machines import Machine
    from stitchc.options import LeafletOptions, Units
    from stitchc.pattern import Pattern, Stitch
    from stitchc.piece.plan import Plan
    from stitchc.piece.yarn import AllYarn
    from stitchc.product import Progress
    from stitchc.swatch.plan import SwatchPlan

_FABRIC_PX: Final = 640
"""Width of one side of a fabric: a life-size print of ten cm at 160 pixels to the inch."""
_FABRIC_MM: Final = 130.0
_QUALITIES: Final = ((None, 82), (1200, 70), (960, 65), (720, 60), (480, 50))
"""Most pixels across, and JPEG quality, the best first."""
_PHOTO_MM: Final = 120.0
"""The longer side of a photograph on paper."""


def stitches_of(pattern: Pattern) -> list[Stitch]:
    """The stitches that the pieces are knitted in, stocking stitch left out, in the order of knitting."""
    steps = [step for piece in pattern.pieces.values() for step in piece.steps]
    names = dict.fromkeys(getattr(step, "stitch", PLAIN) for step in steps)
    return [pattern.stitches[name] for name in names if name != PLAIN]


def read_by_machine(pattern: Pattern) -> list[Stitch]:
    """Those of them that a card or a picture is made of: ladders alone need none."""
    return [stitch for stitch in stitches_of(pattern) if stitch.chart.held.any()]


# -- pictures ---------------------------------------------------------------------------------------------------------


def fabric_pictures(
    pattern: Pattern, options: LeafletOptions, progress: Progress, kept: Shelf | None
) -> tuple[dict[str, Picture], list[Message]]:
    """Both sides of each stitch's fabric, by its name, and what was in the way of one."""
    names = tuple(stitch.name for stitch in stitches_of(pattern))
    if not options.pictures or not names:
        return {}, []
    asked = PictureOptions(names, px=_FABRIC_PX, plain=options.plain, units=options.units)
    try:
        product = draw_fabric(pattern, None, asked, progress, kept)
    except Refused as refused:
        return {}, [message.as_warning() for message in refused.messages]
    pictures = {
        each.stitch: Picture(
            each.png(),
            _FABRIC_MM,
            f"Both sides of the fabric of {each.stitch}, drawn from its stitches",
            f"{each.stitch}, calculated from its stitches: first the purl side, which faces you at the machine, then "
            "the knit side. It shows how the yarns lie, not the character of your yarn.",
        )
        for each in product.values
    }
    return pictures, [message.as_warning() for message in product.messages]


def as_jpegs(pictures: Sequence[Picture], most_bytes: float = math.inf) -> list[Picture]:
    """The pictures in so few bytes in all, less fine if need be."""
    return [replace(each, content=_as_jpeg(each.content, most_bytes / len(pictures))) for each in pictures]


def _as_jpeg(png: bytes, most_bytes: float) -> bytes:
    from PIL import Image

    content = b""
    with Image.open(io.BytesIO(png)) as opened:
        whole = opened.convert("RGB")
    for most_px, quality in _QUALITIES:
        image = whole.copy()
        if most_px is not None:
            image.thumbnail((most_px, most_px), Image.Resampling.LANCZOS)
        out = io.BytesIO()
        image.save(out, "JPEG", quality=quality, optimize=True)
        content = out.getvalue()
        if len(content) <= most_bytes:
            break
    return content


def photographs(pattern: Pattern) -> Iterator[Picture]:
    """The designer's photographs, each drawn anew without what its file tells of place, time and camera."""
    if not pattern.photos:
        return
    from stitchc.photo import encode_photo

    for photo in pattern.photos:
        shown = encode_photo(photo.content)
        width_mm = _PHOTO_MM * min(1.0, shown.width / shown.height)
        yield Picture(shown.content, width_mm, photo.shows, photo.shows)


# -- before the rows --------------------------------------------------------------------------------------------------


def swatch_parts(
    pattern: Pattern, plans: Sequence[Plan], machine: Machine, units: Units, kept: SwatchesKept | None = None
) -> Iterator[Part]:
    """How to swatch, and what to change where the swatch is a few per cent off. plans: of a piece, in each size. kept:
    swatches that were planned for the machine before."""
    between: dict[str, tuple[int, int]] = {}
    if swatches := list(_swatches(plans, machine, {} if kept is None else kept)):
        blocks: list[Block] = []
        for each, fabrics in swatches:
            between[each.name] = (each.stitches, each.rows)
            steps: list[tuple[str, str]] = []
            for head, text in swatch_steps(each, pattern, units):
                if head == "knit" and each.name != PLAIN:
                    first = needle_name(each.needles.first + EDGE)
                    text += f", column 1 of the chart on {first} (a hole card has its own place)"
                if not head:
                    steps[-1] = (steps[-1][0], f"{steps[-1][1]}; {text}")
                elif head != "tape error":
                    steps.append((head.capitalize(), text))
            whose = [_fabric_words(fabric) for fabric in fabrics]
            blocks += [f"Swatch of {listed(whose)}{', one of each' if len(whose) > 1 else ''}:", Terms(tuple(steps))]
        tensions = _THEIR_TENSIONS if any(section.tension for section in plans[0].sections) else _NO_TENSIONS
        yield Part("Swatch", (f"{_SWATCH_LIKE_THE_WORK} {tensions}", *blocks, FINISHING))
    if tables := tuple(other_gauges(plans, units, between)):
        later = [_LATER_ROWS] if any(KEEPS_SIDES in table.caption for table in tables) else []
        yield Part("If your swatch differs", (_OTHER_GAUGES, *later, *tables))


def _swatches(
    plans: Sequence[Plan], machine: Machine, kept: SwatchesKept
) -> Iterator[tuple[SwatchPlan, Sequence[str]]]:
    """The swatches of a piece, each with the fabrics that it is knitted for. plans: of the piece, in each size."""
    plan = plans[0]
    fabrics = [*fabrics_asked(plans), *(fabric for fabric, stitch in plan.fabrics.items() if stitch != PLAIN)]
    by_stitch: dict[str, list[str]] = {}
    for fabric in dict.fromkeys(fabrics):
        by_stitch.setdefault(stitch_of(plan, fabric), []).append(fabric)
    if by_stitch:
        stitches = tuple(by_stitch)
        if stitches not in kept:  # sizes and units share them
            asked = SwatchOptions(stitches, plain=plan.report.plain, anyway=True)
            kept[stitches] = plan_swatch(plan.pattern, machine, asked).values
        for each in kept[stitches]:
            yield each, by_stitch.get(each.name) or [each.name]


def buying_part(way: Way, yarn: AllYarn, units: Units) -> Iterator[Part]:
    """The yarn to buy for all pieces and for their swatches, each of which is knitted once."""
    metres: dict[str, dict[str | None, float]] = {}
    for plans, *_ in way.pieces.values():
        plan, main = plans[0], plans[0].pattern.main_yarn
        for swatch, fabrics in _swatches(plans, way.machine, way.swatches):
            for fabric in fabrics:
                own = next((part.yarn for part in plan.sections if plan.fabric(part) == fabric and part.yarn), None)
                own = own or (main.name if main is not None else None)
                metres[fabric] = {yarn or own: each.high for yarn, each in swatch.metres_of.items()}
    together: dict[str | None, float] = {}
    for taken in metres.values():
        for name, each in taken.items():
            together[name] = together.get(name, 0.0) + each
    yield from purchase_part(yarn.with_swatches(together), units == "in")


_SWATCH_LIKE_THE_WORK: Final = "Use the yarn, the tension and the finish of the work."
_THEIR_TENSIONS: Final = (
    "The tensions in this leaflet are those of one machine, and dials differ: begin with them, and turn yours until "
    "the swatch measures what is said here."
)
_NO_TENSIONS: Final = (
    "The instructions name no tension, as dials differ: turn yours until the swatch measures what is said here."
)
_OTHER_GAUGES: Final = (
    "Change the tension first. Where that makes the fabric too stiff or too limp, keep your tension and take the "
    "needles and rows of these tables. Add or leave out whole repeats: needles at both ends of the bed, rows at the "
    "end of the part in that stitch. The last column is the width, or the length of those rows alone, that you "
    "then get: only whole repeats fit, so it may differ a little from the size you chose. The instructions name the "
    "needles of this leaflet, so count the repeat on from there."
)
_LATER_ROWS: Final = (
    "Where you knit more or fewer rows of a part than printed, set the row counter to the last printed row of that "
    "part when you have knitted yours, and go on with the printed rows. The number of rows changes by an even number "
    "there, so every later row keeps its number and its direction."
)


def _fabric_words(fabric: str) -> str:
    return "stocking stitch" if fabric == PLAIN else fabric


def needs_part(pattern: Pattern) -> Iterator[Part]:
    """What is needed besides yarn and machine, in the designer's words."""
    if pattern.notions:
        yield Part("What else you need", (Listing(pattern.notions),))


def stitch_part(pattern: Pattern) -> Part:
    """The rows of every stitch in letters and in words."""
    tables = tuple(stitch_rows(stitch.name, stitch.chart) for stitch in stitches_of(pattern))
    return Part("The rows of the repeat", tables)


def machines_part(ways: Sequence[Way], others: Sequence[NoWay]) -> Part:
    """Which machines the leaflet has instructions for, and why not for the others."""
    blocks: list[Block] = [
        "There are instructions for these machines:",
        Listing(tuple(way.machine.title for way in ways)),
    ]
    if others:
        why: dict[str, list[str]] = {}
        for each in others:
            why.setdefault(_reason(each), []).append(each.machine.title)
        blocks += ["And none for these:", Terms(tuple(("; ".join(titles), reason) for reason, titles in why.items()))]
    return Part("Machines", tuple(blocks))


def _reason(each: NoWay) -> str:
    """What the messages say; the machine is named beside it."""
    text = " ".join(dict.fromkeys(map(each.words, each.reasons)))
    return text[:1].upper() + text[1:]


# -- cards and pictures --------------------------------------------------------------------------------------------


def reader_part(machine: Machine, plans: Sequence[Plan]) -> Iterator[Part]:
    """What to do with a reader of other habits than the instructions and the card suppose (from memory). plans: of the
    pieces."""
    if machine.reader == "none" or machine.origin != "shipped" or not read_by_machine(plans[0].pattern):
        return
    is_card = machine.reader == "card"
    put_in = f"put in the card and {LOCK_IT}" if is_card else "choose the picture and start at row 1"
    seen = machine.card.seen_above_read if machine.card is not None else 0
    below = f"reads {number(seen, 'row')} below eye level, " if is_card else ""
    lines = [
        f"It selects the needles for the next pass: {put_in} one row earlier, before the last row of the part before. "
        f"Knit that row as it is told{', then release the card' if is_card else ''}. Nothing else changes."
    ]
    if any(plan.sections[0].chart.held.any() for plan in plans):
        lines[0] += (
            " Where a piece begins in pattern, begin with the carriage at the other side and knit one plain row"
            f"{' while the card is locked' if is_card else ''}: it selects the needles for row 1. Then set the row "
            "counter to 000."
        )
    if is_card:
        lines += [
            f"It reads another number of rows below eye level: lock the card when the row after that number is at eye "
            f"level. A reader that reads {seen - 2} rows below takes row {seen - 1}.",
            "It exchanges left and right: put the card in with its other side toward you.",
        ]
    else:
        lines += [
            "It exchanges left and right: enter the picture mirrored, or use the setting of your machine for that.",
            "It knits where a pixel is light: enter dark for light and light for dark.",
        ]
    yield Part(
        OTHER_READERS,
        (
            f"The instructions suppose a reader that {below}selects the needles in the pass that knits them and does "
            f"not exchange left and right. Yours shows it in the first rows: compare the needles with the list of what "
            f"the {reader_name(machine)} selects.",
            Listing(tuple(lines)),
        ),
    )


def bitmap_part(pattern: Pattern, machine: Machine, options: LeafletOptions, to_take: bool) -> Iterator[Part]:
    """The picture of each stitch and how to enter it. to_take: the picture's file too, for a page."""
    blocks: list[Block] = []
    for stitch in read_by_machine(pattern):
        asked = BitmapOptions((stitch.name,), anyway=options.anyway, name=f"{stitch.name}-bitmap")
        product = make_bitmap(pattern, replace(machine, name=""), asked)
        (picture,), (file,) = product.values, product.files
        drawing = draw(picture)
        blocks.append(picture.words)
        blocks += changes_in_words(stitch, pattern)
        if drawing is None:
            rows = range(picture.dark.shape[0]) if picture.first_row == "top" else range(picture.dark.shape[0])[::-1]
            lines = [(str(row), columns_in_words(picture.dark[nth].tolist())) for row, nth in enumerate(rows, start=1)]
            lines = [(row, words.removeprefix("punch ")) for row, words in lines]
            blocks.append(Table(("Row", "Dark pixels, counted from the left"), tuple(lines)))
        else:
            blocks.append(drawing)
        if to_take:
            blocks.append(Picture(file.content, 20.0, picture.words, file.name, file.name))
    if not blocks:
        return
    blocks.append(
        "Enter the squares as they stand here, or give the machine the picture file, if it takes files. Then compare "
        "the machine's display with the drawing, row by row, before you knit."
    )
    yield Part("The picture to enter", tuple(blocks))

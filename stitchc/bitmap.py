"""The picture for electronic patterning: one pixel a stitch, black and white, with what was chosen written into it.

`make_bitmap` is the product; files are the caller's business.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from stitchc.bed import Needles, needle_name
from stitchc.card.notes import change_words
from stitchc.card.plan import changes_of, main_yarn_of
from stitchc.chart import Chart, TooLarge, guard_size
from stitchc.checks import check_pattern, edge_tucks
from stitchc.document.document import Drawing, Label, Path
from stitchc.drawn.carried import KEYWORD, carried_words
from stitchc.english import number as count
from stitchc.english import ranges
from stitchc.machines import fit
from stitchc.machines.fit import reads_nothing_of_the_kind
from stitchc.machines.profile import Machine, Meaning
from stitchc.messages import Message, Refused
from stitchc.options import BitmapOptions
from stitchc.page.png import text_chunks
from stitchc.passes import cells_on, columns_on, less_than_a_repeat, refuse_no_room
from stitchc.pattern import Pattern, Stitch
from stitchc.product import (
    File,
    Product,
    Progress,
    accept,
    choose_stitches,
    errors_overridden,
    file_stems,
    no_progress,
    skipped_parts,
)

DEFAULTS: Final = BitmapOptions()

FirstRow = Literal["bottom", "top"]
Face = Literal["purl", "knit"]


class ProofFailed(Exception):
    """The picture that was written does not show the stitch: a fault in stitchc."""


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture to enter. dark: shape (height, width), line 0 on top, True for a dark pixel.

    first_row: at which end of the picture row 1 is. seen_from: which face of the fabric it shows; left and right of
    the knit side are exchanged. dark_means: what a dark pixel does. chart: what is knitted, as the bed is faced.
    out_of_work: the needles that are, in words; their pixels knit.
    remarks: what has to be written into the file ("made despite …").
    """

    dark: npt.NDArray[np.bool_]
    first_row: FirstRow
    seen_from: Face
    dark_means: Meaning
    stitch: str
    machine: str
    needles: str
    chart: Chart
    out_of_work: str = ""
    title: str = ""
    remarks: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """What was chosen, in a sentence: it is kept in the file and shown to the knitter."""
        height, width = self.dark.shape
        whose = f" for {self.machine}" if self.machine else ""
        empty = f" Out of work, with pixels that knit: {self.out_of_work}." if self.out_of_work else ""
        sides = "left and right as you face the bed" if self.seen_from == "purl" else "left and right exchanged"
        return (
            f"{self.stitch}{whose}: {width} needles ({self.needles}) by {count(height, 'row')}, one pixel a stitch; a "
            f"dark pixel means {self.dark_means}; row 1 is at the {self.first_row}; seen from the {self.seen_from} "
            f"side ({sides}).{empty}"
        )


def make_bitmap(
    pattern: Pattern, machine: Machine, options: BitmapOptions = DEFAULTS, progress: Progress = no_progress
) -> Product[Picture]:
    """A picture of each stitch for this machine, each opened again and compared with the pattern.

    Raises Refused (K…, M303, M305, N110) and WrongOption.
    """
    stitches = choose_stitches(pattern, options.stitches)
    needles, edge = options.needles, options.edge
    messages = [message for stitch in stitches for message in unfit(stitch, machine, needles)]
    if needles is not None:
        for stitch in stitches:
            refuse_no_room(needles, edge, stitch)
            messages += less_than_a_repeat(stitch, machine, needles, edge)
    messages += check_pattern(pattern, machine, stitches)
    accepted = list(accept(messages, pattern, options.anyway))
    remarks = list(skipped_parts(pattern, stitches, options.stitches))
    pictures, files = [], []
    stems = file_stems(pattern, stitches, "bitmap", options.name)
    for number, stitch in enumerate(stitches):
        progress(number / len(stitches))
        picture = make_picture(stitch, machine, options, pattern.title, errors_overridden(stitch, messages))
        pictures.append(picture)
        files.append(File(f"{stems[stitch.name]}.png", png(picture)))
        remarks += [picture.words, *changes_in_words(stitch, pattern)]
        if needles is not None:
            accepted += [
                message.as_warning() for message in edge_tucks(picture.chart, np.arange(needles.count), needles, stitch)
            ]
    return Product(tuple(pictures), tuple(files), tuple(accepted), tuple(remarks))


_MOST_CHANGES: Final = 20
_MOST_CARRIED: Final = 500_000
"""Cells of a chart that its picture carries as letters; readers of PNGs refuse text of more than a megabyte."""


def changes_in_words(stitch: Stitch, pattern: Pattern) -> list[str]:
    """When to set the carriage or change yarn, row by row of the repeat: a picture cannot say it."""
    all_changes = changes_of(stitch.chart, main_yarn_of(pattern))
    changes = [f"row {change.row} {', '.join(change_words(change))}" for change in all_changes]
    if not changes:
        return []
    more = f"; and {len(changes) - _MOST_CHANGES} more" if len(changes) > _MOST_CHANGES else ""
    return [f"Set before these rows of the repeat: {'; '.join(changes[:_MOST_CHANGES])}{more}."]


def make_picture(
    stitch: Stitch,
    machine: Machine,
    options: BitmapOptions = DEFAULTS,
    title: str | None = None,
    remarks: tuple[str, ...] = (),
) -> Picture:
    """The picture of a stitch; what is not said is as the machine's profile has it.

    The repeat begins where it does on the sheet for the same needles (`passes.columns_on`). The caller has asked
    `unfit` first. Raises Refused N110.
    """
    chart, needles = stitch.chart, options.needles
    width, height = needles.count if needles else chart.width, options.rows or chart.height
    try:
        guard_size(width, height)
    except TooLarge as error:
        raise Refused(Message("N110", "error", f"The picture of `{stitch.name}` is too large: {error}.")) from None
    if needles:
        repeat = chart.tiled(chart.width, min(height, chart.height))
        chart = Chart(cells_on(repeat, columns_on(repeat, machine, needles, options.edge)), repeat.yarns)
    chart = chart.tiled(width, height)
    face = options.seen_from or ("knit" if machine.mirrored else "purl")
    end = options.first_row or machine.first_row
    means = options.dark or machine.mark_means
    return Picture(
        dark=_laid(chart, end, face, means),
        first_row=end,
        seen_from=face,
        dark_means=means,
        stitch=stitch.name,
        machine=machine.name,
        needles=str(needles) if needles else "one repeat",
        chart=chart,
        out_of_work=_out_of_work(chart, needles),
        title=title or "",
        remarks=remarks,
    )


def _out_of_work(chart: Chart, needles: Needles | None) -> str:
    if needles is None:
        return f"needle{'s' * (len(chart.out) > 1)} {ranges(chart.out)} of the repeat" if chart.out else ""
    return ", ".join(needle_name(needles.first + needle - 1) for needle in chart.out)


def _laid(chart: Chart, first_row: FirstRow, seen_from: Face, dark_means: Meaning) -> npt.NDArray[np.bool_]:
    """The chart as it lies in the picture. Its own inverse, up to the polarity."""
    dark = ~chart.held if dark_means == "knit" else chart.held
    if seen_from == "knit":
        dark = dark[:, ::-1]
    if first_row == "bottom":
        dark = dark[::-1]
    return np.ascontiguousarray(dark)


def png(picture: Picture) -> bytes:
    """The picture as a 1-bit PNG, dark pixels black, opened again and compared pixel by pixel; what was chosen stands
    in its text chunks. Raises ProofFailed."""
    from PIL import Image

    image = Image.fromarray(~picture.dark).convert("1", dither=Image.Dither.NONE)
    words = {
        "Title": f"{picture.title}: {picture.stitch}" if picture.title else picture.stitch,
        "Software": "stitchc",
        "Description": picture.words,
        "Warning": " ".join(picture.remarks),
    }
    small = picture.dark.size <= _MOST_CARRIED
    about = text_chunks(words, (KEYWORD, carried_words(picture.chart)) if small else None, image)
    out = io.BytesIO()
    image.save(out, "PNG", pnginfo=about)
    content = out.getvalue()
    with Image.open(io.BytesIO(content)) as image:
        again = np.asarray(image)
        if image.mode != "1" or again.shape != picture.dark.shape or not np.array_equal(~again, picture.dark):
            raise ProofFailed(f"the picture of {picture.stitch} differs from its chart")
    return content


MOST_DRAWN: Final = 60
"""Pixels across or up to which a picture is drawn for the eye."""

_SQUARE: Final = 12
_MARGIN: Final = 34


def draw(picture: Picture) -> Drawing | None:
    """The picture as it is entered, each pixel a square, with the numbers of rows and of columns; None where it is too
    large to be read so."""
    height, width = picture.dark.shape
    if max(height, width) > MOST_DRAWN:
        return None
    across, up = width * _SQUARE, height * _SQUARE
    corner = ((0, 0), (_SQUARE, 0), (_SQUARE, _SQUARE), (0, _SQUARE))
    dark = [
        tuple((_MARGIN + x * _SQUARE + dx, y * _SQUARE + dy) for dx, dy in corner) for y, x in np.argwhere(picture.dark)
    ]
    grid = [((_MARGIN + x * _SQUARE, 0), (_MARGIN + x * _SQUARE, up)) for x in range(width + 1)]
    grid += [((_MARGIN, y * _SQUARE), (_MARGIN + across, y * _SQUARE)) for y in range(height + 1)]
    rows = range(1, height + 1) if picture.first_row == "top" else range(height, 0, -1)
    labels = [Label(_MARGIN - 4, (index + 1) * _SQUARE - 2, str(row), "end", 10) for index, row in enumerate(rows)]
    every = 1 if width <= 12 else 4
    labels += [
        Label(_MARGIN + (column - 0.5) * _SQUARE, up + 12, str(column), "middle", 10)
        for column in range(1, width + 1)
        if column == 1 or column % every == 0
    ]
    return Drawing(
        (Path(tuple(dark), "solid", True), Path(tuple(grid), "thin"), *labels),
        _MARGIN + across + 12,
        up + 16,
        1 / 3,
        picture.words,
    )


# -- whether it can be made ----------------------------------------------------------------------------------------


def unfit(stitch: Stitch, machine: Machine, needles: Needles | None = None) -> list[Message]:
    """What keeps the stitch from a picture for this machine: M305 where it reads none, else `machines.fit.unfit`."""
    return reads_nothing_of_the_kind(machine, "bitmap") or fit.unfit(stitch, machine, needles)

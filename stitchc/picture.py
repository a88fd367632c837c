"""`draw_fabric`: the stitches of a pattern as pictures of their fabric; `improve_fabric`: better and better ones."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

from stitchc.fabric.draw import DISTINCT, NATURAL, Colour, Face, Picture, draw
from stitchc.fabric.plate import plate
from stitchc.fabric.relaxation import PITCH_MM, Fabric, loop_yarn_mm, smallest_repeat
from stitchc.fabric.store import Shelf, fabrics
from stitchc.gauge import check_gauge, estimate_pattern
from stitchc.messages import Message, Refused, visible
from stitchc.options import PictureOptions
from stitchc.page.lettering import what_is_lacking
from stitchc.product import (
    File,
    Product,
    Progress,
    WrongOption,
    accept,
    choose_stitches,
    file_stems,
    no_progress,
    skipped_parts,
)
from stitchc.wording import OPTION

if TYPE_CHECKING:
    from stitchc.gauge import GaugeReport
    from stitchc.machines import Machine
    from stitchc.pattern import Pattern, Stitch

DEFAULTS: Final = PictureOptions()

ASSUMED: Final = (20.0, 26.0)
"""Stitches and rows per 10 cm of stocking stitch by default: in the middle of what knits at 4.5 mm pitch, with
Munden's proportion of 1.3."""

_MOST_CM: Final = 200.0
_MOST_REPEATS: Final = 200
_MOST_PX: Final = 12_000
_MOST_PIXELS: Final = 36_000_000
_COARSE_PX: Final = 400
_NEWS: Final = 0.2
_LONGER: Final = 1.06
_MOST_NAMED: Final = 6


@dataclass(frozen=True, eq=False)
class FabricPicture:
    """A stitch's fabric from one side or both. sides: RGB arrays (height_px, width_px, 3). done: share of the way of
    the yarns to where they lie at rest, 1 for the picture to keep. longer: how much its loops are drawn longer."""

    stitch: str
    sides: dict[Face, Picture]
    px_per_cm: float
    units: Literal["cm", "in"]
    done: float = 1.0
    longer: float = 1.0
    _made: dict[tuple[Face, ...], bytes] = field(default_factory=dict, repr=False)

    def png(self, *faces: Face) -> bytes:
        """A PNG of these sides (default: all that there are), with the stitch's name and a scale bar."""
        shown = faces or tuple(self.sides)
        if shown not in self._made:
            sides = [self.sides[face] for face in shown]
            self._made[shown] = plate(sides, shown, self.stitch, self.px_per_cm, self.units)
        return self._made[shown]


def draw_fabric(
    pattern: Pattern,
    machine: Machine | None = None,
    options: PictureOptions = DEFAULTS,
    progress: Progress = no_progress,
    kept: Shelf | None = None,
) -> Product[FabricPicture]:
    """Pictures of the stitches' fabric at the gauge measured or estimated, in the colours of their yarns.

    machine: its pitch says how much yarn a slip takes (default: 4.5 mm). kept: relaxed fabrics from earlier calls are
    taken from it, and new ones put there. A stitch that can't be drawn has an error among the messages where others
    can. Raises Refused N103, V701 to V703 and V705, and WrongOption.
    """
    *_, product = _products(pattern, machine, options, progress, kept, None, coarse=False)
    return product


def improve_fabric(
    pattern: Pattern,
    machine: Machine | None = None,
    options: PictureOptions = DEFAULTS,
    progress: Progress = no_progress,
    kept: Shelf | None = None,
    drawn: dict[str, FabricPicture] | None = None,
) -> Iterator[Product[FabricPicture]]:
    """As `draw_fabric`, but without files, and coarse pictures come first, the first of them at once; the last product
    is the one to keep. drawn: pictures from earlier calls are taken from it, at once, and new ones put there."""
    return _products(pattern, machine, options, progress, kept, drawn, coarse=True)


def _products(
    pattern: Pattern,
    machine: Machine | None,
    options: PictureOptions,
    progress: Progress,
    kept: Shelf | None,
    drawn: dict[str, FabricPicture] | None,
    coarse: bool,
) -> Iterator[Product[FabricPicture]]:
    _refuse_options(options)
    stitches = choose_stitches(pattern, options.stitches)
    kind = "fabric" if options.face == "both" else f"fabric-{options.face}"
    stems = file_stems(pattern, stitches, kind, options.name)
    accept([message for message in check_gauge(pattern, None, options.plain) if message.severity == "error"], pattern)
    report = estimate_pattern(pattern, [stitch.name for stitch in stitches], options.plain)
    messages = list(report.messages)
    remarks = [*skipped_parts(pattern, stitches, options.stitches), *_remarks(pattern, stitches)]
    pictures: list[FabricPicture] = []
    files: list[File] = []
    for number, stitch in enumerate(stitches):
        drawing = _Drawing.of(pattern, stitch, report, machine, options)
        remarks.append(visible(drawing.scale.words))
        shown = -1.0
        picture = drawn.get(drawing.key) if drawn is not None else None
        try:
            for fabric in fabrics(stitch.chart, drawing.cell, drawing.slip_fed, kept) if picture is None else ():
                progress((number + fabric.done) / len(stitches))
                if coarse and shown + _NEWS < fabric.done < 1:
                    shown = fabric.done
                    seen = (*pictures, drawing.picture(fabric, _COARSE_PX))
                    yield Product(seen, tuple(files), tuple(messages), tuple(remarks))
        except Refused as refused:
            messages += [_placed(each, stitch) for each in refused.messages]
            continue
        picture = picture or drawing.picture(fabric)
        if drawn is not None:
            drawn[drawing.key] = picture
        pictures.append(picture)
        if not coarse:
            files.append(File(f"{stems[stitch.name]}.png", picture.png()))
        if picture.longer > _LONGER:
            messages.append(_placed(_starved(stitch.name, picture.longer, drawing.scale.measured), stitch))
    if not pictures:
        raise Refused(*messages, sources=pattern.sources)
    yield Product(tuple(pictures), tuple(files), tuple(messages), tuple(remarks))


@dataclass(frozen=True)
class _Drawing:
    """What a stitch's fabric is drawn as. cell, slip_fed: as of `relaxation.relaxing`. across_cm, up_cm: shown."""

    stitch: Stitch
    scale: _Scale
    options: PictureOptions
    colours: list[Colour]
    slip_fed: float
    across_cm: float
    up_cm: float
    px_per_cm: float

    @classmethod
    def of(
        cls, pattern: Pattern, stitch: Stitch, report: GaugeReport, machine: Machine | None, options: PictureOptions
    ) -> _Drawing:
        """Raises Refused V705 and WrongOption."""
        scale = _Scale.of(report, stitch.name)
        across_cm, up_cm = _size(stitch, scale, options)
        px_per_cm = _resolution(across_cm, scale, options)
        sides = 2 if options.face == "both" else 1
        _refuse_pixels(across_cm * px_per_cm, up_cm * px_per_cm, sides)
        slip_fed = (machine.pitch_mm if machine is not None else PITCH_MM) / scale.loop_mm
        return cls(stitch, scale, options, yarn_colours(pattern, stitch), slip_fed, across_cm, up_cm, px_per_cm)

    @property
    def cell(self) -> tuple[float, float]:
        return self.scale.wale_mm / self.scale.loop_mm, self.scale.course_mm / self.scale.loop_mm

    @property
    def key(self) -> str:
        """All that the picture depends on."""
        chart, asked = self.stitch.chart, (self.across_cm, self.up_cm, self.px_per_cm, self.options.face)
        return repr(
            (self.stitch.name, chart.rows(), self.colours, self.scale, self.slip_fed, asked, self.options.units)
        )

    def picture(self, fabric: Fabric, most_px: int = _MOST_PX) -> FabricPicture:
        """The fabric as it is asked for, at most so many pixels wide."""
        # The relaxed cell is rounded, to be found again; the picture keeps the gauge as it is.
        per_cm = min(self.px_per_cm, most_px / self.across_cm)
        wide, high = (max(1, round(cm * per_cm)) for cm in (self.across_cm, self.up_cm))
        faces: tuple[Face, ...] = ("purl", "knit") if self.options.face == "both" else (self.options.face,)
        per_length = per_cm * self.scale.loop_mm / 10
        sides = {face: draw(fabric, face, self.colours, wide, high, per_length) for face in faces}
        return FabricPicture(self.stitch.name, sides, per_cm, self.options.units, fabric.done, fabric.longer)


# -- sizes -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Scale:
    """What a stitch measures. wale_mm, course_mm: of this stitch. loop_mm: yarn in a plain loop.

    measured: whether its own gauge was. words: all of it as a sentence.
    """

    wale_mm: float
    course_mm: float
    loop_mm: float
    measured: bool
    words: str

    @classmethod
    def of(cls, report: GaugeReport, name: str) -> _Scale:
        """The stitch's gauge, measured or estimated, over that of stocking stitch, known or assumed."""
        gauge, baseline = report.of(name), report.baseline
        factors = [1.0 if factor is None else factor.value for factor in (gauge.stitch_factor, gauge.row_factor)]
        own = gauge.own_stitches_per_10cm, gauge.own_rows_per_10cm
        known = [mine and mine.value / factor for mine, factor in zip(own, factors, strict=True)]
        if baseline is not None:
            plain = baseline.stitches_per_10cm.value, baseline.rows_per_10cm.value
        else:
            stitches, rows = known
            shape = ASSUMED[1] / ASSUMED[0]
            plain = (
                stitches or (rows / shape if rows else ASSUMED[0]),
                rows or (stitches * shape if stitches else ASSUMED[1]),
            )
        stitch_range = gauge.stitches_per_10cm or own[0]
        row_range = gauge.rows_per_10cm or own[1]
        wale_mm = 100 / (stitch_range.value if stitch_range else plain[0] * factors[0])
        course_mm = 100 / (row_range.value if row_range else plain[1] * factors[1])
        assumed = f"; stocking stitch assumed at {plain[0]:g} x {plain[1]:g}, see {OPTION.plain}"
        across = f"{100 / wale_mm:.1f} {gauge.counted_how}{',' if gauge.features.ladders else ''}"
        words = f"Scale of `{name}`: {across} and {100 / course_mm:.1f} rows to 10 cm "
        words += f"({gauge.basis}{'' if stitch_range or row_range else assumed})."
        return cls(wale_mm, course_mm, loop_yarn_mm(*plain), gauge.basis == "measured", words)


_SIZE = re.compile(
    r"\s*([0-9]{1,4}(?:[.,][0-9]{1,3})?)\s*(?:x|×|\*|by)\s*([0-9]{1,4}(?:[.,][0-9]{1,3})?)\s*(cm|in|repeats?|r)?\s*"
)


def _size(stitch: Stitch, scale: _Scale, options: PictureOptions) -> tuple[float, float]:
    """Width and height in cm: as asked, or a square of whole cm that holds 16 stitches and two repeats each way, but no
    more than 60 stitches. Raises WrongOption."""
    wale_cm, course_cm = scale.wale_mm / 10, scale.course_mm / 10
    if options.size is None:
        repeat = smallest_repeat(stitch.chart)
        side = max(16 * wale_cm, 2 * repeat.width * wale_cm, 2 * stitch.chart.height * course_cm)
        return (math.ceil(min(side, 60 * wale_cm, _MOST_CM)),) * 2
    across, up, unit = _parsed_size(options)
    if unit == "repeats":
        across, up = across * stitch.chart.width * wale_cm, up * stitch.chart.height * course_cm
        if max(across, up) > _MOST_CM:
            raise WrongOption("size", f"`{options.size}` is {across:.0f} x {up:.0f} cm; at most {_MOST_CM:.0f} each.")
    return across, up


def _parsed_size(options: PictureOptions) -> tuple[float, float, Literal["cm", "repeats"]]:
    """The size asked for, in cm unless it is in repeats. Raises WrongOption."""
    text = options.size or ""
    match = _SIZE.fullmatch(text.lower())
    unit = (match[3] if match else None) or options.units
    across, up = (float(part.replace(",", ".")) for part in match.groups()[:2]) if match else (0.0, 0.0)
    if unit not in ("cm", "in"):
        if not (0.2 <= across <= _MOST_REPEATS and 0.2 <= up <= _MOST_REPEATS):
            raise WrongOption("size", f"`{text}` is not a size: from 0.2 to {_MOST_REPEATS} repeats each.")
        return across, up, "repeats"
    per = 2.54 if unit == "in" else 1.0
    if not (0.2 <= across * per <= _MOST_CM and 0.2 <= up * per <= _MOST_CM):
        example = "inches, as in 4x4" if unit == "in" else "cm, as in 10x10"
        least, most = f"{0.2 / per:.1g}", f"{_MOST_CM / per:.0f}"
        raise WrongOption(
            "size",
            f"`{text}` is not a size: write width x height in {example}, from {least} to {most} each, or in repeats, "
            "as in 2x3 repeats.",
        )
    return across * per, up * per, "cm"


def _resolution(across_cm: float, scale: _Scale, options: PictureOptions) -> float:
    if options.dpi is not None:
        return options.dpi / 2.54
    stitches = across_cm * 10 / scale.wale_mm
    return (options.px or min(max(60 * stitches, 700), 2000)) / across_cm


def _refuse_options(options: PictureOptions) -> None:
    if options.px is not None and options.dpi is not None:
        raise WrongOption("", f"{OPTION.px} and {OPTION.dpi} both set the resolution; give one of them.")
    if options.size is not None:
        _parsed_size(options)


def _refuse_pixels(wide: float, high: float, sides: int) -> None:
    if wide * high * sides > _MOST_PIXELS or max(wide, high) > _MOST_PX:
        each = " of each side" if sides > 1 else ""
        text = f"A picture of {wide:,.0f} by {high:,.0f} pixels{each} is too large."
        raise Refused(
            Message("V705", "error", text, advice=f"Choose less with {OPTION.size}, {OPTION.px} or {OPTION.dpi}.")
        )


# -- colours and words -------------------------------------------------------------------------------------------------


def _yarn_names(pattern: Pattern, stitch: Stitch) -> list[str | None]:
    """Of each row the yarn that it names, or else the main yarn; None where that is not known."""
    main = pattern.main_yarn.name if pattern.main_yarn is not None else None
    return [name if name is not None else main for name in stitch.chart.yarns]


def yarn_colours(pattern: Pattern, stitch: Stitch) -> list[Colour]:
    """A colour for each row: the yarn's own, or one of a set that all can tell apart.

    A row that names no yarn has that of the pattern's main yarn, else a natural white.
    """
    names = _yarn_names(pattern, stitch)
    used = [yarn for name, yarn in pattern.yarns.items() if name in names]
    left = DISTINCT[1:] if None in names else DISTINCT  # the first is much like the natural white
    distinct = itertools.cycle([NATURAL] if len(set(names)) == 1 else left)
    table: dict[str | None, Colour] = {yarn.name: yarn.rgb or next(distinct) for yarn in used}
    return [table.get(name, NATURAL) for name in names]


def _remarks(pattern: Pattern, stitches: Sequence[Stitch]) -> list[str]:
    """Once for all pictures: whose colours were chosen here, and which letters the font lacks."""
    remarks = []
    used = {name for stitch in stitches if any(stitch.chart.yarns) for name in _yarn_names(pattern, stitch)}
    bare = [visible(name) for name, yarn in pattern.yarns.items() if name in used and yarn.colour is None]
    if bare:
        listed = ", ".join(f"`{name}`" for name in bare[:_MOST_NAMED])
        more = f" and {len(bare) - _MOST_NAMED} more" if len(bare) > _MOST_NAMED else ""
        subject = "The colour of yarn" if len(bare) == 1 else "The colours of yarns"
        example = 'colour "#2f8f83"'
        remarks.append(
            f"{subject} {listed}{more} {'is' if len(bare) == 1 else 'are'} not given and chosen here: "
            f"write one as in `{example}` after the yarn's name and description."
        )
    lacking = what_is_lacking("".join(stitch.name for stitch in stitches), "picture")
    return [*remarks, lacking] if lacking else remarks


def _placed(message: Message, stitch: Stitch) -> Message:
    """A message about the stitch, at its definition."""
    return message._replace(span=message.span or stitch.span)


def _starved(name: str, longer: float, measured: bool) -> Message:
    text = f"The gauge of `{name}` asks for more yarn than stocking stitch has: some loops are drawn "
    text += f"{100 * (longer - 1):.0f} % longer."
    advice = "Its gauge is an estimate; measure a swatch and put it in a `gauge` line."
    if measured:
        advice = "If it was knitted at a looser tension, nothing is wrong; otherwise count both gauges again."
    return Message("V704", "warning", text, advice=advice)

"""`stitchc picture`: the fabric as it would look, yarn by yarn, as a PNG."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

import click

from stitchc.cli import common
from stitchc.cli.plain_gauge import plain_option
from stitchc.messages import Message, Refused, visible
from stitchc.naming import stems

if TYPE_CHECKING:
    from stitchc.fabric import Colour, Face
    from stitchc.gauge import GaugeReport, PlainGauge
    from stitchc.pattern import Pattern, Stitch

ASSUMED: Final = (20.0, 26.0)
"""Stitches and rows per 10 cm of stocking stitch where nobody says: in the middle of what knits at 4.5 mm pitch, with
Munden's proportion of 1.3."""

_MOST_CM: Final = 200.0
_MOST_PX: Final = 12_000
_MOST_PIXELS: Final = 36_000_000
_LONGER: Final = 1.06
_MOST_NAMED: Final = 6

_SIZE = re.compile(
    r"\s*([0-9]{1,4}(?:[.,][0-9]{1,3})?)\s*(?:x|×|\*|by)\s*([0-9]{1,4}(?:[.,][0-9]{1,3})?)\s*(cm|in)?\s*"
)


def _size_in_cm(text: str, units: str) -> tuple[float, float]:
    """Width and height in cm; written in the units shown unless it names its own. Raises click.BadParameter."""
    match = _SIZE.fullmatch(text.lower())
    unit = (match[3] if match else None) or units
    per = 2.54 if unit == "in" else 1.0
    across, up = (per * float(part.replace(",", ".")) for part in match.groups()[:2]) if match else (0.0, 0.0)
    if not (0.2 <= across <= _MOST_CM and 0.2 <= up <= _MOST_CM):
        example = "inches, as in 4x4" if unit == "in" else "cm, as in 10x10"
        raise click.BadParameter(
            f"`{text}` is not a size: write width x height in {example}, from {0.2 / per:.1g} to {_MOST_CM / per:.0f} "
            "each.",
            param_hint="--size",
        )
    return across, up


@click.command(short_help="Draw the fabric as it would look, yarn by yarn.")
@common.file_argument
@common.stitch_option
@common.option(
    "--face",
    type=click.Choice(["both", "purl", "knit"]),
    default="both",
    show_default=True,
    help="The side seen: purl (as it hangs on the machine), knit (from behind), or both in one picture.",
)
@common.option(
    "--size",
    metavar="WxH",
    default=None,
    help="Fabric shown, in the units of --units: 10x10. At least 16 stitches and two repeats, if unsaid.",
)
@common.option(
    "--px", type=click.IntRange(100, _MOST_PX), help="Width of the fabric in pixels; about 60 a stitch if unsaid."
)
@common.option("--dpi", type=click.IntRange(20, 2400), help="Resolution instead of --px: the picture prints life size.")
@plain_option
@common.units_option
@common.output_option("the picture; a folder for several")
def command(
    file: str,
    stitch_names: tuple[str, ...],
    face: str,
    size: str | None,
    px: int | None,
    dpi: int | None,
    plain: PlainGauge | None,
    units: Literal["cm", "in"],
    output: Path | None,
    force: bool,
) -> None:
    """Draw the stitches of FILE as fabric, with every yarn where it would come to lie.

    The yarns of one repeat are relaxed at the gauge that `stitchc gauge` gives (measured, or estimated) and drawn at
    true proportions in the colours of the file's yarns, with a scale bar. A repeat relaxed once is kept in the user's
    cache folder. The shape is a calculation: it shows how the yarns lie, not your yarn's own character.

    \b
        stitchc picture cowl.stitch
        stitchc picture cowl.stitch --stitch drift --face knit --size 10x10 --dpi 300 -o drift.png
    """
    if px is not None and dpi is not None:
        raise click.UsageError("--px and --dpi both set the resolution; give one of them.")
    size_cm = _size_in_cm(size, units) if size is not None else None
    common.form_for(None, output, ("png",))
    from stitchc import files
    from stitchc.gauge import check_gauge, estimate_pattern
    from stitchc.page.lettering import what_is_lacking

    pattern = common.read_pattern(file)
    stitches = common.chosen(pattern, stitch_names)
    common.require(check_gauge(pattern, None, plain), pattern)
    report = estimate_pattern(pattern, [stitch.name for stitch in stitches], plain)
    common.show(report.messages, pattern.sources)
    common.refuse_one_file_for_many(stitches, output)
    into_folder = output is not None and (output.is_dir() or len(stitches) > 1)
    refused: list[Message] = []
    targets: dict[Path, Stitch] = {}
    named = stems(pattern, stitches)
    for stitch in stitches:
        name = f"{named[stitch.name]}-fabric{f'-{face}' if face != 'both' else ''}.png"
        target = output if output is not None and not into_folder else (output or Path()) / name
        files.refuse_foreign(target, force)
        targets[target] = stitch
    _say_whose_colours_are_not_given(pattern, stitches)
    lacking = what_is_lacking("".join(stitch.name for stitch in stitches), "picture")
    if lacking:
        common.say(lacking)
    for target, stitch in targets.items():
        try:
            common.put_files([(target, _png(pattern, stitch, report, face, size_cm, px, dpi, units))], force)
        except files.FileTrouble:
            raise
        except Refused as error:
            refused += (_placed(message, stitch) for message in error.messages)
    if refused:
        common.leave(refused, pattern.sources)


def _say_whose_colours_are_not_given(pattern: Pattern, stitches: Sequence[Stitch]) -> None:
    """Once for all pictures: which of the yarns that are drawn have a colour of the program's choice."""
    used = {name for stitch in stitches if any(stitch.chart.yarns) for name in _yarn_names(pattern, stitch)}
    unsaid = [visible(name) for name, yarn in pattern.yarns.items() if name in used and yarn.colour is None]
    if not unsaid:
        return
    shown = ", ".join(f"`{name}`" for name in unsaid[:_MOST_NAMED])
    more = f" and {len(unsaid) - _MOST_NAMED} more" if len(unsaid) > _MOST_NAMED else ""
    what = "The colour of yarn" if len(unsaid) == 1 else "The colours of yarns"
    example = 'colour "#2f8f83"'
    common.say(
        f"{what} {shown}{more} {'is' if len(unsaid) == 1 else 'are'} not given and chosen here: "
        f"write one as in `{example}` after the yarn's name and description."
    )


def _placed(message: Message, stitch: Stitch) -> Message:
    """A message about the stitch, at its definition."""
    return message._replace(span=message.span or stitch.span)


@dataclass(frozen=True)
class _Scale:
    """What a stitch measures. wale_mm, course_mm: of this stitch. loop_mm: yarn in a plain loop.

    measured: whether its own gauge was. said: all of it in words.
    """

    wale_mm: float
    course_mm: float
    loop_mm: float
    measured: bool
    said: str


def _scale(report: GaugeReport, name: str) -> _Scale:
    """The stitch's gauge, measured or estimated, over that of stocking stitch, known or assumed."""
    from stitchc.fabric import loop_yarn_mm

    gauge, baseline = report.of(name), report.baseline
    factors = [1.0 if factor is None else factor.value for factor in (gauge.stitch_factor, gauge.row_factor)]
    if baseline is not None:
        plain = baseline.stitches_per_10cm.value, baseline.rows_per_10cm.value
    else:
        own = gauge.own_stitches_per_10cm, gauge.own_rows_per_10cm
        known = [mine.value / factor for mine, factor in zip(own, factors, strict=True) if mine is not None]
        if len(known) == 2:
            plain = known[0], known[1]
        elif own[0] is not None:
            plain = known[0], known[0] * ASSUMED[1] / ASSUMED[0]
        elif own[1] is not None:
            plain = known[0] * ASSUMED[0] / ASSUMED[1], known[0]
        else:
            plain = ASSUMED
    stitches = gauge.stitches_per_10cm or gauge.own_stitches_per_10cm
    rows = gauge.rows_per_10cm or gauge.own_rows_per_10cm
    wale_mm = 100 / (stitches.value if stitches else plain[0] * factors[0])
    course_mm = 100 / (rows.value if rows else plain[1] * factors[1])
    loop_mm = loop_yarn_mm(*plain)
    guessed = stitches is None and rows is None
    said = (
        f"Scale of `{name}`: {100 / wale_mm:.1f} stitches and {100 / course_mm:.1f} rows to 10 cm "
        f"({gauge.basis}{f'; stocking stitch assumed at {plain[0]:g} x {plain[1]:g}, see --plain' if guessed else ''})."
    )
    return _Scale(wale_mm, course_mm, loop_mm, gauge.basis == "measured", said)


def _png(
    pattern: Pattern,
    stitch: Stitch,
    report: GaugeReport,
    face: str,
    size_cm: tuple[float, float] | None,
    px: int | None,
    dpi: int | None,
    units: Literal["cm", "in"],
) -> bytes:
    from stitchc.cli.fabric_cache import relaxed
    from stitchc.cli.progress import Bar
    from stitchc.fabric import PITCH_MM, draw, plate

    scale = _scale(report, stitch.name)
    common.say(visible(scale.said))
    cell = scale.wale_mm / scale.loop_mm, scale.course_mm / scale.loop_mm
    with Bar(f"relaxing {visible(stitch.name)}") as bar:
        fabric = relaxed(stitch.chart, cell, PITCH_MM / scale.loop_mm, bar.at)
    if fabric.longer > _LONGER:
        common.show([_placed(_starved(stitch.name, fabric.longer, scale.measured), stitch)], pattern.sources)
    across_cm, up_cm = size_cm or _usual_size(stitch, scale)
    px_per_cm = _resolution(across_cm, scale, px, dpi)
    wide, high = max(1, round(across_cm * px_per_cm)), max(1, round(up_cm * px_per_cm))
    faces: tuple[Face, ...] = ("purl", "knit") if face == "both" else ("purl",) if face == "purl" else ("knit",)
    if wide * high * len(faces) > _MOST_PIXELS or max(wide, high) > _MOST_PX:
        raise Refused(
            Message(
                "V705",
                "error",
                f"A picture of {wide:,} by {high:,} pixels{' of each side' * (len(faces) > 1)} is too large.",
                cure="Ask for less with --size, --px or --dpi.",
            )
        )
    colours = yarn_colours(pattern, stitch)
    px_per_length = px_per_cm * scale.loop_mm / 10
    # The relaxed cell is rounded, for the cache's sake; the picture keeps the gauge as it is.
    pictures = [draw(fabric, each, colours, wide, high, px_per_length) for each in faces]
    return plate(pictures, faces, stitch.name, px_per_cm, units)


def _starved(name: str, longer: float, measured: bool) -> Message:
    return Message(
        "V704",
        "warning",
        f"The gauge of `{name}` asks for more yarn than stocking stitch has: "
        f"some loops are drawn {100 * (longer - 1):.0f} % longer.",
        cure="If it was knitted at a looser tension, this is as it should be; else count both gauges again."
        if measured
        else "Its gauge is an estimate; measure a swatch and put it in a `gauge` line.",
    )


def _usual_size(stitch: Stitch, scale: _Scale) -> tuple[float, float]:
    """A square of whole cm that holds 16 stitches and two repeats each way, but no more than 60 stitches."""
    from stitchc.fabric import smallest_repeat

    repeat = smallest_repeat(stitch.chart)
    side = max(16 * scale.wale_mm, 2 * repeat.width * scale.wale_mm, 2 * stitch.chart.height * scale.course_mm)
    side = min(side, 60 * scale.wale_mm, _MOST_CM * 10)
    return (math.ceil(side / 10),) * 2


def _resolution(across_cm: float, scale: _Scale, px: int | None, dpi: int | None) -> float:
    """Pixels per cm."""
    if dpi is not None:
        return dpi / 2.54
    if px is not None:
        return px / across_cm
    stitches = across_cm * 10 / scale.wale_mm
    return min(max(60 * stitches, 700), 2000) / across_cm


def _yarn_names(pattern: Pattern, stitch: Stitch) -> list[str | None]:
    """Of each row the yarn that it names, or else the main yarn; None where that is not known."""
    main = pattern.main_yarn.name if pattern.main_yarn is not None else None
    return [name if name is not None else main for name in stitch.chart.yarns]


def yarn_colours(pattern: Pattern, stitch: Stitch) -> list[Colour]:
    """A colour for each row: the yarn's own, or one of a set that all can tell apart.

    A row that names no yarn has that of the pattern's main yarn, else a natural white.
    """
    from stitchc.fabric import DISTINCT, NATURAL

    names = _yarn_names(pattern, stitch)
    used = [yarn for name, yarn in pattern.yarns.items() if name in names]
    left = DISTINCT[1:] if None in names else DISTINCT  # the first is much like the natural white
    distinct = itertools.cycle([NATURAL] if len(set(names)) == 1 else left)
    table: dict[str | None, Colour] = {yarn.name: yarn.rgb or next(distinct) for yarn in used}
    return [table.get(name, NATURAL) for name in names]

"""What an estimate rests on: in a line beside the figure, and in full."""

from __future__ import annotations

import textwrap
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from importlib.resources import files
from typing import Any, Final

from stitchc.english import listed
from stitchc.gauge.features import LONG_RUN, TUCK_SATURATION
from stitchc.gauge.gauges import StitchGauge
from stitchc.gauge.model import PARAMETERS, design, shipped
from stitchc.gauge.yarn import BAR_LEGS

WORDS: Final[Mapping[str, str]] = {
    "tuck_rows": "how much tucks shorten",
    "slip_rows": "how much slips shorten",
    "tuck_long": "what long tucks give back",
    "slip_long": "what long slips give back",
    "columns_rows": "how columns of holds shorten",
    "tuck_first": "how much the first tucks widen",
    "tuck_more": "how much further tucks widen",
    "slip_width": "how much slips narrow",
    "columns_width": "how columns of tucks widen",
    "ladder_first": "how wide a ladder's first needle is",
    "ladder_more": "how wide each further needle is",
}
_GUESSED: Final = 0.2
"""A parameter of whose variance the published gauges took away less is hardly more than a guess."""
_MATTERS: Final = 0.015
"""What a guess may be off by, in ln of a factor, from where on it is named."""


_SCALE: Final = (
    "The figures have no unit, and 0 is no effect. Rows: 1 shortens by as much as the rows that a loop spans on "
    "average, so that 1.2 rows make 20 % more rows to 10 cm. Widths: 0.4 is 4 % where 1 cell in 10 tucks or slips; "
    "what the first tucks and columns of tucks do is reached in full where many cells tuck, 0.09 is then 9 %. Ladders: "
    "in widths of a stitch. +- is one standard deviation."
)


@cache
def _document() -> dict[str, Any]:
    return tomllib.loads((files("stitchc.gauge") / "priors.toml").read_text(encoding="utf-8"))


def guessed(gauge: StitchGauge) -> list[str]:
    """The parameters of a stitch's estimate that are hardly more than a guess, the weightiest first."""
    priors, parameters = shipped(), _document()["parameters"]
    guesses = []
    for name, sd, wide, long in zip(
        PARAMETERS, priors.covariance.diagonal() ** 0.5, *design(gauge.features), strict=True
    ):
        weight = max(abs(wide), abs(long)) * float(sd)
        if parameters[name]["learnt"] < _GUESSED and weight > _MATTERS:
            guesses.append((-weight, name))
    return [name for _, name in sorted(guesses)]


def evidence_json(gauge: StitchGauge) -> dict[str, Any]:
    """How many published gauges of each kind the estimate rests on, and what in it is hardly more than a guess."""
    published = _document()["published"]
    features = gauge.features
    return {
        "published_tuck": published["tuck"] if features.tuck_share else 0,
        "published_slip": published["slip"] if features.slip_share else 0,
        "published_tuck_on_one_bed_over_plain": 0,
        "published_with_needles_out_of_work": 0,
        "guessed": guessed(gauge),
    }


def evidence_line(gauge: StitchGauge) -> str:
    """What an estimate rests on, in a line; empty where all was measured, or nothing had to be estimated."""
    features = gauge.features
    if features.is_plain or gauge.stitch_basis == gauge.row_basis == "measured":
        return ""
    published = _document()["published"]
    parts = ["your swatches"] if gauge.basis != "estimate" else []
    parts += [f"{published['tuck']} published tucks (none on one bed over plain)"] if features.tuck_share else []
    parts += [f"{published['slip']} published slips"] if features.slip_share else []
    parts += ["no published figure for ladders"] if features.ladders else []
    count = len(guessed(gauge)) + bool(features.tuck_share)  # how soon widening levels off is one
    guesses = f"{count or 'no'} {'guess' if count == 1 else 'guesses'}"
    return f"{listed(parts, 'and')}; {guesses} among its figures (--evidence)"


def in_full() -> Iterator[str]:
    """Every figure that the estimates rest on, where it began, and how much the published gauges changed it."""
    document = _document()
    published = document["published"]
    yield "What the estimates rest on"
    worst = listed([f"{miss:+} %" for miss in published["machine_misses_percent"]], "and")
    others = published["other_misses_percent"]
    text = (
        f"{published['tuck']} published gauges with tuck and {published['slip']} with slip. None of the tucks was "
        "knitted on one bed over stocking stitch: all have a ground of rib or garter. When they are left out, those "
        f"knitted on a machine are predicted worst, off by {worst}, the others by {others} %. No figure at all is "
        "published for needles out of work: the width and the yarn of a ladder are assumed until you measure one."
    )
    yield from textwrap.wrap(text, 96, initial_indent="  ", subsequent_indent="  ")
    yield ""
    yield from textwrap.wrap(_SCALE, 96, initial_indent="  ", subsequent_indent="  ")
    yield ""
    yield f"  {'':<37} {'now':>16} {'at the start':>16}  learnt from the published gauges"
    for name in PARAMETERS:
        each = document["parameters"][name]
        start, sd = each["start"]
        now = f"{each['mean']:.2f} +- {each['sd']:.2f}"
        yield f"  {WORDS[name]:<37} {now:>16} {f'{start:.2f} +- {sd:.2f}':>16}  {100 * each['learnt']:.0f} %"
        yield from textwrap.wrap(each["start_rests_on"], 96, initial_indent=" " * 6, subsequent_indent=" " * 6)
    legs = BAR_LEGS
    for words, value, source in (
        ("how soon widening levels off", f"{TUCK_SATURATION:.2f}", "one second-hand report"),
        ("neighbours that widen as one", f"{LONG_RUN}", "assumed"),
        ("how much yarn the legs of a bar take", f"{legs.value:g} ({legs.low:g} to {legs.high:g})", "assumed"),
    ):
        yield f"  {words:<37} {value:>16} {'':>16}  nothing: {source}"

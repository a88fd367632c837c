"""Measured swatches: each becomes one more line in the knitter's own file that it belongs to, never the same twice."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from stitchc.gauge.gauges import PLAIN
from stitchc.gauge.product import known_of
from stitchc.gauge.yarn_lines import yarns_to_name
from stitchc.messages import Message, Refused
from stitchc.notation.compile import compile_book
from stitchc.options import Units
from stitchc.pattern import Pattern, words_of
from stitchc.product import WrongOption

_NUMBER: Final = r"\d{1,6}(?:[.,]\d{1,4})?"
_SHORT: Final = re.compile(rf"(\S+)\s+({_NUMBER})\s*(?:x|×|\*|by)\s*({_NUMBER})\b\s*(.*)", re.IGNORECASE)
_LONG: Final = re.compile(rf"(\S+)\s+((?:{_NUMBER}\s*(?:stitches|stitch|sts?|rows?)\s*){{1,2}})(.*)", re.IGNORECASE)

_IN_YARN: Final = re.compile(r"\sin\s+(?!sure$)\S+", re.IGNORECASE)
"""`in oat`, but not the unit of `per 4 in sure`."""


@dataclass(frozen=True)
class Noted:
    """A `gauge` line to add. stitch: of which it speaks."""

    stitch: str
    line: str


def noted(measured: str, units: Units = "cm") -> Noted:
    """From "drift 17.5 x 41", "drift 17.5 x 41 per 12 cm in oat", "drift 41 rows per 10 cm sure". Without a length the
    counts are over 10 cm (4 in where inches are shown). Raises WrongOption."""
    counted = measured.strip().removeprefix("gauge ").strip()  # a line as messages show it
    short, long = _SHORT.fullmatch(counted), _LONG.fullmatch(counted)
    if short is not None:
        stitch, wide, high, rest = short.groups()
        counts = f"{wide.replace(',', '.')} stitches {high.replace(',', '.')} rows"
    elif long is not None:
        stitch, counts, rest = long.groups()
        counts = counts.replace(",", ".").strip()
    else:
        text = f'`{measured}` is not a swatch: write the stitch and its counts over 10 cm, as in "drift 17.5 x 41".'
        raise WrongOption("measured", text)
    rest = rest.strip()
    if not rest.lower().startswith("per "):
        rest = f"per {'10 cm' if units == 'cm' else '4 in'} {rest}".strip()
    name = PLAIN if stitch.lower() == PLAIN else stitch
    return Noted(name, f"gauge {name} {counts} {rest}")


def naming_its_yarn(swatch: Noted, pattern: Pattern, place: str) -> Noted:
    """The same with the yarn in which it was knitted, where the line names none, has to, and the file at place
    has that yarn."""
    yarn = yarns_to_name(pattern).get(swatch.stitch)
    if (
        yarn is None
        or place not in (pattern.file, pattern.yarns[yarn].span.file)
        or _IN_YARN.search(swatch.line) is not None
    ):
        return swatch
    words = swatch.line.split()
    end = len(words) - (words[-1].lower() == "sure")
    return replace(swatch, line=" ".join([*words[:end], "in", yarn, *words[end:]]))


def file_for(stitch: str, pattern: Pattern) -> str:
    """Where a swatch of that stitch belongs: beside its last one, else where the stitch is, else (stocking stitch)
    beside the last of any, else in the pattern's own file."""
    own = [swatch.span.file for swatch in pattern.swatches if swatch.stitch == stitch]
    if own:
        return own[-1]
    if stitch in pattern.stitches:
        return pattern.stitches[stitch].span.file
    return pattern.swatches[-1].span.file if pattern.swatches and stitch == PLAIN else pattern.file


def with_line(text: str, line: str, day: str) -> str | None:
    """The text with the line and its day at the end; None where it has the same line of that day already."""
    if words_of(f"{line} # {day}") in map(words_of, text.splitlines()):
        return None
    end = "\r\n" if "\r\n" in text else "\n"
    gap = "" if not text or text.endswith(("\n", "\r")) else end
    return f"{text}{gap}{line}  # {day}{end}"


def check_added(pattern: Pattern, place: str, text: str, line: str) -> list[Message]:
    """Warnings about a line that `with_line` added to the text of the file at place, which belongs to the pattern.

    Raises Refused where the text would not compile or be of use, or where the swatch is beyond belief and not
    confirmed. Those messages show the line under the name --measured, since no file has it.
    """
    number = len(text.splitlines())
    after, messages, sources = compile_book(text, place, Path(place).parent)
    if after is None:
        shown = _at_option(messages, place, number)
        there = f"The stitches there: {', '.join([*list(pattern.stitches)[:12], PLAIN])}."
        shown = [each._replace(advice=there) if _defines(each) else each for each in shown]
        raise Refused(*shown, sources={**sources, "--measured": [line]})
    places = {(each.span.file, each.span.line): each for each in after.swatches}
    swatch = places.get((place, number))
    if swatch is None:  # a file that it includes has the same line
        return []
    with_swatch = replace(pattern, swatches=(*pattern.swatches, swatch), sources={**pattern.sources, **sources})
    try:
        report, messages = known_of(with_swatch, tuple(pattern.stitches.values()))
    except Refused as refused:
        shown = _at_option(refused.messages, place, number)
        raise Refused(*shown, sources={**with_swatch.sources, "--measured": [line]}) from None
    mine = [message for message in messages if message.span == swatch.span]
    if swatch in report.unused:
        shown = [message._replace(severity="error") for message in _at_option(mine, place, number)]
        raise Refused(*shown, sources={**with_swatch.sources, "--measured": [line]})
    return mine


def _defines(message: Message) -> bool:
    """Whether it says to define the stitch that was measured, since none has a name like it."""
    return message.code == "N103" and (message.advice or "").startswith("stitch ")


def _at_option(messages: Iterable[Message], place: str, number: int) -> list[Message]:
    return [
        message._replace(span=message.span._replace(file="--measured", line=1), fix=None)
        if message.span and (message.span.file, message.span.line) == (place, number)
        else message
        for message in messages
    ]

"""Text to a Pattern: lines gathered, stitches built, swatches and pieces held against them.

A mistake in one place does not hide those in others: one run reports all that there is to fix.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from stitchc import files
from stitchc.messages import Message, Span, has_errors, in_order
from stitchc.notation.build import stitches
from stitchc.notation.gather import MOST_BYTES, Gathered
from stitchc.notation.pieces import piece, swatch
from stitchc.pattern import Pattern, counted_once


class Reading(NamedTuple):
    """What came of reading a pattern.

    pattern: None if there is an error among the messages. sources: the lines of every file read, for showing messages.
    """

    pattern: Pattern | None
    messages: list[Message]
    sources: Mapping[str, Sequence[str]]


def compile_file(path: str) -> Reading:
    """Read a file ("-" is standard input) and what it includes.

    Raises files.FileTrouble if the file itself can't be read.
    """
    name = files.STANDARD_INPUT if path == "-" else path
    return compile_text(files.read_bytes(path, MOST_BYTES), name, Path() if path == "-" else Path(path).parent)


def compile_text(text: str | bytes, file: str = "pattern.stitch", folder: Path | None = None) -> Reading:
    """Read a text. file: what messages call it. folder: where includes are looked for; None allows none.

    Never raises, for any text.
    """
    return compile_as_far_as_it_goes(text, file, folder)[0]


def compile_book(text: str | bytes, file: str, folder: Path | None) -> Reading:
    """As `compile_text`, of a file that is read for its swatches and so needs no stitch."""
    reading, made = compile_as_far_as_it_goes(text, file, folder)
    errors = [message.code for message in reading.messages if message.severity == "error"]
    if made is None or not made.swatches or errors != ["N113"]:
        return reading
    return reading._replace(pattern=made, messages=[each for each in reading.messages if each.code != "N113"])


def compile_as_far_as_it_goes(
    text: str | bytes, file: str = "pattern.stitch", folder: Path | None = None
) -> tuple[Reading, Pattern | None]:
    """As `compile_text`, and the pattern with all its stitches that have no mistake, in spite of other mistakes."""
    reading, gathered, made = _read(text, file, folder)
    lines = reading.sources.get(file)
    if not has_errors(reading.messages) or lines is None:
        return reading, made
    from stitchc.notation.fixes import with_fixes

    def read_again(changed: str) -> tuple[Pattern | None, list[Message]]:
        return _read(changed, file, folder)[0][:2]

    messages = with_fixes(reading.messages, file, lines, gathered.definitions, gathered.yarns, read_again)
    return reading._replace(messages=messages), made


def _read(text: str | bytes, file: str, folder: Path | None) -> tuple[Reading, Gathered, Pattern | None]:
    gathered = Gathered(file, folder)
    pattern = _pattern(gathered) if gathered.read(text) else None
    messages = in_order(gathered.faults.messages)
    return Reading(None if has_errors(messages) else pattern, messages, gathered.sources), gathered, pattern


def _pattern(gathered: Gathered) -> Pattern:
    """What was gathered, worked out as far as it goes; what is wrong is added to `gathered.faults`."""
    made = stitches(gathered)
    swatches = [each for line in gathered.gauges if (each := swatch(line, gathered)) is not None]
    pieces = {name: whole for name, lines in gathered.pieces.items() if (whole := piece(lines, gathered)) is not None}
    faults = gathered.faults
    if not gathered.definitions and not gathered.lost and not has_errors(faults.messages):
        advice = "stitch ripple\n    1: K T\n    2: K"
        faults.error("N113", "There is no stitch in this file.", Span(gathered.file, 1), advice=advice)
    once = {keyword: word.text for keyword, word in gathered.once.items()}
    return Pattern(
        file=gathered.file,
        stitches=made,
        yarns=gathered.yarns,
        title=once.get("pattern"),
        notes=tuple(gathered.several["note"]),
        by=once.get("by"),
        difficulty=once.get("difficulty"),
        notions=tuple(gathered.several["notion"]),
        photos=tuple(gathered.photos),
        swatches=counted_once([(each.span.file, each) for each in swatches], gathered.sources),
        pieces=pieces,
        sources=gathered.sources,
    )

"""A pattern in its standard layout, proved to mean the same."""

from __future__ import annotations

from pathlib import Path

from stitchc.messages import Message, Refused
from stitchc.notation.compile import Reading, compile_text
from stitchc.notation.gather import MOST_BYTES
from stitchc.notation.layout import lay_out, same_meaning


def format_text(text: str | bytes, file: str = "pattern.stitch", folder: Path | None = None) -> str:
    """The text of a pattern in the standard layout. file, folder: as for `compile_text`.

    Raises Refused: N… where the text does not compile, N110 where it would be too large, F504 where the layout would
    change what it means.
    """
    return formatted(text, file, folder)[0]


def formatted(text: str | bytes, file: str, folder: Path | None) -> tuple[str, Reading]:
    """As `format_text`, with what was read, for its messages."""
    reading = compile_text(text, file, folder)
    if reading.pattern is None:
        raise Refused(*reading.messages, sources=reading.sources)
    before = text.decode("utf-8") if isinstance(text, bytes) else text
    after = lay_out(before.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n"))
    size = len(after.encode("utf-8"))
    if size > MOST_BYTES:
        words = f"`{file}` would have {size:,} bytes in the standard layout; a pattern has at most {MOST_BYTES:,}."
        raise Refused(Message("N110", "error", words, advice="Put a part of it into another file, and include that."))
    again = compile_text(after, file, folder).pattern
    if again is None or not same_meaning(reading.pattern, again) or lay_out(after) != after:
        words = f"`{file}` has a line that the standard layout would change in meaning, so it was left as it is."
        advice = "Lay it out by hand, and please send the file to whoever gave you stitchc."
        raise Refused(Message("F504", "error", words, advice=advice))
    return after, reading

"""A digest that a file of ours carries of itself, so that one that somebody has changed since is known; and a second
one of what it was made from, so that another source does not write over it.

Bytes in, bytes out: it knows where each kind of file has room for a few figures, and opens none.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterable
from typing import Final, NamedTuple

from stitchc.messages import escaped

LOOK: Final = 4096
"""The seal lies in so many bytes at the end of a file."""

_BYTES: Final = 6
_SOURCE_BYTES: Final = 3
_FIGURES: Final = rb"([0-9a-f]{%d})([0-9a-f]{%d})?" % (2 * _BYTES, 2 * _SOURCE_BYTES)
_WORDS: Final = b"once you edit this file, stitchc keeps it"

_TEXT: Final = b"(stitchc %s: " + _WORDS + b".)\n"
_MARKUP: Final = b"<!-- stitchc %s: " + _WORDS + b" -->\n"
_PDF: Final = b"%% stitchc %s\n"
_PNG: Final = b"tEXtDigest\0stitchc %s"
_PNG_END: Final = b"\0\0\0\0IEND\xaeB`\x82"
_BLANKS: Final = bytes.maketrans(b"01", b" \t")
_BITS: Final = bytes.maketrans(b" \t", b"01")

_SEALS: Final = tuple(
    re.compile(pattern, re.DOTALL)
    for pattern in (
        rb"(?<=\n)\(stitchc " + _FIGURES + rb": [^\r\n]*\)\r?\n?\Z",
        rb"(?<=\n)<!-- stitchc " + _FIGURES + rb": [^\r\n]* -->\r?\n?\Z",
        rb"(?<=\n)% stitchc " + _FIGURES + rb"\n(?=startxref\s+[0-9]+\s+%%EOF\s*\Z)",
        rb"\0\0\0.tEXtDigest\0stitchc " + _FIGURES + rb"....(?=" + re.escape(_PNG_END) + rb"\Z)",
        rb"(?<=\n)([ \t]{%d})([ \t]{%d})?\r?\n?\Z" % (8 * _BYTES, 8 * _SOURCE_BYTES),
    )
)
_JSON: Final = re.compile(rb"\s*\[?\s*\{\s*\"format\":\s*\"stitchc-")
_MARKUPS: Final = (b"<!doctype html", b"<?xml", b"<svg", b"<html")


class Seal(NamedTuple):
    """A seal within some bytes: it stands there from `start` to `end`. digest: of all that is not the seal. source: of
    the name of what it was made from, "" where it does not say."""

    start: int
    end: int
    digest: str
    source: str = ""


def sealed(content: bytes, source: str = "") -> bytes:
    """The content with its digest in a place that its kind has for such things. source: the name of what it was made
    from.

    A comment at the end of HTML and SVG, a line at the end of text, a text chunk of a PNG, a comment of a PDF. JSON has
    no comments: there the bits are blanks and tabs in a last line. Nothing else in the file changes, and the same
    content gives the same bytes.
    """
    if content.startswith(b"\x89PNG\r\n\x1a\n") and content.endswith(_PNG_END):
        chunk = _PNG % _figures(content, source)
        length, check = (len(chunk) - 4).to_bytes(4, "big"), zlib.crc32(chunk).to_bytes(4, "big")
        return content.removesuffix(_PNG_END) + length + chunk + check + _PNG_END
    if content.startswith(b"%PDF"):
        place = content.rfind(b"\nstartxref") + 1
        return content[:place] + _PDF % _figures(content, source) + content[place:] if place else content
    content += b"" if content.endswith(b"\n") else b"\n"
    figures = _figures(content, source)
    if _JSON.match(content[:LOOK]):
        bits = f"{int(figures, 16):0{4 * len(figures)}b}".encode()
        return content + bits.translate(_BLANKS) + b"\n"
    markup = content[:LOOK].lstrip(b"\xef\xbb\xbf \t\r\n").lower().startswith(_MARKUPS)
    return content + (_MARKUP if markup else _TEXT) % figures


def finished(content: bytes, signed: bool = True, source: str = "") -> bytes:
    """A product's file as it is written: JSON without a character that a terminal would obey, and with its seal if it
    is signed. source: the name of what it was made from."""
    if content.startswith((b"{", b"[")) and not content.isascii():
        content = escaped(content.decode()).encode()
    return sealed(content, source) if signed else content


def seal_of(tail: bytes) -> Seal | None:
    """The seal in the last LOOK bytes of a file, or None where it has none, or something after it."""
    for kind in _SEALS:
        match = kind.search(tail)
        if match is not None:
            figures = b"".join(part for part in match.groups() if part)
            if not figures.strip():
                figures = b"%0*x" % (len(figures) // 4, int(figures.translate(_BITS), 2))
            text = figures.decode()
            return Seal(match.start(), match.end(), text[: 2 * _BYTES], text[2 * _BYTES :])
    return None


def source_of(content: bytes) -> str:
    """What the seal of some content says of its source, "" where it says nothing."""
    seal = seal_of(content[-LOOK:])
    return seal.source if seal else ""


def _figures(content: bytes, source: str) -> bytes:
    of_source = digest([source.encode("utf-8", "replace")])[: 2 * _SOURCE_BYTES] if source else ""
    return (digest([content]) + of_source).encode()


def digest(pieces: Iterable[bytes]) -> str:
    """Figures that tell whether any byte is another; line ends may be those of any system."""
    import hashlib

    state = hashlib.blake2b(digest_size=_BYTES)
    for piece in pieces:
        state.update(piece.replace(b"\r", b""))
    return state.hexdigest()

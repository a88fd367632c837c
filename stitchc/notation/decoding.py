"""A file's bytes to text, or in words what kind of file it is instead."""

from __future__ import annotations

from typing import Final

from stitchc.messages import Message, Span

_SAVE_AS_TEXT: Final = "Give the pattern's own file, or save it as plain text (UTF-8) from a text editor."
_SAVE_AS_UTF_8: Final = "Save the file again with the encoding UTF-8."

_DOCUMENTS: Final = {
    b"PK\x03\x04": "a document of a word processor or a packed folder",
    b"\xd0\xcf\x11\xe0": "a document of a word processor",
    b"{\\rtf": "a document of a word processor",
    b"%PDF": "a PDF",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"GIF8": "a picture",
}
"""First bytes of files that a pattern is taken for or written in by mistake; no line of the notation begins so."""


def decoded(raw: str | bytes, file: str) -> tuple[str, Message | None]:
    """The text with "\\n" line ends and no byte-order mark, and N112 if the bytes are not UTF-8 text.

    With N112 the text is what can be shown of the file; it is not to be read.
    """
    if isinstance(raw, str):
        return _with_plain_line_ends(raw), None
    kind = next((kind for begins, kind in _DOCUMENTS.items() if raw.startswith(begins)), None)
    if kind is not None:
        return "", Message("N112", "error", f"The file is {kind}, not plain text.", Span(file, 1), advice=_SAVE_AS_TEXT)
    if (wide := _utf_16(raw)) is not None:
        text = _with_plain_line_ends(raw.decode(wide, "replace"))
        return text, Message("N112", "error", "The file is UTF-16, not UTF-8.", Span(file, 1), advice=_SAVE_AS_UTF_8)
    try:
        return _with_plain_line_ends(raw.decode("utf-8")), None
    except UnicodeDecodeError as error:
        wrong = error.start
    before = _with_plain_line_ends(raw[:wrong].decode("utf-8", "replace"))
    place = Span(file, before.count("\n") + 1, len(before) - before.rfind("\n"))
    sentence = f"The byte 0x{raw[wrong]:02x} is not UTF-8 here."
    text = _with_plain_line_ends(raw.decode("utf-8", "replace"))
    return text, Message("N112", "error", sentence, place, advice=_SAVE_AS_UTF_8)


def _with_plain_line_ends(text: str) -> str:
    text = text.removeprefix("\ufeff")
    return text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text


def _utf_16(raw: bytes) -> str | None:
    """The codec of a text in UTF-16, told by its mark or by the empty half of every plain letter; None for another."""
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16"
    if len(raw) >= 4 and raw.count(0) * 5 > len(raw) * 2:
        return "utf-16-le" if raw[1::2].count(0) > raw[::2].count(0) else "utf-16-be"
    return None

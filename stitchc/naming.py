"""What files are called: a stem out of a title and names, that any file system takes and that no two share.

Knows text alone; where a file goes is another's business.
"""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from stitchc.messages import STANDARD_INPUT

if TYPE_CHECKING:
    from stitchc.pattern import Pattern, Stitch


def file_stem(*parts: str) -> str:
    """A file name's stem out of a title or names: letters, digits, - and _; never empty, never a device's name, and
    short enough for an ending of 60 letters in any script."""
    text = "-".join(part for part in parts if part)
    text = _cut(re.sub(r"[^\w-]+", "-", _storable(unicodedata.normalize("NFC", text))).strip("-_.").lower(), 80)
    return f"{text}-pattern" if is_device(text) else text or "pattern"


def is_device(stem: str) -> bool:
    """Whether some system takes a file of this name for a device, whatever its ending."""
    ports = {f"{port}{n}" for port in ("com", "lpt") for n in "0123456789¹²³"}
    return stem.split(".")[0].strip().lower() in {"con", "prn", "aux", "nul", *ports}


def _storable(text: str) -> str:
    """The text, or without accents and other letters where the system is set up to store only a few (no UTF-8)."""
    try:
        os.fsencode(text)
        return text
    except UnicodeEncodeError:
        return unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()


def _cut(text: str, most: int) -> str:
    """At most so many letters, and twice as many bytes: file systems count bytes."""
    return text[:most].encode("utf-8", "replace")[: 2 * most].decode("utf-8", "ignore").rstrip("-")


def name_of(pattern: Pattern) -> str:
    """What files made of the pattern begin with: its own file's name without the ending; of standard input its title.

    Two files with one title so have files of their own.
    """
    return (pattern.title or "") if pattern.file == STANDARD_INPUT else Path(pattern.file).stem


def stems(pattern: Pattern, stitches: Sequence[Stitch]) -> dict[str, str]:
    """A file name's stem for each stitch, by its name: the pattern's name and the stitch, no two alike.

    Numbered among all stitches of the pattern, so that a stitch has the same file whichever others are chosen.
    """
    numbers = numbered([*pattern.stitches, *(stitch.name for stitch in stitches)], name_of(pattern))
    return {stitch.name: numbers[stitch.name] for stitch in stitches}


def numbered(names: Iterable[str], title: str = "") -> dict[str, str]:
    """A file name's stem for each name, the title (what they all begin with) before it.

    Names that differ in capitals only, in what a file name can't hold, or past the length of one, get a number; so do
    those that some file systems take for the same (ß and ss, ﬁ and fi).
    """
    stem_of: dict[str, str] = {}
    taken: set[str] = set()
    for whole in dict.fromkeys(names):
        name = _cut(file_stem(whole), 44)
        first = stem = file_stem(_cut(file_stem(title), 75 - len(name)) if title.strip() else "", name)
        number = 2
        while (alike := unicodedata.normalize("NFKC", stem).casefold()) in taken:
            stem = f"{first}-{number}"
            number += 1
        taken.add(alike)
        stem_of[whole] = stem
    return stem_of

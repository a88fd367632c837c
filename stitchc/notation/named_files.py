"""The files that a pattern names: where they lie, in the pattern's folder or below it, and what is in them."""

from __future__ import annotations

import itertools
import os
import re
from pathlib import Path
from typing import Final, NamedTuple

from stitchc import files
from stitchc.messages import Message
from stitchc.notation.tree import Word
from stitchc.notation.vocabulary import nearest


class FileKind(NamedTuple):
    """What a line names. line: how it is written, {} for the path. needed: what a folder of its own is needed for."""

    line: str
    example: str
    content: str
    needed: str

    @property
    def keyword(self) -> str:
        """The word that the line begins with."""
        return self.line.split()[0]


INCLUDE: Final = FileKind('include "{}"', "grounds.stitch", "a pattern", "include files")
PHOTO: Final = FileKind('photo "{}" "the cowl, worn"', "front.jpg", "a picture", "show photos")


def place_below(path: Word, kind: FileKind, folder: Path | None, here: Path) -> Path | Message:
    """Where the file lies, or N114 where that is not in the top file's folder or below it.

    folder: the top file's; None where it has none. here: what the path starts from.
    """
    if folder is None:
        text = f"A pattern without a folder of its own cannot {kind.needed}."
        return Message("N114", "error", text, path.span, advice="Save the pattern in a file, and check that.")
    if (wrong := _not_a_path_below(path, kind)) is not None:
        return wrong
    real = real_path(here / path.text)
    if not real.is_relative_to(real_path(folder)):
        text = f"`{path.shown}` lies outside the pattern's folder."
        advice = f"Copy it to the pattern's folder, and {'include' if kind is INCLUDE else 'name'} the copy."
    elif os.path.exists(real) and not (os.path.isfile(real) or os.path.isdir(real)):  # noqa: PTH110, PTH112, PTH113
        text, advice = f"`{path.shown}` is not a file with {kind.content}.", kind.line.format(kind.example)
    else:
        return here / path.text
    return Message("N114", "error", text, path.span, advice=advice)


def content_of(path: Word, kind: FileKind, target: Path, here: Path, most: int) -> bytes | Message:
    """What is in the file (one byte over `most` at the most), or N114 with the name of the file that was meant."""
    try:
        return files.read_bytes(str(target), most)
    except files.FileTrouble as trouble:
        near = None if os.path.isfile(target) else _neighbour(target, Path(kind.example).suffix)  # noqa: PTH113
        advice = kind.line.format(os.path.relpath(near, here)) if near else "Check the name and the folder."
        advice = trouble.messages[0].advice if trouble.messages[0].advice == files.ALLOW_READING else advice
        text = trouble.messages[0].text.replace(str(target), path.shown)
        return Message("N114", "error", text, path.span, advice=advice)


def real_path(path: Path) -> Path:
    """The path with links followed, as far as it exists; a loop of links counts as itself."""
    try:
        return path.resolve()
    except (OSError, RuntimeError, ValueError):
        return path.absolute()


def _not_a_path_below(path: Word, kind: FileKind) -> Message | None:
    """N114 where it is no path that could lie below a folder, on any system."""
    wanted = path.text
    if not wanted.strip():
        text, advice = f"This {kind.keyword} names no file.", kind.line.format(kind.example)
    elif "\\" in wanted:
        plain = wanted.replace("\\", "/")
        text = f"`{path.shown}`: a path in a pattern is written with `/`."
        advice = kind.line.format(plain.rsplit("/", 1)[-1] if re.match("/|[A-Za-z]:", plain) else plain)
    elif "\0" in wanted or Path(wanted).is_absolute() or re.match(r"[A-Za-z]:", wanted):
        text = f"`{path.shown}` is not a path below the pattern's folder."
        advice = (
            f"{kind.line.format(re.split('[/:]', wanted)[-1] or kind.example)}   (a file in the folder of the pattern)"
        )
    else:
        return None
    return Message("N114", "error", text, path.span, advice=advice)


def _neighbour(target: Path, suffix: str) -> Path | None:
    """The file that was probably meant: the first in a folder that was named, else the nearest name beside it."""
    if os.path.isdir(target):  # noqa: PTH112
        return next(iter(_files_in(target, suffix)), None)
    stems = {path.stem: path for path in _files_in(target.parent, target.suffix or suffix)}
    near = nearest(target.stem, stems)
    return stems[near] if near else None


def _files_in(folder: Path, suffix: str) -> list[Path]:
    try:
        entries = (entry for entry in folder.iterdir() if entry.suffix.lower() == suffix.lower())
        return sorted(itertools.islice(entries, 500))
    except (OSError, ValueError):
        return []

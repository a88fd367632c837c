"""Writing without harm: beside the target, then renamed; never over a file that stitchc did not make.

The only module that writes; reading is here too, so that every refusal of the file system is worded in one place.
"""

from __future__ import annotations

import contextlib
import os
import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path

from stitchc.messages import Message, Refused

MARK = b"stitchc"
"""Every file stitchc writes holds this word in its first or last 4 KiB, as its form allows: a PNG text chunk, the
PDF producer, an HTML generator tag, the JSON `format`, a comment. It is how a file of ours is told from another's."""

_LOOK = 4096
_MOST_READ = 4 * 1024 * 1024


class FileTrouble(Refused):
    """The file system refused, or writing would have cost the user a file (exit status 3)."""


def read_bytes(path: str, most: int = _MOST_READ) -> bytes:
    """The file's bytes ("-" is standard input), at most one byte over `most`, so that a caller can tell it is over.

    Raises FileTrouble F501.
    """
    try:
        if path == "-":
            return sys.stdin.buffer.read(most + 1)
        with Path(path).open("rb") as stream:
            return stream.read(most + 1)
    except (OSError, ValueError) as error:
        raise FileTrouble(
            Message("F501", "error", f"`{path}` can't be read: {reason(error)}.", cure=_read_cure(path))
        ) from None


def write_files(contents: Iterable[tuple[Path, bytes]], force: bool = False) -> list[Path]:
    """Write every file or none: all are written beside their targets first, then renamed into place.

    Refuses (F503) a target that is there already and was not made by stitchc, unless force. Raises FileTrouble F502
    where the file system refuses; files that stood there before are then as they were.
    """
    staged: list[tuple[Path, Path]] = []
    listed = list(contents)
    path = Path()
    try:
        for path, _ in listed:
            refuse_foreign(path, force)
        for path, content in listed:
            path.parent.mkdir(parents=True, exist_ok=True)
            staged.append((_stage(path, content), path))
        for beside, path in staged:
            beside.replace(path)
    except (OSError, ValueError) as error:
        raise FileTrouble(
            Message(
                "F502",
                "error",
                f"`{path}` can't be written: {reason(error)}.",
                cure="Choose another place with -o, or free room and allow writing there.",
            )
        ) from None
    finally:
        for beside, _ in staged:
            with contextlib.suppress(OSError):
                beside.unlink(missing_ok=True)
    return [path for path, _ in listed]


def refuse_foreign(path: Path, force: bool = False) -> None:
    """Raise FileTrouble F503 if the path holds something stitchc did not make (a folder even with force)."""
    if path.is_dir():
        raise FileTrouble(
            Message("F503", "error", f"`{path}` is a folder, not a file.", cure="Name a file inside it with -o.")
        )
    if force or not os.path.lexists(path):
        return
    if not _is_ours(path):
        raise FileTrouble(
            Message(
                "F503",
                "error",
                f"`{path}` is there already and stitchc did not make it, so it was left as it is.",
                cure="Choose another name with -o, or write over it with --force.",
            )
        )


def _is_ours(path: Path) -> bool:
    if path.suffix.lower() in (".stitch", ".toml"):  # a pattern or profile is the knitter's own, whoever began it
        return False
    try:
        size = path.stat().st_size
        with path.open("rb") as stream:
            head = stream.read(_LOOK)
            stream.seek(max(0, size - _LOOK))
            return size == 0 or MARK in head or MARK in stream.read(_LOOK)
    except OSError:
        return False


def _stage(path: Path, content: bytes) -> Path:
    handle, name = tempfile.mkstemp(prefix=f".{path.name[:40]}.", suffix=".part", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        Path(name).chmod(0o666 & ~_umask())
    except BaseException:
        with contextlib.suppress(OSError):
            Path(name).unlink()
        raise
    return Path(name)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def reason(error: Exception) -> str:
    """Why the file system refused, in plain words."""
    known = {
        "FileNotFoundError": "it is not there",
        "PermissionError": "permission was refused",
        "IsADirectoryError": "it is a folder",
        "NotADirectoryError": "a part of its path is a file, not a folder",
        "FileExistsError": "a file stands where a folder is needed",
    }
    text = known.get(type(error).__name__) or getattr(error, "strerror", None) or str(error)
    return text[:1].lower() + text[1:]


def _read_cure(path: str) -> str:
    folder = Path(path).parent
    with contextlib.suppress(OSError, ValueError):
        near = sorted(entry.name for entry in folder.glob("*.stitch"))[:5]
        if near:
            return "Patterns in that folder: " + ", ".join(near) + "."
    return "Check the name and the folder; a pattern's name ends in .stitch."

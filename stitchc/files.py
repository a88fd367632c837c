"""Writing without harm: beside the target, then renamed; never over a file that stitchc did not make.

The only module that writes; reading is here too, so that every refusal of the file system is worded in one place.

A link is never replaced, and never written through unless force is given: then the file that it names is written and
the link stays. Devices and pipes, folders and write-protected files are never written over. What a process that was
killed leaves behind is beside the target and called `.stitchc-….part`.
"""

from __future__ import annotations

import contextlib
import os
import stat
import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import NoReturn

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
            if sys.stdin is None:
                raise ValueError("standard input is closed")
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
    where the file system refuses; files that stood there before are then as they were, and folders made for the
    others are gone again. A file that is replaced keeps its permissions.
    """
    staged: list[tuple[Path, Path]] = []
    made: list[Path] = []
    listed = list(contents)
    path = Path()
    done = False
    try:
        for path, _ in listed:
            refuse_foreign(path, force)
        for path, content in listed:
            target = path.resolve() if path.is_symlink() else path
            _make_folder(target.parent, made)
            staged.append((_stage(target, content), target))
        for beside, path in staged:
            beside.replace(path)
        done = True
    except (OSError, ValueError) as error:
        raise _cannot_write(path, error) from None
    finally:
        for beside, _ in staged:
            with contextlib.suppress(OSError):
                beside.unlink(missing_ok=True)
        if not done:
            for folder in reversed(made):
                with contextlib.suppress(OSError):
                    folder.rmdir()
    return [path for path, _ in listed]


def refuse_foreign(path: Path, force: bool = False) -> None:
    """Raise FileTrouble F503 if the path holds something stitchc did not make, or a link.

    Even with force for what can't be written over: a folder, a device or pipe, a write-protected file. Raises F502
    where the file system won't even say what is there.
    """
    try:
        standing = path.lstat()
        if stat.S_ISLNK(standing.st_mode):
            if not force:
                _refuse(
                    f"`{path}` is a link to `{path.readlink()}`, so it was left as it is.",
                    "Choose another name with -o, or write the file that it names with --force.",
                )
            standing = path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return  # free, or for the writing to find out
    except (OSError, ValueError) as error:
        raise _cannot_write(path, error) from None
    if stat.S_ISDIR(standing.st_mode):
        _refuse(f"`{path}` is a folder, not a file.", "Name a file inside it with -o.")
    if not stat.S_ISREG(standing.st_mode):
        _refuse(f"`{path}` is a device or a pipe, not a file.", "Name a file with -o.")
    if not os.access(path, os.W_OK):
        _refuse(f"`{path}` is write-protected.", "Choose another name with -o, or allow writing on it.")
    if not force and not _is_ours(path):
        _refuse(
            f"`{path}` is there already and stitchc did not make it, so it was left as it is.",
            "Choose another name with -o, or write over it with --force.",
        )


def _cannot_write(path: Path, error: Exception) -> FileTrouble:
    text = f"`{path}` can't be written: {reason(error)}."
    cure = "Choose another place with -o, or free room and allow writing there."
    return FileTrouble(Message("F502", "error", text, cure=cure))


def _refuse(text: str, cure: str) -> NoReturn:
    raise FileTrouble(Message("F503", "error", text, cure=cure))


def is_marked(content: bytes) -> bool:
    """Whether content written to a file would be known as ours."""
    return not content or MARK in content[:_LOOK] or MARK in content[-_LOOK:]


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


def _make_folder(folder: Path, made: list[Path]) -> None:
    """The folder and those above it that are not there, each noted in `made`, outermost first."""
    lacking = []
    while not folder.exists():
        lacking.append(folder)
        folder = folder.parent
    for each in reversed(lacking):
        with contextlib.suppress(FileExistsError):  # somebody else has just made it
            each.mkdir()
            made.append(each)


def _stage(path: Path, content: bytes) -> Path:
    """The content beside its target, on the disk, with the permissions the target has or would get."""
    handle, name = tempfile.mkstemp(prefix=f".stitchc-{path.name[:40]}-", suffix=".part", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        Path(name).chmod(_mode(path))
    except BaseException:
        with contextlib.suppress(OSError):
            Path(name).unlink()
        raise
    return Path(name)


def _mode(path: Path) -> int:
    try:
        return stat.S_IMODE(path.stat().st_mode) & 0o777
    except FileNotFoundError:
        mask = os.umask(0)
        os.umask(mask)
        return 0o666 & ~mask


def reason(error: Exception) -> str:
    """Why the file system refused, in plain words."""
    known = {
        "FileNotFoundError": "it is not there",
        "PermissionError": "permission was refused",
        "IsADirectoryError": "it is a folder",
        "NotADirectoryError": "a part of its path is a file, not a folder",
        "FileExistsError": "a file stands where a folder is needed",
        "UnsupportedOperation": "standard output is closed",
    }
    text = known.get(type(error).__name__) or getattr(error, "strerror", None) or str(error)
    return text[:1].lower() + text[1:]


def _read_cure(path: str) -> str:
    if path == "-":
        return "Name a file, or send the pattern in: stitchc … - < cowl.stitch"
    folder = Path(path).parent
    if Path(path).suffix.lower() in (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".bmp", ".gif", ".webp"):
        return "Check the name and the folder of the picture."
    with contextlib.suppress(OSError, ValueError):
        near = sorted(entry.name for entry in folder.glob("*.stitch"))[:5]
        if near:
            return "Patterns in that folder: " + ", ".join(near) + "."
    return "Check the name and the folder; a pattern's name ends in .stitch."

"""Writing without harm: beside the target, then renamed; never over a file that stitchc did not make, or that was
changed since.

The only module that writes; reading is here too, so that every refusal of the file system is worded in one place.

A link is never replaced, and never written through unless force is given: then the file that it names is written and
the link stays. Devices and pipes, folders, write-protected files and whatever was read in the same run are never
written over. What a process that was killed leaves behind is beside the target and called `.stitchc-….part`.
"""

from __future__ import annotations

import contextlib
import os
import stat
import sys
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import BinaryIO, Final, NoReturn

from stitchc.english import listed
from stitchc.messages import STANDARD_INPUT as STANDARD_INPUT
from stitchc.messages import Message, Refused

MARK = b"stitchc"
"""Every file stitchc writes holds this word in its first or last 4 KiB, as its form allows: a PNG text chunk, the
PDF producer, an HTML generator tag, the JSON `format`, a comment. It is how a file of ours is known from another's;
its seal tells whether it was changed since."""

_MOST_READ: Final = 4 * 1024 * 1024
_PIECE: Final = 1024 * 1024
_WAIT_S: Final = 2.0
"""How long a pipe or device with a name of its own may take until something comes."""

_read: dict[str, str] = {}
"""What was read in this run, by its full path, as it was called ("-": standard input): nothing is written over it."""


def begin() -> None:
    """A new run of the command line: what an earlier one in this process read may be written over again."""
    _read.clear()


class FileTrouble(Refused):
    """The file system refused, or writing would have cost the user a file (exit status 3)."""


def cache_folder() -> Path | None:
    """Where what took long may be remembered between runs, by the system's custom; None where the user has no home."""
    import platformdirs

    try:
        folder = platformdirs.user_cache_path("stitchc", appauthor=False)
    except (OSError, RuntimeError):
        return None
    return folder if folder.is_absolute() else None  # "~" that nobody could resolve is no place of the user's own


def make_private_folder(folder: Path) -> Path | None:
    """The folder, made so that only the user can read what is in it; None where that can't be."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        folder.chmod(0o700)
    except OSError:
        return None
    return folder


def remove(path: Path) -> None:
    """Take away a file that we made for ourselves, if it is there."""
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)


def read_bytes(path: str, most: int = _MOST_READ, picture: bool = False) -> bytes:
    """The file's bytes ("-" is standard input), at most one byte over `most`, so that a caller can tell it is over.

    A pipe of the shell's (`<(…)`, /dev/stdin) is waited for as standard input is. A pipe or device that stands in a
    folder is given two seconds to begin: a script's pipe has its writer by then, and a stray one stops nobody.
    picture: one is wanted, and no pattern. Raises FileTrouble F501.
    """
    try:
        if path == "-":
            if sys.stdin is None:
                raise ValueError("standard input is closed")
            _say_where_to_type(sys.stdin.isatty())
            content = sys.stdin.buffer.read(most + 1)
        else:
            with _opened(path) as stream:
                content = stream.read(most + 1)
        _read.setdefault(path if path == "-" else str(Path(path).absolute()), path)
        return content
    except (OSError, ValueError) as error:
        text = f"`{path}` can't be read: {reason(error)}."
        raise FileTrouble(Message("F501", "error", text, advice=_read_advice(path, error, picture))) from None


def _opened(path: str) -> BinaryIO:
    """The file, opened for reading; TimeoutError where a pipe or device by name has nothing to give."""
    number = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        kind = os.fstat(number).st_mode
        if stat.S_ISDIR(kind):
            raise IsADirectoryError
        if not stat.S_ISREG(kind) and hasattr(os, "set_blocking"):
            _say_where_to_type(os.isatty(number))
            if not os.isatty(number) and not path.startswith(("/dev/fd/", "/dev/stdin", "/proc/")):
                _wait_for(number)
            os.set_blocking(number, True)
        return os.fdopen(number, "rb")
    except BaseException:
        os.close(number)
        raise


def _wait_for(number: int) -> None:
    import select

    if not hasattr(select, "poll"):
        return
    waiting = select.poll()
    waiting.register(number, select.POLLIN)
    if not waiting.poll(_WAIT_S * 1000):
        raise TimeoutError(f"it is a pipe or device, and it sent nothing within {_WAIT_S:g} seconds")


def _say_where_to_type(at_a_terminal: bool) -> None:
    if at_a_terminal and sys.stderr is not None:
        print("Type or paste the text here; Ctrl-D on a line of its own ends it, Ctrl-C gives up.", file=sys.stderr)


def write_files(
    contents: Iterable[tuple[Path, bytes | None]], force: bool = False, in_place: bool = False
) -> list[Path]:
    """Write every file or none, and return their paths: all are written beside their targets, then renamed in order.

    None in place of bytes takes the file away. The same path may come twice: the later content stands in the end.
    Refuses (F503) a target that is there already and was not made by stitchc, was changed since, or was made from
    another source, unless force; and, force or not, what was read in this run, unless in_place. Raises FileTrouble F502
    where the file system refuses; then what stood there before stands there again, and folders made for the others are
    gone. A file that is replaced keeps its permissions.
    """
    from stitchc import seal

    work = _Writing()
    listed = list(contents)
    path = Path()
    try:
        for path, content in listed:
            refuse_foreign(path, force, in_place, seal.source_of(content) if content is not None else "")
        for path, content in listed:
            work.stage(path, content)
        for path, _ in listed:  # noqa: B007 (named where it fails)
            work.put_next()
        work.done = True
    except FileTrouble as trouble:
        if in_place:  # no other name will do
            raise FileTrouble(*(each._replace(advice=_ALLOW_WRITING) for each in trouble.messages)) from None
        raise _with_the_others(trouble, len(listed)) from None
    except (OSError, ValueError) as error:
        raise _with_the_others(_cannot_write(path, error, in_place), len(listed)) from None
    finally:
        work.tidy()
    return list(dict.fromkeys(path for path, content in listed if content is not None))


class _Writing:
    """Files on their way into place. Whatever is made is noted before it is there, so that whoever stops the program
    in between leaves nothing behind."""

    def __init__(self) -> None:
        self.done = False
        self._staged: list[tuple[Path | None, Path]] = []
        self._kept: dict[Path, Path | None] = {}
        self._made: list[Path] = []
        self._count = 0

    def stage(self, path: Path, content: bytes | None) -> None:
        target = _place(path)
        target = target.resolve() if target.is_symlink() else target
        if content is None:
            self._staged.append((None, target))
            return
        _make_folder(target.parent, self._made)
        self._staged.append((_beside(target), target))
        _stage(*self._staged[-1], content)  # type: ignore[arg-type]

    def put_next(self) -> None:
        """Rename the next of the staged files into place, and keep what stood there until all is done."""
        beside, target = self._staged[self._count]
        self._count += 1
        if target not in self._kept and (len(self._staged) > 1 or beside is None):
            self._kept[target] = _beside(target) if target.exists() else None
            _copy(target, self._kept[target])
        if beside is not None:
            beside.replace(target)
        else:
            target.unlink(missing_ok=True)

    def tidy(self) -> None:
        """Take away what was staged or kept; where not all was done, put back what stood there before."""
        if not self.done:
            for target, kept in reversed(self._kept.items()):
                with contextlib.suppress(OSError):
                    kept.replace(target) if kept is not None else target.unlink(missing_ok=True)
        for path in (*(beside for beside, _ in self._staged), *self._kept.values()):
            if path is not None:
                with contextlib.suppress(OSError):
                    path.unlink(missing_ok=True)
        if not self.done:
            for folder in reversed(self._made):
                with contextlib.suppress(OSError):
                    folder.rmdir()


def _copy(target: Path, kept: Path | None) -> None:
    """A second name for the file, or a copy where the file system knows no second names."""
    if kept is None:
        return
    try:
        os.link(target, kept)
    except OSError:
        import shutil

        shutil.copy2(target, kept)


def refuse_foreign(path: Path, force: bool = False, in_place: bool = False, source: str = "") -> None:
    """Raise FileTrouble F503 if the path holds something stitchc did not make, or that was changed since, or a link, or
    something made from another source. source: as `seal.source_of` gives it.

    Even with force for what can't be written over: a folder, a device or pipe, a write-protected file, and what was
    read in this run (unless in_place). Raises F502 where the file system won't even say what is there.
    """
    try:
        place = _place(path)
        standing = place.lstat()
        if not in_place:
            _refuse_what_was_read(path, place)
        if stat.S_ISLNK(standing.st_mode):
            if not force:
                _refuse(
                    f"`{path}` is a link to `{place.readlink()}`, so it was left as it is.",
                    "Choose another name with -o, or overwrite the file that it points to with --force.",
                )
            standing = place.stat()
    except (FileNotFoundError, NotADirectoryError):
        return  # free, or for the writing to find out
    except (OSError, ValueError) as error:
        raise _cannot_write(path, error) from None
    if stat.S_ISDIR(standing.st_mode):
        _refuse(f"`{path}` is a folder, not a file.", "Name a file inside it with -o.")
    if not stat.S_ISREG(standing.st_mode):
        _refuse(f"`{path}` is a device or a pipe, not a file.", "Name a file with -o.")
    if not os.access(place, os.W_OK):
        _refuse(f"`{path}` is write-protected.", "Choose another name with -o, or allow writing on it.")
    if force:
        return
    whose = _whose(place, source)
    if whose != "ours":
        instead = (
            "rename that file to keep it; --force overwrites it" if whose == "changed" else "overwrite it with --force"
        )
        _refuse(f"`{path}` {_WHY[whose]}, so it was left as it is.", f"Choose another name with -o, or {instead}.")


_WHY: Final = {
    "another's": "was made from another file",
    "written by hand": "already exists and may hold your own work",
    "theirs": "already exists and stitchc did not make it",
    "changed": "was changed since stitchc made it",
}


def _place(path: Path) -> Path:
    """The path with its folder's links and dots resolved, so that `new/../name` is `name` before `new` is there too."""
    return Path(os.path.realpath(path.parent)) / path.name


def _refuse_what_was_read(path: Path, place: Path) -> None:
    """By whatever name, link or spelling: it is asked of the file system."""
    try:
        standing = place.stat()
    except OSError:
        return  # a link to nothing
    for read, called in _read.items():
        try:
            same = os.path.samestat(standing, os.fstat(0) if read == "-" else Path(read).stat())
        except (OSError, ValueError):
            continue
        if same and stat.S_ISREG(standing.st_mode):
            also = "" if called == str(path) else f" `{called}`," if read != "-" else " on standard input,"
            text = f"`{path}` is{also} what this is made from, so it was left as it is."
            _refuse(text, "Choose another name with -o.")


def refuse_any_foreign(paths: Iterable[Path], force: bool = False) -> None:
    """`refuse_foreign` for all of them, with the message about each in one FileTrouble."""
    messages: list[Message] = []
    paths = list(paths)
    for path in paths:
        try:
            refuse_foreign(path, force)
        except FileTrouble as trouble:
            messages += trouble.messages
    if messages:
        raise _with_the_others(FileTrouble(*messages), len(paths))


def _with_the_others(trouble: FileTrouble, count: int) -> FileTrouble:
    """The same, saying what became of the other files. count: of all that were to be written together. They belong
    together: a new card beside the sheet of an older pattern would mislead whoever knits from them."""
    *before, last = trouble.messages
    text = f"{last.text} No other file was written either." if count > 1 else last.text
    return FileTrouble(*before, last._replace(text=text))


def _cannot_write(path: Path, error: Exception, in_place: bool = False) -> FileTrouble:
    why = reason(error)
    if isinstance(error, FileNotFoundError):  # of a file to be made, it is the folder that is wrong
        why = "its folder takes no new files" if path.parent.is_dir() else "its folder is not there"
    text = f"`{path}` can't be written: {why}."
    advice = "Choose another place with -o, or free some space and allow writing there."
    return FileTrouble(Message("F502", "error", text, advice=_ALLOW_WRITING if in_place else advice))


def _refuse(text: str, advice: str) -> NoReturn:
    raise FileTrouble(Message("F503", "error", text, advice=advice))


def is_the_users(path: Path) -> bool:
    """Whether a file of this name is the knitter's own, whoever began it: a pattern or a machine's profile."""
    return path.suffix.lower() in (".stitch", ".toml")


def _whose(path: Path, source: str = "") -> str:
    """ "ours", "another's" (ours, made from another source), "changed" since we made it, "theirs", or "written by
    hand", whoever began it; an empty file is nobody's loss."""
    if is_the_users(path):
        return "written by hand"
    from stitchc import seal

    try:
        with path.open("rb") as stream:
            size = os.fstat(stream.fileno()).st_size
            head = stream.read(seal.LOOK)
            start = max(0, size - seal.LOOK)
            stream.seek(start)
            tail = stream.read(seal.LOOK)
            mark = seal.seal_of(tail)
            if mark is None:
                return "changed" if MARK in head or MARK in tail else "ours" if not size else "theirs"
            rest = (
                piece for span in ((0, start + mark.start), (start + mark.end, size)) for piece in _span(stream, *span)
            )
            if seal.digest(rest) != mark.digest:
                return "changed"
            return "another's" if source and mark.source and mark.source != source else "ours"
    except OSError:
        return "theirs"


def _span(stream: BinaryIO, start: int, end: int) -> Iterator[bytes]:
    """The bytes from one place to another, a piece at a time."""
    stream.seek(start)
    while start < end and (piece := stream.read(min(_PIECE, end - start))):
        start += len(piece)
        yield piece


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


def _beside(target: Path) -> Path:
    """A new name in the target's folder, which says whose it is."""
    return target.with_name(f".stitchc-{target.name[:40]}-{os.urandom(8).hex()}.part")


def _stage(beside: Path, target: Path, content: bytes) -> None:
    """The content in a new file, on the disk, with the permissions the target has or would get."""
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
    with os.fdopen(handle, "wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())
    beside.chmod(_mode(target))


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
        "PermissionError": "you have no permission",
        "IsADirectoryError": "it is a folder",
        "NotADirectoryError": "a part of its path is a file, not a folder",
        "FileExistsError": "a file stands where a folder is needed",
        "UnsupportedOperation": "standard output is closed",
    }
    text = known.get(type(error).__name__) or getattr(error, "strerror", None) or str(error)
    return text[:1].lower() + text[1:]


def _nearest(name: str, there: Sequence[str]) -> str | None:
    """The file whose name is the one asked for but for its ending or a slip of the fingers."""
    import difflib

    if f"{name}.stitch" in there:
        return f"{name}.stitch"
    near = difflib.get_close_matches(name, there, n=1, cutoff=0.8)
    return near[0] if near else None


_PICTURES: Final = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".bmp", ".gif", ".webp")
ALLOW_READING: Final = "Allow reading it (the file's permissions), or ask whose file it is for a copy."
_ALLOW_WRITING: Final = "Allow writing on that file and in its folder, and see that the disk is not full."


def _read_advice(path: str, error: Exception, picture: bool) -> str:
    if path == "-":
        return "Name a file, or send the pattern in: stitchc … - < cowl.stitch"
    if isinstance(error, PermissionError):
        return ALLOW_READING
    folder = Path(path).parent
    if isinstance(error, IsADirectoryError):
        endings, kind = (_PICTURES, "picture") if picture else ((".stitch",), "pattern")
        with contextlib.suppress(OSError, ValueError):
            if inside := sorted(str(each) for each in Path(path).iterdir() if each.suffix.lower() in endings):
                return f"Name a {kind} in it: {', '.join(inside[:5])}."
        return f"Name a file. There is no {kind} in that folder; a {kind}'s name ends in {listed(endings, 'or')}."
    if picture or Path(path).suffix.lower() in _PICTURES:
        return "Check the name and the folder of the picture."
    with contextlib.suppress(OSError, ValueError):
        there = sorted(entry.name for entry in folder.glob("*.stitch"))
        near = _nearest(Path(path).name, there)
        if near:
            return f"{folder / near}"
        if there:
            return "Patterns in that folder: " + ", ".join(there[:5]) + "."
    return "Check the name and the folder; a pattern's name ends in .stitch."


# -- the date -------------------------------------------------------------------------------------------------------


def today() -> str:
    """The date for what is made now, as 2026-05-01; with SOURCE_DATE_EPOCH (seconds since 1970 began, see
    reproducible-builds.org) that one, so that the same pattern gives the same bytes."""
    import datetime

    seconds = os.environ.get("SOURCE_DATE_EPOCH", "")
    if seconds.isascii() and seconds.isdigit() and len(seconds) < 12:
        return datetime.datetime.fromtimestamp(int(seconds), datetime.UTC).date().isoformat()
    return datetime.date.today().isoformat()

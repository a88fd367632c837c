"""Runs the command line in a child process of the test's own, within limits that the system enforces.

The child is forked, so that what is imported already need not be imported again; it has its own standard streams, and
leaves by `os._exit` when the command line has returned. Where there is nothing to limit or to spoil, the command line
is called in the test's own process, which costs a tenth.
"""

from __future__ import annotations

import contextlib
import functools
import gc
import importlib
import io
import os
import pkgutil
import resource
import select
import signal
import sys
import tempfile
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TextIO

import stitchc as package

MOST_SECONDS = 60
PATIENCE = 6
"""Seconds of the clock for each of the processor's: a busy machine lets others take their time."""


@dataclass(frozen=True)
class Result:
    """How a child ended: its exit status (negative: the signal that killed it) and what it printed."""

    status: int
    out: str
    err: str

    @property
    def orderly(self) -> bool:
        """Whether it ended as the command line promises to: a known status, and no traceback or fault of its own."""
        words = self.out + self.err
        return self.status in (0, 1, 2, 3) and "Traceback" not in words and "itself went wrong" not in words


def stitchc(
    *arguments: str,
    folder: Path,
    stdin: bytes = b"",
    before: Callable[[], None] | None = None,
    seconds: int | None = None,
) -> Result:
    """`stitchc ARGUMENTS` in that folder. before: called in the child first, to set limits or spoil something.

    seconds: of the processor's time, where it may be that it never ends."""
    if not stdin and before is None and seconds is None:
        return _called(arguments, folder)

    def job() -> int:
        from stitchc.__main__ import run

        return run(arguments)

    return forked(job, folder, stdin, before, seconds or MOST_SECONDS)


def _called(arguments: Sequence[str], folder: Path) -> Result:
    """In this process, with streams and an environment as a child has them."""
    from stitchc.__main__ import run

    there, environ, given = Path.cwd(), dict(os.environ), sys.stdin
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        try:
            for name in [name for name in os.environ if name.startswith("STITCHC_")]:
                del os.environ[name]
            os.chdir(folder)
            sys.stdin = io.TextIOWrapper(io.BytesIO())
            with (
                _end_of(out) as told,
                _end_of(err) as warned,
                contextlib.redirect_stdout(told),
                contextlib.redirect_stderr(warned),
            ):
                status = run(arguments)
        except BaseException:
            return Result(71, "", traceback.format_exc())
        finally:
            sys.stdin = given
            os.chdir(there)
            os.environ.clear()
            os.environ.update(environ)
        return Result(status, *map(_text_in, (out, err)))


def _end_of(file: IO[bytes]) -> TextIO:
    """A stream into a file, by a number of its own: the command line may put something else in its place."""
    return os.fdopen(os.dup(file.fileno()), "w", encoding="utf-8")


def _text_in(file: IO[bytes]) -> str:
    file.seek(0)
    return file.read().decode("utf-8", "replace")


@functools.cache
def _warm_up() -> None:
    """Import what commands import and make one of each product, once for all children: they inherit it."""
    for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
        if not module.name.endswith(".__main__"):
            importlib.import_module(module.name)
    for name in ("matplotlib.figure", "reportlab.pdfgen.canvas", "scipy.optimize", "scipy.ndimage", "jinja2"):
        importlib.import_module(name)
    pattern = package.compile_text(_SMALL).pattern
    assert pattern is not None
    machines = [package.load_machine(name) for name in ("card24-standard", "hand-standard")]
    package.build_pattern(pattern, machines, package.BuildOptions(pictures=False))


_SMALL = """\
stitch tide
    1: K T
    2: K
gauge plain 20 stitches 28 rows per 10 cm
piece cuff
    width 10 cm
    knit tide for 4 cm
"""


def forked(
    job: Callable[[], int],
    folder: Path,
    stdin: bytes = b"",
    before: Callable[[], None] | None = None,
    seconds: int = MOST_SECONDS,
) -> Result:
    """The job's return value is the child's exit status; an exception's traceback goes to standard error.

    seconds: of the processor's time."""
    _warm_up()
    with tempfile.TemporaryFile() as given:
        given.write(stdin)
        given.seek(0)
        sys.stdout.flush()
        sys.stderr.flush()
        (out, out_end), (err, err_end) = os.pipe(), os.pipe()  # not files, whose size may be limited
        gc.freeze()  # else the child would look through all that it inherits for garbage, and so copy it
        pid = os.fork()
        if pid == 0:
            _be_the_child(job, folder, (given.fileno(), out_end, err_end), before, seconds)
        os.close(out_end)
        os.close(err_end)
        texts = _read_all(out, err)
        _, status = os.waitpid(pid, 0)
    return Result(os.waitstatus_to_exitcode(status), *texts)


def _read_all(*streams: int) -> tuple[str, str]:
    """What comes out of both pipes until their writers are gone."""
    read: dict[int, bytes] = dict.fromkeys(streams, b"")
    open_ones = set(streams)
    while open_ones:
        for stream in select.select(list(open_ones), [], [])[0]:
            chunk = os.read(stream, 1 << 16)
            read[stream] += chunk
            if not chunk:
                os.close(stream)
                open_ones.discard(stream)
    out, err = (read[stream].decode("utf-8", "replace") for stream in streams)
    return out, err


def _be_the_child(
    job: Callable[[], int],
    folder: Path,
    streams: tuple[int, int, int],
    before: Callable[[], None] | None,
    seconds: int,
) -> None:
    status = 70
    try:
        for number, stream in enumerate(streams):
            os.dup2(stream, number)
        sys.stdin = sys.__stdin__ = io.TextIOWrapper(io.BufferedReader(io.FileIO(0, "r", closefd=False)))  # type: ignore[misc]
        sys.stdout = sys.__stdout__ = _writer(1)  # type: ignore[misc]
        sys.stderr = sys.__stderr__ = _writer(2)  # type: ignore[misc]
        os.chdir(folder)
        sys.dont_write_bytecode = True  # a module compiled on a full disk would stay cut off for all later runs
        for name in [name for name in os.environ if name.startswith("STITCHC_")]:
            del os.environ[name]
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 5))
        signal.alarm(PATIENCE * seconds)  # for one that waits for ever
        if before:
            before()
        status = job()
        sys.stdout.flush()
        sys.stderr.flush()
    except BaseException:
        os.write(2, traceback.format_exc().encode())
        status = 71
    finally:
        os._exit(status)


def _writer(number: int) -> io.TextIOWrapper:
    return io.TextIOWrapper(
        io.BufferedWriter(io.FileIO(number, "w", closefd=False)), "utf-8", line_buffering=number == 2
    )


# -- limits, for `before` -------------------------------------------------------------------------------------------


def files_of(most_bytes: int) -> Callable[[], None]:
    """No file may grow past this: every write beyond it is refused, as on a disk that is full."""

    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, most_bytes))

    return limit


def memory_of(more_mb: int) -> Callable[[], None]:
    """At most so much address space beyond what the process has already."""

    def limit() -> None:
        size = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
        most = size + more_mb * 1024 * 1024
        resource.setrlimit(resource.RLIMIT_AS, (most, most))

    return limit


def an_ordinary_user() -> None:
    """Nobody who may write everywhere: root loses what lets it past permissions."""
    if os.geteuid() != 0:
        return
    import ctypes

    libc = ctypes.CDLL(None, use_errno=True)
    header = (ctypes.c_uint32 * 2)(0x20080522, 0)  # capabilities(7), version 3: this process
    data = (ctypes.c_uint32 * 6)()
    assert libc.capget(header, data) == 0, "capabilities can't be read"
    for capability in (1, 2):  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH
        for word in (0, 1):
            data[word] &= ~(1 << capability)
    assert libc.capset(header, data) == 0, "root could not be made an ordinary user"


def environment(**values: str) -> Callable[[], None]:
    """Variables of the environment."""
    return lambda: os.environ.update(values)


def together(*befores: Callable[[], None]) -> Callable[[], None]:
    """One after the other."""

    def all_of_them() -> None:
        for before in befores:
            before()

    return all_of_them


def left_behind(folder: Path) -> Sequence[str]:
    """Half-written files that were not taken away, in the folder or below."""
    return sorted(path.name for path in folder.rglob("*.part"))

"""The entry point: `stitchc` and `python -m stitchc`. Turns every way of failing into words and an exit status."""

from __future__ import annotations

import contextlib
import gc
import io
import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, NoReturn

if TYPE_CHECKING:
    from typing_extensions import Buffer


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit: 0 done, 1 the input has an error, 2 wrong usage, 3 the file system refused."""
    gc.set_threshold(100_000)  # looking for garbage as often as Python does takes a twentieth of a small check's time
    _tidy_when_told_to_stop()
    status = run(sys.argv[1:] if arguments is None else arguments)
    if arguments is None and sys.getprofile() is None and sys.gettrace() is None:
        _leave(status)
    sys.exit(status)


def _leave(status: int) -> NoReturn:
    """End at once: all is written, and taking every module apart again would take a fifth of a small check's time."""
    import atexit

    atexit._run_exitfuncs()  # what libraries clean up behind them
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError, AttributeError):
            stream.flush()
    os._exit(status)


def run(arguments: Sequence[str]) -> int:
    """Run the command line and return the exit status; nothing escapes. 128 and more: a signal, as 130 for Ctrl-C."""
    try:
        _prepare_streams()
        import click

        from stitchc.cli import group

        try:
            result = group.main(list(arguments), prog_name="stitchc", standalone_mode=False)
            sys.stdout.flush()
            return result if isinstance(result, int) else 0
        except click.exceptions.Abort:
            _say("stitchc: stopped")
            return 128 + _told_to_stop_by
        except click.ClickException as error:
            error.show()
            return 2
    except BrokenPipeError:
        _silence_stdout()
        return 0
    except KeyboardInterrupt:
        _say("stitchc: stopped")
        return 128 + _told_to_stop_by
    except SystemExit as error:
        return _flushed(error.code if isinstance(error.code, int) else int(error.code is not None))
    except MemoryError:
        _say("error: there is not enough memory for this on this computer.")
        return 1
    except Exception as error:
        status = _report(error)
        return max(status, _flushed(status))


_told_to_stop_by = 2
"""The number of the signal that ended the program: the one of Ctrl-C, unless it was another."""


def _tidy_when_told_to_stop() -> None:
    """Leave as after Ctrl-C, so that what was written half is taken away, when the system ends the program."""
    import signal

    def stop(number: int, _: object) -> None:
        global _told_to_stop_by
        _told_to_stop_by = number
        raise KeyboardInterrupt

    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is signal.SIG_DFL:
            signal.signal(number, stop)


def _flushed(status: int) -> int:
    """The status, once what was printed has left; 3 where it can't."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _silence_stdout()
    except OSError as error:
        return _report(error)
    return status


def _say(text: str) -> None:
    """A line on standard error, if there is anybody to read it."""
    with contextlib.suppress(OSError, ValueError):
        print(text, file=sys.stderr, flush=True)


def _report(error: Exception) -> int:
    from stitchc.files import FileTrouble, reason
    from stitchc.messages import Refused, render

    if isinstance(error, Refused):
        for message in error.messages:
            _say(render(message, error.sources, colour=False))
        return 3 if isinstance(error, FileTrouble) else 1
    if isinstance(error, OSError):
        _say(f"error: the file system refused: {reason(error)}.")
        _silence_stdout()
        return 3
    if os.environ.get("STITCHC_TRACEBACK"):
        raise error
    _say(
        f"error: stitchc itself went wrong here ({type(error).__name__}: {error}). Nothing was written.\n"
        "       This is a fault in the program, not in your pattern; set STITCHC_TRACEBACK=1 and run again\n"
        "       to see where, and send that with the pattern to whoever gave you stitchc."
    )
    return 1


def _prepare_streams() -> None:
    """Any character can be printed: outside UTF-8 what the terminal lacks is shown escaped, and pipes get UTF-8.

    A stream that was closed before the start is opened on nothing: messages are lost, but printing a result is an
    error of the file system, since a script would take the silence for one.
    """
    if sys.stdin is None:
        os.open(os.devnull, os.O_RDONLY)  # so that no file gets its number
    if sys.stdout is None:
        sys.stdout = open(os.devnull, encoding="utf-8")  # noqa: PTH123, SIM115
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115
    elif (own := sys.__stderr__) is not None and sys.stderr is own:
        heedless = io.BufferedWriter(_Heedless(own.fileno(), "w", closefd=False))
        sys.stderr = io.TextIOWrapper(heedless, own.encoding, line_buffering=True)
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is None:
            continue
        if stream.isatty():
            reconfigure(errors="backslashreplace")
        else:
            reconfigure(encoding="utf-8", errors="backslashreplace", newline="\n")


class _Heedless(io.FileIO):
    """Standard error that nobody need read: a full disk or a gone reader there does not change what is done."""

    def write(self, content: Buffer, /) -> int:
        try:
            return super().write(content) or 0
        except OSError:
            return memoryview(content).nbytes


def _silence_stdout() -> None:
    """Keep Python from complaining again at exit about a pipe whose reader has gone."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError):
        sys.stdout = None


if __name__ == "__main__":
    main()

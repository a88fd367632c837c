"""The entry point: `stitchc` and `python -m stitchc`. Turns every way of failing into words and an exit status."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit: 0 done, 1 the input has an error, 2 wrong usage, 3 the file system refused."""
    sys.exit(run(sys.argv[1:] if arguments is None else arguments))


def run(arguments: Sequence[str]) -> int:
    """Run the command line and return the exit status; nothing escapes but KeyboardInterrupt's status 130."""
    from stitchc.cli import group

    _prepare_streams()
    try:
        import click

        try:
            result = group.main(list(arguments), prog_name="stitchc", standalone_mode=False)
            sys.stdout.flush()
            return result if isinstance(result, int) else 0
        except click.exceptions.Abort:
            print("stitchc: stopped", file=sys.stderr)
            return 130
        except click.ClickException as error:
            error.show()
            return 2
    except BrokenPipeError:
        _silence_stdout()
        return 0
    except KeyboardInterrupt:
        print("stitchc: stopped", file=sys.stderr)
        return 130
    except SystemExit as error:
        return error.code if isinstance(error.code, int) else 1
    except MemoryError:
        print("error: there is not enough memory for this on this computer.", file=sys.stderr)
        return 1
    except Exception as error:
        return _report(error)


def _report(error: Exception) -> int:
    from stitchc.files import FileTrouble, reason
    from stitchc.messages import Refused, render

    if isinstance(error, Refused):
        sources = getattr(error, "sources", None)
        for message in error.messages:
            print(render(message, sources, colour=False), file=sys.stderr)
        return 3 if isinstance(error, FileTrouble) else 1
    if isinstance(error, OSError):
        print(f"error: the file system refused: {reason(error)}.", file=sys.stderr)
        return 3
    if os.environ.get("STITCHC_TRACEBACK"):
        raise error
    print(
        f"error: stitchc itself went wrong here ({type(error).__name__}: {error}). Nothing was written.\n"
        "       This is a fault in the program, not in your pattern; set STITCHC_TRACEBACK=1 and run again\n"
        "       to see where, and send that with the pattern to whoever gave you stitchc.",
        file=sys.stderr,
    )
    return 1


def _prepare_streams() -> None:
    """Any character can be printed: outside UTF-8 what the terminal lacks is shown escaped, and pipes get UTF-8."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is None:
            continue
        if stream.isatty():
            reconfigure(errors="backslashreplace")
        else:
            reconfigure(encoding="utf-8", errors="backslashreplace", newline="\n")


def _silence_stdout() -> None:
    """Keep Python from complaining again at exit about a pipe whose reader has gone."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError):
        sys.stdout = None  # type: ignore[assignment]


if __name__ == "__main__":
    main()

"""`--watch`: do a thing again whenever one of the files it reads is saved."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path

import click

from stitchc.cli.common import say, show
from stitchc.messages import Refused


def rerun_on_save(files: Sequence[str], action: Callable[[], object]) -> None:
    """Run `action` now and after every save of a pattern beside or below one of the files, until Ctrl-C.

    An action that ends with SystemExit has said why, one that is refused is told why; the watch goes on. Every
    `.stitch` and `.toml` file of the patterns' folders counts, since a pattern may include others.
    """
    from watchfiles import watch

    if "-" in files:
        raise click.UsageError("--watch needs the names of files, not standard input.")
    folders = sorted({Path(file).resolve().parent for file in files})
    run_once(action)
    try:
        for _ in watch(
            *folders, watch_filter=lambda _, path: path.endswith((".stitch", ".toml")), raise_interrupt=True
        ):
            say(f"\n── {time.strftime('%H:%M:%S')} ──")
            run_once(action)
    except KeyboardInterrupt:
        say("stopped watching")


def run_once(action: Callable[[], object]) -> None:
    try:
        action()
    except SystemExit:
        pass
    except Refused as refused:
        show(refused.messages, refused.sources)
    except click.ClickException as error:
        error.show()
    say("watching; save to run again, Ctrl-C to stop")

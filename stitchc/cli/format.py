"""`stitchc format`: a pattern in its standard layout, proved to say the same as before."""

from __future__ import annotations

import difflib
import sys
from pathlib import Path

import click

from stitchc import files
from stitchc.cli.common import examples, files_argument, leave, option, output_option, print_path, put_text, say, show
from stitchc.messages import Refused


@click.command(
    epilog=examples(
        "format cowl.stitch                 print it in the standard layout",
        "format --in-place cowl.stitch      change the file itself",
        "format --check *.stitch            say which files would change",
    )
)
@files_argument
@option("--in-place", is_flag=True, help="Write each file back in its layout (only where that changes it).")
@option("--check", is_flag=True, help="Write nothing; status 1 if a file is not in its layout.")
@option("--diff", is_flag=True, help="Write nothing; show what would change.")
@output_option()
def command(files: tuple[str, ...], in_place: bool, check: bool, diff: bool, output: Path | None, force: bool) -> None:
    """Lay a pattern out in the standard way.

    Spaces, capitals, indentation and blank lines change; comments, their order and the meaning do not. The text is
    compiled before and after; if the two differ, nothing is written.
    """
    if len(files) > 1 and not (in_place or check or diff):
        raise click.UsageError("For several files use --in-place, --check or --diff.")
    if in_place and output is not None:
        raise click.UsageError("--in-place changes the file itself, and -o writes another. Use one of them.")
    if in_place and "-" in files:
        raise click.UsageError("Standard input cannot be changed in place.")
    if output is not None and output.exists() and Path(files[0]).exists() and output.samefile(files[0]):
        raise click.UsageError(f"`-o {output}` is the file itself: `stitchc format --in-place {files[0]}` changes it.")
    changed = 0
    for file in files:
        before, after = _both(file)
        changed += before != after
        if check or diff:
            if diff:
                sys.stdout.writelines(_difference(before, after, file))
            if before != after and check:
                say(f"{file}: not in the standard layout; `stitchc format --in-place {file}` changes it")
        elif in_place:
            if before != after:
                put_over(Path(file), after)
        else:
            put_text(after, output, force, signed=False)
    if check and changed:
        raise SystemExit(1)


def put_over(path: Path, text: str) -> None:
    """Replace the user's own file by its laid-out text (beside it first, then renamed), and print its path."""
    files.write_files([(path, text.encode("utf-8"))], force=True, in_place=True)
    print_path(path)


def _both(file: str) -> tuple[str, str]:
    """The text as it is and in its layout; ends the command where it does not compile or would change its meaning."""
    from stitchc.notation.formatting import formatted
    from stitchc.notation.gather import MOST_BYTES

    raw = files.read_bytes(file, MOST_BYTES)
    name, folder = (files.STANDARD_INPUT, Path()) if file == "-" else (file, Path(file).parent)
    try:
        after, reading = formatted(raw, name, folder)
    except Refused as refused:
        leave(refused.messages, refused.sources)
    show(reading.messages, reading.sources)
    return raw.decode("utf-8"), after


def _difference(before: str, after: str, file: str) -> list[str]:
    lines = difflib.unified_diff(
        before.splitlines(keepends=True), after.splitlines(keepends=True), file, f"{file} in its layout"
    )
    return [line if line.endswith("\n") else line + "\n\\ no line end here\n" for line in lines]

"""What the commands share: their options, reading and checking a pattern, and where output goes.

A command is a thin function: read, ask the stages, write. Paths written are printed one a line on standard output;
messages go to standard error.
"""

from __future__ import annotations

import contextlib
import os
import re
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn, TextIO, TypeVar

import click

from stitchc import files
from stitchc.english import listed
from stitchc.messages import MOST_SHOWN, Message, Refused, escaped, grouped, render, visible

if sys.platform == "win32":
    from pathlib import WindowsPath as _SystemPath
else:
    from pathlib import PosixPath as _SystemPath

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

    from stitchc.machines import Machine
    from stitchc.pattern import Pattern

F = TypeVar("F", bound=Callable[..., Any])


def examples(*lines: str) -> str:
    """The end of a command's help: ways to call it, each without the program's name."""
    return "\n".join(["\b", "Examples:" if len(lines) > 1 else "Example:", *(f"  stitchc {line}" for line in lines)])


def option(*names: str, **settings: Any) -> Callable[[F], F]:
    """A click option that can also come from the environment as STITCHC_NAME, as the contract promises of each."""
    long = next(name for name in names if name.startswith("--")).split("/")[0]
    settings.setdefault("envvar", "STITCHC_" + long.lstrip("-").replace("-", "_").upper())
    return click.option(*names, **settings)


def file_names(context: click.Context, parameter: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Tells the shell to complete names of files here."""
    from click.shell_completion import CompletionItem

    return [CompletionItem(incomplete, type="file")]


def machine_names(context: click.Context, parameter: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Tells the shell the shipped machines, and to complete names of profiles where none of them begins so."""
    from click.shell_completion import CompletionItem

    from stitchc.machines import SHIPPED

    shipped = [CompletionItem(name) for name in SHIPPED if name.startswith(incomplete)]
    return shipped or [CompletionItem(incomplete, type="file")]


def file_argument(command: F) -> F:
    """FILE: one pattern, or - for standard input."""
    return click.argument("file", metavar="FILE", shell_complete=file_names)(command)


def files_argument(command: F) -> F:
    """FILE…: one or more patterns."""
    return click.argument("files", metavar="FILE...", nargs=-1, required=True, shell_complete=file_names)(command)


def machine_option(default: str | None, help: str = "") -> Callable[[F], F]:
    words = help or "Which machine to plan for: a shipped profile (see `stitchc machines`) or your own."
    if not help:
        words += f" (default: {default or 'none, and the default limits apply'})"
    return option(
        "--machine",
        "machine_name",
        metavar="NAME|FILE.toml",
        default=default,
        shell_complete=machine_names,
        help=words,
    )


ENDINGS: Final = {
    ".txt": "text",
    ".json": "json",
    ".html": "html",
    ".htm": "html",
    ".svg": "svg",
    ".png": "png",
    ".pdf": "pdf",
}
"""What the ending of a file's name says of its form."""

OTHERS_ENDINGS: Final = frozenset(
    [".jpg", ".jpeg", ".gif", ".bmp", ".tif", ".tiff", ".webp", ".eps", ".dxf", ".csv", ".doc", ".docx", ".odt", ".rtf"]
)
"""Endings of forms that no command makes: a file so called would not be what its name says."""


_AN_ENDING: Final = re.compile(r"\.[a-z][a-z0-9]{0,7}")
"""Of a file; a folder may be called v1.2."""


def form_for(form: str | None, output: Path | None, forms: Sequence[str], endings: Sequence[str] = ()) -> str:
    """The form that --format asks for, or else the ending of -o, or else the first of a command's forms.

    Raises click.UsageError where the two do not agree, or the ending is that of a form the command does not make.
    Together with --format a name may have an ending that says nothing of a form (`--format text -o notes.md`).
    endings: further ones that may stand without it.
    """
    ending = output.suffix.lower() if output is not None and not is_folder(output) else ""
    by_ending = ENDINGS.get(ending)
    written = {each: "text" if each in ("sheet", "notation") else each for each in forms}
    unknown = _AN_ENDING.fullmatch(ending) and ending not in {*ENDINGS, *OTHERS_ENDINGS, *endings}
    if unknown and form is None:
        raise click.UsageError(
            f"`-o {output}` ends in {ending}, which says nothing of the form; this command makes "
            f"{listed(forms, 'or')}. Give --format as well."
        )
    if ending in OTHERS_ENDINGS or (by_ending and by_ending not in written.values()):
        raise click.UsageError(
            f"`-o {output}` ends in {ending}, but this command makes no such file; it makes {listed(forms, 'or')}."
        )
    if form and by_ending and written[form] != by_ending:
        raise click.UsageError(f"--format {form} and `-o {output}` do not agree; leave one of them out.")
    return form or next((each for each in forms if written[each] == by_ending), forms[0])


class Folder(_SystemPath):
    """A path that was typed with a separator at its end: a folder, whether it is there yet or not."""


def is_folder(path: Path) -> bool:
    """Whether what is written there goes into a folder of that name."""
    return isinstance(path, Folder) or path.is_dir()


class OutputPath(click.Path):
    """A path to write to. "-" is refused: a file called so would be a surprise, and a picture at a terminal no use."""

    def __init__(self) -> None:
        super().__init__(path_type=Path)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if str(value) == "-":
            self.fail(
                "`-` is not a file name. Leave -o out: then text and JSON go to standard output, and everything else "
                "goes to files named after the pattern.",
                param,
                ctx,
            )
        path = super().convert(value, param, ctx)
        return Folder(str(path)) if str(value).endswith((os.sep, os.altsep or os.sep)) else path


def output_option(target: str = "the file") -> Callable[[F], F]:
    def apply(command: F) -> F:
        command = option("--force", is_flag=True, help="Overwrite a file even if stitchc did not make it.")(command)
        return option(
            "-o",
            "--output",
            metavar="PATH",
            type=OutputPath(),
            default=None,
            help=f"Where to write {target}. A path that ends with / is a folder.",
        )(command)

    return apply


# -- reading and checking ---------------------------------------------------------------------------------------


def read_patterns(names: Sequence[str], book: str | None = None) -> list[Pattern]:
    """The patterns of files, each with the swatches of `book` as well; as `read_pattern`."""
    patterns = [read_pattern(name) for name in names]
    if book is None:
        return patterns
    with_swatches = read_book(book)
    return [pattern.with_book(with_swatches) for pattern in patterns]


def read_book(file: str) -> Pattern:
    """As `read_pattern`, of a file that is read for its swatches and so needs no stitch."""
    from stitchc.notation.compile import compile_book
    from stitchc.notation.gather import MOST_BYTES

    name, folder = (files.STANDARD_INPUT, Path()) if file == "-" else (file, Path(file).parent)
    pattern, messages, sources = compile_book(files.read_bytes(file, MOST_BYTES), name, folder)
    if pattern is None:
        leave(messages, sources)
    show(messages, sources)
    return pattern


def read_pattern(file: str, book: str | None = None) -> Pattern:
    """The pattern of a file; prints its messages and leaves with status 1 if it does not compile. book: another file,
    whose swatches are used as well."""
    if book is not None:
        return read_patterns([file], book)[0]
    from stitchc.notation import compile_file

    pattern, messages, sources = compile_file(file)
    if pattern is None:
        leave(messages, sources)
    show(messages, sources)
    return pattern


def load_machine(name: str) -> Machine:
    """The machine of --machine; leaves with 1 where there is none such or its profile has errors."""
    from stitchc.machines import load

    try:
        return load(name)
    except files.FileTrouble:
        raise
    except Refused as refused:
        leave(refused.messages, refused.sources)


# -- saying and writing -----------------------------------------------------------------------------------------


def show(messages: Iterable[Message], sources: Mapping[str, Sequence[str]] | None = None) -> None:
    """Print messages to standard error, in colour on a terminal that has not asked for none."""
    for text in rendered(messages, sources, coloured(sys.stderr)):
        print(text, file=sys.stderr)


def rendered(messages: Iterable[Message], sources: Mapping[str, Sequence[str]] | None, colour: bool) -> list[str]:
    """The messages as text, alike ones as one, the first MOST_SHOWN of them and a line that counts the rest."""
    listed = grouped(messages)
    texts = [render(message, sources, colour) for message in listed[:MOST_SHOWN]]
    if len(listed) > MOST_SHOWN:
        texts.append(f"… and {len(listed) - MOST_SHOWN} more; fix these first.")
    return texts


def coloured(stream: TextIO) -> bool:
    """Whether to print in colour there: on a terminal that has not asked for none."""
    return stream.isatty() and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"


def leave(messages: Iterable[Message], sources: Mapping[str, Sequence[str]] | None = None) -> NoReturn:
    """Print messages and end the command with status 1."""
    show(messages, sources)
    raise SystemExit(1)


def say(text: str) -> None:
    """Words for the person, on standard error, without anything that a terminal would obey."""
    print("\n".join(map(visible, text.split("\n"))), file=sys.stderr)


def print_path(path: Path) -> None:
    """A path on a line of standard output: its very bytes for a program, and for a person what can be shown of them."""
    out = getattr(sys.stdout, "buffer", None)
    if out is None or sys.stdout.isatty():
        print(visible(str(path)), flush=True)
        return
    sys.stdout.flush()
    out.write(os.fsencode(path) + b"\n")
    out.flush()


def put_text(text: str, output: Path | None, force: bool, signed: bool = True) -> None:
    """Text or JSON to standard output, or to the file of -o (whose path is then printed).

    signed: the file gets its seal, by which it is known as ours and unchanged the next time; not text in the notation.
    """
    text = text if text.endswith("\n") or not text else text + "\n"
    if output is None:
        with contextlib.suppress(BrokenPipeError):  # whoever reads has seen enough; the status is still to come
            sys.stdout.write(_printable(text))
        return
    if isinstance(output, Folder) and not output.exists():
        text = f"`{output}{os.sep}` is a folder, and this makes one file."
        raise files.FileTrouble(Message("F503", "error", text, advice="Name a file inside it with -o."))
    put_files([(output, text.encode("utf-8", "backslashreplace"))], force, signed)


def put_files(contents: Iterable[tuple[Path, bytes]], force: bool, signed: bool = True) -> None:
    """Write files as `write_sealed` does, and print their paths one a line on standard output.

    Folders that are not there are made, as scripts expect, and named: one that nobody meant is a slip of typing.
    """
    contents = list(contents)
    above = dict.fromkeys(folder for path, _ in contents for folder in path.parents if not folder.exists())
    for path in write_sealed(contents, force, signed):
        print_path(path)
    if above:
        say(f"The folder `{min(above)}` was not there, so it was made.")


def write_sealed(contents: Iterable[tuple[Path, bytes | None]], force: bool, signed: bool = True) -> list[Path]:
    """Write files, all or none, each with its seal if it is signed; their paths. None takes a file away."""
    from stitchc.seal import finished

    written = [
        (path, finished(content, signed, _sources_seen_from(path.parent)) if content is not None else None)
        for path, content in contents
    ]
    return files.write_files(written, force)


def _sources_seen_from(folder: Path) -> str:
    """The files that the command was called with, by their way from where the product goes, so that a folder with both
    can be moved; "" for standard input."""
    context = click.get_current_context(silent=True)
    given = context.params if context is not None else {}
    paths = [given.get("file") or given.get("image") or "", *(given.get("files") or ())]
    return "\0".join(_way(folder, path) for path in paths if path and path != "-")


def _way(folder: Path, path: str) -> str:
    try:
        return Path(os.path.relpath(Path(path).absolute(), folder.absolute())).as_posix()
    except ValueError:  # on another drive
        return Path(path).name


def _printable(text: str) -> str:
    """JSON without a character that a terminal would obey; other text as it is, which its command has seen to."""
    return escaped(text) if text.startswith(("{", "[")) else text

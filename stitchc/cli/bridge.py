"""Products of commands whose package has no product function yet: the command is run, and its files are read again."""

from __future__ import annotations

import contextlib
import dataclasses
import importlib
import io
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stitchc import files, seal
from stitchc.messages import Message, Refused
from stitchc.options import Option
from stitchc.product import File, Product

if TYPE_CHECKING:
    from stitchc.pattern import Pattern


def product_of_command(
    name: str, pattern: Pattern, text: bytes | None, machine: str | None, options: Any
) -> Product[Any]:
    """What `stitchc NAME FILE …` makes with these options. text: of standard input, where that is the pattern."""
    command = importlib.import_module(f"stitchc.cli.{name}").command
    endings = {"text": "txt"}
    said, out = io.StringIO(), io.StringIO()
    with tempfile.TemporaryDirectory(prefix="stitchc-") as folder:
        target = Path(folder) / f"{options.name}.{endings.get(options.form, options.form)}"
        words = ["-" if text is not None else pattern.file, *_words(options), "-o", str(target)]
        words += ["--machine", machine] if machine else []
        try:
            with given_again(text), contextlib.redirect_stderr(said), contextlib.redirect_stdout(out):
                command.main(words, prog_name=f"stitchc {name}", standalone_mode=False)
        except files.FileTrouble:
            raise
        except click.ClickException as error:
            raise Refused(Message("D702", "error", error.format_message())) from None
        except SystemExit as error:
            if error.code:
                raise Refused(_first_error(said.getvalue())) from None
        made = [File(Path(line).name, _unsealed(Path(line).read_bytes())) for line in out.getvalue().splitlines()]
    return Product((), tuple(made))


def _unsealed(content: bytes) -> bytes:
    found = seal.seal_of(content)
    return content[: found.start] + content[found.end :] if found else content


def _words(options: Any) -> Iterator[str]:
    for field in dataclasses.fields(options):
        option = next((each for each in getattr(field.type, "__metadata__", ()) if isinstance(each, Option)), None)
        value = getattr(options, field.name)
        if option is None or (value == field.default and field.name != "form"):
            continue
        if isinstance(value, bool):
            yield option.flags
            continue
        for each in value if isinstance(value, tuple) else (value,):
            yield from (option.flags, f"{each.stitches:g}x{each.rows:g}" if field.name == "plain" else str(each))


@contextlib.contextmanager
def given_again(content: bytes | None) -> Iterator[None]:
    """The content as standard input, from its beginning."""
    if content is None:
        yield
        return
    before = sys.stdin
    sys.stdin = io.TextIOWrapper(io.BytesIO(content), "utf-8")
    try:
        yield
    finally:
        sys.stdin = before


def _first_error(text: str) -> Message:
    """The first error that was printed."""
    lines = text.splitlines()
    for number, line in enumerate(lines):
        if "error: " in line:
            words, _, code = line.split("error: ", 1)[1].removesuffix("]").rpartition(" [")
            cure = next((each.removeprefix("Try: ") for each in lines[number:] if each.startswith("Try: ")), None)
            return Message(code, "error", words, cure=cure)
    return Message("D702", "error", lines[0] if lines else "it could not be made")

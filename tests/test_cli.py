"""The command line from outside: exit statuses, streams, the environment, start-up imports and files left alone."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import click
import pytest

from stitchc.cli import COMMANDS, command_named
from tests.hostile.child import environment, stitchc

TIDE = "stitch tide\n1: K T\n2: K\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "tide.stitch").write_text(TIDE, "utf-8")
    (tmp_path / "broken.stitch").write_text("stitch tide\n1: K P\n", "utf-8")
    return tmp_path


@pytest.mark.parametrize(
    ("line", "status"),
    [
        ("check tide.stitch", 0),
        ("check broken.stitch", 1),
        ("check tide.stitch --machine hand-standart", 1),
        ("chart tide.stitch --stitch tyde", 1),
        ("check", 2),
        ("check tide.stitch --no-such-option", 2),
        ("chekc tide.stitch", 2),
        ("check missing.stitch", 3),
        ("chart tide.stitch -o .", 0),
        ("chart tide.stitch -o tide.stitch/out.txt", 3),
        ("--version", 0),
        ("--help", 0),
    ],
)
def test_exit_statuses(folder: Path, line: str, status: int) -> None:
    result = stitchc(*line.split(), folder=folder)
    assert result.status == status and result.orderly, result
    assert not status or (result.out + result.err).strip()
    assert "\x1b" not in result.out + result.err, "colour never reaches a pipe"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_help_has_examples_that_the_command_line_takes(name: str, folder: Path) -> None:
    """Command, options and values of each line are read as a call would read them; nothing is done."""
    assert "stitchc" in stitchc(name, "--help", folder=folder).out
    command = command_named(name)
    lines = [line.strip() for line in f"{command.help}\n{command.epilog or ''}".splitlines()]
    # without the words that stand three spaces after some
    examples = [shlex.split(re.split(r"\s{3,}|\s+[>|] ", line)[0]) for line in lines if line.startswith("stitchc ")]
    assert examples
    for words in examples:
        assert words[:2] == ["stitchc", name]
        command.make_context(name, words[2:])


@pytest.mark.parametrize("line", ["tide.stitch --mechanic-s", "tide.stitch --units ell", "tide.stitch --plain 20"])
def test_an_example_with_a_wrong_option_would_be_seen(line: str) -> None:
    with pytest.raises(click.UsageError):
        command_named("gauge").make_context("gauge", line.split())


@pytest.mark.parametrize("name", ["check", "chart", "gauge", "compare", "trace", "format"])
def test_shells_complete_names_of_files(name: str, folder: Path) -> None:
    """The program answers "file", and the shell finds the files itself."""
    words = environment(COMP_WORDS=f"stitchc {name} ti", COMP_CWORD="2", _STITCHC_COMPLETE="bash_complete")
    assert stitchc(folder=folder, before=words).out.split() == ["file,ti"]


@pytest.mark.parametrize(("shell", "registers"), [("zsh", "compdef"), ("fish", "complete --no-files --command")])
def test_scripts_for_other_shells(shell: str, registers: str, folder: Path) -> None:
    result = stitchc(folder=folder, before=environment(_STITCHC_COMPLETE=f"{shell}_source"))
    assert result.status == 0, result.err
    assert registers in result.out and f"_STITCHC_COMPLETE={shell}_complete" in result.out


@pytest.mark.parametrize(("arguments", "needed"), [(["--help"], set()), (["check", "tide.stitch"], {"lark", "numpy"})])
def test_the_heavy_libraries_are_imported_by_the_commands_that_need_them(
    arguments: list[str], needed: set[str], folder: Path
) -> None:
    code = (
        f"import sys; from stitchc.__main__ import run\nstatus = run({arguments!r})\n"
        "print('|'.join(sorted({name.split('.')[0] for name in sys.modules})), file=sys.stderr)\nsys.exit(status)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=folder, capture_output=True, text=True, check=True)
    imported = set(done.stderr.strip().splitlines()[-1].split("|"))
    assert imported & {"lark", "numpy", "PIL", "matplotlib", "reportlab", "jinja2", "scipy", "pypdfium2"} == needed


LEAVING_OUT = ("card", "sheet", "bitmap", "picture", "compare", "swatch")


@pytest.mark.parametrize("command", [*LEAVING_OUT, "chart", "gauge"])
def test_parts_that_are_left_out_are_named(command: str, folder: Path) -> None:
    """Each command says on standard error what it left out and how to see it, and its help says which it leaves out."""
    (folder / "one.stitch").write_text(TIDE + "stitch reef = tide then tide shifted 1\n", "utf-8")
    small = {"picture": ("--size", "1x1", "--px", "100"), "card": ("--format", "text")}.get(command, ())
    help_text = " ".join(stitchc(command, "--help", folder=folder).out.split())
    told = stitchc(command, "one.stitch", *small, folder=folder)
    assert told.status == 0, told.err
    if command in LEAVING_OUT:
        line = "Skipped, because it is part of another stitch: `tide`. --stitch tide shows it."
        assert told.err.splitlines().count(line) == 1 and "skipped ones are listed" in help_text
        shown = stitchc(command, "one.stitch", "--stitch", "tide", *small, folder=folder)
        assert shown.status == 0 and "Skipped" not in shown.err
    else:
        assert "Skipped" not in told.err and "every stitch that FILE defines" in help_text
        assert "tide" in told.out and "reef" in told.out


@pytest.mark.parametrize("command", ["card", "bitmap", "sheet", "chart", "gauge", "compare", "check", "build"])
def test_what_a_piece_knits_is_made_although_it_is_part_of_another_or_included(command: str, folder: Path) -> None:
    """A piece tells to have a card of every stitch that it knits, and that `stitchc card` makes them."""
    (folder / "grounds.stitch").write_text("stitch kept\n1: K3 T\n2: K\nstitch unused\n1: K4 T\n2: K\n", "utf-8")
    piece = "piece band\nneedles 24\n" + "".join(f"knit {name} for 4 rows\n" for name in ("tide", "reef", "kept"))
    text = 'include "grounds.stitch"\n' + TIDE + "stitch reef = tide with S for T\nstitch foam = kept up 2\n" + piece
    (folder / "one.stitch").write_text(text, "utf-8")
    asked = {"build": ("-o", "out", "--no-pictures", "--machine", "card24-standard"), "compare": ("--format", "text")}
    told = stitchc(command, "one.stitch", *asked.get(command, ()), folder=folder)
    assert told.status == 0 and "Skipped" not in told.err, told.err
    assert all(name in told.out for name in ("tide", "reef", "kept", "foam")) and "unused" not in told.out


def test_standard_input_has_no_name(folder: Path) -> None:
    given = TIDE.encode()
    assert stitchc("chart", "-", "--format", "svg", folder=folder, stdin=given).out.split() == ["tide-chart.svg"]
    assert "stitchc sheet - --stitch tide" in stitchc("swatch", "-", folder=folder, stdin=given).out


@pytest.mark.parametrize(
    ("command", "name", "begins"),
    [
        ("sheet", "tide.html", b"<!DOCTYPE html>"),
        ("sheet", "tide.json", b"{"),
        ("sheet", "tide.htm", b"<!DOCTYPE html>"),
        ("compare", "tide.png", b"\x89PNG"),
        ("gauge", "tide.json", b"{"),
        ("chart", "tide.svg", b"<"),
        ("card", "tide.pdf", b"%PDF"),
    ],
)
def test_the_ending_of_the_output_says_its_form(command: str, name: str, begins: bytes, folder: Path) -> None:
    nowhere = environment(MPLCONFIGDIR=str(folder / "tide.stitch" / "under-a-file"))
    given = ("tide.stitch", "--plain", "20x28") if command == "compare" else ("tide.stitch",)
    done = stitchc(command, *given, "-o", name, folder=folder, before=nowhere)
    assert done.status == 0 and "atplotlib" not in done.err, done.err
    assert (folder / name).read_bytes().lower().startswith(begins.lower())


@pytest.mark.parametrize("words", ["sheet a.svg", "card a.gif", "picture a.jpg", "bitmap a.bmp", "gauge a.csv"])
def test_an_ending_that_a_command_does_not_make_is_refused(words: str, folder: Path) -> None:
    command, name = words.split()
    done = stitchc(command, "tide.stitch", "-o", name, folder=folder)
    assert done.status == 2 and f"`-o {name}`" in done.err and not (folder / name).exists()


@pytest.mark.parametrize(
    ("content", "kind"),
    [(b"PK\x03\x04\x14\x00\xb5", "word processor"), (b"{\\rtf1 K T}", "word processor"), (b"%PDF-1.7", "PDF")],
)
def test_a_document_is_told_as_one(content: bytes, kind: str, folder: Path) -> None:
    (folder / "word.stitch").write_bytes(content)
    done = stitchc("check", "word.stitch", folder=folder)
    assert done.status == 1 and "[N112]" in done.out and kind in done.out and "plain text" in done.out


def test_a_traced_pattern_can_be_read_again(folder: Path) -> None:
    for words in ("chart tide.stitch -o tide.png", "trace tide.png -o traced.stitch", "check traced.stitch"):
        done = stitchc(*words.split(), folder=folder)
        assert done.status == 0, done.err


@pytest.mark.parametrize("command", ["card", "bitmap", "chart", "picture"])
def test_several_stitches_do_not_become_a_folder_called_as_a_picture(folder: Path, command: str) -> None:
    (folder / "two.stitch").write_text(f"{TIDE}stitch ebb\n1: K S\n2: K\n", "utf-8")
    before = sorted(folder.iterdir())
    told = stitchc(command, "two.stitch", "-o", "out.png", folder=folder)
    assert told.status == 2 and "2 stitches do not go into one file" in told.err
    assert sorted(folder.iterdir()) == before


@pytest.mark.parametrize("command", ["check", "chart", "gauge", "compare", "sheet"])
def test_a_name_is_found_however_its_accent_was_typed(folder: Path, command: str) -> None:
    """Names are compared after Unicode NFC normalisation; some keyboards and terminals send the other form."""
    (folder / "marée.stitch").write_text(
        "stitch marée\n1: K T\n2: K\npiece café\nneedles 20\nknit marée for 4 rows\n", "utf-8"
    )
    found = stitchc(command, "marée.stitch", "--stitch", "mare\u0301e", folder=folder)
    assert found.status == 0 and "marée" in found.out, found.err
    half_way = stitchc("piece", "marée.stitch", "--so-far", "mare\u0301e 2 rows 1 cm", folder=folder)
    assert half_way.status == 0, half_way.err


def test_a_name_that_is_nearly_right_is_found(folder: Path) -> None:
    for name in ("tide", "tide.stich", "tied.stitch"):
        missing = stitchc("check", name, folder=folder)
        assert missing.status == 3 and "Try: tide.stitch" in missing.err + missing.out, missing
    many = stitchc("check", "tide.stitch", folder=folder, before=environment(STITCHC_MACHINE="card24"))
    assert many.status == 1 and "--machine card24-standard or --machine card24-bulky" in many.out + many.err


@pytest.mark.parametrize("name", [b"a\x1b[31mb", "u\u202ev".encode(), b"x\xff\xf1"])
def test_a_name_with_odd_bytes_is_shown_safely_and_printed_exactly(name: bytes, folder: Path) -> None:
    """A person sees no character that a terminal obeys; a script gets the very name of the file."""
    file, out = os.fsdecode(name + b".stitch"), os.fsdecode(b"out-" + name)
    (folder / file).write_text(TIDE, "utf-8")
    for command in ("check", "chart", "sheet", "gauge"):
        shown = stitchc(command, file, folder=folder)
        assert shown.status == 0 and not {"\x1b", "\u202e", "\ufffd"} & set(shown.out + shown.err), (command, shown)
    made = subprocess.run([sys.executable, "-m", "stitchc", "bitmap", file, "-o", out], capture_output=True, cwd=folder)
    assert made.stdout.startswith(os.fsencode(out)) and (folder / os.fsdecode(made.stdout.rstrip(b"\n"))).is_file()


@pytest.mark.parametrize("locale", ["C", "POSIX"])
def test_where_file_names_are_not_unicode_they_lose_their_accents(locale: str, folder: Path) -> None:
    text = 'pattern "Piña"\nstitch piña\n1: K T\n2: K\n'
    limited = {**os.environ, "LC_ALL": locale, "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    words = [sys.executable, "-m", "stitchc", "bitmap", "-"]
    made = subprocess.run(words, input=text.encode(), capture_output=True, cwd=folder, env=limited, check=True)
    assert made.stdout == b"pina-pina-bitmap.png\n" and (folder / "pina-pina-bitmap.png").is_file()


def test_a_file_without_the_stitch_that_was_asked_for_is_not_said_to_be_in_order(tmp_path: Path) -> None:
    """Of several files, each is looked at for the stitches that it has."""
    (tmp_path / "a.stitch").write_text("stitch tide\n    1: K T\n    2: K\n", "utf-8")
    (tmp_path / "b.stitch").write_text("stitch knots\n    1: T2\n", "utf-8")
    result = stitchc("check", "a.stitch", "b.stitch", "--stitch", "tide", folder=tmp_path)
    assert result.status == 0 and "tide" in result.out + result.err and "knots" not in result.out + result.err

"""The command line from outside: exit statuses, streams, the environment, start-up imports and files left alone."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest

from stitchc.cli import COMMANDS, LazyGroup

ROOT = Path(__file__).resolve().parent.parent
STITCHC = [sys.executable, "-m", "stitchc"]
TIDE = "stitch tide\n1: K T\n2: K\n"


def run(
    *arguments: str, cwd: Path, text: str | None = None, env: dict[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    environment = {key: value for key, value in os.environ.items() if not key.startswith("STITCHC_")}
    return subprocess.run(
        [sys.executable, "-m", "stitchc", *arguments],
        cwd=cwd,
        input=text,
        env={**environment, **(env or {})},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "tide.stitch").write_text(TIDE, "utf-8")
    (tmp_path / "broken.stitch").write_text("stitch tide\n1: K P\n", "utf-8")
    return tmp_path


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        (["check", "tide.stitch"], 0),
        (["check", "broken.stitch"], 1),
        (["check", "tide.stitch", "--machine", "hand-standart"], 1),
        (["chart", "tide.stitch", "--stitch", "tyde"], 1),
        (["check"], 2),
        (["check", "tide.stitch", "--no-such-option"], 2),
        (["chekc", "tide.stitch"], 2),
        (["check", "missing.stitch"], 3),
        (["chart", "tide.stitch", "-o", "."], 0),
        (["chart", "tide.stitch", "-o", "tide.stitch/out.txt"], 3),
        (["--version"], 0),
        (["--help"], 0),
    ],
)
def test_exit_statuses(folder: Path, arguments: list[str], status: int) -> None:
    result = run(*arguments, cwd=folder)
    assert result.returncode == status, result.stderr
    assert "Traceback" not in result.stderr
    if status:
        assert (result.stdout + result.stderr).strip()


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help(folder: Path, name: str) -> None:
    result = run(name, "--help", cwd=folder)
    assert result.returncode == 0
    assert "stitchc" in result.stdout


def examples_of(name: str) -> list[list[str]]:
    """The example lines of a command's own help, without the words that stand three spaces after some."""
    command = LazyGroup(name="stitchc").get_command(click.Context(click.Command("stitchc")), name)
    assert command is not None
    lines = f"{command.help}\n{command.epilog or ''}".splitlines()
    shown = [re.split(r"\s{3,}|\s+[>|] ", line.strip())[0] for line in lines if line.strip().startswith("stitchc ")]
    return [shlex.split(line, comments=False) for line in shown]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_help_has_examples_that_the_command_line_takes(name: str, folder: Path) -> None:
    """Command, options and values of each line are read as a call would read them; nothing is done."""
    examples = examples_of(name)
    assert examples
    for words in examples:
        assert words[:2] == ["stitchc", name]
        command = LazyGroup(name="stitchc").get_command(click.Context(click.Command("stitchc")), name)
        assert command is not None
        try:
            command.make_context(name, words[2:])
        except click.UsageError as error:
            pytest.fail(f"{shlex.join(words)}: {error.format_message()}")


def test_an_example_with_a_wrong_option_would_be_seen() -> None:
    command = LazyGroup(name="stitchc").get_command(click.Context(click.Command("stitchc")), "gauge")
    assert command is not None
    for words in (["tide.stitch", "--mechanic-s"], ["tide.stitch", "--units", "ell"], ["tide.stitch", "--plain", "20"]):
        with pytest.raises(click.UsageError):
            command.make_context("gauge", words)


# -- completion in shells -------------------------------------------------------------------------------------------


def completed(words: str, folder: Path) -> list[str]:
    """What bash offers for the last of the words, by the very function that the script registers."""
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("there is no bash")
    (folder / "bin").mkdir(exist_ok=True)
    program = folder / "bin" / "stitchc"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m stitchc "$@"\n', "utf-8")
    program.chmod(0o755)
    script = (
        'eval "$(_STITCHC_COMPLETE=bash_source stitchc)" || exit 9\n'
        "set -- $(complete -p stitchc)\n"
        'while [ "$1" != -F ]; do shift; done\n'
        f"COMP_WORDS=({words}); COMP_CWORD=$((${{#COMP_WORDS[@]}} - 1)); COMPREPLY=()\n"
        '"$2" stitchc\nprintf "%s\\n" "${COMPREPLY[@]}"\n'
    )
    environment = {key: value for key, value in os.environ.items() if not key.startswith("STITCHC_")}
    environment |= {"PATH": f"{folder / 'bin'}{os.pathsep}{environment['PATH']}", "PYTHONPATH": str(ROOT)}
    result = subprocess.run(
        [bash, "--norc", "--noprofile", "-c", script],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert result.returncode == 0, result.stderr
    return result.stdout.split()


@pytest.mark.skipif(os.name == "nt", reason="needs a POSIX shell")
@pytest.mark.parametrize(
    ("words", "offered"),
    [
        ("stitchc she", ["sheet"]),
        ("stitchc ch", ["check", "chart"]),
        ("stitchc check --mach", ["--machine"]),
        ("stitchc gauge tide.stitch --units ''", ["cm", "in"]),
        ("stitchc nosuch", []),
    ],
)
def test_bash_completes_commands_options_and_choices(words: str, offered: list[str], folder: Path) -> None:
    assert completed(words, folder) == offered


@pytest.mark.parametrize("name", ["check", "chart", "gauge", "compare", "trace", "format"])
def test_shells_complete_names_of_files(name: str, folder: Path) -> None:
    """The program answers "file", and the shell finds the files itself."""
    words = {"COMP_WORDS": f"stitchc {name} ti", "COMP_CWORD": "2", "_STITCHC_COMPLETE": "bash_complete"}
    assert run(cwd=folder, env=words).stdout.split() == ["file,ti"]


@pytest.mark.parametrize(("shell", "registers"), [("zsh", "compdef"), ("fish", "complete --no-files --command")])
def test_scripts_for_other_shells(shell: str, registers: str, folder: Path) -> None:
    result = run(cwd=folder, env={"_STITCHC_COMPLETE": f"{shell}_source"})
    assert result.returncode == 0, result.stderr
    assert registers in result.stdout and f"_STITCHC_COMPLETE={shell}_complete" in result.stdout


def test_help_imports_click_alone_and_check_only_what_it_needs(folder: Path) -> None:
    """The start must be quick: the heavy libraries are imported by the commands that need them."""

    def imported(*arguments: str) -> set[str]:
        code = (
            "import sys; from stitchc.__main__ import run\n"
            f"status = run({list(arguments)!r})\n"
            "print('|'.join(sorted({name.split('.')[0] for name in sys.modules})), file=sys.stderr)\n"
            "sys.exit(status)"
        )
        done = subprocess.run([sys.executable, "-c", code], cwd=folder, capture_output=True, text=True, check=True)
        return set(done.stderr.strip().splitlines()[-1].split("|"))

    heavy = {"lark", "numpy", "PIL", "matplotlib", "reportlab", "jinja2", "scipy", "pypdfium2"}
    assert imported("--help") & heavy == set()
    assert imported("check", "tide.stitch") & heavy == {"lark", "numpy"}


def test_standard_input_and_output(folder: Path) -> None:
    result = run("chart", "-", "--format", "json", cwd=folder, text=TIDE)
    assert result.returncode == 0
    assert '"rows": ["KT", "KK"]' in result.stdout.replace("\n", "").replace("  ", "") or "KT" in result.stdout


LEAVING_OUT = ("card", "sheet", "bitmap", "picture", "compare", "swatch")


@pytest.mark.parametrize("command", [*LEAVING_OUT, "chart", "gauge"])
def test_parts_that_are_left_out_are_named(command: str, folder: Path) -> None:
    """Each command says on standard error what it left out and how to see it, and its help says which it leaves out."""
    (folder / "one.stitch").write_text(TIDE + "stitch reef = tide then tide shifted 1\n", "utf-8")
    small = {"picture": ("--size", "1x1", "--px", "100"), "card": ("--format", "text")}.get(command, ())
    help_text = " ".join(run(command, "--help", cwd=folder).stdout.split())
    said = run(command, "one.stitch", *small, cwd=folder)
    assert said.returncode == 0, said.stderr
    if command in LEAVING_OUT:
        line = "Skipped, because it is part of another stitch: `tide`. --stitch tide shows it."
        assert said.stderr.splitlines().count(line) == 1 and "skipped ones are listed" in help_text
        shown = run(command, "one.stitch", "--stitch", "tide", *small, cwd=folder)
        assert shown.returncode == 0 and "Skipped" not in shown.stderr
    else:
        assert "Skipped" not in said.stderr and "every stitch that FILE defines" in help_text
        assert "tide" in said.stdout and "reef" in said.stdout


def test_many_parts_are_counted(folder: Path) -> None:
    parts = [f"part{n}" for n in range(1, 9)]
    text = "".join(f"stitch {name}\n1: K T\n2: K\n" for name in parts) + "stitch reef = " + " then ".join(parts)
    (folder / "many.stitch").write_text(text, "utf-8")
    said = run("compare", "many.stitch", cwd=folder).stderr
    assert "`part5`, `part6` and 2 more. --stitch NAME shows one." in said, said
    assert "Skipped" not in run("compare", "many.stitch", "--sweep", cwd=folder).stderr


def test_standard_input_has_no_name(folder: Path) -> None:
    assert run("chart", "-", "--format", "svg", cwd=folder, text=TIDE).stdout.split() == ["tide-chart.svg"]
    assert "stitchc sheet - --stitch tide" in run("swatch", "-", cwd=folder, text=TIDE).stdout


def test_options_come_from_the_environment(folder: Path) -> None:
    result = run("check", "tide.stitch", cwd=folder, env={"STITCHC_MACHINE": "no-such-machine"})
    assert result.returncode == 1
    assert "M304" in result.stdout


def test_a_file_of_somebody_else_is_left_alone(folder: Path) -> None:
    target = folder / "chart.json"
    target.write_text("mine", "utf-8")
    refused = run("chart", "tide.stitch", "--format", "json", "-o", "chart.json", cwd=folder)
    assert refused.returncode == 3
    assert "F503" in refused.stderr and "--force" in refused.stderr
    assert target.read_text("utf-8") == "mine"
    assert run("chart", "tide.stitch", "--format", "json", "-o", "chart.json", "--force", cwd=folder).returncode == 0
    # what stitchc made it may write over
    assert run("chart", "tide.stitch", "--format", "json", "-o", "chart.json", cwd=folder).returncode == 0
    assert [path.name for path in folder.iterdir() if ".part" in path.name] == []


def test_the_pattern_itself_is_never_written_over(folder: Path) -> None:
    refused = run("chart", "tide.stitch", "-o", "tide.stitch", cwd=folder)
    assert refused.returncode == 3
    assert (folder / "tide.stitch").read_text("utf-8") == TIDE


def test_colour_never_reaches_a_pipe(folder: Path) -> None:
    for command in ("check", "chart"):
        result = run(command, "broken.stitch", cwd=folder)
        assert "N102" in result.stdout + result.stderr
        assert "\x1b" not in result.stdout + result.stderr


@pytest.mark.parametrize("locale", ["C", "POSIX", "en_US.ISO-8859-1"])
def test_any_locale(folder: Path, locale: str) -> None:
    (folder / "wide.stitch").write_text("stitch würfel\n1: K Т\n", "utf-8")
    environment = {"LC_ALL": locale, "LANG": locale, "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    result = run("check", "wide.stitch", cwd=folder, env=environment)
    assert result.returncode == 1
    assert "N111" in result.stdout


def test_a_pipe_that_closes_is_no_error(folder: Path) -> None:
    rows = "".join(f"{row}: K T\n" for row in range(1, 20001))
    (folder / "long.stitch").write_text("stitch long\n" + rows, "utf-8")
    command = f'"{sys.executable}" -m stitchc chart long.stitch --format json | head -c 10'
    done = subprocess.run(["bash", "-c", command], cwd=folder, capture_output=True, text=True, check=False)
    assert "Traceback" not in done.stderr and "BrokenPipe" not in done.stderr


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
    given = ("tide.stitch", "--plain", "20x28") if command == "compare" else ("tide.stitch",)
    done = run(command, *given, "-o", name, cwd=folder)
    assert done.returncode == 0, done.stderr
    assert (folder / name).read_bytes().lower().startswith(begins.lower())


@pytest.mark.parametrize(
    ("command", "name"),
    [("sheet", "a.svg"), ("card", "a.gif"), ("picture", "a.jpg"), ("bitmap", "a.bmp"), ("gauge", "a.csv")],
)
def test_an_ending_that_a_command_does_not_make_is_refused(command: str, name: str, folder: Path) -> None:
    done = run(command, "tide.stitch", "-o", name, cwd=folder)
    assert done.returncode == 2
    assert f"`-o {name}`" in done.stderr
    assert not (folder / name).exists()


@pytest.mark.parametrize(
    ("content", "kind"),
    [(b"PK\x03\x04\x14\x00\xb5", "word processor"), (b"{\\rtf1 K T}", "word processor"), (b"%PDF-1.7", "PDF")],
)
def test_a_document_is_told_as_one(content: bytes, kind: str, folder: Path) -> None:
    (folder / "word.stitch").write_bytes(content)
    done = run("check", "word.stitch", cwd=folder)
    assert done.returncode == 1
    assert "[N112]" in done.stdout and kind in done.stdout and "plain text" in done.stdout


def test_a_traced_pattern_can_be_read_again(folder: Path) -> None:
    assert run("chart", "tide.stitch", "-o", "tide.png", cwd=folder).returncode == 0
    done = run("trace", "tide.png", "-o", "traced.stitch", cwd=folder)
    assert done.returncode == 0, done.stderr
    assert run("check", "traced.stitch", cwd=folder).returncode == 0


@pytest.mark.parametrize("command", ["card", "bitmap", "chart", "picture"])
def test_several_stitches_do_not_become_a_folder_called_as_a_picture(folder: Path, command: str) -> None:
    (folder / "two.stitch").write_text(f"{TIDE}stitch ebb\n1: K S\n2: K\n", "utf-8")
    before = sorted(folder.iterdir())
    said = run(command, "two.stitch", "-o", "out.png", cwd=folder)
    assert said.returncode == 2 and "2 stitches do not go into one file" in said.stderr
    assert sorted(folder.iterdir()) == before


@pytest.mark.parametrize("command", ["check", "chart", "gauge", "compare", "sheet"])
def test_a_name_is_found_however_its_accent_was_typed(folder: Path, command: str) -> None:
    """Names are compared after Unicode NFC normalisation; some keyboards and terminals send the other form."""
    (folder / "marée.stitch").write_text(
        "stitch marée\n1: K T\n2: K\npiece café\nneedles 20\nknit marée for 4 rows\n", "utf-8"
    )
    found = run(command, "marée.stitch", "--stitch", "mare\u0301e", cwd=folder)
    assert found.returncode == 0 and "marée" in found.stdout, found.stderr
    half_way = run("piece", "marée.stitch", "--so-far", "mare\u0301e 2 rows 1 cm", cwd=folder)
    assert half_way.returncode == 0, half_way.stderr


def test_a_name_that_is_nearly_right_is_found(folder: Path) -> None:
    for name in ("tide", "tide.stich", "tied.stitch"):
        missing = run("check", name, cwd=folder)
        assert missing.returncode == 3 and "Try: tide.stitch" in missing.stderr + missing.stdout, missing
    many = run("check", "tide.stitch", "--machine", "card24", cwd=folder)
    assert many.returncode == 1 and "--machine card24-standard or --machine card24-bulky" in many.stdout + many.stderr


ODD_NAMES = [b"a\x1b[31mb", "u\u202ev".encode(), b"x\xff\xf1"]


@pytest.mark.parametrize("name", ODD_NAMES)
def test_a_name_with_odd_bytes_is_shown_safely_and_printed_exactly(
    name: bytes, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A person sees no character that a terminal obeys; a script gets the very name of the file."""
    monkeypatch.chdir(folder)
    file, out = name + b".stitch", b"out-" + name
    Path(os.fsdecode(file)).write_text(TIDE, "utf-8")
    for command in ("check", "chart", "sheet", "gauge"):
        shown = subprocess.run([*STITCHC, command, os.fsdecode(file)], capture_output=True, check=True)
        for bad in (b"\x1b", "\u202e".encode(), b"\xff"):
            assert bad not in shown.stdout + shown.stderr, (command, shown)
    made = subprocess.run(
        [*STITCHC, "bitmap", os.fsdecode(file), "-o", os.fsdecode(out)], capture_output=True, check=True
    ).stdout
    assert made.startswith(out) and Path(os.fsdecode(made.rstrip(b"\n"))).is_file()


@pytest.mark.parametrize("locale", ["C", "POSIX"])
def test_where_file_names_are_not_unicode_they_lose_their_accents(locale: str, folder: Path) -> None:
    text = 'pattern "Piña"\nstitch piña\n1: K T\n2: K\n'
    limited = {**os.environ, "LC_ALL": locale, "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    words = [*STITCHC, "bitmap", "-"]
    made = subprocess.run(words, input=text.encode(), capture_output=True, cwd=folder, env=limited, check=True)
    assert made.stdout == b"pina-pina-bitmap.png\n" and (folder / "pina-pina-bitmap.png").is_file()


def test_a_plot_is_made_in_silence_where_no_cache_can_be_kept(folder: Path) -> None:
    nowhere = {"MPLCONFIGDIR": str(folder / "tide.stitch" / "under-a-file")}
    made = run("compare", "tide.stitch", "--format", "png", cwd=folder, env=nowhere)
    assert made.returncode == 0 and "atplotlib" not in made.stderr, made.stderr

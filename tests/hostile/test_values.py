"""Every option and argument of every command with every kind of nonsense: an orderly answer, in bounded memory.

The options are asked of the commands themselves, so that a new one is tried without a word here.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import sys
import time
from pathlib import Path

import click
import pytest

from stitchc.cli import COMMANDS, command_named
from tests.hostile.child import forked, memory_of

PATTERN = """\
pattern "Tide line"
yarn foam "sea green" tex 210
stitch tide
    1 in foam: K T
    2 in foam: K
stitch reef = tide then tide shifted 1
gauge plain 20 stitches 28 rows per 10 cm
piece cuff
    width 18 cm plus 1 cm
    knit reef for 4 cm at "5"
"""

NONSENSE = (
    *("", " ", "0", "-0", "-1", "1", "3", "1000000000", "99999999999999999999999999", "1e9", "1e400", "1.5", "0x10"),
    *("nan", "NaN", "inf", "-inf", "٣", "½", "²", "1_000", "+5", "5,5", "true", "none", "null"),
    *("L0", "R0", "L1-R0", "L40-R39", "R40-L40", "L99999999999999999999-R1", "80-", "-80", "L", "l1-r1", "L1–R1"),
    *("20x28", "20×28", "20x", "x28", "0x0", "-20x28", "1e308x1e308", "nanxnan", "20x28x30", "500x500", "0.0001x28"),
    *("tide", "TIDE", "tíde", "plain", "no such", "piece", "cuff", "hand-standard", "card24-standard", "own.toml"),
    *("tide 30 rows 7.1 cm", "reef 10 rows 0 cm", "reef 1000000000 rows 7 cm", "reef 30 rows nan cm", "rows cm"),
    *("18", "18,20", "18,,20", "18,-1", "18,1e9,nan", "0.0000001", ",", ":", ";", "=", "#ff0000=T", "#ff=K"),
    *("tuck", "slip", "knit", "png", "PNG", "text", "json", "cm", "in", "a4", "roll", "left"),
    *("$(id)", "`id`", "%s%s%n", "{0.__class__}", "../../../etc/passwd", "a" * 3000, "💡" * 50, "\u202e"),
    *("\t\n", "'; DROP", '"', "\\", "--", "-", "--help=1", "-o", "L1-R1-R2", "\udcff", "\x1b[31m", "N102"),
)  # fmt: skip

PLACES = (
    *("", " ", ".", "..", "/", "-", "~", "*", "nothing.stitch", "nothing", "tide.stitch/", "tide.stitch/x", "tide"),
    *("/dev/null", "/dev/zero", "/proc/self/mem", "/etc/passwd", "x" * 5000, "a/" * 2500, "💡.stitch", "\udcff.stitch"),
    *("chart.png", "own.toml", "\u202e", "\x1b[31m", "a\nb", "$(id)", "tide.stitch\t", "N102", "hand-fine"),
)  # fmt: skip

ARGUMENTS = {"new": ("first",), "machines": (), "explain": ("N102",), "trace": ("chart.png",)}
NEEDED = {
    "leaflet": ("--machine", "hand-fine", "--no-pictures"),
    "chart": ("--format", "svg"),
    "card": ("--dpi", "72"),
    "build": ("-o", "built", "--machine", "hand-fine", "--no-pictures"),
    "picture": ("--size", "2x2", "--dpi", "40"),
}
WAITS = {"--watch"}
"""Options that never end."""
TRIED = [name for name in COMMANDS if name != "live"]
"""`live` serves until it is stopped; its own tests send it nonsense."""
SLOW = {"build": 9, "leaflet": 9, "picture": 6, "compare": 4, "card": 4, "gauge": 2, "piece": 2}
"""Commands of which only every so many values one is tried."""
SLOW_FLAGS = {"--pictures", "--mechanics"}
"""What is tried by tests of its own, since it takes seconds."""

SECONDS = 45
MEGABYTES = 900


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    from PIL import Image

    place = tmp_path_factory.mktemp("values")
    (place / "tide.stitch").write_text(PATTERN, "utf-8")
    (place / "plain.stitch").write_text("stitch tide\n    1: K T\n    2: K\n", "utf-8")
    (place / "own.toml").write_text('based_on = "hand-fine"\n')
    dots = Image.new("1", (4, 4), 1)
    dots.putpixel((1, 2), 0)
    dots.putpixel((3, 2), 0)
    dots.save(place / "chart.png")
    return place


def tried(folder: Path, attempts: list[list[str]]) -> None:
    """All of the attempts in one child, each with an orderly end; memory and time are the child's together."""

    def job() -> int:
        from stitchc.__main__ import run

        real = sys.stdout
        os.environ["XDG_CACHE_HOME"] = str(folder / "cache")
        for arguments in attempts:
            out, err = io.StringIO(), io.StringIO()
            began = time.process_time()
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                status = run(arguments)
            words = out.getvalue() + err.getvalue()
            fault = status not in (0, 1, 2, 3) or "Traceback" in words or "itself went wrong" in words
            mute = status != 0 and not words.strip()
            if fault or mute or time.process_time() - began > 20:
                print(json.dumps([arguments, status, words[-600:], time.process_time() - began]), file=real)
        return 0

    result = forked(job, folder, PATTERN.encode(), memory_of(MEGABYTES), SECONDS)
    assert result.status == 0 and result.out == "", f"{result.status}\n{result.out[:6000]}\n{result.err[-3000:]}"


def options_of(name: str) -> list[str]:
    """Those of a command, each by its longest name."""
    return [
        max(parameter.opts, key=len)
        for parameter in command_named(name).params
        if isinstance(parameter, click.Option) and parameter.name not in ("output", "help")
    ]


@pytest.mark.parametrize("name", TRIED)
def test_options_with_nonsense(folder: Path, name: str) -> None:
    """All options of a command in one child, whose memory has to be enough for them together."""
    attempts: list[list[str]] = []
    for option in options_of(name):
        file = "plain.stitch" if (name, option) == ("build", "--output") else "tide.stitch"  # the place is tried
        plain = [name, *ARGUMENTS.get(name, (file,)), *NEEDED.get(name, ())]
        parameter = next(p for p in command_named(name).params if option in p.opts)
        assert isinstance(parameter, click.Option)
        if option in WAITS:
            continue
        if parameter.is_flag:
            if option not in SLOW_FLAGS:
                attempts += [[*plain, option, option], [*plain, f"{option}=x"]]
            continue
        given = NONSENSE[:: SLOW.get(name, 1)]
        if (name, option) == ("picture", "--dpi"):
            given = tuple(value for value in given if value != "1_000")  # a thousand, which takes its time
        attempts += [[*plain, option, value] for value in given]
    tried(folder, attempts)


@pytest.mark.parametrize("name", TRIED)
def test_a_command_about_nonsense(folder: Path, name: str) -> None:
    more = list(NEEDED.get(name, ()))
    attempts = [[name, place, *more] for place in PLACES if name != "new"]
    attempts += [[name], [name, *more], [name, "--no-such-option"], [name, "--help"], [name, "a", "b", "c", "d"]]
    attempts += [[name, *ARGUMENTS.get(name, ("tide.stitch",)), *more, "--force", "--force"]]
    tried(folder, attempts)


def test_new_with_nonsense(folder: Path) -> None:
    place = folder / "new"
    place.mkdir()
    tried(place, [["new", name] for name in PLACES])
    assert all(path.parent == place and path.suffix == ".stitch" for path in place.iterdir())
    tried(place, [["check", path.name] for path in place.iterdir()])


def test_the_environment_with_nonsense(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every option can come from the environment; nonsense there is an orderly refusal too."""

    def job() -> int:
        from stitchc.__main__ import run

        for name in ("sheet", "gauge"):
            for parameter in command_named(name).params:
                if not isinstance(parameter, click.Option) or not parameter.envvar or parameter.name == "output":
                    continue
                assert isinstance(parameter.envvar, str)
                for value in ("nan", "💡 1"):
                    os.environ[parameter.envvar] = value
                    said = io.StringIO()
                    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
                        status = run([name, "tide.stitch", "--force"])
                    if status not in (0, 1, 2, 3) or "itself went wrong" in said.getvalue():
                        print(name, parameter.envvar, repr(value), said.getvalue()[-500:], file=sys.__stdout__)
                del os.environ[parameter.envvar]
        return 0

    result = forked(job, folder, b"", memory_of(MEGABYTES))
    assert result.status == 0 and result.out == "", result


@pytest.mark.parametrize("letter", ["x", "𐐷"], ids=["x", "not in the font"])
def test_words_without_end_cost_no_time(tmp_path: Path, letter: str) -> None:
    """Titles, notes, names and steps of tens of thousands of letters: every form is made, and soon."""
    word, name = letter * 40_000, letter[:1] * 20_000
    (tmp_path / "tide.stitch").write_text(
        f'pattern "{word}"\nnote "{word}"\nyarn {name} "{word}"\nstitch {name}\n1 in {name}: K2 T\n2 in {name}: K\n'
        f'gauge plain 20 stitches 28 rows per 10 cm\npiece cuff\nneedles 24\ndo "{word}"\nknit {name} for 10 rows\n',
        "utf-8",
    )
    for words in (
        ["chart", "--format", "pdf"],
        ["card", "--format", "svg"],
        ["sheet", "--format", "html"],
        ["bitmap"],
        ["picture", "--px", "200"],
        ["compare", "--format", "png"],
        ["piece", "--format", "html"],
        ["format"],
    ):

        def job(words: list[str] = words) -> int:
            from stitchc.__main__ import run

            return run([words[0], "tide.stitch", *words[1:]])

        result = forked(job, tmp_path, seconds=60)
        assert result.status == 0 and result.orderly, (words, result.status, result.err[-300:])

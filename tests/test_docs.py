"""What README and DEVELOPERS say of the program is so: modules, options, limits, figures, and how it hangs together."""

from __future__ import annotations

import ast
import functools
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from stitchc import chart, explain
from stitchc.cli import COMMANDS, command_named, common
from stitchc.machines import SHIPPED, load_text
from stitchc.notation import gather, reader, tree, vocabulary

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "stitchc"
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
MODULES = sorted(path for path in PACKAGE.rglob("*.py"))
OF_OTHERS = {"--bless", "--bench", "--bare", "--strict", "--quiet"}
"""Options of the project's own tests, of mypy and of pip."""


def table(heading: str) -> Iterator[list[str]]:
    """The rows of the first table after a heading of DEVELOPERS, head and rule left out."""
    lines = DEVELOPERS[DEVELOPERS.index(heading) :].splitlines()
    rows = [line for line in lines if line.startswith("|")]
    first = lines.index(rows[0])
    for line in lines[first + 2 :]:
        if not line.startswith("|"):
            return
        yield [cell.strip() for cell in line.strip("|").split("|")]


# -- names ----------------------------------------------------------------------------------------------------------


def test_every_package_and_module_of_the_top_is_in_the_table() -> None:
    named = {place for places, _ in table("## How it works") for place in re.findall(r"`(stitchc/[\w./]+)`", places)}
    there = {f"stitchc/{path.name}/" for path in PACKAGE.iterdir() if (path / "__init__.py").is_file()}
    there |= {f"stitchc/{path.name}" for path in PACKAGE.glob("*.py")} - {"stitchc/__init__.py"}
    assert named == there


def test_every_file_named_is_there() -> None:
    """Whole paths, and paths within the package or a part of it, as `piece/size.py`."""
    for text in (README, DEVELOPERS):
        for name in re.findall(r"`([\w./-]+\.(?:py|md|lark|txt|png))`", text):
            if name == "chart.png":
                continue
            beside = [ROOT / name, PACKAGE / name, PACKAGE / "notation" / name, ROOT / "tests" / "proof" / name]
            assert any(path.is_file() for path in beside), name


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_every_option_named_is_some_commands(text: str) -> None:
    known = {"--help", "--version"} | OF_OTHERS
    for name in COMMANDS:
        command = command_named(name)
        known |= {word for each in command.params for word in (*each.opts, *each.secondary_opts)}
    assert set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", text)) <= known


def test_options_beside_a_command_are_its_own() -> None:
    for name, words in re.findall(r"`stitchc ([a-z]+) ([^`]*)`", README + DEVELOPERS):
        command = command_named(name)
        own = {word for each in command.params for word in each.opts} | {"--help"}
        assert set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", words)) <= own, (name, words)


def test_the_messages_letters_are_those_of_the_codes() -> None:
    paragraph = README[README.index("## Messages") :].split("## ")[1]
    assert set(re.findall(r"\b([A-Z]) (?:the|what|files|a)\b", paragraph)) == set(explain.KINDS)
    assert {code[0] for code in explain.codes()} == set(explain.KINDS)


# -- figures --------------------------------------------------------------------------------------------------------


def test_the_limits() -> None:
    limits = " ".join(README[README.index("## Limits") :].split("## ")[1].split())
    assert f"A chart has at most {chart.MAX_CELLS:,} cells" in limits
    assert f"a file at most {gather.MOST_BYTES // 2**20} MiB" in limits
    assert f"brackets nest at most {vocabulary.DEEPEST} deep" in limits
    assert f"a count is at most {vocabulary.MOST_COUNT:,}" in limits
    assert f"includes nest at most {gather.MOST_INCLUDES_DEEP} deep" in limits


def test_the_figures_of_trace_are_those_of_its_table() -> None:
    """README's sentence on how many pictures were read, against the report that the measuring left."""
    report = (ROOT / "tests" / "trace" / "elsewhere.txt").read_text("utf-8")
    lines = [line for line in report.splitlines() if line.startswith("together")]
    said = " ".join(README.split())
    assert len(lines) == 2
    for line in lines:
        pictures, right, silent, warned, refused, _ = line.split()[1:]
        few = {"0": "none was", "1": "1 was"}
        assert f"Of {pictures} pictures" in said
        told = [few.get(count, f"{count} were") for count in (warned, silent)]
        assert (
            f"{right} were read without a wrong cell, {told[0]} wrong with a warning, {refused} were refused and "
            f"{told[1]} wrong without a warning" in said
        )


# -- what to do for … -----------------------------------------------------------------------------------------------


def test_the_profile_in_readme_is_in_order() -> None:
    text = next(block for block in re.findall(r"```\n(.*?)```", README, re.DOTALL) if "based_on" in block)
    machine = load_text(text, "loft.toml")
    assert machine.name == "loft-machine" and machine.card is not None and machine.card.hole_mm == 4.0


def test_shipped_machines_are_the_profiles_that_lie_there() -> None:
    assert sorted(SHIPPED) == sorted(path.stem for path in (PACKAGE / "machines" / "profiles").glob("*.toml"))


def test_every_word_of_the_grammar_is_a_keyword() -> None:
    grammar = (ROOT / "grammar" / "stitch.lark").read_text("utf-8")
    words = {word.lower() for word in re.findall(r'"([a-z]+)"i', grammar)}
    spelt_in_ways = {"colour", "rows", "stitches"}
    assert words and words | spelt_in_ways == vocabulary.KEYWORDS | vocabulary.NEW_WORDS


def test_lines_are_values_and_the_reader_has_a_method_for_each_rule() -> None:
    grammar = (ROOT / "grammar" / "stitch.lark").read_text("utf-8")
    rules = {name for name in re.findall(r"^[?]?([a-z_]+)\s*:", grammar, re.MULTILINE) if not name.startswith("_")}
    rules |= set(re.findall(r"->\s*([a-z_]+)", grammar))
    missing = {rule for rule in rules if rule != "start" and not hasattr(reader._Builder, rule)}
    inlined = set(re.findall(r"^\?([a-z_]+)\s*:", grammar, re.MULTILINE))
    assert missing <= inlined
    assert all(issubclass(line, tuple) for line in tree.Line.__args__)


def test_every_form_that_a_command_offers_has_an_ending() -> None:
    for name in COMMANDS:
        command = command_named(name)
        for each in command.params:
            if each.name == "form" and isinstance(each.type, click.Choice):
                forms = {"text" if form in ("notation", "sheet") else str(form) for form in each.type.choices}
                assert forms - {"both"} <= set(common.ENDINGS.values()), name


def test_dependencies_are_those_of_the_table() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]

    def names(requirements: list[str]) -> set[str]:
        return {re.split(r"[<>=]", requirement)[0] for requirement in requirements}

    rows = dict(table("## What each dependency is for"))
    (of_tests,) = (name for name in rows if name.startswith("(tests)"))
    assert set(rows) - {of_tests} == names(project["dependencies"])
    assert set(of_tests.removeprefix("(tests) ").split(", ")) == names(project["optional-dependencies"]["test"])


# -- how it hangs together ------------------------------------------------------------------------------------------


@functools.cache
def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text("utf-8"))


@functools.cache
def imports(path: Path) -> tuple[tuple[str, bool], ...]:
    """Parts of the package (`notation`, `chart`, …) that a module imports, and whether it is when it is loaded itself.

    What stands under TYPE_CHECKING is for the type checker alone and is left out.
    """
    whole = parsed(path)
    for_types = {
        id(inner)
        for node in ast.walk(whole)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)
        for inner in ast.walk(node)
    }
    top = {id(node) for node in whole.body}
    found: list[tuple[str, bool]] = []
    for node in ast.walk(whole):
        if id(node) in for_types or not isinstance(node, ast.ImportFrom) or not node.module:
            continue
        parts = node.module.split(".")
        if parts[0] == "stitchc":
            for name in parts[1:2] or [alias.name for alias in node.names]:
                found.append((name, id(node) in top))
    return tuple(found)


def part_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def test_no_two_parts_import_each_other_and_none_imports_the_command_line() -> None:
    uses: dict[str, set[str]] = {}
    for path in MODULES:
        if path.parent != PACKAGE or path.stem != "__init__":
            uses.setdefault(part_of(path), set()).update(name for name, _ in imports(path) if name != part_of(path))
    assert {part for part, used in uses.items() if "cli" in used} == {"__main__"}
    below: dict[str, set[str]] = {}
    while len(below) < len(uses):
        ready = [part for part in uses if part not in below and uses[part] <= set(below)]
        assert ready, f"a circle among {sorted(set(uses) - set(below))}"
        below.update({part: uses[part] for part in ready})


def test_files_are_opened_where_it_is_said() -> None:
    users = {part_of(path) for path in MODULES if "files" in {name for name, _ in imports(path)}}
    assert users == {"__main__", "cli", "live", "notation", "machines"}


def test_only_one_module_writes_files() -> None:
    """By the names of what writes: a method of a path, `os` or `open` with a mode that writes."""
    for path in MODULES:
        if path == PACKAGE / "files.py":
            continue
        for node in ast.walk(parsed(path)):
            if isinstance(node, ast.Attribute):
                assert node.attr not in ("write_text", "write_bytes", "rename", "mkdir", "makedirs", "fdopen"), path
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "open":
                assert path.name == "__main__.py", path  # the null device, for a stream that was closed

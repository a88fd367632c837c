"""The P codes: every one has a page, its broken example raises exactly that code, its mended one none."""

from __future__ import annotations

import re
import tomllib
from importlib.resources import files
from pathlib import Path

import pytest
from click.testing import CliRunner

from stitchc.cli.piece import command

PAGES = sorted(entry.name for entry in (files("stitchc") / "explain").iterdir() if re.match(r"P\d+\.toml", entry.name))
SOURCES = Path(__file__).parents[2] / "stitchc"


def codes(text: str, folder: Path) -> set[str]:
    file = folder / "it.stitch"
    file.write_text(text, encoding="utf-8")
    said = CliRunner().invoke(command, [str(file)]).stderr
    return set(re.findall(r"(?:error|warning|info)\[(\w+)\]", said))


@pytest.mark.parametrize("name", PAGES)
def test_broken_raises_exactly_its_code_and_mended_none(name: str, tmp_path: Path) -> None:
    page = tomllib.loads((files("stitchc") / "explain" / name).read_text(encoding="utf-8"))
    assert page["code"] == name[:-5]
    assert page["command"] == "piece"
    assert codes(page["broken"], tmp_path) == {page["code"]}
    assert codes(page["mended"], tmp_path) == set()


def test_every_code_that_is_raised_has_a_page() -> None:
    sources = [*(SOURCES / "piece").glob("*.py"), SOURCES / "cli" / "piece.py"]
    raised = set(re.findall(r'"(P\d{3})"', "".join(source.read_text(encoding="utf-8") for source in sources)))
    assert raised == {name[:-5] for name in PAGES}

"""Characters that a terminal or a page would obey instead of showing them, in every text a pattern may hold.

JSON is left out: it is data and keeps every character as it is.
"""

from __future__ import annotations

import unicodedata
from pathlib import Path

import pytest

from tests.proof.running import stitchc

HIDDEN = "Ebb\x14 tide \u202eedit \x1b[31mred\x9b1m\u2028\uffff"
PATTERN = f"""
pattern "{HIDDEN}"
note "{HIDDEN}"
yarn foam "{HIDDEN}" tex 210
yarn kelp "{HIDDEN}"
stitch ripple
    1 in foam: K T
    2 in foam: K
    3 in kelp: T K
    4 in kelp: K
gauge plain 20 stitches 28 rows per 10 cm
piece cuff
    needles 40
    do "{HIDDEN}"
    knit ripple for 8 rows at "{HIDDEN}"
"""


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "ebb.stitch"
    path.write_text(PATTERN, "utf-8")
    return path


def obeyed(text: str) -> set[str]:
    """What a terminal or a browser takes for a command or shows nothing of; line ends and tabs are ours."""
    return {letter for letter in text if unicodedata.category(letter) in ("Cc", "Cf", "Cn", "Zl")} - {"\n", "\t"}


@pytest.mark.parametrize(
    "words",
    [
        *("check", "chart", "gauge", "compare", "sheet", "sheet --every-row", "sheet --machine card24-standard"),
        *("piece", "piece --every-row", "piece --machine card24-standard", "card --format text", "swatch"),
        *("sheet --format html -o out.html", "piece --format html -o out.html", "card -o out.svg", "chart -o out.svg"),
    ],
)
def test_every_text_is_shown_and_none_obeyed(file: Path, words: str) -> None:
    command, *options = words.split()
    said = stitchc(command, file, *options)
    assert said.status == 0, said
    assert not obeyed(said.out), words
    assert not obeyed(said.err), words
    for made in file.parent.glob("out*"):
        if made.suffix in (".html", ".svg"):
            assert not obeyed(made.read_text("utf-8")), made.name


def test_the_page_that_build_leaves(file: Path) -> None:
    assert stitchc("build", file, "-o", "all").status == 0
    texts = [path for path in Path("all").iterdir() if path.suffix in (".html", ".txt", ".svg")]
    assert len(texts) > 4
    for path in texts:
        assert not obeyed(path.read_text("utf-8")), path.name


def test_what_is_meant_is_still_there(file: Path) -> None:
    """Shown as \\u{…}, in the one text that goes to a printer's workbench with the title in its first line."""
    assert stitchc("card", file, "--format", "text").out.startswith(
        "Ebb\\u{14} tide \\u{202e}edit \\u{1b}[31mred\\u{9b}1m\\u{2028}\\u{ffff}, ripple:\n"
    )

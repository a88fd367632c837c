"""What stitchc says, in the words of the page: nothing of a command line that the page has itself."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from stitchc import explain, wording
from stitchc.gauge import estimate_pattern
from stitchc.live.reading import as_json, read
from stitchc.live.settings import OPTIONS
from stitchc.live.words import PAGE, advice_parts
from stitchc.machines import SHIPPED, load
from stitchc.notation import compile_text
from stitchc.notation.vocabulary import KEYWORDS, NEW_WORDS, TEXT_WORDS
from stitchc.option import options_in
from stitchc.trace.words import colour_option, no_lines
from stitchc.wording import OPTION, command_name, machine_choice, machine_name, worded


def test_each_front_end_has_its_own_words() -> None:
    def sentences() -> tuple[str, ...]:
        hand, own = machine_name("hand-fine"), machine_name("of-mine")
        return OPTION.plain, OPTION.first_row, hand, own, machine_choice("hand-fine"), command_name("swatch")

    title = "“Hand bed, fine gauge, 3.6 mm, no patterning”"
    typed = ("--plain", "--first-row", "`hand-fine`", "`of-mine`", "--machine hand-fine", "`stitchc swatch`")
    assert sentences() == typed
    with worded(PAGE):
        shown = ("“Stocking stitch”", "“First row”", title, "`of-mine`", f"the machine {title}", "“Plan a swatch”")
        assert sentences() == shown
        assert command_name("card") == "`stitchc card`"
    assert sentences() == typed


def test_sentences_name_options_that_there_are() -> None:
    """What is written `OPTION.name` in the program is an option of some product, or one that commands share."""
    sources = Path(wording.__file__).parent.rglob("*.py")
    asked = {name for path in sources for name in re.findall(r"\{OPTION\.(\w+)[}:]", path.read_text("utf-8"))}
    shared = {"machine", "format", "anyway"}
    flags = {option.flag.lstrip("-").replace("-", "_") for kind in OPTIONS.values() for _, option in options_in(kind)}
    assert len(asked) > 25
    assert asked <= flags | shared


ON_PAPER_OR_TYPED = {
    *("card/notes.py", "card/testing.py", "piece/so_far.py", "sheet/sheet.py", "gauge/report.py", "gauge/evidence.py"),
    "machines/habits.py",
    *("compare/report.py", "swatch/book.py", "swatch/product.py", "leaflet/product.py", "trace/traced.py"),
    *("card/product.py", "machines/loader.py", "machines/source.py", "machines/schema.py", "fabric/relaxation.py"),
    *("files.py", "option.py", "options.py", "wording.py"),
}
"""Modules that write documents or whole commands, or of which the page shows nothing."""


def test_sentences_of_the_page_name_no_option_as_it_is_typed() -> None:
    package = Path(wording.__file__).parent
    typed = set()
    for path in package.rglob("*.py"):
        tree = ast.parse(path.read_text("utf-8"))
        prose = {node.value for node in ast.walk(tree) if isinstance(node, ast.Expr)}
        texts = [node for node in ast.walk(tree) if isinstance(node, ast.Constant) and node not in prose]
        if any(isinstance(node.value, str) and re.search(r"(?<![\w-])--[a-z]{2}", node.value) for node in texts):
            typed.add(path.relative_to(package).as_posix())
    assert {name for name in typed if not name.startswith("cli/")} <= ON_PAPER_OR_TYPED


def test_how_to_write_names_every_word_of_the_notation() -> None:
    page = (Path(wording.__file__).parent / "live/page/app.js").read_text("utf-8")
    shown = set(re.findall(r"\w+", page[page.index("const HOW = [") : page.index("function howToWrite")]))
    assert (KEYWORDS | TEXT_WORDS | NEW_WORDS) - shown <= {"mm", "right"}  # another unit, the other side


def test_a_users_own_words_are_not_touched() -> None:
    """A stitch called like a machine, and a name that looks like an option."""
    text = "stitch hand-fine\n    1: K T S\nstitch hand-fine\n    1: Q\n"
    messages = as_json(read(text, "--box.stitch", None, load("card24-standard")), "--box.stitch", 1)["messages"]
    assert any("`hand-fine`" in message["text"] for message in messages)
    assert not any("Hand bed" in message["text"] or "Part of the picture" in message["text"] for message in messages)


def test_an_option_with_its_value_is_one_name() -> None:
    """A field and what to choose in it, without the quotes that a terminal needs."""
    message = no_lines(9, 10)
    assert "as in --grid even --cells 11x12." in str(message.advice)
    assert colour_option((192, 48, 32), 1) == '--colour "#c03020=T"'
    with worded(PAGE):
        assert "as in “Grid: even” “Cells: 11x12”." in str(no_lines(9, 10).advice)
        assert colour_option((192, 48, 32), 1) == "“Colour: #c03020=T”"


@pytest.mark.parametrize(
    ("advice", "parts"),
    [
        ("as in 5, which no line defines yet", [("as in 5, which no line defines yet", False)]),
        ("needles 3, or more, or a smaller edge", [("needles 3, or more, or a smaller edge", False)]),
        ("Keep one of them.", [("Keep one of them.", False)]),
        ("K3 T", [("K3 T", True)]),
        ("4-6", [("4-6", True)]),
        ("stitch a\n    1: K T\n    2: K", [("stitch a\n    1: K T\n    2: K", True)]),
        ("out 4   (all needles on one line)", [("out 4", True), ("   (all needles on one line)", False)]),
        ("as in 1: K\n      2: K", [("as in ", False), ("1: K\n      2: K", True)]),
        (
            "gauge a 21 stitches per 10 cm\nif you counted 21, see “Stocking stitch”.",
            [("gauge a 21 stitches per 10 cm", True), ("\nif you counted 21, see “Stocking stitch”.", False)],
        ),
    ],
)
def test_code_is_what_the_notation_reads(advice: str, parts: list[tuple[str, bool]]) -> None:
    assert advice_parts(advice) == parts


def test_no_message_names_a_machine_or_an_option_as_they_are_typed() -> None:
    """Every wrong example of `stitchc explain`, as the page says what is wrong with it."""
    names = re.compile(rf"--[a-z]|\b({'|'.join(SHIPPED)})\b")
    told = set()
    for code in explain.codes():
        page = explain.page(code)
        if page is None or not page.wrong:
            continue
        for machine in (None, load("card24-standard")):
            for message in as_json(read(page.wrong, "a.stitch", None, machine), "a.stitch", 1)["messages"]:
                told.add(message["code"])
                words = message["text"] + "".join(text for text, typed in message["cure"] if not typed)
                assert not names.search(words), message
    assert {"K207", "N106", "G601", "M302"} <= told


SURPRISING = """stitch steps over 4
    out 3
    1: K T K
    2: K
gauge plain 20 stitches 28 rows per 10 cm
gauge steps 13 stitches 30 rows per 10 cm
"""


def test_a_count_far_from_the_estimate_is_told_as_the_command_tells_it(tmp_path: Path) -> None:
    """Someone counted the stitches alone, and not the empty needles of the ladders."""
    pattern = compile_text(SURPRISING, "a.stitch").pattern
    assert pattern is not None
    (by_command,) = estimate_pattern(pattern).messages
    messages = as_json(read(SURPRISING, "a.stitch", tmp_path, None), "a.stitch", 1)["messages"]
    assert [(each["code"], each["text"], each["line"]) for each in messages] == [("G604", by_command.text, 6)]

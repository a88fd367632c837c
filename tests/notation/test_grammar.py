"""The parser that lies ready is the one that the grammar makes, and is used only where it is."""

from __future__ import annotations

import re
from pathlib import Path

import lark
import pytest

from stitchc.notation import grammar
from stitchc.notation.reader import read_lines

TEXT = 'pattern "Tide"\nstitch a over 2\n1 in foam: K T\nstitch b = (a up 2) beside plain 4 by 2\n'


def made() -> lark.Lark:
    return grammar.make_parser(grammar.grammar_path().read_text("utf-8"))


@pytest.fixture
def makings(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The grammars that a parser was made from."""
    texts: list[str] = []
    make = grammar.make_parser
    monkeypatch.setattr(grammar, "make_parser", lambda text, *more: texts.append(text) or make(text, *more))
    return texts


def test_it_is_the_one_that_the_grammar_makes(makings: list[str], bless: bool) -> None:
    if bless:
        grammar.READY.write_bytes(grammar.saved_parser())
        makings.clear()
    elif not grammar.READY.read_bytes().startswith(f"{lark.__version__} ".encode()):
        pytest.skip("made by another Lark")
    ready, anew = grammar.load_parser(), made()
    assert makings == [grammar.grammar_path().read_text("utf-8")], "--bless makes it anew"
    assert ready.parse(TEXT) == anew.parse(TEXT)
    terminals = [{t.name: (t.pattern.to_regexp(), t.priority) for t in parser.terminals} for parser in (ready, anew)]
    assert terminals[0] == terminals[1]
    assert set(ready.rules) == set(anew.rules)


def test_one_that_was_written_anew_is_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, makings: list[str]) -> None:
    monkeypatch.setattr(grammar, "READY", tmp_path / "parser.ready")
    grammar.READY.write_bytes(grammar.saved_parser())
    makings.clear()
    assert grammar.load_parser().parse(TEXT) == made().parse(TEXT)
    assert len(makings) == 1  # `made`


@pytest.mark.parametrize("kept", [None, b"", b"\n", b"damaged", b"cut", b"pickle"])
def test_a_missing_or_damaged_one_costs_nothing_but_time(
    kept: bytes | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, makings: list[str]
) -> None:
    whole = grammar.READY.read_bytes()
    spoilt = {b"damaged": whole[:-9] + b"x" + whole[-8:], b"cut": whole[:9000]}
    monkeypatch.setattr(grammar, "READY", tmp_path / "parser.ready")
    if kept is not None:
        grammar.READY.write_bytes(spoilt.get(kept, kept))
    assert grammar.load_parser().parse(TEXT) == made().parse(TEXT)
    assert len(makings) == 2
    assert [path.name for path in tmp_path.iterdir()] == ([] if kept is None else ["parser.ready"])


def test_another_grammar_and_another_lark_are_noticed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, makings: list[str]
) -> None:
    changed = tmp_path / "stitch.lark"
    changed.write_text(grammar.grammar_path().read_text("utf-8").replace('"pattern"i', '"design"i'), "utf-8")
    with monkeypatch.context() as patch:
        patch.setattr(grammar, "grammar_path", lambda: changed)
        grammar.load_parser().parse(TEXT.replace("pattern", "design"))
    monkeypatch.setattr(lark, "__version__", "0.0")
    grammar.load_parser().parse(TEXT)
    assert len(makings) == 2


def test_every_statement_has_an_example_that_is_read() -> None:
    """The indented lines of the grammar's comments are lines of the notation, of each kind one."""
    text = grammar.grammar_path().read_text("utf-8")
    examples = "\n".join(re.findall(r"^//     (.*)$", text, re.MULTILINE))
    lines, messages = read_lines(f"{examples}\n", "")
    assert messages == []
    assert len(lines) == examples.count("\n") + 1 - examples.split("\n").count("")
    rule = re.search(r"^\?line: (.*?)\n\n", text, re.MULTILINE | re.DOTALL)
    assert rule is not None
    kinds = {re.sub("_by_rows|_built", "", kind) for kind in re.findall(r"\w+", rule[1])} - {"row"}
    assert len(kinds) > 15
    assert kinds <= {line.split()[0] for line in examples.split("\n") if line.strip()}

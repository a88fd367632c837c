"""Every message code has a page; every wrong example raises exactly its code, and every fixed one nothing."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Iterable
from pathlib import Path

import pytest

from stitchc import explain
from stitchc.__main__ import run
from stitchc.cli.explain import in_full
from stitchc.explain import Page, page

ROOT = Path(__file__).parent.parent

CONTRACT = {
    *(f"N{number}" for number in range(101, 118)),
    *(f"K{number}" for number in range(201, 210)),
    *(f"M{number}" for number in range(301, 306)),
    *(f"F{number}" for number in range(501, 504)),
}
"""The codes that the program promises."""

RAISED = re.compile(r"^(?:.*?: )??(error|warning|info): .* \[([A-Z]\d{3})\]$", re.MULTILINE)


def in_sources() -> set[str]:
    """Every code that some module of the package can raise."""
    return {
        code
        for path in (ROOT / "stitchc").rglob("*.py")
        for code in re.findall(r"[\"']([A-Z]\d{3})[\"']", path.read_text(encoding="utf-8"))
        if code[0] in explain.KINDS
    }


def pages(with_fixed: bool = False) -> Iterable[Page]:
    for code in explain.codes():
        found = page(code)
        assert found
        if (found.fixed if with_fixed else found.wrong) is not None:
            yield found


@pytest.mark.parametrize("each", list(pages()), ids=lambda each: each.code)
def test_wrong_raises_exactly_its_code(
    each: Page, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    assert each.wrong is not None
    status, said = outcome(each, each.wrong, each.typed(), each.encoding, tmp_path, monkeypatch, capfd)
    found = RAISED.findall(said)
    told = {code for severity, code in found if severity != "info" or code == each.code}
    assert told == {each.code}, said
    worst = {severity for severity, _ in found}
    assert status == (0 if "error" not in worst else 3 if each.code.startswith("F") else 1), said


@pytest.mark.parametrize("each", list(pages(with_fixed=True)), ids=lambda each: each.code)
def test_fixed_raises_nothing(
    each: Page, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    assert each.fixed is not None
    status, said = outcome(each, each.fixed, each.typed(fixed=True), "utf-8", tmp_path, monkeypatch, capfd)
    assert [code for severity, code in RAISED.findall(said) if severity != "info"] == [], said
    assert status == 0, said


def outcome(
    each: Page,
    text: str,
    words: list[str],
    encoding: str,
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> tuple[int, str]:
    """Exit status and all that was printed by the page's command in a folder that holds its example."""
    (folder / each.file).write_bytes((text + "\n").encode(encoding))
    for name, content in each.beside.items():
        (folder / name).write_text(content, encoding="utf-8")
    monkeypatch.chdir(folder)
    status = run(words)
    said = capfd.readouterr()
    return status, said.out + said.err


def test_every_promised_code_has_a_page() -> None:
    assert set(explain.codes()) >= CONTRACT


def test_every_code_of_the_sources_has_a_page_and_every_page_a_code() -> None:
    assert in_sources() == set(explain.codes())


@pytest.mark.parametrize("code", explain.codes())
def test_a_page_is_whole(code: str) -> None:
    found = page(code)
    assert found and found.code == code
    assert found.title and found.title[0].isupper() and not found.title.endswith(".")
    assert len(found.text) > 80 and found.text.endswith(".")
    assert (found.wrong is None) == (found.fixed is None)
    for unwanted in ("!", "please", "Please", "illegal"):
        assert unwanted not in found.text


@pytest.mark.parametrize("code", explain.codes())
def test_the_commands_of_a_page_can_be_typed_as_they_stand(code: str) -> None:
    shown = page(code)
    assert shown is not None
    told = in_full(shown)
    for fixed in (False, True):
        if (shown.fixed if fixed else shown.wrong) is not None:
            lines = re.findall(r"stitchc [^`\n]*", told)
            assert ["stitchc", *shown.typed(fixed)] in [shlex.split(line, comments=True) for line in lines]


def test_the_list_names_every_code(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["explain"]) == 0
    out = capsys.readouterr().out
    assert re.findall(r"^  ([A-Z]\d{3})  ", out, re.MULTILINE) == explain.codes()


@pytest.mark.parametrize("said", ["K204", "k204", "[K204]", "error[K204]:"])
def test_a_code_in_any_dress(said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["explain", said]) == 0
    out = capsys.readouterr().out
    assert out.startswith("K204: A float that is too long\n")
    assert "K S7" in out and "K S3 K S3" in out
    assert max(map(len, out.splitlines())) <= 100


@pytest.mark.parametrize(
    ("said", "near"), [("N1O2", "N102"), ("K2O9", "K209"), ("N1022", "N102"), ("K2064", "K204` or `K206")]
)
def test_an_unknown_code_offers_the_nearest(said: str, near: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["explain", said]) == 2
    assert f"Did you mean `{near}" in capsys.readouterr().err


def test_something_else_altogether(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["explain", "harbour"]) == 2
    err = capsys.readouterr().err
    assert "no message code `harbour`" in err and "Did you mean" not in err


def test_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["explain", "K203", "F504", "--format", "json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["format"] == "stitchc-explain/2"
    k203, f504 = document["codes"]
    assert k203["wrong_command"] == ["stitchc", "check", "cowl.stitch"]
    assert "K3 T3" in k203["wrong"] and f504["wrong"] is None

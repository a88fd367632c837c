"""The grammar that is remembered between runs: whatever has become of it, patterns are read on, and alike."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from stitchc.notation import compile_text, grammar, reader

TEXT = (
    'pattern "Tide line"\nstitch ripple\n    1 in foam: K T\nstitch drift = ripple then ripple shifted 1\nyarn foam\n'
)
EXPECTED = ["KT", "TK"]


@pytest.fixture(autouse=True)
def _own_parser() -> Iterator[None]:
    """No test sees the parser of another."""
    forget()
    yield
    forget()


def forget() -> None:
    reader._parser.cache_clear()
    reader._reads_every_line.cache_clear()


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "cache"
    monkeypatch.setattr(grammar, "_cache_file", lambda key: folder / f"grammar-{key[:24]}.json")
    return folder


def read_on() -> None:
    pattern, messages, _ = compile_text(TEXT)
    assert pattern is not None, messages
    assert pattern.stitches["drift"].chart.rows() == EXPECTED
    assert [message.code for message in compile_text("stitch a\n1 K T").messages] == ["N101"]


def remembered(home: Path) -> Path:
    read_on()
    (path,) = home.iterdir()
    forget()
    return path


def signed(path: Path, body: str) -> str:
    """The body with the digest that the program would give it."""
    keys: list[str] = []
    original = grammar._remembered
    grammar._remembered = lambda key: keys.append(key)  # type: ignore[assignment, func-returns-value]
    try:
        compile_text(TEXT)
    finally:
        grammar._remembered = original
        reader._parser.cache_clear()
    return hashlib.sha256((keys[0] + body).encode()).hexdigest() + "\n" + body


def test_it_is_remembered_and_used(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = remembered(home)
    json.loads(path.read_text().split("\n", 1)[1])  # plain JSON, nothing that could run

    def refuse(*_: object) -> None:
        raise AssertionError("made anew although it is remembered")

    monkeypatch.setattr(grammar, "_remember", refuse)
    read_on()


@pytest.mark.parametrize(
    "damage",
    [
        lambda raw: b"",
        lambda raw: raw[:100],
        lambda raw: raw[: len(raw) // 2],
        lambda raw: raw[:-1],
        lambda raw: raw.replace(b"NAME", b"NOME"),
        lambda raw: b"\xff\xfe" + raw,
        lambda raw: b"\0" * len(raw),
        lambda raw: b"[" * 100_000,
        lambda raw: raw + b" " * 10_000_000,
        lambda raw: raw.split(b"\n")[0],
    ],
)
def test_damaged(home: Path, damage: Callable[[bytes], bytes]) -> None:
    path = remembered(home)
    path.write_bytes(damage(path.read_bytes()))
    read_on()


@pytest.mark.parametrize(
    "hostile",
    [
        lambda data, memo: None,
        lambda data, memo: [],
        lambda data, memo: [data],
        lambda data, memo: [data, {}],
        lambda data, memo: [{}, memo],
        lambda data, memo: [memo, data],
        lambda data, memo: [{**data, "parser": {}}, memo],
        lambda data, memo: [{**data, "options": {}}, memo],
        lambda data, memo: [{**data, "rules": []}, memo],
        lambda data, memo: [data, dict.fromkeys(memo)],
        lambda data, memo: [_with_states(data, {}), memo],
        lambda data, memo: [_with_states(data, {"0": {}}), memo],
        lambda data, memo: [_with_states(data, {"0": {"0": [0, 10**6]}}), memo],
        lambda data, memo: [_with_states(data, {"x": 1}), memo],
        lambda data, memo: [_with_states(data, _lame(data)), memo],
    ],
)
def test_hostile_with_the_right_digest(home: Path, hostile: Callable[[Any, Any], Any]) -> None:
    path = remembered(home)
    data, memo = json.loads(path.read_text().split("\n", 1)[1])
    path.write_text(signed(path, json.dumps(hostile(data, memo))))
    read_on()


def _lame(data: Any) -> dict[str, Any]:
    """Every state there is, and nothing that leads on from any: each text is refused, as a wrong one would be."""
    return {state: {} for state in data["parser"]["parser"]["states"]}


def _with_states(data: Any, states: object) -> Any:
    parser = {**data["parser"]["parser"], "states": states}
    return {**data, "parser": {**data["parser"], "parser": parser}}


def test_deep_json_with_the_right_digest(home: Path) -> None:
    path = remembered(home)
    path.write_text(signed(path, "[" * 100_000))
    read_on()


def test_a_folder_or_a_pipe_in_its_place(home: Path) -> None:
    path = remembered(home)
    path.unlink()
    path.mkdir()
    read_on()
    reader._parser.cache_clear()
    path.rmdir()
    if hasattr(os, "mkfifo"):
        os.mkfifo(path)
        read_on()


def test_a_file_in_place_of_the_folder(home: Path) -> None:
    home.write_text("in the way")
    read_on()


@pytest.mark.parametrize(
    "environment",
    [
        {},
        {"HOME": "/nonexistent/home"},
        {"HOME": ""},
        {"HOME": "/proc/nowhere", "XDG_CACHE_HOME": "/proc/nowhere"},
        {"XDG_CACHE_HOME": "/dev/null"},
        {"XDG_CACHE_HOME": "relative"},
        {"XDG_CACHE_HOME": "/dev/null/x\udcff"},
    ],
)
def test_homes_where_nothing_can_be_kept(environment: dict[str, str], tmp_path: Path) -> None:
    asked = f"compile_text({TEXT!r}).pattern.stitches['drift'].chart.rows()"
    script = f"from stitchc.notation import compile_text; print({asked})"
    found = subprocess.run(
        [sys.executable, "-c", script],
        env={"PATH": "/usr/bin:/bin", "PYTHONPATH": str(Path(__file__).parents[2]), **environment},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert found.stdout == f"{EXPECTED}\n", found.stderr
    assert not list(tmp_path.iterdir())

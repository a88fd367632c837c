"""Every message about the notation, by example: one file a situation, its codes at the end of the lines they are about.

The full rendering of each case is kept beside it; `pytest --bless` writes it anew, for a person to read.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

from stitchc.messages import Span, render, to_json
from stitchc.notation import Reading, compile_file

CASES = Path(__file__).parent / "cases"
NAMES = sorted(path.stem for path in CASES.glob("*.stitch"))
REMARKS = {"N118"}
"""Codes that stop nothing."""
CODES = [f"N{number}" for number in range(101, 120)]

_EXPECTED = re.compile(r"#\s*((?:N[0-9]{3}\s*)+)$")


@cache
def reading(name: str) -> Reading:
    found = compile_file(str(CASES / f"{name}.stitch"))
    here = str(CASES) + "/"  # so that the renderings hold no path of this machine

    def at(span: Span) -> Span:
        return span._replace(file=span.file.removeprefix(here))

    messages = [
        message._replace(
            span=at(message.span) if message.span else None,
            also=tuple((at(span), label) for span, label in message.also),
            text=message.text.replace(here, ""),
        )
        for message in found.messages
    ]
    return Reading(found.pattern, messages, {file.removeprefix(here): lines for file, lines in found.sources.items()})


def expected(name: str) -> Counter[tuple[str, int, str]]:
    """(file, line, code) as the comments of the case, and of what it includes, have them."""
    found: Counter[tuple[str, int, str]] = Counter()
    for file in {f"{name}.stitch", *reading(name).sources}:
        encoding = {"utf16": "utf-16", "utf16-without-mark": "utf-16-le"}.get(name, "utf-8")
        text = (CASES / file).read_bytes().decode(encoding, "replace")
        for number, line in enumerate(re.split(r"\r\n|\r|\n", text), start=1):
            if match := _EXPECTED.search(line):
                found.update((file, number, code) for code in match[1].split())
    return found


@pytest.mark.parametrize("name", NAMES)
def test_the_codes_stand_where_the_mistakes_are(name: str) -> None:
    got = Counter((m.span.file, m.span.line, m.code) for m in reading(name).messages if m.span)
    assert got == expected(name)
    assert (reading(name).pattern is None) == any(code not in REMARKS for _, _, code in got)


@pytest.mark.parametrize("name", NAMES)
def test_the_rendering_is_as_it_was_read(name: str, bless: bool) -> None:
    found = reading(name)
    text = "\n\n".join(render(message, found.sources) for message in found.messages) + "\n"
    beside = CASES / f"{name}.txt"
    if bless:
        beside.write_text(text, "utf-8")
    assert text == beside.read_text("utf-8")


@pytest.mark.parametrize("name", NAMES)
def test_places_lie_in_the_text_and_json_says_the_same(name: str) -> None:
    found = reading(name)
    document = json.loads(to_json(found.messages))
    assert document["format"] == "stitchc-messages/1"
    assert len(document["messages"]) == len(found.messages)
    for message, entry in zip(found.messages, document["messages"], strict=True):
        assert list(entry) == ["code", "severity", "file", "line", "column", "length", "text", "cure", "fix"]
        assert message.span is not None
        assert (entry["file"], entry["line"], entry["column"], entry["length"]) == message.span
        assert (entry["code"], entry["severity"]) == (message.code, "info" if message.code in REMARKS else "error")
        assert (entry["text"], entry["cure"]) == (message.text, message.advice)
        for span in (message.span, *(span for span, _ in message.also)):
            line = found.sources[span.file][span.line - 1]
            assert 1 <= span.column <= len(line) + 1
            assert 1 <= span.length <= max(1, len(line) + 1 - span.column)


@pytest.mark.parametrize("name", NAMES)
def test_wording(name: str) -> None:
    """One sentence that stands by itself, and a advice."""
    for message in reading(name).messages:
        assert message.text[0].isupper() or message.text[0] == "`", message.text
        assert message.text.endswith("."), message.text
        assert not re.search(r"!(?!`)|[Ii]llegal|[Pp]lease", message.text + (message.advice or "")), message.text
        assert message.advice, message.text


@pytest.mark.parametrize("code", CODES)
def test_every_code_is_raised_by_some_case(code: str) -> None:
    assert any(code == message.code for name in NAMES for message in reading(name).messages)


def test_renderings_belong_to_cases() -> None:
    assert sorted(path.stem for path in CASES.glob("*.txt")) == NAMES

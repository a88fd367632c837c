"""Every key of every shipped machine profile, given every type that TOML has and that the key does not take."""

from __future__ import annotations

import datetime
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest

from stitchc.machines import SHIPPED, load_text, profile_text
from stitchc.messages import Refused, render

GIVEN = {
    "text": ('""', '"x"', "'''a\nb'''", '"\\u202e"', '"' + "9" * 2000 + '"'),
    "whole": ("0", "-1", "9223372036854775807", "9" * 4000, "0xffffffffffffffffffff", "0o7", "0b1"),
    "number": ("0.0", "-0.0", "1e400", "-1e308", "nan", "-nan", "inf", "-inf", "1e-320"),
    "flag": ("true", "false"),
    "date": ("1979-05-27", "07:32:00", "1979-05-27T07:32:00", "1979-05-27T07:32:00Z"),
    "list": ("[]", "[1]", '["x", 1]', "[[[]]]", "[{}]", "[nan]", "[" + "1," * 500 + "]"),
    "table": ("{}", "{ a = 1 }", "{ warn_from = {} }"),
}
TYPES: dict[type, set[str]] = {
    str: {"text"},
    bool: {"flag"},
    int: {"whole", "number"},
    float: {"whole", "number"},
    list: {"list"},
    dict: {"table"},
    datetime.date: {"date"},
}


def keys(table: dict[str, Any], path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Each key of a document, tables too, with its value."""
    for name, value in table.items():
        yield (*path, name), value
        if isinstance(value, dict):
            yield from keys(value, (*path, name))


def told(text: str) -> Refused | None:
    """What is wrong with a profile, every message of it shown."""
    try:
        machine = load_text(text, "own.toml")
    except Refused as refused:
        for message in refused.messages:
            assert message.code == "M304" and message.severity == "error"
            assert len(render(message, refused.sources)) < 4000
        return refused
    assert machine.needles % 2 == 0 and 1 <= machine.pitch_mm <= 50
    return None


@pytest.mark.parametrize("name", SHIPPED)
def test_every_key_given_every_other_type(name: str) -> None:
    tried = 0
    for path, was in keys(tomllib.loads(profile_text(name))):
        for kind, values in GIVEN.items():
            # "never" stands for a limit that is taken away; a number may stand there too
            wrong = kind not in (TYPES[int] | TYPES[str] if was == "never" else TYPES[type(was)])
            for value in values:
                refused = told(f'based_on = "{name}"\n{".".join(path)} = {value}\n')
                tried += 1
                if path == ("based_on",) or not wrong or len(value) > 300:  # a long line is refused before it is read
                    continue
                if kind == "table" and value == "{}" and isinstance(was, dict):
                    continue
                assert refused is not None, (path, value)
                said = " ".join(message.text for message in refused.messages)
                assert path[-1] in said, (path, value, said)
    assert tried > 300


@pytest.mark.parametrize("name", SHIPPED)
def test_every_key_given_twice_or_as_a_table_of_tables(name: str) -> None:
    for path, was in keys(tomllib.loads(profile_text(name))):
        dotted = ".".join(path)
        for text in (
            f"{dotted} = 1\n{dotted} = 1\n",
            f"[{dotted}]\n[{dotted}]\n",
            f"[[{dotted}]]\nx = 1\n",
            f"[{dotted}.{dotted}]\nx = 1\n",
            f"{dotted} =\n",
            f"{dotted} = {{\n",
            f'{dotted} = "\n',
            f'{dotted} = "\\ud800"\n',
        ):
            refused = told(f'based_on = "{name}"\n' + text)
            assert refused is not None, (text, was)

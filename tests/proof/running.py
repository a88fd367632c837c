"""Runs the command line inside the test, and keeps what it said."""

from __future__ import annotations

import contextlib
import io
import json
import re
from pathlib import Path
from typing import Any, NamedTuple

from stitchc.__main__ import run
from tests.proof.machines import Habits, position


class Said(NamedTuple):
    status: int
    out: str
    err: str

    @property
    def codes(self) -> set[str]:
        """The codes of the errors among the messages."""
        return set(re.findall(r"error: .* \[(\w+)\]$", self.err, re.MULTILINE))

    def document(self) -> Any:
        return json.loads(self.out)


def stitchc(*arguments: str | Path) -> Said:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = run([str(argument) for argument in arguments])
    said = Said(status, out.getvalue(), err.getvalue())
    assert status in (0, 1, 2, 3) and "itself went wrong" not in said.err, said
    return said


SHIPPED = {
    "hand-fine": Habits("none"),
    "hand-standard": Habits("none"),
    "hand-mid": Habits("none"),
    "hand-bulky": Habits("none"),
    "card24-standard": Habits("card", 24, column_1_needle=position("L12")),
    "card24-bulky": Habits("card", 24, column_1_needle=position("L12")),
    "card12-bulky": Habits("card", 12, column_1_needle=position("L6")),
    "bitmap-standard": Habits("bitmap", 200, column_1_needle=None),
    "bitmap-bulky": Habits("bitmap", 110, column_1_needle=None),
}
"""The machines that ship, by what is promised of them: a hole or a dark pixel knits, nothing is mirrored, the card's
columns stand half each side of 0, needles are selected on the pass itself."""

UNFIT = re.compile(r"K2\d\d|M30[1-5]")


def settings_told_by_bitmap(err: str, rows: int) -> list[str]:
    """What the carriage is set to in each row of the repeat, from the sentence on standard error."""
    from tests.proof.machines import settings_told

    match = re.search(r"Set before these rows of the repeat: (.*)\.$", err, re.MULTILINE)
    changes: list[tuple[int, str | None]] = []
    if match:
        assert "more" not in match[1], "too many changes to be listed"
        for entry in match[1].split("; "):
            row, words = re.fullmatch(r"row (\d+) (.*)", entry).groups()  # type: ignore[union-attr]
            first = words.split(", ")[0]
            changes.append((int(row), first if first in ("plain", "tuck", "slip", "tuck + slip") else None))
    return settings_told(changes, rows)

"""How well fixes do: `python -m tests.notation.score [SET …] [--show]` counts them on the sets of slips.

right: the fix applied gives the pattern that was wanted. silent: no fix is offered. unfinished: more is wrong after it.
wrong: a fix gives another pattern; guessed: a fix is offered although nobody can say what was wanted; both count
tenfold. `slips` and `further` are for tuning, and --show lists their failing cases. `unseen`, `later` and `fourth` were
written without sight of the others or of the program, and no rule is made for them: this prints their counts and none
of their cases. A rule that decides next to nothing in the first two and nothing in these goes, so for what is taken out
they are no longer blind.
"""

from __future__ import annotations

import sys
import tomllib
from collections import Counter
from pathlib import Path
from typing import NamedTuple

from stitchc.messages import Message
from stitchc.notation import compile_text
from stitchc.notation.layout import same_meaning
from tests.notation.slips import FRAMES, SILENT, SLIPS, UNCLEAR

FURTHER = Path(__file__).parent / "further_slips.toml"
UNSEEN = Path(__file__).parent / "unseen_slips.toml"
LATER = Path(__file__).parent / "later_slips.toml"
FOURTH = Path(__file__).parent / "fourth_slips.toml"


class Case(NamedTuple):
    """A text with a wrong line, and the text that was wanted; None where nobody can say."""

    text: str
    intended: str | None


def seen() -> list[Case]:
    """The cases of slips.py."""
    clear = [
        Case(FRAMES[frame].replace("@", wrong), FRAMES[frame].replace("@", line))
        for frame, wrong, line in (*SLIPS, *SILENT)
    ]
    return clear + [Case(FRAMES[frame].replace("@", wrong), None) for frame, wrong in UNCLEAR]


def in_file(path: Path) -> list[Case]:
    """The cases of a file of slips; none where the file is not there."""
    cases = tomllib.loads(path.read_text("utf-8"))["case"] if path.exists() else []
    return [Case(case["file"], None if case.get("unclear") else case["intended"]) for case in cases]


def applied(text: str, messages: list[Message]) -> str:
    """The text with every fix of the messages made, last first."""
    lines = text.replace("\r\n", "\n").split("\n")
    for fix in sorted({m.fix for m in messages if m.fix}, reverse=True):
        line = lines[fix.line - 1]
        lines[fix.line - 1] = line[: fix.column - 1] + fix.text + line[fix.column - 1 + fix.length :]
    return "\n".join(lines)


def outcome(case: Case) -> str:
    """right, silent or wrong; for what nobody can say, kept (no fix) or guessed; what was wanted may not be valid."""
    reading = compile_text(case.text)
    fixed = any(message.fix for message in reading.messages)
    if case.intended is None:
        return "guessed" if fixed or reading.pattern is not None else "kept"
    intended = compile_text(case.intended).pattern
    if intended is None:
        return "not valid"
    if reading.pattern is not None:
        return "right" if same_meaning(reading.pattern, intended) else "silent"
    if not fixed:
        return "silent"
    pattern = compile_text(applied(case.text, reading.messages)).pattern
    if pattern is None:
        return "unfinished"
    return "right" if same_meaning(pattern, intended) else "wrong"


def score(cases: list[Case]) -> Counter[str]:
    """How often each outcome comes."""
    return Counter(map(outcome, cases))


def show(cases: list[Case]) -> None:
    """Print each case that fails: how, the lines that differ from what was wanted, and the fixes offered."""
    for case in cases:
        if (end := outcome(case)) in ("right", "kept"):
            continue
        text, intended = case.text.split("\n"), (case.intended or "").split("\n")
        print(f"{end}:", [line.strip() for line in text if line not in intended])
        print("    wanted ", [line.strip() for line in intended if line not in text] if case.intended else None)
        print("    offered", [message.fix.text for message in compile_text(case.text).messages if message.fix])


if __name__ == "__main__":
    sets = {"slips": seen(), "further": in_file(FURTHER), "unseen": in_file(UNSEEN), "later": in_file(LATER)}
    sets["fourth"] = in_file(FOURTH)
    for name, cases in sets.items():
        if name in sys.argv or not {*sets} & {*sys.argv}:
            print(name, dict(sorted(score(cases).items())))
            if "--show" in sys.argv and name in ("slips", "further"):
                show(cases)

"""How well fixes do: `python -m tests.notation.score` counts them on the two sets of slips.

right: the fix applied gives the pattern that was wanted. silent: no fix is offered. unfinished: more is wrong after it.
wrong: a fix gives another pattern,
or there is one although nobody can say what was wanted; it counts tenfold. The second set was written without sight of
the first or of the program, and nothing is tuned on it: this prints its counts and none of its cases.
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
from tests.notation.slips import FRAMES, SLIPS, UNCLEAR

UNSEEN = Path(__file__).parent / "unseen_slips.toml"


class Case(NamedTuple):
    """A text with a wrong line, and the text that was wanted; None where nobody can say."""

    text: str
    intended: str | None


def seen() -> list[Case]:
    """The cases of slips.py."""
    clear = [Case(FRAMES[frame].replace("@", wrong), FRAMES[frame].replace("@", line)) for frame, wrong, line in SLIPS]
    return clear + [Case(FRAMES[frame].replace("@", wrong), None) for frame, wrong in UNCLEAR]


def unseen() -> list[Case]:
    """The cases of the second set."""
    cases = tomllib.loads(UNSEEN.read_text("utf-8"))["case"]
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


if __name__ == "__main__":
    for name, cases in (("slips.py", seen()), *([("unseen", unseen())] if UNSEEN.exists() else [])):
        print(name, dict(sorted(score(cases).items())))
    if "--show" in sys.argv:
        for case in seen():
            if (end := outcome(case)) not in ("right", "kept"):
                both = zip(case.text.split("\n"), (case.intended or "").split("\n"), strict=False)
                wrong = [(a, b) for a, b in both if a != b]
                fixes = [m.fix.text for m in compile_text(case.text).messages if m.fix]
                print(end, wrong[:1] if case.intended else case.text, fixes)

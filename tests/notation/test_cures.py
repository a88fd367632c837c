"""Cures followed to the letter: each slip, mended as its message says, gives the pattern that was meant.

The slips are a hand knitter's, a spreadsheet's, a word processor's and those of other crafts; from common practice and
from memory, no source.
"""

from __future__ import annotations

import re

import pytest

from stitchc.messages import Message
from stitchc.notation import Reading, compile_text
from stitchc.notation.layout import same_meaning
from tests.notation.slips import FRAMES, SLIPS


def followed(line: str, message: Message) -> str:
    """The line with the cure in place of it, or of the marked part where the cure does not begin as the line does."""
    assert message.cure is not None
    assert message.span is not None
    cure = re.sub(r"   \([^\n]*\)$", "", message.cure).split(", or ")[0]  # without the remark behind it
    if _first(cure) == _first(line) or re.match(r"[0-9][^:]*:", cure):
        return cure
    start = message.span.column - 1
    return line[:start] + cure + line[start + message.span.length :]


def _first(text: str) -> str:
    word = re.match(r"\s*([^\W\d_]+)(?![\w-])", text)
    return word[1].lower() if word else text


def read(frame: str, line: str) -> Reading:
    return compile_text(FRAMES[frame].replace("@", line))


def line_of(frame: str) -> int:
    return FRAMES[frame].split("@")[0].count("\n") + 1


@pytest.mark.parametrize(("frame", "wrong", "meant"), SLIPS, ids=[f"{frame}: {wrong}" for frame, wrong, _ in SLIPS])
def test_a_cure_followed(frame: str, wrong: str, meant: str) -> None:
    expected = read(frame, meant)
    assert expected.pattern is not None, expected.messages
    found = read(frame, wrong)
    assert [message.span.line for message in found.messages if message.span] == [line_of(frame)], found.messages
    written = FRAMES[frame].replace("@", wrong).split("\n")[line_of(frame) - 1]
    mended = followed(written, found.messages[0])
    result = compile_text(FRAMES[frame].split("@")[0].rpartition("\n")[0] + "\n" + mended + FRAMES[frame].split("@")[1])
    assert result.pattern is not None, (mended, result.messages)
    assert same_meaning(result.pattern, expected.pattern), mended

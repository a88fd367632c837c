"""Patterns spoilt at random: `python -m tests.notation.mutations 20000` reads that many and prints what was said.

Whatever the text, reading it gives a pattern or messages, never an exception, and every place lies in the text.
"""

from __future__ import annotations

import sys
import unicodedata
from collections import Counter
from pathlib import Path
from random import Random

from stitchc.messages import has_errors, in_order, render, to_json
from stitchc.notation import Reading, compile_text
from tests.notation.interpreter import KEYWORDS
from tests.notation.patterns import Scribe

PIECES = [
    *KEYWORDS,
    *"KTSkts()x×,:;=*-#\"'“”.|[]{}/\\+&0123456789PpОКТхO",
    *"\n\r\t \0\x1b\x85\u2028\u200b\u202e\ufeff\ud800\u0301é波😀К４",
    *("-1", "0", "1000001", "99999999999999999999", "1.5", "2,5", "(" * 70, ")" * 70, "1-", "L40-R39"),
    *("k2tog", "Row 1", "odd", "plain 2 by 2", 'include "x.stitch"', "stitch a = a", "K9999999", "* to end"),
]


def mutated(text: str, chance: Random) -> str:
    """The text with a few things put in, taken out, doubled or exchanged."""
    for _ in range(chance.randrange(1, 5)):
        at = chance.randrange(len(text) + 1)
        end = min(len(text), at + chance.choice([0, 1, 1, 2, 5, 30]))
        kind = chance.randrange(5)
        if kind == 0:
            text = text[:at] + chance.choice(PIECES) + text[at:]
        elif kind == 1:
            text = text[:at] + text[end:]
        elif kind == 2:
            text = text[:at] + chance.choice(PIECES) + text[end:]
        elif kind == 3:
            text = text[:end] + text[at:]
        else:
            lines = text.split("\n")
            chance.shuffle(lines)
            text = "\n".join(lines)
    return text


def sound(reading: Reading) -> None:
    """Assert what holds of every reading of every text."""
    assert (reading.pattern is None) == has_errors(reading.messages)
    assert reading.messages == in_order(reading.messages)
    for message in reading.messages:
        assert message.span is not None
        for span in (message.span, *(span for span, _ in message.also)):
            line = reading.sources[span.file][span.line - 1]
            assert 1 <= span.column <= len(line) + 1, message
            assert 1 <= span.length <= max(1, len(line) + 1 - span.column), message
        assert message.text.endswith("."), message
        assert message.advice, message
        shown = render(message, reading.sources)
        assert all(c.isprintable() or unicodedata.category(c) == "Zs" for c in shown.replace("\n", "")), repr(shown)
    to_json(reading.messages).encode("utf-8", "backslashreplace")
    if reading.pattern is not None:
        for stitch in reading.pattern.stitches.values():
            assert stitch.chart.cells.flags.writeable is False


def run(count: int, seed: int = 1) -> Counter[str]:
    """Read `count` spoilt patterns; prints the first text that is not read soundly and raises."""
    said: Counter[str] = Counter()
    for number in range(count):
        chance = Random(f"{seed}/{number}")
        text = mutated(Scribe(chance, most_stitches=4).pattern().text, chance)
        try:
            reading = compile_text(text, "spoilt.stitch", Path("/nowhere"))
            sound(reading)
        except Exception:
            print(f"text {number} of seed {seed}:\n{text!r}")
            raise
        said.update({message.code for message in reading.messages} or {"valid"})
    return said


if __name__ == "__main__":
    tried = run(int(sys.argv[1]) if len(sys.argv) > 1 else 1000, int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    print(dict(tried.most_common()))

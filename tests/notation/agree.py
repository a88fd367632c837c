"""Holding the compiler against the slow interpreter: `python -m tests.notation.agree 100000` tries that many patterns.

Prints how many were tried and how many of them were valid, and the first text on which the two differ.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path
from random import Random

import pytest

from stitchc.notation import compile_text
from stitchc.pattern import CarriageAt, Do, Knit, Pattern, Piece
from tests.notation.interpreter import Book, Section, Work, Wrong, interpret
from tests.notation.patterns import Scribe, Written

NEAR = 1e-9


def agreed(written: Written, folder: Path | None = None) -> str:
    """Compile and interpret; raise AssertionError where they differ. Returns "valid" or the code both refuse with."""
    for name, text in written.files.items():
        assert folder is not None
        (folder / name).write_bytes(text.encode())
    pattern, messages, _ = compile_text(written.text.encode(), "top.stitch", folder)
    codes = {message.code for message in messages if message.severity == "error"}
    try:
        book = interpret(written.text, written.files)
    except Wrong as wrong:
        assert pattern is None, f"compiled although {wrong}"
        # a chain may be wrong in its sizes at one joint and in its yarns or its needles at another; which is told
        # first is free
        joints = {"N109", "N117", "N119"}
        either = joints if wrong.code in joints else {wrong.code}
        assert either & codes, f"{wrong}, but the compiler says {messages}"
        return wrong.code
    assert pattern is not None, [f"{m.code} {m.span}: {m.text}" for m in messages]
    assert not messages
    same(pattern, book)
    return "valid"


def same(pattern: Pattern, book: Book) -> None:
    """Everything the two say is the same."""
    assert pattern.title == book.title
    assert list(pattern.notes) == book.notes
    assert list(pattern.stitches) == book.order
    for name, fabric in book.fabrics.items():
        chart = pattern.stitches[name].chart
        assert chart.rows() == ["".join(row) for row in fabric.rows], name
        assert list(chart.yarns) == fabric.yarns, name
        assert pattern.stitches[name].is_part == (name in book.parts)
    if book.wanted:
        assert [stitch.name for stitch in pattern.wanted()] == book.wanted
    assert (pattern.by, pattern.difficulty, list(pattern.notions)) == (book.by, book.difficulty, book.notions)
    assert {name: (yarn.description, yarn.colour) for name, yarn in pattern.yarns.items()} == {
        name: (text, colour) for name, (text, colour, *_) in book.yarns.items()
    }
    for yarn, (_, _, tex, ball) in zip(pattern.yarns.values(), book.yarns.values(), strict=True):
        assert yarn.ball == (None if ball is None else tuple(map(float, ball)))
        if tex is None and ball is not None:
            assert yarn.tex == pytest.approx(float(1000 * ball[0] / ball[1]), rel=0.005)  # to the whole tex
        else:
            assert yarn.tex == (float(tex) if tex else None)
    assert len(pattern.swatches) == len(book.gauges)
    for swatch, (stitch, stitches, rows, mm) in zip(pattern.swatches, book.gauges, strict=True):
        assert swatch.stitch == stitch
        assert swatch.stitches == (None if stitches is None else float(stitches))
        assert swatch.rows == (None if rows is None else float(rows))
        assert swatch.per_mm == pytest.approx(float(mm), rel=NEAR)
    assert list(pattern.pieces) == list(book.pieces)
    for name, work in book.pieces.items():
        same_piece(pattern.pieces[name], work)


def same_piece(piece: Piece, work: Work) -> None:
    assert (piece.edge, piece.carriage, piece.make) == (work.edge, work.carriage, work.make)
    widths = [mm for _, mm in piece.sizes] or ([piece.width.mm] if piece.width is not None else [])
    assert widths == pytest.approx([float(mm) for mm in work.widths_mm], rel=NEAR)
    if piece.width is not None:
        assert piece.width.mm == widths[0]
        assert piece.width.plus_mm == pytest.approx(float(work.plus_mm), rel=NEAR)
    if work.needles is not None:
        assert piece.needles is not None
        plain = work.needles.upper().replace(" ", "").replace("–", "-")
        assert plain == (str(piece.needles) if "-" in plain else str(piece.needles.count))
    steps = []
    for step in piece.steps:
        if isinstance(step, Do):
            steps.append(Section("do", (step.text,)))
        elif isinstance(step, CarriageAt):
            steps.append(Section("carriage", (step.side,)))
        else:
            assert isinstance(step, Knit)
            amount = ("rows", step.rows) if step.rows is not None else ("mm", round(step.mm or 0, 6))
            steps.append(Section("knit", (step.stitch, *amount, step.exactly, step.yarn, step.tension)))
    expected = [
        Section("knit", (*s.values[:2], round(float(s.values[2]), 6), *s.values[3:]))  # type: ignore[arg-type]
        if s.kind == "knit"
        else s
        for s in work.steps
    ]
    assert steps == expected


def run(count: int, seed: int = 1) -> Counter[str]:
    """Try `count` patterns; prints the first text on which the two differ and raises."""
    outcomes: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        for number in range(count):
            written = Scribe(Random(f"{seed}/{number}")).pattern()
            try:
                outcomes[agreed(written, Path(folder))] += 1
            except Exception:
                print(f"pattern {number} of seed {seed}:\n{written.text!r}\n{written.text}\n{written.files}")
                raise
    return outcomes


if __name__ == "__main__":
    tried = run(int(sys.argv[1]) if len(sys.argv) > 1 else 1000, int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    print(f"{tried.total():,} patterns, no difference: {dict(tried.most_common())}")

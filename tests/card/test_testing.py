"""The test card: simulated machines of every kind knit it, the answers are read off, and each machine's own profile
comes out."""

from __future__ import annotations

import itertools
import json
from pathlib import Path

import numpy as np
import pytest

from stitchc.__main__ import run
from stitchc.bed import needle_name
from stitchc.card.product import make_test_card
from stitchc.card.testing import Answers, Contradiction, own_profile, plan_test_card
from stitchc.machines import load, load_text
from stitchc.messages import Refused
from stitchc.options import CardOptions

KINDS = list(itertools.product((False, True), (5, 7, 9), (False, True), (0, 15)))
"""Mirrored or not, rows from the row read to eye level, one pass ahead or not, needles by which column 1 is off."""


def knitted(document: dict[str, list[list[bool]]], kind: tuple[bool, int, bool, int]) -> tuple[list[list[bool]], ...]:
    """Pass by pass which of the needles in work knit, the ring begun with row 1 at eye level; and which number was at
    eye level before each pass. Written from what a profile's keys mean, and nothing of the drawing."""
    mirrored, seen, ahead, off = kind
    holes = np.array(document["holes"])
    rows, columns = holes.shape
    first = -(columns // 2) + off
    needles = range(-(columns // 2), columns - columns // 2)
    passes, numbers = [], []
    for turn in range(rows):
        read = (turn - seen - ahead) % rows  # a row that is selected one pass ahead is knitted a pass after it is read
        felt = holes[read][::-1] if mirrored else holes[read]
        passes.append([bool(felt[(needle - first) % columns]) for needle in needles])
        numbers.append([turn % rows + 1])
    return passes, numbers


@pytest.mark.parametrize("base", ["card24-standard", "card12-bulky"])
@pytest.mark.parametrize("kind", KINDS)
def test_the_profile_that_comes_out_is_the_machines(kind: tuple[bool, int, bool, int], base: str) -> None:
    machine = load(base)
    columns = machine.reader_width or 0
    if base == "card12-bulky":
        kind = (*kind[:3], kind[3] // 2)
    (file,) = make_test_card(machine, CardOptions(form="json")).files
    passes, numbers = knitted(json.loads(file.content), kind)
    held = ~np.array(passes)
    straight = int(np.flatnonzero(held.all(axis=1))[0])
    figure = held[straight + 1 :]
    pole = int(np.argmax(figure.sum(axis=0)))
    flag = np.flatnonzero(figure.any(axis=0))
    # a flag that runs over the end of the card's columns comes in again at the other end of the needles in work
    beside = {(int(needle) - pole + columns // 2) % columns - columns // 2 for needle in flag} - {0}
    assert all(step > 0 for step in beside) or all(step < 0 for step in beside)
    answers = Answers(
        needle_name(pole - columns // 2), "right" if min(beside) > 0 else "left", numbers[straight][0], kind[2], 45, 50
    )
    text, _ = own_profile(machine, answers)
    found = load_text(text, "own.toml")
    assert found.card is not None
    first = needle_name(-(columns // 2) + kind[3])
    selects = "one pass ahead" if kind[2] else "same pass"
    assert (found.mirrored, found.card.seen_above_read, found.selects, found.column_1_needle) == (
        kind[0],
        kind[1],
        selects,
        first,
    )
    assert (found.card.column_pitch_mm, found.card.row_pitch_mm) == (4.5, 5.0)


def test_contradictions_are_refused() -> None:
    machine = load("card24-standard")
    for answers, words in (
        (Answers("R20", "left", 8, False, 45, 50), "only L12 to R12 were in work"),
        (Answers("R2", "left", 1, True, 45, 50), "cannot have moved into place"),
        (Answers("R2", "left", 8, True, 4.5, 50), "make no card"),
        (Answers("R2", "left", 8, True, 45, 30), "make no card"),
    ):
        with pytest.raises(Contradiction, match=words):
            own_profile(machine, answers)


def test_a_test_card_needs_a_card_reader_and_a_figure() -> None:
    narrow = load_text('based_on = "card24-standard"\n[reader]\nwidth = 3\n', "x.toml")
    for machine in (load("hand-standard"), load("bitmap-standard"), narrow):
        with pytest.raises(Refused, match="M305"):
            plan_test_card(machine)


def test_from_the_card_to_the_profile(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """Both commands, the answers typed; a needle that is none is asked for again."""
    import io

    monkeypatch.chdir(tmp_path)
    assert run(["card", "--test-card", "--dpi", "100"]) == 0
    assert capfd.readouterr().out.split() == ["test-card.png", "test-card.json"]
    monkeypatch.setattr("sys.stdin", io.StringIO("L60x\nR1\nleft\n8\nyes\n45.2\n50\n"))
    assert run(["machines", "--ask", "-o", "own.toml"]) == 0
    told = capfd.readouterr()
    assert told.out.split() == ["own.toml"] and "is no needle" in told.err and "mirrors the card" in told.err
    own = load(str(tmp_path / "own.toml"))
    assert own.mirrored and own.selects == "one pass ahead" and own.card is not None
    assert (own.card.seen_above_read, own.card.column_pitch_mm) == (6, 4.52)
    assert run(["machines", "--ask", "own.toml"]) == 2
    monkeypatch.setattr("sys.stdin", io.StringIO("R1\nleft\n1\nyes\n45.2\n50\n"))
    assert run(["machines", "--ask"]) == 1
    assert "contradict" in capfd.readouterr().err
    monkeypatch.setattr("sys.stdin", io.StringIO("R1\n"))
    assert run(["machines", "--ask", "-o", "other.toml"]) == 1 and not (tmp_path / "other.toml").exists()
    assert run(["card", "--test-card", "own.toml"]) == 2 and run(["card"]) == 2

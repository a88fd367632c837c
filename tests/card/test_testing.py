"""The test card: simulated machines of every kind knit it, the answers are read off, and each machine's own profile
comes out."""

from __future__ import annotations

import io
import itertools
import json
from pathlib import Path

import numpy as np
import pytest

from stitchc.__main__ import run
from stitchc.bed import needle_name
from stitchc.card.product import make_test_card
from stitchc.card.testing import Answers, WrongAnswer, own_profile, plan_test_card
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
        (Answers("R2", "left", 99, True, 45, 50), "numbered 1 to 36"),
        (Answers("R2", "left", 8, True, 4.5, 50), "one column instead of ten"),
        (Answers("R2", "left", 8, True, 45, 30), "Ten rows"),
    ):
        with pytest.raises(WrongAnswer, match=words):
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
    monkeypatch.chdir(tmp_path)
    assert run(["card", "--test-card", "--dpi", "100"]) == 0
    assert capfd.readouterr().out.split() == ["test-card.png", "test-card.json"]
    monkeypatch.setattr("sys.stdin", io.StringIO("L60x\nR1\nleft\n8\nyes\n45.2\n50\n"))
    assert run(["machines", "--ask", "-o", "own.toml"]) == 0
    told = capfd.readouterr()
    assert told.out.split() == ["own.toml"] and "is not a needle" in told.err and "mirrors the card" in told.err
    own = load(str(tmp_path / "own.toml"))
    assert own.mirrored and own.selects == "one pass ahead" and own.card is not None
    assert (own.card.seen_above_read, own.card.column_pitch_mm) == (6, 4.52)
    assert run(["machines", "--ask", "own.toml"]) == 2
    monkeypatch.setattr("sys.stdin", io.StringIO("R1\n"))
    assert run(["machines", "--ask", "-o", "other.toml"]) == 1 and not (tmp_path / "other.toml").exists()
    assert run(["card", "--test-card", "own.toml"]) == 2 and run(["card"]) == 2


WELL = ["R1", "left", "8", "no", "45.2", "50"]
"""Answers that are taken without a question."""


@pytest.mark.parametrize(
    ("at", "typed", "words"),
    [
        (0, ["L99"], "only L12 to R12 were in work"),
        (0, ["maybe"], "`maybe` is not a needle. Write it as in L5"),
        (0, [""], "An empty answer is not a needle. Write it as in L5"),
        (1, [""], "An empty answer is neither left nor right."),
        (2, [""], "An empty answer is not a row of the test card"),
        (3, [""], "An empty answer is neither yes nor no."),
        (4, ["  "], "An empty answer is not a length in mm"),
        (1, ["up"], "`up` is neither left nor right. Write left or right."),
        (2, ["99"], "`99` is not a row of the test card: they are numbered 1 to 36"),
        (2, ["0"], "`0` is not a row of the test card"),
        (2, ["eight"], "`eight` is not a row of the test card"),
        (2, ["30", "no", "no"], "would read 29 rows below eye level. That is unusual"),
        (2, ["1", "yes"], "cannot have moved into place one pass earlier"),
        (3, ["maybe"], "`maybe` is neither yes nor no. Write yes or no."),
        (4, ["4.5"], "you may have measured one column instead of ten"),
        (4, ["1.77"], "you may have measured in inches"),
        (4, ["-45"], "`-45` is not a length in mm"),
        (4, ["nan"], "`nan` is not a length in mm"),
        (4, ["48", "no"], "Ten columns of a usual card measure about 45 mm. Are yours 48 mm"),
        (4, ["50"], "you may have measured along the card"),
        (5, ["45", "no"], "Ten rows of a usual card measure about 50 mm. Are yours 45 mm"),
        (5, ["1.97"], "Ten rows of a card like that of card24-standard measure 36 to"),
    ],
)
def test_each_answer_is_judged_at_once_and_asked_again(
    at: int,
    typed: list[str],
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    """A slip costs one question: the profile is that of the answers without it. Ended there, none is written."""
    monkeypatch.chdir(tmp_path)
    for answers, status in ((WELL, 0), ([*WELL[:at], *typed, *WELL[at:]], 0), ([*WELL[:at], *typed], 1)):
        monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(answers) + "\n"))
        assert run(["machines", "--ask"]) == status
        out, told = capfd.readouterr()
        if answers is WELL:
            expected = out
            assert words not in told
        else:
            assert words in told and out == (expected if status == 0 else "")
            assert "Error" not in told


def test_short_answers_and_confirmed_unusual_ones(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("r1\nL\n30\nN\nY\n48 mm\ny\n50,0\n"))
    assert run(["machines", "--ask"]) == 0
    own = load_text(capfd.readouterr().out, "own.toml")
    assert own.mirrored and own.card is not None
    assert (own.card.seen_above_read, own.card.column_pitch_mm, own.card.row_pitch_mm) == (29, 4.8, 5.0)

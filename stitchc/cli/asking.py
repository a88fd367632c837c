"""`stitchc machines --ask`: asks what a knitted test card showed, one question after another, and writes a profile."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeVar

import click

from stitchc.cli.common import load_machine, put_text, say

if TYPE_CHECKING:
    from stitchc.machines import Machine

T = TypeVar("T")


def ask_for_a_profile(names: tuple[str, ...], output: Path | None, force: bool) -> None:
    """Ask on standard error, print or write the profile. names: the shipped profile to start from, card24-standard if
    there is none. Leaves with 1 where the answers end early, 2 where names are no shipped card reader."""
    from stitchc.card.testing import Answers, own_profile, plan_test_card, read_pole, read_side
    from stitchc.machines import SHIPPED

    if len(names) > 1 or any(name not in SHIPPED for name in names):
        raise click.UsageError("--ask starts from a shipped profile, as in: stitchc machines --ask card24-bulky")
    machine = load_machine(names[0] if names else "card24-standard")
    columns = plan_test_card(machine).columns
    say(f"What did the test card show? It is for {machine.name}, {columns} columns. Ctrl-C ends without a profile.")
    pole = _answer("Which needle is the pole on, as in L5 or R3?", partial(read_pole, machine))
    flag = _answer("As you face the bed, is the flag left or right of the pole?", read_side)
    eye_level, moved_before = _eye_level(machine)
    across = _ten(
        machine, "columns", "How many mm are 10 columns, from the centre of a hole to the centre of the tenth after it?"
    )
    along = _ten(machine, "rows", "And how many mm are 10 rows?")
    text, conclusions = own_profile(machine, Answers(pole, flag, eye_level, moved_before, across, along))
    for sentence in conclusions:
        say(sentence)
    put_text(text, output, force, signed=False)


def _eye_level(machine: Machine) -> tuple[int, bool]:
    """The row at eye level, and whether the needles moved one pass earlier: both again where they do not agree."""
    from stitchc.card.testing import WrongAnswer, eye_level_question, read_eye_level, read_yes

    while True:
        row = _answer(
            "Which number was at eye level before the pass on which the yarn lay across all needles?",
            partial(read_eye_level, machine),
        )
        moved = _answer("Did the needles move into place one pass earlier (yes or no)?", read_yes)
        try:
            doubt = eye_level_question(row, moved)
        except WrongAnswer as error:
            say(str(error))
            continue
        if doubt is None or _answer(doubt, read_yes):
            return row, moved


def _ten(machine: Machine, way: Literal["columns", "rows"], question: str) -> float:
    from stitchc.card.testing import measure_question, read_ten, read_yes

    while True:
        measure = _answer(question, partial(read_ten, machine, way))
        doubt = measure_question(machine, way, measure)
        if doubt is None or _answer(doubt, read_yes):
            return measure


def _answer(question: str, read: Callable[[str], T]) -> T:
    """The answer, read; where it cannot be true, the person is told why and asked again."""
    from stitchc.card.testing import WrongAnswer

    while True:
        try:
            return read(click.prompt(question, "", type=str, prompt_suffix=" ", show_default=False, err=True))
        except WrongAnswer as error:
            say(str(error))
        except click.Abort as stopped:
            if not isinstance(stopped.__context__, EOFError):
                raise
            say("\nThe answers ended early, so no profile was written.")
            raise SystemExit(1) from None

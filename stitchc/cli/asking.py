"""`stitchc machines --ask`: asks what a knitted test card showed, one question after another, and writes a profile."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from stitchc.cli.common import load_machine, put_text, say


def ask_for_a_profile(names: tuple[str, ...], output: Path | None, force: bool) -> None:
    """Ask on standard error, print or write the profile. names: the shipped profile to start from, card24-standard if
    there is none. Leaves with 1 where the answers contradict each other, 2 where names are no shipped card reader."""
    from stitchc.card.testing import Answers, Contradiction, own_profile, plan_test_card
    from stitchc.machines import SHIPPED

    if len(names) > 1 or any(name not in SHIPPED for name in names):
        raise click.UsageError("--ask starts from a shipped profile, as in: stitchc machines --ask card24-bulky")
    machine = load_machine(names[0] if names else "card24-standard")
    columns = plan_test_card(machine).columns
    say(f"What did the test card show? It is for {machine.name}, {columns} columns. Ctrl-C ends without a profile.")
    answers = Answers(
        pole=_asked("Which needle is the pole on, as in L5 or R3?", _needle),
        flag=_asked("As you face the bed, is the flag left or right of the pole?", click.Choice(["left", "right"])),
        eye_level=_asked("Which number was at eye level before the pass that held all needles?", click.IntRange(1)),
        moved_before=_asked("Did the needles move into place one pass earlier (yes or no)?", click.BOOL),
        ten_columns_mm=_asked(
            "How many mm are 10 columns, from the centre of a hole to the centre of the tenth after it?",
            click.FloatRange(0.1, 2000),
        ),
        ten_rows_mm=_asked("And how many mm are 10 rows?", click.FloatRange(0.1, 2000)),
    )
    try:
        text, conclusions = own_profile(machine, answers)
    except Contradiction as error:
        say(f"These answers contradict each other. {error}")
        raise SystemExit(1) from None
    for sentence in conclusions:
        say(sentence)
    put_text(text, output, force, signed=False)


def _asked(question: str, kind: Any) -> Any:
    """The answer; what cannot be read is asked again."""
    try:
        return click.prompt(question, type=kind, prompt_suffix=" ", err=True, show_choices=False)
    except click.Abort as stopped:
        if not isinstance(stopped.__context__, EOFError):
            raise
        say("\nThe answers ended early, so no profile was written.")
        raise SystemExit(1) from None


def _needle(text: str) -> str:
    from stitchc.bed import needle_name, needle_position

    try:
        return needle_name(needle_position(text.strip().upper()))
    except ValueError:
        raise click.UsageError(f"`{text}` is not a needle. Write it as in L5 or R3.") from None

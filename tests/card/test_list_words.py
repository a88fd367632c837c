"""What a punching list says of how the card lies and which row is at eye level."""

from __future__ import annotations

from pathlib import Path

import pytest

from stitchc.__main__ import run

TIDE = str(Path(__file__).resolve().parents[2] / "examples" / "tide-line.stitch")


@pytest.mark.parametrize("machine", ["card24-standard", "card24-bulky", "card12-bulky"])
def test_the_row_at_eye_level_when_row_1_is_locked(machine: str, capsys: pytest.CaptureFixture[str]) -> None:
    from stitchc.machines import load

    shape = load(machine).card
    assert shape is not None
    assert run(["card", TIDE, "--machine", machine, "--format", "text", "--anyway"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert shape.seen_above_read, "the shipped profiles all show a later row than they read"
    assert f"Lock the card when row {1 + shape.seen_above_read} is at eye level. Row 1 is then read." in said
    assert "with the end that goes in first toward you" in said

"""Every pass of every piece on a simulated bed: by hand, and with a card or a picture, from both sides.

The beds are driven by the JSON alone; what the fabric must be is put together here from the sections and the letters of
the stitches, by the rules of the notation.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from stitchc.bed import needle_position
from stitchc.cli.products import chart as chart_command
from stitchc.cli.products import piece as command
from tests.bed_simulation import knit, position

EXAMPLES = Path(__file__).parents[2] / "examples"
PIECES = [
    name
    for name in sorted(path.name for path in EXAMPLES.glob("*.stitch"))
    if "\npiece " in (EXAMPLES / name).read_text(encoding="utf-8")
]


def document(file: Path, *options: str) -> dict[str, Any]:
    said = CliRunner().invoke(command, [str(file), "--format", "json", *options])
    assert said.exit_code == 0, said.stderr
    found = json.loads(said.stdout)
    assert isinstance(found, dict)
    return found


def letters(file: Path) -> dict[str, list[str]]:
    """The rows of every stitch of the file, and of plain."""
    said = CliRunner().invoke(chart_command, [str(file), "--format", "json"])
    found = {stitch["name"]: stitch["rows"] for stitch in json.loads(said.stdout)["stitches"]} if said.stdout else {}
    return {"plain": ["K"], **found}


def fabric_by_rule(found: dict[str, Any], rows_of: dict[str, list[str]], by_reader: str | None) -> list[str]:
    """The fabric as the notation has it: each section from its first row, edges knit.

    by_reader: the needle of column 1; by hand the repeat is centred, the odd needle over at the right.
    """
    first, last = position(found["needles"]["left"]), position(found["needles"]["right"])
    edge, fabric = found["edge"], []
    inner = last - first + 1 - 2 * edge
    for section in found["sections"]:
        rows = rows_of[section["stitch"]]
        width = len(rows[0])
        origin = first + edge + inner % width // 2 if by_reader is None else needle_position(by_reader)
        for number in range(section["rows"]):
            row = rows[number % len(rows)]
            fabric.append(
                "".join(
                    "K" if not first + edge <= n <= last - edge else row[(n - origin) % width]
                    for n in range(first, last + 1)
                )
            )
    return fabric


def knitted(found: dict[str, Any], by_hand: bool) -> list[str]:
    totals = {"rows": found["totals"]["rows"], "moves": found["totals"]["moves"]}
    sheet = {"format": "stitchc-sheet/1", "needles": found["needles"], "passes": found["passes"], "totals": totals}
    return knit({**sheet, "out_of_work": found["out_of_work"]}, found["carriage"], by_hand)


def agrees(found: dict[str, Any]) -> None:
    """What holds of any piece: sections follow each other, sides alternate, yarns are taken up where they hang."""
    row, side = 0, found["carriage"]
    for section in found["sections"]:
        assert section["from_row"] == row + 1
        assert section["to_row"] == row + section["rows"]
        assert section["carriage_before"] == side
        row = section["to_row"]
        if section["rows"] % 2:
            side = "left" if side == "right" else "right"
        assert section["carriage_after"] == side
    assert row == len(found["passes"]) == found["totals"]["rows"]


def yarns_land(found: dict[str, Any]) -> None:
    hangs: dict[str | None, str] = {}
    for step in found["passes"]:
        start, _, end = step["direction"].partition(" to ")
        assert hangs.get(step["yarn"], start) == start, f"row {step['row']}"
        hangs[step["yarn"]] = end


def started_at(file: Path, side: str, folder: Path) -> Path:
    """The example with the carriage at that side before row 1."""
    lines = file.read_text(encoding="utf-8").splitlines()
    at = next(index for index, line in enumerate(lines) if line.startswith("piece "))
    lines.insert(at + 1, f"    carriage {side}")
    copy = folder / file.name
    copy.write_text("\n".join(lines), encoding="utf-8")
    return copy


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("name", PIECES)
def test_examples_by_hand_from_both_sides(name: str, side: str, tmp_path: Path) -> None:
    file = started_at(EXAMPLES / name, side, tmp_path)
    for machine in ("hand-standard", "hand-bulky"):
        found = document(file, "--machine", machine)
        assert found["carriage"] == side
        agrees(found)
        yarns_land(found)
        assert knitted(found, by_hand=True) == fabric_by_rule(found, letters(file), None)


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("name", PIECES)
def test_examples_on_cards_and_pictures_from_both_sides(name: str, side: str, tmp_path: Path) -> None:
    """Column 1 of a card of 24 stands on L12 (one make, common practice); a picture's on the first patterned needle."""
    file = started_at(EXAMPLES / name, side, tmp_path)
    for machine, column_1 in (("card24-standard", "L12"), ("bitmap-standard", None)):
        found = document(file, "--machine", machine)
        agrees(found)
        yarns_land(found)
        assert knitted(found, by_hand=False) == fabric_by_rule(found, letters(file), column_1)


def test_there_are_at_least_four_pieces() -> None:
    assert len(PIECES) >= 4


def test_the_examples_say_nothing_on_the_way() -> None:
    for name in PIECES:
        for machine in ("hand-standard", "card24-standard"):
            said = CliRunner().invoke(command, [str(EXAMPLES / name), "--machine", machine])
            assert (said.exit_code, said.stderr) == (0, "")


# -- any piece -----------------------------------------------------------------------------------------------------


@st.composite
def pieces(draw: st.DrawFn, ladders: bool = False) -> str:
    """A file with two stitches and a piece of several sections, sides and yarns. ladders: needles out of work, and rows
    that name a yarn, too."""
    lines = ['yarn sand "oat" tex 200', 'yarn foam "green" tex 200', "gauge plain 20 stitches 28 rows per 10 cm"]
    names = []
    for name in ("a", "b"):
        width = draw(st.integers(1, 5))
        lines.append(f"stitch {name} over {width}")
        out = draw(st.sets(st.integers(1, width), max_size=width - 1)) if ladders else set()
        lines += [f"    out {', '.join(map(str, sorted(out)))}"] if out else []
        for row in range(1, draw(st.integers(1, 4)) + 1):
            kinds = draw(st.sampled_from(["K", "KT", "KS"]))
            letters = kinds if row > 1 else "K"  # a needle that never knits has no size to turn into rows
            wide = width - len(out)
            cells = "".join(draw(st.lists(st.sampled_from(letters), min_size=wide, max_size=wide)))
            yarn = draw(st.sampled_from(["", "", " in sand"])) if ladders else ""
            lines.append(f"    {row}{yarn}: {cells}")
        names.append(name)
        lines += [f"gauge {name} 19 stitches 30 rows per 10 cm"] if ladders else []
    lines.append("piece it")
    lines.append(draw(st.sampled_from([f"    needles {draw(st.integers(9, 40))}", "    width 15 cm"])))
    lines.append(f"    edge {draw(st.integers(1, 3))}")
    lines.append(f"    carriage {draw(st.sampled_from(['right', 'left']))}")
    for _ in range(draw(st.integers(1, 6))):
        kind = draw(st.sampled_from(["rows", "length", "do", "carriage"]))
        stitch = draw(st.sampled_from(["plain", *names]))
        yarn = draw(st.sampled_from(["", " in sand", " in foam"]))
        if kind == "rows":
            lines.append(f"    knit {stitch} for {draw(st.integers(1, 9))} rows{yarn}")
        elif kind == "length":
            lines.append(f"    knit {stitch} for {draw(st.integers(20, 60))} mm{yarn}")
        elif kind == "do":
            lines.append('    do "Mark the edge."')
        else:
            lines.append(f"    carriage {draw(st.sampled_from(['right', 'left']))}")
    lines.append("    knit plain for 2 rows")
    return "\n".join(lines)


@settings(max_examples=60, deadline=None)
@given(pieces())
def test_any_piece_is_knitted_as_the_notation_says(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    file = tmp_path_factory.mktemp("piece") / "it.stitch"
    file.write_text(text, encoding="utf-8")
    found = document(file, "--anyway")
    agrees(found)
    assert knitted(found, by_hand=True) == fabric_by_rule(found, letters(file), None)
    assert len([section for section in found["sections"] if section["added"] is None]) == text.count("    knit ")
    if not any("cut and join" in note or "hangs at the" in note for note in found["notes"]):
        yarns_land(found)
    on_card = document(file, "--anyway", "--machine", "card24-standard")
    agrees(on_card)
    assert [len(on_card["passes"]), on_card["needles"]] == [len(found["passes"]), found["needles"]]

"""`check` and the live page say of a piece what `piece` would refuse or warn of."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from stitchc.cli.check import command as check
from stitchc.live.reading import read
from stitchc.machines import SHIPPED, load
from stitchc.messages import Message, Refused
from stitchc.piece.checking import DEFAULT_MACHINE
from stitchc.piece.product import plan_piece
from stitchc.whole_check import check_file

from .conftest import pattern_of

HEAD = """stitch a over 4
    1: K T K K
    2: K
stitch net over 4
    1: T K3
    2-9: K T K2
    10: K
stitch inlay = net across 2
stitch seven
    1: K T K5
    2: K
gauge plain 26 stitches 36 rows per 10 cm
gauge a 26 stitches 40 rows per 10 cm
piece p
    """


def body(*lines: str) -> str:
    return HEAD + "\n    ".join(lines) + "\n"


REFUSED = {
    "P403": body("width 30 cm"),
    "P404": body("knit a for 3 cm"),
    "P405": body("width 30 cm", "knit a for 0.1 cm"),
    "P406": body("width 0.5 cm", "knit a for 10 cm"),
    "P406 edge": body("width 10 cm", "edge 50", "knit a for 10 cm"),
    "P406 needles": body("needles 2", "edge 1", "knit a for 10 cm"),
    "P410": body("needles 40", "knit a for 900000 rows"),
    "M303": body("width 300 cm", "knit a for 10 cm"),
    "P413": body("needles 40", "knit a for 3 rows"),
    "P415": body("sizes 20, 40 cm plus 30 cm", "knit a for 3 cm"),
    "P416": body("sizes 10, 10.5, 30 cm", "knit a for 3 cm"),
    "G606": "yarn oat tex 100\n" + body("width 20 cm", "knit a for 3 cm").replace("26 stitches 36", "18 stitches 26"),
    "P414": "yarn oat\nyarn kelp\n"
    + body("needles 40", "knit a for 4 rows in oat", "knit a for 4 rows in kelp", "knit a for 4 rows"),
}


def of_piece(text: str, machine: str) -> set[tuple[str, str]]:
    """Codes and severities of what `piece` says, remarks left out."""
    try:
        messages = plan_piece(pattern_of(text), load(machine)).messages
    except Refused as refused:
        messages = tuple(refused.messages)
    return {(message.code, message.severity) for message in messages if message.severity != "info"}


def by_codes(messages: list[Message]) -> set[tuple[str, str]]:
    return {(message.code, message.severity) for message in messages if message.severity != "info"}


@pytest.mark.parametrize("case", REFUSED)
@pytest.mark.parametrize("machine", [DEFAULT_MACHINE, "card24-standard"])
def test_check_tells_what_piece_tells(case: str, machine: str) -> None:
    text = REFUSED[case]
    told = of_piece(text, machine)
    assert case.split()[0] in {code for code, _ in told}
    assert told <= by_codes(check_file(pattern_of(text), load(machine)))
    assert case.split()[0] in {code for code, _ in by_codes(check_file(pattern_of(text)))}


@pytest.mark.parametrize(
    ("lines", "code", "everywhere"),
    [
        (["needles 230", "knit a for 4 rows"], "M303", False),  # the fine bed has 250
        (["needles 260", "knit a for 4 rows"], "M303", True),
        (["needles 40", "edge 0", "knit net for 10 rows"], "K206", True),
        (["needles 40", "knit net for 10 rows"], "K202", True),
        (["needles 42", "knit seven for 4 rows"], "M301", False),  # for a card alone
    ],
)
def test_without_a_machine_only_what_holds_for_every_one(lines: list[str], code: str, everywhere: bool) -> None:
    text = body(*lines)
    on = {name: {found for found, _ in of_piece(text, name)} for name in SHIPPED}
    told = check_file(pattern_of(text))
    assert all(code in found for found in on.values()) == everywhere
    assert (code in {message.code for message in told}) == everywhere
    for message in told:
        if message.code == "M303":
            assert "`hand-fine` has 250. No shipped machine has more." in message.text


def test_without_a_machine_a_bed_that_does_not_suit_the_gauge_is_not_offered() -> None:
    gauge = "gauge plain 22 stitches 30 rows per 10 cm\n"
    text = body("needles 260", "knit a for 4 rows").replace("piece", f"{gauge}piece", 1)
    (message,) = (each for each in check_file(pattern_of(text)) if each.code == "M303")
    assert "`hand-standard` has 200. No shipped machine has more of needles that suit this gauge." in message.text


def test_a_gauge_that_an_option_may_give_is_only_a_warning() -> None:
    text = body("width 30 cm", "knit a for 10 cm").replace("gauge", "# gauge")
    assert {each for each in by_codes(check_file(pattern_of(text))) if each[0] == "P402"} == {("P402", "warning")}


def test_the_live_page_says_the_same(tmp_path: Path) -> None:
    for number, text in enumerate(REFUSED.values()):
        for machine in (None, "card24-standard"):
            path = tmp_path / f"{number}.stitch"
            path.write_text(text, "utf-8")
            arguments = [str(path), "--format", "json", *(["--machine", machine] if machine else [])]
            document = json.loads(CliRunner().invoke(check, arguments).stdout)["messages"]
            live = read(text, str(path), tmp_path, load(machine) if machine else None).messages
            assert [message.code for message in live] == [message["code"] for message in document]


def test_a_stitch_asked_for_is_checked_alone(tmp_path: Path) -> None:
    path = tmp_path / "it.stitch"
    path.write_text(REFUSED["P403"], "utf-8")
    assert CliRunner().invoke(check, [str(path), "--stitch", "a"]).exit_code == 0
    assert CliRunner().invoke(check, [str(path)]).exit_code == 1

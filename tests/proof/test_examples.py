"""Every example on every machine that can knit it: simulated machines fed with what is written knit the chart."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from tests.proof import machines
from tests.proof.machines import Habits, follow_sheet, wanted
from tests.proof.running import SHIPPED, UNFIT, settings_told_by_bitmap, stitchc

EXAMPLES = Path(__file__).parents[2] / "examples"
FILES = sorted(path.name for path in EXAMPLES.glob("*.stitch"))
BY_HAND = [name for name, habits in SHIPPED.items() if habits.reader == "none"]
CARDS = [name for name, habits in SHIPPED.items() if habits.reader == "card"]
PICTURES = [name for name, habits in SHIPPED.items() if habits.reader == "bitmap"]


@cache
def charts(file: str) -> dict[str, list[str]]:
    """The letters of every stitch of a file that nothing else in it is built from."""
    found = stitchc("chart", EXAMPLES / file, "--format", "json").document()
    return {stitch["name"]: stitch["rows"] for stitch in found["stitches"]}


def sheets(file: str, *options: str) -> list[dict[str, Any]]:
    """The sheets of a file's stitches; none where the machine cannot knit one of them (which says so)."""
    said = stitchc("sheet", EXAMPLES / file, "--format", "json", *options)
    if said.status == 1:
        assert said.codes and all(UNFIT.fullmatch(code) for code in said.codes), said
        return []
    assert said.status == 0, said
    found = said.document()
    return found if isinstance(found, list) else [found]


def test_there_is_much_to_prove() -> None:
    assert len(FILES) >= 8 and sum(len(charts(file)) for file in FILES) >= 16


@pytest.mark.parametrize("file", FILES)
@pytest.mark.parametrize("machine", BY_HAND)
def test_by_hand_from_both_sides_on_odd_and_even_needles(file: str, machine: str) -> None:
    ways = [("40", "1", "right"), ("41", "0", "left"), ("L3-R30", "2", "right"), ("L29-R2", "5", "left")]
    proved = 0
    for needles, edge, side in ways if machine == "hand-standard" else ways[:2]:
        options = ("--machine", machine, "--needles", needles, "--edge", edge, "--carriage", side, "--rows", "26")
        for document in sheets(file, *options, "--anyway"):
            rows = charts(file)[document["stitch"]]
            fabric = follow_sheet(document, side)  # type: ignore[arg-type]
            first = machines.position(document["needles"]["left"])
            bed = range(first, first + document["needles"]["count"])
            assert fabric == wanted(rows, bed, 26, int(edge)), document["stitch"]
            assert [step["chart_row"] for step in document["passes"]] == [n % len(rows) + 1 for n in range(26)]
            proved += 1
    assert proved >= 2


@pytest.mark.parametrize("file", FILES)
def test_what_is_unsaid_is_one_repeat(file: str) -> None:
    for document in sheets(file, "--anyway"):
        rows = charts(file)[document["stitch"]]
        first = machines.position(document["needles"]["left"])
        bed = range(first, first + document["needles"]["count"])
        assert len(bed) >= 24 and (len(bed) - 2) % len(rows[0]) == 0 and -len(bed) // 2 == first
        assert follow_sheet(document, "right") == wanted(rows, bed, len(rows), 1)


@pytest.mark.parametrize("file", FILES)
@pytest.mark.parametrize("machine", CARDS)
def test_a_card_reader_and_its_sheet(file: str, machine: str, tmp_path: Path) -> None:
    """The punched template and the sheet, each by itself, knit the chart where the machine puts it."""
    habits = SHIPPED[machine]
    bed = range(-31, 30)
    for stitch, rows in charts(file).items():
        said = stitchc("card", EXAMPLES / file, "--stitch", stitch, "--machine", machine, "--dpi", "110",
                       "-o", tmp_path / "out.png")  # fmt: skip
        if said.status == 1:
            assert said.codes and all(UNFIT.fullmatch(code) for code in said.codes), said
            continue
        assert said.status == 0, said
        document = json.loads((tmp_path / "out-card.json").read_text("utf-8"))
        holes = machines.punched_by_sampling((tmp_path / "out.png").read_bytes(), document)
        assert holes == document["holes"]
        if document["pages"]:
            pages = {page["name"]: (tmp_path / f"{page['name']}.png").read_bytes() for page in document["pages"]}
            assert machines.punched_by_pages(pages, document) == holes
        settings = machines.settings_told([(c["row"], c["setting"]) for c in document["changes"]], len(holes))
        felt = machines.card_in_reader(habits, holes)
        empty = machines.emptied(habits, document["out"], bed)
        fabric = machines.knit_by_reader(habits, felt, bed, 2 * len(holes) + 1, settings, len(holes), empty)
        assert fabric == wanted(rows, bed, len(fabric), column_1=habits.column_1_needle), stitch
        for sheet in sheets(file, "--stitch", stitch, "--machine", machine, "--needles", "L31-R30", "--edge", "0",
                            "--rows", "45", "--anyway"):  # fmt: skip
            assert follow_sheet(sheet, "right", by_hand=False) == fabric[:45], stitch


@pytest.mark.parametrize("file", FILES)
@pytest.mark.parametrize("machine", PICTURES)
def test_an_electronic_reader(file: str, machine: str, tmp_path: Path) -> None:
    habits = SHIPPED[machine]
    bed = range(-20, 21)
    for stitch, rows in charts(file).items():
        for options in ((), ("--needles", "L20-R21", "--rows", "50")):
            said = stitchc("bitmap", EXAMPLES / file, "--stitch", stitch, "--machine", machine, *options, "--anyway",
                           "-o", tmp_path / "out.png")  # fmt: skip
            assert said.status == 0, said
            picture = (tmp_path / "out.png").read_bytes()
            chosen = machines.choice_of(picture)
            assert (chosen.dark_means, chosen.row_1, chosen.side) == ("knit", "bottom", "purl")
            felt = machines.picture_in_reader(habits, picture, bed.start)
            settings = settings_told_by_bitmap(said.err, len(rows))
            empty = machines.emptied_by_words(picture, bed, bed.start, len(rows[0]))
            fabric = machines.knit_by_reader(habits, felt, bed, chosen.height, settings, len(rows), empty)
            assert fabric == wanted(rows, bed, chosen.height), stitch


def test_the_habits_written_here_are_those_of_the_profiles() -> None:
    """So that a changed profile is noticed; the values are what is promised of each machine."""
    for found in stitchc("machines", "--format", "json").document()["machines"]:
        habits = SHIPPED[found["name"]]
        place = found["column_1_needle"]
        assert Habits(
            found["reader"],
            found["reader_width"] or 24,
            found["mark_means"],
            found["mirrored"],
            machines.position(place) if place else (None if found["reader"] == "bitmap" else -12),
            found["selects"],
            found["first_row"],
        ) == (habits if habits.reader != "none" else Habits("none"))

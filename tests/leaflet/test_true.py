"""The leaflet's own words, followed on simulated machines: every class, every size, on the page and on paper."""

from __future__ import annotations

import base64
import io
import json
import re

import pypdfium2
import pytest

from stitchc import CardOptions, PieceOptions, load_machine, make_card, plan_piece
from stitchc.document import to_text
from stitchc.piece.plan import Plan
from tests.leaflet.made import chosen, content, in_size, leaflet, pattern
from tests.proof.knitter import Line, by_row, follow_words, lines_of_page, lines_of_text
from tests.proof.machines import Bed, card_in_reader, picture_in_reader, position, wanted
from tests.proof.running import SHIPPED

SIZES = {"pilot-cap": ("46 cm", "50 cm", "54 cm"), "cowl": ("one size",)}
CASES = [(name, at) for name, sizes in SIZES.items() for at in range(len(sizes))]
TITLES = {name: load_machine(name).title for name in SHIPPED}


def planned(name: str, at: int, machine: str) -> Plan:
    """This size alone, as `stitchc piece --sizes` has it."""
    size = SIZES[name][at]
    sizes = None if size == "one size" else size
    (plan,) = plan_piece(pattern(name), load_machine(machine), PieceOptions(sizes=sizes)).values
    return plan


def meant(plan: Plan) -> list[str]:
    """The fabric that the pattern asks for: its charts, section after section, on the needles of this size."""
    fabric: list[str] = []
    bed = range(plan.needles.first, plan.needles.last + 1)
    habits = SHIPPED[plan.machine.name]
    column_1 = None if habits.reader == "none" else habits.column_1_needle
    for section in plan.sections:
        rows = plan.charts[section.stitch].rows()
        fabric += wanted(rows, bed, section.rows, plan.edge, None if section.is_plain else column_1)
    return fabric


@pytest.mark.parametrize(("name", "at"), CASES)
@pytest.mark.parametrize("machine", ["hand-standard", "hand-bulky"])
@pytest.mark.parametrize("units", ["cm", "in"])
def test_by_hand_from_the_page(name: str, at: int, machine: str, units: str) -> None:
    plan = planned(name, at, machine)
    piece = next(iter(pattern(name).pieces))
    page = chosen(content(name, ".html").decode(), TITLES[machine], SIZES[name][at], units, piece)
    bed = range(plan.needles.first, plan.needles.last + 1)
    for place in ("rows", "paper"):
        lines = lines_of_page(page, place)
        assert follow_words(lines, bed, "right", len(plan.passes)) == meant(plan)


@pytest.mark.parametrize(("name", "at"), CASES)
def test_by_hand_from_paper(name: str, at: int) -> None:
    plan = planned(name, at, "hand-standard")
    (whole,) = leaflet(name).values
    chapter = next(each for each in whole.chapters if each.title == "By hand")
    bed = range(plan.needles.first, plan.needles.last + 1)
    lines = [
        Line(line.rows, line.direction, in_size(line.words, at), line.to_and_fro)
        for line in lines_of_text(to_text(chapter))
    ]
    assert follow_words(lines, bed, "right", len(plan.passes)) == meant(plan)
    needles = in_size(dict(chapter.facts)["Needles"], at)
    assert f"{plan.needles.left} to {plan.needles.right}: {plan.needles.count} in work" in needles


def set_to(words: str, state: str) -> str:
    """What the carriage is set to after the words of a row."""
    match = re.search(r"Set the carriage to (plain|tuck|slip)", words)
    return match[1] if match else state


@pytest.mark.parametrize(("name", "at"), CASES)
@pytest.mark.parametrize("machine", ["card24-standard", "card12-bulky", "bitmap-standard", "bitmap-bulky"])
def test_with_a_reader_from_the_page_and_the_leaflets_own_card(name: str, at: int, machine: str) -> None:
    """The card is looked at on its page of the PDF, the picture taken from the page; both are run as the rows say."""
    plan, habits = planned(name, at, machine), SHIPPED[machine]
    piece = next(iter(pattern(name).pieces))
    page = chosen(content(name, ".html").decode(), TITLES[machine], SIZES[name][at], "cm", piece)
    bed = range(plan.needles.first, plan.needles.last + 1)
    stitch = next(section.stitch for section in plan.sections if not section.is_plain)
    if habits.reader == "card":
        holes = card_on_paper(name, stitch, machine)
        felt, card_rows = card_in_reader(habits, holes), len(holes)
    else:
        first = re.search(r"first column of the picture goes on ([LR]\d+)", page)
        picture = re.search(r'download="[^"]+" href="data:image/png;base64,([^"]+)"', page)
        assert first and picture
        felt = picture_in_reader(habits, base64.b64decode(picture[1]), position(first[1]))
        card_rows = plan.charts[stitch].height
    told = by_row(lines_of_page(page, "rows"))
    knitter, state, fabric = Bed(bed), "plain", []
    for section in plan.sections:
        for number in range(section.from_row, section.to_row + 1):
            state = set_to(told[number].words, state)
            read = (number - section.from_row) % card_rows + 1
            edge = {*list(bed)[: plan.edge], *list(bed)[-plan.edge :]}
            knits = {needle for needle in bed if state == "plain" or needle in edge or felt(read, needle)}
            fabric.append(knitter.carry(number, knits.__contains__, lambda _, state=state: state == "tuck"))  # type: ignore[misc]
    assert fabric == meant(plan) == knitter.fabric_from_loops(len(fabric))


def card_on_paper(name: str, stitch: str, machine: str) -> list[list[bool]]:
    """Row 1 first: the holes on the card's page of the PDF, looked at where `stitchc card` says that they are."""
    dpi = 150
    files = make_card(pattern(name), load_machine(machine), CardOptions((stitch,), form="json", dpi=dpi)).files
    place = json.loads(files[0].content)["centres_px"]
    count = json.loads(files[0].content)["rows"], json.loads(files[0].content)["columns"]
    document = pypdfium2.PdfDocument(io.BytesIO(content(name, ".pdf")))
    start, pitch = f"Card of {stitch}: {count[1]} columns, ", f"{load_machine(machine).pitch_mm:g} mm"
    at = next(
        item.get_dest().get_index()
        for item in document.get_toc()
        if item.get_title().startswith(start) and pitch in item.get_title()
    )
    picture = document[at].render(scale=dpi / 72, grayscale=True).to_pil()
    (x, y), (dx, _), (_, dy) = place["column_1_row_1"], place["per_column"], place["per_row"]
    return [
        [picture.getpixel((int(x + column * dx), int(y + row * dy))) < 128 for column in range(count[1])]
        for row in range(count[0])
    ]


@pytest.mark.parametrize("machine", ["hand-standard", "card24-standard", "bitmap-standard"])
def test_the_sizes_side_by_side_are_those_made_alone(machine: str) -> None:
    (whole,) = leaflet("pilot-cap").values
    size = next(part for part in whole.parts if part.heading == "Size")
    table = next(block for block in size.blocks if hasattr(block, "head"))
    columns = list(zip(table.head, *table.rows, strict=True))  # type: ignore[union-attr]
    for at, label in enumerate(SIZES["pilot-cap"]):
        plan = planned("pilot-cap", at, machine)
        assert plan.width_cm and plan.length_cm
        told = dict(zip(columns[0], columns[at + 1], strict=True))
        assert (told["Size"], told["Needles"]) == (label, str(plan.needles.count))
        assert told["Width"].startswith(f"{plan.width_cm.value:.1f} cm") and told["Length"].startswith(
            f"{plan.length_cm.value:.1f} cm"
        )

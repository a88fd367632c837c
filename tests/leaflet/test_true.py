"""The leaflet's own words, followed on simulated machines: every example, class of machine and size, as text, on paper
and on the page."""

from __future__ import annotations

import base64
import functools
import html
import io
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import partial

import pypdfium2
import pytest

from stitchc import CardOptions, PieceOptions, load_machine, make_card, plan_piece
from stitchc.document import Document, Listing, Part, Table, to_text
from stitchc.piece.plan import Plan
from stitchc.piece.product import write_instructions
from tests.leaflet.made import THICK, chosen, content, in_size, leaflet, pattern
from tests.proof.knitter import AtReader, Knitter, Line, by_row, lines_of_page, lines_of_text
from tests.proof.machines import Bed, Felt, card_in_reader, picture_in_reader, position, row_read, wanted
from tests.proof.running import SHIPPED
from tests.sheet.words_reader import read

EXAMPLES = ("cowl", "cushion", "pilot-cap", "sampler-piece", "summer-scarf", "tuck-lace", "wrist-warmers")
OWN = ("hand-fine", "hand-standard", "hand-mid", "card24-standard", "bitmap-standard")
WIDE = ("hand-mid", "hand-bulky", "card24-bulky", "card12-bulky", "bitmap-bulky")
MACHINES = {**dict.fromkeys(EXAMPLES, OWN), **{f"{name}{THICK}": WIDE for name in EXAMPLES}}
"""By the name of a pattern, those that its leaflet must have instructions for, but for the unsuited ones."""
TITLES = {name: load_machine(name).title for name in SHIPPED}
UNSUITED = {
    *((name, "hand-fine") for name in ("cowl", "cushion", "pilot-cap", "wrist-warmers")),
    *((f"{name}{THICK}", "hand-mid") for name in ("cushion", "wrist-warmers")),
    ("tuck-lace", "hand-mid"),
}
"""22 stitches to 10 cm are too wide for 3.6 mm, 13 too wide for 6.5 mm, 28 too narrow for it."""


def sizes_of(name: str) -> tuple[str, ...]:
    (piece,) = pattern(name).pieces.values()
    return tuple(label for label, _ in piece.sizes) or ("one size",)


@functools.cache
def planned(name: str, at: int, machine: str) -> Plan:
    """This size alone, as `stitchc piece --sizes` has it."""
    size = sizes_of(name)[at]
    options = PieceOptions(sizes=None if size == "one size" else size)
    (plan,) = plan_piece(pattern(name), load_machine(machine), options).values
    return plan


def meant(plan: Plan, fabric: list[str]) -> None:
    """The fabric is what the pattern asks for: its charts, section after section, on the needles of this size. Only a
    needle that comes back into work may knit first, or wait until its neighbour has."""
    bed = range(plan.needles.first, plan.needles.last + 1)
    habits = SHIPPED[plan.machine.name]
    column_1 = None if habits.reader == "none" else habits.column_1_needle
    asked: list[str] = []
    for section in plan.sections:
        rows = plan.charts[section.stitch].rows()
        asked += wanted(rows, bed, section.rows, plan.edge, None if section.stitch == "plain" else column_1)
    assert len(fabric) == len(asked)
    for number, (row, should) in enumerate(zip(fabric, asked, strict=True)):
        back = {at for at, sign in enumerate(fabric[number - 1] if number else should) if sign == "-"}
        odd = [at for at, (did, wish) in enumerate(zip(row, should, strict=True)) if did != wish]
        assert all(at in back and should[at] != "-" and row[at] in "K-" for at in odd), (number + 1, row, should)


# -- what a knitter has before her ------------------------------------------------------------------------------------


def chapter_of(name: str, machine: str) -> Document:
    (whole,) = leaflet(name).values
    title = TITLES[machine]
    return next(
        each for each in whole.chapters for head, text in each.facts if head.startswith("Machine") and title in text
    )


def as_text(name: str, at: int, machine: str) -> tuple[list[Line], str]:
    told = to_text(chapter_of(name, machine))
    lines = [Line(each.rows, each.direction, in_size(each.words, at), each.to_and_fro) for each in lines_of_text(told)]
    return lines, in_size(" ".join(told.split()), at)


@functools.cache
def paper(name: str) -> str:
    """All that can be copied from the PDF, in reading order, without the feet of the pages."""
    document = pypdfium2.PdfDocument(io.BytesIO(content(name, ".pdf")))
    pages = [page.get_textpage().get_text_range().replace("\r", "") for page in document]
    return re.sub(r"\n[^\n]* · made by stitchc Page \d+ of \d+(?=\n|$)", "", "\n".join(pages))


_ENTRY = re.compile(r"(?:^| )(\d+)(?: …)?(?: [←→])? (right to left|left to right)( first)? (?=[A-Z])")


def as_paper(name: str, at: int, machine: str) -> tuple[list[Line], str]:
    (whole,) = leaflet(name).values
    own = chapter_of(name, machine)
    later = whole.chapters[whole.chapters.index(own) + 1 :]
    text = paper(name) + "\n"
    start = text.rindex(f"\n{own.title}\n")
    stop = text.rindex(f"\n{later[0].title}\n") if later else len(text)
    told = " ".join(text[start:stop].split())
    rows = told.partition(" Row by row ")[2]
    for by_hand in [step.text for step in next(iter(pattern(name).pieces.values())).steps if hasattr(step, "text")]:
        assert f" {by_hand} " in f"{rows} "
        rows = f"{rows} ".replace(f" {by_hand} ", " ")
    heads = list(_ENTRY.finditer(rows))
    lines = []
    for head, after in zip(heads, [*heads[1:], None], strict=True):
        rest = rows[head.end() : after.start() if after else len(rows)]
        rest = re.split(r" (?:Part \d+ of \d+: |One plain row added|Rows \d+ to \d+: these )", rest)[0]
        match = re.fullmatch(r"(.*\.)([ LR\d…]*)", rest)
        assert match, rest
        ticks = [int(tick) for tick in re.findall(r"(?<![LR\d])[1-9]\d*", match[2])] or [int(head[1])]
        assert ticks[0] == int(head[1])
        lines.append(Line(together(ticks), head[2], in_size(match[1], at), bool(head[3])))
    return lines, in_size(told, at)


def together(rows: list[int]) -> list[list[int]]:
    runs: list[list[int]] = []
    for row in rows:
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    return runs


@functools.cache
def whole_page(name: str) -> str:
    return content(name, ".html").decode()


def page_of(name: str, at: int, machine: str, units: str = "cm") -> str:
    (piece,) = pattern(name).pieces
    return chosen(whole_page(name), TITLES[machine], sizes_of(name)[at], units, piece)


def on_page(name: str, at: int, machine: str) -> Iterator[tuple[list[Line], str]]:
    for units in ("cm", "in"):
        page = page_of(name, at, machine, units)
        told = " ".join(html.unescape(re.sub("<[^>]*>", " ", page)).split())
        for place in ("rows", "paper"):
            if lines := lines_of_page(page, place):
                yield lines, told


# -- the proof --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", MACHINES)
def test_every_class_knits_it_from_the_words_alone(name: str) -> None:
    for machine in MACHINES[name]:
        if (name, machine) in UNSUITED:
            told = " ".join(to_text(leaflet(name).values[0]).split())
            title = re.escape(TITLES[machine])
            assert re.search(
                rf"{title}[^:]*: Stocking stitch of [\d.]+ stitches in 10 cm does not suit such a machine", told
            )
            continue
        for at, plan in enumerate(planned(name, at, machine) for at in range(len(sizes_of(name)))):
            knitted = []
            for lines, told in (as_text(name, at, machine), as_paper(name, at, machine), *on_page(name, at, machine)):
                needles = f"{plan.needles.left} to {plan.needles.right}"
                assert f"Needles {needles}: " in told.replace("Needles: ", "Needles "), "not those of one size alone"
                if (words := (by_each_row(lines), guiding(told))) not in knitted:  # they make the same fabric
                    meant(plan, followed(name, plan, machine, lines, told))
                    knitted.append(words)


def by_each_row(lines: list[Line]) -> list[tuple[int, str, str, bool, list[int]]]:
    """All that is told of each row, however the lines are put together: its words, the direction, and the rows that
    the words are for together."""
    return [
        (row, line.words, line.direction, line.to_and_fro, next(once for once in line.rows if row in once))
        for row, line in sorted(by_row(lines).items())
    ]


def guiding(told: str) -> tuple[list[str], dict[int, str], list[str]]:
    """All that `followed` takes from what stands around the rows."""
    return _CAST_ON.findall(told), put_in_by_row(told), _FIRST_COLUMN.findall(told)


def followed(name: str, plan: Plan, machine: str, lines: list[Line], told: str, ahead: bool = False) -> list[str]:
    bed = range(plan.needles.first, plan.needles.last + 1)
    found = by_row(lines)
    assert len(found) == len(plan.passes)
    cast_on = _CAST_ON.search(told)
    simulated = Bed(bed, empty=read(cast_on[1]) if cast_on else set())
    knitter = (
        Knitter(simulated, "right") if machine.startswith("hand") else at_reader(name, plan, machine, simulated, told)
    )
    if isinstance(knitter, AtReader):
        knitter.ahead, knitter.ready = ahead, set(bed)
    fabric = [knitter.knit(row, found[row]) for row in range(1, len(found) + 1)]
    assert fabric == simulated.fabric_from_loops(len(fabric))
    return fabric


_CAST_ON = re.compile(r"These needles stand empty from the cast-on, in non-working position: (.*?\))\. ")
_FIRST_COLUMN = re.compile(r"first column of (?:the|each) picture goes on ([LR]\d+)")
_PART = re.compile(r"Part \d+ of \d+: (\S+), rows? (\d+)(.*?)(?= Part \d+ of|$)")


def put_in_by_row(told: str) -> dict[int, str]:
    """The stitch whose card or picture is put in, or started again, at the first row of each part; "" where none is."""
    put_in: dict[int, str] = {}
    in_reader = ""
    for stitch, row, details in _PART.findall(told):
        start = r"and (?:lock it with its START line at eye level|start at row 1)\."
        match = re.search(rf"(?:Put in the card|Choose the picture) of (\S+) {start}", details)
        again = re.search(
            r"(?:Set the card back and lock it with its START line at eye level|Start the picture at row 1 again)\.",
            details,
        )
        in_reader = match[1] if match else in_reader
        put_in[int(row)] = in_reader if match or again else ""
        assert put_in[int(row)] in (stitch, "")
    return put_in


def at_reader(name: str, plan: Plan, machine: str, bed: Bed, told: str) -> AtReader:
    """With the leaflet's own cards, looked at on their pages of the PDF, or the pictures of its page."""
    habits = SHIPPED[machine]
    put_in = put_in_by_row(told)
    felt: dict[str, tuple[Felt, int]] = {}
    for stitch in filter(None, put_in.values()):
        if habits.reader == "card":
            holes = card_on_paper(name, stitch, machine)
            felt[stitch] = card_in_reader(habits, holes), len(holes)
        else:
            first = _FIRST_COLUMN.search(told)
            taken = re.search(
                rf'download="{stitch}-bitmap.png" href="data:image/png;base64,([^"]+)"', page_of(name, 0, machine)
            )
            assert first and taken
            picture = picture_in_reader(habits, base64.b64decode(taken[1]), position(first[1]))
            felt[stitch] = picture, plan.charts[stitch].height
    edge = {*list(bed.needles)[: plan.edge], *list(bed.needles)[-plan.edge :]}
    return AtReader(bed, "right", felt=felt, edge=edge, put_in=put_in, by_card=habits.reader == "card")


@functools.cache
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


def test_words_that_are_not_true_are_found_out() -> None:
    """The proof can fail: at a needle, a setting or a count that is off by one."""
    at_card, by_hand = ("sampler-piece", "card24-standard"), ("cowl", "hand-standard")
    for (name, machine), words, wrong in (
        (at_card, "to tuck", "to slip"),
        (at_card, "shows 44", "shows 45"),
        (at_card, "Release the card and k", "K"),
        (by_hand, "L23 to R24", "L24 to R23"),
    ):
        for lines, told in (as_text(name, 0, machine), as_paper(name, 0, machine)):
            changed = [replace(line, words=line.words.replace(words, wrong)) for line in lines]
            assert changed != lines
            with pytest.raises(AssertionError):
                plan = planned(name, 0, machine)
                meant(plan, followed(name, plan, machine, changed, told))


@pytest.mark.parametrize("machine", ["card24-standard", "bitmap-standard"])
@pytest.mark.parametrize("name", ["cushion", "sampler-piece"])
def test_a_reader_of_other_habits_as_the_leaflet_says(name: str, machine: str) -> None:
    """Where needles are selected for the pass to come, the card is locked at row 1 and the carriage passes it once
    while it is locked (http://lacecarriage.com/twocolour.htm)."""
    lines, told = as_text(name, 0, machine)
    plan = planned(name, 0, machine)
    is_card = machine.startswith("card")
    reader = (
        "put in the card and lock it with its START line at eye level"
        if is_card
        else "choose the picture and start at row 1"
    )
    assert f"{reader} one row earlier, before the last row of the part before." in told
    fabric = followed(name, plan, machine, lines, told, ahead=True)
    meant(plan, fabric)
    if machine.startswith("card"):
        assert "A reader that reads 5 rows below takes row 6" in told
        assert row_read(replace(SHIPPED[machine], seen_above_read=5), 6, 36) == 1
        holes = card_on_paper(name, plan.sections[1].stitch, machine)
        turned = card_in_reader(replace(SHIPPED[machine], mirrored=True), [line[::-1] for line in holes])
        straight = card_in_reader(SHIPPED[machine], holes)
        assert "put the card in with its other side toward you" in told
        assert all(turned(row, n) == straight(row, n) for row in range(1, 9) for n in range(-40, 40))


# -- sizes side by side -----------------------------------------------------------------------------------------------

_RANGE = re.compile(r", [\d.]+ to [\d.]+ (?:cm|in)| \(\d+ to \d+\)")
SIZED = [
    (name, machine)
    for name, machines in MACHINES.items()
    for machine in machines
    if len(sizes_of(name)) > 1 and (name, machine) not in UNSUITED
]


@pytest.mark.parametrize(("name", "machine"), SIZED)
def test_the_sizes_side_by_side_are_those_made_alone(name: str, machine: str) -> None:
    (whole,) = leaflet(name).values
    parts = {part.heading: part for part in (*whole.parts, *chapter_of(name, machine).parts)}
    facts = dict(chapter_of(name, machine).facts)
    table = next(block for block in parts["Size"].blocks if isinstance(block, Table))
    columns = list(zip(table.head, *table.rows, strict=True))
    for at, label in enumerate(sizes_of(name)):
        plan = planned(name, at, machine)
        assert plan.width_cm and plan.length_cm
        inches = [f"{width.value:.1f} cm ({width.value / 2.54:.1f} in)" for width in (plan.width_cm, plan.length_cm)]
        ranges = [
            [f"{size.low / per:.1f} to {size.high / per:.1f}" for per in (1, 2.54)]
            for size in (plan.width_cm, plan.length_cm)
        ]
        told = [label, str(plan.needles.count), inches[0], *ranges[0], inches[1], *ranges[1]]
        assert list(columns[at + 1]) == told, columns[0]
        options = PieceOptions(sizes=label, for_others=True)
        alone = write_instructions(pattern(name), load_machine(machine), options).values[0].document
        for heading in [part.heading for part in alone.parts if part.heading.startswith(("Size", "Yarn"))]:
            both = (parts[heading], *([parts["Yarn to buy"]] if heading == "Yarn" and "Yarn to buy" in parts else []))
            mine = [_RANGE.sub("", line) for part in both for line in lines_in(part)]
            for line in map(partial(_RANGE.sub, ""), lines_in(next(p for p in alone.parts if p.heading == heading))):
                if heading == "Yarn" and len(pattern(name).pieces) == 1:  # with its swatches, where it is bought
                    line = line.replace("Swatches and waste yarn are not", "Waste yarn is not")
                if not line.startswith(("Width", "Length")):  # in the table
                    assert line in [in_size(each, at) for each in mine], line
        assert {head: in_size(facts[head], at) for head in ("Needles", "Carriage", "Work")} == {
            head: text for head, text in alone.facts if head in ("Needles", "Carriage", "Work")
        }


def lines_in(part: Part) -> list[str]:
    return [line for block in part.blocks if isinstance(block, Listing) for line in block.items]

"""The words of a sheet and nothing else, followed on a bed: text with and without blocks, the table, what is printed.

The knitter of `knitter.py` looks up the line of each row by her row counter and remembers no other row, so that any
word that leans on more than what is out on the bed would stop her or give another fabric.
"""

from __future__ import annotations

import itertools
import re
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from stitchc import PieceOptions, compile_text, plan_piece
from stitchc.document import to_text
from stitchc.machines import load_text
from stitchc.passes import Pass
from stitchc.piece import Plan
from stitchc.piece.document import piece_document
from tests.piece.test_bed import pieces
from tests.proof.knitter import (
    Knitter,
    by_row,
    empty_at_first,
    follow_words,
    go_on_as_told,
    lines_of_page,
    lines_of_text,
)
from tests.proof.machines import Bed, Habits, follow_sheet, position, wanted
from tests.proof.running import stitchc
from tests.proof.test_examples import EXAMPLES, FILES, charts
from tests.proof.test_profiles import charts as any_charts
from tests.proof.test_profiles import needle_name, pattern, profile

MANY = 400 if "--bench" in sys.argv else 30
"""Random sheets, and as many pieces; on demand so many that over 500 are knitted, the rest being beyond the bed."""

BEDS = {
    "hold_directions": ["both", "each", "one"],
    "slip_by": ["lifting", "rest"],
    "yarn_at_other_side": ["cut", "free pass", "carry"],
}
"""Three kinds of carriage, both ways to slip, three ways to come by a yarn at the other side."""

beds = st.fixed_dictionaries({key: st.sampled_from(values) for key, values in BEDS.items()})


def carriage_table(habits: dict[str, str]) -> str:
    return "".join(["[carriage]\n", *(f'{key} = "{value}"\n' for key, value in habits.items())])


def beyond(habits: dict[str, str], fabric: list[str], yarns: list[str], side: str) -> bool:
    """Whether such a bed cannot knit the rows: worked out from the letters, the yarns and the side alone."""
    at, hangs, ways = side, {}, set()  # type: tuple[str, dict[str, tuple[str, int]], set[str]]
    for number, (row, yarn) in enumerate(zip(fabric, yarns, strict=True)):
        here, since = hangs.get(yarn, (at, number))
        if here != at and number - since <= 10 and habits["yarn_at_other_side"] != "cut":
            ways |= {at} if habits["yarn_at_other_side"] == "free pass" else set()
            at = here
        if set(row) & set("TS" if habits["slip_by"] == "lifting" else "T"):
            ways.add(at)
        at = "left" if at == "right" else "right"
        hangs[yarn] = (at, number + 1)
    lost = any(
        (one, two) == ("T", "S")
        for row, after in itertools.pairwise(fabric)
        for one, two in zip(row, after, strict=True)
    )
    return (habits["hold_directions"] == "one" and len(ways) == 2) or (habits["slip_by"] == "rest" and lost)


@settings(max_examples=MANY)
@given(st.data())
def test_any_sheet_by_its_words(data: st.DataObject) -> None:
    rows = data.draw(any_charts(st.integers(1, 12), mixed=True, ladders=True))
    edge = data.draw(st.integers(0, 2))
    first = data.draw(st.integers(-30, 10))
    bed = range(first, first + data.draw(st.integers(2 * edge + 1, 36)))
    count = data.draw(st.integers(1, 40))
    side = data.draw(st.sampled_from(["right", "left"]))
    habits = data.draw(beds)
    yarns = data.draw(st.none() | st.lists(st.sampled_from(["sand", "foam"]), min_size=len(rows), max_size=len(rows)))
    event("knitted" if knit_by_words(rows, yarns, habits, bed, count, edge, side) else "beyond the carriage")


ROWS = [
    (["KTKS", "KKKK", "SKKT"], "aba"),
    (["KT-K", "KT-K", "KK-K", "SK-K"], "abba"),
    (["KKT", "KKK", "KKK", "SKK", "KKK"], "aabab"),
    (["KKK", "KTS", "KKS"], "aaa"),
]
"""Tuck and slip in one row and over two, ladders, yarns at either side, a slip that outlasts the tuck beside it."""


@pytest.mark.parametrize("habits", [dict(zip(BEDS, each, strict=True)) for each in itertools.product(*BEDS.values())])
def test_every_kind_of_bed(habits: dict[str, str]) -> None:
    for rows, yarns in ROWS:
        names = [{"a": "sand", "b": "foam"}[yarn] for yarn in yarns]
        for side in ("right", "left"):
            knit_by_words(rows, names, habits, range(-9, 8), 31, 1, side)


def knit_by_words(
    rows: list[str], yarns: list[str] | None, habits: dict[str, str], bed: range, count: int, edge: int, side: str
) -> bool:
    """Follow the sheet as text, in blocks and row by row, as a page and as JSON. Whether such a bed can knit it: M305
    where not."""
    fabric = wanted(rows, bed, count, edge)
    yarn_of = [yarns[number % len(rows)] if yarns else "" for number in range(count)]
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        (place / "proof.stitch").write_text(pattern(rows, yarns), "utf-8")
        (place / "own.toml").write_text(profile(Habits("none"), 120) + carriage_table(habits), "utf-8")
        common = ("sheet", place / "proof.stitch", "--machine", place / "own.toml", "--anyway", "--rows", str(count),
                  "--needles", f"{needle_name(bed.start)}-{needle_name(bed.stop - 1)}", "--edge", str(edge),
                  "--carriage", side)  # fmt: skip
        text, every = stitchc(*common), stitchc(*common, "--every-row")
        assert (text.status, every.status) == (0, 0), text
        assert ("[M305]" in text.err) == beyond(habits, fabric, yarn_of, side), text
        if "[M305]" in text.err:
            return False
        assert stitchc(*common, "--format", "html", "-o", place / "sheet.html").status == 0
        page = (place / "sheet.html").read_text("utf-8")
        assert follow_sheet(stitchc(*common, "--format", "json").document(), side) == fabric  # type: ignore[arg-type]
    printed = lines_of_page(page, "paper")  # none where blocks would spare nothing
    for lines in (
        lines_of_text(text.out), lines_of_text(every.out), lines_of_page(page, "rows"), *([printed] if printed else []),
    ):  # fmt: skip
        assert follow_words(lines, bed, side, count, empty_at_first(text.out)) == fabric  # type: ignore[arg-type]
        assert not [line for line in lines if re.search(r"\b(in between|as rows?|as before|as above)\b", line.words)]
    assert all(len(line.rows) == len(line.rows[0]) == 1 for line in lines_of_text(every.out))
    return True


def does(passed: Pass, needle: int) -> str:
    if needle in passed.empty:
        return "-"
    return "K" if needle not in passed.held else "S" if needle in passed.slipped else "T"


def as_the_sections_say(plan: Plan, fabric: list[str]) -> None:
    """Every cell is its section's, but that a needle that comes back into work knits first, after its neighbours."""
    needles, edge = range(plan.needles.first, plan.needles.last + 1), plan.edge
    assert all("stands at" in section.why for section in plan.sections if section.step is None)  # asked for by the file
    sections = [section for section in plan.sections for _ in range(section.rows)]
    for number, (section, row) in enumerate(zip(sections, fabric, strict=True)):
        (meant,) = wanted(section.chart.rows(), needles, 1, edge, first_row=number + 1 - section.from_row)
        before = fabric[number - 1] if number else row
        gaps = [match.span() for match in re.finditer("-+", before)]
        for at, (done, should) in enumerate(zip(row, meant, strict=True)):
            if done != should:
                (first, stop) = next(span for span in gaps if span[0] <= at < span[1])
                assert should != "-" and (done == "K" or (done == "-" and "K" in row[first:stop])), (number, at)


@settings(max_examples=MANY)
@given(pieces(ladders=True), beds, st.data())
def test_any_piece_by_its_words_and_from_half_way(text: str, habits: dict[str, str], data: st.DataObject) -> None:
    """Whoever goes on from any row needs no more than the sheet of the rows that are left."""
    pattern = compile_text(text, "it.stitch").pattern
    assert pattern is not None
    machine = load_text('based_on = "hand-standard"\n' + carriage_table(habits), "own.toml")
    made = plan_piece(pattern, machine, PieceOptions(anyway=True))
    is_beyond = any(message.code == "M305" for message in made.messages)
    event("beyond the carriage" if is_beyond else "knitted")
    if is_beyond:
        return
    (plan,) = made.values
    bed = range(plan.needles.first, plan.needles.last + 1)
    fabric = [
        "".join(
            "-" if n in each.empty else "K" if n not in each.held else "S" if n in each.slipped else "T" for n in bed
        )
        for each in plan.passes
    ]
    as_the_sections_say(plan, fabric)
    text = to_text(piece_document([plan], (), "cm", [[]]))
    whole = by_row(lines_of_text(text))
    knitter = Knitter(Bed(bed, empty=empty_at_first(text)), plan.piece.carriage)
    done = data.draw(st.integers(0, len(fabric) - 1))
    told = [knitter.knit(row, whole[row]) for row in range(1, done + 1)]
    if done:
        sheet = to_text(piece_document([plan], (), "cm", [[]], done), data.draw(st.booleans()))
        assert f"The row counter stands at {done:03d} and the carriage at the {knitter.side}." in " ".join(
            sheet.split()
        )
        whole = by_row(lines_of_text(sheet))
        knitter = go_on_as_told(sheet, knitter.bed, knitter.side)
    told += [knitter.knit(row, whole[row]) for row in range(done + 1, len(fabric) + 1)]
    assert told == fabric == knitter.bed.fabric_from_loops(len(fabric))


@pytest.mark.parametrize("file", FILES)
def test_every_example_by_its_words(file: str) -> None:
    for stitch, rows in charts(file).items():
        said = stitchc("sheet", EXAMPLES / file, "--stitch", stitch, "--needles", "L21-R18", "--rows", "45", "--anyway")
        assert said.status == 0, said
        bed = range(position("L21"), position("R18") + 1)
        knitted = follow_words(lines_of_text(said.out), bed, "right", 45, empty_at_first(said.out))
        assert knitted == wanted(rows, bed, 45, 1), stitch

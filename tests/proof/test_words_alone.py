"""The words of a sheet and nothing else, followed on a bed: text with and without blocks, the table, what is printed.

The knitter of `knitter.py` looks up the line of each row by her row counter and remembers no other row, so that any
word that leans on more than what is out on the bed would stop her or give another fabric.
"""

from __future__ import annotations

import re
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stitchc import PieceOptions, compile_text, plan_piece
from stitchc.document import to_text
from stitchc.machines import load_text
from stitchc.piece.document import piece_document
from tests.piece.test_bed import pieces
from tests.proof.knitter import Knitter, by_row, follow_words, holds_as_told, lines_of_page, lines_of_text
from tests.proof.machines import Bed, Habits, position, wanted
from tests.proof.running import stitchc
from tests.proof.test_examples import EXAMPLES, FILES, charts
from tests.proof.test_profiles import charts as any_charts
from tests.proof.test_profiles import needle_name, pattern, profile


@settings(max_examples=25)
@given(st.data())
def test_any_sheet_by_its_words(data: st.DataObject) -> None:
    rows = data.draw(any_charts(st.integers(1, 12), mixed=True))
    edge = data.draw(st.integers(0, 2))
    first = data.draw(st.integers(-30, 10))
    bed = range(first, first + data.draw(st.integers(2 * edge + 1, 36)))
    count = data.draw(st.integers(1, 40))
    side = data.draw(st.sampled_from(["right", "left"]))
    ways = data.draw(st.sampled_from(["both", "each", "one"]))
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        (place / "proof.stitch").write_text(pattern(rows), "utf-8")
        own = profile(Habits("none"), 120) + f'[carriage]\nhold_directions = "{ways}"\n'
        (place / "own.toml").write_text(own, "utf-8")
        common = ("sheet", place / "proof.stitch", "--machine", place / "own.toml", "--anyway", "--rows", str(count),
                  "--needles", f"{needle_name(bed.start)}-{needle_name(bed.stop - 1)}", "--edge", str(edge),
                  "--carriage", side)  # fmt: skip
        text, every = stitchc(*common), stitchc(*common, "--every-row")
        assert (text.status, every.status) == (0, 0), text
        assert stitchc(*common, "--format", "html", "-o", place / "sheet.html").status == 0
        page = (place / "sheet.html").read_text("utf-8")
    fabric = wanted(rows, bed, count, edge)
    held = {number % 2 for number, row in enumerate(fabric) if set(row) != {"K"}}
    assert ("[M305]" in text.err) == (ways == "one" and len(held) == 2), "one direction alone holds no rows of both"
    printed = lines_of_page(page, "paper")  # none where blocks would spare nothing
    for lines in (
        lines_of_text(text.out), lines_of_text(every.out), lines_of_page(page, "rows"), *([printed] if printed else []),
    ):  # fmt: skip
        assert follow_words(lines, bed, side, count) == fabric  # type: ignore[arg-type]
        assert not [line for line in lines if re.search(r"\b(in between|as rows?|as before|as above)\b", line.words)]
    assert all(len(line.rows) == len(line.rows[0]) == 1 for line in lines_of_text(every.out))


@settings(max_examples=40)
@given(pieces(), st.data())
def test_any_piece_by_its_words_and_from_half_way(text: str, data: st.DataObject) -> None:
    """Whoever goes on from any row needs no more than the sheet of the rows that are left."""
    pattern = compile_text(text, "it.stitch").pattern
    assert pattern is not None
    ways = data.draw(st.sampled_from(["both", "each"]))
    machine = load_text(f'based_on = "hand-standard"\n[carriage]\nhold_directions = "{ways}"\n', "own.toml")
    (plan,) = plan_piece(pattern, machine, PieceOptions(anyway=True)).values
    bed = range(plan.needles.first, plan.needles.last + 1)
    fabric = [
        "".join("K" if n not in each.held else "S" if n in each.slipped else "T" for n in bed) for each in plan.passes
    ]
    whole = by_row(lines_of_text(to_text(piece_document([plan], (), "cm", [[]]))))
    knitter = Knitter(Bed(bed), plan.piece.carriage)
    done = data.draw(st.integers(0, len(fabric) - 1))
    told = [knitter.knit(row, whole[row]) for row in range(1, done + 1)]
    if done:
        sheet = to_text(piece_document([plan], (), "cm", [[]], done), data.draw(st.booleans()))
        assert f"The row counter stands at {done:03d} and the carriage at the {knitter.side}." in " ".join(
            sheet.split()
        )
        whole = by_row(lines_of_text(sheet))
        knitter = Knitter(knitter.bed, knitter.side, holds_as_told(sheet))
    told += [knitter.knit(row, whole[row]) for row in range(done + 1, len(fabric) + 1)]
    assert told == fabric == knitter.bed.fabric_from_loops(len(fabric))


@pytest.mark.parametrize("file", FILES)
def test_every_example_by_its_words(file: str) -> None:
    for stitch, rows in charts(file).items():
        said = stitchc("sheet", EXAMPLES / file, "--stitch", stitch, "--needles", "L21-R18", "--rows", "45", "--anyway")
        assert said.status == 0, said
        bed = range(position("L21"), position("R18") + 1)
        assert follow_words(lines_of_text(said.out), bed, "right", 45) == wanted(rows, bed, 45, 1), stitch

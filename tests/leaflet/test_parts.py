"""What only the leaflet says: rows in words, and the tables for another gauge."""

from __future__ import annotations

import re

import pytest

from stitchc import LeafletOptions, PieceOptions, compile_text, load_machine, make_leaflet, plan_piece
from stitchc.document import Listing, Table
from stitchc.leaflet.parts import swatch_parts
from stitchc.leaflet.stitch_rows import row_words, stitch_rows
from stitchc.piece.other_gauges import OFF, other_gauges
from stitchc.piece.product import write_instructions
from stitchc.piece.yarn import yarn_needed


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("K6", "knit all"),
        ("S", "slip all"),
        ("K T K4", "knit 1, tuck 1, knit 4"),
        ("(K T)x4 K2", "knit 1, tuck 1, these 2 needles 4 times; knit 2"),
        ("((K T)x2 S3)x2", "knit 1, tuck 1, these 2 needles twice, slip 3, these 7 needles twice"),
    ],
)
def test_a_row_in_words(text: str, words: str) -> None:
    assert row_words(text) == words


def test_rows_that_follow_each_other_and_are_the_same_share_a_line() -> None:
    text = "yarn kelp\nstitch net over 4\n    out 4\n    1-2: K T K\n    3 in kelp: K\n    4: K\n"
    pattern = compile_text(text).pattern
    assert pattern is not None
    table = stitch_rows("net", pattern.stitches["net"].chart)
    assert table.head == ("Row", "Letters", "In words", "Carriage", "Yarn")
    assert [(row[0], row[2], row[3], row[4]) for row in table.rows] == [
        ("1, 2", "knit 1, tuck 1, knit 1", "tuck", ""),
        ("3", "knit all", "plain", "kelp"),
        ("4", "knit all", "plain", ""),
    ]
    assert "Needle 4 of the repeat is out of work" in table.caption


PIECE = """\
stitch tide over 4
    1: K T K2
    2: K
gauge tide {stitches:.4f} stitches {rows:.4f} rows per 10 cm
piece cuff
    width 23 cm plus 1 cm
    knit tide for 31 cm
    knit tide for 5 cm exactly
"""


@pytest.mark.parametrize("off", OFF)
def test_the_table_for_another_gauge_is_what_that_gauge_gives(off: int) -> None:
    """The pattern planned anew with the gauge of that line."""

    def planned(percent: float) -> object:
        factor = 1 + percent / 100
        text = PIECE.format(stitches=21 * factor, rows=43 * factor)
        pattern = compile_text(text).pattern
        assert pattern is not None
        (plan,) = plan_piece(pattern, load_machine("hand-standard"), PieceOptions()).values
        return plan

    needles, rows = other_gauges([planned(0)], "cm")  # type: ignore[list-item]
    at = OFF.index(off)
    plan = planned(off)
    lengths = [section.rounding.chosen.mm for section in plan.sections]  # type: ignore[attr-defined]
    assert needles.rows[at][-2:] == (str(plan.needles.count), f"{plan.width_cm.value:.1f}")  # type: ignore[attr-defined]
    counts = [str(section.rows) for section in plan.sections]  # type: ignore[attr-defined]
    assert list(rows.rows[at][-3:]) == [*counts, f"{sum(lengths) / 10:.1f}"]


@pytest.mark.parametrize("after", ["knit plain for 6 rows", "carriage left", ""])
def test_rows_that_others_follow_change_by_even_numbers(after: str) -> None:
    """Found by trying every count: of whole repeats of three, and an even number from the printed one, the nearest."""
    text = "stitch posts\n    1-2: K T K2\n    3: K\ngauge posts 19.5 stitches 38 rows per 10 cm\n"
    text += f"piece cuff\n    width 16 cm\n    knit posts for 9 cm\n    {after}\n"
    pattern = compile_text(text).pattern
    assert pattern is not None
    plan = plan_piece(pattern, load_machine("hand-standard")).values[0]
    printed = plan.sections[0].rows
    assert printed == 33
    _, table = other_gauges([plan], "cm")
    assert ("even" in table.caption) == bool(after)
    for off, row in zip(OFF, table.rows, strict=True):
        asked = 90 * 0.38 * (1 + off / 100)
        counts = range(3, 99, 6 if after else 3)
        assert int(row[-2]) == min(counts, key=lambda count: abs(count - asked)), off
    parts = {part.heading: part for part in swatch_parts(pattern, [plan], plan.machine, "cm")}
    words = " ".join(block for block in parts["If your swatch differs"].blocks if isinstance(block, str))
    assert ("set the row counter to the last printed row" in words) == bool(after)


def test_needles_out_of_work_are_counted_as_needles_in_the_tables() -> None:
    text = "stitch web over 5\n    out 3\n    1: K T K K\n    2: K\ngauge plain 26 stitches 36 rows per 10 cm\n"
    pattern = compile_text(f"{text}piece panel\n    width 20 cm\n    knit web for 20 cm\n").pattern
    assert pattern is not None
    machine = load_machine("hand-standard")
    parts = {part.heading: part for part in swatch_parts(pattern, plan_piece(pattern, machine).values, machine, "cm")}
    needles, rows = (block for block in parts["If your swatch differs"].blocks if isinstance(block, Table))
    assert needles.caption == "web, needles, the empty ones counted too:"
    assert needles.head[1] == "Needles to 10 cm" and re.fullmatch(r"\d+ needles measure", needles.head[2])
    assert rows.caption == "web, rows:" and rows.head[1] == "Rows to 10 cm"


def test_the_table_owns_that_wide_repeats_miss_the_size() -> None:
    """By hand: 38 needles at 18.8 to 10 cm are 20.2 cm, at 17.7 they are 21.5 cm; 20 or 56 needles miss by more."""
    text = "stitch wide over 18\n    1: K T K16\n    2: K\ngauge wide 18.8 stitches 30 rows per 10 cm\n"
    text += "piece strip\n    width 20 cm\n    knit wide for 10 rows\n"
    pattern = compile_text(text).pattern
    assert pattern is not None
    plans = plan_piece(pattern, load_machine("hand-standard"), PieceOptions()).values
    (table,) = other_gauges(plans, "cm")
    assert table.head[-2:] == ("Needles", "Width, cm")
    assert [table.rows[at][-2:] for at in (0, 3)] == [("38", "21.5"), ("38", "20.2")]


@pytest.mark.parametrize(
    ("knits", "swatches"),
    [
        ("knit plain for 12 rows\n    knit tide for 20 cm", ["tide"]),
        ("knit plain for 12 cm\n    knit tide for 20 cm", ["stocking stitch", "tide"]),
        (
            "knit plain for 12 cm in kelp\n    knit plain for 9 cm in tar",
            ["plain in kelp and plain in tar, one of each"],
        ),
    ],
)
def test_every_table_has_a_swatch_to_measure(knits: str, swatches: list[str]) -> None:
    text = f"yarn kelp\nyarn tar\nyarn oat\n{PIECE.split('piece')[0].format(stitches=21, rows=43)}"
    text += "gauge plain 22 stitches 30 rows per 10 cm\n"
    if "in tar" in knits:
        text += "gauge plain 20 stitches 27 rows per 10 cm in tar\ngauge plain 23 stitches 32 rows per 10 cm in kelp\n"
    pattern = compile_text(f"{text}piece cuff\n    width 23 cm\n    {knits}\n").pattern
    assert pattern is not None
    machine = load_machine("hand-standard")
    parts = {part.heading: part for part in swatch_parts(pattern, plan_piece(pattern, machine).values, machine, "cm")}
    heads = [block for block in parts["Swatch"].blocks if isinstance(block, str) and block.startswith("Swatch of")]
    tables = [block for block in parts["If your swatch differs"].blocks if isinstance(block, Table)]
    assert all(" measure" in table.head[2] for table in tables)
    assert heads == [f"Swatch of {each}:" for each in swatches]
    lengths = [table.head[-1] for table in tables if "rows" in table.caption]
    assert lengths and all(re.fullmatch(r"Length of rows \d+ to \d+, cm", head) for head in lengths)


def test_the_yarn_to_buy_counts_every_swatch_once_in_its_yarn() -> None:
    """Two pieces in one stitch and yarn take one swatch; what the leaflet says of it is what is added."""
    text = "yarn kelp ball 50 g 120 m\nyarn tar ball 50 g 120 m\n"
    text += PIECE.split("piece")[0].format(stitches=21, rows=43)
    text += "gauge plain 22 stitches 30 rows per 10 cm\n"
    knits = "    knit tide for 20 cm in kelp\n    knit plain for 9 rows in tar\n"
    text += f"piece cuff\n    make 2\n    width 23 cm\n{knits}piece back\n    width 30 cm\n{knits}"
    pattern = compile_text(text).pattern
    assert pattern is not None
    options = LeafletOptions(form="text", pictures=False)
    (file,) = make_leaflet(pattern, [load_machine("hand-standard")], options).files
    told = " ".join(file.content.decode().split())
    (swatch,) = set(re.findall(r"Yarn: about (\d+) m at the most", told))
    kelp = re.search(r" kelp [^-]*? (\d+) m, \d+ g \d+(?: or \d+)? ", told.split("Yarn to buy")[1])
    assert kelp is not None
    assert f"The amounts to have include yarn for the swatches: {swatch} m of kelp." in told
    high = sum(
        make * yarn.metres.high
        for make, piece in ((2, "cuff"), (1, "back"))
        for (plan,) in [plan_piece(pattern, load_machine("hand-standard"), PieceOptions(piece=piece)).values]
        for yarn in yarn_needed(plan)
        if yarn.name == "kelp" and yarn.metres is not None
    )
    assert 0 <= int(kelp[1]) - (high * 1.1 + int(swatch)) <= 11
    assert "for the cast-on, ends and a row gone wrong" in told and "Swatches and waste yarn are not included" in told


BEDS = """\
yarn aa tex 300
yarn bb tex 300
stitch lad over 6
    out 2, 5
    1: K T K2
    2: K
    3 in bb: K2 S K
stitch five over 5
    1-2 in bb: K S K3
    3: K
gauge plain 20 stitches 28 rows per 10 cm
piece bag
    sizes 12, 20, 28 cm in lad
    knit five for 27 rows exactly
"""


def test_machines_of_one_pitch_that_take_other_yarn_are_told_apart() -> None:
    """The figures of each line are those of the machine that its bed names."""
    pattern = compile_text(BEDS).pattern
    assert pattern is not None
    machines = [load_machine(f"{name}-standard") for name in ("hand", "bitmap")]
    machines.append(load_machine("hand-bulky"))
    leaflet = make_leaflet(pattern, machines, LeafletOptions(form="text", pictures=False)).values[0]
    parts = [part for each in (leaflet, *leaflet.chapters) for part in each.parts if part.heading == "Yarn to buy"]
    (table,) = (block for part in parts for block in part.blocks if isinstance(block, Table))
    assert table.head[0] == "Bed"
    lines = {row[:3]: row[3:] for row in table.rows}
    for machine, bed in zip(machines, ("4.5 mm by hand", "4.5 mm electronic", "9 mm"), strict=True):
        plans = plan_piece(pattern, machine).values
        for plan, size in zip(plans, ("12 cm", "20 cm", "28 cm"), strict=True):
            text = " ".join(plan_piece(pattern, machine, PieceOptions(sizes=size)).files[0].content.decode().split())
            for yarn in yarn_needed(plan):
                metres, grams = lines[bed, yarn.name, size][:2]
                assert f" {yarn.name} {metres} {grams} " in text, (bed, size, yarn.name)


def test_of_one_piece_there_is_one_amount_to_have() -> None:
    """What the piece takes without its swatches stands nowhere beside it."""
    text = "yarn kelp ball 50 g 120 m\n" + PIECE.split("piece")[0].format(stitches=21, rows=43)
    text += "gauge plain 22 stitches 30 rows per 10 cm\npiece cuff\n    width 23 cm\n    knit tide for 20 cm\n"
    pattern = compile_text(text).pattern
    assert pattern is not None
    machines = [load_machine(name) for name in ("hand-standard", "card24-standard")]
    files = make_leaflet(pattern, machines, LeafletOptions(form="text", pictures=False)).files
    files += make_leaflet(pattern, machines, LeafletOptions(form="html", pictures=False)).files
    for file in files:
        told = " ".join(file.content.decode().split())
        assert "The amount to have is" in told and "Swatches and waste yarn are not included" not in told
        assert "1 × cuff and the swatches." in told


def test_what_a_card_selects_is_listed_once_and_again_where_the_rows_before_are_left_out() -> None:
    text = "stitch tide\n    1: K T\n    2: K\npiece cuff\n    needles 24\n" + "    knit tide for 10 rows\n" * 3
    pattern = compile_text(text + '    do "Cast off."\n').pattern
    assert pattern is not None
    for so_far in ((), ("tide 5 rows 2 cm",), ("tide 10 rows 4 cm", "tide 15 rows 6 cm")):
        options = PieceOptions(so_far=so_far, form="text")
        document = write_instructions(pattern, load_machine("card24-standard"), options).values[0].document
        assert document.rows is not None
        tables = [entry for entry in document.rows.entries if isinstance(entry, Table)]
        assert len(tables) == 1, so_far


def test_a_reader_is_warned_of_the_knitting_and_not_of_the_file() -> None:
    """The last row holds needles: the designer is told where to mend it, the reader what to do at the end."""
    text = (
        "yarn oat\nyarn foam\ngauge plain 20 stitches 28 rows per 10 cm\nstitch marks over 30\n"
        "    1-2 in oat: K S K28\n    3-4 in foam: K4 S8 K18\n"
        "piece cuff\n    sizes 32, 47 cm\n    knit marks for 8 rows\n"
    )
    pattern = compile_text(text, "it.stitch").pattern
    assert pattern is not None
    made = make_leaflet(pattern, [load_machine("hand-standard")], LeafletOptions(form="text", pictures=False))
    told = {message.code for message in made.messages}
    assert {"P413", "K204"} <= told
    warnings = [part for part in made.values[0].parts if part.heading == "Warnings"]
    lines = [line for part in warnings for block in part.blocks if isinstance(block, Listing) for line in block.items]
    assert len(lines) == 1 and "floats" in lines[0] and "(K204)" not in lines[0]


@pytest.mark.parametrize("tension", ["", ' at "6"'])
def test_the_swatch_begins_with_tensions_only_where_there_are_some(tension: str) -> None:
    text = PIECE.format(stitches=19, rows=40).replace("for 31 cm", f"for 31 cm{tension}")
    pattern, machine = compile_text(text).pattern, load_machine("hand-standard")
    assert pattern is not None
    plans = plan_piece(pattern, machine).values
    (swatch,) = [part for part in swatch_parts(pattern, plans, machine, "cm") if part.heading == "Swatch"]
    words = str(swatch.blocks[0])
    assert ("begin with them" in words) == bool(tension) == ("name no tension" not in words)
    assert words.endswith("turn yours until the swatch measures what is said here.")

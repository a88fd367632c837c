"""Needles, rows, sides and yarns of a piece, the arithmetic by hand in the comments."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest

from stitchc import LeafletOptions, PieceOptions, make_leaflet, plan_piece
from stitchc.document import ByHand, Table, to_text
from stitchc.gauge.estimate import estimate_pattern
from stitchc.gauge.gauges import Range
from stitchc.gauge.yarn import Cells, yarns_of
from stitchc.machines import load, load_text
from stitchc.messages import Refused
from stitchc.piece import Plan
from stitchc.piece.document import piece_document
from stitchc.piece.size_words import size_lines
from stitchc.piece.yarn import AllYarn, YarnNeeded
from stitchc.piece.yarn_words import in_lines, purchase_part, yarn_part
from tests.piece.conftest import pattern_of, plan_of, planned

RIPPLE = "stitch ripple\n 1: K T\n 2: K\n"
PEBBLES = "stitch pebbles over 4\n 1: T K3\n 2: K\n 3: K2 T K\n 4: K\n"
THIRDS = "stitch thirds over 3\n 1: K2 T\n 2: K\n"
POSTS = "stitch posts\n 1-2: K T\n 3: K\n"
YARNS = 'yarn sand "oat" tex 200\nyarn foam "sea green" tex 200\n'
# Measured alike, so that every estimate is the measured count itself: 2 stitches and 4 rows to the cm.
GAUGES = "".join(f"gauge {name} 20 stitches 40 rows per 10 cm\n" for name in ("ripple", "pebbles", "thirds", "posts"))
PLAIN = "gauge plain 20 stitches 30 rows per 10 cm\n"


def text(piece: str, stitches: str = RIPPLE, head: str = "") -> str:
    gauges = "".join(line + "\n" for line in GAUGES.splitlines() if f"stitch {line.split()[1]}" in stitches)
    return f"{head}{stitches}{PLAIN}{gauges}piece it\n{piece}"


def told_of_yarn(plan: Plan) -> list[str]:
    return list(in_lines([yarn_part("Yarn", [plan], (), False)]))


def sections(plan: Plan) -> list[tuple[str, int, int, int, str, str]]:
    return [(s.stitch, s.rows, s.from_row, s.to_row, s.carriage, plan.carriage_after(s)) for s in plan.sections]


# -- width --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("width", "edge", "needles"),
    [
        ("30 cm", 1, 60),  # 60 ideal; 2k + 2 = 60 for k = 29
        ("30.3 cm", 1, 60),  # 60.6 ideal; 60 is nearer than 62
        ("30.6 cm", 1, 62),  # 61.2 ideal
        ("30 cm plus 1 cm", 1, 62),  # 62 ideal
        ("30 cm", 0, 60),
        ("30 cm", 2, 60),  # 2k + 4 = 60 for k = 28
        ("300 mm", 1, 60),
        ("11.811 in", 1, 60),  # 11.811 x 25.4 = 300.0 mm
    ],
)
def test_the_needles_are_whole_repeats_nearest_to_the_width(width: str, edge: int, needles: int) -> None:
    stitches = "stitch ripple\n 1: K2\n 2: K2\n" if edge == 0 else RIPPLE
    plan = plan_of(text(f" width {width}\n edge {edge}\n knit ripple for 10 rows\n", stitches))
    assert plan.needles.count == needles
    assert plan.width_stitch == "ripple"


def test_the_rounding_is_told_with_its_neighbours() -> None:
    # 31.2 + 1 cm is 64.4 needles; repeats of 4 and 2 edges give 62 or 66, 2.4 and 1.6 off.
    plan = plan_of(text(" width 31.2 cm plus 1 cm\n knit pebbles for 8 rows\n", PEBBLES))
    found = plan.width_rounding
    assert found is not None and found.smaller is not None
    assert (found.smaller.count, found.chosen.count, found.larger.count) == (62, 66, 70)
    assert found.chosen.repeats == 16
    # 66 needles are 33 cm, less 1 cm of seams.
    assert found.chosen.mm == pytest.approx(320, rel=1e-3)
    assert found.off_mm == pytest.approx(8, abs=0.5)
    assert plan.width_cm is not None and plan.width_cm.value == pytest.approx(32, rel=1e-3)
    assert plan.knitted_width_cm is not None and plan.knitted_width_cm.value == pytest.approx(33, rel=1e-3)


def test_the_stitch_with_the_most_rows_sets_the_width_though_they_come_from_lengths() -> None:
    # 9 cm of ripple are 36 rows, more than 20 + 15 of plain; the gauge of plain is 20 as well, so name who set it.
    piece = " width 30 cm\n knit plain for 20 rows\n knit ripple for 9 cm\n knit plain for 15 rows\n"
    assert plan_of(text(piece)).width_stitch == "ripple"
    assert plan_of(text(piece.replace("9 cm", "8 cm"))).width_stitch == "plain"  # 32 rows
    assert plan_of(text(piece.replace("30 cm", "30 cm in ripple").replace("9 cm", "1 cm"))).width_stitch == "ripple"


def test_every_stitch_is_whole_where_that_costs_little() -> None:
    # Repeats of 4 and of 3: 12 k + 2. 49 cm is 98 needles: 98 = 12 x 8 + 2, whole for both.
    piece = " width {} cm\n knit pebbles for 20 rows\n knit thirds for 4 rows\n"
    assert plan_of(text(piece.format(49), PEBBLES + THIRDS)).needles.count == 98
    # 46.2 cm is 92.4: 12 k + 2 gives 86 or 98, 6 % off; so 4 k + 2 alone: 90 or 94, of which 94 is nearer.
    plan, messages = planned(text(piece.format(46.2), PEBBLES + THIRDS))
    assert plan is not None and plan.needles.count == 94
    assert [(m.code, m.severity) for m in messages] == [("P411", "info")]
    assert "`thirds`" in messages[0].text and "2 of them" in messages[0].text  # 92 = 3 x 30 + 2
    # What is to be tried makes both whole: 86 and 98 needles.
    assert messages[0].advice == "width 43 cm or width 49 cm would hold whole repeats"
    for cm, count in ((43, 86), (49, 98)):
        again, none = planned(text(piece.format(cm), PEBBLES + THIRDS))
        assert again is not None and again.needles.count == count and none == []
    sizes = text(piece.format(46.2).replace("width 46.2", "sizes 46.2, 49"), PEBBLES + THIRDS)
    told = plan_piece(pattern_of(sizes), load("hand-standard")).messages
    assert [m.advice for m in told] == ["`43 cm` in `sizes` or `49 cm` in `sizes` would hold whole repeats"]
    sevens = "stitch sevens over 7\n 1: K T K5\n 2: K\n"
    far = planned(text(" width 8 cm in pebbles\n knit sevens for 4 rows\n", PEBBLES + sevens))[1]
    assert ["choose stitches whose widths go into each other" in str(m.advice) for m in far] == [True]
    given = planned(text(" needles 30\n knit thirds for 4 rows\n", THIRDS))[1]
    assert [m.advice for m in given] == ["needles 29 or 32 would hold whole repeats"]


# -- rows ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("knit", "rows"),
    [
        ("pebbles for 10 cm", 40),
        ("pebbles for 10.4 cm", 40),  # 41.6: 40 is nearer than 44
        ("pebbles for 10.6 cm", 44),  # 42.4
        ("pebbles for 10.6 cm exactly", 42),
        ("pebbles for 4 in", 40),  # 10.16 cm is 40.6
        ("pebbles for 13 rows", 13),
        ("plain for 10 cm", 30),
    ],
)
def test_a_length_becomes_whole_repeats(knit: str, rows: int) -> None:
    plan = plan_of(text(f" needles 62\n knit {knit}\n knit plain for 1 rows\n", PEBBLES))
    assert plan.sections[0].rows == rows


def test_short_lengths_are_told() -> None:
    def told(knit: str) -> list[tuple[str, str]]:
        _, messages = planned(text(f" needles 62\n knit {knit}\n knit plain for 9 rows\n", PEBBLES))
        return [(message.code, message.severity) for message in messages]

    assert told("pebbles for 4 mm") == [("P405", "error")]  # 1.6 of 4 rows
    assert told("pebbles for 6 mm") == [("P405", "warning")]  # 2.4 of 4 rows: one repeat
    assert told("pebbles for 1 cm") == []
    assert told("pebbles for 4 mm exactly") == []  # 2 rows
    assert told("pebbles for 1 mm exactly") == [("P405", "error")]  # 0.4 rows


# -- the carriage and the yarns ------------------------------------------------------------------------------------


@pytest.mark.parametrize("start", ["right", "left"])
def test_the_carriage_is_followed_and_a_plain_row_added_where_it_must_be(start: str) -> None:
    other = "left" if start == "right" else "right"
    piece = f" needles 62\n carriage {start}\n knit ripple for 6 rows\n carriage {other}\n knit plain for 3 rows\n"
    plan, messages = planned(text(piece + f" carriage {start}\n"))
    assert plan is not None
    # 6 rows bring it back to the start; one plain row to the other side; 3 more rows back to the start.
    assert sections(plan) == [
        ("ripple", 6, 1, 6, start, start),
        ("plain", 1, 7, 7, start, other),
        ("plain", 3, 8, 10, other, start),
    ]
    assert plan.sections[1].why and plan.sections[1].step is None
    assert [(m.code, m.severity) for m in messages] == [("P407", "info")]
    twice = piece.replace(f" carriage {other}\n", f" carriage {other}\n carriage {start}\n")
    asked = [(m.code, m.severity, m.advice) for m in planned(text(twice))[1]]
    assert [each[:2] for each in asked] == [("P407", "info"), ("P407", "warning")]
    assert asked[1][2] == "Keep one of the two lines."
    assert [each.row for each in plan.passes] == list(range(1, 11))


@pytest.mark.parametrize("way", ["cut", "free pass", "carry"])
@pytest.mark.parametrize(("rows", "crosses"), [(5, True), (6, False), (10, False), (11, True)])
def test_a_yarn_at_the_other_side_costs_no_row(way: str, rows: int, crosses: bool) -> None:
    """foam is left at the right after 4 rows; an odd number of rows of sand ends at the left."""
    piece = (
        f" needles 62\n knit plain for 4 rows in foam\n knit plain for {rows} rows in sand\n"
        ' do "Hang the edge."\n knit plain for 2 rows in foam\n'
    )
    own = load_text(f'based_on = "hand-standard"\n[carriage]\nyarn_at_other_side = "{way}"\n', "own.toml")
    plan, messages = planned(text(piece, head=YARNS), machine=own)
    assert plan is not None
    done = ("cut" if rows > 10 else way) if crosses else ""
    assert [each.crossing for each in plan.passes] == [""] * (4 + rows) + [done, ""]
    assert plan.passes[4 + rows].start_side == ("left" if done == "cut" else "right")
    assert [(s.rows, s.yarn) for s in plan.sections] == [(4, "foam"), (rows, "sand"), (2, "foam")]
    assert [(m.code, m.severity) for m in messages] == [("P408", "info")] * crosses
    asked, messages = planned(text(piece.replace(" do", " carriage right\n do"), head=YARNS), machine=own)
    assert asked is not None and not any(each.crossing for each in asked.passes)
    assert [m.code for m in messages] == ["P407"] * crosses
    assert [type(item).__name__ for item in asked.items][-4:] == ["Do", "Section", "Pass", "Pass"]


def test_a_side_that_is_asked_for_goes_before_the_yarn() -> None:
    piece = (
        " needles 62\n knit plain for 4 rows in foam\n knit plain for 5 rows in sand\n carriage left\n"
        " knit plain for 2 rows in foam\n"
    )
    plan, messages = planned(text(piece, head=YARNS))
    assert plan is not None
    assert [(m.code, m.severity) for m in messages] == [("P409", "warning")]
    assert len(plan.sections) == 3
    rows = piece_document([plan], (), "cm", [messages]).rows
    assert rows is not None
    cut = [row.row for row in rows.passes() if "hangs at the right: cut it, and join it here at the left" in row.words]
    assert cut == [10]


def test_in_yarn_fills_the_rows_that_name_none() -> None:
    stitches = "stitch half\n 1-2 in sand: K\n 3-4: K\n"
    plan, messages = planned(text(" needles 62\n knit half for 4 rows in foam\n", stitches, YARNS))
    assert plan is not None
    assert [each.yarn for each in plan.passes] == ["sand", "sand", "foam", "foam"]
    assert [(m.code, m.severity) for m in messages] == [("P412", "warning")]
    assert "`3, 4 in foam: …`. Leave out `in foam` here." in str(messages[0].advice)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("1: K T\n 2: K", "foam"),
        ("1 in sand: K T\n 2: K", "foam, and sand where the rows say so"),
        ("1 in sand: K T\n 2 in sand: K", "sand"),
        ("1 in sand: K T\n 2 in rust: K", "rust and sand, as the rows say"),
    ],
)
def test_the_head_of_a_part_names_the_yarns_that_its_rows_are_in(rows: str, words: str) -> None:
    piece = " needles 62\n knit plain for 2 rows\n knit s for 4 rows in foam\n"
    plan, messages = planned(text(piece, f"stitch s\n {rows}\n", f"{YARNS}yarn rust\n"))
    assert plan is not None
    document = piece_document([plan], (), "cm", [messages])
    assert f"Yarn: {words}." in to_text(document)


@pytest.mark.parametrize("end", ["", " in foam"])
def test_what_is_advised_for_rows_without_a_yarn_ends_the_matter(end: str) -> None:
    """P414 does not send to `in foam`, about which P412 would say to leave it out again."""
    stitches = "stitch half\n 1-2 in sand: K\n 3-4: K\n"
    piece = " needles 62\n knit plain for 2 rows in foam\n knit half for 4 rows{}\n"
    (message,) = planned(text(piece.format(end), stitches, YARNS))[1]
    assert message.code == ("P412" if end else "P414") and "in `half` itself: `3, 4 in foam: …`" in str(message.advice)
    assert planned(text(piece.format(""), stitches.replace("3-4:", "3-4 in foam:"), YARNS))[1] == []


def test_the_only_yarn_is_that_of_all_rows_where_none_names_it() -> None:
    head = YARNS.splitlines()[0] + "\n"
    plan, messages = planned(text(" needles 62\n knit plain for 3 rows\n knit ripple for 4 rows\n", head=head))
    assert plan is not None and messages == []
    (line,) = [line for line in told_of_yarn(plan) if "7 rows" in line]
    assert line.startswith("sand: ") and line.endswith(", the main yarn, 7 rows.")


def test_rows_that_name_none_beside_rows_that_name_the_only_yarn_are_in_another_as_on_a_sheet() -> None:
    head = YARNS.splitlines()[0] + "\n"
    piece = " needles 62\n knit plain for 3 rows\n knit plain for 3 rows in sand\n knit plain for 1 rows\n"
    plan, messages = planned(text(piece, head=head))
    assert plan is not None
    assert {each.yarn for each in plan.passes} == {"sand", None}
    assert [message.code for message in messages] == ["P408", "P414"]  # and how to say that they are in sand as well
    assert "`in sand` after the row numbers" in str(messages[0].advice)


def test_of_two_yarns_the_one_that_no_row_names_is_the_main_yarn() -> None:
    piece = " needles 62\n knit plain for 4 rows\n knit plain for 4 rows in sand\n"
    plan = plan_of(text(piece, head='yarn sand "oat" tex 210\nyarn kelp tex 300\n'))
    assert "kelp: the main yarn, 4 rows." in told_of_yarn(plan)


def test_the_main_yarn_is_said_to_be_that_of_rows_that_name_none() -> None:
    """With two yarns declared it is neither, and the advice is to name one: no line of the file has its name."""
    head = 'yarn sand "oat" tex 210\nyarn kelp tex 300\n'
    bands = RIPPLE + "stitch bands\n    1, 2 in sand: K\n    3-6: K\n    7, 8 in kelp: K\n"
    plan = plan_of(text("needles 20\n    knit bands for 16 rows", bands, head))
    assert plan is not None
    said = " ".join(told_of_yarn(plan))
    assert "the main yarn: the yarn of the rows that name none, 8 rows." in said
    assert "Grams: not known. Have: " in said and "to the yarn line" not in said
    assert "`in sand` after the row numbers, or after the stitch in the `knit` line" in said
    _, messages = planned(text("needles 20\n    knit bands for 8 rows\n    knit plain for 3 rows in sand\n    "
                               "knit plain for 2 rows", bands, head))  # fmt: skip
    hung = [message for message in messages if message.code == "P408"]
    assert hung and all("`in sand` after the row numbers" in str(message.advice) for message in hung)
    assert any(
        message.text.startswith("The main yarn (the yarn of the rows that name none) hangs at") for message in hung
    )


def test_needles_held_at_a_section_end_are_known_in_the_next() -> None:
    piece = " needles 8\n knit posts for 2 rows\n knit posts for 3 rows\n"
    plan, _ = planned(text(piece, POSTS))
    assert plan is not None
    # K T between edges on 8 needles: three needles are brought out once, and stay out over the joint.
    assert [len(each.bring_out) for each in plan.passes] == [3, 0, 0, 0, 0]
    assert [len(each.held) for each in plan.passes] == [3, 3, 3, 3, 0]


def test_a_hold_that_grows_too_long_over_a_joint_is_found() -> None:
    # 2 + 2 tucks are four on one needle: a warning (four is what a hook holds, Spencer p. 96); 2 + 2 + 2 an error.
    two = " needles 8\n knit posts for 2 rows\n knit posts for 3 rows\n"
    assert [(m.code, m.severity) for m in planned(text(two, POSTS))[1]] == [("K202", "warning")]
    three = " needles 8\n knit posts for 2 rows\n knit posts for 2 rows\n knit posts for 3 rows\n"
    assert planned(text(three, POSTS))[0] is None
    plan, messages = planned(text(three, POSTS), anyway=True)
    assert plan is not None and {m.severity for m in messages} == {"warning"}


def test_held_loops_at_the_end_are_told() -> None:
    plan, messages = planned(text(" needles 62\n knit ripple for 3 rows\n"))
    assert plan is not None
    assert [(m.code, m.severity) for m in messages] == [("P413", "warning")]


# -- the bed ------------------------------------------------------------------------------------------------------


def test_more_needles_than_the_bed_has() -> None:
    # 110 cm is 220 needles of 200. Widest: 2 k + 2 = 200 needles, 100 cm. Two panels of 109 rounded down to repeats.
    plan, messages = planned(text(" width 110 cm\n knit ripple for 10 rows\n"))
    assert plan is None
    (message,) = messages
    assert (message.code, message.severity) == ("M303", "error")
    assert message.advice is not None
    assert message.advice.startswith("width 100 cm ")
    assert "2 panels of 112 needles" in message.advice  # 109 repeats, 55 in the larger: 110 + 2
    assert message.span is not None and message.span.line == 7
    assert planned(text(" needles 300\n knit ripple for 10 rows\n"))[1][0].code == "M303"
    assert planned(text(" needles R50-R110\n knit ripple for 10 rows\n"))[1][0].code == "M303"


def test_the_size_that_is_too_wide_is_marked() -> None:
    file = text(" sizes 20, 110 cm\n knit ripple for 10 rows\n")
    assert planned(file)[0] is not None
    (message,) = planned(file, width_mm=1100)[1]
    assert message.code == "M303" and message.span is not None and message.advice is not None
    assert (message.span.line, file.splitlines()[6][message.span.column - 1 :]) == (7, "110 cm")
    assert message.advice.startswith("`100 cm` in `sizes` ")
    (message,) = planned(file, width_mm=1200)[1]  # asked for by an option: no line of the file has it
    assert message.span is None and message.advice is not None and message.advice.startswith('--sizes "100 cm" ')


def test_widths_are_advised_in_the_unit_in_which_they_were_asked_for() -> None:
    """100 cm are 39.37 in."""
    (message,) = planned(text(" width 48 in\n knit ripple for 10 rows\n"))[1]
    assert str(message.advice).startswith("width 39.37 in ")
    with pytest.raises(Refused) as refused:
        file = pattern_of(text(" width 20 cm\n knit ripple for 10 rows\n"))
        plan_piece(file, load("hand-standard"), PieceOptions(sizes="48", units="in"))
    assert str(refused.value.messages[0].advice).startswith('--sizes "39.37 in" ')


def test_edge_0_of_a_stitch_that_tucks_there() -> None:
    plan, messages = planned(text(" needles 60\n edge 0\n knit ripple for 10 rows\n"))
    assert plan is None
    assert [(m.code, m.severity) for m in messages] == [("K206", "error")]
    assert "R30" in messages[0].text


def test_what_the_machine_cannot_do() -> None:
    fifths = "stitch fifths over 5\n 1: K4 T\n 2: K\n"
    piece = text(" needles 62\n knit fifths for 10 rows\n", fifths)
    assert [(m.code, m.severity) for m in planned(piece, "card24-standard")[1]] == [("M301", "error")]
    assert planned(piece, "hand-standard")[1] == []


def test_cut_repeats_are_shared_out_by_hand_and_left_to_the_reader_on_a_card() -> None:
    # 10 needles less 2 edges are 8, repeats of 3 with two needles over: one at each side. T|KKT|KKT|K from L4 on.
    hand = plan_of(text(" needles 10\n knit thirds for 2 rows\n", THIRDS))
    assert hand.passes[0].held == (-4, -1, 2)
    # 12 less 2 are 10, one over: it goes to the right. KKT|KKT|KKT|K from L5 on.
    assert plan_of(text(" needles 12\n knit thirds for 2 rows\n", THIRDS)).passes[0].held == (-3, 0, 3)
    # A card of 24 has its column 1 on L12 (one make, common practice): T is on columns 3, 6, …, so on L10, L7, L4, L1.
    card = plan_of(text(" needles 12\n knit thirds for 2 rows\n", THIRDS), "card24-standard")
    assert card.passes[0].held == (-4, -1, 2)


def test_fewer_needles_than_a_repeat_are_warned_of_as_by_a_sheet() -> None:
    wide = "stitch wide over 8\n 1: T K7\n 2: K\n"
    (short,) = planned(text(" needles 6\n knit wide for 4 rows\n", wide))[1]
    assert (short.code, short.severity, short.advice) == ("M306", "warning", "needles 10")
    assert short.text.startswith("`wide` is 8 needles wide, but only 4 needles stand between the edges")
    (cut,) = planned(text(" needles 11\n knit wide for 4 rows\n", wide))[1]
    assert "1 of them holds a part of a repeat, at the right." in cut.text
    (cut,) = planned(text(" needles 12\n knit wide for 4 rows\n", wide))[1]
    assert "2 of them hold a part of a repeat, shared out over both sides." in cut.text
    # By its width: 6 needles lie 3 cm wide (20 to 10 cm), and the repeat is that of another stitch.
    piece = " width 3 cm in ripple\n knit ripple for 10 rows\n knit wide for 2 rows\n"
    (short,) = [m for m in planned(text(piece, RIPPLE + wide))[1] if m.code == "M306"]
    assert short.advice == "needles 10   (in place of the `width`)"


def test_a_repeat_written_wider_than_it_is_is_to_be_written_as_it_is() -> None:
    wide = "stitch w over 260\n 1: K T\n 2: K\n"
    for piece, code in (
        (" width 60 cm\n knit w for 10 rows\n", "P406"),
        (" width 150 cm\n knit w for 10 rows\n", "M303"),
    ):
        _, messages = planned(text(piece, RIPPLE + wide))
        (message,) = (each for each in messages if each.code == code)
        assert str(message.advice).startswith("The repeat is really 2 needles wide. Write it so:\n    stitch w\n")


def test_a_piece_that_says_too_little() -> None:
    def told(piece: str) -> list[str]:
        plan, messages = planned(text(piece))
        assert plan is None
        return [message.code for message in messages]

    assert told(" width 30 cm\n") == ["P403"]
    assert told(" knit ripple for 10 rows\n") == ["P404"]
    assert told(" width 5 mm\n knit ripple for 10 rows\n") == ["P406"]
    assert told(" needles 2\n knit ripple for 10 rows\n") == ["P406"]
    assert told(" needles 20\n knit ripple for 40000 rows\n knit plain for 40000 rows\n") == ["P410"]
    # The width and each length are told of in one message, since one line mends them all.
    none = f"{RIPPLE}piece it\n width 30 cm\n knit ripple for 10 cm\n knit plain for 5 cm\n"
    _, (message,) = planned(none)
    assert (message.code, len(message.also)) == ("P402", 2)


def test_rows_of_the_stitch_are_in_a_yarn_without_a_gauge() -> None:
    """Naming a yarn for the section would change nothing; the advice is a line that does."""
    stripes = "stitch stripes\n 1, 2 in sand: K T\n 3, 4 in foam: K\n"
    gauge = "gauge plain 20 stitches 28 rows per 10 cm in sand\n"
    piece = "piece it\n needles 20\n knit stripes for 4 cm in sand\n"
    _, messages = planned(f"{YARNS}{gauge}{stripes}{piece}")
    (message,) = [each for each in messages if each.code == "P402"]
    assert "known only in `sand`, and rows of it are knitted in `foam`" in message.text
    line, _, _ = (message.advice or "").partition("   (")
    assert line == "gauge plain 20 stitches 28 rows per 10 cm in foam"
    plan, _ = planned(f"{YARNS}{gauge}{line}\n{stripes}{piece}")
    assert plan is not None


@pytest.mark.parametrize(
    ("piece", "why", "advice"),
    [
        ("width 20 cm\n knit ripple for 4 cm", "but the section names no yarn", "knit ripple for 4 cm in sand"),
        ("width 20 cm\n knit ripple for 1 row", "but the section names no yarn", "knit ripple for 1 row in sand"),
        ("needles 20\n knit ripple for 4 cm exactly in foam", "knitted in `foam`", "ripple for 4 cm exactly in sand"),
        ("needles 20\n knit plain for 4 cm", "but the section names no yarn", "knit plain for 4 cm in sand"),
    ],
)
def test_a_gauge_that_is_known_in_another_yarn(piece: str, why: str, advice: str) -> None:
    swatch = "gauge ripple 20 stitches 28 rows per 10 cm in sand\n"
    plan, messages = planned(f"{YARNS}{swatch}{RIPPLE}piece it\n {piece}\n")
    assert plan is None
    (message,) = [each for each in messages if each.code == "P402"]
    assert "its gauge is known only in `sand`" in message.text
    assert why in message.text and advice in (message.advice or "")
    section = piece.splitlines()[-1].strip()
    cured, _ = planned(f"{YARNS}{swatch}{RIPPLE}piece it\n {piece.replace(section, message.advice or '')}\n")
    assert cured is not None
    assert next(iter(size_lines([cured], "cm"))).endswith(f", in {(message.advice or '').split()[1]}, knitted in sand.")


@pytest.mark.parametrize(
    ("section", "width_cm", "length_cm"),
    [
        ("plain for 31 rows in oat", 100 / 2.2, 10.0),
        ("plain for 60 rows in kelp", 100 / 2.0, 60 / 2.8),
        ("ripple for 40 rows in oat", 100 / 1.9, 10.0),  # its own line in that yarn
        ("striped for 36 rows", 100 / 1.8, 10.0),  # in both yarns, so that its line can name neither
    ],
)
def test_a_section_has_the_gauge_of_its_yarn(section: str, width_cm: float, length_cm: float) -> None:
    """Stitches and rows per 10 cm, divided by hand."""
    lines = """
yarn oat
yarn kelp
stitch striped
 1 in oat: K T
 2 in oat: K
 3 in kelp: T K
 4 in kelp: K
gauge plain 22 stitches 31 rows per 10 cm in oat
gauge plain 20 stitches 28 rows per 10 cm in kelp
gauge ripple 19 stitches 40 rows per 10 cm in oat
gauge striped 18 stitches 36 rows per 10 cm
"""
    plan = plan_of(f"{RIPPLE}{lines}piece it\n needles 100\n knit {section}\n")
    assert plan.width_cm is not None and plan.length_cm is not None
    assert (plan.width_cm.value, plan.length_cm.value) == pytest.approx((width_cm, length_cm), rel=0.005)
    assert all(plan.is_measured(fabric) for fabric in plan.fabrics)


def test_a_length_in_a_yarn_is_counted_in_its_rows() -> None:
    gauges = "yarn oat\nyarn kelp\n" + "".join(
        f"gauge plain {counts} per 10 cm in {yarn}\n"
        for counts, yarn in (("20 stitches 30 rows", "oat"), ("25 stitches 50 rows", "kelp"))
    )
    plan = plan_of(
        f"{gauges}{RIPPLE}piece it\n width 40 cm\n knit plain for 10 cm in oat\n knit plain for 4 cm in kelp\n"
    )
    assert [section.rows for section in plan.sections] == [30, 20]
    assert (plan.width_fabric, plan.needles.count) == ("plain in oat", 80)
    assert any("plain in kelp alone would measure 32.0 cm" in line for line in size_lines([plan], "cm"))


def test_without_a_gauge_rows_and_needles_still_work() -> None:
    plan = plan_of(f"{RIPPLE}piece it\n needles 20\n knit ripple for 10 rows\n")
    assert plan.width_cm is None and plan.length_cm is None
    assert len(plan.passes) == 10


def test_stitches_pushed_right_back_at_the_end_are_no_held_loops() -> None:
    piece = " needles 8\n knit linen for 1 row\n"
    machine = replace(load("hand-standard"), slip_by="rest")
    plan, messages = planned(text(piece, "stitch linen\n 1: K S\n 2: K\n"), machine)
    assert plan is not None
    rows = piece_document([plan], (), "cm", [messages]).rows
    assert rows is not None
    last = " ".join(entry.text for entry in rows.entries if isinstance(entry, ByHand))
    (told,) = [message.text for message in messages if message.code == "P413"]
    assert "leaves stitches that have not been knitted on the needles" in told
    assert "needles with stitches that have not been knitted. To free them, bring the needles at the back" in last


def test_held_loops_at_the_end_are_freed_before_the_work_comes_off() -> None:
    piece = ' needles 8\n knit posts for 2 rows\n do "Take it off."\n'
    plan, messages = planned(text(piece, POSTS))
    assert plan is not None and "P413" in [message.code for message in messages]
    rows = piece_document([plan], (), "cm", [messages]).rows
    assert rows is not None
    done = [entry.text for entry in rows.entries if isinstance(entry, ByHand)][-2:]
    assert "held loops. To free them, cancel the hold and knit one plain row" in done[0] and done[1] == "Take it off."


def test_on_a_card_every_size_has_its_own_needles_in_the_table() -> None:
    both = [plan_of(text(f" needles {n}\n knit posts for 9 rows\n", POSTS), "card24-standard") for n in (20, 28)]
    rows = piece_document(both, ("10 cm", "14 cm"), "cm", [[], []]).rows
    assert rows is not None
    (table,) = [entry for entry in rows.entries if isinstance(entry, Table)]
    assert [row[0] for row in table.rows] == ["1, 2", "3"] and "[" in table.rows[0][1]
    assert sum("release the card" in entry.words.lower() for entry in rows.passes()) == 1


def test_yarns_are_listed_in_the_order_of_the_file_under_every_piece() -> None:
    pieces = "".join(
        f"piece {name}\n needles 12\n" + "".join(f" knit plain for 2 rows in {yarn}\n" for yarn in yarns)
        for name, yarns in (("cuff", ("kelp", "oat")), ("band", ("foam", "kelp", "oat")))
    )
    pattern = pattern_of(f"yarn oat\nyarn foam\nyarn kelp\n{PLAIN}{RIPPLE}{pieces}")
    for name, order in (("cuff", ["oat", "kelp"]), ("band", ["oat", "foam", "kelp"])):
        made = plan_piece(pattern, load("hand-standard"), PieceOptions(piece=name, form="json"))
        document = json.loads(made.files[0].content)
        assert [yarn["name"] for yarn in document["yarn"]] == order
        assert [yarn["name"] for yarn in document["yarn_of_all_pieces"]["yarn"]] == ["oat", "foam", "kelp"]
    rows = "stitch bars\n 1 in foam: K\n 2 in oat: K\n"
    named = pattern_of(f"yarn oat\nyarn foam\n{PLAIN}{rows}")
    assert [use.name for use in yarns_of(estimate_pattern(named), named, named.stitches["bars"])] == ["oat", "foam"]


@pytest.mark.parametrize(("metres", "words"), [(9.94, "9.9"), (18.53, "19"), (999.6, "1,000"), (1234.0, "1,230")])
def test_amounts_of_yarn_are_rounded_once(metres: float, words: str) -> None:
    amount = Range(metres, metres, metres)
    yarn = YarnNeeded("oat", "", 1, Cells(), None, amount, None)
    everything = AllYarn((("cuff", 2),), ((yarn,),))
    (part,) = purchase_part(everything, False)
    (table,) = [block for block in part.blocks if isinstance(block, Table)]
    assert table.rows[0][1] == f"{words} ({words} to {words})"


def test_rows_that_name_no_yarn_beside_rows_that_do_are_the_designers_to_name() -> None:
    """Said where it is made; whoever buys by the leaflet has the yarn in the list, and is told that it has no name."""
    bands = RIPPLE + "stitch bands\n    1, 2 in sand: K\n    3, 4 in foam: K\n"
    piece = "    make 2\n    needles 20\n    knit plain for 3 rows\n    knit bands for 16 rows\n"
    _, messages = planned(text(piece, bands, YARNS))
    assert [(message.code, message.severity) for message in messages] == [("P414", "warning")]
    assert messages[0].text.startswith("3 rows of `it` name no yarn and the others name `sand` and `foam`.")
    _, messages = planned(text(piece.replace("3 rows", "2 rows in sand"), bands, YARNS))
    assert messages == []
    _, messages = planned(text(piece, bands, YARNS + "yarn tar\n"))
    assert messages == []
    options = LeafletOptions(form="text", pictures=False)
    leaflet = make_leaflet(pattern_of(text(piece, bands, YARNS)), [load("hand-standard")], options)
    assert "P414" in [message.code for message in leaflet.messages]
    told = " ".join(leaflet.files[0].content.decode().split())
    for heading in ("Yarn ", "Yarn to buy "):
        assert re.search(rf" {heading}.*? the main yarn [\d.]+ \([\d.]+ to [\d.]+\) not known \d+ m", told)
    assert told.count("the main yarn: a further yarn, which the designer has not named, 3 rows") == 1
    assert "Knit with the main yarn (a further yarn, which the designer has not named)." in told
    assert "rows that name none" not in told


@pytest.mark.parametrize(("plus", "codes"), [("10 cm", []), ("10.1 cm", ["P415"])])
def test_more_for_seams_than_the_finished_width_is_asked_about(plus: str, codes: list[str]) -> None:
    _, messages = planned(text(f"    width 10 cm plus {plus}\n    knit plain for 8 rows\n"))
    assert [message.code for message in messages] == codes


@pytest.mark.parametrize("way", ["free pass", "carry"])
def test_the_parts_say_where_a_carriage_is_that_was_brought_across(way: str) -> None:
    """Two rows after a crossing end at the side that they did not begin at; each part begins where the last ended."""
    own = load_text(f'based_on = "hand-standard"\n[carriage]\nyarn_at_other_side = "{way}"\n', "own.toml")
    piece = (
        " needles 21\n knit plain for 2 rows in foam\n knit plain for 3 rows in sand\n knit plain for 2 rows in foam\n"
        " knit plain for 3 rows in foam\n knit ripple for 4 rows in sand\n"
    )
    plan, _ = planned(text(piece, head=YARNS), machine=own)
    assert plan is not None
    assert sections(plan)[2][4:] == ("left", "right") and plan.passes[6].end_side == "right"
    before, after = ([each[side] for each in sections(plan)] for side in (4, 5))
    assert before[1:] == after[:-1]


def test_what_a_free_pass_moves_and_sets_is_said() -> None:
    own = load_text('based_on = "hand-standard"\n[carriage]\nyarn_at_other_side = "free pass"\n', "own.toml")
    piece = (
        " needles 21\n knit plain for 2 rows in foam\n knit plain for 3 rows in sand\n knit plain for 5 rows in foam\n"
        " knit ripple for 2 rows in sand\n"
    )
    plan, messages = planned(text(piece, head=YARNS), machine=own)
    assert plan is not None
    document = piece_document([plan], (), "cm", [messages])
    assert document.rows is not None
    words = {row.row: row.words for row in document.rows.passes()}
    assert words[6].startswith("Free pass, left to right: ") and words[6].endswith("Then all needles knit.")
    assert "Nothing to move" not in words[6]
    assert "Set the carriage to hold. Bring out" in words[11]  # five rows after it was set for the free pass
    assert "all needles held in a free pass" in dict(document.facts)["Work"]


def test_a_yarn_at_the_side_of_the_carriage_is_taken_up_there_however_long_it_waited() -> None:
    rows_of = (
        " needles 20\n knit plain for 4 rows in foam\n knit plain for {} rows in sand\n knit plain for 2 rows in foam"
    )
    for rows, crossing in ((20, ""), (21, "cut")):
        plan, _ = planned(text(f"{rows_of.format(rows)}\n", head=YARNS))
        assert plan is not None and plan.passes[4 + rows].crossing == crossing

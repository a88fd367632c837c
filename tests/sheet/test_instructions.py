"""Instructions for machines that select needles themselves, for beds that hold both ways, for yarns and edges."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from stitchc.bed import Needles
from stitchc.chart import Chart
from stitchc.document import ByHand, Heading, Listing, PassRow
from stitchc.document.blocks import steps_of
from stitchc.machines import load, load_text
from stitchc.messages import Span
from stitchc.passes import Pass, Standing, lower
from stitchc.pattern import Side, Yarn
from stitchc.sheet import Yarns, instruct
from stitchc.sheet.preparation import before_row_one, working_the_rows

NEEDLES = Needles.centred(16)


def words(
    rows: Sequence[str],
    count: int,
    machine_name: str = "hand-standard",
    yarns: Sequence[str | None] | None = None,
    edge: int = 1,
    carriage: Side = "right",
) -> list[str]:
    machine = load(machine_name)
    passes = lower(Chart.from_rows(rows, yarns), machine, NEEDLES, count, carriage, edge)
    described = {"foam": Yarn("foam", Span("x", 1), "sea green, 4 ply")}
    entries = instruct(passes, machine, NEEDLES, Yarns(described))
    return [entry.words for entry in entries if isinstance(entry, PassRow)]


def advice(passes: Sequence[Pass], needles: Needles = NEEDLES) -> list[str]:
    parts = working_the_rows([passes], load("hand-standard"), [needles], 1, "--carriage {}")
    return [item for part in parts for block in part.blocks if isinstance(block, Listing) for item in block.items]


def test_a_row_that_swaps_needles() -> None:
    assert words(["KT", "TK"], 3)[1:] == [
        "Push back all the held needles (7 needles): loops behind the open latch. "
        "Bring out every 2nd needle from L7 to R6 (7 needles; comb 1 out, 1 in).",
        "Push back all the held needles (7 needles): loops behind the open latch. "
        "Bring out every 2nd needle from L6 to R7 (7 needles; comb 1 out, 1 in).",
    ]


def test_a_row_that_keeps_some_and_adds_others_gives_the_sum() -> None:
    added = words(["TKKKK", "TKTKK"], 2)[1]
    assert added == "Bring out L5, R1, R6 (3 needles). Now 6 needles are held, 3 of them from before."
    less = words(["TTKKK", "KTKKK"], 2)[1]
    assert less == "Push back L7, L2, R4 (3 needles): loops behind the open latch. Now 3 needles are held."


def test_needles_that_stay_at_the_back_are_counted_where_there_are_several() -> None:
    machine = load_text('based_on = "hand-standard"\n[carriage]\nslip_by = "rest"\n', "x.toml")

    def second(row: str) -> str:
        passes = lower(Chart.from_rows([row, row]), machine, NEEDLES, 2, "right", 1)
        return [each.words for each in instruct(passes, machine, NEEDLES) if isinstance(each, PassRow)][1]

    assert second("TKKKSKKKKKKKKK") == (
        "Nothing to move: leave the 1 held needle out and the needle at the back where it is."
    )
    assert second("TKKKSKKSKKKKKK").endswith("and the 2 needles at the back where they are.")


def test_yarns_are_described_once_and_a_row_without_one_is_the_main_yarn() -> None:
    assert [text.split(". ")[0] for text in words(["K", "K", "K"], 5, yarns=[None, "foam", "foam"])] == [
        "Knit with the main yarn (the yarn of the rows that name none)",
        "Change to foam (sea green, 4 ply)",
        "Nothing to move: all needles knit.",
        "Change to the main yarn",
        "Change to foam",
    ]
    assert "yarn" not in " ".join(words(["K", "K"], 4))


def test_a_card_selects_and_the_sheet_says_the_setting_and_what_to_check() -> None:
    assert words(["KT", "KK", "KS"], 4, "card24-standard") == [
        "Set the carriage to tuck. Row 1 of the repeat: every 2nd needle from L7 to R6 (7 needles) tuck.",
        "Row 2 of the repeat: all needles knit.",
        "Set the carriage to slip. Row 3 of the repeat: every 2nd needle from L7 to R6 (7 needles) slip.",
        "Set the carriage to tuck. Row 1 of the repeat: every 2nd needle from L7 to R6 (7 needles) tuck.",
    ]
    assert words(["K"], 1, "card24-standard") == ["All needles knit."]


def test_a_line_for_several_rows_says_how_far_to_knit_and_one_row_by_itself_does_not() -> None:
    machine = load("card24-standard")
    passes = lower(Chart.from_rows(["KT", "KK", "KS"]), machine, NEEDLES, 4, "right", 1)
    first, second, third, _ = (
        each for each in instruct(passes, machine, NEEDLES, releases=[1]) if isinstance(each, PassRow)
    )
    together = [[step.text for step in steps_of(each, False)] for each in (first, third)]
    assert together == [
        ["Set the carriage to tuck.", "Release the card and knit 2 rows."],
        ["Set the carriage to slip.", "Knit 1 row."],
    ]
    assert [step.text for step in steps_of(first, True)][1] == "Release the card and knit 1 row."
    assert len(steps_of(second, True)) == 1


def test_an_edge_needle_that_tucks_is_watched() -> None:
    # A tuck must not be the last act in a row, since it comes undone: the page "A Good Tuck, Part 2".
    assert "Watch L8 and R8: a tuck on an edge needle" in words(["T", "K"], 1, edge=0)[0]
    assert "Watch" not in words(["S", "K"], 1, edge=0)[0]
    assert "Watch" not in words(["T", "K"], 1, edge=1)[0]


@pytest.mark.parametrize(("carriage", "way"), [("right", "right to left"), ("left", "left to right")])
def test_where_all_tucks_fall_in_one_direction_it_is_said(carriage: Side, way: str) -> None:
    machine = load("hand-standard")
    staggered = lower(Chart.from_rows(["KT", "KK", "TK", "KK"]), machine, NEEDLES, 8, carriage, 1)
    assert any(f"set only {way} to hold" in text for text in advice(staggered))
    columns = lower(Chart.from_rows(["KT", "KT", "KK"]), machine, NEEDLES, 9, carriage, 1)
    assert not any("to hold, leave it" in text for text in advice(columns))


def test_held_needles_are_counted_and_weights_advised() -> None:
    machine = load("hand-standard")
    passes = lower(Chart.from_rows(["KKKT", "KTKT", "KK" * 2]), machine, Needles.centred(42), 9, "right", 1)
    (weights,) = [text for text in advice(passes, Needles.centred(42)) if text.startswith("Weights")]
    assert "at most 20 of 42 needles" in weights and "common practice" in weights
    assert "because many needles are held" in weights
    long = lower(Chart.from_rows(["KKKKKKKT", "KKKKKKKT", "KKKKKKKK"]), machine, Needles.centred(42), 9, "right", 1)
    (weights,) = [text for text in advice(long, Needles.centred(42)) if text.startswith("Weights")]
    assert "because needles hold for several rows" in weights and "many" not in weights
    assert advice(lower(Chart.plain(2, 2), machine, NEEDLES, 4, "right", 1)) == []


def test_a_machine_that_selects_one_pass_ahead_is_told_to() -> None:
    from dataclasses import replace

    ahead = replace(load("card24-standard"), selects="one pass ahead")
    assert any("one pass ahead" in step for step in before_row_one(ahead, NEEDLES, "right", 1, [], Yarns()))
    assert not any(
        "one pass ahead" in step for step in before_row_one(load("card24-standard"), NEEDLES, "right", 1, [], Yarns())
    )


def test_what_is_done_by_hand_stands_where_it_was_put() -> None:
    machine = load("hand-standard")
    chart = Chart.from_rows(["KT", "KK"])
    first = lower(chart, machine, NEEDLES, 2, "right", 1)
    second = lower(chart, machine, NEEDLES, 2, standing=Standing("right", 2))
    entries = instruct([Heading("one"), *first, ByHand("Measure."), Heading("two"), *second], machine,
                       NEEDLES)  # fmt: skip
    assert [type(entry).__name__ for entry in entries] == ["Heading", "PassRow", "PassRow", "ByHand",
                                                           "Heading", "PassRow", "PassRow"]  # fmt: skip
    again = entries[5]
    assert isinstance(again, PassRow) and "Bring out every 2nd needle from L6" in again.words

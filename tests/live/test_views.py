"""What the page shows of the products: the figures of the commands, in the page's own words. No browser."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from stitchc.__main__ import run
from stitchc.live import views
from stitchc.product import no_progress

LADDER = """stitch steps over 4
    out 3
    1: K T K
    2: K
"""
COWL = """stitch tide
    1: K T
    2: K
    3: T K
    4: K
gauge plain 20 stitches 28 rows per 10 cm
piece cowl
    needles 80
    knit tide for 64 rows
"""
"""The length of 64 rows is 17.05 cm to four figures, and 17.0 cm to three: a figure rounded twice differs."""


def seen(view: str, text: str, folder: Path, units: str = "cm", stitch: str = "", **settings: Any) -> dict[str, Any]:
    """A view of this stitch, or of the text's last one."""
    return views.look(
        view,
        no_progress,
        lambda _: None,
        text=text,
        file="a.stitch",
        folder=str(folder),
        machine="",
        stitch=stitch or re.findall(r"^stitch (\S+)", text, re.MULTILINE)[-1],
        settings=settings,
        units=units,
    )


def figures(text: object) -> list[tuple[str, ...]]:
    """Values with their ranges, as "17.0 (15.0 to 19.2)" or "17.0 cm, 15.0 to 19.2 cm" has them."""
    number = r"([0-9]+\.[0-9]+)"
    words = str(text).replace("\N{NO-BREAK SPACE}", " ").replace("\\xa0", " ")
    return re.findall(rf"{number}(?: cm,| in,)? \(?{number} to {number}", words)


def test_the_size_of_a_stitch_that_pieces_knit_in_measured_yarns_is_theirs(tmp_path: Path) -> None:
    text = (
        "yarn aa\nyarn cc\nstitch rib over 4\n1: K T K2\n2: K\ngauge plain 20 stitches 28 rows per 10 cm in aa\n"
        "gauge rib 18 stitches 36 rows per 10 cm in aa\npiece p\nneedles 50\nknit rib for 8 rows in aa\n"
        "knit rib for 8 rows in cc\n"
    )
    value = seen("gauge", text, tmp_path)
    assert ("rib in aa: Stitches to 10 cm", "18.0 (16.3 to 19.9)") in figures_by_head(value)
    assert value["basis"].startswith("measured (rib in aa)") and "not used" not in str(value)


def figures_by_head(value: dict[str, Any]) -> list[tuple[str, str]]:
    return [(head, figure.replace("\N{NO-BREAK SPACE}", " ")) for head, figure in value["figures"]]


@pytest.mark.parametrize("units", ["cm", "in"])
@pytest.mark.parametrize(("view", "shown", "fewest"), [("piece", ("width", "length"), 2), ("gauge", ("figures",), 4)])
def test_the_page_has_the_figures_of_the_command(
    view: str,
    shown: tuple[str, ...],
    fewest: int,
    units: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "a.stitch").write_text(COWL, "utf-8")
    assert (
        run([view, str(tmp_path / "a.stitch"), "--units", units, *(["--format", "text"] if view == "piece" else [])])
        == 0
    )
    by_command = figures(capsys.readouterr().out)
    value = seen(view, COWL, tmp_path, units)
    value = value["pieces"][0] if view == "piece" else value
    by_page = [each for key in shown for each in figures(value[key])]
    assert len(by_page) == fewest and set(by_page) <= set(by_command)
    if (view, units) == ("piece", "cm"):
        assert by_page[1][0] == "17.0"


def test_a_gauge_of_ladders_is_counted_in_needles(tmp_path: Path) -> None:
    heads = [head for head, _ in seen("gauge", LADDER, tmp_path)["figures"]]
    assert heads == ["Needles, counting the empty ones", "Rows"]
    with_plain = LADDER + "gauge plain 20 stitches 28 rows per 10 cm\n"
    heads = [head for head, _ in seen("gauge", with_plain, tmp_path)["figures"]]
    assert heads[0] == "Needles to 10 cm, counting the empty ones"
    assert seen("gauge", COWL, tmp_path)["figures"][0][0] == "Stitches to 10 cm"


def test_what_refuses_a_piece_says_what_to_try_apart(tmp_path: Path) -> None:
    text = COWL.replace("needles 80", "needles 2\n    edge 1")
    (refused,) = seen("piece", text, tmp_path)["pieces"][0]["refused"]
    assert "no needle is left for the stitch" in refused["text"]
    assert refused["cure"] == [("needles 3, or more, or a smaller `edge`", False)]


def test_sizes_that_were_asked_for_stand_side_by_side(tmp_path: Path) -> None:
    text = COWL.replace("needles 80", "width 60 cm")
    (piece,) = seen("piece", text, tmp_path, piece={"sizes": "40,50"})["pieces"]
    assert [each["size_cm"] for each in (piece, *piece["other_sizes"])] == [40, 50]


TWO = (
    COWL.replace("needles 80", "width 60 cm")
    + """piece cushion
    width 40 cm
    knit tide for 40 rows
"""
)


def test_what_is_set_for_one_piece_leaves_the_others(tmp_path: Path) -> None:
    before = seen("piece", TWO, tmp_path)["pieces"]
    own = {"cowl": {"sizes": "20", "so_far": "tide 30 rows 8.1 cm"}}
    cowl, cushion = seen("piece", TWO, tmp_path, piece={"own": own})["pieces"]
    assert cowl["size_cm"] == 20 and cowl["so_far"]["rows_done"] == 30
    assert cushion["so_far"] is None and cushion["needles"] == before[1]["needles"]


def test_what_is_set_for_the_card_of_one_stitch_leaves_the_others(tmp_path: Path) -> None:
    text = TIDE_AND_LADDER
    before = seen("card", text, tmp_path, stitch="steps")
    set_for_tide = {"rows": "60", "own": {"tide": {"start_row": "4", "shift": "1"}}}
    assert "Card row 1 is row 4" in made_card(text, tmp_path, "tide", set_for_tide)
    assert "Card row 1 is" not in made_card(text, tmp_path, "steps", set_for_tide)
    after = seen("card", text, tmp_path, stitch="steps", card=set_for_tide)
    assert before["rows"] < 60 <= after["rows"]  # what holds for every card


TIDE_AND_LADDER = COWL + LADDER


def made_card(text: str, folder: Path, stitch: str, card: dict[str, Any]) -> str:
    """The punching list."""
    given = {"text": text, "file": "a.stitch", "folder": str(folder), "machine": "", "stitch": stitch, "units": "cm"}
    made = views.make("card", "text", "", "", no_progress, settings={"card": card}, **given)
    return str(made["files"][0].content.decode())


SEVERAL = (
    TWO
    + """    make 2
piece warmer
    sizes 17.5, 19.5 cm
    make 2
    knit tide for 20 rows
yarn oat ball 50 g 120 m
"""
)


def test_the_yarn_of_all_pieces_is_that_of_the_sizes_in_view(tmp_path: Path) -> None:
    """With sizes of their own, pieces take together what each of them takes, as often as it is made."""
    own = {"cowl": {"sizes": "20"}, "cushion": {"sizes": "30"}}
    pieces = seen("piece", SEVERAL, tmp_path, piece={"own": own})["pieces"]
    cowl, cushion, warmer = ({size["size"]: size for size in (each, *each["other_sizes"])} for each in pieces)
    assert [*cowl, *cushion, *warmer] == ["20 cm", "30 cm", "17.5 cm", "19.5 cm"]

    def metres(size: Any) -> float:
        return float(size["yarn"][0]["metres"]["value"])

    for size in warmer.values():
        everything = size["yarn_of_all_pieces"]
        (total,) = everything["yarn"]
        expected = metres(cowl["20 cm"]) + 2 * metres(cushion["30 cm"]) + 2 * metres(size)
        assert total["metres"]["value"] == pytest.approx(expected, rel=0.01)
        assert everything["in_one_size"] == [{"piece": "cowl", "size": "20 cm"}, {"piece": "cushion", "size": "30 cm"}]


def test_pieces_that_can_not_have_their_size_are_not_counted(tmp_path: Path) -> None:
    own = {"cowl": {"sizes": "wide"}}
    cowl, cushion, _ = seen("piece", SEVERAL, tmp_path, piece={"own": own})["pieces"]
    assert cowl["refused"]
    assert cushion["yarn_of_all_pieces"]["left_out"] == ["cowl"]


def test_what_is_still_needed_is_less_than_the_whole(tmp_path: Path) -> None:
    own = {"cowl": {"so_far": "tide 32 rows 8.5 cm"}}
    (cowl, *_) = seen("piece", TWO, tmp_path, piece={"own": own})["pieces"]
    ((whole,), (rest,)) = cowl["yarn"], cowl["so_far"]["yarn_still_needed"]
    assert 0.4 < rest["metres"]["value"] / whole["metres"]["value"] < 0.6

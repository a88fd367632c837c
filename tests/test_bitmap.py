"""The picture for electronic patterning: each pixel against the chart, every choice, and what is said of it."""

from __future__ import annotations

import io
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from stitchc import BitmapOptions, bitmap
from stitchc.__main__ import run
from stitchc.bed import Needles
from stitchc.chart import Chart
from stitchc.drawn.carried import chart_carried
from stitchc.machines import load, load_text
from stitchc.messages import Span
from stitchc.pattern import Stitch

ROWS = ["KKKT", "KKKK", "KSKK"]


def stitch(rows: list[str]) -> Stitch:
    return Stitch("ripple", Chart.from_rows(rows), Span("x.stitch", 1))


def pixels(content: bytes) -> list[str]:
    """Lines from the top, # for a dark pixel."""
    with Image.open(io.BytesIO(content)) as image:
        assert image.mode == "1" and image.format == "PNG"
        return ["".join("#" if not image.getpixel((x, y)) else "." for x in range(image.width))
                for y in range(image.height)]  # fmt: skip


def made(cells: list[str] = ROWS, **more: object) -> list[str]:
    return pixels(bitmap.png(bitmap.make_picture(stitch(cells), load("bitmap-standard"), BitmapOptions(**more))))  # type: ignore[arg-type]


def test_one_repeat_row_1_at_the_bottom_dark_knits() -> None:
    assert made() == ["#.##", "####", "###."]


def test_every_choice() -> None:
    assert made(first_row="top") == ["###.", "####", "#.##"]
    assert made(seen_from="knit") == ["##.#", "####", ".###"]
    assert made(dark="hold") == [".#..", "....", "...#"]
    assert made(first_row="top", seen_from="knit", dark="hold") == ["#...", "....", "..#."]


def test_tiled_to_needles_and_rows() -> None:
    assert made(needles=Needles.parse("6"), rows=4) == ["###.##", "#.###.", "######", "###.##"]
    assert made(needles=Needles.parse("L2-R4"), rows=1) == ["###.##"]  # column 1 on the leftmost needle
    assert made(needles=Needles.parse("L2-R4"), rows=1, edge=1, dark="hold") == ["....#."]  # after the edge
    assert made(["TKKK"], needles=Needles.parse("6"), edge=1) == ["#.####"]


def test_the_profile_decides_what_is_unsaid() -> None:
    lines = '[reader]\nmark_means = "hold"\nmirrored = true\nfirst_row = "top"\ncolumn_1_needle = "L1"\n'
    machine = load_text(f'based_on = "bitmap-standard"\n{lines}', "my.toml")
    picture = bitmap.make_picture(stitch(["KKKT", "KKKK"]), machine, BitmapOptions(needles=Needles.parse("L2-R4")))
    # facing the bed the needles L2 L1 R1 R2 R3 R4 take columns 4 1 2 3 4 1; seen from the knit side: exchanged
    assert pixels(bitmap.png(picture)) == [".#...#", "......"]
    assert "a dark pixel means hold" in picture.words and "knit side" in picture.words and "top" in picture.words
    asked = bitmap.make_picture(stitch(ROWS), machine, BitmapOptions(seen_from="purl", dark="knit", first_row="bottom"))
    assert pixels(bitmap.png(asked)) == ["#.##", "####", "###."]


@given(st.data())
def test_any_chart_comes_back_from_its_picture(data: st.DataObject) -> None:
    width, height = data.draw(st.integers(1, 40)), data.draw(st.integers(1, 20))
    row = st.text("KTS", min_size=width, max_size=width)
    rows = data.draw(st.lists(row, min_size=height, max_size=height))
    choice = data.draw(
        st.fixed_dictionaries(
            {
                "first_row": st.sampled_from(["bottom", "top"]),
                "seen_from": st.sampled_from(["purl", "knit"]),
                "dark": st.sampled_from(["knit", "hold"]),
            }
        )
    )
    lines = made(rows, **choice)
    if choice["first_row"] == "bottom":
        lines = lines[::-1]
    knit = {"knit": "#", "hold": "."}[choice["dark"]]
    found = [[letter == knit for letter in (line[::-1] if choice["seen_from"] == "knit" else line)] for line in lines]
    assert found == [[letter == "K" for letter in row] for row in rows]


def test_the_picture_carries_its_chart_as_long_as_its_pixels_are_its_own() -> None:
    """One colour cannot tell tuck from slip; the letters beside the digest do."""
    content = bitmap.png(
        bitmap.make_picture(stitch(ROWS), load("bitmap-standard"), BitmapOptions(first_row="top", seen_from="knit"))
    )
    with Image.open(io.BytesIO(content)) as image:
        assert chart_carried(dict(image.info), image.convert("RGB").tobytes()) == Chart.from_rows(ROWS)
    large = bitmap.make_picture(
        stitch(["KT", "KK"]), load("bitmap-standard"), BitmapOptions(needles=Needles.centred(200), rows=2501)
    )
    with Image.open(io.BytesIO(bitmap.png(large))) as image:
        assert "stitchc-chart" not in image.info


def test_a_wrong_picture_is_caught() -> None:
    picture = bitmap.make_picture(stitch(ROWS), load("bitmap-standard"))
    real = Image.fromarray

    def wrong(pixels: np.ndarray) -> Image.Image:  # type: ignore[type-arg]
        changed = pixels.copy()
        changed[1, 1] ^= True
        return real(changed)

    with pytest.MonkeyPatch.context() as patch, pytest.raises(bitmap.ProofFailed):
        patch.setattr(Image, "fromarray", wrong)
        bitmap.png(picture)


def test_what_does_not_go() -> None:
    assert [m.code for m in bitmap.unfit(stitch(ROWS), load("card24-standard"))] == ["M305"]
    assert [m.code for m in bitmap.unfit(stitch(ROWS), load("hand-standard"))] == ["M305"]
    machine = load("bitmap-standard")
    assert bitmap.unfit(stitch(ROWS), machine, Needles.centred(200)) == []
    assert [m.code for m in bitmap.unfit(stitch(ROWS), machine, Needles.centred(201))] == ["M303"]
    assert [m.code for m in bitmap.unfit(stitch(ROWS), machine, Needles.parse("L101-R1"))] == ["M303"]
    assert [m.code for m in bitmap.unfit(stitch(["K" * 201]), machine)] == ["M303"]
    no_slip = load_text('based_on = "bitmap-standard"\n[carriage]\nslip = "none"\n', "x.toml")
    assert [m.code for m in bitmap.unfit(stitch(ROWS), no_slip)] == ["M305"]


# -- the command ----------------------------------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tide.stitch").write_text('pattern "Tide line"\nstitch tide\n 1: K T\n 2: K\n', encoding="utf-8")
    return tmp_path


def test_the_command(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert run(["bitmap", "tide.stitch"]) == 0
    out, said = capfd.readouterr()
    assert out == "tide-tide-bitmap.png\n"
    words = "a dark pixel means knit; row 1 is at the bottom; seen from the purl side"
    assert words in said and "row 1 tuck" in said
    content = Path("tide-tide-bitmap.png").read_bytes()
    assert pixels(content) == ["##", "#."] and words.encode() in content and b"stitchc" in content[:4096]
    assert run(["bitmap", "tide.stitch", "--dark", "hold", "--first-row", "top", "-o", "sub/x.png"]) == 0
    assert pixels(Path("sub/x.png").read_bytes()) == [".#", ".."]
    assert "The folder `sub` was not there, so it was made." in capfd.readouterr().err
    assert run(["bitmap", "tide.stitch", "-o", "sub/y.png"]) == 0 and "was made" not in capfd.readouterr().err


def test_what_was_made_anyway_says_so(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    (folder / "tide.stitch").write_text("stitch tide\n 1-6: K T\n 7: K\n", encoding="utf-8")
    assert run(["bitmap", "tide.stitch"]) == 1
    assert run(["bitmap", "tide.stitch", "--anyway", "-o", "x.png"]) == 0
    with Image.open("x.png") as image:
        assert image.info["Warning"].startswith("Made despite K202")


def test_fewer_needles_than_a_repeat_are_warned_of(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    (folder / "wide.stitch").write_text("stitch wide over 8\n    1: K3 T K4\n    2: K\n", encoding="utf-8")
    assert run(["bitmap", "wide.stitch", "--needles", "6", "-o", "narrow.png"]) == 0
    said = capfd.readouterr().err
    assert "M306" in said and "only 6 are in work" in said and "Try: --needles 8" in said
    for needles in ("8", "9"):
        assert run(["bitmap", "wide.stitch", "--needles", needles, "-o", "wide.png"]) == 0
        assert "M306" not in capfd.readouterr().err


@pytest.mark.parametrize("edge", ["0", "1", "3"])
@pytest.mark.parametrize("own", ["", '[reader]\ncolumn_1_needle = "R2"\n'])
def test_the_picture_and_the_sheet_hold_the_same_needles(
    folder: Path, capfd: pytest.CaptureFixture[str], edge: str, own: str
) -> None:
    Path("lean.stitch").write_text("stitch lean\n1: T K4\n2: K2 T K2\n")
    Path("own.toml").write_text('based_on = "bitmap-standard"\nname = "own"\n' + own)
    asked = ["lean.stitch", "--machine", "own.toml", "--needles", "L6-R8", "--edge", edge, "--anyway"]
    assert run(["bitmap", *asked, "-o", "lean.png"]) == 0
    drawn = pixels(Path("lean.png").read_bytes())[::-1]  # row 1 first
    capfd.readouterr()
    assert run(["sheet", *asked, "--format", "json"]) == 0
    passes = json.loads(capfd.readouterr().out)["passes"]
    names = [f"L{n}" for n in range(6, 0, -1)] + [f"R{n}" for n in range(1, 9)]
    held = [[name for name, pixel in zip(names, line, strict=True) if pixel == "."] for line in drawn]
    assert [each["held"] for each in passes] == held
    assert run(["sheet", *asked, "--format", "text"]) == 0
    told = " ".join(capfd.readouterr().out.split())
    column_1 = "R2" if own else {"0": "L6", "1": "L5", "3": "L3"}[edge]
    assert f"its first column on {column_1} (one repeat" in told
    assert ("one of all 14 needles begins on L6" in told) == (column_1 != "L6")


def test_end_needles_that_tuck_are_told(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert run(["bitmap", "tide.stitch", "--needles", "20", "-o", "x.png"]) == 0
    assert "[K206]" in capfd.readouterr().err
    assert run(["bitmap", "tide.stitch", "--needles", "20", "--edge", "1", "-o", "x.png"]) == 0
    assert "K206" not in capfd.readouterr().err
    assert pixels(Path("x.png").read_bytes())[-1] == "##.#.#.#.#.#.#.#.#.#"


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (["--needles", "R3-L3"], 2, "left needle first"),
        (["--needles", "many"], 2, "L40-R39"),
        (["--needles", "L3-"], 2, "such as L40-R39"),
        (["--needles", "6", "--edge", "3"], 2, "no needle is left for the stitch. Try --needles 8"),
        (["--edge", "1"], 2, "as in --needles 80"),
        (["--needles", "300"], 1, "M303"),
        (["--rows", "0"], 2, "from 1 "),
        (["--rows", "1000000", "--needles", "200"], 1, "N110"),
        (["--machine", "card24-standard"], 1, "M305"),
        (["--dark", "tuck"], 2, "hold"),
        (["-o", "tide.stitch/x.png"], 3, "F502"),
    ],
)
def test_bad_input(folder: Path, capfd: pytest.CaptureFixture[str], words: list[str], status: int, said: str) -> None:
    assert run(["bitmap", "tide.stitch", *words]) == status
    out, told = capfd.readouterr()
    assert said in told and out == "" and {path.name for path in folder.iterdir()} == {"tide.stitch"}

"""`stitchc chart`: letters and JSON as promised, drawn files, and clear errors."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stitchc.__main__ import run
from stitchc.chart import Chart
from stitchc.drawn.letters import as_json, as_text
from stitchc.messages import Span
from stitchc.pattern import Pattern, Stitch

HARBOUR = """
pattern "Harbour wall"
note "Worn purl side out."
yarn foam "sea green, 4 ply" colour "#7fb8a4"
yarn sand "oat" colour "#d9c7a0"
stitch pique            # double cross tuck: rows KT, KT, TK, TK
    1-2: K T
    3-4: T K
stitch quay over 8
    1, 3: (K T)x2 K4
    2, 4-6: K
    7 in foam: S2 K2
    8 in sand: K
stitch wall = quay up 2
"""


@pytest.fixture
def harbour(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "harbour.stitch"
    path.write_text(HARBOUR, encoding="utf-8")
    return path


def test_json_is_as_promised(harbour: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # the rows of double cross tuck: "What is Pique Fabric", which gives them needle by needle
    assert run(["chart", "harbour.stitch", "--stitch", "pique", "--format", "json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert list(document) == ["format", "title", "notes", "stitches", "by", "difficulty", "notions", "photos"]
    assert document["format"] == "stitchc-chart/1"
    assert document["title"] == "Harbour wall"
    assert document["notes"] == ["Worn purl side out."]
    assert document["stitches"] == [
        {
            "name": "pique",
            "width": 2,
            "height": 4,
            "rows": ["KT", "KT", "TK", "TK"],
            "yarns": [None] * 4,
            "settings": ["tuck"] * 4,
            "knits": [[True, False], [True, False], [False, True], [False, True]],
            "out": [],
        }
    ]


def test_parts_are_shown_too_with_yarns_and_settings(harbour: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["chart", "harbour.stitch", "--format", "json"]) == 0
    stitches = {stitch["name"]: stitch for stitch in json.loads(capsys.readouterr().out)["stitches"]}
    assert list(stitches) == ["pique", "quay", "wall"]
    assert stitches["quay"]["settings"] == ["tuck", "plain", "tuck", "plain", "plain", "plain", "slip", "plain"]
    assert stitches["quay"]["yarns"] == [None] * 6 + ["foam", "sand"]
    assert stitches["wall"]["rows"] == 2 * stitches["quay"]["rows"]


def test_letters_stand_as_in_a_chart(harbour: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["chart", "harbour.stitch", "--stitch", "quay"]) == 0
    lines = capsys.readouterr().out.splitlines()
    first = next(number for number, line in enumerate(lines) if line.startswith("quay: 8 needles by 8 rows"))
    rows = lines[first + 2 :]
    assert [line.split()[0] for line in rows] == ["8", "7", "6", "5", "4", "3", "2", "1"]
    assert rows[0].split() == ["8", "plain", "sand", "KKKKK", "KKK"]
    assert rows[1].split() == ["7", "slip", "foam", "SSKKS", "SKK"]
    assert rows[7].split() == ["1", "tuck", "KTKTK", "KKK"]
    ruler = lines[first + 1]
    assert rows[7].index("KTKTK") == ruler.index("1") and rows[7].index("KKK") == ruler.index("6")
    assert "Row 1, at the bottom, is knitted first" in "\n".join(lines)


def test_wide_charts_are_shown_in_blocks_that_fit() -> None:
    chart = Chart(np.random.default_rng(1).integers(0, 3, (7, 203), dtype=np.uint8), ("foam", None) * 3 + ("sea",))
    stitch = Stitch("wide", chart, Span("x", 1))
    lines = list(as_text(Pattern("x", {"wide": stitch}), (stitch,), 80))
    head = next(number for number, line in enumerate(lines) if line.startswith("wide:"))
    assert max(len(line) for line in lines[head:]) <= 80
    rows: dict[str, str] = {}
    for line in lines[head + 1 :]:
        words = line.split()
        if len(words) > 1 and words[0].isdigit() and words[1] in ("plain", "tuck", "slip", "mixed"):
            cells = "".join(word for word in words[2:] if set(word) <= set("KTS"))
            rows[words[0]] = rows.get(words[0], "") + cells
    assert [rows[str(number)] for number in range(1, 8)] == chart.rows()


@given(st.integers(1, 60), st.integers(1, 20), st.integers(0, 2**32 - 1))
@settings(max_examples=60, deadline=None)
def test_json_there_and_back(width: int, height: int, seed: int) -> None:
    random = np.random.default_rng(seed)
    cells = random.integers(0, 3, (height, width), dtype=np.uint8)
    yarns = tuple(random.choice(["foam", "sand", None], height).tolist())
    chart = Chart(cells, yarns)
    stitch = Stitch("a", chart, Span("x", 1))
    document = json.loads(as_json(Pattern("x", {"a": stitch}), (stitch,)))["stitches"][0]
    again = Chart.from_rows(document["rows"], document["yarns"])
    assert again == chart
    assert np.array_equal(np.array(document["knits"]), chart.knits)
    assert tuple(document["settings"]) == chart.settings()


def test_what_cannot_be_knitted_is_shown_with_a_warning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("never.stitch").write_text("stitch never\n    1: K T\n", encoding="utf-8")  # needle 2 never knits
    assert run(["chart", "never.stitch"]) == 0
    said = capsys.readouterr()
    assert "KT" in said.out
    assert "[K201]" in said.err and "error: " not in said.err


@pytest.mark.parametrize("form", ["svg", "png", "pdf", "html"])
def test_drawn_files_get_names_of_their_own_and_are_written_over(
    form: str, harbour: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["chart", "harbour.stitch", "--format", form]) == 0
    paths = capsys.readouterr().out.split()
    expected = (
        [f"harbour-chart.{form}"]
        if form in ("pdf", "html")
        else [f"harbour-{name}-chart.{form}" for name in ("pique", "quay", "wall")]
    )
    assert paths == expected
    contents = [Path(path).read_bytes() for path in paths]
    assert all(b"stitchc" in content[:4096] + content[-4096:] for content in contents)
    assert run(["chart", "harbour.stitch", "--format", form]) == 0  # they are ours
    assert [Path(path).read_bytes() for path in paths] == contents  # and the same bytes again


def test_the_form_follows_the_name_of_the_output(harbour: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["chart", "harbour.stitch", "--stitch", "quay", "-o", "out/quay.svg"]) == 0
    assert capsys.readouterr().out == "out/quay.svg\n"
    assert Path("out/quay.svg").read_bytes().startswith(b"<?xml")


@pytest.mark.parametrize(
    ("height", "most", "files", "told"), [(360, None, 1, "drawn at 134 dpi"), (60, 2_000_000, 3, "drawn in 3 parts")]
)
def test_a_large_chart_is_drawn_less_finely_or_in_parts(
    height: int,
    most: int | None,
    files: int,
    told: str,
    harbour: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    if most is not None:
        monkeypatch.setattr("stitchc.drawn.product._MANY_PIXELS", most)
    Path("big.stitch").write_text(f"stitch big over 200\n 1: K T\n 2-{height}: K\n", encoding="utf-8")
    assert run(["chart", "big.stitch", "--format", "png"]) == 0
    said = capsys.readouterr()
    assert len(said.out.split()) == files and told in said.err


def test_several_pictures_go_into_a_folder_and_several_pages_are_numbered(
    harbour: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["chart", "harbour.stitch", "--format", "svg", "-o", "charts"]) == 0
    assert capsys.readouterr().out.split() == [f"charts/harbour-{name}-chart.svg" for name in ("pique", "quay", "wall")]
    arguments = ["--stitch", "quay", "--repeats", "8x9", "--paper", "a4", "--cell-mm", "6", "-o", "wall.svg"]
    assert run(["chart", "harbour.stitch", *arguments]) == 0
    assert capsys.readouterr().out.split() == [f"wall-{number}.svg" for number in range(1, 7)]


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (["--repeats", "2"], 2, "number of repeats"),
        (["--repeats", "0x3"], 2, "number of repeats"),
        (["--cell-mm", "0.5"], 2, "--cell-mm"),
        (["--dpi", "100000"], 2, "--dpi"),
        (["--format", "gif"], 2, "--format"),
        (["--stitch", "key"], 1, "N103"),
        (["--stitch", "quay", "--repeats", "999x999", "--format", "svg"], 1, "D701"),
        (["--stitch", "quay", "--repeats", "40x40", "--dpi", "1200", "--format", "png"], 1, "D702"),
        (["--stitch", "quay", "--repeats", "1x300", "--paper", "roll", "--format", "pdf"], 1, "D702"),
        (["--format", "svg", "-o", "harbour.stitch"], 3, "harbour.stitch"),
        (["--format", "json", "--face", "knit"], 2, "--face is for --format svg"),
        (["--format", "text", "--cell-mm", "4"], 2, "--cell-mm is for --format svg"),
        (["--carriage", "left"], 2, "the form is text"),
    ],
)
def test_bad_input_is_told_and_costs_nothing(
    arguments: list[str], status: int, words: str, harbour: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = sorted(harbour.parent.iterdir())
    assert run(["chart", "harbour.stitch", *arguments]) == status
    said = capsys.readouterr()
    assert words in said.err and said.out == ""
    assert sorted(harbour.parent.iterdir()) == before
    assert harbour.read_text(encoding="utf-8") == HARBOUR

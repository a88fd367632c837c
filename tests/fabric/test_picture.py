"""`stitchc picture` from outside: files, sizes, words and exit statuses."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from stitchc.__main__ import run
from stitchc.fabric import NATURAL
from stitchc.machines import load
from stitchc.notation import compile_text
from stitchc.options import PictureOptions
from stitchc.pattern import Pattern
from stitchc.picture import FabricPicture, draw_fabric, improve_fabric, yarn_colours

PATTERN = """
pattern "Tide line"
yarn foam "sea green" colour "#2f8f83"
yarn sand "oat" colour "#ead9b0"
yarn kelp "olive"
gauge plain 20 stitches 28 rows per 10 cm
stitch ripple
    1: K T
    2: K
stitch lone
    1: K
stitch stripes
    1-2 in foam: K
    3-4 in sand: K
stitch laid
    1: S
    2: K
stitch never
    1: K S
"""


pytestmark = pytest.mark.usefixtures("one_cache")


@pytest.fixture
def pattern(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "tide.stitch"
    path.write_text(PATTERN, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return path


def draw(*words: str) -> int:
    return run(["picture", *words])


def opened(path: Path) -> Image.Image:
    image = Image.open(io.BytesIO(path.read_bytes()))
    image.load()
    return image


@pytest.mark.parametrize(
    "words", [("1x1in",), ("1x1", "--units", "in"), ("2.54x2.54",), ("2.54x2.54cm", "--units", "in")]
)
def test_a_size_in_inches(words: tuple[str, ...], pattern: Path) -> None:
    target = pattern.parent / "ripple.png"
    asked = ("--stitch", "ripple", "--face", "purl", "--dpi", "127", "--size", *words)
    assert draw("tide.stitch", *asked, "-o", str(target)) == 0
    assert opened(target).width == 127


def test_one_side_life_size(pattern: Path, capfd: pytest.CaptureFixture[str]) -> None:
    target = pattern.parent / "ripple.png"
    assert (
        draw(
            "tide.stitch", "--stitch", "ripple", "--face", "purl", "--size", "4x2.5", "--dpi", "127", "-o", str(target)
        )
        == 0
    )
    said = capfd.readouterr()
    assert said.out.splitlines() == [str(target)]
    assert re.search(r"Scale of `ripple`: 18\.\d stitches and 3\d\.\d rows to 10 cm \(estimate\)\.", said.err)
    image = opened(target)
    assert image.width == 200, "4 cm at 127 dots to the inch, which is 50 to the cm"
    assert image.height > 125, "2.5 cm and the strip below"
    assert image.info["dpi"] == pytest.approx((127, 127), abs=0.05)
    assert image.info["Software"] == "stitchc"
    assert b"stitchc" in target.read_bytes()[:4096]
    assert "50.000 pixels per cm" in image.info["Description"]
    # The scale bar, measured in the picture: a black line of a whole number of its own units.
    strip = np.asarray(image.convert("L"))[125:]
    dark = strip < 90
    row = dark[dark.sum(axis=1).argmax()]
    ends = np.nonzero(row)[0]
    longest = max(np.split(ends, np.nonzero(np.diff(ends) > 1)[0] + 1), key=len)
    assert len(longest) == pytest.approx(50, abs=3), "1 cm"


def test_a_posted_picture_does_not_publish_the_chart(pattern: Path) -> None:
    """The words in the file are the program, the stitch, its scale and the seal: no row of the repeat."""
    assert draw("tide.stitch", "--stitch", "ripple", "--px", "100", "-o", "r.png") == 0
    image = opened(pattern.parent / "r.png")
    assert set(image.info) == {"Software", "Description", "Digest", "dpi"}
    content = (pattern.parent / "r.png").read_bytes()
    assert b"KT" not in content[:1024] and b"K T" not in content[:1024]


@pytest.mark.parametrize("size, across, up", [("2x3 repeats", 4, 6), ("1 x 2.5r", 2, 5), ("4x1 Repeat", 8, 2)])
def test_a_size_in_repeats(size: str, across: float, up: float, pattern: Path) -> None:
    (made,) = draw_fabric(compiled(PATTERN), None, PictureOptions(("ripple",), "purl", size, dpi=200)).values
    stitches_per_cm, rows_per_cm = 1.82, 3.72
    height, width = made.sides["purl"].shape[:2]
    assert width / made.px_per_cm == pytest.approx(across / stitches_per_cm, rel=0.03)
    assert height / made.px_per_cm == pytest.approx(up / rows_per_cm, rel=0.03)


def test_a_slip_takes_yarn_for_the_machines_pitch() -> None:
    gauges = "gauge plain 20 stitches 28 rows per 10 cm\ngauge linen 24 stitches 44 rows per 10 cm\n"
    text = gauges + "stitch linen\n1: K S\n2: S K\n"
    options = PictureOptions(size="4x4", px=200, face="purl")
    pictures = []
    for machine in (None, load("card24-standard"), load("card24-bulky")):
        kept: dict[str, bytes] = {}
        (made,) = draw_fabric(compiled(text), machine, options, kept=kept).values
        assert len(kept) == 1
        pictures.append(made.sides["purl"])
    assert np.array_equal(pictures[0], pictures[1]), "4.5 mm where no machine says otherwise"
    assert np.abs(pictures[0].astype(int) - pictures[2]).mean() > 3


def test_coarse_pictures_come_first_and_the_last_is_the_one_to_keep() -> None:
    pattern, options = compiled(PATTERN), PictureOptions(("ripple",), px=600)
    *coarse, last = improve_fabric(pattern, None, options)
    assert len(coarse) >= 3 and not any(product.files for product in (*coarse, last))
    assert coarse[0].values[0].done == 0 and all(product.values[0].done < 1 for product in coarse)
    whole = draw_fabric(pattern, None, options)
    assert last.values[0].done == 1 and last.values[0].png() == whole.files[0].content
    scale = [product.values[0].px_per_cm for product in coarse]
    assert len(set(scale)) == 1 and scale[0] < last.values[0].px_per_cm


def test_a_picture_that_was_drawn_is_there_at_once_and_never_in_place_of_another() -> None:
    drawn: dict[str, FabricPicture] = {}
    kept: dict[str, bytes] = {}
    usual = PictureOptions(("ripple",), size="3x2", px=100)
    asked = [
        (PATTERN, usual, None),
        (PATTERN, usual, load("card24-bulky")),
        *(
            (PATTERN, replace(usual, **{key: value}), None)
            for key, value in (("px", 110), ("size", "2x2"), ("face", "knit"))
        ),
        *((PATTERN.replace(*other), usual, None) for other in (("20 stitches", "24 stitches"), ("1: K T", "1: S K"))),
        (f"{PATTERN}gauge ripple 17 stitches 40 rows per 10 cm\n", usual, None),
    ]
    for once in range(2):
        for text, options, machine in asked:
            *coarse, last = improve_fabric(compiled(text), machine, options, kept=kept, drawn=drawn)
            whole = draw_fabric(compiled(text), machine, options, kept=kept)
            assert not (coarse and once) and last.values[0].png() == whole.files[0].content
            assert (last.messages, last.remarks) == (whole.messages, whole.remarks)
    assert len(drawn) == len(asked)


def test_both_sides_of_one_stitch_beside_each_other(pattern: Path) -> None:
    assert draw("tide.stitch", "--stitch", "ripple", "--px", "200") == 0
    image = opened(pattern.parent / "tide-ripple-fabric.png")
    assert 400 < image.width < 420
    whole = np.asarray(image.convert("L")).astype(float)
    assert np.abs(whole[:190, :200] - whole[:190, -200:]).mean() > 5, "the sides differ"


def test_several_stitches_go_into_a_folder(pattern: Path, capfd: pytest.CaptureFixture[str]) -> None:
    words = ("--stitch", "ripple", "--stitch", "lone", "--stitch", "laid", "--px", "150", "--face", "knit")
    assert draw("tide.stitch", *words, "-o", "seen") == 0
    paths = [Path(line) for line in capfd.readouterr().out.splitlines()]
    assert [path.name for path in paths] == [f"tide-{name}-fabric-knit.png" for name in ("ripple", "lone", "laid")]
    assert all(opened(path).width == 150 for path in paths)
    assert draw("tide.stitch", *words, "-o", "seen.png") == 2


def test_yarns_colours(pattern: Path) -> None:
    assert (
        draw("tide.stitch", "--stitch", "stripes", "--face", "knit", "--size", "6x6", "--px", "300", "-o", "s.png") == 0
    )
    pixels = np.asarray(opened(pattern.parent / "s.png"))[:300].reshape(-1, 3).astype(float)
    greenness = pixels[:, 1] - pixels[:, 0]
    assert (greenness > 20).mean() > 0.3, "foam is sea green"
    assert ((greenness < -8) & (pixels[:, 0] > 120)).mean() > 0.3, "sand is oat"


@pytest.mark.parametrize("colour", ['colour "#2f6f3f"', ""])
def test_the_only_yarn_colours_rows_that_name_none_unless_some_name_it(colour: str) -> None:
    """As its pieces are knitted."""
    head = f"yarn kelp {colour}\nstitch ripple\n1: K T\n"
    plain = compiled(head + "2: K\n")
    one = yarn_colours(plain, plain.stitches["ripple"])
    assert len(set(one)) == 1 and (one[0] == (0x2F, 0x6F, 0x3F)) == bool(colour)
    striped = compiled(head + "2 in kelp: K\n")
    first, second = yarn_colours(striped, striped.stitches["ripple"])
    assert first == NATURAL and max(abs(a - b) for a, b in zip(first, second, strict=True)) > 60
    beside = compiled(head + "2 in kelp: K\nstitch bare\n1: K\n")
    assert yarn_colours(beside, beside.stitches["bare"]) == [NATURAL]


def compiled(text: str) -> Pattern:
    pattern, messages, _ = compile_text(text)
    assert pattern is not None, messages
    return pattern


def test_much_wider_than_high_one_side_stands_over_the_other(pattern: Path) -> None:
    words = ("tide.stitch", "--stitch", "ripple", "--px", "200", "-o", "wide.png")
    assert draw(*words, "--size", "8x4") == 0
    wide = opened(pattern.parent / "wide.png")
    assert wide.width == 200 and wide.height > 200
    assert draw(*words, "--size", "8x7") == 0
    assert opened(pattern.parent / "wide.png").width > 400


def test_a_name_that_the_font_cannot_show_is_said(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "wave.stitch"
    file.write_text("stitch 波\n1: K\n", encoding="utf-8")
    assert draw(str(file), "--px", "120", "-o", str(tmp_path / "wave.png")) == 0
    assert "The picture's font has no `波`" in capfd.readouterr().err


def test_a_colour_that_is_not_given_is_said_once(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """A yarn that no drawn stitch uses is not spoken of, nor one with a colour, nor a pattern without yarns."""
    file = tmp_path / "two.stitch"
    yarns = 'yarn foam\nyarn kelp "olive"\nyarn oat colour "#cfc3ab"\nyarn spare\n'
    ripple, stripes = "1 in foam: K T\n2 in kelp: K\n", "1 in oat: K S\n2 in foam: K\n"
    file.write_text(f"{yarns}stitch ripple\n{ripple}stitch stripes\n{stripes}stitch bare\n1 in oat: K\n")
    assert draw(str(file), "--px", "100", "--face", "purl", "-o", str(tmp_path / "seen")) == 0
    said = [line for line in capfd.readouterr().err.splitlines() if "not given" in line]
    assert len(said) == 1 and said[0].startswith("The colours of yarns `foam`, `kelp` are not given and chosen here")
    assert draw(str(file), "--stitch", "bare", "--px", "100", "-o", str(tmp_path / "bare.png")) == 0
    assert "not given" not in capfd.readouterr().err
    file.write_text("stitch bare\n1: K\n")
    assert draw(str(file), "--px", "100", "-o", str(tmp_path / "bare.png")) == 0
    assert "not given" not in capfd.readouterr().err
    file.write_text('yarn foam colour "#2f8f83"\nyarn oat\nstitch stripes\n1 in foam: K S\n2: K\n')
    assert draw(str(file), "--px", "100", "-o", str(tmp_path / "main.png")) == 0
    assert "The colour of yarn `oat` is not given and chosen here" in capfd.readouterr().err


def test_same_bytes_again_from_the_cache_too(pattern: Path) -> None:
    for name in ("one.png", "two.png"):
        assert draw("tide.stitch", "--stitch", "ripple", "--px", "120", "-o", name) == 0
    assert (pattern.parent / "one.png").read_bytes() == (pattern.parent / "two.png").read_bytes()


def test_scale_without_any_gauge_is_said_to_be_assumed(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "bare.stitch"
    file.write_text("stitch ripple\n 1: K T\n 2: K\n")
    target = str(tmp_path / "bare.png")
    assert draw(str(file), "--px", "120", "-o", target) == 0
    assert "stocking stitch assumed at 20 x 26, see --plain" in capfd.readouterr().err
    assert draw(str(file), "--px", "120", "--plain", "30x42", "-o", target) == 0
    assert "assumed" not in capfd.readouterr().err


def test_a_measured_gauge_without_stocking_stitch(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "own.stitch"
    file.write_text("stitch ripple\n 1: K T\n 2: K\ngauge ripple 25 stitches per 10 cm\n")
    assert draw(str(file), "--px", "120", "-o", str(tmp_path / "own.png")) == 0
    assert "25.0 stitches" in capfd.readouterr().err


def test_a_needle_that_never_knits_is_said_and_the_others_are_drawn(
    pattern: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    assert draw("tide.stitch", "--stitch", "never", "--stitch", "lone", "--px", "120", "-o", "out") == 1
    said = capfd.readouterr()
    assert "tide.stitch:18:8: error: " in said.err
    assert [Path(line).name for line in said.out.splitlines()] == ["tide-lone-fabric.png"]


@pytest.mark.parametrize(
    "words, said",
    [
        (("--size", "10"), "write width x height in cm"),
        (("--size", "0x10"), "write width x height in cm"),
        (("--size", "500x500"), "write width x height in cm"),
        (("--size", "90x90", "--units", "in"), "write width x height in inches, as in 4x4, from 0.08 to 79 each"),
        (("--size", "90x90in"), "write width x height in inches"),
        (("--px", "99"), "--px"),
        (("--px", "500", "--dpi", "300"), "give one of them"),
        (("--face", "front"), "--face"),
        (("--plain", "x"), "not a gauge"),
    ],
)
def test_wrong_command_lines(
    words: tuple[str, ...], said: str, pattern: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    assert draw("tide.stitch", "--stitch", "ripple", *words) == 2
    assert said in capfd.readouterr().err
    assert not list(pattern.parent.glob("*.png"))


def test_too_many_pixels(pattern: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert draw("tide.stitch", "--stitch", "ripple", "--size", "150x150", "--dpi", "300") == 1
    assert "[V705]" in capfd.readouterr().err


def test_anothers_file_is_left_alone(pattern: Path, capfd: pytest.CaptureFixture[str]) -> None:
    target = pattern.parent / "mine.png"
    target.write_bytes(b"\x89PNG a photograph")
    assert draw("tide.stitch", "--stitch", "ripple", "--px", "120", "-o", "mine.png") == 3
    assert target.read_bytes() == b"\x89PNG a photograph"
    assert draw("tide.stitch", "--stitch", "ripple", "--px", "120", "-o", "mine.png", "--force") == 0
    assert opened(target).width > 200


def test_names_in_any_script_and_very_long_ones(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    names = ["прилив", "κύμα", "wave" * 60]
    (tmp_path / "t.stitch").write_text("".join(f"stitch {name}\n 1: K\n" for name in names), encoding="utf-8")
    assert draw("t.stitch", "--px", "120", "-o", "out") == 0
    assert len(list((tmp_path / "out").iterdir())) == 3


def test_the_help_imports_no_array_library() -> None:
    probe = "import sys; from stitchc.__main__ import run; run(['picture', '--help']); print('numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "False"

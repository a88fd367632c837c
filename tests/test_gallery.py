"""The gallery tells the truth: what its pictures say, read back, is what the examples compile to today."""

from __future__ import annotations

import importlib.util
import json
import re
import tomllib
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from PIL import Image

from stitchc import seal
from stitchc.notation import compile_file
from stitchc.pattern import Pattern, Stitch
from stitchc.trace import trace
from stitchc.trace.repeat import smallest

ROOT = Path(__file__).resolve().parent.parent
CHARTS = ROOT / "charts"
EXAMPLES = sorted((ROOT / "examples").glob("*.stitch"))


def compiled(path: Path) -> Pattern:
    pattern, messages, _ = compile_file(str(path))
    assert pattern is not None, messages
    return pattern


STITCHES = [(path.stem, stitch) for path in EXAMPLES for stitch in compiled(path).wanted()]
IDS = [f"{example}-{stitch.name}" for example, stitch in STITCHES]


@pytest.mark.parametrize(("example", "stitch"), STITCHES, ids=IDS)
def test_the_card_in_the_gallery_has_the_stitchs_holes(example: str, stitch: Stitch) -> None:
    """Each hole is sampled in the picture itself and compared with the compiled stitch."""
    folder = CHARTS / example
    told = json.loads((folder / f"{stitch.name}-card.json").read_text("utf-8"))
    with Image.open(folder / f"{stitch.name}-card.png") as picture:
        pixels = picture.convert("L")
        (x, y), (dx, _), (_, dy) = (told["centres_px"][key] for key in ("column_1_row_1", "per_column", "per_row"))
        for row in range(told["rows"]):
            for column in range(told["columns"]):
                dark = pixels.getpixel((round(x + column * dx), round(y + row * dy)))
                held = stitch.chart.held[row % stitch.chart.height, column % stitch.chart.width]
                assert isinstance(dark, int)
                assert (dark < 128) != bool(held), (row + 1, column + 1)


@pytest.mark.parametrize(("example", "stitch"), STITCHES, ids=IDS)
def test_the_drawn_chart_traced_back_is_the_stitch(example: str, stitch: Stitch) -> None:
    path = CHARTS / example / f"{stitch.name}-chart.png"
    traced = trace(path.read_bytes(), path.name).chart
    width, height = smallest(stitch.chart.cells)
    assert traced.rows() == stitch.chart.tiled(width, height).rows()


@pytest.mark.parametrize(("example", "stitch"), STITCHES, ids=IDS)
def test_every_picture_is_there_and_has_its_sentence(example: str, stitch: Stitch) -> None:
    captions = tomllib.loads((CHARTS / "captions.toml").read_text("utf-8"))
    index = (CHARTS / "README.md").read_text("utf-8")
    for picture in ("fabric", "chart", "card"):
        assert (CHARTS / example / f"{stitch.name}-{picture}.png").is_file()
        assert f"({example}/{stitch.name}-{picture}.png)" in index
        assert captions[example][stitch.name][picture] in index


def test_the_index_has_no_dead_link() -> None:
    index = (CHARTS / "README.md").read_text("utf-8")
    headings = {heading.lower().replace(" ", "-") for heading in re.findall(r"^#+ (.+)$", index, re.MULTILINE)}
    places = headings | set(re.findall(r'<a id="([^"]+)">', index))
    for target in re.findall(r"\]\(([^)]+)\)", index):
        assert target[1:] in places if target.startswith("#") else (CHARTS / target).exists(), target


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_every_piece_is_there_for_hand_and_card(path: Path) -> None:
    for name in compiled(path).pieces:
        for machine in ("hand-standard", "card24-standard"):
            for ending in ("txt", "html"):
                assert (CHARTS / path.stem / f"{name}-piece-{machine}.{ending}").is_file()


# -- made anew --------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def maker() -> ModuleType:
    """charts/make.py, the one command that makes the gallery."""
    spec = importlib.util.spec_from_file_location("make_gallery", CHARTS / "make.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def seen(path: Path, squares: int = 24) -> np.ndarray:
    """What is to be seen in a picture from afar: its mean greys in a lattice of squares."""
    with Image.open(path) as picture:
        return np.asarray(picture.convert("L").resize((2 * squares, squares), Image.Resampling.BOX)).astype(float)


def words_of(path: Path) -> str:
    """The text of a sheet without its seal."""
    content = path.read_bytes()
    found = seal.seal_of(content)
    return (content[: found.start] if found else content).decode("utf-8").rstrip()


@pytest.mark.slow
@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_made_anew_the_gallery_says_the_same(path: Path, maker: ModuleType, tmp_path: Path) -> None:
    """Not the same bytes: the same holes, the same chart when traced, the same words, and fabric of the same looks."""
    pattern = compiled(path)
    maker.make(path, pattern, tmp_path / path.stem, smaller=False)
    made, kept = tmp_path / path.stem, CHARTS / path.stem
    leaflet = {f"{path.stem}-leaflet.{form}" for form in ("pdf", "html") if path.stem in maker.LEAFLETS}
    assert {each.name for each in made.iterdir()} | leaflet == {each.name for each in kept.iterdir()}
    for each in sorted(made.iterdir()):
        if each.name.endswith("-card.json"):
            assert json.loads(each.read_text("utf-8")) == json.loads((kept / each.name).read_text("utf-8"))
        elif each.suffix == ".txt":
            assert words_of(each) == words_of(kept / each.name), f"{each.name}: run charts/make.py"
        elif each.name.endswith("-chart.png"):
            traced = [trace((folder / each.name).read_bytes(), each.name).chart.rows() for folder in (made, kept)]
            assert traced[0] == traced[1]
        elif each.name.endswith("-fabric.png"):
            with Image.open(each) as new, Image.open(kept / each.name) as old:
                assert new.size == old.size and new.info["Description"] == old.info["Description"]
            # Their greys, wherever they lie: a repeat with two resting shapes may reach the other on another processor.
            greys, kept_greys = np.sort(seen(each), axis=None), np.sort(seen(kept / each.name), axis=None)
            assert np.abs(greys - kept_greys).mean() < 6, f"{each.name}: run charts/make.py"


def test_the_index_made_anew_is_the_index(maker: ModuleType) -> None:
    captions = tomllib.loads((CHARTS / "captions.toml").read_text("utf-8"))
    index = (CHARTS / "README.md").read_text("utf-8")
    assert maker.index({path: compiled(path) for path in EXAMPLES}, captions) == index, "run charts/make.py"


def test_the_contact_sheet_names_every_stitch_and_what_it_is_known_by() -> None:
    captions = tomllib.loads((CHARTS / "captions.toml").read_text("utf-8"))
    with Image.open(CHARTS / "contact.png") as picture:
        told = picture.info["Description"].split("; ")
    assert told[0] == f"stocking-stitch: {captions['plain']['sign']}"
    assert told[1:] == [f"{stitch.name}: {captions[example][stitch.name]['sign']}" for example, stitch in STITCHES]
    assert len(told) > 12


def test_the_gallery_is_no_burden_to_fetch() -> None:
    """Two leaflets are 2 MB of it."""
    assert sum(path.stat().st_size for path in CHARTS.rglob("*") if path.is_file()) < 17_000_000

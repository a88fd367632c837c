"""`stitchc build`: everything that applies, one page that shows it, and a reason for what does not apply."""

from __future__ import annotations

import contextlib
import io
import json
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING, Literal
from urllib.parse import unquote

import pypdfium2
import pytest
from axe_playwright_python.sync_playwright import Axe

from stitchc import files, seal
from stitchc.__main__ import run

if TYPE_CHECKING:
    from playwright.sync_api import Browser

EXAMPLES = Path(__file__).resolve().parent.parent / "examples"


class References(HTMLParser):
    """Every address a page refers to."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [value for key, value in attrs if key in ("href", "src") and value]


def build(*arguments: str) -> tuple[int, str, str]:
    """Status, standard output and standard error of a build."""
    out, said = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(said):
        status = run(["build", *arguments])
    return status, out.getvalue(), said.getvalue()


def references(page: Path) -> list[str]:
    parser = References()
    parser.feed(page.read_text("utf-8"))
    return parser.found


def unsealed(path: Path) -> bytes:
    """The bytes of a file without its seal, which also says what it was made from."""
    content = path.read_bytes()
    found = seal.seal_of(content)
    assert found is not None, path
    return content[: found.start] + content[found.end :]


def test_a_pattern_becomes_a_folder_whose_page_shows_it_all(tmp_path: Path) -> None:
    out = tmp_path / "tide"
    status, paths, said = build(str(EXAMPLES / "tide-line.stitch"), "-o", str(out), "--plain", "20x28")
    assert status == 0, said
    made = {path.name for path in out.iterdir()}
    assert {
        "index.html", "chart.json", "gauge.txt", "gauge.json", "tide-chart.svg", "tide-chart.png",
        "tide-card.png", "tide-card.pdf", "tide-card.svg", "tide-card.txt", "tide-card.json", "tide-bitmap.png",
        "tide-sheet.html", "tide-sheet.txt", "tide-sheet.json", "tide-fabric-purl.png", "tide-fabric-knit.png",
    } == made  # fmt: skip
    assert sorted(Path(line).name for line in paths.splitlines()) == sorted(made)  # each once
    linked = [unquote(reference) for reference in references(out / "index.html")]
    assert set(linked) | {"index.html", "tide-card.json"} == made
    text = (out / "index.html").read_text("utf-8")
    assert not re.search(r"(?:https?:)?//\w", text)
    assert "wider" in text and "shorter" in text
    # a second time over what the first time made
    assert build(str(EXAMPLES / "tide-line.stitch"), "-o", str(out), "--no-pictures")[0] == 0


def test_what_does_not_apply_is_named_and_the_rest_is_made(tmp_path: Path) -> None:
    file = tmp_path / "five.stitch"
    file.write_text('pattern "<b>Five & more</b>"\nstitch five\n1: K4 T\n2: K\n', "utf-8")
    out = tmp_path / "five"
    status, _, said = build(str(file), "-o", str(out), "--no-pictures")
    assert status == 0, said
    assert said.count("Left out: no hole card of `five`.") == 1, "once, whatever its forms"
    assert "5 needles wide" in said and "Try: " in said
    assert not list(out.glob("*-card.*")) and (out / "five-sheet.html").exists()
    page = (out / "index.html").read_text("utf-8")
    assert "<b>Five" not in page and "&lt;b&gt;Five &amp; more" in page
    assert "not made:" in page
    file.write_text(f"{file.read_text('utf-8')}piece band\nneedles 20\nknit five for 8 rows\n", "utf-8")
    status, _, said = build(str(file), "-o", str(out), "--no-pictures")
    assert status == 0 and said.count("M301") == 1, "once for all that it keeps from being made"
    assert "Left out: no hole card of `five` and no piece for card24-standard of `band`." in said


def test_an_error_stops_the_build_and_anyway_says_so(tmp_path: Path) -> None:
    file = tmp_path / "never.stitch"
    file.write_text("stitch never\n1: K T\n", "utf-8")
    out = tmp_path / "never"
    status, _, said = build(str(file), "-o", str(out), "--no-pictures")
    assert status == 1 and "K201" in said
    assert not out.exists()
    status, _, said = build(str(file), "-o", str(out), "--no-pictures", "--anyway")
    assert status == 0, said
    assert "never knits" in (out / "index.html").read_text("utf-8")
    for wrong in ("1: K T", "1: K P"):  # what can't be knitted, what can't be read
        file.write_text(f"stitch never\n{wrong}\n", "utf-8")
        status, _, said = build(str(file), "-o", str(out), "--no-pictures")
        assert status == 1 and said.endswith(f"Nothing was changed: `{out}` still holds what was made before.\n")


def test_letters_that_the_font_lacks_are_said_once(tmp_path: Path) -> None:
    file = tmp_path / "wave.stitch"
    file.write_text('pattern "波"\nstitch 潮\n1: K T\n2: K\n', "utf-8")
    status, _, said = build(str(file), "-o", str(tmp_path / "out"), "--no-pictures")
    assert status == 0 and said.count("font has no") == 1
    assert "`波`, `潮`; there the letters stand as \\u{…}" in said


def test_somebody_elses_page_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "index.html").write_text("mine", "utf-8")
    status, _, said = build(str(EXAMPLES / "tide-line.stitch"), "-o", str(tmp_path), "--no-pictures")
    assert status == 3 and "F503" in said
    assert (tmp_path / "index.html").read_text("utf-8") == "mine"
    assert [path.name for path in tmp_path.iterdir()] == ["index.html"]


def test_a_piece_is_built_for_each_class_of_machine(tmp_path: Path) -> None:
    out = tmp_path / "cowl"
    status, _, said = build(str(EXAMPLES / "cowl.stitch"), "-o", str(out), "--no-pictures")
    assert status == 0, said
    for machine in ("hand-standard", "card24-standard", "bitmap-standard"):
        document = json.loads((out / f"cowl-piece-{machine}.json").read_text("utf-8"))
        assert document["format"] == "stitchc-piece/1"
        assert (out / f"cowl-piece-{machine}.html").exists()


@pytest.mark.parametrize(("example", "times"), [("tide-line", 2), ("sampler-piece", 1)])
def test_standard_input_makes_the_same_as_the_file(
    example: str, times: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it includes is looked for where one stands; only the page says where the pattern came from."""
    text = (EXAMPLES / f"{example}.stitch").read_bytes()
    monkeypatch.chdir(EXAMPLES)
    options = ("--no-pictures", "--plain", "20x28", "--machine", "hand-fine")
    assert build(f"{example}.stitch", "-o", str(tmp_path / "named"), *options)[0] == 0
    for _ in range(times):  # the second time over the first
        monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(text)))
        status, _, said = build("-", "-o", str(tmp_path / "given"), *options)
        assert status == 0, said
    for path in (tmp_path / "given").iterdir():  # a further build may write over each, of whatever kind it is
        files.refuse_foreign(path, source=seal.source_of(path.read_bytes()))
    named, given = ({p.name: unsealed(p) for p in (tmp_path / name).iterdir()} for name in ("named", "given"))
    assert named.keys() == given.keys() and len(given) > 8
    differ = {name for name in named if named[name] != given[name]}
    assert differ <= {"index.html"}


def test_standard_input_is_not_watched(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(b"stitch a\n1: K T\n2: K\n")))
    status, _, said = build("-", "-o", str(tmp_path / "out"), "--watch")
    assert status == 2 and "--watch needs the names of files" in said


@pytest.mark.parametrize("arguments", [[], [str(EXAMPLES / "tide-line.stitch"), "--machine", "no-such"]])
def test_bad_calls(arguments: list[str], tmp_path: Path) -> None:
    status, _, said = build(*arguments, "-o", str(tmp_path / "out"))
    assert status in (1, 2)
    assert said.strip()
    assert not (tmp_path / "out").exists()


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A pattern with two stitches, a piece, and a title that runs from right to left."""
    folder = tmp_path_factory.mktemp("built")
    file = folder / "tide.stitch"
    file.write_text(
        'pattern "גאות ושפל"\nnote "Worn purl side out."\nyarn oat colour "#cfc3ab" tex 220\n'
        "stitch ripple\n1: K T\n2: K\nstitch firm\n1: K S\n2: S K\n"
        "gauge plain 20 stitches 28 rows per 10 cm\npiece strip\nwidth 20 cm\nknit ripple for 10 cm in oat\n",
        "utf-8",
    )
    status, _, said = build(str(file), "-o", str(folder / "out"))
    assert status == 0, said
    return folder / "out" / "index.html"


def test_the_page_names_every_yarn_as_the_instructions_do(tmp_path: Path) -> None:
    """Also the yarn of rows that name none, and the same figures: less would leave the knitter short."""
    file, out = tmp_path / "bands.stitch", tmp_path / "out"
    file.write_text(
        'yarn sand "oat" tex 210\nyarn kelp tex 300\nstitch bands\n    1, 2 in sand: K T\n    3-12: K\n'
        "    13, 14 in kelp: K\ngauge plain 20 stitches 28 rows per 10 cm\n"
        "piece cowl\n    width 30 cm\n    knit bands for 140 rows\n",
        encoding="utf-8",
    )
    status, _, said = build(str(file), "-o", str(out), "--machine", "hand-standard", "--no-pictures")
    assert status == 0, said
    text = " ".join((out / "cowl-piece-hand-standard.txt").read_text("utf-8").split())
    told = re.findall(r"(sand|kelp|the main yarn) [\d.]+ \([\d.]+ to [\d.]+\) .*? ([\d,]+ m)(?:, ([\d,]+ g))?", text)
    assert sorted(name for name, *_ in told) == ["kelp", "sand", "the main yarn"]
    page = (out / "index.html").read_text("utf-8")
    found = re.findall(r"have ([^;<]*?) of ([^;<.]*)", page)
    assert found == [(f"{metres} or {grams}" if grams else metres, name) for name, metres, grams in told]


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 800, 390])
def test_the_page_in_a_browser(browser: Browser, built: Path, width: int, scheme: Literal["light", "dark"]) -> None:
    """Opened from disk: nothing is fetched, every picture is there, nothing runs over the edge, axe finds nothing."""
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(built.as_uri())
    assert all(url.startswith("file:") for url in asked)
    assert page.evaluate("[...document.images].every(image => image.complete && image.naturalWidth > 0)")
    assert page.evaluate("document.images.length") == 12, "six pictures of stitches, the cards, and three to jump by"
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate("getComputedStyle(document.querySelector('h1')).direction") == "rtl"
    assert "about 20 by 10 cm; have " in page.inner_text("main"), "what the piece comes to"
    for anchor in page.query_selector_all("nav a"):
        assert page.query_selector(anchor.get_attribute("href") or "") is not None
    if (width, scheme) in ((1280, "light"), (390, "dark")):  # both layouts and both colours
        rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]}
        results = Axe().run(page, options={**rules, "rules": {"color-contrast-enhanced": {"enabled": True}}})
        assert results.violations_count == 0, results.generate_report()
    page.close()


@pytest.mark.browser
def test_the_page_on_paper(browser: Browser, built: Path) -> None:
    """What is of no use on paper is left out, and no stitch is torn over two pages."""
    page = browser.new_page()
    page.goto(built.as_uri())
    page.emulate_media(media="print")
    assert not page.is_visible("nav") and not page.is_visible("main dl")
    assert page.is_visible("text=Chart, purl side") and not page.is_visible(".card")
    content = page.pdf(format="A4")
    page.close()
    with pypdfium2.PdfDocument(content) as document:
        texts = [document[index].get_textpage().get_text_range() for index in range(len(document))]
    assert len(texts) <= 3
    for name in ("ripple", "firm"):
        assert any(f"{name}\r\n2 needles" in text and "Knit side" in text for text in texts), texts


def test_a_large_stitch_is_built_with_what_can_be_made_of_it(tmp_path: Path) -> None:
    """200 needles by 360 rows for electronic patterning: the chart is drawn with fewer pixels, and nothing is lost."""
    rows = "".join(f"{row}: {('K T', 'K3 T', 'K4 T')[row % 3]}\n" for row in range(1, 361))
    (tmp_path / "wall.stitch").write_text(f"stitch wall over 200\n{rows}", "utf-8")
    out = tmp_path / "wall"
    options = ("--machine", "bitmap-standard", "--no-pictures", "--anyway")
    status, _, said = build(str(tmp_path / "wall.stitch"), "-o", str(out), *options)
    assert status == 0, said
    made = {path.name for path in out.iterdir()}
    assert {"index.html", "wall-chart.svg", "wall-chart.png", "wall-bitmap.png", "chart.json", "gauge.txt"} <= made


def test_what_is_too_large_is_left_out_with_a_reason(tmp_path: Path) -> None:
    (tmp_path / "sail.stitch").write_text("stitch sail\n1: K T\n2: K\nstitch sails = sail across 100 up 500\n", "utf-8")
    out = tmp_path / "sail"
    options = ("--machine", "bitmap-standard", "--no-pictures")
    status, _, said = build(str(tmp_path / "sail.stitch"), "-o", str(out), *options)
    assert status == 0, said
    assert said.count("Left out: no drawn chart of `sails`.") == 1 and "D701" in said, said
    assert (out / "sails-bitmap.png").is_file() and (out / "index.html").is_file()
    assert "not made:" in (out / "index.html").read_text("utf-8")


@pytest.mark.parametrize(
    ("row", "signs"),
    [
        ("K T", "; a dot is a tuck"),
        ("K S", "; an empty cell is a slip"),
        ("K T K S", "; a dot is a tuck; an empty cell is a slip"),
        ("K", ""),
    ],
)
def test_the_page_explains_the_signs_that_are_there(row: str, signs: str) -> None:
    from stitchc.gallery import index_page
    from stitchc.gallery.build import Made
    from stitchc.notation import compile_text

    pattern = compile_text(f"stitch a\n1: {row}\n2: K\n").pattern
    assert pattern is not None
    made = [
        Made("drawn chart", "a", ("a.png",)),
        Made("hole card", "a", ("c.png",)),
    ]
    page = index_page(pattern, tuple(pattern.stitches.values()), made, (), {}, {}, ())
    assert f"is knitted first{signs}</figcaption>" in page
    assert ("a dot is a hole to punch, not a tuck" in page) == ("dot" in signs)

"""Documents as PDF, opened with another library: bookmarks, language, order of reading, a box for every row."""

from __future__ import annotations

import itertools
import re
from pathlib import Path
from typing import Any

import pypdfium2
import pytest

from stitchc.__main__ import run
from stitchc.bed import Needles
from stitchc.document import ByHand, Document, Heading, Lines, Listing, Part, PassRow, Rows, Step, Table, Terms, pdf
from stitchc.document.pdf import to_pdf
from stitchc.document.text import to_text
from stitchc.machines import load
from stitchc.notation import compile_file, compile_text
from stitchc.options import PieceOptions, SheetOptions
from stitchc.piece.product import plan_piece
from stitchc.sheet import stitch_sheet
from stitchc.sheet.product import make_sheet
from tests.document.pages import documents, shares

EXAMPLES = Path(__file__).parents[2] / "examples"


def opened(content: bytes) -> tuple[pypdfium2.PdfDocument, list[str]]:
    document = pypdfium2.PdfDocument(content)
    return document, [page.get_textpage().get_text_range().replace("\r\n", "\n") for page in document]


def boxes(text: str) -> list[int]:
    """The numbers that stand in boxes: lines of numbers alone."""
    return sorted(int(number) for line in re.findall(r"^[\d ]+$", text, re.MULTILINE) for number in line.split())


def sheet(rows: int, machine: str = "hand-standard", needles: int = 60) -> Document:
    pattern = compile_file(str(EXAMPLES / "cowl.stitch")).pattern
    assert pattern is not None
    return stitch_sheet(pattern, pattern.stitches["drift"], load(machine), Needles.centred(needles), rows).document


def test_the_pdf_says_what_the_text_says_in_the_same_order() -> None:
    row = PassRow(1, "right to left", (Step("rest", "Knit."),))
    entries = (Heading("Band", ("Tension 5.",)), row, ByHand("Fold it."))
    document = Document(
        "Tide <&> ○",
        "plan",
        (("Needles", "L20 to R20"),),
        (
            Part("Take care", (Listing(("Mind the hooks.",)),), boxed=True),
            Part("Size", ("About 8 cm.", Terms((("Plain", "every needle knits"),)), Lines(("gauge plain 20",)))),
            Part("Rows to punch", (Table(("Row", "Holes"), (("1", "3"), ("2", "24")), "Punch these."),)),
        ),
        Rows(entries, Needles.centred(4), "right", ("Cast on.",), total="In all 1 row."),
    )
    content = to_pdf(document)
    assert content == to_pdf(document), "the same document gives the same bytes"
    assert b"/Lang (en)" in content and b"CreationDate" not in content
    pdf, (page,) = opened(content)
    read, place = " ".join(page.split()), 0
    wanted = ["Tide <&> ○", "L20 to R20", "Take care", "Mind the hooks.", "About 8 cm.", "every needle knits",
              "gauge plain 20", "Punch these.", "24", "Cast on.", "In all 1 row.", "Band", "Tension 5.",
              "right to left", "Knit.", "Fold it.", "Page 1 of 1"]  # fmt: skip
    for words in wanted:
        place = read.index(words, place)
    told = [item.get_title() for item in pdf.get_toc()]
    assert told == ["Tide <&> ○", "Size", "Rows to punch", "Before row 1", "Row by row", "Band"]
    text = " ".join(to_text(document).split())
    assert all(words in text for words in wanted[:-1])


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_a_repeat_has_a_box_for_every_row_under_its_head(page: str) -> None:
    pdf, texts = opened(to_pdf(sheet(202), page=page))  # type: ignore[arg-type]
    assert pdf[0].get_size() == pytest.approx({"a4": (595.28, 841.89), "letter": (612, 792)}[page], abs=0.1)
    assert sum("these 4 rows 50 times, then" in " ".join(text.split()) for text in texts) == 1, "on one page"
    assert boxes("\n".join(texts).split("Row by row")[1]) == list(range(1, 203))
    assert all(f"Page {at} of {len(texts)}" in text for at, text in enumerate(texts, start=1))


def test_boxes_that_fill_more_than_a_page_go_on_on_the_next() -> None:
    _, texts = opened(to_pdf(sheet(990, "card24-standard")))
    assert len(texts) > 2 and boxes("\n".join(texts).split("Row by row")[1]) == list(range(1, 991))


def test_every_row_is_a_line_of_its_own_where_that_is_asked_for() -> None:
    _, texts = opened(to_pdf(sheet(60, needles=100), every_row=True))
    found = re.findall(r"^(\d+)\n?\s*[←→] (?:right to left|left to right)", "\n".join(texts), re.MULTILINE)
    assert list(map(int, found)) == list(range(1, 61))


@pytest.mark.parametrize("machine", ["hand-standard", "card24-standard"])
@pytest.mark.parametrize("sizes", ["18", "40,46", None])
def test_pieces_are_documents_too(machine: str, sizes: str | None) -> None:
    pattern = compile_file(str(EXAMPLES / "wrist-warmers.stitch")).pattern
    assert pattern is not None
    (file,) = plan_piece(pattern, load(machine), PieceOptions(sizes=sizes, form="pdf")).files
    assert file.name == "wrist-warmers-wrist-warmer-piece.pdf"
    pdf, texts = opened(file.content)
    whole = "\n".join(texts)
    assert "Mark both edges: the thumb ends here" in " ".join(whole.split())
    assert "long in all, from the bottom up" in whole and ("The first size, to scale." in whole) == (sizes != "18")
    assert [item.get_title() for item in pdf.get_toc() if item.get_title().startswith("Part ")]


def test_the_drawn_repeat_has_words_in_its_place() -> None:
    """PDF 1.7 (ISO 32000-1), 14.7 and 14.9.3: a structure tree, whose figures have alternate descriptions."""
    content = to_pdf(sheet(60))
    assert b"/StructTreeRoot" in content and b"/Alt (The repeat of " in content
    pages = len(pypdfium2.PdfDocument(content))
    assert content.count(b"/StructParents") == pages


def test_tables_and_lists_are_told_as_such() -> None:
    """PDF 1.7 (ISO 32000-1), 14.8.4.3: a table of rows of cells, a list of items, also where they go over a page."""
    table = Table(("Row", "Holes"), tuple((str(row), "3") for row in range(1, 91)), "Punch these.")
    content = to_pdf(Document("Tide", "list", parts=(Part("Rows", (Listing(("One.", "Two.")), table)),)))
    pages = len(pypdfium2.PdfDocument(content))
    found = {kind: len(re.findall(rb"/S /%s\b" % kind, content)) for kind in (b"Table", b"TR", b"TD", b"L", b"LBody")}
    assert pages > 1 and found == {b"Table": 1, b"TR": 90 + pages, b"TD": 180, b"L": 1, b"LBody": 2}, (
        "a head on every page"
    )


@pytest.mark.parametrize(
    "example", sorted(path.stem for path in EXAMPLES.glob("*.stitch") if "\npiece " in path.read_text())
)
def test_no_page_of_a_piece_is_half_empty_or_has_only_its_last_lines(example: str) -> None:
    for name, content in documents(("piece",), example):
        used = shares(content)
        assert min(used[:-1]) > 0.64 and used[-1] > 0.2, (name, used)


def page_by_page(example: str, **options: str) -> list[tuple[list[str], float]]:
    """Of each page the lines in order, without its foot, and the share of it that is filled down to the last one."""
    pattern = compile_file(str(EXAMPLES / f"{example}.stitch")).pattern
    assert pattern is not None
    (file,) = plan_piece(pattern, load("hand-standard"), PieceOptions(form="pdf", **options)).files  # type: ignore[arg-type]
    pages = []
    for page in pypdfium2.PdfDocument(file.content):
        text, height = page.get_textpage(), page.get_height()
        boxes = (text.get_rect(at) for at in range(text.count_rects()))
        lowest = min(box[1] for box in boxes if box[1] > 42)  # the margin, in which the foot stands, is 42.5 points
        lines = [line for line in text.get_text_range().replace("\r\n", "\n").split("\n") if line.strip()]
        pages.append(
            ([line for line in lines if "made by stitchc" not in line and "Page " not in line], 1 - lowest / height)
        )
    return pages


PIECES = [
    ("cowl", {}),
    ("cowl", {"page": "letter"}),
    ("wrist-warmers", {"sizes": "16,18,20"}),
    ("sampler-piece", {}),
    ("cushion", {}),
]


@pytest.mark.parametrize(("example", "options"), PIECES)
def test_headings_stay_with_their_rows_and_a_page_ends_early_before_a_whole_repeat_alone(
    example: str, options: dict[str, str]
) -> None:
    pages = page_by_page(example, **options)
    for (lines, filled), (following, _) in itertools.pairwise(pages):
        assert filled > 0.6 or any("Tick each row" in line for line in following[:8]), lines[-3:]
        assert not re.match(r"Part \d|Row by row|The carriage stands|Tension|.*Tick each row", lines[-1]), lines[-3:]
        assert "in work" not in lines[0], "the legend without the text that it belongs to"
    assert len(pages[-1][0]) > 3, "the last lines have no page of their own"
    whole = [line for lines, _ in pages for line in lines]
    assert not any("`" in line for line in whole)
    assert "…" not in whole, "a row's number is on one line"


@pytest.mark.parametrize(("example", "options"), PIECES)
def test_a_repeat_with_boxes_is_on_one_page(example: str, options: dict[str, str]) -> None:
    assert not any("continued" in line for lines, _ in page_by_page(example, **options) for line in lines)


def test_a_block_of_more_than_a_page_repeats_its_head() -> None:
    content = to_pdf(sheet(1200))  # 300 times through four rows, divided between two times
    heads = [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(content)]
    assert any("continued. Tick each row." in "".join(head.split("\n")[:3]) for head in heads)


@pytest.mark.parametrize("page", ["a4", "letter"])
@pytest.mark.parametrize("title", ["A long title of many words " * 8, "גאות ושפל " * 30, "Tide"])
def test_the_foot_stays_on_the_paper_and_off_the_number_of_the_page(title: str, page: str) -> None:
    (sheet,) = pypdfium2.PdfDocument(to_pdf(Document(title.strip(), "list"), page=page))  # type: ignore[arg-type]
    text = sheet.get_textpage()
    feet = sorted(box for box in map(text.get_rect, range(text.count_rects())) if box[3] < 42)
    assert max(box[2] for box in feet) <= sheet.get_width() - 42
    assert all(one[2] < two[0] for one, two in itertools.pairwise(feet))
    told = text.get_text_range()
    assert all(word in told for word in ("made", "stitchc", "Page")) and ("…" in told or title[0] != "A")


def test_no_word_of_a_table_is_broken_where_there_is_room_for_all() -> None:
    rows = (("38-40", "(K T)x4 " * 12, "knit 1, tuck 1, these 2 needles 4 times; " * 4, "plain", "undyed"),)
    table = Table(("Row", "Letters", "In words", "Carriage", "Description"), rows)
    _, (page,) = opened(to_pdf(Document("Tide", "list", parts=(Part("Rows", (table,)),))))
    for word in (*table.head[3:], "38-40", "undyed", "needles"):
        assert re.search(rf"(?<!\w){word}(?!\w)", page), word


def test_a_repeat_that_a_page_holds_is_not_divided() -> None:
    """Eight rows by hand with two yarns and as many strips: in smaller print than a shorter repeat, on one page."""
    text = (
        "yarn dark tex 400\nyarn light tex 400\ngauge plain 20 stitches 28 rows per 10 cm\nstitch pebble over 6\n"
        "    1-2 in dark: K2 S K2 S\n    3-4 in light: K5 S\n    5-6 in dark: S K2 S K2\n    7-8 in light: K2 S K3\n"
        "piece cushion\n    width 40 cm\n    knit plain for 6 rows in dark\n    knit pebble for 176 rows\n"
        "    knit plain for 6 rows in dark\n"
    )
    pattern = compile_text(text).pattern
    assert pattern is not None
    (file,) = plan_piece(pattern, load("hand-standard"), PieceOptions(form="pdf")).files
    _, texts = opened(file.content)
    (page,) = [text for text in texts if "these 8 rows 21 times" in " ".join(text.split())]
    assert set(range(9, 182)) <= set(boxes(page)) and "continued" not in "".join(texts)


def test_a_repeat_that_nearly_fills_a_page_leaves_room_for_the_last_lines() -> None:
    """On letter paper the repeat alone would take all of a page, and the word on casting off another."""
    for name, content in documents(("sheet",), "lighthouse"):
        assert shares(content)[-1] > 0.2, name


NET = """stitch net over 23
    1: T K K T K S K K K T K K T K K K S K K K T K K
    2, 4, 6: K
    3: K S K K T K K T K K K K S K K T K K T K K K K
    5: K K T K K K K K S S K K T K K K T K K T K K S
"""


@pytest.mark.parametrize("page", ["a4", "letter"])
@pytest.mark.parametrize("needles", [100, 150, 170, 200])
def test_nothing_is_printed_over_the_foot_of_a_page(needles: int, page: str) -> None:
    """A repeat that a page holds, but not together with the heading over it."""
    pattern = compile_text(NET).pattern
    assert pattern is not None
    bed = Needles.centred(needles)
    sheet = stitch_sheet(pattern, pattern.stitches["net"], load("hand-standard"), bed, 60).document
    foot = (f"{sheet.in_full} · made by stitchc", "Page")
    printed: list[str] = []
    for each in pypdfium2.PdfDocument(to_pdf(sheet, page=page)):  # type: ignore[arg-type]
        text = each.get_textpage()
        printed += re.findall(r"\d+", text.get_text_range())
        rects = (text.get_rect(at) for at in range(text.count_rects()))
        low = [text.get_text_bounded(*rect) for rect in rects if rect[1] < 42]  # a margin is 42.5 points
        assert len(low) == 2 and all(words.startswith(foot) for words in low), low
    assert set(range(1, 61)) <= set(map(int, printed))


@pytest.mark.parametrize("command", ["sheet", "piece", "leaflet"])
def test_letters_that_the_font_of_a_pdf_lacks_are_told(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "x.stitch"
    piece = "gauge plain 20 stitches 28 rows per 10 cm\npiece cowl\n width 20 cm\n knit tide for 9 cm\n"
    path.write_text(f'pattern "Tide 麦"\nstitch tide\n 1: K T\n 2: K\n{piece}', "utf-8")
    for form, told in (("pdf", 1), ("html", 0)):
        assert run([command, str(path), "--format", form, "-o", str(tmp_path / f"made.{form}")]) == 0
        assert capsys.readouterr().err.count("The PDF's font has no `麦`; there the letters stand as") == told


def test_the_contents_are_on_one_page() -> None:
    """There is room for some of their lines under the 30 before them, and for all of them on the next page."""
    chapters = tuple(Document(f"Chapter {number}", "k", parts=(Part("", ("Words.",)),)) for number in range(1, 21))
    lines = Listing(tuple(f"Line {number}." for number in range(1, 31)))
    _, texts = opened(to_pdf(Document("Whole", "k", parts=(Part("", (lines,)),), chapters=chapters)))
    (page,) = [text for text in texts if "Contents" in text]
    assert all(re.search(rf"Chapter {number} \d+\b", " ".join(page.split())) for number in range(1, 21))


@pytest.mark.parametrize("times", [3, 12, 20])
def test_the_boxes_of_a_repeat_higher_than_a_page_stand_at_one_place(
    times: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beside the words in every row, or under them in every row, as in a repeat that a page holds."""
    cells = ["K" if row % 2 else f"K{1 + row * 5 % 9} T K{10 - row * 5 % 9}" for row in range(60)]
    pattern = compile_text("stitch tall over 12\n" + "".join(f"{n}: {row}\n" for n, row in enumerate(cells, 1))).pattern
    assert pattern is not None
    kinds: list[set[str]] = []
    whole = pdf._Repeat.in_lines

    def seen(repeat: pdf._Repeat) -> Any:
        made = whole(repeat)
        kinds.append({type(row).__name__ for row in made.flowable.content[1:]})
        return made

    monkeypatch.setattr(pdf._Repeat, "in_lines", seen)
    make_sheet(pattern, load("hand-standard"), SheetOptions(rows=60 * times, form="pdf"))
    assert [len(each) for each in kinds] == [1]

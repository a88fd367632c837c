"""The page of a piece in a real browser: followed by keys through its sections, and printed."""

from __future__ import annotations

import re
from pathlib import Path

import pypdfium2
import pytest
from click.testing import CliRunner
from playwright.sync_api import Browser

from stitchc.cli.products import piece as command

EXAMPLES = Path(__file__).parents[2] / "examples"

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def page_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("page") / "warmers.html"
    said = CliRunner().invoke(command, [str(EXAMPLES / "wrist-warmers.stitch"), "--format", "html", "-o", str(target)])
    assert said.exit_code == 0, said.stderr
    return target


def test_the_rows_are_followed_through_what_is_done_by_hand(browser: Browser, page_file: Path) -> None:
    page = browser.new_page(viewport={"width": 400, "height": 800})
    page.clock.install()
    page.goto(page_file.as_uri())
    seen = []
    for _ in range(24):
        page.clock.run_for(500)  # two taps at once are one
        page.keyboard.press("Space")
        seen.append(page.locator("#number").inner_text())
        if seen[-1] == "Row 1":
            part = page.locator("#part").inner_text()
            assert "Part 1 of" in part and "Tension: 4." in part
        if seen[-1] == "Row 2":
            assert "Tension" not in page.locator("#part").inner_text()
    # Cast on, set the counter, 16 rows, turn the hem up, and on.
    assert seen[:3] == ["To do", "To do", "Row 1"]
    assert seen[17:20] == ["Row 16", "To do", "Row 17"]
    page.close()


def test_the_print_holds_every_row_once_and_the_outline(browser: Browser, page_file: Path, tmp_path: Path) -> None:
    page = browser.new_page()
    page.goto(page_file.as_uri())
    target = tmp_path / "warmers.pdf"
    boxes = page.locator("#paper [data-r]").evaluate_all("all => all.map(box => box.dataset.r)")
    page.pdf(path=str(target), format="A4", prefer_css_page_size=True)
    page.close()
    with pypdfium2.PdfDocument(target) as document:
        texts = [sheet.get_textpage().get_text_range() for sheet in document]
    whole = "\n".join(texts)
    assert "Part 1 of" in whole and "Mark both edges: the thumb ends here" in whole
    assert "long in all, from the bottom up" in texts[0] + texts[1]
    for words in ("Size", "Rounding", "Yarn", "Gauge", "Cautions", "Before row 1"):
        assert words in whole
    assert len(texts) <= 8, "repeated stretches are printed once"
    assert sorted(int(row) for row in boxes) == list(range(1, 88)), "a box for every row, once"
    for row in boxes:
        assert re.search(rf"(?<!\d){row}(?!\d)", whole)


def test_each_step_shows_its_own_needles(browser: Browser, tmp_path: Path) -> None:
    """Stitches moved to a neighbour, and needles brought out for the same row, are steps with drawings of their own."""
    target = tmp_path / "lace.html"
    said = CliRunner().invoke(command, [str(EXAMPLES / "tuck-lace.stitch"), "--format", "html", "-o", str(target)])
    assert said.exit_code == 0, said.stderr
    page = browser.new_page()
    page.goto(target.as_uri())
    page.fill("#jump-row", "9")
    page.keyboard.press("Enter")
    drawn = []
    for heading, words in (("Before row 9", "Move the stitches of every 3rd needle from L46"), ("Row 9", "Bring out")):
        assert page.locator("#number").inner_text() == heading
        assert words in page.locator("#steps").inner_text()
        drawn.append(page.locator("#strip use").get_attribute("href"))
        page.click("#on")
        page.wait_for_timeout(450)
    printed = page.locator("#paper [data-r='9'] use").evaluate_all("all => all.map(one => one.getAttribute('href'))")
    page.close()
    assert drawn[0] != drawn[1] and printed == drawn


def test_the_second_of_two_is_begun_where_the_first_ends(browser: Browser, page_file: Path) -> None:
    """The pattern says `make 2`: the second is knitted from its cast-on, and has rows and notes of its own."""
    page = browser.new_page()
    page.goto(page_file.as_uri())
    state = lambda: page.locator("#state li").first.inner_text()  # noqa: E731
    assert state() == "piece 1 of 2"
    page.fill("#note", "the first")
    page.fill("#jump-row", "87")
    page.keyboard.press("Enter")
    for _ in range(9):
        if page.locator("#number").inner_text() == "Done":
            break
        page.click("#on")
        page.wait_for_timeout(450)
    assert page.locator("#on").inner_text() == "Begin piece 2 of 2"
    page.click("#on")
    assert page.locator("#number").inner_text() == "Before row 1" and state() == "piece 2 of 2"
    assert page.locator("#done").inner_text().startswith("0 rows done, 87 left") and page.input_value("#note") == ""
    page.wait_for_timeout(450)
    page.click("#on")
    assert (
        "Cast on" in page.locator("#steps").inner_text() and "row counter to 000" in page.locator("#next").inner_text()
    )
    page.fill("#jump-row", "5")
    page.keyboard.press("Enter")
    assert page.locator("#number").inner_text() == "Row 5" and state() == "piece 2 of 2"
    assert page.locator("#done").inner_text().startswith("4 rows done")
    page.reload()
    assert page.locator("#number").inner_text() == "Row 5" and state() == "piece 2 of 2"
    page.click("a[href='#rows']")
    assert page.locator("#rows tr.ticked[id]").count() == 4
    page.click("#rows a[href='#row-9']")
    assert page.locator("#number").inner_text() == "Row 9" and state() == "piece 2 of 2"
    page.fill("#jump-row", "87")
    page.keyboard.press("Enter")
    while page.is_enabled("#on"):
        page.click("#on")
        page.wait_for_timeout(450)
    assert page.locator("#number").inner_text() == "Done" and page.locator("#on").inner_text() == "Done, next"
    page.close()


def test_putting_in_the_card_is_a_thing_to_do(browser: Browser, tmp_path: Path) -> None:
    """A step of its own, worded as the card itself is: it is locked by its START line, not by its row 1."""
    target = tmp_path / "card.html"
    how = ["--machine", "card24-standard", "--format", "html", "-o", str(target)]
    said = CliRunner().invoke(command, [str(EXAMPLES / "wrist-warmers.stitch"), *how])
    assert said.exit_code == 0, said.stderr
    page = browser.new_page()
    page.goto(target.as_uri())
    for row, words in ((18, "Put in the card of posts and"), (51, "Set the card back and")):
        page.fill("#jump-row", str(row))
        page.keyboard.press("Enter")
        for _ in range(3):
            page.click("#on")
            page.wait_for_timeout(450)
            if "card" in page.locator("#steps").inner_text():
                break
        assert page.locator("#number").inner_text() == "To do"
        assert page.locator("#steps").inner_text() == f"{words} lock it with its START line at eye level."
        assert "card" not in page.locator("#part").inner_text()
    page.close()


def test_half_way_the_page_begins_where_the_knitter_stands(browser: Browser, tmp_path: Path) -> None:
    target, paper = tmp_path / "rest.html", tmp_path / "rest.pdf"
    measured = ["--so-far", "drift 30 rows 6.6 cm", "--format", "html", "-o", str(target)]
    said = CliRunner().invoke(command, [str(EXAMPLES / "cowl.stitch"), *measured])
    assert said.exit_code == 0, said.stderr
    page = browser.new_page(viewport={"width": 400, "height": 800})
    page.goto(target.as_uri())
    assert page.locator("#number").inner_text() == "Before row 35"
    assert "The row counter stands at 034 and the carriage at the right" in page.locator("#steps").inner_text()
    assert page.locator("#done").inner_text().startswith("34 rows done, 234 left")
    assert page.locator("#next").inner_text().startswith("Next: Part 2 of 3: drift")
    assert page.locator("#on").inner_text() == "Ready, row 35"
    page.click("#on")
    assert page.locator("#number").inner_text() == "Row 35"
    assert page.locator("#part").inner_text().endswith("Go on with row 35.")
    page.fill("#jump-row", "264")
    page.keyboard.press("Enter")
    assert page.locator("#done").inner_text().startswith("263 rows done, 5 left")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    ticked = page.locator("#paper .ticked").evaluate_all("all => all.map(box => Number(box.dataset.r))")
    assert sorted(ticked) == list(range(35, 264))
    page.pdf(path=str(paper), format="A4", prefer_css_page_size=True)
    page.close()
    with pypdfium2.PdfDocument(paper) as document:
        whole = "\n".join(sheet.get_textpage().get_text_range() for sheet in document)
    flat = " ".join(whole.split())
    assert "Before row 35" in whole and "carriage at the right before row 35" in flat
    assert "row counter to 000" not in flat and "Cast on with waste yarn" not in flat and "Before row 1 " not in flat
    assert "234 rows still to knit" in flat and "Yarn still needed" in whole


def test_a_whole_cowl_is_four_pages(browser: Browser, tmp_path: Path) -> None:
    """As README says of the example, whose 264 rows are printed as blocks."""
    target, paper = tmp_path / "cowl.html", tmp_path / "cowl.pdf"
    said = CliRunner().invoke(command, [str(EXAMPLES / "cowl.stitch"), "--format", "html", "-o", str(target)])
    assert said.exit_code == 0, said.stderr
    page = browser.new_page()
    page.goto(target.as_uri())
    page.pdf(path=str(paper), format="A4", prefer_css_page_size=True)
    page.close()
    with pypdfium2.PdfDocument(paper) as document:
        assert len(document) == 4


def test_with_a_card_each_step_is_one_row(browser: Browser, tmp_path: Path) -> None:
    """Whoever does what a step says has knitted as many rows as the page counts when she goes on."""
    target = tmp_path / "cowl.html"
    how = ["--machine", "card24-standard", "--format", "html", "-o", str(target)]
    result = CliRunner().invoke(command, [str(EXAMPLES / "cowl.stitch"), *how])
    assert result.exit_code == 0, result.stderr
    page = browser.new_page()
    page.clock.install()
    page.goto(target.as_uri())
    knitted, seen = 0, {}
    while knitted < 12:
        page.clock.run_for(500)
        page.keyboard.press("Space")
        heading, words = page.locator("#number").inner_text(), page.locator("#steps").inner_text()
        if heading.startswith("Row "):
            assert page.locator("#done").inner_text().startswith(f"{knitted} row"), heading
            assert "until" not in words
            knitted += int(match[1]) if (match := re.search(r"nit (\d+) rows?", words)) else 1
            seen[heading] = words.split("\n")
        assert "until the row counter" not in page.locator("#next").inner_text()
    assert seen["Row 2"] == ["All needles knit."]
    assert "Release the card and knit 1 row." in seen["Row 5"]
    page.emulate_media(media="print")
    assert "Release the card and knit until the row counter shows" in page.locator("#paper").inner_text()
    page.close()

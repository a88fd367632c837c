"""Three people at the live page, each from an empty folder, and what they hold in their hands afterwards."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from playwright.sync_api import Page, expect

from tests.live.conftest import TIDE, Start, Visit, expect_chart, open_in_a_tab, text_of

pytestmark = pytest.mark.browser


def taken(page: Page, name: str, folder: Path) -> bytes:
    """What a button saves."""
    with page.expect_download() as download:
        page.get_by_role("button", name=name, exact=True).click()
    target = folder / "taken"
    download.value.save_as(target)
    return target.read_bytes()


def holes_of(pdf: bytes, card: dict[str, object]) -> list[list[bool]]:
    """Where a page is dark at the centres of the card's columns and rows; rendered by pdfium, an independent reader."""
    dpi = 200
    page = np.asarray(pypdfium2.PdfDocument(pdf)[0].render(scale=dpi / 72).to_pil().convert("L"))
    centres = card["centres_px"]
    assert isinstance(centres, dict)
    (x, y), (dx, _), (_, dy) = (
        np.array(centres[key]) * dpi / 600 for key in ("column_1_row_1", "per_column", "per_row")
    )
    rows, columns = int(str(card["rows"])), int(str(card["columns"]))
    return [[bool(page[round(y + r * dy), round(x + c * dx)] < 128) for c in range(columns)] for r in range(rows)]


def test_the_knitter_who_prints_a_card(start: Start, visit: Visit, tmp_path: Path) -> None:
    page = visit(start().address)
    page.get_by_role("button", name="An empty page").click()
    expect(page.locator("#text")).to_be_focused()
    page.locator("#text").press_sequentially(TIDE.replace("1: K T", "1 K T"))
    page.get_by_role("button", name="Make this change").click()
    rows = ["KT", "KK", "TK", "KK"]
    expect_chart(page, *rows)
    expect(page.locator("#messages")).to_have_text("Nothing is wrong.")
    expect(page.locator("#card img")).to_be_visible()
    expect(page.locator("#card")).to_contain_text("648 holes to punch")
    pdf = taken(page, "Hole card: PDF", tmp_path)
    card = json.loads(taken(page, "Hole card: JSON", tmp_path))
    assert holes_of(pdf, card) == [[rows[r % 4][c % 2] == "K" for c in range(24)] for r in range(36)]
    assert open_in_a_tab(page.get_by_role("button", name="Hole card: Print", exact=True)).endswith(".pdf")
    assert list(tmp_path.glob("*.stitch")) == []  # nothing is written but what is saved
    page.locator("#save").click()
    page.get_by_label("File").fill("tide")
    page.keyboard.press("Enter")
    expect(page.locator("#file-state")).to_have_text("saved")
    assert (tmp_path / "tide.stitch").read_text("utf-8") == text_of(page)


def test_the_designer_who_draws_with_the_keyboard_alone(start: Start, visit: Visit, tmp_path: Path) -> None:
    page = visit(start().address)
    expect(page.locator("#begin")).to_be_focused()
    press = page.keyboard.press
    press("Tab")
    press("Tab")
    press("Enter")
    expect(page.locator("#text")).to_be_focused()
    press("Shift+Tab")
    while "Draw a new stitch" not in page.evaluate("document.activeElement.textContent"):
        press("Shift+Tab")
    press("Enter")
    for value in ("honeycomb", "2", "6"):
        press("Control+a")
        page.keyboard.type(value)
        press("Tab")
    press("Enter")
    expect(page.locator("#grid td[data-row='1'][data-column='1']")).to_be_focused()
    wanted = ["KT", "KT", "KK", "TK", "TK", "KK"]
    for row in wanted:
        for letter in row:
            press(letter.lower())
            press("ArrowRight")
        press("Home")
        press("ArrowUp")
    expect_chart(page, *wanted)
    assert page.locator("#grid").aria_snapshot().count("gridcell") == 12
    assert "row 2, needle 2: tuck" in page.locator("#grid").aria_snapshot()
    drawn = text_of(page)
    press("Control+s")
    page.keyboard.type("honeycomb")
    press("Enter")
    expect(page.locator("#file-state")).to_have_text("saved")
    assert (tmp_path / "honeycomb.stitch").read_text("utf-8") == drawn
    page.reload()
    expect(page.locator("#grid td.t")).to_have_count(4)
    page.get_by_role("button", name="Needle sheet: settings").focus()
    press("Enter")
    page.get_by_label("Rows", exact=True).focus()
    page.keyboard.type("0")
    press("Enter")
    expect(page.locator("#sheet")).to_contain_text("Rows must be at least 1")
    page.get_by_role("button", name="Needle sheet: settings").focus()
    press("Enter")
    page.get_by_label("Rows", exact=True).focus()
    press("Control+a")
    page.keyboard.type("12")
    press("Enter")
    expect(page.locator("#sheet")).to_contain_text("12 rows")
    page.locator("#sheet").get_by_role("button", name="Follow it row by row").focus()
    with page.expect_popup() as opened:
        press("Enter")
    follower = opened.value
    follower.wait_for_load_state()
    follower.clock.install()
    expect(follower.locator("#number")).to_have_text("Before row 1")
    for row in range(1, 11):
        follower.keyboard.press("ArrowDown")
        expect(follower.locator("#number")).to_have_text(f"Row {row}")
        follower.clock.run_for(450)  # two steps within 400 ms are one: no carriage passes so quickly
    reached = follower.inner_text("#number")
    follower.reload()
    expect(follower.locator("#number")).to_have_text(reached)
    follower.keyboard.press("ArrowDown")
    expect(follower.locator("#number")).to_have_text("Row 11")


THREE = """stitch one
    1: K3 T
    2: K
stitch two
    1: K T
    2: K
stitch three over 4
    1: K T
    2: K
    3: T K
    4: K
"""


def ranges_of(page: Page) -> dict[str, tuple[float, float]]:
    """The range of the length in the comparison, by stitch."""
    found = {}
    for row in page.locator("#compare tbody tr").all():
        low, high = re.findall(r"[0-9.]+", row.locator("td").nth(1).inner_text().split("(")[1])
        found[row.locator("th").inner_text()] = float(low), float(high)
    return found


def test_the_designer_who_compares_densities(start: Start, visit: Visit, tmp_path: Path) -> None:
    served = start("drift.stitch")
    page = visit(served.address)
    page.fill("#text", THREE)
    expect(page.locator("#messages")).to_have_text("Nothing is wrong.")

    def swatch(stitch: str, stitches: str, rows: str) -> None:
        page.get_by_role("button", name="I have knitted a swatch").click()
        page.get_by_label("Stitch", exact=True).last.select_option(stitch)
        page.get_by_label("Stitches counted").fill(stitches)
        page.get_by_label("Rows counted").fill(rows)
        page.get_by_role("button", name="Write the gauge line").click()

    swatch("plain", "20", "28")
    page.locator("#compare").scroll_into_view_if_needed()
    expect(page.locator("#compare thead")).to_contain_text("Length of 100 rows, cm")
    expect(page.locator("#compare")).not_to_have_attribute("aria-busy", "true")
    before = ranges_of(page)
    assert list(before) and set(before) == {"one", "two", "three"}
    swatch("two", "17,5", "38")
    expect(page.locator("#compare tbody")).to_contain_text("measured")
    after = ranges_of(page)
    assert "gauge two 17.5 stitches 38 rows per 10 cm" in text_of(page)
    for stitch in before:  # the swatch tells of its own stitch most, and something of its relatives
        widths = [high / low for low, high in (before[stitch], after[stitch])]
        assert widths[1] < widths[0], stitch
    page.locator("#save").click()
    page.keyboard.press("Enter")
    expect(page.locator("#file-state")).to_have_text("saved")
    told = subprocess.run(
        [sys.executable, "-m", "stitchc", "gauge", "drift.stitch", "--format", "json"],
        cwd=tmp_path,
        capture_output=True,
        check=True,
    )
    by_command = {each["name"]: each["size_of_100_by_100_cm"]["length"] for each in json.loads(told.stdout)["stitches"]}
    for stitch, (low, high) in after.items():
        assert low == pytest.approx(by_command[stitch]["low"], abs=0.051)
        assert high == pytest.approx(by_command[stitch]["high"], abs=0.051)

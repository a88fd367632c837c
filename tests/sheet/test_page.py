"""The HTML sheet in a real browser: followed by keys, touch and a screen reader's rules, printed, timed."""

from __future__ import annotations

import random
import re
import statistics
import time
from collections.abc import Iterator
from pathlib import Path

import pypdfium2
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from stitchc.__main__ import run
from stitchc.bed import Needles
from stitchc.chart import Chart
from stitchc.document import ByHand, Document, Heading, Rows
from stitchc.document.html import to_html
from stitchc.machines import load
from stitchc.notation import compile_file
from stitchc.passes import Standing, lower
from stitchc.sheet import instruct

pytestmark = pytest.mark.browser

PATIENCE_MS = 500
HOSTILE = "<img src=x onerror=window.owned=1></title><script>window.owned=1</script>"
TIDE = "stitch tide\n    1: K T\n    2: K\n    3: T K\n    4: K\n"
MISS = 'yarn one "oat"\nstitch miss over 4\n    1 in one: K S K2\n    2: K\n    3: S K3\n'


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A page that must raise no error and call nowhere."""
    context = browser.new_context()
    page = context.new_page()
    page.clock.install()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda message: wrong.append(message.text) if message.type == "error" else None)
    page.on("request", lambda request: None if request.url.startswith("file:") else wrong.append(request.url))
    yield page
    context.close()
    assert not wrong


def made(tmp_path: Path, text: str, *arguments: str) -> str:
    """The address of the page for a pattern's text."""
    source, target = tmp_path / "x.stitch", tmp_path / "sheet.html"
    source.write_text(text, encoding="utf-8")
    assert run(["sheet", str(source), "--format", "html", "-o", str(target), *arguments]) == 0
    return target.as_uri()


def now(page: Page) -> str:
    return page.inner_text("#number")


def press(page: Page, key: str) -> None:
    """A key, by the page's clock so much later than the one before that two presses are two."""
    page.clock.run_for(PATIENCE_MS)
    page.keyboard.press(key)


def test_thirty_rows_by_keys_closed_and_opened_again(browser: Browser, tmp_path: Path) -> None:
    address = made(tmp_path, TIDE, "--rows", "40")
    context = browser.new_context()
    page = context.new_page()
    page.clock.install()
    page.goto(address)
    assert now(page) == "Before row 1"
    press(page, "Space")
    assert now(page) == "Row 1"
    for number in range(30):
        press(page, ("Space", "ArrowRight", "ArrowDown", "PageDown", "Enter")[number % 5])
    assert now(page) == "Row 31"
    # row 31 is row 3 of the repeat; 15 of 30 rows done had moves of 11 needles
    assert "Bring out every 2nd needle from L11 to R10 (11 needles" in page.inner_text("#steps")
    assert page.inner_text("#done") == "30 rows done, 10 left; 165 of 220 needles moved"
    assert "Row 32, left to right." in page.inner_text("#next")
    page.fill("#note", "a dropped loop at R4")
    page.close()
    again = context.new_page()
    again.set_viewport_size({"width": 500, "height": 400})
    again.goto(address)
    assert now(again) == "Row 31"
    assert again.input_value("#note") == "a dropped loop at R4"
    context.close()


def test_counts_are_written_as_in_the_text(page: Page, tmp_path: Path) -> None:
    page.goto(made(tmp_path, TIDE, "--rows", "1200"))
    assert page.inner_text("#done") == "0 rows done, 1,200 left; 0 of 6,600 needles moved"


def test_a_long_step_is_cut_between_its_sentences(page: Page, tmp_path: Path) -> None:
    odd = "yarn foam\nyarn sand\nstitch odd\n    1, 2, 4 in foam: K T\n    3 in sand: K\n"
    page.goto(made(tmp_path, odd, "--rows", "12", "--yarn-back", "free-pass"))
    cut = []
    for _ in range(30):
        press(page, "Space")
        if page.locator("#steps .cross").count():
            cut.append(page.inner_text("#steps"))
    assert len(cut) > 1 and any(words.startswith("Free pass, ") for words in cut)
    assert all(words.strip().endswith(".") and not words.startswith("…") for words in cut), cut


def test_back_undo_jump_and_swipe(browser: Browser, tmp_path: Path) -> None:
    context = browser.new_context(has_touch=True, viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.clock.install()
    page.goto(made(tmp_path, TIDE, "--rows", "40"))
    for key in ("Space", "Space", "Space", "ArrowLeft", "PageUp", "ArrowUp", "Shift+Space", "ArrowUp"):
        press(page, key)
    assert now(page) == "Before row 1"
    page.tap("#on")
    page.clock.run_for(PATIENCE_MS)
    page.tap("#on")
    assert now(page) == "Row 2"
    page.tap("#undo")
    assert now(page) == "Row 1"
    page.fill("#jump-row", "25")
    page.keyboard.press("Enter")
    assert now(page) == "Row 25"
    page.keyboard.press("Control+z")
    assert now(page) == "Row 1"
    # a pedal's space after a finger touched a switch must go on, not press the switch again
    page.tap("#voice")
    press(page, "Space")
    assert now(page) == "Row 2"
    assert page.get_attribute("#voice", "aria-pressed") == "true"
    page.clock.run_for(PATIENCE_MS)
    swipe(page, 300, 80)
    assert now(page) == "Row 3"
    swipe(page, 80, 300)
    assert now(page) == "Row 2"
    page.keyboard.down("Space")
    for _ in range(5):
        page.keyboard.down("Space")  # held down: repeats are not passes
    page.keyboard.up("Space")
    assert now(page) == "Row 3"
    context.close()


def test_two_taps_at_once_are_one_row(browser: Browser, tmp_path: Path) -> None:
    """A finger that trembles and a switch that bounces count no row twice; what is meant is never held up."""
    context = browser.new_context(has_touch=True, viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(made(tmp_path, TIDE, "--rows", "40"))
    page.clock.install()
    page.clock.pause_at(page.evaluate("Date.now()") + 1000)
    page.tap("#on")
    for waited in (0, 10, 60, 150, 170):  # 390 ms after the first: none of them is held to begin the time anew
        page.clock.run_for(waited)
        page.tap("#on")
        page.keyboard.press("Space")
        page.evaluate("document.getElementById('on').click()")  # as a screen reader presses it
        swipe(page, 300, 80)
        assert now(page) == "Row 1"
    page.clock.run_for(20)
    page.dblclick("#on")
    assert now(page) == "Row 2"
    page.tap("#undo")
    assert now(page) == "Row 1", "undo is at once"
    page.tap("#on")
    assert now(page) == "Row 2", "and so is going on after it"
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowLeft")
    assert now(page) == "Before row 1"
    page.focus("#on")
    page.keyboard.down("Enter")
    for _ in range(5):
        page.clock.run_for(PATIENCE_MS)
        page.keyboard.down("Enter")  # held down on the button
    page.keyboard.up("Enter")
    assert now(page) == "Row 1"
    page.fill("#jump-row", "9")
    page.keyboard.press("Enter")
    page.keyboard.press("Space")
    assert now(page) == "Row 10"
    context.close()


def swipe(page: Page, start: int, end: int) -> None:
    page.evaluate(
        """([start, end]) => {
            const stage = document.getElementById("stage");
            const at = (x) => new Touch({identifier: 1, target: stage, clientX: x, clientY: 300});
            const send = (type, x, on) => stage.dispatchEvent(new TouchEvent(type, {
                bubbles: true, touches: on ? [at(x)] : [], changedTouches: [at(x)]}));
            send("touchstart", start, true);
            send("touchend", end, false);
        }""",
        [start, end],
    )


def test_a_space_in_a_note_is_a_space(page: Page, tmp_path: Path) -> None:
    page.goto(made(tmp_path, TIDE, "--rows", "4"))
    press(page, "Space")
    page.click("#note")
    page.keyboard.type("two words")
    assert (now(page), page.input_value("#note")) == ("Row 1", "two words")


def test_notes_and_ticks_show_in_the_table(page: Page, tmp_path: Path) -> None:
    page.goto(made(tmp_path, TIDE, "--rows", "8"))
    for _ in range(4):
        press(page, "Space")
    page.fill("#note", "<b>check</b>")
    page.click("text=All rows")
    assert page.locator("tr.ticked").count() == 3
    assert page.inner_text("#row-4 .note") == "Note: <b>check</b>"
    page.click("#row-7 a")
    assert now(page) == "Row 7"


def test_without_storage_the_address_keeps_the_place(page: Page, tmp_path: Path) -> None:
    """What else the browser refuses is told as well."""
    page.add_init_script(
        "Object.defineProperty(navigator, 'wakeLock', {get: () => ({request: () => Promise.reject(Error())})});"
    )
    page.add_init_script("Object.defineProperty(window, 'localStorage', {get() { throw new Error('refused'); }});")
    address = made(tmp_path, TIDE, "--rows", "8")
    page.goto(address)
    for _ in range(3):
        press(page, "Space")
    assert page.url.endswith("#row-3")
    trouble = page.inner_text("#trouble")
    assert "bookmark" in trouble and "keep the screen on" in trouble
    page.goto("about:blank")
    page.goto(address + "#row-3")
    assert now(page) == "Row 3"


def test_whatever_was_kept_the_page_opens(page: Page, tmp_path: Path) -> None:
    address = made(tmp_path, TIDE, "--rows", "8")
    page.goto(address)
    for kept in ("null", "[]", "7", '{"at": 900}', '{"at": -1, "past": 3, "notes": 4}', "{", '"x"'):
        page.evaluate(
            "text => localStorage.setItem('stitchc-sheet:' + document.getElementById('rows').dataset.key, text)", kept
        )
        page.goto("about:blank")
        page.goto(address)
        press(page, "Space")
        assert now(page) in ("Row 1", "Row 2"), kept


def test_hostile_text_stays_text(page: Page, tmp_path: Path) -> None:
    text = f'pattern "{HOSTILE}"\nnote "{HOSTILE}"\nyarn bad "</p><script>window.owned=1</script>"\n'
    text += "stitch tide\n    1 in bad: K T\n    2: K\n"
    page.goto(made(tmp_path, text))
    press(page, "Space")
    assert page.evaluate("window.owned") is None
    assert page.locator("img").count() == 0 and page.locator("script").count() == 2
    assert "<img src=x" in page.inner_text("header")
    assert "</p><script>window.owned=1</script>" in page.inner_text("#steps")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("view", ["follow", "rows", "about"])
def test_axe_finds_nothing(browser: Browser, tmp_path: Path, scheme: str, view: str) -> None:
    context = browser.new_context(color_scheme=scheme, bypass_csp=True)  # type: ignore[arg-type]
    page = context.new_page()
    page.clock.install()
    page.goto(made(tmp_path, MISS, "--rows", "12"))
    for _ in range(3):
        press(page, "Space")
    if view != "follow":
        page.click("text=All rows" if view == "rows" else "#tools >> text=About this sheet")
    rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]}
    results = Axe().run(page, options={**rules, "rules": {"color-contrast-enhanced": {"enabled": True}}})
    assert results.violations_count == 0, results.generate_report()
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_has_a_contrast_of_7_and_signs_of_3(browser: Browser, tmp_path: Path, scheme: str) -> None:
    """WCAG 2.2, 1.4.6 (AAA) and 1.4.11: by the formula of the standard, from the colours that the browser computed."""
    context = browser.new_context(color_scheme=scheme)  # type: ignore[arg-type]
    page = context.new_page()
    page.clock.install()
    page.goto(made(tmp_path, TIDE))
    press(page, "Space")
    colours = page.evaluate(
        """() => {
            const style = getComputedStyle(document.documentElement);
            return Object.fromEntries(["ink", "paper", "soft", "line", "panel", "deep", "on-deep"]
                .map((name) => [name, style.getPropertyValue("--" + name).trim()]));
        }"""
    )
    for text, ground in (("ink", "paper"), ("soft", "paper"), ("deep", "paper"), ("ink", "panel"), ("soft", "panel"),
                         ("on-deep", "deep")):  # fmt: skip
        assert contrast(colours[text], colours[ground]) >= 7, (text, ground)
    assert contrast(colours["line"], colours["paper"]) >= 3
    context.close()


def contrast(one: str, two: str) -> float:
    """(L1 + 0.05) / (L2 + 0.05), L = 0.2126 R + 0.7152 G + 0.0722 B of linear values (WCAG 2.2, relative luminance)."""

    def luminance(colour: str) -> float:
        digits = colour.lstrip("#")
        digits = "".join(d * 2 for d in digits) if len(digits) == 3 else digits
        parts = [int(digits[k : k + 2], 16) / 255 for k in (0, 2, 4)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    bright, dark = sorted((luminance(one), luminance(two)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def test_big_targets_on_a_phone_and_nothing_runs_off_its_side(browser: Browser, tmp_path: Path) -> None:
    context = browser.new_context(viewport={"width": 320, "height": 640}, has_touch=True)
    page = context.new_page()
    page.clock.install()
    page.goto(made(tmp_path, MISS, "--needles", "180", "--rows", "12"))
    for _ in range(3):
        press(page, "Space")
    for selector in ("#on", "#back", "#undo", "#awake", "#jump button", "#jump-row"):
        box = page.locator(selector).bounding_box()
        if box is not None:
            assert box["height"] >= 44 and box["width"] >= 44, selector
    for link in (None, "text=All rows", "text=About this sheet"):
        if link:
            page.evaluate("document.documentElement.dataset.view = 'follow'")
            page.click(link)
        assert page.evaluate("document.documentElement.scrollWidth") <= 320
    # "Done, next" is in reach without scrolling
    page.evaluate("document.documentElement.dataset.view = 'follow'")
    page.evaluate("window.scrollTo(0, 0)")
    box = page.locator("#on").bounding_box()
    assert box is not None and box["y"] + box["height"] <= 640
    context.close()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_print_splits_no_pass_repeats_the_head_and_numbers_the_pages(page: Page, tmp_path: Path, paper: str) -> None:
    rows = 60
    page.goto(made(tmp_path, TIDE, "--rows", str(rows), "--every-row"))
    document = pypdfium2.PdfDocument(page.pdf(format=paper))
    texts = [document[k].get_textpage().get_text_range() for k in range(len(document))]
    width, height = document[0].get_size()
    points = {"A4": (595.28, 841.89), "Letter": (612, 792)}[paper]
    assert (width, height) == pytest.approx(points, abs=1)
    pages = [text for text in texts if "What to do" in text]
    assert pages == texts[-len(pages) :] and len(pages) > 2, "after the head, rows under a repeated head"
    assert len(document) - len(pages) <= 1
    for number, text in enumerate(texts, start=1):
        assert f"Page {number} of {len(document)}" in text
    found = [int(row) for text in pages for row in re.findall(r"(\d+)\s+[←→]\s+(?:right to left|left to right)", text)]
    assert found == list(range(1, rows + 1)), "every row once, in order"
    for text in pages:  # no pass is split: each page has as many instructions as carriage directions
        ways = len(re.findall(r"[←→]\s+(?:right to left|left to right)", text))
        told = len(re.findall(r"Bring out (?!means)|Cancel the hold:", text))
        assert ways == told


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("machine", ["hand-standard", "card24-standard"])
def test_a_long_sheet_is_a_few_pages_with_a_box_for_every_row(
    page: Page, tmp_path: Path, paper: str, machine: str
) -> None:
    rows = 302
    page.goto(made(tmp_path, TIDE, "--rows", str(rows), "--machine", machine))
    folded = pypdfium2.PdfDocument(page.pdf(format=paper))
    assert len(folded) <= 5
    page.emulate_media(media="print")
    if machine == "hand-standard":
        heading = page.locator("#paper .block").inner_text()
        assert f"to {rows}: these 4 rows 75 times, then the first" in heading
    else:  # nothing is to be done from row to row
        assert f"knit until the row counter shows {rows}" in page.locator("#paper").inner_text()
    boxes = page.locator("#paper [data-r]")
    numbers = sorted(boxes.evaluate_all("all => all.map(box => Number(box.dataset.r))"))
    assert numbers == list(range(1, rows + 1)), "a box for every row, once"
    sizes = boxes.evaluate_all(
        "all => all.map(b => [b.getBoundingClientRect().width, b.getBoundingClientRect().height])"
    )
    assert min(map(min, sizes)) >= 25, "7 mm to put a tick into, at 96 px to 25.4 mm"
    assert not page.locator("#rows").is_visible()
    page.emulate_media(media="screen")
    page.click("#tools >> text=About this sheet")
    page.get_by_role("button", name="Print a line for every row").click()
    page.emulate_media(media="print")
    assert page.locator("#rows").is_visible() and not page.locator("#paper").is_visible()
    page.reload()
    assert page.locator("#rows").is_visible(), "it is remembered"
    assert len(pypdfium2.PdfDocument(page.pdf(format=paper))) > 10


def test_a_repeat_that_fits_a_page_stands_on_one(page: Page, tmp_path: Path) -> None:
    """Whoever knits it over and over turns no page within it, though a note fills half of the page before."""
    notes = "".join(f'note "{chr(65 + k)} long note that takes a line."\n' for k in range(26))
    page.goto(made(tmp_path, notes + TIDE, "--rows", "244", "--needles", "80"))
    document = pypdfium2.PdfDocument(page.pdf(format="A4"))
    texts = [document[k].get_textpage().get_text_range() for k in range(len(document))]
    lines = [{row for row in (1, 2, 3, 4) if re.search(rf"^{row} …", text, re.M)} for text in texts]
    assert [found for found in lines if found] == [{1, 2, 3, 4}]


@pytest.mark.parametrize("command", [("sheet", "tide-line", "--rows", "60"), ("piece", "cowl")])
def test_no_heading_stands_alone_at_the_end_of_a_page(page: Page, tmp_path: Path, command: tuple[str, ...]) -> None:
    """Wherever on the page the table begins, as notes push it down line by line."""
    name, example, *options = command
    text = (Path(__file__).parents[2] / "examples" / f"{example}.stitch").read_text(encoding="utf-8")
    source, target = tmp_path / "x.stitch", tmp_path / "x.html"
    heading = re.compile(r"^(.*What to do|Part \d+ of .*|Tension: .*|Rows \d+ to \d+: these .*|Before row \d+)$")
    for count in range(0, 26, 2):
        source.write_text(text + "".join(f'note "{k}"\n' for k in range(count)), encoding="utf-8")
        assert run([name, str(source), *options, "--format", "html", "-o", str(target)]) == 0
        page.goto(target.as_uri())
        document = pypdfium2.PdfDocument(page.pdf(format="A4"))
        assert len(document) > 1
        for number in range(len(document)):
            lines = document[number].get_textpage().get_text_range().split("\r\n")
            told = [line for line in lines if line.strip() and line != "Made by stitchc" and "Page " not in line]
            assert not heading.match(told[-1].strip()), (count, number + 1, told[-3:])


def state(page: Page) -> list[str]:
    return page.locator("#state li").all_inner_texts()


def test_how_everything_stands_is_always_in_sight(page: Page, tmp_path: Path) -> None:
    pattern = 'yarn foam "sea green" colour "#2e8b57"\n' + TIDE.replace("3: T", "3 in foam: T").replace(
        "4: K", "4 in foam: K"
    )
    page.goto(made(tmp_path, pattern, "--rows", "20"))
    for _ in range(4):
        press(page, "Space")
    assert now(page) == "Row 4"
    wanted = ["repeat 1 of 5, row 4 of 4", "carriage at the left, set to hold", "11 needles held",
              "foam threaded, the main yarn hangs at the right"]  # fmt: skip
    assert state(page) == wanted
    assert page.locator("#state i").evaluate("patch => getComputedStyle(patch).backgroundColor") == "rgb(46, 139, 87)"
    page.reload()
    assert state(page) == wanted
    page.fill("#jump-row", "1")
    page.keyboard.press("Enter")
    assert state(page) == ["repeat 1 of 5, row 1 of 4", "carriage at the right, set to plain", "no needle held"]


def test_the_lift_after_a_slip_row_is_a_stop_of_its_own(page: Page, tmp_path: Path) -> None:
    page.goto(made(tmp_path, MISS, "--rows", "4"))
    press(page, "Space")
    assert now(page) == "Row 1" and "lift" not in page.inner_text("#steps")
    press(page, "Space")
    assert now(page) == "After row 1" and "lift the new yarn over the hooks" in page.inner_text("#steps")
    assert page.inner_text("#done").startswith("1 row done, 3 left")
    page.reload()
    assert now(page) == "After row 1"


def test_two_windows_of_one_sheet_follow_each_other(browser: Browser, tmp_path: Path) -> None:
    context = browser.new_context()
    first, second = context.new_page(), context.new_page()
    for page in (first, second):
        page.clock.install()
        page.goto(made(tmp_path, TIDE, "--rows", "20"))
    for _ in range(6):
        press(first, "Space")
    expect(second.locator("#number")).to_have_text("Row 6")
    press(second, "Space")
    expect(first.locator("#number")).to_have_text("Row 7")
    first.click("#undo")
    assert now(first) == "Row 6", "what was done in the other window is taken back too"
    context.close()


def test_a_sheet_made_again_goes_on_where_its_rows_are_the_same_and_else_asks(page: Page, tmp_path: Path) -> None:
    address = made(tmp_path, TIDE, "--rows", "20")
    page.goto(address)
    for _ in range(9):
        press(page, "Space")
    page.fill("#note", "a dropped stitch")
    page.wait_for_timeout(500)  # another process of the browser writes it down
    made(tmp_path, TIDE, "--rows", "40")  # longer, the first rows as before
    page.reload()
    assert (now(page), page.input_value("#note"), page.is_visible("#changed")) == ("Row 9", "a dropped stitch", False)
    made(tmp_path, TIDE, "--rows", "40", "--needles", "30")
    page.goto("about:blank")
    page.goto(address)
    assert now(page) == "Before row 1" and "You were at: Row 9." in page.inner_text("#changed")
    page.click("text=Go there")
    assert (now(page), page.is_visible("#changed")) == ("Row 9", False)
    page.reload()
    assert (now(page), page.is_visible("#changed")) == ("Row 9", False)


def test_page_down_shows_the_rest_of_a_step_before_it_goes_on(browser: Browser, tmp_path: Path) -> None:
    context = browser.new_context(viewport={"width": 360, "height": 420})
    page = context.new_page()
    page.clock.install()
    page.goto(made(tmp_path, MISS, "--rows", "4", "--needles", "120"))
    press(page, "Space")
    pressed = 0
    while now(page) == "Row 1":
        assert page.locator("#stage").evaluate("s => s.getBoundingClientRect().bottom") > 420 - 90 or pressed
        press(page, "PageDown")
        pressed += 1
        assert pressed < 10
    assert pressed > 1 and page.evaluate("window.scrollY") == 0, "a step never begins scrolled"
    context.close()


BOXES = """(places) => places.map((place) => {
    const found = document.querySelector(place);
    const box = found && found.getClientRects().length ? found.getBoundingClientRect() : null;
    return box && [box.top, box.bottom];
})"""
"""Where these parts of the page begin and end, from the top of the window; null where one is not shown."""


@pytest.mark.parametrize(("size", "slowed"), [((360, 740), 1), ((740, 360), 1), ((820, 1180), 1), ((360, 740), 6)])
def test_number_state_and_words_show_without_scrolling(
    browser: Browser, tmp_path: Path, size: tuple[int, int], slowed: int
) -> None:
    """What is done ahead of a pass is a stop of its own. Once in a browser six times slowed, as an old phone is."""
    context = browser.new_context(viewport={"width": size[0], "height": size[1]})
    page = context.new_page()
    if slowed > 1:
        context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": slowed})
    page.clock.install()
    two_yarns = 'yarn foam "sea green"\nyarn oat\n' + TIDE.replace("3: T", "3 in foam: T")
    mixed = "stitch gap over 5\n    out 5\n    1: K T K S\n    2: S K K K\n"
    own = tmp_path / "own.toml"
    every = ((two_yarns, "carry"), (two_yarns, "cut"), (two_yarns, "free pass"), (mixed, "cut"))
    for pattern, way in every[: 1 if slowed > 1 else None]:
        own.write_text(f'based_on = "hand-standard"\n[carriage]\nyarn_at_other_side = "{way}"\n', encoding="utf-8")
        page.goto(made(tmp_path, pattern, "--rows", "5", "--anyway", "--machine", str(own)))
        stops = ["Before row 1"]
        while stops[-1] != "Done":
            press(page, "Space")
            stops.append(now(page))
            go, *boxes = page.evaluate(BOXES, ["#go", "#number", "#state", "#steps", "#strip"])
            assert all(box is None or 0 <= box[0] <= box[1] <= go[0] for box in boxes), (boxes, pattern, stops)
        assert ("Before row 4" in stops) == (way != "cut"), stops
    context.close()


@pytest.mark.parametrize("size", [(360, 740), (740, 360)])
def test_an_irregular_row_is_moved_for_in_steps_that_fit(
    browser: Browser, tmp_path: Path, size: tuple[int, int]
) -> None:
    """Tuck and slip at random on a whole bed: what is shown, stop after stop, is each row's own words, none lost."""
    draw = random.Random(7)
    rows = ["".join(draw.choice("KKKTS") for _ in range(198)) for _ in range(3)]
    text = "stitch mess over 198\n" + "".join(f"    {at}: {row}\n" for at, row in enumerate([*rows, "K"], start=1))
    context = browser.new_context(viewport={"width": size[0], "height": size[1]})
    page = context.new_page()
    page.clock.install()
    page.goto(made(tmp_path, text, "--anyway", "--needles", "200", "--rows", "4"))
    shown: dict[str, list[str]] = {}
    while now(page) != "Done":
        press(page, "Space")
        go, stage = page.evaluate(BOXES, ["#go", "#stage"])
        assert 0 <= stage[0] <= stage[1] <= go[0] + 1, now(page)
        if (row := now(page).split()[-1]).isdigit():
            steps = page.locator("#steps")
            assert steps.locator("p").first.evaluate("p => parseFloat(getComputedStyle(p).fontSize)") >= 18
            assert not steps.inner_text().startswith("… L") and not steps.inner_text().startswith("… R")
            shown.setdefault(row, []).append(steps.inner_text())
    assert len(shown["1"]) > 3 and page.inner_text("#done").startswith("4 rows done, 0 left")
    for row, stops in shown.items():
        words = page.locator(f"#row-{row} .do > p").all_text_contents()
        assert re.findall(r"[LR]\d+", " ".join(stops)) == re.findall(r"[LR]\d+", " ".join(words)), row
    page.goto(page.url.split("#")[0] + "#move-2-1")
    assert now(page) == "Before row 2" and page.inner_text("#steps").startswith("… Push back")
    context.close()


def test_the_carriage_is_fetched_at_a_stop_of_its_own(page: Page, tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text('based_on = "hand-standard"\n[carriage]\nyarn_at_other_side = "carry"\n', encoding="utf-8")
    two_yarns = "yarn foam\nyarn oat\nstitch bars\n    1 in foam: K T\n    2 in oat: K\n"
    page.goto(made(tmp_path, two_yarns, "--rows", "8", "--machine", str(own)))
    page.fill("#jump-row", "3")
    page.keyboard.press("Enter")
    assert now(page) == "Before row 3" and "Carry the carriage" in page.inner_text("#steps")
    assert "carriage at the right, set to plain" in state(page) and page.inner_text("#done").startswith("2 rows done")
    page.reload()
    press(page, "Space")
    assert now(page) == "Row 3" and "Carry" not in page.inner_text("#steps")
    assert "carriage at the left, set to plain" in state(page)


def test_the_browsers_back_leads_from_all_rows_to_the_row(page: Page, tmp_path: Path) -> None:
    page.goto(made(tmp_path, TIDE, "--rows", "8"))
    for _ in range(3):
        press(page, "Space")
    page.click("text=All rows")
    assert page.is_visible("#rows")
    page.go_back()
    assert page.is_visible("#follow") and now(page) == "Row 3"


def test_boxes_and_notes_on_paper_show_how_far_it_is(page: Page, tmp_path: Path) -> None:
    page.goto(made(tmp_path, TIDE, "--rows", "20"))
    for _ in range(6):  # ready, and five rows
        press(page, "Space")
    page.fill("#note", "a dropped stitch")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    ticked = page.locator("#paper .ticked").evaluate_all("all => all.map(box => Number(box.dataset.r))")
    assert sorted(ticked) == [1, 2, 3, 4, 5]
    assert page.locator("#paper .note").all_text_contents() == ["Note, row 6: a dropped stitch"]


@pytest.mark.parametrize("size", [(390, 844), (820, 1180), (1180, 820)])
def test_the_button_that_goes_on_stays_under_the_thumb(browser: Browser, tmp_path: Path, size: tuple[int, int]) -> None:
    page = browser.new_page(viewport={"width": size[0], "height": size[1]})
    page.clock.install()
    page.goto(made(tmp_path, TIDE, "--rows", "12"))
    places = set()
    for _ in range(13):
        box = page.locator("#on").bounding_box()
        assert box is not None
        places.add((box["x"], box["y"], box["width"], box["height"]))
        page.locator("#on").click()
    assert len(places) == 1
    assert page.inner_text("#back") != page.inner_text("#undo")
    page.close()


def test_it_prints_the_same_from_the_follower_and_without_scripts(browser: Browser, tmp_path: Path) -> None:
    address = made(tmp_path, TIDE, "--rows", "8")
    counts = []
    for scripts in (True, False):
        context = browser.new_context(java_script_enabled=scripts)
        page = context.new_page()
        page.goto(address)
        counts.append(len(pypdfium2.PdfDocument(page.pdf(format="A4"))))
        assert scripts or page.locator("#row-8").is_visible()
        context.close()
    assert counts[0] == counts[1]


def test_it_never_calls_anywhere(tmp_path: Path) -> None:
    made(tmp_path, TIDE)
    text = (tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert "http:" not in text and "https:" not in text and "//cdn" not in text and "@import" not in text
    assert "default-src 'none'" in text and "stitchc" in text[:4096]


def test_every_example_opens_and_can_be_followed_to_the_end(page: Page, tmp_path: Path) -> None:
    for path in sorted((Path(__file__).parents[2] / "examples").glob("*.stitch")):
        pattern = compile_file(str(path)).pattern
        assert pattern is not None
        name = pattern.wanted()[0].name
        target = tmp_path / f"{path.stem}.html"
        assert run(["sheet", str(path), "--stitch", name, "--format", "html", "-o", str(target), "--rows", "6"]) == 0
        page.goto(target.as_uri())
        for _ in range(40):
            press(page, "Space")
            if now(page) == "Done":
                break
        press(page, "Space")  # beyond the end there is nothing
        assert now(page) == "Done"
        assert page.inner_text("#steps") == "All 6 rows are knitted."


@pytest.mark.bench
def test_two_thousand_rows_open_in_under_twice_the_time_of_a_bare_table(browser: Browser, tmp_path: Path) -> None:
    address = made(tmp_path, TIDE, "--rows", "2000")
    cells = re.findall(r"<tr id=.*?</tr>", (tmp_path / "sheet.html").read_text(encoding="utf-8"))
    assert len(cells) == 2000
    bare = tmp_path / "bare.html"
    bare_rows = []
    for row in cells:
        texts = [re.sub("<[^>]*>", " ", cell) for cell in re.split("</t[dh]>", row)[:4]]
        bare_rows.append("<tr>" + "".join(f"<td>{text}</td>" for text in texts) + "</tr>")
    rows = "".join(bare_rows)
    bare.write_text(f"<!DOCTYPE html><meta charset=utf-8><title>x</title><table>{rows}</table>", encoding="utf-8")
    context = browser.new_context()
    page = context.new_page()

    def opened(target: str) -> float:
        page.goto("about:blank")
        begin = time.perf_counter()
        page.goto(target)
        page.evaluate("() => new Promise((done) => requestAnimationFrame(() => setTimeout(done)))")
        return time.perf_counter() - begin

    ratios = [opened(address) / opened(bare.as_uri()) for _ in range(15)]
    ratio = statistics.median(ratios)
    print(f"\na sheet of 2,000 rows opens in {ratio:.2f} x the time of a bare table of as many rows")
    assert ratio < 2
    context.close()


def test_less_paper_when_each_strip_is_printed_once(page: Page, tmp_path: Path) -> None:
    page.goto(made(tmp_path, TIDE, "--rows", "100", "--every-row"))
    whole = len(pypdfium2.PdfDocument(page.pdf(format="A4")))
    page.click("#tools >> text=About this sheet")
    page.click("#fewer")
    page.reload()
    fewer = pypdfium2.PdfDocument(page.pdf(format="A4"))
    assert len(fewer) < 0.75 * whole
    # rows 1 and 3 keep their strips
    text = "".join(fewer[k].get_textpage().get_text_range() for k in range(len(fewer)))
    assert len(re.findall(r"^L12 0 R12", text, re.M)) == 2


def test_it_reads_aloud_and_keeps_the_screen_on_where_the_browser_can(browser: Browser, tmp_path: Path) -> None:
    context = browser.new_context()
    page = context.new_page()
    page.clock.install()
    page.add_init_script(
        """window.said = []; window.locks = 0;
        window.SpeechSynthesisUtterance = function (text) { this.text = text; };
        Object.defineProperty(window, "speechSynthesis",
            {value: {speak: (words) => window.said.push(words.text), cancel: () => {}}});
        Object.defineProperty(navigator, "wakeLock",
            {value: {request: async () => { window.locks += 1; return {release: () => { window.locks -= 1; }}; }}});"""
    )
    page.goto(made(tmp_path, TIDE, "--rows", "8"))
    press(page, "Space")
    assert page.evaluate("said") == []
    page.click("#voice")
    press(page, "Space")
    assert page.evaluate("said") == [
        "Row 1, right to left. Set the carriage to hold. "
        "Bring out every 2nd needle from left 10 to right 11 , 11 needles; comb 1 out, 1 in, .",
        "Row 2, left to right. Cancel the hold: the 11 held needles knit back.",
    ]
    # the same words reach a screen reader through the live region
    assert page.text_content("#say") == "Row 2, left to right. Cancel the hold: the 11 held needles knit back."
    assert page.evaluate("locks") == 1, "on from the first tap"
    page.click("#awake")
    assert page.evaluate("locks") == 0
    page.reload()
    assert page.get_attribute("#awake", "aria-pressed") == "false", "it is remembered"
    page.click("#awake")
    assert page.evaluate("locks") == 1
    context.close()


def test_parts_and_things_done_by_hand_are_followed_too(page: Page, tmp_path: Path) -> None:
    machine, needles = load("hand-standard"), Needles.centred(12)
    plain = lower(Chart.plain(1, 1), machine, needles, 2, "right", 1)
    tuck = lower(Chart.from_rows(["KT", "KK"]), machine, needles, 2, standing=Standing("right", 2))
    band, body = Heading("Band", ("Tension 5",)), Heading("Body")
    items = [ByHand("Cast on."), band, *plain, ByHand("Fold <it>."), body, *tuck]
    entries = instruct(items, machine, needles)
    path = tmp_path / "piece.html"
    path.write_text(to_html(Document("cuff", "piece", rows=Rows(entries, needles, "right"))), encoding="utf-8")
    page.goto(path.as_uri())
    seen = []
    for _ in range(7):
        press(page, "Space")
        seen.append(
            (now(page), page.inner_text("#part") if page.is_visible("#part") else "", page.inner_text("#steps"))
        )
    assert [row for row, _, _ in seen] == ["To do", "Row 1", "Row 2", "To do", "Row 3", "Row 4", "Done"]
    assert [part.split()[0] if part else "" for _, part, _ in seen] == ["", "Band", "Band", "Band", "Body", "Body", ""]
    assert seen[3][2] == "Fold <it>."
    page.keyboard.press("ArrowLeft")
    assert page.inner_text("#done").startswith("3 rows done, 1 left")

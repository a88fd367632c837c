"""The live page in a real browser: typed, fixed, drawn on, saved, and nothing lost."""

from __future__ import annotations

import json
import re
import signal
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image, ImageDraw
from playwright.sync_api import expect

from stitchc.__main__ import run
from stitchc.notation import compile_text
from tests.live.conftest import TIDE, Open, Served, Start, Visit, expect_chart, open_in_a_tab, text_of

pytestmark = pytest.mark.browser


def test_a_mistake_is_fixed_by_its_button_and_the_change_undone(open_pattern: Open) -> None:
    page = open_pattern()
    expect(page.locator("#messages")).to_have_text("Nothing is wrong.")
    expect_chart(page, "KT", "KK", "TK", "KK")
    wrong = TIDE.replace("1: K T", "1 K T")
    page.fill("#text", wrong)
    expect(page.locator(".messages li.error")).to_have_count(1)
    expect(page.locator("#colours .error")).to_have_count(1)
    expect(page.locator("#said")).to_contain_text("1 mistake")
    page.get_by_role("button", name="Make this change").click()
    expect(page.locator("#messages")).to_have_text("Nothing is wrong.")
    assert compile_text(text_of(page)).pattern is not None
    page.locator("#banner-made").get_by_role("button", name="Undo").click()
    expect(page.locator("#text")).to_have_value(wrong)
    expect(page.locator("#text")).to_be_focused()
    page.keyboard.press("Control+z")
    expect(page.locator("#text")).to_have_value(TIDE)
    page.keyboard.press("Control+Shift+z")
    expect(page.locator("#text")).to_have_value(wrong)
    page.get_by_role("button", name="What does N").click()
    expect(page.get_by_role("dialog")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.get_by_role("dialog")).to_have_count(0)


def test_a_button_that_is_held_down_stays_where_it_is(open_pattern: Open) -> None:
    """What the server answers meanwhile waits for the release, and the fix is made in the text as it is then."""
    wrong = TIDE.replace("1: K T", "1 K T")
    page = open_pattern(wrong)
    button = page.get_by_role("button", name="Make this change")
    button.hover()
    page.mouse.down()
    with page.expect_response("**/read"):
        page.evaluate(
            """text => {
              const area = document.getElementById("text");
              area.value = text;
              area.dispatchEvent(new Event("input"));
            }""",
            f"# first\n{wrong}",
        )
    page.wait_for_timeout(150)
    expect(page.get_by_role("button", name="Line 4", exact=True)).to_be_visible()
    page.mouse.up()
    expect(page.locator("#messages")).to_have_text("Nothing is wrong.")
    expect_chart(page, "KT", "KK", "TK", "KK")
    assert text_of(page).startswith("# first\n")


def test_the_focus_stays_when_what_has_it_is_renewed(open_pattern: Open) -> None:
    page = open_pattern(TIDE.replace("2: K", "2 K").replace("4: K", "4 K"))
    page.get_by_role("button", name="Make this change").first.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Make this change")).to_have_count(1)
    expect(page.get_by_role("button", name="Make this change")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#messages")).to_have_text("Nothing is wrong.")
    expect(page.locator("#messages")).to_be_focused()


def test_typing_is_coloured_and_quotes_of_a_word_processor_are_taken(shared: Served, visit: Visit) -> None:
    page = visit(shared.address)
    page.get_by_role("button", name="An empty page").click()
    expect(page.locator("#text")).to_be_focused()
    page.locator("#text").press_sequentially("pattern “Tide”\nstitch tide\n 1: K T # held\n2: K")
    expect_chart(page, "KT", "KK")
    expect(page.locator("#messages")).to_have_text("Nothing is wrong.")
    assert page.locator("#colours").inner_text().rstrip("\n").replace("\n\n", "\n") == text_of(page).rstrip("\n")
    assert page.locator("#colours .t").inner_text() == "T"
    assert page.locator("#colours .c").inner_text() == "# held"


def test_another_file_shows_nothing_of_the_one_before(open_pattern: Open, shared: Served) -> None:
    (shared.folder / "bad.stitch").write_text("stitch a\n    1: K Q\n", "utf-8")
    page = open_pattern()
    expect(page.locator("#gauge table")).to_have_count(1)
    page.get_by_role("button", name="Open…").click()
    page.get_by_role("button", name="bad.stitch").click()
    expect(page.locator(".messages li")).to_have_count(1)
    expect(page.locator("#grid td")).to_have_count(0)
    expect(page.locator("#gauge")).to_contain_text("Nothing yet.")
    page.locator("#undo").click(force=True)  # nothing of the file before can be undone into this one
    assert text_of(page) == "stitch a\n    1: K Q\n"


def test_a_mistake_in_one_stitch_hides_no_other_and_a_strange_letter_is_chosen_for(open_pattern: Open) -> None:
    page = open_pattern("stitch a\n    1: K T\n    2: K\nstitch b\n    1: K Q3  # Q\n    2: q K3\n")
    expect_chart(page, "KT", "KK")
    expect(page.locator("#gauge")).to_contain_text("Nothing yet.")
    page.get_by_role("gridcell", name="row 2, needle 1").click()
    page.keyboard.press("s")
    expect_chart(page, "KT", "SK")
    page.get_by_role("button", name="Q is S (slip)").click()
    expect(page.locator(".messages .error")).to_have_count(0)
    assert text_of(page).endswith("stitch b\n    1: K S3  # Q\n    2: S K3\n")
    page.select_option("#stitch", "b")
    expect_chart(page, "KSSS", "SKKK")
    page.fill("#text", text_of(page).replace("S K3", "S X3"))
    expect(page.locator("#chart-note")).to_contain_text("This is b as it was before")


def test_a_needle_out_of_work_is_shown_and_not_drawn_on(open_pattern: Open) -> None:
    text = "stitch ladder over 4\n    out 3\n    1: K T K\n    2: K\n"
    page = open_pattern(text)
    expect_chart(page, "KT-K", "KK-K")
    expect(page.get_by_role("columnheader", name="needle 3, out of work")).to_be_visible()
    page.get_by_role("gridcell", name="row 2, needle 3: out of work").click()
    expect(page.locator("#cell")).to_contain_text("nothing can be drawn on it")
    page.keyboard.press("t")
    expect(page.locator("#said")).to_contain_text("Needle 3 is out of work")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("t")
    expect_chart(page, "KT-K", "KK-T")
    expect(page.locator("#text")).to_have_value(text.replace("2: K", "2: K2 T"))
    page.fill("#text", text.replace("out 3", "out 1"))
    expect(page.get_by_role("columnheader", name="needle 1, out of work")).to_be_visible()
    expect(page.get_by_role("columnheader", name="needle 3", exact=True)).to_be_visible()


SELECTED = """text => {
    const area = document.querySelector("#text");
    return area.value.slice(area.selectionStart, area.selectionEnd) === text;
}"""


def test_runs_and_cells_show_each_other(open_pattern: Open) -> None:
    page = open_pattern("stitch a over 8\n    1, 3: (K T)x2 K4\n    2: K\n")
    expect(page.locator("#grid td.t")).to_have_count(4)
    page.locator("#text").evaluate("area => area.setSelectionRange(30, 30)")  # the T of row 1
    expect(page.locator("#grid td.run")).to_have_count(4)
    page.locator("#grid td[data-row='3'][data-column='7']").hover()
    expect(page.locator("#colours .run")).to_have_text("K4")
    expect(page.locator("#grid td.run")).to_have_count(8)
    page.locator("#grid td[data-row='3'][data-column='7']").click()
    page.get_by_role("button", name="Show it in the text").click()
    page.wait_for_function(SELECTED, arg="K4")


def test_a_cell_is_shown_in_the_text_also_when_the_page_has_no_runs_yet(open_pattern: Open) -> None:
    page = open_pattern("stitch a over 8\n    1: K4 T4\n")
    expect(page.locator("#grid td.t")).to_have_count(4)
    page.route("**/runs", lambda route: route.abort())
    page.locator("#text").press("End")
    with page.expect_request("**/runs"):
        page.locator("#text").press("Space")
    page.locator("#grid td[data-row='1'][data-column='7']").click()
    page.unroute("**/runs")
    page.get_by_role("button", name="Show it in the text").click()
    page.wait_for_function(SELECTED, arg="T4")


def test_the_chart_is_drawn_on_by_mouse_and_a_built_stitch_leads_to_its_source(open_pattern: Open) -> None:
    page = open_pattern("stitch a\n    1-2: K4\nstitch b = a then a shifted 1\n")
    page.select_option("#stitch", "b")
    expect(page.locator("#grid tr")).to_have_count(5)
    expect(page.get_by_label("Tuck", exact=True)).to_be_disabled()
    page.locator("#grid td[data-row='3'][data-column='1']").click()
    expect(page.locator("#cell")).to_contain_text("comes from a, row 1, needle 4")
    page.get_by_role("button", name="Go there").click()
    expect(page.locator("#grid tr")).to_have_count(3)
    expect(page.locator("#cell")).to_contain_text("Row 1, needle 4")
    page.get_by_label("Tuck", exact=True).check()
    page.locator("#grid td[data-row='1'][data-column='4']").click()
    expect_chart(page, "KKKT", "KKKK")
    expect(page.locator("#text")).to_have_value("stitch a\n    1: K3 T\n    2: K4\nstitch b = a then a shifted 1\n")
    page.locator("#undo").click()
    expect(page.locator("#grid td.t")).to_have_count(0)


def test_a_picture_of_a_chart_goes_into_the_text(open_pattern: Open, tmp_path: Path) -> None:
    (tmp_path / "tide.stitch").write_text(TIDE, "utf-8")
    assert run(["chart", str(tmp_path / "tide.stitch"), "--format", "png", "-o", str(tmp_path / "tide.png")]) == 0
    page = open_pattern()
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="Read a picture of a chart").click()
    chooser.value.set_files(tmp_path / "tide.png")
    expect(page.locator("#banner-made")).to_contain_text("tide.png")
    page.keyboard.press("Escape")  # what is to be looked over
    pattern = compile_text(text_of(page)).pattern
    assert pattern is not None and list(pattern.stitches) == ["tide", "tide-2"]
    assert pattern.stitches["tide-2"].chart == pattern.stitches["tide"].chart
    dropped = page.evaluate_handle(
        "() => { const all = new DataTransfer(); all.items.add(new File(['no picture'], 'no.png')); return all }"
    )
    page.dispatch_event("#text", "drop", {"dataTransfer": dropped})
    expect(page.get_by_role("dialog")).to_contain_text("No chart could be read")


def test_the_kinds_of_marks_in_a_picture_are_named_by_those_who_see_them(open_pattern: Open, tmp_path: Path) -> None:
    """Dots and crosses mean what their designer says: the page shows one of each kind and asks."""
    picture = Image.new("RGB", (401, 321), "white")
    pen = ImageDraw.Draw(picture)
    rows = [
        "".join("T" if (row + column) % 3 == 0 else "SKKKK"[column % 5] for column in range(10)) for row in range(8)
    ]
    for at in range(0, 401, 40):
        pen.line((at, 0, at, 320), fill="#777777")
        pen.line((0, at, 400, at), fill="#777777")
    for row, letters in enumerate(reversed(rows)):
        for column, letter in enumerate(letters):
            x, y = 40 * column, 40 * row
            if letter == "T":
                pen.ellipse((x + 12, y + 12, x + 28, y + 28), fill="black")
            elif letter == "S":
                pen.line((x + 8, y + 8, x + 32, y + 32), fill="black", width=4)
                pen.line((x + 32, y + 8, x + 8, y + 32), fill="black", width=4)
    picture.save(tmp_path / "kelp.png")
    page = open_pattern()
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="Read a picture of a chart").click()
    chooser.value.set_files(tmp_path / "kelp.png")
    dialog = page.get_by_role("dialog")
    expect(dialog).to_contain_text("10 columns by 8 rows")
    expect(dialog.locator(".kind img")).to_have_count(3)
    assert dialog.locator(".kind img").evaluate_all("all => all.every((each) => each.naturalWidth >= 40)"), "seen"
    for letter, words in {"T": "tuck", "S": "slip", "K": "knit"}.items():
        count = sum(row.count(letter) for row in rows)
        dialog.get_by_label(f"{count} of these").select_option(words)
    dialog.get_by_role("button", name="Read it", exact=True).click()
    expect(page.locator("#banner-made")).to_contain_text("kelp.png")
    pattern = compile_text(text_of(page)).pattern
    assert pattern is not None
    read = pattern.stitches["kelp"].chart
    assert read.tiled(10, 8).rows() == rows


def test_two_versions_are_both_kept(open_pattern: Open, shared: Served) -> None:
    page = open_pattern()
    path = shared.folder / page.locator("#file-name").inner_text()
    expect(page.locator("#file-state")).to_have_text("saved")
    theirs = TIDE.replace("Tide line", "Low water")
    path.write_text(theirs, "utf-8")  # nothing is unsaved on the page: it follows the file
    expect(page.locator("#banner-adopted")).to_be_visible()
    expect(page.locator("#text")).to_have_value(theirs)
    mine = theirs + "# mine\n"
    page.fill("#text", mine)
    path.write_text(TIDE, "utf-8")
    page.locator("#save").click()
    dialog = page.get_by_role("dialog")
    expect(dialog).to_contain_text("Neither version is lost")
    dialog.get_by_role("button", name="Save mine, keep the other").click()
    expect(page.locator("#file-state")).to_have_text("saved")
    assert path.read_text("utf-8") == mine
    assert path.with_name(f"{path.stem}-other-1.stitch").read_text("utf-8") == TIDE


def test_unsaved_text_outlives_the_tab_and_the_server(start: Start, visit: Visit, tmp_path: Path) -> None:
    (tmp_path / "tide.stitch").write_text(TIDE, "utf-8")
    served = start("tide.stitch")
    page = visit(served.address)
    page.fill("#text", TIDE + "# kept\n")
    page.reload()
    expect(page.locator("#text")).to_have_value(TIDE + "# kept\n")
    page.close()
    page = visit(served.address)
    expect(page.locator("#text")).to_have_value(TIDE + "# kept\n")
    served.end(signal.SIGKILL)
    expect(page.locator("#banner-gone")).to_contain_text("Your text is kept")
    page.fill("#text", TIDE + "# typed while it was gone\n")
    again = start("tide.stitch")
    assert again.address == served.address
    expect(page.locator("#banner-gone")).to_have_count(0)
    page.wait_for_function("() => fetch('start').then(answer => answer.json()).then(all => all.drafts.length === 1)")
    page.close()
    page = visit(again.address)
    expect(page.locator("#text")).to_have_value(TIDE + "# typed while it was gone\n")
    assert (tmp_path / "tide.stitch").read_text("utf-8") == TIDE
    page.locator("#save").click()
    expect(page.locator("#file-state")).to_have_text("saved")
    assert (tmp_path / "tide.stitch").read_text("utf-8") == TIDE + "# typed while it was gone\n"


def test_two_pages_on_one_file_know_of_each_other(start: Start, visit: Visit, tmp_path: Path) -> None:
    (tmp_path / "tide.stitch").write_text(TIDE, "utf-8")
    address = start("tide.stitch").address
    one, two = visit(address), visit(address)
    for page in (one, two):
        expect(page.locator("#banner-company")).to_contain_text("1 other page")
    two.fill("#text", "stitch a\n    1: K\n")
    one.fill("#text", TIDE + "# one\n")
    one.locator("#save").click()
    expect(two.locator("#banner-elsewhere")).to_be_visible()
    two.get_by_role("button", name="Look at both versions").click()
    two.get_by_role("dialog").get_by_role("button", name="Use the file").click()
    expect(two.locator("#text")).to_have_value(TIDE + "# one\n")
    assert (tmp_path / "tide-other-1.stitch").read_text("utf-8") == "stitch a\n    1: K\n"
    two.close()
    expect(one.locator("#banner-company")).to_have_count(0)


MODES: dict[str, dict[str, object]] = {
    "light": {},
    "dark": {"color_scheme": "dark"},
    "narrow and dark": {"color_scheme": "dark", "width": 360},
    "twice the size": {"width": 700},
    "still": {"reduced_motion": "reduce"},
    "more contrast": {"contrast": "more"},
    "colours of the system": {"forced_colors": "active"},
}


def test_no_rule_of_access_is_broken(open_pattern: Open) -> None:
    """axe-core's rules (those of WCAG 2.2 A and AA among them), with a mistake, views, a dialog, the beginning."""
    page = open_pattern()
    expect(page.locator("#card img")).to_have_count(1)
    page.fill("#text", TIDE + "gauge tide 20 stitchs per 10 cm\n")  # chart and views stay, and say of what they are
    expect(page.locator(".messages li")).to_have_count(1)
    axe = Axe()
    page.evaluate(axe.axe_script)
    axe.axe_script = "0"  # it is there now

    def violations() -> str:
        return json.dumps(axe.run(page).response["violations"], indent=1)[:4000]

    for mode, each in MODES.items():
        settings = {"color_scheme": "light", "reduced_motion": "null", "forced_colors": "null", "contrast": "null"}
        settings |= {key: str(value) for key, value in each.items() if key != "width"}
        page.emulate_media(**settings)  # type: ignore[arg-type]
        page.set_viewport_size({"width": int(str(each.get("width", 1400))), "height": 900})
        assert violations() == "[]", mode
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), mode
    page.get_by_role("button", name="Draw a new stitch").click()
    assert violations() == "[]"
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Open…").click()
    expect(page.locator("#begin")).to_be_visible()
    assert violations() == "[]"


def test_what_a_screen_reader_is_given(open_pattern: Open) -> None:
    """The page by its accessibility tree alone: landmarks, headings, the chart as a grid with its names."""
    page = open_pattern()
    expect(page.get_by_role("gridcell", name="row 1, needle 2: tuck")).to_be_visible()
    tree = page.get_by_role("main").aria_snapshot()
    for part in (
        'textbox "The pattern, in stitchc\'s notation"',
        'region "Messages"',
        'grid "Chart of tide"',
        'rowheader "row 4"',
        'columnheader "needle 2"',
        'region "Needle sheet',
        'radio "Tuck"',
        'combobox "Machine"',
    ):
        assert part in tree, part
    page.get_by_role("radio", name="Slip").check()
    page.get_by_role("gridcell", name="row 2, needle 1: knit").click()
    expect(page.get_by_role("gridcell", name="row 2, needle 1: slip")).to_be_focused()
    expect(page.locator("#said")).to_contain_text("Row 2, needle 1: slip.")
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_role("gridcell", name="row 2, needle 1: knit")).to_be_visible()


STRIP = """stitch one
    1: K3 T
    2: K
stitch two
    1: K T
    2: K
gauge plain 20 stitches 28 rows per 10 cm
yarn oat ball 50 g 120 m
piece strip
    sizes 20, 24 cm
    make 2
    knit one for 60 rows in oat
"""


def test_what_belongs_to_a_view_is_asked_for_there(open_pattern: Open) -> None:
    """A stitch to compare with, the rows of a piece that are knitted, a card that tests the reader."""
    page = open_pattern(STRIP)
    page.get_by_label("Compare with").select_option("two")
    expect(page.locator("#compare thead")).to_contain_text("Width against two")
    expect(page.locator("#compare tbody")).to_contain_text("longer in")
    page.fill("#text", STRIP.replace("two", "drift"))
    expect(page.locator("#compare tbody")).to_contain_text("drift")
    expect(page.locator("#compare thead")).not_to_contain_text("against two")
    for words in (
        "Make 2.",
        "Size 20 cm: ",
        "Size 24 cm",
        "oat, size 24 cm, for 1 of 2",
        "Yarn for all pieces",
        "For 2 × strip.",
        "ball of 50 g",
    ):
        expect(page.locator("#piece")).to_contain_text(words)
    page.get_by_role("button", name="I have knitted part of strip").click()
    page.get_by_label("Rows knitted of this part").fill("30")
    page.get_by_label("They measure, cm").fill("9,9")
    page.get_by_role("button", name="Plan the rest again").click()
    expect(page.locator("#piece")).to_contain_text("30 rows knitted, 30 still to knit.")
    page.get_by_role("button", name="Forget what is knitted").click()
    expect(page.locator("#piece")).not_to_contain_text("still to knit")
    assert open_in_a_tab(page.get_by_role("button", name="Hole card: Test card")).endswith("/test-card.pdf")


LADDER = """stitch steps over 4
    out 3
    1: K
"""


def test_the_page_leads_to_what_it_speaks_of(open_pattern: Open) -> None:
    """Needles where needles are counted, the setting that a remark names, and titles that are whole."""
    page = open_pattern(LADDER)
    expect(page.locator("#chart-note")).to_contain_text("4 needles by 1 row.")
    page.get_by_role("button", name="I have knitted a swatch").click()
    dialog = page.get_by_role("dialog")
    expect(dialog.get_by_label("Stitches counted")).to_be_visible()  # of stocking stitch, which is asked for first
    dialog.get_by_label("Stitch", exact=True).select_option("steps")
    dialog.get_by_label("Needles, counting the empty ones").fill("13")
    dialog.get_by_role("button", name="Write the gauge line").click()
    expect(page.locator("#text")).to_have_value(f"{LADDER}\ngauge steps 13 stitches per 10 cm\n")
    page.fill("#text", text_of(page) + "gauge plain 20 stitches 28 rows per 10 cm\n")
    expect(page.locator(".messages .warning")).to_contain_text("measured")  # far from the estimate
    page.fill("#text", LADDER)
    expect(page.locator("#fabric .remarks")).to_contain_text("needles, counting the empty ones, and")
    expect(page.locator("#gauge")).to_contain_text("Needles, counting the empty ones")
    page.get_by_role("button", name="Fabric: settings, Stocking stitch").click()
    field = page.get_by_role("dialog").get_by_label("Stocking stitch")
    expect(field).to_be_focused()
    expect(field).to_have_attribute("placeholder", "20x26 is assumed")
    page.keyboard.press("Escape")
    page.fill("#text", "stitch a\n    1: T K3\n    2: K\n")
    page.get_by_role("button", name="Hole card: settings, Shift: 1").click()
    shift = page.get_by_role("dialog").get_by_label("Shift")
    expect(shift).to_be_focused()
    expect(shift).to_have_value("1")  # what is proposed need not be remembered and typed
    page.keyboard.press("Escape")
    page.fill("#text", LADDER)
    for wide, high in ((1280, 800), (390, 844)):
        page.set_viewport_size({"width": wide, "height": high})
        longest = page.evaluate(WIDEST_TITLE)
        assert 0 < longest <= page.locator("#machine").evaluate("box => box.clientWidth - 24"), (wide, longest)


WIDEST_TITLE = """() => {
  const box = document.querySelector("#machine");
  const pen = document.createElement("canvas").getContext("2d");
  pen.font = getComputedStyle(box).font;
  return Math.max(...[...box.options].map((each) => pen.measureText(each.text).width));
}"""
"""Pixels of the longest machine's title, in the box's own letters; its arrow takes about 24."""


def test_what_stays_on_the_page_is_called_what_it_is(open_pattern: Open) -> None:
    """Views of a text that could be read but not be knitted are not called views of one without a mistake."""
    page = open_pattern(TIDE + "stitch held\n    1: T2\n    2: T2\n")
    page.select_option("#stitch", "held")
    expect(page.locator(".messages .error").first).to_be_visible()
    expect(page.locator("#gauge .words")).to_be_visible()
    page.fill("#text", text_of(page).replace("2: T2", "2 T2"))
    expect(page.locator("#gauge.old")).to_be_visible()
    label = page.locator("#gauge h2").evaluate("head => getComputedStyle(head, '::after').content")
    assert label == '" of the last text that could be read"'


def test_what_to_try_is_code_only_where_it_is_notation(open_pattern: Open) -> None:
    page = open_pattern("stitch a\n    1: K\n    1: T K\npiece b\n    needles 2\n    edge 1\n    knit a for 9 rows\n")
    expect(page.locator(".messages .cure").first).to_have_text("Try: Number this row 2.")
    expect(page.locator(".messages .cure code")).to_have_count(0)
    page.fill("#text", text_of(page).replace("1: T K", "2: T K"))
    expect(page.locator("#piece .cure")).to_contain_text("Try: needles 3, or more")


def test_a_swatch_is_written_with_the_yarn_it_was_knitted_in(open_pattern: Open) -> None:
    page = open_pattern(
        "yarn oat\nstitch two\n    1: K T\n    2: K\ngauge plain 22 stitches 30 rows per 10 cm in oat\n"
    )
    page.get_by_role("button", name="I have knitted a swatch").click()
    dialog = page.get_by_role("dialog")
    expect(dialog.get_by_label("Knitted in")).to_have_value("oat")
    dialog.get_by_label("Stitches counted").fill("17")
    dialog.get_by_role("button", name="Write the gauge line").click()
    expect(page.locator("#text")).to_have_value(re.compile(r"gauge two 17 stitches per 10 cm in oat\n"))


SHARED = """stitch drift over 4
    1: T K3
    2: K
    3: K2 T K
    4: K
stitch two
    1: K T
    2: K
yarn oat ball 50 g 95 m
gauge plain 20 stitches 28 rows per 10 cm
gauge drift 18.5 stitches 41 rows per 10 cm
piece cowl
    width 60 cm
    knit drift for 18 cm
piece warmer
    sizes 17.5, 19.5 cm
    make 2
    knit drift for 12 cm
"""


def test_what_is_knitted_of_a_piece_is_asked_for_by_its_part(open_pattern: Open) -> None:
    """A second entry for a part replaces the first, and a length that can hardly be is asked about."""
    page = open_pattern(SHARED.replace("for 18 cm", "for 9 cm\n    knit two for 4 rows\n    knit drift for 9 cm"))
    cowl = page.locator("#piece article").filter(has=page.get_by_role("heading", name="cowl"))
    dialog = page.get_by_role("dialog")

    def enter(part: str, rows: str, length: str) -> None:
        page.get_by_role("button", name="I have knitted part of cowl").click()
        dialog.get_by_label("Part", exact=True).select_option(part)
        dialog.get_by_label("Rows knitted of this part").fill(rows)
        dialog.get_by_label("They measure, cm").fill(length)

    def plan() -> None:
        dialog.get_by_role("button", name="Plan the rest again").click()

    enter("Part 1: drift, rows 1 to 36", "32", "8")
    dialog.get_by_label("That part is finished").check()
    plan()
    expect(cowl).to_contain_text("32 rows knitted")
    expect(cowl).to_contain_text("drift: 32 rows instead of 36. two: 4 rows, as planned. drift: 36 rows, as planned.")
    enter("Part 2: two, rows 33 to 36", "2", "0.6")
    plan()
    expect(cowl).to_contain_text("34 rows knitted")
    enter("Part 1: drift, rows 1 to 32", "32", "3.2")
    expect(dialog).to_contain_text("This replaces what you gave for that part before: part 1: 32 rows 8 cm in all.")
    expect(dialog.get_by_label("I have checked it")).to_be_hidden()
    plan()
    expect(dialog.locator(".refused")).to_contain_text("if you measured in inches, not in cm")
    dialog.get_by_label("They measure, cm").fill("4")
    plan()
    expect(dialog.locator(".refused")).to_contain_text("were expected to be about")
    dialog.get_by_label("I have checked it").check()
    plan()
    expect(cowl).to_contain_text("Knitted so far two 2 rows 0.6 cm; part 1: 32 rows 4 cm sure.")


def test_each_piece_and_each_card_has_its_own_settings(open_pattern: Open) -> None:
    """What is knitted of one piece, its sizes, and where a card begins leave the others, and stay with the file."""
    page = open_pattern(SHARED)
    cowl, warmer = (
        page.locator("#piece article").filter(has=page.get_by_role("heading", name=name)) for name in ("cowl", "warmer")
    )
    expect(warmer).to_contain_text("Size 19.5 cm")
    expect(cowl).to_contain_text("2 balls of 50 g, perhaps 3")
    page.get_by_role("button", name="I have knitted part of cowl").click()
    dialog = page.get_by_role("dialog")
    dialog.get_by_label("Rows knitted of this part").fill("30")
    dialog.get_by_label("They measure, cm").fill("71")
    dialog.get_by_role("button", name="Plan the rest again").click()
    expect(dialog.locator(".refused")).to_contain_text("check the length and its unit")  # and nothing of it is kept
    dialog.get_by_label("They measure, cm").fill("7.1")
    dialog.get_by_role("button", name="Plan the rest again").click()
    expect(cowl).to_contain_text("30 rows knitted")
    expect(cowl).to_contain_text("Set for cowl alone: Knitted so far drift 30 rows 7.1 cm.")
    expect(cowl).to_contain_text("oat, still needed")
    page.get_by_role("button", name="cowl: settings").click()
    dialog.get_by_role("group", name="For cowl alone").get_by_label("Sizes").fill("50")
    dialog.get_by_role("group", name="For every piece").get_by_label("Page").select_option("letter")
    dialog.get_by_role("button", name="Use these").click()
    expect(cowl).to_contain_text("Set for cowl alone: Sizes 50; Knitted so far drift 30 rows 7.1 cm.")
    expect(warmer).to_contain_text("Size 19.5 cm")
    expect(warmer).not_to_contain_text("alone")
    expect(warmer).not_to_contain_text("knitted,")
    page.get_by_role("button", name="Hole card: settings").click()
    dialog.get_by_label("Start row").fill("3")
    dialog.get_by_role("button", name="Use these").click()
    expect(page.locator("#card")).to_contain_text("Set for drift alone: Start row 3.")
    page.select_option("#stitch", "two")  # which has 2 rows
    expect(page.locator("#card .words")).to_contain_text("holes to punch")
    expect(page.locator("#card")).not_to_contain_text("alone")
    page.select_option("#stitch", "drift")
    expect(page.locator("#card")).to_contain_text("Set for drift alone: Start row 3.")
    page.click("#save-as")
    dialog.get_by_label("File").fill("moved")
    dialog.get_by_role("button", name="Save").click()
    expect(page.locator("#file-name")).to_have_text("moved.stitch")
    page.reload()
    expect(page.locator("#card")).to_contain_text("Set for drift alone: Start row 3.")
    page.goto(page.url.replace("moved", "another-file"))
    page.fill("#text", SHARED)
    expect(page.locator("#card .words")).to_contain_text("holes to punch")
    expect(page.locator("#piece")).to_contain_text("Size 19.5 cm")
    expect(page.locator(".alone")).to_have_count(0)

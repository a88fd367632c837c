"""The page in a browser, as a file without a network: choosing once, reading, following, printing."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from stitchc.document import Terms
from tests.leaflet.made import content, leaflet, store

pytestmark = pytest.mark.browser

CARD = "Card reader of 24 columns, standard gauge, 4.5 mm"


@pytest.fixture
def page_file(tmp_path: Path) -> Path:
    path = tmp_path / "cap.html"
    path.write_bytes(content("pilot-cap", ".html"))
    return path


asked_for: list[str] = []
"""The addresses of all that pages asked for."""


@pytest.fixture(autouse=True)
def nothing_is_fetched() -> Iterator[None]:
    """Whatever a test does with the page: besides the file itself and what is in it, nothing is asked for."""
    asked_for.clear()
    yield
    assert [url for url in asked_for if not url.startswith(("file:", "data:", "blob:"))] == []
    assert len({url.partition("#")[0] for url in asked_for if url.startswith("file:")}) <= 1


def shown(browser: Browser, path: Path, **settings: object) -> Page:
    page = browser.new_page(**settings)  # type: ignore[arg-type]
    page.context.set_offline(True)
    page.on("pageerror", lambda error: pytest.fail(str(error)))
    page.on("request", lambda request: asked_for.append(request.url))
    page.goto(path.as_uri())
    return page


@pytest.mark.parametrize("name", ["cowl", "pilot-cap"])
def test_everything_is_in_it_and_nothing_is_fetched(name: str) -> None:
    html = content(name, ".html").decode()
    assert len(html) < 1_000_000 - 250_000, "the drawn fabrics take up to 250 kB besides"
    assert "default-src 'none'" in html and not re.findall(r"(?:src|href)=\"(?!#|data:)", html)
    kept = store(html)
    machines = {options.split("\n")[0] for options in kept["pages"]}
    assert len(machines) == 4 and {options.split("\n")[2] for options in kept["pages"]} == {"cm", "in"}


@pytest.mark.parametrize("name", ["wrist-warmers", "cowl", "pilot-cap"])
def test_no_page_is_wider_than_a_telephone(browser: Browser, tmp_path: Path, name: str) -> None:
    path = tmp_path / "page.html"
    path.write_bytes(content(name, ".html"))
    page = shown(browser, path, viewport={"width": 360, "height": 740})
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_the_page_says_which_machines_are_left_out_and_why() -> None:
    page = content("cowl", ".html").decode()
    (part,) = [part for part in leaflet("cowl").values[0].parts if part.heading == "Machines"]
    pairs = [pair for block in part.blocks if isinstance(block, Terms) for pair in block.pairs]
    assert pairs and all(machine in page and reason[:20] in page for machine, reason in pairs)


def test_machine_size_and_units_are_chosen_once(browser: Browser, page_file: Path) -> None:
    page = shown(browser, page_file, viewport={"width": 360, "height": 740})
    assert "L46 to R46: 92 in work" in page.inner_text("#about")
    assert re.search(r"Width\s+45.0 cm \(17.7 in\)\s+51.0 cm \(20.1 in\)\s+54.0 cm", page.inner_text("#front")), (
        "to choose by"
    )
    assert "54 cm (21.3 in)" in page.inner_text("[data-label=Size]"), "in both units: which of them is chosen beside it"
    page.select_option("[data-label=Size]", "54 cm")
    page.select_option("[data-label=Machine]", CARD)
    page.select_option("[data-label=Units]", "in")
    about = page.inner_text("#about")
    assert (
        "L55 to R55: 110 in work" in about
        and "The card of cleat" in about
        and "stitches and 30.5 rows to 4 in" in about
    )
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.reload()
    assert "L55 to R55: 110 in work" in page.inner_text("#about")
    assert [page.input_value(f"[data-label={label}]") for label in ("Machine", "Size", "Units")] == [
        CARD,
        "54 cm",
        "in",
    ]


def test_the_rows_are_followed_and_the_place_is_kept_for_each_size(browser: Browser, page_file: Path) -> None:
    page = shown(browser, page_file)
    page.click("text=Knit it row by row")
    assert not page.is_visible("#front") and page.inner_text("#number") == "Before row 1"
    for _ in range(4):
        page.keyboard.press("ArrowRight")
        page.wait_for_timeout(420)
    assert page.inner_text("#number") == "Row 2"
    page.click("#tools >> text=The pattern")
    page.select_option("[data-label=Size]", "50 cm")
    page.click("text=Knit it row by row")
    assert page.inner_text("#number") == "Before row 1"
    page.keyboard.press("ArrowRight")
    assert page.inner_text("#number") == "To do", "a key counts once, whatever was followed before"
    page.click("#tools >> text=The pattern")
    page.select_option("[data-label=Size]", "46 cm")
    page.select_option("[data-label=Units]", "in")
    page.click("text=Knit it row by row")
    assert page.inner_text("#number") == "Row 2", "units do not change the place"


def test_it_prints_what_was_chosen_and_not_the_choice(browser: Browser, page_file: Path) -> None:
    page = shown(browser, page_file)
    page.select_option("[data-label=Size]", "50 cm")
    page.emulate_media(media="print")
    assert re.search(r"Size\s+50 cm", page.inner_text("#about"))
    assert page.is_visible("#paper") and page.is_visible("#about")
    assert not page.is_visible("#choose") and not page.is_visible("text=Knit it row by row")


def test_without_scripts_one_machine_is_shown_whole(browser: Browser, page_file: Path) -> None:
    page = shown(browser, page_file, java_script_enabled=False)
    assert "Without scripts" in page.inner_text("main") and page.is_visible("#paper")
    assert "Turn up the hem" in page.inner_text("#paper") and not page.is_visible("#choose")


@pytest.mark.parametrize("view", ["about", "follow", "rows"])
def test_accessibility(browser: Browser, page_file: Path, view: str) -> None:
    """WCAG 2.1 A and AA as axe-core checks them."""
    page = shown(browser, page_file)
    if view != "about":
        page.click("text=Knit it row by row")
    if view == "rows":
        page.click("text=All rows")
    found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]})
    assert not found.response["violations"], found.generate_report()

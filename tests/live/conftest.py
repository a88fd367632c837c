"""A live page as a user starts it: a process of its own, its address on the first line; and a browser that looks at it.

Tests that need no server of their own share one, each with a file of its own name.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

PATIENCE_MS = 40_000
"""A busy machine is slow, not wrong."""
expect.set_options(timeout=PATIENCE_MS)

TIDE = 'pattern "Tide line"\n\nstitch tide\n    1: K T\n    2: K\n    3: T K\n    4: K\n'


class Served:
    """A running `stitchc live`."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        self.folder = folder
        environment = {**os.environ, "XDG_CACHE_HOME": str(folder / ".cache"), "HOME": str(folder)}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "stitchc", "live", "--no-open", *arguments],
            cwd=folder,
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().strip()

    @property
    def port(self) -> int:
        """Where it listens."""
        return int(self.address.split(":")[2].split("/")[0])

    @property
    def path(self) -> str:
        """The address without the host, up to the secret part's slash."""
        return "/" + self.address.split("/")[3] + "/"

    def end(self, number: int = 15) -> int:
        """The exit status after a signal."""
        if self.process.poll() is None:
            self.process.send_signal(number)
        return self.process.wait(30)


Start = Callable[..., Served]
Visit = Callable[..., Page]
Open = Callable[..., Page]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    """Start live pages that end with the test."""
    running: list[Served] = []

    def begin(*arguments: str, folder: Path = tmp_path) -> Served:
        running.append(Served(folder, *arguments))
        return running[-1]

    yield begin
    for served in running:
        served.end()


@pytest.fixture(scope="session")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A live page without a file, for tests that leave it as it was."""
    served = Served(tmp_path_factory.mktemp("workshop"))
    yield served
    served.end()


@pytest.fixture
def visit(browser: Browser) -> Iterator[Visit]:
    """Open an address in a browser of its own; no error in the page, no request to anywhere else."""
    contexts = []
    wrong: list[str] = []

    def visit(address: str, **settings: object) -> Page:
        context = browser.new_context(**{"viewport": {"width": 1400, "height": 900}, **settings})  # type: ignore[arg-type]
        contexts.append(context)
        context.set_default_timeout(PATIENCE_MS)
        page = context.new_page()
        host = "/".join(address.split("/")[:3])
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("request", lambda r: None if r.url.startswith((host, "blob:")) else wrong.append(r.url))
        page.goto(address)
        return page

    yield visit
    for context in contexts:
        context.close()
    assert not wrong


@pytest.fixture
def open_pattern(shared: Served, visit: Visit, request: pytest.FixtureRequest) -> Open:
    """Open a text on the shared page, in a file that is this test's alone; the page when its chart or messages are
    there."""

    def open_pattern(text: str = TIDE, **settings: object) -> Page:
        path = shared.folder / f"{request.node.name.removeprefix('test_')[:60]}.stitch"
        path.write_text(text, "utf-8")
        page = visit(f"{shared.address}?file={path.name}", **settings)
        expect(page.locator("#messages > *").first).to_be_visible()
        return page

    return open_pattern


def open_in_a_tab(button: Locator) -> str:
    """The address of the PDF that a button opens beside the page; not every browser can show one, so what it is sent
    counts."""
    context = button.page.context
    with context.expect_event("response", lambda each: each.request.is_navigation_request()) as sent:
        button.click()
    assert sent.value.ok and sent.value.headers["content-type"] == "application/pdf"
    assert "content-disposition" not in sent.value.headers
    return str(sent.value.url)


def text_of(page: Page) -> str:
    """What is written."""
    return page.input_value("#text")


_SHOWN = """rows => {
  const letters = {};
  for (const cell of document.querySelectorAll("#grid td[role=gridcell]")) {
    const [, row, word] = /^row ([0-9]+), needle [0-9]+: (.*)$/.exec(cell.getAttribute("aria-label"));
    letters[row] = (letters[row] || "") + {knit: "K", tuck: "T", slip: "S", "out of work": "-"}[word];
  }
  const shown = Object.keys(letters).map(Number).sort((a, b) => a - b).map((row) => letters[row]).join(" ");
  return rows === null ? shown : shown === rows;
}"""


def expect_chart(page: Page, *rows: str) -> None:
    """Wait until a screen reader is told these rows, first knitted first."""
    try:
        page.wait_for_function(_SHOWN, arg=" ".join(rows))
    except Exception as error:
        raise AssertionError(f"the chart shows {page.evaluate(_SHOWN, None)!r}, not {rows}") from error

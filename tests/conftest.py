"""What all tests share: their switches."""

from __future__ import annotations

import gc
import os
import shutil
import sys
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import settings

# Two workers on two cores: threads of the algebra's library would wait for each other, eight times as long as the work.
# Before anything imports numpy; child processes have it too.
for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(variable, "1")

# What the tests import is compiled once, not again in each of the many processes that they start.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# What is imported and collected stays: looking through it for garbage, again and again, finds nothing.
gc.disable()
OBJECTS_BETWEEN_LOOKS = 100_000

if TYPE_CHECKING:
    from playwright.sync_api import Browser

# The same examples in every run, so that a change is judged by what it changes; `--bench` looks further afield.
settings.register_profile("stitchc", deadline=None, derandomize=True)
settings.register_profile("further", deadline=None)


def pytest_configure(config: pytest.Config) -> None:
    bench = config.getoption("--bench")
    settings.load_profile("further" if bench else "stitchc")
    # pytest-benchmark measures only when asked to, and never beside other workers: it would warn of them.
    workers = hasattr(config, "workerinput") or bool(config.getoption("numprocesses", None))
    config.option.benchmark_disable = not bench or workers


def pytest_collection_finish() -> None:
    gc.freeze()
    gc.set_threshold(OBJECTS_BETWEEN_LOOKS)
    gc.enable()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--bless", action="store_true", help="write the expected renderings anew, for a person to read")
    parser.addoption("--bench", action="store_true", help="also run what measures speed or takes minutes")


LONGEST = ("fabric", "live", "hostile", "notation", "proof", "trace", "leaflet", "sheet")
"""Folders whose files take longest; workers that begin with them end together."""
TOGETHER = ("leaflet",)
"""Folders whose files share what is made once for all tests of a process."""


HALVED = ("live/test_page.py", "sheet/test_page.py")
"""Files that take more than a minute, and whose tests share nothing that would have to be made twice."""


def _group(test: str) -> str:
    """What a worker runs together with this test: else each worker would make again what the tests of a file share."""
    place, _, name = test.partition("::")
    folder = Path(place).parent.name
    if folder in TOGETHER:  # what is made of the patterns in thick yarn is made for these tests alone
        return f"{folder}-in-thick-yarn" if "-in-thick-yarn" in name else folder
    return f"{place}-{zlib.crc32(name.encode()) % 2}" if place.endswith(HALVED) else place


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """By the groups above. Marks can't say them: what reads the marks must name the tests anew, and not every pytest
    lets it."""
    from xdist.scheduler import LoadScopeScheduling

    class ByGroup(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return _group(nodeid)

    return ByGroup(config, log)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: LONGEST.index(item.path.parent.name) if item.path.parent.name in LONGEST else 99)
    if config.getoption("--bench"):
        return
    skip = pytest.mark.skip(reason="on demand: --bench")
    for item in items:
        if "bench" in item.keywords:
            item.add_marker(skip)


@pytest.fixture
def bless(request: pytest.FixtureRequest) -> bool:
    """Whether expected texts are to be rewritten instead of compared."""
    return bool(request.config.getoption("--bless"))


BROWSERS = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
"""The first shows, runs and prints pages as the others do; without tabs and bars to draw it takes half the time."""


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """The browser that the browser tests drive; without one they fail, since nobody should think they passed."""
    for name in BROWSERS:
        if path := shutil.which(name):
            return path
    pytest.fail(
        "no chromium found: install it (apt-get install chromium), or leave these tests out with -m 'not browser'"
    )


BROWSER_SETTINGS = (
    "--no-sandbox",
    "--disable-gpu",
    # What draws in place of a graphics card: a thread of the browser, and no process that has to be started and asked.
    "--in-process-gpu",
    "--disable-background-networking",
    # For the list below its address bar, which nobody sees here, a browser draws two pages of its own beside each page:
    # more than half of all its work. What follows them is what the driver turns off; the last such setting replaces it.
    "--disable-features=WebUIOmniboxPopup,WebUIOmniboxAimPopup,"
    "AvoidUnnecessaryBeforeUnloadCheckSync,DestroyProfileOnBrowserClose,HttpsUpgrades,HttpsFirstBalancedModeAutoEnable,"
    "LensOverlay,MediaRouter,PaintHolding,ThirdPartyStoragePartitioning,AvoidCorsURLLoaderRestartOnRedirect,"
    "OptimizationHints,NetworkTimeServiceQuerying,AimEnabled,PreconnectToSearch,"
    # A process for each site, and a spare one for the next: every page here comes from one place.
    "SpareRendererForSitePerProcess,IsolateOrigins,site-per-process",
    "--disable-site-isolation-trials",
)


@pytest.fixture(scope="session")
def browser(chromium_path: str) -> Iterator[Browser]:
    """One browser for all tests of a process: its driver can't be started twice."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=chromium_path, args=list(BROWSER_SETTINGS))
        yield found
        found.close()

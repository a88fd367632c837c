"""Pictures of pages are drawn in the browser of the other tests: its driver can not be started twice in a process."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from playwright.sync_api import Browser

sys.path.insert(0, str(Path(__file__).parent))

import elsewhere


@pytest.fixture
def drawn_in(browser: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    """For tests whose pictures are pages."""
    monkeypatch.setattr(elsewhere, "browser", lambda: browser)
    monkeypatch.setattr(elsewhere, "_PAGES", {})

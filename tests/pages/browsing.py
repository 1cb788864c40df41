"""A real browser for tests of pages: Debian's, quiet, and never on the network."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
QUIET = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--no-first-run",
)  # fmt: skip
needs_browser = pytest.mark.skipif(CHROMIUM is None, reason="needs Debian's chromium")


@contextmanager
def launched() -> Iterator[Browser]:
    """The browser, closed at the end."""
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        yield browser
        browser.close()


@dataclass
class Heard:
    """What a page asked for from elsewhere, and what it complained of."""

    asked: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


def listened(page: Page) -> Heard:
    """Begin to listen before the page is opened."""
    heard = Heard()

    def note(url: str) -> None:
        if not url.startswith(("file:", "data:")):
            heard.asked.append(url)

    page.on("request", lambda request: note(request.url))
    page.on("console", lambda message: heard.complaints.append(message.text))
    page.on("pageerror", lambda error: heard.complaints.append(str(error)))
    return heard

"""The report in a real browser: nothing is fetched, nothing runs, and nothing scrolls sideways on a phone."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.pages.browsing import launched, listened, needs_browser
from tests.shops import run, sample_shop

pytestmark = needs_browser


@pytest.fixture(scope="module")
def page_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    shop = sample_shop(tmp_path_factory.mktemp("browser"))
    ran = run(shop, "report")
    assert ran.status == 0, ran.err
    return shop / "out" / "report.html"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with launched() as found:
        yield found


@pytest.mark.parametrize("width", [360, 1200])
def test_nothing_scrolls_sideways_and_nothing_is_fetched(page_file: Path, browser: Browser, width: int) -> None:
    page = browser.new_page(viewport={"width": width, "height": 800})
    heard = listened(page)
    page.goto(page_file.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert heard.asked == []
    assert heard.complaints == []
    page.close()


def test_every_picture_can_be_seen_at_both_widths(page_file: Path, browser: Browser) -> None:
    for width in (360, 1200):
        page = browser.new_page(viewport={"width": width, "height": 800})
        page.goto(page_file.as_uri())
        boxes = page.evaluate(
            "[...document.querySelectorAll('svg[role=img]')].map(s => s.getBoundingClientRect())"
            ".filter(b => b.width > 0).map(b => [b.left, b.right, b.height])"
        )
        assert len(boxes) >= 5
        for left, right, height in boxes:
            assert left >= 0
            assert right <= width + 1
            assert height > 60
        page.close()


def test_links_inside_the_page_lead_somewhere(page_file: Path, browser: Browser) -> None:
    page = browser.new_page()
    page.goto(page_file.as_uri())
    dead = page.evaluate(
        "[...document.querySelectorAll('a[href^=\"#\"]')].filter(a => !document.getElementById(a.hash.slice(1))).length"
    )
    assert dead == 0
    page.close()

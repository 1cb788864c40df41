"""Every page through axe-core, in a real browser at a phone's width and a desk's: no violation of its rules."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.pages.browsing import launched, needs_browser
from tests.shops import run, sample_shop

axe = pytest.importorskip("axe_playwright_python.sync_playwright")
PAGES = ("report.html", "card.html", "sheet-seven-piece.html", "sheet-inishmore-restored.html")


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    shop = sample_shop(tmp_path_factory.mktemp("access"))
    for command in (
        ("report",),
        ("card", "--plan", "inishmore-restored"),
        ("sheet", "seven-piece"),
        ("sheet", "inishmore-restored", "--lang", "de"),
    ):
        assert run(shop, *command).status == 0
    return shop / "out"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with launched() as found:
        yield found


@needs_browser
@pytest.mark.parametrize("width", [360, pytest.param(1200, marks=pytest.mark.thorough)])
@pytest.mark.parametrize("name", PAGES)
def test_axe_finds_nothing(browser: Browser, out: Path, name: str, width: int) -> None:
    context = browser.new_context(viewport={"width": width, "height": 800}, bypass_csp=True)  # axe is a script
    page = context.new_page()
    page.goto((out / name).as_uri())
    found = axe.Axe().run(page)
    assert found.response["passes"]
    assert [(v["id"], [n["target"] for n in v["nodes"]]) for v in found.response["violations"]] == []
    context.close()

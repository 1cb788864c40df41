"""The pocket card: its figures are the program's, for any kit, in a real browser and from a file."""

from __future__ import annotations

import functools
import itertools
import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Browser, Page

from kitvalue.decisions.asked import judge_price, sold_on
from kitvalue.decisions.named import AskedPrice
from kitvalue.decisions.offered import DonorCeiling
from kitvalue.decisions.verdict import bid_of, whole
from kitvalue.intake.books.book import FeatureColumn, PriceBook
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.problems import Caution, texts
from kitvalue.market.encoding import FeatureValue, Kit
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import value_kit
from kitvalue.pages.answers import number, value_answer
from kitvalue.pages.card import CardInput, packed_column, render_card
from kitvalue.pages.figures import amount
from tests import worked
from tests.market.books import invented_book
from tests.pages.browsing import launched, listened, needs_browser
from tests.pages.given import HOSTILE, TODAY, fit_of, renamed
from tests.pages.markup import page_of
from tests.shops import run, sample_shop

FIGURES = ("typical", "mean", "low", "high", "level_low", "level_high")
MOST_BYTES = 200_000
FILL = """
(kits) => kits.map((kit) => {
  const set = (id, value) => { document.getElementById(id).value = value; };
  for (const id of ["asked", "freight", "hours", "parts"]) set(id, kit[id] ?? "");
  set("series", kit.series); set("pieces", kit.pieces); set("condition", kit.condition); set("finished", kit.finished);
  kit.features.forEach((value, i) => {
    const radio = document.querySelector(`input[name="feature-${i}"][value="${value}"]`);
    if (radio !== null) radio.checked = true; else set(`feature-${i}`, value);
  });
  document.getElementById("kit").dispatchEvent(new Event("change"));
  const figures = {};
  for (const place of document.querySelectorAll("data")) figures[place.dataset.of] = [place.value, place.textContent];
  const { code, sentence, price } = document.getElementById("verdict").dataset;
  return { figures, verdict: { code, sentence, price },
           cautions: [...document.querySelectorAll("#cautions li")].map((item) => item.dataset.text) };
})
"""


def rich_book(n: int = 160, series: int = 7) -> PriceBook:
    """A book with a feature of every kind, blanks in them, and a slip."""
    book = invented_book(n=n, series=series, seed=11, features=True)
    rng = np.random.default_rng(20260105)
    holes = np.where(rng.random(n) < 0.2, np.nan, rng.integers(0, 9, n).astype(float))
    shape = np.where(rng.random(n) < 0.1, np.nan, rng.integers(0, 3, n).astype(float))
    prices = book.price.copy()
    prices[5] *= 12
    return replace(
        book,
        price=prices,
        features=(
            *book.features,
            FeatureColumn("holes", "number", holes, ()),
            FeatureColumn("colour", "word", shape, ("red & <b>", "blue", "太鼓")),
        ),
    )


def few_sold() -> PriceBook:
    book = invented_book(n=60, series=3, seed=5)
    return replace(book, price_kind=np.zeros(60, dtype=np.int64), channel=np.zeros(60, dtype=np.int64))


def formula() -> PriceBook:
    """Prices that follow a formula exactly: no range can be told."""
    book = invented_book(n=40, series=3, seed=3, sigma=0.0, spread=0.0)
    return replace(book, price=np.exp(5.0 + 0.6 * np.log(book.pieces) + 0.1 * book.condition))


@functools.cache
def fits() -> dict[str, Fit]:
    """Every sort of fit that a card can carry."""
    return {
        "rich": fit_book(rich_book(), None),
        "alone": fit_book(rich_book(), None, pooled=False),
        "plain": fit_book(rich_book(90, 4), None, robust=False),
        "haggle": fit_book(few_sold(), 12.0),
        "one series": fit_book(invented_book(n=30, series=1, seed=2), None),
        "formula": fit_book(formula(), None),
    }


def card(fit: Fit, **more: Any) -> str:
    terms = more.pop("sold_on", "shop.toml has no [selling]")
    return render_card(CardInput("Dock Road Drums", "EUR", TODAY, fit, more.pop("cautions", ()), terms, **more))


def grid(fit: Fit, how_many: int) -> list[tuple[Kit, float | None]]:
    """So many kits spread over all that can be asked, the finished condition with each."""
    rng = np.random.default_rng(20260106)
    everything = list(itertools.product(fit.recipe.series, range(1, 13), (1.0, 2.0, 2.5, 3.0, 4.5, 5.0), (None, 4, 5)))
    found = []
    for i in rng.choice(len(everything), size=how_many, replace=len(everything) < how_many):
        series, pieces, condition, finished = everything[i]
        kit = Kit(series, float(pieces), condition, features=_some_features(fit, rng))
        found.append((kit, None if finished is None else float(finished)))
    return found


def _some_features(fit: Fit, rng: np.random.Generator) -> tuple[FeatureValue, ...]:
    given = []
    for f in fit.recipe.features:
        if rng.random() < 0.4:
            continue
        value: float | bool | str = float(rng.integers(0, 7))
        if f.kind == "yes-no":
            value = bool(rng.random() < 0.5)
        elif f.kind == "word":
            value = f.words[int(rng.integers(len(f.words)))]
        given.append(FeatureValue(f.name, value))
    return tuple(given)


def as_asked(fit: Fit, kit: Kit, finished: float | None) -> dict[str, Any]:
    """A kit as the page's questions take it."""
    features = []
    for f in fit.recipe.features:
        value = next((g.value for g in kit.features if g.name == f.name), None)
        if value is None:
            features.append("")
        elif f.kind == "word":
            features.append(str(f.words.index(str(value))))
        else:
            features.append(f"{float(value):g}")
    return {
        "series": str(fit.recipe.series.index(kit.series)),
        "pieces": f"{kit.pieces:g}",
        "condition": f"{kit.condition:g}",
        "finished": "" if finished is None else f"{finished:g}",
        "features": features,
    }


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with launched() as found:
        yield found


def opened(browser: Browser, place: Path, html: str, width: int = 360) -> Page:
    file = place / "card.html"
    file.write_text(html, encoding="utf-8")
    page = browser.new_page(viewport={"width": width, "height": 740})
    page.goto(file.as_uri())
    return page


@needs_browser
@pytest.mark.parametrize("name", ["rich", "alone", "plain", "haggle", "one series", "formula"])
def test_every_figure_and_caution_is_the_programs(browser: Browser, tmp_path: Path, name: str) -> None:
    fit = fits()[name]
    page = opened(browser, tmp_path, card(fit))
    kits = grid(fit, 500 if name == "rich" else 60)
    shown = page.evaluate(FILL, [as_asked(fit, kit, finished) for kit, finished in kits])
    for (kit, finished), said in zip(kits, shown, strict=True):
        valued = value_kit(fit, kit, finished, 80)
        for of, outlook in (("buy_in", valued.buy_in), ("resale", valued.resale)):
            for key in FIGURES:
                value = number(getattr(outlook, key), 2)  # as `value --json` writes it
                if value is None:
                    assert f"{of}-{key}" not in said["figures"]
                    continue
                held, text = said["figures"][f"{of}-{key}"]
                assert float(held) == value, (kit, of, key)
                assert text == amount(getattr(outlook, key)), (kit, of, key)
        assert set(said["cautions"]) == set(texts(valued.cautions)), kit
    page.close()


TRADES: dict[str, dict[str, Any]] = {
    "margin": {"tax": {"rate": 23, "sell_on": "margin", "rebuild": "full"}},
    "full": {
        "tax": {"rate": 19, "sell_on": "full", "rebuild": "full"},
        "buying": {"freight": 35, "bid_step": 10, "worth_a_call": 70},
        "selling": {"fee_fixed": 1.5, "reserve": 2, "months_to_sell": 4, "holding": 3, "capital": 6},
    },
    "exempt": {"tax": {"rate": 23, "registered": False}, "work": {"prepare": None}},
    "sales": {"tax": {"rate": 8, "kind": "sales"}, "buying": {"freight": 0, "bid_step": 2.5}},
}


def trade(name: str) -> Shop:
    """The worked example's shop with other terms, any kit prepared in three hours."""
    tables = worked.shop().model_dump()
    tables["work"]["prepare"] = 3
    for key, changed in TRADES[name].items():
        tables[key] = changed if key == "tax" else {**(tables.get(key) or {}), **changed}
    return Shop.model_validate(worked.exact(tables))


@needs_browser
@pytest.mark.parametrize(
    ("name", "how_many"),
    [(name, 5) for name in TRADES] + [pytest.param(n, 60, marks=pytest.mark.thorough) for n in TRADES],
)
def test_stop_at_and_the_verdict_are_those_of_value_asked(
    browser: Browser, tmp_path: Path, name: str, how_many: int
) -> None:
    """A second route to the same cents: the page's own closed forms against the program's."""
    fit, shop, rng = fits()["rich"], trade(name), np.random.default_rng(20261201 + how_many)
    terms = sold_on(shop, fit)
    page = opened(browser, tmp_path, card(fit, sold_on=terms))
    kits, asked = grid(fit, how_many), []
    for kit, finished in kits:
        about = value_kit(fit, kit, finished, 80).buy_in.typical
        told = [Decimal(str(round(float(about * rng.uniform(0.1, 1.6)), 2)))]
        told += [Decimal(int(rng.integers(0, most))) / 2 for most in (14, 120, 160)]
        hours, parts, freight = (None if rng.random() < 0.35 else one for one in told[1:])
        asked.append(AskedPrice(told[0], hours, parts, freight))
    fields = [
        {**as_asked(fit, kit, finished), "asked": f"{a.price:f}"}
        | {key: f"{value:f}" for key in ("hours", "parts", "freight") if (value := getattr(a, key)) is not None}
        for (kit, finished), a in zip(kits, asked, strict=True)
    ]
    codes = set()
    for (kit, finished), a, said in zip(kits, asked, page.evaluate(FILL, fields), strict=True):
        valued = value_kit(fit, kit, finished, 80)
        answer = value_answer(
            valued, None, "EUR", asked=judge_price(shop, fit, valued.kit, valued.finished, valued.buy_in.typical, a)
        )
        for key in ("stop_at", "open_at"):
            held, text = said["figures"][key]
            bid = bid_of(answer["asked"][key], shop.buying.bid_step)
            assert text == ("none" if bid is None else whole(bid))
            assert (float(held) if held else None) == answer["asked"][key], (kit, finished, a, key)
        price = said["verdict"].pop("price")
        assert (float(price) if price else None) == answer["verdict"]["price"], (kit, a)
        assert said["verdict"] == {key: answer["verdict"][key] for key in ("code", "sentence")}, (kit, finished, a)
        codes.add(said["verdict"]["code"])
    assert len(codes) > 1
    page.close()


@needs_browser
def test_the_sample_shops_card_says_what_the_command_says(browser: Browser, tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    assert run(shop, "card").status == 0
    page = opened(browser, tmp_path, (shop / "out" / "card.html").read_text(encoding="utf-8"))
    series = page.evaluate("[...document.querySelectorAll('#series option')].map(o => [o.textContent, o.value])")
    assert len(series) == 9
    for place, (name, value) in enumerate(series):
        kit = {
            "series": value,
            "pieces": str(3 + place % 5),
            "condition": "2.5",
            "finished": "5",
            "features": ["1", ""],
            "asked": "350", "hours": "2", "parts": "40", "freight": "30",
        }  # fmt: skip
        (said,) = page.evaluate(FILL, [kit])
        data = run(
            shop, "value", "--series", name, "--pieces", kit["pieces"], "--condition", "2.5", "--finished", "5",
            "--with", "hardware=yes", "--asked", "350", "--hours", "2", "--parts", "40", "--freight", "30", "--json",
        ).data  # fmt: skip
        for of, key in itertools.product(("buy_in", "resale"), FIGURES):
            assert float(said["figures"][f"{of}-{key}"][0]) == data[of][key], (name, of, key)
        assert said["figures"]["stop_at"][0] == ("" if (stop := data["asked"]["stop_at"]) is None else f"{stop:.12g}")
        assert said["verdict"]["sentence"] == data["verdict"]["sentence"]
        assert set(said["cautions"]) == set(data["cautions"])
    page.close()


def test_a_card_of_500_rows_is_under_200_kb() -> None:
    book = replace(invented_book(n=500, series=60, seed=9, features=True), features=rich_book(500, 60).features)
    size = len(card(fit_book(book, None)).encode())
    assert 20_000 < size < MOST_BYTES


def test_even_with_a_hundred_series_that_stand_alone() -> None:
    fit = fit_book(invented_book(n=500, series=100, seed=9), None, pooled=False)
    assert len(card(fit).encode()) < MOST_BYTES


def test_columns_are_packed_without_loss() -> None:
    few, many = np.array([0.5, -1.25, 0.5, 1 / 3]), np.random.default_rng(1).normal(size=200)
    packed = packed_column(few)
    assert len(packed["codes"]) == 4
    assert sorted(packed["values"]) == [-1.25, 1 / 3, 0.5]
    assert "doubles" in packed_column(many)


@needs_browser
@pytest.mark.parametrize(("today", "warned"), [(date(2027, 2, 23), False), (date(2027, 2, 24), True)])
def test_it_warns_after_ninety_days(browser: Browser, tmp_path: Path, today: date, warned: bool) -> None:
    file = tmp_path / "card.html"
    file.write_text(card(fits()["haggle"]), encoding="utf-8")
    page = browser.new_page()
    page.clock.set_fixed_time(f"{today.isoformat()}T10:00:00Z")
    page.goto(file.as_uri())
    assert page.locator("#age").is_visible() == warned
    assert "25 November 2026" in page.locator("header").inner_text().replace("\u00a0", " ")
    if warned:
        assert "91 days old" in page.locator("#age").inner_text()
    page.close()


@needs_browser
def test_it_goes_by_keyboard_alone_and_speaks(browser: Browser, tmp_path: Path) -> None:
    fit = fits()["rich"]
    page = opened(browser, tmp_path, card(fit))
    before = page.locator('[data-of="buy_in-typical"]').first.inner_text()
    order = []
    for _ in range(9):
        page.keyboard.press("Tab")
        order.append(page.evaluate("document.activeElement.id || document.activeElement.name"))
        if order[-1] == "more":
            page.keyboard.press("Space")
    assert order[:6] == ["series", "less", "pieces", "more", "condition", "finished"]
    assert page.locator('[data-of="buy_in-typical"]').first.inner_text() != before
    page.focus("#condition")
    page.keyboard.press("ArrowUp")
    assert page.input_value("#condition") == "3.5"
    nameless = page.evaluate(
        "[...document.querySelectorAll('select, input, button')].filter("
        "e => !(e.labels && e.labels.length) && !e.getAttribute('aria-label') && e.id !== 'copy').length"
    )
    assert nameless == 0
    assert page.locator("[aria-live=polite]").count() == 1
    page.close()


@needs_browser
@pytest.mark.parametrize("width", [360, 768, 1200])
def test_it_fits_is_large_enough_to_touch_and_asks_nobody(browser: Browser, tmp_path: Path, width: int) -> None:
    names = [*HOSTILE, "Series G"]
    file = tmp_path / "card.html"
    file.write_text(card(renamed(fits()["rich"], names)), encoding="utf-8")
    page = browser.new_page(viewport={"width": width, "height": 740})
    heard = listened(page)
    page.goto(file.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    heights = page.evaluate(
        "[...document.querySelectorAll('select, input:not([type=radio]), button, .choices span')]"
        ".map(e => e.getBoundingClientRect().height)"
    )
    assert min(heights) >= 48
    options = page.evaluate("[...document.querySelectorAll('#series option')].map(o => o.textContent)")
    assert sorted(options) == sorted(names)
    assert heard.asked == []
    assert heard.complaints == []
    page.close()


@needs_browser
def test_without_scripts_it_says_so(browser: Browser, tmp_path: Path) -> None:
    file = tmp_path / "card.html"
    file.write_text(card(fits()["haggle"]), encoding="utf-8")
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(file.as_uri())
    assert "switch scripts on" in page.inner_text("body")
    assert not page.locator("#card").is_visible()
    context.close()


@needs_browser
def test_pieces_outside_what_can_be_asked_are_brought_back(browser: Browser, tmp_path: Path) -> None:
    page = opened(browser, tmp_path, card(fits()["haggle"]))
    for typed, held in (("0", "1"), ("99", "20"), ("3.6", "4"), ("4.5", "5"), ("", "1")):
        page.fill("#pieces", typed)
        page.locator("#pieces").dispatch_event("change", {"bubbles": True})
        assert page.input_value("#pieces") == held
        said = page.inner_text("#pieces-note")
        assert (
            said == f"{f'{typed} was' if typed else 'Nothing was'} written; it counts as {held} (whole drums, 1 to 20)"
        )
    page.fill("#pieces", "7")
    page.locator("#pieces").dispatch_event("change", {"bubbles": True})
    assert page.inner_text("#pieces-note") == ""
    page.close()


@needs_browser
def test_a_number_that_cannot_be_read_is_told_and_not_counted(browser: Browser, tmp_path: Path) -> None:
    page = opened(browser, tmp_path, card(fits()["rich"]))
    plain = page.locator('[data-of="buy_in-typical"]').first.get_attribute("value")
    field, figure = page.get_by_label("holes"), page.locator('[data-of="buy_in-typical"]').first
    for typed, told in (("some", True), ("2,5", False), ("2.5", False), ("", False)):
        field.fill(typed)
        field.dispatch_event("change", {"bubbles": True})
        assert (field.get_attribute("aria-invalid") == "true") == told
        assert ('"some" is no number' in page.inner_text("#feature-1-note")) == told
        assert (figure.get_attribute("value") == plain) == (typed in ("some", ""))
    page.close()


def test_the_policy_allows_the_cards_own_script_and_nothing_else() -> None:
    page = page_of(card(fits()["haggle"]))
    policy = next(e.attributes["content"] for e in page.all("meta") if "http-equiv" in e.attributes)
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    scripts = page.all("script")
    assert [s.attributes.get("type") for s in scripts] == ["application/json", None]
    assert json.loads(scripts[0].text)["made"] == TODAY.isoformat()


def test_shop_cautions_and_ceilings_are_shown() -> None:
    sizes = ("22x14", "16x16")
    ceilings = (
        DonorCeiling("A", sizes, Decimal(40), 410.0, 355.5, None),
        DonorCeiling("B", sizes, None, None, None, None),
        DonorCeiling("E", sizes, None, 90.0, None, None),
        DonorCeiling("C", sizes, None, None, None, "it has no drums"),
    )
    html = card(
        fit_of(), cautions=(Caution("refused_rows", "2 rows are refused"),), plan="Seven <pieces>", ceilings=ceilings
    )
    page = page_of(html)
    assert "Stop at, for Seven <pieces>" in page.text
    rows = [e for e in page.all("tr") if "Donor" in e.text]
    assert [[cell.text for cell in row.all("td")] for row in rows] == [["355"], ["none"], ["none"], ["none"]]
    assert [row.all("small")[0].text for row in rows] == [
        "with its 22x14, 16x16; freight of 40 on top",
        "with its 22x14, 16x16: even as a gift it would not leave your margin",
        "with its 22x14, 16x16: even as a gift it would lose too often",
        "it has no drums",
    ]
    data = json.loads(page.all("script")[0].text)
    assert data["cautions"]["always"][0] == "2 rows are refused"
    assert "Stop at, for" not in card(fit_of())


@needs_browser
def test_money_is_read_as_people_type_it_and_what_is_not_read_is_said(browser: Browser, tmp_path: Path) -> None:
    fit = fits()["rich"]
    page = opened(browser, tmp_path, card(fit, sold_on=sold_on(trade("margin"), fit)))
    for typed, counts, said in (
        ("1,250", "1250", "read as 1250"), ("1.250", "1250", "read as 1250"), ("1 250", "1250", ""),
        ("1.250,50", "1250.5", "read as 1250.5"),
        ("82,5", "82.5", ""), ("-5", None, '"-5" is under 0, so it is not counted'),
        ("about 40", None, '"about 40" is no number, so it is not counted'),
    ):  # fmt: skip
        page.fill("#freight", typed)
        page.locator("#freight").dispatch_event("change", {"bubbles": True})
        assert page.inner_text("#freight-note") == said
        assert (f"freight {counts} EUR" in page.input_value("#line")) == (counts is not None)
    page.close()


@needs_browser
def test_the_note_is_read_by_jot_as_it_was_typed(browser: Browser, tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    assert run(shop, "card").status == 0
    page = opened(browser, tmp_path, (shop / "out" / "card.html").read_text(encoding="utf-8"))
    page.clock.set_fixed_time("2026-11-30T10:00:00Z")
    page.select_option("#series", label="Burren")
    for field, typed in (("pieces", "4"), ("asked", "1,250.50"), ("freight", "42,5")):
        page.fill(f"#{field}", typed)
    page.select_option("#condition", "2.5")
    page.locator("#kit").dispatch_event("change")
    page.click("#copy")
    assert page.inner_text("#copied") == "Copied."
    line = page.input_value("#line")
    page.fill("#asked", "")
    page.focus("#asked")
    page.keyboard.press("Control+V")  # what the clipboard holds
    assert page.input_value("#asked") == line
    read = {one["field"]: one["value"] for one in run(shop, "jot", "--offer", "--json", line).data["understood"]}
    assert {key: read[key] for key in ("series", "pieces", "condition", "price", "freight", "date")} == {
        "series": "Burren", "pieces": "4", "condition": "2.5", "price": "1250.5", "freight": "42.5",
        "date": "2026-11-30",
    }  # fmt: skip
    page.close()


@needs_browser
@pytest.mark.parametrize("media", [{"forced_colors": "active"}, {"media": "print"}])
def test_what_is_chosen_is_seen_without_its_colour(browser: Browser, tmp_path: Path, media: dict[str, Any]) -> None:
    page = opened(browser, tmp_path, card(fits()["rich"]))
    page.emulate_media(**media)
    marks = page.evaluate(
        "[...document.querySelectorAll('.choices input')]"
        ".map(i => [i.checked, getComputedStyle(i.nextElementSibling, '::before').content])"
    )
    assert any(checked for checked, _ in marks)
    assert all(("\u2713" in mark) == checked for checked, mark in marks)
    page.close()

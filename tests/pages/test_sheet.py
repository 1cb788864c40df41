"""The customer's sheet: what it tells, what it keeps to itself, and how it looks in a browser and on paper."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Browser

from kitvalue.decisions.original import landed_sample
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.problems import FileError
from kitvalue.market.fitted import Fit
from kitvalue.pages.sheet.tongue import languages, tongue
from kitvalue.pages.sheet.view import SheetInput, SheetView, render_sheet, sheet_view, spaced, stacked
from kitvalue.pages.tables import Table
from tests import worked
from tests.decisions.market import ORIGINAL, comparison, priced
from tests.pages.browsing import launched, listened, needs_browser
from tests.pages.given import HOSTILE, TODAY, fit_of, renamed
from tests.pages.markup import page_of

ALL = ("en", "de")
A4 = (595, 842)  # points


def sheet_fit() -> Fit:
    return renamed(fit_of(), ("Inishmore", "Burren", "Slane", "Kilbeg", "Lisdoon", "Tullamoy"))


def given(plan: Plan | None = None, shop: Shop | None = None, original: float = ORIGINAL, **shown: bool) -> SheetInput:
    """The build worked by hand, beside originals that sell for `original`."""
    plan, shop = plan or worked.plan(), shop or worked.shop()
    seen = worked.outlook(original)
    door = landed_sample(plan.original, seen.sample, plan.original.repair or Decimal(0))
    dots = np.quantile(door, (np.arange(20) + 0.5) / 20, method="inverted_cdf")
    return SheetInput(
        plan=plan,
        shop=shop,
        fit=sheet_fit(),
        pricing=priced(plan, shop),
        comparison=comparison(plan, shop),
        original=seen,
        at_door=tuple(float(x) for x in dots),
        fingerprint="09fb5c74a63e" + "0" * 52,
        today=TODAY,
        **shown,
    )


def view(language: str = "en", **changes: Any) -> SheetView:
    return sheet_view(given(**changes), tongue(language, "EUR"))


def cell(table: Table, name: str, column: int = 1) -> str:
    return next(row.cells[column] for row in table.rows if row.cells[0] == name)


def money(text: str) -> Decimal:
    return Decimal(text.replace("€", "").replace(",", "").replace("\u2212", "-"))


MARGIN = {"plan": worked.plan(route="margin")}
PLAN_OF_ORIGINALS = worked.plan(
    finished={"series": "Inishmore", "share": 100, "condition": Decimal("4.5")},
    donor=[{**d, "series": "Inishmore"} for d in worked.plan_tables()["donor"]],
    drum=[{**d, "from": "A"} | {"price": None} for d in worked.plan_tables()["drum"]],
)


# ---- languages ---------------------------------------------------------------------------------------------------


def test_every_language_has_every_text_with_the_same_blanks() -> None:
    assert set(languages()) >= {"en", "de"}
    texts = {code: tongue(code, "EUR").texts for code in languages()}
    for code in languages():
        assert set(texts[code]) == set(texts["en"]), code
        for key, text in texts[code].items():
            assert set(re.findall(r"\{(\w+)\}", text)) == set(re.findall(r"\{(\w+)\}", texts["en"][key])), key
        assert len(tongue(code, "EUR").numbers) == 21


def test_an_unknown_language_is_refused_with_those_there_are() -> None:
    with pytest.raises(FileError, match=r"de or en"):
        tongue("xx", "EUR")
    with pytest.raises(FileError):
        tongue("../en", "EUR")


@pytest.mark.parametrize(
    ("code", "price", "cents", "estimate", "rate", "when"),
    [
        # Read off Unicode's CLDR patterns by hand: grouping, decimal sign, place of the currency.
        ("en", "€3,750", "\u2212€1,234.50", "€2,937", "8.1%", "25 November 2026"),
        ("de", "3.750 €", "\u22121.234,50 €", "2.937 €", "8,1 %", "25. November 2026"),
    ],
)
def test_numbers_are_written_as_the_language_does(
    code: str, price: str, cents: str, estimate: str, rate: str, when: str
) -> None:
    t = tongue(code, "EUR")
    said = (t.exact(Decimal(3750)), t.cents(Decimal("-1234.5")), t.about(2936.5), t.percent(8.1), t.day(TODAY))
    assert tuple(text.replace("\u00a0", " ") for text in said) == (price, cents, estimate, rate, when)


@pytest.mark.parametrize(
    ("left", "said"), [(0, "hardly any"), (2, "one in ten"), (10, "half"), (19, "nineteen in twenty"), (20, "all")]
)
def test_shares_are_told_in_words(left: int, said: str) -> None:
    assert said in tongue("en", "EUR").share(left, 20)


# ---- what it tells -----------------------------------------------------------------------------------------------


def test_the_kit_is_told_drum_by_drum_and_what_it_is_not() -> None:
    found = view()
    assert [row.cells[0] for row in found.drums.rows] == [
        {"bass": "Bass drum", "rack": "Rack tom", "floor": "Floor tom", "snare": "Snare drum"}[d.role]
        for d in worked.plan().drum
    ]
    assert found.drums.rows[0].cells[1] == "22 × 16"
    assert found.drums.rows[0].cells[2] == "56 × 41"  # 558.8 and 406.4 mm
    text = " ".join(found.about)
    assert "not an original Inishmore" in text
    assert "Burren" in text
    restored = " ".join(view(plan=PLAN_OF_ORIGINALS).about)
    assert "not an original" not in restored
    assert "originals ones" not in restored


def test_the_price_adds_up_and_its_parts_are_those_of_the_cost_sheet() -> None:
    data = given()
    table = sheet_view(data, tongue("en", "EUR")).price
    assert table is not None
    amounts = [money(row.cells[1]) for row in table.rows]
    net, vat, gross, freight, door = amounts[-5:]
    assert sum(amounts[:-5]) == net == data.pricing.sale.net
    assert net + vat == gross == data.comparison.quote.suggested
    assert gross + freight == door == data.comparison.quote.landed_at_price


@pytest.mark.parametrize("language", ALL)
def test_under_the_margin_scheme_no_vat_stands_apart_and_its_words_are_there(language: str) -> None:
    found = view(language, **MARGIN)
    page = page_of(render_sheet(found)).text
    words = {"en": "Margin scheme – second-hand goods", "de": "Gebrauchtgegenstände/Sonderregelung"}
    assert words[language] in page  # Directive 2006/112/EC art. 226(14); the German words from memory (UStG 14a(6))
    assert words[language] not in page_of(render_sheet(view(language))).text
    assert found.price is not None
    rows = [row.cells[0] for row in found.price.rows]
    assert not any(re.search(r"VAT|Mehrwertsteuer|23", name) for name in rows)
    hidden = view(language, show_costs=False, **MARGIN)
    assert words[language] in page_of(render_sheet(hidden)).text
    data = given(**MARGIN)
    sale = data.pricing.sale
    assert str(sale.vat) not in page.replace(",", "")


def test_costs_are_hidden_and_purchases_are_shown_only_when_asked() -> None:
    shown = page_of(render_sheet(view())).text
    donors = sum(line.net or 0 for line in given().comparison.sheet.chosen.lines if line.group == "donors")
    bought = tongue("en", "EUR").cents(Decimal(donors))
    assert bought not in shown
    assert bought in page_of(render_sheet(view(show_purchases=True))).text
    hidden = view(show_costs=False)
    assert hidden.price is None
    assert "How the price comes about" not in page_of(render_sheet(hidden)).text
    assert "Work, " not in page_of(render_sheet(hidden)).text


def test_a_cost_that_is_not_known_leaves_the_build_up_out() -> None:
    tables = worked.plan_tables()["donor"]
    plan = worked.plan(donor=[{k: v for k, v in tables[0].items() if k != "freight"}, tables[1]])
    assert given(plan=plan).comparison.sheet.incomplete
    assert view(plan=plan).price is None


def test_side_by_side_carries_the_totals_and_the_shops_own_promise() -> None:
    shop = worked.shop().model_copy(
        update={"promise": Shop.model_validate(
            {"shop": {"name": "x", "currency": "EUR"}, "promise": {"en": {"guarantee": "three years"}}}
        ).promise}
    )  # fmt: skip
    found, quote = view(shop=shop), given().comparison.quote
    t = tongue("en", "EUR")
    assert cell(found.side, "Guarantee") == "three years"
    assert cell(found.side, "Return") == "the legal right to withdraw"
    assert cell(found.side, "Guarantee", 2) == "none from a private seller"
    last = found.side.rows[-1].cells
    assert last[1:] == (t.exact(quote.landed_at_price), f"about {t.about(quote.original_landed)}")
    assert (
        cell(view("de", shop=shop).side, tongue("de", "EUR").say("against.guarantee"))
        == "die gesetzliche Gewährleistung"
    )


def test_it_says_so_where_the_original_wins_where_ours_does_and_where_they_tie() -> None:
    def said(landed: str) -> str:
        data = given()
        quote = replace(data.comparison.quote, original_landed=Decimal(landed))
        changed = replace(data, comparison=replace(data.comparison, quote=quote))
        return sheet_view(changed, tongue("en", "EUR")).verdict[0]

    ours = given().comparison.quote.landed_at_price
    assert "the used original wins" in said(str(ours - 500))
    assert "Our kit is the cheaper one" in said(str(ours + 500))
    assert "about the same" in said(str(ours + 5))


def test_the_dots_and_the_words_say_the_same_share() -> None:
    found, data = view(), given()
    below = sum(dot < data.comparison.quote.landed_at_price for dot in data.at_door)
    assert f"{below} of the dots lie below it" in found.pictures[0].description
    assert len(found.pictures[0].table.rows) == 20
    words = found.verdict[-1]
    assert tongue("en", "EUR").share(below, 20) in words
    tie = data.comparison.tie_at_price
    assert tongue("en", "EUR").about(tie.price) in words
    assert abs(below / 20 - tie.share_below) <= 1 / 40 + 1e-9


def test_no_column_of_dots_holds_both_sides_and_none_is_lost() -> None:
    dots = tuple(float(x) for x in np.sort(np.random.default_rng(3).normal(2500, 300, 20)))
    placed = stacked(dots, 2450.0, 320.0)
    assert len(placed) == 20
    for dot, (middle, _) in zip(dots, placed, strict=True):
        assert (dot < 2450.0) == (middle < 2450.0)
    assert len(set(placed)) == 20


def test_the_evidence_is_counted_dated_and_named() -> None:
    found, fit = view(), sheet_fit()
    values = {fact.label: fact.value for fact in found.evidence}
    assert values["Used kits seen"] == str(fit.rows_used)
    assert values["Of them Inishmore"] == str(fit.recipe.rows_by_series[fit.recipe.series.index("Inishmore")])
    assert re.fullmatch(r"\d\d/\d{4} to \d\d/\d{4}", values["Seen"])
    assert "09fb 5c74 a63e" in found.footer
    assert spaced("0123456789abcdef") == "0123 4567 89ab"


# ---- what it keeps to itself ---------------------------------------------------------------------------------------


def test_nothing_private_is_on_it() -> None:
    """Neither what was paid, nor what is left, nor a row of the book."""
    data = given()
    text = page_of(render_sheet(sheet_view(data, tongue("en", "EUR")))).all("body")[0].text.replace(",", "")
    private = [donor.price for donor in data.plan.donor] + [donor.freight for donor in data.plan.donor]
    private += [data.pricing.sale.profit, data.comparison.sheet.net_cost, data.pricing.quote.floor]
    for amount in private:
        assert amount is not None
        assert not re.search(rf"(?<!\d){amount:.2f}", text), amount
    for word in ("profit", "row ", "ref", "margin"):
        assert not re.search(rf"\b{word}", text.lower()), word


@pytest.mark.parametrize("language", ALL)
@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_stay_text(language: str, name: str) -> None:
    tables = worked.plan_tables()
    plan = worked.plan(
        title=name, donor=[{**d, "series": name} for d in tables["donor"]],
        work=[{**w, "what": name} for w in tables["work"]],
    )  # fmt: skip
    shop = worked.shop()
    shop = shop.model_copy(update={"shop": shop.shop.model_copy(update={"name": name + " {shop} %s"})})
    page = page_of(render_sheet(view(language, plan=plan, shop=shop)))
    assert name in page.all("h1")[0].text
    assert f"{name} {{shop}} %s" in page.all("h1")[0].text
    assert page.all("script") == []
    assert page.all("b") == [e for e in page.all("b") if e.text != "bold"]


def test_equal_input_gives_equal_text() -> None:
    assert render_sheet(view()) == render_sheet(view())


# ---- on the screen and on paper ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with launched() as found:
        yield found


@needs_browser
@pytest.mark.parametrize("language", ALL)
def test_it_fits_every_width_and_asks_nobody(browser: Browser, tmp_path: Path, language: str) -> None:
    file = tmp_path / "sheet.html"
    file.write_text(render_sheet(view(language, **MARGIN)), encoding="utf-8")
    for width in (360, 768, 1200):
        page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme="dark")
        heard = listened(page)
        page.goto(file.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert heard.asked == []
        assert heard.complaints == []
        drawn = page.evaluate(
            "[...document.querySelectorAll('svg[role=img]')].filter(s => s.getBoundingClientRect().width > 0).length"
        )
        assert drawn == 2
        page.close()


@needs_browser
@pytest.mark.parametrize("language", ALL)
@pytest.mark.parametrize("costs", [True, False])
def test_it_prints_on_two_pages_of_a4(browser: Browser, tmp_path: Path, language: str, costs: bool) -> None:
    file = tmp_path / "sheet.html"
    file.write_text(render_sheet(view(language, show_costs=costs)), encoding="utf-8")
    page = browser.new_page()
    page.goto(file.as_uri())
    printed = page.pdf(prefer_css_page_size=True)
    page.close()
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", printed)) <= 2
    boxes = {
        tuple(round(float(x)) for x in box.split()[2:]) for box in re.findall(rb"/MediaBox\s*\[([^]]*)\]", printed)
    }
    assert boxes <= {A4, (596, 842), (595, 841)}


@pytest.mark.parametrize("language", ALL)
def test_the_pdf_carries_its_fonts_and_is_the_same_each_time(language: str) -> None:
    pytest.importorskip("fpdf")
    from kitvalue.pages.sheet.pdf import sheet_pdf

    data = sheet_pdf(view(language, **MARGIN), TODAY).data
    assert data.startswith(b"%PDF-")
    assert data.count(b"/FontFile2") == 2
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", data)) <= 2
    assert sheet_pdf(view(language, **MARGIN), TODAY).data == data
    assert sheet_pdf(view(language, **MARGIN), date(2026, 11, 26)).data != data


@pytest.mark.parametrize("name", HOSTILE)
def test_the_pdf_takes_any_name(name: str) -> None:
    pytest.importorskip("fpdf")
    from kitvalue.pages.sheet.pdf import sheet_pdf

    document = sheet_pdf(view(plan=worked.plan(title=name)), TODAY)
    assert document.data.startswith(b"%PDF-")
    assert set(document.lacking) == {sign for sign in name if sign in "太鼓ドラム三点セット🥁🎉"}

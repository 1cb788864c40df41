from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace
from functools import cache
from itertools import pairwise

import pytest

from kitvalue.intake.text.problems import Caution, Level
from kitvalue.market.fit import fit_book
from kitvalue.pages.report import ReportInput, report_page
from tests.market.books import invented_book
from tests.pages import given as g
from tests.pages.markup import Element, page_of

LIMIT = 1_500_000  # bytes


def render_report(given: ReportInput) -> str:
    return report_page(given).html


@cache
def html() -> str:
    return render_report(g.given())


@cache
def page() -> Element:
    return page_of(html())


def test_nothing_from_outside_and_no_script() -> None:
    text = html()
    assert not re.search(r"https?:|//[a-z]|javascript:|@import|url\((?!#)", text)
    assert not page().all("script")
    assert not page().all("link")
    assert not [e for e in page().inside for key in e.attributes if key.startswith("on") or key in ("src", "style")]


def test_the_policy_allows_the_one_style_sheet_and_nothing_else() -> None:
    style = page().all("style")
    assert len(style) == 1
    digest = base64.b64encode(hashlib.sha256(style[0].text.encode()).digest()).decode()
    policy = next(m for m in page().all("meta") if m.attributes.get("http-equiv") == "Content-Security-Policy")
    assert policy.attributes["content"].startswith(f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:")


def test_language_title_and_headings_in_order() -> None:
    assert page().all("html")[0].attributes["lang"] == "en"
    assert page().all("title")[0].text == "Dock Road Drums: price book report, 25\u00a0November 2026"
    levels = [int(e.tag[1]) for e in page().inside if re.fullmatch("h[1-6]", e.tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_ids_are_unique_and_every_reference_is_met() -> None:
    ids = [e.attributes["id"] for e in page().inside if "id" in e.attributes]
    assert len(ids) == len(set(ids))
    wanted = {
        name
        for e in page().inside
        for key, value in e.attributes.items()
        for name in (
            [value[1:]]
            if key == "href"
            else value.split()
            if key == "aria-labelledby"
            else re.findall(r"url\(#(.*?)\)", value)
        )
    }  # fmt: skip
    assert wanted <= set(ids)
    assert "market" in wanted


def test_every_table_has_a_caption_and_every_heading_cell_a_scope() -> None:
    tables = page().all("table")
    assert len(tables) > 12
    for table in tables:
        assert table.all("caption")[0].text
        assert all(th.attributes["scope"] in ("col", "row") for th in table.all("th"))
        heads = len([th for th in table.all("th") if th.attributes["scope"] == "col"])
        for row in table.all("tr")[1:]:
            assert len(row.all("th")) == 1
            assert len(row.all("td")) == heads - 1


def test_every_chart_has_a_spoken_title_two_widths_and_its_numbers() -> None:
    figures = page().all("figure")
    assert {f.attributes["id"] for f in figures} == {
        "prices-by-series", "over-time", "predicted", "offers-against-value", "build-1-cost", "build-1-even",
        "build-1-swings",
    }  # fmt: skip
    for figure in figures:
        drawn = [s for s in figure.all("svg") if s.attributes.get("role") == "img"]
        assert [s.attributes["class"] for s in drawn] == ["wide", "narrow"]
        for svg in drawn:
            assert svg.all("title")[0].text == figure.all("figcaption")[0].text
            assert len(svg.all("desc")[0].text) > 20
        assert len(figure.all("table")) == 1
        assert len(figure.all("tr")) > 1


def test_one_sale_and_market_level_are_named_apart() -> None:
    series = next(t for t in page().all("table") if t.all("caption")[0].text.startswith("What each series fetches"))
    heads = [th.text for th in series.all("th") if th.attributes["scope"] == "col"]
    assert "Market level, 80 %" in heads
    assert "One sale, 80 %" in heads


def test_equal_input_gives_equal_text() -> None:
    assert render_report(g.given()) == html()


@pytest.fixture(scope="module")
def hostile() -> str:
    fit = g.renamed(g.fit_of(), g.HOSTILE)
    builds = tuple(g.build(name) for name in g.HOSTILE[:2])
    problem = replace(g.PROBLEM, file=f"{g.HOSTILE[0]}.csv", message=g.HOSTILE[1], column=g.HOSTILE[5])
    offers = tuple(g.offer(fit, name, name, "200") for name in g.HOSTILE)
    lost = replace(offers[0], offer=replace(offers[0].offer, offer="lost"), valuation=None, reason=g.HOSTILE[5])
    return render_report(
        replace(
            g.given(fit), shop_name=g.HOSTILE[0], builds=builds, problems=(problem,), offers=(*offers, lost),
            cautions=(Caution("any", g.HOSTILE[5]),),
        )
    )  # fmt: skip


def test_hostile_names_stay_text_and_are_escaped_once(hostile: str) -> None:
    assert "<script" not in hostile
    assert "<b>bold" not in hostile
    assert not re.search(r"&amp;(lt|gt|amp|quot|#)", hostile)
    found = page_of(hostile)  # fails where a name closes an element
    cells = [e.text for e in found.inside if e.tag in ("td", "th")]
    assert set(g.HOSTILE) <= set(cells)
    assert "🥁 kit 🎉 49" not in hostile
    assert found.all("h1")[0].text.startswith(g.HOSTILE[0])


def test_hostile_names_are_text_in_the_pictures(hostile: str) -> None:
    drawn = "\n".join(t.text for t in page_of(hostile).all("text"))
    for name in (g.HOSTILE[1][:12], "太鼓", "🥁 kit 🎉", "<script>aler", "Ballyvaughan"):
        assert name in drawn
    assert "kv" not in drawn


@pytest.mark.parametrize("bad", ["\x00", "\x1b", "\u202e", "\ud800", "\ufffe"])
def test_signs_that_hide_or_turn_text_are_made_visible(bad: str) -> None:
    fit = g.renamed(g.fit_of(), (f"a{bad}b", "B", "C", "D", "E", "F"))
    text = render_report(replace(g.given(fit, builds=0), shop_name=f"Dock{bad}Road"))
    text.encode()
    assert bad not in text
    assert "Dock\ufffdRoad" in text
    assert "a\ufffdb" in text


def test_size_is_bounded_with_500_rows_100_offers_and_long_names() -> None:
    fit = g.renamed(g.fit_of(500, 30), [f"{g.LONG[:70]}{i}" for i in range(30)])
    text = render_report(g.given(fit, builds=2, how_many=100))
    assert len(text.encode()) < LIMIT
    assert "18\u00a0further series with fewer rows in the table below." in text
    assert "and 80\u00a0more in the table below" in text


def test_a_build_without_an_answer_says_why_and_the_rest_is_there() -> None:
    lost = g.BuildSeen("Odd one", None, None, None, "no donor Z")
    found = page_of(render_report(replace(g.given(), offers=(), builds=(lost,))))
    assert "Cannot be computed: no donor Z" in found.all("article")[0].text
    assert "450-500" in found.text
    assert "nan" not in found.text.lower().split()


def test_costs_without_a_comparison() -> None:
    whole = g.build()
    half = replace(whole, pricing=None, comparison=None, reason="no rows of Inishmore in the price book")
    found = page_of(render_report(replace(g.given(), builds=(half,))))
    article = found.all("article")[0]
    assert [f.attributes["id"] for f in article.all("figure")] == ["build-1-cost"]
    assert article.text.count("Cannot be computed: no rows of Inishmore in the price book") == 2


def test_offers_without_a_value_are_listed_with_the_reason() -> None:
    fit = g.fit_of()
    unknown = g.offer(fit, "D99", "Ardnagall", "300")
    found = page_of(render_report(replace(g.given(), offers=(unknown,))))
    section = next(s for s in found.all("section") if s.attributes["id"] == "offers")
    assert "Offers that cannot be valued" in section.text
    assert 'no rows of "Ardnagall" in the price book' in section.text
    assert not section.all("figure")


def test_cautions_of_the_page_are_not_repeated_in_each_build() -> None:
    found = page_of(render_report(g.given(builds=2)))
    shared = "VAT rules differ by country"
    assert found.text.count(shared) == 1


def test_a_build_that_loses_leads_with_the_market() -> None:
    seen = g.build()
    assert seen.pricing is not None
    found = page_of(render_report(g.given()))
    first = found.all("article")[0].all("dt")[0].text
    assert seen.pricing.quote.binding == "floor"
    assert first == "The market gives"


def test_a_book_of_asked_prices_alone_is_shown_as_asked() -> None:
    book = invented_book(features=True)
    fit = fit_book(replace(book, price_kind=book.price_kind * 0), None)
    found = page_of(render_report(g.given(fit)))
    assert "asked in private" in next(s for s in found.all("section") if s.attributes["id"] == "market").text
    assert "the book holds asked prices only" in found.text  # why no offer has a value
    assert "made without its accuracy" in found.text


def test_exact_prices_have_no_ranges_and_say_so() -> None:
    fit = fit_book(invented_book(sigma=0.0), None)
    assert fit.exact
    found = page_of(render_report(g.given(fit)))
    series = next(t for t in found.all("table") if t.all("caption")[0].text.startswith("What each series fetches"))
    assert series.all("tr")[1].all("td")[2].text == "no range: exact prices"
    assert "The prices follow a formula exactly" in found.text


def test_series_that_stand_alone_are_held_against_the_first() -> None:
    found = page_of(render_report(g.given(fit_book(invented_book(), None, pooled=False, robust=False))))
    assert "Against Series A" in {th.text for th in found.all("th")}
    assert "Each series stands alone. Every row counts in full." in found.text
    assert not [th for th in found.all("th") if "series[" in th.text]


def test_a_series_named_with_the_signs_of_headings_is_one_column() -> None:
    book = invented_book()
    fit = fit_book(replace(book, series_names=("A | b<", *book.series_names[1:])), None, pooled=False)
    found = page_of(render_report(g.given(fit)))
    series = next(t for t in found.all("table") if t.all("caption")[0].text.startswith("What each series fetches"))
    heads = [th.text for th in series.all("th") if th.attributes["scope"] == "col"]
    assert heads[-1] == "Against A | b<"
    assert len(heads) == 1 + len(series.all("tr")[1].all("td"))


def test_many_problems_are_bounded_and_the_worst_come_first() -> None:
    warning = replace(g.PROBLEM, level=Level.WARNING, message="noted only")
    found = page_of(render_report(replace(g.given(), problems=(*[warning] * 99, g.PROBLEM))))
    table = next(t for t in found.all("table") if t.all("caption")[0].text == "Problems in the files")
    assert len(table.all("tr")) == 81
    assert "450-500" in table.all("tr")[1].text
    assert "and 20 more: kitvalue check lists them all" in found.text

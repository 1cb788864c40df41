"""Grades that were probably read the wrong way round: what is said of them, where, and when it is not."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kitvalue.commands.folder import ShopMarket
from kitvalue.intake.books.book import PriceBook
from kitvalue.intake.text.problems import Caution, FileCounts, texts
from kitvalue.market.encoding import Kit
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import following, leading, upside_down
from kitvalue.market.outlook import known_cautions, value_kit
from tests.market.books import invented_book


def turned(book: PriceBook) -> PriceBook:
    """The same book in school marks: 1 the best."""
    return replace(book, condition=6 - book.condition)


def test_a_turned_scale_is_told_first_with_its_size_and_its_cure() -> None:
    fit = fit_book(turned(invented_book()), None)
    condition = next(term for term in fit.terms if term.name == "condition")
    assert condition.high < 0
    assert condition.percent is not None
    said = fit.cautions[0]
    assert said.code == "grades_turned"
    assert f"one grade better comes out {-condition.percent:.0f} % cheaper" in said.text
    assert "5 is the best grade and 1 the worst" in said.text
    for mapping in ('"1" = "wipe"', '"2" = "freshen"', '"3" = "mend"', '"4" = "remake"', '"5" = "harvest"'):
        assert mapping in said.text
    assert not [text for text in texts(fit.cautions) if "come out cheaper in this book" in text]
    kit = Kit("Series A", 5, 3)
    assert known_cautions(fit, kit)[0] == said
    assert value_kit(fit, kit, None, 80).cautions[0] == said
    market = ShopMarket(fit, FileCounts("prices.csv", 120, 100, 20, 0, None, None, None), ())
    assert market.cautions[0] == said
    assert market.cautions[1].code == "refused_rows"
    assert "20 of 120 rows" in market.cautions[1].text


def test_a_scale_the_right_way_round_says_nothing() -> None:
    fit = fit_book(invented_book(), None)
    assert upside_down(fit.terms) is None
    assert not leading(fit.cautions)


def test_a_range_that_holds_zero_is_no_proof() -> None:
    fit = fit_book(invented_book(), None)
    at = next(n for n, term in enumerate(fit.terms) if term.name == "condition")
    base = replace(fit.terms[at], coefficient=-0.1, percent=-9.5, low=-0.2)
    assert upside_down([replace(base, high=0.0)]) is None
    assert upside_down([replace(base, high=0.05)]) is None
    assert upside_down([replace(base, high=-1e-9)]) is not None
    assert upside_down([replace(base, name="log_pieces", high=-0.1)]) is None


@pytest.mark.parametrize(("percent", "told"), [(-16.4, "16 %"), (-1.0, "1 %"), (-0.4, "0.4 %")])
def test_a_small_effect_is_not_told_as_none(percent: float, told: str) -> None:
    term = next(term for term in fit_book(invented_book(), None).terms if term.name == "condition")
    said = upside_down([replace(term, coefficient=-0.1, low=-0.2, high=-0.01, percent=percent)])
    assert said is not None
    assert f"comes out {told} cheaper" in said.text


def test_cautions_are_parted_and_told_once() -> None:
    lead = upside_down(fit_book(turned(invented_book()), None).terms)
    assert lead is not None
    one, two = Caution("one", "one"), Caution("two", "two")
    said = (one, lead, two, lead, one)
    assert leading(said) == (lead.text,)
    assert following(said) == ("one", "two")

"""How far prices have moved: the time effect between two kits that differ in nothing but the day."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from kitvalue.market.encoding import Kit
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import moved
from kitvalue.market.outlook import outlook
from tests.market.books import invented_book


def test_the_move_is_what_two_days_differ_by() -> None:
    fit = fit_book(invented_book(n=90), None)
    newest = fit.recipe.reference_date
    assert newest is not None
    since = newest - timedelta(days=400)
    kit = Kit("Series A", 5, 3)
    now, then = outlook(fit, kit).typical, outlook(fit, replace(kit, on=since)).typical
    found = moved(fit, since, None, 80)
    assert found.percent == pytest.approx(100 * (now / then - 1), rel=1e-9)
    assert found.to == newest
    assert found.low is not None
    assert found.high is not None
    assert found.low < found.percent < found.high


def test_the_range_is_that_of_the_yearly_effect() -> None:
    fit = fit_book(invented_book(n=90), None)
    newest = fit.recipe.reference_date
    assert newest is not None
    term = next(t for t in fit.terms if t.name == "years")
    found = moved(fit, newest - timedelta(days=731), newest, 95)
    assert found.low == pytest.approx(100 * np.expm1(731 / 365.25 * term.low), rel=1e-6)
    assert found.high == pytest.approx(100 * np.expm1(731 / 365.25 * term.high), rel=1e-6)


def test_backwards_the_range_stays_in_order() -> None:
    fit = fit_book(invented_book(n=90), None)
    newest = fit.recipe.reference_date
    assert newest is not None
    found = moved(fit, newest + timedelta(days=100), newest, 80)
    assert found.low is not None
    assert found.high is not None
    assert found.low < found.high


def test_a_book_of_one_day_says_why_it_cannot_tell() -> None:
    book = invented_book(n=40)
    fit = fit_book(replace(book, date=np.full(40, book.date[0])), None)
    day = fit.recipe.reference_date
    assert day is not None
    found = moved(fit, day - timedelta(days=30), None, 80)
    assert found.percent is None
    assert "0 days" in (found.reason or "")

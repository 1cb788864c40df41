"""Tables made of solved equations, against statsmodels, and the words beside them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from kitvalue.intake.text.problems import texts
from kitvalue.market.encoding import Kit
from kitvalue.market.fit import fit_book, wrong_signs
from kitvalue.market.outlook import known_cautions, outlook
from tests.market.books import invented_book


def test_series_effects_without_pooling_are_statsmodels_treatment_coefficients() -> None:
    book = invented_book(n=90, series=5, seed=3)
    fit = fit_book(book, None, robust=False, pooled=False)
    frame = pd.DataFrame({
        "y": np.log(book.price), "pieces": np.log(book.pieces), "condition": book.condition, "sold": book.price_kind,
        "dealer": book.channel == 1, "auction": book.channel == 2, "days": (book.date - book.date.max()).astype(float),
        "series": [book.series_names[s] for s in book.series],
    })  # fmt: skip
    peer = smf.ols("y ~ pieces + condition + sold + dealer + auction + days + C(series)", frame.astype(
        {"dealer": float, "auction": float})).fit()  # fmt: skip
    assert fit.series[0].effect == 0.0
    for one in fit.series[1:]:
        effect = peer.params[f"C(series)[T.{one.name}]"]
        assert one.effect == pytest.approx(effect, abs=1e-9)
        assert one.percent == pytest.approx(100 * (np.exp(effect) - 1), abs=1e-7)


def test_what_a_term_does_to_the_price_is_told_for_one_unit_and_of_pieces_for_twice_as_many() -> None:
    """exp(b) - 1 of the price (Halvorsen and Palmquist 1980, from memory); 2 ** b - 1 is what twice the pieces do to a
    price that goes with pieces ** b."""
    fit = fit_book(invented_book(n=90, series=5, seed=3), None)
    assert fit.terms[0].name == "intercept"
    assert (fit.terms[0].percent, fit.terms[0].percent_low, fit.terms[0].percent_high) == (None, None, None)
    assert {"log_pieces", "condition"} <= {term.name for term in fit.terms}
    for term in fit.terms[1:]:
        base = 2.0 if term.name == "log_pieces" else float(np.e)
        told = (term.percent, term.percent_low, term.percent_high)
        assert told == pytest.approx([100 * (base**b - 1) for b in (term.coefficient, term.low, term.high)], abs=1e-7)


def test_a_series_of_three_rows_is_no_longer_a_thin_one() -> None:
    book = invented_book(n=60, series=4)
    for rows, words in ((1, "has only 1 row in"), (2, "has only 2 rows in"), (3, None)):
        codes = np.where(book.series == 3, 0, book.series)
        codes[:rows] = 3
        codes[3] = 0 if rows < 4 else codes[3]
        said = known_cautions(fit_book(replace(book, series=codes), None), Kit("Series D", 5, 3))
        thin = [text for text in texts(said) if "has only" in text]
        assert len(thin) == (words is not None)
        assert all(words in text for text in thin if words)


def test_every_figure_of_a_sold_kit_lies_the_haggle_under_that_of_an_asked_one() -> None:
    """A book of asked rows alone: 10 % of haggle is the whole difference, ranges and sample with it."""
    book = invented_book(n=60)
    fit = fit_book(replace(book, price_kind=np.zeros(60, dtype=np.int64)), 10.0)
    asked, sold = (outlook(fit, Kit("Series A", 5, 3, price_kind=kind)) for kind in ("asked", "sold"))  # type: ignore[arg-type]
    for name in ("typical", "mean", "low", "high", "level_low", "level_high"):
        assert getattr(sold, name) == pytest.approx(0.9 * getattr(asked, name), rel=1e-12), name
    np.testing.assert_allclose(sold.sample, 0.9 * asked.sample, rtol=1e-12)


def test_a_small_book_says_nothing_of_drawn_rows() -> None:
    fit = fit_book(invented_book(n=60), None)
    assert not [text for text in texts(fit.cautions) if "drawn from the book" in text]
    book = invented_book(n=60, series=4)
    codes = np.where(book.series == 3, 0, book.series)
    codes[0] = 3  # a row of its own series carries its estimate alone
    alone = fit_book(replace(book, series=codes), None, pooled=False)
    assert any(text.startswith("1 rows carry their own estimate alone") for text in texts(alone.cautions))
    assert not [text for text in texts(alone.cautions) if "drawn from the book" in text]


def test_a_wrong_sign_is_told_with_how_sure_it_is() -> None:
    fit = fit_book(invented_book(n=60), None)
    term = next(t for t in fit.terms if t.name == "condition")
    down = replace(term, coefficient=-0.1, low=-0.2, high=0.05)
    pieces = replace(down, name="log_pieces", high=-0.01)
    said = wrong_signs([term, down, pieces, replace(down, high=-0.01)])
    assert [caution.code for caution in said] == ["wrong_sign_condition", "wrong_sign_log_pieces"]
    assert [caution.text for caution in said] == [
        "kits in better condition come out cheaper in this book (the range allows the opposite): "
        "look for misread rows, or add more kits",
        "bigger kits come out cheaper in this book: look for misread rows, or add more kits",
    ]


def test_sold_kits_that_come_out_dearer_than_asked_ones_are_doubted() -> None:
    """Nobody pays more than is asked (common practice, no source): then asked prices probably stand in sold rows."""
    book = invented_book(n=120)
    dearer = replace(book, price=book.price * np.where(book.price_kind == 1, 1.5, 1.0))
    (said,) = [text for text in texts(fit_book(dearer, None).cautions) if "sold kits" in text]
    assert said == (
        "sold kits come out dearer than those asked for in this book: are their prices those that were paid?"
    )
    slightly = replace(book, price=book.price * np.where(book.price_kind == 1, 1.11, 1.0))
    (said,) = [text for text in texts(fit_book(slightly, None).cautions) if "sold kits" in text]
    assert "(the range allows the opposite)" in said
    assert not [text for text in texts(fit_book(book, None).cautions) if "sold kits" in text]

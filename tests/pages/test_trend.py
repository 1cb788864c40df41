"""The trend picture: what is drawn is what the fit says, and what cannot be told is said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import Fit
from kitvalue.pages.pictures.frame import NARROW, WIDE, Chart, Layout
from kitvalue.pages.pictures.market import HIGHEST, LOWEST
from kitvalue.pages.sections.market import dated_rows, trend_section
from tests.market.books import invented_book
from tests.pages.test_pictures import lines, texts

FIT = fit_book(invented_book(n=90), None)


def trend(fit: Fit) -> Chart:
    chart = trend_section(fit).picture
    assert chart is not None
    return chart


@pytest.mark.parametrize("layout", [WIDE, NARROW], ids=lambda x: x.name)
def test_dots_and_line_are_the_fits(layout: Layout) -> None:
    rows, figure = dated_rows(FIT), trend(FIT).draw(layout)
    ((x, y),) = lines(figure, "effect")
    term = next(t for t in FIT.terms if t.name == "years")
    np.testing.assert_allclose(np.log(y), term.coefficient * np.array(x), atol=1e-12)
    drawn = [*lines(figure, "seen"), *lines(figure, "unusual"), *lines(figure, "beyond")]
    assert sum(len(xs) for xs, _ in drawn) == len(rows) == 90
    for xs, ys in drawn:
        for at, ratio in zip(xs, ys, strict=True):
            near = [r for r in rows if r.at == at]
            assert any(np.clip(r.ratio, LOWEST, HIGHEST) == pytest.approx(ratio) for r in near)
    assert "newest" in texts(figure)


def test_a_dot_is_the_price_with_everything_but_time_evened_out() -> None:
    term = next(t for t in FIT.terms if t.name == "years")
    for r in dated_rows(FIT)[:10]:
        i = int(np.flatnonzero(FIT.book.rows == r.row)[0])
        assert np.log(r.ratio) == pytest.approx(FIT.residuals[i] + term.coefficient * r.at)


def test_the_table_counts_every_kit_once() -> None:
    assert sum(int(row.cells[1]) for row in trend(FIT).table.rows) == 90


def test_a_big_book_is_thinned_and_says_so() -> None:
    fit = fit_book(invented_book(n=900), None)
    assert len(dated_rows(fit)) == 600
    assert "300" in trend(fit).note


def test_without_dates_the_sentence_says_so() -> None:
    book = invented_book(n=40)
    undated = fit_book(replace(book, date=np.full(40, np.datetime64("NaT", "D"), dtype="datetime64[D]")), None)
    assert trend_section(undated).picture is None
    assert "No row has a date" in trend_section(undated).lead
    one_day = fit_book(replace(book, date=np.full(40, book.date[0])), None)
    assert "0 days" in trend_section(one_day).lead

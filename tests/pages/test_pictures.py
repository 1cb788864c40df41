"""What is drawn is what the tables say: the data is read back from the figures."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise
from typing import Any, cast

import numpy as np
import pytest

from kitvalue.market.accuracy import left_out_prices
from kitvalue.market.encoding import paid
from kitvalue.market.fitted import Fit
from kitvalue.pages import charts
from kitvalue.pages.charts import decoded
from kitvalue.pages.figures import amount, cents, number, percent
from kitvalue.pages.pictures.builds import breakeven_figure, cost_steps, costs_figure
from kitvalue.pages.pictures.frame import NARROW, WIDE, Chart, Layout
from kitvalue.pages.pictures.market import SeriesStrip
from kitvalue.pages.sections.builds import build_charts
from kitvalue.pages.sections.market import market_section, trust_section
from kitvalue.pages.sections.offers import offers_chart, valued
from kitvalue.pages.words import capital
from tests.pages import given as g

LAYOUTS = pytest.mark.parametrize("layout", [WIDE, NARROW], ids=lambda x: x.name)
TALLEST = 760  # units
BUILD_PARTS = ("cost", "even", "swings")
OKABE_ITO = (  # Okabe and Ito 2008, Color universal design, all eight: from memory
    "#000000", "#E69F00", "#56B4E9", "#009E73", "#F0E442", "#0072B2", "#D55E00", "#CC79A7",
)  # fmt: skip


def lines(figure: charts.Figure, gid: str) -> list[tuple[list[float], list[float]]]:
    """Drawn lines of one kind, x and y."""
    return [
        ([float(v) for v in np.asarray(line.get_xdata())], [float(v) for v in np.asarray(line.get_ydata())])
        for line in figure.axes[0].get_lines()
        if line.get_gid() == gid
    ]


def texts(figure: charts.Figure) -> list[str]:
    return [decoded(t.get_text()) for t in figure.axes[0].texts]


def bars(figure: charts.Figure, gid: str) -> list[tuple[float, float]]:
    """Drawn bars of one kind, start and width."""
    patches = cast(list[Any], figure.axes[0].patches)
    return [(float(p.get_x()), float(p.get_width())) for p in patches if p.get_gid() == gid]


def market(fit: Fit | None = None) -> tuple[Chart, list[SeriesStrip]]:
    """The picture of the book, and the strips that it is drawn of."""
    chart = market_section(g.fit_of() if fit is None else fit, "EUR").picture
    assert chart is not None
    return chart, cast(Any, chart.draw).args[0]


def of_build(part: str) -> Chart:
    chart = build_charts(g.build(), "b")[part]
    assert chart is not None
    return chart


@LAYOUTS
def test_every_row_is_a_dot_and_in_the_table(layout: Layout) -> None:
    chart, strips = market()
    figure = chart.draw(layout)
    low, high = figure.axes[0].get_xlim()
    rows = [s for strip in strips for s in strip.sightings]
    assert len(rows) == 120
    drawn = [x for xs, _ in lines(figure, "seen") for x in xs]
    assert drawn == [s.at for s in rows if low <= s.at <= high]
    assert [r.cells[6] for r in chart.table.rows] == [amount(s.at) for s in rows]
    assert [xs[0] for xs, _ in lines(figure, "typical")] == [s.outlook.typical for s in strips]


def test_a_row_brought_to_the_kit_keeps_only_what_the_fit_does_not_explain() -> None:
    fit = g.fit_of()
    strip = market()[1][0]
    i = int(np.flatnonzero(fit.book.rows == strip.sightings[0].row)[0])
    assert strip.sightings[0].at == pytest.approx(strip.outlook.typical * np.exp(fit.residuals[i]), rel=1e-12)


@LAYOUTS
def test_a_far_price_stands_at_the_edge_with_its_value(layout: Layout) -> None:
    chart, strips = market()
    figure = chart.draw(layout)
    low, high = figure.axes[0].get_xlim()
    assert low == pytest.approx(min(s.outlook.low or 0 for s in strips) / 1.3)
    assert high == pytest.approx(max(s.outlook.high or 0 for s in strips) * 1.3)
    far = [s for strip in strips for s in strip.sightings if not low <= s.at <= high]
    assert {s.row for s in far} == {12, 22}  # the two slips of the book
    assert sorted(x for xs, _ in lines(figure, "beyond") for x in xs) == [low, high]
    for s in far:
        assert amount(s.at) in texts(figure)


def test_unusual_rows_are_ringed() -> None:
    fit = g.fit_of()
    chart, strips = market()
    figure = chart.draw(WIDE)
    low, high = figure.axes[0].get_xlim()
    marked = {s.row for strip in strips for s in strip.sightings if s.unusual}
    assert marked == {u.row for u in fit.unusual}
    ringed = [x for xs, _ in lines(figure, "unusual") for x in xs]
    marked_rows = [s for strip in strips for s in strip.sightings if s.unusual]
    assert ringed == [s.at for s in marked_rows if low <= s.at <= high]


@LAYOUTS
def test_the_picture_stays_small_with_many_series_and_rows(layout: Layout) -> None:
    chart, strips = market(g.fit_of(500, 30))
    assert len(strips) == 12
    assert sum(len(s.sightings) for s in strips) <= 600
    width, height = (side * charts.UNITS_AN_INCH for side in chart.draw(layout).get_size_inches())
    assert width == pytest.approx(layout.width)
    assert height <= TALLEST
    unusual = {s.row for strip in strips for s in strip.sightings if s.unusual}
    drawn_series = {strip.series.name for strip in strips}
    assert unusual == {u.row for u in g.fit_of(500, 30).unusual if u.series in drawn_series}
    assert unusual


@LAYOUTS
def test_offers_are_drawn_as_listed(layout: Layout) -> None:
    fit = g.fit_of()
    values = valued(g.offers(fit, 30))
    chart, strips = offers_chart(values, "EUR"), [v.strip for v in values[:20]]
    figure = chart.draw(layout)
    assert [r.cells[0] for r in chart.table.rows] == [s.offer for s in strips]
    low, high = figure.axes[0].get_xlim()
    assert [xs[0] for xs, _ in lines(figure, "asked")] == [s.asked for s in strips if low <= s.asked <= high]
    assert [r.cells[1] for r in chart.table.rows] == [amount(s.asked) for s in strips]
    assert [r.cells[2] for r in chart.table.rows] == [amount(xs[0]) for xs, _ in lines(figure, "typical")]
    assert figure.get_size_inches()[1] * charts.UNITS_AN_INCH <= 1000


def test_an_absurd_asking_price_stands_at_the_edge() -> None:
    fit = g.fit_of()
    absurd = [g.offer(fit, "D1", "Series A", "40000"), g.offer(fit, "D2", "Series A", "1")]
    figure = offers_chart(valued(absurd), "EUR").draw(WIDE)
    low, high = figure.axes[0].get_xlim()
    assert high < 2000
    assert [xs[0] for xs, _ in lines(figure, "beyond")] == [high, low]
    assert {"40,000", "1"} <= set(texts(figure))


@LAYOUTS
def test_cost_bars_add_up_to_the_price(layout: Layout) -> None:
    seen = g.build()
    assert seen.sheet is not None
    assert seen.pricing is not None
    steps = cost_steps(seen.sheet, seen.pricing)
    drawn = bars(costs_figure(seen.sheet, seen.pricing, layout), "bar")
    assert drawn == [(pytest.approx(s.start), pytest.approx(s.amount)) for s in steps]
    parts = [s for s in steps if s.kind != "sum"]
    for before, after in pairwise(parts):
        assert after.start == pytest.approx(before.end)
    assert parts[-1].end == pytest.approx(float(seen.pricing.sale.gross))
    assert [r.cells[1] for r in of_build("cost").table.rows] == [number(w, 2) for _, w in drawn]
    net = next(s for s in steps if s.label == "Net cost")
    assert net.amount == float(seen.sheet.net_cost)


@LAYOUTS
def test_break_even_lines_are_the_table(layout: Layout) -> None:
    found = g.build().comparison
    assert found is not None
    figure = breakeven_figure(found, layout)
    table = of_build("even").table
    for gid, column in (("cost", 1), ("price", 3), ("original", 4)):
        ((xs, ys),) = lines(figure, gid)
        assert [str(int(x)) for x in xs] == [r.cells[0] for r in table.rows]
        assert ys == [float(r.cells[column].replace(",", "")) for r in table.rows]
    assert [xs for xs, _ in lines(figure, "crossing")] == [[c.pieces] for c in found.crossings.crossings]
    ranged = [c for c in found.crossings.crossings if c.low is not None]
    assert [xs for xs, _ in lines(figure, "crossing-range")] == [[c.low, c.high] for c in ranged]
    assert cents(found.by_pieces[0].quote.landed_at_cost) == table.rows[0].cells[1]


def test_a_far_range_does_not_stretch_the_break_even() -> None:
    found = g.build().comparison
    assert found is not None
    rows = found.by_pieces
    far = replace(found, by_pieces=(*rows[:-1], replace(rows[-1], original_high=Decimal(90_000))))
    figure = breakeven_figure(far, WIDE)
    highest = max(max(r.quote.landed_at_cost, r.quote.landed_at_price, r.quote.original_landed) for r in rows)
    assert figure.axes[0].get_ylim()[1] < 2.1 * float(highest)
    assert "one sale up to 90,000 ↑" in texts(figure)
    assert not [text for text in texts(breakeven_figure(found, WIDE)) if text.startswith("one sale up to")]


@LAYOUTS
def test_a_single_size_can_be_drawn(layout: Layout) -> None:
    found = g.build().comparison
    assert found is not None
    single = replace(found, by_pieces=found.by_pieces[-1:], crossings=replace(found.crossings, crossings=()))
    ((xs, _),) = lines(breakeven_figure(single, layout), "cost")
    assert xs == [found.by_pieces[-1].sheet.pieces]


@LAYOUTS
def test_swings_are_the_table(layout: Layout) -> None:
    found = g.build().comparison
    assert found is not None
    chart = of_build("swings")
    figure, table = chart.draw(layout), chart.table
    ups, downs = ([getattr(u, name) for u in found.unknowns] for name in ("swing_up", "swing_down"))
    assert [w for _, w in bars(figure, "larger")] == [float(up) for up in ups if up is not None]
    assert [w for _, w in bars(figure, "smaller")] == [float(down) for down in downs if down is not None]
    for unknown, row in zip(found.unknowns, table.rows, strict=True):
        assert row.cells[0] == capital(unknown.name)
        if unknown.swing_up is not None:
            told = row.cells[6].replace(",", "").replace("−", "-")
            assert told == f"{round(float(unknown.swing_up)):+d}".replace("+0", "0")


@LAYOUTS
def test_only_the_palette_is_used(layout: Layout) -> None:
    allowed = {c.lower() for c in (*OKABE_ITO, charts.INK, charts.FADED, charts.RULE, charts.PAPER)}
    with charts.drawing():
        drawn = [market()[0], offers_chart(valued(g.offers(g.fit_of())), "EUR"), *map(of_build, BUILD_PARTS)]
        svgs = [charts.svg_of(chart.draw(layout)) for chart in drawn]
    for svg in svgs:
        assert set(re.findall(r"#[0-9a-f]{6}\b", svg.lower())) <= allowed
        assert "<text" in svg


@LAYOUTS
def test_predicted_dots_are_the_table(layout: Layout) -> None:
    fit = g.fit_of()
    assert fit.accuracy is not None
    chart = trust_section(fit, "EUR").picture
    assert chart is not None
    figure, predicted, prices = chart.draw(layout), left_out_prices(fit), paid(fit.book)
    drawn = {
        (x, y) for gid in ("seen", "unusual") for xs, ys in lines(figure, gid) for x, y in zip(xs, ys, strict=True)
    }
    near = ~np.isin(fit.book.rows, (12, 22))  # all but the two slips
    assert len(drawn) + 2 == len(predicted) == 120
    assert {float(ratio) for ratio in (prices / predicted)[near]} == {y for _, y in drawn}
    low, high = figure.axes[0].get_xlim()
    assert {float(at) for at in predicted[near] if low <= at <= high} <= {x for x, _ in drawn}
    assert len([x for xs, _ in lines(figure, "beyond") for x in xs]) == 2
    assert f"row 12: seen {amount(prices[fit.book.rows == 12][0])}" in texts(figure)
    assert fit.accuracy.median_ape == pytest.approx(100 * float(np.median(abs(predicted / prices - 1))))
    assert f"is within {percent(fit.accuracy.median_ape)}." in chart.description
    assert [r.cells[0] for r in chart.table.rows] == [str(row) for row in fit.book.rows]
    assert [r.cells[2] for r in chart.table.rows] == [amount(at) for at in predicted]


def test_a_row_is_predicted_without_itself() -> None:
    fit = g.fit_of()
    slip, predicted = fit.book.rows == 12, left_out_prices(fit)
    expected = next(u.expected for u in fit.unusual if u.row == 12)
    assert predicted[slip] == pytest.approx(expected, rel=1e-9)
    assert paid(fit.book)[slip] > 4 * predicted[slip]

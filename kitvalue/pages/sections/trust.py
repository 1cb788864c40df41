"""How far the figures can be trusted: foretold prices against real ones, and the rows that fit nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from kitvalue.market.accuracy import left_out_prices
from kitvalue.market.encoding import paid
from kitvalue.market.fitted import Accuracy, Fit
from kitvalue.pages.pictures.frame import Caption, Chart, Key, chart, thinned
from kitvalue.pages.pictures.market import Foretold, ForetoldPicture, foretold_figure
from kitvalue.pages.words import (
    NBSP,
    NOT_COMPUTED,
    Row,
    Table,
    amount,
    and_more,
    change,
    count,
    figures,
    number,
    percent,
    sentences,
    words,
)

MOST_UNUSUAL = 40
MOST_DRAWN = 600
NEARLY_ALL = 0.005  # share of foretold prices beyond each end of the axis


@dataclass(frozen=True, slots=True)
class TrustView:
    """The section on accuracy: one sentence, and each measure beside what a perfect model would show."""

    lead: str
    picture: Chart | None
    measures: Table | None
    reasons: tuple[str, ...]


def trust_view(fit: Fit, currency: str) -> TrustView:
    """The accuracy of a fit in words an owner understands."""
    found = fit.accuracy
    if found is None:
        return TrustView(f"{NOT_COMPUTED}: the fit was made without its accuracy.", None, None, ())
    lead = (
        f"Asked for kits that it has not seen, the fit is within {percent(found.median_ape)} of the real price for "
        f"every second one."
    )
    if found.coverage_80 is not None:
        lead += f" Of the ranges that should hold 80 in 100 sales, {number(found.coverage_80)} in 100 did."
    return TrustView(lead, _picture(fit, found, currency), _measures(found), found.reasons)


def foretold_picture(fit: Fit, found: Accuracy, currency: str) -> ForetoldPicture:
    """Every row of the sample, or so many evenly spaced by their foretold price and the unusual ones."""
    foretold, seen = left_out_prices(fit), paid(fit.book)
    unusual = {u.row for u in fit.unusual}
    rows = [
        Foretold(int(row), fit.book.series_names[code], float(f), float(s), int(row) in unusual)
        for row, code, f, s in zip(fit.book.rows, fit.book.series, foretold, seen, strict=True)
    ]
    drawn = thinned(rows, MOST_DRAWN, lambda r: r.unusual, lambda r: r.foretold)
    low, high = (float(q) for q in np.quantile(foretold, [NEARLY_ALL, 1 - NEARLY_ALL]))
    return ForetoldPicture(currency, drawn, found.median_ape, (low, high))


def _picture(fit: Fit, found: Accuracy, currency: str) -> Chart:
    picture = foretold_picture(fit, found, currency)
    left = len(fit.book) - len(picture.rows)
    caption = Caption(
        id="foretold",
        title="Each kit against its price as the other rows foretell it",
        description=f"{count(len(picture.rows), 'dot')}: the price seen against the foretold one, over the foretold "
        f"price in {currency}. Every second kit is within {percent(picture.half)}.",
        keys=(
            Key("dot", "a kit seen"),
            Key("range", f"within {percent(picture.half)}: every second kit"),
            Key("ring", "unusual row"),
        ),
        note=f"{count(left, 'row')} not drawn." if left else "",
    )
    return chart(caption, foretold_table(picture), lambda layout: foretold_figure(picture, layout))


def foretold_table(picture: ForetoldPicture) -> Table:
    """The numbers behind the dots."""
    return Table(
        caption=f"The numbers of the picture, {picture.currency}",
        columns=(
            figures("Row"), words("Series"), figures("Foretold"), figures("Seen"), figures("Seen against foretold"),
        ),
        rows=tuple(
            Row((str(r.row), r.series, amount(r.foretold), amount(r.seen), change(100 * (r.ratio - 1))),
                "marked" if r.unusual else "")
            for r in picture.rows
        ),
    )  # fmt: skip


def _measures(found: Accuracy) -> Table:
    rows = (
        Row(("Median error", percent(found.median_ape, 1), "above 0 %",
             "Half of all prices are foretold at least this closely.")),
        Row(("80 % ranges that held", _or(found.coverage_80, lambda x: percent(x, 0)), "80 %",
             "Under 80 the ranges are too narrow, over 80 too cautious.")),
        Row((f"Median error, {count(found.forward_rows, 'kit')} of later quarters",
             _or(found.forward_median_ape, lambda x: percent(x, 1)), "above 0 %",
             "Each quarter foretold from the ones before it, as in daily use.")),
        Row(("Middle ratio", number(found.median_ratio, 3), "1.000",
             "Foretold over real: above 1 the fit is too dear, below 1 too cheap.")),
        Row(("Dispersion (COD)", percent(found.cod, 1), "above 0 %",
             "How far foretold over real lies from its middle on average.")),
        Row(("Price-related differential (PRD)", _or(found.prd, lambda x: number(x, 3)),
             _or(found.prd_expected, lambda x: number(x, 3)),
             "Further above means that dear kits come out too cheap beside cheap ones.")),
        Row(("Price-related bias (PRB)", _or(found.prb, lambda x: change(100 * x, 1)), "near 0 %",
             "What the foretold price gains or loses each time the value doubles.")),
    )  # fmt: skip
    return Table(
        caption="How well the fit foretells kits that it has not seen",
        columns=(words("Measure"), figures("This book"), figures("A perfect model"), sentences("What it says")),
        rows=rows,
        notes=("COD, PRD and PRB count every row in full, slips and bundles too: a single one moves them far.",),
    )


def _or(value: float | None, write: Callable[[float], str]) -> str:
    return NOT_COMPUTED if value is None else write(value)


@dataclass(frozen=True, slots=True)
class UnusualView:
    """The rows that fit nothing else."""

    lead: str
    rows: Table | None


def unusual_view(fit: Fit, currency: str) -> UnusualView:
    """Rows with a weight under one half, the furthest first."""
    found = fit.unusual
    if not found:
        return UnusualView("No row lies far from what the others say of it.", None)
    rows = tuple(
        Row((f"Row{NBSP}{u.row}", u.series, amount(u.observed), amount(u.expected), number(u.weight, 2),
             change(u.moves_percent, 1), u.hint or "no guess"))
        for u in found[:MOST_UNUSUAL]
    )  # fmt: skip
    table = Table(
        caption=f"Rows of prices.csv far from what the others say of them, {currency}",
        columns=(
            words("Where"), words("Series"), figures("Price seen"), figures("Expected"), figures("Weight"),
            figures("Moves the price by"), sentences("Perhaps"),
        ),
        rows=rows,
        notes=(
            *and_more(len(found) - MOST_UNUSUAL, "more rows", "kitvalue fit lists them all"),
            "Weight: how much the row still counts, from 0 to 1. Moves: what it does to the price of a kit like it.",
        ),
    )  # fmt: skip
    lead = (
        f"{count(len(found), 'row')} of {number(fit.rows_used)} count for less than half, because nothing else in the "
        "book agrees with them. Nothing is thrown away; a slip mended in the file helps every figure here."
    )
    return UnusualView(lead, table)

"""`value` as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kitvalue.market.comparables import Comparable
from kitvalue.market.trend import Moved
from kitvalue.market.unusual import UNUSUAL_WEIGHT, weighs_nothing
from kitvalue.market.value import Valuation
from kitvalue.pages.terminal.care import first_of_all, take_care
from kitvalue.pages.terminal.kits import as_of_words, grade, kit_words
from kitvalue.pages.terminal.table import Column, money, percent, span, table, wrapped
from kitvalue.workshop.money import ZERO

GROUP_WORDS = {"basis": "asked to sold"}


def value_text(
    valuation: Valuation, move: Moved | None, currency: str, cautions: Sequence[str], holding: Decimal = ZERO,
    asked: str = "",
) -> str:  # fmt: skip
    """What is to be said of a price asked, buy-in and resale with both ranges, and the sightings behind them, the
    adjustments of each under it."""
    notes = [*_alike(valuation), f"asked to sold rests on {valuation.buy_in.rests_on}", *_held(holding), *_moved(move)]
    if not asked:
        notes.append("what it may cost you is less: --asked and his price take off work, VAT and margin")
    dated = "" if valuation.kit.on is not None else as_of_words(valuation.as_of)  # else the kit's words have the day
    parts = [
        first_of_all(cautions),
        wrapped(f"{kit_words(valuation.kit)} ({currency}{dated})", "") + "\n",
        asked,
        "\n".join([_values(valuation), *map(wrapped, notes)]) + "\n",
        "The nearest sightings, each adjusted to this kit\n" + _comparables(valuation.comparables) + "\n",
        take_care(cautions),
    ]
    return "\n".join(p for p in parts if p)


def _alike(v: Valuation) -> list[str]:
    """Why resale is no more than buy-in, where it is not."""
    if v.finished != v.kit.condition or v.resale.typical > v.buy_in.typical:
        return []
    if v.resale.typical < v.buy_in.typical:
        return ["resale is below buy-in: dealer rows lie under private ones in this book; are they dealers' prices?"]
    return ["resale equals buy-in: the same condition, and no dealer's price to tell apart"]


def _held(holding: Decimal) -> list[str]:
    return [f"holding it until it is sold costs {money(holding, cents=True)}"] if holding else []


def _moved(m: Moved | None) -> list[str]:
    if m is None:
        return []
    days = f"since {m.since.isoformat()} (to {m.to.isoformat()}) prices"
    if m.percent is None:
        return [f"{days}: cannot be told, {m.reason}"]
    ends = f"{percent(m.low, 1, sign=True)} to {percent(m.high, 1, sign=True)}"
    return [f"{days} have moved {percent(m.percent, 1, sign=True)}  ({ends})"]


def _values(v: Valuation) -> str:
    """Buy-in beside resale, both ranges under the typical price."""
    share = v.buy_in.range_percent
    ways = (v.buy_in, v.resale)
    rows = [
        ("condition", grade(v.kit.condition), grade(v.finished)),
        ("typical", *(money(o.typical) for o in ways)),
        ("average", *(money(o.mean) for o in ways)),
        (f"one sale, {share} %", *(span(o.low, o.high) for o in ways)),
        (f"market level, {share} %", *(span(o.level_low, o.level_high) for o in ways)),
    ]
    return table([Column("", figures=False), Column("buy-in value"), Column("resale value")], rows)


def _comparables(found: tuple[Comparable, ...]) -> str:
    columns = [
        Column("row"), Column("series", figures=False), Column("pieces"), Column("condition"), Column("date"),
        Column("seen"), Column("adjusted"), Column("gross"),
    ]  # fmt: skip
    rows = [
        (
            str(c.row), c.series, f"{c.pieces:g}", f"{c.condition:g}", c.date.isoformat() if c.date else "-",
            money(c.observed), money(c.adjusted), percent(c.gross_percent),
        )
        for c in found
    ]  # fmt: skip
    legend = "gross: all adjustments added up, signs aside; the smaller, the nearer"
    return table(columns, rows, under=[_adjustments(c) for c in found]) + "\n" + wrapped(legend)


def _adjustments(c: Comparable) -> str:
    """`time +4 %, asked to sold -5 %`, and how little the row counts where it is an unusual one."""
    made = [
        f"{GROUP_WORDS.get(a.name, a.name)} {percent(a.percent, 0, sign=True)}"
        for a in c.adjustments
        if round(a.percent) != 0
    ]
    far = f"; far off: {_counts(c.weight)}" if c.weight < UNUSUAL_WEIGHT else ""
    return (", ".join(made) or "nothing to adjust") + far


def _counts(weight: float) -> str:
    return "weighs nothing" if weighs_nothing(weight) else f"weighs {weight:.2f}, not 1"

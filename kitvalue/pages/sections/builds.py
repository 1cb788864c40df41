"""Builds: what each costs, what to ask for it, and how it stands against an original."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kitvalue.decisions.breakeven import Comparison
from kitvalue.decisions.pricing import PriceSheet
from kitvalue.pages.pictures.frame import Chart
from kitvalue.pages.sections import build_cost, build_even
from kitvalue.pages.tables import Fact, Table
from kitvalue.pages.words import NOT_COMPUTED, amount, capital, exact, number, percent, span, with_currency
from kitvalue.workshop.costing import CostSheet

BINDING = {
    "cap": "set by what an original costs at the door",
    "resale": "set by what the market pays for such a kit",
    "floor": "what your margin needs: above what the market gives",
}


@dataclass(frozen=True, slots=True)
class BuildSeen:
    """One plan. What cannot be computed is None, and `reason` says why."""

    name: str
    title: str
    sheet: CostSheet | None
    pricing: PriceSheet | None
    comparison: Comparison | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class BuildView:
    """One build, ready to be laid out: everything that can be told of it."""

    id: str
    title: str
    lead: str
    facts: tuple[Fact, ...]
    ways_out: tuple[str, ...]
    cost: Chart | None
    lines: Table | None
    routes: Table | None
    buying: Table | None
    sale: Table | None
    places: Table | None
    even: Chart | None
    even_words: str
    ties: Table | None
    swings: Chart | None
    like: Table | None
    cautions: tuple[str, ...]


def builds_view(builds: Sequence[BuildSeen], general: Sequence[str]) -> tuple[BuildView, ...]:
    """The section. Cautions that the whole page carries (`general`) are not repeated."""
    return tuple(_build_view(b, f"build-{place}", general) for place, b in enumerate(builds, start=1))


def _build_view(b: BuildSeen, key: str, general: Sequence[str]) -> BuildView:
    sheet, pricing, found = b.sheet, b.pricing, b.comparison
    return BuildView(
        id=key,
        title=b.title,
        lead=lead_words(b),
        facts=_facts(b),
        ways_out=tuple(way.text for way in pricing.ways_out) if pricing else (),
        cost=build_cost.cost_chart(key, sheet, pricing) if sheet else None,
        lines=build_cost.lines_table(sheet) if sheet else None,
        routes=build_cost.routes_table(sheet) if sheet else None,
        buying=build_cost.buying_table(sheet) if sheet and sheet.quantities else None,
        sale=build_cost.sale_table(pricing, sheet.currency) if sheet and pricing else None,
        places=build_cost.places_table(pricing, sheet.currency) if sheet and pricing else None,
        even=build_even.even_chart(key, found) if found else None,
        even_words=build_even.crossing_words(found) if found else build_even.no_comparison(b.reason),
        ties=build_even.tie_table(found) if found else None,
        swings=build_even.swings_chart(key, found) if found else None,
        like=build_even.like_table(found) if found else None,
        cautions=build_cautions(b, general),
    )


def lead_words(b: BuildSeen) -> str:
    """The answer in one sentence, or why there is none."""
    if b.pricing is not None:
        return b.pricing.headline
    return f"{NOT_COMPUTED}: {b.reason or 'no reason is known'}"


def _facts(b: BuildSeen) -> tuple[Fact, ...]:
    facts: list[Fact] = []
    if b.pricing is not None and b.sheet is not None:
        quote, currency = b.pricing.quote, b.sheet.currency
        ask = Fact("Webshop price", with_currency(exact(quote.suggested), currency), BINDING[quote.binding])
        left = "profit" if quote.profit_at_market >= 0 else "loss"
        market = Fact("The market gives", with_currency(amount(quote.market_price), currency),
                      f"{left} there {amount(abs(quote.profit_at_market))}")  # fmt: skip
        facts += [market, ask] if quote.binding == "floor" else [ask, market]
    if b.sheet is not None:
        unknown = f"+ {number(len(b.sheet.incomplete))} unknown" if b.sheet.incomplete else "donors, work, parts"
        facts.append(Fact("Net cost", with_currency(amount(b.sheet.net_cost), b.sheet.currency), unknown))
    if b.comparison is not None:
        facts.append(_even_fact(b.comparison))
    return tuple(facts)


def _even_fact(found: Comparison) -> Fact:
    crossings = found.crossings.crossings
    if not crossings:
        row = found.by_pieces[0]
        sizes = span(row.pieces, found.by_pieces[-1].pieces, number)
        side = "cheaper" if row.build_at_cost <= row.original_typical else "dearer"
        return Fact("Even with an original", "never", f"at cost {side} at all of {sizes} pieces")
    c = crossings[0]
    value = f"{number(c.pieces, 1)} pieces"
    if len(crossings) > 1:
        return Fact("Even with an original", " and ".join(number(x.pieces, 1) for x in crossings), "pieces, see below")
    if c.low is None or c.high is None:
        return Fact("Even with an original", value, c.reason or "")
    ranged = span(c.low, c.high, lambda x: number(x, 1))
    return Fact("Even with an original", value, f"market level: {ranged}, cheaper {c.build_cheaper}")


def build_cautions(b: BuildSeen, general: Sequence[str]) -> tuple[str, ...]:
    """Every caution of this build that the page does not carry already."""
    said = [
        *(b.sheet.cautions if b.sheet else ()),
        *(b.pricing.cautions if b.pricing else ()),
        *(b.comparison.cautions if b.comparison else ()),
    ]
    return tuple(text for text in dict.fromkeys(capital(s) for s in said) if text not in general)


def cheaper_words(found: Comparison) -> str:
    """How often the build at its price is the cheaper one at the door, and where it is even at cost."""
    crossings = found.crossings.crossings
    even = " and ".join(number(c.pieces, 1) for c in crossings)
    where = f"At cost it is even with an original at {even} pieces." if crossings else found.crossings.text
    price = with_currency(exact(found.quote.suggested), found.sheet.currency)
    share = percent(100 * found.chance_build_cheaper, 0)
    return f"At {price} it is cheaper at the door than {share} of originals. {where}"

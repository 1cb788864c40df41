"""Ceilings against brute force: the profit worked out anew at the ceiling and one cent above it."""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from hypothesis import given

from kitvalue.commands.folder import ShopFolder
from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.settings.shop import Shop, read_shop
from kitvalue.market.encoding import FeatureValue, Kit, of_kits, offsets
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import sample_of, scatter_at
from tests import TODAY
from tests.reckoning.exact import unrounded
from tests.reckoning.purchases import Bought, Business, Terms, reckon
from tests.whole.made import MadeShop, Money, Table, toml
from tests.whole.running import asked, examples, laid_out
from tests.whole.shops import shops, sure

NEVER = 1e-6  # money: what floats may take


@dataclass(frozen=True)
class Sale:
    """One kit's sale by a VAT route, from the words of the method: everything gross but `cost` (net, price in it)."""

    rate: float
    fee: float
    freight: float
    route: str
    cost: float
    purchase: float
    reserve: float

    def net(self, gross: FloatArray) -> FloatArray:
        k = self.rate / (1 + self.rate)
        if self.route == "none":
            return gross
        if self.route == "full":
            return gross - k * gross
        return gross - (k * np.maximum(0.0, gross + self.freight - self.purchase) - k * self.freight)

    def profit(self, gross: FloatArray) -> FloatArray:
        return self.net(gross) - self.fee * (gross + self.freight) - self.reserve * gross - self.cost


def samples(fit: Fit, kit: Kit) -> tuple[FloatArray, FloatArray]:
    """The signed sample of one kit in money, and the one that means are taken from."""
    rows = of_kits([kit], fit.recipe)
    ratio = float(fit.ratio_of(rows.series)[0])
    seen = scatter_at(fit, sample_of(fit), fit.columns_of(rows)[0], ratio, stretch=True, unseen=False)
    shift = float(offsets(rows, fit.recipe)[0])
    return np.exp(seen.predictions + seen.residuals + shift), np.exp(seen.predictions + seen.clipped + shift)


def features(fit: Fit, row: Mapping[str, object]) -> tuple[FeatureValue, ...]:
    """What a row of the offers tells of the features that the book has."""
    found = []
    for one in fit.recipe.features:
        said = row.get(one.name)
        if said is not None and one.kind == "yes-no":
            found.append(FeatureValue(one.name, said == "yes"))
        elif said is not None and one.kind == "number":
            found.append(FeatureValue(one.name, float(str(said))))
        elif said is not None and one.words:
            found.append(FeatureValue(one.name, str(said).lower()))
    return tuple(found)


def leaves_margin(sale: Sale, means: FloatArray, margin: float) -> float:
    """Mean profit less the margin on mean net revenue."""
    return float(sale.profit(means).mean() - margin * sale.net(means).mean())


def until_sold(shop: Shop) -> tuple[float, float]:
    """What one kit costs until it is sold whatever its price, and each unit of money that is tied up in it."""
    selling = shop.selling
    assert selling is not None
    months = float(selling.months_to_sell or 0)
    return float(selling.holding or 0) * months + float(selling.fee_fixed), float(selling.capital) / 100 * months / 12


@examples(3)
@given(shops(least_offers=2).map(sure))
def test_ceilings_of_selling_on_are_what_every_cent_allows(made: MadeShop) -> None:
    with laid_out(made) as folder:
        listed = asked(folder, "shortlist")
        if listed is None:
            return
        shop = read_shop(folder)
        fit = ShopFolder(folder, TODAY).market.fit
        channel = "dealer" if any(t.source == "dealer" for t in fit.recipe.terms) else "private"
        rows = {row["offer"]: row for row in made.tables["offers.csv"].rows}
        for offer in listed["offers"]:
            if offer["reason"] is not None:
                continue
            row = rows[offer["offer"]]
            grade = float(str(row.get("finished") or row["condition"]))
            kit = Kit(offer["series"], float(offer["pieces"]), grade, "sold", channel)  # type: ignore[arg-type]
            kit = replace(kit, features=features(fit, row))
            signed, means = samples(fit, kit)
            for use in offer["uses"]:
                if use["use"] == "sell on" and use["reason"] is None:
                    assert shop.work is not None
                    own = row.get("hours")
                    hours = float(shop.work.prepare or 0) + (0 if own is None else float(str(own)))
                    assert abs(use["hours"] - hours) < 1e-9
                    labour = hours * float(shop.work.rate) * (1 + float(shop.work.contingency) / 100)
                    kept, tied = until_sold(shop)
                    landed = _landed(row, shop)
                    _check(use, lambda bid, use=use, cost=labour + kept, own=landed, tied=tied:
                           _sale(shop, use, own(bid)[0] * (1 + tied) + cost, own(bid)[1]),
                           signed, means, shop, 0.0)  # fmt: skip


def _freight(row: Mapping[str, object]) -> float:
    freight = row["freight"]
    return float(freight.amount) if isinstance(freight, Money) else 0.0


def _reckoned(row: Mapping[str, object], shop: Shop, price: float) -> Bought:
    """An offer bought at a price, reckoned without the program."""
    assert shop.tax is not None
    rate, freight, premium = Fraction(shop.tax.rate), Fraction(_freight(row)), str(row.get("premium") or 0)
    terms = Terms(str(row["bought_from"] or "private"), premium=Fraction(premium), freight=freight)
    business = Business(rate=rate, registered=shop.tax.registered, import_vat=rate)
    return reckon(Fraction(price), terms, business, unrounded)


def _landed(row: Mapping[str, object], shop: Shop) -> Callable[[float], tuple[float, float]]:
    """What an offer costs at a price bid, landed and net, and P."""
    free, one = (_reckoned(row, shop, price) for price in (0, 1))
    cost, bought = (free.cost, one.cost - free.cost), (free.purchase_price, one.purchase_price - free.purchase_price)
    return lambda bid: (float(cost[0]) + float(cost[1]) * bid, float(bought[0]) + float(bought[1]) * bid)


def _up(row: Mapping[str, object]) -> float:
    """What is paid for each unit of an offer's price: an auction takes its premium on top."""
    return 1 + float(str(row.get("premium") or 0)) / 100


def _sale(shop: Shop, use: Mapping[str, Any], cost: float, purchase: float) -> Sale:
    assert shop.tax is not None
    assert shop.selling is not None
    rate = 0.0 if use["route"] == "none" else float(shop.tax.rate) / 100
    return Sale(
        rate,
        float(shop.selling.fee) / 100,
        float(shop.selling.freight),
        use["route"],
        cost,
        purchase,
        float(shop.selling.reserve) / 100,
    )


def _check(
    use: Mapping[str, Any], sale_at: Any, signed: FloatArray, means: FloatArray, shop: Shop, least: float
) -> None:  # fmt: skip
    """The ceiling leaves the margin and a cent more does not; the safe one is lost seldom enough, a cent more is not
    or is above the ceiling."""
    assert shop.selling is not None
    margin, allowed = float(shop.selling.margin) / 100, float(shop.selling.loss_chance) / 100

    def lost(price: float) -> float:
        return float((sale_at(price).profit(signed) < -NEVER).mean())

    top, safe = use["ceiling"], use["safe_ceiling"]
    if top is None:
        assert safe is None
        assert leaves_margin(sale_at(least), means, margin) < NEVER, use
        return
    assert top >= least
    assert leaves_margin(sale_at(top), means, margin) >= -NEVER, use
    assert leaves_margin(sale_at(top + 0.01), means, margin) < NEVER, use
    assert abs(use["chance_of_loss_at_ceiling"] - lost(top)) < 1e-9, use
    if safe is None:
        assert lost(least) > allowed, use
        return
    assert least <= safe <= top
    assert lost(safe) <= allowed + 1e-9, use
    assert safe == top or lost(safe + 0.01) > allowed, use


@examples(3)
@given(shops(least_offers=2).map(sure))
def test_ceilings_of_a_rebuild_are_what_the_cost_sheet_allows(made: MadeShop) -> None:
    """Each offer that takes a donor's place, by a plan that buys it at that price: its cost sheet is the second way."""
    with laid_out(made) as folder:
        shop = read_shop(folder)
        for name, plan in made.plans.items():
            listed = asked(folder, "shortlist", "--plan", name)
            if listed is None or isinstance(plan["finished"]["share"], list):  # in doubt: tests/decisions/test_doubt.py
                continue
            fit = ShopFolder(folder, TODAY).market.fit
            channel = "dealer" if any(t.source == "dealer" for t in fit.recipe.terms) else "private"
            series, grade = plan["finished"]["series"].name, float(plan["finished"]["condition"])
            kit = Kit(series, len(plan["drum"]), grade, "sold", channel)  # type: ignore[arg-type]
            rows = {row["offer"]: row for row in made.tables["offers.csv"].rows}
            for offer in listed["offers"]:
                for use in offer["uses"]:
                    whole_cents = _up(rows[offer["offer"]]) == 1  # as a plan takes them
                    if use["use"] == "rebuild" and use["reason"] is None and whole_cents:
                        signed, means = samples(fit, kit)
                        share = float(plan["finished"]["share"]) / 100
                        bought = _Bought(folder, shop, made, plan, rows[offer["offer"]], use)
                        _check(use, bought.sale, share * signed, share * means, shop, bought.least)


@dataclass(frozen=True)
class _Bought:
    """A plan with an offer in the place of the first donor whose drums it has."""

    folder: Path
    shop: Shop
    made: MadeShop
    plan: Any
    row: Mapping[str, Any]
    use: Mapping[str, Any]

    @property
    def place(self) -> int:
        for at, donor in enumerate(self.plan["donor"]):
            wanted = [drum["size"].inches[0] for drum in self.plan["drum"] if drum["from"] == donor["id"]]
            have = list(self.row["sizes"].inches)
            if wanted and all(wanted.count(size) <= have.count(size) for size in wanted):
                return at
        raise AssertionError("it takes no donor's place")

    @property
    def least(self) -> float:
        """Under the margin scheme nothing may be sold off a donor for more than it cost."""
        donor = self.plan["donor"][self.place]["id"]
        sold = sum(float(s["value"].amount) for s in self.plan["surplus"] if s["from"] == donor)
        return sold if self.use["route"] == "margin" else 0.0

    def sale(self, price: float) -> Sale:

        plan = copy.deepcopy(self.plan)
        source, landed = self.row["bought_from"] or "private", _landed(self.row, self.shop)
        plan["route"] = self.use["route"] if self.use["route"] != "none" else None  # the whole shop's, never a plan's
        plan["donor"][self.place] |= {
            "price": Money(Decimal(f"{price:.2f}")), "freight": self.row["freight"] or Money(Decimal(0)),
            "pieces": self.row["pieces"], "bought_from": "private" if source == "import" else source,
            "vat": "margin" if source == "trade" else None,
        }  # fmt: skip
        path = self.folder / "builds" / "bought.toml"
        path.write_text(toml(plan, self.made.dialect), encoding="utf-8")
        cost = asked(self.folder, "cost", "bought")
        path.unlink()
        assert cost is not None
        at_the_border = landed(price)[0] - price - _freight(self.row)
        net_cost = cost["net_cost"] + at_the_border * (1 + until_sold(self.shop)[1])
        return _sale(self.shop, self.use, net_cost, cost["purchase"])


@examples(8)
@given(shops(least_offers=2).map(sure))
def test_ceilings_of_a_kit_in_parts_are_what_its_parts_are_expected_to_fetch(made: MadeShop) -> None:
    with laid_out(made) as folder:
        listed = asked(folder, "shortlist") if "parts.csv" in made.tables else None
        if listed is None:
            return
        shop = read_shop(folder)
        assert shop.work is not None
        assert shop.tax is not None
        assert shop.selling is not None
        margin, fee = float(shop.selling.margin) / 100, float(shop.selling.fee) / 100
        rows = {row["offer"]: row for row in made.tables["offers.csv"].rows}
        for offer in listed["offers"]:
            for use in offer["uses"]:
                if use["use"] != "parts" or use["reason"] is not None:
                    continue
                mean, value, months, sales = _fetched(made.tables["parts.csv"], rows[offer["offer"]]["sizes"].inches)
                labour = float((shop.work.part_out or 0) * shop.work.rate) * (1 + float(shop.work.contingency) / 100)
                tied, q = float(shop.selling.capital) / 100 * months / 12, float(shop.selling.fee_fixed)
                cost = labour + float(shop.selling.holding or 0) * months + q * sales
                taken = fee + float(shop.selling.reserve) / 100
                rate = 0.0 if use["route"] == "none" else float(shop.tax.rate) / 100

                landed = _landed(rows[offer["offer"]], shop)

                def left(bid: float, use: Any = use, mean: float = mean, value: float = value, cost: float = cost,
                         rate: float = rate, own: Any = landed, tied: float = tied,
                         taken: float = taken) -> float:  # fmt: skip
                    k, (paid, price) = rate / (1 + rate), own(bid)
                    vat = k * mean / value * max(0.0, value - price) if use["route"] == "margin" else k * mean
                    return (1 - margin) * (mean - vat) - taken * mean - cost - paid * (1 + tied)

                if use["ceiling"] is None:
                    assert left(0.0) < NEVER
                else:
                    assert left(use["ceiling"]) >= -NEVER
                    assert left(use["ceiling"] + 0.01) < NEVER
                    assert use["safe_ceiling"] is None or use["safe_ceiling"] <= use["ceiling"]


def _fetched(parts: Table, drums: tuple[tuple[str, str], ...]) -> tuple[float, float, float, float]:
    """What a kit's parts fetch on average, what all of them fetch, the months until the slowest is sold, and how many
    are sold on average."""
    rows = {row["part"]: row for row in parts.rows}
    used = [rows.get(f"{diameter} inch") or rows["drum"] for diameter, _ in drums] + [rows["bass hoops"]]
    values = [float(row["value"].amount) for row in used]  # type: ignore[attr-defined]
    mean = sum(v * row["chance"] / 100 for v, row in zip(values, used, strict=True))  # type: ignore[operator]
    sales = sum(row["chance"] / 100 for row in used)  # type: ignore[operator]
    return mean, sum(values), max(row["weeks"] for row in used) * 7 / (365.25 / 12), sales  # type: ignore


@examples(3)
@given(shops(least_offers=3).map(sure))
def test_the_shortlist_is_ordered_by_profit_and_names_what_to_buy_from_it(made: MadeShop) -> None:
    with laid_out(made) as folder:
        plan = next(iter(made.plans))
        for args in ((), ("--plan", plan)):
            listed = asked(folder, "shortlist", *args)
            if listed is None:
                continue
            offers = listed["offers"]
            assert {offer["offer"] for offer in offers} == {r["offer"] for r in made.tables["offers.csv"].rows}
            profits = [offer["expected_profit"] for offer in offers if offer["expected_profit"] is not None]
            assert profits == sorted(profits, reverse=True)
            known = [offer["expected_profit"] is not None for offer in offers]
            assert known == sorted(known, reverse=True)
            for offer in offers:
                _one_offer(offer)
            _portfolio(listed, made, read_shop(folder))


def _one_offer(offer: Mapping[str, Any]) -> None:
    best = [u for u in offer["uses"] if (u["use"], u["route"]) == (offer["best_use"], offer["best_route"])]
    for use in best:
        assert use["expected_profit"] == offer["expected_profit"]
        assert use["safe_ceiling"] == offer["stop_at"]
    priced = offer["asked"] is not None
    if offer["stop_at"] is not None and priced:
        assert offer["open_at"] <= offer["stop_at"]
    for use in offer["uses"]:
        assert (use["expected_profit"] is None) == (use["reason"] is not None or not priced), use
        assert priced or use["ceiling"] is None or use["ceiling"] >= (use["safe_ceiling"] or 0)


def _else_paid(plan: Mapping[str, Any], buy: Sequence[Mapping[str, Any]], shop: Shop) -> float:
    """What a build costs in cash beside its offers: the donors that are bought as the plan says, and new shells."""
    assert shop.tax is not None
    filled = [one["donor"] for one in buy if one["plan"] == plan["name"]]
    paid = sum(_freight(d) + float(d["price"].amount) for d in plan["donor"] if d["id"] not in filled)
    for drum in plan["drum"]:
        if drum["from"] == "new":
            on_top = 1 if drum.get("vat") == "included" else 1 + float(shop.tax.rate) / 100
            paid += float(drum["price"].amount) * on_top
    return paid


def _portfolio(listed: Mapping[str, Any], made: MadeShop, shop: Shop) -> None:
    chosen, offers = listed["portfolio"], {one["offer"]: one for one in listed["offers"]}
    names = [one["offer"] for one in chosen["buy"]]
    assert len(names) == len(set(names))
    plans = {one["plan"]: one for one in chosen["buy"] if one["plan"] is not None}
    uses = {(name, use["use"], use["route"]): use for name, one in offers.items() for use in one["uses"]}
    used = [uses[one["offer"], one["use"], one["route"]] for one in chosen["buy"] if one["plan"] is None]
    if not plans:  # what a build leaves: tests/decisions/test_builds.py
        profit, hours = (sum(use[figure] for use in used) for figure in ("expected_profit", "hours"))
        assert abs(profit - chosen["expected_profit"]) < 0.013 * (1 + len(names))
        assert abs(hours - chosen["hours"]) < 1e-6
    assert chosen["expected_profit"] >= 0
    assert 0 <= chosen["gap"] <= chosen["bound"] - chosen["expected_profit"] + 0.01
    bought = [row for row in made.tables["offers.csv"].rows if row["offer"] in names]
    spent = sum(_else_paid(made.plans[name] | {"name": name}, chosen["buy"], shop) for name in plans)
    spent += sum(float(_reckoned(row, shop, offers[row["offer"]]["expected_paid"]).paid) for row in bought)
    assert abs(spent - chosen["spent"]) < 0.013 * (1 + len(chosen["buy"]))
    budget = made.settings["buying"].get("budget")
    assert budget is None or chosen["spent"] <= float(budget.amount) + 0.005
    assert chosen["chance_of_loss"] <= float(made.settings["selling"]["loss_chance"]) / 100 + 1e-9


@examples(8)
@given(shops(least_offers=3))
def test_a_sourcing_costs_what_its_lines_say_and_the_plan_that_it_writes(made: MadeShop) -> None:
    """`cost` and `price` of the written plan agree with the answer to the cent and refuse nothing."""
    with laid_out(made) as folder:
        for name in made.plans:
            found = asked(folder, "source", name, "--best", "3", "--write", f"found-{name}")
            if found is None:
                continue
            floors = [one["floor"] for one in found["answers"] if one["floor"] is not None]
            assert floors == sorted(floors)
            for one in found["answers"]:
                if one["status"] == "infeasible":
                    assert one["reasons"]
                else:
                    _sourced(one, made, {drum["drum"] for drum in found["drums"]})
            if found["status"] != "infeasible" and "to_fill_in" not in found["caution_codes"]:
                cost = asked(folder, "cost", f"found-{name}")
                assert cost is not None
                assert (cost["net_cost"], cost["route"]) == (found["net_cost"], found["route"])
                assert [r["floor"] for r in cost["routes"] if r["route"] == cost["route"]] == [found["floor"]]
                asked(folder, "price", f"found-{name}")  # an answer, or none without a refusal


def _sourced(one: Mapping[str, Any], made: MadeShop, wanted: set[str]) -> None:
    offers = {row["offer"]: row for row in made.tables["offers.csv"].rows if row["offer"] in one["buy"]}
    assert abs(sum(line["net"] for line in one["lines"]) - one["cost"]) < 0.005
    assert abs(one["common"] + one["cost"] - one["net_cost"]) < 0.005
    assert {drum["drum"] for drum in one["drums"]} == wanted
    credit = sum(left["credit"] for left in one["leftovers"])
    assert abs(one["credit"] - credit) < 0.005
    given = sorted([(d["from"], d["size"]) for d in one["drums"] if d["size"]]
                   + [(left["offer"], left["size"]) for left in one["leftovers"]])  # fmt: skip
    assert given == sorted((name, "x".join(size)) for name, row in offers.items() for size in row["sizes"].inches)  # type: ignore[attr-defined]
    for drum in one["drums"]:
        assert (drum["from"] == "new") == (drum["size"] is None)

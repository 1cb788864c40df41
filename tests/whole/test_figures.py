"""What the answers of a random shop owe to arithmetic."""

from __future__ import annotations

import math
from decimal import Decimal

from hypothesis import given

from kitvalue.commands.folder import ShopFolder
from kitvalue.intake.settings.plan import read_plan
from kitvalue.intake.settings.shop import read_shop
from kitvalue.workshop.costing import cost_sheet
from tests import TODAY
from tests.whole.made import MadeShop
from tests.whole.running import answered, asked, examples, laid_out
from tests.whole.shops import shops, sure

CENT = 0.005 + 1e-9  # what rounding to the cent may take


def near(one: float, other: float, slack: float = 1e-6) -> bool:
    return math.isclose(one, other, rel_tol=1e-12, abs_tol=slack)


@examples(4)
@given(shops())
def test_cost_lines_add_up_to_the_cent(made: MadeShop) -> None:
    with laid_out(made) as folder:
        shop = read_shop(folder)
        for name in made.plans:
            cost = asked(folder, "cost", name)
            assert cost is not None
            nets = [line["net"] for line in cost["lines"] if line["net"] is not None]
            assert near(sum(nets), cost["net_cost"])
            assert near(sum(part["net"] for part in cost["subtotals"]), cost["net_cost"])
            assert len(nets) + len(cost["incomplete"]) == len(cost["lines"])
            for line in cost["lines"]:
                if line["net"] is not None and line["unit_price"] is not None:
                    rounded = 0.00005 * line["quantity"]
                    assert near(line["quantity"] * line["unit_price"], line["net"], CENT + rounded), line
            for route in cost_sheet(read_plan(name, folder, shop), shop).routes:
                lines = sum((line.net for line in route.lines if line.net is not None), Decimal(0))
                assert lines == route.net_cost
                shown = next(one for one in cost["routes"] if one["route"] == route.route)
                assert Decimal(str(shown["net_cost"])) == route.net_cost
                assert route.allowed == (route.floor is not None) == (route.reason is None)
                if route.floor is not None and route.landed_at_floor is not None:
                    assert route.landed_at_floor - route.floor == shop.selling.freight  # type: ignore[union-attr]


@examples(3)
@given(shops().map(sure))
def test_prices_add_up_and_the_floor_leaves_the_margin(made: MadeShop) -> None:
    with laid_out(made) as folder:
        margin, fee = (float(made.settings["selling"][key]) for key in ("margin", "fee"))
        for name in made.plans:
            cost, price = asked(folder, "cost", name), asked(folder, "price", name)
            if price is None or cost is None:
                continue
            chosen = next(one for one in cost["routes"] if one["route"] == cost["route"])
            at_floor = asked(folder, "price", name, "--at", f"{max(chosen['floor'], 0.01):.2f}")
            assert at_floor is not None
            for sale in (price, at_floor):
                assert near(sale["net"] + sale["vat"], sale["price"])
                freight = float(made.settings["selling"]["freight"].amount)
                assert near(sale["fee"], fee / 100 * (sale["price"] + freight), CENT)
                reserve = float(made.settings["selling"].get("reserve", 0)) / 100
                assert near(sale["reserve"], reserve * sale["price"], CENT)
                assert near(sale["net"] - sale["fee"] - sale["reserve"] - cost["net_cost"], sale["profit"])
                for place in sale["destinations"]:
                    if place["parts"] is not None:
                        assert near(sum(v or 0 for v in place["parts"].values()), place["buyer_pays"]), place
            if chosen["floor"] > 0:  # profit within the cent and a half that VAT, fee and reserve are rounded by
                assert at_floor["profit"] >= margin / 100 * at_floor["net"] - 0.016, at_floor
            assert near(price["market_price"], min(price["cap"], price["resale"]))
            if price["binding"] == "floor":
                assert price["market_price"] < price["floor"] <= price["suggested"]
            else:
                assert price["floor"] <= price["suggested"] <= price["market_price"]


@examples(2)
@given(shops().map(sure))
def test_the_comparison_tells_the_figures_of_cost_and_price(made: MadeShop) -> None:
    with laid_out(made) as folder:
        for name in made.plans:
            compare, price, cost = (asked(folder, command, name) for command in ("compare", "price", "cost"))
            if compare is None or price is None or cost is None:
                continue
            last = compare["by_pieces"][-1]
            assert last["pieces"] == cost["pieces"] == len(made.plans[name]["drum"])
            assert last["build_at_price"] == price["suggested"] == compare["suggested"]
            assert last["original_typical"] == price["original_landed"]
            chosen = next(one for one in cost["routes"] if one["route"] == cost["route"])
            assert last["build_at_cost"] == price["landed_at_cost"] == chosen["landed_at_cost"]
            assert [row["pieces"] for row in compare["by_pieces"]] == list(
                range(made.plans[name]["smallest"], last["pieces"] + 1)
            )
            for row in compare["by_pieces"]:
                assert 0 <= row["chance_build_cheaper"] <= 1
                assert row["original_low"] is None or row["original_low"] <= row["original_high"]
            for crossing in compare["crossings"]:
                assert made.plans[name]["smallest"] <= crossing["pieces"] <= last["pieces"]
            planned = {one["name"]: one for one in compare["unknowns"]}
            for one in planned.values():
                assert one["break_even"] is not None or one["reason"], one


@examples(3)
@given(shops().map(sure))
def test_more_pieces_and_a_better_grade_move_the_value_as_the_coefficients_say(made: MadeShop) -> None:
    with laid_out(made) as folder:
        fit = asked(folder, "fit")
        if fit is None:
            return
        slopes = {term["name"]: term["coefficient"] for term in fit["terms"]}
        sold = {grade: _typical(folder, made, 5, grade) for grade in (2, 3, 4.5)}
        sizes = {pieces: _typical(folder, made, pieces, 3) for pieces in (3, 4, 7)}
        for few, many in ((3, 4), (4, 7)):
            factor = math.exp(slopes.get("log_pieces", 0.0) * math.log(many / few))
            assert near(sizes[many], sizes[few] * factor, 0.01 + 0.01 * factor)
            assert (sizes[many] - sizes[few]) * slopes.get("log_pieces", 0.0) >= -0.01
        for low, high in ((2, 3), (3, 4.5)):
            factor = math.exp(slopes.get("condition", 0.0) * (high - low))
            assert near(sold[high], sold[low] * factor, 0.01 + 0.01 * factor)
            assert (sold[high] - sold[low]) * slopes.get("condition", 0.0) >= -0.01


def _typical(folder: object, made: MadeShop, pieces: int, grade: float) -> float:
    words = ("--series", made.asked.name, "--pieces", str(pieces), "--condition", f"{grade:g}")
    found = asked(folder, "value", *words)  # type: ignore[arg-type]
    assert found is not None
    for view in (found["buy_in"], found["resale"]):
        assert view["typical"] > 0
        if view["low"] is not None:
            assert view["low"] <= view["high"]
            assert view["level_low"] <= view["typical"] <= view["level_high"]
    assert isinstance(found["buy_in"]["typical"], float)
    return found["buy_in"]["typical"]


@examples(3)
@given(shops())
def test_check_reads_the_rows_that_the_fit_uses(made: MadeShop) -> None:
    with laid_out(made) as folder:
        check, fit = asked(folder, "check", "--rows"), asked(folder, "fit")
        assert check is not None
        book = check["files"][0]
        assert book["read"] == len(made.tables["prices.csv"].rows)
        assert book["read"] == book["used"] + book["refused"] + book["set_aside"]
        assert book["used"] == len(check["rows"]) == len({row["row"] for row in check["rows"]})
        if fit is not None:
            counts = ("read", "used", "refused", "set_aside")
            assert {key: fit["rows"][key] for key in counts} == {key: book[key] for key in counts}
            used = ShopFolder(folder, TODAY).market.fit.book.rows
            assert sorted(int(row) for row in used) == sorted(row["row"] for row in check["rows"])
            assert sum(series["rows"] for series in fit["series"]) == book["used"]


@examples(4)
@given(shops())
def test_a_jotted_advert_is_one_row_more(made: MadeShop) -> None:
    text = f"{made.asked.name} shell set 22x16, 16x16, 13x9, 12x8, 512,75 EUR, collection only"
    with laid_out(made) as folder:
        before = asked(folder, "check", "--rows")
        jotted = asked(folder, "jot", text, "--yes")
        after = asked(folder, "check", "--rows")
        assert before is not None
        assert after is not None
        assert jotted is not None
        assert jotted["written"]
        assert after["files"][0]["read"] == before["files"][0]["read"] + 1
        counts = [one["files"][0]["used"] + one["files"][0]["refused"] for one in (before, after)]
        assert counts[1] == counts[0] + 1
        assert after["rows"][: len(before["rows"])] == before["rows"]
        dry = answered(folder, "jot", text)
        assert "Nothing is written" in dry.out
        assert asked(folder, "check", "--rows") == after

"""`shortlist` and `source` as a shop uses them."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kitvalue.commands.folder import ShopFolder
from kitvalue.intake.books.offers import read_offers
from kitvalue.intake.settings.plan import read_plan
from kitvalue.intake.settings.shop import read_shop
from kitvalue.market.encoding import Kit
from kitvalue.market.outlook import outlook, resale_kit
from tests import TODAY
from tests.shops import run, sample_shop

HEADER = "offer;series;pieces;condition;price;freight;sizes;bought_from;haggle;note\n"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return sample_shop(tmp_path_factory.mktemp("sample"))


def with_offers(shop: Path, *rows: str) -> Path:
    (shop / "offers.csv").write_text(HEADER + "".join(f"{row}\n" for row in rows), encoding="utf-8")
    return shop


def change(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def offer_of(data: dict[str, Any], name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(one for one in data["offers"] if one["offer"] == name)
    return found


def use_of(one: dict[str, Any], use: str, route: str) -> dict[str, Any]:
    found: dict[str, Any] = next(u for u in one["uses"] if (u["use"], u["route"]) == (use, route))
    return found


def test_selling_on_is_what_the_outlook_and_the_settings_say(shop: Path) -> None:
    """The ceiling by hand from the kit's own outlook: mean profit is 18 % of mean net revenue, full VAT."""
    data = run(shop, "shortlist", "--json").data
    one = offer_of(data, "D02")
    settings, fit = read_shop(shop), ShopFolder(shop, TODAY).market.fit
    view = outlook(fit, resale_kit(fit, Kit("Burren", 5, 3.5)))
    net = view.mean / 1.23
    spent = 60 + 24 + 3 * 36 * 1.10 + 0.029 * (view.mean + 60)  # freight, holding, work, fee
    use = use_of(one, "sell on", "full")
    assert settings.work is not None
    assert settings.work.prepare == 3
    assert use["ceiling"] == pytest.approx(net * 0.82 - spent, abs=0.01)
    assert one["expected_paid"] == pytest.approx(470 * 0.95)
    assert use["expected_profit"] == pytest.approx(net - spent - 470 * 0.95, abs=0.01)
    assert one["rank"] == np.mean(outlook(fit, Kit("Burren", 5, 3.5)).sample < 470)
    assert one["buy_in"] == pytest.approx(outlook(fit, Kit("Burren", 5, 3.5)).typical, abs=0.005)


def test_offers_are_sorted_and_hang_together(shop: Path) -> None:
    data = run(shop, "shortlist", "--plan", "seven-piece", "--json").data
    profits = [one["expected_profit"] for one in data["offers"]]
    assert profits == sorted(profits, reverse=True)
    for one in data["offers"]:
        assert one["stop_at"] is None or one["open_at"] <= one["stop_at"]
        for use in one["uses"]:
            if use["safe_ceiling"] is not None:
                assert use["safe_ceiling"] <= use["ceiling"]
            if use["ceiling"] is not None:
                assert 0 <= use["chance_of_loss_at_ceiling"] <= 1
        assert {use["use"] for use in one["uses"]} == {"sell on", "rebuild", "parts"}


def test_each_ceiling_is_told_from_the_sale_down(shop: Path) -> None:
    """Gross sale less VAT, fee, costs and margin is what is left; rounded down it is the ceiling."""
    for offer in run(shop, "shortlist", "--plan", "inishmore-restored", "--json").data["offers"]:
        for use in offer["uses"]:
            made = use["made_up"]
            assert (made is None) == (use["reason"] is not None)
            if made is None:
                continue
            left = made["sells_for"] - made["vat"] - made["fee"] - made["costs"] - made["margin"]
            assert made["leaves"] == pytest.approx(left, abs=0.03)  # each is rounded to the cent
            assert use["ceiling"] is None or use["ceiling"] == pytest.approx(made["leaves"], abs=0.011)
            assert use["ceiling"] is not None or made["leaves"] < 0.01
    text = run(shop, "shortlist", "--details").out
    titles = ["offer", "best", "use", "sells", "for", "VAT", "fee", "costs", "margin", "left"]
    (head,) = [line for line in text.splitlines() if line.split() == titles]
    best = run(shop, "shortlist", "--json").data["offers"][0]
    row = text[text.index(head) :].splitlines()[2].split()
    used = next(u for u in best["uses"] if (u["use"], u["route"]) == (best["best_use"], best["best_route"]))
    assert float(row[-1].replace(",", "")) == pytest.approx(used["made_up"]["leaves"], abs=0.5)


def test_an_offer_that_cannot_be_valued_stands_last_with_its_reason(tmp_path: Path) -> None:
    shop = with_offers(sample_shop(tmp_path), "X;Slievebán;5;3;100;;;;;", "D1;Burren;5;3;200;40;;;;")
    text = (shop / "shop.toml").read_text(encoding="utf-8")
    (shop / "shop.toml").write_text(text + '\n[series."Slievebán"]\npart = "donor"\n', encoding="utf-8")
    data = run(shop, "shortlist", "--json").data
    assert [one["offer"] for one in data["offers"]] == ["D1", "X"]
    assert "no rows of" in data["offers"][1]["reason"]
    assert data["offers"][1]["buy_in"] is None
    assert "X: no rows of" in run(shop, "shortlist").out


def test_what_rests_on_haggle_says_so(tmp_path: Path) -> None:
    shop = with_offers(sample_shop(tmp_path), "D1;Burren;5;3;200;40;;;;")
    rows = (shop / "prices.csv").read_text(encoding="utf-8-sig").splitlines()
    kept = [rows[0], *(r for r in rows[1:] if ";sold;" not in r and ";hammer;" not in r)]
    (shop / "prices.csv").write_text("\n".join(kept) + "\n", encoding="utf-8")
    ran = run(shop, "shortlist", "--json")
    assert ran.status == 0, ran.err
    one = ran.data["offers"][0]
    assert one["expected_paid"] == pytest.approx(180)
    assert "haggle of 10 %" in one["paid_rests_on"]
    assert any("rest on the haggle of 10 %" in text for text in one["cautions"])


@pytest.mark.parametrize(("key", "use"), [("prepare", "sell on"), ("part_out", "parts")])
def test_missing_hours_are_asked_for(tmp_path: Path, key: str, use: str) -> None:
    shop = sample_shop(tmp_path)
    text = (shop / "shop.toml").read_text(encoding="utf-8")
    (shop / "shop.toml").write_text("\n".join(x for x in text.splitlines() if not x.startswith(key)), encoding="utf-8")
    uses = run(shop, "shortlist", "--json").data["offers"][0]["uses"]
    found = next(u for u in uses if u["use"] == use)
    assert found["ceiling"] is None
    assert f"add {key} under [work]" in found["reason"]


def test_without_parts_the_file_is_asked_for(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    (shop / "parts.csv").unlink()
    uses = run(shop, "shortlist", "--json").data["offers"][0]["uses"]
    assert next(u for u in uses if u["use"] == "parts")["reason"].startswith("there is no parts.csv")


def test_on_another_day_the_values_differ_and_holding_is_told(shop: Path) -> None:
    now, later = run(shop, "shortlist", "--json").data, run(shop, "shortlist", "--on", "2027-11-25", "--json").data
    assert later["on"] == "2027-11-25"
    assert offer_of(later, "D01")["buy_in"] > offer_of(now, "D01")["buy_in"]
    assert any("past the book's newest date" in text for text in offer_of(later, "D01")["cautions"])
    assert (now["holding"], now["months_to_sell"]) == (24.0, 3.0)
    assert "Holding a kit 3 months costs 24.00" in run(shop, "shortlist").out


def test_holding_comes_off_the_ceiling(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    with_it = use_of(offer_of(run(shop, "shortlist", "--json").data, "D02"), "sell on", "full")["ceiling"]
    change(shop / "shop.toml", "holding = 8.00", "holding = 0.00")
    without = use_of(offer_of(run(shop, "shortlist", "--json").data, "D02"), "sell on", "full")["ceiling"]
    assert without - with_it == pytest.approx(24, abs=0.011)


def test_value_tells_what_holding_costs(shop: Path) -> None:
    words = ("value", "--series", "Burren", "--pieces", "5", "--condition", "3", "--on", "2027-01-31")
    assert "holding it until it is sold costs 24.00" in run(shop, *words, "--details").out
    assert run(shop, *words, "--json").data["holding"] == 24.0


def test_csv_is_one_row_an_offer(shop: Path) -> None:
    ran = run(shop, "shortlist", "--csv")
    assert "Written: " in ran.out
    text = (shop / "out" / "shortlist.csv").read_bytes().decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    data = run(shop, "shortlist", "--json").data["offers"]
    assert [row["offer"] for row in rows] == [one["offer"] for one in data]
    assert [float(row["expected_profit"]) for row in rows] == [one["expected_profit"] for one in data]


def test_a_bargain_is_bought_together_within_budget_and_hours(tmp_path: Path) -> None:
    shop = with_offers(sample_shop(tmp_path), *(f"D{i};Inishmore;5;3;{900 + 10 * i};60;;;fixed;" for i in range(4)))
    free = run(shop, "shortlist", "--json").data["portfolio"]
    assert [one["offer"] for one in free["buy"]] == ["D0", "D1", "D2", "D3"]
    assert free["exact"]
    change(shop / "shop.toml", "# budget = 1500 ", "budget = 2000 ")
    tight = run(shop, "shortlist", "--json").data["portfolio"]
    assert [one["offer"] for one in tight["buy"]] == ["D0", "D1"]
    assert tight["spent"] == 900 + 910 + 120
    assert "To buy together, within a budget of 2,000" in run(shop, "shortlist").out
    assert run(shop, "shortlist").out.startswith("Buy D0, up to ")
    assert "3 more pay." in said(shop)


def test_shortlist_says_where_price_would_ask_less_than_a_rebuild_is_counted_at(tmp_path: Path) -> None:
    """What an original costs at the door binds the price of the one plan and not of the other."""
    shop = sample_shop(tmp_path)
    for plan, binds in (("inishmore-restored", True), ("seven-piece", False)):
        priced, listed = run(shop, "price", plan, "--json").data, run(shop, "shortlist", "--plan", plan, "--json")
        assert (priced["cap"] < priced["resale"]) is binds
        told = [text for text in listed.data["cautions"] if "is counted at what the market pays" in text]
        assert bool(told) is binds
        assert not binds or (f"{priced['cap']:,.2f}" in told[0] and f"{priced['resale']:,.2f}" in told[0])


def test_source_finds_the_donors_and_writes_a_plan_that_is_costed(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    ran = run(shop, "source", "seven-piece", "--best", "3", "--write", "builds/found.toml", "--json")
    assert ran.status == 0, ran.err
    data = ran.data
    assert data["status"] == "optimal"
    assert data["buy"] == ["D03", "D04"]
    assert data["gap"] == 0
    assert data["new_shells"] == ["18x16 floor"]
    costs = [one["cost"] for one in data["answers"]]
    assert costs == sorted(costs)
    assert len({tuple(one["buy"]) for one in data["answers"]}) == len(costs) > 1
    settings = read_shop(shop)
    plan = read_plan("found", shop, settings)
    assert [donor.id for donor in plan.donor] == ["D03", "D04"]
    assert [drum.from_ for drum in plan.drum] == ["D03", "D03", "D03", "D03", "D04", "D04", "new"]
    for command in ("cost", "price", "compare"):
        assert run(shop, command, "found").status == 0, command
    before = (shop / "builds" / "found.toml").read_bytes()
    again = run(shop, "source", "seven-piece", "--write", "builds/found.toml")
    assert again.status == 2
    assert "is there already" in again.err
    assert (shop / "builds" / "found.toml").read_bytes() == before


def test_the_cost_of_source_is_the_difference_between_the_written_plans(tmp_path: Path) -> None:
    """Two answers differ in the cost sheet of their plans by what `source` says, credits to the cent."""
    shop = sample_shop(tmp_path)
    first = run(shop, "source", "seven-piece", "--write", "one", "--json").data
    rows = (shop / "offers.csv").read_text(encoding="utf-8-sig").splitlines()
    (shop / "offers.csv").write_text("\n".join(r for r in rows if not r.startswith("D03")) + "\n", encoding="utf-8")
    second = run(shop, "source", "seven-piece", "--write", "two", "--json").data
    assert first["buy"] != second["buy"]
    one, two = (run(shop, "cost", name, "--json").data["net_cost"] for name in ("one", "two"))
    assert two - one == pytest.approx(second["cost"] - first["cost"], abs=0.05)


def test_a_deeper_shell_is_cut_down_and_the_work_is_in_the_plan(tmp_path: Path) -> None:
    shop = with_offers(
        sample_shop(tmp_path), "D1;Burren;4;3;360;45;22x18 16x16 13x11 12x10;;;", "D2;Slane;2;3;150;30;14x14 10x9;;;"
    )
    data = run(shop, "source", "seven-piece", "--write", "cut", "--json").data
    assert [d["drum"] for d in data["drums"] if d["cut_down"]] == ["22x16 bass"]
    lines = run(shop, "cost", "cut", "--json").data["lines"]
    (line,) = [line for line in lines if line["what"].startswith("Cut the 22x16 bass down from 18")]
    assert line["net"] == 36.0  # one hour of cut_down


def test_infeasible_is_told_by_drum(tmp_path: Path) -> None:
    shop = with_offers(sample_shop(tmp_path), "D1;Burren;4;3;360;45;22x16 16x16 13x11 12x10;;;")
    ran = run(shop, "source", "seven-piece")
    assert ran.status == 1
    assert "10x9 rack: no 10-inch drum on offer, and no new shell price given" in ran.out
    data = run(shop, "source", "seven-piece", "--json").data
    assert (data["status"], data["cost"], data["buy"]) == ("infeasible", None, [])


def test_a_budget_that_is_too_small_is_told(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    change(shop / "shop.toml", "# budget = 1500 ", "budget = 300 ")
    ran = run(shop, "source", "seven-piece")
    assert ran.status == 1
    assert "the budget is 300.00, and the cheapest set of kits takes " in ran.out


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("D1;Burren;4;3;360;45;22x16 16x16;;;", "names 2 drums, and pieces says 4"),
        ("D1;Burren;2;3;360;45;16x22 13x11;;;", "22 inches deep and 16 wide read as diameter-depth"),
        ("D1;Burren;4;3;360 CHF;45;;;;", "is not in EUR"),
        ("D1;Burren;4;3;360;45;;;;\nd1;Slane;4;3;300;45;;;;", "names more than one offer (rows 2 and 3)"),
    ],
)
def test_bad_offers_give_one_clear_line(tmp_path: Path, row: str, words: str) -> None:
    shop = with_offers(sample_shop(tmp_path), row, "D9;Burren;4;3;360;45;;;;")
    ran = run(shop, "shortlist")
    assert ran.status == 0
    (line, *_) = [line for line in ran.err.splitlines() if words in line]
    assert line.startswith("offers.csv row 2, column ")


def test_a_plan_of_new_drums_only_has_nothing_to_source(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    path = shop / "builds" / "seven-piece.toml"
    head, *blocks = path.read_text(encoding="utf-8").split("[[")
    kept = [b for b in blocks if not b.startswith(("donor", "surplus"))]
    new = [
        b.replace('from = "A"', 'from = "new"\nprice = 100').replace('from = "B"', 'from = "new"\nprice = 100')
        for b in kept
    ]
    (shop / "builds" / "new.toml").write_text("[[".join([head, *new]), encoding="utf-8")
    ran = run(shop, "source", "new")
    assert ran.status == 2
    assert ran.err.strip() == "builds/new.toml: every drum is new, so there is nothing to look for among the offers"


def test_without_offers_both_say_what_to_do(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    (shop / "offers.csv").unlink()
    for words in (("shortlist",), ("source", "seven-piece")):
        ran = run(shop, *words)
        assert ran.status == 2
        assert "there is no offers.csv" in ran.err


def test_a_trade_donors_vat_is_asked_for_in_the_written_plan(tmp_path: Path) -> None:
    shop = with_offers(
        sample_shop(tmp_path), "D1;Burren;4;3;360;45;22x16 16x16 13x11 12x10;trade;;",
        "D2;Slane;2;3;150;30;14x14 10x9;;;",
    )  # fmt: skip
    data = run(shop, "source", "seven-piece", "--write", "trade", "--json").data
    assert data["plan"] == "seven-piece"
    path = shop / "builds" / "trade.toml"
    change(path, '# vat = "included"', 'vat = "included"')
    assert run(shop, "cost", "trade").status == 0


def test_offers_of_the_sample_all_have_a_place(shop: Path) -> None:
    reading = read_offers(shop / "offers.csv", read_shop(shop))
    assert {o.offer for o in reading.rows} == {one["offer"] for one in run(shop, "shortlist", "--json").data["offers"]}


# ---- nothing to judge ----------------------------------------------------------------------------------------------

ASKING = (("shortlist",), ("source", "seven-piece"))


@pytest.mark.parametrize("words", ASKING)
def test_a_header_alone_means_that_no_kit_is_on_offer(words: tuple[str, ...], tmp_path: Path) -> None:
    shop = with_offers(sample_shop(tmp_path))
    ran = run(shop, *words)
    assert ran.status == 1
    assert ran.out == ""
    assert ran.err.strip() == (
        "offers.csv has no offers in it yet: write the kits you are offered into it, or use jot --offer"
    )
    assert "offers.csv has no offers in it yet" in run(shop, *words, "--json").data["error"]


def test_files_of_which_only_the_header_stands_are_nothing_to_mend(tmp_path: Path) -> None:
    shop = with_offers(sample_shop(tmp_path))
    (shop / "parts.csv").write_text("part,value,chance,weeks\n", encoding="utf-8")
    (shop / "done.csv").write_text("plan,finished_on\n", encoding="utf-8")
    (shop / "rates.csv").write_text("date,currency,rate\n", encoding="utf-8")
    ran = run(shop, "check")
    assert ran.status == 0
    assert "nothing refused" in ran.out
    for name in ("offers.csv", "parts.csv", "done.csv", "rates.csv"):
        assert f"{name}: 0 rows read, 0 used, 0 refused" in ran.out
        assert name not in ran.err
    assert run(shop, "report").status == 0
    assert "No offers are listed." in (shop / "out" / "report.html").read_text(encoding="utf-8")
    (shop / "prices.csv").write_text("series,pieces,condition,price\n", encoding="utf-8")
    assert run(shop, "check").status == 2


@pytest.mark.parametrize("words", ASKING)
def test_offers_that_are_all_refused_are_told_as_such(words: tuple[str, ...], tmp_path: Path) -> None:
    shop = with_offers(sample_shop(tmp_path), "A;Burren;4;nice;360;;;;;", "B;Burren;4;3;free;;;;;")
    ran = run(shop, *words)
    assert ran.status == 1
    assert ran.out == ""
    *lines, last = ran.err.strip().splitlines()
    assert [line.split(":")[0] for line in lines] == [
        "offers.csv row 2, column condition", "offers.csv row 3, column price",
    ]  # fmt: skip
    assert last == "none of the 2 offers in offers.csv could be read: kitvalue check lists what to mend"
    with_offers(shop, "A;Burren;4;nice;360;;;;;")
    assert "the one offer in offers.csv could not be read: " in run(shop, *words).err


def test_parts_without_a_row_are_told_as_missing_ones_are(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    (shop / "parts.csv").write_text("part,value,chance,weeks\n", encoding="utf-8")
    reasons = {u["reason"] for u in run(shop, "shortlist", "--json").data["offers"][0]["uses"] if u["use"] == "parts"}
    assert reasons == {"parts.csv has no usable row: part, value, chance, weeks"}
    cautions = run(shop, "source", "seven-piece", "--json").data["cautions"]
    assert "parts.csv has no usable row, so drums left over are credited with nothing" in cautions


# ---- what is said beside the figures -------------------------------------------------------------------------------


def said(shop: Path, *words: str) -> str:
    return " ".join(run(shop, "shortlist", *words).out.split())


def test_the_settings_behind_the_figures_are_told(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    assert (
        "Reckoned with VAT 23 % (full), 36.00 an hour with 10 % contingency, 3 h to prepare, 4 h to part out, margin "
        "18 %, fee 2.9 %: [tax], [work] and [selling] of shop.toml."
    ) in said(shop, "--details")
    assert run(shop, "shortlist", "--json").data["reckoned_with"] == {
        "vat_percent": 23, "registered": True, "kind": "vat", "sell_on": "full", "rebuild": "full",
        "hourly_rate": 36, "contingency_percent": 10, "prepare_hours": 3,
        "part_out_hours": 4, "margin_percent": 18, "fee_percent": 2.9, "fee_fixed": 0,
        "reserve_percent": 0, "capital_percent": 0, "invented": False,
    }  # fmt: skip
    path = shop / "shop.toml"
    text = path.read_text(encoding="utf-8").replace('sell_on = "full"', "registered = false")
    head, _, rest = text.partition("[work]")
    path.write_text(f"{head}[selling]{rest.partition('[selling]')[2]}", encoding="utf-8")
    assert "Reckoned with no VAT, margin 18 %, fee 2.9 %: [tax] and [selling] of shop.toml." in said(shop, "--details")


def test_an_opening_price_leaves_room_below_the_stopping_price(tmp_path: Path) -> None:
    shop = with_offers(sample_shop(tmp_path), "A;Inishmore;5;3;1000;60;;;10;")
    (one,) = run(shop, "shortlist", "--json").data["offers"]
    assert one["open_at"] == 800  # 1,000 asked, 900 expected
    assert one["stop_at"] > 800
    with_offers(shop, "A;Inishmore;5;3;1000;60;;;10;", "B;Burren;4;3;600;40;;;;")
    other = offer_of(run(shop, "shortlist", "--json").data, "B")
    in_proportion = other["stop_at"] * other["expected_paid"] / 600
    assert other["open_at"] == pytest.approx(in_proportion, abs=0.011)
    assert other["open_at"] < other["stop_at"]
    assert "Open at leaves room to haggle up to it." in said(shop, "--details")


def test_an_offer_that_cannot_be_read_is_counted_beside_the_others(tmp_path: Path) -> None:
    shop = with_offers(sample_shop(tmp_path), "A;Inishmore;5;3;1000;60;;;10;", "B;Burren;4;lovely;600;40;;;;")
    told = "1 offer (EUR, at the prices of 2026-11-14); 1 offer more could not be read: kitvalue check lists them"
    assert told in said(shop)
    assert run(shop, "shortlist", "--json").data["unread"] == 1


def test_diameters_alone_are_judged_for_selling_on_and_no_more(tmp_path: Path) -> None:
    shop = with_offers(sample_shop(tmp_path), "A;Burren;4;3;360;45;22/16/13/12;;;", "B;Burren;4;3;360;45;22 16 12;;;")
    ran = run(shop, "shortlist", "--plan", "seven-piece", "--json")
    assert [p["code"] for p in ran.data["problems"] if p["file"] == "offers.csv"] == ["no_depths", "no_depths"]
    for one in ran.data["offers"]:
        reasons = {u["use"]: u["reason"] for u in one["uses"]}
        assert reasons.pop("sell on") is None
        assert set(reasons) == {"rebuild", "parts"}
        assert set(reasons.values()) == {"offers.csv does not give its sizes (diameter and depth of each drum)"}
    assert run(shop, "check").status == 0
    left_out = "left out because offers.csv does not give their sizes (diameter and depth): A, B"
    assert left_out in run(shop, "source", "seven-piece", "--json").data["cautions"]


def test_an_offer_has_one_price_to_stop_at_and_the_others_are_details(shop: Path) -> None:
    """The use and route that it is the price of stand beside it."""
    plan = ("--plan", "inishmore-restored")
    offers = {offer["offer"]: offer for offer in run(shop, "shortlist", *plan, "--json").data["offers"]}
    best = offers["D10"]
    told, details = said(shop, *plan), said(shop, *plan, "--details")
    assert best["verdict"]["price"] == best["stop_at"] // 5 * 5
    assert f"{best['verdict']['price']:,.0f} buy below {best['best_use']}, " in told
    others = {use["safe_ceiling"] for use in best["uses"] if use["safe_ceiling"] not in (None, best["stop_at"])}
    assert others
    for other in others:
        assert f"{other:,.2f}" in details
        assert f"{other:,.0f} " not in told


def test_a_share_in_doubt_is_written_as_it_was_read(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    change(shop / "builds" / "seven-piece.toml", "share = 70", "share = [60, 82.5]")
    assert run(shop, "source", "seven-piece", "--write", "builds/found.toml").status == 0
    assert "share = [60, 82.5]\n" in (shop / "builds" / "found.toml").read_text(encoding="utf-8")
    settings = read_shop(shop)
    kept, found = (read_plan(name, shop, settings).finished.share for name in ("seven-piece", "found"))
    assert kept == found

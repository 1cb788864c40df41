"""What somebody asks for a kit, judged by `value --asked`: the same as an offer of that kit in offers.csv."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from tests.shops import run, sample_shop

KIT = ("--series", "Burren", "--pieces", "5", "--condition", "3", "--with", "hardware=yes", "--with", "holes=2")
HEADER = "offer;series;pieces;condition;price;hardware;holes;finished;hours;parts\n"


def value(shop: Path, *words: str) -> dict[str, Any]:
    ran = run(shop, "value", *KIT, "--json", *words)
    assert ran.status == 0, ran.err
    return ran.data


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    shop = sample_shop(tmp_path_factory.mktemp("asked"))
    rows = ("A;Burren;5;3;350;yes;2;;;", "B;Burren;5;3;350;yes;2;5;;", "C;Burren;5;3;350;yes;2;4.5;5:30;60",
            "D;Burren;5;3;120;yes;2;;2;")  # fmt: skip
    (shop / "offers.csv").write_text(HEADER + "".join(f"{row}\n" for row in rows), encoding="utf-8")
    return shop


@pytest.mark.parametrize("on", [(), ("--on", "2027-03-01")])
@pytest.mark.parametrize(
    ("offers", "words"),
    [
        ("A", ("--asked", "350")),
        ("AB", ("--asked", "350", "--finished", "5")),
        ("AC", ("--asked", "350", "--finished", "4.5", "--hours", "5:30", "--parts", "60")),
        ("D", ("--asked", "120", "--hours", "2")),
    ],
)
def test_a_price_asked_is_judged_as_an_offer_is(
    shop: Path, offers: str, words: tuple[str, ...], on: tuple[str, ...]
) -> None:
    listed = {one["offer"]: one for one in run(shop, "shortlist", "--json", *on).data["offers"]}
    found = value(shop, *words, *on)
    asked = found["asked"]
    one = listed[offers[0]]
    assert asked["reason"] is None
    assert asked["price"] == one["asked"]
    assert (asked["against_percent"], asked["rank"]) == (
        pytest.approx(one["asked_against_percent"]), pytest.approx(one["rank"]),
    )  # fmt: skip
    assert asked["expected_paid"] == one["expected_paid"]
    assert one["buy_in"] == found["buy_in"]["typical"]
    assert len(asked["sold_in"]) == len(offers)
    for said, name in zip(asked["sold_in"], offers, strict=True):
        use = next(u for u in listed[name]["uses"] if u["use"] == "sell on" and u["route"] == said["best_route"])
        assert said["stop_at"] == use["safe_ceiling"]
        assert said["expected_profit"] == use["expected_profit"]
        assert said["chance_of_loss"] == pytest.approx(use["chance_of_loss"])
        assert said["profit_per_hour"] == use["profit_per_hour"]
        assert said["made_up"] == use["made_up"]
        assert said["hours"] == listed[name]["hours"]


def test_the_first_words_answer_the_question(shop: Path) -> None:
    out = run(shop, "value", *KIT, "--asked", "350", "--finished", "5").out
    found = value(shop, "--asked", "350", "--finished", "5")
    as_it_is, restored = found["asked"]["sold_in"]
    verdict, _, told = out.split("\n\n")[:3]  # the kit's name stands between
    head = " ".join(told.split())
    typical, paid = found["buy_in"]["typical"], found["asked"]["expected_paid"]
    rank = round(100 * found["asked"]["rank"])
    assert head.startswith(
        f"350 asked is {round(100 * (1 - paid / typical))} % below what is usually asked, about "
        f"{typical * 350 / paid:,.0f}; such kits sell for about {typical:,.0f}, {rank} % of them for less than 350."
    )
    assert "invented" not in head
    most, restored_most = as_it_is["stop_at"], restored["stop_at"]
    assert most == found["asked"]["stop_at"] < restored_most  # whose hours nobody told: no price to stop at
    bid = most // 5 * 5
    assert found["verdict"]["price"] == bid
    assert " ".join(verdict.split()) == found["verdict"]["sentence"]
    assert verdict.startswith(f"Pass: it pays up to {bid:,.0f}, and 350 is asked;")
    assert " ".join(verdict.split()).endswith(" less the freight.")
    assert "That is to sell it as it is, full VAT." in head
    left = as_it_is["expected_profit"]
    what = f"leave {left:,.0f}" if left >= 0 else f"lose {-left:,.0f}"
    assert head.endswith(f"At {paid:,.0f}, the price to expect, it would {what} on average.")
    assert f"{restored_most:,.0f}" not in out
    assert "no bench hours and no parts are counted for the better condition" in " ".join(out.split())
    assert "VAT rules differ" in " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 80


def test_a_kit_that_pays_at_no_price_says_so(shop: Path) -> None:
    out = " ".join(run(shop, "value", *KIT, "--asked", "350", "--finished", "5", "--hours", "20").out.split())
    assert "it pays up to" in out
    assert "no parts are counted" in out
    assert "no bench hours" not in out
    words = ("--asked", "350", "--finished", "5", "--hours", "20", "--details")
    out = " ".join(run(shop, "value", *KIT, *words).out.split())
    assert re.search(r"stop at [\d,]+ - ", out)
    assert re.search(r"bench hours, 3 of them to prepare 3 23 ", out)
    alone = " ".join(run(shop, "value", *KIT, "--asked", "350", "--hours", "20").out.split())
    assert "Pass: at no price does it leave your margin." in alone
    assert re.search(r"the price to expect, it would lose [\d,]+ on average\.", alone)
    assert value(shop, "--asked", "350", "--hours", "20")["asked"]["sold_in"][0]["stop_at"] is None


def test_another_route_that_pays_more_is_a_detail(shop: Path, tmp_path: Path) -> None:
    words = ("--asked", "350", "--finished", "5", "--hours", "2")
    listed = value(shop, *words)["asked"]["sold_in"]
    plain, out = (" ".join(run(shop, "value", *KIT, *words, *more).out.split()) for more in ((), ("--details",)))
    other = sample_shop(tmp_path)
    text = (other / "shop.toml").read_text(encoding="utf-8")
    assert text.count('sell_on = "full"') == 1
    (other / "shop.toml").write_text(text.replace('sell_on = "full"', 'sell_on = "margin"'), encoding="utf-8")
    margin = value(other, *words)["asked"]["sold_in"]
    assert [one["best_route"] for one in (*listed, *margin)] == ["full", "full", "margin", "margin"]
    prices = [f"{one['stop_at']:,.0f}" for one in margin]
    assert (
        f'with sell_on = "margin" in [tax], where the law lets you: at most {prices[0]} as it is and {prices[1]} in'
        in out
    )
    assert not any(price in plain for price in prices)
    assert "--details has the other ways to sell it and the other VAT routes" in plain
    assert "with sell_on =" not in run(other, "value", *KIT, *words, "--details").out


def test_the_usual_price_is_no_more_and_no_less(shop: Path) -> None:
    found = value(shop, "--asked", "350")
    usual = found["buy_in"]["typical"] * 350 / found["asked"]["expected_paid"]
    out = run(shop, "value", *KIT, "--asked", f"{usual:.2f}").out
    assert f"asked is just what is usually asked, about {usual:,.0f};" in " ".join(out.split())
    above = run(shop, "value", *KIT, "--asked", f"{usual * 1.5:.2f}").out
    assert "asked is 50 % above what is usually asked" in " ".join(above.split())


def test_what_cannot_be_judged_is_held_against_sold_prices(shop: Path) -> None:
    words = ("--series", "Ballyvary", "--pieces", "5", "--condition", "3", "--unseen")
    typical = run(shop, "value", *words, "--json").data["buy_in"]["typical"]
    out = " ".join(run(shop, "value", *words, "--asked", f"{typical * 2:.2f}").out.split())
    assert f"asked is 100 % above the price at which such kits usually sell, {typical:,.0f}." in out


def test_invented_figures_are_told_until_the_shop_has_its_own(shop: Path, tmp_path: Path) -> None:
    fresh = tmp_path / "fresh"
    assert run(".", "new", str(fresh)).status == 0
    words = ("value", "--series", "Burren", "--pieces", "5", "--condition", "3", "--asked", "350")
    told = "What you may pay rests on invented figures until shop.toml has your own."
    out = " ".join(run(fresh, *words).out.split())
    assert told in out
    assert "Reckoned with a new shop's invented figures, until you write your own: VAT 23 %" in out
    assert run(fresh, *words, "--json").data["asked"]["reckoned_with"]["invented"] is True
    assert run(fresh, "shortlist", "--json").data["reckoned_with"]["invented"] is True
    text = (fresh / "shop.toml").read_text(encoding="utf-8")
    for key, own in (
        ("rate = 42.00", "rate = 30.00"),
        ("prepare = 3 ", "prepare = 2 "),
        ("margin = 18", "margin = 20"),
    ):
        (fresh / "shop.toml").write_text(text.replace(key, own), encoding="utf-8")
        assert told not in " ".join(run(fresh, *words).out.split()), own
    assert value(shop, "--asked", "350")["asked"]["reckoned_with"]["invented"] is False


def test_without_a_price_asked_nothing_is_judged(shop: Path) -> None:
    found = value(shop)
    assert found["asked"] is None
    assert not [text for text in found["cautions"] if "VAT" in text]
    assert "--asked" in run(shop, "value", *KIT).out


@pytest.mark.parametrize("table", ["[tax]", "[selling]"])
def test_a_shop_without_terms_still_hears_whether_it_is_much(tmp_path: Path, table: str) -> None:
    shop = sample_shop(tmp_path)
    text = (shop / "shop.toml").read_text(encoding="utf-8")
    kept, inside = [], False
    for line in text.splitlines():
        inside = line.startswith(table[:-1]) if line.startswith("[") else inside
        kept += [] if inside else [line]
    (shop / "shop.toml").write_text("\n".join(kept), encoding="utf-8")
    found = value(shop, "--asked", "350")["asked"]
    assert found["against_percent"] < 0
    assert found["sold_in"] == []
    assert table in found["reason"]
    out = " ".join(run(shop, "value", *KIT, "--asked", "350").out.split())
    assert f"Up to what price it pays cannot be told: {found['reason']}" in out


def test_a_series_that_the_book_has_not_is_held_against_its_value_alone(shop: Path) -> None:
    words = ("--series", "Ballyvary", "--pieces", "5", "--condition", "3", "--unseen", "--asked", "350", "--json")
    found = run(shop, "value", *words).data["asked"]
    assert found["sold_in"] == []
    assert "Ballyvary" in found["reason"]
    assert found["against_percent"] < 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--hours", "3"), "add --asked"),
        (("--parts", "30"), "add --asked"),
        (("--asked", "cheap"), '"cheap" is no amount'),
        (("--asked", "0"), "above 0"),
        (("--asked", "350", "--hours", "two"), '"two" is no number of hours'),
        (("--asked", "350", "--hours", "-1"), '"-1" is no number of hours'),
    ],
)
def test_odd_options_are_named(shop: Path, words: tuple[str, ...], said: str) -> None:
    ran = run(shop, "value", *KIT, *words)
    assert ran.status == 2
    assert said in ran.err
    assert ran.out == ""


@pytest.mark.parametrize("words", [("value", *KIT, "--asked"), ("price", "inishmore-restored", "--at")])
@pytest.mark.parametrize(("price", "bound"), [("0.5", "least"), ("1000000.01", "most"), ("99999999", "most")])
def test_a_price_that_no_row_could_have_is_refused(shop: Path, words: tuple[str, ...], price: str, bound: str) -> None:
    ran = run(shop, *words, price)
    assert ran.status == 2
    assert ran.err.startswith(f'{words[-1]} "{price}" is no price from 1 to 1,000,000 EUR; correct it, or set {bound}')

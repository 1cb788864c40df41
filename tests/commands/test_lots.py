"""Lots at an auction: everything shown of one is the hammer price, its premium and freight off. By hand from the
definition (common practice, no source): a lot costs hammer x (1 + premium / 100) + freight, and a kit asked for
privately at the first of these, fixed, is the same purchase."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import pytest

from kitvalue.commands.folder import ShopFolder
from kitvalue.market.encoding import Kit
from kitvalue.market.outlook import outlook, resale_kit
from tests import TODAY
from tests.shops import run, sample_shop

HEADER = "offer;series;pieces;condition;price;price_kind;premium;freight;sizes;haggle\n"
SIZES = "22x16 16x16 13x11 12x10 14x6.5"
LOT = f"L;Burren;5;3.5;320;hammer;25;60;{SIZES};"
KIT = f"P;Burren;5;3.5;400;;;60;{SIZES};fixed"
OPEN = f"N;Burren;5;3.5;;hammer;25;60;{SIZES};"


def with_rows(place: Path, *rows: str) -> Path:
    shop = sample_shop(place)
    (shop / "offers.csv").write_text(HEADER + "".join(f"{row}\n" for row in rows), encoding="utf-8")
    return shop


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return with_rows(tmp_path_factory.mktemp("lots"), LOT, KIT, OPEN)


@pytest.fixture(scope="module")
def told(shop: Path) -> dict[str, Any]:
    ran = run(shop, "shortlist", "--plan", "inishmore-restored", "--json")
    assert ran.status == 0, ran.err
    return dict(ran.data)


def by_name(told: dict[str, Any]) -> dict[str, Any]:
    return {one["offer"]: one for one in told["offers"]}


def test_a_hammer_price_by_hand(shop: Path, told: dict[str, Any]) -> None:
    """Full VAT, 18 % margin: the mean sale less VAT, fee, work with its contingency, freight, holding and margin is
    what the lot may cost, premium within; of that 100 parts in 125 are the hammer price."""
    fit = ShopFolder(shop, TODAY).market.fit
    mean = outlook(fit, resale_kit(fit, Kit("Burren", 5, 3.5))).mean
    net, spent = mean / 1.23, 60 + 24 + 3 * 36 * 1.10 + 0.029 * (mean + 60)
    lot = by_name(told)["L"]
    use = next(u for u in lot["uses"] if (u["use"], u["route"]) == ("sell on", "full"))
    assert use["ceiling"] == pytest.approx((net - 0.18 * net - spent) / 1.25, abs=0.0101)
    assert use["expected_profit"] == pytest.approx(net - spent - 320 * 1.25, abs=0.0051)
    assert (lot["asked"], lot["price_kind"], lot["premium"], lot["expected_paid"]) == (320, "hammer", 25, 320)


def test_with_its_premium_paid_back_it_is_a_private_kit(told: dict[str, Any]) -> None:
    lot, kit = by_name(told)["L"], by_name(told)["P"]
    for name in ("buy_in", "asked_against_percent", "rank", "best_use", "best_route", "expected_profit"):
        assert lot[name] == kit[name], name
    assert [(u["use"], u["route"]) for u in lot["uses"]] == [(u["use"], u["route"]) for u in kit["uses"]]
    assert any(u["ceiling"] is not None for u in lot["uses"])
    for ours, theirs in zip(lot["uses"], kit["uses"], strict=True):
        for name in ("expected_profit", "chance_of_loss", "profit_per_hour", "hours", "reason"):
            assert ours[name] == theirs[name], name
        for name in ("ceiling", "safe_ceiling"):
            assert (ours[name] is None) == (theirs[name] is None)
            if ours[name] is not None:  # each rounded down to its own cent
                assert -0.01 < theirs[name] - 1.25 * ours[name] < 0.0126
        if ours["reason"] is None:
            mine, other = ours["made_up"], theirs["made_up"]
            for name in ("sells_for", "vat", "fee", "margin"):
                assert mine[name] == pytest.approx(other[name], abs=0.011)
            assert mine["costs"] + mine["leaves"] == pytest.approx(other["costs"] + other["leaves"], abs=0.021)
            left = other["leaves"]
            assert mine["leaves"] == pytest.approx(left / 1.25 if left > 0 else left, abs=0.011)
    assert 1.25 * lot["stop_at"] == pytest.approx(kit["stop_at"], abs=0.0126)


def test_nothing_comes_off_a_hammer_price_and_the_opening_bid_stops_in_time(tmp_path: Path) -> None:
    shop = with_rows(tmp_path, f"L;Burren;5;3.5;320;hammer;0;60;{SIZES};10", f"K;Burren;5;3.5;320;;;60;{SIZES};10")
    found = by_name(run(shop, "shortlist", "--json").data)
    assert (found["L"]["expected_paid"], found["K"]["expected_paid"]) == (320, 288)
    assert found["L"]["stop_at"] == found["K"]["stop_at"]
    assert found["L"]["open_at"] == min(320, found["L"]["stop_at"])
    assert "hammer price" in found["L"]["paid_rests_on"]


def test_a_lot_without_a_price_is_judged_all_the_same(shop: Path, told: dict[str, Any]) -> None:
    lot, priced = by_name(told)["N"], by_name(told)["L"]
    assert lot["reason"] is None
    assert lot["stop_at"] == max(u["safe_ceiling"] or 0 for u in priced["uses"] if u["route"] == lot["best_route"])
    for name in ("asked", "expected_paid", "open_at", "expected_profit", "chance_of_loss", "rank"):
        assert lot[name] is None, name
    assert [u["ceiling"] for u in lot["uses"]] == [u["ceiling"] for u in priced["uses"]]
    assert "no_price" in lot["caution_codes"]
    assert [one["offer"] for one in told["offers"]][-1] == "N"
    assert "N" not in [one["offer"] for one in told["portfolio"]["buy"]]


def test_what_is_bought_together_is_spent_with_its_premium(tmp_path: Path) -> None:
    shop = with_rows(tmp_path, "L;Inishmore;5;4;720;hammer;25;30;;")
    chosen = run(shop, "shortlist", "--json").data["portfolio"]
    assert ([one["offer"] for one in chosen["buy"]], chosen["spent"]) == (["L"], 930)


def test_the_terminal_the_table_and_the_report_tell_it(shop: Path) -> None:
    ran = run(shop, "shortlist", "--details", "--csv")
    flat = " ".join(ran.out.split())
    assert "every price is the hammer price" in flat
    assert "premium 25 %" in flat
    text = (shop / "out" / "shortlist.csv").read_bytes().decode("utf-8-sig")
    rows = {row["offer"]: row for row in csv.DictReader(io.StringIO(text, newline=""))}
    found = by_name(run(shop, "shortlist", "--json").data)
    for name in ("L", "N"):
        assert (rows[name]["price_kind"], rows[name]["premium"]) == ("hammer", "25")
        assert float(rows[name]["stop_at"]) == found[name]["stop_at"]
    assert (rows["N"]["asked"], rows["N"]["expected_paid"], rows["N"]["chance_of_loss"]) == ("", "", "")
    assert run(shop, "report").status == 0
    page = (shop / "out" / "report.html").read_text(encoding="utf-8")
    assert "every price is the hammer price" in page
    bids = page[page.index("Up to what price they pay") :]
    assert bids.index(">L<") < bids.index(">N<")  # the one without a price is last
    stop = f"{found['L']['verdict']['price']:,.0f}"
    assert f">{stop}<" in bids  # as it is bid


def test_source_pays_the_premium_and_leaves_out_what_has_no_price(tmp_path: Path) -> None:
    """Two lots with all the drums: the dearer hammer price, without a premium, costs less in the end."""
    shop = sample_shop(tmp_path)
    plan = run(shop, "source", "inishmore-restored", "--json").data
    drums = " ".join(drum["size"] for drum in plan["drums"] if drum["size"])
    count = len(drums.split())
    rows = [
        f"A;Burren;{count};3;300;hammer;25;40;{drums};",
        f"B;Burren;{count};3;350;hammer;0;40;{drums};",
        f"C;Burren;{count};3;;hammer;20;40;{drums};",
    ]
    (shop / "offers.csv").write_text(HEADER + "\n".join(rows) + "\n", encoding="utf-8")
    first, second = run(shop, "source", "inishmore-restored", "--json", "--best", "2").data["answers"]
    assert (first["buy"], second["buy"]) == (["B"], ["A"])
    assert second["spent"] - first["spent"] == pytest.approx(300 * 1.25 - 350)
    assert "left out because they have no price yet: C" in " ".join(
        run(shop, "source", "inishmore-restored").out.split()
    )

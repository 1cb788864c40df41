"""The folder that a new shop begins with: it teaches every key, and its figures can be reckoned with at once."""

from __future__ import annotations

import csv
import re
from datetime import date
from pathlib import Path

import pytest
from pydantic import BaseModel

from kitvalue.intake.books.offers import read_offers
from kitvalue.intake.books.pricebook import read_pricebook
from kitvalue.intake.settings import plan as plans
from kitvalue.intake.settings import shop as shops
from kitvalue.market.fit import fit_book
from kitvalue.workshop.costing import cost_sheet
from tests import TODAY

ROOT = Path(__file__).resolve().parents[2]
STARTER = ROOT / "kitvalue" / "starter"
SAMPLE = ROOT / "sample_data"
SHOP_TABLES = (
    *(shops.ShopTable, shops.FilesTable, shops.PricesTable, shops.SeriesTable, shops.TaxTable, shops.Destination),
    *(shops.PromiseTable, shops.WorkTable, shops.SellingTable),
)
PLAN_TABLES = (
    *(plans.OriginalTable, plans.FinishedTable, plans.DonorTable, plans.DrumTable, plans.WorkLine, plans.PartLine),
    *(plans.SurplusTable, plans.Plan),
)
PLANS = [(folder, path.stem) for folder in (STARTER, SAMPLE) for path in sorted((folder / "builds").glob("*.toml"))]


def plan_of(folder: Path, name: str) -> plans.Plan:
    return plans.read_plan(name, folder, shops.read_shop(folder))


def untaught(table: type[BaseModel], text: str) -> list[str]:
    """Keys of a table that the text neither sets nor names in a remark."""
    keys = [field.alias or name for name, field in table.model_fields.items()]
    return [key for key in keys if not re.search(rf"(?m)(?:^|# |[\[.`]|\s){key}(?: = |[\].`])", text)]


@pytest.mark.parametrize("table", SHOP_TABLES, ids=lambda table: table.__name__)
def test_every_key_of_the_settings_is_taught(table: type[BaseModel]) -> None:
    missing = untaught(table, (STARTER / "shop.toml").read_text(encoding="utf-8"))
    untold = {shops.PricesTable: ["lowest"], shops.TaxTable: ["route"]}  # `min` under features; an old word
    assert missing == untold.get(table, [])


@pytest.mark.parametrize("table", PLAN_TABLES, ids=lambda table: table.__name__)
def test_every_key_of_a_plan_is_taught(table: type[BaseModel]) -> None:
    missing = untaught(table, (STARTER / "builds" / "example.toml").read_text(encoding="utf-8"))
    assert missing == (["name"] if table is plans.Plan else [])  # the name is the file's


def test_a_key_that_is_not_taught_is_found() -> None:
    assert "margin" in untaught(shops.SellingTable, "fee = 2.9\nstep = 10")


@pytest.mark.parametrize("folder", [STARTER, SAMPLE], ids=lambda folder: folder.name)
def test_hours_are_said_to_be_from_memory(folder: Path) -> None:
    text = (folder / "shop.toml").read_text(encoding="utf-8").lower()
    hours = text.split("[work.hours]", 1)[1]
    assert "from memory" in hours.split("=", 1)[0]
    work = shops.read_shop(folder).work
    assert work is not None
    assert len(work.hours) == 27
    assert all(0 < one <= 4 for one in work.hours.values())


@pytest.mark.parametrize(("folder", "name"), PLANS, ids=[name for _, name in PLANS])
def test_every_plan_has_a_complete_cost_sheet(folder: Path, name: str) -> None:
    plan = plan_of(folder, name)
    sheet = cost_sheet(plan, shops.read_shop(folder))
    chosen = next(route for route in sheet.routes if route.route == sheet.route)
    assert sheet.incomplete == ()
    assert chosen.allowed
    assert all(line.net is not None for line in chosen.lines)
    assert all(line.operation for line in plan.work)  # hours come from the shop's own list


@pytest.mark.parametrize(("folder", "name"), PLANS, ids=[name for _, name in PLANS])
def test_the_smallest_kit_of_a_plan_has_a_bass_a_rack_and_a_floor_drum(folder: Path, name: str) -> None:
    plan = plan_of(folder, name)
    assert {drum.role for drum in plan.drum[: plan.smallest]} == {"bass", "rack", "floor"}


def test_the_sample_plans_are_the_two_that_the_shop_tells_about() -> None:
    rebuilt, restored = plan_of(SAMPLE, "seven-piece"), plan_of(SAMPLE, "inishmore-restored")
    assert [len(rebuilt.drum), len(rebuilt.donor), sum(d.from_ == "new" for d in rebuilt.drum)] == [7, 2, 1]
    assert rebuilt.finished.share.middle == 70
    assert [len(restored.donor), restored.donor[0].series, restored.finished.share.middle] == [1, "Inishmore", 100]
    landed = next(
        route for route in cost_sheet(rebuilt, shops.read_shop(SAMPLE)).routes if route.route == "full"
    ).landed_at_cost
    assert landed is not None
    assert 2300 < landed < 3200


def test_the_first_price_book_is_plain_and_large_enough() -> None:
    text = (STARTER / "prices.csv").read_text(encoding="ascii")
    rows = list(csv.DictReader(text.splitlines(), strict=True))
    assert 30 <= len(rows) <= 40
    assert all(date.fromisoformat(row["date"]) <= date(2026, 11, 25) for row in rows)
    assert all(float(row["price"]) > 50 for row in rows)
    assert {row["series"] for row in rows} == set(shops.read_shop(STARTER).series)
    assert sum(row["price_kind"] in ("sold", "hammer") for row in rows) >= 5
    assert min(sum(row["channel"] == channel for row in rows) for channel in ("private", "dealer", "auction")) >= 3
    assert sum(row["hardware"] == "yes" for row in rows) >= 3


def test_the_first_price_book_is_read_whole_and_can_be_fitted() -> None:
    reading = read_pricebook(STARTER / "prices.csv", shops.read_shop(STARTER), TODAY)
    assert reading.counts.used == reading.counts.read == 36
    assert reading.book is not None
    fit = fit_book(reading.book, haggle=10.0)
    assert fit.recipe.left_out == ()
    assert fit.cautions == ()


@pytest.mark.parametrize(("folder", "count"), [(STARTER, 4), (SAMPLE, 12)], ids=["starter", "sample"])
def test_every_offer_is_read_and_has_a_drum_for_each_size(folder: Path, count: int) -> None:
    reading = read_offers(folder / "offers.csv", shops.read_shop(folder))
    assert len(reading.rows) == reading.counts.used == reading.counts.read == count
    assert all(len(offer.sizes) == offer.pieces for offer in reading.rows)

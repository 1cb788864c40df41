"""What offers.csv tells of a kit's features is what its values are of, in every answer about the offers."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from kitvalue.commands.folder import ShopFolder
from kitvalue.commands.report import judged_for_all, offers_seen
from kitvalue.decisions.offered import kit_offered
from kitvalue.intake.books.bookrows import FeatureRead
from kitvalue.intake.text.problems import texts
from kitvalue.market.encoding import FeatureRecipe, FeatureValue
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import Fit
from tests import TODAY
from tests.decisions.test_haggling import offer
from tests.drawn import kits_drawn
from tests.market.books import invented_book
from tests.shops import run, sample_shop

HEADER = "offer;series;pieces;condition;price;freight;hardware;holes\n"
ROWS = ("A;Burren;4;3;360;45;yes;0", "B;Burren;4;3;360;45;no;3", "C;Burren;4;3;360;45;;")
KIT = ("--series", "Burren", "--pieces", "4", "--condition", "3")
GIVEN = {
    "A": ("--with", "hardware=yes", "--with", "holes=0"), "B": ("--with", "hardware=no", "--with", "holes=3"), "C": (),
}  # fmt: skip
AVERAGE = "hardware and holes are not known and count at the book's average: offers.csv takes a column for each"


def with_rows(place: Path, *rows: str, header: str = HEADER) -> Path:
    shop = sample_shop(place)
    (shop / "offers.csv").write_text(header + "".join(f"{row}\n" for row in rows), encoding="utf-8")
    return shop


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return with_rows(tmp_path_factory.mktemp("offered"), *ROWS)


def by_name(shop: Path, *words: str) -> dict[str, Any]:
    ran = run(shop, "shortlist", "--json", *words)
    assert ran.status == 0, ran.err
    return {one["offer"]: one for one in ran.data["offers"]}


def ceiling(one: dict[str, Any]) -> float:
    found: float = next(u["ceiling"] for u in one["uses"] if (u["use"], u["route"]) == ("sell on", "full"))
    return found


def test_an_offer_is_worth_what_value_says_of_the_kit(shop: Path) -> None:
    found = by_name(shop)
    for name, words in GIVEN.items():
        said = run(shop, "value", *KIT, *words, "--json").data
        assert found[name]["buy_in"] == said["buy_in"]["typical"], name
        sold = next(u for u in found[name]["uses"] if u["use"] == "sell on")
        assert sold["made_up"]["sells_for"] == said["resale"]["mean"], name
    assert found["A"]["buy_in"] > found["C"]["buy_in"] > found["B"]["buy_in"]
    assert found["A"]["features"] == {"hardware": True, "holes": 0}
    assert found["C"]["features"] == {}


def test_a_blank_counts_at_the_average_and_says_so(shop: Path) -> None:
    found = by_name(shop)
    assert AVERAGE in found["C"]["cautions"]
    assert not any("average" in text for text in found["A"]["cautions"])
    assert f"{AVERAGE} (C)" in " ".join(run(shop, "shortlist", "--details").out.split())


def test_check_reads_the_columns_and_names_no_problem(shop: Path) -> None:
    assert not [p for p in run(shop, "check", "--json").data["problems"] if p["file"] == "offers.csv"]


def test_the_terminal_and_the_table_for_a_spreadsheet_tell_them(shop: Path) -> None:
    lines = run(shop, "shortlist", "--details", "--csv").out.splitlines()
    assert lines.count("        hardware yes, holes 0") == 1
    assert lines.count("        hardware no, holes 3") == 1
    text = (shop / "out" / "shortlist.csv").read_bytes().decode("utf-8-sig")
    rows = {row["offer"]: row for row in csv.DictReader(io.StringIO(text, newline=""))}
    assert rows["A"]["features"] == "hardware yes, holes 0"
    assert rows["C"]["features"] == ""


def test_the_report_values_the_same_kits(shop: Path) -> None:
    folder = ShopFolder(shop, TODAY)
    seen = {o.offer.offer: o for o in offers_seen(folder, folder.market.fit, judged_for_all(folder, folder.market.fit))}
    for name, one in by_name(shop).items():
        valuation = seen[name].valuation
        assert valuation is not None
        assert round(valuation.buy_in.typical, 2) == one["buy_in"]
    assert run(shop, "report").status == 0
    page = (shop / "out" / "report.html").read_text(encoding="utf-8")
    assert "Features" in page
    assert "hardware yes, holes 0" in page


def test_a_report_without_features_has_no_column_for_them(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    assert run(shop, "report").status == 0
    assert "Features" not in (shop / "out" / "report.html").read_text(encoding="utf-8")


def test_the_best_set_is_drawn_from_the_kits_with_their_features(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One bargain of each kind, a budget for one: the one with the stands is the one to buy."""
    drawn = kits_drawn(monkeypatch)
    rows = [f"{name};Inishmore;5;4;900;0;{has};0" for name, has in (("A", "no"), ("B", "yes"))]
    shop = with_rows(tmp_path, *rows)
    settings = (shop / "shop.toml").read_text(encoding="utf-8")
    (shop / "shop.toml").write_text(settings.replace("# budget = 1500 ", "budget = 1000 "), encoding="utf-8")
    found = run(shop, "shortlist", "--json").data
    assert [one["offer"] for one in found["portfolio"]["buy"]] == ["B"]
    assert [{f.name: f.value for f in kit.features} for kit in drawn[:2]] == [
        {"hardware": True, "holes": 0}, {"hardware": False, "holes": 0},
    ]  # fmt: skip
    gained = {name: one["expected_profit"] for name, one in by_name(shop).items()}
    assert found["portfolio"]["expected_profit"] == gained["B"] > gained["A"]


# ---- features that the fit cannot use ------------------------------------------------------------------------------


def declare(shop: Path, line: str, column: str | None = None, cell: str = "") -> None:
    """One more feature in shop.toml and, with `column`, the same cell of it in every row of prices.csv."""
    settings = (shop / "shop.toml").read_text(encoding="utf-8")
    (shop / "shop.toml").write_text(settings.replace("[prices.features]\n", f"[prices.features]\n{line}\n"), "utf-8")
    if column is not None:
        head, *rows = (shop / "prices.csv").read_text(encoding="utf-8-sig").splitlines()
        lines = [f"{head};{column}", *(f"{row};{cell}" for row in rows)]
        (shop / "prices.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def test_a_feature_that_the_fit_left_out_is_a_caution_as_in_value(tmp_path: Path) -> None:
    shop = with_rows(tmp_path, "A;Burren;4;3;360;45;yes", header="offer;series;pieces;condition;price;freight;cases\n")
    declare(shop, 'cases = "yes-no"', "cases", "no")
    said = [c for c in run(shop, "value", *KIT, "--with", "cases=yes", "--json").data["cautions"] if "cases" in c]
    assert said
    assert said[0].startswith("cases left out: ")
    assert [c for c in by_name(shop)["A"]["cautions"] if "cases" in c] == said


def test_a_feature_without_a_column_in_the_book_is_not_counted_and_says_so(tmp_path: Path) -> None:
    header = "offer;series;pieces;condition;price;freight;cases\n"
    shop = with_rows(tmp_path, "A;Burren;4;3;360;45;yes", "B;Burren;4;3;360;45;", header=header)
    declare(shop, 'cases = "yes-no"')
    found = by_name(shop)
    assert "cases cannot be counted: prices.csv says nothing of it" in found["A"]["cautions"]
    assert not any("cases" in text for text in found["B"]["cautions"])
    assert found["A"]["buy_in"] == found["B"]["buy_in"]


def test_a_word_that_no_row_of_the_book_has_is_refused_for_that_offer_alone(tmp_path: Path) -> None:
    header = "offer;series;pieces;condition;price;freight;finish\n"
    shop = with_rows(tmp_path, "A;Burren;4;3;360;45;golden", "B;Burren;4;3;360;45;BLUE", header=header)
    declare(shop, 'finish = "word"', "finish", "blue")
    found = by_name(shop)
    assert found["B"]["reason"] is None
    assert found["A"]["buy_in"] is None
    reason = 'no row of the price book has finish = "golden"; it has blue: write one of these, or leave the cell blank'
    assert found["A"]["reason"] == reason
    folder = ShopFolder(shop, TODAY)
    seen = {o.offer.offer: o for o in offers_seen(folder, folder.market.fit, judged_for_all(folder, folder.market.fit))}
    assert (seen["A"].valuation, seen["A"].reason) == (None, reason)
    assert run(shop, "value", *KIT, "--with", "finish=golden").status == 1


@pytest.fixture(scope="module")
def fit() -> Fit:
    return fit_book(invented_book(n=80, features=True), None)


def test_values_come_as_the_fit_has_them(fit: Fit) -> None:
    words = FeatureRecipe("finish", "word", ("Blue", "Oak"))
    known = replace(fit, recipe=replace(fit.recipe, features=(*fit.recipe.features, words)))
    read = (FeatureRead("hardware", True), FeatureRead("finish", " oak"))
    given = kit_offered(offer(features=read), known).kit.features
    assert given == (FeatureValue("hardware", True), FeatureValue("finish", "Oak"))
    assert given[0].value is True
    number = kit_offered(offer(features=(FeatureRead("hardware", Decimal("0.5")),)), known).kit.features[0].value
    assert (number, type(number)) == (0.5, float)


def test_a_feature_of_words_that_the_book_leaves_blank_is_not_counted(fit: Fit) -> None:
    blank = replace(fit, recipe=replace(fit.recipe, features=(FeatureRecipe("finish", "word", ()),)))
    found = kit_offered(offer(features=(FeatureRead("finish", "oak"),)), blank)
    assert found.kit.features == ()
    assert texts(found.cautions) == ("finish cannot be counted: prices.csv says nothing of it",)


# ---- jot -----------------------------------------------------------------------------------------------------------

ADVERT = "Burren 22x16 16x16 13x11, 390 EUR Festpreis, shipping 45, condition 3, ohne Hardware"


def jotted(shop: Path) -> tuple[str, list[str]]:
    settings = (shop / "shop.toml").read_text(encoding="utf-8")
    if "[jot.words]" not in settings:
        settings += '\n[jot.words]\n"ohne hardware" = "hardware=no"\n'
        (shop / "shop.toml").write_text(settings, encoding="utf-8")
    ran = run(shop, "jot", "--offer", "--yes", ADVERT)
    assert ran.status == 0, ran.err
    return ran.out, (shop / "offers.csv").read_text(encoding="utf-8-sig").splitlines()


def test_jot_writes_a_feature_of_an_advert_where_there_is_a_column(tmp_path: Path) -> None:
    shop = with_rows(tmp_path, ROWS[0])
    said, lines = jotted(shop)
    assert lines[-1].split(";")[6] == "no"
    assert "no column hardware" not in said
    assert by_name(shop)[lines[-1].split(";")[0]]["features"]["hardware"] is False


def test_jot_says_where_there_is_none(tmp_path: Path) -> None:
    said, lines = jotted(sample_shop(tmp_path))
    assert "offers.csv has no column hardware, so that is not written" in " ".join(said.split())
    assert lines[0] == "offer;series;pieces;condition;price;freight;sizes;bought_from;haggle;note"


def test_a_new_file_of_offers_has_a_column_for_each_feature(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    (shop / "offers.csv").unlink()
    _, lines = jotted(shop)
    assert lines[0].endswith(",note,hardware,holes")
    assert lines[1].endswith(",no,")

"""The sample shop: drawn again to the byte, and holding what it promises."""

from __future__ import annotations

import csv
import math
import subprocess
import sys
import tomllib
from collections import Counter
from datetime import datetime
from pathlib import Path

import pytest

from kitvalue.intake.books.pricebook import PriceReading, read_pricebook
from kitvalue.intake.settings.shop import read_shop
from kitvalue.market.encoding import FeatureValue, Kit
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import outlook
from tests import TODAY

ROOT = Path(__file__).resolve().parents[1]
SAMPLE = ROOT / "sample_data"
TRUTH = tomllib.loads((ROOT / "shared" / "sample_truth.toml").read_text(encoding="utf-8"))
OTHER_SPELLINGS = {"Inishmore 84": "Inishmore", "The Burren": "Burren"}
DRAWN = ("sample_data/prices.csv", "sample_data/offers.csv", "shared/sample_truth.toml")
ORIGINALS = {4, 5, 6, 7}


def rows_of(name: str) -> list[dict[str, str]]:
    """The file's rows as text, by Python's own reader and not by the program's."""
    with (SAMPLE / name).open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file, delimiter=";", strict=True))


def amount(text: str) -> float:
    return float(text.replace(".", "").replace(",", "."))


def series_of(row: dict[str, str]) -> str:
    return OTHER_SPELLINGS.get(row["series"], row["series"])


@pytest.fixture(scope="module")
def prices() -> list[dict[str, str]]:
    return rows_of("prices.csv")


@pytest.fixture(scope="module")
def drawn_again(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("drawn")
    subprocess.run([sys.executable, str(ROOT / "tests" / "tooling" / "make_sample.py"), str(folder)], check=True)
    return folder


@pytest.mark.parametrize("name", DRAWN)
def test_drawing_it_again_gives_the_same_bytes(drawn_again: Path, name: str) -> None:
    assert (drawn_again / name).read_bytes() == (ROOT / name).read_bytes()


@pytest.mark.parametrize("name", ["prices.csv", "offers.csv"])
def test_files_are_in_a_spreadsheets_dialect(name: str) -> None:
    raw = (SAMPLE / name).read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf")
    assert raw.count(b"\n") == raw.count(b"\r\n") > 10
    assert raw.split(b"\r\n")[0].count(b";") > 8
    assert b"nan" not in raw


def test_numbers_are_spelt_in_several_ways(prices: list[dict[str, str]]) -> None:
    spelt = [row["price"] for row in prices]
    assert sum("." in text for text in spelt) >= 10  # 1.250,00
    assert sum(len(text) == 7 and "." not in text for text in spelt) >= 5  # 1250,00
    assert sum("," not in text for text in spelt) >= 10  # 450
    assert sum("3,5" in row["condition"] for row in prices) >= 10
    assert sum(row["condition"].isalpha() for row in prices) >= 10


def test_kept_rows_by_series(prices: list[dict[str, str]]) -> None:
    older = TRUTH["planted"]["superseded"]
    kept = Counter(series_of(row) for i, row in enumerate(prices, start=2) if i not in older)
    assert kept == TRUTH["rows"]["kept_by_series"]
    assert len(kept) == 9
    assert sorted(kept.values())[:2] == [2, 2]
    assert max(kept.values()) > 40
    assert kept["Inishmore"] >= 18
    assert len(prices) == TRUTH["rows"]["in_file"] == 160


def test_originals_come_in_several_sizes(prices: list[dict[str, str]]) -> None:
    sizes = Counter(int(row["pieces"]) for row in prices if series_of(row) == "Inishmore")
    assert set(sizes) == ORIGINALS
    assert sizes[7] >= 3


def test_kinds_and_channels(prices: list[dict[str, str]]) -> None:
    kinds = Counter(row["price_kind"] or "asked" for row in prices)
    channels = Counter(row["channel"] or "private" for row in prices)
    assert kinds == TRUTH["rows"]["in_file_by_kind"]
    assert channels == TRUTH["rows"]["in_file_by_channel"]
    assert 0.55 < kinds["asked"] / len(prices) < 0.65
    assert min(channels.values()) >= 20
    assert all((row["premium"] != "") == (row["price_kind"] == "hammer") for row in prices)
    assert all(row["channel"] == "auction" for row in prices if row["price_kind"] == "hammer")


def test_every_yes_or_no_has_rows_on_both_sides(prices: list[dict[str, str]]) -> None:
    hardware = Counter(row["hardware"] for row in prices)
    assert set(hardware) == {"yes", "no"}
    assert min(hardware.values()) >= 40
    assert sum(row["holes"] != "0" for row in prices) >= 40


def test_dates_span_two_years_and_end_at_the_reference_date(prices: list[dict[str, str]]) -> None:
    days = [datetime.strptime(row["date"], "%d.%m.%Y").date() for row in prices if row["date"]]
    assert max(days) == TRUTH["reference_date"]
    assert 700 < (max(days) - min(days)).days < 731


def test_blanks_of_a_real_book(prices: list[dict[str, str]]) -> None:
    blank = {
        column: sum(row[column] == "" for row in prices) for column in ("date", "freight", "channel", "price_kind")
    }
    assert 4 <= blank["date"] <= 15
    assert blank["freight"] >= 60
    assert blank["channel"] >= 10
    assert blank["price_kind"] >= 10


def test_relistings_share_a_reference_and_the_later_one_is_cheaper(prices: list[dict[str, str]]) -> None:
    refs = Counter(row["ref"] for row in prices if row["ref"])
    twice = {ref for ref, count in refs.items() if count > 1}
    assert max(refs.values()) == 2
    assert len(twice) == len(TRUTH["planted"]["superseded"]) == 4
    for row in TRUTH["planted"]["superseded"]:
        older = prices[row - 2]
        (later,) = (p for p in prices[row - 1 :] if p["ref"] == older["ref"])
        assert amount(later["price"]) < amount(older["price"])
        assert all(later[c] == older[c] for c in ("pieces", "hardware", "holes"))


def test_planted_prices_stand_far_from_their_series(prices: list[dict[str, str]]) -> None:
    planted = TRUTH["planted"]
    for row in planted["bundles"]:
        assert 2 < against_series(prices, row) < 5
        assert "cymbals" in prices[row - 2]["note"]
    tenfold, tenth = sorted((against_series(prices, row) for row in planted["slips"]), reverse=True)
    assert tenfold > 5
    assert tenth < 0.2


def against_series(prices: list[dict[str, str]], row: int) -> float:
    """A row's price over the median price of its series."""
    name = series_of(prices[row - 2])
    same = sorted(amount(p["price"]) for p in prices if series_of(p) == name)
    return amount(prices[row - 2]["price"]) / same[len(same) // 2]


def test_offers() -> None:
    offers = {row["offer"]: row for row in rows_of("offers.csv")}
    assert len(offers) == 12
    for row in offers.values():
        assert len(row["sizes"].split()) == int(row["pieces"])
        assert row["series"] in TRUTH["series"]
    marked = TRUTH["offers"]
    assert amount(offers[marked["overpriced"]]["price"]) > 2 * amount(offers[marked["bargain"]]["price"])
    assert TRUTH["rows"]["kept_by_series"][offers[marked["thin_series"]]["series"]] == 2


@pytest.fixture(scope="module")
def reading() -> PriceReading:
    return read_pricebook(SAMPLE / "prices.csv", read_shop(SAMPLE), TODAY)


@pytest.fixture(scope="module")
def fit(reading: PriceReading) -> Fit:
    assert reading.book is not None
    return fit_book(reading.book, haggle=10.0)


def test_the_program_reads_every_row(reading: PriceReading) -> None:
    counts = reading.counts
    assert (counts.read, counts.used, counts.refused, counts.set_aside) == (160, 156, 0, 4)
    assert (counts.delimiter, counts.decimal) == (";", ",")
    assert reading.book is not None
    names = Counter(reading.book.series_names[i] for i in reading.book.series)
    assert names == TRUTH["rows"]["kept_by_series"]
    assert set(TRUTH["planted"]["superseded"]).isdisjoint(reading.book.rows.tolist())


EFFECTS = {**TRUTH["effects"], **TRUTH["features"]}


@pytest.mark.parametrize("name", EFFECTS)
def test_the_fit_recovers_the_effect_that_the_book_was_drawn_from(fit: Fit, name: str) -> None:
    """With the planted rows in: they must not carry an effect out of its 95 % range."""
    (term,) = (term for term in fit.terms if term.name == name)
    assert term.low < EFFECTS[name] < term.high


@pytest.mark.parametrize("series", TRUTH["series"])
def test_the_fit_recovers_the_level_of_each_series(fit: Fit, series: str) -> None:
    kit = Kit(series, 5, 3, price_kind="asked", features=(FeatureValue("hardware", 0.0), FeatureValue("holes", 0.0)))
    level = outlook(fit, kit, range_percent=95)
    effects = TRUTH["effects"]
    drawn = math.exp(effects["intercept"] + TRUTH["series"][series] + effects["log_pieces"] * math.log(5))
    assert level.level_low is not None
    assert level.level_high is not None
    assert level.level_low < drawn < level.level_high


def test_the_fit_calls_the_planted_rows_unusual(fit: Fit) -> None:
    planted = {*TRUTH["planted"]["bundles"], *TRUTH["planted"]["slips"]}
    least = sorted(fit.unusual, key=lambda row: row.weight)[: len(planted)]
    assert {row.row for row in least} == planted


def test_the_fit_finds_the_scatter(fit: Fit) -> None:
    assert math.sqrt(fit.sigma2) == pytest.approx(TRUTH["scatter"]["sigma"], rel=0.15)

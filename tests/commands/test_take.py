"""`take`: what an export brings, and that nothing is lost and nothing counted twice. Common practice, no source."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections import Counter
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitvalue.cli import answers as cli_answers
from kitvalue.intake.books import pricebook
from kitvalue.intake.books.bookrows import RowReader
from kitvalue.intake.books.pricebook import PriceReading
from tests.shops import run, sample_shop

NEWCOMER = Path(__file__).parent.parent / "newcomer"
SETTINGS = '[shop]\nname = "Dock Road Drums"\ncurrency = "EUR"\n[series.Burren]\n[series.Slane]\n'
HEADER = "date;series;pieces;condition;price;price_kind;channel;ref;note"
BOOK = (
    "03.04.2024;Burren;4;3;480,00;asked;private;A1;x",
    "04.04.2024;Slane;5;3,5;1350,50;asked;private;;",
    "Sum;;;;1830,50;;;;",
    "05.04.2024;Burren;5;4;520,00;asked;private;;two\nlines",
    "06.04.2024;Slane;4;4;390,00;asked;dealer;;",
)


def shop_of(place: Path, *rows: str, header: str = HEADER) -> Path:
    place.mkdir(parents=True, exist_ok=True)
    (place / "shop.toml").write_text(SETTINGS, encoding="utf-8")
    (place / "prices.csv").write_bytes(sheet(*rows, header=header))
    return place


def sheet(*rows: str, header: str = HEADER) -> bytes:
    lines = (header, *(";".join(f'"{c}"' if "\n" in c else c for c in row.split(";")) for row in rows))
    return "".join(f"{line}\r\n" for line in lines).encode("cp1252")


def take(shop: Path, data: bytes, *options: str) -> dict[str, Any]:
    path = shop.parent / "export.csv"
    path.write_bytes(data)
    ran = run(shop, "take", str(path), "--json", *options)
    assert ran.status == 0, ran.err
    return ran.data


def kept(shop: Path) -> list[bytes]:
    return [path.read_bytes() for path in sorted(shop.glob("out/before/*/prices.csv"))]


def used(shop: Path) -> list[dict[str, Any]]:
    found = run(shop, "check", "--rows", "--json").data["rows"]
    assert isinstance(found, list)
    return found


def test_the_book_itself_brings_nothing(tmp_path: Path) -> None:
    shop = shop_of(tmp_path / "shop", *BOOK)
    before = (shop / "prices.csv").read_bytes()
    said = take(shop, before, "--yes")
    assert (said["added"], said["changed"], said["open"], said["written"]) == ([], [], [], False)
    assert [pair["row"] for pair in said["left"]] == [2, 3, 5, 6]
    assert [one["code"] for one in said["refused"]] == ["totals_row"]
    assert (shop / "prices.csv").read_bytes() == before
    assert not kept(shop)


def test_new_rows_go_behind_and_changed_ones_in_place(tmp_path: Path) -> None:
    shop = shop_of(tmp_path / "shop", *BOOK)
    before = (shop / "prices.csv").read_bytes()
    rows = [*BOOK, "07.05.2024;Burren;4;2;300,00;sold;private;;"]
    rows[0] = rows[0].replace("480,00", "440,00")  # by its ref
    rows[3] = rows[3].replace("520,00;asked", "470,00;sold")  # gone from the sheet, and one of its day has come
    dry = take(shop, sheet(*rows))
    assert not dry["written"]
    assert (shop / "prices.csv").read_bytes() == before
    said = take(shop, sheet(*rows), "--yes")
    assert said == dry | {"written": True}
    assert [one["row"] for one in said["added"]] == [7]
    assert [(one["book_row"], one["cells"]) for one in said["changed"]] == [
        (2, [{"column": "price", "old": "480,00", "new": "440,00"}]),
        (
            5,
            [
                {"column": "price", "old": "520,00", "new": "470,00"},
                {"column": "price_kind", "old": "asked", "new": "sold"},
            ],
        ),
    ]
    after = (shop / "prices.csv").read_bytes()
    changed = before.replace(b"480,00", b"440,00").replace(b"520,00;asked", b"470,00;sold")
    assert after == changed + b"07.05.2024;Burren;4;2;300,00;sold;private;;\r\n"
    assert kept(shop) == [before]
    assert take(shop, sheet(*rows), "--yes")["left"] == [{"row": n, "book_row": n} for n in (2, 3, 5, 6, 7)]


def test_what_nothing_tells_is_shown_and_not_taken(tmp_path: Path) -> None:
    """A part of the sheet: another kit of that day, or the same one at another price?"""
    shop = shop_of(tmp_path / "shop", *BOOK)
    part = ("04.04.2024;Slane;5;3,5;1200,00;asked;private;;", "09.05.2024;Slane;4;3;310,00;asked;private;;")
    said = take(shop, sheet(*part), "--yes")
    assert [(one["row"], one["book_row"]) for one in said["open"]] == [(2, 3)]
    assert [one["row"] for one in said["added"]] == [3]
    assert "1200" not in (shop / "prices.csv").read_text("cp1252")


def test_two_kits_alike_are_two(tmp_path: Path) -> None:
    row = "08.04.2024;Slane;4;4;390,00;asked;private;;"
    shop = shop_of(tmp_path / "shop", *BOOK, row + "blue")
    said = take(shop, sheet(*BOOK, row + "blue", row + "red"), "--yes")
    assert [one["row"] for one in said["added"]] == [8]
    assert len(used(shop)) == 6


def test_an_export_in_another_style(tmp_path: Path) -> None:
    """Other headers, commas for semicolons, a decimal point, ISO days, UTF-8 with its mark, titles above."""
    shop = shop_of(tmp_path / "shop", *BOOK)
    whole = io.StringIO()
    writer = csv.writer(whole)
    writer.writerows([["Dock Road Drums"], [], ["Seen on", "Series", "Drums", "Condition", "Asking price", "Notes"]])
    writer.writerows([["2024-04-04", "SLANE", "5", "3.5", "1350.50", ""], ["2024-04-06", "Slane", "4", "4", "390", ""],
                      ["2024-06-01", "Burren", "3", "2.5", "1,250.50", "naïve"]])  # fmt: skip
    said = take(shop, whole.getvalue().encode("utf-8-sig"), "--yes")
    assert [one["row"] for one in said["left"]] == [4, 5], said
    last = (shop / "prices.csv").read_bytes().splitlines()[-1]
    assert last.decode() == "01.06.2024;Burren;3;2,5;1250,50;asked;;;naïve"
    assert "no_kind" in said["caution_codes"]


def test_a_row_that_the_book_cannot_hold_is_refused(tmp_path: Path) -> None:
    """Without a column that says sold, its price would count as asked."""
    shop = shop_of(tmp_path / "shop", "03.04.2024;Burren;4;3;480", header="date;series;pieces;condition;price")
    before = (shop / "prices.csv").read_bytes()
    header = "date;series;pieces;condition;price;price_kind"
    said = take(shop, sheet("03.04.2024;Burren;4;3;480;asked", "04.04.2024;Slane;4;3;300;sold", header=header), "--yes")
    assert [(one["row"], one["code"]) for one in said["refused"]] == [(3, "not_held")]
    assert not said["written"]
    assert (shop / "prices.csv").read_bytes() == before


def test_it_asks_on_a_terminal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = shop_of(tmp_path / "shop", *BOOK)
    (tmp_path / "export.csv").write_bytes(sheet(*BOOK, "07.05.2024;Burren;4;2;300,00;sold;private;;"))
    before = (shop / "prices.csv").read_bytes()
    plain = run(shop, "take", str(tmp_path / "export.csv"))
    assert "--yes writes" in plain.out
    monkeypatch.setattr(cli_answers, "is_terminal", lambda *_: True)
    for agreed in (False, True):
        monkeypatch.setattr(cli_answers.click, "confirm", lambda *_, agreed=agreed, **__: agreed)
        assert "1 new" in run(shop, "take", str(tmp_path / "export.csv")).out
        assert ((shop / "prices.csv").read_bytes() == before) is not agreed


@pytest.mark.parametrize(
    ("name", "row"),
    [
        ("german", "{day}.06.2025;Burren;4;3;3{day},00 €;VB;;x;-;privat;"),
        ("british", "{day}/06/2025,Burren,4,,7,£3{day},,y,-,private,"),
        ("american", "6/{day}/2025,Burren,4,good,$3{day},,yes,-,private,"),
    ],
)
def test_a_months_export_of_a_newcomers_sheet(tmp_path: Path, name: str, row: str) -> None:
    """Ten rows more, merged into the shop that was laid out from the sheet: ten rows more count, and once."""
    source = NEWCOMER / f"{name}.csv"
    shop = tmp_path / "shop"
    assert run(tmp_path, "new", str(shop), "--prices", str(source)).status == 0
    before = used(shop)
    encoding = "cp1252" if name == "german" else "utf-8"
    lines = "".join(f"{row.format(day=day)}\r\n" for day in range(15, 25))
    export = source.read_bytes() + lines.encode(encoding)
    said = take(shop, export, "--yes")
    assert (said["changed"], said["open"]) == ([], [])
    assert len(said["left"]) == len(before)
    if before:
        assert len(said["added"]) == 10
    assert len(used(shop)) == len(before) + len(said["added"])
    assert take(shop, export, "--yes")["added"] == []


_DAYS = st.dates(dt.date(2024, 1, 1), dt.date(2024, 1, 4))
_KITS = st.tuples(
    _DAYS, st.sampled_from(["Burren", "Slane"]), st.integers(3, 4), st.sampled_from(["3", "4"]),
    st.sampled_from([300, 350, 400]), st.sampled_from(["asked", "sold"]), st.sampled_from(["", "", "R1", "R2"]),
)  # fmt: skip


def _row(kit: tuple[dt.date, str, int, str, int, str, str]) -> str:
    day, series, pieces, condition, price, kind, ref = kit
    return f"{day};{series if not ref else 'Burren'};{pieces};{condition};{price};{kind};private;{ref};"


def _none_alike(one: PriceReading, other: PriceReading, names: object) -> tuple[list[int], list[int]]:
    return [-1] * len(one.rows_as_read), [-1] * len(other.rows_as_read)


@settings(max_examples=15)
@given(st.lists(_KITS, min_size=1, max_size=8, unique=True), st.lists(_KITS, max_size=6), st.data())
def test_nothing_is_lost_and_nothing_counts_twice(
    tmp_path_factory: pytest.TempPathFactory, book: list[Any], new: list[Any], data: st.DataObject
) -> None:
    old = [_row(kit) for kit in book]
    export = [*data.draw(st.lists(st.sampled_from(old), unique=True)), *map(_row, new)] or old
    shop = shop_of(tmp_path_factory.mktemp("take") / "shop", *old)
    counted = used(shop)
    before = (shop / "prices.csv").read_bytes()
    with patch.object(pricebook, "numbered_alike", _none_alike):  # every row held against every other one
        long_way = take(shop, sheet(*export))
    said = take(shop, sheet(*export), "--yes")
    assert {**said, "written": False} == long_way
    aside = sum(problem["code"] in ("repeated_row", "relisted") for problem in said["problems"])
    fates = [one["row"] for fate in ("left", "added", "changed", "open", "refused") for one in said[fate]]
    assert len(fates) == len(set(fates)) == len(export) - aside
    assert len(used(shop)) == len(counted) + len(said["added"])
    touched = {one["book_row"] for one in said["changed"]}
    lines = (shop / "prices.csv").read_bytes().splitlines()
    assert all(line == lines[n] for n, line in enumerate(before.splitlines()) if n + 1 not in touched)
    assert kept(shop) == ([before] if said["written"] else [])
    prices = Counter(row["price"] for row in used(shop))
    assert all(prices[one["price"]] > 0 for one in said["added"])
    again = take(shop, sheet(*export), "--yes")
    assert again["added"] == []
    assert {one["row"] for one in again["changed"]} <= {one["row"] for one in said["open"]}
    assert len(again["left"]) == len(said["left"]) + len(said["added"]) + len(said["changed"])


def test_rows_that_are_the_same_in_both_are_not_looked_at_one_by_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = [f"03.04.2024;Burren;4;3;{480 + n},00;asked;private;;{n}" for n in range(500)]
    shop, built, build = shop_of(tmp_path / "shop", *old), list[int](), RowReader.row

    def counted(reader: RowReader, at: int, *money: Any) -> Any:
        built.append(at)
        return build(reader, at, *money)

    looked_at = pricebook.row_warnings

    def warned(*given: Any) -> Any:
        found = looked_at(*given)
        built.clear()  # a small book's rows are looked at for other warnings
        return found

    monkeypatch.setattr(RowReader, "row", counted)
    monkeypatch.setattr(pricebook, "row_warnings", warned)
    said = take(shop, sheet(*old[1:], "04.04.2024;Slane;5;3;900,00;asked;private;;"))
    assert (len(said["left"]), len(said["added"]), len(said["changed"])) == (499, 1, 0)
    assert len(built) <= 3


def test_the_sample_book_and_what_cannot_be_taken(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    assert take(shop, (shop / "prices.csv").read_bytes())["added"] == []
    (tmp_path / "export.csv").write_bytes(b"not;a\nbook;1\n")
    ran = run(shop, "take", str(tmp_path / "export.csv"))
    assert ran.status == 2
    assert "export.csv" in ran.err
    (shop / "prices.csv").unlink()
    assert "kitvalue new" in run(shop, "take", str(tmp_path / "export.csv")).err

"""`jot` on the command line and behind it: what is written, what is kept, and when nothing is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.cli import answers as cli_answers
from kitvalue.cli.main import main
from kitvalue.commands.folder import ShopFolder
from kitvalue.commands.jot import jot, write_jotted
from kitvalue.intake.books.offers import read_offers
from kitvalue.intake.books.pricebook import read_pricebook
from kitvalue.intake.settings.shop import read_shop
from kitvalue.intake.text.problems import FileError
from tests.shops import run, sample_shop

ADVERT = "Burren, 22x16 16x16 13x9 12x8, condition 3.5, 1.480,50 EUR VB, 3.11.2026, no. https://example.org/7"
HEADER = "date;series;pieces;condition;price;price_kind;ref;note"
SETTINGS = '[shop]\nname = "Dock Road Drums"\ncurrency = "EUR"\n[series.Burren]\n[series.Slane]\n'
TODAY = dt.date(2026, 11, 25)


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    tmp_path.joinpath("shop.toml").write_text(SETTINGS, encoding="utf-8")
    return tmp_path


def book(shop: Path, data: bytes) -> Path:
    path = shop / "prices.csv"
    path.write_bytes(data)
    return path


def added(shop: Path, data: bytes, text: str = ADVERT) -> bytes:
    """What jot sets behind a price book of these bytes."""
    path = book(shop, data)
    assert run(shop, "jot", "--yes", text).status == 0
    after = path.read_bytes()
    assert after.startswith(data)
    return after[len(data) :]


def test_the_row_follows_the_files_style(shop: Path) -> None:
    old = f"{HEADER}\r\n03.04.2024;Burren;4;3;480,00;sold;;x\r\n".encode()
    line = '03.11.2026;Burren;4;3,5;1480,50;asked;https://example.org/7;"22x16 16x16 13x9 12x8; negotiable"\r\n'
    assert added(shop, old).decode() == line


@pytest.mark.parametrize("end", ["\r\n", "\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-be"])
@pytest.mark.parametrize("ended", [True, False])
def test_line_ends_and_encodings_are_kept(shop: Path, end: str, encoding: str, ended: bool) -> None:
    mark = b"\xfe\xff" if encoding == "utf-16-be" else b""
    text = end.join([HEADER, "2024-04-03;Slane;4;3;480,50;sold;;groß €"]) + (end if ended else "")
    old = mark + text.encode(encoding)
    new = added(shop, old)
    name = {"utf-8-sig": "utf-8", "utf-16": "utf-16-le"}.get(encoding, encoding)
    assert new.decode(name).startswith(("" if ended else end) + "2026-11-03;Burren;4;3,5;1480,50;asked;")
    assert new.decode(name).endswith(end)
    reading = read_pricebook(shop / "prices.csv", read_shop(shop), TODAY)
    assert [row.row for row in reading.rows_as_read] == [2, 3]
    assert reading.rows_as_read[1].price == 1480.5
    assert reading.rows_as_read[0].note == "groß €"


def test_trailing_empty_columns_and_blank_lines_are_kept(shop: Path) -> None:
    old = b"series,pieces,condition,price,,\nSlane,4,3,480.00,,\n\n,,,,,\n"
    assert added(shop, old) == b"Burren,4,3.5,1480.50,,\n"
    assert run(shop, "check", "--rows", "--json").data["rows"][-1]["row"] == 5


def test_a_header_without_rows_and_a_missing_file_take_a_row(shop: Path) -> None:
    assert added(shop, b"series,pieces,condition,price") == b"\r\nBurren,4,3.5,1480.50\r\n"
    (shop / "prices.csv").unlink()
    assert run(shop, "jot", "--yes", ADVERT).status == 0
    data = (shop / "prices.csv").read_bytes()
    assert data.startswith(b"\xef\xbb\xbfseries,pieces,condition,price,date")
    assert run(shop, "check", "--json").data["files"][0]["used"] == 1


SOLD_HEADER = b"series;pieces;condition;price;sold_for;price_kind\r\nSlane;4;3;480,00;;asked\r\n"


@pytest.mark.parametrize(
    ("text", "line", "read"),
    [
        ("Burren, 4 pieces, condition 3, sold for 450 EUR", "Burren;4;3;;450;sold", ("450", "sold")),
        ("Burren, 4 pieces, condition 3, 450 EUR VB", "Burren;4;3;450;;asked", ("450", "asked")),
    ],
)
def test_what_was_paid_goes_into_its_own_column(shop: Path, text: str, line: str, read: tuple[str, str]) -> None:
    assert added(shop, SOLD_HEADER, text).decode() == f"{line}\r\n"
    row = run(shop, "check", "--rows", "--json").data["rows"][-1]
    assert (f"{row['price']:.0f}", row["price_kind"]) == read
    new = run(shop, "jot", "--yes", text)
    assert "needed" not in new.err + new.out
    assert "no column" not in new.err + new.out


def test_a_new_file_has_no_column_for_what_was_paid_unless_it_is_mapped(shop: Path) -> None:
    """With it, sold alone in price_kind would count as asked."""
    for mapping in ("", '[prices.columns]\nsold_for = "paid"\n'):
        (shop / "shop.toml").write_text(SETTINGS + mapping, encoding="utf-8")
        (shop / "prices.csv").unlink(missing_ok=True)
        assert run(shop, "jot", "--yes", ADVERT).status == 0
        header = (shop / "prices.csv").read_text(encoding="utf-8-sig").splitlines()[0].split(",")
        assert [name for name in header if name in ("sold_for", "paid")] == (["paid"] if mapping else [])


def test_a_mapped_header_gets_its_column(shop: Path) -> None:
    (shop / "shop.toml").write_text(SETTINGS + '[prices.columns]\nprice = "Preis"\n', encoding="utf-8")
    assert added(shop, b"Preis;series;pieces;condition\n480,00;Slane;4;3\n") == b"1480,50;Burren;4;3,5\n"


def test_a_broken_file_takes_no_row(shop: Path) -> None:
    path = book(shop, b'series;pieces;condition;price;note\nSlane;4;3;480;"open\nSlane;4;3;480;x\n')
    ran = run(shop, "jot", "--yes", ADVERT)
    assert ran.status == 2
    assert "a quote opens" in ran.err
    assert path.read_bytes().endswith(b"480;x\n")


def test_without_a_terminal_and_without_yes_nothing_is_written(shop: Path) -> None:
    path = book(shop, f"{HEADER}\n".encode())
    ran = run(shop, "jot", ADVERT)
    assert ran.status == 0
    assert "Nothing is written" in ran.out
    assert path.read_bytes() == f"{HEADER}\n".encode()
    assert run(shop, "jot", "--json", ADVERT).data["written"] is False


@pytest.mark.parametrize(("typed", "written"), [("y\n", True), ("n\n", False), ("\n", False)])
def test_a_terminal_is_asked(shop: Path, monkeypatch: pytest.MonkeyPatch, typed: str, written: bool) -> None:
    path = book(shop, f"{HEADER}\n".encode())
    monkeypatch.setattr(cli_answers, "is_terminal", lambda *_: True)
    result = CliRunner().invoke(main, ["--shop", str(shop), "jot", ADVERT], input=typed, catch_exceptions=False)
    assert result.exit_code == 0
    assert "Write it into prices.csv?" in result.stderr
    assert (b"Burren" in path.read_bytes()) is written
    assert ("Written: row 2" in result.stdout) is written


def test_the_advert_comes_from_standard_input(shop: Path) -> None:
    book(shop, f"{HEADER}\n".encode())
    arguments = ["--shop", str(shop), "jot", "--json", "--yes"]
    result = CliRunner().invoke(main, arguments, input="\ufeff" + ADVERT, catch_exceptions=False)
    assert result.exit_code == 0
    assert b"1480,50" in (shop / "prices.csv").read_bytes()


def test_a_file_that_changed_meanwhile_is_left_alone(shop: Path) -> None:
    path = book(shop, f"{HEADER}\n".encode())
    folder = ShopFolder(shop, TODAY)
    found = jot(folder, ADVERT, TODAY, offer=False)
    path.write_bytes(f"{HEADER}\n2024-04-03;Slane;4;3;480;sold;;\n".encode())
    with pytest.raises(FileError, match="has changed"):
        write_jotted(folder, found)
    assert b"Burren" not in path.read_bytes()


def test_an_advert_becomes_an_offer(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    text = "Slane 22x16 16x16 13x9, 390 EUR Festpreis, shipping 45, condition 3, Händler"
    ran = run(shop, "jot", "--offer", "--yes", text)
    assert ran.status == 0
    last = (shop / "offers.csv").read_bytes().decode("utf-8-sig").splitlines()[-1]
    assert last == "D13;Slane;3;3;390;45;22x16 16x16 13x9;trade;fixed;fixed"
    assert run(shop, "check", "--json").status == 0


def test_an_offer_is_named_after_its_own_series(shop: Path) -> None:
    (shop / "offers.csv").write_text("offer,series,pieces,condition,price\nslane1,Slane,4,3,390\n", encoding="utf-8")
    for name in ("burren", "burren2"):
        assert run(shop, "jot", "--offer", "--yes", ADVERT).status == 0
        assert (shop / "offers.csv").read_text(encoding="utf-8").splitlines()[-1].startswith(f"{name},Burren,")


def test_what_is_needed_and_open_is_said(shop: Path) -> None:
    book(shop, b"series;pieces;condition;price\n")
    ran = run(shop, "jot", "Burren 22/16/13, 400 EUR, 3.11.2026, Händler")
    assert "condition is needed" in ran.out
    assert "no column channel or date" in ran.out


def test_what_is_not_used_is_said_in_short(shop: Path) -> None:
    book(shop, f"{HEADER}\n".encode())
    lugs = ", ".join(f"{n} lugs" for n in range(20, 31))
    ran = run(shop, "jot", "--json", f"Burren 4-piece, hoops gone, 400 EUR, {lugs}")
    told = [one for one in ran.data["cautions"] if one.startswith("not used: ")]
    assert len(told) == 1
    assert told[0].startswith('not used: "hoops gone", "20 lugs", ')
    assert told[0].endswith('"26 lugs" and 4 more')
    assert "not used" not in run(shop, "jot", ADVERT).out


def test_a_ref_that_is_in_the_book_is_said(shop: Path) -> None:
    book(shop, f"{HEADER}\n2024-04-03;Slane;4;3;480;sold;https://example.org/7;\n".encode())
    assert "is in the book already" in run(shop, "jot", ADVERT).out


def test_a_wanted_advert_is_refused_with_one_line(shop: Path) -> None:
    book(shop, f"{HEADER}\n".encode())
    ran = run(shop, "jot", "--yes", "Suche Burren 22/16/13 bis 400 EUR")
    assert (ran.status, ran.out) == (1, "")
    assert len(ran.err.splitlines()) == 1


CELLS = st.text(st.characters(codec="utf-8", exclude_characters="\r\n\0"), max_size=12)


def quoted_rows(rows: list[list[str]]) -> Iterator[str]:
    for row in rows:
        yield ";".join('"' + cell.replace('"', '""') + '"' for cell in row)


@given(
    rows=st.lists(st.lists(CELLS, min_size=8, max_size=8), max_size=5),
    end=st.sampled_from(["\r\n", "\n", "\r"]),
    ended=st.booleans(),
)
def test_old_bytes_are_kept_and_the_row_is_read_back(
    tmp_path_factory: pytest.TempPathFactory, rows: list[list[str]], end: str, ended: bool
) -> None:
    shop = tmp_path_factory.mktemp("shop")
    shop.joinpath("shop.toml").write_text(SETTINGS, encoding="utf-8")
    path = book(shop, (end.join([HEADER, *quoted_rows(rows)]) + (end if ended else "")).encode())
    found = jot(ShopFolder(shop, TODAY), ADVERT, TODAY, offer=False)
    assert found.row.data.startswith(path.read_bytes())
    path.write_bytes(found.row.data)
    reading = read_pricebook(path, read_shop(shop), TODAY)
    assert (reading.rows_as_read[-1].row, reading.rows_as_read[-1].ref) == (found.row.row, "https://example.org/7")


@pytest.mark.parametrize("words", ["asking £900 ono", "£900", "price: £900 obo", "for £ 900"])
def test_a_sign_of_several_currencies_stays_with_the_price(shop: Path, words: str) -> None:
    """It must never become a price in the shop's own money: rates.csv turns it, or nothing is written."""
    text = f"Burren 22x16 16x16 13x9 12x8, condition 3, {words}"
    path = book(shop, (HEADER + "\n").encode())
    ran = run(shop, "jot", "--yes", text)
    assert ran.status == 1
    assert "rates.csv is needed" in ran.err
    assert path.read_bytes() == (HEADER + "\n").encode()
    (shop / "rates.csv").write_text("date,currency,rate\n2026-01-02,GBP,1.15\n", encoding="utf-8")
    assert ";900 £;" in added(shop, (HEADER + "\n").encode(), text).decode()
    assert run(shop, "check", "--rows", "--json").data["rows"][0]["price"] == 900


@pytest.mark.parametrize("own", ["USD", "CAD", "EUR"])
@pytest.mark.parametrize("words", ["$425", "425 $", "425 dollars", "US$425", "£425"])
@pytest.mark.parametrize("header", [HEADER, HEADER + ";currency"])
def test_a_row_jotted_means_what_the_same_words_mean_in_the_price_book(
    shop: Path, own: str, words: str, header: str
) -> None:
    """The price book's own reader decides what a sign means; a row by jot must come back as the same money. Where that
    reader knows no rate for it, jot writes none."""
    (shop / "shop.toml").write_text(SETTINGS.replace("EUR", own), encoding="utf-8")
    path = book(
        shop,
        f"{header}\n2026-11-03;Burren;4;3;{words};asked;;x\n".replace(";x", ";x" + ";" * (header != HEADER)).encode(),
    )
    for rates in (None, "2026-10-01,GBP,1.15", "2026-10-01,USD,0.9\n2026-10-01,GBP,1.15"):
        if rates is not None:
            (shop / "rates.csv").write_text(f"date,currency,rate\n{rates}\n", encoding="utf-8")
        by_hand = read_pricebook(path, read_shop(shop), TODAY).rows_as_read
        before = path.read_bytes()
        ran = run(shop, "jot", "--yes", f"Burren 22x16 16x16 13x9 12x8, condition 3, 3.11.2026, asking {words}")
        assert (ran.status == 0) is bool(by_hand)
        assert bool(by_hand) or "rates.csv is needed" in ran.err
        rows = read_pricebook(path, read_shop(shop), TODAY).rows_as_read
        assert {(row.price, row.currency, row.rate) for row in rows} == {(r.price, r.currency, r.rate) for r in by_hand}
        assert len(rows) == 2 * len(by_hand)
        path.write_bytes(before)


OFFERS = "offer,series,pieces,condition,price,price_kind,premium,freight,haggle\n"
LOT = "Burren 22x16 16x16 13x9 12x8, condition 3, hammer price 320 EUR, buyer's premium 25 %, shipping 40 EUR"


def offered(shop: Path, text: str, header: str = OFFERS) -> str:
    """The row that an advert becomes in an empty offers.csv."""
    (shop / "offers.csv").write_text(header, encoding="utf-8")
    ran = run(shop, "jot", "--offer", "--yes", text)
    assert ran.status == 0, ran.err
    return (shop / "offers.csv").read_text(encoding="utf-8").splitlines()[-1]


def test_a_lot_keeps_its_premium(shop: Path) -> None:
    assert offered(shop, LOT) == "burren,Burren,4,3,320,hammer,25,40,"
    assert {one["file"] for one in run(shop, "check", "--json").data["problems"]} == {"prices.csv"}  # there is none


def test_a_lot_without_a_price_is_written_and_counts(shop: Path) -> None:
    text = "Auction: Burren, 4 pieces, condition 3, estimate 300-400 EUR, buyer's premium 25 %"
    ran = run(shop, "jot", "--offer", "--json", text)
    assert ran.data["row"]["cells"]["price"] == ""
    assert ran.data["row"]["cells"]["price_kind"] == "hammer"
    assert "price is needed" not in ran.err


def test_a_hammer_price_is_not_written_where_it_would_count_as_asked(shop: Path) -> None:
    for words, header in (
        (("--offer",), "offer,series,pieces,condition,price\n"),
        ((), "series,pieces,condition,price\n"),
    ):
        file = "offers.csv" if words else "prices.csv"
        (shop / file).write_text(header, encoding="utf-8")
        ran = run(shop, "jot", *words, "--yes", LOT)
        assert (shop / file).read_text(encoding="utf-8").splitlines()[-1].endswith("Burren,4,3,")
        assert f"{file} has no column price_kind" in " ".join(ran.out.split())


@pytest.mark.parametrize(
    ("words", "cells"),
    [
        ("Händler, inkl. 19 % MwSt.", "trade,included"),
        ("MwSt. ausweisbar", "trade,included"),
        ("differenzbesteuert nach § 25a UStG", "trade,margin"),
        ("drum shop, plus VAT", "trade,excluded"),
        ("drum shop, sold under the margin scheme", "trade,margin"),
        ("drum shop", "trade,"),
        ("private sale", "private,"),
        ("TVA récupérable", "trade,included"),
        ("IVA esclusa", "trade,excluded"),
        ("régimen especial de bienes usados", "trade,margin"),
        ("btw verrekenbaar", "trade,included"),
        ("margegoed", "trade,margin"),
    ],
)
def test_what_a_dealer_says_of_vat(shop: Path, words: str, cells: str) -> None:
    header = "offer,series,pieces,condition,price,bought_from,vat\n"
    assert offered(shop, f"Burren, 4 pieces, condition 3, 480 EUR, {words}", header) == f"burren,Burren,4,3,480,{cells}"
    assert read_offers(shop / "offers.csv", read_shop(shop)).problems == ()


def test_the_vat_of_a_premium_is_not_the_kits(shop: Path) -> None:
    header = "offer,series,pieces,condition,price,price_kind,premium,bought_from,vat\n"
    text = "Burren, 4 pieces, condition 3, auction, hammer price 320 EUR, 25 % premium incl. VAT"
    assert offered(shop, text, header) == "burren,Burren,4,3,320,hammer,25,,"


def test_a_sold_kit_is_no_offer(shop: Path) -> None:
    ran = run(shop, "jot", "--offer", "--yes", "Burren, 4 pieces, condition 3, sold for 450 EUR")
    assert (ran.status, ran.out) == (1, "")
    assert "is sold" in ran.err
    assert not (shop / "offers.csv").exists()


def test_an_offer_in_pounds_is_read_by_a_rate(shop: Path) -> None:
    text = "Burren, 4 pieces, condition 3, £320, shipping £30"
    ran = run(shop, "jot", "--offer", "--yes", text)
    assert ran.status == 1
    assert "rates.csv is needed" in ran.err
    (shop / "rates.csv").write_text("date,currency,rate\n2026-01-02,GBP,1.10\n", encoding="utf-8")
    offered(shop, text)
    (offer,) = read_offers(shop / "offers.csv", read_shop(shop)).rows
    assert (offer.price, offer.freight) == (352, 33)
    assert {one["file"] for one in run(shop, "check", "--json").data["problems"]} == {"prices.csv"}  # there is none


@pytest.mark.parametrize("words", ["", "3.11.2026, "])
def test_without_a_day_todays_is_written_and_said(shop: Path, words: str) -> None:
    path = book(shop, f"{HEADER}\n".encode())
    jotted = jot(ShopFolder(shop, TODAY), f"Burren, 4 pieces, condition 3, {words}450 EUR", TODAY, offer=False)
    write_jotted(ShopFolder(shop, TODAY), jotted)
    assert path.read_text(encoding="utf-8").splitlines()[-1].startswith("2026-11-03;" if words else "2026-11-25;")
    said = [one.text for one in jotted.notices if one.code == "today"]
    assert said == ([] if words else ["the advert names no day, so today's is written: 2026-11-25"])
    assert jotted.understood.value("date") == ("2026-11-03" if words else "2026-11-25")


def test_a_day_that_cannot_be_told_is_not_todays(shop: Path) -> None:
    book(shop, f"{HEADER}\n".encode())
    jotted = jot(ShopFolder(shop, TODAY), "Burren, 4 pieces, condition 3, seen 03/04/2026, 450 EUR", TODAY, offer=False)
    assert dict(jotted.row.cells)["date"] == ""


PASTE = "1. Slane 5-piece, 470 EUR, a deposit of 60 EUR keeps it\n2. Wanted: Burren\n3. Burren 22/16/13, 350 EUR"


def test_several_adverts_in_one_paste_are_each_written_or_refused(shop: Path) -> None:
    """Common practice, no source."""
    path = book(shop, f"{HEADER}\n".encode())
    ran = run(shop, "jot", "--yes", "--json", PASTE)
    assert ran.status == 0
    first, wanted, last = ran.data["rows"]
    assert (first["row"]["row"], last["row"]["row"]) == (2, 3)
    assert "seeks a kit" in wanted["refused"]
    assert [one["role"] for one in first["amounts"]] == ["price", "deposit"]
    assert path.read_bytes().decode().splitlines()[1:] == [first["row"]["line"], last["row"]["line"]]


def test_a_paste_of_nothing_that_is_offered_is_refused(shop: Path) -> None:
    ran = run(shop, "jot", "--yes", "Wanted: Burren 5-piece\n\nWanted: Slane 4-piece")
    assert ran.status == 1
    assert "none of 2 adverts" in ran.err

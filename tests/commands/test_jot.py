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
    monkeypatch.setattr(cli_answers, "_is_terminal", lambda: True)
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
    """It must never become a price in the shop's own money."""
    line = added(shop, (HEADER + "\n").encode(), f"Burren 22x16 16x16 13x9 12x8, condition 3, {words}").decode()
    assert ";900 £;" in line


@pytest.mark.parametrize("own", ["USD", "CAD", "EUR"])
@pytest.mark.parametrize("words", ["$425", "425 $", "425 dollars", "US$425", "£425"])
@pytest.mark.parametrize("header", [HEADER, HEADER + ";currency"])
def test_a_row_jotted_means_what_the_same_words_mean_in_the_price_book(
    shop: Path, own: str, words: str, header: str
) -> None:
    """The price book's own reader decides what a sign means; a row by jot must come back as the same money."""
    (shop / "shop.toml").write_text(SETTINGS.replace("EUR", own), encoding="utf-8")
    path = book(
        shop,
        f"{header}\n2026-11-03;Burren;4;3;{words};asked;;x\n".replace(";x", ";x" + ";" * (header != HEADER)).encode(),
    )
    assert (
        run(shop, "jot", "--yes", f"Burren 22x16 16x16 13x9 12x8, condition 3, 3.11.2026, asking {words}").status == 0
    )
    reading = read_pricebook(path, read_shop(shop), TODAY)
    by_hand = [(one.code, one.message) for one in reading.problems if one.row == 2]
    jotted_row = [(one.code, one.message) for one in reading.problems if one.row == 3]
    assert [code for code, _ in by_hand] == [code for code, _ in jotted_row]
    assert {row.price for row in reading.rows_as_read} <= {425.0}
    assert len(reading.rows_as_read) == (0 if by_hand else 2)

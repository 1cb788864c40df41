"""A spreadsheet that comes in for the first time: its headers, taken for our columns only where their cells fit."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.arrival.guesses import guessed_grade
from kitvalue.intake.arrival.takeover import Incoming, incoming
from kitvalue.intake.text.problems import FileError

FEATURES = {"hardware": "yes-no"}
HEAD = "Date,Make,Model,Sizes,State,Price,Sold?,Stands?,Where seen,Seller"
ROWS = (
    "14/03/2026,Corrib,Inishmore,22/12/16,good for its age,\"£1,250\",asking,yes,club,Paddy",
    "3 Mar 2026,Corrib,Lisdoon,22/10/12/16,v good,£780,sold,no,paper,Tom",
    "19/03/2026,Corrib,Burren,\"20\"\" 12\"\" 14\"\"\",tatty,£420 ono,asking,yes,club,Tom",
    "20/03/2026,Corrib,Burren,20 12 14,tatty,£400,asking,no,paper,",
)  # fmt: skip


def seen(*lines: str, encoding: str = "utf-8") -> Incoming:
    return incoming("\n".join([*lines, ""]).encode(encoding), "kits.csv", FEATURES)


def test_headers_of_ones_own_are_taken_for_our_columns() -> None:
    sheet = seen(HEAD, *ROWS)
    assert dict(sheet.columns) == {
        "series": "Model", "pieces": "Sizes", "condition": "State", "price": "Price", "date": "Date",
        "price_kind": "Sold?", "channel": "Where seen", "hardware": "Stands?",
    }  # fmt: skip
    assert sheet.unused == ("Make", "Seller")
    assert sheet.series == ("Inishmore", "Lisdoon", "Burren", "Burren")
    assert sheet.currencies[0] == "GBP"
    assert sheet.cells.get("condition", ()) == ["good for its age", "v good", "tatty", "tatty"]


def test_headers_in_other_languages_and_the_delimiter_by_the_rows() -> None:
    lines = [f"Burren;{n};bon;{400 + n},00 €;0{n}/03/2026;oui" for n in range(3, 8)]
    sheet = seen("Modèle;Fûts;État;Prix;Vu le;Vendu", *lines)
    assert list(sheet.columns) == ["series", "pieces", "condition", "price", "date", "price_kind"]
    assert sheet.above == 0


def pieces_header(*cells: str, head: str = "Kit;What is in it;State;Price") -> str | None:
    """The header taken for `pieces` where these cells stand below the second header."""
    rows = [f"Burren;{cell};good;{400 + n}" for n, cell in enumerate(cells)]
    return incoming("\n".join([head, *rows]).encode(), "kits.csv", {}).columns.get("pieces")


def test_cells_that_say_pieces_give_the_column_whatever_its_header() -> None:
    assert pieces_header("5 pc", "5pc w/ hardware", "4tlg. mit Hardware", "4 pc + snare") == "What is in it"
    assert pieces_header("5 pc", "5-teilig", "4 drums", head="Kit;Etc;State;Price") == "Etc"
    for bare in (("5", "4", "5"), ("5 pc + snare", "4 pc + snare", "5 pc"), ("2 Stück", "1 Stk", "1 Stück"), ("", "")):
        assert pieces_header(*bare) is None, bare


def test_a_header_for_pieces_goes_before_cells_that_say_pieces() -> None:
    head = "Kit;What is in it;State;Price;Drums"
    rows = [f"Burren;{n} pc;good;{400 + n};{n}" for n in (3, 4, 5)]
    assert incoming("\n".join([head, *rows]).encode(), "kits.csv", {}).columns["pieces"] == "Drums"


def test_a_column_of_sizes_gives_the_pieces_whatever_its_header() -> None:
    rows = [f"Burren,good,{480 + n},22-10-12-16,{n}" for n in range(5)]
    assert seen("Serie,State,Price,Xyz,Abc", *rows).columns["pieces"] == "Xyz"
    assert (
        "pieces" not in seen("Serie,State,Price,Xyz", *(f"Burren,good,{480 + n},{n}-{n + 1}" for n in range(5))).columns
    )


def test_headers_of_which_none_is_known_are_still_the_headers() -> None:
    sheet = seen("Aa;Bb;Cc", *(f"Burren;{400 + n},00;sold, as a kit" for n in range(5)))
    assert (sheet.unused, sheet.columns, sheet.above) == (("Aa", "Cc"), {"price": "Bb"}, 0)


def test_our_own_names_come_before_likely_ones() -> None:
    sheet = seen("price,Preis,series,pieces,condition,hardware", "480,500,Burren,4,3,yes", "490,510,Slane,4,3,no")
    assert sheet.columns["price"] == "price"
    assert sheet.columns["hardware"] == "hardware"
    assert sheet.unused == ("Preis",)


def test_nothing_above_the_headers_leaves_every_byte() -> None:
    data = "Serie;Zahl Trommeln;Zustand;Preis\r\nBurren;4;gut;480,00 €\r\n".encode("cp1252")
    assert incoming(data, "kits.csv", FEATURES).data == data


@pytest.mark.parametrize("encoding", ["utf-8", "cp1252", "utf-16"])
@pytest.mark.parametrize("above", [["Kits seen 2026 €,,"], ["Kits seen,,", ",,,", '"two\nlines",'], [",what we saw,"]])
def test_rows_above_the_headers_are_left_out(above: list[str], encoding: str) -> None:
    sheet = seen(*above, HEAD, *ROWS, encoding=encoding)
    assert sheet.above == len(above)
    text = sheet.data.decode("utf-8-sig" if encoding == "utf-8" else encoding)
    assert text == "\n" * len(above) + "\n".join([HEAD, *ROWS, ""])  # so that every row keeps its number
    assert sheet.columns["price"] == "Price"


def test_blank_rows_above_the_headers_may_stay() -> None:
    sheet = seen("", ",,", HEAD, *ROWS)
    assert (sheet.above, sheet.data[:1]) == (0, b"\n")


def test_a_line_that_names_the_delimiter_is_no_row() -> None:
    sheet = seen("sep=;", "Serie;Stück;Zustand;Preis", "Burren;4;gut;480", "Slane;5;gut;520")
    assert sheet.columns["series"] == "Serie"
    assert sheet.above == 0


@pytest.mark.parametrize(
    ("header", "cells", "taken"),
    [
        ("When", ["3 Mar 2026", "4 Mar 2026", ""], True), ("When", ["spring", "last week", "4 Mar 2026"], False),
        ("Link", ["ad 1", "ad 2", "ad 3"], True), ("Link", ["ad 1", "ad 1", "ad 2"], False),
        ("Link", ["Tom", "Paddy", "Joe"], False),
        ("Where", ["club", "paper", "club"], True), ("Where", [f"place {n}" for n in range(20)], False),
        ("Postage", ["45", "60", ""], True), ("Postage", ["collected", "asked", "45"], False),
        ("Stands?", ["yes", "no", "yes"], True), ("Stands?", [f"{n} stands, a throne" for n in range(20)], False),
    ],
)  # fmt: skip
def test_an_optional_column_is_taken_where_its_cells_can_be_it(header: str, cells: list[str], taken: bool) -> None:
    rows = [f"Burren,4,good,{480 + n},{cell}" for n, cell in enumerate(cells)]
    assert (header in seen(f"Model,Drums,State,Price,{header}", *rows).columns.values()) is taken


@pytest.mark.parametrize(
    ("asked", "sold"),
    [
        ("Asking", "Sold for"),
        ("Preis", "Verkauft für"),
        ("Asked price", "Sold price"),
        ("Price", "Sold"),
        ("Prix", "Vendu"),
    ],
)
def test_what_was_asked_and_what_it_sold_for_are_two_columns(asked: str, sold: str) -> None:
    for first, second in ((asked, sold), (sold, asked)):
        rows = [f"Burren,4,good,{480 + n},{'' if n == 2 and first == asked else 440 + n}" for n in range(4)]
        columns = seen(f"Series,Pieces,State,{first},{second}", *rows).columns
        assert (columns["price"], columns["sold_for"]) == (asked, sold)


def test_amounts_that_come_again_are_no_words() -> None:
    rows = [f"Burren,4,good,{480 + n},{450 + n % 3}" for n in range(12)]
    columns = seen("Series,Pieces,State,Price,Sold", *rows).columns
    assert (columns["sold_for"], "price_kind" in columns) == ("Sold", False)


def test_the_only_column_of_money_is_the_price() -> None:
    columns = seen("Series,Pieces,State,Verkauft für", "Burren,4,good,480", "Slane,4,good,500").columns
    assert columns["price"] == "Verkauft für"
    assert "sold_for" not in columns


def test_a_header_of_a_column_that_cannot_be_it_leaves_the_next_one() -> None:
    sheet = seen("Model,Drums,State,Price list,Price", "Burren,4,good,see shop,480", "Slane,5,good,see shop,520")
    assert sheet.columns["price"] == "Price"


@pytest.mark.parametrize(
    ("prices", "codes"),
    [(["480 €", "500"], ("EUR",)), (["480", "500"], ()), (["£480", "480 €"], ()), (["VHB", "480 €"], ("EUR",))],
)
def test_the_currency_that_all_prices_are_in(prices: list[str], codes: tuple[str, ...]) -> None:
    assert seen("series,pieces,condition,price", *(f"Burren,4,3,{price}" for price in prices)).currencies == codes


def test_every_row_speaks_for_the_series() -> None:
    sheet = seen("series,pieces,condition,price", *("Burren,4,3,480" for _ in range(2500)), "Slane,4,3,500")
    assert sheet.series.count("Burren") == 2500
    assert sheet.series[-1] == "Slane"


def test_totals_name_no_series() -> None:
    rows = ("2026-01-02,Burren,4,average,480", "TOTAL,1 kit,,,480", ",Slane,5,mittel,500")
    assert seen("date,series,pieces,condition,price", *rows).series == ("Burren", "Slane")


@pytest.mark.parametrize(
    ("dates", "first"),
    [(("13/4/2026", "2/3/2026"), True), (("4/13/2026", "2/3/2026"), False), (("2/3/2026",), None),
     (("13/4/2026", "4/13/2026"), None), (("2026-04-13",), None)],
)  # fmt: skip
def test_the_order_that_the_dates_show(dates: tuple[str, ...], first: bool | None) -> None:
    sheet = seen("series,pieces,condition,price,date", *(f"Burren,4,3,480,{date}" for date in dates))
    assert sheet.day_first is first


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "the file is empty"), (b"PK\x03\x04rest", "is a workbook"), (b"hello\nworld\n", "no row of headers"),
        (b"480,490\n500,510\n", "no row of headers"),
    ],
)  # fmt: skip
def test_what_is_no_spreadsheet_is_refused(data: bytes, told: str) -> None:
    with pytest.raises(FileError, match=told):
        incoming(data, "kits.csv", FEATURES)


@given(st.text(alphabet='ab1,;"\n\r \t€|', max_size=300))
def test_any_text_is_taken_or_refused(text: str) -> None:
    try:
        sheet = incoming(text.encode(), "kits.csv", FEATURES)
    except FileError:
        return
    assert set(sheet.columns.values()).isdisjoint(sheet.unused)


@pytest.mark.parametrize(
    ("cells", "taken"),
    [
        (("Kleinanzeige", "Laden", "Flohmarkt", "Auktion", "Laden"), True),
        (("Laden", "Laden", "Kleinanzeige", "Laden", "Kleinanzeige"), False),  # one kind of seller may be anything
        (("red", "blue", "red", "blue", "red"), False),
    ],
)
def test_cells_that_say_who_sells_give_the_column_whatever_its_header(cells: tuple[str, ...], taken: bool) -> None:
    lines = [f"Burren;4;gut;4{n}0;{cell}" for n, cell in enumerate(cells)]
    assert seen("Serie;Teile;Zustand;Preis;Hinweg", *lines).columns.get("channel") == ("Hinweg" if taken else None)
    named = seen("Serie;Teile;Zustand;Preis;Hinweg;Kanal", *(f"{line};x" for line in lines))
    assert named.columns["channel"] == "Kanal"


def test_counts_stand_beside_sizes_where_each_fills_the_other_up() -> None:
    rows = ["Burren;4;;tidy;400", "Slane;;22/12/16;rough;300", "Kilbeg;5;;fair;450", "Burren;;20, 12, 14;mint;500"]
    for head, condition in (("No. of drums;Drums", "How is it"), ("How many;Drums", "Looks"), ("Qty;Sizes", "Eh")):
        columns = seen(f"Model;{head};{condition};Ticket", *rows).columns
        assert (columns["pieces"], columns["sizes"]) == tuple(head.split(";")), head
        assert columns["condition"] == condition  # and a count is no grade


@pytest.mark.parametrize(
    ("word", "grade"),
    [
        ("Player's", "mend"), ("reparaturbedürftig", "remake"), ("etat d'usage", "mend"), ("état d’usage", "mend"),
        ("spares/repair", "harvest"), ("puntgaaf", "wipe"), ("usurata", "remake"), ("por restaurar", "remake"),
    ],
)  # fmt: skip
def test_usual_words_of_condition_with_or_without_their_accents(word: str, grade: str) -> None:
    assert guessed_grade(word) == grade  # common practice, no source

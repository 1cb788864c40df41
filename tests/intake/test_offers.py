"""offers.csv: the kits on offer."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.books.offers import Offer, read_offers
from kitvalue.intake.tables.specification import FileReading
from kitvalue.intake.text.problems import Level, Problem
from kitvalue.intake.text.sizes import Size, split_sizes
from tests.intake.shops import SETTINGS, shop_in

HEADER = "offer;series;pieces;condition;price;freight;sizes;bought_from;haggle;note"


def read(folder: Path, *rows: str, header: str = HEADER, settings: str = SETTINGS) -> FileReading[Offer]:
    shop = shop_in(folder, settings)
    (folder / "offers.csv").write_text("\n".join([header, *rows, ""]), encoding="utf-8")
    return read_offers(folder / "offers.csv", shop)


def refused(reading: FileReading[Offer]) -> list[Problem]:
    return [problem for problem in reading.problems if problem.level is Level.REFUSED]


def test_a_sound_offer(tmp_path: Path) -> None:
    reading = read(tmp_path, 'D1;burren;4;good;1.360,00 VB;45;"22x16 16"" x 16"" 13 x 7 1/4, 12x10";trade;10 %;blue',
                   "D2;Slane;5;3,5;400;;;;fixed;")  # fmt: skip
    one, two = reading.rows
    assert (one.row, one.offer, one.series, one.pieces, one.condition) == (2, "D1", "Burren", 4, 4)
    assert (one.price, one.freight, one.bought_from, one.haggle, one.note) == (1360, 45, "trade", 10, "blue")
    assert [(size.diameter, size.depth) for size in one.sizes] == [(22, 16), (16, 16), (13, Decimal("7.25")), (12, 10)]
    assert (two.freight, two.sizes, two.bought_from, two.haggle, two.note) == (None, (), "private", "fixed", None)
    assert reading.problems == ()
    assert (reading.counts.read, reading.counts.used, reading.counts.refused) == (2, 2, 0)


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        (";Burren;4;good;360;;;;;", "offer", "empty"),
        ("D;Buren;4;good;360;;;;;", "series", "did you mean Burren?"),
        ("D;Burren;4+1;good;360;;;;;", "pieces", "sum"),
        ("D;Burren;4;nice;360;;;;;", "condition", "1 to 5"),
        ("D;Burren;4;good;0;;;;;", "price", "above 0"),
        ("D;Burren;4;good;£360;;;;;", "price", "not in EUR"),
        ("D;Burren;4;good;360;20 CHF;;;;", "freight", "not in EUR"),
        ("D;Burren;4;good;360;inkl.;;;;", "freight", "leave it blank"),
        ("D;Burren;4;good;360;;22x16 16x16;;;", "sizes", "names 2 drums, and pieces says 4"),
        ("D;Burren;2;good;360;;22x16 big;;;", "sizes", '"big"'),
        ("D;Burren;2;good;360;;16x22 10x12;;;", "sizes", "size_order"),
        ("D;Burren;4;good;360;;;shop;;", "bought_from", "private, trade, union or import"),
        ("D;Burren;4;good;360;;;;much;", "haggle", "percentage"),
        ("D;Burren;4;good;360;;;;120;", "haggle", "percentage"),
    ],
)
def test_a_cell_that_cannot_be_taken(tmp_path: Path, row: str, column: str, words: str) -> None:
    reading = read(tmp_path, row, "E;Slane;5;3;400;;;;;")
    (problem,) = refused(reading)
    assert (problem.file, problem.row, problem.column) == ("offers.csv", 2, column)
    assert words in problem.message
    assert [offer.offer for offer in reading.rows] == ["E"]


def test_one_name_for_two_offers_refuses_both(tmp_path: Path) -> None:
    reading = read(tmp_path, "D1;Burren;4;good;360;;;;;", "d1 ;Slane;5;3;400;;;;;", "D2;Slane;5;3;400;;;;;")
    assert [(p.row, p.code) for p in refused(reading)] == [(2, "offer_twice"), (3, "offer_twice")]
    assert "rows 2 and 3" in refused(reading)[0].message
    assert [offer.offer for offer in reading.rows] == ["D2"]


def test_sizes_follow_the_shops_order(tmp_path: Path) -> None:
    settings = SETTINGS.replace('currency = "EUR"', 'currency = "EUR"\nsize_order = "depth-diameter"')
    (offer,) = read(tmp_path, "D;Burren;2;good;360;;16x22 10x12;;;", settings=settings).rows
    assert offer.sizes == (Size(Decimal(22), Decimal(16)), Size(Decimal(12), Decimal(10)))


def test_the_file_as_a_whole(tmp_path: Path) -> None:
    assert [p.code for p in read_offers(tmp_path / "offers.csv", shop_in(tmp_path)).problems] == ["no_file"]
    undecided = read(tmp_path, "D;Burren;4;good;1.360;;;;;")
    assert [(p.level, p.row, p.text) for p in undecided.problems] == [(Level.FILE, 2, "1.360")]
    assert undecided.rows == ()
    missing = read(tmp_path, "D;Burren", header="offer;series")
    assert "pieces, condition and price are missing" in missing.problems[0].message


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("22x16 16x16 13x11", ["22x16", "16x16", "13x11"]),
        ("22 x 16, 16 x 16; 13x7 1/4 12x10", ["22x16", "16x16", "13x7 1/4", "12x10"]),
        ("22x16\n16x16", ["22x16", "16x16"]),
        ("13x7,25 12x10", ["13x7,25", "12x10"]),
        ('22"x16" + 16"x16"', ['22"x16"', '16"x16"']),
        ("", []),
    ],
)
def test_sizes_are_told_apart(text: str, parts: list[str]) -> None:
    assert split_sizes(text) == parts


@given(st.lists(st.text('D1;Burren4god360x,."/ \n', max_size=40), max_size=4))
def test_any_rows_are_read_or_refused(tmp_path_factory: pytest.TempPathFactory, rows: list[str]) -> None:
    reading = read(tmp_path_factory.getbasetemp(), *rows)
    assert reading.counts.read == reading.counts.used + reading.counts.refused
    assert reading.counts.used == len(reading.rows)


def test_an_offer_in_another_currency_needs_a_rate_and_takes_the_newest(tmp_path: Path) -> None:
    shop = shop_in(tmp_path, SETTINGS)
    path = tmp_path / "offers.csv"
    path.write_text("offer,series,pieces,condition,price,freight\nA,Burren,4,3,480 CHF,33.33 CHF\n", encoding="utf-8")
    without = read_offers(path, shop)
    assert without.rows == ()
    assert {p.column for p in without.problems} == {"price", "freight"}
    assert all("rates.csv" in p.message for p in without.problems)
    rates = "date,currency,rate\n2026-01-02,CHF,1.01\n2026-10-01,CHF,1.07\n"
    (tmp_path / "rates.csv").write_text(rates, encoding="utf-8")
    (offer,) = read_offers(path, shop).rows
    assert (str(offer.price), str(offer.freight)) == ("513.60", "35.66")


FEATURES = f"""{SETTINGS}
[prices.features]
hardware = "yes-no"
holes = "number"
finish = "word"
haggle = "word"

[prices.words.finish]
sparkling = "sparkle"
"""


def test_features_stand_in_columns_of_their_own_and_are_read_as_in_the_book(tmp_path: Path) -> None:
    header = "offer;series;pieces;condition;price;holes;Hardware;finish;haggle"
    rows = ("A;Burren;4;3;360;2;ja;Sparkling;10", "B;Burren;4;3;360;1,5;no;-;", "C;Burren;4;3;360;;;;fixed")
    reading = read(tmp_path, *rows, header=header, settings=FEATURES)
    assert reading.problems == ()
    told = [{f.name: f.value for f in offer.features} for offer in reading.rows]
    assert told[0] == {"hardware": True, "holes": 2, "finish": "sparkle"}
    assert told[1] == {"hardware": False, "holes": Decimal("1.5")}
    assert told[2] == {}
    assert [offer.haggle for offer in reading.rows] == [10, None, "fixed"]  # a column that is there already


def test_a_feature_that_cannot_be_read_refuses_its_row(tmp_path: Path) -> None:
    header = "offer;series;pieces;condition;price;holes;hardware"
    reading = read(tmp_path, "A;Burren;4;3;360;few;yes", "B;Burren;4;3;360;1;maybe", header=header, settings=FEATURES)
    assert [(p.row, p.column) for p in refused(reading)] == [(2, "holes"), (3, "hardware")]
    assert "neither yes nor no" in refused(reading)[1].message
    assert reading.rows == ()


def test_a_number_that_can_be_two_makes_the_file_unusable_as_in_the_book(tmp_path: Path) -> None:
    header = "offer;series;pieces;condition;price;holes"
    reading = read(tmp_path, "A;Burren;4;3;360;1.250", header=header, settings=FEATURES)
    assert [(p.level, p.column) for p in reading.problems] == [(Level.FILE, "holes")]


def test_a_feature_that_is_not_declared_is_not_used(tmp_path: Path) -> None:
    header = "offer;series;pieces;condition;price;hardware"
    reading = read(tmp_path, "A;Burren;4;3;360;yes", header=header)
    assert [p.code for p in reading.problems] == ["unused_column"]
    assert reading.rows[0].features == ()


@pytest.mark.parametrize(
    ("cell", "pieces", "differs"),
    [("22,12,16", 3, False), ("22/16/13/12", 5, True), ("22/16 13/12", 4, False), ("12/22", 2, False)],
)
def test_diameters_alone_leave_the_sizes_unknown_and_say_so(
    tmp_path: Path, cell: str, pieces: int, differs: bool
) -> None:
    reading = read(tmp_path, f"D;Burren;{pieces};good;360;;{cell};;;")
    (offer,) = reading.rows
    assert offer.sizes == ()
    (warning,) = reading.problems
    assert (warning.level, warning.row, warning.column, warning.text) == (Level.WARNING, 2, "sizes", cell)
    assert warning.code == "no_depths"
    assert f'"{cell}" gives diameters without depths' in warning.message
    assert "neither as a donor for a rebuild nor in parts; write diameter and depth" in warning.message
    assert (f"of 4 drums where pieces says {pieces}" in warning.message) == differs


def test_a_row_refused_elsewhere_keeps_its_warning(tmp_path: Path) -> None:
    reading = read(tmp_path, "D;Burren;many;good;360;;22,12,16;;;")
    assert [p.column for p in refused(reading)] == ["pieces"]
    (warning,) = [p for p in reading.problems if p.level is Level.WARNING]
    assert "where pieces says" not in warning.message


def test_a_header_alone_is_a_file_without_offers(tmp_path: Path) -> None:
    reading = read(tmp_path)
    assert (reading.rows, reading.problems) == ((), ())
    assert (reading.counts.read, reading.counts.refused, reading.counts.delimiter) == (0, 0, ";")


# ---- what is done before it is sold --------------------------------------------------------------------------------

WORK = "offer;series;pieces;condition;price;finished;hours"


@pytest.mark.parametrize(
    ("cells", "finished", "hours"),
    [
        (";", None, None),
        ("-;?", None, None),
        ("n/a;unknown", None, None),
        ("freshen;6", 4, 6),
        ("3,5;5,25", Decimal("3.5"), Decimal("5.25")),
        ("good;5:30", 4, Decimal("5.5")),
        ("3;0", 3, 0),
    ],
)
def test_the_grade_it_is_sold_in_and_the_hours_until_then(
    tmp_path: Path, cells: str, finished: Decimal | None, hours: Decimal | None
) -> None:
    (offer,) = read(tmp_path, f"D;Burren;4;3;360;{cells}", header=WORK).rows
    assert (offer.finished, offer.hours) == (finished, hours)


@pytest.mark.parametrize(
    ("cells", "column", "words"),
    [
        ("2,5;6", "finished", "is below the condition that it is bought in, grade 3 (mend); write the grade"),
        ("nice;6", "finished", "is no bench grade"),
        ("6;6", "finished", "is no bench grade"),
        ("4;-2", "hours", "is below 0; write the bench hours"),
        ("4;a day", "hours", "write the bench hours that restoring it takes, such as 6 or 5:30, or leave it blank"),
        ("4;20000", "hours", "is no sensible number of hours"),
    ],
)
def test_what_is_done_before_it_is_sold_and_cannot_be(tmp_path: Path, cells: str, column: str, words: str) -> None:
    reading = read(tmp_path, f"D;Burren;4;3;360;{cells}", "E;Slane;5;3;400;5;1", header=WORK)
    (problem,) = refused(reading)
    assert (problem.file, problem.row, problem.column) == ("offers.csv", 2, column)
    assert words in problem.message
    assert [offer.offer for offer in reading.rows] == ["E"]


def test_hours_are_read_by_the_sign_that_the_prices_prove(tmp_path: Path) -> None:
    (offer,) = read(tmp_path, "D;Burren;4;3;360,50;4;1,125", header=WORK).rows
    assert offer.hours == Decimal("1.125")
    undecided = read(tmp_path, "D;Burren;4;3;360;4;1,125", header=WORK)
    assert [(p.level, p.column, p.text) for p in undecided.problems] == [(Level.FILE, "hours", "1,125")]


def test_offers_without_the_columns_tell_nothing_of_it(tmp_path: Path) -> None:
    (offer,) = read(tmp_path, "D;Burren;4;3;360;;;;;").rows
    assert (offer.finished, offer.hours) == (None, None)


LOTS = "offer;series;pieces;condition;price;price_kind;premium;freight"


def test_a_lot_at_an_auction(tmp_path: Path) -> None:
    """As in prices.csv a hammer price needs its premium; a lot that has no price yet is told by it."""
    rows = ("A;Burren;4;3;320;hammer;25;", "B;Burren;4;3;;hammer;22,5 %;40", "C;Burren;4;3;;;0;", "D;Burren;4;3;400;;;")
    reading = read(tmp_path, *rows, header=LOTS)
    assert reading.problems == ()
    assert [(o.price, o.price_kind, o.premium, o.with_premium) for o in reading.rows] == [
        (320, "hammer", 25, Decimal("1.25")), (None, "hammer", Decimal("22.5"), Decimal("1.225")),
        (None, "hammer", 0, 1), (400, "asked", 0, 1),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("A;Burren;4;3;320;hammer;;", "premium", "0 if none"),
        ("A;Burren;4;3;;hammer;;", "premium", "0 if none"),
        ("A;Burren;4;3;;;;", "price", "is empty"),
        ("A;Burren;4;3;;asked;;", "price", "is empty"),
        ("A;Burren;4;3;320;sold;25;", "price_kind", "write asked or hammer"),
        ("A;Burren;4;3;320;verkauft;25;", "price_kind", "write asked or hammer"),
        ("A;Burren;4;3;320;hammer;120;", "premium", "percentage"),
    ],
)
def test_a_lot_that_cannot_be_taken(tmp_path: Path, row: str, column: str, words: str) -> None:
    settings = f'{SETTINGS}\n[prices.words.price_kind]\nverkauft = "sold"\n'
    reading = read(tmp_path, row, header=LOTS, settings=settings)
    assert reading.rows == ()
    assert column in {problem.column for problem in refused(reading)}
    assert any(words in problem.message for problem in refused(reading) if problem.column == column)


def test_a_premium_on_what_is_asked_is_counted_and_said(tmp_path: Path) -> None:
    reading = read(tmp_path, "A;Burren;4;3;320;;25;", header=LOTS)
    assert [(p.code, p.level) for p in reading.problems] == [("premium_on_asked", Level.WARNING)]
    assert (reading.rows[0].price_kind, reading.rows[0].with_premium) == ("asked", Decimal("1.25"))


def test_whom_it_is_bought_from_in_the_shops_own_words(tmp_path: Path) -> None:
    settings = f'{SETTINGS}\n[prices.words.bought_from]\n"Händler" = "trade"\n"aus Privat" = "private"\n'
    rows = ("A;Burren;4;3;360;;;händler;;", "B;Burren;4;3;360;;;aus privat;;", "C;Burren;4;3;360;;;Handel;;")
    reading = read(tmp_path, *rows, settings=settings)
    assert [offer.bought_from for offer in reading.rows] == ["trade", "private"]
    (problem,) = refused(reading)
    assert "[prices.words.bought_from]" in problem.message


def test_a_sign_of_several_currencies_is_that_of_which_a_rate_is_known(tmp_path: Path) -> None:
    shop = shop_in(tmp_path, SETTINGS)
    path = tmp_path / "offers.csv"
    path.write_text("offer,series,pieces,condition,price\nA,Burren,4,3,£320\n", encoding="utf-8")
    assert read_offers(path, shop).rows == ()
    (tmp_path / "rates.csv").write_text("date,currency,rate\n2026-10-01,GBP,1.15\n", encoding="utf-8")
    assert [offer.price for offer in read_offers(path, shop).rows] == [Decimal("368.00")]

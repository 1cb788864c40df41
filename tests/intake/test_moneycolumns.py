"""Columns of money: what was asked, what was paid, what was got, and what is told of the rest.

The words of headers are from memory.
"""

from __future__ import annotations

import pytest

from kitvalue.intake.arrival.columns import MoneyNotes, Role, price_role
from kitvalue.intake.arrival.takeover import Incoming, incoming

ROWS = 8


def seen(**columns: object) -> Incoming:
    """A sheet with further columns; those that are numbers rise and fall from there."""
    head = ["Model", "Drums", "State", *columns]
    rows = [
        ["Burren", "4", "good", *(str(one + 7 * (n * 3 % ROWS)) if isinstance(one, int) else str(one) for one in all_)]
        for n in range(ROWS)
        if (all_ := list(columns.values()))
    ]
    lines = [
        ";".join(name if name in ("price_kind", "sold_for") else name.replace("_", " ") for name in head),
        *(";".join(row) for row in rows),
        "",
    ]
    return incoming("\n".join(lines).encode(), "kits.csv", {})


@pytest.mark.parametrize(
    ("header", "role"),
    [
        ("Asking", "asked"), ("Asked price", "asked"), ("VB", "asked"), ("Verhandlungsbasis (€)", "asked"),
        ("Prix demandé", "asked"), ("prix demande", "asked"), ("Vraagprijs", "asked"), ("Precio pedido", "asked"),
        ("Prezzo richiesto", "asked"), ("Cena wywoławcza", "asked"), ("Begärt pris", "asked"),
        ("Paid", "paid"), ("Bought for", "paid"), ("EK", "paid"), ("Einkaufspreis", "paid"), ("gezahlt", "paid"),
        ("Prix payé", "paid"), ("Prix d'achat", "paid"), ("Betaald", "paid"), ("Pagado", "paid"), ("Pagato", "paid"),
        ("Zapłacono", "paid"), ("Köpt för", "paid"), ("Købt for", "paid"),
        ("Sold for", "sold"), ("Went for", "sold"), ("VK", "sold"), ("Verkaufspreis", "sold"), ("Erlös", "sold"),
        ("Prix de vente", "sold"), ("Verkocht voor", "sold"), ("Vendido por", "sold"), ("Venduto a", "sold"),
        ("Sprzedane za", "sold"), ("Såld för", "sold"), ("Solgt for", "sold"),
        ("Price", None), ("Preis", None), ("Prix", None), ("Unsold", None), ("", None), ("Basket", None),
    ],
)  # fmt: skip
def test_what_a_header_says_of_its_amounts(header: str, role: Role | None) -> None:
    assert price_role(header) == role


@pytest.mark.parametrize("order", [("Prix_demandé", "Prix_payé", "Prix_de_vente"), ("VK", "EK", "Preis")])
def test_beside_what_was_asked_the_price_paid_is_what_it_went_for(order: tuple[str, ...]) -> None:
    level = {"Prix_demandé": 450, "Prix_payé": 380, "Prix_de_vente": 690, "VK": 690, "EK": 380, "Preis": 450}
    sheet = seen(**{name: level[name] for name in order})
    asked, paid, sold = sorted(order, key=lambda name: {450: 0, 380: 1, 690: 2}[level[name]])
    assert sheet.columns["price"] == asked.replace("_", " ")
    assert sheet.columns["sold_for"] == paid.replace("_", " ")
    assert sheet.unused == (sold.replace("_", " "),)
    assert sheet.money == MoneyNotes(after_work=sold.replace("_", " "))


@pytest.mark.parametrize("went", ["Bezahlt", "Erlös", "Went_for", "Vendu", "EK"])
def test_a_neutral_price_beside_what_it_went_for_is_what_was_asked(went: str) -> None:
    for columns in ({"Preis": 450, went: 410}, {went: 410, "Preis": 450}):
        sheet = seen(**columns)
        assert (sheet.columns["price"], sheet.columns["sold_for"]) == ("Preis", went.replace("_", " "))
        assert sheet.money == MoneyNotes()


def test_a_column_that_says_asked_comes_before_one_that_says_price_alone() -> None:
    sheet = seen(Price=410, Asking=450)
    assert (sheet.columns["price"], sheet.money.left) == ("Asking", ("Price",))
    sheet = seen(Price=430, Asking=450, Sold=410)
    assert (sheet.columns["price"], sheet.columns["sold_for"], sheet.unused) == ("Asking", "Sold", ("Price",))
    sheet = seen(price=410, Asking=450, price_kind="sold")  # ours, and it says what it is
    assert (sheet.columns["price"], sheet.columns["price_kind"]) == ("price", "price_kind")


def test_what_was_paid_alone_is_the_price_and_told_to_count_as_asked() -> None:
    sheet = seen(EK=380, VK=690)
    assert (sheet.columns["price"], "sold_for" in sheet.columns) == ("EK", False)
    assert sheet.money == MoneyNotes(after_work="VK", paid="EK")
    assert seen(Sold_for=450).money == MoneyNotes(paid="Sold for")
    assert seen(Sold_for=450, Kind="sold").money == MoneyNotes()  # its rows say it


def test_what_was_paid_for_freight_is_no_price() -> None:
    sheet = seen(Asking=450, Freight_paid=60)
    assert (sheet.columns["price"], sheet.columns["freight"]) == ("Asking", "Freight paid")
    assert seen(Asking=450, Deposit_paid=12).columns.get("sold_for") is None  # far below the prices


def test_unsold_kits_do_not_hide_a_column_of_amounts() -> None:
    lines = [
        "Model,Drums,State,Asking,Sold for",
        *(f"Burren,4,good,{450 + n},{'no' if n % 5 else 410}" for n in range(20)),
    ]
    sheet = incoming("\n".join(lines).encode(), "kits.csv", {})
    assert sheet.columns["sold_for"] == "Sold for"


@pytest.mark.parametrize(
    ("header", "cell", "told"),
    [
        ("Cost", 300, True), ("Cost", "300 €", True), ("Deal", 480, True), ("Cost", 12, False), ("Cost", 9000, False),
        ("Cost", "by hand", False), ("Made", 1975, False), ("Lot no", 310, False), ("Link id", 310, False),
    ],
)  # fmt: skip
def test_further_amounts_of_the_size_of_prices_are_told(header: str, cell: object, told: bool) -> None:
    sheet = seen(Price=450, Note="ok", ref="ad", **{header.replace(" ", "_"): cell})
    assert sheet.money.left == ((header,) if told else ())


def test_numbers_that_count_the_rows_are_no_amounts() -> None:
    lines = ["Model,Drums,State,Price,Xyz", *(f"Burren,4,good,{450 + n % 3},{400 + n}" for n in range(9))]
    assert incoming("\n".join(lines).encode(), "kits.csv", {}).money.left == ()


def test_beside_what_it_went_for_no_other_amount_is_asked_about() -> None:
    assert seen(Price=450, Sold_for=410, Cost=300).money.left == ()


@pytest.mark.parametrize(
    ("price", "header", "cells", "taken"),
    [
        ("Asking", "Sold?", "sold", False), ("Asking", "Sold?", "✓", False), ("VB", "Verkauft", "ja", False),
        ("Prix demandé", "Vendu", "oui", False), ("Asking", "Kind", "hammer", True),
        ("Price", "Sold?", "sold", True), ("Preis", "Verkauft", "ja", True), ("Prix", "Vendu", "oui", True),
    ],
)  # fmt: skip
def test_a_tick_makes_no_asking_price_one_that_was_paid(price: str, header: str, cells: str, taken: bool) -> None:
    lines = [f"Model,Drums,State,{price},{header}"]
    lines += [f"Burren,4,good,{450 + n},{cells if n % 3 else ''}" for n in range(9)]
    sheet = incoming("\n".join(lines).encode(), "kits.csv", {})
    assert (sheet.columns.get("price_kind") == header) is taken
    assert sheet.money.ticks == (None if taken else header)
    assert "sold_for" not in sheet.columns


def test_ticks_beside_what_it_went_for_are_not_asked_about() -> None:
    assert seen(Asking=450, Went_for=410, Sold="yes").money == MoneyNotes()


def test_a_column_of_ticks_that_is_empty_is_not_told() -> None:
    sheet = seen(Asking=450, Sold="")
    assert ("price_kind" in sheet.columns, "sold_for" in sheet.columns, sheet.money) == (False, False, MoneyNotes())

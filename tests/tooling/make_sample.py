"""Draw the sample shop's price book and offers: `python tests/tooling/make_sample.py [FOLDER]`.

Writes sample_data/prices.csv, sample_data/offers.csv and shared/sample_truth.toml under FOLDER (the project itself when
none is given), the same bytes on every run. shop.toml and the build plans of the sample shop are written by hand.

The book is invented. Its log prices follow the regression that the program fits, with the effects below and normal
scatter; on top come the accidents of a real book: relistings, two prices that are for more than the kit, two typing
slips, blanks, several spellings of one number.

The seed is chosen, and said to be: it is the first of 1, 2, 3, ... whose book gives every effect and every series back
within its 95 % range, both by ordinary least squares on the rows that nothing befell and by the program's fit on all.
With so many ranges most books miss one (of 1 to 12, two pass); a miss would say nothing against the fit.

The stream is numpy's RandomState, the one whose draws are promised never to change between versions.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from sample_rows import LOWERED, NOTES_ANY, NOTES_GOOD, NOTES_POOR, OFFERS, OfferSpec, Row
from sample_sheet import OFFERS_HEADER, PRICES_HEADER, chance, offer_cells, price_cells, spreadsheet

SEED = 5  # the first from 1 on with which every effect lies in its 95 % range, see above
NEWEST = date(2026, 11, 14)
DAYS = 728

INTERCEPT = 5.60  # log price of one piece at condition 3, asked, private, on the newest date, no hardware, no holes
LOG_PIECES = 0.60
CONDITION = 0.11  # per grade
SOLD = -0.09  # hammer prices count as sold
DEALER = 0.13
AUCTION = -0.08
YEARS = 0.03  # per year
HARDWARE = 0.10  # stands and pedals come with the kit
HOLES = -0.03  # per added hole
SIGMA = 0.15
SERIES = {
    "Inishmore": 1.15,
    "Lisdoon": -0.30,
    "Burren": -0.54,
    "Slane": -0.64,
    "Kilbeg": 0.10,
    "Tullamoy": -0.15,
    "Carrowmist": 0.40,
    "Ardnagall": -0.48,
    "Ballinfern": 0.46,
}  # they sum to nothing, so the intercept is their middle
ROWS = {
    "Inishmore": 20,
    "Lisdoon": 24,
    "Burren": 44,
    "Slane": 30,
    "Kilbeg": 13,
    "Tullamoy": 12,
    "Carrowmist": 9,
    "Ardnagall": 2,
    "Ballinfern": 2,
}
DECK = (
    ("private", "asked", 67),
    ("private", "sold", 26),
    ("dealer", "asked", 27),
    ("dealer", "sold", 12),
    ("auction", "sold", 10),
    ("auction", "hammer", 14),
)  # how many rows of each channel and kind
PREMIUMS = (15, 18, 20, 24)
GRADES = ((1, 3), (1.5, 3), (2, 14), (2.5, 10), (3, 30), (3.5, 14), (4, 16), (4.5, 4), (5, 6))  # grade, chance in 100
HOLE_COUNTS = ((0, 60), (1, 18), (2, 14), (3, 5), (4, 3))
PIECES_USUAL = ((3, 12), (4, 38), (5, 38), (6, 12))
PIECES_ORIGINAL = ((4, 20), (5, 30), (6, 20), (7, 30))
BUNDLES = (("Burren", 3.2), ("Lisdoon", 3.7))  # a drum kit sold with all that stood around it
SLIPS = (("Slane", 10.0), ("Burren", 0.1))  # a nought too many, a digit lost
RELISTED = ("Burren", "Slane", "Inishmore", "Lisdoon")  # one older, dearer listing each
ROLES = ("kept", "bundle", "slip", "superseded")


def main(folder: Path) -> None:
    """Write the three files under `folder`."""
    rows = book(SEED)
    typed = price_cells(rows, NEWEST, np.random.RandomState(SEED + 1000))
    listed = [offer_cells(offer, asking_price(offer)) for offer in OFFERS]
    _write(folder / "sample_data" / "prices.csv", spreadsheet(PRICES_HEADER, typed))
    _write(folder / "sample_data" / "offers.csv", spreadsheet(OFFERS_HEADER, listed))
    _write(folder / "shared" / "sample_truth.toml", truth(rows).encode())


def book(seed: int) -> list[Row]:
    """The price book as it happened, oldest first; row i stands in row i + 2 of the file."""
    rng = np.random.RandomState(seed)
    rows = _with_refs(_plant(sorted(_draw(rng), key=_day)), rng)
    for series in RELISTED:
        place = _place(rows, series)
        rows[place] = replace(rows[place], ref=rows[place].ref or _ref(rng), note=LOWERED)
        rows.append(_older_listing(rows[place], rng))
    return sorted(rows, key=_day)


def expected_log(row: Row) -> float:
    """The log price, premium included, that the effects give this kit."""
    return (
        INTERCEPT
        + SERIES[row.series]
        + LOG_PIECES * math.log(row.pieces)
        + CONDITION * (row.condition - 3)
        + SOLD * (row.kind != "asked")
        + {"private": 0.0, "dealer": DEALER, "auction": AUCTION}[row.channel]
        + YEARS * (row.day - NEWEST).days / 365.25
        + HARDWARE * row.hardware
        + HOLES * row.holes
    )


def asking_price(offer: OfferSpec) -> int:
    """What the seller of an offer asks, from the effects and the offer's own factor."""
    kit = Row(offer.series, offer.pieces, offer.condition, "asked", "private", 0, False, 0, NEWEST, 0)
    return _as_people_ask(math.exp(expected_log(kit)) * offer.factor)


def truth(rows: Sequence[Row]) -> str:
    """What the book was made from, as TOML."""
    roles = {role: [i + 2 for i, row in enumerate(rows) if row.role == role] for role in ROLES}
    by_kind = {kind: sum(r.kind == kind for r in rows) for kind in ("asked", "sold", "hammer")}
    by_channel = {channel: sum(r.channel == channel for r in rows) for channel in ("private", "dealer", "auction")}
    lines = [
        "# The effects that sample_data/prices.csv was drawn from, and the rows planted in it.",
        "# Written by tests/tooling/make_sample.py together with the book. Effects are on the natural log of",
        "# the price in EUR, premium included.",
        f"seed = {SEED}",
        f"reference_date = {NEWEST.isoformat()}  # years count from here",
        "",
        "[effects]",
        f"intercept = {INTERCEPT}  # one piece, condition 3, asked, private, no hardware, no holes; mid-series",
        *_assignments({"log_pieces": LOG_PIECES, "condition": CONDITION, "sold": SOLD, "dealer": DEALER}),
        *_assignments({"auction": AUCTION, "years": YEARS}),
        "",
        "[features]",
        *_assignments({"hardware": HARDWARE, "holes": HOLES}),
        "",
        "[series]",
        *_assignments(SERIES),
        "",
        "[scatter]",
        f"sigma = {SIGMA}",
        "",
        "[rows]  # kept: without the superseded listings",
        *_assignments({"in_file": len(rows), "kept": len(rows) - len(roles["superseded"])}),
        "",
        "[rows.kept_by_series]",
        *_assignments(ROWS),
        "",
        "[rows.in_file_by_kind]",
        *_assignments(by_kind),
        "",
        "[rows.in_file_by_channel]",
        *_assignments(by_channel),
        "",
        "[planted]  # spreadsheet rows, the header is row 1",
        f"bundles = {roles['bundle']}  # price is for much more than the kit",
        f"slips = {roles['slip']}  # one nought too many, one digit lost",
        f"superseded = {roles['superseded']}  # older listings of a kit that a later row shows again",
        "",
        "[offers]",
        *(f'{mark} = "{offer.offer}"' for offer in OFFERS if (mark := offer.mark)),
    ]
    return "\n".join(lines) + "\n"


def _draw(rng: np.random.RandomState) -> list[Row]:
    """The rows before any accident: series and the deck of channels and kinds by count, the rest by chance."""
    series = [name for name, count in ROWS.items() for _ in range(count)]
    deck = [(channel, kind) for channel, kind, count in DECK for _ in range(count)]
    days = np.floor(DAYS * (np.arange(len(series)) + rng.random_sample(len(series))) / len(series))
    rows = []
    for place, card, back in zip(series, rng.permutation(len(deck)), rng.permutation(days), strict=True):
        channel, kind = deck[card]
        row = Row(
            series=place,
            pieces=int(_one_of(rng, PIECES_ORIGINAL if place == "Inishmore" else PIECES_USUAL)),
            condition=_one_of(rng, GRADES),
            kind=kind,
            channel=channel,
            premium=PREMIUMS[rng.randint(len(PREMIUMS))] if kind == "hammer" else 0,
            hardware=chance(rng, 0.45),
            holes=int(_one_of(rng, HOLE_COUNTS)),
            day=NEWEST - timedelta(days=int(back)),
            price=0,
            note=_note(rng),
        )
        paid = math.exp(expected_log(row) + SIGMA * rng.standard_normal())
        rows.append(replace(row, price=_as_people_ask(paid / (1 + row.premium / 100))))
    newest = max(range(len(rows)), key=lambda i: rows[i].day)
    rows[newest] = replace(rows[newest], day=NEWEST)
    return [replace(row, note=row.note or _note_for(row, rng)) for row in rows]


def _plant(rows: list[Row]) -> list[Row]:
    """Turn four ordinary private asking prices into two bundles and two slips of the keyboard."""
    for series, factor in BUNDLES:
        place = _place(rows, series)
        price = _as_people_ask(rows[place].price * factor)
        note = "studio clearance: cymbals, stands, stool and microphones included"
        rows[place] = replace(rows[place], price=price, role="bundle", hardware=True, note=note)
    for series, factor in SLIPS:
        place = _place(rows, series)
        rows[place] = replace(rows[place], price=math.floor(rows[place].price * factor), role="slip")
    return rows


def _place(rows: Sequence[Row], series: str) -> int:
    """The middle one of a series' ordinary private asking prices of four or more pieces."""
    fit = [
        i
        for i, row in enumerate(rows)
        if row.series == series and row.pieces >= 4 and row.role == "kept"
        if (row.channel, row.kind) == ("private", "asked") and 2 <= row.condition <= 4
    ]
    return fit[len(fit) // 2]


def _older_listing(row: Row, rng: np.random.RandomState) -> Row:
    """The same kit some weeks earlier and dearer, under the same reference."""
    dearer = _as_people_ask(row.price * (1.08 + 0.1 * rng.random_sample()))
    day = row.day - timedelta(days=20 + int(rng.randint(40)))
    return replace(row, day=day, price=max(dearer, row.price + 10), note="", role="superseded")


def _with_refs(rows: Iterable[Row], rng: np.random.RandomState) -> list[Row]:
    """References for listings; what was seen in a shop window or a hall often has none."""
    return [replace(row, ref=_ref(rng) if chance(rng, 0.7) else "") for row in rows]


def _as_people_ask(amount: float) -> int:
    """To the next 5 below 300, the next 10 below 1,000, the next 50 above."""
    step = 5 if amount < 300 else 10 if amount < 1000 else 50
    return step * math.floor(amount / step + 0.5)


def _note(rng: np.random.RandomState) -> str:
    return NOTES_ANY[rng.randint(len(NOTES_ANY))] if chance(rng, 0.2) else ""


def _note_for(row: Row, rng: np.random.RandomState) -> str:
    """A remark that fits the kit's state, or none."""
    if not chance(rng, 0.35):
        return ""
    if row.holes > 1:
        return f"{row.holes} added holes"
    notes = NOTES_POOR if row.condition < 3 else NOTES_GOOD if row.condition > 3.5 else NOTES_ANY
    return notes[rng.randint(len(notes))]


def _ref(rng: np.random.RandomState) -> str:
    return f"L{rng.randint(100_000, 1_000_000)}"


def _one_of(rng: np.random.RandomState, chances: Sequence[tuple[float, int]]) -> float:
    values, weights = zip(*chances, strict=True)
    return float(values[rng.choice(len(values), p=np.array(weights) / sum(weights))])


def _day(row: Row) -> date:
    return row.day


def _assignments(values: Mapping[str, float]) -> list[str]:
    return [f"{name} = {value}" for name, value in values.items()]


def _write(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parents[2])

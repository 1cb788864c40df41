"""Invented shops of any size: the sample shop's settings and plans under a drawn price book and drawn offers."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pandas as pd

from kitvalue.intake.books.book import PriceBook
from tests.market.books import invented_book

ROOT = Path(__file__).resolve().parents[3]
NAMES = ("Inishmore", "Lisdoon", "Burren", "Slane", "Kilbeg", "Tullamoy", "Carrowmist", "Ardnagall", "Ballinfern")
SIZES = (
    "22x16 16x16 13x9 12x8 14x6.5",
    "20x14 14x14 12x8 14x5",
    "22x18 16x16 14x14 12x9 10x8 14x6",
    "18x14 14x14 12x8",
)
FORMULA = "np.log(price) ~ np.log(pieces) + condition + sold + dealer + auction + years"


def frame_of(book: PriceBook) -> pd.DataFrame:
    """A book as the frame that a formula is fitted to."""
    return pd.DataFrame(
        {
            "price": book.price,
            "pieces": book.pieces,
            "condition": book.condition,
            "sold": (book.price_kind > 0) * 1.0,
            "dealer": (book.channel == 1) * 1.0,
            "auction": (book.channel == 2) * 1.0,
            "years": (book.date - book.date.max()).astype(float) / 365.25,
            "series": pd.Categorical.from_codes(book.series, list(book.series_names)),
        }
    )


def shop_of(folder: Path, rows: int) -> Path:
    """The sample shop with a clean price book of so many rows: every row a kit of its own, no features."""
    shutil.copytree(ROOT / "sample_data", folder, ignore=shutil.ignore_patterns("out"))
    book = invented_book(n=rows, series=len(NAMES), seed=3)
    pd.DataFrame(
        {
            "date": book.date.astype(str),
            "series": np.array(NAMES)[book.series],
            "pieces": book.pieces.astype(int),
            "condition": book.condition,
            "price": np.round(book.price, 2),
            "price_kind": np.where(book.price_kind > 0, "sold", "asked"),
            "channel": np.array(["private", "dealer", "auction"])[book.channel],
        }
    ).to_csv(folder / "prices.csv", index=False)
    return folder


def give_offers(shop: Path, offers: int) -> None:
    """So many offers, in place of the shop's own."""
    rng = np.random.default_rng(11)
    lines = ["offer;series;pieces;condition;price;freight;sizes;bought_from;haggle;note"]
    for at in range(offers):
        series, sizes = NAMES[rng.integers(len(NAMES))], SIZES[rng.integers(len(SIZES))]
        condition, price = rng.integers(2, 11) / 2, rng.integers(150, 900)
        seller = ("private", "trade")[rng.integers(2)]
        lines.append(
            f"K{at + 1};{series};{len(sizes.split())};{condition};{price};{rng.integers(60)};{sizes};{seller};5;"
        )
    (shop / "offers.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")

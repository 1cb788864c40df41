"""`fit`: the price book fitted anew, and the fit saved."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from kitvalue.commands.folder import ShopFolder, ShopMarket, fresh_market


@dataclass(frozen=True, slots=True, eq=False)
class FitDone:
    """A fit made anew and saved."""

    market: ShopMarket
    saved_in: Path


def fit(folder: ShopFolder, *, robust: bool, pooled: bool) -> FitDone:
    """Fit the price book and save the fit in out/fit.json."""
    _ = folder.shop  # what is wrong with the settings is said before anything is written
    folder.ready()
    market = fresh_market(folder, robust=robust, pooled=pooled)
    return FitDone(market, folder.save(market))
